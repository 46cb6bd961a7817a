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

// tell writes what webhooks are told, as a part of the statement that makes
// the change. A webhook that is being deleted is waited for, and then not told.
const tell = `INSERT INTO webhook_delivery (organisation, webhook, event, assessment, revision, reference, happened_at, due_at) `

// told is tell for the one assessment of create and revise, whose row is head.
func told(event string) string {
	return `
, told AS (` + tell + `
	SELECT w.organisation, w.id, '` + event + `', $2, head.revision, $7, $3, $3
	FROM head JOIN webhook w ON w.organisation = $1 AND w.events LIKE '% ` + event + ` %' FOR KEY SHARE OF w
)`
}

// deleteWhere deletes assessments and tells of them; it returns how many there were.
func deleteWhere(condition string) string {
	return `
WITH gone AS (
	DELETE FROM assessment WHERE ` + condition + ` RETURNING organisation, id, newest
), told AS (` + tell + `
	SELECT w.organisation, w.id, '` + store.EventDeleted + `', gone.id, gone.newest, r.reference, now(), now()
	FROM gone
	JOIN webhook w ON w.organisation = gone.organisation AND w.events LIKE '% ` + store.EventDeleted + ` %'
	JOIN revision r ON r.organisation = gone.organisation AND r.assessment = gone.id AND r.revision = gone.newest
	FOR KEY SHARE OF w
)
SELECT count(*) FROM gone`
}

// tellAll tells of many records, each with its revision.
func tellAll(ctx context.Context, tx pgx.Tx, owner, event string, n int, record func(int) *store.Record) error {
	if n == 0 {
		return nil
	}
	ids, revisions, references, times := make([]string, n), make([]int32, n), make([]string, n), make([]time.Time, n)
	for i := range n {
		r := record(i)
		ids[i], revisions[i], references[i], times[i] = r.ID, int32(r.Revision), r.Reference, r.CreatedAt
	}
	_, err := tx.Exec(ctx, tell+`
		SELECT w.organisation, w.id, $2::text, t.id, t.revision, t.reference, t.at, t.at
		FROM unnest($3::uuid[], $4::integer[], $5::text[], $6::timestamptz[]) AS t (id, revision, reference, at)
		JOIN webhook w ON w.organisation = $1 AND w.events LIKE '% ' || $2::text || ' %' FOR KEY SHARE OF w`,
		owner, event, ids, revisions, references, times)
	return err
}

// CreateWebhook stores a webhook.
func (s *Store) CreateWebhook(ctx context.Context, org store.Organisation, w store.Webhook) (created store.Webhook, err error) {
	if err := w.Normalise(); err != nil {
		return created, err
	}
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return created, tables.NoOrganisation(org)
	}
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) (err error) {
		created, err = tables.Webhook(c.QueryRow(ctx, `INSERT INTO webhook (organisation, id, created_at, url, events, secret)
			SELECT $1, $2, $3, $4, $5, $6 WHERE (SELECT count(*) FROM webhook WHERE organisation = $1) < $7::int
			RETURNING `+tables.Webhooks, owner, w.ID, w.CreatedAt, w.URL, store.JoinEvents(w.Events), w.Secret, store.MaxWebhooks))
		switch {
		case errors.Is(err, store.ErrNotFound):
			return store.ErrTooManyWebhooks
		case violates(err, uniqueViolation):
			return store.ErrExists
		case violates(err, foreignKeyViolation):
			return tables.NoOrganisation(org)
		}
		return err
	})
	if err != nil {
		return store.Webhook{}, err
	}
	return created, nil
}

// ChangeWebhook sets address and events.
func (s *Store) ChangeWebhook(ctx context.Context, org store.Organisation, id, url string, events []string) (store.Webhook, error) {
	if err := store.CheckWebhook(url, events); err != nil {
		return store.Webhook{}, err
	}
	return tables.One(ctx, &s.Reads, org, id, tables.Webhook, `UPDATE webhook SET url = $3, events = $4
		WHERE organisation = $1 AND id = $2 RETURNING `+tables.Webhooks,
		url, store.JoinEvents(events))
}

