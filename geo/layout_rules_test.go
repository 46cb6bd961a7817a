package geo

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// Limits of what is taken, met exactly and missed by a little: heights of 0.01 to 1000 m, lines of two positions, rings
// of three different ones and the first again, 100 000 positions together, longitudes to 360 and latitudes to 90.
func TestLimitsOfParts(t *testing.T) {
	triangle := orb.Polygon{closedRingOf(orb.Point{8, 47}, orb.Point{8.001, 47}, orb.Point{8, 47.001})}
	long := func(n int) orb.LineString {
		line := make(orb.LineString, n)
		for i := range line {
			line[i] = orb.Point{8 + float64(i%2)*1e-4, 47}
		}
		return line
	}
	for name, c := range map[string]struct {
		parts []Part
		ok    bool
	}{
		"lowest":               {[]Part{{triangle, 0.01}}, true},
		"too low":              {[]Part{{triangle, 0.0099}}, false},
		"highest":              {[]Part{{triangle, 1000}}, true},
		"too high":             {[]Part{{triangle, 1000.1}}, false},
		"infinite":             {[]Part{{triangle, math.Inf(1)}}, false},
		"short line":           {[]Part{{orb.LineString{{8, 47}, {8.001, 47}}, 5}}, true},
		"most positions":       {[]Part{{long(MaxVertices - 1), 5}, {orb.Point{8, 47}, 5}}, true},
		"one position more":    {[]Part{{long(MaxVertices - 1), 5}, {orb.Point{8, 47}, 5}, {orb.Point{8, 47}, 5}}, false},
		"longitude 360":        {[]Part{{orb.Point{360, 10}, 5}}, true},
		"longitude -360":       {[]Part{{orb.Point{-360, 10}, 5}}, true},
		"longitude 360.1":      {[]Part{{orb.Point{360.1, 10}, 5}}, false},
		"north pole":           {[]Part{{orb.Point{30, 90}, 5}}, true},
		"beyond it":            {[]Part{{orb.Point{30, 90.1}, 5}}, false},
		"needle of a ring":     {[]Part{{orb.Polygon{{{8, 47}, {8.001, 47}, {8, 47}, {8, 47}}}, 5}}, false},
		"a needle begun twice": {[]Part{{orb.Polygon{{{8, 47}, {8, 47}, {8.001, 47}, {8, 47}}}, 5}}, false},
		"one place":            {[]Part{{orb.Polygon{{{8, 47}, {8, 47}, {8, 47}, {8, 47}}}, 5}}, false},
		"three places twice":   {[]Part{{orb.Polygon{{{8, 47}, {8, 47}, {8.001, 47}, {8.001, 47}, {8, 47.001}, {8, 47}}}, 5}}, true},
	} {
		if faults := Validate(c.parts); (len(faults) == 0) != c.ok {
			t.Errorf("%s: %v", name, faults)
		}
	}
	faults := Validate([]Part{{long(MaxVertices), 5}, {long(MaxVertices + 1), 5}})
	if len(faults) != 2 || faults[0].Reason != "the parts have 200001 positions together, 100000 are allowed" || faults[1].Part != 1 {
		t.Error(faults)
	}
	if MaxReach != 15_000 || MaxCorridorReach != 200_000 {
		t.Error("a limit has changed")
	}
}

// A part reaches 15 km from the middle at most. Along the equator a degree is 111 319.49 m, less 2e-7 for the chord.
func TestReachOfParts(t *testing.T) {
	degrees := 15_000 / 111_319.49
	for f, want := range map[float64]int{0.9999: 0, 1.0002: 2} {
		parts := []Part{{orb.Point{-f * degrees, 0}, 5}, {orb.Point{0, 0}, 5}, {orb.Point{f * degrees, 0}, 5}}
		faults := Validate(parts)
		if len(faults) != want {
			t.Fatalf("%v times the reach: %v", f, faults)
		}
		if want > 0 && (faults[0].Part != 0 || faults[1].Part != 2 ||
			faults[1].Reason != "lies 15003 m from the middle 0.00000, 0.00000 of the structure, 15000 m are allowed") {
			t.Error(faults)
		}
	}
	// Parts at fault for another reason have no place in the plane: those after them keep theirs.
	parts := []Part{{orb.Point{0, 91}, 5}, {orb.LineString{{0, 0}, {1, 0}}, 5}, {orb.Point{0.5, 0}, 5}}
	faults := Validate(parts)
	if len(faults) != 3 || faults[0].Part != 0 || faults[1].Part != 1 || faults[1].Vertex != 0 || faults[2].Vertex != 1 {
		t.Error(faults)
	}
	// With a fault of another kind, rings are still looked at where the rest lies within reach.
	bow := orb.Polygon{closedRingOf(orb.Point{8, 47}, orb.Point{8.001, 47.001}, orb.Point{8.001, 47}, orb.Point{8, 47.001})}
	if faults := Validate([]Part{{orb.Point{8, 99}, 5}, {bow, 5}}); len(faults) != 2 {
		t.Error(faults)
	}
	if faults := Validate([]Part{{orb.Point{8, 99}, 5}}); len(faults) != 1 {
		t.Error(faults)
	}
}

