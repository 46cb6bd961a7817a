package spd_test

import (
	"fmt"

	"levinward/risk"
	"levinward/risk/spd"
)

// An invented health post: a village line, and a field of modules 22 m away. U_C as printed (read), 1.2 U_OC (read), 0.8 U_W
// (read); half of 100 kA over one line and two wires (read), twice that in N-PE (read); Table A.2 (read).
func ExampleSchedule() {
	in := &risk.Input{
		Structures: []risk.Structure{{ID: "post", Occupancy: risk.Hospital, LPS: risk.LPSIII}},
		Lines: []risk.Line{
			{ID: "supply", To: -1, Sections: []risk.Section{{Length: 640}}, Withstand: 2.5,
				Electrical: risk.Electrical{Nominal: 230, Phases: 1, Neutral: true, SourceConnected: true}},
			{ID: "array", To: -1, Sections: []risk.Section{{Installation: risk.Buried, Length: 22}}, Withstand: 1.5,
				Electrical: risk.Electrical{Current: risk.DC, OpenCircuit: 150, ShortCircuitSTC: 18}},
		},
	}
	for _, e := range spd.Schedule(in, &risk.Result{NG: 9.4}, nil, nil) {
		fmt.Println(in.Lines[e.Line].ID, e.Position, e.Current, "class", e.TestClass, "required", e.Required)
		for _, m := range e.Modes {
			fmt.Println("  ", m.Mode, "U_C", m.UcMin.Value, "V, U_P", m.UpMax.Value, "kV, I_imp", m.IimpMin.Value, "kA")
		}
	}
	// Output:
	// supply line_entrance ac class I required true
	//    L-N U_C 254 V, U_P 1.5 kV, I_imp 25 kA
	//    L-PE U_C 254 V, U_P 1.5 kV, I_imp 0 kA
	//    N-PE U_C 231 V, U_P 1.5 kV, I_imp 50 kA
	// array line_entrance dc class I required true
	//    +/- U_C 180 V, U_P 0.7 kV, I_imp 12.5 kA
	//    +/PE U_C 180 V, U_P 0.7 kV, I_imp 12.5 kA
	//    -/PE U_C 180 V, U_P 0.7 kV, I_imp 12.5 kA
	// array array dc class I required true
	//    +/- U_C 180 V, U_P 0.7 kV, I_imp 12.5 kA
	//    +/PE U_C 180 V, U_P 0.7 kV, I_imp 12.5 kA
	//    -/PE U_C 180 V, U_P 0.7 kV, I_imp 12.5 kA
}

// The input of an invented feeder drive, rated for 84 V d.c., of which nothing more is known, and an invented device made for
// 640 V. The beginning of action at 1.06 to 1.3 times U_C and what it means are common practice, no published source; 0.8 U_W
// is read, U_W of 0.8 kV from memory.
func ExampleCheck() {
	input := &risk.Line{To: -1, Electrical: risk.Electrical{Current: risk.DC, EquipmentMaxInput: 84}}
	entry, _ := spd.Demand(input, nil, spd.LineEntrance, nil)
	modes, _ := spd.Modes("+/-", "+/PE", "-/PE")
	classes, _ := spd.Classes("II")
	device := spd.Device{DC: true, UcDC: spd.Some(640), Up: spd.Some(2.2), In: spd.Some(20), Imax: spd.Some(40), Classes: classes,
		Modes: modes, Technology: spd.Limiting}

	result := spd.Check(&device, &spd.Place{Entry: &entry, Line: input})
	fmt.Println(result.Verdict)
	fmt.Println(result.Sentence)
	for _, f := range result.Findings[:4] {
		fmt.Println("  ", f.Rule, f.Verdict, "required", f.Required, "found", f.Found)
	}
	// Output:
	// ineffective
	// Does nothing for this equipment: it starts to act at about 678.4 to 832 V, at most 640 V may reach it.
	//    current_kind suitable required rated for d.c. found d.c. only
	//    uc_lower_bound suitable required at least 84 V found 640 V
	//    uc_upper_bound ineffective required begins to act below 640 V found begins to act at about 678.4 to 832 V
	//    protection_level ineffective required at most 0.5333 kV found 2.2 kV
}
