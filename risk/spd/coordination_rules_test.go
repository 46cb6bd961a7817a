package spd

import (
	"slices"
	"strings"
	"testing"

	"levinward/risk"
)

// coordOne is a switching device wired through its terminals: U_P/F is its U_P.
func coordOne(up float64, cable Opt) []Stage {
	return []Stage{{Device: coordSheet(Switching, 255, up, "I"), LeadLength: Some(0), CableAfter: cable}}
}

// A rating that is just what is required will do, and so does a value just at its limit: the rules say "at least" and "at most"
// (IEC 60364-5-53, read; the falling levels and the decoupling are common practice, no published source).
func TestCoordinationAtTheLimits(t *testing.T) {
	type at func(s []Stage, o *CoordinationOptions, v float64)
	for _, c := range []struct {
		name          string
		limit, beyond float64
		set           at
		rule          CoordinationRule
		stage         int
		broken        Verdict
	}{
		{"I_imp", 25, 24.9, func(s []Stage, o *CoordinationOptions, v float64) { s[0].Device.Iimp, o.Iimp = Some(v), Some(25) },
			CoordImpulseCurrent, 0, Unsuitable},
		{"I_n", 20, 19.9, func(s []Stage, o *CoordinationOptions, v float64) { s[0].Device.In, o.In = Some(v), Some(20) },
			CoordNominalCurrent, 0, Unsuitable},
		{"U_P", 1.5, 1.6, func(s []Stage, _ *CoordinationOptions, v float64) { s[1].Device.Up = Some(v) }, CoordProtectionLevels, 1,
			Ineffective},
		{"U_C", 255, 254, func(s []Stage, _ *CoordinationOptions, v float64) { s[1].Device.UcAC = Some(v) }, CoordOperatingVoltages, 1,
			InsufficientData},
		{"I_n behind", 20, 21, func(s []Stage, _ *CoordinationOptions, v float64) { s[1].Device.In = Some(v) }, CoordDischargeCurrents, 1,
			Unsuitable},
		{"leads", 1, 1.01, func(s []Stage, _ *CoordinationOptions, v float64) { s[1].LeadLength = Some(v) }, CoordLeads, 1, Unsuitable},
		{"preferred leads", 0.5, 0.51, func(s []Stage, _ *CoordinationOptions, v float64) { s[1].LeadLength = Some(v) }, CoordLeadsPreferred,
			1, Unsuitable},
		{"maker's cable", 12, 11, func(s []Stage, _ *CoordinationOptions, v float64) {
			s[0].CableAfter, s[1].MakerCable = Some(v), Some(12)
		}, CoordDecoupling, 1, Unsuitable},
	} {
		for v, want := range map[float64]Verdict{c.limit: Suitable, c.beyond: c.broken} {
			stages, o := coordLine(), coordEquipment
			c.set(stages, &o, v)
			r := coordinate(t, stages, o)
			if f := coordFinding(t, &r, c.rule, c.stage); f.Verdict != want {
				t.Errorf("%s %v: %+v", c.name, v, f)
			}
		}
	}
}

// Only the first stage is held against what the line brings. Common practice, no published source.
func TestOriginIsTheFirstStage(t *testing.T) {
	c := coordinate(t, coordLine(), coordEquipment)
	var got []string
	for _, f := range c.Findings {
		got = append(got, string(f.Rule))
	}
	between := []string{string(CoordClassOrder), string(CoordProtectionLevels), string(CoordOperatingVoltages),
		string(CoordDischargeCurrents), string(CoordDecoupling)}
	behind := []string{string(CoordLeads), string(CoordLeadsPreferred), string(CoordProtectionDistance)}
	want := slices.Concat([]string{string(CoordImpulseCurrent), string(CoordNominalCurrent), string(CoordClassOrder)}, behind, between,
		behind, between, behind,
		[]string{string(CoordTarget), string(CoordFurtherStage)})
	if !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
}

