package wire

import (
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
		at := pointer("structures", i, "parts", n, "geometry", "coordinates")
		g, reason := parts[n].Geometry.geometry()
		if reason != "" {
			sound = false
			b.fault(risk.RuleOutOfRange, at, reason)
			continue
		}
		list.Parts = append(list.Parts, geo.Part{Geometry: g, Height: *parts[n].Height})
	}
	if sound {
		b.site.Parts = append(b.site.Parts, list)
	}
}

// geometry reads the coordinates; reason says what is wrong with their form.
func (g *PartGeometry) geometry() (shape orb.Geometry, reason string) {
	switch *g.Type {
	case 0:
		var p []float64
		if json.Unmarshal(g.Coordinates.list, &p) != nil || !position(p) {
			return nil, "must be a position: [longitude, latitude]"
		}
		return orb.Point{p[0], p[1]}, ""
	case 1:
		line, ok := lineString(g.Coordinates.list)
		if !ok {
			return nil, "must be a list of at least two positions: [[longitude, latitude], …]"
		}
		return line, ""
	}
	var rings []json.RawMessage
	if json.Unmarshal(g.Coordinates.list, &rings) != nil || len(rings) == 0 {
		return nil, "must be a list of rings, each a closed list of positions: [[[longitude, latitude], …], …]"
	}
	var polygon orb.Polygon
	for n, ring := range rings {
		line, ok := lineString(ring)
		if !ok {
			return nil, "ring " + strconv.Itoa(n) + " must be a list of positions: [[longitude, latitude], …]"
		}
		polygon = append(polygon, orb.Ring(line))
	}
	return polygon, ""
}

// position accepts longitude, latitude and an elevation, which is not used.
func position(p []float64) bool { return len(p) == 2 || len(p) == 3 }

func lineString(coordinates json.RawMessage) (orb.LineString, bool) {
	var list [][]float64
	if json.Unmarshal(coordinates, &list) != nil || len(list) < 2 {
		return nil, false
	}
	line := make(orb.LineString, len(list))
	for i, p := range list {
		if !position(p) {
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
	route, ok := lineString(w.Route.Coordinates.list)
	if !ok {
		b.fault(risk.RuleOutOfRange, pointer("lines", l, "sections", n, "route", "coordinates"), "must be a list of at least two positions: [[longitude, latitude], …]")
		return 0
	}
	b.site.Routes = append(b.site.Routes, SiteRoute{l, n, route})
	return 0
}
