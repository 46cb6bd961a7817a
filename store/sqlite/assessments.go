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

const create = `
INSERT INTO assessment (organisation, id, created_at, newest, name_folded, reference_folded,
	latitude, longitude, review_due, idempotency_key, body_hash)
VALUES ($1, $2, $3, 1, $4, $5, $6, $7, $8, $9, $10)
ON CONFLICT (organisation, idempotency_key) WHERE idempotency_key IS NOT NULL DO NOTHING`

const revise = `
UPDATE assessment
SET newest = newest + 1, name_folded = $3, reference_folded = $4, latitude = $5, longitude = $6, review_due = $7
WHERE organisation = $1 AND id = $2 AND newest = $8`

const appendRevision = `
INSERT INTO revision (organisation, assessment, revision, created_at, name, reference, latitude, longitude,
	edition, engine, input_hash, definitions_hash, review_due, input, result, worksheet)
VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)`

func (s *Store) prepare(ctx context.Context) error {
	for _, p := range []struct {
		stmt **sql.Stmt
		text string
	}{{&s.create, create}, {&s.revise, revise}, {&s.appendRevision, appendRevision}, {&s.tell, tell}} {
		stmt, err := s.writer.PrepareContext(ctx, p.text)
		if err != nil {
			return err
		}
		*p.stmt = stmt
	}
	return nil
}

func fromMicros(t int64) time.Time { return time.UnixMicro(t).UTC() }

// Create stores the first revision of an assessment.
func (s *Store) Create(ctx context.Context, org store.Organisation, r store.Record, idem *store.Idempotency) (store.Record, bool, error) {
	if err := errors.Join(r.Normalise(), idem.Check()); err != nil {
		return store.Record{}, false, err
	}
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.Record{}, false, tables.NoOrganisation(org)
	}
	var key, bodyHash *string
	if idem != nil {
		key, bodyHash = &idem.Key, &idem.BodyHash
	}
	replayed := false
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		inserted, err := affected(tx.StmtContext(ctx, s.create).ExecContext(ctx,
			owner, r.ID, r.CreatedAt.UnixMicro(), store.Fold(r.Name), store.Fold(r.Reference),
			r.Latitude, r.Longitude, r.ReviewDue.Format(time.DateOnly), key, bodyHash))
		switch {
		case code(err) == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
			return store.ErrExists
		case code(err) == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
			return tables.NoOrganisation(org)
		case err != nil:
			return err
		case inserted:
			r.Revision = 1
			return s.append(ctx, tx, owner, &r)
		}
		r, err = firstUnder(ctx, tx, owner, idem)
		replayed = true
		return err
	})
	if err != nil {
		return store.Record{}, false, err
	}
	r.Worksheet, r.Summary = nil, nil
	return r, replayed, nil
}

// append stores a revision and tells of it.
func (s *Store) append(ctx context.Context, tx *sql.Tx, owner string, r *store.Record) error {
	_, err := tx.StmtContext(ctx, s.appendRevision).ExecContext(ctx,
		owner, r.ID, r.Revision, r.CreatedAt.UnixMicro(), r.Name, r.Reference, r.Latitude, r.Longitude,
		r.Edition, r.Engine, r.InputHash, r.DefinitionsHash, r.ReviewDue.Format(time.DateOnly),
		r.Input, r.Result, r.Worksheet)
	if err != nil {
		return err
	}
	return s.tellOf(ctx, tx, owner, r)
}

// firstUnder returns the first revision of the record created with a key.
func firstUnder(ctx context.Context, tx *sql.Tx, owner string, idem *store.Idempotency) (store.Record, error) {
	const query = `
		SELECT a.body_hash, ` + tables.Header + `, r.input, r.result
		FROM assessment a JOIN revision r ON r.organisation = a.organisation AND r.assessment = a.id AND r.revision = 1
		WHERE a.organisation = $1 AND a.idempotency_key = $2`
	var bodyHash string
	r, err := tables.Record(tx.QueryRowContext(ctx, query, owner, idem.Key), &bodyHash)
	if err == nil && bodyHash != idem.BodyHash {
		return store.Record{}, store.ErrKeyReused
	}
	return r, err
}

// Revise appends a revision to an assessment.
func (s *Store) Revise(ctx context.Context, org store.Organisation, r store.Record, expected int) (store.Record, error) {
	key, err := tables.KeyOf(org, r.ID)
	if err != nil {
		return store.Record{}, err
	}
	if err := r.Normalise(); err != nil {
		return store.Record{}, err
	}
	r.Revision = expected + 1
	owner := key.Organisation
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		updated, err := affected(tx.StmtContext(ctx, s.revise).ExecContext(ctx,
			owner, r.ID, store.Fold(r.Name), store.Fold(r.Reference),
			r.Latitude, r.Longitude, r.ReviewDue.Format(time.DateOnly), expected))
		if err != nil {
			return err
		}
		if updated {
			if err := s.append(ctx, tx, owner, &r); err != nil || r.Summary == nil {
				return err
			}
			return updateSite(ctx, tx, owner, &r, nil, nil)
		}
		var conflict store.ConflictError
		const newest = `SELECT newest FROM assessment WHERE organisation = $1 AND id = $2`
		if err := tx.QueryRowContext(ctx, newest, key.And()...).Scan(&conflict.Current); err != nil {
			return tables.OrNotFound(err)
		}
		return &conflict
	})
	if err != nil {
		return store.Record{}, err
	}
	r.Worksheet, r.Summary = nil, nil
	return r, nil
}

// Delete removes an assessment; its revisions go with it.
func (s *Store) Delete(ctx context.Context, org store.Organisation, id string) error {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return err
	}
	return s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		deleted, err := deleteWhere(ctx, tx, key, `id = $2`)
		if err == nil && !deleted {
			return store.ErrNotFound
		}
		return err
	})
}

// PutDefinitions stores quantity definitions unless they are there.
func (s *Store) PutDefinitions(ctx context.Context, org store.Organisation, hash string, doc []byte) error {
	if err := store.CheckDefinitions(hash, doc); err != nil {
		return err
	}
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return tables.NoOrganisation(org)
	}
	return s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO definitions (organisation, hash, document) VALUES ($1, $2, $3)
			ON CONFLICT DO NOTHING`, owner, hash, doc)
		if code(err) == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY {
			return tables.NoOrganisation(org)
		}
		return err
	})
}

// AddOrganisation makes an organisation known unless it already is.
func (s *Store) AddOrganisation(ctx context.Context, org store.Organisation, name string) error {
	if err := store.CheckOrganisation(org, name); err != nil {
		return err
	}
	owner, _ := store.CanonicalID(string(org))
	return s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO organisation (id, name) VALUES ($1, $2)
			ON CONFLICT DO NOTHING`, owner, name)
		return err
	})
}

// affected tells whether a statement changed a row.
func affected(result sql.Result, err error) (bool, error) {
	if err != nil {
		return false, err
	}
	n, err := result.RowsAffected()
	return n > 0, err
}
