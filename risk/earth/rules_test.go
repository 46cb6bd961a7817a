package earth_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/trace"
)

// A wanted resistance is an upper limit: the electrode that has exactly that is enough.
func TestDesignTakesExactlyTheWantedResistance(t *testing.T) {
	want := resistance(t, but(rodForm, func(e *earth.Electrode) { e.Count = 4 }), 100).Resistance
	d, faults := earth.Design(want, 100, earth.Options{Form: rodForm}, nil)
	if faults != nil || !d.Reached || d.Electrode.Count != 4 {
		t.Errorf("%d rods for %v ohm, want 4 %v", d.Electrode.Count, want, faults)
	}
}

// IEC 62305-3:2010, 5.4.2.1 (from memory): no least length where the resistance is below 10 ohm, so not at 10 ohm.
func TestExemptionEndsAtTenOhm(t *testing.T) {
	short := but(goodRods, func(e *earth.Electrode) { e.Count, e.Length = 2, 1 })
	for _, c := range []struct {
		ohm    float64
		exempt bool
	}{{9.999, true}, {10, false}, {10.001, false}, {0, false}} {
		got, faults := earth.CheckLength(short, earth.Result{Resistance: c.ohm}, risk.LPSII, 100, nil)
		if faults != nil || got.Exempt != c.exempt || got.Sufficient != c.exempt {
			t.Errorf("%v ohm: %+v %v", c.ohm, got, faults)
		}
		if c.exempt != (len(got.Notes) == 1) {
			t.Errorf("%v ohm: notes %v", c.ohm, got.Notes)
		}
	}
}

// Two electrodes are the least number (IEC 62305-3:2010, 5.4.2.1, from memory): two long ones need no exemption.
func TestOutcomeOfTwoLongRods(t *testing.T) {
	two := but(goodRods, func(e *earth.Electrode) { e.Count = 2 })
	for _, ohm := range []float64{4, 40} {
		got, _ := earth.CheckLength(two, earth.Result{Resistance: ohm}, risk.LPSIII, 100, nil)
		want := "long enough: type A needs at least 2 electrodes of 5 m horizontal or 2.5 m vertical; 2 are there."
		if got.Outcome != want || got.Count != 2 || got.Long != 2 || len(got.Notes) > 0 {
			t.Errorf("%v ohm: %+v", ohm, got)
		}
	}
}

// The printed figure of l_1 ends at 3000 ohm m; classes III and IV have 5 m in any soil, so nothing is continued there.
func TestContinuedFigureIsNoted(t *testing.T) {
	for _, c := range []struct {
		class risk.LPS
		rho   float64
		noted bool
	}{
		{risk.LPSI, 3000, false}, {risk.LPSI, 3001, true}, {risk.LPSII, 3001, true}, {risk.LPSII, 2999, false},
		{risk.LPSIII, 3001, false}, {risk.LPSIV, 1e5, false}, {risk.LPSIFullCover, 1e5, true},
	} {
		got, faults := earth.CheckLength(goodRods, earth.Result{}, c.class, c.rho, nil)
		noted := slices.ContainsFunc(got.Notes, func(n earth.Note) bool { return strings.Contains(n.Text, "3000 ohm m") })
		if faults != nil || noted != c.noted {
			t.Errorf("class %v, %v ohm m: %v %v", c.class, c.rho, got.Notes, faults)
		}
	}
}

// Of equal rings the first is the one whose radius counts, so that the worksheet points to it.
func TestRadiusOfEqualRings(t *testing.T) {
	e := together(goodRod, distant(goodRing, 4), distant(goodRing, 30))
	tr := trace.New(32)
	got, faults := earth.CheckLength(e, earth.Result{}, risk.LPSIII, 100, tr)
	if faults != nil || got.Radius != 6 {
		t.Fatalf("%+v %v", got, faults)
	}
	for _, s := range tr.Steps {
		if s.Quantity.Reads == "ring_diameter_m" && tr.ScopePointer(s.Scope) != "/parts/1" {
			t.Errorf("ring diameter read at %q", tr.ScopePointer(s.Scope))
		}
	}
}

