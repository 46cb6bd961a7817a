// Package trace records how each value of a computation came about: its symbol,
// unit, clause and formula, the values it was computed from and the row of the
// table it was read from.
//
// A Trace is a nil-safe recorder. Computing code calls it at every value and
// gets the value back; with a nil Trace nothing is recorded and nothing is
// allocated.
//
//	CD := t.Pick(cd, locationFactor, int(s.Surroundings), 0)
//	ND := t.Set(nd, NG*AD*CD*1e-6)
package trace

import (
	"errors"
	"strconv"
)

// Provenance says how far a number can be trusted.
type Provenance uint8

// The marks a value can carry.
const (
	Given           Provenance = iota // supplied by the user
	SecondarySource                   // read in a public secondary source
	Memory                            // from memory of the standard, not checked against a copy
	CommonPractice                    // a fact of the trade without a published source
	Assumed                           // a default taken because the user gave nothing
	Computed                          // follows from a formula that has itself been read in a secondary source
	Checked                           // compared with the printed standard by a reader who is named; see Review
)

var provenanceNames = [...]string{"given", "secondary_source", "memory", "common_practice", "assumed", "computed", "checked"}

func (p Provenance) String() string { return provenanceNames[p] }

// MarshalText gives the name used in documents.
func (p Provenance) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// UnmarshalText takes a name that MarshalText gave.
func (p *Provenance) UnmarshalText(b []byte) error {
	for i, n := range provenanceNames {
		if n == string(b) {
			*p = Provenance(i)
			return nil
		}
	}
	return errors.New("unknown provenance " + strconv.Quote(string(b)))
}

// Quantity is a kind of value: what it is called, in which unit it is given and
// by which clause and formula it is computed. Quantities are package variables;
// a branch of a clause has a quantity of its own.
type Quantity struct {
	Symbol     string      // as the standard prints it, "N_D"
	Name       string      // in words
	Unit       string      // "1/a", "m2", "" for a pure number
	Clause     string      // document and clause
	Expr       string      // formula over the symbols of In; empty for given and table values
	In         []*Quantity // what the formula uses; each symbol once
	Provenance Provenance  // of the formula, or of the given value
	Reads      string      // input field, relative to the scope's record or, after a slash, to the input; empty where none is read
	// BranchOf is the quantity this one is a branch of: where a formula uses that
	// quantity, a step of any of its branches serves.
	BranchOf *Quantity

	id int32
}

// Table is a printed table, laid out as printed.
type Table struct {
	Number  string // "A.1"
	Title   string
	Clause  string
	Symbols []string // one per column
	Rows    []Row
}

// Row is one line of a table.
type Row struct {
	Text       string
	Values     []float64
	Provenance Provenance
	Remark     string // "recollections differ: …" or "row added: …"; empty for most
}

// Column is the name of a column; empty where the table has none, as a list of preferred values.
func (t *Table) Column(i int) string {
	if i >= len(t.Symbols) {
		return ""
	}
	return t.Symbols[i]
}

// Step is one recorded value.
type Step struct {
	Quantity *Quantity
	Table    *Table // nil unless the value was read from a table
	Value    float64
	Note     string // for a given or assumed value: where it comes from
	Scope    int32
	Row, Col int16

	from, fromEnd int32
	previous      int32 // step before this one of the same quantity, -1 at the first
}

// scope is a place in the site that values belong to; its path and pointer are written out only when asked for.
type scope struct {
	name, field   string
	index, parent int32 // index into the collection field names, -1 for a field that is a record itself
}

// Trace collects steps. New makes one; a nil *Trace records nothing.
type Trace struct {
	Steps []Step

	scopes []scope
	arena  []int32 // indices into Steps, referred to by Step.from
	scope  int32
	last   []int32 // newest step of each quantity, by quantity id, +1
	taken  []int32 // number of steps already taken by a collecting quantity, by its id

	weakest []int32 // of the first steps: the weakest step each rests on, see Rests
	reviews *Reviews
	silent  bool // looks values up and records nothing
}

// quantities counts the numbered quantities; it changes only while packages are initialised.
var quantities int32

