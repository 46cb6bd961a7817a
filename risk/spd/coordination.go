package spd

import (
	"slices"
	"strconv"
	"strings"

	"levinward/risk"
	"levinward/risk/trace"
)

// Stage is one of the devices that stand behind each other on a line, the first at the origin.
type Stage struct {
	Name       string
	Device     Device
	LeadLength Opt // both connecting leads together [m]; 0: wired through the terminals; absent: 0.5 is taken
	CableAfter Opt // cable to the next stage, behind the last one to the equipment [m]
	Inductor   Opt // decoupling inductor in that cable [uH]
	// MakerCable is the shortest cable from the stage before at which the maker states that the two are coordinated [m];
	// absent where nothing is stated.
	MakerCable Opt
}

// CoordinationOptions says what stands at the end of the line and what the origin has to carry.
type CoordinationOptions struct {
	Withstand float64      // U_W of the equipment [kV]
	Current   risk.Current // decides which U_C counts
	Telecom   bool         // a telecommunication or data line; Current is without meaning then
	Vital     bool         // life or a public service is at stake
	Shielded  bool         // the wiring between the last stage and the equipment
	Iimp, In  Opt          // required of the first stage [kA], as in its schedule entry
}

// CoordinationRule is a rule of Coordinate.
type CoordinationRule string

// The rules, in the order of the findings of a stage.
const (
	CoordImpulseCurrent     CoordinationRule = "impulse_current_at_origin"
	CoordNominalCurrent     CoordinationRule = "nominal_current_at_origin"
	CoordClassOrder         CoordinationRule = "class_order"
	CoordProtectionLevels   CoordinationRule = "protection_levels_fall"
	CoordOperatingVoltages  CoordinationRule = "operating_voltages_do_not_fall"
	CoordDischargeCurrents  CoordinationRule = "discharge_currents_do_not_rise"
	CoordDecoupling         CoordinationRule = "energy_coordination"
	CoordLeads              CoordinationRule = "leads"
	CoordLeadsPreferred     CoordinationRule = "leads_preferred"
	CoordProtectionDistance CoordinationRule = "protection_distance"
	CoordTarget             CoordinationRule = "protection_level_at_equipment"
	CoordFurtherStage       CoordinationRule = "further_stage"
)

// CoordinationFinding is what one rule says of one stage.
type CoordinationFinding struct {
	Rule  CoordinationRule
	Stage int // index of the stage
	// Guidance marks a finding that does not change the verdict of the line.
	Guidance        bool
	Verdict         Verdict
	Required, Found string // in words, with the unit
	Reason          string
	Clause          string
	Provenance      trace.Provenance
}

// StageReach is how far one stage protects.
type StageReach struct {
	At             Opt // place in metres of cable from the first stage
	EffectiveLevel Opt // U_P/F, with the leads [kV]
	// DistanceIgnored: U_P/F is below half of U_W, then the protection distance for oscillation is not considered.
	DistanceIgnored    bool
	ProtectionDistance Opt // [m]; guidance only
	EndsAt             Opt // place where it ends, in metres of cable from the first stage; guidance only
}

// Coordination is what Coordinate says of a line.
type Coordination struct {
	Verdict      Verdict // the worst of the findings that are not guidance
	Sentence     string
	FurtherStage bool // one more device is needed at the equipment
	Stages       []StageReach
	Findings     []CoordinationFinding
	Cautions     []string
}

var coordCautions = []string{
	"Rules of thumb do not prove that two devices share the energy of a surge: the statement of the maker for the very pair does, and goes before them.",
	"The protection distance is guidance only: it stands in an annex that the edition of 2010 no longer has. Loops between device and equipment add induced voltage.",
	"Prove the earth connection first, bond all stages to the same bar, and follow local codes and a licensed practitioner.",
}

