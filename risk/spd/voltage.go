package spd

import (
	"math"

	"levinward/risk"
	"levinward/risk/trace"
)

// Reasons of the voltages.
var (
	byPrintedUc  = rule{"Lowest continuous operating voltage at 230/400 V, as printed.", stdSPD, read}
	byLineUc     = rule{"1.1 times the nominal voltage to neutral, at least the highest operating voltage; rounded up to a full volt.", stdSPD, read}
	byITUc       = rule{"1.1 times the voltage between lines: in IT the device sees it during an earth fault; rounded up to a full volt.", stdSPD, read}
	byNeutralUc  = rule{"Voltage to neutral, which N-PE sees during a fault; rounded up to a full volt.", stdSPD, read}
	byPVCold     = rule{"Open-circuit voltage of the array at the lowest temperature; rounded up to a full volt.", std712, read}
	byPVFactor   = rule{"1.2 times the open-circuit voltage of the array, lowest temperature or temperature coefficient not known; rounded up to a full volt.", std712, read}
	byInput      = rule{"The device stays inactive up to the highest input voltage of the equipment; rounded up to a full volt.", trade, practice}
	byGivenUc    = rule{"Highest operating voltage as given; rounded up to a full volt.", stdSPD, read}
	byTelecomUc  = rule{"Highest voltage of the line as given, ringing and remote feeding included; rounded up to a full volt.", trade, practice}
	byCharging   = rule{"1.1 times the highest charging voltage; rounded up to a full volt.", trade, practice}
	byBattery    = rule{"Usual for a lead-acid battery of this nominal voltage: at least 1.1 times the highest charging voltage.", trade, practice}
	byUcMax      = rule{"A limiting device of higher U_C does not usually reach this U_P, about 4.5 times an a.c. U_C and 3.5 times a d.c. U_C; one whose data sheet states a U_P low enough is right all the same.", trade, practice}
	byUcOnset    = rule{"A device of higher U_C may begin to act, at 1.5 times the peak of U_C, only above the U_P asked for. The usual ratio of U_P to U_C leaves no U_C here: the U_P of the data sheet decides.", trade, practice}
	byTargetAt   = rule{"U_P with leads at most U_W: the device is at the equipment. Next preferred value downwards.", stdSystem, memory}
	byTargetNear = rule{"U_P with leads at most 0.8 U_W: up to 10 m of cable to the equipment. Next preferred value downwards.", stdSPD, read}
	byTargetTwo  = rule{"U_P with leads at most 0.8 U_W, up to 10 m of cable; a second device is at the equipment. Next preferred value downwards.", stdSPD, read}
	byTargetLife = rule{"U_P with leads at most half of U_W: life or a public service is at stake. Next preferred value downwards.", stdSystem, memory}
	byThrough    = rule{"No leads: the voltage on them, about 1 kV per metre, takes up what the equipment withstands. Wire through the terminals of the device.", stdSystem, memory}
	byGivenLeads = rule{"U_P counts on leads of the length that was given, at about 1 kV per metre: longer ones need a lower U_P.", stdSystem, read}
)

// operating sets the lowest U_C of every mode and of the entry.
func (s *scheduler) operating(x *end, en *Entry) {
	s.t.Begin(qUcMin)
	switch {
	case x.telecom():
		s.operatingTelecom(x, en)
	case x.l.Electrical.Current == risk.AC:
		s.operatingAC(x, en)
	default:
		s.operatingDC(x, en)
	}
	highest := 0.0
	for i := range en.Modes {
		highest = max(highest, en.Modes[i].UcMin.Value)
	}
	if highest > 0 {
		en.UcMin = Some(s.t.Collect(qUcMin, highest))
	}
}

// roundedUp records U_C as the next full volt above u. The small allowance keeps 1.1 x 240 V at 264 V.
func (s *scheduler) roundedUp(u float64) float64 {
	return s.t.Set(qUcUp, math.Ceil(u-1e-6))
}

