package spd

import (
	"math"

	"levinward/risk"
	"levinward/risk/trace"
)

// deviceRules are the rules that the data sheet and the entry of a schedule decide alone; the others need the installation.
const deviceRules = RuleLeads

// Need is what a place requires of a device, drawn from the entry of a schedule for comparing many devices with it.
type Need struct {
	telecom                     bool
	current                     risk.Current
	ucMin, upMax                Opt           // between live conductors: L-N in CT2, otherwise of the first mode
	ucLL                        Opt           // between lines
	ucLPE, ucNPE                Opt           // where the mode is asked for besides
	limit                       Opt           // what may reach the equipment [kV]: the device begins to act below it
	contradiction               bool          // equipment that no U_P protects
	classes                     ClassSet      // of which one is needed
	modes                       ModeSet       // that the device has; L-PE of CT2 is none of its own
	through                     bool          // CT2: L-PE is L-N and N-PE behind each other
	connection                  ConnectionSet // empty where there is none to choose
	also                        ConnectionSet
	in, inLimiting, inNPE       Opt
	iimp, iimpLimiting, iimpNPE Opt
	uoc                         Opt
	shortCircuit                Opt
	tov                         [tovs]Opt
	reviews                     *trace.Reviews
}

// The temporary overvoltages of a Need.
const (
	tovMain = iota // 5 s, L-N in CT2, otherwise line to PE or PEN
	tovLost
	tovLPE
	tovHighLPE
	tovHighNPE
	tovs // their number
)

// NeedOf draws the need from an entry.
func NeedOf(e *Entry) Need {
	n := Need{telecom: e.Service == risk.Telecom, current: e.Current, ucMin: e.UcMin, upMax: e.UpMax, limit: e.UpMax,
		contradiction: !e.UpMax.Valid && e.EffectiveMax.Valid,
		classes:       servingClasses(e.TestClass), connection: connectionSet(e.Connection), also: connectionSet(e.AlsoConnection),
		in: e.InMin, inLimiting: e.InMin, iimp: e.IimpMin, iimpLimiting: e.IimpMin, uoc: e.UocMin, shortCircuit: e.ShortCircuitMin,
		reviews: e.Reviews}
	if e.EffectiveMax.Valid {
		n.limit = e.EffectiveMax
	}
	if e.LimitingIimpMin.Valid {
		n.iimpLimiting = e.LimitingIimpMin
		n.inLimiting = Some(max(e.InMin.Value, e.LimitingInMin.Value))
	}
	for i := range e.Modes {
		n.mode(e, &e.Modes[i], i == 0)
	}
	n.ucLL = betweenLines(e)
	if !n.tov[tovMain].Valid {
		n.tov[tovMain] = e.TOVMin
	}
	if m := neutralPE(e); m != nil {
		n.inNPE, n.iimpNPE = m.InMin, m.IimpMin
	}
	return n
}

// betweenLines is the lowest U_C between lines [V]: 1.1 times the voltage between them, of three phases or of two in antiphase.
func betweenLines(e *Entry) Opt {
	if len(e.Modes) == 0 || !e.Modes[0].UcMin.Valid {
		return Opt{}
	}
	lines := e.Conductors
	switch e.Modes[0].Mode {
	case modeLN:
		lines--
	case modeLPEN:
	default:
		return Opt{}
	}
	switch uc := e.Modes[0].UcMin.Value; lines {
	case 2:
		return Some(2 * uc)
	case 3:
		return Some(math.Sqrt(3) * uc)
	}
	return Opt{}
}

// mode draws what a mode asks for; main is the first of the entry.
func (n *Need) mode(e *Entry, m *Mode, main bool) {
	if main {
		if m.UcMin.Valid {
			n.ucMin = m.UcMin
		}
		n.tov[tovMain], n.tov[tovLost] = m.lasting(lasts5s), m.lasting(lasts120min)
	}
	switch {
	case m.Mode == modeLPE && e.Connection == CT2:
		n.through, n.ucLPE = true, m.UcMin
		n.tov[tovLPE], n.tov[tovHighLPE] = m.lasting(lasts5s), m.lasting(lasts200ms)
		return
	case m.Mode == modeLPE:
		n.tov[tovHighLPE] = m.lasting(lasts200ms)
	case m.Mode == modeNPE:
		n.ucNPE, n.tov[tovHighNPE] = m.UcMin, m.lasting(lasts200ms)
	}
	n.modes |= modeSet(m.Mode)
}

// Passes reports whether a device meets every rule of a place that its data sheet can decide, and otherwise the first
// rule that it fails or cannot be judged by. It says what Check says of the device, without words and without allocating.
func (d *Device) Passes(e *Entry) (ok bool, firstFailed Rule) {
	n := NeedOf(e)
	return d.Meets(&n)
}

