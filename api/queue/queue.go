// Package queue does what stands to be done in the tables of the store: chunks
// of works, deliveries to receivers, removals.
//
// The tables themselves are the queue. Every task has a time at which it is due. Whoever claims it
// moves that time to the end of a lease, and again and again while the task goes on; so a task whose
// process died is due when its lease ends, and nobody has to look for it. Tasks of one work, or for one
// receiver, are a lane. Lanes take turns, and each has its own limit, so none keeps another waiting.
package queue

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"

	"levinward/store"
)

// Kind is a kind of tasks.
type Kind struct {
	Name string
	// AtOnce bounds the tasks under way in this process, PerLane those of one lane; 0: AtOnce.
	AtOnce, PerLane int
	// Due returns the lanes that have tasks due at a time, the oldest lane first.
	Due func(ctx context.Context, at time.Time) ([]string, error)
	// Claim takes tasks of a lane that are due, at most limit of them. Nobody else gets them before until.
	Claim func(ctx context.Context, lane string, at, until time.Time, limit int) ([]Task, error)
}

// Task is one that was claimed.
type Task struct {
	Tries int // claims so far, this one among them
	Do    func(ctx context.Context) error
	// Hold makes the task due at another time; store.ErrNotFound: it has ended, or somebody else has it. It is
	// nil for a task that ends well before the lease does and that says itself when it is due again.
	Hold func(ctx context.Context, until time.Time) error
}

// Chore is done now and then in every process.
type Chore struct {
	Name  string
	Every time.Duration
	Do    func(ctx context.Context) error
}

// Config is what a queue is made of.
type Config struct {
	Kinds  []Kind
	Chores []Chore
	Log    *slog.Logger
	Now    func() time.Time // the clock of due times; nil: that of the machine
	Lease  time.Duration    // of a claim; 0: store.Lease
}

// Times of a queue.
const (
	pollEvery    = 500 * time.Millisecond // how soon is noticed what another process queued
	renewals     = 4                      // of a lease, in its time
	firstPause   = 100 * time.Millisecond // after the first failure of a task
	longestPause = 10 * time.Second
	holdLimit    = 10 * time.Second // to note a due time
	breakUpLimit = 2 * time.Second  // for tasks that are broken off to be given back
)

func (c *Config) now() time.Time {
	if c.Now != nil {
		return c.Now()
	}
	return time.Now()
}

func (c *Config) lease() time.Duration {
	if c.Lease > 0 {
		return c.Lease
	}
	return store.Lease
}

// Queue does tasks in the background. Any number of processes may do so on one store.
type Queue struct {
	wake    []chan struct{}
	running sync.WaitGroup
	end     context.CancelFunc // no more claims
	breakUp context.CancelFunc // of tasks under way
}

// Start begins; it goes on until ctx is done or Stop is called. No task is claimed after that.
func Start(ctx context.Context, c Config) *Queue {
	q := new(Queue)
	tasks, breakUp := context.WithCancel(context.WithoutCancel(ctx))
	ctx, q.end = context.WithCancel(ctx)
	q.breakUp = breakUp
	for _, k := range c.Kinds {
		w, wake := newWorker(k, c), make(chan struct{}, 1)
		q.wake = append(q.wake, wake)
		q.running.Go(func() { w.run(ctx, tasks, wake) })
	}
	for _, chore := range c.Chores {
		q.running.Go(func() { repeat(ctx, chore, c.Log) })
	}
	return q
}

// Wake lets the queue look at once for what is due.
func (q *Queue) Wake() {
	for _, wake := range q.wake {
		select {
		case wake <- struct{}{}:
		default: // it will
		}
	}
}

// Stop ends the queue and waits for tasks under way. Those that go on when ctx ends are broken off and
// given back, and its error is returned.
func (q *Queue) Stop(ctx context.Context) error {
	q.end()
	defer q.breakUp()
	ended := make(chan struct{})
	go func() { q.running.Wait(); close(ended) }()
	select {
	case <-ended:
		return nil
	case <-ctx.Done():
	}
	q.breakUp()
	select {
	case <-ended:
	case <-time.After(breakUpLimit):
	}
	return fmt.Errorf("tasks under way were broken off: %w", ctx.Err())
}

func repeat(ctx context.Context, c Chore, log *slog.Logger) {
	every := time.NewTicker(c.Every)
	defer every.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-every.C:
		}
		if err := guarded(ctx, c.Do); err != nil && ctx.Err() == nil {
			log.Warn("chore not done, will be later", "chore", c.Name, "error", err)
		}
	}
}

// Drain does here what is due of the first kind, and returns how many tasks that were. It ends at the first
// error, when ctx is done, and when nothing can be claimed: other processes may still be at some tasks.
func Drain(ctx context.Context, c Config) (done int, err error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	w := newWorker(c.Kinds[0], c)
	for {
		if err := w.fill(ctx, ctx); err != nil {
			cancel(err)
		}
		if w.underWay == 0 {
			return done, context.Cause(ctx)
		}
		e := <-w.ended
		w.note(e)
		if done++; e.err != nil {
			cancel(e.err)
		}
	}
}

// guarded makes an error of a panic, so that one task does not end the process.
func guarded(ctx context.Context, do func(context.Context) error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	return do(ctx)
}
