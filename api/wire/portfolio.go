package wire

import (
	"encoding/json"
	"time"
)

// PortfolioInput makes a portfolio.
type PortfolioInput struct {
	Name        string `json:"name" required:"true" len:"[1,200]"`
	Description string `json:"description,omitempty" len:"[0,1000]"`
}

// PortfolioPatch changes one; what is absent stays.
type PortfolioPatch struct {
	Name        *string `json:"name,omitempty" len:"[1,200]"`
	Description *string `json:"description,omitempty" len:"[0,1000]"`
}

// Portfolio is a named list of sites.
type Portfolio struct {
	ID          string           `json:"id"`
	Name        string           `json:"name"`
	Description string           `json:"description"`
	CreatedAt   time.Time        `json:"created_at"`
	Totals      *PortfolioTotals `json:"totals,omitempty"`
	Cautions    []string         `json:"cautions,omitempty"` // with totals
}

// PortfolioTotals are sums over the sites of a portfolio.
type PortfolioTotals struct {
	Sites         int64   `json:"sites"`
	NotAcceptable int64   `json:"not_acceptable"`
	PersonsAtRisk float64 `json:"persons_at_risk"`
	ReviewDue     int64   `json:"review_due"`
}

// PortfolioList is a page of portfolios.
type PortfolioList struct {
	Portfolios []Portfolio `json:"portfolios"`
}

// SiteList is a page of the sites of a portfolio.
type SiteList struct {
	Sites    []ListedSite `json:"sites"`
	Cautions []string     `json:"cautions"`
}

// ListedSite is a site as its portfolio lists it.
type ListedSite struct {
	Assessment string    `json:"assessment"`
	Reference  string    `json:"reference"`
	Name       string    `json:"name"`
	Location   Location  `json:"location"`
	CreatedAt  time.Time `json:"created_at"`
	UpdatedAt  time.Time `json:"updated_at"`
	SiteState
}

// SiteState is what a revision of a site comes to.
type SiteState struct {
	Revision         int     `json:"revision"`
	GroundFlashes    float64 `json:"ground_flashes_per_km2_year"`
	DensityOrigin    string  `json:"flash_density_origin"`
	DensityMap       string  `json:"flash_density_map,omitempty"`
	WorstRatio       float64 `json:"worst_ratio"`
	LossOfHumanLife  float64 `json:"loss_of_human_life"`
	Excess           float64 `json:"excess"`
	PersonsAtRisk    float64 `json:"persons_at_risk"`
	Acceptable       bool    `json:"acceptable"`
	NeededProtection string  `json:"needed_protection"`
	RequiredDevices  int     `json:"required_devices"`
	ReviewDue        string  `json:"review_due"`
	Engine           string  `json:"engine"`
}

// SiteChanges is a page of sites as they were before a work and as they are now.
type SiteChanges struct {
	Work     string       `json:"work"`
	Sites    []SiteChange `json:"sites"`
	Cautions []string     `json:"cautions"`
}

// SiteChange is a site before and after.
type SiteChange struct {
	Assessment string    `json:"assessment"`
	Reference  string    `json:"reference"`
	Name       string    `json:"name"`
	Before     SiteState `json:"before"`
	After      SiteState `json:"after"`
}

// ReassessInput asks for sites to be assessed again.
type ReassessInput struct {
	Which           *Which  `json:"which" required:"true"`
	FlashDensityMap *string `json:"flash_density_map,omitempty" len:"[1,100]"`
}

// Which says which sites are assessed again.
type Which string

// The sites that can be assessed again.
const (
	AllSites Which = "all"
	DueSites Which = "due"
)

var whichNames = []string{string(AllSites), string(DueSites)}

// Names lists the values that can be given.
func (Which) Names() []string { return whichNames }

// UnmarshalText takes the name of a value.
func (v *Which) UnmarshalText(b []byte) error { return oneOf(v, b, whichNames) }

// Work is an import or re-assessment and how far it is.
type Work struct {
	ID          string     `json:"id"`
	Portfolio   string     `json:"portfolio"`
	Kind        string     `json:"kind"`
	Mode        string     `json:"mode"`
	State       string     `json:"state"`
	Total       int64      `json:"total"`
	Done        int64      `json:"done"`
	Failed      int64      `json:"failed"`
	Unchanged   int64      `json:"unchanged"`
	Noted       int64      `json:"noted"`
	CreatedAt   time.Time  `json:"created_at"`
	StartedAt   *time.Time `json:"started_at,omitempty"`
	FinishedAt  *time.Time `json:"finished_at,omitempty"`
	Rate        *float64   `json:"rows_per_second,omitempty"`
	SecondsLeft *float64   `json:"seconds_left,omitempty"`
}

// WorkList is a page of works.
type WorkList struct {
	Work []Work `json:"work"`
}

// WorkFaultList is a page of the faults of rows.
type WorkFaultList struct {
	Faults []WorkFault `json:"faults"`
}

// WorkFault is what is wrong with a row; row 0 is the file as a whole.
type WorkFault struct {
	Row    int64  `json:"row"`
	Column string `json:"column,omitempty"`
	Value  string `json:"value,omitempty"`
	Reason string `json:"reason"`

	Assessment string `json:"assessment,omitempty"`
	Reference  string `json:"reference,omitempty"`
}

// WorkNoteList holds the notes of a work.
type WorkNoteList struct {
	Notes []WorkNote `json:"notes"`
}

// WorkNote is something of a file that was taken in a way the user should know of.
type WorkNote struct {
	Column string    `json:"column,omitempty"`
	Note   string    `json:"note"`
	Count  int64     `json:"count"`
	Rows   []RowSpan `json:"rows"`
}

// RowSpan are rows that follow each other.
type RowSpan struct {
	First int64 `json:"first"`
	Last  int64 `json:"last"`
}

// Preset is a structure or a line that rows refer to by name.
type Preset struct {
	Kind     string          `json:"kind"`
	Name     string          `json:"name"`
	Version  int             `json:"version"`
	Document json.RawMessage `json:"document"`
}

// PresetList lists all presets.
type PresetList struct {
	Presets []Preset `json:"presets"`
}

// Decoders of the bodies.
var (
	PortfolioInputs  = NewDecoder[PortfolioInput]()
	PortfolioPatches = NewDecoder[PortfolioPatch]()
	ReassessInputs   = NewDecoder[ReassessInput]()
)
