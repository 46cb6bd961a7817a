package api_test

import (
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"

	"levinward/api/apitest"
)

// Data sheets of invented devices.
const (
	mainsSheet = `"current": ["ac"], "uc_ac_v": 275, "up_kv": 1.2, "in_ka": 20, "in_n_pe_ka": 40, "imax_ka": 40, "iimp_ka": 12.5, "iimp_n_pe_ka": 50, "test_classes": ["I"],
		"technology": "limiting", "short_circuit_ka": 25, "follow_current_ka": 30, "tov_v": 340, "max_backup_a": 160, "modes": ["L-N"], "connections": ["CT2"]`
	gapSheet = `"current": ["ac"], "uc_ac_v": 255, "up_kv": 1.5, "in_ka": 20, "in_n_pe_ka": 40, "imax_ka": 40, "iimp_ka": 12.5, "iimp_n_pe_ka": 50, "test_classes": ["II"],
		"technology": "switching", "short_circuit_ka": 25, "follow_current_ka": 1, "tov_v": 340, "max_backup_a": 160, "modes": ["L-PE"], "connections": ["CT1"]`
	arraySheet = `"current": ["dc"], "uc_dc_v": 600, "up_kv": 2.2, "in_ka": 20, "imax_ka": 40, "iimp_ka": 5, "test_classes": ["II"], "technology": "limiting", "short_circuit_ka": 10, "modes": ["+/-"]`
	// values by mode, of a device that switches.
	modeSheet = `"current": ["ac"], "uc_ac_v": 275, "uc_l_pe_v": 275, "uc_n_pe_v": 255, "uc_l_l_v": 480, "up_l_n_kv": 1.3, "up_l_pe_kv": 1.4, "up_n_pe_kv": 1.2, "in_ka": 20, "in_n_pe_ka": 80,
		"test_classes": ["III"], "technology": "switching", "short_circuit_ka": 25, "follow_current_ka": 30, "tov_l_n_5s_v": 340, "tov_l_pe_5s_v": 450, "tov_l_n_120min_v": 450,
		"tov_l_n_120min_failure": "safe", "tov_l_pe_200ms_v": 1500, "tov_n_pe_200ms_v": 1300, "uoc_kv": 6, "protected_conductors": 2, "coordinated_with": ["R"], "modes": ["L-N", "N-PE"]`
	gapModes = `"current": ["dc"], "uc_dc_v": 600, "up_plus_pe_kv": 2.2, "up_pole_pole_kv": 2.3, "in_ka": 20, "test_classes": ["II"], "technology": "switching", "short_circuit_ka": 10,
		"dc_follow_current_ka": 1, "modes": ["+/-", "+/PE", "-/PE"]`
	dataSheet = `"uc_dc_v": 70, "up_kv": 0.6, "in_ka": 5, "iimp_ka": 2.5, "test_classes": ["D1"], "technology": "combination", "modes": ["line-earth"]`
)

