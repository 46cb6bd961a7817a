package api

import (
	"time"

	"levinward/api/wire"
	"levinward/risk/trace"
)

// Result is the answer to an input.
type Result = wire.Result

// Compute answers an input without a server or store, by the same contract. A
// refusal is a *Problem with every fault. With a trace the worksheet is recorded.
func Compute(contractYAML, body []byte, engine string, t *trace.Trace) (*Result, error) {
	contract, err := newContract(contractYAML)
	if err != nil {
		return nil, err
	}
	in, site, problem := contract.decode(body)
	if problem != nil {
		return nil, problem
	}
	s := Server{engine: engine, now: time.Now, metrics: newMetrics()}
	done, err := s.compute(in, site, t)
	if err != nil {
		return nil, err
	}
	return done.result, nil
}
