package assess_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/trace"
)

// document is a body as a client writes it.
type document = map[string]any

// site is a body brought through decoding and computation.
type site struct {
	*wire.Site
	answer *wire.Answer
	result *wire.Result
	sheet  *trace.Trace
}

type fataler interface {
	Helper()
	Fatalf(format string, args ...any)
}

// run answers a body, which must be without fault.
func run(t fataler, doc document) site {
	t.Helper()
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatalf("%v", err)
	}
	in, ok := wire.Decode(text)
	if !ok {
		t.Fatalf("refused: %s", text)
	}
	s := site{Site: in.Core(), sheet: trace.New(0)}
	answer, faults := assess.Run(s.Site, s.sheet)
	if len(faults) > 0 {
		t.Fatalf("%v: %s", faults, text)
	}
	s.answer, s.result = answer, answer.Document(in)
	return s
}

// totals lists every risk by structure and loss.
func (s *site) totals() map[string]float64 {
	all := map[string]float64{}
	for i := range s.result.Structures {
		for k := range risk.Loss(risk.Losses) {
			if r := s.result.Structures[i].Risks.Of(k); r != nil {
				all[s.result.Structures[i].ID+" "+k.String()] = r.Total
			}
		}
	}
	return all
}

// notAbove demands that no risk of b is higher than in a, to rounding.
func notAbove(t *rapid.T, what string, a, b site) {
	t.Helper()
	before, after := a.totals(), b.totals()
	if len(before) != len(after) {
		t.Fatalf("%s: risks %v, then %v", what, before, after)
	}
	for name, was := range before {
		if now := after[name]; now > was*(1+1e-12) {
			t.Fatalf("%s: %s rises from %v to %v", what, name, was, now)
		}
	}
}

// The names that can be given, by field.
var named = map[string][]any{
	"surroundings": {"higher_objects", "similar_objects", "isolated", "hilltop"},
	"occupancy": {"dwelling", "school", "hospital", "hotel", "civic", "entertainment", "church", "museum", "industrial",
		"commercial", "agricultural", "office", "other",
		"clinic", "boarding_school", "workshop", "market_hall", "telecom_hut", "pump_house"},
	"lps":       {"none", "IV", "III", "II", "I", "I_natural_frame", "I_full_cover"},
	"surface":   {"agricultural", "concrete", "marble", "ceramic", "gravel", "carpet", "asphalt", "linoleum", "wood"},
	"fire_risk": {"none", "low", "ordinary", "high"}, "fire_protection": {"none", "manual", "automatic"},
	"special_hazard": {"none", "low_panic", "average_panic", "difficult_evacuation", "high_panic"},
	"environment":    {"rural", "suburban", "urban", "urban_tall"}, "installation": {"aerial", "buried", "buried_in_earth_mesh"},
	"wiring": {"unrouted", "large_loops_avoided", "loops_avoided", "shielded"}, "spd": {"none", "III-IV", "II", "I", 0.005, 0.001},
	"shield":         {"none", "shielded", "multi_grounded_neutral", "protective_cable", "isolating_interface"},
	"explosion_zone": {"none", "none", "none", "0_20", "1_21", "2_22"},
	"public_service": {"none", "power_gas_water", "tv_telecom"}, "measures": {"warning_notices", "insulation", "physical_restriction"},
	"yes or no": {true, false},
}

// maybe sets a field in half of the cases.
func maybe(t *rapid.T, doc document, field string, draw func() any) {
	if rapid.Bool().Draw(t, field+"?") {
		doc[field] = draw()
	}
}

func one(t *rapid.T, kind string) func() any {
	return func() any { return rapid.SampledFrom(named[kind]).Draw(t, kind) }
}

func number(t *rapid.T, what string, low, high float64) func() any {
	return func() any {
		// Spread evenly over the powers of ten, and no more digits than a person writes.
		v := low * math.Pow(high/low, rapid.Float64Range(0, 1).Draw(t, what))
		rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
		return min(max(rounded, low), high)
	}
}

func drawBox(t *rapid.T, id string) document {
	return document{"id": id, "length_m": number(t, "length", 2, 200)(), "width_m": number(t, "width", 2, 100)(),
		"height_m": number(t, "height", 2, 60)()}
}

