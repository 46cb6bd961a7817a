package spd

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// The documents the tables come from. None was read in the original; the provenance of each row says
// whether the figure was read in a public secondary source or is from memory.
const (
	stdThreat  = "IEC 62305-1:2010 "
	stdSPD     = "IEC 60364-5-53 clause 534"
	stdSystem  = "IEC 62305-4:2010 Annex C"
	std443     = "IEC 60364-4-44 clause 443"
	std712     = "IEC 60364-7-712 clause 712.443"
	stdPV      = "CLC/TS 50539-12 "
	stdPVGuide = "IEC 61643-32"
	stdPower   = "IEC 61643-11"
	stdData    = "IEC 61643-21"
	stdTOV     = "IEC 61643-11:2011 Annex B"
	trade      = "common practice, no published source"
)

const (
	read     = trace.SecondarySource
	memory   = trace.Memory
	practice = trace.CommonPractice
)

// row is one line of a table.
func row(text string, p trace.Provenance, values ...float64) trace.Row {
	return trace.Row{Text: text, Values: values, Provenance: p}
}

// remark adds to a row that other recollections of its values differ, or that the printed table does not have it.
func remark(r trace.Row, text string) trace.Row {
	r.Remark = text
	return r
}

// Rows of tables that are printed from LPL I downwards.
func rowFromI(l risk.Level) int { return int(risk.LevelI - capped(l)) }

// Rows of tables that are printed from LPL III-IV upwards.
func rowFromIV(l risk.Level) int { return int(capped(l) - risk.LevelIIIIV) }

// capped takes LPL I for a level better than I: the tables end there.
func capped(l risk.Level) risk.Level { return min(l, risk.LevelI) }

var threat = &trace.Table{Number: "3", Title: "Maximum lightning parameters of the first positive impulse 10/350 by LPL",
	Clause: stdThreat + "Table 3", Symbols: []string{"I [kA]", "Q_short [C]", "W/R [MJ/ohm]"}, Rows: []trace.Row{
		row("I", read, 200, 100, 10),
		row("II", read, 150, 75, 5.6),
		row("III-IV", read, 100, 50, 2.5),
	}}

// Columns of the earthing impedances; Z of LPS class I, then II, then III-IV.
const (
	colZ1 = 1
	colZ  = 2
)

var earthing = &trace.Table{Number: "E.1", Title: "Conventional earthing impedances of external parts (Z_1) and of the earth " +
	"termination (Z, by class of LPS) by soil resistivity",
	Clause: stdThreat + "Table E.1", Symbols: []string{"rho [ohm m]", "Z_1 [ohm]", "Z, LPS class I [ohm]", "Z, LPS class II [ohm]",
		"Z, LPS class III-IV [ohm]"}, Rows: []trace.Row{
		row("up to 100 ohm m", memory, 100, 8, 4, 4, 4),
		row("200 ohm m", memory, 200, 11, 6, 6, 6),
		row("500 ohm m", memory, 500, 16, 10, 10, 10),
		row("1000 ohm m", memory, 1000, 22, 10, 15, 20),
		row("2000 ohm m", memory, 2000, 28, 10, 15, 40),
		row("3000 ohm m", memory, 3000, 35, 10, 15, 60),
	}}

// Columns of the two tables of surge currents.
const (
	colS3 = iota // flash to the line, 10/350
	colS4        // flash near the line, 8/20
	colS2        // flash near the structure, 8/20
	colS1        // flash to the structure, induced, 8/20
)

var surgesPower = &trace.Table{Number: "E.2", Title: "Expected surge currents on low-voltage lines, per conductor, by LPL",
	Clause: stdThreat + "Table E.2", Symbols: []string{"S3 10/350 [kA]", "S4 8/20 [kA]", "S2 8/20 [kA]", "S1 induced 8/20 [kA]"},
	Rows: []trace.Row{
		row("III-IV", memory, 5, 2.5, 0.1, 5),
		row("II", memory, 7.5, 3.75, 0.15, 7.5),
		row("I", memory, 10, 5, 0.2, 10),
	}}

