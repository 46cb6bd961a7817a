// Package assessments answers for assessments and for what is computed without being stored.
package assessments

import (
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/contract"
	"levinward/api/reference"
	"levinward/store"
)

// Service is what the operations need.
type Service struct {
	Store    store.Store
	Contract *contract.Contract
	Now      func() time.Time
	Reviews  *reference.Current
	Maps     assess.Maps
	Recorder *assess.Recorder
	Computed func() // counts an input that was computed
}

// Routes adds the operations to a server.
func (s *Service) Routes(e *echo.Echo) {
	e.POST("/v1/calculations", s.calculate)
	e.POST("/v1/assessments", s.create)
	e.GET("/v1/assessments", s.list)
	e.GET("/v1/assessments/:id", s.newest)
	e.DELETE("/v1/assessments/:id", s.remove)
	e.POST("/v1/assessments/:id/revisions", s.revise)
	e.GET("/v1/assessments/:id/revisions", s.revisions)
	e.GET("/v1/assessments/:id/revisions/:n", s.revision)
	e.GET("/v1/assessments/:id/changes", s.changes)
	e.POST("/v1/spd-checks", s.checkSPD)
	e.POST("/v1/spd-coordinations", s.coordinate)
	e.POST("/v1/earth-electrodes", s.earthElectrode)
}
