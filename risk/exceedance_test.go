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
		r := risk.Risk{Applies: true, Total: c.total, Tolerable: c.limit}
		got, ok := r.Exceedance(c.ng, c.s)
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
		r := risk.Risk{Total: ratio * 1e-5, Tolerable: 1e-5}
		if got, ok := r.Exceedance(4, 2); !ok || math.Abs(got-want) > 2e-6 {
			t.Errorf("%v times the limit: %v %v, want %v", ratio, got, ok, want)
		}
	}
}

// Above half of N_G the figure is a rough one: N_G 4, s 3 give sigma = sqrt(ln 1.5625) = 0.668047; one sigma above
// (e^0.668047 = 1.950425) is 0.841, two above (3.804157) 0.977, two below (0.262870) 0.0228, three below (0.134776) 0.00135.
func TestRoughStandardErrorGivesOneFigure(t *testing.T) {
	for ratio, want := range map[float64]string{1.950425: "0.8", 3.804157: "0.98", 0.262870: "0.02", 0.134776: "0.001", 1: "0.5",
		0: "0", 1e300: "1"} {
		r := risk.Risk{Total: ratio * 1e-5, Tolerable: 1e-5}
		got, ok := r.Exceedance(4, 3)
		if text := strconv.FormatFloat(got, 'g', -1, 64); !ok || text != want {
			t.Errorf("%v times the limit: %s %v, want %s", ratio, text, ok, want)
		}
	}
	r := risk.Risk{Total: 1.603808e-5, Tolerable: 1e-5}
	if got, ok := r.Exceedance(4, 2); !ok || got == 0.8 {
		t.Errorf("at half of N_G: %v %v, which still has all its figures", got, ok)
	}
	if _, ok := r.Exceedance(4, 4); !ok {
		t.Error("no figure at s = N_G")
	}
}

func TestNoExceedance(t *testing.T) {
	limited, byCost := risk.Risk{Total: 2e-5, Tolerable: 1e-5}, risk.Risk{Total: 2e-5}
	for name, c := range map[string]struct {
		r     risk.Risk
		ng, s float64
	}{
		"not stated": {limited, 4, 0}, "above N_G": {limited, 4, 4.001}, "the costs decide": {byCost, 4, 1}, "not a number": {limited, 4,
			math.NaN()},
	} {
		if p, ok := c.r.Exceedance(c.ng, c.s); ok || p != 0 {
			t.Errorf("%s: %v %v", name, p, ok)
		}
	}
}