var surgesTelecom = &trace.Table{Number: "E.3", Title: "Expected surge currents on telecommunication lines, per conductor, by LPL",
	Clause: stdThreat + "Table E.3", Symbols: []string{"S3 10/350 [kA]", "S4 as 8/20 [kA]", "S2 8/20 [kA]", "S1 induced 8/20 [kA]",
		"S4 10/350 [kA]"}, Rows: []trace.Row{
		remark(row("III-IV", memory, 1, 0.05, 0.1, 5, 0.01), "recollections differ: S4 0.035 kA in one column, perhaps of the 2006 edition"),
		remark(row("II", memory, 1.5, 0.075, 0.15, 7.5, 0.015), "recollections differ: S4 0.085 kA in one column, perhaps of the 2006 edition"),
		remark(row("I", memory, 2, 0.1, 0.2, 10, 0.02), "recollections differ: S4 0.16 kA in one column, perhaps of the 2006 edition"),
	}}

// Rows and columns of the clause minima.
const (
	rowPerMode = iota
	rowNPE1
	rowNPE3
)
const (
	colIn = iota
	colIimp
)

var minima = &trace.Table{Number: "minima", Title: "Smallest discharge currents of SPDs at the origin; I_imp where the " +
	"sharing is not computed",
	Clause: stdSPD, Symbols: []string{"I_n [kA]", "I_imp [kA]"}, Rows: []trace.Row{
		row("per mode of protection", read, 5, 12.5),
		row("N-PE in CT2, single-phase", memory, 10, 25),
		row("N-PE in CT2, three-phase", memory, 20, 50),
	}}

// pvFourOrMore is the number of rows down to those for four down-conductors or more, in both tables.
const pvFourOrMore = 3

var pvSwitching = &trace.Table{Number: "A.2", Title: "Discharge currents 10/350 of class I SPDs on the d.c. side of PV " +
	"systems, voltage-switching or combination, separation distance not kept",
	Clause: stdPV + "Table A.2", Symbols: []string{"each [kA]", "total [kA]"}, Rows: []trace.Row{
		row("fewer than four down-conductors, LPL I", read, 25, 50),
		row("fewer than four down-conductors, LPL II", read, 18.5, 37.5),
		row("fewer than four down-conductors, LPL III-IV", read, 12.5, 25),
		row("four down-conductors or more, LPL I", read, 12.5, 25),
		row("four down-conductors or more, LPL II", read, 9, 18),
		row("four down-conductors or more, LPL III-IV", read, 6.25, 12.5),
	}}

var pvLimiting = &trace.Table{Number: "A.2, limiting",
	Title:  "Discharge currents of class I SPDs on the d.c. side of PV systems, voltage-limiting, each; the total is twice as much",
	Clause: stdPV + "Annex A", Symbols: []string{"8/20 [kA]", "10/350 [kA]"}, Rows: []trace.Row{
		row("fewer than four down-conductors, LPL I", memory, 17, 10),
		row("fewer than four down-conductors, LPL II", memory, 12.5, 7.5),
		row("fewer than four down-conductors, LPL III-IV", memory, 8.5, 5),
		row("four down-conductors or more, LPL I", memory, 10, 5),
		row("four down-conductors or more, LPL II", memory, 7.5, 3.75),
		row("four down-conductors or more, LPL III-IV", memory, 5, 2.5),
	}}

// Rows of the preferred values.
const (
	prefIn = iota
	prefInTrade
	prefIimp
	prefIimpTrade
	prefUp
	prefD1
	prefC2
	prefC1
	prefSection
	prefUc
	prefUoc
)

