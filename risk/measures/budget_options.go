package measures

import (
	"cmp"
	"math"
	"slices"

	"levinward/risk"
)

// Objective is what a budget is spent on.
type Objective uint8

// The objectives. Neither replaces the other, and neither replaces the limits:
// a set that is worth its money may leave a risk above R_T, and what is not chosen stays as it is.
// Whoever publishes a plan has to say so.
const (
	// ExpectedLoss is the loss of economic value to be expected per year,
	// R_4 x c_t, before less after the measures, in money per year (C_L - C_RL of IEC
	// 62305-2:2010, Annex D). It counts structures whose values are given, and
	// nothing else: neither life, nor service to the public, nor heritage; nor what
	// the measures cost each year. It is a mean over many years: a single site may
	// lose all or nothing. Plans mean something where all values and prices are in one currency.
	ExpectedLoss Objective = iota
	// PersonsAtRisk is the number of persons in structures whose R_1 exceeds
	// R_T before and does not after. A structure counts in full or not at all: a set
	// that halves R_1 and leaves it above R_T counts nothing, and how far R_1 was
	// above R_T does not count either. Persons in several structures count in
	// each. AtRisk says how they are counted.
	PersonsAtRisk
)

// loss is the type of loss whose risk an objective looks at.
func (o Objective) loss() risk.Loss {
	if o == PersonsAtRisk {
		return risk.HumanLife
	}
	return risk.EconomicValue
}

// shares are what is to be left of R_4 at most, step by step.
var shares = []float64{0.9, 0.75, 0.5, 0.25, 0.1, 0.05, 0.01}

// evaluationsForBudget bounds the search for the options of one structure, in
// the unit of evaluations.
const evaluationsForBudget = 100_000

// AtRisk is the number of persons in a structure if its R_1 exceeds R_T, else
// 0: n_t, where that is not known the n_z that are given together, and at least
// one. Rather too many than too few: zones may hold the same persons, and a
// structure of which nobody stated the persons is not forgotten.
func AtRisk(s *risk.Structure, r *risk.StructureResult) float64 {
	r1 := &r.Risks[risk.HumanLife]
	if !r.Assessed || !r1.Applies || r1.Acceptable() {
		return 0
	}
	return max(Persons(s), 1)
}

// Persons is how many a structure is known to hold, 0 where nothing is stated.
func Persons(s *risk.Structure) float64 {
	if s.Persons > 0 {
		return s.Persons
	}
	sum := 0.0
	for i := range s.Zones {
		sum += s.Zones[i].Persons
	}
	return sum
}

// SiteOptionsOf gives, for every structure of a site where the objective has something
// to save, the sets of measures worth paying for, by rising cost and rising saving:
// none costs as much as another and saves less. Structures are independent of each
// other (see Recommend), so that each is an element of its own for Spend. sets[i][j] is what
// options[i].Options[j] stands for, with the risks it leaves.
//
// For ExpectedLoss the sets are the cheapest that leave at most 90, 75, 50, 25, 10, 5 and
// 1 % of R_4, those that leave at most what the sets of the recommendation leave,
// and the cheapest of those that leave least. For PersonsAtRisk it is the cheapest that brings R_1 to R_T; other risks may
// stay above their limits. Both are exact unless a structure has so many
// line ends that the search ends at its bound; then a cheaper set is not excluded.
//
// Costs are by the prices of Recommend, rounded up to hundredths of their unit. res is the result of
// ed for in, and rec the recommendation for both; site is handed on.
func SiteOptionsOf(site int, in *risk.Input, res *risk.Result, rec *risk.Recommendation, ed risk.Edition,
	o Objective) (options []SiteOptions, sets [][]risk.StructureMeasures) {
	p := pricesIn(&in.Costs)
	for i := range res.Structures {
		worth := o.worth(&in.Structures[i], &res.Structures[i])
		if worth == nil {
			continue
		}
		found := recommended(rec, i)
		found = append(found, steps(in, i, &res.Structures[i], ed, &p, o, found)...)
		s, kept := SiteOptions{Site: site, Structure: i}, []risk.StructureMeasures(nil)
		slices.SortStableFunc(found, func(x, y risk.StructureMeasures) int {
			return cmp.Or(cmp.Compare(hundredths(x.Cost), hundredths(y.Cost)), cmp.Compare(worth(&y), worth(&x)))
		})
		most := 0.0
		for j := range found {
			if saved := worth(&found[j]); saved > most*(1+same) {
				s.Options = append(s.Options, Option{hundredths(found[j].Cost), saved})
				kept = append(kept, found[j])
				most = saved
			}
		}
		if kept != nil {
			options, sets = append(options, s), append(sets, kept)
		}
	}
	return options, sets
}

