package spd

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"levinward/risk"
	"levinward/risk/trace"

	"pgregory.net/rapid"
)

// IEC 62305-1:2010 Table A.3: 5, 35, 100 and 200 kA read in a secondary source, the rest from memory.
func TestFlashCurrentsAsPrinted(t *testing.T) {
	for _, p := range [][2]float64{{0, 1}, {3, 0.99}, {5, 0.95}, {10, 0.9}, {20, 0.8}, {30, 0.6}, {35, 0.5}, {40, 0.4}, {50, 0.3},
		{60, 0.2}, {80, 0.1}, {100, 0.05}, {150, 0.02}, {200, 0.01}, {300, 0.005}, {400, 0.002}, {600, 0.001}} {
		if got := FlashExceeds(p[0]); got != p[1] {
			t.Errorf("P(I > %v kA) = %v, want %v", p[0], got, p[1])
		}
	}
}

// IEC 62305-1:2010 Table 5, read in a secondary source: a flash lies below the maximum of the LPL with probability
// 0.99, 0.98, 0.95, 0.95, above its minimum 3, 5, 10, 16 kA with 0.99, 0.97, 0.91, 0.84. The second row is computed in the standard
// from the two log-normal laws themselves, so Table A.3 gives it to 0.02.
func TestProtectionLevels(t *testing.T) {
	for i, want := range []float64{0.01, 0.02, 0.05} {
		near(t, "above the maximum of LPL "+threat.Rows[i].Text, FlashExceeds(threat.Rows[i].Values[0]), want, 0)
	}
	for I, want := range map[float64]float64{3: 0.99, 5: 0.97, 10: 0.91, 16: 0.84} {
		near(t, fmt.Sprint("above ", I, " kA"), FlashExceeds(I), want, 0.0201)
	}
}

// Quantiles and interpolated values computed with Python 3.11, statistics.NormalDist().inv_cdf and math.erfc, over the same table:
//
//	z = za + (zb - za) * log(I/Ia) / log(Ib/Ia); 0.5 * erfc(z / sqrt(2))
func TestAgainstNormalDistribution(t *testing.T) {
	for p, want := range map[float64]float64{0.99: -2.3263478740408408, 0.95: -1.6448536269514715, 0.8: -0.8416212335729144, 0.5: 0,
		0.3: 0.5244005127080407, 0.02: 2.053748910631822, 0.005: 2.5758293035489, 0.001: 3.090232306167813} {
		near(t, fmt.Sprint("quantile ", p), normalQuantile(p), want, 1e-14)
		near(t, fmt.Sprint("tail ", want), normalTail(want), p, 1e-14)
	}
	for I, want := range map[float64]float64{1: 0.9999252836612097, 2: 0.9979299191920621, 4: 0.9739647365761187, 16: 0.8372570971405485,
		25: 0.6977257281064735, 33: 0.5385194819174445, 70: 0.14066148532595682, 125: 0.0307498987784155, 250: 0.006876566410439935,
		500: 0.001372797487796175, 800: 0.0005961855573956665} {
		near(t, fmt.Sprint(I, " kA"), FlashExceeds(I), want, 1e-13)
	}
}

func TestFlashExceedsFalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0, 2000).Draw(t, "I")
		b := a + rapid.Float64Range(0, 100).Draw(t, "more")
		Pa, Pb := FlashExceeds(a), FlashExceeds(b)
		if !(Pa >= Pb && Pb >= 0 && Pa <= 1) {
			t.Fatalf("P(%v) = %v, P(%v) = %v", a, Pa, b, Pb)
		}
	})
}

// The currents of Tables E.2 and E.3 grow with the current of the protection level in proportion: that a surge is linear in
// the flash current is what the tables themselves say. Both tables are from memory, the currents of the levels are read.
func TestSurgesProportional(t *testing.T) {
	for _, table := range []*trace.Table{surgesPower, surgesTelecom} {
		for col := range table.Symbols {
			want := table.Rows[rowFromIV(risk.LevelI)].Values[col] / 200
			near(t, table.Number+" II "+table.Symbols[col], table.Rows[rowFromIV(risk.LevelII)].Values[col]/150, want, 1e-15)
			near(t, table.Number+" III-IV "+table.Symbols[col], table.Rows[rowFromIV(risk.LevelIIIIV)].Values[col]/100, want, 1e-15)
		}
	}
}

