package geo

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// offCircle walks along a drawn ring, straight in longitude and latitude from position to position, and returns how
// far it comes within a circle around the centre of the frame and beyond it [m], and the same of its positions alone.
func offCircle(f Frame, ring orb.Ring, radius float64) (within, beyond, atPosition float64) {
	for i := 1; i < len(ring); i++ {
		a, b := ring[i-1], ring[i]
		for k := range 17 {
			u := float64(k) / 16
			q := f.Local(orb.Point{a[0] + u*(b[0]-a[0]), a[1] + u*(b[1]-a[1])})
			d := math.Hypot(q.X, q.Y) - radius
			within, beyond = math.Max(within, -d), math.Max(beyond, d)
			if k == 0 {
				atPosition = math.Max(atPosition, math.Abs(d))
			}
		}
	}
	return within, beyond, atPosition
}

// The tolerance is the farthest that the drawn line may lie from the outline. Half of it is for the chords of arcs,
// which lie within the area; the other half for what is bent between plane and longitude and latitude, on either side.
// A chord of the angle s lies r (1 - cos s/2) within its arc: with as few chords as that allows, the line comes within
// by two fifths of the tolerance at least, and a finer drawing would be waste.
func TestToleranceOfArcs(t *testing.T) {
	for _, center := range []orb.Point{{20, 0}, {8, 66}, {-70, -55}} {
		mast, err := tested.Collect([]Part{{center, 40}})
		if err != nil {
			t.Fatal(err)
		}
		for _, tolerance := range []float64{0.01, 0.3, 1, 5, 20} {
			for name, c := range map[string]struct {
				outline Outline
				radius  float64
			}{"3 times 40 m": {mast.DirectOutline, 120}, "500 m": {mast.NearOutline, 500}} {
				polygons := c.outline.Polygons(tolerance)
				if len(polygons) != 1 || len(polygons[0]) != 1 {
					t.Fatalf("%v", polygons)
				}
				within, beyond, atPosition := offCircle(c.outline.Frame, polygons[0][0], c.radius)
				if within > tolerance+1e-6 || within < 0.4*tolerance {
					t.Errorf("%s at %v to %v m: the line comes within by %v m", name, center, tolerance, within)
				}
				if beyond > tolerance/2 || atPosition > tolerance/2+1e-6 {
					t.Errorf("%s at %v to %v m: beyond by %v m, positions off by %v m", name, center, tolerance, beyond, atPosition)
				}
			}
		}
	}
}

