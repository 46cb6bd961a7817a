package ed2_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"levinward/risk"
	"levinward/risk/ed2"
	"levinward/risk/trace"
)

// near reports whether two values agree; failure probabilities of 1 - prod(1 - P) lose digits below 1e-15.
func near(a, b float64) bool {
	return math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), math.Abs(b))+1e-13
}

func assess(t rapid.TB, in *risk.Input) (risk.Result, *trace.Trace) {
	t.Helper()
	if v := (ed2.Edition{}).Validate(in); len(v) > 0 {
		t.Fatalf("invalid input: %v", v)
	}
	sheet := trace.New(500)
	r, err := ed2.Edition{}.Assess(in, sheet)
	if err != nil {
		t.Fatal(err)
	}
	return r, sheet
}

// TestAgreesWithSecondComputation compares everything that the edition computes with
// plain formulas, for sites drawn at random over all fields.
func TestAgreesWithSecondComputation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := sites().Draw(t, "site")
		r, sheet := assess(t, in)
		if err := sheet.Check(); err != nil {
			t.Fatal(err)
		}
		compareSite(t, in, &r)
		for i := range in.Structures {
			if !in.Structures[i].NotAssessed {
				compareEvaluator(t, in, i, &r.Structures[i])
			}
		}
	})
}

func compareSite(t rapid.TB, in *risk.Input, r *risk.Result) {
	t.Helper()
	x := second{in}
	compare(t, "N_G", r.NG, x.ng())
	for i := range in.Structures {
		want := risk.StructureResult{Events: x.structure(i)}
		if !in.Structures[i].NotAssessed {
			want = x.result(i)
		}
		compareStructure(t, fmt.Sprintf("structure %d", i), &r.Structures[i], &want)
	}
	for l := range in.Lines {
		line, got, at := &in.Lines[l], &r.Lines[l], fmt.Sprintf("line %d", l)
		compareEvents(t, at, got.Events, x.line(l))
		wantNear, wantFar := x.adjacent(l, line.Structure), 0.0
		if in.Structures[line.Structure].NotAssessed {
			wantNear = 0
		}
		if line.To >= 0 && !in.Structures[line.To].NotAssessed {
			wantFar = x.adjacent(l, line.To)
		}
		compare(t, at+" N_DJ", got.AdjacentStructure, wantNear)
		compare(t, at+" N_DJ at the far end", got.AdjacentAtFar, wantFar)
	}
}

func compareStructure(t rapid.TB, at string, got, want *risk.StructureResult) {
	t.Helper()
	compareEvents(t, at, got.Events, want.Events)
	if got.Assessed != want.Assessed {
		t.Fatalf("%s: assessed %v", at, got.Assessed)
	}
	compare(t, at+" failures", got.SystemFailures, want.SystemFailures)
	compare(t, at+" c_t", got.TotalValue, want.TotalValue)
	for k := range risk.Loss(risk.Losses) {
		g, w := &got.Risks[k], &want.Risks[k]
		here := fmt.Sprintf("%s %v", at, k)
		if g.Applies != w.Applies || len(g.Zones) != len(w.Zones) {
			t.Fatalf("%s: applies %v, %d zones; want %v, %d", here, g.Applies, len(g.Zones), w.Applies, len(w.Zones))
		}
		compare(t, here, g.Total, w.Total)
		compare(t, here+" R_T", g.Tolerable, w.Tolerable)
		for c := range risk.Components {
			compare(t, here+" "+c.String(), g.Components[c], w.Components[c])
		}
		for z := range g.Zones {
			compare(t, fmt.Sprintf("%s zone %d", here, z), g.Zones[z].Total, w.Zones[z].Total)
			for c := range risk.Components {
				compare(t, fmt.Sprintf("%s zone %d %v", here, z, c), g.Zones[z].Components[c], w.Zones[z].Components[c])
			}
		}
	}
}

func compareEvents(t rapid.TB, at string, got, want risk.Events) {
	t.Helper()
	compare(t, at+" area of flashes to", got.DirectArea, want.DirectArea)
	compare(t, at+" area of flashes near", got.NearArea, want.NearArea)
	compare(t, at+" flashes to", got.Direct, want.Direct)
	compare(t, at+" flashes near", got.Near, want.Near)
}

func compare(t rapid.TB, what string, got, want float64) {
	t.Helper()
	if !near(got, want) {
		t.Fatalf("%s is %v, by the second computation %v", what, got, want)
	}
}

