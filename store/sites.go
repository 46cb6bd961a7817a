package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"
)

// Summary is what a portfolio lists of a result. All numbers are finite.
type Summary struct {
	GroundFlashes    float64 `json:"ground_flashes"` // N_G per km2 and year
	DensityOrigin    string  `json:"density_origin"`
	DensityMap       string  `json:"density_map"`        // id, empty where N_G is from no map
	WorstRatio       float64 `json:"worst_ratio"`        // largest R/R_T
	LossOfHumanLife  float64 `json:"loss_of_human_life"` // largest R_1 per year, 0 where it does not apply
	Excess           float64 `json:"excess"`             // largest R - R_T per year, 0 if none
	PersonsAtRisk    float64 `json:"persons_at_risk"`    // in structures with an unacceptable R_1
	Acceptable       bool    `json:"acceptable"`         // WorstRatio <= 1, Excess = 0 and PersonsAtRisk = 0
	NeededProtection string  `json:"needed_protection"`
	RequiredDevices  int     `json:"required_devices"` // surge protective devices
}

// Site is an assessment in a portfolio, as its newest revision has it.
type Site struct {
	Assessment string    `json:"-"`
	Reference  string    `json:"reference"`
	Name       string    `json:"name"`
	Latitude   float64   `json:"latitude"`
	Longitude  float64   `json:"longitude"`
	Revision   int       `json:"revision"`
	ReviewDue  time.Time `json:"review_due"`
	Engine     string    `json:"engine"`
	InputHash  string    `json:"input_hash"`
	CreatedAt  time.Time `json:"created_at"` // of the first revision
	UpdatedAt  time.Time `json:"updated_at"` // of the newest revision
	Summary

	Imported ImportedRow `json:"-"`
	// Before is the site before the work that changed it last, nil where none did.
	Before *Site `json:"-"`
}

// ImportedRow is what the last import said of a site.
type ImportedRow struct {
	Hash string    // of the input that its row made; empty where no import is known
	At   time.Time // that import was begun; rows of an older one no longer change the site
}

// Rank is the order of a list of sites.
type Rank string

// The ranks. By name the first comes first, by all others the largest; equal ones by assessment.
const (
	RankWorstRatio    Rank = "worst_ratio"
	RankExcess        Rank = "excess"
	RankPersonsAtRisk Rank = "persons_at_risk"
	RankName          Rank = "name"
)

// SiteFilter chooses sites. Every condition that is set must hold.
type SiteFilter struct {
	Rank       Rank   // empty: RankWorstRatio
	Limit      int    // as in Filter
	Cursor     string // SitePage.Next of the page before, which had the same Rank; empty: first page
	Acceptable *bool
	BBox       *BBox
	Query      string     // as in Filter
	DueOn      *time.Time // as in Filter, with Due
	Due        bool
	Name       *string // exactly
	Reference  *string // exactly
	// UpdatedFrom and UpdatedTo are the first and the last moment that the newest revision may be of.
	UpdatedFrom, UpdatedTo *time.Time

	// Few is up to how many sites are sorted for a page; 0: FewSites. Where more meet each of the
	// conditions, a page is filled by going through the sites in the order of the rank.
	Few int
}

// FewSites are read and sorted within some tens of milliseconds.
const FewSites = 20_000

// Extent is what the sites of a portfolio lie within. Its box never crosses the 180th meridian.
type Extent struct {
	BBox
	UpdatedFrom, UpdatedTo time.Time // the oldest and the latest of the newest revisions
}

// SitePage is a part of a list. Next is empty on the last one.
type SitePage struct {
	Sites []Site
	Next  string
}

// Changes chooses the sites that a work changed.
type Changes struct {
	Work   string
	Limit  int
	Cursor string // as in SiteFilter
}

// Reassess chooses sites to be assessed again. With Due, one of four must
// hold: the lightning data are too old on the day, another engine computed
// the site, N_G is from one of the maps named, or it was computed with other definitions (tables, formulas, reviews).
type Reassess struct {
	Due    bool
	On     time.Time
	Engine string
	Maps   []string
	// Definitions is Header.DefinitionsHash as it would be now; empty: any.
	Definitions string
}

// SiteInput is a site with the input of its newest revision.
type SiteInput struct {
	Site
	Input           []byte
	DefinitionsHash string // of the newest revision
}

// Sites reads what portfolios hold.
type Sites interface {
	// Site returns one site of a portfolio; ErrNotFound.
	Site(ctx context.Context, org Organisation, portfolio, assessment string) (Site, error)
	// ListSites returns a page of sites. Following SitePage.Next returns every site whose place in
	// the rank does not change meanwhile exactly once. ErrBadCursor.
	ListSites(ctx context.Context, org Organisation, portfolio string, f SiteFilter) (SitePage, error)
	// CountSites counts the sites of all pages; Limit and Cursor do not count.
	CountSites(ctx context.Context, org Organisation, portfolio string, f SiteFilter) (int64, error)
	// Extents returns, by their ids, the extents of those of the portfolios that have sites. It costs a
	// few steps into indices for each of them, however many sites they have.
	Extents(ctx context.Context, org Organisation, portfolios []string) (map[string]Extent, error)
	// ChangedSites returns the sites that a work changed and that were there
	// before, in the order of their ids, with Site.Before. ErrBadCursor.
	ChangedSites(ctx context.Context, org Organisation, portfolio string, c Changes) (SitePage, error)
	// SitesByReference returns the sites that have one of the references.
	SitesByReference(ctx context.Context, org Organisation, portfolio string, references []string) ([]Site, error)
	// SiteInputs returns those of the sites that are there, with their inputs.
	SiteInputs(ctx context.Context, org Organisation, portfolio string, assessments []string) ([]SiteInput, error)
	// SitesToAssess returns the ids of chosen sites behind one, in their order,
	// at most limit of them; the first ones where after is empty.
	SitesToAssess(ctx context.Context, org Organisation, portfolio string, r Reassess, after string, limit int) ([]string, error)
}

