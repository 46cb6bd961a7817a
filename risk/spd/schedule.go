package spd

import (
	"slices"

	"levinward/risk"
	"levinward/risk/trace"
)

const (
	leadLimit = 0.5  // longest connecting leads together [m]
	farAway   = 10.0 // cable beyond which a second device is needed [m]
)

// Names of the modes of protection.
const (
	modeLN   = "L-N"
	modeLPE  = "L-PE"
	modeLPEN = "L-PEN"
	modeNPE  = "N-PE"
)

// Reasons of the remaining values.
var (
	byCRL          = rule{"f_env F / (L_P N_G); below 1000 a device is required. F = 1; a part of the supply that is not described counts as aerial low voltage up to 1 km.", std443, read}
	byCritical     = rule{"Constant of the kind of building divided by N_G.", std712, read}
	byShortCircuit = rule{"Prospective short-circuit current at the device.", stdSPD, read}
	byPVCurrent    = rule{"1.25 times the short-circuit current of the array.", std712, read}
	byPVBattery    = rule{"The larger of 1.25 times the short-circuit current of the array and the short-circuit current given for the line, that of a battery.", std712 + "; " + trade, practice}
	byLeadLimit    = rule{"Both connecting leads together at most 0.5 m, never over 1 m.", stdSPD, read}
	bySection      = rule{"Copper, by class; for class I at least I_imp / 8, next standard cross-section.", stdSPD + "; GB 50057", memory}
)

const (
	noteNotStated = "Taken as 230 V a.c., not stated: find out what the line carries before ordering. Never fit this device to an array, a battery or a data line."
	noteSecond    = "The notes at the entrance of this line, earth first, hold here too."
	noteBackup    = "The backup overcurrent device does not exceed the value stated by the maker."
	noteFollow    = "A spark gap interrupts at least the prospective short-circuit current, in N-PE at least 100 A (TN, TT; from memory)."
)

// Schedule says for every line end at an assessed structure which device it
// needs, in the order of structures, then lines; a second device follows the first of its
// line. The input must be valid and res and rec must belong to it; without rec
// the measures are those of the input. With a nil trace nothing is recorded.
func Schedule(in *risk.Input, res *risk.Result, rec *risk.Recommendation, t *trace.Trace) []Entry {
	devices := 0
	for si := range in.Structures {
		for li := range in.Lines {
			if x := (end{structure: si, line: li, l: &in.Lines[li], second: vital(&in.Structures[si])}); here(in, si, li) {
				devices += 2 + len(x.further())
			}
		}
	}
	if devices == 0 {
		return nil
	}
	t = t.With(in.Reviews)
	s := &scheduler{
		in: in, t: t, NG: res.NG, acceptable: acceptable(res, rec),
		entries: make([]Entry, 0, devices),
		reasons: make([]risk.Reason, 0, 5*devices),
		modes:   make([]Mode, 0, 3*devices),
		notes:   make([]string, 0, 6*devices),
		bases:   make([]Basis, 0, 14*devices),
	}
	t.Noted(qNG, res.NG, "as used by the risk assessment")
	for si := range in.Structures {
		if !in.Structures[si].NotAssessed {
			s.structure(si, rec)
		}
	}
	return s.entries
}

// here reports whether line li has an end at structure si that is scheduled.
func here(in *risk.Input, si, li int) bool {
	return !in.Structures[si].NotAssessed && in.Lines[li].Ends(si)
}

// acceptable reports whether every risk is within its limit under the recommended measures.
func acceptable(res *risk.Result, rec *risk.Recommendation) bool {
	if rec != nil {
		return !rec.Needed || rec.Sufficient
	}
	for i := range res.Structures {
		for j := range res.Structures[i].Risks {
			if r := &res.Structures[i].Risks[j]; r.Applies && !r.Acceptable() {
				return false
			}
		}
	}
	return true
}

// scheduler builds the entries. Their lists share one array each, so that a schedule costs few allocations.
type scheduler struct {
	in         *risk.Input
	t          *trace.Trace
	NG         float64
	acceptable bool
	site       site

	entries       []Entry
	reasons       []risk.Reason
	modes         []Mode
	notes         []string
	entranceNotes []string // notes at the entrance of the line, while devices beyond it are scheduled
	bases         []Basis
}

// note adds a note unless the entrance of the line has told it already.
func (s *scheduler) note(text string) {
	if !slices.Contains(s.entranceNotes, text) {
		s.notes = append(s.notes, text)
	}
}

// because gives the reason of a value. What the value rests on is the weakest of its steps, or the reason itself
// where that is weaker; value is 0 for one that no step computes.
func (s *scheduler) because(field, mode string, value trace.Mark, why *rule) {
	ground := s.t.Rests(value)
	if s.t.Records() && why.provenance.WeakerThan(ground.Provenance) {
		ground = trace.Ground{Provenance: why.provenance}
	}
	s.bases = append(s.bases, Basis{Field: field, Mode: mode, Reason: why.reason, Clause: why.clause, Provenance: why.provenance,
		RestsOn: ground})
}

