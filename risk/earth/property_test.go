package earth_test

import (
	"math"
	"testing"

	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/trace"

	"pgregory.net/rapid"
)

func drawRod(t *rapid.T) earth.Electrode {
	e := earth.Electrode{Kind: earth.Rod, Diameter: rapid.Float64Range(0.005, 0.15).Draw(t, "d")}
	e.Length = rapid.Float64Range(max(0.3, 20.001*e.Diameter), 60).Draw(t, "L")
	return e
}

func drawRods(t *rapid.T) earth.Electrode {
	e := drawRod(t)
	e.Kind = earth.Rods
	e.Arrangement = rapid.SampledFrom([]earth.Arrangement{earth.Line, earth.Triangle, earth.Square}).Draw(t, "arrangement")
	switch e.Arrangement {
	case earth.Line:
		e.Count = rapid.IntRange(2, 100).Draw(t, "n")
	case earth.Triangle:
		e.Count = 3
	case earth.Square:
		e.Count = 4 * rapid.IntRange(1, 9).Draw(t, "n/4")
	}
	least := e.Length
	if e.Count == 2 {
		least = max(0.1, 2*e.Diameter)
	}
	e.Spacing = rapid.Float64Range(least, 1000).Draw(t, "s")
	return e
}

func drawWire(t *rapid.T) earth.Electrode {
	e := earth.Electrode{Kind: earth.Wire, Diameter: rapid.Float64Range(0.002, 0.1).Draw(t, "d")}
	e.Depth = rapid.Float64Range(0.1, 10).Draw(t, "h")
	e.Length = rapid.Float64Range(max(1, 20.001*e.Diameter, 2*e.Depth), 1000).Draw(t, "L")
	return e
}

func drawRing(t *rapid.T) earth.Electrode {
	e := drawWire(t)
	e.Kind, e.RingDiameter, e.Length = earth.Ring, e.Length, 0
	return e
}

func drawGrid(t *rapid.T) earth.Electrode {
	e := earth.Electrode{Kind: earth.Grid, Area: rapid.Float64Range(1.5, 1e6).Draw(t, "A"), Depth: rapid.Float64Range(0.25, 2.5).Draw(t, "h")}
	e.ConductorLength = rapid.Float64Range(2.001*math.Sqrt(math.Pi*e.Area), 1e6).Draw(t, "L_T")
	return e
}

// drawSingle draws a valid electrode that is no combination.
func drawSingle(t *rapid.T) earth.Electrode {
	return rapid.SampledFrom([]func(*rapid.T) earth.Electrode{drawRod, drawRods, drawWire, drawRing, drawGrid}).Draw(t, "kind")(t)
}

func drawCombination(t *rapid.T) earth.Electrode {
	e := earth.Electrode{Kind: earth.Combination}
	for i := range rapid.IntRange(2, 6).Draw(t, "parts") {
		p := drawSingle(t)
		if i > 0 {
			p.Distance = rapid.Float64Range(0.01, 10000).Draw(t, "x")
		}
		e.Parts = append(e.Parts, p)
	}
	return e
}

func drawAny(t *rapid.T) earth.Electrode {
	if rapid.Bool().Draw(t, "combination") {
		return drawCombination(t)
	}
	return drawSingle(t)
}

var drawRho = rapid.Float64Range(0.1, 1e5)

func ohms(t *rapid.T, e earth.Electrode, rho float64) float64 {
	tr := trace.New(32)
	r, faults := earth.Resistance(e, rho, tr)
	if len(faults) > 0 {
		t.Fatalf("%+v: %v", e, faults)
	}
	if err := tr.Check(); err != nil {
		t.Fatal(err)
	}
	if !(r.Resistance > 0) || math.IsInf(r.Resistance, 0) {
		t.Fatalf("%+v: %v ohm", e, r.Resistance)
	}
	return r.Resistance
}

const rounding = 1 + 1e-12

func TestResistanceIsLinearInSoil(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawAny(t)
		one, ten := ohms(t, e, 10), ohms(t, e, 100)
		if math.Abs(ten/one-10) > 1e-9 {
			t.Errorf("%v and %v ohm", one, ten)
		}
	})
}

