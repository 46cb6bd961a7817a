package spd

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"levinward/risk"
)

// fourWires is a supply of three phases and PEN, four current-carrying conductors.
func fourWires(sections []risk.Section) risk.Line {
	l := mains(sections)
	l.Electrical.System, l.Electrical.Phases, l.Electrical.Neutral = risk.TNC, 3, false
	return l
}

func hasNote(e *Entry, beginning string) bool {
	return slices.ContainsFunc(e.Notes, func(n string) bool { return strings.HasPrefix(n, beginning) })
}

func only(t tester, what string, values []float64, want, tolerance float64) {
	t.Helper()
	if len(values) == 0 {
		t.Errorf("%s: not recorded", what)
	}
	for _, v := range values {
		near(t, what, v, want, tolerance)
	}
}

// i = 0.5 I/(n n'), IEC 62305-1 E.2 (read), over n lines that lead away and n' conductors.
func TestHalfAndHalf(t *testing.T) {
	for _, c := range []struct {
		class risk.LPS
		lines int // besides the supply
		want  float64
		s3    float64 // of Table E.2, from memory
	}{
		{risk.LPSI, 0, 25, 10},      // 0.5 x 200/(1 x 4)
		{risk.LPSI, 2, 8.3333, 10},  // 0.5 x 200/(3 x 4)
		{risk.LPSII, 1, 9.375, 7.5}, // 0.5 x 150/(2 x 4)
		{risk.LPSIII, 4, 2.5, 5},    // 0.5 x 100/(5 x 4)
		{risk.LPSIV, 1, 6.25, 5},    // 0.5 x 100/(2 x 4)
	} {
		in := site1(risk.Structure{LPS: c.class}, fourWires(aerial(300)))
		for range c.lines {
			in.Lines = append(in.Lines, telephone())
		}
		near(t, fmt.Sprintf("%+v", c), recorded(t, in, 1, "i_0")[0], c.want, 1e-4)
		near(t, fmt.Sprintf("%+v", c), first(t, in, 1).IimpMin.Value, max(c.want, c.s3), 1e-4)
	}
}

// Which lines count: IEC 62305-1 E.2 divides over those that lead a current away (from memory). LPS II, 150 kA, two conductors.
func TestLinesThatLeadAway(t *testing.T) {
	inside := telephone()
	inside.Sections = aerial(0)
	isolated := telephone()
	isolated.Shield.Type = risk.IsolatingInterface
	shielded := telephone()
	shielded.Shield.Type = risk.Shielded
	for _, c := range []struct {
		name string
		line risk.Line
		want float64
	}{
		{"of no length", inside, 37.5}, {"isolated", isolated, 37.5}, {"d.c. to no other structure", array(300), 37.5},
		{"telephone", telephone(), 18.75}, {"screened", shielded, 18.75}, {"second supply", mains(cable(90, risk.Rural)), 18.75},
	} {
		in := site1(risk.Structure{LPS: risk.LPSII}, mains(aerial(300)), c.line)
		near(t, c.name, recorded(t, in, 1, "i_0")[0], c.want, 1e-12)
	}
	// a d.c. line to another structure leads away, also to the first of the list
	in := site1(risk.Structure{NotAssessed: true}, mains(aerial(300)), array(300))
	in.Structures = append(in.Structures, risk.Structure{ID: "house", LPS: risk.LPSII})
	in.Lines[0].Structure, in.Lines[1].Structure, in.Lines[1].To = 1, 1, 0
	near(t, "d.c. to another structure", recorded(t, in, 1, "i_0")[0], 18.75, 1e-12)
}

// k_e of a buried line is Z/(Z1 + Z (n1 + n2 Z1/Z2)), of an overhead line Z/(Z2 + Z (n2 + n1 Z2/Z1)), from memory of IEC 62305-1 E.2.
// Z 10, Z1 16, Z2 32 ohm, one buried and two overhead lines: 10/(16 + 10 x 2) = 10/36, 10/(32 + 10 x 4) = 10/72; the earth
// termination carries 0.1/(0.1 + 1/16 + 2/32) = 0.1/0.225.
func TestShareByImpedances(t *testing.T) {
	h := sharing{Z: 10, Z1: 16, Z2: 32, n1: 1, n2: 2}
	near(t, "buried", h.buried(), 10.0/36, 1e-15)
	near(t, "overhead", h.overhead(), 10.0/72, 1e-15)
	near(t, "earth termination", h.earth(), 0.1/0.225, 1e-15)
}

