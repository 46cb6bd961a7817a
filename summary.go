package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/spd"
)

// page writes the summary of a result for a person. The first error stops it.
type page struct {
	w      io.Writer
	r      *wire.Result
	stress *wire.StressResult
	err    error
}

// summary writes what a person needs: the risks beside their limits, what to
// buy for each line and how long it will last, what was assumed, and the cautions.
func summary(w io.Writer, r *wire.Result, stress *wire.StressResult) error {
	p := &page{w: w, r: r, stress: stress}
	p.head()
	p.risks()
	p.lines()
	p.measures()
	p.schedule()
	p.years()
	p.assumptions()
	p.sensitivity()
	p.list("Warnings", r.Warnings)
	p.list("Cautions", r.Cautions)
	return p.err
}

func (p *page) print(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format, args...)
	}
}

// table writes rows in aligned columns, a line at a time.
func (p *page) table(rows [][]string) {
	if p.err != nil || len(rows) == 0 {
		return
	}
	t := tabwriter.NewWriter(p.w, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintln(t, "  "+strings.Join(r, "\t"))
	}
	p.err = t.Flush()
}

const pageWidth = 96

// wrapped writes a text in lines of the page's width, each after the indent.
func (p *page) wrapped(first, indent, text string) {
	line := first
	for _, word := range strings.Fields(text) {
		if len(line)+len(word)+1 > pageWidth && strings.TrimSpace(line) != "" {
			p.print("%s\n", strings.TrimRight(line, " "))
			line = indent
		}
		line += word + " "
	}
	p.print("%s\n", strings.TrimRight(line, " "))
}

func (p *page) list(title string, texts []string) {
	if len(texts) == 0 {
		return
	}
	p.print("\n%s\n", title)
	for _, t := range texts {
		p.wrapped("  - ", "    ", t)
	}
}

func (p *page) head() {
	in := p.r.Input
	p.print("%s\n", in.Name)
	if in.Reference != "" {
		p.print("Reference %s\n", in.Reference)
	}
	d := &p.r.FlashDensity
	p.print("%s   latitude %s, longitude %s\n", p.r.Edition, short(*in.Location.Latitude), short(*in.Location.Longitude))
	p.print("N_G %s flashes per km2 and year, %s", short(d.GroundFlashes), d.Origin)
	if d.Relation != "" {
		p.print(" (%s)", d.Relation)
	}
	if d.Source != "" {
		p.print(", %s", d.Source)
	}
	if d.Year != 0 {
		p.print(" %d", d.Year)
	}
	p.print("; review due %s\n", p.r.ReviewDue)
	if d.Note != "" {
		p.wrapped("  ", "  ", d.Note)
	}
}

func short(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }

func power(v float64) string { return strconv.FormatFloat(v, 'e', 2, 64) }

// lossNames says the types of loss in words.
var lossNames = [risk.Losses]string{"human life", "service to the public", "cultural heritage", "economic value"}

func (p *page) risks() {
	p.print("\nRisk per year\n")
	rows := [][]string{{"structure", "loss of", "risk", "limit", "", "with the measures below"}}
	for i := range p.r.Structures {
		s := &p.r.Structures[i]
		after := p.r.Recommendation.RisksAfter[s.ID]
		for k := range risk.Loss(risk.Losses) {
			r := s.Risks.Of(k)
			if r == nil {
				continue
			}
			limit, verdict := "by cost", ""
			if r.Tolerable != nil {
				limit, verdict = power(*r.Tolerable), "exceeds the limit"
				if r.Acceptable {
					verdict = "within the limit"
				}
			}
			remaining := ""
			if v := after.Of(k); v != nil && p.r.Recommendation.Needed {
				remaining = power(*v)
			}
			rows = append(rows, []string{s.ID, lossNames[k], power(r.Total), limit, verdict, remaining})
		}
	}
	p.table(rows)
	for i := range p.r.Structures {
		if s := &p.r.Structures[i]; s.Assessed {
			p.print("  %s: struck %s times a year (once in %s years); internal systems fail %s times a year without protection\n",
				s.ID, short(s.Events.Direct), short(1/s.Events.Direct), short(s.SystemFailures))
			p.margins(s)
			p.cost(s)
		}
	}
}

// percent says a probability; one that is next to 0 or 1 is not rounded to it.
func percent(probability float64) string {
	switch {
	case probability < 0.001:
		return "below 0.1 %"
	case probability > 0.999:
		return "above 99.9 %"
	}
	return strconv.FormatFloat(100*probability, 'g', 3, 64) + " %"
}

func (p *page) cost(s *wire.StructureResult) {
	c := s.CostOfLoss
	switch {
	case c == nil:
	case c.Saving == nil:
		p.print("  %s: expected loss %s a year of a value of %s\n", s.ID, short(c.Without), short(c.TotalValue))
	default:
		p.print("  %s: expected loss %s a year, with the measures %s and their cost of %s a year; saving %s %s a year\n",
			s.ID, short(c.Without), short(*c.With), short(*c.Measures), short(*c.Saving), c.Currency)
	}
}

