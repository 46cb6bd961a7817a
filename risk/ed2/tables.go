package ed2

import "levinward/risk/trace"

const (
	std  = "IEC 62305-2:2010 "
	read = trace.SecondarySource // in a trade handbook of 2014, university work on NBR 5419-2 or municipal risk sheets
	mem  = trace.Memory          // of the standard, not checked against a copy
	rule = trace.CommonPractice  // this project's choice where the standard is silent, on the safe side
)

// row is one line of a table.
func row(p trace.Provenance, text string, values ...float64) trace.Row {
	return trace.Row{Text: text, Values: values, Provenance: p}
}

// remark adds to a row that other recollections of its values differ, or that the printed table does not have it.
func remark(r trace.Row, text string) trace.Row {
	r.Remark = text
	return r
}

// Tables are laid out as printed where the standard prints one; the order of
// rows is that of the named values in package risk.

var locationFactor = &trace.Table{Number: "A.1", Title: "Structure location factor", Clause: std + "Table A.1",
	Symbols: []string{"C_D"}, Rows: []trace.Row{
		row(read, "surrounded by higher objects", 0.25),
		row(read, "surrounded by objects of the same height or smaller", 0.5),
		row(read, "isolated: no other objects in the vicinity", 1),
		row(read, "isolated on a hilltop or knoll", 2),
	}}

var installationFactor = &trace.Table{Number: "A.2", Title: "Line installation factor", Clause: std + "Table A.2",
	Symbols: []string{"C_I"}, Rows: []trace.Row{
		row(read, "aerial", 1),
		row(read, "buried", 0.5),
		row(read, "buried, entirely within a meshed earth termination", 0.01),
	}}

var typeFactor = &trace.Table{Number: "A.3", Title: "Line type factor", Clause: std + "Table A.3", Symbols: []string{"C_T"},
	Rows: []trace.Row{
		row(read, "low-voltage power", 1),
		row(mem, "high-voltage power with HV/LV transformer", 0.2),
		row(read, "telecommunication, data", 1),
	}}

var environmentFactor = &trace.Table{Number: "A.4", Title: "Line environmental factor", Clause: std + "Table A.4",
	Symbols: []string{"C_E"}, Rows: []trace.Row{
		row(mem, "rural", 1),
		row(mem, "suburban", 0.5),
		row(read, "urban", 0.1),
		row(mem, "urban with buildings higher than 20 m", 0.01),
	}}

// shockTable rows: none, then one per measure in the order of risk.ShockMeasures.
var shockStructure = &trace.Table{Number: "B.1",
	Title:  "Probability that a flash to the structure causes shock by touch and step voltages; several measures: their product",
	Clause: std + "Table B.1", Symbols: []string{"P_TA"}, Rows: []trace.Row{
		row(read, "no measure", 1),
		row(read, "warning notices", 1e-1),
		row(read, "electrical insulation of exposed parts", 1e-2),
		row(read, "effective equipotentialization of the soil", 1e-2),
		row(read, "physical restrictions", 0),
		row(read, "building frame used as down-conductor", 0),
	}}

var physicalDamage = &trace.Table{Number: "B.2", Title: "Probability that a flash to the structure causes physical damage",
	Clause: std + "Table B.2", Symbols: []string{"P_B"}, Rows: []trace.Row{
		row(read, "not protected by an LPS", 1),
		row(mem, "LPS class IV", 0.2),
		row(mem, "LPS class III", 0.1),
		row(mem, "LPS class II", 0.05),
		row(mem, "LPS class I", 0.02),
		row(mem, "class I air termination, continuous metal or reinforced-concrete frame as natural down-conductor", 0.01),
		row(mem, "metal roof or air termination protecting all roof installations, with such a frame", 0.001),
	}}

var coordinatedSPD = &trace.Table{Number: "B.3",
	Title: "Probability that internal systems fail although a coordinated SPD system is installed", Clause: std + "Table B.3",
	Symbols: []string{"P_SPD"}, Rows: []trace.Row{
		row(mem, "no coordinated SPD system", 1),
		row(mem, "LPL III-IV", 0.05),
		row(mem, "LPL II", 0.02),
		row(mem, "LPL I", 0.01),
	}}

