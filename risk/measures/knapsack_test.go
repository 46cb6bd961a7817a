package measures

import (
	"math"
	"slices"
	"testing"

	"levinward/risk"
)

// The parts of the choice of SPDs, on numbers worked out by hand from what their comments promise (no published source).

// first makes ratios of one loss.
func first(v float64) ratios { return ratios{v} }

// worked is what one line end saves: bonding leaves 1, 0.5, 0.5 and 0.25, coordinated SPDs 1, 0.75, 0.5 and 0.375 of the limit.
func worked() *savings {
	t := &savings{}
	for i, v := range []float64{1, 0.5, 0.5, 0.25} {
		t.bonding[i] = first(v)
	}
	for i, v := range []float64{1, 0.75, 0.5, 0.375} {
		t.coordinated[i] = first(v)
	}
	return t
}

func TestReplaces(t *testing.T) {
	o := func(b, c risk.Level, extra units) option { return option{pair: pair{b, c}, extra: extra} }
	for name, c := range map[string]struct {
		a, b   option
		before bool
		want   bool
	}{
		"dearer, although better":                                        {o(3, 3, 9), o(1, 1, 8), true, false},
		"the same effect for less":                                       {o(1, 0, 2), o(2, 0, 3), false, true},
		"the same effect at the same price, before":                      {o(1, 0, 3), o(2, 0, 3), true, true},
		"the same effect at the same price, after":                       {o(2, 0, 3), o(1, 0, 3), false, false},
		"better for less":                                                {o(3, 1, 5), o(1, 1, 6), false, true},
		"better for as much":                                             {o(3, 1, 6), o(1, 1, 6), true, false},
		"worse bonding for less":                                         {o(1, 1, 5), o(3, 1, 6), true, false},
		"worse coordinated for less":                                     {o(3, 1, 5), o(3, 2, 6), true, false},
		"lower bonding of the same effect, better coordinated, for less": {o(1, 1, 5), o(2, 0, 6), false, true},
		"better bonding, worse coordinated":                              {o(3, 0, 5), o(1, 1, 6), false, false},
	} {
		if got := replaces(&c.a, &c.b, c.before, worked()); got != c.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}

// oneEnd is a search over one line end with these prices of bonding and coordinated SPDs for LPL III-IV, II and I.
func oneEnd(p risk.EndMeasures, bonding, coordinated [3]units) *search {
	s := &search{prices: &prices{}, present: risk.Measures{Ends: []risk.EndMeasures{p}}, limit: 1, limits: [risk.Losses]float64{1e-5}}
	for i := range 3 {
		s.prices.bonding[i+1], s.prices.coordinated[i+1] = bonding[i], coordinated[i]
	}
	s.limitEnds([]int{-1})
	s.lowest = []pair{{p.Bonding.Level, p.Coordinated.Level}}
	return s
}

func TestChoices(t *testing.T) {
	type kept struct {
		bonding, coordinated risk.Level
		extra                units
		gain                 float64
	}
	list := func(o []option) (out []kept) {
		for _, x := range o {
			out = append(out, kept{x.bonding, x.coordinated, x.extra, x.gain[0]})
		}
		return out
	}
	// Bonding II has the effect of III-IV: alone it is dearer without a use, but a coordinated set for LPL II needs it.
	s := oneEnd(risk.EndMeasures{}, [3]units{2, 3, 4}, [3]units{4, 5, 6})
	want := []kept{{0, 0, 0, 0}, {1, 0, 2, 0.5}, {1, 1, 6, 0.75}, {2, 2, 8, 1}, {3, 0, 4, 0.75}, {3, 1, 8, 1}, {3, 2, 9,
		1.25}, {3, 3, 10, 1.375}}
	if got := list(s.choices(nil, 0, worked())); !slices.Equal(got, want) {
		t.Errorf("choices\n%v, by hand\n%v", got, want)
	}
	// Bonding for LPL I is cheaper than II: nothing takes II.
	s = oneEnd(risk.EndMeasures{}, [3]units{2, 5, 4}, [3]units{4, 5, 6})
	want = []kept{{0, 0, 0, 0}, {1, 0, 2, 0.5}, {1, 1, 6, 0.75}, {3, 0, 4, 0.75}, {3, 1, 8, 1}, {3, 2, 9, 1.25}, {3, 3, 10, 1.375}}
	if got := list(s.choices(nil, 0, worked())); !slices.Equal(got, want) {
		t.Errorf("choices\n%v, by hand\n%v", got, want)
	}
	// A coordinated set that is there already needs no bonding.
	s = oneEnd(risk.EndMeasures{Coordinated: risk.SPD{Level: risk.LevelII}}, [3]units{2, 3, 4}, [3]units{4, 5, 6})
	want = []kept{{0, 2, 0, 0}, {1, 2, 2, 0.5}, {3, 2, 4, 0.75}, {3, 3, 10, 0.875}}
	if got := list(s.choices(nil, 0, worked())); !slices.Equal(got, want) {
		t.Errorf("choices\n%v, by hand\n%v", got, want)
	}
	o := s.choices(nil, 0, worked())
	for i := range o {
		o[i].extra += 3
	}
	if low := cheapest(o); low != 3 || o[0].extra != 0 || o[3].extra != 10 {
		t.Errorf("cheapest %d, then %v", low, list(o))
	}
	s.options = [][]option{o}
	if got := s.weight(0); got != 0.875 {
		t.Errorf("weight %v", got)
	}
}

// The lowest level that can be enough with all else at its best, and the bonding that a coordinated set begins with.
func TestEnough(t *testing.T) {
	for _, c := range []struct {
		limit float64
		need  risk.Level
		want  pair
	}{{1, risk.NoSPD, pair{0, 0}}, {0.99, risk.NoSPD, pair{1, 1}}, {0.75, risk.NoSPD, pair{1, 1}}, {0.5, risk.NoSPD,
		pair{2, 2}}, {0.375, risk.NoSPD, pair{3, 3}},
		{1, risk.LevelII, pair{2, 0}}, {1, risk.LevelI, pair{3, 0}}, {0.75, risk.LevelI, pair{3, 1}}} {
		s := oneEnd(risk.EndMeasures{}, [3]units{2, 3, 4}, [3]units{4, 5, 6})
		s.limit = c.limit
		if got := s.enough(0, worked(), c.need); got != c.want {
			t.Errorf("limit %v, bonding %v needed: %v, by hand %v", c.limit, c.need, got, c.want)
		}
	}
	s := oneEnd(risk.EndMeasures{Bonding: risk.SPD{Level: risk.LevelII}, Coordinated: risk.SPD{Level: risk.LevelI}}, [3]units{}, [3]units{})
	if got := s.enough(0, worked(), risk.LevelIIIIV); got != (pair{risk.LevelII, risk.LevelI}) {
		t.Errorf("what is there is %v", got)
	}
}

// The corners of the hull: 10 a unit, then 4 over one that lies on the line, then 1; first what costs nothing.
func TestSegments(t *testing.T) {
	options := func(points ...[2]float64) (o []option) {
		for _, p := range points {
			o = append(o, option{extra: units(p[0]), gain: first(p[1])})
		}
		return o
	}
	for name, c := range map[string]struct {
		options []option
		want    []segment
	}{
		"rising": {options([2]float64{0, 0}, [2]float64{1, 10}, [2]float64{2, 14}, [2]float64{3, 18},
			[2]float64{4, 19}), []segment{{5, 1, 10}, {5, 2, 8}, {5, 1, 1}}},
		"any order": {options([2]float64{4, 19}, [2]float64{3, 18}, [2]float64{2, 14}, [2]float64{1, 10},
			[2]float64{0, 0}), []segment{{5, 1, 10}, {5, 2, 8}, {5, 1, 1}}},
		"below the hull":        {options([2]float64{0, 0}, [2]float64{1, 3}, [2]float64{2, 10}), []segment{{5, 2, 10}}},
		"costs nothing":         {options([2]float64{0, 5}, [2]float64{1, 10}), []segment{{5, 0, 5}, {5, 1, 5}}},
		"two that cost nothing": {options([2]float64{0, 5}, [2]float64{0, 7}), []segment{{5, 0, 7}}},
		"gains more for less":   {options([2]float64{2, 10}, [2]float64{1, 12}), []segment{{5, 1, 12}}},
		"gains nothing":         {options([2]float64{0, 0}, [2]float64{3, 0}), nil},
	} {
		if got := hull(nil, c.options, 0, 5); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, by hand %v", name, got, c.want)
		}
	}
	s := &search{limits: [risk.Losses]float64{1e-5}}
	s.order = []int{1, 0}
	s.options = [][]option{options([2]float64{0, 0}, [2]float64{1, 8}, [2]float64{2, 9}), options([2]float64{0, 0},
		[2]float64{2, 10}, [2]float64{3, 13})}
	s.cut() // 8, 5, 3 and 1 a unit
	if want := []segment{{1, 1, 8}, {0, 2, 10}, {0, 1, 3}, {1, 1, 1}}; !slices.Equal(s.segs[0], want) || len(s.segs[1]) > 0 {
		t.Errorf("segments %v, by hand %v", s.segs[0], want)
	}
	s.order = []int{0, 1}
	s.options = [][]option{options([2]float64{0, 0}, [2]float64{2, 6}), options([2]float64{0, 0}, [2]float64{8, 16})}
	s.cut() // 3 and 2 a unit
	if want := []segment{{0, 2, 6}, {1, 8, 16}}; !slices.Equal(s.segs[0], want) {
		t.Errorf("segments %v, by hand %v", s.segs[0], want)
	}
}

