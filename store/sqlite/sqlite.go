// Package sqlite keeps assessments in a file with SQLite, so that the service
// runs without a database server. One process at a time should serve a file.
//
// Writes go through one connection, one after the other, each in a transaction
// that is on the disk before it is confirmed. Reads have connections of their
// own and never wait for a write.
package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"path"
	"path/filepath"
	"strings"
	"time"

	"github.com/pressly/goose/v3"
	_ "modernc.org/sqlite" // the driver
	sqlite3 "modernc.org/sqlite/lib"

	"levinward/store"
	"levinward/store/tables"
)

// Store is a store.Store in an SQLite file.
type Store struct {
	tables.Reads

	writer, reader *sql.DB
	// patience is how long a call waits for a connection, and then for its
	// answer, before the database counts as unavailable.
	patience time.Duration

	create, revise, appendRevision, tell *sql.Stmt // on writer
}

var _ store.Store = (*Store)(nil)

const readers = 8

// Open opens the file, or makes it, brings the schema up to date and returns a
// store. ErrUnavailable, ErrNewerSchema.
func Open(ctx context.Context, file string, migrations fs.FS) (*Store, error) {
	writer, err := connect(file, "&_txlock=immediate", 1)
	if err != nil {
		return nil, err
	}
	if _, err := migrate(ctx, writer, migrations); err != nil {
		return nil, errors.Join(err, writer.Close())
	}
	reader, err := connect(file, "&_pragma=query_only(1)", readers)
	if err != nil {
		return nil, errors.Join(err, writer.Close())
	}
	s := &Store{writer: writer, reader: reader, patience: 10 * time.Second}
	s.Reads = tables.Reads{Dialect: &dialect, Query: s.query}
	if err := s.prepare(ctx); err != nil {
		return nil, errors.Join(translate(ctx, err), s.Close())
	}
	return s, nil
}

// Migrate brings the schema of the file up to date and returns the names of
// the migrations that it applied, in order.
func Migrate(ctx context.Context, file string, migrations fs.FS) (applied []string, err error) {
	db, err := connect(file, "&_txlock=immediate", 1)
	if err != nil {
		return nil, err
	}
	applied, err = migrate(ctx, db, migrations)
	return applied, errors.Join(err, db.Close())
}

// Ping tells whether the database answers, by reading from it.
func (s *Store) Ping(ctx context.Context) error {
	return s.do(ctx, s.reader, func(ctx context.Context, c *sql.Conn) error {
		var n int
		return c.QueryRowContext(ctx, "SELECT count(*) FROM organisation").Scan(&n)
	})
}

// Close waits for running calls and closes the file.
func (s *Store) Close() error {
	// The last connection to close moves the log into the file, and a reader may not.
	return errors.Join(s.reader.Close(), s.writer.Close())
}

// connect sets up a pool. busy_timeout stands first, because the settings
// after it may themselves have to wait for another process.
func connect(file, extra string, connections int) (*sql.DB, error) {
	if file == "" || strings.Contains(file, ":memory:") {
		return nil, fmt.Errorf("database file %q: a file is needed", file)
	}
	keyOf := url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(file)}
	db, err := sql.Open("sqlite", keyOf.String()+"?_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)"+
		"&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)"+extra)
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	return db, nil
}

func migrate(ctx context.Context, db *sql.DB, migrations fs.FS) (applied []string, err error) {
	if err := settle(ctx, db); err != nil {
		return nil, translate(ctx, err)
	}
	provider, err := goose.NewProvider(goose.DialectSQLite3, db, migrations, goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return nil, fmt.Errorf("migrations: %w", err)
	}
	// Two processes may find the same migration missing. The one that comes
	// second fails, sees that the schema moved on, and looks again.
	for before := int64(-1); ; {
		current, target, err := provider.GetVersions(ctx)
		switch {
		case err != nil:
			return applied, translate(ctx, fmt.Errorf("migrations: %w", err))
		case current > target:
			return applied, fmt.Errorf("%w: schema %d, this program knows up to %d", store.ErrNewerSchema, current, target)
		case current == target:
			return applied, nil
		}
		results, err := provider.Up(ctx)
		var partial *goose.PartialError
		if errors.As(err, &partial) {
			results = partial.Applied
		}
		for _, r := range results {
			applied = append(applied, path.Base(r.Source.Path))
		}
		if err != nil && current == before {
			return applied, translate(ctx, fmt.Errorf("migrations: %w", err))
		}
		before = current
	}
}

// settle makes the first connection. While another process does the same to a
// new file, the change to WAL is refused at once, whatever busy_timeout says.
func settle(ctx context.Context, db *sql.DB) error {
	for try := 0; ; try++ {
		err := db.PingContext(ctx)
		if code(err)&0xff != sqlite3.SQLITE_BUSY || try == 100 {
			return err
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// do runs a call on a connection, bounds its time and translates its error.
//
// The caller's context ends the wait for a connection. A call that has one is
// seen through: breaking it off would cost the connection.
func (s *Store) do(ctx context.Context, db *sql.DB, call func(context.Context, *sql.Conn) error) error {
	waiting, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	conn, err := db.Conn(waiting)
	if err != nil {
		return translate(ctx, err)
	}
	defer conn.Close() // back to the pool
	running, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.patience)
	defer cancel()
	return translate(ctx, call(running, conn))
}

// query reads the rows of a statement.
func (s *Store) query(ctx context.Context, query string, args []any, each func(tables.Row) error) error {
	return s.do(ctx, s.reader, func(ctx context.Context, c *sql.Conn) error {
		rows, err := c.QueryContext(ctx, query, args...)
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

// write runs a call in a transaction that is kept only if it succeeds.
func (s *Store) write(ctx context.Context, call func(context.Context, *sql.Tx) error) error {
	return s.do(ctx, s.writer, func(ctx context.Context, c *sql.Conn) error {
		tx, err := c.BeginTx(ctx, nil)
		if err != nil {
			return err
		}
		if err := call(ctx, tx); err != nil {
			tx.Rollback() // call's error is the one to report
			return err
		}
		return tx.Commit()
	})
}
