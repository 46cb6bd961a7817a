package devices_test

import (
	"levinward/tabletext"

	"net/http"
	"runtime"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"levinward/api/apitest"
	"levinward/api/wire"
	"levinward/store"
	"levinward/store/postgres"
	"levinward/store/storetest"
)

// watchHeap measures the highest heap, beyond what was in use before, while something runs.
func watchHeap(run func()) (peak uint64) {
	var before, now runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	var done atomic.Bool
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		for !done.Load() {
			runtime.ReadMemStats(&now)
			peak = max(peak, now.HeapAlloc)
			time.Sleep(5 * time.Millisecond)
		}
	}()
	run()
	done.Store(true)
	<-stopped
	return peak - min(peak, before.HeapAlloc)
}

// TestUploadOfFullSize uploads the largest table there may be, of some 40 MB, and looks at the memory it takes.
func TestUploadOfFullSize(t *testing.T) {
	const allowed = 64 << 20
	for name, open := range apitest.Stores() {
		t.Run(name, func(t *testing.T) {
			server := apitest.NewServer(t, open(t))
			table := bigTable(wire.MaxDeviceRows)
			peak := watchHeap(func() {
				if w := send(server, t.Context(), "", table); w.Code != http.StatusOK {
					t.Errorf("%d %.300s", w.Code, w.Body)
				}
			})
			t.Logf("%d rows of %d MiB: %d MiB of memory", wire.MaxDeviceRows, table.given>>20, peak>>20)
			if peak > allowed {
				t.Errorf("%d MiB of memory, at most %d are allowed", peak>>20, allowed>>20)
			}
		})
	}
}

// BenchmarkDeviceUpload stands beside its floor, a bare COPY of the same documents into a table with nothing but a key.
func BenchmarkDeviceUpload(b *testing.B) {
	const rows = 50_000
	perSecond := func(b *testing.B) { b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s") }
	b.Run("SQLite", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			server := apitest.NewServer(b, apitest.OpenSQLite(b))
			b.StartTimer()
			if w := send(server, b.Context(), "", bigTable(rows)); w.Code != http.StatusOK {
				b.Fatal(w.Body)
			}
		}
		perSecond(b)
	})
	b.Run("PostgreSQL", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			server := apitest.NewServer(b, apitest.OpenPostgres(b))
			b.StartTimer()
			if w := send(server, b.Context(), "", bigTable(rows)); w.Code != http.StatusOK {
				b.Fatal(w.Body)
			}
		}
		perSecond(b)
	})
	b.Run("reading the table alone", func(b *testing.B) {
		for b.Loop() {
			r, _, err := wire.NewDeviceReader(bigTable(rows), tabletext.DecimalPoint)
			n := 0
			for ; err == nil; n++ {
				_, _, _, _, err = r.Next()
			}
			if n != rows+1 {
				b.Fatal(n, err)
			}
		}
		perSecond(b)
	})
	b.Run("floor, PostgreSQL COPY", func(b *testing.B) {
		database := storetest.Postgres(b)
		s, err := postgres.Open(b.Context(), database, apitest.Migrations(b, "postgres"))
		if err != nil {
			b.Fatal(err)
		}
		defer s.Close()
		server := apitest.NewServer(b, s)
		if w := send(server, b.Context(), "", bigTable(1)); w.Code != http.StatusOK {
			b.Fatal(w.Body)
		}
		page, err := s.ListDevices(b.Context(), store.Local, store.DeviceFilter{})
		if err != nil {
			b.Fatal(err)
		}
		doc := page.Devices[0].Document
		pool, err := pgxpool.New(b.Context(), database)
		if err != nil {
			b.Fatal(err)
		}
		defer pool.Close()
		if _, err := pool.Exec(b.Context(), `CREATE TABLE bare (id uuid PRIMARY KEY, document bytea NOT NULL)`); err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
			source := pgx.CopyFromSlice(rows, func(int) ([]any, error) {
				id, err := uuid.NewV7()
				return []any{id, doc}, err
			})
			if _, err := pool.CopyFrom(b.Context(), pgx.Identifier{"bare"}, []string{"id", "document"}, source); err != nil {
				b.Fatal(err)
			}
		}
		perSecond(b)
	})
}

// BenchmarkMatchedSchedule stands beside its floor, the schedule without devices: what is between them is a question to
// the store for the version of the library, reading the schedule, and the match itself.
func BenchmarkMatchedSchedule(b *testing.B) {
	s := apitest.OpenSQLite(b)
	server := apitest.NewServer(b, s)
	c := apitest.NewClient(b, server)
	created, _ := apitest.Create(c, apitest.Demo(b))
	if w := send(server, b.Context(), "", bigTable(10_000)); w.Code != http.StatusOK {
		b.Fatal(w.Body)
	}
	for name, query := range map[string]string{"10 000 devices": "?match=true", "floor, schedule alone": ""} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				c.Get("/v1/assessments/" + created.ID + "/spd-schedule" + query).Want(http.StatusOK)
			}
		})
	}
}
