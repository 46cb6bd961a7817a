package spd

import (
	"testing"

	"levinward/risk"
)

// TestEarthGrade holds the limits: 10 ohm common practice, 30 ohm of a handbook (spd.md section 7).
func TestEarthGrade(t *testing.T) {
	for _, c := range []struct {
		earth risk.Earthing
		want  EarthGrade
	}{
		{risk.Earthing{}, EarthUnproved},
		{risk.Earthing{Connection: risk.EarthUnknown}, EarthUnproved},
		{risk.Earthing{Connection: risk.EarthNone}, EarthAbsent},
		{risk.Earthing{Connection: risk.EarthMeasured, Resistance: 8}, EarthGood},
		{risk.Earthing{Connection: risk.EarthMeasured, Resistance: 10}, EarthGood},
		{risk.Earthing{Connection: risk.EarthMeasured, Resistance: 10.01}, EarthFair},
		{risk.Earthing{Connection: risk.EarthElectrode, Resistance: 30}, EarthFair},
		{risk.Earthing{Connection: risk.EarthElectrode, Resistance: 30.01}, EarthPoor},
		{risk.Earthing{Connection: risk.EarthMeasured, Resistance: 2000}, EarthPoor},
	} {
		if got := gradeOf(c.earth); got != c.want {
			t.Errorf("%v of %g ohm: %s, want %s", c.earth.Connection, c.earth.Resistance, got, c.want)
		}
	}
}
