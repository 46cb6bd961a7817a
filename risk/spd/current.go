package spd

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// Remarks on a current that does not apply.
const (
	noSharing   = "does not apply: the structure has no LPS"
	noSoil      = "does not apply: soil resistivity not known"
	noDirect    = "does not apply: no protection level, or nothing of the line outside the earth termination"
	noClause    = "does not apply: the sharing is computed"
	pvTabulated = "does not apply: the value is tabulated for photovoltaic lines"
	noLevel     = "does not apply: no lightning protection level"
	behindFirst = "does not apply: the device at the entrance takes it"
	nextValue   = "next preferred value upwards"
	asPrinted   = "as printed in the table"
)

// Reasons of the impulse current.
var (
	byFirstShare = rule{"Half of the lightning current goes to earth, the other half divides over the lines that lead to another earth, and over their conductors.", stdThreat + "E.2", read}
	byImpedance  = rule{"The earthing impedances drive more into the line than the half-and-half rule. Z is taken by the class of the LPS at the next higher resistivity of the table, or as the earth resistance where that is higher, Z_1 at the next lower, Z_2 as Z_1: the safe side.", stdThreat + "E.2 and Table E.1", memory}
	byLineFlash  = rule{"Flash to the line: the table for four conductors, more where there are fewer.", stdThreat + "Table E.2", memory}
	byPairFlash  = rule{"Flash to the line: the table, five times as much for an unshielded drop wire.", stdThreat + "Table E.3", memory}
	byClause     = rule{"Minimum of the clause, the sharing not being computed.", stdSPD, read}
	byNPE        = rule{"The N-PE path carries the sum of the line and neutral conductors, at least the minimum of the clause.", "CLC/TS 61643-12; " + stdSPD, memory}
	byPVTable    = rule{"Photovoltaic class I device, voltage-switching or combination, separation distance not kept, fewer than four down-conductors or their number not known.", stdPV + "Table A.2", read}
	byPVTable4   = rule{"Photovoltaic class I device, voltage-switching or combination, separation distance not kept, four down-conductors or more.", stdPV + "Table A.2", read}
	byNominal    = rule{"Minimum of the clause.", stdSPD, read}
	bySurge      = rule{"Largest 8/20 surge of the protection level.", stdThreat + "Tables E.2, E.3", memory}
	byPVTotal    = rule{"Both poles together, through the connection to earth.", stdPV + "Table A.2", read}
	byC2         = rule{"Lowest preferred value of category C2.", stdData, memory}
	byC1         = rule{"Lowest preferred value of category C1.", stdData, memory}
	byExposure   = rule{"Usual value for the exposure of the site; a rule of the trade, not normative.", "trade handbooks, not normative", read}
)

// sharing is how the lightning current divides between the earth termination
// and the external lines: conventional earthing impedances [ohm] and numbers of lines.
type sharing struct {
	Z, Z1, Z2 float64 // earth termination, buried line, overhead line
	n1, n2    float64 // buried, overhead lines
}

// buried is k_e of one buried line, overhead that of one overhead line.
func (h sharing) buried() float64   { return h.Z / (h.Z1 + h.Z*(h.n1+h.n2*h.Z1/h.Z2)) }
func (h sharing) overhead() float64 { return h.Z / (h.Z2 + h.Z*(h.n2+h.n1*h.Z2/h.Z1)) }

// impulse sets I_imp of a class I or D1 device.
func (s *scheduler) impulse(x *end, en *Entry) {
	i0, iz := s.shares(x, en)
	s3 := s.lineFlash(x, en)
	cl, clN := s.clauseImpulse(x, en)
	t := s.t
	en.IimpMin = Some(t.Set(qIimp, max(i0, iz, s3, cl)))
	why := largest(pick{i0, &byFirstShare}, pick{iz, &byImpedance}, pick{s3, lineFlashRule(x)}, pick{cl, s.clauseRule(x)})
	s.because("iimp_min_ka", "", t.Last(qIimp), why)
	for i := range en.Modes {
		en.Modes[i].IimpMin = en.IimpMin
	}
	if np := neutralPE(en); np != nil {
		m := t.Noted(qM, x.lineAndNeutral(), x.conductorNote())
		np.IimpMin = Some(t.Set(qIimpN, max(m*max(i0, iz, s3), clN)))
		s.because("iimp_min_ka", np.Mode, t.Last(qIimpN), &byNPE)
	}
	if x.tabulated() {
		s.photovoltaicImpulse(x, en, max(i0, iz, s3))
	}
	s.unusual(x, en)
}

