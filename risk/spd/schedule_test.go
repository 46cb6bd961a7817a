package spd

import (
	"encoding/json"
	"fmt"
	"math/bits"
	"reflect"
	"slices"
	"strings"
	"testing"

	"levinward/risk"
	"levinward/risk/trace"

	"pgregory.net/rapid"
)

func oneOf[T any](t *rapid.T, name string, values ...T) T {
	return rapid.SampledFrom(values).Draw(t, name)
}

// upTo draws a value of an enumeration with n values.
func upTo[T ~uint8](t *rapid.T, name string, n int) T {
	return T(rapid.IntRange(0, n-1).Draw(t, name))
}

func drawStructure(t *rapid.T, i int) risk.Structure {
	s := risk.Structure{
		ID: fmt.Sprint("s", i), Surroundings: upTo[risk.Surroundings](t, "surroundings", 4), Occupancy: upTo[risk.Occupancy](t, "occupancy", 14),
		LPS: upTo[risk.LPS](t, "lps", 7), NaturalLPS: rapid.Bool().Draw(t, "natural"), FailureEndangersLife: rapid.Bool().Draw(t, "life"),
		PublicSupply: upTo[risk.PublicSupply](t, "public", 3), Persons: oneOf(t, "persons", 0, 5.0, 300),
		DownConductors: oneOf(t, "down-conductors", 0, 2, 4), Earthing: drawEarthing(t),
	}
	return s
}

func drawEarthing(t *rapid.T) risk.Earthing {
	e := risk.Earthing{Connection: upTo[risk.EarthConnection](t, "earth", 4)}
	if e.Proved() {
		e.Resistance = oneOf(t, "ohm", 2, 25, 150.0)
	}
	return e
}

func drawLine(t *rapid.T, i, structures int) risk.Line {
	l := risk.Line{
		ID: fmt.Sprint("l", i), Structure: rapid.IntRange(0, structures-1).Draw(t, "structure"), To: -1, Service: upTo[risk.Service](t,
			"service", 3),
		Withstand: rapid.Float64Range(0.33, 8).Draw(t, "withstand"),
		Shield: risk.Shield{Type: upTo[risk.ShieldType](t, "shield", 5), Bonded: rapid.Bool().Draw(t, "bonded"),
			Resistance: oneOf(t, "R_S", 0, 3.0), Conductor: oneOf(t, "R_C", 0, 20.0)},
		FarEarth: upTo[risk.FarEarth](t, "far earth", 4), FarElectrode: oneOf(t, "far electrode", "", "", "well"),
		BondingSPD: risk.SPD{Level: upTo[risk.Level](t, "bonding", 5)}, CoordinatedSPD: risk.SPD{Level: upTo[risk.Level](t, "coordinated", 5)},
		Electrical: risk.Electrical{
			Current: upTo[risk.Current](t, "current", 2), System: upTo[risk.EarthingSystem](t, "system", 5),
			Nominal: oneOf(t, "nominal", 12, 24, 48, 110, 120, 230, 240.0, 400), MaxOperating: oneOf(t, "max operating", 0, 0, 62, 280.0),
			Phases: oneOf(t, "phases", 1, 3), Neutral: rapid.Bool().Draw(t, "neutral"), SourceConnected: rapid.Bool().Draw(t, "source"),
			ShortCircuit: oneOf(t, "I_k", 0, 3.0), Origin: upTo[risk.DCOrigin](t, "origin", 3), OpenCircuit: oneOf(t, "U_OC", 0, 45, 150, 900.0),
			TemperatureCoefficient: oneOf(t, "alpha", 0, -0.003), ShortCircuitSTC: oneOf(t, "I_SC", 0, 18.0), EquipmentMaxInput: oneOf(t,
				"input", 0, 84.0, 520),
			Equipment: upTo[risk.Equipment](t, "equipment", 4), Building: upTo[risk.Building](t, "building", 3),
			EquipmentDistance: oneOf(t, "distance", 0, 5, 25.0), LeadLength: oneOf(t, "leads", 0, 0.3, 1.2),
			ArrayPlace: upTo[risk.ArrayPlace](t, "array place", 3), SeparationKept: rapid.Bool().Draw(t, "separation kept"),
			Cable: upTo[risk.Cable](t, "cable", 4), Pairs: oneOf(t, "pairs", 0, 1, 20),
		},
	}
	if rapid.Bool().Draw(t, "temperature known") {
		cold := rapid.Float64Range(-30, 30).Draw(t, "T")
		l.Electrical.LowestTemperature = &cold
	}
	if structures > 1 && rapid.Bool().Draw(t, "to a structure") {
		l.To = (l.Structure + 1) % structures
	}
	for range rapid.IntRange(1, 3).Draw(t, "sections") {
		l.Sections = append(l.Sections, risk.Section{Installation: upTo[risk.Installation](t, "installation", 3),
			Length:      oneOf(t, "length", 0, 8, 300, 2000.0),
			Environment: upTo[risk.Environment](t, "environment", 4), Service: upTo[risk.Service](t, "section service", 2)})
	}
	return l
}

