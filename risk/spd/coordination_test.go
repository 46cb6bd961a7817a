package spd

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"

	"levinward/risk"
	"levinward/risk/trace"

	"pgregory.net/rapid"
)

func coordSheet(technology Technology, uc, up float64, classes ...string) Device {
	set, err := Classes(classes...)
	if err != nil {
		panic(err)
	}
	return Device{AC: true, UcAC: Some(uc), Up: Some(up), In: Some(20), Classes: set, Technology: technology}
}

// coordLine is an invented line: spark gap at the origin, varistors in the sub-board and at the equipment.
func coordLine() []Stage {
	origin := coordSheet(Switching, 255, 1.5, "I")
	origin.Iimp = Some(25)
	third := coordSheet(Limiting, 275, 1.2, "III")
	third.In = Some(5)
	return []Stage{
		{Name: "origin", Device: origin, LeadLength: Some(0.4), CableAfter: Some(12)},
		{Name: "sub-board", Device: coordSheet(Limiting, 275, 1.25, "II"), LeadLength: Some(0.3), CableAfter: Some(18)},
		{Name: "socket", Device: third, LeadLength: Some(0), CableAfter: Some(0)},
	}
}

var coordEquipment = CoordinationOptions{Withstand: 2.5, Iimp: Some(12.5), In: Some(5)}

// coordinate judges with a trace, lets it re-evaluate every formula and demands the same without one.
func coordinate(t tester, stages []Stage, o CoordinationOptions) Coordination {
	t.Helper()
	if faults := CoordinationViolations(stages, o); faults != nil {
		t.Fatalf("%+v", faults)
	}
	tr := trace.New(100)
	c := Coordinate(stages, o, tr)
	if err := tr.Check(); err != nil {
		t.Fatal(err)
	}
	if quiet := Coordinate(stages, o, nil); !reflect.DeepEqual(quiet, c) {
		t.Fatal("recording changes the result")
	}
	return c
}

func coordFinding(t tester, c *Coordination, rule CoordinationRule, stage int) CoordinationFinding {
	t.Helper()
	for _, f := range c.Findings {
		if f.Rule == rule && f.Stage == stage {
			return f
		}
	}
	t.Fatalf("no finding %s of stage %d", rule, stage)
	return CoordinationFinding{}
}

// An invented line that keeps every rule of TestCoordinationFindings.
func TestGoodCoordination(t *testing.T) {
	c := coordinate(t, coordLine(), coordEquipment)
	for _, f := range c.Findings {
		if f.Verdict != Suitable {
			t.Errorf("%+v", f)
		}
		if f.Reason == "" || f.Clause == "" || f.Required == "" || f.Found == "" {
			t.Errorf("incomplete: %+v", f)
		}
	}
	if c.Verdict != Suitable || c.FurtherStage || len(c.Cautions) == 0 {
		t.Errorf("%+v", c)
	}
}

// Protection distance, read in a trade handbook on the 2006 edition of IEC 62305-4, Annex D: U_W 2500 V: not considered at
// 1100 V, considered from 1300 V. Beyond that, (2500 - 1300) / 25 = 48 m.
func TestProtectionDistance(t *testing.T) {
	for _, want := range []struct {
		up      float64
		ignored bool
		l       Opt
	}{{1.1, true, Opt{}}, {1.25, false, Some(50)}, {1.3, false, Some(48)}, {2, false, Some(20)}, {2.5, false, Some(0)}, {4, false, Some(0)}} {
		// a switching device wired through its terminals: U_P/F is U_P
		s := Stage{Device: coordSheet(Switching, 255, want.up, "I"), LeadLength: Some(0), CableAfter: Some(9)}
		r := coordinate(t, []Stage{s}, CoordinationOptions{Withstand: 2.5}).Stages[0]
		near(t, "U_P/F", r.EffectiveLevel.Value, want.up, 0)
		if r.DistanceIgnored != want.ignored || r.ProtectionDistance.Valid != want.l.Valid {
			t.Errorf("%v kV: %+v", want.up, r)
		}
		near(t, "distance", r.ProtectionDistance.Value, want.l.Value, 1e-9)
	}
}

