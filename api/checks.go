package api

import (
	"errors"

	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk/trace"
	"levinward/store"
)

// checkSPD answers whether a device is right for a line.
func (s *Server) checkSPD(c echo.Context) error {
	b, err := body(c, mediaJSON)
	if err != nil {
		return err
	}
	req, problem := decodeBody(s.contract, wire.SPDChecks, "SPDCheck", b, assess.CheckFaults)
	if problem != nil {
		return problem
	}
	if req.Assessment == nil {
		reviews, err := s.reviews.Reviews(c.Request().Context())
		if err != nil {
			return err
		}
		result, faults := assess.CheckByValue(req, reviews)
		if len(faults) > 0 {
			return invalid(faultsOf(faults))
		}
		return answer(c, result)
	}
	result, err := s.checkStored(c, req)
	if err != nil {
		return err
	}
	return answer(c, result)
}

// checkStored checks a device at a line of a stored assessment.
func (s *Server) checkStored(c echo.Context, req *wire.SPDCheck) (*wire.SPDCheckResult, error) {
	ctx := c.Request().Context()
	read := func() (store.Record, error) {
		if req.Assessment.Revision == nil {
			return s.store.Newest(ctx, store.Local, req.Assessment.ID)
		}
		return s.store.Revision(ctx, store.Local, req.Assessment.ID, int(*req.Assessment.Revision))
	}
	r, err := read()
	if errors.Is(err, store.ErrNotFound) {
		return nil, invalid([]Fault{at("/assessment/id", "there is no such assessment or revision")})
	}
	if err != nil {
		return nil, err
	}
	site, err := s.siteOf(ctx, &r)
	if err != nil {
		return nil, err
	}
	result, faults := assess.CheckOfAssessment(req, site)
	if len(faults) > 0 {
		return nil, invalid(faultsOf(faults))
	}
	return result, nil
}

// CheckDevice answers a check of a line given by value, without a server or store, by the same contract.
func CheckDevice(contractYAML, body []byte, reviews *trace.Reviews) (*wire.SPDCheckResult, error) {
	contract, err := newContract(contractYAML)
	if err != nil {
		return nil, err
	}
	req, problem := decodeBody(contract, wire.SPDChecks, "SPDCheck", body, assess.CheckFaults)
	if problem != nil {
		return nil, problem
	}
	if req.Assessment != nil {
		return nil, invalid([]Fault{at("/assessment", "needs a server with its store; give the line by value")})
	}
	result, faults := assess.CheckByValue(req, reviews)
	if len(faults) > 0 {
		return nil, invalid(faultsOf(faults))
	}
	return result, nil
}
