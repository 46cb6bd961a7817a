package ed2

import (
	"strconv"

	"levinward/risk"
	"levinward/risk/trace"
)

type q = trace.Quantity

// N_G, section 7 of the annex and its national notes.
var (
	ngGiven  = &q{BranchOf: ng, Symbol: "N_G", Name: "ground flash density", Unit: "1/(km2 a)", Clause: std + "A.1", Provenance: trace.Given, Reads: "flash_density/ground_flashes_per_km2_year"}
	ngMap    = &q{BranchOf: ng, Symbol: "N_G", Name: "ground flash density from a map", Unit: "1/(km2 a)", Clause: std + "A.1", Provenance: trace.Given, Reads: "flash_density/map"}
	td       = &q{Symbol: "T_D", Name: "thunderstorm days per year", Unit: "1/a", Clause: std + "A.1", Provenance: trace.Given, Reads: "flash_density/thunderstorm_days_per_year"}
	ngLinear = &q{BranchOf: ng, Symbol: "N_G", Name: "ground flash density derived from thunderstorm days, linear relation", Unit: "1/(km2 a)", Clause: std + "A.1", Expr: "0.1*T_D", In: []*q{td}, Provenance: read, Reads: "flash_density/relation"}
	ngPower  = &q{BranchOf: ng, Symbol: "N_G", Name: "ground flash density derived from thunderstorm days, power relation", Unit: "1/(km2 a)", Clause: "NBR 5419-2 and others", Expr: "0.04*T_D^1.25", In: []*q{td}, Provenance: read, Reads: "flash_density/relation"}
	ng       = &q{Symbol: "N_G", Name: "ground flash density used", Unit: "1/(km2 a)", Clause: std + "A.1", Provenance: trace.Given}
)

