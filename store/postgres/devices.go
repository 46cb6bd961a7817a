package postgres

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"levinward/store"
	"levinward/store/tables"
)

// A row that this import brought (changed_in) is not replaced by the same import.
const (
	importDevices = `
INSERT INTO device (organisation, id, version, reference, name, reference_folded, name_folded, document, updated_at, changed_in)
SELECT $1, id::uuid, 1, reference, name, reference_folded, name_folded, document, updated_at, $2
FROM unnest($3::text[], $4::text[], $5::text[], $6::text[], $7::text[], $8::bytea[], $9::timestamptz[])
	AS t (id, reference, name, reference_folded, name_folded, document, updated_at)
ON CONFLICT (organisation, reference) WHERE withdrawn_at IS NULL `
	elseNothing = `DO NOTHING RETURNING reference, version`
	elseReplace = `DO UPDATE SET version = device.version + 1, name = excluded.name, name_folded = excluded.name_folded,
	document = excluded.document, updated_at = excluded.updated_at, changed_in = excluded.changed_in
WHERE device.changed_in <> excluded.changed_in RETURNING reference, version`
)

// ImportDevices stores a sequence of devices in one transaction, a statement for each part of it.
func (s *Store) ImportDevices(ctx context.Context, org store.Organisation, devices iter.Seq2[store.Device, error],
	how store.Import) (done store.Imported, err error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return done, tables.NoOrganisation(org)
	}
	waiting, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	conn, err := s.pool.Acquire(waiting)
	if err != nil {
		return done, translate(ctx, err)
	}
	defer conn.Release()
	i := deviceImport{patience: s.patience, how: how}
	err = i.step(ctx, func(ctx context.Context) (err error) {
		i.tx, err = conn.Begin(ctx)
		return err
	})
	if err != nil {
		return done, translate(ctx, err)
	}
	if err = i.all(ctx, owner, org, devices); err == nil && i.done.Taken > 0 && !how.Partial {
		err = store.ErrReferenceTaken
	}
	if err != nil || how.Probe {
		i.step(ctx, i.tx.Rollback) // err is the one to report
		return store.Imported{Taken: i.done.Taken}, translate(ctx, err)
	}
	return i.done, translate(ctx, i.step(ctx, i.tx.Commit))
}

// deviceImport is an import under way.
type deviceImport struct {
	patience time.Duration
	how      store.Import
	tx       pgx.Tx
	done     store.Imported
	seen     int
}

// step bounds the time of one statement and sees it through, see Store.do.
func (i *deviceImport) step(ctx context.Context, call func(context.Context) error) error {
	running, cancel := context.WithTimeout(context.WithoutCancel(ctx), i.patience)
	defer cancel()
	return call(running)
}

func (i *deviceImport) all(ctx context.Context, owner string, org store.Organisation, devices iter.Seq2[store.Device, error]) error {
	var library int64
	err := i.step(ctx, func(ctx context.Context) (err error) {
		library, err = nextLibrary(ctx, i.tx, owner, org)
		return err
	})
	if err != nil {
		return err
	}
	for batch, err := range store.Batches(ctx, devices) {
		if err == nil {
			err = i.step(ctx, func(ctx context.Context) error { return i.batch(ctx, owner, library, batch) })
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// batch stores a part of the sequence. What stands in it twice is left to the
// first: one statement cannot change a row a second time.
func (i *deviceImport) batch(ctx context.Context, owner string, library int64, batch []store.Device) error {
	first := make(map[string]int, len(batch)) // place by reference
	var columns [5][]string
	var documents [][]byte
	var times []time.Time
	for n := range batch {
		d := &batch[n]
		if _, twice := first[d.Reference]; twice {
			continue
		}
		first[d.Reference] = n
		for c, text := range [...]string{d.ID, d.Reference, d.Name, store.Fold(d.Reference), store.Fold(d.Name)} {
			columns[c] = append(columns[c], text)
		}
		documents, times = append(documents, d.Document), append(times, d.UpdatedAt)
	}
	text := importDevices + elseNothing
	if i.how.Replace {
		text = importDevices + elseReplace
	}
	rows, err := i.tx.Query(ctx, text, owner, library, columns[0], columns[1], columns[2], columns[3], columns[4], documents, times)
	if err != nil {
		return err
	}
	stored := make([]bool, len(batch))
	var reference string
	var version int
	_, err = pgx.ForEachRow(rows, []any{&reference, &version}, func() error {
		stored[first[reference]] = true
		if version == 1 {
			i.done.Stored++
		} else {
			i.done.Replaced++
		}
		return nil
	})
	if violates(err, uniqueViolation) {
		return fmt.Errorf("device: %w", store.ErrExists)
	}
	if err != nil {
		return err
	}
	for n := range batch {
		if !stored[n] {
			i.done.Taken++
			if i.how.Taken != nil {
				i.how.Taken(i.seen+n, batch[n])
			}
		}
	}
	i.seen += len(batch)
	return nil
}

// nextLibrary counts a change of a library and returns its new version. Other
// changes of the library wait until the transaction ends.
func nextLibrary(ctx context.Context, tx pgx.Tx, owner string, org store.Organisation) (version int64, err error) {
	err = tx.QueryRow(ctx, `INSERT INTO device_library (organisation, version) VALUES ($1, 1)
		ON CONFLICT (organisation) DO UPDATE SET version = device_library.version + 1 RETURNING version`, owner).Scan(&version)
	if violates(err, foreignKeyViolation) {
		return 0, tables.NoOrganisation(org)
	}
	return version, err
}

// Device returns one device.
func (s *Store) Device(ctx context.Context, org store.Organisation, id string) (d store.Device, err error) {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return store.Device{}, err
	}
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) (err error) {
		d, err = tables.Device(c.QueryRow(ctx, `SELECT `+tables.Devices+` FROM device WHERE organisation = $1 AND id = $2`, key.And()...))
		return err
	})
	return d, err
}

