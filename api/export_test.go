package api

import (
	"context"
	"errors"

	"levinward/api/assess"
	"levinward/api/assessments"
	"levinward/api/contract"
	"levinward/api/maps"
	"levinward/api/portfolios"
	"levinward/api/refusal"
	"levinward/api/sites"
	"levinward/api/wire"
	"levinward/geo"
	"levinward/risk"
)

// Routes lists what the server answers to, as the contract writes it: "GET /v1/assessments/{id}".
func (s *Server) Routes() []string {
	var routes []string
	for _, r := range s.echo.Routes() {
		routes = append(routes, r.Method+" "+contractPath(r.Path))
	}
	return routes
}

// Decoder reads inputs by the contract as the server does.
type Decoder struct{ contract *contract.Contract }

// NewDecoder makes a decoder of the contract in openapi.yaml.
func NewDecoder(contractYAML []byte) (*Decoder, error) {
	c, err := contract.New(contractYAML)
	return &Decoder{c}, err
}

// Decode is the way of every request.
func (d *Decoder) Decode(body []byte) (*wire.Input, *wire.Site, *refusal.Problem) {
	in, site, err := contract.Decode(context.Background(), nil, nil, body)
	var p *refusal.Problem
	if errors.As(err, &p) {
		return nil, nil, p
	}
	return in, site, nil
}

// Explain reads an input the slow way.
func (d *Decoder) Explain(body []byte) (*wire.Input, *refusal.Problem) {
	return contract.Explain(wire.Inputs, body, func(in *wire.Input) []risk.Violation {
		site := in.Core()
		if err := assess.Resolve(context.Background(), site, nil); err != nil {
			panic(err) // there are no maps to fail
		}
		return assess.Faults(site)
	})
}

// MergePatch applies a patch to an input as a revision does.
func MergePatch(input, patch []byte) ([]byte, *refusal.Problem) {
	return assessments.MergePatch(input, patch)
}

// LimitMaps bounds the maps that are taken, and the bytes of them that stay in memory.
func (s *Server) LimitMaps(limits geo.DensityMapLimits, room int64) {
	s.mapUploads.Limits = limits
	s.maps.SetRoom(room)
}

// LimitImports bounds the bytes of a file of sites.
func (s *Server) LimitImports(bytes int64) { s.imports.Limit = bytes }

// MapsInMemory lists the ids of the maps in memory, the one used last first, and the bytes they count for.
func (s *Server) MapsInMemory() (ids []string, taken int64) { return s.maps.Held() }

// FillMapSlots takes every place for an upload until release is called.
func (s *Server) FillMapSlots() (release func()) {
	for range maps.AtOnce {
		s.mapUploads.Slots <- struct{}{}
	}
	return func() {
		for range maps.AtOnce {
			<-s.mapUploads.Slots
		}
	}
}

// SetSheetRows lets a sheet have room for fewer rows until restore is called.
func SetSheetRows(n int) (restore func()) {
	before := sites.SheetRows
	sites.SheetRows = n
	return func() { sites.SheetRows = before }
}

// SetMaxBudgetSites bounds plans to fewer sites until restore is called.
func SetMaxBudgetSites(n int) (restore func()) {
	before := portfolios.MaxBudgetSites
	portfolios.MaxBudgetSites = n
	return func() { portfolios.MaxBudgetSites = before }
}
