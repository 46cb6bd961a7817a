package geo

import (
	"errors"
	"math"
)

// The area within a distance r of a part is its inside, if it has one, with a rectangle of half width r over each
// edge and a disc of radius r at each vertex. Its boundary consists of stretches of the sides of those rectangles
// and of arcs of those circles. So every side and every arc that can belong to the boundary is taken in turn, and
// what lies within a rectangle, a disc or a polygon of any part is cut away: what remains of all of them is the
// boundary of the union, exactly.
//
// Where boundaries run on top of each other (shared walls, equal arcs) one of them must remain, and only one. Of
// two curves closer than tieWidth the one of the lower rib counts as the outer one: in every comparison the radius
// of the lower rib is taken larger, that of the higher rib smaller, by a quarter of tieWidth to either side. Areas
// that just touch from outside count as joined: all radii are taken larger by half of tieWidth when curves are cut.
// Both curves of a pair are cut at the same place, found by the same arithmetic, so the ends meet; and what remains
// is measured at its true radius.

// Edge is a stretch of an outline in the plane of its frame, with the area on its left.
type Edge struct {
	From, To XY
	Center   XY      // of the arc; not used for a straight edge
	Radius   float64 // of the arc [m]; 0: a straight edge
	Sweep    float64 // angle of the arc [rad], anticlockwise where positive
}

// middle is the place halfway along.
func (e *Edge) middle() XY {
	if e.Radius == 0 {
		return XY{(e.From.X + e.To.X) / 2, (e.From.Y + e.To.Y) / 2}
	}
	return e.along(0.5)
}

// along is the place at a fraction of the length.
func (e *Edge) along(f float64) XY {
	if e.Radius == 0 {
		return XY{e.From.X + f*(e.To.X-e.From.X), e.From.Y + f*(e.To.Y-e.From.Y)}
	}
	sin, cos := math.Sincos(f * e.Sweep)
	dx, dy := e.From.X-e.Center.X, e.From.Y-e.Center.Y
	return XY{e.Center.X + cos*dx - sin*dy, e.Center.Y + sin*dx + cos*dy}
}

// size is the length [m].
func (e *Edge) size() float64 {
	if e.Radius == 0 {
		return math.Hypot(e.To.X-e.From.X, e.To.Y-e.From.Y)
	}
	return e.Radius * math.Abs(e.Sweep)
}

type span struct{ lo, hi float64 }

// curve is one candidate for the boundary and the stretch of it being looked at.
type curve struct {
	of     int32   // its rib
	radius float64 // of its rib's part
	reach  float64 // the radius taken when it is cut
	arc    bool
	dx, dy float64 // arc: direction of its start; side: direction from the edge to the side

	span            // what remains: metres along a side, radians along an arc
	waiting  []span // stretches beyond something cut out, to be looked at later
	gone     bool
	from, to XY      // the ends of what remains
	bulge    float64 // how far an arc rises from its chord [m]
	box      box     // around what remains
	stale    bool    // the four before this are not up to date
}

type widening struct {
	lay        *layout
	radius     []float64 // by plot
	nodeRadius []float64 // largest radius in a node of the tree
	cores      []int32   // the plots with an inside farther than their radius from their edges
	tieWidth   float64
	lowerWins  bool // of two ribs whose curves tie, see above
	budget     int
	hints      [4]int32 // the ribs that covered the last of earlier curves: good ones to begin with
	oldest     int
	curve      curve
	edges      []Edge
}

// errIntricate bounds the time: some seconds of comparisons.
var errIntricate = errors.New("the parts are too intricate: too many edges overlap")

const comparisonBudget = 100_000_000

// widened returns the outline of the union of all parts, each widened by its radius [m].
func (lay *layout) widened(radius []float64) ([][]Edge, error) {
	w := widening{lay: lay, radius: radius}
	w.prepare()
	least := radius[0]
	for _, r := range radius {
		least = min(least, r)
	}
	least = min(least, 40)
	base := max(2.5e-10*least, 1e-14*(lay.all.hiX-lay.all.loX+lay.all.hiY-lay.all.loY))
	var err error
	for _, factor := range []float64{1, -1, 0.23, -0.23, 4.1, -4.1, 17, -17} {
		w.tieWidth, w.lowerWins = base*math.Abs(factor), factor > 0
		w.edges = w.edges[:0]
		w.budget = comparisonBudget
		if err = w.run(); err != nil {
			return nil, err
		}
		var loops [][]Edge
		if loops, err = joinLoops(w.edges, 1e-6*least); err == nil {
			return loops, nil
		}
	}
	return nil, lay.located(err)
}