func (p *page) lines() {
	if len(p.r.Lines) == 0 {
		return
	}
	p.print("\nFlashes per year\n")
	rows := [][]string{{"line", "to it", "near it", "to the structure at the far end"}}
	for i := range p.r.Lines {
		l := &p.r.Lines[i]
		rows = append(rows, []string{l.ID, short(l.Events.Direct), short(l.Events.Near), short(l.Events.AdjacentStructure)})
	}
	p.table(rows)
}

func (p *page) measures() {
	rec := &p.r.Recommendation
	switch {
	case !rec.Needed:
		p.print("\nMeasures\n  every risk is within its limit as things are\n")
		return
	case rec.Sufficient:
		p.print("\nMeasures: the cheapest set that suffices, cost %s (%s)\n", short(rec.Cost), rec.CostUnit)
	default:
		p.print("\nMeasures: NOTHING SUFFICES; the best that can be reached\n")
	}
	rows := [][]string{{"structure", "line", "measure"}}
	for _, s := range rec.Measures.Structures {
		for _, m := range structureMeasures(&s) {
			rows = append(rows, []string{s.ID, "", m})
		}
	}
	for _, l := range rec.Measures.Lines {
		for _, m := range lineMeasures(&l) {
			rows = append(rows, []string{l.Structure, l.ID, m})
		}
	}
	p.table(rows)
	p.print("  %s\n", p.left(&rec.MeasureSet))
	p.deciding()
	p.lpsWork()
	p.alternatives()
	p.changes()
}

func words(name string) string { return strings.ReplaceAll(name, "_", " ") }

func (p *page) schedule() {
	p.print("\nSPDs\n")
	if len(p.r.Schedule) == 0 {
		p.print("  no line enters an assessed structure\n")
		return
	}
	for i := range p.r.Schedule {
		p.entry(&p.r.Schedule[i])
	}
}

func (p *page) entry(e *wire.ScheduleEntry) {
	verdict := "not required; if fitted:"
	if e.Required {
		verdict = "REQUIRED"
	}
	p.print("  %s at %s, %s: %s\n", e.Line, e.Structure, words(string(e.Position)), verdict)
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
	p.print("    %s\n", what)
	rows := [][]string{{"  mode", "U_C at least", "U_P at most", "I_n at least", "I_imp at least"}}
	for _, m := range e.Modes {
		rows = append(rows, []string{"  " + m.Mode, unit(m.UcMin, "V"), unit(m.UpMax, "kV"), unit(m.InMin, "kA"), unit(m.IimpMin, "kA")})
	}
	p.table(rows)
	p.table([][]string{
		{"  U_C at most", unit(e.UcMax, "V"), "short-circuit rating at least", unit(e.ShortCircuitMin, "kA")},
		{"  I_max (usual)", unit(e.ImaxMin, "kA"), "leads together at most", unit(e.Leads.MaxLength, "m")},
		{"  to earth", unit(e.Leads.Earth, "mm2 Cu"), "to live conductors", unit(e.Leads.Live, "mm2 Cu")},
	})
	for _, b := range e.Because {
		p.wrapped("    because: ", "      ", b.Rule+" ("+b.Clause+")")
	}
	for _, n := range e.Notes {
		p.wrapped("    note: ", "      ", n)
	}
}

func unit(o spd.Opt, u string) string {
	if !o.Valid {
		return "-"
	}
	return short(o.Value) + " " + u
}

// years says for each required device at a line entrance how often it will act, and how likely it is to be
// destroyed if its ratings are just those of the schedule.
func (p *page) years() {
	rows := [][]string{{"line", "at", "operations a year", "overstressed once in", "chance in 10 years"}}
	for i := range p.stress.Ends {
		e := &p.stress.Ends[i]
		if !e.Required {
			continue
		}
		d := &e.Duties[0]
		chance := slices.IndexFunc(d.Overstress, func(o wire.OverstressInYears) bool { return o.Years == 10 })
		rows = append(rows, []string{e.Line, e.Structure, short(e.Operations), unit(d.ReturnPeriod, "years"), short(100*d.Overstress[chance].Probability) + " %"})
	}
	if len(rows) == 1 {
		return
	}
	p.print("\nDevices of just the ratings above, over the years (surges above %s kA; every flash counts as the worst)\n", short(p.stress.Ends[0].OperationsAbove))
	p.table(rows)
}

// assumptions lists the defaults that decide the outcome in full, and counts the others.
func (p *page) assumptions() {
	decisive := 0
	for _, a := range p.r.Assumptions {
		if a.Decisive {
			decisive++
		}
	}
	p.print("\nAssumptions: %d defaults were taken (all in the JSON result)\n", len(p.r.Assumptions))
	if decisive == 0 {
		p.print("  none of them, taken alone, turns a risk over its limit or changes the class of LPS\n")
		return
	}
	p.print("  these decide the outcome; find them out on site:\n")
	for _, a := range p.r.Assumptions {
		if !a.Decisive {
			continue
		}
		p.wrapped("  - ", "      ", a.Pointer+" taken as "+a.Value)
		for _, alt := range a.Alternatives {
			p.wrapped("      with ", "        ", alt.Value+": "+alt.Outcome)
		}
	}
}