// Coordinate judges devices that stand behind each other on one line: their order, levels, leads and
// energy coordination, how far each protects, and whether the equipment at the end needs a further one.
// CoordinationViolations must find nothing. With a nil trace nothing is recorded.
func Coordinate(stages []Stage, o CoordinationOptions, t *trace.Trace) Coordination {
	c := coordinator{stages: stages, o: o, t: t}
	c.t.Given(qCoordUw, o.Withstand)
	c.t.Set(qCoordHalf, o.Withstand/2)
	for i := range stages {
		c.stage(i)
	}
	c.atEquipment()
	c.Cautions = slices.Clone(coordCautions)
	for i := range c.Findings {
		if f := &c.Findings[i]; !f.Guidance {
			c.Verdict = max(c.Verdict, f.Verdict)
		}
	}
	c.Sentence = c.sentence()
	return c.Coordination
}

type coordinator struct {
	Coordination
	stages []Stage
	o      CoordinationOptions
	t      *trace.Trace
	at     trace.Mark // place of the current stage
	class  int        // of the stage before, a place in ClassNames; -1 where it is not known
}

// find appends a finding. Telecommunication lines are no matter of the clause on power installations.
func (c *coordinator) find(f CoordinationFinding) {
	if c.o.Telecom && f.Clause == stdSPD {
		f.Clause, f.Provenance = stdSystem, memory
	}
	c.Findings = append(c.Findings, f)
}

// coordJudged is Suitable where a rule is met, otherwise the verdict of breaking it.
func coordJudged(met bool, broken Verdict) Verdict {
	if met {
		return Suitable
	}
	return broken
}

