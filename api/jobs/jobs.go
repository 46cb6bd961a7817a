// Package jobs does the work on portfolios in the background: imports and
// re-assessments, cut into chunks of rows.
//
// What is to be done and what has been done stands in the chunks of the store
// alone. Storing the outcome of a chunk and noting that it is done is one
// transaction, so a process that is killed or a database that restarts neither loses nor
// doubles a row. A claim of a chunk only keeps others from doing the same meanwhile; it ends
// with its lease where the process died.
package jobs

import (
	"context"
	"errors"
	"log/slog"
	"runtime"
	"time"

	"levinward/api/assess"
	"levinward/api/reference"
	"levinward/store"
)

// Config is what the work is done with.
type Config struct {
	Store    store.Store
	Recorder *assess.Recorder
	Reviews  *reference.Current // of table values, as they are when a chunk is computed; nil: those of the store
	Maps     assess.Maps        // where N_G is taken from; nil where there are none
	Log      *slog.Logger
}

// Jobs does the work of one organisation. Any number of processes may do so on one store.
type Jobs struct {
	Config
	org    store.Organisation
	queued func(work string)
	kept   *keptMaps
}

// New makes the work ready to be done: by a queue of Kinds, or by Drain.
func New(c Config) *Jobs {
	if c.Reviews == nil {
		c.Reviews = reference.NewCurrent(c.Store, store.Local)
	}
	return &Jobs{Config: c, org: store.Local, queued: func(string) {}, kept: newKeptMaps(c.Maps)}
}

// WhenQueued has call told of each work that was queued here. Say so before any work is begun.
func (j *Jobs) WhenQueued(call func(work string)) { j.queued = call }

func (j *Jobs) now() time.Time { return j.Recorder.Now() }

// Workers is how many chunks are computed at once: one for each processor, and
// one whose rows are being stored meanwhile.
func Workers() int { return runtime.GOMAXPROCS(0) + 1 }

// triesOfChunk is how often a chunk is looked at again at once because
// something else changed it or its sites.
const triesOfChunk = 20

// DoChunk does what is left to do of a chunk. It may be called for any chunk,
// at any time and by many at once. An error means that the call is to be repeated.
func (j *Jobs) DoChunk(ctx context.Context, work string, n int) error {
	for try := 0; ; {
		more, err := j.step(ctx, work, n)
		switch {
		case errors.Is(err, store.ErrNotFound):
			return nil // the work or its portfolio was deleted
		case errors.Is(err, store.ErrChunkChanged) && try < triesOfChunk:
			try++
		case err != nil:
			return err
		case !more:
			return nil
		}
	}
}

// step computes and stores rows of a chunk; more tells that some are left.
func (j *Jobs) step(ctx context.Context, work string, n int) (more bool, err error) {
	if err := ctx.Err(); err != nil {
		return false, err
	}
	w, err := j.Store.Work(ctx, j.org, work)
	if err != nil || w.Ended() || w.State == store.WorkReading {
		return false, err
	}
	chunk, err := j.Store.Chunk(ctx, j.org, work, n)
	if err != nil || chunk.State != store.ChunkQueued {
		return false, err
	}
	if w.State == store.WorkQueued {
		if err := j.Store.StartWork(ctx, j.org, work, j.now()); err != nil {
			return false, err
		}
	}
	reviews, err := j.Reviews.Reviews(ctx)
	if err != nil {
		return false, err
	}
	if err := j.Recorder.Define(ctx, j.Store, reviews); err != nil {
		return false, err
	}
	o, err := j.compute(ctx, &w, &chunk, reviews)
	if err != nil {
		return false, err
	}
	return len(o.Rest) > 0, j.Store.StoreChunk(ctx, j.org, *o)
}
