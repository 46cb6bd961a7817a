package earth

import "levinward/risk/trace"

type q = trace.Quantity

const (
	bs7430      = "BS 7430:2011, vertical rods (form reconstructed from secondary sources)"
	dwight      = "H. B. Dwight, Calculation of Resistances to Ground, 1936"
	ieee80      = "IEEE Std 80, resistance of a grid, Sverak"
	ieee81      = "IEEE Std 81, four-point method, Wenner"
	iec3        = "IEC 62305-3:2010, 5.4"
	pointSource = "potential of a point source on uniform soil; never less than the true mutual effect when x is the shortest distance"
	definition  = "definition of the symbol"
	network     = "two bonded electrodes at one potential"

	read     = trace.SecondarySource
	mem      = trace.Memory // of the standard, not checked against a copy
	rule     = trace.CommonPractice
	computed = trace.Computed
	given    = trace.Given
)

// Soil.
var (
	rho      = &q{Symbol: "rho", Name: "soil resistivity", Unit: "ohm m", Clause: definition, Provenance: given, Reads: SoilPointer}
	rhoMost  = &q{BranchOf: rho, Symbol: "rho", Name: "soil resistivity, highest of the readings", Unit: "ohm m", Clause: "safe side", Expr: "max(rho_i)", In: []*q{rhoI}, Provenance: rule}
	rhoLayer = &q{BranchOf: rho, Symbol: "rho", Name: "soil resistivity, one layer", Unit: "ohm m", Clause: bs7430, Provenance: given, Reads: "layers/0/resistivity_ohm_m"}
	spread   = &q{Symbol: "k_rho", Name: "highest reading over lowest", Clause: "uniform soil", Expr: "max(rho_i)/min(rho_i)", In: []*q{rhoI}, Provenance: rule}

	reading   = &q{Symbol: "R_e", Name: "reading", Unit: "ohm", Clause: ieee81, Provenance: given, Reads: "resistance_ohm"}
	probes    = &q{Symbol: "a", Name: "distance between neighbouring probes", Unit: "m", Clause: ieee81, Provenance: given, Reads: "spacing_m"}
	probeDeep = &q{Symbol: "b", Name: "depth of the probes", Unit: "m", Clause: ieee81, Provenance: given, Reads: "depth_m"}
	rhoI      = &q{Symbol: "rho_i", Name: "soil resistivity of one reading", Unit: "ohm m", Clause: ieee81, Provenance: given}
	wenner    = &q{BranchOf: rhoI, Symbol: "rho_i", Name: "soil resistivity, four probes driven little", Unit: "ohm m", Clause: ieee81, Expr: "2*pi*a*R_e", In: []*q{probes, reading}, Provenance: mem}
	wennerAll = &q{BranchOf: rhoI, Symbol: "rho_i", Name: "soil resistivity, four probes of known depth", Unit: "ohm m", Clause: ieee81, Expr: "4*pi*a*R_e/(1+2*a/sqrt(a^2+4*b^2)-a/sqrt(a^2+b^2))", In: []*q{probes, reading, probeDeep}, Provenance: mem}
	testL     = &q{Symbol: "L", Name: "length of the test rod", Unit: "m", Clause: bs7430, Provenance: given, Reads: "rod_length_m"}
	testD     = &q{Symbol: "d", Name: "diameter of the test rod", Unit: "m", Clause: bs7430, Provenance: given, Reads: "rod_diameter_m"}
	rodSoil   = &q{BranchOf: rhoI, Symbol: "rho_i", Name: "soil resistivity from the resistance of one rod", Unit: "ohm m", Clause: bs7430, Expr: "2*pi*L*R_e/(ln(8*L/d)-1)", In: []*q{testL, reading, testD}, Provenance: computed}
)

