package measures

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"levinward/risk"
)

// The rules below are those of this project's own search; what they cost and
// what risk remains is held against every set in brute_test.go, and against an
// edition of the standard in edition_test.go.

func TestAlternativesAreCheapestForTheirMargins(t *testing.T) {
	check(t, func(t *rapid.T) {
		e, in := drawSite(t, 1, 2)
		res, _ := e.Assess(in, nil)
		got := Recommend(in, &res, e)
		if !got.Sufficient || !got.Needed {
			if len(got.Alternatives) > 0 {
				t.Fatal("alternatives to a set that is not needed or not sufficient")
			}
			return
		}
		kept, cost := 0, got.Set.Cost
		last, _ := ratiosOf(&res.Structures[0], got.Set.Structures[0].Risks)
		for margin := range margins {
			if kept == alternatives || margin > 1e9 {
				break
			}
			want, lowest := bruteForce(in, 0, &e.structures[0], &res.Structures[0], 1/margin)
			if lowest > 1/margin || lowest >= last {
				break
			}
			if last <= 1/margin || near(want.cost, cost) {
				continue
			}
			if kept == len(got.Alternatives) {
				t.Fatalf("no alternative within 1/%v, which %v reaches", margin, want)
			}
			sameAnswer(t, "alternative", &want, &got.Alternatives[kept].Structures[0], &res.Structures[0])
			last, cost = want.worst, want.cost
			kept++
		}
		if kept != len(got.Alternatives) {
			t.Fatalf("%d alternatives, want %d", len(got.Alternatives), kept)
		}
	})
}

// dominates reports whether a is no worse than b in cost and every risk, and better in one.
func dominates(a, b *risk.MeasureSet, res *risk.Result) bool {
	better := a.Cost < b.Cost
	if a.Cost > b.Cost {
		return false
	}
	for i := range a.Structures {
		for k, x := range a.Structures[i].Risks {
			y := b.Structures[i].Risks[k]
			if res.Structures[a.Structures[i].Structure].Risks[k].Tolerable == 0 || near(x, y) {
				continue
			}
			if x > y {
				return false
			}
			better = true
		}
	}
	return better
}

func TestNoSetDominatesAnother(t *testing.T) {
	check(t, func(t *rapid.T) {
		e, in := drawSite(t, 3, 4)
		res, _ := e.Assess(in, nil)
		got := Recommend(in, &res, e)
		sets := append([]risk.MeasureSet{got.Set}, got.Alternatives...)
		if len(sets) > 1+alternatives {
			t.Fatalf("%d alternatives", len(got.Alternatives))
		}
		for i := range sets {
			sum := 0.0
			for _, s := range sets[i].Structures {
				sum += s.Cost
				if w, _ := ratiosOf(&res.Structures[s.Structure], s.Risks); got.Sufficient && w > 1 {
					t.Fatalf("set %d leaves a ratio of %v", i, w)
				}
			}
			if !near(sum, sets[i].Cost) {
				t.Fatalf("costs add up to %v, not %v", sum, sets[i].Cost)
			}
			for j := range sets {
				if i != j && (dominates(&sets[i], &sets[j], &res) || reflect.DeepEqual(sets[i], sets[j])) {
					t.Fatalf("set %d dominates set %d:\n%+v\n%+v", i, j, sets[i], sets[j])
				}
			}
		}
	})
}

func TestSameAnswerEveryTime(t *testing.T) {
	check(t, func(t *rapid.T) {
		e, in := drawSite(t, 2, 4)
		res, _ := e.Assess(in, nil)
		if a, b := Recommend(in, &res, e), Recommend(in, &res, e); !reflect.DeepEqual(a, b) {
			t.Fatalf("two answers:\n%+v\n%+v", a, b)
		}
	})
}

func TestHigherLimitNeverCostsMore(t *testing.T) {
	check(t, func(t *rapid.T) {
		e, in := drawSite(t, 1, 4)
		res, _ := e.Assess(in, nil)
		strict := Recommend(in, &res, e)
		for k := range in.Tolerable {
			in.Tolerable[k] *= rapid.Float64Range(1, 5).Draw(t, "wider")
		}
		res, _ = e.Assess(in, nil)
		wide := Recommend(in, &res, e)
		if strict.Sufficient && (!wide.Sufficient || wide.Set.Cost > strict.Set.Cost) {
			t.Fatalf("cost %v within the limits, %v within wider ones", strict.Set.Cost, wide.Set.Cost)
		}
	})
}

