// Package geo turns places on earth into the numbers lightning risk needs: collection areas of structures of any
// shape, lengths of routes, their outlines for maps, and flash densities from maps.
//
// Areas are exact: a structure is laid out in metres on the WGS 84 ellipsoid (Frame), the boundary of its widened
// parts is found as straight edges and circular arcs, and the area within follows from Green's theorem.
package geo

import (
	"fmt"
	"math"
)

// Widening says how far the collection areas of a structure reach; an edition of the standard rules on it.
type Widening struct {
	// Slope times the height of a part is the distance by which the part is widened for A_D.
	Slope float64
	// Near is how far A_M reaches from the outline of the structure [m].
	Near float64
}

// Areas are the collection areas of one structure.
type Areas struct {
	Footprint float64 // area of the union of the polygons among the parts [m²]
	Direct    float64 // A_D [m²]: the union of the parts, each widened by its height times the slope
	Near      float64 // A_M [m²]: near the outline of the structure, without its footprint

	FootprintOutline Outline
	DirectOutline    Outline
	NearOutline      Outline // with the footprint as a hole
}

// Collect returns the collection areas of a structure given as parts. In the plane they are exact to 1e-9 of the
// area, on the ellipsoid as good as Frame. Edges are straight and the ground is flat.
//
// The error is of type Faults where the parts are not valid, and otherwise says where edges or arcs of parts run so
// close to each other that the outline cannot be told with certainty. Slope and Near must be more than 0.
func (w Widening) Collect(parts []Part) (Areas, error) {
	if !(w.Slope > 0 && w.Near > 0) {
		return Areas{}, fmt.Errorf("slope %v and distance %v m of the collection areas must be more than 0", w.Slope, w.Near)
	}
	lay, faults := layOut(parts)
	if len(faults) > 0 {
		return Areas{}, faults
	}
	return lay.areas(w)
}

func (lay *layout) areas(w Widening) (Areas, error) {
	footprint, err := lay.footprint()
	if err != nil {
		return Areas{}, err
	}
	direct, err := lay.widened(lay.radii(func(height float64) float64 { return w.Slope * height }))
	if err != nil {
		return Areas{}, err
	}
	near, err := lay.widened(lay.radii(func(float64) float64 { return w.Near }))
	if err != nil {
		return Areas{}, err
	}
	a := Areas{
		Footprint:        loopsArea(footprint),
		Direct:           loopsArea(direct),
		FootprintOutline: Outline{lay.frame, footprint},
		DirectOutline:    Outline{lay.frame, direct},
	}
	a.Near = loopsArea(near) - a.Footprint
	for _, l := range footprint {
		near = append(near, reversed(l))
	}
	a.NearOutline = Outline{lay.frame, near}
	if err := a.check(lay, w); err != nil {
		return Areas{}, err
	}
	return a, nil
}

func (lay *layout) radii(of func(height float64) float64) []float64 {
	r := make([]float64, len(lay.plots))
	for k := range r {
		r[k] = of(lay.plots[k].height)
	}
	return r
}

// check holds the areas against bounds that need no geometry: each is at least that of the highest part's disc and
// at most that of the rectangle around everything.
func (a *Areas) check(lay *layout, w Widening) error {
	highest := 0.0
	for k := range lay.plots {
		highest = math.Max(highest, lay.plots[k].height)
	}
	if !lay.plausible(a.Direct, w.Slope*highest) || !lay.plausible(a.Near+a.Footprint, w.Near) ||
		a.Footprint < 0 || a.Footprint > a.Direct {
		return lay.located(&openOutline{})
	}
	return nil
}

func (lay *layout) plausible(area, radius float64) bool {
	const rounding = 1e-9
	width, depth := lay.all.hiX-lay.all.loX+2*radius, lay.all.hiY-lay.all.loY+2*radius
	return area >= math.Pi*radius*radius*(1-rounding) && area <= width*depth*(1+rounding)
}