// Leads, read in trade handbooks: 1 uH/m at 8 kA 8/20 gives 1 kV/m, 0.5 m 500 V; U_P 1.5 kV with 0.6 + 0.7 m 2.8 kV, which
// passes 4 kV and fails 2.5 kV.
func TestLeadsInCoordination(t *testing.T) {
	half := Stage{Device: coordSheet(Limiting, 255, 1.5, "I"), LeadLength: Some(0.5), CableAfter: Some(0)}
	near(t, "0.5 m", coordinate(t, []Stage{half}, CoordinationOptions{Withstand: 4}).Stages[0].EffectiveLevel.Value, 2, 1e-12)
	long := Stage{Device: coordSheet(Limiting, 255, 1.5, "II"), LeadLength: Some(1.3), CableAfter: Some(0)}
	for U, want := range map[float64]Verdict{4: Suitable, 2.5: Ineffective} {
		c := coordinate(t, []Stage{long}, CoordinationOptions{Withstand: U})
		near(t, "1.3 m", c.Stages[0].EffectiveLevel.Value, 2.8, 1e-12)
		if f := coordFinding(t, &c, CoordTarget, 0); f.Verdict != want {
			t.Errorf("U_W %v: %+v", U, f)
		}
		if f := coordFinding(t, &c, CoordLeads, 0); f.Verdict != Unsuitable || c.Verdict != Unsuitable {
			t.Errorf("%+v", f)
		}
	}
	long.LeadLength = Some(0.8)
	c := coordinate(t, []Stage{long}, CoordinationOptions{Withstand: 4})
	if f := coordFinding(t, &c, CoordLeadsPreferred, 0); f.Verdict != Unsuitable || !f.Guidance || c.Verdict != Suitable {
		t.Errorf("%+v", f)
	}
}

// Places add up along the cable; distances by (U_W - U_P/F)/25 V/m, IEC 62305-4:2006 Annex D (read).
func TestPlaces(t *testing.T) {
	stages := coordLine()
	c := coordinate(t, stages, coordEquipment)
	for i, want := range []float64{0, 12, 30} {
		near(t, "place", c.Stages[i].At.Value, want, 0)
	}
	// switching: U_P/F 1.5 kV; (2.5 - 1.5) / 25 V/m from the origin on
	near(t, "end", c.Stages[0].EndsAt.Value, 40, 1e-9)
	// limiting: 1.25 + 0.2 x 1.25 = 1.5 kV, from 12 m on
	near(t, "end", c.Stages[1].EndsAt.Value, 52, 1e-9)
	stages[0].CableAfter = Opt{}
	if c = coordinate(t, stages, coordEquipment); c.Stages[1].At.Valid || c.Stages[2].EndsAt.Valid || c.Verdict != InsufficientData {
		t.Errorf("%+v", c)
	}
}

