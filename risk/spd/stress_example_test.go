package spd_test

import (
	"fmt"

	"levinward/risk"
	"levinward/risk/spd"
)

// An invented health post at the end of 640 m of overhead line: how hard the years are on a device of the ratings asked for
// and on a stronger one. Sharing and Table A.3 as tested beside it; P_SPD of 0.05 and 0.01 for 25 and 50 kA on two wires are
// those of the currents 100 and 200 kA (read).
func ExampleStress() {
	in := &risk.Input{
		Structures: []risk.Structure{{ID: "post", Occupancy: risk.Hospital, LPS: risk.LPSIII}},
		Lines: []risk.Line{{ID: "supply", To: -1, Sections: []risk.Section{{Length: 640}}, Withstand: 2.5,
			Electrical: risk.Electrical{Nominal: 230, Phases: 1, Neutral: true, SourceConnected: true}}},
	}
	res := &risk.Result{NG: 9.4,
		Structures: []risk.StructureResult{{Events: risk.Events{Direct: 0.0204, Near: 7.7}, Assessed: true}},
		Lines:      []risk.LineResult{{Events: risk.Events{Direct: 0.24, Near: 24.1}}},
	}
	stronger := spd.StressDevice{Line: spd.EveryEnd, Structure: spd.EveryEnd, StressRatings: spd.StressRatings{
		Name: "stronger", Iimp: spd.Some(50), Imax: spd.Some(100), In: spd.Some(50), IimpNPE: spd.Some(100), ImaxNPE: spd.Some(200)}}
	o := spd.StressOptions{Currents: []float64{1, 10, 25}, Devices: []spd.StressDevice{stronger}}
	entries := spd.Schedule(in, res, nil, nil)
	if faults := spd.StressViolations(in, res, entries, o); faults != nil {
		fmt.Println(faults)
		return
	}
	for _, e := range spd.Stress(in, res, entries, o, nil) {
		for _, r := range e.Rates {
			fmt.Printf("above %v kA: %.4f a year 10/350, %.4f 8/20\n", r.Current, r.Impulse, r.Induced)
		}
		fmt.Printf("operations a year: %.1f\n", e.Operations)
		for _, d := range e.Duties {
			fmt.Printf("%s: withstands %v kA 10/350, %v kA 8/20; overstressed every %.0f years; P_SPD %s %.4f\n", d.Ratings.Name,
				d.ImpulseWithstand, d.SurgeWithstand, d.ReturnPeriod.Value, spd.PSPDFromRating, d.PSPDLargest.Value)
			for _, y := range d.Overstress {
				fmt.Printf("  in %v years: %.3f\n", y.Years, y.Probability)
			}
		}
	}
	// Output:
	// above 1 kA: 0.2536 a year 10/350, 9.6430 8/20
	// above 10 kA: 0.1042 a year 10/350, 0.0482 8/20
	// above 25 kA: 0.0130 a year 10/350, 0.0095 8/20
	// operations a year: 24.1
	// as scheduled: withstands 25 kA 10/350, 25 kA 8/20; overstressed every 44 years; P_SPD from the device's rating 0.0500
	//   in 5 years: 0.106
	//   in 10 years: 0.202
	//   in 20 years: 0.362
	// stronger: withstands 50 kA 10/350, 100 kA 8/20; overstressed every 318 years; P_SPD from the device's rating 0.0100
	//   in 5 years: 0.016
	//   in 10 years: 0.031
	//   in 20 years: 0.061
}
