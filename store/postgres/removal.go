package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"levinward/store"
	"levinward/store/tables"
)

// BeginRemoval marks a portfolio as being removed.
func (s *Store) BeginRemoval(ctx context.Context, org store.Organisation, id string) error {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return err
	}
	// Chunks under way end first: each holds a share of the portfolio.
	return s.inTransaction(ctx, func(ctx context.Context, tx pgx.Tx) error { return dialect.BeginRemoval(ctx, transaction(tx), key) })
}

// RemovePart takes away a part of a portfolio that is being removed.
func (s *Store) RemovePart(ctx context.Context, org store.Organisation, id string) (more bool, err error) {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return false, nil
	}
	err = s.inTransaction(ctx, func(ctx context.Context, tx pgx.Tx) (err error) {
		more, err = dialect.RemovePart(ctx, transaction(tx), key)
		return err
	})
	return more, err
}

// inTransaction runs a long call in a transaction.
func (s *Store) inTransaction(ctx context.Context, call func(context.Context, pgx.Tx) error) error {
	return s.doLong(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		return pgx.BeginFunc(ctx, c, func(tx pgx.Tx) error { return call(ctx, tx) })
	})
}

func transaction(tx pgx.Tx) tables.Transaction {
	return tables.Transaction{
		Exec: func(ctx context.Context, statement string, args ...any) (bool, error) {
			tag, err := tx.Exec(ctx, statement, args...)
			return tag.RowsAffected() > 0, err
		},
		DeleteAssessments: func(ctx context.Context, key tables.Key, condition string) (bool, error) {
			var deleted int
			err := tx.QueryRow(ctx, deleteWhere(`organisation = $1 AND `+condition), key.And()...).Scan(&deleted)
			return deleted > 0, err
		},
	}
}
