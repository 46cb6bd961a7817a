package spd

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// Remarks on a current that does not apply.
const (
	noSharing   = "does not apply: the structure has no LPS"
	noSoil      = "does not apply: soil resistivity not known"
	noDirect    = "does not apply: no device for a flash to the line"
	noClause    = "does not apply: the sharing is computed"
	pvTabulated = "does not apply: the value is tabulated for photovoltaic lines"
	noLevel     = "does not apply: no lightning protection level"
	behindFirst = "does not apply: the device at the entrance takes it"
	nextValue   = "next preferred value upwards"
	asPrinted   = "as printed in the table"
)

// Reasons of the impulse current.
var (
	byFirstShare = rule{"Half of the lightning current goes to earth, the other half divides over the lines and their conductors; next preferred value.", stdThreat + "E.2", read}
	byImpedance  = rule{"The earthing impedances at this soil resistivity drive more into the line than the half-and-half rule; next preferred value. Z is taken by the class of the LPS at the next higher resistivity of the table, Z_1 at the next lower, Z_2 as Z_1: the safe side.", stdThreat + "E.2 and Table E.1", memory}
	byLineFlash  = rule{"Flash to the line; next preferred value.", stdThreat + "Tables E.2, E.3", memory}
	byClause     = rule{"Minimum of the clause, the sharing not being computed.", stdSPD, read}
	byNPE        = rule{"The N-PE path carries the sum of the line and neutral conductors, at least the minimum of the clause; next preferred value.", "CLC/TS 61643-12; " + stdSPD, memory}
	byPVTable    = rule{"Photovoltaic class I device, voltage-switching or combination, separation distance taken as not kept, fewer than four down-conductors.", stdPV + "Table A.2", read}
	byNominal    = rule{"Minimum of the clause.", stdSPD, read}
	bySurge      = rule{"Largest 8/20 surge of the protection level; next preferred value.", stdThreat + "Tables E.2, E.3", memory}
	byC2         = rule{"Lowest preferred value of category C2.", stdData, memory}
	byExposure   = rule{"Usual value for the exposure of the site; a rule of the trade, not normative.", "trade handbooks, not normative", read}
)

// Notes on photovoltaic class I devices by level, in the order of the table.
var pvClassINotes = [...]string{
	"50 kA 10/350 in total to PE; a voltage-limiting device may be rated 10 kA 10/350 with I_n 17 kA each (from memory).",
	"37.5 kA 10/350 in total to PE; a voltage-limiting device may be rated 7.5 kA 10/350 with I_n 12.5 kA each (from memory).",
	"25 kA 10/350 in total to PE; a voltage-limiting device may be rated 5 kA 10/350 with I_n 8.5 kA each (from memory).",
}

// sharing is how the lightning current divides between the earth termination
// and the external lines: conventional earthing impedances [ohm] and numbers of lines.
type sharing struct {
	Z, Z1, Z2 float64 // earth termination, buried line, overhead line
	n1, n2    float64 // buried, overhead lines
}

// buried is k_e of one buried line, overhead that of one overhead line.
func (h sharing) buried() float64   { return h.Z / (h.Z1 + h.Z*(h.n1+h.n2*h.Z1/h.Z2)) }
func (h sharing) overhead() float64 { return h.Z / (h.Z2 + h.Z*(h.n2+h.n1*h.Z2/h.Z1)) }

// perConductor is the current in one conductor [kA] of a line that carries the share k of I.
func perConductor(I, k, conductors float64) float64 { return k * I / conductors }

// impulse sets I_imp of a class I or D1 device.
func (s *scheduler) impulse(x *end, en *Entry) {
	i0, iz := s.shares(x, en)
	s3 := s.lineFlash(x, en)
	cl, clN := s.clauseImpulse(x, en)
	t := s.t
	Ireq := t.Set(qIreq, max(i0, iz, s3, cl))
	why := largest(pick{i0, &byFirstShare}, pick{iz, &byImpedance}, pick{s3, &byLineFlash}, pick{cl, s.clauseRule(x)})
	en.IimpMin = Some(s.ratedImpulse(x, en, Ireq))
	s.because("iimp_min_ka", "", t.Last(qIimp), why)
	for i := range en.Modes {
		en.Modes[i].IimpMin = en.IimpMin
	}
	if np := neutralPE(en); np != nil {
		m := t.Noted(qM, x.lineAndNeutral(), x.conductorNote())
		ReqN := t.Set(qIreqN, max(m*max(i0, iz, s3), clN))
		np.IimpMin = Some(t.Noted(qIimpN, roundUp(t, ReqN, prefIimp, prefIimpTrade), nextValue))
		s.because("iimp_min_ka", np.Mode, t.Last(qIimpN), &byNPE)
	}
}

