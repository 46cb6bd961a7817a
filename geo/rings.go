package geo

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// A polygon is taken as the places its rings wind round once. Rings may touch themselves and one another, at
// points and along edges, but wherever one looks they must wind round 0 or 1 times; anything else is a ring that
// crosses itself, a hole outside or holes that overlap.

// checkRings finds rings that cross themselves or one another, and holes out of place. It marks the plots whose
// rings touch.
func (lay *layout) checkRings(faults *Faults) {
	budget := comparisonBudget
	for k := range lay.plots {
		p := &lay.plots[k]
		if !p.ringed {
			continue
		}
		crossed := false
		for i := p.first; i < p.end && budget > 0 && !faults.full(); i++ {
			lay.eachMeeting(i, &budget, func(j int32, m meeting) {
				if lay.ribs[j].part != int32(k) {
					return
				}
				if m == crosses && i < j {
					crossed = true
					if faults.full() {
						return
					}
					r, q := &lay.ribs[i], &lay.ribs[j]
					if q.ring < r.ring || q.ring == r.ring && q.vertex < r.vertex {
						r, q = q, r // in the order in which they were given, whatever the sweep meets first
					}
					faults.add(Fault{p.input, int(r.ring), int(r.vertex), fmt.Sprintf(
						"the edge at this vertex crosses the edge at vertex %d of ring %d", q.vertex, q.ring)})
				}
				if m != apartFrom && lay.touchOutOfTurn(i, j) {
					p.touching = true
				}
			})
		}
		if !crossed {
			lay.checkWinding(int32(k), faults, &budget)
		}
	}
	if budget <= 0 {
		faults.add(Fault{-1, -1, -1, errIntricate.Error()})
	}
}

// touchOutOfTurn is false for two edges that only share the vertex between them.
func (lay *layout) touchOutOfTurn(i, j int32) bool {
	r, q := &lay.ribs[i], &lay.ribs[j]
	if r.next != j && r.prev != j {
		return true
	}
	if r.next == j && r.prev == j {
		return true
	}
	// Turning back on the edge just drawn.
	return r.ux*q.ux+r.uy*q.uy < 0 && math.Abs(r.ux*q.uy-r.uy*q.ux)*min(r.length, q.length) <= 2*same
}

// checkWinding looks at both sides of every edge, or of one edge of each ring where none touches another.
func (lay *layout) checkWinding(k int32, faults *Faults, budget *int) {
	p := &lay.plots[k]
	ring, reported := int32(-1), int32(-1)
	for i := p.first; i < p.end && *budget > 0; i++ {
		r := &lay.ribs[i]
		if r.length == 0 || (!p.touching && r.ring == ring) || r.ring == reported {
			continue
		}
		ring = r.ring
		cuts := []float64{0, r.length}
		if p.touching {
			cuts = lay.cuts(i, budget, func(part int32) bool { return part == k })
		}
		for c := 1; c < len(cuts); c++ {
			if cuts[c]-cuts[c-1] <= 4*lay.same {
				continue
			}
			s := lay.surroundings(i, r.pointAlong((cuts[c]+cuts[c-1])/2), budget, func(part int32) bool { return part == k })
			left := s.right + s.along - s.against
			if s.right == 0 && left == 1 || s.right == left && (left == 0 || left == 1) {
				continue
			}
			reason := "the ring crosses or overlaps itself or another ring of the polygon here"
			if !p.touching && r.ring > 0 {
				reason = "the hole lies outside the outer ring or inside another hole"
			}
			reported = r.ring
			faults.add(Fault{p.input, int(r.ring), int(r.vertex), reason})
			break
		}
	}
}

type meeting uint8

const (
	apartFrom meeting = iota
	touches
	crosses
)

// eachMeeting calls f for every edge of a ring that may touch edge i, with how they meet.
func (lay *layout) eachMeeting(i int32, budget *int, f func(j int32, m meeting)) {
	r := &lay.ribs[i]
	if r.length == 0 {
		return
	}
	b := emptyBox()
	to := &lay.ribs[r.next]
	b.cover(r.x, r.y)
	b.cover(to.x, to.y)
	lay.eachRib(budget, func(n *box) bool { return n.distance2(&b) <= lay.same*lay.same }, func(j int32) {
		if q := &lay.ribs[j]; j != i && q.ringed && q.length > 0 {
			f(j, lay.meet(i, j))
		}
	})
}

// eachRib calls f for the ribs in the nodes of the tree that are wanted.
func (lay *layout) eachRib(budget *int, wanted func(*box) bool, f func(j int32)) {
	tree := &lay.tree
	var stack [64]int32
	stack[0] = 1
	for n := 1; n > 0; {
		n--
		node := int(stack[n])
		if !wanted(&tree.boxes[node]) {
			continue
		}
		if node < tree.leaves {
			stack[n], stack[n+1] = int32(2*node), int32(2*node+1)
			n += 2
			continue
		}
		first := (node - tree.leaves) * leafRibs
		for j := first; j < min(first+leafRibs, len(lay.ribs)); j++ {
			*budget--
			f(int32(j))
		}
	}
}

