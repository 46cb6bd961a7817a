package spd

import (
	"fmt"
	"testing"

	"levinward/risk"
	"levinward/risk/trace"
)

func reason(t tester, e *Entry, field, mode string) string {
	t.Helper()
	for _, b := range e.Basis {
		if b.Field == field && b.Mode == mode {
			return b.Reason
		}
	}
	t.Fatalf("no basis of %s %s", field, mode)
	return ""
}

// U_C by type of system earthing, IEC 60364-5-53 (2002 and 2015), read: L-N, L-PE in TN and TT and L-PEN 1.1 U0, L-PE in IT
// sqrt(3) x 1.1 U0, N-PE U0; in IT N-PE 1.1 U0 (memory). 277 V: 304.7, 527.75, 277 V. 120 V: 132, 228.63, 120 V. 400 V: 440, 762.1, 400 V.
func TestOperatingVoltageBySystem(t *testing.T) {
	type volts map[string]float64
	for nominal, u := range map[float64][3]float64{277: {304.7, 527.75, 277}, 120: {132, 228.63, 120}, 400: {440, 762.10, 400}, 240: {264,
		457.26, 240}} {
		for _, c := range []struct {
			system  risk.EarthingSystem
			phases  int
			neutral bool
			conn    Connection
			want    volts
		}{
			{risk.TT, 1, true, CT2, volts{"L-N": u[0], "L-PE": u[0], "N-PE": u[2]}},
			{risk.TT, 1, false, CT2, volts{"L-N": u[0], "L-PE": u[0], "N-PE": u[2]}}, // one phase has a neutral
			{risk.TT, 3, true, CT2, volts{"L-N": u[0], "L-PE": u[0], "N-PE": u[2]}},
			{risk.TT, 3, false, CT1, volts{"L-PE": u[0]}},
			{risk.TNS, 3, true, CT2, volts{"L-N": u[0], "L-PE": u[0], "N-PE": u[2]}},
			{risk.TNS, 3, false, CT1, volts{"L-PE": u[0]}},
			{risk.TNC, 3, false, CT1, volts{"L-PEN": u[0]}},
			{risk.TNCS, 1, true, CT1, volts{"L-PEN": u[0]}},
			{risk.IT, 3, true, CT2, volts{"L-N": u[0], "L-PE": u[1], "N-PE": u[0]}},
			{risk.IT, 3, false, CT1, volts{"L-PE": u[1]}},
			{risk.IT, 1, false, CT1, volts{"L-PE": u[1]}},
		} {
			l := mains(aerial(300))
			l.Electrical.System, l.Electrical.Nominal, l.Electrical.Phases, l.Electrical.Neutral = c.system, nominal, c.phases, c.neutral
			e := first(t, site1(dwelling, l), 1)
			what := fmt.Sprintf("%v V, %+v", nominal, c)
			if e.Connection != c.conn || len(e.Modes) != len(c.want) {
				t.Errorf("%s: %s %+v", what, e.Connection, e.Modes)
				continue
			}
			highest := 0.0
			for name, want := range c.want {
				near(t, what+" "+name, mode(t, &e, name).UcMin.Value, want, 0.01)
				highest = max(highest, want)
			}
			near(t, what, e.UcMin.Value, highest, 0.01)
		}
	}
}

