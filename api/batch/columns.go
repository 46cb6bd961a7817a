package batch

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"levinward/api/wire"
)

// MaxLines is the number of lines that one row can describe.
const MaxLines = 6

// Column is one entry of the dictionary: what a column of a file, or a property of a feature, means.
type Column struct {
	Name     string // of the first, where the column repeats: line_1_length_m
	Meaning  string
	Unit     string // empty: a text or a number without unit
	Allowed  string
	Default  string // what an empty cell is taken as; empty: nothing
	Example  string
	Required bool
	Repeats  int // 6: the same with line_2_ to line_6_ in place of line_1_; 1: once

	part     part
	path     []string // where the value stands in the object of its part
	field    wire.Field
	template bool // whether it stands in the template
}

// part is the object of an input that a column belongs to.
type part int

const (
	ofSite part = iota
	ofStructure
	ofZone
	ofLine
	structurePreset
	linePreset
	noLines
	remark
)

// partTypes are the documents that columns write into.
var partTypes = map[part]reflect.Type{
	ofSite:      reflect.TypeFor[wire.Input](),
	ofStructure: reflect.TypeFor[wire.Structure](),
	ofZone:      reflect.TypeFor[wire.Zone](),
	ofLine:      reflect.TypeFor[wire.Line](),
}

// ColumnAt is the column that says what stands at a place of an input (RFC 6901 pointer), empty where none does.
func ColumnAt(pointer string) string {
	for i := range dictionary {
		c := &dictionary[i]
		if c.path == nil {
			continue
		}
		tail := "/" + strings.Join(c.path, "/")
		switch c.part {
		case ofSite:
			if pointer == tail {
				return c.Name
			}
		case ofStructure:
			if pointer == "/structures/0"+tail {
				return c.Name
			}
		case ofZone:
			if pointer == "/structures/0/zones/0"+tail {
				return c.Name
			}
		case ofLine:
			for n := range MaxLines {
				if pointer == fmt.Sprintf("/lines/%d%s", n, tail) {
					return strings.Replace(c.Name, "line_1_", fmt.Sprintf("line_%d_", n+1), 1)
				}
			}
		}
	}
	return ""
}

