package batch

import (
	"levinward/tabletext"

	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"
)

// workbook is what the rows of a sheet need to be understood: texts that
// cells share and the formats that make a number a date.
type workbook struct {
	parts    map[string]*zip.File
	sheets   []sheetPart
	date1904 bool
	texts    sharedTexts
	dates    []bool // by style of a cell
	paths    map[string]string
}

type sheetPart struct {
	name, state string
	part        *zip.File
}

func openWorkbook(file io.ReaderAt, size int64) (*workbook, error) {
	start := make([]byte, min(size, 8))
	if _, err := file.ReadAt(start, 0); err != nil && err != io.EOF {
		return nil, err
	}
	switch {
	case size == 0:
		return nil, fileError(0, "the file is empty")
	case bytes.HasPrefix(start, []byte("\xd0\xcf\x11\xe0")):
		return nil, fileError(0, "%s", tabletext.OldWorkbook)
	case !bytes.HasPrefix(start, []byte("PK")):
		return nil, fileError(0, "this is no spreadsheet in the format XLSX; a text with separators has the format CSV")
	}
	list := &directory{file, maxDirectory}
	z, err := zip.NewReader(list, size)
	list.left = math.MaxInt64
	if errors.Is(err, errUnpacked) {
		return nil, fileError(0, "the spreadsheet has more parts than any has: save it again")
	}
	if err != nil {
		return nil, fileError(0, "the spreadsheet is damaged or was not received whole (%v): save or send it again", err)
	}
	b := &workbook{parts: map[string]*zip.File{}}
	for _, f := range z.File {
		b.parts[strings.ToLower(strings.TrimPrefix(f.Name, "/"))] = f
	}
	return b, b.readSheets()
}

// directory bounds what is read of a file until its parts are known.
type directory struct {
	r    io.ReaderAt
	left int64
}

func (d *directory) ReadAt(p []byte, offset int64) (int, error) {
	if d.left -= int64(len(p)); d.left < 0 {
		return 0, errUnpacked
	}
	return d.r.ReadAt(p, offset)
}

func (b *workbook) part(name string) *zip.File {
	return b.parts[strings.ToLower(strings.TrimPrefix(name, "/"))]
}

// each calls what for every element of a part, which may be absent.
func (b *workbook) each(name string, what func(d *xml.Decoder, e xml.StartElement) error) error {
	f := b.part(name)
	if f == nil {
		return nil
	}
	rc, err := f.Open()
	if err != nil {
		return damaged(name, err)
	}
	defer rc.Close()
	d := xml.NewDecoder(&unpacked{rc, maxPartBytes})
	for {
		token, err := d.RawToken()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return damaged(name, err)
		}
		if e, ok := token.(xml.StartElement); ok {
			if err := what(d, e); err != nil {
				return err
			}
		}
	}
}

func damaged(part string, err error) error {
	return fileError(0, "the spreadsheet is damaged (%s: %v): save the file again", part, err)
}

// links reads the relationships of a part: id to target, and type to target.
func (b *workbook) links(of string) (byID, byType map[string]string, err error) {
	byID, byType = map[string]string{}, map[string]string{}
	dir, name := path.Split(of)
	err = b.each(dir+"_rels/"+name+".rels", func(_ *xml.Decoder, e xml.StartElement) error {
		if e.Name.Local == "Relationship" {
			target := attribute(e, "Target")
			if !strings.HasPrefix(target, "/") {
				target = path.Join(dir, target)
			}
			byID[attribute(e, "Id")] = target
			byType[path.Base(attribute(e, "Type"))] = target
		}
		return nil
	})
	return byID, byType, err
}

func (b *workbook) readSheets() error {
	_, root, err := b.links("")
	if err != nil {
		return err
	}
	main := root["officeDocument"]
	if b.part(main) == nil || strings.HasSuffix(main, ".bin") {
		return fileError(0, "this is no spreadsheet in the format XLSX; open it and save it as XLSX")
	}
	byID, byType, err := b.links(main)
	if err != nil {
		return err
	}
	b.paths = byType
	return b.each(main, func(_ *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "workbookPr":
			b.date1904 = on(attribute(e, "date1904"))
		case "sheet":
			for _, a := range e.Attr {
				if a.Name.Local == "id" && a.Name.Space != "" {
					if target := byID[a.Value]; strings.Contains(strings.ToLower(target), "worksheet") && b.part(target) != nil {
						b.sheets = append(b.sheets, sheetPart{attribute(e, "name"), attribute(e, "state"), b.part(target)})
					}
				}
			}
		}
		return nil
	})
}

// sheet finds a sheet by name; without a name it is the first that is not hidden.
func (b *workbook) sheet(name string) (sheetPart, error) {
	names := make([]string, len(b.sheets))
	for i, s := range b.sheets {
		if s.name == name || name == "" && s.state != "hidden" && s.state != "veryHidden" {
			return s, nil
		}
		names[i] = strconv.Quote(s.name)
	}
	if name == "" {
		return sheetPart{}, fileError(0, "the spreadsheet has no sheet with cells that is not hidden")
	}
	return sheetPart{}, fileError(0, "there is no sheet %q; the sheets are %s", name, strings.Join(names, ", "))
}

