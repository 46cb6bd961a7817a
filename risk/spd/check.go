package spd

import (
	"math"
	"strings"

	"levinward/risk"
	"levinward/risk/trace"
)

// Cautions of a check.
const (
	cautionPractice = "This is a screening aid: local codes and a licensed practitioner decide."
	cautionDirect   = "Direct current can kill: an array is live whenever there is light, a battery cannot be switched off."
	cautionLeads    = "Not checked: leads. Both together are at most 0.5 m; measure them."
	cautionThrough  = "Not checked: leads. Wire through the terminals of the device: the equipment bears no voltage on leads."
	cautionDistance = "Not checked: distance. Beyond 10 m of cable to the equipment a second device belongs there."
	cautionSecond   = "Not checked: a second device at the equipment belongs to this one."
	cautionBackup   = "Not checked: backup overcurrent device. Its rating does not exceed the value stated by the maker."
	cautionShort    = "Not checked: short-circuit rating. The prospective short-circuit current of the line is not known."
	cautionMaximum  = "Not checked: I_max, which the data sheet does not state. One below the usual value for the exposure wears out sooner."
	cautionStorage  = "IEC 61643-31 excludes storage: check the device against the voltage and short-circuit current of the battery too."
)

// Demand is what the schedule would ask for at an end of one line, given with the structure it enters; nil stands for
// one of which nothing is known. A U_W of 0 is not stated and taken from the tables by kind of equipment, for an input of known
// limit never above that of a charge controller. It is false where no device can have such a place.
func Demand(l *risk.Line, s *risk.Structure, place Position, r *trace.Reviews) (Entry, bool) {
	line := *l
	line.Structure, line.To = 0, -1
	if line.Withstand == 0 {
		line.Withstand = unstatedWithstand(&line, r)
	}
	in := risk.Input{Structures: make([]risk.Structure, 1), Lines: []risk.Line{line}, Reviews: r}
	if s != nil {
		in.Structures[0] = *s
	}
	in.Structures[0].NotAssessed, in.Structures[0].Zones = false, nil // zones name lines by their place in another input
	if e, ok := at(place, &in); ok || place != AtEquipment {
		return e, ok
	}
	in.Lines[0].Electrical.EquipmentDistance = math.Nextafter(farAway, math.Inf(1)) // one is wanted there all the same
	return at(place, &in)
}

// at is the entry of the only line at a place.
func at(place Position, in *risk.Input) (Entry, bool) {
	entries := Schedule(in, &risk.Result{}, nil, nil)
	for i := range entries {
		if entries[i].Position == place {
			return entries[i], true
		}
	}
	return Entry{}, false
}

// unstatedWithstand is U_W [kV] by the tables.
func unstatedWithstand(l *risk.Line, r *trace.Reviews) float64 {
	U := Withstand(l.Service, &l.Electrical, r).Withstand
	if limit := l.Electrical.EquipmentMaxInput; limit > 0 && l.Service != risk.Telecom && l.Electrical.Current == risk.DC {
		other := photovoltaicWithstand(&risk.Electrical{OpenCircuit: limit, Equipment: risk.OtherEquipment}, r)
		U = min(U, other.Withstand)
	}
	return U
}

// Check says whether a device is right for a place, rule by rule. The verdict is the worst of the findings, from
// suitable over insufficient_data and ineffective to unsuitable. A rule that does not apply has no finding. An entry that the
// data sheet does not state makes its rule insufficient_data; a fact of the installation or of the network
// that is not told leaves its rule out and becomes a caution; so does an I_max that is not stated. I_max is
// compared with a usual value that is not normative: it is suitable whatever it is, with a negative margin where it is low.
func Check(d *Device, p *Place) CheckResult {
	c := checker{d: d, e: p.Entry, p: p, n: NeedOf(p.Entry)}
	c.learn()
	c.voltages()
	c.ratings()
	c.paths()
	c.leadsFinding()
	c.distanceFinding()
	c.firstStageFindings()
	c.backupFinding()
	c.earthFinding()
	for i := range c.out.Findings {
		c.out.Verdict = max(c.out.Verdict, c.out.Findings[i].Verdict)
	}
	c.caution(cautionPractice)
	if c.n.direct() && c.e.Service != risk.Telecom {
		c.caution(cautionDirect)
	}
	c.out.Sentence, c.out.WayOut = c.sentence(), c.wayOut()
	return c.out
}

