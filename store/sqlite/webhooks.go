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

// tell writes what webhooks are told of a revision.
const tell = `
INSERT INTO webhook_delivery (organisation, webhook, event, assessment, revision, reference, happened_at, due_at)
SELECT w.organisation, w.id, $2, $3, $4, $5, $6, $6 FROM webhook w WHERE w.organisation = $1 AND w.events LIKE '% ' || $2 || ' %'`

// tellOf writes what webhooks are told of a record that was stored.
func (s *Store) tellOf(ctx context.Context, tx *sql.Tx, owner string, r *store.Record) error {
	event := store.EventRevised
	if r.Revision == 1 {
		event = store.EventCreated
	}
	_, err := tx.StmtContext(ctx, s.tell).ExecContext(ctx, owner, event, r.ID, r.Revision, r.Reference, r.CreatedAt.UnixMicro())
	return err
}

// deleteWhere tells of assessments and then deletes them. $1 is the organisation, $2 an id.
func deleteWhere(ctx context.Context, tx *sql.Tx, key tables.Key, condition string) (deleted bool, err error) {
	_, err = tx.ExecContext(ctx, `
		INSERT INTO webhook_delivery (organisation, webhook, event, assessment, revision, reference, happened_at, due_at)
		SELECT w.organisation, w.id, '`+store.EventDeleted+`', r.assessment, r.revision, r.reference, $3, $3
		FROM webhook w
		JOIN assessment a ON a.organisation = w.organisation
		JOIN revision r ON r.organisation = a.organisation AND r.assessment = a.id AND r.revision = a.newest
		WHERE w.organisation = $1 AND w.events LIKE '% `+store.EventDeleted+` %' AND a.`+condition, key.And(time.Now().UnixMicro())...)
	if err != nil {
		return false, err
	}
	return affected(tx.ExecContext(ctx, `DELETE FROM assessment WHERE organisation = $1 AND `+condition, key.And()...))
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
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) (err error) {
		created, err = tables.Webhook(tx.QueryRowContext(ctx, `INSERT INTO webhook (organisation, id, created_at, url, events, secret)
			SELECT $1, $2, $3, $4, $5, $6 WHERE (SELECT count(*) FROM webhook WHERE organisation = $1) < $7
			RETURNING `+tables.Webhooks, owner, w.ID, w.CreatedAt.UnixMicro(), w.URL, store.JoinEvents(w.Events), w.Secret, store.MaxWebhooks))
		switch {
		case errors.Is(err, store.ErrNotFound):
			return store.ErrTooManyWebhooks
		case code(err) == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
			return store.ErrExists
		case code(err) == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
			return tables.NoOrganisation(org)
		}
		return err
	})
	if err != nil { // also that of confirming it
		if code(err) == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY {
			err = tables.NoOrganisation(org)
		}
		return store.Webhook{}, err
	}
	return created, nil
}

// ChangeWebhook sets address and events.
func (s *Store) ChangeWebhook(ctx context.Context, org store.Organisation, id, url string, events []string) (store.Webhook, error) {
	if err := store.CheckWebhook(url, events); err != nil {
		return store.Webhook{}, err
	}
	return writeOne(ctx, s, org, id, tables.Webhook, `UPDATE webhook SET url = $3, events = $4
		WHERE organisation = $1 AND id = $2 RETURNING `+tables.Webhooks,
		url, store.JoinEvents(events))
}

// writeOne changes and reads one row; $1 and $2 are organisation and id.
func writeOne[T any](ctx context.Context, s *Store, org store.Organisation, id string, scan func(tables.Row) (T, error), query string,
	args ...any) (v T, err error) {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return v, err
	}
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) (err error) {
		v, err = scan(tx.QueryRowContext(ctx, query, key.And(args...)...))
		return err
	})
	if err != nil {
		var none T
		return none, err
	}
	return v, nil
}

// DeleteWebhook removes a webhook; its deliveries go with it.
func (s *Store) DeleteWebhook(ctx context.Context, org store.Organisation, id string) error {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return err
	}
	return s.writeLong(ctx, func(ctx context.Context, tx *sql.Tx) error {
		deleted, err := affected(tx.ExecContext(ctx, `DELETE FROM webhook WHERE organisation = $1 AND id = $2`, key.And()...))
		if err == nil && !deleted {
			return store.ErrNotFound
		}
		return err
	})
}

// RetryDelivery makes a delivery due.
func (s *Store) RetryDelivery(ctx context.Context, org store.Organisation, webhook string, n int64, at time.Time) (store.Delivery, error) {
	return writeOne(ctx, s, org, webhook, tables.Delivery,
		`UPDATE webhook_delivery SET state = 'due', due_at = $4 WHERE organisation = $1 AND webhook = $2 AND n = $3
			RETURNING `+tables.Deliveries, n, at.UnixMicro())
}

// ClaimDeliveries takes deliveries to a webhook that are due.
func (s *Store) ClaimDeliveries(
	ctx context.Context, org store.Organisation, webhook string, at, until time.Time, limit int,
) (claimed []store.Claimed, err error) {
	key, err := tables.KeyOf(org, webhook)
	if err != nil {
		return nil, nil
	}
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		w, err := tables.Webhook(tx.QueryRowContext(ctx, `SELECT `+tables.Webhooks+` FROM webhook WHERE organisation = $1 AND id = $2`,
			key.And()...))
		if errors.Is(err, store.ErrNotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		rows, err := tx.QueryContext(ctx, `UPDATE webhook_delivery SET attempts = attempts + 1, due_at = $4 WHERE n IN (
				SELECT n FROM webhook_delivery WHERE organisation = $1 AND webhook = $2 AND state = 'due' AND due_at <= $3 ORDER BY due_at, n LIMIT $5)
			RETURNING `+tables.Deliveries, key.And(at.UnixMicro(), until.UnixMicro(), limit)...)
		if err != nil {
			return err
		}
		claimed, err = scanAll(rows, func(row tables.Row) (store.Claimed, error) {
			d, err := tables.Delivery(row)
			return store.Claimed{Delivery: d, URL: w.URL, Secret: w.Secret}, err
		})
		return err
	})
	if err != nil {
		return nil, err
	}
	return claimed, nil
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
	return s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		changed, err := affected(tx.ExecContext(ctx, `UPDATE webhook_delivery
			SET state = $5, due_at = CASE WHEN $5 = 'due' THEN $6 ELSE due_at END,
				attempted_at = $7, duration_ms = $8, status = $9, response = $10, error = $11
			WHERE organisation = $1 AND webhook = $2 AND n = $3 AND attempts = $4`,
			key.And(a.N, a.Number, a.State, a.DueAt.UnixMicro(), a.At.UnixMicro(), a.Duration.Milliseconds(), a.Status, a.Response, a.Error)...))
		if err == nil && !changed {
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
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		result, err := tx.ExecContext(ctx, `DELETE FROM webhook_delivery WHERE n IN
			(SELECT n FROM webhook_delivery WHERE organisation = $1 AND state <> 'due'
			AND attempted_at < $2 LIMIT $3)`, owner, before.UnixMicro(), limit)
		if err != nil {
			return err
		}
		n, err := result.RowsAffected()
		forgotten = int(n)
		return err
	})
	return forgotten, err
}
