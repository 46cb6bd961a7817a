package geo

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// same is the distance [m] below which two places count as one: longitude and latitude in double precision fix a
// place to a few nanometres.
const same = 1e-8

// merged is the length [m] below which an edge is left out: it has no direction worth the name.
const merged = 10 * same

// rib is a vertex of a part and the straight edge that leaves it. Around the ring of a polygon the inside lies to
// the left of every edge.
type rib struct {
	x, y         float64 // vertex [m]
	ux, uy       float64 // direction of the edge, of length 1
	length       float64 // of the edge [m]; 0: a point, or the end of a line
	prev, next   int32   // the ribs before and after; -1: none
	part         int32
	ring, vertex int32 // as in Fault
	ringed       bool  // belongs to the ring of a polygon
}

func (r *rib) pointAlong(t float64) XY { return XY{r.x + t*r.ux, r.y + t*r.uy} }

// box is an upright rectangle; the empty one has lo > hi.
type box struct{ loX, loY, hiX, hiY float64 }

func emptyBox() box {
	return box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
}

func (b *box) cover(x, y float64) {
	b.loX, b.hiX = min(b.loX, x), max(b.hiX, x)
	b.loY, b.hiY = min(b.loY, y), max(b.hiY, y)
}

func (b *box) coverBox(c box) {
	b.loX, b.hiX = min(b.loX, c.loX), max(b.hiX, c.hiX)
	b.loY, b.hiY = min(b.loY, c.loY), max(b.hiY, c.hiY)
}

// distance2 is the square of the distance between two boxes, 0 where they meet.
func (b *box) distance2(c *box) float64 {
	dx, dy := 0.0, 0.0
	if b.loX > c.hiX {
		dx = b.loX - c.hiX
	} else if c.loX > b.hiX {
		dx = c.loX - b.hiX
	}
	if b.loY > c.hiY {
		dy = b.loY - c.hiY
	} else if c.loY > b.hiY {
		dy = c.loY - b.hiY
	}
	return dx*dx + dy*dy
}

func (b *box) holds(p XY, margin float64) bool {
	return p.X >= b.loX-margin && p.X <= b.hiX+margin && p.Y >= b.loY-margin && p.Y <= b.hiY+margin
}

// plot is one part in the plane.
type plot struct {
	height     float64
	first, end int32 // its ribs
	ringed     bool
	touching   bool // its rings touch themselves or one another
	box        box
	input      int // index in the input
	firstPlace int // of its vertices in layout.places
}

// layout is a structure in the plane: all ribs, in an order that keeps neighbours together, and a tree over them.
type layout struct {
	frame  Frame
	places []XY // of all vertices as given
	plots  []plot
	ribs   []rib
	tree   ribTree
	same   float64 // distance below which places count as one [m]
	all    box
}

// newLayout lays out the parts that are sound, around their middle.
func newLayout(parts []Part, sound []bool) *layout {
	count := 0
	for i, p := range parts {
		if sound[i] {
			count += vertexCount(p.Geometry)
		}
	}
	positions := make([]vec3, 0, count)
	for i, p := range parts {
		if sound[i] {
			eachVertex(p.Geometry, func(_, _ int, q orb.Point) { positions = append(positions, earthCentred(q)) })
		}
	}
	frame, places := frameAround(positions), make([]XY, count)
	for i, v := range positions {
		places[i] = frame.fromEarthCentred(v)
	}
	return layPlaces(parts, sound, frame, places)
}

// layPlaces lays out parts whose vertices are at the places given.
func layPlaces(parts []Part, sound []bool, frame Frame, places []XY) *layout {
	lay := &layout{same: same, all: emptyBox(), frame: frame, places: places}
	lay.plots = make([]plot, 0, len(parts))
	first := 0
	for i, p := range parts {
		if !sound[i] {
			continue
		}
		b := emptyBox()
		n := vertexCount(p.Geometry)
		for _, place := range lay.places[first : first+n] {
			b.cover(place.X, place.Y)
		}
		lay.plots = append(lay.plots, plot{height: p.Height, input: i, firstPlace: first, box: b})
		lay.all.coverBox(b)
		first += n
	}
	lay.sortPlots()
	lay.ribs = make([]rib, 0, len(places))
	for k := range lay.plots {
		lay.addRibs(k, parts[lay.plots[k].input].Geometry)
	}
	lay.tree = newRibTree(lay.ribs)
	return lay
}

// sortPlots puts neighbouring parts next to each other, along a curve that interleaves the bits of x and y.
func (lay *layout) sortPlots() {
	if len(lay.plots) < 3 {
		return
	}
	size := max(lay.all.hiX-lay.all.loX, lay.all.hiY-lay.all.loY, same)
	spread := func(v float64) uint64 {
		n := uint64(max(0, min(65535, v/size*65535)))
		n = (n | n<<8) & 0x00ff00ff
		n = (n | n<<4) & 0x0f0f0f0f
		n = (n | n<<2) & 0x33333333
		return (n | n<<1) & 0x55555555
	}
	key := func(p *plot) uint64 {
		return spread((p.box.loX+p.box.hiX)/2-lay.all.loX) | spread((p.box.loY+p.box.hiY)/2-lay.all.loY)<<1
	}
	slices.SortStableFunc(lay.plots, func(a, b plot) int {
		return cmp.Compare(key(&a), key(&b))
	})
}

