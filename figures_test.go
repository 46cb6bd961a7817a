package main

import "testing"

// Expected texts are written by hand: figures for people have two or three digits, and what is asked at least is never rounded down.
func TestQuantities(t *testing.T) {
	for _, c := range []struct {
		value float64
		unit  string
		side  rounding
		want  string
	}{
		{0.01125, "kA", upwards, "11.3 A"},
		{0.01125, "kA", downwards, "11.2 A"},
		{0.7, "kV", downwards, "700 V"},
		{1.5, "kV", downwards, "1.5 kV"},
		{18.75, "kA", upwards, "18.8 kA"},
		{45.18, "kA", upwards, "45.2 kA"},
		{12.5, "kA", upwards, "12.5 kA"},
		{2.000000000001, "kV", upwards, "2 kV"},
		{1.999999999999, "kV", downwards, "2 kV"},
		{253, "V", upwards, "253 V"},
		{253.2, "V", upwards, "254 V"},
		{1060.4, "V", upwards, "1\u2009061 V"},
		{0.5, "m", downwards, "0.5 m"},
		{0, "kA", nearest, "0 A"},
	} {
		if got := quantity(c.value, c.unit, c.side); got != c.want {
			t.Errorf("%v %s: %q, want %q", c.value, c.unit, got, c.want)
		}
	}
}

func TestRiskFigures(t *testing.T) {
	for v, want := range map[float64]string{2.98e-4: "3.0 × 10⁻⁴", 1e-5: "1.0 × 10⁻⁵", 9.96e-6: "1.0 × 10⁻⁵", 0: "0",
		1.2e-12: "1.2 × 10⁻¹²"} {
		if got := riskFigure(v); got != want {
			t.Errorf("%v: %q, want %q", v, got, want)
		}
	}
	for ratio, want := range map[float64]string{
		30.4: "30 times the limit", 1.004: "1.01 times the limit", 1.36: "1.4 times the limit", 1: "100 % of the limit",
		0.99984: "99.98 % of the limit",
		0.99999: "99.99 % of the limit", 0.813: "81 % of the limit", 0.012: "1.2 % of the limit",
	} {
		if got := ofLimit(ratio); got != want {
			t.Errorf("%v: %q, want %q", ratio, got, want)
		}
	}
}

func TestHowOften(t *testing.T) {
	for v, want := range map[float64]string{
		0.03588: "0.036 a year, about once in 28 years", 12.9: "13 a year", 0: "none", 0.00645: "0.0065 a year, about once in 160 years",
		0.000238: "0.00024 a year, about once in 4\u2009200 years",
	} {
		if got := once(v); got != want {
			t.Errorf("%v: %q, want %q", v, got, want)
		}
	}
}

func TestReadable(t *testing.T) {
	for text, want := range map[string]string{
		"house: loss_of_human_life 1.23e-05, acceptable": "house: loss of human life 1.2 × 10⁻⁵, acceptable",
		"required at least 0.01125 kA, found 25 kA":      "required at least 11.25 A, found 25 kA",
		"at most 0.5 kV; 10.5 kA stays, 0 kA too":        "at most 500 V; 10.5 kA stays, 0 kA too",
	} {
		if got := readable(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}
