package sqlite

import (
	"context"
	"database/sql"

	"levinward/store"
	"levinward/store/tables"
)

// BeginRemoval marks a portfolio as being removed.
func (s *Store) BeginRemoval(ctx context.Context, org store.Organisation, id string) error {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return err
	}
	return s.writeLong(ctx, func(ctx context.Context, tx *sql.Tx) error { return dialect.BeginRemoval(ctx, transaction(tx), key) })
}

// RemovePart takes away a part of a portfolio that is being removed.
func (s *Store) RemovePart(ctx context.Context, org store.Organisation, id string) (more bool, err error) {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return false, nil
	}
	err = s.writeLong(ctx, func(ctx context.Context, tx *sql.Tx) (err error) {
		more, err = dialect.RemovePart(ctx, transaction(tx), key)
		return err
	})
	return more, err
}

func transaction(tx *sql.Tx) tables.Transaction {
	return tables.Transaction{
		Exec: func(ctx context.Context, statement string, args ...any) (bool, error) {
			return affected(tx.ExecContext(ctx, statement, args...))
		},
		DeleteAssessments: func(ctx context.Context, key tables.Key, condition string) (bool, error) {
			return deleteWhere(ctx, tx, key, condition)
		},
	}
}
