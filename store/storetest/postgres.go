package storetest

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Main runs the tests of a package that calls Postgres and stops the cluster
// they shared. Use it as func TestMain(m *testing.M) { storetest.Main(m) }.
func Main(m *testing.M) {
	code := m.Run()
	shared.stop()
	os.Exit(code)
}

// Postgres returns the URL of a new, empty database, dropped after the test.
//
// It is made on the server whose URL stands in LEVINWARD_TEST_POSTGRES (the
// user must be allowed to create databases), else on a cluster of the test
// binary's own. Without either the test is skipped, or fails if
// LEVINWARD_REQUIRE_POSTGRES is 1.
func Postgres(t testing.TB) string {
	t.Helper()
	server := os.Getenv("LEVINWARD_TEST_POSTGRES")
	if server == "" {
		cluster, err := shared.start()
		if err != nil {
			missing(t, err)
		}
		server = cluster.URL()
	}
	return newDatabase(t, server)
}

// missing skips the test, or fails it where PostgreSQL is required.
func missing(t testing.TB, err error) {
	t.Helper()
	if os.Getenv("LEVINWARD_REQUIRE_POSTGRES") == "1" {
		t.Fatalf("PostgreSQL is required: %v", err)
	}
	t.Skipf("no PostgreSQL: %v", err)
}

func newDatabase(t testing.TB, server string) string {
	t.Helper()
	name := fmt.Sprintf("levinward_test_%d_%d", os.Getpid(), time.Now().UnixNano())
	// From the bare template: the usual one cannot be copied twice at a time.
	execute(t, server, "CREATE DATABASE "+name+" TEMPLATE template0 ENCODING 'UTF8'")
	t.Cleanup(func() { execute(t, server, "DROP DATABASE "+name+" WITH (FORCE)") })
	u, err := url.Parse(server)
	if err != nil {
		t.Fatal(err)
	}
	u.Path = "/" + name
	return u.String()
}

func execute(t testing.TB, server, statement string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, server)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(ctx)
	if _, err := conn.Exec(ctx, statement); err != nil {
		t.Fatal(err)
	}
}

// shared is the cluster of the test binary, started when first asked for.
var shared sharedCluster

type sharedCluster struct {
	once    sync.Once
	cluster *Cluster
	err     error
}

func (s *sharedCluster) start() (*Cluster, error) {
	s.once.Do(func() { s.cluster, s.err = newCluster() })
	return s.cluster, s.err
}

func (s *sharedCluster) stop() {
	if s.cluster != nil {
		s.cluster.remove()
	}
}
