package spd

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"levinward/risk"
)

// tells reports that a note of the entry holds a text.
func tells(e *Entry, text string) bool { return strings.Contains(strings.Join(e.Notes, "\n"), text) }

func entryAt(t tester, entries []Entry, line int, place Position) *Entry {
	t.Helper()
	for i := range entries {
		if entries[i].Line == line && entries[i].Position == place {
			return &entries[i]
		}
	}
	t.Fatalf("no entry for line %d, %s", line, place)
	return nil
}

// Ends outdoors are asked for as at the entrance, those behind it for class III, C2 or C1 (test classes by zone: handbooks, read; which
// ends lie outdoors: common practice, no published source).
func TestFarEnds(t *testing.T) {
	for _, c := range []struct {
		end   risk.FarEnd
		lps   risk.LPS
		class TestClass
	}{
		{risk.FarPumpMotor, risk.NoLPS, ClassII}, {risk.FarLuminaire, risk.NoLPS, ClassII}, {risk.FarSocketOutlet, risk.NoLPS, ClassIII},
		{risk.FarElectronics, risk.NoLPS, ClassIII}, {risk.FarGenerator, risk.NoLPS, ClassII}, {risk.FarOutBuilding, risk.NoLPS, ClassII},
		{risk.FarPumpMotor, risk.LPSIII, ClassI}, {risk.FarSocketOutlet, risk.LPSIII, ClassIII},
	} {
		l := mains(cable(200, risk.Rural))
		l.FarEnd = c.end
		es := schedule(t, site1(risk.Structure{LPS: c.lps}, l), 8, nil)
		e := entryAt(t, es, 0, AtFarEnd)
		if len(es) != 2 || e.TestClass != c.class || e.Required != es[0].Required {
			t.Errorf("%v, %v: %+v", c.end, c.lps, e)
		}
		if !tells(e, "Far end: "+farEndNames[c.end]) {
			t.Errorf("%v: %q", c.end, e.Notes)
		}
	}
	for _, end := range []risk.FarEnd{risk.FarEndNotStated, risk.FarNetwork, risk.FarStructure, risk.FarBattery} {
		l := mains(cable(200, risk.Rural))
		l.FarEnd = end
		if es := schedule(t, site1(dwelling, l), 8, nil); len(es) != 1 {
			t.Errorf("%v: %d entries", end, len(es))
		}
	}
	antenna := telephone()
	antenna.FarEnd = risk.FarAntenna
	if e := entryAt(t, schedule(t, site1(dwelling, antenna), 8, nil), 0, AtFarEnd); e.TestClass != D1 || !tells(e, "mast") {
		t.Errorf("antenna: %+v", e)
	}
	// the far structure has its own entries where it is assessed
	l := mains(cable(200, risk.Rural))
	l.FarEnd, l.To = risk.FarPumpMotor, 1
	in := site1(dwelling, l)
	in.Structures = append(in.Structures, risk.Structure{ID: "pump-house"})
	if es := schedule(t, in, 8, nil); len(es) != 2 || es[1].Structure != 1 || es[1].Position != LineEntrance {
		t.Errorf("%+v", es)
	}
}

// In an explosive atmosphere clause 443 is not the argument; where the device stands is (common practice, no published source).
func TestExplosiveAtmosphere(t *testing.T) {
	inside, outside := mains(cable(200, risk.Rural)), mains(cable(200, risk.Rural))
	outside.OutsideZone = true
	es := schedule(t, site1(risk.Structure{Explosion: risk.Explosion1, Occupancy: risk.Industrial}, inside, outside, telephone()), 8, nil)
	for i, want := range []bool{true, false, true} {
		e := &es[i]
		if has(e, forZone) != want || tells(e, "Explosive atmosphere (zone 1 or 21)") != want || !e.Required {
			t.Errorf("line %d: %v %q", i, e.Because, e.Notes)
		}
		because := fmt.Sprint(e.Because)
		if strings.Contains(because, "443") == want {
			t.Errorf("line %d: %s", i, because)
		}
	}
}