type checker struct {
	d            *Device
	e            *Entry
	p            *Place
	n            Need
	lead         Opt // both leads together [m], where told
	distance     Opt // [m], where told
	second       Presence
	shielded     bool
	photovoltaic bool
	out          CheckResult
}

// learn gathers what is told of the installation and the line.
func (c *checker) learn() {
	i := &c.p.Installation
	c.lead, c.distance, c.second, c.shielded = i.LeadLength, i.Distance, i.Second, i.Shielded
	l := c.p.Line
	if l == nil {
		return
	}
	el := &l.Electrical
	if !c.lead.Valid && el.LeadLength > 0 {
		c.lead = Some(el.LeadLength)
	}
	if !c.distance.Valid && el.EquipmentDistance > 0 {
		c.distance = Some(el.EquipmentDistance)
	}
	c.photovoltaic = l.Service != risk.Telecom && el.Current == risk.DC && el.Origin == risk.Photovoltaic
	if c.second == NotTold {
		switch el.SecondDevice {
		case risk.Yes:
			c.second = Present
		case risk.No:
			c.second = Absent
		}
	}
	c.shielded = c.shielded || el.ShieldedWiring
	if c.photovoltaic && el.Equipment == risk.ChargeController {
		c.caution(cautionStorage)
	}
}

func (c *checker) caution(text string) { c.out.Cautions = append(c.out.Cautions, text) }

// add appends a finding. Telecommunication lines are no matter of the clause on power installations.
func (c *checker) add(f Finding) {
	if c.n.telecom && f.Clause == stdSPD {
		f.Clause, f.Provenance = stdSystem, memory
	}
	c.out.Findings = append(c.out.Findings, f)
}

// comparison is a rule that compares a number of the data sheet.
type comparison struct {
	rule            Rule
	mode            string
	verdict         Verdict
	required, found Opt
	most            bool // at most, not at least
	unit            string
	entry           string // the data-sheet entry to look for
	field           string // the value of the schedule whose basis tells where the requirement comes from
	why             rule
}

// compare adds the finding of a comparison.
func (c *checker) compare(m comparison) {
	f := Finding{Rule: m.rule, Mode: m.mode, Verdict: m.verdict, Required: "not known", Found: "not stated", Reason: m.why.reason,
		Clause: m.why.clause, Provenance: m.why.provenance}
	if m.required.Valid {
		f.Required = "at least " + amount(m.required.Value, m.unit)
		if m.most {
			f.Required = "at most " + amount(m.required.Value, m.unit)
		}
	}
	if b := c.basis(m.field, m.mode); b != nil {
		f.Reason += " Required: " + lowerFirst(b.Reason)
		f.Clause, f.Provenance = b.Clause, b.Provenance
	}
	switch {
	case !m.found.Valid:
		f.Reason = "Look on the data sheet for " + m.entry + ". " + f.Reason
	case m.required.Valid:
		f.Margin = margin(m.found.Value, m.required.Value, m.most)
	}
	if m.found.Valid {
		f.Found = amount(m.found.Value, m.unit)
	}
	c.add(f)
}

// margin is the reserve as a share of what is required.
func margin(found, required float64, most bool) Opt {
	if required == 0 {
		return Opt{}
	}
	if most {
		return Some(1 - found/required) // 0, not -0, where both are the same
	}
	return Some(found/required - 1)
}