// One change to the line, and the finding that answers it. The order of classes, leads of 1 m, 10 m to the equipment and 0.8
// U_W: read. Half of U_W with life at stake: from memory. Falling U_P, U_C that does not fall, 10 m, 5 m, 15 uH and 7.5 uH
// between devices, statements of makers: common practice, no published source.
func TestCoordinationFindings(t *testing.T) {
	tests := map[string]struct {
		change  func(s []Stage, o *CoordinationOptions)
		rule    CoordinationRule
		stage   int
		verdict Verdict
		overall Verdict
	}{
		"class II before I": {func(s []Stage, _ *CoordinationOptions) { s[0].Device.Classes, s[1].Device.Classes = 2, 1 }, CoordClassOrder, 1, Unsuitable, Unsuitable},
		"class III first":   {func(s []Stage, _ *CoordinationOptions) { s[0].Device.Classes = 4 }, CoordClassOrder, 0, Unsuitable, Unsuitable},
		"III behind I":      {func(s []Stage, _ *CoordinationOptions) { s[1].Device.Classes = 4 }, CoordClassOrder, 1, Unsuitable, Unsuitable},
		"I+II behind I":     {func(s []Stage, _ *CoordinationOptions) { s[1].Device.Classes = 3 }, CoordClassOrder, 1, Suitable, Suitable},
		"data device":       {func(s []Stage, _ *CoordinationOptions) { s[2].Device.Classes = 32 }, CoordClassOrder, 2, Unsuitable, Unsuitable},
		"class not stated":  {func(s []Stage, _ *CoordinationOptions) { s[1].Device.Classes = 0 }, CoordClassOrder, 1, InsufficientData, InsufficientData},
		"U_P rises":         {func(s []Stage, _ *CoordinationOptions) { s[2].Device.Up = Some(1.3) }, CoordProtectionLevels, 2, Ineffective, Ineffective},
		"U_P not stated":    {func(s []Stage, _ *CoordinationOptions) { s[2].Device.Up = Opt{} }, CoordTarget, 2, InsufficientData, InsufficientData},
		"U_C falls":         {func(s []Stage, _ *CoordinationOptions) { s[2].Device.UcAC = Some(255) }, CoordOperatingVoltages, 2, InsufficientData, InsufficientData},
		"U_C falls, maker states the pair": {func(s []Stage, _ *CoordinationOptions) { s[2].Device.UcAC, s[2].MakerCable = Some(255), Some(5) },
			CoordOperatingVoltages, 2, Suitable, Suitable},
		"U_C for d.c. not stated":             {func(_ []Stage, o *CoordinationOptions) { o.Current = risk.DC }, CoordOperatingVoltages, 1, InsufficientData, InsufficientData},
		"less I_imp than required":            {func(_ []Stage, o *CoordinationOptions) { o.Iimp = Some(50) }, CoordImpulseCurrent, 0, Unsuitable, Unsuitable},
		"I_n not stated":                      {func(s []Stage, _ *CoordinationOptions) { s[0].Device.In = Opt{} }, CoordNominalCurrent, 0, InsufficientData, InsufficientData},
		"stronger behind weaker":              {func(s []Stage, _ *CoordinationOptions) { s[1].Device.In = Some(40) }, CoordDischargeCurrents, 1, Unsuitable, Suitable},
		"9 m behind a spark gap":              {func(s []Stage, _ *CoordinationOptions) { s[0].CableAfter = Some(9) }, CoordDecoupling, 1, InsufficientData, InsufficientData},
		"9 m and an inductor":                 {func(s []Stage, _ *CoordinationOptions) { s[0].CableAfter, s[0].Inductor = Some(9), Some(6) }, CoordDecoupling, 1, Suitable, Suitable},
		"an inductor alone":                   {func(s []Stage, _ *CoordinationOptions) { s[0].CableAfter, s[0].Inductor = Some(0), Some(15) }, CoordDecoupling, 1, Suitable, Suitable},
		"10 m behind a spark gap":             {func(s []Stage, _ *CoordinationOptions) { s[0].CableAfter = Some(10) }, CoordDecoupling, 1, Suitable, Suitable},
		"4 m behind a varistor":               {func(s []Stage, _ *CoordinationOptions) { s[1].CableAfter = Some(4) }, CoordDecoupling, 2, InsufficientData, InsufficientData},
		"5 m behind a varistor":               {func(s []Stage, _ *CoordinationOptions) { s[1].CableAfter = Some(5) }, CoordDecoupling, 2, Suitable, Suitable},
		"maker: none needed":                  {func(s []Stage, _ *CoordinationOptions) { s[0].CableAfter, s[1].MakerCable = Some(0), Some(0) }, CoordDecoupling, 1, Suitable, Suitable},
		"maker: none needed, cable not known": {func(s []Stage, _ *CoordinationOptions) { s[0].CableAfter, s[1].MakerCable = Opt{}, Some(0) }, CoordDecoupling, 1, Suitable, Suitable},
		"maker: more than there is":           {func(s []Stage, _ *CoordinationOptions) { s[1].MakerCable = Some(15) }, CoordDecoupling, 1, Unsuitable, Unsuitable},
		"maker: cable not known":              {func(s []Stage, _ *CoordinationOptions) { s[0].CableAfter, s[1].MakerCable = Opt{}, Some(15) }, CoordDecoupling, 1, InsufficientData, InsufficientData},
		"spark gap behind varistor":           {func(s []Stage, _ *CoordinationOptions) { s[2].Device.Technology = Switching }, CoordDecoupling, 2, InsufficientData, InsufficientData},
		"technology not stated":               {func(s []Stage, _ *CoordinationOptions) { s[2].Device.Technology = TechnologyNotStated }, CoordDecoupling, 2, InsufficientData, InsufficientData},
		"leads not known":                     {func(s []Stage, _ *CoordinationOptions) { s[1].LeadLength = Opt{} }, CoordLeads, 1, InsufficientData, InsufficientData},
		"8 m to the equipment":                {func(s []Stage, _ *CoordinationOptions) { s[2].CableAfter = Some(8) }, CoordTarget, 2, Suitable, Suitable},
		"12 m to the equipment":               {func(s []Stage, _ *CoordinationOptions) { s[2].CableAfter = Some(12) }, CoordFurtherStage, 2, Ineffective, Ineffective},
		"12 m, U_P/F below half of U_W":       {func(s []Stage, o *CoordinationOptions) { s[2].CableAfter, o.Withstand = Some(12), 4 }, CoordFurtherStage, 2, InsufficientData, InsufficientData},
		"the same, shielded wiring":           {func(s []Stage, o *CoordinationOptions) { s[2].CableAfter, o.Withstand, o.Shielded = Some(12), 4, true }, CoordFurtherStage, 2, Suitable, Suitable},
		"cable to equipment not known":        {func(s []Stage, _ *CoordinationOptions) { s[2].CableAfter = Opt{} }, CoordFurtherStage, 2, InsufficientData, InsufficientData},
		"life at stake":                       {func(s []Stage, o *CoordinationOptions) { s[2].CableAfter, o.Vital = Some(1), true }, CoordTarget, 2, Ineffective, Ineffective},
		"equipment of 1.2 kV":                 {func(_ []Stage, o *CoordinationOptions) { o.Withstand = 1.2 }, CoordTarget, 2, Ineffective, Ineffective},
	}
	for name, test := range tests {
		stages, o := coordLine(), coordEquipment
		test.change(stages, &o)
		c := coordinate(t, stages, o)
		if f := coordFinding(t, &c, test.rule, test.stage); f.Verdict != test.verdict || c.Verdict != test.overall {
			t.Errorf("%s: overall %s, %+v", name, c.Verdict, f)
		}
		if c.FurtherStage != (name == "12 m to the equipment") {
			t.Errorf("%s: further stage %v", name, c.FurtherStage)
		}
	}
}

