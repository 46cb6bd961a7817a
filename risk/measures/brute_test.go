package measures

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"levinward/risk"
	"levinward/risk/trace"
)

// invented is an edition with the structure of the standard's formulas and
// arbitrary factors: sums of products, and 1 - prod(1 - P) over internal systems.
type invented struct {
	risk.Edition // nothing else of it is called
	structures   []inventedStructure
}

type inventedStructure struct {
	lps, fire        [7]float64 // non-increasing
	notices, insul   float64
	bonding, systems [risk.BetterThanI + 1]float64
	wiring           [7]float64           // non-increasing
	a, b, c, m       [risk.Losses]float64 // weights of the components
	lines            []inventedLine
	calls            *int
}

type inventedLine struct {
	u, v, w  [risk.Losses]float64
	pc, pm   float64
	wiring   risk.Wiring // as it is
	inZoneOf [2]bool
}

func (e invented) Evaluator(_ *risk.Input, structure int) risk.Evaluator {
	return &e.structures[structure]
}
func (e invented) Assess(in *risk.Input, _ *trace.Trace) (risk.Result, error) {
	r := risk.Result{Structures: make([]risk.StructureResult, len(in.Structures))}
	for i := range in.Structures {
		p := Present(in, i)
		now := e.structures[i].Risks(&p)
		r.Structures[i].Assessed = !in.Structures[i].NotAssessed
		for k := range now {
			r.Structures[i].Risks[k] = risk.Risk{Applies: true, Total: now[k], Tolerable: in.Tolerable[k]}
		}
	}
	return r, nil
}

func (e *inventedStructure) shock(m risk.ShockMeasures) float64 {
	p := 1.0
	if m&risk.WarningNotices != 0 {
		p *= e.notices
	}
	if m&risk.Insulation != 0 {
		p *= e.insul
	}
	return p
}

func probability(t *[risk.BetterThanI + 1]float64, s risk.SPD) float64 {
	if s.Level == risk.BetterThanI {
		return s.Probability
	}
	return t[s.Level]
}

func (e *inventedStructure) Risks(m *risk.Measures) [risk.Losses]float64 {
	if e.calls != nil {
		*e.calls++
	}
	var r [risk.Losses]float64
	pb, rp := e.lps[m.LPS], e.fire[m.FireProtection]
	for k := range r {
		r[k] = e.a[k]*e.shock(m.StructureShock)*pb + e.b[k]*pb*rp
		for zone := range 2 {
			allC, allM := 1.0, 1.0
			for i, l := range e.lines {
				p := probability(&e.systems, m.Ends[i].Coordinated)
				if l.inZoneOf[zone] {
					pc := l.pc
					if m.LPS != risk.NoLPS {
						pc *= p
					}
					allC *= 1 - pc
					allM *= 1 - p*l.pm*e.wiring[max(l.wiring, m.Wiring)]
				}
			}
			r[k] += e.c[k]*(1-allC) + e.m[k]*(1-allM)
		}
		for i, l := range e.lines {
			b := probability(&e.bonding, m.Ends[i].Bonding)
			r[k] += l.u[k]*e.shock(m.LineShock)*b + l.v[k]*rp*b + l.w[k]*probability(&e.systems, m.Ends[i].Coordinated)
		}
	}
	return r
}

// falling draws factors from 1 downwards; some steps have no effect.
func falling(t *rapid.T, n int, name string) (f [7]float64) {
	p := 1.0
	for i := range n {
		f[i] = p
		p *= rapid.SampledFrom([]float64{1, 0.7, 0.5, 0.3, 0.1, 0.05}).Draw(t, name)
	}
	return f
}

func weights(t *rapid.T, name string) (w [risk.Losses]float64) {
	for k := range 2 {
		w[k] = rapid.SampledFrom([]float64{0, 0, 1e-6, 1e-5, 3e-5, 7e-5, 1e-4}).Draw(t, name)
	}
	return w
}

var someSPD = []risk.SPD{{}, {}, {}, {Level: risk.LevelIIIIV}, {Level: risk.LevelII}, {Level: risk.LevelI},
	{Level: risk.BetterThanI, Probability: 0.002}}

