package spd

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// vital reports whether life or a public service is at stake.
func vital(s *risk.Structure) bool {
	return s.FailureEndangersLife || s.PublicSupply != risk.NoPublicSupply
}

// protectionLevel is the LPL of an LPS; a natural one of unknown class counts as LPL I.
func protectionLevel(class risk.LPS, natural bool) (bool, risk.Level) {
	switch {
	case class >= risk.LPSI:
		return true, risk.LevelI
	case class == risk.LPSII:
		return true, risk.LevelII
	case class != risk.NoLPS:
		return true, risk.LevelIIIIV
	case natural:
		return true, risk.LevelI
	}
	return false, risk.NoSPD
}

// end is one end of a line at a structure.
type end struct {
	structure, line      int
	l                    *risk.Line
	site                 *site
	bonding, coordinated risk.Level
	stated               bool // the input states as much
	crl, critical        Opt  // found on the way to the need
	crlStep, routeStep   trace.Mark
	second               bool // the device at the entrance needs one at the equipment, whatever the distance
}

func (s *scheduler) end(li int) end {
	l := &s.in.Lines[li]
	x := end{structure: s.site.index, line: li, l: l, site: &s.site, bonding: l.BondingSPD.Level, coordinated: l.CoordinatedSPD.Level}
	for i := range s.site.measures {
		if m := &s.site.measures[i]; m.Line == li {
			x.bonding = max(x.bonding, m.Bonding.Level)
			x.coordinated = max(x.coordinated, m.Coordinated.Level)
		}
	}
	x.stated = x.bonding == l.BondingSPD.Level && x.coordinated == l.CoordinatedSPD.Level
	return x
}

func (x *end) telecom() bool { return x.l.Service == risk.Telecom }

func (x *end) direct() bool { return !x.telecom() && x.l.Electrical.Current == risk.DC }

func (x *end) pv() bool { return x.direct() && x.l.Electrical.Origin == risk.Photovoltaic }

// driven reports whether the risk asks for a device at this end.
func (x *end) driven() bool { return x.bonding != risk.NoSPD || x.coordinated != risk.NoSPD }

// idle reports an a.c. input without source that does not leave the building.
func (x *end) idle() bool {
	return !x.telecom() && !x.direct() && !x.l.Electrical.SourceConnected && x.l.Length() == 0
}

// bonded reports whether the device bonds the line to an LPS.
func (x *end) bonded() bool { return x.site.lps && !x.idle() }

// section is section i of the line, counted from the structure.
func (x *end) section(i int) *risk.Section {
	if x.l.Structure != x.structure {
		i = len(x.l.Sections) - 1 - i
	}
	return &x.l.Sections[i]
}

// nearest is the section next to the structure.
func (x *end) nearest() risk.Section {
	if len(x.l.Sections) == 0 {
		return risk.Section{}
	}
	return *x.section(0)
}

// pulsed reports the output of a drive, whose voltage no rule here covers.
func (x *end) pulsed() bool { return !x.telecom() && !x.direct() && x.l.Electrical.Pulsed }

const notePulsed = "Pulse-width modulated, the output of a drive: no device here without the word of the drive's maker. Ask " +
	"the maker which device " +
	"the output bears and what the motor needs."

// further lists the places of devices beyond the entrance.
func (s *scheduler) further(x *end) []Position {
	places := x.further()
	if s.hasFarEnd(x) {
		places = append(places[:len(places):len(places)], AtFarEnd)
	}
	return places
}

// further lists those that follow from distances.
func (x *end) further() []Position {
	array := x.pv() && x.l.Structure == x.structure && x.l.To < 0 && x.l.Length() > farAway
	equipment := x.atEquipment()
	switch {
	case array && equipment:
		return bothPlaces
	case array:
		return bothPlaces[:1]
	case equipment:
		return bothPlaces[1:]
	}
	return nil
}

// atEquipment reports whether a device at the equipment belongs to the one at the entrance.
func (x *end) atEquipment() bool {
	return x.second || x.l.Electrical.EquipmentDistance > farAway && !x.shieldedAlone()
}

var bothPlaces = []Position{AtArray, AtEquipment}