// drawSite is any site of one to three structures with their lines.
func drawSite(t *rapid.T) document {
	doc := document{"name": "Invented", "location": document{"latitude": -3, "longitude": 36},
		"flash_density": document{"ground_flashes_per_km2_year": number(t, "N_G", 0.05, 40)()}}
	maybe(t, doc, "environment", one(t, "environment"))
	maybe(t, doc, "soil_resistivity_ohm_m", number(t, "rho", 10, 5000))
	n := rapid.IntRange(1, 3).Draw(t, "structures")
	var structures, lines []any
	ends := make([][]string, n)
	for i := range n {
		for range rapid.IntRange(0, 2).Draw(t, "lines") {
			id := fmt.Sprint("line-", len(lines))
			line := drawLine(t, id, fmt.Sprint("s", i))
			ends[i] = append(ends[i], id)
			if far := rapid.IntRange(0, 2*n).Draw(t, "to"); far < n && far != i {
				line["to"] = fmt.Sprint("s", far)
				ends[far] = append(ends[far], id)
			}
			lines = append(lines, line)
		}
	}
	for i := range n {
		structures = append(structures, drawStructure(t, fmt.Sprint("s", i), ends[i], i > 0))
	}
	doc["structures"] = structures
	if len(lines) > 0 || rapid.Bool().Draw(t, "lines?") {
		doc["lines"] = append([]any{}, lines...)
	}
	return doc
}

func drawStructure(t *rapid.T, id string, lines []string, neighbour bool) document {
	s := drawBox(t, id)
	maybe(t, s, "protrusion_height_m", number(t, "protrusion", 1, 80))
	maybe(t, s, "surroundings", one(t, "surroundings"))
	if neighbour && rapid.IntRange(0, 2).Draw(t, "neighbour") == 0 {
		s["assess"] = false
		return s
	}
	for _, field := range []string{"occupancy", "lps", "explosion_zone", "public_service"} {
		maybe(t, s, field, one(t, field))
	}
	for _, field := range []string{"natural_lps", "failure_endangers_life", "cultural_heritage"} {
		maybe(t, s, field, one(t, "yes or no"))
	}
	maybe(t, s, "screen_mesh_m", number(t, "mesh", 0.1, 20))
	if rapid.Bool().Draw(t, "zones?") {
		var zones []any
		for z := range rapid.IntRange(1, 3).Draw(t, "zones") {
			zones = append(zones, drawZone(t, fmt.Sprint("z", z), lines))
		}
		s["zones"] = zones
	}
	return s
}

func drawZone(t *rapid.T, id string, lines []string) document {
	z := document{"id": id}
	maybe(t, z, "hours_per_year", number(t, "hours", 1, 8760))
	maybe(t, z, "surface", one(t, "surface"))
	maybe(t, z, "structure_shock_measures", func() any { return []any{one(t, "measures")()} })
	maybe(t, z, "values", func() any {
		return document{"building": number(t, "building", 100, 1e6)(), "systems": number(t, "systems", 1, 1e5)(),
			"animals": number(t, "animals", 1, 1e4)()}
	})
	if rapid.IntRange(0, 3).Draw(t, "place") == 0 {
		z["place"] = "outside"
		return z
	}
	maybe(t, z, "line_shock_measures", func() any { return []any{one(t, "measures")()} })
	for _, field := range []string{"fire_risk", "fire_protection", "special_hazard"} {
		maybe(t, z, field, one(t, field))
	}
	maybe(t, z, "screen_mesh_m", number(t, "mesh", 0.1, 20))
	maybe(t, z, "losses", func() any { return document{"loss_of_human_life": document{"L_F": number(t, "L_F", 1e-3, 1)()}} })
	if rapid.Bool().Draw(t, "systems?") {
		systems := []any{}
		for _, l := range lines {
			s := document{"line": l}
			maybe(t, s, "wiring", one(t, "wiring"))
			maybe(t, s, "withstand_kv", number(t, "U_W", 0.5, 6))
			systems = append(systems, s)
		}
		z["systems"] = systems
	}
	return z
}

