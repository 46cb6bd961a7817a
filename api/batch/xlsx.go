package batch

import (
	"archive/zip"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
)

// Rows are read here and not by the library that writes the template: its streaming reader takes 5 GiB for one cell of
// 1 GiB (14 MiB here), cannot tell a date from a number, and takes a sheet that is cut off for one that ends.

// Limits of a workbook.
const (
	maxSheetBytes  = 2 << 30  // of a sheet, unpacked
	maxPartBytes   = 16 << 20 // of the parts that describe the workbook
	maxDirectory   = 4 << 20  // of the list of its parts
	maxSheetRows   = 1 << 20
	maxSheetColumn = 1 << 14
	maxMerges      = 200
)

func (a *assembler) readXLSX(r io.Reader) error {
	file, size, done, err := seekable(r, a.options.MaxBytes)
	if err != nil {
		return err
	}
	defer done()
	book, err := openWorkbook(file, size)
	if err != nil {
		return err
	}
	sheet, err := book.sheet(a.options.Sheet)
	if err != nil {
		return err
	}
	if err := book.load(); err != nil {
		return err
	}
	s := &sheetReader{book: book, name: sheet.name}
	if s.merges, err = s.findMerges(sheet.part); err != nil {
		return err
	}
	return s.read(sheet.part, a)
}

// seekable gives random access, which the format needs: to the file itself, or to a copy on disk.
func seekable(r io.Reader, maxBytes int64) (file io.ReaderAt, size int64, done func(), err error) {
	if f, ok := r.(interface {
		io.ReaderAt
		io.Seeker
	}); ok {
		if size, err = f.Seek(0, io.SeekEnd); err == nil {
			if size > maxBytes {
				return nil, 0, nil, tooLarge(maxBytes)
			}
			return f, size, func() {}, nil
		}
	}
	copied, err := os.CreateTemp("", "sites-*.xlsx")
	if err != nil {
		return nil, 0, nil, err
	}
	done = func() { copied.Close(); os.Remove(copied.Name()) }
	size, err = io.Copy(copied, io.LimitReader(r, maxBytes+1))
	if err == nil && size > maxBytes {
		err = tooLarge(maxBytes)
	}
	if err != nil {
		done()
		return nil, 0, nil, err
	}
	return copied, size, done, nil
}

// sheetReader reads the rows of one sheet.
type sheetReader struct {
	book   *workbook
	name   string
	merges []area

	decoder *xml.Decoder
	bound   *bounded
	columns []*slot
	text    []byte // of the cell that is read
	header  int    // its row; 0: not found yet
	row     int
	column  int // that is read, within a row
	within  bool
}

func (s *sheetReader) fail(row int, column, reason string) error {
	return &FileError{[]FileFault{{Sheet: s.name, Row: row, Column: column, Reason: reason}}}
}

// broken makes an error of the file of one of the reader.
func (s *sheetReader) broken(err error) error {
	var file *FileError
	switch {
	case errors.As(err, &file), errors.Is(err, errStopped):
		return err
	case errors.Is(err, errSpan) && s.within:
		return s.fail(s.row, s.columnName(), fmt.Sprintf("with this cell the row takes more than %d bytes of the sheet; a cell may have %d",
			maxFeatureBytes, maxRowBytes))
	case errors.Is(err, errSpan):
		return s.fail(s.row+1, "", fmt.Sprintf("takes more than %d bytes", maxFeatureBytes))
	case errors.Is(err, errUnpacked):
		return s.fail(0, "", fmt.Sprintf("unpacks to more than %d bytes: divide it, or save it as CSV UTF-8", int64(maxSheetBytes)))
	}
	return s.fail(s.row, "", "the sheet is damaged from here on ("+err.Error()+"): save the file again")
}

// read goes through the sheet once.
func (s *sheetReader) read(part *zip.File, a *assembler) error {
	rc, err := part.Open()
	if err != nil {
		return s.broken(err)
	}
	defer rc.Close()
	s.bound = &bounded{r: &unpacked{rc, maxSheetBytes}, span: maxFeatureBytes}
	s.decoder = xml.NewDecoder(s.bound)
	for {
		token, err := s.decoder.RawToken()
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return s.broken(err)
		}
		switch t := token.(type) {
		case xml.StartElement:
			if t.Name.Local == "row" {
				if err := s.readRow(t, a); err != nil {
					return s.broken(err)
				}
			}
		case xml.EndElement:
			if t.Name.Local == "sheetData" {
				return s.end(a)
			}
		}
		s.bound.mark = s.decoder.InputOffset()
	}
}

