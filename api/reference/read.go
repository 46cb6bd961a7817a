package reference

import (
	"bufio"
	"levinward/tabletext"

	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"levinward/risk/trace"
)

// Limits of a reviewed table.
const (
	MaxFile    = 2 << 20 // bytes
	MaxFaults  = 100     // that are listed; all are counted
	maxReader  = 200     // characters of a name
	maxComment = 1000    // characters
)

// Fault is one thing that is wrong with a table.
type Fault struct {
	Line   int    // of the file, the header being 1
	Column string // empty: the whole row
	Value  string // what was found, shortened; empty where that says nothing
	Reason string // what is wrong, and what is allowed
}

// String writes a fault in one line.
func (f Fault) String() string {
	where := "line " + strconv.Itoa(f.Line)
	if f.Column != "" {
		where += ", " + f.Column
	}
	if f.Value != "" {
		return where + ": " + f.Reason + "; found " + strconv.Quote(f.Value)
	}
	return where + ": " + f.Reason
}

// FaultyTable is the error of a table with faults. Nothing of the table is taken.
type FaultyTable struct {
	Faults []Fault // the first MaxFaults
	Count  int     // of all
}

func (e *FaultyTable) Error() string {
	lines := make([]string, 0, len(e.Faults)+1)
	lines = append(lines, fmt.Sprintf("the reviewed table has %d faults; nothing of it was taken", e.Count))
	if e.Count == 1 {
		lines[0] = "the reviewed table has 1 fault; nothing of it was taken"
	}
	for _, f := range e.Faults {
		lines = append(lines, f.String())
	}
	return strings.Join(lines, "\n  ")
}

func (e *FaultyTable) add(f Fault) {
	e.Count++
	if len(e.Faults) < MaxFaults {
		f.Value = shortened(f.Value)
		e.Faults = append(e.Faults, f)
	}
}

// shortened makes a value from a file safe to repeat in a message.
func shortened(text string) string {
	const most = 80
	text = strings.ToValidUTF8(text, "\uFFFD")
	if utf8.RuneCountInString(text) <= most {
		return text
	}
	return string([]rune(text)[:most]) + "…"
}

// ReadCSV reads a reviewed table: the CSV of WriteCSV with agrees, printed_value, checked_by, date and comment filled in
// where a reader has looked a row up. Rows that are left out, or whose agrees is empty, are not reviewed. It returns
// all rows of List. The error is a *FaultyTable with every fault.
func ReadCSV(text []byte, now time.Time) ([]Row, error) {
	p := newParser(latestDay(now))
	if p.read(text) {
		p.order()
	}
	if p.faults.Count == 0 && !slices.ContainsFunc(p.rows, func(r Row) bool { return r.Reviewed }) {
		p.faults.add(Fault{Line: 1, Column: header[colAgrees], Reason: "no row is reviewed; write yes or no in at least one row"})
	}
	if p.faults.Count > 0 {
		return nil, p.faults
	}
	return p.rows, nil
}

// latestDay is the newest date that has begun somewhere on earth.
func latestDay(now time.Time) string { return now.UTC().Add(14 * time.Hour).Format(time.DateOnly) }

type parser struct {
	rows   []Row
	byKey  map[string]*Row
	seen   map[string]int // key: line
	faults *FaultyTable
	latest string

	columns [columnCount]int // where each column stands in the file
	line    int
	fields  []string
	faulty  bool // the present row has a fault
}

// newParser makes a parser that takes dates up to the latest.
func newParser(latest string) *parser {
	p := &parser{rows: List(), byKey: map[string]*Row{}, seen: map[string]int{}, faults: &FaultyTable{}, latest: latest}
	for i := range p.rows {
		p.byKey[p.rows[i].Key] = &p.rows[i]
	}
	return p
}

