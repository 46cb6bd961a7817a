package wire_test

import (
	"encoding/json"
	"reflect"
	"testing"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/spd"
)

// fullEntry has a value in every field that asks something of a device.
func fullEntry() spd.Entry {
	return spd.Entry{
		Position: spd.AtFarEnd, Obligation: spd.Recommended, EarthGrade: spd.EarthPoor, Service: risk.LowVoltage, TestClass: spd.ClassI,
		Connection: spd.CT2, AlsoConnection: spd.CT1,
		Modes: []spd.Mode{{Mode: "L-N", UcMin: spd.Some(253), TOV: []spd.TOV{{Duration: "5 s", Volt: 334}, {Duration: "120 min", Volt: 440,
			Safe: true}}}},
		UcMin: spd.Some(253), IimpTotalMin: spd.Some(12.5), UocMin: spd.Some(6), Conductors: 4, Standard: "IEC 61643-11", ServedBy: "feeder-01",
		Order: spd.Order{Uc: spd.Some(255), UcMax: spd.Some(300), Up: spd.Some(1.5), In: spd.Some(20), Iimp: spd.Some(12.5),
			IimpNPE: spd.Some(50), Uoc: spd.Some(6)},
		Share: spd.Share{Paths: 2, Conductors: 4, Ke: 0.25, Method: "E.2"},
	}
}

// written writes one entry as the answer to an input of one structure and one line.
func written(t *testing.T, e *spd.Entry) []byte {
	t.Helper()
	a := wire.Answer{Input: &risk.Input{Structures: []risk.Structure{{ID: "house"}}, Lines: []risk.Line{{ID: "supply"}}},
		Result:         &risk.Result{Structures: make([]risk.StructureResult, 1), Lines: make([]risk.LineResult, 1)},
		Recommendation: &risk.Recommendation{}, Schedule: []spd.Entry{*e}, Costs: []*risk.Cost{nil}, Earth: nil}
	a.Earth = append(a.Earth, nil)
	text, err := json.Marshal(a.Document(nil).Schedule)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// TestEntryIsReadAsItWasWritten holds that nothing a device is asked for is lost in a stored record.
func TestEntryIsReadAsItWasWritten(t *testing.T) {
	want := fullEntry()
	places, err := wire.ReadPlaces(written(t, &want), nil)
	if err != nil || len(places) != 1 {
		t.Fatal(len(places), err)
	}
	want.Notes, want.Because = nil, nil
	if got := places[0].Entry; !reflect.DeepEqual(got, want) {
		t.Errorf("read %+v\nwant %+v", got, want)
	}
}

// TestEntryNames holds the names of the answer to a schedule entry (testdata/situations/FIELDS.md).
func TestEntryNames(t *testing.T) {
	e := fullEntry()
	var entries []map[string]json.RawMessage
	if err := json.Unmarshal(written(t, &e), &entries); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{
		"need": `"recommended"`, "required": "false", "specifiable": "false", "position": `"far_end"`, "earth_grade": `"poor"`,
		"iimp_total_min_ka": "12.5", "uoc_min_kv": "6", "protected_conductors": "4", "device_standard": `"IEC 61643-11"`,
		"served_by":     `"feeder-01"`,
		"order":         `{"uc_v":255,"uc_max_v":300,"up_kv":1.5,"in_ka":20,"iimp_ka":12.5,"iimp_n_pe_ka":50,"uoc_kv":6}`,
		"current_share": `{"paths":2,"conductors":4,"k_e":0.25,"method":"E.2"}`,
		"modes": `[{"mode":"L-N","uc_min_v":253,"up_max_kv":null,"in_min_ka":null,"iimp_min_ka":null,` +
			`"tov":[{"duration":"5 s","volt":334,"after":"withstand"},{"duration":"120 min","volt":440,"after":"safe_failure"}]}]`,
	} {
		if got := string(entries[0][name]); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
	}
}

// TestEmptyFieldsOfAnEntry holds what stands for fields that nothing is said of: an obligation follows from required, the others are null.
func TestEmptyFieldsOfAnEntry(t *testing.T) {
	for required, need := range map[bool]string{true: `"required"`, false: `"not_required"`} {
		var entries []map[string]json.RawMessage
		if err := json.Unmarshal(written(t, &spd.Entry{Required: required}), &entries); err != nil {
			t.Fatal(err)
		}
		if got := string(entries[0]["need"]); got != need {
			t.Errorf("required %v: need %s, want %s", required, got, need)
		}
		for _, name := range []string{"iimp_total_min_ka", "uoc_min_kv", "protected_conductors", "device_standard", "served_by",
			"current_share"} {
			if got := string(entries[0][name]); got != "null" {
				t.Errorf("%s: %s, want null", name, got)
			}
		}
	}
}

// TestOldEntryIsRead reads an entry that was stored before it had the obligation and what follows from it.
func TestOldEntryIsRead(t *testing.T) {
	places, err := wire.ReadPlaces([]byte(`[{"line": "a", "required": true, "service": "low_voltage", "current": "ac",
		"test_class": "II", "modes": [{"mode": "L-N"}]}]`), nil)
	if err != nil {
		t.Fatal(err)
	}
	if e := places[0].Entry; e.Obligation != spd.Required || !e.Specifiable || e.Conductors != 0 || e.Modes[0].TOV != nil {
		t.Errorf("%+v", e)
	}
}
