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

// leadsAway reports whether the line carries a share of a lightning current away. Direct current from
// generation or storage has no earth of its own to carry it to.
func (x *end) leadsAway() bool {
	return x.l.Length() > 0 && x.l.Shield.Type != risk.IsolatingInterface && (!x.direct() || x.l.To >= 0)
}

// further lists the places of devices beyond the entrance.
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
func (x *end) atEquipment() bool { return x.second || x.l.Electrical.EquipmentDistance > farAway }

var bothPlaces = []Position{AtArray, AtEquipment}

// conductors is n', the current-carrying conductors of the line; one pair for telecommunication.
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
	if x.telecom() || x.direct() {
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
		return "one pair, more pairs share the current"
	case x.direct():
		return "two poles"
	}
	return "by phases, neutral and type of system earthing"
}

func (x *end) phases() float64 {
	if n := x.l.Electrical.Phases; n == 2 || n == 3 {
		return float64(n)
	}
	return 1
}

// neutral reports a neutral conductor; a single phase has one outside IT.
func (x *end) neutral() bool {
	return x.l.Electrical.Neutral || x.phases() == 1 && x.l.Electrical.System != risk.IT
}

// rowNPE is the row of the clause minima for N-PE in CT2.
func (x *end) rowNPE() int {
	if x.phases() > 1 { // two phases are not printed: the safe side
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
func (x *end) beyond(place Position, required bool) grounds {
	switch {
	case place == AtArray:
		return either(required, forArray, againstSecond)
	case x.l.Electrical.EquipmentDistance <= farAway:
		return either(required, forHalf, againstSecond)
	}
	return either(required, forDistance, againstSecond)
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
	case place != AtEquipment:
		return first
	case first == D1:
		return C2
	case first == ClassII && !x.direct():
		return ClassIII
	}
	return ClassII
}

func (x *end) entranceClass() TestClass {
	near := x.nearest()
	overhead := near.Installation == risk.Aerial && near.Service == risk.LowVoltage
	switch {
	case x.telecom():
		return D1
	case x.bonded(), x.bonding != risk.NoSPD, x.coordinated != risk.NoSPD && overhead:
		return ClassI
	}
	return ClassII
}

// fedByBattery reports whether a battery can feed a photovoltaic line.
func (s *scheduler) fedByBattery(x *end) bool {
	return x.l.Electrical.Equipment == risk.ChargeController || x.site.storage
}