// Annex A.
var (
	length     = &q{Symbol: "L", Name: "length of the structure", Unit: "m", Clause: std + "A.2.1", Reads: "length_m"}
	width      = &q{Symbol: "W", Name: "width of the structure", Unit: "m", Clause: std + "A.2.1", Reads: "width_m"}
	height     = &q{Symbol: "H", Name: "height of the structure", Unit: "m", Clause: std + "A.2.1", Reads: "height_m"}
	protrusion = &q{Symbol: "H_P", Name: "height of the highest protrusion", Unit: "m", Clause: std + "A.2.1", Reads: "protrusion_height_m"}

	adBox        = &q{Symbol: "A_D_box", Name: "collection area of the box", Unit: "m2", Clause: std + "A.2.1.1", Expr: "L*W + 2*(3*H)*(L + W) + pi*(3*H)^2", In: []*q{length, width, height}, Provenance: read}
	adProtrusion = &q{Symbol: "A_D_P", Name: "collection area of the protrusion", Unit: "m2", Clause: std + "A.2.1.2", Expr: "pi*(3*H_P)^2", In: []*q{protrusion}, Provenance: mem}
	ad           = &q{Symbol: "A_D", Name: "collection area for flashes to the structure", Unit: "m2", Clause: std + "A.2.1", Expr: "A_D_box", In: []*q{adBox}, Provenance: read}
	adLarger     = &q{BranchOf: ad, Symbol: "A_D", Name: "collection area for flashes to the structure, the larger of box and protrusion", Unit: "m2", Clause: std + "A.2.1.2", Expr: "max(A_D_box, A_D_P)", In: []*q{adBox, adProtrusion}, Provenance: mem}
	adParts      = &q{BranchOf: ad, Symbol: "A_D", Name: "collection area for flashes to the structure: the union of its parts, each widened by 3 x its height, from geometry", Unit: "m2", Clause: std + "A.2.1", Provenance: read, Reads: "parts"}
	amParts      = &q{BranchOf: am, Symbol: "A_M", Name: "collection area for flashes near the structure: within 500 m of the outline of its parts, without the footprint, from geometry", Unit: "m2", Clause: std + "A.3", Provenance: mem, Reads: "parts"}
	cd           = &q{Symbol: "C_D", Name: "location factor of the structure", Clause: std + "Table A.1", Reads: "surroundings"}
	nd           = &q{Symbol: "N_D", Name: "dangerous flashes to the structure", Unit: "1/a", Clause: std + "A.2.4", Expr: "N_G*A_D*C_D*1e-6", In: []*q{ng, ad, cd}, Provenance: mem}
	am           = &q{Symbol: "A_M", Name: "collection area for flashes near the structure", Unit: "m2", Clause: std + "A.3", Expr: "2*500*(L + W) + pi*500^2", In: []*q{length, width}, Provenance: mem}
	nm           = &q{Symbol: "N_M", Name: "dangerous flashes near the structure", Unit: "1/a", Clause: std + "A.3", Expr: "N_G*A_M*1e-6", In: []*q{ng, am}, Provenance: mem}

	sectionLength = &q{Symbol: "L_L", Name: "length of the line section", Unit: "m", Clause: std + "A.4", Reads: "length_m"}
	routeLength   = &q{BranchOf: sectionLength, Symbol: "L_L", Name: "length of the line section along its drawn route, on the ellipsoid", Unit: "m", Clause: std + "A.4", Provenance: trace.Given, Reads: "route"}
	alSection     = &q{Symbol: "A_L", Name: "collection area for flashes to the line section", Unit: "m2", Clause: std + "A.4", Expr: "40*L_L", In: []*q{sectionLength}, Provenance: read}
	aiSection     = &q{Symbol: "A_I", Name: "collection area for flashes near the line section", Unit: "m2", Clause: std + "A.5", Expr: "4000*L_L", In: []*q{sectionLength}, Provenance: read}
	ci            = &q{Symbol: "C_I", Name: "installation factor of the line section", Clause: std + "Table A.2", Reads: "installation"}
	ce            = &q{Symbol: "C_E", Name: "environmental factor of the line section", Clause: std + "Table A.4", Reads: "environment"}
	ct            = &q{Symbol: "C_T", Name: "type factor of the line section", Clause: std + "Table A.3", Reads: "service"}
	nlSection     = &q{Symbol: "N_L", Name: "dangerous flashes to the line section", Unit: "1/a", Clause: std + "A.4", Expr: "N_G*A_L*C_I*C_E*C_T*1e-6", In: []*q{ng, alSection, ci, ce, ct}, Provenance: mem}
	niSection     = &q{Symbol: "N_I", Name: "flashes near the line section", Unit: "1/a", Clause: std + "A.5", Expr: "N_G*A_I*C_I*C_E*C_T*1e-6", In: []*q{ng, aiSection, ci, ce, ct}, Provenance: mem}
	alLine        = &q{Symbol: "A_L", Name: "collection area for flashes to the line", Unit: "m2", Clause: std + "A.4", Expr: "sum(A_L)", In: []*q{alSection}, Provenance: read}
	aiLine        = &q{Symbol: "A_I", Name: "collection area for flashes near the line", Unit: "m2", Clause: std + "A.5", Expr: "sum(A_I)", In: []*q{aiSection}, Provenance: read}
	nlLine        = &q{Symbol: "N_L", Name: "dangerous flashes to the line", Unit: "1/a", Clause: std + "A.4", Expr: "sum(N_L)", In: []*q{nlSection}, Provenance: mem}
	niLine        = &q{Symbol: "N_I", Name: "flashes near the line", Unit: "1/a", Clause: std + "A.5", Expr: "sum(N_I)", In: []*q{niSection}, Provenance: mem}

	ctLine  = &q{Symbol: "C_T", Name: "type factor of the line, the largest of its sections", Clause: std + "Table A.3", Expr: "max(C_T)", In: []*q{ct}, Provenance: rule}
	ndj     = &q{Symbol: "N_DJ", Name: "dangerous flashes to the structure at the far end", Unit: "1/a", Clause: std + "A.2.5", Expr: "N_G*A_D*C_D*C_T*1e-6", In: []*q{ng, ad, cd, ctLine}, Provenance: mem}
	ndjNone = &q{BranchOf: ndj, Symbol: "N_DJ", Name: "no structure given at the far end", Unit: "1/a", Clause: std + "A.2.5", Expr: "0", Provenance: mem}
)

