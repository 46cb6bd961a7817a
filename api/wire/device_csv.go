package wire

import (
	"levinward/tabletext"

	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Limits of a CSV file of devices.
const (
	MaxDeviceRow  = 64 << 10 // bytes of a row
	MaxDeviceRows = 200_000
)

// RowFault is one thing that is wrong in a table: in a column of the row that begins at a line, or with the row or file.
type RowFault struct {
	Line   int    // from 1, the header
	Column string // empty: the row as a whole
	Value  string // what was found, shortened
	Reason string // what is wrong and what is allowed
}

// deviceColumns are the columns that a table can have: the fields of Device under their own names.
var deviceColumns = Fields(reflect.TypeFor[Device]())

// DeviceColumns lists the names of the columns, which are those of the JSON fields.
func DeviceColumns() []string {
	names := make([]string, len(deviceColumns))
	for i := range deviceColumns {
		names[i] = deviceColumns[i].Name
	}
	return names
}

// DeviceReader reads devices from a table, one row at a time: CSV (RFC 4180) in UTF-8 with
// a header of column names in any order, in the form of package tabletext,
// the entries of a list parted by |. An empty cell is a field left out.
type DeviceReader struct {
	source  *rowLimiter
	csv     *csv.Reader
	comma   rune
	columns []*Field // of the table
	begin   int64    // offset of the row
	line    int      // of the row before
	before  int      // lines before the header
	decimal tabletext.Decimal
}

// NewDeviceReader reads the header. The faults are those of the header; the
// error is that of the source.
func NewDeviceReader(source io.Reader, decimal tabletext.Decimal) (*DeviceReader, []RowFault, error) {
	r := &DeviceReader{decimal: decimal, source: &rowLimiter{source: source, room: MaxDeviceRow + readAhead}}
	buffered := bufio.NewReaderSize(r.source, readAhead)
	start, fault, err := tabletext.Skip(buffered)
	if err != nil {
		return nil, nil, err
	}
	if fault != "" {
		return nil, []RowFault{{Line: 1, Reason: fault}}, nil
	}
	r.comma, r.before = start.Comma, start.Lines
	r.csv = csv.NewReader(buffered)
	r.csv.Comma, r.csv.FieldsPerRecord, r.csv.ReuseRecord = r.comma, -1, true
	header, line, wrong, err := r.row()
	if err != nil && err != io.EOF || wrong != nil {
		return nil, one(wrong), err
	}
	if len(header) == 0 {
		return nil, []RowFault{{Line: 1, Reason: "the table is empty; its first line names the columns: " + columnNames()}}, nil
	}
	faults := r.header(header, line)
	return r, faults, nil
}

func one(f *RowFault) []RowFault {
	if f == nil {
		return nil
	}
	return []RowFault{*f}
}

func columnNames() string { return strings.Join(DeviceColumns(), ", ") }

// header finds the column of each cell of the header, all faults at once.
func (r *DeviceReader) header(cells []string, line int) (faults []RowFault) {
	r.columns = make([]*Field, len(cells))
	seen := map[string]bool{}
	for i, cell := range cells {
		name := strings.TrimSpace(cell)
		n := slices.IndexFunc(deviceColumns, func(c Field) bool { return c.Name == name })
		switch {
		case n < 0:
			faults = append(faults, RowFault{Line: line, Column: shown(name), Value: shown(cell), Reason: "unknown column; allowed: " + columnNames()})
			continue
		case seen[name]:
			faults = append(faults, RowFault{Line: line, Column: name, Value: name, Reason: "the column stands twice"})
		}
		seen[name] = true
		r.columns[i] = &deviceColumns[n]
	}
	for i := range deviceColumns {
		if c := &deviceColumns[i]; c.Required && !seen[c.Name] {
			faults = append(faults, RowFault{Line: line, Column: c.Name, Reason: "the column is required"})
		}
	}
	return faults
}

// row reads the cells of the next row and the line it begins at. A fault here means that nothing
// behind it can be read: where a quote is out of place, nobody knows where a row ends.
func (r *DeviceReader) row() (cells []string, line int, fault *RowFault, err error) {
	r.begin = r.csv.InputOffset()
	r.source.room = r.begin + MaxDeviceRow + 2*readAhead
	cells, err = r.csv.Read()
	var syntax *csv.ParseError
	switch {
	case errors.As(err, &syntax):
		return nil, 0, &RowFault{Line: syntax.StartLine + r.before,
			Reason: "a quote is out of place (line " + strconv.Itoa(syntax.Line+r.before) + ", byte " + strconv.Itoa(syntax.Column) +
				`): quote a whole cell and double the quotes within it ("a ""b"" c"); no row from here on was read`}, nil
	case errors.Is(err, errRowTooLong):
		return nil, 0, &RowFault{Line: r.line + 1, Reason: "a row that begins here or further on is longer than " + strconv.Itoa(MaxDeviceRow>>10) + " kB; is a quote left open? No row from here on was read"}, nil
	case err != nil:
		return nil, 0, nil, err
	}
	r.line, _ = r.csv.FieldPos(0)
	r.line += r.before
	return cells, r.line, nil, nil
}

// Next reads a row: a device, or its faults. The line is where the row begins. fatal is a fault
// behind which no row can be read. The error is io.EOF at the end, or that of the source.
func (r *DeviceReader) Next() (d *Device, line int, faults []RowFault, fatal *RowFault, err error) {
	cells, line, fatal, err := r.row()
	if err != nil || fatal != nil {
		return nil, line, nil, fatal, err
	}
	if n := r.csv.InputOffset() - r.begin; n > MaxDeviceRow {
		return nil, line, []RowFault{{Line: line, Reason: "the row has " + strconv.FormatInt(n, 10) + " bytes, at most " + strconv.Itoa(MaxDeviceRow) + " are allowed"}}, nil, nil
	}
	if len(cells) != len(r.columns) {
		reason := "the row has " + strconv.Itoa(len(cells)) + " cells, the header " + strconv.Itoa(len(r.columns))
		if len(cells) > len(r.columns) && r.comma == ',' {
			reason += "; a decimal comma or a comma in a text parts a cell in two: write numbers with a point and quote such texts"
		}
		return nil, line, []RowFault{{Line: line, Reason: reason}}, nil, nil
	}
	d = new(Device)
	row := reflect.ValueOf(d).Elem()
	for i, cell := range cells {
		column := r.columns[i]
		if reason := column.setCell(row, strings.TrimSpace(cell), r.decimal); reason != "" {
			faults = append(faults, RowFault{Line: line, Column: column.Name, Value: shown(cell), Reason: reason})
		}
	}
	for _, v := range d.Faults() {
		name := v.Pointer[1:]
		if !slices.ContainsFunc(faults, func(f RowFault) bool { return f.Column == name }) {
			faults = append(faults, RowFault{Line: line, Column: name, Value: shown(cellOf(cells, r.columns, name)), Reason: v.Reason})
		}
	}
	if len(faults) > 0 {
		return nil, line, faults, nil, nil
	}
	return d, line, nil, nil, nil
}

func cellOf(cells []string, columns []*Field, name string) string {
	for i, c := range columns {
		if c.Name == name {
			return cells[i]
		}
	}
	return ""
}

// shown is a cell as a fault shows it.
func shown(cell string) string {
	const most = 60
	runes := []rune(strings.ToValidUTF8(cell[:min(len(cell), 4*most+4)], "\uFFFD"))
	if len(runes) > most {
		return string(runes[:most]) + "…"
	}
	return string(runes)
}

// set puts a cell into its field of a device, or says why it cannot.
func (f *Field) setCell(row reflect.Value, cell string, decimal tabletext.Decimal) (reason string) {
	switch {
	case !utf8.ValidString(cell):
		return "is not UTF-8; the file may be in Windows-1252 or another single-byte encoding: save it as CSV in UTF-8"
	case cell == "" && f.Required:
		return "is required: " + f.allowed()
	case cell == "":
		return ""
	}
	var value any
	if f.List {
		var entries []any
		for _, part := range strings.Split(strings.TrimPrefix(cell, "'"), "|") { // tables of the service mark a list that begins with + or -
			entry, reason := f.entry(strings.TrimSpace(part), decimal)
			if reason != "" {
				return reason
			}
			entries = append(entries, entry)
		}
		if f.Items != nil && !f.Items.holds(float64(len(entries))) {
			return "must be " + f.allowed()
		}
		value = entries
	} else if value, reason = f.entry(cell, decimal); reason != "" {
		return reason
	}
	f.store(row, value)
	return ""
}

// entry is the JSON value of a cell, or of one entry of its list.
func (f *Field) entry(text string, decimal tabletext.Decimal) (value any, reason string) {
	price := f.Type == reflect.TypeFor[Price]()
	if price && decimal == tabletext.DecimalComma {
		text = strings.Replace(text, ",", ".", 1)
	}
	value = text
	if f.Type.Kind() == reflect.Float64 {
		number, reason := tabletext.Number(text, decimal)
		if reason != "" {
			return nil, reason + "; must be " + f.allowed()
		}
		value = number
	}
	if f.Accepts(value) {
		return value, ""
	}
	reason = "must be " + f.allowed()
	if price && strings.Contains(text, ",") {
		reason += "; write a decimal point, not a comma, or say that the table has decimal commas (decimal=comma)"
	}
	return nil, reason
}

// allowed says in words what a column takes.
func (f *Field) allowed() string {
	text := f.Allowed()
	if f.List {
		text += "; several parted by |, at most " + format(f.Items.Max)
	}
	return text
}

// readAhead is how much the CSV reader takes from its source beyond the row it reads.
const readAhead = 4096

var errRowTooLong = errors.New("row too long")

// rowLimiter ends the source where a row would take more memory than a row may: an open quote would
// otherwise take all of the file for one cell.
type rowLimiter struct {
	source io.Reader
	given  int64
	room   int64 // up to which offset the source may be read
}

func (l *rowLimiter) Read(p []byte) (int, error) {
	if l.given >= l.room {
		return 0, errRowTooLong
	}
	n, err := l.source.Read(p)
	l.given += int64(n)
	return n, err
}

// DeviceTemplate is a table with a header and one invented device, to be filled in.
func DeviceTemplate() []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	row := make([]string, len(deviceColumns))
	for i := range deviceColumns {
		row[i] = templateRow[deviceColumns[i].Name]
	}
	w.WriteAll([][]string{DeviceColumns(), row}) // to memory: no error
	return b.Bytes()
}

// templateRow is an invented device: class II for a single-phase supply in TT.
var templateRow = map[string]string{
	"reference": "INVENTED-1", "name": "Invented device, class II, single phase", "use": "Example row: replace it", "current": "ac", "uc_ac_v": "275",
	"up_kv": "1.5", "in_ka": "20", "in_n_pe_ka": "40", "imax_ka": "40", "test_classes": "II", "technology": "limiting", "short_circuit_ka": "25",
	"tov_v": "337", "up_l_pe_kv": "1.5", "tov_n_pe_200ms_v": "1200", "max_backup_a": "125", "modes": "L-N|N-PE", "connections": "CT2", "price": "48.50", "currency": "XTS",
}
