package trace

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
)

// Quantities of invented formulas. last and branch are numbered after the others.
var (
	side   = &Quantity{Symbol: "a", Reads: "side_m"}
	width  = &Quantity{Symbol: "b"}
	branch = &Quantity{Symbol: "b_other", BranchOf: width}
	area   = &Quantity{Symbol: "S", Expr: "a*b", In: []*Quantity{side, width}}
	total  = &Quantity{Symbol: "S_t", Expr: "sum(S) + a", In: []*Quantity{area, side}, Reads: "/total"}
	zero   = &Quantity{Symbol: "Z", Expr: "0"}
	_      = Number(side, width, branch, area, total, zero)
)

func TestNumbers(t *testing.T) {
	if branch.id != width.id {
		t.Errorf("a branch has number %d, its quantity %d", branch.id, width.id)
	}
	seen := map[int32]bool{0: true}
	for _, q := range []*Quantity{side, width, area, total, zero} {
		if seen[q.id] {
			t.Errorf("number %d of %s is taken", q.id, q.Symbol)
		}
		seen[q.id] = true
	}
	newest := &Quantity{Symbol: "n", Expr: "sum(a)", In: []*Quantity{side}}
	Number(newest)
	tr := New(0)
	tr.Given(side, 4)
	tr.Collect(newest, 4) // there is room for the quantity that was numbered last
	if got := tr.From(1); !slices.Equal(got, []int32{0}) {
		t.Errorf("from %v", got)
	}
	before := quantities
	parent, one := &Quantity{Symbol: "p"}, &Quantity{Symbol: "c"}
	one.BranchOf = parent
	Number(one, side)
	if parent.id != one.id || parent.id != before+1 || quantities != before+1 {
		t.Errorf("numbers %d, %d after %d; %d in all", parent.id, one.id, before, quantities)
	}
}

func TestSetKeepsTheNewestInputs(t *testing.T) {
	tr := New(0)
	tr.Given(side, 1)
	tr.Given(width, 5)
	tr.Given(side, 2)
	tr.Given(branch, 3)
	if v := tr.Set(area, 6); v != 6 {
		t.Errorf("Set gives %v", v)
	}
	if got := tr.From(4); !slices.Equal(got, []int32{2, 3}) {
		t.Errorf("from %v, want the newest a and the newest branch of b", got)
	}
	bare := New(0)
	bare.Set(area, 6)
	if got := bare.From(0); len(got) > 0 {
		t.Errorf("from %v although nothing was recorded", got)
	}
}

func TestCollect(t *testing.T) {
	tr := New(0)
	tr.Given(side, 1)
	for _, v := range []float64{1, 2, 3, 4, 5} {
		tr.Set(area, v)
	}
	if v := tr.Collect(total, 16); v != 16 {
		t.Errorf("Collect gives %v", v)
	}
	tr.Set(area, 7) // directly after
	tr.Collect(total, 8)
	tr.Set(area, 100)
	tr.Begin(total)
	tr.Set(area, 8) // directly after
	tr.Set(area, 9)
	tr.Collect(total, 18)
	tr.Collect(total, 1)
	for i, want := range map[int][]int32{6: {1, 2, 3, 4, 5, 0}, 8: {7, 0}, 12: {10, 11, 0}, 13: {0}} {
		if got := tr.From(i); !slices.Equal(got, want) {
			t.Errorf("step %d is from %v, want %v", i, got, want)
		}
	}
	if err := tr.Check(); err == nil || strings.Count(err.Error(), "b has 0 values") != 9 {
		t.Errorf("areas without their width: %v", err)
	}
	first := New(0)
	first.Set(area, 1) // the step of index 0
	first.Collect(total, 1)
	if got := first.From(1); !slices.Equal(got, []int32{0}) {
		t.Errorf("from %v, want the first step, and no side", got)
	}
}

func TestRecall(t *testing.T) {
	tr := New(0)
	tr.Recall(tr.Last(side)) // nothing yet
	tr.Given(side, 1)
	old := tr.Last(side)
	tr.Given(width, 3)
	tr.Given(total, 4)
	tr.Given(side, 2)
	if old == tr.Last(side) || tr.Last(area) != 0 {
		t.Errorf("last steps %v, %v, %v", old, tr.Last(side), tr.Last(area))
	}
	tr.Recall(old)
	tr.Set(area, 3)
	if got := tr.From(4); !slices.Equal(got, []int32{0, 1}) {
		t.Errorf("from %v, want the recalled step", got)
	}
}

func TestPickAndNoted(t *testing.T) {
	table := &Table{Number: "7", Rows: []Row{{Values: []float64{1, 2}}, {Values: []float64{3, 4}}}}
	tr := New(0)
	if v := tr.Pick(side, table, 1, 0); v != 3 {
		t.Errorf("row 1, column 0 is %v", v)
	}
	if s := tr.Steps[0]; s.Table != table || s.Row != 1 || s.Col != 0 || s.Value != 3 {
		t.Errorf("recorded %+v", s)
	}
	if v := tr.Noted(width, 5, "measured"); v != 5 || tr.Steps[1].Note != "measured" || tr.Steps[0].Note != "" {
		t.Errorf("noted %v, %+v", v, tr.Steps)
	}
}

