package jobs

import (
	"context"
	"log/slog"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/riverqueue/river/rivertype"

	"levinward/store"
)

// Migrate brings the tables of the queue up to date. Keep other processes from
// doing so at the same time.
func Migrate[TTx any](ctx context.Context, driver riverdriver.Driver[TTx]) (applied []string, err error) {
	m, err := rivermigrate.New(driver, &rivermigrate.Config{Logger: quiet})
	if err != nil {
		return nil, err
	}
	done, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil)
	if done != nil {
		for _, v := range done.Versions {
			applied = append(applied, "queue: "+v.Name)
		}
	}
	return applied, err
}

// quiet drops what the queue tells of itself: what matters comes back as an error.
var quiet = slog.New(slog.DiscardHandler)

// chunkJob asks a worker to look at a chunk.
type chunkJob struct {
	Work  string `json:"work"`
	N     int    `json:"n"`
	Round int64  `json:"round"`
}

// Kind names the job in the database.
func (chunkJob) Kind() string { return "portfolio_chunk" }

// Times of the queue.
const (
	fetchCooldown = 5 * time.Millisecond
	fetchPoll     = 50 * time.Millisecond
	jobTimeout    = 5 * time.Minute
	jobTries      = 30
	longestPause  = 10 * time.Second
)

// riverQueue is the queue on River.
type riverQueue[TTx any] struct {
	client *river.Client[TTx]
}

// Enqueue adds a job for each chunk.
func (q *riverQueue[TTx]) Enqueue(ctx context.Context, work string, chunks []int, round int64) error {
	all := make([]river.InsertManyParams, len(chunks))
	for i, n := range chunks {
		all[i].Args = chunkJob{work, n, round}
		all[i].InsertOpts = &river.InsertOpts{Priority: priority(n)}
		if round > 0 { // several processes may find the same forgotten chunk
			all[i].InsertOpts.UniqueOpts = river.UniqueOpts{ByArgs: true}
		}
	}
	if round > 0 { // the fast way refuses all where one is there already
		_, err := q.client.InsertMany(ctx, all)
		return err
	}
	_, err := q.client.InsertManyFast(ctx, all)
	return err
}

// priority lets the first chunks of a work go before the later ones of others: a
// small import does not wait for the end of a large one. The queue knows 1, the first, to 4.
func priority(chunk int) int {
	switch {
	case chunk < 8:
		return 1
	case chunk < 64:
		return 2
	case chunk < 512:
		return 3
	}
	return 4
}

// pause lets a chunk that could not be stored be tried again soon, and seldom after a while.
type pause struct{}

// NextRetry says when.
func (pause) NextRetry(job *rivertype.JobRow) time.Time {
	d := 100 * time.Millisecond << min(len(job.Errors), 10)
	return time.Now().Add(min(d, longestPause))
}

// Start begins to work in the background, with a queue on the given driver,
// whose tables Migrate has made. It goes on until stop is called, which waits for chunks under way.
func Start[TTx any](ctx context.Context, j *Jobs, driver riverdriver.Driver[TTx]) (stop func(context.Context) error, err error) {
	workers := river.NewWorkers()
	river.AddWorker(workers, river.WorkFunc(func(ctx context.Context, job *river.Job[chunkJob]) error {
		return j.DoChunk(ctx, job.Args.Work, job.Args.N)
	}))
	client, err := river.NewClient(driver, &river.Config{
		FetchCooldown: fetchCooldown, FetchPollInterval: fetchPoll, JobTimeout: jobTimeout, MaxAttempts: jobTries, RetryPolicy: pause{},
		CompletedJobRetentionPeriod: time.Hour, DiscardedJobRetentionPeriod: time.Hour, RescueStuckJobsAfter: 2 * jobTimeout,
		Logger: quiet, Queues: map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: Workers()}}, Workers: workers,
	})
	if err != nil {
		return nil, err
	}
	// The client outlives the call; stop ends it.
	running, cancel := context.WithCancel(context.WithoutCancel(ctx))
	if err := client.Start(running); err != nil {
		cancel()
		return nil, err
	}
	j.UseQueue(&riverQueue[TTx]{client})
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		j.watch(running)
	}()
	return func(ctx context.Context) error {
		err := client.Stop(ctx)
		cancel()
		<-watched
		return err
	}, nil
}

// Times of the watch.
const (
	watchEvery   = time.Second
	stalledAfter = 3 * time.Second
	// readingFor is how long a reading may add no rows before it counts as broken off.
	readingFor = 15 * time.Minute
)

// watch finds what the queue forgot: works whose chunks nobody looks at, because a
// process was killed over them or before it could enqueue them, and readings that were broken off.
func (j *Jobs) watch(ctx context.Context) {
	var last progress
	for {
		select {
		case <-ctx.Done():
			return
		case <-time.After(watchEvery):
		}
		if err := j.look(ctx, &last); err != nil && ctx.Err() == nil {
			j.Log.Warn("works not looked at, will be later", "error", err)
		}
	}
}

// progress is what all works together have done, and when that last changed.
type progress struct {
	rows  int64
	works int
	since time.Time
}

func (j *Jobs) look(ctx context.Context, last *progress) error {
	all, err := j.Store.UnfinishedWorks(ctx, j.org)
	if err != nil {
		return err
	}
	now := time.Now()
	var rows int64
	var waiting []store.Work
	for _, w := range all {
		if w.State == store.WorkReading {
			if j.now().Sub(w.TouchedAt) > readingFor {
				j.abandon(ctx, w.ID, context.DeadlineExceeded)
			}
			continue
		}
		rows += w.Done + w.Failed + w.Unchanged
		waiting = append(waiting, w)
	}
	if rows != last.rows || len(waiting) != last.works || last.since.IsZero() {
		*last = progress{rows, len(waiting), now}
		return nil
	}
	if len(waiting) == 0 || now.Sub(last.since) < stalledAfter {
		return nil
	}
	last.since = now
	round := now.UnixNano() / int64(stalledAfter)
	for _, w := range waiting {
		if err := j.enqueue(ctx, w.ID, round); err != nil {
			return err
		}
	}
	return nil
}
