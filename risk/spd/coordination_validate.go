package spd

import (
	"strconv"

	"levinward/risk"
)

// Bounds of Coordinate.
const (
	coordMostStages = 16
	coordMostKV     = 1000.0
	coordMostVolts  = 1e5
	coordMostLead   = 100.0 // m
	coordMostCable  = 1e5   // m
	coordMostCoil   = 1e6   // uH
)

// CoordinationViolations reports everything that keeps Coordinate from judging, all faults at once.
func CoordinationViolations(stages []Stage, o CoordinationOptions) []risk.Violation {
	f := stressFaults{}
	if len(stages) == 0 {
		f.add(risk.RuleOutOfRange, "/stages", "is empty; at least one device is needed", "")
	}
	f.most("/stages", len(stages), coordMostStages)
	f.above("/withstand_kv", o.Withstand, coordMostKV, "kV")
	if o.Current > risk.DC {
		f.add(risk.RuleOutOfRange, "/current", "is not a kind of current", "")
	}
	f.rating("/iimp_min_ka", o.Iimp, stressMostCurrent, "kA")
	f.rating("/in_min_ka", o.In, stressMostCurrent, "kA")
	for i := range stages {
		f.stage("/stages/"+strconv.Itoa(i), &stages[i], i == 0)
	}
	return f.found
}

func (f *stressFaults) stage(pointer string, s *Stage, first bool) {
	d := &s.Device
	f.rating(pointer+"/device/uc_ac_v", d.UcAC, coordMostVolts, "V")
	f.rating(pointer+"/device/uc_dc_v", d.UcDC, coordMostVolts, "V")
	f.rating(pointer+"/device/up_kv", d.Up, coordMostKV, "kV")
	f.rating(pointer+"/device/in_ka", d.In, stressMostCurrent, "kA")
	f.rating(pointer+"/device/imax_ka", d.Imax, stressMostCurrent, "kA")
	f.rating(pointer+"/device/iimp_ka", d.Iimp, stressMostCurrent, "kA")
	f.ordered(pointer+"/device/imax_ka", d.Imax, d.In)
	if d.Technology > Combination {
		f.add(risk.RuleOutOfRange, pointer+"/device/technology", "is not a technology", "")
	}
	if int(d.Classes) >= 1<<len(ClassNames) {
		f.add(risk.RuleOutOfRange, pointer+"/device/test_classes", "holds a test class that does not exist", "")
	}
	f.optional(pointer+"/lead_length_m", s.LeadLength, coordMostLead, "m")
	f.optional(pointer+"/cable_after_m", s.CableAfter, coordMostCable, "m")
	f.optional(pointer+"/inductor_uh", s.Inductor, coordMostCoil, "uH")
	f.optional(pointer+"/maker_cable_m", s.MakerCable, coordMostCable, "m")
	if first && s.MakerCable.Valid {
		f.add(risk.RuleNotApplicable, pointer+"/maker_cable_m", "there is no stage before the first", "")
	}
}
