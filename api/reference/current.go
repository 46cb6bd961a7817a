package reference

import (
	"context"
	"errors"
	"sync"
	"time"

	"levinward/risk/trace"
	"levinward/store"
)

// revalidated is how long the reviews in use are taken as such without asking the store again.
const revalidated = time.Second

// Current are the reviews of an organisation that computations use, read from the store and kept. Any number of
// processes may have one for the same store: each follows a change within a second.
type Current struct {
	store store.Store
	org   store.Organisation

	asking sync.Mutex // held while the store is asked

	mu      sync.Mutex // guards what follows
	inUse   *Stored    // nil: none
	known   bool       // inUse is what the store last answered
	current bool       // and nothing has changed it here since
	asked   time.Time  // when the store was last asked
	changes int
	kept    map[string]*Stored // by hash
}

// Stored are reviews as the store keeps them.
type Stored struct {
	*Reviewed
	StoredAt time.Time
	Outdated []Fault // rows about values that this program no longer has or has changed; they are not used
}

// NewCurrent returns the reviews that the store says are in use. It asks the store when they are first wanted.
func NewCurrent(s store.Store, org store.Organisation) *Current {
	return &Current{store: s, org: org, kept: map[string]*Stored{}}
}

// Get returns the reviews in use, nil where there are none. When the store is unavailable, those last known are
// returned; the error is store.ErrUnavailable where none were known.
func (c *Current) Get(ctx context.Context) (*Stored, error) {
	inUse, current, fresh := c.last()
	if fresh {
		return inUse, nil
	}
	if !current {
		c.asking.Lock()
	} else if !c.asking.TryLock() {
		return inUse, nil // someone is asking already
	}
	defer c.asking.Unlock()
	if inUse, _, fresh = c.last(); fresh { // asked meanwhile
		return inUse, nil
	}
	return c.ask(ctx)
}

// last tells what is known: whether it is current, and asked for so lately that it need not be again.
func (c *Current) last() (inUse *Stored, current, fresh bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.inUse, c.known && c.current, c.known && c.current && time.Since(c.asked) < revalidated
}

// ask asks the store what is in use.
func (c *Current) ask(ctx context.Context) (*Stored, error) {
	c.mu.Lock()
	changes := c.changes
	c.mu.Unlock()
	inUse, err := c.read(ctx)
	c.mu.Lock()
	defer c.mu.Unlock()
	if err != nil {
		if c.known && errors.Is(err, store.ErrUnavailable) {
			c.asked = time.Now()
			return c.inUse, nil
		}
		return nil, err
	}
	c.inUse, c.known, c.asked = inUse, true, time.Now()
	c.current = changes == c.changes // else the answer may be older than the change
	return inUse, nil
}

// Reviews are those of Get as a computation looks them up, nil for none.
func (c *Current) Reviews(ctx context.Context) (*trace.Reviews, error) {
	r, err := c.Get(ctx)
	if err != nil || r == nil {
		return nil, err
	}
	return r.Reviews, nil
}

// Changed makes the next Get ask the store.
func (c *Current) Changed() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.changes++
	c.current = false
	clear(c.kept) // the time they were stored may be another
}

// read returns what the store says is in use.
func (c *Current) read(ctx context.Context) (*Stored, error) {
	hash, err := c.store.ReviewsInUse(ctx, c.org)
	if err != nil || hash == "" {
		return nil, err
	}
	return c.load(ctx, hash)
}

// Named returns the reviews of a hash, which an earlier result was computed with; nil for an empty hash, store.ErrNotFound.
func (c *Current) Named(ctx context.Context, hash string) (*Stored, error) {
	if hash == "" {
		return nil, nil
	}
	return c.load(ctx, hash)
}

// mostKept is how many tables are kept compiled: the one in use and some that old records name.
const mostKept = 8

func (c *Current) load(ctx context.Context, hash string) (*Stored, error) {
	c.mu.Lock()
	kept := c.kept[hash]
	c.mu.Unlock()
	if kept != nil {
		return kept, nil
	}
	t, err := c.store.Reviews(ctx, c.org, hash)
	if err != nil {
		return nil, err
	}
	reviewed, outdated, err := Restore(t.Document, t.Hash)
	if err != nil {
		return nil, err
	}
	s := &Stored{Reviewed: reviewed, StoredAt: t.StoredAt, Outdated: outdated}
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.kept) >= mostKept {
		clear(c.kept)
	}
	c.kept[hash] = s
	return s, nil
}