// Annex B.
var (
	ptaMeasure = &q{Symbol: "P_TA_measure", Name: "one measure against touch and step voltages", Clause: std + "Table B.1", Reads: "structure_shock_measures"}
	pta        = &q{Symbol: "P_TA", Name: "probability of shock by touch and step voltages", Clause: std + "B.2", Expr: "prod(P_TA_measure)", In: []*q{ptaMeasure}, Provenance: mem}
	pb         = &q{Symbol: "P_B", Name: "probability of physical damage by a flash to the structure", Clause: std + "Table B.2", Reads: "lps"}
	pa         = &q{Symbol: "P_A", Name: "probability of injury by a flash to the structure", Clause: std + "B.2", Expr: "P_TA*P_B", In: []*q{pta, pb}, Provenance: read}

	pspd       = &q{Symbol: "P_SPD", Name: "probability of failure with the coordinated SPD system", Clause: std + "Table B.3", Reads: "coordinated_spd"}
	pspdNumber = &q{BranchOf: pspd, Symbol: "P_SPD", Name: "probability of failure with a coordinated SPD system better than LPL I, as given", Clause: std + "Table B.3", Reads: "coordinated_spd"}
	peb        = &q{Symbol: "P_EB", Name: "probability of failure with the bonding SPDs", Clause: std + "Table B.7", Reads: "bonding_spd"}
	pebNumber  = &q{BranchOf: peb, Symbol: "P_EB", Name: "probability of failure with bonding SPDs better than LPL I, as given", Clause: std + "Table B.7", Reads: "bonding_spd"}
	cld        = &q{Symbol: "C_LD", Name: "factor of shielding, earthing and isolation, flashes to the line", Clause: std + "Table B.4", Reads: "shield"}
	cli        = &q{Symbol: "C_LI", Name: "factor of shielding, earthing and isolation, flashes near the line", Clause: std + "Table B.4", Reads: "shield"}

	uwLine   = &q{BranchOf: uw, Symbol: "U_W", Name: "rated impulse withstand voltage of the equipment on the line", Unit: "kV", Clause: std + "B.5", Reads: "withstand_kv"}
	uwSystem = &q{BranchOf: uw, Symbol: "U_W", Name: "rated impulse withstand voltage of the equipment of the internal system", Unit: "kV", Clause: std + "B.5", Reads: "withstand_kv"}
	uw       = &q{Symbol: "U_W", Name: "rated impulse withstand voltage used", Unit: "kV", Clause: std + "B.5"}
	pld      = &q{Symbol: "P_LD", Name: "probability of failure by a flash to the line; U_W between columns takes the lower", Clause: std + "Table B.8"}
	pli      = &q{Symbol: "P_LI", Name: "probability of failure by a flash near the line; U_W between columns takes the lower", Clause: std + "Table B.9", Reads: "service"}

	mesh1      = &q{Symbol: "w_m1", Name: "mesh width of the outer screen", Unit: "m", Clause: std + "B.5", Reads: "screen_mesh_m"}
	mesh2      = &q{Symbol: "w_m2", Name: "mesh width of the inner screen", Unit: "m", Clause: std + "B.5", Reads: "screen_mesh_m"}
	ks1Mesh    = &q{Symbol: "K_S1_mesh", Name: "factor of the outer screen before its limit", Clause: std + "B.5", Expr: "0.12*w_m1", In: []*q{mesh1}, Provenance: mem}
	ks2Mesh    = &q{Symbol: "K_S2_mesh", Name: "factor of the inner screen before its limit", Clause: std + "B.5", Expr: "0.12*w_m2", In: []*q{mesh2}, Provenance: mem}
	ks1Limited = &q{BranchOf: ks1, Symbol: "K_S1", Name: "factor of the outer screen", Clause: std + "B.5", Expr: "min(K_S1_mesh, 1)", In: []*q{ks1Mesh}, Provenance: mem}
	ks2Limited = &q{BranchOf: ks2, Symbol: "K_S2", Name: "factor of the inner screen", Clause: std + "B.5", Expr: "min(K_S2_mesh, 1)", In: []*q{ks2Mesh}, Provenance: mem}
	ks1Plain   = &q{BranchOf: ks1, Symbol: "K_S1", Name: "factor of the outer screen", Clause: std + "B.5", Reads: "screen_mesh_m"}
	ks2Plain   = &q{BranchOf: ks2, Symbol: "K_S2", Name: "factor of the inner screen", Clause: std + "B.5", Reads: "screen_mesh_m"}
	ks1        = &q{Symbol: "K_S1", Name: "factor of the outer screen used", Clause: std + "B.5"}
	ks2        = &q{Symbol: "K_S2", Name: "factor of the inner screen used", Clause: std + "B.5"}
	ks3        = &q{Symbol: "K_S3", Name: "factor of internal wiring", Clause: std + "Table B.5", Reads: "wiring"}
	ks4Raw     = &q{Symbol: "K_S4_raw", Name: "factor of the withstand voltage before its limit", Clause: std + "B.5", Expr: "1/U_W", In: []*q{uw}, Provenance: mem}
	ks4        = &q{Symbol: "K_S4", Name: "factor of the withstand voltage", Clause: std + "B.5", Expr: "min(K_S4_raw, 1)", In: []*q{ks4Raw}, Provenance: mem}
	pms        = &q{Symbol: "P_MS", Name: "probability of failure by a flash near the structure, before SPDs", Clause: std + "B.5", Expr: "(K_S1*K_S2*K_S3*K_S4)^2", In: []*q{ks1, ks2, ks3, ks4}, Provenance: mem}

	pcSystem     = &q{BranchOf: pc, Symbol: "P_C", Name: "probability of failure of the internal system by a flash to the structure", Clause: std + "B.4", Expr: "P_SPD*C_LD", In: []*q{pspd, cld}, Provenance: read}
	pcSystemBare = &q{BranchOf: pc, Symbol: "P_C", Name: "the same without LPS or natural frame: SPDs do not count", Clause: std + "B.4", Expr: "C_LD", In: []*q{cld}, Provenance: read}
	pmSystem     = &q{Symbol: "P_M", Name: "probability of failure of the internal system by a flash near the structure", Clause: std + "B.5", Expr: "P_SPD*P_MS", In: []*q{pspd, pms}, Provenance: mem}
	pcAny        = &q{Symbol: "P_C", Name: "probability that an internal system of the zone fails by a flash to the structure", Clause: std + "B.4", Expr: "1 - prod(1 - P_C)", In: []*q{pc}, Provenance: read}
	pmAny        = &q{Symbol: "P_M", Name: "probability that an internal system of the zone fails by a flash near the structure", Clause: std + "B.5", Expr: "1 - prod(1 - P_M)", In: []*q{pmSystem}, Provenance: mem}
	pc           = &q{Symbol: "P_C", Name: "probability used for the internal system", Clause: std + "B.4"}

	ptuMeasure = &q{Symbol: "P_TU_measure", Name: "one measure against touch voltages", Clause: std + "Table B.6", Reads: "line_shock_measures"}
	ptu        = &q{Symbol: "P_TU", Name: "probability of shock by touch voltages from a line", Clause: std + "B.6", Expr: "prod(P_TU_measure)", In: []*q{ptuMeasure}, Provenance: mem}
	pu         = &q{Symbol: "P_U", Name: "probability of injury by a flash to the line", Clause: std + "B.6", Expr: "P_TU*P_EB*P_LD*C_LD", In: []*q{ptu, peb, pld, cld}, Provenance: mem}
	pv         = &q{Symbol: "P_V", Name: "probability of physical damage by a flash to the line", Clause: std + "B.7", Expr: "P_EB*P_LD*C_LD", In: []*q{peb, pld, cld}, Provenance: mem}
	pw         = &q{Symbol: "P_W", Name: "probability of failure of the internal system by a flash to the line", Clause: std + "B.8", Expr: "P_SPD*P_LD*C_LD", In: []*q{pspd, pld, cld}, Provenance: mem}
	pz         = &q{Symbol: "P_Z", Name: "probability of failure of the internal system by a flash near the line", Clause: std + "B.9", Expr: "P_SPD*P_LI*C_LI", In: []*q{pspd, pli, cli}, Provenance: mem}
)

