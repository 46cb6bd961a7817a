package spd

import "levinward/risk/trace"

var stressQuantities []*trace.Quantity

func stressDefine(q trace.Quantity) *trace.Quantity {
	stressQuantities = append(stressQuantities, &q)
	return &q
}

func init() { trace.Number(stressQuantities...) }

const (
	stdRisk        = "IEC 62305-2:2010 "
	stressTableA3  = stdThreat + "Table A.3"
	stressSurges   = stdThreat + "Tables E.2, E.3"
	stressAssumed  = "assumption of this computation"
	stressDevice   = "data sheet of the device"
	stressFraction = stdThreat + "E.2"
)

// Events.
var (
	qStressND  = stressDefine(trace.Quantity{Symbol: "N_D", Name: "flashes to the structure", Unit: "1/a", Clause: stdRisk + "A.2.4", Provenance: memory})
	qStressNM  = stressDefine(trace.Quantity{Symbol: "N_M", Name: "flashes near the structure", Unit: "1/a", Clause: stdRisk + "A.3", Provenance: memory})
	qStressNL  = stressDefine(trace.Quantity{Symbol: "N_L", Name: "flashes to the line", Unit: "1/a", Clause: stdRisk + "A.4", Provenance: memory})
	qStressNDJ = stressDefine(trace.Quantity{Symbol: "N_DJ", Name: "flashes to the structure at the far end of the line", Unit: "1/a", Clause: stdRisk + "A.2.5", Provenance: memory})
	qStressNI  = stressDefine(trace.Quantity{Symbol: "N_I", Name: "flashes near the line", Unit: "1/a", Clause: stdRisk + "A.5", Provenance: memory})

	qStressN  = stressDefine(trace.Quantity{Symbol: "N_S", Name: "surges from one source of damage", Unit: "1/a", Clause: stressAssumed, Provenance: trace.Assumed})
	qStressN1 = stressDefine(trace.Quantity{Symbol: "N_S", Name: "surges from flashes to the structure, S1", Unit: "1/a", Clause: stressAssumed,
		Expr: "N_D", In: on{qStressND}, Provenance: trace.Assumed, BranchOf: qStressN})
	qStressN2 = stressDefine(trace.Quantity{Symbol: "N_S", Name: "surges from flashes near the structure, S2", Unit: "1/a", Clause: stressAssumed,
		Expr: "N_M", In: on{qStressNM}, Provenance: trace.Assumed, BranchOf: qStressN})
	qStressN3 = stressDefine(trace.Quantity{Symbol: "N_S", Name: "surges from flashes to the line or to the structure at its far end, S3", Unit: "1/a", Clause: stressAssumed,
		Expr: "N_L+N_DJ", In: on{qStressNL, qStressNDJ}, Provenance: trace.Assumed, BranchOf: qStressN})
	qStressN4 = stressDefine(trace.Quantity{Symbol: "N_S", Name: "surges from flashes near the line, S4", Unit: "1/a", Clause: stressAssumed,
		Expr: "N_I", In: on{qStressNI}, Provenance: trace.Assumed, BranchOf: qStressN})
	qStressNall = stressDefine(trace.Quantity{Symbol: "N_all", Name: "surges from all sources of damage", Unit: "1/a", Clause: stressAssumed,
		Expr: "sum(N_S)", In: on{qStressN}, Provenance: trace.Assumed})
)

