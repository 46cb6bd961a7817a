package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"levinward/store"
	"levinward/store/tables"
)

// CreateWork begins a work.
func (s *Store) CreateWork(ctx context.Context, org store.Organisation, w store.Work) (store.Work, error) {
	if err := w.Normalise(); err != nil {
		return store.Work{}, err
	}
	key, err := tables.KeyOf(org, w.Portfolio)
	if err != nil {
		return store.Work{}, err
	}
	w.Portfolio = key.ID
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		// The share waits for the transaction that begins a removal.
		tag, err := c.Exec(ctx, `INSERT INTO work (organisation, portfolio, id, kind, mode, state, options, created_at, touched_at)
			SELECT organisation, id, $3::uuid, $4, $5, $6, $7::bytea, $8::timestamptz, $8 FROM portfolio
			WHERE organisation = $1 AND id = $2 AND `+tables.Standing+` FOR SHARE`,
			key.And(w.ID, w.Kind, w.Mode, w.State, w.Options, w.CreatedAt)...)
		switch {
		case violates(err, uniqueViolation):
			return store.ErrExists
		case err == nil && tag.RowsAffected() == 0:
			return store.ErrNotFound
		}
		return err
	})
	if err != nil {
		return store.Work{}, err
	}
	return w, nil
}

// AddChunk adds rows to a work that is reading.
func (s *Store) AddChunk(ctx context.Context, org store.Organisation, work string, chunk store.NewChunk, at time.Time) error {
	if err := chunk.Check(); err != nil {
		return err
	}
	return s.inWork(ctx, org, work, func(ctx context.Context, tx pgx.Tx, key tables.Key) error {
		n := 0
		if chunk.Count > 0 {
			n = 1
		}
		var chunks int
		err := tx.QueryRow(ctx, `UPDATE work SET chunks = chunks + $3::int, total = total + $4::bigint + $5::bigint,
			failed = failed + $5, touched_at = $6
			WHERE organisation = $1 AND id = $2 AND state = 'reading' RETURNING chunks`,
			key.And(n, chunk.Count, chunk.Faulty, at)...).Scan(&chunks)
		if errors.Is(err, pgx.ErrNoRows) {
			return ended(ctx, tx, key)
		}
		if err == nil && n > 0 {
			_, err = tx.Exec(ctx, `INSERT INTO work_chunk (organisation, work, n, state, rows, failed, due_at)
				VALUES ($1, $2, $3, 'queued', $4, '', $5)`,
				key.And(chunks-1, chunk.Rows, at)...)
		}
		if err != nil {
			return err
		}
		return insertFaults(ctx, tx, key, chunk.Faults, 0)
	})
}

// inWork runs a call in a transaction; key is organisation and work.
func (s *Store) inWork(ctx context.Context, org store.Organisation, work string,
	call func(context.Context, pgx.Tx, tables.Key) error) error {
	key, err := tables.KeyOf(org, work)
	if err != nil {
		return err
	}
	return s.doLong(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		return pgx.BeginFunc(ctx, c, func(tx pgx.Tx) error { return call(ctx, tx, key) })
	})
}

// ended says why a work was not changed: it is not there, or it reads no more.
func ended(ctx context.Context, tx pgx.Tx, key tables.Key) error {
	var state string
	err := tx.QueryRow(ctx, `SELECT state FROM work WHERE organisation = $1 AND id = $2`, key.And()...).Scan(&state)
	if err != nil {
		return tables.OrNotFound(err)
	}
	return store.ErrWorkEnded
}

func insertFaults(ctx context.Context, tx pgx.Tx, key tables.Key, faults []store.Fault, from int) error {
	if len(faults) == 0 {
		return nil
	}
	owner, work := binaryID(key.Organisation), binaryID(key.ID)
	numbers := store.NumberFaults(faults, from)
	_, err := tx.CopyFrom(ctx, pgx.Identifier{"work_fault"}, []string{"organisation", "work", "row_number", "n", "column_name",
		"value", "reason", "assessment", "reference"},
		pgx.CopyFromSlice(len(faults), func(i int) ([]any, error) {
			f := &faults[i]
			return []any{owner, work, f.Row, numbers[i], f.Column, f.Value, f.Reason, f.Assessment, f.Reference}, nil
		}))
	return err
}

