package api_test

import (
	"encoding/json"
	"maps"
)

// Base documents of an input, all invented. What each is for stands beside it.
var inputFields = inputBody{
	schema: "Input",
	bases: []string{
		hallInput, losesInput, outlineInput, electricInput, earthInput("rod"), earthInput("rods"), earthInput("three rods"), earthInput("wire"),
		earthInput("ring"), earthInput("grid"), earthInput("combination"), daysInput, sharedInput, roofInput, pricedInput, suppliesInput,
	},
	values: map[string][]any{
		"/structures/*/zones/*/systems/*/line": {"data"},
		"/lines/*/structure":                   {"kiosk"},
		"/lines/*/to":                          {"kiosk"},
		"/measure_costs/currency":              {"XXX"},
	},
	beside: electrodeBeside("/structures/*/earthing/electrode", map[string]string{
		"/structures/*/parts/*/geometry/type=Point":      `{"coordinates": [36.2005, -3.1]}`,
		"/structures/*/parts/*/geometry/type=LineString": `{"coordinates": [[36.2, -3.101], [36.2008, -3.101]]}`,
		"/structures/*/parts/*/geometry/type=Polygon":    `{"coordinates": [[[36.2, -3.1], [36.2003, -3.1], [36.2003, -3.0998], [36.2, -3.1]]]}`,
		"/lines/*/electrical/cable=coaxial":              `{"pairs": null}`,
		"/structures/*/earthing/connection=unknown":      `{"resistance_ohm": null, "electrode": null}`,
		"/structures/*/earthing/connection=none":         `{"resistance_ohm": null, "electrode": null}`,
		"/structures/*/earthing/connection=measured":     `{"resistance_ohm": 7, "electrode": null}`,
		"/structures/*/earthing/connection=electrode":    `{"resistance_ohm": null, "electrode": {"kind": "rod", "length_m": 2, "diameter_m": 0.016}}`,
	}),
	without: withoutAll(map[string]string{
		"/edition":                       "one edition is implemented; any other name is refused",
		"/flash_density/map":             "names an uploaded map; TestAssessmentsTakeNGFromMaps compares the answers",
		"/lines/*/sections/*/route/type": "a route is a LineString; no other value is allowed",
		"/lines/*/sections/*/service: low_voltage, telecom":          "IEC 62305-2:2010 Table A.3 has one row for both, C_T = 1",
		"/structures/*/occupancy: entertainment, church":             "IEC 62305-2:2010 Table C.2 has one row for both",
		"/structures/*/occupancy: commercial, office":                "IEC 62305-2:2010 Table C.2 has one row for both",
		"/structures/*/zones/*/losses/loss_of_public_service/L_T":    "R_2 has no component by shock (IEC 62305-2:2010 4.3)",
		"/structures/*/zones/*/losses/loss_of_cultural_heritage/L_T": "R_3 has no component by shock (IEC 62305-2:2010 4.3)",
		"/structures/*/zones/*/losses/loss_of_cultural_heritage/L_O": "R_3 has no component by failure of internal systems (IEC 62305-2:2010 4.3)",
		"/structures/*/zones/*/surface: agricultural, concrete":      oneSurface,
		"/structures/*/zones/*/surface: marble, ceramic":             oneSurface,
		"/structures/*/zones/*/surface: gravel, carpet":              oneSurface,
		"/structures/*/zones/*/surface: asphalt, linoleum":           oneSurface,
		"/structures/*/zones/*/surface: asphalt, wood":               oneSurface,
		"/structures/*/zones/*/surface: linoleum, wood":              oneSurface,
	}, arrangements("/structures/*/earthing/electrode"), unreadElectrical("/lines/*/electrical"), unreadSites(), alikeLines()),
}

const oneSurface = "IEC 62305-2:2010 Table C.3 has one row for both"

// electrodeFields are all fields of an electrode.
var electrodeFields = []string{"length_m", "diameter_m", "count", "arrangement", "spacing_m", "depth_m", "ring_diameter_m", "area_m2",
	"conductor_length_m"}

// electrodeBeside adds what stands beside each kind of electrode and of a part of one.
func electrodeBeside(path string, beside map[string]string) map[string]string {
	all := withoutAll(beside)
	for kind, e := range electrodes {
		patch := map[string]any{}
		if kind == "three rods" || json.Unmarshal([]byte(e), &patch) != nil {
			continue
		}
		for _, f := range electrodeFields {
			if _, there := patch[f]; !there {
				patch[f] = nil
			}
		}
		text := func() string { b, _ := json.Marshal(patch); return string(b) }
		if kind != "combination" {
			all[path+"/parts/*/kind="+kind] = text()
			patch["parts"] = nil
		}
		all[path+"/kind="+kind] = text()
	}
	return all
}

