package wire

import (
	"bytes"
	"encoding/json"
	"errors"
	"strconv"

	"github.com/paulmach/orb"

	"levinward/geo"
	"levinward/risk"
)

// Part is a piece of a structure on the ground with its height.
type Part struct {
	Geometry *PartGeometry `json:"geometry" required:"true"`
	Height   *float64      `json:"height_m" required:"true" lim:"[0.01,1000]"`
}

// PartGeometry is a GeoJSON Point, LineString or Polygon (RFC 7946).
type PartGeometry struct {
	Type        *PartGeometryType `json:"type" required:"true"`
	Coordinates *Coordinates      `json:"coordinates" required:"true"`
}

// Coordinates are those of a geometry, a JSON list whose form follows from the type of the geometry.
type Coordinates struct{ list json.RawMessage }

// MarshalJSON gives the list as it was given.
func (c Coordinates) MarshalJSON() ([]byte, error) { return c.list, nil }

// UnmarshalJSON takes a list.
func (c *Coordinates) UnmarshalJSON(b []byte) error {
	if len(b) == 0 || b[0] != '[' {
		return errors.New("coordinates must be a list")
	}
	c.list = append(json.RawMessage(nil), b...)
	return nil
}

// PartGeometryType is the type of a PartGeometry.
type PartGeometryType uint8

var partGeometryNames = []string{"Point", "LineString", "Polygon"}

// Names lists the values that can be given.
func (PartGeometryType) Names() []string { return partGeometryNames }

// MarshalText gives the name of the value.
func (t PartGeometryType) MarshalText() ([]byte, error) { return []byte(partGeometryNames[t]), nil }

// UnmarshalText takes the name of a value.
func (t *PartGeometryType) UnmarshalText(b []byte) error {
	for i, n := range partGeometryNames {
		if n == string(b) {
			*t = PartGeometryType(i)
			return nil
		}
	}
	return strconv.ErrSyntax
}

// Route is a GeoJSON LineString along which a line section runs.
type Route struct {
	Type        *RouteType   `json:"type" required:"true"`
	Coordinates *Coordinates `json:"coordinates" required:"true"`
}

// RouteType is always LineString.
type RouteType struct{}

// Names lists the values that can be given.
func (RouteType) Names() []string { return partGeometryNames[1:2] }

// MarshalText gives the name of the value.
func (RouteType) MarshalText() ([]byte, error) { return []byte(partGeometryNames[1]), nil }

// UnmarshalText takes the name of a value.
func (*RouteType) UnmarshalText(b []byte) error {
	if string(b) != partGeometryNames[1] {
		return strconv.ErrSyntax
	}
	return nil
}

// SiteParts are the parts of a structure, to be measured.
type SiteParts struct {
	Structure int
	Parts     []geo.Part
}

// SiteRoute is the route of a line section, to be measured.
type SiteRoute struct {
	Line, Section int
	Route         orb.LineString
}

// First is a position of the parts, which must be sound.
func (p *SiteParts) First() [2]float64 {
	switch g := p.Parts[0].Geometry.(type) {
	case orb.Point:
		return g
	case orb.LineString:
		return g[0]
	case orb.Polygon:
		return g[0][0]
	}
	panic("wire: a part that is no point, line or polygon")
}

// Pointer is the place of a fault of the parts in the input.
func (p *SiteParts) Pointer(f geo.Fault) string {
	if f.Part < 0 {
		return pointer("structures", p.Structure, "parts")
	}
	at := pointer("structures", p.Structure, "parts", f.Part, "geometry", "coordinates")
	if _, point := p.Parts[f.Part].Geometry.(orb.Point); point {
		return at
	}
	return at + within(f)
}

// First is the position where the route begins; it must be sound.
func (r *SiteRoute) First() [2]float64 { return r.Route[0] }

// Pointer is the place of a fault of the route in the input.
func (r *SiteRoute) Pointer(f geo.Fault) string {
	return pointer("lines", r.Line, "sections", r.Section, "route", "coordinates") + within(f)
}

// within is the way from coordinates to the place of a fault.
func within(f geo.Fault) (way string) {
	if f.Ring >= 0 {
		way = "/" + strconv.Itoa(f.Ring)
	}
	if f.Vertex >= 0 {
		way += "/" + strconv.Itoa(f.Vertex)
	}
	return way
}

