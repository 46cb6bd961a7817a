package main

import (
	"math"
	"strconv"
	"strings"

	"levinward/api/wire"
	"levinward/risk"
)

// margins says for each risk how far it is from its limit and at which N_G that turns.
func (p *page) margins(s *wire.StructureResult) {
	for k := range risk.Loss(risk.Losses) {
		r := s.Risks.Of(k)
		if r == nil || r.Times == nil {
			continue
		}
		p.wrapped("  "+s.ID+": ", "    ", lossNames[k]+" "+margin(*r.Times)+
			"; R is proportional to N_G and reaches the limit at N_G "+short(*r.FlipsAt))
	}
	p.exceedance(s)
}

// margin says R_T/R in words: how far below the limit, or by how much it is exceeded. What is next to the limit is not called equal to it.
func margin(times float64) string {
	switch ratio := 1 / times; {
	case ratio == 1:
		return "is just at the limit"
	case ratio >= 2:
		return "is " + figures(ratio) + " times the limit"
	case ratio > 1:
		return "is " + figures(100*(ratio-1)) + " % above the limit"
	case ratio >= 0.5:
		return "is " + figures(100*(1-ratio)) + " % below the limit"
	default:
		return "is " + figures(100*ratio) + " % of the limit"
	}
}

// figures rounds to two significant digits, without an exponent.
func figures(v float64) string {
	places := 1 - int(math.Floor(math.Log10(math.Abs(v))))
	scale := math.Pow(10, float64(places))
	if v = math.Round(v*scale) / scale; places < 0 {
		places = 0
	}
	text := strconv.FormatFloat(v, 'f', places, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// exceedance says how probable it is that a risk exceeds its limit, where something is stated of the uncertainty of N_G, and
// what to decide by where that is too large for a probability.
func (p *page) exceedance(s *wire.StructureResult) {
	d := &p.r.FlashDensity
	stated := "standard error " + short(d.StandardError)
	if d.Upper90 > 0 {
		stated = "90 % between " + short(d.Lower90) + " and " + short(d.Upper90)
	}
	var chances, bounds []string
	for k := range risk.Loss(risk.Losses) {
		switch r := s.Risks.Of(k); {
		case r == nil:
		case r.Exceedance != nil:
			chances = append(chances, lossNames[k]+" "+percent(*r.Exceedance))
		case r.AtUpper != nil && r.Tolerable != nil:
			bounds = append(bounds, lossNames[k]+" "+power(*r.AtUpper))
		}
	}
	if len(chances) > 0 {
		p.print("  %s: probability that the limit is exceeded, from N_G alone (%s): %s\n", s.ID, stated, strings.Join(chances, ", "))
	}
	if len(bounds) > 0 {
		p.wrapped("  "+s.ID+": ", "    ", "N_G is too uncertain for a probability ("+stated+
			"); decide by its upper bound, N_G "+short(d.UpperBound)+": "+strings.Join(bounds, ", "))
	}
}

// alternatives lists the next safer sets with what they cost, hold and leave.
func (p *page) alternatives() {
	rec := &p.r.Recommendation
	if len(rec.Alternatives) == 0 {
		return
	}
	p.print("  Safer sets\n")
	for i := range rec.Alternatives {
		set := &rec.Alternatives[i]
		p.wrapped("  - ", "      ", "cost "+short(set.Cost)+", "+p.left(set)+": "+strings.Join(contents(set), "; "))
	}
}

// left says what the worst remaining risk of a set is.
func (p *page) left(set *wire.MeasureSet) string {
	if set.LeastMargin == nil {
		return "no risk with a limit is left"
	}
	return "the worst risk left " + margin(*set.LeastMargin)
}

// contents lists the measures of a set, a structure or a line each.
func contents(set *wire.MeasureSet) []string {
	var all []string
	for _, s := range set.Measures.Structures {
		if what := structureMeasures(&s); len(what) > 0 {
			all = append(all, s.ID+": "+strings.Join(what, ", "))
		}
	}
	for _, l := range set.Measures.Lines {
		if what := lineMeasures(&l); len(what) > 0 {
			all = append(all, l.ID+" at "+l.Structure+": "+strings.Join(what, ", "))
		}
	}
	return all
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

// shownEffects is how many other values the page lists.
const shownEffects = 10

// sensitivity lists what other plausible values would do, the largest effect first.
func (p *page) sensitivity() {
	if len(p.r.Sensitivity) == 0 {
		return
	}
	p.print("\nWhat other values would change, the largest effect first (each alone)\n")
	for i := range p.r.Sensitivity[:min(len(p.r.Sensitivity), shownEffects)] {
		e := &p.r.Sensitivity[i]
		limit := ""
		if e.Tolerable != nil {
			limit = ", limit " + power(*e.Tolerable)
		}
		p.wrapped("  - ", "      ", p.field(e.Pointer)+" "+e.Instead+" instead of "+e.Value+": "+lossNames[e.Loss]+" at "+e.Structure+" "+
			power(e.Before)+" becomes "+power(e.After)+limit)
	}
}

// field names a place of the input for people: the id of its structure, zone or line, and the field.
func (p *page) field(pointer string) string {
	parts := strings.Split(strings.TrimPrefix(pointer, "/"), "/")
	name := strings.TrimSpace(strings.Join(p.owners(parts), ", "))
	last := words(parts[len(parts)-1])
	for _, unit := range []string{" m", " kv", " per year"} {
		last = strings.TrimSuffix(last, unit)
	}
	if name == "" {
		return last
	}
	return name + ": " + last
}

// owners are the ids of the records that the parts of a pointer lead through.
func (p *page) owners(parts []string) []string {
	var ids []string
	in := p.r.Input
	index := func(at int) int {
		if at >= len(parts) {
			return -1
		}
		n, err := strconv.Atoi(parts[at])
		if err != nil {
			return -1
		}
		return n
	}
	switch n := index(1); {
	case parts[0] == "structures" && n >= 0 && n < len(in.Structures):
		ids = append(ids, in.Structures[n].ID)
		zones := in.Structures[n].Zones
		if z := index(3); z >= 0 && zones != nil && z < len(*zones) && parts[2] == "zones" {
			ids = append(ids, (*zones)[z].ID)
		}
	case parts[0] == "lines" && n >= 0 && in.Lines != nil && n < len(*in.Lines):
		ids = append(ids, "line "+(*in.Lines)[n].ID)
	}
	return ids
}

// deciding names the default that decides first what has to be done.
func (p *page) deciding() {
	d := p.r.Recommendation.Deciding
	if d == nil {
		return
	}
	p.wrapped("  Find out first: ", "    ", p.field(d.Pointer)+", taken as "+d.Value+". With "+d.Instead+", "+
		enough(d.SufficientInstead, d.CostInstead)+" at "+d.Structure+"; as taken, "+enough(d.Sufficient, d.Cost))
}

func enough(sufficient bool, cost float64) string {
	switch {
	case !sufficient:
		return "nothing suffices"
	case cost == 0:
		return "nothing is needed"
	}
	return "measures for " + short(cost) + " suffice"
}

// lpsWork says what each recommended LPS entails, so that it can be priced.
func (p *page) lpsWork() {
	for _, s := range p.r.Recommendation.Measures.Structures {
		w := s.LPSWork
		if w == nil {
			continue
		}
		soil := ""
		if !w.SoilStated {
			soil = " (the least in any soil; state the resistivity)"
		}
		p.wrapped("  LPS class "+s.LPS.String()+" at "+s.ID+": ", "    ", strconv.Itoa(w.DownConductors)+" down-conductors ("+
			short(w.Perimeter)+" m around, one every "+short(w.Spacing)+" m), together "+short(w.DownLength)+" m; roof meshes of "+
			short(w.Mesh)+" m, "+short(w.RoofLength)+" m; conductors of at least "+short(w.Section)+
			" mm2; at each down-conductor an earth electrode of at least "+short(w.Horizontal)+" m horizontal or "+short(w.Vertical)+
			" m vertical"+soil+". From memory of IEC 62305-3:2010.")
	}
}

// changeWords say what else could be changed.
var changeWords = [...]string{
	risk.ScreenStructure: "screen the structure, mesh of 2 m",
	risk.ShieldLine:      "shielded cable, bonded at both ends, at most 5 ohm/km, for line",
	risk.BuryLine:        "bury line",
	risk.IsolateLine:     "isolating interface on line",
	risk.LessFireLoad:    "less fire load in zone",
}

// changes lists what else could be changed on top of the set, and what it would leave.
func (p *page) changes() {
	rec := &p.r.Recommendation
	if len(rec.Changes) == 0 {
		return
	}
	p.print("  What else could be changed, each alone on top of these measures\n")
	for i := range rec.Changes {
		c := &rec.Changes[i]
		what := strings.TrimSpace(changeWords[c.Kind] + " " + c.Line + c.Zone)
		left := "no risk with a limit is left"
		if c.LeastMargin != nil {
			left = "the worst risk left " + margin(*c.LeastMargin)
		}
		p.wrapped("  - ", "      ", c.Structure+": "+what+": "+p.after(&c.RisksAfter)+"; "+left)
	}
}

// after lists risks with the losses they are of.
func (p *page) after(r *wire.RemainingRisk) string {
	var all []string
	for k := range risk.Loss(risk.Losses) {
		if v := r.Of(k); v != nil {
			all = append(all, lossNames[k]+" "+power(*v))
		}
	}
	return strings.Join(all, ", ")
}
