package sqlite

import (
	"context"
	"database/sql"
	"io"

	sqlite3 "modernc.org/sqlite/lib"

	"levinward/store"
	"levinward/store/tables"
)

// CreateDensityMap stores a map and its content in one transaction.
func (s *Store) CreateDensityMap(ctx context.Context, org store.Organisation, m store.DensityMap,
	content io.Reader) (store.DensityMap, error) {
	if err := m.Normalise(); err != nil {
		return store.DensityMap{}, err
	}
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.DensityMap{}, tables.NoOrganisation(org)
	}
	waiting, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	conn, err := s.writer.Conn(waiting)
	if err != nil {
		return store.DensityMap{}, translate(ctx, err)
	}
	defer conn.Close() // back to the pool
	// The caller's context is asked between the chunks, see Store.do.
	tx, err := conn.BeginTx(context.WithoutCancel(ctx), nil)
	if err != nil {
		return store.DensityMap{}, translate(ctx, err)
	}
	m.Size, err = insertMap(ctx, tx, owner, m, content)
	switch {
	case code(err) == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
		err = store.ErrExists
	case code(err) == sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
		err = tables.NoOrganisation(org)
	}
	if err != nil {
		tx.Rollback() // err is the one to report
		return store.DensityMap{}, translate(ctx, err)
	}
	return m, translate(ctx, tx.Commit())
}

func insertMap(ctx context.Context, tx *sql.Tx, owner string, m store.DensityMap, content io.Reader) (size int64, err error) {
	running := context.WithoutCancel(ctx)
	if _, err := tx.ExecContext(running, `INSERT INTO flash_density_map (organisation, id, created_at, name, description, size)
		VALUES ($1, $2, $3, $4, $5, 0)`, owner, m.ID, m.CreatedAt.UnixMicro(), m.Name, m.Description); err != nil {
		return 0, err
	}
	size, err = store.WriteMapChunks(ctx, content, func(number int, chunk []byte) error {
		_, err := tx.ExecContext(running, `INSERT INTO flash_density_map_chunk (organisation, map, number, data)
			VALUES ($1, $2, $3, $4)`, owner, m.ID, number, chunk)
		return err
	})
	if err != nil {
		return 0, err
	}
	_, err = tx.ExecContext(running, `UPDATE flash_density_map SET size = $3 WHERE organisation = $1 AND id = $2`, owner, m.ID, size)
	return size, err
}

// DensityMapContent reads the content of a map, a chunk at a time.
func (s *Store) DensityMapContent(ctx context.Context, org store.Organisation, id string) (io.Reader, error) {
	m, err := s.DensityMap(ctx, org, id)
	if err != nil {
		return nil, err
	}
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return nil, err
	}
	return store.ReadMapChunks(m.Size, func(number int) (chunk []byte, err error) {
		err = s.do(ctx, s.reader, func(ctx context.Context, c *sql.Conn) error {
			const query = `SELECT data FROM flash_density_map_chunk
				WHERE organisation = $1 AND map = $2 AND number = $3`
			return tables.OrNotFound(c.QueryRowContext(ctx, query, key.And(number)...).Scan(&chunk))
		})
		return chunk, err
	}), nil
}

// DeleteDensityMap removes a map; its chunks go with it.
func (s *Store) DeleteDensityMap(ctx context.Context, org store.Organisation, id string) error {
	key, err := tables.KeyOf(org, id)
	if err != nil {
		return err
	}
	return s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		deleted, err := affected(tx.ExecContext(ctx, `DELETE FROM flash_density_map WHERE organisation = $1 AND id = $2`, key.And()...))
		if err == nil && !deleted {
			return store.ErrNotFound
		}
		return err
	})
}
