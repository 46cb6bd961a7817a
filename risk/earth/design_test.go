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
	rodForm  = earth.Electrode{Kind: earth.Rods, Length: 3, Diameter: 0.016, Spacing: 6}
	wireForm = earth.Electrode{Kind: earth.Wire, Diameter: 0.01, Depth: 0.6}
	ringForm = earth.Electrode{Kind: earth.Ring, Diameter: 0.01, Depth: 0.6}
)

func TestDesign(t *testing.T) {
	for _, c := range []struct {
		name    string
		want    float64
		rho     float64
		options earth.Options
		reached bool
		kind    earth.Kind
		count   int
	}{
		{"one rod suffices", 40, 100, earth.Options{Form: rodForm}, true, earth.Rod, 0},
		{"several in line", 10, 100, earth.Options{Form: rodForm}, true, earth.Rods, 4},
		{"square", 10, 100, earth.Options{Form: but(rodForm, func(e *earth.Electrode) { e.Arrangement = earth.Square })}, true, earth.Rods, 8},
		{"triangle is not enough", 10, 100, earth.Options{Form: but(rodForm, func(e *earth.Electrode) { e.Arrangement = earth.Triangle })}, false, earth.Rods, 3},
		{"three are not enough", 10, 100, earth.Options{Form: rodForm, MaxCount: 3}, false, earth.Rods, 3},
		{"poor soil", 10, 5000, earth.Options{Form: rodForm}, false, earth.Rods, 100},
		{"wire", 10, 100, earth.Options{Form: wireForm}, true, earth.Wire, 0},
		{"short wire", 10, 100, earth.Options{Form: wireForm, MaxLength: 10}, false, earth.Wire, 0},
		{"ring", 10, 100, earth.Options{Form: ringForm}, true, earth.Ring, 0},
		{"small ring", 10, 500, earth.Options{Form: ringForm, MaxRingDiameter: 12}, false, earth.Ring, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr := trace.New(64)
			d, faults := earth.Design(c.want, c.rho, c.options, tr)
			if len(faults) > 0 {
				t.Fatal(faults)
			}
			if d.Reached != c.reached || d.Electrode.Kind != c.kind || d.Electrode.Count != c.count {
				t.Errorf("%+v", d)
			}
			if d.Reached != (d.Result.Resistance <= c.want) || d.Reached && d.Smaller != 0 && d.Smaller <= c.want {
				t.Errorf("%v ohm, the next smaller %v", d.Result.Resistance, d.Smaller)
			}
			if d.Reached == strings.HasPrefix(d.Outcome, "not possible") {
				t.Error(d.Outcome)
			}
			if err := tr.Check(); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestBestReachedIsTheBound(t *testing.T) {
	d, _ := earth.Design(10, 500, earth.Options{Form: wireForm, MaxLength: 12.3}, nil)
	if d.Reached || d.Electrode.Length != 12.3 {
		t.Errorf("%+v", d)
	}
	d, _ = earth.Design(10, 500, earth.Options{Form: ringForm, MaxRingDiameter: 8}, nil)
	if d.Reached || d.Electrode.RingDiameter != 8 {
		t.Errorf("%+v", d)
	}
}

func TestFaultyDesigns(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		want, rho float64
		options   earth.Options
		pointers  string
	}{
		"not numbers":          {nan, nan, earth.Options{Form: earth.Electrode{Kind: earth.Wire, Diameter: nan, Depth: nan}, MaxLength: nan}, "/wanted_ohm /soil_resistivity_ohm_m /max_length_m /diameter_m /depth_m"},
		"zero and negative":    {0, -5, earth.Options{Form: rodForm, MaxCount: -1}, "/wanted_ohm /soil_resistivity_ohm_m /max_count"},
		"what is sought given": {10, 100, earth.Options{Form: goodRods}, "/count"},
		"length given":         {10, 100, earth.Options{Form: goodWire}, "/length_m"},
		"ring given":           {10, 100, earth.Options{Form: goodRing}, "/ring_diameter_m"},
		"bound of another":     {10, 100, earth.Options{Form: wireForm, MaxCount: 4, MaxRingDiameter: 3}, "/max_count /max_ring_diameter_m"},
		"grid":                 {10, 100, earth.Options{Form: goodGrid}, "/kind"},
		"combination":          {10, 100, earth.Options{Form: together(goodRod, distant(goodRod, 6))}, "/kind"},
		"rods too near":        {10, 100, earth.Options{Form: but(rodForm, func(e *earth.Electrode) { e.Spacing = 2 })}, "/spacing_m"},
		"no such arrangement":  {10, 100, earth.Options{Form: but(rodForm, func(e *earth.Electrode) { e.Arrangement = 5 })}, "/arrangement"},
		"size of another":      {10, 100, earth.Options{Form: but(rodForm, func(e *earth.Electrode) { e.Depth = 1 }), MaxCount: 1}, "/depth_m"},
		"bound below depth":    {10, 100, earth.Options{Form: but(wireForm, func(e *earth.Electrode) { e.Depth = 3 }), MaxLength: 5}, "/max_length_m"},
		"too many rods":        {10, 100, earth.Options{Form: rodForm, MaxCount: 101}, "/max_count"},
	} {
		t.Run(name, func(t *testing.T) {
			tr := trace.New(8)
			d, faults := earth.Design(c.want, c.rho, c.options, tr)
			wantPointers(t, faults, strings.Fields(c.pointers)...)
			if d.Result.Resistance != 0 || len(tr.Steps) > 0 {
				t.Errorf("refused, and yet %+v", d)
			}
		})
	}
	// two rods may stand nearer than their length
	if _, faults := earth.Design(10, 100, earth.Options{Form: but(rodForm, func(e *earth.Electrode) { e.Spacing = 2 }), MaxCount: 2},
		nil); faults != nil {
		t.Error(faults)
	}
}

func TestCheckLength(t *testing.T) {
	long := but(goodRods, func(e *earth.Electrode) { e.Count, e.Length, e.Spacing = 2, 10, 20 })
	ring := but(goodRing, func(e *earth.Electrode) { e.RingDiameter = 20 })
	for _, c := range []struct {
		name       string
		electrode  earth.Electrode
		class      risk.LPS
		rho        float64
		kind       earth.Termination
		sufficient bool
		exempt     bool
		horizontal float64
	}{
		// l1 5 m: 2.5 m vertical, 5 m horizontal
		{"two rods, class III", but(goodRods, func(e *earth.Electrode) { e.Count = 2 }), risk.LPSIII, 400, earth.TypeA, true, false, 0},
		{"one rod is never enough", goodRod, risk.LPSIV, 10, earth.TypeA, false, true, 0},
		{"wires of 5 m", together(but(goodWire, func(e *earth.Electrode) { e.Length = 5 }), distant(but(goodWire, func(e *earth.Electrode) { e.Length = 5 }), 5)), risk.LPSIV, 400, earth.TypeA, true, false, 0},
		{"wires of 4.9 m", together(but(goodWire, func(e *earth.Electrode) { e.Length = 4.9 }), distant(but(goodWire, func(e *earth.Electrode) { e.Length = 4.9 }), 5)), risk.LPSIV, 400, earth.TypeA, false, false, 0},
		// l1 20 m at 1000 ohm m, class I: 10 m vertical
		{"two long rods, class I", long, risk.LPSI, 1000, earth.TypeA, true, false, 0},
		{"in worse soil too short", long, risk.LPSI, 1001, earth.TypeA, false, false, 0},
		{"short, but below 10 ohm", but(goodRods, func(e *earth.Electrode) { e.Count, e.Length = 2, 1 }), risk.LPSII, 5, earth.TypeA, true, true, 0},
		{"ring large enough", ring, risk.LPSII, 1000, earth.TypeB, true, false, 0},
		{"ring too small", ring, risk.LPSI, 1000, earth.TypeB, false, false, 10},
		{"ring with two rods of 5 m", together(ring, distant(but(goodRods, func(e *earth.Electrode) { e.Count, e.Length, e.Spacing = 2, 5, 20 }), 1)), risk.LPSI, 1000, earth.TypeB, true, false, 10},
		{"ring with two rods of 3 m", together(ring, distant(but(goodRods, func(e *earth.Electrode) { e.Count, e.Spacing = 2, 20 }), 1)), risk.LPSI, 1000, earth.TypeB, false, false, 10},
		{"grid", goodGrid, risk.LPSIII, 1000, earth.TypeB, true, false, 0}, // r_e 5.64 m
		{"small grid", but(goodGrid, func(e *earth.Electrode) { e.Area = 25 }), risk.LPSIII, 1000, earth.TypeB, false, false, 5 - 5/math.SqrtPi},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr := trace.New(64)
			r, faults := earth.Resistance(c.electrode, c.rho, tr)
			if faults != nil {
				t.Fatal(faults)
			}
			got, faults := earth.CheckLength(c.electrode, r, c.class, c.rho, tr)
			if faults != nil {
				t.Fatal(faults)
			}
			if got.Type != c.kind || got.Sufficient != c.sufficient || got.Exempt != c.exempt ||
				math.Abs(got.Horizontal-c.horizontal) > 1e-9 || got.Vertical != got.Horizontal/2 {
				t.Errorf("%+v", got)
			}
			if strings.HasPrefix(got.Outcome, "not enough") == got.Sufficient {
				t.Error(got.Outcome)
			}
			if err := tr.Check(); err != nil {
				t.Error(err)
			}
		})
	}
	_, faults := earth.CheckLength(earth.Electrode{}, earth.Result{}, risk.NoLPS, 0, nil)
	wantPointers(t, faults, earth.SoilPointer, earth.ClassPointer, "/length_m", "/diameter_m")
	if c, _ := earth.CheckLength(but(goodRods, func(e *earth.Electrode) { e.Count, e.Length = 2, 1 }), earth.Result{}, risk.LPSII, 5,
		nil); c.Exempt {
		t.Error("exempt without a resistance")
	}
}

