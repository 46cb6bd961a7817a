package spd_test

import (
	"fmt"

	"levinward/risk"
	"levinward/risk/spd"
)

// An invented health post: a village line, and a field of modules 22 m away.
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
