package earth_test

import (
	"fmt"
	"strings"

	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/trace"
)

// An invented health post: a reading of the soil, the rods that reach 10 ohm, and whether
// they are long enough for an LPS of class III.
func Example() {
	t := trace.New(32)
	rho, faults := earth.Resistivity(earth.Soil{Readings: []earth.Reading{{Method: earth.FourProbes, Spacing: 4, Resistance: 4.5}}}, t)
	if faults != nil {
		fmt.Println(faults)
		return
	}
	d, faults := earth.Design(10, rho, earth.Options{Form: earth.Electrode{Kind: earth.Rods, Length: 3, Diameter: 0.016, Spacing: 6}}, t)
	if faults != nil {
		fmt.Println(faults)
		return
	}
	length, faults := earth.CheckLength(d.Electrode, d.Result, risk.LPSIII, rho, t)
	if faults != nil {
		fmt.Println(faults)
		return
	}
	fmt.Printf("%.1f ohm m\n", rho)
	fmt.Println(d.Outcome)
	fmt.Println(d.Result.Mutual)
	fmt.Println(d.Result.Grade, d.Result.Formula.Expr)
	fmt.Println(length.Outcome)
	fmt.Println(t.Check())
	// Output:
	// 113.1 ohm m
	// 9.116 ohm with 5 rods; 10 ohm were wanted.
	// mutual effect of the rods as point sources at their spacing, which is not less than the true effect
	// good 1/n*rho/(2*pi*L)*(ln(8*L/d)-1+lambda*L/s)
	// long enough: type A needs at least 2 electrodes of 5 m horizontal or 2.5 m vertical; 5 are there.
	// <nil>
}

// A ring with two rods 8 m outside of it, and what is wrong with it when the distance is missing.
func ExampleResistance() {
	ring := earth.Electrode{Kind: earth.Ring, RingDiameter: 10, Diameter: 0.01, Depth: 0.6}
	rods := earth.Electrode{Kind: earth.Rods, Count: 2, Length: 3, Diameter: 0.016, Spacing: 6, Distance: 8}
	r, _ := earth.Resistance(earth.Electrode{Kind: earth.Combination, Parts: []earth.Electrode{ring, rods}}, 100, nil)
	for _, p := range r.Parts {
		fmt.Printf("alone %.2f, mutual %.2f, together %.2f ohm\n", p.Resistance, p.Mutual, p.Together)
	}
	rods.Distance = 0
	_, faults := earth.Resistance(earth.Electrode{Kind: earth.Combination, Parts: []earth.Electrode{ring, rods}}, 100, nil)
	for _, f := range faults {
		reason, allowed, _ := strings.Cut(f.Reason, "; ")
		fmt.Printf("%s %s\n%s\n", f.Pointer, strings.ReplaceAll(reason, ", since", ",\nsince"), allowed)
	}
	// Output:
	// alone 6.33, mutual 0.00, together 6.33 ohm
	// alone 18.00, mutual 1.99, together 5.40 ohm
	// /parts/1/distance_m missing: without the distance to the nearest earlier part the parts cannot be combined,
	// since a value without their mutual effect would be too low
	// allowed: 0.01 to 10000 m
}