// At 230 V the printed values hold (read) as long as the voltage does not rise above them; beyond, the formulas: 254.5 V,
// sqrt(3) x 254.5 = 440.81 V, 254.5/1.1 = 231.36 V. In IT N-PE sees 1.1 U0 as L-N does (memory).
func TestPrintedOperatingVoltages(t *testing.T) {
	for highest, want := range map[float64]struct {
		LN, IT, NPE float64
		printed     bool
	}{0: {254, 440, 231, true}, 230: {254, 440, 231, true}, 254: {254, 440, 231, true}, 254.5: {254.5, 440.81, 231.36, false},
		265: {265, 458.99, 240.91, false}} {
		for system, name := range map[risk.EarthingSystem]string{risk.TT: "L-N", risk.IT: "L-PE"} {
			l := mains(aerial(300))
			l.Electrical.System, l.Electrical.Phases, l.Electrical.MaxOperating = system, 3, highest
			e := first(t, site1(dwelling, l), 1)
			uc := map[string]float64{"L-N": want.LN, "L-PE": want.IT}[name]
			near(t, fmt.Sprint(highest, " V ", name), mode(t, &e, name).UcMin.Value, uc, 0.01)
			npe := map[risk.EarthingSystem]float64{risk.TT: want.NPE, risk.IT: want.LN}[system]
			near(t, fmt.Sprint(highest, " V N-PE"), mode(t, &e, "N-PE").UcMin.Value, npe, 0.01)
			if got := reason(t, &e, "uc_min_v", name) == byPrintedUc.reason; got != want.printed {
				t.Errorf("%v V: %s", highest, reason(t, &e, "uc_min_v", name))
			}
		}
	}
	// where no highest voltage is given the worksheet computes it: 1.1 x 240 = 264 V (read)
	l := mains(aerial(300))
	l.Electrical.Nominal = 240
	only(t, "highest voltage", recorded(t, site1(dwelling, l), 1, "U_max"), 264, 1e-9)
}

// Rural lines vary in voltage: one commercial step above the minimum (read in a trade handbook).
func TestRuralLines(t *testing.T) {
	for environment, want := range map[risk.Environment]bool{risk.Rural: true, risk.Suburban: false, risk.Urban: false} {
		if e := first(t, site1(dwelling, mains(cable(300, environment))), 1); hasNote(&e, "Rural lines vary in voltage") != want {
			t.Errorf("%v: %q", environment, e.Notes)
		}
	}
}

// Battery circuits: 1.1 times the highest charging voltage, 15.5, 31 and 62 V at 12, 24 and 48 V, others in proportion to 48 V;
// a voltage that is given wins. Common practice, no published source. 36 V: 1.1 x 46.5 = 51.15 V; 110 V: 1.1 x 142.08 = 156.3 V;
// 14.4 V given: 15.84 V. 6 V: 8.525 V.
func TestChargingVoltages(t *testing.T) {
	for _, c := range []struct {
		nominal, highest, input, want float64
		why                           *rule
	}{
		{12, 0, 0, 18, &byBattery}, {24, 0, 0, 36, &byBattery}, {48, 0, 0, 72, &byBattery}, {24, 0, 60, 36, &byBattery},
		{36, 0, 0, 51.15, &byCharging}, {110, 0, 0, 156.29, &byCharging}, {6, 0, 0, 8.525, &byCharging},
		{12, 14.4, 0, 15.84, &byCharging}, {48, 57.6, 0, 63.36, &byCharging}, {0, 28.8, 0, 31.68, &byCharging},
		{36, 0, 60, 60, &byInput}, {0, 0, 33, 33, &byInput},
	} {
		for _, origin := range []risk.DCOrigin{risk.Battery, risk.Load} {
			l := array(20)
			l.Electrical = risk.Electrical{Current: risk.DC, Origin: origin, Nominal: c.nominal, MaxOperating: c.highest,
				EquipmentMaxInput: c.input}
			e := first(t, site1(dwelling, l), 1)
			for _, m := range e.Modes {
				near(t, fmt.Sprintf("%+v %s", c, m.Mode), m.UcMin.Value, c.want, 0.002)
			}
			if why := reason(t, &e, "uc_min_v", ""); why != c.why.reason {
				t.Errorf("%+v: %s", c, why)
			}
		}
	}
	l := array(20)
	l.Electrical = risk.Electrical{Current: risk.DC, Origin: risk.Battery}
	e := first(t, site1(dwelling, l), 1)
	if e.Specifiable || e.UcMin.Valid || e.Modes[0].UcMin.Valid || e.UpMax.Valid || e.Withstand.Valid || !hasNote(&e, noteNoBattery) {
		t.Errorf("nothing known: %+v", e)
	}
}