func (w *widening) prepare() {
	tree := &w.lay.tree
	w.nodeRadius = make([]float64, len(tree.boxes))
	for i := range w.lay.ribs {
		k := tree.leaves + i/leafRibs
		w.nodeRadius[k] = max(w.nodeRadius[k], w.radius[w.lay.ribs[i].part])
	}
	for i := tree.leaves - 1; i > 0; i-- {
		w.nodeRadius[i] = max(w.nodeRadius[2*i], w.nodeRadius[2*i+1])
	}
	for k := range w.lay.plots {
		p, r := &w.lay.plots[k], w.radius[k]-1e-6
		if p.ringed && p.box.hiX-p.box.loX > 2*r && p.box.hiY-p.box.loY > 2*r {
			w.cores = append(w.cores, int32(k))
		}
	}
	w.edges = make([]Edge, 0, 2*len(w.lay.ribs))
}

func (w *widening) run() error {
	for j := range w.lay.ribs {
		r := &w.lay.ribs[j]
		if r.length > 0 {
			w.side(j, r.uy, -r.ux)
			if !r.ringed {
				w.side(j, -r.uy, r.ux)
			}
		}
		w.arcs(j)
		if w.budget < 0 {
			return errIntricate
		}
	}
	return nil
}

// side takes the side of a rib's rectangle towards (nx, ny).
func (w *widening) side(j int, nx, ny float64) {
	r := &w.lay.ribs[j]
	c := &w.curve
	c.arc, c.dx, c.dy = false, nx, ny
	forward := nx == r.uy && ny == -r.ux
	for w.start(j, span{0, r.length}); w.nextStretch(); {
		w.refresh()
		if forward {
			w.keep(Edge{From: c.from, To: c.to})
		} else {
			w.keep(Edge{From: c.to, To: c.from})
		}
	}
}

// arcs takes the arcs of a rib's circle that lie beyond the ends of its two edges. At a vertex of a ring that is an
// arc on the outside, if the ring turns left there; at a vertex of a line, on the outside of the turn.
func (w *widening) arcs(j int) {
	r := &w.lay.ribs[j]
	if r.prev < 0 {
		if r.length == 0 {
			w.arc(j, 1, 0, 2*math.Pi)
			return
		}
		w.arc(j, -r.uy, r.ux, math.Pi)
		return
	}
	p := &w.lay.ribs[r.prev]
	if r.length == 0 {
		w.arc(j, p.uy, -p.ux, math.Pi)
		return
	}
	cross, dot := p.ux*r.uy-p.uy*r.ux, p.ux*r.ux+p.uy*r.uy
	switch {
	case cross > 0:
		w.arc(j, p.uy, -p.ux, math.Atan2(cross, dot))
	case dot < 0 && -cross*min(p.length, r.length) <= 4*same:
		// The tip of a spike or of a slit, there is no telling which; an arc within a slit is found to be inside.
		w.arc(j, p.uy, -p.ux, 2*math.Pi-math.Atan2(math.Abs(cross), dot))
	case cross < 0 && !r.ringed:
		w.arc(j, -r.uy, r.ux, math.Atan2(-cross, dot))
	}
}

func (w *widening) arc(j int, dx, dy, sweep float64) {
	r := &w.lay.ribs[j]
	if sweep*w.radius[r.part] < w.tieWidth/8 {
		return // the vertex lies on a straight wall
	}
	c := &w.curve
	c.arc, c.dx, c.dy = true, dx, dy
	for w.start(j, span{0, sweep}); w.nextStretch(); {
		w.refresh()
		w.keep(Edge{From: c.from, To: c.to, Center: XY{r.x, r.y}, Radius: c.radius, Sweep: c.hi - c.lo})
	}
}

