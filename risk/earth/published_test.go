package earth_test

import (
	"math"
	"strings"
	"testing"

	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/trace"
)

// resistance computes with a trace, and holds the trace against its formulas.
func resistance(t testing.TB, e earth.Electrode, rho float64) earth.Result {
	t.Helper()
	tr := trace.New(64)
	r, faults := earth.Resistance(e, rho, tr)
	if len(faults) > 0 {
		t.Fatalf("%+v: %v", e, faults)
	}
	if err := tr.Check(); err != nil {
		t.Fatalf("%+v: %v", e, err)
	}
	plain, _ := earth.Resistance(e, rho, nil)
	if plain.Resistance != r.Resistance {
		t.Fatalf("%v with a trace, %v without", r.Resistance, plain.Resistance)
	}
	if last := tr.Steps[len(tr.Steps)-1]; last.Value != r.Resistance || last.Quantity != r.Formula {
		t.Fatalf("last step %s = %v, result %s = %v", last.Quantity.Name, last.Value, r.Formula.Name, r.Resistance)
	}
	return r
}

func TestPublishedResistances(t *testing.T) {
	threePointOneFour := math.Pi / 3.14 // for values that were printed with pi = 3.14
	for _, c := range []struct {
		name, source string
		electrode    earth.Electrode
		rho          float64
		factor       float64 // from the exact value to the way the source computes
		want         float64
		printed      float64 // half a unit of the last printed digit
	}{
		{"rod 3 m, 25 mm", "worked example, read in a secondary source: rho 55 ohm m, 17.12 ohm",
			earth.Electrode{Kind: earth.Rod, Length: 3, Diameter: 0.025}, 55, 1, 17.12, 0.005},
		{"rod 3 m, 17.2 mm", "worked example to BS 7430:2011, read in a secondary source, printed with pi = 3.14: 165.63 ohm",
			earth.Electrode{Kind: earth.Rod, Length: 3, Diameter: 0.0172}, 500, threePointOneFour, 165.63, 0.005},
		{"20 rods in line", "the same example: 8.85 ohm; its shorter lambda (see below) makes up for its pi",
			earth.Electrode{Kind: earth.Rods, Count: 20, Length: 3, Diameter: 0.0172, Spacing: 36}, 500, 1, 8.85, 0.005},
		{"triangle", "the same example: 72.87 ohm",
			earth.Electrode{Kind: earth.Rods, Arrangement: earth.Triangle, Count: 3, Length: 3, Diameter: 0.0172, Spacing: 3}, 500, 1, 72.87, 0.005},
		{"six triangles, no mutual effect between them", "the same example: 12.14 ohm",
			earth.Electrode{Kind: earth.Rods, Arrangement: earth.Triangle, Count: 3, Length: 3, Diameter: 0.0172, Spacing: 3}, 500, 1.0 / 6,
			12.14, 0.005},
		{"rod 10 ft, 3/4 in", "MIL-HDBK-419A: 10 000 ohm cm, 32 ohm",
			earth.Electrode{Kind: earth.Rod, Length: 3.048, Diameter: 0.01905}, 100, 1, 32, 0.5},
		{"buried wire", "Dwight 1936, as quoted by an open earthing library: 57.643 ohm",
			earth.Electrode{Kind: earth.Wire, Length: 60.96, Diameter: 2 * 0.005842, Depth: 3.048}, 2000, 1, 57.643, 0.0005},
		{"grid 70 m x 70 m", "IEEE Std 80 Annex B.1, as quoted: 2.78 ohm (2.7757)",
			earth.Electrode{Kind: earth.Grid, Area: 4900, ConductorLength: 1540, Depth: 0.5}, 400, 1, 2.7757, 0.00005},
		{"grid of a wind-farm substation", "as quoted: 0.668 ohm (0.66826)",
			earth.Electrode{Kind: earth.Grid, Area: 2854.7, ConductorLength: 1246, Depth: 0.8}, 75, 1, 0.66826, 0.000005},
		{"grid 70 m x 70 m with 20 rods of 7.5 m", "IEEE Std 80-2000 Annex B.2: 2.75 ohm; from memory, not read",
			earth.Electrode{Kind: earth.Grid, Area: 4900, ConductorLength: 1540 + 20*7.5, Depth: 0.5}, 400, 1, 2.75, 0.005},
	} {
		got := resistance(t, c.electrode, c.rho).Resistance * c.factor
		if math.Abs(got-c.want) > c.printed {
			t.Errorf("%s: %v ohm, want %v (%s)", c.name, got, c.want, c.source)
		}
	}
}

