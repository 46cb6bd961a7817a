// Package store keeps assessments and devices: what it means to store one, which errors
// can come of it, and nothing about any particular database.
//
// An assessment is a chain of revisions. A revision is written once and never
// changes; a re-assessment appends the next one. Everything belongs to an
// organisation, and no operation reaches across organisations.
//
// The packages store/sqlite and store/postgres implement Store, and
// store/storetest holds both to the same behaviour.
package store

import (
	"context"
	"time"
)

// Organisation is the UUID of the owner of records.
type Organisation string

// Local is the one organisation that the first migration creates.
const Local Organisation = "00000000-0000-7000-8000-000000000001"

// Limits of what a record may hold. A record beyond them is refused with
// ErrInvalid before anything is written.
const (
	MaxDocument = 64 << 20 // bytes of Input, Result, Worksheet or definitions, each
	MaxKey      = 255      // bytes of an idempotency key or the hash of definitions
	MaxText     = 4096     // bytes of every other text: name, reference …
)

// DefaultLimit and MaxLimit bound the length of a page.
const (
	DefaultLimit = 50
	MaxLimit     = 500
)

// Header is a revision without its documents.
type Header struct {
	ID        string    // UUID of the assessment, chosen by the caller (version 7)
	Revision  int       // 1, 2, 3 … without gaps, set by the store
	CreatedAt time.Time // of this revision; kept in UTC to the microsecond

	Name      string
	Reference string  // the user's own number for the site, may be empty
	Latitude  float64 // degrees, -90..90
	Longitude float64 // degrees, -180..180

	Edition   string // edition of the standard that was applied
	Engine    string // version of the program that computed
	InputHash string // of the canonical input

	// DefinitionsHash names the quantity definitions the worksheet refers to.
	// They are stored once for all, see Store.PutDefinitions.
	DefinitionsHash string

	// ReviewDue is the date (UTC, without time of day) from which the
	// lightning data count as too old. The zero time means not known, and is
	// due on any day.
	ReviewDue time.Time
}

// Record is one revision of one assessment. Documents come back byte for byte
// as they were given.
type Record struct {
	Header
	Input  []byte // JSON
	Result []byte // JSON
	// Worksheet is JSON and by far the largest document. It is required when
	// writing and left out (nil) of everything but Store.Worksheet.
	Worksheet []byte
	// Summary is what a portfolio lists of the result, where the assessment is
	// one of its sites. It is left out (nil) of everything that is read.
	Summary *Summary
	// Imported is set on what a row of a file made of a site; nil leaves what the last import said.
	Imported *ImportedRow
}

// Idempotency makes Create repeatable: the first record stored under Key is
// the answer to every later Create with the same Key and BodyHash.
type Idempotency struct {
	Key      string // 1..MaxKey bytes
	BodyHash string
}

// Filter chooses records for Store.List. Every condition that is set must
// hold; they look at the newest revision of an assessment.
type Filter struct {
	Limit  int    // 0: DefaultLimit; more than MaxLimit is taken as MaxLimit
	Cursor string // Page.Next of the page before; empty: first page
	BBox   *BBox
	Query  string     // part of name or reference, in upper or lower case; no wildcards
	DueOn  *time.Time // set: only records whose review is due (Due) or not yet due (!Due) on that day
	Due    bool

	// WithResult asks for Entry.Result, which is otherwise nil.
	WithResult bool
}

// Entry is an assessment in a list: its newest revision.
type Entry struct {
	Header
	FirstCreatedAt time.Time // of revision 1; lists are ordered by it
	Result         []byte    // if Filter.WithResult
}

// Page is a part of a list. Next is empty on the last one.
type Page struct {
	Entries []Entry
	Next    string
}

// Store keeps assessments. All methods may be used concurrently. An error is
// one of those in errors.go, or the error of ctx, or a fault of program or
// database that the caller cannot help.
//
// A method that returns an error has stored nothing, with one exception no
// database can avoid: when the connection breaks or ctx ends while the
// database is confirming a write, the write may have happened. Repeat a Create
// with the same Idempotency, a Revise with the same expected revision.
type Store interface {
	// Assessments keeps assessments and their revisions.
	Assessments

	// DeviceLibrary keeps the devices that a schedule is matched with.
	DeviceLibrary

	// ReviewsLibrary keeps the reviews that table values are taken from.
	ReviewsLibrary

	// DensityMapLibrary keeps the maps that a flash density is taken from.
	DensityMapLibrary

	// Portfolios keeps lists of sites and the work on them.
	Portfolios

	// Webhooks keeps addresses that are told of every Create, Revise and Delete, also of sites.
	Webhooks

	// AddOrganisation makes an organisation known unless it already is.
	AddOrganisation(ctx context.Context, org Organisation, name string) error

	// Ping tells whether the database answers; ErrUnavailable.
	Ping(ctx context.Context) error
	Close() error
}

// Assessments is the part of a Store that keeps assessments.
type Assessments interface {
	// Create stores r as revision 1 of a new assessment. With idem, and when a
	// record has already been stored under its key, nothing is stored: with
	// the same body hash, the first revision of that record is returned and
	// replayed is true; with another, the error is ErrKeyReused.
	// ErrExists: r.ID is taken.
	Create(ctx context.Context, org Organisation, r Record, idem *Idempotency) (stored Record, replayed bool, err error)

	// Newest returns the newest revision, Revision the n-th; ErrNotFound.
	// An id that is no UUID is not found.
	Newest(ctx context.Context, org Organisation, id string) (Record, error)
	Revision(ctx context.Context, org Organisation, id string, n int) (Record, error)

	// Worksheet returns the worksheet of revision n; ErrNotFound.
	Worksheet(ctx context.Context, org Organisation, id string, n int) ([]byte, error)

	// Revisions returns all revisions, oldest first; ErrNotFound.
	Revisions(ctx context.Context, org Organisation, id string) ([]Header, error)

	// Revise appends r as revision expected+1 of the assessment r.ID. When the
	// newest revision is not expected, the error is a *ConflictError, which is
	// ErrConflict. ErrNotFound: there is no such assessment. ErrReferenceTaken:
	// r has a Summary and another site of the portfolio has its reference.
	Revise(ctx context.Context, org Organisation, r Record, expected int) (Record, error)

	// Delete removes an assessment with all revisions and frees its
	// idempotency key; ErrNotFound.
	Delete(ctx context.Context, org Organisation, id string) error

	// List returns assessments, the one stored last first. Following
	// Page.Next returns every assessment that was there all along exactly
	// once, whatever is stored, revised or deleted meanwhile; one that is
	// stored or deleted meanwhile is returned once or not at all.
	// ErrBadCursor: the cursor is none of Page.Next.
	List(ctx context.Context, org Organisation, f Filter) (Page, error)

	// PutDefinitions stores the quantity definitions with this hash unless
	// they are already there. Put them before the first record that names them.
	PutDefinitions(ctx context.Context, org Organisation, hash string, doc []byte) error
	// Definitions returns them; ErrNotFound.
	Definitions(ctx context.Context, org Organisation, hash string) ([]byte, error)
}