func drawLine(t *rapid.T, id, structure string) document {
	l := document{"id": id, "structure": structure}
	maybe(t, l, "service", func() any {
		return rapid.SampledFrom([]any{"low_voltage", "high_voltage", "telecom"}).Draw(t, "service")
	})
	maybe(t, l, "withstand_kv", number(t, "U_W", 0.5, 6))
	maybe(t, l, "bonding_spd", one(t, "spd"))
	maybe(t, l, "coordinated_spd", one(t, "spd"))
	maybe(t, l, "shield", func() any {
		s := document{"type": one(t, "shield")()}
		maybe(t, s, "bonded", one(t, "yes or no"))
		if s["type"] == "shielded" || s["type"] == "protective_cable" {
			maybe(t, s, "resistance_ohm_per_km", number(t, "R_S", 0.5, 30))
		}
		return s
	})
	if l["service"] != "telecom" {
		maybe(t, l, "electrical", func() any { return drawElectrical(t) })
	}
	if rapid.Bool().Draw(t, "sections?") {
		var sections []any
		for range rapid.IntRange(1, 3).Draw(t, "sections") {
			s := document{"length_m": number(t, "L_L", 1, 3000)()}
			maybe(t, s, "installation", one(t, "installation"))
			maybe(t, s, "environment", one(t, "environment"))
			sections = append(sections, s)
		}
		l["sections"] = sections
		return l
	}
	maybe(t, l, "installation", one(t, "installation"))
	maybe(t, l, "length_m", number(t, "L_L", 1, 3000))
	return l
}

func drawElectrical(t *rapid.T) document {
	return rapid.SampledFrom([]document{
		{}, {"system": "TN-S", "phases": 3}, {"system": "IT", "neutral": false}, {"source_connected": false},
		{"nominal_v": 48.0, "short_circuit_ka": 1.5},
		{"current": "dc", "origin": "photovoltaic", "open_circuit_v": 150.0, "short_circuit_a": 18.0, "equipment_max_input_v": 200.0, "equipment": "charge_controller"},
		{"current": "dc", "origin": "battery", "nominal_v": 48.0, "max_operating_v": 58.0}, {"current": "dc", "nominal_v": 24.0},
	}).Draw(t, "electrical")
}

// copyOf is a body that can be changed alone.
func copyOf(doc document) document {
	text, err := json.Marshal(doc)
	if err != nil {
		panic(err)
	}
	var c document
	if err := json.Unmarshal(text, &c); err != nil {
		panic(err)
	}
	return c
}

// writtenOut writes the lists that are assumed where they are absent, so that
// something can be put into them.
func writtenOut(doc document, s *site) document {
	doc = copyOf(doc)
	if doc["lines"] == nil {
		lines := []any{}
		for i := range s.Input.Lines {
			lines = append(lines, document{"id": s.Input.Lines[i].ID, "structure": s.Input.Structures[s.Input.Lines[i].Structure].ID})
		}
		doc["lines"] = lines
	}
	for _, st := range doc["structures"].([]any) {
		if st := st.(document); st["zones"] == nil && st["assess"] != false {
			st["zones"] = []any{document{"id": "inside"}}
		}
	}
	return doc
}

// put sets the value at a pointer.
func put(doc document, pointer string, value any) {
	var at any = doc
	parts := strings.Split(pointer, "/")[1:]
	for _, part := range parts[:len(parts)-1] {
		switch v := at.(type) {
		case document:
			if v[part] == nil {
				v[part] = document{}
			}
			at = v[part]
		case []any:
			i, err := strconv.Atoi(part)
			if err != nil {
				panic(err)
			}
			at = v[i]
		}
	}
	at.(document)[parts[len(parts)-1]] = value
}

func TestDefaultsWrittenOutChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		doc := drawSite(t)
		a := run(t, doc)
		b := run(t, writtenOut(doc, &a))
		if !reflect.DeepEqual(a.result.Structures, b.result.Structures) || !reflect.DeepEqual(a.result.Schedule, b.result.Schedule) {
			t.Fatalf("other results")
		}
	})
}

func TestWorksheetsReEvaluate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := run(t, drawSite(t))
		if err := s.sheet.Check(); err != nil {
			t.Fatalf("%v", err)
		}
		untraced, _ := assess.Run(s.Site, nil)
		if got := untraced.Document(s.result.Input); !reflect.DeepEqual(got, s.result) {
			t.Fatalf("without a worksheet the result is another one")
		}
		finite(t, "", reflect.ValueOf(s.result).Elem())
	})
}

