package geo

import (
	"math"
	"testing"
)

// The reference itself against closed forms, turned so that edges lie along the rows, nearly along them and askew:
// a box has A + P r + pi r², two discs of radius r at a distance d share 2 r² acos(d/2r) - d/2 sqrt(4r² - d²), and
// two crossed strips of length l and half width r have twice one less (2r)².
func TestExactIntegral(t *testing.T) {
	lens := 2*36*math.Acos(7.0/12) - 3.5*math.Sqrt(144-49)
	for name, c := range map[string]struct {
		parts []planePart
		r     float64
		want  float64
	}{
		"box":       {[]planePart{polygonPart(2, rectangle(1, 2, 20, 30))}, 6, 600 + 600 + 36*math.Pi},
		"footprint": {[]planePart{polygonPart(2, rectangle(1, 2, 20, 30), rectangle(3, 4, 5, 6))}, 0, 570},
		"two discs": {[]planePart{{point: []XY{{0, 0}}}, {point: []XY{{7, 0}}}}, 6, 72*math.Pi - lens},
		"a cross":   {[]planePart{{line: []XY{{-30, 0}, {30, 0}}}, {line: []XY{{0, -30}, {0, 30}}}}, 6, 2*(720+36*math.Pi) - 144},
		"far round": {[]planePart{{line: []XY{{0, 0}, {16, 2}}}}, 500, 1000*math.Hypot(16, 2) + 250_000*math.Pi},
		"two boxes": {[]planePart{polygonPart(2, rectangle(0, 0, 20, 20)), polygonPart(2, rectangle(10, 10, 20, 20))}, 0, 700},
	} {
		for _, angle := range []float64{0, 1e-9, 1e-5, 1e-3, 0.3, math.Pi / 2, 2} {
			got := exactIntegral(turned(c.parts, angle, 100, -30), func(planePart) float64 { return c.r })
			limit := 1e-7
			if c.r == 0 {
				limit = 1e-12
			}
			if e := relative(got, c.want); e > limit {
				t.Errorf("%s turned by %v: %v, want %v, off by %.1e", name, angle, got, c.want, e)
			}
		}
	}
}
