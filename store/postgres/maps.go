package postgres

import (
	"context"
	"io"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

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
	conn, err := s.pool.Acquire(waiting)
	if err != nil {
		return store.DensityMap{}, translate(ctx, err)
	}
	defer conn.Release()
	err = s.insertMap(ctx, conn, owner, &m, content)
	switch {
	case violates(err, uniqueViolation):
		err = store.ErrExists
	case violates(err, foreignKeyViolation):
		err = tables.NoOrganisation(org)
	}
	if err != nil {
		return store.DensityMap{}, translate(ctx, err)
	}
	return m, nil
}

// insertMap writes the chunks, a statement each. The caller's context is asked
// between them, see Store.do, and every statement has the usual time.
func (s *Store) insertMap(ctx context.Context, conn *pgxpool.Conn, owner string, m *store.DensityMap, content io.Reader) error {
	step := func(call func(ctx context.Context) error) error {
		running, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.patience)
		defer cancel()
		return call(running)
	}
	var tx pgx.Tx
	execute := func(statement string, args ...any) error {
		return step(func(ctx context.Context) error {
			_, err := tx.Exec(ctx, statement, args...)
			return err
		})
	}
	err := step(func(ctx context.Context) (err error) {
		tx, err = conn.Begin(ctx)
		return err
	})
	if err != nil {
		return err
	}
	err = execute(`INSERT INTO flash_density_map (organisation, id, created_at, name, description, size)
		VALUES ($1, $2, $3, $4, $5, 0)`, owner, m.ID, m.CreatedAt, m.Name, m.Description)
	if err == nil {
		m.Size, err = store.WriteMapChunks(ctx, content, func(number int, chunk []byte) error {
			return execute(`INSERT INTO flash_density_map_chunk (organisation, map, number, data)
				VALUES ($1, $2, $3, $4)`, owner, m.ID, number, chunk)
		})
	}
	if err == nil {
		err = execute(`UPDATE flash_density_map SET size = $3 WHERE organisation = $1 AND id = $2`, owner, m.ID, m.Size)
	}
	if err != nil {
		step(tx.Rollback) // err is the one to report
		return err
	}
	return step(tx.Commit)
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
		err = s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
			const query = `SELECT data FROM flash_density_map_chunk
				WHERE organisation = $1 AND map = $2 AND number = $3::bigint`
			return tables.OrNotFound(c.QueryRow(ctx, query, key.And(number)...).Scan(&chunk))
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
	return s.do(ctx, func(ctx context.Context, c *pgxpool.Conn) error {
		tag, err := c.Exec(ctx, `DELETE FROM flash_density_map WHERE organisation = $1 AND id = $2`, key.And()...)
		if err == nil && tag.RowsAffected() == 0 {
			return store.ErrNotFound
		}
		return err
	})
}
