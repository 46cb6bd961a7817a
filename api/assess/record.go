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
	Engine      string // name and version of the program, kept with every result
	Definitions *wire.Definitions
	Now         func() time.Time

	defined atomic.Bool // the definitions are in the store
}

// NewRecorder makes a recorder; now may be nil for the clock of the machine.
func NewRecorder(engine string, now func() time.Time) (*Recorder, error) {
	var quantities []*trace.Quantity
	var tables []*trace.Table
	for _, e := range Editions {
		quantities, tables = append(quantities, e.Quantities()...), append(tables, e.Tables()...)
	}
	definitions, err := wire.NewDefinitions(append(append(quantities, spd.Quantities()...), earth.Quantities()...),
		append(append(tables, spd.Tables()...), earth.Tables()...), nil)
	if now == nil {
		now = time.Now
	}
	return &Recorder{Engine: engine, Definitions: definitions, Now: now}, err
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
// stored. Call Define before the first one is.
func (r *Recorder) Record(in *wire.Input, site *wire.Site, id string, revision int, due time.Time) (store.Record, []risk.Violation, error) {
	var rec store.Record
	t := traces.Get().(*trace.Trace)
	defer release(t)
	done, faults, err := r.Compute(in, site, due, t)
	if err != nil || len(faults) > 0 {
		return rec, faults, err
	}
	created := r.Now().UTC().Truncate(time.Microsecond)
	done.Result.ID, done.Result.Revision, done.Result.CreatedAt = id, revision, &created
	rec.Header = store.Header{
		ID: id, Revision: revision, CreatedAt: created, Name: in.Name, Reference: in.Reference,
		Latitude: *in.Location.Latitude, Longitude: *in.Location.Longitude,
		Edition: done.Result.Edition, Engine: r.Engine, InputHash: done.Hash, DefinitionsHash: r.Definitions.Hash, ReviewDue: done.Due,
	}
	rec.Input, rec.Summary = done.Input, done.Summary
	b := buffers.Get().(*bytes.Buffer)
	defer buffers.Put(b)
	b.Reset()
	if err := encodeTo(b, done.Result); err != nil {
		return rec, nil, err
	}
	rec.Result = bytes.Clone(b.Bytes())
	rec.Worksheet, err = r.Definitions.Encode(t)
	return rec, nil, err
}

// Define puts the definitions of the worksheets into the store, once in the life of the recorder.
func (r *Recorder) Define(ctx context.Context, s store.Store) error {
	if r.defined.Load() {
		return nil
	}
	if err := s.PutDefinitions(ctx, store.Local, r.Definitions.Hash, r.Definitions.Document); err != nil {
		return err
	}
	r.defined.Store(true)
	return nil
}
