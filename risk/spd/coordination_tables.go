package spd

import "levinward/risk/trace"

// Rows of coordDecoupling.
const (
	coordRowLightning = iota
	coordRowLimiting
)

var coordDecoupling = &trace.Table{Number: "decoupling",
	Title:  "Cable, or inductance of cable and decoupling inductor, between two stages unless the maker states otherwise; a rule of thumb",
	Clause: trade, Symbols: []string{"cable [m]", "inductance [uH]"}, Rows: []trace.Row{
		row("behind a class I, voltage-switching or combination device, or one of unknown technology", practice, 10, 15),
		row("limiting behind limiting, class II and below; inductance in proportion to the row above", practice, 5, 7.5),
	}}

const (
	coordGradient    = 25.0 // V/m, of the protection distance
	coordPreferred   = 0.5  // preferred length of both leads together [m]
	coordLeadsLimit  = 1.0  // longest length of both leads together [m]
	coordProtection  = "IEC 62305-4:2006 Annex D, no longer in the edition of 2010"
	coordMaker       = "statement of the maker"
	coordEffectiveUp = "IEC 62305-4:2010 Annex C"
)

var coordQuantities []*trace.Quantity

func coordDefine(q trace.Quantity) *trace.Quantity {
	coordQuantities = append(coordQuantities, &q)
	return &q
}

func init() { trace.Number(coordQuantities...) }

var (
	qCoordUw = coordDefine(trace.Quantity{Symbol: "U_W", Name: "impulse withstand of the equipment at the end of the line", Unit: "kV", Reads: "/withstand_kv", BranchOf: qUw})
	qCoordUp = coordDefine(trace.Quantity{Symbol: "U_P", Name: "voltage protection level of the device", Unit: "kV", Clause: stressDevice, Reads: "device/up_kv", BranchOf: qUp})
	qCoordDU = coordDefine(trace.Quantity{Symbol: "dU", Name: "voltage on the leads, the larger of both rules", Unit: "kV", Clause: coordEffectiveUp,
		Expr: "max(c_l*l,k_l*U_P)", In: on{qLeadC, qLead, qLeadK, qUp}, Provenance: memory})
	qCoordLead = coordDefine(trace.Quantity{Symbol: "l", Name: "length of both leads of the device together", Unit: "m", Reads: "lead_length_m", BranchOf: qLead})
	qCoordUpf  = coordDefine(trace.Quantity{Symbol: "U_PF", Name: "effective protection level, limiting, combination or unknown technology", Unit: "kV", Clause: coordEffectiveUp,
		Expr: "U_P+dU", In: on{qUp, qCoordDU}, Provenance: read})
	qCoordUpfSwitch = coordDefine(trace.Quantity{Symbol: "U_PF", Name: "effective protection level, voltage-switching", Unit: "kV", Clause: coordEffectiveUp,
		Expr: "max(U_P,dU)", In: on{qUp, qCoordDU}, Provenance: read, BranchOf: qCoordUpf})
	qCoordHalf  = coordDefine(trace.Quantity{Symbol: "U_half", Name: "half of the impulse withstand: below it the protection distance is ignored", Unit: "kV", Clause: coordProtection, Expr: "U_W/2", In: on{qUw}, Provenance: read})
	qCoordReach = coordDefine(trace.Quantity{Symbol: "l_po", Name: "protection distance for oscillation; guidance only", Unit: "m", Clause: coordProtection,
		Expr: "max(0,(U_W-U_PF)*1000/25)", In: on{qUw, qCoordUpf}, Provenance: read})
	qCoordCable = coordDefine(trace.Quantity{Symbol: "l_c", Name: "cable behind the stage", Unit: "m", Reads: "cable_after_m"})
	qCoordAt    = coordDefine(trace.Quantity{Symbol: "x", Name: "place of the stage, in metres of cable from the first", Unit: "m"})
	qCoordNext  = coordDefine(trace.Quantity{Symbol: "x", Name: "place of the next stage, in metres of cable from the first", Unit: "m", Clause: "addition",
		Expr: "x+l_c", In: on{qCoordAt, qCoordCable}, Provenance: trace.Computed, BranchOf: qCoordAt})
	qCoordEnd = coordDefine(trace.Quantity{Symbol: "x_po", Name: "place where the protection distance ends; guidance only", Unit: "m", Clause: coordProtection,
		Expr: "x+l_po", In: on{qCoordAt, qCoordReach}, Provenance: read})
	qCoordCoil  = coordDefine(trace.Quantity{Symbol: "L_i", Name: "decoupling inductor behind the stage", Unit: "uH", Reads: "inductor_uh"})
	qCoordTotal = coordDefine(trace.Quantity{Symbol: "L_c", Name: "inductance between two stages, cable at 1 uH/m", Unit: "uH", Clause: trade,
		Expr: "1*l_c+L_i", In: on{qCoordCable, qCoordCoil}, Provenance: practice})
	qCoordNeedCable = coordDefine(trace.Quantity{Symbol: "l_min", Name: "cable that decouples two stages, rule of thumb", Unit: "m", Clause: trade, Provenance: practice})
	qCoordNeedCoil  = coordDefine(trace.Quantity{Symbol: "L_min", Name: "inductance that decouples two stages, rule of thumb", Unit: "uH", Clause: trade, Provenance: practice})
)
