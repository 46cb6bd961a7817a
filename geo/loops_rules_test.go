package geo

import (
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

// Arcs by their definition: the middle of a quarter circle of radius 2 about (1, 1) from east to north lies at 45
// degrees, its length is pi; turned clockwise the places are the same and the length too.
func TestEdges(t *testing.T) {
	quarter := Edge{From: XY{3, 1}, To: XY{1, 3}, Center: XY{1, 1}, Radius: 2, Sweep: math.Pi / 2}
	back := Edge{From: XY{1, 3}, To: XY{3, 1}, Center: XY{1, 1}, Radius: 2, Sweep: -math.Pi / 2}
	line := Edge{From: XY{1, 2}, To: XY{4, 6}}
	at45 := XY{1 + math.Sqrt2, 1 + math.Sqrt2}
	third := XY{1 + 2*math.Cos(math.Pi/6), 1 + 2*math.Sin(math.Pi/6)}
	for _, c := range []struct {
		got, want XY
	}{
		{quarter.middle(), at45}, {back.middle(), at45}, {quarter.along(1. / 3), third}, {back.along(2. / 3), third},
		{quarter.along(0), quarter.From}, {quarter.along(1), quarter.To}, {line.middle(), XY{2.5, 4}}, {line.along(0.25), XY{1.75, 3}},
	} {
		if apart(c.got, c.want) > 1e-12 {
			t.Errorf("%v, want %v", c.got, c.want)
		}
	}
	for _, c := range []struct {
		edge Edge
		want float64
	}{{quarter, math.Pi}, {back, math.Pi}, {line, 5}} {
		if math.Abs(c.edge.size()-c.want) > 1e-12 {
			t.Errorf("length %v, want %v", c.edge.size(), c.want)
		}
	}
}

// Areas of loops of arcs: a disc pi r², a half disc, a lens of two quarter circles of radius 1, pi/2 - 1, and a square
// of 4 x 4 from whose corner a quarter disc of radius 2 is bitten.
func TestLoopAreas(t *testing.T) {
	half := math.Pi
	for name, c := range map[string]struct {
		loop []Edge
		want float64
	}{
		"disc":      {[]Edge{{From: XY{8, 5}, To: XY{8, 5}, Center: XY{5, 5}, Radius: 3, Sweep: 2 * math.Pi}}, 9 * math.Pi},
		"two arcs":  {[]Edge{{XY{8, 5}, XY{2, 5}, XY{5, 5}, 3, half}, {XY{2, 5}, XY{8, 5}, XY{5, 5}, 3, half}}, 9 * math.Pi},
		"half disc": {[]Edge{{XY{8, 5}, XY{2, 5}, XY{5, 5}, 3, half}, {From: XY{2, 5}, To: XY{8, 5}}}, 4.5 * math.Pi},
		"lens":      {[]Edge{{XY{1, 0}, XY{0, 1}, XY{0, 0}, 1, math.Pi / 2}, {XY{0, 1}, XY{1, 0}, XY{1, 1}, 1, math.Pi / 2}}, math.Pi/2 - 1},
		"bitten": {[]Edge{{From: XY{0, 0}, To: XY{4, 0}}, {From: XY{4, 0}, To: XY{4, 2}}, {XY{4, 2}, XY{2, 4}, XY{4, 4}, 2, -math.Pi / 2},
			{From: XY{2, 4}, To: XY{0, 4}}, {From: XY{0, 4}, To: XY{0, 0}}}, 16 - math.Pi},
	} {
		if got := loopArea(c.loop); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
		if got := loopArea(reversed(c.loop)); math.Abs(got+c.want) > 1e-12 {
			t.Errorf("%s the other way round: %v, want %v", name, got, -c.want)
		}
		if got := loopsArea([][]Edge{c.loop, c.loop, reversed(c.loop)}); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s twice and once off: %v, want %v", name, got, c.want)
		}
		if got := loopsArea(nil); got != 0 {
			t.Errorf("no loop: %v", got)
		}
	}
}

// x - sin x by its Taylor series, x³/3! - x⁵/5! + ..., which converges for all x.
func TestLessSine(t *testing.T) {
	for _, x := range []float64{1e-9, 1e-3, 0.05, 0.1, 0.19, 0.2, 0.21, 1, 3, 6} {
		want, term := 0.0, x
		for k := 3.0; k < 60; k += 2 {
			term *= -x * x / ((k - 1) * k)
			want -= term
		}
		for _, sign := range []float64{1, -1} {
			if got := lessSine(sign * x); relative(got, sign*want) > 3e-14/math.Min(1, x*x*x)*math.Min(1, 1e3*x*x*x) &&
				relative(got, sign*want) > 1e-13 {
				t.Errorf("x %v: %v, want %v", sign*x, got, sign*want)
			}
		}
	}
}

func squareEdges(x, y, l float64) []Edge {
	p := []XY{{x, y}, {x + l, y}, {x + l, y + l}, {x, y + l}}
	var edges []Edge
	for i := range p {
		edges = append(edges, Edge{From: p[i], To: p[(i+1)%4]})
	}
	return edges
}