// bounded is a search in which the end of depth 0 can lower 1 by 0.3 for 1 and by 0.1 more for 2, the end of depth 1 by 0.2 for 2.
func bounded() *search {
	s := &search{limit: 1, limits: [risk.Losses]float64{1e-5}}
	s.start = first(1)
	s.segs[0] = []segment{{0, 1, 0.3}, {1, 2, 0.2}, {0, 2, 0.1}}
	s.base = 4
	s.best.cost = 10
	s.best.ratios = first(0.5)
	return s
}

func TestReach(t *testing.T) {
	s := bounded()
	for _, c := range []struct {
		depth       int
		gain        float64
		extra       units
		lowest      float64
		description string
	}{
		{0, 0, 0, 1, "nothing to spend"},
		{0, 0, 1, 0.7, "one segment"},
		{0, 0, 2, 0.6, "and half of the next"},
		{0, 0, 3, 0.5, "two segments"},
		{0, 0, 9, 0.4, "all"},
		{1, 0, 2, 0.8, "depth 0 is decided"},
		{1, 0.25, 1, 0.65, "after a gain"},
		{2, 0.25, 9, 0.75, "all is decided"},
	} {
		got := s.reach(c.depth, new(first(c.gain)), c.extra)
		if math.Abs(got[0]-c.lowest) > 1e-11 || got[0] >= c.lowest || got[1] != 0 {
			t.Errorf("%s: %v, by hand a little less than %v", c.description, got, c.lowest)
		}
	}
}