// Clause 6: damage by flashes to and near lines before loss, per system and summed over the systems of a zone.
var (
	fuSystem = &q{Symbol: "F_U", Name: "injuries by flashes to the line", Unit: "1/a", Clause: std + "6.4", Expr: "(N_L + N_DJ)*P_U", In: []*q{nlLine, ndj, pu}, Provenance: read}
	fvSystem = &q{Symbol: "F_V", Name: "physical damage by flashes to the line", Unit: "1/a", Clause: std + "6.4", Expr: "(N_L + N_DJ)*P_V", In: []*q{nlLine, ndj, pv}, Provenance: read}
	fwSystem = &q{Symbol: "F_W", Name: "failures by flashes to the line", Unit: "1/a", Clause: std + "6.4", Expr: "(N_L + N_DJ)*P_W", In: []*q{nlLine, ndj, pw}, Provenance: read}
	fzSystem = &q{Symbol: "F_Z", Name: "failures by flashes near the line", Unit: "1/a", Clause: std + "6.5", Expr: "N_I*P_Z", In: []*q{niLine, pz}, Provenance: read}
	fuShared = &q{BranchOf: fuSystem, Symbol: "F_U", Name: "the line shares its route with a worse one, which alone counts", Unit: "1/a", Clause: std + "6.4", Expr: "0", Provenance: read}
	fvShared = &q{BranchOf: fvSystem, Symbol: "F_V", Name: "the line shares its route with a worse one, which alone counts", Unit: "1/a", Clause: std + "6.4", Expr: "0", Provenance: read}
	fwShared = &q{BranchOf: fwSystem, Symbol: "F_W", Name: "the line shares its route with a worse one, which alone counts", Unit: "1/a", Clause: std + "6.4", Expr: "0", Provenance: read}
	fzShared = &q{BranchOf: fzSystem, Symbol: "F_Z", Name: "the line shares its route with a worse one, which alone counts", Unit: "1/a", Clause: std + "6.5", Expr: "0", Provenance: read}
	fu       = &q{Symbol: "F_U", Name: "injuries by flashes to all lines of the zone", Unit: "1/a", Clause: std + "6.4", Expr: "sum(F_U)", In: []*q{fuSystem}, Provenance: read}
	fv       = &q{Symbol: "F_V", Name: "physical damage by flashes to all lines of the zone", Unit: "1/a", Clause: std + "6.4", Expr: "sum(F_V)", In: []*q{fvSystem}, Provenance: read}
	fw       = &q{Symbol: "F_W", Name: "failures by flashes to all lines of the zone", Unit: "1/a", Clause: std + "6.4", Expr: "sum(F_W)", In: []*q{fwSystem}, Provenance: read}
	fz       = &q{Symbol: "F_Z", Name: "failures by flashes near all lines of the zone", Unit: "1/a", Clause: std + "6.5", Expr: "sum(F_Z)", In: []*q{fzSystem}, Provenance: read}

	failuresZone = &q{Symbol: "f", Name: "expected internal-system failures in the zone", Unit: "1/a", Clause: "levinward, from quantities of " + std + "6", Expr: "N_D*P_C + N_M*P_M + F_W + F_Z", In: []*q{nd, pcAny, nm, pmAny, fw, fz}, Provenance: rule}
	failures     = &q{Symbol: "f", Name: "expected internal-system failures, the zone where they are most", Unit: "1/a", Clause: "levinward, from quantities of " + std + "6", Expr: "max(f)", In: []*q{failuresZone}, Provenance: rule}
)

