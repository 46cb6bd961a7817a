package wire

import (
	"errors"
	"regexp"
	"strconv"
	"strings"

	"levinward/risk"
	"levinward/risk/measures"
)

// BudgetRequest asks what to spend an amount on in a portfolio.
type BudgetRequest struct {
	Budget    *Amount    `json:"budget" required:"true"`
	Currency  *string    `json:"currency,omitempty" len:"[3,3]"`
	Relative  *bool      `json:"relative,omitempty"`
	Objective *Objective `json:"objective" required:"true"`
	Effort    *float64   `json:"effort,omitempty" lim:"[0,2000000]" integer:"true"`

	// MeasureCosts stand in for the prices of every site that has none of its own.
	MeasureCosts *MeasureCosts `json:"measure_costs,omitempty"`
}

// BudgetRequests decodes requests.
var BudgetRequests = NewDecoder[BudgetRequest]()

// Amount is a sum as a decimal text with at most two decimals, "12500.50".
type Amount string

var amountForm = regexp.MustCompile(Amount("").Pattern())

// Pattern is the form of an amount.
func (Amount) Pattern() string { return `^(0|[1-9][0-9]{0,14})(\.[0-9]{1,2})?$` }

// Allowed says the form in words.
func (Amount) Allowed() string {
	return `a decimal text such as "12500.50": digits with a decimal point, at most 15 before and 2 behind it, not negative`
}

// UnmarshalText takes an amount.
func (v *Amount) UnmarshalText(b []byte) error {
	if !amountForm.Match(b) {
		return errors.New("must be " + v.Allowed())
	}
	*v = Amount(b)
	return nil
}

// Hundredths is the amount as a whole number.
func (v Amount) Hundredths() int64 {
	whole, decimals, _ := strings.Cut(string(v), ".")
	n, _ := strconv.ParseInt(whole+(decimals + "00")[:2], 10, 64) // the form leaves room
	return n
}

// AmountOf writes hundredths as an amount.
func AmountOf(hundredths int64) Amount {
	text := strconv.FormatInt(hundredths, 10)
	if n := 3 - len(text); n > 0 {
		text = "000"[:n] + text
	}
	return Amount(text[:len(text)-2] + "." + text[len(text)-2:])
}

// Objective is what a budget is spent on.
type Objective string

var objectives = []string{"expected_loss", "persons_at_risk"}

// Names lists the objectives.
func (Objective) Names() []string { return objectives }

// UnmarshalText takes the name of a value.
func (v *Objective) UnmarshalText(b []byte) error { return oneOf(v, b, objectives) }

// Core is the objective as the search has it.
func (v Objective) Core() measures.Objective {
	if v == "persons_at_risk" {
		return measures.PersonsAtRisk
	}
	return measures.ExpectedLoss
}

// SearchEffort is how far the search goes.
func (r *BudgetRequest) SearchEffort() measures.Effort {
	if r.Effort == nil {
		return measures.DefaultEffort
	}
	return measures.Effort(*r.Effort)
}

// Faults lists what the limits of single fields cannot state.
func (r *BudgetRequest) Faults() []risk.Violation {
	var faults []risk.Violation
	contradiction := func(pointer, reason string) {
		faults = append(faults, risk.Violation{Rule: risk.RuleContradiction, Pointer: pointer, Reason: reason})
	}
	relative := r.Relative != nil && *r.Relative
	if relative == (r.Currency != nil) {
		contradiction("/currency", "give the currency of the budget, or relative true for the relative costs of sites without prices: exactly one of the two")
	}
	prices := r.MeasureCosts
	if prices != nil && relative { // at relative: a fault at measure_costs would hide behind those below it
		contradiction("/relative", "must not be true with measure_costs, which are prices in money: give the currency of the budget in its place, or leave measure_costs out")
	}
	if prices != nil && r.Currency != nil && prices.Currency != *r.Currency {
		contradiction("/measure_costs/currency", "the prices are in "+prices.Currency+", the budget is in "+*r.Currency+": both have to be in one currency")
	}
	return faults
}

// Prices are those that count for a site: its own, or those of the request
// where it has none. It tells whether the request gave them.
func (r *BudgetRequest) Prices(own *MeasureCosts) (prices *MeasureCosts, stoodIn bool) {
	if own == nil && r.MeasureCosts != nil {
		return r.MeasureCosts, true
	}
	return own, false
}

// BudgetPlan is what to do with a budget.
type BudgetPlan struct {
	Objective Objective `json:"objective"`
	Budget    Amount    `json:"budget"`
	CostUnit  string    `json:"cost_unit"`
	SavedUnit string    `json:"saved_unit"`
	Engine    string    `json:"engine"`

	Cost   Amount  `json:"cost"`
	Saved  float64 `json:"saved"`
	Bound  float64 `json:"bound"`
	Gap    float64 `json:"gap_percent"`
	Exact  bool    `json:"exact"`
	Before float64 `json:"before"`
	After  float64 `json:"after"`

	Sites                int            `json:"sites"`
	PricedByRequest      int            `json:"sites_priced_by_request"`
	SitesAboveLimit      int            `json:"sites_above_limit"`
	SitesAboveLimitAfter int            `json:"sites_above_limit_after"`
	Choices              int            `json:"structures_to_choose_for"`
	Chosen               []BudgetChoice `json:"chosen"`
	Cautions             []string       `json:"cautions"`
}

// BudgetChoice is a set of measures that the plan pays for.
type BudgetChoice struct {
	Assessment string        `json:"assessment"`
	Reference  string        `json:"reference"`
	Name       string        `json:"name"`
	Structure  string        `json:"structure"`
	Measures   MeasuresTaken `json:"measures"`
	Cost       Amount        `json:"cost"`
	Saved      float64       `json:"saved"`
	RisksAfter RemainingRisk `json:"risks_after"`
	Acceptable bool          `json:"acceptable_after"`
}

// MeasuresOf writes a set of measures at one structure, and the risks that it leaves.
func MeasuresOf(in *risk.Input, res *risk.Result, m *risk.StructureMeasures) (MeasuresTaken, RemainingRisk) {
	a := Answer{Input: in, Result: res}
	set := a.measures(&risk.MeasureSet{Structures: []risk.StructureMeasures{*m}})
	return set.Measures, set.RisksAfter[in.Structures[m.Structure].ID]
}
