package measures_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"levinward/risk"
	"levinward/risk/ed2"
	"levinward/risk/measures"
)

// post is an invented health post of one zone with lines of several kinds.
func post(lines int) *risk.Input {
	in := &risk.Input{Edition: ed2.ID, FlashDensity: risk.FlashDensity{NG: 9}, Costs: measures.DefaultCosts(),
		Structures: []risk.Structure{{ID: "post", Length: 18, Width: 9, Height: 5.5, Surroundings: risk.Isolated,
			Occupancy: risk.Hospital, Persons: 14,
			Zones: []risk.Zone{{ID: "inside", Persons: 14, Hours: 8760, Surface: risk.Concrete, FireRisk: risk.OrdinaryFireRisk,
				SpecialHazard: risk.LowPanic}}}}}
	for i := range lines {
		l := risk.Line{ID: fmt.Sprint("line ", i), To: -1, Withstand: 2.5, Sections: []risk.Section{{Length: 640 - 50*float64(i)}}}
		switch i % 3 {
		case 1:
			l.Withstand = 1.5
			l.Sections[0].Installation = risk.Buried
		case 2:
			l.Service = risk.Telecom
			l.Sections[0].Service = risk.Telecom
		}
		in.Lines = append(in.Lines, l)
		in.Structures[0].Zones[0].Systems = append(in.Structures[0].Zones[0].Systems, risk.System{Line: i})
	}
	return in
}

// endangered is the same where failures of internal systems endanger life and the service to the public counts.
func endangered(lines int) *risk.Input {
	in := post(lines)
	in.Structures[0].FailureEndangersLife = true
	in.Structures[0].PublicSupply = risk.PowerGasWater
	in.Structures[0].Zones[0].FireRisk = risk.LowFireRisk
	in.Structures[0].Zones[0].Hours = 2000
	in.FlashDensity.NG = 2
	return in
}

// calm is the input where lightning is rare.
func calm(in *risk.Input) *risk.Input {
	in.FlashDensity.NG = 0.2
	return in
}

// village is an invented village of five structures, eight lines and ten zones.
func village() *risk.Input {
	in := &risk.Input{Edition: ed2.ID, FlashDensity: risk.FlashDensity{NG: 9}, Costs: measures.DefaultCosts()}
	for i := range 5 {
		s := post(0).Structures[0]
		s.ID = fmt.Sprint("house ", i)
		s.Occupancy = []risk.Occupancy{risk.Hospital, risk.School, risk.Dwelling, risk.Commercial, risk.Church}[i]
		s.FailureEndangersLife = i == 0
		s.Height += float64(i)
		yard := risk.Zone{ID: "yard", Place: risk.Outside, Persons: 1, Hours: 2000, Surface: risk.AgriculturalSoil}
		s.Zones = []risk.Zone{s.Zones[0], yard}
		in.Structures = append(in.Structures, s)
	}
	for i := range 8 {
		l := risk.Line{ID: fmt.Sprint("line ", i), Structure: i % 5, To: -1, Withstand: 2.5,
			Sections: []risk.Section{{Length: 300 + 100*float64(i)}}}
		if i >= 5 {
			l.To = (i + 1) % 5
		}
		in.Lines = append(in.Lines, l)
		for s := range in.Structures {
			if l.Ends(s) {
				z := &in.Structures[s].Zones[0]
				z.Systems = append(z.Systems, risk.System{Line: i})
			}
		}
	}
	return in
}