func (s *scheduler) operatingAC(x *end, en *Entry) {
	el := &x.l.Electrical
	t := s.t
	U0 := t.Given(qU0, el.Nominal)
	var Umax float64
	if el.MaxOperating > 0 {
		Umax = t.Given(qUmax, el.MaxOperating)
	} else {
		Umax = t.Set(qUten, 1.1*U0)
	}
	en.TOVMin = Some(t.Set(qTOV, 1.45*U0))
	printed := el.Nominal == 230 && Umax <= s.t.Value(printedUc, ucLN, 0)
	for i := range en.Modes {
		mo := &en.Modes[i]
		row, why := acMode(mo.Mode, el.System)
		if printed {
			mo.UcMin = Some(t.Pick(qUc, printedUc, row, 0))
			why = &byPrintedUc
		} else {
			mo.UcMin = Some(s.roundedUp(s.formulaUc(row, U0, Umax)))
		}
		s.because("uc_min_v", mo.Mode, t.Last(qUc), why)
	}
	if x.nearest().Environment == risk.Rural {
		s.note("Rural lines vary in voltage: take U_C one commercial step above the minimum, as long as U_P is kept.")
	}
}

// acMode finds the row of the printed voltages and the reason for a mode.
func acMode(mode string, system risk.EarthingSystem) (int, *rule) {
	switch {
	case mode == modeNPE:
		return ucNPE, &byNeutralUc
	case mode == modeLPEN:
		return ucLPEN, &byLineUc
	case mode == modeLN:
		return ucLN, &byLineUc
	case system == risk.IT:
		return ucLPEIT, &byITUc
	}
	return ucLPE, &byLineUc
}

func (s *scheduler) formulaUc(row int, U0, Umax float64) float64 {
	switch row {
	case ucNPE:
		return s.t.Set(qUcNPE, max(U0, Umax/1.1))
	case ucLPEIT:
		return s.t.Set(qUcIT, math.Sqrt(3)*max(1.1*U0, Umax))
	}
	return s.t.Set(qUcLN, max(1.1*U0, Umax))
}

func (s *scheduler) operatingTelecom(x *end, en *Entry) {
	if x.l.Electrical.MaxOperating <= 0 {
		s.note("U_C is at least the highest voltage on the line, ringing and remote feeding included, which is not known: give max_operating_v.")
		return
	}
	s.t.Given(qUmax, x.l.Electrical.MaxOperating)
	s.allModes(en, s.roundedUp(s.t.Set(qUcGiven, x.l.Electrical.MaxOperating)), &byTelecomUc)
}

func (s *scheduler) allModes(en *Entry, uc float64, why *rule) {
	for i := range en.Modes {
		en.Modes[i].UcMin = Some(uc)
	}
	s.because("uc_min_v", "", s.t.Last(qUc), why)
}

func (s *scheduler) operatingDC(x *end, en *Entry) {
	var uc float64
	var why *rule
	if x.pv() {
		uc, why = s.photovoltaicUc(x)
	} else {
		uc, why = s.batteryUc(x)
	}
	if why != nil {
		s.allModes(en, uc, why)
	}
}

// photovoltaicUc returns the lowest U_CPV; no rule where no voltage is known.
func (s *scheduler) photovoltaicUc(x *end) (float64, *rule) {
	el := &x.l.Electrical
	switch {
	case el.OpenCircuit > 0:
		u, why := s.coldestDay(el)
		if el.EquipmentMaxInput > 0 && u > el.EquipmentMaxInput {
			s.note("Contradiction: on the coldest day the array exceeds the highest input voltage of the equipment; put fewer modules in series.")
		}
		return s.roundedUp(s.t.Set(qUcPV, u)), why
	case el.EquipmentMaxInput > 0:
		s.t.Given(qUin, el.EquipmentMaxInput)
		return s.roundedUp(s.t.Set(qUcIn, el.EquipmentMaxInput)), &byInput
	case el.MaxOperating > 0:
		s.t.Given(qUmax, el.MaxOperating)
		return s.roundedUp(s.t.Set(qUcGiven, el.MaxOperating)), &byGivenUc
	}
	s.note("U_C needs the open-circuit voltage of the array: add up that of the modules in series from their data sheet.")
	return 0, nil
}

