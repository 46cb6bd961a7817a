package wire_test

import (
	"fmt"
	"math"
	"testing"

	"levinward/api/wire"
	"levinward/risk"
)

// Where no relation is given the one with the higher N_G is taken: 0.1 T_D (IEC 62305-2:2010, A.1) or
// 0.04 T_D^1.25 (NBR 5419-2 and others), both from secondary sources. They cross at (0.1/0.04)^4 = 39.0625 days.
func TestRelationOfThunderstormDays(t *testing.T) {
	const site = `{"name":"invented","location":{"latitude":1,"longitude":2},` +
		`"flash_density":{"thunderstorm_days_per_year":%v%s},` +
		`"structures":[{"id":"post","length_m":10,"width_m":8,"height_m":4}]}`
	for _, c := range []struct {
		days  float64
		given string
		want  risk.Relation
	}{
		{1, "", risk.Linear}, {39, "", risk.Linear}, {39.0625, "", risk.Linear}, {39.063, "", risk.Power}, {40, "",
			risk.Power}, {180, "", risk.Power},
		{180, `,"relation":"linear"`, risk.Linear}, {10, `,"relation":"power"`, risk.Power},
	} {
		in, ok := wire.Decode(fmt.Appendf(nil, site, c.days, c.given))
		if !ok {
			t.Fatalf("%v days: refused", c.days)
		}
		core := in.Core()
		d := core.Input.FlashDensity
		if d.Origin != risk.DensityThunderstormDays || d.ThunderstormDays != c.days || d.Relation != c.want {
			t.Errorf("%v days%s: %+v, want %v", c.days, c.given, d, c.want)
		}
		assumed := false
		for i := range core.Assumed {
			assumed = assumed || core.Assumed[i].Pointer() == "/flash_density/relation"
		}
		if assumed != (c.given == "") {
			t.Errorf("%v days%s: relation assumed %v", c.days, c.given, assumed)
		}
		linear, power := 0.1*c.days, 0.04*math.Pow(c.days, 1.25)
		if taken := map[risk.Relation]float64{risk.Linear: linear, risk.Power: power}[d.Relation]; c.given == "" &&
			taken < math.Max(linear, power)*(1-1e-12) {
			t.Errorf("%v days: N_G %v, the other relation gives %v", c.days, taken, math.Max(linear, power))
		}
	}
}
