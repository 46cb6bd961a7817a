package main

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
)

// An invented hut without lines: 10 m x 10 m x 4 m, alone, N_G 4 with a standard error of 2. By hand: A_D = 100 + 2*12*20 +
// pi*12^2 = 1032.389 m2 (IEC 62305-2:2010 A.2), N_D = 4 * 1032.389e-6 = 4.129557e-3. Concrete floor, P_TA = P_B = 1,
// L_T = r_t * 1e-2 = 1e-4 (r_t 1e-2, from memory), L_B = r_p r_f L_F = 1 * 1e-2 * 1e-1 = 1e-3 (Tables C.2, C.5, from memory).
// R_1 = 4.129557e-3 * 1.1e-3 = 4.542513e-6; with R_T = 4e-6 the ratio is 1.135628, sigma = sqrt(ln 1.25) = 0.472381,
// ln(1.135628)/sigma = 0.26925 and Phi(0.26925) = 0.6061 (table of the normal distribution).
const hut = `{"name": "Invented hut", "location": {"latitude": -3, "longitude": 36},
	"flash_density": {"ground_flashes_per_km2_year": 4, "source": "invented", "year": 2024, "standard_error": 2},
	"structures": [{"id": "hut", "length_m": 10, "width_m": 10, "height_m": 4}], "lines": [],
	"tolerable_risk": {"loss_of_human_life": 0.000004}}`

func TestStandardErrorReachesResultAndSummary(t *testing.T) {
	answer, err := compute([]byte(hut), nil, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	d := answer.FlashDensity
	if d.StandardError != 2 || d.Source != "invented" || d.Year != 2024 {
		t.Errorf("flash density %+v", d)
	}
	r := answer.Structures[0].Risks.HumanLife
	if math.Abs(r.Total-4.542513e-6) > 1e-11 {
		t.Errorf("R_1 = %v", r.Total)
	}
	if r.Exceedance == nil || math.Abs(*r.Exceedance-0.6061) > 1e-4 {
		t.Errorf("probability %v", r.Exceedance)
	}
	status, out, _ := command(t, hut, "assess", "-")
	out = strings.Join(strings.Fields(out), " ")
	if want := "probability that the limit is exceeded, from N_G alone (standard error 2): human life 60.6 %"; status != exitOK || !strings.Contains(out, want) {
		t.Errorf("status %d, the summary lacks %q:\n%s", status, want, out)
	}
	without := strings.Replace(hut, `, "standard_error": 2`, "", 1)
	if answer, err = compute([]byte(without), nil, nil, nil); err != nil {
		t.Fatal(err)
	}
	if text, err := json.Marshal(answer); err != nil || strings.Contains(string(text), "exceedance") || strings.Contains(string(text), "standard_error") {
		t.Errorf("%v: without standard error the answer says %s", err, text)
	}
	if _, out, _ = command(t, without, "assess", "-"); strings.Contains(strings.Join(strings.Fields(out), " "), "probability that the limit") {
		t.Error("without standard error the summary gives a probability")
	}
}

func TestPercentIsNeverCertain(t *testing.T) {
	for p, want := range map[float64]string{0: "below 0.1 %", 0.0009: "below 0.1 %", 0.001: "0.1 %", 0.0234: "2.34 %", 0.5: "50 %", 0.999: "99.9 %", 0.9996: "above 99.9 %", 1: "above 99.9 %"} {
		if got := percent(p); got != want {
			t.Errorf("%v: %q, want %q", p, got, want)
		}
	}
}
