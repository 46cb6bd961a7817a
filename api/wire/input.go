// Package wire holds the documents that clients send and receive: the input of
// an assessment, its result and its worksheet, how they are decoded strictly, and how they
// become the plain types of package risk, defaults taken and listed.
package wire

import (
	"encoding/json"
	"errors"

	"levinward/risk"
)

// Input is the body of a calculation or assessment. Field tags hold the limits
// that openapi.yaml states for the field, and a test holds both against each
// other: lim is an interval of numbers, len of string lengths, items of
// entries; required marks what must be there.
type Input struct {
	Name            string         `json:"name" required:"true" len:"[1,200]"`
	Reference       string         `json:"reference,omitempty" len:"[0,200]"`
	Edition         *string        `json:"edition,omitempty" len:"[1,100]"`
	Location        *Location      `json:"location" required:"true"`
	FlashDensity    *FlashDensity  `json:"flash_density" required:"true"`
	Environment     *Environment   `json:"environment,omitempty"`
	SoilResistivity *float64       `json:"soil_resistivity_ohm_m,omitempty" lim:"[1,100000]"`
	Altitude        *float64       `json:"altitude_m,omitempty" lim:"[-500,9000]"`
	Structures      []Structure    `json:"structures" required:"true" items:"[1,500]"`
	Lines           *[]Line        `json:"lines,omitempty" items:"[0,1000]"`
	Tolerable       *TolerableRisk `json:"tolerable_risk,omitempty"`
	MeasureCosts    *MeasureCosts  `json:"measure_costs,omitempty"`
}

// Location is a place on WGS 84, in degrees.
type Location struct {
	Latitude  *float64 `json:"latitude" required:"true" lim:"[-90,90]"`
	Longitude *float64 `json:"longitude" required:"true" lim:"[-180,180]"`
}

// FlashDensity says how often lightning strikes the ground; exactly one of the first three is given.
type FlashDensity struct {
	GroundFlashes    *float64  `json:"ground_flashes_per_km2_year,omitempty" lim:"[0.01,100]"`
	ThunderstormDays *float64  `json:"thunderstorm_days_per_year,omitempty" lim:"[0.1,365]"`
	Map              *string   `json:"map,omitempty" len:"[1,100]"`
	Relation         *Relation `json:"relation,omitempty"`
	Source           string    `json:"source,omitempty" len:"[0,200]"`
	Year             *float64  `json:"year,omitempty" lim:"[1900,2200]" integer:"true"`
	StandardError    *float64  `json:"standard_error,omitempty" lim:"[0,100]"`
	Lower90          *float64  `json:"lower_90,omitempty" lim:"(0,1000]"`
	Upper90          *float64  `json:"upper_90,omitempty" lim:"(0,1000]"`
}

// TolerableRisk overrides R_T, per year.
type TolerableRisk struct {
	HumanLife        *float64 `json:"loss_of_human_life,omitempty" lim:"(0,1]"`
	PublicService    *float64 `json:"loss_of_public_service,omitempty" lim:"(0,1]"`
	CulturalHeritage *float64 `json:"loss_of_cultural_heritage,omitempty" lim:"(0,1]"`
	EconomicValue    *float64 `json:"loss_of_economic_value,omitempty" lim:"(0,1]"`
}

// MeasureCosts are prices in money; all are needed, because a relative scale cannot be mixed with money.
type MeasureCosts struct {
	Currency       string            `json:"currency" required:"true" len:"[3,3]"`
	LPS            *LPSPrices        `json:"lps" required:"true"`
	Bonding        *SPDPrices        `json:"bonding_spd" required:"true"`
	Coordinated    *SPDPrices        `json:"coordinated_spd" required:"true"`
	FireProtection *FireProvisionsAt `json:"fire_protection" required:"true"`
	WarningNotices *float64          `json:"warning_notices" required:"true" lim:"[0,1000000000]"`
	Insulation     *float64          `json:"insulation" required:"true" lim:"[0,1000000000]"`
	Wiring         *WiringPrices     `json:"wiring,omitempty"`
	Interest       *float64          `json:"interest_per_year,omitempty" lim:"[0,1]"`
	Amortization   *float64          `json:"amortization_per_year,omitempty" lim:"[0,1]"`
	Maintenance    *float64          `json:"maintenance_per_year,omitempty" lim:"[0,1]"`
}

