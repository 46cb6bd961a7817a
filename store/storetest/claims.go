package storetest

import (
	"slices"
	"sync"
	"testing"
	"time"

	"levinward/store"
)

// take claims chunks of a work that are due at a time, for one lease.
func (s suite) take(t fataler, work string, at time.Time, limit int) []store.ClaimedChunk {
	t.Helper()
	claimed, err := s.ClaimChunks(s.ctx, s.org, work, at, at.Add(store.Lease), limit)
	noError(t, err)
	return claimed
}

// A chunk whose owner died is due when the lease ends, not before; what the dead one says later counts no more.
func claimedChunks(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	w := s.begin(t, p.ID, 1, 1, 1)
	wants := func(got []store.ClaimedChunk, want ...store.ClaimedChunk) {
		t.Helper()
		if !slices.Equal(got, want) {
			t.Fatalf("claimed %+v, want %+v", got, want)
		}
	}
	wants(s.take(t, w.ID, day.Add(-time.Second), 9))
	wants(s.take(t, w.ID, day, 2), store.ClaimedChunk{N: 0, Claims: 1}, store.ClaimedChunk{N: 1, Claims: 1})
	wants(s.take(t, w.ID, day, 2), store.ClaimedChunk{N: 2, Claims: 1})
	wants(s.take(t, w.ID, day, 2))

	// The second holds its lease, the third has failed and is given back; the first one is dead.
	noError(t, s.HoldChunk(s.ctx, s.org, w.ID, store.ClaimedChunk{N: 1, Claims: 1}, day.Add(time.Hour)))
	noError(t, s.HoldChunk(s.ctx, s.org, w.ID, store.ClaimedChunk{N: 2, Claims: 1}, day.Add(time.Second)))
	wants(s.take(t, w.ID, day.Add(time.Second), 9), store.ClaimedChunk{N: 2, Claims: 2})
	wants(s.take(t, w.ID, day.Add(store.Lease-time.Microsecond), 9))
	wants(s.take(t, w.ID, day.Add(store.Lease), 9), store.ClaimedChunk{N: 0, Claims: 2})
	is(t, s.HoldChunk(s.ctx, s.org, w.ID, store.ClaimedChunk{N: 0, Claims: 1}, day), store.ErrNotFound)
	wants(s.take(t, w.ID, day.Add(store.Lease), 9))

	// What was stored is not to be held, and not to be claimed; a chunk with a rest stays claimed.
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: 0, Unchanged: 1, At: day}))
	is(t, s.HoldChunk(s.ctx, s.org, w.ID, store.ClaimedChunk{N: 0, Claims: 2}, day), store.ErrNotFound)
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: 1, Rest: []byte("rest"), At: day}))
	wants(s.take(t, w.ID, day.Add(time.Hour-time.Microsecond), 9), store.ClaimedChunk{N: 2, Claims: 3})
	noError(t, s.HoldChunk(s.ctx, s.org, w.ID, store.ClaimedChunk{N: 1, Claims: 1}, day.Add(2*time.Hour)))

	for _, none := range []string{newID(), "x"} {
		wants(s.take(t, none, day.Add(24*time.Hour), 9))
		is(t, s.HoldChunk(s.ctx, s.org, none, store.ClaimedChunk{Claims: 1}, day), store.ErrNotFound)
	}
	stranger := suite{s.Store, s.ctx, store.Organisation(newID())}
	wants(stranger.take(t, w.ID, day.Add(24*time.Hour), 9))
	is(t, stranger.HoldChunk(s.ctx, stranger.org, w.ID, store.ClaimedChunk{N: 1, Claims: 1}, day), store.ErrNotFound)
	_, err := s.CancelWork(s.ctx, s.org, w.ID, day)
	noError(t, err)
	wants(s.take(t, w.ID, day.Add(24*time.Hour), 9))
}

