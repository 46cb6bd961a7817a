package postgres

import (
	"strings"
	"testing"

	"levinward/store"
	"levinward/store/storetest"
)

// BenchmarkCreate stands beside its floor: one INSERT of the same bytes
// through the same pool into a table with nothing but a key.
func BenchmarkCreate(b *testing.B) {
	s := open(b, storetest.Postgres(b))
	_, err := s.pool.Exec(b.Context(), `
		CREATE TABLE bare (id uuid PRIMARY KEY, input bytea COMPRESSION lz4, result bytea COMPRESSION lz4, worksheet bytea COMPRESSION lz4)`)
	if err != nil {
		b.Fatal(err)
	}
	connectAll(b, s)
	b.Run("store", func(b *testing.B) {
		storetest.Parallel(b, func(r store.Record) error {
			_, _, err := s.Create(b.Context(), store.Local, r, nil)
			return err
		})
	})
	b.Run("store, with key", func(b *testing.B) {
		storetest.Parallel(b, func(r store.Record) error {
			_, _, err := s.Create(b.Context(), store.Local, r, &store.Idempotency{Key: r.ID, BodyHash: r.InputHash})
			return err
		})
	})
	b.Run("store, without the part that tells webhooks", func(b *testing.B) {
		untold := strings.Replace(create, told(store.EventCreated), "", 1)
		storetest.Parallel(b, func(r store.Record) error {
			return s.pool.QueryRow(b.Context(), untold, append(arguments(string(store.Local), &r), nil, nil)...).Scan(&r.Revision)
		})
	})
	b.Run("floor, bare insert", func(b *testing.B) {
		storetest.Parallel(b, func(r store.Record) error {
			_, err := s.pool.Exec(b.Context(), `INSERT INTO bare (id, input, result, worksheet) VALUES ($1, $2, $3, $4)`,
				r.ID, r.Input, r.Result, r.Worksheet)
			return err
		})
	})
	b.Run("store, with one webhook", func(b *testing.B) {
		_, err := s.CreateWebhook(b.Context(), store.Local, storetest.BenchmarkWebhook())
		if err != nil {
			b.Fatal(err)
		}
		defer s.pool.Exec(b.Context(), `DELETE FROM webhook`)
		storetest.Parallel(b, func(r store.Record) error {
			_, _, err := s.Create(b.Context(), store.Local, r, nil)
			return err
		})
	})
}

// connectAll makes all connections, so that no measurement has to.
func connectAll(b *testing.B, s *Store) {
	for range connections {
		c, err := s.pool.Acquire(b.Context())
		if err != nil {
			b.Fatal(err)
		}
		defer c.Release()
	}
}
