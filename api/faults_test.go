package api_test

import (
	"bytes"
	"fmt"
	"io"
	"maps"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"levinward/api/apitest"
	"levinward/risk"
)

// invalidInputs are bodies that are JSON and have faults: all of them are named, and nothing else.
var invalidInputs = []struct {
	name string
	put  apitest.Values
	want []apitest.PlacedFault
}{
	{"latitude beyond the pole", apitest.Values{"/location/latitude": 91}, apitest.FaultsAt("/location/latitude")},
	{"longitude beyond 180", apitest.Values{"/location/longitude": -180.001}, apitest.FaultsAt("/location/longitude")},
	{"no location", apitest.Values{"/location": apitest.Nothing{}}, apitest.FaultsAt("/location")},
	{"no latitude", apitest.Values{"/location/latitude": apitest.Nothing{}}, apitest.FaultsAt("/location/latitude")},
	{"no name, no structures", apitest.Values{"/name": apitest.Nothing{}, "/structures": apitest.Nothing{}, "/lines": apitest.Nothing{}}, apitest.FaultsAt("/name", "/structures")},
	{"an empty list of structures", apitest.Values{"/structures": []any{}, "/lines": apitest.Nothing{}}, apitest.FaultsAt("/structures")},

	{"zero height", apitest.Values{"/structures/0/height_m": 0}, apitest.FaultsAt("/structures/0/height_m")},
	{"negative sizes", apitest.Values{"/structures/0/length_m": -1, "/structures/0/width_m": -0.5, "/structures/1/height_m": -1e-9},
		apitest.FaultsAt("/structures/0/length_m", "/structures/0/width_m", "/structures/1/height_m")},
	{"a size nothing has", apitest.Values{"/structures/1/length_m": 1e308}, apitest.FaultsAt("/structures/1/length_m")},
	{"sizes below a millimetre", apitest.Values{"/structures/0/height_m": 1e-4, "/structures/1/width_m": 1e-300},
		apitest.BrokenAt(risk.RuleOutOfRange, "/structures/0/height_m", "/structures/1/width_m")},
	{"a negative line", apitest.Values{"/lines/0/length_m": -1}, apitest.FaultsAt("/lines/0/length_m")},
	{"soil that is metal", apitest.Values{"/soil_resistivity_ohm_m": 0}, apitest.FaultsAt("/soil_resistivity_ohm_m")},

	{"duplicate structures", apitest.Values{"/structures/1/id": "a", "/lines": []any{}, "/structures/0/zones": apitest.Nothing{}}, apitest.BrokenAt(risk.RuleDuplicateID, "/structures/1/id")},
	{"duplicate lines", apitest.Values{"/lines/2/id": "data"}, apitest.BrokenAt(risk.RuleDuplicateID, "/lines/2/id")},
	{"duplicate zones", apitest.Values{"/structures/0/zones/1/id": "rooms"}, apitest.BrokenAt(risk.RuleDuplicateID, "/structures/0/zones/1/id")},
	{"a line of no structure", apitest.Values{"/lines/2/structure": "c"}, apitest.BrokenAt(risk.RuleUnknownReference, "/lines/2/structure")},
	{"a line of no structure that a zone uses", apitest.Values{"/lines/0/structure": "c"}, apitest.BrokenAt(risk.RuleUnknownReference, "/lines/0/structure")},
	{"a line to no structure", apitest.Values{"/lines/1/to": "c"}, apitest.BrokenAt(risk.RuleUnknownReference, "/lines/1/to")},
	{"a line to where it begins", apitest.Values{"/lines/1/to": "b"}, apitest.BrokenAt(risk.RuleSameStructure, "/lines/1/to")},
	{"a system of no line", apitest.Values{"/structures/0/zones/0/systems/0/line": "none"}, apitest.BrokenAt(risk.RuleUnknownReference, "/structures/0/zones/0/systems/0/line")},
	{"a system of another structure's line", apitest.Values{"/structures/0/zones/0/systems/0/line": "array"}, apitest.BrokenAt(risk.RuleUnknownReference, "/structures/0/zones/0/systems/0/line")},
	{"systems outside", apitest.Values{"/structures/0/zones/1/systems": []any{apitest.Values{"line": "supply"}}}, apitest.BrokenAt(risk.RuleNotApplicable, "/structures/0/zones/1/systems")},
	{"more persons in zones than in the structure", apitest.Values{"/structures/0/persons": 9}, apitest.BrokenAt(risk.RuleTooManyPersons, "/structures/0/zones")},
	{"persons of some zones only", apitest.Values{"/structures/0/persons": apitest.Nothing{}, "/structures/0/zones/1/persons": apitest.Nothing{}}, apitest.BrokenAt(risk.RuleContradiction, "/structures/0/persons")},
	{"nothing to assess", apitest.Values{"/structures/0/assess": false, "/structures/0/zones": apitest.Nothing{}, "/structures/1/assess": false}, apitest.BrokenAt(risk.RuleNothingToAssess, "/structures")},
	{"zones of a neighbour", apitest.Values{"/structures/0/assess": false}, apitest.BrokenAt(risk.RuleNotApplicable, "/structures/0/zones")},

	{"both flash densities", apitest.Values{"/flash_density/thunderstorm_days_per_year": 60}, apitest.BrokenAt(risk.RuleContradiction, "/flash_density")},
	{"no flash density", apitest.Values{"/flash_density/ground_flashes_per_km2_year": apitest.Nothing{}}, apitest.BrokenAt(risk.RuleContradiction, "/flash_density")},
	{"a relation without thunderstorm days", apitest.Values{"/flash_density/relation": "linear"}, apitest.BrokenAt(risk.RuleNotApplicable, "/flash_density/relation")},
	{"a density nowhere on earth", apitest.Values{"/flash_density/ground_flashes_per_km2_year": 101}, apitest.FaultsAt("/flash_density/ground_flashes_per_km2_year")},
	{"half a year", apitest.Values{"/flash_density/year": 2024.5}, apitest.FaultsAt("/flash_density/year")},
	{"an edition not there", apitest.Values{"/edition": "iec-62305-2:1995"}, apitest.BrokenAt(risk.RuleUnknownEdition, "/edition")},

	{"unknown fields at every depth", apitest.Values{"/wind": 1, "/location/height": 2, "/structures/1/color": "red",
		"/structures/0/zones/0/systems/0/cable": apitest.Values{}, "/lines/2/electrical/watts": 5},
		apitest.FaultsAt("/wind", "/location/height", "/structures/1/color", "/structures/0/zones/0/systems/0/cable",
			"/lines/2/electrical/watts")},
	{"a field in capitals", apitest.Values{"/Name": "again"}, apitest.FaultsAt("/Name")},
	{"a field whose name needs escaping", apitest.Values{"/structures/0": apitest.Values{"id": "a", "length_m": 1, "width_m": 1, "height_m": 1, "a/b~c": 1}}, apitest.FaultsAt("/structures/0/a~1b~0c")},
	{"a value not in the list", apitest.Values{"/environment": "moon", "/structures/0/lps": "V", "/lines/0/electrical/system": "tt"},
		apitest.FaultsAt("/environment", "/structures/0/lps", "/lines/0/electrical/system")},
	{"the occupancy that absence means", apitest.Values{"/structures/0/occupancy": "unknown"}, apitest.FaultsAt("/structures/0/occupancy")},
	{"an SPD neither level nor probability", apitest.Values{"/lines/0/bonding_spd": "IV", "/lines/1/bonding_spd": 0.006,
		"/lines/2/coordinated_spd": true},
		apitest.FaultsAt("/lines/0/bonding_spd", "/lines/1/bonding_spd", "/lines/2/coordinated_spd")},
	{"wrong types", apitest.Values{"/name": 5, "/location": []any{}, "/structures/0/length_m": "10", "/structures/1/assess": "yes",
		"/lines/0/electrical": "ac", "/lines/1": 3},
		apitest.FaultsAt("/name", "/location", "/structures/0/length_m", "/structures/1/assess", "/lines/0/electrical", "/lines/1")},
	{"null is no value", apitest.Values{"/name": nil, "/location/latitude": nil, "/structures/0/zones/0/persons": nil,
		"/lines/2/electrical": nil},
		apitest.FaultsAt("/name", "/location/latitude", "/structures/0/zones/0/persons", "/lines/2/electrical")},
	{"two phases without neutral", apitest.Values{"/lines/0/electrical/phases": 2, "/lines/0/electrical/neutral": false},
		apitest.BrokenAt(risk.RuleContradiction, "/lines/0/electrical/phases")},

	{"texts too long", apitest.Values{"/name": strings.Repeat("n", 201), "/reference": strings.Repeat("ü", 201),
		"/structures/1/id": strings.Repeat("i", 101), "/lines": []any{}, "/structures/0/zones": apitest.Nothing{}},
		apitest.FaultsAt("/name", "/reference", "/structures/1/id")},
	{"empty texts", apitest.Values{"/name": "", "/structures/0/zones/0/id": ""}, apitest.FaultsAt("/name", "/structures/0/zones/0/id")},

	{"sections and the short form", apitest.Values{"/lines/0/sections": []any{apitest.Values{"length_m": 5}}, "/lines/0/length_m": 5,
		"/lines/0/installation": "aerial"},
		apitest.BrokenAt(risk.RuleContradiction, "/lines/0/length_m", "/lines/0/installation")},
	{"d.c. on an a.c. line", apitest.Values{"/lines/0/electrical/open_circuit_v": 150, "/lines/0/electrical/origin": "battery"},
		apitest.BrokenAt(risk.RuleNotApplicable, "/lines/0/electrical/open_circuit_v", "/lines/0/electrical/origin")},
	{"a.c. on a d.c. line", apitest.Values{"/lines/2/electrical/phases": 3, "/lines/2/electrical/system": "TT"},
		apitest.BrokenAt(risk.RuleNotApplicable, "/lines/2/electrical/phases", "/lines/2/electrical/system")},
	{"an array's data on a battery", apitest.Values{"/lines/2/electrical/origin": "battery", "/lines/2/electrical/lowest_temperature_c": 3},
		apitest.BrokenAt(risk.RuleNotApplicable, "/lines/2/electrical/lowest_temperature_c")},
	{"power data of telecommunication", apitest.Values{"/lines/1/electrical": apitest.Values{"nominal_v": 230, "max_operating_v": 72}}, apitest.BrokenAt(risk.RuleNotApplicable, "/lines/1/electrical/nominal_v")},
	{"an operating voltage below the nominal", apitest.Values{"/lines/0/electrical/max_operating_v": 200}, apitest.BrokenAt(risk.RuleContradiction, "/lines/0/electrical/max_operating_v")},
	{"a resistance of no shield", apitest.Values{"/lines/0/shield": apitest.Values{"type": "none", "resistance_ohm_per_km": 3}}, apitest.BrokenAt(risk.RuleNotApplicable, "/lines/0/shield/resistance_ohm_per_km")},

	{"five different faults", apitest.Values{"/location/latitude": 91, "/structures/0/zones/0/fire_risk": "burning",
		"/structures/1/colour": 1, "/lines/2/id": "data", "/flash_density/thunderstorm_days_per_year": 60},
		append(append(apitest.FaultsAt("/location/latitude", "/structures/0/zones/0/fire_risk", "/structures/1/colour"),
			apitest.BrokenAt(risk.RuleDuplicateID, "/lines/2/id")...), apitest.BrokenAt(risk.RuleContradiction, "/flash_density")...)},
	{"faults within the place of others", apitest.Values{"/structures/0/persons": 9, "/structures/0/zones/1/id": "rooms",
		"/structures/0/zones/1/wind": 1, "/structures/1/height_m": 1e-4},
		append(append(append(apitest.FaultsAt("/structures/0/zones/1/wind"),
			apitest.BrokenAt(risk.RuleTooManyPersons, "/structures/0/zones")...),
			apitest.BrokenAt(risk.RuleDuplicateID, "/structures/0/zones/1/id")...),
			apitest.BrokenAt(risk.RuleOutOfRange, "/structures/1/height_m")...)},
	{"faults within the place of others, found by the computation",
		apitest.Values{"/structures/0/persons": 9, "/structures/0/zones/1/id": "rooms"},
		append(apitest.BrokenAt(risk.RuleTooManyPersons, "/structures/0/zones"),
			apitest.BrokenAt(risk.RuleDuplicateID, "/structures/0/zones/1/id")...)},
	{"five faults that only the computation can find",
		apitest.Values{"/structures/1/height_m": 1e-4, "/lines/1/to": "c", "/structures/0/persons": 9, "/lines/2/id": "supply",
			"/lines/0/electrical/phases": 2, "/lines/0/electrical/neutral": false},
		append(append(append(append(apitest.BrokenAt(risk.RuleOutOfRange, "/structures/1/height_m"),
			apitest.BrokenAt(risk.RuleUnknownReference, "/lines/1/to")...), apitest.BrokenAt(risk.RuleTooManyPersons, "/structures/0/zones")...),
			apitest.BrokenAt(risk.RuleDuplicateID, "/lines/2/id")...), apitest.BrokenAt(risk.RuleContradiction, "/lines/0/electrical/phases")...)},
}

