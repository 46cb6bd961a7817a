package ed2

import (
	"maps"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"levinward/risk"
	"levinward/risk/trace"
)

// everything is an invented site that uses every branch of the edition but those that exclude each other.
func everything() *risk.Input {
	v := 1e-3
	own := risk.LossValues{LT: &v, LF: &v, LO: &v}
	return &risk.Input{Edition: ID, FlashDensity: risk.FlashDensity{NG: 4},
		Tolerable: [risk.Losses]float64{risk.HumanLife: 1e-4, risk.PublicService: 1e-4, risk.CulturalHeritage: 1e-4, risk.EconomicValue: 1e-4},
		Structures: []risk.Structure{
			{ID: "clinic", Length: 15, Width: 20, Height: 6, Surroundings: risk.Isolated, Occupancy: risk.Hospital, Persons: 5, Users: 6,
				FailureEndangersLife: true,
				PublicSupply:         risk.PowerGasWater, CulturalHeritage: true, Zones: []risk.Zone{
					{ID: "ward", Persons: 5, Hours: 8760, Surface: risk.Linoleum, FireRisk: risk.LowFireRisk, Systems: []risk.System{{Line: 0}, {Line: 1, Withstand: 1.5}}, Values: risk.Values{Animals: 1, Building: 2, Contents: 3, Systems: 4}},
					{ID: "store", Persons: 1, Hours: 8760, Surface: risk.Linoleum, FireRisk: risk.LowFireRisk, Screen: risk.Screen{Present: true, Mesh: 5},
						StructureShock: risk.WarningNotices | risk.Insulation, LineShock: risk.WarningNotices, Systems: []risk.System{{Line: 0},
							{Line: 1, Withstand: 1.5}},
						Values: risk.Values{Animals: 1},
						Losses: [risk.Losses]risk.LossValues{own, own, own, own}},
					{ID: "yard", Place: risk.Outside, Persons: 1, Hours: 8760, Surface: risk.Gravel},
				}},
			{ID: "mast", Length: 5, Width: 5, Height: 5, Protrusion: 30, LPS: risk.LPSI, Surroundings: risk.Hilltop,
				Explosion: risk.Explosion1, Screen: risk.Screen{Present: true, Mesh: 0.5},
				Zones: []risk.Zone{{ID: "hut", Hours: 8760, Systems: []risk.System{{Line: 1, Wiring: risk.LoopsAvoided}}}}},
		},
		Lines: []risk.Line{
			{ID: "supply", To: -1, Withstand: 2.5, Sections: []risk.Section{{Installation: risk.Buried, Length: 1000}, {Length: 300, Service: risk.HighVoltage}}},
			{ID: "data", To: 1, Withstand: 1.5, Service: risk.Telecom, Sections: []risk.Section{{Length: 1000, Service: risk.Telecom}},
				Shield:     risk.Shield{Type: risk.Shielded, Bonded: true, Resistance: 3},
				BondingSPD: risk.SPD{Level: risk.BetterThanI, Probability: 0.002}, CoordinatedSPD: risk.SPD{Level: risk.LevelII}},
		},
	}
}

func assess(t testing.TB, in *risk.Input) (risk.Result, *trace.Trace) {
	t.Helper()
	if v := (Edition{}).Validate(in); len(v) > 0 {
		t.Fatalf("invalid input: %v", v)
	}
	tr := trace.New(500)
	r, err := Edition{}.Assess(in, tr)
	if err != nil {
		t.Fatal(err)
	}
	return r, tr
}

// variants of everything that take the branches which exclude each other.
func variants() []*risk.Input {
	days, power, mapped, sheet := everything(), everything(), everything(), everything()
	days.FlashDensity = risk.FlashDensity{Origin: risk.DensityThunderstormDays, ThunderstormDays: 60}
	power.FlashDensity = risk.FlashDensity{Origin: risk.DensityThunderstormDays, ThunderstormDays: 60, Relation: risk.Power}
	mapped.FlashDensity.Origin = risk.DensityMap
	sheet.Structures[0].Screen = risk.Screen{Present: true}
	sheet.Structures[0].LPS = risk.LPSINaturalFrame
	sheet.Lines[0].CoordinatedSPD = risk.SPD{Level: risk.BetterThanI, Probability: 0.003}
	typical := everything() // typical limits, and heritage without values
	typical.Tolerable = [risk.Losses]float64{}
	bare := everything()
	for z := range bare.Structures[0].Zones {
		bare.Structures[0].Zones[z].Values = risk.Values{}
	}
	drawn := everything() // areas and length from geometry, lines on one route
	drawn.Structures[0].Areas = risk.Areas{Given: true, Direct: 5000, Near: 800000, Parts: 2}
	drawn.Lines[0].Sections[0].Drawn = true
	drawn.Lines[0].SharedRoute, drawn.Lines[1].SharedRoute = "pole line", "pole line"
	herd := everything() // animals outside, and inside no failure that endangers life
	herd.Structures[0].Zones[2].Values.Animals = 5
	herd.Structures[0].Zones[0].Values.Animals = 0
	herd.Structures[0].FailureEndangersLife = false
	return []*risk.Input{everything(), days, power, mapped, sheet, typical, bare, drawn, herd}
}

