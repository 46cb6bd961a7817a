package earth

import (
	"fmt"
	"math"

	"levinward/risk"
	"levinward/risk/trace"
)

// Termination is the type of an earth termination system.
type Termination = risk.Named[terminationList]

// The values of Termination.
const (
	TypeA Termination = iota // separate horizontal and vertical electrodes
	TypeB                    // ring, or grid
)

var terminationNames = []string{"A", "B"}

type terminationList struct{}

func (terminationList) List() (string, []string) { return "type", terminationNames }

// LengthCheck says whether an electrode is large enough for a lightning protection system.
type LengthCheck struct {
	Type Termination
	// L1 is the minimum length of a horizontal electrode; a vertical one needs half [m].
	L1 float64
	// Radius is r_e of the ring or grid [m]; 0 for type A.
	Radius float64
	// Horizontal and Vertical are what each additional electrode of type B needs, one or
	// the other [m]; 0 where none is needed.
	Horizontal, Vertical float64
	// Count is the number of electrodes, of type B the additional ones, Long those of
	// them that are long enough.
	Count, Long int
	// Exempt: type A below 10 ohm needs no least length.
	Exempt     bool
	Sufficient bool
	Outcome    string
	Notes      []Note
}

// fewest is the least number of electrodes of type A, and of additional ones of type B.
const fewest = 2

// lastResistivity is where the printed figure of l_1 ends [ohm m].
const lastResistivity = 3000

var (
	noteExtrapolated = Note{"The figure for l_1 ends at 3000 ohm m; its lines are continued.", "safe side, no published source", rule}
	noteDownOnes     = Note{"Type B: at least two additional electrodes, and preferably one at each down-conductor.", iec3 + ".2.2", mem}
	noteMeasure      = Note{"That no least length is needed rests on a computed resistance: prove it by measurement.", iec3 + ".2.1", mem}
)

// MinimumLength returns l_1, the minimum length of a horizontal electrode [m], for the
// class of the LPS and the resistivity of the soil [ohm m]; a vertical one needs half.
func MinimumLength(class risk.LPS, rho float64, t *trace.Trace) (float64, []risk.Violation) {
	var f faults
	checkSoil(&f, rho)
	checkClass(&f, class)
	if len(f) > 0 {
		return 0, f
	}
	return minimum(class, rho, t), nil
}

func checkClass(f *faults, class risk.LPS) {
	switch {
	case class == risk.NoLPS:
		f.add(risk.RuleNotApplicable, ClassPointer, "without an LPS no least length is asked for; allowed: IV, III, II, I, "+
			"I_natural_frame, I_full_cover", minimumLength.Clause)
	case class > risk.LPSIFullCover:
		f.add(risk.RuleOutOfRange, ClassPointer, class.String()+"; allowed: IV, III, II, I, I_natural_frame, I_full_cover", minimumLength.Clause)
	}
}

func minimum(class risk.LPS, soil float64, t *trace.Trace) float64 {
	giveSoil(soil, t)
	row := int(min(class, risk.LPSI) - risk.LPSIV)
	l0, k, c := t.Pick(lLeast, minimumLength, row, 0), t.Pick(slope, minimumLength, row, 1), t.Pick(offset, minimumLength, row, 2)
	return t.Set(l1, max(l0, k*soil-c))
}

// CheckLength checks an electrode against the minimum length for the class of the LPS in
// soil of resistivity rho [ohm m]. The result is what Resistance gave for the electrode; a
// zero Result claims no exemption.
func CheckLength(e Electrode, r Result, class risk.LPS, rho float64, t *trace.Trace) (LengthCheck, []risk.Violation) {
	var f faults
	checkSoil(&f, rho)
	checkClass(&f, class)
	e.check(&f, "", false)
	if len(f) > 0 {
		return LengthCheck{}, f
	}
	c := LengthCheck{L1: minimum(class, rho, t)}
	if rho > lastResistivity && class >= risk.LPSII {
		c.Notes = append(c.Notes, noteExtrapolated)
	}
	if radius := e.radius(t); radius > 0 {
		c.typeB(&e, radius, t)
	} else {
		c.typeA(&e, r.Resistance, t)
	}
	return c, nil
}

