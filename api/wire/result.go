package wire

import (
	"time"

	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

// Result is the answer to an input. Id, revision and time are those of the
// stored record; a calculation that is not stored has none.
type Result struct {
	ID             string            `json:"id,omitempty"`
	Revision       int               `json:"revision,omitempty"`
	CreatedAt      *time.Time        `json:"created_at,omitempty"`
	Edition        string            `json:"edition"`
	Engine         string            `json:"engine"`
	InputHash      string            `json:"input_hash"`
	ReviewsHash    string            `json:"reviews_hash,omitempty"`
	Input          *Input            `json:"input"`
	Assumptions    []Assumption      `json:"assumptions"`
	Sensitivity    []Effect          `json:"sensitivity,omitempty"`
	FlashDensity   DensityUsed       `json:"flash_density"`
	ReviewDue      string            `json:"review_due,omitempty"`
	Structures     []StructureResult `json:"structures"`
	Lines          []LineResult      `json:"lines"`
	Recommendation Recommendation    `json:"recommendation"`
	Schedule       []ScheduleEntry   `json:"spd_schedule"`
	Warnings       []string          `json:"warnings"`
	Cautions       []string          `json:"cautions"`
}

// Assumption is a default that was taken.
type Assumption struct {
	Pointer      string           `json:"pointer"`
	Value        string           `json:"value"`
	Reason       string           `json:"reason"`
	Clause       string           `json:"clause"`
	Provenance   trace.Provenance `json:"provenance,omitempty"`
	Decisive     bool             `json:"decisive"`
	Alternatives []Alternative    `json:"alternatives,omitempty"`
}

// Alternative is what the answer would be with another plausible value.
type Alternative struct {
	Value   string `json:"value"`
	Outcome string `json:"outcome"`
}

// Effect is what another plausible value in place of a default does to the risk that it changes most.
type Effect struct {
	Pointer   string    `json:"pointer"`
	Value     string    `json:"value"`
	Instead   string    `json:"instead"`
	Structure string    `json:"structure"`
	Loss      risk.Loss `json:"loss"`
	Before    float64   `json:"risk"`
	After     float64   `json:"risk_instead"`
	Tolerable *float64  `json:"tolerable"`
	Decisive  bool      `json:"decisive"`
}

// DensityUsed is the ground flash density that was used and where it comes from.
type DensityUsed struct {
	GroundFlashes float64            `json:"ground_flashes_per_km2_year"`
	Origin        risk.DensityOrigin `json:"origin"`
	Derived       bool               `json:"derived"`
	Relation      string             `json:"relation,omitempty"`
	Source        string             `json:"source,omitempty"`
	Year          int                `json:"year,omitempty"`
	StandardError float64            `json:"standard_error,omitempty"`
	Lower90       float64            `json:"lower_90,omitempty"`
	Upper90       float64            `json:"upper_90,omitempty"`
	UpperBound    float64            `json:"upper_bound,omitempty"`
	Map           string             `json:"map,omitempty"`
	Note          string             `json:"note,omitempty"`
}

// DirectNear is a pair of values for flashes to and near something.
type DirectNear struct {
	Direct float64 `json:"direct"`
	Near   float64 `json:"near"`
}

// StructureResult is the result of one structure.
type StructureResult struct {
	ID             string          `json:"id"`
	Assessed       bool            `json:"assessed"`
	Area           DirectNear      `json:"collection_area_m2"`
	Events         DirectNear      `json:"events_per_year"`
	Risks          Risks           `json:"risks"`
	SystemFailures float64         `json:"internal_system_failures_per_year"`
	CostOfLoss     *CostOfLoss     `json:"cost_of_loss,omitempty"`
	Earthing       *EarthJudgement `json:"earthing,omitempty"`
}

// EarthJudgement is what the earth connection of a structure is worth to surge
// protection. EarthFirst: nothing counts as protected until there is a proved earth connection.
type EarthJudgement struct {
	Connection risk.EarthConnection `json:"connection"`
	Resistance *float64             `json:"resistance_ohm"`
	Grade      earth.Grade          `json:"grade"`
	EarthFirst bool                 `json:"earth_first"`
	Notes      []EarthNote          `json:"notes"`
}

// Risks holds the risks that apply.
type Risks struct {
	HumanLife        *Risk `json:"loss_of_human_life,omitempty"`
	PublicService    *Risk `json:"loss_of_public_service,omitempty"`
	CulturalHeritage *Risk `json:"loss_of_cultural_heritage,omitempty"`
	EconomicValue    *Risk `json:"loss_of_economic_value,omitempty"`
}

func (r *Risks) slots() [risk.Losses]**Risk {
	return [risk.Losses]**Risk{&r.HumanLife, &r.PublicService, &r.CulturalHeritage, &r.EconomicValue}
}

// Of returns the risk of one loss, nil where it does not apply.
func (r *Risks) Of(k risk.Loss) *Risk { return *r.slots()[k] }

// Risk is the risk of one type of loss per year. Tolerable is null where the cost comparison decides.
type Risk struct {
	Total      float64  `json:"total"`
	Tolerable  *float64 `json:"tolerable"`
	Acceptable bool     `json:"acceptable"`
	Margin
	Components Components `json:"components"`
	Zones      []ZoneRisk `json:"zones"`
	RestsOn    *RestsOn   `json:"rests_on,omitempty"`
}

// ZoneRisk is the risk in one zone per year.
type ZoneRisk struct {
	ID         string     `json:"id"`
	Total      float64    `json:"total"`
	Components Components `json:"components"`
}

// Components are the eight risk components per year; one that does not count is 0.
type Components struct {
	RA float64 `json:"R_A"`
	RB float64 `json:"R_B"`
	RC float64 `json:"R_C"`
	RM float64 `json:"R_M"`
	RU float64 `json:"R_U"`
	RV float64 `json:"R_V"`
	RW float64 `json:"R_W"`
	RZ float64 `json:"R_Z"`
}

// CostOfLoss compares the yearly cost of loss with and without measures.
type CostOfLoss struct {
	TotalValue float64 `json:"total_value"`
	Without    float64 `json:"without_measures_per_year"`
	// the rest only where prices of measures are given in money
	Currency  string   `json:"currency,omitempty"`
	With      *float64 `json:"with_measures_per_year,omitempty"`
	Measures  *float64 `json:"measures_per_year,omitempty"`
	Saving    *float64 `json:"saving_per_year,omitempty"`
	Justified *bool    `json:"justified,omitempty"`
}

// LineResult is the result of one line.
type LineResult struct {
	ID     string     `json:"id"`
	Area   DirectNear `json:"collection_area_m2"`
	Events LineEvents `json:"events_per_year"`
}

// LineEvents are the numbers of events on a line per year.
type LineEvents struct {
	Direct            float64  `json:"direct"`
	Near              float64  `json:"near"`
	AdjacentStructure float64  `json:"adjacent_structure"`
	AdjacentAtFarEnd  *float64 `json:"adjacent_structure_at_far_end,omitempty"`
}

// Recommendation is the cheapest set of measures that suffices.
type Recommendation struct {
	Needed     bool `json:"needed"`
	Sufficient bool `json:"sufficient"`
	Proven     bool `json:"proven_cheapest"`
	MeasureSet
	Alternatives []MeasureSet `json:"alternatives"`
	Changes      []Change     `json:"further_changes,omitempty"`
	Deciding     *Deciding    `json:"deciding_assumption,omitempty"`
}

// MeasureSet is a set of measures, what it costs and the risk that remains. LeastMargin is the smallest R_T/R that it
// leaves; nil where no risk with a limit remains.
type MeasureSet struct {
	Measures    MeasuresTaken              `json:"measures"`
	Cost        float64                    `json:"cost"`
	CostUnit    string                     `json:"cost_unit"`
	RisksAfter  map[string]RemainingRisk   `json:"risks_after"`
	Margins     map[string]RemainingMargin `json:"margins_after,omitempty"`
	LeastMargin *float64                   `json:"least_margin,omitempty"`
}

// MeasuresTaken are measures by structure and line end, those in place already included.
type MeasuresTaken struct {
	Structures []StructureMeasures `json:"structures"`
	Lines      []LineMeasures      `json:"lines"`
}

// StructureMeasures are the measures of a structure. Wiring is nil where it has no internal systems.
type StructureMeasures struct {
	ID             string              `json:"id"`
	LPS            risk.LPS            `json:"lps"`
	FireProtection risk.FireProtection `json:"fire_protection"`
	StructureShock []string            `json:"structure_shock_measures"`
	LineShock      []string            `json:"line_shock_measures"`
	Wiring         *risk.Wiring        `json:"wiring,omitempty"`
	LPSWork        *LPSWork            `json:"lps_work,omitempty"`
}

// LineMeasures are the SPDs at one end of a line.
type LineMeasures struct {
	ID          string `json:"id"`
	Structure   string `json:"structure"`
	Bonding     SPD    `json:"bonding_spd"`
	Coordinated SPD    `json:"coordinated_spd"`
}

// RemainingRisk is the risk per year under a set of measures.
type RemainingRisk struct {
	HumanLife        *float64 `json:"loss_of_human_life,omitempty"`
	PublicService    *float64 `json:"loss_of_public_service,omitempty"`
	CulturalHeritage *float64 `json:"loss_of_cultural_heritage,omitempty"`
	EconomicValue    *float64 `json:"loss_of_economic_value,omitempty"`
}

// ScheduleEntry is one device of the SPD schedule.
type ScheduleEntry struct {
	Line            string         `json:"line"`
	Structure       string         `json:"structure"`
	Position        spd.Position   `json:"position"`
	Required        bool           `json:"required"`
	Need            spd.Obligation `json:"need"`
	Specifiable     bool           `json:"specifiable"`
	EarthFirst      bool           `json:"earth_first"`
	EarthGrade      spd.EarthGrade `json:"earth_grade"`
	Because         []Reason       `json:"because"`
	Service         risk.Service   `json:"service"`
	Current         *risk.Current  `json:"current"`
	TestClass       spd.TestClass  `json:"test_class"`
	Level           *risk.Level    `json:"lightning_protection_level"`
	Connection      *string        `json:"connection"`
	Modes           []ScheduleMode `json:"modes"`
	UcMin           spd.Opt        `json:"uc_min_v"`
	UcMax           spd.Opt        `json:"uc_max_v"`
	UpMax           spd.Opt        `json:"up_max_kv"`
	InMin           spd.Opt        `json:"in_min_ka"`
	IimpMin         spd.Opt        `json:"iimp_min_ka"`
	ImaxMin         spd.Opt        `json:"imax_min_ka"`
	ShortCircuitMin spd.Opt        `json:"short_circuit_min_ka"`
	Withstand       spd.Opt        `json:"withstand_kv"`
	EffectiveMax    spd.Opt        `json:"effective_up_max_kv"`
	TOVMin          spd.Opt        `json:"tov_min_v"`
	LimitingIimpMin spd.Opt        `json:"limiting_iimp_min_ka"`
	LimitingInMin   spd.Opt        `json:"limiting_in_min_ka"`
	IimpTotalMin    spd.Opt        `json:"iimp_total_min_ka"`
	UocMin          spd.Opt        `json:"uoc_min_kv"`
	AlsoConnection  *string        `json:"also_connection"`
	Conductors      *int           `json:"protected_conductors"`
	Standard        *string        `json:"device_standard"`
	ServedBy        *string        `json:"served_by"`
	Order           Order          `json:"order"`
	Share           *CurrentShare  `json:"current_share"`
	Leads           Leads          `json:"leads"`
	Notes           []string       `json:"notes"`
	Basis           []Basis        `json:"basis"`
}

// ScheduleMode is a mode of protection and what the device must do in it.
type ScheduleMode struct {
	Mode    string  `json:"mode"`
	UcMin   spd.Opt `json:"uc_min_v"`
	UpMax   spd.Opt `json:"up_max_kv"`
	InMin   spd.Opt `json:"in_min_ka"`
	IimpMin spd.Opt `json:"iimp_min_ka"`
	TOV     []TOV   `json:"tov"`
}

// TOV is a temporary overvoltage that a mode of a device has to bear. After says what the device does: withstand, or safe_failure.
type TOV struct {
	Duration string  `json:"duration"`
	Volt     float64 `json:"volt"`
	After    string  `json:"after"`
}

// What a device does after a temporary overvoltage.
const (
	tovWithstand   = "withstand"
	tovSafeFailure = "safe_failure"
)

// Order is what to order: the next preferred values. One that is not asked for is null.
type Order struct {
	Uc      spd.Opt `json:"uc_v"`
	UcMax   spd.Opt `json:"uc_max_v"`
	Up      spd.Opt `json:"up_kv"`
	In      spd.Opt `json:"in_ka"`
	Iimp    spd.Opt `json:"iimp_ka"`
	IimpNPE spd.Opt `json:"iimp_n_pe_ka"`
	Uoc     spd.Opt `json:"uoc_kv"`
}

// CurrentShare is how the current of a flash to the structure reaches the line.
type CurrentShare struct {
	Paths      int     `json:"paths"`
	Conductors float64 `json:"conductors"`
	Ke         float64 `json:"k_e"`
	Method     string  `json:"method"`
}

// Leads are the connecting conductors of a device, copper.
type Leads struct {
	MaxLength spd.Opt `json:"max_length_m"`
	Earth     spd.Opt `json:"earth_mm2"`
	Live      spd.Opt `json:"live_mm2"`
}

// Reason is a rule that applies and where it comes from.
type Reason struct {
	Rule   string `json:"rule"`
	Clause string `json:"clause"`
}

// Basis is the reason of one number of a schedule entry.
type Basis struct {
	Field      string           `json:"field"`
	Mode       string           `json:"mode,omitempty"`
	Reason     string           `json:"reason"`
	Clause     string           `json:"clause"`
	Provenance trace.Provenance `json:"provenance"`
	RestsOn    *RestsOn         `json:"rests_on,omitempty"`
}

// RestsOn is the weakest value or formula behind a number: its mark and, where a single one is, which.
type RestsOn struct {
	Provenance trace.Provenance `json:"provenance"`
	Value      string           `json:"value,omitempty"`
}

// restsOn is nil where nothing was recorded.
func restsOn(g trace.Ground) *RestsOn {
	if g == (trace.Ground{}) {
		return nil
	}
	return &RestsOn{g.Provenance, g.Value()}
}

func basisOf(b *spd.Basis) Basis {
	return Basis{b.Field, b.Mode, b.Reason, b.Clause, b.Provenance, restsOn(b.RestsOn)}
}

// Of returns the remaining risk of one loss, nil where it does not apply.
func (r *RemainingRisk) Of(k risk.Loss) *float64 {
	return [risk.Losses]*float64{r.HumanLife, r.PublicService, r.CulturalHeritage, r.EconomicValue}[k]
}