func coefficientKnown(el *risk.Electrical) bool {
	return el.TemperatureCoefficient != 0 && el.LowestTemperature != nil
}

// openCircuitMax is U_OC,MAX, the open-circuit voltage of an array on the coldest day [V].
func openCircuitMax(el *risk.Electrical) float64 {
	if !coefficientKnown(el) {
		return 1.2 * el.OpenCircuit
	}
	return max(el.OpenCircuit, el.OpenCircuit*(1+el.TemperatureCoefficient*(*el.LowestTemperature-25)))
}

// coldestDay records U_OC,MAX.
func (s *scheduler) coldestDay(el *risk.Electrical) (float64, *rule) {
	t := s.t
	t.Given(qUoc, el.OpenCircuit)
	if !coefficientKnown(el) {
		return t.Set(qUpvK, openCircuitMax(el)), &byPVFactor
	}
	t.Given(qAlpha, el.TemperatureCoefficient)
	t.Given(qTmin, *el.LowestTemperature)
	return t.Set(qUpvT, openCircuitMax(el)), &byPVCold
}

// batteryUc returns the lowest U_C of a battery or load circuit; a load rises to the charging voltage too.
func (s *scheduler) batteryUc(x *end) (float64, *rule) {
	el := &x.l.Electrical
	t := s.t
	if el.MaxOperating > 0 {
		t.Given(qUmax, el.MaxOperating)
		U := t.Set(qUchM, el.MaxOperating)
		return s.roundedUp(t.Set(qUcBat, 1.1*U)), &byCharging
	}
	for row := range batteryUc.Rows {
		if t.Value(batteryUc, row, 0) == el.Nominal {
			return t.Pick(qUc, batteryUc, row, 2), &byBattery
		}
	}
	switch {
	case el.EquipmentMaxInput > 0:
		t.Given(qUin, el.EquipmentMaxInput)
		return s.roundedUp(t.Set(qUcIn, el.EquipmentMaxInput)), &byInput
	case el.Nominal > 0:
		U0 := t.Given(qU0, el.Nominal)
		U := t.Set(qUchN, 62.0/48*U0)
		return s.roundedUp(t.Set(qUcBat, 1.1*U)), &byCharging
	}
	s.note("U_C needs the nominal or the highest voltage of the circuit, which is not known.")
	return 0, nil
}

// protection sets the highest U_P and with it the highest useful U_C.
func (s *scheduler) protection(x *end, en *Entry) {
	t := s.t
	Uw := s.withstand(x, en)
	row, w := s.arrange(x, en, Uw)
	kU := t.Pick(qKU, target, row, 0)
	Ulim := t.Set(qUlim, kU*Uw)
	en.Withstand, en.EffectiveMax = Some(Uw), Some(Ulim)
	Up := roundDown(t, w.before(t, Ulim), prefUp)
	if Up == 0 {
		s.note("Contradiction to resolve: no device protects equipment of so low a U_W; choose another.")
		return
	}
	en.UpMax = Some(t.Noted(qUp, Up, "next preferred value downwards"))
	for i := range en.Modes {
		en.Modes[i].UpMax = en.UpMax
	}
	s.because("up_max_kv", "", t.Last(qUp), x.targetRule(row, en.Position))
	switch {
	case w.through:
		en.Leads.MaxLength = Some(0)
		s.because("leads.max_length_m", "", 0, &byThrough)
		s.note(noteThrough + w.instead + ".")
	case w.given && w.row == leadsLightning && w.length < leadLimit:
		en.Leads.MaxLength = Some(w.length)
		s.because("leads.max_length_m", "", 0, &byGivenLeads)
	}
	if en.UcMin.Valid && !x.telecom() {
		s.ceiling(x, en)
	}
}

