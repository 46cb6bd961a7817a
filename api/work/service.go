// Package work answers for imports and re-assessments, which are done in the background.
package work

import (
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/contract"
	"levinward/api/jobs"
	"levinward/store"
)

// Store is what is read and changed of a store.
type Store interface {
	store.Portfolios
	store.DensityMapLibrary
}

// Service is what the operations need.
type Service struct {
	Store    Store
	Contract *contract.Contract
	Now      func() time.Time
	Jobs     *jobs.Jobs
	Limit    int64 // bytes of a file of sites
}

// Routes adds the operations to a server.
func (s *Service) Routes(e *echo.Echo) {
	e.GET("/v1/portfolios/:id/work", s.listWork)
	e.POST("/v1/portfolios/:id/imports", s.importSites)
	e.POST("/v1/portfolios/:id/assessments", s.reassess)
	e.GET("/v1/work/:id", s.work)
	e.DELETE("/v1/work/:id", s.cancelWork)
	e.GET("/v1/work/:id/events", s.workEvents)
	e.GET("/v1/work/:id/faults", s.workFaults)
	e.GET("/v1/work/:id/notes", s.workNotes)
	e.POST("/v1/work/:id/retries", s.retryWork)
}
