package wire_test

import (
	"os"
	"testing"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk/trace"
)

// rank numbers the marks from strong to weak, written down here and not taken from the program.
var rank = map[string]int{"given": 0, "checked": 1, "secondary_source": 2, "computed": 3, "memory": 4, "common_practice": 5, "assumed": 6}

// The health post, an invented site: what a step says it rests on is found again by walking its inputs, and what the
// answer says of its risks and ratings agrees with the worksheet.
func TestMarksPropagate(t *testing.T) {
	text, err := os.ReadFile("../../testdata/demo/health-post.json")
	if err != nil {
		t.Fatal(err)
	}
	in, ok := wire.Decode(text)
	if !ok {
		t.Fatal("the demonstration is not decoded")
	}
	tr := trace.New(1000)
	answer, faults := assess.Run(in.Core(), tr)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	doc := answer.Document(in)
	sheet := readBack(t, tr, doc, text)
	own := ownMarks(tr)
	for i := range sheet.Steps {
		s := &sheet.Steps[i]
		if got, want := s.Weakest.String(), weakestOf(sheet.Steps, own, i, map[int]string{}); got != want {
			t.Errorf("step %d, %s: rests on %s, its inputs say %s", i, s.Symbol, got, want)
		}
		if mark := own[s.WeakestStep]; mark != s.Weakest.String() {
			t.Errorf("step %d names step %d, whose mark is %s", i, s.WeakestStep, mark)
		}
	}
	for i := range doc.Structures {
		// N_D is from memory (A.2.4), so R_1 cannot be trusted more.
		if r := doc.Structures[i].Risks.HumanLife; r != nil && (r.RestsOn == nil || rank[r.RestsOn.Provenance.String()] < rank["memory"] || r.RestsOn.Value == "") {
			t.Errorf("R_1 of %s must say that it rests on a remembered value: %+v", doc.Structures[i].ID, r.RestsOn)
		}
	}
	for _, e := range doc.Schedule {
		for _, b := range e.Basis {
			if b.RestsOn == nil || rank[b.RestsOn.Provenance.String()] < rank[b.Provenance.String()] {
				t.Errorf("%s of %s: rests on %+v, its reason is %s", b.Field, e.Line, b.RestsOn, b.Provenance)
			}
		}
	}
	for _, a := range doc.Assumptions {
		if a.Provenance == trace.Given {
			t.Errorf("the assumption %s has no mark", a.Pointer)
		}
	}
}

func readBack(t *testing.T, tr *trace.Trace, doc *wire.Result, input []byte) *wire.Worksheet {
	t.Helper()
	qs, ts := definitions()
	defs, err := wire.NewDefinitions(qs, ts, nil)
	if err != nil {
		t.Fatal(err)
	}
	stored, err := defs.Encode(tr)
	if err != nil {
		t.Fatal(err)
	}
	sheet, err := wire.ReadWorksheet(doc.Edition, defs.Document, stored, doc.Assumptions, input)
	if err != nil {
		t.Fatal(err)
	}
	return sheet
}

// ownMarks are the marks of table rows and quantities themselves; a value that does not apply counts as given.
func ownMarks(tr *trace.Trace) []string {
	marks := make([]string, len(tr.Steps))
	for i := range tr.Steps {
		s := &tr.Steps[i]
		switch {
		case s.Table != nil:
			marks[i] = s.Table.Rows[s.Row].Provenance.String()
		case s.Row < 0:
			marks[i] = "given"
		default:
			marks[i] = s.Quantity.Provenance.String()
		}
	}
	return marks
}

func weakestOf(steps []wire.WorksheetStep, own []string, i int, known map[int]string) string {
	if w, ok := known[i]; ok {
		return w
	}
	weakest := own[i]
	for _, from := range steps[i].Inputs {
		if w := weakestOf(steps, own, from, known); rank[w] > rank[weakest] {
			weakest = w
		}
	}
	known[i] = weakest
	return weakest
}

// A reviewed value carries who read it and when into the worksheet, and its mark into what rests on it.
func TestReviewedValuesInWorksheet(t *testing.T) {
	text, err := os.ReadFile("../../testdata/demo/smallest.json")
	if err != nil {
		t.Fatal(err)
	}
	in, _ := wire.Decode(text)
	qs, ts := definitions()
	reviews := trace.NewReviews("hash")
	for _, table := range ts {
		for row := range table.Rows {
			for col, v := range table.Rows[row].Values {
				reviews.SetCell(table, row, col, trace.Review{Value: v, Agrees: true, By: "R. Reader (invented)", Date: "2026-11-30"})
			}
		}
	}
	for _, q := range qs {
		reviews.SetFormula(q, trace.Review{Agrees: true, By: "R. Reader (invented)", Date: "2026-11-30"})
	}
	tr := trace.New(1000)
	answer, faults := assess.Run(in.CoreWith(reviews), tr)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	doc := answer.Document(in)
	if r := doc.Structures[0].Risks.HumanLife.RestsOn; r == nil || r.Provenance != trace.Checked {
		t.Errorf("with every value and formula checked R_1 rests on %+v", r)
	}
	defs, err := wire.NewDefinitions(qs, ts, reviews)
	if err != nil {
		t.Fatal(err)
	}
	stored, err := defs.Encode(tr)
	if err != nil {
		t.Fatal(err)
	}
	sheet, err := wire.ReadWorksheet(doc.Edition, defs.Document, stored, doc.Assumptions, text)
	if err != nil {
		t.Fatal(err)
	}
	tables := 0
	for _, s := range sheet.Steps {
		if s.Table == "" {
			continue
		}
		tables++
		if s.Provenance != "checked" || s.CheckedBy != "R. Reader (invented)" || s.CheckedOn != "2026-11-30" {
			t.Errorf("step %d from table %s: %s, %q, %q", s.Index, s.Table, s.Provenance, s.CheckedBy, s.CheckedOn)
		}
	}
	if tables < 10 {
		t.Errorf("only %d values come from tables", tables)
	}
}
