package api_test

// notJudgedYet is why a field that is read and kept changes no number: no rule of package risk asks for it.
const notJudgedYet = "kept with the input; no rule reads it"

// unreadElectrical lists what changes nothing in the base lines, with the test that compares it by hand.
func unreadElectrical(path string) map[string]string {
	return map[string]string{
		path + "/array_place":      "decides together with the separation distance and the sharing; TestClassOfTheArray compares by hand",
		path + "/battery_can_feed": "follows from the values of the battery that stand beside it; TestBatteryBehindTheArray compares by hand",
	}
}

// alikeLines lists values of lines that ask for the same.
func alikeLines() map[string]string {
	const (
		transformer = "a source that is not known counts as the network; where there is no neutral to lose and no TT or IT, all sources ask for the same"
		earthed     = "TN asks for the same temporary overvoltages whatever becomes of the PEN"
		upstream    = "only whether the residual-current device stands upstream counts"
	)
	return map[string]string{
		"/lines/*/electrical/also_fed_by/*/source: unknown, network":                 transformer,
		"/lines/*/electrical/source: unknown, network":                               transformer,
		"/lines/*/electrical/source: unknown, generator":                             transformer,
		"/lines/*/electrical/source: network, generator":                             transformer,
		"/lines/*/electrical/also_fed_by/*/system: *":                                earthed,
		"/lines/*/electrical/neutral_earth_bond: source, board":                      "both are a bond that a changeover may move",
		"/lines/*/electrical/residual_current_device: none, behind_spd":              upstream,
		"/lines/*/electrical/residual_current_device: before_spd, before_spd_type_s": upstream,
		"/lines/*/far_end: *": "ends of one kind get the same entry; a line with two structures has no other end",
		"/structures/*/earthing/common_electrode: unknown, no": "both ask for one electrode",
		"/lines/*/shield/conductor_resistance_ohm_per_km":      "the screen of the base line carries too little to decide; TestScreenTakesItsPart compares by hand",
	}
}

// alsoElectrical lists what else of the electrical data the base lines of a check do not have.
func alsoElectrical(path string) map[string]string {
	all := unreadElectrical(path)
	for _, field := range []string{"source", "source_phases", "also_fed_by/", "changeover", "neutral_earth_bond", "residual_current_device", "connection_type",
		"waveform", "voltage_variation", "combiner_boxes", "second_device", "equipment_wiring", "strings", "battery_max_v",
		"battery_short_circuit_ka"} {
		all[path+"/"+field] = requiredAlone
	}
	return all
}

// unreadSites lists what no rule reads yet of a site, its structures and the ends of its lines.
func unreadSites() map[string]string {
	all := map[string]string{"/structures/*/next_inspection": notJudgedYet}
	for _, field := range []string{"measured_on", "measured_by"} {
		all["/structures/*/earthing/"+field] = notJudgedYet
	}
	const twoLines = "matters where two lines name the same; TestPathsToOneElectrode and TestBoards compare by hand"
	for _, field := range []string{"far_electrode", "board", "branches_from"} {
		all["/lines/*/"+field] = twoLines
	}
	return all
}

// requiredAlone is why a field of a line changes no finding of a check.
const requiredAlone = "says what the schedule requires, which TestEveryFieldOfAnInput compares; no base device is at its limit"

// suppliesInput has a line with other sources, one of an array with a battery, and a screened cable of pairs.
const suppliesInput = `{"name": "Invented lodge", "location": {"latitude": -3.1, "longitude": 36.2}, "flash_density": {"ground_flashes_per_km2_year": 9}, "altitude_m": 2400,
	"structures": [{"id": "lodge", "length_m": 20, "width_m": 10, "height_m": 5, "lps": "II", "explosion_zone": "2_22", "down_conductors": 2, "next_inspection": "2027-03-01",
		"separation": {"along_m": 8, "through": "solid", "clear_m": 0.4},
		"earthing": {"connection": "measured", "resistance_ohm": 8, "common_electrode": "yes", "measured_on": "2026-03-01", "measured_by": "Invented Electric"}}],
	"lines": [
		{"id": "supply", "structure": "lodge", "electrical": {"system": "TN-S", "phases": 2, "nominal_v": 120, "source": "network", "source_phases": 2,
			"also_fed_by": [{"source": "generator", "system": "TT", "source_phases": 1, "max_operating_v": 140, "short_circuit_ka": 0.4}],
			"changeover": "behind_spd", "neutral_earth_bond": "board", "residual_current_device": "behind_spd", "connection_type": "CT2",
			"waveform": "sinusoidal", "voltage_variation": "normal", "equipment_distance_m": 14, "second_device": false,
			"equipment_wiring": "unshielded"},
			"far_end_earth": "own", "far_electrode": "village", "far_end": "socket_outlet", "far_withstand_kv": 2.5, "board": "main",
			"branches_from": "data", "end_in_explosive_zone": true},
		{"id": "well", "structure": "lodge", "electrical": {"system": "TT", "residual_current_device": "behind_spd"}},
		{"id": "tower", "structure": "lodge", "withstand_kv": 4, "electrical": {"system": "TN-S", "equipment_distance_m": 25, "second_device": false, "equipment_wiring": "shielded"}},
		{"id": "array", "structure": "lodge", "installation": "buried", "length_m": 40, "electrical": {"origin": "photovoltaic", "open_circuit_v": 420,
			"short_circuit_a": 18, "array_place": "on_building", "separation_distance_kept": false, "strings": 2, "combiner_boxes": 1,
			"battery_can_feed": true, "battery_max_v": 58, "battery_short_circuit_ka": 4}},
		{"id": "data", "structure": "lodge", "service": "telecom", "installation": "buried", "length_m": 300,
			"shield": {"type": "shielded", "bonded": true, "resistance_ohm_per_km": 4, "conductor_resistance_ohm_per_km": 12},
			"electrical": {"cable": "pairs", "pairs": 10, "equipment_distance_m": 14, "second_device": true}}]}`
