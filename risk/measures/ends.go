package measures

import (
	"cmp"
	"slices"

	"levinward/risk"
)

// levels is what can be chosen of one kind of SPD at one line end.
type levels struct {
	present risk.SPD
	best    risk.Level
	inert   bool // has no effect on any risk
}

func (l *levels) spd(v risk.Level) risk.SPD {
	if v == l.present.Level {
		return l.present
	}
	return risk.SPD{Level: v}
}

// end is one line end. twin is the last end before it with an identical line, or -1.
type end struct {
	bonding, coordinated levels
	twin                 int
}

// savings holds, for one line end, the ratios with a level of bonding or of
// coordinated SPDs there and every other end at its best.
type savings struct {
	bonding, coordinated [risk.BetterThanI + 1]ratios
}

// table is what is remembered of one combination of structure-wide measures: the
// result with the lowest choice at every line end, and the savings at each.
type table struct {
	risks [risk.Losses]float64
	ratios
	ends []savings
}

// required is the bonding that a class of LPS demands at every line end.
func required(class risk.LPS) risk.Level {
	switch class {
	case risk.NoLPS:
		return risk.NoSPD
	case risk.LPSIV, risk.LPSIII:
		return risk.LevelIIIIV
	case risk.LPSII:
		return risk.LevelII
	}
	return risk.LevelI
}

// limitEnds notes for every end what is there and what could be at best.
func (s *search) limitEnds(twins []int) {
	s.ends = make([]end, len(s.present.Ends))
	for i := range s.ends {
		p := &s.present.Ends[i]
		s.ends[i] = end{
			bonding:     levels{present: p.Bonding, best: max(p.Bonding.Level, risk.LevelI)},
			coordinated: levels{present: p.Coordinated, best: max(p.Coordinated.Level, risk.LevelI)},
			twin:        twins[i],
		}
	}
}

// dropEnds notes which SPDs have no effect. Bonding remains a choice all the
// same, since an LPS or a coordinated set may demand it.
func (s *search) dropEnds() {
	for i := range s.ends {
		e := &s.ends[i]
		if e.coordinated.present.Level < e.coordinated.best {
			s.setEnd(i, e.bonding.best, e.coordinated.present.Level)
			if !s.matters() {
				e.coordinated.best = e.coordinated.present.Level
			}
		}
		if e.bonding.present.Level < e.bonding.best {
			s.setEnd(i, e.bonding.present.Level, e.coordinated.best)
			e.bonding.inert = !s.matters()
		}
		s.setEnd(i, e.bonding.best, e.coordinated.best)
	}
}

// setEnd gives the SPDs of a line end of s.m their levels.
func (s *search) setEnd(i int, bonding, coordinated risk.Level) {
	s.m.Ends[i].Bonding = s.ends[i].bonding.spd(bonding)
	s.m.Ends[i].Coordinated = s.ends[i].coordinated.spd(coordinated)
}

// endPrice is the price of levels at a line end.
func (s *search) endPrice(i int, bonding, coordinated risk.Level) units {
	e := &s.ends[i]
	return priceFrom(s.prices.bonding[:], uint8(e.bonding.present.Level), uint8(bonding)) +
		priceFrom(s.prices.coordinated[:], uint8(e.coordinated.present.Level), uint8(coordinated))
}

// endFloor is the lowest price at a line end where at least the given bonding is required.
func (s *search) endFloor(i int, need risk.Level) units {
	e := &s.ends[i]
	low := max(e.bonding.present.Level, need)
	lowest := s.endPrice(i, low, e.coordinated.present.Level)
	for b := low + 1; b <= e.bonding.best; b++ {
		lowest = min(lowest, s.endPrice(i, b, e.coordinated.present.Level))
	}
	return lowest
}

// decideEnds finds the cheapest SPDs with the structure-wide measures decided.
// index numbers their combination, optimistic are the ratios with the best SPDs, and
// cost includes the least that the line ends can cost.
func (s *search) decideEnds(index int, optimistic *ratios, cost units) {
	need := required(s.m.LPS)
	t := s.tables[index]
	if t == nil {
		t = &table{}
		s.tables[index] = t
		s.lowestEnds(need)
		t.risks, t.ratios = s.evaluate()
		s.bestEnds()
	}
	if t.worst() > s.limit && cost+s.prices.step > s.best.cost {
		return
	}
	if t.worst() <= s.limit && s.prices.step > 0 { // anything more only costs more
		s.lowestEnds(need)
		s.consider(cost, &t.risks, &t.ratios)
		s.bestEnds()
		return
	}
	if t.ends == nil {
		t.ends = s.save(need, optimistic)
	}
	s.base = cost
	s.pack(t, need)
	s.descend(0, 0, ratios{}, false)
}

// lowestEnds leaves every line end of s.m as it is, with the bonding that is required.
func (s *search) lowestEnds(need risk.Level) {
	for i := range s.ends {
		e := &s.ends[i]
		s.setEnd(i, max(e.bonding.present.Level, need), e.coordinated.present.Level)
	}
}

