package tables

import (
	"context"
	"time"

	"levinward/store"
)

// List returns a page of assessments.
func (r *Reads) List(ctx context.Context, org store.Organisation, f store.Filter) (store.Page, error) {
	if err := f.Normalise(); err != nil {
		return store.Page{}, err
	}
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.Page{}, nil
	}
	query, args, err := r.Dialect.List(owner, f)
	if err != nil {
		return store.Page{}, err
	}
	entries, err := All(ctx, r, Entry, query, args...)
	if err != nil {
		return store.Page{}, err
	}
	return store.NextPage(entries, f.Limit), nil
}

func justRecord(row Row) (store.Record, error) { return Record(row) }

// Newest returns the newest revision of an assessment.
func (r *Reads) Newest(ctx context.Context, org store.Organisation, id string) (store.Record, error) {
	return One(ctx, r, org, id, justRecord, `SELECT `+Header+`, r.input, r.result FROM revision r
		WHERE r.organisation = $1 AND r.assessment = $2 ORDER BY r.revision DESC LIMIT 1`)
}

// Revision returns one revision of an assessment.
func (r *Reads) Revision(ctx context.Context, org store.Organisation, id string, n int) (store.Record, error) {
	return One(ctx, r, org, id, justRecord, `SELECT `+Header+`, r.input, r.result FROM revision r
		WHERE r.organisation = $1 AND r.assessment = $2 AND r.revision = $3`+r.Dialect.Big, n)
}

// Worksheet returns the worksheet of one revision.
func (r *Reads) Worksheet(ctx context.Context, org store.Organisation, id string, n int) ([]byte, error) {
	return One(ctx, r, org, id, Value[[]byte],
		`SELECT worksheet FROM revision WHERE organisation = $1 AND assessment = $2 AND revision = $3`+r.Dialect.Big, n)
}

// Revisions returns all revisions of an assessment, oldest first.
func (r *Reads) Revisions(ctx context.Context, org store.Organisation, id string) ([]store.Header, error) {
	key, err := KeyOf(org, id)
	if err != nil {
		return nil, err
	}
	all, err := All(ctx, r, JustHeader,
		`SELECT `+Header+` FROM revision r WHERE r.organisation = $1 AND r.assessment = $2 ORDER BY r.revision`, key.And()...)
	if err == nil && len(all) == 0 {
		err = store.ErrNotFound
	}
	return all, err
}

// Definitions returns quantity definitions.
func (r *Reads) Definitions(ctx context.Context, org store.Organisation, hash string) ([]byte, error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok || store.CheckHash(hash) != nil {
		return nil, store.ErrNotFound
	}
	return First(ctx, r, Value[[]byte], `SELECT document FROM definitions WHERE organisation = $1 AND hash = $2`, owner, hash)
}

// DensityMap returns a map without its content.
func (r *Reads) DensityMap(ctx context.Context, org store.Organisation, id string) (store.DensityMap, error) {
	return One(ctx, r, org, id, DensityMap, `SELECT `+DensityMaps+` FROM flash_density_map WHERE organisation = $1 AND id = $2`)
}

// ListDensityMaps returns a page of maps.
func (r *Reads) ListDensityMaps(ctx context.Context, org store.Organisation, limit int, cursor string) (store.DensityMapPage, error) {
	from, err := store.ListStart(&limit, cursor)
	owner, ok := store.CanonicalID(string(org))
	if err != nil || !ok {
		return store.DensityMapPage{}, err
	}
	query, args := r.fromNewest(`SELECT `+DensityMaps+` FROM flash_density_map WHERE organisation = $1`, []any{owner, limit + 1}, from)
	maps, err := All(ctx, r, DensityMap, query, args...)
	if err != nil {
		return store.DensityMapPage{}, err
	}
	return store.NextMapPage(maps, limit), nil
}

// Webhook returns one webhook.
func (r *Reads) Webhook(ctx context.Context, org store.Organisation, id string) (store.Webhook, error) {
	return One(ctx, r, org, id, Webhook, `SELECT `+Webhooks+` FROM webhook WHERE organisation = $1 AND id = $2`)
}

// ListWebhooks returns all webhooks.
func (r *Reads) ListWebhooks(ctx context.Context, org store.Organisation) ([]store.Webhook, error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return nil, nil
	}
	return All(ctx, r, Webhook, `SELECT `+Webhooks+` FROM webhook WHERE organisation = $1 ORDER BY created_at, id`, owner)
}

// ListDeliveries returns a page of the deliveries of a webhook.
func (r *Reads) ListDeliveries(ctx context.Context, org store.Organisation, webhook string, limit int,
	cursor string) (store.DeliveryPage, error) {
	below, err := store.DeliveryListStart(&limit, cursor)
	if err != nil {
		return store.DeliveryPage{}, err
	}
	key, err := KeyOf(org, webhook)
	if err != nil {
		return store.DeliveryPage{}, err
	}
	all, err := All(ctx, r, Delivery, `SELECT `+Deliveries+` FROM webhook_delivery
		WHERE organisation = $1 AND webhook = $2 AND n < $3 ORDER BY n DESC LIMIT $4`, key.And(below, limit+1)...)
	if err == nil && len(all) == 0 {
		_, err = r.Webhook(ctx, org, webhook)
	}
	if err != nil {
		return store.DeliveryPage{}, err
	}
	return store.NextDeliveryPage(all, limit), nil
}

// WebhooksToTell returns webhooks with deliveries that are due.
func (r *Reads) WebhooksToTell(ctx context.Context, org store.Organisation, due time.Time) ([]string, error) {
	return r.Lanes(ctx, org, `SELECT w.id FROM webhook w WHERE w.organisation = $1 AND EXISTS (SELECT 1 FROM webhook_delivery d
		WHERE d.organisation = $1 AND d.webhook = w.id AND d.state = 'due' AND d.due_at <= $2) ORDER BY w.created_at, w.id`, due)
}
