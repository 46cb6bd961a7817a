package assess

import (
	"errors"
	"fmt"
	"math"

	"levinward/api/wire"
	"levinward/geo"
	"levinward/risk"
)

// measure computes the areas of structures given by their parts and the lengths
// of drawn routes, once. It returns the faults of the geometry.
func measure(site *wire.Site, ed risk.Edition) []risk.Violation {
	if site.Measured {
		return nil
	}
	reach := ed.Reach()
	widening := geo.Widening{Slope: reach.Slope, Near: reach.Near}
	var faults []risk.Violation
	for i := range site.Parts {
		p := &site.Parts[i]
		areas, err := widening.Collect(p.Parts)
		if err == nil {
			err = nearSite(site, p.First(), maxFromSite)
		}
		if err != nil {
			faults = append(faults, located(err, p.Pointer)...)
			continue
		}
		site.Input.Structures[p.Structure].Areas = risk.Areas{Given: true, Direct: areas.Direct, Near: areas.Near, Parts: len(p.Parts)}
	}
	for i := range site.Routes {
		r := &site.Routes[i]
		length, err := geo.RouteLength(r.Route)
		if err == nil && length > maxRoute {
			err = errors.New("the route is longer than 100 km")
		}
		if err == nil && r.Section == 0 {
			err = nearSite(site, r.First(), maxFromSite+maxRoute)
		}
		if err != nil {
			faults = append(faults, located(err, r.Pointer)...)
			continue
		}
		site.Input.Lines[r.Line].Sections[r.Section].Length = length
	}
	site.Measured = len(faults) == 0
	return faults
}

const (
	// maxRoute is the longest section that can be given as a number, too [m].
	maxRoute = 100_000
	// maxFromSite is how far [m] a structure may stand from the location of its site, for which N_G holds. It tells
	// coordinates in the wrong order where neither is beyond 90 degrees.
	maxFromSite = 50_000
)

// nearSite refuses a longitude and latitude that are not where the site is.
func nearSite(site *wire.Site, p [2]float64, most float64) error {
	at := [2]float64{site.Input.Location.Longitude, site.Input.Location.Latitude}
	d := distance(p, at)
	if d <= most {
		return nil
	}
	text := fmt.Sprintf("[%v, %v] lies %.0f km from the location of the site, at most %.0f km are allowed", p[0], p[1], d/1000, most/1000)
	if math.IsInf(d, 1) {
		text = fmt.Sprintf("[%v, %v] lies on the other side of the earth from the location of the site", p[0], p[1])
	}
	if distance([2]float64{p[1], p[0]}, at) <= most {
		text += ": coordinates in the wrong order? (longitude comes first)"
	}
	return errors.New(text)
}

// distance is that of two positions [m], infinite where it cannot be told.
func distance(p, q [2]float64) float64 {
	d, err := geo.GeodesicLength(p, q)
	if err != nil {
		return math.Inf(1)
	}
	return d
}

// located places the faults of a geometry; what has no place in it stands at the whole.
func located(err error, pointer func(geo.Fault) string) []risk.Violation {
	var list geo.Faults
	if !errors.As(err, &list) {
		list = geo.Faults{{Part: -1, Ring: -1, Vertex: -1, Reason: err.Error()}}
	}
	faults := make([]risk.Violation, len(list))
	for i, f := range list {
		faults[i] = risk.Violation{Rule: risk.RuleOutOfRange, Pointer: pointer(f), Reason: f.Reason}
	}
	return faults
}
