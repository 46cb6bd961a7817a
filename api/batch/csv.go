package batch

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
)

// csvFile reads the records of a file and knows where they stand.
type csvFile struct {
	reader *csv.Reader
	bound  *bounded
	breaks int // line breaks within cells so far: what lines and rows differ by
	last   int // the row before
}

func openCSV(r io.Reader, maxBytes int64) (*csvFile, error) {
	text, err := newText(r, maxBytes)
	if err != nil {
		return nil, err
	}
	b := &bounded{r: text, span: 2 * maxRowBytes} // a row, and what is read ahead of it
	ahead := bufio.NewReaderSize(b, maxRowBytes)
	start, err := ahead.Peek(maxRowBytes)
	if err != nil && err != io.EOF && len(start) == 0 {
		return nil, err
	}
	f := &csvFile{bound: b}
	f.reader = csv.NewReader(ahead)
	f.reader.Comma = separator(start)
	f.reader.ReuseRecord = true
	f.reader.FieldsPerRecord = -1
	return f, nil
}

// separator is the comma, semicolon or tab that stands most often in the header, outside quotes.
func separator(start []byte) rune {
	start = bytes.TrimLeft(start, "\r\n")
	counts := map[byte]int{}
	quoted := false
	for _, c := range start {
		if c == '"' {
			quoted = !quoted
		}
		if quoted {
			continue
		}
		if c == '\n' {
			break
		}
		counts[c]++
	}
	best := byte(',')
	for _, c := range []byte{';', '\t'} {
		if counts[c] > counts[best] {
			best = c
		}
	}
	return rune(best)
}

// next reads a record and the number of its row; fault is a row that encoding/csv cannot take apart.
func (f *csvFile) next() (record []string, row int, fault string, err error) {
	f.bound.mark = f.reader.InputOffset()
	record, err = f.reader.Read()
	parse := (*csv.ParseError)(nil)
	torn := errors.As(err, &parse)
	if (err == nil || torn) && f.reader.InputOffset()-f.bound.mark > maxRowBytes || errors.Is(err, errSpan) {
		err, torn = fileError(f.last+1, "is longer than %d bytes: is there a quote that does not end?", maxRowBytes), false
	}
	if torn {
		f.last = parse.StartLine - f.breaks
		f.breaks += parse.Line - parse.StartLine
		return nil, f.last, quoteFault(parse), nil
	}
	if err != nil {
		return nil, 0, "", err
	}
	line, _ := f.reader.FieldPos(0)
	f.last = line - f.breaks
	f.breaks += lineBreaksIn(record)
	return record, f.last, "", nil
}

func quoteFault(e *csv.ParseError) string {
	if errors.Is(e.Err, csv.ErrBareQuote) {
		return `has a quote within a cell that does not begin with one: put the cell in quotes and write the quote within it twice, "6"" pipe"`
	}
	fault := `has a cell in quotes that does not end with a quote before the separator: write a quote within the cell twice, "6"" pipe"`
	if e.Line > e.StartLine {
		fault += fmt.Sprintf("; what stands in the file down to line %d was taken for this one row", e.Line)
	}
	return fault
}

func (a *assembler) readCSV(r io.Reader) error {
	f, err := openCSV(r, a.options.MaxBytes)
	if err != nil {
		return err
	}
	columns, err := csvHeader(f)
	if err != nil {
		return err
	}
	for {
		record, number, fault, err := f.next()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		row := Row{Number: number}
		var entries []entry
		if fault == "" {
			entries, fault = csvEntries(columns, record, &row)
		}
		if fault != "" {
			err = a.refuse(row, fault)
		} else {
			err = a.row(row, entries, nil)
		}
		if err != nil {
			return err
		}
	}
}

// csvHeader is the first record that is not blank.
func csvHeader(f *csvFile) ([]*slot, error) {
	for {
		record, row, fault, err := f.next()
		switch {
		case err == io.EOF:
			return nil, fileError(0, "the file has no row but blank ones")
		case err != nil:
			return nil, err
		case fault != "":
			return nil, fileError(row, "%s", fault)
		case isBlank(record):
			continue
		}
		headings := make([]heading, len(record))
		for i, name := range record {
			headings[i] = heading{canonical(name), strconv.Itoa(i + 1)}
		}
		columns, faults := readHeader(headings, "", row)
		if len(faults) > 0 {
			return nil, &FileError{faults}
		}
		return columns, nil
	}
}

func isBlank(record []string) bool {
	for _, s := range record {
		if c := textOf(s); c.kind != blank {
			return false
		}
	}
	return true
}

// csvEntries sets the cells under their columns; fault is a row that cannot be set under them.
func csvEntries(columns []*slot, record []string, row *Row) (entries []entry, fault string) {
	if isBlank(record) {
		return nil, ""
	}
	if len(record) != len(columns) && !(len(record) > len(columns) && isBlank(record[len(columns):])) {
		return nil, fmt.Sprintf("has %d cells, the header %d: every row needs the same; a separator within a cell must stand in quotes", len(record), len(columns))
	}
	entries = make([]entry, 0, len(columns))
	for i, s := range columns {
		c := textOf(record[i])
		if s != nil {
			entries = append(entries, entry{s, c})
		} else if c.kind != blank {
			row.unnamed(strconv.Itoa(i+1), c.text)
		}
	}
	return entries, ""
}

// unnamed reports a cell under no name: nobody can tell what it says.
func (r *Row) unnamed(column, value string) {
	r.Faults = append(r.Faults, RowFault{Row: r.Number, Column: column, Value: short(value), Reason: "has no name in the header: name the column, or clear the cell; for notes of your own there is the column remark"})
}
