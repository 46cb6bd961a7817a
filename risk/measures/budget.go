package measures

import (
	"cmp"
	"math"
	"slices"
)

// Option is one set of measures that can be paid for at a site.
type Option struct {
	// Cost is in hundredths of the currency of the prices, or of their relative unit.
	Cost int64
	// Saved is what the set saves, by the objective it was made for: see Objective.
	Saved float64
}

// SiteOptions are the sets of which at most one is chosen. Doing nothing is
// always possible. Site and Structure are for the caller: Spend does not use them.
type SiteOptions struct {
	Site, Structure int
	Options         []Option
}

// Effort bounds the search of Spend beyond its first plan: how many partial
// plans it may look at. Each takes some tens of nanoseconds and, at most, 100 bytes.
// With 0 the first plan stands, with the bound of its relaxation.
type Effort int

// DefaultEffort suffices for a proof in most portfolios and keeps the search well under a second.
const DefaultEffort Effort = 1_000_000

// Plan is what to do with a budget.
type Plan struct {
	Chosen []int   // per element of sites: index of the option, -1 for nothing
	Cost   int64   // of all that is chosen, at most the budget
	Saved  float64 // by all that is chosen
	// Bound is what no plan within the budget can exceed; with Exact it equals Saved.
	Bound float64
	Exact bool
}

// Gap is by how much of the bound the plan may fall short of the best one, in percent.
func (p *Plan) Gap() float64 {
	if p.Exact || p.Bound <= 0 {
		return 0
	}
	return 100 * (p.Bound - p.Saved) / p.Bound
}

// largestBudget keeps sums of three costs within an int64.
const largestBudget = 1_000_000_000_000_000_000

// Spend chooses at most one option of each of sites, so that together they cost
// at most budget and save as much as possible: the multiple-choice knapsack
// problem. A budget above 1e18 counts as 1e18, one below 0 as 0. An option of
// negative cost, or whose saving is not a positive finite number, is never chosen.
//
// Plans are compared by whole numbers: what options save is rounded to 2^-48 of
// the sum over sites of the most each can save. So persons stay exact, and of n sites a plan
// called exact is the best, and the bound holds, to n of these units. Equal arguments give equal
// plans. Time and memory beyond limit grow as the number of options, times its logarithm.
//
// First the relaxed problem is solved, in which options can be taken in part:
// per site the options on the upper convex hull of saving over cost, and all
// steps between neighbours on it taken by falling saving per cost. Where the money runs out
// lies the price of money, lambda, in saving per cost; budget left times lambda
// is all that any plan can save beyond. Then sites are opened one by one, those first whose
// next option is closest in saving - lambda x cost, and all partial plans are kept that
// no other replaces and whose bound exceeds the best plan. When none is left, the best plan
// is proven (Kellerer, Pferschy, Pisinger, Knapsack Problems, 2004, chapter on
// the multiple-choice knapsack; from memory, the proofs are in the comments).
func Spend(budget int64, sites []SiteOptions, limit Effort) Plan {
	a := newAllocation(min(max(budget, 0), largestBudget), sites)
	a.relax()
	bound := a.best.gain
	if a.rate > 0 {
		a.fill()
		bound = a.improve(int(limit))
	}
	p := Plan{Chosen: make([]int, len(sites)), Cost: a.best.cost * a.money, Exact: bound == a.best.gain}
	for i, c := range a.chosen {
		p.Chosen[i] = int(a.choices[c].option)
		if p.Chosen[i] >= 0 {
			p.Saved += sites[i].Options[p.Chosen[i]].Saved
		}
	}
	p.Bound = p.Saved + a.saved(bound-a.best.gain)
	return p
}

// choice is an option in whole numbers, with doing nothing as option -1.
type choice struct {
	cost, gain int64
	option     int32
}

// rise is a step along the hull of a site, to a choice. Its rate is gain per cost.
type rise struct {
	rate     float64
	site, to int32
}

// totals are the cost and the gain of a choice at every site.
type totals struct{ cost, gain int64 }

// allocation is one problem as it is solved.
//
// The gains of the best choices of all sites sum to at most about 2^48, so
// that a float64 made of integers below it with one product and a few sums is
// right to 1/8, and the rates' own rounding (2^-51 of each gain, of which no
// site's counts twice) adds no more than 1/4: a bound that is a whole number in truth is known where it is
// rounded down after adding 1/2.
type allocation struct {
	choices  []choice // of all sites, each by rising cost and gain
	first    []int32  // of each site in choices, and the end
	budget   int64
	money    int64 // cost of one unit of cost
	whole    int64 // gain of one unit of gain ...
	exponent int   // ... in 2^-exponent

	rises   []rise // of all sites, by falling rate
	relaxed []int32
	totals      // of relaxed
	rest    int // the rise at which the money runs out
	rate    float64

	chosen []int32 // the best plan
	best   totals
}

// useful reports whether an option can be part of a plan.
func useful(o *Option, budget int64) bool {
	return o.Cost >= 0 && o.Cost <= budget && o.Saved > 0 && !math.IsInf(o.Saved, 1)
}

