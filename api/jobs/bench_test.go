package jobs_test

import (
	"context"
	"fmt"
	"os"
	"runtime/metrics"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"levinward/api/jobs"
	"levinward/store"
	"levinward/store/storetest"
)

// benchSites is how many sites the benchmarks take; LEVINWARD_BENCH_SITES overrides it.
func benchSites(b *testing.B, usual int) int {
	if text := os.Getenv("LEVINWARD_BENCH_SITES"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil {
			b.Fatal(err)
		}
		return n
	}
	return usual
}

// BenchmarkPortfolio imports, computes and stores sites of one structure on PostgreSQL, and assesses all of them again,
// beside its floor in the same run: COPY of the same bytes into a table with nothing but a
// key. Goals: each at least a quarter of the rate of COPY; memory below 300 MB whatever the number of sites.
func BenchmarkPortfolio(b *testing.B) {
	n := benchSites(b, 4000)
	dsn := storetest.Postgres(b)
	bench := newBench(b, dsn)
	file := sites("S", n, 5)
	memory := watchMemory(b)
	for range 1 { // a second turn would find the sites there
		begin := time.Now()
		w := bench.imported(store.GoodRowsOnly, file)
		imported := time.Since(begin)
		bench.wants(w, store.WorkDone, int64(n), 0, 0)

		bench.use("engine 2")
		begin = time.Now()
		w, _, err := bench.jobs.Reassess(b.Context(), jobs.Reassessment{Portfolio: bench.portfolio})
		if err != nil {
			b.Fatal(err)
		}
		bench.wants(bench.drained(w), store.WorkDone, int64(n), 0, 0)
		again := time.Since(begin)

		used := memory()
		bytes, copied := copyAgain(b, dsn, n)
		rate := func(d time.Duration) float64 { return float64(n) / d.Seconds() }
		b.ReportMetric(rate(imported), "imported/s")
		b.ReportMetric(rate(again), "reassessed/s")
		b.ReportMetric(rate(copied), "floor-COPY/s")
		b.ReportMetric(rate(imported)/rate(copied), "import/floor")
		b.ReportMetric(rate(again)/rate(copied), "reassess/floor")
		b.ReportMetric(float64(bytes)/float64(n), "B/site")
		b.ReportMetric(used, "MB")
	}
}

// watchMemory follows what the Go runtime holds; the result is the most seen, in MB.
func watchMemory(b *testing.B) func() float64 {
	var most atomic.Uint64
	done := make(chan struct{})
	b.Cleanup(func() { close(done) })
	go func() {
		sample := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}}
		for {
			metrics.Read(sample)
			if held := sample[0].Value.Uint64() - sample[1].Value.Uint64(); held > most.Load() {
				most.Store(held)
			}
			select {
			case <-done:
				return
			case <-time.After(10 * time.Millisecond):
			}
		}
	}()
	return func() float64 { return float64(most.Load()) / 1e6 }
}

// copyAgain copies the documents of the first revisions into a bare table, from memory, a few thousand at a time.
func copyAgain(b *testing.B, dsn string, n int) (bytes int64, took time.Duration) {
	conn, err := pgx.Connect(b.Context(), dsn)
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close(context.Background())
	_, err = conn.Exec(b.Context(), `CREATE TABLE bare (id uuid PRIMARY KEY, input bytea COMPRESSION lz4, result bytea COMPRESSION `+
		`lz4, worksheet bytea COMPRESSION lz4)`)
	if err != nil {
		b.Fatal(err)
	}
	const atOnce = 2000
	after := "00000000-0000-0000-0000-000000000000"
	for copied := 0; copied < n; {
		rows, err := conn.Query(b.Context(), `SELECT assessment, input, result, worksheet FROM revision WHERE revision = 1 AND `+
			`assessment > $1 ORDER BY assessment LIMIT $2`, after, atOnce)
		if err != nil {
			b.Fatal(err)
		}
		var part [][]any
		for rows.Next() {
			var id [16]byte
			var input, result, worksheet []byte
			if err := rows.Scan(&id, &input, &result, &worksheet); err != nil {
				b.Fatal(err)
			}
			part = append(part, []any{id, input, result, worksheet})
			bytes += int64(len(input) + len(result) + len(worksheet))
		}
		if rows.Err() != nil || len(part) == 0 {
			b.Fatal("rows are missing: ", rows.Err())
		}
		last := part[len(part)-1][0].([16]byte)
		after = fmt.Sprintf("%x-%x-%x-%x-%x", last[:4], last[4:6], last[6:8], last[8:10], last[10:])
		begin := time.Now()
		if _, err := conn.CopyFrom(b.Context(), pgx.Identifier{"bare"}, []string{"id", "input", "result", "worksheet"},
			pgx.CopyFromRows(part)); err != nil {
			b.Fatal(err)
		}
		took += time.Since(begin)
		copied += len(part)
	}
	return bytes, took
}

