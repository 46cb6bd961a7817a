// Package documents answers what is written out of stored assessments, worksheet, schedule, collection areas and stress, and the reference.
package documents

import (
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/contract"
	"levinward/api/library"
	"levinward/api/reference"
	"levinward/store"
)

// Store is what is read of a store.
type Store interface {
	store.Assessments
	store.ReviewsLibrary
	store.DeviceLibrary
}

// Service is what the operations need.
type Service struct {
	Store    Store
	Contract *contract.Contract
	Now      func() time.Time
	Reviews  *reference.Current
	Library  *library.Cache
}

// Routes adds the operations to a server.
func (s *Service) Routes(e *echo.Echo) {
	e.GET("/v1/assessments/:id/worksheet", s.worksheet)
	e.GET("/v1/assessments/:id/worksheet.csv", s.worksheetCSV)
	e.GET("/v1/assessments/:id/worksheet.html", s.worksheetHTML)
	e.GET("/v1/assessments/:id/collection-areas", s.collectionAreas)
	e.GET("/v1/assessments/:id/spd-schedule", s.schedule)
	e.GET("/v1/assessments/:id/spd-schedule.csv", s.scheduleCSV)
	e.POST("/v1/assessments/:id/spd-stress", s.stress)
	e.GET("/v1/reference", s.reference)
	e.GET("/v1/reference/values", s.referenceValues)
	e.GET("/v1/reference/values.csv", s.referenceCSV)
	e.PUT("/v1/reference/reviews", s.putReviews)
	e.GET("/v1/reference/reviews", s.getReviews)
	e.DELETE("/v1/reference/reviews", s.removeReviews)
	e.GET("/v1/reference/reviews/:hash", s.reviewsTable)
}
