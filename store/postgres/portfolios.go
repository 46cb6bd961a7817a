package postgres

import (
	"context"

	"github.com/jackc/pgx/v5/pgxpool"

	"levinward/store"
	"levinward/store/tables"
)

// long is how many times the usual patience a call has that touches all sites
// of a portfolio or many documents.
const long = 30

// doLong is do for such calls.
func (s *Store) doLong(ctx context.Context, call func(context.Context, *pgxpool.Conn) error) error {
	patient := *s
	patient.patience *= long
	return patient.do(ctx, call)
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
	err := s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		_, err := c.Exec(ctx, `INSERT INTO portfolio (organisation, id, created_at, name, description) VALUES ($1, $2, $3, $4, $5)`,
			owner, p.ID, p.CreatedAt, p.Name, p.Description)
		if violates(err, foreignKeyViolation) {
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
	switch constraint(err) {
	case "portfolio_pkey":
		return store.ErrExists
	case "portfolio_name":
		return store.ErrNameTaken
	}
	return err
}

// RenamePortfolio sets name and description.
func (s *Store) RenamePortfolio(ctx context.Context, org store.Organisation, id, name, description string) (store.Portfolio, error) {
	if err := store.CheckPortfolio(name, description); err != nil {
		return store.Portfolio{}, err
	}
	return s.portfolio(ctx, org, id, `UPDATE portfolio SET name = $3, description = $4
		WHERE organisation = $1 AND id = $2 AND `+tables.Standing+` RETURNING `+tables.Portfolios, name, description)
}

func (s *Store) portfolio(ctx context.Context, org store.Organisation, id, query string, args ...any) (p store.Portfolio, err error) {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return p, err
	}
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) (err error) {
		p, err = tables.Portfolio(c.QueryRow(ctx, query, key.And(args...)...))
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
	err := s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		err := c.QueryRow(ctx, `INSERT INTO preset (organisation, kind, name, version, document)
			SELECT $1, $2, $3, 1, $4 WHERE (SELECT count(*) FROM preset WHERE organisation = $1 AND (kind, name) <> ($2, $3)) < $5::bigint
			ON CONFLICT (organisation, kind, name) DO UPDATE SET version = preset.version + 1, document = excluded.document
			RETURNING version`, owner, p.Kind, p.Name, p.Document, store.MaxPresets).Scan(&p.Version)
		switch {
		case violates(err, foreignKeyViolation):
			return tables.NoOrganisation(org)
		case tables.OrNotFound(err) == store.ErrNotFound:
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
	if !ok || !tables.Storable(kind, name) {
		return store.ErrNotFound
	}
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		tag, err := c.Exec(ctx, `DELETE FROM preset WHERE organisation = $1 AND kind = $2 AND name = $3`, owner, kind, name)
		if err == nil && tag.RowsAffected() == 0 {
			return store.ErrNotFound
		}
		return err
	})
}