// site is what all line ends at one structure have in common.
type site struct {
	index      int
	s          *risk.Structure
	measures   []risk.EndMeasures
	lps        bool       // there is an LPS, or is to be one
	level      risk.Level // its LPL
	classed    bool       // its class is known
	paths      []path     // that lead lightning current to another earth
	vital      bool       // life or a public service is at stake
	storage    bool       // a battery line enters
	acNeeds    bool       // an a.c. line end requires a device
	powerNeeds bool       // a power line end requires a device
	separated  bool       // the separation distance is kept, by computation
}

// structure schedules the line ends of one structure.
func (s *scheduler) structure(si int, rec *risk.Recommendation) {
	s.enterSite(si, rec)
	s.t.Enter(s.site.s.ID, "/structures", si)
	from := len(s.entries)
	for li := range s.in.Lines {
		if s.in.Lines[li].Ends(si) {
			s.line(s.end(li))
		}
	}
	s.serveBoards(from)
	s.t.Leave()
}

func (s *scheduler) enterSite(si int, rec *risk.Recommendation) {
	st := &s.in.Structures[si]
	p := site{index: si, s: st, vital: vital(st)}
	class := st.LPS
	if rec != nil {
		for i := range rec.Set.Structures {
			if m := &rec.Set.Structures[i]; m.Structure == si {
				p.measures = m.Measures.Ends
				class = max(class, m.Measures.LPS)
			}
		}
	}
	p.lps, p.level = protectionLevel(class, st.NaturalLPS)
	p.classed = class != risk.NoLPS
	for li := range s.in.Lines {
		l := &s.in.Lines[li]
		if !l.Ends(si) {
			continue
		}
		x := end{structure: si, line: li, l: l}
		p.storage = p.storage || x.direct() && l.Electrical.Origin == risk.Battery
	}
	p.findPaths(s.in)
	s.site = p
	s.site.separated = s.quietly().separates()
	s.findNeeds()
}

// findNeeds asks beforehand, without recording, whether the power lines need devices: other lines follow them.
func (s *scheduler) findNeeds() {
	t := s.t
	s.t = nil
	for _, direct := range [...]bool{false, true} {
		for li := range s.in.Lines {
			if x := s.end(li); x.l.Ends(x.structure) && !x.telecom() && x.direct() == direct && s.need(&x).asked() {
				s.site.powerNeeds = true
				s.site.acNeeds = s.site.acNeeds || !direct
			}
		}
	}
	s.t = t
}

// line schedules the devices at one line end.
func (s *scheduler) line(x end) {
	s.t.Enter(x.l.ID, "/lines", x.line)
	g := s.need(&x)
	s.device(&x, LineEntrance, g)
	s.entranceNotes = s.entries[len(s.entries)-1].Notes
	for _, place := range s.further(&x) {
		s.t.Enter(string(place), "", 0)
		s.device(&x, place, x.beyond(place, g))
		s.t.Leave()
	}
	s.entranceNotes = nil
	s.t.Leave()
}

// device appends the entry of one device.
func (s *scheduler) device(x *end, place Position, g grounds) {
	r, mo, n, b := len(s.reasons), len(s.modes), len(s.notes), len(s.bases)
	s.reasons = g.tell(s.reasons)
	var entrance *Entry
	if place == AtEquipment {
		entrance = s.entrance(x)
	}
	en := Entry{
		Line: x.line, Structure: x.structure, Position: place, Required: g.obligation() == Required, Obligation: g.obligation(),
		Service: x.l.Service, Current: x.l.Electrical.Current, TestClass: x.class(place), Level: x.level(), Connection: x.connection(),
		Earthing: x.site.s.Earthing, EarthGrade: gradeOf(x.site.s.Earthing), Specifiable: true, Reviews: s.in.Reviews,
	}
	en.AlsoConnection = x.alsoConnection(en.Connection)
	if place == LineEntrance {
		s.exposed(x, &en)
	}
	s.earthNotes(&en)
	if place == AtFarEnd {
		s.farEndNotes(x)
	}
	if x.inZone() {
		en.Zone = x.site.s.Explosion
	}
	s.siteNotes(x, &en)
	s.situation(x, &en)
	s.appendModes(x, en.Connection)
	en.Modes = s.modes[mo:len(s.modes):len(s.modes)]
	if x.pulsed() {
		en.Specifiable = false
		s.note(notePulsed)
	} else {
		s.operating(x, &en)
		s.protection(x, &en, entrance)
	}
	if en.TestClass == ClassI || en.TestClass == D1 {
		s.impulse(x, &en)
	}
	s.nominal(x, &en)
	s.combinationWave(x, &en)
	s.shortCircuit(x, &en)
	s.order(x, &en)
	s.distanceNotes(x, &en, entrance)
	s.connect(x, &en)
	if !en.Specifiable { // nothing to order before what is missing is known
		en.Order = Order{}
	}
	if x.telecom() {
		citeSystem(s.reasons[r:], s.bases[b:])
	}
	en.Because = s.reasons[r:len(s.reasons):len(s.reasons)]
	en.Notes = s.notes[n:len(s.notes):len(s.notes)]
	en.Basis = s.bases[b:len(s.bases):len(s.bases)]
	s.entries = append(s.entries, en)
}

