package jobs

import (
	"cmp"
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
	Key       string // of an idempotent request; empty: none
	// Read is told now and then how many rows were read; may be nil.
	Read func(rows int64)
}

// Import reads a file to its end and queues its rows, or refuses it: the
// faults are those of the work then. An error means that neither was possible, and nothing is left of the
// rows. Presets are those of the organisation. begun tells that an earlier request with the same key
// began the work; store.ErrKeyReused: that was another request.
func (j *Jobs) Import(ctx context.Context, im Import, file io.Reader) (w store.Work, begun bool, err error) {
	hash := requestHash(store.WorkImport, im.Portfolio, im.Mode, string(im.File.Format), im.File.Sheet,
		string(cmp.Or(im.File.Decimal, batch.DecimalPoint)))
	if im.Key != "" {
		file = io.TeeReader(file, hash)
	}
	if w, begun, err = j.begunByFile(ctx, im.Key, hash, file); begun || err != nil {
		return w, begun, err
	}
	if im.File.Presets, err = j.Presets(ctx); err != nil {
		return w, false, err
	}
	w, err = j.newWork(ctx, im.Portfolio, store.WorkImport, im.Mode, options{})
	if err != nil {
		return w, false, err
	}
	r := &reader{jobs: j, ctx: ctx, work: w.ID, read: im.Read, whole: im.Mode == store.AllOrNothing,
		seen: map[[16]byte]int32{}, notes: notes{at: map[batch.Note]int{}}}
	err = batch.Read(file, im.File, r.row)
	if r.err != nil {
		err = r.err
	}
	var wrong *batch.FileError
	switch {
	case errors.As(err, &wrong):
		w, err = j.refuse(ctx, r, fileFaults(wrong))
		return w, false, err
	case err == nil && r.whole && r.faulty > 0:
		w, err = j.refuse(ctx, r, nil)
		return w, false, err
	case err == nil:
		err = r.flush()
	}
	var request *store.Idempotency
	if err == nil && im.Key != "" {
		_, err = io.Copy(io.Discard, file) // what no row was made of belongs to the request as well
		request = requestOf(im.Key, hash)
	}
	if err != nil {
		j.abandon(ctx, w.ID, err)
		return store.Work{}, false, err
	}
	return j.begin(ctx, w.ID, r.notes.Notes, request)
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
	return j.Store.CreateWork(ctx, j.org, store.Work{ID: id.String(), Portfolio: portfolio, Kind: kind, Mode: mode, Options: doc,
		CreatedAt: j.now()})
}

// refuse keeps the faults found so far and drops the rows.
func (j *Jobs) refuse(ctx context.Context, r *reader, faults []store.Fault) (store.Work, error) {
	err := r.flush()
	if err == nil {
		var w store.Work
		if w, err = j.Store.RefuseWork(ctx, j.org, r.work, r.notes.Notes, faults, j.now()); err == nil {
			return w, nil
		}
	}
	j.abandon(ctx, r.work, err)
	return store.Work{}, err
}

// abandon ends a work whose rows could not all be read. Whoever asked for it may be gone.
func (j *Jobs) abandon(ctx context.Context, work string, why error) {
	j.drop(ctx, work, "the rows did not arrive whole; nothing was stored; send the file again", why)
}

// drop ends the reading of a work for good.
func (j *Jobs) drop(ctx context.Context, work, reason string, why error) {
	_, err := j.Store.RefuseWork(context.WithoutCancel(ctx), j.org, work, store.Notes{}, []store.Fault{{Reason: reason}}, j.now())
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
	whole  bool               // one faulty row is enough to refuse all
	seen   map[[16]byte]int32 // row where a reference stood first, see repeated
	notes  notes
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
		return &batch.FileError{Faults: []batch.FileFault{{Row: in.Number, Reason: fmt.Sprintf("the file has more than %d rows; divide it",
			MaxRows)}}}
	}
	number := int64(in.Number)
	faults := make([]store.Fault, 0, len(in.Faults))
	faults = append(faults, r.repeated(in)...)
	for _, f := range in.Faults {
		faults = append(faults, fault(int64(f.Row), f.Column, f.Value, f.Reason))
	}
	r.notes.add(number, in.Notes)
	if len(faults) == 0 && in.Input != nil {
		more, err := r.checkMap(in)
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

// repeated finds a reference that stood in an earlier row, whatever became of that
// row: which of the two is meant nobody can tell, so the first counts, and where it has faults neither.
//
// Of each reference 16 bytes of a hash and a row are kept, in a map some 25 to 50 bytes per row:
// at MaxRows at most about 50 MB, however long the references are. Among a million
// references two of the same hash are one chance in 10^26.
func (r *reader) repeated(in *batch.Row) []store.Fault {
	if in.Reference == "" {
		return nil
	}
	sum := sha256.Sum256([]byte(in.Reference))
	key := [16]byte(sum[:16])
	if first, twice := r.seen[key]; twice {
		return []store.Fault{fault(int64(in.Number), "reference", in.Reference,
			fmt.Sprintf("row %d has the same reference; a reference may stand once in a file", first))}
	}
	r.seen[key] = int32(in.Number)
	return nil
}

// checkMap finds, where one fault refuses all, a map that is not there or gives no N_G for the site.
func (r *reader) checkMap(in *batch.Row) ([]store.Fault, error) {
	if !r.whole || in.Site.Input.FlashDensity.Origin != risk.DensityMap {
		return nil, nil // batch has looked for everything else
	}
	if err := assess.Resolve(r.ctx, in.Site, r.jobs.kept); err != nil {
		return nil, err
	}
	return faultsOf(int64(in.Number), in.Input, assess.Faults(in.Site)), nil
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
