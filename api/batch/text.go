package batch

import (
	"levinward/tabletext"

	"bufio"
	"bytes"
	"errors"
	"io"
	"strings"
	"unicode/utf8"
)

// textSource hands on a text in UTF-8 without its mark, and refuses anything
// else, naming the line. Its size is bounded.
type textSource struct {
	r     *bufio.Reader
	kind  Format // for the advice in its faults
	tail  []byte // the beginning of a letter that the last piece cut through
	lines int
	left  int64
	max   int64
	err   error
}

// howToSave says how a text comes to be in UTF-8.
func howToSave(kind Format) string {
	if kind == GeoJSON {
		return "write the file in UTF-8, the only encoding of GeoJSON" // RFC 7946 by RFC 8259, 8.1
	}
	return tabletext.HowToSave
}

// newText looks at the beginning of a file before anything is read from it.
func newText(r io.Reader, kind Format, maxBytes int64) (*textSource, error) {
	b := bufio.NewReaderSize(r, 64<<10)
	start, err := b.Peek(4 << 10)
	if err != nil && err != io.EOF {
		return nil, err
	}
	if len(bytes.TrimSpace(bytes.TrimPrefix(start, tabletext.Mark))) == 0 && err == io.EOF {
		return nil, fileError(0, "the file is empty")
	}
	if reason := notUTF8Text(start, kind); reason != "" {
		return nil, fileError(0, "%s", reason)
	}
	tabletext.SkipMark(b)
	return &textSource{r: b, kind: kind, left: maxBytes, max: maxBytes}, nil
}

// notUTF8Text recognises other files by how they begin.
func notUTF8Text(start []byte, kind Format) string {
	reason := tabletext.NoText(start)
	archive := bytes.HasPrefix(start, []byte("PK\x03\x04"))
	switch {
	case kind == GeoJSON && archive:
		return "this is a spreadsheet or another archive, no text: choose the format XLSX for a spreadsheet, or unpack the archive"
	case kind == GeoJSON:
		return strings.Replace(reason, tabletext.HowToSave, howToSave(kind), 1)
	case archive:
		return "this is a spreadsheet or another archive, no text: choose the format XLSX for it, or save the sheet as CSV UTF-8"
	}
	return reason
}

func (t *textSource) Read(p []byte) (int, error) {
	if t.err != nil {
		return 0, t.err
	}
	if t.left <= 0 {
		if _, t.err = t.r.Peek(1); t.err == nil {
			t.err = tooLarge(t.max)
		}
		return 0, t.err // that of the reader where it has a limit of its own
	}
	n, err := t.r.Read(p[:min(int64(len(p)), t.left)])
	t.left -= int64(n)
	if fault := t.check(p[:n], err == io.EOF); fault != nil {
		t.err = fault
		return 0, fault
	}
	return n, err
}

func tooLarge(most int64) error {
	return fileError(0, "the file is larger than %d bytes: divide it", most)
}

// check looks at the letters of a piece; one that is cut through is looked at with the next.
func (t *textSource) check(piece []byte, last bool) error {
	at := bytes.IndexByte(piece, 0)
	if at < 0 {
		if len(t.tail) == 0 && utf8.Valid(piece) {
			t.lines += bytes.Count(piece, []byte{'\n'})
			return nil
		}
	} else {
		return fileError(0, "line %d holds a byte of value 0, which no text does: %s", t.lines+1+bytes.Count(piece[:at], []byte{'\n'}),
			howToSave(t.kind))
	}
	b := append(t.tail, piece...)
	t.tail = nil
	for i := 0; i < len(b); {
		if b[i] == '\n' {
			t.lines++
		}
		r, size := utf8.DecodeRune(b[i:])
		if r == utf8.RuneError && size <= 1 {
			if !last && !utf8.FullRune(b[i:]) {
				t.tail = bytes.Clone(b[i:])
				return nil
			}
			return fileError(0, "line %d is not in UTF-8 (byte 0x%02X, as in Windows-1252 and other one-byte encodings); %s", t.lines+1, b[i],
				howToSave(t.kind))
		}
		i += size
	}
	return nil
}

// bounded refuses to read on when too much was read since the last mark: one
// row that never ends must not fill the memory.
type bounded struct {
	r          io.Reader
	read, mark int64
	span       int64
}

// errSpan is the error of a row that is too long.
var errSpan = errors.New("row too long")

func (b *bounded) Read(p []byte) (int, error) {
	left := b.mark + b.span - b.read
	if left <= 0 {
		return 0, errSpan
	}
	n, err := b.r.Read(p[:min(int64(len(p)), left)])
	b.read += int64(n)
	return n, err
}

// recent keeps what was read since a mark, to look at it when a row turns out too long.
type recent struct {
	r     io.Reader
	from  int64 // where the bytes begin
	bytes []byte
}

func (k *recent) Read(p []byte) (int, error) {
	n, err := k.r.Read(p)
	k.bytes = append(k.bytes, p[:n]...)
	return n, err
}

// forget lets go of what stands before a place.
func (k *recent) forget(before int64) {
	const enough = 64 << 10 // do not move the rest for every row
	if n := before - k.from; n >= enough {
		k.bytes = append(k.bytes[:0], k.bytes[n:]...)
		k.from = before
	}
}

// since is what was read from a place on.
func (k *recent) since(place int64) []byte { return k.bytes[place-k.from:] }

// lineBreaksIn counts the line breaks within the fields of a record.
func lineBreaksIn(fields []string) int {
	n := 0
	for _, f := range fields {
		n += strings.Count(f, "\n")
	}
	return n
}
