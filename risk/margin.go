package risk

import (
	"math"
	"strconv"
)

// Spread is how uncertain N_G is: lognormal around Median with Sigma (common practice, no published source). The
// zero value says that nothing is stated.
type Spread struct {
	Ratio float64 // of the median to the N_G that was computed with
	Sigma float64
	Upper float64 // what N_G exceeds with a probability of 5 % [1/(km2 a)]
}

// The standard normal quantile of 95 %, and twice it for an interval of 90 %.
const (
	quantile95 = 1.645
	width90    = 3.29
)

// Spread is that of the N_G computed with: by its interval of 90 % where one is stated (median sqrt(ab), sigma =
// ln(b/a)/3.29), else by its standard error s (the value as median, sigma^2 = ln(1 + (s/N_G)^2)).
func (d *FlashDensity) Spread(ng float64) Spread {
	switch s := d.StandardError; {
	case d.Lower90 > 0 && d.Upper90 > d.Lower90:
		return Spread{math.Sqrt(d.Lower90*d.Upper90) / ng, math.Log(d.Upper90/d.Lower90) / width90, d.Upper90}
	case s > 0:
		sigma := math.Sqrt(math.Log1p((s / ng) * (s / ng)))
		return Spread{1, sigma, ng * math.Exp(quantile95*sigma)}
	}
	return Spread{}
}

// Stated reports that something is said of the uncertainty of N_G.
func (s Spread) Stated() bool { return s.Sigma > 0 }

// relative is the standard error over the median.
func (s Spread) relative() float64 { return math.Sqrt(math.Expm1(s.Sigma * s.Sigma)) }

// few keeps a standard error that is just a half or the whole of N_G within the limit of the rule.
const few = 1 + 1e-12

// Tells reports that a probability can be given: the standard error is at most N_G. Otherwise decide at Upper.
func (s Spread) Tells() bool { return s.Stated() && s.relative() <= few }

// Exceedance is the probability that the true risk exceeds R_T, from N_G alone; every other value counts as exact.
// Every component is proportional to N_G, so R is spread as N_G is. total and limit are R and R_T [1/a].
//
// Above a standard error of N_G/2 the smaller of the probability and its complement has one
// significant figure. There is none (false) where nothing is stated, where the standard error
// exceeds N_G, and where R_T is 0, because the cost comparison decides.
func (s Spread) Exceedance(total, limit float64) (float64, bool) {
	if !s.Tells() || limit <= 0 {
		return 0, false
	}
	p := normal(math.Log(total*s.Ratio/limit) / s.Sigma)
	if s.relative() > few/2 {
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

// Margin is R_T/R: how many times N_G could rise before the risk reaches its limit, because every component is
// proportional to N_G (IEC 62305-2:2010, Annex A). There is none (false) without a limit or without a risk.
func Margin(total, limit float64) (float64, bool) {
	if !(total > 0) || limit <= 0 {
		return 0, false
	}
	m := limit / total
	return m, !math.IsInf(m, 1)
}
