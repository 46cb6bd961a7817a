// Package maps answers for flash-density maps.
package maps

import (
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/shelf"
	"levinward/geo"
	"levinward/store"
)

// Service is what the operations need.
type Service struct {
	Store  store.DensityMapLibrary
	Maps   *shelf.Shelf
	Now    func() time.Time
	Limits geo.DensityMapLimits
	Slots  chan struct{} // one for each upload in memory
}

// Routes adds the operations to a server.
func (s *Service) Routes(e *echo.Echo) {
	e.POST("/v1/flash-density-maps", s.createMap)
	e.GET("/v1/flash-density-maps", s.listMaps)
	e.GET("/v1/flash-density-maps/:id", s.getMap)
	e.DELETE("/v1/flash-density-maps/:id", s.removeMap)
	e.GET("/v1/flash-density-maps/:id/sample", s.sampleMap)
}
