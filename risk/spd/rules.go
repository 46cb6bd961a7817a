package spd

import (
	"levinward/risk"
)

// deviceRules are the rules that the data sheet and the entry of a schedule decide alone; the others need the installation.
const deviceRules = RuleLeads

// Passes reports whether a device meets every rule of a place that its data sheet can decide, and otherwise the first
// rule that it fails or cannot be judged by. It says what Check says of the device, without words and without allocating.
func (d *Device) Passes(e *Entry) (ok bool, firstFailed Rule) {
	for r := Rule(0); r < deviceRules; r++ {
		if d.judge(r, e) != Suitable {
			return false, r
		}
	}
	return true, Rules
}

// judge applies one rule of the device. A rule that does not apply is Suitable.
func (d *Device) judge(r Rule, e *Entry) Verdict {
	switch r {
	case RuleCurrentKind:
		return d.currentKind(e)
	case RuleLowestUc:
		return d.lowestUc(e)
	case RuleHighestUc:
		return d.highestUc(e)
	case RuleProtectionLevel:
		return d.protects(e)
	case RuleTestClass:
		return d.tested(e)
	case RuleNominalCurrent:
		return max(rated(d.In, d.nominalMin(e)), d.nominalNPE(e))
	case RuleImpulseCurrent:
		return max(rated(d.Iimp, d.impulseMin(e)), d.impulseNPE(e))
	case RuleMaximumCurrent:
		return rated(d.Imax, maximumMin(e))
	case RuleShortCircuit:
		return rated(d.ShortCircuit, e.ShortCircuitMin)
	case RuleFollowCurrent:
		return d.followCurrent(e)
	case RuleModes:
		return d.covers(e)
	case RuleConnection:
		return d.connected(e)
	case RuleTOV:
		return rated(d.TOV, e.TOVMin)
	}
	return Suitable
}

// falls reports whether a value falls short of what is required; so does one that is not a number.
func falls(found, required float64) bool { return !(found >= required*(1-1e-9)) }

// rated compares a rating with the least that is required.
func rated(found, required Opt) Verdict {
	switch {
	case !required.Valid:
		return Suitable
	case !found.Valid:
		return InsufficientData
	case falls(found.Value, required.Value):
		return Unsuitable
	}
	return Suitable
}

func (d *Device) currentKind(e *Entry) Verdict {
	switch {
	case e.Service == risk.Telecom:
		return Suitable
	case !d.AC && !d.DC:
		return InsufficientData
	case e.Current == risk.AC && !d.AC, e.Current == risk.DC && !d.DC:
		return Unsuitable
	}
	return Suitable
}

// direct reports that the d.c. value of U_C counts.
func direct(e *Entry) bool { return e.Service == risk.Telecom || e.Current == risk.DC }

// uc is U_C for the current of the line; telecommunication devices state either.
func (d *Device) uc(e *Entry) Opt {
	if direct(e) && (d.UcDC.Valid || e.Service != risk.Telecom) {
		return d.UcDC
	}
	return d.UcAC
}

func (d *Device) lowestUc(e *Entry) Verdict {
	if !e.UcMin.Valid {
		return InsufficientData
	}
	return rated(d.uc(e), e.UcMin)
}

// highestUc judges whether the device begins to act early enough. A U_P that is low enough proves it; without
// one the cautious estimate from U_C decides. A U_P below the peak of U_C cannot be.
func (d *Device) highestUc(e *Entry) Verdict {
	uc := d.uc(e)
	limit := onsetLimit(e)
	switch r := onset.Rows[d.onsetRow(e)].Values; {
	case !uc.Valid || !limit.Valid:
		return InsufficientData
	case d.protects(e) == Suitable:
		if falls(1000*d.Up.Value, uc.Value*r[2]) {
			return InsufficientData
		}
	case falls(1000*limit.Value, uc.Value*r[1]*r[2]):
		return Ineffective
	}
	return Suitable
}

// onsetRow is the row of the beginning of action for the U_C that counts.
func (d *Device) onsetRow(e *Entry) int {
	if direct(e) && (d.UcDC.Valid || e.Service != risk.Telecom) {
		return onsetDC
	}
	return onsetAC
}

// onsetLimit is the voltage [kV] below which a device must begin to act: what may reach the equipment.
func onsetLimit(e *Entry) Opt {
	if e.EffectiveMax.Valid {
		return e.EffectiveMax
	}
	return e.UpMax
}

// protects judges U_P. A place without an allowed U_P, but with a limit, is one that no device protects.
func (d *Device) protects(e *Entry) Verdict {
	switch {
	case !d.Up.Valid, !e.UpMax.Valid && !e.EffectiveMax.Valid:
		return InsufficientData
	case !e.UpMax.Valid || falls(e.UpMax.Value, d.Up.Value):
		return Ineffective
	}
	return Suitable
}

// Members of the sets.
const (
	setI ClassSet = 1 << iota
	setII
	setIII
	setD1
	setC2
	setC1
)

const (
	setLN ModeSet = 1 << iota
	setLPE
	setLPEN
	setNPE
	setPoles
	setPlusPE
	setMinusPE
	setLines
	setLineEarth
)

const (
	setCT1 ConnectionSet = 1 << iota
	setCT2
)