func drawInput(t *rapid.T) *risk.Input {
	in := &risk.Input{SoilResistivity: oneOf(t, "rho", 0, 50, 300, 1500, 8000.0)}
	n := rapid.IntRange(1, 3).Draw(t, "structures")
	for i := range n {
		in.Structures = append(in.Structures, drawStructure(t, i))
	}
	for i := range rapid.IntRange(1, 4).Draw(t, "lines") {
		in.Lines = append(in.Lines, drawLine(t, i, n))
	}
	return in
}

func drawRecommendation(t *rapid.T, in *risk.Input) *risk.Recommendation {
	rec := &risk.Recommendation{Needed: rapid.Bool().Draw(t, "needed"), Sufficient: rapid.Bool().Draw(t, "sufficient")}
	for si := range in.Structures {
		m := risk.StructureMeasures{Structure: si, Measures: risk.Measures{LPS: upTo[risk.LPS](t, "recommended lps", 7)}}
		for li := range in.Lines {
			if in.Lines[li].Ends(si) {
				m.Measures.Ends = append(m.Measures.Ends, risk.EndMeasures{Line: li, Bonding: risk.SPD{Level: upTo[risk.Level](t, "b", 5)},
					Coordinated: risk.SPD{Level: upTo[risk.Level](t, "c", 5)}})
			}
		}
		rec.Set.Structures = append(rec.Set.Structures, m)
	}
	return rec
}

// ungrounded is a copy of entries without what only a recorded computation knows: what their values rest on.
func ungrounded(entries []Entry) []Entry {
	all := slices.Clone(entries)
	for i := range all {
		all[i].Basis = slices.Clone(all[i].Basis)
		for b := range all[i].Basis {
			all[i].Basis[b].RestsOn = trace.Ground{}
		}
	}
	return all
}

// On any site: each formula re-evaluates, recording changes nothing, every end has its entry in order,
// and every number has its reason.
func TestAnySite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t)
		rec := drawRecommendation(t, in)
		before, _ := json.Marshal(in)
		NG := rapid.Float64Range(0.01, 100).Draw(t, "N_G")
		entries := schedule(t, in, NG, rec)
		if quiet := Schedule(in, &risk.Result{NG: NG}, rec, nil); !reflect.DeepEqual(quiet, ungrounded(entries)) {
			t.Fatal("recording changes the schedule")
		}
		if after, _ := json.Marshal(in); string(after) != string(before) {
			t.Fatal("the input was changed")
		}
		var ends, want []string
		for i := range entries {
			e := &entries[i]
			if e.Position == LineEntrance {
				ends = append(ends, fmt.Sprint(e.Structure, e.Line))
			}
			checkReasons(t, e)
		}
		for si := range in.Structures {
			for li := range in.Lines {
				if in.Lines[li].Ends(si) {
					want = append(want, fmt.Sprint(si, li))
				}
			}
		}
		if !slices.Equal(ends, want) {
			t.Fatalf("ends %v, want %v", ends, want)
		}
	})
}