// stressEvents is a result with the given events for structure 0 and line 0.
func stressEvents(ND, NM, NL, NDJ, NI float64) *risk.Result {
	return &risk.Result{NG: 4, Structures: []risk.StructureResult{{Events: risk.Events{Direct: ND, Near: NM}, Assessed: true}},
		Lines: []risk.LineResult{{Events: risk.Events{Direct: NL, Near: NI}, AdjacentStructure: NDJ}}}
}

// stressOf computes with a trace, lets it re-evaluate every formula and demands the same without one.
func stressOf(t tester, in *risk.Input, res *risk.Result, o StressOptions) []EndStress {
	t.Helper()
	entries := Schedule(in, res, nil, nil)
	if faults := StressViolations(in, res, entries, o); faults != nil {
		t.Fatalf("%+v", faults)
	}
	tr := trace.New(1000)
	all := Stress(in, res, entries, o, tr)
	if err := tr.Check(); err != nil {
		t.Fatal(err)
	}
	if quiet := Stress(in, res, entries, o, nil); !reflect.DeepEqual(quiet, all) {
		t.Fatal("recording changes the result")
	}
	return all
}

func stressSourceOf(t tester, e *EndStress, s Source) SurgeSource {
	t.Helper()
	i := slices.IndexFunc(e.Sources, func(x SurgeSource) bool { return x.Source == s })
	if i < 0 {
		t.Fatalf("no %s in %+v", s, e.Sources)
	}
	return e.Sources[i]
}

// stressTNC is a supply of four current-carrying conductors: three phases and PEN.
func stressTNC() risk.Line {
	l := mains(aerial(500))
	l.Electrical.System, l.Electrical.Phases = risk.TNC, 3
	return l
}

// Published sharing (trade handbooks on IEC 62305): one line of four conductors carries 25, 18.75, 12.5 kA per
// conductor at 200, 150, 100 kA. A device of just that I_imp is then exceeded by 0.01, 0.02, 0.05 of the flashes to
// the structure, which is P_SPD of IEC 62305-2 Table B.3 for LPL I, II, III-IV (memory; derivable from Table 5, read).
func TestRatingReproducesTableB3(t *testing.T) {
	var o StressOptions
	for _, I := range []float64{25, 18.75, 12.5} {
		o.Devices = append(o.Devices, StressDevice{EveryEnd, EveryEnd, StressRatings{Name: fmt.Sprint(I), Iimp: Some(I), In: Some(20.0)}})
	}
	e := stressOf(t, site1(risk.Structure{LPS: risk.LPSI}, stressTNC()), stressEvents(0.2, 0, 0, 0, 0), o)[0]
	near(t, "share", stressSourceOf(t, &e, S1).Share, 0.125, 0)
	for i, want := range []float64{0.01, 0.02, 0.05} {
		d := &e.Duties[i+1]
		if len(d.PSPD) != 1 || d.PSPD[0] != (SourcePSPD{S1, want}) || d.PSPDLargest != Some(want) {
			t.Errorf("%s kA: %+v", d.Ratings.Name, d)
		}
		near(t, "overstresses a year", d.Rate, 0.2*want, 1e-15)
		near(t, "return period", d.ReturnPeriod.Value, 1/(0.2*want), 1e-9)
		for k, years := range []float64{5, 10, 20} {
			near(t, "in years", d.Overstress[k].Probability, 1-math.Exp(-0.2*want*years), 1e-14)
		}
	}
}

