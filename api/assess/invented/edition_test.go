// Package invented holds an edition of a standard that does not exist, to show what adding one takes: this folder and its
// entry in assess.Editions. Its rules are made up; nothing here says anything of lightning.
package invented

import (
	"math"
	"slices"
	"testing"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/ed2"
	"levinward/risk/trace"
)

const rules = "Invented rules 1, "

// edition knows one risk, R_1, of one component: N_D times the probability of injury.
type edition struct{}

var _ risk.Edition = edition{}

func (edition) ID() string { return "invented-1" }

var (
	density     = &trace.Quantity{Symbol: "N_G", Name: "ground flash density", Unit: "1/(km2 a)", Clause: rules + "1", Reads: "/flash_density/ground_flashes_per_km2_year"}
	area        = &trace.Quantity{Symbol: "A_D", Name: "collection area", Unit: "m2", Clause: rules + "2", Reads: "parts"}
	events      = &trace.Quantity{Symbol: "N_D", Name: "flashes", Unit: "1/a", Clause: rules + "2", Expr: "N_G*A_D*1e-6", In: []*trace.Quantity{density, area}, Provenance: trace.Assumed}
	probability = &trace.Quantity{Symbol: "P", Name: "probability of injury", Clause: rules + "3"}
	injury      = &trace.Quantity{Symbol: "R_1", Name: "risk", Unit: "1/a", Clause: rules + "3", Expr: "N_D*P", In: []*trace.Quantity{events, probability}, Provenance: trace.Assumed}
	quantities  = trace.Number(density, area, events, probability, injury)
)

// injuries falls to a tenth with each class of LPS.
var injuries = &trace.Table{Number: "1", Title: "Probability of injury", Clause: rules + "Table 1", Symbols: []string{"P"},
	Rows: []trace.Row{
		{Text: "no LPS", Values: []float64{2e-2}, Provenance: trace.Assumed},
		{Text: "IV", Values: []float64{2e-3}, Provenance: trace.Assumed},
		{Text: "III", Values: []float64{2e-4}, Provenance: trace.Assumed},
		{Text: "II or better", Values: []float64{2e-5}, Provenance: trace.Assumed},
	}}

func (edition) Quantities() []*trace.Quantity { return quantities }
func (edition) Tables() []*trace.Table        { return []*trace.Table{injuries} }
func (edition) Reads() []string {
	return []string{"/flash_density/ground_flashes_per_km2_year", "/structures/*/parts", "/structures/*/lps"}
}

func (edition) Reach() risk.Reach {
	return risk.Reach{Slope: 2, Near: 250, LineDirect: 5, LineNear: 50}
}

func (edition) Clause(field string) string {
	if field == "lps" {
		return rules + "Table 1"
	}
	return ""
}

func (edition) Component(risk.Component) (symbol, remedy string) { return "R_X", "invented" }

func (edition) Validate(in *risk.Input) (faults []risk.Violation) {
	if in.FlashDensity.NG > 50 {
		faults = append(faults, risk.Violation{Rule: risk.RuleOutOfRange, Pointer: "/flash_density/ground_flashes_per_km2_year",
			Reason: "more than 50; allowed: up to 50", Clause: rules + "1"})
	}
	return faults
}

func (e edition) Assess(in *risk.Input, t *trace.Trace) (risk.Result, error) {
	r := risk.Result{NG: in.FlashDensity.NG,
		Structures: make([]risk.StructureResult, len(in.Structures)), Lines: make([]risk.LineResult, len(in.Lines))}
	for i := range in.Lines {
		for _, s := range in.Lines[i].Sections {
			r.Lines[i].DirectArea += 2 * e.Reach().LineDirect * s.Length
		}
	}
	t.Given(density, r.NG)
	for i := range in.Structures {
		s, out := &in.Structures[i], &r.Structures[i]
		t.Enter(s.ID, "/structures", i)
		out.DirectArea, out.NearArea = t.Given(area, s.Areas.Direct), s.Areas.Near
		out.Direct = t.Set(events, r.NG*out.DirectArea*1e-6)
		out.Assessed = true
		life := &out.Risks[risk.HumanLife]
		life.Applies, life.Tolerable = true, 1e-5
		life.Total = t.Set(injury, out.Direct*t.Pick(probability, injuries, int(min(s.LPS, risk.LPSII)), 0))
		life.Components[risk.RA] = life.Total
		life.Zones = make([]risk.ZoneRisk, len(s.Zones))
		t.Leave()
	}
	return r, nil
}

func (edition) CostOfLoss(_, _, _, _, _ float64, _ *trace.Trace) risk.Cost { return risk.Cost{} }

func (e edition) Evaluator(in *risk.Input, structure int) risk.Evaluator {
	r, _ := e.Assess(in, nil)
	return evaluator{r.Structures[structure].Direct, in.Structures[structure].LPS}
}

