package wire_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"levinward/api/wire"
	"levinward/risk"
)

// post is an invented site with one line that states what is given.
func post(line string) string {
	return `{"name": "Invented", "location": {"latitude": -3, "longitude": 36}, "flash_density": {"ground_flashes_per_km2_year": 4},
		"structures": [{"id": "post", "length_m": 20, "width_m": 10, "height_m": 5, "lps": "II"}, {"id": "tower", "length_m": 3, "width_m": 3, "height_m": 20, "assess": false}],
		"lines": [{"id": "a", "structure": "post"` + line + `}]}`
}

func electricalOf(t *testing.T, line string) risk.Electrical {
	t.Helper()
	return coreOf(t, post(line)).Input.Lines[0].Electrical
}

// faultsOf lists rule and pointer of each fault of the one line.
func faultsOf(t *testing.T, line string) []string {
	t.Helper()
	in, ok := wire.Decode([]byte(post(line)))
	if !ok {
		t.Fatalf("not accepted: %s", line)
	}
	var found []string
	for _, v := range in.Core().Violations {
		found = append(found, string(v.Rule)+" "+v.Pointer)
	}
	return found
}

func wantFaults(t *testing.T, cases map[string][]string) {
	t.Helper()
	for line, want := range cases {
		got := faultsOf(t, line)
		slices.Sort(want)
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", line, got, want)
		}
	}
}

// What a line states reaches the core as it is; what it does not state stays not stated there.
func TestSuppliesReachTheCore(t *testing.T) {
	none := electricalOf(t, `, "electrical": {}`)
	if want := (risk.Electrical{Nominal: 230, Phases: 1, Neutral: true, SourceConnected: true}); !reflect.DeepEqual(none, want) {
		t.Errorf("nothing stated: %+v", none)
	}
	if e := electricalOf(t, ""); !e.NotStated || e.Nominal != 230 || e.Phases != 1 || !e.Neutral || !e.SourceConnected {
		t.Errorf("without electrical: %+v", e)
	}
	ac := electricalOf(t, `, "electrical": {"system": "TN-S", "nominal_v": 120, "phases": 2, "source": "generator", "source_phases": 2,
		"also_fed_by": [{}, {"source": "inverter", "system": "IT", "source_phases": 1, "max_operating_v": 140, "short_circuit_ka": 0.4}],
		"changeover": "before_spd", "neutral_earth_bond": "board", "residual_current_device": "before_spd_type_s", "connection_type": "CT1",
		"waveform": "pwm", "voltage_variation": "wide", "equipment_distance_m": 0, "second_device": false, "equipment_wiring": "shielded"}`)
	want := risk.Electrical{System: risk.TNS, Nominal: 120, Phases: 2, Neutral: true, SourceConnected: true, Source: risk.SourceGenerator, SourcePhases: 2,
		AlsoFedBy:  &[]risk.OtherSupply{{System: risk.TNS}, {Source: risk.SourceInverter, System: risk.IT, SourcePhases: 1, MaxOperating: 140, ShortCircuit: 0.4}},
		Changeover: risk.ChangeoverBefore, NeutralBond: risk.NeutralBondBoard, Residual: risk.ResidualBeforeDelayed, Connection: risk.WantCT1,
		Pulsed: true, WideVariation: true, DistanceStated: true, SecondDevice: risk.No, ShieldedWiring: true}
	if !reflect.DeepEqual(ac, want) {
		t.Errorf("a.c.: %+v\n%+v", ac, want)
	}
	if e := electricalOf(t, `, "electrical": {"also_fed_by": []}`); e.AlsoFedBy != nil {
		t.Errorf("no other source: %v", e.AlsoFedBy)
	}
	dc := electricalOf(t, `, "electrical": {"array_place": "on_building", "separation_distance_kept": true, "strings": 2, "combiner_boxes": 3,
		"battery_can_feed": true, "battery_max_v": 58, "battery_short_circuit_ka": 4, "second_device": true}`)
	want = risk.Electrical{Current: risk.DC, Origin: risk.Photovoltaic, SourceConnected: true, ArrayPlace: risk.ArrayOnBuilding, SeparationKept: true, Strings: 2,
		CombinerBoxes: 3, BatteryCanFeed: risk.Yes, BatteryMax: 58, BatteryShortCircuit: 4, SecondDevice: risk.Yes}
	if !reflect.DeepEqual(dc, want) {
		t.Errorf("d.c.: %+v\n%+v", dc, want)
	}
	data := electricalOf(t, `, "service": "telecom", "electrical": {"cable": "drop_wire", "pairs": 2, "equipment_wiring": "shielded", "second_device": true}`)
	want = risk.Electrical{Cable: risk.CableDropWire, Pairs: 2, ShieldedWiring: true, SecondDevice: risk.Yes}
	if !reflect.DeepEqual(data, want) {
		t.Errorf("telecommunication: %+v\n%+v", data, want)
	}
	line := coreOf(t, post(`, "shield": {"type": "shielded", "conductor_resistance_ohm_per_km": 12}`)).Input.Lines[0]
	if line.Shield.Conductor != 12 {
		t.Errorf("shield: %+v", line.Shield)
	}
}