func assess(t interface{ Fatal(...any) }, in *risk.Input) risk.Result {
	if v := (ed2.Edition{}).Validate(in); len(v) > 0 {
		t.Fatal(v)
	}
	r, err := ed2.Edition{}.Assess(in, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// with is the input with measures taken at one structure.
func with(in *risk.Input, structure int, m *risk.Measures) *risk.Input {
	c := *in
	c.Structures = slices.Clone(in.Structures)
	c.Lines = slices.Clone(in.Lines)
	s := &c.Structures[structure]
	s.LPS = max(s.LPS, m.LPS)
	s.Zones = slices.Clone(s.Zones)
	for i := range s.Zones {
		z := &s.Zones[i]
		z.StructureShock |= m.StructureShock
		if z.Place == risk.Inside {
			z.LineShock |= m.LineShock
			z.Systems = slices.Clone(z.Systems)
			for n := range z.Systems {
				z.Systems[n].Wiring = max(z.Systems[n].Wiring, m.Wiring)
			}
			z.FireProtection = max(z.FireProtection, m.FireProtection)
		}
	}
	for _, e := range m.Ends {
		l := &c.Lines[e.Line]
		if e.Bonding.Level > l.BondingSPD.Level {
			l.BondingSPD = e.Bonding
		}
		if e.Coordinated.Level > l.CoordinatedSPD.Level {
			l.CoordinatedSPD = e.Coordinated
		}
	}
	return &c
}

func worst(r *[risk.Losses]risk.Risk, totals [risk.Losses]float64) (w float64) {
	for k := range r {
		if r[k].Applies && r[k].Tolerable > 0 {
			w = max(w, totals[k]/r[k].Tolerable)
		}
	}
	return w
}

func totals(r *[risk.Losses]risk.Risk) (t [risk.Losses]float64) {
	for k := range r {
		t[k] = r[k].Total
	}
	return t
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), math.Abs(b)) }

// check runs a property more often than is usual: sites that need measures are not all of those drawn.
func check(t *testing.T, f func(*rapid.T)) {
	t.Helper()
	for range 5 {
		rapid.Check(t, f)
	}
}

// checkExact tries every set of the first structure by assessing the site anew.
func checkExact(t interface {
	Fatal(...any)
	Fatalf(string, ...any)
}, in *risk.Input) {
	before := assess(t, in)
	got := measures.Recommend(in, &before, ed2.Edition{})
	if !got.Needed {
		return
	}
	if !got.Proven {
		t.Fatal("not proven")
	}
	sets := []risk.MeasureSet{got.Set}
	limits := []float64{1}
	for _, a := range got.Alternatives {
		sets = append(sets, a)
		w := worst(&before.Structures[0].Risks, a.Structures[0].Risks)
		for margin := 1.0; ; margin *= 10 { // the tightest margin it keeps
			if w > 1/(margin*2) {
				limits = append(limits, 1/margin)
			} else if w > 1/(margin*5) {
				limits = append(limits, 1/(margin*2))
			} else if w > 1/(margin*10) {
				limits = append(limits, 1/(margin*5))
			} else {
				continue
			}
			break
		}
	}
	cheapest := make([]float64, len(sets))
	for i := range cheapest {
		cheapest[i] = math.Inf(1)
	}
	lowest := math.Inf(1)
	var tried [][2]float64
	measures.EverySet(&in.Costs, in.Structures[0].NaturalLPS, measures.Present(in, 0), func(m *risk.Measures, cost float64) {
		r, _ := ed2.Edition{}.Assess(with(in, 0, m), nil)
		w := worst(&r.Structures[0].Risks, totals(&r.Structures[0].Risks))
		lowest = min(lowest, w)
		tried = append(tried, [2]float64{w, cost})
		for i := range sets {
			if w <= limits[i] {
				cheapest[i] = min(cheapest[i], cost)
			}
		}
	})
	if !got.Sufficient {
		lowestCost := math.Inf(1)
		for _, x := range tried {
			if x[0] <= lowest*1.01 {
				lowestCost = min(lowestCost, x[1])
			}
		}
		w := worst(&before.Structures[0].Risks, got.Set.Structures[0].Risks)
		if lowest <= 1 || w > lowest*1.01*(1+1e-9) || !near(got.Set.Cost, lowestCost) || len(got.Alternatives) > 0 {
			t.Fatalf("insufficient: worst %v at %v, every set: %v at %v", w, got.Set.Cost, lowest, lowestCost)
		}
		return
	}
	for i, s := range sets {
		if !near(s.Cost, cheapest[i]) {
			t.Fatalf("set %d within %v costs %v, the cheapest of all %v: %+v", i, limits[i], s.Cost, cheapest[i], s)
		}
		after, _ := ed2.Edition{}.Assess(with(in, 0, &s.Structures[0].Measures), nil)
		if r := totals(&after.Structures[0].Risks); r != s.Structures[0].Risks {
			t.Fatalf("set %d: risks %v, assessed %v", i, s.Structures[0].Risks, r)
		}
	}
}

