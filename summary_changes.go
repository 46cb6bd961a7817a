package main

import (
	"strconv"
	"strings"

	"levinward/api/wire"
	"levinward/risk"
)

// deciding names the default that decides first what has to be done.
func (p *page) deciding() {
	d := p.r.Recommendation.Deciding
	if d == nil {
		return
	}
	part, field := placeName(d.Pointer, p.r)
	p.wrapped("  ", "    ", "Find out first: "+part+": "+field+", taken as "+plain(d.Value)+". With "+plain(d.Instead)+", "+
		enough(d.SufficientInstead, d.CostInstead)+" at "+d.Structure+"; as taken, "+enough(d.Sufficient, d.Cost)+".")
}

func enough(sufficient bool, cost float64) string {
	switch {
	case !sufficient:
		return "nothing suffices"
	case cost == 0:
		return "nothing is needed"
	}
	return "measures for " + money(cost) + " suffice"
}

// lpsWork says what each recommended LPS entails, so that it can be priced.
func (p *page) lpsWork() {
	var g grouped
	for _, s := range p.r.Recommendation.Measures.Structures {
		if w := s.LPSWork; w != nil {
			g.add("LPS class "+s.LPS.String()+": "+work(w), s.ID)
		}
	}
	for _, same := range g {
		p.wrapped("  ", "    ", enumerate(same.names)+", "+same.text)
	}
}

// work lists the conductors and electrodes of an LPS.
func work(w *wire.LPSWork) string {
	soil := ""
	if !w.SoilStated {
		soil = " (the least in any soil; state the resistivity)"
	}
	return strconv.Itoa(w.DownConductors) + " down-conductors (" + metres(w.Perimeter) + " around, one every " + metres(w.Spacing) + "), together " +
		metres(w.DownLength) + "; roof meshes of " + metres(w.Mesh) + ", " + metres(w.RoofLength) + "; conductors of at least " + money(w.Section) +
		" mm²; at each down-conductor an earth electrode of at least " + metres(w.Horizontal) + " horizontal or " + metres(w.Vertical) +
		" vertical" + soil + ". From memory of IEC 62305-3:2010."
}

func metres(v float64) string { return quantity(v, "m", nearest) }

// changeWords say what else could be changed.
var changeWords = [...]string{
	risk.ScreenStructure: "screen the structure, mesh of 2 m",
	risk.ShieldLine:      "shielded cable, bonded at both ends, at most 5 ohm/km",
	risk.BuryLine:        "bury the line",
	risk.IsolateLine:     "isolating interface on the line",
	risk.LessFireLoad:    "less fire load in zone",
}

// changes lists what else could be changed on top of the set, and what it would leave.
func (p *page) changes() {
	rec := &p.r.Recommendation
	if len(rec.Changes) == 0 {
		return
	}
	p.wrapped("  ", "  ", "What else could be changed, each alone on top of these measures:")
	var g grouped
	for i := range rec.Changes {
		c := &rec.Changes[i]
		what, place := strings.TrimSpace(changeWords[c.Kind]+" "+c.Zone), c.Structure
		if c.Line != "" {
			place = c.Line + " at " + c.Structure
		}
		g.add(what+": "+p.after(&c.RisksAfter)+"; "+leftMargin(c.LeastMargin), place)
	}
	for _, same := range g {
		p.wrapped("  - ", "    ", enumerate(same.names)+": "+same.text)
	}
}

// after lists risks with the losses they are of.
func (p *page) after(r *wire.RemainingRisk) string {
	var all []string
	for k := range risk.Loss(risk.Losses) {
		if v := r.Of(k); v != nil {
			all = append(all, lossNames[k]+" "+riskFigure(*v))
		}
	}
	return strings.Join(all, ", ")
}