// IEC 60364-5-53 clause 534 (from memory): CT2 needs a neutral apart from PE; in TT, CT1 stands behind a residual-current device only.
// Split phase has a neutral between its wires: common practice, no published source.
func TestFaultsOfSupplies(t *testing.T) {
	const at = "/lines/0/electrical/"
	contradiction, other := string(risk.RuleContradiction)+" "+at, string(risk.RuleNotApplicable)+" "+at
	wantFaults(t, map[string][]string{
		`, "electrical": {"phases": 2}`:                                                              nil,
		`, "electrical": {"phases": 2, "neutral": false}`:                                            {contradiction + "phases"},
		`, "electrical": {"phases": 3, "source_phases": 1}`:                                          {contradiction + "source_phases"},
		`, "electrical": {"phases": 3, "source_phases": 3}`:                                          nil,
		`, "electrical": {"phases": 1, "source_phases": 1}`:                                          nil,
		`, "electrical": {"system": "TN-C", "connection_type": "CT2"}`:                               {contradiction + "connection_type"},
		`, "electrical": {"system": "TN-C", "connection_type": "CT1"}`:                               nil,
		`, "electrical": {"system": "IT", "neutral": false, "connection_type": "CT2"}`:               {contradiction + "connection_type"},
		`, "electrical": {"system": "IT", "connection_type": "CT2"}`:                                 nil,
		`, "electrical": {"system": "TT", "connection_type": "CT1"}`:                                 {contradiction + "connection_type"},
		`, "electrical": {"connection_type": "CT1", "residual_current_device": "behind_spd"}`:        {contradiction + "connection_type"},
		`, "electrical": {"connection_type": "CT1", "residual_current_device": "before_spd"}`:        nil,
		`, "electrical": {"connection_type": "CT1", "residual_current_device": "before_spd_type_s"}`: nil,
		`, "electrical": {"connection_type": "CT2"}`:                                                 nil,
		`, "electrical": {"also_fed_by": [{}, {"max_operating_v": 229}]}`:                            {contradiction + "also_fed_by/1/max_operating_v"},
		`, "electrical": {"also_fed_by": [{"max_operating_v": 230}]}`:                                nil,
		`, "electrical": {"array_place": "elsewhere", "separation_distance_kept": true}`:             {contradiction + "separation_distance_kept"},
		`, "electrical": {"array_place": "on_building", "separation_distance_kept": true}`:           nil,
		`, "electrical": {"battery_can_feed": false, "battery_max_v": 58}`:                           {contradiction + "battery_max_v"},
		`, "electrical": {"battery_can_feed": false, "battery_short_circuit_ka": 5}`:                 {contradiction + "battery_short_circuit_ka"},
		`, "electrical": {"cable": "pairs", "pairs": 4}`:                                             {other + "cable", other + "pairs"},
		`, "service": "telecom", "electrical": {"cable": "coaxial", "pairs": 4}`:                     {contradiction + "pairs"},
		`, "service": "telecom", "electrical": {"cable": "coaxial"}`:                                 nil,
		`, "shield": {"type": "none", "conductor_resistance_ohm_per_km": 12}`:                        {string(risk.RuleNotApplicable) + " /lines/0/shield/conductor_resistance_ohm_per_km"},
	})
	ofAC := map[string]string{"source": `"network"`, "source_phases": "3", "also_fed_by": "[]", "changeover": `"none"`, "neutral_earth_bond": `"board"`,
		"residual_current_device": `"none"`, "connection_type": `"CT2"`, "waveform": `"pwm"`, "voltage_variation": `"wide"`}
	ofArrays := map[string]string{"array_place": `"on_building"`, "separation_distance_kept": "false", "strings": "2", "combiner_boxes": "1",
		"battery_can_feed": "true", "battery_max_v": "58", "battery_short_circuit_ka": "4"}
	for name, value := range ofAC {
		wantFaults(t, map[string][]string{
			`, "electrical": {"current": "dc", "` + name + `": ` + value + `}`:                             {other + name},
			`, "service": "telecom", "electrical": {"` + name + `": ` + value + `}`:                        {other + name},
			`, "electrical": {"system": "TN-S", "` + name + `": ` + value + `}`:                            nil,
			`, "electrical": {"origin": "battery", "` + name + `": ` + value + `}`:                         {other + name},
			`, "electrical": {"open_circuit_v": 400, "` + name + `": ` + value + `}`:                       {other + name},
			`, "service": "high_voltage", "electrical": {"system": "TN-S", "` + name + `": ` + value + `}`: nil,
		})
	}
	for name, value := range ofArrays {
		wantFaults(t, map[string][]string{
			`, "electrical": {"current": "ac", "` + name + `": ` + value + `}`:      {other + name},
			`, "service": "telecom", "electrical": {"` + name + `": ` + value + `}`: {other + name},
			`, "electrical": {"origin": "battery", "` + name + `": ` + value + `}`:  {other + name},
			`, "electrical": {"` + name + `": ` + value + `}`:                       nil,
		})
	}
}