// D1 before C2 before C1, read; no length of cable as a rule: common practice, no published source.
func TestCoordinationOnDataLines(t *testing.T) {
	d1, c1 := coordSheet(Combination, 180, 0.5, "D1"), coordSheet(Limiting, 180, 0.4, "C1")
	c := coordinate(t, []Stage{{Device: d1, LeadLength: Some(0), CableAfter: Some(30)}, {Device: c1, LeadLength: Some(0),
		CableAfter: Some(1), MakerCable: Some(0)}},
		CoordinationOptions{Withstand: 1.5, Telecom: true})
	if c.Verdict != Suitable {
		t.Errorf("%+v", c)
	}
	c = coordinate(t, []Stage{{Device: c1, CableAfter: Some(30)}, {Device: d1}}, CoordinationOptions{Withstand: 1.5, Telecom: true})
	for rule, want := range map[CoordinationRule]Verdict{CoordClassOrder: Unsuitable, CoordDecoupling: InsufficientData,
		CoordProtectionLevels: Ineffective} {
		if f := coordFinding(t, &c, rule, 1); f.Verdict != want {
			t.Errorf("%+v", f)
		}
	}
}

func drawStage(t *rapid.T) Stage {
	number := func(name string, values ...float64) Opt {
		if i := rapid.IntRange(-1, len(values)-1).Draw(t, name); i >= 0 {
			return Some(values[i])
		}
		return Opt{}
	}
	return Stage{Device: Device{UcAC: number("U_C", 255, 275, 320), UcDC: number("U_C d.c.", 350), Up: number("U_P", 0.9, 1.2, 1.5,
		2.5, 4), In: number("I_n", 5, 20), Iimp: number("I_imp", 12.5, 25),
		Classes: ClassSet(rapid.IntRange(0, 63).Draw(t, "classes")), Technology: upTo[Technology](t, "technology", 4)},
		LeadLength: number("leads", 0, 0.5, 0.7, 1.3), CableAfter: number("cable", 0, 4, 9, 30), Inductor: number("coil", 6, 15)}
}