// shape takes the box of a structure, or its parts: exactly one of the two.
func (b *builder) shape(i int) {
	w, s := &b.in.Structures[i], &b.site.Input.Structures[i]
	box := []struct {
		name  string
		given *float64
		into  *float64
	}{{"length_m", w.Length, &s.Length}, {"width_m", w.Width, &s.Width}, {"height_m", w.Height, &s.Height}, {"protrusion_height_m", w.Protrusion, &s.Protrusion}}
	for n, f := range box {
		switch {
		case f.given == nil && w.Parts == nil && n < 3:
			b.fault(risk.RuleContradiction, pointer("structures", i, f.name), "is required, unless parts are given")
		case f.given != nil && w.Parts != nil:
			b.fault(risk.RuleContradiction, pointer("structures", i, f.name), "give the box or the parts, not both")
		case f.given != nil:
			*f.into = *f.given
		}
	}
	if w.Parts != nil {
		s.Areas = risk.Areas{Given: true, Direct: 1, Near: 1} // until they are measured
		b.parts(i, *w.Parts)
	}
}

func (b *builder) parts(i int, parts []Part) {
	list := SiteParts{Structure: i}
	sound := true
	for n := range parts {
		g, ok := b.geometry(parts[n].Geometry, pointer("structures", i, "parts", n, "geometry", "coordinates"))
		if !ok {
			sound = false
			continue
		}
		list.Parts = append(list.Parts, geo.Part{Geometry: g, Height: *parts[n].Height})
	}
	if sound {
		b.site.Parts = append(b.site.Parts, list)
	}
}

// geometry reads coordinates and places every fault of their form.
func (b *builder) geometry(g *PartGeometry, at string) (shape orb.Geometry, ok bool) {
	switch *g.Type {
	case 0:
		p, ok := position(g.Coordinates.list)
		if !ok {
			b.fault(risk.RuleOutOfRange, at, "must be a position: [longitude, latitude]")
		}
		return p, ok
	case 1:
		return b.positions(g.Coordinates.list, at)
	}
	var rings []json.RawMessage
	if json.Unmarshal(g.Coordinates.list, &rings) != nil || len(rings) == 0 {
		b.fault(risk.RuleOutOfRange, at, "must be a list of rings, each a closed list of positions: [[[longitude, latitude], …], …]")
		return nil, false
	}
	polygon, sound := make(orb.Polygon, len(rings)), true
	for n, ring := range rings {
		line, ok := b.positions(ring, at+"/"+strconv.Itoa(n))
		polygon[n], sound = orb.Ring(line), sound && ok
	}
	return polygon, sound
}

// numbersOnly reports that a JSON list holds no text, object, true, false or null at any depth. encoding/json takes
// null for a number that is not there and would leave 0, a place in the sea, in its stead.
func numbersOnly(list json.RawMessage) bool { return !bytes.ContainsAny(list, `"{tfn`) }

// position takes longitude, latitude and an elevation, which is not used.
func position(list json.RawMessage) (orb.Point, bool) {
	var p []float64
	if !numbersOnly(list) || json.Unmarshal(list, &p) != nil || len(p) != 2 && len(p) != 3 {
		return orb.Point{}, false
	}
	return orb.Point{p[0], p[1]}, true
}

// maxPositionFaults is how many entries of one list are named that are no positions.
const maxPositionFaults = 100

// positions reads a list of positions and places the fault of every entry that is none.
func (b *builder) positions(list json.RawMessage, at string) (orb.LineString, bool) {
	if line, ok := soundPositions(list); ok {
		return line, true
	}
	var entries []json.RawMessage
	if json.Unmarshal(list, &entries) != nil {
		b.fault(risk.RuleOutOfRange, at, "must be a list of positions: [[longitude, latitude], …]")
		return nil, false
	}
	named := 0
	for i, e := range entries {
		if _, ok := position(e); ok {
			continue
		}
		if named++; named > maxPositionFaults {
			b.fault(risk.RuleOutOfRange, at, "more than "+strconv.Itoa(maxPositionFaults)+" entries are no positions; the first are listed")
			break
		}
		b.fault(risk.RuleOutOfRange, at+"/"+strconv.Itoa(i), "must be a position: [longitude, latitude]")
	}
	return nil, false
}

func soundPositions(list json.RawMessage) (orb.LineString, bool) {
	var numbers [][]float64
	if !numbersOnly(list) || json.Unmarshal(list, &numbers) != nil {
		return nil, false
	}
	line := make(orb.LineString, len(numbers))
	for i, p := range numbers {
		if len(p) != 2 && len(p) != 3 {
			return nil, false
		}
		line[i] = orb.Point{p[0], p[1]}
	}
	return line, true
}

// sectionLength takes the length of a section, or its route: not both; neither is a default.
func (b *builder) sectionLength(l, n int, w *Section, where Where) float64 {
	if w.Route == nil {
		return or(b, w.Length, defaultLength, 1000, where, "lines", l, "sections", n)
	}
	if w.Length != nil {
		b.fault(risk.RuleContradiction, pointer("lines", l, "sections", n, "length_m"), "give the length or the route, not both")
	}
	if route, ok := b.positions(w.Route.Coordinates.list, pointer("lines", l, "sections", n, "route", "coordinates")); ok {
		b.site.Routes = append(b.site.Routes, SiteRoute{l, n, route})
	}
	return 0
}
