package wire_test

import (
	"reflect"
	"strings"
	"testing"

	"levinward/api/wire"
	"levinward/risk"
)

// What is stated of the ends of a line reaches the core; what is not stays not stated there.
func TestLineEndsReachTheCore(t *testing.T) {
	ends := func(l *risk.Line) []any {
		return []any{l.FarEarth, l.FarElectrode, l.FarEnd, l.FarWithstand, l.Board, l.Trunk, l.OutsideZone}
	}
	none := coreOf(t, post("")).Input.Lines[0]
	if want := []any{risk.FarEarthNotStated, "", risk.FarEndNotStated, 0.0, "", "", false}; !reflect.DeepEqual(ends(&none), want) {
		t.Errorf("nothing stated: %v", ends(&none))
	}
	all := coreOf(t, post(`, "far_end_earth": "shared", "far_electrode": "mast", "far_end": "pump_motor", "to": "tower", "far_withstand_kv": 2.5,
		"board": "main", "branches_from": "trunk", "end_in_explosive_zone": false}, {"id": "trunk", "structure": "post"`)).Input.Lines[0]
	if want := []any{risk.FarEarthShared, "mast", risk.FarPumpMotor, 2.5, "main", "trunk", true}; !reflect.DeepEqual(ends(&all), want) {
		t.Errorf("all stated: %v", ends(&all))
	}
}

func TestFaultsOfLineEnds(t *testing.T) {
	contradiction, unknown := string(risk.RuleContradiction)+" /lines/", string(risk.RuleUnknownReference)+" /lines/"
	wantFaults(t, map[string][]string{
		`, "far_end": "structure"`:                                                       {contradiction + "0/far_end"},
		`, "far_end": "structure", "to": "tower"`:                                        nil,
		`, "far_end": "network", "to": "tower"`:                                          {contradiction + "0/far_end"},
		`, "far_end": "level_sensor", "to": "tower"`:                                     nil,
		`, "end_in_explosive_zone": true`:                                                {contradiction + "0/end_in_explosive_zone"},
		`, "end_in_explosive_zone": false`:                                               nil,
		`, "branches_from": "b"`:                                                         {unknown + "0/branches_from"},
		`, "branches_from": "a"`:                                                         {contradiction + "0/branches_from"},
		`, "branches_from": "b"}, {"id": "b", "structure": "post"`:                       nil,
		`, "branches_from": "b"}, {"id": "b", "structure": "post", "branches_from": "a"`: {contradiction + "0/branches_from", contradiction + "1/branches_from"},
		`, "branches_from": "b"}, {"id": "b", "structure": "post", "branches_from": "c"}, {"id": "c", "structure": "post", "branches_from": "b"`: {
			contradiction + "1/branches_from", contradiction + "2/branches_from"},
	})
	if _, ok := wire.Decode([]byte(post(`, "far_end": "not_stated"`))); ok {
		t.Error("not_stated is accepted")
	}
}

// The end of a line at a structure with an explosive atmosphere lies in it unless stated otherwise.
func TestLinesEndInExplosiveZones(t *testing.T) {
	works := func(line string) string {
		return strings.Replace(post(line), `"lps": "II"`, `"explosion_zone": "2_22"`, 1)
	}
	const at = "/lines/0/end_in_explosive_zone"
	if in := withPlausible(t, works(""), at, "false"); !in.Lines[0].OutsideZone {
		t.Error("the plausible value does not place the end outside")
	}
	if in := coreOf(t, works(`, "end_in_explosive_zone": true`)).Input; in.Lines[0].OutsideZone {
		t.Error("stated inside")
	}
	site := coreOf(t, post(""))
	for i := range site.Assumed {
		if site.Assumed[i].Pointer() == at {
			t.Error("listed without an explosive atmosphere")
		}
	}
}

func TestStructuresReachTheCore(t *testing.T) {
	body := func(fields string) string { return strings.Replace(post(""), `"lps": "II"`, fields, 1) }
	s := coreOf(t, body(`"down_conductors": 6, "separation": {"along_m": 8, "through": "air", "clear_m": 0}, "next_inspection": "2028-02-29",
		"earthing": {"connection": "measured", "resistance_ohm": 7, "common_electrode": "no", "measured_on": "2026-03-01", "measured_by": "Invented Electric"}`)).Input.Structures[0]
	if s.DownConductors != 6 || s.Separation.Along != 8 || !s.Separation.Air || s.Separation.Distance == nil || *s.Separation.Distance != 0 || s.Earthing.Common != risk.No {
		t.Errorf("%+v", s)
	}
	s = coreOf(t, post("")).Input.Structures[0]
	if s.DownConductors != 0 || s.Separation != (risk.Separation{}) || s.Earthing.Common != risk.NotKnown {
		t.Errorf("nothing stated: %+v", s)
	}
	high := strings.Replace(post(""), `"structures"`, `"altitude_m": 2400, "structures"`, 1)
	if in := coreOf(t, high).Input; in.Altitude != 2400 {
		t.Errorf("altitude %v", in.Altitude)
	}
	for date, ok := range map[string]bool{"2026-03-01": true, "2028-02-29": true, "2026-02-29": false, "2026-13-01": false, "2026-3-1": false, "01.03.2026": false, "": false} {
		if _, accepted := wire.Decode([]byte(body(`"next_inspection": "` + date + `"`))); accepted != ok {
			t.Errorf("%q accepted: %v", date, accepted)
		}
	}
	for _, field := range []string{`"measured_on": "2026-03-01"`, `"measured_by": "Invented Electric"`} {
		in, ok := wire.Decode([]byte(body(`"earthing": {"connection": "unknown", ` + field + `}`)))
		if !ok {
			t.Fatal(field)
		}
		if v := in.Core().Violations; len(v) != 1 || v[0].Rule != risk.RuleNotApplicable || !strings.HasPrefix(v[0].Pointer, "/structures/0/earthing/measured_") {
			t.Errorf("%s: %v", field, v)
		}
	}
}