// offEdge is the distance of a place to the left of the line through the edge of r.
func (r *rib) offEdge(x, y float64) float64 { return r.ux*(y-r.y) - r.uy*(x-r.x) }

// near is whether a place lies within a margin of the edge of r.
func (r *rib) near(x, y, margin float64) bool {
	dx, dy := x-r.x, y-r.y
	t := max(0, min(r.length, dx*r.ux+dy*r.uy))
	return math.Abs(dx-t*r.ux) <= margin && math.Abs(dy-t*r.uy) <= margin
}

func (lay *layout) meet(i, j int32) meeting {
	a, b, near := &lay.ribs[i], &lay.ribs[j], lay.same
	aTo, bTo := &lay.ribs[a.next], &lay.ribs[b.next]
	b0, b1 := a.offEdge(b.x, b.y), a.offEdge(bTo.x, bTo.y)
	if min(b0, b1) > near || max(b0, b1) < -near {
		return apartFrom
	}
	a0, a1 := b.offEdge(a.x, a.y), b.offEdge(aTo.x, aTo.y)
	if min(a0, a1) > near || max(a0, a1) < -near {
		return apartFrom
	}
	if min(b0, b1) < -near && max(b0, b1) > near && min(a0, a1) < -near && max(a0, a1) > near {
		return crosses
	}
	if a.near(b.x, b.y, near) || a.near(bTo.x, bTo.y, near) || b.near(a.x, a.y, near) || b.near(aTo.x, aTo.y, near) {
		return touches
	}
	return apartFrom
}

// cuts returns the places along edge i, in metres and in order, where edges of the parts wanted meet it.
func (lay *layout) cuts(i int32, budget *int, wanted func(part int32) bool) []float64 {
	r := &lay.ribs[i]
	cuts := []float64{0, r.length}
	cutVertex := func(q *rib) {
		if r.near(q.x, q.y, lay.same) {
			cuts = append(cuts, max(0, min(r.length, (q.x-r.x)*r.ux+(q.y-r.y)*r.uy)))
		}
	}
	lay.eachMeeting(i, budget, func(j int32, m meeting) {
		q := &lay.ribs[j]
		if !wanted(q.part) {
			return
		}
		switch m {
		case crosses:
			cuts = append(cuts, lay.crossingAlong(i, j))
		case touches:
			cutVertex(q)
			cutVertex(&lay.ribs[q.next])
		}
	})
	slices.Sort(cuts)
	return cuts
}

// crossingAlong returns where along edge i edge j crosses it; the place is found from the lower of the two.
func (lay *layout) crossingAlong(i, j int32) float64 {
	low, high := &lay.ribs[min(i, j)], &lay.ribs[max(i, j)]
	sin := high.ux*-low.uy + high.uy*low.ux
	t := -low.offEdge(high.x, high.y) / sin
	if i > j {
		return t
	}
	x := high.pointAlong(t)
	return (x.X-low.x)*low.ux + (x.Y-low.y)*low.uy
}

// surround is what lies about a place on an edge: how often the rings wind round the place just right of it, and
// how many edges run along it there, in its direction and against it.
type surround struct {
	right, along, against int
	lowest                int32 // the first of those that run along it
}

// surroundings looks from a place on edge i to the right, along the axis nearest to that direction.
func (lay *layout) surroundings(i int32, m XY, budget *int, wanted func(part int32) bool) surround {
	r := &lay.ribs[i]
	v := view{m: m, sx: r.uy, sy: -r.ux, width: lay.same}
	if math.Abs(v.sx) >= math.Abs(v.sy) {
		v.sx, v.sy = math.Copysign(1, v.sx), 0
	} else {
		v.sx, v.sy = 0, math.Copysign(1, v.sy)
	}
	s := surround{lowest: i}
	lay.eachRib(budget, v.meets, func(j int32) {
		q := &lay.ribs[j]
		if !q.ringed || q.length == 0 || !wanted(q.part) {
			return
		}
		if j == i || q.near(m.X, m.Y, lay.same) {
			if q.ux*r.ux+q.uy*r.uy > 0 {
				s.along++
				s.lowest = min(s.lowest, j)
			} else {
				s.against++
			}
			return
		}
		s.right += v.winds(q, &lay.ribs[q.next])
	})
	return s
}

// winding is how often the rings of plot k wind round a place that lies on none of them.
func (lay *layout) winding(k int32, m XY) int {
	v := view{m: m, sx: 1}
	n, budget := 0, 0
	lay.eachRib(&budget, v.meets, func(j int32) {
		if q := &lay.ribs[j]; q.part == k && q.length > 0 {
			n += v.winds(q, &lay.ribs[q.next])
		}
	})
	return n
}

// view is a ray from a place along an axis.
type view struct {
	m      XY
	sx, sy float64 // its direction: one is 1 or -1, the other 0
	width  float64 // to either side
}