// basis finds the reason of a value of the entry, that of the mode first.
func (c *checker) basis(field, mode string) *Basis {
	var all *Basis
	for i := range c.e.Basis {
		b := &c.e.Basis[i]
		switch {
		case b.Field != field:
		case b.Mode == mode && mode != "":
			return b
		case all == nil:
			all = b
		}
	}
	return all
}

// Reasons of the findings.
var (
	whyKind   = rule{"A device for a.c. only cannot interrupt direct current, and one for d.c. only is not proved for a.c.", trade, practice}
	whyLowest = rule{"The device must stay inactive up to the highest operating voltage; below that it heats up and fails.", stdSPD, read}
	whyOnset  = rule{"A device begins to act at about 1.0 to 1.2 times the peak of an a.c. U_C, 1.06 to 1.3 times a d.c. one; if " +
		"already the lower is more than may reach the equipment, it protects nothing.", trade, practice}
	whyUp    = rule{"U_P, with the voltage on the leads, is what the equipment gets.", stdSystem, memory}
	whyClass = rule{"Partial lightning currents need the 10/350 test of class I or D1; a class for heavier duty serves for a lighter " +
		"one.", stdPower + "; " + stdData, memory}
	whyNominal  = rule{"The device carries surges 8/20 of this size repeatedly.", stdSPD, read}
	whyImpulse  = rule{"The device carries its share of the lightning current; below that it is destroyed.", stdSPD, read}
	whyMaximum  = rule{"Not below the usual value for this exposure, a rule of the trade.", "trade handbooks, not normative", read}
	whyShort    = rule{"A failing device must survive the short-circuit current until the backup device interrupts it.", stdSPD, read}
	whyFollow   = rule{"A device that switches must interrupt the current that follows the surge.", stdSPD, memory}
	whyLimiting = rule{"A voltage-limiting device carries no follow current.", stdPower, memory}
	whyModes    = rule{"A surge reaches the equipment on every path that is not protected.", stdSPD, memory}
	whyCT       = rule{"The type of system earthing allows these connection types; in TT a device from line to PE upstream of the " +
		"residual-current device is not allowed.", stdSPD, memory}
	whyTOV = rule{"The device bears a fault of the supply as long as it lasts; with the neutral lost it may fail in a safe way.",
		stdTOV, memory}
	whyUoc = rule{"The device carries the combination wave of what stands behind it.", stdPower, memory}
	whySum = rule{"The equipment stands between its line and PE: in CT2 that is L-N and N-PE behind each other. The maker's U_P for " +
		"L-PE counts; without it the sum of both, which proves nothing where it is too high.", stdSPD, memory}
	whyLeads    = rule{"Each metre of lead adds about 1 kV to U_P: together at most 0.5 m, never over 1 m.", stdSPD, read}
	whyDistance = rule{"Beyond 10 m the voltage at the equipment can double by oscillation: a second device there, or U_P with leads at " +
		"most half of U_W.", stdSPD, read}
	whyVital = rule{"Life or a public service is at stake: a second device at the equipment, or U_P with leads at most half of U_W.",
		stdSystem, memory}
	whyBackup = rule{"A larger overcurrent device does not protect a failing device; add one of the stated rating.", stdSPD, memory}
	whyEarth  = rule{"A device moves the surge to earth: without an earth connection it protects nothing.", trade, practice}
)

// whyWearsOut is the reason where I_max is low.
const whyWearsOut = "Below the usual value for this exposure: wears out sooner."

// voltages checks the kind of current, both bounds of U_C and U_P.
func (c *checker) voltages() {
	d, e := c.d, c.e
	if e.Service != risk.Telecom {
		c.add(Finding{Rule: RuleCurrentKind, Verdict: d.currentKind(&c.n), Required: "rated for " + kindOf(e.Current), Found: d.kinds(),
			Reason: lookFor(!d.AC && !d.DC, "the kind of current, a.c. or d.c.", whyKind.reason), Clause: whyKind.clause,
			Provenance: whyKind.provenance})
	}
	c.lowestFindings()
	c.onsetFinding(d.uc(&c.n))
	c.levelFindings()
	c.sheetFindings()
}

