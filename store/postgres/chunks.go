package postgres

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"levinward/store"
	"levinward/store/tables"
)

// ClaimChunks takes chunks that are due. Those that another replica is taking or storing at this moment are passed over.
func (s *Store) ClaimChunks(
	ctx context.Context, org store.Organisation, work string, at, until time.Time, limit int,
) ([]store.ClaimedChunk, error) {
	key, err := tables.KeyOf(org, work)
	if err != nil {
		return nil, nil
	}
	claimed, err := tables.All(ctx, &s.Reads, func(row tables.Row) (c store.ClaimedChunk, err error) {
		err = row.Scan(&c.N, &c.Claims)
		return c, err
	}, `WITH c AS (
			SELECT k.n FROM work_chunk k JOIN work w ON w.organisation = k.organisation AND w.id = k.work
			WHERE k.organisation = $1 AND k.work = $2 AND k.state = 'queued' AND k.due_at <= $3 AND w.state IN ('queued', 'running')
			ORDER BY k.n LIMIT $5 FOR UPDATE OF k SKIP LOCKED
		)
		UPDATE work_chunk k SET due_at = $4, claims = k.claims + 1 FROM c
		WHERE k.organisation = $1 AND k.work = $2 AND k.n = c.n RETURNING k.n, k.claims`, key.And(at, until, limit)...)
	slices.SortFunc(claimed, func(a, b store.ClaimedChunk) int { return a.N - b.N })
	return claimed, err
}

// HoldChunk sets when a claimed chunk is due.
func (s *Store) HoldChunk(ctx context.Context, org store.Organisation, work string, chunk store.ClaimedChunk, until time.Time) error {
	key, err := tables.KeyOf(org, work)
	if err != nil {
		return err
	}
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		tag, err := c.Exec(ctx, `UPDATE work_chunk SET due_at = $5
			WHERE organisation = $1 AND work = $2 AND n = $3::bigint AND claims = $4::bigint AND state = 'queued'`,
			key.And(chunk.N, chunk.Claims, until)...)
		if err == nil && tag.RowsAffected() == 0 {
			return store.ErrNotFound
		}
		return err
	})
}

// StartWork notes the beginning.
func (s *Store) StartWork(ctx context.Context, org store.Organisation, work string, at time.Time) error {
	key, err := tables.KeyOf(org, work)
	if err != nil {
		return err
	}
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		_, err := c.Exec(ctx, `UPDATE work SET state = 'running', started_at = $3
			WHERE organisation = $1 AND id = $2 AND state = 'queued'`, key.And(at)...)
		return err
	})
}

