package wire

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"levinward/risk/trace"
)

// Definitions are the quantities and tables that worksheets refer to. They are
// stored once, so that a worksheet holds little more than its values, and an
// old worksheet stays readable without the program that wrote it.
type Definitions struct {
	Document []byte
	Hash     string

	quantities map[*trace.Quantity]int
	tables     map[*trace.Table]int
}

// definitionsDocument is the stored form.
type definitionsDocument struct {
	Quantities []QuantityDefinition `json:"quantities"`
	Tables     []TableDefinition    `json:"tables"`
}

// QuantityDefinition describes a quantity.
type QuantityDefinition struct {
	Symbol     string `json:"symbol"`
	Name       string `json:"name"`
	Unit       string `json:"unit"`
	Clause     string `json:"clause"`
	Formula    string `json:"formula,omitempty"`
	Provenance string `json:"provenance"`
	Reads      string `json:"reads,omitempty"`
	CheckedBy  string `json:"checked_by,omitempty"`
	CheckedOn  string `json:"checked_on,omitempty"`
}

// TableDefinition is a printed table.
type TableDefinition struct {
	Number  string          `json:"number"`
	Title   string          `json:"title"`
	Clause  string          `json:"clause"`
	Columns []string        `json:"columns"`
	Rows    []RowDefinition `json:"rows"`
}

// RowDefinition is one line of a printed table. Values are those in use, reviewed ones included.
type RowDefinition struct {
	Text       string              `json:"text"`
	Values     []float64           `json:"values"`
	Provenance string              `json:"provenance"`
	Remark     string              `json:"remark,omitempty"`
	Checked    []CheckedDefinition `json:"checked,omitempty"`
}

// CheckedDefinition says which value of a row a reader has compared with the printed standard, and when.
type CheckedDefinition struct {
	Column int    `json:"column"` // from 0
	By     string `json:"by"`
	On     string `json:"on"`
}

// Quantities describes quantities for a document, with the reviews of their formulas; reviews may be nil.
func Quantities(qs []*trace.Quantity, reviews *trace.Reviews) []QuantityDefinition {
	defs := make([]QuantityDefinition, len(qs))
	for i, q := range qs {
		d := QuantityDefinition{Symbol: q.Symbol, Name: q.Name, Unit: q.Unit, Clause: q.Clause, Formula: q.Expr, Provenance: q.Provenance.String(), Reads: q.Reads}
		if r, ok := reviews.Formula(q); ok && r.Agrees {
			d.Provenance, d.CheckedBy, d.CheckedOn = trace.Checked.String(), r.By, r.Date
		}
		defs[i] = d
	}
	return defs
}

// Tables describes tables for a document, with the reviewed values in use; reviews may be nil.
func Tables(ts []*trace.Table, reviews *trace.Reviews) []TableDefinition {
	defs := make([]TableDefinition, len(ts))
	for i, t := range ts {
		defs[i] = TableDefinition{t.Number, t.Title, t.Clause, nonNil(t.Symbols), make([]RowDefinition, len(t.Rows))}
		for j := range t.Rows {
			defs[i].Rows[j] = rowDefinition(t, j, reviews)
		}
	}
	return defs
}

func rowDefinition(t *trace.Table, row int, reviews *trace.Reviews) RowDefinition {
	r := &t.Rows[row]
	d := RowDefinition{Text: r.Text, Values: make([]float64, len(r.Values)), Provenance: r.Provenance.String(), Remark: r.Remark}
	for col := range r.Values {
		d.Values[col] = reviews.Value(t, row, col)
		if v, ok := reviews.Cell(t, row, col); ok {
			d.Checked = append(d.Checked, CheckedDefinition{col, v.By, v.Date})
		}
	}
	return d
}

// NewDefinitions prepares the definitions of all worksheets that are computed with the same reviews, or with none.
func NewDefinitions(quantities []*trace.Quantity, tables []*trace.Table, reviews *trace.Reviews) (*Definitions, error) {
	doc, err := json.Marshal(definitionsDocument{Quantities(quantities, reviews), Tables(tables, reviews)})
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(doc)
	d := &Definitions{Document: doc, Hash: hex.EncodeToString(sum[:]), quantities: map[*trace.Quantity]int{}, tables: map[*trace.Table]int{}}
	for i, q := range quantities {
		d.quantities[q] = i
	}
	for i, t := range tables {
		d.tables[t] = i
	}
	return d, nil
}

