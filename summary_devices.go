package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/spd"
)

// deviceGroup are entries of the schedule that ask for the same device for the same reasons.
type deviceGroup struct {
	entry  *wire.ScheduleEntry // the first
	places []string
	ends   []*wire.StressedEnd // of required devices at a line entrance
	// remarks of this group alone; those of several groups are listed once, with their numbers
	because, notes []string
}

// schedule lists the SPDs: what is to be ordered, then what is recommended, then what is not required.
func (p *page) schedule() {
	p.title("SPDs")
	if len(p.r.Schedule) == 0 {
		p.wrapped("  ", "  ", "No line enters an assessed structure.")
		return
	}
	groups := p.deviceGroups()
	shared := shareRemarks(groups)
	for i := range groups {
		p.deviceGroup(i+1, &groups[i])
	}
	if slices.ContainsFunc(groups, func(g deviceGroup) bool { return len(g.ends) > 0 }) {
		p.wrapped("  ", "  ", fmt.Sprintf("Lasts: for a device of just these ratings, with every flash counted as the worst and surges above %s.",
			quantity(p.stress.Ends[0].OperationsAbove, "kA", nearest)))
	}
	if len(shared) > 0 {
		p.wrapped("  ", "  ", "For several of these SPDs:")
	}
	for _, r := range shared {
		p.wrapped("  - ", "    ", readable(r.text)+" ("+strings.Join(r.names, ", ")+")")
	}
}

// deviceGroups puts entries that read alike together, in the order of need.
func (p *page) deviceGroups() []deviceGroup {
	var groups []deviceGroup
	keys := map[string]int{}
	for i := range p.r.Schedule {
		e := &p.r.Schedule[i]
		key := strings.Join(p.deviceLines(e), "\n") + "\n" + strings.Join(becauseOf(e), "\n") + "\n" + strings.Join(p.notesOf(e), "\n")
		n, there := keys[key]
		if !there {
			n = len(groups)
			keys[key] = n
			groups = append(groups, deviceGroup{entry: e, because: becauseOf(e), notes: p.notesOf(e)})
		}
		g := &groups[n]
		g.places = append(g.places, e.Line+" at "+e.Structure)
		if end := p.end(e); end != nil {
			g.ends = append(g.ends, end)
		}
	}
	order := []spd.Obligation{spd.Required, spd.Recommended, spd.NotRequired}
	slices.SortStableFunc(groups, func(a, b deviceGroup) int {
		return slices.Index(order, a.entry.Need) - slices.Index(order, b.entry.Need)
	})
	return groups
}

// end is what the years do to a required device at a line entrance, nil elsewhere.
func (p *page) end(e *wire.ScheduleEntry) *wire.StressedEnd {
	if !e.Required || e.Position != spd.LineEntrance {
		return nil
	}
	for i := range p.stress.Ends {
		if s := &p.stress.Ends[i]; s.Line == e.Line && s.Structure == e.Structure {
			return s
		}
	}
	return nil
}

// shareRemarks takes from the groups what several of them say, with the numbers of the groups.
func shareRemarks(groups []deviceGroup) grouped {
	var all grouped
	for i := range groups {
		for _, text := range groups[i].because {
			all.add(reasonLabel(groups[i].entry)+text, strconv.Itoa(i+1))
		}
		for _, text := range groups[i].notes {
			all.add(text, strconv.Itoa(i+1))
		}
	}
	shared := slices.DeleteFunc(all, func(r sameText) bool { return len(r.names) == 1 })
	for i := range groups {
		isShared := func(text string) bool {
			return slices.ContainsFunc(shared, func(r sameText) bool { return r.text == text })
		}
		because := reasonLabel(groups[i].entry)
		groups[i].because = slices.DeleteFunc(groups[i].because, func(text string) bool { return isShared(because + text) })
		groups[i].notes = slices.DeleteFunc(groups[i].notes, isShared)
	}
	return shared
}

// notForThis begins a reason that does not ask for a device.
const notForThis = "Not for this reason: "

