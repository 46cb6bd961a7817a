package wire

import (
	"bytes"
	"encoding/json"
	"io"
	"reflect"
	"slices"
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