// arrange picks the target of U_P and the wiring that a usual device can meet. Where it cannot reach the
// target of the entrance with life or a public service at stake, a second device goes to the equipment.
func (s *scheduler) arrange(x *end, en *Entry, Uw float64) (int, wiring) {
	w := x.wiring(en.TestClass)
	row := x.targetRow(en.Position)
	en.Second = en.Position == LineEntrance && x.atEquipment()
	if row == targetVital && attain(s.t, x, en, w.level(s.t, row, Uw)) < usual {
		x.second, en.Second = true, true
		row = targetNear
	}
	if en.Position == LineEntrance {
		s.wiringNotes(x, w)
	}
	short := wiring{through: true}
	with := attain(s.t, x, en, w.level(s.t, row, Uw))
	if with < attain(s.t, x, en, short.level(s.t, row, Uw)) && (with == noSuchLevel || w.length <= leadLimit) {
		if with == special {
			short.instead = "; or a device of U_P " + amount(w.level(s.t, row, Uw), "kV") + " with leads of " + amount(w.length, "m")
		}
		return row, short
	}
	return row, w
}

func (s *scheduler) wiringNotes(x *end, w wiring) {
	if x.l.Electrical.EquipmentDistance == 0 && !x.second {
		s.note("Taken as up to 10 m of cable to the equipment: measure it; beyond, a second device belongs at the equipment.")
	}
	if w.length > leadLimit {
		s.note("The leads are longer than 0.5 m together and U_P is set for that: shorten them.")
	}
}

// How far devices for the operating voltage reach a U_P.
const (
	noSuchLevel = iota // there is no such U_P
	doubtful           // they may begin to act only above it
	special            // they begin to act below it, but a usual limiting device has a higher U_P
	usual              // usual limiting devices have it
)

// attain judges a U_P [kV]. Where the operating voltage is not known, any will do.
func attain(t *trace.Trace, x *end, en *Entry, Up float64) int {
	switch {
	case Up == 0:
		return noSuchLevel
	case x.telecom() || !en.UcMin.Valid || usualUc(t, en.Current, Up) > en.UcMin.Value:
		return usual
	case onsetUc(t, en.Current, Up) > en.UcMin.Value:
		return special
	}
	return doubtful
}

// usualUc is the highest U_C, in full volts, with which a limiting device usually reaches a U_P [kV].
func usualUc(t *trace.Trace, c risk.Current, Up float64) float64 {
	return math.Floor(1000 * Up / t.Value(onset, onsetRow(c), onsetRatio))
}

// onsetUc is the highest U_C, in full volts, with which a device surely begins to act below a U_P [kV].
func onsetUc(t *trace.Trace, c risk.Current, Up float64) float64 {
	row := onsetRow(c)
	return math.Floor(1000 * Up / (t.Value(onset, row, onsetHigh) * t.Value(onset, row, onsetPeak)))
}

// wiring is how a device is connected.
type wiring struct {
	through bool    // through its terminals, without leads
	length  float64 // both leads together [m]
	given   bool    // by the input; otherwise the longest allowed
	row     int     // of the voltage on the leads
	instead string  // another way, where a device of lower U_P than usual would allow leads
}

const noteThrough = "No leads: wire through the terminals of the device; the voltage on leads would be too much for the equipment"

func (x *end) wiring(c TestClass) wiring {
	w := wiring{length: x.l.Electrical.LeadLength, given: x.l.Electrical.LeadLength > 0}
	if !w.given {
		w.length = leadLimit
	}
	w.row = leadRow(w.length, c)
	return w
}

// leadRow is the row of the voltage on leads of a length [m].
func leadRow(length float64, c TestClass) int {
	if length > leadLimit || c == ClassI || c == D1 {
		return leadsLightning
	}
	return leadsInduced
}

// level is the highest preferred U_P [kV] for a target and U_W; 0 where there is none.
func (w wiring) level(t *trace.Trace, row int, Uw float64) float64 {
	return roundDown(t, w.before(t.Quiet(), t.Value(target, row, 0)*Uw), prefUp)
}

