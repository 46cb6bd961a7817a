package postgres

import (
	"context"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"levinward/store"
)

const siteColumns = `s.assessment, s.reference, s.name, s.latitude, s.longitude, s.revision, s.ground_flashes, s.density_origin, s.density_map,
	s.worst_ratio, s.loss_of_human_life, s.excess, s.persons_at_risk, s.acceptable, s.needed_protection, s.required_devices,
	s.review_due, s.engine, s.input_hash, s.created_at, s.updated_at`

// scanSite reads siteColumns and then what more there is.
func scanSite(row pgx.Row, more ...any) (s store.Site, err error) {
	err = row.Scan(append([]any{&s.Assessment, &s.Reference, &s.Name, &s.Latitude, &s.Longitude, &s.Revision, &s.GroundFlashes, &s.DensityOrigin, &s.DensityMap,
		&s.WorstRatio, &s.LossOfHumanLife, &s.Excess, &s.PersonsAtRisk, &s.Acceptable, &s.NeededProtection, &s.RequiredDevices,
		&s.ReviewDue, &s.Engine, &s.InputHash, &s.CreatedAt, &s.UpdatedAt}, more...)...)
	s.CreatedAt, s.UpdatedAt = s.CreatedAt.UTC(), s.UpdatedAt.UTC()
	return s, orNotFound(err)
}

func onlySite(row pgx.Row) (store.Site, error) { return scanSite(row) }

// Site returns one site.
func (s *Store) Site(ctx context.Context, org store.Organisation, portfolio, assessment string) (site store.Site, err error) {
	key, err := address(org, portfolio)
	id, ok := store.CanonicalID(assessment)
	if err != nil || !ok {
		return site, store.ErrNotFound
	}
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) (err error) {
		site, err = scanSite(c.QueryRow(ctx, `SELECT `+siteColumns+` FROM portfolio_site s
			WHERE s.organisation = $1 AND s.portfolio = $2 AND s.assessment = $3`, append(key, id)...))
		return err
	})
	return site, err
}

// ListSites returns a page of sites.
func (s *Store) ListSites(ctx context.Context, org store.Organisation, portfolio string, f store.SiteFilter) (store.SitePage, error) {
	after, err := f.Normalise()
	if err != nil {
		return store.SitePage{}, err
	}
	key, err := address(org, portfolio)
	if err != nil {
		return store.SitePage{}, nil
	}
	query, args := sitesQuery(key, f, after)
	sites, err := collect(ctx, s, onlySite, query, args...)
	if err != nil {
		return store.SitePage{}, err
	}
	return store.NextSitePage(sites, f.Rank, f.Limit), nil
}

func sitesQuery(key []any, f store.SiteFilter, after *store.SitePosition) (query string, args []any) {
	args = key
	arg := func(v any) string {
		args = append(args, v)
		return fmt.Sprintf("$%d", len(args))
	}
	where := []string{"s.organisation = $1", "s.portfolio = $2"}
	column, direction, beyond := "s."+string(f.Rank), " DESC", "<"
	if f.Rank == store.RankName {
		column, direction, beyond = "s.name_folded", "", ">"
	}
	if after != nil {
		var value any = after.Value
		if f.Rank == store.RankName {
			value = after.Name
		}
		where = append(where, fmt.Sprintf("(%s, s.assessment) %s (%s, %s)", column, beyond, arg(value), arg(after.Assessment)))
	}
	if a := f.Acceptable; a != nil {
		where = append(where, "s.acceptable = "+arg(*a))
		if *a { // what follows from it leads the index past all others
			switch f.Rank {
			case store.RankWorstRatio:
				where = append(where, "s.worst_ratio <= 1")
			case store.RankExcess, store.RankPersonsAtRisk:
				where = append(where, column+" = 0")
			}
		}
	}
	if f.Query != "" {
		q := arg(f.Query)
		where = append(where, fmt.Sprintf("(strpos(s.name_folded, %s) > 0 OR strpos(s.reference_folded, %s) > 0)", q, q))
	}
	if b := f.BBox; b != nil {
		where = append(where, fmt.Sprintf("s.latitude BETWEEN %s AND %s", arg(b.South), arg(b.North)))
		var spans []string
		for _, span := range b.Spans() {
			spans = append(spans, fmt.Sprintf("s.longitude BETWEEN %s AND %s", arg(span.West), arg(span.East)))
		}
		where = append(where, "("+strings.Join(spans, " OR ")+")")
	}
	if f.DueOn != nil {
		where = append(where, fmt.Sprintf("(s.review_due <= %s) = %s", arg(*f.DueOn), arg(f.Due)))
	}
	return fmt.Sprintf(`SELECT %s FROM portfolio_site s WHERE %s ORDER BY %s%s, s.assessment%s LIMIT %s`,
		siteColumns, strings.Join(where, " AND "), column, direction, direction, arg(f.Limit+1)), args
}

