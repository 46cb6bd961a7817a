package geo

import (
	"math"
	"slices"
	"testing"
)

// lensArea is the area that two discs of radii r and s at a distance d share, by the sectors and the kite between the
// centres and the crossings.
func lensArea(r, s, d float64) float64 {
	x := (d*d + r*r - s*s) / (2 * d)
	y := math.Sqrt(r*r - x*x)
	return r*r*math.Acos(x/r) + s*s*math.Acos((d-x)/s) - d*y
}

// Unions whose area has a closed form. Convex corners have sectors, together one disc; where a line turns by the angle
// f, its strips share r² tan(f/2) on the inside and leave a sector f r²/2 open on the outside; a notch of 90 degrees
// has one sector less and shares r².
func TestUnionsInClosedForm(t *testing.T) {
	const h, r = 2.0, 6.0 // 3 times the height
	disc := math.Pi * r * r
	mast := func(x, y, height float64) planePart { return planePart{point: []XY{{x, y}}, height: height} }
	bent := func(f float64) planePart {
		return planePart{line: []XY{{0, 0}, {40, 0}, {40 + 30*math.Cos(f), 30 * math.Sin(f)}}, height: h}
	}
	strips := func(f float64) float64 { return 2*r*70 + disc - r*r*math.Tan(f/2) + f*r*r/2 }
	l := polygonPart(h, []XY{{0, 0}, {40, 0}, {40, 15}, {15, 15}, {15, 50}, {0, 50}})
	court := func(x, y float64) planePart { return polygonPart(h, rectangle(0, 0, 60, 50), rectangle(15, 10, x, y)) }
	around := 60*50 + 2*(60+50)*r + disc
	segment := r*r*math.Acos(0.5) - r*r*0.5*math.Sqrt(0.75) // of a disc cut half a radius from its centre
	for name, c := range map[string]struct {
		parts []planePart
		want  float64
	}{
		"one disc":               {[]planePart{mast(3, 4, h)}, disc},
		"two discs":              {[]planePart{mast(0, 0, h), mast(7, 0, h)}, 2*disc - lensArea(r, r, 7)},
		"two unequal discs":      {[]planePart{mast(0, 0, h), mast(9, 0, 4)}, 5*disc - lensArea(r, 2*r, 9)},
		"the smaller one first":  {[]planePart{mast(9, 0, 4), mast(0, 0, h)}, 5*disc - lensArea(r, 2*r, 9)},
		"most of the smaller":    {[]planePart{mast(0, 0, h), mast(0, 7, 4)}, 5*disc - lensArea(r, 2*r, 7)},
		"one disc in another":    {[]planePart{mast(0, 0, h), mast(2, 1, 5)}, 6.25 * disc},
		"the same disc twice":    {[]planePart{mast(1, 1, h), mast(1, 1, h)}, disc},
		"two discs apart":        {[]planePart{mast(0, 0, h), mast(50, 0, h)}, 2 * disc},
		"a line":                 {[]planePart{{line: []XY{{0, 0}, {30, 40}}, height: h}}, 2*r*50 + disc},
		"a line in three":        {[]planePart{{line: []XY{{0, 0}, {6, 8}, {15, 20}, {30, 40}}, height: h}}, 2*r*50 + disc},
		"turned left":            {[]planePart{bent(math.Pi / 2)}, strips(math.Pi / 2)},
		"turned right":           {[]planePart{bent(-math.Pi / 3)}, strips(math.Pi / 3)},
		"turned a little":        {[]planePart{bent(0.1)}, strips(0.1)},
		"turned back":            {[]planePart{bent(2.2)}, strips(2.2)},
		"a cross":                {[]planePart{{line: []XY{{-30, 0}, {30, 0}}, height: h}, {line: []XY{{0, -30}, {0, 30}}, height: h}}, 2*(2*r*60+disc) - 4*r*r},
		"wide across narrow":     {[]planePart{{line: []XY{{-30, 0}, {30, 0}}, height: h}, {line: []XY{{0, -30}, {0, 30}}, height: h / 2}}, 2*r*60 + disc + r*60 + disc/4 - 2*r*r},
		"a box":                  {[]planePart{polygonPart(h, rectangle(0, 0, 60, 50))}, around},
		"a box in another":       {[]planePart{polygonPart(h, rectangle(0, 0, 60, 50)), polygonPart(h, rectangle(10, 10, 20, 20))}, around},
		"boxes with a wall":      {[]planePart{polygonPart(h, rectangle(0, 0, 20, 50)), polygonPart(h, rectangle(20, 0, 40, 50))}, around},
		"boxes that overlap":     {[]planePart{polygonPart(h, rectangle(0, 0, 45, 50)), polygonPart(h, rectangle(20, 0, 40, 50))}, around},
		"a notch":                {[]planePart{l}, 40*15 + 15*35 + 180*r + 1.25*disc - r*r},
		"a courtyard":            {[]planePart{court(30, 20)}, around - 18*8},
		"a courtyard just open":  {[]planePart{court(30, 12.5)}, around - 18*0.5},
		"a courtyard closed":     {[]planePart{court(30, 11)}, around},
		"a mast in a courtyard":  {[]planePart{polygonPart(h, rectangle(0, 0, 90, 80), rectangle(15, 15, 60, 50)), mast(45, 40, h)}, 90*80 + 340*r + disc - 48*38 + disc},
		"a mast at a wall":       {[]planePart{polygonPart(h, rectangle(0, 0, 60, 50)), mast(30, 53, h)}, around + segment},
		"a mast on a wall":       {[]planePart{polygonPart(h, rectangle(0, 0, 60, 50)), mast(30, 50, h)}, around},
		"a mast within":          {[]planePart{polygonPart(h, rectangle(0, 0, 60, 50)), mast(30, 25, h)}, around},
		"a high mast all around": {[]planePart{polygonPart(h, rectangle(-5, -5, 10, 10)), mast(0, 0, 5)}, 6.25 * disc},
		"a line out of a box":    {[]planePart{polygonPart(h, rectangle(0, 0, 60, 50)), {line: []XY{{30, 25}, {30, 90}}, height: h}}, around + 2*r*34 + disc/2},
	} {
		for _, angle := range []float64{0, 0.3, 2, math.Pi, 4.4} {
			parts := turned(c.parts, angle, -20*angle, 7*angle)
			for range 2 {
				if _, direct, _ := planeAreas(t, parts); relative(direct, c.want) > 1e-9 {
					t.Errorf("%s turned by %v: %v, want %v", name, angle, direct, c.want)
				}
				slices.Reverse(parts)
				for _, p := range parts {
					slices.Reverse(p.line)
				}
			}
		}
	}
}