func checkReasons(t *rapid.T, e *Entry) {
	if len(e.Because) == 0 || len(e.Modes) == 0 || len(e.Notes) == 0 {
		t.Fatalf("bare entry %+v", e)
	}
	fields := map[string]Opt{
		"uc_min_v": e.UcMin, "uc_max_v": e.UcMax, "up_max_kv": e.UpMax, "in_min_ka": e.InMin, "uoc_min_kv": e.UocMin, "iimp_min_ka": e.IimpMin,
		"imax_min_ka":          e.ImaxMin,
		"short_circuit_min_ka": e.ShortCircuitMin, "leads.max_length_m": e.Leads.MaxLength, "leads.earth_mm2": e.Leads.Earth,
		"leads.live_mm2": e.Leads.Live, "iimp_total_min_ka": e.IimpTotalMin,
		"calculated_risk_level": e.CRL, "critical_length_m": e.CriticalLength,
	}
	for name, o := range fields {
		told := slices.ContainsFunc(e.Basis, func(b Basis) bool { return b.Field == name && b.Reason != "" && b.Clause != "" })
		zero := o.Value == 0 && name == "leads.max_length_m"
		if told != o.Valid || o.Valid && !(o.Value > 0 || zero) {
			t.Fatalf("%s: %+v, reason %v", name, o, told)
		}
	}
	for _, b := range e.Basis {
		if b.Field == "tov" {
			continue
		}
		if _, ok := fields[b.Field]; !ok {
			t.Fatalf("reason of an unknown field %s", b.Field)
		}
		if e.Service == risk.Telecom && strings.Contains(b.Clause, stdSPD) {
			t.Fatalf("clause on power installations: %+v", b)
		}
	}
	for _, r := range e.Because {
		asks := slices.ContainsFunc(reasons[:bits.TrailingZeros(uint(againstLPS))],
			func(ground risk.Reason) bool { return ground.Rule == r.Rule })
		if e.Service == risk.Telecom && strings.Contains(r.Clause, stdSPD) {
			t.Fatalf("clause on power installations: %+v", r)
		}
		if aside := strings.HasPrefix(r.Rule,
			notForThis); asks != (e.Obligation != NotRequired && !aside) || aside && e.Obligation == NotRequired {
			t.Fatalf("required %v because %q", e.Required, r.Rule)
		}
	}
	powerClassI := e.TestClass == ClassI || e.TestClass == D1
	if e.IimpMin.Valid != powerClassI {
		t.Fatalf("class %s with I_imp %+v", e.TestClass, e.IimpMin)
	}
}

// A step that rounds to a preferred value takes the nearest on the right side.
func TestRounding(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(0.001, 100).Draw(t, "v")
		up := roundUp(nil, v, prefIimp, prefIimpTrade)
		list := append(slices.Clone(preferred.Rows[prefIimp].Values), preferred.Rows[prefIimpTrade].Values...)
		if !slices.IsSorted(list) || up < v*(1-1e-8) || !slices.Contains(list, up) {
			t.Fatalf("%v rounds up to %v", v, up)
		}
		for _, p := range list {
			if p > v && p < up {
				t.Fatalf("%v lies between %v and %v", p, v, up)
			}
		}
		down := roundDown(nil, v, prefUp)
		for _, p := range preferred.Rows[prefUp].Values {
			if p < v && p > down || down > v*(1+1e-8) {
				t.Fatalf("%v rounds down to %v", v, down)
			}
		}
	})
	if got := roundUp(nil, 25.000000000000004, prefIimp, prefIimpTrade); got != 25 {
		t.Errorf("a rounding error costs a whole value: %v", got)
	}
	if got := roundUp(nil, 130, prefIimp, prefIimpTrade); got != 130 {
		t.Errorf("beyond the list: %v", got)
	}
}

// A better flash density, a longer line: what is required stays required.
func TestMoreLightningNeverLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t)
		NG := rapid.Float64Range(0.01, 50).Draw(t, "N_G")
		more := schedule(t, in, NG*rapid.Float64Range(1, 10).Draw(t, "times"), nil)
		for i, e := range schedule(t, in, NG, nil) {
			if e.Required && !more[i].Required {
				t.Fatalf("no longer required with more lightning: %v", more[i].Because)
			}
		}
	})
}

// IEC 60364-5-53 and IEC 61643-32, read: a second device beyond 10 m; L_crit of 23 m at N_G 5.
func TestFurtherDevices(t *testing.T) {
	l := array(40)
	l.Electrical.EquipmentDistance = 12
	m := mains(aerial(100))
	m.Electrical.EquipmentDistance = 30
	var got []string
	for _, e := range schedule(t, site1(dwelling, l, m), 5, nil) {
		got = append(got, fmt.Sprint(e.Line, " ", e.Position, " ", e.TestClass, " ", e.Required))
	}
	want := []string{"0 line_entrance II true", "0 array II true", "0 equipment II true", "1 line_entrance II true", "1 equipment III true"}
	if !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
}

