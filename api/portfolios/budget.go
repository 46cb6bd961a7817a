package portfolios

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/table"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/measures"
	"levinward/risk/trace"
	"levinward/store"
)

const (
	// budgetTime is how long a plan may take; it is one request.
	budgetTime = 10 * time.Minute
	// maxListedSites is how many sites a refusal names.
	maxListedSites = 100
	// inputsAtOnce is how many stored inputs are in memory at a time.
	inputsAtOnce = 50
)

// MaxBudgetSites bounds the time and memory of one plan.
var MaxBudgetSites = 100_000

var tooManySites = refusal.Kind{Name: "too-many-sites", Status: http.StatusUnprocessableEntity,
	Title: "The portfolio has too many sites for this"}

// budget answers which measures at the sites of a portfolio save most for an amount.
func (s *Service) budget(c echo.Context) error {
	media, err := protocol.Negotiate(c, protocol.MediaJSON, protocol.MediaCSV)
	if err != nil {
		return err
	}
	c.Response().Header().Add("Vary", "Accept")
	b, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return err
	}
	req, problem := contract.DecodeBody(wire.BudgetRequests, b, (*wire.BudgetRequest).Faults)
	if problem != nil {
		return problem
	}
	ctx, cancel := context.WithTimeout(c.Request().Context(), budgetTime)
	defer cancel()
	release, err := protocol.Slot(ctx, s.Slots, "another plan is being made; try again later")
	if err != nil {
		return err
	}
	defer release()
	_ = http.NewResponseController(c.Response()).SetWriteDeadline(time.Now().Add(budgetTime)) // not every writer has one
	plan, err := s.plan(ctx, c.Param("id"), req)
	if err != nil {
		return err
	}
	if media == protocol.MediaCSV {
		return protocol.AnswerCSV(c, "budget.csv", budgetRows(plan))
	}
	return protocol.Answer(c, plan)
}

// plan finds what can be paid for at every site and chooses among it.
func (s *Service) plan(ctx context.Context, portfolio string, req *wire.BudgetRequest) (*wire.BudgetPlan, error) {
	totals, err := s.Store.PortfolioTotals(ctx, store.Local, portfolio, s.Now())
	if err != nil {
		return nil, protocol.NoSuch("portfolio", err)
	}
	if totals.Sites > int64(MaxBudgetSites) {
		return nil, tooManySites.Problem("it has " + strconv.FormatInt(totals.Sites, 10) + "; " + strconv.Itoa(MaxBudgetSites) +
			" are allowed: divide it")
	}
	reviews, err := s.Reviews.Reviews(ctx)
	if err != nil {
		return nil, err
	}
	p := &planner{Service: s, ctx: ctx, portfolio: portfolio, req: req, objective: req.Objective.Core(), used: reviews}
	if err := p.read(); err != nil {
		return nil, err
	}
	if err := p.refused(); err != nil {
		return nil, err
	}
	return p.document(), nil
}

// planner collects what can be chosen.
type planner struct {
	*Service
	ctx       context.Context
	portfolio string
	req       *wire.BudgetRequest
	objective measures.Objective
	used      *trace.Reviews // of table values

	sites   []plannedSite
	options []measures.SiteOptions
	sets    [][]plannedSet  // what the options stand for
	faults  []refusal.Fault // of the first sites that cannot take part
	faulty  int             // number of all of them
	bare    int             // number of those that have no prices
	priced  int             // number of sites that the request gave prices to
}

// plannedSite is a site without what is large about it.
type plannedSite struct {
	assessment, reference, name string
	structures                  []string
	limited                     []bool
	before                      float64
	unknown                     int
	older                       bool // its result is of another engine
}

// plannedSet is an option as the answer tells it.
type plannedSet struct {
	measures wire.MeasuresTaken
	risks    wire.RemainingRisk
	limited  bool // a risk stays above its limit
}

