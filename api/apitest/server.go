package apitest

import (
	"context"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"levinward/api"
	"levinward/api/contract"
	"levinward/api/jobs"
	"levinward/store"
	"levinward/store/postgres"
	"levinward/store/sqlite"
	"levinward/store/storetest"
)

// workHere does the works of a server under test as soon as they are queued.
func workHere(t testing.TB, j *jobs.Jobs) {
	var tasks sync.WaitGroup
	j.WhenQueued(func(work string) {
		tasks.Go(func() { _ = j.Drain(context.Background(), work) }) // the work shows what came of it
	})
	t.Cleanup(tasks.Wait)
}

// OpenSQLite opens a store in a file of a folder of its own.
func OpenSQLite(t testing.TB) store.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "test.db"), Migrations(t, "sqlite"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// OpenPostgres opens a store in a new database.
func OpenPostgres(t testing.TB) store.Store {
	t.Helper()
	s, err := postgres.Open(t.Context(), storetest.Postgres(t), Migrations(t, "postgres"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// Stores open a new store of each kind, by its name. LEVINWARD_TEST_STORES=SQLite leaves the other one out: the race
// detector watches the service, and the suite of the stores watches both of them.
func Stores() map[string]func(testing.TB) store.Store {
	stores := map[string]func(testing.TB) store.Store{"SQLite": OpenSQLite, "PostgreSQL": OpenPostgres}
	if os.Getenv("LEVINWARD_TEST_STORES") == "SQLite" {
		delete(stores, "PostgreSQL")
	}
	return stores
}

// Engine is the name and version of the servers under test.
const Engine = "levinward under test"

// Now is where their clock stands.
var Now = time.Date(2031, 5, 17, 9, 30, 0, 0, time.UTC)

// NewServer makes a server on a store, with a clock that stands.
func NewServer(t testing.TB, s store.Store) *api.Server {
	t.Helper()
	return NewServerWith(t, api.Config{Store: s})
}

// NewServerOf makes a server of another version of the program.
func NewServerOf(t testing.TB, s store.Store, engine string) *api.Server {
	t.Helper()
	return NewServerWith(t, api.Config{Store: s, Engine: engine})
}

// NewServerWith makes a server with what a test cares about; the rest is that of NewServer. Its works are done as soon as they are queued.
func NewServerWith(t testing.TB, config api.Config) *api.Server {
	t.Helper()
	config.Contract = Contract(t)
	config.Log = slog.New(slog.NewTextHandler(t.Output(), nil))
	if config.Engine == "" {
		config.Engine = Engine
	}
	if config.Now == nil {
		config.Now = func() time.Time { return Now }
	}
	if config.Jobs == nil {
		var err error
		if config.Jobs, err = api.NewJobs(config); err != nil {
			t.Fatal(err)
		}
	}
	workHere(t, config.Jobs)
	server, err := api.New(config)
	if err != nil {
		t.Fatal(err)
	}
	return server
}

// read holds openapi.yaml once it was read: reading takes longer than most tests.
var read struct {
	once     sync.Once
	contract *contract.Contract
	err      error
}

// Contract is openapi.yaml as the servers under test use it.
func Contract(t testing.TB) *contract.Contract {
	t.Helper()
	text := File(t, "openapi.yaml")
	read.once.Do(func() { read.contract, read.err = contract.New(text) })
	if read.err != nil {
		t.Fatal(read.err)
	}
	return read.contract
}

// Start serves on a port of the loopback interface.
func Start(t testing.TB, server *api.Server) string {
	t.Helper()
	h := httptest.NewServer(server)
	t.Cleanup(h.Close)
	return h.URL
}

// OnBothStores runs a test against a service on each store.
func OnBothStores(t *testing.T, test func(t *testing.T, c *Client)) {
	OnEachStore(t, func(t *testing.T, c *Client, _ store.Store) { test(t, c) })
}

// OnEachStore is OnBothStores for tests that also put something into the store themselves.
func OnEachStore(t *testing.T, test func(t *testing.T, c *Client, s store.Store)) {
	for name, open := range Stores() {
		t.Run(name, func(t *testing.T) {
			s := open(t)
			test(t, NewClient(t, NewServer(t, s)), s)
		})
	}
}

// NewClient starts a server and speaks to it.
func NewClient(t testing.TB, server *api.Server) *Client {
	t.Helper()
	return New(t, Start(t, server), Contract(t).YAML)
}
