package queue_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"levinward/api/queue"
	"levinward/store"
)

// table keeps tasks as a store does.
type table struct {
	mu    sync.Mutex
	tasks []*task
	held  int // due times that were moved
}

type task struct {
	lane   string
	n      int
	due    time.Time
	claims int
	done   bool
}

// add makes n tasks of a lane due now.
func (b *table) add(lane string, n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for i := range n {
		b.tasks = append(b.tasks, &task{lane: lane, n: i, due: time.Now()})
	}
}

func (b *table) lanes(_ context.Context, at time.Time) (lanes []string, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, t := range b.tasks {
		if !t.done && !t.due.After(at) && !slices.Contains(lanes, t.lane) {
			lanes = append(lanes, t.lane)
		}
	}
	return lanes, nil
}

func (b *table) claim(lane string, at, until time.Time, limit int) (claimed []*task) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, t := range b.tasks {
		if t.lane == lane && !t.done && !t.due.After(at) && len(claimed) < limit {
			t.due = until
			t.claims++
			claimed = append(claimed, t)
		}
	}
	return claimed
}

func (b *table) hold(t *task, claims int, until time.Time) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if t.done || t.claims != claims {
		return store.ErrNotFound
	}
	t.due = until
	b.held++
	return nil
}

// end notes that a task was done; one that another claim has ended is not done again.
func (b *table) end(t *task) {
	b.mu.Lock()
	defer b.mu.Unlock()
	t.done = true
}

// kind does tasks of a table with a function; they end where it returns no error.
func (b *table) kind(atOnce, perLane int, do func(ctx context.Context, t *task) error) queue.Kind {
	return queue.Kind{
		Name: "tasks", AtOnce: atOnce, PerLane: perLane, Due: b.lanes,
		Claim: func(_ context.Context, lane string, at, until time.Time, limit int) (tasks []queue.Task, err error) {
			for _, t := range b.claim(lane, at, until, limit) {
				claims := t.claims
				tasks = append(tasks, queue.Task{
					Tries: claims,
					Do: func(ctx context.Context) error {
						err := do(ctx, t)
						if err == nil {
							b.end(t)
						}
						return err
					},
					Hold: func(_ context.Context, until time.Time) error { return b.hold(t, claims, until) },
				})
			}
			return tasks, nil
		},
	}
}

func (b *table) left() (n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, t := range b.tasks {
		if !t.done {
			n++
		}
	}
	return n
}

func config(t *testing.T, kinds ...queue.Kind) queue.Config {
	return queue.Config{Kinds: kinds, Log: slog.New(slog.NewTextHandler(t.Output(), nil))}
}

func stopped(t *testing.T, q *queue.Queue) {
	t.Helper()
	if err := q.Stop(context.Background()); err != nil {
		t.Error(err)
	}
}

// Lanes take turns: one that comes later with little to do does not wait for the end of a long one.
func TestTurns(t *testing.T) {
	var b table
	b.add("long", 8)
	var order []string
	k := b.kind(1, 0, func(_ context.Context, done *task) error {
		if order = append(order, fmt.Sprint(done.lane, done.n)); len(order) == 2 {
			b.add("late", 2)
			b.add("last", 1)
		}
		return nil
	})
	n, err := queue.Drain(t.Context(), config(t, k))
	const want = "long0 long1 late0 last0 long2 late1 long3 long4 long5 long6 long7"
	if got := strings.Join(order, " "); got != want || n != 11 || err != nil {
		t.Errorf("%d done in the order %q, want %q, %v", n, got, want, err)
	}
}

// The slots are shared by the lanes, none has more than its own, and one whose tasks do not end has no more than that.
func TestSlots(t *testing.T) {
	for _, c := range []struct {
		atOnce, perLane int
		lanes           []int
		want            string // under way in each lane
	}{
		{4, 0, []int{9}, "[4]"},
		{4, 0, []int{9, 9}, "[2 2]"},
		{4, 0, []int{9, 9, 9}, "[2 1 1]"},
		{4, 0, []int{1, 9}, "[1 3]"},
		{100, 3, []int{9, 2, 9}, "[3 2 3]"},
		{3, 2, []int{9, 9}, "[2 1]"},
	} {
		synctest.Test(t, func(t *testing.T) {
			var b table
			for i, n := range c.lanes {
				b.add(fmt.Sprint(i), n)
			}
			finish := make(chan struct{})
			underWay := make([]int, len(c.lanes))
			var mu sync.Mutex
			q := queue.Start(t.Context(), config(t, b.kind(c.atOnce, c.perLane, func(_ context.Context, begun *task) error {
				mu.Lock()
				underWay[begun.lane[0]-'0']++
				mu.Unlock()
				<-finish
				return nil
			})))
			time.Sleep(time.Minute) // leases are renewed meanwhile, and nothing is claimed twice
			mu.Lock()
			if got := fmt.Sprint(underWay); got != c.want {
				t.Errorf("%+v: under way %s", c, got)
			}
			mu.Unlock()
			close(finish)
			synctest.Wait()
			time.Sleep(time.Minute)
			stopped(t, q)
			if b.left() != 0 {
				t.Errorf("%+v: %d left", c, b.left())
			}
			for _, t1 := range b.tasks {
				if t1.claims != 1 {
					t.Errorf("%+v: %+v", c, t1)
				}
			}
		})
	}
}

