package spd

import (
	"math"

	"levinward/risk"
	"levinward/risk/trace"
)

// Source is a source of damage of IEC 62305-1:2010.
type Source string

// The sources of damage.
const (
	S1 Source = "S1" // flash to the structure
	S2 Source = "S2" // flash near the structure
	S3 Source = "S3" // flash to the line, or to the structure at its far end
	S4 Source = "S4" // flash near the line
)

// Waveform is the shape of a surge current.
type Waveform string

// The waveforms: partial lightning currents and induced surges. Surges of the two are never added in amplitude, only counted.
const (
	Impulse10350 Waveform = "10/350"
	Surge820     Waveform = "8/20"
)

// LineFlash says how the current of a flash to the line is taken to reach the device.
type LineFlash uint8

// The ways of a flash to the line.
const (
	HalfEachWay    LineFlash = iota // half of the current runs to each end, none leaks on the way: the safe side
	TabulatedFlash                  // IEC 62305-1 Tables E.2, E.3, linear in the flash current
)

// Defaults of StressOptions.
var (
	stressCurrents = []float64{0.1, 0.5, 1, 2, 5, 10, 12.5, 20, 25, 40, 50} // kA
	stressYears    = []float64{5, 10, 20}
	stressSmallest = 0.1 // kA
)

// StressOptions says what is asked of Stress. The zero value asks for the usual currents and for 5, 10 and 20 years.
type StressOptions struct {
	Currents  []float64 // currents per line conductor to give rates for [kA], 0 to 10 000; empty: usual ones
	Years     []float64 // years in service, above 0 to 1000; empty: 5, 10, 20
	Smallest  Opt       // smallest current that counts as an operation [kA]; absent: 0.1
	LineFlash LineFlash
	Devices   []StressDevice // devices to judge, besides the one the schedule asks for
}

// StressDevice is a device at one line end: indices into Input.Lines and Input.Structures, EveryEnd for all.
type StressDevice struct {
	Line, Structure int
	StressRatings
}

// EveryEnd stands for all lines or all structures in a StressDevice.
const EveryEnd = -1

// StressRatings are the discharge ratings of a device [kA], per mode of protection; one that its data sheet does not state is absent.
type StressRatings struct {
	Name                    string
	Iimp, Imax, In          Opt // per line conductor
	IimpNPE, ImaxNPE, InNPE Opt // N-PE in CT2
}

// RatingsOf takes the ratings of a device from its data sheet.
func RatingsOf(name string, d *Device) StressRatings {
	return StressRatings{Name: name, Iimp: d.Iimp, Imax: d.Imax, In: d.In, IimpNPE: d.IimpNPE, InNPE: d.InNPE}
}

// AsScheduled is the name of the ratings that the schedule asks for.
const AsScheduled = "as scheduled"

// EndStress is what one line end is exposed to, and what that does to devices.
type EndStress struct {
	Line, Structure int     // indices into Input.Lines, Input.Structures
	Conductors      float64 // n'
	Sources         []SurgeSource
	Rates           []SurgeRate // in the order of the currents asked for
	OperationsAbove float64     // kA
	Operations      float64     // expected surges a year above OperationsAbove
	Duties          []Duty      // the first is that of the ratings the schedule asks for
	Notes           []string
	Basis           []Basis
}

// SurgeSource is one population of surges. The current per line conductor is Share times the current of the flash.
type SurgeSource struct {
	Source   Source
	Waveform Waveform
	Events   float64 // surges a year
	Share    float64
}

// SurgeRate is how often the current per line conductor exceeds Current [kA], per year.
type SurgeRate struct{ Current, Impulse, Induced, Total float64 }

// Duty is what the years do to a device of given ratings.
type Duty struct {
	Ratings StressRatings
	// ImpulseWithstand (10/350) and SurgeWithstand (8/20) are the currents per line conductor up to which no
	// mode of the device is overstressed [kA]; 0 where the device states none.
	ImpulseWithstand, SurgeWithstand float64
	// ImpulseLimit and SurgeLimit name the mode that sets them: "line" or "N-PE".
	ImpulseLimit, SurgeLimit  string
	ImpulseRate, SurgeRate    float64 // overstresses a year, by waveform
	Rate                      float64 // overstresses a year
	ReturnPeriod              Opt     // years; absent where an overstress does not occur
	Overstress                []OverYears
	PSPD                      []SourcePSPD // by source, those with events
	PSPDLargest, PSPDOfSurges Opt          // absent without events
	Notes                     []string
}