func TestResistanceFallsWithSize(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawSingle(t)
		larger := e
		grow := rapid.Float64Range(1, 3).Draw(t, "grow")
		switch e.Kind {
		case earth.Rod, earth.Wire:
			larger.Length *= grow
		case earth.Rods:
			larger.Length *= grow
			if e.Count > 2 {
				larger.Length = min(larger.Length, e.Spacing)
			}
		case earth.Ring:
			larger.RingDiameter *= grow
		case earth.Grid:
			larger.ConductorLength *= grow
		}
		if len(larger.Validate()) > 0 {
			return // grown out of bounds
		}
		if a, b := ohms(t, e, 100), ohms(t, larger, 100); b > a*rounding {
			t.Errorf("%+v: %v ohm, larger %v ohm", e, a, b)
		}
	})
}

func TestResistanceFallsWithNumber(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawRods(t)
		more := e
		switch e.Arrangement {
		case earth.Line, earth.Triangle:
			more.Arrangement, more.Count = earth.Line, e.Count+1
		case earth.Square:
			more.Count += 4
		}
		single := earth.Electrode{Kind: earth.Rod, Length: e.Length, Diameter: e.Diameter}
		a := ohms(t, e, 100)
		if one := ohms(t, single, 100); a > one*rounding {
			t.Errorf("%d rods %v ohm, one %v", e.Count, a, one)
		}
		if ideal := ohms(t, single, 100) / float64(e.Count); a < ideal {
			t.Errorf("%d rods %v ohm, below %v without mutual effect", e.Count, a, ideal)
		}
		if e.Arrangement == earth.Triangle || len(more.Validate()) > 0 {
			return
		}
		if b := ohms(t, more, 100); b > a*rounding {
			t.Errorf("%+v: %v ohm, %d rods %v", e, a, more.Count, b)
		}
	})
}

func TestParallelNeverAboveSingleNorBelowIdeal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawCombination(t)
		rho := drawRho.Draw(t, "rho")
		got := ohms(t, e, rho)
		ideal := 0.0
		for _, p := range e.Parts {
			p.Distance = 0
			one := ohms(t, p, rho)
			ideal += 1 / one
			if got > one*rounding {
				t.Errorf("together %v ohm, one part %v", got, one)
			}
		}
		if got*rounding < 1/ideal {
			t.Errorf("together %v ohm, below %v without mutual effect", got, 1/ideal)
		}
	})
}

func TestDistanceOnlyHelps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawCombination(t)
		near := ohms(t, e, 100)
		i := rapid.IntRange(1, len(e.Parts)-1).Draw(t, "part")
		e.Parts[i].Distance = min(e.Parts[i].Distance*rapid.Float64Range(1, 10).Draw(t, "further"), 10000)
		if far := ohms(t, e, 100); far > near*(1+1e-9) {
			t.Errorf("%v ohm, further apart %v", near, far)
		}
	})
}

func TestDesignMeetsTheWantAndNothingSmallerDoes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := earth.Options{}
		switch rapid.IntRange(0, 2).Draw(t, "form") {
		case 0:
			o.Form = drawRods(t)
			if o.Form.Spacing < o.Form.Length {
				o.Form.Spacing = o.Form.Length
			}
			o.Form.Count = 0
			o.MaxCount = rapid.IntRange(0, 100).Draw(t, "max")
		case 1:
			o.Form = drawWire(t)
			o.Form.Length = 0
		case 2:
			o.Form = drawRing(t)
			o.Form.RingDiameter = 0
		}
		rho, want := drawRho.Draw(t, "rho"), rapid.Float64Range(0.1, 1000).Draw(t, "want")
		tr := trace.New(64)
		d, faults := earth.Design(want, rho, o, tr)
		if len(faults) > 0 {
			t.Fatalf("%+v: %v", o, faults)
		}
		if err := tr.Check(); err != nil {
			t.Fatal(err)
		}
		if got := ohms(t, d.Electrode, rho); got != d.Result.Resistance {
			t.Fatalf("%v ohm, computed again %v", d.Result.Resistance, got)
		}
		if d.Reached != (d.Result.Resistance <= want) {
			t.Errorf("reached %v with %v ohm for %v", d.Reached, d.Result.Resistance, want)
		}
		if d.Reached && d.Smaller != 0 && d.Smaller <= want {
			t.Errorf("the next smaller has %v ohm, wanted %v", d.Smaller, want)
		}
		if d.Reached {
			checkSmaller(t, d.Electrode, rho, want)
		}
	})
}

