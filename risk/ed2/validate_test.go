package ed2_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"levinward/risk"
	"levinward/risk/ed2"
)

// bound is a number of the input with the range that is believed. The ranges are
// this project's own (no published source), but 8760 hours a year, 365 days and P_EB and P_SPD of 0.001 to
// 0.005 better than LPL I (Tables B.3 and B.7, from memory).
type bound struct {
	set       func(in *risk.Input, v float64)
	low, high float64
	pointer   string
}

var bounds = []bound{
	{func(in *risk.Input, v float64) { in.FlashDensity.NG = v }, 0.01, 100, "/flash_density/ground_flashes_per_km2_year"},
	{func(in *risk.Input, v float64) { in.FlashDensity = risk.FlashDensity{Origin: risk.DensityMap, NG: v} }, 0.01, 100, "/flash_density/map"},
	{func(in *risk.Input, v float64) {
		in.FlashDensity = risk.FlashDensity{Origin: risk.DensityThunderstormDays, ThunderstormDays: v}
	}, 0.1, 365, "/flash_density/thunderstorm_days_per_year"},
	{func(in *risk.Input, v float64) { in.Structures[0].Areas.Direct = v }, 1e-6, 1e12, "/structures/0/parts"},
	{func(in *risk.Input, v float64) { in.Structures[1].Areas.Near = v }, 1e-6, 1e12, "/structures/1/parts"},
	{func(in *risk.Input, v float64) { box(in).Length = v }, 1e-3, 10_000, "/structures/1/length_m"},
	{func(in *risk.Input, v float64) { box(in).Width = v }, 1e-3, 10_000, "/structures/1/width_m"},
	{func(in *risk.Input, v float64) { box(in).Height = v }, 1e-3, 1000, "/structures/1/height_m"},
	{func(in *risk.Input, v float64) { box(in).Protrusion = v }, 0, 1000, "/structures/1/protrusion_height_m"},
	{func(in *risk.Input, v float64) { in.Structures[0].Persons = v }, 0, 1e6, "/structures/0/persons"},
	{func(in *risk.Input, v float64) { in.Structures[0].Screen.Mesh = v }, 0, 100, "/structures/0/screen_mesh_m"},
	{func(in *risk.Input, v float64) { hall(in).Persons = v }, 0, 1e6, "/structures/0/zones/0/persons"},
	{func(in *risk.Input, v float64) { hall(in).Hours = v }, 0, 8760, "/structures/0/zones/0/hours_per_year"},
	{func(in *risk.Input, v float64) { hall(in).Screen.Mesh = v }, 0, 100, "/structures/0/zones/0/screen_mesh_m"},
	{func(in *risk.Input, v float64) { hall(in).Values.Contents = v }, 0, 1e15, "/structures/0/zones/0/values"},
	{func(in *risk.Input, v float64) { hall(in).Systems[0].Withstand = v }, 0, 1000, "/structures/0/zones/0/systems/0/withstand_kv"},
	{func(in *risk.Input, v float64) { hall(in).Losses[risk.HumanLife].LT = &v }, 0, 1, "/structures/0/zones/0/losses/loss_of_human_life/L_T"},
	{func(in *risk.Input, v float64) { hall(in).Losses[risk.PublicService].LF = &v }, 0, 1,
		"/structures/0/zones/0/losses/loss_of_public_service/L_F"},
	{func(in *risk.Input, v float64) { hall(in).Losses[risk.EconomicValue].LO = &v }, 0, 1,
		"/structures/0/zones/0/losses/loss_of_economic_value/L_O"},
	{func(in *risk.Input, v float64) { in.Lines[0].Withstand = v }, 1e-3, 1000, "/lines/0/withstand_kv"},
	{func(in *risk.Input, v float64) { in.Lines[0].Shield.Resistance = v }, 0, 1e6, "/lines/0/shield/resistance_ohm_per_km"},
	{func(in *risk.Input, v float64) { in.Lines[0].Sections[0].Length = v }, 0, 100_000, "/lines/0/sections/0/length_m"},
	{func(in *risk.Input, v float64) {
		in.Lines[0].BondingSPD = risk.SPD{Level: risk.BetterThanI, Probability: v}
	},
		0.001, 0.005, "/lines/0/bonding_spd"},
	{func(in *risk.Input, v float64) {
		in.Lines[0].CoordinatedSPD = risk.SPD{Level: risk.BetterThanI, Probability: v}
	},
		0.001, 0.005, "/lines/0/coordinated_spd"},
}