func TestInvalidInputs(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		c.Post("/v1/calculations", []byte(apitest.Sound)).Want(http.StatusOK)
		for _, test := range invalidInputs {
			t.Run(test.name, func(t *testing.T) {
				refused(t, c.With(t), apitest.Changed(t, []byte(apitest.Sound), test.put), test.want)
			})
		}
		if l, _ := apitest.GetList(c, ""); len(l.Assessments) != 0 {
			t.Errorf("refused, but stored: %v", l.Names())
		}
	})
}

// refused sends a body to every operation that takes an input; each names exactly the faults.
func refused(t *testing.T, c *apitest.Client, body []byte, want []apitest.PlacedFault) {
	t.Helper()
	for _, path := range []string{"/v1/calculations", "/v1/assessments"} {
		p := c.Post(path, body).Want(http.StatusUnprocessableEntity).Problem()
		if p.Kind() != "invalid-input" {
			t.Errorf("%s: %s", path, p.Type)
		}
		if got, want := apitest.PlacesOf(p.Errors), textsOf(want); !slices.Equal(got, want) {
			t.Errorf("%s names\n  %s\nwant\n  %s", path, strings.Join(got, "\n  "), strings.Join(want, "\n  "))
		}
		for _, f := range p.Errors {
			namesAllowed(t, c.Document(), f)
		}
	}
}

