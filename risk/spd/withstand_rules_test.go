package spd

import (
	"fmt"
	"strings"
	"testing"

	"levinward/risk"
	"levinward/risk/trace"
)

// U_W by overvoltage category, IEC 60664-1 Table F.1: read; III and IV of 1500 V d.c. from one source. Columns IV, III, II, I.
func TestWithstandByCategory(t *testing.T) {
	want := [][4]float64{
		{1.5, 0.8, 0.5, 0.33}, // 50 V
		{2.5, 1.5, 0.8, 0.5},  // 100 V
		{4, 2.5, 1.5, 0.8},    // 120/208 V
		{6, 4, 2.5, 1.5},      // 230/400, 277/480 V
		{8, 6, 4, 2.5},        // 400/690 V
		{12, 8, 6, 4},         // 1000 V
		{15, 10, 8, 6},        // 1500 V d.c.
	}
	if got := fmt.Sprint(ratedWithstand.Symbols); got != "[IV III II I]" || len(ratedWithstand.Rows) != len(want) {
		t.Fatalf("%s, %d rows", got, len(ratedWithstand.Rows))
	}
	for i, row := range want {
		for col, U := range row {
			near(t, ratedWithstand.Rows[i].Text+", category "+ratedWithstand.Symbols[col], ratedWithstand.Rows[i].Values[col], U, 0)
		}
	}
}

// Equipment of which nothing is stated is of category II, and a row serves voltages up to its own (IEC 60664-1, read). Between the
// printed systems 150, 300 and 600 V to neutral are the steps of the standard's row for the line to neutral (from memory).
func TestUnstatedWithstandIsCategoryII(t *testing.T) {
	for _, c := range []struct{ nominal, want float64 }{
		{0, 0.5}, {12, 0.5}, {48, 0.5}, {50, 0.5}, {50.1, 0.8}, {60, 0.8}, {100, 0.8}, {100.1, 1.5}, {120, 1.5}, {150, 1.5}, {150.1, 2.5},
		{230, 2.5}, {277, 2.5}, {300, 2.5}, {300.1, 4}, {400, 4}, {600, 4}, {600.1, 6}, {1000, 6}, {1000.1, 8}, {1500, 8},
	} {
		for _, el := range []risk.Electrical{{Nominal: c.nominal}, {Current: risk.DC, Origin: risk.Battery, Nominal: c.nominal},
			{Current: risk.DC, Origin: risk.Load, Nominal: c.nominal}} {
			u := Withstand(risk.LowVoltage, &el, nil)
			kV, reason, clause := u.Withstand, u.Reason, u.Clause
			near(t, fmt.Sprint(c.nominal, " V"), kV, c.want, 0)
			if !strings.HasPrefix(reason, "overvoltage category II at ") || clause != "IEC 60664-1 Table F.1" {
				t.Errorf("%s, %s", reason, clause)
			}
		}
		l := mains(aerial(300))
		l.Withstand, l.Electrical.Nominal = 0, c.nominal
		if e := demand(t, l, nil); e.Withstand != Some(c.want) {
			t.Errorf("%v V: a place asks for %v", c.nominal, e.Withstand)
		}
	}
	u := Withstand(risk.Telecom, &risk.Electrical{Nominal: 48}, nil)
	kV, clause := u.Withstand, u.Clause
	near(t, "a telephone port: ITU-T K.21, from memory", kV, 1.5, 0)
	if clause != "ITU-T K.21" || u.Provenance != trace.Memory {
		t.Error(clause)
	}
}

// pvPrinted are U_OC,MAX and U_W of modules, other equipment and grid inverters, from memory of CLC/TS 50539-12.
var pvPrinted = [][4]float64{
	{100, 0.8, 0.8, 2.5}, {150, 1.5, 1.5, 2.5}, {300, 2.5, 2.5, 2.5}, {424, 4, 4, 4}, {600, 4, 4, 4}, {800, 5, 5, 5}, {1000, 6, 6, 6},
	{1500, 8, 8, 8},
}

// Photovoltaic equipment of unstated U_W: the row at or below the open-circuit voltage, the lowest row under 100 V (from memory).
func TestUnstatedWithstandOfPhotovoltaics(t *testing.T) {
	columns := map[risk.Equipment]int{risk.Module: 1, risk.OtherEquipment: 2, risk.ChargeController: 2, risk.Inverter: 3}
	for equipment, col := range columns {
		for i, row := range pvPrinted {
			below := pvPrinted[max(i-1, 0)][col]
			for U, want := range map[float64]float64{row[0]: row[col], row[0] + 0.1: row[col], row[0] - 0.1: below} {
				u := Withstand(risk.LowVoltage, &risk.Electrical{Current: risk.DC, OpenCircuit: U, Equipment: equipment}, nil)
				kV, reason := u.Withstand, u.Reason
				near(t, fmt.Sprint(equipment, " at ", U, " V"), kV, want, 0)
				if !strings.Contains(reason, equipment.String()) {
					t.Error(reason)
				}
			}
		}
	}
}

// The device at an array protects the modules: their row at or below U_OC,MAX, which without a temperature is 1.2 U_OC (read).
// 1.2 x 125 V is 150 V. Without an open-circuit voltage U_W of the line counts.
func TestWithstandOfModules(t *testing.T) {
	for _, c := range []struct{ open, input, want float64 }{
		{80, 0, 0.8}, {124.9, 0, 0.8}, {125, 0, 1.5}, {249.9, 0, 1.5}, {250, 0, 2.5}, {500, 0, 4}, {1250, 0, 8}, {2000, 0, 8}, {0, 90, 3.3},
	} {
		l := array(20)
		l.Withstand, l.Electrical.OpenCircuit, l.Electrical.EquipmentMaxInput = 3.3, c.open, c.input
		es := schedule(t, site1(dwelling, l), 1, nil)
		if len(es) != 2 || es[1].Position != AtArray {
			t.Fatalf("%+v", es)
		}
		near(t, "at the entrance", es[0].Withstand.Value, 3.3, 0)
		near(t, fmt.Sprint("at an array of ", c.open, " V"), es[1].Withstand.Value, c.want, 0)
	}
}

// U_W of an internal system counts where it is stated and on this line. The lowest decides (common practice, no published source).
func TestWithstandOfSystems(t *testing.T) {
	s := risk.Structure{Zones: []risk.Zone{{Systems: []risk.System{{Line: 0, Withstand: 0}, {Line: 0, Withstand: 4}}},
		{Systems: []risk.System{{Line: 1, Withstand: 0.6}}}}}
	near(t, "none lower", first(t, site1(s, mains(aerial(300))), 1).Withstand.Value, 2.5, 0)
	s.Zones[1].Systems[0].Line = 0
	near(t, "one lower", first(t, site1(s, mains(aerial(300))), 1).Withstand.Value, 0.6, 0)
}
