package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"
)

// Kinds of work.
const (
	WorkImport = "import"
	WorkAssess = "assess"
)

// Modes of a work.
const (
	AllOrNothing = "all_or_nothing" // a row with a fault refuses the work before anything is stored
	GoodRowsOnly = "good_rows_only"
)

// States of a work. The last three are its end.
const (
	WorkReading   = "reading" // rows are being added
	WorkQueued    = "queued"  // no chunk has begun
	WorkRunning   = "running"
	WorkDone      = "done"
	WorkRefused   = "refused" // nothing was stored
	WorkCancelled = "cancelled"
)

// States of a chunk.
const (
	ChunkQueued    = "queued"
	ChunkDone      = "done"
	ChunkCancelled = "cancelled"
)

// Work is an import or a re-assessment: rows cut into chunks.
// Done + Failed + Unchanged never exceed Total; when they reach it the work is done.
type Work struct {
	ID        string // UUID chosen by the caller (version 7)
	Portfolio string
	Kind      string
	Mode      string
	State     string
	Options   []byte // JSON, for whoever computes it
	Chunks    int
	Total     int64 // rows, so far while State is WorkReading
	Done      int64 // rows stored
	Failed    int64 // rows with a fault
	Unchanged int64 // rows that would have changed nothing
	Noted     int64 // rows with a note, known when all were read

	CreatedAt       time.Time
	TouchedAt       time.Time // rows were last added
	StartedAt       time.Time // zero: not yet
	FinishedAt      time.Time // zero: not yet
	CancelRequested bool

	Idempotency *Idempotency // it was begun with; nil: none
}

// Ended tells that nothing more will happen to the work.
func (w *Work) Ended() bool {
	return w.State == WorkDone || w.State == WorkRefused || w.State == WorkCancelled
}

// Fault is what is wrong with a row.
type Fault struct {
	Row    int64 // as the file counts
	Column string
	Value  string
	Reason string
	// Assessment and Reference say which site was assessed again; empty for rows of a file.
	Assessment, Reference string
}

// NumberedFault is a fault with its number within its row.
type NumberedFault struct {
	Fault
	N int
}

// FaultPage is a part of a list. Next is empty on the last one.
type FaultPage struct {
	Faults []Fault
	Next   string
}

// WorkPage is a part of a list. Next is empty on the last one.
type WorkPage struct {
	Works []Work
	Next  string
}

// Note is something of a file that was taken in a way the user should know of.
type Note struct {
	Column string    `json:"column,omitempty"` // empty: the row as a whole
	Text   string    `json:"text"`
	Count  int64     `json:"count"` // rows
	Rows   []RowSpan `json:"rows"`  // which of them; the first spans where there are many
}

// RowSpan are rows that follow each other.
type RowSpan struct {
	First int64 `json:"first"`
	Last  int64 `json:"last"`
}

// Notes are all notes of a work.
type Notes struct {
	Rows int64 // rows with a note
	All  []Note
}

// NewChunk is a part of the rows of a work as it is added.
type NewChunk struct {
	Rows   []byte // JSON lines, for whoever computes them; may be empty
	Count  int    // of Rows
	Faulty int    // rows that are not in Rows because of Faults
	Faults []Fault
}

// Chunk is a part of the rows of a work.
type Chunk struct {
	Work   string
	N      int
	State  string
	Step   int    // counts the changes
	Rows   []byte // still to be done
	Failed []byte // can be tried again
}

// Outcome is what became of rows of a chunk. All of it is kept or nothing.
type Outcome struct {
	Work string
	N    int
	Step int // of the chunk when it was read

	Rest      []byte    // rows still to be done; empty ends the chunk
	Created   []Record  // new sites, with Summary
	Revised   []Revised // new revisions of sites
	Unchanged int
	Confirmed []Confirmed // sites among the unchanged of which an import said what they are
	Faulty    int         // rows that failed
	Failed    []byte      // those of them that can be tried again
	Faults    []Fault
	At        time.Time
}

// Revised is a new revision of a site.
type Revised struct {
	Record      // with Summary
	Before Site // as it was read; Revision is the one that Record follows
}

// Confirmed is a site of which an import said what it is already.
type Confirmed struct {
	Assessment string
	ImportedRow
}