// Works are there to be done, the oldest first, from the end of their reading until no chunk is left to claim.
func worksToDo(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	due := func(at time.Time, want ...string) {
		t.Helper()
		got, err := s.WorksToDo(s.ctx, s.org, at)
		if noError(t, err); !slices.Equal(got, want) {
			t.Fatalf("works to do %q, want %q", got, want)
		}
	}
	due(day)
	w, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: store.WorkImport,
		Mode: store.GoodRowsOnly, Options: []byte("{}"), CreatedAt: day.Add(-time.Hour)})
	noError(t, err)
	noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("x"), Count: 1}, day))
	due(day)
	if got := s.take(t, w.ID, day, 9); len(got) != 0 {
		t.Fatalf("claimed of a work that is being read: %+v", got)
	}
	newer := s.begin(t, p.ID, 1)
	_, err = s.BeginWork(s.ctx, s.org, w.ID, store.Notes{}, nil, day)
	noError(t, err)
	due(day.Add(-time.Second))
	due(day, w.ID, newer.ID)
	s.take(t, w.ID, day, 1)
	due(day, newer.ID)
	due(day.Add(store.Lease), w.ID, newer.ID)
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: newer.ID, Unchanged: 1, At: day}))
	due(day.Add(store.Lease), w.ID)
	if got, err := s.WorksToDo(s.ctx, store.Organisation(newID()), day.Add(store.Lease)); err != nil || len(got) != 0 {
		t.Errorf("of another organisation %q, %v", got, err)
	}
	noError(t, store.DeletePortfolio(s.ctx, s.Store, s.org, p.ID))
	due(day.Add(store.Lease))
	if left, err := s.RemovalsToDo(s.ctx, s.org, time.Now().Add(time.Hour)); err != nil || len(left) != 0 {
		t.Errorf("removals left: %q, %v", left, err)
	}
}

// Many that claim at once never get the same chunk.
func claimChunksRace(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	w := s.begin(t, p.ID, slices.Repeat([]int{1}, 40)...)
	var mu sync.Mutex
	seen := map[int]int{}
	together(4, func(int) {
		for range 40 {
			claimed, err := s.ClaimChunks(s.ctx, s.org, w.ID, day, day.Add(store.Lease), 3)
			if err != nil {
				t.Error(err)
			}
			mu.Lock()
			for _, c := range claimed {
				seen[c.N]++
			}
			mu.Unlock()
		}
	})
	if len(seen) != 40 {
		t.Errorf("%d of 40 claimed", len(seen))
	}
	for n, times := range seen {
		if times != 1 {
			t.Errorf("chunk %d claimed %d times", n, times)
		}
	}
}

// Deliveries to one receiver are claimed without those to others.
func claimedByReceiver(t *testing.T, s suite) {
	one, other := s.webhook(t), s.webhook(t)
	s.webhook(t, store.EventDeleted) // has nothing to be told
	for _, r := range named("site", 3) {
		s.create(t, r)
	}
	lanes := func(at time.Time, want ...string) {
		t.Helper()
		got, err := s.WebhooksToTell(s.ctx, s.org, at)
		slices.Sort(got)
		slices.Sort(want)
		if noError(t, err); !slices.Equal(got, want) {
			t.Fatalf("webhooks to tell %q, want %q", got, want)
		}
	}
	lanes(day.Add(-time.Hour))
	lanes(day.Add(time.Hour), one.ID, other.ID)
	at := day.Add(time.Hour)
	claimed, err := s.ClaimDeliveries(s.ctx, s.org, one.ID, at, at.Add(store.Lease), 9)
	noError(t, err)
	foreign := func(c store.Claimed) bool { return c.Webhook != one.ID || c.URL != one.URL || c.Secret != one.Secret }
	if len(claimed) != 3 || slices.ContainsFunc(claimed, foreign) {
		t.Fatalf("claimed %+v", claimed)
	}
	lanes(at, other.ID)
	lanes(at.Add(store.Lease), one.ID, other.ID)
	for _, none := range []string{newID(), "x"} {
		if got, err := s.ClaimDeliveries(s.ctx, s.org, none, at, at.Add(store.Lease), 9); err != nil || len(got) != 0 {
			t.Errorf("claimed %+v, %v", got, err)
		}
	}
}
