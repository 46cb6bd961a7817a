package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
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

// Portfolio returns one portfolio.
func (s *Store) Portfolio(ctx context.Context, org store.Organisation, id string) (store.Portfolio, error) {
	return s.portfolio(ctx, org, id, `SELECT `+tables.Portfolios+` FROM portfolio WHERE organisation = $1 AND id = $2 AND `+tables.Standing)
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

// ListPortfolios returns a page of portfolios.
func (s *Store) ListPortfolios(ctx context.Context, org store.Organisation, limit int, cursor string) (store.PortfolioPage, error) {
	from, err := store.ListStart(&limit, cursor)
	if err != nil {
		return store.PortfolioPage{}, err
	}
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.PortfolioPage{}, nil
	}
	query, args := `SELECT `+tables.Portfolios+` FROM portfolio WHERE organisation = $1 AND `+tables.Standing, []any{owner, limit + 1}
	if from != nil {
		query += ` AND (created_at, id) < ($3, $4)`
		args = append(args, from.FirstCreatedAt, from.ID)
	}
	all, err := collect(ctx, s, tables.Portfolio, query+` ORDER BY created_at DESC, id DESC LIMIT $2`, args...)
	if err != nil {
		return store.PortfolioPage{}, err
	}
	return store.NextPortfolioPage(all, limit), nil
}

// collect reads all rows of a query.
func collect[T any](ctx context.Context, s *Store, scan func(tables.Row) (T, error), query string, args ...any) (all []T, err error) {
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		rows, err := c.Query(ctx, query, args...)
		if err != nil {
			return err
		}
		all, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (T, error) { return scan(row) })
		return err
	})
	return all, err
}

// PortfolioTotals adds up the sites of a portfolio.
func (s *Store) PortfolioTotals(ctx context.Context, org store.Organisation, id string, day time.Time) (t store.Totals, err error) {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return t, err
	}
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		return tables.OrNotFound(c.QueryRow(ctx, `SELECT count(s.assessment), count(*) FILTER (WHERE NOT s.acceptable),
				coalesce(sum(s.persons_at_risk), 0), count(*) FILTER (WHERE s.review_due <= $3)
			FROM portfolio p LEFT JOIN portfolio_site s ON s.organisation = p.organisation AND s.portfolio = p.id
			WHERE p.organisation = $1 AND p.id = $2 AND p.`+tables.Standing+` GROUP BY p.id`, key.And(store.Date(day))...).
			Scan(&t.Sites, &t.NotAcceptable, &t.PersonsAtRisk, &t.ReviewDue))
	})
	return t, err
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

// Preset returns one preset.
func (s *Store) Preset(ctx context.Context, org store.Organisation, kind, name string) (p store.Preset, err error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok || !storable(kind, name) {
		return p, store.ErrNotFound
	}
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) (err error) {
		p, err = tables.Preset(c.QueryRow(ctx, `SELECT kind, name, version, document FROM preset
			WHERE organisation = $1 AND kind = $2 AND name = $3`, owner, kind, name))
		return err
	})
	return p, err
}

// Presets returns all presets.
func (s *Store) Presets(ctx context.Context, org store.Organisation) ([]store.Preset, error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return nil, nil
	}
	return collect(ctx, s, tables.Preset, `SELECT kind, name, version, document FROM preset
		WHERE organisation = $1 ORDER BY kind, name COLLATE "C"`, owner)
}

// DeletePreset removes one preset.
func (s *Store) DeletePreset(ctx context.Context, org store.Organisation, kind, name string) error {
	owner, ok := store.CanonicalID(string(org))
	if !ok || !storable(kind, name) {
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

// storable tells whether a preset could have this key at all.
func storable(kind, name string) bool {
	p := store.Preset{Kind: kind, Name: name, Document: []byte("{}")}
	return p.Check() == nil
}
