// Package portfolios answers for portfolios, their sites as lists and files, presets, and plans under a budget.
package portfolios

import (
	"log/slog"
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/batch"
	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/reference"
	"levinward/api/sites"
	"levinward/store"
)

// Store is what is read and changed of a store.
type Store interface {
	store.Portfolios
}

// Service is what the operations need.
type Service struct {
	Store    Store
	Contract *contract.Contract
	Now      func() time.Time
	Reviews  *reference.Current
	Log      *slog.Logger
	Engine   string        // name and version of the program
	Slots    chan struct{} // one for the plan that is being made
}

// Routes adds the operations to a server.
func (s *Service) Routes(e *echo.Echo) {
	e.POST("/v1/portfolios", s.createPortfolio)
	e.GET("/v1/portfolios", s.listPortfolios)
	e.GET("/v1/portfolios/:id", s.portfolio)
	e.PATCH("/v1/portfolios/:id", s.patchPortfolio)
	e.DELETE("/v1/portfolios/:id", s.deletePortfolio)
	e.GET("/v1/portfolios/:id/sites", s.listSites)
	e.GET("/v1/portfolios/:id/changes", s.portfolioChanges)
	e.GET("/v1/presets", s.listPresets)
	e.PUT("/v1/presets/:kind/:name", s.putPreset)
	e.GET("/v1/presets/:kind/:name", s.preset)
	e.DELETE("/v1/presets/:kind/:name", s.deletePreset)
	e.GET("/v1/import-columns.csv", importColumns)
	e.GET("/v1/import-template.csv", s.template(batch.CSV, protocol.MediaCSV))
	e.GET("/v1/import-template.xlsx", s.template(batch.XLSX, protocol.MediaXLSX))
	e.GET("/v1/import-template.geojson", s.template(batch.GeoJSON, protocol.MediaGeoJSON))
	e.GET("/v1/portfolios/:id/sites.csv", s.export("sites.csv", "text/csv; charset=utf-8; header=present", sites.NewCSV))
	e.GET("/v1/portfolios/:id/sites.xlsx", s.export("sites.xlsx", protocol.MediaXLSX, sites.NewXLSX))
	e.GET("/v1/portfolios/:id/sites.geojson", s.export("sites.geojson", protocol.MediaGeoJSON, sites.NewGeoJSON))
	e.GET("/v1/portfolios/:id/sites.gpkg", s.export("sites.gpkg", protocol.MediaGeoPackage, sites.NewGeoPackage))
	e.POST("/v1/portfolios/:id/budget", s.budget)
}