func (w *widening) start(j int, whole span) {
	c := &w.curve
	c.of = int32(j)
	c.radius = w.radius[w.lay.ribs[j].part]
	c.reach = c.radius + w.tieWidth/2
	c.waiting = append(c.waiting[:0], whole)
}

// nextStretch finds the next stretch of the current curve that nothing covers.
func (w *widening) nextStretch() bool {
	c := &w.curve
	for n := len(c.waiting); n > 0; n = len(c.waiting) {
		c.span, c.waiting = c.waiting[n-1], c.waiting[:n-1]
		c.gone, c.stale = false, true
		if w.cutByAll(); !c.gone {
			return true
		}
	}
	return false
}

func (w *widening) sideAt(t float64) XY {
	c, r := &w.curve, &w.lay.ribs[w.curve.of]
	return XY{r.x + t*r.ux + c.radius*c.dx, r.y + t*r.uy + c.radius*c.dy}
}

func (w *widening) arcAt(phi float64) XY {
	c, r := &w.curve, &w.lay.ribs[w.curve.of]
	sin, cos := math.Sincos(phi)
	return XY{r.x + c.radius*(cos*c.dx-sin*c.dy), r.y + c.radius*(sin*c.dx+cos*c.dy)}
}

// keep adds a stretch to the boundary unless it lies inside a polygon. What lies inside and is not within the radius
// of an edge lies deep inside.
func (w *widening) keep(e Edge) {
	if len(w.cores) > 0 {
		m := e.middle()
		for _, k := range w.cores {
			if w.lay.plots[k].box.holds(m, 1e-6-w.radius[k]) && w.lay.winding(k, m) != 0 {
				return
			}
		}
	}
	w.edges = append(w.edges, e)
}

// cutByAll cuts the current curve by every rib near enough until nothing is left. The ribs nearest to the middle of
// what remains come first: if anything covers it they do, and most curves are gone after a few.
func (w *widening) cutByAll() {
	tree, c := &w.lay.tree, &w.curve
	for _, i := range w.hints {
		if w.cut(int(i)); c.gone {
			return
		}
	}
	var stack [64]int32
	stack[0] = 1
	for n := 1; n > 0; {
		w.refresh()
		n--
		node := int(stack[n])
		reach := w.nodeRadius[node] + 2*w.tieWidth
		if c.box.distance2(&tree.boxes[node]) >= reach*reach {
			continue
		}
		if node < tree.leaves {
			near, far := 2*node, 2*node+1
			x, y := (c.box.loX+c.box.hiX)/2, (c.box.loY+c.box.hiY)/2
			seat := box{x, y, x, y}
			if seat.distance2(&tree.boxes[far]) < seat.distance2(&tree.boxes[near]) {
				near, far = far, near
			}
			stack[n], stack[n+1] = int32(far), int32(near)
			n += 2
			continue
		}
		first := (node - tree.leaves) * leafRibs
		end := min(first+leafRibs, len(w.lay.ribs))
		w.budget -= end - first
		for i := first; i < end; i++ {
			if w.cut(i); c.gone {
				w.hints[w.oldest] = int32(i)
				w.oldest = (w.oldest + 1) % len(w.hints)
				return
			}
		}
	}
}

func (w *widening) cut(i int) {
	if w.curve.arc {
		w.cutArc(i)
	} else {
		w.cutSide(i)
	}
}

// refresh brings the ends of what remains and the box around it up to date.
func (w *widening) refresh() {
	c := &w.curve
	if !c.stale {
		return
	}
	c.stale = false
	c.bulge = 0
	if !c.arc {
		c.from, c.to = w.sideAt(c.lo), w.sideAt(c.hi)
	} else {
		c.from, c.to = w.arcAt(c.lo), w.arcAt(c.hi)
		half := apart(c.from, c.to) / 2
		c.bulge = c.radius - math.Sqrt(max(0, c.radius*c.radius-half*half))
		if c.hi-c.lo > math.Pi {
			r := &w.lay.ribs[c.of]
			c.box = box{r.x - c.radius, r.y - c.radius, r.x + c.radius, r.y + c.radius}
			return
		}
	}
	c.box = box{
		min(c.from.X, c.to.X) - c.bulge, min(c.from.Y, c.to.Y) - c.bulge,
		max(c.from.X, c.to.X) + c.bulge, max(c.from.Y, c.to.Y) + c.bulge,
	}
}

