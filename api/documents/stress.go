package documents

import (
	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/recompute"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/risk"
)

// stress answers what the years do to the devices of a stored assessment, which is computed again.
func (s *Service) stress(c echo.Context) error {
	b, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return err
	}
	r, err := s.chosen(c)
	if err != nil {
		return err
	}
	site, err := recompute.Site(c.Request().Context(), s.Reviews, &r)
	if err != nil {
		return err
	}
	computed, faults := assess.Run(site, nil)
	if len(faults) > 0 {
		return refusal.InvalidInput.Problem("this program does not compute the stored input any more; the pointers are those of the input",
			refusal.FaultsOf(faults)...)
	}
	var result *wire.StressResult
	_, problem := contract.DecodeBody(wire.StressRequests, b, func(req *wire.StressRequest) (faults []risk.Violation) {
		result, faults = assess.Stress(computed, req)
		return faults
	})
	if problem != nil {
		return problem
	}
	result.Assessment, result.Revision = r.ID, r.Revision
	return protocol.Answer(c, result)
}