// Sizes.
var (
	rodL   = &q{Symbol: "L", Name: "length of a rod", Unit: "m", Clause: bs7430, Provenance: given, Reads: "length_m"}
	rodD   = &q{Symbol: "d", Name: "diameter of rod or conductor", Unit: "m", Clause: bs7430, Provenance: given, Reads: "diameter_m"}
	rodN   = &q{Symbol: "n", Name: "number of rods", Clause: bs7430, Provenance: given, Reads: "count"}
	rodS   = &q{Symbol: "s", Name: "spacing of rods", Unit: "m", Clause: bs7430, Provenance: given, Reads: "spacing_m"}
	radius = &q{Symbol: "a", Name: "radius of rod or conductor", Unit: "m", Clause: dwight, Expr: "d/2", In: []*q{rodD}, Provenance: read}
	wireL  = &q{Symbol: "l", Name: "length of the wire", Unit: "m", Clause: dwight, Provenance: given, Reads: "length_m"}
	halfL  = &q{Symbol: "L", Name: "half the length of the wire", Unit: "m", Clause: dwight, Expr: "l/2", In: []*q{wireL}, Provenance: read}
	deep   = &q{Symbol: "h", Name: "depth", Unit: "m", Clause: dwight, Provenance: given, Reads: "depth_m"}
	image  = &q{Symbol: "s", Name: "distance to the mirror image, twice the depth", Unit: "m", Clause: dwight, Expr: "2*h", In: []*q{deep}, Provenance: read}
	ringD  = &q{Symbol: "D", Name: "diameter of the ring", Unit: "m", Clause: dwight, Provenance: given, Reads: "ring_diameter_m"}
	gridA  = &q{Symbol: "A", Name: "area of the grid", Unit: "m2", Clause: ieee80, Provenance: given, Reads: "area_m2"}
	gridLT = &q{Symbol: "L_T", Name: "buried conductor of the grid", Unit: "m", Clause: ieee80, Provenance: given, Reads: "conductor_length_m"}
	apart  = &q{Symbol: "x", Name: "distance to the nearest earlier part", Unit: "m", Clause: pointSource, Provenance: given, Reads: "distance_m"}
)

// Resistances.
var (
	neighbour = &q{Symbol: "k", Name: "rod number in the line", Clause: bs7430, Provenance: read}
	lambda    = &q{Symbol: "lambda", Name: "factor of mutual effect, rods in line", Clause: bs7430, Expr: "2*sum(1/k)", In: []*q{neighbour}, Provenance: read}
	lambda3   = &q{BranchOf: lambda, Symbol: "lambda", Name: "factor of mutual effect, triangle", Clause: bs7430, Expr: "2", Provenance: read}
	lambda4   = &q{BranchOf: lambda, Symbol: "lambda", Name: "factor of mutual effect, hollow square", Clause: squareFactor.Clause, Provenance: computed}

	rAny     = &q{Symbol: "R", Name: "resistance of an electrode", Unit: "ohm", Clause: bs7430, Provenance: read}
	rRod     = &q{BranchOf: rAny, Symbol: "R", Name: "resistance of a rod", Unit: "ohm", Clause: bs7430, Expr: "rho/(2*pi*L)*(ln(8*L/d)-1)", In: []*q{rho, rodL, rodD}, Provenance: read}
	rPairFar = &q{BranchOf: rAny, Symbol: "R", Name: "resistance of two rods, s > L", Unit: "ohm", Clause: dwight,
		Expr: "rho/(4*pi*L)*(ln(4*L/a)-1)+rho/(4*pi*s)*(1-L^2/(3*s^2)+2*L^4/(5*s^4))", In: []*q{rho, rodL, radius, rodS}, Provenance: read}
	// A rod and its image are a wire of 2 L; two such side by side are the wire and its image.
	rPairNear = &q{BranchOf: rAny, Symbol: "R", Name: "resistance of two rods, s <= L: the horizontal wire with its mirror image, turned upright", Unit: "ohm", Clause: dwight,
		Expr: wireExpr, In: []*q{rho, rodL, radius, rodS}, Provenance: computed}
	rRods = &q{BranchOf: rAny, Symbol: "R", Name: "resistance of n rods", Unit: "ohm", Clause: bs7430,
		Expr: "1/n*rho/(2*pi*L)*(ln(8*L/d)-1+lambda*L/s)", In: []*q{rodN, rho, rodL, rodD, lambda, rodS}, Provenance: read}
	rWire = &q{BranchOf: rAny, Symbol: "R", Name: "resistance of a straight horizontal wire", Unit: "ohm", Clause: dwight,
		Expr: wireExpr, In: []*q{rho, halfL, radius, image}, Provenance: read}
	rRing = &q{BranchOf: rAny, Symbol: "R", Name: "resistance of a ring", Unit: "ohm", Clause: dwight,
		Expr: "rho/(2*pi^2*D)*(ln(8*D/d)+ln(4*D/s))", In: []*q{rho, ringD, rodD, image}, Provenance: read}
	rGrid = &q{BranchOf: rAny, Symbol: "R", Name: "resistance of a grid", Unit: "ohm", Clause: ieee80,
		Expr: "rho*(1/L_T+1/sqrt(20*A)*(1+1/(1+h*sqrt(20/A))))", In: []*q{rho, gridLT, gridA, deep}, Provenance: read}

	ra      = &q{Symbol: "R_a", Name: "resistance of the parts so far", Unit: "ohm", Clause: definition, Expr: "R", In: []*q{rAny}, Provenance: computed}
	rm      = &q{Symbol: "R_m", Name: "mutual resistance to the earlier parts", Unit: "ohm", Clause: pointSource, Expr: "rho/(2*pi*x)", In: []*q{rho, apart}, Provenance: computed}
	raBoth  = &q{BranchOf: ra, Symbol: "R_a", Name: "resistance of the parts so far, with mutual effect", Unit: "ohm", Clause: network, Expr: "R_m+(R_a-R_m)*(R-R_m)/((R_a-R_m)+(R-R_m))", In: []*q{rm, ra, rAny}, Provenance: computed}
	raAlone = &q{BranchOf: ra, Symbol: "R_a", Name: "resistance of the parts so far, the better alone where they are too near to each other", Unit: "ohm", Clause: network, Expr: "min(R_a,R)", In: []*q{ra, rAny}, Provenance: computed}
)

