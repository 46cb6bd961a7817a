package risk

import (
	"math"

	"levinward/risk/trace"
)

// Input is one site as the computation sees it, every default already taken.
// Lengths are in metres, areas in square metres, voltages of equipment in kV
// where the name says so, money in any one currency.
type Input struct {
	Name, Reference string
	Edition         string
	Location        Location
	FlashDensity    FlashDensity
	// SoilResistivity is rho [ohm m]; 0 where it is not known.
	SoilResistivity float64
	Altitude        float64 // above the sea [m]; 0 where not known
	Structures      []Structure
	Lines           []Line
	// Tolerable is R_T [1/a] per loss; 0 takes the typical value of the edition.
	Tolerable [Losses]float64
	Costs     Costs
	// Reviews are the table values that a named reader compared with the printed standard; nil: none.
	Reviews *trace.Reviews
	// Assumptions are the defaults that were taken to complete the input.
	Assumptions []Assumption
}

// Losses is the number of types of loss.
const Losses = 4

// Location is a point on WGS 84, in degrees.
type Location struct{ Latitude, Longitude float64 }

// FlashDensity says how often lightning strikes the ground here. Exactly one of
// the ways is used, by Origin.
type FlashDensity struct {
	Origin           DensityOrigin
	NG               float64 // ground flashes per km2 and year, for given and map
	ThunderstormDays float64 // T_D per year
	Relation         Relation
	Source           string
	Year             int     // of the newest data, 0 where not known
	StandardError    float64 // of N_G, however it was found [1/(km2 a)]; 0 where not stated
	Lower90, Upper90 float64 // ends of an interval of 90 % for N_G, in its place; 0 where not stated

	// Of a map: its id; the relation that gave N_G from its value, empty where it
	// holds N_G itself; and what the worksheet says beside N_G.
	Map, Derivation, Note string
}

// Structure is a building, or the neighbour at the far end of a line.
type Structure struct {
	ID string
	// Length, Width and Height of the box [m]; Protrusion is the height H_P of
	// the highest protrusion above ground [m], 0 for none.
	Length, Width, Height, Protrusion float64
	// Areas are the collection areas of a structure given by its parts on the
	// ground; then it has no box.
	Areas Areas
	// NotAssessed marks a structure that only stands at the far end of a line.
	NotAssessed  bool
	Surroundings Surroundings
	Occupancy    Occupancy
	LPS          LPS
	// NaturalLPS: a continuous metal or reinforced-concrete frame, bonded and earthed, acts as an LPS.
	NaturalLPS           bool
	Screen               Screen // outer screen, w_m1
	FailureEndangersLife bool
	Explosion            ExplosionZone
	PublicSupply         PublicSupply
	CulturalHeritage     bool
	Persons              float64 // n_t; 0 where not known, then every zone holds everyone
	// Users are those whom the zones inside serve, each counted once, where they exceed n_t because the same persons are
	// in several zones at different hours; 0: n_t.
	Users          float64
	Zones          []Zone
	Earthing       Earthing
	DownConductors int // of the LPS; 0 where not known
	Separation     Separation
}

// Separation is the distance between the LPS and what it may flash over to, 62305-3 clause 6.3.
type Separation struct {
	Along    float64  // l, along the LPS from the point considered to the next bonding [m]; 0 where not known
	Air      bool     // the gap is of air (k_m = 1); otherwise solid material (0.5)
	Distance *float64 // the distance that there is [m]; nil where not known
}

// Earthing is the earth connection of a structure.
type Earthing struct {
	Connection EarthConnection
	Resistance float64 // ohm, for a measured connection and an electrode
	// Common: array frame, battery, generator, mast and LPS are on this one electrode.
	Common Answer
}

// Proved reports that there is an earth connection of known resistance.
func (e Earthing) Proved() bool {
	return e.Connection == EarthMeasured || e.Connection == EarthElectrode
}

// Areas are collection areas measured on the ground [m2]: A_D as the area of
// the union of all parts, each widened by 3 x its height, and A_M as the area within 500 m of the
// outline without the footprint.
type Areas struct {
	Given        bool
	Direct, Near float64
	Parts        int
}

// Screen is a spatial grid-like screen. Mesh is its mesh width w_m [m]; 0 is a
// continuous metal sheet of at least 0.1 mm.
type Screen struct {
	Present bool
	Mesh    float64
}