// The rows of Table E.1 (from memory) between its values: Z at the next higher resistivity, Z_1 at the next lower, the safe
// side. With one line k_e = Z/(Z_1 + Z), with two Z/(Z_1 + 2 Z); the line carries k_e of 200, 150 or 100 kA.
func TestEarthingBetweenTheRows(t *testing.T) {
	for _, c := range []struct {
		class risk.LPS
		rho   float64
		want  float64
	}{
		{risk.LPSI, 20, 200. * 4 / (8 + 4)}, {risk.LPSI, 100, 200. * 4 / (8 + 4)}, {risk.LPSI, 101, 200. * 6 / (8 + 6)},
		{risk.LPSI, 200, 200. * 6 / (11 + 6)},
		{risk.LPSI, 300, 200. * 10 / (11 + 10)}, {risk.LPSI, 2500, 200. * 10 / (28 + 10)}, {risk.LPSII, 700, 150. * 15 / (16 + 15)},
		{risk.LPSII, 1000, 150. * 15 / (22 + 15)}, {risk.LPSIII, 700, 100. * 20 / (16 + 20)}, {risk.LPSIII, 1500, 100. * 40 / (22 + 40)},
		{risk.LPSIV, 2001, 100. * 60 / (28 + 60)}, {risk.LPSIV, 3000, 100. * 60 / (35 + 60)}, {risk.LPSIV, 20000, 100. * 60 / (35 + 60)},
	} {
		in := site1(risk.Structure{LPS: c.class}, mains(cable(300, risk.Rural)))
		in.SoilResistivity = c.rho
		near(t, fmt.Sprint(c.class, " at ", c.rho, " ohm m"), inLine(t, in), c.want, 1e-9)
		if e := first(t, in, 1); hasNote(&e, "Soil above 3000 ohm m") != (c.rho > 3000) {
			t.Errorf("%v ohm m: %q", c.rho, e.Notes)
		}
	}
}

// Overhead and buried lines are counted apart by the section next to the structure, and both share the current: LPS II at 500 ohm m,
// Z 10 and Z_1 16 ohm (from memory): 150 x 10/(16 + 2 x 10) kA with two lines of either kind.
func TestOverheadAndBuried(t *testing.T) {
	far := append(cable(20, risk.Rural), aerial(400)...)
	for _, c := range []struct {
		name          string
		first, second []risk.Section
		n1, n2        float64
	}{
		{"both overhead", aerial(300), aerial(200), 0, 2},
		{"overhead beside buried", aerial(300), cable(200, risk.Rural), 1, 1},
		{"buried beside overhead", cable(200, risk.Rural), aerial(300), 1, 1},
		{"buried next to the structure", far, cable(200, risk.Rural), 2, 0},
	} {
		in := site1(risk.Structure{LPS: risk.LPSII}, fourWires(c.first), fourWires(c.second))
		in.SoilResistivity = 500
		near(t, c.name, inLine(t, in), 150.*10/36, 1e-9)
		near(t, c.name+", n_1", recorded(t, in, 1, "n_1")[0], c.n1, 0)
		near(t, c.name+", n_2", recorded(t, in, 1, "n_2")[0], c.n2, 0)
		near(t, c.name+", per conductor", recorded(t, in, 1, "i_z")[0], 150.*10/36/4, 1e-9)
		near(t, c.name+", required", first(t, in, 1).IimpMin.Value, 10.4167, 1e-4) // half and half 9.4
	}
}

// A bonded line that leads nothing away is taken for the only one: 150 x 10/26 kA at 500 ohm m, class II (from memory of Table E.1).
func TestOnlyLineIsIsolated(t *testing.T) {
	for installation, want := range map[risk.Installation][2]float64{risk.Aerial: {0, 1}, risk.Buried: {1, 0}} {
		l := fourWires([]risk.Section{{Length: 200, Installation: installation}})
		l.Shield.Type = risk.IsolatingInterface
		in := site1(risk.Structure{LPS: risk.LPSII}, l)
		in.SoilResistivity = 500
		near(t, "in the line", inLine(t, in), 150.*10/26, 1e-9)
		near(t, "n_1", recorded(t, in, 1, "n_1")[0], want[0], 0)
		near(t, "n_2", recorded(t, in, 1, "n_2")[0], want[1], 0)
	}
}

