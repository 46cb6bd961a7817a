package queue

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"levinward/store"
)

// worker does the tasks of one kind. All but do belongs to one goroutine.
type worker struct {
	Kind
	config   Config
	ended    chan ending
	underWay int
	busy     map[string]int // tasks under way by lane
	turn     map[string]int // when a lane had its last turn
	turns    int
	failing  bool // so that a database that is away is logged once
}

// ending is the end of a task.
type ending struct {
	lane string
	err  error
}

func newWorker(k Kind, c Config) *worker {
	if k.PerLane == 0 {
		k.PerLane = k.AtOnce
	}
	return &worker{Kind: k, config: c, ended: make(chan ending), busy: map[string]int{}, turn: map[string]int{}}
}

// run claims and does tasks until ctx is done, and returns when those under way have ended.
func (w *worker) run(ctx, tasks context.Context, wake <-chan struct{}) {
	poll := time.NewTicker(pollEvery)
	defer poll.Stop()
	for {
		err := w.fill(ctx, tasks)
		if err != nil && !w.failing && ctx.Err() == nil {
			w.config.Log.Warn("nothing can be claimed, will be later", "kind", w.Name, "error", err)
		}
		w.failing = err != nil
		select {
		case <-ctx.Done():
			for w.underWay > 0 {
				w.note(<-w.ended)
			}
			return
		case e := <-w.ended:
			w.note(e)
		case <-wake:
		case <-poll.C:
		}
	}
}

// fill claims tasks until all slots are taken or nothing is due.
func (w *worker) fill(ctx, tasks context.Context) error {
	if w.underWay == w.AtOnce || ctx.Err() != nil {
		return nil
	}
	lanes, err := w.Due(ctx, w.config.now())
	if err != nil {
		return err
	}
	w.forget(lanes)
	lanes = slices.DeleteFunc(slices.Clone(lanes), w.full)
	for len(lanes) > 0 && w.underWay < w.AtOnce && ctx.Err() == nil {
		lane := w.next(lanes)
		limit := max(1, min(w.PerLane-w.busy[lane], (w.AtOnce-w.underWay)/len(lanes)))
		now := w.config.now()
		// A claim that was sent is seen through: broken off, its tasks would wait for the end of the lease.
		claimed, err := w.Claim(context.WithoutCancel(ctx), lane, now, now.Add(w.config.lease()), limit)
		if err != nil {
			return err
		}
		for _, t := range claimed {
			w.start(tasks, lane, t)
		}
		if len(claimed) < limit || w.full(lane) {
			lanes = slices.DeleteFunc(lanes, func(l string) bool { return l == lane })
		}
	}
	return nil
}

func (w *worker) full(lane string) bool { return w.busy[lane] >= w.PerLane }

// next is the lane whose turn it is: the one with the fewest tasks under way, and of those the one that waits longest.
func (w *worker) next(lanes []string) string {
	first := lanes[0]
	for _, l := range lanes[1:] {
		if w.busy[l] < w.busy[first] || w.busy[l] == w.busy[first] && w.turn[l] < w.turn[first] {
			first = l
		}
	}
	return first
}

// forget drops the turns of lanes that have nothing to do.
func (w *worker) forget(lanes []string) {
	for l := range w.turn {
		if w.busy[l] == 0 && !slices.Contains(lanes, l) {
			delete(w.turn, l)
		}
	}
}

func (w *worker) start(ctx context.Context, lane string, t Task) {
	w.underWay++
	w.busy[lane]++
	w.turns++
	w.turn[lane] = w.turns
	go func() { w.ended <- ending{lane, w.do(ctx, t)} }()
}

// note takes back the slot of a task that has ended.
func (w *worker) note(e ending) {
	w.underWay--
	if w.busy[e.lane]--; w.busy[e.lane] == 0 {
		delete(w.busy, e.lane)
	}
}

// do does a task under its lease. One that fails is given back.
func (w *worker) do(ctx context.Context, t Task) error {
	if t.Hold == nil {
		err := guarded(ctx, t.Do)
		w.report(ctx, err)
		return err
	}
	held, release := context.WithCancel(context.WithoutCancel(ctx))
	var holding sync.WaitGroup
	holding.Go(func() { w.hold(held, t) })
	err := guarded(ctx, t.Do)
	release()
	holding.Wait()
	if err != nil {
		w.report(ctx, err)
		w.giveBack(ctx, t)
	}
	return err
}

func (w *worker) report(ctx context.Context, err error) {
	if err != nil && ctx.Err() == nil && w.config.Log != nil {
		w.config.Log.Warn("task not done, will be later", "kind", w.Name, "error", err)
	}
}

// hold renews the lease of a task until ctx is done. Where that fails for long, somebody else gets
// the task: the store sees to it that only one of the two is kept.
func (w *worker) hold(ctx context.Context, t Task) {
	renew := time.NewTicker(w.config.lease() / renewals)
	defer renew.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-renew.C:
		}
		if err := w.due(ctx, t, w.config.lease()); errors.Is(err, store.ErrNotFound) {
			return
		}
	}
}

// giveBack makes a task that failed due again after a pause. While the database is away it keeps
// trying, at most until the lease ends by itself.
func (w *worker) giveBack(ctx context.Context, t Task) {
	for end := time.Now().Add(w.config.lease()); time.Now().Before(end); {
		pause := Pause(t.Tries)
		if ctx.Err() != nil { // it did not fail by itself
			pause = 0
		}
		if err := w.due(context.WithoutCancel(ctx), t, pause); err == nil || errors.Is(err, store.ErrNotFound) || ctx.Err() != nil {
			return
		}
		select {
		case <-ctx.Done():
		case <-time.After(pollEvery):
		}
	}
}

func (w *worker) due(ctx context.Context, t Task, in time.Duration) error {
	ctx, cancel := context.WithTimeout(ctx, holdLimit)
	defer cancel()
	return t.Hold(ctx, w.config.now().Add(in))
}

// Pause is how long a task waits that failed after so many tries: it doubles from time to time.
func Pause(tries int) time.Duration {
	return min(firstPause<<min(max(tries-1, 0), 20), longestPause)
}
