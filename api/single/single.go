// Package single answers for one site without a server or a store, by the same contract as the service.
package single

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
func Compute(body []byte, engine string, maps assess.Maps, reviews *trace.Reviews, t *trace.Trace) (*Result, error) {
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

// CheckDevice answers a check of a line given by value, without a server or store.
func CheckDevice(body []byte, reviews *trace.Reviews) (*wire.SPDCheckResult, error) {
	req, problem := contract.DecodeBody(wire.SPDChecks, body, assess.CheckFaults)
	if problem != nil {
		return nil, problem
	}
	if req.Assessment != nil {
		return nil, refusal.Invalid([]refusal.Fault{refusal.FaultAt("/assessment", "needs a server with its store; give the line by value")})
	}
	result, faults := assess.CheckByValue(req, reviews)
	if len(faults) > 0 {
		return nil, refusal.Invalid(refusal.FaultsOf(faults))
	}
	return result, nil
}

// Stress answers what the years do to devices of the ratings that the schedule of an input asks for, without a
// server or store.
func Stress(body []byte, maps assess.Maps, reviews *trace.Reviews) (*wire.StressResult, error) {
	_, site, err := contract.Decode(context.Background(), maps, reviews, body)
	if err != nil {
		return nil, err
	}
	computed, faults := assess.Run(site, nil)
	if len(faults) > 0 {
		return nil, refusal.Invalid(refusal.FaultsOf(faults))
	}
	result, faults := assess.Stress(computed, &wire.StressRequest{})
	if len(faults) > 0 {
		return nil, refusal.Invalid(refusal.FaultsOf(faults))
	}
	return result, nil
}
