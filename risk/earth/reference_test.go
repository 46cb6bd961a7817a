package earth_test

import (
	"bufio"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"levinward/risk/earth"
)

// reference is a line of testdata/reference/earth-average-potential.txt, which was computed
// by numerical quadrature with mpmath; the file names the command.
type reference struct {
	method, kind string
	v            map[string]float64
}

func references(t *testing.T) []reference {
	file, err := os.Open("../../testdata/reference/earth-average-potential.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var all []reference
	for lines := bufio.NewScanner(file); lines.Scan(); {
		words := strings.Fields(lines.Text())
		if words[0] == "#" {
			continue
		}
		r := reference{words[0], words[1], map[string]float64{}}
		for _, w := range words[2:] {
			name, value, _ := strings.Cut(w, "=")
			if r.v[name], err = strconv.ParseFloat(value, 64); err != nil {
				t.Fatal(err)
			}
		}
		all = append(all, r)
	}
	if len(all) < 40 {
		t.Fatalf("%d reference values", len(all))
	}
	return all
}

func (r reference) electrode() earth.Electrode {
	v := r.v
	rod := earth.Electrode{Kind: earth.Rod, Length: 3, Diameter: 0.016, Distance: v["s"]}
	wire := earth.Electrode{Kind: earth.Wire, Length: 20, Diameter: 0.01, Depth: 0.5}
	ring := earth.Electrode{Kind: earth.Ring, RingDiameter: 10, Diameter: 0.01, Depth: 0.5}
	first := rod
	first.Distance = 0
	switch r.kind {
	case "rod":
		return earth.Electrode{Kind: earth.Rod, Length: v["L"], Diameter: v["d"]}
	case "line", "triangle", "square":
		e := earth.Electrode{Kind: earth.Rods, Length: v["L"], Diameter: v["d"], Count: int(v["n"]), Spacing: v["s"]}
		if err := e.Arrangement.UnmarshalText([]byte(r.kind)); err != nil {
			panic(err)
		}
		return e
	case "wire":
		return earth.Electrode{Kind: earth.Wire, Length: v["L"], Diameter: v["d"], Depth: v["h"]}
	case "ring":
		return earth.Electrode{Kind: earth.Ring, RingDiameter: v["D"], Diameter: v["d"], Depth: v["h"]}
	case "grid":
		return earth.Electrode{Kind: earth.Grid, Area: v["A"], ConductorLength: v["L"], Depth: v["h"]}
	case "wire+rod":
		return earth.Electrode{Kind: earth.Combination, Parts: []earth.Electrode{wire, rod}}
	case "ring+rod":
		return earth.Electrode{Kind: earth.Combination, Parts: []earth.Electrode{ring, rod}}
	case "rod+rod+rod":
		return earth.Electrode{Kind: earth.Combination, Parts: []earth.Electrode{first, rod, rod}}
	}
	panic(r.kind)
}

// excess is how far a formula may lie above the reference. The series drop terms of the
// order of radius over length, so it may also lie that little below: 0.4 % at most, at 20 diameters.
var excess = map[string]map[string]float64{
	"average": {"rod": 0, "line": 0.05, "triangle": 0.06, "square": 0.07, "wire": 0.002, "ring": 0.02},
	"equal":   {"rod": 0.02, "line": 0.06, "triangle": 0.07, "square": 0.07, "wire": 0.01, "ring": 0.005, "grid": 0.2, "wire+rod": 0.2, "ring+rod": 0.2, "rod+rod+rod": 0.85},
}

func TestAgainstAveragePotential(t *testing.T) {
	for _, r := range references(t) {
		got := resistance(t, r.electrode(), r.v["rho"]).Resistance/r.v["R"] - 1
		limit, ok := excess[r.method][r.kind]
		if !ok {
			t.Errorf("no limit for %s %s", r.method, r.kind)
		}
		t.Logf("%s %s %v: %+.2f %%", r.method, r.kind, r.v, 100*got)
		if got < -0.004 || got > limit+0.001 || math.IsNaN(got) {
			t.Errorf("%s %s %v: %+.2f %% off", r.method, r.kind, r.v, 100*got)
		}
	}
}

// Two rods nearer than their length: the series is the integral itself.
func TestNearPairAgainstIntegral(t *testing.T) {
	for _, r := range references(t) {
		if r.method != "average" || r.kind != "line" || r.v["n"] != 2 || r.v["s"] > r.v["L"] {
			continue
		}
		got := resistance(t, r.electrode(), r.v["rho"])
		if off := got.Resistance/r.v["R"] - 1; math.Abs(off) > 5e-4 {
			t.Errorf("%v: %+.3f %% off", r.v, 100*off)
		}
	}
}
