package store

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// Limits of portfolios.
const (
	MaxPresetDocument = 1 << 20 // bytes
	MaxPresets        = 1000    // of an organisation
	MaxOptions        = 64 << 10
)

// What can go wrong with portfolios, beside the errors of assessments.
var (
	ErrNameTaken      = errors.New("another portfolio has this name")
	ErrTooManyPresets = errors.New("there are as many presets as are allowed")
	// ErrWorkEnded: the work takes no more rows.
	ErrWorkEnded = errors.New("the work was cancelled or has ended")
	// ErrChunkChanged: the chunk was stored or cancelled meanwhile, or a site
	// of it has changed. Nothing was stored; read the chunk again.
	ErrChunkChanged = errors.New("chunk or site changed meanwhile")
)

// Portfolio is a named list of sites.
type Portfolio struct {
	ID          string    // UUID chosen by the caller (version 7)
	CreatedAt   time.Time // kept in UTC to the microsecond
	Name        string    // of no other portfolio of the organisation
	Description string
}

// PortfolioPage is a part of a list. Next is empty on the last one.
type PortfolioPage struct {
	Portfolios []Portfolio
	Next       string
}

// Totals are sums over the sites of a portfolio.
type Totals struct {
	Sites         int64
	NotAcceptable int64   // sites with a risk above its limit
	PersonsAtRisk float64 // in structures with an unacceptable R_1
	ReviewDue     int64   // sites whose lightning data are too old on the day asked for
}

// Preset is a structure or a line that rows of an import refer to by name.
type Preset struct {
	Kind     string // PresetStructure or PresetLine
	Name     string
	Version  int    // 1, 2, 3 … set by the store
	Document []byte // JSON; comes back byte for byte
}

// Kinds of presets.
const (
	PresetStructure = "structure"
	PresetLine      = "line"
)

// Portfolios keeps lists of sites and the work on them. The rules of Store hold.
//
// A site is an assessment that belongs to a portfolio. Its summary follows the
// newest revision, whoever stores it (see Record.Summary).
type Portfolios interface {
	// CreatePortfolio stores an empty portfolio; ErrExists, ErrNameTaken.
	CreatePortfolio(ctx context.Context, org Organisation, p Portfolio) (Portfolio, error)
	// Portfolio returns one portfolio; ErrNotFound.
	Portfolio(ctx context.Context, org Organisation, id string) (Portfolio, error)
	// ListPortfolios returns portfolios, the one stored last first, as ListDensityMaps does.
	ListPortfolios(ctx context.Context, org Organisation, limit int, cursor string) (PortfolioPage, error)
	// RenamePortfolio sets name and description; ErrNotFound, ErrNameTaken.
	RenamePortfolio(ctx context.Context, org Organisation, id, name, description string) (Portfolio, error)
	// BeginRemoval begins or goes on with the removal of a portfolio (see DeletePortfolio), which is gone from then on for
	// every call but RemovePart; its works end. ErrNotFound.
	BeginRemoval(ctx context.Context, org Organisation, id string) error
	// RemovePart takes away some of the sites, assessments and works of a portfolio whose removal has begun; more tells
	// that something is left. It does nothing where there is no such portfolio.
	RemovePart(ctx context.Context, org Organisation, id string) (more bool, err error)
	// RemovalsToDo returns portfolios whose removal has begun and that nobody goes on with at a time.
	RemovalsToDo(ctx context.Context, org Organisation, at time.Time) ([]string, error)
	// PortfolioTotals adds up the sites of a portfolio; ErrNotFound.
	PortfolioTotals(ctx context.Context, org Organisation, id string, day time.Time) (Totals, error)

	// PutPreset stores a preset, or the next version of the one with its name; ErrTooManyPresets.
	PutPreset(ctx context.Context, org Organisation, p Preset) (Preset, error)
	// Preset returns one; ErrNotFound.
	Preset(ctx context.Context, org Organisation, kind, name string) (Preset, error)
	// Presets returns all, by kind and name.
	Presets(ctx context.Context, org Organisation) ([]Preset, error)
	// DeletePreset removes one; ErrNotFound.
	DeletePreset(ctx context.Context, org Organisation, kind, name string) error

	Sites
	Works
}

// Normalise brings a portfolio into the form in which both databases keep it
// and refuses, with every fault named, what one of them could not keep
// unchanged. The error is ErrInvalid.
func (p *Portfolio) Normalise() error {
	var faults []error
	id, ok := CanonicalID(p.ID)
	if !ok {
		faults = append(faults, fmt.Errorf("id %.40q: not a UUID", p.ID))
	}
	p.ID = id
	p.CreatedAt = p.CreatedAt.UTC().Truncate(time.Microsecond)
	if !validTime(p.CreatedAt) {
		faults = append(faults, fmt.Errorf("creation time %v: not in the years 1 to 9999", p.CreatedAt))
	}
	return invalid(append(faults, CheckPortfolio(p.Name, p.Description))...)
}

// CheckPortfolio refuses, with ErrInvalid, a name or description that could not be kept.
func CheckPortfolio(name, description string) error {
	var empty error
	if name == "" {
		empty = errors.New("name: empty")
	}
	return invalid(empty, checkText("name", name, MaxReference), checkText("description", description, MaxText))
}

// Check refuses, with ErrInvalid, a preset that could not be kept.
func (p *Preset) Check() error {
	var faults []error
	if p.Kind != PresetStructure && p.Kind != PresetLine {
		faults = append(faults, fmt.Errorf("kind %.40q: %s or %s is allowed", p.Kind, PresetStructure, PresetLine))
	}
	if p.Name == "" {
		faults = append(faults, errors.New("name: empty"))
	}
	if n := len(p.Document); n == 0 || n > MaxPresetDocument {
		faults = append(faults, fmt.Errorf("document: %d bytes, 1 to %d are allowed", n, MaxPresetDocument))
	}
	return invalid(append(faults, checkText("name", p.Name, MaxReference))...)
}
