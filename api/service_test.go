package api_test

import (
	"encoding/json"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"levinward/api"
	"levinward/api/apitest"
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
	return newServerOf(t, s, testEngine)
}

// newServerOf makes a server of another version of the program.
func newServerOf(t testing.TB, s store.Store, engine string) *api.Server {
	t.Helper()
	config := api.Config{
		Store: s, Contract: read(t, "openapi.yaml"), Engine: engine,
		Log: slog.New(slog.NewTextHandler(t.Output(), nil)), Now: func() time.Time { return testNow },
	}
	var err error
	if config.Jobs, err = api.NewJobs(config); err != nil {
		t.Fatal(err)
	}
	workHere(t, config.Jobs)
	server, err := api.New(config)
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

// onBothStores runs a test against a service on each store.
func onBothStores(t *testing.T, test func(t *testing.T, c *apitest.Client)) {
	onEachStore(t, func(t *testing.T, c *apitest.Client, _ store.Store) { test(t, c) })
}

// onEachStore is onBothStores for tests that also put something into the store themselves.
func onEachStore(t *testing.T, test func(t *testing.T, c *apitest.Client, s store.Store)) {
	for name, open := range map[string]func(testing.TB) store.Store{"SQLite": openSQLite, "PostgreSQL": openPostgres} {
		t.Run(name, func(t *testing.T) {
			s := open(t)
			test(t, newClient(t, newServer(t, s)), s)
		})
	}
}

// newClient starts a server and speaks to it.
func newClient(t testing.TB, server *api.Server) *apitest.Client {
	t.Helper()
	return apitest.New(t, start(t, server), read(t, "openapi.yaml"))
}

// changed is a body with some values put in, by pointer. A value of nothing{} removes.
func changed(t testing.TB, body []byte, values map[string]any) []byte {
	t.Helper()
	var doc any
	if err := json.Unmarshal(body, &doc); err != nil {
		t.Fatal(err)
	}
	for _, pointer := range slices.Sorted(maps.Keys(values)) {
		doc = put(t, doc, strings.Split(pointer, "/")[1:], values[pointer])
	}
	out, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

type nothing struct{}

func put(t testing.TB, at any, path []string, value any) any {
	t.Helper()
	if len(path) == 0 {
		return value
	}
	switch v := at.(type) {
	case map[string]any:
		if len(path) == 1 && value == (nothing{}) {
			delete(v, path[0])
			return v
		}
		v[path[0]] = put(t, v[path[0]], path[1:], value)
		return v
	case []any:
		i, err := strconv.Atoi(path[0])
		if err == nil && i == len(v) {
			v = append(v, nil)
		}
		if err != nil || i >= len(v) {
			t.Fatalf("no entry %s", path[0])
		}
		v[i] = put(t, v[i], path[1:], value)
		return v
	}
	t.Fatalf("nothing to put %v into", path)
	return nil
}

// stored is what tests look at of an answered record.
type stored struct {
	ID       string
	Revision int
	Input    map[string]any
}

// create stores an assessment.
func create(c *apitest.Client, body []byte, headers ...string) (stored, *apitest.Answer) {
	a := c.Post("/v1/assessments", body, headers...).Want(http.StatusCreated)
	var s stored
	a.JSON(&s)
	return s, a
}

// list is a page of the list.
type list struct {
	Assessments []struct {
		ID, Name, Reference string
		Revision            int
	}
}

// names lists the names on a page.
func (l *list) names() []string {
	names := make([]string, len(l.Assessments))
	for i := range l.Assessments {
		names[i] = l.Assessments[i].Name
	}
	return names
}

func getList(c *apitest.Client, query string) (list, *apitest.Answer) {
	a := c.Get("/v1/assessments" + query).Want(http.StatusOK)
	var l list
	a.JSON(&l)
	return l, a
}

// numbersOf lists the pointers of all numbers in a body.
func numbersOf(t testing.TB, body []byte) (pointers []string) {
	t.Helper()
	var doc any
	if err := json.Unmarshal(body, &doc); err != nil {
		t.Fatal(err)
	}
	var walk func(pointer string, at any)
	walk = func(pointer string, at any) {
		switch v := at.(type) {
		case float64:
			pointers = append(pointers, pointer)
		case map[string]any:
			for key, e := range v {
				walk(pointer+"/"+key, e)
			}
		case []any:
			for i, e := range v {
				walk(pointer+"/"+strconv.Itoa(i), e)
			}
		}
	}
	walk("", doc)
	return pointers
}