// After a device in the wrong place its own class counts for the next: class II behind a class I that stands behind class II. A
// device of two classes takes the place of the one that fits, and class I behind it is wrong. Common practice, no published
// source.
func TestClassOrderGoesOn(t *testing.T) {
	order := func(classes ...ClassSet) []Verdict {
		var stages []Stage
		for _, set := range classes {
			d := coordSheet(Limiting, 275, 1.2)
			d.Classes = set
			stages = append(stages, Stage{Device: d, LeadLength: Some(0.3), CableAfter: Some(12)})
		}
		c := coordinate(t, stages, CoordinationOptions{Withstand: 4})
		var verdicts []Verdict
		for i := range stages {
			f := coordFinding(t, &c, CoordClassOrder, i)
			verdicts = append(verdicts, f.Verdict)
			if f.Verdict != InsufficientData && f.Found != strings.Join(classes[i].Names(), ", ") {
				t.Errorf("%+v", f)
			}
		}
		return verdicts
	}
	for _, c := range []struct {
		classes []ClassSet
		want    []Verdict
	}{
		{[]ClassSet{setI, setII, setIII}, []Verdict{Suitable, Suitable, Suitable}},
		{[]ClassSet{setII, setI, setII}, []Verdict{Suitable, Unsuitable, Suitable}},
		{[]ClassSet{setII, setI | setII, setI}, []Verdict{Suitable, Suitable, Unsuitable}},
		{[]ClassSet{setI | setII, setI | setII, setI | setII}, []Verdict{Suitable, Suitable, Suitable}},
		{[]ClassSet{setI, setIII}, []Verdict{Suitable, Unsuitable}},
		{[]ClassSet{setI | setII, setIII}, []Verdict{Suitable, Suitable}},
		{[]ClassSet{setII, setIII, setIII}, []Verdict{Suitable, Suitable, Suitable}},
		{[]ClassSet{0, setII}, []Verdict{InsufficientData, InsufficientData}},
		{[]ClassSet{setD1}, []Verdict{Unsuitable}},
	} {
		if got := order(c.classes...); !slices.Equal(got, c.want) {
			t.Errorf("%v: %v, want %v", c.classes, got, c.want)
		}
	}
}

// Cable that decouples: 10 m or 15 uH behind class I whatever its technology, and behind a device that switches or says nothing;
// 5 m or 7.5 uH behind a limiting one of class II. Common practice, no published source. 7 m is enough for the second only.
func TestDecouplingByTheStageBefore(t *testing.T) {
	for _, c := range []struct {
		technology Technology
		classes    ClassSet
		required   string
		want       Verdict
	}{
		{Limiting, setI, "about 10 m of cable, or 15 uH", InsufficientData},
		{Limiting, setI | setII, "about 10 m of cable, or 15 uH", InsufficientData},
		{Limiting, setII, "about 5 m of cable, or 7.5 uH", Suitable},
		{Limiting, setII | setIII, "about 5 m of cable, or 7.5 uH", Suitable},
		{Switching, setII, "about 10 m of cable, or 15 uH", InsufficientData},
		{Combination, setII, "about 10 m of cable, or 15 uH", InsufficientData},
		{TechnologyNotStated, setII, "about 10 m of cable, or 15 uH", InsufficientData},
		{Limiting, 0, "about 10 m of cable, or 15 uH", InsufficientData},
	} {
		stages := coordLine()
		stages[0].Device.Technology, stages[0].Device.Classes, stages[0].CableAfter = c.technology, c.classes, Some(7)
		r := coordinate(t, stages, coordEquipment)
		f := coordFinding(t, &r, CoordDecoupling, 1)
		if f.Verdict != c.want || !strings.HasPrefix(f.Required, c.required) || f.Found != "7 m of cable, 7 uH" {
			t.Errorf("%+v: %+v", c, f)
		}
		if asked := strings.HasSuffix(f.Reason, "lengthen the cable or put an inductor in."); asked != (c.want == InsufficientData) {
			t.Errorf("%+v: %s", c, f.Reason)
		}
	}
	stages := coordLine()
	stages[0].CableAfter = Opt{}
	r := coordinate(t, stages, coordEquipment)
	if f := coordFinding(t, &r, CoordDecoupling, 1); f.Verdict != InsufficientData || f.Found != "not known" ||
		!strings.Contains(f.Reason, "Measure the cable") {
		t.Errorf("%+v", f)
	}
}