func TestNothingRecordedWithoutTrace(t *testing.T) {
	var tr *Trace
	table := &Table{Rows: []Row{{Values: []float64{1, 2}}}}
	tr.Enter("x", "y", 1)
	tr.EnterField("x", "y")
	tr.Leave()
	tr.Begin(total)
	tr.Recall(3)
	got := []float64{tr.Set(area, 1), tr.Collect(total, 2), tr.Given(side, 3), tr.Noted(side, 4, "n"), tr.Pick(side, table,
		0, 1), float64(tr.Last(side))}
	if want := []float64{1, 2, 3, 4, 2, 0}; !slices.Equal(got, want) {
		t.Errorf("values %v, want %v", got, want)
	}
	if n := testing.AllocsPerRun(10, func() { tr.Set(area, 1); tr.Pick(side, table, 0, 1); tr.Enter("a", "b", 0); tr.Leave() }); n > 0 {
		t.Errorf("%v allocations", n)
	}
}

func TestScopes(t *testing.T) {
	tr := New(0)
	type place struct{ name, record, reads, absolute string }
	var got []place
	note := func() {
		tr.Given(side, 1)
		tr.Given(total, 1)
		tr.Given(width, 1)
		n := len(tr.Steps)
		scope := tr.Steps[n-1].Scope
		if p := tr.Pointer(n - 1); p != "" {
			t.Errorf("a quantity that reads nothing points to %q", p)
		}
		got = append(got, place{tr.ScopeName(scope), tr.ScopePointer(scope), tr.Pointer(n - 3), tr.Pointer(n - 2)})
	}
	note()
	tr.Enter("clinic", "/structures", 2)
	note()
	tr.Enter("zone-2", "zones", 1)
	note()
	tr.EnterField("energy", "stress")
	note()
	tr.Enter("part", "", 0)
	note()
	tr.Leave()
	tr.Leave()
	tr.Leave()
	note()
	tr.Leave()
	note()
	tr.Enter("first", "/lines", 0)
	tr.Enter("section-1", "sections", 0)
	note()
	want := []place{
		{"/", "", "/side_m", "/total"},
		{"/clinic", "/structures/2", "/structures/2/side_m", "/total"},
		{"/clinic/zone-2", "/structures/2/zones/1", "/structures/2/zones/1/side_m", "/total"},
		{"/clinic/zone-2/energy", "/structures/2/zones/1/stress", "/structures/2/zones/1/stress/side_m", "/total"},
		{"/clinic/zone-2/energy/part", "/structures/2/zones/1/stress", "/structures/2/zones/1/stress/side_m", "/total"},
		{"/clinic", "/structures/2", "/structures/2/side_m", "/total"},
		{"/", "", "/side_m", "/total"},
		{"/first/section-1", "/lines/0/sections/0", "/lines/0/sections/0/side_m", "/total"},
	}
	if !slices.Equal(got, want) {
		t.Errorf("scopes %+v, want %+v", got, want)
	}
	if tr.Scopes() != 7 {
		t.Errorf("%d scopes, want the site and 6 below", tr.Scopes())
	}
}

func TestReset(t *testing.T) {
	tr := New(1)
	tr.Enter("a", "b", 0)
	tr.Given(side, 1)
	tr.Given(width, 1)
	tr.Set(area, 1)
	tr.Collect(total, 1)
	tr.Reset()
	if len(tr.Steps) != 0 || tr.Scopes() != 1 || tr.Last(side) != 0 {
		t.Errorf("%d steps, %d scopes, last %d after Reset", len(tr.Steps), tr.Scopes(), tr.Last(side))
	}
	tr.Set(area, 1)
	tr.Collect(total, 1)
	if got := tr.ScopeName(tr.Steps[0].Scope); got != "/" || !slices.Equal(tr.From(1), []int32{0}) || len(tr.From(0)) != 0 {
		t.Errorf("first step in %s, from %v; second from %v", got, tr.From(0), tr.From(1))
	}
}

// A trace with room for its steps does not allocate while it records up to three inputs a step and a scope in 16.
func TestRoom(t *testing.T) {
	const steps = 160
	tr := New(steps)
	n := testing.AllocsPerRun(5, func() {
		tr.Reset()
		for i := range steps {
			if i%16 == 0 {
				tr.Enter("a", "b", i)
			}
			switch {
			case i < 2:
				tr.Given([]*Quantity{side, width}[i], 1)
			default:
				tr.Set(area, 1)
			}
		}
	})
	if n > 0 {
		t.Errorf("%v allocations", n)
	}
}