// dictionary holds the columns with what package wire allows for the field behind each.
var dictionary = complete([]Column{
	{Name: "reference", path: at("reference"), template: true, Example: "VC-01", Meaning: "Your own number for the site; the next import of the same number is the same site. It may stand once in a file: a later row with the same number is refused, naming the row where it stood first."},
	{Name: "name", path: at("name"), template: true, Required: true, Example: "Invented: school, Vuldre crossing", Meaning: "Name of the site."},
	{Name: "latitude", path: at("location", "latitude"), template: true, Required: true, Unit: "degrees", Example: "-4.052", Meaning: "Latitude on WGS 84 in decimal degrees, south negative. GeoJSON: left out, the geometry tells it."},
	{Name: "longitude", path: at("location", "longitude"), template: true, Required: true, Unit: "degrees", Example: "84.618", Meaning: "Longitude on WGS 84 in decimal degrees, west negative. GeoJSON: left out, the geometry tells it."},
	{Name: "ground_flashes_per_km2_year", path: at("flash_density", "ground_flashes_per_km2_year"), template: true, Unit: "1/(km2 a)", Example: "6.5", Meaning: "N_G, ground flash density. Exactly one of this, thunderstorm_days_per_year and flash_density_map."},
	{Name: "thunderstorm_days_per_year", path: at("flash_density", "thunderstorm_days_per_year"), template: true, Unit: "1/a", Example: "65", Meaning: "T_D, days with thunder; N_G is derived from it."},
	{Name: "thunderstorm_days_relation", path: at("flash_density", "relation"), Example: "power", Meaning: "How N_G follows from T_D: linear 0.1 T_D, power 0.04 T_D^1.25. Empty: the one with the higher result."},
	{Name: "flash_density_map", path: at("flash_density", "map"), Example: "", Meaning: "Id of an uploaded map that N_G is taken from."},
	{Name: "flash_density_source", path: at("flash_density", "source"), template: true, Example: "invented", Meaning: "Where N_G or T_D comes from."},
	{Name: "flash_density_year", path: at("flash_density", "year"), template: true, Example: "2024", Meaning: "Year of the newest data behind it; a review is due when they are more than five years old."},
	{Name: "flash_density_standard_error", path: at("flash_density", "standard_error"), Unit: "1/(km2 a)", Example: "0.9", Meaning: "Standard error of N_G."},
	{Name: "flash_density_lower_90", path: at("flash_density", "lower_90"), Unit: "1/(km2 a)", Example: "", Meaning: "Lower end of an interval that holds N_G with 90 %, in place of the standard error."},
	{Name: "flash_density_upper_90", path: at("flash_density", "upper_90"), Unit: "1/(km2 a)", Example: "", Meaning: "Upper end of that interval."},
	{Name: "environment", path: at("environment"), template: true, Example: "rural", Meaning: "C_E, surroundings of the lines. Empty: rural."},
	{Name: "soil_resistivity_ohm_m", path: at("soil_resistivity_ohm_m"), template: true, Unit: "ohm m", Example: "300", Meaning: "rho, resistivity of the soil. Empty: not known."},
	{Name: "altitude_m", path: at("altitude_m"), Unit: "m", Example: "1400",
		Meaning: "Altitude above the sea. Empty: not known."},

	{Name: "structure_preset", part: structurePreset, template: true, Example: "", Meaning: "A type of building that your organisation has defined; every cell that is filled in counts instead of what the type says."},
	{Name: "structure_id", part: ofStructure, path: at("id"), Example: "school", Meaning: "Name of the building. Empty: that of the type, otherwise building."},
	{Name: "length_m", part: ofStructure, path: at("length_m"), template: true, Unit: "m", Example: "24", Meaning: "L, length of the building. Needed unless the type of building says it; left out where the geometry is a polygon."},
	{Name: "width_m", part: ofStructure, path: at("width_m"), template: true, Unit: "m", Example: "8", Meaning: "W, width of the building. Needed as the length is."},
	{Name: "height_m", part: ofStructure, path: at("height_m"), template: true, Unit: "m", Example: "4.2", Meaning: "H, height of the building. Needed unless the type of building says it."},
	{Name: "protrusion_height_m", part: ofStructure, path: at("protrusion_height_m"), Unit: "m", Example: "7.5", Meaning: "H_P, height of the highest protrusion above ground. Empty: none."},
	{Name: "surroundings", part: ofStructure, path: at("surroundings"), template: true, Example: "isolated", Meaning: "C_D, position among other objects. Empty: isolated."},
	{Name: "occupancy", part: ofStructure, path: at("occupancy"), template: true, Example: "school", Meaning: "Use of the building; gives the typical mean losses. Empty: the highest loss without explosion."},
	{Name: "lps", part: ofStructure, path: at("lps"), template: true, Example: "none", Meaning: "P_B, class of the lightning protection system in place. Empty: none."},
	{Name: "natural_lps", part: ofStructure, path: at("natural_lps"), Example: "no", Meaning: "Whether a bonded and earthed metal or reinforced-concrete frame acts as an LPS. Empty: no."},
	{Name: "screen_mesh_m", part: ofStructure, path: at("screen_mesh_m"), Unit: "m", Example: "5", Meaning: "w_m1, mesh width of the outer screen; 0: a continuous metal sheet. Empty: no screen."},
	{Name: "failure_endangers_life", part: ofStructure, path: at("failure_endangers_life"), Example: "no", Meaning: "Whether failure of internal systems at once endangers life. Empty: yes for a hospital, otherwise no."},
	{Name: "explosion_zone", part: ofStructure, path: at("explosion_zone"), Example: "none", Meaning: "Zones with explosive atmosphere. Empty: none."},
	{Name: "public_service", part: ofStructure, path: at("public_service"), Example: "none", Meaning: "Service to the public that the building provides. Empty: none."},
	{Name: "cultural_heritage", part: ofStructure, path: at("cultural_heritage"), Example: "no", Meaning: "Whether the building or what is in it is irreplaceable. Empty: no."},
	{Name: "persons", part: ofStructure, path: at("persons"), template: true, Unit: "persons", Example: "120", Meaning: "n_t, persons in the building. Empty: not known."},
	{Name: "earth_connection", part: ofStructure, path: at("earthing", "connection"), Example: "measured", Meaning: "What is known of the earth connection. Empty: unknown, or measured where its resistance is given; electrode only by a type of building."},
	{Name: "earth_resistance_ohm", part: ofStructure, path: at("earthing", "resistance_ohm"), template: true, Unit: "ohm", Example: "", Meaning: "R, measured resistance of the earth connection."},
	{Name: "earth_common_electrode", part: ofStructure, path: at("earthing", "common_electrode"), Example: "yes",
		Meaning: "Whether array frame, battery, generator, mast and LPS are on one electrode. Empty: unknown."},
	{Name: "earth_measured_on", part: ofStructure, path: at("earthing", "measured_on"), Example: "2026-03-01",
		Meaning: "Day of the measurement of the earth connection."},
	{Name: "earth_measured_by", part: ofStructure, path: at("earthing", "measured_by"), Example: "Invented Electric",
		Meaning: "Who measured the earth connection."},
	{Name: "down_conductors", part: ofStructure, path: at("down_conductors"), Example: "4",
		Meaning: "Down-conductors of the LPS. Empty: not known, fewer than four."},
	{Name: "separation_along_m", part: ofStructure, path: at("separation", "along_m"), Unit: "m", Example: "8",
		Meaning: "l, length along the LPS to the next bonding. Empty: no distance is computed."},
	{Name: "separation_through", part: ofStructure, path: at("separation", "through"), Example: "air",
		Meaning: "k_m, what lies between the LPS and what it may flash over to. Empty: solid."},
	{Name: "separation_clear_m", part: ofStructure, path: at("separation", "clear_m"), Unit: "m", Example: "0.6",
		Meaning: "Distance that there is between them. Empty: not known."},
	{Name: "next_inspection", part: ofStructure, path: at("next_inspection"), Example: "2027-03-01",
		Meaning: "Day of the next inspection of the protection. Empty: none is set."},

	{Name: "hours_per_year", part: ofZone, path: at("hours_per_year"), template: true, Unit: "h/a", Example: "2000", Meaning: "t_z, hours per year in which the persons are in the building. Empty: 8760."},
	{Name: "surface", part: ofZone, path: at("surface"), template: true, Example: "concrete", Meaning: "r_t, floor. Empty: concrete."},
	{Name: "fire_risk", part: ofZone, path: at("fire_risk"), template: true, Example: "ordinary", Meaning: "r_f, risk of fire: high above 800 MJ/m2 or a combustible structure or roof, low below 400 MJ/m2. Empty: ordinary."},
	{Name: "fire_protection", part: ofZone, path: at("fire_protection"), template: true, Example: "none", Meaning: "r_p, provisions against fire in place. Empty: none."},
	{Name: "special_hazard", part: ofZone, path: at("special_hazard"), template: true, Example: "low_panic", Meaning: "h_z, panic and evacuation. Empty: none."},
	{Name: "value_animals", part: ofZone, path: at("values", "animals"), Unit: "money", Example: "0", Meaning: "c_a, value of the animals."},
	{Name: "value_building", part: ofZone, path: at("values", "building"), Unit: "money", Example: "60000", Meaning: "c_b, value of the building."},
	{Name: "value_contents", part: ofZone, path: at("values", "contents"), Unit: "money", Example: "9000", Meaning: "c_c, value of the contents."},
	{Name: "value_systems", part: ofZone, path: at("values", "systems"), Unit: "money", Example: "7500", Meaning: "c_s, value of the internal systems and what they serve."},

	{Name: "no_lines", part: noLines, Example: "no", Meaning: "yes: no line enters the building, neither supply nor data, and every cell of a line is empty. Otherwise a building without any line described is taken to have an aerial supply line of 1000 m."},
	{Name: "line_1_preset", part: linePreset, template: true, Example: "", Meaning: "A type of line that your organisation has defined; every cell that is filled in counts instead of what the type says."},
	{Name: "line_1_id", part: ofLine, path: at("id"), Example: "village", Meaning: "Name of the line, different from that of the others. Empty: that of the type, otherwise line-1."},
	{Name: "line_1_service", part: ofLine, path: at("service"), template: true, Example: "low_voltage", Meaning: "C_T, what the line carries. Empty: low_voltage."},
	{Name: "line_1_installation", part: ofLine, path: at("installation"), template: true, Example: "aerial", Meaning: "C_I, how the line is laid. Empty: aerial."},
	{Name: "line_1_length_m", part: ofLine, path: at("length_m"), template: true, Unit: "m", Example: "640", Meaning: "L_L, length of the line to the next node. Empty: 1000."},
	{Name: "line_1_withstand_kv", part: ofLine, path: at("withstand_kv"), Unit: "kV", Example: "2.5", Meaning: "U_W, rated impulse withstand voltage of the equipment on it. Empty: by the kind of line and its voltage."},
	{Name: "line_1_shield", part: ofLine, path: at("shield", "type"), Example: "none", Meaning: "Screen of the line. Empty: none."},
	{Name: "line_1_shield_bonded", part: ofLine, path: at("shield", "bonded"), Example: "no", Meaning: "Whether the shield is bonded to the bar of the equipment. Empty: no."},
	{Name: "line_1_shield_resistance_ohm_per_km", part: ofLine, path: at("shield", "resistance_ohm_per_km"), Unit: "ohm/km", Example: "4", Meaning: "R_S, resistance of the shield. Empty: counts as unshielded."},
	{Name: "line_1_shield_conductor_resistance_ohm_per_km", part: ofLine, path: at("shield",
		"conductor_resistance_ohm_per_km"), Unit: "ohm/km", Example: "1.2",
		Meaning: "R_C, resistance of one conductor inside the shield. Empty: 0, no relief by the shield."},
	{Name: "line_1_bonding_spd", part: ofLine, path: at("bonding_spd"), Example: "none", Meaning: "P_EB, bonding SPDs in place. Empty: none."},
	{Name: "line_1_coordinated_spd", part: ofLine, path: at("coordinated_spd"), Example: "none", Meaning: "P_SPD, coordinated SPDs in place. Empty: none."},
	{Name: "line_1_far_end_earth", part: ofLine, path: at("far_end_earth"), Example: "own",
		Meaning: "Earth at the far end. Empty: by what else is known of the line."},
	{Name: "line_1_far_electrode", part: ofLine, path: at("far_electrode"), Example: "village",
		Meaning: "Name of the electrode at the far end; lines with one name share it. Empty: one of its own."},
	{Name: "line_1_far_end", part: ofLine, path: at("far_end"), Example: "network",
		Meaning: "What stands at the far end. Empty: by what feeds the line, otherwise network."},
	{Name: "line_1_far_withstand_kv", part: ofLine, path: at("far_withstand_kv"), Unit: "kV", Example: "2.5",
		Meaning: "U_W, rated impulse withstand voltage of the equipment at the far end. Empty: from the tables for it."},
	{Name: "line_1_board", part: ofLine, path: at("board"), Example: "main",
		Meaning: "Name of the board that the line ends on; lines with one name share one set of devices. Empty: a board of its own."},
	{Name: "line_1_branches_from", part: ofLine, path: at("branches_from"), Example: "",
		Meaning: "Name of the line that this one branches from. Empty: not a branch."},
	{Name: "line_1_end_in_explosive_zone", part: ofLine, path: at("end_in_explosive_zone"), Example: "no",
		Meaning: "Whether the end of the line lies in an explosive atmosphere. Empty: yes where the building has one."},
	{Name: "line_1_current", part: ofLine, path: at("electrical", "current"), Example: "ac", Meaning: "Kind of current. Empty: dc where data of a direct current line are given, otherwise ac."},
	{Name: "line_1_system", part: ofLine, path: at("electrical", "system"), Example: "TT", Meaning: "Earthing system of an a.c. line. Empty: TT."},
	{Name: "line_1_nominal_v", part: ofLine, path: at("electrical", "nominal_v"), Unit: "V", Example: "230", Meaning: "U_0, nominal voltage line to neutral, for one phase and for three; pole to pole for d.c. Empty: 230 for a.c."},
	{Name: "line_1_max_operating_v", part: ofLine, path: at("electrical", "max_operating_v"), Unit: "V", Example: "253", Meaning: "Highest continuous operating voltage; for a battery that of charging."},
	{Name: "line_1_phases", part: ofLine, path: at("electrical", "phases"), Example: "1", Meaning: "Number of phases of an a.c. line; 2 is split phase. Empty: 1."},
	{Name: "line_1_neutral", part: ofLine, path: at("electrical", "neutral"), Example: "yes", Meaning: "Whether an a.c. line has a neutral conductor. Empty: yes."},
	{Name: "line_1_source_connected", part: ofLine, path: at("electrical", "source_connected"), Example: "yes", Meaning: "Whether a source is really connected to the line. Empty: yes."},
	{Name: "line_1_short_circuit_ka", part: ofLine, path: at("electrical", "short_circuit_ka"), Unit: "kA", Example: "1.2", Meaning: "I_k, prospective short-circuit current at the SPD."},
	{Name: "line_1_source", part: ofLine, path: at("electrical", "source"), Example: "network",
		Meaning: "What feeds an a.c. line. Empty: unknown, which counts as the network."},
	{Name: "line_1_source_phases", part: ofLine, path: at("electrical", "source_phases"), Example: "3",
		Meaning: "Number of phases of the source, 2 for split phase. Empty: 3, or 2 where there are 2 phases."},
	{Name: "line_1_changeover", part: ofLine, path: at("electrical", "changeover"), Example: "none",
		Meaning: "Where sources are changed over, seen from the SPD. Empty: none, as a row has one source."},
	{Name: "line_1_neutral_earth_bond", part: ofLine, path: at("electrical", "neutral_earth_bond"), Example: "source",
		Meaning: "Where the neutral and the protective conductor are joined. Empty: unknown."},
	{Name: "line_1_residual_current_device", part: ofLine, path: at("electrical", "residual_current_device"), Example: "behind_spd",
		Meaning: "Where a residual-current device stands, seen from the SPD. Empty: not known, which counts as behind_spd."},
	{Name: "line_1_connection_type", part: ofLine, path: at("electrical", "connection_type"), Example: "CT2",
		Meaning: "Wanted connection type of IEC 60364-5-53 clause 534. Empty: by the earthing system."},
	{Name: "line_1_waveform", part: ofLine, path: at("electrical", "waveform"), Example: "sinusoidal",
		Meaning: "Form of an a.c. voltage; pwm is the output of a drive. Empty: sinusoidal."},
	{Name: "line_1_voltage_variation", part: ofLine, path: at("electrical", "voltage_variation"), Example: "normal",
		Meaning: "How far the voltage varies; wide: more than 10 %. Empty: normal."},
	{Name: "line_1_origin", part: ofLine, path: at("electrical", "origin"), Example: "photovoltaic", Meaning: "What feeds a d.c. line. Empty: photovoltaic where data of an array are given, otherwise load."},
	{Name: "line_1_open_circuit_v", part: ofLine, path: at("electrical", "open_circuit_v"), Unit: "V", Example: "150", Meaning: "U_OC,STC, open-circuit voltage of the array."},
	{Name: "line_1_temperature_coefficient_per_k", part: ofLine, path: at("electrical", "temperature_coefficient_per_k"), Unit: "1/K", Example: "-0.0028", Meaning: "alpha, temperature coefficient of U_OC as a fraction, negative: -0.28 % is -0.0028."},
	{Name: "line_1_lowest_temperature_c", part: ofLine, path: at("electrical", "lowest_temperature_c"), Unit: "degrees C", Example: "2", Meaning: "T_min, lowest temperature of the array in the light."},
	{Name: "line_1_short_circuit_a", part: ofLine, path: at("electrical", "short_circuit_a"), Unit: "A", Example: "18", Meaning: "I_SC,STC, short-circuit current of the array."},
	{Name: "line_1_equipment_max_input_v", part: ofLine, path: at("electrical", "equipment_max_input_v"), Unit: "V", Example: "200", Meaning: "Highest input voltage of the equipment."},
	{Name: "line_1_equipment", part: ofLine, path: at("electrical", "equipment"), Example: "charge_controller", Meaning: "Equipment at the end of the line; gives U_W where it is not stated. Empty: other."},
	{Name: "line_1_building", part: ofLine, path: at("electrical", "building"), Example: "service", Meaning: "Kind of photovoltaic installation; gives L_crit. Empty: dwelling."},
	{Name: "line_1_array_place", part: ofLine, path: at("electrical", "array_place"), Example: "on_building",
		Meaning: "Where the array stands. Empty: not known; the larger current counts."},
	{Name: "line_1_separation_distance_kept", part: ofLine, path: at("electrical", "separation_distance_kept"), Example: "no",
		Meaning: "Whether the array keeps the separation distance to the LPS. Empty: no where there is an LPS."},
	{Name: "line_1_strings", part: ofLine, path: at("electrical", "strings"), Example: "2",
		Meaning: "Strings of the array in parallel. Empty: not known, which counts as 1."},
	{Name: "line_1_combiner_boxes", part: ofLine, path: at("electrical", "combiner_boxes"), Example: "1",
		Meaning: "Combiner boxes at the array. Empty: 0."},
	{Name: "line_1_battery_can_feed", part: ofLine, path: at("electrical", "battery_can_feed"), Example: "no",
		Meaning: "Whether a battery can feed back into a photovoltaic line. Empty: not known."},
	{Name: "line_1_battery_max_v", part: ofLine, path: at("electrical", "battery_max_v"), Unit: "V", Example: "58",
		Meaning: "Highest voltage that can come back from the battery. Empty: not known."},
	{Name: "line_1_battery_short_circuit_ka", part: ofLine, path: at("electrical", "battery_short_circuit_ka"), Unit: "kA", Example: "4",
		Meaning: "Short-circuit current that can come back from the battery. Empty: not known."},
	{Name: "line_1_cable", part: ofLine, path: at("electrical", "cable"), Example: "pairs",
		Meaning: "Kind of a telecommunication cable. Empty: drop_wire where the line is aerial and without screen, otherwise pairs."},
	{Name: "line_1_pairs", part: ofLine, path: at("electrical", "pairs"), Example: "10",
		Meaning: "Pairs of a telecommunication cable. Empty: not known, which counts as 1."},
	{Name: "line_1_equipment_distance_m", part: ofLine, path: at("electrical", "equipment_distance_m"), Unit: "m", Example: "3", Meaning: "Cable between SPD and equipment. Empty: up to 10."},
	{Name: "line_1_lead_length_m", part: ofLine, path: at("electrical", "lead_length_m"), Unit: "m", Example: "0.5", Meaning: "Both connecting leads of the SPD together. Empty: 0.5."},
	{Name: "line_1_second_device", part: ofLine, path: at("electrical", "second_device"), Example: "no",
		Meaning: "Whether a second device stands at the equipment. Empty: not known."},
	{Name: "line_1_equipment_wiring", part: ofLine, path: at("electrical", "equipment_wiring"), Example: "unshielded",
		Meaning: "Wiring between SPD and equipment. Empty: unshielded."},
	{Name: "remark", part: remark, template: true, Example: "Invented example: replace this row", Meaning: "For your own use in the file; it is not read."},
})