// shares returns the current per conductor from a flash to the structure [kA], by the
// first approximation and by the earthing impedances; 0 where one does not apply.
func (s *scheduler) shares(x *end, en *Entry) (first, impedances float64) {
	t := s.t
	if !x.bonded() || x.inducedOnly() {
		note := noSharing
		if x.bonded() {
			note = pvTabulated
		}
		return t.Absent(qI0, note), t.Absent(qIz, note)
	}
	I := t.Pick(qI, threat, rowFromI(en.Level), 0)
	n := s.paths(x)
	part := s.perConductor(x)
	first = t.Set(qI0Share, 0.5*I/n*part)
	en.Share = Share{Paths: int(n), Conductors: x.conductors(), Ke: 0.5 / n, Method: "half of the current to earth"}
	if !s.impedances() {
		s.soilUnknown(x, I, part, first)
		return first, t.Absent(qIz, noSoil)
	}
	k := s.impedanceShare(x)
	impedances = t.Set(qIzShare, k*I*part)
	if impedances > first {
		en.Share.Ke, en.Share.Method = k, "earthing impedances"
	}
	if s.in.SoilResistivity == 0 {
		s.soilUnknown(x, I, part, max(first, impedances))
	}
	return first, impedances
}

// lineFlash returns the current per conductor from a flash to the line, S3 [kA].
func (s *scheduler) lineFlash(x *end, en *Entry) float64 {
	switch {
	case x.telecom(): // D1 stands for such currents: at least those of the lowest level
		return s.flashToLine(x, max(en.Level, risk.LevelIIIIV))
	case !x.inducedOnly() && en.Level != risk.NoSPD:
		return s.flashToLine(x, en.Level)
	}
	return s.t.Absent(qS3base, noDirect)
}

// flashToLine records S3 of Tables E.2 and E.3 for the conductors that the line has [kA].
func (s *scheduler) flashToLine(x *end, level risk.Level) float64 {
	t := s.t
	switch {
	case !x.telecom():
		printed := t.Pick(qS3printed, surgesPower, rowFromIV(level), colS3)
		return t.Set(qS3four, printed*4/t.Noted(qNc, x.conductors(), x.conductorNote()))
	case x.dropWire():
		return t.Set(qS3drop, 5*t.Pick(qS3printed, surgesTelecom, rowFromIV(level), colS3))
	}
	return t.Set(qS3pairs, t.Pick(qS3printed, surgesTelecom, rowFromIV(level), colS3))
}

func lineFlashRule(x *end) *rule {
	if x.telecom() {
		return &byPairFlash
	}
	return &byLineFlash
}

// clauseImpulse returns the impulse currents set by a clause or table, per mode and N-PE in CT2 [kA].
func (s *scheduler) clauseImpulse(x *end, en *Entry) (perMode, npe float64) {
	t := s.t
	switch {
	case x.tabulated():
		return t.Pick(qIcl, pvSwitching, x.pvRow(en.Level), 0), 0
	case x.bonded() || x.telecom():
		return t.Absent(qIcl, noClause), t.Absent(qIclN, noClause)
	}
	return t.Pick(qIcl, minima, rowPerMode, colIimp), t.Pick(qIclN, minima, x.rowNPE(), colIimp)
}

// tabulated reports a photovoltaic line for which the table of an array on the protected building counts. An array
// elsewhere is asked for the larger of table and sharing.
func (x *end) tabulated() bool { return x.pv() && x.bonded() }