// lowestFindings compares U_C of every mode that can be judged.
func (c *checker) lowestFindings() {
	d, n := c.d, &c.n
	uc := d.uc(n)
	lowest := comparison{rule: RuleLowestUc, required: d.ucNeed(n), found: uc, unit: "V", entry: c.ucEntry(), field: "uc_min_v",
		why: whyLowest}
	lowest.verdict = InsufficientData
	if n.ucMin.Valid {
		lowest.verdict = rated(uc, d.ucNeed(n))
	} else {
		lowest.required = Opt{}
		lowest.why.reason = c.voltageWanted() + " " + lowest.why.reason
	}
	c.compare(lowest)
	if !n.ucMin.Valid {
		return
	}
	through := d.lowestUcThrough(n)
	if n.through && !d.eachToEarth(n) && (d.UcLPE.Valid || through != Suitable) {
		c.compare(comparison{rule: RuleLowestUc, mode: modeLPE, verdict: through, required: n.ucLPE, found: d.UcLPE, unit: "V",
			entry: "U_C between line and PE", field: "uc_min_v", why: whyLowest})
	}
	if n.ucNPE.Valid && d.UcNPE.Valid {
		c.compare(comparison{rule: RuleLowestUc, mode: modeNPE, verdict: d.lowestUcNPE(n), required: n.ucNPE, found: d.UcNPE, unit: "V",
			entry: "U_C of N-PE", field: "uc_min_v", why: whyLowest})
	}
	if n.ucLL.Valid && d.UcLL.Valid {
		c.compare(comparison{rule: RuleLowestUc, mode: "L-L", verdict: d.lowestUcLines(n), required: n.ucLL, found: d.UcLL, unit: "V",
			entry: "U_C between lines", why: whyLowest})
	}
}

// acts is the range of voltage [V] in which the device begins to act.
func (c *checker) acts(uc float64) (low, high float64) {
	row := c.d.onsetRow(&c.n)
	peak := uc * c.n.reviews.Value(onset, row, onsetPeak)
	return c.n.reviews.Value(onset, row, onsetLow) * peak, c.n.reviews.Value(onset, row, onsetHigh) * peak
}

func (c *checker) onsetFinding(uc Opt) {
	limit := c.n.limit
	f := Finding{Rule: RuleHighestUc, Verdict: c.d.highestUc(&c.n), Required: "not known", Found: "not stated",
		Reason: lookFor(!uc.Valid, c.ucEntry(), whyOnset.reason), Clause: whyOnset.clause, Provenance: whyOnset.provenance}
	if limit.Valid {
		f.Required = "begins to act below " + amount(1000*limit.Value, "V")
	}
	if uc.Valid {
		low, high := c.acts(uc.Value)
		f.Found = "begins to act at about " + span(low, high)
		if limit.Valid {
			f.Margin = margin(high, 1000*limit.Value, true)
		}
		if f.Verdict == InsufficientData && limit.Valid {
			f.Reason = "It may begin to act only above this: a lower U_C is needed, or equipment that withstands more. " + f.Reason
		}
	}
	c.add(f)
}

// level returns a U_P with its leads [kV] and its limit: with the leads where both they and the limit are known, otherwise U_P alone
// against what the schedule allows for it.
func (c *checker) level(up Opt) (found, limit Opt) {
	if !c.lead.Valid || !c.e.EffectiveMax.Valid {
		return up, c.e.UpMax
	}
	if !up.Valid {
		return Opt{}, c.e.EffectiveMax
	}
	return Some(c.d.effective(up.Value, c.lead.Value, c.e.TestClass, c.e.Reviews)), c.e.EffectiveMax
}

