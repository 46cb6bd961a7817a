package spd

import (
	"math"
	"strconv"

	"levinward/risk"
)

// Bounds of StressOptions and of the stages of a line.
const (
	stressMostCurrents = 100
	stressMostYears    = 20
	stressMostDevices  = 1000
	stressMostCurrent  = 10000.0 // kA
	stressMostAge      = 1000.0  // years
)

// StressViolations reports everything that keeps Stress from computing, all faults at once. Pointers beginning
// with /options lie in o, with /result in res, with /entries in entries.
func StressViolations(in *risk.Input, res *risk.Result, entries []Entry, o StressOptions) []risk.Violation {
	f := stressFaults{}
	f.most("/options/currents_ka", len(o.Currents), stressMostCurrents)
	for i, v := range o.Currents {
		f.within("/options/currents_ka/"+strconv.Itoa(i), v, 0, stressMostCurrent, "kA")
	}
	f.most("/options/years", len(o.Years), stressMostYears)
	for i, v := range o.Years {
		f.above("/options/years/"+strconv.Itoa(i), v, stressMostAge, "years")
	}
	f.optional("/options/smallest_ka", o.Smallest, stressMostCurrent, "kA")
	if o.LineFlash > TabulatedFlash {
		f.add(risk.RuleOutOfRange, "/options/line_flash", "is not a way of the current of a flash to the line", "")
	}
	f.most("/options/devices", len(o.Devices), stressMostDevices)
	for i := range o.Devices {
		f.device("/options/devices/"+strconv.Itoa(i), &o.Devices[i], in)
	}
	f.result(in, res)
	for i := range entries {
		f.entry("/entries/"+strconv.Itoa(i), &entries[i], in)
	}
	return f.found
}

// stressFaults collects violations.
type stressFaults struct{ found []risk.Violation }

func (f *stressFaults) add(rule risk.Rule, pointer, reason, clause string) {
	f.found = append(f.found, risk.Violation{Rule: rule, Pointer: pointer, Reason: reason, Clause: clause})
}

func stressNumber(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// within demands a number from low to high.
func (f *stressFaults) within(pointer string, v, low, high float64, unit string) {
	if !(v >= low && v <= high) {
		f.add(risk.RuleOutOfRange, pointer, "is "+stressNumber(v)+"; allowed is "+stressNumber(low)+" to "+stressNumber(high)+" "+unit, "")
	}
}

// above demands a number above 0, at most high.
func (f *stressFaults) above(pointer string, v, high float64, unit string) {
	if !(v > 0 && v <= high) {
		f.add(risk.RuleOutOfRange, pointer, "is "+stressNumber(v)+"; allowed is above 0 to "+stressNumber(high)+" "+unit, "")
	}
}

func (f *stressFaults) optional(pointer string, v Opt, high float64, unit string) {
	if v.Valid {
		f.within(pointer, v.Value, 0, high, unit)
	}
}

// rating demands a stated rating above 0.
func (f *stressFaults) rating(pointer string, v Opt, high float64, unit string) {
	if v.Valid {
		f.above(pointer, v.Value, high, unit)
	}
}

func (f *stressFaults) most(pointer string, n, most int) {
	if n > most {
		f.add(risk.RuleOutOfRange, pointer, "has "+strconv.Itoa(n)+" entries; at most "+strconv.Itoa(most)+" are allowed", "")
	}
}

// index demands an index from lowest to below n.
func (f *stressFaults) index(pointer string, i, lowest, n int) {
	if i < lowest || i >= n {
		f.add(risk.RuleUnknownReference, pointer, "names number "+strconv.Itoa(i)+" of "+strconv.Itoa(n), "")
	}
}

func (f *stressFaults) device(pointer string, d *StressDevice, in *risk.Input) {
	before := len(f.found)
	f.index(pointer+"/line", d.Line, EveryEnd, len(in.Lines))
	f.index(pointer+"/structure", d.Structure, EveryEnd, len(in.Structures))
	if len(f.found) == before && d.Line != EveryEnd && d.Structure != EveryEnd && !in.Lines[d.Line].Ends(d.Structure) {
		f.add(risk.RuleUnknownReference, pointer+"/structure", "the line does not end at this structure", "")
	}
	f.rating(pointer+"/iimp_ka", d.Iimp, stressMostCurrent, "kA")
	f.rating(pointer+"/imax_ka", d.Imax, stressMostCurrent, "kA")
	f.rating(pointer+"/in_ka", d.In, stressMostCurrent, "kA")
	f.rating(pointer+"/iimp_npe_ka", d.IimpNPE, stressMostCurrent, "kA")
	f.rating(pointer+"/imax_npe_ka", d.ImaxNPE, stressMostCurrent, "kA")
	f.rating(pointer+"/in_npe_ka", d.InNPE, stressMostCurrent, "kA")
	f.ordered(pointer+"/imax_ka", d.Imax, d.In)
	f.ordered(pointer+"/imax_npe_ka", d.ImaxNPE, d.InNPE)
}

// ordered demands that I_max is not below I_n.
func (f *stressFaults) ordered(pointer string, Imax, In Opt) {
	if Imax.Valid && In.Valid && Imax.Value < In.Value {
		f.add(risk.RuleContradiction, pointer, "I_max "+stressNumber(Imax.Value)+" kA lies below I_n "+stressNumber(In.Value)+" kA: "+
			"the larger of a device's 8/20 ratings is I_max", stdPower)
	}
}

// result demands events that belong to the input.
func (f *stressFaults) result(in *risk.Input, res *risk.Result) {
	if len(res.Structures) != len(in.Structures) {
		f.add(risk.RuleUnknownReference, "/result/structures",
			"has "+strconv.Itoa(len(res.Structures))+" structures, the input has "+strconv.Itoa(len(in.Structures)), "")
	}
	if len(res.Lines) != len(in.Lines) {
		f.add(risk.RuleUnknownReference, "/result/lines",
			"has "+strconv.Itoa(len(res.Lines))+" lines, the input has "+strconv.Itoa(len(in.Lines)), "")
	}
	for i := range res.Structures {
		p := "/result/structures/" + strconv.Itoa(i)
		f.within(p+"/direct", res.Structures[i].Direct, 0, math.MaxFloat32, "a year")
		f.within(p+"/near", res.Structures[i].Near, 0, math.MaxFloat32, "a year")
	}
	for i := range res.Lines {
		p := "/result/lines/" + strconv.Itoa(i)
		f.within(p+"/direct", res.Lines[i].Direct, 0, math.MaxFloat32, "a year")
		f.within(p+"/near", res.Lines[i].Near, 0, math.MaxFloat32, "a year")
		f.within(p+"/adjacent_structure", res.Lines[i].AdjacentStructure, 0, math.MaxFloat32, "a year")
		f.within(p+"/adjacent_at_far", res.Lines[i].AdjacentAtFar, 0, math.MaxFloat32, "a year")
	}
}

func (f *stressFaults) entry(pointer string, e *Entry, in *risk.Input) {
	before := len(f.found)
	f.index(pointer+"/line", e.Line, 0, len(in.Lines))
	f.index(pointer+"/structure", e.Structure, 0, len(in.Structures))
	if len(f.found) == before && !in.Lines[e.Line].Ends(e.Structure) {
		f.add(risk.RuleUnknownReference, pointer+"/structure", "the line does not end at this structure", "")
	}
}
