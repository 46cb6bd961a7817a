package assess

import (
	"errors"
	"strconv"

	"levinward/api/wire"
	"levinward/geo"
	"levinward/risk"
)

// measure computes the areas of structures given by their parts and the lengths
// of drawn routes, once. It returns the faults of the geometry.
func measure(site *wire.Site) []risk.Violation {
	if site.Measured {
		return nil
	}
	var faults []risk.Violation
	for _, p := range site.Parts {
		areas, err := geo.Collect(p.Parts)
		if err != nil {
			faults = append(faults, partFaults(p.Structure, err)...)
			continue
		}
		site.Input.Structures[p.Structure].Areas = risk.Areas{Given: true, Direct: areas.Direct, Near: areas.Near, Parts: len(p.Parts)}
	}
	for _, r := range site.Routes {
		length, err := geo.RouteLength(r.Route)
		if err == nil && length > maxRoute {
			err = errors.New("the route is longer than 100 km")
		}
		if err != nil {
			at := "/lines/" + strconv.Itoa(r.Line) + "/sections/" + strconv.Itoa(r.Section) + "/route"
			faults = append(faults, risk.Violation{Rule: risk.RuleOutOfRange, Pointer: at, Reason: err.Error()})
			continue
		}
		site.Input.Lines[r.Line].Sections[r.Section].Length = length
	}
	site.Measured = len(faults) == 0
	return faults
}

// maxRoute is the longest section that can be given as a number, too [m].
const maxRoute = 100_000

// partFaults places the faults of the parts of a structure.
func partFaults(structure int, err error) []risk.Violation {
	at := "/structures/" + strconv.Itoa(structure) + "/parts"
	var list geo.Faults
	if !errors.As(err, &list) {
		return []risk.Violation{{Rule: risk.RuleOutOfRange, Pointer: at, Reason: err.Error()}}
	}
	faults := make([]risk.Violation, len(list))
	for i, f := range list {
		p := at
		if f.Part >= 0 {
			p += "/" + strconv.Itoa(f.Part) + "/geometry/coordinates"
		}
		if f.Ring >= 0 {
			p += "/" + strconv.Itoa(f.Ring)
		}
		if f.Vertex >= 0 {
			p += "/" + strconv.Itoa(f.Vertex)
		}
		faults[i] = risk.Violation{Rule: risk.RuleOutOfRange, Pointer: p, Reason: f.Reason}
	}
	return faults
}
