package spd

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"levinward/risk"
)

// The basis of these requirements is tested with the schedule. Here: what a check makes of them, common practice, no published source.

// direct110 is an invented battery line of 110 V with its own U_W by category II, 1.5 kV (IEC 60664-1, read).
func direct110(equipment risk.Equipment) risk.Line {
	return risk.Line{ID: "battery", To: -1, Sections: cable(4, risk.Rural),
		Electrical: risk.Electrical{Current: risk.DC, Origin: risk.Battery, Nominal: 110, Equipment: equipment}}
}

// U_W of an input of known limit is never taken above that of other photovoltaic equipment, 0.8 kV up to 149 V, 1.5 kV from 150
// V (memory). Without a limit the category counts.
func TestWithstandOfAnInput(t *testing.T) {
	for limit, want := range map[float64]float64{0: 1.5, 140: 0.8, 160: 1.5, 600: 1.5} {
		l := direct110(risk.OtherEquipment)
		l.Electrical.EquipmentMaxInput = limit
		near(t, "U_W", demand(t, l, nil).Withstand.Value, want, 0)
	}
	alternating := mains(aerial(300))
	alternating.Withstand, alternating.Electrical.EquipmentMaxInput = 0, 140
	near(t, "a.c.: category II at 230 V", demand(t, alternating, nil).Withstand.Value, 2.5, 0)
	tel := telephone()
	tel.Withstand, tel.Electrical.EquipmentMaxInput, tel.Electrical.Current = 0, 140, risk.DC
	near(t, "telecommunication", demand(t, tel, nil).Withstand.Value, 1.5, 0)
}

// Cautions by the kind of line. Which line gets which caution: IEC 61643-31 excludes photovoltaic systems with storage (read);
// the rest is common practice, no published source.
func TestCautionsByLine(t *testing.T) {
	pole := func(e risk.Equipment) risk.Line { l := array(5); l.Electrical.Equipment = e; return l }
	dcTelephone := telephone()
	dcTelephone.Electrical.Current, dcTelephone.Electrical.Equipment = risk.DC, risk.ChargeController
	ac := mains(aerial(300))
	ac.Electrical.Equipment = risk.ChargeController
	d := acDevice()
	for _, c := range []struct {
		name            string
		line            risk.Line
		direct, storage bool
	}{
		{"a.c.", ac, false, false}, {"array, charge controller", pole(risk.ChargeController), true, true},
		{"array, inverter", pole(risk.Inverter), true, false},
		{"battery, charge controller", direct110(risk.ChargeController), true, false}, {"telecommunication", dcTelephone, false, false},
	} {
		r := Check(&d, &Place{Entry: demand(t, c.line, nil), Line: &c.line})
		if slices.Contains(r.Cautions, cautionDirect) != c.direct || slices.Contains(r.Cautions, cautionStorage) != c.storage {
			t.Errorf("%s: %q", c.name, r.Cautions)
		}
		if r.Cautions[len(r.Cautions)-1] != map[bool]string{true: cautionDirect, false: cautionPractice}[c.direct] {
			t.Errorf("%s: %q", c.name, r.Cautions)
		}
	}
}

// Ratings that are not stated are named as the data sheet of such a device names them. The names are those of IEC 61643-11 and
// -31 (read).
func TestNamesOnTheDataSheet(t *testing.T) {
	pole, battery, supply := array(5), direct110(risk.OtherEquipment), mains(aerial(300))
	battery.Electrical.ShortCircuit, supply.Electrical.ShortCircuit = 2, 2
	for _, c := range []struct {
		line      risk.Line
		uc, short string
	}{
		{pole, "U_CPV, the maximum continuous operating voltage for d.c.", "I_SCPV, the short-circuit current rating"},
		{battery, "U_C for d.c., the maximum continuous operating voltage", "I_SCCR, the short-circuit current rating"},
		{supply, "U_C for a.c., the maximum continuous operating voltage", "I_SCCR, the short-circuit current rating"},
	} {
		var none Device
		r := Check(&none, &Place{Entry: demand(t, c.line, nil), Line: &c.line})
		for rule, want := range map[Rule]string{RuleLowestUc: c.uc, RuleHighestUc: c.uc, RuleShortCircuit: c.short} {
			if f := finding(&r, rule, ""); !strings.HasPrefix(f.Reason, "Look on the data sheet for "+want+". ") {
				t.Errorf("%s: %s", c.line.ID, f.Reason)
			}
		}
	}
}