// LPSPrices are prices of an LPS per structure.
type LPSPrices struct {
	IV  *float64 `json:"IV" required:"true" lim:"[0,1000000000]"`
	III *float64 `json:"III" required:"true" lim:"[0,1000000000]"`
	II  *float64 `json:"II" required:"true" lim:"[0,1000000000]"`
	I   *float64 `json:"I" required:"true" lim:"[0,1000000000]"`
}

// SPDPrices are prices of a set of SPDs per line end.
type SPDPrices struct {
	IIIIV *float64 `json:"III-IV" required:"true" lim:"[0,1000000000]"`
	II    *float64 `json:"II" required:"true" lim:"[0,1000000000]"`
	I     *float64 `json:"I" required:"true" lim:"[0,1000000000]"`
}

// WiringPrices are prices of better internal wiring per structure; without them it is no candidate.
type WiringPrices struct {
	LargeLoopsAvoided *float64 `json:"large_loops_avoided" required:"true" lim:"[0,1000000000]"`
	LoopsAvoided      *float64 `json:"loops_avoided" required:"true" lim:"[0,1000000000]"`
	Shielded          *float64 `json:"shielded" required:"true" lim:"[0,1000000000]"`
}

// FireProvisionsAt are prices of provisions against fire per structure.
type FireProvisionsAt struct {
	Manual    *float64 `json:"manual" required:"true" lim:"[0,1000000000]"`
	Automatic *float64 `json:"automatic" required:"true" lim:"[0,1000000000]"`
}

// Structure is a building or the neighbour at the far end of a line.
type Structure struct {
	ID                   string         `json:"id" required:"true" len:"[1,100]"`
	Length               *float64       `json:"length_m,omitempty" lim:"(0,10000]"`
	Width                *float64       `json:"width_m,omitempty" lim:"(0,10000]"`
	Height               *float64       `json:"height_m,omitempty" lim:"(0,1000]"`
	Protrusion           *float64       `json:"protrusion_height_m,omitempty" lim:"(0,1000]"`
	Parts                *[]Part        `json:"parts,omitempty" items:"[1,2000]"`
	Assess               *bool          `json:"assess,omitempty"`
	Surroundings         *Surroundings  `json:"surroundings,omitempty"`
	Occupancy            *Occupancy     `json:"occupancy,omitempty"`
	LPS                  *LPS           `json:"lps,omitempty"`
	NaturalLPS           *bool          `json:"natural_lps,omitempty"`
	ScreenMesh           *float64       `json:"screen_mesh_m,omitempty" lim:"[0,100]"`
	FailureEndangersLife *bool          `json:"failure_endangers_life,omitempty"`
	Explosion            *ExplosionZone `json:"explosion_zone,omitempty"`
	PublicSupply         *PublicSupply  `json:"public_service,omitempty"`
	CulturalHeritage     *bool          `json:"cultural_heritage,omitempty"`
	Persons              *float64       `json:"persons,omitempty" lim:"(0,1000000]"`
	Zones                *[]Zone        `json:"zones,omitempty" items:"[1,100]"`
	Earthing             *Earthing      `json:"earthing,omitempty"`
	DownConductors       *float64       `json:"down_conductors,omitempty" lim:"[1,200]" integer:"true"`
	Separation           *Separation    `json:"separation,omitempty"`
	NextInspection       *Date          `json:"next_inspection,omitempty"`
}

