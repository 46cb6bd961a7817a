package contract

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"

	"levinward/api/refusal"
	"levinward/api/wire"
)

// DecodeTree reads exactly one JSON value and the pointers of keys that stand twice in an object.
func DecodeTree(body []byte) (value any, duplicates []string, err error) {
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	t := tree{d: d, body: body}
	if value, err = t.value(""); err != nil {
		return nil, nil, t.syntax(err)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, nil, t.syntax(errors.New("text after the JSON value"))
	}
	return value, t.duplicates, nil
}

type tree struct {
	d          *json.Decoder
	body       []byte
	duplicates []string
	depth      int
}

// maxDepth is far beyond any input of the contract.
const maxDepth = 64

func (t *tree) syntax(err error) error {
	var s *json.SyntaxError
	text := err.Error()
	offset := t.d.InputOffset()
	if errors.As(err, &s) {
		offset = s.Offset
	} else if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		text = "the text ends before the value does"
	}
	before := t.body[:min(int(offset), len(t.body))]
	line := 1 + bytes.Count(before, []byte("\n"))
	return fmt.Errorf("%s (line %d, column %d)", text, line, len(before)-bytes.LastIndexByte(before, '\n'))
}

func (t *tree) value(at string) (any, error) {
	tok, err := t.d.Token()
	if err != nil {
		return nil, err
	}
	switch tok := tok.(type) {
	case json.Delim:
		if t.depth++; t.depth > maxDepth {
			return nil, errors.New("nested too deeply")
		}
		defer func() { t.depth-- }()
		if tok == '{' {
			return t.object(at)
		}
		return t.array(at)
	case json.Number:
		f, err := tok.Float64()
		if err != nil {
			return tok, nil // 1e400: no number for the schema either
		}
		return f, nil
	}
	return tok, nil
}

func (t *tree) object(at string) (any, error) {
	m := map[string]any{}
	for t.d.More() {
		tok, err := t.d.Token()
		if err != nil {
			return nil, err
		}
		key := tok.(string)
		v, err := t.value(at + "/" + wire.Escape(key))
		if err != nil {
			return nil, err
		}
		if _, twice := m[key]; twice {
			t.duplicates = append(t.duplicates, at+"/"+wire.Escape(key))
		}
		m[key] = v
	}
	_, err := t.d.Token()
	return m, err
}

func (t *tree) array(at string) (any, error) {
	list := []any{}
	for t.d.More() {
		v, err := t.value(at + "/" + strconv.Itoa(len(list)))
		if err != nil {
			return nil, err
		}
		list = append(list, v)
	}
	_, err := t.d.Token()
	return list, err
}

// ListEntries takes a JSON list of 1 to most entries apart; advice says what to do with more.
func ListEntries(b []byte, most int, advice string) ([]json.RawMessage, *refusal.Problem) {
	d := json.NewDecoder(bytes.NewReader(b))
	t := tree{d: d, body: b}
	if _, err := d.Token(); err != nil {
		return nil, refusal.NotJSON.Problem(t.syntax(err).Error())
	}
	var entries []json.RawMessage
	for d.More() {
		var entry json.RawMessage
		if err := d.Decode(&entry); err != nil {
			return nil, refusal.NotJSON.Problem(t.syntax(err).Error())
		}
		if len(entries) == most {
			return nil, refusal.Invalid([]refusal.Fault{refusal.FaultAt("", "must be a list of at most "+strconv.Itoa(most)+" entries; "+advice)})
		}
		entries = append(entries, entry)
	}
	if _, err := d.Token(); err != nil {
		return nil, refusal.NotJSON.Problem(t.syntax(err).Error())
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, refusal.NotJSON.Problem(t.syntax(errors.New("text after the JSON value")).Error())
	}
	if len(entries) == 0 {
		return nil, refusal.Invalid([]refusal.Fault{refusal.FaultAt("", "must be a list of at least 1 entry; found 0")})
	}
	return entries, nil
}