// A finding says where its requirement comes from: for N-PE the reason of that mode, otherwise the first of the value. The
// wording is the product's own.
func TestFindingsSayWhy(t *testing.T) {
	l := mains(aerial(300))
	d := acDevice()
	r := Check(&d, &Place{Entry: demand(t, l, &risk.Structure{LPS: risk.LPSIII}), Line: &l})
	for _, c := range []struct {
		rule Rule
		mode string
		own  rule
		why  rule
	}{
		{RuleLowestUc, "", whyLowest, byPrintedUc}, {RuleTOV, "", whyTOV, byTOV}, {RuleProtectionLevel, "", whyUp, byTargetNear},
		{RuleNominalCurrent, "", whyNominal, byNominal}, {RuleNominalCurrent, "N-PE", whyNominal, byNPE},
		{RuleImpulseCurrent, "", whyImpulse, byFirstShare}, {RuleImpulseCurrent, "N-PE", whyImpulse, byNPE},
	} {
		f := finding(&r, c.rule, c.mode)
		if f.Reason != c.own.reason+" Required: "+lowerFirst(c.why.reason) || f.Clause != c.why.clause || f.Provenance != c.why.provenance {
			t.Errorf("%v %s: %+v", c.rule, c.mode, f)
		}
	}
	l.Electrical.Nominal = 240 // each mode has a reason of its own; that of the line comes first
	r = Check(&d, &Place{Entry: demand(t, l, nil), Line: &l})
	if f := finding(&r, RuleLowestUc, ""); f.Reason != whyLowest.reason+" Required: "+lowerFirst(byLineUc.reason) {
		t.Error(f.Reason)
	}
	if f := finding(&r, RuleTOV, ""); f.Reason != whyTOV.reason+" Required: "+lowerFirst(byTOV.reason) ||
		f.Required != "at least 348.5 V" { // 1.32 x 1.1 x 240 (memory)
		t.Errorf("%+v", f)
	}
}

// The margin is the reserve as a share of what is required. U_C 275 V: the device surely acts at 1.2 x 1.414 x 275 = 466.7 V
// (common practice), of 2000 V allowed; U_P 1.2 kV with leads of 0.4 m, 0.2 U_P with induced surges (memory), 1.44 of 2 kV; I_n
// 20 of 5 kA; backup 100 of 125 A; leads 0.4 of 0.5 m.
func TestMargins(t *testing.T) {
	l := mains(aerial(300))
	d := acDevice()
	d.Up = Some(1.2)
	r := Check(&d, &Place{Entry: demand(t, l, nil), Line: &l, Installation: Installation{Backup: Some(100), LeadLength: Some(0.4)}})
	for rule, want := range map[Rule]float64{RuleHighestUc: 1 - 466.690/2000, RuleLowestUc: 275.0/254 - 1, RuleNominalCurrent: 3,
		RuleBackup: 0.2, RuleLeads: 0.2, RuleProtectionLevel: 1 - 1.44/2} {
		near(t, rule.String(), finding(&r, rule, "").Margin.Value, want, 1e-6)
	}
}

// N-PE without a rating of its own: that of every mode stands for it where it is high enough, 10 kA in single-phase CT2
// (memory); otherwise nothing is stated.
func TestRatingThatStandsForNPE(t *testing.T) {
	l := mains(aerial(300))
	for in, want := range map[float64]string{20: "20 kA", 10: "10 kA", 9: "not stated"} {
		d := acDevice()
		d.In, d.InNPE = Some(in), Opt{}
		r := Check(&d, &Place{Entry: demand(t, l, nil), Line: &l})
		f := finding(&r, RuleNominalCurrent, "N-PE")
		if f.Found != want || f.Margin.Valid != (want != "not stated") || (f.Verdict == Suitable) != (want != "not stated") {
			t.Errorf("%v kA: %+v", in, f)
		}
	}
	d := acDevice()
	d.InNPE = Some(12)
	r := Check(&d, &Place{Entry: demand(t, l, nil), Line: &l})
	if f := finding(&r, RuleNominalCurrent, "N-PE"); f.Found != "12 kA" {
		t.Errorf("its own: %+v", f)
	}
}