func TestJudge(t *testing.T) {
	for _, c := range []struct {
		connection earth.Connection
		resistance float64
		grade      earth.Grade
		earthFirst bool
		text       string
	}{
		{earth.NoConnection, 0, earth.NotProven, true, earth.TextNone},
		{earth.UnknownConnection, 0, earth.NotProven, true, earth.TextUnknown},
		{earth.Measured, 4, earth.Good, false, earth.TextGood},
		{earth.Measured, 10, earth.Good, false, earth.TextGood},
		{earth.Measured, 10.01, earth.Fair, false, earth.TextFair},
		{earth.FromElectrode, 30, earth.Fair, false, earth.TextFair},
		{earth.FromElectrode, 31, earth.Poor, false, earth.TextPoor},
	} {
		tr := trace.New(4)
		j, faults := earth.Judge(c.connection, c.resistance, tr)
		if faults != nil || j.Grade != c.grade || j.EarthFirst != c.earthFirst || j.Notes[0].Text != c.text {
			t.Errorf("%v %v ohm: %+v %v", c.connection, c.resistance, j, faults)
		}
		if (len(j.Notes) == 2) != (c.connection == earth.FromElectrode) {
			t.Errorf("%v: %v", c.connection, j.Notes)
		}
		if err := tr.Check(); err != nil {
			t.Error(err)
		}
	}
	for _, bad := range []float64{0, -3, math.NaN(), math.Inf(1)} {
		_, faults := earth.Judge(earth.Measured, bad, nil)
		wantPointers(t, faults, earth.MeasuredPointer)
	}
	_, faults := earth.Judge(earth.NoConnection, 4, nil)
	wantPointers(t, faults, earth.MeasuredPointer)
	_, faults = earth.Judge(earth.Connection(9), 4, nil)
	wantPointers(t, faults, "/connection")
}