// checkSmaller computes the next smaller electrode by hand.
func checkSmaller(t *rapid.T, e earth.Electrode, rho, want float64) {
	switch e.Kind {
	case earth.Rods:
		less := map[earth.Arrangement]int{earth.Line: 1, earth.Triangle: 3, earth.Square: 4}[e.Arrangement]
		if e.Count -= less; e.Count < 2 {
			e = earth.Electrode{Kind: earth.Rod, Length: e.Length, Diameter: e.Diameter}
		}
	case earth.Wire:
		e.Length -= 0.1
	case earth.Ring:
		e.RingDiameter -= 0.1
	default:
		return
	}
	if len(e.Validate()) == 0 && ohms(t, e, rho) <= want*(1-1e-12) {
		t.Errorf("smaller %+v reaches %v ohm too", e, want)
	}
}

func TestLeastLengthGrowsWithClassAndSoil(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rho, more := drawRho.Draw(t, "rho"), rapid.Float64Range(1, 2).Draw(t, "more")
		last := 0.0
		for class := risk.LPSIV; class <= risk.LPSIFullCover; class++ {
			l, faults := earth.MinimumLength(class, rho, nil)
			if faults != nil || l < last || l < 5 {
				t.Errorf("class %v: %v m after %v m %v", class, l, last, faults)
			}
			if worse, _ := earth.MinimumLength(class, min(rho*more, 1e5), nil); worse < l {
				t.Errorf("class %v: %v m, in worse soil %v m", class, l, worse)
			}
			last = l
		}
	})
}

func TestSoilFromARodGivesThatRodBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rod, rho := drawRod(t), rapid.Float64Range(1, 1e4).Draw(t, "rho")
		reading := ohms(t, rod, rho)
		got, faults := earth.Resistivity(earth.Soil{Readings: []earth.Reading{{Method: earth.TestRod, Resistance: reading,
			RodLength: rod.Length, RodDiameter: rod.Diameter}}}, nil)
		if faults != nil || math.Abs(got/rho-1) > 1e-12 {
			t.Errorf("%v ohm m, want %v %v", got, rho, faults)
		}
	})
}

// wild draws any number at all, with a liking for the awkward ones.
var wild = rapid.OneOf(rapid.Float64(), rapid.Float64Range(-1, 100),
	rapid.SampledFrom([]float64{0, math.Copysign(0, -1), math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64,
		math.SmallestNonzeroFloat64, 0.02, 0.5, 3}))

func drawWild(t *rapid.T, depth int) earth.Electrode {
	e := earth.Electrode{
		Kind: earth.Kind(rapid.IntRange(0, 7).Draw(t, "kind")), Arrangement: earth.Arrangement(rapid.IntRange(0, 4).Draw(t, "arrangement")),
		Count: rapid.IntRange(-5, 200).Draw(t, "n"), Length: wild.Draw(t, "L"), Diameter: wild.Draw(t, "d"), Spacing: wild.Draw(t, "s"),
		Depth: wild.Draw(t, "h"), RingDiameter: wild.Draw(t, "D"), Area: wild.Draw(t, "A"), ConductorLength: wild.Draw(t, "L_T"),
		Distance: wild.Draw(t, "x"),
	}
	if depth > 0 {
		for range rapid.IntRange(0, 3).Draw(t, "parts") {
			e.Parts = append(e.Parts, drawWild(t, depth-1))
		}
	}
	return e
}