// Annex C.
var (
	nt       = &q{Symbol: "n_t", Name: "persons in the structure", Clause: std + "C.3", Reads: "persons"}
	nz       = &q{Symbol: "n_z", Name: "persons in the zone", Clause: std + "C.3", Reads: "persons"}
	tz       = &q{Symbol: "t_z", Name: "hours a year in the zone", Unit: "h/a", Clause: std + "C.3", Reads: "hours_per_year"}
	share    = &q{Symbol: "k_n", Name: "share of the persons who are in the zone", Clause: std + "C.3", Expr: "n_z/n_t", In: []*q{nz, nt}, Provenance: read}
	shareAll = &q{BranchOf: share, Symbol: "k_n", Name: "number of persons not known: everyone is in the zone", Clause: std + "C.3", Expr: "1", Provenance: rule}
	nu       = &q{Symbol: "n_u", Name: "users whom the zones inside serve together, where the same persons are in several zones", Clause: std + "C.4", Reads: "persons"}
	users    = &q{BranchOf: share, Symbol: "k_n", Name: "share of the users whom the zone serves, each user counted once", Clause: std + "C.4", Expr: "n_z/n_u", In: []*q{nz, nu}, Provenance: rule}
	f        = &q{Symbol: "f_z", Name: "share of persons and time in the zone", Clause: std + "C.3", Expr: "k_n*(t_z/8760)", In: []*q{share, tz}, Provenance: read}

	rt     = &q{Symbol: "r_t", Name: "reduction by soil or floor", Clause: std + "Table C.3", Reads: "surface"}
	rp     = &q{Symbol: "r_p", Name: "reduction by provisions against fire", Clause: std + "Table C.4", Reads: "fire_protection"}
	rf     = &q{Symbol: "r_f", Name: "reduction by the risk of fire", Clause: std + "Table C.5", Reads: "fire_risk"}
	rx     = &q{Symbol: "r_x", Name: "reduction by the risk of explosion", Clause: std + "Table C.5", Reads: "explosion_zone"}
	rfOrRx = &q{BranchOf: rf, Symbol: "r_f", Name: "reduction by the risk of fire or explosion, the larger", Clause: std + "Table C.5", Expr: "max(r_f, r_x)", In: []*q{rf, rx}, Provenance: rule}
	hz     = &q{Symbol: "h_z", Name: "increase by a special hazard", Clause: std + "Table C.6", Reads: "special_hazard"}

	valueAnimals  = &q{Symbol: "c_a", Name: "value of the animals in the zone", Unit: "money", Clause: std + "C.6", Reads: "values/animals"}
	valueBuilding = &q{Symbol: "c_b", Name: "value of the building in the zone", Unit: "money", Clause: std + "C.6", Reads: "values/building"}
	valueContents = &q{Symbol: "c_c", Name: "value of the contents of the zone", Unit: "money", Clause: std + "C.6", Reads: "values/contents"}
	valueSystems  = &q{Symbol: "c_s", Name: "value of the internal systems of the zone", Unit: "money", Clause: std + "C.6", Reads: "values/systems"}
	valueZone     = &q{Symbol: "c_z", Name: "value of everything in the zone", Unit: "money", Clause: std + "C.6", Expr: "c_a + c_b + c_c + c_s", In: []*q{valueAnimals, valueBuilding, valueContents, valueSystems}, Provenance: mem}
	valueTotal    = &q{Symbol: "c_t", Name: "total value of the structure", Unit: "money", Clause: std + "C.6", Expr: "sum(c_z)", In: []*q{valueZone}, Provenance: mem}
	heritage      = &q{Symbol: "k_c", Name: "share of the heritage value in the zone", Clause: std + "C.5", Expr: "c_z/c_t", In: []*q{valueZone, valueTotal}, Provenance: mem}
	heritageAll   = &q{BranchOf: heritage, Symbol: "k_c", Name: "no values given: all of the heritage counts in every inside zone", Clause: std + "C.5", Expr: "1", Provenance: rule}
)