// levelVerdict judges U_P with its leads between live conductors.
func (c *checker) levelVerdict() Verdict {
	found, limit := c.level(c.d.up(&c.n))
	switch {
	case !found.Valid:
		return InsufficientData
	case !limit.Valid && c.n.contradiction:
		return Ineffective
	case !limit.Valid:
		return InsufficientData
	case falls(limit.Value, found.Value):
		return Ineffective
	}
	return Suitable
}

// Effective is U_P/F [kV], U_P with the voltage on leads of a length [m]: their sum, for a switching device the
// larger of the two. Leads carry partial lightning currents in class I and D1, and count so beyond 0.5 m.
func (d *Device) Effective(leads float64, c TestClass, r *trace.Reviews) float64 {
	return d.effective(d.Up.Value, leads, c, r)
}

func (d *Device) effective(up, leads float64, c TestClass, r *trace.Reviews) float64 {
	if leads <= 0 {
		return up
	}
	drop := r.Value(leadDrop, leadRow(leads, c), 0) * leads
	if d.Technology == Switching {
		return max(up, drop)
	}
	return up + max(drop, r.Value(leadDrop, leadsInduced, 1)*up)
}

// levelFindings compares U_P of every mode that can be judged; of two devices behind each other the leads count once.
func (c *checker) levelFindings() {
	found, limit := c.level(c.d.up(&c.n))
	c.levelFinding(comparison{verdict: c.levelVerdict(), required: limit, found: found, entry: "U_P, the voltage protection level",
		why: whyUp})
	list := c.d.upApart(&c.n)
	for i := range list {
		a := &list[i]
		found, limit := c.level(a.value)
		m := comparison{mode: a.mode, verdict: a.judge(limit, found), required: limit, found: found, entry: "U_P between line and PE", why: whyUp}
		if a.mode == modeLPE {
			m.why = whySum
		}
		if a.mode != "" && (found.Valid || m.verdict != Suitable) {
			c.levelFinding(m)
		}
	}
}

func (c *checker) levelFinding(m comparison) {
	m.rule, m.most, m.unit, m.field = RuleProtectionLevel, true, "kV", "up_max_kv"
	if !m.required.Valid && c.e.EffectiveMax.Valid {
		m.why.reason = "No preferred U_P is low enough for this equipment. " + m.why.reason
	}
	if m.mode == modeLPE && m.found.Valid && m.verdict == InsufficientData {
		m.why.reason = "Look on the data sheet for U_P between line and PE. " + m.why.reason
	}
	c.compare(m)
	if f := &c.out.Findings[len(c.out.Findings)-1]; c.lead.Valid && c.e.EffectiveMax.Valid && m.found.Valid {
		f.Found += " with leads of " + amount(c.lead.Value, "m")
	}
}

// ratings checks the test class and the currents.
func (c *checker) ratings() {
	d, e := c.d, c.e
	c.add(Finding{Rule: RuleTestClass, Verdict: d.tested(&c.n), Required: "class " + string(e.TestClass), Found: list(d.Classes.Names()),
		Reason: lookFor(d.Classes == 0, "the test class", whyClass.reason), Clause: whyClass.clause, Provenance: whyClass.provenance})
	npe := neutralPE(e)
	if !d.sums(&c.n) {
		npe = nil
	}
	if e.InMin.Valid {
		low := d.nominalMin(&c.n)
		c.compare(comparison{rule: RuleNominalCurrent, verdict: rated(d.In, low), required: low, found: d.In, unit: "kA",
			entry: "I_n, the nominal discharge current 8/20", field: "in_min_ka", why: whyNominal})
		if npe != nil {
			c.compare(comparison{rule: RuleNominalCurrent, mode: modeNPE, verdict: d.nominalNPE(&c.n), required: npe.InMin,
				found: statedNPE(d.InNPE, d.In, npe.InMin), unit: "kA",
				entry: "I_n of the N-PE path", field: "in_min_ka", why: whyNominal})
		}
	}
	if v := d.openCircuit(&c.n); e.UocMin.Valid && (v != Suitable || d.Uoc.Valid) {
		c.compare(comparison{rule: RuleOpenCircuit, verdict: v, required: e.UocMin, found: d.Uoc, unit: "kV",
			entry: "U_OC, the open-circuit voltage of the class III test", field: "uoc_min_kv", why: whyUoc})
	}
	if e.IimpMin.Valid {
		low := d.impulseMin(&c.n)
		c.compare(comparison{rule: RuleImpulseCurrent, verdict: rated(d.Iimp, low), required: low, found: d.Iimp, unit: "kA",
			entry: "I_imp, the impulse current 10/350", field: "iimp_min_ka", why: whyImpulse})
		if npe != nil {
			c.compare(comparison{rule: RuleImpulseCurrent, mode: modeNPE, verdict: d.impulseNPE(&c.n), required: npe.IimpMin,
				found: statedNPE(d.IimpNPE, d.Iimp, npe.IimpMin), unit: "kA",
				entry: "I_imp of the N-PE path", field: "iimp_min_ka", why: whyImpulse})
		}
	}
	c.maximumFinding()
	c.shortCircuitFindings()
}

