package tables

import (
	"context"
	"fmt"
	"time"

	"levinward/store"
)

// Standing is the condition on portfolios that are not being removed.
const Standing = `removal_due IS NULL`

// Sizes of a part, which takes some tenths of a second.
const (
	faultsOfPart = 20_000
	chunksOfPart = 100 // of 200 rows or so, each up to some kB
)

// Exec runs a statement in a transaction of either database and tells whether it changed a row.
type Exec func(ctx context.Context, statement string, args ...any) (changed bool, err error)

// Transaction is what a part of a removal does its work with.
type Transaction struct {
	Exec Exec
	// DeleteAssessments deletes those of $1 that meet a condition, whose $2 is the portfolio, and queues what webhooks are sent of it.
	DeleteAssessments func(ctx context.Context, portfolio Key, condition string) (deleted bool, err error)
}

// cancelWorks ends the works on a portfolio. Their keys are free for other requests.
const cancelWorks = `UPDATE work SET idempotency_key = NULL, body_hash = NULL, finished_at = coalesce(finished_at, touched_at),
		state = CASE WHEN state IN ('reading', 'queued', 'running') THEN 'cancelled' ELSE state END
	WHERE organisation = $1 AND portfolio = $2`

func (d *Dialect) leaseEnd() any { return d.Moment(time.Now().Add(store.Lease)) }

// BeginRemoval marks a portfolio as being removed; ErrNotFound. One that is marked already is so once more.
func (d *Dialect) BeginRemoval(ctx context.Context, tx Transaction, portfolio Key) error {
	marked, err := tx.Exec(ctx, `UPDATE portfolio SET `+d.FreeName+`removal_due = $3 WHERE organisation = $1 AND id = $2`,
		portfolio.And(d.leaseEnd())...)
	if err != nil {
		return err
	}
	if !marked {
		return store.ErrNotFound
	}
	_, err = tx.Exec(ctx, cancelWorks, portfolio.And()...)
	return err
}

// RemovePart takes away the next part of a portfolio that is being removed; more tells that something is left.
func (d *Dialect) RemovePart(ctx context.Context, tx Transaction, portfolio Key) (more bool, err error) {
	// Whoever else removes the portfolio waits here for the end of this part.
	more, err = tx.Exec(ctx, `UPDATE portfolio SET removal_due = $3 WHERE organisation = $1 AND id = $2 AND removal_due IS NOT NULL`,
		portfolio.And(d.leaseEnd())...)
	if err != nil || !more {
		return false, err
	}
	// In the order of an index, so that no part looks at all sites that are left.
	more, err = tx.DeleteAssessments(ctx, portfolio, fmt.Sprintf(`id IN (SELECT assessment FROM portfolio_site%s
		WHERE organisation = $1 AND portfolio = $2 ORDER BY name_folded, assessment LIMIT %d)`, d.ByName, store.SitesOfPart))
	for _, part := range []struct {
		table string
		limit int
	}{{"work_fault", faultsOfPart}, {"work_chunk", chunksOfPart}} {
		if more || err != nil {
			return more, err
		}
		rows := fmt.Sprintf(d.RowsOf, fmt.Sprintf(`FROM work w JOIN %s part ON part.organisation = w.organisation AND part.work = w.id
			WHERE w.organisation = $1 AND w.portfolio = $2 LIMIT %d`, part.table, part.limit))
		more, err = tx.Exec(ctx, `DELETE FROM `+part.table+` WHERE `+rows, portfolio.And()...)
	}
	if more || err != nil {
		return more, err
	}
	_, err = tx.Exec(ctx, `DELETE FROM portfolio WHERE organisation = $1 AND id = $2`, portfolio.And()...)
	return false, err
}
