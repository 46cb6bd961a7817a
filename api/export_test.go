package api

import (
	"context"
	"errors"

	"levinward/api/assess"
	"levinward/api/wire"
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
type Decoder struct{ contract *contract }

// NewDecoder makes a decoder of the contract in openapi.yaml.
func NewDecoder(contractYAML []byte) (*Decoder, error) {
	c, err := newContract(contractYAML)
	return &Decoder{c}, err
}

// Decode is the way of every request.
func (d *Decoder) Decode(body []byte) (*wire.Input, *wire.Site, *Problem) {
	in, site, err := d.contract.decode(context.Background(), nil, body)
	var p *Problem
	if errors.As(err, &p) {
		return nil, nil, p
	}
	return in, site, nil
}

// Explain reads an input the slow way.
func (d *Decoder) Explain(body []byte) (*wire.Input, *Problem) {
	return explain(d.contract.schemas["Input"], body, func(in *wire.Input) []risk.Violation { return assess.Faults(in.Core()) })
}

// MergePatch applies a patch to an input as a revision does.
func MergePatch(input, patch []byte) ([]byte, *Problem) { return mergePatch(input, patch) }
