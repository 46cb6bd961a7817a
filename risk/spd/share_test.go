package spd

import (
	"fmt"
	"strings"
	"testing"

	"levinward/risk"

	"pgregory.net/rapid"
)

// What is known of the far end of a line where nothing is stated: IEC 62305-1 E.2 divides over lines that lead current away (from
// memory); which these are is common practice, no published source.
func TestFarEarth(t *testing.T) {
	mesh := mains([]risk.Section{{Installation: risk.BuriedInEarthMesh, Length: 300}})
	partly := mains(append(aerial(300), risk.Section{Installation: risk.BuriedInEarthMesh, Length: 3}))
	battery := array(50)
	battery.Electrical.Origin, battery.To = risk.Battery, 1
	lamp := battery
	lamp.FarEnd = risk.FarLuminaire
	field := array(100)
	field.To, field.Electrical.ArrayPlace = 1, risk.ArrayElsewhere
	pump := mains(cable(400, risk.Rural))
	pump.FarEnd = risk.FarPumpMotor
	stated := mesh
	stated.FarEarth = risk.FarEarthOwn
	for _, c := range []struct {
		name string
		line risk.Line
		want risk.FarEarth
	}{
		{"wholly in the mesh", mesh, risk.FarEarthShared}, {"partly in the mesh", partly, risk.FarEarthOwn},
		{"battery, to a structure", battery, risk.FarEarthShared}, {"lamp fed by the battery", lamp, risk.FarEarthOwn},
		{"array on the building", roofArray(50), risk.FarEarthShared}, {"array to another structure", field, risk.FarEarthOwn},
		{"array of which nothing is said", array(50), risk.FarEarthUnknown}, {"network", mains(aerial(300)), risk.FarEarthOwn},
		{"9.9 m", mains(aerial(9.9)), risk.FarEarthUnknown}, {"10 m", mains(aerial(10)), risk.FarEarthOwn},
		{"pump", pump, risk.FarEarthUnknown}, {"telephone", telephone(), risk.FarEarthOwn}, {"stated", stated, risk.FarEarthOwn},
	} {
		if got := farEarth(&c.line); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// Two lines to one electrode, and the drops of one trunk, are one path (IEC 62305-1 E.2, from memory). LPS I, 100 kA over four wires:
// 25 kA with one path, 12.5 with two, 10 of Table E.2 (memory) with three.
func TestPathsToOneElectrode(t *testing.T) {
	supply := func(id string, set func(*risk.Line)) risk.Line {
		l := fourWires(cable(200, risk.Rural))
		l.ID = id
		set(&l)
		return l
	}
	none := func(*risk.Line) {}
	to := func(l *risk.Line) { l.To = 1 }
	well := func(l *risk.Line) { l.FarElectrode = "well" }
	drop := func(from string) func(*risk.Line) { return func(l *risk.Line) { l.Trunk = from } }
	for name, c := range map[string]struct {
		lines []risk.Line
		want  float64
	}{
		"two to the network":           {[]risk.Line{supply("a", none), supply("b", none)}, 12.5},
		"two to one structure":         {[]risk.Line{supply("a", to), supply("b", to)}, 25},
		"two to one named electrode":   {[]risk.Line{supply("a", well), supply("b", well)}, 25},
		"to a structure and a network": {[]risk.Line{supply("a", to), supply("b", none)}, 12.5},
		"trunk and drop":               {[]risk.Line{supply("a", none), supply("b", drop("a"))}, 25},
		"drop of a drop":               {[]risk.Line{supply("a", none), supply("b", drop("a")), supply("c", drop("b"))}, 25},
		"three":                        {[]risk.Line{supply("a", none), supply("b", none), supply("c", well)}, 10},
		"a circle of drops":            {[]risk.Line{supply("a", drop("b")), supply("b", drop("a"))}, 12.5},
	} {
		in := site1(risk.Structure{LPS: risk.LPSI}, c.lines...)
		in.Structures = append(in.Structures, risk.Structure{ID: "far", NotAssessed: true})
		near(t, name, first(t, in, 1).IimpMin.Value, c.want, 1e-12)
	}
}

// A screen bonded at the entrance: k_e R_S/(n' R_S + R_C) per conductor (IEC 62305-1 E.2, from memory). LPS II, 75 kA over four
// conductors: 150 x 0.5 x 4/(4 x 4 + 2) = 16.67 kA; without R_C, the resistance of the screen or the bond 18.75.
func TestScreenTakesItsPart(t *testing.T) {
	for name, c := range map[string]struct {
		shield risk.Shield
		want   float64
	}{
		"screen":     {risk.Shield{Type: risk.Shielded, Bonded: true, Resistance: 4, Conductor: 2}, 150 * 0.5 * 4 / 18},
		"no R_C":     {risk.Shield{Type: risk.Shielded, Bonded: true, Resistance: 4}, 18.75},
		"no R_S":     {risk.Shield{Type: risk.Shielded, Bonded: true, Conductor: 2}, 18.75},
		"not bonded": {risk.Shield{Type: risk.Shielded, Resistance: 4, Conductor: 2}, 18.75},
	} {
		l := fourWires(cable(300, risk.Rural))
		l.Shield = c.shield
		near(t, name, first(t, site1(risk.Structure{LPS: risk.LPSII}, l), 1).IimpMin.Value, c.want, 1e-12)
	}
}

// A measured earth above Z of Table E.1 takes its place (common practice, no published source): 150 ohm at 500 ohm m, Z_1 16 (memory),
// LPL I: 200 x 150/166 over four wires, 45.2 kA. Below Z the table stays. Where the soil is not known it is taken at 2000 ohm m, Z_1
// 28: 200 x 150/178/4 = 42.1 kA.
func TestMeasuredEarth(t *testing.T) {
	for _, c := range []struct{ R, rho, want float64 }{
		{150, 500, 200 * 150. / 166 / 4}, {8, 500, 25}, {150, 0, 200 * 150. / 178 / 4}, {8, 0, 25}, {28, 0, 25},
	} {
		s := risk.Structure{LPS: risk.LPSI, Earthing: risk.Earthing{Connection: risk.EarthMeasured, Resistance: c.R}}
		in := site1(s, fourWires(aerial(500)))
		in.SoilResistivity = c.rho
		near(t, fmt.Sprintf("%+v", c), first(t, in, 1).IimpMin.Value, c.want, 1e-9)
	}
}

// Soil not known: the note names what 2000 ohm m would ask, LPS III, Z 40, Z_1 28 (Table E.1, memory): 100 x 40/68/4 = 14.7 kA.
func TestSoilNotKnown(t *testing.T) {
	in := site1(risk.Structure{LPS: risk.LPSIII}, fourWires(aerial(500)))
	e := first(t, in, 1)
	if !hasNote(&e, "Soil resistivity is not known: at 2000 ohm m this line would carry 14.71 kA") {
		t.Errorf("%q", e.Notes)
	}
	in.SoilResistivity = 100
	if e = first(t, in, 1); hasNote(&e, "Soil resistivity is not known") {
		t.Errorf("%q", e.Notes)
	}
}

// Table A.2 of CLC/TS 50539-12, both blocks of rows, each and total (read); limiting 8/20 and 10/350 (memory).
func TestPhotovoltaicRows(t *testing.T) {
	for _, c := range []struct {
		class                          risk.LPS
		down                           int
		each, total, nominal, limiting float64
	}{
		{risk.LPSI, 0, 25, 50, 17, 10}, {risk.LPSII, 2, 18.5, 37.5, 12.5, 7.5}, {risk.LPSIII, 3, 12.5, 25, 8.5, 5},
		{risk.LPSI, 4, 12.5, 25, 10, 5}, {risk.LPSII, 5, 9, 18, 7.5, 3.75}, {risk.LPSIV, 40, 6.25, 12.5, 5, 2.5},
	} {
		e := first(t, site1(risk.Structure{LPS: c.class, DownConductors: c.down}, roofArray(5)), 1)
		name := fmt.Sprintf("%+v", c)
		near(t, name, e.IimpMin.Value, c.each, 0)
		near(t, name+" total", e.IimpTotalMin.Value, c.total, 0)
		near(t, name+" limiting 8/20", e.LimitingInMin.Value, c.nominal, 0)
		near(t, name+" limiting 10/350", e.LimitingIimpMin.Value, c.limiting, 0)
		if want := c.down >= 4; strings.Contains(basis(t, &e, "iimp_min_ka"), "four down-conductors or more") != want {
			t.Errorf("%s: %s", name, basis(t, &e, "iimp_min_ka"))
		}
	}
}

// Class of the d.c. side by place and separation distance (handbook, read): class II without LPS or with the distance kept.
func TestClassOfTheArray(t *testing.T) {
	kept := roofArray(5)
	kept.Electrical.SeparationKept = true
	elsewhere := array(50)
	elsewhere.Electrical.ArrayPlace = risk.ArrayElsewhere
	for name, c := range map[string]struct {
		s    risk.Structure
		line risk.Line
		want TestClass
	}{
		"no LPS": {dwelling, roofArray(5), ClassII}, "not kept": {risk.Structure{LPS: risk.LPSI}, roofArray(5), ClassI},
		"kept": {risk.Structure{LPS: risk.LPSI}, kept, ClassII}, "elsewhere": {risk.Structure{LPS: risk.LPSI}, elsewhere, ClassI},
		"not stated": {risk.Structure{LPS: risk.LPSI}, array(5), ClassI},
	} {
		if e := first(t, site1(c.s, c.line), 1); e.TestClass != c.want || e.IimpMin.Valid != (c.want == ClassI) {
			t.Errorf("%s: class %s, I_imp %v", name, e.TestClass, e.IimpMin)
		}
	}
}

// A line that leads nothing away lowers no requirement of the others.
func TestLinesThatLeadNothingAwayLowerNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t)
		rec := drawRecommendation(t, in)
		before := schedule(t, in, 5, rec)
		added := drawLine(t, len(in.Lines), len(in.Structures))
		if farEarth(&added) == risk.FarEarthOwn {
			added.FarEarth = oneOf(t, "of the added line", risk.FarEarthShared, risk.FarEarthUnknown)
		}
		in.Lines = append(in.Lines, added)
		after := schedule(t, in, 5, rec)
		for i := range before {
			b := &before[i]
			for k := range after {
				if a := &after[k]; a.Line == b.Line && a.Structure == b.Structure && a.Position == b.Position {
					notLower(t, b, a)
				}
			}
		}
	})
}