// ChangedSites returns the sites that a work changed.
func (s *Store) ChangedSites(ctx context.Context, org store.Organisation, portfolio string, c store.Changes) (store.SitePage, error) {
	after, err := c.Normalise()
	if err != nil {
		return store.SitePage{}, err
	}
	key, err := address(org, portfolio)
	work, ok := store.CanonicalID(c.Work)
	if err != nil || !ok {
		return store.SitePage{}, nil
	}
	query := `SELECT ` + siteColumns + `, s.before FROM portfolio_site s
		WHERE s.organisation = $1 AND s.portfolio = $2 AND s.changed_by = $3 AND s.before IS NOT NULL`
	args := append(key, work, c.Limit+1)
	if after != "" {
		query += ` AND s.assessment > $5`
		args = append(args, after)
	}
	sites, err := collect(ctx, s, func(row pgx.Row) (store.Site, error) {
		var before []byte
		site, err := scanSite(row, &before)
		if err == nil {
			site.Before, err = store.DecodeBefore(site.Assessment, before)
		}
		return site, err
	}, query+` ORDER BY s.assessment LIMIT $4`, args...)
	if err != nil {
		return store.SitePage{}, err
	}
	return store.NextChangesPage(sites, c.Limit), nil
}

// SitesByReference returns the sites that have one of the references, looked up one by one, so that
// no plan can be to read the whole portfolio.
func (s *Store) SitesByReference(ctx context.Context, org store.Organisation, portfolio string, references []string) ([]store.Site, error) {
	key, err := address(org, portfolio)
	if err != nil || len(references) == 0 {
		return nil, nil
	}
	return collect(ctx, s, onlySite, `SELECT `+siteColumns+` FROM unnest($3::text[]) AS t (reference)
		JOIN LATERAL (SELECT * FROM portfolio_site s
			WHERE s.organisation = $1 AND s.portfolio = $2 AND s.reference = t.reference AND s.reference <> '' LIMIT 1) AS s ON true`,
		append(key, references)...)
}

// SiteInputs returns sites with their inputs, looked up like those of SitesByReference.
func (s *Store) SiteInputs(ctx context.Context, org store.Organisation, portfolio string, assessments []string) ([]store.SiteInput, error) {
	key, err := address(org, portfolio)
	ids := canonicalIDs(assessments)
	if err != nil || len(ids) == 0 {
		return nil, nil
	}
	return collect(ctx, s, func(row pgx.Row) (in store.SiteInput, err error) {
		in.Site, err = scanSite(row, &in.Input)
		return in, err
	}, `SELECT `+siteColumns+`, r.input FROM unnest($3::uuid[]) AS t (id)
		JOIN LATERAL (SELECT * FROM portfolio_site s
			WHERE s.organisation = $1 AND s.assessment = t.id LIMIT 1) AS s ON s.portfolio = $2
		JOIN LATERAL (SELECT r.input FROM revision r
			WHERE r.organisation = s.organisation AND r.assessment = s.assessment AND r.revision = s.revision LIMIT 1) AS r ON true`,
		append(key, ids)...)
}

// canonicalIDs leaves out what is nobody's id.
func canonicalIDs(all []string) []string {
	ids := make([]string, 0, len(all))
	for _, id := range all {
		if c, ok := store.CanonicalID(id); ok {
			ids = append(ids, c)
		}
	}
	return ids
}