// BeginWork ends the reading.
func (s *Store) BeginWork(ctx context.Context, org store.Organisation, work string, n store.Notes, idem *store.Idempotency,
	at time.Time) (w store.Work, err error) {
	notes, err := n.Encode()
	if err = errors.Join(err, idem.Check()); err != nil {
		return w, err
	}
	var idempotencyKey, bodyHash *string
	if idem != nil {
		idempotencyKey, bodyHash = &idem.Key, &idem.BodyHash
	}
	err = s.inWork(ctx, org, work, func(ctx context.Context, tx pgx.Tx, key tables.Key) (err error) {
		w, err = tables.Work(tx.QueryRow(ctx, `UPDATE work w SET state = CASE WHEN chunks > 0 THEN 'queued' ELSE 'done' END,
				finished_at = CASE WHEN chunks > 0 THEN NULL ELSE $3::timestamptz END, touched_at = $3,
				noted = $4, notes = $5, idempotency_key = $6, body_hash = $7
			WHERE organisation = $1 AND id = $2 AND state = 'reading'
			RETURNING `+tables.Works, key.And(at, n.Rows, notes, idempotencyKey, bodyHash)...))
		if errors.Is(err, store.ErrNotFound) {
			return ended(ctx, tx, key)
		}
		return err
	})
	if violates(err, uniqueViolation) {
		return store.Work{}, store.ErrExists
	}
	return w, err
}

// RefuseWork ends the reading and drops the rows.
func (s *Store) RefuseWork(ctx context.Context, org store.Organisation, work string, n store.Notes, faults []store.Fault,
	at time.Time) (w store.Work, err error) {
	notes, err := n.Encode()
	if err = errors.Join(err, (&store.NewChunk{Faults: faults}).Check()); err != nil {
		return w, err
	}
	err = s.inWork(ctx, org, work, func(ctx context.Context, tx pgx.Tx, key tables.Key) (err error) {
		w, err = tables.Work(tx.QueryRow(ctx, `UPDATE work w SET state = 'refused', finished_at = $3, noted = $4, notes = $5
			WHERE organisation = $1 AND id = $2 AND state = 'reading' RETURNING `+tables.Works, key.And(at, n.Rows, notes)...))
		if errors.Is(err, store.ErrNotFound) {
			return ended(ctx, tx, key)
		}
		if err != nil {
			return err
		}
		if _, err = tx.Exec(ctx, `DELETE FROM work_chunk WHERE organisation = $1 AND work = $2`, key.And()...); err != nil {
			return err
		}
		return insertFaults(ctx, tx, key, faults, store.FaultsOfFile)
	})
	return w, err
}

// CancelWork ends a work. Chunks come before their work here as in StoreChunk,
// so that the two never wait for each other.
func (s *Store) CancelWork(ctx context.Context, org store.Organisation, work string, at time.Time) (w store.Work, err error) {
	err = s.inWork(ctx, org, work, func(ctx context.Context, tx pgx.Tx, key tables.Key) error {
		_, err := tx.Exec(ctx, `WITH c AS (SELECT n FROM work_chunk
			WHERE organisation = $1 AND work = $2 AND state = 'queued' ORDER BY n FOR UPDATE)
			UPDATE work_chunk k SET state = 'cancelled', step = step + 1, rows = ''
			FROM c WHERE k.organisation = $1 AND k.work = $2 AND k.n = c.n AND k.state = 'queued'`, key.And()...)
		if err != nil {
			return err
		}
		_, err = tx.Exec(ctx, `UPDATE work SET state = 'cancelled', cancel_requested = true, finished_at = $3
			WHERE organisation = $1 AND id = $2 AND state IN ('reading', 'queued', 'running')`, key.And(at)...)
		if err != nil {
			return err
		}
		w, err = tables.Work(tx.QueryRow(ctx, `SELECT `+tables.Works+` FROM work w WHERE w.organisation = $1 AND w.id = $2`, key.And()...))
		return err
	})
	return w, err
}

// LastChange returns the newest work that has ended, those first that changed sites. LIMIT keeps
// the sites of each work a look into their index, whatever the planner believes of how many there are.
func (s *Store) LastChange(ctx context.Context, org store.Organisation, portfolio string) (store.Work, error) {
	return s.work(ctx, org, portfolio, `SELECT `+tables.Works+` FROM work w
		LEFT JOIN LATERAL (SELECT 1 AS changed FROM portfolio_site s
			WHERE s.organisation = $1 AND s.portfolio = $2 AND s.changed_by = w.id AND s.before IS NOT NULL LIMIT 1) c ON true
		WHERE w.organisation = $1 AND w.portfolio = $2 AND w.state IN ('done', 'cancelled')
		ORDER BY c.changed IS NOT NULL DESC, w.created_at DESC, w.id DESC LIMIT 1`)
}

func (s *Store) work(ctx context.Context, org store.Organisation, id, query string, args ...any) (w store.Work, err error) {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return w, err
	}
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) (err error) {
		w, err = tables.Work(c.QueryRow(ctx, query, key.And(args...)...))
		return err
	})
	return w, err
}
