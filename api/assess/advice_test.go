package assess_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"levinward/api/wire"
	"levinward/risk"
)

// healthPost is an invented health post without operating theatre, 22 m x 10 m, N_G 12, with array, battery and generator.
func healthPost(occupancy string) document {
	line := func(id string, length float64, electrical document) any {
		return document{"id": id, "structure": "post", "installation": "buried", "length_m": length, "electrical": electrical}
	}
	return document{"name": "Invented health post", "location": document{"latitude": -3.0, "longitude": 36.0},
		"flash_density": document{"ground_flashes_per_km2_year": 12.0},
		"structures":    []any{document{"id": "post", "length_m": 22.0, "width_m": 10.0, "height_m": 5.0, "occupancy": occupancy}},
		"lines": []any{
			line("array", 15, document{"current": "dc", "origin": "photovoltaic", "open_circuit_v": 120.0}),
			line("battery", 5, document{"current": "dc", "origin": "battery", "nominal_v": 48.0}),
			line("generator", 15, document{"current": "ac", "system": "TN-S"}),
		}}
}

// By the clauses: R_M of wiring with loops of 50 m2 (K_S3 = 1, Table B.5, from memory) is what no SPD brings down far enough: A_M =
// 2 x 500 x
// 32 + pi 500^2 = 817 398 m2, N_M = 12 x 0.817398 = 9.8088 a year, P_M of the coordinated SPDs for LPL I at most 0.01 each with U_W below
// 1 kV, so that R_M is about 9.8 x (1 - 0.99^2) x 1e-3 = 2e-4, twenty times R_T. With loops of 0.5 m2 (K_S3 = 0.01) P_MS falls by 1e-4 and
// other measures suffice.
func TestWiringLetsAHealthPostSuffice(t *testing.T) {
	doc := healthPost("hospital")
	answer := run(t, doc)
	rec := &answer.result.Recommendation
	post := &rec.Measures.Structures[0]
	if !rec.Sufficient || post.Wiring == nil || *post.Wiring < risk.LargeLoopsAvoided || post.FireProtection == risk.AutomaticFireProtection {
		t.Fatalf("sufficient %v, cost %v, %+v", rec.Sufficient, rec.Cost, post)
	}
	prices := document{"currency": "XTS", "lps": document{"IV": 20, "III": 25, "II": 35, "I": 50},
		"bonding_spd":     document{"III-IV": 1, "II": 1.5, "I": 2},
		"coordinated_spd": document{"III-IV": 2, "II": 2.5, "I": 3}, "fire_protection": document{"manual": 2, "automatic": 30},
		"warning_notices": 0.5, "insulation": 5}
	doc["measure_costs"] = prices
	without := run(t, doc)
	if r := &without.result.Recommendation; r.Sufficient || *r.Measures.Structures[0].Wiring != risk.Unrouted {
		t.Errorf("without a price of wiring: %+v", r.MeasureSet)
	}
	prices["wiring"] = document{"large_loops_avoided": 3, "loops_avoided": 6, "shielded": 15} // the relative scale, written out
	priced := run(t, doc)
	if r := &priced.result.Recommendation; r.Cost != rec.Cost || !r.Sufficient {
		t.Errorf("the same prices in money: cost %v, relative %v", r.Cost, rec.Cost)
	}
	// What decides first is whether failures endanger life (clause 4.3): without, R_1 has neither C, M, W nor Z.
	d := rec.Deciding
	if d == nil || d.Pointer != "/structures/0/failure_endangers_life" || d.Value != "true" || d.Instead != "false" || d.Structure != "post" ||
		!d.SufficientInstead || d.CostInstead >= d.Cost || d.Cost != rec.Cost {
		t.Fatalf("what decides first: %+v", d)
	}
	doc = healthPost("hospital")
	put(doc, "/structures/0/failure_endangers_life", false)
	other := run(t, doc)
	if r := &other.result.Recommendation; r.Cost != d.CostInstead {
		t.Errorf("without danger to life measures cost %v, told %v", r.Cost, d.CostInstead)
	}
	clinic := run(t, healthPost("clinic")) // the same rows of Tables C.2 and C.12, and failures do not endanger life unless stated
	if r := &clinic.result.Recommendation; r.Cost != d.CostInstead {
		t.Errorf("as a clinic measures cost %v, as a hospital without danger to life %v", r.Cost, d.CostInstead)
	}
}