// radius returns r_e of the largest ring or grid [m], 0 where there is none.
func (e *Electrode) radius(t *trace.Trace) float64 {
	if e.Kind != Combination {
		return e.radiusOf(t)
	}
	best := 0
	for i := range e.Parts {
		if e.Parts[i].radiusOf(nil) > e.Parts[best].radiusOf(nil) {
			best = i
		}
	}
	e.enter(best, t)
	defer t.Leave()
	return e.Parts[best].radiusOf(t)
}

// radiusOf returns r_e of a ring or grid [m].
func (e *Electrode) radiusOf(t *trace.Trace) float64 {
	switch e.Kind {
	case Ring:
		return t.Set(reRing, t.Given(ringD, e.RingDiameter)/2)
	case Grid:
		return t.Set(reGrid, math.Sqrt(t.Given(gridA, e.Area)/math.Pi))
	}
	return 0
}

// count adds up the rods and wires and those at least so long [m].
func (c *LengthCheck) count(e *Electrode, horizontal, vertical float64) {
	for _, p := range e.parts() {
		number, needed := 0, vertical
		switch p.Kind {
		case Rod:
			number = 1
		case Rods:
			number = p.Count
		case Wire:
			number, needed = 1, horizontal
		}
		c.Count += number
		if p.Length >= needed {
			c.Long += number
		}
	}
}

func (c *LengthCheck) typeA(e *Electrode, resistance float64, t *trace.Trace) {
	c.Type = TypeA
	vertical := t.Set(l1Vertical, 0.5*c.L1)
	c.count(e, c.L1, vertical)
	limit := t.Pick(exemptR, limits, rowExempt, 0)
	c.Exempt = resistance > 0 && resistance < limit
	c.Sufficient = c.Long >= fewest || c.Exempt && c.Count >= fewest
	need := fmt.Sprintf("type A needs at least %d electrodes of %s m horizontal or %s m vertical", fewest, number(c.L1), number(vertical))
	switch {
	case c.Long >= fewest:
		c.Outcome = fmt.Sprintf("long enough: %s; %d are there.", need, c.Long)
	case c.Sufficient:
		c.Outcome = fmt.Sprintf("accepted: %s, but below %g ohm no least length; there are %d electrodes, %.4g ohm.", need, limit,
			c.Count, resistance)
		c.Notes = append(c.Notes, noteMeasure)
	default:
		c.Outcome = fmt.Sprintf("not enough: %s; %d are there, %d of them long enough.", need, c.Count, c.Long)
	}
}

func (c *LengthCheck) typeB(e *Electrode, radius float64, t *trace.Trace) {
	c.Type, c.Radius = TypeB, radius
	c.Horizontal = t.Set(extra, max(0, c.L1-radius))
	c.Vertical = t.Set(extraDown, 0.5*c.Horizontal)
	c.count(e, c.Horizontal, c.Vertical)
	c.Sufficient = c.Horizontal == 0 || c.Long >= fewest
	if c.Horizontal == 0 {
		c.Outcome = fmt.Sprintf("large enough: r_e %.4g m, needed %s m.", radius, number(c.L1))
		return
	}
	c.Notes = append(c.Notes, noteDownOnes)
	word := "not enough"
	if c.Sufficient {
		word = "enough"
	}
	c.Outcome = fmt.Sprintf("%s: r_e %.4g m, needed %s m; at least %d additional electrodes of %.4g m horizontal or %.4g m "+
		"vertical are needed, %d are there.", word, radius, number(c.L1), fewest, c.Horizontal, c.Vertical, c.Long)
}