// finite looks at every number of a result.
func finite(t *rapid.T, at string, v reflect.Value) {
	switch v.Kind() {
	case reflect.Float64:
		if math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0) {
			t.Fatalf("%s is %v", at, v.Float())
		}
	case reflect.Pointer:
		if !v.IsNil() {
			finite(t, at, v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			finite(t, at+"."+v.Type().Field(i).Name, v.Field(i))
		}
	case reflect.Slice:
		for i := range v.Len() {
			finite(t, fmt.Sprintf("%s[%d]", at, i), v.Index(i))
		}
	}
}

// IEC 62305-2:2010, from memory: a risk is the sum of its components over the zones (clause 6), and acceptable up to R_T (clause 5.3).
func TestComponentsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := run(t, drawSite(t))
		for i := range s.result.Structures {
			for k := range risk.Loss(risk.Losses) {
				if r := s.result.Structures[i].Risks.Of(k); r != nil {
					addsUp(t, r)
				}
			}
		}
	})
}

func addsUp(t *rapid.T, r *wire.Risk) {
	t.Helper()
	var zones wire.Components
	total := 0.0
	for _, z := range r.Zones {
		same(t, "components of zone "+z.ID, sum(z.Components), z.Total)
		total += z.Total
		for i := range reflect.TypeFor[wire.Components]().NumField() {
			f := reflect.ValueOf(&zones).Elem().Field(i)
			f.SetFloat(f.Float() + reflect.ValueOf(z.Components).Field(i).Float())
		}
	}
	same(t, "components", sum(r.Components), r.Total)
	same(t, "zones", total, r.Total)
	for i := range reflect.TypeFor[wire.Components]().NumField() {
		name := reflect.TypeFor[wire.Components]().Field(i).Name
		same(t, name+" of the zones", reflect.ValueOf(zones).Field(i).Float(), reflect.ValueOf(r.Components).Field(i).Float())
		if v := reflect.ValueOf(r.Components).Field(i).Float(); v < 0 {
			t.Fatalf("%s is %v", name, v)
		}
	}
	if r.Tolerable != nil && r.Acceptable != (r.Total <= *r.Tolerable) {
		t.Fatalf("%v against %v is acceptable: %v", r.Total, *r.Tolerable, r.Acceptable)
	}
}

func sum(c wire.Components) float64 { return c.RA + c.RB + c.RC + c.RM + c.RU + c.RV + c.RW + c.RZ }

func same(t *rapid.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-12*math.Abs(want) {
		t.Fatalf("%s add up to %v, not %v", what, got, want)
	}
}

// IEC 62305-2:2010, Annex A, from memory: every number of dangerous events is N_G times an area, and the areas grow with length,
// width and height of a structure and with the length of a line.
//
// numbersThatRaise are the fields whose growth never lowers a risk.
func numbersThatRaise(doc document) []string {
	pointers := []string{"/flash_density/ground_flashes_per_km2_year"}
	for i, s := range doc["structures"].([]any) {
		for _, field := range []string{"length_m", "width_m", "height_m", "protrusion_height_m"} {
			if s.(document)[field] != nil {
				pointers = append(pointers, fmt.Sprintf("/structures/%d/%s", i, field))
			}
		}
	}
	lines, _ := doc["lines"].([]any)
	for i, l := range lines {
		if l.(document)["length_m"] != nil {
			pointers = append(pointers, fmt.Sprintf("/lines/%d/length_m", i))
		}
		sections, _ := l.(document)["sections"].([]any)
		for n := range sections {
			pointers = append(pointers, fmt.Sprintf("/lines/%d/sections/%d/length_m", i, n))
		}
	}
	return pointers
}

// at reads the number at a pointer.
func at(doc document, pointer string) float64 {
	var v any = doc
	for _, part := range strings.Split(pointer, "/")[1:] {
		switch x := v.(type) {
		case document:
			v = x[part]
		case []any:
			i, _ := strconv.Atoi(part)
			v = x[i]
		}
	}
	return v.(float64)
}

