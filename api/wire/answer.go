package wire

import (
	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/spd"
)

// Answer is everything that was computed for an input.
type Answer struct {
	Input          *risk.Input
	Result         *risk.Result
	Recommendation *risk.Recommendation
	Schedule       []spd.Entry
	Costs          []*risk.Cost       // per structure; nil where no cost comparison applies
	Earth          []*earth.Judgement // per structure; nil where it is not assessed
	Assumptions    []risk.Assumption
	Effects        []risk.Effect  // of other plausible values, the largest first
	Changes        []risk.Change  // on top of the recommended set, by structure, the largest effect first
	Deciding       *risk.Deciding // nil where no default decides what has to be done
	Warnings       []string
	Cautions       []string
}

// RelativeCost is the unit of costs without prices.
const RelativeCost = "relative: bonding SPDs LPL III-IV on one line = 1"

// Document writes an answer as a result. The caller adds what belongs to the record.
func (a *Answer) Document(in *Input) *Result {
	r := &Result{
		Edition: a.Input.Edition, Input: in, FlashDensity: density(a.Input, a.Result),
		Warnings: nonNil(a.Warnings), Cautions: nonNil(a.Cautions),
		Assumptions: make([]Assumption, len(a.Assumptions)),
		Structures:  make([]StructureResult, len(a.Input.Structures)),
		Lines:       make([]LineResult, len(a.Input.Lines)),
		Schedule:    make([]ScheduleEntry, len(a.Schedule)),
	}
	for i := range a.Assumptions {
		r.Assumptions[i] = assumption(&a.Assumptions[i])
	}
	for i := range a.Effects {
		r.Sensitivity = append(r.Sensitivity, a.effect(&a.Effects[i]))
	}
	for i := range r.Structures {
		r.Structures[i] = a.structure(i)
	}
	for i := range r.Lines {
		r.Lines[i] = a.line(i)
	}
	for i := range r.Schedule {
		r.Schedule[i] = a.entry(&a.Schedule[i])
	}
	r.Recommendation = a.recommendation()
	return r
}