// Zone is a part of a structure with uniform characteristics.
type Zone struct {
	ID             string                   `json:"id" required:"true" len:"[1,100]"`
	Place          *Place                   `json:"place,omitempty"`
	Persons        *float64                 `json:"persons,omitempty" lim:"[0,1000000]"`
	Hours          *float64                 `json:"hours_per_year,omitempty" lim:"[0,8760]"`
	Surface        *Surface                 `json:"surface,omitempty"`
	StructureShock *[]StructureShockMeasure `json:"structure_shock_measures,omitempty" items:"[0,4]"`
	LineShock      *[]LineShockMeasure      `json:"line_shock_measures,omitempty" items:"[0,3]"`
	FireRisk       *FireRisk                `json:"fire_risk,omitempty"`
	FireProtection *FireProtection          `json:"fire_protection,omitempty"`
	SpecialHazard  *SpecialHazard           `json:"special_hazard,omitempty"`
	ScreenMesh     *float64                 `json:"screen_mesh_m,omitempty" lim:"[0,100]"`
	Systems        *[]System                `json:"systems,omitempty" items:"[0,100]"`
	Losses         *Losses                  `json:"losses,omitempty"`
	Values         *Values                  `json:"values,omitempty"`
}

// System is an internal system and the line that feeds it.
type System struct {
	Line      string   `json:"line" required:"true" len:"[1,100]"`
	Wiring    *Wiring  `json:"wiring,omitempty"`
	Withstand *float64 `json:"withstand_kv,omitempty" lim:"(0,1000]"`
}

// Losses override the typical mean losses of a zone.
type Losses struct {
	HumanLife        *LossValues `json:"loss_of_human_life,omitempty"`
	PublicService    *LossValues `json:"loss_of_public_service,omitempty"`
	CulturalHeritage *LossValues `json:"loss_of_cultural_heritage,omitempty"`
	EconomicValue    *LossValues `json:"loss_of_economic_value,omitempty"`
}

// LossValues are mean losses of one kind.
type LossValues struct {
	LT *float64 `json:"L_T,omitempty" lim:"[0,1]"`
	LF *float64 `json:"L_F,omitempty" lim:"[0,1]"`
	LO *float64 `json:"L_O,omitempty" lim:"[0,1]"`
}

// Values are economic values of a zone, in money.
type Values struct {
	Animals  *float64 `json:"animals,omitempty" lim:"[0,1000000000000]"`
	Building *float64 `json:"building,omitempty" lim:"[0,1000000000000]"`
	Contents *float64 `json:"contents,omitempty" lim:"[0,1000000000000]"`
	Systems  *float64 `json:"systems,omitempty" lim:"[0,1000000000000]"`
}

// Line is a service line that enters a structure.
type Line struct {
	ID             string        `json:"id" required:"true" len:"[1,100]"`
	Structure      string        `json:"structure" required:"true" len:"[1,100]"`
	To             *string       `json:"to,omitempty" len:"[1,100]"`
	Service        *Service      `json:"service,omitempty"`
	Installation   *Installation `json:"installation,omitempty"`
	Length         *float64      `json:"length_m,omitempty" lim:"[0,100000]"`
	Sections       *[]Section    `json:"sections,omitempty" items:"[1,100]"`
	SharedRoute    string        `json:"shared_route,omitempty" len:"[0,100]"`
	Shield         *Shield       `json:"shield,omitempty"`
	Withstand      *float64      `json:"withstand_kv,omitempty" lim:"(0,1000]"`
	BondingSPD     *SPD          `json:"bonding_spd,omitempty"`
	CoordinatedSPD *SPD          `json:"coordinated_spd,omitempty"`
	Electrical     *Electrical   `json:"electrical,omitempty"`
	LineEnds
}

// Section is a part of a line with uniform characteristics.
type Section struct {
	Installation *Installation `json:"installation,omitempty"`
	Length       *float64      `json:"length_m,omitempty" lim:"[0,100000]"`
	Route        *Route        `json:"route,omitempty"`
	Environment  *Environment  `json:"environment,omitempty"`
	Service      *Service      `json:"service,omitempty"`
}

// Shield is the screen of a line.
type Shield struct {
	Type       *ShieldType `json:"type" required:"true"`
	Bonded     *bool       `json:"bonded,omitempty"`
	Resistance *float64    `json:"resistance_ohm_per_km,omitempty" lim:"(0,1000000]"`
	Conductor  *float64    `json:"conductor_resistance_ohm_per_km,omitempty" lim:"(0,1000000]"`
}

