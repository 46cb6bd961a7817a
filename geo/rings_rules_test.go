package geo

import (
	"errors"
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// A ray of some width from (5, 5) along each axis, against boxes by hand.
func TestRaysMeetBoxes(t *testing.T) {
	for _, c := range []struct {
		v    view
		b    box
		want bool
	}{
		{view{XY{5, 5}, 1, 0, 0.5}, box{6, 4, 7, 6}, true}, {view{XY{5, 5}, 1, 0, 0.5}, box{2, 4, 3, 6}, false},
		{view{XY{5, 5}, 1, 0, 0.5}, box{2, 4, 4.6, 6}, true}, {view{XY{5, 5}, 1, 0, 0.5}, box{2, 4, 4.4, 6}, false},
		{view{XY{5, 5}, 1, 0, 0.5}, box{6, 5.4, 7, 6}, true}, {view{XY{5, 5}, 1, 0, 0.5}, box{6, 5.6, 7, 6}, false},
		{view{XY{5, 5}, 1, 0, 0.5}, box{6, 3, 7, 4.6}, true}, {view{XY{5, 5}, 1, 0, 0.5}, box{6, 3, 7, 4.4}, false},
		{view{XY{5, 5}, -1, 0, 0.5}, box{2, 4, 3, 6}, true}, {view{XY{5, 5}, -1, 0, 0.5}, box{6, 4, 7, 6}, false},
		{view{XY{5, 5}, -1, 0, 0.5}, box{5.4, 4, 7, 6}, true}, {view{XY{5, 5}, -1, 0, 0.5}, box{5.6, 4, 7, 6}, false},
		{view{XY{5, 5}, 0, 1, 0.5}, box{4, 6, 6, 7}, true}, {view{XY{5, 5}, 0, 1, 0.5}, box{4, 2, 6, 3}, false},
		{view{XY{5, 5}, 0, 1, 0.5}, box{4, 2, 6, 4.6}, true}, {view{XY{5, 5}, 0, 1, 0.5}, box{4, 2, 6, 4.4}, false},
		{view{XY{5, 5}, 0, 1, 0.5}, box{5.4, 6, 6, 7}, true}, {view{XY{5, 5}, 0, 1, 0.5}, box{5.6, 6, 6, 7}, false},
		{view{XY{5, 5}, 0, 1, 0.5}, box{3, 6, 4.6, 7}, true}, {view{XY{5, 5}, 0, 1, 0.5}, box{3, 6, 4.4, 7}, false},
		{view{XY{5, 5}, 0, -1, 0.5}, box{4, 2, 6, 3}, true}, {view{XY{5, 5}, 0, -1, 0.5}, box{4, 6, 6, 7}, false},
		{view{XY{5, 5}, 0, -1, 0.5}, box{4, 5.4, 6, 7}, true}, {view{XY{5, 5}, 0, -1, 0.5}, box{4, 5.6, 6, 7}, false},
		// just touched, without width
		{view{XY{5, 5}, 1, 0, 0}, box{5, 5, 7, 7}, true}, {view{XY{5, 5}, 1, 0, 0}, box{0, 0, 5, 5}, true},
		{view{XY{5, 5}, -1, 0, 0}, box{5, 5, 7, 7}, true}, {view{XY{5, 5}, -1, 0, 0}, box{0, 0, 5, 5}, true},
		{view{XY{5, 5}, 0, 1, 0}, box{5, 5, 7, 7}, true}, {view{XY{5, 5}, 0, 1, 0}, box{0, 0, 5, 5}, true},
		{view{XY{5, 5}, 0, -1, 0}, box{5, 5, 7, 7}, true}, {view{XY{5, 5}, 0, -1, 0}, box{0, 0, 5, 5}, true},
	} {
		if got := c.v.meets(&c.b); got != c.want {
			t.Errorf("from %v along (%v, %v), width %v, box %v: %v", c.v.m, c.v.sx, c.v.sy, c.v.width, c.b, got)
		}
	}
}

// A ray counts an edge that crosses it from right to left as 1, from left to right as -1; of two edges that meet on the
// ray it counts one.
func TestRaysCountCrossings(t *testing.T) {
	ways := [][2]float64{{1, 0}, {0, 1}, {-1, 0}, {0, -1}}
	for _, way := range ways {
		// ahead along the ray, aside to its left, from the place (2, 3)
		ribThrough := func(ahead, aside float64) *rib {
			return &rib{x: 2 + ahead*way[0] - aside*way[1], y: 3 + ahead*way[1] + aside*way[0]}
		}
		v := view{m: XY{2, 3}, sx: way[0], sy: way[1]}
		for _, c := range []struct {
			a, b *rib
			want int
		}{
			{ribThrough(4, -1), ribThrough(4, 1), 1}, {ribThrough(4, 1), ribThrough(4, -1), -1}, {ribThrough(-4, -1), ribThrough(-4, 1), 0},
			{ribThrough(-4, 1), ribThrough(-4, -1), 0},
			{ribThrough(3, 1), ribThrough(5, 2), 0}, {ribThrough(3, -1), ribThrough(5, -2), 0}, {ribThrough(-1, -1), ribThrough(4, 1), 1},
			{ribThrough(1, -1), ribThrough(-4, 1), 0}, {ribThrough(-4, 1), ribThrough(1, -1), 0},
			{ribThrough(4, 1), ribThrough(-1, -1), -1}, {ribThrough(4, -1), ribThrough(4, 0), 0}, {ribThrough(4, 0), ribThrough(4, 1), 1},
			{ribThrough(4, 0), ribThrough(4, -1), 0}, {ribThrough(4, 1), ribThrough(4, 0), -1},
			{ribThrough(3, 0), ribThrough(6, 0), 0},
		} {
			if got := v.winds(c.a, c.b); got != c.want {
				t.Errorf("along %v from %v, %v to %v, %v: %d, want %d", way, c.a.x, c.a.y, c.b.x, c.b.y, got, c.want)
			}
		}
	}
}

// Distances from an edge of length 5 from (1, 1) towards (4, 5), direction (0.6, 0.8).
func TestPlacesBesideAnEdge(t *testing.T) {
	r := rib{x: 1, y: 1, ux: 0.6, uy: 0.8, length: 5}
	// two to the left of the middle: (2.5, 3) + 2 (-0.8, 0.6)
	if d := r.offEdge(0.9, 4.2); math.Abs(d-2) > 1e-12 {
		t.Errorf("%v to the left", d)
	}
	if d := r.offEdge(4.1, 1.8); math.Abs(d+2) > 1e-12 {
		t.Errorf("%v to the left", d)
	}
	for _, c := range []struct {
		x, y, margin float64
		want         bool
	}{
		{2.5, 3, 1e-9, true}, {0.9, 4.2, 1.7, true}, {0.9, 4.2, 1.5, false}, {1, 1, 0, true}, {0.5, 1, 0.5, true}, {0.5, 1, 0.4, false},
		{4.5, 5, 0.6, true}, {4.5, 5, 0.4, false}, {1, 0.5, 0.5, true}, {1, 0.5, 0.4, false}, {7, 9, 1, false}, {-2, -3, 1, false},
	} {
		if got := r.near(c.x, c.y, c.margin); got != c.want {
			t.Errorf("(%v, %v) within %v: %v", c.x, c.y, c.margin, got)
		}
	}
}

// How two edges meet, in both orders: they cross, one ends on the other, they lie along each other, or apart.
func TestMeetings(t *testing.T) {
	for name, c := range map[string]struct {
		a, b [2]XY
		want meeting
	}{
		"cross":             {[2]XY{{0, 0}, {10, 0}}, [2]XY{{4, -3}, {4, 5}}, crosses},
		"askew":             {[2]XY{{0, 0}, {10, 10}}, [2]XY{{0, 8}, {9, 1}}, crosses},
		"one ends on it":    {[2]XY{{0, 0}, {10, 0}}, [2]XY{{4, 0}, {4, 5}}, touches},
		"end to end":        {[2]XY{{0, 0}, {10, 0}}, [2]XY{{10, 0}, {14, 5}}, touches},
		"along":             {[2]XY{{0, 0}, {10, 0}}, [2]XY{{4, 0}, {14, 0}}, touches},
		"along, opposite":   {[2]XY{{0, 0}, {10, 0}}, [2]XY{{6, 0}, {2, 0}}, touches},
		"in one line apart": {[2]XY{{0, 0}, {10, 0}}, [2]XY{{11, 0}, {14, 0}}, apartFrom},
		"parallel":          {[2]XY{{0, 0}, {10, 0}}, [2]XY{{0, 1}, {10, 1}}, apartFrom},
		"would cross later": {[2]XY{{0, 0}, {10, 0}}, [2]XY{{4, 1}, {4, 5}}, apartFrom},
		"beside":            {[2]XY{{0, 0}, {10, 0}}, [2]XY{{12, -3}, {12, 5}}, apartFrom},
		"within the margin": {[2]XY{{0, 0}, {10, 0}}, [2]XY{{4, 0.9e-8}, {4, 5}}, touches},
		"beyond it":         {[2]XY{{0, 0}, {10, 0}}, [2]XY{{4, 1.1e-8}, {4, 5}}, apartFrom},
	} {
		lay := inPlane([]planePart{{line: c.a[:], height: 1}, {line: c.b[:], height: 1}})
		if got := [2]meeting{lay.meet(0, 2), lay.meet(2, 0)}; got != [2]meeting{c.want, c.want} {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
		if c.want != crosses {
			continue
		}
		// Both know the same place, that of the crossing lines.
		p, q := lay.ribs[0].pointAlong(lay.crossingAlong(0, 2)), lay.ribs[2].pointAlong(lay.crossingAlong(2, 0))
		if apart(p, q) > 1e-12 || math.Abs(cross(c.a[0], c.a[1], p)) > 1e-10 || math.Abs(cross(c.b[0], c.b[1], p)) > 1e-10 {
			t.Errorf("%s at %v and %v", name, p, q)
		}
	}
}

// Faults of the whole and of a part name no ring and no vertex: -1 in their place.
func TestPlacesOfFaults(t *testing.T) {
	good := orb.LineString{{8, 47}, {8.001, 47}}
	long := make(orb.LineString, MaxVertices+1)
	place := func(f Fault) [3]int { return [3]int{f.Part, f.Ring, f.Vertex} }
	for name, c := range map[string]struct {
		parts []Part
		want  [][3]int
	}{
		"nothing":        {nil, [][3]int{{-1, -1, -1}}},
		"too many":       {[]Part{{good, 5}, {long, 5}}, [][3]int{{-1, -1, -1}, {1, -1, -1}}},
		"heights":        {[]Part{{good, 5000}, {good, math.NaN()}}, [][3]int{{0, -1, -1}, {1, -1, -1}}},
		"a short line":   {[]Part{{good, 5}, {good[:1], 5}}, [][3]int{{1, -1, -1}}},
		"no ring":        {[]Part{{orb.Polygon{}, 5}}, [][3]int{{0, -1, -1}}},
		"no geometry":    {[]Part{{nil, 5}}, [][3]int{{0, -1, -1}}},
		"other geometry": {[]Part{{orb.MultiPoint{}, 5}}, [][3]int{{0, -1, -1}}},
		"a position":     {[]Part{{good, 5}, {orb.Point{8, 99}, 5}}, [][3]int{{1, -1, 0}}},
		"far apart":      {[]Part{{orb.Point{0, 0}, 5}, {orb.Point{1, 0}, 5}}, [][3]int{{0, -1, -1}, {1, -1, -1}}},
		"short rings":    {[]Part{{orb.Polygon{{{8, 47}}, {{8, 47}, {8.1, 47}, {8, 47}, {8, 47}}, {{8, 47}, {8.1, 47}, {8, 48}, {9, 48}}}, 5}}, [][3]int{{0, 0, -1}, {0, 1, -1}, {0, 2, 3}}},
	} {
		faults := Validate(c.parts)
		if len(faults) != len(c.want) {
			t.Errorf("%s: %v", name, faults)
			continue
		}
		for i, f := range faults {
			if place(f) != c.want[i] {
				t.Errorf("%s: %v at %v, want %v", name, f, place(f), c.want[i])
			}
		}
	}
	var many Faults
	for range maxFaults + 1 {
		many.add(Fault{})
	}
	if place(many[maxFaults]) != [3]int{-1, -1, -1} {
		t.Error(many[maxFaults])
	}
}

func TestPlacesOfFaultsOfRoutes(t *testing.T) {
	for name, c := range map[string]struct {
		route orb.LineString
		want  Fault
	}{
		"short":    {orb.LineString{{8, 47}}, Fault{0, -1, -1, "the route has 1 positions, it needs 2 or more"}},
		"long":     {make(orb.LineString, MaxVertices+1), Fault{0, -1, -1, "the route has 100001 positions, 100000 are allowed"}},
		"position": {orb.LineString{{8, 47}, {8, 90.5}}, Fault{0, -1, 1, "latitude 90.5 is beyond 90 degrees: coordinates in the wrong order? (longitude comes first)"}},
		"opposite": {orb.LineString{{8, 47}, {0, 0}, {179.7, 0.2}}, Fault{0, -1, 2, "no length from the vertex before: the positions lie nearly opposite each other on the earth"}},
	} {
		_, err := RouteLength(c.route)
		var faults Faults
		if !errors.As(err, &faults) || len(faults) != 1 || faults[0] != c.want {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := RouteLength(make(orb.LineString, MaxVertices)); err != nil {
		t.Error(err)
	}
	if _, err := GeodesicLength(orb.Point{10, 0}, orb.Point{-170, 0}); !errors.Is(err, ErrNearlyAntipodal) {
		t.Errorf("opposite on the equator: %v", err)
	}
	if d, err := GeodesicLength(orb.Point{10, 40}, orb.Point{370 - 720, 40}); err != nil || d != 0 {
		t.Errorf("the same place: %v %v", d, err)
	}
}

// The last look at areas: at least the disc of the highest part, at most the rectangle around everything.
func TestImplausibleAreasAreRefused(t *testing.T) {
	lay := inPlane([]planePart{{line: []XY{{0, 0}, {10, 20}}, height: 2}, {point: []XY{{4, 4}}, height: 4}})
	least, most := math.Pi*144, (10+24.)*(20+24) // 3 times 4 m
	leastNear, mostNear := math.Pi*500*500, 1010.*1020
	for _, c := range []struct {
		a  Areas
		ok bool
	}{
		{Areas{0, least, leastNear, Outline{}, Outline{}, Outline{}}, true}, {Areas{0, most, mostNear, Outline{}, Outline{}, Outline{}}, true},
		{Areas{0, 0.999 * least, leastNear, Outline{}, Outline{}, Outline{}}, false},
		{Areas{0, 1.001 * most, mostNear, Outline{}, Outline{}, Outline{}}, false},
		{Areas{0, least, 0.999 * leastNear, Outline{}, Outline{}, Outline{}}, false},
		{Areas{0, least, 1.001 * mostNear, Outline{}, Outline{}, Outline{}}, false},
		{Areas{least, least, leastNear - least, Outline{}, Outline{}, Outline{}}, true},
		{Areas{1.001 * least, least, leastNear, Outline{}, Outline{}, Outline{}}, false},
		{Areas{-1, least, leastNear + 1, Outline{}, Outline{}, Outline{}}, false}, {Areas{math.NaN(), math.NaN(), 1, Outline{}, Outline{},
			Outline{}}, false},
	} {
		if err := c.a.check(lay, tested); (err == nil) != c.ok {
			t.Errorf("%v, %v, %v: %v", c.a.Footprint, c.a.Direct, c.a.Near, err)
		}
	}
}

// The middle of positions all round the globe is none of them; the frame is then that of the first.
func TestFrameOfPositionsAllRound(t *testing.T) {
	var round []vec3
	for _, p := range []orb.Point{{10, 0}, {100, 0}, {-170, 0}, {-80, 0}, {0, 90}, {0, -90}} {
		round = append(round, earthCentred(p))
	}
	if c := frameAround(round).Center(); math.Abs(c[0]-10) > 1e-9 || math.Abs(c[1]) > 1e-9 {
		t.Errorf("centre %v", c)
	}
	// A quarter of the globe has a middle: from (-45, 0) to (45, 0) it is (0, 0).
	if c := frameAround([]vec3{earthCentred(orb.Point{-45, 0}), earthCentred(orb.Point{45, 0})}).Center(); math.Abs(c[0]) > 1e-9 ||
		math.Abs(c[1]) > 1e-9 {
		t.Errorf("centre %v", c)
	}
	// 65 degrees to either side leave 0.42 of the radius, less than half: the first is taken.
	if c := frameAround([]vec3{earthCentred(orb.Point{-65, 0}), earthCentred(orb.Point{65, 0})}).Center(); math.Abs(c[0]+65) > 1e-9 {
		t.Errorf("centre %v", c)
	}
	if c := frameAround(nil).Center(); c != (orb.Point{}) {
		t.Errorf("centre of nothing %v", c)
	}
}

// Neighbouring edges share their vertex, which is no touch unless the second turns back on the first.
func TestTouchesOutOfTurn(t *testing.T) {
	for name, c := range map[string]struct {
		ring []XY
		i, j int32
		want bool
	}{
		"a spike":             {[]XY{{0, 0}, {80, 0}, {40, 0}, {40, 40}, {0, 40}}, 0, 1, true},
		"after the spike":     {[]XY{{0, 0}, {80, 0}, {40, 0}, {40, 40}, {0, 40}}, 1, 2, false},
		"not neighbours":      {[]XY{{0, 0}, {80, 0}, {40, 0}, {40, 40}, {0, 40}}, 0, 2, true},
		"last and first":      {[]XY{{0, 0}, {80, 0}, {40, 0}, {40, 40}, {0, 40}}, 4, 0, false},
		"straight on":         {[]XY{{0, 0}, {40, 0}, {80, 0}, {80, 40}, {0, 40}}, 0, 1, false},
		"a sharp corner":      {[]XY{{0, 0}, {80, 0}, {0, 10}}, 0, 1, false},
		"a wide corner":       {[]XY{{0, 0}, {80, 0}, {160, 10}, {0, 20}}, 0, 1, false},
		"sharper than 2e-8 m": {[]XY{{0, 0}, {80, 0}, {40, 1e-8}, {40, 40}, {0, 40}}, 0, 1, true},
		"blunter":             {[]XY{{0, 0}, {80, 0}, {40, 3e-8}, {40, 40}, {0, 40}}, 0, 1, false},
	} {
		for _, angle := range []float64{0, 0.4, 1.5, 2.6, 4} {
			lay := inPlane(turned([]planePart{polygonPart(2, c.ring)}, angle, 0, 0))
			if got := [2]bool{lay.touchOutOfTurn(c.i, c.j), lay.touchOutOfTurn(c.j, c.i)}; got != [2]bool{c.want, c.want} {
				t.Errorf("%s turned by %v: %v", name, angle, got)
			}
		}
	}
}
