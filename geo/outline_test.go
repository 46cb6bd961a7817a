package geo

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

// degreesInside is the area of a ring in square degrees, positive where it turns anticlockwise.
func degreesInside(r orb.Ring) float64 {
	sum := 0.0
	for i := 1; i < len(r); i++ {
		sum += (r[i-1][0]-r[0][0])*(r[i][1]-r[0][1]) - (r[i][0]-r[0][0])*(r[i-1][1]-r[0][1])
	}
	return sum / 2
}

// within is the even-odd rule in longitude and latitude, as a map program fills polygons.
func within(polygons orb.MultiPolygon, p orb.Point) bool {
	in := false
	for _, polygon := range polygons {
		for _, r := range polygon {
			for i := 1; i < len(r); i++ {
				a, b := r[i-1], r[i]
				if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0]+(b[0]-a[0])*(p[1]-a[1])/(b[1]-a[1]) {
					in = !in
				}
			}
		}
	}
	return in
}

// fromParts is the distance [m] of a place from the footprints of parts less their radius: below 0 within.
func fromParts(parts []planePart, q XY, radius func(planePart) float64) float64 {
	least := math.Inf(1)
	each(parts, func(p planePart, a, b XY) {
		d := apart(a, q)
		if l := apart(a, b); l > 0 {
			t := math.Max(0, math.Min(1, ((q.X-a.X)*(b.X-a.X)+(q.Y-a.Y)*(b.Y-a.Y))/(l*l)))
			d = apart(q, XY{a.X + t*(b.X-a.X), a.Y + t*(b.Y-a.Y)})
		}
		least = math.Min(least, d-radius(p))
	})
	for _, p := range parts {
		for _, s := range evenOdd(q.Y, p.rings...) {
			if s[0] < q.X && q.X < s[1] {
				return -1 - math.Abs(least)
			}
		}
	}
	return least
}

// A map shows the outline to its tolerance: wherever one looks, near a pole, across the 180th meridian, over a pole,
// a place farther than the tolerance from the boundary is on the right side of it.
func TestPolygonsShowTheArea(t *testing.T) {
	courtyard := polygonPart(3, rectangle(-60, -60, 120, 120), []XY{{-50, -50}, {-50, 40}, {40, 40}, {40, -50}})
	parts := []planePart{courtyard, {point: []XY{{120, 0}}, height: 20}, {line: []XY{{-200, 30}, {-120, -40}}, height: 4}}
	radius := func(p planePart) float64 { return 3 * p.height }
	for _, center := range []orb.Point{{8, 47}, {180, 0}, {-179.9995, 66}, {30, 89.9985}, {180, 89.9985}, {-60, -89.9985}, {0, -89.9975}} {
		for _, tolerance := range []float64{0.01, 1} {
			t.Run(fmt.Sprint(center, tolerance), func(t *testing.T) {
				f := frameAt(center)
				a, err := tested.Collect(onEarth(f, parts))
				if err != nil {
					t.Fatal(err)
				}
				for name, o := range map[string]Outline{"direct": a.DirectOutline, "near": a.NearOutline} {
					polygons := o.Polygons(tolerance)
					checkRFC7946(t, polygons)
					for x := -730.0; x < 730; x += 17.3 {
						for y := -730.0; y < 730; y += 19.7 {
							q := XY{x, y}
							inside := fromParts(parts, q, radius)
							if name == "near" {
								foot := fromParts(parts, q, func(planePart) float64 { return 0 })
								inside = math.Max(fromParts(parts, q, func(planePart) float64 { return 500 }), -foot)
							}
							if math.Abs(inside) < 1.1*tolerance {
								continue
							}
							if got := within(polygons, f.LonLat(q)); got != (inside < 0) {
								t.Fatalf("%s: %v is inside by %v, on the map: %v", name, q, -inside, got)
							}
						}
					}
				}
			})
		}
	}
}

func checkRFC7946(t *testing.T, polygons orb.MultiPolygon) {
	t.Helper()
	for _, p := range polygons {
		for i, r := range p {
			if len(r) < 4 || r[0] != r[len(r)-1] {
				t.Fatalf("ring %d of %d positions is not closed", i, len(r))
			}
			if (degreesInside(r) > 0) != (i == 0) {
				t.Fatalf("ring %d has %v square degrees", i, degreesInside(r))
			}
			for _, q := range r {
				if positionFault(q) != "" || math.Abs(q[0]) > 180 {
					t.Fatalf("position %v", q)
				}
			}
		}
	}
}

