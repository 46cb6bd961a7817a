package measures_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"levinward/risk"
	"levinward/risk/ed2"
	"levinward/risk/measures"
)

// valued gives every inside zone of a site invented values, in money.
func valued(in *risk.Input) *risk.Input {
	for i := range in.Structures {
		for z := range in.Structures[i].Zones {
			if in.Structures[i].Zones[z].Place == risk.Inside {
				in.Structures[i].Zones[z].Values = risk.Values{Building: 80_000, Contents: 20_000, Systems: 9_000 * float64(i+1)}
			}
		}
	}
	return in
}

var objectives = map[string]measures.Objective{"expected loss": measures.ExpectedLoss, "persons at risk": measures.PersonsAtRisk}

// saving is what an objective means, from two assessments of one structure.
func saving(o measures.Objective, persons float64, before, after *risk.StructureResult) float64 {
	if o == measures.PersonsAtRisk {
		if r := &before.Risks[risk.HumanLife]; r.Acceptable() || after.Risks[risk.HumanLife].Total > r.Tolerable {
			return 0
		}
		return persons
	}
	return (before.Risks[risk.EconomicValue].Total - after.Risks[risk.EconomicValue].Total) * before.TotalValue
}

// checkOptions assesses the site anew under every set of its first structure:
// no set may save more for as little as an option, and none may save anything where there is no option.
func checkOptions(t interface {
	Fatal(...any)
	Fatalf(string, ...any)
}, in *risk.Input, o measures.Objective) {
	before := assess(t, in)
	rec := measures.Recommend(in, &before, ed2.Edition{})
	options, sets := measures.SiteOptionsOf(7, in, &before, &rec, ed2.Edition{}, o)
	var first []measures.Option
	if len(options) > 0 {
		first = options[0].Options
		if options[0].Site != 7 || options[0].Structure != 0 || len(sets[0]) != len(first) {
			t.Fatalf("%+v with %d sets", options[0], len(sets[0]))
		}
	}
	assessed := func(m *risk.Measures) float64 {
		after := assess(t, with(in, 0, m))
		return saving(o, in.Structures[0].Persons, &before.Structures[0], &after.Structures[0])
	}
	for j, x := range first {
		if got := assessed(&sets[0][j].Measures); math.Abs(got-x.Saved) > 1e-9*x.Saved {
			t.Fatalf("option %d: saves %v, assessed %v", j, x.Saved, got)
		}
		if math.Abs(float64(x.Cost)-100*sets[0][j].Cost) > 1 || float64(x.Cost) < 100*sets[0][j].Cost-1e-4 {
			t.Fatalf("option %d: %d hundredths for a set that costs %v", j, x.Cost, sets[0][j].Cost)
		}
		if j > 0 && (x.Cost <= first[j-1].Cost || x.Saved <= first[j-1].Saved) {
			t.Fatalf("option %d is dominated: %+v", j, first)
		}
	}
	most := 0.0
	e := ed2.Edition{}.Evaluator(in, 0)
	measures.EverySet(&in.Costs, in.Structures[0].NaturalLPS, measures.Present(in, 0), func(m *risk.Measures, cost float64) {
		var after risk.StructureResult
		for k, total := range e.Risks(m) {
			after.Risks[k].Total = total
		}
		saved := saving(o, in.Structures[0].Persons, &before.Structures[0], &after)
		most = max(most, saved)
		for j, x := range first {
			if 100*cost < float64(x.Cost)+0.5 && saved > x.Saved*(1+1e-8) {
				t.Fatalf("option %d %+v, but %+v saves %v at %v", j, x, m, saved, cost)
			}
		}
	})
	last := 0.0
	if len(first) > 0 {
		last = first[len(first)-1].Saved
	}
	if last < most*(1-1e-8) { // the search takes the cheapest within 1e-9 of the lowest risk
		t.Fatalf("at most %v is saved, %v could be: %+v", last, most, first)
	}
}

func TestOptionsAgainstEverySet(t *testing.T) {
	for name, o := range objectives {
		t.Run(name, func(t *testing.T) {
			checkOptions(t, valued(post(1)), o)
			checkOptions(t, valued(endangered(2)), o)
			checkOptions(t, post(1), o)
			rapid.Check(t, func(t *rapid.T) { checkOptions(t, valued(drawPost(t, 1)), o) })
		})
	}
}