// Surges per conductor of IEC 62305-1 Tables E.2 and E.3, all sources and levels, from memory. S3 of Table E.2 is for four conductors: two
// wires carry twice as much; an unshielded drop wire carries five times Table E.3 (notes of the tables, from memory).
func TestSurgesOfEverySource(t *testing.T) {
	for _, c := range []struct {
		level          risk.Level
		power, telecom [4]float64 // S3 10/350, S4, S2, S1 8/20 [kA]
	}{
		{risk.LevelIIIIV, [4]float64{10, 2.5, 0.1, 5}, [4]float64{5, 0.05, 0.1, 5}},
		{risk.LevelII, [4]float64{15, 3.75, 0.15, 7.5}, [4]float64{7.5, 0.075, 0.15, 7.5}},
		{risk.LevelI, [4]float64{20, 5, 0.2, 10}, [4]float64{10, 0.1, 0.2, 10}},
		{risk.BetterThanI, [4]float64{20, 5, 0.2, 10}, [4]float64{10, 0.1, 0.2, 10}},
	} {
		for line, want := range map[int][4]float64{0: c.power, 1: c.telecom} {
			l := []risk.Line{mains(aerial(300)), telephone()}[line]
			l.BondingSPD.Level = c.level
			in := site1(dwelling, l)
			for i, symbol := range []string{"i_S3", "j_S4", "j_S2", "j_S1"} {
				only(t, fmt.Sprint(l.ID, " ", c.level, " ", symbol), recorded(t, in, 1, symbol), want[i], 0)
			}
		}
	}
	for _, symbol := range []string{"j_S1", "j_S2", "j_S4"} {
		only(t, "no level: "+symbol, recorded(t, site1(dwelling, mains(aerial(300))), 1, symbol), 0, 0)
	}
}

// Photovoltaic class I devices, CLC/TS 50539-12, fewer than four down-conductors: switching or combination 25, 18.5, 12.5 kA of
// 50, 37.5, 25 kA in total (Table A.2, read); limiting 17|10, 12.5|7.5, 8.5|5 kA 8/20|10/350 (from memory).
func TestLimitingPhotovoltaicDevices(t *testing.T) {
	for _, c := range []struct {
		classes                                     []risk.LPS
		switching, limitingNominal, limitingImpulse float64
		note                                        string
	}{
		{[]risk.LPS{risk.LPSI, risk.LPSINaturalFrame, risk.LPSIFullCover}, 25, 17, 10,
			"50 kA 10/350 in total to PE; a voltage-limiting device may be rated 10 kA 10/350 with I_n 17 kA"},
		{[]risk.LPS{risk.LPSII}, 18.5, 12.5, 7.5,
			"37.5 kA 10/350 in total to PE; a voltage-limiting device may be rated 7.5 kA 10/350 with I_n 12.5 kA"},
		{[]risk.LPS{risk.LPSIII, risk.LPSIV}, 12.5, 8.5, 5,
			"25 kA 10/350 in total to PE; a voltage-limiting device may be rated 5 kA 10/350 with I_n 8.5 kA"},
	} {
		for _, class := range c.classes {
			e := first(t, site1(risk.Structure{LPS: class}, roofArray(5)), 1)
			for _, m := range e.Modes {
				near(t, class.String()+" "+m.Mode, m.IimpMin.Value, c.switching, 0)
			}
			near(t, class.String()+", limiting 8/20", e.LimitingInMin.Value, c.limitingNominal, 0)
			near(t, class.String()+", limiting 10/350", e.LimitingIimpMin.Value, c.limitingImpulse, 0)
			if !hasNote(&e, c.note) {
				t.Errorf("%v: %q", class, e.Notes)
			}
		}
	}
	battery := array(5)
	battery.Electrical.Origin = risk.Battery
	for name, e := range map[string]Entry{"battery": first(t, site1(risk.Structure{LPS: risk.LPSI}, battery), 1),
		"no LPS": first(t, site1(dwelling, array(5)), 1)} {
		if e.LimitingInMin.Valid || e.LimitingIimpMin.Valid {
			t.Errorf("%s: %+v", name, e)
		}
	}
}

// Preferred values of D1 end at 2.5 kA (IEC 61643-21, from memory). LPS III, 100 kA, one pair each in cables of pairs: ten lines
// share 0.5 x 100/(10 x 2) = 2.5 kA, nine 2.78 kA; 1 kA is S3 of Table E.3 (from memory).
func TestBeyondD1(t *testing.T) {
	const note = "More than the preferred values of category D1"
	for lines, want := range map[int]float64{1: 25, 9: 25. / 9, 10: 2.5, 11: 25. / 11, 30: 1} {
		in := site1(risk.Structure{LPS: risk.LPSIII})
		for range lines {
			in.Lines = append(in.Lines, telephone())
			in.Lines[len(in.Lines)-1].Electrical.Cable = risk.CablePairs
		}
		e := first(t, in, 1)
		near(t, fmt.Sprint(lines, " lines"), e.IimpMin.Value, want, 1e-12)
		if hasNote(&e, note) != (want > 2.5) {
			t.Errorf("%d lines: %q", lines, e.Notes)
		}
	}
}

