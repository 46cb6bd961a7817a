package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"levinward/store"
	"levinward/store/tables"
)

// ListSites returns a page of sites.
func (s *Store) ListSites(ctx context.Context, org store.Organisation, portfolio string, f store.SiteFilter) (store.SitePage, error) {
	after, err := f.Normalise()
	if err != nil {
		return store.SitePage{}, err
	}
	key, err := tables.KeyOf(org, portfolio)
	if err != nil {
		return store.SitePage{}, nil
	}
	lead, rest, err := s.leading(ctx, key, &f)
	if err != nil {
		return store.SitePage{}, err
	}
	query, args := sitesQuery(key, &f, after, lead, rest)
	sites, err := tables.All(ctx, &s.Reads, tables.Site, query, args...)
	if err != nil {
		return store.SitePage{}, err
	}
	return store.NextSitePage(sites, f.Rank, f.Limit), nil
}

// CountSites counts the sites of all pages.
func (s *Store) CountSites(ctx context.Context, org store.Organisation, portfolio string, f store.SiteFilter) (int64, error) {
	f.Cursor = ""
	if _, err := f.Normalise(); err != nil {
		return 0, err
	}
	key, err := tables.KeyOf(org, portfolio)
	if err != nil {
		return 0, nil
	}
	lead, rest, err := s.leading(ctx, key, &f)
	if err != nil {
		return 0, err
	}
	q := of(key)
	return s.count(ctx, `SELECT count(*) FROM `+q.from(lead)+` WHERE s.organisation = $1 AND s.portfolio = $2`+q.and(rest), q.Args)
}

func (s *Store) count(ctx context.Context, query string, args []any) (n int64, err error) {
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error { return c.QueryRow(ctx, query, args...).Scan(&n) })
	return n, err
}

// statement is one on sites. Its first two arguments are organisation and portfolio.
type statement struct{ tables.Statement }

func of(key tables.Key) statement { return statement{tables.Statement{Args: key.And()}} }

// from names the sites of a portfolio that meet the leading condition, found by its index alone; nil: all sites of the table.
func (s *statement) from(lead *tables.SiteCondition) string {
	if lead == nil {
		return `portfolio_site s`
	}
	return `(SELECT * FROM portfolio_site s WHERE s.organisation = $1 AND s.portfolio = $2 AND ` + lead.Write(s.Arg) +
		` ORDER BY ` + lead.Order + ` OFFSET 0) s`
}

func (s *statement) and(conditions []tables.SiteCondition) (text string) {
	for _, c := range conditions {
		text += " AND " + c.Write(s.Arg)
	}
	return text
}

// leading returns a condition that few sites meet, nil if there is none, and the others. It counts
// instead of trusting the statistics, which lag behind a bulk load.
func (s *Store) leading(ctx context.Context, key tables.Key, f *store.SiteFilter) (lead *tables.SiteCondition,
	rest []tables.SiteCondition, err error) {
	conditions := dialect.SiteConditions(f)
	for i := range conditions {
		if conditions[i].Order == "" {
			continue
		}
		q := of(key)
		n, err := s.count(ctx, `SELECT count(*) FROM (SELECT 1 FROM portfolio_site s WHERE s.organisation = $1 AND s.portfolio = $2`+
			q.and(conditions[i:i+1])+` ORDER BY `+conditions[i].Order+` LIMIT `+q.Arg(f.Few+1)+`) AS found`, q.Args)
		if err != nil {
			return nil, nil, err
		}
		if n <= int64(f.Few) {
			return &conditions[i], append(conditions[:i:i], conditions[i+1:]...), nil
		}
	}
	return nil, conditions, nil
}

// sitesQuery finds the sites by a leading condition and sorts them; without one, it goes through them in
// the order of the rank. There CASE keeps the planner from another index, and from taking the conditions for rarer than they are.
func sitesQuery(key tables.Key, f *store.SiteFilter, after *store.SitePosition, lead *tables.SiteCondition,
	rest []tables.SiteCondition) (query string, args []any) {
	q := of(key)
	from, where := q.from(lead), "s.organisation = $1 AND s.portfolio = $2"
	switch {
	case lead != nil:
		where += q.and(rest)
	case len(rest) > 0:
		where += " AND CASE WHEN true" + q.and(rest) + " THEN true ELSE false END"
	}
	column, direction, beyond := tables.Beyond(&q.Statement, f, after)
	where += beyond
	return fmt.Sprintf(`SELECT %s FROM %s WHERE %s ORDER BY %s%s, s.assessment%s LIMIT %s`,
		tables.Sites, from, where, column, direction, direction, q.Arg(f.Limit+1)), q.Args
}

