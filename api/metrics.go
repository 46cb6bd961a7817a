package api

import (
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// metrics are the measurements of one server, in a registry of its own.
type metrics struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	computed prometheus.Counter
}

func newMetrics() *metrics {
	m := &metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "levinward_http_requests_total", Help: "Requests by method, route and status."}, []string{"method", "route", "status"}),
		seconds:  prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "levinward_http_request_seconds", Help: "Time to answer, by route.", Buckets: prometheus.ExponentialBuckets(0.0001, 4, 9)}, []string{"route"}),
		computed: prometheus.NewCounter(prometheus.CounterOpts{Name: "levinward_assessments_computed_total", Help: "Inputs computed, stored or not."}),
	}
	m.registry.MustRegister(m.requests, m.seconds, m.computed, collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// middleware counts every request under its route, unknown paths under one name.
func (m *metrics) middleware(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		start := time.Now()
		err := next(c)
		if err != nil {
			c.Error(err) // writes the answer, so that its status is known
		}
		route := c.Path()
		if route == "" {
			route = "none"
		}
		m.requests.WithLabelValues(knownMethod(c.Request().Method), route, strconv.Itoa(c.Response().Status)).Inc()
		m.seconds.WithLabelValues(route).Observe(time.Since(start).Seconds())
		return nil
	}
}

// knownMethod keeps clients from inventing label values.
func knownMethod(method string) string {
	switch method {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions:
		return method
	}
	return "other"
}

func (m *metrics) handler() echo.HandlerFunc {
	return echo.WrapHandler(promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{}))
}