const wireExpr = "rho/(4*pi*L)*(ln(4*L/a)+ln(4*L/s)-2+s/(2*L)-s^2/(16*L^2)+s^4/(512*L^4))"

// Minimum length, design and judgement.
var (
	lLeast     = &q{Symbol: "l_0", Name: "least length of an electrode in any soil", Unit: "m", Clause: minimumLength.Clause, Provenance: read}
	slope      = &q{Symbol: "k_l", Name: "growth of the least length with resistivity", Unit: "1/ohm", Clause: minimumLength.Clause, Provenance: read}
	offset     = &q{Symbol: "c_l", Name: "deduction from the least length", Unit: "m", Clause: minimumLength.Clause, Provenance: read}
	l1         = &q{Symbol: "l_1", Name: "minimum length of an electrode", Unit: "m", Clause: minimumLength.Clause, Expr: "max(l_0,k_l*rho-c_l)", In: []*q{lLeast, slope, rho, offset}, Provenance: mem}
	l1Vertical = &q{Symbol: "l_1v", Name: "minimum length of a vertical electrode, type A", Unit: "m", Clause: iec3 + ".2.1", Expr: "0.5*l_1", In: []*q{l1}, Provenance: mem}
	re         = &q{Symbol: "r_e", Name: "mean radius of the area inside, type B", Unit: "m", Clause: iec3 + ".2.2", Provenance: mem}
	reRing     = &q{BranchOf: re, Symbol: "r_e", Name: "mean radius of the area inside a ring", Unit: "m", Clause: iec3 + ".2.2", Expr: "D/2", In: []*q{ringD}, Provenance: mem}
	reGrid     = &q{BranchOf: re, Symbol: "r_e", Name: "mean radius of the area of a grid", Unit: "m", Clause: iec3 + ".2.2", Expr: "sqrt(A/pi)", In: []*q{gridA}, Provenance: mem}
	extra      = &q{Symbol: "l_r", Name: "additional horizontal length, type B", Unit: "m", Clause: iec3 + ".2.2", Expr: "max(0,l_1-r_e)", In: []*q{l1, re}, Provenance: mem}
	extraDown  = &q{Symbol: "l_v", Name: "additional vertical length, type B", Unit: "m", Clause: iec3 + ".2.2", Expr: "0.5*l_r", In: []*q{extra}, Provenance: mem}
	exemptR    = &q{Symbol: "R_l", Name: "resistance below which type A needs no least length", Unit: "ohm", Clause: limits.Clause, Provenance: mem}

	wanted   = &q{Symbol: "R_w", Name: "wanted resistance", Unit: "ohm", Clause: definition, Provenance: given, Reads: "/wanted_ohm"}
	measured = &q{Symbol: "R_E", Name: "earth resistance of the structure", Unit: "ohm", Clause: definition, Provenance: given}
	aimR     = &q{Symbol: "R_aim", Name: "earth resistance aimed at", Unit: "ohm", Clause: limits.Clause, Provenance: mem}
	usefulR  = &q{Symbol: "R_use", Name: "earth resistance up to which bonded electronics still profit", Unit: "ohm", Clause: limits.Clause, Provenance: read}
)

var quantities = trace.Number(
	rho, rhoMost, rhoLayer, spread, reading, probes, probeDeep, rhoI, wenner, wennerAll, testL, testD, rodSoil,
	rodL, rodD, rodN, rodS, radius, wireL, halfL, deep, image, ringD, gridA, gridLT, apart,
	neighbour, lambda, lambda3, lambda4,
	rAny, rRod, rPairFar, rPairNear, rRods, rWire, rRing, rGrid, ra, rm, raBoth, raAlone,
	lLeast, slope, offset, l1, l1Vertical, re, reRing, reGrid, extra, extraDown, exemptR,
	wanted, measured, aimR, usefulR,
)

// Quantities lists all symbols with unit, clause, formula and provenance.
func Quantities() []*trace.Quantity { return quantities }
