package tables

import (
	"context"
	"time"

	"levinward/store"
)

// Reads are the calls of a store that both databases answer by the same statement.
type Reads struct {
	Dialect *Dialect
	// Query runs a statement and hands over its rows, one after the other.
	Query func(ctx context.Context, query string, args []any, each func(Row) error) error
}

// All reads all rows of a statement.
func All[T any](ctx context.Context, r *Reads, scan func(Row) (T, error), query string, args ...any) (all []T, err error) {
	err = r.Query(ctx, query, args, func(row Row) error {
		v, err := scan(row)
		all = append(all, v)
		return err
	})
	if err != nil {
		return nil, err
	}
	return all, nil
}

// First reads one row; ErrNotFound.
func First[T any](ctx context.Context, r *Reads, scan func(Row) (T, error), query string, args ...any) (T, error) {
	all, err := All(ctx, r, scan, query, args...)
	if err == nil && len(all) > 0 {
		return all[0], nil
	}
	if err == nil {
		err = store.ErrNotFound
	}
	var none T
	return none, err
}

// One reads one row; $1 and $2 are organisation and id. ErrNotFound.
func One[T any](ctx context.Context, r *Reads, org store.Organisation, id string, scan func(Row) (T, error), query string,
	args ...any) (T, error) {
	key, err := KeyOf(org, id)
	if err != nil {
		var none T
		return none, err
	}
	return First(ctx, r, scan, query, key.And(args...)...)
}

// Value reads a row of one column.
func Value[T any](row Row) (v T, err error) {
	err = row.Scan(&v)
	return v, err
}

// Lanes reads ids of an organisation that have something due at a time; they are $1 and $2.
func (r *Reads) Lanes(ctx context.Context, org store.Organisation, query string, due time.Time) ([]string, error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return nil, nil
	}
	return All(ctx, r, Value[string], query, owner, r.Dialect.Moment(due))
}

// fromNewest continues a statement, whose $2 is the limit, from a place in a list from the newest to the oldest.
func (r *Reads) fromNewest(query string, args []any, from *store.Position) (string, []any) {
	if from != nil {
		query += ` AND (created_at, id) < ($3, $4)`
		args = append(args, r.Dialect.Moment(from.FirstCreatedAt), from.ID)
	}
	return query + ` ORDER BY created_at DESC, id DESC LIMIT $2`, args
}
