package documents

import (
	"encoding/json"
	"math"
	"net/http"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"
	"github.com/paulmach/orb"

	"levinward/api/assess"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/geo"
	"levinward/risk"
)

// feature is a GeoJSON Feature (RFC 7946). What has no place on the map has a null geometry.
type feature struct {
	Type       string         `json:"type"`
	ID         string         `json:"id"`
	Geometry   *geometry      `json:"geometry"`
	Properties map[string]any `json:"properties"`
}

type geometry struct {
	Type        string `json:"type"`
	Coordinates any    `json:"coordinates"`
}

type featureCollection struct {
	Type     string    `json:"type"`
	Cautions []string  `json:"cautions"` // a foreign member (RFC 7946, section 6.1)
	Features []feature `json:"features"`
}

// Bounds of the tolerance of drawn arcs [m].
const defaultTolerance, minTolerance, maxTolerance = 0.5, 0.01, 100.0

// collectionAreas answers the outlines of the areas of a stored record as GeoJSON; the numbers are those of the record.
func (s *Service) collectionAreas(c echo.Context) error {
	tolerance := defaultTolerance
	if c.QueryParams().Has("tolerance_m") {
		v, err := strconv.ParseFloat(c.QueryParam("tolerance_m"), 64)
		if err != nil || !(v >= minTolerance && v <= maxTolerance) {
			return refusal.WrongParameter("tolerance_m",
				"must be a number, at least 0.01, at most 100; found "+strconv.Quote(c.QueryParam("tolerance_m")))
		}
		tolerance = v
	}
	r, err := s.chosen(c)
	if err != nil {
		return err
	}
	var result wire.Result
	if err := json.Unmarshal(r.Result, &result); err != nil {
		return err
	}
	site := result.Input.Core()
	edition := assess.Edition(site.Input.Edition)
	if edition == nil {
		return refusal.NotFound.Problem("the record was computed by " + site.Input.Edition +
			", whose areas this program does not draw; assess the site again")
	}
	m := mapper{site: site, result: &result, tolerance: tolerance, reach: edition.Reach(),
		collection: featureCollection{"FeatureCollection", cautionsOf(result.Cautions), []feature{}}}
	if err := m.draw(); err != nil {
		return err
	}
	b, err := protocol.Encode(m.collection)
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, protocol.MediaGeoJSON, b)
}

// mapper draws the features of a result.
type mapper struct {
	site       *wire.Site
	result     *wire.Result
	tolerance  float64
	reach      risk.Reach // of the edition of the record
	collection featureCollection
	positions  int
}

// maxDrawn is how many positions all outlines may have together: some 80 MB of text.
const maxDrawn = 2_000_000

// add appends a feature; one whose outline would be too long for anybody to read is an error.
func (m *mapper) add(id string, g *geometry, properties map[string]any) error {
	if m.positions += g.positions(); m.positions > maxDrawn {
		return refusal.WrongParameter("tolerance_m", "the outlines have more than 2000000 positions: give a larger tolerance")
	}
	m.collection.Features = append(m.collection.Features, feature{"Feature", id, g, properties})
	return nil
}

func (g *geometry) positions() (n int) {
	if g == nil {
		return 0
	}
	switch c := g.Coordinates.(type) {
	case orb.MultiPolygon:
		for _, polygon := range c {
			for _, ring := range polygon {
				n += len(ring)
			}
		}
	case orb.MultiLineString:
		for _, line := range c {
			n += len(line)
		}
	case orb.MultiPoint:
		n = len(c)
	}
	return n
}

func multiPolygon(p orb.MultiPolygon) *geometry {
	if len(p) == 0 {
		return nil
	}
	return &geometry{"MultiPolygon", p}
}

// multiLine draws lines, each split where it passes the 180th meridian (RFC 7946, section 3.1.9).
func multiLine(lines []orb.LineString) *geometry {
	var split orb.MultiLineString
	for _, l := range lines {
		split = append(split, splitLine(l)...)
	}
	if len(split) == 0 {
		return nil
	}
	return &geometry{"MultiLineString", split}
}

// onMap brings a longitude, of which up to 360 degrees are taken, into -180 to 180.
func onMap(p orb.Point) orb.Point {
	if p[0] < -180 || p[0] > 180 {
		p[0] = math.Remainder(p[0], 360)
	}
	return p
}

