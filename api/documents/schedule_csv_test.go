package documents

import (
	"encoding/json"
	"reflect"
	"testing"

	"levinward/api/wire"
)

// TestScheduleRow writes an invented entry with every field and holds the cells written by hand.
func TestScheduleRow(t *testing.T) {
	var e storedEntry
	if err := json.Unmarshal([]byte(`{"structure": "house", "line": "supply", "position": "line_entrance", "required": true,
		"need": "required", "specifiable": false,
		"earth_first": true, "earth_grade": "poor", "because": [{"rule": "LPS", "clause": "6.2"}, {"rule": "Risk",
			"clause": "5"}], "service": "low_voltage", "current": "ac",
		"test_class": "I", "lightning_protection_level": "II", "connection": "CT2", "also_connection": null,
			"protected_conductors": 4, "device_standard": "IEC 61643-11",
		"served_by": "feeder", "uc_min_v": 253, "uc_max_v": null, "up_max_kv": 1.5, "effective_up_max_kv": 2,
			"withstand_kv": 2.5, "in_min_ka": 5, "iimp_min_ka": 18.75,
		"iimp_total_min_ka": 75, "limiting_iimp_min_ka": 2.5, "limiting_in_min_ka": 15, "uoc_min_kv": 6, "imax_min_ka": 40,
			"short_circuit_min_ka": 1.5, "tov_min_v": 334,
		"modes": [{"mode": "L-N", "uc_min_v": 253, "up_max_kv": 1.5, "in_min_ka": 5, "iimp_min_ka": 18.75,
			"tov": [{"duration": "5 s", "volt": 334, "after": "withstand"}, {"duration": "120 min", "volt": 440, "after": "safe_failure"}]},
			{"mode": "N-PE", "uc_min_v": 230, "up_max_kv": 1.5, "in_min_ka": 20, "iimp_min_ka": null,
				"tov": [{"duration": "200 ms", "volt": 1200, "after": "safe_failure"}]}],
		"order": {"uc_v": 255, "uc_max_v": 300, "up_kv": 1.4, "in_ka": 10, "iimp_ka": 20, "iimp_n_pe_ka": 100, "uoc_kv": 7},
		"current_share": {"paths": 2, "conductors": 8, "k_e": 0.25, "method": "E.2"},
		"leads": {"max_length_m": 0.5, "earth_mm2": 16, "live_mm2": 6}, "notes": ["One.", "Two."]}`), &e); err != nil {
		t.Fatal(err)
	}
	row := scheduleRow([]string{"Invented site", "R-1", "3", "2026-05-04"}, &storedEarth{Resistance: "150",
		Notes: []wire.EarthNote{{Text: "Bond."}, {Text: "Measure."}}}, &e)
	got := map[string]string{}
	for i, name := range recordColumns {
		got[name] = row[i]
	}
	for i, column := range scheduleColumns {
		got[column.name] = row[len(recordColumns)+i]
	}
	want := map[string]string{
		"site": "Invented site", "reference": "R-1", "revision": "3", "date": "2026-05-04",
		"earth_grade": "poor", "earth_resistance_ohm": "150", "earth_advice": "Bond. Measure.", "earth_first": "true",
		"structure": "house", "line": "supply", "position": "line_entrance", "required": "true", "need": "required",
		"specifiable": "false", "served_by": "feeder",
		"because": "LPS (6.2); Risk (5)", "service": "low_voltage", "current": "ac", "device_standard": "IEC 61643-11", "test_class": "I",
		"lightning_protection_level": "II", "connection": "CT2", "also_connection": "", "protected_conductors": "4", "modes": "L-N|N-PE",
		"order_uc_v": "255", "order_uc_max_v": "300", "order_up_kv": "1.4", "order_in_ka": "10", "order_iimp_ka": "20",
		"order_iimp_n_pe_ka": "100", "order_uoc_kv": "7",
		"uc_min_v": "253", "uc_min_v_by_mode": "L-N 253; N-PE 230", "uc_max_v": "", "up_max_kv": "1.5", "up_max_kv_by_mode": "L-N 1.5; N-PE 1.5",
		"effective_up_max_kv": "2", "withstand_kv": "2.5", "in_min_ka": "5", "in_min_ka_by_mode": "L-N 5; N-PE 20",
		"iimp_min_ka": "18.75", "iimp_min_ka_by_mode": "L-N 18.75", "iimp_total_min_ka": "75", "limiting_iimp_min_ka": "2.5",
		"limiting_in_min_ka": "15",
		"uoc_min_kv":         "6", "imax_min_ka": "40", "short_circuit_min_ka": "1.5", "tov_min_v": "334",
		"tov_by_mode":        "L-N 5 s 334 V withstand; L-N 120 min 440 V safe_failure; N-PE 200 ms 1200 V safe_failure",
		"leads_max_length_m": "0.5", "leads_earth_mm2": "16", "leads_live_mm2": "6",
		"current_share_paths": "2", "current_share_conductors": "8", "current_share_k_e": "0.25",
		"current_share_method": "E.2", "notes": "One. Two.",
	}
	if !reflect.DeepEqual(got, want) {
		for name := range want {
			if got[name] != want[name] {
				t.Errorf("%s: %q, want %q", name, got[name], want[name])
			}
		}
		t.Errorf("%d columns, want %d", len(got), len(want))
	}
}

// TestScheduleRowOfAnOldRecord writes an entry stored before it had the fields of the order: they are empty, and it can be specified.
func TestScheduleRowOfAnOldRecord(t *testing.T) {
	var e storedEntry
	if err := json.Unmarshal([]byte(`{"line": "a", "required": true, "modes": [{"mode": "L-N", "uc_min_v": 254}]}`), &e); err != nil {
		t.Fatal(err)
	}
	row := scheduleRow([]string{"", "", "1", ""}, new(storedSchedule).earth("house"), &e)
	for i, column := range scheduleColumns {
		want := map[string]string{"earth_first": "false", "line": "a", "required": "true", "specifiable": "true", "modes": "L-N",
			"uc_min_v_by_mode": "L-N 254"}[column.name]
		if got := row[len(recordColumns)+i]; got != want {
			t.Errorf("%s: %q, want %q", column.name, got, want)
		}
	}
}
