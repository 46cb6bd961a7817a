package measures

import (
	"slices"
	"testing"

	"levinward/risk"
)

// What is preferred: the lower cost, then the lower worst ratio, then the lower sum, both to twelve digits.
func TestPrefer(t *testing.T) {
	for name, c := range map[string]struct {
		aCost, bCost units
		a, b         ratios
		want         int
	}{
		"cheaper, although worse":          {1, 2, ratios{1}, ratios{0.1}, -1},
		"dearer, although better":          {2, 1, ratios{0.1}, ratios{1}, 1},
		"lower worst, although higher sum": {1, 1, ratios{0.5, 0.5}, ratios{0.6}, -1},
		"higher worst":                     {1, 1, ratios{0.6}, ratios{0.5, 0.5}, 1},
		"lower sum":                        {1, 1, ratios{0.5, 0.1}, ratios{0.5, 0.2}, -1},
		"higher sum":                       {1, 1, ratios{0.5, 0.3}, ratios{0.5, 0.2}, 1},
		"equal":                            {1, 1, ratios{0.5, 0.2}, ratios{0.5, 0.2}, 0},
		"worst equal to twelve digits":     {1, 1, ratios{0.5 * (1 + 1e-13), 0.1}, ratios{0.5, 0.2}, -1},
		"sum equal to twelve digits":       {1, 1, ratios{0.5, 0.2 * (1 + 1e-13)}, ratios{0.5, 0.2}, 0},
		"worst different in the twelfth":   {1, 1, ratios{0.25 + 1e-12, 0.1}, ratios{0.25, 0.2}, 1},
		"sum different in the twelfth":     {1, 1, ratios{0.25, 0.1 + 8e-13}, ratios{0.25, 0.1}, 1},
		"without a limit":                  {1, 1, ratios{}, ratios{}, 0},
	} {
		if got := prefer(c.aCost, c.bCost, &c.a, &c.b); got != c.want {
			t.Errorf("%s: %d, want %d", name, got, c.want)
		}
	}
	if r := (ratios{1, 20, 300, 4000}); r.sum() != 4321 || r.worst() != 4000 {
		t.Errorf("sum %v, worst %v", r.sum(), r.worst())
	}
}

// Measures are ordered by their fields, in order: the first that differs decides.
func TestLess(t *testing.T) {
	end := func(b, c risk.Level) risk.EndMeasures {
		return risk.EndMeasures{Bonding: risk.SPD{Level: b}, Coordinated: risk.SPD{Level: c}}
	}
	of := func(lps risk.LPS, fire risk.FireProtection, structure, line risk.ShockMeasures, ends ...risk.EndMeasures) risk.Measures {
		return risk.Measures{LPS: lps, FireProtection: fire, StructureShock: structure, LineShock: line, Ends: ends}
	}
	rising := []risk.Measures{
		of(0, 0, 0, 0, end(0, 0), end(0, 0)),
		of(0, 0, 0, 0, end(0, 0), end(0, 1)),
		of(0, 0, 0, 0, end(0, 0), end(1, 0)),
		of(0, 0, 0, 0, end(0, 1), end(0, 0)),
		of(0, 0, 0, 0, end(1, 0), end(0, 0)),
		{Wiring: risk.LoopsAvoided, Ends: []risk.EndMeasures{end(0, 0), end(0, 0)}},
		{Wiring: risk.ShieldedWiring, Ends: []risk.EndMeasures{end(0, 0), end(0, 0)}},
		of(0, 0, 0, 1, end(0, 0), end(0, 0)),
		of(0, 0, 1, 0, end(3, 3), end(3, 3)),
		of(0, 1, 0, 3, end(0, 0), end(0, 0)),
		of(1, 0, 3, 3, end(0, 0), end(0, 0)),
		of(2, 0, 0, 0, end(0, 0), end(0, 0)),
	}
	for i := range rising {
		for j := range rising {
			if got := less(&rising[i], &rising[j]); got != (i < j) {
				t.Errorf("less(%d, %d) is %v: %+v, %+v", i, j, got, rising[i], rising[j])
			}
		}
	}
}

func TestMargins(t *testing.T) {
	all := slices.Collect(margins)
	if want := []float64{2, 5, 10, 20, 50, 100, 200, 500, 1000}; !slices.Equal(all[:len(want)], want) {
		t.Errorf("margins %v", all)
	}
	if last := all[len(all)-1]; len(all) != 45 || last != 1e15 {
		t.Errorf("%d margins up to %v", len(all), last)
	}
	for stop := 1; stop < 8; stop++ {
		n := 0
		for range margins {
			if n++; n == stop {
				break
			}
		}
	}
}

func TestImproves(t *testing.T) {
	for _, c := range []struct {
		top, chosen, limit float64
		want               bool
	}{{0.5, 0.7, 0.5, true}, {0.5, 0.7, 0.6, true}, {0.5, 0.7, 0.4, false}, {0.5, 0.5, 0.5, false}, {0.5, 0.5, 1, false}} {
		s := &search{corners: []*ratios{}, top: set{ratios: ratios{c.top}}, chosen: set{ratios: ratios{c.chosen}}}
		if got := s.improves(c.limit); got != c.want {
			t.Errorf("%+v: %v", c, got)
		}
	}
}