// ReplaceDevice stores the next version of a device.
func (s *Store) ReplaceDevice(ctx context.Context, org store.Organisation, d store.Device, expected int) (store.Device, error) {
	if _, err := tables.KeyOf(org, d.ID); err != nil {
		return store.Device{}, err
	}
	if err := d.Normalise(); err != nil {
		return store.Device{}, err
	}
	err := s.change(ctx, org, d.ID, expected, `version = version + 1, reference = $5, name = $6, reference_folded = $7, name_folded = $8,
		document = $9, updated_at = $10`, d.Reference, d.Name, store.Fold(d.Reference), store.Fold(d.Name), d.Document, d.UpdatedAt)
	if err != nil {
		return store.Device{}, err
	}
	d.Version = expected + 1
	return d, nil
}

// WithdrawDevice takes a device out of use.
func (s *Store) WithdrawDevice(ctx context.Context, org store.Organisation, id string, expected int, at time.Time) error {
	return s.change(ctx, org, id, expected, `version = version + 1, withdrawn_at = $5`, at)
}

// change sets columns of a device in use; the values begin at $5. It takes the
// row of the library first, as an import does, so that the two never wait for each other.
func (s *Store) change(ctx context.Context, org store.Organisation, id string, expected int, set string, values ...any) error {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return err
	}
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		return pgx.BeginFunc(ctx, c, func(tx pgx.Tx) error {
			library, err := nextLibrary(ctx, tx, key.Organisation, org)
			if err != nil {
				return err
			}
			now, err := tables.Device(tx.QueryRow(ctx, `SELECT `+tables.Devices+` FROM device WHERE organisation = $1 AND id = $2`, key.And()...))
			switch {
			case err != nil:
				return err
			case !now.WithdrawnAt.IsZero():
				return store.ErrWithdrawn
			case now.Version != expected:
				return &store.ConflictError{Current: now.Version}
			}
			_, err = tx.Exec(ctx, `UPDATE device SET changed_in = $3, `+set+` WHERE organisation = $1 AND id = $2 AND version = $4`,
				append(key.And(library, expected), values...)...)
			if violates(err, uniqueViolation) {
				return store.ErrReferenceTaken
			}
			return err
		})
	})
}

// ListDevices returns a page of devices.
func (s *Store) ListDevices(ctx context.Context, org store.Organisation, f store.DeviceFilter) (store.DevicePage, error) {
	after, err := f.Normalise()
	owner, ok := store.CanonicalID(string(org))
	if err != nil || !ok {
		return store.DevicePage{}, err
	}
	devices, err := s.devicesAfter(ctx, owner, after, f, f.Limit+1)
	return store.NextDevicePage(devices, f.Limit), err
}

// devicesAfter reads the devices behind an id, the first ones where it is empty.
func (s *Store) devicesAfter(ctx context.Context, owner, after string, f store.DeviceFilter, limit int) (devices []store.Device,
	err error) {
	where := []string{`organisation = $1`, `withdrawn_at IS NULL`}
	args := []any{owner, limit}
	arg := func(v any) string {
		args = append(args, v)
		return fmt.Sprintf("$%d", len(args))
	}
	if f.Withdrawn {
		where[1] = `withdrawn_at IS NOT NULL`
	}
	if after != "" {
		where = append(where, `id > `+arg(after))
	}
	if f.Query != "" {
		q := arg(f.Query)
		where = append(where, fmt.Sprintf(`(strpos(reference_folded, %s) > 0 OR strpos(name_folded, %s) > 0)`, q, q))
	}
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		rows, err := c.Query(ctx, `SELECT `+tables.Devices+` FROM device WHERE `+strings.Join(where, " AND ")+` ORDER BY id LIMIT $2`, args...)
		if err != nil {
			return err
		}
		devices, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (store.Device, error) { return tables.Device(row) })
		return err
	})
	return devices, err
}

// EachDevice goes through all devices in use.
func (s *Store) EachDevice(ctx context.Context, org store.Organisation) iter.Seq2[store.Device, error] {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return func(func(store.Device, error) bool) {}
	}
	return store.InParts(func(after string, limit int) ([]store.Device, error) {
		return s.devicesAfter(ctx, owner, after, store.DeviceFilter{}, limit)
	})
}

// DeviceLibraryVersion counts the changes of a library.
func (s *Store) DeviceLibraryVersion(ctx context.Context, org store.Organisation) (version int64, err error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return 0, nil
	}
	err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		err := c.QueryRow(ctx, `SELECT version FROM device_library WHERE organisation = $1`, owner).Scan(&version)
		if errors.Is(err, pgx.ErrNoRows) {
			return nil
		}
		return err
	})
	return version, err
}