func TestRiskRisesWithFlashesAndSizes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		doc := drawSite(t)
		pointer := rapid.SampledFrom(numbersThatRaise(doc)).Draw(t, "pointer")
		larger := copyOf(doc)
		put(larger, pointer, at(doc, pointer)*rapid.Float64Range(1, 2.5).Draw(t, "factor"))
		notAbove(t, pointer+" made smaller", run(t, larger), run(t, doc))
	})
}

// The order of the steps is that of the factors in IEC 62305-2:2010, Tables A.1, A.4, B.1 to B.3, B.6 to B.9 and C.3 to C.6, read in
// secondary sources or from memory as /v1/reference marks them.
//
// ladders are values of a field, each at least as good as the one before it.
var ladders = map[string][]any{
	"/structures/0/lps":                              named["lps"],
	"/structures/0/natural_lps":                      {false, true},
	"/structures/0/screen_mesh_m":                    {nil, 10, 5, 2, 0.5},
	"/structures/0/surroundings":                     {"hilltop", "isolated", "similar_objects", "higher_objects"},
	"/structures/0/zones/0/screen_mesh_m":            {nil, 10, 5, 2, 0.5},
	"/structures/0/zones/0/fire_protection":          named["fire_protection"],
	"/structures/0/zones/0/fire_risk":                {"high", "ordinary", "low", "none"},
	"/structures/0/zones/0/special_hazard":           {"high_panic", "difficult_evacuation", "low_panic", "none"},
	"/structures/0/zones/0/surface":                  {"concrete", "ceramic", "gravel", "linoleum"},
	"/structures/0/zones/0/hours_per_year":           {8760, 4000, 10, 0},
	"/structures/0/zones/0/structure_shock_measures": {[]any{}, []any{"warning_notices"}, []any{"warning_notices", "insulation"}, []any{"warning_notices", "insulation", "soil_equipotentialization", "physical_restriction"}},
	"/structures/0/zones/0/line_shock_measures":      {[]any{}, []any{"warning_notices"}, []any{"warning_notices", "insulation"}, []any{"warning_notices", "insulation", "physical_restriction"}},
	"/lines/0/bonding_spd":                           named["spd"],
	"/lines/0/coordinated_spd":                       named["spd"],
	"/lines/0/withstand_kv":                          {0.5, 1, 1.5, 2.5, 4, 6},
	"/environment":                                   named["environment"],
}

// insideOnly are the fields that say nothing of an outside zone.
var insideOnly = map[string]bool{
	"/structures/0/zones/0/screen_mesh_m": true, "/structures/0/zones/0/fire_protection": true, "/structures/0/zones/0/fire_risk": true,
	"/structures/0/zones/0/special_hazard": true, "/structures/0/zones/0/line_shock_measures": true,
}

func TestRiskFallsWithBetterMeasures(t *testing.T) {
	names := slices.Sorted(maps.Keys(ladders))
	rapid.Check(t, func(t *rapid.T) {
		doc := drawSite(t)
		s := run(t, doc)
		doc = writtenOut(doc, &s)
		first := doc["structures"].([]any)[0].(document)
		outside := first["zones"].([]any)[0].(document)["place"] == "outside"
		pointer := rapid.SampledFrom(slices.DeleteFunc(slices.Clone(names), func(p string) bool {
			return strings.HasPrefix(p, "/lines") && len(doc["lines"].([]any)) == 0 || outside && insideOnly[p]
		})).Draw(t, "pointer")
		ladder := ladders[pointer]
		i := rapid.IntRange(0, len(ladder)-2).Draw(t, "from")
		j := rapid.IntRange(i+1, len(ladder)-1).Draw(t, "to")
		worse, better := copyOf(doc), copyOf(doc)
		for body, v := range map[*document]any{&worse: ladder[i], &better: ladder[j]} {
			if v == nil {
				delete((*body)["structures"].([]any)[0].(document), "screen_mesh_m")
				if strings.Contains(pointer, "zones") {
					delete((*body)["structures"].([]any)[0].(document)["zones"].([]any)[0].(document), "screen_mesh_m")
				}
				continue
			}
			put(*body, pointer, v)
		}
		notAbove(t, fmt.Sprintf("%s from %v to %v", pointer, ladder[i], ladder[j]), run(t, worse), run(t, better))
	})
}

