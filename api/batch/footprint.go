package batch

import (
	"encoding/json"
	"fmt"
	"math"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"

	"levinward/geo"
)

// site is what a geometry says of a site.
type site struct {
	latitude, longitude float64
	polygon             bool
	outline             *footprint // of a polygon
}

// footprint is the outline of a building on the ground.
type footprint struct {
	coordinates json.RawMessage // of a Polygon
	center      orb.Point
}

// replaceBox puts the outline, with the height of the building, in place of
// its box. A protrusion becomes a mast in the middle.
func (f *footprint) replaceBox(structure map[string]any) {
	height, sound := structure["height_m"].(float64)
	if !sound { // told already; the rest is judged with any box
		structure["length_m"], structure["width_m"] = 1.0, 1.0
		return
	}
	parts := []any{map[string]any{"geometry": map[string]any{"type": "Polygon", "coordinates": f.coordinates}, "height_m": height}}
	if protrusion, there := structure["protrusion_height_m"]; there {
		parts = append(parts, map[string]any{"geometry": map[string]any{"type": "Point", "coordinates": []any{f.center[0], f.center[1]}},
			"height_m": protrusion})
	}
	structure["parts"] = parts
	for _, c := range append([]string{"protrusion_height_m"}, sizeColumns...) {
		delete(structure, c)
	}
}

// maxCorners is far beyond the outline of any building.
const maxCorners = 1000

// readGeometry takes a Point or a Polygon, or says what is wrong with it.
func readGeometry(raw json.RawMessage) (s site, fault string) {
	var g struct {
		Type        string
		Coordinates json.RawMessage
	}
	if json.Unmarshal(raw, &g) != nil {
		return site{}, "must be a geometry of RFC 7946"
	}
	switch g.Type {
	case "Point":
		p, reason := position2D(g.Coordinates)
		return site{latitude: p[1], longitude: p[0]}, reason
	case "Polygon":
		return readPolygon(g.Coordinates)
	case "MultiPolygon":
		var polygons []json.RawMessage
		if json.Unmarshal(g.Coordinates, &polygons) == nil && len(polygons) == 1 {
			return readPolygon(polygons[0])
		}
		return site{polygon: true}, "must be one polygon: a row is one building"
	}
	return site{}, fmt.Sprintf("must be a Point or a Polygon, found %q", short(g.Type))
}

// position2D reads one position; a height after it is not used.
func position2D(raw json.RawMessage) (orb.Point, string) {
	var v []float64
	if json.Unmarshal(raw, &v) != nil || len(v) < 2 || len(v) > 3 {
		return orb.Point{}, "coordinates must be two numbers, longitude and latitude in degrees"
	}
	switch p := (orb.Point{v[0], v[1]}); {
	case math.Abs(p[1]) > 90 && math.Abs(p[0]) <= 90 && math.Abs(p[1]) <= 180:
		return p, fmt.Sprintf("the latitude %s is beyond 90: the order is longitude, latitude", plain(p[1]))
	case math.Abs(p[1]) > 90 || math.Abs(p[0]) > 180:
		return p, fmt.Sprintf("coordinates %s, %s are no longitude (-180 to 180) and latitude (-90 to 90); metres of a map grid are "+
			"not accepted", plain(p[0]), plain(p[1]))
	default:
		return p, ""
	}
}

// readPolygon finds the centroid; whether rings cross is asked where areas are computed.
func readPolygon(raw json.RawMessage) (s site, fault string) {
	s.polygon = true
	var rings [][]json.RawMessage
	if json.Unmarshal(raw, &rings) != nil || len(rings) == 0 {
		return s, "coordinates of a Polygon must be a list of rings of positions"
	}
	var polygon orb.Polygon
	corners := 0
	for _, ring := range rings {
		if corners += len(ring); corners > maxCorners {
			return s, fmt.Sprintf("has more than %d corners: simplify the outline", maxCorners)
		}
		var line orb.Ring
		for _, p := range ring {
			point, reason := position2D(p)
			if reason != "" {
				return s, reason
			}
			line = append(line, point)
		}
		if len(line) < 4 || line[0] != line[len(line)-1] {
			return s, "each ring of a Polygon must have four or more positions, the last being the first again"
		}
		polygon = append(polygon, line)
	}
	center, fault := centroid(polygon)
	s.longitude, s.latitude = center[0], center[1]
	s.outline = &footprint{raw, center}
	return s, fault
}

// centroid is that of the area in the plane of the first corner.
func centroid(polygon orb.Polygon) (orb.Point, string) {
	frame, err := geo.NewFrame(polygon[0][0])
	if err != nil {
		return orb.Point{}, err.Error()
	}
	flat := make(orb.Polygon, len(polygon))
	for i, ring := range polygon {
		for _, p := range ring {
			q := frame.Local(p)
			flat[i] = append(flat[i], orb.Point{q.X, q.Y})
		}
	}
	const smallest = 1e-4 // [m2]
	center, area := planar.CentroidArea(flat)
	if !(math.Abs(area) > smallest) {
		return orb.Point{}, "is a polygon without area"
	}
	return frame.LonLat(geo.XY{X: center[0], Y: center[1]}), ""
}
