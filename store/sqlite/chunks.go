package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"slices"
	"time"

	sqlite3 "modernc.org/sqlite/lib"

	"levinward/store"
	"levinward/store/tables"
)

// ClaimChunks takes chunks that are due.
func (s *Store) ClaimChunks(
	ctx context.Context, org store.Organisation, work string, at, until time.Time, limit int,
) (claimed []store.ClaimedChunk, err error) {
	key, err := tables.KeyOf(org, work)
	if err != nil {
		return nil, nil
	}
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, `UPDATE work_chunk SET due_at = $4, claims = claims + 1
			WHERE organisation = $1 AND work = $2 AND n IN (
				SELECT k.n FROM work_chunk k JOIN work w ON w.organisation = k.organisation AND w.id = k.work
				WHERE k.organisation = $1 AND k.work = $2 AND k.state = 'queued' AND k.due_at <= $3 AND w.state IN ('queued', 'running')
				ORDER BY k.n LIMIT $5)
			RETURNING n, claims`, key.And(at.UnixMicro(), until.UnixMicro(), limit)...)
		if err != nil {
			return err
		}
		claimed, err = scanAll(rows, func(row tables.Row) (c store.ClaimedChunk, err error) {
			err = row.Scan(&c.N, &c.Claims)
			return c, err
		})
		return err
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(claimed, func(a, b store.ClaimedChunk) int { return a.N - b.N })
	return claimed, nil
}

// HoldChunk sets when a claimed chunk is due.
func (s *Store) HoldChunk(ctx context.Context, org store.Organisation, work string, c store.ClaimedChunk, until time.Time) error {
	key, err := tables.KeyOf(org, work)
	if err != nil {
		return err
	}
	return s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		held, err := affected(tx.ExecContext(ctx, `UPDATE work_chunk SET due_at = $5
			WHERE organisation = $1 AND work = $2 AND n = $3 AND claims = $4 AND state = 'queued'`,
			key.And(c.N, c.Claims, until.UnixMicro())...))
		if err == nil && !held {
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
	return s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE work SET state = 'running', started_at = $3
			WHERE organisation = $1 AND id = $2 AND state = 'queued'`, key.And(at.UnixMicro())...)
		return err
	})
}

// StoreChunk stores what became of rows of a chunk, in one transaction.
func (s *Store) StoreChunk(ctx context.Context, org store.Organisation, o store.Outcome) error {
	if err := o.Normalise(); err != nil {
		return err
	}
	err := s.inWork(ctx, org, o.Work, func(ctx context.Context, tx *sql.Tx, key tables.Key) error {
		var portfolio string
		err := tx.QueryRowContext(ctx, `SELECT p.id FROM work w JOIN portfolio p ON p.organisation = w.organisation AND p.id = w.portfolio
			WHERE w.organisation = $1 AND w.id = $2 AND p.`+tables.Standing, key.And()...).Scan(&portfolio)
		if err != nil {
			return tables.OrNotFound(err)
		}
		state := store.ChunkDone
		if len(o.Rest) > 0 {
			state = store.ChunkQueued
		}
		changed, err := affected(tx.ExecContext(ctx, `UPDATE work_chunk
			SET step = step + 1, rows = $5, failed = CAST(failed || $6 AS BLOB), state = $7
			WHERE organisation = $1 AND work = $2 AND n = $3 AND step = $4 AND state = 'queued'`,
			key.And(o.N, o.Step, orEmpty(o.Rest), orEmpty(o.Failed), state)...))
		if err != nil {
			return err
		}
		if !changed {
			return store.ErrChunkChanged
		}
		if err := s.insertSites(ctx, tx, key, portfolio, o.Created); err != nil {
			return err
		}
		if err := s.reviseSites(ctx, tx, key, portfolio, o.Revised); err != nil {
			return err
		}
		if err := confirmSites(ctx, tx, key, o.Confirmed); err != nil {
			return err
		}
		if err := insertFaults(ctx, tx, key, o.Faults, 0); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE work SET done = done + $3, unchanged = unchanged + $4, failed = failed + $5,
				state = CASE WHEN state IN ('queued', 'running') THEN
					CASE WHEN done + unchanged + failed + $3 + $4 + $5 >= total THEN 'done' ELSE 'running' END ELSE state END,
				started_at = coalesce(started_at, $6),
				finished_at = CASE WHEN state IN ('queued', 'running')
				AND done + unchanged + failed + $3 + $4 + $5 >= total THEN $6 ELSE finished_at END
			WHERE organisation = $1 AND id = $2`, key.And(len(o.Created)+len(o.Revised), o.Unchanged, o.Faulty, o.At.UnixMicro())...)
		return err
	})
	switch {
	case errors.Is(err, store.ErrReferenceTaken), code(err) == sqlite3.SQLITE_CONSTRAINT_UNIQUE,
		code(err) == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
		return store.ErrChunkChanged // another work was faster with one of the references
	case code(err) == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
		return store.ErrNotFound
	}
	return err
}

