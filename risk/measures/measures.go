// Package measures finds the cheapest set of protection measures that brings
// every risk of every assessed structure under its limit.
//
// Structures are independent of each other: SPDs belong to a line end, and each
// structure has its own ends. So each is solved alone and the costs add up.
// Measures are an LPS, fire protection, warning notices and insulation against
// shock from flashes to the structure and from flashes to a line, the routing or shielding of
// internal wiring (K_S3), and at each
// line end bonding SPDs and a coordinated set of SPDs. Three rules bind them: with
// an LPS every line end is bonded at least at its class, a coordinated set is
// at most as good as the bonding it begins with, and insulation against shock from flashes to the
// structure needs down-conductors to insulate: an LPS, or a frame that acts as one. What is there already stays,
// costs nothing and breaks no rule; anything better costs its full price, with no
// credit for what it replaces.
//
// # Why the answer is exact
//
// The search relies on three properties of the standard's formulas, and on
// nothing else of an edition. Risks are sums of products of non-negative factors,
// where each factor depends on one measure, and failures of several internal
// systems combine as 1 - prod(1 - P). Hence:
//
//  1. A better measure never raises a risk: what is infeasible with everything
//     undecided at its best is infeasible.
//  2. A measure without effect where all others are at their best has no effect
//     anywhere, since no table value that a measure can reach is 0.
//  3. With the structure-wide measures fixed, what an SPD saves never shrinks when
//     other SPDs get better. So its saving with all others at their best bounds
//     its saving anywhere, and the sum of the savings bounds the risk from below.
//
// Every set that is returned has been evaluated itself: the properties can only
// decide whether a cheaper one was overlooked.
package measures

import "levinward/risk"

// evaluations bounds the work of one Recommend: evaluations of a structure
// and steps of the search between them, together.
const evaluations = 2_000_000

// alternatives is the most further sets that Recommend returns.
const alternatives = 5

// Recommend finds the cheapest set of measures that brings every applicable
// risk of every assessed structure to its limit, by the prices of in.Costs, or by
// DefaultCosts where these are all zero and not in money. Among sets of equal cost it takes the one
// with the lowest worst ratio of risk to limit, then the lowest sum of ratios
// (both to twelve digits), then the fewest measures in the order of risk.Measures.
//
// A risk without a limit (R_T = 0) does not count. A structure that needs nothing
// keeps what it has. Where some structure cannot be brought to its limits, its
// part of the set is the cheapest of those with its lowest worst ratio (within
// 1 % of it: what brings less helps nobody).
//
// The alternatives are the cheapest sets whose worst ratios are at most 1/2, 1/5,
// 1/10, 1/20, 1/50 and so on; a structure that cannot reach a margin keeps its set for
// the last one it could. res is the result of ed for in.
func Recommend(in *risk.Input, res *risk.Result, ed risk.Edition) risk.Recommendation {
	return RecommendWithin(in, res, ed, evaluations)
}

// RecommendWithin is Recommend with a bound of its own for the search, in evaluations of a structure; it says whether it was reached.
func RecommendWithin(in *risk.Input, res *risk.Result, ed risk.Edition, budget int) risk.Recommendation {
	p := pricesIn(&in.Costs)
	r := risk.Recommendation{Sufficient: true, Proven: true}
	var searches []*search
	for i := range res.Structures {
		s := &res.Structures[i]
		if !s.Assessed {
			continue
		}
		one := newSearch(in, i, s, ed, &p, &budget)
		searches = append(searches, one)
		if !acceptable(s) {
			r.Needed = true
			one.slack = noticeable
			r.Sufficient = one.tighten(1) && r.Sufficient
		}
	}
	r.Set = combine(searches, &p)
	if r.Needed && r.Sufficient {
		r.Alternatives = further(searches, &p, r.Set.Cost, &budget)
	}
	r.Proven = budget > 0
	return r
}

// acceptable reports whether every risk that applies is at its limit as things are.
func acceptable(s *risk.StructureResult) bool {
	for k := range s.Risks {
		if s.Risks[k].Applies && !s.Risks[k].Acceptable() {
			return false
		}
	}
	return true
}

// further finds the alternatives, margin by margin. A set that costs no more
// than the one before adds nothing to choose from.
func further(searches []*search, p *prices, cost float64, budget *int) []risk.MeasureSet {
	var found []risk.MeasureSet
	for margin := range margins {
		reached := false
		for _, s := range searches {
			if s.improves(1 / margin) {
				reached = true
				s.tighten(1 / margin)
			}
		}
		if !reached || *budget <= 0 {
			break
		}
		if set := combine(searches, p); set.Cost > cost {
			found = append(found, set)
			cost = set.Cost
		}
		if len(found) == alternatives {
			break
		}
	}
	return found
}

// margins are 2, 5, 10, 20, 50 and so on.
func margins(yield func(float64) bool) {
	for ten := 1.0; ten < 1e15; ten *= 10 {
		if !yield(2*ten) || !yield(5*ten) || !yield(10*ten) {
			return
		}
	}
}

// combine puts the sets that the structures have come to together.
func combine(searches []*search, p *prices) risk.MeasureSet {
	set := risk.MeasureSet{Structures: make([]risk.StructureMeasures, 0, len(searches))}
	total := units(0)
	for _, s := range searches {
		set.Structures = append(set.Structures, risk.StructureMeasures{
			Structure: s.structure,
			Measures:  clone(&s.chosen.measures),
			Cost:      p.cost(s.chosen.cost),
			Risks:     s.chosen.risks,
			Added:     less(&s.present, &s.chosen.measures),
		})
		total += s.chosen.cost
	}
	set.Cost = p.cost(total)
	return set
}
