package spd

import (
	"levinward/risk"
	"levinward/risk/trace"
)

const stdSeparation = "IEC 62305-3:2010, 6.3"

// Rows and values of the separation distance s = k_i k_c l / k_m.
const (
	separationAir = iota
	separationSolid
)

var (
	separationClass = &trace.Table{Number: "62305-3 10", Title: "Coefficient k_i of the separation distance by class of LPS",
		Clause: stdSeparation, Symbols: []string{"k_i"}, Rows: []trace.Row{
			row("I", memory, 0.08),
			row("II", memory, 0.06),
			row("III-IV", memory, 0.04),
		}}
	separationPaths = &trace.Table{Number: "62305-3 12", Title: "Coefficient k_c of the separation distance by number of down-conductors",
		Clause: stdSeparation, Symbols: []string{"k_c"}, Rows: []trace.Row{
			row("1, or not known", memory, 1),
			row("2", memory, 0.66),
			row("3 or more", memory, 0.44),
		}}
	separationMaterial = &trace.Table{Number: "62305-3 11", Title: "Coefficient k_m of the separation distance by material of the gap",
		Clause: stdSeparation, Symbols: []string{"k_m"}, Rows: []trace.Row{
			row("air", memory, 1),
			row("concrete, bricks, wood", memory, 0.5),
		}}
)

// Separation distance.
var (
	qKi         = define(trace.Quantity{Symbol: "k_i", Name: "coefficient by class of LPS", Clause: stdSeparation, Provenance: memory})
	qKc         = define(trace.Quantity{Symbol: "k_cs", Name: "coefficient by number of down-conductors, k_c of the clause", Clause: stdSeparation, Provenance: memory})
	qKm         = define(trace.Quantity{Symbol: "k_m", Name: "coefficient by material of the gap", Clause: stdSeparation, Provenance: memory})
	qAlong      = define(trace.Quantity{Symbol: "l_s", Name: "length along the LPS to the next bonding", Unit: "m", Clause: stdSeparation, Provenance: trace.Given})
	qSeparation = define(trace.Quantity{Symbol: "s", Name: "separation distance", Unit: "m", Clause: stdSeparation,
		Expr: "k_i*k_cs*l_s/k_m", In: on{qKi, qKc, qAlong, qKm}, Provenance: memory})
)

// separation returns the separation distance that the LPS of the structure asks for [m]; false where its inputs are not known.
func (s *scheduler) separation() (float64, bool) {
	gap := &s.site.s.Separation
	if !s.site.lps || gap.Along <= 0 {
		return 0, false
	}
	t := s.t
	ki := t.Pick(qKi, separationClass, rowFromI(s.site.level), 0)
	kc := t.Pick(qKc, separationPaths, separationRow(s.site.s.DownConductors), 0)
	material := separationSolid
	if gap.Air {
		material = separationAir
	}
	km := t.Pick(qKm, separationMaterial, material, 0)
	l := t.Noted(qAlong, gap.Along, "of the structure")
	return t.Set(qSeparation, ki*kc*l/km), true
}

func separationRow(downConductors int) int {
	return min(max(downConductors, 1), 3) - 1
}

// separationKept reports that the distance between an array and the LPS is kept: as stated, or computed from the distance that there is.
func (x *end) separationKept() bool {
	return x.l.Electrical.SeparationKept || x.site.separated
}

// separates reports that the distance that there is is at least the one that is asked for.
func (s *scheduler) separates() bool {
	needed, ok := s.separation()
	return ok && s.site.s.Separation.Distance != nil && *s.site.s.Separation.Distance >= needed
}

// separationNote states the computed distance beside the one that there is.
func (s *scheduler) separationNote(x *end) {
	needed, ok := s.separation()
	if !ok || !x.pv() || x.l.Electrical.ArrayPlace == risk.ArrayElsewhere {
		return
	}
	text := "Separation distance between array and lightning protection system: at least " +
		"" + amount(needed, "m") + " (from memory of the clause)"
	switch gap := s.site.s.Separation.Distance; {
	case gap == nil:
		s.note(text + "; measure the distance that there is.")
	case *gap >= needed:
		s.note(text + "; there are " + amount(*gap, "m") + ", it is kept.")
	default:
		s.note(text + "; there are " + amount(*gap, "m") + ", it is not kept: bond the frame, or move it.")
	}
}