func TestExhaustedSearchSaysSo(t *testing.T) {
	check(t, func(t *rapid.T) {
		e, in := drawSite(t, 2, 4)
		res, _ := e.Assess(in, nil)
		exact := Recommend(in, &res, e)
		calls := 0
		for i := range e.structures {
			e.structures[i].calls = &calls
		}
		budget := rapid.IntRange(0, 400).Draw(t, "budget")
		got := RecommendWithin(in, &res, e, budget)
		if fixed := len(in.Structures)*(8+30) + 100; calls > budget+fixed {
			t.Fatalf("%d evaluations within a budget of %d", calls, budget)
		}
		if got.Needed != exact.Needed || got.Sufficient != exact.Sufficient {
			t.Fatalf("needed, sufficient: %v %v, of the whole search %v %v", got.Needed, got.Sufficient, exact.Needed, exact.Sufficient)
		}
		for _, s := range append([]risk.MeasureSet{got.Set}, got.Alternatives...) {
			for _, x := range s.Structures {
				if w, _ := ratiosOf(&res.Structures[x.Structure], e.structures[x.Structure].Risks(&x.Measures)); got.Sufficient && w > 1 {
					t.Fatalf("a set leaves a ratio of %v", w)
				}
			}
		}
		if got.Proven && !reflect.DeepEqual(got, exact) {
			t.Fatalf("proven, but\n%+v\nand not\n%+v", got, exact)
		}
	})
}

func TestExistingLPSNeedsBondingOnceMeasuresAreTaken(t *testing.T) {
	in := &risk.Input{Costs: DefaultCosts(), Tolerable: [risk.Losses]float64{1e-5},
		Structures: []risk.Structure{{LPS: risk.LPSINaturalFrame, Zones: []risk.Zone{{FireRisk: risk.HighFireRisk}}}},
		Lines:      []risk.Line{{To: -1}}}
	e := invented{structures: []inventedStructure{{fire: [7]float64{1, 0.5, 0.2}, lps: [7]float64{1, 1, 1, 1, 1, 1, 1},
		bonding: [5]float64{1, 1, 1, 1}, systems: [5]float64{1, 1, 1, 1},
		b: [risk.Losses]float64{3e-5}, lines: make([]inventedLine, 1)}}}
	res, _ := e.Assess(in, nil)
	got := Recommend(in, &res, e)
	if want := 32.0; got.Set.Cost != want { // automatic fire protection 30, bonding to LPL I 2
		t.Errorf("cost %v, want %v: %+v", got.Set.Cost, want, got.Set)
	}
	e.structures[0].b[0] = 1e-5
	res, _ = e.Assess(in, nil)
	if got = Recommend(in, &res, e); got.Needed || got.Set.Cost != 0 || got.Set.Structures[0].Added || !got.Sufficient {
		t.Errorf("at the limit nothing is needed: %+v", got)
	}
}

func TestNothingSuffices(t *testing.T) {
	in := &risk.Input{Costs: DefaultCosts(), Tolerable: [risk.Losses]float64{1e-5},
		Structures: []risk.Structure{{Zones: []risk.Zone{{FireRisk: risk.HighFireRisk}}}}}
	e := invented{structures: []inventedStructure{{fire: [7]float64{1, 0.5, 0.5}, lps: [7]float64{1, 1, 0.5, 0.5, 0.5},
		b: [risk.Losses]float64{8e-5}}}}
	res, _ := e.Assess(in, nil)
	got := Recommend(in, &res, e)
	m := got.Set.Structures[0].Measures
	if got.Sufficient || !got.Needed || !got.Proven || len(got.Alternatives) > 0 {
		t.Errorf("%+v", got)
	}
	if m.LPS != risk.LPSIII || m.FireProtection != risk.ManualFireProtection || got.Set.Cost != 27 {
		t.Errorf("not the cheapest of the best: %+v", got.Set)
	}
}

func TestRiskWithoutLimitDoesNotCount(t *testing.T) {
	in := &risk.Input{Costs: DefaultCosts(), Structures: []risk.Structure{{}, {NotAssessed: true}}}
	e := invented{structures: []inventedStructure{{b: [risk.Losses]float64{1, 1, 1, 1}, lps: [7]float64{1}, fire: [7]float64{1}}, {}}}
	res, _ := e.Assess(in, nil)
	got := Recommend(in, &res, e)
	if got.Needed || !got.Sufficient || !got.Proven || len(got.Set.Structures) != 1 {
		t.Errorf("%+v", got)
	}
}