// bestEnds puts the best SPDs at every line end of s.m.
func (s *search) bestEnds() {
	for i := range s.ends {
		s.setEnd(i, s.ends[i].bonding.best, s.ends[i].coordinated.best)
	}
}

// save evaluates every level of every line end with the other ends at their best.
func (s *search) save(need risk.Level, optimistic *ratios) []savings {
	t := make([]savings, len(s.ends))
	for i := range s.ends {
		e := &s.ends[i]
		if e.twin >= 0 {
			t[i] = t[e.twin]
			continue
		}
		for b := max(e.bonding.present.Level, need); b <= e.bonding.best; b++ {
			t[i].bonding[b] = *optimistic
			if !e.bonding.inert && b < e.bonding.best {
				s.setEnd(i, b, e.coordinated.best)
				_, t[i].bonding[b] = s.evaluate()
			}
		}
		for c := e.coordinated.present.Level; c <= e.coordinated.best; c++ {
			t[i].coordinated[c] = *optimistic
			if c < e.coordinated.best {
				s.setEnd(i, e.bonding.best, c)
				_, t[i].coordinated[c] = s.evaluate()
			}
		}
		s.setEnd(i, e.bonding.best, e.coordinated.best)
	}
	return t
}

// pair is a choice at one line end.
type pair struct{ bonding, coordinated risk.Level }

// option is a choice at a line end: what it costs beyond the cheapest there, and
// at most by how much it lowers each ratio below that of the lowest choice.
type option struct {
	pair
	extra units
	gain  ratios
}

// segment is a step to a better choice at the line end decided at depth, for one
// loss: its price and the most it saves. The segments of an end save less and less per price.
type segment struct {
	depth int
	extra units
	gain  float64
}

// knapsack is the choice of SPDs at all line ends: a multiple-choice knapsack with
// one demand per loss, whose gains are upper bounds.
type knapsack struct {
	lowest  []pair     // the lowest choice left at each end
	options [][]option // per end, from the lowest choice to the best
	order   []int      // the ends in the order they are decided
	picked  []int      // the option at each end
	segs    [risk.Losses][]segment
	start   ratios // with the lowest choices
	base    units  // cost with the cheapest choices
}

// pack prepares the knapsack. A level that is not enough with everything else at
// its best is left out, and so is a choice that another replaces at a lower price.
func (s *search) pack(t *table, need risk.Level) {
	n := len(s.ends)
	if s.options == nil {
		s.lowest, s.options, s.order, s.picked = make([]pair, n), make([][]option, n), make([]int, n), make([]int, n)
	}
	raised := false
	for i := range s.ends {
		s.lowest[i] = s.enough(i, &t.ends[i], need)
		raised = raised || s.lowest[i] != pair{max(s.ends[i].bonding.present.Level, need), s.ends[i].coordinated.present.Level}
		s.options[i] = s.choices(s.options[i][:0], i, &t.ends[i])
		s.base += cheapest(s.options[i]) - s.endFloor(i, need)
		s.order[i] = i
	}
	s.start = t.ratios
	if raised {
		for i, low := range s.lowest {
			s.setEnd(i, low.bonding, low.coordinated)
		}
		_, s.start = s.evaluate()
		s.bestEnds()
	}
	// Ends that decide most come first. The order is stable, so that twins keep theirs.
	slices.SortStableFunc(s.order, func(i, j int) int {
		return cmp.Compare(s.weight(j), s.weight(i))
	})
	s.cut()
}

// enough is the lowest choice at end i that can be enough, with everything else at its best.
func (s *search) enough(i int, t *savings, need risk.Level) pair {
	e := &s.ends[i]
	p := pair{max(e.bonding.present.Level, need), e.coordinated.present.Level}
	for t.bonding[p.bonding].worst() > s.limit {
		p.bonding++
	}
	for t.coordinated[p.coordinated].worst() > s.limit {
		p.coordinated++
	}
	if p.coordinated > e.coordinated.present.Level {
		p.bonding = max(p.bonding, p.coordinated)
	}
	return p
}

// weight is the most that can be gained at an end.
func (s *search) weight(i int) float64 {
	o := s.options[i]
	return o[len(o)-1].gain.worst()
}

// choices appends the options of end i.
func (s *search) choices(o []option, i int, t *savings) []option {
	e, low := &s.ends[i], s.lowest[i]
	for b := low.bonding; b <= e.bonding.best; b++ {
		for c := low.coordinated; c <= e.coordinated.best; c++ {
			if c > b && c != e.coordinated.present.Level {
				break
			}
			x := option{pair: pair{b, c}, extra: s.endPrice(i, b, c)}
			for k := range x.gain {
				x.gain[k] = t.bonding[low.bonding][k] - t.bonding[b][k] + t.coordinated[low.coordinated][k] - t.coordinated[c][k]
			}
			o = append(o, x)
		}
	}
	var replaced [16]bool // of at most 4 x 4 options
	for j := range o {
		for l := range o {
			replaced[j] = replaced[j] || l != j && replaces(&o[l], &o[j], l < j, t)
		}
	}
	kept := o[:0]
	for j := range o {
		if !replaced[j] {
			kept = append(kept, o[j])
		}
	}
	return kept
}