func TestMutualEffectIsNamed(t *testing.T) {
	pair := but(goodRods, func(e *earth.Electrode) { e.Count = 2 })
	for want, e := range map[string]earth.Electrode{
		earth.MutualNone: goodRod, earth.MutualPair: pair, earth.MutualRods: goodRods,
		earth.MutualGrid: goodGrid, earth.MutualParts: together(goodRod, distant(goodRod, 6)),
	} {
		if got := resistance(t, e, 100).Mutual; got != want {
			t.Errorf("%v electrode: %q, want %q", e.Kind, got, want)
		}
	}
	for _, e := range []earth.Electrode{goodWire, goodRing} {
		if got := resistance(t, e, 100).Mutual; got != earth.MutualWithin {
			t.Errorf("%v electrode: %q", e.Kind, got)
		}
	}
}

// Notes: a wire of more than 60 m hardly helps against lightning currents (IEC 62305-3:2010, Annex E, from memory), and
// rings, wires and grids lie at 0.5 m or deeper (5.4.3, from memory). Every result is for uniform soil.
func TestNotesOfElectrodes(t *testing.T) {
	wire := func(length, depth float64) earth.Electrode {
		return but(goodWire, func(e *earth.Electrode) { e.Length, e.Depth = length, depth })
	}
	longRod := but(goodRod, func(e *earth.Electrode) { e.Length = 60 })
	for name, c := range map[string]struct {
		electrode     earth.Electrode
		long, shallow bool
	}{
		"rod":              {goodRod, false, false},
		"rods":             {goodRods, false, false},
		"longest rod":      {longRod, false, false},
		"wire of 60 m":     {wire(60, 0.5), false, false},
		"wire of 61 m":     {wire(61, 0.5), true, false},
		"shallow wire":     {wire(20, 0.49), false, true},
		"long and shallow": {wire(100, 0.3), true, true},
		"ring":             {goodRing, false, false},
		"shallow ring":     {but(goodRing, func(e *earth.Electrode) { e.Depth = 0.3 }), false, true},
		"large ring":       {but(goodRing, func(e *earth.Electrode) { e.RingDiameter = 200 }), false, false},
		"shallow grid":     {but(goodGrid, func(e *earth.Electrode) { e.Depth = 0.4 }), false, true},
		"a part is long":   {together(goodRod, distant(wire(70, 0.6), 5)), true, false},
		"a part shallow":   {together(goodRod, distant(wire(20, 0.3), 5), distant(goodRod, 9)), false, true},
	} {
		notes := resistance(t, c.electrode, 100).Notes
		has := func(words string) bool {
			return slices.ContainsFunc(notes, func(n earth.Note) bool { return strings.Contains(n.Text, words) })
		}
		if !has("For uniform soil") || has("Longer than 60 m") != c.long || has("Less than 0.5 m deep") != c.shallow {
			t.Errorf("%s: %v", name, notes)
		}
	}
}

// Two equal rods whose mutual resistance equals the resistance of one: as far as can be shown they are one rod, R.
// The distance is x = rho/(2 pi R), to the last bit.
func TestPartsThatJustCannotHelp(t *testing.T) {
	alone := resistance(t, goodRod, 100).Resistance
	x := 100 / (2 * math.Pi * alone)
	for range 20 {
		x = math.Nextafter(x, 0)
	}
	for range 40 {
		x = math.Nextafter(x, 1)
		r, faults := earth.Resistance(together(goodRod, distant(goodRod, x)), 100, nil)
		if faults != nil || !(math.Abs(r.Resistance/alone-1) < 1e-12) {
			t.Fatalf("at %v m: %v ohm, alone %v %v", x, r.Resistance, alone, faults)
		}
		if p := r.Parts[1]; p.Idle != (p.Mutual >= alone) {
			t.Fatalf("at %v m: %+v, alone %v", x, p, alone)
		}
	}
}

