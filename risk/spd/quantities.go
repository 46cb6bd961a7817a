package spd

import (
	"slices"

	"levinward/risk/trace"
)

var quantities []*trace.Quantity

// define enters a quantity into the list.
func define(q trace.Quantity) *trace.Quantity {
	quantities = append(quantities, &q)
	return &q
}

func init() { trace.Number(quantities...) }

// Quantities lists the symbols of a schedule, of Stress and of Coordinate with unit, clause and formula.
func Quantities() []*trace.Quantity {
	return slices.Concat(quantities, stressQuantities, coordQuantities)
}

type on = []*trace.Quantity

// Need.
var (
	qNG   = define(trace.Quantity{Symbol: "N_G", Name: "ground flash density used by the risk assessment", Unit: "1/(km2 a)"})
	qLPAL = define(trace.Quantity{Symbol: "L_PAL", Name: "aerial low-voltage length within 1 km", Unit: "km", Clause: std443, Provenance: read})
	qLPCL = define(trace.Quantity{Symbol: "L_PCL", Name: "low-voltage cable length within 1 km", Unit: "km", Clause: std443, Provenance: read})
	qLPAH = define(trace.Quantity{Symbol: "L_PAH", Name: "aerial high-voltage length within 1 km", Unit: "km", Clause: std443, Provenance: read})
	qLPCH = define(trace.Quantity{Symbol: "L_PCH", Name: "high-voltage cable length within 1 km", Unit: "km", Clause: std443, Provenance: read})
	qLP   = define(trace.Quantity{Symbol: "L_P", Name: "length for the calculated risk level", Unit: "km", Clause: std443,
		Expr: "2*L_PAL+L_PCL+0.4*L_PAH+0.2*L_PCH", In: on{qLPAL, qLPCL, qLPAH, qLPCH}, Provenance: read})
	qFenv = define(trace.Quantity{Symbol: "f_env", Name: "environmental factor for F = 1", Clause: std443, Provenance: read})
	qF    = define(trace.Quantity{Symbol: "F", Name: "national factor", Clause: std443, Provenance: read})
	qCRL  = define(trace.Quantity{Symbol: "CRL", Name: "calculated risk level; a device is required below 1000", Clause: std443,
		Expr: "f_env*F/(L_P*N_G)", In: on{qFenv, qF, qLP, qNG}, Provenance: read})
	qKcrit = define(trace.Quantity{Symbol: "k_crit", Name: "constant of the critical length", Unit: "m/(km2 a)", Clause: std712, Provenance: read})
	qLcrit = define(trace.Quantity{Symbol: "L_crit", Name: "critical length of the d.c. route", Unit: "m", Clause: std712,
		Expr: "k_crit/N_G", In: on{qKcrit, qNG}, Provenance: read})
	qRoute = define(trace.Quantity{Symbol: "L", Name: "length of the d.c. route", Unit: "m", Clause: std712, Reads: "sections", Provenance: trace.Given})
)

