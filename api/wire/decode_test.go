package wire_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"pgregory.net/rapid"

	"levinward/api/wire"
)

// document is a body that a client sends: its schema, an operation that takes it, and its decoder.
type document struct {
	schema, path string
	decode       func([]byte) (any, bool)
}

var documents = []document{
	{"Input", "/v1/calculations", decodeInput},
	{"EarthRequest", "/v1/earth-electrodes", func(body []byte) (any, bool) { return wire.EarthRequests.Decode(body) }},
}

// decodeInput also takes the defaults, which must go well with anything that is decoded.
func decodeInput(body []byte) (any, bool) {
	in, ok := wire.Decode(body)
	if ok {
		in.Core()
	}
	return in, ok
}

// accepts reports whether the contract accepts a body: one JSON value, no name twice in an object, and as the schema says.
func (d document) accepts(t testing.TB, body []byte) bool { return accepts(t, d.schema, body) }

func accepts(t testing.TB, name string, body []byte) bool {
	d := json.NewDecoder(bytes.NewReader(body))
	if oneValue(d) != nil {
		return false
	}
	if _, err := d.Token(); err != io.EOF {
		return false
	}
	var v any
	return json.Unmarshal(body, &v) == nil && schema(t, name).VisitJSON(v) == nil
}

var errTwice = errors.New("name stands twice")

// oneValue reads one value and refuses a name that stands twice in an object.
func oneValue(d *json.Decoder) error {
	tok, err := d.Token()
	if err != nil {
		return err
	}
	open, ok := tok.(json.Delim)
	if !ok {
		return nil
	}
	names := map[string]bool{}
	for d.More() {
		if open == '{' {
			name, err := d.Token()
			if err != nil {
				return err
			}
			if names[name.(string)] {
				return errTwice
			}
			names[name.(string)] = true
		}
		if err := oneValue(d); err != nil {
			return err
		}
	}
	_, err = d.Token()
	return err
}

// minimal is the smallest body, with something put behind the last of its fields.
func minimal(more string) string {
	return `{"name":"A","location":{"latitude":1,"longitude":2},"flash_density":{"ground_flashes_per_km2_year":3},"structures":[{"id":"s","length_m":4,"width_m":5,"height_m":6}]` + more + `}`
}

func TestGoodBodies(t *testing.T) {
	for name, body := range map[string]string{
		"smallest":                       minimal(""),
		"white space":                    " \r\n\t" + strings.ReplaceAll(minimal(""), ",", " ,\n\t") + "\n",
		"exponents":                      minimal(`,"soil_resistivity_ohm_m":1.5E+2`),
		"whole number with a point":      strings.Replace(minimal(""), `_year":3`, `_year":3,"year":2020.0`, 1),
		"whole number with an exponent":  strings.Replace(minimal(""), `_year":3`, `_year":3,"year":2.02e3`, 1),
		"number too small for a double":  strings.Replace(minimal(""), `"latitude":1`, `"latitude":1e-400`, 1),
		"minus nought":                   strings.Replace(minimal(""), `"latitude":1`, `"latitude":-0`, 1),
		"ends of intervals":              strings.Replace(minimal(""), `{"latitude":1,"longitude":2}`, `{"latitude":-90,"longitude":180}`, 1),
		"no lines":                       minimal(`,"lines":[]`),
		"empty objects":                  minimal(`,"tolerable_risk":{},"lines":[{"id":"l","structure":"s","electrical":{}}]`),
		"probability of SPDs":            minimal(`,"lines":[{"id":"l","structure":"s","bonding_spd":0.005,"coordinated_spd":1e-3}]`),
		"level of SPDs":                  minimal(`,"lines":[{"id":"l","structure":"s","bonding_spd":"III-IV","coordinated_spd":"none"}]`),
		"escapes in a text":              strings.Replace(minimal(""), `"A"`, `"A\n\u0041\ud834\udd1e\""`, 1),
		"letters of several bytes":       strings.Replace(minimal(""), `"A"`, `"`+strings.Repeat("𝄞", 200)+`"`, 1),
		"text that looks like a key":     strings.Replace(minimal(""), `"A"`, `"{\"name\":null,\"name\":1}"`, 1),
		"empty reference":                minimal(`,"reference":""`),
		"duplicate ids are not its task": minimal(`,"lines":[{"id":"l","structure":"s"},{"id":"l","structure":"nowhere"}]`),
	} {
		if !accepts(t, "Input", []byte(body)) {
			t.Errorf("%s: the contract refuses %s", name, body)
		}
		if _, ok := wire.Decode([]byte(body)); !ok {
			t.Errorf("%s: not decoded: %s", name, body)
		}
	}
}