// Closed forms: without other lines a flash of I drives 0.5 I / n' through each conductor. 0.5 I/(n n') is read (IEC 62305-1
// E.2); S2, S3 and S4 over 200 kA are from memory (Tables E.2, E.3), S3 for two wires twice
// the table, for a drop wire five times.
func TestSharesOfSources(t *testing.T) {
	one, two := mains(aerial(500)), telephone()
	e := stressOf(t, site1(dwelling, one), stressEvents(0.1, 0.2, 0.3, 0.4, 0.5), StressOptions{})[0]
	for _, want := range []SurgeSource{{S1, Impulse10350, 0.1, 0.25}, {S2, Surge820, 0.2, 0.001}, {S3, Impulse10350, 0.7, 0.25},
		{S4, Surge820, 0.5, 0.025}} {
		got := stressSourceOf(t, &e, want.Source)
		near(t, string(want.Source)+" events", got.Events, want.Events, 1e-15)
		near(t, string(want.Source)+" share", got.Share, want.Share, 1e-15)
		if got.Waveform != want.Waveform {
			t.Errorf("%s: %s", want.Source, got.Waveform)
		}
	}
	res := stressEvents(0.1, 0, 0.3, 0, 0)
	res.Lines = append(res.Lines, risk.LineResult{})
	both := stressOf(t, site1(dwelling, one, two), res, StressOptions{LineFlash: TabulatedFlash})
	near(t, "two lines", stressSourceOf(t, &both[0], S1).Share, 0.125, 0)
	near(t, "tabulated flash to a power line", stressSourceOf(t, &both[0], S3).Share, 0.1, 0)
	near(t, "tabulated flash to a telecommunication line", stressSourceOf(t, &both[1], S3).Share, 0.05, 0)
	near(t, "near a telecommunication line", stressSourceOf(t, &both[1], S4).Share, 0.0005, 1e-18)
}

// Poor soil: 60 / (35 + 60) of the current of LPL III-IV into the only line at 3000 ohm m (Table E.1, memory).
func TestStressInPoorSoil(t *testing.T) {
	in := site1(dwelling, mains(cable(500, risk.Rural)))
	in.SoilResistivity = 3000
	e := stressOf(t, in, stressEvents(1, 0, 0, 0, 0), StressOptions{})[0]
	near(t, "share", stressSourceOf(t, &e, S1).Share, 60.0/95/2, 1e-15)
	if !slices.Contains(e.Basis, stressBySoil) || slices.Contains(e.Basis, stressByFirst) {
		t.Errorf("%+v", e.Basis)
	}
	in.SoilResistivity = 9000
	e = stressOf(t, in, stressEvents(1, 0, 0, 0, 0), StressOptions{})[0]
	if !strings.Contains(strings.Join(e.Notes, " "), "3000 ohm m") {
		t.Errorf("%q", e.Notes)
	}
}

// N_DJ is that of the far end, seen from each of the two structures. IEC 62305-2:2010 Annex A (from memory): N_DJ belongs to
// the structure at the far end.
func TestAdjacentStructureSeenFromEachEnd(t *testing.T) {
	in := site1(dwelling, mains(aerial(500)))
	in.Structures = append(in.Structures, risk.Structure{ID: "store"})
	in.Lines[0].To = 1
	res := stressEvents(0, 0, 0.5, 0.25, 0)
	res.Structures = append(res.Structures, risk.StructureResult{Assessed: true})
	res.Lines[0].AdjacentAtFar = 0.125
	all := stressOf(t, in, res, StressOptions{})
	near(t, "at the post", stressSourceOf(t, &all[0], S3).Events, 0.75, 0)
	near(t, "at the store", stressSourceOf(t, &all[1], S3).Events, 0.625, 0)
}

// Direct current on the electrode of the building: the line from an array on it takes the tabulated share, 25 kA of 200
// (CLC/TS 50539-12 Table A.2, read); a battery line an induced surge.
func TestStressOfDirectCurrent(t *testing.T) {
	battery := array(5)
	battery.Electrical.Origin = risk.Battery
	res := stressEvents(1, 0, 0, 0, 0)
	res.Lines = append(res.Lines, risk.LineResult{})
	all := stressOf(t, site1(risk.Structure{LPS: risk.LPSI}, roofArray(5), battery), res, StressOptions{})
	pv, bat := stressSourceOf(t, &all[0], S1), stressSourceOf(t, &all[1], S1)
	if pv != (SurgeSource{S1, Impulse10350, 1, 0.125}) || bat != (SurgeSource{S1, Surge820, 1, 0.05}) {
		t.Errorf("%+v %+v", pv, bat)
	}
}

