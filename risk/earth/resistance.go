package earth

import (
	"math"
	"slices"
	"strconv"

	"levinward/risk"
	"levinward/risk/trace"
)

// Result is the resistance of an electrode and how it came about.
type Result struct {
	// Resistance to remote earth at low frequency [ohm].
	Resistance float64
	// Formula that gave it, with clause and provenance.
	Formula *trace.Quantity
	// Parts of a combination, in order; empty for any other electrode.
	Parts []Part
	// Mutual says how the mutual effect of rods or parts was counted.
	Mutual string
	Grade  Grade
	Notes  []Note
}

// Part is one part of a combination.
type Part struct {
	Resistance float64         // of the part alone [ohm]
	Formula    *trace.Quantity // that gave it
	Mutual     float64         // R_m to the earlier parts [ohm]; 0 for the first part
	Together   float64         // with all earlier parts [ohm]
	Idle       bool            // too near: the better of this part and the earlier ones was taken alone
}

// Note is a remark that belongs to a result.
type Note struct {
	Text, Clause string
	Provenance   trace.Provenance
}

// How the mutual effect was counted.
const (
	MutualNone   = "one electrode"
	MutualPair   = "mutual effect of the two rods by the formula for the pair"
	MutualRods   = "mutual effect of the rods as point sources at their spacing, which is not less than the true effect"
	MutualWithin = "mutual effect along the conductor and of its mirror image is in the formula"
	MutualGrid   = "mutual effect of the conductors is in the formula, which is a fit to computed grids"
	MutualParts  = "mutual effect of each part as a point source at its shortest distance to the earlier parts, which is not less than the true effect; parts too near to gain by it count as the better one alone. A parallel value without mutual effect would be too low"
)

// Notes on a result.
var (
	noteUniform = Note{"For uniform soil at its driest; prove the finished electrode by measurement before anything relies on it.", "common practice, no published source", rule}
	noteLong    = Note{"Longer than 60 m: to a lightning current, which rises in microseconds, the far part of a conductor hardly helps; several shorter electrodes serve better.", "IEC 62305-3:2010, Annex E", mem}
	noteIdle    = Note{"A part stands too near to the earlier ones to be shown to help, and is not counted; further away it would be.", pointSource, computed}
	noteShallow = Note{"Less than 0.5 m deep: lay rings and horizontal conductors at 0.5 m or more, below frost and drying.", iec3, mem}
)

// Resistance computes the resistance of an electrode in uniform soil of resistivity
// rho [ohm m]. Faults are reported all at once, with pointers relative to the electrode,
// that of the soil as SoilPointer. With a nil trace nothing is recorded; a trace whose
// newest resistivity is rho (from Resistivity) is continued from there.
func Resistance(e Electrode, rho float64, t *trace.Trace) (Result, []risk.Violation) {
	var f faults
	checkSoil(&f, rho)
	e.check(&f, "", false)
	if len(f) > 0 {
		return Result{}, f
	}
	return e.resistance(rho, t), nil
}

// resistance of a valid electrode.
func (e *Electrode) resistance(soil float64, t *trace.Trace) Result {
	giveSoil(soil, t)
	res := Result{Mutual: e.mutual(), Notes: e.notes()}
	if e.Kind == Combination {
		res.Resistance, res.Formula, res.Parts = e.together(soil, t)
		if slices.ContainsFunc(res.Parts, func(p Part) bool { return p.Idle }) {
			res.Notes = append(res.Notes, noteIdle)
		}
	} else {
		res.Resistance, res.Formula = e.single(soil, t)
	}
	res.Grade = gradeOf(res.Resistance, t.Value(limits, rowAim, 0), t.Value(limits, rowUseful, 0))
	return res
}

// giveSoil records the resistivity unless the trace has just come to it.
func giveSoil(soil float64, t *trace.Trace) {
	if m := t.Last(rho); m == 0 || t.Steps[m-1].Value != soil {
		t.Given(rho, soil)
	}
}

func (e *Electrode) mutual() string {
	switch {
	case e.Kind == Rods && e.Count == 2:
		return MutualPair
	default:
		return [kinds]string{MutualNone, MutualRods, MutualWithin, MutualWithin, MutualGrid, MutualParts}[e.Kind]
	}
}

func (e *Electrode) notes() []Note {
	notes := []Note{noteUniform}
	long, shallow := false, false
	for _, p := range e.parts() {
		long = long || p.Kind == Wire && p.Length > 60
		shallow = shallow || p.Kind != Rod && p.Kind != Rods && p.Depth < 0.5
	}
	if long {
		notes = append(notes, noteLong)
	}
	if shallow {
		notes = append(notes, noteShallow)
	}
	return notes
}

// parts are those of a combination; any other electrode is its own only part.
func (e *Electrode) parts() []Electrode {
	if e.Kind == Combination {
		return e.Parts
	}
	return []Electrode{*e}
}

// single returns R of an electrode that is no combination [ohm], and the formula.
func (e *Electrode) single(rho float64, t *trace.Trace) (float64, *trace.Quantity) {
	switch {
	case e.Kind == Rods && e.Count == 2:
		return e.pair(rho, t)
	case e.Kind == Rods:
		return e.rods(rho, t)
	case e.Kind == Wire:
		return e.wire(rho, t)
	case e.Kind == Ring:
		return e.ring(rho, t)
	case e.Kind == Grid:
		return e.grid(rho, t)
	}
	L, d := t.Given(rodL, e.Length), t.Given(rodD, e.Diameter)
	return t.Set(rRod, rho/(2*math.Pi*L)*(math.Log(8*L/d)-1)), rRod
}