// What a dead process had claimed is done within 30 seconds, while other tasks go on.
func TestTaskOfADeadProcess(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b table
		b.add("stalled", 1)
		b.add("other", 10_000)
		if dead := b.claim("stalled", time.Now(), time.Now().Add(store.Lease), 1); len(dead) != 1 {
			t.Fatal(dead)
		}
		begun := time.Now()
		var took time.Duration
		q := queue.Start(t.Context(), config(t, b.kind(2, 0, func(_ context.Context, done *task) error {
			time.Sleep(100 * time.Millisecond)
			if done.lane == "stalled" {
				took = time.Since(begun)
			}
			return nil
		})))
		time.Sleep(30 * time.Second)
		stopped(t, q)
		if took < store.Lease || took > 30*time.Second || b.left() == 0 {
			t.Errorf("done after %v, %d left of the others", took, b.left())
		}
	})
}

// A task that takes long keeps its lease; nobody else begins it.
func TestLeaseIsRenewed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b table
		b.add("a", 1)
		k := b.kind(1, 0, func(context.Context, *task) error { time.Sleep(10 * store.Lease); return nil })
		one, other := queue.Start(t.Context(), config(t, k)), queue.Start(t.Context(), config(t, k))
		time.Sleep(11 * store.Lease)
		stopped(t, one)
		stopped(t, other)
		if b.left() != 0 || b.tasks[0].claims != 1 || b.held < 30 {
			t.Errorf("%d left, %+v, renewed %d times", b.left(), b.tasks[0], b.held)
		}
	})
}

// A task that fails, or breaks its goroutine, comes again after pauses that grow, and keeps no slot meanwhile.
func TestFailures(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b table
		b.add("bad", 1)
		b.add("good", 50)
		begun := time.Now()
		var tries []time.Duration
		q := queue.Start(t.Context(), config(t, b.kind(1, 0, func(_ context.Context, at *task) error {
			time.Sleep(time.Millisecond)
			if at.lane == "good" {
				return nil
			}
			if tries = append(tries, time.Since(begun)); len(tries) == 2 {
				panic("broken")
			}
			if len(tries) < 5 {
				return errors.New("not today")
			}
			return nil
		})))
		time.Sleep(10 * time.Second)
		stopped(t, q)
		if b.left() != 0 || len(tries) != 5 {
			t.Fatalf("%d left after tries at %v", b.left(), tries)
		}
		for n := 1; n < len(tries); n++ {
			// A task is noticed when another one ends or at the next poll, half a second later.
			if pause := tries[n] - tries[n-1]; pause < queue.Pause(n) || pause > queue.Pause(n)+time.Second {
				t.Errorf("after %d tries a pause of %v", n, pause)
			}
		}
	})
}

func TestPause(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 1<<30).Draw(t, "tries")
		p, next := queue.Pause(n), queue.Pause(n+1)
		if p < 100*time.Millisecond || next < p || next > 10*time.Second || n > 0 && next < 10*time.Second && next != 2*p {
			t.Fatalf("after %d tries %v, then %v", n, p, next)
		}
	})
}

// Drain ends at the first error and when it is broken off, and what it has not done is due at once for others.
func TestDrainEnds(t *testing.T) {
	errBad := errors.New("bad")
	var b table
	b.add("a", 5)
	n, err := queue.Drain(t.Context(), config(t, b.kind(1, 0, func(_ context.Context, at *task) error {
		if at.n == 2 {
			return errBad
		}
		return nil
	})))
	if n != 3 || !errors.Is(err, errBad) || b.left() != 3 {
		t.Errorf("%d done, %d left, %v", n, b.left(), err)
	}

	ctx, cancel := context.WithCancel(t.Context())
	n, err = queue.Drain(ctx, config(t, b.kind(2, 0, func(ctx context.Context, _ *task) error {
		cancel()
		<-ctx.Done()
		return ctx.Err()
	})))
	if n == 0 || n > 2 || !errors.Is(err, context.Canceled) {
		t.Errorf("%d ended, %v", n, err)
	}
	done := b.kind(1, 0, func(context.Context, *task) error { return nil })
	soon := func() time.Time { return time.Now().Add(time.Second) }
	if n, err = queue.Drain(t.Context(), queue.Config{Kinds: []queue.Kind{done}, Now: soon}); n != 3 || err != nil {
		t.Errorf("then %d done, %v", n, err)
	}
	failing := queue.Kind{AtOnce: 1, Due: func(context.Context, time.Time) ([]string, error) { return nil, errBad }}
	if n, err := queue.Drain(t.Context(), config(t, failing)); n != 0 || !errors.Is(err, errBad) {
		t.Errorf("%d done, %v", n, err)
	}
}

