package spd_test

import (
	"fmt"

	"levinward/risk/spd"
)

// An invented supply: a spark gap at the origin, a varistor in the sub-board, and a pump controller 14 m further on. Levels
// and distances by the rules read in trade handbooks: U_P + 0.2 U_P (memory), (U_W - U_P/F)/25 V/m, half of U_W beyond 10 m.
func ExampleCoordinate() {
	classI, _ := spd.Classes("I")
	classII, _ := spd.Classes("II")
	stages := []spd.Stage{
		{Name: "origin", LeadLength: spd.Some(0.4), CableAfter: spd.Some(12), Device: spd.Device{AC: true, UcAC: spd.Some(255), Up: spd.Some(2.5),
			Iimp: spd.Some(25), In: spd.Some(25), Classes: classI, Technology: spd.Switching}},
		{Name: "sub-board", LeadLength: spd.Some(0.5), CableAfter: spd.Some(14), Device: spd.Device{AC: true, UcAC: spd.Some(275),
			Up: spd.Some(1.25),
			In: spd.Some(20), Classes: classII, Technology: spd.Limiting}},
	}
	o := spd.CoordinationOptions{Withstand: 2.5}
	if faults := spd.CoordinationViolations(stages, o); faults != nil {
		fmt.Println(faults)
		return
	}
	c := spd.Coordinate(stages, o, nil)
	fmt.Println(c.Verdict, c.FurtherStage, c.Sentence)
	for i, r := range c.Stages {
		fmt.Printf("%s at %v m: U_P/F %.1f kV, protection distance (guidance) %.0f m\n", stages[i].Name, r.At.Value,
			r.EffectiveLevel.Value, r.ProtectionDistance.Value)
	}
	for _, f := range c.Findings {
		if f.Verdict != spd.Suitable {
			fmt.Println(f.Rule, f.Stage, f.Verdict, f.Guidance, f.Found)
		}
	}
	// Output:
	// ineffective true The equipment is too far from the last device: put one more at the equipment.
	// origin at 0 m: U_P/F 2.5 kV, protection distance (guidance) 0 m
	// sub-board at 12 m: U_P/F 1.5 kV, protection distance (guidance) 40 m
	// protection_distance 0 ineffective true 0 m
	// protection_level_at_equipment 1 ineffective false 1.5 kV
	// further_stage 1 ineffective false 14 m, U_P/F 1.5 kV
}