// compareEvaluator holds an evaluator, under several measures in turn, against a site where they are built in.
func compareEvaluator(t *rapid.T, in *risk.Input, i int, unchanged *risk.StructureResult) {
	t.Helper()
	e := ed2.Edition{}.Evaluator(in, i)
	sets := []risk.Measures{measureSets(in, i).Draw(t, "measures"), measureSets(in, i).Draw(t, "measures"), {}}
	for s := range sets {
		got := e.Risks(&sets[s])
		want := second{with(in, i, &sets[s])}.result(i)
		for k := range risk.Loss(risk.Losses) {
			compare(t, fmt.Sprintf("structure %d %v under %+v", i, k, sets[s]), got[k], want.Risks[k].Total)
		}
	}
	for k, v := range e.Risks(&risk.Measures{}) {
		compare(t, "unchanged", v, unchanged.Risks[k].Total)
	}
}

// from draws one of the named values of a type, in order.
func from[T any](t *rapid.T, what string, values ...T) T {
	return rapid.SampledFrom(values).Draw(t, what)
}

// upTo draws a named value from the first to the last.
func upTo[T ~uint8](t *rapid.T, what string, last T) T {
	return T(rapid.Uint8Range(0, uint8(last)).Draw(t, what))
}

func float(t *rapid.T, what string, low, high float64) float64 {
	return rapid.Float64Range(low, high).Draw(t, what)
}

func flag(t *rapid.T, what string) bool { return rapid.Bool().Draw(t, what) }

// sites draws whole sites over every field that the edition reads.
func sites() *rapid.Generator[*risk.Input] {
	return rapid.Custom(func(t *rapid.T) *risk.Input {
		in := &risk.Input{Edition: ed2.ID, FlashDensity: risk.FlashDensity{
			Origin: upTo(t, "origin", risk.DensityMap), NG: float(t, "N_G", 0.1, 40),
			ThunderstormDays: float(t, "T_D", 1, 200), Relation: upTo(t, "relation", risk.Power)}}
		in.Costs.Money = flag(t, "costs in money")
		for k := range in.Tolerable {
			in.Tolerable[k] = from(t, "R_T", 0, 0, 2e-5, 3e-4)
		}
		structures := rapid.IntRange(1, 3).Draw(t, "structures")
		for l := range rapid.IntRange(0, 4).Draw(t, "lines") {
			if l > 0 && rapid.IntRange(0, 5).Draw(t, "again") == 0 {
				in.Lines = append(in.Lines, in.Lines[l-1]) // lines that are alike
				continue
			}
			in.Lines = append(in.Lines, line(t, structures))
		}
		for i := range structures {
			s := structure(t, in, i)
			s.NotAssessed = i > 0 && flag(t, "not assessed")
			in.Structures = append(in.Structures, s)
		}
		return in
	})
}

func line(t *rapid.T, structures int) risk.Line {
	l := risk.Line{Structure: rapid.IntRange(0, structures-1).Draw(t, "structure"), To: -1, Service: upTo(t, "service", risk.Telecom)}
	if to := rapid.IntRange(-1, structures-1).Draw(t, "to"); to != l.Structure {
		l.To = to
	}
	for range rapid.IntRange(1, 3).Draw(t, "sections") {
		l.Sections = append(l.Sections, risk.Section{
			Installation: upTo(t, "installation", risk.BuriedInEarthMesh), Length: float(t, "length", 10, 3000), Drawn: flag(t, "drawn"),
			Environment: upTo(t, "environment", risk.UrbanTall), Service: upTo(t, "service", risk.Telecom)})
	}
	l.Shield = risk.Shield{Type: upTo(t, "shield", risk.IsolatingInterface), Bonded: flag(t, "bonded"),
		Resistance: from(t, "R_S", 0, 0.5, 1, 1.001, 4, 5, 5.001, 12, 20, 20.001, 50)}
	l.Withstand = withstand(t)
	l.BondingSPD, l.CoordinatedSPD = spd(t), spd(t)
	l.SharedRoute = from(t, "route", "", "", "pole line", "trench")
	return l
}

func withstand(t *rapid.T) float64 {
	return from(t, "U_W", 0.4, 0.99, 1, 1.2, 1.5, 2, 2.5, 3.9, 4, 5.5, 6, 9)
}

func spd(t *rapid.T) risk.SPD {
	s := risk.SPD{Level: upTo(t, "level", risk.BetterThanI)}
	if s.Level == risk.BetterThanI {
		s.Probability = from(t, "probability", 0.001, 0.002, 0.005)
	}
	return s
}

func screen(t *rapid.T) risk.Screen {
	return risk.Screen{Present: flag(t, "screen"), Mesh: from(t, "mesh", 0, 0.1, 2, 8, 9, 20)}
}

