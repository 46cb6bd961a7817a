package measures

import (
	"cmp"
	"math"

	"levinward/risk"
)

// ratios are risks over their limits, per loss; 0 where there is no limit.
type ratios [risk.Losses]float64

func (r *ratios) worst() float64 { return max(r[0], r[1], r[2], r[3]) }
func (r *ratios) sum() float64   { return r[0] + r[1] + r[2] + r[3] }

// same is the relative difference within which two ratios count as equal: the
// order of a sum changes less.
const same = 1e-12

// set is one set of measures of a structure.
type set struct {
	measures risk.Measures
	cost     units
	risks    [risk.Losses]float64
	ratios   ratios
}

// prefer is negative where a cost and ratios are to be preferred to b's, and 0
// where only the measures themselves can decide.
func prefer(aCost, bCost units, a, b *ratios) int {
	if aCost != bCost {
		return cmp.Compare(aCost, bCost)
	}
	if x, y := a.worst(), b.worst(); math.Abs(x-y) > same*y {
		return cmp.Compare(x, y)
	}
	if x, y := a.sum(), b.sum(); math.Abs(x-y) > same*y {
		return cmp.Compare(x, y)
	}
	return 0
}

// axis is a structure-wide measure: the values it can take, from what is there
// to the best, and the price of each.
type axis struct {
	values [5]uint8
	prices [5]units
	n      int
}

func (a *axis) add(v uint8, price units) {
	a.values[a.n], a.prices[a.n] = v, price
	a.n++
}

// The axes, in the order they are decided.
const (
	lps = iota
	fireProtection
	structureShock
	lineShock
	wiring
	axes
)

// search finds sets of measures of one structure.
type search struct {
	structure int
	evaluator risk.Evaluator
	prices    *prices
	budget    *int
	limits    [risk.Losses]float64 // R_T, 0 where there is none

	conducts bool   // a frame acts as an LPS, so that there are down-conductors to insulate
	unwired  ratios // everything at its best but the wiring, which is as it is
	present  risk.Measures
	chosen   set // the answer so far; what is there before any search
	top      set // everything at its best, as far as it has an effect

	axes  [axes]axis
	ends  []end
	knots [axes + 1]int // index of the first corner of each depth in corners
	// corners holds the ratios with the axes up to a depth decided and everything else at its best.
	corners []*ratios
	tables  []*table // per combination of all axes

	slack float64       // by how much of it a set may exceed the lowest worst ratio, where no set reaches the limit
	limit float64       // of the search that runs: what the worst ratio may be
	best  set           // of the search that runs
	m     risk.Measures // what is evaluated next
	knapsack
}

func newSearch(in *risk.Input, structure int, r *risk.StructureResult, ed risk.Edition, p *prices, budget *int) *search {
	s := &search{structure: structure, evaluator: ed.Evaluator(in, structure), prices: p, budget: budget,
		conducts: in.Structures[structure].NaturalLPS, slack: least}
	for k := range r.Risks {
		if r.Risks[k].Applies {
			s.limits[k] = r.Risks[k].Tolerable
		}
	}
	s.present = Present(in, structure)
	s.m = clone(&s.present)
	s.chosen.measures = clone(&s.present)
	s.chosen.risks, s.chosen.ratios = s.evaluate()
	s.limitEnds(twins(in, structure, &s.present))
	return s
}

// evaluate computes the risks under s.m and their ratios to the limits.
func (s *search) evaluate() (risks [risk.Losses]float64, r ratios) {
	*s.budget--
	risks = s.evaluator.Risks(&s.m)
	for k, limit := range s.limits {
		if limit == 0 {
			continue
		}
		r[k] = risks[k] / limit
		if r[k] == 1 && risks[k] > limit {
			r[k] = math.Nextafter(1, 2) // the division must not round an excess away
		}
	}
	return risks, r
}

// set gives a structure-wide measure of s.m its value.
func (s *search) set(a int, v uint8) {
	switch a {
	case lps:
		s.m.LPS = risk.LPS(v)
	case fireProtection:
		s.m.FireProtection = risk.FireProtection(v)
	case structureShock:
		s.m.StructureShock = risk.ShockMeasures(v)
	case lineShock:
		s.m.LineShock = risk.ShockMeasures(v)
	case wiring:
		s.m.Wiring = risk.Wiring(v)
	}
}