func TestFaultsAreReadable(t *testing.T) {
	for f, want := range map[Fault]string{
		{-1, -1, -1, "why"}: "why", {0, -1, -1, "why"}: "part 0: why", {3, 0, -1, "why"}: "part 3, ring 0: why",
		{3, 1, 0, "why"}: "part 3, ring 1, vertex 0: why", {0, -1, 7, "why"}: "part 0, vertex 7: why",
	} {
		if f.String() != want {
			t.Errorf("%q, want %q", f, want)
		}
	}
	var faults Faults
	for i := range maxFaults + 5 {
		if faults.full() != (i > maxFaults) {
			t.Errorf("full after %d", i)
		}
		faults.add(Fault{i, -1, -1, "why"})
	}
	if len(faults) != 1001 || faults[999].Part != 999 || faults[1000].Reason != "only the first 1000 faults are listed" {
		t.Errorf("%d faults, the last %v", len(faults), faults[len(faults)-1])
	}
	if text := faults[:2].Error(); text != "part 0: why; part 1: why" {
		t.Error(text)
	}
}

// Positions at the edge of what is a place, and the hint that coordinates may be exchanged: only where the other
// coordinate could be a latitude.
func TestPositionFaults(t *testing.T) {
	for p, want := range map[orb.Point]string{
		{180, 90}: "", {-180, -90}: "", {360, 0}: "", {-360, 0}: "", {360.5, 0}: "longitude 360.5 is outside -180 to 180 degrees",
		{90, 91}: "wrong order", {-90, -91}: "wrong order", {90.5, 91}: "latitude 91 is beyond 90 degrees", {0, math.Inf(-1)}: "not a pair",
		{math.Inf(1), 0}: "not a pair", {math.NaN(), 0}: "not a pair",
	} {
		got := positionFault(p)
		if (got == "") != (want == "") || !strings.Contains(got, want) || strings.Contains(got, "order") != strings.Contains(want, "order") {
			t.Errorf("%v: %q, want %q", p, got, want)
		}
	}
}

// Distances of boxes by Pythagoras: side by side, above each other, corner to corner, and within.
func TestBoxes(t *testing.T) {
	b := box{0, 0, 10, 5}
	for other, want := range map[box]float64{
		{13, 1, 20, 2}: 9, {-9, 0, -5, 9}: 25, {2, 7, 3, 8}: 4, {2, -9, 3, -6}: 36, {13, 9, 14, 10}: 25, {-7, -24, -7, -24}: 49 + 576,
		{10, 5, 11, 6}: 0, {1, 1, 2, 2}: 0, {-5, -5, 50, 50}: 0, {-4, 1, 0, 2}: 0, {1, -3, 2, 0}: 0,
	} {
		if got := b.distance2(&other); got != want {
			t.Errorf("%v: %v, want %v", other, got, want)
		}
		if got := other.distance2(&b); got != want {
			t.Errorf("%v the other way: %v, want %v", other, got, want)
		}
	}
	for p, want := range map[XY]bool{{0, 0}: true, {10, 5}: true, {-2, 0}: true, {12, 5}: true, {5, 7}: true, {5, -2}: true,
		{-2.1, 0}: false, {12.1, 0}: false, {5, 7.1}: false, {5, -2.1}: false} {
		if got := b.holds(p, 2); got != want {
			t.Errorf("%v with a margin of 2: %v", p, got)
		}
	}
	if b.holds(XY{0.5, 2}, -1) || !b.holds(XY{1, 1}, -1) || !b.holds(XY{9, 4}, -1) || b.holds(XY{5, 4.5}, -1) {
		t.Error("a negative margin leaves less than the box")
	}
	e := emptyBox()
	e.cover(3, 4)
	if e != (box{3, 4, 3, 4}) {
		t.Error(e)
	}
	e.coverBox(box{-1, 5, 2, 9})
	if e != (box{-1, 4, 3, 9}) {
		t.Error(e)
	}
}