// Put into the input, what is recommended gives the risks that were told, and
// brings them to their limits where it is said to.
func TestRecommendationsHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		doc := drawSite(t)
		s := run(t, doc)
		doc = writtenOut(doc, &s)
		r := &s.result.Recommendation
		for _, set := range append([]wire.MeasureSet{r.MeasureSet}, r.Alternatives...) {
			for _, m := range set.Measures.Structures {
				holds(t, doc, &set, &m, r.Sufficient || !r.Needed)
			}
		}
		if costs := costsOf(r); !slices.IsSorted(costs) {
			t.Fatalf("the alternatives cost %v", costs)
		}
	})
}

func costsOf(r *wire.Recommendation) []float64 {
	costs := []float64{r.Cost}
	for i := range r.Alternatives {
		costs = append(costs, r.Alternatives[i].Cost)
	}
	return costs
}

// holds compares the risks that measures are told to leave with those of the input that has them.
func holds(t *rapid.T, doc document, set *wire.MeasureSet, m *wire.StructureMeasures, sufficient bool) {
	t.Helper()
	after := run(t, withMeasures(doc, set, m))
	told := set.RisksAfter[m.ID]
	for i := range after.result.Structures {
		if after.result.Structures[i].ID != m.ID {
			continue
		}
		for k := range risk.Loss(risk.Losses) {
			got, want := after.result.Structures[i].Risks.Of(k), told.Of(k)
			if (got == nil) != (want == nil) || got != nil && math.Abs(got.Total-*want) > 1e-12**want {
				t.Fatalf("%s of %s is told to become %v, and becomes %v", k, m.ID, want, got)
			}
			if got != nil && sufficient && !got.Acceptable {
				t.Fatalf("%s of %s is %v and not acceptable, though the measures are said to suffice", k, m.ID, got.Total)
			}
		}
	}
}

// withMeasures is the input with the measures of one structure; those of the far ends of its lines are another's.
func withMeasures(doc document, set *wire.MeasureSet, m *wire.StructureMeasures) document {
	doc = copyOf(doc)
	for _, st := range doc["structures"].([]any) {
		if st := st.(document); st["id"] == m.ID {
			st["lps"] = m.LPS.String()
			for _, z := range st["zones"].([]any) {
				z := z.(document)
				z["structure_shock_measures"] = union(z["structure_shock_measures"], m.StructureShock)
				if z["place"] != "outside" {
					z["line_shock_measures"] = union(z["line_shock_measures"], m.LineShock)
					z["fire_protection"] = betterOf(named["fire_protection"], z["fire_protection"], m.FireProtection.String())
					rewire(doc, st, z, m.Wiring)
				}
			}
		}
	}
	for _, l := range doc["lines"].([]any) {
		l := l.(document)
		for _, end := range set.Measures.Lines {
			if end.ID == l["id"] && end.Structure == m.ID {
				l["bonding_spd"], l["coordinated_spd"] = end.Bonding, end.Coordinated
			}
		}
	}
	return doc
}

// rewire gives every internal system of an inside zone at least a wiring; absent it is unrouted, and absent systems are all lines.
func rewire(doc, st, z document, w *risk.Wiring) {
	if z["systems"] == nil {
		z["systems"] = systemsOf(doc, st["id"], "unrouted")
	}
	for _, sys := range z["systems"].([]any) {
		sys := sys.(document)
		if sys["wiring"] == nil {
			sys["wiring"] = "unrouted"
		}
		if w != nil {
			sys["wiring"] = betterOf(named["wiring"], sys["wiring"], w.String())
		}
	}
}

// systemsOf lists an internal system for each line that enters a structure.
func systemsOf(doc document, structure any, wiring string) []any {
	systems := []any{}
	for _, l := range doc["lines"].([]any) {
		if l := l.(document); l["structure"] == structure || l["to"] == structure {
			systems = append(systems, document{"line": l["id"], "wiring": wiring})
		}
	}
	return systems
}

func union(given any, more []string) []any {
	all := []any{}
	list, _ := given.([]any)
	all = append(all, list...)
	for _, name := range more {
		if !slices.Contains(all, any(name)) {
			all = append(all, name)
		}
	}
	return all
}

func betterOf(ladder []any, a, b any) any {
	if slices.Index(ladder, a) > slices.Index(ladder, b) {
		return a
	}
	return b
}

