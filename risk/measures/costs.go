package measures

import (
	"math"

	"levinward/risk"
)

// DefaultCosts are relative prices of measures. The unit is a set of bonding
// SPDs for LPL III-IV at one line end. The scale is our own estimate, no
// published source: it orders measures by what they usually cost at a small
// rural building and is meant to be replaced by the prices of the place.
// Interest, amortization and maintenance are 5 % each, the values of the check
// in Annex D's cost comparison.
func DefaultCosts() risk.Costs {
	return risk.Costs{
		LPS: [risk.LPSIFullCover + 1]float64{
			risk.LPSIV: 20, risk.LPSIII: 25, risk.LPSII: 35, risk.LPSI: 50,
			risk.LPSINaturalFrame: 50, risk.LPSIFullCover: 50,
		},
		Bonding: [risk.BetterThanI + 1]float64{
			risk.LevelIIIIV: 1, risk.LevelII: 1.5, risk.LevelI: 2, risk.BetterThanI: 3,
		},
		Coordinated: [risk.BetterThanI + 1]float64{
			risk.LevelIIIIV: 2, risk.LevelII: 2.5, risk.LevelI: 3, risk.BetterThanI: 4.5,
		},
		FireProtection: [risk.AutomaticFireProtection + 1]float64{
			risk.ManualFireProtection: 2, risk.AutomaticFireProtection: 30,
		},
		WarningNotices: 0.5,
		Insulation:     5,
		Wiring: &[risk.ShieldedWiring + 1]float64{
			risk.LargeLoopsAvoided: 3, risk.LoopsAvoided: 6, risk.ShieldedWiring: 15,
		},
		Interest: 0.05, Amortization: 0.05, Maintenance: 0.05,
	}
}

// units are whole numbers of the largest unit of which every price is a
// multiple: sums of prices are exact, equal costs are equal, and one unit is
// the smallest saving there can be.
type units int64

// prices are the costs of measures in units; one unit is unit/scale.
type prices struct {
	lps            [risk.LPSIFullCover + 1]units
	bonding        [risk.BetterThanI + 1]units
	coordinated    [risk.BetterThanI + 1]units
	fire           [risk.AutomaticFireProtection + 1]units
	notices        units
	insulation     units
	wiring         [risk.ShieldedWiring + 1]units
	rewiring       bool // wiring has prices
	unit           units
	scale, largest float64
	step           units // the least that any better SPD costs more; 0 where one costs no more
}

// dearest bounds a price, so that sums over any number of lines stay exact.
const dearest = 1e15

// pricesOf rounds prices to six decimals, or to twelve digits of the largest
// where that is coarser. A price is not negative; a negative or missing one counts as 0.
func pricesOf(c *risk.Costs) prices {
	p := prices{scale: 1e6}
	p.each(c, func(price float64, _ *units) { p.largest = max(p.largest, price) })
	for p.largest*p.scale > 1e12 {
		p.scale /= 10
	}
	p.each(c, func(price float64, u *units) {
		*u = units(math.Round(price * p.scale))
		p.unit = divisor(p.unit, *u)
	})
	p.unit = max(p.unit, 1)
	p.each(c, func(_ float64, u *units) { *u /= p.unit })
	p.step = p.bonding[risk.LevelIIIIV]
	for i := risk.LevelIIIIV; i <= risk.LevelI; i++ {
		p.step = min(p.step, p.bonding[i]-p.bonding[i-1], p.coordinated[i])
	}
	p.step = max(p.step, 0)
	p.rewiring = c.Wiring != nil
	return p
}

// pricesIn are the prices of an input. Relative prices that are all zero were not given; in money, measures may cost nothing.
func pricesIn(c *risk.Costs) prices {
	p := pricesOf(c)
	if p.largest == 0 && !c.Money {
		costs := DefaultCosts()
		p = pricesOf(&costs)
	}
	return p
}

// each calls f with every price that can be asked for and where it is kept.
func (p *prices) each(c *risk.Costs, f func(float64, *units)) {
	one := func(price float64, u *units) {
		if !(price > 0) {
			price = 0
		}
		f(min(price, dearest), u)
	}
	for i := risk.LPSIV; i <= risk.LPSI; i++ {
		one(c.LPS[i], &p.lps[i])
	}
	for i := risk.LevelIIIIV; i <= risk.LevelI; i++ {
		one(c.Bonding[i], &p.bonding[i])
		one(c.Coordinated[i], &p.coordinated[i])
	}
	for i := risk.ManualFireProtection; i <= risk.AutomaticFireProtection; i++ {
		one(c.FireProtection[i], &p.fire[i])
	}
	one(c.WarningNotices, &p.notices)
	one(c.Insulation, &p.insulation)
	if c.Wiring != nil {
		for i := risk.LargeLoopsAvoided; i <= risk.ShieldedWiring; i++ {
			one(c.Wiring[i], &p.wiring[i])
		}
	}
}

// cost is the amount of u in the currency of the costs.
func (p *prices) cost(u units) float64 { return float64(u*p.unit) / p.scale }

// divisor is the greatest common divisor.
func divisor(a, b units) units {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