// drawSite draws an edition and a site of one or two structures with at most
// the given number of lines each.
func drawSite(t *rapid.T, structures, lines int) (invented, *risk.Input) {
	var e invented
	in := &risk.Input{Costs: DefaultCosts()}
	if rapid.Bool().Draw(t, "own prices") {
		in.Costs = drawCosts(t)
	}
	in.Tolerable = [risk.Losses]float64{1e-5, rapid.SampledFrom([]float64{0, 1e-5, 1e-4}).Draw(t, "limit"), 0, 1e-3}
	for s := range structures {
		x := inventedStructure{
			lps: falling(t, 7, "lps"), fire: falling(t, 3, "fire"), wiring: falling(t, 4, "wiring"),
			notices: rapid.SampledFrom([]float64{1, 0.5, 0.1}).Draw(t, "notices"),
			insul:   rapid.SampledFrom([]float64{1, 0.3, 0.01}).Draw(t, "insulation"),
			a:       weights(t, "a"), b: weights(t, "b"), c: weights(t, "c"), m: weights(t, "m"),
		}
		bonding, systems := falling(t, 4, "bonding"), falling(t, 4, "systems")
		copy(x.bonding[:], bonding[:4])
		copy(x.systems[:], systems[:4])
		str := risk.Structure{LPS: rapid.SampledFrom([]risk.LPS{0, 0, 0, 1, 2, 3, 4, 5, 6}).Draw(t, "present lps"),
			NaturalLPS: rapid.IntRange(0, 3).Draw(t, "natural lps") == 0}
		z := risk.Zone{FireRisk: risk.OrdinaryFireRisk}
		z.FireProtection = rapid.SampledFrom([]risk.FireProtection{0, 0, 1, 2}).Draw(t, "present fire")
		z.StructureShock = risk.ShockMeasures(rapid.IntRange(0, 7).Draw(t, "present shock"))
		for l := range rapid.IntRange(0, lines).Draw(t, "lines") {
			if l > 0 && rapid.IntRange(0, 2).Draw(t, "same as before") == 0 {
				x.lines = append(x.lines, x.lines[l-1])
				in.Lines = append(in.Lines, in.Lines[len(in.Lines)-1])
				z.Systems = append(z.Systems, risk.System{Line: len(in.Lines) - 1, Wiring: x.lines[l].wiring})
				continue
			}
			x.lines = append(x.lines, inventedLine{
				u: weights(t, "u"), v: weights(t, "v"), w: weights(t, "w"),
				pc: rapid.SampledFrom([]float64{0, 0.5, 1}).Draw(t, "pc"), pm: rapid.SampledFrom([]float64{0, 0.01, 0.5, 1}).Draw(t, "pm"),
				wiring:   rapid.SampledFrom([]risk.Wiring{0, 0, 1, 2, 3}).Draw(t, "wiring of a line"),
				inZoneOf: [2]bool{rapid.Bool().Draw(t, "zone 0"), rapid.Bool().Draw(t, "zone 1")},
			})
			in.Lines = append(in.Lines, risk.Line{
				Structure: s, To: -1, Withstand: float64(len(in.Lines) + 1),
				BondingSPD:     rapid.SampledFrom(someSPD).Draw(t, "bonding spd"),
				CoordinatedSPD: rapid.SampledFrom(someSPD).Draw(t, "coordinated spd"),
			})
			z.Systems = append(z.Systems, risk.System{Line: len(in.Lines) - 1, Wiring: x.lines[l].wiring})
		}
		str.Zones = []risk.Zone{z}
		in.Structures = append(in.Structures, str)
		e.structures = append(e.structures, x)
	}
	return e, in
}

