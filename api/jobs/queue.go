package jobs

import (
	"context"
	"time"

	"levinward/api/queue"
	"levinward/store"
)

// Kinds are the tasks that a queue does for this package.
func (j *Jobs) Kinds() []queue.Kind { return []queue.Kind{j.chunks(), j.removals()} }

// Chores are what a queue does for this package now and then.
func (j *Jobs) Chores() []queue.Chore {
	return []queue.Chore{{Name: "end readings that were broken off", Every: time.Minute, Do: j.endReadings}}
}

// chunks are those of works; a lane is a work.
func (j *Jobs) chunks() queue.Kind {
	return queue.Kind{
		Name: "chunks", AtOnce: Workers(),
		Due:   func(ctx context.Context, at time.Time) ([]string, error) { return j.Store.WorksToDo(ctx, j.org, at) },
		Claim: j.claimChunks,
	}
}

func (j *Jobs) claimChunks(ctx context.Context, work string, at, until time.Time, limit int) ([]queue.Task, error) {
	claimed, err := j.Store.ClaimChunks(ctx, j.org, work, at, until, limit)
	tasks := make([]queue.Task, len(claimed))
	for i, c := range claimed {
		tasks[i] = queue.Task{
			Tries: c.Claims,
			Do:    func(ctx context.Context) error { return j.DoChunk(ctx, work, c.N) },
			Hold: func(ctx context.Context, until time.Time) error {
				return j.Store.HoldChunk(ctx, j.org, work, c, until)
			},
		}
	}
	return tasks, err
}

// removals are portfolios whose removal has begun and was broken off; a lane is a portfolio. Each part renews the lease.
func (j *Jobs) removals() queue.Kind {
	return queue.Kind{
		Name: "removals", AtOnce: 1,
		Due: func(ctx context.Context, at time.Time) ([]string, error) { return j.Store.RemovalsToDo(ctx, j.org, at) },
		Claim: func(_ context.Context, portfolio string, _, _ time.Time, _ int) ([]queue.Task, error) {
			return []queue.Task{{Do: func(ctx context.Context) error { return store.EndRemoval(ctx, j.Store, j.org, portfolio) }}}, nil
		},
	}
}

// Drain does what can be claimed of a work here, Workers chunks at once. It returns at the first
// error, and when nothing is left to claim; another process may still be at some chunks.
func (j *Jobs) Drain(ctx context.Context, work string) error {
	chunks := j.chunks()
	chunks.Due = func(context.Context, time.Time) ([]string, error) { return []string{work}, nil }
	_, err := queue.Drain(ctx, queue.Config{Kinds: []queue.Kind{chunks}, Now: j.now})
	return err
}

// readingFor is how long a reading may add no rows before it counts as broken off.
const readingFor = 15 * time.Minute

// endReadings ends works whose rows have stopped arriving.
func (j *Jobs) endReadings(ctx context.Context) error {
	all, err := j.Store.UnfinishedWorks(ctx, j.org)
	for _, w := range all {
		if w.State == store.WorkReading && j.now().Sub(w.TouchedAt) > readingFor {
			j.abandon(ctx, w.ID, context.DeadlineExceeded)
		}
	}
	return err
}