// U_OC,MAX = U_OC (1 + alpha (T_min - 25)), not below U_OC, or 1.2 U_OC where coefficient or temperature is not known (IEC
// 60364-7-712, read). 80 V, -0.4 % per degree: at -10 degrees 80 x 1.14 = 91.2 V, at 25 and 40 degrees 80 V; factor 96 V;
// -0.2 %: 85.6 V; at 0 degrees 88 V.
func TestColdestDay(t *testing.T) {
	at := func(T float64) *float64 { return &T }
	for _, c := range []struct {
		alpha   float64
		coldest *float64
		want    float64
		why     *rule
	}{
		{-0.004, at(-10), 91.2, &byPVCold}, {-0.004, at(25), 80, &byPVCold}, {-0.004, at(40), 80, &byPVCold}, {-0.002, at(-10), 85.6, &byPVCold},
		{-0.004, at(0), 88, &byPVCold}, {-0.004, nil, 96, &byPVFactor}, {0, at(-10), 96, &byPVFactor}, {0, nil, 96, &byPVFactor},
	} {
		l := array(5)
		l.Electrical.OpenCircuit, l.Electrical.TemperatureCoefficient, l.Electrical.LowestTemperature = 80, c.alpha, c.coldest
		e := first(t, site1(dwelling, l), 1)
		near(t, fmt.Sprintf("%+v", c), e.UcMin.Value, c.want, 1e-9)
		if why := reason(t, &e, "uc_min_v", ""); why != c.why.reason {
			t.Errorf("%+v: %s", c, why)
		}
	}
}

// Without an open-circuit voltage the highest input of the equipment counts (common practice, no published source), then the
// highest voltage given (read).
func TestPhotovoltaicVoltageNotKnown(t *testing.T) {
	for _, c := range []struct {
		input, highest, want float64
		why                  *rule
	}{{130, 0, 130, &byInput}, {130, 110, 130, &byInput}, {0, 110.2, 110.2, &byGivenUc}} {
		l := array(5)
		l.Electrical.OpenCircuit, l.Electrical.EquipmentMaxInput, l.Electrical.MaxOperating = 0, c.input, c.highest
		e := first(t, site1(dwelling, l), 1)
		near(t, fmt.Sprintf("%+v", c), e.UcMin.Value, c.want, 1e-9)
		if why := reason(t, &e, "uc_min_v", ""); why != c.why.reason {
			t.Errorf("%+v: %s", c, why)
		}
	}
	l := array(5)
	l.Electrical.OpenCircuit = 0
	if e := first(t, site1(dwelling, l), 1); e.Specifiable || e.UcMin.Valid || e.UpMax.Valid || !hasNote(&e, noteNoArray) {
		t.Errorf("%+v", e)
	}
}

// An array of 150 V with a coefficient of -0.4 % per degree has 150 x 1.14 = 171 V at -10 degrees and must not exceed the highest input
// of the equipment (IEC 60364-7-712, read). With the factor of 1.2, 180 V, nothing of the array is computed: its real voltage is not known.
func TestArrayAboveTheInput(t *testing.T) {
	cold := -10.0
	for input, want := range map[float64]bool{0: false, 170: true, 171.01: false, 181: false} {
		l := array(5)
		l.Electrical.EquipmentMaxInput = input
		e := first(t, site1(dwelling, l), 1)
		if hasNote(&e, "Contradiction") || !hasNote(&e, noteArrayNotKnown) || e.UcMin != Some(180) {
			t.Errorf("factor, %v V: %v %q", input, e.UcMin, e.Notes)
		}
		l.Electrical.TemperatureCoefficient, l.Electrical.LowestTemperature = -0.004, &cold
		e = first(t, site1(dwelling, l), 1)
		near(t, "U_C", e.UcMin.Value, 171, 1e-9)
		if hasNote(&e, "Contradiction: on the coldest day the array, at 171 V, exceeds") != want || hasNote(&e, noteArrayNotKnown) {
			t.Errorf("%v V: %q", input, e.Notes)
		}
	}
}