var preferred = &trace.Table{Number: "preferred",
	Title:  "Preferred values; required currents round up, voltage protection levels round down",
	Clause: stdPower + "; " + stdData, Rows: []trace.Row{
		row("I_n 8/20 [kA]", read, 0.05, 0.1, 0.25, 0.5, 1, 1.5, 2, 2.5, 3, 5, 10, 15, 20),
		row("I_n 8/20 beyond the list, as sold [kA]", practice, 25, 30, 40, 50, 60, 80, 100),
		row("I_imp 10/350 [kA]", read, 1, 2, 5, 10, 12.5, 20, 25),
		row("I_imp 10/350 beyond the list, as sold [kA]", practice, 50, 100),
		row("U_P [kV]", read, 0.08, 0.09, 0.10, 0.12, 0.15, 0.22, 0.33, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.5, 1.8, 2.0, 2.5, 3, 4, 5, 6, 8, 10),
		row("D1 10/350 [kA]", memory, 0.5, 1, 2.5),
		row("C2 8/20 [kA]", memory, 1, 2, 5),
		row("C1 8/20 [kA]", memory, 0.25, 0.5),
		row("conductor cross-section [mm2]", practice, 1, 1.5, 2.5, 4, 6, 10, 16, 25, 35, 50),
		row("U_C, a.c. power devices [V]", memory, 52, 63, 75, 95, 110, 130, 150, 175, 220, 230, 240, 250, 255, 260, 275, 280, 320, 335, 350, 385,
			400, 420, 440, 460, 510, 530, 600, 630, 660, 690, 800, 900, 1000),
		row("U_OC of class III [kV]", read, 0.1, 0.2, 0.5, 1, 2, 3, 4, 5, 6, 10, 20),
	}}

var environmentFactor = &trace.Table{Number: "f_env", Title: "Environmental factor f_env, for F = 1",
	Clause: std443, Symbols: []string{"f_env"}, Rows: []trace.Row{
		row("rural", read, 85),
		remark(row("suburban", read, 85), "row added: printed in one row with rural"),
		row("urban", read, 850),
		remark(row("urban, with buildings higher than 20 m", read, 850), "row added: the clause knows urban only"),
	}}

var criticalLength = &trace.Table{Number: "L_crit", Title: "Critical length L_crit = k / N_G of a d.c. route",
	Clause: std712, Symbols: []string{"k [m/(km2 a)]"}, Rows: []trace.Row{
		row("dwelling", read, 115),
		row("ground-mounted plant", read, 200),
		row("service, industrial or agricultural building", read, 450),
	}}

// Rows of the printed operating voltages.
const (
	ucLN = iota
	ucLPE
	ucLPEIT
	ucLPEN
	ucNPE
	ucLPESingle
	ucNPEIT
)

var printedUc = &trace.Table{Number: "U_C", Title: "Lowest U_C at 230/400 V",
	Clause: stdSPD, Symbols: []string{"U_C [V]"}, Rows: []trace.Row{
		row("L-N", read, 254),
		row("L-PE, TN and TT", read, 254),
		row("L-PE, IT", read, 440),
		row("L-PEN", read, 254),
		row("N-PE", read, 231),
		row("L-PE, IT of a single-phase source", memory, 254),
		row("N-PE, IT with neutral", memory, 254),
	}}

// Rows of the temporary overvoltages.
const (
	tovReference = iota
	tovLine
	tovLostNeutral
	tovLostSplit
	tovTT
	tovHighVoltage
)

var overvoltages = &trace.Table{Number: "U_T", Title: "Temporary overvoltages between the conductors of an a.c. line",
	Clause: stdTOV, Symbols: []string{"value"}, Rows: []trace.Row{
		row("U_REF at 230/400 V, in V; otherwise 1.1 U_0", memory, 255),
		row("L-N, in TN L-PE and L-PEN, 5 s: times U_REF", memory, 1.32),
		row("the same with the neutral lost, 120 min: times U_REF", memory, 1.7320508075688772),
		row("the same in a split-phase supply: times U_0", memory, 2),
		row("L-PE in TT, 5 s: times U_REF", memory, 1.7320508075688772),
		row("fault on the high-voltage side, 200 ms, in V: N-PE in TT; with U_REF added L-PE in TT and IT", memory, 1200),
	}}