// Encode writes a trace in the compact form that is stored: a step is [quantity, scope,
// value, [inputs], table, row, column, "note"], the last four left out where they say nothing. Every quantity and table must be among the definitions.
func (d *Definitions) Encode(t *trace.Trace) ([]byte, error) {
	b := make([]byte, 0, 64*len(t.Steps))
	b = append(b, `{"scopes":[`...)
	for i := range t.Scopes() {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, '[')
		b = appendText(b, t.ScopeName(int32(i)))
		b = append(b, ',')
		b = appendText(b, t.ScopePointer(int32(i)))
		b = append(b, ']')
	}
	b = append(b, `],"steps":[`...)
	for i := range t.Steps {
		if i > 0 {
			b = append(b, ',')
		}
		var err error
		if b, err = d.appendStep(b, t, i); err != nil {
			return nil, err
		}
	}
	return append(b, ']', '}'), nil
}

func (d *Definitions) appendStep(b []byte, t *trace.Trace, i int) ([]byte, error) {
	s := &t.Steps[i]
	q, known := d.quantities[s.Quantity]
	if !known {
		return nil, fmt.Errorf("wire: quantity %s (%s) is not among the definitions", s.Quantity.Symbol, s.Quantity.Name)
	}
	b = append(b, '[')
	b = strconv.AppendInt(b, int64(q), 10)
	b = append(b, ',')
	b = strconv.AppendInt(b, int64(s.Scope), 10)
	b = append(b, ',')
	b = strconv.AppendFloat(b, s.Value, 'g', -1, 64)
	b = append(b, ',', '[')
	for j, from := range t.From(i) {
		if j > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendInt(b, int64(from), 10)
	}
	b = append(b, ']')
	if s.Table != nil || s.Note != "" {
		table := -1
		if s.Table != nil {
			if table, known = d.tables[s.Table]; !known {
				return nil, fmt.Errorf("wire: table %s is not among the definitions", s.Table.Number)
			}
		}
		b = append(b, ',')
		b = strconv.AppendInt(b, int64(table), 10)
		b = append(b, ',')
		b = strconv.AppendInt(b, int64(s.Row), 10)
		b = append(b, ',')
		b = strconv.AppendInt(b, int64(s.Col), 10)
	}
	if s.Note != "" {
		b = append(b, ',')
		b = appendText(b, s.Note)
	}
	return append(b, ']'), nil
}

func appendText(b []byte, s string) []byte {
	for i := range len(s) {
		if c := s[i]; c < 0x20 || c == '"' || c == '\\' || c >= 0x7f {
			text, _ := json.Marshal(s)
			return append(b, text...)
		}
	}
	b = append(b, '"')
	b = append(b, s...)
	return append(b, '"')
}

// Worksheet is every step of a computation, written out.
type Worksheet struct {
	Edition  string          `json:"edition"`
	Steps    []WorksheetStep `json:"steps"`
	Cautions []string        `json:"cautions"` // those of the result; ReadWorksheet leaves them out
}

// WorksheetStep is one value and how it came about.
type WorksheetStep struct {
	Index      int     `json:"index"`
	Scope      string  `json:"scope"`
	Symbol     string  `json:"symbol"`
	Name       string  `json:"name"`
	Value      float64 `json:"value"`
	Unit       string  `json:"unit"`
	Formula    string  `json:"formula,omitempty"`
	Inputs     []int   `json:"inputs,omitempty"`
	Clause     string  `json:"clause"`
	Table      string  `json:"table,omitempty"`
	Row        string  `json:"row,omitempty"`
	Column     string  `json:"column,omitempty"`
	Note       string  `json:"note,omitempty"`
	Pointer    string  `json:"pointer,omitempty"`
	Provenance string  `json:"provenance"`
	Remark     string  `json:"remark,omitempty"`
	CheckedBy  string  `json:"checked_by,omitempty"`
	CheckedOn  string  `json:"checked_on,omitempty"`

	// Weakest is the mark of the weakest value or formula that the value rests on, WeakestStep the step that has it.
	// A default of the site is none: Assumed says that the value rests on one.
	Weakest     trace.Provenance `json:"weakest"`
	WeakestStep int              `json:"weakest_step"`
	Assumed     bool             `json:"rests_on_assumption"`
}

// rest finds what a step rests on: own is its mark, the steps before it are known.
func (w *WorksheetStep) rest(before []WorksheetStep, own trace.Provenance) error {
	w.Weakest, w.WeakestStep = own, w.Index
	for _, i := range w.Inputs {
		if i < 0 || i >= w.Index {
			return fmt.Errorf("is computed from step %d, which is not before it", i)
		}
		from := &before[i]
		w.Assumed = w.Assumed || from.Assumed
		if from.Weakest.WeakerThan(w.Weakest) {
			w.Weakest, w.WeakestStep = from.Weakest, from.WeakestStep
		}
	}
	return nil
}