// Check refuses, with ErrInvalid, a summary that could not be kept or ranked.
func (s *Summary) Check() error {
	var faults []error
	for _, v := range []struct {
		what  string
		value float64
	}{
		{"N_G", s.GroundFlashes}, {"worst ratio", s.WorstRatio}, {"loss of human life", s.LossOfHumanLife},
		{"excess", s.Excess}, {"persons at risk", s.PersonsAtRisk},
	} {
		if !(v.value >= 0 && v.value <= math.MaxFloat64) {
			faults = append(faults, fmt.Errorf("%s %v: not a number of at least 0", v.what, v.value))
		}
	}
	if s.Acceptable != (s.WorstRatio <= 1) || s.Acceptable && (s.Excess > 0 || s.PersonsAtRisk > 0) {
		faults = append(faults, fmt.Errorf("acceptable %v: with a ratio of %v, an excess of %v, %v persons at risk", s.Acceptable,
			s.WorstRatio, s.Excess, s.PersonsAtRisk))
	}
	if s.RequiredDevices < 0 || s.RequiredDevices > math.MaxInt32 {
		faults = append(faults, fmt.Errorf("required devices %d: not a count", s.RequiredDevices))
	}
	return invalid(append(faults, checkText("origin of N_G", s.DensityOrigin, MaxKey), checkText("map", s.DensityMap, MaxKey),
		checkText("needed protection", s.NeededProtection, MaxText))...)
}

// Normalise sets the rank and the limit, prepares the query and reads the
// cursor, nil on the first page. ErrInvalid, ErrBadCursor.
func (f *SiteFilter) Normalise() (after *SitePosition, err error) {
	base := Filter{Limit: f.Limit, BBox: f.BBox, Query: f.Query, DueOn: f.DueOn}
	if err := base.Normalise(); err != nil {
		return nil, err
	}
	f.Limit, f.Query, f.DueOn = base.Limit, base.Query, base.DueOn
	if err := f.checkExact(); err != nil {
		return nil, err
	}
	if f.Rank == "" {
		f.Rank = RankWorstRatio
	}
	if f.Few == 0 {
		f.Few = FewSites
	}
	if !f.Rank.known() {
		return nil, invalid(fmt.Errorf("rank %.40q: unknown", f.Rank))
	}
	if f.Cursor == "" {
		return nil, nil
	}
	return parseSiteCursor(f.Cursor, f.Rank)
}

// checkExact refuses, with ErrInvalid, conditions that one of the databases could not compare, and
// rounds the times to the microseconds that are kept, so that no site comes in or falls out.
func (f *SiteFilter) checkExact() error {
	var faults []error
	if f.Name != nil {
		faults = append(faults, checkText("name", *f.Name, MaxText))
	}
	if f.Reference != nil {
		faults = append(faults, checkText("reference", *f.Reference, MaxText))
	}
	if f.UpdatedFrom != nil {
		t := f.UpdatedFrom.Add(time.Microsecond - 1).UTC().Truncate(time.Microsecond)
		f.UpdatedFrom = &t
	}
	if f.UpdatedTo != nil {
		t := f.UpdatedTo.UTC().Truncate(time.Microsecond)
		f.UpdatedTo = &t
	}
	for _, t := range []*time.Time{f.UpdatedFrom, f.UpdatedTo} {
		if t != nil && (t.Year() < -1 || t.Year() > 10_000) { // 0000 to 9999 in any time zone
			faults = append(faults, fmt.Errorf("time %v: not in the years 0 to 9999", *t))
		}
	}
	return invalid(faults...)
}

// Normalise sets the limit and reads the cursor: the id of the last site seen. ErrBadCursor.
func (c *Changes) Normalise() (after string, err error) {
	c.Limit = pageLimit(c.Limit)
	return idListStart(c.Cursor)
}

func (r Rank) known() bool { return r.letter() != 0 }

// letter stands for the rank in a cursor.
func (r Rank) letter() byte {
	switch r {
	case RankWorstRatio:
		return 'r'
	case RankExcess:
		return 'e'
	case RankPersonsAtRisk:
		return 'p'
	case RankName:
		return 'n'
	}
	return 0
}

// EncodeBefore writes a site as Site.Before is kept, DecodeBefore reads it.
func EncodeBefore(s *Site) ([]byte, error) { return json.Marshal(s) }

// DecodeBefore reads what EncodeBefore wrote; nil for nothing.
func DecodeBefore(assessment string, doc []byte) (*Site, error) {
	if doc == nil {
		return nil, nil
	}
	s := &Site{Assessment: assessment}
	return s, json.Unmarshal(doc, s)
}

var errNoSummary = errors.New("a site without summary")