var lineConditions = &trace.Table{Number: "B.4", Title: "Factors for shielding, earthing and isolation of the external line",
	Clause: std + "Table B.4", Symbols: []string{"C_LD", "C_LI"}, Rows: []trace.Row{
		row(read, "aerial, unshielded", 1, 1),
		row(read, "buried, unshielded", 1, 1),
		row(read, "power line with multi-grounded neutral", 1, 0.2),
		row(read, "shielded, buried; shield not bonded to the equipment's bonding bar", 1, 0.3),
		row(read, "shielded, aerial; shield not bonded to the equipment's bonding bar", 1, 0.1),
		row(read, "shielded, buried; shield bonded to the equipment's bonding bar", 1, 0),
		row(read, "shielded, aerial; shield bonded to the equipment's bonding bar", 1, 0),
		row(read, "lightning protective cable, or wiring in protective duct, metal conduit or tube; bonded", 0, 0),
		row(read, "no external line", 0, 0),
		row(mem, "any, with isolating interface to IEC 62305-4", 0, 0),
	}}

var wiringFactor = &trace.Table{Number: "B.5", Title: "Routing and shielding of internal wiring", Clause: std + "Table B.5",
	Symbols: []string{"K_S3"}, Rows: []trace.Row{
		row(mem, "unshielded, no routing precaution (loop about 50 m2)", 1),
		row(mem, "unshielded, large loops avoided (about 10 m2)", 0.2),
		row(mem, "unshielded, loops avoided (about 0.5 m2)", 0.01),
		row(mem, "shielded cables, or metal conduit bonded at both ends", 1e-4),
	}}

var shockLine = &trace.Table{Number: "B.6", Title: "Probability that a flash to a line causes shock by touch voltages; " +
	"several measures: their product", Clause: std + "Table B.6", Symbols: []string{"P_TU"}, Rows: []trace.Row{
	row(mem, "no measure", 1),
	row(mem, "warning notices", 1e-1),
	row(mem, "electrical insulation", 1e-2),
	remark(row(rule, "equipotentialization of the soil: no effect on line flashes", 1),
		"row added: a measure of Table B.1, without effect here"),
	row(mem, "physical restrictions", 0),
}}

var bondingSPD = &trace.Table{Number: "B.7", Title: "Probability that a flash to a line passes the lightning equipotential bonding",
	Clause: std + "Table B.7", Symbols: []string{"P_EB"}, Rows: []trace.Row{
		row(read, "no SPD", 1),
		row(mem, "LPL III-IV", 0.05),
		row(mem, "LPL II", 0.02),
		row(mem, "LPL I", 0.01),
	}}

var withstandColumns = []float64{1, 1.5, 2.5, 4, 6} // U_W, kV

var lineDamage = &trace.Table{Number: "B.8", Title: "Probability that a flash to the line makes internal systems fail, by " +
	"shield resistance and withstand", Clause: std + "Table B.8", Symbols: []string{"1 kV", "1.5 kV", "2.5 kV", "4 kV", "6 kV"},
	Rows: []trace.Row{
		row(mem, "unshielded, or shield not bonded to the equipment's bar", 1, 1, 1, 1, 1),
		row(mem, "shield bonded, 5 < R_S <= 20 ohm/km", 1, 1, 0.95, 0.9, 0.8),
		row(mem, "shield bonded, 1 < R_S <= 5 ohm/km", 0.9, 0.8, 0.6, 0.3, 0.1),
		row(mem, "shield bonded, R_S <= 1 ohm/km", 0.6, 0.4, 0.2, 0.04, 0.02),
	}}

var nearLineDamage = &trace.Table{Number: "B.9",
	Title: "Probability that a flash near the line makes internal systems fail, by withstand", Clause: std + "Table B.9",
	Symbols: []string{"1 kV", "1.5 kV", "2.5 kV", "4 kV", "6 kV"}, Rows: []trace.Row{
		row(mem, "power line", 1, 0.6, 0.3, 0.16, 0.1),
		row(mem, "telecommunication line", 1, 0.5, 0.2, 0.08, 0.04),
	}}

