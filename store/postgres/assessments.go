package postgres

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"levinward/store"
	"levinward/store/tables"
)

// ON CONFLICT waits for a concurrent request with the same key and then does
// nothing, so that no revision is inserted either.
var create = `
WITH head AS (
	INSERT INTO assessment (organisation, id, created_at, newest, name_folded, reference_folded,
		latitude, longitude, review_due, idempotency_key, body_hash)
	VALUES ($1, $2, $3, 1, $4, $5, $8, $9, $14, $18, $19)
	ON CONFLICT (organisation, idempotency_key) WHERE idempotency_key IS NOT NULL DO NOTHING
	RETURNING 1 AS revision
)` + told(store.EventCreated) + appendRevision

// An assessment whose newest revision is another one is not updated, and
// concurrent updates of one row follow each other.
var revise = `
WITH head AS (
	UPDATE assessment
	SET newest = newest + 1, name_folded = $4, reference_folded = $5,
		latitude = $8, longitude = $9, review_due = $14
	WHERE organisation = $1 AND id = $2 AND newest = $18::bigint
	RETURNING newest AS revision
)` + told(store.EventRevised) + appendRevision

const appendRevision = `
INSERT INTO revision (organisation, assessment, revision, created_at, name, reference, latitude, longitude,
	edition, engine, input_hash, definitions_hash, review_due, input, result, worksheet)
SELECT $1, $2, revision, $3, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17 FROM head
RETURNING revision`

// arguments are $1 to $17 of create and revise.
func arguments(org string, r *store.Record) []any {
	return []any{
		org, r.ID, r.CreatedAt, store.Fold(r.Name), store.Fold(r.Reference),
		r.Name, r.Reference, r.Latitude, r.Longitude, r.Edition, r.Engine,
		r.InputHash, r.DefinitionsHash, r.ReviewDue, r.Input, r.Result, r.Worksheet,
	}
}

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
	err := s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		for {
			err := c.QueryRow(ctx, create, append(arguments(owner, &r), key, bodyHash)...).Scan(&r.Revision)
			switch {
			case violates(err, uniqueViolation):
				return store.ErrExists
			case violates(err, foreignKeyViolation):
				return tables.NoOrganisation(org)
			case !errors.Is(err, pgx.ErrNoRows):
				return err
			}
			first, err := firstUnder(ctx, c, owner, idem)
			if errors.Is(err, store.ErrNotFound) {
				continue // the record with this key has just been deleted
			}
			r, replayed = first, true
			return err
		}
	})
	if err != nil {
		return store.Record{}, false, err
	}
	r.Worksheet, r.Summary = nil, nil
	return r, replayed, nil
}

// firstUnder returns the first revision of the record created with a key.
func firstUnder(ctx context.Context, c *pgxpool.Conn, owner string, idem *store.Idempotency) (store.Record, error) {
	const query = `
		SELECT a.body_hash, ` + tables.Header + `, r.input, r.result
		FROM assessment a JOIN revision r ON r.organisation = a.organisation AND r.assessment = a.id AND r.revision = 1
		WHERE a.organisation = $1 AND a.idempotency_key = $2`
	var bodyHash string
	r, err := tables.Record(c.QueryRow(ctx, query, owner, idem.Key), &bodyHash)
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
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		err := reviseOn(ctx, c, key.Organisation, &r, expected)
		if !errors.Is(err, pgx.ErrNoRows) {
			return err
		}
		var conflict store.ConflictError
		const newest = `SELECT newest FROM assessment WHERE organisation = $1 AND id = $2`
		if err := c.QueryRow(ctx, newest, key.And()...).Scan(&conflict.Current); err != nil {
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

// reviseOn appends a revision; the summary of a site changes with it. pgx.ErrNoRows: nothing was done.
func reviseOn(ctx context.Context, c *pgxpool.Conn, owner string, r *store.Record, expected int) error {
	appendWith := func(q interface {
		QueryRow(context.Context, string, ...any) pgx.Row
	}) error {
		return q.QueryRow(ctx, revise, append(arguments(owner, r), expected)...).Scan(&r.Revision)
	}
	if r.Summary == nil {
		return appendWith(c)
	}
	return pgx.BeginFunc(ctx, c, func(tx pgx.Tx) error {
		if err := appendWith(tx); err != nil {
			return err
		}
		var site pgx.Batch
		queueSite(&site, owner, r, nil, nil)
		return sendSites(ctx, tx, &site)
	})
}

// Delete removes an assessment; its revisions go with it.
func (s *Store) Delete(ctx context.Context, org store.Organisation, id string) error {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return err
	}
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		var deleted int
		err := c.QueryRow(ctx, deleteWhere(`organisation = $1 AND id = $2`), key.And()...).Scan(&deleted)
		if err == nil && deleted == 0 {
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
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		_, err := c.Exec(ctx, `INSERT INTO definitions (organisation, hash, document) VALUES ($1, $2, $3)
			ON CONFLICT DO NOTHING`, owner, hash, doc)
		if violates(err, foreignKeyViolation) {
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
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		_, err := c.Exec(ctx, `INSERT INTO organisation (id, name) VALUES ($1, $2)
			ON CONFLICT DO NOTHING`, string(org), name)
		return err
	})
}
