package earth

import (
	"math"
	"slices"
	"strconv"

	"levinward/risk"
)

// slenderness is the least length of a conductor in diameters; the formulas are for thin conductors.
const slenderness = 20

// Validate reports every fault of the electrode, with pointers relative to it.
func (e *Electrode) Validate() []risk.Violation {
	var f faults
	e.check(&f, "", false)
	return f
}

// faults collects violations.
type faults []risk.Violation

func (f *faults) add(rule risk.Rule, pointer, reason, clause string) {
	*f = append(*f, risk.Violation{Rule: rule, Pointer: pointer, Reason: reason, Clause: clause})
}

// within reports a value outside its range, in the given unit.
func (f *faults) within(pointer string, v float64, s span, unit string) bool {
	if s.holds(v) {
		return true
	}
	if unit != "" {
		unit = " " + unit
	}
	allowed := "allowed: " + s.String() + unit
	if v == 0 {
		f.add(risk.RuleOutOfRange, pointer, "missing or zero; "+allowed, "")
	} else {
		f.add(risk.RuleOutOfRange, pointer, number(v)+" is out of range; "+allowed, "")
	}
	return false
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

func unitOf(d dimension) string { return [dimensions]string{count: "rods", area: "m2"}[d] }

func (e *Electrode) check(f *faults, path string, part bool) {
	switch {
	case e.Kind >= kinds:
		f.add(risk.RuleOutOfRange, path+"/kind", e.Kind.String()+"; allowed: rod, rods, wire, ring, grid, combination", "")
		return
	case e.Kind == Combination:
		e.checkParts(f, path, part)
	case len(e.Parts) > 0:
		f.add(risk.RuleNotApplicable, path+"/parts", "only a combination has parts", "")
	}
	if !part && e.Distance != 0 {
		f.add(risk.RuleNotApplicable, path+"/distance_m", "only a later part of a combination has a distance to earlier parts", "")
	}
	switch {
	case e.Arrangement >= arrangements:
		f.add(risk.RuleOutOfRange, path+"/arrangement", e.Arrangement.String()+"; allowed: line, triangle, square", "")
	case e.Kind != Rods && e.Arrangement != Line:
		f.add(risk.RuleNotApplicable, path+"/arrangement", "only several rods have an arrangement", "")
	}
	e.checkForm(f, path, e.checkSizes(f, path))
}

// sound marks the sizes that are within their range.
type sound [dimensions]bool

func (s sound) all(sizes ...dimension) bool {
	return !slices.ContainsFunc(sizes, func(d dimension) bool { return !s[d] })
}

// checkSizes holds every size against the range of its kind.
func (e *Electrode) checkSizes(f *faults, path string) sound {
	var ok sound
	for d := range dimensions {
		v, s, pointer := e.size(d), spans[e.Kind][d], path+"/"+dimensionFields[d]
		unit := unitOf(d)
		if unit == "" {
			unit = "m"
		}
		switch {
		case s != span{}:
			ok[d] = f.within(pointer, v, s, unit)
		case v != 0:
			f.add(risk.RuleNotApplicable, pointer, "a "+e.Kind.String()+" electrode has no such size; leave it out", "")
		}
	}
	return ok
}

// checkForm holds sound sizes against each other: the conditions of the formulas.
func (e *Electrode) checkForm(f *faults, path string, ok sound) {
	if ok.all(length, diameter) {
		f.thin(path, "/length_m", e.Length, e.Diameter)
	}
	if ok.all(ringDiameter, diameter) {
		f.thin(path, "/ring_diameter_m", e.RingDiameter, e.Diameter)
	}
	if ok.all(depth, diameter, length) {
		f.shallow(path, e.Depth, e.Diameter, e.Length)
	}
	if ok.all(depth, diameter, ringDiameter) {
		f.shallow(path, e.Depth, e.Diameter, e.RingDiameter)
	}
	if least := 2 * math.Sqrt(math.Pi*e.Area); ok.all(area, conductorLength) && e.ConductorLength < least {
		f.add(risk.RuleContradiction, path+"/conductor_length_m",
			number(e.ConductorLength)+" m cannot even surround "+number(e.Area)+" m2; allowed: "+number(least)+" m or more", "")
	}
	if ok[count] {
		e.checkCount(f, path)
	}
	switch {
	case ok.all(count, spacing, length) && e.Count > 2 && e.Spacing < e.Length:
		f.add(risk.RuleOutOfRange, path+"/spacing_m", "rods nearer than their length: "+number(e.Spacing)+" m; allowed for more than "+
			"two rods: "+number(e.Length)+" m or more. Rods in between may be left out of the count", bs7430)
	case ok.all(spacing, diameter) && e.Spacing < 2*e.Diameter:
		f.add(risk.RuleOutOfRange, path+"/spacing_m", number(e.Spacing)+" m; allowed: at least two diameters", dwight)
	}
}

// thin demands a conductor much longer than thick.
func (f *faults) thin(path, field string, length, diameter float64) {
	if length < slenderness*diameter {
		f.add(risk.RuleOutOfRange, path+field, number(length)+" m is too short for a diameter of "+number(diameter)+" m; allowed: at "+
			"least "+number(slenderness)+" diameters", dwight)
	}
}

// shallow demands a depth of at least the diameter, and at most half the extent, where the series for wire and ring are on the safe side.
func (f *faults) shallow(path string, depth, diameter, extent float64) {
	if s := (span{diameter, extent / 2}); !s.holds(depth) {
		f.add(risk.RuleOutOfRange, path+"/depth_m", number(depth)+" m; allowed: "+s.String()+" m (conductor diameter to half the "+
			"length or ring diameter)", dwight)
	}
}

// checkCount holds the number of rods against their arrangement.
func (e *Electrode) checkCount(f *faults, path string) {
	most := 4 * len(squareFactor.Rows)
	switch {
	case e.Arrangement == Triangle && e.Count != 3:
		f.add(risk.RuleOutOfRange, path+"/count", strconv.Itoa(e.Count)+" rods; allowed in a triangle: 3", bs7430)
	case e.Arrangement == Square && (e.Count%4 != 0 || e.Count > most):
		f.add(risk.RuleOutOfRange, path+"/count", strconv.Itoa(e.Count)+" rods; allowed in a hollow square: 4, 8, 12 … "+strconv.Itoa(most),
			squareFactor.Clause)
	}
}

func (e *Electrode) checkParts(f *faults, path string, part bool) {
	if part {
		f.add(risk.RuleNotApplicable, path+"/kind", "a combination within a combination; list all parts in one", "")
		return
	}
	if n := len(e.Parts); n < 2 || n > MaxParts {
		f.add(risk.RuleOutOfRange, path+"/parts", strconv.Itoa(n)+" parts; allowed: 2 to "+strconv.Itoa(MaxParts), "")
		if n > MaxParts {
			return
		}
	}
	for i := range e.Parts {
		p, pointer := &e.Parts[i], path+"/parts/"+strconv.Itoa(i)
		p.check(f, pointer, true)
		switch {
		case i > 0 && p.Distance == 0:
			f.add(risk.RuleOutOfRange, pointer+"/distance_m",
				"missing: without the distance to the nearest earlier part the parts cannot be combined, since a value without their "+
					"mutual effect would be too low; allowed: "+distanceSpan.String()+" m", pointSource)
		case i > 0:
			f.within(pointer+"/distance_m", p.Distance, distanceSpan, "m")
		case p.Distance != 0:
			f.add(risk.RuleNotApplicable, pointer+"/distance_m", "the first part has no earlier part", "")
		}
	}
}

// checkSoil reports a resistivity outside its range [ohm m].
func checkSoil(f *faults, rho float64) {
	f.within(SoilPointer, rho, resistivitySpan, "ohm m")
}