func orEmpty(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

func (s *Store) insertSites(ctx context.Context, tx *sql.Tx, key tables.Key, portfolio string, records []store.Record) error {
	if len(records) == 0 {
		return nil
	}
	owner, work := key.Organisation, key.ID
	insert, err := tx.PrepareContext(ctx, insertSite)
	if err != nil {
		return err
	}
	defer insert.Close()
	for i := range records {
		r := &records[i]
		_, err := tx.StmtContext(ctx, s.create).ExecContext(ctx, owner, r.ID, r.CreatedAt.UnixMicro(), store.Fold(r.Name),
			store.Fold(r.Reference),
			r.Latitude, r.Longitude, r.ReviewDue.Format(time.DateOnly), nil, nil)
		if err == nil {
			err = s.append(ctx, tx, owner, r)
		}
		if err == nil {
			_, err = insert.ExecContext(ctx, append(siteArguments(owner, r, &work, nil), portfolio)...)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// confirmSites notes that an import has spoken of sites that stay as they are.
func confirmSites(ctx context.Context, tx *sql.Tx, key tables.Key, confirmed []store.Confirmed) error {
	for _, c := range confirmed {
		_, err := tx.ExecContext(ctx, `UPDATE portfolio_site SET imported_hash = $3, imported_at = $4
			WHERE organisation = $1 AND assessment = $2 AND imported_at < $4`, key.Organisation, c.Assessment, c.Hash, c.At.UnixMicro())
		if err != nil {
			return err
		}
	}
	return nil
}

// reviseSites appends revisions to sites; ErrChunkChanged where one was revised or deleted meanwhile.
func (s *Store) reviseSites(ctx context.Context, tx *sql.Tx, key tables.Key, portfolio string, revised []store.Revised) error {
	owner, work := key.Organisation, key.ID
	for i := range revised {
		r := &revised[i].Record
		before, err := store.EncodeBefore(&revised[i].Before)
		if err != nil {
			return err
		}
		var importedAt any
		if r.Imported != nil {
			importedAt = r.Imported.At.UnixMicro()
		}
		var there int // where no newer import has spoken of it
		err = tx.QueryRowContext(ctx, `SELECT count(*) FROM portfolio_site
			WHERE organisation = $1 AND assessment = $2 AND portfolio = $3 AND ($4 IS NULL OR imported_at <= $4)`,
			owner, r.ID, portfolio, importedAt).Scan(&there)
		if err != nil {
			return err
		}
		updated, err := affected(tx.StmtContext(ctx, s.revise).ExecContext(ctx, owner, r.ID, store.Fold(r.Name), store.Fold(r.Reference),
			r.Latitude, r.Longitude, r.ReviewDue.Format(time.DateOnly), revised[i].Before.Revision))
		if err != nil {
			return err
		}
		if !updated || there == 0 {
			return store.ErrChunkChanged
		}
		if err := s.append(ctx, tx, owner, r); err != nil {
			return err
		}
		if err := updateSite(ctx, tx, owner, r, &work, before); err != nil {
			return err
		}
	}
	return nil
}
