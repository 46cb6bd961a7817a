package earth_test

import (
	"math"
	"strings"
	"testing"

	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/trace"
)

var (
	goodRod  = earth.Electrode{Kind: earth.Rod, Length: 3, Diameter: 0.016}
	goodRods = earth.Electrode{Kind: earth.Rods, Length: 3, Diameter: 0.016, Count: 3, Spacing: 6}
	goodWire = earth.Electrode{Kind: earth.Wire, Length: 20, Diameter: 0.01, Depth: 0.6}
	goodRing = earth.Electrode{Kind: earth.Ring, RingDiameter: 12, Diameter: 0.01, Depth: 0.6}
	goodGrid = earth.Electrode{Kind: earth.Grid, Area: 100, ConductorLength: 120, Depth: 0.6}
)

// but returns a changed copy.
func but(e earth.Electrode, change func(*earth.Electrode)) earth.Electrode {
	change(&e)
	return e
}

func together(parts ...earth.Electrode) earth.Electrode {
	return earth.Electrode{Kind: earth.Combination, Parts: parts}
}

func distant(e earth.Electrode, x float64) earth.Electrode {
	e.Distance = x
	return e
}

func TestEveryFaultIsReported(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name      string
		electrode earth.Electrode
		want      string // pointers
	}{
		{"nothing given", earth.Electrode{}, "/length_m /diameter_m"},
		{"no such kind", earth.Electrode{Kind: 17, Length: nan}, "/kind"},
		{"not numbers", earth.Electrode{Kind: earth.Rods, Length: nan, Diameter: inf, Count: -3, Spacing: math.Inf(-1)}, "/length_m /diameter_m /count /spacing_m"},
		{"diameter in millimetres", but(goodRod, func(e *earth.Electrode) { e.Diameter = 16 }), "/diameter_m"},
		{"longer than any", but(goodRod, func(e *earth.Electrode) { e.Length = 1e300 }), "/length_m"},
		{"smaller than any", but(goodRod, func(e *earth.Electrode) { e.Length = math.SmallestNonzeroFloat64 }), "/length_m"},
		{"negative", but(goodWire, func(e *earth.Electrode) { e.Length, e.Depth = -20, -0.6 }), "/length_m /depth_m"},
		{"a post, no rod", but(goodRod, func(e *earth.Electrode) { e.Length, e.Diameter = 2, 0.15 }), "/length_m"},
		{"sizes of other kinds", but(goodRod, func(e *earth.Electrode) { e.Depth, e.RingDiameter, e.Area, e.Count = 1, nan, 5, 2 }), "/count /depth_m /ring_diameter_m /area_m2"},
		{"parts of no combination", but(goodRod, func(e *earth.Electrode) { e.Parts = []earth.Electrode{goodRod} }), "/parts"},
		{"distance of no part", distant(goodRod, 3), "/distance_m"},
		{"arrangement of one rod", but(goodRod, func(e *earth.Electrode) { e.Arrangement = earth.Square }), "/arrangement"},
		{"no such arrangement", but(goodRods, func(e *earth.Electrode) { e.Arrangement = 9 }), "/arrangement"},
		{"triangle of four", but(goodRods, func(e *earth.Electrode) { e.Arrangement, e.Count = earth.Triangle, 4 }), "/count"},
		{"square of six", but(goodRods, func(e *earth.Electrode) { e.Arrangement, e.Count = earth.Square, 6 }), "/count"},
		{"square beyond the table", but(goodRods, func(e *earth.Electrode) { e.Arrangement, e.Count = earth.Square, 40 }), "/count"},
		{"three rods nearer than their length", but(goodRods, func(e *earth.Electrode) { e.Spacing = 2.9 }), "/spacing_m"},
		{"faults of size and form at once", earth.Electrode{Kind: earth.Rods, Arrangement: earth.Triangle, Length: 3, Diameter: nan, Count: 4, Spacing: 1}, "/diameter_m /count /spacing_m"},
		{"unknown arrangement and sizes", earth.Electrode{Kind: earth.Rods, Arrangement: 9, Length: nan, Diameter: 0.016, Count: 4, Spacing: 1}, "/arrangement /length_m"},
		{"two rods that touch", but(goodRods, func(e *earth.Electrode) { e.Count, e.Diameter, e.Spacing = 2, 0.06, 0.11 }), "/spacing_m"},
		{"deeper than half its length", but(goodWire, func(e *earth.Electrode) { e.Length, e.Depth = 4, 2.1 }), "/depth_m"},
		{"ring deeper than its radius", but(goodRing, func(e *earth.Electrode) { e.RingDiameter, e.Depth = 4, 2.1 }), "/depth_m"},
		{"grid deeper than its formula", but(goodGrid, func(e *earth.Electrode) { e.Depth = 2.6 }), "/depth_m"},
		{"grid at the surface", but(goodGrid, func(e *earth.Electrode) { e.Depth = 0.1 }), "/depth_m"},
		{"grid without its edge", but(goodGrid, func(e *earth.Electrode) { e.ConductorLength = 35 }), "/conductor_length_m"},
		{"one part", together(goodRod), "/parts"},
		{"no parts", together(), "/parts"},
		{"parts without distance", together(goodRod, goodRing, goodRod), "/parts/1/distance_m /parts/2/distance_m"},
		{"distance of the first part", together(distant(goodRod, 2), distant(goodRod, 5)), "/parts/0/distance_m"},
		{"faults deep inside", together(but(goodRod, func(e *earth.Electrode) { e.Length = nan }), distant(goodRod, nan),
			distant(but(goodWire, func(e *earth.Electrode) { e.Depth = 0 }), 3)),
			"/parts/0/length_m /parts/1/distance_m /parts/2/depth_m"},
		{"combination in a combination", together(goodRod, distant(together(goodRod, goodRod), 4)), "/parts/1/kind"},
		{"size of a combination", but(together(goodRod, distant(goodRod, 6)), func(e *earth.Electrode) { e.Length = 6 }), "/length_m"},
		{"too many parts", together(make([]earth.Electrode, earth.MaxParts+1)...), "/parts"},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr := trace.New(8)
			r, faults := earth.Resistance(c.electrode, 100, tr)
			wantPointers(t, faults, strings.Fields(c.want)...)
			if r.Resistance != 0 || len(tr.Steps) > 0 {
				t.Errorf("refused, and yet %v ohm and %d steps", r.Resistance, len(tr.Steps))
			}
			for _, f := range faults {
				if !strings.Contains(f.Reason, "allowed") && f.Rule != risk.RuleNotApplicable {
					t.Errorf("%s does not say what is allowed: %s", f.Pointer, f.Reason)
				}
			}
			wantPointers(t, c.electrode.Validate(), strings.Fields(c.want)...)
		})
	}
}