// TestOddBodies are bodies that the contract accepts and Decode leaves to whoever asks the schema.
func TestOddBodies(t *testing.T) {
	body := strings.Replace(minimal(""), `"name"`, `"n\u0061me"`, 1)
	if !accepts(t, "Input", []byte(body)) {
		t.Errorf("the contract refuses %s", body)
	}
	if _, ok := wire.Decode([]byte(body)); ok {
		t.Errorf("decoded: %s", body)
	}
}

func TestRefusedBodies(t *testing.T) {
	for name, body := range map[string]string{
		"nothing":                       "",
		"null":                          "null",
		"a list":                        "[" + minimal("") + "]",
		"text behind":                   minimal("") + "{}",
		"bracket behind":                minimal("") + "}",
		"cut":                           minimal("")[:40],
		"byte order mark":               "\ufeff" + minimal(""),
		"comment":                       "/**/" + minimal(""),
		"NaN":                           minimal(`,"soil_resistivity_ohm_m":NaN`),
		"infinity":                      minimal(`,"soil_resistivity_ohm_m":Infinity`),
		"1e400":                         minimal(`,"soil_resistivity_ohm_m":1e400`),
		"1e308":                         minimal(`,"soil_resistivity_ohm_m":1e308`),
		"number as text":                minimal(`,"soil_resistivity_ohm_m":"100"`),
		"leading nought":                minimal(`,"soil_resistivity_ohm_m":0100`),
		"null in a field":               minimal(`,"reference":null`),
		"null in a list":                minimal(`,"lines":[null]`),
		"unknown field":                 minimal(`,"colour":1`),
		"unknown field deeper":          minimal(`,"lines":[{"id":"l","structure":"s","colour":1}]`),
		"other case":                    minimal(`,"Reference":"r"`),
		"other case of one letter":      minimal(`,"lines":[{"id":"l","ſtructure":"s"}]`),
		"lower case of a symbol":        strings.Replace(minimal(""), `"height_m":6`, `"height_m":6,"zones":[{"id":"z","losses":{"loss_of_human_life":{"l_f":0.1}}}]`, 1),
		"name twice":                    minimal(`,"name":"B"`),
		"name twice, once escaped":      minimal(`,"n\u0061me":"B"`),
		"name twice deeper":             strings.Replace(minimal(""), `"latitude":1`, `"latitude":1,"latitude":1`, 1),
		"required field missing":        strings.Replace(minimal(""), `"name":"A",`, "", 1),
		"empty name":                    strings.Replace(minimal(""), `"A"`, `""`, 1),
		"long name":                     strings.Replace(minimal(""), `"A"`, `"`+strings.Repeat("a", 201)+`"`, 1),
		"no structures":                 strings.Replace(minimal(""), `[{"id":"s","length_m":4,"width_m":5,"height_m":6}]`, `[]`, 1),
		"latitude 91":                   strings.Replace(minimal(""), `"latitude":1`, `"latitude":91`, 1),
		"nought where more is needed":   strings.Replace(minimal(""), `"height_m":6`, `"height_m":0`, 1),
		"negative size":                 strings.Replace(minimal(""), `"height_m":6`, `"height_m":-6`, 1),
		"fraction of a year":            strings.Replace(minimal(""), `_year":3`, `_year":3,"year":2020.5`, 1),
		"unknown value":                 minimal(`,"environment":"forest"`),
		"empty value":                   minimal(`,"environment":""`),
		"number for a value":            minimal(`,"environment":0`),
		"value that cannot be given":    strings.Replace(minimal(""), `"height_m":6`, `"height_m":6,"occupancy":"unknown"`, 1),
		"measure of the other list":     strings.Replace(minimal(""), `"height_m":6`, `"height_m":6,"zones":[{"id":"z","line_shock_measures":["soil_equipotentialization"]}]`, 1),
		"too many measures":             strings.Replace(minimal(""), `"height_m":6`, `"height_m":6,"zones":[{"id":"z","line_shock_measures":["insulation","insulation","insulation","insulation"]}]`, 1),
		"level better than I by name":   minimal(`,"lines":[{"id":"l","structure":"s","bonding_spd":"better_than_I"}]`),
		"probability above the table":   minimal(`,"lines":[{"id":"l","structure":"s","bonding_spd":0.0051}]`),
		"probability below the table":   minimal(`,"lines":[{"id":"l","structure":"s","bonding_spd":0}]`),
		"probability true":              minimal(`,"lines":[{"id":"l","structure":"s","bonding_spd":true}]`),
		"probability as a list":         minimal(`,"lines":[{"id":"l","structure":"s","bonding_spd":[0.002]}]`),
		"truth as a number":             strings.Replace(minimal(""), `"height_m":6`, `"height_m":6,"assess":1`, 1),
		"object for a list":             minimal(`,"lines":{}`),
		"list for an object":            minimal(`,"tolerable_risk":[]`),
		"currency of two letters":       minimal(`,"measure_costs":{"currency":"XT","lps":{"IV":1,"III":1,"II":1,"I":1},"bonding_spd":{"III-IV":1,"II":1,"I":1},"coordinated_spd":{"III-IV":1,"II":1,"I":1},"fire_protection":{"manual":1,"automatic":1},"warning_notices":1,"insulation":1}`),
		"prices incomplete":             minimal(`,"measure_costs":{"currency":"XTS","lps":{"III":1,"II":1,"I":1},"bonding_spd":{"III-IV":1,"II":1,"I":1},"coordinated_spd":{"III-IV":1,"II":1,"I":1},"fire_protection":{"manual":1,"automatic":1},"warning_notices":1,"insulation":1}`),
		"nested beyond any use":         strings.Repeat(`{"name":`, 20000),
		"closed more often than opened": "}" + minimal(""),
	} {
		if accepts(t, "Input", []byte(body)) {
			t.Errorf("%s: the contract accepts %.200s", name, body)
		}
		if _, ok := wire.Decode([]byte(body)); ok {
			t.Errorf("%s: decoded: %.200s", name, body)
		}
	}
}

