package contract

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"

	"levinward/api/assess"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/risk"
)

// DecodeBody reads a body of type T, whose schema has the given name; check finds
// the faults that the schema cannot state. The usual body goes the fast way; only a refusal asks
// the schema for every fault.
func DecodeBody[T any](c *Contract, decoder *wire.Decoder[T], schema string, body []byte, check func(*T) []risk.Violation) (*T, *refusal.Problem) {
	v, ok := decoder.Decode(body)
	if !ok {
		return Explain(c.Schemas[schema], body, check)
	}
	if faults := check(v); len(faults) > 0 {
		return nil, refusal.Invalid(refusal.FaultsOf(faults))
	}
	return v, nil
}

// Explain reads a body the slow way. What the schema refuses is replaced by
// something it accepts, so that the faults check finds are in the same answer.
func Explain[T any](schema *openapi3.Schema, body []byte, check func(*T) []risk.Violation) (*T, *refusal.Problem) {
	value, duplicates, err := DecodeTree(body)
	if err != nil {
		return nil, refusal.NotJSON.Problem(err.Error())
	}
	v := visit{}
	for _, p := range duplicates {
		v.add(p, "stands twice in one object")
	}
	sound, _ := v.sound(schema, value, "", "")
	text, err := json.Marshal(sound)
	if err != nil {
		return nil, refusal.Invalid(v.faults)
	}
	doc := new(T)
	if err := json.Unmarshal(text, doc); err != nil {
		if len(v.faults) == 0 { // the schema accepts what the decoder does not: a fault of ours
			return nil, refusal.Internal.Problem("the body could not be decoded")
		}
		return nil, refusal.Invalid(v.faults)
	}
	faults := v.faults
	for _, f := range refusal.FaultsOf(check(doc)) {
		if !v.covers(*f.Pointer, risk.Rule(f.Rule)) {
			faults = append(faults, f)
		}
	}
	if len(faults) > 0 {
		return nil, refusal.Invalid(faults)
	}
	return doc, nil
}

// visit collects the faults of a value against a schema.
type visit struct {
	faults []refusal.Fault
	made   []string // places of values that are not what the client meant
}

// add notes a fault and that the value there is made up.
func (v *visit) add(pointer, reason string) {
	v.faults, v.made = append(v.faults, refusal.FaultAt(pointer, reason)), append(v.made, pointer)
}

// covers reports that a fault at a place may only follow from a value made up:
// FaultAt the place itself, around or within it, or an id that others refer to.
func (v *visit) covers(pointer string, rule risk.Rule) bool {
	for _, p := range v.made {
		if assess.Overlap(p, pointer) {
			return true
		}
		if strings.HasSuffix(p, "/id") && (rule == risk.RuleUnknownReference || rule == risk.RuleDuplicateID) {
			return true
		}
		if strings.HasPrefix(p, "/location") && pointer == "/flash_density/map" && rule != risk.RuleUnknownReference {
			return true // what the map says about a place made up
		}
	}
	return false
}

// sound returns the value as far as the schema accepts it, and something the
// schema accepts where it does not; keep is false where the value had to go. name is the key it stands under.
func (v *visit) sound(s *openapi3.Schema, value any, pointer, name string) (result any, keep bool) {
	switch {
	case s.IsEmpty(): // the contract leaves the form open
		return value, true
	case s.Type.Is(openapi3.TypeObject):
		m, ok := value.(map[string]any)
		if !ok {
			v.add(pointer, "must be an object"+Found(value))
			return v.object(s, map[string]any{}, pointer, true), false
		}
		return v.object(s, m, pointer, false), true
	case s.Type.Is(openapi3.TypeArray):
		list, ok := value.([]any)
		if !ok {
			v.add(pointer, "must be a list"+Found(value))
			return []any{}, false
		}
		return v.array(s, list, pointer), true
	}
	if _, huge := value.(json.Number); !huge && s.VisitJSON(value) == nil {
		return value, true
	}
	v.add(pointer, allowed(s)+Found(value))
	return placeholder(s, pointer), false
}