func textsOf(faults []apitest.PlacedFault) []string {
	var texts []string
	for _, f := range faults {
		texts = append(texts, f.String())
	}
	slices.Sort(texts)
	return texts
}

// namesAllowed holds the reason of a fault of form against the schema: the
// names and limits that are allowed stand in it.
func namesAllowed(t *testing.T, doc *openapi3.T, f apitest.Fault) {
	t.Helper()
	if f.Rule != "" {
		return
	}
	s := doc.Components.Schemas["Input"].Value
	for _, part := range strings.Split(*f.Pointer, "/")[1:] {
		if s.Type.Is("array") {
			s = s.Items.Value
			continue
		}
		next := s.Properties[part]
		if next == nil { // an unknown field: the known ones are named
			for name := range s.Properties {
				says(t, f, name)
			}
			return
		}
		s = next.Value
	}
	for _, o := range append(slices.Clone(s.OneOf), s.NewRef()) {
		allowedOf(t, f, o.Value)
	}
}

func allowedOf(t *testing.T, f apitest.Fault, s *openapi3.Schema) {
	t.Helper()
	for _, e := range s.Enum {
		says(t, f, fmt.Sprint(e))
	}
	for _, limit := range []*float64{s.Min, s.Max} {
		if limit != nil {
			says(t, f, strconv.FormatFloat(*limit, 'f', -1, 64))
		}
	}
	for _, limit := range []*uint64{s.MaxLength, s.MaxItems} {
		if limit != nil {
			says(t, f, strconv.FormatUint(*limit, 10))
		}
	}
}

