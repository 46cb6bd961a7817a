package jobs

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/google/uuid"

	"levinward/api/assess"
	"levinward/api/batch"
	"levinward/risk"
	"levinward/store"
)

// MaxRows is how many rows one import may have.
const MaxRows = 1_000_000

// Import is a file to be read into a portfolio.
type Import struct {
	Portfolio string
	Mode      string // store.AllOrNothing or store.GoodRowsOnly
	File      batch.Options
	// Read is told now and then how many rows were read; may be nil.
	Read func(rows int64)
}

// Import reads a file to its end and queues its rows, or refuses it: the
// faults are those of the work then. An error means that neither was possible, and nothing is left of the
// rows. Presets are those of the organisation.
func (j *Jobs) Import(ctx context.Context, im Import, file io.Reader) (store.Work, error) {
	var err error
	if im.File.Presets, err = j.Presets(ctx); err != nil {
		return store.Work{}, err
	}
	w, err := j.newWork(ctx, im.Portfolio, store.WorkImport, im.Mode, options{})
	if err != nil {
		return w, err
	}
	r := &reader{jobs: j, ctx: ctx, work: w.ID, read: im.Read, whole: im.Mode == store.AllOrNothing, seen: map[[16]byte]int32{}}
	err = batch.Read(file, im.File, r.row)
	if r.err != nil {
		err = r.err
	}
	var wrong *batch.FileError
	switch {
	case errors.As(err, &wrong):
		return j.refuse(ctx, r, fileFaults(wrong))
	case err != nil:
		j.abandon(ctx, w.ID, err)
		return store.Work{}, err
	case r.whole && r.faulty > 0:
		return j.refuse(ctx, r, nil)
	}
	if err := r.flush(); err != nil {
		j.abandon(ctx, w.ID, err)
		return store.Work{}, err
	}
	return j.begin(ctx, w.ID)
}

// Presets are the types of building and line of the organisation.
func (j *Jobs) Presets(ctx context.Context) (batch.Presets, error) {
	p := batch.Presets{Structures: map[string]json.RawMessage{}, Lines: map[string]json.RawMessage{}}
	all, err := j.Store.Presets(ctx, j.org)
	for _, one := range all {
		if one.Kind == store.PresetLine {
			p.Lines[one.Name] = one.Document
		} else {
			p.Structures[one.Name] = one.Document
		}
	}
	return p, err
}

func (j *Jobs) newWork(ctx context.Context, portfolio, kind, mode string, o options) (store.Work, error) {
	doc, err := json.Marshal(o)
	if err != nil {
		return store.Work{}, err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return store.Work{}, err
	}
	return j.Store.CreateWork(ctx, j.org, store.Work{ID: id.String(), Portfolio: portfolio, Kind: kind, Mode: mode, Options: doc, CreatedAt: j.now()})
}

// refuse keeps the faults found so far and drops the rows.
func (j *Jobs) refuse(ctx context.Context, r *reader, faults []store.Fault) (store.Work, error) {
	err := r.flush()
	if err == nil {
		var w store.Work
		if w, err = j.Store.RefuseWork(ctx, j.org, r.work, faults, j.now()); err == nil {
			return w, nil
		}
	}
	j.abandon(ctx, r.work, err)
	return store.Work{}, err
}

// abandon ends a work whose rows could not all be read. Whoever asked for it may be gone.
func (j *Jobs) abandon(ctx context.Context, work string, why error) {
	_, err := j.Store.RefuseWork(context.WithoutCancel(ctx), j.org, work,
		[]store.Fault{{Reason: "the rows did not arrive whole; nothing was stored; send the file again"}}, j.now())
	if err != nil && !errors.Is(err, store.ErrWorkEnded) && !errors.Is(err, store.ErrNotFound) {
		j.Log.Warn("abandoned work not ended, will be later", "work", work, "error", err, "because", why)
	}
}

func fileFaults(e *batch.FileError) []store.Fault {
	faults := make([]store.Fault, 0, len(e.Faults))
	for _, f := range e.Faults {
		reason := f.Reason
		if f.Sheet != "" {
			reason = fmt.Sprintf("sheet %q: %s", f.Sheet, reason)
		}
		faults = append(faults, fault(int64(f.Row), f.Column, "", reason))
	}
	return bounded(faults)
}

// reader cuts the rows of a file into chunks.
type reader struct {
	jobs   *Jobs
	ctx    context.Context
	work   string
	read   func(int64)
	whole  bool // one faulty row is enough to refuse all
	seen   map[[16]byte]int32
	rows   int64
	faulty int64
	chunk  store.NewChunk
	err    error
}

// row takes one row; false stops the reading.
func (r *reader) row(in batch.Row) bool {
	if r.err = r.ctx.Err(); r.err == nil {
		r.err = r.add(&in)
	}
	return r.err == nil
}

func (r *reader) add(in *batch.Row) error {
	if r.rows++; r.rows > MaxRows {
		return &batch.FileError{Faults: []batch.FileFault{{Row: in.Number, Reason: fmt.Sprintf("the file has more than %d rows; divide it", MaxRows)}}}
	}
	number := int64(in.Number)
	faults := make([]store.Fault, 0, len(in.Faults))
	for _, f := range in.Faults {
		faults = append(faults, fault(int64(f.Row), f.Column, f.Value, f.Reason))
	}
	if in.Input != nil {
		more, err := r.check(in)
		if err != nil {
			return err
		}
		faults = append(faults, more...)
	}
	if len(faults) > 0 || in.Input == nil {
		r.faulty++
		r.chunk.Faulty++
		r.chunk.Faults = append(r.chunk.Faults, bounded(faults)...)
	} else {
		canonical, _, err := assess.Canonical(in.Input)
		if err != nil {
			return err
		}
		r.chunk.Rows = appendInput(r.chunk.Rows, number, canonical)
		r.chunk.Count++
	}
	if r.chunk.Count >= rowsOfChunk || len(r.chunk.Rows) >= bytesOfChunk || len(r.chunk.Faults) >= 1000 {
		return r.flush()
	}
	return nil
}

// check finds what a row alone cannot show: a reference that stands twice, and
// where one fault refuses all, a map that is not there or gives no N_G for the site.
func (r *reader) check(in *batch.Row) ([]store.Fault, error) {
	number := int64(in.Number)
	if ref := in.Input.Reference; ref != "" {
		sum := sha256.Sum256([]byte(ref))
		key := [16]byte(sum[:16])
		if first, twice := r.seen[key]; twice {
			return []store.Fault{fault(number, "reference", ref, fmt.Sprintf("row %d has the same reference; a reference may stand once in a file", first))}, nil
		}
		r.seen[key] = int32(in.Number)
	}
	if !r.whole || in.Site.Input.FlashDensity.Origin != risk.DensityMap {
		return nil, nil // batch has looked for everything else
	}
	if err := assess.Resolve(r.ctx, in.Site, r.jobs.kept); err != nil {
		return nil, err
	}
	return faultsOf(number, assess.Faults(in.Site)), nil
}

// flush adds what was read to the work.
func (r *reader) flush() error {
	c := r.chunk
	if c.Count == 0 && c.Faulty == 0 {
		return nil
	}
	r.chunk = store.NewChunk{Rows: r.chunk.Rows[:0], Faults: r.chunk.Faults[:0]}
	if err := r.jobs.Store.AddChunk(r.ctx, r.jobs.org, r.work, c, r.jobs.now()); err != nil {
		return err
	}
	if r.read != nil {
		r.read(r.rows)
	}
	return nil
}
