package batch

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"io"
	"testing"

	"levinward/api/assess"
	"levinward/api/wire"
)

const benchRows = 2000

// BenchmarkRead reads the same sites in each format, beside floors: taking the
// CSV apart, and decoding and checking the same inputs where they come as JSON.
func BenchmarkRead(b *testing.B) {
	perRow := func(b *testing.B, once func()) {
		b.ReportAllocs()
		for b.Loop() {
			once()
		}
		b.ReportMetric(float64(b.N)*benchRows/b.Elapsed().Seconds(), "rows/s")
	}
	file := manyRows(b, CSV, benchRows)
	b.Run("floor encoding_csv", func(b *testing.B) {
		perRow(b, func() {
			r := csv.NewReader(bytes.NewReader(file))
			r.ReuseRecord = true
			for {
				if _, err := r.Read(); err == io.EOF {
					return
				}
			}
		})
	})
	rows, err := readAll(file, Options{Format: CSV})
	must(b, err)
	body, err := json.Marshal(rows[0].Input)
	must(b, err)
	b.Run("floor decode and check", func(b *testing.B) {
		perRow(b, func() {
			for range benchRows {
				in, ok := wire.Decode(body)
				if !ok || len(assess.Faults(in.Core())) > 0 {
					b.Fatal("refused")
				}
			}
		})
	})
	for _, format := range []Format{CSV, XLSX, GeoJSON} {
		file := manyRows(b, format, benchRows)
		b.Run(string(format), func(b *testing.B) {
			perRow(b, func() {
				n := 0
				err := Read(bytes.NewReader(file), Options{Format: format}, func(r Row) bool {
					if r.Input != nil {
						n++
					}
					return true
				})
				if err != nil || n != benchRows {
					b.Fatal(n, err)
				}
			})
		})
	}
}
