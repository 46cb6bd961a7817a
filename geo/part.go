package geo

import (
	"fmt"
	"math"
	"strings"

	"github.com/paulmach/orb"
)

// Limits of what is taken as one structure.
const (
	MaxVertices  = 100_000 // positions of all parts together
	MinHeight    = 0.01    // m
	MaxHeight    = 1000.0  // m; the highest structures on earth stay below it
	MaxReach     = 15_000  // m from the middle of the parts, see Frame for the accuracy out there
	maxFaults    = 1000    // more are counted, not listed
	needlePoints = 3       // different positions a ring needs
)

// Part is a piece of a structure on the ground with its height.
type Part struct {
	// Geometry is an orb.Point (mast, tower), an orb.LineString (ridge, fence, row of panels) or an orb.Polygon with
	// or without holes (building), in longitude and latitude, degrees, WGS 84. Edges are straight on the ground, that
	// is in the plane of a Frame.
	Geometry orb.Geometry
	// Height above ground [m], MinHeight to MaxHeight.
	Height float64
}

// Fault is one thing that is wrong with the parts of a structure, and where.
type Fault struct {
	Part   int // index of the part
	Ring   int // index of the ring of a polygon, 0 the outer one; -1: not about a ring
	Vertex int // index of the position in the ring or line; -1: not about a position
	Reason string
}

func (f Fault) String() string {
	var b strings.Builder
	if f.Part >= 0 {
		fmt.Fprintf(&b, "part %d", f.Part)
	}
	if f.Ring >= 0 {
		fmt.Fprintf(&b, ", ring %d", f.Ring)
	}
	if f.Vertex >= 0 {
		fmt.Fprintf(&b, ", vertex %d", f.Vertex)
	}
	if b.Len() > 0 {
		b.WriteString(": ")
	}
	return b.String() + f.Reason
}

// Faults is the error that lists every fault found.
type Faults []Fault

func (fs Faults) Error() string {
	lines := make([]string, len(fs))
	for i, f := range fs {
		lines[i] = f.String()
	}
	return strings.Join(lines, "; ")
}

// add keeps the list bounded: the last entry says that there is more.
func (fs *Faults) add(f Fault) {
	switch {
	case len(*fs) < maxFaults:
		*fs = append(*fs, f)
	case len(*fs) == maxFaults:
		*fs = append(*fs, Fault{-1, -1, -1, fmt.Sprintf("only the first %d faults are listed", maxFaults)})
	}
}

// full reports that nothing more is listed, so that looking further is of no use.
func (fs *Faults) full() bool { return len(*fs) > maxFaults }

// layOut checks the parts and lays them out in the plane. Faults of position, height and ring are looked for first;
// whether rings cross is looked at only where those are right.
func layOut(parts []Part) (*layout, Faults) {
	var faults Faults
	if len(parts) == 0 {
		faults.add(Fault{-1, -1, -1, "a structure needs at least one part"})
		return nil, faults
	}
	vertices := 0
	for _, p := range parts {
		vertices += vertexCount(p.Geometry)
	}
	if vertices > MaxVertices {
		faults.add(Fault{-1, -1, -1, fmt.Sprintf("the parts have %d positions together, %d are allowed", vertices, MaxVertices)})
		for i, p := range parts {
			if n := vertexCount(p.Geometry); n > MaxVertices {
				faults.add(Fault{i, -1, -1, fmt.Sprintf("the part has %d positions, %d are allowed", n, MaxVertices)})
			}
		}
		return nil, faults
	}
	sound := make([]bool, len(parts))
	for i, p := range parts {
		before := len(faults)
		checkPart(&faults, i, p)
		sound[i] = len(faults) == before
	}
	lay := newLayout(parts, sound)
	lay.checkReach(&faults, parts, sound)
	if len(faults) == 0 || lay.within(MaxReach) {
		lay.checkRings(&faults)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return lay, nil
}

func vertexCount(g orb.Geometry) int {
	n := 0
	switch g := g.(type) {
	case orb.Point:
		n = 1
	case orb.LineString:
		n = len(g)
	case orb.Polygon:
		for _, r := range g {
			n += len(r)
		}
	}
	return n
}

// checkPart finds the faults of one part that can be seen without laying it out in the plane.
func checkPart(faults *Faults, part int, p Part) {
	switch h := p.Height; {
	case math.IsNaN(h) || math.IsInf(h, 0):
		faults.add(Fault{part, -1, -1, "the height is not a number"})
	case h < MinHeight || h > MaxHeight:
		faults.add(Fault{part, -1, -1, fmt.Sprintf("the height %v m is outside %v to %v m", h, MinHeight, MaxHeight)})
	}
	switch g := p.Geometry.(type) {
	case orb.Point:
		checkPositions(faults, part, -1, g)
	case orb.LineString:
		if len(g) < 2 {
			faults.add(Fault{part, -1, -1, fmt.Sprintf("the line has %d positions, it needs 2 or more", len(g))})
		}
		checkPositions(faults, part, -1, g...)
	case orb.Polygon:
		if len(g) == 0 {
			faults.add(Fault{part, -1, -1, "the polygon has no ring"})
		}
		for i, r := range g {
			checkRing(faults, part, i, r)
		}
	case nil:
		faults.add(Fault{part, -1, -1, "the part has no geometry"})
	default:
		faults.add(Fault{part, -1, -1, fmt.Sprintf("geometry %s is not allowed: give a Point, a LineString or a Polygon", g.GeoJSONType())})
	}
}

func checkPositions(faults *Faults, part, ring int, positions ...orb.Point) bool {
	ok := true
	for i, p := range positions {
		if reason := positionFault(p); reason != "" {
			faults.add(Fault{part, ring, i, reason})
			ok = false
		}
	}
	return ok
}

func checkRing(faults *Faults, part, ring int, r orb.Ring) {
	if !checkPositions(faults, part, ring, r...) {
		return
	}
	if len(r) < 4 {
		faults.add(Fault{part, ring, -1, fmt.Sprintf("the ring has %d positions, it needs 4 or more, the last equal to the first", len(r))})
		return
	}
	if last := len(r) - 1; r[0] != r[last] {
		faults.add(Fault{part, ring, last, fmt.Sprintf("the ring is not closed: the last position %v differs from the first %v", r[last], r[0])})
		return
	}
	if n := distinctPositions(r); n < needlePoints {
		faults.add(Fault{part, ring, -1, fmt.Sprintf("the ring has %d different positions, it needs %d or more", n, needlePoints)})
		return
	}
	turn := 0.0
	for i := 1; i < len(r); i++ {
		turn += math.Remainder(r[i][0]-r[i-1][0], 360)
	}
	if math.Abs(turn) > 180 {
		faults.add(Fault{part, ring, -1, "the ring winds round a pole"})
	}
}

// distinctPositions counts the different positions of a ring up to three.
func distinctPositions(r orb.Ring) int {
	second := -1
	for i, p := range r {
		switch {
		case p == r[0]:
		case second < 0:
			second = i
		case p != r[second]:
			return 3
		}
	}
	if second < 0 {
		return 1
	}
	return 2
}
