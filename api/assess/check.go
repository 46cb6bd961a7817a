package assess

import (
	"slices"
	"strconv"
	"strings"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

// CheckFaults lists what the schema of a check cannot state.
func CheckFaults(req *wire.SPDCheck) []risk.Violation {
	switch {
	case (req.Line == nil) == (req.Assessment == nil):
		return []risk.Violation{{Rule: risk.RuleContradiction, Pointer: "/line", Reason: "give line or assessment: exactly one of the two"}}
	case req.Assessment != nil && req.Structure != nil:
		return []risk.Violation{{Rule: risk.RuleContradiction, Pointer: "/structure",
			Reason: "goes with line only; the assessment has its structure"}}
	case req.Line != nil:
		site := req.Site(nil)
		// The electrode only has to be one: its resistance is not computed here, so that no soil is needed.
		electrode := slices.DeleteFunc(electrodeFaults(site), func(f risk.Violation) bool { return f.Pointer == earth.SoilPointer })
		for i := range electrode {
			electrode[i].Pointer = strings.Replace(electrode[i].Pointer, "/structures/0/", "/structure/", 1)
		}
		return append(site.Violations, electrode...)
	}
	return nil
}

// CheckByValue checks a device at a line given by value. The reviews may be nil.
func CheckByValue(req *wire.SPDCheck, reviews *trace.Reviews) (*wire.SPDCheckResult, []risk.Violation) {
	site := req.Site(reviews)
	in := &site.Input
	e, ok := spd.Demand(&in.Lines[0], &in.Structures[0], req.At(), in.Reviews)
	if !ok {
		return nil, []risk.Violation{{Rule: risk.RuleNotApplicable, Pointer: "/position", Reason: "no device has this place on such a line"}}
	}
	e.Line, e.Structure = 0, 0
	return check(req, in, &in.Lines[0], &e), nil
}

func check(req *wire.SPDCheck, in *risk.Input, l *risk.Line, e *spd.Entry) *wire.SPDCheckResult {
	d := req.Device.Core()
	r := spd.Check(&d, &spd.Place{Entry: e, Line: l, Installation: req.Installation.Core(req.Device)})
	r.Cautions = withGeneral(r.Cautions)
	w := wire.NewSPDCheckResult(in, e, &r)
	w.ReviewsHash = reviewsHash(in.Reviews)
	return w
}

// CheckOfAssessment checks a device at a line of an assessment, whose input is computed again.
func CheckOfAssessment(req *wire.SPDCheck, site *wire.Site) (*wire.SPDCheckResult, []risk.Violation) {
	a, faults := Run(site, nil)
	if len(faults) > 0 {
		return nil, faults
	}
	var found []*spd.Entry
	known := false
	for i := range a.Schedule {
		e := &a.Schedule[i]
		if a.Input.Lines[e.Line].ID != req.Assessment.Line {
			continue
		}
		known = true
		if e.Position == req.At() && (req.Assessment.Structure == nil || a.Input.Structures[e.Structure].ID == *req.Assessment.Structure) {
			found = append(found, e)
		}
	}
	switch {
	case !known:
		return nil, []risk.Violation{{Rule: risk.RuleUnknownReference, Pointer: "/assessment/line", Reason: "the assessment has no line " +
			strconv.Quote(req.Assessment.Line) + " at an assessed structure"}}
	case len(found) == 0:
		return nil, []risk.Violation{{Rule: risk.RuleUnknownReference, Pointer: "/position",
			Reason: "the schedule has no device at this end and position of the line"}}
	case len(found) > 1:
		return nil, []risk.Violation{{Rule: risk.RuleContradiction, Pointer: "/assessment/structure",
			Reason: "the line has two ends: name the structure"}}
	}
	return check(req, a.Input, &a.Input.Lines[found[0].Line], found[0]), nil
}
