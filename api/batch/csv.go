package batch

import (
	"levinward/tabletext"

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
	recent *recent
	hint   int64   // bytes of the line that names the separator; it is no row
	start  int64   // where the row begins
	breaks int     // line breaks within cells so far: what lines and rows differ by
	last   int     // the row before
	header []*slot // nil until it is read
}

func openCSV(r io.Reader, maxBytes int64) (*csvFile, error) {
	text, err := newText(r, CSV, maxBytes)
	if err != nil {
		return nil, err
	}
	kept := &recent{r: text}
	b := &bounded{r: kept, span: 2 * maxRowBytes} // a row, and what is read ahead of it
	ahead := bufio.NewReaderSize(b, maxRowBytes)
	start, fault, err := tabletext.Skip(ahead)
	if err != nil {
		return nil, err
	}
	if fault != "" {
		return nil, fileError(0, "%s", fault)
	}
	f := &csvFile{bound: b, recent: kept, hint: int64(start.Hint)}
	f.reader = csv.NewReader(ahead)
	f.reader.Comma = start.Comma
	f.reader.ReuseRecord = true
	f.reader.FieldsPerRecord = -1
	return f, nil
}

// next reads a record and the number of its row; fault is a row that encoding/csv cannot take apart.
func (f *csvFile) next() (record []string, row int, fault string, err error) {
	f.start = f.place()
	f.bound.mark = f.start
	f.recent.forget(f.start)
	record, err = f.reader.Read()
	parse := (*csv.ParseError)(nil)
	torn := errors.As(err, &parse)
	if (err == nil || torn) && f.place()-f.start > maxRowBytes || errors.Is(err, errSpan) {
		err, torn = f.tooLong(), false
	}
	if torn {
		f.last = parse.StartLine - f.breaks
		f.breaks += parse.Line - parse.StartLine
		return nil, f.last, f.quoteFault(parse), nil
	}
	if err != nil {
		return nil, 0, "", err
	}
	line, _ := f.reader.FieldPos(0)
	f.last = line - f.breaks
	f.breaks += lineBreaksIn(record)
	return record, f.last, "", nil
}

// place is how far the file is read.
func (f *csvFile) place() int64 { return f.hint + f.reader.InputOffset() }

// tooLong says in which cell the row gets too long, and of a quote only where that cell begins with one.
func (f *csvFile) tooLong() error {
	row := f.recent.since(f.start)
	if n := f.place() - f.start; n > 0 && n < int64(len(row)) {
		row = row[:n] // what follows was only read ahead
	}
	row = bytes.TrimLeft(row, "\r\n")
	if len(row) <= maxRowBytes {
		return fileError(f.last, "is followed by more than %d bytes of blank lines: remove them", maxRowBytes)
	}
	i, quoted := longCell(row[:maxRowBytes], byte(f.reader.Comma))
	fault := FileFault{Row: f.last + 1, Column: strconv.Itoa(i + 1),
		Reason: fmt.Sprintf("with this cell the row is longer than %d bytes, the most that a row may have", maxRowBytes)}
	if i < len(f.header) && f.header[i] != nil {
		fault.Column = f.header[i].name
	}
	if quoted {
		fault.Reason += "; the cell begins with a quote: is there one that ends it?"
	}
	return &FileError{[]FileFault{fault}}
}

// longCell counts the cells of the beginning of a row, and tells whether it ends within quotes.
func longCell(row []byte, separator byte) (cell int, quoted bool) {
	begins := true
	for i := 0; i < len(row); i++ {
		switch c := row[i]; {
		case quoted && c == '"' && i+1 < len(row) && row[i+1] == '"':
			i++
		case quoted:
			quoted = c != '"'
		case c == '"' && begins:
			quoted = true
		case c == separator:
			cell++
		}
		begins = row[i] == separator && !quoted
	}
	return cell, quoted
}

func (f *csvFile) quoteFault(e *csv.ParseError) string {
	if errors.Is(e.Err, csv.ErrBareQuote) {
		return `has a quote within a cell that does not begin with one: put the cell in quotes and write the quote within it twice, "6"" pipe"`
	}
	fault := `has a cell in quotes that does not end with a quote before the separator: write a quote within the cell twice, "6"" pipe"`
	if e.Line > e.StartLine {
		line := e.Line
		if f.hint > 0 {
			line++
		}
		fault += fmt.Sprintf("; what stands in the file down to line %d was taken for this one row", line)
	}
	return fault
}

func (a *assembler) readCSV(r io.Reader) error {
	f, err := openCSV(r, a.options.MaxBytes)
	if err != nil {
		return err
	}
	if err := f.readHeader(); err != nil {
		return err
	}
	for {
		record, number, fault, err := f.next()
		if err == io.EOF && a.rows == 0 {
			return fileError(0, "the file %s", noRows)
		}
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		row := Row{Number: number}
		var entries []entry
		if fault == "" {
			entries, fault = csvEntries(f.header, record, &row)
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

// readHeader takes the first record that is not blank.
func (f *csvFile) readHeader() error {
	for {
		record, row, fault, err := f.next()
		switch {
		case err == io.EOF:
			return fileError(0, "the file has no row but blank ones")
		case err != nil:
			return err
		case fault != "":
			return fileError(row, "%s", fault)
		case isBlank(record):
			continue
		}
		headings := make([]heading, len(record))
		for i, name := range record {
			headings[i] = heading{canonical(name), strconv.Itoa(i + 1)}
		}
		columns, faults := readHeader(headings, "", row)
		if len(faults) > 0 {
			return &FileError{faults}
		}
		f.header = columns
		return nil
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
		return nil, fmt.Sprintf("has %d cells, the header %d: every row needs the same; a separator within a cell must stand in quotes",
			len(record), len(columns))
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
	r.Faults = append(r.Faults, RowFault{Row: r.Number, Column: column, Value: short(value),
		Reason: "has no name in the header: name the column, or clear the cell; for notes of your own there is the column remark"})
}
