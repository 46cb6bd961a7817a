// Package api is the HTTP service: routes, problem errors and the contract's
// validation. What it computes is package assess, what it keeps is package store.
package api

import (
	"cmp"
	"log/slog"
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
	"github.com/swaggest/swgui/v5emb"

	"levinward/api/assess"
	"levinward/api/assessments"
	"levinward/api/contract"
	"levinward/api/devices"
	"levinward/api/documents"
	"levinward/api/jobs"
	"levinward/api/library"
	"levinward/api/maps"
	"levinward/api/ogc"
	"levinward/api/portfolios"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/shelf"
	"levinward/api/webhooks"
	"levinward/api/work"
	"levinward/geo"
	"levinward/store"
)

// Config is what a server is made of.
type Config struct {
	Store    store.Store
	Contract *contract.Contract // openapi.yaml; servers may share it
	Engine   string             // name and version of the program, kept with every result
	Log      *slog.Logger
	Now      func() time.Time // the clock; nil for that of the machine
	Jobs     *jobs.Jobs       // of NewJobs, started; nil: work is queued, and done by others on the store

	PrivateWebhooks bool // webhooks may have addresses that are not public

	Limits Limits
}

// Limits bound what a server takes in. Zero stands for the default.
type Limits struct {
	Maps        geo.DensityMapLimits // of one flash-density map
	MapMemory   int64                // bytes of maps that stay in memory; a single map may be larger
	ImportBytes int64                // of a file of sites
}

// orDefaults puts the defaults where nothing is set.
func (l Limits) orDefaults() Limits {
	l.ImportBytes = cmp.Or(l.ImportBytes, work.MaxImport)
	l.MapMemory = cmp.Or(l.MapMemory, shelf.DefaultRoom)
	l.Maps = cmp.Or(l.Maps, geo.DefaultDensityMapLimits)
	return l
}

// Server answers requests. It holds no state of its own but its metrics: any
// number of servers may share one store.
type Server struct {
	echo     *echo.Echo
	store    store.Store
	contract *contract.Contract
	log      *slog.Logger
	now      func() time.Time
	metrics  *metrics
	maps     *shelf.Shelf
}

// New makes a server. It does not ask the store for anything yet.
func New(c Config) (*Server, error) {
	if c.Jobs == nil {
		var err error
		if c.Jobs, err = NewJobs(c); err != nil {
			return nil, err
		}
	}
	shelved, ok := c.Jobs.Maps.(*shelf.Shelf) // one for both
	if !ok {
		shelved = shelf.New(c.Store, c.Limits.orDefaults().MapMemory)
	}
	s := &Server{echo: echo.New(), store: c.Store, contract: c.Contract, log: c.Log, now: c.Now, metrics: newMetrics(), maps: shelved}
	if s.now == nil {
		s.now = time.Now
	}
	s.echo.HideBanner, s.echo.HidePort = true, true
	s.echo.HTTPErrorHandler = s.handleError
	s.echo.Pre(s.metrics.middleware)
	s.echo.Use(middleware.RequestID(), middleware.RecoverWithConfig(middleware.RecoverConfig{LogErrorFunc: s.logPanic}), s.knownParameters)
	s.routes(&c)
	return s, nil
}

// NewJobs makes the background work of a service. It needs neither contract nor server.
func NewJobs(c Config) (*jobs.Jobs, error) {
	recorder, err := assess.NewRecorder(c.Engine, c.Now)
	if err != nil {
		return nil, err
	}
	return jobs.New(jobs.Config{Store: c.Store, Recorder: recorder, Maps: shelf.New(c.Store, c.Limits.orDefaults().MapMemory), Log: c.Log}),
		nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.echo.ServeHTTP(w, ogc.PlainRequest(r))
}

func (s *Server) logPanic(c echo.Context, err error, stack []byte) error {
	s.log.Error("panic", "error", err, "path", c.Request().URL.Path, "stack", string(stack))
	return err
}

// routes are the operations of openapi.yaml; a test holds one against the other.
func (s *Server) routes(c *Config) {
	e := s.echo
	for _, resource := range s.resources(c) {
		resource.Routes(e)
	}
	e.GET("/openapi.yaml", s.blob("application/yaml", s.contract.YAML))
	e.GET("/openapi.json", s.blob("application/json", s.contract.JSON))
	docs := echo.WrapHandler(v5emb.New("levinward API", "/openapi.json", "/docs/"))
	e.GET("/docs", func(c echo.Context) error { return c.Redirect(http.StatusMovedPermanently, "/docs/") })
	e.GET("/docs/*", docs)
	e.GET("/healthz", func(c echo.Context) error { return c.JSON(http.StatusOK, map[string]string{"status": "ok"}) })
	e.GET("/readyz", s.ready)
	e.GET("/metrics", s.metrics.handler())
}

// resource is a group of operations with its own package.
type resource interface{ Routes(e *echo.Echo) }

// resources gives each group of operations what it needs, and no more.
func (s *Server) resources(c *Config) []resource {
	doc, now, reviews, limits := s.contract, s.now, c.Jobs.Reviews, c.Limits.orDefaults()
	return []resource{
		&assessments.Service{Store: c.Store, Now: now, Reviews: reviews, Maps: s.maps, Recorder: c.Jobs.Recorder,
			Computed: s.metrics.computed.Inc},
		&documents.Service{Store: c.Store, Now: now, Reviews: reviews, Library: &library.Cache{}},
		&maps.Service{Store: c.Store, Maps: s.maps, Now: now, Limits: limits.Maps, Slots: make(chan struct{}, maps.AtOnce)},
		&devices.Service{Store: c.Store, Now: now},
		&portfolios.Service{Store: c.Store, Now: now, Reviews: reviews, Log: c.Log, Engine: c.Engine, Slots: make(chan struct{}, 1)},
		&work.Service{Store: c.Store, Contract: doc, Now: now, Jobs: c.Jobs, Limit: limits.ImportBytes},
		&webhooks.Service{Store: c.Store, Now: now, PrivateURLs: c.PrivateWebhooks},
		&ogc.Service{Store: c.Store, Contract: doc.JSON, Now: now},
	}
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