// Steps writes out a trace that is not stored.
func Steps(t *trace.Trace) []WorksheetStep {
	steps := make([]WorksheetStep, len(t.Steps))
	for i := range t.Steps {
		s := &t.Steps[i]
		q := s.Quantity
		w := &steps[i]
		*w = WorksheetStep{Index: i, Scope: t.ScopeName(s.Scope), Symbol: q.Symbol, Name: q.Name, Value: s.Value, Unit: q.Unit, Formula: q.Expr,
			Clause: q.Clause, Note: s.Note, Pointer: t.Pointer(i), Provenance: q.Provenance.String()}
		for _, from := range t.From(i) {
			w.Inputs = append(w.Inputs, int(from))
		}
		if s.Table != nil {
			row := &s.Table.Rows[s.Row]
			w.Table, w.Row, w.Column, w.Clause, w.Remark = s.Table.Number, row.Text, s.Table.Column(int(s.Col)), s.Table.Clause, row.Remark
			if r, ok := t.Reviews().Cell(s.Table, int(s.Row), int(s.Col)); ok {
				w.CheckedBy, w.CheckedOn = r.By, r.Date
			}
		} else if r, ok := t.Reviews().Formula(q); ok && r.Agrees {
			w.CheckedBy, w.CheckedOn = r.By, r.Date
		}
		mark := t.Provenance(i)
		if w.Provenance = mark.String(); s.Absent() {
			w.Provenance = q.Provenance.String()
		}
		_ = w.rest(steps[:i], mark) // a trace is computed forwards
	}
	return steps
}

// storedWorksheet is what Encode wrote.
type storedWorksheet struct {
	Scopes [][2]string         `json:"scopes"`
	Steps  [][]json.RawMessage `json:"steps"`
}

// ReadWorksheet writes a stored worksheet out with its definitions. Values that
// a default supplied are marked as assumed, with its reason.
func ReadWorksheet(edition string, definitions, stored []byte, assumptions []Assumption, input json.RawMessage) (*Worksheet, error) {
	var defs definitionsDocument
	var sheet storedWorksheet
	if err := json.Unmarshal(definitions, &defs); err != nil {
		return nil, fmt.Errorf("definitions: %w", err)
	}
	if err := json.Unmarshal(stored, &sheet); err != nil {
		return nil, fmt.Errorf("worksheet: %w", err)
	}
	var given any
	if err := json.Unmarshal(input, &given); err != nil {
		return nil, fmt.Errorf("input: %w", err)
	}
	r := reader{defs: &defs, sheet: &sheet, given: given, assumed: map[string]*Assumption{}}
	for i := range assumptions {
		r.assumed[assumptions[i].Pointer] = &assumptions[i]
	}
	w := &Worksheet{Edition: edition, Steps: make([]WorksheetStep, len(sheet.Steps))}
	for i, raw := range sheet.Steps {
		if err := r.step(i, raw, w.Steps[:i], &w.Steps[i]); err != nil {
			return nil, fmt.Errorf("worksheet, step %d: %w", i, err)
		}
	}
	return w, nil
}

type reader struct {
	defs    *definitionsDocument
	sheet   *storedWorksheet
	given   any
	assumed map[string]*Assumption
}

func (r *reader) step(i int, raw []json.RawMessage, before []WorksheetStep, w *WorksheetStep) error {
	var quantity, scope, row, col int
	table := -1
	into := []any{&quantity, &scope, &w.Value, &w.Inputs, &table, &row, &col, &w.Note}
	if len(raw) < 4 || len(raw) > len(into) {
		return fmt.Errorf("%d entries", len(raw))
	}
	for j := range raw {
		if err := json.Unmarshal(raw[j], into[j]); err != nil {
			return err
		}
	}
	if quantity >= len(r.defs.Quantities) || scope >= len(r.sheet.Scopes) || table >= len(r.defs.Tables) {
		return fmt.Errorf("refers to what is not defined")
	}
	q := &r.defs.Quantities[quantity]
	w.Index, w.Scope, w.Symbol, w.Name, w.Unit, w.Formula, w.Clause = i, r.sheet.Scopes[scope][0], q.Symbol, q.Name, q.Unit, q.Formula, q.Clause
	w.Provenance, w.CheckedBy, w.CheckedOn = q.Provenance, q.CheckedBy, q.CheckedOn
	if table >= 0 {
		t := &r.defs.Tables[table]
		if err := w.readTable(t, row, col); err != nil {
			return err
		}
	}
	own := trace.Given
	if table >= 0 || row >= 0 { // a value that does not apply has no mark
		if err := own.UnmarshalText([]byte(w.Provenance)); err != nil {
			return err
		}
	}
	if err := w.rest(before, own); err != nil {
		return err
	}
	if q.Reads != "" {
		w.Pointer = r.resolve(joinPointer(r.sheet.Scopes[scope][1], q.Reads))
		r.mark(w)
	}
	return nil
}