func coordNumber(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func coordMetres(v float64) string { return coordNumber(v) + " m" }

// stage judges stage i, alone and against the one before.
func (c *coordinator) stage(i int) {
	c.t.Enter(c.stages[i].Name, "/stages", i)
	if i == 0 {
		c.origin()
	}
	c.classOrder(i)
	if i > 0 {
		c.levels(i)
		c.operating(i)
		c.discharge(i)
		c.decoupling(i)
	}
	c.leads(i)
	c.reach(i)
	c.t.Leave()
}

// origin compares the first stage with what the schedule requires.
func (c *coordinator) origin() {
	d := &c.stages[0].Device
	for _, r := range []struct {
		rule        CoordinationRule
		name        string
		need, found Opt
	}{
		{CoordImpulseCurrent, "I_imp", c.o.Iimp, d.Iimp},
		{CoordNominalCurrent, "I_n", c.o.In, d.In},
	} {
		if !r.need.Valid {
			continue
		}
		f := CoordinationFinding{Rule: r.rule, Required: r.name + " at least " + coordNumber(r.need.Value) + " kA", Clause: stdSPD,
			Provenance: read,
			Reason:     "The first stage carries what comes along the line; those behind it see the rest."}
		if r.found.Valid {
			f.Found = coordNumber(r.found.Value) + " kA"
			f.Verdict = coordJudged(r.found.Value >= r.need.Value, Unsuitable)
		} else {
			f.missing(r.name)
		}
		c.find(f)
	}
}

// missing makes a finding one of missing data.
func (f *CoordinationFinding) missing(entry string) {
	f.Verdict, f.Found = InsufficientData, "not stated"
	f.Reason += " Look for " + entry + " on the data sheet."
}

// coordClass is the place in ClassNames of the highest test class of a device that is not above another's, -1 where it has none.
func coordClass(d *Device, notAbove int) int {
	for i := notAbove; i < len(ClassNames); i++ {
		if d.Classes&(1<<i) != 0 {
			return i
		}
	}
	return -1
}

// Places of classes in ClassNames.
const (
	coordClassI   = 0
	coordClassII  = 1
	coordClassIII = 2
	coordData     = 3 // the first of the classes for data lines
)

// classOrder takes each device for the highest of its classes that does not stand above the one before.
func (c *coordinator) classOrder(i int) {
	f := CoordinationFinding{Rule: CoordClassOrder, Stage: i, Clause: stdSPD + "; " + stdData, Provenance: read,
		Required: "class I before II before III; D1 before C2 before C1",
		Reason:   "The stronger device stands nearer to the origin, and class III only behind class II."}
	d := &c.stages[i].Device
	behind := coordClass(d, max(0, c.class))
	switch {
	case d.Classes == 0 || c.class < 0:
		f.missing("the test class")
	default:
		f.Found = strings.Join(d.Classes.Names(), ", ")
		right := behind >= 0 && (behind >= coordData) == c.o.Telecom
		if behind == coordClassIII {
			right = right && i > 0 && coordClass(&c.stages[i-1].Device, coordClassII) >= coordClassII
		}
		f.Verdict = coordJudged(right, Unsuitable)
	}
	if behind < 0 {
		behind = coordClass(d, 0)
	}
	c.class = behind
	c.find(f)
}

func (c *coordinator) levels(i int) {
	f := CoordinationFinding{Rule: CoordProtectionLevels, Stage: i, Required: "U_P not above that of the stage before", Clause: trade,
		Provenance: practice,
		Reason:     "A stage that lets through more than the one before does nothing for the equipment."}
	before, behind := c.stages[i-1].Device.stated(), c.stages[i].Device.stated()
	if before.Valid && behind.Valid {
		f.Found = coordNumber(behind.Value) + " kV behind " + coordNumber(before.Value) + " kV"
		f.Verdict = coordJudged(behind.Value <= before.Value, Ineffective)
	} else {
		f.missing("U_P")
	}
	c.find(f)
}

// stated is U_P where the mode does not matter.
func (d *Device) stated() Opt { return d.Up.or(d.UpLN).or(d.UpPoles).or(d.UpLPE) }

// uc is the maximum continuous operating voltage that counts on this line.
func (c *coordinator) uc(d *Device) Opt {
	switch {
	case !c.o.Telecom && c.o.Current == risk.DC, c.o.Telecom && d.UcDC.Valid:
		return d.UcDC
	}
	return d.UcAC
}

func (c *coordinator) operating(i int) {
	f := CoordinationFinding{Rule: CoordOperatingVoltages, Stage: i, Required: "U_C not below that of the stage before", Clause: trade,
		Provenance: practice,
		Reason: "A device of lower U_C acts first and takes the energy that the stage before should take; the maker may state " +
			"otherwise for the pair."}
	before, behind := c.uc(&c.stages[i-1].Device), c.uc(&c.stages[i].Device)
	switch {
	case c.stages[i].MakerCable.Valid:
		f.Found, f.Clause, f.Provenance = "the maker states the pair to be coordinated", coordMaker, trace.Given
	case before.Valid && behind.Valid:
		f.Found = coordNumber(behind.Value) + " V behind " + coordNumber(before.Value) + " V"
		f.Verdict = coordJudged(behind.Value >= before.Value, InsufficientData)
	default:
		f.missing("U_C for the current of this line")
	}
	c.find(f)
}

// discharge compares the ratings of two stages that state the same one.
func (c *coordinator) discharge(i int) {
	before, behind := &c.stages[i-1].Device, &c.stages[i].Device
	for _, r := range []struct {
		name           string
		before, behind Opt
	}{{"I_imp", before.Iimp, behind.Iimp}, {"I_n", before.In, behind.In}} {
		if !r.before.Valid || !r.behind.Valid {
			continue
		}
		c.find(CoordinationFinding{Rule: CoordDischargeCurrents, Stage: i, Guidance: true,
			Verdict:  coordJudged(r.behind.Value <= r.before.Value, Unsuitable),
			Required: r.name + " not above that of the stage before", Found: coordNumber(r.behind.Value) + " kA behind " +
				coordNumber(r.before.Value) + " kA", Clause: trade, Provenance: practice,
			Reason: "Each stage leaves less to the next: a stronger device behind a weaker one may be in the wrong place."})
	}
}

// decoupling judges the energy coordination of stage i with the one before.
func (c *coordinator) decoupling(i int) {
	before, behind := &c.stages[i-1], &c.stages[i]
	f := CoordinationFinding{Rule: CoordDecoupling, Stage: i, Clause: trade, Provenance: practice}
	switch {
	case behind.MakerCable.Valid:
		f.byMaker(before.CableAfter, behind.MakerCable.Value)
	case c.o.Telecom:
		f.Required, f.Reason = "statement of the maker for the pair",
			"On data lines no length of cable is a rule: resistors or inductors in the devices decouple the stages."
		f.missing("the coordination with the stage before")
	case behind.Device.Technology == TechnologyNotStated:
		f.Required, f.Reason = "technology of the device", "Whether cable decouples the stages depends on what stands behind it."
		f.missing("whether it limits or switches")
	case behind.Device.Technology != Limiting && before.Device.Technology == Limiting:
		f.Required, f.Reason = "statement of the maker for the pair",
			"A switching device behind a limiting one can take over the whole current: no length of cable is a rule."
		f.missing("the coordination with the stage before")
	default:
		c.byLength(&f, before, behind)
	}
	c.find(f)
}

// byMaker judges by the cable that the maker states.
func (f *CoordinationFinding) byMaker(cable Opt, least float64) {
	f.Clause, f.Provenance = coordMaker, trace.Given
	f.Required, f.Reason = "at least "+coordMetres(least)+" of cable", "Stated by the maker for the pair."
	switch {
	case cable.Valid:
		f.Found, f.Verdict = coordMetres(cable.Value), coordJudged(cable.Value >= least, Unsuitable)
	case least == 0:
		f.Found = "any length"
	default:
		f.Found, f.Verdict = "not known", InsufficientData
	}
}

// byLength judges by the rule of thumb. A shortfall proves nothing against the pair: it asks for the maker's statement.
func (c *coordinator) byLength(f *CoordinationFinding, before, behind *Stage) {
	t := c.t
	line := coordRowLightning
	if before.Device.Technology == Limiting && coordClass(&before.Device, 0) > coordClassI {
		line = coordRowLimiting
	}
	cableNeeded := t.Pick(qCoordNeedCable, coordDecoupling, line, 0)
	coilNeeded := t.Pick(qCoordNeedCoil, coordDecoupling, line, 1)
	f.Required = "about " + coordMetres(cableNeeded) + " of cable, or " + coordNumber(coilNeeded) + " uH of cable and inductor together"
	f.Reason = coordDecoupling.Rows[line].Text + ": the voltage along the cable makes the stage before act. A rule of thumb."
	if !before.CableAfter.Valid && !before.Inductor.Valid {
		f.Found, f.Verdict = "not known", InsufficientData
		f.Reason += " Measure the cable, or look for the coordination of the pair on the data sheet."
		return
	}
	l := t.Given(qCoordCable, before.CableAfter.Value)
	coil := t.Given(qCoordCoil, before.Inductor.Value)
	L := t.Set(qCoordTotal, 1*l+coil)
	f.Found = coordMetres(l) + " of cable, " + coordNumber(L) + " uH"
	f.Verdict = coordJudged(l >= cableNeeded || L >= coilNeeded, InsufficientData)
	if f.Verdict == InsufficientData {
		f.Reason += " Look for the coordination of the pair on the data sheet, lengthen the cable or put an inductor in."
	}
}

func (c *coordinator) leads(i int) {
	l := c.stages[i].LeadLength
	must := CoordinationFinding{Rule: CoordLeads, Stage: i, Required: "both leads together at most " + coordMetres(coordLeadsLimit),
		Clause: stdSPD, Provenance: read,
		Reason: "Every metre of lead adds about 1 kV to what reaches the equipment."}
	should := must
	should.Rule, should.Guidance, should.Required = CoordLeadsPreferred, true, "both leads together at most "+coordMetres(coordPreferred)
	if l.Valid {
		must.Found, should.Found = coordMetres(l.Value), coordMetres(l.Value)
		must.Verdict, should.Verdict = coordJudged(l.Value <= coordLeadsLimit, Unsuitable), coordJudged(l.Value <= coordPreferred, Unsuitable)
	} else {
		must.Found, must.Verdict = "not known", InsufficientData
		must.Reason += " Measure both leads; until then 0.5 m is taken."
		should.Found, should.Verdict, should.Reason = must.Found, must.Verdict, must.Reason
	}
	c.find(must)
	c.find(should)
}