// Edges in any order close to the loops they come from, with ends that miss each other by less than the slack.
func TestJoinLoops(t *testing.T) {
	const slack = 1e-3
	for name, c := range map[string]struct {
		edges []Edge
		want  []float64 // areas of the loops
	}{
		"in order": {squareEdges(0, 0, 10), []float64{100}},
		"two":      {append(squareEdges(0, 0, 10), squareEdges(20, 0, 5)...), []float64{100, 25}},
		"two squares mixed": {[]Edge{squareEdges(0, 0, 10)[2], squareEdges(20, 0, 5)[0], squareEdges(0, 0, 10)[0], squareEdges(20, 0, 5)[3],
			squareEdges(20, 0, 5)[1], squareEdges(0, 0, 10)[3], squareEdges(0, 0, 10)[1], squareEdges(20, 0, 5)[2]}, []float64{100, 25}},
		"a circle": {[]Edge{{XY{3, 0}, XY{3, 0}, XY{0, 0}, 3, 2 * math.Pi}}, []float64{9 * math.Pi}},
		"a circle between edges": {[]Edge{squareEdges(20, 0, 5)[0], {XY{3, 0}, XY{3, 0}, XY{0, 0}, 3, 2 * math.Pi}, squareEdges(20, 0, 5)[2],
			squareEdges(20, 0, 5)[1], squareEdges(20, 0, 5)[3]}, []float64{25, 9 * math.Pi}},
		"gaps within the slack": {[]Edge{{From: XY{0, 0}, To: XY{10, 9e-4}}, {From: XY{0, 10}, To: XY{0, 0}}, {From: XY{10, 0}, To: XY{10, 10}},
			{From: XY{10, 10}, To: XY{-9e-4, 10}}}, []float64{100}},
		"slivers drop out":    {append(squareEdges(0, 0, 10), squareEdges(50, 0, 9e-4)...), []float64{100}},
		"a sliver between":    {append(squareEdges(0, 0, 10), Edge{From: XY{40, 40}, To: XY{40, 40.0005}}), []float64{100}},
		"nothing":             {nil, nil},
		"small but no sliver": {squareEdges(0, 0, 0.1), []float64{0.01}},
	} {
		t.Run(name, func(t *testing.T) {
			loops, err := joinLoops(append([]Edge{}, c.edges...), slack)
			if err != nil || len(loops) != len(c.want) {
				t.Fatalf("%d loops, %v", len(loops), err)
			}
			for _, want := range c.want {
				found := false
				for _, l := range loops {
					found = found || math.Abs(loopArea(l)-want) < 2e-2*want
				}
				if !found {
					t.Errorf("no loop of %v m2 in %v", want, loops)
				}
			}
		})
	}
}

// The nearest start is taken: at a place where two squares touch each goes on within its own.
func TestNearestStartIsTaken(t *testing.T) {
	edges := append(squareEdges(0, 0, 10), squareEdges(10, 10+5e-4, 10)...)
	edges[0], edges[5], edges[1], edges[6] = edges[5], edges[0], edges[6], edges[1]
	loops, err := joinLoops(edges, 1e-3)
	if err != nil || len(loops) != 2 || math.Abs(loopArea(loops[0])-100) > 0.1 || math.Abs(loopArea(loops[1])-100) > 0.1 {
		t.Errorf("%v %v", loops, err)
	}
}

// An end without successor is an error that says where, never an area.
func TestOpenOutlinesAreErrors(t *testing.T) {
	for name, edges := range map[string][]Edge{
		"an edge missing": squareEdges(0, 0, 10)[:3],
		"beyond four times the slack": {{From: XY{0, 0}, To: XY{10, 0}}, {From: XY{10, 0.0041}, To: XY{10, 10}},
			{From: XY{10, 10}, To: XY{0, 10}},
			{From: XY{0, 10}, To: XY{0, 0}}},
		"a half circle": {{XY{3, 0}, XY{-3, 0}, XY{0, 0}, 3, math.Pi}},
	} {
		if loops, err := joinLoops(append([]Edge{}, edges...), 1e-3); err == nil {
			t.Errorf("%s: %v", name, loops)
		}
	}
	_, err := joinLoops([]Edge{{From: XY{0, 0}, To: XY{40, 30}}}, 1e-3)
	if err == nil || err.Error() != "the outline does not close near 40.000 m east, 30.000 m north of the middle" {
		t.Errorf("%v", err)
	}
	lay := inPlane([]planePart{{point: []XY{{0, 0}}, height: 3}})
	lay.frame = frameAt(orb.Point{30, -20})
	// 30 m north of 20 degrees south are 30/110704 of a degree of latitude (the meridian there: 110.7 km a degree)
	text := lay.located(err).Error()
	if !strings.Contains(text, "longitude 30.000382") || !strings.Contains(text, "latitude -19.999729") {
		t.Error(text)
	}
	if other := lay.located(errIntricate); other != errIntricate {
		t.Error(other)
	}
}