// StoreChunk stores what became of rows of a chunk, in one transaction.
func (s *Store) StoreChunk(ctx context.Context, org store.Organisation, o store.Outcome) error {
	if err := o.Normalise(); err != nil {
		return err
	}
	err := s.inWork(ctx, org, o.Work, func(ctx context.Context, tx pgx.Tx, key tables.Key) error {
		// The portfolio first: a removal waits for the end of this transaction, or this one finds that it has begun.
		var portfolio string
		err := tx.QueryRow(ctx, `SELECT p.id FROM work w JOIN portfolio p ON p.organisation = w.organisation AND p.id = w.portfolio
			WHERE w.organisation = $1 AND w.id = $2 AND p.`+tables.Standing+` FOR SHARE OF p`, key.And()...).Scan(&portfolio)
		if err != nil {
			return tables.OrNotFound(err)
		}
		// Whoever comes second waits here and then finds another step.
		tag, err := tx.Exec(ctx, `UPDATE work_chunk SET step = step + 1, rows = $5, failed = failed || $6::bytea,
				state = CASE WHEN $5::bytea = ''::bytea THEN 'done' ELSE 'queued' END
			WHERE organisation = $1 AND work = $2 AND n = $3::bigint AND step = $4::bigint AND state = 'queued'`,
			key.And(o.N, o.Step, orEmpty(o.Rest), orEmpty(o.Failed))...)
		if err != nil {
			return err
		}
		if tag.RowsAffected() == 0 {
			return store.ErrChunkChanged
		}
		if err := s.insertSites(ctx, tx, key, portfolio, o.Created); err != nil {
			return err
		}
		if err := reviseSites(ctx, tx, key, portfolio, o.Revised, o.Confirmed); err != nil {
			return err
		}
		if err := insertFaults(ctx, tx, key, o.Faults, 0); err != nil {
			return err
		}
		_, err = tx.Exec(ctx, `UPDATE work SET done = done + $3::bigint, unchanged = unchanged + $4::bigint, failed = failed + $5::bigint,
				state = CASE WHEN state IN ('queued', 'running') THEN
					CASE WHEN done + unchanged + failed + $3 + $4 + $5 >= total THEN 'done' ELSE 'running' END ELSE state END,
				started_at = coalesce(started_at, $6),
				finished_at = CASE WHEN state IN ('queued', 'running')
				AND done + unchanged + failed + $3 + $4 + $5 >= total THEN $6 ELSE finished_at END
			WHERE organisation = $1 AND id = $2`, key.And(len(o.Created)+len(o.Revised), o.Unchanged, o.Faulty, o.At)...)
		return err
	})
	switch {
	case err == nil:
		s.refreshStatistics(ctx, o.N)
	case errors.Is(err, store.ErrReferenceTaken), violates(err, uniqueViolation), violates(err, deadlock):
		return store.ErrChunkChanged // another work was faster with one of the references or sites
	case violates(err, foreignKeyViolation):
		return store.ErrNotFound // the portfolio is being deleted
	}
	return err
}

// refreshStatistics has the server see how a bulk load grows: when the 2nd, 5th, 17th, 65th … chunk
// of a work was stored. Plans made for a small table, those that check references between tables
// among them, may read all of a large one for each row, and the server's own turn can be minutes
// away. Where it fails, that turn comes.
func (s *Store) refreshStatistics(ctx context.Context, chunk int) {
	for chunk > 1 && chunk%4 == 0 {
		chunk /= 4
	}
	if chunk != 1 {
		return
	}
	_ = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		_, err := c.Exec(ctx, `ANALYZE assessment, revision, portfolio_site`)
		return err
	})
}

