package sqlite

import (
	"context"
	"database/sql"
	"errors"

	sqlite3 "modernc.org/sqlite/lib"

	"levinward/store"
	"levinward/store/tables"
)

// long is how many times the usual patience a call has that touches all sites
// of a portfolio or many documents.
const long = 30

// writeLong is write for such calls.
func (s *Store) writeLong(ctx context.Context, call func(context.Context, *sql.Tx) error) error {
	patient := *s
	patient.patience *= long
	return patient.write(ctx, call)
}

// CreatePortfolio stores an empty portfolio.
func (s *Store) CreatePortfolio(ctx context.Context, org store.Organisation, p store.Portfolio) (store.Portfolio, error) {
	if err := p.Normalise(); err != nil {
		return store.Portfolio{}, err
	}
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.Portfolio{}, tables.NoOrganisation(org)
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO portfolio (organisation, id, created_at, name, description) VALUES ($1, $2, $3, $4, $5)`,
			owner, p.ID, p.CreatedAt.UnixMicro(), p.Name, p.Description)
		if code(err) == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY {
			return tables.NoOrganisation(org)
		}
		return taken(err)
	})
	if err != nil {
		return store.Portfolio{}, err
	}
	return p, nil
}

// taken tells which of the two keys of a portfolio was taken.
func taken(err error) error {
	switch code(err) {
	case sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
		return store.ErrExists
	case sqlite3.SQLITE_CONSTRAINT_UNIQUE:
		return store.ErrNameTaken
	}
	return err
}

// scanAll reads rows to their end and closes them.
func scanAll[T any](rows *sql.Rows, scan func(tables.Row) (T, error)) (all []T, err error) {
	defer rows.Close()
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, err
		}
		all = append(all, v)
	}
	return all, rows.Err()
}

// RenamePortfolio sets name and description.
func (s *Store) RenamePortfolio(ctx context.Context, org store.Organisation, id, name, description string) (p store.Portfolio, err error) {
	if err := store.CheckPortfolio(name, description); err != nil {
		return p, err
	}
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return p, err
	}
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) (err error) {
		p, err = tables.Portfolio(tx.QueryRowContext(ctx, `UPDATE portfolio SET name = $3, description = $4
			WHERE organisation = $1 AND id = $2 AND `+tables.Standing+` RETURNING `+tables.Portfolios, key.And(name, description)...))
		return taken(err)
	})
	if err != nil {
		return store.Portfolio{}, err
	}
	return p, nil
}

// PutPreset stores a preset or its next version.
func (s *Store) PutPreset(ctx context.Context, org store.Organisation, p store.Preset) (store.Preset, error) {
	if err := p.Check(); err != nil {
		return store.Preset{}, err
	}
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.Preset{}, tables.NoOrganisation(org)
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		err := tx.QueryRowContext(ctx, `INSERT INTO preset (organisation, kind, name, version, document)
			SELECT $1, $2, $3, 1, $4 WHERE (SELECT count(*) FROM preset WHERE organisation = $1 AND (kind, name) <> ($2, $3)) < $5
			ON CONFLICT (organisation, kind, name) DO UPDATE SET version = version + 1, document = excluded.document
			RETURNING version`, owner, p.Kind, p.Name, p.Document, store.MaxPresets).Scan(&p.Version)
		switch {
		case code(err) == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
			return tables.NoOrganisation(org)
		case errors.Is(err, sql.ErrNoRows):
			return store.ErrTooManyPresets
		}
		return err
	})
	if err != nil {
		return store.Preset{}, err
	}
	return p, nil
}

// DeletePreset removes one preset.
func (s *Store) DeletePreset(ctx context.Context, org store.Organisation, kind, name string) error {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.ErrNotFound
	}
	return s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		deleted, err := affected(tx.ExecContext(ctx, `DELETE FROM preset WHERE organisation = $1 AND kind = $2 AND name = $3`, owner, kind, name))
		if err == nil && !deleted {
			return store.ErrNotFound
		}
		return err
	})
}
