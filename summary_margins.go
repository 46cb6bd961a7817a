package main

import (
	"strings"

	"levinward/api/wire"
	"levinward/risk"
)

// margin says R_T/R in words: how far below the limit, or by how much it is exceeded. What is next to the limit is not called equal to it.
func margin(times float64) string {
	switch ratio := 1 / times; {
	case ratio == 1:
		return "is just at the limit"
	case ratio >= 2:
		return "is " + frequency(ratio) + " times the limit"
	case ratio > 1:
		return "is " + frequency(100*(ratio-1)) + " % above the limit"
	case ratio >= 0.5:
		return "is " + frequency(100*(1-ratio)) + " % below the limit"
	default:
		return "is " + frequency(100*ratio) + " % of the limit"
	}
}

// exceedance says how probable it is that a risk exceeds its limit, where something is stated of the uncertainty of N_G, and
// what to decide by where that is too large for a probability.
func (p *page) exceedance(s *wire.StructureResult) (texts []string) {
	d := &p.r.FlashDensity
	stated := "standard error " + money(d.StandardError)
	if d.Upper90 > 0 {
		stated = "90 % between " + money(d.Lower90) + " and " + money(d.Upper90)
	}
	var chances, bounds []string
	for k := range risk.Loss(risk.Losses) {
		switch r := s.Risks.Of(k); {
		case r == nil:
		case r.Exceedance != nil:
			chances = append(chances, lossNames[k]+" "+percent(*r.Exceedance))
		case r.AtUpper != nil && r.Tolerable != nil:
			bounds = append(bounds, lossNames[k]+" "+riskFigure(*r.AtUpper))
		}
	}
	if len(chances) > 0 {
		texts = append(texts, "probability that the limit is exceeded, from N_G alone ("+stated+"): "+strings.Join(chances, ", "))
	}
	if len(bounds) > 0 {
		texts = append(texts, "N_G is too uncertain for a probability ("+stated+"); decide by its upper bound, N_G "+money(d.UpperBound)+": "+
			strings.Join(bounds, ", "))
	}
	return texts
}

// alternatives lists the next safer sets with what they cost, hold and leave; a measure for all structures or line ends has no places.
func (p *page) alternatives() {
	rec := &p.r.Recommendation
	if len(rec.Alternatives) == 0 {
		return
	}
	p.wrapped("  ", "  ", "Safer sets:")
	for i := range rec.Alternatives[:min(len(rec.Alternatives), shownSets)] {
		set := &rec.Alternatives[i]
		contents := append(placesOf(atStructures(set), len(set.Measures.Structures)), placesOf(atLines(set), len(set.Measures.Lines))...)
		p.wrapped("  - ", "    ", "cost "+money(set.Cost)+", "+left(set)+": "+strings.Join(contents, "; "))
	}
}

// placesOf names the places of measures, but not where they are for all of them.
func placesOf(measures grouped, all int) (texts []string) {
	for _, m := range measures {
		if len(m.names) < all {
			m.text += ": " + enumerate(m.names)
		}
		texts = append(texts, m.text)
	}
	return texts
}

// left says what the worst remaining risk of a set is.
func left(set *wire.MeasureSet) string { return leftMargin(set.LeastMargin) }

func leftMargin(least *float64) string {
	if least == nil {
		return "no risk with a limit is left"
	}
	return "the worst risk left " + margin(*least)
}

// wiringWords say what to do to internal wiring, Table B.5 of IEC 62305-2:2010.
var wiringWords = [...]string{
	risk.LargeLoopsAvoided: "internal wiring without large loops (all conductors of a circuit together, about 10 m2)",
	risk.LoopsAvoided:      "internal wiring without loops (all cables in one route, about 0.5 m2)",
	risk.ShieldedWiring:    "internal wiring shielded or in metal conduit, bonded at both ends",
}

func structureMeasures(s *wire.StructureMeasures) []string {
	var all []string
	if s.LPS != risk.NoLPS {
		all = append(all, "LPS class "+s.LPS.String())
	}
	if s.FireProtection != risk.NoFireProtection {
		all = append(all, s.FireProtection.String()+" fire protection")
	}
	for _, m := range s.StructureShock {
		all = append(all, "against touch and step voltages: "+words(m))
	}
	for _, m := range s.LineShock {
		all = append(all, "against touch voltages from lines: "+words(m))
	}
	if s.Wiring != nil && *s.Wiring != risk.Unrouted {
		all = append(all, wiringWords[*s.Wiring])
	}
	return all
}

func lineMeasures(l *wire.LineMeasures) []string {
	var all []string
	if l.Bonding.Level != risk.NoSPD {
		all = append(all, "bonding SPDs at the entrance, LPL "+l.Bonding.Level.String())
	}
	if l.Coordinated.Level != risk.NoSPD {
		all = append(all, "coordinated SPDs up to the equipment, LPL "+l.Coordinated.Level.String())
	}
	return all
}

// How many safer sets and other values the page lists; all are in the JSON result.
const (
	shownSets    = 3
	shownEffects = 5
)

// sensitivity lists what other plausible values would do, the largest effect first, equal ones together. What decides is
// among what to find out.
func (p *page) sensitivity() {
	if len(p.r.Sensitivity) == 0 {
		return
	}
	var g grouped
	for i := range p.r.Sensitivity {
		e := &p.r.Sensitivity[i]
		if e.Decisive {
			continue
		}
		part, field := placeName(e.Pointer, p.r)
		text := field + " " + plain(e.Instead) + " instead of " + plain(e.Value) + ": " + lossNames[e.Loss]
		if part != e.Structure && !strings.HasPrefix(part, e.Structure+", ") && !strings.HasSuffix(part, " of "+e.Structure) {
			text += " at " + e.Structure
		}
		text += " " + riskFigure(e.Before) + " becomes " + riskFigure(e.After)
		if e.Tolerable != nil {
			text += ", limit " + riskFigure(*e.Tolerable)
		}
		g.add(text, part)
	}
	if len(g) > 0 {
		p.title("What other values would change, the largest effect first (each alone)")
	}
	for _, same := range g[:min(len(g), shownEffects)] {
		p.wrapped("  - ", "    ", enumerate(same.names)+": "+same.text)
	}
}