// What remains of a stretch from 0 to 10 when a part of it is cut out.
func TestStretchesThatRemain(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		lo, hi  float64
		gone    bool
		remains []span // the last first: the one being looked at
	}{
		{-1, 11, true, nil}, {0, 10, true, nil}, {-1, 10, true, nil}, {0, 12, true, nil}, {-1, 4, false, []span{{4, 10}}},
		{0, 4, false, []span{{4, 10}}},
		{6, 12, false, []span{{0, 6}}}, {6, 10, false, []span{{0, 6}}}, {3, 5, false, []span{{5, 10}, {0, 3}}}, {5, 5, false, []span{{0, 10}}},
		{7, 3, false, []span{{0, 10}}}, {10, 12, false, []span{{0, 10}}}, {-5, 0, false, []span{{0, 10}}}, {11, 12, false, []span{{0, 10}}},
		{nan, 5, false, []span{{0, 10}}}, {3, nan, false, []span{{0, 10}}},
	} {
		k := curve{span: span{0, 10}}
		k.remove(c.lo, c.hi)
		got := append(append([]span{}, k.waiting...), k.span)
		if k.gone != c.gone || !c.gone && !slices.Equal(got, c.remains) {
			t.Errorf("%v to %v: gone %v, remains %v, want %v", c.lo, c.hi, k.gone, got, c.remains)
		}
		changed := c.gone || c.remains[0] != span{0, 10}
		if k.stale != changed {
			t.Errorf("%v to %v: stale %v", c.lo, c.hi, k.stale)
		}
	}
	k := curve{span: span{0, 10}, gone: true}
	if k.remove(3, 5); k.span != (span{0, 10}) || k.stale {
		t.Error("cut although nothing was left")
	}
}