func (lay *layout) addRibs(k int, g orb.Geometry) {
	p := &lay.plots[k]
	p.first = int32(len(lay.ribs))
	places := lay.places[p.firstPlace:]
	polygon, ringed := g.(orb.Polygon)
	if p.ringed = ringed; ringed {
		for i, r := range polygon {
			lay.addChain(k, i, true, places[:len(r)])
			places = places[len(r):]
		}
	} else {
		lay.addChain(k, -1, false, places[:vertexCount(g)])
	}
	p.end = int32(len(lay.ribs))
}

// addChain lays out one line or ring, leaving out repeated positions and turning rings so that the inside is on
// the left.
func (lay *layout) addChain(k, ring int, ringed bool, places []XY) {
	first := len(lay.ribs)
	for i, place := range places {
		if n := len(lay.ribs); n > first && math.Hypot(place.X-lay.ribs[n-1].x, place.Y-lay.ribs[n-1].y) <= merged {
			continue
		}
		lay.ribs = append(lay.ribs, rib{x: place.X, y: place.Y, part: int32(k), ring: int32(ring), vertex: int32(i), ringed: ringed})
	}
	for n := len(lay.ribs); ringed && n > first+1; n = len(lay.ribs) {
		if math.Hypot(lay.ribs[n-1].x-lay.ribs[first].x, lay.ribs[n-1].y-lay.ribs[first].y) > merged {
			break
		}
		lay.ribs = lay.ribs[:n-1]
	}
	chain := lay.ribs[first:]
	if ringed && (ringArea(chain) < 0) != (ring > 0) {
		slices.Reverse(chain)
		// An edge goes by the vertex it leaves in the input, that is now the one at its end.
		last := chain[0].vertex
		for i := range len(chain) - 1 {
			chain[i].vertex = chain[i+1].vertex
		}
		chain[len(chain)-1].vertex = last
	}
	for i := range chain {
		c := &chain[i]
		c.prev, c.next = int32(first+i-1), int32(first+i+1)
		if i == 0 {
			c.prev = -1
		}
		if i == len(chain)-1 {
			c.next = -1
		}
		if ringed && len(chain) > 1 {
			c.prev = int32(first + (i+len(chain)-1)%len(chain))
			c.next = int32(first + (i+1)%len(chain))
		}
		if c.next >= 0 {
			to := &lay.ribs[c.next]
			c.length = math.Hypot(to.x-c.x, to.y-c.y)
			c.ux, c.uy = (to.x-c.x)/c.length, (to.y-c.y)/c.length
		}
	}
}

// ringArea is the signed area [m²] within a ring, positive where it turns anticlockwise.
func ringArea(chain []rib) float64 {
	sum := 0.0
	for i := range chain {
		a, b := &chain[i], &chain[(i+1)%len(chain)]
		sum += (a.x-chain[0].x)*(b.y-chain[0].y) - (b.x-chain[0].x)*(a.y-chain[0].y)
	}
	return sum / 2
}

func (lay *layout) within(reach float64) bool {
	if len(lay.plots) == 0 {
		return false
	}
	b := lay.all
	return max(math.Abs(b.loX), math.Abs(b.hiX), math.Abs(b.loY), math.Abs(b.hiY)) <= reach
}

// checkReach refuses parts that lie too far apart for one plane.
func (lay *layout) checkReach(faults *Faults, parts []Part, sound []bool) {
	place := 0
	for i, p := range parts {
		if !sound[i] {
			continue
		}
		eachVertex(p.Geometry, func(ring, vertex int, _ orb.Point) {
			// In a Frame the length of a position is the distance from the centre.
			if d := math.Hypot(lay.places[place].X, lay.places[place].Y); d > MaxReach {
				faults.add(Fault{i, ring, vertex, fmt.Sprintf("lies %.0f m from the middle %.5f, %.5f of the structure, %d m are allowed",
					d, lay.frame.center[0], lay.frame.center[1], MaxReach)})
			}
			place++
		})
	}
}

func eachVertex(g orb.Geometry, yield func(ring, vertex int, q orb.Point)) {
	switch g := g.(type) {
	case orb.Point:
		yield(-1, -1, g)
	case orb.LineString:
		for i, p := range g {
			yield(-1, i, p)
		}
	case orb.Polygon:
		for i, r := range g {
			for k, p := range r {
				yield(i, k, p)
			}
		}
	}
}

// ribTree is a binary tree of boxes over the ribs in their order: node 1 is the root, 2i and 2i+1 are the children
// of i, and the leaf at leaves+k holds the ribs from leafRibs*k on.
type ribTree struct {
	leaves int
	boxes  []box
}

const leafRibs = 4

func newRibTree(ribs []rib) ribTree {
	t := ribTree{leaves: 1}
	for t.leaves*leafRibs < len(ribs) {
		t.leaves *= 2
	}
	t.boxes = make([]box, 2*t.leaves)
	for k := range t.leaves {
		b := emptyBox()
		for i := k * leafRibs; i < min((k+1)*leafRibs, len(ribs)); i++ {
			r := &ribs[i]
			b.cover(r.x, r.y)
			if r.next >= 0 {
				b.cover(ribs[r.next].x, ribs[r.next].y)
			}
		}
		t.boxes[t.leaves+k] = b
	}
	for i := t.leaves - 1; i > 0; i-- {
		t.boxes[i] = t.boxes[2*i]
		t.boxes[i].coverBox(t.boxes[2*i+1])
	}
	return t
}
