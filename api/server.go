// Package api is the HTTP service: routes, problem errors and the contract's
// validation. What it computes is package assess, what it keeps is package store.
package api

import (
	"log/slog"
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
	"github.com/swaggest/swgui/v5emb"

	"levinward/api/assess"
	"levinward/api/batch"
	"levinward/api/contract"
	"levinward/api/jobs"
	"levinward/api/protocol"
	"levinward/api/reference"
	"levinward/api/refusal"
	"levinward/geo"
	"levinward/store"
)

// Config is what a server is made of.
type Config struct {
	Store    store.Store
	Contract []byte // openapi.yaml
	Engine   string // name and version of the program, kept with every result
	Log      *slog.Logger
	Now      func() time.Time // the clock; nil for that of the machine
	Jobs     *jobs.Jobs       // of NewJobs, started; nil: work is queued, and done by others on the store

	PrivateWebhooks bool // webhooks may have addresses that are not public
}

// Server answers requests. It holds no state of its own but its metrics: any
// number of servers may share one store.
type Server struct {
	echo        *echo.Echo
	store       store.Store
	contract    *contract.Contract
	engine      string
	log         *slog.Logger
	now         func() time.Time
	recorder    *assess.Recorder
	reviews     *reference.Current
	jobs        *jobs.Jobs
	metrics     *metrics
	libraries   libraryCache
	maps        *mapShelf
	mapLimits   geo.DensityMapLimits
	importLimit int64         // bytes of a file of sites
	mapSlots    chan struct{} // one for each upload of a map
	budgetSlots chan struct{} // one for the plan that is being made

	privateWebhooks bool
}

// New makes a server. It does not ask the store for anything yet.
func New(c Config) (*Server, error) {
	contract, err := contract.New(c.Contract)
	if err != nil {
		return nil, err
	}
	if c.Jobs == nil {
		if c.Jobs, err = NewJobs(c); err != nil {
			return nil, err
		}
	}
	shelf, ok := c.Jobs.Maps.(*mapShelf) // one for both
	if !ok {
		shelf = newMapShelf(c.Store, shelfRoom)
	}
	s := &Server{echo: echo.New(), store: c.Store, contract: contract, engine: c.Engine, log: c.Log, now: c.Now, recorder: c.Jobs.Recorder, reviews: c.Jobs.Reviews, privateWebhooks: c.PrivateWebhooks, jobs: c.Jobs, metrics: newMetrics(),
		maps: shelf, mapLimits: geo.DefaultDensityMapLimits, importLimit: maxImport, mapSlots: make(chan struct{}, mapsAtOnce), budgetSlots: make(chan struct{}, 1)}
	if s.now == nil {
		s.now = time.Now
	}
	s.echo.HideBanner, s.echo.HidePort = true, true
	s.echo.HTTPErrorHandler = s.handleError
	s.echo.Pre(s.metrics.middleware)
	s.echo.Use(middleware.RequestID(), middleware.RecoverWithConfig(middleware.RecoverConfig{LogErrorFunc: s.logPanic}), s.knownParameters)
	s.routes()
	return s, nil
}

// NewJobs makes the background work of a service. It needs neither contract nor server.
func NewJobs(c Config) (*jobs.Jobs, error) {
	recorder, err := assess.NewRecorder(c.Engine, c.Now)
	if err != nil {
		return nil, err
	}
	return jobs.New(jobs.Config{Store: c.Store, Recorder: recorder, Maps: newMapShelf(c.Store, shelfRoom), Log: c.Log}), nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.echo.ServeHTTP(w, featuresRequest(r))
}

func (s *Server) logPanic(c echo.Context, err error, stack []byte) error {
	s.log.Error("panic", "error", err, "path", c.Request().URL.Path, "stack", string(stack))
	return err
}