// before records the highest U_P [kV] before the voltage on the leads brings it to Ulim.
func (w wiring) before(t *trace.Trace, Ulim float64) float64 {
	if w.through {
		return t.Set(qUpBare, Ulim)
	}
	if w.given {
		t.Given(qLead, w.length)
	} else {
		t.Noted(qLead, w.length, "not known, taken as the longest allowed")
	}
	c := t.Pick(qLeadC, leadDrop, w.row, 0)
	k := t.Pick(qLeadK, leadDrop, leadsInduced, 1)
	return t.Set(qUpLead, min(Ulim-c*w.length, Ulim/(1+k)))
}

// withstand returns U_W of the equipment behind the device: the lowest of the line's and of the
// internal systems on it; the modules' at an array.
func (s *scheduler) withstand(x *end, en *Entry) float64 {
	if en.Position == AtArray {
		if u, ok := s.moduleWithstand(x); ok {
			return u
		}
	}
	if en.Position == AtFarEnd && x.l.FarWithstand > 0 {
		return s.t.Given(qUwFar, x.l.FarWithstand)
	}
	U := x.l.Withstand
	for i := range s.site.s.Zones {
		for _, sys := range s.site.s.Zones[i].Systems {
			if sys.Line == x.line && sys.Withstand > 0 {
				U = min(U, sys.Withstand)
			}
		}
	}
	return s.t.Given(qUw, U)
}

// moduleWithstand returns U_W of modules by the table, from the row at or below U_OC,MAX.
func (s *scheduler) moduleWithstand(x *end) (float64, bool) {
	if x.l.Electrical.OpenCircuit <= 0 {
		return 0, false
	}
	U := openCircuitMax(&x.l.Electrical)
	row := 0
	for row+1 < len(pvWithstand.Rows) && s.t.Value(pvWithstand, row+1, 0) <= U {
		row++
	}
	return s.t.Pick(qUwPV, pvWithstand, row, 1), true
}

func (x *end) targetRow(place Position) int {
	switch {
	case place == AtEquipment:
		return targetAt
	case place == LineEntrance && x.site.vital && x.l.Electrical.EquipmentDistance <= farAway:
		return targetVital
	}
	return targetNear
}

func (x *end) targetRule(row int, place Position) *rule {
	switch {
	case row == targetAt:
		return &byTargetAt
	case row == targetVital:
		return &byTargetLife
	case place == LineEntrance && x.atEquipment():
		return &byTargetTwo
	}
	return &byTargetNear
}

// onsetRow is the row of the beginning of action.
func onsetRow(c risk.Current) int {
	if c == risk.AC {
		return onsetAC
	}
	return onsetDC
}

// ceiling sets the highest useful U_C by the usual ratio of U_P to U_C and, where that leaves no room
// above the lowest, by the cautious beginning of action. It says where no device can satisfy both bounds.
func (s *scheduler) ceiling(x *end, en *Entry) {
	t := s.t
	row, Up := onsetRow(en.Current), en.UpMax.Value
	switch attain(s.t, x, en, Up) {
	case usual:
		ratio := t.Pick(qRatio, onset, row, onsetRatio)
		top := t.Set(qUcRatio, 1000*Up/ratio)
		en.UcMax = Some(t.Set(qUcMax, math.Floor(top)))
		s.because("uc_max_v", "", t.Last(qUcMax), &byUcMax)
	case special:
		kon := t.Pick(qOnset, onset, row, onsetHigh)
		kp := t.Pick(qPeak, onset, row, onsetPeak)
		top := t.Set(qUcOnset, 1000*Up/(kon*kp))
		en.UcMax = Some(t.Set(qUcMax, math.Floor(top)))
		s.because("uc_max_v", "", t.Last(qUcMax), &byUcOnset)
		s.note("Usual limiting devices for this operating voltage do not reach this U_P: look for it on the data sheet, or choose " +
			"equipment of higher U_W.")
	default:
		s.note("Contradiction to resolve: a device that bears the operating voltage may begin to act only above this U_P; choose " +
			"equipment of higher U_W or lower the voltage.")
	}
}