// On any line: formulas re-evaluate, each finding is complete, the verdict is the worst that counts, and a better last
// device (lower U_P) or equipment (higher U_W) never makes the equipment worse off.
func TestAnyCoordination(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var stages []Stage
		for range rapid.IntRange(1, 4).Draw(t, "stages") {
			stages = append(stages, drawStage(t))
		}
		o := CoordinationOptions{Withstand: rapid.Float64Range(0.5, 6).Draw(t, "U_W"), Current: upTo[risk.Current](t, "current", 2),
			Telecom: rapid.Bool().Draw(t, "telecom"), Vital: rapid.Bool().Draw(t, "vital")}
		c := coordinate(t, stages, o)
		worst := Suitable
		for _, f := range c.Findings {
			if f.Required == "" && f.Rule != CoordProtectionDistance || f.Found == "" || f.Reason == "" || f.Clause == "" {
				t.Fatalf("%+v", f)
			}
			if o.Telecom && f.Clause == stdSPD {
				t.Fatalf("clause on power installations: %+v", f)
			}
			if !f.Guidance {
				worst = max(worst, f.Verdict)
			}
		}
		if c.Verdict != worst || c.Sentence == "" || len(c.Stages) != len(stages) {
			t.Fatalf("%+v", c)
		}
		last := len(stages) - 1
		judged := func(c Coordination) (target, further Verdict) {
			return coordFinding(t, &c, CoordTarget, last).Verdict, coordFinding(t, &c, CoordFurtherStage, last).Verdict
		}
		target, further := judged(c)
		o.Withstand *= 1.5
		strongerTarget, strongerFurther := judged(coordinate(t, stages, o))
		if strongerTarget > target || strongerFurther > further {
			t.Fatalf("better equipment: %s %s, then %s %s", target, further, strongerTarget, strongerFurther)
		}
		o.Withstand /= 1.5
		if up := &stages[last].Device.Up; up.Valid {
			up.Value /= 2
			betterTarget, betterFurther := judged(coordinate(t, stages, o))
			if betterTarget > target || betterFurther > further {
				t.Fatalf("lower U_P: %s %s, then %s %s", target, further, betterTarget, betterFurther)
			}
		}
	})
}

// The bounds are the product's own.
func TestCoordinationViolations(t *testing.T) {
	bad := Stage{LeadLength: Some(-1), CableAfter: Some(math.NaN()), Inductor: Some(math.Inf(1)), MakerCable: Some(5),
		Device: Device{UcAC: Some(0), UcDC: Some(-5), Up: Some(math.NaN()), In: Some(20), Imax: Some(10), Iimp: Some(1e9), Classes: 64,
			Technology: 9}}
	var got []string
	for _, v := range CoordinationViolations([]Stage{bad}, CoordinationOptions{Current: 7, Iimp: Some(-1), In: Some(math.NaN())}) {
		got = append(got, fmt.Sprint(v.Rule, " ", v.Pointer))
	}
	const d, s = " /stages/0/device/", " /stages/0/"
	want := []string{"out-of-range /withstand_kv", "out-of-range /current", "out-of-range /iimp_min_ka", "out-of-range /in_min_ka",
		"out-of-range" + d + "uc_ac_v", "out-of-range" + d + "uc_dc_v", "out-of-range" + d + "up_kv", "out-of-range" + d + "iimp_ka",
		"contradiction" + d + "imax_ka",
		"out-of-range" + d + "technology", "out-of-range" + d + "test_classes", "out-of-range" + s + "lead_length_m", "out-of-range" + s +
			"cable_after_m", "out-of-range" + s + "inductor_uh",
		"not-applicable" + s + "maker_cable_m"}
	if !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
	for n, faults := range map[int]int{0: 1, 16: 0, 17: 1} {
		if v := CoordinationViolations(make([]Stage, n), CoordinationOptions{Withstand: 2.5}); len(v) != faults {
			t.Errorf("%d stages: %+v", n, v)
		}
	}
}
