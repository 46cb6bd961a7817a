package spd

import (
	"math"

	"levinward/risk/trace"
)

// flashCurrents is the distribution of the peak currents of flashes.
var flashCurrents = &trace.Table{Number: "A.3", Title: "Probability P that the peak current of a flash exceeds I",
	Clause: stdThreat + "Table A.3", Symbols: []string{"I [kA]", "P"}, Rows: []trace.Row{
		row("0 kA", memory, 0, 1),
		row("3 kA", memory, 3, 0.99),
		row("5 kA", read, 5, 0.95),
		row("10 kA", memory, 10, 0.9),
		row("20 kA", memory, 20, 0.8),
		row("30 kA", memory, 30, 0.6),
		row("35 kA", read, 35, 0.5),
		row("40 kA", memory, 40, 0.4),
		row("50 kA", memory, 50, 0.3),
		row("60 kA", memory, 60, 0.2),
		row("80 kA", memory, 80, 0.1),
		row("100 kA", read, 100, 0.05),
		row("150 kA", memory, 150, 0.02),
		row("200 kA", read, 200, 0.01),
		row("300 kA", memory, 300, 0.005),
		row("400 kA", memory, 400, 0.002),
		row("600 kA", memory, 600, 0.001),
	}}

// Columns of flashCurrents.
const (
	colFlash = iota
	colExceed
)

// normalTail is the probability that a standard normal variable exceeds z.
func normalTail(z float64) float64 { return 0.5 * math.Erfc(z/math.Sqrt2) }

// normalQuantile is the z that a standard normal variable exceeds with probability p, 0 < p < 1.
func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(1-2*p) }

// flashQuantiles are the normal quantiles of the probabilities of flashCurrents; that of 0 kA is not used.
var flashQuantiles = func() []float64 {
	z := make([]float64, len(flashCurrents.Rows))
	for i := range z {
		z[i] = normalQuantile(flashCurrents.Rows[i].Values[colExceed])
	}
	return z
}()

// flashQuantile is the normal quantile of the probability in a row of flashCurrents.
func flashQuantile(row int, t *trace.Trace) float64 {
	if p := t.Value(flashCurrents, row, colExceed); p != flashCurrents.Rows[row].Values[colExceed] {
		return normalQuantile(p) // a reviewed value
	}
	return flashQuantiles[row]
}

// FlashExceeds returns the probability that the peak current of a flash exceeds
// I [kA], I >= 0: IEC 62305-1:2010 Table A.3, between its points
// a straight line on log-normal probability paper (ln I against the normal quantile).
// Below 3 kA and above 600 kA the outermost line is continued, which is an extrapolation.
func FlashExceeds(I float64) float64 { return flashExceeds(I, nil) }

// flashExceeds is FlashExceeds with its steps. The newest step of qStressFlash must be I.
func flashExceeds(I float64, t *trace.Trace) float64 {
	b := 1 // row of the upper end of the line that I lies on
	for b < len(flashCurrents.Rows) && t.Value(flashCurrents, b, colFlash) <= I {
		b++
	}
	a := b - 1
	if t.Value(flashCurrents, a, colFlash) == I {
		return t.Pick(qStressTailAt, flashCurrents, a, colExceed)
	}
	a = min(max(a, 1), len(flashCurrents.Rows)-2)
	b = a + 1
	Ia := t.Pick(qStressIa, flashCurrents, a, colFlash)
	Ib := t.Pick(qStressIb, flashCurrents, b, colFlash)
	t.Pick(qStressPa, flashCurrents, a, colExceed)
	t.Pick(qStressPb, flashCurrents, b, colExceed)
	za, zb := t.Set(qStressZa, flashQuantile(a, t)), t.Set(qStressZb, flashQuantile(b, t))
	z := t.Set(qStressZ, za+(zb-za)*math.Log(I/Ia)/math.Log(Ib/Ia))
	return t.Set(qStressTail, normalTail(z))
}

// flashExceedsBounded is flashExceeds for partial lightning currents: at 600 kA the table ends, and P stays at its last value, so
// that every
// flash beyond counts as an overstress of any device.
func flashExceedsBounded(I float64, t *trace.Trace) float64 {
	if last := len(flashCurrents.Rows) - 1; I > t.Value(flashCurrents, last, colFlash) {
		return t.Pick(qStressTailAt, flashCurrents, last, colExceed)
	}
	return flashExceeds(I, t)
}
