// Package shelf keeps the flash-density maps used last in memory.
package shelf

import (
	"container/list"
	"context"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/singleflight"

	"levinward/geo"
	"levinward/store"
)

// DefaultRoom is how many bytes of maps stay in memory; a single map may be larger.
const DefaultRoom = 256 << 20

// loadTime bounds how long a map takes to come out of the store.
const loadTime = 2 * time.Minute

// Shelf keeps the maps used last in memory. It holds nothing that the
// store does not: whether a map is there is asked each time, and its cells never change.
type Shelf struct {
	store store.Store
	room  int64
	loads singleflight.Group
	turn  chan struct{} // one map is loaded at a time

	mu     sync.Mutex
	recent *list.List // of *shelved, the one used last first
	byID   map[string]*list.Element
	taken  int64
}

type shelved struct {
	id   string
	m    *geo.DensityMap
	size int64
}

// New makes a shelf for so many bytes of maps.
func New(s store.Store, room int64) *Shelf {
	return &Shelf{store: s, room: room, turn: make(chan struct{}, 1), recent: list.New(), byID: map[string]*list.Element{}}
}

// DensityMap returns the map with an id and its name; store.ErrNotFound.
func (s *Shelf) DensityMap(ctx context.Context, id string) (*geo.DensityMap, string, error) {
	stored, err := s.store.DensityMap(ctx, store.Local, id)
	if err != nil {
		return nil, "", err
	}
	if m := s.find(stored.ID); m != nil {
		return m, stored.Name, nil
	}
	// Whoever asks for the same map meanwhile waits for the same load, which goes on when one of them leaves.
	load := s.loads.DoChan(stored.ID, func() (any, error) { return s.load(context.WithoutCancel(ctx), stored.ID) })
	select {
	case <-ctx.Done():
		return nil, "", ctx.Err()
	case loaded := <-load:
		if loaded.Err != nil {
			return nil, "", loaded.Err
		}
		return loaded.Val.(*geo.DensityMap), stored.Name, nil
	}
}

func (s *Shelf) load(ctx context.Context, id string) (*geo.DensityMap, error) {
	ctx, cancel := context.WithTimeout(ctx, loadTime)
	defer cancel()
	select {
	case s.turn <- struct{}{}:
		defer func() { <-s.turn }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	if m := s.find(id); m != nil { // since this load was asked for
		return m, nil
	}
	content, err := s.store.DensityMapContent(ctx, store.Local, id)
	if err != nil {
		return nil, err
	}
	m := new(geo.DensityMap)
	if _, err := m.ReadFrom(content); err != nil {
		return nil, err
	}
	s.put(id, m)
	return m, nil
}

func (s *Shelf) find(id string) *geo.DensityMap {
	s.mu.Lock()
	defer s.mu.Unlock()
	e := s.byID[id]
	if e == nil {
		return nil
	}
	s.recent.MoveToFront(e)
	return e.Value.(*shelved).m
}

// put takes a map in and drops the ones used longest ago until the others fit.
func (s *Shelf) put(id string, m *geo.DensityMap) {
	const cellSize, rest = 4, 4096
	g := m.Grid()
	entry := &shelved{id, m, cellSize*int64(g.Columns)*int64(g.Rows) + rest}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.drop(s.byID[id])
	s.byID[id] = s.recent.PushFront(entry)
	s.taken += entry.size
	for s.taken > s.room && s.recent.Len() > 1 {
		s.drop(s.recent.Back())
	}
}

// Forget drops a map that was deleted.
func (s *Shelf) Forget(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.drop(s.byID[strings.ToLower(id)])
}

func (s *Shelf) drop(e *list.Element) {
	if e == nil {
		return
	}
	entry := s.recent.Remove(e).(*shelved)
	delete(s.byID, entry.id)
	s.taken -= entry.size
}
