package reference

import (
	"bytes"
	"encoding/csv"
	"io"
	"strconv"
	"strings"
)

// Columns of the table, in order.
const (
	colKey = iota
	colKind
	colClause
	colTable
	colRow
	colColumn
	colValue
	colUnit
	colFormula
	colMark
	colRemark
	colAgrees
	colPrinted
	colCheckedBy
	colDate
	colComment
	columnCount
)

var header = [columnCount]string{"key", "kind", "clause", "table", "row", "column", "value", "unit", "formula", "mark", "remark",
	"agrees", "printed_value", "checked_by", "date", "comment"}

// Header returns the names of the columns of the CSV table.
func Header() []string { return header[:] }

// WriteCSV writes rows with their header (RFC 4180). A text that a spreadsheet would take for a formula gets an
// apostrophe, which ReadCSV takes away.
func WriteCSV(w io.Writer, rows []Row) error {
	c := csv.NewWriter(w)
	c.UseCRLF = true
	if err := c.Write(header[:]); err != nil {
		return err
	}
	for i := range rows {
		if err := c.Write(rows[i].Cells()); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

// Cells are the fields of the row in the order of Header, each safe in a spreadsheet.
func (r *Row) Cells() []string {
	cells := []string{r.Key, string(r.Kind), r.Clause, r.Table, r.Row, r.Column, "", r.Unit, r.Formula, r.MarkInUse().String(),
		r.Remark, "", "", "", "", ""}
	if r.Kind == Value {
		cells[colValue] = number(r.Value)
	}
	if r.Reviewed {
		cells[colAgrees] = "yes"
		if !r.Agrees {
			cells[colAgrees] = "no"
			if r.Kind == Value {
				cells[colPrinted] = number(r.Printed)
			}
		}
		cells[colCheckedBy], cells[colDate], cells[colComment] = r.CheckedBy, r.Date, r.Comment
	}
	for i, text := range cells {
		cells[i] = quoted(text)
	}
	return cells
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// formulaMarks begin what a spreadsheet computes; the apostrophe is among them so that one at the beginning of a text stays.
const formulaMarks = "=+-@\t\r'"

func quoted(text string) string {
	if text == "" || !strings.ContainsRune(formulaMarks, rune(text[0])) {
		return text
	}
	return "'" + text
}

func unquoted(text string) string {
	if len(text) > 1 && text[0] == '\'' && strings.ContainsRune(formulaMarks, rune(text[1])) {
		return text[1:]
	}
	return text
}

// canonicalCSV is the form in which reviews are kept: the reviewed rows alone, in the order of their keys.
func canonicalCSV(rows []Row) ([]byte, error) {
	var b bytes.Buffer
	err := WriteCSV(&b, reviewedByKey(rows))
	return b.Bytes(), err
}