// Each occupancy that no printed table names is ruled as the nearest that one does (common practice, no published source).
func TestOccupanciesOfTheNearestRow(t *testing.T) {
	for occupancy, nearest := range map[string]string{"clinic": "hospital", "boarding_school": "hotel", "workshop": "industrial",
		"telecom_hut": "industrial", "pump_house": "industrial", "market_hall": "entertainment"} {
		one, two := healthPost(occupancy), healthPost(nearest)
		for _, doc := range []document{one, two} {
			put(doc, "/structures/0/failure_endangers_life", true)
		}
		a, b := run(t, one), run(t, two)
		if got, want := a.result.Structures[0].Risks.HumanLife.Total, b.result.Structures[0].Risks.HumanLife.Total; got != want {
			t.Errorf("%s: R_1 %v, as %s %v", occupancy, got, nearest, want)
		}
		if risk.NearestOccupancy(a.Input.Structures[0].Occupancy) != b.Input.Structures[0].Occupancy {
			t.Errorf("%s is not nearest to %s", occupancy, nearest)
		}
	}
	if risk.NearestOccupancy(risk.School) != risk.School {
		t.Error("a school is a school")
	}
}

// No set of measures insulates down-conductors that are not there, and every set that does comes with an LPS or a frame that acts as one.
func TestNothingInsulatesWithoutDownConductors(t *testing.T) {
	insulated := 0
	rapid.Check(t, func(t *rapid.T) {
		s := run(t, drawSite(t))
		for _, set := range append([]wire.MeasureSet{s.result.Recommendation.MeasureSet}, s.result.Recommendation.Alternatives...) {
			for _, m := range set.Measures.Structures {
				i := slices.IndexFunc(s.Input.Structures, func(x risk.Structure) bool { return x.ID == m.ID })
				in := &s.Input.Structures[i]
				given := slices.ContainsFunc(in.Zones, func(z risk.Zone) bool { return z.StructureShock&risk.Insulation != 0 })
				if given || !slices.Contains(m.StructureShock, "insulation") {
					continue
				}
				insulated++
				if m.LPS == risk.NoLPS && !in.NaturalLPS {
					t.Fatalf("%s: insulation without an LPS: %+v", m.ID, m)
				}
			}
		}
	})
	t.Logf("%d sets insulate", insulated)
}

// change puts a change into the input as a client would.
func change(doc document, c *wire.Change) {
	for _, st := range doc["structures"].([]any) {
		st := st.(document)
		if st["id"] != c.Structure {
			continue
		}
		if c.Kind == risk.ScreenStructure {
			st["screen_mesh_m"] = 2.0
		}
		for _, z := range st["zones"].([]any) {
			if z := z.(document); z["id"] == c.Zone && c.Kind == risk.LessFireLoad {
				z["fire_risk"] = map[any]any{"high": "ordinary", "ordinary": "low", nil: "low"}[z["fire_risk"]]
			}
		}
	}
	for _, l := range doc["lines"].([]any) {
		l := l.(document)
		if l["id"] != c.Line {
			continue
		}
		switch c.Kind {
		case risk.ShieldLine:
			l["shield"] = document{"type": "shielded", "bonded": true, "resistance_ohm_per_km": 5.0}
		case risk.IsolateLine:
			l["shield"] = document{"type": "isolating_interface"}
		case risk.BuryLine:
			bury(l)
		}
	}
}

// bury buries every part of a line; where nothing is stated it is aerial.
func bury(l document) {
	parts := []any{l}
	if sections, ok := l["sections"].([]any); ok {
		parts = sections
	}
	for _, p := range parts {
		if p := p.(document); p["installation"] == nil || p["installation"] == "aerial" {
			p["installation"] = "buried"
		}
	}
}