func TestEveryFieldOfAnEarthRequest(t *testing.T) {
	b := inputBody{schema: "EarthRequest",
		bases: []string{
			`{"soil_resistivity_ohm_m": 150, "lps": "I", "electrode": ` + electrodes["ring"] + `}`,
			`{"soil": {"readings": [{"method": "four_probes", "resistance_ohm": 12, "spacing_m": 2, "depth_m": 0.3}]}, "electrode": ` + electrodes["rod"] + `}`,
			`{"soil": {"readings": [{"method": "test_rod", "resistance_ohm": 90, "rod_length_m": 1.5, "rod_diameter_m": 0.014}]}, "electrode": ` + electrodes["rod"] + `}`,
			`{"soil": {"layers": [{"resistivity_ohm_m": 300}]}, "electrode": ` + electrodes["rod"] + `}`,
			`{"soil_resistivity_ohm_m": 2000, "electrode": ` + electrodes["rods"] + `}`,
			`{"soil_resistivity_ohm_m": 2000, "electrode": ` + electrodes["three rods"] + `}`,
			`{"soil_resistivity_ohm_m": 2500, "lps": "I", "electrode": ` + electrodes["ring"] + `}`,
			`{"soil_resistivity_ohm_m": 150, "electrode": ` + electrodes["wire"] + `}`,
			`{"soil_resistivity_ohm_m": 150, "electrode": ` + electrodes["grid"] + `}`,
			`{"soil_resistivity_ohm_m": 150, "electrode": ` + electrodes["combination"] + `}`,
			`{"soil_resistivity_ohm_m": 150, "wanted_ohm": 10, "max_count": 4, "electrode": {"kind": "rods", "length_m": 2, "diameter_m": 0.016, "arrangement": "line", "spacing_m": 4}}`,
			`{"soil_resistivity_ohm_m": 150, "wanted_ohm": 10, "max_length_m": 8, "electrode": {"kind": "wire", "diameter_m": 0.01, "depth_m": 0.6}}`,
			`{"soil_resistivity_ohm_m": 150, "wanted_ohm": 10, "max_ring_diameter_m": 4, "electrode": {"kind": "ring", "diameter_m": 0.01, "depth_m": 0.6}}`,
		},
		beside: electrodeBeside("/electrode", map[string]string{
			"/soil/readings/*/method=four_probes": `{"spacing_m": 2, "rod_length_m": null, "rod_diameter_m": null}`,
			"/soil/readings/*/method=test_rod":    `{"spacing_m": null, "depth_m": null, "rod_length_m": 1.5, "rod_diameter_m": 0.014}`,
		}),
		without: withoutAll(combinations("/electrode"), map[string]string{
			"/electrode/parts/*/arrangement: triangle, square": threeOrFour,
			"/soil/layers/*/thickness_m":                       "soil in layers is refused beyond one, and the lowest has no thickness",
			"/lps: IV, III":                                    sameLength, "/lps: I, I_natural_frame": sameLength,
			"/lps: I, I_full_cover": sameLength, "/lps: I_natural_frame, I_full_cover": sameLength,
			"/lps: none, IV": noLength, "/lps: none, III": noLength, "/lps: none, II": noLength, "/lps: none, I": noLength,
			"/lps: none, I_natural_frame": noLength, "/lps: none, I_full_cover": noLength,
		}),
	}
	answer := posted(t, apitest.NewServer(t, apitest.OpenSQLite(t)), http.MethodPost, "/v1/earth-electrodes", "steps")
	b.answer = func(document []byte) (string, bool) {
		a, ok := answer(document)
		if ok && !strings.Contains(string(document), "wanted_ohm") { // the electrode of the answer is that of the request
			a = withoutEcho(t, []byte(a), "electrode")
		}
		return a, ok
	}
	checkFields(t, contractDocument(t), &b)
}

const sameLength = "one least length l_1 for both (IEC 62305-3 Figure 3)"

const noLength = "none is refused: without an LPS there is no least length"

// notJudged lists fields of a data sheet that an operation does not judge.
func notJudged(path, reason string, fields ...string) map[string]string {
	all := map[string]string{}
	for _, f := range fields {
		all[path+f] = reason
	}
	return all
}