// citeSystem names the document on devices of telecommunication lines where rules common to all lines cite the clause
// on power installations. It was not read, so that what the clause says counts as memory here.
func citeSystem(reasons []risk.Reason, bases []Basis) {
	for i := range reasons {
		if reasons[i].Clause == stdSPD {
			reasons[i].Clause = stdSystem
		}
	}
	for i := range bases {
		if b := &bases[i]; b.Clause == stdSPD {
			b.Clause, b.Provenance = stdSystem, memory
			if b.RestsOn != (trace.Ground{}) && memory.WeakerThan(b.RestsOn.Provenance) {
				b.RestsOn = trace.Ground{Provenance: memory}
			}
		}
	}
}

// exposed tells the figures that the need was decided by.
func (s *scheduler) exposed(x *end, en *Entry) {
	en.CRL, en.CriticalLength = x.crl, x.critical
	if en.CRL.Valid {
		s.because("calculated_risk_level", "", x.crlStep, &byCRL)
	}
	if en.CriticalLength.Valid {
		s.because("critical_length_m", "", x.routeStep, &byCritical)
	}
}

func (s *scheduler) appendModes(x *end, c Connection) {
	add := func(names ...string) {
		for _, n := range names {
			s.modes = append(s.modes, Mode{Mode: n})
		}
	}
	system := x.l.Electrical.System
	switch {
	case x.telecom():
		add("line-line", "line-earth")
	case x.direct():
		add("+/-", "+/PE", "-/PE")
	case c == CT2:
		add(modeLN, modeLPE, modeNPE)
	case system == risk.TNC || system == risk.TNCS:
		add(modeLPEN)
	case x.neutral():
		add(modeLPE, modeNPE)
	default:
		add(modeLPE)
	}
}

// situation notes what is particular to the kind of line.
func (s *scheduler) situation(x *end, en *Entry) {
	if en.Level == risk.BetterThanI {
		s.note("Better than LPL I is asked for: choose above these ratings of LPL I as the stated probability demands.")
	}
	if x.l.Shield.Type != risk.NoShield && x.bonded() {
		s.note("The current is shared as in an unshielded line; a bonded screen lowers it.")
	}
	switch {
	case x.telecom():
		s.note("Match the device to the interface: frequency, attenuation and feeding current.")
	case x.direct():
		s.directNotes(x, en)
	default:
		s.alternatingNotes(x)
	}
}

func (s *scheduler) alternatingNotes(x *end) {
	el := &x.l.Electrical
	if el.NotStated {
		s.note(noteNotStated)
	}
	s.note("A device for a.c.: a rating for d.c. alone does not serve.")
	if !el.SourceConnected && x.l.Length() > 0 {
		s.note("A line that leaves the building is not made safe by switching it off.")
	}
	if x.site.s.Occupancy == risk.OccupancyUnknown && el.SourceConnected {
		s.note("The use of the structure is not known and counts as a dwelling; others can require a device whatever the calculated risk level.")
	}
	if x.l.Service == risk.HighVoltage {
		s.note("For the low-voltage side of the transformer; the high-voltage side is the network operator's.")
	}
	switch el.System {
	case risk.TT:
		s.note(x.residualNote())
	case risk.TNCS:
		s.note("For the point where the PEN is not yet split; after it, L-N or L-PE and N-PE as in TN-S.")
	case risk.TNS, risk.IT:
		if x.alsoConnection(x.connection()) == CT1 {
			s.note("Connection type CT1 is allowed in " + el.System.String() + " as well, each mode with the discharge ratings of L-N.")
		}
	}
	s.note(noteBackup)
	s.note(noteFollow)
}

