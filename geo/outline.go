package geo

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// Outline is the boundary of an area: closed loops of straight edges and arcs in the plane of a frame, the area on
// their left. Loops that enclose area turn anticlockwise, holes clockwise.
type Outline struct {
	Frame Frame
	Loops [][]Edge
}

// Finest and coarsest tolerance for drawing [m]; others are brought to the nearest of them.
const (
	MinTolerance = 1e-3
	MaxTolerance = 1000.0
)

// Polygons draws the outline as polygons in longitude and latitude. No place of the drawn line, taken as straight
// in longitude and latitude as RFC 7946 says, is farther than the tolerance [m] from the outline. Outer rings turn
// anticlockwise, holes clockwise; polygons that cross the 180th meridian are split there, and those that hold a pole
// reach to latitude 90 along it (RFC 7946, sections 3.1.1, 3.1.6 and 3.1.9).
func (o Outline) Polygons(tolerance float64) orb.MultiPolygon {
	if !(tolerance >= MinTolerance) {
		tolerance = MinTolerance
	}
	d := drawing{frame: o.Frame, tolerance: math.Min(tolerance, MaxTolerance)}
	for _, l := range o.Loops {
		d.loop(l)
	}
	d.closeChains()
	return d.polygons()
}

// drawing collects rings that stay clear of the 180th meridian, and of the others the chains between their meetings
// with it.
type drawing struct {
	frame     Frame
	tolerance float64
	rings     []orb.Ring
	chains    []orb.LineString
}

// loop draws one loop: half the tolerance is for the chords of arcs, half for the bend of straight lines between
// longitude and latitude.
func (d *drawing) loop(l []Edge) {
	line := make(orb.LineString, 0, len(l)+1)
	for i := range l {
		e := &l[i]
		n := 1
		if e.Radius > 0 {
			n = chords(e.Radius, e.Sweep, d.tolerance/2)
		}
		from := e.From
		for k := 1; k <= n; k++ {
			line = append(line, d.frame.LonLat(from))
			to := e.To
			if k < n {
				to = e.along(float64(k) / float64(n))
			}
			line = d.bend(line, from, to, 0)
			from = to
		}
	}
	d.split(line)
}

// chords is the number of chords that stay within tol [m] of an arc.
func chords(radius, sweep, tol float64) int {
	if tol >= radius {
		return 1 + int(math.Abs(sweep)/(math.Pi/2))
	}
	step := 2 * math.Acos(1-tol/radius)
	return max(1, int(math.Ceil(math.Abs(sweep)/math.Min(step, math.Pi/2)-1e-9)))
}

// bend adds places between two ends of a straight line in the plane until the lines between them, straight in
// longitude and latitude, follow it.
func (d *drawing) bend(line orb.LineString, from, to XY, depth int) orb.LineString {
	const deepest = 20 // a line through a pole turns by 180 degrees at one place
	a, b := d.frame.LonLat(from), d.frame.LonLat(to)
	middle := XY{(from.X + to.X) / 2, (from.Y + to.Y) / 2}
	if depth >= deepest {
		return line
	}
	turn := math.Remainder(b[0]-a[0], 360)
	drawn := d.frame.Local(orb.Point{a[0] + turn/2, (a[1] + b[1]) / 2})
	if apart(drawn, middle) <= d.tolerance/2 && math.Abs(turn) < 20 {
		return line
	}
	line = d.bend(line, from, middle, depth+1)
	line = append(line, d.frame.LonLat(middle))
	return d.bend(line, middle, to, depth+1)
}

// split cuts a closed line where it passes the 180th meridian.
func (d *drawing) split(line orb.LineString) {
	n := len(line)
	var chain, first orb.LineString
	passed := false
	for i, p := range line {
		chain = append(chain, p)
		q := line[(i+1)%n]
		if math.Abs(q[0]-p[0]) <= 180 {
			continue
		}
		side := math.Copysign(180, p[0]) // where the line leaves the map
		turn := math.Remainder(q[0]-p[0], 360)
		lat := p[1]
		if turn != 0 {
			lat += (q[1] - p[1]) * (side - p[0]) / turn
		}
		chain = append(chain, orb.Point{side, lat})
		if passed {
			d.chains = append(d.chains, chain)
		} else {
			first, passed = chain, true
		}
		chain = orb.LineString{{-side, lat}}
	}
	if !passed {
		if ring := closedRing(chain); ring != nil {
			d.rings = append(d.rings, ring)
		}
		return
	}
	d.chains = append(d.chains, append(chain, first...))
}

// border is the way along the edge of the map, anticlockwise from its lower right corner [degrees].
func border(p orb.Point) float64 {
	if p[0] > 0 {
		return p[1] + 90
	}
	return 180 + 360 + 90 - p[1]
}

var mapCorners = []struct {
	way   float64
	place orb.Point
}{{180, orb.Point{180, 90}}, {540, orb.Point{-180, 90}}, {720, orb.Point{-180, -90}}, {1080, orb.Point{180, -90}}}

