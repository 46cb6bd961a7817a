package api

import (
	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk"
)

// earthElectrode answers the resistance of an electrode, or the electrode for a wanted resistance.
func (s *Server) earthElectrode(c echo.Context) error {
	b, err := body(c, mediaJSON)
	if err != nil {
		return err
	}
	reviews, err := s.reviews.Reviews(c.Request().Context())
	if err != nil {
		return err
	}
	var result *wire.EarthResult
	_, problem := decodeBody(s.contract, wire.EarthRequests, "EarthRequest", b, func(req *wire.EarthRequest) (faults []risk.Violation) {
		result, faults = assess.Earth(req, reviews)
		return faults
	})
	if problem != nil {
		return problem
	}
	return answer(c, result)
}
