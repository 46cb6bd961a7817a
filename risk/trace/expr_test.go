package trace

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func evaluate(t testing.TB, text string) float64 {
	t.Helper()
	e, err := parse(text)
	if err != nil {
		t.Fatal(err)
	}
	v, err := e(&environment{values: map[string][]float64{}, used: map[string]bool{}, index: -1})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// The reference values are those of statistics.NormalDist and math.exp of Python.
func TestFunctions(t *testing.T) {
	for text, want := range map[string]float64{
		"exp(1)":                2.718281828459045,
		"exp(-2*3)":             0.0024787521766663585,
		"Q(0)":                  0.5,
		"Q(1)":                  0.15865525393145707,
		"Q(-1)":                 0.8413447460685429,
		"Q(1.6448536269514729)": 0.05,
		"Q(3.090232306167813)":  0.001,
		"Qinv(0.5)":             0,
		"Qinv(0.05)":            1.6448536269514729,
		"Qinv(0.99)":            -2.3263478740408408,
		"1-exp(-0.0226*10)":     0.20228189833432575,
		"sqrt(4)+ln(exp(3))":    5,
		"ceil(1.2)*floor(2.9)":  4,
		"max(1,exp(0),Q(0))":    1,
		"Q(Qinv(0.2)) + Q(-7)":  1.1999999999987201,
	} {
		if got := evaluate(t, text); math.Abs(got-want) > 1e-12*max(1, math.Abs(want)) {
			t.Errorf("%s = %v, want %v", text, got, want)
		}
	}
}

func TestNormalFunctionsAreInverse(t *testing.T) {
	Q, inverse := functions["Q"], functions["Qinv"]
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(1e-6, 1-1e-6).Draw(t, "p")
		if got := Q(inverse(p)); math.Abs(got-p) > 1e-9*p {
			t.Fatalf("Q(Qinv(%v)) = %v", p, got)
		}
		z := rapid.Float64Range(-5, 5).Draw(t, "z")
		if sum := Q(z) + Q(-z); math.Abs(sum-1) > 1e-15 {
			t.Fatalf("Q(%v) + Q(%v) = %v", z, -z, sum)
		}
	})
}

func TestUnknownFunctions(t *testing.T) {
	for _, text := range []string{"q(1)", "QINV(0.5)", "exp()", "exp(1,2)", "Q(1", "expx(1)"} {
		if _, err := parse(text); err == nil || !strings.Contains(err.Error(), text) {
			t.Errorf("%s: %v", text, err)
		}
	}
}

// A recorded value that its formula does not give is found, whichever function the formula uses.
func TestCheckReEvaluatesFunctions(t *testing.T) {
	x := &Quantity{Symbol: "x"}
	for _, expr := range []string{"exp(x)", "Q(x)", "Qinv(x)"} {
		y := &Quantity{Symbol: "y", Expr: expr, In: []*Quantity{x}}
		Number(x, y)
		for _, wrong := range []float64{0, 1e-9} {
			tr := New(2)
			v := tr.Given(x, 0.25)
			tr.Set(y, functions[strings.TrimSuffix(expr, "(x)")](v)*(1+wrong))
			if err := tr.Check(); (err == nil) != (wrong == 0) {
				t.Errorf("%s, off by %v: %v", expr, wrong, err)
			}
		}
	}
}
