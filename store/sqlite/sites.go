package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	sqlite3 "modernc.org/sqlite/lib"

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
	index, err := s.leadingIndex(ctx, key, &f)
	if err != nil {
		return store.SitePage{}, err
	}
	query, args := sitesQuery(key, &f, after, index)
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
	index, err := s.leadingIndex(ctx, key, &f)
	if err != nil {
		return 0, err
	}
	q := of(key)
	return tables.One(ctx, &s.Reads, org, portfolio, tables.Value[int64],
		`SELECT count(*) FROM portfolio_site s `+indexedBy(index)+q.where(dialect.SiteConditions(&f)...), q.Args[2:]...)
}

// statement is one on sites. Its first two arguments are organisation and portfolio.
type statement struct{ tables.Statement }

func of(key tables.Key) statement { return statement{tables.Statement{Args: key.And()}} }

func (s *statement) where(conditions ...tables.SiteCondition) string {
	text := " WHERE s.organisation = $1 AND s.portfolio = $2"
	for _, c := range conditions {
		text += " AND " + c.Write(s.Arg)
	}
	return text
}

// leadingIndex returns the index of a condition that few sites meet; empty if there is none.
func (s *Store) leadingIndex(ctx context.Context, key tables.Key, f *store.SiteFilter) (string, error) {
	for _, c := range dialect.SiteConditions(f) {
		if c.Index == "" {
			continue
		}
		q := of(key)
		found, err := tables.All(ctx, &s.Reads, tables.Value[int64], `SELECT count(*) FROM (SELECT 1 FROM portfolio_site s `+
			indexedBy(c.Index)+q.where(c)+` LIMIT `+q.Arg(f.Few+1)+`)`, q.Args...)
		if err != nil {
			return "", err
		}
		if found[0] <= int64(f.Few) {
			return c.Index, nil
		}
	}
	return "", nil
}

// indexedBy takes the choice of an index from SQLite, which knows nothing of how many sites there are.
func indexedBy(index string) string {
	if index == "" {
		return ""
	}
	return "INDEXED BY " + index
}

// rankIndex has the sites in the order of a rank.
var rankIndex = map[store.Rank]string{
	store.RankWorstRatio: "portfolio_site_ratio", store.RankExcess: "portfolio_site_excess",
	store.RankPersonsAtRisk: "portfolio_site_persons", store.RankName: "portfolio_site_name",
}

// sitesQuery finds the sites by an index and sorts them; without one, it goes through them in the order of the rank.
func sitesQuery(key tables.Key, f *store.SiteFilter, after *store.SitePosition, index string) (query string, args []any) {
	q := of(key)
	where := q.where(dialect.SiteConditions(f)...)
	column, direction, beyond := tables.Beyond(&q.Statement, f, after)
	where += beyond
	if index == "" {
		index = rankIndex[f.Rank]
	}
	return fmt.Sprintf(`SELECT %s FROM portfolio_site s %s%s ORDER BY %s%s, s.assessment%s LIMIT %s`,
		tables.Sites, indexedBy(index), where, column, direction, direction, q.Arg(f.Limit+1)), q.Args
}

// Extents returns the extents of portfolios. Each end of one is the first entry of an index.
func (s *Store) Extents(ctx context.Context, org store.Organisation, portfolios []string) (map[string]store.Extent, error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok || len(portfolios) == 0 {
		return nil, nil
	}
	list, err := json.Marshal(portfolios)
	if err != nil {
		return nil, err
	}
	end := func(column, index, direction string) string {
		return `(SELECT s.` + column + ` FROM portfolio_site s INDEXED BY ` + index + `
			WHERE s.organisation = $1 AND s.portfolio = p.id ORDER BY s.` + column + direction + ` LIMIT 1)`
	}
	extents := map[string]store.Extent{}
	_, err = tables.All(ctx, &s.Reads, func(row tables.Row) (none struct{}, err error) {
		var id string
		var e store.Extent
		var from, to int64
		err = row.Scan(&id, &e.West, &e.East, &e.South, &e.North, &from, &to)
		e.UpdatedFrom, e.UpdatedTo = fromMicros(from), fromMicros(to)
		extents[id] = e
		return none, err
	}, `SELECT p.id, `+end("longitude", "portfolio_site_longitude", "")+`, `+end("longitude", "portfolio_site_longitude", " DESC")+`,
			`+end("latitude", "portfolio_site_place", "")+`, `+end("latitude", "portfolio_site_place", " DESC")+`,
			`+end("updated_at", "portfolio_site_updated", "")+`, `+end("updated_at", "portfolio_site_updated", " DESC")+`
		FROM (SELECT lower(value) AS id FROM json_each($2)) p
		WHERE EXISTS (SELECT 1 FROM portfolio_site s INDEXED BY portfolio_site_longitude
			WHERE s.organisation = $1 AND s.portfolio = p.id)`, owner, string(list))
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
	sites, err := tables.All(ctx, &s.Reads, func(row tables.Row) (store.Site, error) {
		var before []byte
		site, err := tables.SiteAnd(row, &before)
		if err == nil {
			site.Before, err = store.DecodeBefore(site.Assessment, before)
		}
		return site, err
	}, `SELECT `+tables.Sites+`, s.before FROM portfolio_site s
		WHERE s.organisation = $1 AND s.portfolio = $2 AND s.changed_by = $3 AND s.before IS NOT NULL AND s.assessment > $4
		ORDER BY s.assessment LIMIT $5`, key.And(work, after, c.Limit+1)...)
	if err != nil {
		return store.SitePage{}, err
	}
	return store.NextChangesPage(sites, c.Limit), nil
}