// Meets is Passes for many devices: the need is drawn from the entry once.
func (d *Device) Meets(n *Need) (ok bool, firstFailed Rule) {
	switch {
	case d.currentKind(n) != Suitable:
		return false, RuleCurrentKind
	case d.lowestUc(n) != Suitable:
		return false, RuleLowestUc
	case d.highestUc(n) != Suitable:
		return false, RuleHighestUc
	case d.protects(n) != Suitable:
		return false, RuleProtectionLevel
	case d.consistent(n) != Suitable:
		return false, RuleDataSheet
	case d.tested(n) != Suitable:
		return false, RuleTestClass
	case rated(d.In, d.nominalMin(n)) != Suitable || d.nominalNPE(n) != Suitable:
		return false, RuleNominalCurrent
	case d.openCircuit(n) != Suitable:
		return false, RuleOpenCircuit
	case rated(d.Iimp, d.impulseMin(n)) != Suitable || d.impulseNPE(n) != Suitable:
		return false, RuleImpulseCurrent
	case rated(d.ShortCircuit, n.shortCircuit) != Suitable:
		return false, RuleShortCircuit
	case d.followCurrent(n) != Suitable:
		return false, RuleFollowCurrent
	case d.covers(n) != Suitable:
		return false, RuleModes
	case d.connected(n) != Suitable:
		return false, RuleConnection
	case d.bears(n) != Suitable:
		return false, RuleTOV
	}
	return true, Rules
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

func (d *Device) currentKind(n *Need) Verdict {
	switch {
	case n.telecom:
		return Suitable
	case !d.AC && !d.DC:
		return InsufficientData
	case n.current == risk.AC && !d.AC, n.current == risk.DC && !d.DC:
		return Unsuitable
	}
	return Suitable
}

// direct reports that the d.c. value of U_C counts.
func (n *Need) direct() bool { return n.telecom || n.current == risk.DC }

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

func (d *Device) tested(n *Need) Verdict {
	switch {
	case d.Classes == 0:
		return InsufficientData
	case d.Classes&n.classes == 0:
		return Unsuitable
	}
	return Suitable
}

// nominalMin and impulseMin are I_n and I_imp; voltage-limiting photovoltaic devices have their own.
func (d *Device) nominalMin(n *Need) Opt {
	if d.Technology == Limiting {
		return n.inLimiting
	}
	return n.in
}

func (d *Device) impulseMin(n *Need) Opt {
	if d.Technology == Limiting {
		return n.iimpLimiting
	}
	return n.iimp
}

func (d *Device) nominalNPE(n *Need) Verdict {
	if !n.inNPE.Valid || !d.sums(n) {
		return Suitable
	}
	return ratedNPE(d.InNPE, d.In, n.inNPE)
}

func (d *Device) impulseNPE(n *Need) Verdict {
	if !n.iimpNPE.Valid || !d.sums(n) {
		return Suitable
	}
	return ratedNPE(d.IimpNPE, d.Iimp, n.iimpNPE)
}

// sums reports that N-PE carries the sum of the conductors: in CT2, unless the device can be connected otherwise.
func (d *Device) sums(n *Need) bool {
	return n.also&setCT1 == 0 || d.connections()&setCT1 == 0 || (setLPE|setNPE)&^d.Modes != 0
}

// ratedNPE compares the rating of N-PE; where it is not stated apart, that of every mode serves if it is high enough.
func ratedNPE(apart, every, required Opt) Verdict {
	switch {
	case apart.Valid:
		return rated(apart, required)
	case every.Valid && !falls(every.Value, required.Value):
		return Suitable
	}
	return InsufficientData
}

// followCurrent judges devices that switch: they must interrupt the current that follows the surge.
func (d *Device) followCurrent(n *Need) Verdict {
	switch {
	case n.telecom || d.Technology == Limiting:
		return Suitable
	case d.Technology == TechnologyNotStated || !d.follow(n).Valid:
		return InsufficientData
	}
	return rated(d.follow(n), n.shortCircuit)
}

// follow is the follow current that the device interrupts; on d.c. only one that is stated for it counts.
func (d *Device) follow(n *Need) Opt {
	if n.direct() {
		return d.DCFollowCurrent
	}
	return d.FollowCurrent
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

// covers judges whether every path is protected. A device of one pole serves between line and PEN, however its
// maker names the mode.
func (d *Device) covers(n *Need) Verdict {
	need := n.modes
	switch {
	case d.Modes == 0:
		return InsufficientData
	case need&^d.Modes == 0:
		return Suitable
	case need == setLPEN && d.Modes&(setLN|setLPE) != 0:
		return Suitable
	case n.also&setCT1 != 0 && (setLPE|setNPE)&^d.Modes == 0:
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
func (d *Device) connected(n *Need) Verdict {
	if n.connection == 0 {
		return Suitable
	}
	has := d.connections()
	switch {
	case n.modes == setLPEN && d.covers(n) == Suitable:
		return Suitable
	case has == 0:
		return InsufficientData
	case has&(n.connection|n.also) != 0:
		return Suitable
	case n.connection == setCT1 && n.modes&setNPE != 0:
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