func TestEveryFieldOfACoordination(t *testing.T) {
	stages := func(sheets ...string) string {
		var all []string
		for i, s := range sheets {
			all = append(all, `{"name": "place `+strconv.Itoa(i)+`", "lead_length_m": 0.4, "cable_after_m": 12, "inductor_uh": 5, "device": {`+s+
				`}}`)
		}
		return `"stages": [` + strings.Join(all, ", ") + `]`
	}
	second := strings.Replace(mainsSheet, `["I"]`, `["II"]`, 1)
	b := inputBody{schema: "CoordinationRequest",
		bases: []string{
			`{"withstand_kv": 2.5, "service": "low_voltage", "current": "ac", "vital": false, "iimp_min_ka": 12.5, "in_min_ka": 15, ` + stages(mainsSheet, second) + `}`,
			`{"withstand_kv": 2.5, "vital": false, "iimp_min_ka": 12.5, "in_min_ka": 15, ` + strings.Replace(stages(gapSheet, second), `"lead_length_m": 0.4, "cable_after_m": 12, "inductor_uh": 5, "device": {`+second, `"maker_cable_m": 10, "lead_length_m": 0.4, "cable_after_m": 12, "device": {`+second, 1) + `}`,
			`{"withstand_kv": 4, "current": "dc", ` + stages(arraySheet, arraySheet) + `}`,
			`{"withstand_kv": 1.5, "service": "telecom", ` + stages(dataSheet, dataSheet) + `}`,
			`{"withstand_kv": 4, "wiring": "unshielded", "stages": [{"name": "R", "device": {` + mainsSheet + `}}, {"cable_after_m": 12, "device": {` + modeSheet + `}}]}`,
			`{"withstand_kv": 4, "stages": [{"device": {` + mainsSheet + `}}, {"device": {"up_l_pe_kv": 1.1}}]}`,
			`{"withstand_kv": 4, "wiring": "shielded", "current": "dc", "stages": [{"device": {` + gapModes + `}}]}`,
		},
		without: notJudged(
			"/stages/*/device/", "the data sheet is that of a check; coordination compares currents, U_C and U_P of neighbours, "+
				"a check judges the device at its line",
			"connections/*", "current/*", "follow_current_ka", "iimp_n_pe_ka", "imax_ka", "in_n_pe_ka", "max_backup_a", "modes/*",
			"short_circuit_ka", "tov_v", "uc_l_pe_v", "uc_n_pe_v", "uc_l_l_v", "up_n_pe_kv", "up_plus_pe_kv", "tov_l_n_5s_v", "tov_l_pe_5s_v", "tov_l_n_120min_v",
			"tov_l_n_120min_failure", "tov_l_pe_200ms_v", "tov_n_pe_200ms_v", "uoc_kv", "protected_conductors", "dc_follow_current_ka", "certified_for_zone"),
	}
	b.answer = posted(t, apitest.NewServer(t, apitest.OpenSQLite(t)), http.MethodPost, "/v1/spd-coordinations", "steps")
	checkFields(t, contractDocument(t), &b)
}

