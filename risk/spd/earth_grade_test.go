package spd

import (
	"slices"
	"strings"
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

// TestEarthAdvice holds what a technician reads. I x R: 1 kA through 150 ohm is 150 kV. The resistance of an electrode falls at best with
// its length: 150 / 30 = 5 times, 2000 / 30 = 66.7, 67 times. 30 ohm: handbook (spd.md section 7); where rods alone stop: common practice,
// no published source.
func TestEarthAdvice(t *testing.T) {
	measured := func(ohm float64) risk.Earthing { return risk.Earthing{Connection: risk.EarthMeasured, Resistance: ohm} }
	for _, c := range []struct {
		earth risk.Earthing
		want  string
	}{
		{risk.Earthing{}, "Earth first: a device can do very little without a proved earth connection. " +
			"Find the electrode, bond everything to it and measure it."},
		{risk.Earthing{Connection: risk.EarthNone},
			"There is no earth connection: no device protects anything before there is one. " +
				"Build an electrode, bond everything to it and measure it."},
		{measured(8), "Earth of 8 ohm, good. Test it before use, and keep everything bonded to it."},
		{measured(20), "Earth of 20 ohm, fair. Bond everything to one bar; improve the electrode towards 10 ohm where that is within reach."},
		{measured(150), "Earth of 150 ohm, poor. " +
			"Each 1 kA of surge current lifts it by 150 kV against remote earth (I x R). Equipotential bonding matters " +
			"more than the number: bond everything to one bar, and fit devices on every line that comes from a remote earth. " +
			"Add electrode: for 30 ohm at least 5 times what is there."},
		{measured(2000), "Earth of 2000 ohm, poor. " +
			"Each 1 kA of surge current lifts it by 2000 kV against remote earth (I x R). Equipotential bonding " +
			"matters more than the number: bond everything to one bar, and fit devices on every line that comes from a remote earth. " +
			"More rods alone will not do (30 ohm takes 67 times the electrode): lay a ring round the building and bond everything to it."},
	} {
		if _, got := EarthAdvice(c.earth); got != c.want {
			t.Errorf("%s\nwant %s", got, c.want)
		}
	}
}

// TestPoorEarthIsSaidOnEveryEntry holds that each device of a line says what a poor earth costs, and only then.
func TestPoorEarthIsSaidOnEveryEntry(t *testing.T) {
	for ohm, want := range map[float64]bool{8: false, 30: false, 31: true} {
		earth := risk.Earthing{Connection: risk.EarthMeasured, Resistance: ohm}
		for _, place := range []Position{LineEntrance, AtEquipment, AtFarEnd} {
			s := &scheduler{}
			s.earthNotes(&Entry{Position: place, Earthing: earth})
			_, advice := EarthAdvice(earth)
			if got := slices.Contains(s.notes, advice) && strings.Contains(advice, "I x R"); got != want {
				t.Errorf("%g ohm, %s: %q", ohm, place, s.notes)
			}
		}
	}
}
