package measures

import (
	"math"
	"slices"
	"testing"

	"levinward/risk"
)

// The parts of the search for a plan, on numbers worked out by hand from what their comments promise (no published source).

func TestGap(t *testing.T) {
	for _, c := range []struct {
		plan Plan
		gap  float64
	}{{Plan{Saved: 90, Bound: 100}, 10}, {Plan{Saved: 4, Bound: 5}, 20}, {Plan{Saved: 5, Bound: 5, Exact: true},
		0}, {Plan{}, 0}, {Plan{Saved: 3, Bound: 4, Exact: true}, 0}} {
		if got := c.plan.Gap(); !(math.Abs(got-c.gap) <= 1e-12) { // also where it is not a number
			t.Errorf("gap of %+v is %v %%, want %v", c.plan, got, c.gap)
		}
	}
}

// Without effort the plan is that of the relaxed problem, filled with the further steps that can be paid.
func TestFirstPlan(t *testing.T) {
	one := func(cost int64, saved float64) SiteOptions { return SiteOptions{Options: []Option{{cost, saved}}} }
	two := SiteOptions{Options: []Option{{1, 10}, {2, 15}}}
	for name, c := range map[string]struct {
		budget int64
		sites  []SiteOptions
		saved  float64
	}{
		"both steps of a site, to the last of the money": {2, []SiteOptions{two}, 15},
		"the second step of a site does not fit":         {1, []SiteOptions{two}, 10},
		"what does not fit is passed over":               {6, []SiteOptions{one(4, 40), one(5, 40), one(2, 6)}, 46},
		"what costs more than all the money is left out": {4, []SiteOptions{one(2, 20), one(5, 400), one(2, 6)}, 26},
	} {
		if p := Spend(c.budget, c.sites, 0); p.Saved != c.saved {
			t.Errorf("%s: %+v, want %v", name, p, c.saved)
		}
	}
}

// hand is an allocation with a price of money of 2 per cost. Relaxed is the first choice named:
//
//	site 0: 10 for 50, or nothing: loses 50 - 2 x 10 = 30
//	sites 1, 3, 5: nothing, or 5 for 8: loses 2 x 5 - 8 = 2
//	site 2: 4 for 20, nothing: loses 20 - 2 x 4 = 12, or 6 for 23: loses 2 x 2 - 3 = 1
//	site 4: nothing, or 1 for 5, which gains more than it costs: loses nothing
//
// All relaxed choices cost 14 and gain 70; of a budget of 15 is 1 left: value 70 + 2 x 1 = 72.
func hand() *allocation {
	a := &allocation{budget: 15, rate: 2, money: 1, whole: 1, first: []int32{0}}
	site := func(relaxed int32, choices ...choice) {
		start := int32(len(a.choices))
		a.relaxed = append(a.relaxed, start+relaxed)
		a.choices = append(a.choices, choices...)
		a.first = append(a.first, int32(len(a.choices)))
	}
	none := choice{option: -1}
	site(1, none, choice{10, 50, 0})
	site(0, none, choice{5, 8, 0})
	site(1, none, choice{4, 20, 0}, choice{6, 23, 1})
	site(0, none, choice{5, 8, 0})
	site(0, none, choice{1, 5, 0})
	site(0, none, choice{5, 8, 0})
	a.totals = totals{14, 70}
	a.rises = []rise{{site: 0}, {site: 3}}
	a.rest = 1
	a.best = totals{13, 69}
	a.chosen = slices.Clone(a.relaxed)
	return a
}

func TestLosses(t *testing.T) {
	a := hand()
	for _, c := range []struct {
		site, choice int
		loss         float64
	}{{0, 0, 30}, {0, 1, 0}, {1, 3, 2}, {2, 4, 12}, {2, 6, 1}, {4, 10, 0}} {
		if got := a.loss(&a.choices[a.relaxed[c.site]], &a.choices[c.choice]); got != c.loss {
			t.Errorf("site %d, choice %d loses %v, by hand %v", c.site, c.choice, got, c.loss)
		}
	}
	if got := a.value(&a.totals); got != 72 {
		t.Errorf("value %v, by hand 72", got)
	}
	if got := a.value(&totals{20, 80}); got != 70 {
		t.Errorf("value beyond the budget %v, by hand 80 - 2 x 5", got)
	}
	// 69 is what the best plan gains; what can gain 69 and less than a half more is not better in whole numbers.
	for value, want := range map[float64]bool{69: false, 69.4: false, 69.5: false, 69.6: true, 70: true} {
		if got := a.promising(value); got != want {
			t.Errorf("promising(%v) is %v", value, got)
		}
	}
}