var batteryUc = &trace.Table{Number: "battery", Title: "Highest charging voltage of lead-acid batteries and lowest U_C",
	Clause: trade, Symbols: []string{"nominal [V]", "charging [V]", "U_C [V]"}, Rows: []trace.Row{
		remark(row("12 V", practice, 12, 15.5, 18), "recollections differ: charging 14.4 V, U_C 15 V; no standard, the user's value counts"),
		remark(row("24 V", practice, 24, 31, 36), "recollections differ: charging 28.8 V, U_C 30 V; no standard, the user's value counts"),
		remark(row("48 V", practice, 48, 62, 72), "recollections differ: charging 57.6 V, U_C 60 V; no standard, the user's value counts"),
	}}

// What other recollections of the PV withstand refer to.
const (
	otherModule   = " kV (class A, reinforced insulation; here class B, basic insulation)"
	otherInverter = " kV (category II of IEC 62109-1)"
)

var pvWithstand = &trace.Table{Number: "PV U_W", Title: "Impulse withstand U_W of PV equipment where not stated, by U_OC,MAX",
	Clause: stdPV + "and " + std712, Symbols: []string{"U_OC,MAX [V]", "module [kV]", "other equipment [kV]", "grid inverter [kV]"},
	Rows: []trace.Row{
		remark(row("100 V", memory, 100, 0.8, 0.8, 2.5), "recollections differ: module 1.5"+otherModule),
		remark(row("150 V", memory, 150, 1.5, 1.5, 2.5), "recollections differ: module 2.5"+otherModule),
		remark(row("300 V", memory, 300, 2.5, 2.5, 2.5), "recollections differ: module 4"+otherModule),
		remark(row("424 V", memory, 424, 4, 4, 4), "recollections differ: module 6"+otherModule+"; grid inverter 2.5"+otherInverter),
		remark(row("600 V", memory, 600, 4, 4, 4), "recollections differ: module 6"+otherModule+"; grid inverter 3.1"+otherInverter),
		remark(row("800 V", memory, 800, 5, 5, 5), "recollections differ: module 7"+otherModule+"; grid inverter 3.8"+otherInverter),
		remark(row("1000 V", memory, 1000, 6, 6, 6), "recollections differ: module 8"+otherModule+"; grid inverter 4.4"+otherInverter),
		remark(row("1500 V", memory, 1500, 8, 8, 8), "recollections differ: module 12"+otherModule+"; grid inverter 6"+otherInverter),
	}}

// Rows of the share of U_W that may reach the equipment.
const (
	targetAt = iota
	targetNear
	targetFar
	targetVital
)

var target = &trace.Table{Number: "target", Title: "Share of U_W that the protection level with its leads may reach",
	Clause: "IEC 62305-4:2010 Annex C; " + stdSPD, Symbols: []string{"k_U"}, Rows: []trace.Row{
		row("device at the equipment", memory, 1),
		row("up to 10 m of cable", read, 0.8),
		row("beyond 10 m of cable: (U_W - U_I)/2 with U_I = 0", memory, 0.5),
		row("loss of life or of a public service at stake", memory, 0.5),
	}}

// Rows of the voltage on the leads.
const (
	leadsInduced = iota
	leadsLightning
)

var leadDrop = &trace.Table{Number: "leads", Title: "Voltage on the connecting leads: c_l kV per metre, and k_l as a share of U_P",
	Clause: "IEC 62305-4:2010 Annex C", Symbols: []string{"c_l [kV/m]", "k_l"}, Rows: []trace.Row{
		row("induced surges, leads up to 0.5 m", memory, 0, 0.2),
		row("partial lightning current or longer leads: 1 uH/m, 8 kA 8/20; not below the row above", read, 1, 0),
	}}

// Rows of the effectiveness of a device.
const (
	onsetAC = iota
	onsetDC
)

// Columns of the same: the factors between which a device begins to act, of the peak of U_C, the peak factor, and U_P over U_C.
const (
	onsetLow = iota
	onsetHigh
	onsetPeak
	onsetRatio
)

