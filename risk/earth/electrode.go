package earth

import "levinward/risk"

// Kind is the form of an electrode.
type Kind = risk.Named[kindList]

// The values of Kind.
const (
	Rod         Kind = iota // one vertical rod from the surface down
	Rods                    // several equal vertical rods, bonded
	Wire                    // straight horizontal wire
	Ring                    // horizontal ring
	Grid                    // meshed horizontal grid, with rods or without
	Combination             // several of the above, bonded
	kinds
)

var kindNames = []string{"rod", "rods", "wire", "ring", "grid", "combination"}

type kindList struct{}

func (kindList) List() (string, []string) { return "kind", kindNames }

// Arrangement is how several rods stand.
type Arrangement = risk.Named[arrangementList]

// The values of Arrangement.
const (
	Line     Arrangement = iota // in a straight line
	Triangle                    // three at the corners of an equilateral triangle
	Square                      // along the sides of a hollow square, corners included
	arrangements
)

var arrangementNames = []string{"line", "triangle", "square"}

type arrangementList struct{}

func (arrangementList) List() (string, []string) { return "arrangement", arrangementNames }

// Electrode describes an earth electrode. A size that its kind does not have is zero.
// All lengths are in metres.
type Electrode struct {
	Kind Kind
	// Length of each rod in the soil (L), or of the wire.
	Length float64
	// Diameter of the rod or of the conductor (d). A flat strip counts as a round
	// conductor of half its width.
	Diameter float64
	// Count is the number of rods (n).
	Count       int
	Arrangement Arrangement
	// Spacing from each rod to the next (s).
	Spacing float64
	// Depth of a wire, ring or grid below the surface (h).
	Depth float64
	// RingDiameter is that of the ring (D).
	RingDiameter float64
	// Area the grid covers (A) [m2].
	Area float64
	// ConductorLength is all conductor of the grid together, with its rods (L_T).
	ConductorLength float64
	// Parts of a combination.
	Parts []Electrode
	// Distance of a part of a combination from the nearest earlier part, conductor to
	// conductor. The first part has none.
	Distance float64
}

// MaxParts is the largest number of parts of a combination.
const MaxParts = 20

// A dimension is one size of an electrode.
type dimension uint8

const (
	length dimension = iota
	diameter
	count
	spacing
	depth
	ringDiameter
	area
	conductorLength
	dimensions
)

// dimensionFields names each dimension in documents.
var dimensionFields = [dimensions]string{"length_m", "diameter_m", "count", "spacing_m", "depth_m", "ring_diameter_m", "area_m2",
	"conductor_length_m"}

func (e *Electrode) size(d dimension) float64 {
	return [dimensions]float64{e.Length, e.Diameter, float64(e.Count), e.Spacing, e.Depth, e.RingDiameter, e.Area, e.ConductorLength}[d]
}

// span is a range of allowed values, both ends included. The zero span: no such size.
type span struct{ low, high float64 }

func (s span) holds(v float64) bool { return v >= s.low && v <= s.high }

func (s span) String() string { return number(s.low) + " to " + number(s.high) }

// spans are the sizes each kind has. They keep the formulas where they hold and catch wrong
// units (a diameter in millimetres); the depth of a grid is that for which its formula was made.
var spans = [kinds][dimensions]span{
	Rod:  {length: {0.3, 60}, diameter: {0.005, 0.15}},
	Rods: {length: {0.3, 60}, diameter: {0.005, 0.15}, count: {2, 100}, spacing: {0.1, 1000}},
	Wire: {length: {1, 1000}, diameter: {0.002, 0.1}, depth: {0.1, 10}},
	Ring: {ringDiameter: {1, 1000}, diameter: {0.002, 0.1}, depth: {0.1, 10}},
	Grid: {area: {1, 1e6}, conductorLength: {4, 1e6}, depth: {0.25, 2.5}},
}

// The ranges of values that are not sizes of an electrode.
var (
	resistivitySpan = span{0.1, 1e5}    // ohm m
	distanceSpan    = span{0.01, 1e4}   // m
	wantedSpan      = span{0.01, 1e5}   // ohm
	readingSpan     = span{0.0001, 1e6} // ohm
)

// Pointers to values beside the electrode; all others are relative to the electrode.
const (
	SoilPointer  = "/soil_resistivity_ohm_m"
	ClassPointer = "/lps"
)

// RuleLayeredSoil: the soil changes with depth, and no formula here holds for it.
const RuleLayeredSoil risk.Rule = "layered-soil"