// load reads the styles and the shared texts.
func (b *workbook) load() error {
	if err := b.readStyles(); err != nil {
		return err
	}
	f := b.part(b.paths["sharedStrings"])
	if f == nil {
		return nil
	}
	rc, err := f.Open()
	if err != nil {
		return damaged(f.Name, err)
	}
	defer rc.Close()
	return b.texts.read(rc, f.Name)
}

// readStyles finds out which styles of cells show a number as a date.
func (b *workbook) readStyles() error {
	formats := map[string]bool{}
	within := ""
	return b.each(b.paths["styles"], func(_ *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "cellStyleXfs", "cellXfs":
			within = e.Name.Local
		case "numFmt":
			formats[attribute(e, "numFmtId")] = showsDate(attribute(e, "formatCode"))
		case "xf":
			if within == "cellXfs" {
				id := attribute(e, "numFmtId")
				own, there := formats[id]
				b.dates = append(b.dates, there && own || !there && builtInDate(id))
			}
		}
		return nil
	})
}

// builtInDate knows the formats without a code that show dates and times (ECMA-376 part 1, 18.8.30;
// from memory, held against a library that shows them in the test).
func builtInDate(id string) bool {
	n, err := strconv.Atoi(id)
	return err == nil && (n >= 14 && n <= 22 || n >= 27 && n <= 36 || n >= 45 && n <= 47 || n >= 50 && n <= 58)
}

// showsDate reports whether a format code has letters of dates outside texts, colours and conditions.
func showsDate(code string) bool {
	for i := 0; i < len(code); i++ {
		switch code[i] {
		case '"':
			i = skipTo(code, i+1, '"')
		case '[':
			end := skipTo(code, i+1, ']')
			if inner := strings.ToLower(code[i+1 : min(end, len(code))]); inner != "" && strings.Trim(inner, "hms") == "" {
				return true // elapsed time
			}
			i = end
		case '\\', '_', '*':
			i++
		case 'd', 'm', 'y', 'h', 's', 'D', 'M', 'Y', 'H', 'S':
			return true
		case 'G', 'g':
			if len(code)-i >= 7 && strings.EqualFold(code[i:i+7], "General") {
				i += 6
			}
		}
	}
	return false
}

func skipTo(s string, from int, c byte) int {
	if i := strings.IndexByte(s[from:], c); i >= 0 {
		return from + i
	}
	return len(s)
}

// rawCell is a cell as the sheet holds it.
type rawCell struct {
	kind, style, text string
	formula, valued   bool
}

const (
	formulaNote = "is a formula; its value when the file was saved was used"
	neverFilled = "is a formula without a value: open the file in a spreadsheet program, let it compute and save it, or write the value"
)

// value makes out what a cell holds.
func (b *workbook) value(raw rawCell) cell {
	if raw.formula && !raw.valued {
		return cell{kind: faultyCell, reason: neverFilled}
	}
	c := b.plainValue(raw)
	if raw.formula && c.kind != blank {
		c.note = formulaNote
	}
	return c
}

func (b *workbook) plainValue(raw rawCell) cell {
	switch raw.kind {
	case "s":
		i, err := strconv.Atoi(strings.TrimSpace(raw.text))
		if err != nil || i < 0 || i >= b.texts.count() {
			return cell{kind: faultyCell, text: raw.text, reason: "refers to a text that the file does not hold: save the file again"}
		}
		return longText(b.texts.at(i))
	case "str", "inlineStr":
		return longText(raw.text)
	case "b":
		return booleanOf(on(strings.TrimSpace(raw.text)))
	case "e":
		return cell{kind: faultyCell, text: raw.text, reason: "is an error of the spreadsheet, no value"}
	case "d":
		return cell{kind: dateCell, text: raw.text}
	}
	text := strings.TrimSpace(raw.text)
	if text == "" {
		return cell{}
	}
	v, reason := tabletext.Number(text, DecimalPoint)
	if reason != "" {
		return cell{kind: faultyCell, text: text, reason: reason}
	}
	if style, err := strconv.Atoi(raw.style); err == nil && style >= 0 && style < len(b.dates) && b.dates[style] {
		return cell{kind: dateCell, text: b.date(v)}
	}
	return numberOf(v)
}

// longText is a text of a sheet, refused where it is longer than any cell may be.
func longText(s string) cell {
	if len(s) > maxRowBytes {
		return cell{kind: faultyCell, text: short(s[:4*maxValueRunes+4]),
			reason: fmt.Sprintf("is longer than %d bytes, the most that a cell may have", maxRowBytes)}
	}
	return textOf(unescape(s))
}