// cheapest is the lowest price among options, which they then count from.
func cheapest(o []option) units {
	low := o[0].extra
	for j := range o {
		low = min(low, o[j].extra)
	}
	for j := range o {
		o[j].extra -= low
	}
	return low
}

// replaces reports whether a is at least as good as b wherever the other ends
// are and is to be preferred by its price, or, at the same price and effect, by its order.
func replaces(a, b *option, before bool, t *savings) bool {
	if a.extra > b.extra {
		return false
	}
	equal := t.bonding[a.bonding] == t.bonding[b.bonding] && t.coordinated[a.coordinated] == t.coordinated[b.coordinated]
	if equal {
		return a.extra < b.extra || before
	}
	return a.extra < b.extra &&
		(a.bonding >= b.bonding || t.bonding[a.bonding] == t.bonding[b.bonding]) &&
		(a.coordinated >= b.coordinated || t.coordinated[a.coordinated] == t.coordinated[b.coordinated])
}

// cut makes the segments of every loss that has a limit, the best saving per price first.
func (s *search) cut() {
	for k := range s.segs {
		s.segs[k] = s.segs[k][:0]
		if s.limits[k] == 0 {
			continue
		}
		for depth, i := range s.order {
			s.segs[k] = hull(s.segs[k], s.options[i], k, depth)
		}
		slices.SortStableFunc(s.segs[k], func(a, b segment) int {
			return cmp.Compare(b.gain*float64(a.extra), a.gain*float64(b.extra))
		})
	}
}

// hull appends the segments of the upper convex hull over the options of an end,
// from no cost and no gain on.
func hull(segs []segment, o []option, k, depth int) []segment {
	at := option{}
	for {
		var next *option
		for j := range o {
			x := &o[j]
			if x.gain[k] <= at.gain[k] {
				continue
			}
			if next == nil || steeper(x, next, &at, k) {
				next = x
			}
		}
		if next == nil {
			return segs
		}
		segs = append(segs, segment{depth, max(next.extra-at.extra, 0), next.gain[k] - at.gain[k]})
		at = *next
	}
}

// steeper reports whether the way from at to a gains more per price than that to b.
func steeper(a, b, at *option, k int) bool {
	x := (a.gain[k] - at.gain[k]) * float64(max(b.extra-at.extra, 0))
	y := (b.gain[k] - at.gain[k]) * float64(max(a.extra-at.extra, 0))
	if x != y {
		return x > y
	}
	return a.gain[k] > b.gain[k]
}

// reach bounds the ratios from below that can be reached from depth on with at
// most extra to spend, after gain.
func (s *search) reach(depth int, gain *ratios, extra units) ratios {
	var r ratios
	for k := range r {
		left, g := extra, gain[k]
		for i := range s.segs[k] {
			x := &s.segs[k][i]
			if x.depth < depth {
				continue
			}
			if x.extra > left {
				g += x.gain * float64(left) / float64(x.extra)
				break
			}
			left -= x.extra
			g += x.gain
		}
		r[k] = s.start[k] - g - same*s.start[k]
	}
	return r
}

// promising reports whether deciding the ends from depth on can lead to a better set.
func (s *search) promising(depth int, extra units, gain *ratios) bool {
	left := s.best.cost - s.base - extra
	if left < 0 {
		return false
	}
	r := s.reach(depth, gain, left)
	if r.worst() > s.limit {
		return false
	}
	if prefer(0, 0, &r, &s.best.ratios) <= 0 {
		return true
	}
	if left == 0 {
		return false
	}
	r = s.reach(depth, gain, left-1)
	return r.worst() <= s.limit
}

// descend decides the ends from depth on. changed says that the end before is
// not at its best, so that what can be reached has to be evaluated anew.
func (s *search) descend(depth int, extra units, gain ratios, changed bool) {
	*s.budget--
	if *s.budget <= 0 || !s.promising(depth, extra, &gain) {
		return
	}
	if depth == len(s.order) {
		risks, r := s.evaluate()
		s.consider(s.base+extra, &risks, &r)
		return
	}
	if changed {
		if _, r := s.evaluate(); r.worst() > s.limit {
			return
		}
	}
	i := s.order[depth]
	best := pair{s.ends[i].bonding.best, s.ends[i].coordinated.best}
	first := 0
	if t := s.ends[i].twin; t >= 0 {
		first = s.picked[t]
	}
	for j := first; j < len(s.options[i]); j++ {
		o := &s.options[i][j]
		s.picked[i] = j
		s.setEnd(i, o.bonding, o.coordinated)
		g := gain
		for k := range g {
			g[k] += o.gain[k]
		}
		s.descend(depth+1, extra+o.extra, g, o.pair != best)
	}
	s.setEnd(i, best.bonding, best.coordinated)
}
