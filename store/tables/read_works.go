package tables

import (
	"context"
	"time"

	"levinward/store"
)

// Chunk returns one chunk.
func (r *Reads) Chunk(ctx context.Context, org store.Organisation, work string, n int) (store.Chunk, error) {
	return One(ctx, r, org, work, Chunk,
		`SELECT `+Chunks+` FROM work_chunk WHERE organisation = $1 AND work = $2 AND n = $3`+r.Dialect.Big, n)
}

// WorksToDo returns works with chunks that are due.
func (r *Reads) WorksToDo(ctx context.Context, org store.Organisation, due time.Time) ([]string, error) {
	return r.Lanes(ctx, org, `SELECT w.id FROM work w WHERE w.organisation = $1 AND w.state IN ('queued', 'running')
		AND EXISTS (SELECT 1 FROM work_chunk k WHERE k.organisation = $1 AND k.work = w.id AND k.state = 'queued' AND k.due_at <= $2)
		ORDER BY w.created_at, w.id`, due)
}

// Work returns one work.
func (r *Reads) Work(ctx context.Context, org store.Organisation, id string) (store.Work, error) {
	return One(ctx, r, org, id, Work, `SELECT `+Works+` FROM work w WHERE w.organisation = $1 AND w.id = $2`)
}

// ListWorks returns a page of the works on a portfolio.
func (r *Reads) ListWorks(ctx context.Context, org store.Organisation, portfolio string, limit int, cursor string) (store.WorkPage, error) {
	from, err := store.ListStart(&limit, cursor)
	if err != nil {
		return store.WorkPage{}, err
	}
	key, err := KeyOf(org, portfolio)
	if err != nil {
		return store.WorkPage{}, nil
	}
	query, args := `SELECT `+Works+` FROM work w WHERE w.organisation = $1 AND w.portfolio = $2`, key.And(limit+1)
	if from != nil {
		query += ` AND (w.created_at, w.id) < ($4, $5)`
		args = append(args, r.Dialect.Moment(from.FirstCreatedAt), from.ID)
	}
	all, err := All(ctx, r, Work, query+` ORDER BY w.created_at DESC, w.id DESC LIMIT $3`, args...)
	if err != nil {
		return store.WorkPage{}, err
	}
	return store.NextWorkPage(all, limit), nil
}

// WorkUnder returns the work that was begun under a key.
func (r *Reads) WorkUnder(ctx context.Context, org store.Organisation, key string) (store.Work, error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.Work{}, store.ErrNotFound
	}
	return First(ctx, r, Work, `SELECT `+Works+` FROM work w WHERE w.organisation = $1 AND w.idempotency_key = $2`, owner, key)
}

// WorkNotes returns all notes of a work.
func (r *Reads) WorkNotes(ctx context.Context, org store.Organisation, work string) ([]store.Note, error) {
	doc, err := One(ctx, r, org, work, Value[[]byte], `SELECT notes FROM work WHERE organisation = $1 AND id = $2`)
	if err != nil {
		return nil, err
	}
	return store.DecodeNotes(doc)
}

// UnfinishedWorks returns the works that have not ended.
func (r *Reads) UnfinishedWorks(ctx context.Context, org store.Organisation) ([]store.Work, error) {
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return nil, nil
	}
	return All(ctx, r, Work, `SELECT `+Works+` FROM work w
		WHERE w.organisation = $1 AND w.state IN ('reading', 'queued', 'running') ORDER BY w.created_at, w.id`, owner)
}

// WorkFaults returns a page of faults.
func (r *Reads) WorkFaults(ctx context.Context, org store.Organisation, work string, limit int, cursor string) (store.FaultPage, error) {
	after, err := store.FaultListStart(&limit, cursor)
	if err != nil {
		return store.FaultPage{}, err
	}
	if _, err := r.Work(ctx, org, work); err != nil {
		return store.FaultPage{}, err
	}
	key, err := KeyOf(org, work)
	if err != nil {
		return store.FaultPage{}, err
	}
	all, err := All(ctx, r, Fault, `SELECT `+Faults+` FROM work_fault
		WHERE organisation = $1 AND work = $2 AND (row_number, n) > ($3, $4) ORDER BY row_number, n LIMIT $5`,
		key.And(after.Row, after.N, limit+1)...)
	if err != nil {
		return store.FaultPage{}, err
	}
	return store.NextFaultPage(all, limit), nil
}