func TestPromising(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*search)
		extra  units
		gain   float64
		want   bool
	}{
		"6 are left, of which 5 give 0.4, better than 0.5": {func(*search) {}, 0, 0, true},
		"more than the best costs already":                 {func(*search) {}, 7, 0, false},
		"as much as the best, with less risk":              {func(*search) {}, 6, 0.6, true},
		"as much as the best, with as much risk":           {func(*search) {}, 6, 0.5, true},
		"as much as the best, with more risk":              {func(*search) {}, 6, 0.1, false},
		"above the limit with all that is left":            {func(s *search) { s.limit = 0.3 }, 0, 0, false},
		"cheaper within the limit":                         {func(s *search) { s.limit, s.best.ratios = 0.9, first(0.1) }, 4, 0, true},
		"cheaper, but then above the limit":                {func(s *search) { s.limit, s.best.ratios = 0.65, first(0.1) }, 4, 0, false},
		"at the limit with all that is left, not cheaper":  {func(s *search) { s.limit, s.best.ratios = 0.7, first(0.1) }, 5, 0, false},
	} {
		s := bounded()
		c.change(s)
		if got := s.promising(0, c.extra, new(first(c.gain))); got != c.want {
			t.Errorf("%s: %v", name, got)
		}
	}
}

// Each step takes one from the bound of the work, and the last one ends the search.
func TestStepsOfTheSearchCount(t *testing.T) {
	s, left := bounded(), 5
	s.budget = &left
	if s.descend(0, 7, ratios{}, false); left != 4 { // too dear: nothing further is tried
		t.Errorf("%d left of 5", left)
	}
	left = 1
	if s.descend(0, 0, ratios{}, false); left != 0 { // promising, but the work ends here
		t.Errorf("%d left of 1", left)
	}
}

