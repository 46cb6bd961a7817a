package apitest

import (
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"testing"
)

// Positions are longitudes and latitudes.
type Positions = [][2]float64

// Part is a part of a structure, drawn.
func Part(height float64, kind string, coordinates any) Values {
	return Values{"height_m": height, "geometry": Values{"type": kind, "coordinates": coordinates}}
}

// Route is a section of a line, drawn.
func Route(positions ...[2]float64) Values {
	return Values{"type": "LineString", "coordinates": positions}
}

// DrawnSite is an invented site of one structure of parts and one line.
func DrawnSite(t testing.TB, at [2]float64, parts []any, sections ...any) []byte {
	t.Helper()
	lines := []any{}
	if len(sections) > 0 {
		lines = append(lines, Values{"id": "l", "structure": "s", "sections": sections})
	}
	body, err := json.Marshal(Values{
		"name": "Invented: drawn", "location": Values{"longitude": at[0], "latitude": at[1]},
		"flash_density": Values{"ground_flashes_per_km2_year": 5},
		"structures":    []any{Values{"id": "s", "parts": parts}}, "lines": lines,
	})
	if err != nil {
		t.Fatal(err)
	}
	return body
}

// The ellipsoid WGS 84 (NIMA TR8350.2, table 3.1) and its radius of curvature along the meridian at the equator.
const (
	SemiMajor         = 6378137.0
	flattening        = 1 / 298.257223563
	Eccentricity2     = flattening * (2 - flattening)
	MeridianAtEquator = SemiMajor * (1 - Eccentricity2)
)

// OnEquator sets places in metres around a longitude on the equator, where for some hundreds of metres degrees and
// metres are proportional to 1e-8.
func OnEquator(longitude float64, places Positions) Positions {
	out := make(Positions, len(places))
	for i, p := range places {
		lon := longitude + p[0]/SemiMajor*180/math.Pi
		if lon > 180 {
			lon -= 360
		}
		out[i] = [2]float64{lon, p[1] / MeridianAtEquator * 180 / math.Pi}
	}
	return out
}

// ReferenceLines gives the lines of a file of testdata/reference without its comments.
func ReferenceLines(t testing.TB, name string) (lines []string) {
	t.Helper()
	for line := range strings.Lines(string(File(t, "testdata/reference/"+name))) {
		if line = strings.TrimSpace(line); line != "" && line[0] != '#' {
			lines = append(lines, line)
		}
	}
	return lines
}

// Float reads a number.
func Float(t testing.TB, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Pairs reads "x,y x,y …".
func Pairs(t testing.TB, text string) (list Positions) {
	t.Helper()
	for _, p := range strings.Fields(text) {
		x, y, _ := strings.Cut(p, ",")
		list = append(list, [2]float64{Float(t, x), Float(t, y)})
	}
	return list
}
