package assess

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/spd"
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
		structureWithEarth("a", risk.EarthMeasured, 8), structureWithEarth("b", risk.EarthMeasured, 30),
		structureWithEarth("c", risk.EarthMeasured, 60),
		structureWithEarth("d", risk.EarthUnknown, 0), structureWithEarth("e", risk.EarthUnknown, 0),
		structureWithEarth("f", risk.EarthUnknown, 0),
		structureWithEarth("g", risk.EarthUnknown, 0), structureWithEarth("h", risk.EarthNone, 0),
		structureWithEarth("i", risk.EarthElectrode, 90), away,
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

// TestRemarksAreSaidOnce groups the same text about several lines, and leaves different ones apart.
func TestRemarksAreSaidOnce(t *testing.T) {
	line := func(id string, notStated bool, shield float64) risk.Line {
		return risk.Line{ID: id, Withstand: 2.5, Electrical: risk.Electrical{NotStated: notStated}, Shield: risk.Shield{Resistance: shield}}
	}
	in := risk.Input{Lines: []risk.Line{line("a", true, 0), line("b", false, 25), line("c", true, 0)}}
	want := []string{
		`In 2 lines ("a", "c"): taken as 230 V a.c., not stated. For an array, a battery or a data line the device is another: ` +
			`find out what the line carries before ordering.`,
		`Line "b": the shield resistance is above 20 ohm/km; the line counts as unshielded in Table B.8.`,
	}
	if got := lineWarnings(&in); !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
}

// TestFailuresOfSeveralStructures says the range once, one number where all agree.
func TestFailuresOfSeveralStructures(t *testing.T) {
	for _, c := range []struct {
		failures []float64
		want     string
	}{
		{[]float64{0.09}, ""},
		{[]float64{16, 0.05}, `Structure "s0": without SPDs its systems are expected to fail 16 times a year. `},
		{[]float64{0.3, 0.12, 0.5}, `In 3 structures ("s0", "s1", "s2"): without SPDs their systems are expected to fail 0.12 to 0.5 times a year. `},
		{[]float64{0.3, 0.3}, `In 2 structures ("s0", "s1"): without SPDs their systems are expected to fail 0.3 times a year. `},
	} {
		var in risk.Input
		var res risk.Result
		for i, f := range c.failures {
			in.Structures = append(in.Structures, risk.Structure{ID: "s" + strconv.Itoa(i)})
			res.Structures = append(res.Structures, risk.StructureResult{Assessed: true, SystemFailures: f})
		}
		got := strings.Join(failureWarnings(&in, &res), "")
		if before, _, _ := strings.Cut(got, "The loss"); before != c.want {
			t.Errorf("%v: %q, want %q", c.failures, before, c.want)
		}
	}
}

// TestGradesAgree holds that schedule and judgement of an earth connection grade alike.
func TestGradesAgree(t *testing.T) {
	grades := map[earth.Grade]spd.EarthGrade{earth.Good: spd.EarthGood, earth.Fair: spd.EarthFair, earth.Poor: spd.EarthPoor}
	for _, ohm := range []float64{0.1, 8, 9.999, 10, 10.001, 20, 29.999, 30, 30.001, 150, 2000} {
		j, faults := earth.Judge(risk.EarthMeasured, ohm, nil)
		grade, _ := spd.EarthAdvice(risk.Earthing{Connection: risk.EarthMeasured, Resistance: ohm})
		if len(faults) > 0 || grades[j.Grade] != grade {
			t.Errorf("%g ohm: %v judged, %s scheduled, %v", ohm, j.Grade, grade, faults)
		}
	}
}