func (s *sheetReader) end(a *assembler) error {
	switch {
	case s.header == 0:
		return s.fail(0, "", "has no row but blank ones")
	case a.rows == 0:
		return s.fail(0, "", noRows)
	}
	return nil
}

// columnName is what the header calls the column that is read, or its letters.
func (s *sheetReader) columnName() string {
	if s.column < len(s.columns) && s.columns[s.column] != nil {
		return s.columns[s.column].name
	}
	return letters(s.column)
}

func (s *sheetReader) readRow(start xml.StartElement, a *assembler) error {
	number := s.row + 1
	if r := attribute(start, "r"); r != "" {
		n, err := strconv.Atoi(r)
		if err != nil || n < number || n > maxSheetRows {
			return s.fail(s.row, "", "is followed by a row of number "+strconv.Quote(short(r))+"; numbers rise, to at most "+
				""+strconv.Itoa(maxSheetRows)+": save the file again")
		}
		number = n
	}
	if number > maxSheetRows {
		return s.fail(s.row, "", "is followed by more rows, and a sheet has at most "+strconv.Itoa(maxSheetRows)+": save the file again")
	}
	s.row = number
	s.within = true
	cells, err := s.cells()
	if err != nil {
		return err
	}
	s.within = false
	if len(cells) == 0 {
		return nil
	}
	if s.header == 0 {
		return s.readHeading(cells)
	}
	row := Row{Number: number, Sheet: s.name}
	if on(attribute(start, "hidden")) {
		row.Notes = append(row.Notes, Note{"", "the row is hidden in the sheet; it was read all the same"})
	}
	return s.assemble(row, cells, a)
}

// placed is a cell and its column, counted from 0.
type placed struct {
	column int
	cell
}

// cells reads a row to its end and leaves blank cells out.
func (s *sheetReader) cells() ([]placed, error) {
	var cells []placed
	next, bytes := 0, 0
	for {
		s.column = next
		token, err := s.decoder.RawToken()
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return nil, err
		}
		switch t := token.(type) {
		case xml.EndElement:
			if t.Name.Local == "row" {
				return cells, nil
			}
		case xml.StartElement:
			if t.Name.Local != "c" {
				continue
			}
			if ref := attribute(t, "r"); ref != "" {
				_, column, ok := position(ref)
				if !ok || column < next {
					return nil, s.fail(s.row, "", "holds a cell at "+strconv.Quote(short(ref))+": save the file again")
				}
				next, s.column = column, column
			}
			c, err := s.cell(t)
			if err != nil {
				return nil, err
			}
			if c.kind != blank {
				cells = append(cells, placed{next, c})
			}
			if bytes += len(c.text); bytes > maxRowBytes {
				return nil, s.fail(s.row, s.columnName(), fmt.Sprintf("with this cell the texts of the row are longer than %d bytes, the "+
					"most that a row may have", maxRowBytes))
			}
			next++
		}
	}
}

// cell reads one cell to its end.
func (s *sheetReader) cell(start xml.StartElement) (cell, error) {
	raw := rawCell{kind: attribute(start, "t"), style: attribute(start, "s")}
	s.text = s.text[:0]
	into := ""
	for {
		token, err := s.decoder.RawToken()
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return cell{}, err
		}
		switch t := token.(type) {
		case xml.StartElement:
			switch into = t.Name.Local; into {
			case "f":
				raw.formula = true
			case "v", "is":
				raw.valued = true
			case "rPh": // how the text is pronounced
				if err := s.skip("rPh"); err != nil {
					return cell{}, err
				}
			}
		case xml.EndElement:
			if t.Name.Local == "c" {
				raw.text = string(s.text)
				return s.book.value(raw), nil
			}
			into = ""
		case xml.CharData:
			if into == "v" || into == "t" {
				s.text = append(s.text, t...)
			}
		}
	}
}

func (s *sheetReader) skip(name string) error {
	for {
		token, err := s.decoder.RawToken()
		if err != nil {
			return err
		}
		if t, ok := token.(xml.EndElement); ok && t.Name.Local == name {
			return nil
		}
	}
}

func (s *sheetReader) readHeading(cells []placed) error {
	s.header = s.row
	headings := make([]heading, cells[len(cells)-1].column+1)
	var faults []FileFault
	for _, c := range cells {
		if c.kind == faultyCell {
			faults = append(faults, FileFault{Sheet: s.name, Row: s.row, Column: letters(c.column), Reason: c.reason})
			continue
		}
		if c.kind != textCell {
			headings[c.column] = heading{c.text, letters(c.column)}
			continue
		}
		headings[c.column] = heading{canonical(c.text), letters(c.column)}
	}
	for _, m := range s.merges {
		if m.top <= s.row && s.row <= m.bottom {
			faults = append(faults, FileFault{Sheet: s.name, Row: s.row, Column: letters(m.left), Reason: "the cells " + m.String() +
				" of the header are merged: separate them and give every column its name"})
		}
	}
	columns, more := readHeader(headings, s.name, s.row)
	if faults = append(faults, more...); len(faults) > 0 {
		return &FileError{faults}
	}
	s.columns = columns
	return nil
}