func newAllocation(budget int64, sites []SiteOptions) *allocation {
	a := &allocation{budget: budget, first: make([]int32, 1, len(sites)+1), exponent: exponentOf(budget, sites)}
	count := 0
	for i := range sites {
		count += len(sites[i].Options)
	}
	a.choices = make([]choice, 0, count+len(sites))
	for i := range sites {
		a.choices = append(a.choices, choice{option: -1})
		for j := range sites[i].Options {
			if o := &sites[i].Options[j]; useful(o, budget) {
				a.choices = append(a.choices, choice{o.Cost, int64(math.Round(math.Ldexp(o.Saved, a.exponent))), int32(j)})
			}
		}
		start := a.first[i]
		a.choices = a.choices[:int(start)+undominated(a.choices[start:])]
		a.first = append(a.first, int32(len(a.choices)))
	}
	a.shrink()
	return a
}

// exponentOf is the exponent e for which savings times 2^e, the best of each site together, fill 48 bits.
func exponentOf(budget int64, sites []SiteOptions) int {
	largest := 0.0
	for i := range sites {
		largest = max(largest, mostSaved(&sites[i], budget))
	}
	_, e := math.Frexp(largest)
	total := 0.0
	for i := range sites {
		total += math.Ldexp(mostSaved(&sites[i], budget), -e)
	}
	_, f := math.Frexp(total)
	return 48 - e - f
}

func mostSaved(s *SiteOptions, budget int64) (most float64) {
	for j := range s.Options {
		if o := &s.Options[j]; o.Saved > most && useful(o, budget) {
			most = o.Saved
		}
	}
	return most
}

// undominated sorts choices by rising cost, moves those to the front that gain
// more than all cheaper ones, and counts them.
func undominated(c []choice) int {
	slices.SortFunc(c, func(x, y choice) int {
		return cmp.Or(cmp.Compare(x.cost, y.cost), cmp.Compare(y.gain, x.gain), cmp.Compare(x.option, y.option))
	})
	n := 1
	for i := 1; i < len(c); i++ {
		if c[i].gain > c[n-1].gain {
			c[n] = c[i]
			n++
		}
	}
	return n
}

// shrink divides costs and gains by what is common to them: what the bound
// leaves open is then less than one unit earlier.
func (a *allocation) shrink() {
	for i := range a.choices {
		if c := &a.choices[i]; a.money != 1 || a.whole != 1 {
			a.money = int64(divisor(units(a.money), units(c.cost)))
			a.whole = int64(divisor(units(a.whole), units(c.gain)))
		}
	}
	a.money, a.whole = max(a.money, 1), max(a.whole, 1)
	a.budget /= a.money
	if a.money == 1 && a.whole == 1 {
		return
	}
	for i := range a.choices {
		a.choices[i].cost /= a.money
		a.choices[i].gain /= a.whole
	}
}

// saved is a gain in the unit of Option.Saved.
func (a *allocation) saved(gain int64) float64 {
	return math.Ldexp(float64(gain*a.whole), -a.exponent)
}

// gainRate is the gain per cost of a step between two choices of a site.
func gainRate(from, to *choice) float64 {
	return float64(to.gain-from.gain) / float64(to.cost-from.cost)
}

// climb appends the steps along the hull of a site. Their rates fall.
func (a *allocation) climb(site int) {
	start, bottom := a.first[site], len(a.rises)
	for to := start + 1; to < a.first[site+1]; to++ {
		rate := gainRate(&a.choices[start], &a.choices[to])
		for len(a.rises) > bottom {
			last := &a.rises[len(a.rises)-1]
			rate = gainRate(&a.choices[last.to], &a.choices[to])
			if rate < last.rate {
				break
			}
			a.rises = a.rises[:len(a.rises)-1]
			rate = gainRate(&a.choices[start], &a.choices[to])
		}
		a.rises = append(a.rises, rise{rate, int32(site), to})
	}
}

// relax takes the steps of all hulls by falling rate until the money runs out.
// At its rate there, each site has the choice of the highest gain - rate x cost.
func (a *allocation) relax() {
	a.rises = make([]rise, 0, len(a.choices)-len(a.first)+1)
	a.relaxed = slices.Clone(a.first[:len(a.first)-1])
	for i, c := range a.relaxed {
		a.gain += a.choices[c].gain
		a.climb(i)
	}
	slices.SortFunc(a.rises, func(x, y rise) int {
		if x.rate != y.rate {
			return cmp.Compare(y.rate, x.rate)
		}
		return cmp.Or(cmp.Compare(x.site, y.site), cmp.Compare(x.to, y.to))
	})
	for i := range a.rises {
		if !a.take(&a.rises[i], a.relaxed, &a.totals) {
			a.rest, a.rate = i, a.rises[i].rate
			break
		}
	}
	a.chosen, a.best = slices.Clone(a.relaxed), a.totals
}

// take makes a step in a plan where the money suffices.
func (a *allocation) take(r *rise, plan []int32, t *totals) bool {
	from, to := &a.choices[plan[r.site]], &a.choices[r.to]
	if to.cost-from.cost > a.budget-t.cost {
		return false
	}
	t.cost += to.cost - from.cost
	t.gain += to.gain - from.gain
	plan[r.site] = r.to
	return true
}

// fill spends what is left on further steps, the highest rate first.
func (a *allocation) fill() {
	for i := a.rest; i < len(a.rises); i++ {
		a.take(&a.rises[i], a.chosen, &a.best)
	}
}
