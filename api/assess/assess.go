// Package assess is the one use case of the service: from an input to the
// risks, the measures that suffice, the SPD schedule and the worksheet. Request handler,
// background worker and command line all call it.
package assess

import (
	"slices"
	"strconv"
	"time"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/ed2"
	"levinward/risk/measures"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

// Editions lists the editions of the standard that can be computed.
var Editions = []risk.Edition{ed2.Edition{}}

// Edition finds an edition by its name, nil where it is not implemented.
func Edition(id string) risk.Edition {
	for _, e := range Editions {
		if e.ID() == id {
			return e
		}
	}
	return nil
}

// Run computes a site. It returns the faults that keep it from being
// computed, or the answer. The worksheet is recorded in t; with nil it is dropped once the answer says what its numbers rest on.
func Run(site *wire.Site, t *trace.Trace) (*wire.Answer, []risk.Violation) {
	if faults := Faults(site); len(faults) > 0 {
		return nil, faults
	}
	if t == nil {
		t = traces.Get().(*trace.Trace)
		defer release(t)
	}
	in := &site.Input
	t = t.With(in.Reviews)
	ed := Edition(in.Edition)
	judgements := earthing(site, t)
	res, err := ed.Assess(in, t)
	if err != nil {
		return nil, []risk.Violation{{Rule: risk.RuleNotApplicable, Reason: err.Error()}}
	}
	rec := measures.Recommend(in, &res, ed)
	a := &wire.Answer{Input: in, Result: &res, Recommendation: &rec, Earth: judgements, Cautions: Cautions()}
	a.Schedule = spd.Schedule(in, &res, &rec, t)
	a.Costs = costs(in, &res, &rec, ed, t)
	a.Assumptions, a.Effects = sensitivity(site, &res, ed)
	a.Changes, a.Deciding = changes(in, &res, &rec, ed), deciding(site, &res, &rec, ed)
	a.Warnings = warnings(in, &res, &rec, ed)
	return a, nil
}

func editionNames() string {
	names := ""
	for i, e := range Editions {
		if i > 0 {
			names += ", "
		}
		names += e.ID()
	}
	return names
}

// costs makes the cost comparison of each structure that has values, where prices are in money.
func costs(in *risk.Input, res *risk.Result, rec *risk.Recommendation, ed risk.Edition, t *trace.Trace) []*risk.Cost {
	all := make([]*risk.Cost, len(in.Structures))
	if !in.Costs.Money {
		return all
	}
	for _, m := range rec.Set.Structures {
		r := &res.Structures[m.Structure]
		econ := &r.Risks[risk.EconomicValue]
		if !econ.Applies {
			continue
		}
		t.Enter(in.Structures[m.Structure].ID, "/structures", m.Structure)
		c := ed.CostOfLoss(econ.Total, m.Risks[risk.EconomicValue], r.TotalValue, m.Cost, in.Costs.Yearly(), t)
		t.Leave()
		all[m.Structure] = &c
	}
	return all
}

// remaining names the largest component that is left where the measures do not suffice, and what it depends on.
func remaining(in *risk.Input, rec *risk.Recommendation, ed risk.Edition) []string {
	if !rec.Needed || rec.Sufficient {
		return nil
	}
	res, err := ed.Assess(protected(in, &rec.Set), nil)
	if err != nil {
		return nil
	}
	var w []string
	for _, m := range rec.Set.Structures {
		for k := range risk.Loss(risk.Losses) {
			r := &res.Structures[m.Structure].Risks[k]
			if !r.Applies || r.Acceptable() {
				continue
			}
			largest := risk.RA
			for c := range risk.Components {
				if r.Components[c] > r.Components[largest] {
					largest = c
				}
			}
			symbol, remedy := ed.Component(largest)
			w = append(w, "Structure "+strconv.Quote(in.Structures[m.Structure].ID)+", "+k.String()+": what remains is mostly "+symbol+
				" ("+strconv.FormatFloat(r.Components[largest], 'e', 2, 64)+"), "+remedy+".")
		}
	}
	return w
}

// protected is the input with the measures of a set in place. Where both ends of a line are assessed,
// those of the later structure stand for both: good enough to name the component that remains.
func protected(in *risk.Input, set *risk.MeasureSet) *risk.Input {
	p := *in
	p.Structures, p.Lines = slices.Clone(in.Structures), slices.Clone(in.Lines)
	for _, m := range set.Structures {
		s := &p.Structures[m.Structure]
		s.LPS = max(s.LPS, m.Measures.LPS)
		s.Zones = slices.Clone(s.Zones)
		for z := range s.Zones {
			s.Zones[z].StructureShock |= m.Measures.StructureShock
			s.Zones[z].LineShock |= m.Measures.LineShock
			s.Zones[z].FireProtection = max(s.Zones[z].FireProtection, m.Measures.FireProtection)
			s.Zones[z].Systems = slices.Clone(s.Zones[z].Systems)
			for n := range s.Zones[z].Systems {
				s.Zones[z].Systems[n].Wiring = max(s.Zones[z].Systems[n].Wiring, m.Measures.Wiring)
			}
		}
		for _, e := range m.Measures.Ends {
			p.Lines[e.Line].BondingSPD, p.Lines[e.Line].CoordinatedSPD = e.Bonding, e.Coordinated
		}
	}
	return &p
}

// yearsValid is how long lightning data count as current (IEC 62858).
const yearsValid = 5

// ReviewDue is the day from which the lightning data are too old, counted from
// the end of the year of the data, or from now where the year is not known.
func ReviewDue(in *risk.Input, now time.Time) time.Time {
	if y := in.FlashDensity.Year; y > 0 {
		return time.Date(y+yearsValid+1, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	return time.Date(now.Year()+yearsValid, now.Month(), now.Day(), 0, 0, 0, 0, time.UTC)
}

// Faults lists everything that keeps a site from being computed.
func Faults(site *wire.Site) []risk.Violation {
	ed := Edition(site.Input.Edition)
	if ed == nil { // tell the faults of the geometry, too: any edition finds them
		return append(append(slices.Clip(site.Violations), measure(site, Editions[0])...), risk.Violation{Rule: risk.RuleUnknownEdition,
			Pointer: "/edition", Reason: "this edition is not implemented; allowed: " + editionNames()})
	}
	faults := append(slices.Clip(site.Violations), measure(site, ed)...)
	known := len(faults)
	for _, f := range append(ed.Validate(&site.Input), electrodeFaults(site)...) {
		if !slices.ContainsFunc(faults[:known], func(found risk.Violation) bool { return wire.Overlap(found.Pointer, f.Pointer) }) {
			faults = append(faults, f)
		}
	}
	return faults
}