func (w *WorksheetStep) readTable(t *TableDefinition, row, col int) error {
	if row < 0 || row >= len(t.Rows) || col < 0 || col >= max(len(t.Columns), len(t.Rows[row].Values)) {
		return fmt.Errorf("refers to what is not in table %s", t.Number)
	}
	r := &t.Rows[row]
	w.Table, w.Row, w.Clause, w.Provenance, w.Remark = t.Number, r.Text, t.Clause, r.Provenance, r.Remark
	if col < len(t.Columns) {
		w.Column = t.Columns[col]
	}
	for _, c := range r.Checked {
		if c.Column == col {
			w.Provenance, w.CheckedBy, w.CheckedOn = trace.Checked.String(), c.By, c.On
		}
	}
	return nil
}

func joinPointer(scope, field string) string {
	if field[0] == '/' {
		return field
	}
	return scope + "/" + field
}

// resolve finds where a value stands in the input as it was given: the short form of a line has no sections, and the environment of the site serves every section.
func (r *reader) resolve(pointer string) string {
	if r.exists(pointer) {
		return pointer
	}
	short := strings.Replace(pointer, "/sections/0/", "/", 1)
	switch {
	case strings.HasSuffix(pointer, "/environment"):
		return "/environment"
	case strings.HasPrefix(pointer, "/lines/") && short != pointer && !r.exists(pointer[:strings.Index(pointer, "/sections/")]+"/sections"):
		return short
	case strings.HasPrefix(pointer, "/lines/") && strings.HasSuffix(pointer, "/service") && strings.Contains(pointer, "/sections/"):
		return pointer[:strings.Index(pointer, "/sections/")] + "/service"
	}
	return pointer
}

func (r *reader) exists(pointer string) bool {
	at := r.given
	for _, part := range strings.Split(pointer, "/")[1:] {
		switch v := at.(type) {
		case map[string]any:
			next, ok := v[part]
			if !ok {
				return false
			}
			at = next
		case []any:
			i, err := strconv.Atoi(part)
			if err != nil || i >= len(v) {
				return false
			}
			at = v[i]
		default:
			return false
		}
	}
	return true
}

// mark notes that a value was assumed: its own default, or that of something around it that was not given.
func (r *reader) mark(w *WorksheetStep) {
	if r.exists(w.Pointer) {
		return
	}
	for p := w.Pointer; p != ""; p = p[:strings.LastIndexByte(p, '/')] {
		a := r.assumed[p]
		if a == nil {
			continue
		}
		w.Assumed = true
		if w.Table == "" {
			w.Provenance = trace.Assumed.String()
		}
		note := "assumed " + a.Value + ": " + a.Reason
		if w.Note != "" {
			note = w.Note + "; " + note
		}
		w.Note = note
		return
	}
}

// DefaultDefinition describes a default for the reference.
type DefaultDefinition struct {
	Field      string `json:"field"`
	Value      string `json:"value"`
	Reason     string `json:"reason"`
	Clause     string `json:"clause"`
	Provenance string `json:"provenance"`
}

// EditionReference holds all quantities and tables of an edition.
type EditionReference struct {
	ID         string               `json:"id"`
	Quantities []QuantityDefinition `json:"quantities"`
	Tables     []TableDefinition    `json:"tables"`
}

// SPDReference holds all quantities and tables of the SPD selection, or of earth electrodes.
type SPDReference struct {
	Quantities []QuantityDefinition `json:"quantities"`
	Tables     []TableDefinition    `json:"tables"`
}

// Reference is every table and limit in use.
type Reference struct {
	ReviewsHash string              `json:"reviews_hash,omitempty"`
	Counts      ReferenceCounts     `json:"counts"`
	Editions    []EditionReference  `json:"editions"`
	SPD         SPDReference        `json:"spd"`
	Earth       SPDReference        `json:"earth"`
	Defaults    []DefaultDefinition `json:"defaults"`
}