// In TN-S a device in CT1 does too (memory); only in CT2 does N-PE carry the sum, 20 kA with three phases (memory).
func TestConnectionDecidesOnNPE(t *testing.T) {
	supply := mains(aerial(300))
	supply.Electrical.Phases = 3
	tns := supply
	tns.Electrical.System = risk.TNS
	for _, c := range []struct {
		name        string
		line        risk.Line
		modes       ModeSet
		connections ConnectionSet
		sums        bool
		connection  string
	}{
		{"TN-S, CT2", tns, setLN | setNPE, 0, true, "CT2 or CT1"},
		{"TN-S, CT1", tns, setLPE | setNPE, 0, false, "CT2 or CT1"},
		{"TN-S, all modes", tns, setLN | setLPE | setNPE, 0, false, "CT2 or CT1"},
		{"TN-S, all modes, stated as CT2", tns, setLN | setLPE | setNPE, setCT2, true, "CT2 or CT1"},
		{"TN-S, CT1 without N-PE", tns, setLPE, 0, true, "CT2 or CT1"},
		{"TN-S, CT1 without L-PE", tns, setLPEN | setNPE, 0, true, "CT2 or CT1"},
		{"TT, CT1", supply, setLPE | setNPE, 0, true, "CT2"},
		{"TT, CT2", supply, setLN | setNPE, 0, true, "CT2"},
	} {
		d := acDevice()
		d.InNPE, d.Modes, d.Connections = Some(19), c.modes, c.connections
		e := demand(t, c.line, nil)
		r := Check(&d, &Place{Entry: e, Line: &c.line})
		f := finding(&r, RuleNominalCurrent, "N-PE")
		if (f != nil) != c.sums || f != nil && f.Verdict != Unsuitable {
			t.Errorf("%s: %+v", c.name, f)
		}
		if got := finding(&r, RuleConnection, "").Required; got != c.connection {
			t.Errorf("%s: %s", c.name, got)
		}
		n := NeedOf(e)
		if failed := d.Failures(&n); failed.Has(RuleNominalCurrent) != c.sums {
			t.Errorf("%s: %b", c.name, failed)
		}
	}
}

// A device of one pole serves on a PEN, however its maker names the mode (common practice, no published source).
func TestConnectionFound(t *testing.T) {
	pen := mains(aerial(300))
	pen.Electrical.System, pen.Electrical.Phases, pen.Electrical.Neutral = risk.TNC, 3, false
	for modes, want := range map[ModeSet]string{setLN: "single pole, L-N", setLPE: "CT1", setLPEN: "CT1", setLN | setNPE: "CT2"} {
		d := acDevice()
		d.Modes = modes
		r := Check(&d, &Place{Entry: demand(t, pen, nil), Line: &pen})
		if f := finding(&r, RuleConnection, ""); f.Verdict != Suitable || f.Found != want || f.Required != "CT1" {
			t.Errorf("%v: %+v", modes.Names(), f)
		}
	}
	d := acDevice()
	d.Modes = setNPE
	r := Check(&d, &Place{Entry: demand(t, pen, nil), Line: &pen})
	if f := finding(&r, RuleConnection, ""); f.Verdict != InsufficientData || f.Found != "not stated" ||
		!strings.HasPrefix(f.Reason, "Look on the data sheet for the connection type") {
		t.Errorf("%+v", f)
	}
}