var onset = &trace.Table{Number: "onset", Title: "Where a limiting device begins to act, as a multiple of U_C, and its usual " +
	"ratio of U_P to U_C",
	Clause: trade, Symbols: []string{"k_on, low", "k_on, high", "peak factor", "U_P/U_C"}, Rows: []trace.Row{
		row("a.c. (r.m.s.)", practice, 1.0, 1.2, 1.4142135623730951, 4.5),
		row("d.c.", practice, 1.06, 1.3, 1, 3.5),
	}}

var openCircuit = &trace.Table{Number: "U_OC", Title: "Lowest open-circuit voltage U_OC of class III by what stands behind the device",
	Clause: trade, Symbols: []string{"U_OC [kV]"}, Rows: []trace.Row{
		row("electronics of extra-low voltage", practice, 2),
		row("socket outlet, mains of which nothing is known", practice, 6),
	}}

// Columns of the bounds of a data sheet: below the first U_P cannot be, below the second it is doubtful.
const (
	sheetNever = iota
	sheetDoubtful
)

// Rows of the bounds of a data sheet.
const (
	sheetLimitingAC = iota
	sheetLimitingDC
	sheetDataAC
	sheetDataDC
	sheetOther
)

var sheetBounds = &trace.Table{Number: "data sheet",
	Title: "U_P over the peak of U_C of the same mode: below the first value it cannot be, " +
		"below the second it is doubtful; 0 where none is known",
	Clause: trade, Symbols: []string{"cannot be", "doubtful"}, Rows: []trace.Row{
		row("limiting, power, a.c.", practice, 1, 1.5),
		row("limiting, power, d.c.", practice, 1.05, 1.5),
		row("limiting, data lines, a.c. value", practice, 1, 1.15),
		row("limiting, data lines, d.c. value", practice, 1.05, 1.15),
		row("switching, combination, technology not stated", practice, 0, 1),
	}}

// Rows of the exposure.
const (
	exposureLow = iota
	exposureMedium
	exposureHigh
)

var exposure = &trace.Table{Number: "exposure", Title: "Usual I_max by exposure; a rule of the trade, not normative",
	Clause: "trade handbooks, not normative", Symbols: []string{"I_max 8/20 [kA]"}, Rows: []trace.Row{
		row("low: built-up area", read, 20),
		row("medium: open plain", read, 40),
		row("high: hilltop, pylon, tree, water", read, 65),
	}}

var conductors = &trace.Table{Number: "conductors",
	Title:  "Smallest cross-sections of connecting conductors, copper; 0 where none is stated",
	Clause: stdSPD, Symbols: []string{"to earth [mm2]", "to live conductors [mm2]"}, Rows: []trace.Row{
		row("class I", memory, 16, 6),
		row("class II", memory, 6, 2.5),
		row("class III", memory, 1, 0),
	}}

// Tables lists the tables in use, as printed.
func Tables() []*trace.Table {
	return []*trace.Table{threat, earthing, surgesPower, surgesTelecom, minima, pvSwitching, pvLimiting, preferred, environmentFactor,
		criticalLength,
		printedUc, overvoltages, batteryUc, ratedWithstand, pvWithstand, target, leadDrop, onset, openCircuit, sheetBounds, exposure, conductors,
		flashCurrents, coordDecoupling, separationClass, separationPaths, separationMaterial}
}

// roundUp is the smallest preferred value of the rows that is not below v; v itself beyond the last.
func roundUp(t *trace.Trace, v float64, rows ...int) float64 {
	for _, list := range rows {
		for i := range preferred.Rows[list].Values {
			if p := t.Value(preferred, list, i); p >= v*(1-1e-9) {
				return p
			}
		}
	}
	return v
}

// roundDown is the largest preferred value of the row that is not above v; 0 where there is none.
func roundDown(t *trace.Trace, v float64, list int) float64 {
	best := 0.0
	for i := range preferred.Rows[list].Values {
		if p := t.Value(preferred, list, i); p <= v*(1+1e-9) {
			best = p
		}
	}
	return best
}
