package earth_test

import (
	"math"
	"strings"
	"testing"

	"levinward/risk/earth"
	"levinward/risk/trace"

	"pgregory.net/rapid"
)

func wenner(a, r float64) earth.Reading { return earth.Reading{Spacing: a, Resistance: r} }

func TestResistivity(t *testing.T) {
	for _, c := range []struct {
		name     string
		soil     earth.Soil
		want     float64
		relative float64
	}{
		// rho = 2 pi a R by its definition (IEEE Std 81, from memory)
		{"four probes", earth.Soil{Readings: []earth.Reading{wenner(4, 10)}}, 80 * math.Pi, 1e-12},
		// probes much deeper than their spacing see all of space: 4 pi a R
		{"deep probes tend to 4 pi a R", earth.Soil{Readings: []earth.Reading{{Spacing: 4, Depth: 4, Resistance: 10}}}, 160 * math.Pi, 0.2},
		// at a twentieth of the spacing the two forms agree to half a percent
		{"shallow probes tend to 2 pi a R", earth.Soil{Readings: []earth.Reading{{Spacing: 4, Depth: 0.2, Resistance: 10}}}, 80 * math.Pi, 0.005},
		{"the highest of like readings", earth.Soil{Readings: []earth.Reading{wenner(2, 10), wenner(4, 6), wenner(8, 2.6)}}, 48 * math.Pi, 1e-12},
		// the published rod of 17.12 ohm in 55 ohm m, read in a secondary source
		{"rod", earth.Soil{Readings: []earth.Reading{{Method: earth.TestRod, Resistance: 17.12, RodLength: 3, RodDiameter: 0.025}}}, 55, 5e-4},
		{"one layer", earth.Soil{Layers: []earth.Layer{{Resistivity: 250}}}, 250, 0},
	} {
		tr := trace.New(32)
		got, faults := earth.Resistivity(c.soil, tr)
		if len(faults) > 0 || math.Abs(got/c.want-1) > c.relative {
			t.Errorf("%s: %v ohm m, want %v %v", c.name, got, c.want, faults)
		}
		if err := tr.Check(); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// The full form against four probes as point sources at depth b, with their images: the
// potential difference between the inner probes by superposition.
func TestFullWennerFormAgainstImages(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0.1, 1000).Draw(t, "a")
		b := rapid.Float64Range(0.01, 1).Draw(t, "b/a") * a
		const rho = 123
		potential := func(x float64) float64 { return rho / (4 * math.Pi) * (1/x + 1/math.Hypot(x, 2*b)) }
		R := (potential(a) - potential(2*a)) - (potential(2*a) - potential(a))
		got, faults := earth.Resistivity(earth.Soil{Readings: []earth.Reading{{Spacing: a, Depth: b, Resistance: R}}}, nil)
		if len(faults) > 0 || math.Abs(got/rho-1) > 1e-9 {
			t.Errorf("%v ohm m, want %v %v", got, rho, faults)
		}
	})
}

func TestLayeredSoilIsRefused(t *testing.T) {
	for name, c := range map[string]struct {
		soil earth.Soil
		want string
	}{
		"two readings": {earth.Soil{Readings: []earth.Reading{wenner(2, 20), wenner(8, 1.5)}}, "/readings"},
		"two layers":   {earth.Soil{Layers: []earth.Layer{{Resistivity: 100, Thickness: 2}, {Resistivity: 800}}}, "/layers"},
	} {
		_, faults := earth.Resistivity(c.soil, trace.New(8))
		wantPointers(t, faults, c.want)
		if faults[0].Rule != earth.RuleLayeredSoil || !strings.Contains(faults[0].Reason, "layers") {
			t.Errorf("%s: %+v", name, faults[0])
		}
	}
	// the very edge: a factor of 1.3 is uniform, just above is not
	if _, faults := earth.Resistivity(earth.Soil{Readings: []earth.Reading{wenner(4, 10), wenner(4, 12.99)}}, nil); faults != nil {
		t.Error(faults)
	}
	_, faults := earth.Resistivity(earth.Soil{Readings: []earth.Reading{wenner(4, 10), wenner(4, 13.01)}}, nil)
	wantPointers(t, faults, "/readings")
}

