package geo

import (
	"math"
	"slices"
)

// exactIntegral is the area of the union of parts, each widened by a radius. It integrates rowLength as rowIntegral
// does, but from one place to the next where the length of the row may bend or jump: the ends of edges, the tops and
// bottoms of discs, and every crossing of two edges, of an edge and a circle, and of two circles. So it does not matter
// how edges lie to the rows. Without circles the length is straight in between and the area exact to rounding; with
// circles it is smooth, and the area right to 1e-7 (TestExactIntegral).
func exactIntegral(parts []planePart, radius func(planePart) float64) float64 {
	bends := graded(rowBends(parts, radius))
	straight := !slices.ContainsFunc(parts, func(p planePart) bool { return radius(p) > 0 })
	sum := 0.0
	for i := 1; i < len(bends); i++ {
		if lo, hi := bends[i-1], bends[i]; hi-lo > 1e-11 {
			sum += smoothIntegral(func(y float64) float64 { return rowLength(parts, radius, y) }, lo, hi, straight)
		}
	}
	return sum
}

// graded divides long stretches the more finely the nearer to their ends, since the length of a row also rises
// steeply where a bend lies just beyond an end.
func graded(bends []float64) []float64 {
	if len(bends) == 0 {
		return nil
	}
	all := bends[len(bends)-1] - bends[0]
	var out []float64
	for i, lo := range bends {
		out = append(out, lo)
		if i+1 < len(bends) && bends[i+1]-lo > all/50 {
			for _, f := range []float64{0.005, 0.04, 0.2, 0.5, 0.8, 0.96, 0.995} {
				out = append(out, lo+f*(bends[i+1]-lo))
			}
		}
	}
	return out
}

// Positive nodes and weights of Gauss's quadrature with 8 nodes on [-1, 1]. Source: Abramowitz and Stegun, Handbook of
// Mathematical Functions, table 25.4; from memory, and held against exact integrals in TestExactIntegral.
var gaussNodes = [4][2]float64{
	{0.1834346424956498, 0.3626837833783620}, {0.5255324099163290, 0.3137066458778873},
	{0.7966664774136267, 0.2223810344533745}, {0.9602898564975363, 0.1012285362903763},
}

// smoothIntegral integrates f: where it is straight, from its value in the middle; otherwise with 8 nodes. As it may
// rise like a square root at both ends, y = m + h (3 u - u³)/2 takes that away.
func smoothIntegral(f func(float64) float64, lo, hi float64, straight bool) float64 {
	m, h := (lo+hi)/2, (hi-lo)/2
	if straight {
		return 2 * h * f(m)
	}
	sum := 0.0
	for _, g := range gaussNodes {
		for _, u := range []float64{-g[0], g[0]} {
			sum += g[1] * f(m+h*u*(3-u*u)/2) * 1.5 * (1 - u*u)
		}
	}
	return sum * h
}

type disc struct {
	center XY
	radius float64
}

type segment struct{ from, to XY }

// rowBends lists in order where the length of a row may bend.
func rowBends(parts []planePart, radius func(planePart) float64) []float64 {
	var discs []disc
	var segments []segment
	each(parts, func(p planePart, a, b XY) {
		r, d := radius(p), apart(a, b)
		if len(p.rings) > 0 {
			segments = append(segments, segment{a, b})
		}
		if r == 0 {
			return
		}
		discs = append(discs, disc{a, r})
		if d > 0 {
			n := XY{-(b.Y - a.Y) / d * r, (b.X - a.X) / d * r}
			corners := []XY{{a.X + n.X, a.Y + n.Y}, {b.X + n.X, b.Y + n.Y}, {b.X - n.X, b.Y - n.Y}, {a.X - n.X, a.Y - n.Y}}
			for i, c := range corners {
				segments = append(segments, segment{c, corners[(i+1)%4]})
			}
		}
	})
	var bends []float64
	for i, s := range segments {
		bends = append(bends, s.from.Y, s.to.Y)
		for _, t := range segments[:i] {
			bends = appendSegmentCrossing(bends, s, t)
		}
		for _, d := range discs {
			bends = appendCircleCrossings(bends, s, d)
		}
	}
	for i, d := range discs {
		bends = append(bends, d.center.Y-d.radius, d.center.Y+d.radius)
		for _, e := range discs[:i] {
			bends = appendCirclesCrossings(bends, d, e)
		}
	}
	slices.Sort(bends)
	return bends
}

func appendSegmentCrossing(bends []float64, s, t segment) []float64 {
	a, b := cross(s.from, s.to, t.from), cross(s.from, s.to, t.to)
	c, d := cross(t.from, t.to, s.from), cross(t.from, t.to, s.to)
	if a == b || c == d || (a > 0) == (b > 0) || (c > 0) == (d > 0) {
		return bends
	}
	return append(bends, t.from.Y+(t.to.Y-t.from.Y)*a/(a-b))
}

func appendCircleCrossings(bends []float64, s segment, d disc) []float64 {
	l := apart(s.from, s.to)
	if l == 0 {
		return bends
	}
	ux, uy := (s.to.X-s.from.X)/l, (s.to.Y-s.from.Y)/l
	x, y := d.center.X-s.from.X, d.center.Y-s.from.Y
	along, across := x*ux+y*uy, y*ux-x*uy
	if h2 := d.radius*d.radius - across*across; h2 > 0 {
		for _, t := range []float64{along - math.Sqrt(h2), along + math.Sqrt(h2)} {
			if t > 0 && t < l {
				bends = append(bends, s.from.Y+t*uy)
			}
		}
	}
	return bends
}

func appendCirclesCrossings(bends []float64, d, e disc) []float64 {
	x, y := e.center.X-d.center.X, e.center.Y-d.center.Y
	l2 := x*x + y*y
	if l2 == 0 {
		return bends
	}
	along := (1 + (d.radius*d.radius-e.radius*e.radius)/l2) / 2
	if h2 := d.radius*d.radius/l2 - along*along; h2 > 0 {
		h := math.Sqrt(h2)
		bends = append(bends, d.center.Y+along*y-h*x, d.center.Y+along*y+h*x)
	}
	return bends
}
