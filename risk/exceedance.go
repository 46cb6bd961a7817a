package risk

import (
	"math"
	"strconv"
)

// Exceedance is the probability that the true risk exceeds R_T, from the
// standard error s of N_G alone (both 1/(km2 a)); every other value counts as exact. Every
// component is proportional to N_G, so R is spread as N_G is: lognormal, the stated value as
// median, sigma^2 = ln(1 + (s/N_G)^2). Common practice, no published source.
//
// Above s = N_G/2 the smaller of the probability and its complement has one
// significant figure. There is none (false) where s is 0, which counts as not stated,
// where s exceeds N_G, and where R_T is 0, because the cost comparison decides.
func (r *Risk) Exceedance(ng, s float64) (float64, bool) {
	if !(s > 0) || s > ng || r.Tolerable <= 0 {
		return 0, false
	}
	sigma := math.Sqrt(math.Log1p((s / ng) * (s / ng)))
	p := normal(math.Log(r.Total/r.Tolerable) / sigma)
	if s > ng/2 {
		p = oneFigure(p)
	}
	return p, true
}

// normal is the distribution function of the standard normal distribution.
func normal(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

// oneFigure rounds a probability so that the smaller of it and its complement keeps one significant figure.
func oneFigure(p float64) float64 {
	q := min(p, 1-p)
	if q == 0 {
		return p
	}
	places := -int(math.Floor(math.Log10(q)))
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(p, 'f', places, 64), 64) // the text is a number
	return rounded
}