func TestPresent(t *testing.T) {
	spd := risk.SPD{Level: risk.LevelII}
	in := &risk.Input{
		Structures: []risk.Structure{
			{LPS: risk.LPSIII, Zones: []risk.Zone{
				{StructureShock: risk.WarningNotices | risk.Insulation, LineShock: risk.WarningNotices, FireRisk: risk.LowFireRisk, FireProtection: risk.AutomaticFireProtection},
				{StructureShock: risk.WarningNotices, LineShock: risk.WarningNotices | risk.Insulation, FireRisk: risk.HighFireRisk, FireProtection: risk.ManualFireProtection},
				{LineShock: risk.WarningNotices}, // without a risk of fire
				{Place: risk.Outside, StructureShock: risk.WarningNotices},
			}},
			{},
		},
		Lines: []risk.Line{{To: 1, BondingSPD: spd}, {To: -1}, {Structure: 1, To: -1}},
	}
	in.Structures[0].Zones[2].StructureShock = risk.WarningNotices
	want := risk.Measures{LPS: risk.LPSIII, FireProtection: risk.ManualFireProtection, StructureShock: risk.WarningNotices,
		LineShock: risk.WarningNotices,
		Ends:      []risk.EndMeasures{{Line: 0, Bonding: spd}, {Line: 1}}}
	if got := Present(in, 0); !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got := Present(in, 1); len(got.Ends) != 2 || got.Ends[0].Bonding != spd || got.Ends[1].Line != 2 || got.FireProtection != 0 ||
		got.StructureShock != 0 {
		t.Errorf("far end: %+v", got)
	}
}

func TestTwinsDifferInNameOnly(t *testing.T) {
	line := risk.Line{To: -1, Withstand: 2.5, Sections: []risk.Section{{Length: 100}}}
	longer := line
	longer.Sections = []risk.Section{{Length: 200}}
	in := &risk.Input{Lines: []risk.Line{line, longer, line, line, line},
		Structures: []risk.Structure{{Zones: []risk.Zone{{Systems: []risk.System{{Line: 0}, {Line: 2}, {Line: 4, Wiring: risk.LoopsAvoided}}}}}}}
	for i := range in.Lines {
		in.Lines[i].ID = string(rune('a' + i))
	}
	m := Present(in, 0)
	if got, want := twins(in, 0, &m), []int{-1, -1, 0, -1, -1}; !slices.Equal(got, want) { // 3 feeds no system, 4 another
		t.Errorf("%v, want %v", got, want)
	}
}

func TestPricesAddUpExactly(t *testing.T) {
	var c risk.Costs
	c.WarningNotices, c.Insulation, c.LPS[risk.LPSIV] = 0.1, 0.2, 0.3
	p := pricesOf(&c)
	if p.notices+p.insulation != p.lps[risk.LPSIV] || p.cost(p.lps[risk.LPSIV]) != 0.3 {
		t.Errorf("%+v", p)
	}
	c.LPS[risk.LPSI] = math.Inf(1)
	c.Insulation = math.NaN()
	c.WarningNotices = -1
	p = pricesOf(&c)
	if p.lps[risk.LPSI] <= 0 || p.insulation != 0 || p.notices != 0 {
		t.Errorf("%+v", p)
	}
}

func TestWithoutPricesTheDefaultOnesCount(t *testing.T) {
	in := &risk.Input{Tolerable: [risk.Losses]float64{1e-5}, Structures: []risk.Structure{{Zones: []risk.Zone{{FireRisk: risk.HighFireRisk}}}}}
	e := invented{structures: []inventedStructure{{fire: [7]float64{1, 0.5, 0.5}, lps: [7]float64{1, 1, 1, 1, 1},
		b: [risk.Losses]float64{2e-5}}}}
	res, _ := e.Assess(in, nil)
	if got, want := Recommend(in, &res, e).Set.Cost, DefaultCosts().FireProtection[risk.ManualFireProtection]; got != want {
		t.Errorf("cost %v, want %v", got, want)
	}
}

func TestDefaultCostsRise(t *testing.T) {
	c := DefaultCosts()
	for _, p := range [][]float64{c.LPS[:risk.LPSI+1], c.Bonding[:], c.Coordinated[:], c.FireProtection[:],
		{0, c.WarningNotices, c.Insulation}} {
		if !slices.IsSorted(p) || p[0] != 0 || slices.Min(p[1:]) <= 0 {
			t.Errorf("prices %v do not rise", p)
		}
	}
	if c.Bonding[risk.LevelIIIIV] != 1 || c.Money {
		t.Error("not on the relative scale")
	}
}
