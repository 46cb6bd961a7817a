package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"time"

	sqlite3 "modernc.org/sqlite/lib"

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
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		created, err := affected(tx.ExecContext(ctx, `INSERT INTO work (organisation, portfolio, id, kind, mode, state, options,
			created_at, touched_at)
			SELECT organisation, id, $3, $4, $5, $6, $7, $8, $8 FROM portfolio WHERE organisation = $1 AND id = $2 AND `+tables.Standing,
			key.And(w.ID, w.Kind, w.Mode, w.State, w.Options, w.CreatedAt.UnixMicro())...))
		switch {
		case code(err) == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
			return store.ErrExists
		case err == nil && !created:
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
	return s.inWork(ctx, org, work, func(ctx context.Context, tx *sql.Tx, key tables.Key) error {
		n := 0
		if chunk.Count > 0 {
			n = 1
		}
		var chunks int
		err := tx.QueryRowContext(ctx, `UPDATE work SET chunks = chunks + $3, total = total + $4 + $5, failed = failed + $5, touched_at = $6
			WHERE organisation = $1 AND id = $2 AND state = 'reading' RETURNING chunks`,
			key.And(n, chunk.Count, chunk.Faulty, at.UnixMicro())...).Scan(&chunks)
		if errors.Is(err, sql.ErrNoRows) {
			return ended(ctx, tx, key)
		}
		if err == nil && n > 0 {
			_, err = tx.ExecContext(ctx, `INSERT INTO work_chunk (organisation, work, n, state, rows, failed, due_at)
				VALUES ($1, $2, $3, 'queued', $4, x'', $5)`,
				key.And(chunks-1, chunk.Rows, at.UnixMicro())...)
		}
		if err != nil {
			return err
		}
		return insertFaults(ctx, tx, key, chunk.Faults, 0)
	})
}

// inWork runs a call in a transaction; key is organisation and work.
func (s *Store) inWork(ctx context.Context, org store.Organisation, work string,
	call func(context.Context, *sql.Tx, tables.Key) error) error {
	key, err := tables.KeyOf(org, work)
	if err != nil {
		return err
	}
	return s.writeLong(ctx, func(ctx context.Context, tx *sql.Tx) error { return call(ctx, tx, key) })
}

// ended says why a work was not changed: it is not there, or it reads no more.
func ended(ctx context.Context, tx *sql.Tx, key tables.Key) error {
	var state string
	if err := tx.QueryRowContext(ctx, `SELECT state FROM work WHERE organisation = $1 AND id = $2`, key.And()...).Scan(&state); err != nil {
		return tables.OrNotFound(err)
	}
	return store.ErrWorkEnded
}

func insertFaults(ctx context.Context, tx *sql.Tx, key tables.Key, faults []store.Fault, from int) error {
	if len(faults) == 0 {
		return nil
	}
	insert, err := tx.PrepareContext(ctx, `INSERT INTO work_fault (organisation, work, row_number, n, column_name, value, reason,
		assessment, reference)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`)
	if err != nil {
		return err
	}
	defer insert.Close()
	for i, n := range store.NumberFaults(faults, from) {
		f := &faults[i]
		if _, err := insert.ExecContext(ctx, key.And(f.Row, n, f.Column, f.Value, f.Reason, f.Assessment, f.Reference)...); err != nil {
			return err
		}
	}
	return nil
}

// BeginWork ends the reading.
func (s *Store) BeginWork(ctx context.Context, org store.Organisation, work string, n store.Notes, idem *store.Idempotency,
	at time.Time) (store.Work, error) {
	if err := idem.Check(); err != nil {
		return store.Work{}, err
	}
	var key, bodyHash *string
	if idem != nil {
		key, bodyHash = &idem.Key, &idem.BodyHash
	}
	w, err := s.endReading(ctx, org, work, `state = CASE WHEN chunks > 0 THEN 'queued' ELSE 'done' END,
		finished_at = CASE WHEN chunks > 0 THEN NULL ELSE $3 END, touched_at = $3, idempotency_key = $6, body_hash = $7`, n, at, nil,
		key, bodyHash)
	if code(err) == sqlite3.SQLITE_CONSTRAINT_UNIQUE {
		return store.Work{}, store.ErrExists
	}
	return w, err
}