// arrangements are the kinds and arrangements of rods that cannot be compared.
func arrangements(path string) map[string]string {
	all := map[string]string{}
	for _, at := range []string{path, path + "/parts/*"} {
		all[at+"/arrangement: triangle, square"] = threeOrFour
	}
	return withoutAll(all, combinations(path))
}

const threeOrFour = "a triangle has three rods, a hollow square at least four"

func combinations(path string) map[string]string {
	all := map[string]string{}
	for _, kind := range []string{"rod", "rods", "wire", "ring", "grid"} {
		all[path+"/parts/*/kind: "+kind+", combination"] = "a combination cannot stand in a combination"
	}
	return all
}

func withoutAll(lists ...map[string]string) map[string]string {
	all := map[string]string{}
	for _, l := range lists {
		maps.Copy(all, l)
	}
	return all
}

// hallInput has every field of structure, zone and line that goes with a box, without own mean losses, with prices.
const hallInput = `{"name": "Invented hall", "reference": "H-1", "edition": "iec-62305-2:2010", "location": {"latitude": -3.1, "longitude": 36.2},
	"flash_density": {"ground_flashes_per_km2_year": 9, "source": "invented", "year": 2024, "standard_error": 1.5},
	"environment": "suburban", "soil_resistivity_ohm_m": 200,
	"tolerable_risk": {"loss_of_human_life": 0.00002, "loss_of_public_service": 0.002, "loss_of_cultural_heritage": 0.0002, "loss_of_economic_value": 0.001},
	"measure_costs": {"currency": "XTS", "lps": {"IV": 1500, "III": 1900, "II": 2600, "I": 3400}, "bonding_spd": {"III-IV": 110, "II": 170, "I": 260},
		"coordinated_spd": {"III-IV": 110, "II": 170, "I": 260}, "fire_protection": {"manual": 90, "automatic": 2400}, "warning_notices": 15, "insulation": 130, "wiring": {"large_loops_avoided": 40, "loops_avoided": 90, "shielded": 300},
		"interest_per_year": 0.04, "amortization_per_year": 0.05, "maintenance_per_year": 0.02},
	"structures": [
		{"id": "hall", "length_m": 30, "width_m": 15, "height_m": 9, "protrusion_height_m": 16, "assess": true, "surroundings": "isolated", "occupancy": "museum", "lps": "none",
			"natural_lps": false, "screen_mesh_m": 3, "failure_endangers_life": true, "explosion_zone": "none", "public_service": "tv_telecom", "cultural_heritage": true, "persons": 60,
			"earthing": {"connection": "measured", "resistance_ohm": 12},
			"zones": [
				{"id": "room", "place": "inside", "persons": 50, "hours_per_year": 3000, "surface": "concrete", "structure_shock_measures": ["warning_notices"], "line_shock_measures": ["warning_notices"],
					"fire_risk": "ordinary", "fire_protection": "none", "special_hazard": "average_panic", "screen_mesh_m": 2,
					"systems": [{"line": "supply", "wiring": "unrouted", "withstand_kv": 2}, {"line": "data", "wiring": "large_loops_avoided"}],
					"values": {"animals": 1000, "building": 400000, "contents": 90000, "systems": 30000}},
				{"id": "yard", "place": "outside", "persons": 10, "hours_per_year": 1000, "surface": "agricultural", "structure_shock_measures": ["insulation"],
					"values": {"animals": 5000}}]},
		{"id": "kiosk", "length_m": 4, "width_m": 4, "height_m": 3, "assess": false, "surroundings": "similar_objects"},
		{"id": "tower", "length_m": 3, "width_m": 3, "height_m": 20, "assess": false, "surroundings": "hilltop"}],
	"lines": [
		{"id": "supply", "structure": "hall", "to": "tower", "service": "low_voltage", "installation": "aerial", "length_m": 400,
			"shield": {"type": "shielded", "bonded": true, "resistance_ohm_per_km": 8}, "withstand_kv": 2.5, "bonding_spd": "none", "coordinated_spd": "none",
			"electrical": {"current": "ac", "system": "TT", "nominal_v": 230, "max_operating_v": 253, "phases": 3, "neutral": true, "source_connected": true, "short_circuit_ka": 1.5,
				"equipment_distance_m": 12, "lead_length_m": 0.6, "equipment": "inverter"}},
		{"id": "data", "structure": "hall", "service": "telecom", "sections": [{"installation": "buried", "length_m": 300, "environment": "urban"}, {"installation": "aerial", "length_m": 200, "service": "telecom"}],
			"withstand_kv": 1.5, "electrical": {"max_operating_v": 60, "equipment_distance_m": 4, "lead_length_m": 0.3}}]}`