// Threat and sharing.
var (
	qI   = define(trace.Quantity{Symbol: "I", Name: "peak of the first positive impulse", Unit: "kA", Clause: stdThreat + "Table 3", Provenance: read})
	qN   = define(trace.Quantity{Symbol: "n", Name: "external conductive lines of the structure", Clause: stdThreat + "E.2", Provenance: read})
	qNc  = define(trace.Quantity{Symbol: "n'", Name: "conductors of the line", Clause: stdThreat + "E.2", Provenance: read})
	qN1  = define(trace.Quantity{Symbol: "n_1", Name: "buried external lines", Clause: stdThreat + "E.2", Provenance: memory})
	qN2  = define(trace.Quantity{Symbol: "n_2", Name: "overhead external lines", Clause: stdThreat + "E.2", Provenance: memory})
	qRho = define(trace.Quantity{Symbol: "rho", Name: "soil resistivity", Unit: "ohm m", Reads: "/soil_resistivity_ohm_m"})
	qZ   = define(trace.Quantity{Symbol: "Z", Name: "conventional earthing impedance of the earth termination", Unit: "ohm", Clause: stdThreat + "Table E.1", Provenance: memory})
	qZ1  = define(trace.Quantity{Symbol: "Z_1", Name: "conventional earthing impedance of buried lines", Unit: "ohm", Clause: stdThreat + "Table E.1", Provenance: memory})
	qZ2  = define(trace.Quantity{Symbol: "Z_2", Name: "earth resistance of the arrangement that joins the overhead line to ground", Unit: "ohm", Clause: stdThreat + "E.2", Provenance: memory})
	qR   = define(trace.Quantity{Symbol: "R_E", Name: "earth resistance of the structure", Unit: "ohm", Clause: stdThreat + "E.2", Provenance: trace.Given})
	qRS  = define(trace.Quantity{Symbol: "R_S", Name: "resistance of the screen", Unit: "ohm/km", Reads: "shield/resistance_ohm_per_km"})
	qRC  = define(trace.Quantity{Symbol: "R_C", Name: "resistance of one conductor inside the screen", Unit: "ohm/km", Reads: "shield/conductor_resistance_ohm_per_km"})
	qKe  = define(trace.Quantity{Symbol: "k_e", Name: "share of the current in this line", Clause: stdThreat + "E.2", Provenance: memory})
	qKe1 = define(trace.Quantity{Symbol: "k_e", Name: "share of the current in a buried line", Clause: stdThreat + "E.2",
		Expr: "Z/(Z_1+Z*(n_1+n_2*Z_1/Z_2))", In: on{qZ, qZ1, qZ2, qN1, qN2}, Provenance: memory, BranchOf: qKe})
	qKe2 = define(trace.Quantity{Symbol: "k_e", Name: "share of the current in an overhead line", Clause: stdThreat + "E.2",
		Expr: "Z/(Z_2+Z*(n_2+n_1*Z_2/Z_1))", In: on{qZ, qZ1, qZ2, qN1, qN2}, Provenance: memory, BranchOf: qKe})

	qZmeasured = define(trace.Quantity{Symbol: "Z", Name: "earth resistance in place of a lower conventional impedance", Unit: "ohm", Clause: stdThreat + "E.2; " + trade,
		Expr: "R_E", In: on{qR}, Provenance: practice, BranchOf: qZ})
	qPart     = define(trace.Quantity{Symbol: "k_c", Name: "part of the line's current in one conductor", Clause: stdThreat + "E.2", Provenance: read})
	qPartBare = define(trace.Quantity{Symbol: "k_c", Name: "part of the line's current in one conductor", Clause: stdThreat + "E.2",
		Expr: "1/n'", In: on{qNc}, Provenance: read, BranchOf: qPart})
	qPartScreen = define(trace.Quantity{Symbol: "k_c", Name: "part of the line's current in one conductor, the screen bonded at the entrance", Clause: stdThreat + "E.2",
		Expr: "R_S/(n'*R_S+R_C)", In: on{qNc, qRS, qRC}, Provenance: memory, BranchOf: qPart})

	qI0      = define(trace.Quantity{Symbol: "i_0", Name: "current per conductor by the first approximation", Unit: "kA", Clause: stdThreat + "E.2", Provenance: read})
	qI0Share = define(trace.Quantity{Symbol: "i_0", Name: "current per conductor: half to earth, half over lines and conductors", Unit: "kA", Clause: stdThreat + "E.2",
		Expr: "0.5*I/n*k_c", In: on{qI, qN, qPart}, Provenance: read, BranchOf: qI0})
	qIz      = define(trace.Quantity{Symbol: "i_z", Name: "current per conductor by earthing impedances", Unit: "kA", Clause: stdThreat + "E.2", Provenance: memory})
	qIzShare = define(trace.Quantity{Symbol: "i_z", Name: "current per conductor by earthing impedances", Unit: "kA", Clause: stdThreat + "E.2",
		Expr: "k_e*I*k_c", In: on{qKe, qI, qPart}, Provenance: memory, BranchOf: qIz})
	qS3printed = define(trace.Quantity{Symbol: "i_E", Name: "current per conductor from a flash to the line, as printed", Unit: "kA", Clause: stdThreat + "Tables E.2, E.3", Provenance: memory})
	qS3base    = define(trace.Quantity{Symbol: "i_S3", Name: "current per conductor from a flash to the line, 10/350", Unit: "kA", Clause: stdThreat + "Tables E.2, E.3", Provenance: memory})
	qS3four    = define(trace.Quantity{Symbol: "i_S3", Name: "current per conductor from a flash to the line, 10/350; printed for four conductors", Unit: "kA", Clause: stdThreat + "Table E.2",
		Expr: "i_E*4/n'", In: on{qS3printed, qNc}, Provenance: memory, BranchOf: qS3base})
	qS3drop = define(trace.Quantity{Symbol: "i_S3", Name: "current per conductor from a flash to a drop wire, 10/350", Unit: "kA", Clause: stdThreat + "Table E.3",
		Expr: "5*i_E", In: on{qS3printed}, Provenance: memory, BranchOf: qS3base})
	qS3pairs = define(trace.Quantity{Symbol: "i_S3", Name: "current per conductor from a flash to a cable of pairs, 10/350", Unit: "kA", Clause: stdThreat + "Table E.3",
		Expr: "i_E", In: on{qS3printed}, Provenance: memory, BranchOf: qS3base})
	qIcl  = define(trace.Quantity{Symbol: "i_cl", Name: "impulse current set by a clause or table", Unit: "kA", Clause: stdSPD, Provenance: read})
	qIclN = define(trace.Quantity{Symbol: "i_clN", Name: "impulse current N-PE set by the clause", Unit: "kA", Clause: stdSPD, Provenance: memory})
	qM    = define(trace.Quantity{Symbol: "m", Name: "line and neutral conductors", Clause: "CLC/TS 61643-12", Provenance: read})
	qIimp = define(trace.Quantity{Symbol: "I_imp", Name: "lowest impulse current 10/350 per conductor", Unit: "kA", Clause: stdSPD,
		Expr: "max(i_0,i_z,i_S3,i_cl)", In: on{qI0, qIz, qS3base, qIcl}, Provenance: read})
	qIimpN = define(trace.Quantity{Symbol: "I_impN", Name: "lowest impulse current 10/350, N-PE in CT2: the sum of the conductors", Unit: "kA", Clause: "CLC/TS 61643-12; " + stdSPD,
		Expr: "max(m*max(i_0,i_z,i_S3),i_clN)", In: on{qM, qI0, qIz, qS3base, qIclN}, Provenance: read})
	qPVtotal   = define(trace.Quantity{Symbol: "i_tot", Name: "total impulse current set by the table", Unit: "kA", Clause: stdPV + "Table A.2", Provenance: read})
	qIimpTotal = define(trace.Quantity{Symbol: "I_total", Name: "lowest impulse current 10/350 to earth, both poles together", Unit: "kA", Clause: stdPV + "Table A.2",
		Expr: "max(i_tot,2*max(i_0,i_z,i_S3))", In: on{qPVtotal, qI0, qIz, qS3base}, Provenance: read})
)