// U_P/F with leads of 0.4 m: 1 kV/m with partial lightning currents (read), the share of 0.2 U_P with induced surges up to 0.5 m
// (memory). U_P 1.5 kV: 1.9 and 1.8 kV; a switching device lets the larger of both through; 0.5 m is taken where nothing is
// known.
func TestEffectiveLevelByClass(t *testing.T) {
	for _, c := range []struct {
		technology Technology
		classes    ClassSet
		leads      Opt
		want       float64
	}{
		{Limiting, setI, Some(0.4), 1.9}, {Limiting, setI | setII, Some(0.4), 1.9}, {Limiting, setII, Some(0.4), 1.8},
		{Limiting, setIII, Some(0.4), 1.8},
		{Limiting, 0, Some(0.4), 1.9}, {Limiting, setD1, Some(0.4), 1.9}, {Limiting, setC2, Some(0.4), 1.8}, {Limiting, setC1, Some(0.4), 1.8},
		{Limiting, setII, Some(0.5), 1.8}, {Limiting, setII, Some(0.6), 2.1}, {Limiting, setI, Opt{}, 2}, {Limiting, setII, Opt{}, 1.8},
		{Combination, setI, Some(0.4), 1.9}, {TechnologyNotStated, setI, Some(0.4), 1.9}, {Switching, setI, Some(0.4), 1.5},
		{Switching, setII, Some(1.7), 1.7},
	} {
		d := coordSheet(c.technology, 255, 1.5)
		d.Classes = c.classes
		r := coordinate(t, []Stage{{Device: d, LeadLength: c.leads, CableAfter: Some(1)}}, CoordinationOptions{Withstand: 4})
		near(t, "U_P/F", r.Stages[0].EffectiveLevel.Value, c.want, 1e-12)
	}
}

// The protection distance of U_P/F 2 kV before equipment of 2.5 kV is 500 V / 25 V/m = 20 m (IEC 62305-4:2006 Annex D, read):
// cable of just that length is within it.
func TestWithinTheProtectionDistance(t *testing.T) {
	for cable, want := range map[float64]Verdict{19: Suitable, 20: Suitable, 20.1: Ineffective} {
		c := coordinate(t, coordOne(2, Some(cable)), CoordinationOptions{Withstand: 2.5})
		if f := coordFinding(t, &c, CoordProtectionDistance, 0); f.Verdict != want || f.Found != "20 m" || !f.Guidance {
			t.Errorf("%v m: %+v", cable, f)
		}
	}
	c := coordinate(t, coordOne(2, Opt{}), CoordinationOptions{Withstand: 2.5})
	if f := coordFinding(t, &c, CoordProtectionDistance, 0); f.Verdict != InsufficientData || f.Found != "20 m" {
		t.Errorf("%+v", f)
	}
}

// What may reach equipment of 2.5 kV: 2.5 kV from a device at it (memory), 2 kV up to 10 m (read), 1.25 kV beyond (read) or up to 10 m
// with life at stake (memory); and beyond 10 m a device of its own unless U_P/F is at most half of U_W (read) and the wiring is shielded
// (memory).
func TestWhatReachesTheEquipment(t *testing.T) {
	for _, c := range []struct {
		up      float64
		cable   Opt
		vital   bool
		shield  bool
		target  Verdict
		limit   string
		further Verdict
	}{
		{2.5, Some(0), false, false, Suitable, "2.5", Suitable}, {2.51, Some(0), false, false, Ineffective, "2.5", Suitable},
		{2, Some(0.1), false, false, Suitable, "2", Suitable}, {2, Some(10), false, false, Suitable, "2", Suitable},
		{2.01, Some(10), false, false, Ineffective, "2", Suitable},
		{1.25, Some(10.1), false, true, Suitable, "1.25", Suitable}, {1.25, Some(10.1), false, false, Suitable, "1.25", InsufficientData},
		{1.26, Some(10.1), false, true, Ineffective, "1.25", Ineffective},
		{1.25, Some(300), false, true, Suitable, "1.25", Suitable},
		{2.5, Some(0), true, false, Suitable, "2.5", Suitable}, {1.25, Some(10), true, false, Suitable, "1.25", Suitable},
		{1.26, Some(0.1), true, false, Ineffective, "1.25", Suitable},
		{1.25, Opt{}, false, true, Suitable, "2", Suitable}, {1.25, Opt{}, false, false, Suitable, "2", InsufficientData}, {1.26, Opt{}, false,
			false, InsufficientData, "2", InsufficientData},
		{2.01, Opt{}, false, false, Ineffective, "2", InsufficientData},
	} {
		r := coordinate(t, coordOne(c.up, c.cable), CoordinationOptions{Withstand: 2.5, Vital: c.vital, Shielded: c.shield})
		f := coordFinding(t, &r, CoordTarget, 0)
		if f.Verdict != c.target || f.Required != "U_P/F at most "+c.limit+" kV" {
			t.Errorf("%+v: %+v", c, f)
		}
		if f := coordFinding(t, &r, CoordFurtherStage, 0); f.Verdict != c.further || r.FurtherStage != (c.further == Ineffective) {
			t.Errorf("%+v: %+v", c, f)
		}
	}
	stages := coordOne(1, Some(12))
	stages[0].Device.Up = Opt{}
	r := coordinate(t, stages, CoordinationOptions{Withstand: 2.5})
	if f := coordFinding(t, &r, CoordFurtherStage, 0); f.Verdict != InsufficientData || r.FurtherStage {
		t.Errorf("%+v", f)
	}
}