func TestEveryFieldOfASPDCheck(t *testing.T) {
	s := apitest.OpenSQLite(t)
	server := apitest.NewServer(t, s)
	c := apitest.NewClient(t, server)
	site, _ := apitest.Create(c, []byte(electricInput))
	c.Patch("/v1/assessments/"+site.ID+"/revisions",
		`{"flash_density": {"ground_flashes_per_km2_year": 4}, "structures": [{"id": "clinic", "length_m": 20, "width_m": 10, "height_m": 5},
		{"id": "kiosk", "length_m": 4, "width_m": 4, "height_m": 3}], "lines": [{"id": "supply", "structure": "clinic", "to": "kiosk", "electrical": {"system": "TN-S", "short_circuit_ka": 30}}, {"id": "array", "structure": "clinic"}]}`).Want(http.StatusCreated)
	other, _ := apitest.Create(c, apitest.Changed(t, []byte(electricInput), map[string]any{"/lines/2/electrical/system": "TT"}))
	c.Patch("/v1/assessments/"+other.ID+"/revisions", `{"name": "again"}`).Want(http.StatusCreated)
	at := func(installation string) string {
		return `"position": "line_entrance", "installation": ` + installation
	}
	place := at(`{"lead_length_m": 0.4, "distance_m": 12, "backup_a": 100, "second_device": false}`)
	second := `"position": "equipment", "installation": {"lead_length_m": 0.4, "distance_m": 12, "wiring": "unshielded", "first_reference": "R", "cable_between_m": 12, "first_device": {` + mainsSheet + `}}`
	structure := `{"surroundings": "isolated", "occupancy": "office", "lps": "none", "natural_lps": false, ` +
		`"failure_endangers_life": false, "public_service": "none", "earthing": `
	mains := `{"service": "low_voltage", "installation": "aerial", "length_m": 500, "environment": "rural", "shield": {"type": "shielded", "bonded": true, "resistance_ohm_per_km": 3}, "withstand_kv": 2.5,
		"bonding_spd": "none", "coordinated_spd": "none", "electrical": {"current": "ac", "system": "TT", "nominal_v": 230, "max_operating_v": 240, "phases": 3, "neutral": true, "source_connected": true, "short_circuit_ka": 6, "equipment": "other", "equipment_distance_m": 12, "lead_length_m": 0.4}}`
	array := `{"installation": "buried", "length_m": 30, "electrical": {"current": "dc", "origin": "photovoltaic", ` +
		`"open_circuit_v": 420, "temperature_coefficient_per_k": -0.003, "lowest_temperature_c": -5, "short_circuit_a": 18, ` +
		`"equipment_max_input_v": 600, "equipment": "inverter", "building": "dwelling"}}`
	b := inputBody{schema: "SPDCheck",
		bases: []string{
			`{"device": {` + mainsSheet + `}, "line": ` + mains + `, "structure": ` + structure + `{"connection": "measured", "resistance_ohm": 12}}, ` + place + `}`,
			`{"device": {` + gapSheet + `}, "line": ` + strings.Replace(mains, `"TT"`, `"TN-S"`, 1) + `, "structure": ` + structure + `{"connection": "none"}}, ` + place + `}`,
			`{"device": {` + arraySheet + `}, "line": ` + array + `, ` + place + `}`,
			`{"device": {` + dataSheet + `}, "line": {"service": "telecom", "withstand_kv": 1.5, "electrical": {"max_operating_v": 60}}, ` + place + `}`,
			`{"device": {` + mainsSheet + `}, "line": {"electrical": {"nominal_v": 230, "current": "dc", "equipment": "other"}}, "structure": ` + structure + `{"connection": "none"}}}`,
			`{"device": {` + mainsSheet + `}, "line": {}, "structure": ` + structure + `{"connection": "electrode", "electrode": ` + electrodes["rod"] + `}}, "position": "line_entrance"}`,
			`{"device": {` + arraySheet + `}, "line": {"withstand_kv": 1.5, "length_m": 15, "electrical": {"current": "dc", "origin": "load", "nominal_v": 230, "short_circuit_ka": 20, "equipment": "other"}}, ` + place + `}`,
			`{"device": {` + modeSheet + `}, "line": ` + mains + `, ` + second + `}`,
			`{"device": {` + modeSheet + `}, "line": ` + mains + `, ` + strings.Replace(second, `"R"`, `"S"`, 1) + `}`,
			`{"device": {` + modeSheet + `}, "line": {}, "position": "equipment", "installation": {"first_device": {"up_l_n_kv": 1}}}`,
			`{"device": {` + mainsSheet + `}, "line": {}, "position": "equipment", "installation": {"cable_between_m": 6, "first_device": {` + mainsSheet + `}}}`,
			`{"device": {` + modeSheet + `}, "line": {}, "position": "equipment", "installation": {"first_device": {"up_l_pe_kv": 1}}}`,
			`{"device": {` + gapModes + `}, "line": ` + array + `, "position": "equipment", "installation": {"first_device": {"uc_dc_v": 600, "up_pole_pole_kv": 2.5}}}`,
			`{"device": {` + modeSheet + `}, "line": {"withstand_kv": 6, "electrical": {"system": "TT"}}, "position": "line_entrance", "installation": {"distance_m": 12, "wiring": "shielded"}}`,
			`{"device": {` + gapModes + `}, "line": ` + array + `}`,
			`{"device": {` + gapSheet + `}, "assessment": {"id": "` + site.ID + `", "revision": 2, "line": "supply", "structure": "clinic"}, ` + place + `}`,
		},
		values: map[string][]any{
			"/assessment/id":        {other.ID},
			"/assessment/line":      {"array"},
			"/assessment/structure": {"kiosk"},
			"/assessment/revision":  {1.0},
		},
		beside: map[string]string{
			"/structure/earthing/connection=unknown":   `{"resistance_ohm": null, "electrode": null}`,
			"/structure/earthing/connection=none":      `{"resistance_ohm": null, "electrode": null}`,
			"/structure/earthing/connection=measured":  `{"resistance_ohm": 7, "electrode": null}`,
			"/structure/earthing/connection=electrode": `{"resistance_ohm": null, "electrode": {"kind": "rod", "length_m": 2, "diameter_m": 0.016}}`,
		},
		without: withoutAll(withoutAll(alsoElectrical("/line/electrical"), notJudged("/installation/first_device/", "of the device at the entrance only what coordination compares counts", "connections/*",
			"coordinated_with/*", "current/*", "dc_follow_current_ka", "follow_current_ka", "iimp_ka", "iimp_n_pe_ka", "imax_ka", "in_ka", "in_n_pe_ka", "max_backup_a", "modes/*",
			"certified_for_zone", "protected_conductors", "short_circuit_ka", "tov_v", "tov_l_n_5s_v", "tov_l_pe_5s_v", "tov_l_n_120min_v", "tov_l_n_120min_failure", "tov_l_pe_200ms_v", "tov_n_pe_200ms_v",
			"uc_l_l_v", "uc_l_pe_v", "uc_n_pe_v", "uoc_kv", "up_n_pe_kv", "up_plus_pe_kv")), map[string]string{
			"/structure/earthing/electrode/":                                "an electrode proves the earth connection, whatever its resistance",
			"/structure/earthing/common_electrode":                          requiredAlone,
			"/structure/earthing/measured_by":                               notJudgedYet,
			"/structure/earthing/measured_on":                               notJudgedYet,
			"/line/electrical/cable":                                        requiredAlone,
			"/line/electrical/pairs":                                        requiredAlone,
			"/line/electrical/separation_distance_kept":                     requiredAlone,
			"/line/shield/conductor_resistance_ohm_per_km":                  requiredAlone,
			"/device/certified_for_zone":                                    "no base line ends in a zone; TestCertifiedForAZone compares",
			"/line/electrical/building":                                     noNeed,
			"/installation/first_device/technology: switching, combination": "both need the same decoupling",
			"/installation/first_device/test_classes/*: *":                  "a device behind it is in its order or not; several classes come out alike",
			"/line/installation":                                            noNeed,
			"/line/length_m":                                                noNeed,
			"/line/shield/bonded":                                           noNeed,
			"/line/shield/resistance_ohm_per_km":                            noNeed,
			"/line/shield/type":                                             noNeed,
			"/line/electrical/equipment: *":                                 "only what U_W and U_C follow from counts",
			"/line/environment: *":                                          "only rural stands apart here",
			"/line/service: low_voltage, telecom":                           "the same place has other devices; no base line has fields that go with both",
			"/line/service: high_voltage, telecom":                          "the same place has other devices; no base line has fields that go with both",
			"/structure/lps: *":                                             "the classes count by their LPL: IV and III, and all of I, are one each (IEC 62305-1)",
			"/structure/occupancy: *":                                       "only who or what is at stake counts (IEC 60364-4-44 clause 443), the same for several uses",
			"/structure/public_service: power_gas_water, tv_telecom":        "only whether a service to the public is at stake counts",
			"/structure/surroundings: *":                                    "only hilltop stands apart here",
		}),
	}
	b.answer = posted(t, server, http.MethodPost, "/v1/spd-checks")
	checkFields(t, contractDocument(t), &b)
}

