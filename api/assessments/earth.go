package assessments

import (
	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/wire"
	"levinward/risk"
)

// earthElectrode answers the resistance of an electrode, or the electrode for a wanted resistance.
func (s *Service) earthElectrode(c echo.Context) error {
	b, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return err
	}
	reviews, err := s.Reviews.Reviews(c.Request().Context())
	if err != nil {
		return err
	}
	var result *wire.EarthResult
	_, problem := contract.DecodeBody(wire.EarthRequests, b, func(req *wire.EarthRequest) (faults []risk.Violation) {
		result, faults = assess.Earth(req, reviews)
		return faults
	})
	if problem != nil {
		return problem
	}
	return protocol.Answer(c, result)
}
