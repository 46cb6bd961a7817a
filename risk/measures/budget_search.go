package measures

import (
	"cmp"
	"math"
	"slices"
)

// partial is a plan that keeps the relaxed choice at every site not yet opened.
type partial struct {
	totals

	last int32 // its latest change, -1 for none
}

// change is another choice than the relaxed one, after the changes before it.
type change struct{ before, choice, site int32 }

// opening is a site and the least that leaving its relaxed choice loses.
type opening struct {
	loss float64
	site int32
}

// refinement opens site after site.
type refinement struct {
	*allocation

	plans, next []partial
	changes     []change
	found       int32   // the latest change of the best plan; noChange where it is not a partial one
	used        int     // plans looked at
	beyond      float64 // the bound of plans that were not looked at
}

// noChange marks a best plan that is not made of changes.
const noChange = -2

// value bounds from above the gain of a plan and of all that changes sites it has not opened.
func (a *allocation) value(t *totals) float64 {
	return float64(t.gain) + a.rate*float64(a.budget-t.cost)
}

// loss is by how much a choice is worse than the relaxed one, the price of money included.
func (a *allocation) loss(relaxed, c *choice) float64 {
	return max(0, float64(relaxed.gain-c.gain)-a.rate*float64(relaxed.cost-c.cost))
}

// promising reports whether a plan of at most the given value can be better than the best.
func (a *allocation) promising(value float64) bool { return value > float64(a.best.gain)+0.5 }

// openings are the sites where another choice can be part of a better plan, by
// rising loss. Of equal ones those come first that are next to the one where the money
// ran out: steps of equal rates were taken in the order of the sites, so that
// more can be spent on one side of it and saved on the other.
func (a *allocation) openings() []opening {
	var open []opening
	top := a.value(&a.totals)
	for i, at := range a.relaxed {
		least := math.Inf(1)
		for c := a.first[i]; c < a.first[i+1]; c++ {
			if c != at {
				least = min(least, a.loss(&a.choices[at], &a.choices[c]))
			}
		}
		if a.promising(top - least) {
			open = append(open, opening{least, int32(i)})
		}
	}
	middle := a.rises[a.rest].site
	slices.SortFunc(open, func(x, y opening) int {
		return cmp.Or(cmp.Compare(x.loss, y.loss), cmp.Compare(max(x.site-middle, middle-x.site), max(y.site-middle, middle-y.site)),
			cmp.Compare(x.site, y.site))
	})
	return open
}

// improve finds better plans until one is proven or the limit is reached, and
// returns the bound of all plans.
//
// A plan that changes a site not yet opened loses at least the loss of the
// next one; a plan that does not has been considered. So a partial plan can be dropped where its
// value less that loss is no better than the best plan.
func (a *allocation) improve(limit int) int64 {
	r := a.refine(limit)
	r.keep()
	return max(a.best.gain, int64(r.beyond+0.5))
}

// refine opens sites until no plan is left or the limit is reached.
func (a *allocation) refine(limit int) *refinement {
	r := &refinement{allocation: a, plans: []partial{{a.totals, -1}}, found: noChange}
	open := a.openings()
	open = append(open, opening{loss: math.Inf(1)}) // after all, nothing is left to change
	for i := 0; i < len(open)-1 && len(r.plans) > 0; i++ {
		if r.open(int(open[i].site), open[i+1].loss, limit) {
			continue
		}
		for j := range r.plans {
			r.beyond = max(r.beyond, a.value(&r.plans[j].totals)-open[i].loss)
		}
		break
	}
	return r
}

// open tries every choice at a site in every partial plan, by rising cost, and keeps
// the plans that gain more than all cheaper ones. It reports false where that exceeds the limit.
func (r *refinement) open(site int, nextLoss float64, limit int) bool {
	tried := r.worthwhile(site)
	if len(r.plans)*len(tried) > limit-r.used {
		return false
	}
	r.next = r.next[:0]
	merge := newMerge(r.plans, tried, &r.choices[r.relaxed[site]], r.choices)
	for {
		p, c := merge.pop()
		if c < 0 {
			break
		}
		r.used++
		if n := len(r.next); n > 0 && p.gain <= r.next[n-1].gain || p.cost > 2*r.budget { // what lies above can no more be saved
			continue
		}
		better := p.cost <= r.budget && p.gain > r.best.gain
		kept := r.promising(r.value(&p.totals) - nextLoss)
		if (better || kept) && c != r.relaxed[site] {
			r.changes = append(r.changes, change{p.last, c, int32(site)})
			p.last = int32(len(r.changes) - 1)
		}
		if better {
			r.best, r.found = p.totals, p.last
		}
		if kept {
			r.next = append(r.next, p)
		}
	}
	r.plans, r.next = r.next, r.plans
	return true
}

// worthwhile lists the relaxed choice of a site and all others that can be part of a better plan.
func (r *refinement) worthwhile(site int) []int32 {
	var tried []int32
	top, at := r.value(&r.totals), r.relaxed[site]
	for c := r.first[site]; c < r.first[site+1]; c++ {
		if c == at || r.promising(top-r.loss(&r.choices[at], &r.choices[c])) {
			tried = append(tried, c)
		}
	}
	return tried
}

// keep makes the best partial plan the chosen one.
func (r *refinement) keep() {
	if r.found == noChange {
		return
	}
	copy(r.chosen, r.relaxed)
	for i := r.found; i >= 0; i = r.changes[i].before {
		r.chosen[r.changes[i].site] = r.changes[i].choice
	}
}

// merge gives every partial plan with every choice of a site, by rising cost.
type merge struct {
	plans  []partial
	shifts []shift
}

// shift is what a choice changes, and the plan it comes to next.
type shift struct {
	totals

	choice int32
	at     int
}

func newMerge(plans []partial, tried []int32, relaxed *choice, choices []choice) merge {
	m := merge{plans: plans}
	for _, c := range tried {
		x := &choices[c]
		m.shifts = append(m.shifts, shift{totals: totals{x.cost - relaxed.cost, x.gain - relaxed.gain}, choice: c})
	}
	return m
}

// pop is the next plan with its choice, which is -1 at the end. Of plans of equal cost that of the highest gain comes first.
func (m *merge) pop() (partial, int32) {
	var low partial
	var from *shift
	for i := range m.shifts {
		s := &m.shifts[i]
		if s.at == len(m.plans) {
			continue
		}
		p := m.plans[s.at]
		p.cost += s.cost
		p.gain += s.gain
		if from == nil || p.cost < low.cost || p.cost == low.cost && p.gain > low.gain {
			low, from = p, s
		}
	}
	if from == nil {
		return low, -1
	}
	from.at++
	return low, from.choice
}