// In CT2 the N-PE path carries the sum: 50 kA there are 12.5 kA of each of four conductors, though 25 kA stand for each line
// mode. CLC/TS 61643-12 (read): N-PE carries the sum of the conductors. That I_imp serves for 8/20 as well is common practice,
// no published source.
func TestNeutralPathLimits(t *testing.T) {
	l := mains(aerial(500))
	l.Electrical.Phases = 3
	o := StressOptions{Devices: []StressDevice{
		{EveryEnd, EveryEnd, StressRatings{Name: "weak", Iimp: Some(25), In: Some(25), IimpNPE: Some(50), InNPE: Some(100)}},
		{0, 0, StressRatings{Name: "strong", Iimp: Some(25), Imax: Some(60), In: Some(25), IimpNPE: Some(100), ImaxNPE: Some(240), InNPE: Some(100)}},
		{0, 0, StressRatings{Name: "not stated"}},
		{0, 0, StressRatings{Name: "impulse only", Iimp: Some(25)}},
		{0, 0, StressRatings{Name: "no impulse N-PE", Iimp: Some(25), Imax: Some(60), InNPE: Some(20)}},
		{0, 0, StressRatings{Name: "class II", Imax: Some(40), In: Some(20), ImaxNPE: Some(160)}},
		{0, 0, StressRatings{Name: "impulse above nominal", Iimp: Some(12.5), In: Some(10), IimpNPE: Some(50), InNPE: Some(20)}},
	}}
	e := stressOf(t, site1(dwelling, l), stressEvents(1, 1, 1, 0, 1), o)[0]
	for i, want := range []struct {
		imp, surge        float64
		limit, surgeLimit string
		notes             []string
	}{
		{12.5, 25, "N-PE", "line", []string{stressNoteNominal}},
		{25, 60, "line", "line", nil},
		{0, 0, "line", "line", []string{stressNoteNothing, stressNoteNPE}},
		{25, 25, "line", "line", []string{stressNoteLarger, stressNoteNPE}},
		{0, 5, "N-PE", "N-PE", []string{stressNoteNPENoImp}},
		{0, 40, "line", "line", []string{stressNoteNoImp}},
		{12.5, 12.5, "line", "line", []string{stressNoteLarger, stressNoteNominal}},
	} {
		d := &e.Duties[i+1]
		if d.ImpulseWithstand != want.imp || d.SurgeWithstand != want.surge || d.ImpulseLimit != want.limit ||
			d.SurgeLimit != want.surgeLimit || !slices.Equal(withoutLife(d.Notes), want.notes) {
			t.Errorf("%s: %+v", d.Ratings.Name, d)
		}
	}
	if d := &e.Duties[3]; d.Rate != 4 || d.PSPDLargest != Some(1) || d.PSPDOfSurges != Some(1) {
		t.Errorf("a device without ratings: %+v", d)
	}
	if e.Duties[0].Ratings.Name != AsScheduled {
		t.Errorf("%+v", e.Duties[0])
	}
}

// The form is the product's own.
func TestRatingsOfDataSheet(t *testing.T) {
	d := Device{Iimp: Some(25), Imax: Some(60), In: Some(20), IimpNPE: Some(100), InNPE: Some(80)}
	if got := RatingsOf("ours", &d); got != (StressRatings{Name: "ours", Iimp: Some(25), Imax: Some(60), In: Some(20),
		IimpNPE: Some(100), InNPE: Some(80)}) {
		t.Errorf("%+v", got)
	}
}