func TestFaultyReadings(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		soil earth.Soil
		want string
	}{
		"nothing":            {earth.Soil{}, "/readings"},
		"both":               {earth.Soil{Readings: []earth.Reading{wenner(4, 10)}, Layers: []earth.Layer{{Resistivity: 100}}}, "/layers"},
		"not numbers":        {earth.Soil{Readings: []earth.Reading{{Spacing: nan, Resistance: math.Inf(1), Depth: nan}, {Spacing: 2, Resistance: 2, Depth: nan}}}, "/readings/0/resistance_ohm /readings/0/spacing_m /readings/1/depth_m"},
		"rod as four probes": {earth.Soil{Readings: []earth.Reading{{Method: earth.TestRod, Resistance: 10, Spacing: 3, Depth: 1}}}, "/readings/0/spacing_m /readings/0/depth_m /readings/0/rod_length_m /readings/0/rod_diameter_m"},
		"four probes as rod": {earth.Soil{Readings: []earth.Reading{{Spacing: 3, Resistance: 10, RodLength: 3, RodDiameter: 0.02}}}, "/readings/0/rod_length_m /readings/0/rod_diameter_m"},
		"thick rod":          {earth.Soil{Readings: []earth.Reading{{Method: earth.TestRod, Resistance: 10, RodLength: 1, RodDiameter: 0.06}}}, "/readings/0/rod_length_m"},
		"no such method":     {earth.Soil{Readings: []earth.Reading{{Method: 7}}}, "/readings/0/method"},
		"deep probes":        {earth.Soil{Readings: []earth.Reading{{Spacing: 3, Resistance: 10, Depth: 3.1}}}, "/readings/0/depth_m"},
		"impossible soil":    {earth.Soil{Readings: []earth.Reading{wenner(1000, 1e5)}}, "/readings/0/resistance_ohm"},
		"too many":           {earth.Soil{Readings: make([]earth.Reading, earth.MaxReadings+1)}, "/readings"},
		"bad layer":          {earth.Soil{Layers: []earth.Layer{{Resistivity: nan, Thickness: -1}}}, "/layers/0/resistivity_ohm_m /layers/0/thickness_m"},
	} {
		t.Run(name, func(t *testing.T) {
			got, faults := earth.Resistivity(c.soil, nil)
			wantPointers(t, faults, strings.Fields(c.want)...)
			if got != 0 {
				t.Errorf("refused, and yet %v ohm m", got)
			}
		})
	}
}

// An electrode computed after a reading takes its resistivity from it.
func TestResistanceGoesBackToTheReading(t *testing.T) {
	tr := trace.New(32)
	rho, faults := earth.Resistivity(earth.Soil{Readings: []earth.Reading{wenner(4, 10), wenner(8, 4)}}, tr)
	if faults != nil {
		t.Fatal(faults)
	}
	if _, faults = earth.Resistance(goodRod, rho, tr); faults != nil {
		t.Fatal(faults)
	}
	from := tr.From(len(tr.Steps) - 1)
	if soil := tr.Steps[from[0]]; soil.Quantity.Symbol != "rho" || len(tr.From(int(from[0]))) != 2 {
		t.Errorf("R comes from %s = %v, which comes from %d readings", soil.Quantity.Name, soil.Value, len(tr.From(int(from[0]))))
	}
	if err := tr.Check(); err != nil {
		t.Error(err)
	}
}

func TestAnySoilIsEitherRefusedOrComputed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := earth.Soil{}
		for range rapid.IntRange(0, 3).Draw(t, "readings") {
			s.Readings = append(s.Readings, earth.Reading{Method: earth.Method(rapid.IntRange(0, 2).Draw(t, "method")),
				Resistance: wild.Draw(t, "R"), Spacing: wild.Draw(t, "a"), Depth: wild.Draw(t, "b"), RodLength: wild.Draw(t, "L"),
				RodDiameter: wild.Draw(t, "d")})
		}
		for range rapid.IntRange(0, 2).Draw(t, "layers") {
			s.Layers = append(s.Layers, earth.Layer{Resistivity: wild.Draw(t, "rho"), Thickness: wild.Draw(t, "thickness")})
		}
		tr := trace.New(16)
		rho, faults := earth.Resistivity(s, tr)
		if len(faults) == 0 && !(rho >= 0.1 && rho <= 1e5) || len(faults) > 0 && rho != 0 {
			t.Fatalf("%v ohm m, %v", rho, faults)
		}
		if err := tr.Check(); len(faults) == 0 && err != nil {
			t.Fatal(err)
		}
	})
}
