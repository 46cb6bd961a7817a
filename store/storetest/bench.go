package storetest

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"levinward/store"
)

// BenchmarkRecord returns a record of the size that a usual site has: 2 kB of
// input, 8 kB of result and 8 kB of worksheet.
func BenchmarkRecord() store.Record {
	r := record("A site of the usual size")
	r.CreatedAt = time.Now()
	r.Input, r.Result, r.Worksheet = numbers(2<<10), numbers(8<<10), numbers(8<<10)
	return r
}

// BenchmarkWebhook returns one that is told of everything.
func BenchmarkWebhook() store.Webhook {
	return store.Webhook{ID: newID(), CreatedAt: time.Now(), URL: "https://quotes.example/told", Events: store.Events, Secret: "secret"}
}

// numbers is a JSON object of about this size, mostly digits as in a result.
func numbers(size int) []byte {
	random := rand.New(rand.NewPCG(1, 2))
	doc := []byte("{")
	for len(doc) < size-40 {
		doc = fmt.Appendf(doc, `"value_%d": %v, `, len(doc), random.ExpFloat64())
	}
	return append(doc, `"last": 0}`...)
}

// Parallel measures a write that many make at once, each with a record of its own.
func Parallel(b *testing.B, write func(store.Record) error) {
	template := BenchmarkRecord()
	b.SetBytes(int64(len(template.Input) + len(template.Result) + len(template.Worksheet)))
	b.SetParallelism(16)
	b.ReportAllocs()
	b.RunParallel(func(pb *testing.PB) {
		for pb.Next() {
			r := template
			r.ID = newID()
			if err := write(r); err != nil {
				b.Error(err)
				return
			}
		}
	})
}