func TestFormulasAgreeWithRecordedValues(t *testing.T) {
	for _, in := range variants() {
		_, tr := assess(t, in)
		if err := tr.Check(); err != nil {
			t.Error(err)
		}
	}
}

func TestEveryQuantityIsUsed(t *testing.T) {
	used := map[*trace.Quantity]bool{}
	for _, in := range variants() {
		_, tr := assess(t, in)
		Edition{}.CostOfLoss(1e-3, 1e-4, 1e6, 1e3, 0.15, tr)
		for i := range tr.Steps {
			used[tr.Steps[i].Quantity] = true
		}
	}
	for _, q := range quantities {
		if !used[q] {
			t.Errorf("%s (%s) is never recorded", q.Symbol, q.Name)
		}
	}
}

var index = regexp.MustCompile(`/\d+`)

func TestReadsAreTheFieldsOfTheTrace(t *testing.T) {
	found := map[string]bool{}
	for _, in := range variants() {
		_, tr := assess(t, in)
		for i := range tr.Steps {
			if p := tr.Pointer(i); p != "" {
				found[index.ReplaceAllString(p, "/*")] = true
			}
		}
	}
	for _, p := range branching {
		found[p] = true
	}
	got := slices.Sorted(maps.Keys(found))
	want := slices.Sorted(slices.Values(Edition{}.Reads()))
	if !slices.Equal(got, want) {
		t.Errorf("fields in the trace:\n%s\nfields declared:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func BenchmarkAssess(b *testing.B) {
	in := everything()
	b.Run("result", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			Edition{}.Assess(in, nil)
		}
	})
	b.Run("worksheet", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			Edition{}.Assess(in, trace.New(500))
		}
	})
	b.Run("evaluator", func(b *testing.B) {
		b.ReportAllocs()
		e := Edition{}.Evaluator(in, 0)
		for b.Loop() {
			e.Risks(&none)
		}
	})
}

func TestLinesOnOneRouteCountOnce(t *testing.T) {
	apart := everything()
	together := everything()
	together.Lines[0].SharedRoute, together.Lines[1].SharedRoute = "pole line", "pole line"
	a, _ := assess(t, apart)
	b, _ := assess(t, together)
	// IEC 62305-2:2010, clause 6.4 (secondary source): only the line with the worst characteristics is to be considered.
	alone := everything()
	alone.Structures[0].Zones[0].Systems = alone.Structures[0].Zones[0].Systems[:1]
	alone.Structures[0].Zones[1].Systems = alone.Structures[0].Zones[1].Systems[:1]
	c, _ := assess(t, alone)
	got, want := b.Structures[0].Risks[risk.HumanLife].Components, c.Structures[0].Risks[risk.HumanLife].Components
	for _, k := range []risk.Component{risk.RU, risk.RV, risk.RW, risk.RZ} {
		if got[k] != want[k] || got[k] > a.Structures[0].Risks[risk.HumanLife].Components[k] {
			t.Errorf("%v: together %v, the worse line alone %v, apart %v", k, got[k], want[k], a.Structures[0].Risks[risk.HumanLife].Components[k])
		}
	}
}

// The worked example of a trade handbook (read in a secondary source): expected loss of 7 500 a year
// unprotected (500 000 x 0.015), measures of 10 000 with 5 % each for interest, amortization and
// maintenance, remaining loss of 1 100; saving 4 900.
func TestPublishedCostOfLoss(t *testing.T) {
	tr := trace.New(16)
	c := Edition{}.CostOfLoss(0.015, 1100.0/500_000, 500_000, 10_000, 0.05+0.05+0.05, tr)
	for name, v := range map[string][2]float64{"C_L": {c.Without, 7500}, "C_PM": {c.Measures, 1500}, "C_RL": {c.With, 1100},
		"S_M": {c.Saving, 4900}} {
		if math.Abs(v[0]-v[1]) > 1e-9*v[1] {
			t.Errorf("%s is %v, printed %v", name, v[0], v[1])
		}
	}
	if err := tr.Check(); err != nil {
		t.Error(err)
	}
}

// The complex building of Annex A (from memory of the standard, not checked against a copy): 70 m x 30 m, 40 m and
// 25 m high. The printed areas differ from the formulas in the last figures.
func TestPublishedCollectionAreas(t *testing.T) {
	for _, c := range []struct {
		name               string
		height, protrusion float64
		printed, off       float64
	}{
		{"box of 40 m", 40, 0, 71_316, 25},
		{"box of 25 m", 25, 0, 34_770, 2},
		{"box of 25 m with the 40 m protrusion", 25, 40, 45_240, 2},
	} {
		in := everything()
		s := &in.Structures[0]
		s.Length, s.Width, s.Height, s.Protrusion = 70, 30, c.height, c.protrusion
		r, _ := assess(t, in)
		if got := r.Structures[0].DirectArea; math.Abs(got-c.printed) > c.off {
			t.Errorf("%s: A_D %v, printed %v", c.name, got, c.printed)
		}
	}
}
