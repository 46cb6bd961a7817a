// Package tables knows the columns of the tables that both databases have, and how a row of them becomes a record. What
// differs between the databases, such as how they keep times, is in their packages or in Moment.
package tables

import (
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"levinward/store"
)

// Row is a row of either driver.
type Row interface{ Scan(into ...any) error }

// Moment reads a time as either database keeps it: microseconds since 1970 or text of a date in SQLite, a time in
// PostgreSQL. It is in UTC whatever the driver makes of it; NULL is the zero time.
type Moment struct{ Time *time.Time }

// At reads into a time.
func At(t *time.Time) Moment { return Moment{t} }

// Scan implements sql.Scanner.
func (m Moment) Scan(value any) (err error) {
	switch v := value.(type) {
	case nil:
		*m.Time = time.Time{}
	case int64:
		*m.Time = time.UnixMicro(v).UTC()
	case time.Time:
		*m.Time = v.UTC()
	case string:
		*m.Time, err = time.Parse(time.DateOnly, v)
	default:
		return fmt.Errorf("a time is kept as %T", value)
	}
	return err
}

// OrNotFound is store.ErrNotFound where a query found no row. The error of both drivers is that of database/sql.
func OrNotFound(err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return store.ErrNotFound
	}
	return err
}

// Key is the key of a record, in canonical form.
type Key struct{ Organisation, ID string }

// KeyOf checks a key. What is no UUID is nobody's key: store.ErrNotFound.
func KeyOf(org store.Organisation, id string) (Key, error) {
	owner, ok1 := store.CanonicalID(string(org))
	id, ok2 := store.CanonicalID(id)
	if !ok1 || !ok2 {
		return Key{}, store.ErrNotFound
	}
	return Key{owner, id}, nil
}

// And are the arguments of a statement: organisation and id as $1 and $2, and then more.
func (k Key) And(more ...any) []any { return append([]any{k.Organisation, k.ID}, more...) }

// NoOrganisation is the error of an organisation that does not exist.
func NoOrganisation(org store.Organisation) error {
	return fmt.Errorf("organisation %.40q: %w", string(org), store.ErrNotFound)
}

// Header are the columns of a store.Header in the table revision, which a statement calls r.
const Header = `r.assessment, r.revision, r.created_at, r.name, r.reference, r.latitude, r.longitude,
	r.edition, r.engine, r.input_hash, r.definitions_hash, r.review_due`

// IntoHeader are the destinations of Header.
func IntoHeader(h *store.Header) []any {
	return []any{
		&h.ID, &h.Revision, At(&h.CreatedAt), &h.Name, &h.Reference, &h.Latitude, &h.Longitude,
		&h.Edition, &h.Engine, &h.InputHash, &h.DefinitionsHash, At(&h.ReviewDue),
	}
}

// JustHeader reads Header.
func JustHeader(row Row) (h store.Header, err error) {
	err = row.Scan(IntoHeader(&h)...)
	return h, err
}

// Record reads Header, input and result, after any further columns.
func Record(row Row, before ...any) (store.Record, error) {
	var r store.Record
	if err := row.Scan(append(append(before, IntoHeader(&r.Header)...), &r.Input, &r.Result)...); err != nil {
		return store.Record{}, OrNotFound(err)
	}
	return r, nil
}

// Entry reads Header, the time of the first revision and the result.
func Entry(row Row) (e store.Entry, err error) {
	err = row.Scan(append(IntoHeader(&e.Header), At(&e.FirstCreatedAt), &e.Result)...)
	return e, err
}

// Portfolios are the columns of a portfolio.
const Portfolios = `id, created_at, name, description`

// Portfolio reads Portfolios.
func Portfolio(row Row) (p store.Portfolio, err error) {
	err = row.Scan(&p.ID, At(&p.CreatedAt), &p.Name, &p.Description)
	return p, OrNotFound(err)
}

// Sites are the columns of a site, whose table a statement calls s.
const Sites = `s.assessment, s.reference, s.name, s.latitude, s.longitude, s.revision, s.ground_flashes, s.density_origin,
	s.density_map, s.worst_ratio, s.loss_of_human_life, s.excess, s.persons_at_risk, s.acceptable, s.needed_protection, s.required_devices,
	s.review_due, s.engine, s.input_hash, s.created_at, s.updated_at, s.imported_hash, s.imported_at`

// Site reads Sites.
func Site(row Row) (store.Site, error) { return SiteAnd(row) }

// SiteAnd reads Sites and then what more there is.
func SiteAnd(row Row, more ...any) (s store.Site, err error) {
	err = row.Scan(append([]any{&s.Assessment, &s.Reference, &s.Name, &s.Latitude, &s.Longitude, &s.Revision, &s.GroundFlashes,
		&s.DensityOrigin,
		&s.DensityMap, &s.WorstRatio, &s.LossOfHumanLife, &s.Excess, &s.PersonsAtRisk, &s.Acceptable, &s.NeededProtection, &s.RequiredDevices,
		At(&s.ReviewDue), &s.Engine, &s.InputHash, At(&s.CreatedAt), At(&s.UpdatedAt), &s.Imported.Hash, At(&s.Imported.At)}, more...)...)
	if s.Imported.Hash == "" { // no import is known
		s.Imported = store.ImportedRow{}
	}
	return s, OrNotFound(err)
}