// Nominal and maximum discharge current.
var (
	qNcl  = define(trace.Quantity{Symbol: "j_cl", Name: "nominal discharge current set by the clause", Unit: "kA", Clause: stdSPD, Provenance: read})
	qNclN = define(trace.Quantity{Symbol: "j_clN", Name: "nominal discharge current N-PE set by the clause", Unit: "kA", Clause: stdSPD, Provenance: memory})
	qNS1  = define(trace.Quantity{Symbol: "j_S1", Name: "induced surge from a flash to the structure, 8/20", Unit: "kA", Clause: stdThreat + "Tables E.2, E.3", Provenance: memory})
	qNS2  = define(trace.Quantity{Symbol: "j_S2", Name: "surge from a flash near the structure, 8/20", Unit: "kA", Clause: stdThreat + "Tables E.2, E.3", Provenance: memory})
	qNS4  = define(trace.Quantity{Symbol: "j_S4", Name: "surge from a flash near the line, 8/20", Unit: "kA", Clause: stdThreat + "Tables E.2, E.3", Provenance: memory})
	qIn   = define(trace.Quantity{Symbol: "I_n", Name: "lowest nominal discharge current 8/20 per conductor", Unit: "kA", Clause: stdSPD,
		Expr: "max(j_cl,j_S1,j_S2,j_S4)", In: on{qNcl, qNS1, qNS2, qNS4}, Provenance: read})
	qInC2 = define(trace.Quantity{Symbol: "I_n", Name: "lowest nominal discharge current 8/20 of a second device, category C2", Unit: "kA", Clause: stdData, Provenance: memory, BranchOf: qIn})
	qInC1 = define(trace.Quantity{Symbol: "I_n", Name: "lowest nominal discharge current 8/20 behind a device of category C2, category C1", Unit: "kA", Clause: stdData, Provenance: memory, BranchOf: qIn})
	qInN  = define(trace.Quantity{Symbol: "I_nN", Name: "lowest nominal discharge current 8/20, N-PE in CT2: the sum of the conductors", Unit: "kA", Clause: stdSPD,
		Expr: "max(j_clN,m*I_n)", In: on{qNclN, qM, qIn}, Provenance: memory})
	qEx   = define(trace.Quantity{Symbol: "I_ex", Name: "usual maximum discharge current for this exposure", Unit: "kA", Clause: "trade handbooks, not normative", Provenance: read})
	qImax = define(trace.Quantity{Symbol: "I_max", Name: "usual maximum discharge current 8/20, never below I_n", Unit: "kA", Clause: "trade handbooks, not normative",
		Expr: "max(I_ex,I_n)", In: on{qEx, qIn}, Provenance: read})
)