// Quantities that exist once per type of loss. L_T, L_F and L_O have a branch for a value given per zone.
var (
	lt, lf, lo, ltGiven, lfGiven, loGiven [risk.Losses]*q
	la, lb, lc                            [risk.Losses]*q
	component, componentSum               [risk.Losses][risk.Components]*q
	zoneRisk, total                       [risk.Losses]*q
	zoneRiskOf                            [risk.Losses]map[componentSet]*q
	limit, limitGiven                     [risk.Losses]*q
)

// lossAnnex is the clause of Annex C that holds each loss.
var lossAnnex = [risk.Losses]string{"C.3", "C.4", "C.5", "C.6"}

// meanLossField is the field of the structure that typical mean losses follow.
var meanLossField = [risk.Losses]string{"occupancy", "public_service", "cultural_heritage", "occupancy"}

func init() {
	for k := range risk.Loss(risk.Losses) {
		clause, field := std+lossAnnex[k], "losses/"+k.String()+"/"
		lt[k] = &q{Symbol: "L_T", Name: "typical mean loss by shock", Clause: clause, Reads: meanLossField[k]}
		lf[k] = &q{Symbol: "L_F", Name: "typical mean loss by physical damage", Clause: clause, Reads: meanLossField[k]}
		lo[k] = &q{Symbol: "L_O", Name: "typical mean loss by failure of internal systems", Clause: clause, Reads: meanLossField[k]}
		ltGiven[k] = &q{BranchOf: lt[k], Symbol: "L_T", Name: "mean loss by shock in the zone", Clause: clause, Reads: field + "L_T"}
		lfGiven[k] = &q{BranchOf: lf[k], Symbol: "L_F", Name: "mean loss by physical damage in the zone", Clause: clause, Reads: field + "L_F"}
		loGiven[k] = &q{BranchOf: lo[k], Symbol: "L_O", Name: "mean loss by failure of internal systems in the zone", Clause: clause,
			Reads: field + "L_O"}
		limit[k] = &q{Symbol: "R_T", Name: "tolerable risk of " + k.String(), Unit: "1/a", Clause: std + "Table 4"}
		limitGiven[k] = &q{BranchOf: limit[k], Symbol: "R_T", Name: "tolerable risk of " + k.String() + ", as given", Unit: "1/a",
			Clause: std + "5.3", Reads: "/tolerable_risk/" + k.String()}
	}
	lo[risk.HumanLife].Reads = "failure_endangers_life"
	defineLosses()
	for k := range risk.Loss(risk.Losses) {
		defineComponents(k)
		defineTotals(k)
	}
	number()
}