// What a distance asks for: 10 m, or with life at stake a second device or half of U_W whatever the distance (memory).
func TestWhatTheDistanceAsksFor(t *testing.T) {
	l := mains(aerial(300))
	d := acDevice()
	for _, c := range []struct {
		s        *risk.Structure
		distance float64
		want     string
		reason   rule
	}{
		{nil, 25, "at most 10 m, or a second device, or U_P with leads at most half of U_W and shielded wiring", whyDistance},
		{nil, 5, "at most 10 m, or a second device, or U_P with leads at most half of U_W and shielded wiring", whyDistance},
		{&risk.Structure{FailureEndangersLife: true}, 5, "a second device, or U_P with leads at most half of U_W", whyVital},
		{&risk.Structure{FailureEndangersLife: true}, 25,
			"at most 10 m, or a second device, or U_P with leads at most half of U_W and shielded wiring",
			whyDistance},
	} {
		r := Check(&d, &Place{Entry: demand(t, l, c.s), Line: &l, Installation: Installation{Distance: Some(c.distance), Second: Absent}})
		if f := finding(&r, RuleDistance, ""); f.Required != c.want || f.Reason != c.reason.reason {
			t.Errorf("%v m: %+v", c.distance, f)
		}
	}
}

// Each rule that finds fault names itself in the sentence. The wording is the product's own. The limits are the minima of IEC
// 60364-5-53 (I_n 5 kA read, N-PE 10 kA from memory) and 1.32 x 255 V (from memory of IEC 61643-11).
func TestWordsOfEveryRule(t *testing.T) {
	for rule, want := range [...]string{"kind of current", "U_C", "beginning of action", "U_P", "data sheet", "test class", "I_n", "U_OC",
		"I_imp", "I_max",
		"short-circuit rating", "follow current",
		"modes of protection", "connection type", "temporary overvoltage", "leads", "distance", "device at the entrance",
		"backup overcurrent device", "earth"} {
		if ruleWords[rule] != want {
			t.Errorf("%v: %s", Rule(rule), ruleWords[rule])
		}
	}
	l := mains(aerial(300))
	l.Electrical.ShortCircuit = 6
	for want, set := range map[string]func(*Device){
		"Not to be used here: test class is III, required is class II.":                 func(d *Device) { d.Classes = setIII },
		"Not to be used here: I_n is 4 kA, required is at least 5 kA.":                  func(d *Device) { d.In = Some(4) },
		"Not to be used here: I_n N-PE is 9 kA, required is at least 10 kA.":            func(d *Device) { d.InNPE = Some(9) },
		"Not to be used here: short-circuit rating is 5 kA, required is at least 6 kA.": func(d *Device) { d.ShortCircuit = Some(5) },
		"Not to be used here: follow current is 5 kA, required is at least 6 kA.": func(d *Device) {
			d.Technology, d.FollowCurrent = Switching, Some(5)
		},
		"Not to be used here: connection type is CT1, required is CT2.":                      func(d *Device) { d.Connections = setCT1 },
		"Not to be used here: temporary overvoltage is 300 V, required is at least 336.6 V.": func(d *Device) { d.TOV = Some(300) },
		"Cannot be judged yet, data are missing for: short-circuit rating, follow current.": func(d *Device) {
			d.ShortCircuit, d.Technology = Opt{}, TechnologyNotStated
		},
		"Cannot be judged yet, data are missing for: U_P, I_n.": func(d *Device) {
			d.Up, d.In, d.UcAC = Opt{}, Opt{}, Some(400)
		},
		"Cannot be judged yet, data are missing for: modes of protection, connection type.":              func(d *Device) { d.Modes = 0 },
		"Does too little for this equipment: it lets up to 1.8 kV through, at most 1.667 kV is allowed.": func(d *Device) { d.Up = Some(1.8) },
	} {
		d := acDevice()
		set(&d)
		if r := Check(&d, &Place{Entry: demand(t, l, nil), Line: &l}); r.Sentence != want {
			t.Errorf("%s\nwant %s", r.Sentence, want)
		}
	}
}

// A sentence that follows another begins small, unless its first word is a symbol or a single letter. The wording is the
// product's own.
func TestLowerFirst(t *testing.T) {
	for s, want := range map[string]string{"": "", "X": "x", "The line": "the line", "U_P falls": "U_P falls", "A device": "A device",
		"Aa": "aa", "Az": "az", "A`": "A`", "A{": "A{", "LPS": "LPS"} {
		if got := lowerFirst(s); got != want {
			t.Errorf("%q: %q", s, got)
		}
	}
}

