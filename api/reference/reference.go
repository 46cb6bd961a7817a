// Package reference lists every value and formula that the program computes with, and takes back what a reader of
// the printed standards says of them: that a value agrees, or what is printed instead.
//
// List gives the rows, WriteCSV the table that a reader fills in, ReadCSV reads it strictly, and Compile makes of
// it what a computation looks up.
package reference

import (
	"crypto/sha256"
	"encoding/hex"
	"strconv"
	"strings"
	"unicode"

	"levinward/api/assess"
	"levinward/risk/earth"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

// Kind says what a row is about.
type Kind string

// The kinds of rows.
const (
	Value   Kind = "value"   // one cell of a table
	Formula Kind = "formula" // the formula of a quantity; a reader can agree or disagree with it, not replace it
)

// Row is one value or formula, with what a reader says of it.
type Row struct {
	Key     string // stable: changes only when the table, row, column, symbol or name does
	Kind    Kind
	Clause  string // document and clause
	Table   string // number of the table; empty for a formula
	Row     string // text of the row; for a formula the name of the quantity
	Column  string // heading of the column; for a formula the symbol of the quantity
	Value   float64
	Unit    string // of the quantity of a formula; the unit of a value stands in its column or row
	Formula string
	Mark    trace.Provenance // of the program
	Remark  string           // what a reader should know of the row besides

	// What a reader says. Without Reviewed the rest is empty.
	Reviewed  bool
	Agrees    bool
	Printed   float64 // the printed value of a row that does not agree
	CheckedBy string
	Date      string // YYYY-MM-DD
	Comment   string

	source   string // the part of the program it is of
	cell     cell
	quantity *trace.Quantity // of a formula
}

// cell is a place in a table.
type cell struct {
	table    *trace.Table
	row, col int
}

// MarkInUse is the mark that the value carries in a computation: checked where a reader has compared it with the
// printed standard. A formula that a reader disagrees with stays in use and keeps its mark.
func (r *Row) MarkInUse() trace.Provenance {
	if r.Reviewed && (r.Agrees || r.Kind == Value) {
		return trace.Checked
	}
	return r.Mark
}

// ValueInUse is the printed value where a reader gave one, else the program's.
func (r *Row) ValueInUse() float64 {
	if r.Reviewed && !r.Agrees {
		return r.Printed
	}
	return r.Value
}

// source is a part of the program with its tables and quantities.
type source struct {
	name       string
	tables     []*trace.Table
	quantities []*trace.Quantity
}

func sources() []source {
	var all []source
	for _, e := range assess.Editions {
		all = append(all, source{e.ID(), e.Tables(), e.Quantities()})
	}
	return append(all, source{"spd", spd.Tables(), spd.Quantities()}, source{"earth", earth.Tables(), earth.Quantities()})
}

// List returns every value of every edition, of the SPD selection and of the earth electrodes in the order of the
// tables, then every formula. No row is reviewed.
func List() []Row {
	var rows []Row
	for _, s := range sources() {
		for _, t := range s.tables {
			rows = append(rows, tableRows(s.name, t)...)
		}
	}
	for _, s := range sources() {
		for _, q := range s.quantities {
			if q.Expr != "" {
				rows = append(rows, Row{Key: formulaKey(s.name, q), Kind: Formula, source: s.name, Clause: q.Clause, Row: q.Name, Column: q.Symbol,
					Unit:    q.Unit,
					Formula: q.Expr, Mark: q.Provenance, quantity: q})
			}
		}
	}
	return rows
}

func tableRows(name string, t *trace.Table) []Row {
	var rows []Row
	for i := range t.Rows {
		for j, v := range t.Rows[i].Values {
			column := columnName(t, j)
			rows = append(rows, Row{Key: join(name, slug(t.Number), slug(t.Rows[i].Text), slug(column)), Kind: Value, source: name, Clause: t.Clause,
				Table: t.Number, Row: t.Rows[i].Text, Column: column, Value: v, Mark: t.Rows[i].Provenance, Remark: t.Rows[i].Remark,
				cell: cell{t, i, j}})
		}
	}
	return rows
}

// columnName is the heading of a column. A list of values, printed without headings, counts them from 1.
func columnName(t *trace.Table, j int) string {
	if j < len(t.Symbols) {
		return t.Symbols[j]
	}
	return "value " + strconv.Itoa(j+1)
}

// formulaKey ends with a fingerprint of the formula: branches of a clause may share symbol and name, and a formula
// that has changed is another one.
func formulaKey(name string, q *trace.Quantity) string {
	sum := sha256.Sum256([]byte(q.Expr))
	return join(name, "formula", slug(q.Symbol), slug(q.Name)+"-"+hex.EncodeToString(sum[:4]))
}

func join(parts ...string) string { return strings.Join(parts, "/") }

// slug writes a text with letters, digits, points and underscores only, and a hyphen for everything between them.
func slug(text string) string {
	var b strings.Builder
	gap := false
	for _, r := range strings.ToLower(strings.ReplaceAll(text, "'", "-prime")) {
		if r != '_' && r != '.' && !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			gap = true
			continue
		}
		if gap && b.Len() > 0 {
			b.WriteByte('-')
		}
		gap = false
		b.WriteRune(r)
	}
	return b.String()
}

// Counts is the number of rows by mark.
type Counts struct {
	Values   map[trace.Provenance]int
	Formulas map[trace.Provenance]int
}

// Count counts values and formulas by the mark they carry in a computation.
func Count(rows []Row) Counts {
	c := Counts{map[trace.Provenance]int{}, map[trace.Provenance]int{}}
	for i := range rows {
		switch m := rows[i].MarkInUse(); rows[i].Kind {
		case Value:
			c.Values[m]++
		case Formula:
			c.Formulas[m]++
		}
	}
	return c
}

// Total is the sum of the counts.
func Total(counts map[trace.Provenance]int) int {
	sum := 0
	for _, n := range counts {
		sum += n
	}
	return sum
}