// dropWire reports a telecommunication wire of few conductors without a screen; an aerial line of which nothing is said is taken for one.
func (x *end) dropWire() bool {
	switch x.l.Electrical.Cable {
	case risk.CableNotStated:
		if x.l.Shield.Type == risk.Shielded || x.l.Shield.Type == risk.ProtectiveCable {
			return false
		}
		for i := range x.l.Sections {
			if x.l.Sections[i].Installation == risk.Aerial {
				return true
			}
		}
		return false
	case risk.CableDropWire:
		return true
	}
	return false
}

// conductors is n', the current-carrying conductors of the line; one pair of a telecommunication line of which nothing else is said.
func (x *end) conductors() float64 {
	n := x.lineAndNeutral()
	if !x.telecom() && !x.direct() {
		switch x.l.Electrical.System {
		case risk.TNS:
			n++ // PE
		case risk.TNC, risk.TNCS:
			n = x.phases() + 1 // PEN
		}
	}
	return n
}

// lineAndNeutral is the number of line and neutral conductors.
func (x *end) lineAndNeutral() float64 {
	switch {
	case x.telecom() && x.l.Electrical.Cable == risk.CableCoaxial:
		return 1
	case x.telecom():
		return 2 * float64(max(1, x.l.Electrical.Pairs))
	case x.direct():
		return 2
	}
	if x.neutral() || x.phases() == 1 {
		return x.phases() + 1
	}
	return x.phases()
}

func (x *end) conductorNote() string {
	switch {
	case x.telecom():
		return "of all pairs; one pair where their number is not known; the inner conductor of a coaxial cable"
	case x.direct():
		return "two poles"
	}
	return "by phases, neutral and type of system earthing"
}

func (x *end) phases() float64 {
	return float64(max(1, x.l.Electrical.Phases))
}

// neutral reports a neutral conductor; a single phase has one outside IT.
func (x *end) neutral() bool {
	return x.l.Electrical.Neutral || x.phases() == 1 && x.l.Electrical.System != risk.IT
}

// rowNPE is the row of the clause minima for N-PE in CT2.
func (x *end) rowNPE() int {
	if x.phases() > 1 {
		return rowNPE3
	}
	return rowNPE1
}

// exposure is the row of the usual I_max.
func (x *end) exposure() int {
	switch {
	case x.site.s.Surroundings == risk.Hilltop:
		return exposureHigh
	case x.nearest().Environment == risk.Rural:
		return exposureMedium
	}
	return exposureLow
}

// beyond is the ground of a device beyond the entrance.
func (x *end) beyond(place Position, entrance grounds) grounds {
	switch entrance.obligation() {
	case NotRequired:
		return againstSecond
	case Recommended:
		return forTelecom
	}
	switch {
	case place == AtArray:
		return forArray
	case place == AtFarEnd:
		return forFarEnd
	case x.l.Electrical.EquipmentDistance <= farAway:
		return forHalf
	}
	return forDistance
}

// level is the highest LPL that applies at the end.
func (x *end) level() risk.Level {
	l := max(x.bonding, x.coordinated)
	if x.bonded() {
		l = max(l, x.site.level)
	}
	return l
}

// class is the test class at a place.
func (x *end) class(place Position) TestClass {
	first := x.entranceClass()
	switch {
	case place == AtFarEnd:
		return x.farEndClass()
	case place != AtEquipment:
		return first
	case first == D1:
		return C2
	case first == C2:
		return C1
	case first == ClassII && !x.direct():
		return ClassIII
	}
	return ClassII
}

func (x *end) entranceClass() TestClass {
	near := x.nearest()
	overhead := near.Installation == risk.Aerial && near.Service == risk.LowVoltage
	switch {
	case x.inducedOnly() && x.telecom():
		return C2
	case x.inducedOnly() && (!x.tabulated() || x.separationKept()):
		return ClassII
	case x.telecom():
		return D1
	case x.bonded(), x.bonding != risk.NoSPD, x.coordinated != risk.NoSPD && overhead:
		return ClassI
	}
	return ClassII
}

// fedByBattery reports whether a battery can feed a photovoltaic line.
func (s *scheduler) fedByBattery(x *end) bool {
	switch x.l.Electrical.BatteryCanFeed {
	case risk.Yes:
		return true
	case risk.No:
		return false
	}
	return x.l.Electrical.Equipment == risk.ChargeController || x.site.storage
}
