package assess

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"sync"
	"sync/atomic"
	"time"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/spd"
	"levinward/risk/trace"
	"levinward/store"
)

// Recorder turns inputs into the records that are stored.
type Recorder struct {
	Engine string // name and version of the program, kept with every result
	Now    func() time.Time

	mu       sync.Mutex
	prepared map[string]*prepared // by the hash of the reviews, empty for none
}

// prepared are the definitions of the worksheets that are computed with one table of reviews.
type prepared struct {
	*wire.Definitions
	stored atomic.Bool // they are in the store
}

// NewRecorder makes a recorder; now may be nil for the clock of the machine.
func NewRecorder(engine string, now func() time.Time) (*Recorder, error) {
	if now == nil {
		now = time.Now
	}
	r := &Recorder{Engine: engine, Now: now}
	_, err := r.prepare(nil)
	return r, err
}

// mostPrepared is how many definitions are kept: those of the reviews in use, and of some before.
const mostPrepared = 4

// prepare finds or makes the definitions of worksheets computed with reviews; nil for none.
func (r *Recorder) prepare(reviews *trace.Reviews) (*prepared, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if p := r.prepared[reviewsHash(reviews)]; p != nil {
		return p, nil
	}
	var quantities []*trace.Quantity
	var tables []*trace.Table
	for _, e := range Editions {
		quantities, tables = append(quantities, e.Quantities()...), append(tables, e.Tables()...)
	}
	definitions, err := wire.NewDefinitions(append(append(quantities, spd.Quantities()...), earth.Quantities()...),
		append(append(tables, spd.Tables()...), earth.Tables()...), reviews)
	if err != nil {
		return nil, err
	}
	if r.prepared == nil || len(r.prepared) >= mostPrepared {
		r.prepared = map[string]*prepared{}
	}
	p := &prepared{Definitions: definitions}
	r.prepared[reviewsHash(reviews)] = p
	return p, nil
}

func reviewsHash(reviews *trace.Reviews) string {
	if reviews == nil {
		return ""
	}
	return reviews.Hash
}

// DefinitionsHash is that of the definitions of worksheets computed with reviews; nil for none.
func (r *Recorder) DefinitionsHash(reviews *trace.Reviews) (string, error) {
	p, err := r.prepare(reviews)
	if err != nil {
		return "", err
	}
	return p.Hash, nil
}

// Canonical is the form of an input in which it is stored, and its hash.
func Canonical(in *wire.Input) (input []byte, hash string, err error) {
	var b bytes.Buffer
	if err := encodeTo(&b, in); err != nil {
		return nil, "", err
	}
	return b.Bytes(), Hash(b.Bytes()), nil
}

// Hash is that of a canonical input.
func Hash(canonical []byte) string {
	sum := sha256.Sum256(canonical)
	return hex.EncodeToString(sum[:])
}

// encodeTo writes a document without escaping what only HTML needs escaped.
func encodeTo(b *bytes.Buffer, v any) error {
	e := json.NewEncoder(b)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// Computed is an input with everything that came of it.
type Computed struct {
	Result  *wire.Result
	Input   []byte // canonical
	Hash    string // of Input
	Due     time.Time
	Summary *store.Summary
}

// Compute answers an input. The review is due on the day given, or where that is
// zero as ReviewDue says.
func (r *Recorder) Compute(in *wire.Input, site *wire.Site, due time.Time, t *trace.Trace) (*Computed, []risk.Violation, error) {
	answer, faults := Run(site, t)
	if len(faults) > 0 {
		return nil, faults, nil
	}
	canonical, hash, err := Canonical(in)
	if err != nil {
		return nil, nil, err
	}
	if due.IsZero() {
		due = ReviewDue(answer.Input, r.Now())
	}
	c := &Computed{Result: answer.Document(in), Input: canonical, Hash: hash, Due: due, Summary: Summarise(answer)}
	c.Result.ReviewsHash = reviewsHash(site.Input.Reviews)
	c.Result.Engine, c.Result.InputHash, c.Result.ReviewDue = r.Engine, c.Hash, c.Due.Format(time.DateOnly)
	return c, nil, nil
}

// traces and buffers are used again from record to record.
var (
	traces  = sync.Pool{New: func() any { return trace.New(stepsExpected) }}
	buffers = sync.Pool{New: func() any { return new(bytes.Buffer) }}
)

// release hands a trace back for the next computation.
func release(t *trace.Trace) {
	t.Reset()
	traces.Put(t)
}

// stepsExpected is room for the worksheet of a small site; larger ones grow.
const stepsExpected = 512

// Record computes an input with its worksheet and makes the record to be
// stored. Call Define with the same reviews before it is.
func (r *Recorder) Record(in *wire.Input, site *wire.Site, id string, revision int, due time.Time) (store.Record, []risk.Violation, error) {
	var rec store.Record
	t := traces.Get().(*trace.Trace)
	defer release(t)
	definitions, err := r.prepare(site.Input.Reviews)
	if err != nil {
		return rec, nil, err
	}
	done, faults, err := r.Compute(in, site, due, t)
	if err != nil || len(faults) > 0 {
		return rec, faults, err
	}
	created := r.Now().UTC().Truncate(time.Microsecond)
	done.Result.ID, done.Result.Revision, done.Result.CreatedAt = id, revision, &created
	rec.Header = store.Header{
		ID: id, Revision: revision, CreatedAt: created, Name: in.Name, Reference: in.Reference,
		Latitude: *in.Location.Latitude, Longitude: *in.Location.Longitude,
		Edition: done.Result.Edition, Engine: r.Engine, InputHash: done.Hash, DefinitionsHash: definitions.Hash, ReviewDue: done.Due,
	}
	rec.Input, rec.Summary = done.Input, done.Summary
	b := buffers.Get().(*bytes.Buffer)
	defer buffers.Put(b)
	b.Reset()
	if err := encodeTo(b, done.Result); err != nil {
		return rec, nil, err
	}
	rec.Result = bytes.Clone(b.Bytes())
	rec.Worksheet, err = definitions.Encode(t)
	return rec, nil, err
}

// Define puts the definitions of worksheets computed with reviews, nil for none, into the store, once for each.
func (r *Recorder) Define(ctx context.Context, s store.Store, reviews *trace.Reviews) error {
	p, err := r.prepare(reviews)
	if err != nil || p.stored.Load() {
		return err
	}
	if err := s.PutDefinitions(ctx, store.Local, p.Hash, p.Document); err != nil {
		return err
	}
	p.stored.Store(true)
	return nil
}