// Poisson, 1 - exp(-0) = 0: common practice, no published source.
func TestNoEvents(t *testing.T) {
	d := stressOf(t, site1(dwelling, mains(aerial(500))), stressEvents(0, 0, 0, 0, 0), StressOptions{})[0].Duties[0]
	if d.Rate != 0 || d.ReturnPeriod.Valid || d.PSPDLargest.Valid || d.PSPDOfSurges.Valid || d.PSPD != nil ||
		d.Overstress[2].Probability != 0 {
		t.Errorf("%+v", d)
	}
}

func drawStressEvents(t *rapid.T, in *risk.Input) *risk.Result {
	n := func(what string) float64 { return oneOf(t, what, 0, 1e-9, 0.003, 0.2, 7.0) }
	res := &risk.Result{NG: 4}
	for range in.Structures {
		res.Structures = append(res.Structures, risk.StructureResult{Events: risk.Events{Direct: n("N_D"), Near: n("N_M")}, Assessed: true})
	}
	for range in.Lines {
		res.Lines = append(res.Lines, risk.LineResult{Events: risk.Events{Direct: n("N_L"), Near: n("N_I")}, AdjacentStructure: n("N_DJ"),
			AdjacentAtFar: n("N_DJ far")})
	}
	return res
}

// On any site: formulas re-evaluate; rates begin at the number of events and never rise with the current;
// operations are the rate above the smallest current; a device of higher ratings is never overstressed more often.
func TestStressOnAnySite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t)
		res := drawStressEvents(t, in)
		low := rapid.Float64Range(0.1, 60).Draw(t, "rating")
		more := rapid.Float64Range(1, 5).Draw(t, "better by")
		o := StressOptions{Currents: []float64{0, 0.02, 0.3, 1, 5, 12.5, 25, 100, 1e4}, Smallest: Some(0.3), LineFlash: upTo[LineFlash](t,
			"flash", 2), Devices: []StressDevice{
			{EveryEnd, EveryEnd, StressRatings{Name: "lower", Iimp: Some(low), In: Some(low), IimpNPE: Some(2 * low)}},
			{EveryEnd, EveryEnd, StressRatings{Name: "higher", Iimp: Some(low * more), In: Some(low * more), IimpNPE: Some(2 * low * more)}},
		}}
		entrances := 0
		for _, en := range Schedule(in, res, nil, nil) {
			if en.Position == LineEntrance {
				entrances++
			}
		}
		all := stressOf(t, in, res, o)
		if len(all) != entrances {
			t.Fatalf("%d ends, %d results", entrances, len(all))
		}
		for i := range all {
			e := &all[i]
			total := 0.0
			for _, s := range e.Sources {
				total += s.Events
			}
			near(t, "rate above 0", e.Rates[0].Total, total, 1e-12*total)
			for k := 1; k < len(e.Rates); k++ {
				if a, b := e.Rates[k-1], e.Rates[k]; b.Impulse > a.Impulse || b.Induced > a.Induced || b.Total > a.Total || b.Total < 0 {
					t.Fatalf("%+v, then %+v", a, b)
				}
			}
			near(t, "operations", e.Operations, e.Rates[2].Total, 0)
			worse, better := &e.Duties[1], &e.Duties[2]
			if better.Rate > worse.Rate || better.Overstress[0].Probability > worse.Overstress[0].Probability ||
				better.PSPDLargest.Value > worse.PSPDLargest.Value {
				t.Fatalf("better %+v, worse %+v", better, worse)
			}
			for _, d := range e.Duties {
				for k, y := range d.Overstress {
					if y.Probability < 0 || y.Probability > 1 || k > 0 && y.Probability < d.Overstress[k-1].Probability {
						t.Fatalf("%+v", d)
					}
				}
				if p := d.PSPDOfSurges; p.Valid && (p.Value > d.PSPDLargest.Value*(1+1e-12) || d.PSPDLargest.Value > 1) {
					t.Fatalf("%+v", d)
				}
			}
		}
	})
}