// The number of chords of a full circle is the least n with r (1 - cos pi/n) <= tolerance/2. By hand: pi/acos(1-0.5/120)
// = 34.4, pi/acos(1-0.0005/120) = 1088.3, pi/acos(1-0.025/500) = 314.2, and five where the tolerance is no bound.
func TestNumberOfChords(t *testing.T) {
	mast, err := tested.Collect([]Part{{orb.Point{20, 0}, 40}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		outline   Outline
		tolerance float64
		want      int
	}{
		{mast.DirectOutline, 1, 35}, {mast.DirectOutline, 1e-3, 1089}, {mast.DirectOutline, 1e-9, 1089}, {mast.DirectOutline, 0, 1089},
		{mast.DirectOutline, math.NaN(), 1089}, {mast.DirectOutline, -5, 1089}, {mast.NearOutline, 0.05, 315},
		{mast.DirectOutline, 1000, 5}, {mast.DirectOutline, 1e9, 5}, {mast.DirectOutline, math.Inf(1), 5}, {mast.DirectOutline, 240, 5},
		{mast.DirectOutline, 239, 4},
	} {
		ring := c.outline.Polygons(c.tolerance)[0][0]
		if len(ring) != c.want+1 || ring[0] != ring[c.want] {
			t.Errorf("to %v m: %d positions, want %d and the first again", c.tolerance, len(ring), c.want)
		}
	}
	// Quarter turns at most, so that no chord passes the middle; none for no arc.
	for _, c := range []struct {
		radius, sweep, tol float64
		want               int
	}{
		{10, math.Pi / 2, 9.9, 1}, {10, math.Pi / 2, 10, 2}, {10, 0.1, 10, 1}, {10, -math.Pi, 10, 3}, {10, -math.Pi, 9.9, 2},
		{10, 2 * math.Pi, 9, 4},
		{10, 0.1, 1e-3, 4}, {10, -0.1, 1e-3, 4}, {10, 1e-9, 1e-3, 1}, {10, 0, 1, 1},
	} {
		if got := chords(c.radius, c.sweep, c.tol); got != c.want {
			t.Errorf("radius %v, sweep %v to %v: %d chords, want %d", c.radius, c.sweep, c.tol, got, c.want)
		}
	}
}

// Straight edges: in longitude and latitude a line of 84 km along the 60th parallel is bent by 240 m. Drawn, it stays
// within half the tolerance of the straight one, with no more positions than about sqrt(240 m/(tolerance/2)) pieces.
func TestToleranceOfStraightLines(t *testing.T) {
	route := orb.LineString{{10, 60}, {11.5, 60}}
	for _, tolerance := range []float64{0.1, 1, 10} {
		o, err := CorridorOutline(route, 20)
		if err != nil {
			t.Fatal(err)
		}
		polygons, err := Corridor(route, 20, tolerance)
		if err != nil || len(polygons) != 1 || len(polygons[0]) != 1 {
			t.Fatal(polygons, err)
		}
		a, b := o.Frame.Local(route[0]), o.Frame.Local(route[1])
		parts := []planePart{{line: []XY{a, b}}}
		ring, most := polygons[0][0], 0.0
		for i := 1; i < len(ring); i++ {
			for k := range 9 {
				u := float64(k) / 8
				q := o.Frame.Local(orb.Point{ring[i-1][0] + u*(ring[i][0]-ring[i-1][0]), ring[i-1][1] + u*(ring[i][1]-ring[i-1][1])})
				most = math.Max(most, math.Abs(fromParts(parts, q, func(planePart) float64 { return 20 })))
			}
		}
		pieces := math.Sqrt(240 / (tolerance / 2))
		if most > tolerance || most < tolerance/20 || float64(len(ring)) > 4*pieces+60 {
			t.Errorf("to %v m: the line is off by %v m with %d positions", tolerance, most, len(ring))
		}
		if c := o.Polygons(tolerance); len(c[0][0]) != len(ring) {
			t.Errorf("%d positions, drawn by the corridor %d", len(c[0][0]), len(ring))
		}
	}
}

// The limits of corridors: half widths of 1 to 10000 m, routes that reach 200 km from their middle.
func TestLimitsOfCorridors(t *testing.T) {
	route := orb.LineString{{36.8, -1.3}, {36.9, -1.3}}
	for w, ok := range map[float64]bool{1: true, 10_000: true, 0.999: false, 10_001: false} {
		if _, err := CorridorOutline(route, w); (err == nil) != ok {
			t.Errorf("half width %v m: %v", w, err)
		}
	}
	// Along the equator 1 degree is a 6378137 pi/180 = 111 319 m; lengths in the frame are those of chords, 0.02 % less.
	for half, ok := range map[float64]bool{1.79: true, 1.80: false} {
		if _, err := CorridorOutline(orb.LineString{{-half, 0}, {half, 0}}, 20); (err == nil) != ok {
			t.Errorf("%v degrees to either side: %v", half, err)
		}
	}
}

// draw splits and joins lines as they are and returns the polygons.
func draw(lines ...orb.LineString) orb.MultiPolygon {
	d := drawing{tolerance: 1}
	for _, l := range lines {
		d.split(l)
	}
	d.closeChains()
	return d.polygons()
}

// sameRing compares closed rings that may begin at different positions.
func sameRing(a, b orb.Ring) bool {
	if len(a) != len(b) || len(a) < 2 {
		return false
	}
	n := len(a) - 1
	for shift := range n {
		same := true
		for i := range n {
			p, q := a[(i+shift)%n], b[i]
			same = same && math.Abs(p[0]-q[0]) < 1e-12 && math.Abs(p[1]-q[1]) < 1e-12
		}
		if same {
			return true
		}
	}
	return false
}

// RFC 7946, sections 3.1.6 and 3.1.9: polygons are cut at the 180th meridian, outer rings turn anticlockwise. The
// expected rings are cut by hand: a line from (179.5, 0) to (-179, 3) meets the meridian a third of the way, at 1.
func TestCutAtTheMeridian(t *testing.T) {
	closed := func(p ...orb.Point) orb.Ring { return append(orb.Ring(p), p[0]) }
	for name, c := range map[string]struct {
		lines []orb.LineString
		want  []orb.Polygon
	}{
		"clear of it": {[]orb.LineString{{{170, 0}, {175, 0}, {175, 5}}}, []orb.Polygon{{closed(orb.Point{170, 0}, orb.Point{175, 0}, orb.Point{175, 5})}}},
		"across": {[]orb.LineString{{{179.5, 0}, {-179, 3}, {179.5, 3}}}, []orb.Polygon{
			{closed(orb.Point{179.5, 0}, orb.Point{180, 1}, orb.Point{180, 3}, orb.Point{179.5, 3})},
			{closed(orb.Point{-180, 1}, orb.Point{-179, 3}, orb.Point{-180, 3})},
		}},
		"across, begun beyond": {[]orb.LineString{{{-179, 3}, {179.5, 3}, {179.5, 0}}}, []orb.Polygon{
			{closed(orb.Point{179.5, 0}, orb.Point{180, 1}, orb.Point{180, 3}, orb.Point{179.5, 3})},
			{closed(orb.Point{-180, 1}, orb.Point{-179, 3}, orb.Point{-180, 3})},
		}},
		"two prongs": {[]orb.LineString{{{178, 0}, {-179, 0}, {-179, 2}, {179, 2}, {179, 4}, {-179, 4}, {-179, 6}, {178, 6}}}, []orb.Polygon{
			{closed(orb.Point{178, 0}, orb.Point{180, 0}, orb.Point{180, 2}, orb.Point{179, 2}, orb.Point{179, 4}, orb.Point{180, 4}, orb.Point{180, 6}, orb.Point{178, 6})},
			{closed(orb.Point{-180, 0}, orb.Point{-179, 0}, orb.Point{-179, 2}, orb.Point{-180, 2})},
			{closed(orb.Point{-180, 4}, orb.Point{-179, 4}, orb.Point{-179, 6}, orb.Point{-180, 6})},
		}},
		"north pole": {[]orb.LineString{{{-120, 80}, {0, 80}, {120, 80}}}, []orb.Polygon{
			{closed(orb.Point{-120, 80}, orb.Point{0, 80}, orb.Point{120, 80}, orb.Point{180, 80}, orb.Point{180, 90}, orb.Point{-180, 90},
				orb.Point{-180, 80})}}},
		"south pole": {[]orb.LineString{{{120, -70}, {0, -80}, {-120, -80}}}, []orb.Polygon{
			{closed(orb.Point{120, -70}, orb.Point{0, -80}, orb.Point{-120, -80}, orb.Point{-180, -75}, orb.Point{-180, -90},
				orb.Point{180, -90}, orb.Point{180, -75})}}},
		"all but a place": {[]orb.LineString{{{10, 0}, {10, 5}, {15, 0}}, {{-120, -80}, {0, -80}, {120, -80}}}, []orb.Polygon{
			{closed(orb.Point{-120, -80}, orb.Point{0, -80}, orb.Point{120, -80}, orb.Point{180, -80}, orb.Point{180, 90},
				orb.Point{-180, 90}, orb.Point{-180, -80}),
				closed(orb.Point{10, 0}, orb.Point{10, 5}, orb.Point{15, 0})}}},
		"a hole across": {[]orb.LineString{{{170, -10}, {-170, -10}, {-170, 10}, {170, 10}}, {{175, -5}, {175, 5}, {-175, 5},
			{-175, -5}}}, []orb.Polygon{
			{closed(orb.Point{170, -10}, orb.Point{180, -10}, orb.Point{180, -5}, orb.Point{175, -5}, orb.Point{175, 5}, orb.Point{180, 5}, orb.Point{180, 10}, orb.Point{170, 10})},
			{closed(orb.Point{-180, -10}, orb.Point{-170, -10}, orb.Point{-170, 10}, orb.Point{-180, 10}, orb.Point{-180, 5}, orb.Point{-175, 5}, orb.Point{-175, -5}, orb.Point{-180, -5})},
		}},
		"no area": {[]orb.LineString{{{1, 1}, {2, 2}, {1, 1}, {1, 1}}, {{1, 1}, {2, 2}}, {{1, 1}, {2, 2}, {3, 3}}, {}}, nil},
		"repeated positions": {[]orb.LineString{{{1, 1}, {1, 1}, {5, 1}, {5, 1}, {5, 4}, {1, 1}, {1, 1}}}, []orb.Polygon{
			{closed(orb.Point{1, 1}, orb.Point{5, 1}, orb.Point{5, 4})}}},
	} {
		t.Run(name, func(t *testing.T) {
			got := draw(c.lines...)
			if len(got) != len(c.want) {
				t.Fatalf("got %v", got)
			}
			for _, want := range c.want {
				found := false
				for _, p := range got {
					same := len(p) == len(want)
					for i := range want {
						same = same && sameRing(p[i], want[i])
					}
					found = found || same
				}
				if !found {
					t.Errorf("%v is not among %v", want, got)
				}
			}
		})
	}
}

// A hole belongs to the smallest ring around it, in whatever order they come, also where it touches that ring.
func TestHolesOfNestedRings(t *testing.T) {
	box := func(lo, hi float64, hole bool) orb.LineString {
		if hole {
			return orb.LineString{{lo, lo}, {lo, hi}, {hi, hi}, {hi, lo}}
		}
		return orb.LineString{{lo, lo}, {hi, lo}, {hi, hi}, {lo, hi}}
	}
	lines := []orb.LineString{box(-50, 50, false), box(3, 7, true), box(1, 9, true), box(2, 8, false), box(20, 30, false), box(22, 28, true)}
	for shift := range lines {
		got := draw(append(append([]orb.LineString{}, lines[shift:]...), lines[:shift]...)...)
		if len(got) != 3 {
			t.Fatalf("%d polygons", len(got))
		}
		for _, p := range got {
			want := map[float64]float64{-50: 1, 2: 3, 20: 22}[p[0][0][0]]
			if len(p) != 2 || p[1][0][0] != want {
				t.Errorf("ring from %v has %d holes: %v", p[0][0], len(p)-1, p[1:])
			}
		}
	}
	// The hole touches the corners of its ring with two of its own.
	diamond := orb.LineString{{0, 0}, {0, 5}, {10, 10}, {5, 0}}
	if got := draw(orb.LineString{{0, 0}, {10, 0}, {10, 10}, {0, 10}}, diamond); len(got) != 1 || len(got[0]) != 2 {
		t.Errorf("got %v", got)
	}
	// Slanted walls: a hole in the lower of two triangles whose bounds are the same.
	lower, upper := orb.LineString{{2, 1}, {12, 1}, {2, 6}}, orb.LineString{{12, 1.5}, {12, 6}, {3, 6}}
	for _, hole := range []orb.LineString{{{3, 2}, {3, 4}, {6, 2}}, {{3, 2}, {3, 5}, {4, 2}}} {
		got := draw(upper, lower, hole)
		if len(got) != 2 || len(got[0]) != 1 || len(got[1]) != 2 {
			t.Errorf("got %v", got)
		}
	}
	// Two rings side by side: the bounds of one hold the hole of the other.
	l := orb.LineString{{0, 0}, {20, 0}, {20, 1}, {1, 1}, {1, 20}, {0, 20}}
	got := draw(l, orb.LineString{{2, 2}, {19, 2}, {19, 19}, {2, 19}}, orb.LineString{{3, 3}, {3, 4}, {4, 4}, {4, 3}})
	if len(got) != 2 || len(got[0]) != 1 || len(got[1]) != 2 {
		t.Errorf("got %v", got)
	}
}