func drawCosts(t *rapid.T) risk.Costs {
	price := rapid.SampledFrom([]float64{0, 0.1, 0.25, 0.3, 1, 1, 2, 2, 3.7, 12})
	var c risk.Costs
	for i := range c.LPS {
		c.LPS[i] = price.Draw(t, "price of lps")
	}
	for i := range c.Bonding {
		c.Bonding[i] = price.Draw(t, "price of bonding")
		c.Coordinated[i] = price.Draw(t, "price of coordinated")
	}
	for i := range c.FireProtection {
		c.FireProtection[i] = price.Draw(t, "price of fire protection")
	}
	c.WarningNotices, c.Insulation = price.Draw(t, "price of notices"), price.Draw(t, "price of insulation")
	if rapid.IntRange(0, 3).Draw(t, "wiring has a price") > 0 {
		c.Wiring = &[risk.ShieldedWiring + 1]float64{}
		for i := range c.Wiring {
			c.Wiring[i] = price.Draw(t, "price of wiring")
		}
	}
	c.LPS[risk.LPSIV] += 0.1 // with no price at all the default ones count
	return c
}

// everySet calls f with every set of measures that obeys the rules, in the order
// of risk.Measures, and its cost. It is written from the rules alone.
func everySet(c *risk.Costs, frame bool, p risk.Measures, f func(m *risk.Measures, cost float64)) {
	classes := []risk.LPS{p.LPS}
	for v := p.LPS + 1; v <= risk.LPSI; v++ {
		classes = append(classes, v)
	}
	shocks := []risk.ShockMeasures{0, 1, 2, 3}
	f(&p, 0) // what is there breaks no rule
	m := clone(&p)
	for _, m.LPS = range classes {
		for m.FireProtection = p.FireProtection; m.FireProtection <= risk.AutomaticFireProtection; m.FireProtection++ {
			for _, s := range shocks {
				for _, l := range shocks {
					if s&p.StructureShock != 0 || l&p.LineShock != 0 || s&risk.Insulation != 0 && m.LPS == risk.NoLPS && !frame {
						continue
					}
					m.StructureShock, m.LineShock = p.StructureShock|s, p.LineShock|l
					cost := 0.0
					if m.LPS != p.LPS {
						cost += c.LPS[m.LPS]
					}
					if m.FireProtection != p.FireProtection {
						cost += c.FireProtection[m.FireProtection]
					}
					for _, added := range []risk.ShockMeasures{s, l} {
						cost += []float64{0, c.WarningNotices, c.Insulation, c.WarningNotices + c.Insulation}[added]
					}
					everyWiring(c, &p, &m, cost, f)
				}
			}
		}
	}
}

func everyWiring(c *risk.Costs, p, m *risk.Measures, cost float64, f func(*risk.Measures, float64)) {
	for m.Wiring = p.Wiring; m.Wiring <= risk.ShieldedWiring; m.Wiring++ {
		extra := 0.0
		if m.Wiring != p.Wiring {
			if c.Wiring == nil {
				break
			}
			extra = c.Wiring[m.Wiring]
		}
		everyEnd(c, p, m, 0, cost+extra, f)
	}
}

func everyEnd(c *risk.Costs, p, m *risk.Measures, i int, cost float64, f func(*risk.Measures, float64)) {
	if i == len(p.Ends) {
		f(m, cost)
		return
	}
	demanded := map[risk.LPS]risk.Level{risk.LPSIV: risk.LevelIIIIV, risk.LPSIII: risk.LevelIIIIV, risk.LPSII: risk.LevelII,
		risk.LPSI: risk.LevelI, risk.LPSINaturalFrame: risk.LevelI, risk.LPSIFullCover: risk.LevelI}[m.LPS]
	e := &p.Ends[i]
	for b := e.Bonding.Level; b <= max(e.Bonding.Level, risk.LevelI); b++ {
		for k := e.Coordinated.Level; k <= max(e.Coordinated.Level, risk.LevelI); k++ {
			if b < demanded || k != e.Coordinated.Level && k > b {
				continue
			}
			extra := 0.0
			m.Ends[i] = *e
			if b != e.Bonding.Level {
				m.Ends[i].Bonding = risk.SPD{Level: b}
				extra += c.Bonding[b]
			}
			if k != e.Coordinated.Level {
				m.Ends[i].Coordinated = risk.SPD{Level: k}
				extra += c.Coordinated[k]
			}
			everyEnd(c, p, m, i+1, cost+extra, f)
		}
	}
}