// The same around a circle, where an angle may be counted from any turn.
func TestTurnsThatRemain(t *testing.T) {
	const turn = 2 * math.Pi
	for _, c := range []struct {
		lo, hi  float64
		remains []span
	}{
		{-1, 1, []span{{1, turn - 1}}}, {turn - 1, turn + 1, []span{{1, turn - 1}}}, {1, 2, []span{{2, turn}, {0, 1}}},
		{2*turn + 1, 2*turn + 2, []span{{2, turn}, {0, 1}}}, {1 - 2*turn, 2 - 2*turn, []span{{2, turn}, {0, 1}}}, {0, 2, []span{{2, turn}}},
		{turn, turn + 2, []span{{2, turn}}}, {turn - 2, turn, []span{{0, turn - 2}}},
	} {
		k := curve{span: span{0, turn}}
		k.removeTurn(c.lo, c.hi)
		got := append(append([]span{}, k.waiting...), k.span)
		same := len(got) == len(c.remains)
		for i := 0; same && i < len(got); i++ {
			same = math.Abs(got[i].lo-c.remains[i].lo) < 1e-12 && math.Abs(got[i].hi-c.remains[i].hi) < 1e-12
		}
		if !same || k.gone {
			t.Errorf("%v to %v: remains %v, want %v", c.lo, c.hi, got, c.remains)
		}
	}
}

// cos f = (plus - minus)/(plus + minus): a right angle for equal ones, 60 degrees for 1 to 3.
func TestHalfAngles(t *testing.T) {
	for _, c := range [][3]float64{{1, 1, math.Pi / 2}, {1, 3, math.Pi / 3}, {3, 1, 2 * math.Pi / 3}, {0, 1, 0}, {-1, 2, 0},
		{1, 0, math.Pi}, {2, -1, math.Pi}} {
		if got := halfAngle(c[0], c[1]); math.Abs(got-c[2]) > 1e-12 {
			t.Errorf("%v to %v: %v, want %v", c[0], c[1], got, c[2])
		}
	}
}

// Gaps between caps whose middles lie at -90, 0, 90 and 180 degrees, by hand.
func TestGapsBetweenCaps(t *testing.T) {
	right := math.Pi / 2
	for _, c := range []struct {
		caps [4]float64
		k    int
		want float64
	}{
		{[4]float64{0.3, 0, 0.2, 0}, 0, math.Pi - 0.5}, {[4]float64{0.3, 0, 0.2, 0}, 2, math.Pi - 0.5}, {[4]float64{1, 0, 0, 0}, 0,
			2*math.Pi - 2},
		{[4]float64{0.1, 0.2, 0.3, 0.4}, 0, right - 0.3}, {[4]float64{0.1, 0.2, 0.3, 0.4}, 1, right - 0.5},
		{[4]float64{0.1, 0.2, 0.3, 0.4}, 3, right - 0.5},
		{[4]float64{1.2, 0.6, 0, 0}, 0, 0}, {[4]float64{1.2, 0.6, 0, 0}, 1, 3*right - 1.8}, {[4]float64{0, -1, 0.5, 0}, 2, 2*math.Pi - 1},
	} {
		end := float64(c.k-1)*right + c.caps[c.k]
		if got := gapAfter(&c.caps, c.k, end); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%v after %d: %v, want %v", c.caps, c.k, got, c.want)
		}
	}
}

// The time is bounded by comparisons: one mast is compared once, with itself. Of six masts apart from each other in two
// leaves of the tree, each arc is compared with those of its own leaf at least, and with all six at most.
func TestComparisonsAreCounted(t *testing.T) {
	for budget, want := range map[int]error{1: nil, 0: errIntricate} {
		w := widening{lay: inPlane([]planePart{{point: []XY{{0, 0}}, height: 2}}), radius: []float64{6}, tieWidth: 1e-9}
		w.prepare()
		w.budget = budget
		if err := w.run(); err != want || w.budget != budget-1 {
			t.Errorf("budget %d: %v, left %d", budget, err, w.budget)
		}
	}
	var parts []planePart
	for k := range 6 {
		parts = append(parts, planePart{point: []XY{{1000 * float64(k), 0}}, height: 2})
	}
	w := widening{lay: inPlane(parts), radius: []float64{6, 6, 6, 6, 6, 6}, tieWidth: 1e-9}
	w.prepare()
	w.budget = 100
	if err := w.run(); err != nil || 100-w.budget < 4*4+2*2 || 100-w.budget > 6*6 || len(w.edges) != 6 {
		t.Errorf("%v, %d comparisons, %d edges", err, 100-w.budget, len(w.edges))
	}
}
