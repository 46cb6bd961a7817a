package risk

import "levinward/risk/trace"

// Component numbers the risk components.
type Component uint8

// The components, by source and type of damage.
const (
	RA         Component = iota // flash to the structure, injury by shock
	RB                          // flash to the structure, physical damage
	RC                          // flash to the structure, failure of internal systems
	RM                          // flash near the structure, failure of internal systems
	RU                          // flash to a line, injury by shock
	RV                          // flash to a line, physical damage
	RW                          // flash to a line, failure of internal systems
	RZ                          // flash near a line, failure of internal systems
	Components                  // their number
)

var componentNames = [Components]string{"R_A", "R_B", "R_C", "R_M", "R_U", "R_V", "R_W", "R_Z"}

func (c Component) String() string { return componentNames[c] }

// Result is what an edition computes.
type Result struct {
	NG         float64 // N_G used [1/(km2 a)]
	Structures []StructureResult
	Lines      []LineResult
}

// Events are collection areas [m2] and numbers of dangerous events [1/a].
type Events struct{ DirectArea, NearArea, Direct, Near float64 }

// StructureResult is the result of one structure. A structure that is not assessed has areas and
// events only.
type StructureResult struct {
	Events
	Assessed bool
	Risks    [Losses]Risk
	// SystemFailures is the expected number of failures of internal systems a year, in the zone where it is highest.
	SystemFailures float64
	// TotalValue is c_t; 0 where no values were given.
	TotalValue float64
}

// Risk is the risk of one type of loss [1/a].
type Risk struct {
	Applies    bool
	Total      float64
	Tolerable  float64 // R_T; 0 where the cost comparison decides
	Components [Components]float64
	Zones      []ZoneRisk // in input order
	// RestsOn is the weakest value or formula behind Total; zero where nothing was recorded.
	RestsOn trace.Ground
}

// Acceptable reports whether the risk is at most R_T; where the cost comparison decides there is no limit.
func (r *Risk) Acceptable() bool { return r.Tolerable == 0 || r.Total <= r.Tolerable }

// ZoneRisk is the risk in one zone [1/a].
type ZoneRisk struct {
	Total      float64
	Components [Components]float64
}

// LineResult holds the events on and near one line.
type LineResult struct {
	Events
	// AdjacentStructure is N_DJ at the end of Line.Structure, AdjacentAtFar at the end of Line.To [1/a].
	AdjacentStructure, AdjacentAtFar float64
}

// Recommendation is the cheapest set of measures that brings every risk to its limit.
type Recommendation struct {
	Needed     bool // some risk exceeds its limit as things are
	Sufficient bool // the set brings every risk to its limit; otherwise it is the best that can be reached
	Proven     bool // the search was complete
	Set        MeasureSet
	// Alternatives are at most five further sets that suffice, none dominated by another.
	Alternatives []MeasureSet
}

// MeasureSet is one answer: measures per assessed structure, what they cost and what risk remains.
type MeasureSet struct {
	Structures []StructureMeasures
	Cost       float64
}

// StructureMeasures are the measures of one structure with the risks under them.
type StructureMeasures struct {
	Structure int
	Measures  Measures
	Cost      float64
	Risks     [Losses]float64
	Added     bool // something is to be added to what is there
}

// Reason is a rule that applies, and where it comes from.
type Reason struct{ Rule, Clause string }

// Cost compares the yearly cost of loss with and without measures, in money per year.
type Cost struct {
	Without  float64 // C_L
	With     float64 // C_RL
	Measures float64 // C_PM
	Saving   float64 // S_M; measures are justified where it is positive
}

// Change is what else a designer could change at a structure beside the measures of the recommended set, and the
// risks that it alone would leave on top of that set [1/a].
type Change struct {
	Structure  int
	Line, Zone int // index, -1 where the change belongs to none
	Kind       ChangeKind
	Risks      [Losses]float64
}

// ChangeKind is what is changed.
type ChangeKind = Named[changeKindList]

// The values of ChangeKind.
const (
	ScreenStructure ChangeKind = iota // spatial screen of the structure, mesh of 2 m
	ShieldLine                        // shielded cable, bonded at both ends, R_S at most 5 ohm/km
	BuryLine                          // every section buried
	IsolateLine                       // isolating interface
	LessFireLoad                      // one step less risk of fire in the zone
)

var changeKindNames = []string{"screen_structure", "shield_line", "bury_line", "isolating_interface", "less_fire_load"}

type changeKindList struct{}

func (changeKindList) List() (string, []string) { return "change", changeKindNames }

// Deciding is the default that decides first what has to be done at a structure: with another plausible
// value the measures that suffice there cost least.
type Deciding struct {
	Assumption int // index of the default in the list of assumptions
	Instead    string
	Structure  int
	// Sufficient and Cost are those of the cheapest set of the structure, and with the other value.
	Sufficient, SufficientInstead bool
	Cost, CostInstead             float64
	WorstInstead                  float64 // worst ratio of risk to limit that the other value leaves
}