// Works keeps imports and re-assessments. What is done of them is in the
// chunks alone: whoever completes a chunk, and however often, its rows are stored once. A claim
// only keeps others from doing the same meanwhile.
type Works interface {
	// CreateWork begins a work in the state reading; ErrExists, ErrNotFound: no such portfolio.
	CreateWork(ctx context.Context, org Organisation, w Work) (Work, error)
	// AddChunk adds rows to a work that is reading; ErrNotFound, ErrWorkEnded.
	AddChunk(ctx context.Context, org Organisation, work string, c NewChunk, at time.Time) error
	// BeginWork ends the reading: the work is queued, or done where it has no
	// rows to do. ErrNotFound, ErrWorkEnded. ErrExists: a work was begun under
	// the key of idem, which may be nil; this one still reads.
	BeginWork(ctx context.Context, org Organisation, work string, n Notes, idem *Idempotency, at time.Time) (Work, error)
	// RefuseWork ends the reading for good and drops the rows; ErrNotFound, ErrWorkEnded.
	RefuseWork(ctx context.Context, org Organisation, work string, n Notes, faults []Fault, at time.Time) (Work, error)
	// CancelWork ends a work unless it has ended; what is stored stays. ErrNotFound.
	CancelWork(ctx context.Context, org Organisation, work string, at time.Time) (Work, error)
	// Work returns one; ErrNotFound.
	Work(ctx context.Context, org Organisation, id string) (Work, error)
	// WorkUnder returns the one that was begun under an idempotency key; ErrNotFound.
	WorkUnder(ctx context.Context, org Organisation, key string) (Work, error)
	// ListWorks returns the works on a portfolio, whatever their state, the one created last first,
	// as ListDensityMaps does; none where there is no such portfolio. ErrBadCursor.
	ListWorks(ctx context.Context, org Organisation, portfolio string, limit int, cursor string) (WorkPage, error)
	// LastChange returns the newest of the works on a portfolio that were begun and have ended, those
	// first that ChangedSites has sites of. ErrNotFound: there is none.
	LastChange(ctx context.Context, org Organisation, portfolio string) (Work, error)
	// WorkFaults returns faults by row, at most limit of them (as in Filter). ErrNotFound, ErrBadCursor.
	WorkFaults(ctx context.Context, org Organisation, work string, limit int, cursor string) (FaultPage, error)

	// WorkNotes returns all notes; ErrNotFound.
	WorkNotes(ctx context.Context, org Organisation, work string) ([]Note, error)

	// Chunk returns one; ErrNotFound.
	Chunk(ctx context.Context, org Organisation, work string, n int) (Chunk, error)
	// WorksToDo returns the works that have chunks to be claimed at a time, the oldest first.
	WorksToDo(ctx context.Context, org Organisation, at time.Time) ([]string, error)
	// ClaimChunks takes chunks of a work that are due, in their order, at most limit of them. Nobody else gets
	// them before until, when whoever claimed them counts as dead.
	ClaimChunks(ctx context.Context, org Organisation, work string, at, until time.Time, limit int) ([]ClaimedChunk, error)
	// HoldChunk makes a claimed chunk due at another time: later while it is being done, soon where that failed.
	// ErrNotFound: it has ended, or the claim is not the newest one.
	HoldChunk(ctx context.Context, org Organisation, work string, c ClaimedChunk, until time.Time) error
	// StartWork notes when the first chunk was begun.
	StartWork(ctx context.Context, org Organisation, work string, at time.Time) error
	// StoreChunk stores the outcome of rows. ErrNotFound; ErrChunkChanged, also where a newer
	// import has spoken of one of the sites since.
	StoreChunk(ctx context.Context, org Organisation, o Outcome) error
	// UnfinishedWorks returns the works that have not ended, the oldest first.
	UnfinishedWorks(ctx context.Context, org Organisation) ([]Work, error)
}