// The form is the product's own: a number, or null where it is absent (RFC 8259).
func TestOptFromJSON(t *testing.T) {
	for text, want := range map[string]Opt{"null": {}, "254": Some(254), "0": Some(0), "-1.5e3": Some(-1500)} {
		o := Some(7)
		if err := json.Unmarshal([]byte(text), &o); err != nil || text != "null" && o != want {
			t.Errorf("%s: %+v %v", text, o, err)
		}
		o = Some(7)
		if err := o.UnmarshalJSON([]byte(text)); err != nil || o != want {
			t.Errorf("%s: %+v %v", text, o, err)
		}
	}
	o := Some(7)
	if err := o.UnmarshalJSON([]byte(`"high"`)); err == nil || o.Valid {
		t.Errorf("%+v %v", o, err)
	}
}

// The names are the kinds of IEC 61643-11 (from memory).
func TestTechnologies(t *testing.T) {
	for v, want := range map[Technology]string{TechnologyNotStated: "", Limiting: "limiting", Switching: "switching",
		Combination: "combination", Combination + 1: "", 255: ""} {
		if got := v.String(); got != want {
			t.Errorf("%d: %q", v, got)
		}
	}
	for name, want := range map[string]Technology{"limiting": Limiting, "switching": Switching, "combination": Combination,
		"magic": TechnologyNotStated, "": TechnologyNotStated} {
		if got, err := TechnologyOf(name); got != want || (err == nil) != (want != TechnologyNotStated) {
			t.Errorf("%s: %v %v", name, got, err)
		}
	}
}

// The sentence names the limit of the finding, what may reach the equipment, and no other: 0.8 x 0.8 kV for an input of 84 V by the table
// and as stated, 0.8 x 0.5 kV for a battery (read). Common practice, no published source.
func TestOneLimitInASentence(t *testing.T) {
	dc := func(withstand float64, origin risk.DCOrigin) risk.Line {
		l := array(20)
		l.Withstand = withstand
		l.Electrical = risk.Electrical{Current: risk.DC, Origin: origin, EquipmentMaxInput: 84}
		return l
	}
	ac := mains(aerial(300))
	ac.Withstand, ac.Electrical.EquipmentMaxInput = 0, 84
	for _, c := range []struct {
		name  string
		line  risk.Line
		place Position
		d     Device
		want  string
	}{
		{"d.c.", dc(0, risk.Photovoltaic), LineEntrance, directDevice(640, 2.2), "640 V"},
		{"battery", dc(0, risk.Battery), LineEntrance, directDevice(640, 2.2), "400 V"},
		{"U_W stated", dc(0.8, risk.Photovoltaic), LineEntrance, directDevice(640, 2.2), "640 V"},
		{"at the array", dc(0, risk.Photovoltaic), AtArray, directDevice(640, 2.2), "640 V"},
		{"a.c.", ac, LineEntrance, func() Device { d := acDevice(); d.UcAC, d.Up = Some(1500), Some(6); return d }(),
			"2000 V"},
	} {
		e, ok := Demand(&c.line, nil, c.place, nil)
		r := Check(&c.d, &Place{Entry: &e, Line: &c.line})
		if !ok || !strings.HasPrefix(r.Sentence, "Does nothing for this equipment: ") || !strings.HasSuffix(r.Sentence,
			"at most "+c.want+" may reach it.") ||
			finding(&r, RuleHighestUc, "").Required != "begins to act below "+c.want {
			t.Errorf("%s: %v %s", c.name, ok, r.Sentence)
		}
	}
}

// What is stated is not asked for; I_max is no matter of class I devices (common practice, no published source).
func TestNotAskedFor(t *testing.T) {
	l := mains(aerial(300))
	for _, set := range []func(*Device){func(*Device) {}, func(d *Device) { d.AC, d.DC = false, true }, func(d *Device) { d.DC = true }} {
		d := acDevice()
		set(&d)
		r := Check(&d, &Place{Entry: demand(t, l, nil), Line: &l})
		if f := finding(&r, RuleCurrentKind, ""); f.Reason != whyKind.reason {
			t.Error(f.Reason)
		}
	}
	for _, found := range []Opt{Some(10), {}} {
		d := acDevice()
		d.Imax = found
		r := Check(&d, &Place{Entry: demand(t, l, &risk.Structure{LPS: risk.LPSIII}), Line: &l})
		if finding(&r, RuleMaximumCurrent, "") != nil || slices.Contains(r.Cautions, cautionMaximum) {
			t.Errorf("class I, I_max %v: %q", found, r.Cautions)
		}
	}
}