// object visits the properties in the order of their names. Where the object
// itself is made up (silent), its missing properties are no faults.
func (v *visit) object(s *openapi3.Schema, m map[string]any, pointer string, silent bool) map[string]any {
	out := map[string]any{}
	for _, key := range slices.Sorted(maps.Keys(m)) {
		p := s.Properties[key]
		if p == nil {
			v.faults = append(v.faults, refusal.FaultAt(pointer+"/"+Escape(key), "unknown field; allowed here: "+strings.Join(slices.Sorted(maps.Keys(s.Properties)), ", ")))
			continue
		}
		if r, keep := v.sound(p.Value, m[key], pointer+"/"+Escape(key), key); keep || slices.Contains(s.Required, key) {
			out[key] = r
		}
	}
	for _, key := range s.Required {
		if _, there := m[key]; there {
			continue
		}
		p := s.Properties[key].Value
		if !silent {
			v.add(pointer+"/"+key, "is required: "+allowed(p))
		}
		mute := visit{}
		out[key], _ = mute.sound(p, nil, pointer+"/"+key, key)
	}
	return out
}

func (v *visit) array(s *openapi3.Schema, list []any, pointer string) []any {
	n := uint64(len(list))
	if n < s.MinItems || s.MaxItems != nil && n > *s.MaxItems {
		v.add(pointer, allowed(s)+"; found "+strconv.Itoa(len(list)))
		list = list[:min(len(list), 1)] // one is enough to look for other faults
	}
	out := make([]any, 0, len(list))
	for i, e := range list {
		r, _ := v.sound(s.Items.Value, e, pointer+"/"+strconv.Itoa(i), "")
		out = append(out, r)
	}
	return out
}

// placeholder is a value that the schema of a number, string or boolean accepts.
func placeholder(s *openapi3.Schema, pointer string) any {
	switch {
	case len(s.OneOf) > 0:
		return placeholder(s.OneOf[0].Value, pointer)
	case len(s.Enum) > 0:
		return s.Enum[0]
	case s.Type.Is(openapi3.TypeNumber), s.Type.Is(openapi3.TypeInteger):
		for _, v := range []*float64{s.Max, s.Min} {
			if v != nil && s.VisitJSON(*v) == nil {
				return *v
			}
		}
		return 1.0
	case s.Pattern != "":
		return s.Example
	case s.Type.Is(openapi3.TypeString):
		text := "at " + pointer // different at every place, so that no id stands twice
		if s.MaxLength != nil && uint64(len(text)) > *s.MaxLength {
			text = text[len(text)-int(*s.MaxLength):]
		}
		return text
	}
	return false
}

// allowed says in words what a schema accepts.
func allowed(s *openapi3.Schema) string {
	switch {
	case len(s.OneOf) > 0:
		texts := make([]string, len(s.OneOf))
		for i, o := range s.OneOf {
			texts[i] = allowed(o.Value)
		}
		return strings.Join(texts, ", or ")
	case len(s.Enum) > 0:
		names := make([]string, len(s.Enum))
		for i, e := range s.Enum {
			names[i] = fmt.Sprint(e)
		}
		return "must be one of " + strings.Join(names, ", ")
	case s.Type.Is(openapi3.TypeNumber):
		return "must be a number" + limits(s)
	case s.Type.Is(openapi3.TypeInteger):
		return "must be a whole number" + limits(s)
	case s.Type.Is(openapi3.TypeString) && s.Pattern != "":
		return "must be " + s.Title
	case s.Type.Is(openapi3.TypeString):
		return "must be a text" + between(s.MinLength, s.MaxLength, "characters")
	case s.Type.Is(openapi3.TypeArray):
		return "must be a list" + between(s.MinItems, s.MaxItems, "entries")
	case s.Type.Is(openapi3.TypeObject):
		return "must be an object"
	}
	return "must be true or false"
}

func limits(s *openapi3.Schema) string {
	text := ""
	if s.Min != nil {
		text = ", at least "
		if s.ExclusiveMin.IsTrue() {
			text = ", more than "
		}
		text += number(*s.Min)
	}
	if s.Max != nil {
		text += ", at most " + number(*s.Max)
	}
	return text
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func between(low uint64, high *uint64, what string) string {
	if high == nil {
		return fmt.Sprintf(" of at least %d %s", low, what)
	}
	return fmt.Sprintf(" of %d to %d %s", low, *high, what)
}

// Found shows a value in an error, shortened.
func Found(value any) string {
	if value == nil {
		return "; found null"
	}
	switch value.(type) {
	case map[string]any:
		return "; found an object"
	case []any:
		return "; found a list"
	}
	b, err := json.Marshal(value)
	if err != nil {
		return ""
	}
	const most = 60
	if r := []rune(string(b)); len(r) > most {
		return "; found " + string(r[:most]) + "…"
	}
	return "; found " + string(b)
}
