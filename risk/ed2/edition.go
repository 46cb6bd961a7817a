package ed2

import (
	"slices"

	"levinward/risk"
	"levinward/risk/trace"
)

// ID names the edition in documents.
const ID = "iec-62305-2:2010"

// Edition is IEC 62305-2:2010. It has no state.
type Edition struct{}

var _ risk.Edition = Edition{}

// ID is the name of the edition in documents.
func (Edition) ID() string { return ID }

// Quantities lists every symbol with unit, clause, formula and provenance.
func (Edition) Quantities() []*trace.Quantity { return quantities }

// Tables lists the printed tables in use.
func (Edition) Tables() []*trace.Table { return tables }

// Assess computes all risks of a valid input. With a nil trace nothing is recorded.
func (Edition) Assess(in *risk.Input, t *trace.Trace) (risk.Result, error) {
	t = t.With(in.Reviews)
	c := calc{in: in, t: t}
	c.sites()
	r := risk.Result{NG: c.NG, Structures: make([]risk.StructureResult, len(in.Structures)), Lines: make([]risk.LineResult, len(in.Lines))}
	zones := c.zoneRoom()
	for i := range in.Lines {
		r.Lines[i].Events = risk.Events{DirectArea: c.lines[i].AL, NearArea: c.lines[i].AI, Direct: c.lines[i].NL, Near: c.lines[i].NI}
	}
	for i := range in.Structures {
		p, out := &c.places[i], &r.Structures[i]
		out.Events = risk.Events{DirectArea: p.AD, NearArea: p.AM, Direct: p.ND, Near: p.NM}
		if in.Structures[i].NotAssessed {
			continue
		}
		out.Assessed = true
		zones = c.share(i, zones, out)
		t.Enter(in.Structures[i].ID, "/structures", i)
		c.open(i, &none)
		c.structure(i, &none, out)
		c.limits(out)
		t.Leave()
		c.adjacentResults(i, &r)
	}
	return r, nil
}

var none risk.Measures

// zoneRoom allocates the zones of all results at once.
func (c *calc) zoneRoom() []risk.ZoneRisk {
	n := 0
	for i := range c.in.Structures {
		s := &c.in.Structures[i]
		for _, applies := range applicable(s) {
			if applies && !s.NotAssessed {
				n += len(s.Zones)
			}
		}
	}
	return make([]risk.ZoneRisk, n)
}

// share hands a structure's risks their part of the room and returns the rest.
func (c *calc) share(i int, room []risk.ZoneRisk, r *risk.StructureResult) []risk.ZoneRisk {
	n := len(c.in.Structures[i].Zones)
	for k, applies := range applicable(&c.in.Structures[i]) {
		if applies {
			r.Risks[k].Zones, room = room[:0:n], room[n:]
		}
	}
	return room
}

// limits sets R_T of each risk. Where values and prices in money are given, the cost comparison decides R_4.
func (c *calc) limits(r *risk.StructureResult) {
	for k := range r.Risks {
		switch {
		case !r.Risks[k].Applies:
		case c.in.Tolerable[k] > 0:
			r.Risks[k].Tolerable = c.t.Given(limitGiven[k], c.in.Tolerable[k])
		case risk.Loss(k) == risk.EconomicValue && c.in.Costs.Money:
		default:
			r.Risks[k].Tolerable = c.t.Pick(limit[k], tolerable, k, 0)
		}
	}
}

// adjacentResults notes N_DJ of the lines that end at structure i.
func (c *calc) adjacentResults(i int, r *risk.Result) {
	for e := range c.ends {
		l := c.ends[e].line
		if c.in.Lines[l].Structure == i {
			r.Lines[l].AdjacentStructure = c.ends[e].NDJ
		} else {
			r.Lines[l].AdjacentAtFar = c.ends[e].NDJ
		}
	}
}

// evaluator computes one structure again and again under other measures.
type evaluator struct {
	c         calc
	structure int
	out       risk.StructureResult
	zones     []risk.ZoneRisk
}

// Evaluator prepares the evaluation of one structure under different measures.
func (Edition) Evaluator(in *risk.Input, structure int) risk.Evaluator {
	e := &evaluator{c: calc{in: in, t: (*trace.Trace)(nil).With(in.Reviews)}, structure: structure}
	e.c.sites()
	e.c.open(structure, &none)
	e.c.prepare(&in.Structures[structure])
	e.zones = make([]risk.ZoneRisk, risk.Losses*len(in.Structures[structure].Zones))
	return e
}

// Risks computes the risks of the structure under the given measures [1/a].
func (e *evaluator) Risks(m *risk.Measures) [risk.Losses]float64 {
	for i := range e.c.ends {
		e.c.endSPD(&e.c.ends[i], endMeasures(m, e.c.ends[i].line))
	}
	e.out = risk.StructureResult{}
	e.c.share(e.structure, e.zones, &e.out)
	e.c.structure(e.structure, m, &e.out)
	var r [risk.Losses]float64
	for k := range r {
		r[k] = e.out.Risks[k].Total
	}
	return r
}

// Reads lists the input fields that the edition uses.
func (Edition) Reads() []string { return slices.Clone(reads) }