// read goes through the sites in the order of their names.
func (p *planner) read() error {
	f := store.SiteFilter{Rank: store.RankName, Limit: inputsAtOnce}
	for {
		page, err := p.Store.ListSites(p.ctx, store.Local, p.portfolio, f)
		if err != nil {
			return err
		}
		if err := p.page(page.Sites); err != nil {
			return err
		}
		if f.Cursor = page.Next; f.Cursor == "" {
			return nil
		}
		if len(p.sites)+p.faulty > MaxBudgetSites {
			return tooManySites.Problem("there are more than " + strconv.Itoa(MaxBudgetSites) + " meanwhile: divide it")
		}
	}
}

// page computes some sites on all processors and takes their options in order.
func (p *planner) page(sites []store.Site) error {
	ids := make([]string, len(sites))
	for i := range sites {
		ids[i] = sites[i].Assessment
	}
	inputs, err := p.Store.SiteInputs(p.ctx, store.Local, p.portfolio, ids)
	if err != nil {
		return err
	}
	slices.SortFunc(inputs, func(a, b store.SiteInput) int {
		return slices.Index(ids, a.Assessment) - slices.Index(ids, b.Assessment)
	})
	results := make([]computedSite, len(inputs))
	var workers sync.WaitGroup
	next := make(chan int)
	for range min(runtime.GOMAXPROCS(0), len(inputs)) {
		workers.Go(func() {
			for i := range next {
				results[i] = p.compute(&inputs[i])
			}
		})
	}
	for i := range inputs {
		if p.ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	workers.Wait()
	if err := p.ctx.Err(); err != nil {
		return err
	}
	for i := range results {
		if err := p.take(&inputs[i], &results[i]); err != nil {
			return err
		}
	}
	return nil
}

// computedSite is one of: an error, why the site cannot take part, or its choices.
type computedSite struct {
	err     error
	reason  string
	bare    bool // it cannot take part because it has no prices
	choices *assess.Choices
	priced  bool // the request gave it prices
}

// compute finds the choices at a site, with N_G as its stored result has it.
// Prices of the request become part of the input: nothing differs from a site that states them itself.
func (p *planner) compute(in *store.SiteInput) (r computedSite) {
	defer func() {
		if v := recover(); v != nil {
			r.err = fmt.Errorf("budget, site %s: panic: %v\n%s", in.Assessment, v, debug.Stack())
		}
	}()
	var input wire.Input
	if err := json.Unmarshal(in.Input, &input); err != nil {
		return computedSite{err: fmt.Errorf("input of site %s: %w", in.Assessment, err)}
	}
	var priced bool
	input.MeasureCosts, priced = p.req.Prices(input.MeasureCosts)
	switch wanted, costs := p.req.Currency, input.MeasureCosts; {
	case wanted != nil && costs == nil:
		return computedSite{bare: true, reason: "has no prices, only relative costs"}
	case wanted != nil && costs.Currency != *wanted:
		return computedSite{reason: "has prices in " + costs.Currency}
	case wanted == nil && costs != nil:
		return computedSite{reason: "has prices in " + costs.Currency + ", not relative costs"}
	}
	site := input.CoreWith(p.used)
	if p.faulty > 0 { // nothing will be planned, only the other sites at fault named
		return computedSite{choices: &assess.Choices{Input: &site.Input}}
	}
	if d := &site.Input.FlashDensity; d.Origin == risk.DensityMap {
		d.NG = in.GroundFlashes
	}
	choices, faults := assess.ChoicesOf(site, 0, p.objective)
	if len(faults) > 0 {
		return computedSite{reason: "cannot be computed any more: " + faults[0].Pointer + " " + faults[0].Reason}
	}
	return computedSite{choices: choices, priced: priced}
}

// take adds a site to what can be chosen from.
func (p *planner) take(in *store.SiteInput, r *computedSite) error {
	if r.err != nil {
		return r.err
	}
	if r.bare {
		p.bare++
	}
	if r.priced {
		p.priced++
	}
	if r.choices == nil {
		if p.faulty++; len(p.faults) < maxListedSites {
			f := refusal.FaultAt("/currency", "site "+in.Assessment+", reference "+strconv.Quote(in.Reference)+", "+r.reason)
			f.Rule, f.Value = string(risk.RuleContradiction), in.Assessment
			p.faults = append(p.faults, f)
		}
		return nil
	}
	c := r.choices
	site := plannedSite{assessment: in.Assessment, reference: in.Reference, name: in.Name, limited: c.Limited, before: c.Before,
		unknown: c.Unknown, older: in.Engine != p.Engine}
	for i := range c.Input.Structures {
		site.structures = append(site.structures, c.Input.Structures[i].ID)
	}
	for i := range c.Options {
		c.Options[i].Site = len(p.sites)
		sets := make([]plannedSet, len(c.Sets[i]))
		for j := range sets {
			m := &c.Sets[i][j]
			sets[j].measures, sets[j].risks = wire.MeasuresOf(c.Input, c.Result, m)
			sets[j].limited = c.LimitedAfter(m)
		}
		p.options, p.sets = append(p.options, c.Options[i]), append(p.sets, sets)
	}
	p.sites = append(p.sites, site)
	return nil
}

// refused names the sites that cannot take part: sums of different currencies mean nothing.
func (p *planner) refused() error {
	if p.faulty == 0 {
		return nil
	}
	unit := "relative costs"
	if p.req.Currency != nil {
		unit = *p.req.Currency
	}
	detail := strconv.Itoa(p.faulty) + " of " + strconv.Itoa(p.faulty+len(p.sites)) + " sites cannot be paid from a budget in " + unit
	if p.faulty > len(p.faults) {
		detail += ", the first " + strconv.Itoa(len(p.faults)) + " of them here"
	}
	detail += "; nothing was planned"
	if p.bare > 0 {
		detail += ". " + strconv.Itoa(
			p.bare) + " of them have no prices: give measure_costs in the request, which stand in for every site without prices, " +
			"or state measure_costs in the inputs of the sites"
	}
	return refusal.InvalidInput.Problem(detail, p.faults...)
}

// document chooses and tells what was chosen.
func (p *planner) document() *wire.BudgetPlan {
	plan := measures.Spend(p.req.Budget.Hundredths(), p.options, p.req.SearchEffort())
	d := &wire.BudgetPlan{
		Objective: *p.req.Objective, Budget: *p.req.Budget, CostUnit: wire.RelativeCost, SavedUnit: "persons", Engine: p.Engine,
		Cost: wire.AmountOf(plan.Cost), Saved: plan.Saved, Bound: plan.Bound, Gap: plan.Gap(), Exact: plan.Exact,
		Sites: len(p.sites), PricedByRequest: p.priced, Choices: len(p.options), Chosen: []wire.BudgetChoice{},
		Cautions: assess.BudgetCautions(p.objective),
	}
	if p.req.Currency != nil {
		d.CostUnit = *p.req.Currency
	}
	if p.objective == measures.ExpectedLoss {
		d.SavedUnit = "money per year"
		if p.req.Currency != nil {
			d.SavedUnit = *p.req.Currency + " per year"
		}
	}
	unknown, older := 0, 0
	for i := range p.sites {
		s := &p.sites[i]
		d.Before += s.before
		unknown += s.unknown
		if s.older {
			older++
		}
		if slices.Contains(s.limited, true) {
			d.SitesAboveLimit++
		}
	}
	for i, j := range plan.Chosen {
		if j < 0 {
			continue
		}
		o, set := &p.options[i], &p.sets[i][j]
		s := &p.sites[o.Site]
		s.limited[o.Structure] = set.limited
		d.Chosen = append(d.Chosen, wire.BudgetChoice{
			Assessment: s.assessment, Reference: s.reference, Name: s.name, Structure: s.structures[o.Structure], Measures: set.measures,
			Cost: wire.AmountOf(o.Options[j].Cost), Saved: o.Options[j].Saved, RisksAfter: set.risks, Acceptable: !set.limited,
		})
	}
	for i := range p.sites {
		if slices.Contains(p.sites[i].limited, true) {
			d.SitesAboveLimitAfter++
		}
	}
	d.After = max(d.Before-d.Saved, 0)
	if unknown > 0 {
		d.Cautions = append([]string{strconv.Itoa(unknown) +
			" structures have an unacceptable R_1 and no number of persons: each counts as one person here. State the persons."}, d.Cautions...)
	}
	if p.priced > 0 {
		d.Cautions = append([]string{strconv.Itoa(p.priced) + " of " + strconv.Itoa(len(p.sites)) +
			" sites have no prices of their own: measure_costs of the request were assumed there. " +
			"As at a site with prices of its own, R_4 then has no limit unless the input states one, " +
			"because the cost comparison takes its place; fewer sites may be above a limit than the portfolio counts."}, d.Cautions...)
	}
	if older > 0 {
		d.Cautions = append([]string{strconv.Itoa(older) +
			" sites hold results of another version of the program than made this plan. Assess them again before comparing numbers."}, d.Cautions...)
	}
	return d
}

// budgetRows is a plan as a table: a row for each structure that something is
// paid for, and a last one with the totals, what was proven and the cautions of the plan.
func budgetRows(p *wire.BudgetPlan) [][]string {
	rows := [][]string{{"assessment", "reference", "name", "structure", "lps", "fire_protection", "structure_shock_measures",
		"line_shock_measures", "wiring", "line_end_spds",
		"cost", "cost_unit", "saved", "saved_unit", "loss_of_human_life_after", "loss_of_public_service_after",
		"loss_of_cultural_heritage_after", "loss_of_economic_value_after",
		"acceptable_after", "budget", "bound", "gap_percent", "plan_cautions"}}
	for i := range p.Chosen {
		c := &p.Chosen[i]
		m := &c.Measures.Structures[0]
		ends := make([]string, len(c.Measures.Lines))
		for j := range ends {
			l := &c.Measures.Lines[j]
			ends[j] = l.ID + ": bonding " + spdName(l.Bonding) + ", coordinated " + spdName(l.Coordinated)
		}
		wiring := ""
		if m.Wiring != nil {
			wiring = m.Wiring.String()
		}
		row := []string{c.Assessment, c.Reference, c.Name, c.Structure, m.LPS.String(), m.FireProtection.String(),
			strings.Join(m.StructureShock, " "), strings.Join(m.LineShock, " "), wiring,
			strings.Join(ends, "; "), string(c.Cost), p.CostUnit, table.FullNumber(c.Saved), p.SavedUnit}
		for k := range risk.Loss(risk.Losses) {
			after := ""
			if r := c.RisksAfter.Of(k); r != nil {
				after = table.FullNumber(*r)
			}
			row = append(row, after)
		}
		rows = append(rows, append(row, strconv.FormatBool(c.Acceptable), "", "", "", ""))
	}
	total := make([]string, len(rows[0]))
	total[0] = "total"
	for name, text := range map[string]string{"cost": string(p.Cost), "cost_unit": p.CostUnit, "saved": table.FullNumber(p.Saved),
		"saved_unit": p.SavedUnit, "budget": string(p.Budget),
		"bound": table.FullNumber(p.Bound), "gap_percent": table.FullNumber(p.Gap), "plan_cautions": strings.Join(p.Cautions, " ")} {
		total[slices.Index(rows[0], name)] = text
	}
	return append(rows, total)
}

// spdName is the level of a set of SPDs, or its probability.
func spdName(v wire.SPD) string {
	if v.Level == risk.BetterThanI {
		return table.FullNumber(v.Probability)
	}
	return v.Level.String()
}
