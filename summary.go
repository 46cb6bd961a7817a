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
	p.sensitivity()
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
		text := lossNames[k] + ": " + riskFigure(r.Total) + " a year, which " + margin(*r.Tolerable/r.Total) + " of " + riskFigure(*r.Tolerable)
		if v := after.Of(k); v != nil && p.r.Recommendation.Needed {
			text += "; with the measures " + riskFigure(*v) + ", which " + margin(*r.Tolerable / *v)
		}
		if r.FlipsAt != nil {
			text += "; R is proportional to N_G and reaches the limit at N_G " + money(*r.FlipsAt)
		}
		texts = append(texts, text)
	}
	texts = append(texts, "struck by lightning: "+once(s.Events.Direct)+"; failures of internal systems without SPDs: "+
		once(s.SystemFailures))
	texts = append(texts, p.exceedance(s)...)
	if text := cost(s); text != "" {
		texts = append(texts, text)
	}
	return texts
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
	for _, same := range measuresOf(&rec.MeasureSet) {
		p.wrapped("  - ", "    ", same.text+": "+enumerate(same.names))
	}
	p.deciding()
	p.lpsWork()
	p.alternatives()
	p.changes()
}

// measuresOf lists each measure of a set with the places it is for.
func measuresOf(set *wire.MeasureSet) grouped { return append(atStructures(set), atLines(set)...) }

// atLines are the measures at line ends alone.
func atLines(set *wire.MeasureSet) (g grouped) {
	for i := range set.Measures.Lines {
		l := &set.Measures.Lines[i]
		for _, m := range lineMeasures(l) {
			g.add(m, l.ID+" at "+l.Structure)
		}
	}
	return g
}

// atStructures are the measures at structures alone.
func atStructures(set *wire.MeasureSet) (g grouped) {
	for i := range set.Measures.Structures {
		s := &set.Measures.Structures[i]
		for _, m := range structureMeasures(s) {
			g.add(m, s.ID)
		}
	}
	return g
}

// assumptions lists the defaults that decide the outcome by the names of what they stand for, and counts the others.
func (p *page) assumptions() {
	p.title("Find out")
	g := p.decisive()
	if len(g) == 0 {
		p.wrapped("  ", "  ", fmt.Sprintf("%d defaults were taken, all in the JSON result. None of them, taken alone, turns a risk over "+
			"its limit, changes the class of LPS or the kind of SPD.", len(p.r.Assumptions)))
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
		text := field + ", taken as " + plain(a.Value)
		for _, alt := range a.Alternatives {
			text += "\nwith " + plain(alt.Value) + ": " + strings.TrimPrefix(alt.Outcome, part+": ")
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
