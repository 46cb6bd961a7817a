package risk_test

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"levinward/risk"
)

// The probability is that of a simulation which knows the rule in words only: N_G is lognormal around its stated
// value with the variance that follows from its standard error, and the risk goes with N_G (rule: common practice, no
// published source; the moments of the lognormal distribution stand in any handbook of statistics).
func TestExceedanceIsThatOfASimulation(t *testing.T) {
	const draws = 200_000
	random := rand.New(rand.NewPCG(62305, 2))
	for _, c := range []struct{ total, limit, ng, s float64 }{
		{1e-5, 1e-5, 6.5, 1.2}, {1.2e-5, 1e-5, 6.5, 1.2}, {0.8e-5, 1e-5, 6.5, 1.2}, {1.5e-5, 1e-5, 9.4, 4.1},
		{0.4e-3, 1e-3, 0.8, 0.4}, {1.1e-4, 1e-4, 20, 0.9}, {0.97e-4, 1e-4, 0.01, 0.0011},
	} {
		cv := c.s / c.ng
		sigma := math.Sqrt(math.Log(1 + cv*cv))
		above := 0
		for range draws {
			ng := c.ng * math.Exp(sigma*random.NormFloat64())
			if c.total/c.ng*ng > c.limit {
				above++
			}
		}
		got, ok := spread(c.ng, c.s).Exceedance(c.total, c.limit)
		want := float64(above) / draws
		// Six standard deviations of a share of the draws are at most 6 sqrt(0.25/200000) = 0.0067.
		if !ok || math.Abs(got-want) > 0.0067 {
			t.Errorf("%+v: %v %v, %v in the simulation", c, got, ok, want)
		}
	}
}

// By hand, with Phi(1) = 0.841345 and Phi(-2) = 0.0227501 (any table of the normal distribution): N_G 4, s 2 give
// sigma = sqrt(ln 1.25) = 0.472381; R/R_T = e^0.472381 = 1.603808 is one sigma above, e^-0.944761 = 0.388772 two below.
func TestExceedanceByHand(t *testing.T) {
	for ratio, want := range map[float64]float64{1.603808: 0.841345, 0.388772: 0.0227501, 1: 0.5} {
		if got, ok := spread(4, 2).Exceedance(ratio*1e-5, 1e-5); !ok || math.Abs(got-want) > 2e-6 {
			t.Errorf("%v times the limit: %v %v, want %v", ratio, got, ok, want)
		}
	}
}

// Above half of N_G the figure is a rough one: N_G 4, s 3 give sigma = sqrt(ln 1.5625) = 0.668047; one sigma above
// (e^0.668047 = 1.950425) is 0.841, two above (3.804157) 0.977, two below (0.262870) 0.0228, three below (0.134776) 0.00135.
func TestRoughStandardErrorGivesOneFigure(t *testing.T) {
	for ratio, want := range map[float64]string{1.950425: "0.8", 3.804157: "0.98", 0.262870: "0.02", 0.134776: "0.001", 1: "0.5",
		0: "0", 1e300: "1"} {
		got, ok := spread(4, 3).Exceedance(ratio*1e-5, 1e-5)
		if text := strconv.FormatFloat(got, 'g', -1, 64); !ok || text != want {
			t.Errorf("%v times the limit: %s %v, want %s", ratio, text, ok, want)
		}
	}
	if got, ok := spread(4, 2).Exceedance(1.603808e-5, 1e-5); !ok || got == 0.8 {
		t.Errorf("at half of N_G: %v %v, which still has all its figures", got, ok)
	}
	if _, ok := spread(4, 4).Exceedance(1e-5, 1e-5); !ok {
		t.Error("no figure at s = N_G")
	}
}

func TestNoExceedance(t *testing.T) {
	for name, c := range map[string]struct{ limit, ng, s float64 }{
		"not stated": {1e-5, 4, 0}, "above N_G": {1e-5, 4, 4.001}, "the costs decide": {0, 4, 1}, "not a number": {1e-5, 4, math.NaN()},
	} {
		if p, ok := spread(c.ng, c.s).Exceedance(2e-5, c.limit); ok || p != 0 {
			t.Errorf("%s: %v %v", name, p, ok)
		}
	}
	if s := spread(4, 5); s.Tells() || !s.Stated() || spread(4, 0).Stated() {
		t.Errorf("%+v", s)
	}
}

func spread(ng, s float64) risk.Spread { return (&risk.FlashDensity{StandardError: s}).Spread(ng) }

// By hand: [2, 8] of 90 % has the median sqrt(16) = 4 and sigma = ln 4 / 3.29 = 0.421366 (rule: common practice, no published
// source). N_G 5 was computed with, so R at the median is 0.8 R. R = 1.25 R_T is 0.5; R/R_T = 1.25 e^0.421366 = 1.905052 is one
// sigma above: 0.841345.
func TestIntervalOf90Percent(t *testing.T) {
	d := risk.FlashDensity{Lower90: 2, Upper90: 8}
	s := d.Spread(5)
	if math.Abs(s.Ratio-0.8) > 1e-12 || math.Abs(s.Sigma-0.421366) > 1e-6 || s.Upper != 8 {
		t.Errorf("%+v", s)
	}
	for ratio, want := range map[float64]float64{1.25: 0.5, 1.905052: 0.841345} {
		if got, ok := s.Exceedance(ratio*1e-5, 1e-5); !ok || math.Abs(got-want) > 2e-6 {
			t.Errorf("%v times the limit: %v %v, want %v", ratio, got, ok, want)
		}
	}
	// Beyond sigma = sqrt(ln 1.25) = 0.4724 (b/a = 4.73) one figure, beyond sqrt(ln 2) = 0.8326 (b/a = 15.5) none.
	for upper, want := range map[float64]string{4.7: "", 4.8: "0.8", 15.4: "0.8", 15.6: "none"} {
		d = risk.FlashDensity{Lower90: 1, Upper90: upper}
		s = d.Spread(math.Sqrt(upper))
		p, ok := s.Exceedance(1e-5*math.Exp(s.Sigma), 1e-5)
		switch text := strconv.FormatFloat(p, 'g', -1, 64); want {
		case "":
			if !ok || math.Abs(p-0.841345) > 2e-6 {
				t.Errorf("up to %v: %v %v", upper, p, ok)
			}
		case "none":
			if ok {
				t.Errorf("up to %v: %v", upper, p)
			}
		default:
			if !ok || text != want {
				t.Errorf("up to %v: %v %v, want %v", upper, p, ok, want)
			}
		}
	}
}

// By hand: N_G 4, s 2: sigma 0.472381, the upper bound of 95 % is 4 e^(1.645 x 0.472381) = 4 x 2.175084 = 8.700336.
func TestUpperBound(t *testing.T) {
	if s := spread(4, 2); math.Abs(s.Upper-8.700336) > 1e-4 {
		t.Errorf("upper bound %v", s.Upper)
	}
}

// R is proportional to N_G: 2.5e-6 against 1e-5 bears four times the flashes.
func TestMargin(t *testing.T) {
	for _, c := range []struct {
		total, limit, want float64
		ok                 bool
	}{{2.5e-6, 1e-5, 4, true}, {4e-5, 1e-5, 0.25, true}, {0, 1e-5, 0, false}, {1e-5, 0, 0, false}} {
		if got, ok := risk.Margin(c.total, c.limit); got != c.want && math.Abs(got-c.want) > 1e-12 || ok != c.ok {
			t.Errorf("%+v: %v %v", c, got, ok)
		}
	}
}
