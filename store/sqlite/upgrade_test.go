package sqlite

import (
	"database/sql"
	"io/fs"
	"path/filepath"
	"testing"
	"testing/fstest"
	"time"

	"levinward/store"
)

// migrationsBefore are those whose number is below that of a name.
func migrationsBefore(t *testing.T, name string) fs.FS {
	t.Helper()
	names, err := fs.Glob(migrations, "*.sql")
	must(t, err)
	before := fstest.MapFS{}
	for _, n := range names {
		if n < name {
			data, err := fs.ReadFile(migrations, n)
			must(t, err)
			before[n] = &fstest.MapFile{Data: data}
		}
	}
	return before
}

// A file from the time when the queue had tables of its own loses these and nothing else: chunks that
// were queued are due, and removals that were broken off go on.
func TestUpgradeFromTheFormerQueue(t *testing.T) {
	file := filepath.Join(t.TempDir(), "levinward.db")
	_, err := Migrate(t.Context(), file, migrationsBefore(t, "00010"))
	must(t, err)
	const statements = `
		CREATE TABLE river_migration (line TEXT, version INTEGER);
		CREATE TABLE river_job (id INTEGER PRIMARY KEY AUTOINCREMENT, args BLOB, state TEXT);
		CREATE INDEX river_job_kind ON river_job (state);
		CREATE TABLE river_leader (name TEXT PRIMARY KEY);
		CREATE TABLE river_queue (name TEXT PRIMARY KEY);
		CREATE TABLE river_notification (id INTEGER PRIMARY KEY, topic TEXT);
		INSERT INTO river_job (args, state) VALUES ('{}', 'running');
		INSERT INTO portfolio (organisation, id, created_at, name, description) VALUES ($1, $2, 0, 'P', ''), ($1, $3, 0, char(0) || $3, '');
		INSERT INTO work (organisation, portfolio, id, kind, mode, state, options, created_at, touched_at, chunks, total)
			VALUES ($1, $2, $4, 'import', 'good_rows_only', 'running', x'7b7d', 0, 0, 1, 1);
		INSERT INTO work_chunk (organisation, work, n, state, rows, failed) VALUES ($1, $4, 0, 'queued', x'78', x'');
		INSERT INTO webhook (organisation, id, created_at, url, events, secret) VALUES ($1, $5, 0, 'u', ' assessment.created ', 's');
		INSERT INTO webhook_delivery (organisation, webhook, event, assessment, revision, reference, happened_at, due_at)
			VALUES ($1, $5, 'assessment.created', $5, 1, '', 0, 0);`
	kept, removed, work, hook := newID(), newID(), newID(), newID()
	db, err := sql.Open("sqlite", file)
	must(t, err)
	_, err = db.Exec(statements, store.Local, kept, removed, work, hook)
	must(t, err)
	must(t, db.Close())

	s := open(t, file)
	if n := count(t, s, "sqlite_schema WHERE name LIKE 'river%'"); n != 0 {
		t.Errorf("%d tables of the former queue are left", n)
	}
	left, err := s.RemovalsToDo(t.Context(), store.Local, time.Now())
	if err != nil || len(left) != 1 || left[0] != removed {
		t.Errorf("removals to do: %q, %v", left, err)
	}
	if _, err := s.Portfolio(t.Context(), store.Local, kept); err != nil {
		t.Error(err)
	}
	chunks, err := s.ClaimChunks(t.Context(), store.Local, work, time.Now(), time.Now().Add(store.Lease), 9)
	if err != nil || len(chunks) != 1 {
		t.Errorf("claimed %+v, %v", chunks, err)
	}
	deliveries, err := s.ClaimDeliveries(t.Context(), store.Local, hook, time.Now(), time.Now().Add(store.Lease), 9)
	if err != nil || len(deliveries) != 1 {
		t.Errorf("claimed %+v, %v", deliveries, err)
	}
}