func TestAnythingIsEitherRefusedOrComputed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawAny(t)
		// spoil one size of a good electrode, or take a wild one
		switch rapid.IntRange(0, 7).Draw(t, "spoil") {
		case 0:
			e = drawWild(t, 2)
		case 1:
			e.Length = wild.Draw(t, "L")
		case 2:
			e.Diameter = wild.Draw(t, "d")
		case 3:
			e.Spacing = wild.Draw(t, "s")
		case 4:
			e.Depth = wild.Draw(t, "h")
		case 5:
			e.RingDiameter = wild.Draw(t, "D")
		case 6:
			e.Area = wild.Draw(t, "A")
		case 7:
			e.ConductorLength = wild.Draw(t, "L_T")
		}
		refusedOrComputed(t, e, rapid.OneOf(drawRho, wild).Draw(t, "rho"))
	})
}

type failer interface{ Fatalf(string, ...any) }

func refusedOrComputed(t failer, e earth.Electrode, rho float64) {
	tr := trace.New(32)
	r, faults := earth.Resistance(e, rho, tr)
	if len(faults) > 0 {
		if r.Resistance != 0 || len(tr.Steps) > 0 {
			t.Fatalf("refused with %v, and yet %v ohm, %d steps", faults, r.Resistance, len(tr.Steps))
		}
		for _, f := range faults {
			if f.Pointer == "" || f.Pointer[0] != '/' || f.Reason == "" || f.Rule == "" {
				t.Fatalf("fault %+v", f)
			}
		}
		return
	}
	if !(r.Resistance > 0) || math.IsInf(r.Resistance, 0) {
		t.Fatalf("%+v: %v ohm", e, r.Resistance)
	}
	if err := tr.Check(); err != nil {
		t.Fatalf("%+v: %v", e, err)
	}
	if c, faults := earth.CheckLength(e, r, risk.LPSI, rho, nil); len(faults) > 0 || c.Outcome == "" || !(c.L1 >= 5) {
		t.Fatalf("%+v: %+v %v", e, c, faults)
	}
}

func FuzzResistance(f *testing.F) {
	f.Add(uint8(earth.Rod), uint8(0), 0, 3.0, 0.025, 0.0, 0.0, 0.0, 0.0, 0.0, 55.0)
	f.Add(uint8(earth.Rods), uint8(earth.Square), 8, 3.0, 0.016, 6.0, 0.0, 0.0, 0.0, 0.0, 300.0)
	f.Add(uint8(earth.Wire), uint8(0), 0, 20.0, 0.01, 0.0, 0.5, 0.0, 0.0, 0.0, 300.0)
	f.Add(uint8(earth.Ring), uint8(0), 0, 0.0, 0.01, 0.0, 0.5, 12.0, 0.0, 0.0, 300.0)
	f.Add(uint8(earth.Grid), uint8(0), 0, 0.0, 0.0, 0.0, 0.5, 0.0, 4900.0, 1540.0, 400.0)
	f.Add(uint8(earth.Combination), uint8(0), 0, 3.0, 0.025, 2.0, 0.5, 0.0, 0.0, 0.0, 55.0)
	f.Fuzz(func(t *testing.T, kind, arrangement uint8, n int, L, d, s, h, D, A, LT, rho float64) {
		e := earth.Electrode{Kind: earth.Kind(kind), Arrangement: earth.Arrangement(arrangement), Count: n, Length: L, Diameter: d,
			Spacing: s, Depth: h, RingDiameter: D, Area: A, ConductorLength: LT}
		if e.Kind == earth.Combination {
			e = earth.Electrode{Kind: earth.Combination, Parts: []earth.Electrode{
				{Kind: earth.Rod, Length: L, Diameter: d}, {Kind: earth.Wire, Length: L, Diameter: d, Depth: h, Distance: s},
			}}
		}
		refusedOrComputed(t, e, rho)
		e.Count, e.Length, e.RingDiameter = 0, 0, 0
		if r, faults := earth.Design(s, rho, earth.Options{Form: e, MaxCount: n}, nil); len(faults) == 0 && !(r.Result.Resistance > 0) {
			t.Fatalf("%+v: %+v", e, r)
		}
	})
}