// The outcome in plain words names the stage, by its number where it has no name. The wording is the product's own.
func TestCoordinationSentences(t *testing.T) {
	for _, c := range []struct {
		change func(s []Stage, o *CoordinationOptions)
		want   string
	}{
		{func([]Stage, *CoordinationOptions) {},
			"The devices fit behind each other, and what passes the last one is within what the equipment withstands."},
		{func(s []Stage, _ *CoordinationOptions) { s[1].Device.Up = Some(1.6) },
			"Does not protect the equipment: at sub-board wanted is U_P not above that of the stage before, found is 1.6 kV behind 1.5 kV."},
		{func(s []Stage, _ *CoordinationOptions) { s[1].Name, s[1].Device.Up = "", Some(1.6) },
			"Does not protect the equipment: at stage 2 wanted is U_P not above that of the stage before, found is 1.6 kV behind 1.5 kV."},
		{func(s []Stage, _ *CoordinationOptions) { s[0].Name, s[0].LeadLength = "", Some(1.5) },
			"Not to be built like this: at stage 1 wanted is both leads together at most 1 m, found is 1.5 m."},
		{func(s []Stage, _ *CoordinationOptions) { s[2].LeadLength = Opt{} },
			"Not proved yet: at socket wanted is both leads together at most 1 m, found is not known."},
		{func(s []Stage, _ *CoordinationOptions) { s[2].CableAfter = Some(12) },
			"The equipment is too far from the last device: put one more at the equipment."},
	} {
		stages, o := coordLine(), coordEquipment
		c.change(stages, &o)
		if r := coordinate(t, stages, o); r.Sentence != c.want {
			t.Errorf("%s\nwant %s", r.Sentence, c.want)
		}
	}
}