// pvRow is the row of the table of photovoltaic class I devices.
func (x *end) pvRow(level risk.Level) int {
	if x.site.s.DownConductors >= 4 {
		return rowFromI(level) + pvFourOrMore
	}
	return rowFromI(level)
}

// photovoltaicImpulse sets the total current, and what a voltage-limiting device is excused to. Where the share of the line is above
// the table, no device is excused.
func (s *scheduler) photovoltaicImpulse(x *end, en *Entry, share float64) {
	t := s.t
	row := x.pvRow(en.Level)
	total := t.Pick(qPVtotal, pvSwitching, row, 1)
	en.IimpTotalMin = Some(t.Set(qIimpTotal, max(total, 2*share)))
	s.because("iimp_total_min_ka", "", t.Last(qIimpTotal), &byPVTotal)
	if table := t.Value(pvSwitching, row, 0); share > table {
		if x.l.Electrical.ArrayPlace == risk.ArrayNotStated {
			s.note("Where the array stands is not stated: with the array on the building itself " + amount(table, "kA") + " per pole would do.")
		}
		return
	}
	en.LimitingInMin = Some(t.Pick(qNlim, pvLimiting, row, 0))
	limiting := t.Pick(qIlimTable, pvLimiting, row, 1)
	en.LimitingIimpMin = Some(t.Set(qIlim, max(limiting, share)))
	s.note(amount(en.IimpTotalMin.Value, "kA") + " 10/350 in total to PE; a voltage-limiting device may be rated " +
		amount(en.LimitingIimpMin.Value, "kA") + " 10/350 with I_n " + amount(en.LimitingInMin.Value, "kA") + " each (from memory).")
}

func (s *scheduler) clauseRule(x *end) *rule {
	switch {
	case !x.tabulated():
		return &byClause
	case x.site.s.DownConductors >= 4:
		return &byPVTable4
	}
	return &byPVTable
}

// unusual names the ways out where the current is above what devices are usually rated for.
func (s *scheduler) unusual(x *end, en *Entry) {
	switch {
	case x.telecom() && en.IimpMin.Value > 2.5:
		s.note("More than the preferred values of category D1: more pairs, a screen bonded at both ends, an isolating interface or optical " +
			"fibre, or another place for the line lower the current.")
	case !x.telecom() && en.IimpMin.Value > 25:
		s.note("More than the preferred values of I_imp end at, 25 kA: a screen bonded at both ends, more lines to an earth of their own, " +
			"a better earth, an isolating transformer, or another place for the line or the array lower the current.")
	}
}

// nominal sets I_n, and I_max where the trade states one.
func (s *scheduler) nominal(x *end, en *Entry) {
	t := s.t
	switch {
	case en.TestClass == ClassIII:
		return
	case en.TestClass == C2 && en.Position == AtEquipment:
		en.InMin = Some(t.Pick(qInC2, preferred, prefC2, 0))
		s.because("in_min_ka", "", t.Last(qIn), &byC2)
	case en.TestClass == C1:
		en.InMin = Some(t.Pick(qInC1, preferred, prefC1, 0))
		s.because("in_min_ka", "", t.Last(qIn), &byC1)
	default:
		cl, clN := s.clauseNominal(x)
		s1, s2, s4 := s.surges(x, en)
		en.InMin = Some(t.Set(qIn, max(cl, s1, s2, s4)))
		s.because("in_min_ka", "", t.Last(qIn), largest(pick{cl, &byNominal}, pick{max(s1, s2, s4), &bySurge}))
		if np := neutralPE(en); np != nil {
			m := t.Noted(qM, x.lineAndNeutral(), x.conductorNote())
			np.InMin = Some(t.Set(qInN, max(clN, m*en.InMin.Value)))
			s.because("in_min_ka", np.Mode, t.Last(qInN), &byNPE)
		}
	}
	for i := range en.Modes {
		if !en.Modes[i].InMin.Valid {
			en.Modes[i].InMin = en.InMin
		}
	}
	if !x.telecom() && en.Position != AtEquipment && en.TestClass != ClassI {
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
