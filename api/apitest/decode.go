package apitest

import (
	"context"
	"errors"

	"levinward/api/assess"
	"levinward/api/contract"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/risk"
)

// Decode reads an input as every request does.
func Decode(body []byte) (*wire.Input, *wire.Site, *refusal.Problem) {
	in, site, err := contract.Decode(context.Background(), nil, nil, body)
	var p *refusal.Problem
	if errors.As(err, &p) {
		return nil, nil, p
	}
	return in, site, nil
}

// Explain reads an input the slow way.
func Explain(body []byte) (*wire.Input, *refusal.Problem) {
	return contract.Explain(wire.Inputs, body, func(in *wire.Input) []risk.Violation {
		site := in.Core()
		if err := assess.Resolve(context.Background(), site, nil); err != nil {
			panic(err) // there are no maps to fail
		}
		return assess.Faults(site)
	})
}
