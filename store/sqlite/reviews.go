package sqlite

import (
	"context"
	"database/sql"
	"errors"

	sqlite3 "modernc.org/sqlite/lib"

	"levinward/store"
	"levinward/store/tables"
)

// reviewsInUse reads the hash of the table in use, empty for none.
func reviewsInUse(ctx context.Context, c interface {
	QueryRowContext(context.Context, string, ...any) *sql.Row
}, owner string) (hash string, err error) {
	err = c.QueryRowContext(ctx, `SELECT hash FROM reviews_in_use WHERE organisation = $1`, owner).Scan(&hash)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return hash, err
}

// PutReviews stores a table of reviews and puts it into use.
func (s *Store) PutReviews(
	ctx context.Context, org store.Organisation, t store.ReviewsTable, expected *string,
) (store.ReviewsTable, error) {
	if err := t.Normalise(); err != nil {
		return store.ReviewsTable{}, err
	}
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.ReviewsTable{}, tables.NoOrganisation(org)
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		if expected != nil {
			hash, err := reviewsInUse(ctx, tx, owner)
			if err != nil {
				return err
			}
			if hash != *expected {
				return store.ErrReviewsChanged
			}
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO reviews (organisation, hash, stored_at, document) VALUES ($1, $2, $3, $4)
			ON CONFLICT (organisation, hash) DO UPDATE SET stored_at = excluded.stored_at`, owner, t.Hash, t.StoredAt.UnixMicro(), t.Document)
		if code(err) == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY {
			return tables.NoOrganisation(org)
		}
		if err == nil {
			_, err = tx.ExecContext(ctx, `INSERT INTO reviews_in_use (organisation, hash) VALUES ($1, $2)
				ON CONFLICT (organisation) DO UPDATE SET hash = excluded.hash`, owner, t.Hash)
		}
		if code(err) == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY {
			return tables.NoOrganisation(org)
		}
		return err
	})
	if err != nil {
		return store.ReviewsTable{}, err
	}
	return t, nil
}

// ReviewsInUse returns the hash of the table of reviews in use.
func (s *Store) ReviewsInUse(ctx context.Context, org store.Organisation) (hash string, err error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return "", nil
	}
	err = s.do(ctx, s.reader, func(ctx context.Context, c *sql.Conn) (err error) {
		hash, err = reviewsInUse(ctx, c, owner)
		return err
	})
	return hash, err
}

// Reviews returns a table of reviews.
func (s *Store) Reviews(ctx context.Context, org store.Organisation, hash string) (store.ReviewsTable, error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok || store.CheckHash(hash) != nil {
		return store.ReviewsTable{}, store.ErrNotFound
	}
	t := store.ReviewsTable{Hash: hash}
	err := s.do(ctx, s.reader, func(ctx context.Context, c *sql.Conn) error {
		var stored int64
		err := c.QueryRowContext(ctx, `SELECT stored_at, document FROM reviews
			WHERE organisation = $1 AND hash = $2`, owner, hash).Scan(&stored, &t.Document)
		t.StoredAt = fromMicros(stored)
		return tables.OrNotFound(err)
	})
	if err != nil {
		return store.ReviewsTable{}, err
	}
	return t, nil
}

// RemoveReviews puts no table of reviews into use.
func (s *Store) RemoveReviews(ctx context.Context, org store.Organisation, expected *string) error {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.ErrNotFound
	}
	return s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		hash, err := reviewsInUse(ctx, tx, owner)
		switch {
		case err != nil:
			return err
		case hash == "":
			return store.ErrNotFound
		case expected != nil && hash != *expected:
			return store.ErrReviewsChanged
		}
		_, err = tx.ExecContext(ctx, `DELETE FROM reviews_in_use WHERE organisation = $1`, owner)
		return err
	})
}