// defineLosses sets the assembled losses of Annex C.
func defineLosses() {
	loss := func(k risk.Loss, symbol, expr string, p trace.Provenance, in ...*q) *q {
		name := map[string]string{"L_A": "loss by shock", "L_B": "loss by physical damage", "L_C": "loss by failure of internal systems"}[symbol]
		return &q{Symbol: symbol, Name: name, Clause: std + lossAnnex[k], Expr: expr, In: in, Provenance: p}
	}
	k := risk.HumanLife
	la[k] = loss(k, "L_A", "r_t*L_T*f_z", read, rt, lt[k], f)
	lb[k] = loss(k, "L_B", "r_p*r_f*h_z*L_F*f_z", read, rp, rf, hz, lf[k], f)
	lc[k] = loss(k, "L_C", "L_O*f_z", read, lo[k], f)
	k = risk.PublicService
	lb[k] = loss(k, "L_B", "r_p*r_f*L_F*k_n", mem, rp, rf, lf[k], share)
	lc[k] = loss(k, "L_C", "L_O*k_n", mem, lo[k], share)
	k = risk.CulturalHeritage
	lb[k] = loss(k, "L_B", "r_p*r_f*L_F*k_c", mem, rp, rf, lf[k], heritage)
	k = risk.EconomicValue
	la[k] = loss(k, "L_A", "r_t*L_T*c_a/c_t", read, rt, lt[k], valueAnimals, valueTotal)
	lb[k] = loss(k, "L_B", "r_p*r_f*L_F*c_z/c_t", read, rp, rf, lf[k], valueZone, valueTotal)
	lc[k] = loss(k, "L_C", "L_O*c_s/c_t", read, lo[k], valueSystems, valueTotal)
}

// defineComponents sets the components of one risk: dangerous events x probability x loss.
func defineComponents(k risk.Loss) {
	events := [risk.Components][]*q{risk.RA: {nd, pa}, risk.RB: {nd, pb}, risk.RC: {nd, pcAny}, risk.RM: {nm, pmAny}, risk.RU: {fu},
		risk.RV: {fv}, risk.RW: {fw}, risk.RZ: {fz}}
	losses := [risk.Components]*q{risk.RA: la[k], risk.RB: lb[k], risk.RC: lc[k], risk.RM: lc[k], risk.RU: la[k], risk.RV: lb[k],
		risk.RW: lc[k], risk.RZ: lc[k]}
	r := "R_" + strconv.Itoa(int(k)+1)
	for c := range risk.Components {
		if losses[c] == nil {
			continue
		}
		in := append(append([]*q{}, events[c]...), losses[c])
		component[k][c] = &q{Symbol: c.String(), Name: "component of " + r + " in the zone", Unit: "1/a", Clause: std + "6.2 to 6.5",
			Expr: join(in, "*"), In: in, Provenance: read}
		componentSum[k][c] = &q{Symbol: c.String(), Name: "component of " + r + " over all zones", Unit: "1/a", Clause: std + "6.6",
			Expr: "sum(" + c.String() + ")", In: []*q{component[k][c]}, Provenance: read}
	}
}