// One set per board serves equal ends without lightning current; other ends keep their own (common practice, no published source).
func TestBoards(t *testing.T) {
	feeder := func(id, board string, length float64) risk.Line {
		l := mains(cable(length, risk.Rural))
		l.ID, l.Board = id, board
		return l
	}
	three := feeder("three-phase", "busbar", 150)
	three.Electrical.Phases = 3
	in := site1(dwelling, feeder("short", "busbar", 1), feeder("a", "busbar", 900), feeder("b", "busbar", 900), three,
		feeder("alone", "", 900), feeder("other", "annex", 900))
	served := func(in *risk.Input) (ids []string) {
		for _, e := range schedule(t, in, 0.5, nil) {
			ids = append(ids, e.ServedBy)
		}
		return ids
	}
	if got, want := served(in), []string{"", "short", "short", "", "", ""}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	in.Structures[0].LPS = risk.LPSIII
	if got := served(in); !slices.Equal(got, make([]string, 6)) {
		t.Errorf("with lightning current: %q", got)
	}
}

// No device without the maker's word on the output of a drive (common practice, no published source).
func TestPulsedOutput(t *testing.T) {
	l := mains(cable(120, risk.Rural))
	l.Electrical.Pulsed = true
	e := first(t, site1(dwelling, l), 4)
	if e.Specifiable || e.UcMin.Valid || e.UpMax.Valid || e.UcMax.Valid || e.Order != (Order{}) || !tells(&e, "maker") {
		t.Errorf("%+v", e)
	}
	for _, m := range e.Modes {
		if m.UcMin.Valid || m.UpMax.Valid {
			t.Errorf("%+v", m)
		}
	}
}

// s = k_i k_c l/k_m of IEC 62305-3, 6.3 (memory): class II, two down-conductors, 10 m, solid: 0.06 x 0.66 x 10/0.5 = 0.792 m; class I,
// number not known, air: 0.08 x 1 x 10 = 0.8 m; class IV, five, solid: 0.04 x 0.44 x 10/0.5 = 0.352 m.
func TestSeparationDistance(t *testing.T) {
	for _, c := range []struct {
		class risk.LPS
		down  int
		air   bool
		want  float64
	}{{risk.LPSII, 2, false, 0.792}, {risk.LPSI, 0, true, 0.8}, {risk.LPSIV, 5, false, 0.352}} {
		for _, there := range []float64{c.want - 0.001, c.want + 0.001} {
			s := risk.Structure{LPS: c.class, DownConductors: c.down, Separation: risk.Separation{Along: 10, Air: c.air, Distance: &there}}
			in := site1(s, roofArray(5))
			near(t, fmt.Sprintf("%+v", c), recorded(t, in, 4, "s")[0], c.want, 1e-12)
			e, want := first(t, in, 4), ClassI
			if there > c.want {
				want = ClassII
			}
			if e.TestClass != want || !tells(&e, "Separation distance between array") {
				t.Errorf("%+v, %v m: class %s, %q", c, there, e.TestClass, e.Notes)
			}
		}
	}
}

