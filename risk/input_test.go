package risk_test

import (
	"testing"

	"levinward/risk"
)

func TestLineEnds(t *testing.T) {
	between := risk.Line{Structure: 1, To: 2, Sections: []risk.Section{{Length: 100}, {Length: 20.5}}}
	network := risk.Line{Structure: 1, To: -1}
	for _, c := range []struct {
		line      *risk.Line
		structure int
		ends      bool
		far       int
	}{{&between, 1, true, 2}, {&between, 2, true, 1}, {&between, 0, false, 1}, {&network, 1, true, -1}, {&network, 0, false, 1}} {
		if got := c.line.Ends(c.structure); got != c.ends {
			t.Errorf("line %d to %d at %d: ends %v", c.line.Structure, c.line.To, c.structure, got)
		}
		if got := c.line.Far(c.structure); got != c.far {
			t.Errorf("line %d to %d from %d: far end %d, want %d", c.line.Structure, c.line.To, c.structure, got, c.far)
		}
	}
	if between.Length() != 120.5 || network.Length() != 0 {
		t.Errorf("lengths %v, %v", between.Length(), network.Length())
	}
}

func TestEarthingProved(t *testing.T) {
	for c, want := range map[risk.EarthConnection]bool{risk.EarthUnknown: false, risk.EarthNone: false,
		risk.EarthMeasured: true, risk.EarthElectrode: true} {
		if got := (risk.Earthing{Connection: c}).Proved(); got != want {
			t.Errorf("%v: proved %v", c, got)
		}
	}
}

func TestSums(t *testing.T) {
	if got := (risk.Values{Animals: 1, Building: 20, Contents: 300, Systems: 4000}).Total(); got != 4321 {
		t.Errorf("total %v", got)
	}
	if got := (&risk.Costs{Interest: 0.5, Amortization: 0.125, Maintenance: 0.25}).Yearly(); got != 0.875 {
		t.Errorf("yearly %v", got)
	}
}

// A risk is acceptable up to R_T itself (IEC 62305-2:2010, clause 5.4, from memory: measures are needed where R >
// R_T); without a limit always.
func TestAcceptable(t *testing.T) {
	for _, c := range []struct {
		total, limit float64
		want         bool
	}{{0.9e-5, 1e-5, true}, {1e-5, 1e-5, true}, {1.1e-5, 1e-5, false}, {1, 0, true}, {0, 1e-5, true}} {
		if got := (&risk.Risk{Total: c.total, Tolerable: c.limit}).Acceptable(); got != c.want {
			t.Errorf("%v with R_T %v: acceptable %v", c.total, c.limit, got)
		}
	}
}