// stressSampledFlash draws a flash current by the inverse of the distribution, from the quantiles that Python's
// statistics.NormalDist().inv_cdf gives for the points of the table, without the code under test.
func stressSampledFlash(r *rand.Rand) float64 {
	z := r.NormFloat64()
	points := [...][2]float64{{3, -2.3263478740408408}, {5, -1.6448536269514715}, {10, -1.2815515655446008}, {20, -0.8416212335729144},
		{30, -0.2533471031357998},
		{35, 0}, {40, 0.2533471031357998}, {50, 0.5244005127080407}, {60, 0.8416212335729144}, {80, 1.2815515655446008},
		{100, 1.6448536269514715},
		{150, 2.053748910631822}, {200, 2.3263478740408408}, {300, 2.5758293035489}, {400, 2.8781617390954826}, {600, 3.090232306167813}}
	k := 0
	for k < len(points)-2 && points[k+1][1] <= z {
		k++
	}
	a, b := points[k], points[k+1]
	return a[0] * math.Pow(b[0]/a[0], (z-a[1])/(b[1]-a[1]))
}

// Monte Carlo: flashes are drawn year by year and their currents shared out; the counts of surges and of
// years with an overstress agree with the rates within six standard deviations.
func TestAgainstSimulation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := func(what string) float64 { return rapid.Float64Range(0.01, 2).Draw(t, what) }
		res := stressEvents(n("N_D"), n("N_M"), n("N_L"), n("N_DJ"), n("N_I"))
		threshold := rapid.Float64Range(0.01, 10).Draw(t, "i")
		Iimp, Imax := rapid.Float64Range(0.05, 30).Draw(t, "I_imp"), rapid.Float64Range(0.2, 3).Draw(t, "I_max")
		o := StressOptions{Currents: []float64{threshold}, Years: []float64{1},
			Devices: []StressDevice{{0, 0, StressRatings{Iimp: Some(Iimp), Imax: Some(Imax)}}}}
		e := stressOf(t, site1(dwelling, stressTNC()), res, o)[0]
		const years = 4000
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		N := [...]float64{res.Structures[0].Direct, res.Structures[0].Near, res.Lines[0].Direct + res.Lines[0].AdjacentStructure,
			res.Lines[0].Near}
		share := [...]float64{0.5 / 4, 0.2 / 200, 0.5 / 4, 5.0 / 200}
		withstand := [...]float64{Iimp, max(Imax, Iimp), Iimp, max(Imax, Iimp)}
		var impulses, induced, overstressed, bad int
		for range years {
			over := false
			for s := range N {
				for left := r.ExpFloat64() / N[s]; left < 1; left += r.ExpFloat64() / N[s] {
					i := share[s] * stressSampledFlash(r)
					if i > threshold && s%2 == 0 {
						impulses++
					} else if i > threshold {
						induced++
					}
					if i > withstand[s] {
						over = true
						overstressed++
					}
				}
			}
			if over {
				bad++
			}
		}
		counted := func(what string, count int, rate float64) {
			near(t, what, float64(count), rate*years, 6*math.Sqrt(rate*years)+6)
		}
		counted("10/350 surges", impulses, e.Rates[0].Impulse)
		counted("8/20 surges", induced, e.Rates[0].Induced)
		counted("overstresses", overstressed, e.Duties[1].Rate)
		counted("years with an overstress", bad, e.Duties[1].Overstress[0].Probability)
	})
}

