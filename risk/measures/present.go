package measures

import (
	"slices"

	"levinward/risk"
)

// Present is what protects a structure already. A measure counts where every
// zone it belongs to has it; fire protection where every inside zone with a risk of fire has it, wiring where every internal system has it.
func Present(in *risk.Input, structure int) risk.Measures {
	s := &in.Structures[structure]
	m := risk.Measures{LPS: s.LPS}
	all := risk.WarningNotices | risk.Insulation | risk.SoilEquipotentialization | risk.PhysicalRestriction
	onStructure, onLine, fire := all, all, risk.AutomaticFireProtection
	wiring := risk.ShieldedWiring
	inside, burns, wired := false, false, false
	for i := range s.Zones {
		z := &s.Zones[i]
		onStructure &= z.StructureShock
		if z.Place == risk.Outside {
			continue
		}
		inside = true
		onLine &= z.LineShock
		for n := range z.Systems {
			wiring, wired = min(wiring, z.Systems[n].Wiring), true
		}
		if z.FireRisk != risk.NoFireRisk {
			burns = true
			fire = min(fire, z.FireProtection)
		}
	}
	if len(s.Zones) > 0 {
		m.StructureShock = onStructure
	}
	if inside {
		m.LineShock = onLine
	}
	if burns {
		m.FireProtection = fire
	}
	if wired {
		m.Wiring = wiring
	}
	for i := range in.Lines {
		l := &in.Lines[i]
		if l.Ends(structure) {
			m.Ends = append(m.Ends, risk.EndMeasures{Line: i, Bonding: l.BondingSPD, Coordinated: l.CoordinatedSPD})
		}
	}
	return m
}

// twins gives, for each end of m, the last end before it whose line is the
// same in everything that is assessed, -1 where there is none. Measures may
// be exchanged between such ends without changing a risk.
func twins(in *risk.Input, structure int, m *risk.Measures) []int {
	t := make([]int, len(m.Ends))
	for i := range t {
		t[i] = -1
		for j := i - 1; j >= 0 && t[i] < 0; j-- {
			if alike(in, structure, m.Ends[i].Line, m.Ends[j].Line) {
				t[i] = j
			}
		}
	}
	return t
}

// alike reports whether two lines of a structure differ in their names only.
func alike(in *risk.Input, structure, i, j int) bool {
	a, b := &in.Lines[i], &in.Lines[j]
	if a.Structure != b.Structure || a.To != b.To || a.Service != b.Service || a.Shield != b.Shield ||
		a.Withstand != b.Withstand || a.BondingSPD != b.BondingSPD || a.CoordinatedSPD != b.CoordinatedSPD ||
		a.Electrical != b.Electrical || !slices.Equal(a.Sections, b.Sections) {
		return false
	}
	zones := in.Structures[structure].Zones
	for k := range zones {
		if !feedsAlike(zones[k].Systems, i, j) {
			return false
		}
	}
	return true
}

// feedsAlike reports whether lines i and j feed the same internal systems, in the same order.
func feedsAlike(systems []risk.System, i, j int) bool {
	next := 0
	for _, a := range systems {
		if a.Line != i {
			continue
		}
		for next < len(systems) && systems[next].Line != j {
			next++
		}
		if next == len(systems) || systems[next].Wiring != a.Wiring || systems[next].Withstand != a.Withstand {
			return false
		}
		next++
	}
	for ; next < len(systems); next++ {
		if systems[next].Line == j {
			return false
		}
	}
	return true
}

// Best is everything that can be built at a structure with a class of LPS, each measure at its best; with what the
// costs of the input leave open.
func Best(in *risk.Input, structure int, class risk.LPS) risk.Measures {
	s := &in.Structures[structure]
	p := Present(in, structure)
	m := risk.Measures{LPS: class, FireProtection: risk.AutomaticFireProtection, StructureShock: p.StructureShock | risk.WarningNotices,
		LineShock: p.LineShock | risk.WarningNotices | risk.Insulation, Wiring: p.Wiring, Ends: p.Ends}
	if class != risk.NoLPS || s.NaturalLPS {
		m.StructureShock |= risk.Insulation
	}
	if in.Costs.Wiring != nil {
		m.Wiring = risk.ShieldedWiring
	}
	for i := range m.Ends {
		e := &m.Ends[i]
		for _, spd := range []*risk.SPD{&e.Bonding, &e.Coordinated} {
			if spd.Level < risk.LevelI {
				*spd = risk.SPD{Level: risk.LevelI}
			}
		}
	}
	return m
}