// Voltages.
var (
	qU0   = define(trace.Quantity{Symbol: "U_0", Name: "nominal voltage, line to neutral", Unit: "V", Reads: "electrical/nominal_v"})
	qUmax = define(trace.Quantity{Symbol: "U_max", Name: "highest continuous operating voltage", Unit: "V", Reads: "electrical/max_operating_v"})
	qUten = define(trace.Quantity{Symbol: "U_max", Name: "highest operating voltage where not given: nominal voltage and 10 %", Unit: "V", Clause: stdSPD,
		Expr: "1.1*U_0", In: on{qU0}, Provenance: read, BranchOf: qUmax})
	qUmaxStates = define(trace.Quantity{Symbol: "U_max", Name: "highest operating voltage of all sources that feed the line", Unit: "V", Clause: stdSPD,
		Provenance: trace.Given, BranchOf: qUmax})
	qUoc   = define(trace.Quantity{Symbol: "U_OC", Name: "open-circuit voltage at standard test conditions", Unit: "V", Reads: "electrical/open_circuit_v"})
	qAlpha = define(trace.Quantity{Symbol: "alpha", Name: "temperature coefficient of the open-circuit voltage", Unit: "1/K", Reads: "electrical/temperature_coefficient_per_k"})
	qTmin  = define(trace.Quantity{Symbol: "T_min", Name: "lowest temperature", Unit: "degree C", Reads: "electrical/lowest_temperature_c"})
	qUpv   = define(trace.Quantity{Symbol: "U_OCMAX", Name: "open-circuit voltage on the coldest day", Unit: "V", Clause: std712, Provenance: read})
	qUpvT  = define(trace.Quantity{Symbol: "U_OCMAX", Name: "open-circuit voltage at the lowest temperature, not below that at 25 degree C", Unit: "V", Clause: std712,
		Expr: "max(U_OC,U_OC*(1+alpha*(T_min-25)))", In: on{qUoc, qAlpha, qTmin}, Provenance: read, BranchOf: qUpv})
	qUpvK = define(trace.Quantity{Symbol: "U_OCMAX", Name: "open-circuit voltage on the coldest day, temperature or coefficient not known: K_U = 1.2", Unit: "V", Clause: std712,
		Expr: "1.2*U_OC", In: on{qUoc}, Provenance: read, BranchOf: qUpv})
	qUin  = define(trace.Quantity{Symbol: "U_in", Name: "highest input voltage of the equipment", Unit: "V", Reads: "electrical/equipment_max_input_v"})
	qUch  = define(trace.Quantity{Symbol: "U_ch", Name: "highest charging voltage", Unit: "V", Clause: trade, Provenance: practice})
	qUchN = define(trace.Quantity{Symbol: "U_ch", Name: "highest charging voltage, from the nominal voltage as for 48 V lead-acid", Unit: "V", Clause: trade,
		Expr: "62/48*U_0", In: on{qU0}, Provenance: practice, BranchOf: qUch})
	qUchM = define(trace.Quantity{Symbol: "U_ch", Name: "highest charging voltage as given", Unit: "V",
		Expr: "U_max", In: on{qUmax}, BranchOf: qUch})

	qUc   = define(trace.Quantity{Symbol: "U_C", Name: "lowest U_C, as printed", Unit: "V", Clause: stdSPD, Provenance: read})
	qUcLN = define(trace.Quantity{Symbol: "U_C", Name: "lowest U_C of L-N, L-PEN, L-PE in TN and TT, and in IT of N-PE and of a single-phase source", Unit: "V", Clause: stdSPD,
		Expr: "max(1.1*U_0,U_max)", In: on{qU0, qUmax}, Provenance: read, BranchOf: qUc})
	qUcIT = define(trace.Quantity{Symbol: "U_C", Name: "lowest U_C of L-PE in IT", Unit: "V", Clause: stdSPD,
		Expr: "sqrt(3)*max(1.1*U_0,U_max)", In: on{qU0, qUmax}, Provenance: read, BranchOf: qUc})
	qUcITSplit = define(trace.Quantity{Symbol: "U_C", Name: "lowest U_C of L-PE in IT of a split-phase source", Unit: "V", Clause: stdSPD,
		Expr: "2*max(1.1*U_0,U_max)", In: on{qU0, qUmax}, Provenance: memory, BranchOf: qUc})
	qUcNPE = define(trace.Quantity{Symbol: "U_C", Name: "lowest U_C of N-PE", Unit: "V", Clause: stdSPD,
		Expr: "max(U_0,U_max/1.1)", In: on{qU0, qUmax}, Provenance: read, BranchOf: qUc})
	qUcPV = define(trace.Quantity{Symbol: "U_C", Name: "lowest U_CPV of all modes", Unit: "V", Clause: std712,
		Expr: "U_OCMAX", In: on{qUpv}, Provenance: read, BranchOf: qUc})
	qUcIn = define(trace.Quantity{Symbol: "U_C", Name: "lowest U_C: inactive up to the input voltage of the equipment", Unit: "V", Clause: trade,
		Expr: "U_in", In: on{qUin}, Provenance: practice, BranchOf: qUc})
	qUcBat = define(trace.Quantity{Symbol: "U_C", Name: "lowest U_C of a battery circuit", Unit: "V", Clause: trade,
		Expr: "1.1*U_ch", In: on{qUch}, Provenance: practice, BranchOf: qUc})
	qUcGiven = define(trace.Quantity{Symbol: "U_C", Name: "lowest U_C: highest operating voltage as given", Unit: "V", Clause: stdSPD,
		Expr: "U_max", In: on{qUmax}, Provenance: read, BranchOf: qUc})

	qUcMin  = define(trace.Quantity{Symbol: "U_Cmin", Name: "largest of the modes", Unit: "V", Expr: "max(U_C)", In: on{qUc}, Provenance: read})
	qUw     = define(trace.Quantity{Symbol: "U_W", Name: "impulse withstand of the equipment", Unit: "kV", Reads: "withstand_kv"})
	qUwFar  = define(trace.Quantity{Symbol: "U_W", Name: "impulse withstand of the equipment at the far end", Unit: "kV", Reads: "far_withstand_kv", BranchOf: qUw})
	qUwPV   = define(trace.Quantity{Symbol: "U_W", Name: "impulse withstand of the modules, not stated", Unit: "kV", Clause: std712, Provenance: memory, BranchOf: qUw})
	qKU     = define(trace.Quantity{Symbol: "k_U", Name: "share of U_W that may reach the equipment", Clause: stdSPD, Provenance: memory})
	qUlim   = define(trace.Quantity{Symbol: "U_lim", Name: "highest effective protection level U_P/F", Unit: "kV", Clause: stdSPD, Expr: "k_U*U_W", In: on{qKU, qUw}, Provenance: memory})
	qLeadC  = define(trace.Quantity{Symbol: "c_l", Name: "voltage on the leads per metre", Unit: "kV/m", Clause: "IEC 62305-4:2010 Annex C", Provenance: read})
	qLeadK  = define(trace.Quantity{Symbol: "k_l", Name: "voltage on the leads as a share of U_P", Clause: "IEC 62305-4:2010 Annex C", Provenance: memory})
	qLead   = define(trace.Quantity{Symbol: "l", Name: "length of both leads together", Unit: "m", Reads: "electrical/lead_length_m"})
	qUp     = define(trace.Quantity{Symbol: "U_P", Name: "highest U_P", Unit: "kV", Clause: "IEC 62305-4:2010 Annex C", Provenance: read})
	qUpLead = define(trace.Quantity{Symbol: "U_P", Name: "highest U_P, leads allowed for", Unit: "kV", Clause: "IEC 62305-4:2010 Annex C",
		Expr: "min(U_lim-c_l*l,U_lim/(1+k_l))", In: on{qUlim, qLeadC, qLead, qLeadK}, Provenance: memory, BranchOf: qUp})
	qUpBare = define(trace.Quantity{Symbol: "U_P", Name: "highest U_P, wired through the terminals", Unit: "kV", Clause: "IEC 62305-4:2010 Annex C",
		Expr: "U_lim", In: on{qUlim}, Provenance: read, BranchOf: qUp})
	qUpOne    = define(trace.Quantity{Symbol: "U_P1", Name: "highest U_P of the device at the entrance", Unit: "kV", Clause: "IEC 62305-4:2010 Annex C", Provenance: memory})
	qUpSecond = define(trace.Quantity{Symbol: "U_P", Name: "highest U_P of a second device, not above that of the first", Unit: "kV", Clause: "IEC 62305-4:2010 Annex C",
		Expr: "min(U_P,U_P1)", In: on{qUp, qUpOne}, Provenance: memory, BranchOf: qUp})
	qOnset = define(trace.Quantity{Symbol: "k_on", Name: "beginning of action as a multiple of U_C, high estimate", Clause: trade, Provenance: practice})
	qPeak  = define(trace.Quantity{Symbol: "k_p", Name: "peak factor", Clause: trade, Provenance: practice})
	qUcMax = define(trace.Quantity{Symbol: "U_Cmax", Name: "highest useful U_C: a device of a higher one may begin to act only above U_P", Unit: "V", Clause: trade,
		Expr: "1000*U_P/(k_on*k_p)", In: on{qUp, qOnset, qPeak}, Provenance: practice})
)