// The bounds are the product's own.
func TestStressViolations(t *testing.T) {
	nan := math.NaN()
	in := site1(dwelling, mains(aerial(500)))
	in.Structures = append(in.Structures, risk.Structure{ID: "far"})
	res := stressEvents(nan, 1, -1, 0, math.Inf(1))
	entries := []Entry{{Line: 3}, {Structure: 1}}
	o := StressOptions{Currents: []float64{1, -1, nan}, Years: []float64{0, 2000, 5}, Smallest: Some(-2), LineFlash: 9,
		Devices: []StressDevice{
			{4, -2, StressRatings{Iimp: Some(0), Imax: Some(5), In: Some(10), InNPE: Some(nan)}},
			{0, 1, StressRatings{}},
		}}
	var got []string
	for _, v := range StressViolations(in, res, entries, o) {
		got = append(got, string(v.Rule)+" "+v.Pointer)
		if v.Reason == "" {
			t.Errorf("%+v", v)
		}
	}
	want := []string{"out-of-range /options/currents_ka/1", "out-of-range /options/currents_ka/2", "out-of-range /options/years/0",
		"out-of-range /options/years/1",
		"out-of-range /options/smallest_ka", "out-of-range /options/line_flash", "unknown-reference /options/devices/0/line",
		"unknown-reference /options/devices/0/structure",
		"out-of-range /options/devices/0/iimp_ka", "out-of-range /options/devices/0/in_npe_ka", "contradiction /options/devices/0/imax_ka",
		"unknown-reference /options/devices/1/structure", "unknown-reference /result/structures", "out-of-range /result/structures/0/direct",
		"out-of-range /result/lines/0/direct", "out-of-range /result/lines/0/near", "unknown-reference /entries/0/line",
		"unknown-reference /entries/1/structure"}
	if !slices.Equal(got, want) {
		t.Errorf("%q\nwant %q", got, want)
	}
	if v := StressViolations(in, &risk.Result{Structures: make([]risk.StructureResult, 2)}, nil, StressOptions{}); len(v) != 1 ||
		v[0].Pointer != "/result/lines" {
		t.Errorf("%+v", v)
	}
	many := StressOptions{Currents: make([]float64, 101), Years: slices.Repeat([]float64{1}, 21), Devices: make([]StressDevice, 1001)}
	if v := StressViolations(in, &risk.Result{Structures: make([]risk.StructureResult, 2), Lines: make([]risk.LineResult, 1)}, nil,
		many); len(v) != 3 {
		t.Errorf("%+v", v)
	}
}

func BenchmarkStress(b *testing.B) {
	in := village()
	res := &risk.Result{NG: 9}
	for range in.Structures {
		res.Structures = append(res.Structures, risk.StructureResult{Events: risk.Events{Direct: 0.01, Near: 7}})
	}
	for range in.Lines {
		res.Lines = append(res.Lines, risk.LineResult{Events: risk.Events{Direct: 0.1, Near: 10}})
	}
	entries := Schedule(in, res, nil, nil)
	b.Run("quiet", func(b *testing.B) {
		b.ReportAllocs()
		n := 0
		for b.Loop() {
			n += len(Stress(in, res, entries, StressOptions{}, nil))
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/end")
	})
	// The floor: as many normal tails as there are sources, currents and ratings.
	b.Run("floor", func(b *testing.B) {
		n, sum := 0, 0.0
		for b.Loop() {
			n += 8
			for i := range 8 * 4 * (len(stressCurrents) + 2) {
				sum += normalTail(float64(i) / 100)
			}
		}
		if sum == 0 {
			b.Fatal(sum)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(n), "ns/end")
	})
}

// withoutLife leaves the note on a short life out.
func withoutLife(notes []string) (rest []string) {
	for _, note := range notes {
		if !strings.HasPrefix(note, "Overstressed within") {
			rest = append(rest, note)
		}
	}
	return rest
}

// More than 10 % in ten years names the consequence (common practice, no published source): 1 - exp(-10 r) = 0.1 at r = 0.010536. One
// in ten is reached after 0.10536/r years: 1.05 years at 0.1 a year, 6.3 months at 0.2, 3.2 at 0.4, 1.3 at 1.
func TestLifeNote(t *testing.T) {
	for rate, want := range map[float64]string{0: "", 0.0105: "", 0.0106: "once a year", 0.1: "once a year", 0.2: "six months",
		0.4: "three months", 1: "every month"} {
		if note := lifeNote(rate); (note == "") != (want == "") || !strings.Contains(note, want) {
			t.Errorf("%v a year: %q", rate, note)
		}
	}
}

// Above 600 kA every flash overstresses by its partial lightning current: P stays at 0.001 of Table A.3 (memory).
func TestBeyondTheTable(t *testing.T) {
	for I, want := range map[float64]float64{200: 0.01, 600: 0.001, 601: 0.001, 5000: 0.001} {
		near(t, fmt.Sprint(I), flashExceedsBounded(I, nil), want, 0)
	}
}