func TestExactAgainstEveryAssessment(t *testing.T) {
	for name, in := range map[string]*risk.Input{"post": post(2), "endangered": endangered(2), "no lines": post(0)} {
		t.Run(name, func(t *testing.T) { checkExact(t, in) })
	}
}

func TestExactAgainstEveryAssessmentOfRandomSites(t *testing.T) {
	check(t, func(t *rapid.T) { checkExact(t, drawPost(t, 1)) })
}

// drawPost draws one structure of two zones with at most the given number of lines.
func drawPost(t *rapid.T, lines int) *risk.Input {
	in := post(rapid.IntRange(0, lines).Draw(t, "lines"))
	in.FlashDensity.NG = rapid.Float64Range(0.1, 30).Draw(t, "N_G")
	s := &in.Structures[0]
	s.Height = rapid.Float64Range(3, 40).Draw(t, "height")
	s.Occupancy = risk.Occupancy(rapid.IntRange(1, 13).Draw(t, "occupancy"))
	s.FailureEndangersLife = rapid.Bool().Draw(t, "failure endangers life")
	s.PublicSupply = risk.PublicSupply(rapid.IntRange(0, 2).Draw(t, "public supply"))
	s.CulturalHeritage = rapid.Bool().Draw(t, "heritage")
	s.NaturalLPS = rapid.Bool().Draw(t, "natural lps")
	s.LPS = rapid.SampledFrom([]risk.LPS{0, 0, 0, 1, 2, 3, 4, 5, 6}).Draw(t, "lps")
	s.Explosion = rapid.SampledFrom([]risk.ExplosionZone{0, 0, 0, 1, 2, 3}).Draw(t, "explosion")
	second := s.Zones[0]
	second.ID = "second"
	second.Systems = nil
	for _, x := range s.Zones[0].Systems {
		if rapid.Bool().Draw(t, "in the second zone") {
			second.Systems = append(second.Systems, x)
		}
	}
	second.Place = risk.Place(rapid.IntRange(0, 1).Draw(t, "place"))
	if second.Place == risk.Outside {
		second.Systems = nil
	}
	s.Zones = append(s.Zones, second)
	for i := range s.Zones {
		z := &s.Zones[i]
		z.Persons = 7
		z.FireRisk = risk.FireRisk(rapid.IntRange(0, 3).Draw(t, "fire risk"))
		z.FireProtection = risk.FireProtection(rapid.IntRange(0, 1).Draw(t, "fire protection"))
		z.Surface = risk.Surface(rapid.IntRange(0, 8).Draw(t, "surface"))
		z.StructureShock = risk.ShockMeasures(rapid.IntRange(0, 15).Draw(t, "structure shock"))
		z.LineShock = risk.ShockMeasures(rapid.SampledFrom([]int{0, 1, 2, 3, 8}).Draw(t, "line shock"))
	}
	for i := range in.Lines {
		l := &in.Lines[i]
		l.Shield.Type = risk.ShieldType(rapid.IntRange(0, 4).Draw(t, "shield"))
		l.Shield.Bonded = rapid.Bool().Draw(t, "bonded")
		l.BondingSPD = rapid.SampledFrom([]risk.SPD{{}, {}, {Level: risk.LevelIIIIV}, {Level: risk.BetterThanI,
			Probability: 0.002}}).Draw(t, "bonding spd")
		l.CoordinatedSPD = rapid.SampledFrom([]risk.SPD{{}, {}, {Level: risk.LevelII}, {Level: risk.BetterThanI,
			Probability: 0.003}}).Draw(t, "coordinated spd")
		if rapid.IntRange(0, 1).Draw(t, "same as before") == 1 && i > 0 {
			id := l.ID
			*l = in.Lines[i-1]
			l.ID = id
		}
	}
	return in
}

