package geo

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// planePart is a part given directly in metres of the plane.
type planePart struct {
	point  []XY   // one place: a mast
	line   []XY   // a line
	rings  [][]XY // a polygon, rings not closed
	height float64
}

// onEarth places parts of the plane on the earth.
func onEarth(f Frame, parts []planePart) []Part {
	out := make([]Part, len(parts))
	for i, p := range parts {
		out[i].Height = p.height
		switch {
		case p.point != nil:
			out[i].Geometry = f.LonLat(p.point[0])
		case p.line != nil:
			l := make(orb.LineString, len(p.line))
			for k, q := range p.line {
				l[k] = f.LonLat(q)
			}
			out[i].Geometry = l
		default:
			g := make(orb.Polygon, len(p.rings))
			for k, r := range p.rings {
				for _, q := range r {
					g[k] = append(g[k], f.LonLat(q))
				}
				g[k] = append(g[k], g[k][0])
			}
			out[i].Geometry = g
		}
	}
	return out
}

// inPlane lays parts of the plane out without going over longitude and latitude, so that what coincides does so to
// the last bit.
func inPlane(parts []planePart) *layout {
	var places []XY
	out := onEarth(frameAt(orb.Point{}), parts)
	sound := make([]bool, len(parts))
	for i, p := range parts {
		sound[i] = true
		places = append(places, p.point...)
		places = append(places, p.line...)
		for _, r := range p.rings {
			places = append(append(places, r...), r[0])
		}
	}
	return layPlaces(out, sound, frameAt(orb.Point{}), places)
}

// rowIntegral is the area of the union of parts, each widened by a radius, found without any of the code under test:
// along rows of the plane the stretches within discs, rectangles and polygons are merged and measured. The rows are
// shifted by a fraction of their distance, so that a random shift makes it a Monte Carlo estimate without bias.
func rowIntegral(parts []planePart, radius func(planePart) float64, rows int, shift float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	each(parts, func(p planePart, a, _ XY) {
		lo, hi = math.Min(lo, a.Y-radius(p)), math.Max(hi, a.Y+radius(p))
	})
	step := (hi - lo) / float64(rows)
	sum := 0.0
	for i := range rows {
		sum += rowLength(parts, radius, lo+(float64(i)+shift)*step) * step
	}
	return sum
}

// each calls f for every edge from a to b of the parts, and with a = b for a point.
func each(parts []planePart, f func(p planePart, a, b XY)) {
	for _, p := range parts {
		for _, q := range p.point {
			f(p, q, q)
		}
		for i, q := range p.line {
			f(p, q, p.line[min(i+1, len(p.line)-1)])
		}
		for _, r := range p.rings {
			for i, q := range r {
				f(p, q, r[(i+1)%len(r)])
			}
		}
	}
}

func rowLength(parts []planePart, radius func(planePart) float64, y float64) float64 {
	var in [][2]float64
	each(parts, func(p planePart, a, b XY) {
		r := radius(p)
		if h2 := r*r - (y-a.Y)*(y-a.Y); h2 > 0 {
			in = append(in, [2]float64{a.X - math.Sqrt(h2), a.X + math.Sqrt(h2)})
		}
		if d := math.Hypot(b.X-a.X, b.Y-a.Y); d > 0 {
			nx, ny := -(b.Y-a.Y)/d*r, (b.X-a.X)/d*r
			in = append(in, evenOdd(y, []XY{{a.X + nx, a.Y + ny}, {b.X + nx, b.Y + ny}, {b.X - nx, b.Y - ny}, {a.X - nx, a.Y - ny}})...)
		}
	})
	for _, p := range parts {
		in = append(in, evenOdd(y, p.rings...)...)
	}
	slices.SortFunc(in, func(a, b [2]float64) int {
		if a[0] < b[0] {
			return -1
		}
		return 1
	})
	sum, end := 0.0, math.Inf(-1)
	for _, s := range in {
		if s[1] > end {
			sum += s[1] - math.Max(s[0], end)
			end = s[1]
		}
	}
	return sum
}

func evenOdd(y float64, rings ...[]XY) [][2]float64 {
	var xs []float64
	for _, r := range rings {
		for i, a := range r {
			if b := r[(i+1)%len(r)]; (a.Y > y) != (b.Y > y) {
				xs = append(xs, a.X+(b.X-a.X)*(y-a.Y)/(b.Y-a.Y))
			}
		}
	}
	slices.Sort(xs)
	var out [][2]float64
	for i := 1; i < len(xs); i += 2 {
		out = append(out, [2]float64{xs[i-1], xs[i]})
	}
	return out
}