// forDirect names the kind of current on lines of direct current.
func (c *checker) forDirect() string {
	if c.n.direct() {
		return ", for d.c."
	}
	return ""
}

// maximumFinding compares I_max with the usual value, which is guidance: whatever it is, the device is not wrong for it.
// Class I devices are rated by I_imp.
func (c *checker) maximumFinding() {
	usual, found := c.e.ImaxMin, c.d.Imax
	switch {
	case c.e.TestClass != ClassII || !usual.Valid:
	case !found.Valid:
		c.caution(cautionMaximum)
	default:
		why := whyMaximum
		if falls(found.Value, usual.Value) {
			why.reason = whyWearsOut
		}
		c.compare(comparison{rule: RuleMaximumCurrent, required: usual, found: found, unit: "kA", field: "imax_min_ka", why: why})
		f := &c.out.Findings[len(c.out.Findings)-1]
		f.Required = "usual " + strings.TrimPrefix(f.Required, "at least ")
	}
}

// statedNPE is the rating that stands for N-PE: its own, or that of every mode where it is high enough.
func statedNPE(apart, every, required Opt) Opt {
	if !apart.Valid && ratedNPE(apart, every, required) == Suitable {
		return every
	}
	return apart
}

func (c *checker) shortCircuitFindings() {
	d, e := c.d, c.e
	if e.Service == risk.Telecom {
		return
	}
	if e.ShortCircuitMin.Valid {
		entry := "I_SCCR, the short-circuit current rating"
		if c.photovoltaic {
			entry = "I_SCPV, the short-circuit current rating"
		}
		c.compare(comparison{rule: RuleShortCircuit, verdict: rated(d.ShortCircuit, e.ShortCircuitMin), required: e.ShortCircuitMin,
			found: d.ShortCircuit, unit: "kA", entry: entry, field: "short_circuit_min_ka", why: whyShort})
	} else {
		c.caution(cautionShort)
	}
	switch v := d.followCurrent(&c.n); {
	case d.Technology == Limiting:
		c.add(Finding{Rule: RuleFollowCurrent, Verdict: v, Required: "none", Found: "voltage-limiting", Reason: whyLimiting.reason,
			Clause: whyLimiting.clause, Provenance: whyLimiting.provenance})
	case d.Technology == TechnologyNotStated:
		c.add(Finding{Rule: RuleFollowCurrent, Verdict: v, Required: "technology stated", Found: "not stated",
			Reason: lookFor(true, "the technology: voltage-limiting, voltage-switching or combination", whyFollow.reason),
			Clause: whyFollow.clause, Provenance: whyFollow.provenance})
	default:
		c.compare(comparison{rule: RuleFollowCurrent, verdict: v, required: e.ShortCircuitMin, found: d.follow(&c.n), unit: "kA",
			entry: "I_fi, the follow current interrupt rating" + c.forDirect(), field: "short_circuit_min_ka", why: whyFollow})
	}
}
