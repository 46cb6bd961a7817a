package assess

import (
	"cmp"
	"slices"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/measures"
)

// How many other values are followed up to the measures they would need, and how far each search goes.
const (
	mostFollowed    = 4
	searchOfOne     = 20_000
	leastDifference = 1e-9
)

// deciding finds the default that decides first what has to be done at the structure with the worst risk: of the plausible values that
// lower its risk most, the one with which measures suffice, or cost, least. Nil where none makes a difference.
func deciding(site *wire.Site, res *risk.Result, rec *risk.Recommendation, ed risk.Edition) *risk.Deciding {
	if !rec.Needed {
		return nil
	}
	set := worstSet(res, rec)
	r := &res.Structures[set.Structure]
	s := searcher{site: site, res: res, ed: ed, alone: make([]*alone, len(site.Input.Structures))}
	now := risk.Deciding{Structure: set.Structure, Sufficient: met(&set.Risks, r), Cost: set.Cost}
	best := worstRatio(&set.Risks, r)
	var found *risk.Deciding
	for _, f := range s.favourable(set.Structure) {
		d, ok := s.follow(&now, f)
		if !ok || !cheaper(&d, &now, best, found) {
			continue
		}
		found = &d
	}
	return found
}

// worstSet is the part of the recommended set at the structure where most is left, or, where it suffices, where most was to be done.
func worstSet(res *risk.Result, rec *risk.Recommendation) *risk.StructureMeasures {
	ratio := func(m *risk.StructureMeasures) float64 {
		r := &res.Structures[m.Structure]
		if !rec.Sufficient {
			return worstRatio(&m.Risks, r)
		}
		var before [risk.Losses]float64
		for k := range before {
			before[k] = r.Risks[k].Total
		}
		return worstRatio(&before, r)
	}
	worst := &rec.Set.Structures[0]
	for i := range rec.Set.Structures {
		if m := &rec.Set.Structures[i]; ratio(m) > ratio(worst) {
			worst = m
		}
	}
	return worst
}

// candidate is another plausible value of an assumption, and the worst ratio that it leaves without measures.
type candidate struct {
	assumed, plausible int
	ratio              float64
}

// favourable lists the other values that lower the worst ratio of a structure most.
func (s *searcher) favourable(structure int) []candidate {
	var list []candidate
	before := 0.0
	for k := range s.res.Structures[structure].Risks {
		if r := &s.res.Structures[structure].Risks[k]; r.Applies && r.Tolerable > 0 {
			before = max(before, r.Total/r.Tolerable)
		}
	}
	for i := range s.site.Assumed {
		a := &s.site.Assumed[i]
		if !s.concerns(structure, a) {
			continue
		}
		for j := range a.Plausible {
			r, err := s.ed.Assess(s.with(structure, a, j), nil)
			if err != nil {
				continue
			}
			if ratio := resultRatio(&r.Structures[0]); ratio < before*(1-leastDifference) {
				list = append(list, candidate{i, j, ratio})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b candidate) int { return cmp.Compare(a.ratio, b.ratio) })
	return list[:min(len(list), mostFollowed)]
}

// resultRatio is the worst ratio of risk to limit of a result.
func resultRatio(r *risk.StructureResult) float64 {
	var totals [risk.Losses]float64
	for k := range totals {
		totals[k] = r.Risks[k].Total
	}
	return worstRatio(&totals, r)
}

// with is structure i alone, with another value of an assumption.
func (s *searcher) with(i int, a *wire.Assumed, plausible int) *risk.Input {
	if s.alone[i] == nil {
		s.alone[i] = single(&s.site.Input, i)
	}
	one := s.alone[i]
	one.reset()
	a.Plausible[plausible].Set(&one.scratch, wire.Where{Structure: slices.Index(one.structures, a.Where.Structure), Zone: a.Where.Zone,
		Line: slices.Index(one.lines, a.Where.Line), Entry: a.Where.Entry})
	return &one.scratch
}

// follow finds the measures that a structure needs with another value.
func (s *searcher) follow(now *risk.Deciding, c candidate) (risk.Deciding, bool) {
	a := &s.site.Assumed[c.assumed]
	in := s.with(now.Structure, a, c.plausible)
	r, err := s.ed.Assess(in, nil)
	if err != nil {
		return risk.Deciding{}, false
	}
	rec := measures.RecommendWithin(in, &r, s.ed, searchOfOne)
	d := *now
	d.Assumption, d.Instead = c.assumed, a.Plausible[c.plausible].Value
	d.SufficientInstead, d.CostInstead = rec.Sufficient, rec.Set.Cost
	d.WorstInstead = worstRatio(&rec.Set.Structures[0].Risks, &r.Structures[0])
	return d, true
}

// cheaper reports whether a value leads to measures that suffice where the ones before did not, cost less or, where nothing
// suffices, leave less.
func cheaper(d, now *risk.Deciding, worst float64, found *risk.Deciding) bool {
	sufficient, cost := now.Sufficient, now.Cost
	if found != nil {
		sufficient, cost, worst = found.SufficientInstead, found.CostInstead, found.WorstInstead
	}
	switch {
	case d.SufficientInstead != sufficient:
		return d.SufficientInstead
	case sufficient:
		return d.CostInstead < cost*(1-leastDifference)
	}
	return d.WorstInstead < worst*(1-leastEffect)
}
