package assess

import (
	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

// Coordinate judges devices behind each other on one line, or says what keeps them from being judged. The reviews may be nil.
func Coordinate(req *wire.CoordinationRequest, reviews *trace.Reviews) (*wire.CoordinationResult, []risk.Violation) {
	stages, o := req.Core()
	faults := spd.CoordinationViolations(stages, o)
	if req.Telecom() && req.Current != nil {
		faults = append(faults, risk.Violation{Rule: risk.RuleNotApplicable, Pointer: "/current",
			Reason: "says nothing on a telecommunication line: leave it out"})
	}
	if len(faults) > 0 {
		return nil, faults
	}
	t := trace.New(32 * len(stages)).With(reviews)
	c := spd.Coordinate(stages, o, t)
	c.Cautions = withGeneral(c.Cautions)
	w := wire.NewCoordinationResult(stages, &c, t)
	w.ReviewsHash = reviewsHash(reviews)
	return w, nil
}