// The share of U_W that may reach the equipment: U_W at the equipment (memory), 0.8 U_W up to 10 m (read), 0.5 U_W with life or a public
// service at stake (memory), and why. U_W 4 kV: 4, 3.2 and 2 kV.
func TestTargetShares(t *testing.T) {
	for _, c := range []struct {
		distance float64
		s        risk.Structure
		limits   []float64
		why      []*rule
	}{
		{0, dwelling, []float64{3.2}, []*rule{&byTargetNear}},
		{10, dwelling, []float64{3.2}, []*rule{&byTargetNear}},
		{10.1, dwelling, []float64{3.2, 4}, []*rule{&byTargetTwo, &bySecondUp}},
		{10, risk.Structure{FailureEndangersLife: true}, []float64{2}, []*rule{&byTargetLife}},
		{0, risk.Structure{PublicSupply: risk.PowerGasWater}, []float64{2}, []*rule{&byTargetLife}},
		{10.1, risk.Structure{FailureEndangersLife: true}, []float64{3.2, 4}, []*rule{&byTargetTwo, &bySecondUp}},
	} {
		l := mains(aerial(300))
		l.Withstand, l.Electrical.EquipmentDistance = 4, c.distance
		es := schedule(t, site1(c.s, l), 1, nil)
		if len(es) != len(c.limits) {
			t.Errorf("%+v: %d devices", c, len(es))
			continue
		}
		for i := range es {
			near(t, fmt.Sprintf("%v m, %s", c.distance, es[i].Position), es[i].EffectiveMax.Value, c.limits[i], 1e-12)
			if why := reason(t, &es[i], "up_max_kv", ""); why != c.why[i].reason {
				t.Errorf("%v m, %s: %s", c.distance, es[i].Position, why)
			}
			if es[i].Second != (i == 0 && len(es) == 2) {
				t.Errorf("%v m, %s: second %v", c.distance, es[i].Position, es[i].Second)
			}
		}
	}
}

// U_P with its leads, 1 kV/m with partial lightning currents or beyond 0.5 m (read), 0.2 U_P with induced surges (memory).
// U_W 4 kV, 0.8 x 4 = 3.2 kV: induced 3.2/1.2 = 2.667; lightning, 0.3 m 2.9 and 0.5 m 2.7, both above 2.667; 0.6 m 2.6; 0.9 m 2.3; 1.4 m
// 1.8 kV.
func TestProtectionLevelWithLeads(t *testing.T) {
	for _, c := range []struct {
		s             risk.Structure
		leads, want   float64
		allowed       float64
		tooLong, told bool
	}{
		{dwelling, 0, 3.2 / 1.2, 0.5, false, false},
		{dwelling, 0.5, 3.2 / 1.2, 0.5, false, false},
		{dwelling, 0.6, 2.6, 0.5, true, false},
		{dwelling, 0.9, 2.3, 0.5, true, false},
		{dwelling, 1.4, 1.8, 0.5, true, false},
		{risk.Structure{LPS: risk.LPSIII}, 0, 3.2 / 1.2, 0.5, false, false},
		{risk.Structure{LPS: risk.LPSIII}, 0.3, 3.2 / 1.2, 0.3, false, true},
		{risk.Structure{LPS: risk.LPSIII}, 0.5, 3.2 / 1.2, 0.5, false, false},
		{risk.Structure{LPS: risk.LPSIII}, 0.9, 2.3, 0.5, true, false},
	} {
		l := mains(aerial(300))
		l.Withstand, l.Electrical.LeadLength = 4, c.leads
		e := first(t, site1(c.s, l), 1)
		what := fmt.Sprintf("class %s, leads of %v m", e.TestClass, c.leads)
		near(t, what, e.UpMax.Value, c.want, 1e-12)
		near(t, what+" allowed", e.Leads.MaxLength.Value, c.allowed, 0)
		if hasNote(&e, "The leads are longer than 0.5 m") != c.tooLong {
			t.Errorf("%s: %q", what, e.Notes)
		}
		if got := reason(t, &e, "leads.max_length_m", "") == byGivenLeads.reason; got != c.told {
			t.Errorf("%s: %s", what, reason(t, &e, "leads.max_length_m", ""))
		}
	}
}

// The distance to the equipment is asked for where it is not known and no second device is wanted anyway, at the entrance
// alone. 10 m is read (IEC 60364-5-53); what is asked for is common practice, no published source.
func TestDistanceAskedFor(t *testing.T) {
	const note = "Taken as up to 10 m of cable to the equipment"
	for _, c := range []struct {
		withstand, distance float64
		life, want          bool
	}{{2.5, 0, false, true}, {2.5, 5, false, false}, {2.5, 30, false, false}, {2.5, 0, true, false}, {4, 0, true, true}} {
		l := mains(aerial(300))
		l.Withstand, l.Electrical.EquipmentDistance = c.withstand, c.distance
		for i, e := range schedule(t, site1(risk.Structure{FailureEndangersLife: c.life}, l), 1, nil) {
			if hasNote(&e, note) != (c.want && i == 0) {
				t.Errorf("%+v, %s: %q", c, e.Position, e.Notes)
			}
		}
	}
}

