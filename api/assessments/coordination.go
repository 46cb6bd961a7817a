package assessments

import (
	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/wire"
	"levinward/risk"
)

// coordinate answers whether devices fit behind each other on one line.
func (s *Service) coordinate(c echo.Context) error {
	b, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return err
	}
	reviews, err := s.Reviews.Reviews(c.Request().Context())
	if err != nil {
		return err
	}
	var result *wire.CoordinationResult
	_, problem := contract.DecodeBody(wire.Coordinations, b, func(req *wire.CoordinationRequest) (faults []risk.Violation) {
		result, faults = assess.Coordinate(req, reviews)
		return faults
	})
	if problem != nil {
		return problem
	}
	return protocol.Answer(c, result)
}
