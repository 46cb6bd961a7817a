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
