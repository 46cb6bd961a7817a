package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"iter"
	"strings"
	"time"

	sqlite3 "modernc.org/sqlite/lib"

	"levinward/store"
	"levinward/store/tables"
)

// A row that this import brought (changed_in) is not replaced by the same import.
const (
	importDevice = `
INSERT INTO device (organisation, id, version, reference, name, reference_folded, name_folded, document, updated_at, changed_in)
VALUES ($1, $2, 1, $3, $4, $5, $6, $7, $8, $9)
ON CONFLICT (organisation, reference) WHERE withdrawn_at IS NULL `
	elseNothing = `DO NOTHING RETURNING version`
	elseReplace = `DO UPDATE SET version = device.version + 1, name = excluded.name, name_folded = excluded.name_folded,
	document = excluded.document, updated_at = excluded.updated_at, changed_in = excluded.changed_in
WHERE device.changed_in <> excluded.changed_in RETURNING version`
)

// ImportDevices stores a sequence of devices in one transaction.
func (s *Store) ImportDevices(ctx context.Context, org store.Organisation, devices iter.Seq2[store.Device, error],
	how store.Import) (done store.Imported, err error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return done, tables.NoOrganisation(org)
	}
	waiting, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	conn, err := s.writer.Conn(waiting)
	if err != nil {
		return done, translate(ctx, err)
	}
	defer conn.Close() // back to the pool
	// The caller's context is asked between the parts, see Store.do.
	running := context.WithoutCancel(ctx)
	tx, err := conn.BeginTx(running, nil)
	if err != nil {
		return done, translate(ctx, err)
	}
	if done, err = importAll(ctx, tx, owner, org, devices, how); err == nil && done.Taken > 0 && !how.Partial {
		err = store.ErrReferenceTaken
	}
	if err != nil || how.Probe {
		tx.Rollback() // err is the one to report
		return store.Imported{Taken: done.Taken}, translate(ctx, err)
	}
	return done, translate(ctx, tx.Commit())
}

func importAll(ctx context.Context, tx *sql.Tx, owner string, org store.Organisation, devices iter.Seq2[store.Device, error],
	how store.Import) (done store.Imported, err error) {
	running := context.WithoutCancel(ctx)
	library, err := nextLibrary(running, tx, owner, org)
	if err != nil {
		return done, err
	}
	text := importDevice + elseNothing
	if how.Replace {
		text = importDevice + elseReplace
	}
	insert, err := tx.PrepareContext(running, text)
	if err != nil {
		return done, err
	}
	defer insert.Close()
	n := 0
	for batch, err := range store.Batches(ctx, devices) {
		if err != nil {
			return done, err
		}
		for i := range batch {
			d := &batch[i]
			var version int
			err := insert.QueryRowContext(running, owner, d.ID, d.Reference, d.Name, store.Fold(d.Reference), store.Fold(d.Name),
				d.Document, d.UpdatedAt.UnixMicro(), library).Scan(&version)
			switch {
			case errors.Is(err, sql.ErrNoRows):
				done.Taken++
				if how.Taken != nil {
					how.Taken(n, *d)
				}
			case code(err) == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
				return done, fmt.Errorf("device: %w", store.ErrExists)
			case err != nil:
				return done, err
			case version == 1:
				done.Stored++
			default:
				done.Replaced++
			}
			n++
		}
	}
	return done, nil
}

// nextLibrary counts a change of a library and returns its new version.
func nextLibrary(ctx context.Context, tx *sql.Tx, owner string, org store.Organisation) (version int64, err error) {
	err = tx.QueryRowContext(ctx, `INSERT INTO device_library (organisation, version) VALUES ($1, 1)
		ON CONFLICT (organisation) DO UPDATE SET version = version + 1 RETURNING version`, owner).Scan(&version)
	if code(err) == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY {
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
	err = s.do(ctx, s.reader, func(ctx context.Context, c *sql.Conn) (err error) {
		d, err = tables.Device(c.QueryRowContext(ctx, `SELECT `+tables.Devices+` FROM device WHERE organisation = $1 AND id = $2`, key.And()...))
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
		document = $9, updated_at = $10`, d.Reference, d.Name, store.Fold(d.Reference), store.Fold(d.Name), d.Document, d.UpdatedAt.UnixMicro())
	if err != nil {
		return store.Device{}, err
	}
	d.Version = expected + 1
	return d, nil
}

// WithdrawDevice takes a device out of use.
func (s *Store) WithdrawDevice(ctx context.Context, org store.Organisation, id string, expected int, at time.Time) error {
	return s.change(ctx, org, id, expected, `version = version + 1, withdrawn_at = $5`, at.UnixMicro())
}

// change sets columns of a device in use; the values begin at $5.
func (s *Store) change(ctx context.Context, org store.Organisation, id string, expected int, set string, values ...any) error {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return err
	}
	return s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		now, err := tables.Device(tx.QueryRowContext(ctx, `SELECT `+tables.Devices+` FROM device WHERE organisation = $1 AND id = $2`,
			key.And()...))
		switch {
		case err != nil:
			return err
		case !now.WithdrawnAt.IsZero():
			return store.ErrWithdrawn
		case now.Version != expected:
			return &store.ConflictError{Current: now.Version}
		}
		library, err := nextLibrary(ctx, tx, key.Organisation, org)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `UPDATE device SET changed_in = $3, `+set+` WHERE organisation = $1 AND id = $2 AND version = $4`,
			append(key.And(library, expected), values...)...)
		if code(err) == sqlite3.SQLITE_CONSTRAINT_UNIQUE {
			return store.ErrReferenceTaken
		}
		return err
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

// devicesAfter reads the devices behind an id.
func (s *Store) devicesAfter(ctx context.Context, owner, after string, f store.DeviceFilter, limit int) (devices []store.Device,
	err error) {
	where := []string{`organisation = $1`, `id > $2`, `withdrawn_at IS NULL`}
	args := []any{owner, after, limit}
	if f.Withdrawn {
		where[2] = `withdrawn_at IS NOT NULL`
	}
	if f.Query != "" {
		where = append(where, `(instr(reference_folded, $4) > 0 OR instr(name_folded, $4) > 0)`)
		args = append(args, f.Query)
	}
	err = s.do(ctx, s.reader, func(ctx context.Context, c *sql.Conn) error {
		rows, err := c.QueryContext(ctx, `SELECT `+tables.Devices+` FROM device WHERE `+strings.Join(where,
			" AND ")+` ORDER BY id LIMIT $3`, args...)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			d, err := tables.Device(rows)
			if err != nil {
				return err
			}
			devices = append(devices, d)
		}
		return rows.Err()
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
	err = s.do(ctx, s.reader, func(ctx context.Context, c *sql.Conn) error {
		err := c.QueryRowContext(ctx, `SELECT version FROM device_library WHERE organisation = $1`, owner).Scan(&version)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		return err
	})
	return version, err
}