// drawMeasures draws measures of a structure that are at least those of p.
func drawMeasures(t *rapid.T, p *risk.Measures) risk.Measures {
	m := *p
	m.LPS = max(p.LPS, risk.LPS(rapid.IntRange(0, 4).Draw(t, "class")))
	m.FireProtection = max(p.FireProtection, risk.FireProtection(rapid.IntRange(0, 2).Draw(t, "fire protection")))
	m.StructureShock |= risk.ShockMeasures(rapid.IntRange(0, 3).Draw(t, "structure shock"))
	m.LineShock |= risk.ShockMeasures(rapid.IntRange(0, 3).Draw(t, "line shock"))
	m.Wiring = max(p.Wiring, risk.Wiring(rapid.IntRange(0, 3).Draw(t, "wiring")))
	m.Ends = slices.Clone(p.Ends)
	for i := range m.Ends {
		raise(&m.Ends[i].Bonding, risk.Level(rapid.IntRange(0, 3).Draw(t, "bonding")))
		raise(&m.Ends[i].Coordinated, risk.Level(rapid.IntRange(0, 3).Draw(t, "coordinated")))
	}
	return m
}

func raise(s *risk.SPD, to risk.Level) {
	if to > s.Level {
		*s = risk.SPD{Level: to}
	}
}

// TestPropertiesOfTheFormulas checks on the edition what the search relies on:
// a better measure never raises a risk, and with the structure-wide measures
// fixed, what an SPD saves never shrinks when the SPDs at another end get better.
func TestPropertiesOfTheFormulas(t *testing.T) {
	check(t, func(t *rapid.T) {
		in := drawPost(t, 4)
		e := ed2.Edition{}.Evaluator(in, 0)
		p := measures.Present(in, 0)
		low := drawMeasures(t, &p)
		high := drawMeasures(t, &low)
		a, b := e.Risks(&low), e.Risks(&high)
		for k := range a {
			if b[k] > a[k]*(1+1e-12) {
				t.Fatalf("risk %d rises from %v to %v with better measures:\n%+v\n%+v", k, a[k], b[k], low, high)
			}
		}
		if len(p.Ends) < 2 {
			return
		}
		better := low
		better.Ends = slices.Clone(high.Ends)
		better.Ends[0] = low.Ends[0]
		saved := func(m risk.Measures) (s [risk.Losses]float64) {
			before := e.Risks(&m)
			m.Ends = slices.Clone(m.Ends)
			m.Ends[0] = high.Ends[0]
			after := e.Risks(&m)
			for k := range s {
				s[k] = before[k] - after[k]
			}
			return s
		}
		x, y := saved(low), saved(better)
		for k := range x {
			if x[k] > y[k]+1e-12*a[k] {
				t.Fatalf("risk %d: saved %v, with better SPDs elsewhere %v:\n%+v\n%+v", k, x[k], y[k], low, high)
			}
		}
	})
}