func (s *scheduler) directNotes(x *end, en *Entry) {
	s.note("The data sheet must state U_C for d.c.: a device rated for a.c. only cannot interrupt direct current and is not to be used.")
	if !x.pv() {
		s.note("Device to IEC 61643-41, up to 1500 V d.c.")
		return
	}
	s.note("Device to IEC 61643-31 for photovoltaic lines.")
	if s.fedByBattery(x) {
		s.note("IEC 61643-31 excludes storage: check the device against the voltage and short-circuit current of the battery too.")
	} else if x.l.Electrical.BatteryCanFeed == risk.NotKnown {
		s.note("Find out whether a battery can feed this line through its equipment: then its voltage and short-circuit current count too.")
	}
	if n := x.l.Electrical.Strings; n > 1 {
		s.note("Strings in parallel, " + amount(float64(n), "in all") + ": the short-circuit current counts as that of all together.")
	}
	if x.bonded() && en.TestClass == ClassI && x.l.Electrical.ArrayPlace != risk.ArrayElsewhere {
		s.note("The separation distance to the lightning protection system is taken as not kept; where it is, class II on the d.c. " +
			"side and class I on the a.c. side are enough.")
	}
}

// shortCircuit sets the short-circuit rating.
func (s *scheduler) shortCircuit(x *end, en *Entry) {
	el := &x.l.Electrical
	t := s.t
	switch {
	case x.telecom():
	case x.pv() && el.ShortCircuitSTC > 0:
		Isc := t.Given(qIsc, el.ShortCircuitSTC)
		if el.ShortCircuit > 0 || el.BatteryShortCircuit > 0 {
			Ik := s.batteryCurrent(el)
			en.ShortCircuitMin = Some(t.Set(qSCpvBat, max(1.25*Isc/1000, Ik)))
			s.because("short_circuit_min_ka", "", t.Last(qSCCR), &byPVBattery)
			return
		}
		en.ShortCircuitMin = Some(t.Set(qSCpv, 1.25*Isc/1000))
		s.because("short_circuit_min_ka", "", t.Last(qSCCR), &byPVCurrent)
	case x.pv():
		s.note("The short-circuit rating I_SCPV is at least 1.25 times that of the array, which is not known: see the data sheet of the modules.")
	case highestShortCircuit(el) > el.ShortCircuit:
		en.ShortCircuitMin = Some(t.Set(qSCac, t.Noted(qIkStates, highestShortCircuit(el), "of the source with the highest current")))
		s.because("short_circuit_min_ka", "", t.Last(qSCCR), &byShortCircuit)
		if el.ShortCircuit == 0 {
			s.note(noteShortCircuit)
		}
	case el.ShortCircuit > 0:
		t.Given(qIk, el.ShortCircuit)
		en.ShortCircuitMin = Some(t.Set(qSCac, el.ShortCircuit))
		s.because("short_circuit_min_ka", "", t.Last(qSCCR), &byShortCircuit)
	default:
		s.note(noteShortCircuit)
	}
}

// batteryCurrent records the short-circuit current that a battery drives into a photovoltaic line [kA].
func (s *scheduler) batteryCurrent(el *risk.Electrical) float64 {
	if el.BatteryShortCircuit > el.ShortCircuit {
		return s.t.Noted(qIk, el.BatteryShortCircuit, "that of the battery")
	}
	return s.t.Given(qIk, el.ShortCircuit)
}

// connect sets the connecting conductors.
func (s *scheduler) connect(x *end, en *Entry) {
	if !en.Leads.MaxLength.Valid {
		en.Leads.MaxLength = Some(leadLimit)
		s.because("leads.max_length_m", "", 0, &byLeadLimit)
	}
	if x.telecom() {
		return
	}
	t := s.t
	row := conductorRow(en.TestClass)
	earth := t.Pick(qSE, conductors, row, 0)
	live := t.Pick(qSL, conductors, row, 1)
	earthStep, liveStep := t.Last(qSE), t.Last(qSL)
	if en.TestClass == ClassI {
		live = t.Noted(qSLu, roundUp(t, t.Set(qSLr, max(live, en.Order.Iimp.Value/8)), prefSection), "next standard cross-section")
		earth = t.Noted(qSEu, roundUp(t, s.earthSection(en, earth), prefSection), "next standard cross-section")
		earthStep, liveStep = t.Last(qSEu), t.Last(qSLu)
	}
	en.Leads.Earth = Some(earth)
	s.because("leads.earth_mm2", "", earthStep, &bySection)
	if live > 0 {
		en.Leads.Live = Some(live)
		s.because("leads.live_mm2", "", liveStep, &bySection)
	}
}

// earthSection is the cross-section of the conductor to earth of a class I device before rounding; N-PE carries the most in CT2.
func (s *scheduler) earthSection(en *Entry, byClass float64) float64 {
	if en.Order.IimpNPE.Valid {
		return s.t.Set(qSErN, max(byClass, en.Order.IimpNPE.Value/8))
	}
	return s.t.Set(qSEr, max(byClass, en.Order.Iimp.Value/8))
}

// conductorRow is the row of the conductors by class.
func conductorRow(c TestClass) int {
	switch c {
	case ClassI:
		return 0
	case ClassII:
		return 1
	}
	return 2
}
