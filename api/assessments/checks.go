package assessments

import (
	"errors"

	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/recompute"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/store"
)

// checkSPD answers whether a device is right for a line.
func (s *Service) checkSPD(c echo.Context) error {
	b, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return err
	}
	req, problem := contract.DecodeBody(wire.SPDChecks, b, assess.CheckFaults)
	if problem != nil {
		return problem
	}
	if req.Assessment == nil {
		reviews, err := s.Reviews.Reviews(c.Request().Context())
		if err != nil {
			return err
		}
		result, faults := assess.CheckByValue(req, reviews)
		if len(faults) > 0 {
			return refusal.Invalid(refusal.FaultsOf(faults))
		}
		return protocol.Answer(c, result)
	}
	result, err := s.checkStored(c, req)
	if err != nil {
		return err
	}
	return protocol.Answer(c, result)
}

// checkStored checks a device at a line of a stored assessment.
func (s *Service) checkStored(c echo.Context, req *wire.SPDCheck) (*wire.SPDCheckResult, error) {
	ctx := c.Request().Context()
	read := func() (store.Record, error) {
		if req.Assessment.Revision == nil {
			return s.Store.Newest(ctx, store.Local, req.Assessment.ID)
		}
		return s.Store.Revision(ctx, store.Local, req.Assessment.ID, int(*req.Assessment.Revision))
	}
	r, err := read()
	if errors.Is(err, store.ErrNotFound) {
		return nil, refusal.Invalid([]refusal.Fault{refusal.FaultAt("/assessment/id", "there is no such assessment or revision")})
	}
	if err != nil {
		return nil, err
	}
	site, err := recompute.Site(ctx, s.Reviews, &r)
	if err != nil {
		return nil, err
	}
	result, faults := assess.CheckOfAssessment(req, site)
	if len(faults) > 0 {
		return nil, refusal.Invalid(refusal.FaultsOf(faults))
	}
	return result, nil
}