const noNeed = "says whether a device is needed; a check judges the device whether needed or not"

func TestEveryFieldOfAStressRequest(t *testing.T) {
	server := apitest.NewServer(t, apitest.OpenSQLite(t))
	site, _ := apitest.Create(apitest.NewClient(t, server), []byte(electricInput))
	b := inputBody{schema: "StressRequest",
		bases: []string{
			`{"devices": [{"reference": "R", "line": "supply", "structure": "clinic", ` + mainsSheet + `}], "currents_ka": [1, 5], "years": [3, 10], "smallest_ka": 0.2, "line_flash": "tabulated", "line": "supply", "steps": false}`,
			`{"devices": [{"reference": "R", "line": "array", ` + arraySheet + `}], "years": [3, 10]}`,
			`{"line": "supply"}`, `{"devices": [{"reference": "R", "line": "supply", ` + mainsSheet + `}]}`,
		},
		without: notJudged("/devices/*/", "the data sheet is that of a check; here only discharge currents are judged", "connections/*",
			"current/*", "follow_current_ka", "max_backup_a", "modes/*",
			"short_circuit_ka", "technology", "test_classes/*", "tov_v", "uc_ac_v", "uc_dc_v", "up_kv",
			"uc_l_pe_v", "uc_n_pe_v", "uc_l_l_v", "up_l_n_kv", "up_l_pe_kv", "up_n_pe_kv", "up_plus_pe_kv", "up_pole_pole_kv", "tov_l_n_5s_v", "tov_l_pe_5s_v", "tov_l_n_120min_v",
			"tov_l_n_120min_failure", "tov_l_pe_200ms_v", "tov_n_pe_200ms_v", "uoc_kv", "protected_conductors", "dc_follow_current_ka", "coordinated_with/*", "certified_for_zone"),
		values: map[string][]any{"/line": {"array"}, "/devices/*/line": {"array"}, "/devices/*/structure": {"kiosk"}},
	}
	b.answer = posted(t, server, http.MethodPost, "/v1/assessments/"+site.ID+"/spd-stress")
	checkFields(t, contractDocument(t), &b)
}