func structure(t *rapid.T, in *risk.Input, i int) risk.Structure {
	s := risk.Structure{ID: fmt.Sprint("structure-", i), Surroundings: upTo(t, "surroundings", risk.Hilltop),
		Occupancy: upTo(t, "occupancy", risk.PumpHouse), LPS: upTo(t, "lps", risk.LPSIFullCover), NaturalLPS: flag(t, "natural"),
		Screen: screen(t), FailureEndangersLife: flag(t, "life"), PublicSupply: upTo(t, "supply", risk.TVTelecom),
		Explosion:        from(t, "explosion", 0, 0, 0, risk.Explosion0, risk.Explosion1, risk.Explosion2),
		CulturalHeritage: flag(t, "heritage"), Persons: from(t, "n_t", 0, 0, 7, 120.0)}
	if flag(t, "parts") {
		s.Areas = risk.Areas{Given: true, Direct: float(t, "A_D", 100, 1e5), Near: float(t, "A_M", 1e5, 2e6), Parts: 2}
	} else {
		s.Length, s.Width, s.Height = float(t, "L", 2, 200), float(t, "W", 2, 200), float(t, "H", 2, 60)
		s.Protrusion = from(t, "H_P", 0, 0, 5, 70.0)
	}
	if s.Persons > 0 {
		s.Users = from(t, "n_u", 0, 0, 2.5*s.Persons)
	}
	for range rapid.IntRange(1, 3).Draw(t, "zones") {
		s.Zones = append(s.Zones, zone(t, in, i))
	}
	return s
}

func zone(t *rapid.T, in *risk.Input, i int) risk.Zone {
	z := risk.Zone{Place: from(t, "place", risk.Inside, risk.Inside, risk.Outside), Persons: float(t, "n_z", 0, 100),
		Hours: float(t, "t_z", 0, 8760), Surface: upTo(t, "surface", risk.Wood), StructureShock: shock(t), LineShock: shock(t),
		FireRisk:       upTo(t, "fire", risk.HighFireRisk),
		FireProtection: upTo(t, "provisions", risk.AutomaticFireProtection), SpecialHazard: upTo(t, "hazard", risk.HighPanic), Screen: screen(t)}
	var ends []int
	for l := range in.Lines {
		if in.Lines[l].Structure == i || in.Lines[l].To == i {
			ends = append(ends, l)
		}
	}
	if z.Place == risk.Inside && len(ends) > 0 {
		for range rapid.IntRange(0, 3).Draw(t, "systems") {
			z.Systems = append(z.Systems, risk.System{Line: from(t, "line", ends...), Wiring: upTo(t, "wiring", risk.ShieldedWiring),
				Withstand: from(t, "own U_W", 0, 0, withstand(t))})
		}
	}
	for k := range z.Losses {
		z.Losses[k] = risk.LossValues{LT: own(t), LF: own(t), LO: own(t)}
	}
	if flag(t, "values") {
		amount := func(what string) float64 { return from(t, what, 0, float(t, what, 1, 1e6)) }
		z.Values = risk.Values{Animals: amount("c_a"), Building: amount("c_b"), Contents: amount("c_c"), Systems: amount("c_s")}
	}
	return z
}

func own(t *rapid.T) *float64 {
	if flag(t, "typical loss") {
		return nil
	}
	v := float(t, "loss", 1e-4, 1)
	return &v
}

func shock(t *rapid.T) risk.ShockMeasures {
	set := risk.ShockMeasures(0)
	for _, m := range []risk.ShockMeasures{risk.WarningNotices, risk.Insulation, risk.SoilEquipotentialization} {
		if flag(t, "measure") {
			set |= m
		}
	}
	return from(t, "restricted", set, set, set, set|risk.PhysicalRestriction)
}

// measureSets draws measures of structure i; a set better than LPL I replaces one there may be.
func measureSets(in *risk.Input, i int) *rapid.Generator[risk.Measures] {
	return rapid.Custom(func(t *rapid.T) risk.Measures {
		m := risk.Measures{LPS: upTo(t, "lps", risk.LPSIFullCover), FireProtection: upTo(t, "provisions", risk.AutomaticFireProtection),
			StructureShock: shock(t), LineShock: shock(t)}
		for l := range in.Lines {
			if slices.Contains([]int{in.Lines[l].Structure, in.Lines[l].To}, i) && flag(t, "end") {
				m.Ends = append(m.Ends, risk.EndMeasures{Line: l, Bonding: spd(t), Coordinated: spd(t)})
			}
		}
		return m
	})
}
