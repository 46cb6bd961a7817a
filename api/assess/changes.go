package assess

import (
	"cmp"
	"slices"

	"levinward/risk"
)

const (
	// screenMesh is the mesh of a spatial screen that can be built of reinforcement and metal cladding [m]; common practice,
	// no published source.
	screenMesh = 2
	// shieldResistance is R_S of a usual shielded cable [ohm/km]: the row of Table B.8 up to 5.
	shieldResistance = 5
	// mostChanges bounds the list for one structure: those with the largest effect.
	mostChanges = 10
	// leastEffect is the fraction of the worst ratio that a change must save to be listed.
	leastEffect = 1e-3
)

// changes evaluates what else a designer would change, one by one on top of the recommended set, at each structure whose risks
// exceed a limit as things are. Listed are the changes that lower its worst ratio of risk to limit, the largest effect first.
func changes(in *risk.Input, res *risk.Result, rec *risk.Recommendation, ed risk.Edition) []risk.Change {
	var all []risk.Change
	for i := range rec.Set.Structures {
		m := &rec.Set.Structures[i]
		if r := &res.Structures[m.Structure]; exceeded(r) {
			all = append(all, changesAt(in, r, m, ed)...)
		}
	}
	return all
}

// exceeded reports that some risk of a structure exceeds its limit as things are.
func exceeded(r *risk.StructureResult) bool {
	return slices.ContainsFunc(r.Risks[:], func(k risk.Risk) bool { return k.Applies && !k.Acceptable() })
}

// worstRatio is the worst of risks over the limits of a result.
func worstRatio(risks *[risk.Losses]float64, r *risk.StructureResult) (worst float64) {
	for k := range risks {
		if limit := r.Risks[k].Tolerable; r.Risks[k].Applies && limit > 0 {
			worst = max(worst, risks[k]/limit)
		}
	}
	return worst
}

func changesAt(in *risk.Input, r *risk.StructureResult, m *risk.StructureMeasures, ed risk.Edition) []risk.Change {
	one := single(in, m.Structure)
	measures := m.Measures
	measures.Ends = slices.Clone(measures.Ends)
	for e := range measures.Ends {
		measures.Ends[e].Line = slices.Index(one.lines, measures.Ends[e].Line)
	}
	before := worstRatio(&m.Risks, r)
	var found []risk.Change
	try := func(kind risk.ChangeKind, line, zone int, change func()) {
		one.reset()
		change()
		c := risk.Change{Structure: m.Structure, Line: -1, Zone: zone, Kind: kind, Risks: ed.Evaluator(&one.scratch, 0).Risks(&measures)}
		if line >= 0 {
			c.Line = one.lines[line]
		}
		if worstRatio(&c.Risks, r) < before*(1-leastEffect) {
			found = append(found, c)
		}
	}
	s := &one.pristine.Structures[0]
	if !s.Screen.Present || s.Screen.Mesh > screenMesh {
		try(risk.ScreenStructure, -1, -1, func() { one.scratch.Structures[0].Screen = risk.Screen{Present: true, Mesh: screenMesh} })
	}
	for l := range one.pristine.Lines {
		lineChanges(one, l, try)
	}
	for z := range s.Zones {
		if s.Zones[z].Place == risk.Inside && s.Zones[z].FireRisk > risk.LowFireRisk {
			try(risk.LessFireLoad, -1, z, func() { one.scratch.Structures[0].Zones[z].FireRisk-- })
		}
	}
	slices.SortStableFunc(found, func(a, b risk.Change) int { return cmp.Compare(worstRatio(&a.Risks, r), worstRatio(&b.Risks, r)) })
	return found[:min(len(found), mostChanges)]
}

// lineChanges tries what can be changed at line l.
func lineChanges(one *alone, l int, try func(risk.ChangeKind, int, int, func())) {
	now, next := &one.pristine.Lines[l], &one.scratch.Lines
	if now.Shield.Type == risk.NoShield || now.Shield.Type == risk.Shielded && !now.Shield.Bonded {
		try(risk.ShieldLine, l, -1, func() {
			(*next)[l].Shield = risk.Shield{Type: risk.Shielded, Bonded: true, Resistance: shieldResistance}
		})
	}
	if slices.ContainsFunc(now.Sections, func(s risk.Section) bool { return s.Installation == risk.Aerial }) {
		try(risk.BuryLine, l, -1, func() {
			for s := range (*next)[l].Sections {
				if (*next)[l].Sections[s].Installation == risk.Aerial {
					(*next)[l].Sections[s].Installation = risk.Buried
				}
			}
		})
	}
	direct := now.Service != risk.Telecom && now.Electrical.Current == risk.DC // no interface isolates it
	if now.Shield.Type != risk.IsolatingInterface && !direct {
		try(risk.IsolateLine, l, -1, func() { (*next)[l].Shield = risk.Shield{Type: risk.IsolatingInterface} })
	}
}