// read takes the whole file. It reports whether it is such a table, whatever the faults of its rows.
func (p *parser) read(text []byte) (isTable bool) {
	switch {
	case len(text) > MaxFile:
		p.faults.add(Fault{Line: 1, Reason: fmt.Sprintf("the table has %d bytes; at most %d are allowed", len(text), MaxFile)})
		return false
	case tabletext.NoText(text) != "":
		p.faults.add(Fault{Line: 1, Reason: tabletext.NoText(text)})
		return false
	case !utf8.Valid(text):
		p.faults.add(Fault{Line: lineOfInvalid(text), Reason: "is not UTF-8; save the table as CSV UTF-8"})
		return false
	}
	source := bufio.NewReader(bytes.NewReader(text))
	start, fault, _ := tabletext.Skip(source) // bytes in memory do not fail
	if fault != "" {                          // of the line that names the separator
		p.faults.add(Fault{Line: 1, Reason: fault})
		return false
	}
	r := csv.NewReader(source)
	r.Comma, r.FieldsPerRecord, r.ReuseRecord = start.Comma, -1, true
	for first := true; ; first = false {
		fields, err := r.Read()
		if errors.Is(err, io.EOF) {
			if first {
				p.faults.add(Fault{Line: 1, Reason: "the table is empty; the header is " + strings.Join(header[:], ",")})
			}
			return !first
		}
		var broken *csv.ParseError
		if errors.As(err, &broken) {
			p.faults.add(Fault{Line: broken.StartLine + start.Lines, Reason: "is not CSV: " + broken.Err.Error() + "; the rest was not read"})
			return false
		}
		p.line, _ = r.FieldPos(0)
		p.line += start.Lines
		p.fields, p.faulty = fields, false
		if first {
			if !p.header() {
				return false
			}
			continue
		}
		p.row()
	}
}

func lineOfInvalid(text []byte) int {
	line := 1
	for len(text) > 0 {
		r, n := utf8.DecodeRune(text)
		if r == utf8.RuneError && n == 1 {
			break
		}
		if r == '\n' {
			line++
		}
		text = text[n:]
	}
	return line
}

// header finds the columns, in any order. Without them no row can be read.
func (p *parser) header() bool {
	for i := range p.columns {
		p.columns[i] = -1
	}
	for i, name := range p.fields {
		col := slices.Index(header[:], name)
		switch {
		case col < 0:
			p.faults.add(Fault{Line: p.line, Column: shortened(name), Reason: "unknown column; the columns are " + strings.Join(header[:], ",")})
		case p.columns[col] >= 0:
			p.faults.add(Fault{Line: p.line, Column: name, Reason: "the column is there twice"})
		default:
			p.columns[col] = i
		}
	}
	for col, at := range p.columns {
		if at < 0 {
			p.fault(col, "", "the column is missing")
		}
	}
	return p.faults.Count == 0
}

func (p *parser) fault(col int, value, reason string) {
	f := Fault{Line: p.line, Value: value, Reason: reason}
	if col >= 0 {
		f.Column = header[col]
	}
	p.faults.add(f)
	p.faulty = true
}

// text is a field of the present row.
func (p *parser) text(col int) string { return unquoted(p.fields[p.columns[col]]) }

// row takes one row of the file.
func (p *parser) row() {
	if !slices.ContainsFunc(p.fields, func(s string) bool { return s != "" }) {
		return // a line that a spreadsheet left empty
	}
	if len(p.fields) != columnCount {
		p.fault(-1, "", fmt.Sprintf("has %d fields; the header has %d", len(p.fields), columnCount))
		return
	}
	key := p.text(colKey)
	r := p.byKey[key]
	if r == nil {
		p.fault(colKey, key, "there is no value or formula of this key; if the program had one, it has changed since")
		return
	}
	if line, ok := p.seen[key]; ok {
		p.fault(colKey, key, "the key is in line "+strconv.Itoa(line)+" already")
		return
	}
	p.seen[key] = p.line
	p.identity(r)
	review := p.review(r)
	if p.faulty || !review.Reviewed {
		return
	}
	*r = review
}

// identity demands that the row is about what the key names, and that the program still computes with the value. Its mark
// and remark may have changed since.
func (p *parser) identity(r *Row) {
	for _, c := range []struct {
		col  int
		want string
	}{
		{colKind, string(r.Kind)}, {colClause, r.Clause}, {colTable, r.Table}, {colRow, r.Row}, {colColumn, r.Column}, {colUnit, r.Unit},
	} {
		if got := p.text(c.col); got != c.want {
			p.fault(c.col, got, "is not that of the key, which is "+strconv.Quote(c.want))
		}
	}
	if got := p.text(colFormula); got != r.Formula {
		p.fault(colFormula, got, "is not that of the key, which is "+strconv.Quote(r.Formula))
	}
	p.value(r)
	var mark trace.Provenance
	if got := p.text(colMark); mark.UnmarshalText([]byte(got)) != nil {
		p.fault(colMark, got, "is no mark; leave it as it was printed")
	}
}

