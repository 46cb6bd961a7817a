package main

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/spd"
)

// opening writes the name of the site and five lines: who reads only these must not go wrong.
func (p *page) opening() {
	in := p.r.Input
	name := in.Name
	if in.Reference != "" {
		name += " (" + in.Reference + ")"
	}
	p.wrapped("", "", name)
	p.print("\n")
	p.labelled("Answer", p.answer())
	p.labelled("First", p.first())
	p.labelled("Order", fit(p.shopping(), "nothing"))
	p.labelled("Find out", p.findOut())
	p.labelled("Caution", shortCaution)
}

// shortCaution is the first caution in a line.
const shortCaution = "screening aid: local codes and a licensed practitioner decide."

const label = 10 // width of the labels of the opening

func (p *page) labelled(name, text string) {
	p.wrapped(fmt.Sprintf("%-*s", label, name), strings.Repeat(" ", label), text)
}

// fit lists as many items as a line of the opening has room for, and counts the others.
func fit(items []string, none string) string {
	if len(items) == 0 {
		return none
	}
	for n := len(items); n > 1; n-- {
		text := strings.Join(items[:n], "; ")
		if more := len(items) - n; more > 0 {
			text += fmt.Sprintf("; %d more below", more)
		}
		if utf8.RuneCountInString(text) <= pageWidth-label {
			return text
		}
	}
	if len(items) == 1 {
		return items[0]
	}
	return fmt.Sprintf("%s; %d more below", items[0], len(items)-1)
}

// shortLosses name the types of loss where there is little room.
var shortLosses = [risk.Losses]string{"human life", "public service", "heritage", "value"}

// answer says whether the risks are within their limits, now and with the measures.
func (p *page) answer() string {
	assessed, over := 0, 0
	for i := range p.r.Structures {
		s := &p.r.Structures[i]
		if s.Assessed {
			assessed++
		}
		if exceeds(s) {
			over++
		}
	}
	now, left := p.worst(nil), p.worst(p.r.Recommendation.RisksAfter)
	switch {
	case now.loss == "":
		return "no risk has a limit; the cost decides."
	case over == 0 && countNeeded(p.r.Schedule, spd.Required) > 0:
		return "risk acceptable (" + share(now.ratio) + " of the limit); SPDs are required all the same."
	case over == 0:
		return "acceptable: " + now.loss + " " + ofLimit(now.ratio) + "."
	}
	then := "; at best " + share(left.ratio)
	if p.r.Recommendation.Sufficient {
		then = "; with measures " + share(left.ratio)
	}
	if assessed == 1 {
		return "not acceptable: " + now.loss + " " + ofLimit(now.ratio) + then + "."
	}
	where := fmt.Sprintf("%d of %d structures", over, assessed)
	if over == assessed {
		where = fmt.Sprintf("all %d structures", over)
	}
	return shortest("not acceptable: "+where+", up to "+ofLimit(now.ratio)+then+".",
		"not acceptable: "+where+", up to "+share(now.ratio)+then+".",
		"not acceptable: "+where+then+".")
}

// shortest is the first of the texts that has room in a line of the opening, the last where none has.
func shortest(texts ...string) string {
	for _, text := range texts {
		if utf8.RuneCountInString(text) <= pageWidth-label {
			return text
		}
	}
	return texts[len(texts)-1]
}

// countNeeded counts the devices of an obligation that are not served by those of another line.
func countNeeded(schedule []wire.ScheduleEntry, need spd.Obligation) (n int) {
	for i := range schedule {
		if schedule[i].Need == need && schedule[i].ServedBy == nil {
			n++
		}
	}
	return n
}

func exceeds(s *wire.StructureResult) bool {
	for k := range risk.Loss(risk.Losses) {
		if r := s.Risks.Of(k); r != nil && r.Tolerable != nil && !r.Acceptable {
			return true
		}
	}
	return false
}

// worstRisk is the risk nearest to or farthest over its limit.
type worstRisk struct {
	loss  string
	ratio float64
}

// worst finds it, with the measures where the risks after them are given.
func (p *page) worst(after map[string]wire.RemainingRisk) (w worstRisk) {
	largest := -1.0
	for i := range p.r.Structures {
		s := &p.r.Structures[i]
		for k := range risk.Loss(risk.Losses) {
			r := s.Risks.Of(k)
			if r == nil || r.Tolerable == nil {
				continue
			}
			value := r.Total
			if after != nil {
				remaining := after[s.ID]
				if v := remaining.Of(k); v != nil {
					value = *v
				}
			}
			if ratio := value / *r.Tolerable; ratio > largest {
				largest, w = ratio, worstRisk{shortLosses[k], ratio}
			}
		}
	}
	return w
}

// earthOf is the earth connection of structures that have the same.
type earthOf struct {
	grade      spd.EarthGrade
	ohm        float64
	advice     string
	structures []string
}