// findTop finds, once, the best that can be reached, the measures that have an
// effect there, and with them the values of every axis.
func (s *search) findTop() {
	if s.corners != nil {
		return
	}
	both := risk.WarningNotices | risk.Insulation
	p := &s.present
	s.m.LPS = max(p.LPS, risk.LPSI)
	s.m.FireProtection = risk.AutomaticFireProtection
	s.m.StructureShock |= both
	s.m.LineShock |= both
	for i := range s.ends {
		s.setEnd(i, s.ends[i].bonding.best, s.ends[i].coordinated.best)
	}
	if s.prices.rewiring {
		s.unwired = s.without()
		s.m.Wiring = risk.ShieldedWiring
	}
	s.top.risks, s.top.ratios = s.evaluate()

	s.dropAxis(fireProtection, uint8(s.m.FireProtection), uint8(p.FireProtection))
	for _, bit := range []risk.ShockMeasures{risk.WarningNotices, risk.Insulation} {
		s.dropAxis(structureShock, uint8(s.m.StructureShock), uint8(s.m.StructureShock&^(bit&^p.StructureShock)))
		s.dropAxis(lineShock, uint8(s.m.LineShock), uint8(s.m.LineShock&^(bit&^p.LineShock)))
	}
	if s.buildable(risk.NoLPS, s.m.StructureShock) { // otherwise the insulation needs the LPS
		s.dropAxis(lps, uint8(s.m.LPS), uint8(p.LPS))
	}
	s.dropEnds()
	s.dropAxis(wiring, uint8(s.m.Wiring), uint8(p.Wiring))

	for v := p.LPS; v <= s.m.LPS; v++ {
		s.axes[lps].add(uint8(v), s.lpsPrice(v))
	}
	for v := p.FireProtection; v <= s.m.FireProtection; v++ {
		s.axes[fireProtection].add(uint8(v), priceFrom(s.prices.fire[:], uint8(p.FireProtection), uint8(v)))
	}
	s.shockAxis(&s.axes[structureShock], p.StructureShock, s.m.StructureShock)
	s.shockAxis(&s.axes[lineShock], p.LineShock, s.m.LineShock)
	for v := p.Wiring; v <= s.m.Wiring; v++ {
		s.axes[wiring].add(uint8(v), priceFrom(s.prices.wiring[:], uint8(p.Wiring), uint8(v)))
	}
	s.finishTop()
}

// finishTop keeps the best that can be reached, and makes room for what will be remembered.
func (s *search) finishTop() {
	s.top.measures = clone(&s.m)
	s.top.risks, _ = s.evaluate() // what was dropped has no effect on a limited risk, but may have one on a risk without a limit
	count, size := 1, 0
	for a := range s.axes {
		last := s.axes[a].n - 1
		s.top.cost += s.axes[a].prices[last]
		count *= s.axes[a].n
		s.knots[a+1] = size
		size += count
	}
	for i := range s.ends {
		e := &s.ends[i]
		s.top.cost += s.endPrice(i, e.bonding.best, e.coordinated.best) - s.endFloor(i, required(s.m.LPS))
	}
	s.corners = make([]*ratios, size)
	s.tables = make([]*table, count)
	s.best.measures.Ends = make([]risk.EndMeasures, len(s.ends))
}

// dropAxis leaves a structure-wide measure as it is where anything better has no effect.
func (s *search) dropAxis(a int, best, present uint8) {
	if best == present {
		return
	}
	s.set(a, present)
	if s.matters() {
		s.set(a, best)
	}
}

// without evaluates s.m with the wiring as it is.
func (s *search) without() ratios {
	best := s.m.Wiring
	s.m.Wiring = s.present.Wiring
	_, r := s.evaluate()
	s.m.Wiring = best
	return r
}

// matters reports whether s.m, in which one measure is set back, is worse than everything at its best. The best
// wiring can leave so little of P_M that rounding hides a difference, so it is compared with the wiring as it is, too.
func (s *search) matters() bool {
	if _, r := s.evaluate(); r != s.top.ratios {
		return true
	}
	return s.m.Wiring != s.present.Wiring && s.without() != s.unwired
}

// buildable reports whether measures against touch and step voltages go with a class of LPS: what is insulated are
// its down-conductors, or those of a frame that acts as one. What is there already stays.
func (s *search) buildable(class risk.LPS, m risk.ShockMeasures) bool {
	return class != risk.NoLPS || s.conducts || m&^s.present.StructureShock&risk.Insulation == 0
}

// lpsPrice is the price of a class of LPS with the bonding it demands.
func (s *search) lpsPrice(v risk.LPS) units {
	price := units(0)
	if v != s.present.LPS {
		price = s.prices.lps[v]
	}
	for i := range s.ends {
		price += s.endFloor(i, required(v))
	}
	return price
}

func priceFrom(prices []units, present, v uint8) units {
	if v == present {
		return 0
	}
	return prices[v]
}