// Extents returns the extents of portfolios. Each end of one is the first entry of an index.
func (s *Store) Extents(ctx context.Context, org store.Organisation, portfolios []string) (map[string]store.Extent, error) {
	owner, ok := store.CanonicalID(string(org))
	ids := canonicalIDs(portfolios)
	if !ok || len(ids) == 0 {
		return nil, nil
	}
	end := func(name, column, direction string) string {
		return `
		JOIN LATERAL (SELECT s.` + column + ` AS value FROM portfolio_site s
			WHERE s.organisation = $1 AND s.portfolio = p.id ORDER BY s.` + column + direction + ` LIMIT 1) AS ` + name + ` ON true`
	}
	extents := map[string]store.Extent{}
	_, err := tables.All(ctx, &s.Reads, func(row tables.Row) (none struct{}, err error) {
		var id string
		var e store.Extent
		err = row.Scan(&id, &e.West, &e.East, &e.South, &e.North, &e.UpdatedFrom, &e.UpdatedTo)
		e.UpdatedFrom, e.UpdatedTo = e.UpdatedFrom.UTC(), e.UpdatedTo.UTC()
		extents[id] = e
		return none, err
	}, `SELECT p.id, w.value, e.value, s.value, n.value, f.value, t.value FROM unnest($2::uuid[]) AS p (id)`+
		end("w", "longitude", "")+end("e", "longitude", " DESC")+end("s", "latitude", "")+end("n", "latitude", " DESC")+
		end("f", "updated_at", "")+end("t", "updated_at", " DESC"), owner, ids)
	return extents, err
}