// Lines are alike at a structure where they feed the same systems in the same order.
func TestFeedsAlike(t *testing.T) {
	sys := func(line int, wiring risk.Wiring, kv float64) risk.System {
		return risk.System{Line: line, Wiring: wiring, Withstand: kv}
	}
	for name, c := range map[string]struct {
		systems []risk.System
		want    bool
	}{
		"nothing":               {nil, true},
		"another line only":     {[]risk.System{sys(2, 0, 0)}, true},
		"one each":              {[]risk.System{sys(0, 0, 0), sys(1, 0, 0)}, true},
		"the other first":       {[]risk.System{sys(1, 0, 0), sys(0, 0, 0)}, true},
		"another between":       {[]risk.System{sys(0, 1, 0), sys(2, 0, 0), sys(1, 1, 0)}, true},
		"two each":              {[]risk.System{sys(0, 1, 0), sys(1, 1, 0), sys(0, 2, 4), sys(1, 2, 4)}, true},
		"other wiring":          {[]risk.System{sys(0, 1, 0), sys(1, 0, 0)}, false},
		"other withstand":       {[]risk.System{sys(0, 0, 4), sys(1, 0, 2.5)}, false},
		"one more of the first": {[]risk.System{sys(0, 0, 0), sys(0, 0, 0), sys(1, 0, 0)}, false},
		"one more of the other": {[]risk.System{sys(0, 0, 0), sys(1, 0, 0), sys(1, 0, 0)}, false},
		"the other only":        {[]risk.System{sys(1, 0, 0)}, false},
		"the first only":        {[]risk.System{sys(0, 0, 0)}, false},
		"another order":         {[]risk.System{sys(0, 1, 0), sys(0, 2, 0), sys(1, 2, 0), sys(1, 1, 0)}, false},
	} {
		if got := feedsAlike(c.systems, 0, 1); got != c.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}

// fourLines is an invented site of one structure where many sets have to be tried.
func fourLines() (invented, *risk.Input) {
	in := &risk.Input{Costs: DefaultCosts(), Tolerable: [risk.Losses]float64{1e-5},
		Structures: []risk.Structure{{Zones: []risk.Zone{{FireRisk: risk.HighFireRisk}}}}}
	s := inventedStructure{fire: [7]float64{1, 0.5, 0.2}, lps: [7]float64{1, 0.2, 0.1, 0.05, 0.02, 0.01, 0.01}, notices: 0.1,
		insul: 0.01, wiring: [7]float64{1, 1, 1, 1},
		bonding: [risk.BetterThanI + 1]float64{1, 0.05, 0.02, 0.01}, systems: [risk.BetterThanI + 1]float64{1, 0.05, 0.02, 0.01},
		a: [risk.Losses]float64{4e-6}, b: [risk.Losses]float64{9e-6}}
	for i := range 4 {
		in.Lines = append(in.Lines, risk.Line{To: -1, Withstand: float64(1 + i)})
		s.lines = append(s.lines, inventedLine{u: [risk.Losses]float64{float64(1+i) * 1e-6}, v: [risk.Losses]float64{5e-6},
			w: [risk.Losses]float64{float64(4-i) * 4e-6}})
	}
	return invented{structures: []inventedStructure{s}}, in
}

// A search that ends at its bound says so, whatever the bound. This one needs more than 200 evaluations and steps.
func TestEveryBoundOfTheSearch(t *testing.T) {
	e, in := fourLines()
	res, _ := e.Assess(in, nil)
	whole := Recommend(in, &res, e)
	if !whole.Proven {
		t.Fatal("the whole search is not proven")
	}
	for budget := range 200 {
		if got := RecommendWithin(in, &res, e, budget); got.Proven || !got.Sufficient || got.Set.Cost < whole.Set.Cost {
			t.Errorf("bound %d: proven %v, cost %v, the whole search finds %v", budget, got.Proven, got.Set.Cost, whole.Set.Cost)
		}
	}
}

// Every evaluation counts, and the price of everything at its best is that of LPS 50, automatic fire
// protection 30, notices and insulation twice 5.5, bonding and coordinated SPDs 5 at each of four ends.
func TestTopOfTheSearch(t *testing.T) {
	e, in := fourLines()
	res, _ := e.Assess(in, nil)
	p := pricesOf(&in.Costs)
	budget, calls := 1000, 0
	e.structures[0].calls = &calls
	s := newSearch(in, 0, &res.Structures[0], e, &p, &budget)
	if budget != 999 || calls != 1 {
		t.Errorf("%d left after %d evaluations", budget, calls)
	}
	s.findTop()
	if budget != 1000-calls {
		t.Errorf("%d left after %d evaluations", budget, calls)
	}
	if got := p.cost(s.top.cost); got != 50+30+5.5+5.5+4*5 {
		t.Errorf("everything costs %v", got)
	}
	if calls = 0; s.corners == nil {
		t.Fatal("no room")
	}
	if s.findTop(); calls != 0 {
		t.Errorf("%d evaluations the second time", calls)
	}
}