// remove takes an interval out of what remains of the curve.
func (c *curve) remove(lo, hi float64) {
	if c.gone || !(lo < hi) || hi <= c.lo || lo >= c.hi {
		return
	}
	c.stale = true
	switch {
	case lo <= c.lo && hi >= c.hi:
		c.gone = true
	case lo <= c.lo:
		c.lo = hi
	case hi >= c.hi:
		c.hi = lo
	default:
		c.waiting = append(c.waiting, span{hi, c.hi})
		c.hi = lo
	}
}

// removeTurn takes an interval of angles, counted from any full turn, out of what remains of an arc.
func (c *curve) removeTurn(lo, hi float64) {
	const turn = 2 * math.Pi
	for lo >= turn {
		lo, hi = lo-turn, hi-turn
	}
	for lo < 0 {
		lo, hi = lo+turn, hi+turn
	}
	c.remove(lo, hi)
	c.remove(lo-turn, hi-turn)
}

// tie is what rib i, when it cuts, has its radius larger by and the current curve smaller by.
func (w *widening) tie(i int) float64 {
	if (i < int(w.curve.of)) == w.lowerWins {
		return w.tieWidth / 4
	}
	return -w.tieWidth / 4
}

// cutSide cuts the current side by the disc and the rectangle of rib i.
func (w *widening) cutSide(i int) {
	c := &w.curve
	if i == int(c.of) {
		return
	}
	own, other := &w.lay.ribs[c.of], &w.lay.ribs[i]
	tie, radius := w.tie(i), w.radius[other.part]+w.tieWidth/2
	x, y := other.x-own.x, other.y-own.y
	along, across := x*own.ux+y*own.uy, x*c.dx+y*c.dy
	farthest := across + max(0, other.length*(other.ux*c.dx+other.uy*c.dy))
	if farthest < c.reach-radius-2*w.tieWidth {
		return // all of it stays behind the side
	}
	if int32(i) != own.next { // the disc at the end of the own edge touches the side from within
		half2 := (across - (c.reach - radius - 2*tie)) * (c.reach + radius - across)
		if half2 > 0 && across < c.reach+radius {
			half := math.Sqrt(half2)
			c.remove(along-half, along+half)
		}
	}
	if other.length > 0 && !c.gone {
		w.cutSideByRectangle(i, tie, radius)
	}
}

// cutSideByRectangle: seen from the edge of rib i the side runs from (along, across) in direction (cos, sin).
func (w *widening) cutSideByRectangle(i int, tie, radius float64) {
	c := &w.curve
	own, other := &w.lay.ribs[c.of], &w.lay.ribs[i]
	r := c.reach - tie
	x, y := own.x+r*c.dx-other.x, own.y+r*c.dy-other.y
	along, across := x*other.ux+y*other.uy, y*other.ux-x*other.uy
	cos, sin := own.ux*other.ux+own.uy*other.uy, own.uy*other.ux-own.ux*other.uy
	left, right := radius+tie, radius+tie
	if other.ringed {
		left = radius - 2*w.tieWidth // the side within the polygon is no curve: nothing ties with it
	}
	lo, hi := 0.0, own.length
	// Between the two long sides.
	a0, a1 := across, across+hi*sin
	if (a0 >= left && a1 >= left) || (a0 <= -right && a1 <= -right) {
		return
	}
	if a0 > left || a1 > left || a0 < -right || a1 < -right {
		toLeft, toRight := (left-across)/sin, (-right-across)/sin
		if a0 > left || a1 > left {
			if !other.ringed {
				toLeft = w.crossing(i, -other.uy, other.ux, toLeft)
			}
			if sin > 0 {
				hi = min(hi, toLeft)
			} else {
				lo = max(lo, toLeft)
			}
		}
		if a0 < -right || a1 < -right {
			toRight = w.crossing(i, other.uy, -other.ux, toRight)
			if sin > 0 {
				lo = max(lo, toRight)
			} else {
				hi = min(hi, toRight)
			}
		}
	}
	// Between its two ends.
	b0, b1 := along+lo*cos, along+hi*cos
	if (b0 <= 0 && b1 <= 0) || (b0 >= other.length && b1 >= other.length) {
		return
	}
	from, to := lo, hi
	if cos > 0 {
		if b0 < 0 {
			from = -along / cos
		}
		if b1 > other.length {
			to = (other.length - along) / cos
		}
	} else if cos < 0 {
		if b0 > other.length {
			from = (other.length - along) / cos
		}
		if b1 < 0 {
			to = -along / cos
		}
	}
	c.remove(max(from, lo), min(to, hi))
}

