// Package contract reads request bodies strictly, says of a refused one everything that is wrong, and knows the
// operations of openapi.yaml. The limits of bodies are those of package wire, which a test holds against openapi.yaml.
package contract

import (
	"context"
	"fmt"
	"slices"

	"github.com/getkin/kin-openapi/openapi3"

	"levinward/api/assess"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/trace"
)

// Device reads a device of the library.
func Device(body []byte) (*wire.Device, *refusal.Problem) {
	return DecodeBody(wire.Devices, body, func(d *wire.Device) []risk.Violation { return d.Faults() })
}

// Contract is openapi.yaml as the service uses it: the document itself and the parameters of each operation.
type Contract struct {
	YAML, JSON []byte
	Parameters map[string][]string // of the query, by method and path
	Paths      []string            // "GET /v1/assessments/{id}"
}

// New reads openapi.yaml.
func New(yaml []byte) (*Contract, error) {
	doc, err := openapi3.NewLoader().LoadFromData(yaml)
	if err != nil {
		return nil, fmt.Errorf("openapi.yaml: %w", err)
	}
	c := &Contract{YAML: yaml, Parameters: map[string][]string{}}
	if c.JSON, err = doc.MarshalJSON(); err != nil {
		return nil, fmt.Errorf("openapi.yaml: %w", err)
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			key := method + " " + path
			c.Paths = append(c.Paths, key)
			for _, p := range append(slices.Clone(item.Parameters), op.Parameters...) {
				if p.Value.In == openapi3.ParameterInQuery {
					c.Parameters[key] = append(c.Parameters[key], p.Value.Name)
				}
			}
		}
	}
	slices.Sort(c.Paths)
	return c, nil
}

// Decode reads an input body and makes it ready for computation, N_G taken from
// one of the maps where it names one, table values from the reviews. A refusal is a *Problem; any other error is one of the maps.
func Decode(ctx context.Context, maps assess.Maps, reviews *trace.Reviews, body []byte) (*wire.Input, *wire.Site, error) {
	var site *wire.Site
	var failed error
	in, problem := DecodeBody(wire.Inputs, body, func(in *wire.Input) []risk.Violation {
		site = in.CoreWith(reviews)
		failed = assess.Resolve(ctx, site, maps)
		return assess.Faults(site)
	})
	switch {
	case failed != nil:
		return nil, nil, failed
	case problem != nil:
		return nil, nil, problem
	}
	return in, site, nil
}