type evaluator struct {
	events float64
	lps    risk.LPS
}

func (e evaluator) Risks(m *risk.Measures) (r [risk.Losses]float64) {
	r[risk.HumanLife] = e.events * injuries.Rows[min(max(m.LPS, e.lps), risk.LPSII)].Values[0]
	return r
}

// site is invented: a mast of 10 m and a line of 100 m.
const site = `{"name": "invented", "edition": "invented-1", "location": {"latitude": -5, "longitude": 20},
	"flash_density": {"ground_flashes_per_km2_year": 4},
	"structures": [{"id": "mast", "parts": [{"geometry": {"type": "Point", "coordinates": [20, -5]}, "height_m": 10}]}],
	"lines": [{"id": "supply", "structure": "mast", "length_m": 100}]}`

// register puts the edition into the list for one test.
func register(t *testing.T) {
	before := assess.Editions
	assess.Editions = append(slices.Clip(before), edition{})
	t.Cleanup(func() { assess.Editions = before })
}

func run(t *testing.T, body string, sheet *trace.Trace) (*wire.Result, []risk.Violation) {
	t.Helper()
	in, ok := wire.Decode([]byte(body))
	if !ok {
		t.Fatal("the site is not decoded")
	}
	answer, faults := assess.Run(in.Core(), sheet)
	if len(faults) > 0 {
		return nil, faults
	}
	return answer.Document(in), nil
}

// The values follow from the invented rules by hand: A_D is a disc of 2 x 10 m, A_M one of 250 m, N_D is 4e-6 A_D, R_1 is
// 0.02 N_D. An LPS of class IV leaves 1.005e-5, more than 1e-5; class III suffices.
func TestInventedEdition(t *testing.T) {
	register(t)
	sheet := trace.New(100)
	result, faults := run(t, site, sheet)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	mast, life := &result.Structures[0], result.Structures[0].Risks.HumanLife
	for _, v := range []struct {
		name      string
		got, want float64
	}{
		{"A_D", mast.Area.Direct, math.Pi * 20 * 20},
		{"A_M", mast.Area.Near, math.Pi * 250 * 250},
		{"N_D", mast.Events.Direct, 5.026548e-3},
		{"R_1", life.Total, 1.0053096e-4},
		{"A_L", result.Lines[0].Area.Direct, 1000},
	} {
		if math.Abs(v.got/v.want-1) > 1e-6 {
			t.Errorf("%s is %v, want %v", v.name, v.got, v.want)
		}
	}
	if result.Edition != "invented-1" || life.Acceptable || !result.Recommendation.Sufficient {
		t.Errorf("edition %s, acceptable %v, %+v", result.Edition, life.Acceptable, result.Recommendation)
	}
	if err := sheet.Check(); err != nil {
		t.Error(err)
	}
	if !slices.ContainsFunc(result.Recommendation.Measures.Structures, func(m wire.StructureMeasures) bool { return m.LPS == risk.LPSIII }) {
		t.Errorf("class III is not recommended: %+v", result.Recommendation)
	}
}

// Clauses of defaults are those of the edition, and where it has none the default is ours.
func TestClausesOfInventedEdition(t *testing.T) {
	register(t)
	result, _ := run(t, site, nil)
	clauses := map[string]string{}
	for _, a := range result.Assumptions {
		clauses[a.Pointer] = a.Clause
	}
	for pointer, want := range map[string]string{
		"/structures/0/lps":          "Invented rules 1, Table 1",
		"/structures/0/surroundings": "levinward default, common practice, no published source",
	} {
		if clauses[pointer] != want {
			t.Errorf("%s: clause %q, want %q", pointer, clauses[pointer], want)
		}
	}
}

// An edition finds faults of its own, and without its entry in the list it is none.
func TestFaultsOfInventedEdition(t *testing.T) {
	if _, faults := run(t, site, nil); len(faults) != 1 || faults[0].Rule != risk.RuleUnknownEdition {
		t.Errorf("not in the list: %v", faults)
	}
	register(t)
	const often = `{"name": "invented", "edition": "invented-1", "location": {"latitude": -5, "longitude": 20},
		"flash_density": {"ground_flashes_per_km2_year": 51},
		"structures": [{"id": "mast", "parts": [{"geometry": {"type": "Point", "coordinates": [20, -5]}, "height_m": 10}]}]}`
	if _, faults := run(t, often, nil); len(faults) != 1 || faults[0].Clause != "Invented rules 1, 1" {
		t.Errorf("N_G of 51: %v", faults)
	}
	if assess.Editions[0].ID() != ed2.ID {
		t.Error("edition 2 is not the first of the list")
	}
}
