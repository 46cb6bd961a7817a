// Package tabletext is the one form in which tables come as text (CSV, RFC 4180): files of sites, of devices, of flash
// densities and of reviewed values. UTF-8 with or without its mark; cells parted by comma, semicolon or tab, as the
// header is or as a first line such as sep=; says; a decimal sign that is stated and never guessed.
package tabletext

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode"
)

// Mark may stand at the beginning of a text in UTF-8.
var Mark = []byte("\xef\xbb\xbf")

// HowToSave says how a table comes to be in UTF-8.
const HowToSave = `save it as "CSV UTF-8" or choose UTF-8 when it is written`

// Start is what the beginning of a table says of its form.
type Start struct {
	Comma rune // between cells
	Hint  int  // bytes of the first line, where it only names the separator: it is no row
	Lines int  // that line: 0 or 1
}

// Skip reads past the mark and the line that names the separator, and finds out the form. The fault says what else
// the text is, or what is wrong with that line; the error is that of the source.
func Skip(r *bufio.Reader) (s Start, fault string, err error) {
	SkipMark(r)
	head, err := r.Peek(r.Size())
	if err != nil && err != io.EOF && len(head) == 0 {
		return Start{}, "", err
	}
	if fault := NoText(head); fault != "" {
		return Start{}, fault, nil
	}
	if s.Comma, s.Hint, fault = hint(head); fault != "" {
		return Start{}, fault, nil
	}
	if s.Hint > 0 {
		s.Lines = 1
		_, _ = r.Discard(s.Hint) // it was peeked at
		head = head[s.Hint:]
	}
	if endsInCarriageReturns(head) {
		return Start{}, "its lines end with carriage returns alone (CR): save it with line ends of LF or CR LF", nil
	}
	if s.Comma == 0 {
		s.Comma = separator(head)
	}
	return s, "", nil
}

// SkipMark reads past the mark of UTF-8.
func SkipMark(r *bufio.Reader) {
	if head, _ := r.Peek(len(Mark)); bytes.Equal(head, Mark) {
		_, _ = r.Discard(len(Mark)) // it was peeked at
	}
}

// NoText recognises other files by how they begin; empty for a text that may be UTF-8.
func NoText(head []byte) string {
	switch {
	case bytes.HasPrefix(head, []byte("\xff\xfe")), bytes.HasPrefix(head, []byte("\xfe\xff")):
		return "the text is in UTF-16; " + HowToSave
	case bytes.HasPrefix(head, []byte("PK\x03\x04")), bytes.HasPrefix(head, []byte("\x1f\x8b")):
		return "this is a workbook or another archive, no text: save the sheet as CSV UTF-8, or unpack the archive"
	case bytes.HasPrefix(head, []byte("\xd0\xcf\x11\xe0")):
		return OldWorkbook
	case bytes.Count(head, []byte{0}) > len(head)/4:
		return "the text is in UTF-16 without a mark, or no text at all; " + HowToSave
	}
	return ""
}

// OldWorkbook is what is said of a workbook that nothing here can read.
const OldWorkbook = "this is a spreadsheet of the old binary kind or one with a password: save it as XLSX without a password"

// hint reads a first line such as sep=; by which some spreadsheet programs tell each other the separator, and how
// many bytes it takes; comma is 0 where there is none.
func hint(head []byte) (comma rune, length int, fault string) {
	line, _, ended := bytes.Cut(head, []byte{'\n'})
	length = len(line)
	if ended {
		length++
	}
	line = bytes.Trim(bytes.TrimSuffix(line, []byte{'\r'}), `"`)
	const key = "sep="
	if len(line) < len(key) || !bytes.EqualFold(line[:len(key)], []byte(key)) {
		return 0, 0, ""
	}
	switch name := string(line[len(key):]); name {
	case ",", ";", "\t":
		return rune(name[0]), length, ""
	default:
		return 0, 0, fmt.Sprintf("the first line names the separator %q: it must be a comma, a semicolon or a tab", shortened(name))
	}
}

func shortened(s string) string {
	const most = 200
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// endsInCarriageReturns looks at the end of the first line, outside quotes.
func endsInCarriageReturns(head []byte) bool {
	head = bytes.TrimLeft(head, "\r\n")
	quoted := false
	for i, c := range head {
		switch {
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '\n':
			return false
		case c == '\r':
			rest := bytes.TrimLeft(head[i:], "\r")
			return len(rest) > 0 && rest[0] != '\n'
		}
	}
	return false
}

// separator is the comma, semicolon or tab that stands most often in the header, outside quotes.
func separator(head []byte) rune {
	counts := map[byte]int{}
	quoted := false
	for _, c := range bytes.TrimLeft(head, "\r\n") {
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

// Decimal is the sign between whole and fraction in numbers that are written as text.
type Decimal string

// A decimal comma is never guessed: 1,234 may mean 1.234 or 1234. The zero
// value is DecimalPoint; either way the other sign is refused in a number.
const (
	DecimalPoint Decimal = "point"
	DecimalComma Decimal = "comma"
)

// Valid reports that it is one of the signs.
func (d Decimal) Valid() bool { return d == DecimalPoint || d == DecimalComma }

const digits = "0123456789"

// Number reads a number that can be read in one way only, or says why it is none.
func Number(s string, decimal Decimal) (v float64, reason string) {
	s = strings.Replace(s, "\u2212", "-", 1) // the typographic minus
	switch {
	case decimal == DecimalComma && strings.Contains(s, "."):
		return 0, "has a point, which in a file with decimal commas may separate thousands: write 1234,5 for a thousand two hundred " +
			"thirty-four and a half"
	case decimal == DecimalComma:
		s = strings.Replace(s, ",", ".", 1)
	case strings.Contains(s, ","):
		return 0, "has a comma, which may stand before decimals or between thousands: write 1234.5, or say that the file has decimal commas " +
			"(decimal=comma in the request, -decimal comma on the command line)"
	}
	if !strings.ContainsAny(s, digits) && strings.ContainsFunc(s, unicode.IsLetter) {
		return 0, "is a text, not a number"
	}
	if !isNumber(s) {
		return 0, "is no number: write digits only, without unit and without anything between thousands"
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, "is out of range"
	}
	return v, ""
}

// isNumber accepts a sign, digits with or without a point, and an exponent: less than strconv.ParseFloat.
func isNumber(s string) bool {
	mantissa, exponent, has := strings.Cut(strings.ToLower(unsigned(s)), "e")
	if has && !isDigits(unsigned(exponent)) {
		return false
	}
	whole, fraction, point := strings.Cut(mantissa, ".")
	if !point {
		return isDigits(whole)
	}
	return isDigits(whole + fraction)
}

func unsigned(s string) string {
	if s != "" && (s[0] == '+' || s[0] == '-') {
		return s[1:]
	}
	return s
}

func isDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}