// becauseOf lists the rules that ask for a device; where none does, why each does not.
func becauseOf(e *wire.ScheduleEntry) (texts []string) {
	for _, b := range e.Because {
		if !strings.HasPrefix(b.Rule, notForThis) {
			texts = append(texts, strings.TrimSuffix(b.Rule, ".")+" ("+b.Clause+").")
		}
	}
	return texts
}

// reasonLabel says what the reasons of an entry are for.
func reasonLabel(e *wire.ScheduleEntry) string {
	if e.Need == spd.NotRequired {
		return "Not required: "
	}
	return "Because: "
}

// joined writes the reasons of a group as one text.
func joined(e *wire.ScheduleEntry, because []string) []string {
	if len(because) == 0 {
		return nil
	}
	return []string{reasonLabel(e) + strings.Join(because, " ")}
}

// notesOf lists the notes that the earth did not say already.
func (p *page) notesOf(e *wire.ScheduleEntry) []string {
	return slices.DeleteFunc(slices.Clone(e.Notes), func(text string) bool {
		return slices.ContainsFunc(p.earths(), func(o earthOf) bool { return o.advice == text })
	})
}

var needWords = map[spd.Obligation]string{
	spd.Required: "Required", spd.Recommended: "Recommended", spd.NotRequired: "Not required; if fitted",
}

func (p *page) deviceGroup(number int, g *deviceGroup) {
	e := g.entry
	const indent = "     "
	head := needWords[e.Need] + ": "
	if e.EarthFirst {
		head = needWords[e.Need] + ", earth first: "
	}
	if n := len(g.places); n > 1 {
		head += strconv.Itoa(n) + " x "
	}
	p.wrapped(fmt.Sprintf("  %2d ", number), indent, head+deviceOf(e))
	p.wrapped(indent, indent, enumerate(g.places)+" ("+words(string(e.Position))+")")
	for _, line := range p.deviceLines(e)[2:] {
		p.wrapped(indent, indent+"  ", line)
	}
	p.modes(indent, e)
	if text := lasting(g.ends); text != "" {
		p.wrapped(indent, indent+"  ", text)
	}
	for _, text := range slices.Concat(joined(e, g.because), g.notes) {
		p.wrapped(indent+"- ", indent+"  ", readable(text))
	}
}

// deviceOf describes the device.
func deviceOf(e *wire.ScheduleEntry) string {
	what := "test class " + string(e.TestClass)
	if e.Current != nil {
		what = map[risk.Current]string{risk.AC: "a.c., ", risk.DC: "d.c., "}[*e.Current] + what
	}
	if e.Level != nil {
		what += ", LPL " + e.Level.String()
	}
	if e.Connection != nil {
		what += ", connection type " + *e.Connection
	}
	if e.Conductors != nil {
		what += fmt.Sprintf(", %d protected conductors", *e.Conductors)
	}
	if e.Standard != nil {
		what += ", " + *e.Standard
	}
	return what
}

// deviceLines says what is asked of a device beside its modes; the first two lines tell apart what reads alike.
func (p *page) deviceLines(e *wire.ScheduleEntry) []string {
	lines := []string{fmt.Sprint(e.Need, e.EarthFirst) + deviceOf(e), string(e.Position) + fmt.Sprint(e.Modes)}
	if !e.Specifiable {
		lines = append(lines, "CANNOT BE SPECIFIED yet: the notes say what to read where.")
	}
	if e.ServedBy != nil {
		lines = append(lines, "Served by the SPD of "+*e.ServedBy+" at the same board.")
	}
	lines = append(lines, with("order: ",
		value("U_C ", e.Order.Uc, "V", nearest), value("U_C at most ", e.Order.UcMax, "V", nearest), value("U_P ", e.Order.Up, "kV", nearest),
		value("I_n ", e.Order.In, "kA", nearest), value("I_imp ", e.Order.Iimp, "kA", nearest), value("I_imp N-PE ", e.Order.IimpNPE, "kA",
			nearest),
		value("U_OC ", e.Order.Uoc, "kV", nearest))...)
	lines = append(lines, with("",
		value("U_C at most ", e.UcMax, "V", downwards), value("short-circuit rating at least ", e.ShortCircuitMin, "kA", upwards),
		value("I_max usually ", e.ImaxMin, "kA", upwards), value("I_imp in total at least ", e.IimpTotalMin, "kA", upwards),
		value("U_OC at least ", e.UocMin, "kV", upwards), value("with its leads at most ", e.EffectiveMax, "kV", downwards))...)
	lines = append(lines, with("leads ",
		value("together at most ", e.Leads.MaxLength, "m", downwards), value("to earth at least ", e.Leads.Earth, "mm² Cu", upwards),
		value("to live conductors at least ", e.Leads.Live, "mm² Cu", upwards))...)
	return append(lines, tovOf(e)...)
}