// With life at stake a second device is asked after, whatever the distance (memory). A U_P that is not stated is not half of U_W.
func TestSecondDeviceAskedAfter(t *testing.T) {
	l := mains(aerial(300))
	d := acDevice()
	for _, c := range []struct {
		s    *risk.Structure
		want string
	}{{nil, cautionDistance}, {&risk.Structure{FailureEndangersLife: true}, cautionSecond}} {
		r := Check(&d, &Place{Entry: demand(t, l, c.s), Line: &l})
		for _, caution := range []string{cautionDistance, cautionSecond} {
			if slices.Contains(r.Cautions, caution) != (caution == c.want) {
				t.Errorf("%q", r.Cautions)
			}
		}
	}
	d.Up = Opt{}
	r := Check(&d, &Place{Entry: demand(t, l, nil), Line: &l, Installation: Installation{Distance: Some(30), Second: Absent}})
	if f := finding(&r, RuleDistance, ""); f.Verdict != Ineffective {
		t.Errorf("%+v", f)
	}
}

// A telecommunication device of U_C 130 V d.c. begins to act at 1.06 to 1.3 times that, one of 130 V a.c. at 1.0 to 1.2 times the
// peak, 183.8 to 220.6 V: common practice, no published source.
func TestActionOnTelecommunication(t *testing.T) {
	l := telephone()
	l.Electrical.MaxOperating = 100
	for want, d := range map[string]Device{
		"begins to act at about 137.8 to 169 V":   {UcDC: Some(130), Up: Some(0.6)},
		"begins to act at about 183.8 to 220.6 V": {UcAC: Some(130), Up: Some(0.6)},
	} {
		r := Check(&d, &Place{Entry: demand(t, l, nil), Line: &l})
		if f := finding(&r, RuleHighestUc, ""); f.Found != want || f.Verdict != Suitable {
			t.Errorf("%+v", f)
		}
	}
}

// In CT1 N-PE needs no impulse current of the sum either (memory), and only TN-S allows its modes beside CT2 (memory).
func TestImpulseAndModesInCT1(t *testing.T) {
	tns := mains(aerial(300))
	tns.Electrical.System = risk.TNS
	for _, c := range []struct {
		name    string
		line    risk.Line
		modes   ModeSet
		impulse bool // fails for I_imp of N-PE
		covers  Verdict
	}{
		{"TN-S, CT1", tns, setLPE | setNPE, false, Suitable},
		{"TN-S, CT2", tns, setLN | setNPE, true, Suitable},
		{"TN-S, L-PE alone", tns, setLPE, true, Ineffective},
		{"TT, CT1", mains(aerial(300)), setLPE | setNPE, true, Ineffective},
		{"TT, CT2", mains(aerial(300)), setLN | setNPE, true, Suitable},
	} {
		d := acDevice()
		d.IimpNPE, d.Modes = Some(20), c.modes
		e := demand(t, c.line, &risk.Structure{LPS: risk.LPSIII})
		n := NeedOf(e)
		if failed := d.Failures(&n); failed.Has(RuleImpulseCurrent) != c.impulse {
			t.Errorf("%s: %b", c.name, failed)
		}
		r := Check(&d, &Place{Entry: e, Line: &c.line})
		if f := finding(&r, RuleModes, ""); f.Verdict != c.covers {
			t.Errorf("%s: %+v", c.name, f)
		}
	}
}

// The smallest numbers are written as they are. Four figures are the product's own choice.
func TestTinyAmounts(t *testing.T) {
	for v, want := range map[float64]string{1e-310: "1e-310", 1.23456e-9: "1.235e-09", 1e300: "1e+300"} {
		if got := number(v); got != want {
			t.Errorf("%v: %s", v, got)
		}
	}
}
