package sqlite

import (
	"context"

	"levinward/store"
	"levinward/store/tables"
)

// List returns a page of assessments.
func (s *Store) List(ctx context.Context, org store.Organisation, f store.Filter) (store.Page, error) {
	if err := f.Normalise(); err != nil {
		return store.Page{}, err
	}
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.Page{}, nil
	}
	query, args, err := dialect.List(owner, f)
	if err != nil {
		return store.Page{}, err
	}
	entries, err := collect(ctx, s, tables.Entry, query, args...)
	if err != nil {
		return store.Page{}, err
	}
	return store.NextPage(entries, f.Limit), nil
}
