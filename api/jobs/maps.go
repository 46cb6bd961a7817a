package jobs

import (
	"context"
	"sync"
	"time"

	"levinward/api/assess"
	"levinward/geo"
	"levinward/store"
)

// keptMaps asks for a map once in a while instead of once for each row: the
// cells of a map never change, but it may be deleted.
type keptMaps struct {
	maps assess.Maps

	mu   sync.Mutex
	kept map[string]keptMap
}

type keptMap struct {
	m     *geo.DensityMap
	name  string
	until time.Time
}

// How many maps are kept and for how long.
const (
	mapsKept = 4
	mapsFor  = 10 * time.Second
)

func newKeptMaps(maps assess.Maps) *keptMaps {
	return &keptMaps{maps: maps, kept: map[string]keptMap{}}
}

// DensityMap returns the map with an id and its name; store.ErrNotFound.
func (k *keptMaps) DensityMap(ctx context.Context, id string) (*geo.DensityMap, string, error) {
	if k.maps == nil {
		return nil, "", store.ErrNotFound
	}
	now := time.Now()
	k.mu.Lock()
	found, ok := k.kept[id]
	k.mu.Unlock()
	if ok && now.Before(found.until) {
		return found.m, found.name, nil
	}
	m, name, err := k.maps.DensityMap(ctx, id)
	if err != nil {
		return nil, "", err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.kept) >= mapsKept {
		clear(k.kept)
	}
	k.kept[id] = keptMap{m, name, now.Add(mapsFor)}
	return m, name, nil
}