// shares returns the current per conductor from a flash to the structure [kA], by the
// first approximation and by the earthing impedances; 0 where one does not apply.
func (s *scheduler) shares(x *end, en *Entry) (first, impedances float64) {
	t := s.t
	if !x.bonded() || x.pv() {
		note := noSharing
		if x.bonded() {
			note = pvTabulated
		}
		return t.Absent(qI0, note), t.Absent(qIz, note)
	}
	I := t.Pick(qI, threat, rowFromI(en.Level), 0)
	n := t.Noted(qN, float64(max(1, s.site.lines())),
		"lines that lead away; d.c. lines from generation or storage are not counted, the safe side")
	nc := t.Noted(qNc, x.conductors(), x.conductorNote())
	first = t.Set(qI0Share, 0.5*I/(n*nc))
	if s.in.SoilResistivity <= 0 {
		return first, t.Absent(qIz, noSoil)
	}
	k := s.impedanceShare(x)
	return first, t.Set(qIzShare, perConductor(I, k, nc))
}

// impedanceShare returns k_e of the line. The earth termination belongs to the LPS: its class decides Z, whatever
// the level of the devices.
func (s *scheduler) impedanceShare(x *end) float64 {
	t := s.t
	rho := t.Given(qRho, s.in.SoilResistivity)
	higher, lower := earthingRows(rho, t)
	if rho > 3000 {
		s.note("Soil above 3000 ohm m lies beyond the table of earthing impedances: the share of the line may be larger.")
	}
	var h sharing
	h.Z = t.Pick(qZ, earthing, higher, s.earthingColumn(higher))
	h.Z1 = t.Pick(qZ1, earthing, lower, colZ1)
	h.Z2 = t.Noted(qZ2, h.Z1, "not known, taken as Z_1")
	buried, overhead := s.site.buried, s.site.overhead
	aerial := x.nearest().Installation == risk.Aerial
	if buried+overhead == 0 {
		buried, overhead = 1, 0
		if aerial {
			buried, overhead = 0, 1
		}
	}
	h.n1 = t.Noted(qN1, float64(buried), "by the section next to the structure")
	h.n2 = t.Noted(qN2, float64(overhead), "by the section next to the structure")
	if aerial {
		return t.Set(qKe2, h.overhead())
	}
	return t.Set(qKe1, h.buried())
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

// lineFlash returns the current per conductor from a flash to the line, S3 [kA].
func (s *scheduler) lineFlash(x *end, en *Entry) float64 {
	switch {
	case x.telecom(): // D1 stands for such currents: at least those of the lowest level
		return s.t.Pick(qS3, surgesTelecom, rowFromIV(max(en.Level, risk.LevelIIIIV)), colS3)
	case x.driven():
		return s.t.Pick(qS3, surgesPower, rowFromIV(en.Level), colS3)
	}
	return s.t.Absent(qS3, noDirect)
}

// clauseImpulse returns the impulse currents set by a clause or table, per mode and N-PE in CT2 [kA].
func (s *scheduler) clauseImpulse(x *end, en *Entry) (perMode, npe float64) {
	t := s.t
	switch {
	case x.pv() && x.bonded():
		s.note(pvClassINotes[rowFromI(en.Level)])
		en.LimitingInMin = Some(t.Pick(qNlim, pvLimiting, rowFromI(en.Level), 0))
		en.LimitingIimpMin = Some(t.Pick(qIlim, pvLimiting, rowFromI(en.Level), 1))
		return t.Pick(qIcl, pvSwitching, rowFromI(en.Level), 0), 0
	case x.bonded() || x.telecom():
		return t.Absent(qIcl, noClause), t.Absent(qIclN, noClause)
	}
	return t.Pick(qIcl, minima, rowPerMode, colIimp), t.Pick(qIclN, minima, x.rowNPE(), colIimp)
}

func (s *scheduler) clauseRule(x *end) *rule {
	if x.pv() && x.bonded() {
		return &byPVTable
	}
	return &byClause
}

func (s *scheduler) ratedImpulse(x *end, en *Entry, req float64) float64 {
	switch {
	case x.telecom():
		if req > 2.5 {
			s.note("Beyond the preferred values of category D1: more pairs, a bonded screen or an optical fibre lower the current.")
		}
		return s.t.Noted(qIimp, roundUp(s.t, req, prefD1, prefIimp, prefIimpTrade), nextValue)
	case x.pv() && x.bonded():
		return s.t.Noted(qIimp, req, asPrinted)
	}
	return s.t.Noted(qIimp, roundUp(s.t, req, prefIimp, prefIimpTrade), nextValue)
}

// nominal sets I_n, and I_max where the trade states one.
func (s *scheduler) nominal(x *end, en *Entry) {
	t := s.t
	switch en.TestClass {
	case ClassIII:
		return
	case C2:
		en.InMin = Some(t.Pick(qInC2, preferred, prefC2, 0))
		s.because("in_min_ka", "", t.Last(qIn), &byC2)
	default:
		cl, clN := s.clauseNominal(x)
		s1, s2, s4 := s.surges(x, en)
		req := t.Set(qNreq, max(cl, s1, s2, s4))
		en.InMin = Some(t.Noted(qIn, roundUp(t, req, prefIn, prefInTrade), nextValue))
		s.because("in_min_ka", "", t.Last(qIn), largest(pick{cl, &byNominal}, pick{max(s1, s2, s4), &bySurge}))
		if np := neutralPE(en); np != nil {
			m := t.Noted(qM, x.lineAndNeutral(), x.conductorNote())
			reqN := t.Set(qNreqN, max(clN, m*req))
			np.InMin = Some(t.Noted(qInN, roundUp(t, reqN, prefIn, prefInTrade), nextValue))
			s.because("in_min_ka", np.Mode, t.Last(qInN), &byNPE)
		}
	}
	for i := range en.Modes {
		if !en.Modes[i].InMin.Valid {
			en.Modes[i].InMin = en.InMin
		}
	}
	if !x.telecom() && en.Position != AtEquipment {
		ex := t.Pick(qEx, exposure, x.exposure(), 0)
		en.ImaxMin = Some(t.Set(qImax, max(ex, en.InMin.Value)))
		s.because("imax_min_ka", "", t.Last(qImax), &byExposure)
	}
}

func (s *scheduler) clauseNominal(x *end) (perMode, npe float64) {
	if x.telecom() {
		return s.t.Absent(qNcl, "does not apply: the clause is for power lines"), 0
	}
	return s.t.Pick(qNcl, minima, rowPerMode, colIn), s.t.Pick(qNclN, minima, x.rowNPE(), colIn)
}

// surges returns the 8/20 surges S1 (induced), S2 and S4 per conductor [kA].
func (s *scheduler) surges(x *end, en *Entry) (s1, s2, s4 float64) {
	t := s.t
	table, level, note := surgesPower, en.Level, noLevel
	if x.telecom() {
		table, level = surgesTelecom, max(level, risk.LevelIIIIV)
	}
	if en.Position == AtEquipment {
		level, note = risk.NoSPD, behindFirst
	}
	if level == risk.NoSPD {
		return t.Absent(qNS1, note), t.Absent(qNS2, note), t.Absent(qNS4, note)
	}
	row := rowFromIV(level)
	return t.Pick(qNS1, table, row, colS1), t.Pick(qNS2, table, row, colS2), t.Pick(qNS4, table, row, colS4)
}

// neutralPE finds the N-PE mode of a CT2 device, nil in any other.
func neutralPE(en *Entry) *Mode {
	if en.Connection != CT2 {
		return nil
	}
	return &en.Modes[len(en.Modes)-1]
}

// pick is a candidate value with its reason.
type pick struct {
	value float64
	why   *rule
}

// largest is the reason of the first candidate that is not below any other.
func largest(ps ...pick) *rule {
	best := ps[0]
	for _, p := range ps[1:] {
		if p.value > best.value {
			best = p
		}
	}
	return best.why
}

// rule is the reason of a value.
type rule struct {
	reason, clause string
	provenance     trace.Provenance
}
