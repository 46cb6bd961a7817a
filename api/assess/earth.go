package assess

import (
	"strconv"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/trace"
)

// Earth answers a request for an electrode, with every step of its computation. The reviews may be nil.
func Earth(req *wire.EarthRequest, reviews *trace.Reviews) (*wire.EarthResult, []risk.Violation) {
	t := trace.New(64).With(reviews)
	rho, faults := soil(req, t)
	var result *wire.EarthResult
	var e earth.Electrode
	var r earth.Result
	t.EnterField("electrode", "electrode")
	if req.Wanted != nil {
		design, more := earth.Design(*req.Wanted, orOne(rho), earth.Options{Form: req.Electrode.Core(), MaxCount: int(orZero(req.MaxCount)),
			MaxLength: orZero(req.MaxLength), MaxRingDiameter: orZero(req.MaxRingDiameter)}, t)
		faults = append(faults, place(more)...)
		e, r = design.Electrode, design.Result
		if len(faults) == 0 {
			result = wire.NewEarthResult(nil, &e, &r, rho)
			result.Design = &wire.EarthDesign{Wanted: *req.Wanted, Reached: design.Reached, Outcome: design.Outcome}
			if design.Smaller > 0 {
				result.Design.Smaller = &design.Smaller
			}
		}
	} else {
		faults = append(faults, boundsWithoutWish(req)...)
		e = req.Electrode.Core()
		var more []risk.Violation
		r, more = earth.Resistance(e, orOne(rho), t)
		faults = append(faults, place(more)...)
		if len(faults) == 0 {
			result = wire.NewEarthResult(req.Electrode, &e, &r, rho)
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	if req.LPS != nil {
		check, more := earth.CheckLength(e, r, *req.LPS, rho, t)
		if len(more) > 0 {
			return nil, place(more)
		}
		result.LeastLength = &wire.EarthLength{Type: check.Type, L1: check.L1, Radius: check.Radius, Horizontal: check.Horizontal,
			Vertical: check.Vertical, Exempt: check.Exempt, Sufficient: check.Sufficient, Outcome: check.Outcome}
		result.Notes = append(result.Notes, wire.EarthNotes(check.Notes)...)
	}
	result.Steps, result.Cautions, result.ReviewsHash = wire.Steps(t), withGeneral(earthCautions), reviewsHash(reviews)
	return result, nil
}

// electrodeFaults checks the electrodes of a site.
func electrodeFaults(site *wire.Site) []risk.Violation {
	var faults []risk.Violation
	for _, e := range site.Electrodes {
		_, more := earth.Resistance(e.Electrode, orOne(site.Input.SoilResistivity), nil)
		for _, f := range more {
			if !requestFields[f.Pointer] {
				f.Pointer = "/structures/" + strconv.Itoa(e.Structure) + "/earthing/electrode" + f.Pointer
			}
			faults = append(faults, f)
		}
	}
	if len(site.Electrodes) > 0 && site.Input.SoilResistivity == 0 {
		faults = append(faults, risk.Violation{Rule: risk.RuleContradiction, Pointer: earth.SoilPointer,
			Reason: "is required to compute an earth electrode"})
	}
	return faults
}

// earthing computes the electrodes of a valid site and judges the earth connection of every assessed structure.
func earthing(site *wire.Site, t *trace.Trace) []*earth.Judgement {
	in := &site.Input
	judgements := make([]*earth.Judgement, len(in.Structures))
	for i := range in.Structures {
		s := &in.Structures[i]
		if s.NotAssessed {
			continue
		}
		t.Enter(s.ID, "/structures", i)
		for _, e := range site.Electrodes {
			if e.Structure == i {
				t.EnterField("electrode", "earthing/electrode")
				r, _ := earth.Resistance(e.Electrode, in.SoilResistivity, t)
				t.Leave()
				s.Earthing.Resistance = r.Resistance
			}
		}
		t.EnterField("earthing", "earthing")
		if j, faults := earth.Judge(s.Earthing.Connection, s.Earthing.Resistance, t); len(faults) == 0 {
			judgements[i] = &j
		}
		t.Leave()
		t.Leave()
	}
	return judgements
}

// soil is the resistivity: as given, or from readings; exactly one of the two.
func soil(req *wire.EarthRequest, t *trace.Trace) (float64, []risk.Violation) {
	switch {
	case req.SoilResistivity != nil && req.Soil != nil:
		return 0, []risk.Violation{{Rule: risk.RuleContradiction, Pointer: "/soil", Reason: "give soil_resistivity_ohm_m or soil, not both"}}
	case req.SoilResistivity != nil:
		return *req.SoilResistivity, nil
	case req.Soil == nil:
		return 0, []risk.Violation{{Rule: risk.RuleContradiction, Pointer: "/soil_resistivity_ohm_m",
			Reason: "give soil_resistivity_ohm_m, or soil with readings"}}
	}
	t.EnterField("soil", "soil")
	defer t.Leave()
	rho, faults := earth.Resistivity(req.Soil.Core(), t)
	for i := range faults {
		faults[i].Pointer = "/soil" + faults[i].Pointer
	}
	return rho, faults
}

// orOne lets the electrode be checked although the soil has faults.
func orOne(rho float64) float64 {
	if rho == 0 {
		return 1
	}
	return rho
}

func orZero(p *float64) float64 {
	if p == nil {
		return 0
	}
	return *p
}

// requestFields are the faults of package earth that stand in the request itself, not in its electrode.
var requestFields = map[string]bool{earth.SoilPointer: true, earth.ClassPointer: true, earth.WantedPointer: true, "/max_count": true,
	"/max_length_m": true, "/max_ring_diameter_m": true}

func place(faults []risk.Violation) []risk.Violation {
	for i := range faults {
		if !requestFields[faults[i].Pointer] {
			faults[i].Pointer = "/electrode" + faults[i].Pointer
		}
	}
	return faults
}

func boundsWithoutWish(req *wire.EarthRequest) []risk.Violation {
	var faults []risk.Violation
	for _, f := range []struct {
		given   *float64
		pointer string
	}{{req.MaxCount, "/max_count"}, {req.MaxLength, "/max_length_m"}, {req.MaxRingDiameter, "/max_ring_diameter_m"}} {
		if f.given != nil {
			faults = append(faults, risk.Violation{Rule: risk.RuleNotApplicable, Pointer: f.pointer, Reason: "goes with wanted_ohm only"})
		}
	}
	return faults
}
