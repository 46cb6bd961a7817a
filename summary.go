package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"levinward/api/wire"
	"levinward/risk"
)

// summary writes what a person needs: five lines that say the answer, then the earth, the risks beside their limits, what to
// build and to order, what to find out, and the cautions. What is the same for several parts of a site is said once.
func summary(w io.Writer, r *wire.Result, stress *wire.StressResult) error {
	p := &page{w: w, r: r, stress: stress}
	p.opening()
	p.earth()
	p.risks()
	p.measures()
	p.schedule()
	p.assumptions()
	p.warnings()
	p.list("Cautions", r.Cautions)
	p.lines()
	p.data()
	return p.err
}

// lossNames says the types of loss in words.
var lossNames = [risk.Losses]string{"human life", "service to the public", "cultural heritage", "economic value"}

// risks says how each risk stands to its limit, now and with the recommended measures.
func (p *page) risks() {
	p.title("Risk")
	var g grouped
	for i := range p.r.Structures {
		if s := &p.r.Structures[i]; s.Assessed {
			g.add(strings.Join(p.risksOf(s), "\n"), s.ID)
		}
	}
	for _, same := range g {
		p.wrapped("  ", "  ", enumerate(same.names)+":")
		for line := range strings.SplitSeq(same.text, "\n") {
			p.wrapped("  - ", "    ", line)
		}
	}
}

func (p *page) risksOf(s *wire.StructureResult) []string {
	after := p.r.Recommendation.RisksAfter[s.ID]
	var texts []string
	for k := range risk.Loss(risk.Losses) {
		r := s.Risks.Of(k)
		if r == nil {
			continue
		}
		if r.Tolerable == nil {
			texts = append(texts, lossNames[k]+": "+riskFigure(r.Total)+" a year; the cost decides, there is no limit")
			continue
		}
		text := lossNames[k] + ": " + riskFigure(r.Total) + " a year, the limit is " + riskFigure(*r.Tolerable) + ": " + ofLimit(r.Total / *r.Tolerable)
		if v := after.Of(k); v != nil && p.r.Recommendation.Needed {
			text += "; with the measures " + riskFigure(*v) + ", " + ofLimit(*v / *r.Tolerable)
		}
		texts = append(texts, text)
	}
	texts = append(texts, "struck by lightning: "+once(s.Events.Direct)+"; failures of internal systems without SPDs: "+once(s.SystemFailures))
	if text := p.exceedance(s); text != "" {
		texts = append(texts, text)
	}
	if text := cost(s); text != "" {
		texts = append(texts, text)
	}
	return texts
}

// exceedance says how probable it is that a risk exceeds its limit, where the standard error of N_G tells.
func (p *page) exceedance(s *wire.StructureResult) string {
	var chances []string
	for k := range risk.Loss(risk.Losses) {
		if r := s.Risks.Of(k); r != nil && r.Exceedance != nil {
			chances = append(chances, lossNames[k]+" "+percent(*r.Exceedance))
		}
	}
	if len(chances) == 0 {
		return ""
	}
	return "probability that the limit is exceeded, from N_G alone (standard error " + figure(p.r.FlashDensity.StandardError, 3, nearest) + "): " +
		strings.Join(chances, ", ")
}

func cost(s *wire.StructureResult) string {
	c := s.CostOfLoss
	switch {
	case c == nil:
		return ""
	case c.Saving == nil:
		return fmt.Sprintf("expected loss %s a year of a value of %s", money(c.Without), money(c.TotalValue))
	}
	return fmt.Sprintf("expected loss %s a year, with the measures %s and their cost of %s a year; saving %s %s a year",
		money(c.Without), money(*c.With), money(*c.Measures), money(*c.Saving), c.Currency)
}

func money(v float64) string { return figure(v, 3, nearest) }

// lines says how often each line is struck.
func (p *page) lines() {
	if len(p.r.Lines) == 0 {
		return
	}
	p.title("Flashes a year")
	var g grouped
	for i := range p.r.Lines {
		l := &p.r.Lines[i]
		text := frequency(l.Events.Direct) + " to the line, " + frequency(l.Events.Near) + " near it"
		if l.Events.AdjacentStructure > 0 {
			text += ", " + frequency(l.Events.AdjacentStructure) + " to the structure at its far end"
		}
		g.add(text, l.ID)
	}
	for _, same := range g {
		p.wrapped("  ", "    ", enumerate(same.names)+": "+same.text)
	}
}