// Sites come by rising loss, equal ones by their distance from the site where the money ran out (3), then in order.
// Site 0 loses 30, and 72 - 30 is no better than 69.
func TestOpenings(t *testing.T) {
	if got, want := hand().openings(), []opening{{0, 4}, {1, 2}, {2, 3}, {2, 1}, {2, 5}}; !slices.Equal(got, want) {
		t.Errorf("openings %v, by hand %v", got, want)
	}
	r := &refinement{allocation: hand()}
	for site, want := range map[int][]int32{0: {1}, 1: {2, 3}, 2: {5, 6}, 4: {9, 10}} {
		if got := r.worthwhile(site); !slices.Equal(got, want) {
			t.Errorf("worthwhile choices of site %d: %v, by hand %v", site, got, want)
		}
	}
}

func TestOpenKeepsWhatCanBeBetter(t *testing.T) {
	r := &refinement{allocation: hand(), plans: []partial{{totals{14, 70}, -1}}, found: noChange}
	// Site 2: 14 for 70 has the value 72, less the next loss of 2 is 70: kept. 16 for 73 has 73 - 2 x 1 = 71, less 2 is 69: dropped.
	if !r.open(2, 2, 2) {
		t.Fatal("two plans are within an effort of 2")
	}
	if want := []partial{{totals{14, 70}, -1}}; !slices.Equal(r.plans, want) || r.used != 2 || r.best != (totals{14, 70}) || r.found != -1 {
		t.Errorf("plans %v, used %d, best %v, found %d", r.plans, r.used, r.best, r.found)
	}
	if r.open(2, 2, 3) {
		t.Error("two more plans exceed an effort of 3")
	}
	if !r.open(2, 1, 4) || r.used != 4 {
		t.Errorf("two more plans are within an effort of 4, used %d", r.used)
	}
}

// A plan that costs more than another and gains no more is dropped; so is one above twice the budget.
func TestOpenDropsTheWorse(t *testing.T) {
	a := hand()
	a.budget, a.best = 100, totals{50, 70}
	r := &refinement{allocation: a, plans: []partial{{totals{10, 62}, -1}, {totals{15, 70}, -1}}, found: noChange}
	a.relaxed[1], a.choices[3] = 2, choice{5, 8, 0} // 15 for 70 twice
	r.open(1, 0, 100)
	want := []totals{{10, 62}, {15, 70}, {20, 78}}
	var got []totals
	for _, p := range r.plans {
		got = append(got, p.totals)
	}
	if !slices.Equal(got, want) {
		t.Errorf("plans %v, want %v", got, want)
	}
	if r.best != (totals{20, 78}) {
		t.Errorf("best %v", r.best)
	}
	r = &refinement{allocation: hand(), found: noChange, plans: []partial{{totals{14, 69}, -1}, {totals{30, 5000}, -1},
		{totals{31, 6000}, -1}}}
	r.open(0, 0, 100) // only the relaxed choice is worthwhile
	if len(r.plans) != 2 || r.plans[1].totals != (totals{30, 5000}) {
		t.Errorf("plans %v: up to twice the budget of 15 is kept", r.plans)
	}
	if r.best != (totals{13, 69}) || r.found != noChange {
		t.Errorf("best %v: one that gains as much does not replace it", r.best)
	}
}

