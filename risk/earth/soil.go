package earth

import (
	"fmt"
	"math"
	"strconv"

	"levinward/risk"
	"levinward/risk/trace"
)

// Method is how a reading of the soil was taken.
type Method = risk.Named[methodList]

// The values of Method.
const (
	FourProbes Method = iota // four probes in line at equal distances (Wenner)
	TestRod                  // resistance of one driven rod by fall of potential
	methods
)

var methodNames = []string{"four_probes", "test_rod"}

type methodList struct{}

func (methodList) List() (string, []string) { return "method", methodNames }

// Reading is one measurement of the soil.
type Reading struct {
	Method     Method
	Resistance float64 // shown by the instrument [ohm]
	// Spacing of neighbouring probes [m]; four probes only.
	Spacing float64
	// Depth of the probes in the soil [m]; four probes only. 0: at most a twentieth of
	// the spacing, which is what the short formula asks for.
	Depth float64
	// RodLength in the soil and RodDiameter [m]; test rod only.
	RodLength, RodDiameter float64
}

// Layer is a layer of soil, from the surface down.
type Layer struct {
	Resistivity float64 // ohm m
	Thickness   float64 // m; 0 for the lowest
}

// Soil is what is known of the soil: readings, or one layer. More layers are refused.
type Soil struct {
	Readings []Reading
	Layers   []Layer
}

// MaxReadings is the largest number of readings.
const MaxReadings = 100

const (
	notDeep       = 0 // depth of probes driven at most a twentieth of their spacing
	uniformClause = "formulas for electrodes in uniform soil"
)

var (
	probeSpan     = span{0.1, 1000}
	thicknessSpan = span{0.01, 1e4}
)

// Resistivity returns the resistivity of uniform soil [ohm m]: the highest of the readings,
// or that of the only layer. Soil in layers, given as such or seen in readings that differ by
// more than 30 %, is refused, because no formula here holds for it. Pointers are relative to s.
func Resistivity(s Soil, t *trace.Trace) (float64, []risk.Violation) {
	var f faults
	s.check(&f)
	if len(f) > 0 {
		return 0, f
	}
	if len(s.Layers) == 1 {
		return t.Given(rhoLayer, s.Layers[0].Resistivity), nil
	}
	t.Begin(spread)
	t.Begin(rhoMost)
	low, high := math.Inf(1), 0.0
	for i := range s.Readings {
		t.Enter("reading-"+strconv.Itoa(i+1), "readings", i)
		v := s.Readings[i].resistivity(t)
		t.Leave()
		f.within("/readings/"+strconv.Itoa(i)+"/resistance_ohm", v, resistivitySpan, "ohm m of soil resistivity, which this reading gives")
		low, high = min(low, v), max(high, v)
	}
	if len(f) > 0 {
		return 0, f
	}
	if limit := t.Value(limits, rowUniform, 0); t.Collect(spread, high/low) > limit {
		f.add(RuleLayeredSoil, "/readings", fmt.Sprintf("the readings give %.4g to %.4g ohm m, a factor of %.3g; up to %g the soil "+
			"counts as uniform. %s", low, high, high/low, limit, layeredAdvice), uniformClause)
		return 0, f
	}
	return t.Collect(rhoMost, high), nil
}

const layeredAdvice = "Soil in layers is not computed: a formula for uniform soil can be far off in either direction. Measure " +
	"the resistance of the finished electrode, or give the resistivity of the worst layer it reaches as the soil's"

func (r *Reading) resistivity(t *trace.Trace) float64 {
	if r.Method == TestRod {
		L, R, d := t.Given(testL, r.RodLength), t.Given(reading, r.Resistance), t.Given(testD, r.RodDiameter)
		return t.Set(rodSoil, 2*math.Pi*L*R/(math.Log(8*L/d)-1))
	}
	a, R := t.Given(probes, r.Spacing), t.Given(reading, r.Resistance)
	if r.Depth == notDeep {
		return t.Set(wenner, 2*math.Pi*a*R)
	}
	b := t.Given(probeDeep, r.Depth)
	return t.Set(wennerAll, 4*math.Pi*a*R/(1+2*a/math.Sqrt(a*a+4*b*b)-a/math.Sqrt(a*a+b*b)))
}

func (s *Soil) check(f *faults) {
	switch {
	case len(s.Readings) > 0 && len(s.Layers) > 0:
		f.add(risk.RuleContradiction, "/layers", "readings and layers together; allowed: one of the two", "")
	case len(s.Readings) == 0 && len(s.Layers) == 0:
		f.add(risk.RuleOutOfRange, "/readings", "no reading; allowed: 1 to "+strconv.Itoa(MaxReadings), "")
	case len(s.Readings) > MaxReadings:
		f.add(risk.RuleOutOfRange, "/readings", strconv.Itoa(len(s.Readings))+" readings; allowed: 1 to "+strconv.Itoa(MaxReadings), "")
		return
	}
	if len(s.Layers) > 1 {
		f.add(RuleLayeredSoil, "/layers", strconv.Itoa(len(s.Layers))+" layers; allowed: 1. "+layeredAdvice, uniformClause)
	}
	for i := range s.Readings {
		s.Readings[i].check(f, "/readings/"+strconv.Itoa(i))
	}
	for i, l := range s.Layers[:min(len(s.Layers), MaxReadings)] {
		path := "/layers/" + strconv.Itoa(i)
		f.within(path+"/resistivity_ohm_m", l.Resistivity, resistivitySpan, "ohm m")
		if l.Thickness != 0 {
			f.within(path+"/thickness_m", l.Thickness, thicknessSpan, "m")
		}
	}
}

func (r *Reading) check(f *faults, path string) {
	if r.Method >= methods {
		f.add(risk.RuleOutOfRange, path+"/method", r.Method.String()+"; allowed: four_probes, test_rod", "")
		return
	}
	f.within(path+"/resistance_ohm", r.Resistance, readingSpan, "ohm")
	if r.Method == TestRod {
		f.absent(path+"/spacing_m", r.Spacing, "a test rod has no spacing")
		f.absent(path+"/depth_m", r.Depth, "the depth of a test rod is its length")
		long := f.within(path+"/rod_length_m", r.RodLength, spans[Rod][length], "m")
		if f.within(path+"/rod_diameter_m", r.RodDiameter, spans[Rod][diameter], "m") && long {
			f.thin(path, "/rod_length_m", r.RodLength, r.RodDiameter)
		}
		return
	}
	f.absent(path+"/rod_length_m", r.RodLength, "only a test rod has a length")
	f.absent(path+"/rod_diameter_m", r.RodDiameter, "only a test rod has a diameter")
	if f.within(path+"/spacing_m", r.Spacing, probeSpan, "m") && r.Depth != notDeep {
		f.within(path+"/depth_m", r.Depth, span{0.001, r.Spacing}, "m (at most the spacing)")
	}
}

// absent reports a value that must not be given.
func (f *faults) absent(pointer string, v float64, why string) {
	if v != 0 {
		f.add(risk.RuleNotApplicable, pointer, why+"; leave it out", "")
	}
}
