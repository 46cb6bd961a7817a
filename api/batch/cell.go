package batch

import (
	"levinward/api/wire"
	"levinward/tabletext"

	"reflect"
	"strconv"
	"strings"
)

// cellKind is how a file holds the value of a cell.
type cellKind int

const (
	blank cellKind = iota
	textCell
	numberCell
	booleanCell
	dateCell
	faultyCell // text says what stands there, reason why it cannot be used
	knownCell  // its fault was told elsewhere
)

// cell is one cell of a row, or one property of a feature.
type cell struct {
	kind    cellKind
	text    string // as a person reads it
	number  float64
	boolean bool
	reason  string
	note    string
}

// textOf makes a cell of text; spaces around it do not count.
func textOf(s string) cell {
	s = strings.TrimSpace(s)
	if s == "" {
		return cell{}
	}
	return cell{kind: textCell, text: s}
}

func numberOf(v float64) cell {
	return cell{kind: numberCell, number: v, text: strconv.FormatFloat(v, 'g', -1, 64)}
}

func booleanOf(v bool) cell {
	return cell{kind: booleanCell, boolean: v, text: strconv.FormatBool(v)}
}

// convert makes a JSON value for a column of a cell, or says why there is none.
func (c *cell) convert(s *slot, decimal Decimal) (value any, reason string) {
	switch c.kind {
	case faultyCell:
		return nil, c.reason
	case dateCell:
		if new(wire.Date).UnmarshalText([]byte(c.text)) == nil && s.field.Type == reflect.TypeFor[wire.Date]() {
			return c.text, ""
		}
		return nil, "is a date in the file: format the cell as a number or a text and write it again; must be " + s.Allowed
	}
	names := s.field.Names()
	switch {
	case names != nil:
		return c.named(s, names, decimal)
	case s.field.Type.Kind() == reflect.Bool:
		return c.yesOrNo(s)
	case s.field.Type.Kind() == reflect.Float64:
		return c.asNumber(s, decimal)
	}
	return c.asText(), ""
}

var lineBreaks = strings.NewReplacer("\r\n", " ", "\n", " ", "\r", " ", "\t", " ")

// asText writes a number as a person would; a line break within a cell becomes a space.
func (c *cell) asText() string {
	if c.kind == numberCell {
		return plain(c.number)
	}
	return lineBreaks.Replace(c.text)
}

// named takes the name of a value in any case of letters; only a level of SPDs may be a number.
func (c *cell) named(s *slot, names []string, decimal Decimal) (any, string) {
	for _, n := range names {
		if strings.EqualFold(n, c.text) {
			return n, ""
		}
	}
	if s.field.Probability() {
		if v, reason := c.asNumber(s, decimal); reason == "" {
			return v, ""
		}
	}
	return nil, "must be " + s.Allowed + didYouMean(c.text, names)
}

func (c *cell) yesOrNo(s *slot) (any, string) {
	if c.kind == booleanCell {
		return c.boolean, ""
	}
	switch strings.ToLower(c.text) {
	case "yes", "true":
		return true, ""
	case "no", "false":
		return false, ""
	}
	return nil, "must be " + s.Allowed
}

func (c *cell) asNumber(s *slot, decimal Decimal) (any, string) {
	switch c.kind {
	case numberCell:
		return c.number, ""
	case booleanCell:
		return nil, "is true or false, not a number; must be " + s.Allowed
	}
	v, reason := tabletext.Number(c.text, decimal)
	if reason == "" {
		return v, ""
	}
	if s.Unit == "degrees" && strings.ContainsAny(c.text, digits) &&
		(strings.ContainsAny(c.text, "°'\"") || strings.ContainsAny(c.text[len(c.text)-1:], "NSEWnsew")) {
		reason = "must be in decimal degrees, south and west negative: -3.117, not 3°07'01\"S"
	}
	return nil, reason + "; must be " + s.Allowed
}

const digits = "0123456789"

// plain writes a number without exponent.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
