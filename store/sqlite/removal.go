package sqlite

import (
	"context"
	"database/sql"
	"strconv"
	"time"

	"levinward/store"
	"levinward/store/tables"
)

// A portfolio of many sites is removed in parts, so that others can write
// between them. The first transaction says when somebody else may go on with it,
// and each part moves that time to the end of a lease. From then on the portfolio is nowhere to
// be found and takes no work, and the removal goes on until nothing is left: in the call that began
// it, or, after the program was killed, in another one of those that RemovalsToDo names. Its name
// is free: it gets one that no portfolio can have, which begins with a zero byte.

// standing is the condition on portfolios that are not being removed.
const standing = `removal_due IS NULL`

// leaseEnd is when a removal that is going on now counts as broken off.
func leaseEnd() int64 { return time.Now().Add(store.Lease).UnixMicro() }

// Sizes of a part, which takes some tenths of a second, and the pause behind
// it, in which another process gets its turn: those wait by asking again and again.
const (
	sitesOfPart   = 1000
	faultsOfPart  = 20_000
	chunksOfPart  = 100 // of 200 rows or so, each up to some kB
	behindEachOne = 20 * time.Millisecond
)

// DeletePortfolio removes a portfolio with its sites, their assessments and all work.
func (s *Store) DeletePortfolio(ctx context.Context, org store.Organisation, id string) error {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return err
	}
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		marked, err := affected(tx.ExecContext(ctx, `UPDATE portfolio SET name = char(0) || id, removal_due = $3
			WHERE organisation = $1 AND id = $2`,
			key.And(leaseEnd())...))
		if err == nil && !marked {
			return store.ErrNotFound
		}
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE work SET idempotency_key = NULL, body_hash = NULL,
				finished_at = coalesce(finished_at, touched_at), state = CASE WHEN state IN ('reading', 'queued',
				'running') THEN 'cancelled' ELSE state END
			WHERE organisation = $1 AND portfolio = $2`, key.And()...)
		return err
	})
	if err != nil {
		return err
	}
	// Nobody can call it back: it goes on when the caller has gone.
	return s.remove(context.WithoutCancel(ctx), key)
}

// remove takes away what is left of a portfolio that is being removed.
func (s *Store) remove(ctx context.Context, key tables.Key) error {
	for {
		more := false
		err := s.writeLong(ctx, func(ctx context.Context, tx *sql.Tx) (err error) {
			more, err = removePart(ctx, tx, key)
			return err
		})
		if err != nil || !more {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(behindEachOne):
		}
	}
}

// removePart takes away the next part; more tells that something is left.
func removePart(ctx context.Context, tx *sql.Tx, key tables.Key) (more bool, err error) {
	// In the order of an index, so that no part looks at all sites that are left.
	more, err = deleteWhere(ctx, tx, key, `id IN (SELECT assessment FROM portfolio_site INDEXED BY portfolio_site_name
		WHERE organisation = $1 AND portfolio = $2 ORDER BY name_folded, assessment LIMIT `+strconv.Itoa(sitesOfPart)+`)`)
	for _, part := range []struct {
		table string
		limit int
	}{{"work_fault", faultsOfPart}, {"work_chunk", chunksOfPart}} {
		if more || err != nil {
			break
		}
		more, err = affected(tx.ExecContext(ctx, `DELETE FROM `+part.table+` WHERE rowid IN (SELECT part.rowid FROM work w
				JOIN `+part.table+` part ON part.organisation = w.organisation AND part.work = w.id
			WHERE w.organisation = $1 AND w.portfolio = $2 LIMIT `+strconv.Itoa(part.limit)+`)`, key.And()...))
	}
	if err == nil && more {
		_, err = tx.ExecContext(ctx, `UPDATE portfolio SET removal_due = $3 WHERE organisation = $1 AND id = $2`,
			key.And(leaseEnd())...)
		return true, err
	}
	if err == nil {
		_, err = tx.ExecContext(ctx, `DELETE FROM portfolio WHERE organisation = $1 AND id = $2`, key.And()...)
	}
	return false, err
}

// RemovalsToDo returns portfolios whose removal was broken off.
func (s *Store) RemovalsToDo(ctx context.Context, org store.Organisation, at time.Time) ([]string, error) {
	return s.lanes(ctx, org, `SELECT id FROM portfolio WHERE organisation = $1 AND removal_due <= $2`, at)
}