// Number gives each quantity the index a Trace finds it by. A package calls it
// once, from a variable or init, with all its quantities.
func Number(qs ...*Quantity) []*Quantity {
	for _, q := range qs {
		q.number()
	}
	return qs
}

func (q *Quantity) number() int32 {
	switch {
	case q.id != 0:
	case q.BranchOf != nil:
		q.id = q.BranchOf.number()
	default:
		quantities++
		q.id = quantities
	}
	return q.id
}

// New returns an empty trace with room for the given number of steps.
func New(steps int) *Trace {
	return &Trace{
		Steps:  make([]Step, 0, steps),
		arena:  make([]int32, 0, 3*steps),
		last:   make([]int32, quantities+1),
		taken:  make([]int32, quantities+1),
		scopes: append(make([]scope, 0, 1+steps/16), scope{parent: -1}),
	}
}

// Reset empties the trace and keeps its room, for the next computation.
func (t *Trace) Reset() {
	clear(t.Steps) // lets go of notes
	t.Steps, t.arena, t.scopes, t.scope, t.reviews = t.Steps[:0], t.arena[:0], t.scopes[:1], 0, nil
	t.weakest = t.weakest[:0]
	clear(t.last)
	clear(t.taken)
}

// With returns a trace that looks table values up among the reviews first. A trace that records goes on
// recording; nil stays nil where there are no reviews, else it becomes a trace that records nothing.
func (t *Trace) With(r *Reviews) *Trace {
	switch {
	case t != nil:
		t.reviews = r
	case r != nil:
		return &Trace{reviews: r, silent: true}
	}
	return t
}

// Quiet returns a trace that looks up the same reviews and records nothing.
func (t *Trace) Quiet() *Trace {
	if t == nil {
		return nil
	}
	return (*Trace)(nil).With(t.reviews)
}

// Records reports whether steps are kept.
func (t *Trace) Records() bool { return t != nil && !t.silent }

// Value is the table value in use: the printed one where a reader has reviewed it. Nothing is recorded.
func (t *Trace) Value(table *Table, row, col int) float64 {
	if t == nil {
		return table.Rows[row].Values[col]
	}
	return t.reviews.Value(table, row, col)
}

// Enter makes a scope below the current one the current one. The name is one
// part of the path. The record it stands for is entry index of the named
// collection: of the enclosing scope's record, or of the input itself where the
// collection begins with a slash; without a collection it is the enclosing record.
func (t *Trace) Enter(name, collection string, index int) {
	if t.Records() {
		t.enter(scope{name, collection, int32(index), t.scope})
	}
}

// EnterField makes a scope below the current one the current one, for a field
// of the enclosing record that is a record itself.
func (t *Trace) EnterField(name, field string) {
	if t.Records() {
		t.enter(scope{name, field, -1, t.scope})
	}
}

func (t *Trace) enter(s scope) {
	t.scopes = append(t.scopes, s)
	t.scope = int32(len(t.scopes) - 1)
}

// Scopes is the number of scopes; Step.Scope counts them from 0, the site itself.
func (t *Trace) Scopes() int { return len(t.scopes) }

// ScopeName is the path of a scope, "/clinic/zone-2".
func (t *Trace) ScopeName(i int32) string {
	if i == 0 {
		return "/"
	}
	s := &t.scopes[i]
	if s.parent == 0 {
		return "/" + s.name
	}
	return t.ScopeName(s.parent) + "/" + s.name
}

// ScopePointer points to the record a scope stands for in the input (RFC 6901); empty for the site itself.
func (t *Trace) ScopePointer(i int32) string {
	if i == 0 {
		return ""
	}
	s := &t.scopes[i]
	switch {
	case s.field == "":
		return t.ScopePointer(s.parent)
	case s.index < 0:
		return t.ScopePointer(s.parent) + "/" + s.field
	case s.field[0] == '/':
		return s.field + "/" + strconv.Itoa(int(s.index))
	}
	return t.ScopePointer(s.parent) + "/" + s.field + "/" + strconv.Itoa(int(s.index))
}

// Leave returns to the enclosing scope.
func (t *Trace) Leave() {
	if t.Records() {
		t.scope = t.scopes[t.scope].parent
	}
}

