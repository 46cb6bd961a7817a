package api_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"levinward/api/apitest"
	"levinward/api/assess"
	"levinward/api/assessments"
)

// body is one kind of document that clients send, and how its effect is seen.
type inputBody struct {
	schema string
	// bases are documents in which the fields matter; each field must stand in at least one.
	bases []string
	// answer is what comes of a document, without what only repeats it; false where it is refused.
	answer func(document []byte) (string, bool)
	// values are further values of a field, by its path, where those that follow from its limits will not do.
	values map[string][]any
	// beside is merged into the object around a field together with a value of it: "path=value".
	beside map[string]string
	// without lists paths, everything below one ("path/"), or pairs of values "path: a, b", that change nothing, with the reason.
	without map[string]string
}

// leaf is a field that holds no further fields. In its path * stands for every entry of a list.
type leaf struct {
	path   string
	schema *openapi3.Schema
}

// leaves walks a schema of the contract down to its last fields.
func leaves(path string, s *openapi3.Schema) []leaf {
	var found []leaf
	switch {
	case len(s.Properties) > 0:
		for _, name := range slices.Sorted(maps.Keys(s.Properties)) {
			found = append(found, leaves(path+"/"+name, s.Properties[name].Value)...)
		}
	case s.Items != nil && (s.Items.Value.Type != nil || len(s.Items.Value.Properties) > 0):
		return leaves(path+"/*", s.Items.Value)
	default:
		return []leaf{{path, s}}
	}
	return found
}

// place is where a document holds a field: in the object or list around it, under a key.
type place struct {
	pointer string
	value   any
}

func places(path, at string, v any) []place {
	if path == "" {
		return []place{{at, v}}
	}
	name, rest, _ := strings.Cut(path[1:], "/")
	if rest != "" {
		rest = "/" + rest
	}
	var found []place
	switch v := v.(type) {
	case map[string]any:
		if next, ok := v[name]; ok {
			found = places(rest, at+"/"+name, next)
		}
	case []any:
		for i := range v {
			if name == "*" || name == strconv.Itoa(i) {
				found = append(found, places(rest, at+"/"+strconv.Itoa(i), v[i])...)
			}
		}
	}
	return found
}

// alternatives are other values that the schema of a field allows.
func alternatives(s *openapi3.Schema, value any) []any {
	var all []any
	for _, one := range s.OneOf {
		all = append(all, alternatives(one.Value, value)...)
	}
	all = append(all, s.Enum...)
	if s.Type.Is("boolean") {
		all = append(all, true, false)
	}
	if text, ok := value.(string); ok && s.Type.Is("string") && len(s.Enum) == 0 && s.Pattern == "" {
		all = append(all, text+" x")
	}
	if s.Type.Is("number") || s.Type.Is("integer") {
		v, _ := value.(float64)
		for _, n := range []float64{v * 1.01, v * 1.3, v / 2, v * 3, v + 1, v - 1, (*s.Min + *s.Max) / 2, *s.Max, *s.Min} {
			if s.Type.Is("integer") {
				n = math.Round(n)
			}
			if n >= *s.Min && n <= *s.Max {
				all = append(all, n)
			}
		}
	}
	if list, ok := value.([]any); ok { // positions of a geometry
		all = append(all, shifted(list))
	}
	return all
}

// shifted moves the positions of a geometry apart, by about 11 m at each degree of distance from the first.
func shifted(list []any) []any {
	out := make([]any, len(list))
	for i, v := range list {
		switch v := v.(type) {
		case []any:
			out[i] = shifted(v)
		case float64:
			out[i] = v + (v-math.Trunc(v))*0.01
		}
	}
	return out
}

// changedAt is a document with another value of a field, and what must stand beside it.
func changedAt(t *testing.T, document []byte, p place, value any, beside string) []byte {
	doc := apitest.Changed(t, document, map[string]any{p.pointer: value})
	if beside == "" {
		return doc
	}
	around := p.pointer[:strings.LastIndex(p.pointer, "/")]
	patch := []byte(beside)
	for around != "" {
		name := around[strings.LastIndex(around, "/")+1:]
		if _, err := strconv.Atoi(name); err == nil {
			break
		}
		patch = []byte(`{` + strconv.Quote(name) + `:` + string(patch) + `}`)
		around = around[:strings.LastIndex(around, "/")]
	}
	if around == "" {
		return merged(t, doc, patch)
	}
	var whole any
	if err := json.Unmarshal(doc, &whole); err != nil {
		t.Fatal(err)
	}
	entry := merged(t, apitest.JSONOf(t, places(around, "", whole)[0].value), patch)
	return apitest.Changed(t, doc, map[string]any{around: json.RawMessage(entry)})
}

func merged(t *testing.T, doc, patch []byte) []byte {
	out, problem := assessments.MergePatch(doc, patch)
	if problem != nil {
		t.Fatal(problem)
	}
	return out
}

// fieldCheck looks for the effect of each field of a body.
type fieldCheck struct {
	*testing.T
	*inputBody
	used map[string]bool // entries of without that were needed
}

func (c *fieldCheck) field(l leaf) {
	if entry := c.listed(l.path); entry != "" {
		c.used[entry] = true
		if c.hasEffect(l) {
			c.Errorf("%s%s has an effect, but is listed as one without", c.schema, l.path)
		}
		return
	}
	if !c.hasEffect(l) {
		c.Errorf("%s%s has no effect on the answer in any of the base documents (it stands in %d places)", c.schema, l.path, len(c.all(l)))
	}
}