// assemble sets the cells under their columns.
func (s *sheetReader) assemble(row Row, cells []placed, a *assembler) error {
	entries := make([]entry, 0, len(s.columns))
	for _, c := range cells {
		if c.column >= len(s.columns) || s.columns[c.column] == nil {
			row.unnamed(letters(c.column), c.text)
			continue
		}
		entries = append(entries, entry{s.columns[c.column], c.cell})
	}
	return a.row(row, s.merged(entries), nil)
}

// merged makes faults of the cells that a merge covers: whether its value is
// meant for all of them nobody can tell.
func (s *sheetReader) merged(entries []entry) []entry {
	here := func(m area) bool { return m.top <= s.row && s.row <= m.bottom }
	if !slices.ContainsFunc(s.merges, here) {
		return entries
	}
	for column, covered := range s.columns {
		if covered == nil {
			continue
		}
		i := slices.IndexFunc(s.merges, func(m area) bool {
			return here(m) && m.left <= column && column <= m.right && (s.row != m.top || column != m.left)
		})
		if i >= 0 {
			entries = append(entries, entry{covered, cell{kind: faultyCell, reason: "is one of the merged cells " + s.merges[i].String() +
				": separate them and fill in each"}})
		}
	}
	return entries
}

func attribute(e xml.StartElement, name string) string {
	for i := range e.Attr {
		if e.Attr[i].Name.Local == name && e.Attr[i].Name.Space == "" {
			return e.Attr[i].Value
		}
	}
	return ""
}

func on(s string) bool { return s == "1" || s == "true" }

// position reads a reference such as B12, row from 1 and column from 0.
func position(ref string) (row, column int, ok bool) {
	i := 0
	for i < len(ref) && ref[i] >= 'A' && ref[i] <= 'Z' && i < 3 {
		column = column*26 + int(ref[i]-'A') + 1
		i++
	}
	row, err := strconv.Atoi(ref[i:])
	return row, column - 1, err == nil && i > 0 && strings.Trim(ref[i:], digits) == "" && row >= 1 && row <= maxSheetRows &&
		column <= maxSheetColumn
}

// letters names a column counted from 0.
func letters(column int) string {
	s := ""
	for n := column + 1; n > 0; n = (n - 1) / 26 {
		s = string(rune('A'+(n-1)%26)) + s
	}
	return s
}

// area is a rectangle of merged cells; columns count from 0.
type area struct{ top, bottom, left, right int }

func (m area) String() string {
	return letters(m.left) + strconv.Itoa(m.top) + ":" + letters(m.right) + strconv.Itoa(m.bottom)
}

// errUnpacked is the error of a part that unpacks to more than is allowed.
var errUnpacked = errors.New("unpacks to too much")

// unpacked bounds what comes out of a packed part.
type unpacked struct {
	r    io.Reader
	left int64
}

func (u *unpacked) Read(p []byte) (int, error) {
	if u.left <= 0 {
		return 0, errUnpacked
	}
	n, err := u.r.Read(p[:min(int64(len(p)), u.left)])
	u.left -= int64(n)
	return n, err
}

// findMerges reads ahead to the merged cells, which a sheet lists after its rows.
func (s *sheetReader) findMerges(part *zip.File) ([]area, error) {
	rc, err := part.Open()
	if err != nil {
		return nil, s.broken(err)
	}
	defer rc.Close()
	var merges []area
	err = elements(&unpacked{rc, maxSheetBytes}, "mergeCell", func(attributes string) error {
		_, ref, _ := strings.Cut(attributes, "ref=")
		from, to, _ := strings.Cut(strings.Trim(strings.SplitN(ref+" ", " ", 2)[0], `"'/>`), ":")
		top, left, ok := position(from)
		bottom, right, too := position(to)
		if !ok || !too {
			return s.fail(0, "", "has merged cells that cannot be made out: save the file again")
		}
		if merges = append(merges, area{top, bottom, left, right}); len(merges) > maxMerges {
			return s.fail(0, "", fmt.Sprintf("has more than %d merged cells: separate them", maxMerges))
		}
		return nil
	})
	if err != nil {
		return nil, s.broken(err)
	}
	return merges, nil
}