// SitesToAssess returns ids of sites to be assessed again.
func (s *Store) SitesToAssess(ctx context.Context, org store.Organisation, portfolio string, r store.Reassess, after string, limit int) ([]string, error) {
	key, err := address(org, portfolio)
	if err != nil {
		return nil, nil
	}
	query, args := `SELECT s.assessment FROM portfolio_site s WHERE s.organisation = $1 AND s.portfolio = $2`, append(key, limit)
	if r.Due {
		query += ` AND (s.review_due <= $4 OR s.engine <> $5 OR s.density_map = ANY($6::text[]))`
		args = append(args, store.Date(r.On), r.Engine, r.Maps)
	}
	if after != "" {
		query += fmt.Sprintf(` AND s.assessment > $%d`, len(args)+1)
		args = append(args, after)
	}
	return collect(ctx, s, func(row pgx.Row) (id string, err error) {
		err = row.Scan(&id)
		return id, err
	}, query+` ORDER BY s.assessment LIMIT $3`, args...)
}

// siteNames are the columns of a new row, in the order of siteRow.
var siteNames = []string{"organisation", "portfolio", "assessment", "reference", "name", "reference_folded", "name_folded", "latitude", "longitude", "revision",
	"ground_flashes", "density_origin", "density_map", "worst_ratio", "loss_of_human_life", "excess", "persons_at_risk", "acceptable",
	"needed_protection", "required_devices", "review_due", "engine", "input_hash", "created_at", "updated_at", "changed_by"}

func siteRow(owner, portfolio, work [16]byte, r *store.Record) []any {
	s := r.Summary
	return []any{owner, portfolio, binaryID(r.ID), r.Reference, r.Name, store.Fold(r.Reference), store.Fold(r.Name), r.Latitude, r.Longitude, r.Revision,
		s.GroundFlashes, s.DensityOrigin, s.DensityMap, s.WorstRatio, s.LossOfHumanLife, s.Excess, s.PersonsAtRisk, s.Acceptable,
		s.NeededProtection, s.RequiredDevices, r.ReviewDue, r.Engine, r.InputHash, r.CreatedAt, r.CreatedAt, work}
}

// changeSite brings the row of a site to its newest revision; an assessment without one is no site.
const changeSite = `
UPDATE portfolio_site SET reference = $3, name = $4, reference_folded = $5, name_folded = $6, latitude = $7, longitude = $8, revision = $9,
	ground_flashes = $10, density_origin = $11, density_map = $12, worst_ratio = $13, loss_of_human_life = $14, excess = $15,
	persons_at_risk = $16, acceptable = $17, needed_protection = $18, required_devices = $19, review_due = $20, engine = $21,
	input_hash = $22, updated_at = $23, changed_by = $24, before = $25
WHERE organisation = $1 AND assessment = $2`

// queueSite adds a change of the row of a site. Without a work, nothing tells of before.
func queueSite(b *pgx.Batch, owner string, r *store.Record, work *string, before []byte) {
	s := r.Summary
	b.Queue(changeSite, owner, r.ID, r.Reference, r.Name, store.Fold(r.Reference), store.Fold(r.Name), r.Latitude, r.Longitude, r.Revision,
		s.GroundFlashes, s.DensityOrigin, s.DensityMap, s.WorstRatio, s.LossOfHumanLife, s.Excess,
		s.PersonsAtRisk, s.Acceptable, s.NeededProtection, s.RequiredDevices, r.ReviewDue, r.Engine,
		r.InputHash, r.CreatedAt, work, before)
}

// sendSites sends what queueSite added.
func sendSites(ctx context.Context, tx pgx.Tx, b *pgx.Batch) error {
	err := tx.SendBatch(ctx, b).Close()
	if violates(err, uniqueViolation) {
		return store.ErrReferenceTaken
	}
	return err
}

// binaryID is a canonical id as 16 bytes, the form that COPY takes.
func binaryID(id string) (b [16]byte) {
	n := 0
	for i := 0; i < len(id); i++ {
		if id[i] == '-' {
			continue
		}
		b[n/2] = b[n/2]<<4 | hexDigit(id[i])
		n++
	}
	return b
}

func hexDigit(c byte) byte {
	if c <= '9' {
		return c - '0'
	}
	return c - 'a' + 10
}