// Open-circuit voltage of class III, and what to order.
var (
	qUoc3       = define(trace.Quantity{Symbol: "U_OC3", Name: "lowest open-circuit voltage of class III", Unit: "kV", Clause: trade, Provenance: practice})
	qOrderUc    = define(trace.Quantity{Symbol: "U_Co", Name: "U_C to order", Unit: "V", Clause: stdPower, In: on{qUc}, Provenance: memory})
	qOrderUp    = define(trace.Quantity{Symbol: "U_Po", Name: "U_P to order", Unit: "kV", Clause: stdPower, In: on{qUp}, Provenance: read})
	qOrderIn    = define(trace.Quantity{Symbol: "I_no", Name: "I_n to order", Unit: "kA", Clause: stdPower, In: on{qIn}, Provenance: read})
	qOrderIimp  = define(trace.Quantity{Symbol: "I_impo", Name: "I_imp to order; beyond the preferred values the need itself", Unit: "kA", Clause: stdPower, In: on{qIimp}, Provenance: read})
	qOrderIimpN = define(trace.Quantity{Symbol: "I_impNo", Name: "I_imp of N-PE to order; beyond the preferred values the need itself", Unit: "kA", Clause: stdPower, In: on{qIimpN}, Provenance: read})
	qOrderUoc   = define(trace.Quantity{Symbol: "U_OCo", Name: "U_OC of class III to order", Unit: "kV", Clause: stdPower, In: on{qUoc3}, Provenance: read})
)

