package assess

import (
	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/measures"
)

// Choices are what a budget can be spent on at a site.
type Choices struct {
	Options []measures.SiteOptions     // of the structures where something can be saved
	Sets    [][]risk.StructureMeasures // what the options stand for
	Before  float64                    // what there is to save, by the objective
	Limited []bool                     // per structure: a risk is above its limit as things are
	Unknown int                        // structures with an unacceptable R_1 and no number of persons, which count as one
	Input   *risk.Input
	Result  *risk.Result
}

// ChoicesOf finds the sets of measures worth paying for at a site with known N_G.
// number is handed on to measures.SiteOptions. It returns the faults that keep the site from being computed.
func ChoicesOf(site *wire.Site, number int, o measures.Objective) (*Choices, []risk.Violation) {
	if faults := Faults(site); len(faults) > 0 {
		return nil, faults
	}
	in := &site.Input
	ed := Edition(in.Edition)
	res, err := ed.Assess(in, nil)
	if err != nil {
		return nil, []risk.Violation{{Rule: risk.RuleNotApplicable, Reason: err.Error()}}
	}
	rec := measures.Recommend(in, &res, ed)
	c := &Choices{Input: in, Result: &res, Limited: make([]bool, len(in.Structures))}
	c.Options, c.Sets = measures.SiteOptionsOf(number, in, &res, &rec, ed, o)
	for i, sets := range c.Sets {
		e := ed.Evaluator(in, c.Options[i].Structure)
		for j := range sets { // a search vouches only for the risks that it limits
			sets[j].Risks = e.Risks(&sets[j].Measures)
		}
	}
	for i := range in.Structures {
		r := &res.Structures[i]
		if !r.Assessed {
			continue
		}
		for k := range r.Risks {
			c.Limited[i] = c.Limited[i] || r.Risks[k].Applies && !r.Risks[k].Acceptable()
		}
		if o == measures.ExpectedLoss {
			c.Before += r.Risks[risk.EconomicValue].Total * r.TotalValue
			continue
		}
		persons := measures.AtRisk(&in.Structures[i], r)
		c.Before += persons
		if persons > 0 && measures.Persons(&in.Structures[i]) == 0 {
			c.Unknown++
		}
	}
	return c, nil
}

// LimitedAfter tells whether a structure has a risk above its limit under a set.
func (c *Choices) LimitedAfter(m *risk.StructureMeasures) bool {
	r := &c.Result.Structures[m.Structure]
	for k := range r.Risks {
		if limit := r.Risks[k].Tolerable; r.Risks[k].Applies && limit > 0 && m.Risks[k] > limit {
			return true
		}
	}
	return false
}