// worth is what a set saves at a structure; nil where there is nothing to save.
func (o Objective) worth(s *risk.Structure, r *risk.StructureResult) func(*risk.StructureMeasures) float64 {
	before := &r.Risks[o.loss()]
	if !r.Assessed || !before.Applies {
		return nil
	}
	if o == PersonsAtRisk {
		persons := AtRisk(s, r)
		if persons == 0 {
			return nil
		}
		return func(m *risk.StructureMeasures) float64 {
			if m.Risks[risk.HumanLife] > before.Tolerable {
				return 0
			}
			return persons
		}
	}
	if before.Total*r.TotalValue <= 0 {
		return nil
	}
	return func(m *risk.StructureMeasures) float64 {
		return (before.Total - m.Risks[risk.EconomicValue]) * r.TotalValue
	}
}

// steps finds the cheapest sets for an objective by the search of Recommend, as
// if no other risk had a limit and R_4 were limited to what it is now: for
// ExpectedLoss also sets that leave no more than the known ones.
func steps(in *risk.Input, structure int, r *risk.StructureResult, ed risk.Edition, p *prices, o Objective,
	known []risk.StructureMeasures) []risk.StructureMeasures {
	alone := risk.StructureResult{}
	only := &alone.Risks[o.loss()]
	*only = r.Risks[o.loss()]
	if o == ExpectedLoss {
		only.Tolerable = only.Total
	}
	budget := evaluationsForBudget
	s := newSearch(in, structure, &alone, ed, p, &budget)
	if o == PersonsAtRisk {
		s.tighten(1)
		return []risk.StructureMeasures{s.answer()}
	}
	left := slices.Clone(shares)
	for i := range known {
		left = append(left, known[i].Risks[risk.EconomicValue]/only.Total)
	}
	slices.SortFunc(left, func(x, y float64) int { return cmp.Compare(y, x) })
	var found []risk.StructureMeasures
	for _, share := range left {
		if s.improves(share) && s.tighten(share) {
			found = append(found, s.answer())
		}
	}
	s.tighten(0)
	return append(found, s.answer())
}

// answer is the chosen set.
func (s *search) answer() risk.StructureMeasures {
	return risk.StructureMeasures{
		Structure: s.structure,
		Measures:  clone(&s.chosen.measures),
		Cost:      s.prices.cost(s.chosen.cost),
		Risks:     s.chosen.risks,
		Added:     less(&s.present, &s.chosen.measures),
	}
}

// recommended are the sets of a recommendation for a structure.
func recommended(rec *risk.Recommendation, structure int) (found []risk.StructureMeasures) {
	for _, set := range append([]risk.MeasureSet{rec.Set}, rec.Alternatives...) {
		for _, m := range set.Structures {
			if m.Structure == structure {
				found = append(found, m)
			}
		}
	}
	return found
}

// hundredths is a cost in hundredths, rounded up. Prices have at most six
// decimals; what lies below comes from the division.
func hundredths(cost float64) int64 {
	return int64(math.Ceil(min(100*cost-1e-5, 2*largestBudget)))
}