// Particular to the check of a device.
var (
	qUref    = define(trace.Quantity{Symbol: "U_REF", Name: "reference voltage of the temporary overvoltages at 230/400 V", Unit: "V", Clause: stdTOV, Provenance: memory})
	qUrefSet = define(trace.Quantity{Symbol: "U_REF", Name: "reference voltage of the temporary overvoltages", Unit: "V", Clause: stdTOV,
		Expr: "1.1*U_0", In: on{qU0}, Provenance: memory, BranchOf: qUref})
	qTOVk   = define(trace.Quantity{Symbol: "k_T", Name: "multiple of a temporary overvoltage", Clause: stdTOV, Provenance: memory})
	qTOVhv  = define(trace.Quantity{Symbol: "U_HV", Name: "voltage of a fault on the high-voltage side", Unit: "V", Clause: stdTOV, Provenance: memory})
	qTOV    = define(trace.Quantity{Symbol: "U_T", Name: "temporary overvoltage", Unit: "V", Clause: stdTOV, Provenance: memory})
	qTOVref = define(trace.Quantity{Symbol: "U_T", Name: "temporary overvoltage as a multiple of U_REF", Unit: "V", Clause: stdTOV,
		Expr: "k_T*U_REF", In: on{qTOVk, qUref}, Provenance: memory, BranchOf: qTOV})
	qTOVsplit = define(trace.Quantity{Symbol: "U_T", Name: "temporary overvoltage in a split-phase supply that lost its neutral", Unit: "V", Clause: stdTOV,
		Expr: "k_T*U_0", In: on{qTOVk, qU0}, Provenance: memory, BranchOf: qTOV})
	qTOVline = define(trace.Quantity{Symbol: "U_T", Name: "temporary overvoltage L-PE from the high-voltage side", Unit: "V", Clause: stdTOV,
		Expr: "U_HV+U_REF", In: on{qTOVhv, qUref}, Provenance: memory, BranchOf: qTOV})
	qTOVneutral = define(trace.Quantity{Symbol: "U_T", Name: "temporary overvoltage N-PE from the high-voltage side", Unit: "V", Clause: stdTOV,
		Expr: "U_HV", In: on{qTOVhv}, Provenance: memory, BranchOf: qTOV})
	qIlimTable = define(trace.Quantity{Symbol: "i_lim", Name: "impulse current 10/350 of a voltage-limiting device set by the table", Unit: "kA", Clause: stdPV + "Annex A", Provenance: memory})
	qIlim      = define(trace.Quantity{Symbol: "I_implim", Name: "lowest impulse current 10/350 of a voltage-limiting device", Unit: "kA", Clause: stdPV + "Annex A",
		Expr: "max(i_lim,i_0,i_z,i_S3)", In: on{qIlimTable, qI0, qIz, qS3base}, Provenance: memory})
	qNlim = define(trace.Quantity{Symbol: "I_nlim", Name: "lowest nominal discharge current 8/20 of such a device", Unit: "kA", Clause: stdPV + "Annex A", Provenance: memory})
)

