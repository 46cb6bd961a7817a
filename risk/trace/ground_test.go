package trace

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// The order of the marks, written down here and not read from the table of the program.
var fromStrongToWeak = []Provenance{Given, Checked, SecondarySource, Computed, Memory, CommonPractice, Assumed}

func TestOrderOfMarks(t *testing.T) {
	for i, a := range fromStrongToWeak {
		for j, b := range fromStrongToWeak {
			if a.WeakerThan(b) != (i > j) {
				t.Errorf("%v weaker than %v: %v", a, b, a.WeakerThan(b))
			}
		}
	}
}

// A value rests on the weakest of all that it was computed from, also through several steps; a value that does not apply
// has no mark, and a reviewed one is checked.
func TestRests(t *testing.T) {
	table := &Table{Number: "7", Clause: "Table 7", Symbols: []string{"x"}, Rows: []Row{{Text: "remembered", Values: []float64{2},
		Provenance: Memory}}}
	given, read := &Quantity{Symbol: "g"}, &Quantity{Symbol: "x", Clause: "Table 7"}
	absent := &Quantity{Symbol: "a", Provenance: CommonPractice}
	product := &Quantity{Symbol: "p", Name: "product", Clause: "4.2", Expr: "g*x+a", In: []*Quantity{given, read, absent},
		Provenance: SecondarySource}
	total := &Quantity{Symbol: "t", Name: "total", Clause: "4.3", Expr: "2*p", In: []*Quantity{product}, Provenance: SecondarySource}
	Number(given, read, absent, product, total)

	compute := func(r *Reviews) *Trace {
		tr := New(8).With(r)
		tr.Given(given, 3)
		tr.Pick(read, table, 0, 0)
		tr.Absent(absent, "does not apply")
		tr.Set(product, 6)
		tr.Set(total, 12)
		return tr
	}
	if g := ground(compute(nil), total); g.Provenance != Memory || g.Table != table || g.Value() != "Table 7, remembered, x" {
		t.Errorf("total rests on %v, %q", g.Provenance, g.Value())
	}
	reviewed := NewReviews("")
	reviewed.SetCell(table, 0, 0, Review{Value: 2, Agrees: true})
	if g := ground(compute(reviewed), total); g.Provenance != SecondarySource || g.Value() != "t, total (4.3)" {
		t.Errorf("with the table checked, total rests on %v, %q", g.Provenance, g.Value())
	}
	reviewed.SetFormula(product, Review{Agrees: true})
	reviewed.SetFormula(total, Review{Agrees: false}) // a disagreement confirms nothing
	if g := ground(compute(reviewed), product); g.Provenance != Checked {
		t.Errorf("the product rests on %v", g.Provenance)
	}
	if g := ground(compute(reviewed), total); g.Provenance != SecondarySource {
		t.Errorf("a formula that a reader disagrees with counts as %v", g.Provenance)
	}
	if g := ground(nil, total); g != (Ground{}) || g.Value() != "" {
		t.Error("nothing recorded, nothing known")
	}
}

func ground(t *Trace, q *Quantity) Ground { return t.Rests(t.Last(q)) }

// On any chain of steps the weakest equals that of a search through all of them.
func TestRestsOnAnyChain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var qs []*Quantity
		n := rapid.IntRange(1, 12).Draw(t, "steps")
		for i := range n {
			q := &Quantity{Symbol: "q", Expr: "1", Provenance: Provenance(rapid.IntRange(0, int(Checked)).Draw(t, "mark"))}
			for j := range i {
				if rapid.Bool().Draw(t, "uses") {
					q.In = append(q.In, qs[j])
				}
			}
			qs = append(qs, q)
		}
		Number(qs...)
		tr := New(n)
		for _, q := range qs {
			tr.Set(q, 1)
		}
		for _, q := range qs {
			if got, want := ground(tr, q).Provenance, weakestBelow(q); got != want {
				t.Fatalf("rests on %v, the search says %v", got, want)
			}
		}
	})
}

func weakestBelow(q *Quantity) Provenance {
	weakest := q.Provenance
	for _, in := range q.In {
		if p := weakestBelow(in); slices.Index(fromStrongToWeak, p) > slices.Index(fromStrongToWeak, weakest) {
			weakest = p
		}
	}
	return weakest
}
