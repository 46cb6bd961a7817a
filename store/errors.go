package store

import (
	"errors"
	"fmt"
)

// What can go wrong, to be asked for with errors.Is. The text of an error is
// for the log; it may name the database.
var (
	ErrNotFound  = errors.New("not found")
	ErrExists    = errors.New("a record with this id exists")
	ErrConflict  = errors.New("another revision is the newest")
	ErrKeyReused = errors.New("idempotency key was used with another body")
	ErrBadCursor = errors.New("cursor is malformed")
	ErrInvalid   = errors.New("cannot be stored")
	// ErrReviewsChanged: other reviews are in use than the caller expected.
	ErrReviewsChanged = errors.New("other reviews are in use")
	ErrNewerSchema    = errors.New("the database was migrated by a newer version of the program")

	// ErrUnavailable: the database is away or too busy. The same call may
	// succeed later, without reopening the store.
	ErrUnavailable = errors.New("database is unavailable")
)

// ConflictError is the ErrConflict of Store.Revise.
type ConflictError struct {
	Current int // the newest revision
}

func (e *ConflictError) Error() string {
	return fmt.Sprintf("%v: it is %d", ErrConflict, e.Current)
}

// Is makes errors.Is(err, ErrConflict) true.
func (e *ConflictError) Is(target error) bool { return target == ErrConflict }
