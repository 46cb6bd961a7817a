package measures

import (
	"testing"

	"levinward/risk"
)

// The least that any better SPD costs more: of bonding III-IV, the steps to II and I, and each coordinated set.
func TestSmallestStep(t *testing.T) {
	for _, c := range []struct {
		bonding, coordinated [3]float64 // III-IV, II, I
		step                 float64
	}{
		{[3]float64{1, 1.5, 2}, [3]float64{2, 2.5, 3}, 0.5},
		{[3]float64{1, 3, 5}, [3]float64{2, 2.5, 3}, 1},
		{[3]float64{2, 5, 6.5}, [3]float64{4, 4, 4}, 1.5},
		{[3]float64{2, 5, 8}, [3]float64{0.5, 1, 2}, 0.5},
		{[3]float64{2, 5, 8}, [3]float64{3, 0.25, 2}, 0.25},
		{[3]float64{2, 1, 8}, [3]float64{3, 3, 3}, 0}, // better bonding that costs less
		{[3]float64{2, 2, 8}, [3]float64{3, 3, 3}, 0},
	} {
		var costs risk.Costs
		for i := range 3 {
			costs.Bonding[risk.LevelIIIIV+risk.Level(i)], costs.Coordinated[risk.LevelIIIIV+risk.Level(i)] = c.bonding[i], c.coordinated[i]
		}
		p := pricesOf(&costs)
		if got := p.cost(p.step); got != c.step {
			t.Errorf("%+v: step %v", c, got)
		}
	}
}

// Prices are kept to six decimals, or to twelve digits of the largest.
func TestDecimalsOfPrices(t *testing.T) {
	for _, c := range []struct{ largest, small, kept float64 }{
		{1e6, 1e-6, 1e-6}, {1e6, 4e-7, 0}, {1.1e6, 1e-5, 1e-5}, {1.1e6, 4e-6, 0}, {1e7, 1e-5, 1e-5}, {5e7, 1e-4, 1e-4}, {10, 1.0000006, 1.000001},
	} {
		var costs risk.Costs
		costs.LPS[risk.LPSI], costs.WarningNotices = c.largest, c.small
		p := pricesOf(&costs)
		if got := p.cost(p.notices); got != c.kept {
			t.Errorf("%v beside %v is kept as %v, want %v", c.small, c.largest, got, c.kept)
		}
		if got := p.cost(p.lps[risk.LPSI]); got != c.largest {
			t.Errorf("largest price %v is kept as %v", c.largest, got)
		}
	}
}

// Prices that are not given, or 0 in money.
func TestPricesNotGiven(t *testing.T) {
	var none risk.Costs
	if p := pricesIn(&none); p.cost(p.bonding[risk.LevelIIIIV]) != 1 {
		t.Error("relative prices that are all zero were not given: the default ones count")
	}
	none.Money = true
	if p := pricesIn(&none); p.bonding[risk.LevelIIIIV] != 0 {
		t.Error("in money, measures may cost nothing")
	}
}

// What has no effect is no choice: here coordinated SPDs on both lines and bonding SPDs on the second.
func TestMeasuresWithoutEffectAreNoChoice(t *testing.T) {
	in := &risk.Input{Costs: DefaultCosts(), Tolerable: [risk.Losses]float64{1e-5},
		Structures: []risk.Structure{{Zones: []risk.Zone{{FireRisk: risk.HighFireRisk}}}},
		Lines:      []risk.Line{{To: -1, Withstand: 1}, {To: -1, Withstand: 2}}}
	one := [risk.BetterThanI + 1]float64{1, 0.5, 0.2, 0.1}
	e := invented{structures: []inventedStructure{{fire: [7]float64{1, 1, 1}, lps: [7]float64{1, 1, 1, 1, 1, 1, 1},
		notices: 1, insul: 1, bonding: one, systems: one,
		lines: []inventedLine{{u: [risk.Losses]float64{4e-5}}, {}}}}}
	res, _ := e.Assess(in, nil)
	p := pricesOf(&in.Costs)
	budget := 1000
	s := newSearch(in, 0, &res.Structures[0], e, &p, &budget)
	s.findTop()
	for i, inert := range []bool{false, true} {
		if got := s.ends[i]; got.coordinated.best != risk.NoSPD || got.bonding.inert != inert || got.bonding.best != risk.LevelI {
			t.Errorf("end %d: %+v", i, got)
		}
	}
	for a, n := range []int{1, 1, 1, 1} {
		if s.axes[a].n != n {
			t.Errorf("axis %d has %d values", a, s.axes[a].n)
		}
	}
	if got := Recommend(in, &res, e); !got.Sufficient || got.Set.Cost != 1.5 ||
		got.Set.Structures[0].Measures.Ends[0].Bonding.Level != risk.LevelII {
		t.Errorf("4e-5 needs bonding of 0.2, at 1.5: %+v", got.Set)
	}
}
