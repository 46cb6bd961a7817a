// Package ogc answers OGC API - Features: each portfolio is a collection of its sites.
package ogc

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/protocol"
	"levinward/store"
)

// Store is what is read of a store.
type Store interface {
	store.Portfolios
}

// Service is what the operations need.
type Service struct {
	Store    Store
	Contract []byte // in JSON
	Now      func() time.Time
}

// Routes adds the operations to a server.
func (s *Service) Routes(e *echo.Echo) {
	e.GET("/ogc", s.ogcLanding)
	e.GET("/ogc/api", s.api)
	e.GET("/ogc/conformance", s.ogcConformance)
	e.GET("/ogc/collections", s.ogcCollections)
	e.GET("/ogc/collections/:collectionId", s.ogcCollection)
	e.GET("/ogc/collections/:collectionId/items", s.ogcItems)
	e.GET("/ogc/collections/:collectionId/items/:featureId", s.ogcItem)
}

// api answers the contract, where clients of the standard look for it.
func (s *Service) api(c echo.Context) error {
	return c.Blob(http.StatusOK, protocol.MediaOpenAPI, s.Contract)
}
