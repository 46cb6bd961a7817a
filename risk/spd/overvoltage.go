package spd

import (
	"levinward/risk"
)

// Durations of temporary overvoltages.
const (
	lasts5s     = "5 s"
	lasts120min = "120 min"
	lasts200ms  = "200 ms"
)

// byTOV is the reason of the temporary overvoltages.
var byTOV = rule{"Temporary overvoltages of a fault in the supply, by mode, system earthing and source; after 120 min with the " +
	"neutral lost the " +
	"device may have failed in a safe way.", stdTOV, memory}

// temporary sets the temporary overvoltages of every mode: the worst that any state of the sources brings. U_0 must be recorded.
func (s *scheduler) temporary(en *Entry, U0 float64, states []supply) {
	t := s.t
	var Uref float64
	if U0 == 230 {
		Uref = t.Pick(qUref, overvoltages, tovReference, 0)
	} else {
		Uref = t.Set(qUrefSet, 1.1*U0)
	}
	for i := range en.Modes {
		mo := &en.Modes[i]
		for j := range states {
			s.stateOvervoltages(mo, &states[j], U0, Uref)
		}
		if len(mo.TOV) > 0 {
			s.because("tov", mo.Mode, t.Last(qTOV), &byTOV)
		}
		if mo.Mode == modeLN || mo.Mode == modeLPEN || mo.Mode == modeLPE && states[0].earthedNeutral() {
			en.TOVMin = mo.lasting(lasts5s)
		}
	}
}

// earthedNeutral reports TN.
func (st *supply) earthedNeutral() bool { return st.system != risk.TT && st.system != risk.IT }

// stateOvervoltages adds what one state of the sources brings to one mode.
func (s *scheduler) stateOvervoltages(mo *Mode, st *supply, U0, Uref float64) {
	t := s.t
	switch {
	case mo.Mode == modeLN || mo.Mode == modeLPEN || mo.Mode == modeLPE && st.earthedNeutral():
		k := t.Pick(qTOVk, overvoltages, tovLine, 0)
		mo.bear(lasts5s, t.Set(qTOVref, k*Uref), false)
		switch st.phases {
		case 1: // no neutral of a feeder to lose
		case 2:
			k = t.Pick(qTOVk, overvoltages, tovLostSplit, 0)
			mo.bear(lasts120min, t.Set(qTOVsplit, k*U0), true)
		default:
			k = t.Pick(qTOVk, overvoltages, tovLostNeutral, 0)
			mo.bear(lasts120min, t.Set(qTOVref, k*Uref), true)
		}
	case mo.Mode == modeLPE:
		if st.system == risk.TT {
			k := t.Pick(qTOVk, overvoltages, tovTT, 0)
			mo.bear(lasts5s, t.Set(qTOVref, k*Uref), false)
		}
		if st.high {
			U := t.Pick(qTOVhv, overvoltages, tovHighVoltage, 0)
			mo.bear(lasts200ms, t.Set(qTOVline, U+Uref), false)
		}
	case mo.Mode == modeNPE && st.system == risk.TT && st.high:
		mo.bear(lasts200ms, t.Set(qTOVneutral, t.Pick(qTOVhv, overvoltages, tovHighVoltage, 0)), false)
	}
}

// bear adds a temporary overvoltage; of two that last equally long the higher counts.
func (mo *Mode) bear(duration string, volt float64, safe bool) {
	for i := range mo.TOV {
		if v := &mo.TOV[i]; v.Duration == duration {
			v.Volt = max(v.Volt, volt)
			return
		}
	}
	mo.TOV = append(mo.TOV, TOV{Duration: duration, Volt: volt, Safe: safe})
}

// lasting is the temporary overvoltage of one duration, absent where there is none.
func (mo *Mode) lasting(duration string) Opt {
	for i := range mo.TOV {
		if mo.TOV[i].Duration == duration {
			return Some(mo.TOV[i].Volt)
		}
	}
	return Opt{}
}