func says(t *testing.T, f apitest.Fault, what string) {
	t.Helper()
	if !strings.Contains(f.Reason, what) {
		t.Errorf("%s: %q does not name what is allowed, %s", *f.Pointer, f.Reason, what)
	}
}

// invalidTexts are bodies whose fault is in the text, so that no JSON value stands for them.
func TestInvalidTexts(t *testing.T) {
	replaced := func(old, new string) string { return strings.Replace(apitest.Sound, old, new, 1) }
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		for _, test := range []struct {
			name, body string
			want       []apitest.PlacedFault
		}{
			{"a number beyond double precision", replaced(`"height_m": 4`, `"height_m": 1e400`), apitest.FaultsAt("/structures/0/height_m")},
			{"its negative", replaced(`"latitude": -3`, `"latitude": -1e400`), apitest.FaultsAt("/location/latitude")},
			{"1e308 everywhere", strings.NewReplacer(`"latitude": -3`, `"latitude": 1e308`, `"persons": 10`, `"persons": 1e308`, `_year": 9`,
				`_year": 1e308`).Replace(apitest.Sound),
				apitest.FaultsAt("/location/latitude", "/structures/0/persons", "/flash_density/ground_flashes_per_km2_year")},
			{"a key twice", replaced(`"id": "a",`, `"id": "a", "id": "a",`), apitest.FaultsAt("/structures/0/id")},
			{"a key twice, once escaped", replaced(`"id": "a",`, `"id": "a", "\u0069d": "x",`), apitest.FaultsAt("/structures/0/id")},
			{"the first key again at the end", strings.TrimSuffix(apitest.Sound, "}") + `, "name": "x"}`, apitest.FaultsAt("/name")},
			{"control characters", strings.NewReplacer(`two huts`, `two\u0000 huts`, `"id": "b"`, `"id": "b\t"`, `"structure": "b"`,
				`"structure": "b\t"`).Replace(apitest.Sound),
				apitest.BrokenAt(risk.RuleOutOfRange, "/name", "/structures/1/id")},
			{"bytes that are not UTF-8", replaced(`two huts`, "two \xff huts"), apitest.BrokenAt(risk.RuleOutOfRange, "/name")},
			{"half a surrogate", replaced(`two huts`, `two \ud800 huts`), apitest.BrokenAt(risk.RuleOutOfRange, "/name")},
			{"no object", `[1]`, apitest.FaultsAt("")},
			{"a text", `"input"`, apitest.FaultsAt("")},
			{"null", `null`, apitest.FaultsAt("")},
			{"an empty object", `{}`, apitest.FaultsAt("/name", "/location", "/flash_density", "/structures")},
		} {
			t.Run(test.name, func(t *testing.T) { refusedTexts(t, c.With(t), test.body, test.want) })
		}
		if l, _ := apitest.GetList(c, ""); len(l.Assessments) != 0 {
			t.Errorf("refused, but stored: %v", l.Names())
		}
	})
}

