package wire

import (
	"strconv"

	"levinward/risk"
)

// LineEnds says what stands at the ends of a line, and with which other lines it shares a board, an electrode or its trunk.
type LineEnds struct {
	FarEarth      *Stated[risk.FarEarth] `json:"far_end_earth,omitempty"`
	FarElectrode  *string                `json:"far_electrode,omitempty" len:"[1,100]"`
	FarEnd        *Stated[risk.FarEnd]   `json:"far_end,omitempty"`
	FarWithstand  *float64               `json:"far_withstand_kv,omitempty" lim:"(0,1000]"`
	Board         *string                `json:"board,omitempty" len:"[1,100]"`
	Trunk         *string                `json:"branches_from,omitempty" len:"[1,100]"`
	ExplosiveZone *bool                  `json:"end_in_explosive_zone,omitempty"`
}

// ends takes what stands at the ends of a line. What is not stated is derived where it counts.
func (b *builder) ends(i int, w *Line, where Where, at []any) {
	l := &b.site.Input.Lines[i]
	l.FarEarth, l.FarEnd, l.FarWithstand = stated(w.FarEarth), stated(w.FarEnd), value(w.FarWithstand)
	l.FarElectrode, l.Board, l.Trunk = named(w.FarElectrode), named(w.Board), named(w.Trunk)
	b.text(l.FarElectrode, "lines", i, "far_electrode")
	b.text(l.Board, "lines", i, "board")
	switch {
	case l.FarEnd == risk.FarStructure && w.To == nil:
		b.fault(risk.RuleContradiction, pointer("lines", i, "far_end"), "structure needs its id in to")
	case l.FarEnd == risk.FarNetwork && w.To != nil:
		b.fault(risk.RuleContradiction, pointer("lines", i, "far_end"), "is network, and to names a structure: leave one of them out")
	}
	b.explosiveZone(i, w, where, at)
}

// explosiveZone places the end of a line in the explosive atmosphere of its structure unless it is stated to lie outside.
func (b *builder) explosiveZone(i int, w *Line, where Where, at []any) {
	l := &b.site.Input.Lines[i]
	explosive, unresolved := false, false
	for _, s := range []int{l.Structure, l.To} {
		switch {
		case s >= 0 && b.site.Input.Structures[s].Explosion != risk.NoExplosion:
			explosive = true
		case s < 0 && (s == l.Structure || w.To != nil): // its fault is found at the reference
			unresolved = true
		}
	}
	switch {
	case w.ExplosiveZone == nil && explosive:
		b.assume(defaultExplosiveEnd, where, at...)
	case w.ExplosiveZone != nil && *w.ExplosiveZone && !explosive && !unresolved:
		b.fault(risk.RuleContradiction, pointer("lines", i, "end_in_explosive_zone"), "needs an explosion_zone of the structure")
	}
	l.OutsideZone = w.ExplosiveZone != nil && !*w.ExplosiveZone
}

// trunks finds branches of lines that are not there, and lines that branch from each other in a circle.
func (b *builder) trunks() {
	lines := b.site.Input.Lines
	for i := range lines {
		if lines[i].Trunk == "" {
			continue
		}
		if _, there := b.lines[lines[i].Trunk]; !there {
			b.fault(risk.RuleUnknownReference, pointer("lines", i, "branches_from"), "there is no line "+strconv.Quote(lines[i].Trunk))
			continue
		}
		if b.branchesFromItself(i) {
			b.fault(risk.RuleContradiction, pointer("lines", i, "branches_from"), "the line branches from itself, directly or through others")
		}
	}
}

// branchesFromItself follows the trunks of a line, at most once through every line.
func (b *builder) branchesFromItself(i int) bool {
	lines := b.site.Input.Lines
	next := i
	for range lines {
		trunk, there := b.lines[lines[next].Trunk]
		if !there {
			return false
		}
		if next = trunk; next == i {
			return true
		}
	}
	return false
}