func nonNil[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

func density(in *risk.Input, res *risk.Result) DensityUsed {
	d := &in.FlashDensity
	u := DensityUsed{GroundFlashes: res.NG, Origin: d.Origin, Source: d.Source, Year: d.Year, StandardError: d.StandardError, Map: d.Map, Note: d.Note,
		Lower90: d.Lower90, Upper90: d.Upper90, UpperBound: d.Spread(res.NG).Upper}
	switch d.Origin {
	case risk.DensityMap:
		u.Derived, u.Relation = d.Derivation != "", d.Derivation
	case risk.DensityThunderstormDays:
		u.Derived, u.Relation = true, "N_G = 0.1 T_D"
		if d.Relation == risk.Power {
			u.Relation = "N_G = 0.04 T_D^1.25"
		}
	}
	return u
}

func assumption(a *risk.Assumption) Assumption {
	w := Assumption{Pointer: a.Pointer, Value: a.Value, Reason: a.Reason, Clause: a.Clause, Provenance: a.Provenance, Decisive: a.Decisive}
	for _, alt := range a.Alternatives {
		w.Alternatives = append(w.Alternatives, Alternative(alt))
	}
	return w
}

func (a *Answer) structure(i int) StructureResult {
	s, r := &a.Input.Structures[i], &a.Result.Structures[i]
	w := StructureResult{
		ID: s.ID, Assessed: r.Assessed,
		Area:           DirectNear{r.DirectArea, r.NearArea},
		Events:         DirectNear{r.Direct, r.Near},
		SystemFailures: r.SystemFailures,
	}
	for k, slot := range w.Risks.slots() {
		if r.Risks[k].Applies {
			*slot = riskOf(s, &r.Risks[k])
			(*slot).Margin = a.margin(r.Risks[k].Total, r.Risks[k].Tolerable)
		}
	}
	if j := a.Earth[i]; j != nil {
		w.Earthing = &EarthJudgement{Connection: j.Connection, Resistance: given(j.Resistance), Grade: j.Grade, EarthFirst: j.EarthFirst, Notes: EarthNotes(j.Notes)}
	}
	if econ := &r.Risks[risk.EconomicValue]; econ.Applies {
		w.CostOfLoss = a.costOfLoss(i, econ.Total, r.TotalValue)
	}
	return w
}

func riskOf(s *risk.Structure, r *risk.Risk) *Risk {
	w := &Risk{Total: r.Total, Acceptable: r.Acceptable(), Components: components(&r.Components), Zones: make([]ZoneRisk, len(r.Zones)), RestsOn: restsOn(r.RestsOn)}
	if r.Tolerable > 0 {
		w.Tolerable = &r.Tolerable
	}
	for z := range r.Zones {
		w.Zones[z] = ZoneRisk{ID: s.Zones[z].ID, Total: r.Zones[z].Total, Components: components(&r.Zones[z].Components)}
	}
	return w
}

func components(c *[risk.Components]float64) Components {
	return Components{c[risk.RA], c[risk.RB], c[risk.RC], c[risk.RM], c[risk.RU], c[risk.RV], c[risk.RW], c[risk.RZ]}
}

func (a *Answer) costOfLoss(i int, r4, value float64) *CostOfLoss {
	w := &CostOfLoss{TotalValue: value, Without: r4 * value}
	if c := a.Costs[i]; c != nil {
		justified := c.Saving > 0
		w.Without, w.With, w.Measures, w.Saving, w.Justified = c.Without, &c.With, &c.Measures, &c.Saving, &justified
		w.Currency = a.Input.Costs.Currency
	}
	return w
}

func (a *Answer) line(i int) LineResult {
	l, r := &a.Input.Lines[i], &a.Result.Lines[i]
	w := LineResult{ID: l.ID, Area: DirectNear{r.DirectArea, r.NearArea}, Events: LineEvents{Direct: r.Direct, Near: r.Near, AdjacentStructure: r.AdjacentStructure}}
	if l.To >= 0 && !a.Input.Structures[l.To].NotAssessed {
		w.Events.AdjacentAtFarEnd = &r.AdjacentAtFar
	}
	return w
}

func (a *Answer) recommendation() Recommendation {
	rec := a.Recommendation
	w := Recommendation{Needed: rec.Needed, Sufficient: rec.Sufficient, Proven: rec.Proven, MeasureSet: a.measures(&rec.Set), Alternatives: make([]MeasureSet, len(rec.Alternatives))}
	for i := range rec.Alternatives {
		w.Alternatives[i] = a.measures(&rec.Alternatives[i])
	}
	for i := range a.Changes {
		w.Changes = append(w.Changes, a.change(&a.Changes[i]))
	}
	if a.Deciding != nil {
		w.Deciding = a.deciding(a.Deciding)
	}
	return w
}

func (a *Answer) measures(set *risk.MeasureSet) MeasureSet {
	w := MeasureSet{
		Measures: MeasuresTaken{Structures: make([]StructureMeasures, 0, len(set.Structures)), Lines: []LineMeasures{}},
		Cost:     set.Cost, CostUnit: RelativeCost, RisksAfter: make(map[string]RemainingRisk, len(set.Structures)),
		Margins: make(map[string]RemainingMargin, len(set.Structures)),
	}
	if a.Input.Costs.Money {
		w.CostUnit = a.Input.Costs.Currency
	}
	for i := range set.Structures {
		m := &set.Structures[i]
		id := a.Input.Structures[m.Structure].ID
		w.Measures.Structures = append(w.Measures.Structures, a.structureMeasures(m))
		for _, e := range m.Measures.Ends {
			w.Measures.Lines = append(w.Measures.Lines, LineMeasures{ID: a.Input.Lines[e.Line].ID, Structure: id, Bonding: SPD(e.Bonding), Coordinated: SPD(e.Coordinated)})
		}
		w.RisksAfter[id] = remaining(&a.Result.Structures[m.Structure], &m.Risks)
		margins, least := a.margins(&a.Result.Structures[m.Structure], &m.Risks)
		w.Margins[id] = margins
		if least != nil && (w.LeastMargin == nil || *least < *w.LeastMargin) {
			w.LeastMargin = least
		}
	}
	return w
}

func (a *Answer) structureMeasures(m *risk.StructureMeasures) StructureMeasures {
	s := &a.Input.Structures[m.Structure]
	w := StructureMeasures{
		ID: s.ID, LPS: m.Measures.LPS, FireProtection: m.Measures.FireProtection,
		StructureShock: m.Measures.StructureShock.Names(), LineShock: m.Measures.LineShock.Names(),
	}
	for z := range s.Zones {
		if len(s.Zones[z].Systems) > 0 {
			w.Wiring = &m.Measures.Wiring
		}
	}
	if m.Measures.LPS != s.LPS {
		w.LPSWork = a.lpsWork(s, m.Measures.LPS)
	}
	return w
}

func remaining(r *risk.StructureResult, after *[risk.Losses]float64) RemainingRisk {
	var w RemainingRisk
	for k, slot := range [risk.Losses]**float64{&w.HumanLife, &w.PublicService, &w.CulturalHeritage, &w.EconomicValue} {
		if r.Risks[k].Applies {
			*slot = &after[k]
		}
	}
	return w
}