// measures lists what to build besides the SPDs, and what the risk assessment counts on at the lines.
func (p *page) measures() {
	rec := &p.r.Recommendation
	switch {
	case !rec.Needed:
		p.title("Measures")
		p.wrapped("  ", "  ", "Every risk is within its limit as things are.")
		return
	case rec.Sufficient:
		p.title("Measures")
		p.wrapped("  ", "  ", "The cheapest set that suffices, cost "+money(rec.Cost)+" ("+rec.CostUnit+"):")
	default:
		p.title("Measures")
		p.wrapped("  ", "  ", "No set suffices. The best that can be reached:")
	}
	for _, same := range measuresOf(rec) {
		p.wrapped("  - ", "    ", same.text+": "+enumerate(same.names))
	}
	if n := len(rec.Alternatives); n > 0 {
		costs := make([]string, n)
		for i, a := range rec.Alternatives {
			costs[i] = money(a.Cost)
		}
		p.wrapped("  ", "  ", fmt.Sprintf("%d safer sets cost %s; see the JSON result.", n, strings.Join(costs, ", ")))
	}
}

// measuresOf lists each measure with the places it is for.
func measuresOf(rec *wire.Recommendation) grouped {
	g := structureMeasures(rec)
	for _, l := range rec.Measures.Lines {
		end := l.ID + " at " + l.Structure
		if l.Bonding.Level != risk.NoSPD {
			g.add("bonding SPDs at the entrance, LPL "+l.Bonding.Level.String(), end)
		}
		if l.Coordinated.Level != risk.NoSPD {
			g.add("coordinated SPDs up to the equipment, LPL "+l.Coordinated.Level.String(), end)
		}
	}
	return g
}

func structureMeasures(rec *wire.Recommendation) (g grouped) {
	for _, s := range rec.Measures.Structures {
		if s.LPS != risk.NoLPS {
			g.add("LPS class "+s.LPS.String(), s.ID)
		}
		if s.FireProtection != risk.NoFireProtection {
			g.add(s.FireProtection.String()+" fire protection", s.ID)
		}
		for _, m := range s.StructureShock {
			g.add("against touch and step voltages: "+words(m), s.ID)
		}
		for _, m := range s.LineShock {
			g.add("against touch voltages from lines: "+words(m), s.ID)
		}
	}
	return g
}

// assumptions lists the defaults that decide the outcome by the names of what they stand for, and counts the others.
func (p *page) assumptions() {
	p.title("Find out")
	g := p.decisive()
	if len(g) == 0 {
		p.wrapped("  ", "  ", fmt.Sprintf("%d defaults were taken, all in the JSON result. None of them, taken alone, turns a risk over its limit, changes the "+
			"class of LPS or the kind of SPD.", len(p.r.Assumptions)))
		return
	}
	p.wrapped("  ", "  ", "These defaults decide the outcome; find them out on site:")
	for _, same := range g {
		lines := strings.Split(same.text, "\n")
		p.wrapped("  - ", "    ", enumerate(same.names)+": "+lines[0])
		for _, alternative := range lines[1:] {
			p.wrapped("    ", "      ", readable(alternative))
		}
	}
	p.wrapped("  ", "  ", fmt.Sprintf("All %d defaults are in the JSON result.", len(p.r.Assumptions)))
}

// decisive groups the decisive defaults by what they are and what they change.
func (p *page) decisive() (g grouped) {
	for _, a := range p.r.Assumptions {
		if !a.Decisive {
			continue
		}
		part, field := placeName(a.Pointer, p.r)
		text := field + ", taken as " + words(a.Value)
		for _, alt := range a.Alternatives {
			text += "\nwith " + words(alt.Value) + ": " + strings.TrimPrefix(alt.Outcome, part+": ")
		}
		g.add(text, part)
	}
	return g
}

// warnings lists what the earth did not say already.
func (p *page) warnings() {
	p.list("Warnings", slices.DeleteFunc(slices.Clone(p.r.Warnings), func(text string) bool {
		return slices.ContainsFunc(p.earths(), func(e earthOf) bool { return strings.HasSuffix(text, ": "+e.advice) })
	}))
}

// data says what the answer was computed from.
func (p *page) data() {
	in, d := p.r.Input, &p.r.FlashDensity
	p.title("Data")
	p.wrapped("  ", "  ", fmt.Sprintf("%s; latitude %v, longitude %v", p.r.Edition, *in.Location.Latitude, *in.Location.Longitude))
	text := "N_G " + figure(d.GroundFlashes, 3, nearest) + " flashes per km² and year, " + words(d.Origin.String())
	if d.Relation != "" {
		text += " (" + d.Relation + ")"
	}
	if d.Source != "" {
		text += ", " + d.Source
	}
	if d.Year != 0 {
		text += fmt.Sprintf(" %d", d.Year)
	}
	p.wrapped("  ", "  ", text)
	p.wrapped("  ", "  ", "review due "+p.r.ReviewDue)
	if d.Note != "" {
		p.wrapped("  ", "  ", d.Note)
	}
}