// Zone is a part of a structure with uniform characteristics.
type Zone struct {
	ID             string
	Place          Place
	Persons        float64 // n_z
	Hours          float64 // t_z, hours a year in the zone
	Surface        Surface
	StructureShock ShockMeasures // against touch and step voltages from flashes to the structure
	LineShock      ShockMeasures // against touch voltages from flashes to a line
	FireRisk       FireRisk
	FireProtection FireProtection
	SpecialHazard  SpecialHazard
	Screen         Screen // inner screen, w_m2
	Systems        []System
	Losses         [Losses]LossValues
	Values         Values
}

// ShockMeasures is a set of measures against injury by touch and step voltages.
type ShockMeasures uint8

// The measures a ShockMeasures can hold.
const (
	WarningNotices ShockMeasures = 1 << iota
	Insulation
	SoilEquipotentialization
	PhysicalRestriction
)

// ShockMeasureNames lists the names of the measures, in the order of their bits.
var ShockMeasureNames = []string{"warning_notices", "insulation", "soil_equipotentialization", "physical_restriction"}

// Names lists the measures in the set.
func (m ShockMeasures) Names() []string {
	names := []string{}
	for i, n := range ShockMeasureNames {
		if m&(1<<i) != 0 {
			names = append(names, n)
		}
	}
	return names
}

// LossValues overrides the typical mean losses of a zone for one type of loss. A nil value is not overridden.
type LossValues struct{ LT, LF, LO *float64 }

// Values are the economic values of a zone, in money.
type Values struct{ Animals, Building, Contents, Systems float64 }

// Total is the value of everything in the zone.
func (v Values) Total() float64 { return v.Animals + v.Building + v.Contents + v.Systems }

// System is an internal system of a zone that a line feeds.
type System struct {
	Line   int // index into Input.Lines
	Wiring Wiring
	// Withstand is U_W [kV]; 0 takes the line's.
	Withstand float64
}

// Line is a service line that enters a structure.
type Line struct {
	ID        string
	Structure int // index into Input.Structures
	To        int // index of the structure at the far end; -1: the network
	Service   Service
	Sections  []Section
	Shield    Shield
	Withstand float64 // U_W [kV]
	// BondingSPD (P_EB) and CoordinatedSPD (P_SPD) are what is installed at each assessed end.
	BondingSPD, CoordinatedSPD SPD
	Electrical                 Electrical
	// SharedRoute names the route that lines run along together: of the lines
	// with one name at a structure only the worst counts for flashes to and near lines. Empty: a route of its own.
	SharedRoute string
	FarEarth    FarEarth // what is known of the earth at the far end
	// FarElectrode names the electrode at the far end: lines with one name are one path. Empty: that of To, or one of its own.
	FarElectrode string
	FarEnd       FarEnd
	FarWithstand float64 // U_W of the equipment at the far end [kV]; 0 where not known
	// Board names the board that the line ends on: lines with one name at a structure share one set of devices. Empty: a board of its own.
	Board string
	Trunk string // id of the line that this one branches from; empty: none
	// OutsideZone: the end at a structure with risk of explosion lies outside its zones.
	OutsideZone bool
}

// Length is the length of the line [m].
func (l *Line) Length() float64 {
	total := 0.0
	for i := range l.Sections {
		total += l.Sections[i].Length
	}
	return total
}

// Ends reports whether the line enters structure s.
func (l *Line) Ends(s int) bool { return l.Structure == s || l.To == s }

// Far is the structure at the other end of the line seen from structure s, -1 where it is the network.
func (l *Line) Far(s int) int {
	if l.Structure == s {
		return l.To
	}
	return l.Structure
}

// Section is a part of a line with uniform characteristics.
type Section struct {
	Installation Installation
	Length       float64 // L_L [m]
	Drawn        bool    // the length is that of a route drawn on the map
	Environment  Environment
	Service      Service
}

// Shield is the screen of a line.
type Shield struct {
	Type       ShieldType
	Bonded     bool    // to the bonding bar the equipment is bonded to
	Resistance float64 // R_S [ohm/km]; 0 where not known
	Conductor  float64 // R_C of one conductor inside [ohm/km]; 0 where not known
}

// SPD is a set of SPDs chosen for a protection level. Probability is P_EB or
// P_SPD of a set better than LPL I (0.001 to 0.005); it is 0 for the others.
type SPD struct {
	Level       Level
	Probability float64
}