func TestGoodElectrodesHaveNoFault(t *testing.T) {
	pair := but(goodRods, func(e *earth.Electrode) { e.Count, e.Spacing = 2, 1 })
	for _, e := range []earth.Electrode{goodRod, goodRods, pair, goodWire, goodRing, goodGrid, together(goodRing, distant(goodRods, 1),
		distant(goodWire, 0.5))} {
		if faults := e.Validate(); len(faults) > 0 {
			t.Errorf("%+v: %v", e, faults)
		}
	}
}

func TestSoilOutOfRangeIsRefused(t *testing.T) {
	for _, rho := range []float64{0, -1, math.NaN(), math.Inf(1), math.Inf(-1), 0.09, 100001, math.MaxFloat64} {
		_, faults := earth.Resistance(goodRod, rho, nil)
		wantPointers(t, faults, earth.SoilPointer)
	}
	_, faults := earth.Resistance(earth.Electrode{}, 0, nil)
	wantPointers(t, faults, earth.SoilPointer, "/length_m", "/diameter_m")
}

func TestNamesReadBack(t *testing.T) {
	type value interface{ MarshalText() ([]byte, error) }
	type pointer interface{ UnmarshalText([]byte) error }
	check := func(names []string, valueOf func(uint8) value, into pointer) {
		t.Helper()
		for i, name := range names {
			got, err := valueOf(uint8(i)).MarshalText()
			if err != nil || string(got) != name {
				t.Errorf("%d is %q, want %q, %v", i, got, name, err)
			}
			if err := into.UnmarshalText([]byte(name)); err != nil {
				t.Error(err)
			}
		}
		if err := into.UnmarshalText([]byte("plate")); err == nil || !strings.Contains(err.Error(), names[0]) {
			t.Errorf("unknown name: %v", err)
		}
	}
	check(earth.Kind(0).Names(), func(v uint8) value { return earth.Kind(v) }, new(earth.Kind))
	check(earth.Arrangement(0).Names(), func(v uint8) value { return earth.Arrangement(v) }, new(earth.Arrangement))
	check(earth.Connection(0).Names(), func(v uint8) value { return earth.Connection(v) }, new(earth.Connection))
	check(earth.Grade(0).Names(), func(v uint8) value { return earth.Grade(v) }, new(earth.Grade))
	check(earth.Method(0).Names(), func(v uint8) value { return earth.Method(v) }, new(earth.Method))
	check(earth.Termination(0).Names(), func(v uint8) value { return earth.Termination(v) }, new(earth.Termination))
}

func TestQuantitiesAndTablesAreComplete(t *testing.T) {
	for _, q := range earth.Quantities() {
		if q.Symbol == "" || q.Name == "" || q.Clause == "" {
			t.Errorf("%+v", q)
		}
		if q.Expr == "" && len(q.In) > 0 {
			t.Errorf("%s has inputs and no formula", q.Name)
		}
	}
	for _, table := range earth.Tables() {
		for _, row := range table.Rows {
			if len(row.Values) != len(table.Symbols) || row.Text == "" || table.Clause == "" || table.Title == "" {
				t.Errorf("%s: %+v", table.Number, row)
			}
		}
	}
}

func TestPartsTooNearCountAsTheBetterOne(t *testing.T) {
	near := resistance(t, together(goodRing, distant(goodRod, 0.05)), 100)
	alone := resistance(t, goodRing, 100)
	if near.Resistance != alone.Resistance || !near.Parts[1].Idle || near.Parts[1].Mutual <= alone.Resistance {
		t.Errorf("%+v, ring alone %v", near, alone.Resistance)
	}
	if last := near.Notes[len(near.Notes)-1]; !strings.Contains(last.Text, "too near") {
		t.Error(last)
	}
}

func TestPartsAreRecordedWhereTheyStand(t *testing.T) {
	e := together(goodRod, distant(goodRing, 9))
	tr := trace.New(32)
	r, _ := earth.Resistance(e, 100, tr)
	if _, faults := earth.CheckLength(e, r, risk.LPSIII, 100, tr); faults != nil {
		t.Fatal(faults)
	}
	seen := 0
	for _, s := range tr.Steps {
		if s.Quantity.Reads == "ring_diameter_m" {
			seen++
			if pointer := tr.ScopePointer(s.Scope); pointer != "/parts/1" {
				t.Errorf("ring diameter read at %q", pointer)
			}
		}
	}
	if seen != 2 {
		t.Errorf("ring diameter read %d times", seen)
	}
}
