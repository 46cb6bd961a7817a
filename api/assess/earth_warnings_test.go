package assess

import (
	"slices"
	"testing"

	"levinward/risk"
)

func structureWithEarth(id string, c risk.EarthConnection, ohm float64) risk.Structure {
	return risk.Structure{ID: id, Earthing: risk.Earthing{Connection: c, Resistance: ohm}}
}

// TestEarthWarnings holds that bad earths come worst first, each once, and that a good or fair one is no warning.
// Grades: 10 ohm common practice, 30 ohm of a handbook (spd.md section 7).
func TestEarthWarnings(t *testing.T) {
	away := structureWithEarth("away", risk.EarthNone, 0)
	away.NotAssessed = true
	in := risk.Input{Structures: []risk.Structure{
		structureWithEarth("a", risk.EarthMeasured, 8), structureWithEarth("b", risk.EarthMeasured, 30), structureWithEarth("c", risk.EarthMeasured, 60),
		structureWithEarth("d", risk.EarthUnknown, 0), structureWithEarth("e", risk.EarthUnknown, 0), structureWithEarth("f", risk.EarthUnknown, 0),
		structureWithEarth("g", risk.EarthUnknown, 0), structureWithEarth("h", risk.EarthNone, 0), structureWithEarth("i", risk.EarthElectrode, 90), away,
	}}
	const bonding = " against remote earth (I x R). Equipotential bonding matters more than the number: bond everything to one bar, " +
		"and fit devices on every line that comes from a remote earth. "
	want := []string{
		`Structure "h": There is no earth connection: no device protects anything before there is one. Build an electrode, bond everything to it and measure it.`,
		`In 4 structures ("d", "e", "f" and 1 more): Earth first: a device can do very little without a proved earth connection. ` +
			`Find the electrode, bond everything to it and measure it.`,
		`Structure "i": Earth of 90 ohm, poor. Each 1 kA of surge current lifts it by 90 kV` + bonding + `Add electrode: for 30 ohm at least 3 times what is there.`,
		`Structure "c": Earth of 60 ohm, poor. Each 1 kA of surge current lifts it by 60 kV` + bonding + `Add electrode: for 30 ohm at least 2 times what is there.`,
	}
	if got := earthWarnings(&in); !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
}