// BenchmarkRanking reads pages of a portfolio of many sites. Goal: below 200 ms with 1 000 000 of them.
func BenchmarkRanking(b *testing.B) {
	n := benchSites(b, 100_000)
	dsn := storetest.Postgres(b)
	bench := newBench(b, dsn)
	fillPortfolio(b, dsn, bench.portfolio, n)
	yes, no := true, false
	for name, f := range map[string]store.SiteFilter{
		"worst ratio": {}, "persons at risk": {Rank: store.RankPersonsAtRisk}, "excess": {Rank: store.RankExcess}, "name": {Rank: store.RankName},
		"acceptable": {Acceptable: &yes}, "not acceptable by name": {Acceptable: &no, Rank: store.RankName},
		"in a box": {BBox: &store.BBox{West: 10, South: 5, East: 12, North: 7}},
	} {
		f.Limit = 100
		for _, page := range []string{"first", "second"} {
			b.Run(name+", "+page+" page", func(b *testing.B) {
				for b.Loop() {
					p, err := bench.store.ListSites(b.Context(), store.Local, bench.portfolio, f)
					if err != nil || len(p.Sites) == 0 {
						b.Fatal(err, len(p.Sites))
					}
				}
			})
			p, err := bench.store.ListSites(b.Context(), store.Local, bench.portfolio, f)
			if err != nil {
				b.Fatal(err)
			}
			if f.Cursor = p.Next; f.Cursor == "" {
				break
			}
		}
	}
}

// fillPortfolio makes sites of which one in three is not acceptable.
func fillPortfolio(b *testing.B, dsn, portfolio string, n int) {
	conn, err := pgx.Connect(b.Context(), dsn)
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close(context.Background())
	for _, statement := range []string{
		`CREATE TEMPORARY TABLE made AS SELECT i, gen_random_uuid() AS id, random() * 180 - 90 AS latitude, random() * 360 - 180 AS longitude,
			CASE WHEN i % 3 = 0 THEN 1 + random() * 20 ELSE random() END AS ratio FROM generate_series(1, ROWS) AS i`,
		`INSERT INTO assessment (organisation, id, created_at, newest, name_folded, reference_folded, latitude, longitude, review_due)
			SELECT 'ORG', id, now(), 1, 'site ' || i, 's' || i, latitude, longitude, '2030-01-01' FROM made`,
		`INSERT INTO portfolio_site (organisation, portfolio, assessment, reference, name, reference_folded, name_folded, latitude,
			longitude, revision,
				ground_flashes, density_origin, density_map, worst_ratio, loss_of_human_life, excess, persons_at_risk, acceptable, needed_protection,
				required_devices, review_due, engine, input_hash, created_at, updated_at)
			SELECT 'ORG', 'PORTFOLIO', id, 'S' || i, 'Site ' || i, 's' || i, 'site ' || i, latitude, longitude, 1,
				4, 'given', '', ratio, ratio * 1e-5, greatest(ratio - 1, 0) * 1e-5, CASE WHEN ratio > 1 THEN i % 50 + 1 ELSE 0 END,
					ratio <= 1, 'LPS III',
				2, '2030-01-01', 'engine 1', 'hash', now(), now() FROM made`,
		`ANALYZE portfolio_site`,
	} {
		statement = strings.NewReplacer("ROWS", strconv.Itoa(n), "ORG", string(store.Local), "PORTFOLIO", portfolio).Replace(statement)
		if _, err := conn.Exec(b.Context(), statement); err != nil {
			b.Fatal(err)
		}
	}
}