// OverYears is the probability that a device is overstressed at least once within Years.
type OverYears struct{ Years, Probability float64 }

// SourcePSPD is the P_SPD from the device's rating for one source of damage: the share of its surges that the
// device does not withstand. It stands beside the value of IEC 62305-2 Table B.3, never in its place
// unasked, and says nothing on whether U_P protects the equipment.
type SourcePSPD struct {
	Source Source
	PSPD   float64
}

// PSPDFromRating is the name under which a P_SPD of a Duty is shown.
const PSPDFromRating = "from the device's rating"

// Texts of the notes.
const (
	stressNoteFlash    = "A flash counts as one surge of its first impulse: subsequent strokes, ageing by smaller surges and the voltage that remains are not in these figures."
	stressNoteSafe     = "Every flash near the line or the structure counts as if it were close, lines as unshielded and no current as leaking away before the device: the safe side. A bonded screen, distance and flashovers along the line lower the figures."
	stressNoteNone     = "Needs a device that states its ratings and an earth connection that has been proved: without one a device can do very little."
	stressNoteInduced  = "No way out along this line for a partial lightning current: a flash to the structure counts as an induced 8/20 surge."
	stressNoteTail     = "Currents of flashes below 3 kA lie beyond the table and are extrapolated. Above 600 kA every flash counts as an overstress by partial lightning current; induced surges are extrapolated there too."
	stressNoteNoImp    = "No I_imp stated: every partial lightning current 10/350 counts as an overstress."
	stressNoteNothing  = "Neither I_max, I_n nor I_imp stated: every surge counts as an overstress."
	stressNoteLarger   = "I_imp is taken for 8/20 surges too, where it is the larger: at the same peak they carry a fraction of the charge (common practice)."
	stressNoteNominal  = "I_max not stated: I_n is taken for 8/20 surges, the safe side."
	stressNoteNPE      = "N-PE not stated: judged by the line conductors alone. In CT2 the N-PE path carries their sum."
	stressNoteNPENoImp = "No I_imp stated for N-PE: every partial lightning current 10/350 counts as an overstress of it."
	stressAssumedLevel = "the ratio is the same at every protection level"
)

var (
	stressByPaper   = Basis{Field: "rates", Reason: "Peak currents of flashes, interpolated on log-normal probability paper.", Clause: stressTableA3, Provenance: memory}
	stressByPoisson = Basis{Field: "overstress", Reason: "Surges are independent of each other: 1 - exp(-rate x years).", Clause: stressAssumed, Provenance: trace.Assumed}
	stressByFirst   = Basis{Field: "share", Mode: "S1", Reason: "Half of the flash current goes to earth, the other half divides over the lines and their conductors.", Clause: stressFraction, Provenance: read}
	stressBySoil    = Basis{Field: "share", Mode: "S1", Reason: "The earthing impedances at this soil resistivity drive more into the line than the half-and-half rule.", Clause: stressFraction + " and Table E.1", Provenance: memory}
	stressByPV      = Basis{Field: "share", Mode: "S1", Reason: "Tabulated current of each pole over the current of its protection level; separation distance not kept.", Clause: stdPV + "Table A.2", Provenance: read}
	stressByS1ind   = Basis{Field: "share", Mode: "S1", Reason: "Induced surge of the table at the protection level's maximum, linear in the flash current.", Clause: stressSurges, Provenance: memory}
	stressByHalf    = Basis{Field: "share", Mode: "S3", Reason: "Half of the flash current runs each way and divides over the conductors; the same for a flash to the structure at the far end, half of which goes to its earth.", Clause: stressAssumed, Provenance: trace.Assumed}
	stressByTable   = Basis{Field: "share", Mode: "S3", Reason: "Surge of the table at the protection level's maximum, linear in the flash current.", Clause: stressSurges, Provenance: memory}
	stressByS2      = Basis{Field: "share", Mode: "S2", Reason: "Surge of the table at the protection level's maximum, linear in the flash current.", Clause: stressSurges, Provenance: memory}
	stressByS4      = Basis{Field: "share", Mode: "S4", Reason: "Surge of the table at the protection level's maximum, linear in the flash current.", Clause: stressSurges, Provenance: memory}
)