func refusedTexts(t *testing.T, c *apitest.Client, body string, want []apitest.PlacedFault) {
	t.Helper()
	for _, path := range []string{"/v1/calculations", "/v1/assessments"} {
		p := c.Post(path, []byte(body)).Want(http.StatusUnprocessableEntity).Problem()
		if got, want := apitest.PlacesOf(p.Errors), textsOf(want); !slices.Equal(got, want) {
			t.Errorf("%s names\n  %s\nwant\n  %s", path, strings.Join(got, "\n  "), strings.Join(want, "\n  "))
		}
	}
}

func TestNotJSON(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := apitest.Create(c, []byte(apitest.Sound))
		bodies := map[string]string{
			"empty": "", "blank": " \n", "truncated": apitest.Sound[:len(apitest.Sound)/2],
			"without its end": strings.TrimSuffix(apitest.Sound, "}"),
			"text after":      apitest.Sound + "x", "two values": apitest.Sound + "{}",
			"a comma too many": strings.Replace(apitest.Sound, `"persons": 10,`, `"persons": 10,,`, 1),
			"nested deeply":    strings.Repeat(`{"a":`, 100_000), "lists in lists": strings.Repeat("[", 1_000_000),
			"nested and closed": strings.Repeat("[", 5000) + strings.Repeat("]", 5000),
			"a byte order mark": "\ufeff" + apitest.Sound, "single quotes": "{'name': 1}", "a comment": "{} // done", "a form": "name=site",
			"a raw control character": "{\"name\": \"a\tb\"}",
		}
		for _, literal := range []string{"NaN", "Infinity", "-Infinity", "+1", "01", ".5", "0x10", "1e", "True", "undefined"} {
			bodies[literal] = strings.Replace(apitest.Sound, `"height_m": 4`, `"height_m": `+literal, 1)
		}
		for _, name := range slices.Sorted(maps.Keys(bodies)) {
			for _, path := range []string{"/v1/calculations", "/v1/assessments"} {
				if p := c.Post(path, []byte(bodies[name])).Want(http.StatusBadRequest).Problem(); p.Kind() != "not-json" || p.Detail == "" {
					t.Errorf("%s: %s, %s", name, p.Type, p.Detail)
				}
			}
			if p := c.Patch("/v1/assessments/"+s.ID+"/revisions", bodies[name]).Want(http.StatusBadRequest).Problem(); p.Kind() != "not-json" {
				t.Errorf("%s as a patch: %s", name, p.Type)
			}
		}
		unchanged(t, c, s)
	})
}