// losesInput has own mean losses, and a zone alone.
const losesInput = `{"name": "Invented works", "location": {"latitude": -3.1, "longitude": 36.2}, "flash_density": {"ground_flashes_per_km2_year": 6}, "environment": "rural",
	"structures": [{"id": "works", "length_m": 40, "width_m": 20, "height_m": 8, "occupancy": "industrial", "explosion_zone": "2_22", "public_service": "power_gas_water", "cultural_heritage": true, "failure_endangers_life": true, "persons": 20,
		"lps": "I", "natural_lps": false,
		"zones": [{"id": "all", "persons": 20, "hours_per_year": 4000, "fire_risk": "high", "fire_protection": "automatic", "special_hazard": "none", "surface": "wood", "structure_shock_measures": ["physical_restriction", "insulation"], "line_shock_measures": ["insulation"],
			"losses": {"loss_of_human_life": {"L_T": 0.01, "L_F": 0.02, "L_O": 0.001}, "loss_of_public_service": {"L_T": 0, "L_F": 0.1, "L_O": 0.01},
				"loss_of_cultural_heritage": {"L_T": 0, "L_F": 0.1, "L_O": 0}, "loss_of_economic_value": {"L_T": 0.01, "L_F": 0.5, "L_O": 0.01}},
			"values": {"animals": 5000, "building": 100000, "contents": 50000, "systems": 60000}}]}],
	"lines": [{"id": "supply", "structure": "works", "service": "high_voltage", "installation": "aerial", "length_m": 900, "shield": {"type": "none"}, "bonding_spd": "II", "coordinated_spd": "II"}]}`

// outlineInput has parts on the ground and a route on the map.
const outlineInput = `{"name": "Invented yard", "location": {"latitude": -3.1, "longitude": 36.2}, "flash_density": {"ground_flashes_per_km2_year": 6},
	"structures": [{"id": "barn", "parts": [
		{"height_m": 7, "geometry": {"type": "Polygon", "coordinates": [[[36.2, -3.1], [36.2003, -3.1], [36.2003, -3.0998], [36.2, -3.0998], [36.2, -3.1]]]}},
		{"height_m": 15, "geometry": {"type": "Point", "coordinates": [36.2005, -3.1]}},
		{"height_m": 12, "geometry": {"type": "LineString", "coordinates": [[36.2, -3.101], [36.2008, -3.101]]}}]}],
	"lines": [{"id": "supply", "structure": "barn", "sections": [{"route": {"type": "LineString", "coordinates": [[36.2, -3.1], [36.204, -3.1], [36.204, -3.098]]}}]}]}`

// electricInput has a line for each kind of current and origin.
const electricInput = `{"name": "Invented clinic", "location": {"latitude": -3.1, "longitude": 36.2}, "flash_density": {"ground_flashes_per_km2_year": 9},
	"structures": [{"id": "clinic", "length_m": 20, "width_m": 10, "height_m": 5, "occupancy": "hospital", "lps": "II", "earthing": {"connection": "measured", "resistance_ohm": 8}},
		{"id": "kiosk", "length_m": 4, "width_m": 4, "height_m": 3, "occupancy": "office"}],
	"lines": [
		{"id": "array", "structure": "clinic", "installation": "buried", "length_m": 12, "electrical": {"current": "dc", "origin": "photovoltaic", "open_circuit_v": 420, "temperature_coefficient_per_k": -0.003,
			"lowest_temperature_c": -5, "short_circuit_a": 18, "equipment_max_input_v": 600, "equipment": "inverter", "building": "dwelling", "equipment_distance_m": 3, "lead_length_m": 0.4}},
		{"id": "battery", "structure": "clinic", "installation": "buried", "length_m": 5, "electrical": {"current": "dc", "origin": "battery", "nominal_v": 48, "max_operating_v": 58, "equipment": "other", "short_circuit_ka": 3, "equipment_max_input_v": 64, "source_connected": true}},
		{"id": "supply", "structure": "clinic", "to": "kiosk", "installation": "buried", "length_m": 500, "electrical": {"current": "ac", "system": "IT", "nominal_v": 230, "phases": 1, "neutral": true, "source_connected": true, "equipment": "other"}}]}`

// earthInput has an electrode of each form.
func earthInput(kind string) string {
	return `{"name": "Invented post", "location": {"latitude": -3.1, "longitude": 36.2}, "flash_density": {"ground_flashes_per_km2_year": 9}, "soil_resistivity_ohm_m": 150,
		"structures": [{"id": "post", "length_m": 12, "width_m": 8, "height_m": 4, "earthing": {"connection": "electrode", "electrode": ` + electrodes[kind] + `}}]}`
}

