package spd

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// tester is what the helpers need of a test or of a property.
type tester interface {
	Helper()
	Errorf(format string, args ...any)
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

// Invented sites for the tests.

func aerial(length float64) []risk.Section { return []risk.Section{{Length: length}} }

func cable(length float64, environment risk.Environment) []risk.Section {
	return []risk.Section{{Installation: risk.Buried, Length: length, Environment: environment}}
}

func mains(sections []risk.Section) risk.Line {
	return risk.Line{ID: "supply", To: -1, Sections: sections, Withstand: 2.5,
		Electrical: risk.Electrical{Nominal: 230, Phases: 1, Neutral: true, SourceConnected: true}}
}

func array(length float64) risk.Line {
	return risk.Line{ID: "array", To: -1, Sections: cable(length, risk.Rural), Withstand: 1.5,
		Electrical: risk.Electrical{Current: risk.DC, OpenCircuit: 150, ShortCircuitSTC: 18}}
}

func roofArray(length float64) risk.Line {
	l := array(length)
	l.Electrical.ArrayPlace = risk.ArrayOnBuilding
	return l
}

func telephone() risk.Line {
	return risk.Line{ID: "telephone", To: -1, Service: risk.Telecom, Sections: aerial(1000), Withstand: 1.5}
}

func site1(s risk.Structure, lines ...risk.Line) *risk.Input {
	s.ID = "post"
	return &risk.Input{Structures: []risk.Structure{s}, Lines: lines}
}

var dwelling = risk.Structure{Occupancy: risk.Dwelling}

// schedule computes with a trace, lets the trace re-evaluate every formula and demands the same without one.
func schedule(t tester, in *risk.Input, NG float64, rec *risk.Recommendation) []Entry {
	t.Helper()
	tr := trace.New(200)
	entries := Schedule(in, &risk.Result{NG: NG}, rec, tr)
	if err := tr.Check(); err != nil {
		t.Fatal(err)
	}
	return entries
}

// first is the entry of the only line of a site.
func first(t tester, in *risk.Input, NG float64) Entry {
	t.Helper()
	return schedule(t, in, NG, nil)[0]
}

// withSPD is a recommendation that puts devices of the given levels at line 0 of structure 0.
func withSPD(bonding, coordinated risk.Level) *risk.Recommendation {
	return &risk.Recommendation{Needed: true, Sufficient: true, Set: risk.MeasureSet{Structures: []risk.StructureMeasures{{
		Measures: risk.Measures{Ends: []risk.EndMeasures{{Bonding: risk.SPD{Level: bonding}, Coordinated: risk.SPD{Level: coordinated}}}},
	}}}}
}

func has(e *Entry, g grounds) bool {
	for _, r := range e.Because {
		for _, want := range g.tell(nil) {
			if want == r || e.Obligation != NotRequired && notForThis+lowerFirst(want.Rule) == r.Rule {
				return true
			}
		}
	}
	return false
}

func mode(t tester, e *Entry, name string) Mode {
	t.Helper()
	for _, m := range e.Modes {
		if m.Mode == name {
			return m
		}
	}
	t.Fatalf("no mode %s in %+v", name, e.Modes)
	return Mode{}
}