// Neighbours come next to each other: in the order of quadrants south-west, south-east, north-west, north-east, and
// within each quadrant the same again (Morton order).
func TestOrderOfPlots(t *testing.T) {
	var parts []planePart
	for _, c := range []int{5, 12, 3, 0, 9, 15, 6, 10, 1, 13, 7, 2, 11, 4, 14, 8} {
		// the bits of x and of y taken apart
		x, y := c&1|c>>1&2, c>>1&1|c>>2&2
		parts = append(parts, planePart{point: []XY{{float64(100*x) + 1000, float64(100*y) - 700}}, height: float64(c + 1)})
	}
	lay := inPlane(parts)
	var order []float64
	for _, p := range lay.plots {
		order = append(order, p.height-1)
	}
	if want := []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15}; !slices.Equal(order, want) {
		t.Errorf("order %v", order)
	}
	for k, p := range lay.plots {
		if parts[p.input].height != p.height || lay.ribs[p.first].x != parts[p.input].point[0].X || p.end != p.first+1 ||
			lay.ribs[p.first].part != int32(k) {
			t.Errorf("plot %d: %+v", k, p)
		}
	}
}

// Every node of the tree is the box around the edges of its ribs, from the leaves of four ribs up to the root.
func TestTreeOfRibs(t *testing.T) {
	for _, n := range []int{1, 3, 4, 5, 8, 9, 40} {
		var line []XY
		for i := range n {
			line = append(line, XY{float64(7 * i % 11), float64(3 * i)})
		}
		part := planePart{line: line, height: 1}
		if n == 1 {
			part = planePart{point: line, height: 1}
		}
		lay := inPlane([]planePart{part})
		tree := lay.tree
		if tree.leaves < (n+3)/4 || tree.leaves > 2*((n+3)/4) || len(tree.boxes) != 2*tree.leaves {
			t.Errorf("%d ribs in %d leaves of %d boxes", n, tree.leaves, len(tree.boxes))
		}
		for node := 1; node < len(tree.boxes); node++ {
			first, last := node, node
			for first < tree.leaves {
				first, last = 2*first, 2*last+1
			}
			want := emptyBox()
			for i := 4 * (first - tree.leaves); i < min(4*(last-tree.leaves+1), n); i++ {
				want.cover(line[i].X, line[i].Y)
				want.cover(line[min(i+1, n-1)].X, line[min(i+1, n-1)].Y)
			}
			if tree.boxes[node] != want {
				t.Errorf("%d ribs, node %d: %v, want %v", n, node, tree.boxes[node], want)
			}
		}
	}
}

// A ring is laid out with its inside on the left, whichever way it is given; edges keep the vertex of the input that
// they lie between, and repeated positions are left out.
func TestRingsAreLaidOutAnticlockwise(t *testing.T) {
	for _, ring := range [][]XY{
		{{0, 0}, {4, 0}, {4, 0}, {4, 3}, {0, 0}},
		{{0, 0}, {4, 3}, {4, 0}, {4, 0}},
	} {
		lay := inPlane([]planePart{{rings: [][]XY{ring}, height: 2}})
		if len(lay.ribs) != 3 {
			t.Fatalf("%d ribs for %v", len(lay.ribs), ring)
		}
		for i, r := range lay.ribs {
			from, to := XY{r.x, r.y}, XY{lay.ribs[r.next].x, lay.ribs[r.next].y}
			if apart(r.pointAlong(r.length), to) > 1e-12 || cross(from, to, XY{3, 1}) <= 0 || lay.ribs[r.next].prev != int32(i) || !r.ringed {
				t.Errorf("rib %d: %+v", i, r)
			}
			// the vertex of an edge is one of its ends in the input
			a := ring[r.vertex]
			b := ring[(int(r.vertex)+1)%len(ring)]
			if !(a == from && (b == to || b == from)) && !(a == to && (b == from || b == to)) {
				t.Errorf("edge from %v to %v goes by vertex %d, %v", from, to, r.vertex, a)
			}
		}
		if area := ringArea(lay.ribs); math.Abs(area-6) > 1e-12 {
			t.Errorf("area %v", area)
		}
	}
	line := inPlane([]planePart{{line: []XY{{0, 0}, {3, 4}, {3, 4}, {3, 9}}, height: 2}}).ribs
	if len(line) != 3 || line[0].prev != -1 || line[2].next != -1 || line[0].length != 5 || line[2].length != 0 || line[0].ux != 0.6 ||
		line[0].uy != 0.8 || line[1].vertex != 1 || line[2].vertex != 3 || line[1].ring != -1 {
		t.Errorf("%+v", line)
	}
}

// Vertices nearer than 1e-7 m are one: such an edge has no direction.
func TestVerticesAreMerged(t *testing.T) {
	for d, want := range map[float64]int{0.9e-7: 3, 1.2e-7: 4} {
		for _, ring := range [][]XY{{{0, 0}, {4, 0}, {4, d}, {0, 4}}, {{0, 0}, {4, 0}, {0, 4}, {0, d}}} {
			if lay := inPlane([]planePart{{rings: [][]XY{ring}, height: 2}}); len(lay.ribs) != want {
				t.Errorf("%v m apart: %d ribs, want %d", d, len(lay.ribs), want)
			}
		}
	}
}