// date writes the day that a number stands for.
func (b *workbook) date(days float64) string {
	const most = 2958465 // 9999-12-31
	if !(days >= 0 && days <= most) {
		return plain(days)
	}
	first := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	if b.date1904 {
		first = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	t := first.Add(time.Duration(days * 24 * float64(time.Hour))).Round(time.Second)
	if days == float64(int(days)) {
		return t.Format(time.DateOnly)
	}
	return t.Format(time.DateTime)
}

// unescape reads the escapes of characters that XML cannot hold; a carriage return is the only one of use.
func unescape(s string) string { return strings.ReplaceAll(s, "_x000D_", "") }

// Limits of the texts that the cells of a workbook share, which stay in memory, 80 MiB
// at most: a million rows can have four texts each that no other row has.
const (
	maxSharedBytes = 64 << 20
	maxSharedTexts = 4 << 20
	maxSharedText  = 2 << 20 // the markup of one
)

// sharedTexts are the texts of a workbook, one after the other. Of one that
// is longer than a cell may be only enough is kept to see that.
type sharedTexts struct {
	bytes blocks[byte]
	ends  blocks[uint32]
}

func (t *sharedTexts) count() int { return t.ends.n }

func (t *sharedTexts) at(i int) string {
	from := 0
	if i > 0 {
		from = int(t.ends.at(i - 1))
	}
	return string(t.bytes.between(from, int(t.ends.at(i))))
}

// blocks is a list that grows without being copied.
type blocks[T any] struct {
	blocks [][]T
	n      int
}

const blockLength = 1 << 16

func (b *blocks[T]) add(values ...T) {
	for len(values) > 0 {
		if b.n%blockLength == 0 {
			b.blocks = append(b.blocks, make([]T, blockLength))
		}
		n := copy(b.blocks[b.n/blockLength][b.n%blockLength:], values)
		values = values[n:]
		b.n += n
	}
}

func (b *blocks[T]) at(i int) T { return b.blocks[i/blockLength][i%blockLength] }

// between copies a part of the list.
func (b *blocks[T]) between(from, to int) []T {
	values := make([]T, 0, to-from)
	for from < to {
		block := b.blocks[from/blockLength][from%blockLength:]
		block = block[:min(len(block), to-from)]
		values = append(values, block...)
		from += len(block)
	}
	return values
}

func (t *sharedTexts) read(r io.Reader, name string) error {
	bound := &bounded{r: &unpacked{r, maxSheetBytes}, span: maxSharedText}
	d := xml.NewDecoder(bound)
	var open []string
	begin := 0
	for {
		token, err := d.RawToken()
		if err == io.EOF && len(open) == 0 {
			return nil
		}
		if err != nil {
			return t.broken(name, err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			open = append(open, e.Name.Local)
		case xml.EndElement:
			if len(open) > 0 {
				open = open[:len(open)-1]
			}
			if e.Name.Local == "si" {
				t.ends.add(uint32(t.bytes.n))
				begin = t.bytes.n
				bound.mark = d.InputOffset()
			}
		case xml.CharData:
			if len(open) > 0 && open[len(open)-1] == "t" && !slices.Contains(open, "rPh") {
				room := maxRowBytes + 1 - (t.bytes.n - begin)
				t.bytes.add(e[:min(len(e), room)]...)
			}
		}
		switch {
		case t.bytes.n > maxSharedBytes:
			return fileError(0, "the spreadsheet holds more than %d bytes of different texts: divide it, or save it as CSV UTF-8", maxSharedBytes)
		case t.count() > maxSharedTexts:
			return fileError(0, "the spreadsheet holds more than %d different texts: divide it, or save it as CSV UTF-8", maxSharedTexts)
		case len(open) > 100:
			return damaged(name, errors.New("elements within elements without end"))
		}
	}
}

func (t *sharedTexts) broken(name string, err error) error {
	switch {
	case errors.Is(err, errSpan):
		return fileError(0, "text %d of the list of texts that cells share (%s) takes more than %d bytes; a cell may have %d", t.count()+1,
			name, maxSharedText, maxRowBytes)
	case errors.Is(err, errUnpacked):
		return fileError(0, "the texts of the spreadsheet unpack to more than %d bytes: divide it, or save it as CSV UTF-8", int64(maxSheetBytes))
	}
	return damaged(name, err)
}

// elements calls what with the attributes of every element of a name, in one
// quick pass that does not take the document apart.
func elements(r io.Reader, name string, what func(attributes string) error) error {
	const longest = 512 // bytes of an element
	mark := []byte(name + " ")
	buffer := make([]byte, 0, 64<<10)
	for {
		n, err := r.Read(buffer[len(buffer):cap(buffer)])
		buffer = buffer[:len(buffer)+n]
		rest := buffer
		for {
			at := bytes.Index(rest, mark)
			if at < 0 {
				rest = rest[max(0, len(rest)-len(mark)-1):]
				break
			}
			end := bytes.IndexByte(rest[at:], '>')
			if end < 0 && len(rest)-at < longest && err == nil {
				rest = rest[max(0, at-1):]
				break
			}
			if end < 0 {
				return io.ErrUnexpectedEOF
			}
			if before := rest[:at]; len(before) > 0 && (before[at-1] == '<' || before[at-1] == ':') {
				if err := what(string(rest[at+len(mark) : at+end])); err != nil {
					return err
				}
			}
			rest = rest[at+end:]
		}
		buffer = append(buffer[:0], rest...)
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
	}
}