// A set exactly at the limit counts, also where only little is left below the best so far: manual fire
// protection at 2 leaves 1e-5 of 2e-5, bonding for LPL I at 2.25 as well.
func TestSetExactlyAtTheLimit(t *testing.T) {
	in := &risk.Input{Tolerable: [risk.Losses]float64{1e-5}, Structures: []risk.Structure{{Zones: []risk.Zone{{FireRisk: risk.HighFireRisk}}}},
		Lines: []risk.Line{{To: -1, Withstand: 1}}}
	in.Costs = DefaultCosts()
	in.Costs.Bonding[risk.LevelI] = 2.25
	e := invented{structures: []inventedStructure{{fire: [7]float64{1, 0.5, 0.4}, lps: [7]float64{1, 1, 1, 1, 1, 1, 1}, notices: 1, insul: 1,
		bonding: [risk.BetterThanI + 1]float64{1, 0.9, 0.8, 0.5}, systems: [risk.BetterThanI + 1]float64{1, 1, 1, 1},
		lines: []inventedLine{{v: [risk.Losses]float64{2e-5}}}}}}
	res, _ := e.Assess(in, nil)
	if got := Recommend(in, &res, e); got.Set.Cost != 2 || got.Set.Structures[0].Measures.FireProtection != risk.ManualFireProtection {
		t.Errorf("%+v, want manual fire protection at 2", got.Set)
	}
}

// Two ends that together are exactly at the limit, 2 x 2e-5 x 0.25 = 1e-5, with bonding for LPL II at 1.5 each; I has no further effect.
func TestTwoEndsExactlyAtTheLimit(t *testing.T) {
	in := &risk.Input{Costs: DefaultCosts(), Tolerable: [risk.Losses]float64{1e-5}, Structures: []risk.Structure{{}},
		Lines: []risk.Line{{To: -1, Withstand: 1}, {To: -1, Withstand: 2}}}
	u := [risk.Losses]float64{2e-5}
	e := invented{structures: []inventedStructure{{fire: [7]float64{1, 1, 1}, lps: [7]float64{1, 1, 1, 1, 1, 1, 1}, notices: 1, insul: 1,
		bonding: [risk.BetterThanI + 1]float64{1, 0.5, 0.25, 0.25}, systems: [risk.BetterThanI + 1]float64{1, 1, 1, 1},
		lines: []inventedLine{{u: u}, {u: u}}}}}
	res, _ := e.Assess(in, nil)
	if got := Recommend(in, &res, e); !got.Sufficient || got.Set.Cost != 3 {
		t.Errorf("%+v, want bonding for LPL II on both lines at 3", got.Set)
	}
}

// What every level at an end leaves with all else at its best: u x bonding + w x systems over the limit.
func TestSavings(t *testing.T) {
	in := &risk.Input{Costs: DefaultCosts(), Tolerable: [risk.Losses]float64{1e-5},
		Structures: []risk.Structure{{Zones: []risk.Zone{{FireRisk: risk.HighFireRisk}}}},
		Lines:      []risk.Line{{To: -1, Withstand: 1}}}
	e := invented{structures: []inventedStructure{{fire: [7]float64{1, 1, 1}, lps: [7]float64{1, 1, 1, 1, 1, 1, 1}, notices: 1, insul: 1,
		bonding: [risk.BetterThanI + 1]float64{1, 0.5, 0.25, 0.125}, systems: [risk.BetterThanI + 1]float64{1, 0.5, 0.25, 0.125},
		lines: []inventedLine{{u: [risk.Losses]float64{4e-5}, w: [risk.Losses]float64{8e-5}}}}}}
	res, _ := e.Assess(in, nil)
	p := pricesOf(&in.Costs)
	budget := 1000
	s := newSearch(in, 0, &res.Structures[0], e, &p, &budget)
	s.findTop()
	got := s.save(risk.LevelIIIIV, &s.top.ratios)[0]
	for b, want := range map[risk.Level]float64{risk.NoSPD: 0, risk.LevelIIIIV: 3, risk.LevelII: 2,
		risk.LevelI: 1.5} { // none is not among them
		if !near(got.bonding[b][0], want) {
			t.Errorf("bonding %v leaves %v, by hand %v", b, got.bonding[b], want)
		}
	}
	for c, want := range map[risk.Level]float64{risk.NoSPD: 8.5, risk.LevelIIIIV: 4.5, risk.LevelII: 2.5, risk.LevelI: 1.5} {
		if !near(got.coordinated[c][0], want) {
			t.Errorf("coordinated %v leaves %v, by hand %v", c, got.coordinated[c], want)
		}
	}
	if s.endFloor(0, risk.LevelII) != s.endPrice(0, risk.LevelII, risk.NoSPD) || s.endPrice(0, risk.LevelI,
		risk.LevelII) != p.bonding[risk.LevelI]+p.coordinated[risk.LevelII] {
		t.Errorf("floor %v, price %v", s.endFloor(0, risk.LevelII), s.endPrice(0, risk.LevelI, risk.LevelII))
	}
}