// routes are the operations of openapi.yaml; a test holds one against the other.
func (s *Server) routes() {
	e := s.echo
	e.POST("/v1/calculations", s.calculate)
	e.POST("/v1/assessments", s.create)
	e.GET("/v1/assessments", s.list)
	e.GET("/v1/assessments/:id", s.newest)
	e.DELETE("/v1/assessments/:id", s.remove)
	e.POST("/v1/assessments/:id/revisions", s.revise)
	e.GET("/v1/assessments/:id/revisions", s.revisions)
	e.GET("/v1/assessments/:id/revisions/:n", s.revision)
	e.GET("/v1/assessments/:id/changes", s.changes)
	e.GET("/v1/assessments/:id/worksheet", s.worksheet)
	e.GET("/v1/assessments/:id/worksheet.csv", s.worksheetCSV)
	e.GET("/v1/assessments/:id/worksheet.html", s.worksheetHTML)
	e.GET("/v1/assessments/:id/collection-areas", s.collectionAreas)
	e.GET("/v1/assessments/:id/spd-schedule", s.schedule)
	e.GET("/v1/assessments/:id/spd-schedule.csv", s.scheduleCSV)
	e.POST("/v1/assessments/:id/spd-stress", s.stress)
	e.POST("/v1/flash-density-maps", s.createMap)
	e.GET("/v1/flash-density-maps", s.listMaps)
	e.GET("/v1/flash-density-maps/:id", s.getMap)
	e.DELETE("/v1/flash-density-maps/:id", s.removeMap)
	e.GET("/v1/flash-density-maps/:id/sample", s.sampleMap)
	e.POST("/v1/spd-checks", s.checkSPD)
	e.POST("/v1/spd-coordinations", s.coordinate)
	e.POST("/v1/earth-electrodes", s.earthElectrode)
	e.POST("/v1/devices", s.uploadDevices)
	e.GET("/v1/devices", s.listDevices)
	e.GET("/v1/devices/columns.csv", s.deviceColumns)
	e.GET("/v1/devices/:id", s.device)
	e.PUT("/v1/devices/:id", s.replaceDevice)
	e.DELETE("/v1/devices/:id", s.withdrawDevice)
	s.portfolioRoutes()
	e.GET("/v1/reference", s.reference)
	e.GET("/v1/reference/values", s.referenceValues)
	e.GET("/v1/reference/values.csv", s.referenceCSV)
	e.PUT("/v1/reference/reviews", s.putReviews)
	e.GET("/v1/reference/reviews", s.getReviews)
	e.DELETE("/v1/reference/reviews", s.removeReviews)
	e.GET("/v1/reference/reviews/:hash", s.reviewsTable)
	e.GET("/openapi.yaml", s.blob("application/yaml", s.contract.YAML))
	e.GET("/openapi.json", s.blob("application/json", s.contract.JSON))
	docs := echo.WrapHandler(v5emb.New("levinward API", "/openapi.json", "/docs/"))
	e.GET("/docs", func(c echo.Context) error { return c.Redirect(http.StatusMovedPermanently, "/docs/") })
	e.GET("/docs/*", docs)
	e.GET("/healthz", func(c echo.Context) error { return c.JSON(http.StatusOK, map[string]string{"status": "ok"}) })
	e.GET("/readyz", s.ready)
	e.GET("/metrics", s.metrics.handler())
}