var electrodes = map[string]string{
	"rod":        `{"kind": "rod", "length_m": 2, "diameter_m": 0.016}`,
	"rods":       `{"kind": "rods", "length_m": 2, "diameter_m": 0.016, "count": 8, "arrangement": "line", "spacing_m": 4}`,
	"three rods": `{"kind": "rods", "length_m": 2, "diameter_m": 0.016, "count": 3, "arrangement": "line", "spacing_m": 4}`,
	"wire":       `{"kind": "wire", "length_m": 20, "diameter_m": 0.01, "depth_m": 0.6}`,
	"ring":       `{"kind": "ring", "ring_diameter_m": 12, "diameter_m": 0.01, "depth_m": 0.6}`,
	"grid":       `{"kind": "grid", "area_m2": 100, "conductor_length_m": 80, "depth_m": 0.5}`,
	"combination": `{"kind": "combination", "parts": [{"kind": "ring", "ring_diameter_m": 12, "diameter_m": 0.01, "depth_m": 0.6},
		{"kind": "rods", "length_m": 2, "diameter_m": 0.016, "count": 8, "arrangement": "square", "spacing_m": 4, "distance_m": 9},
		{"kind": "grid", "area_m2": 100, "conductor_length_m": 80, "depth_m": 0.5, "distance_m": 30},
		{"kind": "rods", "length_m": 2, "diameter_m": 0.016, "count": 3, "arrangement": "line", "spacing_m": 4, "distance_m": 40}, {"kind": "wire", "length_m": 20, "diameter_m": 0.01, "depth_m": 0.6, "distance_m": 50}]}`,
}

// daysInput has N_G from thunderstorm days.
const daysInput = `{"name": "Invented shed", "location": {"latitude": -3.1, "longitude": 36.2}, "flash_density": {"thunderstorm_days_per_year": 60, "relation": "linear", "lower_90": 2, "upper_90": 20},
	"structures": [{"id": "shed", "length_m": 12, "width_m": 8, "height_m": 4}]}`

// sharedInput has two lines on one route.
const sharedInput = `{"name": "Invented depot", "location": {"latitude": -3.1, "longitude": 36.2}, "flash_density": {"ground_flashes_per_km2_year": 9},
	"structures": [{"id": "depot", "length_m": 12, "width_m": 8, "height_m": 4, "failure_endangers_life": true, "natural_lps": false}],
	"lines": [{"id": "a", "structure": "depot", "shared_route": "trench", "coordinated_spd": "I"}, {"id": "b", "structure": "depot", "length_m": 600, "shared_route": "trench"}]}`

// roofInput has arrays whose cables are longer than the critical length of some kinds of building only, 115, 200 and 450 m divided
// by N_G (IEC 60364-7-712), and a line whose data go with both kinds of current.
const roofInput = `{"name": "Invented roof", "location": {"latitude": -3.1, "longitude": 36.2}, "flash_density": {"ground_flashes_per_km2_year": 10},
	"structures": [{"id": "roof", "length_m": 6, "width_m": 4, "height_m": 3, "surroundings": "higher_objects", "occupancy": "other", "lps": "none", "natural_lps": false, "earthing": {"connection": "measured", "resistance_ohm": 8}}],
	"lines": [{"id": "short", "structure": "roof", "installation": "buried", "length_m": 15, "electrical": {"current": "dc", "origin": "photovoltaic", "open_circuit_v": 420, "building": "dwelling"}},
		{"id": "long", "structure": "roof", "installation": "buried", "length_m": 30, "electrical": {"current": "dc", "origin": "photovoltaic", "open_circuit_v": 420, "building": "service"}},
		{"id": "load", "structure": "roof", "installation": "buried", "length_m": 30, "electrical": {"current": "dc", "nominal_v": 230, "short_circuit_ka": 2}}]}`

// pricedInput needs little, so that the cheapest measures count.
const pricedInput = `{"name": "Invented chalet", "location": {"latitude": -3.1, "longitude": 36.2}, "flash_density": {"ground_flashes_per_km2_year": 10},
	"measure_costs": {"currency": "XTS", "lps": {"IV": 1500, "III": 1900, "II": 2600, "I": 3400}, "bonding_spd": {"III-IV": 110, "II": 170, "I": 260},
		"coordinated_spd": {"III-IV": 110, "II": 170, "I": 260}, "fire_protection": {"manual": 9000, "automatic": 24000}, "warning_notices": 15, "insulation": 130},
	"structures": [{"id": "chalet", "length_m": 10, "width_m": 8, "height_m": 5, "occupancy": "dwelling", "zones": [{"id": "z", "fire_risk": "low", "surface": "wood", "values": {"building": 40000, "contents": 9000, "systems": 4000}}]}],
	"lines": [{"id": "supply", "structure": "chalet", "length_m": 500, "installation": "buried"}]}`
