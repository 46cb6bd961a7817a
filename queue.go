package main

import (
	"context"
	"database/sql"
	"net/url"
	"path/filepath"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/riverdriver/riversqlite"

	"levinward/api/jobs"
)

// queueLock keeps two processes from making the tables of the queue at once. The number means nothing.
const queueLock = 7_402_118_536

// queueConnections is what the queue needs beside the store: fetching, completing, listening, electing.
const queueConnections = 6

// migrateQueue brings the tables of the job queue up to date.
func migrateQueue(ctx context.Context, dsn string) ([]string, error) {
	if !isPostgres(dsn) {
		db, err := queueFile(dsn)
		if err != nil {
			return nil, err
		}
		defer db.Close()
		return jobs.Migrate(ctx, riversqlite.New(db))
	}
	pool, err := queuePool(ctx, dsn)
	if err != nil {
		return nil, err
	}
	defer pool.Close()
	lock, err := pool.Acquire(ctx)
	if err != nil {
		return nil, err
	}
	defer lock.Release()
	if _, err := lock.Exec(ctx, `SELECT pg_advisory_lock($1)`, int64(queueLock)); err != nil {
		return nil, err
	}
	defer lock.Exec(context.WithoutCancel(ctx), `SELECT pg_advisory_unlock($1)`, int64(queueLock))
	return jobs.Migrate(ctx, riverpgxv5.New(pool))
}

// startJobs begins the background work on a database; stop waits for chunks under way.
func startJobs(ctx context.Context, dsn string, j *jobs.Jobs) (stop func(context.Context) error, err error) {
	if _, err := migrateQueue(ctx, dsn); err != nil {
		return nil, err
	}
	if !isPostgres(dsn) {
		db, err := queueFile(dsn)
		if err != nil {
			return nil, err
		}
		stop, err := jobs.Start(ctx, j, riversqlite.New(db))
		return closing(stop, err, func() { db.Close() })
	}
	pool, err := queuePool(ctx, dsn)
	if err != nil {
		return nil, err
	}
	stop, err = jobs.Start(ctx, j, riverpgxv5.New(pool))
	return closing(stop, err, pool.Close)
}

// closing closes what the queue worked with when it stops, or when it did not start.
func closing(stop func(context.Context) error, err error, closeAll func()) (func(context.Context) error, error) {
	if err != nil {
		closeAll()
		return nil, err
	}
	return func(ctx context.Context) error {
		defer closeAll()
		return stop(ctx)
	}, nil
}

// queuePool is a pool of the queue's own: what it waits for never keeps a request waiting.
func queuePool(ctx context.Context, dsn string) (*pgxpool.Pool, error) {
	config, err := pgxpool.ParseConfig(dsn)
	if err != nil {
		return nil, err
	}
	config.MaxConns = queueConnections
	return pgxpool.NewWithConfig(ctx, config)
}

// queueFile opens the file of the store. The queue takes turns with the store
// in writing, and its own statements come one after the other.
func queueFile(file string) (*sql.DB, error) {
	address := url.URL{Scheme: "file", OmitHost: true, Path: filepath.ToSlash(file)}
	db, err := sql.Open("sqlite", address.String()+"?_pragma=busy_timeout(10000)&_pragma=journal_mode(WAL)&_pragma=synchronous(NORMAL)&_txlock=immediate")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	return db, nil
}