// Columns of which each row needs exactly one, and those it needs all of.
var (
	densityColumns = []string{"ground_flashes_per_km2_year", "thunderstorm_days_per_year", "flash_density_map"}
	sizeColumns    = []string{"length_m", "width_m", "height_m"}
)

func at(path ...string) []string { return path }

// A truth value is written in words in a cell.
const trueOrFalse, yesOrNo = "true or false", "yes or no"

// emptyMeans begins the end of a meaning: what an empty cell is taken as.
const emptyMeans = " Empty: "

// complete adds what package wire knows of the field behind each column.
func complete(columns []Column) []Column {
	for i := range columns {
		c := &columns[i]
		c.Repeats = 1
		c.Meaning, c.Default, _ = strings.Cut(c.Meaning, emptyMeans)
		c.Default = strings.TrimSuffix(c.Default, ".")
		if c.part == ofLine || c.part == linePreset {
			c.Repeats = MaxLines
		}
		switch c.part {
		case structurePreset, linePreset:
			c.Allowed = "the name of a type that is defined"
		case noLines:
			c.field.Type = reflect.TypeFor[bool]()
			c.Allowed = strings.Replace(c.field.Allowed(), trueOrFalse, yesOrNo, 1)
		case remark:
			c.Allowed = "any text"
		default:
			c.field = fieldAt(partTypes[c.part], c.path)
			c.Allowed = strings.Replace(c.field.Allowed(), trueOrFalse, yesOrNo, 1)
		}
	}
	return columns
}