// Stress says for every device at a line entrance among the entries how often which current passes it, and what that does over the
// years to a device of the ratings asked for and to those in o. The input must be valid, res and
// entries must belong to it, and StressViolations must find nothing. With a nil trace nothing is recorded.
func Stress(in *risk.Input, res *risk.Result, entries []Entry, o StressOptions, t *trace.Trace) []EndStress {
	c := stressCalc{in: in, res: res, o: o, t: t.With(in.Reviews)}
	if len(c.o.Currents) == 0 {
		c.o.Currents = stressCurrents
	}
	if len(c.o.Years) == 0 {
		c.o.Years = stressYears
	}
	if !c.o.Smallest.Valid {
		c.o.Smallest = Some(stressSmallest)
	}
	var all []EndStress
	for i := range entries {
		if entries[i].Position == LineEntrance {
			all = append(all, c.end(&entries[i]))
		}
	}
	return all
}

type stressCalc struct {
	in  *risk.Input
	res *risk.Result
	o   StressOptions
	t   *trace.Trace

	sources []stressSource // of the current end
	all     float64        // their events
}

// stressSource is a source with the steps that its events and share come from.
type stressSource struct {
	SurgeSource
	events, share trace.Mark

	P    float64 // share of its surges above the current last asked for
	tail trace.Mark
}

func (c *stressCalc) end(en *Entry) EndStress {
	t := c.t
	t.Enter(c.in.Structures[en.Structure].ID, "/structures", en.Structure)
	t.Enter(c.in.Lines[en.Line].ID, "/lines", en.Line)
	t.Enter("stress", "", 0)
	s := c.site(en)
	x := end{structure: en.Structure, line: en.Line, l: &c.in.Lines[en.Line], site: &s.site}
	e := EndStress{Line: en.Line, Structure: en.Structure, Conductors: x.conductors(), OperationsAbove: c.o.Smallest.Value}
	c.findSources(s, &x, en, &e)
	e.Notes = append(s.notes, stressNoteFlash, stressNoteSafe, stressNoteTail, stressNoteNone)
	e.Basis = append(e.Basis, stressByPaper, stressByPoisson)
	for _, i := range c.o.Currents {
		t.Given(qStressCurrent, i)
		e.Rates = append(e.Rates, c.rate(i))
	}
	t.Noted(qStressCurrent, c.o.Smallest.Value, "smallest current of note")
	e.Operations = t.Set(qStressOperations, c.rate(c.o.Smallest.Value).Total)
	m := 0.0
	if en.Connection == CT2 {
		m = t.Noted(qM, x.lineAndNeutral(), x.conductorNote())
	}
	e.Duties = append(e.Duties, c.duty(stressScheduled(en), m))
	for i := range c.o.Devices {
		d := &c.o.Devices[i]
		if (d.Line == EveryEnd || d.Line == en.Line) && (d.Structure == EveryEnd || d.Structure == en.Structure) {
			e.Duties = append(e.Duties, c.duty(d.StressRatings, m))
		}
	}
	t.Leave()
	t.Leave()
	t.Leave()
	return e
}

// site finds the paths of the structure, as the schedule does.
func (c *stressCalc) site(en *Entry) *scheduler {
	s := &scheduler{in: c.in, t: c.t, NG: c.res.NG}
	st := &c.in.Structures[en.Structure]
	s.site = site{index: en.Structure, s: st}
	_, s.site.level = protectionLevel(st.LPS, st.NaturalLPS)
	s.site.classed = st.LPS != risk.NoLPS
	s.site.findPaths(c.in)
	s.site.lps = en.Level != risk.NoSPD
	if s.site.level == risk.NoSPD { // the LPS is recommended
		s.site.level = capped(en.Level)
	}
	s.site.separated = s.quietly().separates()
	return s
}

