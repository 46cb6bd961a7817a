package api_test

import (
	"io"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"testing"
	"time"

	"levinward/api"
	"levinward/store"
	"levinward/store/postgres"
	"levinward/store/sqlite"
	"levinward/store/storetest"
)

func TestMain(m *testing.M) { storetest.Main(m) }

// read reads a file of the project.
func read(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func demo(t testing.TB) []byte     { t.Helper(); return read(t, "testdata/demo/health-post.json") }
func smallest(t testing.TB) []byte { t.Helper(); return read(t, "testdata/demo/smallest.json") }

// openSQLite opens a store in a file of a folder of its own.
func openSQLite(t testing.TB) store.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "test.db"), os.DirFS("../migrations/sqlite"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// openPostgres opens a store in a new database.
func openPostgres(t testing.TB) store.Store {
	t.Helper()
	s, err := postgres.Open(t.Context(), storetest.Postgres(t), os.DirFS("../migrations/postgres"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// Engine and clock of the servers under test.
const testEngine = "levinward under test"

var testNow = time.Date(2031, 5, 17, 9, 30, 0, 0, time.UTC)

// newServer makes a server on a store, with a clock that stands.
func newServer(t testing.TB, s store.Store) *api.Server {
	t.Helper()
	server, err := api.New(api.Config{
		Store: s, Contract: read(t, "openapi.yaml"), Engine: testEngine,
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Now: func() time.Time { return testNow },
	})
	if err != nil {
		t.Fatal(err)
	}
	return server
}

// start serves on a port of the loopback interface.
func start(t testing.TB, server *api.Server) string {
	t.Helper()
	h := httptest.NewServer(server)
	t.Cleanup(h.Close)
	return h.URL
}