// Share of the flash current in one conductor.
var (
	qStressK0 = stressDefine(trace.Quantity{Symbol: "k_0", Name: "share per conductor: half to earth, half over lines and conductors", Clause: stressFraction,
		Expr: "0.5/n*k_c", In: on{qN, qPart}, Provenance: read})
	qStressKz     = stressDefine(trace.Quantity{Symbol: "k_z", Name: "share per conductor by earthing impedances", Clause: stressFraction, Provenance: memory})
	qStressKzSoil = stressDefine(trace.Quantity{Symbol: "k_z", Name: "share per conductor by earthing impedances", Clause: stressFraction,
		Expr: "k_e*k_c", In: on{qKe, qPart}, Provenance: memory, BranchOf: qStressKz})
	qStressJPV = stressDefine(trace.Quantity{Symbol: "j_PV", Name: "current of each pole tabulated for the protection level, 10/350", Unit: "kA", Clause: stdPV + "Table A.2", Provenance: read})

	qStressK   = stressDefine(trace.Quantity{Symbol: "k_S", Name: "surge current per conductor over flash current", Clause: stressAssumed, Provenance: trace.Assumed})
	qStressKS1 = stressDefine(trace.Quantity{Symbol: "k_S", Name: "flash to the structure: the larger share of both rules, 10/350", Clause: stressFraction,
		Expr: "max(k_0,k_z)", In: on{qStressK0, qStressKz}, Provenance: memory, BranchOf: qStressK})
	qStressKS1schedule = stressDefine(trace.Quantity{Symbol: "k_S", Name: "flash to the structure: the share of the schedule, 10/350", Clause: stressFraction,
		Expr: "k_e*k_c", In: on{qKe, qPart}, Provenance: memory, BranchOf: qStressK})
	qStressKPV = stressDefine(trace.Quantity{Symbol: "k_S", Name: "flash to the structure, photovoltaic line: tabulated current over the current of its level, 10/350", Clause: stdPV + "Table A.2",
		Expr: "j_PV/I", In: on{qStressJPV, qI}, Provenance: read, BranchOf: qStressK})
	qStressKS1ind = stressDefine(trace.Quantity{Symbol: "k_S", Name: "flash to the structure, no way out along this line: induced, linear in the flash current, 8/20", Clause: stressSurges,
		Expr: "j_S1/I", In: on{qNS1, qI}, Provenance: memory, BranchOf: qStressK})
	qStressKS2 = stressDefine(trace.Quantity{Symbol: "k_S", Name: "flash near the structure: linear in the flash current, 8/20", Clause: stressSurges,
		Expr: "j_S2/I", In: on{qNS2, qI}, Provenance: memory, BranchOf: qStressK})
	qStressKS3 = stressDefine(trace.Quantity{Symbol: "k_S", Name: "flash to the line: half of the current each way, over the conductors, 10/350", Clause: stressAssumed,
		Expr: "0.5/n'", In: on{qNc}, Provenance: trace.Assumed, BranchOf: qStressK})
	qStressKS3table = stressDefine(trace.Quantity{Symbol: "k_S", Name: "flash to the line: tabulated current, linear in the flash current, 10/350", Clause: stressSurges,
		Expr: "i_S3/I", In: on{qS3base, qI}, Provenance: memory, BranchOf: qStressK})
	qStressKS4 = stressDefine(trace.Quantity{Symbol: "k_S", Name: "flash near the line: linear in the flash current, 8/20", Clause: stressSurges,
		Expr: "j_S4/I", In: on{qNS4, qI}, Provenance: memory, BranchOf: qStressK})
)