func TestPartialStepsAreAmongTheOptions(t *testing.T) {
	in := valued(post(3))
	before := assess(t, in)
	rec := measures.Recommend(in, &before, ed2.Edition{})
	options, _ := measures.SiteOptionsOf(0, in, &before, &rec, ed2.Edition{}, measures.ExpectedLoss)
	if len(options) != 1 || len(options[0].Options) < 3 || float64(options[0].Options[0].Cost) >= 100*rec.Set.Cost {
		t.Errorf("a set cheaper than the recommended one at %v is missing: %+v", rec.Set.Cost, options)
	}
}

func TestNothingToSave(t *testing.T) {
	for name, in := range map[string]*risk.Input{"acceptable, no values": calm(post(0)), "not assessed": notAssessed(valued(post(1)))} {
		before := assess(t, in)
		rec := measures.Recommend(in, &before, ed2.Edition{})
		for what, o := range objectives {
			if options, sets := measures.SiteOptionsOf(0, in, &before, &rec, ed2.Edition{}, o); len(options) > 0 || len(sets) > 0 {
				t.Errorf("%s, %s: %+v", name, what, options)
			}
		}
	}
}

func notAssessed(in *risk.Input) *risk.Input {
	far := in.Structures[0]
	far.ID, far.NotAssessed, far.Zones = "far", true, nil
	in.Structures = append(in.Structures, far)
	in.Lines[0].To = 1
	in.Structures[0].Zones[0].Values = risk.Values{}
	in.FlashDensity.NG = 0.01
	return in
}

func TestAtRisk(t *testing.T) {
	r := risk.StructureResult{Assessed: true}
	r.Risks[risk.HumanLife] = risk.Risk{Applies: true, Total: 1e-5, Tolerable: 1e-5}
	s := risk.Structure{Zones: []risk.Zone{{Persons: 3}, {Persons: 8}, {Persons: 5}}}
	if got := measures.AtRisk(&s, &r); got != 0 {
		t.Errorf("at the limit: %v", got)
	}
	r.Risks[risk.HumanLife].Total = 1.1e-5
	if got := measures.AtRisk(&s, &r); got != 16 {
		t.Errorf("n_t not known, n_z 3, 8 and 5: %v", got)
	}
	if got := measures.AtRisk(&risk.Structure{Zones: make([]risk.Zone, 2)}, &r); got != 1 {
		t.Errorf("nothing known: %v", got)
	}
	s.Persons = 14
	if got := measures.AtRisk(&s, &r); got != 14 {
		t.Errorf("n_t: %v", got)
	}
	r.Assessed = false
	if got := measures.AtRisk(&s, &r); got != 0 {
		t.Errorf("not assessed: %v", got)
	}
}

// TestVillageUnderABudget takes the plan of a village back into its input and assesses that: what
// the plan says is saved must be what is saved.
func TestVillageUnderABudget(t *testing.T) {
	in := valued(village())
	before := assess(t, in)
	rec := measures.Recommend(in, &before, ed2.Edition{})
	for name, o := range objectives {
		options, sets := measures.SiteOptionsOf(0, in, &before, &rec, ed2.Edition{}, o)
		last := -1.0
		for _, budget := range []int64{0, 200, 500, 1000, 2500, 6000, 20_000, 1_000_000} {
			plan := measures.Spend(budget, options, measures.DefaultEffort)
			saved := 0.0
			for i, j := range plan.Chosen {
				if j < 0 {
					continue
				}
				at := options[i].Structure
				alone := assess(t, with(in, at, &sets[i][j].Measures)) // a line's SPDs belong to its end here
				saved += saving(o, in.Structures[at].Persons, &before.Structures[at], &alone.Structures[at])
			}
			if !plan.Exact || plan.Cost > budget || math.Abs(saved-plan.Saved) > 1e-9*saved || plan.Saved < last {
				t.Errorf("%s, budget %d: %+v, assessed %v, before %v", name, budget, plan, saved, last)
			}
			last = plan.Saved
		}
		if last <= 0 {
			t.Errorf("%s: nothing is saved with all the money", name)
		}
	}
}

func BenchmarkSiteOptions(b *testing.B) {
	for _, x := range []struct {
		name string
		in   *risk.Input
	}{{"2 lines", post(2)}, {"3 lines", post(3)}, {"village", village()}, {"12 lines", calm(post(12))}} {
		in := valued(x.in)
		res := assess(b, in)
		rec := measures.Recommend(in, &res, ed2.Edition{})
		b.Run(x.name+"/recommendation", func(b *testing.B) {
			for b.Loop() {
				measures.Recommend(in, &res, ed2.Edition{})
			}
		})
		for name, o := range objectives {
			b.Run(x.name+"/"+name, func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					measures.SiteOptionsOf(0, in, &res, &rec, ed2.Edition{}, o)
				}
			})
		}
	}
}
