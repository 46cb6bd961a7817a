package sqlite

import (
	"path/filepath"
	"testing"

	"levinward/store"
	"levinward/store/storetest"
)

// BenchmarkCreate stands beside its floor: one INSERT of the same bytes
// through the same connection into a table with nothing but a key.
func BenchmarkCreate(b *testing.B) {
	s := open(b, filepath.Join(b.TempDir(), "levinward.db"))
	if _, err := s.writer.Exec(`CREATE TABLE bare (id TEXT PRIMARY KEY, input BLOB, result BLOB, worksheet BLOB) STRICT`); err != nil {
		b.Fatal(err)
	}
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
	b.Run("floor, bare insert", func(b *testing.B) {
		insert, err := s.writer.Prepare(`INSERT INTO bare (id, input, result, worksheet) VALUES ($1, $2, $3, $4)`)
		if err != nil {
			b.Fatal(err)
		}
		defer insert.Close()
		storetest.Parallel(b, func(r store.Record) error {
			_, err := insert.ExecContext(b.Context(), r.ID, r.Input, r.Result, r.Worksheet)
			return err
		})
	})
	b.Run("store, with one webhook", func(b *testing.B) {
		_, err := s.CreateWebhook(b.Context(), store.Local, storetest.BenchmarkWebhook())
		if err != nil {
			b.Fatal(err)
		}
		defer s.writer.Exec(`DELETE FROM webhook`)
		storetest.Parallel(b, func(r store.Record) error {
			_, _, err := s.Create(b.Context(), store.Local, r, nil)
			return err
		})
	})
}