// listed is the entry that lists a path, or everything below it with a slash at its end.
func (c *fieldCheck) listed(path string) string {
	for entry := range c.without {
		if entry == path || strings.HasSuffix(entry, "/") && strings.HasPrefix(path, entry) {
			return entry
		}
	}
	return ""
}

// baseplace is a place in one of the base documents.
type baseplace struct {
	base []byte
	place
}

func (c *fieldCheck) all(l leaf) (all []baseplace) {
	for _, b := range c.bases {
		var doc any
		if err := json.Unmarshal([]byte(b), &doc); err != nil {
			c.Fatalf("%v in the base %s", err, b)
		}
		for _, p := range places(l.path, "", doc) {
			all = append(all, baseplace{[]byte(b), p})
		}
	}
	return all
}

// hasEffect changes the field in each place. Of named values each one has to differ from each other in some place.
func (c *fieldCheck) hasEffect(l leaf) bool {
	var names []any
	for _, s := range append([]*openapi3.SchemaRef{{Value: l.schema}}, l.schema.OneOf...) {
		names = append(names, s.Value.Enum...)
	}
	apart := map[string]bool{}
	effect := false
	for _, p := range c.all(l) {
		answers := map[string]string{}
		for _, v := range append([]any{p.value}, append(c.values[l.path], alternatives(l.schema, p.value)...)...) {
			name := fmt.Sprint(v)
			if _, done := answers[name]; done {
				continue
			}
			beside := c.beside[l.path+"="+name]
			if name == fmt.Sprint(p.value) {
				beside = ""
			}
			if a, ok := c.answer(changedAt(c.T, p.base, p.place, v, beside)); ok {
				answers[name] = a
			}
			effect = effect || answers[name] != "" && answers[name] != answers[fmt.Sprint(p.value)]
			if effect && len(names) == 0 {
				return true
			}
		}
		for a := range answers {
			for b := range answers {
				apart[a+", "+b] = apart[a+", "+b] || answers[a] != answers[b]
			}
		}
	}
	if effect {
		c.pairs(l, names, apart)
	}
	return effect
}

// pairs demands that any two named values were seen to differ, or that the pair is listed; "path: *" lists all pairs of a field.
func (c *fieldCheck) pairs(l leaf, names []any, apart map[string]bool) {
	for i := range names {
		for _, b := range names[i+1:] {
			pair := fmt.Sprintf("%v, %v", names[i], b)
			if apart[pair] || c.listed(l.path) != "" {
				continue
			}
			one, all := l.path+": "+pair, l.path+": *"
			c.used[one], c.used[all] = true, true
			if c.without[one] == "" && c.without[all] == "" {
				c.Errorf("%s%s: %s make no difference in any of the base documents", c.schema, l.path, pair)
			}
		}
	}
}

// checkFields demands that every field of the contract has an effect or is listed with its reason.
func checkFields(t *testing.T, doc *openapi3.T, b *inputBody) {
	t.Helper()
	for _, base := range b.bases {
		if a, ok := b.answer([]byte(base)); !ok {
			t.Fatalf("%s: a base document is refused: %s\n%s", b.schema, a, base)
		}
	}
	c := &fieldCheck{t, b, map[string]bool{}}
	all := leaves("", doc.Components.Schemas[b.schema].Value)
	for _, l := range all {
		c.field(l)
	}
	for entry, reason := range b.without {
		if !c.used[entry] || reason == "" {
			t.Errorf("%s: %q is listed without need or without a reason", b.schema, entry)
		}
	}
	t.Logf("%s: %d fields, %d exceptions", b.schema, len(all), len(b.without))
}

// contractDocument reads openapi.yaml.
func contractDocument(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(apitest.File(t, "openapi.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// withoutEcho drops the members of an answer that repeat the request, and the steps, which list every given value.
func withoutEcho(t *testing.T, answer []byte, members ...string) string {
	var doc map[string]any
	if err := json.Unmarshal(answer, &doc); err != nil {
		t.Fatalf("%v: %.300s", err, answer)
	}
	for _, m := range members {
		delete(doc, m)
	}
	return string(apitest.JSONOf(t, doc))
}

// TestEveryFieldOfAnInput: the answer is the result without the input in it, and the head of the record.
func TestEveryFieldOfAnInput(t *testing.T) {
	recorder, err := assess.NewRecorder(apitest.Engine, func() time.Time { return apitest.Now })
	if err != nil {
		t.Fatal(err)
	}
	b := inputFields
	b.answer = func(document []byte) (string, bool) {
		in, site, problem := apitest.Decode(document)
		if problem != nil {
			return fmt.Sprint(problem), false
		}
		r, faults, err := recorder.Record(in, site, "id", 1, time.Time{})
		if err != nil || len(faults) > 0 {
			return fmt.Sprint(err, faults), false
		}
		r.InputHash = ""
		return withoutEcho(t, r.Result, "input", "input_hash") + string(apitest.JSONOf(t, r.Header)), true
	}
	checkFields(t, contractDocument(t), &b)
}

// posted answers documents by a server.
func posted(t *testing.T, server http.Handler, method, path string, echo ...string) func([]byte) (string, bool) {
	return func(document []byte) (string, bool) {
		r := httptest.NewRequest(method, path, bytes.NewReader(document))
		r.Header.Set("Content-Type", "application/json")
		w := httptest.NewRecorder()
		server.ServeHTTP(w, r)
		if w.Code != http.StatusOK {
			return w.Body.String(), false
		}
		return withoutEcho(t, w.Body.Bytes(), echo...), true
	}
}