// meanLoss holds the typical mean losses by occupancy, with one row for risk of explosion at the end.
// Column order: L1 L_T, L1 L_F, L4 L_F, L4 L_O. A dwelling takes 1e-1 for L1:
// the country house of Annex E is consistent with that value only.
var meanLoss = &trace.Table{Number: "C.2, C.12", Title: "Typical mean losses by type of structure", Clause: std +
	"Tables C.2 and C.12", Symbols: []string{"L_T", "L_F (L1)", "L_F (L4)", "L_O (L4)"}, Rows: []trace.Row{
	remark(row(rule, "not given: the highest without explosion", 1e-2, 1e-1, 0.5, 1e-2),
		"row added: the highest value of each column without explosion"),
	remark(row(mem, "dwelling, treated as a civic building for L1", 1e-2, 1e-1, 0.1, 1e-4),
		"row added: neither table names a dwelling; civic building for L1, among the others for L4"),
	row(mem, "school", 1e-2, 1e-1, 0.2, 1e-3),
	row(mem, "hospital", 1e-2, 1e-1, 0.5, 1e-2),
	row(mem, "hotel", 1e-2, 1e-1, 0.2, 1e-2),
	remark(row(mem, "civic building", 1e-2, 1e-1, 0.1, 1e-4), "row added: Table C.12 names no civic building; among the others for L4"),
	row(mem, "public entertainment", 1e-2, 5e-2, 0.2, 1e-3),
	row(mem, "church", 1e-2, 5e-2, 0.2, 1e-3),
	row(mem, "museum", 1e-2, 5e-2, 0.5, 1e-3),
	row(mem, "industrial", 1e-2, 2e-2, 0.5, 1e-2),
	row(mem, "commercial", 1e-2, 2e-2, 0.2, 1e-2),
	row(mem, "agricultural; for L1 among the others", 1e-2, 1e-2, 0.5, 1e-3),
	remark(row(mem, "office; for L1 as commercial", 1e-2, 2e-2, 0.2, 1e-2), "row added: Table C.2 names no office; commercial for L1"),
	row(mem, "other", 1e-2, 1e-2, 0.1, 1e-4),
	remark(row(rule, "clinic without operating theatre or intensive care, as hospital", 1e-2, 1e-1, 0.5, 1e-2), "row added: hospital is the nearest; failure is not taken to endanger life unless stated"),
	remark(row(rule, "boarding school, as hotel: people sleep there", 1e-2, 1e-1, 0.2, 1e-2), "row added: hotel is the nearest"),
	remark(row(rule, "workshop, as industrial", 1e-2, 2e-2, 0.5, 1e-2), "row added: industrial is the nearest"),
	remark(row(rule, "market hall, as public entertainment; L_O (L4) as commercial", 1e-2, 5e-2, 0.2, 1e-2), "row added: public entertainment is the nearest for its crowd, commercial for its goods"),
	remark(row(rule, "telecommunication hut, as industrial", 1e-2, 2e-2, 0.5, 1e-2), "row added: industrial is the nearest"),
	remark(row(rule, "pump house, as industrial", 1e-2, 2e-2, 0.5, 1e-2), "row added: industrial is the nearest"),
	row(mem, "risk of explosion", 1e-2, 1e-1, 1, 1e-1),
}}

const explosionLoss = 20 // row of meanLoss

var failureLoss = &trace.Table{Number: "C.2", Title: "Typical mean loss of human life by failure of internal systems", Clause: std +
	"Table C.2", Symbols: []string{"L_O"}, Rows: []trace.Row{
	row(mem, "risk of explosion", 1e-1),
	row(mem, "parts of a hospital other than intensive care and operating block (there 1e-2, to be given per zone), and other places where failure endangers life", 1e-3),
}}

var surfaceFactor = &trace.Table{Number: "C.3", Title: "Reduction of loss by the type of soil or floor", Clause: std + "Table C.3",
	Symbols: []string{"r_t"}, Rows: []trace.Row{
		row(read, "agricultural soil", 1e-2),
		row(read, "concrete", 1e-2),
		row(read, "marble", 1e-3),
		row(read, "ceramic", 1e-3),
		row(read, "gravel", 1e-4),
		row(read, "carpet", 1e-4),
		row(read, "asphalt", 1e-5),
		row(read, "linoleum", 1e-5),
		row(read, "wood", 1e-5),
	}}