// What is queued in this process begins at once, what another one queued within half a second, also after the store was away.
func TestNotice(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b table
		k := b.kind(1, 0, func(context.Context, *task) error { return nil })
		var away atomic.Bool
		k.Due = func(ctx context.Context, at time.Time) ([]string, error) {
			if away.Load() {
				return nil, store.ErrUnavailable
			}
			return b.lanes(ctx, at)
		}
		q := queue.Start(t.Context(), config(t, k))
		time.Sleep(time.Millisecond)
		b.add("a", 3)
		q.Wake()
		synctest.Wait()
		if b.left() != 0 {
			t.Errorf("%d left at once", b.left())
		}
		away.Store(true)
		b.add("a", 3)
		time.Sleep(time.Minute)
		if b.left() != 3 {
			t.Errorf("%d left while the store is away", b.left())
		}
		away.Store(false)
		time.Sleep(500 * time.Millisecond)
		synctest.Wait()
		if b.left() != 0 {
			t.Errorf("%d left", b.left())
		}
		stopped(t, q)
		b.add("a", 1)
		q.Wake()
		time.Sleep(time.Minute)
		if b.left() != 1 {
			t.Error("claimed after the end")
		}
	})
}

// Stop waits for what is under way. What does not end in time is broken off and given back.
func TestStop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b table
		b.add("a", 2)
		long := b.kind(1, 0, func(ctx context.Context, at *task) error {
			select {
			case <-time.After(time.Duration(1+at.n) * time.Minute): // 1 minute, then 2
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		})
		q := queue.Start(t.Context(), config(t, long))
		time.Sleep(time.Second)
		stopped(t, q)
		if b.left() != 1 {
			t.Errorf("%d left, want the one that had not begun", b.left())
		}
		q = queue.Start(t.Context(), config(t, long))
		time.Sleep(time.Second)
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
		defer cancel()
		if err := q.Stop(ctx); !errors.Is(err, context.DeadlineExceeded) {
			t.Error(err)
		}
		synctest.Wait()
		if left := b.claim("a", time.Now(), time.Now(), 1); len(left) != 1 {
			t.Error("what was broken off is not due")
		}
	})
}

// Chores are done in turn, whatever came of them before.
func TestChores(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		times := 0
		c := config(t)
		c.Chores = []queue.Chore{{Name: "sweep", Every: time.Minute, Do: func(context.Context) error {
			if times++; times == 2 {
				panic("broom")
			}
			return errors.New("not today")
		}}}
		q := queue.Start(t.Context(), c)
		time.Sleep(5*time.Minute + time.Second)
		stopped(t, q)
		if times != 5 {
			t.Errorf("done %d times", times)
		}
	})
}

// Whatever lanes there are, whatever fails and however many processes share: every task ends, and none is done twice.
func TestEachOnce(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		lanes := rapid.SliceOfN(rapid.IntRange(0, 5), 1, 5).Draw(r, "lanes")
		atOnce, perLane := rapid.IntRange(1, 6).Draw(r, "at once"), rapid.IntRange(0, 3).Draw(r, "per lane")
		processes := rapid.IntRange(1, 3).Draw(r, "processes")
		failing := rapid.IntRange(1, 7).Draw(r, "every so many fail")
		synctest.Test(t, func(t *testing.T) {
			var b table
			for i, n := range lanes {
				b.add(fmt.Sprint(i), n)
			}
			var mu sync.Mutex
			calls, did := 0, map[string]int{}
			k := b.kind(atOnce, perLane, func(_ context.Context, at *task) error {
				time.Sleep(time.Duration(at.n+1) * time.Second)
				mu.Lock()
				defer mu.Unlock()
				if calls++; failing > 1 && calls%failing == 0 {
					return errors.New("not today")
				}
				did[fmt.Sprint(at.lane, at.n)]++
				return nil
			})
			var all []*queue.Queue
			for range processes {
				all = append(all, queue.Start(t.Context(), config(t, k)))
			}
			time.Sleep(time.Hour)
			for _, q := range all {
				stopped(t, q)
			}
			if b.left() != 0 {
				r.Errorf("%d left", b.left())
			}
			for name, times := range did {
				if times != 1 {
					r.Errorf("%s done %d times", name, times)
				}
			}
		})
	})
}
