package ed2

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// Annex D.
var (
	riskWithout     = &q{Symbol: "R_4", Name: "risk of loss of economic value without measures", Unit: "1/a", Clause: std + "D"}
	riskWith        = &q{Symbol: "R_4'", Name: "risk of loss of economic value with measures", Unit: "1/a", Clause: std + "D"}
	totalValue      = &q{Symbol: "c_t", Name: "total value of the structure", Unit: "money", Clause: std + "D"}
	lossWithout     = &q{Symbol: "C_L", Name: "yearly cost of loss without measures", Unit: "money/a", Clause: std + "D", Expr: "R_4*c_t", In: []*q{riskWithout, totalValue}, Provenance: read}
	lossWith        = &q{Symbol: "C_RL", Name: "yearly cost of loss with measures", Unit: "money/a", Clause: std + "D", Expr: "R_4'*c_t", In: []*q{riskWith, totalValue}, Provenance: mem}
	priceOfMeasures = &q{Symbol: "C_P", Name: "price of the measures", Unit: "money", Clause: std + "D", Reads: "measure_costs"}
	yearlyShare     = &q{Symbol: "k_y", Name: "interest, amortization and maintenance, i + a + m", Unit: "1/a", Clause: std + "D", Reads: "measure_costs"}
	yearlyCost      = &q{Symbol: "C_PM", Name: "yearly cost of the measures", Unit: "money/a", Clause: std + "D", Expr: "C_P*k_y", In: []*q{priceOfMeasures, yearlyShare}, Provenance: mem}
	saving          = &q{Symbol: "S_M", Name: "yearly saving; measures are justified where it is positive", Unit: "money/a", Clause: std + "D", Expr: "C_L - (C_PM + C_RL)", In: []*q{lossWithout, yearlyCost, lossWith}, Provenance: mem}
)

// CostOfLoss compares the yearly cost of loss with and without measures (Annex D).
// before and after are R_4 [1/a], value is c_t, price is C_P, both in money;
// yearly is i + a + m [1/a].
func (Edition) CostOfLoss(before, after, value, price, yearly float64, t *trace.Trace) risk.Cost {
	R4, R4After, CT := t.Given(riskWithout, before), t.Given(riskWith, after), t.Given(totalValue, value)
	c := risk.Cost{Without: t.Set(lossWithout, R4*CT), With: t.Set(lossWith, R4After*CT)}
	c.Measures = t.Set(yearlyCost, t.Given(priceOfMeasures, price)*t.Given(yearlyShare, yearly))
	c.Saving = t.Set(saving, c.Without-(c.Measures+c.With))
	return c
}
