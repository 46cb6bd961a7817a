package spd

import (
	"math"

	"levinward/risk"
	"levinward/risk/trace"
)

// Reasons of the protection level.
var (
	byUcMax = rule{"A device of higher U_C may begin to act, at 1.2 times the peak of an a.c. U_C and 1.3 times a d.c. U_C, only above " +
		"the U_P " +
		"asked for.", trade, practice}
	byTargetAt   = rule{"U_P with leads at most U_W: the device is at the equipment.", stdSystem, memory}
	byTargetNear = rule{"U_P with leads at most 0.8 U_W: up to 10 m of cable to the equipment.", stdSPD, read}
	byTargetTwo  = rule{"U_P with leads at most 0.8 U_W, up to 10 m of cable; a second device is at the equipment.", stdSPD, read}
	byTargetLife = rule{"U_P with leads at most half of U_W: life or a public service is at stake.", stdSystem, memory}
	byTargetFar  = rule{"U_P with leads at most half of U_W: beyond 10 m of cable, shielded wiring and no second device.", stdSPD, memory}
	bySecondUp   = rule{"U_P not above that of the device at the entrance: a second stage that lets more through does nothing.", stdSystem,
		memory}
	byThrough = rule{"No leads: the voltage on them, about 1 kV per metre, takes up what the equipment withstands. Wire through the " +
		"terminals " +
		"of the device.", stdSystem, memory}
	byGivenLeads = rule{"U_P counts on leads of the length that was given, at about 1 kV per metre: longer ones need a lower U_P.",
		stdSystem, read}
)

// protection sets the highest U_P and with it the highest useful U_C. first is the device at the entrance, nil at the entrance itself.
func (s *scheduler) protection(x *end, en, first *Entry) {
	if !en.Specifiable {
		return
	}
	t := s.t
	Uw := s.withstand(x, en)
	row, w := s.arrange(x, en, Uw)
	kU := t.Pick(qKU, target, row, 0)
	Ulim := t.Set(qUlim, kU*Uw)
	en.Withstand, en.EffectiveMax = Some(Uw), Some(Ulim)
	Up, why := w.before(t, Ulim), x.targetRule(row, en.Position)
	if first != nil && first.UpMax.Valid && first.UpMax.Value < Up {
		t.Noted(qUpOne, first.UpMax.Value, "of the entrance of this line")
		Up, why = t.Set(qUpSecond, first.UpMax.Value), &bySecondUp
	}
	if roundDown(t, Up, prefUp) == 0 {
		s.note("Contradiction to resolve: no device protects equipment of so low a U_W; choose another.")
		return
	}
	en.UpMax = Some(Up)
	for i := range en.Modes {
		en.Modes[i].UpMax = en.UpMax
	}
	s.because("up_max_kv", "", t.Last(qUp), why)
	switch {
	case w.through:
		en.Leads.MaxLength = Some(0)
		s.because("leads.max_length_m", "", 0, &byThrough)
		s.note(noteThrough + w.instead + ".")
	case w.given && w.row == leadsLightning && w.length < leadLimit:
		en.Leads.MaxLength = Some(w.length)
		s.because("leads.max_length_m", "", 0, &byGivenLeads)
	}
	switch {
	case x.telecom():
		s.portNotes(x, en)
	case en.UcMin.Valid:
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
	doubtful           // they may begin to act only above it, on data lines surely
	special            // they begin to act below it, but a usual limiting device has a higher U_P
	usual              // usual limiting devices have it
)

// attain judges a U_P [kV]. Where the operating voltage is not known, any will do.
func attain(t *trace.Trace, x *end, en *Entry, Up float64) int {
	switch {
	case Up == 0:
		return noSuchLevel
	case x.telecom() && en.UcMin.Valid && t.Value(onset, onsetDC, onsetLow)*en.UcMin.Value > 1000*Up:
		return doubtful
	case x.telecom() || !en.UcMin.Valid || usualUc(t, en.Current, Up) > en.UcMin.Value:
		return usual
	case onsetUc(t, en.Current, Up) > en.UcMin.Value:
		return special
	}
	return doubtful
}

// usualUc is the highest U_C [V] with which a limiting device usually reaches a U_P [kV].
func usualUc(t *trace.Trace, c risk.Current, Up float64) float64 {
	return 1000 * Up / t.Value(onset, onsetRow(c), onsetRatio)
}

// onsetUc is the highest U_C [V] with which a device surely begins to act below a U_P [kV].
func onsetUc(t *trace.Trace, c risk.Current, Up float64) float64 {
	row := onsetRow(c)
	return 1000 * Up / (t.Value(onset, row, onsetHigh) * t.Value(onset, row, onsetPeak))
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
		return t.Set(qUpBare, tidy(Ulim))
	}
	if w.given {
		t.Given(qLead, w.length)
	} else {
		t.Noted(qLead, w.length, "not known, taken as the longest allowed")
	}
	c := t.Pick(qLeadC, leadDrop, w.row, 0)
	k := t.Pick(qLeadK, leadDrop, leadsInduced, 1)
	return t.Set(qUpLead, tidy(min(Ulim-c*w.length, Ulim/(1+k))))
}

// tidy rounds to thirteen figures, so that 0.8 x 1.5 - 0.5 is 0.7 in spite of binary arithmetic.
func tidy(v float64) float64 {
	if !(v > 0) || math.IsInf(v, 0) {
		return v
	}
	scale := math.Pow(10, 12-math.Floor(math.Log10(v)))
	return math.Round(v*scale) / scale
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
	case place == LineEntrance && x.shieldedAlone():
		return targetFar
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
	case row == targetFar:
		return &byTargetFar
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

// ceiling sets the highest useful U_C by the cautious beginning of action. It says where no device can satisfy both bounds.
func (s *scheduler) ceiling(x *end, en *Entry) {
	t := s.t
	row, Up := onsetRow(en.Current), en.UpMax.Value
	reach := attain(s.t, x, en, roundDown(t, Up, prefUp)) // a U_P that can be ordered
	if reach == doubtful {
		s.note("Contradiction to resolve: a device that bears the operating voltage may begin to act only above this U_P; choose " +
			"equipment of higher U_W or lower the voltage.")
		return
	}
	kon := t.Pick(qOnset, onset, row, onsetHigh)
	kp := t.Pick(qPeak, onset, row, onsetPeak)
	en.UcMax = Some(t.Set(qUcMax, 1000*Up/(kon*kp)))
	s.because("uc_max_v", "", t.Last(qUcMax), &byUcMax)
	switch reach {
	case usual:
		s.note("Limiting devices usually reach this U_P up to a U_C of about " + amount(math.Floor(usualUc(t, en.Current, Up)), "V") +
			"; above it look for a U_P that is low enough.")
	case special:
		s.note("Usual limiting devices for this operating voltage do not reach this U_P: look for it on the data sheet, or choose " +
			"equipment of higher U_W.")
	}
}

// portNotes says what a telecommunication port is judged by, and where no device can satisfy both bounds.
func (s *scheduler) portNotes(x *end, en *Entry) {
	s.note("The withstand of the port itself comes first, telephone ports about 1.5 kV (ITU-T K.21, from memory): ask its maker; the " +
		"categories of the " +
		"low-voltage tables do not apply.")
	if Up := roundDown(s.t, en.UpMax.Value, prefUp); attain(s.t, x, en, Up) == doubtful {
		s.note("Contradiction to resolve: the device stays inactive up to " + amount(en.UcMin.Value, "V") + ", U_P would have to be " +
			amount(Up, "kV") + ". A second stage behind a series element at the equipment, or other equipment of higher withstand, solves it.")
	}
}
