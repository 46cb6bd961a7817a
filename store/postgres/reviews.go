package postgres

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"levinward/store"
	"levinward/store/tables"
)

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
	err := s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		return pgx.BeginFunc(ctx, c, func(tx pgx.Tx) error { return putReviews(ctx, tx, owner, &t, expected) })
	})
	if violates(err, foreignKeyViolation) {
		err = tables.NoOrganisation(org)
	}
	if err != nil {
		return store.ReviewsTable{}, err
	}
	return t, nil
}

func putReviews(ctx context.Context, tx pgx.Tx, owner string, t *store.ReviewsTable, expected *string) error {
	if _, err := tx.Exec(ctx, `INSERT INTO reviews (organisation, hash, stored_at, document) VALUES ($1, $2, $3, $4)
		ON CONFLICT (organisation, hash) DO UPDATE SET stored_at = excluded.stored_at`, owner, t.Hash, t.StoredAt, t.Document); err != nil {
		return err
	}
	// The row that is there, or is being made, decides: of many that expect the same, one succeeds.
	const (
		always = `INSERT INTO reviews_in_use (organisation, hash) VALUES ($1, $2) ON CONFLICT (organisation) DO UPDATE SET hash = excluded.hash`
		none   = `INSERT INTO reviews_in_use (organisation, hash) VALUES ($1, $2) ON CONFLICT (organisation) DO NOTHING`
		other  = `UPDATE reviews_in_use SET hash = $2 WHERE organisation = $1 AND hash = $3`
	)
	query, args := always, []any{owner, t.Hash}
	switch {
	case expected == nil:
	case *expected == "":
		query = none
	default:
		query, args = other, append(args, *expected)
	}
	changed, err := tx.Exec(ctx, query, args...)
	if err == nil && changed.RowsAffected() == 0 {
		return store.ErrReviewsChanged
	}
	return err
}

// ReviewsInUse returns the hash of the table of reviews in use.
func (s *Store) ReviewsInUse(ctx context.Context, org store.Organisation) (hash string, err error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return "", nil
	}
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		err := c.QueryRow(ctx, `SELECT hash FROM reviews_in_use WHERE organisation = $1`, owner).Scan(&hash)
		if errors.Is(err, pgx.ErrNoRows) {
			return nil
		}
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
	err := s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		return tables.OrNotFound(c.QueryRow(ctx, `SELECT stored_at, document FROM reviews
			WHERE organisation = $1 AND hash = $2`, owner, hash).Scan(&t.StoredAt, &t.Document))
	})
	if err != nil {
		return store.ReviewsTable{}, err
	}
	t.StoredAt = t.StoredAt.UTC()
	return t, nil
}

// RemoveReviews puts no table of reviews into use.
func (s *Store) RemoveReviews(ctx context.Context, org store.Organisation, expected *string) error {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.ErrNotFound
	}
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		return pgx.BeginFunc(ctx, c, func(tx pgx.Tx) error {
			var hash string
			err := tx.QueryRow(ctx, `SELECT hash FROM reviews_in_use WHERE organisation = $1 FOR UPDATE`, owner).Scan(&hash)
			switch {
			case err != nil:
				return tables.OrNotFound(err)
			case expected != nil && hash != *expected:
				return store.ErrReviewsChanged
			}
			_, err = tx.Exec(ctx, `DELETE FROM reviews_in_use WHERE organisation = $1`, owner)
			return err
		})
	})
}
