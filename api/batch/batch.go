// Package batch reads the sites of a portfolio from CSV, XLSX and GeoJSON: every
// row becomes the input of one assessment, or says what keeps it from being one.
//
// Rows are streamed; memory does not grow with the number of rows. A bad row
// does not stop the reading, and all its faults are told at once. What is wrong with the file as
// a whole (its encoding, its header) stops it with a FileError. Nothing is guessed: what can be
// read in two ways is refused with the way to say it clearly.
//
// Columns is the dictionary of everything a file can say, Template a file to start from.
package batch

import (
	"levinward/tabletext"

	"errors"
	"fmt"
	"io"
	"path"
	"strings"

	"levinward/api/wire"
)

// Format is a kind of file.
type Format string

// The formats that can be read and that have a template.
const (
	CSV     Format = "csv"
	XLSX    Format = "xlsx"
	GeoJSON Format = "geojson"
)

// FormatOf tells the format of a file by the end of its name.
func FormatOf(name string) (Format, error) {
	switch strings.ToLower(path.Ext(name)) {
	case ".csv", ".tsv", ".txt":
		return CSV, nil
	case ".xlsx":
		return XLSX, nil
	case ".geojson", ".json":
		return GeoJSON, nil
	}
	return "", fmt.Errorf("%q is no name of a file that can be imported; it must end in .csv, .tsv, .txt, .xlsx, .geojson or .json", name)
}

// Decimal is the sign between whole and fraction in numbers that are written as text.
type Decimal = tabletext.Decimal

// The decimal signs.
const (
	DecimalPoint = tabletext.DecimalPoint
	DecimalComma = tabletext.DecimalComma
)

// Options say how a file is read.
type Options struct {
	Format  Format
	Sheet   string  // XLSX: name of the sheet; empty: the first
	Decimal Decimal // numbers in text; empty: DecimalPoint
	Presets Presets
	// MaxBytes is the size above which a file is refused; 0: 1 GiB.
	MaxBytes int64
}

// Limits of a file.
const (
	defaultMaxBytes = 1 << 30
	maxRowBytes     = 64 << 10 // a row of CSV; the text of a row or of a cell of XLSX
	maxFeatureBytes = 1 << 20  // a feature of GeoJSON; the markup of a row of XLSX
	maxValueRunes   = 200      // of a value that is repeated in a fault
)

// Row is one site as a file describes it.
type Row struct {
	// Number counts as a spreadsheet does, the header being row 1 of a CSV file; a line
	// break within quotes does not begin a row. Features of GeoJSON count from 1.
	Number int
	Sheet  string      // XLSX only
	Input  *wire.Input // nil where the row has faults
	Site   *wire.Site  // Input.Core(), free of violations; nil where the row has faults
	Faults []RowFault
	Notes  []Note
	// Reference is the user's own number for the site, also of a row with
	// faults; empty where it has none or it cannot be read.
	Reference string
}

// RowFault is what is wrong with one cell, or with the row where Column is empty, or
// with the file as a whole where Row is 0.
type RowFault struct {
	Row    int
	Column string
	Value  string // as it stands in the file, cut to 200 characters
	Reason string // what is wrong and what is allowed
}

func (f RowFault) String() string {
	var where []string
	if f.Row > 0 {
		where = append(where, fmt.Sprintf("row %d", f.Row))
	}
	if f.Column != "" {
		where = append(where, f.Column)
	}
	if where == nil {
		return f.Reason
	}
	s := strings.Join(where, ", ")
	if f.Value != "" {
		s += fmt.Sprintf(" %q", f.Value)
	}
	return s + ": " + f.Reason
}

// Note is something that was taken in a way the user should know of.
type Note struct{ Column, Text string }

// FileFault is one thing that is wrong with a file as a whole. Row and Column are zero where it has none.
type FileFault struct {
	Sheet  string
	Row    int
	Column string
	Reason string
}

func (f FileFault) String() string {
	var where []string
	if f.Sheet != "" {
		where = append(where, fmt.Sprintf("sheet %q", f.Sheet))
	}
	if f.Row > 0 {
		where = append(where, fmt.Sprintf("row %d", f.Row))
	}
	if f.Column != "" {
		where = append(where, fmt.Sprintf("column %q", f.Column))
	}
	if where == nil {
		return f.Reason
	}
	return strings.Join(where, ", ") + ": " + f.Reason
}

// FileError stops the reading of a file. Rows that were handed out before
// belong to a file that as a whole cannot be trusted.
type FileError struct{ Faults []FileFault }

func (e *FileError) Error() string {
	lines := make([]string, len(e.Faults))
	for i, f := range e.Faults {
		lines[i] = f.String()
	}
	return strings.Join(lines, "\n")
}

func fileError(row int, reason string, args ...any) error {
	return &FileError{[]FileFault{{Row: row, Reason: fmt.Sprintf(reason, args...)}}}
}

// Read hands every row of a file to yield, until yield returns false, and
// returns nil at the end of the file. A *FileError tells what is wrong with the file, a
// *PresetError what is wrong with the presets; any other error is one of r.
//
// A spreadsheet needs random access: an r that can seek (a file) is read in
// place from its beginning, any other is copied to a temporary file first.
func Read(r io.Reader, o Options, yield func(Row) bool) error {
	switch o.Decimal {
	case "":
		o.Decimal = DecimalPoint
	case DecimalPoint, DecimalComma:
	default:
		return fmt.Errorf("decimal must be %s or %s, found %q", DecimalPoint, DecimalComma, o.Decimal)
	}
	if o.MaxBytes <= 0 {
		o.MaxBytes = defaultMaxBytes
	}
	if err := o.Presets.Check(); err != nil {
		return err
	}
	a := &assembler{options: o, yield: yield}
	var err error
	switch o.Format {
	case CSV:
		err = a.readCSV(r)
	case XLSX:
		err = a.readXLSX(r)
	case GeoJSON:
		err = a.readGeoJSON(r)
	default:
		return fmt.Errorf("format must be %s, %s or %s, found %q", CSV, XLSX, GeoJSON, o.Format)
	}
	if errors.Is(err, errStopped) {
		return nil
	}
	return err
}

// errStopped ends the reading when yield wants no more.
var errStopped = errors.New("stopped")
