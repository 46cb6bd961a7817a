package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"

	driversqlite "modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"levinward/store"
)

// translate turns an error of the driver into one of package store where there
// is one for it. ctx is the caller's, not the one bounded by our patience.
func translate(ctx context.Context, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(ctx.Err(), context.Canceled):
		return fmt.Errorf("%w: %w", context.Canceled, err)
	case unavailable(err):
		return fmt.Errorf("%w: %w", store.ErrUnavailable, err)
	}
	return err
}

func unavailable(err error) bool {
	switch code(err) & 0xff { // the primary code
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL, sqlite3.SQLITE_CANTOPEN,
		sqlite3.SQLITE_READONLY, sqlite3.SQLITE_NOMEM, sqlite3.SQLITE_PROTOCOL, sqlite3.SQLITE_INTERRUPT:
		return true
	}
	return errors.Is(err, context.DeadlineExceeded) || errors.Is(err, sql.ErrConnDone) || errors.Is(err, driver.ErrBadConn) ||
		err.Error() == "sql: database is closed" // not exported
}

// code is SQLite's extended result code, 0 if the error is none of SQLite's.
func code(err error) int {
	var e *driversqlite.Error
	if errors.As(err, &e) {
		return e.Code()
	}
	return 0
}
