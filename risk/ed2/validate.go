package ed2

import (
	"fmt"
	"math"

	"levinward/risk"
)

// faults collects violations with their places.
type faults struct{ list []risk.Violation }

func (f *faults) add(rule risk.Rule, clause, reason, pointer string, at ...any) {
	f.list = append(f.list, risk.Violation{Rule: rule, Pointer: fmt.Sprintf(pointer, at...), Reason: reason, Clause: clause})
}

// number demands a finite number from low to high.
func (f *faults) number(v, low, high float64, pointer string, at ...any) {
	if math.IsNaN(v) || v < low || v > high {
		f.add(risk.RuleOutOfRange, "", fmt.Sprintf("must be a number from %v to %v", low, high), pointer, at...)
	}
}

// Validate reports everything that keeps this edition from computing the input.
func (Edition) Validate(in *risk.Input) []risk.Violation {
	var f faults
	if in.Edition != ID {
		f.add(risk.RuleUnknownEdition, "", "this edition is not implemented; allowed: "+ID, "/edition")
	}
	d := &in.FlashDensity
	switch d.Origin {
	case risk.DensityThunderstormDays:
		f.number(d.ThunderstormDays, 0.1, 365, "/flash_density/thunderstorm_days_per_year")
	case risk.DensityMap:
		f.number(d.NG, 0.01, 100, "/flash_density/map")
	default:
		f.number(d.NG, 0.01, 100, "/flash_density/ground_flashes_per_km2_year")
	}
	assessed := 0
	for i := range in.Structures {
		if !in.Structures[i].NotAssessed {
			assessed++
		}
		f.structure(in, i)
	}
	if assessed == 0 {
		f.add(risk.RuleNothingToAssess, "", "at least one structure must be assessed", "/structures")
	}
	for i := range in.Lines {
		f.line(&in.Lines[i], i)
	}
	return f.list
}

// Largest dimensions that are believed: the highest structures stand below 1 km.
const (
	maxSide    = 10_000
	maxHeight  = 1_000
	maxSection = 100_000
)

func (f *faults) structure(in *risk.Input, i int) {
	s := &in.Structures[i]
	if s.Areas.Given {
		f.number(s.Areas.Direct, 1e-6, 1e12, "/structures/%d/parts", i)
		f.number(s.Areas.Near, 1e-6, 1e12, "/structures/%d/parts", i)
	} else {
		f.box(s, i)
	}
	f.number(s.Persons, 0, 1e6, "/structures/%d/persons", i)
	f.number(s.Screen.Mesh, 0, 100, "/structures/%d/screen_mesh_m", i)
	for z := range s.Zones {
		f.zone(in, i, z)
	}
}

func (f *faults) box(s *risk.Structure, i int) {
	f.number(s.Length, 1e-3, maxSide, "/structures/%d/length_m", i)
	f.number(s.Width, 1e-3, maxSide, "/structures/%d/width_m", i)
	f.number(s.Height, 1e-3, maxHeight, "/structures/%d/height_m", i)
	f.number(s.Protrusion, 0, maxHeight, "/structures/%d/protrusion_height_m", i)
}

func (f *faults) zone(in *risk.Input, i, z int) {
	zone := &in.Structures[i].Zones[z]
	f.number(zone.Persons, 0, 1e6, "/structures/%d/zones/%d/persons", i, z)
	f.number(zone.Hours, 0, 8760, "/structures/%d/zones/%d/hours_per_year", i, z)
	f.number(zone.Screen.Mesh, 0, 100, "/structures/%d/zones/%d/screen_mesh_m", i, z)
	if zone.Place == risk.Outside && len(zone.Systems) > 0 {
		f.add(risk.RuleNotApplicable, std+"6.2", "an outside zone has no internal systems: leave systems out",
			"/structures/%d/zones/%d/systems", i, z)
	}
	for s := range zone.Systems {
		f.system(in, i, z, s)
	}
	for k := range risk.Loss(risk.Losses) {
		own := &zone.Losses[k]
		for name, v := range map[string]*float64{"L_T": own.LT, "L_F": own.LF, "L_O": own.LO} {
			if v != nil {
				f.number(*v, 0, 1, "/structures/%d/zones/%d/losses/%s/%s", i, z, k, name)
			}
		}
	}
	v := &zone.Values
	f.number(v.Total(), 0, 1e15, "/structures/%d/zones/%d/values", i, z)
}

func (f *faults) system(in *risk.Input, i, z, s int) {
	sys := &in.Structures[i].Zones[z].Systems[s]
	if sys.Line < 0 || sys.Line >= len(in.Lines) || !in.Lines[sys.Line].Ends(i) {
		f.add(risk.RuleUnknownReference, std+"6.7", "must be a line that enters this structure",
			"/structures/%d/zones/%d/systems/%d/line", i, z, s)
	}
	f.number(sys.Withstand, 0, 1000, "/structures/%d/zones/%d/systems/%d/withstand_kv", i, z, s)
}

func (f *faults) line(l *risk.Line, i int) {
	f.number(l.Withstand, 1e-3, 1000, "/lines/%d/withstand_kv", i)
	f.number(l.Shield.Resistance, 0, 1e6, "/lines/%d/shield/resistance_ohm_per_km", i)
	for s := range l.Sections {
		f.number(l.Sections[s].Length, 0, maxSection, "/lines/%d/sections/%d/length_m", i, s)
	}
	f.spd(l.BondingSPD, "/lines/%d/bonding_spd", i)
	f.spd(l.CoordinatedSPD, "/lines/%d/coordinated_spd", i)
}

func (f *faults) spd(s risk.SPD, pointer string, i int) {
	if s.Level == risk.BetterThanI {
		f.number(s.Probability, 0.001, 0.005, pointer, i)
	}
}