// DeleteWebhook removes a webhook; its deliveries go with it.
func (s *Store) DeleteWebhook(ctx context.Context, org store.Organisation, id string) error {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return err
	}
	return s.doLong(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		tag, err := c.Exec(ctx, `DELETE FROM webhook WHERE organisation = $1 AND id = $2`, key.And()...)
		if err == nil && tag.RowsAffected() == 0 {
			return store.ErrNotFound
		}
		return err
	})
}

// RetryDelivery makes a delivery due.
func (s *Store) RetryDelivery(ctx context.Context, org store.Organisation, webhook string, n int64, at time.Time) (store.Delivery, error) {
	return tables.One(ctx, &s.Reads, org, webhook, tables.Delivery,
		`UPDATE webhook_delivery d SET state = 'due', due_at = $4
			WHERE d.organisation = $1 AND d.webhook = $2 AND d.n = $3 RETURNING `+tables.DeliveriesOf("d"), n, at)
}

// ClaimDeliveries takes deliveries to a webhook that are due. Those that another replica is taking at this moment are passed over.
func (s *Store) ClaimDeliveries(
	ctx context.Context, org store.Organisation, webhook string, at, until time.Time, limit int,
) ([]store.Claimed, error) {
	key, err := tables.KeyOf(org, webhook)
	if err != nil {
		return nil, nil
	}
	return tables.All(ctx, &s.Reads, func(row tables.Row) (c store.Claimed, err error) {
		c.Delivery, err = tables.DeliveryAnd(row, &c.URL, &c.Secret)
		return c, err
	}, `WITH c AS (
			SELECT n FROM webhook_delivery WHERE organisation = $1 AND webhook = $2 AND state = 'due' AND due_at <= $3
			ORDER BY due_at, n LIMIT $5 FOR UPDATE SKIP LOCKED
		)
		UPDATE webhook_delivery d SET attempts = d.attempts + 1, due_at = $4
		FROM c, webhook w
		WHERE d.organisation = $1 AND d.webhook = $2 AND d.n = c.n AND w.organisation = $1 AND w.id = $2
		RETURNING `+tables.DeliveriesOf("d")+`, w.url, w.secret`, key.And(at, until, limit)...)
}

// SettleDelivery notes what came of an attempt.
func (s *Store) SettleDelivery(ctx context.Context, org store.Organisation, a store.Attempt) error {
	if err := a.Check(); err != nil {
		return err
	}
	key, err := tables.KeyOf(org, a.Webhook)
	if err != nil {
		return err
	}
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		tag, err := c.Exec(ctx, `UPDATE webhook_delivery SET state = $5, due_at = CASE WHEN $5::text = 'due' THEN $6 ELSE due_at END,
				attempted_at = $7, duration_ms = $8, status = $9, response = $10, error = $11
			WHERE organisation = $1 AND webhook = $2 AND n = $3 AND attempts = $4`,
			key.And(a.N, a.Number, a.State, a.DueAt, a.At, a.Duration.Milliseconds(), a.Status, a.Response, a.Error)...)
		if err == nil && tag.RowsAffected() == 0 {
			return store.ErrNotFound
		}
		return err
	})
}

// ForgetDeliveries removes deliveries that ended long ago.
func (s *Store) ForgetDeliveries(ctx context.Context, org store.Organisation, before time.Time, limit int) (forgotten int, err error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return 0, nil
	}
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		tag, err := c.Exec(ctx, `DELETE FROM webhook_delivery WHERE organisation = $1 AND (webhook, n) IN
			(SELECT webhook, n FROM webhook_delivery
			WHERE organisation = $1 AND state <> 'due' AND attempted_at < $2 LIMIT $3)`, owner, before, limit)
		forgotten = int(tag.RowsAffected())
		return err
	})
	return forgotten, err
}
