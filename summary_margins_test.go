package main

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"levinward/api/wire"
)

// A risk next to its limit is called what it is: 9.998e-6 of 1e-5 is 0.02 % below. By hand.
func TestMarginInWords(t *testing.T) {
	for _, c := range []struct {
		total float64
		want  string
	}{
		{9.998e-6, "is 0.02 % below the limit"}, {1e-5, "is just at the limit"}, {1.0002e-5, "is 0.02 % above the limit"},
		{3e-4, "is 30 times the limit"}, {2.5056e-5, "is 2.5 times the limit"}, {1.5e-5, "is 50 % above the limit"},
		{6e-6, "is 40 % below the limit"}, {1.2e-6, "is 12 % of the limit"}, {1e-9, "is 0.01 % of the limit"},
		{1.1083e-2, "is 1\u2009100 times the limit"},
	} {
		if got := margin(1e-5 / c.total); got != c.want {
			t.Errorf("%v: %q, want %q", c.total, got, c.want)
		}
	}
}

// The hut of exceedance_test.go: R_1 = 4.542513e-6 against 4e-6 at N_G 4. R is proportional to N_G
// (IEC 62305-2:2010, Annex A), so it reaches
// the limit at 4 x 4/4.542513 = 3.522279. s = 5 exceeds N_G: no probability, but the upper bound 4 e^(1.645 sqrt(ln(1 + 25/16))) =
// 4 e^(1.645 x 0.970043) = 4 x 4.931884 = 19.7275, where R_1 is
// 4.931884 x 4.542513e-6 = 2.24031e-5 (rule: common practice, no published source).
func TestMarginsOfAnAnswer(t *testing.T) {
	answer, err := compute([]byte(hut), nil, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	r := answer.Structures[0].Risks.HumanLife
	if math.Abs(*r.Times-4/4.542513) > 1e-6 || math.Abs(*r.FlipsAt-3.522279) > 1e-5 {
		t.Errorf("margin %v, flips at %v", *r.Times, *r.FlipsAt)
	}
	set := &answer.Recommendation
	left := set.RisksAfter["hut"].HumanLife
	m := set.Margins["hut"]
	if got := m.Of(0); got == nil || math.Abs(*got.Times**left-4e-6) > 1e-17 || *set.LeastMargin != *got.Times || !(*got.Exceedance < 0.5) {
		t.Errorf("margins of the set %+v, least %v, risk left %v", got, set.LeastMargin, *left)
	}
	for i := range set.Alternatives {
		if a := set.Alternatives[i].LeastMargin; a == nil || *a < 2 {
			t.Errorf("alternative %d: least margin %v", i, a)
		}
	}
	_, out, _ := command(t, hut, "assess", "-")
	for _, want := range []string{"human life: 4.5 × 10⁻⁶ a year, which is 14 % above the limit of 4.0 × 10⁻⁶; with the measures",
		"R is proportional to N_G and reaches the limit at N_G 3.52", "Safer sets:", "the worst risk left is"} {
		if !strings.Contains(unwrapped(out), want) {
			t.Errorf("the summary lacks %q:\n%s", want, out)
		}
	}

	wide := strings.Replace(hut, `"standard_error": 2`, `"standard_error": 5`, 1)
	if answer, err = compute([]byte(wide), nil, nil, nil); err != nil {
		t.Fatal(err)
	}
	r = answer.Structures[0].Risks.HumanLife
	if r.Exceedance != nil || r.AtUpper == nil || math.Abs(*r.AtUpper-2.24031e-5) > 1e-9 ||
		math.Abs(answer.FlashDensity.UpperBound-19.7275) > 1e-3 {
		t.Errorf("%+v, upper bound %v, R there %v", r.Margin, answer.FlashDensity.UpperBound, *r.AtUpper)
	}
	if want := "decide by the risk at its upper bound, N_G 19.7."; !strings.Contains(strings.Join(answer.Warnings, " "), want) {
		t.Errorf("no warning %q: %q", want, answer.Warnings)
	}
	_, out, _ = command(t, wide, "assess", "-")
	want := "N_G is too uncertain for a probability (standard error 5); decide by its upper bound, N_G 19.7: human life 2.2 × 10⁻⁵"
	if !strings.Contains(unwrapped(out), want) {
		t.Errorf("the summary lacks %q:\n%s", want, out)
	}
}

// An interval of 90 % in place of the standard error: [2, 8], median 4, sigma = ln 4/3.29 = 0.421366;
// ln(1.135628)/sigma = 0.30185, Phi = 0.6186
// (table of the normal distribution; rule: common practice, no published source).
func TestIntervalOfTheFlashDensity(t *testing.T) {
	interval := func(fields string) string { return strings.Replace(hut, `"standard_error": 2`, fields, 1) }
	body := interval(`"lower_90": 2, "upper_90": 8`)
	answer, err := compute([]byte(body), nil, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if r := answer.Structures[0].Risks.HumanLife; r.Exceedance == nil || math.Abs(*r.Exceedance-0.6186) > 1e-4 {
		t.Errorf("%+v", r.Margin)
	}
	if d := answer.FlashDensity; d.Lower90 != 2 || d.Upper90 != 8 || d.UpperBound != 8 {
		t.Errorf("%+v", d)
	}
	if _, out, _ := command(t, body, "assess", "-"); !strings.Contains(unwrapped(out),
		"from N_G alone (90 % between 2 and 8): human life 61.9 %") {
		t.Errorf("the summary is %s", out)
	}
	for fields, where := range map[string]string{
		`"lower_90": 2`:                                     "/flash_density/upper_90",
		`"upper_90": 8`:                                     "/flash_density/lower_90",
		`"lower_90": 8, "upper_90": 2`:                      "/flash_density/upper_90",
		`"lower_90": 5, "upper_90": 8`:                      "/flash_density/ground_flashes_per_km2_year",
		`"lower_90": 2, "upper_90": 8, "standard_error": 1`: "/flash_density/standard_error",
		`"lower_90": 0, "upper_90": 8`:                      "/flash_density/lower_90",
		`"lower_90": 2, "upper_90": 8, "standard_error": 0`: "",
	} {
		_, err := compute([]byte(interval(fields)), nil, nil, nil)
		if text, _ := json.Marshal(err); where == "" != (err == nil) || !strings.Contains(string(text), where) {
			t.Errorf("%s: %v %s, want a fault at %s", fields, err, text, where)
		}
	}
}

// The largest effect first, and each is that of computing again with the other value: low fire risk is a tenth of ordinary,
// r_f 1e-3 and 1e-2 (IEC 62305-2:2010 Table C.5, secondary source). R_A = 4.129557e-3 x 1e-4, R_B a tenth of 4.129557e-6: R_1 = 8.259114e-7.
func TestSensitivityIsSortedByEffect(t *testing.T) {
	answer, err := compute([]byte(hut), nil, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	size := func(e *wire.Effect) float64 { return math.Abs(math.Log(e.After / e.Before)) }
	list := answer.Sensitivity
	if !slices.IsSortedFunc(list, func(a, b wire.Effect) int {
		if size(&a) > size(&b) {
			return -1
		}
		return 1
	}) {
		t.Errorf("not sorted: %+v", list)
	}
	found := false
	for _, e := range list {
		if e.Pointer == "/structures/0/zones/0/fire_risk" && e.Instead == "low" {
			found = true
			if math.Abs(e.Before-4.542513e-6) > 1e-11 || math.Abs(e.After-8.259114e-7) > 1e-12 ||
				!e.Decisive || e.Structure != "hut" || *e.Tolerable != 4e-6 {
				t.Errorf("%+v", e)
			}
		}
	}
	if !found {
		t.Errorf("fire risk is missing: %+v", list)
	}
	_, out, _ := command(t, hut, "assess", "-")
	if want := "hut: fire risk, taken as ordinary with low: loss of human life 8.3 × 10⁻⁷, acceptable"; !strings.Contains(unwrapped(out),
		want) {
		t.Errorf("the summary lacks %q:\n%s", want, out)
	}
}

// unwrapped joins the lines of a page.
func unwrapped(page string) string { return strings.Join(strings.Fields(page), " ") }