func TestProvenanceNames(t *testing.T) {
	names := []string{"given", "secondary_source", "memory", "common_practice", "assumed", "computed", "checked"}
	for i, want := range names {
		text, err := json.Marshal(Provenance(i))
		if err != nil || string(text) != `"`+want+`"` || Provenance(i).String() != want {
			t.Errorf("%d is %s, %v", i, text, err)
		}
		var back Provenance
		if err := json.Unmarshal(text, &back); err != nil || back != Provenance(i) {
			t.Errorf("%s is read as %v, %v", text, back, err)
		}
	}
	p := Memory
	if err := p.UnmarshalText([]byte("rumour")); err == nil || !strings.Contains(err.Error(), `"rumour"`) || p != Memory {
		t.Errorf("an unknown name: %v, %v", p, err)
	}
}

func TestReviews(t *testing.T) {
	table, other := &Table{Rows: []Row{{Values: []float64{1, 2}}, {Values: []float64{3, 4}}}}, &Table{Rows: []Row{{Values: []float64{9}}}}
	var none *Reviews
	filled := NewReviews("hash")
	review := Review{Value: 30, By: "a reader", Date: "2026-01-02"}
	filled.SetCell(table, 1, 0, review)
	filled.SetCell(table, 0, 1, Review{Value: 2, Agrees: true})
	filled.SetFormula(area, Review{Agrees: true})
	if _, ok := none.Cell(table, 0, 0); ok {
		t.Error("a review without any")
	}
	if _, ok := none.Formula(area); ok {
		t.Error("a formula review without any")
	}
	if got, ok := filled.Cell(table, 1, 0); !ok || got != review {
		t.Errorf("cell %+v, %v", got, ok)
	}
	if _, ok := filled.Cell(other, 0, 0); ok {
		t.Error("a review of another table")
	}
	if got, ok := filled.Formula(area); !ok || !got.Agrees {
		t.Errorf("formula %+v, %v", got, ok)
	}
	if _, ok := filled.Formula(total); ok {
		t.Error("a review of another formula")
	}
	for _, c := range []struct {
		r        *Reviews
		table    *Table
		row, col int
		want     float64
	}{{none, table, 1, 0, 3}, {filled, table, 1, 0, 30}, {filled, table, 1, 1, 4}, {filled, table, 0, 1, 2}, {filled, other, 0, 0, 9}} {
		if got := c.r.Value(c.table, c.row, c.col); got != c.want {
			t.Errorf("value %d, %d is %v, want %v", c.row, c.col, got, c.want)
		}
	}
	if filled.Hash != "hash" {
		t.Errorf("hash %q", filled.Hash)
	}
}

func TestCheckAccepts(t *testing.T) {
	tr := New(0)
	tr.Enter("clinic", "/structures", 0)
	tr.Given(side, 2)
	tr.Given(branch, 3) // under the symbol of the quantity it is a branch of
	tr.Set(area, 6)
	tr.Set(area, 6)
	tr.Collect(total, 14)
	tr.Set(zero, 0)
	if err := tr.Check(); err != nil {
		t.Error(err)
	}
}

// Every kind of fault is found, with step, symbol and place, and none hides another.
func TestCheckFindsFaults(t *testing.T) {
	unused := &Quantity{Symbol: "u", Expr: "a", In: []*Quantity{side, width}}
	broken := &Quantity{Symbol: "w", Expr: "a*", In: []*Quantity{side}}
	Number(unused, broken)
	tr := New(0)
	tr.Given(side, math.NaN())
	tr.Given(side, math.Inf(1))
	tr.Enter("clinic", "/structures", 0)
	tr.Given(side, 2)
	tr.Set(area, 6)
	tr.Given(width, 3)
	tr.Set(area, 6*(1+1e-11))
	tr.Set(area, 6*(1-1e-11))
	tr.Set(area, 6*(1+1e-13)) // within the tolerance
	tr.Set(unused, 2)
	tr.Set(broken, 2)
	tr.Set(zero, 1e-20)
	err := tr.Check()
	if err == nil {
		t.Fatal("no fault")
	}
	want := []string{
		"step 0, a in /: value NaN", "step 1, a in /: value +Inf", "step 3, S in /clinic: symbol b has 0 values, wanted 1",
		"step 5, S in /clinic: recorded 6.00000000006, a*b gives 6", "step 6, S in /clinic: recorded 5.99999999994, a*b gives 6",
		"step 8, u in /clinic: declared input b is not in formula a", `step 9, w in /clinic: formula "a*": wanted a value at 2`,
		"step 10, Z in /clinic: recorded 1e-20, 0 gives 0",
	}
	if got := strings.Split(err.Error(), "\n"); !slices.Equal(got, want) {
		t.Errorf("faults:\n%s\nwant:\n%s", err, strings.Join(want, "\n"))
	}
}