// severity ranks the grades, what is to be done first first.
var severity = []spd.EarthGrade{spd.EarthAbsent, spd.EarthUnproved, spd.EarthPoor, spd.EarthFair, spd.EarthGood}

// earths lists the earth connections of the assessed structures, the worst first.
func (p *page) earths() (all []earthOf) {
	for i := range p.r.Structures {
		s := &p.r.Structures[i]
		if s.Earthing == nil {
			continue
		}
		e := risk.Earthing{Connection: s.Earthing.Connection}
		if s.Earthing.Resistance != nil {
			e.Resistance = *s.Earthing.Resistance
		}
		grade, advice := spd.EarthAdvice(e)
		n := slices.IndexFunc(all, func(o earthOf) bool { return o.advice == advice })
		if n < 0 {
			n = len(all)
			all = append(all, earthOf{grade: grade, ohm: e.Resistance, advice: advice})
		}
		all[n].structures = append(all[n].structures, s.ID)
	}
	slices.SortStableFunc(all, func(a, b earthOf) int { return slices.Index(severity, a.grade) - slices.Index(severity, b.grade) })
	return all
}

// briefly lists names where there is little room, their number where they are too many.
func briefly(names []string, what string) string {
	const room = 18
	if text := enumerate(names); len(names) == 1 || utf8.RuneCountInString(text) <= room {
		return text
	}
	return fmt.Sprintf("%d %s", len(names), what)
}

// first says what to do before anything else: the earth.
func (p *page) first() string {
	all := p.earths()
	if len(all) == 0 {
		return "prove the earth connection; without it an SPD protects nothing."
	}
	e := all[0]
	where := briefly(e.structures, "structures")
	ohm := figure(e.ohm, 3, nearest) + " ohm"
	text := map[spd.EarthGrade]string{
		spd.EarthAbsent:   "build an earth at " + where + ": electrode, bonding, measurement",
		spd.EarthUnproved: "prove the earth of " + where + ": find, bond, measure",
		spd.EarthPoor:     "poor earth at " + where + " (" + ohm + "): bond everything, add electrode",
		spd.EarthFair:     "fair earth at " + where + " (" + ohm + "): bond everything to one bar",
		spd.EarthGood:     "test the earth of " + where + " (" + ohm + ", good) and its bonding",
	}[e.grade]
	if len(all) > 1 {
		return text + fmt.Sprintf("; %d more below", len(all)-1)
	}
	return text + "."
}

// earth says of every structure how good its earth is and what to do.
func (p *page) earth() {
	p.title("Earth")
	for _, e := range p.earths() {
		p.wrapped("  - ", "    ", enumerate(e.structures)+": "+e.advice)
	}
}

// shopping lists what to build and to order, in short.
func (p *page) shopping() (items []string) {
	if p.r.Recommendation.Needed {
		for _, m := range atStructures(&p.r.Recommendation.MeasureSet) {
			if _, what, ok := strings.Cut(m.text, ": "); ok {
				m.text = what
			}
			m.text, _, _ = strings.Cut(m.text, " (")
			if len(m.names) > 1 {
				m.text = fmt.Sprintf("%d x %s", len(m.names), m.text)
			}
			items = append(items, m.text)
		}
	}
	var devices grouped
	open := 0
	for i := range p.r.Schedule {
		switch e := &p.r.Schedule[i]; {
		case e.Need != spd.Required || e.ServedBy != nil:
		case e.Specifiable:
			devices.add(kindOf(e), e.Line)
		default:
			open++
		}
	}
	for _, d := range devices {
		items = append(items, fmt.Sprintf("%d SPD %s", len(d.names), d.text))
	}
	if open > 0 {
		items = append(items, fmt.Sprintf("%d SPD not before their data are known", open))
	}
	if n := countNeeded(p.r.Schedule, spd.Recommended); n > 0 {
		items = append(items, fmt.Sprintf("%d SPD recommended", n))
	}
	return items
}

// kindOf says in short what kind of device an entry asks for.
func kindOf(e *wire.ScheduleEntry) string {
	kind := "class " + string(e.TestClass)
	if e.Current != nil {
		kind += map[risk.Current]string{risk.AC: " a.c.", risk.DC: " d.c."}[*e.Current]
	} else {
		kind += " data"
	}
	return kind
}

// findOut names what decides and is not known.
func (p *page) findOut() string {
	var names []string
	for _, g := range p.decisive() {
		field, _, _ := strings.Cut(g.text, ", taken as")
		short, _, _ := strings.Cut(field, " (")
		names = append(names, briefly(g.names, "places")+": "+short)
	}
	return fit(names, fmt.Sprintf("nothing more decides; %d defaults are in the JSON result.", len(p.r.Assumptions)))
}
