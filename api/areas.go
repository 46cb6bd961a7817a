package api

import (
	"encoding/json"
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"
	"github.com/paulmach/orb"

	"levinward/api/wire"
	"levinward/geo"
)

const mediaGeoJSON = "application/geo+json"

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
	Features []feature `json:"features"`
}

// Bounds of the tolerance of drawn arcs [m].
const defaultTolerance, minTolerance, maxTolerance = 0.5, 0.01, 100.0

// Half widths of the corridors of a line [m]: A_L = 40 L_L and A_I = 4000 L_L (IEC 62305-2:2010, A.4 and A.5).
const directHalfWidth, nearHalfWidth = 20.0, 2000.0

// collectionAreas answers the outlines of the areas of a stored record as GeoJSON; the numbers are those of the record.
func (s *Server) collectionAreas(c echo.Context) error {
	tolerance := defaultTolerance
	if c.QueryParams().Has("tolerance_m") {
		v, err := strconv.ParseFloat(c.QueryParam("tolerance_m"), 64)
		if err != nil || !(v >= minTolerance && v <= maxTolerance) {
			return parameter("tolerance_m", "must be a number, at least 0.01, at most 100; found "+strconv.Quote(c.QueryParam("tolerance_m")))
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
	m := mapper{site: result.Input.Core(), result: &result, tolerance: tolerance, collection: featureCollection{Type: "FeatureCollection", Features: []feature{}}}
	if err := m.draw(); err != nil {
		return err
	}
	b, err := encode(m.collection)
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, mediaGeoJSON, b)
}

// mapper draws the features of a result.
type mapper struct {
	site       *wire.Site
	result     *wire.Result
	tolerance  float64
	collection featureCollection
}

func (m *mapper) add(id string, g *geometry, properties map[string]any) {
	m.collection.Features = append(m.collection.Features, feature{"Feature", id, g, properties})
}

func multiPolygon(p orb.MultiPolygon) *geometry {
	if len(p) == 0 {
		return nil
	}
	return &geometry{"MultiPolygon", p}
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

// structure draws a structure with its A_D and A_M.
func (m *mapper) structure(i int) error {
	w := &m.result.Structures[i]
	parts, position := m.parts(i)
	properties := func(kind string, more map[string]any) map[string]any {
		p := map[string]any{"kind": kind, "structure": w.ID, "position": position}
		for k, v := range more {
			p[k] = v
		}
		return p
	}
	var shape, direct, near *geometry
	if parts != nil {
		areas, err := geo.Collect(parts)
		if err != nil {
			return err
		}
		shape = shapeOf(parts, &areas, m.tolerance)
		direct, near = multiPolygon(areas.DirectOutline.Polygons(m.tolerance)), multiPolygon(areas.NearOutline.Polygons(m.tolerance))
	}
	numbers := map[string]any{"assessed": w.Assessed, "N_D_per_year": w.Events.Direct, "N_M_per_year": w.Events.Near}
	if r := w.Risks.HumanLife; r != nil {
		numbers["R_1_per_year"], numbers["R_1_acceptable"] = r.Total, r.Acceptable
	}
	m.add(w.ID+"/structure", shape, properties("structure", numbers))
	m.add(w.ID+"/A_D", direct, properties("A_D", map[string]any{"area_m2": w.Area.Direct, "events_per_year": w.Events.Direct}))
	m.add(w.ID+"/A_M", near, properties("A_M", map[string]any{"area_m2": w.Area.Near, "events_per_year": w.Events.Near}))
	return nil
}

// parts are the parts of a structure on the ground. A box has no place of its own: the only one
// of a site is set at the location of the site, its length to the east; several are not placed.
func (m *mapper) parts(i int) ([]geo.Part, string) {
	for _, p := range m.site.Parts {
		if p.Structure == i {
			return p.Parts, "given"
		}
	}
	if len(m.site.Input.Structures)-len(m.site.Parts) > 1 {
		return nil, "not given"
	}
	s, at := &m.site.Input.Structures[i], m.site.Input.Location
	frame, err := geo.NewFrame(orb.Point{at.Longitude, at.Latitude})
	if err != nil {
		return nil, "not given"
	}
	x, y := s.Length/2, s.Width/2
	ring := orb.Ring{}
	for _, corner := range []geo.XY{{X: -x, Y: -y}, {X: x, Y: -y}, {X: x, Y: y}, {X: -x, Y: y}, {X: -x, Y: -y}} {
		ring = append(ring, frame.LonLat(corner))
	}
	parts := []geo.Part{{Geometry: orb.Polygon{ring}, Height: s.Height}}
	if s.Protrusion > s.Height {
		parts = append(parts, geo.Part{Geometry: frame.Center(), Height: s.Protrusion})
	}
	return parts, "location of the site; orientation not known"
}

// shapeOf draws the structure itself: its footprint, or where it has none its first line or point.
func shapeOf(parts []geo.Part, areas *geo.Areas, tolerance float64) *geometry {
	if g := multiPolygon(areas.FootprintOutline.Polygons(tolerance)); g != nil {
		return g
	}
	return &geometry{parts[0].Geometry.GeoJSONType(), parts[0].Geometry}
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
	var drawn *geometry
	if len(routes) > 0 {
		drawn = &geometry{"MultiLineString", routes}
	}
	position := "given"
	if len(routes) < len(m.site.Input.Lines[i].Sections) {
		position = "given in part"
	}
	if len(routes) == 0 {
		position = "not given"
	}
	m.add(w.ID+"/line", drawn, map[string]any{"kind": "line", "line": w.ID, "position": position, "N_DJ_per_year": w.Events.AdjacentStructure})
	for _, a := range []struct {
		kind                    string
		half, area, eventsAYear float64
	}{{"A_L", directHalfWidth, w.Area.Direct, w.Events.Direct}, {"A_I", nearHalfWidth, w.Area.Near, w.Events.Near}} {
		var corridor orb.MultiPolygon
		for _, r := range routes {
			p, err := geo.Corridor(r, a.half, m.tolerance)
			if err != nil {
				return err
			}
			corridor = append(corridor, p...)
		}
		m.add(w.ID+"/"+a.kind, multiPolygon(corridor), map[string]any{"kind": a.kind, "line": w.ID, "position": position, "area_m2": a.area, "events_per_year": a.eventsAYear})
	}
	return nil
}