// "not_stated" is a name of the core; a document leaves the field out.
func TestNothingStatedCannotBeGiven(t *testing.T) {
	for _, field := range []string{"changeover", "residual_current_device", "connection_type", "array_place", "cable"} {
		body := post(`, "electrical": {"` + field + `": "not_stated"}`)
		if _, ok := wire.Decode([]byte(body)); ok {
			t.Errorf("%s is accepted", field)
		}
	}
	for _, names := range [][]string{
		wire.Stated[risk.Changeover]{}.Names(), wire.Stated[risk.ResidualDevice]{}.Names(), wire.Stated[risk.ConnectionType]{}.Names(),
		wire.Stated[risk.ArrayPlace]{}.Names(), wire.Stated[risk.Cable]{}.Names(),
	} {
		if slices.Contains(names, "not_stated") || len(names) < 2 {
			t.Errorf("names %v", names)
		}
	}
}

// A default is listed only where it may decide: a second source, an array at a structure with an LPS.
func TestAssumptionsOfSupplies(t *testing.T) {
	listed := func(body string) string {
		site := coreOf(t, body)
		var found []string
		for i := range site.Assumed {
			for _, field := range []string{"changeover", "array_place", "separation_distance_kept", "source", "strings"} {
				if site.Assumed[i].Pointer() == "/lines/0/electrical/"+field {
					found = append(found, field)
				}
			}
		}
		return strings.Join(found, " ")
	}
	for line, want := range map[string]string{
		`, "electrical": {}`:                                                                     "",
		`, "electrical": {"also_fed_by": []}`:                                                    "",
		`, "electrical": {"also_fed_by": [{"source": "generator"}]}`:                             "changeover",
		`, "electrical": {"also_fed_by": [{"source": "generator"}], "changeover": "before_spd"}`: "",
		`, "electrical": {"origin": "battery"}`:                                                  "",
		`, "electrical": {"open_circuit_v": 420}`:                                                "array_place",
		`, "electrical": {"array_place": "elsewhere"}`:                                           "",
		`, "electrical": {"array_place": "on_building"}`:                                         "separation_distance_kept",
		`, "electrical": {"array_place": "on_building", "separation_distance_kept": false}`:      "",
	} {
		if got := listed(post(line)); got != want {
			t.Errorf("%s: %q, want %q", line, got, want)
		}
	}
	bare := strings.Replace(post(`, "electrical": {"array_place": "on_building"}`), `"lps": "II"`, `"lps": "none"`, 1)
	if got := listed(bare); got != "" {
		t.Errorf("without LPS: %q", got)
	}
	for _, c := range []struct {
		line, field, value string
		got                func(*risk.Electrical) string
	}{
		{`{"also_fed_by": [{}]}`, "changeover", "before_spd", func(e *risk.Electrical) string { return e.Changeover.String() }},
		{`{"strings": 1}`, "array_place", "elsewhere", func(e *risk.Electrical) string { return e.ArrayPlace.String() }},
		{`{"strings": 1}`, "array_place", "on_building", func(e *risk.Electrical) string { return e.ArrayPlace.String() }},
		{`{"array_place": "on_building"}`, "separation_distance_kept", "true", func(e *risk.Electrical) string {
			return map[bool]string{true: "true"}[e.SeparationKept]
		}},
	} {
		in := withPlausible(t, post(`, "electrical": `+c.line), "/lines/0/electrical/"+c.field, c.value)
		if got := c.got(&in.Lines[0].Electrical); got != c.value {
			t.Errorf("%s is %s, want %s", c.field, got, c.value)
		}
	}
}
