package jobs_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"levinward/api/queue"
	"levinward/store"
)

// cut queues a work of so many chunks of one row each, begun so long ago.
func (b *bench) cut(chunks int, age time.Duration) store.Work {
	b.t.Helper()
	ctx, at := b.t.Context(), time.Now().Add(-age)
	w, err := b.store.CreateWork(ctx, store.Local, store.Work{ID: uuid.Must(uuid.NewV7()).String(), Portfolio: b.portfolio,
		Kind: store.WorkImport, Mode: store.GoodRowsOnly, Options: []byte("{}"), CreatedAt: at})
	for i := range chunks {
		if err == nil {
			row := fmt.Sprintf(`{"row":%d,"input":{"name":"Invented site","location":{"latitude":1,"longitude":2},`+
				`"flash_density":{"ground_flashes_per_km2_year":4},"structures":[{"id":"a","length_m":9,"width_m":9,"height_m":9}]}}`+"\n", i+2)
			err = b.store.AddChunk(ctx, store.Local, w.ID, store.NewChunk{Rows: []byte(row), Count: 1}, at)
		}
	}
	if err == nil {
		w, err = b.store.BeginWork(ctx, store.Local, w.ID, store.Notes{}, nil, at)
	}
	if err != nil {
		b.t.Fatal(err)
	}
	return w
}

// ordered is a store that notes of which work each chunk was.
type ordered struct {
	store.Store
	works []string
}

func (o *ordered) StoreChunk(ctx context.Context, org store.Organisation, c store.Outcome) error {
	err := o.Store.StoreChunk(ctx, org, c)
	if err == nil {
		o.works = append(o.works, c.Work)
	}
	return err
}

// due does what is due at a time, one chunk after the other, and returns of which work each was.
func (b *bench) due(at time.Time) []string {
	b.t.Helper()
	s := &ordered{Store: b.store}
	j, err := newJobs(s, "engine 1")
	if err != nil {
		b.t.Fatal(err)
	}
	chunks := j.Kinds()[0]
	chunks.AtOnce = 1
	if _, err := queue.Drain(b.t.Context(), queue.Config{Kinds: []queue.Kind{chunks}, Now: func() time.Time { return at }}); err != nil {
		b.t.Fatal(err)
	}
	return s.works
}

// Works take turns: a small one that was begun after a large one ends first.
func TestWorksTakeTurns(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		large, small := b.cut(6, time.Hour), b.cut(2, time.Minute)
		want := []string{large.ID, small.ID, large.ID, small.ID, large.ID, large.ID, large.ID, large.ID}
		if got := b.due(time.Now()); !slices.Equal(got, want) {
			t.Errorf("chunks of %q, want %q", got, want)
		}
		b.wants(b.work(large.ID), store.WorkDone, 6, 0, 0)
		b.wants(b.work(small.ID), store.WorkDone, 2, 0, 0)
	})
}

// A chunk whose process died is done when its lease ends, while the works of others go on. What comes late of the dead one is not kept.
func TestStalledChunk(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		now := time.Now()
		stalled := b.cut(3, time.Hour)
		dead, err := b.store.ClaimChunks(t.Context(), store.Local, stalled.ID, now, now.Add(store.Lease), 1)
		if err != nil || len(dead) != 1 {
			t.Fatal(dead, err)
		}
		other := b.cut(2, time.Minute)
		if done := b.due(now); len(done) != 4 {
			t.Errorf("%d chunks done, want those that nobody claimed", len(done))
		}
		b.wants(b.work(other.ID), store.WorkDone, 2, 0, 0)
		b.wants(b.work(stalled.ID), store.WorkRunning, 2, 0, 0)
		more := b.cut(2, 0)
		if done := b.due(now.Add(store.Lease - time.Millisecond)); !slices.Equal(done, []string{more.ID, more.ID}) {
			t.Errorf("before the end of the lease: chunks of %q", done)
		}
		if done := b.due(now.Add(store.Lease)); !slices.Equal(done, []string{stalled.ID}) {
			t.Errorf("at the end of the lease: chunks of %q", done)
		}
		b.wants(b.work(stalled.ID), store.WorkDone, 3, 0, 0)
		late := store.Outcome{Work: stalled.ID, N: dead[0].N, Unchanged: 1, At: now}
		if err := b.store.StoreChunk(t.Context(), store.Local, late); !errors.Is(err, store.ErrChunkChanged) {
			t.Error(err)
		}
		b.wants(b.work(stalled.ID), store.WorkDone, 3, 0, 0)
	})
}

// A stalled chunk is found within 30 seconds: when its lease has ended and the queue looks again.
func TestLeaseLeavesTimeToNotice(t *testing.T) {
	if store.Lease > 25*time.Second {
		t.Errorf("a lease of %v leaves too little of 30 s", store.Lease)
	}
}

// A reading that adds no rows for long is ended; one that goes on is not.
func TestReadingsThatBrokeOff(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		reading := func(age time.Duration) string {
			w, err := b.store.CreateWork(t.Context(), store.Local, store.Work{ID: uuid.Must(uuid.NewV7()).String(), Portfolio: b.portfolio,
				Kind: store.WorkImport, Mode: store.GoodRowsOnly, Options: []byte("{}"), CreatedAt: time.Now().Add(-age)})
			if err != nil {
				t.Fatal(err)
			}
			return w.ID
		}
		old, fresh := reading(16*time.Minute), reading(14*time.Minute)
		if err := b.jobs.Chores()[0].Do(t.Context()); err != nil {
			t.Fatal(err)
		}
		b.wants(b.work(old), store.WorkRefused, 0, 0, 0)
		b.wants(b.work(fresh), store.WorkReading, 0, 0, 0)
	})
}

// A removal that has begun goes on in the background.
func TestRemovalGoesOn(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		if err := b.store.BeginRemoval(t.Context(), store.Local, b.portfolio); err != nil {
			t.Fatal(err)
		}
		later := func() time.Time { return time.Now().Add(store.Lease) } // the lease of whoever began has ended
		for want := range 2 {
			done, err := queue.Drain(t.Context(), queue.Config{Kinds: []queue.Kind{b.jobs.Kinds()[1]}, Now: later})
			if err != nil || done != 1-want {
				t.Errorf("%d done, %v", done, err)
			}
		}
		if err := b.store.BeginRemoval(t.Context(), store.Local, b.portfolio); !errors.Is(err, store.ErrNotFound) {
			t.Error(err)
		}
	})
}