// pair returns R of two rods. The printed series for s > L is up to 3 % high as s comes
// down to L, where the series for s <= L takes over.
func (e *Electrode) pair(rho float64, t *trace.Trace) (float64, *trace.Quantity) {
	L, s := t.Given(rodL, e.Length), t.Given(rodS, e.Spacing)
	t.Given(rodN, 2)
	a := t.Set(radius, t.Given(rodD, e.Diameter)/2)
	if s <= L {
		return t.Set(rPairNear, wireAndImage(rho, L, a, s)), rPairNear
	}
	single := rho / (4 * math.Pi * L) * (math.Log(4*L/a) - 1)
	other := rho / (4 * math.Pi * s) * (1 - L*L/(3*s*s) + 2*L*L*L*L/(5*s*s*s*s))
	return t.Set(rPairFar, single+other), rPairFar
}

// rods returns R of three rods or more.
func (e *Electrode) rods(rho float64, t *trace.Trace) (float64, *trace.Quantity) {
	n, L, d, s := t.Given(rodN, float64(e.Count)), t.Given(rodL, e.Length), t.Given(rodD, e.Diameter), t.Given(rodS, e.Spacing)
	k := e.lambda(t)
	return t.Set(rRods, 1/n*rho/(2*math.Pi*L)*(math.Log(8*L/d)-1+k*L/s)), rRods
}

// lambda returns the factor of mutual effect of the rods.
func (e *Electrode) lambda(t *trace.Trace) float64 {
	switch e.Arrangement {
	case Triangle:
		return t.Set(lambda3, 2)
	case Square:
		return t.Pick(lambda4, squareFactor, e.Count/4-1, 0)
	}
	t.Begin(lambda)
	total := 0.0
	for k := 2; k <= e.Count; k++ {
		total += 1 / t.Given(neighbour, float64(k))
	}
	return t.Collect(lambda, 2*total)
}

func (e *Electrode) wire(rho float64, t *trace.Trace) (float64, *trace.Quantity) {
	L := t.Set(halfL, t.Given(wireL, e.Length)/2)
	a := t.Set(radius, t.Given(rodD, e.Diameter)/2)
	s := t.Set(image, 2*t.Given(deep, e.Depth))
	return t.Set(rWire, wireAndImage(rho, L, a, s)), rWire
}

// wireAndImage is Dwight's series for a wire of length 2 L and radius a whose image is
// at distance s; it holds for s <= 2 L.
func wireAndImage(rho, L, a, s float64) float64 {
	return rho / (4 * math.Pi * L) * (math.Log(4*L/a) + math.Log(4*L/s) - 2 + s/(2*L) - s*s/(16*L*L) + s*s*s*s/(512*L*L*L*L))
}

func (e *Electrode) ring(rho float64, t *trace.Trace) (float64, *trace.Quantity) {
	D, d := t.Given(ringD, e.RingDiameter), t.Given(rodD, e.Diameter)
	s := t.Set(image, 2*t.Given(deep, e.Depth))
	return t.Set(rRing, rho/(2*math.Pi*math.Pi*D)*(math.Log(8*D/d)+math.Log(4*D/s))), rRing
}

func (e *Electrode) grid(rho float64, t *trace.Trace) (float64, *trace.Quantity) {
	LT, A, h := t.Given(gridLT, e.ConductorLength), t.Given(gridA, e.Area), t.Given(deep, e.Depth)
	return t.Set(rGrid, rho*(1/LT+1/math.Sqrt(20*A)*(1+1/(1+h*math.Sqrt(20/A))))), rGrid
}

// together returns R of a combination. Each part is added to the earlier ones as a second
// electrode at the same potential. Its mutual resistance is that of a point source at the
// shortest distance, never less than the true one.
func (e *Electrode) together(rho float64, t *trace.Trace) (float64, *trace.Quantity, []Part) {
	parts := make([]Part, len(e.Parts))
	sum, formula := 0.0, ra
	for i := range e.Parts {
		e.enter(i, t)
		p := &parts[i]
		p.Resistance, p.Formula = e.Parts[i].single(rho, t)
		if i == 0 {
			sum = t.Set(ra, p.Resistance)
		} else {
			x := t.Given(apart, e.Parts[i].Distance)
			p.Mutual = t.Set(rm, rho/(2*math.Pi*x))
			sum, formula, p.Idle = parallel(sum, p.Resistance, p.Mutual, t)
		}
		p.Together = sum
		t.Leave()
	}
	return sum, formula, parts
}

// enter makes part i the scope of what is recorded.
func (e *Electrode) enter(i int, t *trace.Trace) { t.Enter("part-"+strconv.Itoa(i+1), "parts", i) }

// parallel returns the resistance of two bonded electrodes a and b with mutual resistance m.
// Where m reaches the smaller of the two, the worse electrode cannot be shown to help.
func parallel(a, b, m float64, t *trace.Trace) (sum float64, formula *trace.Quantity, idle bool) {
	if m >= min(a, b) {
		return t.Set(raAlone, min(a, b)), raAlone, true
	}
	return t.Set(raBoth, m+(a-m)*(b-m)/((a-m)+(b-m))), raBoth, false
}