// unchanged holds that there is one assessment with one revision.
func unchanged(t *testing.T, c *apitest.Client, s apitest.Stored) {
	t.Helper()
	if l, _ := apitest.GetList(c, ""); len(l.Assessments) != 1 || l.Assessments[0].ID != s.ID || l.Assessments[0].Revision != 1 {
		t.Errorf("something was stored: %v", l)
	}
}

func TestMediaTypes(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := apitest.Create(c, []byte(apitest.Sound))
		revisions := "/v1/assessments/" + s.ID + "/revisions"
		for _, test := range []struct{ path, media string }{
			{"/v1/calculations", "text/plain"}, {"/v1/calculations", "application/merge-patch+json"},
			{"/v1/assessments", "application/x-www-form-urlencoded"},
			{"/v1/assessments", "application/jsonx"}, {"/v1/assessments", "json"}, {revisions, "application/json"},
			{revisions, "application/json-patch+json"},
		} {
			if p := c.Do(http.MethodPost, test.path, []byte(apitest.Sound), "Content-Type",
				test.media).Want(http.StatusUnsupportedMediaType).Problem(); p.Kind() != "wrong-media-type" {
				t.Errorf("%s to %s: %s", test.media, test.path, p.Type)
			}
		}
		c.Do(http.MethodPost, "/v1/calculations", []byte(apitest.Sound)).Want(http.StatusUnsupportedMediaType) // none at all
		c.Post("/v1/calculations", []byte(apitest.Sound), "Content-Encoding", "gzip").Want(http.StatusUnsupportedMediaType)
		unchanged(t, c, s)
		for _, media := range []string{"application/json; charset=utf-8", "Application/JSON", "application/json;charset=UTF-8"} {
			c.Do(http.MethodPost, "/v1/calculations", []byte(apitest.Sound), "Content-Type", media).Want(http.StatusOK)
		}
	})
}

