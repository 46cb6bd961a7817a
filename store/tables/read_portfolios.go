package tables

import (
	"context"
	"time"

	"levinward/store"
)

// Portfolio returns one portfolio.
func (r *Reads) Portfolio(ctx context.Context, org store.Organisation, id string) (store.Portfolio, error) {
	return One(ctx, r, org, id, Portfolio, `SELECT `+Portfolios+` FROM portfolio WHERE organisation = $1 AND id = $2 AND `+Standing)
}

// ListPortfolios returns a page of portfolios.
func (r *Reads) ListPortfolios(ctx context.Context, org store.Organisation, limit int, cursor string) (store.PortfolioPage, error) {
	from, err := store.ListStart(&limit, cursor)
	owner, ok := store.CanonicalID(string(org))
	if err != nil || !ok {
		return store.PortfolioPage{}, err
	}
	query, args := r.fromNewest(`SELECT `+Portfolios+` FROM portfolio WHERE organisation = $1 AND `+Standing, []any{owner, limit + 1}, from)
	all, err := All(ctx, r, Portfolio, query, args...)
	if err != nil {
		return store.PortfolioPage{}, err
	}
	return store.NextPortfolioPage(all, limit), nil
}

// PortfolioTotals adds up the sites of a portfolio.
func (r *Reads) PortfolioTotals(ctx context.Context, org store.Organisation, id string, day time.Time) (store.Totals, error) {
	return One(ctx, r, org, id, func(row Row) (t store.Totals, err error) {
		err = row.Scan(&t.Sites, &t.NotAcceptable, &t.PersonsAtRisk, &t.ReviewDue)
		return t, err
	}, `SELECT count(s.assessment), count(*) FILTER (WHERE NOT s.acceptable),
			coalesce(sum(s.persons_at_risk), 0.0), count(*) FILTER (WHERE s.review_due <= $3)
		FROM portfolio p LEFT JOIN portfolio_site s ON s.organisation = p.organisation AND s.portfolio = p.id
		WHERE p.organisation = $1 AND p.id = $2 AND p.`+Standing+` GROUP BY p.id`, r.Dialect.Day(store.Date(day)))
}

// RemovalsToDo returns portfolios whose removal was broken off.
func (r *Reads) RemovalsToDo(ctx context.Context, org store.Organisation, due time.Time) ([]string, error) {
	return r.Lanes(ctx, org, `SELECT id FROM portfolio WHERE organisation = $1 AND removal_due <= $2`, due)
}

// Preset returns one preset.
func (r *Reads) Preset(ctx context.Context, org store.Organisation, kind, name string) (store.Preset, error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok || !Storable(kind, name) {
		return store.Preset{}, store.ErrNotFound
	}
	return First(ctx, r, Preset, `SELECT `+Presets+` FROM preset WHERE organisation = $1 AND kind = $2 AND name = $3`, owner, kind, name)
}

// Storable tells whether a preset could have this key at all.
func Storable(kind, name string) bool {
	p := store.Preset{Kind: kind, Name: name, Document: []byte("{}")}
	return p.Check() == nil
}

// Presets returns all presets.
func (r *Reads) Presets(ctx context.Context, org store.Organisation) ([]store.Preset, error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return nil, nil
	}
	return All(ctx, r, Preset, `SELECT `+Presets+` FROM preset WHERE organisation = $1 ORDER BY kind, name`+r.Dialect.ByBytes, owner)
}

// Site returns one site.
func (r *Reads) Site(ctx context.Context, org store.Organisation, portfolio, assessment string) (store.Site, error) {
	id, ok := store.CanonicalID(assessment)
	if !ok {
		return store.Site{}, store.ErrNotFound
	}
	return One(ctx, r, org, portfolio, Site,
		`SELECT `+Sites+` FROM portfolio_site s WHERE s.organisation = $1 AND s.portfolio = $2 AND s.assessment = $3`, id)
}
