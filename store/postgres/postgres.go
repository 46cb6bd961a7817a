// Package postgres keeps assessments in PostgreSQL, for a team and for any
// number of replicas of the service on one database.
//
// A call that changes one record is one statement, hence one round trip and atomic by itself; a second one is sent
// only to say why the first did nothing. Chunks and removals are transactions. What both databases read by the same
// statement is in tables.Reads.
package postgres

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"

	"levinward/store"
	"levinward/store/tables"
)

// Store is a store.Store on PostgreSQL.
type Store struct {
	tables.Reads

	pool *pgxpool.Pool
	// patience is how long a call waits for a connection, and then for its
	// answer, before the database counts as unavailable.
	patience time.Duration
}

var _ store.Store = (*Store)(nil)

// connections of one replica, unless the URL says otherwise (pool_max_conns).
// More of them let the server write several commits to disk at once.
const connections = 16

// Open brings the schema up to date and returns a store. The dsn is a URL
// postgres://… or a list of key=value. Several replicas may open at once: one
// migrates, the others wait. ErrUnavailable, ErrNewerSchema.
func Open(ctx context.Context, dsn string, migrations fs.FS) (*Store, error) {
	pool, err := connect(ctx, dsn)
	if err != nil {
		return nil, err
	}
	if _, err := migrate(ctx, pool, migrations); err != nil {
		pool.Close()
		return nil, err
	}
	s := &Store{pool: pool, patience: 10 * time.Second}
	s.Reads = tables.Reads{Dialect: &dialect, Query: s.query}
	return s, nil
}

// Migrate brings the schema up to date and returns the names of the migrations
// that it applied, in order.
func Migrate(ctx context.Context, dsn string, migrations fs.FS) (applied []string, err error) {
	pool, err := connect(ctx, dsn)
	if err != nil {
		return nil, err
	}
	defer pool.Close()
	return migrate(ctx, pool, migrations)
}

// Ping tells whether the database answers.
func (s *Store) Ping(ctx context.Context) error {
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error { return c.Ping(ctx) })
}

// Close waits for running calls and closes the connections.
func (s *Store) Close() error {
	s.pool.Close()
	return nil
}

func connect(ctx context.Context, dsn string) (*pgxpool.Pool, error) {
	config, err := pgxpool.ParseConfig(dsn)
	if err != nil {
		return nil, fmt.Errorf("database address: %w", err)
	}
	if !strings.Contains(dsn, "pool_max_conns") {
		config.MaxConns = connections
	}
	if config.ConnConfig.ConnectTimeout == 0 {
		config.ConnConfig.ConnectTimeout = 5 * time.Second
	}
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("database address: %w", err)
	}
	var encoding string
	if err := pool.QueryRow(ctx, "SHOW server_encoding").Scan(&encoding); err != nil {
		pool.Close()
		return nil, translate(ctx, err)
	}
	if encoding != "UTF8" {
		pool.Close()
		return nil, fmt.Errorf("the database keeps text in %s; create it with ENCODING 'UTF8'", encoding)
	}
	return pool, nil
}

func migrate(ctx context.Context, pool *pgxpool.Pool, migrations fs.FS) (applied []string, err error) {
	// The lock belongs to a connection, so it goes when a replica dies over it.
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 300)) // every second, 5 minutes
	if err != nil {
		return nil, err
	}
	db := stdlib.OpenDBFromPool(pool)
	defer db.Close()
	provider, err := goose.NewProvider(goose.DialectPostgres, db, migrations,
		goose.WithSessionLocker(locker), goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return nil, fmt.Errorf("migrations: %w", err)
	}
	if upToDate, err := compare(ctx, provider); upToDate || err != nil {
		return nil, translate(ctx, err)
	}
	results, err := provider.Up(ctx)
	var partial *goose.PartialError
	if errors.As(err, &partial) {
		results = partial.Applied
	}
	for _, r := range results {
		applied = append(applied, path.Base(r.Source.Path))
	}
	if err == nil { // a newer replica may have migrated further in the meantime
		_, err = compare(ctx, provider)
	}
	return applied, translate(ctx, err)
}

func compare(ctx context.Context, provider *goose.Provider) (upToDate bool, err error) {
	current, target, err := provider.GetVersions(ctx)
	if err != nil {
		return false, err
	}
	if current > target {
		return false, fmt.Errorf("%w: schema %d, this program knows up to %d", store.ErrNewerSchema, current, target)
	}
	return current == target, nil
}

// do runs a call on a connection, bounds its time and translates its error.
//
// The caller's context ends the wait for a connection. A statement that was
// sent is seen through: breaking it off would cost the connection, for seconds
// if a long document was on its way, and leave open whether it was carried out.
func (s *Store) do(ctx context.Context, call func(context.Context, *pgxpool.Conn) error) error {
	waiting, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	conn, err := s.pool.Acquire(waiting)
	if err != nil {
		return translate(ctx, err)
	}
	defer conn.Release()
	running, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.patience)
	defer cancel()
	return translate(ctx, call(running, conn))
}

// query reads the rows of a statement.
func (s *Store) query(ctx context.Context, query string, args []any, each func(tables.Row) error) error {
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		rows, err := c.Query(ctx, query, args...)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			if err := each(rows); err != nil {
				return err
			}
		}
		return rows.Err()
	})
}