// What a change is said to leave on top of the measures is what the input with both gives, less than the measures alone leave, and
// the list begins with the change that leaves least.
func TestChangesHold(t *testing.T) {
	listed := map[risk.ChangeKind]int{}
	rapid.Check(t, func(t *rapid.T) {
		doc := drawSite(t)
		s := run(t, doc)
		doc = writtenOut(doc, &s)
		rec := &s.result.Recommendation
		margin := map[string]float64{}
		for i := range rec.Changes {
			c := &rec.Changes[i]
			listed[c.Kind]++
			m := slices.IndexFunc(rec.Measures.Structures, func(m wire.StructureMeasures) bool { return m.ID == c.Structure })
			changed := withMeasures(doc, &rec.MeasureSet, &rec.Measures.Structures[m])
			change(changed, c)
			after := run(t, changed)
			for j := range after.result.Structures {
				if after.result.Structures[j].ID != c.Structure {
					continue
				}
				for k := range risk.Loss(risk.Losses) {
					got, want := after.result.Structures[j].Risks.Of(k), c.RisksAfter.Of(k)
					if (got == nil) != (want == nil) || got != nil && math.Abs(got.Total-*want) > 1e-12**want {
						t.Fatalf("%+v: %s is told to become %v, and becomes %v", c, k, want, got)
					}
				}
			}
			left := math.Inf(1)
			if c.LeastMargin != nil {
				left = *c.LeastMargin
			}
			if last, there := margin[c.Structure]; there && left > last*(1+1e-9) {
				t.Fatalf("not sorted: %v after %v", left, last)
			}
			margin[c.Structure] = left
			if before := rec.Margins[c.Structure]; left <= leastOf(&before) {
				t.Fatalf("%+v lowers nothing: margin %v, without it %v", c, left, leastOf(&before))
			}
		}
	})
	for kind := range risk.LessFireLoad + 1 {
		if listed[kind] == 0 {
			t.Errorf("%s was never listed", kind)
		}
	}
}

func leastOf(m *wire.RemainingMargin) float64 {
	least := math.Inf(1)
	for k := range risk.Loss(risk.Losses) {
		if one := m.Of(k); one != nil && one.Times != nil {
			least = min(least, *one.Times)
		}
	}
	return least
}

// What is said of the value that decides first is what the input with it gives, and it is better than what was taken.
func TestDecidingAssumptionHolds(t *testing.T) {
	found := 0
	rapid.Check(t, func(t *rapid.T) {
		doc := drawSite(t)
		s := run(t, doc)
		doc = writtenOut(doc, &s)
		rec := &s.result.Recommendation
		d := rec.Deciding
		if d == nil {
			return
		}
		found++
		if !(d.SufficientInstead && (!d.Sufficient || d.CostInstead < d.Cost) || !d.Sufficient && !d.SufficientInstead) {
			t.Fatalf("%+v is no better", d)
		}
		changed := copyOf(doc)
		putPlausible(changed, d.Pointer, d.Instead)
		other := run(t, changed)
		if !d.SufficientInstead || !other.result.Recommendation.Sufficient {
			return // other structures may need more than there is
		}
		for _, m := range other.answer.Recommendation.Set.Structures {
			if other.Input.Structures[m.Structure].ID == d.Structure && math.Abs(m.Cost-d.CostInstead) > 1e-9*m.Cost {
				t.Fatalf("%+v: measures cost %v", d, m.Cost)
			}
		}
	})
	if found == 0 {
		t.Error("no assumption decides anything")
	}
}

// A recommended LPS of class IV at a box of 22 m x 10 m: 64 m around, 64/20 = 3.2, so 4 down-conductors of 5 m; l_1 5 m
// (see package earth for the sources).
func TestRecommendedLPSSaysWhatItEntails(t *testing.T) {
	s := run(t, healthPost("hospital"))
	m := &s.result.Recommendation.Measures.Structures[0]
	if m.LPS != risk.LPSIV || m.LPSWork == nil || m.LPSWork.DownConductors != 4 || m.LPSWork.DownLength != 20 || m.LPSWork.Horizontal != 5 ||
		m.LPSWork.Section != 50 || m.LPSWork.SoilStated {
		t.Errorf("class %v: %+v", m.LPS, m.LPSWork)
	}
	doc := healthPost("hospital")
	put(doc, "/structures/0/lps", "I")
	if s = run(t, doc); s.result.Recommendation.Measures.Structures[0].LPSWork != nil {
		t.Error("an LPS that is there already entails nothing")
	}
}