// Distribution of the flash current.
var (
	qStressCurrent = stressDefine(trace.Quantity{Symbol: "i", Name: "surge current per conductor", Unit: "kA"})
	qStressFlash   = stressDefine(trace.Quantity{Symbol: "I_T", Name: "flash current that gives this surge current", Unit: "kA", Clause: stressAssumed,
		Expr: "i/k_S", In: on{qStressCurrent, qStressK}, Provenance: trace.Assumed})
	qStressIa = stressDefine(trace.Quantity{Symbol: "I_a", Name: "current of the table, lower point of the line", Unit: "kA", Clause: stressTableA3, Provenance: memory})
	qStressIb = stressDefine(trace.Quantity{Symbol: "I_b", Name: "current of the table, upper point of the line", Unit: "kA", Clause: stressTableA3, Provenance: memory})
	qStressPa = stressDefine(trace.Quantity{Symbol: "P_a", Name: "probability of the table, lower point of the line", Clause: stressTableA3, Provenance: memory})
	qStressPb = stressDefine(trace.Quantity{Symbol: "P_b", Name: "probability of the table, upper point of the line", Clause: stressTableA3, Provenance: memory})
	qStressZa = stressDefine(trace.Quantity{Symbol: "z_a", Name: "standard normal quantile exceeded with probability P_a", Clause: stressTableA3, Expr: "Qinv(P_a)", In: on{qStressPa}, Provenance: trace.Computed})
	qStressZb = stressDefine(trace.Quantity{Symbol: "z_b", Name: "standard normal quantile exceeded with probability P_b", Clause: stressTableA3, Expr: "Qinv(P_b)", In: on{qStressPb}, Provenance: trace.Computed})
	qStressZ  = stressDefine(trace.Quantity{Symbol: "z", Name: "standard normal quantile on the straight line of the probability paper", Clause: stressTableA3,
		Expr: "z_a+(z_b-z_a)*ln(I_T/I_a)/ln(I_b/I_a)", In: on{qStressZa, qStressZb, qStressFlash, qStressIa, qStressIb}, Provenance: trace.Computed})
	qStressTail   = stressDefine(trace.Quantity{Symbol: "P_T", Name: "probability that a flash exceeds I_T: the standard normal tail above z", Clause: stressTableA3, Expr: "Q(z)", In: on{qStressZ}, Provenance: trace.Computed})
	qStressTailAt = stressDefine(trace.Quantity{Symbol: "P_T", Name: "probability that a flash exceeds I_T, as printed", Clause: stressTableA3, Provenance: memory, BranchOf: qStressTail})
)

// Rates.
var (
	qStressRate = stressDefine(trace.Quantity{Symbol: "r", Name: "surges from one source above i", Unit: "1/a", Clause: stressAssumed,
		Expr: "N_S*P_T", In: on{qStressN, qStressTail}, Provenance: trace.Computed})
	qStressImpulse = stressDefine(trace.Quantity{Symbol: "r_imp", Name: "surges 10/350 above i, sources S1 and S3", Unit: "1/a", Clause: stressAssumed,
		Expr: "sum(r)", In: on{qStressRate}, Provenance: trace.Computed})
	qStressInduced = stressDefine(trace.Quantity{Symbol: "r_ind", Name: "surges 8/20 above i, sources S2 and S4, and S1 where it is only induced", Unit: "1/a", Clause: stressAssumed,
		Expr: "sum(r)", In: on{qStressRate}, Provenance: trace.Computed})
	qStressTotal = stressDefine(trace.Quantity{Symbol: "r_tot", Name: "surges above i", Unit: "1/a", Clause: stressAssumed,
		Expr: "r_imp+r_ind", In: on{qStressImpulse, qStressInduced}, Provenance: trace.Computed})
	qStressOperations = stressDefine(trace.Quantity{Symbol: "r_op", Name: "expected operations: surges above the smallest current of note", Unit: "1/a", Clause: stressAssumed,
		Expr: "r_tot", In: on{qStressTotal}, Provenance: trace.Computed})
)

