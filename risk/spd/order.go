package spd

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// Rows of the open-circuit voltage of class III.
const (
	uocElectronics = iota
	uocMains
)

// extraLow is the highest nominal voltage of what counts as electronics [V].
const extraLow = 50.0

var byUoc = rule{"Open-circuit voltage of the combination wave of class III: 2 kV for electronics of extra-low voltage, 6 kV for a " +
	"socket outlet and " +
	"where nothing is known of the mains.", trade, practice}

// combinationWave sets U_OC of a class III device.
func (s *scheduler) combinationWave(x *end, en *Entry) {
	if en.TestClass != ClassIII {
		return
	}
	row := uocMains
	electronics := en.Position == AtFarEnd && x.l.FarEnd == risk.FarElectronics || x.l.Electrical.Equipment == risk.Electronics
	if U := x.l.Electrical.Nominal; electronics || U > 0 && U <= extraLow {
		row = uocElectronics
	}
	en.UocMin = Some(s.t.Pick(qUoc3, openCircuit, row, 0))
	s.because("uoc_min_kv", "", s.t.Last(qUoc3), &byUoc)
}

// order says what to order: the next preferred values, currents upwards, U_P downwards.
func (s *scheduler) order(x *end, en *Entry) {
	en.Conductors, en.Standard = x.protectedConductors(), x.standard()
	if en.Connection == CT2 { // the path L-PE is L-N and N-PE behind each other
		for i := range en.Modes {
			if mo := &en.Modes[i]; mo.Mode == modeLPE {
				mo.InMin, mo.IimpMin = Opt{}, Opt{}
			}
		}
	}
	s.orderVoltages(x, en)
	t, o := s.t, &en.Order
	if en.UocMin.Valid {
		o.Uoc = Some(t.Noted(qOrderUoc, roundUp(t, en.UocMin.Value, prefUoc), nextValue))
	}
	if en.InMin.Valid {
		o.In = Some(t.Noted(qOrderIn, roundUp(t, en.InMin.Value, prefIn), nextValue))
	}
	if !en.IimpMin.Valid {
		return
	}
	if x.telecom() {
		o.Iimp = Some(t.Noted(qOrderIimp, roundUp(t, en.IimpMin.Value, prefD1, prefIimp), nextValue))
	} else {
		o.Iimp = Some(t.Noted(qOrderIimp, roundUp(t, en.IimpMin.Value, prefIimp), nextValue))
	}
	if m := neutralPE(en); m != nil {
		o.IimpNPE = Some(t.Noted(qOrderIimpN, roundUp(t, m.IimpMin.Value, prefIimp), nextValue))
	}
}

// orderVoltages orders U_C and U_P. Only a.c. power devices have preferred U_C, others are ordered by at least and at most.
func (s *scheduler) orderVoltages(x *end, en *Entry) {
	t, o := s.t, &en.Order
	if en.UpMax.Valid {
		o.Up = Some(t.Noted(qOrderUp, roundDown(t, en.UpMax.Value, prefUp), "next preferred value downwards"))
	}
	need := mainUc(en)
	switch {
	case !need.Valid:
	case x.telecom() || x.direct():
		o.Uc = need
		if en.UcMax.Valid {
			o.UcMax = Some(orderedCeiling(t, need.Value, o.Up.Value))
		}
	default:
		uc := roundUp(t, need.Value, prefUc)
		if x.l.Electrical.WideVariation {
			uc = roundUp(t, uc*(1+1e-6), prefUc)
		}
		if en.UcMax.Valid && uc > en.UcMax.Value {
			uc = need.Value
		}
		o.Uc = Some(t.Noted(qOrderUc, uc, nextValue))
	}
}

// orderedCeiling is the highest U_C of direct current to go with an ordered U_P [kV]: where the need leaves room, one with which the data
// sheet of a limiting device is not doubtful either.
func orderedCeiling(t *trace.Trace, need, Up float64) float64 {
	if limiting := 1000 * Up / t.Value(sheetBounds, sheetLimitingDC, sheetDoubtful); limiting >= need {
		return limiting
	}
	return onsetUc(t, risk.DC, Up)
}

// mainUc is U_C of the conductors that the device stands between first: L-N in CT2, otherwise line to PE or PEN, pole to pole.
func mainUc(en *Entry) Opt {
	if len(en.Modes) == 0 {
		return Opt{}
	}
	return en.Modes[0].UcMin
}