// Plans come by rising cost, of equal cost the one that gains most first, of equal gain the one of the earlier choice.
func TestMerge(t *testing.T) {
	choices := []choice{{0, 0, -1}, {5, 10, 0}}
	for _, c := range []struct {
		plans []partial
		want  []totals
		by    []int32
	}{
		{[]partial{{totals{10, 60}, -1}, {totals{15, 65}, -1}}, []totals{{10, 60}, {15, 70}, {15, 65}, {20, 75}}, []int32{0, 1, 0, 1}},
		{[]partial{{totals{10, 60}, -1}, {totals{15, 90}, -1}}, []totals{{10, 60}, {15, 90}, {15, 70}, {20, 100}}, []int32{0, 0, 1, 1}},
		{[]partial{{totals{10, 60}, -1}, {totals{15, 70}, -1}}, []totals{{10, 60}, {15, 70}, {15, 70}, {20, 80}}, []int32{0, 0, 1, 1}},
	} {
		m := newMerge(c.plans, []int32{0, 1}, &choices[0], choices)
		for i, want := range c.want {
			if p, by := m.pop(); p.totals != want || by != c.by[i] {
				t.Errorf("plan %d is %v by choice %d, want %v by %d", i, p.totals, by, want, c.by[i])
			}
		}
		if _, by := m.pop(); by != -1 {
			t.Errorf("a plan after the last, by choice %d", by)
		}
	}
}

// The corners of the hull over 1 for 10, 2 for 14, 3 for 18, 4 for 19 and 6 for 20: 10 a unit, then 4 over the middle
// one that lies on the line, 1, 1/2.
func TestHullHasCornersOnly(t *testing.T) {
	a := &allocation{choices: []choice{{0, 0, -1}, {1, 10, 0}, {2, 14, 1}, {3, 18, 2}, {4, 19, 3}, {6, 20, 4}}, first: []int32{0, 6}}
	a.climb(0)
	want := []rise{{10, 0, 1}, {4, 0, 3}, {1, 0, 4}, {0.5, 0, 5}}
	if !slices.Equal(a.rises, want) {
		t.Errorf("rises %v, want %v", a.rises, want)
	}
}

// What suffices for a proof suffices when it is given as the limit, and one less does not.
func TestEffortIsExact(t *testing.T) {
	sites := portfolio(300, kinds[0])
	budget := afford(sites, 0.3)
	a := newAllocation(budget, sites)
	a.relax()
	a.fill()
	used := a.refine(int(DefaultEffort)).used
	if used <= 0 {
		t.Fatalf("%d plans looked at", used)
	}
	if p := Spend(budget, sites, Effort(used)); !p.Exact {
		t.Errorf("an effort of %d does not suffice: %+v", used, p)
	}
}

func TestWorthNothing(t *testing.T) {
	s := &risk.Structure{Persons: 12}
	r := &risk.StructureResult{Assessed: true, TotalValue: 1000}
	r.Risks[risk.EconomicValue] = risk.Risk{Applies: true, Total: 1e-2, Tolerable: 1e-3}
	r.Risks[risk.HumanLife] = risk.Risk{Applies: true, Total: 2e-5, Tolerable: 1e-5}
	left := func(r1, r4 float64) *risk.StructureMeasures {
		m := &risk.StructureMeasures{}
		m.Risks[risk.HumanLife], m.Risks[risk.EconomicValue] = r1, r4
		return m
	}
	if got := ExpectedLoss.worth(s, r)(left(0, 4e-3)); math.Abs(got-6) > 1e-9 { // (1e-2 - 4e-3) x 1000
		t.Errorf("expected loss saved %v, by hand 6", got)
	}
	persons := PersonsAtRisk.worth(s, r)
	for r1, want := range map[float64]float64{1e-5: 12, 0.5e-5: 12, 1.01e-5: 0} { // R_T itself is acceptable
		if got := persons(left(r1, 0)); got != want {
			t.Errorf("with R_1 %v left %v persons, want %v", r1, got, want)
		}
	}
	r.TotalValue = 0
	if ExpectedLoss.worth(s, r) != nil {
		t.Error("something to save without values")
	}
	r.TotalValue, r.Assessed = 1000, false
	if ExpectedLoss.worth(s, r) != nil || PersonsAtRisk.worth(s, r) != nil {
		t.Error("something to save at a structure that is not assessed")
	}
}

func TestHundredths(t *testing.T) {
	for cost, want := range map[float64]int64{0: 0, 1.25: 125, 1.251: 126, 0.3: 30, 0.30000000000000004: 30, 7: 700,
		1e30: 2_000_000_000_000_000_000} {
		if got := hundredths(cost); got != want {
			t.Errorf("%v is %d hundredths, want %d", cost, got, want)
		}
	}
}