// Device.
var (
	qStressIimp  = stressDefine(trace.Quantity{Symbol: "I_imp", Name: "impulse current 10/350 of the device", Unit: "kA", Clause: stressDevice, BranchOf: qIimp})
	qStressIimpN = stressDefine(trace.Quantity{Symbol: "I_impN", Name: "impulse current 10/350 of the device, N-PE", Unit: "kA", Clause: stressDevice, BranchOf: qIimpN})
	qStressJ     = stressDefine(trace.Quantity{Symbol: "I_820", Name: "largest current 8/20 the device states: I_max, else I_n", Unit: "kA", Clause: stressDevice})
	qStressJN    = stressDefine(trace.Quantity{Symbol: "I_820N", Name: "largest current 8/20 the device states, N-PE", Unit: "kA", Clause: stressDevice})

	qStressWimp    = stressDefine(trace.Quantity{Symbol: "w_imp", Name: "current per line conductor the device withstands, 10/350", Unit: "kA", Clause: stressDevice, Expr: "I_imp", In: on{qStressIimp}})
	qStressWimpNPE = stressDefine(trace.Quantity{Symbol: "w_imp", Name: "current per line conductor the device withstands, 10/350; N-PE carries the sum of the conductors", Unit: "kA", Clause: "CLC/TS 61643-12",
		Expr: "min(I_imp,I_impN/m)", In: on{qStressIimp, qStressIimpN, qM}, Provenance: read, BranchOf: qStressWimp})
	qStressWind = stressDefine(trace.Quantity{Symbol: "w_ind", Name: "current per line conductor the device withstands, 8/20", Unit: "kA", Clause: trade,
		Expr: "max(I_820,I_imp)", In: on{qStressJ, qStressIimp}, Provenance: practice})
	qStressWindNPE = stressDefine(trace.Quantity{Symbol: "w_ind", Name: "current per line conductor the device withstands, 8/20; N-PE carries the sum of the conductors", Unit: "kA", Clause: "CLC/TS 61643-12; " + trade,
		Expr: "min(max(I_820,I_imp),max(I_820N,I_impN)/m)", In: on{qStressJ, qStressIimp, qStressJN, qStressIimpN, qM}, Provenance: practice, BranchOf: qStressWind})
	qStressAtWimp = stressDefine(trace.Quantity{Symbol: "i", Name: "surge current per conductor: what the device withstands", Unit: "kA", Clause: stressAssumed,
		Expr: "w_imp", In: on{qStressWimp}, Provenance: trace.Assumed, BranchOf: qStressCurrent})
	qStressAtWind = stressDefine(trace.Quantity{Symbol: "i", Name: "surge current per conductor: what the device withstands", Unit: "kA", Clause: stressAssumed,
		Expr: "w_ind", In: on{qStressWind}, Provenance: trace.Assumed, BranchOf: qStressCurrent})
	qStressLambda = stressDefine(trace.Quantity{Symbol: "lambda", Name: "surges a year that exceed what the device withstands", Unit: "1/a", Clause: stressAssumed,
		Expr: "r_imp+r_ind", In: on{qStressImpulse, qStressInduced}, Provenance: trace.Computed})
	qStressPeriod = stressDefine(trace.Quantity{Symbol: "T_r", Name: "return period of an overstress", Unit: "a", Clause: stressAssumed,
		Expr: "1/lambda", In: on{qStressLambda}, Provenance: trace.Computed})
	qStressYears    = stressDefine(trace.Quantity{Symbol: "t_a", Name: "years in service", Unit: "a"})
	qStressSurvival = stressDefine(trace.Quantity{Symbol: "S_t", Name: "probability of no overstress in these years, surges being independent", Clause: stressAssumed,
		Expr: "exp(-lambda*t_a)", In: on{qStressLambda, qStressYears}, Provenance: trace.Computed})
	qStressOver = stressDefine(trace.Quantity{Symbol: "p_t", Name: "probability of at least one overstress in these years", Clause: stressAssumed,
		Expr: "1-S_t", In: on{qStressSurvival}, Provenance: trace.Computed})
	qStressExceed = stressDefine(trace.Quantity{Symbol: "P_SPD_S", Name: "P_SPD from the device's rating for one source of damage: share of its surges above what the device withstands", Clause: stressAssumed,
		Expr: "P_T", In: on{qStressTail}, Provenance: trace.Computed})
	qStressPSPD = stressDefine(trace.Quantity{Symbol: "P_SPD_dev", Name: "P_SPD from the device's rating: the largest of the sources", Clause: stressAssumed,
		Expr: "max(P_SPD_S)", In: on{qStressExceed}, Provenance: trace.Computed})
	qStressPSPDMean = stressDefine(trace.Quantity{Symbol: "P_SPD_mean", Name: "share of all surges that exceed what the device withstands", Clause: stressAssumed,
		Expr: "lambda/N_all", In: on{qStressLambda, qStressNall}, Provenance: trace.Computed})
)