// TestMeasureWithoutEffectAtTheBest checks the third: what has no effect with everything else at its best has none anywhere.
func TestMeasureWithoutEffectAtTheBest(t *testing.T) {
	check(t, func(t *rapid.T) {
		in := drawPost(t, 3)
		e := ed2.Edition{}.Evaluator(in, 0)
		p := measures.Present(in, 0)
		top := risk.Measures{LPS: max(p.LPS, risk.LPSI), FireProtection: risk.AutomaticFireProtection,
			StructureShock: 3 | p.StructureShock, LineShock: 3 | p.LineShock, Ends: slices.Clone(p.Ends)}
		for i := range top.Ends {
			raise(&top.Ends[i].Bonding, risk.LevelI)
			raise(&top.Ends[i].Coordinated, risk.LevelI)
		}
		anywhere := drawMeasures(t, &p)
		for what, change := range map[string]func(to, from *risk.Measures){
			"LPS":             func(to, from *risk.Measures) { to.LPS = from.LPS },
			"fire protection": func(to, from *risk.Measures) { to.FireProtection = from.FireProtection },
			"structure shock": func(to, from *risk.Measures) { to.StructureShock = from.StructureShock },
			"line shock":      func(to, from *risk.Measures) { to.LineShock = from.LineShock },
			"SPDs": func(to, from *risk.Measures) {
				to.Ends = slices.Clone(to.Ends)
				if len(to.Ends) > 0 {
					to.Ends[0] = from.Ends[0]
				}
			},
		} {
			without := top
			change(&without, &p)
			low, high := anywhere, anywhere
			change(&low, &p)
			change(&high, &top)
			if a, b := e.Risks(&low), e.Risks(&high); e.Risks(&without) == e.Risks(&top) && a != b {
				t.Fatalf("%s: no effect at the best, but %v and %v at %+v", what, a, b, anywhere)
			}
		}
	})
}

// counted counts the evaluations that a search asks for.
type counted struct {
	ed2.Edition
	n *int
}

type countedEvaluator struct {
	risk.Evaluator
	n *int
}

func (c counted) Evaluator(in *risk.Input, s int) risk.Evaluator {
	return countedEvaluator{c.Edition.Evaluator(in, s), c.n}
}

func (c countedEvaluator) Risks(m *risk.Measures) [risk.Losses]float64 {
	*c.n++
	return c.Evaluator.Risks(m)
}

func BenchmarkRecommend(b *testing.B) {
	for _, x := range []struct {
		name string
		in   *risk.Input
	}{
		{"2 lines", post(2)}, {"3 lines", post(3)}, {"3 lines, systems endanger life", endangered(3)},
		{"village", village()}, {"12 lines, nothing suffices", post(12)}, {"12 lines", calm(post(12))},
		{"12 lines, systems endanger life", calm(endangered(12))},
	} {
		res := assess(b, x.in)
		b.Run(x.name+"/one evaluation", func(b *testing.B) {
			b.ReportAllocs()
			e := ed2.Edition{}.Evaluator(x.in, 0)
			m := measures.Present(x.in, 0)
			for b.Loop() {
				e.Risks(&m)
			}
		})
		b.Run(x.name+"/recommendation", func(b *testing.B) {
			b.ReportAllocs()
			n := 0
			r := measures.Recommend(x.in, &res, counted{n: &n})
			for b.Loop() {
				measures.Recommend(x.in, &res, ed2.Edition{})
			}
			b.ReportMetric(float64(n), "evaluations")
			if !r.Proven {
				b.ReportMetric(1, "unproven")
			}
			b.ReportMetric(float64(len(r.Alternatives)), "alternatives")
		})
	}
}

// In money, measures may cost nothing: they are not replaced by relative prices under the name of the currency.
func TestMeasuresThatCostNothing(t *testing.T) {
	in := village()
	relative := assess(t, in)
	byDefault := measures.Recommend(in, &relative, ed2.Edition{})
	in.Costs = risk.Costs{Money: true, Currency: "XTS"}
	res := assess(t, in)
	free := measures.Recommend(in, &res, ed2.Edition{})
	if !byDefault.Needed || byDefault.Set.Cost == 0 || !free.Needed || free.Sufficient != byDefault.Sufficient || free.Set.Cost != 0 {
		t.Errorf("by default %+v, free %+v", byDefault, free)
	}
}