func TestPartsAndReadingsAreCountedFromOne(t *testing.T) {
	tr := trace.New(64)
	rho, faults := earth.Resistivity(earth.Soil{Readings: []earth.Reading{wenner(4, 4), wenner(5, 3.3)}}, tr)
	if faults != nil {
		t.Fatal(faults)
	}
	if _, faults := earth.Resistance(together(goodRod, distant(goodRod, 6)), rho, tr); faults != nil {
		t.Fatal(faults)
	}
	var names []string
	for i := range tr.Scopes() {
		names = append(names, tr.ScopeName(int32(i)))
	}
	for _, want := range []string{"/reading-1", "/reading-2", "/part-1", "/part-2"} {
		if !slices.Contains(names, want) {
			t.Errorf("no %s in %v", want, names)
		}
	}
	if len(names) > 5 {
		t.Errorf("scopes %v", names)
	}
}

// Readings that differ by a factor of exactly 1.3 count as uniform, and the refusal names the factor.
func TestFactorOfReadings(t *testing.T) {
	tested := 0
	for k := 1; k < 60; k++ {
		r := float64(k) / 4
		if (2*math.Pi*4*(1.3*r))/(2*math.Pi*4*r) != 1.3 {
			continue // rounding makes another factor of it
		}
		tested++
		if _, faults := earth.Resistivity(earth.Soil{Readings: []earth.Reading{wenner(4, 1.3*r), wenner(4, r)}}, nil); faults != nil {
			t.Errorf("%v and %v ohm: %v", r, 1.3*r, faults)
		}
	}
	if tested == 0 {
		t.Error("no pair of readings with a factor of exactly 1.3")
	}
	// 2 pi 4 m 2 ohm = 50.27 ohm m and three times that
	_, faults := earth.Resistivity(earth.Soil{Readings: []earth.Reading{wenner(4, 2), wenner(4, 6)}}, nil)
	if len(faults) != 1 || !strings.HasPrefix(faults[0].Reason,
		"the readings give 50.27 to 150.8 ohm m, a factor of 3; up to 1.3 the soil counts as uniform.") {
		t.Error(faults)
	}
}

func TestLargestNumbersAreTaken(t *testing.T) {
	readings := slices.Repeat([]earth.Reading{wenner(4, 4)}, earth.MaxReadings)
	if _, faults := earth.Resistivity(earth.Soil{Readings: readings}, nil); faults != nil {
		t.Error(faults)
	}
	parts := []earth.Electrode{goodRod}
	for len(parts) < earth.MaxParts {
		parts = append(parts, distant(goodRod, 6))
	}
	if faults := together(parts...); len(faults.Validate()) > 0 {
		t.Error(faults.Validate())
	}
	if earth.MaxReadings != 100 || earth.MaxParts != 20 {
		t.Errorf("%d readings, %d parts", earth.MaxReadings, earth.MaxParts)
	}
}

// Sizes on the very edge of what the formulas allow.
func TestEdgesOfTheForms(t *testing.T) {
	touching := but(goodRods, func(e *earth.Electrode) { e.Count, e.Diameter, e.Spacing = 2, 0.06, 0.12 })
	edge := but(goodGrid, func(e *earth.Electrode) { e.ConductorLength = 2 * math.Sqrt(math.Pi*100) }) // a circle of 100 m2
	stout := but(goodRod, func(e *earth.Electrode) { e.Length, e.Diameter = 2, 0.1 })
	near := but(goodRods, func(e *earth.Electrode) { e.Spacing = e.Length })
	deep := but(goodWire, func(e *earth.Electrode) { e.Length, e.Depth = 4, 2 })
	square := but(goodRods, func(e *earth.Electrode) { e.Arrangement, e.Count = earth.Square, 36 })
	for _, e := range []earth.Electrode{touching, edge, stout, near, deep, square} {
		if faults := e.Validate(); len(faults) > 0 {
			t.Errorf("%+v: %v", e, faults)
		}
	}
	third := but(goodRods, func(e *earth.Electrode) { e.Arrangement = earth.Square + 1 })
	wantPointers(t, third.Validate(), "/arrangement")
	_, faults := earth.Resistivity(earth.Soil{Readings: []earth.Reading{{Method: earth.TestRod + 1}}}, nil)
	wantPointers(t, faults, "/readings/0/method")
	last := earth.Electrode{Kind: earth.Combination + 1}
	wantPointers(t, last.Validate(), "/kind")
}