// SitesByReference returns the sites that have one of the references.
func (s *Store) SitesByReference(ctx context.Context, org store.Organisation, portfolio string, references []string) ([]store.Site, error) {
	key, err := tables.KeyOf(org, portfolio)
	if err != nil || len(references) == 0 {
		return nil, nil
	}
	list, err := json.Marshal(references)
	if err != nil {
		return nil, err
	}
	return tables.All(ctx, &s.Reads, tables.Site, `SELECT `+tables.Sites+` FROM portfolio_site s
		WHERE s.organisation = $1 AND s.portfolio = $2 AND s.reference <> '' AND s.reference IN (SELECT value
			FROM json_each($3))`, key.And(string(list))...)
}

// siteInputs looks sites up by their ids. The plus keeps the portfolio from leading an index:
// all of its sites would be read.
const siteInputs = `SELECT ` + tables.Sites + `, r.input, r.definitions_hash FROM portfolio_site s
	JOIN revision r ON r.organisation = s.organisation AND r.assessment = s.assessment AND r.revision = s.revision
	WHERE s.organisation = $1 AND +s.portfolio = $2 AND s.assessment IN (SELECT lower(value) FROM json_each($3))`

// SiteInputs returns sites with their inputs.
func (s *Store) SiteInputs(ctx context.Context, org store.Organisation, portfolio string, assessments []string) ([]store.SiteInput, error) {
	key, err := tables.KeyOf(org, portfolio)
	if err != nil || len(assessments) == 0 {
		return nil, nil
	}
	list, err := json.Marshal(assessments)
	if err != nil {
		return nil, err
	}
	return tables.All(ctx, &s.Reads, func(row tables.Row) (in store.SiteInput, err error) {
		in.Site, err = tables.SiteAnd(row, &in.Input, &in.DefinitionsHash)
		return in, err
	}, siteInputs, key.And(string(list))...)
}

// SitesToAssess returns ids of sites to be assessed again.
func (s *Store) SitesToAssess(ctx context.Context, org store.Organisation, portfolio string, r store.Reassess, after string,
	limit int) ([]string, error) {
	key, err := tables.KeyOf(org, portfolio)
	if err != nil {
		return nil, nil
	}
	query, args := `SELECT s.assessment FROM portfolio_site s
		WHERE s.organisation = $1 AND s.portfolio = $2 AND s.assessment > $3`, key.And(after, limit)
	if r.Due {
		list, err := json.Marshal(append([]string{}, r.Maps...))
		if err != nil {
			return nil, err
		}
		query += ` AND (s.review_due <= $5 OR s.engine <> $6 OR s.density_map IN (SELECT value FROM json_each($7))
			OR $8 <> '' AND EXISTS (SELECT 1 FROM revision r
			WHERE r.organisation = s.organisation AND r.assessment = s.assessment AND r.revision = s.revision AND r.definitions_hash <> $8))`
		args = append(args, store.Date(r.On).Format(time.DateOnly), r.Engine, string(list), r.Definitions)
	}
	return tables.All(ctx, &s.Reads, func(row tables.Row) (id string, err error) {
		err = row.Scan(&id)
		return id, err
	}, query+` ORDER BY s.assessment LIMIT $4`, args...)
}

// insertSite stores the row of a new site.
const insertSite = `INSERT INTO portfolio_site (organisation, assessment, reference, name, reference_folded, name_folded, latitude,
	longitude, revision,
	ground_flashes, density_origin, density_map, worst_ratio, loss_of_human_life, excess, persons_at_risk, acceptable,
	needed_protection, required_devices, review_due, engine, input_hash, updated_at, changed_by, before,
	imported_hash, imported_at, portfolio, created_at)
	VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24, $25,
		coalesce($26, ''), coalesce($27, 0), $28, $23)`

// changeSite brings the row of a site to its newest revision.
const changeSite = `UPDATE portfolio_site
	SET reference = $3, name = $4, reference_folded = $5, name_folded = $6, latitude = $7, longitude = $8, revision = $9,
	ground_flashes = $10, density_origin = $11, density_map = $12, worst_ratio = $13, loss_of_human_life = $14, excess = $15,
		persons_at_risk = $16,
	acceptable = $17, needed_protection = $18, required_devices = $19, review_due = $20, engine = $21, input_hash = $22, updated_at = $23,
	changed_by = $24, before = $25, imported_hash = coalesce($26, imported_hash), imported_at = coalesce($27, imported_at)
		WHERE organisation = $1 AND assessment = $2`

// siteArguments are $1 to $27 of both.
func siteArguments(owner string, r *store.Record, work *string, before []byte) []any {
	s := r.Summary
	var hash, at any
	if r.Imported != nil {
		hash, at = r.Imported.Hash, r.Imported.At.UnixMicro()
	}
	return []any{owner, r.ID, r.Reference, r.Name, store.Fold(r.Reference), store.Fold(r.Name), r.Latitude, r.Longitude, r.Revision,
		s.GroundFlashes, s.DensityOrigin, s.DensityMap, s.WorstRatio, s.LossOfHumanLife, s.Excess, s.PersonsAtRisk, s.Acceptable,
		s.NeededProtection, s.RequiredDevices, r.ReviewDue.Format(time.DateOnly), r.Engine, r.InputHash, r.CreatedAt.UnixMicro(), work,
		before, hash, at}
}

// updateSite sets the summary of a record where it is a site. Without a work, nothing tells of before.
func updateSite(ctx context.Context, tx *sql.Tx, owner string, r *store.Record, work *string, before []byte) error {
	_, err := tx.ExecContext(ctx, changeSite, siteArguments(owner, r, work, before)...)
	if code(err) == sqlite3.SQLITE_CONSTRAINT_UNIQUE {
		return store.ErrReferenceTaken
	}
	return err
}
