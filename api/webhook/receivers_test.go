package webhook_test

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"levinward/api/queue"
	"levinward/api/webhook"
	"levinward/store"
	"levinward/store/postgres"
	"levinward/store/sqlite"
	"levinward/store/storetest"
)

func TestMain(m *testing.M) { storetest.Main(m) }

// onBothStores runs a test on an empty store of each kind.
func onBothStores(t *testing.T, test func(t *testing.T, s store.Store)) {
	opened := func(t *testing.T, s store.Store, err error) {
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		test(t, s)
	}
	t.Run("SQLite", func(t *testing.T) {
		s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "x.db"), os.DirFS("../../migrations/sqlite"))
		opened(t, s, err)
	})
	t.Run("PostgreSQL", func(t *testing.T) {
		s, err := postgres.Open(t.Context(), storetest.Postgres(t), os.DirFS("../../migrations/postgres"))
		opened(t, s, err)
	})
}

func tell(t *testing.T, s store.Store, receivers ...*httptest.Server) {
	t.Helper()
	for _, r := range receivers {
		w := store.Webhook{ID: uuid.NewString(), CreatedAt: time.Now(), URL: r.URL, Events: store.Events, Secret: "secret"}
		if _, err := s.CreateWebhook(t.Context(), store.Local, w); err != nil {
			t.Fatal(err)
		}
	}
}

func change(t *testing.T, s store.Store, times int) {
	t.Helper()
	for i := range times {
		_, _, err := s.Create(t.Context(), store.Local, store.Record{
			Header: store.Header{ID: uuid.NewString(), CreatedAt: time.Now(), Name: fmt.Sprint("Invented site ", i)},
			Input:  []byte("{}"), Result: []byte("{}"), Worksheet: []byte("{}"),
		}, nil)
		if err != nil {
			t.Fatal(err)
		}
	}
}

// slow is a receiver that answers when it is let go, and counts the requests it holds.
type slow struct {
	*httptest.Server
	open, most atomic.Int64
	finish     chan struct{}
}

func newSlow(t *testing.T) *slow {
	s := &slow{finish: make(chan struct{})}
	s.Server = httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		now := s.open.Add(1)
		for most := s.most.Load(); now > most && !s.most.CompareAndSwap(most, now); most = s.most.Load() {
		}
		select {
		case <-s.finish:
		case <-r.Context().Done(): // the sender has given it up
		}
		s.open.Add(-1)
	}))
	t.Cleanup(s.Close)
	return s
}

// A hundred deliveries to one receiver arrive while another still holds the first requests it got.
func TestSlowReceiverKeepsNoneWaiting(t *testing.T) {
	onBothStores(t, func(t *testing.T, s store.Store) {
		const n = 100
		arrived := make(chan struct{}, 2*n)
		healthy := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { arrived <- struct{}{} }))
		t.Cleanup(healthy.Close)
		held := newSlow(t)
		tell(t, s, held.Server, healthy)
		change(t, s, n)
		log := slog.New(slog.NewTextHandler(t.Output(), nil))
		sender := webhook.New(webhook.Config{Store: s, Log: log, Private: true, Agent: "levinward under test"})
		begun := time.Now()
		q := queue.Start(t.Context(), queue.Config{Kinds: []queue.Kind{sender.Kind()}, Log: log})
		for i := range n {
			select {
			case <-arrived:
			case <-time.After(time.Minute):
				t.Fatalf("%d of %d arrived", i, n)
			}
		}
		t.Logf("%d deliveries arrived in %v", n, time.Since(begun))
		if held.open.Load() == 0 {
			t.Error("the slow receiver holds no request any more")
		}
		if most := held.most.Load(); most > 8 {
			t.Errorf("the slow receiver got %d requests at once", most)
		}
		close(held.finish)
		if err := q.Stop(context.Background()); err != nil {
			t.Error(err)
		}
		if len(arrived) != 0 {
			t.Errorf("%d arrived twice", len(arrived))
		}
	})
}
