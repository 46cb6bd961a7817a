package wire_test

import (
	"context"
	"encoding/json"
	"math"
	"net/http"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/geo"
	"levinward/risk"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

// loadContract reads openapi.yaml once.
var loadContract = sync.OnceValues(func() (*openapi3.T, error) {
	return openapi3.NewLoader().LoadFromFile("../../openapi.yaml")
})

func contract(t testing.TB) *openapi3.T {
	t.Helper()
	doc, err := loadContract()
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

func schema(t testing.TB, name string) *openapi3.Schema {
	t.Helper()
	ref := contract(t).Components.Schemas[name]
	if ref == nil {
		t.Fatalf("openapi.yaml has no schema %s", name)
	}
	return ref.Value
}

func TestContractIsValid(t *testing.T) {
	if err := contract(t).Validate(context.Background()); err != nil {
		t.Fatal(err)
	}
	if v := contract(t).OpenAPI; v != "3.0.3" {
		t.Errorf("openapi %s, want 3.0.3", v)
	}
	for _, word := range []string{"screening and design aid", "Local codes and a licensed practitioner decide", "Prove the earth connection"} {
		if !strings.Contains(strings.Join(strings.Fields(contract(t).Info.Description), " "), word) {
			t.Errorf("info.description lacks the caution %q", word)
		}
	}
}

// The operations, each with the statuses it can answer with.
var operations = map[string][]string{
	"POST /v1/calculations":                     {"200", "400", "413", "415", "422", "500", "503"},
	"POST /v1/assessments":                      {"201", "400", "413", "415", "422", "500", "503"},
	"GET /v1/assessments":                       {"200", "400", "500", "503"},
	"GET /v1/assessments/{id}":                  {"200", "304", "400", "404", "500", "503"},
	"DELETE /v1/assessments/{id}":               {"204", "400", "404", "500", "503"},
	"POST /v1/assessments/{id}/revisions":       {"201", "400", "404", "409", "412", "413", "415", "422", "500", "503"},
	"GET /v1/assessments/{id}/revisions":        {"200", "400", "404", "500", "503"},
	"GET /v1/assessments/{id}/revisions/{n}":    {"200", "304", "400", "404", "500", "503"},
	"GET /v1/assessments/{id}/changes":          {"200", "400", "404", "500", "503"},
	"GET /v1/assessments/{id}/worksheet":        {"200", "400", "404", "406", "500", "503"},
	"GET /v1/assessments/{id}/worksheet.csv":    {"200", "400", "404", "500", "503"},
	"GET /v1/assessments/{id}/worksheet.html":   {"200", "400", "404", "500", "503"},
	"GET /v1/assessments/{id}/spd-schedule":     {"200", "400", "404", "406", "500", "503"},
	"GET /v1/assessments/{id}/spd-schedule.csv": {"200", "400", "404", "500", "503"},
	"POST /v1/assessments/{id}/spd-stress":      {"200", "400", "404", "413", "415", "422", "500", "503"},
	"GET /v1/assessments/{id}/collection-areas": {"200", "400", "404", "500", "503"},
	"POST /v1/spd-checks":                       {"200", "400", "413", "415", "422", "500", "503"},
	"POST /v1/spd-coordinations":                {"200", "400", "413", "415", "422", "500"},
	"POST /v1/earth-electrodes":                 {"200", "400", "413", "415", "422", "500"},
	"POST /v1/flash-density-maps":               {"201", "400", "413", "415", "422", "500", "503"},
	"GET /v1/flash-density-maps":                {"200", "400", "500", "503"},
	"GET /v1/flash-density-maps/{id}":           {"200", "400", "404", "500", "503"},
	"DELETE /v1/flash-density-maps/{id}":        {"204", "400", "404", "500", "503"},
	"GET /v1/flash-density-maps/{id}/sample":    {"200", "400", "404", "422", "500", "503"},
	"POST /v1/devices":                          {"200", "201", "400", "413", "415", "422", "500", "503"},
	"GET /v1/devices":                           {"200", "400", "500", "503"},
	"GET /v1/devices/columns.csv":               {"200", "400", "500"},
	"GET /v1/devices/{id}":                      {"200", "304", "400", "404", "500", "503"},
	"PUT /v1/devices/{id}":                      {"200", "400", "404", "409", "412", "413", "415", "422", "500", "503"},
	"DELETE /v1/devices/{id}":                   {"204", "400", "404", "409", "412", "500", "503"},
	"GET /v1/reference":                         {"200", "400", "500", "503"},
	"GET /v1/reference/values":                  {"200", "400", "500", "503"},
	"GET /v1/reference/values.csv":              {"200", "400", "500", "503"},
	"PUT /v1/reference/reviews":                 {"200", "400", "412", "413", "415", "422", "500", "503"},
	"GET /v1/reference/reviews":                 {"200", "400", "404", "500", "503"},
	"DELETE /v1/reference/reviews":              {"204", "400", "404", "412", "500", "503"},
	"GET /v1/reference/reviews/{hash}":          {"200", "400", "404", "500", "503"},
	"GET /openapi.yaml":                         {"200", "400"},
	"GET /openapi.json":                         {"200", "400"},
	"GET /docs":                                 {"301", "400"},
	"GET /healthz":                              {"200", "400"},
	"GET /readyz":                               {"200", "400", "503"},
	"GET /metrics":                              {"200", "400"},

	"GET /v1/portfolios/{id}/sites.csv":                     {"200", "400", "404", "500", "503"},
	"GET /v1/portfolios/{id}/sites.xlsx":                    {"200", "400", "404", "500", "503"},
	"GET /v1/portfolios/{id}/sites.geojson":                 {"200", "400", "404", "500", "503"},
	"GET /v1/portfolios/{id}/sites.gpkg":                    {"200", "400", "404", "500", "503"},
	"POST /v1/portfolios/{id}/budget":                       {"200", "400", "404", "406", "413", "415", "422", "500", "503"},
	"GET /ogc":                                              {"200", "400", "500"},
	"GET /ogc/api":                                          {"200", "400"},
	"GET /ogc/conformance":                                  {"200", "400", "500"},
	"GET /ogc/collections":                                  {"200", "400", "500", "503"},
	"GET /ogc/collections/{collectionId}":                   {"200", "400", "404", "500", "503"},
	"GET /ogc/collections/{collectionId}/items":             {"200", "400", "404", "500", "503"},
	"GET /ogc/collections/{collectionId}/items/{featureId}": {"200", "400", "404", "500", "503"},

	"GET /v1/portfolios":                            {"200", "400", "500", "503"},
	"POST /v1/portfolios":                           {"201", "400", "409", "413", "415", "422", "500", "503"},
	"GET /v1/portfolios/{id}":                       {"200", "400", "404", "500", "503"},
	"PATCH /v1/portfolios/{id}":                     {"200", "400", "404", "409", "413", "415", "422", "500", "503"},
	"DELETE /v1/portfolios/{id}":                    {"204", "400", "404", "500", "503"},
	"GET /v1/portfolios/{id}/sites":                 {"200", "400", "404", "500", "503"},
	"GET /v1/portfolios/{id}/changes":               {"200", "400", "404", "500", "503"},
	"POST /v1/portfolios/{id}/imports":              {"202", "400", "404", "409", "413", "415", "422", "500", "503"},
	"POST /v1/portfolios/{id}/assessments":          {"202", "400", "404", "413", "415", "422", "500", "503"},
	"GET /v1/work/{id}":                             {"200", "400", "404", "500", "503"},
	"DELETE /v1/work/{id}":                          {"200", "400", "404", "500", "503"},
	"GET /v1/work/{id}/events":                      {"200", "400", "404", "500", "503"},
	"GET /v1/work/{id}/faults":                      {"200", "400", "404", "500", "503"},
	"GET /v1/work/{id}/notes":                       {"200", "400", "404", "500", "503"},
	"POST /v1/work/{id}/retries":                    {"202", "400", "404", "409", "500", "503"},
	"POST /v1/webhooks":                             {"201", "400", "409", "413", "415", "422", "500", "503"},
	"GET /v1/webhooks":                              {"200", "400", "500", "503"},
	"GET /v1/webhooks/{id}":                         {"200", "400", "404", "500", "503"},
	"PUT /v1/webhooks/{id}":                         {"200", "400", "404", "413", "415", "422", "500", "503"},
	"DELETE /v1/webhooks/{id}":                      {"204", "400", "404", "500", "503"},
	"GET /v1/webhooks/{id}/deliveries":              {"200", "400", "404", "500", "503"},
	"POST /v1/webhooks/{id}/deliveries/{n}/retries": {"202", "400", "404", "500", "503"},
	"GET /v1/presets":                               {"200", "400", "500", "503"},
	"GET /v1/presets/{kind}/{name}":                 {"200", "400", "404", "500", "503"},
	"PUT /v1/presets/{kind}/{name}":                 {"200", "201", "400", "404", "409", "413", "415", "422", "500", "503"},
	"DELETE /v1/presets/{kind}/{name}":              {"204", "400", "404", "500", "503"},
	"GET /v1/portfolios/{id}/work":                  {"200", "400", "404", "500", "503"},
	"GET /v1/import-columns.csv":                    {"200", "400", "500"},
	"GET /v1/import-template.csv":                   {"200", "400", "500"},
	"GET /v1/import-template.xlsx":                  {"200", "400", "500"},
	"GET /v1/import-template.geojson":               {"200", "400", "500"},
}

func TestOperations(t *testing.T) {
	ids := map[string]string{}
	found := 0
	for path, item := range contract(t).Paths.Map() {
		for method, op := range item.Operations() {
			name := method + " " + path
			found++
			statuses, known := operations[name]
			if !known {
				t.Errorf("%s is not an operation of the service", name)
				continue
			}
			if op.OperationID == "" || ids[op.OperationID] != "" {
				t.Errorf("%s: operationId %q is empty or that of %s", name, op.OperationID, ids[op.OperationID])
			}
			ids[op.OperationID] = name
			if op.Summary == "" {
				t.Errorf("%s has no summary", name)
			}
			if got := sortedKeys(op.Responses.Map()); !slices.Equal(got, statuses) {
				t.Errorf("%s answers %v, want %v", name, got, statuses)
			}
			for status, r := range op.Responses.Map() {
				if status >= "400" && !isProblem(t, r.Value) {
					t.Errorf("%s: %s is no application/problem+json", name, status)
				}
			}
		}
	}
	if found != len(operations) {
		t.Errorf("%d operations, want %d", found, len(operations))
	}
}

func isProblem(t *testing.T, r *openapi3.Response) bool {
	m := r.Content["application/problem+json"]
	return len(r.Content) == 1 && m != nil && m.Schema.Value == schema(t, "Problem")
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

func TestIdempotencyKeys(t *testing.T) {
	parameters := contract(t).Components.Parameters
	key, work := parameters["IdempotencyKey"].Value.Schema.Value, parameters["WorkKey"].Value.Schema.Value
	for text, ok := range map[string]bool{
		"k": true, "!": true, "~": true, strings.Repeat("k", 255): true,
		"": false, strings.Repeat("k", 256): false, "a b": false, "ä": false, "a\x7f": false, "a\n": false,
	} {
		if got := key.VisitJSON(text) == nil; got != ok || (work.VisitJSON(text) == nil) != ok {
			t.Errorf("key %q accepted: %v, want %v for every operation", text, got, ok)
		}
	}
}

// TestFormsOfSchemas holds every schema to the habits of the contract.
func TestFormsOfSchemas(t *testing.T) {
	for name, ref := range contract(t).Components.Schemas {
		if ref.Value.Description == "" {
			t.Errorf("%s has no description", name)
		}
		checkForm(t, name, ref.Value)
	}
	for path, item := range contract(t).Paths.Map() {
		for method, op := range item.Operations() {
			for _, p := range slices.Concat(item.Parameters, op.Parameters) {
				at := method + " " + path + " " + p.Value.Name
				if p.Value.Description == "" {
					t.Errorf("%s has no description", at)
				}
				checkForm(t, at, p.Value.Schema.Value)
			}
		}
	}
}

func checkForm(t *testing.T, at string, s *openapi3.Schema) {
	t.Helper()
	if s.Type.Is("number") && s.Format != "double" {
		t.Errorf("%s is a number without format double", at)
	}
	for _, required := range s.Required {
		if s.Properties[required] == nil {
			t.Errorf("%s requires %s, which it does not have", at, required)
		}
	}
	for name, p := range s.Properties {
		if p.Value.Description == "" {
			t.Errorf("%s.%s has no description", at, name)
		}
		if p.Ref == "" {
			checkForm(t, at+"."+name, p.Value)
		}
	}
	if s.Items != nil && s.Items.Ref == "" {
		checkForm(t, at+"[]", s.Items.Value)
	}
	for _, o := range s.OneOf {
		checkForm(t, at, o.Value)
	}
}

// A field that means a quantity of the standard names its unit and its symbol.
var (
	unitInName = regexp.MustCompile(`_(m|m2|km2|v|kv|a|ka|c|k|mm2|year|ohm_m|ohm_per_km)$`)
	unitInText = regexp.MustCompile(`\[[^]]+\]`)
)

func TestDescriptionsNameUnits(t *testing.T) {
	for name, ref := range contract(t).Components.Schemas {
		for field, p := range ref.Value.Properties {
			if unitInName.MatchString(field) && p.Value.Type.Is("number") && !unitInText.MatchString(p.Value.Description) {
				t.Errorf("%s.%s: the description names no unit: %s", name, field, p.Value.Description)
			}
		}
	}
}

// TestRequestsEqualContract walks the types of the bodies alongside their schemas.
func TestRequestsEqualContract(t *testing.T) {
	request{t}.object("Input", reflect.TypeFor[wire.Input](), schema(t, "Input"))
	request{t}.object("SPDCheck", reflect.TypeFor[wire.SPDCheck](), schema(t, "SPDCheck"))
	request{t}.object("Device", reflect.TypeFor[wire.Device](), schema(t, "Device"))
	request{t}.object("StressRequest", reflect.TypeFor[wire.StressRequest](), schema(t, "StressRequest"))
	request{t}.object("CoordinationRequest", reflect.TypeFor[wire.CoordinationRequest](), schema(t, "CoordinationRequest"))
	request{t}.object("WebhookInput", reflect.TypeFor[wire.WebhookInput](), schema(t, "WebhookInput"))
	request{t}.object("BudgetRequest", reflect.TypeFor[wire.BudgetRequest](), schema(t, "BudgetRequest"))
	request{t}.object("EarthRequest", reflect.TypeFor[wire.EarthRequest](), schema(t, "EarthRequest"))
}

type request struct{ *testing.T }

func (t request) object(at string, typ reflect.Type, s *openapi3.Schema) {
	t.Helper()
	if !s.Type.Is("object") {
		t.Errorf("%s: type %v, want object", at, s.Type)
		return
	}
	if has := s.AdditionalProperties.Has; has == nil || *has {
		t.Errorf("%s allows properties that are not declared", at)
	}
	fields := wire.Fields(typ)
	if len(fields) != len(s.Properties) {
		t.Errorf("%s: %d fields, the contract has %d: %v", at, len(fields), len(s.Properties), sortedKeys(s.Properties))
	}
	var required []string
	for i := range fields {
		f := &fields[i]
		if f.Required {
			required = append(required, f.Name)
		}
		p := s.Properties[f.Name]
		if p == nil {
			t.Errorf("%s.%s is not in the contract", at, f.Name)
			continue
		}
		t.field(at+"."+f.Name, f, p.Value)
	}
	if !sameSet(required, s.Required) {
		t.Errorf("%s requires %v, the contract %v", at, required, s.Required)
	}
}

func sameSet(a, b []string) bool {
	return slices.Equal(slices.Sorted(slices.Values(a)), slices.Sorted(slices.Values(b)))
}

func (t request) field(at string, f *wire.Field, s *openapi3.Schema) {
	t.Helper()
	if s.Nullable {
		t.Errorf("%s may be null", at)
	}
	if !f.List {
		t.value(at, f, s)
		return
	}
	if !s.Type.Is("array") {
		t.Errorf("%s: type %v, want array", at, s.Type)
		return
	}
	t.interval(at+" entries", f.Items, counts(s.MinItems, s.MaxItems))
	t.value(at+"[]", f, s.Items.Value)
}

// openList reports a list without a stated form.
func openList(s *openapi3.Schema) bool {
	return s.Type.Is("array") && s.Items.Value.Type == nil && s.MinItems == 0 && s.MaxItems == nil
}

// counts is an interval of lengths, nil without an upper end.
func counts(low uint64, high *uint64) *wire.Interval {
	if high == nil {
		return nil
	}
	return &wire.Interval{Min: float64(low), Max: float64(*high)}
}

func numbers(s *openapi3.Schema) *wire.Interval {
	if s.Min == nil || s.Max == nil || s.ExclusiveMax.IsTrue() {
		return nil
	}
	return &wire.Interval{Min: *s.Min, Max: *s.Max, Open: s.ExclusiveMin.IsTrue()}
}

func (t request) interval(at string, tag, contract *wire.Interval) {
	t.Helper()
	if tag == nil || contract == nil || *tag != *contract {
		t.Errorf("%s: limits %v, the contract says %v", at, tag, contract)
	}
}

func (t request) value(at string, f *wire.Field, s *openapi3.Schema) {
	t.Helper()
	switch f.Type {
	case reflect.TypeFor[wire.SPD]():
		t.spd(at, s)
		return
	case reflect.TypeFor[wire.Coordinates]():
		if !openList(s) {
			t.Errorf("%s: coordinates are a list whose form follows from the type of the geometry", at)
		}
		return
	}
	if names, ok := namesOf(f.Type); ok {
		t.enum(at, names, s)
		return
	}
	if form, ok := reflect.Zero(f.Type).Interface().(interface{ Pattern() string }); ok {
		if !s.Type.Is("string") || s.Pattern != form.Pattern() || s.VisitJSON(s.Example) != nil || s.Title == "" {
			t.Errorf("%s: the contract has type %v, pattern %q, example %v, title %q; the pattern is %q", at, s.Type, s.Pattern, s.Example, s.Title, form.Pattern())
		}
		return
	}
	kind := ""
	switch f.Type.Kind() {
	case reflect.Struct:
		t.object(at, f.Type, s)
		return
	case reflect.String:
		kind = "string"
		t.interval(at, f.Length, counts(s.MinLength, s.MaxLength))
	case reflect.Float64:
		kind = "number"
		if f.Integer {
			kind = "integer"
		}
		t.interval(at, f.Number, numbers(s))
	case reflect.Bool:
		kind = "boolean"
	}
	if !s.Type.Is(kind) || len(s.Enum) > 0 || s.Pattern != "" || s.MultipleOf != nil {
		t.Errorf("%s: the contract has type %v, enum %v, pattern %q; the field is a plain %s", at, s.Type, s.Enum, s.Pattern, kind)
	}
}

// namesOf lists the values of a named type.
func namesOf(typ reflect.Type) ([]string, bool) {
	n, ok := reflect.Zero(typ).Interface().(interface{ Names() []string })
	if !ok {
		return nil, false
	}
	return n.Names(), true
}

func (t request) enum(at string, names []string, s *openapi3.Schema) {
	t.Helper()
	var values []string
	for _, v := range s.Enum {
		text, _ := v.(string)
		values = append(values, text)
	}
	if !s.Type.Is("string") || !sameSet(names, values) {
		t.Errorf("%s: values %v, the contract has type %v with %v", at, names, s.Type, s.Enum)
	}
}

// spd holds the schema against what the type takes: a level, or a probability of which the ends of the interval are the last.
func (t request) spd(at string, s *openapi3.Schema) {
	t.Helper()
	if len(s.OneOf) != 2 {
		t.Errorf("%s: want a level or a number", at)
		return
	}
	t.enum(at, wire.SPD{}.Names(), s.OneOf[0].Value)
	n := numbers(s.OneOf[1].Value)
	if n == nil || !s.OneOf[1].Value.Type.Is("number") {
		t.Errorf("%s: the probability has no limits", at)
		return
	}
	for v, ok := range map[float64]bool{n.Min: !n.Open, n.Max: true, math.Nextafter(n.Min, 0): false, math.Nextafter(n.Max, 1): false} {
		text, _ := json.Marshal(v)
		if err := json.Unmarshal(text, new(wire.SPD)); (err == nil) != ok {
			t.Errorf("%s: %v taken: %v, the contract says %v", at, v, err == nil, ok)
		}
	}
}

// TestAnswersEqualContract walks the types of the answers alongside their schemas.
func TestAnswersEqualContract(t *testing.T) {
	for name, typ := range map[string]reflect.Type{
		"Result":              reflect.TypeFor[wire.Result](),
		"Worksheet":           reflect.TypeFor[wire.Worksheet](),
		"FlashDensityMap":     reflect.TypeFor[wire.FlashDensityMap](),
		"FlashDensityMapList": reflect.TypeFor[wire.FlashDensityMapList](),
		"FlashDensitySample":  reflect.TypeFor[wire.FlashDensitySample](),
		"Reference":           reflect.TypeFor[wire.Reference](),
		"StressResult":        reflect.TypeFor[wire.StressResult](),
		"CoordinationResult":  reflect.TypeFor[wire.CoordinationResult](),
		"EarthResult":         reflect.TypeFor[wire.EarthResult](),
		"StoredDevice":        reflect.TypeFor[wire.StoredDevice](),
		"Matching":            reflect.TypeFor[wire.Matching](),

		"SiteFeature":  reflect.TypeFor[wire.SiteFeature](),
		"SiteFeatures": reflect.TypeFor[wire.SiteFeatures](),
		"LandingPage":  reflect.TypeFor[wire.LandingPage](),
		"Conformance":  reflect.TypeFor[wire.Conformance](),
		"Collections":  reflect.TypeFor[wire.Collections](),
		"Webhook":      reflect.TypeFor[wire.Webhook](),
		"Delivery":     reflect.TypeFor[wire.Delivery](),
		"BudgetPlan":   reflect.TypeFor[wire.BudgetPlan](),
	} {
		response{t}.object(name, typ, schema(t, name))
	}
}

type response struct{ *testing.T }

// repeated are the types of requests that an answer repeats as they were sent.
var repeated = map[reflect.Type]string{reflect.TypeFor[wire.Input](): "Input", reflect.TypeFor[wire.Electrode](): "Electrode"}

// answerField is a field of an answer as encoding/json writes it.
type answerField struct {
	name     string
	optional bool
	typ      reflect.Type
}

func answerFields(typ reflect.Type) []answerField {
	var fields []answerField
	for i := range typ.NumField() {
		f := typ.Field(i)
		if f.Anonymous {
			fields = append(fields, answerFields(f.Type)...)
			continue
		}
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		fields = append(fields, answerField{name, options == "omitempty", f.Type})
	}
	return fields
}

func (t response) object(at string, typ reflect.Type, s *openapi3.Schema) {
	t.Helper()
	if name := repeated[typ]; name != "" {
		if s != schema(t, name) {
			t.Errorf("%s is not the %s that was sent", at, name)
		}
		return
	}
	if !s.Type.Is("object") {
		t.Errorf("%s: type %v, want object", at, s.Type)
		return
	}
	fields := answerFields(typ)
	var names, required []string
	for _, f := range fields {
		names = append(names, f.name)
		if !f.optional {
			required = append(required, f.name)
		}
		if p := s.Properties[f.name]; p != nil {
			t.field(at+"."+f.name, f, p.Value)
		}
	}
	if !sameSet(names, sortedKeys(s.Properties)) {
		t.Errorf("%s has %v, the contract %v", at, names, sortedKeys(s.Properties))
	}
	if !sameSet(required, s.Required) {
		t.Errorf("%s always has %v, the contract requires %v", at, required, s.Required)
	}
}

// field also holds what may be null: a number that may be absent, and a pointer that is written all the same.
func (t response) field(at string, f answerField, s *openapi3.Schema) {
	t.Helper()
	typ := f.typ
	if typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	null := typ == reflect.TypeFor[spd.Opt]() || typ != f.typ && !f.optional && repeated[typ] == ""
	if s.Nullable != null {
		t.Errorf("%s: null %v, the contract says %v", at, null, s.Nullable)
	}
	t.value(at, typ, s)
}

func (t response) value(at string, typ reflect.Type, s *openapi3.Schema) {
	t.Helper()
	if typ == reflect.TypeFor[wire.SPD]() {
		request(t).spd(at, s)
		return
	}
	if values, ok := closedSets[typ]; ok {
		t.enum(at, values, s)
		return
	}
	if names, ok := namesOf(typ); ok {
		t.enum(at, names, s)
		return
	}
	want := map[reflect.Kind]string{
		reflect.Slice: "array", reflect.Map: "object", reflect.Struct: "object", reflect.String: "string",
		reflect.Bool: "boolean", reflect.Int: "integer", reflect.Float64: "number",
	}[typ.Kind()]
	switch typ {
	case reflect.TypeFor[spd.Opt]():
		want = "number"
	case reflect.TypeFor[time.Time]():
		want = "string"
		if s.Format != "date-time" {
			t.Errorf("%s: format %q, want date-time", at, s.Format)
		}
	}
	if !s.Type.Is(want) {
		t.Errorf("%s: type %v, want %s", at, s.Type, want)
		return
	}
	switch {
	case typ.Kind() == reflect.Slice:
		t.value(at+"[]", typ.Elem(), s.Items.Value)
	case typ.Kind() == reflect.Map:
		t.object(at+".*", typ.Elem(), s.AdditionalProperties.Schema.Value)
	case want == "object":
		t.object(at, typ, s)
	}
}

// closedSets are the types whose values are constants without a list of names.
// An entry of the schedule has no level where none applies, instead of the level "none".
var closedSets = map[reflect.Type][]string{
	reflect.TypeFor[spd.Position]():                {string(spd.LineEntrance), string(spd.AtEquipment), string(spd.AtArray), string(spd.AtFarEnd)},
	reflect.TypeFor[spd.TestClass]():               {string(spd.ClassI), string(spd.ClassII), string(spd.ClassIII), string(spd.D1), string(spd.C2), string(spd.C1)},
	reflect.TypeFor[trace.Provenance]():            provenances(),
	reflect.TypeFor[geo.DensityKind]():             {string(geo.GroundFlashDensity), string(geo.TotalFlashDensity), string(geo.ThunderstormDays)},
	reflect.TypeFor[geo.ThunderstormDayRelation](): {string(geo.LinearThunderstormDays), string(geo.PowerThunderstormDays)},
	reflect.TypeFor[risk.Level]():                  risk.Level(0).Names()[1:],
	reflect.TypeFor[spd.Rule]():                    named(spd.Rules),
	reflect.TypeFor[spd.Verdict]():                 named(spd.Unsuitable + 1),
	reflect.TypeFor[spd.Source]():                  {string(spd.S1), string(spd.S2), string(spd.S3), string(spd.S4)},
	reflect.TypeFor[spd.Waveform]():                {string(spd.Impulse10350), string(spd.Surge820)},
	reflect.TypeFor[spd.CoordinationRule](): {string(spd.CoordImpulseCurrent), string(spd.CoordNominalCurrent), string(spd.CoordClassOrder), string(spd.CoordProtectionLevels),
		string(spd.CoordOperatingVoltages), string(spd.CoordDischargeCurrents), string(spd.CoordDecoupling), string(spd.CoordLeads), string(spd.CoordLeadsPreferred),
		string(spd.CoordProtectionDistance), string(spd.CoordTarget), string(spd.CoordFurtherStage)},
}

// named lists the names of the values below an end.
func named[T interface {
	~uint8
	String() string
}](end T) (names []string) {
	for v := range end {
		names = append(names, v.String())
	}
	return names
}

func provenances() []string {
	var names []string
	for p := trace.Given; p <= trace.Checked; p++ {
		names = append(names, p.String())
	}
	return names
}

func (t response) enum(at string, names []string, s *openapi3.Schema) {
	t.Helper()
	var values []string
	null := false
	for _, v := range s.Enum {
		if v == nil {
			null = true
			continue
		}
		values = append(values, v.(string))
	}
	if !s.Type.Is("string") || !sameSet(names, values) {
		t.Errorf("%s: values %v, the contract has type %v with %v", at, names, s.Type, s.Enum)
	}
	if null != s.Nullable {
		t.Errorf("%s: null stands among the values: %v, nullable: %v", at, null, s.Nullable)
	}
}

// TestConnectionsAndShockMeasures holds the sets that the types of an answer write as plain texts.
func TestConnectionsAndShockMeasures(t *testing.T) {
	r := response{t}
	r.enum("connection", []string{string(spd.CT1), string(spd.CT2)}, schema(t, "ScheduleEntry").Properties["connection"].Value)
	measures := schema(t, "StructureMeasures").Properties
	for _, name := range []string{"structure_shock_measures", "line_shock_measures"} {
		r.enum(name, risk.ShockMeasureNames, measures[name].Value.Items.Value)
	}
	for _, name := range []string{"Step", "Quantity", "TableRow", "EarthNote"} {
		r.enum(name, provenances(), schema(t, name).Properties["provenance"].Value)
	}
}

// definitions are the quantities and tables of everything that computes.
func definitions() (qs []*trace.Quantity, ts []*trace.Table) {
	for _, e := range assess.Editions {
		qs, ts = append(qs, e.Quantities()...), append(ts, e.Tables()...)
	}
	return append(qs, spd.Quantities()...), append(ts, spd.Tables()...)
}

// TestWorksheetsAreReadBack stores the worksheet of each example and writes it out as the contract has it.
func TestWorksheetsAreReadBack(t *testing.T) {
	qs, ts := definitions()
	defs, err := wire.NewDefinitions(qs, ts, nil)
	if err != nil {
		t.Fatal(err)
	}
	for name, example := range inputExamples(t) {
		text := encode(t, example)
		in, ok := wire.Decode(text)
		if !ok {
			t.Fatalf("%s is not decoded", name)
		}
		tr := trace.New(1000)
		answer, faults := assess.Run(in.Core(), tr)
		if len(faults) > 0 {
			t.Fatalf("%s: %v", name, faults)
		}
		stored, err := defs.Encode(tr)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		sheet, err := wire.ReadWorksheet(answer.Input.Edition, defs.Document, stored, answer.Document(in).Assumptions, text)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if len(sheet.Steps) != len(tr.Steps) || len(sheet.Steps) == 0 {
			t.Errorf("%s: %d steps, want %d", name, len(sheet.Steps), len(tr.Steps))
			continue
		}
		for i := range sheet.Steps {
			if got, want := sheet.Steps[i], tr.Steps[i]; got.Value != want.Value || got.Symbol != want.Quantity.Symbol {
				t.Errorf("%s: step %d is %s = %v, want %s = %v", name, i, got.Symbol, got.Value, want.Quantity.Symbol, want.Value)
			}
		}
		sheet.Cautions = assess.Cautions() // the service takes them from the result
		if err := schema(t, "Worksheet").VisitJSON(tree(t, encode(t, sheet))); err != nil {
			t.Errorf("%s: the contract refuses the worksheet: %v", name, err)
		}
	}
}

func TestReferenceIsOfTheContract(t *testing.T) {
	qs, ts := definitions()
	for _, q := range wire.Quantities(qs, nil) {
		if err := schema(t, "Quantity").VisitJSON(tree(t, encode(t, q))); err != nil {
			t.Errorf("%s: %v", q.Symbol, err)
		}
	}
	for _, table := range wire.Tables(ts, nil) {
		if err := schema(t, "Table").VisitJSON(tree(t, encode(t, table))); err != nil {
			t.Errorf("table %s: %v", table.Number, err)
		}
	}
}

// inputExamples are the examples of an input in the contract.
func inputExamples(t testing.TB) map[string]map[string]any { return examplesOf(t, "/v1/calculations") }

// examplesOf are the examples of the body that an operation takes.
func examplesOf(t testing.TB, path string) map[string]map[string]any {
	t.Helper()
	examples := map[string]map[string]any{}
	for name, e := range contract(t).Paths.Find(path).Post.RequestBody.Value.Content["application/json"].Examples {
		examples[name] = tree(t, encode(t, e.Value.Value)).(map[string]any)
	}
	if len(examples) < 2 {
		t.Fatalf("%d examples of a body of %s", len(examples), path)
	}
	return examples
}

func encode(t testing.TB, v any) []byte {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func tree(t testing.TB, text []byte) any {
	t.Helper()
	var v any
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

func TestExamplesAreAccepted(t *testing.T) {
	for name, example := range inputExamples(t) {
		text := encode(t, example)
		if err := schema(t, "Input").VisitJSON(example); err != nil {
			t.Errorf("%s: the contract refuses it: %v", name, err)
		}
		in, ok := wire.Decode(text)
		if !ok {
			t.Errorf("%s is not decoded", name)
			continue
		}
		if !strings.Contains(in.Name, "invented") {
			t.Errorf("%s is not marked as invented: %s", name, in.Name)
		}
		answer, faults := assess.Run(in.Core(), nil)
		if len(faults) > 0 {
			t.Errorf("%s: %v", name, faults)
			continue
		}
		// the answer, filled with what the service adds, is one of the contract
		result := answer.Document(in)
		result.Engine, result.InputHash = "test", "0"
		if err := schema(t, "Result").VisitJSON(tree(t, encode(t, result))); err != nil {
			t.Errorf("%s: the contract refuses the answer: %v", name, err)
		}
	}
}

func TestEarthExamplesAreAccepted(t *testing.T) {
	for name, example := range examplesOf(t, "/v1/earth-electrodes") {
		req, ok := wire.EarthRequests.Decode(encode(t, example))
		if !ok {
			t.Errorf("%s is not decoded", name)
			continue
		}
		result, faults := assess.Earth(req, nil)
		if len(faults) > 0 {
			t.Errorf("%s: %v", name, faults)
			continue
		}
		if err := schema(t, "EarthResult").VisitJSON(tree(t, encode(t, result))); err != nil {
			t.Errorf("%s: the contract refuses the answer: %v", name, err)
		}
	}
}

func TestCheckExamplesAreAccepted(t *testing.T) {
	// Common practice, no published source: a device begins to act at 1.2 times its U_C or more, 1.2 x 820 V = 984 V,
	// and so not before 800 V break the controller.
	verdicts := map[string]spd.Verdict{"useless": spd.Ineffective, "supply": spd.InsufficientData}
	for name, example := range examplesOf(t, "/v1/spd-checks") {
		req, ok := wire.SPDChecks.Decode(encode(t, example))
		if !ok {
			t.Errorf("%s is not decoded", name)
			continue
		}
		if faults := assess.CheckFaults(req); len(faults) > 0 {
			t.Errorf("%s: %v", name, faults)
			continue
		}
		result, faults := assess.CheckByValue(req, nil)
		if len(faults) > 0 {
			t.Errorf("%s: %v", name, faults)
			continue
		}
		if result.Verdict != verdicts[name] {
			t.Errorf("%s is %v, want %v: %s", name, result.Verdict, verdicts[name], result.Sentence)
		}
		if err := schema(t, "SPDCheckResult").VisitJSON(tree(t, encode(t, result))); err != nil {
			t.Errorf("%s: the contract refuses the answer: %v", name, err)
		}
	}
}

func TestBudgetExamplesAreAccepted(t *testing.T) {
	for name, example := range examplesOf(t, "/v1/portfolios/{id}/budget") {
		req, ok := wire.BudgetRequests.Decode(encode(t, example))
		if !ok {
			t.Errorf("%s is not decoded", name)
			continue
		}
		if faults := req.Faults(); len(faults) > 0 {
			t.Errorf("%s: %v", name, faults)
		}
	}
}

func TestStressExamplesAreAccepted(t *testing.T) {
	in, ok := wire.Decode(encode(t, inputExamples(t)["health_post"]))
	if !ok {
		t.Fatal("the health post is not decoded")
	}
	computed, faults := assess.Run(in.Core(), nil)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	for name, example := range examplesOf(t, "/v1/assessments/{id}/spd-stress") {
		req, ok := wire.StressRequests.Decode(encode(t, example))
		if !ok {
			t.Errorf("%s is not decoded", name)
			continue
		}
		result, faults := assess.Stress(computed, req)
		if len(faults) > 0 {
			t.Errorf("%s: %v", name, faults)
			continue
		}
		if err := schema(t, "StressResult").VisitJSON(tree(t, encode(t, result))); err != nil {
			t.Errorf("%s: the contract refuses the answer: %v", name, err)
		}
	}
}

func TestCoordinationExamplesAreAccepted(t *testing.T) {
	for name, example := range examplesOf(t, "/v1/spd-coordinations") {
		req, ok := wire.Coordinations.Decode(encode(t, example))
		if !ok {
			t.Errorf("%s is not decoded", name)
			continue
		}
		result, faults := assess.Coordinate(req, nil)
		if len(faults) > 0 {
			t.Errorf("%s: %v", name, faults)
			continue
		}
		if err := schema(t, "CoordinationResult").VisitJSON(tree(t, encode(t, result))); err != nil {
			t.Errorf("%s: the contract refuses the answer: %v", name, err)
		}
	}
}

// TestPatchExamples applies each example of a patch to the fuller example.
func TestPatchExamples(t *testing.T) {
	media := contract(t).Paths.Find("/v1/assessments/{id}/revisions").GetOperation(http.MethodPost).RequestBody.Value.Content["application/merge-patch+json"]
	if len(media.Examples) == 0 {
		t.Fatal("no example of a patch")
	}
	for name, e := range media.Examples {
		patch := tree(t, encode(t, e.Value.Value))
		if err := media.Schema.Value.VisitJSON(patch); err != nil {
			t.Errorf("%s: the contract refuses it: %v", name, err)
		}
		before := inputExamples(t)["health_post"]
		after := merge(before, patch)
		if reflect.DeepEqual(after, inputExamples(t)["health_post"]) {
			t.Errorf("%s changes nothing", name)
		}
		if _, ok := wire.Decode(encode(t, after)); !ok {
			t.Errorf("%s: the patched input is not decoded", name)
		}
	}
}

// merge applies a merge patch as RFC 7396 section 2 defines it.
func merge(target, patch any) any {
	changes, ok := patch.(map[string]any)
	if !ok {
		return patch
	}
	object, ok := target.(map[string]any)
	if !ok {
		object = map[string]any{}
	}
	for k, v := range changes {
		if v == nil {
			delete(object, k)
			continue
		}
		object[k] = merge(object[k], v)
	}
	return object
}

// TestDefaultsAreThoseOfTheCore writes each default of the contract into an
// input that lacks the field, which must change nothing.
func TestDefaultsAreThoseOfTheCore(t *testing.T) {
	d := &defaults{T: t, seen: map[*openapi3.Schema]bool{}}
	for _, root := range inputExamples(t) {
		prices := map[string]any{"IV": 900., "III": 1200., "II": 1800., "I": 2600.}
		sets := map[string]any{"III-IV": 150., "II": 220., "I": 300.}
		root["measure_costs"] = map[string]any{"currency": "XTS", "lps": prices, "bonding_spd": sets, "coordinated_spd": sets,
			"fire_protection": map[string]any{"manual": 80., "automatic": 700.}, "warning_notices": 10., "insulation": 120.}
		root["structures"].([]any)[0].(map[string]any)["persons"] = 20.
		if first := root["structures"].([]any)[0].(map[string]any); first["zones"] == nil {
			first["zones"] = []any{map[string]any{"id": "bare"}}
		}
		if lines, ok := root["lines"].([]any); ok {
			lines = append(lines, map[string]any{"id": "bare", "structure": "post", "sections": []any{map[string]any{}}, "electrical": map[string]any{}},
				map[string]any{"id": "plain", "structure": "post", "shield": map[string]any{"type": "shielded"}},
				map[string]any{"id": "dc", "structure": "post", "electrical": map[string]any{"current": "dc"}})
			root["lines"] = lines
		}
		d.root = root
		d.object("Input", root, schema(t, "Input"))
	}
	for name, ref := range contract(t).Components.Schemas {
		for field, p := range ref.Value.Properties {
			if p.Value.Default != nil && !d.seen[p.Value] {
				t.Errorf("%s.%s: its default was not tried", name, field)
			}
		}
	}
}

type defaults struct {
	*testing.T
	root map[string]any
	seen map[*openapi3.Schema]bool
}

func (d *defaults) object(at string, m map[string]any, s *openapi3.Schema) {
	d.Helper()
	for _, name := range sortedKeys(s.Properties) {
		p := s.Properties[name].Value
		if p.Default != nil && m[name] == nil {
			before := d.core(at)
			m[name] = p.Default
			after := d.core(at + "." + name)
			delete(m, name)
			if !reflect.DeepEqual(before, after) {
				d.Errorf("%s.%s: the core does not take it as %v", at, name, p.Default)
			}
			d.seen[p] = true
		}
		switch v := m[name].(type) {
		case map[string]any:
			d.object(at+"."+name, v, p)
		case []any:
			for _, e := range v {
				if o, ok := e.(map[string]any); ok {
					d.object(at+"."+name+"[]", o, p.Items.Value)
				}
			}
		}
	}
}

func (d *defaults) core(at string) risk.Input {
	d.Helper()
	in, ok := wire.Decode(encode(d, d.root))
	if !ok {
		d.Fatalf("%s: the input is not decoded", at)
	}
	site := in.Core()
	if len(site.Violations) > 0 {
		d.Fatalf("%s: %v", at, site.Violations)
	}
	return site.Input
}
