package geo

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// openOutline says where the edges of an outline did not close.
type openOutline struct{ gap XY }

func (e *openOutline) Error() string {
	return fmt.Sprintf("the outline does not close near %.3f m east, %.3f m north of the middle", e.gap.X, e.gap.Y)
}

// located turns the place of an openOutline into longitude and latitude.
func (lay *layout) located(err error) error {
	open, ok := err.(*openOutline)
	if !ok {
		return err
	}
	p := lay.frame.LonLat(open.gap)
	return fmt.Errorf("the outline of the structure cannot be resolved near longitude %.7f, latitude %.7f: "+
		"edges or arcs of several parts nearly coincide there; move or merge the parts", p[0], p[1])
}

// joinLoops puts edges end to end until they close. Every edge must find its successor: an outline with an end left
// over is an error, never an area. Ends meet to within rounding; where a crossing is so flat that rounding moves it
// along the curves, up to slack [m] apart.
func joinLoops(edges []Edge, slack float64) ([][]Edge, error) {
	edges = slices.DeleteFunc(edges, func(e Edge) bool { return e.size() < 1e-3*slack && e.From != e.To })
	next, err := successors(edges, slack)
	if err != nil {
		// The ends may be hidden by slivers shorter than the slack.
		edges = slices.DeleteFunc(edges, func(e Edge) bool { return e.size() < slack })
		if next, err = successors(edges, 4*slack); err != nil {
			return nil, err
		}
	}
	var loops [][]Edge
	store := make([]Edge, 0, len(edges))
	for i := range edges {
		if next[i] < 0 {
			continue
		}
		first, length := len(store), 0.0
		for k := i; next[k] >= 0; {
			store = append(store, edges[k])
			length += edges[k].size()
			k, next[k] = int(next[k]), -1
		}
		if length > 4*slack {
			loops = append(loops, store[first:len(store):len(store)])
		}
	}
	return loops, nil
}

// successors finds for each edge the one that starts where it ends.
func successors(edges []Edge, slack float64) ([]int32, error) {
	next := make([]int32, len(edges))
	taken := make([]bool, len(edges))
	near := slack * 1e-2
	open := 0
	for i := range edges {
		next[i] = -1
		if k := (i + 1) % len(edges); !taken[k] && apart(edges[i].To, edges[k].From) <= near {
			next[i], taken[k] = int32(k), true
		} else if edges[i].Sweep > math.Pi && !taken[i] && apart(edges[i].To, edges[i].From) <= near { // a full circle
			next[i], taken[i] = int32(i), true
		} else {
			open++
		}
	}
	if open == 0 {
		return next, nil
	}
	starts := make([]start, 0, open)
	for k := range edges {
		if !taken[k] {
			starts = append(starts, start{int32(k), askew(edges[k].From)})
		}
	}
	slices.SortFunc(starts, func(a, b start) int { return cmp.Compare(a.key, b.key) })
	for _, limit := range []float64{near, slack} {
		for i := range edges {
			if next[i] >= 0 {
				continue
			}
			if k := nearestStart(edges, starts, taken, edges[i].To, limit); k >= 0 {
				next[i], taken[k] = k, true
			} else if limit == slack {
				return nil, &openOutline{edges[i].To}
			}
		}
	}
	return next, nil
}

// start is the start of an edge with its place along a direction in which buildings are rarely lined up.
type start struct {
	edge int32
	key  float64
}

func askew(p XY) float64 { return 0.8314*p.X + 0.5557*p.Y }

func nearestStart(edges []Edge, starts []start, taken []bool, p XY, limit float64) int32 {
	key := askew(p)
	from, _ := slices.BinarySearchFunc(starts, key-limit, func(s start, x float64) int { return cmp.Compare(s.key, x) })
	best := int32(-1)
	for _, s := range starts[from:] {
		if s.key > key+limit {
			break
		}
		if d := apart(p, edges[s.edge].From); !taken[s.edge] && d <= limit {
			best, limit = s.edge, d
		}
	}
	return best
}

func apart(a, b XY) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }

// loopArea is the area [m²] to the left of a closed loop of edges, by Green's theorem: that of the polygon of its
// chords and of the segments of circle beyond them. Ends that do not quite meet are joined by a chord.
func loopArea(loop []Edge) float64 {
	o := loop[0].From
	sum := 0.0
	for i := range loop {
		e := &loop[i]
		to := loop[(i+1)%len(loop)].From
		sum += cross(o, e.From, e.To) + cross(o, e.To, to)
		if e.Radius > 0 {
			sum += e.Radius * e.Radius * lessSine(e.Sweep)
		}
	}
	return sum / 2
}

func loopsArea(loops [][]Edge) float64 {
	sum := 0.0
	for _, l := range loops {
		sum += loopArea(l)
	}
	return sum
}

func cross(o, a, b XY) float64 {
	return (a.X-o.X)*(b.Y-o.Y) - (b.X-o.X)*(a.Y-o.Y)
}

// lessSine is x - sin x, without loss for small x.
func lessSine(x float64) float64 {
	if math.Abs(x) > 0.2 {
		return x - math.Sin(x)
	}
	x2 := x * x
	return x * x2 / 6 * (1 - x2/20*(1-x2/42*(1-x2/72*(1-x2/110))))
}

// reversed turns a loop round, so that the area is on the other side.
func reversed(loop []Edge) []Edge {
	out := make([]Edge, len(loop))
	for i, e := range loop {
		e.From, e.To, e.Sweep = e.To, e.From, -e.Sweep
		out[len(loop)-1-i] = e
	}
	return out
}
