package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/uuid"

	"levinward/store"
	"levinward/store/storetest"
)

var migrations = os.DirFS("../../migrations/sqlite")

func open(t testing.TB, file string) *Store {
	t.Helper()
	s, err := Open(context.Background(), file, migrations)
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
	storetest.Run(t, func(t *testing.T) store.Store { return open(t, filepath.Join(t.TempDir(), "levinward.db")) })
}

func record() store.Record {
	return store.Record{
		Header: store.Header{ID: uuid.Must(uuid.NewV7()).String(), CreatedAt: time.Now(), Name: "site"},
		Input:  []byte("{}"), Result: []byte("{}"), Worksheet: []byte("{}"),
	}
}

func TestSettings(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "levinward.db"))
	for pragma, want := range map[string]string{
		"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "busy_timeout": "5000",
		"auto_vacuum": "0", // the README says that deletions leave the file as large as it is
	} {
		for _, db := range []*sql.DB{s.writer, s.reader} {
			var got string
			if err := db.QueryRow("PRAGMA " + pragma).Scan(&got); err != nil || got != want {
				t.Errorf("%s is %q, want %q (%v)", pragma, got, want, err)
			}
		}
	}
	if _, err := s.reader.Exec("DELETE FROM assessment"); err == nil {
		t.Error("a reading connection can write")
	}
}

func TestRecordsOutliveTheStore(t *testing.T) {
	for _, name := range []string{"levinward.db", "with space & 100%.db", "ö#1?mode=memory.db"} {
		file := filepath.Join(t.TempDir(), name)
		r := record()
		s, err := Open(t.Context(), file, migrations)
		if err != nil {
			t.Fatal(err)
		}
		if _, _, err := s.Create(t.Context(), store.Local, r, nil); err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		entries, err := os.ReadDir(filepath.Dir(file))
		if err != nil || len(entries) != 1 || entries[0].Name() != name {
			t.Errorf("files after closing: %v, %v", entries, err)
		}
		if _, err := open(t, file).Newest(t.Context(), store.Local, r.ID); err != nil {
			t.Error(err)
		}
	}
}