// closeChains joins the chains to rings along the edge of the map: the area is on the left of a chain, so from
// where it meets the edge the ring follows the edge anticlockwise until the next chain starts.
func (d *drawing) closeChains() {
	const round = 1080
	type entry struct {
		way   float64
		chain int
	}
	entries := make([]entry, len(d.chains))
	for i, c := range d.chains {
		entries[i] = entry{border(c[0]), i}
	}
	slices.SortFunc(entries, func(a, b entry) int { return cmp.Compare(a.way, b.way) })
	used := make([]bool, len(d.chains))
	for i := range d.chains {
		var ring orb.LineString
		for k := i; !used[k]; {
			used[k] = true
			ring = append(ring, d.chains[k]...)
			end := border(ring[len(ring)-1])
			n, _ := slices.BinarySearchFunc(entries, end, func(e entry, w float64) int { return cmp.Compare(e.way, w) })
			next := entries[n%len(entries)]
			to := next.way
			if n == len(entries) {
				to += round
			}
			for _, c := range mapCorners {
				if c.way > end && c.way < to {
					ring = append(ring, c.place)
				}
			}
			for _, c := range mapCorners {
				if c.way+round > end && c.way+round < to {
					ring = append(ring, c.place)
				}
			}
			k = next.chain
		}
		if closed := closedRing(ring); closed != nil {
			d.rings = append(d.rings, closed)
		}
	}
}

// closedRing repeats the first position at the end and leaves out repeated ones; nil where no area is left.
func closedRing(line orb.LineString) orb.Ring {
	ring := make(orb.Ring, 0, len(line)+1)
	for _, p := range line {
		if len(ring) == 0 || p != ring[len(ring)-1] {
			ring = append(ring, p)
		}
	}
	for len(ring) > 1 && ring[len(ring)-1] == ring[0] {
		ring = ring[:len(ring)-1]
	}
	if len(ring) < 3 || degreesWithin(ring) == 0 {
		return nil
	}
	return append(ring, ring[0])
}

// degreesWithin is the signed area within a ring in square degrees.
func degreesWithin(ring orb.Ring) float64 {
	sum := 0.0
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		sum += (p[0]-ring[0][0])*(q[1]-ring[0][1]) - (q[0]-ring[0][0])*(p[1]-ring[0][1])
	}
	return sum / 2
}

// polygons gives each hole to the smallest outer ring around it.
func (d *drawing) polygons() orb.MultiPolygon {
	type outer struct {
		area    float64
		bound   orb.Bound
		polygon orb.Polygon
	}
	var outers []outer
	var holes []orb.Ring
	for _, r := range d.rings {
		if a := degreesWithin(r); a > 0 {
			outers = append(outers, outer{a, r.Bound(), orb.Polygon{r}})
		} else {
			holes = append(holes, r)
		}
	}
	order := make([]int, len(outers))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(outers[a].area, outers[b].area) })
	for _, h := range holes {
		hb := h.Bound()
		for _, i := range order {
			o := &outers[i]
			if o.bound.Contains(hb.Min) && o.bound.Contains(hb.Max) && mostlyWithin(h, o.polygon[0]) {
				o.polygon = append(o.polygon, h)
				break
			}
		}
	}
	out := make(orb.MultiPolygon, len(outers))
	for i := range outers {
		out[i] = outers[i].polygon
	}
	return out
}

// mostlyWithin decides by three places: a hole may touch its outer ring at one.
func mostlyWithin(hole, ring orb.Ring) bool {
	inside := 0
	for k := range 3 {
		i := k * (len(hole) - 1) / 3
		m := orb.Point{(hole[i][0] + hole[i+1][0]) / 2, (hole[i][1] + hole[i+1][1]) / 2}
		within := false
		for n := 1; n < len(ring); n++ {
			a, b := ring[n-1], ring[n]
			if (a[1] > m[1]) != (b[1] > m[1]) && m[0] < a[0]+(b[0]-a[0])*(m[1]-a[1])/(b[1]-a[1]) {
				within = !within
			}
		}
		if within {
			inside++
		}
	}
	return inside >= 2
}

// MaxCorridorReach is how far [m] a route may reach from its middle for a corridor to be drawn.
const MaxCorridorReach = 200_000.0

// Corridor draws the area within half a width [m] of a route, to a tolerance [m], as Outline.Polygons does: for the
// collection areas of a line, A_L and A_I. It is for maps; the standard computes with length times width.
// A route that reaches farther than MaxReach from its middle is drawn with the error of the plane there, 1e-4 of the distances at most.
func Corridor(route orb.LineString, halfWidth, tolerance float64) (orb.MultiPolygon, error) {
	o, err := CorridorOutline(route, halfWidth)
	if err != nil {
		return nil, err
	}
	return o.Polygons(tolerance), nil
}

// CorridorOutline returns the outline that Corridor draws.
func CorridorOutline(route orb.LineString, halfWidth float64) (Outline, error) {
	if !(halfWidth >= 1 && halfWidth <= 10_000) {
		return Outline{}, fmt.Errorf("the half width %v m of the corridor is outside 1 to 10000 m", halfWidth)
	}
	if faults := routeFaults(route); len(faults) > 0 {
		return Outline{}, faults
	}
	lay := newLayout([]Part{{route, MinHeight}}, []bool{true})
	if !lay.within(MaxCorridorReach) {
		return Outline{}, errors.New("the route reaches more than 200 km from its middle: draw it in pieces")
	}
	loops, err := lay.widened([]float64{halfWidth})
	if err != nil {
		return Outline{}, err
	}
	return Outline{lay.frame, loops}, nil
}