func splitLine(line orb.LineString) (pieces orb.MultiLineString) {
	var piece orb.LineString
	for i := range line {
		q := onMap(line[i])
		if i > 0 {
			p := piece[len(piece)-1]
			if math.Abs(q[0]-p[0]) > 180 {
				edge, turn := math.Copysign(180, p[0]), math.Remainder(q[0]-p[0], 360)
				lat := p[1]
				if turn != 0 {
					lat += (q[1] - p[1]) * (edge - p[0]) / turn
				}
				pieces = append(pieces, append(piece, orb.Point{edge, lat}))
				piece = orb.LineString{{-edge, lat}}
			}
		}
		piece = append(piece, q)
	}
	return append(pieces, piece)
}

func (m *mapper) draw() error {
	for i := range m.result.Structures {
		if err := m.structure(i); err != nil {
			return err
		}
	}
	for i := range m.result.Lines {
		if err := m.line(i); err != nil {
			return err
		}
	}
	return nil
}

// structure draws a structure with its parts, its A_D and its A_M.
func (m *mapper) structure(i int) error {
	w := &m.result.Structures[i]
	d, err := m.drawn(i)
	if err != nil {
		return err
	}
	numbers := map[string]any{"kind": "structure", "assessed": w.Assessed, "N_D_per_year": w.Events.Direct, "N_M_per_year": w.Events.Near}
	if r := w.Risks.HumanLife; r != nil {
		numbers["R_1_per_year"], numbers["R_1_acceptable"] = r.Total, r.Acceptable
	}
	type entry struct {
		id         string
		geometry   *geometry
		properties map[string]any
	}
	entries := []entry{
		{"structure", d.shape, numbers},
		{"A_D", d.direct, map[string]any{"kind": "A_D", "area_m2": w.Area.Direct, "events_per_year": w.Events.Direct}},
		{"A_M", d.near, map[string]any{"kind": "A_M", "area_m2": w.Area.Near, "events_per_year": w.Events.Near}},
	}
	for n, p := range d.parts {
		entries = append(entries, entry{"part/" + strconv.Itoa(n), m.shapeOf([]geo.Part{p}),
			map[string]any{"kind": "part", "part": n, "height_m": p.Height}})
	}
	for _, e := range entries {
		e.properties["structure"], e.properties["position"] = w.ID, d.position
		if err := m.add(w.ID+"/"+e.id, e.geometry, e.properties); err != nil {
			return err
		}
	}
	return nil
}

// drawn is a structure on the ground: where it has no place, all is nil.
type drawn struct {
	position            string
	shape, direct, near *geometry
	parts               []geo.Part // as given
}

// drawn draws the parts of a structure. A box has no place of its own: the only one of a site is set at
// the location of the site, its length to the east; several are not placed.
func (m *mapper) drawn(i int) (drawn, error) {
	for _, p := range m.site.Parts {
		if p.Structure == i {
			areas, err := m.collect(p.Parts)
			d := drawn{"given", m.shapeOf(p.Parts), m.outline(areas.DirectOutline), m.outline(areas.NearOutline), p.Parts}
			return d, err
		}
	}
	if len(m.site.Input.Structures)-len(m.site.Parts) > 1 {
		return drawn{position: "not given"}, nil
	}
	s := &m.site.Input.Structures[i]
	ring, center := m.box(s)
	areas, err := m.collect([]geo.Part{{Geometry: orb.Polygon{ring}, Height: s.Height}})
	if err != nil { // it stands on a pole
		return drawn{position: "cannot be drawn: " + err.Error()}, nil
	}
	d := drawn{position: "location of the site; orientation not known", shape: m.outline(areas.FootprintOutline),
		near: m.outline(areas.NearOutline)}
	// A_D is the larger one of box and protrusion (A.2.1.2), so that one is drawn.
	if top, err := m.collect([]geo.Part{{Geometry: center, Height: s.Protrusion}}); err == nil && top.Direct > areas.Direct {
		areas.DirectOutline = top.DirectOutline
	}
	d.direct = m.outline(areas.DirectOutline)
	return d, nil
}

// collect computes the collection areas of one structure.
func (m *mapper) collect(parts []geo.Part) (geo.Areas, error) {
	return geo.Widening{Slope: m.reach.Slope, Near: m.reach.Near}.Collect(parts)
}