// portfolioRoutes are those of many sites at once.
func (s *Server) portfolioRoutes() {
	e := s.echo
	e.POST("/v1/portfolios", s.createPortfolio)
	e.GET("/v1/portfolios", s.listPortfolios)
	e.GET("/v1/portfolios/:id", s.portfolio)
	e.PATCH("/v1/portfolios/:id", s.patchPortfolio)
	e.DELETE("/v1/portfolios/:id", s.deletePortfolio)
	e.GET("/v1/portfolios/:id/sites", s.listSites)
	e.GET("/v1/portfolios/:id/changes", s.portfolioChanges)
	e.GET("/v1/portfolios/:id/work", s.listWork)
	e.POST("/v1/portfolios/:id/imports", s.importSites)
	e.POST("/v1/portfolios/:id/assessments", s.reassess)
	e.GET("/v1/work/:id", s.work)
	e.DELETE("/v1/work/:id", s.cancelWork)
	e.GET("/v1/work/:id/events", s.workEvents)
	e.GET("/v1/work/:id/faults", s.workFaults)
	e.GET("/v1/work/:id/notes", s.workNotes)
	e.POST("/v1/work/:id/retries", s.retryWork)
	e.GET("/v1/presets", s.listPresets)
	e.PUT("/v1/presets/:kind/:name", s.putPreset)
	e.GET("/v1/presets/:kind/:name", s.preset)
	e.DELETE("/v1/presets/:kind/:name", s.deletePreset)
	e.POST("/v1/webhooks", s.createWebhook)
	e.GET("/v1/webhooks", s.listWebhooks)
	e.GET("/v1/webhooks/:id", s.webhook)
	e.PUT("/v1/webhooks/:id", s.changeWebhook)
	e.DELETE("/v1/webhooks/:id", s.deleteWebhook)
	e.GET("/v1/webhooks/:id/deliveries", s.listDeliveries)
	e.POST("/v1/webhooks/:id/deliveries/:n/retries", s.retryDelivery)
	e.GET("/v1/import-columns.csv", importColumns)
	e.GET("/v1/import-template.csv", s.template(batch.CSV, protocol.MediaCSV))
	e.GET("/v1/import-template.xlsx", s.template(batch.XLSX, protocol.MediaXLSX))
	e.GET("/v1/import-template.geojson", s.template(batch.GeoJSON, protocol.MediaGeoJSON))
	e.GET("/v1/portfolios/:id/sites.csv", s.export("sites.csv", "text/csv; charset=utf-8; header=present", newCSVSites))
	e.GET("/v1/portfolios/:id/sites.xlsx", s.export("sites.xlsx", protocol.MediaXLSX, newXLSXSites))
	e.GET("/v1/portfolios/:id/sites.geojson", s.export("sites.geojson", protocol.MediaGeoJSON, newGeoSites))
	e.GET("/v1/portfolios/:id/sites.gpkg", s.export("sites.gpkg", protocol.MediaGeoPackage, newGPKGSites))
	e.POST("/v1/portfolios/:id/budget", s.budget)
	e.GET("/ogc", s.ogcLanding)
	e.GET("/ogc/api", s.blob(protocol.MediaOpenAPI, s.contract.JSON))
	e.GET("/ogc/conformance", s.ogcConformance)
	e.GET("/ogc/collections", s.ogcCollections)
	e.GET("/ogc/collections/:collectionId", s.ogcCollection)
	e.GET("/ogc/collections/:collectionId/items", s.ogcItems)
	e.GET("/ogc/collections/:collectionId/items/:featureId", s.ogcItem)
}

func (s *Server) blob(mediaType string, body []byte) echo.HandlerFunc {
	return func(c echo.Context) error { return c.Blob(http.StatusOK, mediaType, body) }
}

// ready answers whether the database does.
func (s *Server) ready(c echo.Context) error {
	if err := s.store.Ping(c.Request().Context()); err != nil {
		s.log.Warn("not ready", "error", err)
		return refusal.Unavailable.Problem("the database does not answer")
	}
	return c.JSON(http.StatusOK, map[string]string{"status": "ready"})
}

// knownParameters refuses query parameters that the operation does not have.
func (s *Server) knownParameters(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if c.Request().URL.RawQuery == "" || c.Path() == "" || c.Path() == "/docs/*" {
			return next(c)
		}
		known := s.contract.Parameters[c.Request().Method+" "+contractPath(c.Path())]
		var faults []refusal.Fault
		query := c.QueryParams()
		for _, name := range protocol.SortedKeys(query) {
			switch {
			case !slices.Contains(known, name):
				faults = append(faults, refusal.Fault{Parameter: name, Reason: "unknown query parameter; allowed here: " + protocol.OrNone(known)})
			case len(query[name]) > 1:
				faults = append(faults, refusal.Fault{Parameter: name, Reason: "is given more than once"})
			}
		}
		if len(faults) > 0 {
			return refusal.BadParameter.Problem("", faults...)
		}
		return next(c)
	}
}

// contractPath writes a route as the contract does: "/v1/assessments/:id" as "/v1/assessments/{id}".
func contractPath(route string) string {
	out := make([]byte, 0, len(route)+4)
	for i := 0; i < len(route); i++ {
		if route[i] != ':' {
			out = append(out, route[i])
			continue
		}
		end := i + 1
		for end < len(route) && route[end] != '/' {
			end++
		}
		out = append(append(append(out, '{'), route[i+1:end]...), '}')
		i = end - 1
	}
	return string(out)
}