// defineTotals sets the sums of one risk: a branch for each set of components that can count in a zone.
func defineTotals(k risk.Loss) {
	r := "R_" + strconv.Itoa(int(k)+1)
	zoneRisk[k] = &q{Symbol: r + "_z", Name: "risk in the zone", Unit: "1/a", Clause: std + "4.2", Provenance: read}
	zoneRiskOf[k] = map[componentSet]*q{}
	for _, set := range countingSets[k] {
		in := []*q{}
		for c := range risk.Components {
			if set.has(c) {
				in = append(in, component[k][c])
			}
		}
		expr := join(in, " + ")
		if len(in) == 0 {
			expr = "0"
		}
		zoneRiskOf[k][set] = &q{BranchOf: zoneRisk[k], Symbol: r + "_z", Name: "risk in the zone", Unit: "1/a", Clause: std + "4.2",
			Expr: expr, In: in, Provenance: read}
	}
	total[k] = &q{Symbol: r, Name: "risk of " + k.String() + " in the structure", Unit: "1/a", Clause: std + "4.2", Expr: "sum(" + r +
		"_z)", In: []*q{zoneRisk[k]}, Provenance: read}
}

func join(in []*q, with string) string {
	s := ""
	for i, v := range in {
		if i > 0 {
			s += with
		}
		s += v.Symbol
	}
	return s
}

var quantities []*q

// number lists every quantity and gives it the index a trace finds it by.
func number() {
	quantities = []*q{
		td, ngGiven, ngMap, ngLinear, ngPower,
		length, width, height, protrusion, adBox, adProtrusion, ad, adLarger, adParts, amParts, cd, nd, am, nm,
		sectionLength, routeLength, alSection, aiSection, ci, ce, ct, nlSection, niSection, alLine, aiLine, nlLine, niLine, ctLine, ndj, ndjNone,
		ptaMeasure, pta, pb, pa, pspd, pspdNumber, peb, pebNumber, cld, cli, uwLine, uwSystem, pld, pli,
		mesh1, mesh2, ks1Mesh, ks2Mesh, ks1Limited, ks2Limited, ks1Plain, ks2Plain, ks3, ks4Raw, ks4, pms,
		pcSystem, pcSystemBare, pmSystem, pcAny, pmAny, ptuMeasure, ptu, pu, pv, pw, pz,
		fuSystem, fvSystem, fwSystem, fzSystem, fuShared, fvShared, fwShared, fzShared, fu, fv, fw, fz, failuresZone, failures,
		nt, nz, tz, share, shareAll, f, nu, users, rt, rp, rf, rx, rfOrRx, hz,
		valueAnimals, valueBuilding, valueContents, valueSystems, valueZone, valueTotal, heritage, heritageAll,
		riskWithout, riskWith, totalValue, lossWithout, lossWith, priceOfMeasures, yearlyShare, yearlyCost, saving,
	}
	for k := range risk.Loss(risk.Losses) {
		quantities = append(quantities, lf[k], lfGiven[k], lb[k])
		if la[k] != nil {
			quantities = append(quantities, lt[k], ltGiven[k], la[k])
		}
		if lc[k] != nil {
			quantities = append(quantities, lo[k], loGiven[k], lc[k])
		}
		for c := range risk.Components {
			if component[k][c] != nil {
				quantities = append(quantities, component[k][c], componentSum[k][c])
			}
		}
		for _, set := range countingSets[k] {
			quantities = append(quantities, zoneRiskOf[k][set])
		}
		quantities = append(quantities, total[k], limit[k], limitGiven[k])
	}
	trace.Number(quantities...)
}