// Of two equal values the first names the reason: the clause asks for I_n of 5 kA (read), and so does S1 of Table E.2 at LPL
// III-IV (from memory).
func TestEqualValuesNameTheFirstReason(t *testing.T) {
	e := first(t, site1(risk.Structure{LPS: risk.LPSIII}, mains(aerial(300))), 1)
	near(t, "I_n", e.InMin.Value, 5, 0)
	if why := basis(t, &e, "in_min_ka"); why != byNominal.reason {
		t.Error(why)
	}
	e = first(t, site1(risk.Structure{LPS: risk.LPSII}, mains(aerial(300))), 1)
	near(t, "I_n", e.InMin.Value, 7.5, 0)
	if why := basis(t, &e, "in_min_ka"); why != bySurge.reason {
		t.Error(why)
	}
}

// Preferred values of IEC 61643-11 (read), up to 100 kA as sold (common practice, no published source). Currents round up, U_P
// rounds down.
func TestPreferredValues(t *testing.T) {
	for _, c := range []struct{ v, want float64 }{{0.3, 0.5}, {1, 1}, {3.1, 5}, {5.01, 10}, {7.5, 10}, {15, 15}, {20, 20}, {20.1, 25},
		{41, 50}, {81, 100}, {101, 101}} {
		near(t, fmt.Sprint("I_n ", c.v), roundUp(nil, c.v, prefIn, prefInTrade), c.want, 0)
	}
	for _, c := range []struct{ v, want float64 }{{0.4, 1}, {2.5, 5}, {10.1, 12.5}, {12.5, 12.5}, {16.67, 20}, {20.5, 25}, {25.1, 50},
		{50.1, 100}, {126.3, 126.3}} {
		near(t, fmt.Sprint("I_imp ", c.v), roundUp(nil, c.v, prefIimp, prefIimpTrade), c.want, 0)
	}
	for _, c := range []struct{ v, want float64 }{{0.07, 0}, {0.08, 0.08}, {0.79, 0.7}, {1.04, 1}, {1.2, 1.2}, {1.49, 1.2}, {1.99, 1.8},
		{2.4, 2}, {3.9, 3}, {7.9, 6}, {99, 10}} {
		near(t, fmt.Sprint("U_P ", c.v), roundDown(nil, c.v, prefUp), c.want, 0)
	}
}

// Usual I_max of 20, 40, 65 kA for low, medium and high exposure (trade handbooks, read, not normative).
func TestUsualMaximumByExposure(t *testing.T) {
	for _, c := range []struct {
		surroundings risk.Surroundings
		environment  risk.Environment
		want         float64
	}{{risk.Isolated, risk.Urban, 20}, {risk.SimilarObjects, risk.UrbanTall, 20}, {risk.Isolated, risk.Suburban, 20},
		{risk.Isolated, risk.Rural, 40}, {risk.Hilltop, risk.Rural, 65}, {risk.Hilltop, risk.Urban, 65}} {
		e := first(t, site1(risk.Structure{Surroundings: c.surroundings}, mains(cable(300, c.environment))), 1)
		near(t, fmt.Sprintf("%+v", c), e.ImaxMin.Value, c.want, 0)
	}
	if e := first(t, site1(dwelling, telephone()), 1); e.ImaxMin.Valid {
		t.Errorf("telecommunication: %v", e.ImaxMin)
	}
}

// Where the impulse current comes from: Table A.2 for an array on a building with LPS (read), the larger of table and sharing where the
// place of the array is not known; the minimum of 12.5 kA of the clause where no sharing is computed (read). A battery on the electrode
// of the building carries no lightning current (common practice, no published source).
func TestReasonOfTheImpulseCurrent(t *testing.T) {
	driven, battery := array(5), array(5)
	driven.BondingSPD.Level = risk.LevelIIIIV
	battery.Electrical.Origin, battery.BondingSPD.Level = risk.Battery, risk.LevelIIIIV
	battery.FarEarth = risk.FarEarthUnknown
	lps := risk.Structure{LPS: risk.LPSIII}
	for _, c := range []struct {
		name string
		s    risk.Structure
		line risk.Line
		why  *rule
		want float64
	}{
		{"array on the building, LPS", lps, roofArray(5), &byPVTable, 12.5},
		{"array, LPS", lps, array(5), &byFirstShare, 25}, {"array, asked for by the risk", dwelling, driven, &byClause, 12.5},
		{"battery with another earth, LPS", lps, battery, &byFirstShare, 25},
		{"battery with another earth, asked for by the risk", dwelling, battery, &byClause, 12.5},
	} {
		e := first(t, site1(c.s, c.line), 1)
		near(t, c.name, e.IimpMin.Value, c.want, 0)
		if why := basis(t, &e, "iimp_min_ka"); why != c.why.reason {
			t.Errorf("%s: %s", c.name, why)
		}
	}
}
