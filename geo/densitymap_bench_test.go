package geo

import (
	"bytes"
	"io"
	"math"
	"math/rand/v2"
	"testing"
)

// benchmarkDensity is an invented world with values of two decimals, as published maps have them.
func benchmarkDensity(columns, rows int) *DensityMap {
	g := DensityGrid{Columns: columns, Rows: rows, West: -180, North: 90, CellWidth: 360 / float64(columns), CellHeight: 180 / float64(rows)}
	values := make([]float32, columns*rows)
	random := rand.New(rand.NewPCG(1, 2))
	for i := range values {
		y := float64(i/columns) / float64(rows)
		v := 30*math.Sin(math.Pi*y)*(1+math.Sin(float64(i%columns)/40)) + 3*random.Float64()
		values[i] = float32(math.Round(100*v) / 100)
	}
	return &DensityMap{meta: inventedMeta(), grid: g, values: values, relation: inventedMeta().relation()}
}

// BenchmarkDensityMapLoad reads a world grid of 0.1 degrees in each format. The aim is below 10 s each; the floor is
// reading and adding up the bytes of the text.
func BenchmarkDensityMapLoad(b *testing.B) {
	world := benchmarkDensity(3600, 1800)
	text := writeDensityASCII(world.grid, world.values)
	plain := writeDensityTIFF(world.grid, world.values)
	files := []struct {
		name string
		data []byte
	}{
		{"ascii", text},
		{"csv", writeDensityCSV(world.grid, world.values)},
		{"geotiff", plain},
		{"geotiff-deflate", packTIFFStrip(b, plain, 4*len(world.values), plain[len(plain)-4*len(world.values):])},
	}
	b.Run("floor", func(b *testing.B) {
		b.SetBytes(int64(len(text)))
		for b.Loop() {
			data, err := io.ReadAll(bytes.NewReader(text))
			if err != nil {
				b.Fatal(err)
			}
			sum := 0
			for _, c := range data {
				sum += int(c)
			}
			if sum == 0 {
				b.Fatal("no text")
			}
		}
	})
	for _, file := range files {
		b.Run(file.name, func(b *testing.B) {
			b.SetBytes(int64(len(file.data)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := ReadDensityMap(bytes.NewReader(file.data), inventedMeta()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	stored := storedDensity(b, world)
	b.Run("stored", func(b *testing.B) {
		b.SetBytes(int64(len(stored)))
		b.ReportMetric(float64(len(stored))/float64(4*len(world.values)), "of-raw-size")
		for b.Loop() {
			if _, err := new(DensityMap).ReadFrom(bytes.NewReader(stored)); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("store", func(b *testing.B) {
		for b.Loop() {
			if _, err := world.WriteTo(io.Discard); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkDensityMapSample samples random positions of a world grid of 0.1 degrees: the aim is above a million points
// in a second, which is below 1000 ns each. The floor fetches the cell of each position and does not interpolate.
func BenchmarkDensityMapSample(b *testing.B) {
	world := benchmarkDensity(3600, 1800)
	random := rand.New(rand.NewPCG(3, 4))
	places := make([][2]float64, 1<<16)
	for i := range places {
		places[i] = [2]float64{360*random.Float64() - 180, 180*random.Float64() - 90}
	}
	b.Run("floor", func(b *testing.B) {
		i, sum := 0, 0.
		for b.Loop() {
			p := places[i%len(places)]
			v, _ := world.Cell(int((p[0]+180)*10), int((90-p[1])*10))
			sum += v
			i++
		}
		if sum == 0 {
			b.Fatal("no values")
		}
	})
	b.Run("bilinear", func(b *testing.B) {
		b.ReportAllocs()
		i := 0
		for b.Loop() {
			p := places[i%len(places)]
			if _, err := world.Sample(p[0], p[1]); err != nil {
				b.Fatal(err)
			}
			i++
		}
		b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "points/s")
	})
}