// What small off-grid sites are to see to stands where it applies and only there. Common practice and memory.
func TestSiteNotes(t *testing.T) {
	supply, battery := mains(cable(200, risk.Rural)), array(5)
	battery.Electrical.Origin = risk.Battery
	inverter, changeover := supply, supply
	inverter.Electrical.Source = risk.SourceInverter
	changeover.Electrical.AlsoFedBy = &[]risk.OtherSupply{{Source: risk.SourceGenerator}}
	bonded := inverter
	bonded.Electrical.NeutralBond = risk.NeutralBondSource
	common := risk.Structure{Earthing: risk.Earthing{Common: risk.Yes}}
	for _, c := range []struct {
		note string
		s    risk.Structure
		line risk.Line
		want bool
	}{
		{"never in a thunderstorm", dwelling, battery, true}, {"never in a thunderstorm", dwelling, supply, false},
		{"never in a thunderstorm", dwelling, changeover, true},
		{"battery gas", dwelling, battery, true}, {"battery gas", dwelling, array(5), false},
		{"No spark gap", dwelling, battery, true}, {"No spark gap", dwelling, supply, false},
		{"small loops", dwelling, array(5), true}, {"small loops", dwelling, telephone(), false},
		{"may not blow a backup fuse", dwelling, inverter, true}, {"may not blow a backup fuse", dwelling, changeover, false},
		{"One common electrode", dwelling, inverter, true}, {"One common electrode", common, inverter, false},
		{"One common electrode", dwelling, supply, false},
		{"neutral and earth are joined", dwelling, inverter, true}, {"neutral and earth are joined", dwelling, bonded, false},
		{"neutral and earth are joined", dwelling, supply, false},
		{"Where the changeover stands is not known", dwelling, changeover, true},
		{"insulation tests", dwelling, battery, true}, {"insulation tests", dwelling, supply, false},
	} {
		if e := first(t, site1(c.s, c.line), 4); tells(&e, c.note) != c.want {
			t.Errorf("%q at %+v: %q", c.note, c.line.Electrical, e.Notes)
		}
	}
	in := site1(dwelling, supply)
	for altitude, want := range map[float64]bool{0: false, 2000: false, 2001: true} {
		in.Altitude = altitude
		if e := first(t, in, 4); tells(&e, "of altitude") != want {
			t.Errorf("%v m: %q", altitude, e.Notes)
		}
	}
}

// The uses that the printed tables do not have fall under the case of clause 443 of the nearest one (common practice, no published source).
func TestConsequencesOfAddedUses(t *testing.T) {
	for use, want := range map[risk.Occupancy]grounds{risk.Clinic: forLife, risk.BoardingSchool: forPeople, risk.Workshop: forCommerce,
		risk.MarketHall: forPeople, risk.TelecomHut: forCommerce, risk.PumpHouse: forCommerce} {
		e := first(t, site1(risk.Structure{Occupancy: use}, mains(cable(10, risk.Urban))), 0.01)
		if !e.Required || !has(&e, want) {
			t.Errorf("%v: %v", use, e.Because)
		}
	}
}

// Where a battery can feed a photovoltaic line its voltage and current count too (IEC 61643-31 excludes storage, read; the rule is common
// practice). An array of 150 V, 180 V by the factor of 1.2, 22.5 A; a battery of 200 V and 4 kA.
func TestBatteryBehindTheArray(t *testing.T) {
	l := array(5)
	near(t, "array alone", first(t, site1(dwelling, l), 1).UcMin.Value, 180, 0)
	l.Electrical.BatteryCanFeed, l.Electrical.BatteryMax, l.Electrical.BatteryShortCircuit = risk.Yes, 200, 4
	e := first(t, site1(dwelling, l), 1)
	near(t, "U_C", e.UcMin.Value, 200, 0)
	near(t, "I_SCPV", e.ShortCircuitMin.Value, 4, 0)
	if !tells(&e, "excludes storage") {
		t.Errorf("%q", e.Notes)
	}
	l.Electrical.BatteryMax, l.Electrical.BatteryShortCircuit = 100, 0.01
	e = first(t, site1(dwelling, l), 1)
	near(t, "U_C of the array", e.UcMin.Value, 180, 0)
	near(t, "I_SCPV of the array", e.ShortCircuitMin.Value, 0.0225, 1e-12)
	for feeds, want := range map[risk.Answer]string{risk.NotKnown: "Find out whether a battery", risk.Yes: "excludes storage", risk.No: ""} {
		l.Electrical.BatteryCanFeed = feeds
		e = first(t, site1(dwelling, l), 1)
		if tells(&e, "Find out whether a battery") != (feeds == risk.NotKnown) || !tells(&e, want) {
			t.Errorf("%v: %q", feeds, e.Notes)
		}
	}
	l.Electrical.Strings = 3
	if e = first(t, site1(dwelling, l), 1); !tells(&e, "Strings in parallel, 3 in all") {
		t.Errorf("%q", e.Notes)
	}
}
