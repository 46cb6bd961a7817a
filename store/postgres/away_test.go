package postgres

import (
	"errors"
	"net/url"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"levinward/store"
	"levinward/store/storetest"
)

// everyCall demands that all methods find the database unavailable.
func everyCall(t *testing.T, s *Store, id string) {
	t.Helper()
	ctx := t.Context()
	r := record()
	_, _, create := s.Create(ctx, store.Local, r, nil)
	_, newest := s.Newest(ctx, store.Local, id)
	_, revision := s.Revision(ctx, store.Local, id, 1)
	_, worksheet := s.Worksheet(ctx, store.Local, id, 1)
	_, revisions := s.Revisions(ctx, store.Local, id)
	_, list := s.List(ctx, store.Local, store.Filter{})
	r.ID = id
	_, revise := s.Revise(ctx, store.Local, r, 1)
	remove := s.Delete(ctx, store.Local, id)
	put := s.PutDefinitions(ctx, store.Local, "h", []byte("{}"))
	_, definitions := s.Definitions(ctx, store.Local, "h")
	add := s.AddOrganisation(ctx, store.Local, "local")
	for i, err := range []error{
		create, newest, revision, worksheet, revisions, list, revise, remove, put, definitions, add, s.Ping(ctx),
	} {
		if !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("call %d: %v", i, err)
		}
	}
}

// works demands that a record from before is there and another can be stored,
// at the latest when the pool has noticed that its connections are gone.
func works(t *testing.T, s *Store, id string) {
	t.Helper()
	var err error
	for range connections + 1 {
		if _, err = s.Newest(t.Context(), store.Local, id); err == nil {
			break
		}
		if !errors.Is(err, store.ErrUnavailable) {
			break
		}
	}
	if err == nil {
		_, _, err = s.Create(t.Context(), store.Local, record(), nil)
	}
	if err != nil {
		t.Fatalf("after the return: %v", err)
	}
}

func TestServerStopsAndReturns(t *testing.T) {
	cluster := storetest.NewCluster(t)
	s := open(t, cluster.URL())
	r := record()
	if _, _, err := s.Create(t.Context(), store.Local, r, nil); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		cluster.Stop()
		everyCall(t, s, r.ID)
		if _, err := Open(t.Context(), cluster.URL(), migrations); !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("Open: %v", err)
		}
		if err := cluster.Start(); err != nil {
			t.Fatal(err)
		}
		works(t, s, r.ID)
	}
}

// Calls that are under way when the server stops end with ErrUnavailable, and
// what was confirmed before is there afterwards.
func TestServerStopsUnderLoad(t *testing.T) {
	cluster := storetest.NewCluster(t)
	s := open(t, cluster.URL())
	var mu sync.Mutex
	var confirmed []string
	var wrong atomic.Value
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for {
				r := record()
				_, _, err := s.Create(t.Context(), store.Local, r, nil)
				if err != nil {
					if !errors.Is(err, store.ErrUnavailable) {
						wrong.Store(err)
					}
					return
				}
				mu.Lock()
				confirmed = append(confirmed, r.ID)
				mu.Unlock()
			}
		})
	}
	for begun := false; !begun && wrong.Load() == nil; time.Sleep(10 * time.Millisecond) {
		mu.Lock()
		begun = len(confirmed) >= 20
		mu.Unlock()
	}
	cluster.Stop()
	wg.Wait()
	if err := wrong.Load(); err != nil {
		t.Errorf("while stopping: %v", err)
	}
	if len(confirmed) == 0 {
		t.Fatal("nothing was stored before the stop")
	}
	if err := cluster.Start(); err != nil {
		t.Fatal(err)
	}
	works(t, s, confirmed[0])
	for _, id := range confirmed {
		if _, err := s.Worksheet(t.Context(), store.Local, id, 1); err != nil {
			t.Fatalf("%s was confirmed: %v", id, err)
		}
	}
}

func TestNetworkBreaksAndReturns(t *testing.T) {
	gate := storetest.NewGate(t, storetest.Postgres(t))
	s := open(t, gate.URL)
	r := record()
	if _, _, err := s.Create(t.Context(), store.Local, r, nil); err != nil {
		t.Fatal(err)
	}
	gate.Cut()
	everyCall(t, s, r.ID)
	gate.Restore()
	works(t, s, r.ID)

	s.patience = 200 * time.Millisecond
	gate.Silence()
	everyCall(t, s, r.ID)
	gate.Restore()
	s.patience = 10 * time.Second
	works(t, s, r.ID)
}

// A pool whose connections are all in use counts as unavailable, not as a
// reason to wait without end.
func TestAllConnectionsInUse(t *testing.T) {
	u, err := url.Parse(storetest.Postgres(t))
	if err != nil {
		t.Fatal(err)
	}
	query := u.Query()
	query.Set("pool_max_conns", "1")
	u.RawQuery = query.Encode()
	s := open(t, u.String())
	s.patience = 100 * time.Millisecond
	held, err := s.pool.Acquire(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	everyCall(t, s, record().ID)
	held.Release()
	if err := s.Ping(t.Context()); err != nil {
		t.Error(err)
	}
}
