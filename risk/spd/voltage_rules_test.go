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
// sqrt(3) x 1.1 U0, N-PE U0; up to the next full volt (common practice). 277 V: 304.7, 527.8, 277 V. 120 V: 132, 228.6, 120 V.
// 400 V: 440, 762.1, 400 V.
func TestOperatingVoltageBySystem(t *testing.T) {
	type volts map[string]float64
	for nominal, u := range map[float64][3]float64{277: {305, 528, 277}, 120: {132, 229, 120}, 400: {440, 763, 400}, 240: {264, 458, 240}} {
		for _, c := range []struct {
			system  risk.EarthingSystem
			phases  int
			neutral bool
			conn    Connection
			want    volts
		}{
			{risk.TT, 1, true, CT2, volts{"L-N": u[0], "N-PE": u[2]}},
			{risk.TT, 1, false, CT2, volts{"L-N": u[0], "N-PE": u[2]}}, // one phase has a neutral
			{risk.TT, 3, true, CT2, volts{"L-N": u[0], "N-PE": u[2]}},
			{risk.TT, 3, false, CT1, volts{"L-PE": u[0]}},
			{risk.TNS, 3, true, CT2, volts{"L-N": u[0], "N-PE": u[2]}},
			{risk.TNS, 3, false, CT1, volts{"L-PE": u[0]}},
			{risk.TNC, 3, false, CT1, volts{"L-PEN": u[0]}},
			{risk.TNCS, 1, true, CT1, volts{"L-PEN": u[0]}},
			{risk.IT, 3, true, CT1, volts{"L-PE": u[1], "N-PE": u[2]}},
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
				near(t, what+" "+name, mode(t, &e, name).UcMin.Value, want, 0)
				highest = max(highest, want)
			}
			near(t, what, e.UcMin.Value, highest, 0)
		}
	}
}