func TestBodySize(t *testing.T) {
	const most = 2 << 20
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := apitest.Create(c, []byte(apitest.Sound))
		padded := func(size int) []byte {
			return append([]byte(apitest.Sound), bytes.Repeat([]byte(" "), size-len(apitest.Sound))...)
		}
		withoutLength := func(body []byte) func(*http.Request) *http.Request {
			return func(r *http.Request) *http.Request {
				r.ContentLength, r.Body = -1, io.NopCloser(bytes.NewReader(body))
				return r
			}
		}
		asJSON := []string{"Content-Type", "application/json"}
		c.Post("/v1/calculations", padded(most)).Want(http.StatusOK)
		c.Send(padded(most), withoutLength(padded(most)), http.MethodPost, "/v1/calculations", asJSON...).Want(http.StatusOK)
		for _, path := range []string{"/v1/calculations", "/v1/assessments"} {
			if p := c.Post(path, padded(most+1)).Want(http.StatusRequestEntityTooLarge).Problem(); p.Kind() != "too-large" {
				t.Errorf("%s: %s", path, p.Type)
			}
			c.Send(padded(most+1), withoutLength(padded(most+1)), http.MethodPost, path, asJSON...).Want(http.StatusRequestEntityTooLarge)
		}
		c.Patch("/v1/assessments/"+s.ID+"/revisions", string(padded(most+1))).Want(http.StatusRequestEntityTooLarge)
		unchanged(t, c, s)
	})
}

// A patch is refused for what it makes of the input, with pointers into the patched input.
func TestInvalidPatches(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, first := apitest.Create(c, []byte(apitest.Sound))
		at2 := "/v1/assessments/" + s.ID
		for patch, want := range map[string][]apitest.PlacedFault{
			`{"name": null, "location": {"latitude": 91}}`:             apitest.FaultsAt("/name", "/location/latitude"),
			`{"flash_density": {"ground_flashes_per_km2_year": null}}`: apitest.BrokenAt(risk.RuleContradiction, "/flash_density"),
			`{"lines": null}`: apitest.BrokenAt(risk.RuleUnknownReference, "/structures/0/zones/0/systems/0/line"),
			`{"structures": [{"id": "b", "length_m": 1, "width_m": 1, "height_m": 1}]}`:                                 apitest.BrokenAt(risk.RuleUnknownReference, "/lines/0/structure", "/lines/1/to"),
			`{"lines": null, "structures": [{"id": "c", "length_m": 1, "width_m": 1, "height_m": 1, "persons": null}]}`: apitest.FaultsAt("/structures/0/persons"), // null in a list stays
			`{"colour": "red"}`:                         apitest.FaultsAt("/colour"),
			`{"environment": 5, "reference": {"a": 1}}`: apitest.FaultsAt("/environment", "/reference"),
			`{"name": "x", "name": "y"}`:                apitest.FaultsAt("/name"),
			`[]`:                                        apitest.FaultsAt(""),
			`"text"`:                                    apitest.FaultsAt(""),
			`null`:                                      apitest.FaultsAt(""),
		} {
			p := c.Patch(at2+"/revisions", patch).Want(http.StatusUnprocessableEntity).Problem()
			if got, want := apitest.PlacesOf(p.Errors), textsOf(want); !slices.Equal(got, want) {
				t.Errorf("%s: %v, want %v", patch, got, want)
			}
		}
		c.Patch(at2+"/revisions", `{}`, "If-Match", `"revision-7"`).Want(http.StatusPreconditionFailed)
		unchanged(t, c, s)
		if !bytes.Equal(c.Get(at2).Want(http.StatusOK).Body, first.Body) {
			t.Error("the assessment changed")
		}
	})
}