func (p *parser) value(r *Row) {
	got := p.text(colValue)
	if r.Kind == Formula {
		if got != "" {
			p.fault(colValue, got, "must be empty for a formula")
		}
		return
	}
	v, reason := parseNumber(got)
	switch {
	case reason != "":
		p.fault(colValue, got, reason)
	case v != r.Value:
		p.fault(colValue, got, "the program's value has changed since: review it again; now "+number(r.Value))
	}
}

// parseNumber reads a finite number with a decimal point.
func parseNumber(text string) (v float64, reason string) {
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case err != nil && strings.Count(text, ",") == 1:
		return 0, "must be a number with a decimal point, not a comma"
	case err != nil || strings.ContainsAny(text, "xX_"):
		return 0, "must be a number"
	case math.IsNaN(v) || math.IsInf(v, 0):
		return 0, "must be a finite number"
	}
	return v, ""
}

// review reads what the reader says of a row.
func (p *parser) review(r *Row) Row {
	v := *r
	switch agrees := strings.ToLower(p.text(colAgrees)); agrees {
	case "":
		for _, col := range []int{colPrinted, colCheckedBy, colDate, colComment} {
			if got := p.text(col); got != "" {
				p.fault(col, got, "the row is not reviewed: write yes or no in agrees, or leave this empty")
			}
		}
		return v
	case "yes", "no":
		v.Reviewed, v.Agrees = true, agrees == "yes"
	default:
		p.fault(colAgrees, p.text(colAgrees), "must be yes, no or empty")
	}
	v.Comment = p.plain(colComment, maxComment)
	v.CheckedBy = p.plain(colCheckedBy, maxReader)
	if strings.TrimSpace(v.CheckedBy) == "" {
		p.fault(colCheckedBy, "", "is missing: name who compared the row with the printed document")
	}
	v.Date = p.date()
	switch {
	case !v.Reviewed: // what the printed value has to be follows from agrees
	case r.Kind == Formula:
		p.formula(&v)
	case v.Agrees:
		p.agreed(r)
	default:
		v.Printed = p.printed(r)
	}
	return v
}

func (p *parser) formula(v *Row) {
	if got := p.text(colPrinted); got != "" {
		p.fault(colPrinted, got, "must be empty for a formula; write in comment what is printed")
	}
	if !v.Agrees && strings.TrimSpace(v.Comment) == "" {
		p.fault(colComment, "", "is missing: write what is printed instead of the formula")
	}
}

func (p *parser) agreed(r *Row) {
	got := p.text(colPrinted)
	if got == "" {
		return
	}
	if v, reason := parseNumber(got); reason != "" {
		p.fault(colPrinted, got, reason+", or empty")
	} else if v != r.Value {
		p.fault(colPrinted, got, "differs from value, "+number(r.Value)+", although agrees is yes")
	}
}

func (p *parser) printed(r *Row) float64 {
	got := p.text(colPrinted)
	if got == "" {
		p.fault(colPrinted, "", "is missing: agrees is no, so give the printed number")
		return 0
	}
	v, reason := parseNumber(got)
	if reason == "" {
		reason = r.plausible(v)
	}
	if reason == "" && v == r.Value {
		reason = "is the program's value, although agrees is no"
	}
	if reason != "" {
		p.fault(colPrinted, got, reason)
	}
	return v + 0 // not -0
}

// plain reads a text of one line.
func (p *parser) plain(col, most int) string {
	text := p.text(col)
	switch {
	case utf8.RuneCountInString(text) > most:
		p.fault(col, text, fmt.Sprintf("has more than %d characters", most))
	case strings.ContainsFunc(text, isUnprintable):
		p.fault(col, text, "must be plain text of one line")
	}
	return text
}

// isUnprintable reports control characters, line breaks and those that turn the direction of writing. The joiners stay: names need them.
func isUnprintable(r rune) bool {
	const nonJoiner, joiner = '\u200c', '\u200d'
	return r != nonJoiner && r != joiner && (unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp))
}

func (p *parser) date() string {
	text := p.text(colDate)
	_, err := time.Parse(time.DateOnly, text)
	switch {
	case err != nil:
		p.fault(colDate, text, "must be a date, YYYY-MM-DD")
	case text > p.latest:
		p.fault(colDate, text, "is in the future")
	}
	return text
}
