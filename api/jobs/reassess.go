package jobs

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"time"

	"levinward/store"
)

// ErrNothingToRetry: no row of the work failed in a way that can be tried again.
var ErrNothingToRetry = errors.New("no row of this work can be tried again")

// ErrNotEnded: the work goes on.
var ErrNotEnded = errors.New("the work has not ended")

// options are what a work is to be done with.
type options struct {
	// Maps says which flash-density map stands in for another.
	Maps map[string]string `json:"maps,omitempty"`
	// Map is where every site takes N_G from.
	Map string `json:"map,omitempty"`
	// FileOf is when the import was begun whose rows a retry does again.
	FileOf *time.Time `json:"file_of,omitempty"`
}

func optionsOf(w *store.Work) (o options, err error) {
	err = json.Unmarshal(w.Options, &o)
	return o, err
}

// Reassessment asks for sites of a portfolio to be assessed again.
type Reassessment struct {
	Portfolio string
	// Due limits it to sites whose lightning data are too old, that another
	// engine computed or other reviews of table values, or whose map was followed by a newer one of the same name. The last take
	// N_G from the newer map.
	Due bool
	// Map is a flash-density map that every site takes N_G from; empty: as it does now.
	Map string
	// Request is of Request; nil: none.
	Request *store.Idempotency
}

// Reassess queues sites. Those whose input, map, engine and reviews are the same as before would give the same
// result: they count as unchanged. begun tells that an earlier request with the same key began the
// work; store.ErrKeyReused: that was another request.
func (j *Jobs) Reassess(ctx context.Context, r Reassessment) (w store.Work, begun bool, err error) {
	if w, begun, err = j.Begun(ctx, r.Request); begun || err != nil {
		return w, begun, err
	}
	newer, err := j.newerMaps(ctx)
	if err != nil {
		return w, false, err
	}
	reviews, err := j.Reviews.Reviews(ctx)
	if err != nil {
		return w, false, err
	}
	choose := store.Reassess{Due: r.Due, On: j.now(), Engine: j.Recorder.Engine}
	if choose.Definitions, err = j.Recorder.DefinitionsHash(reviews); err != nil {
		return w, false, err
	}
	for old := range newer {
		choose.Maps = append(choose.Maps, old)
	}
	w, err = j.newWork(ctx, r.Portfolio, store.WorkAssess, store.GoodRowsOnly, options{Maps: newer, Map: r.Map})
	if err != nil {
		return w, false, err
	}
	number := int64(0)
	for after := ""; ; {
		ids, err := j.Store.SitesToAssess(ctx, j.org, r.Portfolio, choose, after, idsAtOnce)
		for part := range slices.Chunk(ids, rowsOfChunk) {
			if err != nil {
				break
			}
			c := store.NewChunk{Count: len(part)}
			for _, id := range part {
				number++
				c.Rows = appendSite(c.Rows, number, id)
			}
			after = part[len(part)-1]
			err = j.Store.AddChunk(ctx, j.org, w.ID, c, j.now())
		}
		if err != nil {
			j.abandon(ctx, w.ID, err)
			return store.Work{}, false, err
		}
		if len(ids) == 0 {
			return j.begin(ctx, w.ID, store.Notes{}, r.Request)
		}
	}
}

// idsAtOnce is more than a chunk has, because finding the first of them may sort all sites.
const idsAtOnce = 40 * rowsOfChunk

// newerMaps says which map follows each of those that are not the newest of their name.
func (j *Jobs) newerMaps(ctx context.Context) (map[string]string, error) {
	newest, newer := map[string]string{}, map[string]string{}
	for cursor := ""; ; {
		page, err := j.Store.ListDensityMaps(ctx, j.org, store.MaxLimit, cursor)
		if err != nil {
			return nil, err
		}
		for _, m := range page.Maps { // the newest first
			if id, ok := newest[m.Name]; ok {
				newer[m.ID] = id
			} else {
				newest[m.Name] = m.ID
			}
		}
		if cursor = page.Next; cursor == "" || len(newer) >= maxReplaced {
			return newer, nil
		}
	}
}

// maxReplaced keeps the options of a work short.
const maxReplaced = 500

// Retry makes the rows of a work that failed, and whose input is known, a new
// work; ErrNothingToRetry, ErrNotEnded, store.ErrNotFound.
func (j *Jobs) Retry(ctx context.Context, work string) (store.Work, error) {
	old, err := j.Store.Work(ctx, j.org, work)
	if err != nil {
		return old, err
	}
	if !old.Ended() {
		return store.Work{}, ErrNotEnded
	}
	o, err := optionsOf(&old)
	if err != nil {
		return store.Work{}, err
	}
	if o.FileOf == nil {
		o.FileOf = &old.CreatedAt // its rows are no newer for being tried again
	}
	w, err := j.newWork(ctx, old.Portfolio, old.Kind, store.GoodRowsOnly, o)
	if err != nil {
		return store.Work{}, err
	}
	added := 0
	for n := range old.Chunks {
		chunk, err := j.Store.Chunk(ctx, j.org, work, n)
		if errors.Is(err, store.ErrNotFound) {
			continue // it was refused
		}
		var rows []row
		if err == nil {
			rows, err = parseRows(chunk.Failed)
		}
		if err == nil && len(rows) > 0 {
			added += len(rows)
			err = j.Store.AddChunk(ctx, j.org, w.ID, store.NewChunk{Rows: chunk.Failed, Count: len(rows)}, j.now())
		}
		if err != nil {
			j.abandon(ctx, w.ID, err)
			return store.Work{}, err
		}
	}
	if added == 0 {
		j.abandon(ctx, w.ID, ErrNothingToRetry)
		return store.Work{}, ErrNothingToRetry
	}
	// Under a key, so that a repeated request finds the retry that was begun instead of doubling rows without a reference.
	w, _, err = j.begin(ctx, w.ID, store.Notes{}, &store.Idempotency{Key: "retry of " + work, BodyHash: "all rows that failed"})
	return w, err
}