// The worked example of 20 rods prints lambda = 5.146022. That is the closed form
// 2 ln(1.781 n/2.718), which lies about 1/n below the sum 2 (1/2 + ... + 1/n) that it stands
// for; the sum is the larger and thus the safe one.
func TestPublishedLambda(t *testing.T) {
	const printed = 5.146022
	if closed := 2 * math.Log(1.781*20/2.718); math.Abs(closed-printed) > 5e-7 {
		t.Fatalf("closed form %v, printed %v", closed, printed)
	}
	tr := trace.New(64)
	if _, faults := earth.Resistance(earth.Electrode{Kind: earth.Rods, Count: 20, Length: 3, Diameter: 0.0172, Spacing: 36}, 500,
		tr); faults != nil {
		t.Fatal(faults)
	}
	got := math.NaN()
	for i := range tr.Steps {
		if tr.Steps[i].Quantity.Symbol == "lambda" {
			got = tr.Steps[i].Value
			if n := len(tr.From(i)); n != 19 {
				t.Errorf("lambda comes from %d steps, want 19", n)
			}
		}
	}
	if got < printed || got > printed+1.0/20 {
		t.Errorf("lambda %v, printed %v", got, printed)
	}
	single, R := 500/(2*3.14*3)*(math.Log(8*3/0.0172)-1), 8.85
	if source := (single + 500/(2*3.14*36)*printed) / 20; math.Abs(source-R) > 0.005 {
		t.Errorf("the example computed its own way gives %v, printed %v", source, R)
	}
}

// BS 7430:2011 prints these factors for a hollow square; from memory, to about one in a hundred.
func TestSquareFactorsNearRememberedTable(t *testing.T) {
	remembered := []float64{2.71, 4.51, 5.46, 6.14, 6.63, 7.03, 7.30, 7.65, 7.90}
	for _, table := range earth.Tables() {
		if table.Number != "hollow square" {
			continue
		}
		for i, row := range table.Rows {
			if math.Abs(row.Values[0]/remembered[i]-1) > 0.01 {
				t.Errorf("%s: %v, remembered %v", row.Text, row.Values[0], remembered[i])
			}
		}
		return
	}
	t.Fatal("no table of the hollow square")
}

// The factors are the mean of s/distance over all pairs, never below it.
func TestSquareFactorsFromGeometry(t *testing.T) {
	table := earth.Tables()[0]
	for i, row := range table.Rows {
		m := i + 1
		var places [][2]int
		for k := range m {
			places = append(places, [2]int{k, 0}, [2]int{m, k}, [2]int{m - k, m}, [2]int{0, m - k})
		}
		sum := 0.0
		for a := range places {
			for b := range places {
				if a != b {
					sum += 1 / math.Hypot(float64(places[a][0]-places[b][0]), float64(places[a][1]-places[b][1]))
				}
			}
		}
		mean := sum / float64(len(places))
		if row.Values[0] < mean || row.Values[0] > mean+1e-4 {
			t.Errorf("%s: %v, geometry gives %v", row.Text, row.Values[0], mean)
		}
	}
}

func TestMinimumLength(t *testing.T) {
	// IEC 62305-3 figure of l1 (memory; 5 m and 0.02 rho - 11 read in a secondary source on GB 51017).
	for _, c := range []struct {
		class risk.LPS
		rho   float64
		want  float64
	}{
		{risk.LPSIV, 100, 5}, {risk.LPSIII, 3000, 5},
		{risk.LPSII, 100, 5}, {risk.LPSII, 800, 5}, {risk.LPSII, 1000, 9}, {risk.LPSII, 3000, 49},
		{risk.LPSI, 100, 5}, {risk.LPSI, 500, 5}, {risk.LPSI, 1000, 20}, {risk.LPSI, 3000, 80},
		{risk.LPSINaturalFrame, 3000, 80}, {risk.LPSIFullCover, 1000, 20},
	} {
		tr := trace.New(16)
		got, faults := earth.MinimumLength(c.class, c.rho, tr)
		if faults != nil || math.Abs(got-c.want) > 1e-9 {
			t.Errorf("class %v, %v ohm m: %v m, want %v %v", c.class, c.rho, got, c.want, faults)
		}
		if err := tr.Check(); err != nil {
			t.Error(err)
		}
	}
	_, faults := earth.MinimumLength(risk.NoLPS, math.NaN(), nil)
	wantPointers(t, faults, earth.SoilPointer, earth.ClassPointer)
	_, faults = earth.MinimumLength(risk.LPS(99), 100, nil)
	wantPointers(t, faults, earth.ClassPointer)
}

// wantPointers holds the pointers of faults against those wanted, in order.
func wantPointers(t testing.TB, faults []risk.Violation, want ...string) {
	t.Helper()
	var got []string
	for _, f := range faults {
		got = append(got, f.Pointer)
		if f.Reason == "" || f.Rule == "" {
			t.Errorf("fault without rule or reason: %+v", f)
		}
	}
	if strings.Join(got, " ") != strings.Join(want, " ") {
		t.Errorf("faults at %q, want %q", got, want)
	}
}