// findSources records events and shares of the four sources.
func (c *stressCalc) findSources(s *scheduler, x *end, en *Entry, e *EndStress) {
	t := c.t
	line, structure := &c.res.Lines[en.Line], &c.res.Structures[en.Structure]
	c.sources, c.all = c.sources[:0], 0
	t.Begin(qStressNall)

	const used = "as used by the risk assessment"
	ND := t.Noted(qStressND, structure.Direct, used)
	events := t.Set(qStressN1, ND)
	waveform, share, why := c.structureFlash(s, x, en)
	if waveform == Surge820 {
		s.note(stressNoteInduced)
	}
	c.add(e, SurgeSource{S1, waveform, events, share}, why)

	NM := t.Noted(qStressNM, structure.Near, used)
	events = t.Set(qStressN2, NM)
	c.add(e, SurgeSource{S2, Surge820, events, c.tabulated(x, qNS2, colS2, qStressKS2)}, &stressByS2)

	NL := t.Noted(qStressNL, line.Direct, used)
	NDJ := line.AdjacentAtFar
	if x.l.Structure == x.structure {
		NDJ = line.AdjacentStructure
	}
	t.Noted(qStressNDJ, NDJ, used)
	events = t.Set(qStressN3, NL+NDJ)
	if c.o.LineFlash == TabulatedFlash {
		j := s.flashToLine(x, risk.LevelI)
		I := t.Pick(qI, threat, rowFromI(risk.LevelI), 0)
		c.add(e, SurgeSource{S3, Impulse10350, events, t.Noted(qStressKS3table, j/I, stressAssumedLevel)}, &stressByTable)
	} else {
		n := t.Noted(qNc, x.conductors(), x.conductorNote())
		c.add(e, SurgeSource{S3, Impulse10350, events, t.Set(qStressKS3, 0.5/n)}, &stressByHalf)
	}

	NI := t.Noted(qStressNI, line.Near, used)
	events = t.Set(qStressN4, NI)
	c.add(e, SurgeSource{S4, Surge820, events, c.tabulated(x, qNS4, colS4, qStressKS4)}, &stressByS4)

	t.Collect(qStressNall, c.all)
}

func (c *stressCalc) add(e *EndStress, s SurgeSource, why *Basis) {
	c.sources = append(c.sources, stressSource{SurgeSource: s, events: c.t.Last(qStressN), share: c.t.Last(qStressK)})
	c.all += s.Events
	e.Sources = append(e.Sources, s)
	e.Basis = append(e.Basis, *why)
}

// rate counts the surges above i, the newest current recorded.
func (c *stressCalc) rate(i float64) SurgeRate {
	r := SurgeRate{Current: i, Impulse: c.above(i, Impulse10350, qStressImpulse), Induced: c.above(i, Surge820, qStressInduced)}
	r.Total = c.t.Set(qStressTotal, r.Impulse+r.Induced)
	return r
}

// above counts the surges of one waveform above i, the newest current recorded.
func (c *stressCalc) above(i float64, w Waveform, q *trace.Quantity) float64 {
	c.t.Begin(q)
	sum := 0.0
	for k := range c.sources {
		if s := &c.sources[k]; s.Waveform == w {
			s.P = c.exceeds(s, i)
			s.tail = c.t.Last(qStressTail)
			sum += c.t.Set(qStressRate, s.Events*s.P)
		}
	}
	return c.t.Collect(q, sum)
}

// exceeds is the share of the flashes of a source that drive more than i through one conductor.
func (c *stressCalc) exceeds(s *stressSource, i float64) float64 {
	c.t.Recall(s.events)
	c.t.Recall(s.share)
	I := c.t.Set(qStressFlash, i/s.Share)
	if s.Waveform == Impulse10350 {
		return flashExceedsBounded(I, c.t)
	}
	return flashExceeds(I, c.t)
}

// stressScheduled are the ratings that the schedule asks for.
func stressScheduled(en *Entry) StressRatings {
	r := StressRatings{Name: AsScheduled, Iimp: en.IimpMin, Imax: en.ImaxMin, In: en.InMin}
	if np := neutralPE(en); np != nil {
		r.IimpNPE, r.InNPE = np.IimpMin, np.InMin
	}
	return r
}