func TestFileIsRefused(t *testing.T) {
	folder := t.TempDir()
	text := filepath.Join(folder, "text.db")
	if err := os.WriteFile(text, []byte(strings.Repeat("no database\n", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, file := range []string{"", ":memory:", "file::memory:", folder, filepath.Join(folder, "no", "such", "folder.db"), text} {
		if s, err := Open(t.Context(), file, migrations); err == nil {
			s.Close()
			t.Errorf("%q was opened", file)
		}
	}
}

func TestManyOpenAtOnce(t *testing.T) {
	file := filepath.Join(t.TempDir(), "levinward.db")
	errs := make([]error, 6)
	var wg sync.WaitGroup
	for i := range errs {
		wg.Go(func() {
			s, err := Open(t.Context(), file, migrations)
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
	page, err := open(t, file).List(t.Context(), store.Local, store.Filter{})
	if err != nil || len(page.Entries) != len(errs) {
		t.Fatalf("%d records, %v", len(page.Entries), err)
	}
}

func TestMigrate(t *testing.T) {
	file := filepath.Join(t.TempDir(), "levinward.db")
	names, err := fs.Glob(migrations, "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	applied, err := Migrate(t.Context(), file, migrations)
	if err != nil || fmt.Sprint(applied) != fmt.Sprint(names) {
		t.Fatalf("first: %v, %v, want %v", applied, err, names)
	}
	if applied, err := Migrate(t.Context(), file, migrations); err != nil || len(applied) != 0 {
		t.Fatalf("second: %v, %v", applied, err)
	}

	newer := withMigration(t, "CREATE TABLE later (x INTEGER) STRICT;")
	if applied, err := Migrate(t.Context(), file, newer); err != nil || len(applied) != 1 {
		t.Fatalf("newer: %v, %v", applied, err)
	}
	if _, err := Migrate(t.Context(), file, migrations); !errors.Is(err, store.ErrNewerSchema) {
		t.Fatalf("older program: %v", err)
	}
	if s, err := Open(t.Context(), file, migrations); !errors.Is(err, store.ErrNewerSchema) {
		t.Fatalf("older program: %v, %v", s, err)
	}
}

func TestFailedMigrationLeavesNothing(t *testing.T) {
	file := filepath.Join(t.TempDir(), "levinward.db")
	faulty := withMigration(t, "CREATE TABLE later (x INTEGER) STRICT;\nINSERT INTO nowhere VALUES (1);")
	applied, err := Migrate(t.Context(), file, faulty)
	if err == nil || len(applied) == 0 {
		t.Fatalf("%v, %v", applied, err)
	}
	s := open(t, file) // the migrations before it stand
	if _, err := s.reader.Exec("SELECT x FROM later"); err == nil {
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

func TestWriteThatFailsHalfwayLeavesNothing(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "levinward.db"))
	kept := record()
	if _, _, err := s.Create(t.Context(), store.Local, kept, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := s.writer.Exec(`CREATE TRIGGER fails BEFORE INSERT ON revision BEGIN SELECT RAISE(ABORT, 'fails'); END`); err != nil {
		t.Fatal(err)
	}
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
	if _, err := s.writer.Exec(`DROP TRIGGER fails`); err != nil {
		t.Fatal(err)
	}
	if _, replayed, err := s.Create(t.Context(), store.Local, r, &store.Idempotency{Key: "k", BodyHash: "h"}); err != nil || replayed {
		t.Fatal(replayed, err)
	}
}

func TestRevisionsCannotBeUpdated(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "levinward.db"))
	if _, _, err := s.Create(t.Context(), store.Local, record(), nil); err != nil {
		t.Fatal(err)
	}
	if _, err := s.writer.Exec(`UPDATE revision SET name = 'changed'`); err == nil || !strings.Contains(err.Error(), "never changes") {
		t.Fatal(err)
	}
}

func TestUnavailableAndBack(t *testing.T) {
	file := filepath.Join(t.TempDir(), "levinward.db")
	s := open(t, file)
	r := record()
	if _, _, err := s.Create(t.Context(), store.Local, r, nil); err != nil {
		t.Fatal(err)
	}
	write := func() error {
		_, _, err := s.Create(t.Context(), store.Local, record(), nil)
		return err
	}

	t.Run("locked by another process", func(t *testing.T) {
		other, err := connect(file, "&_txlock=immediate", 1)
		if err != nil {
			t.Fatal(err)
		}
		defer other.Close()
		tx, err := other.Begin()
		if err != nil {
			t.Fatal(err)
		}
		usual := s.patience
		s.patience = 200 * time.Millisecond // what can succeed gets more: a busy machine is slow
		if err := write(); !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("while locked: %v", err)
		}
		s.patience = usual
		if _, err := s.Newest(t.Context(), store.Local, r.ID); err != nil {
			t.Errorf("reading while locked: %v", err)
		}
		if err := tx.Rollback(); err != nil {
			t.Fatal(err)
		}
		if err := write(); err != nil {
			t.Errorf("after: %v", err)
		}
	})

	t.Run("disk full", func(t *testing.T) {
		var size int
		if err := s.writer.QueryRow("PRAGMA page_count").Scan(&size); err != nil {
			t.Fatal(err)
		}
		limit := func(pages int) {
			var got int
			if err := s.writer.QueryRow(fmt.Sprintf("PRAGMA max_page_count = %d", pages)).Scan(&got); err != nil {
				t.Fatal(err)
			}
		}
		limit(size + 2)
		big := record()
		big.Worksheet = make([]byte, 1<<20)
		if _, _, err := s.Create(t.Context(), store.Local, big, nil); !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("while full: %v", err)
		}
		if _, err := s.Newest(t.Context(), store.Local, big.ID); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("half stored: %v", err)
		}
		limit(1 << 30)
		if _, _, err := s.Create(t.Context(), store.Local, big, nil); err != nil {
			t.Errorf("after: %v", err)
		}
	})
}

// Inputs of a few sites of a large portfolio are found by their ids: its other sites are not read.
func TestInputsAreFoundByID(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "x.db"))
	rows, err := s.reader.QueryContext(t.Context(), `EXPLAIN QUERY PLAN `+siteInputs, "", "", "[]")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var steps []string
	for rows.Next() {
		var id, parent, unused int
		var step string
		if err := rows.Scan(&id, &parent, &unused, &step); err != nil {
			t.Fatal(err)
		}
		steps = append(steps, step)
	}
	if rows.Err() != nil || !slices.ContainsFunc(steps, func(step string) bool {
		return strings.Contains(step, " s ") && strings.Contains(step, "(organisation=? AND assessment=?)")
	}) {
		t.Errorf("the plan is %q, %v", steps, rows.Err())
	}
}