func hall(in *risk.Input) *risk.Zone { return &in.Structures[0].Zones[0] }

// box makes a box of the second structure.
func box(in *risk.Input) *risk.Structure {
	s := &in.Structures[1]
	s.Areas = risk.Areas{}
	s.Length, s.Width, s.Height = 1, 1, 1
	return s
}

func TestValidateRanges(t *testing.T) {
	for _, b := range bounds {
		for _, v := range []struct {
			value float64
			taken bool
		}{
			{b.low, true}, {b.high, true}, {(b.low + b.high) / 2, true},
			{math.Nextafter(b.low, -1), false}, {math.Nextafter(b.high, math.Inf(1)), false},
			{math.NaN(), false}, {math.Inf(1), false}, {math.Inf(-1), false},
		} {
			in := workshop()
			b.set(in, v.value)
			got := ed2.Edition{}.Validate(in)
			if v.taken {
				if len(got) > 0 {
					t.Errorf("%s: %v is refused: %v", b.pointer, v.value, got)
				}
				continue
			}
			want := risk.Violation{Rule: risk.RuleOutOfRange, Pointer: b.pointer,
				Reason: fmt.Sprintf("must be a number from %v to %v", b.low, b.high)}
			if !slices.Equal(got, []risk.Violation{want}) {
				t.Errorf("%s: %v gives %+v, want %+v", b.pointer, v.value, got, want)
			}
		}
	}
}

func TestValidateRules(t *testing.T) {
	for name, c := range map[string]struct {
		change              func(in *risk.Input)
		rule                risk.Rule
		pointer, in, clause string
	}{
		"unknown edition": {func(in *risk.Input) { in.Edition = "another" }, risk.RuleUnknownEdition, "/edition", ed2.ID, ""},
		"nothing is assessed": {func(in *risk.Input) { in.Structures[0].NotAssessed = true }, risk.RuleNothingToAssess,
			"/structures", "at least one", ""},
		"an outside zone with systems": {func(in *risk.Input) { hall(in).Place = risk.Outside }, risk.RuleNotApplicable,
			"/structures/0/zones/0/systems", "outside", "IEC 62305-2:2010 6.2"},
		"a line before the first": {func(in *risk.Input) { hall(in).Systems[0].Line = -1 }, risk.RuleUnknownReference,
			"/structures/0/zones/0/systems/0/line", "enters this structure", "IEC 62305-2:2010 6.7"},
		"a line after the last": {func(in *risk.Input) { hall(in).Systems[0].Line = 1 }, risk.RuleUnknownReference,
			"/structures/0/zones/0/systems/0/line", "enters this structure", "IEC 62305-2:2010 6.7"},
		"a line of another structure": {func(in *risk.Input) { in.Lines[0].Structure = 1 }, risk.RuleUnknownReference,
			"/structures/0/zones/0/systems/0/line", "enters this structure", "IEC 62305-2:2010 6.7"},
	} {
		in := workshop()
		c.change(in)
		got := ed2.Edition{}.Validate(in)
		if len(got) != 1 || got[0].Rule != c.rule || got[0].Pointer != c.pointer || got[0].Clause != c.clause ||
			!strings.Contains(got[0].Reason, c.in) {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// Only what a value stands for is looked at: a probability with a level that has its own, sides of a structure given by its parts.
func TestValidateLeavesOut(t *testing.T) {
	in := workshop()
	in.Lines[0].BondingSPD = risk.SPD{Level: risk.LevelI, Probability: 7}
	in.Structures[0].Length = -1
	in.Lines[0].To = 1 // a line enters both its structures
	in.Structures[1].Zones = []risk.Zone{{Systems: []risk.System{{Line: 0}}}}
	in.Structures[1].NotAssessed = false
	if got := (ed2.Edition{}).Validate(in); len(got) > 0 {
		t.Errorf("%+v", got)
	}
}

func TestValidateFindsEveryFault(t *testing.T) {
	in := workshop()
	in.Edition, in.FlashDensity.NG, in.Lines[0].Withstand, hall(in).Hours, in.Structures[0].NotAssessed = "", -1, 0, 9000, true
	var got []string
	for _, v := range (ed2.Edition{}).Validate(in) {
		got = append(got, v.Pointer)
	}
	want := []string{"/edition", "/flash_density/ground_flashes_per_km2_year", "/structures/0/zones/0/hours_per_year",
		"/structures", "/lines/0/withstand_kv"}
	if !slices.Equal(got, want) {
		t.Errorf("faults at %q, want %q", got, want)
	}
}
