package reference

import (
	"context"
	"errors"
	"testing"
	"time"

	"levinward/store"
)

// shelf is a store of reviews alone that counts how often it is asked.
type shelf struct {
	store.Store
	tables map[string]store.ReviewsTable
	inUse  string
	away   bool
	asked  int
}

func (s *shelf) ReviewsInUse(context.Context, store.Organisation) (string, error) {
	s.asked++
	if s.away {
		return "", store.ErrUnavailable
	}
	return s.inUse, nil
}

func (s *shelf) Reviews(_ context.Context, _ store.Organisation, hash string) (store.ReviewsTable, error) {
	t, ok := s.tables[hash]
	if !ok {
		return t, store.ErrNotFound
	}
	return t, nil
}

func TestCurrent(t *testing.T) {
	r, err := Read(filled(t, yes(isolated)), today)
	if err != nil {
		t.Fatal(err)
	}
	s := &shelf{tables: map[string]store.ReviewsTable{r.Hash: {Hash: r.Hash, Document: r.Document}}, away: true}
	c := NewCurrent(s, store.Local)
	get := func(want string) {
		t.Helper()
		got, err := c.Get(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		hash := ""
		if got != nil {
			hash = got.Hash
		}
		if hash != want {
			t.Errorf("reviews %q, want %q", hash, want)
		}
	}
	if _, err := c.Get(t.Context()); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("nothing is known: %v", err)
	}
	s.away = false
	get("")
	before := s.asked
	for range 100 {
		get("")
	}
	if s.asked > before+1 { // a second may have passed
		t.Errorf("asked %d times", s.asked-before)
	}
	s.inUse = r.Hash
	c.Changed()
	get(r.Hash)
	s.away = true
	c.Changed()
	get(r.Hash) // what is known last
	s.away, s.inUse = false, ""
	time.Sleep(revalidated)
	get("")
	if named, err := c.Named(t.Context(), r.Hash); err != nil || named.Agreed() != 1 {
		t.Errorf("%v %v", named, err)
	}
	if named, err := c.Named(t.Context(), ""); named != nil || err != nil {
		t.Errorf("%v %v", named, err)
	}
	if _, err := c.Named(t.Context(), "x"); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("%v", err)
	}
}
