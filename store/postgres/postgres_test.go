package postgres

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/uuid"

	"levinward/store"
	"levinward/store/storetest"
)

func TestMain(m *testing.M) { storetest.Main(m) }

var migrations = os.DirFS("../../migrations/postgres")

func open(t testing.TB, url string) *Store {
	t.Helper()
	s, err := Open(context.Background(), url, migrations)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func TestStore(t *testing.T) {
	storetest.Postgres(t) // without PostgreSQL, skips here and not in every part
	storetest.Run(t, func(t *testing.T) store.Store { return open(t, storetest.Postgres(t)) })
}

func record() store.Record {
	return store.Record{
		Header: store.Header{ID: uuid.Must(uuid.NewV7()).String(), CreatedAt: time.Now(), Name: "site"},
		Input:  []byte("{}"), Result: []byte("{}"), Worksheet: []byte("{}"),
	}
}

func TestAddressIsRefused(t *testing.T) {
	for _, dsn := range []string{"postgres://host:port/x", "nonsense", "postgres://u@/x?sslmode=perhaps"} {
		if s, err := Open(t.Context(), dsn, migrations); err == nil {
			s.Close()
			t.Errorf("%q was opened", dsn)
		}
	}
	dsn := "postgres://levinward@127.0.0.1:1/x?connect_timeout=2"
	if _, err := Open(t.Context(), dsn, migrations); !errors.Is(err, store.ErrUnavailable) {
		t.Errorf("nobody listens there: %v", err)
	}
}

func TestReplicasStartAtOnce(t *testing.T) {
	url := storetest.Postgres(t)
	errs := make([]error, 6)
	applied := make([][]string, len(errs))
	var wg sync.WaitGroup
	for i := range errs {
		wg.Go(func() {
			var err error
			if applied[i], err = Migrate(t.Context(), url, migrations); err != nil {
				errs[i] = err
				return
			}
			s, err := Open(t.Context(), url, migrations)
			if err == nil {
				_, _, err = s.Create(t.Context(), store.Local, record(), nil)
				err = errors.Join(err, s.Close())
			}
			errs[i] = err
		})
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	names, err := fs.Glob(migrations, "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	total := 0
	for _, a := range applied {
		total += len(a)
	}
	if total != len(names) {
		t.Errorf("applied by the replicas: %v", applied)
	}
	page, err := open(t, url).List(t.Context(), store.Local, store.Filter{})
	if err != nil || len(page.Entries) != len(errs) {
		t.Fatalf("%d records, %v", len(page.Entries), err)
	}
}

func TestMigrate(t *testing.T) {
	url := storetest.Postgres(t)
	names, err := fs.Glob(migrations, "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	applied, err := Migrate(t.Context(), url, migrations)
	if err != nil || fmt.Sprint(applied) != fmt.Sprint(names) {
		t.Fatalf("first: %v, %v, want %v", applied, err, names)
	}
	if applied, err := Migrate(t.Context(), url, migrations); err != nil || len(applied) != 0 {
		t.Fatalf("second: %v, %v", applied, err)
	}
	newer := withMigration(t, "CREATE TABLE later (x integer);")
	if applied, err := Migrate(t.Context(), url, newer); err != nil || len(applied) != 1 {
		t.Fatalf("newer: %v, %v", applied, err)
	}
	if _, err := Migrate(t.Context(), url, migrations); !errors.Is(err, store.ErrNewerSchema) {
		t.Fatalf("older program: %v", err)
	}
	if s, err := Open(t.Context(), url, migrations); !errors.Is(err, store.ErrNewerSchema) {
		t.Fatalf("older program: %v, %v", s, err)
	}
}

func TestFailedMigrationLeavesNothing(t *testing.T) {
	url := storetest.Postgres(t)
	faulty := withMigration(t, "CREATE TABLE later (x integer);\nINSERT INTO nowhere VALUES (1);")
	applied, err := Migrate(t.Context(), url, faulty)
	if err == nil || len(applied) == 0 {
		t.Fatalf("%v, %v", applied, err)
	}
	s := open(t, url) // the migrations before it stand
	if _, err := s.pool.Exec(t.Context(), "SELECT x FROM later"); err == nil {
		t.Fatal("half a migration was kept")
	}
}

// withMigration returns the migrations and one more.
func withMigration(t *testing.T, statements string) fs.FS {
	t.Helper()
	all := fstest.MapFS{"99999_later.sql": {Data: []byte("-- +goose Up\n" + statements)}}
	names, err := fs.Glob(migrations, "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		data, err := fs.ReadFile(migrations, name)
		if err != nil {
			t.Fatal(err)
		}
		all[name] = &fstest.MapFile{Data: data}
	}
	return all
}

func TestSameMigrationsForBothDatabases(t *testing.T) {
	names := func(folder string) string {
		found, err := fs.Glob(os.DirFS("../../migrations/"+folder), "*")
		if err != nil || len(found) == 0 {
			t.Fatal(found, err)
		}
		return strings.Join(found, " ")
	}
	if a, b := names("postgres"), names("sqlite"); a != b {
		t.Errorf("postgres has %s, sqlite has %s", a, b)
	}
}

func TestEveryKeyStartsWithTheOrganisation(t *testing.T) {
	s := open(t, storetest.Postgres(t))
	rows, err := s.pool.Query(t.Context(), `
		SELECT c.relname, coalesce(a.attname, 'nothing')
		FROM pg_class c
			LEFT JOIN pg_index i ON i.indrelid = c.oid AND i.indisprimary
			LEFT JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum = i.indkey[0]
		WHERE c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace AND c.relname <> 'goose_db_version'`)
	if err != nil {
		t.Fatal(err)
	}
	tables := 0
	for rows.Next() {
		var table, column string
		if err := rows.Scan(&table, &column); err != nil {
			t.Fatal(err)
		}
		tables++
		if column != "organisation" && !(table == "organisation" && column == "id") {
			t.Errorf("the key of %s starts with %s", table, column)
		}
	}
	if err := rows.Err(); err != nil || tables < 4 {
		t.Fatalf("%d tables, %v", tables, err)
	}
}

func TestWriteThatFailsHalfwayLeavesNothing(t *testing.T) {
	s := open(t, storetest.Postgres(t))
	kept := record()
	if _, _, err := s.Create(t.Context(), store.Local, kept, nil); err != nil {
		t.Fatal(err)
	}
	execute := func(statement string) {
		t.Helper()
		if _, err := s.pool.Exec(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	execute(`CREATE TRIGGER fails BEFORE INSERT ON revision FOR EACH ROW EXECUTE FUNCTION refuse_update()`)
	r := record()
	if _, _, err := s.Create(t.Context(), store.Local, r, &store.Idempotency{Key: "k", BodyHash: "h"}); err == nil {
		t.Fatal("no error")
	}
	next := record()
	next.ID, next.Name = kept.ID, "other"
	if _, err := s.Revise(t.Context(), store.Local, next, 1); err == nil {
		t.Fatal("no error")
	}
	page, err := s.List(t.Context(), store.Local, store.Filter{})
	if err != nil || len(page.Entries) != 1 || page.Entries[0].Revision != 1 || page.Entries[0].Name != "site" {
		t.Fatalf("%+v, %v", page, err)
	}
	execute(`DROP TRIGGER fails ON revision`)
	if _, replayed, err := s.Create(t.Context(), store.Local, r, &store.Idempotency{Key: "k", BodyHash: "h"}); err != nil || replayed {
		t.Fatal(replayed, err)
	}
}

func TestRevisionsCannotBeUpdated(t *testing.T) {
	s := open(t, storetest.Postgres(t))
	if _, _, err := s.Create(t.Context(), store.Local, record(), nil); err != nil {
		t.Fatal(err)
	}
	_, err := s.pool.Exec(t.Context(), `UPDATE revision SET name = 'changed'`)
	if err == nil || !strings.Contains(err.Error(), "never changes") {
		t.Fatal(err)
	}
}