// A fault says what was given, what is allowed and in which unit.
func TestFaultsNameValueRangeAndUnit(t *testing.T) {
	rods := but(goodRods, func(e *earth.Electrode) { e.Length, e.Count, e.Spacing = 0, 101, 2000 })
	grid := but(goodGrid, func(e *earth.Electrode) { e.Area = 2e6 })
	var got []string
	for _, f := range append(rods.Validate(), grid.Validate()...) {
		got = append(got, f.Pointer+": "+f.Reason)
	}
	want := []string{
		"/length_m: missing or zero; allowed: 0.3 to 60 m",
		"/count: 101 is out of range; allowed: 2 to 100 rods",
		"/spacing_m: 2000 is out of range; allowed: 0.1 to 1000 m",
		"/area_m2: 2e+06 is out of range; allowed: 1 to 1e+06 m2",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
	_, faults := earth.Resistance(goodRod, 0, nil)
	if len(faults) != 1 || faults[0].Reason != "missing or zero; allowed: 0.1 to 100000 ohm m" {
		t.Error(faults)
	}
}

// The ranges of sizes, written down a second time. Common practice, no published source, except the depth of a grid,
// 0.25 to 2.5 m, which IEEE Std 80 gives for its formula (from memory).
func TestRangesOfSizes(t *testing.T) {
	want := map[string][2]float64{
		"rod length_m": {0.3, 60}, "rod diameter_m": {0.005, 0.15},
		"rods length_m": {0.3, 60}, "rods diameter_m": {0.005, 0.15}, "rods count": {2, 100}, "rods spacing_m": {0.1, 1000},
		"wire length_m": {1, 1000}, "wire diameter_m": {0.002, 0.1}, "wire depth_m": {0.1, 10},
		"ring ring_diameter_m": {1, 1000}, "ring diameter_m": {0.002, 0.1}, "ring depth_m": {0.1, 10},
		"grid area_m2": {1, 1e6}, "grid conductor_length_m": {4, 1e6}, "grid depth_m": {0.25, 2.5},
	}
	for _, table := range earth.Tables() {
		if table.Number != "sizes" {
			continue
		}
		for _, row := range table.Rows {
			if w, ok := want[row.Text]; !ok || row.Values[0] != w[0] || row.Values[1] != w[1] {
				t.Errorf("%s: %v, want %v", row.Text, row.Values, w)
			}
			delete(want, row.Text)
		}
	}
	if len(want) > 0 {
		t.Errorf("not listed: %v", want)
	}
}

// Units of the symbols, from their dimensions: a resistance in ohm, a resistivity in ohm m, lengths in m, and the
// growth of a length with resistivity, m/(ohm m), in 1/ohm. Ratios and counts have none.
func TestUnitsOfQuantities(t *testing.T) {
	units := map[string]string{
		"rho": "ohm m", "rho_i": "ohm m", "k_rho": "", "R_e": "ohm", "R": "ohm", "R_a": "ohm", "R_m": "ohm", "R_l": "ohm", "R_w": "ohm",
		"R_E": "ohm", "R_aim": "ohm", "R_use": "ohm", "a": "m", "b": "m", "L": "m", "d": "m", "n": "", "s": "m", "l": "m", "h": "m",
		"D": "m", "A": "m2", "L_T": "m", "x": "m", "k": "", "lambda": "", "l_0": "m", "k_l": "1/ohm", "c_l": "m", "l_1": "m", "l_1v": "m",
		"r_e": "m", "l_r": "m", "l_v": "m",
	}
	for _, q := range earth.Quantities() {
		if unit, ok := units[q.Symbol]; !ok || unit != q.Unit {
			t.Errorf("%s (%s) in %q, want %q", q.Symbol, q.Name, q.Unit, unit)
		}
	}
}