// An alternative that is said to change the outcome does, put into the input;
// every other plausible value does not.
func TestDecisiveAssumptionsDecide(t *testing.T) {
	decisive := 0
	rapid.Check(t, func(t *rapid.T) {
		doc := drawSite(t)
		s := run(t, doc)
		doc = writtenOut(doc, &s)
		for i, assumed := range s.Assumed {
			told := s.result.Assumptions[i]
			if told.Pointer != assumed.Pointer() || told.Decisive != (len(told.Alternatives) > 0) {
				t.Fatalf("assumption %+v of %s", told, assumed.Pointer())
			}
			for _, p := range assumed.Plausible {
				changed := copyOf(doc)
				putPlausible(changed, told.Pointer, p.Value)
				other := run(t, changed)
				says := slices.ContainsFunc(told.Alternatives, func(a wire.Alternative) bool { return a.Value == p.Value })
				if changes := flips(&s, &other) || classChanges(t, doc, changed, &s, &other); changes != says {
					t.Fatalf("%s as %s: the outcome changes: %v, but told is %v", told.Pointer, p.Value, changes, told.Alternatives)
				}
				if says {
					decisive++
				}
			}
		}
	})
	if decisive == 0 {
		t.Error("nothing was decisive")
	}
}

// putPlausible writes a plausible value as a client would.
func putPlausible(doc document, pointer, value string) {
	switch {
	case value == "the persons of the zones together":
		index, _ := strconv.Atoi(strings.Split(pointer, "/")[2])
		sum := 0.0
		for _, z := range doc["structures"].([]any)[index].(document)["zones"].([]any) {
			n, _ := z.(document)["persons"].(float64)
			sum += n
		}
		put(doc, pointer, sum)
	case value == "no line":
		doc["lines"] = []any{}
	case strings.HasSuffix(pointer, "/systems"):
		index, _ := strconv.Atoi(strings.Split(pointer, "/")[2])
		structure := doc["structures"].([]any)[index].(document)["id"]
		put(doc, pointer, systemsOf(doc, structure, "loops_avoided"))
	case value == "true" || value == "false":
		put(doc, pointer, value == "true")
	default:
		if v, err := strconv.ParseFloat(value, 64); err == nil {
			put(doc, pointer, v)
			return
		}
		put(doc, pointer, value)
	}
}

// flips reports whether some risk is acceptable in one and not in the other.
// classChanges reports that the least class of LPS that can suffice differs for
// some structure whose risks exceed a limit before and after.
func classChanges(t *rapid.T, before, after document, a, b *site) bool {
	for i := range a.result.Structures {
		s := &a.result.Structures[i]
		if s.Assessed && exceeds(s) && exceeds(&b.result.Structures[i]) && leastClass(t, before, s.ID) != leastClass(t, after, s.ID) {
			return true
		}
	}
	return false
}

func exceeds(s *wire.StructureResult) bool {
	for k := range risk.Loss(risk.Losses) {
		if r := s.Risks.Of(k); r != nil && !r.Acceptable {
			return true
		}
	}
	return false
}

// leastClass puts the best measures into the input of a structure, one class of LPS after the other.
func leastClass(t *rapid.T, doc document, id string) string {
	var present any
	for _, st := range doc["structures"].([]any) {
		if st := st.(document); st["id"] == id {
			present = st["lps"]
		}
	}
	for _, class := range []any{"none", "IV", "III", "II", "I"} {
		if class != "I" && betterOf(named["lps"], present, class) != class {
			continue // a better one is there already
		}
		best := copyOf(doc)
		for _, st := range best["structures"].([]any) {
			if st := st.(document); st["id"] == id {
				st["lps"] = betterOf(named["lps"], present, class)
				for _, z := range st["zones"].([]any) {
					z := z.(document)
					z["structure_shock_measures"] = union(z["structure_shock_measures"], []string{"warning_notices"})
					if st["lps"] != "none" || st["natural_lps"] == true { // otherwise there are no down-conductors to insulate
						z["structure_shock_measures"] = union(z["structure_shock_measures"], []string{"insulation"})
					}
					if z["place"] != "outside" {
						shielded := risk.ShieldedWiring
						rewire(best, st, z, &shielded)
						z["line_shock_measures"] = union(z["line_shock_measures"], []string{"warning_notices", "insulation"})
						z["fire_protection"] = "automatic"
					}
				}
			}
		}
		for _, l := range best["lines"].([]any) {
			l := l.(document)
			for _, field := range []string{"bonding_spd", "coordinated_spd"} {
				if _, number := l[field].(float64); !number && (l["structure"] == id || l["to"] == id) {
					l[field] = "I"
				}
			}
		}
		after := run(t, best)
		for i := range after.result.Structures {
			if s := &after.result.Structures[i]; s.ID == id && !exceeds(s) {
				return class.(string)
			}
		}
	}
	return "more than there is"
}

