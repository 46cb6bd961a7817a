package wire

import "time"

// SiteProperties are what a map or a spreadsheet tells of a site of a portfolio.
// The names and their order are the columns of every export.
type SiteProperties struct {
	Reference        string    `json:"reference"`
	Name             string    `json:"name"`
	Revision         int       `json:"revision"`
	GroundFlashes    float64   `json:"ground_flashes_per_km2_year"`
	DensityOrigin    string    `json:"flash_density_origin"`
	DensityMap       *string   `json:"flash_density_map"`
	LossOfHumanLife  float64   `json:"loss_of_human_life"`
	WorstRatio       float64   `json:"worst_ratio"`
	Excess           float64   `json:"excess"`
	PersonsAtRisk    float64   `json:"persons_at_risk"`
	Acceptable       bool      `json:"acceptable"`
	NeededProtection string    `json:"needed_protection"`
	RequiredDevices  int       `json:"required_devices"`
	ReviewDue        *string   `json:"review_due"`
	Engine           string    `json:"engine"`
	CreatedAt        time.Time `json:"created_at"`
	UpdatedAt        time.Time `json:"updated_at"`
}

// Link leads to another document (RFC 8288).
type Link struct {
	Href  string `json:"href"`
	Rel   string `json:"rel"`
	Type  string `json:"type"`
	Title string `json:"title,omitempty"`
}

// Point is a place in the order longitude, latitude (RFC 7946).
type Point struct {
	Type        string    `json:"type"`
	Coordinates []float64 `json:"coordinates"`
}

// SiteFeature is a site on a map.
type SiteFeature struct {
	Type       string         `json:"type"`
	ID         string         `json:"id"`
	Geometry   Point          `json:"geometry"`
	Properties SiteProperties `json:"properties"`
	Links      []Link         `json:"links,omitempty"`
	Cautions   []string       `json:"cautions,omitempty"` // where a feature stands alone
}

// SiteFeatures is a page of sites.
type SiteFeatures struct {
	Type     string        `json:"type"`
	Links    []Link        `json:"links"`
	Time     time.Time     `json:"timeStamp"`
	Matched  *int          `json:"numberMatched,omitempty"`
	Returned int           `json:"numberReturned"`
	Cautions []string      `json:"cautions"`
	Features []SiteFeature `json:"features"`
}

// LandingPage is where a client of the features begins.
type LandingPage struct {
	Title       string `json:"title"`
	Description string `json:"description"`
	Links       []Link `json:"links"`
}

// Conformance names the classes of requirements that the service meets.
type Conformance struct {
	ConformsTo []string `json:"conformsTo"`
}

// Collection is a portfolio as a collection of features.
type Collection struct {
	ID          string   `json:"id"`
	Title       string   `json:"title"`
	Description string   `json:"description"`
	Links       []Link   `json:"links"`
	ItemType    string   `json:"itemType"`
	CRS         []string `json:"crs"`
	Extent      *Extent  `json:"extent,omitempty"`   // nil without sites
	Cautions    []string `json:"cautions,omitempty"` // where it stands alone
}

// Extent is what the features of a collection lie within.
type Extent struct {
	Spatial  SpatialExtent  `json:"spatial"`
	Temporal TemporalExtent `json:"temporal"`
}

// SpatialExtent is a box: west, south, east, north.
type SpatialExtent struct {
	BBox [][]float64 `json:"bbox"`
	CRS  string      `json:"crs"`
}

// TemporalExtent is an interval: its beginning and its end.
type TemporalExtent struct {
	Interval [][]time.Time `json:"interval"`
	TRS      string        `json:"trs"`
}

// Collections are all of them.
type Collections struct {
	Links       []Link       `json:"links"`
	Collections []Collection `json:"collections"`
	Cautions    []string     `json:"cautions"`
}
