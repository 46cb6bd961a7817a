package wire

import "levinward/risk"

// Margin says how far a risk is from its limit, and how sure that is; what cannot be said is nil.
type Margin struct {
	// Times is R_T/R, and FlipsAt the N_G at which R = R_T: R is proportional to N_G.
	Times   *float64 `json:"margin,omitempty"`
	FlipsAt *float64 `json:"flips_at_ground_flashes_per_km2_year,omitempty"`
	// Exceedance is the probability that R exceeds R_T, from N_G alone; AtUpper is R with N_G at its upper bound.
	Exceedance *float64 `json:"exceedance_probability,omitempty"`
	AtUpper    *float64 `json:"risk_at_upper_bound,omitempty"`
}

// RemainingMargin holds the margins of a structure under a set of measures.
type RemainingMargin struct {
	HumanLife        *Margin `json:"loss_of_human_life,omitempty"`
	PublicService    *Margin `json:"loss_of_public_service,omitempty"`
	CulturalHeritage *Margin `json:"loss_of_cultural_heritage,omitempty"`
	EconomicValue    *Margin `json:"loss_of_economic_value,omitempty"`
}

// Of returns the margin of one loss, nil where it does not apply.
func (m *RemainingMargin) Of(k risk.Loss) *Margin { return *m.slots()[k] }

func (m *RemainingMargin) slots() [risk.Losses]**Margin {
	return [risk.Losses]**Margin{&m.HumanLife, &m.PublicService, &m.CulturalHeritage, &m.EconomicValue}
}

// spread is how uncertain the N_G of the answer is.
func (a *Answer) spread() risk.Spread { return a.Input.FlashDensity.Spread(a.Result.NG) }

// margin is that of a risk with its limit, 0 where there is none.
func (a *Answer) margin(total, limit float64) Margin {
	var m Margin
	spread, ng := a.spread(), a.Result.NG
	if times, ok := risk.Margin(total, limit); ok {
		at := ng * times
		m.Times, m.FlipsAt = &times, &at
	}
	if p, ok := spread.Exceedance(total, limit); ok {
		m.Exceedance = &p
	}
	if spread.Stated() {
		at := total * (spread.Upper / ng)
		m.AtUpper = &at
	}
	return m
}

// margins are those that a set of measures leaves at a structure, and the smallest of them; nil without any limit.
func (a *Answer) margins(r *risk.StructureResult, after *[risk.Losses]float64) (m RemainingMargin, least *float64) {
	for k, slot := range m.slots() {
		if !r.Risks[k].Applies {
			continue
		}
		one := a.margin(after[k], r.Risks[k].Tolerable)
		*slot = &one
		if one.Times != nil && (least == nil || *one.Times < *least) {
			least = one.Times
		}
	}
	return m, least
}

func (a *Answer) effect(e *risk.Effect) Effect {
	was := &a.Assumptions[e.Assumption]
	w := Effect{
		Pointer: was.Pointer, Value: was.Value, Instead: e.Instead, Structure: a.Input.Structures[e.Structure].ID, Loss: e.Loss,
		Before: e.Before, After: e.After, Decisive: e.Decisive,
	}
	if limit := a.Result.Structures[e.Structure].Risks[e.Loss].Tolerable; limit > 0 {
		w.Tolerable = &limit
	}
	return w
}

// interval takes the interval of 90 % that may stand in place of a standard error.
func (b *builder) interval(f *FlashDensity, d *risk.FlashDensity) {
	fault := func(field, reason string) {
		b.fault(risk.RuleContradiction, pointer("flash_density", field), reason)
	}
	switch {
	case f.Lower90 == nil && f.Upper90 == nil:
	case f.Lower90 == nil:
		fault("lower_90", "is required with upper_90")
	case f.Upper90 == nil:
		fault("upper_90", "is required with lower_90")
	case d.StandardError > 0:
		fault("standard_error", "goes without lower_90 and upper_90: state one of the two")
	case !(*f.Lower90 < *f.Upper90):
		fault("upper_90", "must be more than lower_90")
	case f.GroundFlashes != nil && (*f.GroundFlashes < *f.Lower90 || *f.GroundFlashes > *f.Upper90):
		fault("ground_flashes_per_km2_year", "must lie between lower_90 and upper_90")
	default:
		d.Lower90, d.Upper90 = *f.Lower90, *f.Upper90
	}
}