func (m *mapper) outline(o geo.Outline) *geometry { return multiPolygon(o.Polygons(m.tolerance)) }

// box is a rectangle round the location of the site.
func (m *mapper) box(s *risk.Structure) (orb.Ring, orb.Point) {
	location := m.site.Input.Location
	center := orb.Point{location.Longitude, location.Latitude}
	frame, err := geo.NewFrame(center)
	if err != nil {
		return nil, center
	}
	x, y := s.Length/2, s.Width/2
	ring := orb.Ring{}
	for _, corner := range []geo.XY{{X: -x, Y: -y}, {X: x, Y: -y}, {X: x, Y: y}, {X: -x, Y: y}, {X: -x, Y: -y}} {
		ring = append(ring, frame.LonLat(corner))
	}
	return ring, center
}

// shapeOf draws the structure itself: its footprint, or where it has none its lines, or its points.
func (m *mapper) shapeOf(parts []geo.Part) *geometry {
	var lines []orb.LineString
	var points orb.MultiPoint
	var footprint []geo.Part
	for _, p := range parts {
		switch g := p.Geometry.(type) {
		case orb.Polygon:
			footprint = append(footprint, p)
		case orb.LineString:
			lines = append(lines, g)
		case orb.Point:
			points = append(points, onMap(g))
		}
	}
	switch {
	case len(footprint) > 0:
		areas, err := m.collect(footprint)
		if err != nil {
			return nil
		}
		return multiPolygon(areas.FootprintOutline.Polygons(m.tolerance))
	case len(lines) > 0:
		return multiLine(lines)
	case len(points) == 1:
		return &geometry{"Point", points[0]}
	}
	return &geometry{"MultiPoint", points}
}

// line draws the routes of a line and the corridors of A_L and A_I along them.
func (m *mapper) line(i int) error {
	w := &m.result.Lines[i]
	var routes []orb.LineString
	for _, r := range m.site.Routes {
		if r.Line == i {
			routes = append(routes, r.Route)
		}
	}
	position := "given"
	if len(routes) < len(m.site.Input.Lines[i].Sections) {
		position = "given in part"
	}
	if len(routes) == 0 {
		position = "not given"
	}
	if err := m.add(w.ID+"/line", multiLine(routes),
		map[string]any{"kind": "line", "line": w.ID, "position": position, "N_DJ_per_year": w.Events.AdjacentStructure}); err != nil {
		return err
	}
	for _, a := range []struct {
		kind                    string
		half, area, eventsAYear float64
	}{{"A_L", m.reach.LineDirect, w.Area.Direct, w.Events.Direct}, {"A_I", m.reach.LineNear, w.Area.Near, w.Events.Near}} {
		corridor, err := m.corridor(routes, a.half)
		if err != nil { // bends too close to each other to be told apart at this width
			position = "cannot be drawn: " + err.Error()
		}
		if err := m.add(w.ID+"/"+a.kind, multiPolygon(corridor),
			map[string]any{"kind": a.kind, "line": w.ID, "position": position, "area_m2": a.area, "events_per_year": a.eventsAYear}); err != nil {
			return err
		}
	}
	return nil
}

// corridor draws the ground within half a width [m] of the routes of a line, once where it is near several of them.
func (m *mapper) corridor(routes []orb.LineString, half float64) (orb.MultiPolygon, error) {
	routes = joined(routes)
	if len(routes) > 1 {
		parts := make([]geo.Part, len(routes))
		for i, r := range routes {
			parts[i] = geo.Part{Geometry: r, Height: half / m.reach.Slope}
		}
		if areas, err := m.collect(parts); err == nil {
			return areas.DirectOutline.Polygons(m.tolerance), nil
		} // they reach too far for one plane, or one of them cannot be drawn: which, shows below
	}
	var corridor orb.MultiPolygon
	for _, r := range routes {
		p, err := geo.Corridor(r, half, m.tolerance)
		if err != nil {
			return nil, err
		}
		corridor = append(corridor, p...)
	}
	return corridor, nil
}

// joined makes one route of those that begin where the one before ends.
func joined(routes []orb.LineString) (out []orb.LineString) {
	for _, r := range routes {
		if last := len(out) - 1; last >= 0 && out[last][len(out[last])-1] == r[0] {
			out[last] = append(slices.Clip(out[last]), r[1:]...)
			continue
		}
		out = append(out, r)
	}
	return out
}