// Electrical says what is connected through a line.
type Electrical struct {
	Current Current
	// alternating current
	System          EarthingSystem
	Nominal         float64 // V, line to neutral for one phase and three
	MaxOperating    float64 // V, highest continuous operating voltage line to neutral or pole to pole; 0 where not known
	Phases          int     // 1, 3, or 2: two in antiphase with the neutral between them (split phase)
	Neutral         bool
	SourceConnected bool
	ShortCircuit    float64 // prospective short-circuit current at the SPD [kA]; 0 where not known
	Source          SupplySource
	SourcePhases    int            // of the source: 1, 2 or 3; 0 where not known
	AlsoFedBy       *[]OtherSupply // sources that feed the line at other times; nil: none
	Changeover      Changeover
	NeutralBond     NeutralBond
	Residual        ResidualDevice
	Connection      ConnectionType // wanted
	Pulsed          bool           // pulse-width modulated, the output of a drive
	WideVariation   bool           // of the voltage, as on long rural lines
	NotStated       bool           // nothing is said of what the line carries: taken as 230 V a.c.
	// direct current
	Origin                 DCOrigin
	OpenCircuit            float64 // U_OC,STC of the array [V]; 0 where not known
	TemperatureCoefficient float64 // of U_OC per kelvin, negative; 0 where not known
	LowestTemperature      *float64
	ShortCircuitSTC        float64 // I_SC,STC [A]; 0 where not known
	EquipmentMaxInput      float64 // V; 0 where not known
	Equipment              Equipment
	Building               Building
	ArrayPlace             ArrayPlace
	SeparationKept         bool    // between the array and the LPS
	Strings                int     // in parallel; 0 where not known
	CombinerBoxes          int     // at the array
	BatteryCanFeed         Answer  // a battery can feed a photovoltaic line
	BatteryMax             float64 // voltage that the battery can drive back [V]; 0 where not known
	BatteryShortCircuit    float64 // and current [kA]
	// telecommunication
	Cable Cable
	Pairs int // 0 where not known
	// installation
	EquipmentDistance float64 // cable between SPD and equipment [m]; 0 where not known
	DistanceStated    bool    // the distance was given, 0 too
	LeadLength        float64 // both connecting leads together [m]; 0 where not known
	SecondDevice      Answer  // a second device stands at the equipment
	ShieldedWiring    bool    // between device and equipment
}

// OtherSupply is a source that feeds a line at other times than its own.
type OtherSupply struct {
	Source       SupplySource
	System       EarthingSystem
	SourcePhases int     // 0 where not known
	MaxOperating float64 // V; 0 where not known
	ShortCircuit float64 // kA; 0 where not known
}

// Costs are what measures cost. Without Money they are relative: a set of
// bonding SPDs for LPL III-IV on one line is 1.
type Costs struct {
	Money          bool
	Currency       string
	LPS            [LPSIFullCover + 1]float64 // per structure; classes with natural frame cost what class I costs
	Bonding        [BetterThanI + 1]float64   // per line end
	Coordinated    [BetterThanI + 1]float64   // per line end, on top of bonding
	FireProtection [AutomaticFireProtection + 1]float64
	WarningNotices float64 // per structure
	Insulation     float64 // of exposed parts, per structure
	// Wiring is what it costs to route or shield all internal wiring of a structure. Nil: not known, so it is no candidate.
	Wiring *[ShieldedWiring + 1]float64
	// Interest, Amortization and Maintenance are fractions of the price per year (i, a, m).
	Interest, Amortization, Maintenance float64
}

// Yearly is the share of a price that is paid each year, i + a + m.
func (c *Costs) Yearly() float64 { return c.Interest + c.Amortization + c.Maintenance }

// Assumption is a default that was taken because the input gave nothing.
type Assumption struct {
	Pointer      string // RFC 6901, where the value would stand in the input
	Value        string
	Reason       string
	Clause       string
	Provenance   trace.Provenance // of the default, never of what the site is
	Decisive     bool             // another plausible value changes the outcome
	Alternatives []Alternative    // the plausible values that change it
}

// Alternative is what the answer would be with another plausible value.
type Alternative struct {
	Value   string
	Outcome string
}

// Effect is what another plausible value in place of a default does to a risk.
type Effect struct {
	Assumption    int // index of the default in the list of assumptions
	Instead       string
	Structure     int
	Loss          Loss
	Before, After float64 // R [1/a] with the default and with the other value
	Decisive      bool
}

// Size orders effects: the factor by which the risk rises or falls, as a logarithm; 0 where it stays.
func (e *Effect) Size() float64 {
	if e.Before == e.After {
		return 0
	}
	return math.Abs(math.Log(e.After / e.Before))
}