// crossing returns where along the current side it crosses the side of rib i towards (nx, ny). Of the two sides the
// one of the lower rib is always the one that is crossed, so that both get the same place; direct is the answer
// where that is the case already.
func (w *widening) crossing(i int, nx, ny, direct float64) float64 {
	c := &w.curve
	if i < int(c.of) {
		return direct
	}
	low, high := &w.lay.ribs[c.of], &w.lay.ribs[i]
	tie := -w.tie(i)
	r := w.radius[high.part] + w.tieWidth/2 - tie
	x, y := high.x+r*nx-low.x, high.y+r*ny-low.y
	along, across := x*low.ux+y*low.uy, x*c.dx+y*c.dy
	cos, sin := high.ux*low.ux+high.uy*low.uy, high.ux*c.dx+high.uy*c.dy
	t := (c.reach + tie - across) / sin
	return along + t*cos
}

// cutArc cuts the current arc by the disc and the rectangle of rib i.
func (w *widening) cutArc(i int) {
	c := &w.curve
	own, other := &w.lay.ribs[c.of], &w.lay.ribs[i]
	tie, radius := w.tie(i), w.radius[other.part]+w.tieWidth/2
	excess := c.reach - radius - 2*tie // how much the own radius is the larger one
	if i != int(c.of) && int32(i) != own.prev && int32(i) != own.next {
		x, y := other.x-own.x, other.y-own.y
		w.cutArcByDisc(x, y, radius, excess)
		if c.gone {
			return
		}
	}
	// The own edges lie wholly on the other side of the vertex, and so do the discs at their other ends.
	if other.length > 0 && i != int(c.of) && int32(i) != own.prev {
		w.cutArcByRectangle(other, radius, excess)
	}
}

// cutArcByDisc cuts by a disc with its centre at (x, y) from the arc's.
func (w *widening) cutArcByDisc(x, y, radius, excess float64) {
	c := &w.curve
	d2 := x*x + y*y
	sum := c.reach + radius
	if d2 >= sum*sum {
		return
	}
	if w.settledByDisc(x, y, c.reach-excess) {
		return
	}
	d := math.Sqrt(d2)
	if d <= excess {
		return
	}
	if d <= -excess {
		c.gone = true
		return
	}
	// 1 - cos and 1 + cos of half the angle covered, times a common factor.
	half := 2 * math.Atan2(math.Sqrt((d-excess)*(sum-d)), math.Sqrt((d+excess)*(sum+d)))
	mid := math.Atan2(c.dx*y-c.dy*x, c.dx*x+c.dy*y)
	c.removeTurn(mid-half, mid+half)
}

// settledByDisc spares the angles where a disc plainly covers all of what remains of an arc, or nothing of it.
func (w *widening) settledByDisc(x, y, radius float64) bool {
	c := &w.curve
	if c.hi-c.lo > math.Pi/2 {
		return false
	}
	w.refresh()
	own := &w.lay.ribs[c.of]
	fx, fy := c.from.X-own.x, c.from.Y-own.y
	tx, ty := c.to.X-own.x, c.to.Y-own.y
	plain := 4 * w.tieWidth * radius
	from := (fx-x)*(fx-x) + (fy-y)*(fy-y) - radius*radius
	to := (tx-x)*(tx-x) + (ty-y)*(ty-y) - radius*radius
	// The disc covers most in direction (x, y) and least in the opposite one: is that among what remains?
	f, t := fx*y-fy*x, x*ty-y*tx
	if from > plain && to > plain {
		return f < 0 || t < 0
	}
	if from < -plain && to < -plain && (f > 0 || t > 0) {
		c.gone = true
		return true
	}
	return false
}