// answer is a set found by trying all.
type answer struct {
	found      bool
	cost       float64
	worst, sum float64
	measures   risk.Measures
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), math.Abs(b)) }

// bruteForce finds the set that Recommend must find for one structure and a limit of the worst ratio.
func bruteForce(in *risk.Input, structure int, e risk.Evaluator, res *risk.StructureResult, limit float64) (best answer, lowest float64) {
	lowest = math.Inf(1)
	p := Present(in, structure)
	everySet(&in.Costs, in.Structures[structure].NaturalLPS, p, func(m *risk.Measures, cost float64) {
		worst, sum := ratiosOf(res, e.Risks(m))
		lowest = min(lowest, worst)
		if worst > limit {
			return
		}
		a := answer{true, cost, worst, sum, *m}
		if !best.found || precedes(&a, &best) {
			best = a
			best.measures = clone(m)
		}
	})
	return best, lowest
}

func ratiosOf(res *risk.StructureResult, r [risk.Losses]float64) (worst, sum float64) {
	for k := range r {
		if t := res.Risks[k].Tolerable; t > 0 && res.Risks[k].Applies {
			worst = max(worst, r[k]/t)
			sum += r[k] / t
		}
	}
	return worst, sum
}

func precedes(a, b *answer) bool {
	switch {
	case !near(a.cost, b.cost):
		return a.cost < b.cost
	case math.Abs(a.worst-b.worst) > 1e-12*b.worst:
		return a.worst < b.worst
	case math.Abs(a.sum-b.sum) > 1e-12*b.sum:
		return a.sum < b.sum
	}
	return less(&a.measures, &b.measures)
}

// check runs a property more often than is usual: sites that need measures are not all of those drawn.
func check(t *testing.T, f func(*rapid.T)) {
	t.Helper()
	for range 5 {
		rapid.Check(t, f)
	}
}

func TestExactAgainstEverySet(t *testing.T) {
	check(t, func(t *rapid.T) {
		e, in := drawSite(t, rapid.IntRange(1, 2).Draw(t, "structures"), 2)
		res, _ := e.Assess(in, nil)
		got := Recommend(in, &res, e)
		if !got.Proven {
			t.Fatal("not proven")
		}
		sufficient := true
		for i := range got.Set.Structures {
			s := &got.Set.Structures[i]
			worst, _ := ratiosOf(&res.Structures[i], e.structures[i].Risks(new(Present(in, i))))
			if worst <= 1 {
				if s.Added || s.Cost != 0 {
					t.Fatalf("structure %d needs nothing and gets %+v", i, s)
				}
				continue
			}
			want, lowest := bruteForce(in, i, &e.structures[i], &res.Structures[i], 1)
			if !want.found {
				sufficient = false
				want, _ = bruteForce(in, i, &e.structures[i], &res.Structures[i], lowest*1.01)
			}
			sameAnswer(t, fmt.Sprint("structure ", i), &want, s, &res.Structures[i])
		}
		if got.Sufficient != sufficient {
			t.Fatalf("sufficient %v, want %v", got.Sufficient, sufficient)
		}
	})
}

func sameAnswer(t interface{ Fatalf(string, ...any) }, what string, want *answer, got *risk.StructureMeasures, res *risk.StructureResult) {
	worst, sum := ratiosOf(res, got.Risks)
	if !near(got.Cost, want.cost) || !near(worst, want.worst) || !near(sum, want.sum) {
		t.Fatalf("%s: cost %v worst %v sum %v, want %v %v %v\n got %+v\nwant %+v", what, got.Cost, worst, sum, want.cost, want.worst,
			want.sum, got.Measures, want.measures)
	}
	if less(&got.Measures, &want.measures) || less(&want.measures, &got.Measures) {
		t.Fatalf("%s: measures\n got %+v\nwant %+v", what, got.Measures, want.measures)
	}
}
