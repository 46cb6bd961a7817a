package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/trace"
)

// contract is openapi.yaml as the service uses it: the schema of an input, to
// explain refusals, and the parameters of each operation.
type contract struct {
	yaml, json []byte
	schemas    map[string]*openapi3.Schema // of request bodies, by name
	parameters map[string][]string         // of the query, by method and path
	paths      []string                    // "GET /v1/assessments/{id}"
}

func newContract(yaml []byte) (*contract, error) {
	doc, err := openapi3.NewLoader().LoadFromData(yaml)
	if err != nil {
		return nil, fmt.Errorf("openapi.yaml: %w", err)
	}
	c := &contract{yaml: yaml, schemas: map[string]*openapi3.Schema{}, parameters: map[string][]string{}}
	for name, ref := range doc.Components.Schemas {
		c.schemas[name] = ref.Value
	}
	if c.json, err = doc.MarshalJSON(); err != nil {
		return nil, fmt.Errorf("openapi.yaml: %w", err)
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			key := method + " " + path
			c.paths = append(c.paths, key)
			for _, p := range append(slices.Clone(item.Parameters), op.Parameters...) {
				if p.Value.In == openapi3.ParameterInQuery {
					c.parameters[key] = append(c.parameters[key], p.Value.Name)
				}
			}
		}
	}
	slices.Sort(c.paths)
	return c, nil
}

// decode reads an input body and makes it ready for computation, N_G taken from
// one of the maps where it names one, table values from the reviews. A refusal is a *Problem; any other error is one of the maps.
func (c *contract) decode(ctx context.Context, maps assess.Maps, reviews *trace.Reviews, body []byte) (*wire.Input, *wire.Site, error) {
	var site *wire.Site
	var failed error
	in, problem := decodeBody(c, wire.Inputs, "Input", body, func(in *wire.Input) []risk.Violation {
		site = in.CoreWith(reviews)
		failed = assess.Resolve(ctx, site, maps)
		return assess.Faults(site)
	})
	switch {
	case failed != nil:
		return nil, nil, failed
	case problem != nil:
		return nil, nil, problem
	}
	return in, site, nil
}

// decodeBody reads a body of type T, whose schema has the given name; check finds
// the faults that the schema cannot state. The usual body goes the fast way; only a refusal asks
// the schema for every fault.
func decodeBody[T any](c *contract, decoder *wire.Decoder[T], schema string, body []byte, check func(*T) []risk.Violation) (*T, *Problem) {
	v, ok := decoder.Decode(body)
	if !ok {
		return explain(c.schemas[schema], body, check)
	}
	if faults := check(v); len(faults) > 0 {
		return nil, invalid(faultsOf(faults))
	}
	return v, nil
}

// explain reads a body the slow way. What the schema refuses is replaced by
// something it accepts, so that the faults check finds are in the same answer.
func explain[T any](schema *openapi3.Schema, body []byte, check func(*T) []risk.Violation) (*T, *Problem) {
	value, duplicates, err := decodeTree(body)
	if err != nil {
		return nil, notJSON.problem(err.Error())
	}
	v := visit{}
	for _, p := range duplicates {
		v.add(p, "stands twice in one object")
	}
	sound, _ := v.sound(schema, value, "", "")
	text, err := json.Marshal(sound)
	if err != nil {
		return nil, invalid(v.faults)
	}
	doc := new(T)
	if err := json.Unmarshal(text, doc); err != nil {
		if len(v.faults) == 0 { // the schema accepts what the decoder does not: a fault of ours
			return nil, internal.problem("the body could not be decoded")
		}
		return nil, invalid(v.faults)
	}
	faults := v.faults
	for _, f := range faultsOf(check(doc)) {
		if !v.covers(*f.Pointer, risk.Rule(f.Rule)) {
			faults = append(faults, f)
		}
	}
	if len(faults) > 0 {
		return nil, invalid(faults)
	}
	return doc, nil
}

// decodeTree reads exactly one JSON value and the pointers of keys that stand twice in an object.
func decodeTree(body []byte) (value any, duplicates []string, err error) {
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
		v, err := t.value(at + "/" + escape(key))
		if err != nil {
			return nil, err
		}
		if _, twice := m[key]; twice {
			t.duplicates = append(t.duplicates, at+"/"+escape(key))
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

var escaper = strings.NewReplacer("~", "~0", "/", "~1")

// escape writes a key as a part of an RFC 6901 pointer.
func escape(key string) string { return escaper.Replace(key) }

// visit collects the faults of a value against a schema.
type visit struct {
	faults []Fault
	made   []string // places of values that are not what the client meant
}

// add notes a fault and that the value there is made up.
func (v *visit) add(pointer, reason string) {
	v.faults, v.made = append(v.faults, at(pointer, reason)), append(v.made, pointer)
}

// covers reports that a fault at a place may only follow from a value made up:
// at the place itself, around or within it, or an id that others refer to.
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
			v.add(pointer, "must be an object"+found(value))
			return v.object(s, map[string]any{}, pointer, true), false
		}
		return v.object(s, m, pointer, false), true
	case s.Type.Is(openapi3.TypeArray):
		list, ok := value.([]any)
		if !ok {
			v.add(pointer, "must be a list"+found(value))
			return []any{}, false
		}
		return v.array(s, list, pointer), true
	}
	if _, huge := value.(json.Number); !huge && s.VisitJSON(value) == nil {
		return value, true
	}
	v.add(pointer, allowed(s)+found(value))
	return placeholder(s, pointer), false
}

// object visits the properties in the order of their names. Where the object
// itself is made up (silent), its missing properties are no faults.
func (v *visit) object(s *openapi3.Schema, m map[string]any, pointer string, silent bool) map[string]any {
	out := map[string]any{}
	for _, key := range slices.Sorted(maps.Keys(m)) {
		p := s.Properties[key]
		if p == nil {
			v.faults = append(v.faults, at(pointer+"/"+escape(key), "unknown field; allowed here: "+strings.Join(slices.Sorted(maps.Keys(s.Properties)), ", ")))
			continue
		}
		if r, keep := v.sound(p.Value, m[key], pointer+"/"+escape(key), key); keep || slices.Contains(s.Required, key) {
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

// found shows a value in an error, shortened.
func found(value any) string {
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