var fireProvisions = &trace.Table{Number: "C.4", Title: "Reduction of loss by provisions against fire", Clause: std + "Table C.4",
	Symbols: []string{"r_p"}, Rows: []trace.Row{
		row(read, "none", 1),
		row(read, "extinguishers, manual installations or alarms, hydrants, fire compartments, escape routes", 0.5),
		row(mem, "automatic extinguishing or automatic alarm", 0.2),
		row(mem, "risk of explosion: provisions do not count", 1),
	}}

const explosionProvisions = 3 // row of fireProvisions

var fireFactor = &trace.Table{Number: "C.5", Title: "Reduction of loss by the risk of fire or explosion", Clause: std + "Table C.5",
	Symbols: []string{"r_f"}, Rows: []trace.Row{
		row(read, "no risk of fire", 0),
		row(read, "fire, low", 1e-3),
		row(read, "fire, ordinary", 1e-2),
		row(read, "fire, high", 1e-1),
		row(read, "explosion, zones 0, 20 and solid explosives", 1),
		row(read, "explosion, zones 1, 21", 1e-1),
		row(read, "explosion, zones 2, 22", 1e-3),
	}}

const explosionFire = 3 // added to risk.ExplosionZone: its row of fireFactor

var hazardFactor = &trace.Table{Number: "C.6", Title: "Increase of loss by a special hazard", Clause: std + "Table C.6",
	Symbols: []string{"h_z"}, Rows: []trace.Row{
		row(read, "none", 1),
		row(read, "low level of panic: at most two floors and 100 persons", 2),
		row(read, "average level of panic: 100 to 1000 persons", 5),
		row(read, "difficulty of evacuation", 5),
		row(mem, "high level of panic: over 1000 persons", 10),
	}}

// publicLoss rows follow risk.PublicSupply.
var publicLoss = &trace.Table{Number: "C.8", Title: "Typical mean losses of service to the public", Clause: std + "Table C.8",
	Symbols: []string{"L_F", "L_O"}, Rows: []trace.Row{
		remark(row(rule, "none", 0, 0), "row added: a structure that supplies no service to the public loses none"),
		row(mem, "gas, water, power supply", 1e-1, 1e-2),
		row(mem, "TV, telecommunication", 1e-2, 1e-3),
	}}

var heritageLoss = &trace.Table{Number: "C.10", Title: "Typical mean loss of cultural heritage", Clause: std + "Table C.10",
	Symbols: []string{"L_F"}, Rows: []trace.Row{
		row(mem, "museums, galleries", 1e-1),
	}}

var screenFactor = &trace.Table{Number: "B.5 text", Title: "Screens without a mesh width", Clause: std + "B.5",
	Symbols: []string{"K_S"}, Rows: []trace.Row{
		row(mem, "no screen", 1),
		row(mem, "continuous metal sheet of at least 0.1 mm", 1e-4),
	}}

// tolerable rows follow risk.Loss.
var tolerable = &trace.Table{Number: "4", Title: "Tolerable risk", Clause: std + "Table 4", Symbols: []string{"R_T"}, Rows: []trace.Row{
	row(read, "loss of human life or permanent injuries", 1e-5),
	row(read, "loss of service to the public", 1e-3),
	row(read, "loss of cultural heritage", 1e-4),
	row(read, "loss of economic value, where no cost data are available (IEC text)", 1e-3),
}}

var tables = []*trace.Table{
	tolerable,
	locationFactor, installationFactor, typeFactor, environmentFactor,
	shockStructure, physicalDamage, coordinatedSPD, lineConditions, wiringFactor, screenFactor, shockLine, bondingSPD, lineDamage,
	nearLineDamage,
	meanLoss, failureLoss, surfaceFactor, fireProvisions, fireFactor, hazardFactor, publicLoss, heritageLoss,
}