// Set records a computed value with the newest step of each quantity it uses, and returns it.
func (t *Trace) Set(q *Quantity, v float64) float64 {
	if !t.Records() {
		return v
	}
	from := int32(len(t.arena))
	for _, in := range q.In {
		if i := t.last[in.id]; i > 0 {
			t.arena = append(t.arena, i-1)
		}
	}
	t.add(Step{Quantity: q, Value: v, from: from, fromEnd: int32(len(t.arena))})
	return v
}

// Collect records a value computed over several steps of one quantity ("sum(x)",
// "prod(x)", "max(x)"): all steps of its first input recorded since the last time q was
// collected, and the newest step of each further input.
func (t *Trace) Collect(q *Quantity, v float64) float64 {
	if !t.Records() {
		return v
	}
	from := int32(len(t.arena))
	many := q.In[0]
	for i := t.last[many.id] - 1; i >= t.taken[q.id]; i = t.Steps[i].previous {
		t.arena = append(t.arena, i)
	}
	for l, r := from, int32(len(t.arena))-1; l < r; l, r = l+1, r-1 {
		t.arena[l], t.arena[r] = t.arena[r], t.arena[l]
	}
	for _, in := range q.In[1:] {
		if i := t.last[in.id]; i > 0 {
			t.arena = append(t.arena, i-1)
		}
	}
	t.add(Step{Quantity: q, Value: v, from: from, fromEnd: int32(len(t.arena))})
	t.taken[q.id] = int32(len(t.Steps)) - 1
	return v
}

// Begin makes the next Collect of q start from here.
func (t *Trace) Begin(q *Quantity) {
	if t.Records() {
		t.taken[q.id] = int32(len(t.Steps))
	}
}

// Given records a value of the input.
func (t *Trace) Given(q *Quantity, v float64) float64 {
	if t.Records() {
		t.add(Step{Quantity: q, Value: v})
	}
	return v
}

// Noted records a value with a remark on where it comes from.
func (t *Trace) Noted(q *Quantity, v float64, note string) float64 {
	if t.Records() {
		t.Set(q, v)
		t.Steps[len(t.Steps)-1].Note = note
	}
	return v
}

// Absent records 0 for a quantity that does not apply here, with the reason. Nothing rests on its mark.
func (t *Trace) Absent(q *Quantity, note string) float64 {
	if t.Records() {
		t.add(Step{Quantity: q, Note: note, Row: absentRow})
	}
	return 0
}

// absentRow in place of a row marks a step of Absent.
const absentRow = -1

// Pick reads a table, records the row and returns the value.
func (t *Trace) Pick(q *Quantity, table *Table, row, col int) float64 {
	v := t.Value(table, row, col)
	if t.Records() {
		t.add(Step{Quantity: q, Value: v, Table: table, Row: int16(row), Col: int16(col)})
	}
	return v
}

// Mark is a recorded step that can be recalled.
type Mark int32

// Last returns the newest step of a quantity.
func (t *Trace) Last(q *Quantity) Mark {
	if !t.Records() {
		return 0
	}
	return Mark(t.last[q.id])
}

// Recall makes an earlier step the newest of its quantity again, for a value that was computed in another scope.
func (t *Trace) Recall(m Mark) {
	if t.Records() && m > 0 {
		t.last[t.Steps[m-1].Quantity.id] = int32(m)
	}
}

// Pointer is the place in the input that step i read, an RFC 6901 pointer; empty where it read none.
func (t *Trace) Pointer(i int) string {
	s := &t.Steps[i]
	switch field := s.Quantity.Reads; {
	case field == "":
		return ""
	case field[0] == '/':
		return field
	default:
		return t.ScopePointer(s.Scope) + "/" + field
	}
}

// From lists the steps that step i was computed from, as indices into Steps.
func (t *Trace) From(i int) []int32 {
	s := &t.Steps[i]
	return t.arena[s.from:s.fromEnd]
}

func (t *Trace) add(s Step) {
	s.Scope = t.scope
	s.previous = t.last[s.Quantity.id] - 1
	t.Steps = append(t.Steps, s)
	t.last[s.Quantity.id] = int32(len(t.Steps))
}