// value writes a number behind its name, nothing where it is not known.
func value(name string, o spd.Opt, unit string, r rounding) string {
	if !o.Valid {
		return ""
	}
	return name + quantity(o.Value, unit, r)
}

// with joins the values that are known into one line, none where none is.
func with(label string, values ...string) []string {
	known := slices.DeleteFunc(values, func(v string) bool { return v == "" })
	if len(known) == 0 {
		return nil
	}
	return []string{label + strings.Join(known, ", ")}
}

// tovOf lists the temporary overvoltages that the device has to bear.
func tovOf(e *wire.ScheduleEntry) []string {
	var values []string
	for _, m := range e.Modes {
		for _, o := range m.TOV {
			values = append(values, m.Mode+" "+quantity(o.Volt, "V", upwards)+" for "+o.Duration+" ("+words(o.After)+")")
		}
	}
	if values == nil && e.TOVMin.Valid {
		values = []string{quantity(e.TOVMin.Value, "V", upwards) + " for 5 s between line and neutral"}
	}
	return with("temporary overvoltage: ", values...)
}

// modes writes the ratings by mode of protection; columns that nothing is asked in are left out.
func (p *page) modes(indent string, e *wire.ScheduleEntry) {
	columns := []struct {
		title string
		of    func(*wire.ScheduleMode) string
	}{
		{"U_C at least", func(m *wire.ScheduleMode) string { return value("", m.UcMin, "V", upwards) }},
		{"U_P at most", func(m *wire.ScheduleMode) string { return value("", m.UpMax, "kV", downwards) }},
		{"I_n at least", func(m *wire.ScheduleMode) string { return value("", m.InMin, "kA", upwards) }},
		{"I_imp at least", func(m *wire.ScheduleMode) string { return value("", m.IimpMin, "kA", upwards) }},
	}
	rows := make([][]string, len(e.Modes)+1)
	rows[0] = []string{"mode"}
	for i := range e.Modes {
		rows[i+1] = []string{e.Modes[i].Mode}
	}
	for _, c := range columns {
		cells, found := []string{c.title}, false
		for i := range e.Modes {
			cell := c.of(&e.Modes[i])
			found = found || cell != ""
			if cell == "" {
				cell = "-"
			}
			cells = append(cells, cell)
		}
		for i := range rows {
			if found {
				rows[i] = append(rows[i], cells[i])
			}
		}
	}
	p.table(indent, rows)
}

// lasting says how often devices of a group act and how likely they are to be destroyed.
func lasting(ends []*wire.StressedEnd) string {
	if len(ends) == 0 {
		return ""
	}
	var operations, years, chances []float64
	for _, e := range ends {
		d := &e.Duties[0]
		operations = append(operations, e.Operations)
		if d.ReturnPeriod.Valid {
			years = append(years, d.ReturnPeriod.Value)
		}
		for _, o := range d.Overstress {
			if o.Years == 10 {
				chances = append(chances, o.Probability)
			}
		}
	}
	text := "Lasts: acts " + between(operations) + " times a year"
	if len(years) > 0 {
		text += ", overstressed about once in " + between(years) + " years"
	}
	if len(chances) > 0 {
		least, most := percent(slices.Min(chances)), percent(slices.Max(chances))
		if least != most {
			most = least + " to " + most
		}
		text += " (" + most + " in 10 years)"
	}
	return text
}

// between writes the least and the largest of values, one figure where they read alike.
func between(values []float64) string {
	least, most := frequency(slices.Min(values)), frequency(slices.Max(values))
	if least == most {
		return least
	}
	return least + " to " + most
}
