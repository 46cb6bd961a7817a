package earth

import (
	"fmt"
	"math"
	"sort"
	"strconv"

	"levinward/risk"
	"levinward/risk/trace"
)

// Options say what a designed electrode is made of and how large it may become.
type Options struct {
	// Form is the electrode without the size that is sought: rods (Rods) without Count,
	// a wire without Length, a ring without RingDiameter. The rods may become one.
	Form Electrode
	// MaxCount, MaxLength [m] and MaxRingDiameter [m] bound what is sought; 0 takes the
	// largest that is computed at all. Only the one of the form may be given.
	MaxCount                   int
	MaxLength, MaxRingDiameter float64
}

// DesignResult is the smallest electrode of a form that reaches a wanted resistance.
type DesignResult struct {
	Electrode Electrode
	Result    Result
	// Reached is false where no electrode within the bounds reaches the wanted resistance;
	// Electrode is then the best within them.
	Reached bool
	// Smaller is the resistance of the next smaller electrode [ohm], which misses the
	// wanted value; 0 where there is none.
	Smaller float64
	// Outcome says in words what was found.
	Outcome string
}

// WantedPointer points to the wanted resistance.
const WantedPointer = "/wanted_ohm"

// step is how finely lengths and ring diameters are sought [1/m]: to 0.1 m, upwards.
const step = 10

// Design finds the smallest electrode of the given form whose resistance in soil of
// resistivity rho [ohm m] is at most want [ohm]: the number of rods, the length of a wire or
// the diameter of a ring, the latter two to 0.1 m. Pointers of faults are relative to
// Options.Form; bounds are "/max_count", "/max_length_m", "/max_ring_diameter_m".
func Design(want, rho float64, o Options, t *trace.Trace) (DesignResult, []risk.Violation) {
	var f faults
	f.within(WantedPointer, want, wantedSpan, "ohm")
	checkSoil(&f, rho)
	sizes := o.check(&f)
	if len(f) > 0 {
		return DesignResult{}, f
	}
	// Resistance falls with each of the sought sizes.
	i := sort.Search(len(sizes), func(i int) bool { return o.with(sizes[i]).resistance(rho, nil).Resistance <= want })
	reached := i < len(sizes)
	if !reached {
		i--
	}
	t.Given(wanted, want)
	e := o.with(sizes[i])
	d := DesignResult{Electrode: *e, Result: e.resistance(rho, t), Reached: reached}
	if reached && i > 0 {
		d.Smaller = o.with(sizes[i-1]).resistance(rho, nil).Resistance
	}
	d.Outcome = d.outcome(want)
	return d, nil
}

// check reports all faults and returns the sizes to choose from, in rising order.
func (o *Options) check(f *faults) []float64 {
	o.checkBounds(f)
	form := &o.Form
	largest := 0.0
	bound := ""
	switch form.Kind {
	case Rods:
		f.absent("/count", float64(form.Count), "the number of rods is what is sought")
		counts := o.counts()
		largest = counts[len(counts)-1]
	case Wire:
		f.absent("/length_m", form.Length, "the length is what is sought")
		largest, bound = spans[Wire][length].high, "/max_length_m"
	case Ring:
		f.absent("/ring_diameter_m", form.RingDiameter, "the ring diameter is what is sought")
		largest, bound = spans[Ring][ringDiameter].high, "/max_ring_diameter_m"
	default:
		f.add(risk.RuleNotApplicable, "/kind", "cannot be designed: "+form.Kind.String()+"; allowed: rods, wire, ring", "")
		return nil
	}
	o.with(largest).check(f, "", false)
	if len(*f) > 0 {
		return nil
	}
	sizes := o.sizes()
	if len(sizes) == 0 {
		f.add(risk.RuleContradiction, bound, "too small for this depth and diameter; allowed: "+number(o.smallest())+" m or more", "")
	}
	return sizes
}

func (o *Options) checkBounds(f *faults) {
	bounds := [...]struct {
		pointer string
		value   float64
		kind    Kind
		allowed span
		unit    string
	}{
		{"/max_count", float64(o.MaxCount), Rods, span{1, spans[Rods][count].high}, "rods"},
		{"/max_length_m", o.MaxLength, Wire, spans[Wire][length], "m"},
		{"/max_ring_diameter_m", o.MaxRingDiameter, Ring, spans[Ring][ringDiameter], "m"},
	}
	for _, b := range bounds {
		switch {
		case b.value == 0:
		case o.Form.Kind != b.kind:
			f.add(risk.RuleNotApplicable, b.pointer, "bounds "+b.kind.String()+", not "+o.Form.Kind.String()+"; leave it out", "")
		default:
			f.within(b.pointer, b.value, b.allowed, b.unit)
		}
	}
}

// smallest is the least length of a wire or diameter of a ring that the formula takes.
func (o *Options) smallest() float64 {
	least := [kinds]span{Wire: spans[Wire][length], Ring: spans[Ring][ringDiameter]}[o.Form.Kind].low
	return max(least, 2*o.Form.Depth, slenderness*o.Form.Diameter)
}

// sizes lists what the sought size can be, in rising order.
func (o *Options) sizes() []float64 {
	switch o.Form.Kind {
	case Wire:
		return steps(o.smallest(), or(o.MaxLength, spans[Wire][length].high))
	case Ring:
		return steps(o.smallest(), or(o.MaxRingDiameter, spans[Ring][ringDiameter].high))
	}
	return o.counts()
}

// counts lists the numbers of rods the arrangement has within the bound; one rod is any arrangement.
func (o *Options) counts() []float64 {
	most, by := int(spans[Rods][count].high), 1
	switch o.Form.Arrangement {
	case Triangle:
		most, by = 3, 3
	case Square:
		most, by = 4*len(squareFactor.Rows), 4
	}
	if o.MaxCount > 0 {
		most = min(most, o.MaxCount)
	}
	all := []float64{1}
	for n := max(by, 2); n <= most; n += by {
		all = append(all, float64(n))
	}
	return all
}

func or(v, otherwise float64) float64 {
	if v == 0 {
		return otherwise
	}
	return v
}

// steps lists the multiples of 0.1 m from low to high; a bound of so many tenths counts as
// such although it has no exact binary form.
func steps(low, high float64) []float64 {
	var all []float64
	for k := math.Floor(low * step); k <= math.Floor(high*step+1e-6); k++ {
		if v := k / step; v >= low {
			all = append(all, v)
		}
	}
	return all
}

// with returns the form with the sought size.
func (o *Options) with(size float64) *Electrode {
	e := o.Form
	switch e.Kind {
	case Wire:
		e.Length = size
	case Ring:
		e.RingDiameter = size
	default:
		e.Count = int(size)
		if size == 1 {
			e.Kind, e.Count, e.Arrangement, e.Spacing = Rod, 0, Line, 0
		}
	}
	return &e
}

func (d *DesignResult) outcome(want float64) string {
	what := map[Kind]string{
		Rod:  "1 rod",
		Rods: strconv.Itoa(d.Electrode.Count) + " rods",
		Wire: fmt.Sprintf("%.1f m of wire", d.Electrode.Length),
		Ring: fmt.Sprintf("a ring of %.1f m diameter", d.Electrode.RingDiameter),
	}[d.Electrode.Kind]
	got := fmt.Sprintf("%.4g ohm with %s", d.Result.Resistance, what)
	if !d.Reached {
		return fmt.Sprintf("not possible within the bounds: %s is the best of this form; %s ohm were wanted. Use longer rods or "+
			"wire, another form, or a place with better soil.", got, number(want))
	}
	return got + "; " + number(want) + " ohm were wanted."
}
