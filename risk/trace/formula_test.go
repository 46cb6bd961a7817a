package trace

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// The usual rules of arithmetic: ^ before unary minus before * and / before + and -, ^ from the right, the others from the left.
func TestArithmetic(t *testing.T) {
	for text, want := range map[string]float64{
		"0":             0,
		"9":             9,
		".5":            0.5,
		"90.09":         90.09,
		"1e-6":          1e-6,
		"2e+3":          2000,
		"2e3":           2000,
		"8-2":           6,
		"8 - 2 - 3":     3,
		"16/4/2":        2,
		"2+3*4":         14,
		"2*3+4":         10,
		"(2+3)*4":       20,
		" ( 2 ) ":       2,
		"2^3^2":         512,
		"-2^2":          -4,
		"2^-1":          0.5,
		"2*-3":          -6,
		"--3":           3,
		"pi":            math.Pi,
		"2*pi":          2 * math.Pi,
		"max(1,3,2)":    3,
		"min(3,1,2)":    1,
		"max(-2,-1)":    -1,
		"min(2,1)":      1,
		"sum(1,2,4)":    7,
		"prod(2,3,4)":   24,
		"sqrt(9)":       3,
		"exp(0) - 1e0":  0,
		"floor(2.5)":    2,
		"ceil(2.5) + 1": 4,
	} {
		if got := evaluate(t, text); math.Abs(got-want) > 1e-15*math.Abs(want) {
			t.Errorf("%s = %v, want %v", text, got, want)
		}
	}
}

func TestSymbols(t *testing.T) {
	for text, want := range map[string]float64{
		"x":             7,
		"x + y_1":       9,
		"R_4' * 2":      10,
		"a9+z0":         7,
		"A+Z":           24,
		"_u":            13,
		"sum(m)":        60,
		"prod(m)":       6000,
		"max(m)":        30,
		"min(m)":        10,
		"sum(m*x)":      420,
		"sum(m) + x":    67,
		"1 - prod(1-m)": 1 + 9*19*29,
		"max(m, x)":     math.NaN(), // m has three values
		"m":             math.NaN(),
		"unknown":       math.NaN(),
		"sum(unknown)":  math.NaN(),
		"m + x":         math.NaN(),
		"x + m":         math.NaN(),
	} {
		e, err := parse(text)
		if err != nil {
			t.Fatal(err)
		}
		env := &environment{values: map[string][]float64{"x": {7}, "y_1": {2}, "R_4'": {5}, "a9": {3}, "z0": {4}, "A": {11},
			"Z": {13}, "_u": {13}, "m": {10, 20, 30}},
			used: map[string]bool{}, many: "m", index: -1}
		got, err := e(env)
		switch {
		case math.IsNaN(want) && err == nil:
			t.Errorf("%s = %v, want an error", text, got)
		case !math.IsNaN(want) && (err != nil || got != want):
			t.Errorf("%s = %v, %v, want %v", text, got, err, want)
		}
	}
}

// Over no values a fold gives its neutral element, and the collected symbol counts as used.
func TestEmptyFolds(t *testing.T) {
	for text, want := range map[string]float64{"sum(m)": 0, "prod(m)": 1, "max(m)": math.Inf(-1), "min(m)": math.Inf(1)} {
		e, err := parse(text)
		if err != nil {
			t.Fatal(err)
		}
		env := &environment{values: map[string][]float64{}, used: map[string]bool{}, many: "m", index: -1}
		if got, err := e(env); err != nil || got != want || !env.used["m"] {
			t.Errorf("%s = %v, %v, used %v", text, got, err, env.used)
		}
	}
	// A collected symbol that a formula does not use does not count as used.
	e, _ := parse("sum(x)")
	env := &environment{values: map[string][]float64{"m": {1, 2}, "x": {3}}, used: map[string]bool{}, many: "m", index: -1}
	if got, err := e(env); err != nil || got != 6 || env.used["m"] {
		t.Errorf("sum(x) = %v, %v, used %v", got, err, env.used)
	}
}

// A fault names the formula, what is wrong and where.
func TestFormulaFaults(t *testing.T) {
	for text, want := range map[string]string{
		"":        "wanted a value at 0",
		"  ":      "wanted a value at 2",
		"1+":      "wanted a value at 2",
		"1 + * 2": "wanted a value at 4",
		"(1":      "wanted ) at 2",
		"(1;2)":   "wanted ) at 2",
		"1 2":     "unexpected 2 at 2",
		"1)":      "unexpected ) at 1",
		"1:2":     "unexpected : at 1",
		"1.2.3":   "not a number at 5",
		"1e":      "not a number at 2",
		"/2":      "wanted a value at 0",
		":2":      "wanted a value at 0",
		"@":       "wanted a value at 0",
		"[":       "wanted a value at 0",
		"`":       "wanted a value at 0",
		"{":       "wanted a value at 0",
		"x@":      "unexpected @ at 1",
		"x/":      "wanted a value at 2",
		"x:":      "unexpected : at 1",
		"x[":      "unexpected [ at 1",
		"x`":      "unexpected ` at 1",
		"x{":      "unexpected { at 1",
		"'x":      "wanted a value at 0",
		"what(1)": "unknown function what at 7",
		"sum(1":   "wanted ) at 5",
		"sum(1,)": "wanted a value at 6",
		"ln(1,2)": "unknown function ln at 7",
	} {
		if _, err := parse(text); err == nil || !strings.Contains(err.Error(), want) || !strings.HasPrefix(err.Error(), "formula ") {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func TestEverySymbolOfAFormulaCounts(t *testing.T) {
	e, err := parse("(x + y)*max(z, 1)^k")
	if err != nil {
		t.Fatal(err)
	}
	env := &environment{values: map[string][]float64{"x": {1}, "y": {1}, "z": {1}, "k": {1}}, used: map[string]bool{}, index: -1}
	if _, err := e(env); err != nil {
		t.Fatal(err)
	}
	var used []string
	for s := range env.used {
		used = append(used, s)
	}
	slices.Sort(used)
	if !slices.Equal(used, []string{"k", "x", "y", "z"}) {
		t.Errorf("used %q", used)
	}
}
