package api

import (
	"encoding/json"
	"net/http"

	"levinward/api/protocol"

	"github.com/labstack/echo/v4"
)

// handleError writes every error as a problem.
func (s *Server) handleError(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	p := protocol.ProblemOf(err)
	if p.Status >= 500 {
		s.log.Error("request failed", "error", err, "path", c.Request().URL.Path, "request_id", c.Response().Header().Get(echo.HeaderXRequestID))
	}
	h := c.Response().Header()
	if p.ETag != "" {
		h.Set("ETag", p.ETag)
	}
	if p.Status == http.StatusServiceUnavailable {
		h.Set("Retry-After", "5")
	}
	body, _ := json.Marshal(p)
	if err := c.Blob(p.Status, "application/problem+json", body); err != nil {
		s.log.Warn("answer not written", "error", err)
	}
}