func orEmpty(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

// insertSites copies new sites in.
func (s *Store) insertSites(ctx context.Context, tx pgx.Tx, key tables.Key, portfolio string, records []store.Record) error {
	if len(records) == 0 {
		return nil
	}
	owner, list, work := binaryID(key.Organisation), binaryID(portfolio), binaryID(key.ID)
	_, err := tx.CopyFrom(ctx, pgx.Identifier{"assessment"},
		[]string{"organisation", "id", "created_at", "newest", "name_folded", "reference_folded", "latitude", "longitude", "review_due"},
		pgx.CopyFromSlice(len(records), func(i int) ([]any, error) {
			r := &records[i]
			return []any{owner, binaryID(r.ID), r.CreatedAt, 1, store.Fold(r.Name), store.Fold(r.Reference), r.Latitude, r.Longitude,
				r.ReviewDue}, nil
		}))
	if err != nil {
		return err
	}
	if err := copyRevisions(ctx, tx, owner, len(records), func(i int) *store.Record { return &records[i] }); err != nil {
		return err
	}
	_, err = tx.CopyFrom(ctx, pgx.Identifier{"portfolio_site"}, siteNames,
		pgx.CopyFromSlice(len(records), func(i int) ([]any, error) { return siteRow(owner, list, work, &records[i]), nil }))
	if err != nil {
		return err
	}
	return tellAll(ctx, tx, key.Organisation, store.EventCreated, len(records), func(i int) *store.Record { return &records[i] })
}

func copyRevisions(ctx context.Context, tx pgx.Tx, owner [16]byte, n int, record func(int) *store.Record) error {
	_, err := tx.CopyFrom(ctx, pgx.Identifier{"revision"},
		[]string{"organisation", "assessment", "revision", "created_at", "name", "reference", "latitude", "longitude",
			"edition", "engine", "input_hash", "definitions_hash", "review_due", "input", "result", "worksheet"},
		pgx.CopyFromSlice(n, func(i int) ([]any, error) {
			r := record(i)
			return []any{owner, binaryID(r.ID), r.Revision, r.CreatedAt, r.Name, r.Reference, r.Latitude, r.Longitude,
				r.Edition, r.Engine, r.InputHash, r.DefinitionsHash, r.ReviewDue, r.Input, r.Result, r.Worksheet}, nil
		}))
	return err
}

// reviseSite moves an assessment to its next revision, if it is a site of the portfolio of which
// no newer import than that of $10 has spoken. It is sent
// once per row and looks only for keys, so that no plan can be to read the whole portfolio for a chunk.
const reviseSite = `
UPDATE assessment SET newest = newest + 1, name_folded = $5, reference_folded = $6, latitude = $7, longitude = $8, review_due = $9
WHERE organisation = $1 AND id = $3 AND newest = $4
	AND $2 = (SELECT s.portfolio FROM portfolio_site s
		WHERE s.organisation = $1 AND s.assessment = $3 AND ($10::timestamptz IS NULL OR s.imported_at <= $10))`

// siteChange is a statement on the row of one site.
type siteChange struct {
	assessment string
	queue      func(*pgx.Batch)
}

// reviseSites appends revisions to sites, and notes that an import has spoken of those that stay as they are;
// ErrChunkChanged where one was revised or deleted meanwhile. Every chunk locks its assessments, and then
// its sites, in their order: two of the same sites do not wait for each other.
func reviseSites(ctx context.Context, tx pgx.Tx, key tables.Key, portfolio string, revised []store.Revised,
	confirmed []store.Confirmed) error {
	owner, work := key.Organisation, key.ID
	slices.SortFunc(revised, func(a, b store.Revised) int { return strings.Compare(a.ID, b.ID) })
	var moved pgx.Batch
	var changes []siteChange
	for i := range revised {
		r := &revised[i]
		before, err := store.EncodeBefore(&r.Before)
		if err != nil {
			return err
		}
		var importedAt *time.Time
		if r.Imported != nil {
			importedAt = &r.Imported.At
		}
		moved.Queue(reviseSite, owner, portfolio, r.ID, r.Before.Revision, store.Fold(r.Name), store.Fold(r.Reference),
			r.Latitude, r.Longitude, r.ReviewDue, importedAt).Exec(onlyOne)
		changes = append(changes, siteChange{r.ID, func(b *pgx.Batch) { queueSite(b, owner, &r.Record, &work, before) }})
	}
	if len(revised) > 0 {
		if err := tx.SendBatch(ctx, &moved).Close(); err != nil {
			return err
		}
		record := func(i int) *store.Record { return &revised[i].Record }
		if err := copyRevisions(ctx, tx, binaryID(owner), len(revised), record); err != nil {
			return err
		}
		if err := tellAll(ctx, tx, owner, store.EventRevised, len(revised), record); err != nil {
			return err
		}
	}
	for _, c := range confirmed {
		changes = append(changes, siteChange{c.Assessment, func(b *pgx.Batch) { b.Queue(confirmSite, owner, c.Assessment, c.Hash, c.At) }})
	}
	slices.SortFunc(changes, func(a, b siteChange) int { return strings.Compare(a.assessment, b.assessment) })
	var sites pgx.Batch
	for _, c := range changes {
		c.queue(&sites)
	}
	if len(changes) == 0 {
		return nil
	}
	return sendSites(ctx, tx, &sites)
}

// confirmSite notes what an import said of a site that stays as it is.
const confirmSite = `UPDATE portfolio_site SET imported_hash = $3, imported_at = $4
	WHERE organisation = $1 AND assessment = $2 AND imported_at < $4`

// onlyOne accepts a statement that changed one row.
func onlyOne(tag pgconn.CommandTag) error {
	if tag.RowsAffected() != 1 {
		return store.ErrChunkChanged
	}
	return nil
}
