package store

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// MaxReviews bounds the document of a table of reviews, in bytes.
const MaxReviews = 4 << 20

// ReviewsTable is what readers of the printed standards say of table values and formulas.
type ReviewsTable struct {
	Hash     string    // of the document; results name the table by it
	StoredAt time.Time // the last time it was put into use; kept in UTC to the microsecond
	Document []byte    // comes back byte for byte
}

// ReviewsLibrary keeps tables of reviews, at most one of them in use. A table stays when another follows it. The rules of Store hold.
type ReviewsLibrary interface {
	// PutReviews stores a table and puts it into use. With expected, the hash of the table in use or empty for none,
	// nothing is stored where another is in use; ErrReviewsChanged.
	PutReviews(ctx context.Context, org Organisation, t ReviewsTable, expected *string) (ReviewsTable, error)
	// ReviewsInUse returns the hash of the table in use; empty where there is none.
	ReviewsInUse(ctx context.Context, org Organisation) (string, error)
	// Reviews returns a table that is or was in use; ErrNotFound.
	Reviews(ctx context.Context, org Organisation, hash string) (ReviewsTable, error)
	// RemoveReviews puts no table into use; ErrNotFound where none was, ErrReviewsChanged as in PutReviews.
	RemoveReviews(ctx context.Context, org Organisation, expected *string) error
}

// Normalise brings a table into the form in which both databases keep it and refuses, with every fault named, what one
// of them could not keep unchanged. The error is ErrInvalid.
func (t *ReviewsTable) Normalise() error {
	t.StoredAt = t.StoredAt.UTC().Truncate(time.Microsecond)
	faults := []error{checkText("hash of the reviews", t.Hash, MaxKey)}
	if t.Hash == "" {
		faults = append(faults, errors.New("hash of the reviews: empty"))
	}
	if n := len(t.Document); n == 0 || n > MaxReviews {
		faults = append(faults, fmt.Errorf("document: %d bytes, 1 to %d are allowed", n, MaxReviews))
	}
	if !validTime(t.StoredAt) {
		faults = append(faults, errors.New("time: not in the years 1 to 9999"))
	}
	return invalid(faults...)
}
