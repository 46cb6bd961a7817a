package spd

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// farEarth is what is known of the earth at the far end of a line: as stated, otherwise by the line itself. Only a line whose far
// end has an earth of its own leads lightning current away (IEC 62305-1 Annex E.2, from memory).
func farEarth(l *risk.Line) risk.FarEarth {
	el := &l.Electrical
	telecom := l.Service == risk.Telecom
	direct := !telecom && el.Current == risk.DC
	switch {
	case l.FarEarth != risk.FarEarthNotStated:
		return l.FarEarth
	case inMesh(l):
		return risk.FarEarthShared
	case direct && el.Origin == risk.Battery && (l.FarEnd == risk.FarEndNotStated || l.FarEnd == risk.FarBattery):
		return risk.FarEarthShared
	case direct && el.Origin == risk.Photovoltaic && el.ArrayPlace == risk.ArrayOnBuilding:
		return risk.FarEarthShared
	case l.Length() < farAway:
		return risk.FarEarthUnknown
	case l.To >= 0, !direct && (l.FarEnd == risk.FarEndNotStated || l.FarEnd == risk.FarNetwork):
		return risk.FarEarthOwn
	}
	return risk.FarEarthUnknown
}

// inMesh reports a line that lies wholly within the meshed earth termination.
func inMesh(l *risk.Line) bool {
	for i := range l.Sections {
		if l.Sections[i].Installation != risk.BuriedInEarthMesh {
			return false
		}
	}
	return len(l.Sections) > 0
}

// path is a way for lightning current to an electrode away from the structure: named, at another structure, or at the end of a line.
type path struct {
	electrode       string
	structure, line int // -1: none
	aerial          bool
}

// pathOf is the path that line li is, seen from structure si: lines to one electrode, and drops of one trunk, are one path.
func pathOf(in *risk.Input, li, si int, aerial bool) path {
	l := &in.Lines[li]
	switch {
	case l.FarElectrode != "":
		return path{l.FarElectrode, -1, -1, aerial}
	case l.Far(si) >= 0:
		return path{"", l.Far(si), -1, aerial}
	}
	return path{"", -1, trunkOf(in, li), aerial}
}

// trunkOf is the line that a drop goes back to, itself where it is no drop.
func trunkOf(in *risk.Input, li int) int {
	for range in.Lines { // no chain is longer than there are lines
		next := -1
		for i := range in.Lines {
			if trunk := in.Lines[li].Trunk; trunk != "" && in.Lines[i].ID == trunk {
				next = i
			}
		}
		if next < 0 {
			break
		}
		li = next
	}
	return li
}

// findPaths lists the paths that lead lightning current away from the structure.
func (p *site) findPaths(in *risk.Input) {
	for li := range in.Lines {
		l := &in.Lines[li]
		x := end{structure: p.index, line: li, l: l, site: p}
		if !l.Ends(p.index) || !x.leadsAway() {
			continue
		}
		way := pathOf(in, li, p.index, x.nearest().Installation == risk.Aerial)
		if !p.counts(way) {
			p.paths = append(p.paths, way)
		}
	}
}

// counts reports whether a path is among those of the structure.
func (p *site) counts(way path) bool {
	for _, other := range p.paths {
		if other.electrode == way.electrode && other.structure == way.structure && other.line == way.line {
			return true
		}
	}
	return false
}

// leadsAway reports whether the line lowers what the others carry: its far end is known to have an earth of its own.
func (x *end) leadsAway() bool {
	return farEarth(x.l) == risk.FarEarthOwn && x.l.Shield.Type != risk.IsolatingInterface
}

// inducedOnly reports a line that stays on the electrode of the structure and so carries induced surges only.
func (x *end) inducedOnly() bool { return farEarth(x.l) == risk.FarEarthShared }

// numbers are the buried and overhead paths that the current of a flash to the structure divides over at this end: those that
// lead away, and the line itself where that is not known of it.
func (x *end) numbers() (buried, overhead int) {
	for _, way := range x.site.paths {
		if way.aerial {
			overhead++
		} else {
			buried++
		}
	}
	switch {
	case x.leadsAway():
	case x.nearest().Installation == risk.Aerial:
		overhead++
	default:
		buried++
	}
	return buried, overhead
}

const (
	notePathsOwn = "paths to an earth of their own"
	notePathsOne = "paths to an earth of their own, and this line, of whose far end that is not known"
)

// paths records n, the number of paths that the current divides over.
func (s *scheduler) paths(x *end) float64 {
	buried, overhead := x.numbers()
	note := notePathsOwn
	if !x.leadsAway() {
		note = notePathsOne
	}
	return s.t.Noted(qN, float64(buried+overhead), note)
}