// drawValue draws a value that the schema accepts, ends of intervals included.
func drawValue(t *rapid.T, s *openapi3.Schema) any {
	switch {
	case len(s.OneOf) > 0:
		return drawValue(t, rapid.SampledFrom(s.OneOf).Draw(t, "kind").Value)
	case len(s.Enum) > 0:
		return rapid.SampledFrom(s.Enum).Draw(t, "value")
	case s.Type.Is("object"):
		return drawObject(t, s)
	case openList(s):
		return copyOf(t, rapid.SampledFrom([]any{[]any{}, []any{86.5, -3.0}, []any{[]any{86.5, -3.0}, []any{86.6, -3.1}}}).Draw(t, "coordinates"))
	case s.Type.Is("array"):
		list := []any{}
		for n := rapid.Uint64Range(s.MinItems, min(*s.MaxItems, s.MinItems+2)).Draw(t, "entries"); n > 0; n-- {
			list = append(list, drawValue(t, s.Items.Value))
		}
		return list
	case s.Type.Is("string") && s.Pattern == wire.Date("").Pattern():
		return time.Date(2000, 1, rapid.IntRange(1, 100000).Draw(t, "day"), 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
	case s.Type.Is("string"):
		low, high := int(s.MinLength), int(*s.MaxLength)
		n := rapid.SampledFrom([]int{low, high, min(low+3, high)}).Draw(t, "length")
		return rapid.StringOfN(rapid.OneOf(rapid.RuneFrom([]rune(`nN{}[]:,"\/ `)), rapid.Rune()), n, n, -1).Draw(t, "text")
	case s.Type.Is("integer"):
		return float64(rapid.IntRange(int(*s.Min), int(*s.Max)).Draw(t, "whole"))
	case s.Type.Is("number"):
		low := *s.Min
		if s.ExclusiveMin.IsTrue() {
			low = math.Nextafter(low, math.Inf(1))
		}
		return rapid.OneOf(rapid.Float64Range(low, *s.Max), rapid.SampledFrom([]float64{low, *s.Max})).Draw(t, "number")
	}
	return rapid.Bool().Draw(t, "truth")
}

func drawObject(t *rapid.T, s *openapi3.Schema) map[string]any {
	m := map[string]any{}
	for _, name := range sortedKeys(s.Properties) {
		if slices.Contains(s.Required, name) || rapid.IntRange(0, 2).Draw(t, "with "+name) == 0 {
			m[name] = drawValue(t, s.Properties[name].Value)
		}
	}
	return m
}

// place is somewhere in a tree: the value, and how to put another one or none there.
type place struct {
	value  any
	name   string // empty in a list
	set    func(any)
	remove func()
	rename func(string)
}

// places lists every value below v.
func places(v any) []place {
	var all []place
	switch v := v.(type) {
	case map[string]any:
		for _, k := range slices.Sorted(maps.Keys(v)) {
			all = append(all, place{v[k], k, func(x any) { v[k] = x }, func() { delete(v, k) }, func(n string) { x := v[k]; delete(v, k); v[n] = x }})
			all = append(all, places(v[k])...)
		}
	case []any:
		for i := range v {
			all = append(all, place{v[i], "", func(x any) { v[i] = x }, func() { v[i] = nil }, func(string) { v[i] = map[string]any{} }})
			all = append(all, places(v[i])...)
		}
	}
	return all
}

var strange = []any{nil, true, false, "", "none", "100", "NaN", 0., -1., 1., 2.5, 1e-320, 0.005, 3., 1e308, -1e308, []any{}, map[string]any{}, []any{nil}, []any{"insulation"}, map[string]any{"id": "x"}}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// mutate changes a tree somewhere.
func mutate(t *rapid.T, root map[string]any) {
	p := rapid.SampledFrom(places(root)).Draw(t, "place")
	switch rapid.IntRange(0, 5).Draw(t, "change") {
	case 0:
		p.remove()
	case 1:
		p.rename(rapid.SampledFrom([]string{strings.ToUpper(p.name), strings.ToLower(p.name), capital(p.name), p.name + " ", "x", "", "id", "length_m", "İd"}).Draw(t, "name"))
	case 2:
		p.set(copyOf(t, rapid.SampledFrom(strange).Draw(t, "strange")))
	case 3:
		switch v := p.value.(type) {
		case float64:
			p.set(rapid.SampledFrom([]float64{-v, v + 0.5, max(-math.MaxFloat64, min(v*1e6, math.MaxFloat64)), math.Nextafter(v, math.Inf(1)), math.Nextafter(v, math.Inf(-1))}).Draw(t, "number"))
		case string:
			p.set(rapid.SampledFrom([]string{v + v, strings.ToUpper(v), v + " ", strings.Repeat("ä", 100), strings.Repeat("𝄞", 201)}).Draw(t, "text"))
		case []any:
			p.set(append(slices.Clone(v), v...))
		case map[string]any:
			p.set([]any{v})
		}
	case 4:
		other := rapid.SampledFrom(places(root)).Draw(t, "other")
		p.set(copyOf(t, other.value)) // a copy, so that the tree stays a tree
	case 5:
		if m, ok := p.value.(map[string]any); ok {
			m[rapid.SampledFrom([]string{"x", "name", "to", "L_T", "l_t", "Id", "parts", "route", "map"}).Draw(t, "name")] = copyOf(t, rapid.SampledFrom(strange).Draw(t, "strange"))
		}
	}
}

func copyOf(t *rapid.T, v any) any {
	var c any
	if err := json.Unmarshal(write(t, v), &c); err != nil {
		t.Fatal(err)
	}
	return c
}

func write(t *rapid.T, v any) []byte {
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// TestDecodeAcceptsWhatTheContractDoes: every body made by the schema is decoded, and nothing of it is lost.
func TestDecodeAcceptsWhatTheContractDoes(t *testing.T) {
	for _, d := range documents {
		t.Run(d.schema, func(t *testing.T) {
			s := schema(t, d.schema)
			rapid.Check(t, func(r *rapid.T) {
				v := drawObject(r, s)
				body := write(r, v)
				if !d.accepts(t, body) {
					r.Fatalf("the contract refuses %s", body)
				}
				decoded, ok := d.decode(body)
				if !ok {
					r.Fatalf("not decoded: %s", body)
				}
				if back := copyOf(r, decoded); !reflect.DeepEqual(withoutEmptyTexts(back), withoutEmptyTexts(copyOf(r, v))) {
					r.Fatalf("%s\nbecomes\n%s", body, write(r, decoded))
				}
			})
		})
	}
}

// withoutEmptyTexts drops fields that hold an empty text, which means as much as no text.
func withoutEmptyTexts(v any) any {
	for _, p := range places(v) {
		if p.value == "" && p.name != "" {
			p.remove()
		}
	}
	return v
}

// TestDecodeAgreesWithTheContract: after any change of values and names, decoder and schema say the same.
func TestDecodeAgreesWithTheContract(t *testing.T) {
	for _, d := range documents {
		t.Run(d.schema, func(t *testing.T) {
			s, examples := schema(t, d.schema), examplesOf(t, d.path)
			accepted := 0
			rapid.Check(t, func(r *rapid.T) {
				root := drawObject(r, s)
				if name := rapid.SampledFrom(append(sortedKeys(examples), "drawn")).Draw(r, "body"); name != "drawn" {
					root = copyOf(r, examples[name]).(map[string]any)
				}
				for n := rapid.IntRange(1, 3).Draw(r, "changes"); n > 0 && len(root) > 0; n-- {
					mutate(r, root)
				}
				body := write(r, root)
				want := d.accepts(t, body)
				if _, ok := d.decode(body); ok != want && !(want && bytes.Contains(body, []byte("null"))) { // null within coordinates is for the geometry to refuse
					r.Fatalf("decoded: %v, the contract accepts: %v: %s", ok, want, body)
				}
				if want {
					accepted++
				}
			})
			if accepted == 0 {
				t.Error("no changed body was accepted; the test says nothing of acceptance")
			}
		})
	}
}

// TestDecodeNeverAcceptsMore: after any change of the text, no decoder accepts what the contract refuses.
func TestDecodeNeverAcceptsMore(t *testing.T) {
	for _, d := range documents {
		t.Run(d.schema, func(t *testing.T) {
			examples := examplesOf(t, d.path)
			rapid.Check(t, func(r *rapid.T) {
				body := write(r, examples[rapid.SampledFrom(sortedKeys(examples)).Draw(r, "body")])
				for n := rapid.IntRange(1, 3).Draw(r, "changes"); n > 0; n-- {
					body = mutateText(r, body)
				}
				if _, ok := d.decode(body); ok && !d.accepts(t, body) {
					r.Fatalf("decoded, but the contract refuses %s", body)
				}
			})
		})
	}
}

// ends are the places in a text where one of the characters stands.
func ends(text []byte, chars string) []int {
	var all []int
	for i, c := range text {
		if strings.IndexByte(chars, c) >= 0 {
			all = append(all, i)
		}
	}
	return all
}

var pieces = []string{"1e400", "-1e400", "NaN", "-Infinity", "1e-400", "01", "1.", ".5", "0x10", "+1", "-0", "null", "true", `"\u006e"`, `"\ud800"`, "\"\xff\"", "{}", "[]", `{"id":"s"}`, "\x00", "\ufeff", "//", "}", "]", ",", "''"}

// mutateText changes a body in ways that no tree can express.
func mutateText(r *rapid.T, body []byte) []byte {
	body = slices.Clone(body)
	if len(body) == 0 {
		return body
	}
	at := rapid.IntRange(0, len(body)-1).Draw(r, "at")
	switch rapid.IntRange(0, 6).Draw(r, "change") {
	case 0: // a value replaced
		if colons := ends(body, ":"); len(colons) > 0 {
			from := rapid.SampledFrom(colons).Draw(r, "colon") + 1
			to := from
			for to < len(body) && !strings.ContainsRune(",}]", rune(body[to])) {
				to++
			}
			return slices.Concat(body[:from], []byte(rapid.SampledFrom(pieces).Draw(r, "piece")), body[to:])
		}
	case 1: // a field twice in an object
		fields := strings.Split(string(body), ",")
		i := rapid.IntRange(0, len(fields)-1).Draw(r, "field")
		return []byte(strings.Join(slices.Insert(fields, i, strings.TrimLeft(fields[i], "{[")), ","))
	case 2: // a letter in the other case
		if letters := ends(body, "abcdefghijklmnopqrstuvwxyzILTFOV"); len(letters) > 0 {
			body[rapid.SampledFrom(letters).Draw(r, "letter")] ^= 0x20
		}
	case 3: // a letter escaped
		if letters := ends(body, "aeinm"); len(letters) > 0 {
			i := rapid.SampledFrom(letters).Draw(r, "letter")
			const hex = "0123456789abcdef"
			return slices.Concat(body[:i], []byte(`\u00`), []byte{hex[body[i]>>4], hex[body[i]&15]}, body[i+1:])
		}
	case 4: // something put in
		return slices.Concat(body[:at], []byte(rapid.SampledFrom(pieces).Draw(r, "piece")), body[at:])
	case 5: // something behind
		return slices.Concat(body, []byte(rapid.SampledFrom([]string{" ", "\n", "{}", "null", "x", "\x00", "]"}).Draw(r, "tail")))
	case 6: // a byte changed or dropped
		if rapid.Bool().Draw(r, "drop") {
			return slices.Delete(body, at, at+1)
		}
		body[at] = rapid.Byte().Draw(r, "byte")
	}
	return body
}

// FuzzDecode: whatever the bytes, no decoder accepts what the contract
// refuses, and what it accepts survives writing and reading.
func FuzzDecode(f *testing.F) {
	for _, d := range documents {
		for _, example := range examplesOf(f, d.path) {
			f.Add(encode(f, example))
		}
	}
	f.Add([]byte(minimal(`,"name":"B"`)))
	f.Add([]byte(minimal(`,"lines":[{"id":"l","structure":"s","bonding_spd":0.002,"coordinated_spd":"I"}]`)))
	f.Add([]byte(strings.Replace(minimal(""), `"name"`, `"n\u0061me"`, 1)))
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, d := range documents {
			decoded, ok := d.decode(body)
			if !ok {
				continue
			}
			if !d.accepts(t, body) {
				t.Fatalf("decoded, but the contract refuses %q", body)
			}
			again, ok := d.decode(encode(t, decoded))
			if !ok || !reflect.DeepEqual(decoded, again) {
				t.Fatalf("%q becomes %s", body, encode(t, decoded))
			}
		}
	})
}
