package wire

import (
	"levinward/risk"
	"levinward/risk/spd"
)

// entry writes an entry of the schedule.
func (a *Answer) entry(e *spd.Entry) ScheduleEntry {
	w := ScheduleEntry{
		Line: a.Input.Lines[e.Line].ID, Structure: a.Input.Structures[e.Structure].ID, Position: e.Position, Required: e.Required,
		Need: needOf(e.Obligation, e.Required), Specifiable: e.Specifiable,
		EarthFirst: !a.Input.Structures[e.Structure].Earthing.Proved(), EarthGrade: e.EarthGrade,
		Because: make([]Reason, len(e.Because)), Service: e.Service, TestClass: e.TestClass, Modes: modesOf(e.Modes),
		UcMin: e.UcMin, UcMax: e.UcMax, UpMax: e.UpMax, InMin: e.InMin, IimpMin: e.IimpMin, ImaxMin: e.ImaxMin,
		ShortCircuitMin: e.ShortCircuitMin, Withstand: e.Withstand, EffectiveMax: e.EffectiveMax, TOVMin: e.TOVMin,
		LimitingIimpMin: e.LimitingIimpMin, LimitingInMin: e.LimitingInMin, IimpTotalMin: e.IimpTotalMin, UocMin: e.UocMin,
		Connection: unlessEmpty(e.Connection), AlsoConnection: unlessEmpty(e.AlsoConnection),
		Conductors: unlessZero(e.Conductors), Standard: unlessEmpty(e.Standard), ServedBy: unlessEmpty(e.ServedBy), Order: Order(e.Order),
		Leads: Leads(e.Leads), Notes: nonNil(e.Notes), Basis: make([]Basis, len(e.Basis)),
	}
	for i, b := range e.Because {
		w.Because[i] = Reason(b)
	}
	if e.Service != risk.Telecom {
		w.Current = &e.Current
	}
	if e.Level != risk.NoSPD {
		w.Level = &e.Level
	}
	if e.Share.Method != "" {
		share := CurrentShare(e.Share)
		w.Share = &share
	}
	for i, b := range e.Basis {
		w.Basis[i] = basisOf(&b)
	}
	return w
}

// needOf is the obligation of an entry. One that says only whether the device is required has no recommendation.
func needOf(o spd.Obligation, required bool) spd.Obligation {
	switch {
	case o != "":
		return o
	case required:
		return spd.Required
	}
	return spd.NotRequired
}

func modesOf(modes []spd.Mode) []ScheduleMode {
	all := make([]ScheduleMode, len(modes))
	for i, m := range modes {
		all[i] = ScheduleMode{Mode: m.Mode, UcMin: m.UcMin, UpMax: m.UpMax, InMin: m.InMin, IimpMin: m.IimpMin, TOV: make([]TOV, len(m.TOV))}
		for j, o := range m.TOV {
			all[i].TOV[j] = TOV{Duration: o.Duration, Volt: o.Volt, After: tovWithstand}
			if o.Safe {
				all[i].TOV[j].After = tovSafeFailure
			}
		}
	}
	return all
}

// unlessEmpty is nil for an empty text.
func unlessEmpty[T ~string](text T) *string {
	if text == "" {
		return nil
	}
	s := string(text)
	return &s
}

func unlessZero(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}