func flips(a, b *site) bool {
	for i := range a.result.Structures {
		for k := range risk.Loss(risk.Losses) {
			was, now := a.result.Structures[i].Risks.Of(k), b.result.Structures[i].Risks.Of(k)
			if was != nil && now != nil && was.Acceptable != now.Acceptable {
				return true
			}
		}
	}
	return false
}

// IEC 62305-2:2010 gives no defaults. That none of these values is worse than the default follows from its tables, as for the ladders.
//
// safeDefaults are the fields whose default errs on the safe side, with the
// values that a site may have instead. Fields where a worse value is plausible too (a hilltop, a high fire risk) are not
// among them: those are the assumptions that are told to be decisive.
var safeDefaults = map[string][]any{
	"/environment":                                   named["environment"],
	"/structures/0/occupancy":                        slices.DeleteFunc(slices.Clone(named["occupancy"]), func(v any) bool { return v == "hospital" }), // where failures endanger life
	"/structures/0/lps":                              named["lps"],
	"/structures/0/natural_lps":                      named["yes or no"],
	"/structures/0/screen_mesh_m":                    {0.0, 0.5, 5.0, 20.0},
	"/structures/0/surroundings":                     {"isolated", "similar_objects", "higher_objects"},
	"/structures/0/zones/0/hours_per_year":           {0.0, 100.0, 8760.0},
	"/structures/0/zones/0/surface":                  named["surface"],
	"/structures/0/zones/0/fire_protection":          named["fire_protection"],
	"/structures/0/zones/0/structure_shock_measures": {[]any{}, []any{"insulation"}, []any{"physical_restriction"}},
	"/structures/0/zones/0/line_shock_measures":      {[]any{}, []any{"insulation"}, []any{"physical_restriction"}},
	"/structures/0/zones/0/screen_mesh_m":            {0.0, 0.5, 5.0, 20.0},
	"/structures/0/zones/0/systems":                  {[]any{document{"line": "supply", "wiring": "loops_avoided"}}, []any{document{"line": "supply", "wiring": "shielded"}}, []any{}},
	"/lines/0/service":                               {"low_voltage", "high_voltage"},
	"/lines/0/installation":                          named["installation"],
	"/lines/0/length_m":                              {0.0, 20.0, 300.0, 1000.0},
	"/lines/0/shield": {document{"type": "shielded"}, document{"type": "shielded", "bonded": true, "resistance_ohm_per_km": 0.8},
		document{"type": "multi_grounded_neutral"},
		document{"type": "protective_cable", "bonded": true}, document{"type": "isolating_interface"}},
	"/lines/0/withstand_kv":    {2.5, 4.0, 6.0},
	"/lines/0/bonding_spd":     named["spd"],
	"/lines/0/coordinated_spd": named["spd"],
}

func TestSmallestRequestIsSafe(t *testing.T) {
	names := slices.Sorted(maps.Keys(safeDefaults))
	rapid.Check(t, func(t *rapid.T) {
		doc := document{"name": "Invented", "location": document{"latitude": -3, "longitude": 36},
			"flash_density": document{"ground_flashes_per_km2_year": number(t, "N_G", 0.05, 40)()},
			"structures":    []any{drawBox(t, "house")}}
		smallest := run(t, doc)
		doc = writtenOut(doc, &smallest)
		for _, pointer := range rapid.SliceOfNDistinct(rapid.SampledFrom(names), 1, 4, rapid.ID).Draw(t, "pointers") {
			put(doc, pointer, rapid.SampledFrom(safeDefaults[pointer]).Draw(t, pointer))
		}
		notAbove(t, "known values in place of defaults", smallest, run(t, doc))
	})
}