// shockAxis adds every combination of the measures that best has beyond present.
func (s *search) shockAxis(a *axis, present, best risk.ShockMeasures) {
	for _, m := range []risk.ShockMeasures{0, risk.WarningNotices, risk.Insulation, risk.WarningNotices | risk.Insulation} {
		if m&present != 0 || m&^best != 0 {
			continue
		}
		price := units(0)
		if m&risk.WarningNotices != 0 {
			price += s.prices.notices
		}
		if m&risk.Insulation != 0 {
			price += s.prices.insulation
		}
		a.add(uint8(present|m), price)
	}
}

// improves reports whether a search for a limit can lead to a better set than the chosen one.
func (s *search) improves(limit float64) bool {
	s.findTop()
	return s.top.ratios.worst() <= limit && s.top.ratios.worst() < s.chosen.ratios.worst()
}

// How much worse than the best a set may be where no set reaches its limit: nothing but rounding, or, in a recommendation, so
// little that what brings less is left out.
const (
	least      = 1e-9
	noticeable = 0.01
)

// tighten chooses the cheapest set whose worst ratio is at most limit. Where no
// set reaches it, it chooses the cheapest of those within the slack of the best and reports false.
func (s *search) tighten(limit float64) bool {
	if s.chosen.ratios.worst() <= limit {
		return true
	}
	s.findTop()
	reached := s.top.ratios.worst() <= limit
	if !reached {
		limit = s.top.ratios.worst() * (1 + s.slack)
	}
	s.limit = limit
	first := &s.top
	if s.chosen.ratios.worst() <= limit {
		first = &s.chosen
	}
	s.best.take(&first.measures, first.cost, &first.risks, &first.ratios)
	s.m = clone(&s.top.measures)
	s.decide(0, 0, &s.top.ratios, 0)
	s.chosen = s.best
	s.chosen.measures = clone(&s.best.measures)
	return reached
}

// decide tries the values of axis a, with the axes before it decided as in s.m
// and all else at its best, where the ratios are those of optimistic. The decided
// axes cost cost.
func (s *search) decide(a, index int, optimistic *ratios, cost units) {
	if a == axes {
		s.decideEnds(index, optimistic, cost)
		return
	}
	x := &s.axes[a]
	for i := range x.n {
		at, c := index*x.n+i, cost+x.prices[i]
		if c > s.best.cost || *s.budget <= 0 || a == structureShock && !s.buildable(s.m.LPS, risk.ShockMeasures(x.values[i])) {
			continue
		}
		s.set(a, x.values[i])
		r := optimistic
		if i < x.n-1 { // with the last the corner is the same
			r = s.corner(s.knots[a+1] + at)
		}
		if r.worst() <= s.limit {
			s.decide(a+1, at, r, c)
		}
	}
	s.set(a, x.values[x.n-1])
}

// corner is the evaluation of s.m, remembered under index.
func (s *search) corner(index int) *ratios {
	if s.corners[index] == nil {
		_, r := s.evaluate()
		s.corners[index] = &r
	}
	return s.corners[index]
}

// consider takes s.m, which costs cost and leaves risks, as the best set where it is one.
func (s *search) consider(cost units, risks *[risk.Losses]float64, r *ratios) {
	if r.worst() > s.limit {
		return
	}
	c := prefer(cost, s.best.cost, r, &s.best.ratios)
	if c < 0 || c == 0 && less(&s.m, &s.best.measures) {
		s.best.take(&s.m, cost, risks, r)
	}
}

// take copies a set into b.
func (b *set) take(m *risk.Measures, cost units, risks *[risk.Losses]float64, r *ratios) {
	ends := b.measures.Ends
	copy(ends, m.Ends)
	b.measures = *m
	b.measures.Ends = ends
	b.cost, b.risks, b.ratios = cost, *risks, *r
}

// clone copies measures with their ends.
func clone(m *risk.Measures) risk.Measures {
	c := *m
	c.Ends = append([]risk.EndMeasures(nil), m.Ends...)
	return c
}

// less orders measures by their fields, in order.
func less(a, b *risk.Measures) bool {
	if a.LPS != b.LPS {
		return a.LPS < b.LPS
	}
	if a.FireProtection != b.FireProtection {
		return a.FireProtection < b.FireProtection
	}
	if a.StructureShock != b.StructureShock {
		return a.StructureShock < b.StructureShock
	}
	if a.LineShock != b.LineShock {
		return a.LineShock < b.LineShock
	}
	if a.Wiring != b.Wiring {
		return a.Wiring < b.Wiring
	}
	for i := range a.Ends {
		x, y := &a.Ends[i], &b.Ends[i]
		if x.Bonding.Level != y.Bonding.Level {
			return x.Bonding.Level < y.Bonding.Level
		}
		if x.Coordinated.Level != y.Coordinated.Level {
			return x.Coordinated.Level < y.Coordinated.Level
		}
	}
	return false
}