// duty judges a device. m is the number of conductors whose sum the N-PE path carries, 0 where there is none.
func (c *stressCalc) duty(r StressRatings, m float64) Duty {
	t := c.t
	if r.Name != "" {
		t.Enter(r.Name, "", 0)
		defer t.Leave()
	}
	d := Duty{Ratings: r}
	c.withstands(&d, m)
	t.Set(qStressAtWimp, d.ImpulseWithstand)
	d.ImpulseRate = c.above(d.ImpulseWithstand, Impulse10350, qStressImpulse)
	t.Set(qStressAtWind, d.SurgeWithstand)
	d.SurgeRate = c.above(d.SurgeWithstand, Surge820, qStressInduced)
	d.Rate = t.Set(qStressLambda, d.ImpulseRate+d.SurgeRate)
	if c.all > 0 {
		d.PSPDLargest = Some(c.ratingPSPD(&d))
		d.PSPDOfSurges = Some(t.Set(qStressPSPDMean, d.Rate/c.all))
	}
	if period := 1 / d.Rate; !math.IsInf(period, 0) {
		d.ReturnPeriod = Some(t.Set(qStressPeriod, period))
	}
	if note := lifeNote(d.Rate); note != "" {
		d.Notes = append(d.Notes, note)
	}
	for _, years := range c.o.Years {
		t.Given(qStressYears, years)
		survival := t.Set(qStressSurvival, math.Exp(-d.Rate*years))
		d.Overstress = append(d.Overstress, OverYears{years, t.Set(qStressOver, 1-survival)})
	}
	return d
}

// ratingPSPD appends P_SPD of the sources that have events and returns the largest. Each source holds the share of
// its surges above what the device withstands.
func (c *stressCalc) ratingPSPD(d *Duty) float64 {
	c.t.Begin(qStressPSPD)
	largest := 0.0
	for k := range c.sources {
		if s := &c.sources[k]; s.Events > 0 {
			c.t.Recall(s.tail)
			d.PSPD = append(d.PSPD, SourcePSPD{s.Source, c.t.Set(qStressExceed, s.P)})
			largest = max(largest, s.P)
		}
	}
	return c.t.Collect(qStressPSPD, largest)
}

// withstands sets the currents per line conductor that no mode of the device is overstressed by. m is the
// number of conductors whose sum the N-PE path carries, 0 where there is none.
func (c *stressCalc) withstands(d *Duty, m float64) {
	t, r := c.t, &d.Ratings
	d.Notes = stressNotes(r, m)
	imp, surge := c.stated(qStressIimp, r.Iimp), c.stated(qStressJ, stressSurgeRating(r.Imax, r.In))
	d.ImpulseLimit, d.SurgeLimit = "line", "line"
	if m == 0 || !r.npeStated() {
		d.ImpulseWithstand = t.Set(qStressWimp, imp)
		d.SurgeWithstand = t.Set(qStressWind, max(surge, imp))
		return
	}
	impN, surgeN := c.stated(qStressIimpN, r.IimpNPE), c.stated(qStressJN, stressSurgeRating(r.ImaxNPE, r.InNPE))
	if impN/m < imp {
		d.ImpulseLimit = "N-PE"
	}
	if max(surgeN, impN)/m < max(surge, imp) {
		d.SurgeLimit = "N-PE"
	}
	d.ImpulseWithstand = t.Set(qStressWimpNPE, min(imp, impN/m))
	d.SurgeWithstand = t.Set(qStressWindNPE, min(max(surge, imp), max(surgeN, impN)/m))
}

// stated records a rating; 0 where the device does not state it.
func (c *stressCalc) stated(q *trace.Quantity, v Opt) float64 {
	if !v.Valid {
		return c.t.Absent(q, "not stated")
	}
	return c.t.Given(q, v.Value)
}

func (r *StressRatings) npeStated() bool { return r.IimpNPE.Valid || r.ImaxNPE.Valid || r.InNPE.Valid }

// stressSurgeRating is the largest 8/20 rating of a device: I_max, else I_n.
func stressSurgeRating(Imax, In Opt) Opt {
	if Imax.Valid {
		return Imax
	}
	return In
}

// stressNotes says what the data sheet leaves open, and what is taken instead.
func stressNotes(r *StressRatings, m float64) []string {
	var notes []string
	surge := stressSurgeRating(r.Imax, r.In)
	switch {
	case !r.Iimp.Valid && !surge.Valid:
		notes = append(notes, stressNoteNothing)
	case !r.Iimp.Valid:
		notes = append(notes, stressNoteNoImp)
	case r.Iimp.Value > surge.Value:
		notes = append(notes, stressNoteLarger)
	}
	if r.In.Valid && !r.Imax.Valid {
		notes = append(notes, stressNoteNominal)
	}
	switch {
	case m == 0:
	case !r.npeStated():
		notes = append(notes, stressNoteNPE)
	case r.Iimp.Valid && !r.IimpNPE.Valid:
		notes = append(notes, stressNoteNPENoImp)
	}
	return notes
}
