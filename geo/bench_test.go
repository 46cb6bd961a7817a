package geo

import (
	"math"
	"math/rand"
	"testing"

	"github.com/paulmach/orb"
	sf "github.com/peterstace/simplefeatures/geom"
)

// lShape is an L with 40 vertices, some of them along its straight walls; with jogs the walls step in and out.
func lShape(jog float64) []XY {
	corners := []XY{{0, 0}, {60, 0}, {60, 20}, {20, 20}, {20, 50}, {0, 50}}
	steps := []int{8, 6, 6, 6, 6, 8}
	var ring []XY
	for i, a := range corners {
		b := corners[(i+1)%len(corners)]
		l := apart(a, b)
		for k := range steps[i] {
			f, off := float64(k)/float64(steps[i]), 0.0
			if k%2 == 1 {
				off = jog
			}
			ring = append(ring, XY{a.X + f*(b.X-a.X) - off*(b.Y-a.Y)/l, a.Y + f*(b.Y-a.Y) + off*(b.X-a.X)/l})
		}
	}
	return ring
}

// The area within 30 m, exact, beside the buffer of simplefeatures with as many segments as bring its error below
// 1e-4 of the area (it is checked before it is timed).
func BenchmarkWiden(b *testing.B) {
	for _, c := range []struct {
		name string
		ring []XY
	}{
		{"L", lShape(0)},
		{"rotated-L-with-jogs", turned([]planePart{polygonPart(10, lShape(0.6))}, 0.4, 0, 0)[0].rings[0]},
		{"star-200", starOf(rand.New(rand.NewSource(2)), 200, 30, 80)},
	} {
		parts := []planePart{polygonPart(10, c.ring)}
		lay := inPlane(parts)
		_, exact, _ := planeAreas(b, parts)
		b.Run(c.name+"/exact", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				loops, err := lay.widened([]float64{30})
				if err != nil || relative(loopsArea(loops), exact) > 1e-12 {
					b.Fatal(err)
				}
			}
		})
		g := simpleFeature(c.ring)
		segments := 4
		for ; segments < 200; segments++ {
			other, err := sf.Buffer(g, 30, sf.BufferQuadSegments(segments))
			if err != nil {
				b.Fatal(err)
			}
			if math.Abs(other.Area()/exact-1) < 1e-4 {
				break
			}
		}
		b.Run(c.name+"/simplefeatures", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := sf.Buffer(g, 30, sf.BufferQuadSegments(segments)); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(segments), "segments")
		})
	}
}

// Everything from longitude and latitude to the areas and outlines. Per part of the village it may take 50 µs; a
// ring of ten times the edges may take about ten times as long.
func BenchmarkCollect(b *testing.B) {
	f := frameAt(orb.Point{36.8, -1.3})
	circle := func(n int) []planePart {
		var ring []XY
		for k := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			ring = append(ring, XY{100 * cos, 100 * sin})
		}
		return []planePart{polygonPart(10, ring)}
	}
	for _, c := range []struct {
		name  string
		parts []planePart
	}{
		{"box", []planePart{polygonPart(10, rectangle(0, 0, 20, 30))}},
		{"L", []planePart{polygonPart(10, lShape(0))}},
		{"village-1000", village(1000)},
		{"circle-1000", circle(1000)},
		{"circle-10000", circle(10000)},
		{"star-1000", []planePart{polygonPart(10, starOf(rand.New(rand.NewSource(2)), 1000, 100, 190))}},
		{"star-10000", []planePart{polygonPart(10, starOf(rand.New(rand.NewSource(2)), 10000, 100, 190))}},
	} {
		parts := onEarth(f, c.parts)
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := tested.Collect(parts); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