func notLower(t *rapid.T, before, after *Entry) {
	if before.Required && !after.Required || after.IimpMin.Value < before.IimpMin.Value || after.InMin.Value < before.InMin.Value ||
		after.ImaxMin.Value < before.ImaxMin.Value || after.IimpTotalMin.Value < before.IimpTotalMin.Value {
		t.Fatalf("lower: %+v, before %+v", after, before)
	}
	for i := range before.Modes {
		b, a := &before.Modes[i], &after.Modes[i]
		if a.IimpMin.Value < b.IimpMin.Value || a.InMin.Value < b.InMin.Value || a.UcMin.Value < b.UcMin.Value {
			t.Fatalf("lower: %+v, before %+v", a, b)
		}
	}
}

// For flashes to a structure with an LPS, the device that is scheduled is overstressed no more often than P_SPD of IEC 62305-2 Table B.3
// for its level says: 0.01, 0.02, 0.05 for LPL I, II, III-IV (memory).
func TestScheduledDeviceKeepsTableB3(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t)
		for i := range in.Structures {
			in.Structures[i].LPS = risk.LPS(rapid.IntRange(int(risk.LPSIV), int(risk.LPSIFullCover)).Draw(t, "class"))
		}
		rec := drawRecommendation(t, in)
		res := &risk.Result{NG: 5, Structures: make([]risk.StructureResult, len(in.Structures)), Lines: make([]risk.LineResult, len(in.Lines))}
		for i := range res.Structures {
			res.Structures[i].Direct = 0.1
		}
		entries := Schedule(in, res, rec, nil)
		i := 0
		for _, e := range Stress(in, res, entries, StressOptions{}, nil) {
			for entries[i].Position != LineEntrance {
				i++
			}
			en := &entries[i]
			i++
			want, leveled := map[risk.Level]float64{risk.LevelI: 0.01, risk.LevelII: 0.02, risk.LevelIIIIV: 0.05}[capped(en.Level)]
			if !leveled || idleLine(&in.Lines[en.Line]) {
				continue
			}
			for _, p := range e.Duties[0].PSPD {
				if p.Source == S1 && p.PSPD > want*(1+1e-9) {
					t.Fatalf("P_SPD %v of a device for %v, want at most %v: %+v, %+v", p.PSPD, en.Level, want, en, e.Sources)
				}
			}
		}
	})
}

// idleLine reports an a.c. input without source that does not leave the building: nothing bonds it to the LPS.
func idleLine(l *risk.Line) bool {
	x := end{l: l}
	return x.idle()
}