// Works are the columns of a work, whose table a statement calls w.
const Works = `w.id, w.portfolio, w.kind, w.mode, w.state, w.options, w.chunks, w.total, w.done, w.failed, w.unchanged, w.noted,
	w.created_at, w.touched_at, w.started_at, w.finished_at, w.cancel_requested, w.idempotency_key, w.body_hash`

// Work reads Works.
func Work(row Row) (w store.Work, err error) {
	var key, bodyHash *string
	err = row.Scan(&w.ID, &w.Portfolio, &w.Kind, &w.Mode, &w.State, &w.Options, &w.Chunks, &w.Total, &w.Done, &w.Failed, &w.Unchanged,
		&w.Noted,
		At(&w.CreatedAt), At(&w.TouchedAt), At(&w.StartedAt), At(&w.FinishedAt), &w.CancelRequested, &key, &bodyHash)
	if key != nil && bodyHash != nil {
		w.Idempotency = &store.Idempotency{Key: *key, BodyHash: *bodyHash}
	}
	return w, OrNotFound(err)
}

// Faults are the columns of a fault.
const Faults = `row_number, n, column_name, value, reason, assessment, reference`

// Fault reads Faults.
func Fault(row Row) (f store.NumberedFault, err error) {
	err = row.Scan(&f.Row, &f.N, &f.Column, &f.Value, &f.Reason, &f.Assessment, &f.Reference)
	return f, err
}

// Chunks are the columns of a chunk.
const Chunks = `work, n, state, step, rows, failed`

// Chunk reads Chunks.
func Chunk(row Row) (c store.Chunk, err error) {
	err = row.Scan(&c.Work, &c.N, &c.State, &c.Step, &c.Rows, &c.Failed)
	return c, OrNotFound(err)
}

// Devices are the columns of a device.
const Devices = `id, version, reference, name, document, updated_at, withdrawn_at`

// Device reads Devices.
func Device(row Row) (d store.Device, err error) {
	err = row.Scan(&d.ID, &d.Version, &d.Reference, &d.Name, &d.Document, At(&d.UpdatedAt), At(&d.WithdrawnAt))
	if err != nil {
		return store.Device{}, OrNotFound(err)
	}
	return d, nil
}

// DensityMaps are the columns of a flash-density map without its content.
const DensityMaps = `id, created_at, name, description, size`

// DensityMap reads DensityMaps.
func DensityMap(row Row) (m store.DensityMap, err error) {
	err = row.Scan(&m.ID, At(&m.CreatedAt), &m.Name, &m.Description, &m.Size)
	return m, OrNotFound(err)
}

// Webhooks are the columns of a webhook.
const Webhooks = `id, created_at, url, events, secret`

// Webhook reads Webhooks.
func Webhook(row Row) (w store.Webhook, err error) {
	var events string
	err = row.Scan(&w.ID, At(&w.CreatedAt), &w.URL, &events, &w.Secret)
	w.Events = store.SplitEvents(events)
	return w, OrNotFound(err)
}

// Deliveries are the columns of a delivery.
const Deliveries = `webhook, n, event, assessment, revision, reference, happened_at, state, due_at, attempts, ` +
	`attempted_at, duration_ms, status, response, error`

// DeliveriesOf are Deliveries where a statement calls the table otherwise.
func DeliveriesOf(table string) string {
	return table + "." + strings.ReplaceAll(Deliveries, ", ", ", "+table+".")
}

// Delivery reads Deliveries.
func Delivery(row Row) (store.Delivery, error) { return DeliveryAnd(row) }

// DeliveryAnd reads Deliveries and then what more there is.
func DeliveryAnd(row Row, more ...any) (d store.Delivery, err error) {
	var milliseconds int64
	err = row.Scan(append([]any{&d.Webhook, &d.N, &d.Event, &d.Assessment, &d.Revision, &d.Reference, At(&d.HappenedAt),
		&d.State, At(&d.DueAt),
		&d.Attempts, At(&d.AttemptedAt), &milliseconds, &d.Status, &d.Response, &d.Error}, more...)...)
	d.Duration = time.Duration(milliseconds) * time.Millisecond
	return d, OrNotFound(err)
}

// Presets are the columns of a preset.
const Presets = `kind, name, version, document`

// Preset reads Presets.
func Preset(row Row) (p store.Preset, err error) {
	err = row.Scan(&p.Kind, &p.Name, &p.Version, &p.Document)
	return p, OrNotFound(err)
}