// servingClasses are the classes of which one is needed: a class for heavier duty serves for a lighter one. D1 and C2
// are different tests, neither stands for the other.
func servingClasses(c TestClass) ClassSet {
	switch c {
	case ClassI:
		return setI
	case ClassII:
		return setI | setII
	case ClassIII:
		return setI | setII | setIII
	case D1:
		return setD1
	case C2:
		return setC2
	}
	return setC2 | setC1
}

func (d *Device) tested(e *Entry) Verdict {
	switch {
	case d.Classes == 0:
		return InsufficientData
	case d.Classes&servingClasses(e.TestClass) == 0:
		return Unsuitable
	}
	return Suitable
}

// reduced reports that the lower impulse current of voltage-limiting photovoltaic devices applies.
func (d *Device) reduced(e *Entry) bool { return d.Technology == Limiting && e.LimitingIimpMin.Valid }

func (d *Device) nominalMin(e *Entry) Opt {
	if d.reduced(e) && e.InMin.Valid {
		return Some(max(e.InMin.Value, e.LimitingInMin.Value))
	}
	return e.InMin
}

func (d *Device) impulseMin(e *Entry) Opt {
	if d.reduced(e) {
		return e.LimitingIimpMin
	}
	return e.IimpMin
}

// maximumMin is the usual I_max where it counts: class I devices are rated by I_imp.
func maximumMin(e *Entry) Opt {
	if e.TestClass == ClassII {
		return e.ImaxMin
	}
	return Opt{}
}

func (d *Device) nominalNPE(e *Entry) Verdict {
	if m := d.summed(e); m != nil {
		return ratedNPE(d.InNPE, d.In, m.InMin)
	}
	return Suitable
}

func (d *Device) impulseNPE(e *Entry) Verdict {
	if m := d.summed(e); m != nil {
		return ratedNPE(d.IimpNPE, d.Iimp, m.IimpMin)
	}
	return Suitable
}

// summed is the N-PE mode where it carries the sum of the conductors: in CT2, unless the device can be connected
// otherwise.
func (d *Device) summed(e *Entry) *Mode {
	if e.AlsoConnection == CT1 && d.connections()&setCT1 != 0 && (setLPE|setNPE)&^d.Modes == 0 {
		return nil
	}
	return neutralPE(e)
}

// ratedNPE compares the rating of N-PE; where it is not stated apart, that of every mode serves if it is high enough.
func ratedNPE(apart, every, required Opt) Verdict {
	switch {
	case apart.Valid:
		return rated(apart, required)
	case required.Valid && every.Valid && !falls(every.Value, required.Value):
		return Suitable
	case !required.Valid:
		return Suitable
	}
	return InsufficientData
}

// followCurrent judges devices that switch: they must interrupt the current that follows the surge.
func (d *Device) followCurrent(e *Entry) Verdict {
	switch {
	case e.Service == risk.Telecom || d.Technology == Limiting:
		return Suitable
	case d.Technology == TechnologyNotStated || !d.FollowCurrent.Valid:
		return InsufficientData
	}
	return rated(d.FollowCurrent, e.ShortCircuitMin)
}

// modeSet is the set of one mode; empty for an unknown one.
func modeSet(name string) ModeSet {
	switch name {
	case modeLN:
		return setLN
	case modeLPE:
		return setLPE
	case modeLPEN:
		return setLPEN
	case modeNPE:
		return setNPE
	case "+/-":
		return setPoles
	case "+/PE":
		return setPlusPE
	case "-/PE":
		return setMinusPE
	case "line-line":
		return setLines
	case "line-earth":
		return setLineEarth
	}
	return 0
}

func modesOf(e *Entry) ModeSet {
	var set ModeSet
	for i := range e.Modes {
		set |= modeSet(e.Modes[i].Mode)
	}
	return set
}

// covers judges whether every path is protected. A device of one pole serves between line and PEN, however its
// maker names the mode.
func (d *Device) covers(e *Entry) Verdict {
	need := modesOf(e)
	switch {
	case d.Modes == 0:
		return InsufficientData
	case need&^d.Modes == 0:
		return Suitable
	case need == setLPEN && d.Modes&(setLN|setLPE) != 0:
		return Suitable
	case e.AlsoConnection == CT1 && (setLPE|setNPE)&^d.Modes == 0:
		return Suitable
	}
	return Ineffective
}

// connections are the connection types of the device, as stated or by its modes.
func (d *Device) connections() ConnectionSet {
	set := d.Connections
	if set != 0 {
		return set
	}
	if d.Modes&(setLPE|setLPEN) != 0 {
		set |= setCT1
	}
	if (setLN|setNPE)&^d.Modes == 0 {
		set |= setCT2
	}
	return set
}

// connected judges the connection type. In IT with neutral CT2 is allowed too, but the sum that N-PE then carries
// is not part of the entry.
func (d *Device) connected(e *Entry) Verdict {
	if e.Connection == NoConnection {
		return Suitable
	}
	has, need := d.connections(), modesOf(e)
	switch {
	case need == setLPEN && d.covers(e) == Suitable:
		return Suitable
	case has == 0:
		return InsufficientData
	case has&connectionSet(e.Connection) != 0, has&connectionSet(e.AlsoConnection) != 0:
		return Suitable
	case e.Connection == CT1 && need&setNPE != 0:
		return InsufficientData
	}
	return Unsuitable
}

func connectionSet(c Connection) ConnectionSet {
	switch c {
	case CT1:
		return setCT1
	case CT2:
		return setCT2
	}
	return 0
}