// Normalise brings a new work into the form in which both databases keep it;
// ErrInvalid.
func (w *Work) Normalise() error {
	var faults []error
	id, ok := CanonicalID(w.ID)
	if !ok {
		faults = append(faults, fmt.Errorf("id %.40q: not a UUID", w.ID))
	}
	if w.Kind != WorkImport && w.Kind != WorkAssess {
		faults = append(faults, fmt.Errorf("kind %.40q: unknown", w.Kind))
	}
	if w.Mode != AllOrNothing && w.Mode != GoodRowsOnly {
		faults = append(faults, fmt.Errorf("mode %.40q: unknown", w.Mode))
	}
	if n := len(w.Options); n == 0 || n > MaxOptions {
		faults = append(faults, fmt.Errorf("options: %d bytes, 1 to %d are allowed", n, MaxOptions))
	}
	at := w.CreatedAt.UTC().Truncate(time.Microsecond)
	if !validTime(at) {
		faults = append(faults, fmt.Errorf("time %v: not in the years 1 to 9999", at))
	}
	*w = Work{ID: id, Portfolio: w.Portfolio, Kind: w.Kind, Mode: w.Mode, State: WorkReading, Options: w.Options, CreatedAt: at, TouchedAt: at}
	return invalid(faults...)
}

// Check refuses, with ErrInvalid, rows that could not be kept.
func (c *NewChunk) Check() error {
	var faults []error
	if len(c.Rows) > MaxDocument || c.Count < 0 || c.Faulty < 0 || (c.Count == 0) != (len(c.Rows) == 0) {
		faults = append(faults, fmt.Errorf("%d rows in %d bytes, %d faulty: cannot be", c.Count, len(c.Rows), c.Faulty))
	}
	return invalid(append(faults, checkFaults(c.Faults))...)
}

// Normalise brings the records of an outcome into the form in which both
// databases keep them; ErrInvalid.
func (o *Outcome) Normalise() error {
	if len(o.Rest) > MaxDocument || len(o.Failed) > MaxDocument || o.Unchanged < 0 || o.Faulty < 0 {
		return invalid(errors.New("outcome: too long or negative"))
	}
	check := func(r *Record) error {
		if r.Summary == nil {
			return invalid(errNoSummary)
		}
		return r.Normalise()
	}
	for i := range o.Created {
		if err := check(&o.Created[i]); err != nil {
			return err
		}
		o.Created[i].Revision = 1
	}
	for i := range o.Revised {
		r := &o.Revised[i]
		if err := check(&r.Record); err != nil {
			return err
		}
		if n := r.Before.Revision; n < 1 || n >= math.MaxInt32 || r.Before.Assessment != r.ID {
			return invalid(fmt.Errorf("revision %d of %s: not one to follow", n, r.Before.Assessment))
		}
		r.Revision = r.Before.Revision + 1
	}
	return checkFaults(o.Faults)
}

func checkFaults(all []Fault) error {
	for i := range all {
		f := &all[i]
		if err := invalid(checkText("column", f.Column, MaxText), checkText("value", f.Value, MaxText), checkText("reason", f.Reason, MaxText),
			checkText("assessment", f.Assessment, MaxText), checkText("reference", f.Reference, MaxText)); err != nil {
			return err
		}
	}
	return nil
}

// Encode writes notes as both databases keep them; ErrInvalid.
func (n *Notes) Encode() ([]byte, error) {
	for i := range n.All {
		if err := invalid(checkText("column", n.All[i].Column, MaxText), checkText("text", n.All[i].Text, MaxText)); err != nil {
			return nil, err
		}
	}
	if len(n.All) == 0 {
		return []byte{}, nil
	}
	doc, err := json.Marshal(n.All)
	if err == nil && len(doc) > MaxDocument {
		err = invalid(errors.New("notes: too long"))
	}
	return doc, err
}

// DecodeNotes reads what Encode wrote.
func DecodeNotes(doc []byte) (all []Note, err error) {
	if len(doc) > 0 {
		err = json.Unmarshal(doc, &all)
	}
	return all, err
}

// FaultsOfFile is where the numbers of faults begin that were found when the
// reading ended, so that they stand behind those of the same row.
const FaultsOfFile = 1000

// NumberFaults gives each fault its number within its row.
func NumberFaults(all []Fault, from int) []int {
	numbers := make([]int, len(all))
	next := make(map[int64]int, len(all))
	for i, f := range all {
		numbers[i] = from + next[f.Row]
		next[f.Row]++
	}
	return numbers
}