// TestEveryFieldOfADevice: the answer is the match of a schedule with a library of this one device.
func TestEveryFieldOfADevice(t *testing.T) {
	server := apitest.NewServer(t, apitest.OpenSQLite(t))
	c := apitest.NewClient(t, server)
	site, _ := apitest.Create(c, []byte(electricInput))
	hall, _ := apitest.Create(c, []byte(hallInput))
	var made struct{ ID string }
	c.Post(apitest.DevicesPath, []byte(`{"reference": "R"}`)).Want(http.StatusCreated).JSON(&made)
	b := inputBody{schema: "Device",
		bases: []string{
			`{"reference": "R", "name": "N", "use": "U", "price": "12.50", "currency": "XTS", ` + mainsSheet + `}`,
			`{"reference": "R", ` + gapSheet + `}`, `{"reference": "R", ` + arraySheet + `}`, `{"reference": "R", ` + dataSheet + `}`,
			`{"reference": "R", ` + strings.Replace(mainsSheet, `["L-N"]`, `["L-N", "N-PE"]`, 1) + `}`,
			`{"reference": "R", ` + modeSheet + `}`, `{"reference": "R", ` + gapModes + `}`,
		},
		without: map[string]string{
			"/use":                                "words of the owner, kept and given back, not checked",
			"/max_backup_a":                       "compared with the overcurrent device upstream, which a schedule does not know",
			"/imax_ka":                            "usual, not required (guidance in a check), so that no device fails a match by it",
			"/technology: switching, combination": "a match judges both as devices that may spark over",
			"/uoc_kv":                             "no place of these sites is behind a first device of class II",
			"/tov_l_n_120min_failure":             "either state is allowed; a check shows which",
			"/certified_for_zone":                 "where a device stands in a zone a specialist decides; a check says so",
			"/protected_conductors":               "several pieces serve where one connects too few conductors; a check says so",
			"/coordinated_with/*":                 "judged in a check with the device at the entrance, and in a coordination",
		},
		values: map[string][]any{"/price": {"13.00"}, "/currency": {"XXX"}, "/short_circuit_ka": {0.5, 0.01}, "/imax_ka": {1.0, 10.0}},
	}
	put := posted(t, server, http.MethodPut, apitest.DevicesPath+"/"+made.ID)
	b.answer = func(document []byte) (string, bool) {
		if a, ok := put(document); !ok {
			return a, false
		}
		var doc struct{ Matching map[string]any }
		c.Get("/v1/assessments/" + site.ID + "/spd-schedule?match=true").Want(http.StatusOK).JSON(&doc)
		delete(doc.Matching, "library_version")
		first := string(apitest.JSONOf(t, doc.Matching))
		c.Get("/v1/assessments/" + hall.ID + "/spd-schedule?match=true").Want(http.StatusOK).JSON(&doc)
		delete(doc.Matching, "library_version")
		return first + string(apitest.JSONOf(t, doc.Matching)), true
	}
	checkFields(t, contractDocument(t), &b)
}