// The upper bound of U_C on d.c., onset of 1.3 (common practice, no published source), must leave room above the lower. The usual U_P/U_C
// of 3.5 on preferred U_P decides whether leads are allowed. U_W 1.1 kV: 0.88/1.2 = 0.7333 kV with leads, a preferred 0.7 kV up to 200 V,
// U_C up to 564.1 V; through the terminals 0.88 kV, 676.9 V. U_W 0.95 kV: with leads 0.6333 kV, preferred 0.6 kV, onset 461.5 V, U_C up
// to 487.2 V; without 0.76 kV, 584.6 V.
func TestRoomBetweenTheBounds(t *testing.T) {
	for _, c := range []struct{ withstand, input, up, leads, ucMax float64 }{
		{1.1, 199, 0.88 / 1.2, 0.5, 564.1}, {1.1, 200, 0.88, 0, 676.92}, {1.1, 227, 0.88, 0, 676.92},
		{0.95, 461, 0.76 / 1.2, 0.5, 487.18}, {0.95, 462, 0.76, 0, 584.62}, {0.95, 538, 0.76, 0, 584.62},
	} {
		l := array(5)
		l.Withstand, l.Electrical.OpenCircuit, l.Electrical.EquipmentMaxInput = c.withstand, 0, c.input
		e := first(t, site1(dwelling, l), 1)
		what := fmt.Sprintf("%+v", c)
		near(t, what+" U_P", e.UpMax.Value, c.up, 1e-12)
		near(t, what+" leads", e.Leads.MaxLength.Value, c.leads, 0)
		near(t, what+" U_C at most", e.UcMax.Value, c.ucMax, 0.01)
	}
	// at the very bound of the onset no device is sure to act in time
	l := array(5)
	l.Withstand, l.Electrical.OpenCircuit, l.Electrical.EquipmentMaxInput = 0.95, 0, 539 // the next preferred U_P, 0.7 kV: 538.5 V
	if e := first(t, site1(dwelling, l), 1); e.UcMax.Valid || !hasNote(&e, "Contradiction to resolve") {
		t.Errorf("%+v", e)
	}
}

// The worksheet reads the upper bound of U_C: 1000 U_P/(k_on k_p), 1667/(1.2 sqrt 2).
func TestUpperBoundIsRecorded(t *testing.T) {
	tr := trace.New(200)
	e := Schedule(site1(dwelling, mains(aerial(300))), &risk.Result{NG: 1}, nil, tr)[0]
	for i := range tr.Steps {
		if s := &tr.Steps[i]; s.Quantity == qUcMax {
			near(t, "U_C at most", s.Value, 982.1, 0.05)
			near(t, "the entry", e.UcMax.Value, 982.1, 0.05)
			return
		}
	}
	t.Error("not recorded")
}

// A highest voltage below 1.1 U0 does not lower U_C (IEC 60364-5-53, read): 250 V at 240 V asks for 264 V, in IT for sqrt(3) x
// 264 = 457.26 V, N-PE for 240 V, in IT for 264 V (memory).
func TestHighestVoltageBelowTenPercent(t *testing.T) {
	for system, want := range map[risk.EarthingSystem]float64{risk.TT: 264, risk.IT: 457.26} {
		l := mains(aerial(300))
		l.Electrical.System, l.Electrical.Phases, l.Electrical.Nominal, l.Electrical.MaxOperating = system, 3, 240, 250
		e := first(t, site1(dwelling, l), 1)
		near(t, system.String(), e.UcMin.Value, want, 0.01)
		npe := map[risk.EarthingSystem]float64{risk.TT: 240, risk.IT: 264}[system]
		near(t, system.String()+" N-PE", mode(t, &e, "N-PE").UcMin.Value, npe, 1e-9)
	}
}