// fieldAt finds a field of a document. A column without a field is a fault of the dictionary.
func fieldAt(t reflect.Type, path []string) wire.Field {
	for i, name := range path {
		fields := wire.Fields(t)
		n := slices.IndexFunc(fields, func(f wire.Field) bool { return f.Name == name })
		if n < 0 {
			panic(fmt.Sprintf("batch: %s has no field %s", t, strings.Join(path, "/")))
		}
		if i == len(path)-1 {
			return fields[n]
		}
		t = fields[n].Type
	}
	panic("batch: a column without a path")
}

// slot is a column of a file: an entry of the dictionary, and for a line which one.
type slot struct {
	*Column
	name string
	line int // from 1; 0: not of a line
}

// slots are all columns that a file can have, by name.
var slots = makeSlots()

func makeSlots() map[string]*slot {
	m := map[string]*slot{}
	for i := range dictionary {
		c := &dictionary[i]
		if c.Repeats == 1 {
			m[c.Name] = &slot{Column: c, name: c.Name}
			continue
		}
		for n := 1; n <= c.Repeats; n++ {
			name := lineColumn(c.Name, n)
			m[name] = &slot{Column: c, name: name, line: n}
		}
	}
	return m
}

// lineColumn is the name of a column of line 1 for line n.
func lineColumn(name string, n int) string {
	return fmt.Sprintf("line_%d_%s", n, strings.TrimPrefix(name, "line_1_"))
}
