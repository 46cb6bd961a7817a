package measures_test

import (
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"levinward/risk"
	"levinward/risk/ed2"
	"levinward/risk/measures"
)

// By hand from the rules: what can be built at its best. Insulation of down-conductors needs some, wiring a price, and what is better
// already stays.
func TestBest(t *testing.T) {
	in := post(2)
	in.Lines[1].CoordinatedSPD = risk.SPD{Level: risk.BetterThanI, Probability: 0.002}
	one := risk.SPD{Level: risk.LevelI}
	ends := []risk.EndMeasures{{Line: 0, Bonding: one, Coordinated: one}, {Line: 1, Bonding: one, Coordinated: in.Lines[1].CoordinatedSPD}}
	both := risk.WarningNotices | risk.Insulation
	want := risk.Measures{FireProtection: risk.AutomaticFireProtection, StructureShock: risk.WarningNotices, LineShock: both,
		Wiring: risk.ShieldedWiring, Ends: ends}
	if got := measures.Best(in, 0, risk.NoLPS); !reflect.DeepEqual(got, want) {
		t.Errorf("without an LPS %+v, by hand %+v", got, want)
	}
	want.LPS, want.StructureShock = risk.LPSIV, both
	if got := measures.Best(in, 0, risk.LPSIV); !reflect.DeepEqual(got, want) {
		t.Errorf("with an LPS %+v, by hand %+v", got, want)
	}
	in.Structures[0].NaturalLPS, in.Costs.Wiring = true, nil
	for i := range in.Structures[0].Zones[0].Systems {
		in.Structures[0].Zones[0].Systems[i].Wiring = risk.LoopsAvoided - risk.Wiring(i)
	}
	want.LPS, want.Wiring = risk.NoLPS, risk.LargeLoopsAvoided // that of the worse system
	if got := measures.Best(in, 0, risk.NoLPS); !reflect.DeepEqual(got, want) {
		t.Errorf("with a frame and without a price of wiring %+v, by hand %+v", got, want)
	}
}

// Nothing that is built with a class of LPS leaves less than the best.
func TestNothingBeatsTheBest(t *testing.T) {
	check(t, func(t *rapid.T) {
		in := drawPost(t, 3)
		e := ed2.Edition{}.Evaluator(in, 0)
		p := measures.Present(in, 0)
		m := drawMeasures(t, &p)
		if m.LPS == risk.NoLPS && !in.Structures[0].NaturalLPS {
			m.StructureShock = m.StructureShock&^risk.Insulation | p.StructureShock
		}
		best := measures.Best(in, 0, m.LPS)
		a, b := e.Risks(&best), e.Risks(&m)
		for k := range a {
			if a[k] > b[k]*(1+1e-12) {
				t.Fatalf("risk %d is %v at its best, %v with %+v", k, a[k], b[k], m)
			}
		}
	})
}

// Table B.5: a measure of wiring acts on R_M as the wiring itself would, squared: K_S3 0.2 leaves 0.04, 0.01 leaves 1e-4 (from
// memory); P_M of
// one system is P_SPD P_MS, so without rounding of 1 - (1 - P) the factors are exact.
func TestWiringActsOnRMOnly(t *testing.T) {
	in := endangered(1)
	in.Structures[0].PublicSupply = risk.NoPublicSupply
	before := assess(t, in)
	rm := before.Structures[0].Risks[risk.HumanLife].Components[risk.RM]
	rest := before.Structures[0].Risks[risk.HumanLife].Total - rm
	e := ed2.Edition{}.Evaluator(in, 0)
	for w, factor := range map[risk.Wiring]float64{risk.Unrouted: 1, risk.LargeLoopsAvoided: 0.04, risk.LoopsAvoided: 1e-4,
		risk.ShieldedWiring: 1e-8} {
		m := measures.Present(in, 0)
		m.Wiring = w
		if got := e.Risks(&m)[risk.HumanLife]; !near(got, rest+rm*factor) {
			t.Errorf("%v: R_1 %v, by hand %v", w, got, rest+rm*factor)
		}
	}
}