// settledByRectangle does so for a rectangle; the centre of the arc is at (along, across) of it.
func (w *widening) settledByRectangle(other *rib, along, across, left, right float64) bool {
	c := &w.curve
	if c.hi-c.lo > math.Pi/2 {
		return false
	}
	w.refresh()
	own := &w.lay.ribs[c.of]
	fx, fy := c.from.X-own.x, c.from.Y-own.y
	tx, ty := c.to.X-own.x, c.to.Y-own.y
	a0, a1 := along+fx*other.ux+fy*other.uy, along+tx*other.ux+ty*other.uy
	b0, b1 := across+fy*other.ux-fx*other.uy, across+ty*other.ux-tx*other.uy
	plain := c.bulge + 2*w.tieWidth
	loA, hiA := min(a0, a1)-plain, max(a0, a1)+plain
	loB, hiB := min(b0, b1)-plain, max(b0, b1)+plain
	if hiA <= 0 || loA >= other.length || hiB <= -right || loB >= left {
		return true
	}
	if loA >= 0 && hiA <= other.length && loB >= -right && hiB <= left {
		c.gone = true
		return true
	}
	return false
}

// cutArcByRectangle: seen from the edge of the other rib the centre of the arc is at (along, across). Of the circle,
// the caps beyond the four sides of the rectangle are outside; between the caps lies what is covered.
func (w *widening) cutArcByRectangle(other *rib, radius, excess float64) {
	c := &w.curve
	own := &w.lay.ribs[c.of]
	x, y := own.x-other.x, own.y-other.y
	along, across := x*other.ux+y*other.uy, y*other.ux-x*other.uy
	r, sum := c.reach, c.reach+radius
	if along <= -r || along >= other.length+r || across >= sum || across <= -sum {
		return
	}
	leftExcess, leftSum := excess, sum
	if other.ringed { // as in cutSideByRectangle
		leftExcess, leftSum = c.reach-radius+2*w.tieWidth, sum-2*w.tieWidth
	}
	if w.settledByRectangle(other, along, across, leftSum-r, radius) {
		return
	}
	// Half the angle of each cap, from 1 - cos and 1 + cos; in the order right side, far end, left side, near end.
	var caps [4]float64
	caps[0] = halfAngle(excess-across, sum+across)
	caps[1] = halfAngle(r-(other.length-along), r+(other.length-along))
	caps[2] = halfAngle(leftExcess+across, leftSum-across)
	caps[3] = halfAngle(r-along, r+along)
	capped := false
	for _, half := range caps {
		if half >= math.Pi {
			return
		}
		capped = capped || half > 0
	}
	if !capped {
		c.gone = true
		return
	}
	base := math.Atan2(c.dx*other.uy-c.dy*other.ux, c.dx*other.ux+c.dy*other.uy)
	for k, half := range caps {
		if half <= 0 {
			continue
		}
		end := float64(k-1)*(math.Pi/2) + half
		if gap := gapAfter(&caps, k, end); gap > 0 {
			c.removeTurn(base+end, base+end+gap)
		}
	}
}

// gapAfter is the angle from the end of cap k to the start of the next one, 0 where the end lies within another cap.
func gapAfter(caps *[4]float64, k int, end float64) float64 {
	const turn = 2 * math.Pi
	gap := turn
	for l, half := range caps {
		if half <= 0 {
			continue
		}
		to := float64(l-1)*(math.Pi/2) - half - end // from the end to the start of cap l
		for to < 0 {
			to += turn
		}
		for to >= turn {
			to -= turn
		}
		if l != k && to+2*half > turn {
			return 0
		}
		gap = min(gap, to)
	}
	return gap
}

// halfAngle is the angle whose 1-cos and 1+cos are in the proportion of the arguments; 0 or less where the first is
// not positive, pi where the second is not.
func halfAngle(minus, plus float64) float64 {
	if minus <= 0 {
		return 0
	}
	if plus <= 0 {
		return math.Pi
	}
	return 2 * math.Atan2(math.Sqrt(minus), math.Sqrt(plus))
}