// SPD is a level, or the probability of a set better than LPL I.
type SPD risk.SPD

// The named values of the input are those of package risk.
type (
	Environment    = risk.Environment
	Relation       = risk.Relation
	Surroundings   = risk.Surroundings
	LPS            = risk.LPS
	ExplosionZone  = risk.ExplosionZone
	PublicSupply   = risk.PublicSupply
	Place          = risk.Place
	Surface        = risk.Surface
	FireRisk       = risk.FireRisk
	FireProtection = risk.FireProtection
	SpecialHazard  = risk.SpecialHazard
	Wiring         = risk.Wiring
	Service        = risk.Service
	Installation   = risk.Installation
	ShieldType     = risk.ShieldType
	Current        = risk.Current
	EarthingSystem = risk.EarthingSystem
	DCOrigin       = risk.DCOrigin
	Equipment      = risk.Equipment
	Building       = risk.Building
)

// Occupancy is the use of a structure; "unknown" is what an absent value means and cannot be given.
type Occupancy risk.Occupancy

// Names lists the values that can be given.
func (o Occupancy) Names() []string { return risk.Occupancy(o).Names()[1:] }

// MarshalText gives the name of the value.
func (o Occupancy) MarshalText() ([]byte, error) { return risk.Occupancy(o).MarshalText() }

// UnmarshalText takes the name of a value.
func (o *Occupancy) UnmarshalText(b []byte) error {
	if err := (*risk.Occupancy)(o).UnmarshalText(b); err != nil {
		return err
	}
	if *o == Occupancy(risk.OccupancyUnknown) {
		return errors.New("unknown occupancy: leave the field out")
	}
	return nil
}

// StructureShockMeasure is one measure against touch and step voltages from flashes to the structure.
type StructureShockMeasure struct{ bit uint8 }

// Names lists the values that can be given.
func (StructureShockMeasure) Names() []string { return risk.ShockMeasureNames }

// MarshalText gives the name of the value.
func (m StructureShockMeasure) MarshalText() ([]byte, error) {
	return []byte(risk.ShockMeasureNames[m.bit]), nil
}

// UnmarshalText takes the name of a value.
func (m *StructureShockMeasure) UnmarshalText(b []byte) error {
	for i, n := range risk.ShockMeasureNames {
		if n == string(b) {
			m.bit = uint8(i)
			return nil
		}
	}
	return errors.New("unknown measure")
}

// LineShockMeasure is one measure against touch voltages from flashes to a line.
type LineShockMeasure struct{ StructureShockMeasure }

// Names lists the values that can be given.
func (LineShockMeasure) Names() []string {
	return []string{"warning_notices", "insulation", "physical_restriction"}
}

// UnmarshalText takes the name of a value.
func (m *LineShockMeasure) UnmarshalText(b []byte) error {
	if string(b) == "soil_equipotentialization" {
		return errors.New("no measure against touch voltages from a line")
	}
	return m.StructureShockMeasure.UnmarshalText(b)
}

// Probability limits of a set of SPDs better than LPL I (Tables B.3 and B.7).
const minSPDProbability, maxSPDProbability = 0.001, 0.005

// Names lists the levels that can be given by name.
func (SPD) Names() []string { return risk.Level(0).Names()[:risk.BetterThanI] }

// MarshalJSON gives the level, or the probability as a number.
func (s SPD) MarshalJSON() ([]byte, error) {
	if s.Level == risk.BetterThanI {
		return json.Marshal(s.Probability)
	}
	return json.Marshal(s.Level)
}

// UnmarshalJSON takes a level or a number.
func (s *SPD) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] != '"' {
		s.Level = risk.BetterThanI
		if err := json.Unmarshal(b, &s.Probability); err != nil {
			return err
		}
		if s.Probability < minSPDProbability || s.Probability > maxSPDProbability {
			return errors.New("probability out of range")
		}
		return nil
	}
	if err := json.Unmarshal(b, &s.Level); err != nil {
		return err
	}
	if s.Level == risk.BetterThanI {
		return errors.New("give the probability as a number")
	}
	return nil
}
