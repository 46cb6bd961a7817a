package geo

import (
	"math"
)

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
	edge, other := &w.lay.ribs[c.of], &w.lay.ribs[i]
	tie, radius := w.tie(i), w.radius[other.part]+w.tieWidth/2
	x, y := other.x-edge.x, other.y-edge.y
	along, across := x*edge.ux+y*edge.uy, x*c.dx+y*c.dy
	farthest := across + max(0, other.length*(other.ux*c.dx+other.uy*c.dy))
	if farthest < c.reach-radius-2*w.tieWidth {
		return // all of it stays behind the side
	}
	if int32(i) != edge.next { // the disc at the end of this edge touches the side from within
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
	edge, other := &w.lay.ribs[c.of], &w.lay.ribs[i]
	r := c.reach - tie
	x, y := edge.x+r*c.dx-other.x, edge.y+r*c.dy-other.y
	along, across := x*other.ux+y*other.uy, y*other.ux-x*other.uy
	cos, sin := edge.ux*other.ux+edge.uy*other.uy, edge.uy*other.ux-edge.ux*other.uy
	left, right := radius+tie, radius+tie
	if other.ringed {
		left = radius - 2*w.tieWidth // the side within the polygon is no curve: nothing ties with it
	}
	lo, hi := 0.0, edge.length
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
	edge, other := &w.lay.ribs[c.of], &w.lay.ribs[i]
	tie, radius := w.tie(i), w.radius[other.part]+w.tieWidth/2
	excess := c.reach - radius - 2*tie // how much the own radius is the larger one
	if i != int(c.of) && int32(i) != edge.prev && int32(i) != edge.next {
		x, y := other.x-edge.x, other.y-edge.y
		w.cutArcByDisc(x, y, radius, excess)
		if c.gone {
			return
		}
	}
	// The own edges lie wholly on the other side of the vertex, and so do the discs at their other ends.
	if other.length > 0 && i != int(c.of) && int32(i) != edge.prev {
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
	edge := &w.lay.ribs[c.of]
	fx, fy := c.from.X-edge.x, c.from.Y-edge.y
	tx, ty := c.to.X-edge.x, c.to.Y-edge.y
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
	edge := &w.lay.ribs[c.of]
	fx, fy := c.from.X-edge.x, c.from.Y-edge.y
	tx, ty := c.to.X-edge.x, c.to.Y-edge.y
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
	edge := &w.lay.ribs[c.of]
	x, y := edge.x-other.x, edge.y-other.y
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