// Installation.
var (
	qIk       = define(trace.Quantity{Symbol: "I_k", Name: "prospective short-circuit current at the device", Unit: "kA", Reads: "electrical/short_circuit_ka"})
	qIsc      = define(trace.Quantity{Symbol: "I_SC", Name: "short-circuit current of the array at standard test conditions", Unit: "A", Reads: "electrical/short_circuit_a"})
	qIkStates = define(trace.Quantity{Symbol: "I_k", Name: "highest prospective short-circuit current of all sources", Unit: "kA", Clause: stdSPD,
		Provenance: trace.Given, BranchOf: qIk})
	qSCCR    = define(trace.Quantity{Symbol: "I_SCCR", Name: "lowest short-circuit rating", Unit: "kA", Clause: stdSPD, Provenance: read})
	qSCac    = define(trace.Quantity{Symbol: "I_SCCR", Name: "lowest short-circuit rating", Unit: "kA", Clause: stdSPD, Expr: "I_k", In: on{qIk}, Provenance: read, BranchOf: qSCCR})
	qSCpv    = define(trace.Quantity{Symbol: "I_SCCR", Name: "lowest short-circuit rating I_SCPV", Unit: "kA", Clause: std712, Expr: "1.25*I_SC/1000", In: on{qIsc}, Provenance: read, BranchOf: qSCCR})
	qSCpvBat = define(trace.Quantity{Symbol: "I_SCCR", Name: "lowest short-circuit rating where a battery can feed the line too", Unit: "kA", Clause: std712 + "; " + trade,
		Expr: "max(1.25*I_SC/1000,I_k)", In: on{qIsc, qIk}, Provenance: practice, BranchOf: qSCCR})
	qSE   = define(trace.Quantity{Symbol: "s_E", Name: "cross-section to earth by class", Unit: "mm2", Clause: stdSPD, Provenance: memory})
	qSL   = define(trace.Quantity{Symbol: "s_L", Name: "cross-section to live conductors by class", Unit: "mm2", Clause: stdSPD, Provenance: memory})
	qSEr  = define(trace.Quantity{Symbol: "S_Ereq", Name: "cross-section to earth", Unit: "mm2", Clause: stdSPD + "; GB 50057", Expr: "max(s_E,I_impo/8)", In: on{qSE, qOrderIimp}, Provenance: read})
	qSErN = define(trace.Quantity{Symbol: "S_Ereq", Name: "cross-section to earth, carrying the N-PE current", Unit: "mm2", Clause: stdSPD + "; GB 50057", Expr: "max(s_E,I_impNo/8)", In: on{qSE, qOrderIimpN}, Provenance: read, BranchOf: qSEr})
	qSLr  = define(trace.Quantity{Symbol: "S_Lreq", Name: "cross-section to live conductors", Unit: "mm2", Clause: stdSPD + "; GB 50057", Expr: "max(s_L,I_impo/8)", In: on{qSL, qOrderIimp}, Provenance: read})
	qSEu  = define(trace.Quantity{Symbol: "S_E", Name: "next standard cross-section to earth", Unit: "mm2", In: on{qSEr}, Provenance: practice})
	qSLu  = define(trace.Quantity{Symbol: "S_L", Name: "next standard cross-section to live conductors", Unit: "mm2", In: on{qSLr}, Provenance: practice})
)
