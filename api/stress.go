package api

import (
	"context"
	"encoding/json"

	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/trace"
	"levinward/store"
)

// stress answers what the years do to the devices of a stored assessment, which is computed again.
func (s *Server) stress(c echo.Context) error {
	b, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return err
	}
	r, err := s.chosen(c)
	if err != nil {
		return err
	}
	site, err := s.siteOf(c.Request().Context(), &r)
	if err != nil {
		return err
	}
	computed, faults := assess.Run(site, nil)
	if len(faults) > 0 {
		return refusal.InvalidInput.Problem("this program does not compute the stored input any more; the pointers are those of the input", refusal.FaultsOf(faults)...)
	}
	var result *wire.StressResult
	_, problem := contract.DecodeBody(s.contract, wire.StressRequests, "StressRequest", b, func(req *wire.StressRequest) (faults []risk.Violation) {
		result, faults = assess.Stress(computed, req)
		return faults
	})
	if problem != nil {
		return problem
	}
	result.Assessment, result.Revision = r.ID, r.Revision
	return protocol.Answer(c, result)
}

// siteOf makes a stored record ready to be computed again. N_G from a map and reviewed table values are those that the
// record was computed with, whatever has become of the map and whichever reviews are in use now.
func (s *Server) siteOf(ctx context.Context, r *store.Record) (*wire.Site, error) {
	var in wire.Input
	if err := json.Unmarshal(r.Input, &in); err != nil {
		return nil, err
	}
	var result struct {
		ReviewsHash  string           `json:"reviews_hash"`
		FlashDensity wire.DensityUsed `json:"flash_density"`
	}
	if err := json.Unmarshal(r.Result, &result); err != nil {
		return nil, err
	}
	reviews, err := s.reviews.Named(ctx, result.ReviewsHash)
	if err != nil {
		return nil, err
	}
	site := in.Core()
	if reviews != nil {
		site = in.CoreWith(reviews.Reviews)
	}
	d := &site.Input.FlashDensity
	if d.Origin != risk.DensityMap {
		return site, nil
	}
	used := &result.FlashDensity
	d.NG, d.Source, d.Year, d.Note, d.Derivation = used.GroundFlashes, used.Source, used.Year, used.Note, used.Relation
	return site, nil
}

// Stress answers what the years do to devices of the ratings that the schedule of an input asks for, without a
// server or store, by the same contract.
func Stress(contractYAML, body []byte, maps assess.Maps, reviews *trace.Reviews) (*wire.StressResult, error) {
	contract, err := contract.New(contractYAML)
	if err != nil {
		return nil, err
	}
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