// RefuseWork ends the reading and drops the rows.
func (s *Store) RefuseWork(ctx context.Context, org store.Organisation, work string, n store.Notes, faults []store.Fault,
	at time.Time) (store.Work, error) {
	if err := (&store.NewChunk{Faults: faults}).Check(); err != nil {
		return store.Work{}, err
	}
	return s.endReading(ctx, org, work, `state = 'refused', finished_at = $3`, n, at,
		func(ctx context.Context, tx *sql.Tx, key tables.Key) error {
			if _, err := tx.ExecContext(ctx, `DELETE FROM work_chunk WHERE organisation = $1 AND work = $2`, key.And()...); err != nil {
				return err
			}
			return insertFaults(ctx, tx, key, faults, store.FaultsOfFile)
		})
}

// endReading keeps the notes and does what set says; then comes in the same transaction.
func (s *Store) endReading(ctx context.Context, org store.Organisation, work, set string, n store.Notes, at time.Time,
	then func(context.Context, *sql.Tx, tables.Key) error, more ...any) (w store.Work, err error) {
	notes, err := n.Encode()
	if err != nil {
		return store.Work{}, err
	}
	err = s.inWork(ctx, org, work, func(ctx context.Context, tx *sql.Tx, key tables.Key) error {
		changed, err := affected(tx.ExecContext(ctx,
			`UPDATE work SET noted = $4, notes = $5, `+set+` WHERE organisation = $1 AND id = $2 AND state = 'reading'`,
			append(key.And(at.UnixMicro(), n.Rows, notes), more...)...))
		if err != nil {
			return err
		}
		if !changed {
			return ended(ctx, tx, key)
		}
		if then != nil {
			if err := then(ctx, tx, key); err != nil {
				return err
			}
		}
		w, err = tables.Work(tx.QueryRowContext(ctx, `SELECT `+tables.Works+` FROM work w WHERE w.organisation = $1 AND w.id = $2`, key.And()...))
		return err
	})
	if err != nil {
		return store.Work{}, err
	}
	return w, nil
}

// CancelWork ends a work.
func (s *Store) CancelWork(ctx context.Context, org store.Organisation, work string, at time.Time) (w store.Work, err error) {
	err = s.inWork(ctx, org, work, func(ctx context.Context, tx *sql.Tx, key tables.Key) error {
		_, err := tx.ExecContext(ctx, `UPDATE work_chunk SET state = 'cancelled', step = step + 1, rows = x''
			WHERE organisation = $1 AND work = $2 AND state = 'queued'`, key.And()...)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE work SET state = 'cancelled', cancel_requested = 1, finished_at = $3
			WHERE organisation = $1 AND id = $2 AND state IN ('reading', 'queued', 'running')`, key.And(at.UnixMicro())...)
		if err != nil {
			return err
		}
		w, err = tables.Work(tx.QueryRowContext(ctx, `SELECT `+tables.Works+` FROM work w WHERE w.organisation = $1 AND w.id = $2`, key.And()...))
		return err
	})
	return w, err
}

// LastChange returns the newest work that has ended, those first that changed sites.
func (s *Store) LastChange(ctx context.Context, org store.Organisation, portfolio string) (store.Work, error) {
	return tables.One(ctx, &s.Reads, org, portfolio, tables.Work, `SELECT `+tables.Works+` FROM work w
		WHERE w.organisation = $1 AND w.portfolio = $2 AND w.state IN ('done', 'cancelled')
		ORDER BY EXISTS (SELECT 1 FROM portfolio_site s INDEXED BY portfolio_site_changed
				WHERE s.organisation = $1 AND s.portfolio = $2 AND s.changed_by = w.id AND s.before IS NOT NULL) DESC,
			w.created_at DESC, w.id DESC LIMIT 1`)
}