func TestPolygonsCount(t *testing.T) {
	ring := polygonPart(3, rectangle(0, 0, 90, 90), rectangle(10, 10, 70, 70))
	mast := planePart{point: []XY{{45, 45}}, height: 3}
	for _, c := range []struct {
		parts []planePart
		want  []int // rings of each polygon
	}{
		{[]planePart{mast}, []int{1}},
		{[]planePart{ring}, []int{2}},
		{[]planePart{ring, mast}, []int{1, 2}}, // a mast alone in the courtyard
		{[]planePart{ring, turned([]planePart{mast}, 0, 500, 0)[0]}, []int{1, 2}},
	} {
		a, err := tested.Collect(onEarth(frameAt(orb.Point{30, -20}), c.parts))
		if err != nil {
			t.Fatal(err)
		}
		got := map[int]int{}
		for _, p := range a.DirectOutline.Polygons(0.1) {
			got[len(p)]++
		}
		for _, n := range c.want {
			got[n]--
		}
		for n, k := range got {
			if k != 0 {
				t.Errorf("%v: %d polygons of %d rings too many", c.want, k, n)
			}
		}
	}
}

// The tolerance sets the number of positions: an arc takes about pi/sqrt(8 tol/r) chords a half turn.
func TestPolygonsAreEconomical(t *testing.T) {
	a, err := tested.Collect([]Part{{orb.Point{8, 47}, 40}})
	if err != nil {
		t.Fatal(err)
	}
	coarse, fine := len(a.NearOutline.Polygons(5)[0][0]), len(a.NearOutline.Polygons(0.05)[0][0])
	if coarse > 60 || fine < 5*coarse || fine > 30*coarse {
		t.Errorf("%d positions to 5 m, %d to 5 cm", coarse, fine)
	}
}

func TestOutlineAreas(t *testing.T) {
	a, err := tested.Collect(onEarth(frameAt(orb.Point{-71, -33}), []planePart{polygonPart(5, rectangle(0, 0, 40, 20))}))
	if err != nil {
		t.Fatal(err)
	}
	if relative(a.DirectOutline.Area(), a.Direct) > 1e-12 || relative(a.NearOutline.Area(), a.Near) > 1e-12 ||
		relative(a.FootprintOutline.Area(), a.Footprint) > 1e-12 {
		t.Error("the outlines enclose other areas than stated")
	}
	if want := 120 + 30*math.Pi; relative(a.DirectOutline.Length(), want) > 1e-7 {
		t.Errorf("length %v, want %v", a.DirectOutline.Length(), want)
	}
}

// A corridor along a straight route has 2wl + pi w².
func TestCorridor(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		center := rapid.SampledFrom([]orb.Point{{36.8, -1.3}, {180, 60}, {179.99, -40}, {-100, 89.99}}).Draw(t, "center")
		f := frameAt(center)
		angle, l := rapid.Float64Range(0, 7).Draw(t, "angle"), rapid.Float64Range(1, 9000).Draw(t, "length")
		w := rapid.SampledFrom([]float64{20, 2000}).Draw(t, "half width")
		sin, cos := math.Sincos(angle)
		route := orb.LineString{f.LonLat(XY{-cos * l / 2, -sin * l / 2}), f.LonLat(XY{cos * l / 2, sin * l / 2})}
		o, err := CorridorOutline(route, w)
		if err != nil {
			t.Fatal(err)
		}
		if want := 2*w*l + math.Pi*w*w; relative(o.Area(), want) > 1e-6 {
			t.Fatalf("area %v, want %v", o.Area(), want)
		}
		polygons, err := Corridor(route, w, 1)
		if err != nil || len(polygons) == 0 {
			t.Fatal(len(polygons), err)
		}
	})
}

func TestCorridorRefuses(t *testing.T) {
	route := orb.LineString{{36.8, -1.3}, {36.9, -1.3}}
	for _, w := range []float64{0, -1, math.NaN(), math.Inf(1), 1e6} {
		if _, err := Corridor(route, w, 1); err == nil {
			t.Errorf("half width %v is taken", w)
		}
	}
	if _, err := Corridor(orb.LineString{{0, 0}, {10, 0}}, 20, 1); err == nil {
		t.Error("a route of 1100 km is taken")
	}
	var faults Faults
	if _, err := Corridor(orb.LineString{{0, 0}, {0, 91}, {0, 92}}, 20, 1); !errors.As(err, &faults) || len(faults) != 2 {
		t.Errorf("got %v", err)
	}
	if p, err := Corridor(orb.LineString{{-60, -3}, {-57, -3.5}, {-57, -3}}, 2000, math.NaN()); err != nil || len(p) != 1 {
		t.Errorf("a long route: %d polygons, %v", len(p), err)
	}
}
