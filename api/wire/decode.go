package wire

import (
	"bytes"
	"encoding/json"
	"io"
	"math"
	"reflect"
	"slices"
	"unicode/utf8"
)

// Decoder reads documents of one type strictly and fast.
type Decoder[T any] struct{ plan *plan }

// NewDecoder prepares a decoder from the limits in the tags of T.
func NewDecoder[T any]() *Decoder[T] { return &Decoder[T]{makePlan(reflect.TypeFor[T]())} }

// Decode reports false for anything that the contract may refuse, without
// saying why; whoever wants to know asks the contract's validator. What it
// accepts the contract accepts.
func (d *Decoder[T]) Decode(body []byte) (*T, bool) {
	if !plainKeys(body) {
		return nil, false
	}
	v := new(T)
	if !unmarshalStrict(body, v) || !d.plan.withinLimits(reflect.ValueOf(v).Elem()) {
		return nil, false
	}
	return v, true
}

// Of makes a document of a tree of JSON values that holds known fields only, as Decode would of its text; false
// where the limits refuse something.
func (d *Decoder[T]) Of(tree map[string]any) (*T, bool) {
	v := new(T)
	if !fill(reflect.ValueOf(v).Elem(), tree) || !d.plan.withinLimits(reflect.ValueOf(v).Elem()) {
		return nil, false
	}
	return v, true
}

// plan is the list of fields of a type that have something to check.
type plan struct{ fields []planned }

type planned struct {
	Field
	sub *plan // of an object
}

func makePlan(t reflect.Type) *plan {
	p := &plan{}
	for _, f := range Fields(t) {
		field := planned{Field: f}
		if f.document() {
			field.sub = makePlan(f.Type)
		}
		if f.Required || f.Number != nil || f.Length != nil || f.Items != nil || field.sub != nil {
			p.fields = append(p.fields, field)
		}
	}
	return p
}

// withinLimits reports whether every field keeps its limits.
func (p *plan) withinLimits(v reflect.Value) bool {
	for i := range p.fields {
		f := &p.fields[i]
		if !f.withinLimits(v.FieldByIndex(f.Index)) {
			return false
		}
	}
	return true
}

func (f *planned) withinLimits(v reflect.Value) bool {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return !f.Required
		}
		v = v.Elem()
	}
	if !f.List {
		return f.valueWithinLimits(v)
	}
	if v.IsNil() {
		return !f.Required
	}
	if f.Items != nil && !f.Items.holds(float64(v.Len())) {
		return false
	}
	for i := range v.Len() {
		if !f.valueWithinLimits(v.Index(i)) {
			return false
		}
	}
	return true
}

// valueWithinLimits judges a value that is no list: that of the field, or an entry of its list.
func (f *planned) valueWithinLimits(v reflect.Value) bool {
	switch {
	case f.sub != nil:
		return f.sub.withinLimits(v)
	case f.Length != nil:
		return f.Length.holds(float64(utf8.RuneCountInString(v.String())))
	case f.Number != nil:
		x := v.Float()
		return f.Number.holds(x) && (!f.Integer || x == math.Trunc(x))
	}
	return true
}

// Inputs decodes inputs of assessments.
var Inputs = NewDecoder[Input]()

// Decode reads an input, see Decoder.Decode.
func Decode(body []byte) (*Input, bool) { return Inputs.Decode(body) }

// unmarshalStrict refuses unknown fields and text after the value.
func unmarshalStrict(body []byte, into any) bool {
	d := json.NewDecoder(bytes.NewReader(body))
	d.DisallowUnknownFields()
	if d.Decode(into) != nil {
		return false
	}
	_, err := d.Token()
	return err == io.EOF
}

// plainKeys reports that no value is null, that every key is written in the
// letters of the contract's names and that none stands twice in one object:
// encoding/json matches keys whatever their case, takes null for an absent field
// and merges what stands twice, which the contract does not.
// A false alarm only sends the body the slow way.
func plainKeys(body []byte) bool {
	var keys [][]byte // of all objects that are open
	var first []int   // where the keys of each open object begin
	for i := 0; i < len(body); i++ {
		switch body[i] {
		case 'n':
			return false // outside a string only null begins so
		case '{':
			first = append(first, len(keys))
		case '}':
			if len(first) == 0 {
				return false
			}
			keys, first = keys[:first[len(first)-1]], first[:len(first)-1]
		case '"':
			end := i + 1
			for end < len(body) && body[end] != '"' {
				if body[end] == '\\' {
					end++
				}
				end++
			}
			if end >= len(body) {
				return false
			}
			if isKey(body[end+1:]) {
				key := body[i+1 : end]
				if len(first) == 0 || !plainKey(key) || slices.ContainsFunc(keys[first[len(first)-1]:], func(k []byte) bool { return bytes.Equal(k, key) }) {
					return false
				}
				keys = append(keys, key)
			}
			i = end
		}
	}
	return true
}

func isKey(rest []byte) bool {
	for _, c := range rest {
		switch c {
		case ' ', '\t', '\n', '\r':
			continue
		case ':':
			return true
		}
		return false
	}
	return false
}

// upperKeys are the names of the contract that are not in lower case.
var upperKeys = map[string]bool{"L_T": true, "L_F": true, "L_O": true, "I": true, "II": true, "III": true, "IV": true, "III-IV": true}

// lowerOfUpper are those names in lower case, which encoding/json would take for them.
var lowerOfUpper = map[string]bool{"l_t": true, "l_f": true, "l_o": true, "i": true, "ii": true, "iii": true, "iv": true, "iii-iv": true}

func plainKey(key []byte) bool {
	for _, c := range key {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '_' {
			return upperKeys[string(key)]
		}
	}
	return len(key) > 7 || !lowerOfUpper[string(key)]
}
