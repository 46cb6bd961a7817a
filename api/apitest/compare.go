package apitest

import (
	"encoding/json"
	"math"
	"testing"
)

// Almost allows for rounding.
func Almost(p *float64, want float64) bool { return p != nil && math.Abs(*p-want) <= 1e-9*max(1, want) }

// Tree reads JSON into maps and lists.
func Tree(t testing.TB, text []byte) any {
	t.Helper()
	var v any
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// Agrees demands a value within a tolerance.
func Agrees(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.9g, want %.9g, off by %.2e of %.2e allowed", what, got, want, got-want, tolerance)
	}
}

// Near allows for the 15 digits that are written.
func Near(a, b float64) bool { return a == b || (a-b)/b < 1e-14 && (b-a)/b < 1e-14 }
