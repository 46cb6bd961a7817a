package api

import (
	"context"
	"time"

	"levinward/api/assess"
	"levinward/api/contract"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/risk/trace"
)

// Result is the answer to an input.
type Result = wire.Result

// Compute answers an input without a server or store, by the same contract. A
// refusal is a *Problem with every fault. With a trace the worksheet is recorded.
// N_G comes from one of the maps where the input names one; they may be nil, and so may the reviews of table values.
func Compute(contractYAML, body []byte, engine string, maps assess.Maps, reviews *trace.Reviews, t *trace.Trace) (*Result, error) {
	contract, err := contract.New(contractYAML)
	if err != nil {
		return nil, err
	}
	in, site, err := contract.Decode(context.Background(), maps, reviews, body)
	if err != nil {
		return nil, err
	}
	recorder := assess.Recorder{Engine: engine, Now: time.Now}
	done, faults, err := recorder.Compute(in, site, time.Time{}, t)
	if err != nil {
		return nil, err
	}
	if len(faults) > 0 {
		return nil, refusal.Invalid(refusal.FaultsOf(faults))
	}
	return done.Result, nil
}