// The largest values of a stage are allowed, anything above is a fault of its own. The bounds are the product's own.
func TestBoundsOfAStage(t *testing.T) {
	stage := func() Stage {
		return Stage{Device: Device{UcAC: Some(1e5), UcDC: Some(1e5), Up: Some(1000), In: Some(1e4), Imax: Some(1e4), Iimp: Some(1e4),
			Classes: 63, Technology: Combination},
			LeadLength: Some(100), CableAfter: Some(1e5), Inductor: Some(1e6), MakerCable: Some(1e5)}
	}
	options := CoordinationOptions{Withstand: 1000, Current: risk.DC, Iimp: Some(1e4), In: Some(1e4)}
	first := stage()
	first.MakerCable = Opt{}
	if v := CoordinationViolations([]Stage{first, stage()}, options); v != nil {
		t.Fatalf("%+v", v)
	}
	for pointer, set := range map[string]func(s *Stage, o *CoordinationOptions){
		"/withstand_kv":                 func(_ *Stage, o *CoordinationOptions) { o.Withstand = 1001 },
		"/current":                      func(_ *Stage, o *CoordinationOptions) { o.Current = risk.DC + 1 },
		"/iimp_min_ka":                  func(_ *Stage, o *CoordinationOptions) { o.Iimp = Some(10001) },
		"/in_min_ka":                    func(_ *Stage, o *CoordinationOptions) { o.In = Some(10001) },
		"/stages/1/device/uc_ac_v":      func(s *Stage, _ *CoordinationOptions) { s.Device.UcAC = Some(100001) },
		"/stages/1/device/uc_dc_v":      func(s *Stage, _ *CoordinationOptions) { s.Device.UcDC = Some(100001) },
		"/stages/1/device/up_kv":        func(s *Stage, _ *CoordinationOptions) { s.Device.Up = Some(1001) },
		"/stages/1/device/in_ka":        func(s *Stage, _ *CoordinationOptions) { s.Device.In, s.Device.Imax = Some(10001), Opt{} },
		"/stages/1/device/imax_ka":      func(s *Stage, _ *CoordinationOptions) { s.Device.Imax = Some(10001) },
		"/stages/1/device/iimp_ka":      func(s *Stage, _ *CoordinationOptions) { s.Device.Iimp = Some(10001) },
		"/stages/1/device/technology":   func(s *Stage, _ *CoordinationOptions) { s.Device.Technology = 4 },
		"/stages/1/device/test_classes": func(s *Stage, _ *CoordinationOptions) { s.Device.Classes = 64 },
		"/stages/1/lead_length_m":       func(s *Stage, _ *CoordinationOptions) { s.LeadLength = Some(101) },
		"/stages/1/cable_after_m":       func(s *Stage, _ *CoordinationOptions) { s.CableAfter = Some(100001) },
		"/stages/1/inductor_uh":         func(s *Stage, _ *CoordinationOptions) { s.Inductor = Some(1000001) },
		"/stages/1/maker_cable_m":       func(s *Stage, _ *CoordinationOptions) { s.MakerCable = Some(100001) },
	} {
		s, o := stage(), options
		set(&s, &o)
		if v := CoordinationViolations([]Stage{first, s}, o); len(v) != 1 || v[0].Pointer != pointer || v[0].Reason == "" {
			t.Errorf("%s: %+v", pointer, v)
		}
	}
}

// A number that one of two stages does not state is missing; on data lines the a.c. value of U_C counts where no d.c. value is stated.
// Common practice, no published source.
func TestMissingBesideStated(t *testing.T) {
	for _, i := range []int{0, 1} {
		stages := coordLine()
		stages[i].Device.Up, stages[i].Device.UcAC = Opt{}, Opt{}
		r := coordinate(t, stages, coordEquipment)
		for _, rule := range []CoordinationRule{CoordProtectionLevels, CoordOperatingVoltages} {
			if f := coordFinding(t, &r, rule, 1); f.Verdict != InsufficientData || f.Found != "not stated" {
				t.Errorf("stage %d: %+v", i, f)
			}
		}
	}
	line := []Stage{{Device: coordSheet(Limiting, 180, 0.5, "D1"), LeadLength: Some(0)},
		{Device: coordSheet(Limiting, 170, 0.4, "C2"), LeadLength: Some(0)}}
	r := coordinate(t, line, CoordinationOptions{Withstand: 1.5, Telecom: true})
	if f := coordFinding(t, &r, CoordOperatingVoltages, 1); f.Verdict != InsufficientData || f.Found != "170 V behind 180 V" {
		t.Errorf("%+v", f)
	}
	line[0].Device.UcDC, line[1].Device.UcDC = Some(60), Some(60)
	r = coordinate(t, line, CoordinationOptions{Withstand: 1.5, Telecom: true})
	if f := coordFinding(t, &r, CoordOperatingVoltages, 1); f.Verdict != Suitable || f.Found != "60 V behind 60 V" {
		t.Errorf("%+v", f)
	}
}

// On data lines only what cites the clause on power installations cites another document, from memory.
func TestDocumentsOnDataLines(t *testing.T) {
	for _, telecom := range []bool{false, true} {
		o := coordEquipment
		o.Telecom = telecom
		r := coordinate(t, coordLine(), o)
		want := map[bool]string{false: stdSPD, true: stdSystem}[telecom]
		if f := coordFinding(t, &r, CoordLeads, 1); f.Clause != want || (f.Provenance == memory) != telecom {
			t.Errorf("%+v", f)
		}
		if f := coordFinding(t, &r, CoordProtectionLevels, 1); f.Clause != trade || f.Provenance != practice {
			t.Errorf("%+v", f)
		}
	}
}
