package wire_test

import (
	"encoding/json"
	"testing"

	"levinward/api/wire"
	"levinward/risk/trace"
)

// The names of the marks in documents, written down from the contract (Step.provenance).
var markNames = map[trace.Provenance]string{
	trace.Given: "given", trace.SecondarySource: "secondary_source", trace.Memory: "memory", trace.CommonPractice: "common_practice",
	trace.Assumed: "assumed", trace.Computed: "computed", trace.Checked: "checked",
}

// TestMarksInWorksheet writes one step for each mark of a formula and for each mark of a table row, and reads each mark
// back: from the stored worksheet and from one that is not stored.
func TestMarksInWorksheet(t *testing.T) {
	table := &trace.Table{Number: "X.1", Title: "invented", Clause: "invented", Symbols: []string{"x"}}
	var quantities []*trace.Quantity
	var want []string
	sheet := trace.New(0)
	for mark, name := range markNames {
		table.Rows = append(table.Rows, trace.Row{Text: name, Values: []float64{float64(mark)}, Provenance: mark})
		q := &trace.Quantity{Symbol: "F_" + name, Name: name, Clause: "invented", Provenance: mark}
		quantities = append(quantities, q)
		sheet.Given(q, 1)
		want = append(want, name)
	}
	for row := range table.Rows { // the quantity carries another mark than the row, which counts
		q := &trace.Quantity{Symbol: "T_" + table.Rows[row].Text, Name: "of the table", Clause: "invented", Provenance: (table.Rows[row].Provenance + 1) % 7}
		quantities = append(quantities, q)
		sheet.Pick(q, table, row, 0)
		want = append(want, table.Rows[row].Text)
	}
	definitions, err := wire.NewDefinitions(quantities, []*trace.Table{table}, nil)
	if err != nil {
		t.Fatal(err)
	}
	stored, err := definitions.Encode(sheet)
	if err != nil {
		t.Fatal(err)
	}
	read, err := wire.ReadWorksheet("invented", definitions.Document, stored, nil, json.RawMessage(`{}`))
	if err != nil {
		t.Fatal(err)
	}
	for kind, steps := range map[string][]wire.WorksheetStep{"stored": read.Steps, "not stored": wire.Steps(sheet)} {
		if len(steps) != len(want) {
			t.Fatalf("%s: %d steps", kind, len(steps))
		}
		for i, s := range steps {
			if s.Provenance != want[i] {
				t.Errorf("%s: %s is marked %s, want %s", kind, s.Symbol, s.Provenance, want[i])
			}
		}
	}
}

// TestMarkOfAssumedValues: a value that a default supplied is assumed, one that stands in the input is given, and a row of
// a table keeps its mark whoever chose it.
func TestMarkOfAssumedValues(t *testing.T) {
	table := &trace.Table{Number: "X.1", Clause: "invented", Symbols: []string{"x"}, Rows: []trace.Row{{Text: "row", Values: []float64{1}, Provenance: trace.Memory}}}
	reads := func(symbol, field string) *trace.Quantity {
		return &trace.Quantity{Symbol: symbol, Name: symbol, Clause: "invented", Provenance: trace.Given, Reads: field}
	}
	given, absent, row := reads("g", "/given"), reads("a", "/absent"), reads("r", "/chosen")
	sheet := trace.New(0)
	sheet.Given(given, 1)
	sheet.Given(absent, 2)
	sheet.Pick(row, table, 0, 0)
	definitions, err := wire.NewDefinitions([]*trace.Quantity{given, absent, row}, []*trace.Table{table}, nil)
	if err != nil {
		t.Fatal(err)
	}
	stored, err := definitions.Encode(sheet)
	if err != nil {
		t.Fatal(err)
	}
	assumed := []wire.Assumption{{Pointer: "/given", Value: "9", Reason: "not so"}, {Pointer: "/absent", Value: "2", Reason: "not given"}, {Pointer: "/chosen", Value: "row", Reason: "not given"}}
	read, err := wire.ReadWorksheet("invented", definitions.Document, stored, assumed, json.RawMessage(`{"given": 1}`))
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct{ mark, note string }{{"given", ""}, {"assumed", "assumed 2: not given"}, {"memory", "assumed row: not given"}} {
		if s := read.Steps[i]; s.Provenance != want.mark || s.Note != want.note {
			t.Errorf("step %s: mark %q, note %q; want %+v", s.Symbol, s.Provenance, s.Note, want)
		}
	}
}