func TestEveryFieldOfABudget(t *testing.T) {
	s := apitest.OpenSQLite(t)
	c := apitest.NewServer(t, s)
	p := apitest.OpenPortfolio(t, s, "priced")
	var bodies [][]byte
	for i := range 6 {
		bodies = append(bodies, apitest.RiskySite(t, i, 5+3*i, ""))
	}
	p.Add(t, bodies...)
	full := apitest.Prices("XTS")
	full["interest_per_year"], full["amortization_per_year"], full["maintenance_per_year"] = 0.04, 0.05, 0.02
	full["wiring"] = map[string]any{"large_loops_avoided": 20, "loops_avoided": 60, "shielded": 200}
	b := inputBody{schema: "BudgetRequest",
		bases: []string{
			`{"budget": "900.00", "currency": "XTS", "objective": "expected_loss", "effort": 0, "measure_costs": ` + string(apitest.JSONOf(t, full)) + `}`,
			`{"budget": "1000000.00", "currency": "XTS", "objective": "expected_loss", "measure_costs": ` + string(apitest.JSONOf(t, apitest.Prices("XTS"))) + `}`,
			`{"budget": "9.00", "relative": true, "objective": "expected_loss", "effort": 100}`,
			`{"budget": "12000.00", "currency": "XTS", "objective": "persons_at_risk", "measure_costs": ` + string(apitest.JSONOf(t, apitest.Prices("XTS"))) + `}`,
		},
		values: map[string][]any{"/budget": {"500.00", "20000.00"}, "/currency": {"XXX"}},
		beside: map[string]string{"/currency=XXX": `{"measure_costs": {"currency": "XXX"}}`},
		without: map[string]string{
			"/relative":                            "true or absent; false is refused without a currency",
			"/measure_costs/currency":              "has to be that of the budget",
			"/measure_costs/interest_per_year":     yearly,
			"/measure_costs/amortization_per_year": yearly,
			"/measure_costs/maintenance_per_year":  yearly,
		},
	}
	b.answer = posted(t, c, http.MethodPost, "/v1/portfolios/"+p.ID+"/budget", "budget")
	checkFields(t, contractDocument(t), &b)
}

const yearly = "a budget is spent once: prices count, not what they cost a year"

// Bodies that are checked above, and those that hold no input of a computation.
var checkedBodies = []string{"Input", "EarthRequest", "CoordinationRequest", "SPDCheck", "StressRequest", "Device", "BudgetRequest"}

var otherBodies = map[string]string{
	"InputPatch":     "a patch of an Input",
	"PortfolioInput": "name and description of the owner, kept and given back (TestPortfolios)",
	"PortfolioPatch": "name and description of the owner, kept and given back (TestPortfolios)",
	"ReassessInput":  "says which sites are computed again and with which map (package jobs)",
	"WebhookInput":   "says what is delivered where (package webhook)",
	"":               "presets: a Structure or Line with fields left out; a table, a map or a file of sites",
}

// TestEveryBodyIsChecked: a body that the contract gets anew has to be checked, or listed.
func TestEveryBodyIsChecked(t *testing.T) {
	doc := contractDocument(t)
	found := map[string]bool{}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			if op.RequestBody == nil {
				continue
			}
			for media, content := range op.RequestBody.Value.Content {
				name := content.Schema.Ref[strings.LastIndex(content.Schema.Ref, "/")+1:]
				if len(content.Schema.Value.OneOf) > 0 {
					ref := content.Schema.Value.OneOf[0].Ref
					name = ref[strings.LastIndex(ref, "/")+1:]
				}
				found[name] = true
				if !slices.Contains(checkedBodies, name) && otherBodies[name] == "" {
					t.Errorf("%s %s, %s: the fields of %s are not checked", method, path, media, name)
				}
			}
		}
	}
	for _, name := range slices.Concat(checkedBodies, slices.Collect(maps.Keys(otherBodies))) {
		if !found[name] {
			t.Errorf("no operation takes a %s", name)
		}
	}
}