// meets is whether the ray, with some width, meets a box.
func (v view) meets(b *box) bool {
	if v.sx != 0 {
		if b.loY > v.m.Y+v.width || b.hiY < v.m.Y-v.width {
			return false
		}
		return v.sx > 0 && b.hiX >= v.m.X-v.width || v.sx < 0 && b.loX <= v.m.X+v.width
	}
	if b.loX > v.m.X+v.width || b.hiX < v.m.X-v.width {
		return false
	}
	return v.sy > 0 && b.hiY >= v.m.Y-v.width || v.sy < 0 && b.loY <= v.m.Y+v.width
}

// winds is 1 where the edge from a to b crosses the ray from its right to its left, -1 the other way, else 0.
func (v view) winds(a, b *rib) int {
	ax, ay := a.x-v.m.X, a.y-v.m.Y
	bx, by := b.x-v.m.X, b.y-v.m.Y
	// forward along the ray, aside to its left
	af, as := ax*v.sx+ay*v.sy, ay*v.sx-ax*v.sy
	bf, bs := bx*v.sx+by*v.sy, by*v.sx-bx*v.sy
	if (as <= 0) == (bs <= 0) {
		return 0
	}
	if forward := af*(bs-as) - as*(bf-af); (forward > 0) != (bs > as) {
		return 0
	}
	if bs > as {
		return 1
	}
	return -1
}

// footprint returns the outline of the union of the polygons among the parts. Where walls of several parts lie just
// as far apart as counts as one place, what is found does not close; then another measure of the same decides.
func (lay *layout) footprint() ([][]Edge, error) {
	mixed := lay.mixedPlots()
	var loops [][]Edge
	for k := range lay.plots {
		if p := &lay.plots[k]; p.ringed && !mixed[k] {
			loops = append(loops, lay.ringLoops(p)...)
		}
	}
	defer func(before float64) { lay.same = before }(lay.same)
	var joined [][]Edge
	var err error
	for _, factor := range []float64{1, 0.1, 10, 0.01} {
		lay.same = same * factor
		edges, intricate := lay.unionEdges(mixed)
		if intricate != nil {
			return nil, intricate
		}
		if joined, err = joinLoops(edges, 50*same*max(1, factor)); err == nil {
			return append(loops, joined...), nil
		}
	}
	return nil, lay.located(err)
}

// unionEdges returns the edges of the polygons marked that have an inside on their left and none on their right.
func (lay *layout) unionEdges(mixed []bool) ([]Edge, error) {
	wanted := func(part int32) bool { return mixed[part] }
	var edges []Edge
	budget := comparisonBudget
	for k := range lay.plots {
		p := &lay.plots[k]
		if !mixed[k] {
			continue
		}
		for i := p.first; i < p.end; i++ {
			r := &lay.ribs[i]
			if r.length == 0 {
				continue
			}
			cuts := lay.cuts(i, &budget, wanted)
			for c := 1; c < len(cuts); c++ {
				if cuts[c]-cuts[c-1] <= 4*lay.same {
					continue
				}
				s := lay.surroundings(i, r.pointAlong((cuts[c]+cuts[c-1])/2), &budget, wanted)
				if s.right == 0 && s.along > s.against && s.lowest == i {
					edges = append(edges, Edge{From: r.pointAlong(cuts[c-1]), To: r.pointAlong(cuts[c])})
				}
			}
			if budget < 0 {
				return nil, errIntricate
			}
		}
	}
	return edges, nil
}

// mixedPlots marks the polygons that touch themselves or may touch others.
func (lay *layout) mixedPlots() []bool {
	mixed := make([]bool, len(lay.plots))
	var order []int
	for k := range lay.plots {
		if p := &lay.plots[k]; p.ringed {
			mixed[k] = p.touching
			order = append(order, k)
		}
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Compare(lay.plots[a].box.loX, lay.plots[b].box.loX)
	})
	for n, k := range order {
		b := &lay.plots[k].box
		for _, l := range order[n+1:] {
			c := &lay.plots[l].box
			if c.loX > b.hiX+same {
				break
			}
			if b.distance2(c) <= same*same {
				mixed[k], mixed[l] = true, true
			}
		}
	}
	return mixed
}

// ringLoops returns the rings of a polygon as they are.
func (lay *layout) ringLoops(p *plot) [][]Edge {
	var loops [][]Edge
	edges := make([]Edge, 0, p.end-p.first)
	first := 0
	for i := p.first; i < p.end; i++ {
		r := &lay.ribs[i]
		if r.length > 0 {
			to := &lay.ribs[r.next]
			edges = append(edges, Edge{From: XY{r.x, r.y}, To: XY{to.x, to.y}})
		}
		if i+1 == p.end || lay.ribs[i+1].ring != r.ring {
			if len(edges) > first {
				loops = append(loops, edges[first:len(edges):len(edges)])
			}
			first = len(edges)
		}
	}
	return loops
}