// The rule is the product's own.
func TestOnlyAssessedStructures(t *testing.T) {
	in := site1(dwelling, mains(aerial(100)))
	in.Structures = append(in.Structures, risk.Structure{ID: "neighbour", NotAssessed: true})
	in.Lines[0].To = 1
	if es := schedule(t, in, 5, nil); len(es) != 1 || es[0].Structure != 0 {
		t.Errorf("%+v", es)
	}
	in.Structures[1].NotAssessed = false
	if es := schedule(t, in, 5, nil); len(es) != 2 || es[1].Structure != 1 {
		t.Errorf("%+v", es)
	}
	if es := Schedule(&risk.Input{Structures: in.Structures}, &risk.Result{NG: 1}, nil, nil); es != nil {
		t.Errorf("no lines: %+v", es)
	}
}

// The rule is the product's own.
func TestReferenceIsComplete(t *testing.T) {
	seen := map[string]bool{}
	for _, q := range Quantities() {
		if q.Symbol == "" || q.Name == "" || q.BranchOf == nil && seen[q.Symbol] {
			t.Errorf("quantity %+v", q)
		}
		seen[q.Symbol] = true
		if q.Expr != "" && len(q.In) == 0 {
			t.Errorf("%s: formula without inputs", q.Symbol)
		}
	}
	numbers := map[string]bool{}
	for _, table := range Tables() {
		if table.Number == "" || table.Title == "" || table.Clause == "" || numbers[table.Number] {
			t.Errorf("table %q %q %q", table.Number, table.Title, table.Clause)
		}
		numbers[table.Number] = true
		for _, row := range table.Rows {
			if row.Text == "" || table.Symbols != nil && len(row.Values) != len(table.Symbols) || row.Provenance == trace.Given {
				t.Errorf("table %s: row %+v", table.Number, row)
			}
		}
	}
	for i, reason := range reasons {
		if reason.Rule == "" || reason.Clause == "" || !strings.HasSuffix(reason.Rule, ".") {
			t.Errorf("ground %d: %+v", i, reason)
		}
	}
	if 1<<len(reasons) != int(endOfGrounds) {
		t.Errorf("%d reasons for other grounds", len(reasons))
	}
}

// The form is the product's own: a number, or null where it is absent (RFC 8259).
func TestOptJSON(t *testing.T) {
	b, err := json.Marshal([]Opt{Some(254), Some(0.1), {}})
	if err != nil || string(b) != "[254,0.1,null]" {
		t.Errorf("%s %v", b, err)
	}
	if (Opt{}).Ptr() != nil || *Some(3).Ptr() != 3 {
		t.Error("Ptr")
	}
}

// village is an invented site of 5 structures and 8 lines.
func village() *risk.Input {
	in := &risk.Input{SoilResistivity: 300}
	for i := range 5 {
		in.Structures = append(in.Structures, risk.Structure{ID: fmt.Sprint("s", i), Occupancy: risk.Dwelling})
		l := mains(aerial(300))
		l.Structure = i
		in.Lines = append(in.Lines, l)
	}
	in.Structures[0].LPS = risk.LPSIII
	in.Lines = append(in.Lines, array(22), telephone(), telephone())
	in.Lines[7].Structure = 1
	return in
}

func BenchmarkSchedule(b *testing.B) {
	in, res := village(), &risk.Result{NG: 9}
	b.Run("quiet", func(b *testing.B) {
		b.ReportAllocs()
		n := 0
		for b.Loop() {
			n += len(Schedule(in, res, nil, nil))
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/entry")
	})
	b.Run("recorded", func(b *testing.B) {
		b.ReportAllocs()
		n := 0
		for b.Loop() {
			n += len(Schedule(in, res, nil, trace.New(512)))
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/entry")
	})
	// The floor: the memory of the answer alone, allocated and cleared.
	b.Run("floor", func(b *testing.B) {
		b.ReportAllocs()
		d := len(Schedule(in, res, nil, nil))
		n := 0
		for b.Loop() {
			answer := make([]Entry, d)
			bases, modes, notes, because := make([]Basis, 14*d), make([]Mode, 3*d), make([]string, 6*d), make([]risk.Reason, 5*d)
			n += len(answer) + len(bases[:0]) + len(modes[:0]) + len(notes[:0]) + len(because[:0])
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/entry")
	})
}