// At 230 V the printed values hold (read) as long as the voltage does not rise above them; beyond, the formulas: 254.5 V,
// sqrt(3) x 254.5 = 440.8 V, 254.5/1.1 = 231.4 V.
func TestPrintedOperatingVoltages(t *testing.T) {
	for highest, want := range map[float64]struct {
		LN, IT, NPE float64
		printed     bool
	}{0: {254, 440, 231, true}, 230: {254, 440, 231, true}, 254: {254, 440, 231, true}, 254.5: {255, 441, 232, false},
		265: {265, 459, 241, false}} {
		for system, name := range map[risk.EarthingSystem]string{risk.TT: "L-N", risk.IT: "L-PE"} {
			l := mains(aerial(300))
			l.Electrical.System, l.Electrical.Phases, l.Electrical.MaxOperating = system, 3, highest
			e := first(t, site1(dwelling, l), 1)
			uc := map[string]float64{"L-N": want.LN, "L-PE": want.IT}[name]
			near(t, fmt.Sprint(highest, " V ", name), mode(t, &e, name).UcMin.Value, uc, 0)
			near(t, fmt.Sprint(highest, " V N-PE"), mode(t, &e, "N-PE").UcMin.Value, want.NPE, 0)
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
// 14.4 V given: 15.84 V.
func TestChargingVoltages(t *testing.T) {
	for _, c := range []struct {
		nominal, highest, input, want float64
		why                           *rule
	}{
		{12, 0, 0, 18, &byBattery}, {24, 0, 0, 36, &byBattery}, {48, 0, 0, 72, &byBattery}, {24, 0, 60, 36, &byBattery},
		{36, 0, 0, 52, &byCharging}, {110, 0, 0, 157, &byCharging}, {6, 0, 0, 9, &byCharging},
		{12, 14.4, 0, 16, &byCharging}, {48, 57.6, 0, 64, &byCharging}, {0, 28.8, 0, 32, &byCharging},
		{36, 0, 60, 60, &byInput}, {0, 0, 33, 33, &byInput},
	} {
		for _, origin := range []risk.DCOrigin{risk.Battery, risk.Load} {
			l := array(20)
			l.Electrical = risk.Electrical{Current: risk.DC, Origin: origin, Nominal: c.nominal, MaxOperating: c.highest,
				EquipmentMaxInput: c.input}
			e := first(t, site1(dwelling, l), 1)
			for _, m := range e.Modes {
				near(t, fmt.Sprintf("%+v %s", c, m.Mode), m.UcMin.Value, c.want, 0)
			}
			if why := reason(t, &e, "uc_min_v", ""); why != c.why.reason {
				t.Errorf("%+v: %s", c, why)
			}
		}
	}
	l := array(20)
	l.Electrical = risk.Electrical{Current: risk.DC, Origin: risk.Battery}
	e := first(t, site1(dwelling, l), 1)
	if e.UcMin.Valid || e.Modes[0].UcMin.Valid || !hasNote(&e, "U_C needs the nominal or the highest voltage") {
		t.Errorf("nothing known: %+v", e)
	}
}

// U_OC,MAX = U_OC (1 + alpha (T_min - 25)), not below U_OC, or 1.2 U_OC where coefficient or temperature is not known (IEC
// 60364-7-712, read). 80 V, -0.4 % per degree: at -10 degrees 80 x 1.14 = 91.2 V, at 25 and 40 degrees 80 V; factor 96 V. Up to
// the next full volt.
func TestColdestDay(t *testing.T) {
	at := func(T float64) *float64 { return &T }
	for _, c := range []struct {
		alpha   float64
		coldest *float64
		want    float64
		why     *rule
	}{
		{-0.004, at(-10), 92, &byPVCold}, {-0.004, at(25), 80, &byPVCold}, {-0.004, at(40), 80, &byPVCold}, {-0.002, at(-10), 86, &byPVCold},
		{-0.004, at(0), 88, &byPVCold}, {-0.004, nil, 96, &byPVFactor}, {0, at(-10), 96, &byPVFactor}, {0, nil, 96, &byPVFactor},
	} {
		l := array(5)
		l.Electrical.OpenCircuit, l.Electrical.TemperatureCoefficient, l.Electrical.LowestTemperature = 80, c.alpha, c.coldest
		e := first(t, site1(dwelling, l), 1)
		near(t, fmt.Sprintf("%+v", c), e.UcMin.Value, c.want, 0)
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
	}{{130, 0, 130, &byInput}, {130, 110, 130, &byInput}, {0, 110.2, 111, &byGivenUc}} {
		l := array(5)
		l.Electrical.OpenCircuit, l.Electrical.EquipmentMaxInput, l.Electrical.MaxOperating = 0, c.input, c.highest
		e := first(t, site1(dwelling, l), 1)
		near(t, fmt.Sprintf("%+v", c), e.UcMin.Value, c.want, 0)
		if why := reason(t, &e, "uc_min_v", ""); why != c.why.reason {
			t.Errorf("%+v: %s", c, why)
		}
	}
	l := array(5)
	l.Electrical.OpenCircuit = 0
	if e := first(t, site1(dwelling, l), 1); e.UcMin.Valid || !hasNote(&e, "U_C needs the open-circuit voltage") {
		t.Errorf("%+v", e)
	}
}

// An array of 150 V, 180 V with the factor of 1.2 (read), must not exceed the highest input of the equipment.
func TestArrayAboveTheInput(t *testing.T) {
	for input, want := range map[float64]bool{0: false, 179: true, 180: false, 181: false} {
		l := array(5)
		l.Electrical.EquipmentMaxInput = input
		if e := first(t, site1(dwelling, l), 1); hasNote(&e, "Contradiction: on the coldest day") != want || e.UcMin != Some(180) {
			t.Errorf("%v V: %v %q", input, e.UcMin, e.Notes)
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
		{10.1, dwelling, []float64{3.2, 4}, []*rule{&byTargetTwo, &byTargetAt}},
		{10, risk.Structure{FailureEndangersLife: true}, []float64{2}, []*rule{&byTargetLife}},
		{0, risk.Structure{PublicSupply: risk.PowerGasWater}, []float64{2}, []*rule{&byTargetLife}},
		{10.1, risk.Structure{FailureEndangersLife: true}, []float64{3.2, 4}, []*rule{&byTargetTwo, &byTargetAt}},
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

// U_P with its leads, 1 kV/m with partial lightning currents or beyond 0.5 m (read), 0.2 U_P with induced surges (memory), next
// preferred value downwards (read). U_W 4 kV, 0.8 x 4 = 3.2 kV: induced 3.2/1.2 = 2.67; lightning, 0.5 m 2.7 -> min(2.7, 2.67);
// 0.9 m 2.3; 1.4 m 1.8 kV.
func TestProtectionLevelWithLeads(t *testing.T) {
	for _, c := range []struct {
		s             risk.Structure
		leads, want   float64
		allowed       float64
		tooLong, told bool
	}{
		{dwelling, 0, 2.5, 0.5, false, false},
		{dwelling, 0.5, 2.5, 0.5, false, false},
		{dwelling, 0.6, 2.5, 0.5, true, false},
		{dwelling, 0.9, 2, 0.5, true, false},
		{dwelling, 1.4, 1.8, 0.5, true, false},
		{risk.Structure{LPS: risk.LPSIII}, 0, 2.5, 0.5, false, false},
		{risk.Structure{LPS: risk.LPSIII}, 0.3, 2.5, 0.3, false, true},
		{risk.Structure{LPS: risk.LPSIII}, 0.5, 2.5, 0.5, false, false},
		{risk.Structure{LPS: risk.LPSIII}, 0.9, 2, 0.5, true, false},
	} {
		l := mains(aerial(300))
		l.Withstand, l.Electrical.LeadLength = 4, c.leads
		e := first(t, site1(c.s, l), 1)
		what := fmt.Sprintf("class %s, leads of %v m", e.TestClass, c.leads)
		near(t, what, e.UpMax.Value, c.want, 0)
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

// The upper bound of U_C on d.c., usual U_P/U_C of 3.5 and onset of 1.5 (common practice, no published source), must leave room
// above the lower. U_W 1.1 kV: 0.88/1.2 gives U_P 0.7 kV with leads, up to 700/3.5 = 200 V; through the terminals 0.8 kV and 228
// V. U_W 0.95 kV: 0.6 kV with leads, onset bound 400 V; without 0.7 kV and 466 V.
func TestRoomBetweenTheBounds(t *testing.T) {
	for _, c := range []struct{ withstand, input, up, leads, ucMax float64 }{
		{1.1, 199, 0.7, 0.5, 200}, {1.1, 200, 0.8, 0, 228}, {1.1, 227, 0.8, 0, 228},
		{0.95, 399, 0.6, 0.5, 400}, {0.95, 400, 0.7, 0, 466}, {0.95, 465, 0.7, 0, 466},
	} {
		l := array(5)
		l.Withstand, l.Electrical.OpenCircuit, l.Electrical.EquipmentMaxInput = c.withstand, 0, c.input
		e := first(t, site1(dwelling, l), 1)
		what := fmt.Sprintf("%+v", c)
		near(t, what+" U_P", e.UpMax.Value, c.up, 0)
		near(t, what+" leads", e.Leads.MaxLength.Value, c.leads, 0)
		near(t, what+" U_C at most", e.UcMax.Value, c.ucMax, 0)
	}
	// at the very bound of the onset no device is sure to act in time
	l := array(5)
	l.Withstand, l.Electrical.OpenCircuit, l.Electrical.EquipmentMaxInput = 0.95, 0, 466
	if e := first(t, site1(dwelling, l), 1); e.UcMax.Valid || !hasNote(&e, "Contradiction to resolve") {
		t.Errorf("%+v", e)
	}
}

// The worksheet reads the upper bound of U_C as it is printed: floor(1000 U_P/r_P).
func TestUpperBoundIsRecorded(t *testing.T) {
	tr := trace.New(200)
	e := Schedule(site1(dwelling, mains(aerial(300))), &risk.Result{NG: 1}, nil, tr)[0]
	for i := range tr.Steps {
		if s := &tr.Steps[i]; s.Quantity == qUcMax {
			near(t, "U_C at most: 1500/4.5", s.Value, 333, 0)
			near(t, "the entry", e.UcMax.Value, 333, 0)
			return
		}
	}
	t.Error("not recorded")
}

// A highest voltage below 1.1 U0 does not lower U_C (IEC 60364-5-53, read): 250 V at 240 V asks for 264 V, in IT for sqrt(3) x
// 264 = 457.3 V, N-PE for 240 V.
func TestHighestVoltageBelowTenPercent(t *testing.T) {
	for system, want := range map[risk.EarthingSystem]float64{risk.TT: 264, risk.IT: 458} {
		l := mains(aerial(300))
		l.Electrical.System, l.Electrical.Phases, l.Electrical.Nominal, l.Electrical.MaxOperating = system, 3, 240, 250
		e := first(t, site1(dwelling, l), 1)
		near(t, system.String(), e.UcMin.Value, want, 0)
		near(t, system.String()+" N-PE", mode(t, &e, "N-PE").UcMin.Value, 240, 0)
	}
}
