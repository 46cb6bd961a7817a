// Package recompute makes stored records ready to be computed again.
package recompute

import (
	"context"
	"encoding/json"

	"levinward/api/reference"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/store"
)

// Site makes a stored record ready to be computed again. N_G from a map and reviewed table values are those that the
// record was computed with, whatever has become of the map and whichever reviews are in use now.
func Site(ctx context.Context, reviews *reference.Current, r *store.Record) (*wire.Site, error) {
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
	named, err := reviews.Named(ctx, result.ReviewsHash)
	if err != nil {
		return nil, err
	}
	site := in.Core()
	if named != nil {
		site = in.CoreWith(named.Reviews)
	}
	d := &site.Input.FlashDensity
	if d.Origin != risk.DensityMap {
		return site, nil
	}
	used := &result.FlashDensity
	d.NG, d.Source, d.Year, d.Note, d.Derivation = used.GroundFlashes, used.Source, used.Year, used.Note, used.Relation
	return site, nil
}