func TestQueryParameters(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := apitest.Create(c, []byte(apitest.Sound))
		at := "/v1/assessments/" + s.ID
		for path, want := range map[string][]string{
			"/v1/assessments?nonsense=1":                      {"nonsense"},
			"/v1/assessments?Limit=5":                         {"Limit"},
			"/v1/assessments?limit=5&limit=6":                 {"limit"},
			"/v1/assessments?limit=0":                         {"limit"},
			"/v1/assessments?limit=501":                       {"limit"},
			"/v1/assessments?limit=ten":                       {"limit"},
			"/v1/assessments?limit=":                          {"limit"},
			"/v1/assessments?limit=1.5":                       {"limit"},
			"/v1/assessments?cursor=made-up":                  {"cursor"},
			"/v1/assessments?cursor=":                         {"cursor"},
			"/v1/assessments?bbox=1,2,3":                      {"bbox"},
			"/v1/assessments?bbox=1,2,3,4,5":                  {"bbox"},
			"/v1/assessments?bbox=a,b,c,d":                    {"bbox"},
			"/v1/assessments?bbox=0,10,10,5":                  {"bbox"}, // south above north
			"/v1/assessments?bbox=-181,0,10,5":                {"bbox"},
			"/v1/assessments?bbox=0,-91,10,5":                 {"bbox"},
			"/v1/assessments?bbox=NaN,0,10,5":                 {"bbox"},
			"/v1/assessments?bbox=0,0,Inf,5":                  {"bbox"},
			"/v1/assessments?review_due=maybe":                {"review_due"},
			"/v1/assessments?review_due=1":                    {"review_due"},
			"/v1/assessments?q=" + strings.Repeat("q", 201):   {"q"},
			"/v1/assessments?a=1&limit=x&b=2":                 {"a", "b"},
			"/v1/assessments?limit=x&bbox=1&review_due=maybe": {"bbox", "limit", "review_due"},
			at + "?revision=1":                                {"revision"},
			at + "/changes?from=0":                            {"from"},
			at + "/changes?from=1&to=last":                    {"to"},
			at + "/changes?from=x&to=y":                       {"from", "to"},
			at + "/worksheet?revision=0":                      {"revision"},
			at + "/worksheet?revision=":                       {"revision"},
			at + "/spd-schedule?revision=-1":                  {"revision"},
			"/v1/reference?edition=x":                         {"edition"},
		} {
			p := c.Get(path).Want(http.StatusBadRequest).Problem()
			var got []string
			for _, f := range p.Errors {
				got = append(got, f.Parameter)
			}
			slices.Sort(got)
			if p.Kind() != "bad-parameter" || !slices.Equal(got, want) {
				t.Errorf("%s: %s at %v, want %v", path, p.Type, got, want)
			}
		}
		for path, item := range c.Document().Paths.Map() {
			for method := range item.Operations() {
				a := c.Do(method, strings.NewReplacer("{id}", s.ID, "{n}", "1").Replace(path)+"?nonsense=1", nil).Want(http.StatusBadRequest)
				if p := a.Problem(); len(p.Errors) != 1 || p.Errors[0].Parameter != "nonsense" {
					t.Errorf("%s %s: %s", method, path, a.Body)
				}
			}
		}
		unchanged(t, c, s)
	})
}

// However a number is out of range, the answer is a fault at its place: no number
// in any field of an input gets a value into the computation that it cannot take.
func TestEveryNumberIsBounded(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	body := apitest.Demo(t)
	for _, pointer := range numbersOf(t, body) {
		for _, v := range []float64{math.MaxFloat64, -math.MaxFloat64, -1e9} {
			p := c.Post("/v1/calculations", apitest.Changed(t, body, apitest.Values{pointer: v})).Want(http.StatusUnprocessableEntity).Problem()
			if len(p.Errors) == 0 || *p.Errors[0].Pointer != pointer {
				t.Errorf("%v at %s: %v", v, pointer, apitest.PlacesOf(p.Errors))
			}
		}
	}
}
