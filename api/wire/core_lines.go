package wire

import (
	"slices"
	"strconv"

	"levinward/risk"
	"levinward/risk/spd"
)

// loose reports that a line names a structure that is not there, so that nobody knows where it ends.
func (b *builder) loose(l int) bool {
	line := &b.site.Input.Lines[l]
	return line.Structure < 0 || line.To < 0 && (*b.in.Lines)[l].To != nil
}

// assumedLines gives every assessed structure a supply line where the input says nothing of lines.
func (b *builder) assumedLines() {
	one := 0
	for i := range b.site.Input.Structures {
		if !b.site.Input.Structures[i].NotAssessed {
			one++
		}
	}
	b.assume(defaultLines, nowhere)
	for i := range b.site.Input.Structures {
		s := &b.site.Input.Structures[i]
		if s.NotAssessed {
			continue
		}
		id := "supply"
		if one > 1 {
			id = "supply-" + s.ID
		}
		b.site.Input.Lines = append(b.site.Input.Lines, risk.Line{})
		b.lineOf(len(b.site.Input.Lines)-1, &Line{ID: id, Structure: s.ID})
	}
}

func (b *builder) line(i int) { b.lineOf(i, &(*b.in.Lines)[i]) }

func (b *builder) lineOf(i int, w *Line) {
	l := &b.site.Input.Lines[i]
	where := Where{-1, -1, i, -1}
	at := []any{"lines", i}
	l.ID = w.ID
	l.Structure = b.reference(w.Structure, pointer("lines", i, "structure"))
	l.To = -1
	if w.To != nil {
		l.To = b.reference(*w.To, pointer("lines", i, "to"))
		if l.To == l.Structure && l.To >= 0 {
			b.fault(risk.RuleSameStructure, pointer("lines", i, "to"), "is the structure the line begins at; name another one or leave to out for the network")
		}
	}
	l.SharedRoute = w.SharedRoute
	l.Service = or(b, w.Service, defaultService, risk.LowVoltage, where, at...)
	b.sections(i, w, where, at)
	b.shield(i, w, where, at)
	b.electrical(l, w, i, where, at)
	b.ends(i, w, where, at)
	if w.Withstand != nil {
		l.Withstand = *w.Withstand
	} else {
		b.withstand(l, where, at)
	}
	l.BondingSPD = risk.SPD(or(b, w.BondingSPD, defaultBonding, SPD{}, where, at...))
	l.CoordinatedSPD = risk.SPD(or(b, w.CoordinatedSPD, defaultCoordinated, SPD{}, where, at...))
}

func (b *builder) withstand(l *risk.Line, where Where, at []any) {
	u := spd.Withstand(l.Service, &l.Electrical, b.site.Input.Reviews)
	l.Withstand = u.Withstand
	d := *defaultWithstand
	d.Value, d.Reason, d.Clause, d.Mark = format(u.Withstand), "not given: "+u.Reason, u.Clause, u.Provenance
	b.assume(&d, where, at...)
}

// reference finds a structure by its id, -1 where there is none.
func (b *builder) reference(id, pointer string) int {
	if i, ok := b.structures[id]; ok {
		return i
	}
	b.fault(risk.RuleUnknownReference, pointer, "there is no structure "+strconv.Quote(id))
	return -1
}

func (b *builder) sections(i int, w *Line, where Where, at []any) {
	l := &b.site.Input.Lines[i]
	if w.Sections == nil {
		s := risk.Section{Service: l.Service}
		s.Installation = or(b, w.Installation, defaultInstallation, risk.Aerial, where, at...)
		s.Length = or(b, w.Length, defaultLength, 1000, where, at...)
		s.Environment = b.environment(nil)
		l.Sections = []risk.Section{s}
		return
	}
	if w.Installation != nil {
		b.fault(risk.RuleContradiction, pointer("lines", i, "installation"), "stands in each section where sections are given")
	}
	if w.Length != nil {
		b.fault(risk.RuleContradiction, pointer("lines", i, "length_m"), "stands in each section where sections are given")
	}
	l.Sections = make([]risk.Section, len(*w.Sections))
	for n := range *w.Sections {
		ws, s := &(*w.Sections)[n], &l.Sections[n]
		at := []any{"lines", i, "sections", n}
		where.Entry = n
		s.Service = l.Service
		if ws.Service != nil {
			s.Service = *ws.Service
		}
		s.Installation = or(b, ws.Installation, defaultInstallation, risk.Aerial, where, at...)
		s.Length, s.Drawn = b.sectionLength(i, n, ws, where), ws.Route != nil
		s.Environment = b.environment(ws.Environment)
	}
}

// environment is that of the section, else of the site; its default is listed once.
func (b *builder) environment(own *risk.Environment) risk.Environment {
	switch {
	case own != nil:
		return *own
	case b.in.Environment != nil:
		return *b.in.Environment
	}
	for i := range b.site.Assumed {
		if b.site.Assumed[i].Default == defaultEnvironment {
			return risk.Rural
		}
	}
	b.assume(defaultEnvironment, nowhere)
	return risk.Rural
}

// ownEnvironments keeps the plausible environments of the site from the sections that state their own.
func (b *builder) ownEnvironments() {
	own := map[string][]Section{}
	for _, l := range *b.in.Lines {
		if l.Sections != nil && slices.ContainsFunc(*l.Sections, func(s Section) bool { return s.Environment != nil }) {
			own[l.ID] = *l.Sections
		}
	}
	assumed := slices.IndexFunc(b.site.Assumed, func(a Assumed) bool { return a.Default == defaultEnvironment })
	if len(own) == 0 || assumed < 0 {
		return
	}
	d := *defaultEnvironment
	d.Plausible = environments(func(l *risk.Line, section int) bool {
		sections := own[l.ID]
		return sections == nil || sections[section].Environment == nil
	}, risk.Suburban, risk.Urban)
	b.site.Assumed[assumed].Default = &d
}

func (b *builder) shield(i int, w *Line, where Where, at []any) {
	l := &b.site.Input.Lines[i]
	if w.Shield == nil {
		b.assume(defaultShield, where, at...)
		return
	}
	l.Shield.Type = *w.Shield.Type
	at = []any{"lines", i, "shield"}
	if l.Shield.Type == risk.Shielded || l.Shield.Type == risk.ProtectiveCable {
		l.Shield.Bonded = or(b, w.Shield.Bonded, defaultShieldBonded, false, where, at...)
		l.Shield.Resistance = or(b, w.Shield.Resistance, defaultShieldResistance, 0, where, at...)
		l.Shield.Conductor = value(w.Shield.Conductor)
		return
	}
	if w.Shield.Resistance != nil {
		b.fault(risk.RuleNotApplicable, pointer("lines", i, "shield", "resistance_ohm_per_km"), "only a shielded line or a protective cable has a shield resistance")
	}
	if w.Shield.Conductor != nil {
		b.fault(risk.RuleNotApplicable, pointer("lines", i, "shield", "conductor_resistance_ohm_per_km"),
			"only the conductors of a shielded line or of a protective cable share current with a shield")
	}
}