// ChangedSites returns the sites that a work changed.
func (s *Store) ChangedSites(ctx context.Context, org store.Organisation, portfolio string, c store.Changes) (store.SitePage, error) {
	after, err := c.Normalise()
	if err != nil {
		return store.SitePage{}, err
	}
	key, err := tables.KeyOf(org, portfolio)
	work, ok := store.CanonicalID(c.Work)
	if err != nil || !ok {
		return store.SitePage{}, nil
	}
	query := `SELECT ` + tables.Sites + `, s.before FROM portfolio_site s
		WHERE s.organisation = $1 AND s.portfolio = $2 AND s.changed_by = $3 AND s.before IS NOT NULL`
	args := key.And(work, c.Limit+1)
	if after != "" {
		query += ` AND s.assessment > $5`
		args = append(args, after)
	}
	sites, err := tables.All(ctx, &s.Reads, func(row tables.Row) (store.Site, error) {
		var before []byte
		site, err := tables.SiteAnd(row, &before)
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
	key, err := tables.KeyOf(org, portfolio)
	if err != nil || len(references) == 0 {
		return nil, nil
	}
	return tables.All(ctx, &s.Reads, tables.Site, `SELECT `+tables.Sites+` FROM unnest($3::text[]) AS t (reference)
		JOIN LATERAL (SELECT * FROM portfolio_site s
			WHERE s.organisation = $1 AND s.portfolio = $2 AND s.reference = t.reference AND s.reference <> '' LIMIT 1) AS s ON true`,
		key.And(references)...)
}

// SiteInputs returns sites with their inputs, looked up like those of SitesByReference.
func (s *Store) SiteInputs(ctx context.Context, org store.Organisation, portfolio string, assessments []string) ([]store.SiteInput, error) {
	key, err := tables.KeyOf(org, portfolio)
	ids := canonicalIDs(assessments)
	if err != nil || len(ids) == 0 {
		return nil, nil
	}
	return tables.All(ctx, &s.Reads, func(row tables.Row) (in store.SiteInput, err error) {
		in.Site, err = tables.SiteAnd(row, &in.Input, &in.DefinitionsHash)
		return in, err
	}, `SELECT `+tables.Sites+`, r.input, r.definitions_hash FROM unnest($3::uuid[]) AS t (id)
		JOIN LATERAL (SELECT * FROM portfolio_site s
			WHERE s.organisation = $1 AND s.assessment = t.id LIMIT 1) AS s ON s.portfolio = $2
		JOIN LATERAL (SELECT r.input, r.definitions_hash FROM revision r
			WHERE r.organisation = s.organisation AND r.assessment = s.assessment AND r.revision = s.revision LIMIT 1) AS r ON true`,
		key.And(ids)...)
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
func (s *Store) SitesToAssess(ctx context.Context, org store.Organisation, portfolio string, r store.Reassess, after string,
	limit int) ([]string, error) {
	key, err := tables.KeyOf(org, portfolio)
	if err != nil {
		return nil, nil
	}
	query, args := `SELECT s.assessment FROM portfolio_site s WHERE s.organisation = $1 AND s.portfolio = $2`, key.And(limit)
	if r.Due {
		query += ` AND (s.review_due <= $4 OR s.engine <> $5 OR s.density_map = ANY($6::text[])
			OR $7 <> '' AND EXISTS (SELECT 1 FROM revision r
			WHERE r.organisation = s.organisation AND r.assessment = s.assessment AND r.revision = s.revision AND r.definitions_hash <> $7))`
		args = append(args, store.Date(r.On), r.Engine, r.Maps, r.Definitions)
	}
	if after != "" {
		query += fmt.Sprintf(` AND s.assessment > $%d`, len(args)+1)
		args = append(args, after)
	}
	return tables.All(ctx, &s.Reads, func(row tables.Row) (id string, err error) {
		err = row.Scan(&id)
		return id, err
	}, query+` ORDER BY s.assessment LIMIT $3`, args...)
}

// siteNames are the columns of a new row, in the order of siteRow.
var siteNames = []string{"organisation", "portfolio", "assessment", "reference", "name", "reference_folded", "name_folded",
	"latitude", "longitude", "revision",
	"ground_flashes", "density_origin", "density_map", "worst_ratio", "loss_of_human_life", "excess", "persons_at_risk", "acceptable",
	"needed_protection", "required_devices", "review_due", "engine", "input_hash", "created_at", "updated_at", "changed_by",
	"imported_hash", "imported_at"}

func siteRow(owner, portfolio, work [16]byte, r *store.Record) []any {
	s := r.Summary
	var imported store.ImportedRow
	if r.Imported != nil {
		imported = *r.Imported
	}
	return []any{owner, portfolio, binaryID(r.ID), r.Reference, r.Name, store.Fold(r.Reference), store.Fold(r.Name), r.Latitude,
		r.Longitude, r.Revision,
		s.GroundFlashes, s.DensityOrigin, s.DensityMap, s.WorstRatio, s.LossOfHumanLife, s.Excess, s.PersonsAtRisk, s.Acceptable,
		s.NeededProtection, s.RequiredDevices, r.ReviewDue, r.Engine, r.InputHash, r.CreatedAt, r.CreatedAt, work, imported.Hash, imported.At}
}

// changeSite brings the row of a site to its newest revision; an assessment without one is no site.
const changeSite = `
UPDATE portfolio_site SET reference = $3, name = $4, reference_folded = $5, name_folded = $6, latitude = $7, longitude = $8, revision = $9,
	ground_flashes = $10, density_origin = $11, density_map = $12, worst_ratio = $13, loss_of_human_life = $14, excess = $15,
	persons_at_risk = $16, acceptable = $17, needed_protection = $18, required_devices = $19, review_due = $20, engine = $21,
	input_hash = $22, updated_at = $23, changed_by = $24, before = $25,
	imported_hash = coalesce($26, imported_hash), imported_at = coalesce($27, imported_at)
WHERE organisation = $1 AND assessment = $2`

// queueSite adds a change of the row of a site. Without a work, nothing tells of before.
func queueSite(b *pgx.Batch, owner string, r *store.Record, work *string, before []byte) {
	s := r.Summary
	var hash *string
	var at *time.Time
	if r.Imported != nil {
		hash, at = &r.Imported.Hash, &r.Imported.At
	}
	b.Queue(changeSite, owner, r.ID, r.Reference, r.Name, store.Fold(r.Reference), store.Fold(r.Name), r.Latitude, r.Longitude, r.Revision,
		s.GroundFlashes, s.DensityOrigin, s.DensityMap, s.WorstRatio, s.LossOfHumanLife, s.Excess,
		s.PersonsAtRisk, s.Acceptable, s.NeededProtection, s.RequiredDevices, r.ReviewDue, r.Engine,
		r.InputHash, r.CreatedAt, work, before, hash, at)
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