// perConductor records the part of a line's current that one of its conductors carries. A screen bonded at the
// entrance takes its part, if its resistance is known.
func (s *scheduler) perConductor(x *end) float64 {
	t := s.t
	nc := t.Noted(qNc, x.conductors(), x.conductorNote())
	shield := &x.l.Shield
	if !x.screened() {
		return t.Set(qPartBare, 1/nc)
	}
	RS := t.Given(qRS, shield.Resistance)
	RC := 0.0
	if shield.Conductor > 0 {
		RC = t.Given(qRC, shield.Conductor)
	} else {
		RC = t.Noted(qRC, 0, "not known: no relief by the screen, the safe side")
	}
	return t.Set(qPartScreen, RS/(nc*RS+RC))
}

// screened reports a screen that is bonded at the entrance and of known resistance.
func (x *end) screened() bool {
	shield := &x.l.Shield
	return (shield.Type == risk.Shielded || shield.Type == risk.ProtectiveCable) && shield.Bonded && shield.Resistance > 0
}

// soilAssumed is the resistivity at which a measured earth is judged where the soil is not known [ohm m].
const soilAssumed = 2000

// impedances reports whether the shares by earthing impedances can be computed.
func (s *scheduler) impedances() bool { return s.in.SoilResistivity > 0 || s.site.measured() > 0 }

// measured is the proved resistance of the earth termination [ohm], 0 where there is none.
func (p *site) measured() float64 {
	if p.s.Earthing.Proved() {
		return p.s.Earthing.Resistance
	}
	return 0
}

// impedanceShare records k_e of the line. The earth termination belongs to the LPS: its class decides Z, whatever the level of
// the devices; a measured resistance above Z takes its place.
func (s *scheduler) impedanceShare(x *end) float64 {
	t := s.t
	var rho float64
	if s.in.SoilResistivity > 0 {
		rho = t.Given(qRho, s.in.SoilResistivity)
	} else {
		rho = t.Noted(qRho, soilAssumed, "not known; taken so for the measured earth resistance")
	}
	if rho > 3000 {
		s.note("Soil above 3000 ohm m lies beyond the table of earthing impedances: the share of the line may be larger.")
	}
	h := s.earthImpedances(rho)
	h.Z2 = t.Noted(qZ2, h.Z1, "not known, taken as Z_1")
	buried, overhead := x.numbers()
	h.n1 = t.Noted(qN1, float64(buried), "by the section next to the structure")
	h.n2 = t.Noted(qN2, float64(overhead), "by the section next to the structure")
	if x.nearest().Installation == risk.Aerial {
		return t.Set(qKe2, h.overhead())
	}
	return t.Set(qKe1, h.buried())
}

// earthImpedances records Z and Z_1 at a soil resistivity.
func (s *scheduler) earthImpedances(rho float64) (h sharing) {
	t := s.t
	higher, lower := earthingRows(rho, t)
	h.Z = t.Pick(qZ, earthing, higher, s.earthingColumn(higher))
	if R := s.site.measured(); R > h.Z {
		h.Z = t.Set(qZmeasured, t.Noted(qR, R, "of the earth connection of the structure"))
	}
	h.Z1 = t.Pick(qZ1, earthing, lower, colZ1)
	return h
}

// quietly computes for the same structure without recording or noting.
func (s *scheduler) quietly() *scheduler {
	return &scheduler{in: s.in, site: s.site, t: s.t.Quiet()}
}

// soilUnknown says what bad soil would ask for, where the soil is not known.
func (s *scheduler) soilUnknown(x *end, I, part, found float64) {
	h := s.quietly().earthImpedances(soilAssumed)
	h.Z2 = h.Z1
	buried, overhead := x.numbers()
	h.n1, h.n2 = float64(buried), float64(overhead)
	if worse := h.buried() * I * part; worse > found*(1+1e-9) {
		s.note("Soil resistivity is not known: at 2000 ohm m this line would carry " + amount(worse, "kA") + " per conductor.")
	}
}

// earthingColumn is the column of Z in a row of Table E.1: by the class of the LPS, the largest Z where none is known.
func (s *scheduler) earthingColumn(row int) int {
	if s.site.classed {
		return colZ + rowFromI(s.site.level)
	}
	s.note("The class of the lightning protection system is not known: its earthing impedance is taken as the largest of the " +
		"table for this soil.")
	column := colZ
	for i := range earthing.Rows[row].Values {
		if i > column && s.t.Value(earthing, row, i) > s.t.Value(earthing, row, column) {
			column = i
		}
	}
	return column
}

// earthingRows finds the rows of Table E.1 at the next higher and the next lower resistivity.
func earthingRows(rho float64, t *trace.Trace) (higher, lower int) {
	last := len(earthing.Rows) - 1
	for higher < last && t.Value(earthing, higher, 0) < rho {
		higher++
	}
	lower = higher
	if lower > 0 && t.Value(earthing, lower, 0) > rho {
		lower--
	}
	return higher, lower
}
