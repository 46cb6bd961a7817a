// Package geo turns places on earth into the numbers lightning risk needs: collection areas of structures of any
// shape, lengths of routes, their outlines for maps, and flash densities from maps.
//
// Areas are exact: a structure is laid out in metres on the WGS 84 ellipsoid (Frame), the boundary of its widened
// parts is found as straight edges and circular arcs, and the area within follows from Green's theorem.
package geo

import "math"

// Rules of IEC 62305-2:2010, Annex A, in metres.
const (
	// DirectWidening times the height of a part is the distance by which it is widened for A_D: a slope of 1:3 from
	// its upper edge reaches the ground there (A.2).
	DirectWidening = 3.0
	// NearDistance is how far A_M reaches from the outline of the structure [m] (A.3).
	NearDistance = 500.0
)

// Areas are the collection areas of one structure.
type Areas struct {
	Footprint float64 // area of the union of the polygons among the parts [m²]
	Direct    float64 // A_D [m²]: the union of the parts, each widened by 3 times its height
	Near      float64 // A_M [m²]: within 500 m of the outline of the structure, without its footprint

	FootprintOutline Outline
	DirectOutline    Outline
	NearOutline      Outline // with the footprint as a hole
}

// Collect returns the collection areas of a structure given as parts. In the plane they are exact to 1e-9 of the
// area, on the ellipsoid as good as Frame. Edges are straight and heights reach down a slope of 1:3 on flat ground.
//
// The error is of type Faults where the parts are not valid, and otherwise says where edges or arcs of parts run so
// close to each other that the outline cannot be told with certainty.
func Collect(parts []Part) (Areas, error) {
	lay, faults := layOut(parts)
	if len(faults) > 0 {
		return Areas{}, faults
	}
	return lay.areas()
}

func (lay *layout) areas() (Areas, error) {
	footprint, err := lay.footprint()
	if err != nil {
		return Areas{}, err
	}
	direct, err := lay.widened(lay.radii(func(h float64) float64 { return DirectWidening * h }))
	if err != nil {
		return Areas{}, err
	}
	near, err := lay.widened(lay.radii(func(float64) float64 { return NearDistance }))
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
	if err := a.check(lay); err != nil {
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
func (a *Areas) check(lay *layout) error {
	highest := 0.0
	for k := range lay.plots {
		highest = math.Max(highest, lay.plots[k].height)
	}
	if !lay.plausible(a.Direct, DirectWidening*highest) || !lay.plausible(a.Near+a.Footprint, NearDistance) ||
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
