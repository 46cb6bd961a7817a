package postgres

import (
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"

	"levinward/store"
	"levinward/store/storetest"
)

// migrationsBefore are those whose number is below that of a name.
func migrationsBefore(t *testing.T, name string) fs.FS {
	t.Helper()
	names, err := fs.Glob(migrations, "*.sql")
	if err != nil {
		t.Fatal(err)
	}
	before := fstest.MapFS{}
	for _, n := range names {
		if n >= name {
			continue
		}
		data, err := fs.ReadFile(migrations, n)
		if err != nil {
			t.Fatal(err)
		}
		before[n] = &fstest.MapFile{Data: data}
	}
	return before
}

// A database from the time when the queue had tables of its own loses these and nothing else: chunks that were queued are due.
func TestUpgradeFromTheFormerQueue(t *testing.T) {
	url := storetest.Postgres(t)
	if _, err := Migrate(t.Context(), url, migrationsBefore(t, "00010")); err != nil {
		t.Fatal(err)
	}
	portfolio, work, hook := uuid.NewString(), uuid.NewString(), uuid.NewString()
	pool, err := pgxpool.New(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	const statements = `
		CREATE TYPE river_job_state AS ENUM ('available', 'running');
		CREATE FUNCTION river_job_state_in_bitmask(bitmask bit(8), state river_job_state) RETURNS boolean LANGUAGE sql IMMUTABLE AS 'SELECT true';
		CREATE TABLE river_migration (line text, version bigint);
		CREATE TABLE river_job (id bigserial PRIMARY KEY, state river_job_state, unique_key bytea, unique_states bit(8));
		CREATE UNIQUE INDEX river_job_unique_idx ON river_job (unique_key) WHERE river_job_state_in_bitmask(unique_states, state);
		CREATE UNLOGGED TABLE river_leader (name text PRIMARY KEY);
		CREATE TABLE river_queue (name text PRIMARY KEY);
		CREATE TABLE river_notification (id bigserial PRIMARY KEY, topic text);
		INSERT INTO river_job (state) VALUES ('running');
		INSERT INTO portfolio (organisation, id, created_at, name, description) VALUES ('ORG', 'PORTFOLIO', now(), 'P', '');
		INSERT INTO work (organisation, portfolio, id, kind, mode, state, options, created_at, touched_at, chunks, total)
			VALUES ('ORG', 'PORTFOLIO', 'WORK', 'import', 'good_rows_only', 'running', '{}', now(), now(), 1, 1);
		INSERT INTO work_chunk (organisation, work, n, state, rows, failed) VALUES ('ORG', 'WORK', 0, 'queued', 'x', '');
		INSERT INTO webhook (organisation, id, created_at, url, events, secret) VALUES ('ORG', 'HOOK', now(), 'u', ' assessment.created ', 's');
		INSERT INTO webhook_delivery (organisation, webhook, event, assessment, revision, reference, happened_at, due_at)
			VALUES ('ORG', 'HOOK', 'assessment.created', 'HOOK', 1, '', now(), now());`
	named := strings.NewReplacer("ORG", string(store.Local), "PORTFOLIO", portfolio, "WORK", work, "HOOK", hook).Replace(statements)
	if _, err := pool.Exec(t.Context(), named); err != nil {
		t.Fatal(err)
	}

	s := open(t, url)
	var left int
	err = pool.QueryRow(t.Context(), `SELECT (SELECT count(*) FROM pg_class WHERE relname LIKE 'river%')
		+ (SELECT count(*) FROM pg_proc WHERE proname LIKE 'river%')
		+ (SELECT count(*) FROM pg_type WHERE typname LIKE 'river%')`).Scan(&left)
	if err != nil || left != 0 {
		t.Errorf("%d parts of the former queue are left, %v", left, err)
	}
	later := time.Now().Add(time.Second)
	chunks, err := s.ClaimChunks(t.Context(), store.Local, work, later, later.Add(store.Lease), 9)
	if err != nil || len(chunks) != 1 {
		t.Errorf("claimed %+v, %v", chunks, err)
	}
	deliveries, err := s.ClaimDeliveries(t.Context(), store.Local, hook, later, later.Add(store.Lease), 9)
	if err != nil || len(deliveries) != 1 {
		t.Errorf("claimed %+v, %v", deliveries, err)
	}
}
