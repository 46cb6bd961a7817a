package storetest

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"levinward/store"
)

func works(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	_, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: newID(), Kind: store.WorkImport, Mode: store.GoodRowsOnly,
		Options: []byte("{}"), CreatedAt: day})
	is(t, err, store.ErrNotFound)
	_, err = s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: "?", Mode: "?", CreatedAt: day})
	is(t, err, store.ErrInvalid)
	_, err = s.LastChange(s.ctx, s.org, p.ID)
	is(t, err, store.ErrNotFound)

	w, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: store.WorkImport, Mode: store.GoodRowsOnly,
		Options: []byte(`{"o":1}`), CreatedAt: day})
	noError(t, err)
	fault := store.Fault{Row: 3, Column: "height", Value: "x", Reason: "no number", Assessment: "id", Reference: "S-3"}
	noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("one\n"), Count: 2, Faulty: 1, Faults: []store.Fault{fault,
		fault}}, day))
	noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Faulty: 1, Faults: []store.Fault{{Row: 5, Reason: "empty"}}}, day))
	noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("two\n"), Count: 1}, day))
	is(t, s.AddChunk(s.ctx, s.org, newID(), store.NewChunk{Rows: []byte("x"), Count: 1}, day), store.ErrNotFound)
	unfinished, err := s.UnfinishedWorks(s.ctx, s.org)
	if err != nil || len(unfinished) != 1 || unfinished[0].State != store.WorkReading {
		t.Fatalf("%+v, %v", unfinished, err)
	}
	w, err = s.BeginWork(s.ctx, s.org, w.ID, store.Notes{}, nil, day)
	if err != nil || w.State != store.WorkQueued || w.Chunks != 2 || w.Total != 5 || w.Failed != 2 || string(w.Options) != `{"o":1}` {
		t.Fatalf("%+v, %v", w, err)
	}
	is(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("x"), Count: 1}, day), store.ErrWorkEnded)
	_, err = s.RefuseWork(s.ctx, s.org, w.ID, store.Notes{}, nil, day)
	is(t, err, store.ErrWorkEnded)
	if got, want := s.take(t, w.ID, day, 10), []store.ClaimedChunk{{N: 0, Claims: 1}, {N: 1, Claims: 1}}; !slices.Equal(got, want) {
		t.Fatalf("claimed %+v, want %+v", got, want)
	}
	noError(t, s.StartWork(s.ctx, s.org, w.ID, day))

	// A chunk is stored in steps, each of them once.
	chunk, err := s.Chunk(s.ctx, s.org, w.ID, 0)
	if err != nil || string(chunk.Rows) != "one\n" || chunk.Step != 0 || chunk.State != store.ChunkQueued {
		t.Fatalf("%+v, %v", chunk, err)
	}
	step := store.Outcome{Work: w.ID, N: 0, Created: []store.Record{site("a", 2)}, Rest: []byte("rest\n"), At: day}
	noError(t, s.StoreChunk(s.ctx, s.org, step))
	is(t, s.StoreChunk(s.ctx, s.org, step), store.ErrChunkChanged)
	last := store.Outcome{Work: w.ID, N: 0, Step: 1, Faulty: 1, Failed: []byte("bad\n"),
		Faults: []store.Fault{{Row: 2, Reason: "no map"}}, At: day}
	noError(t, s.StoreChunk(s.ctx, s.org, last))
	is(t, s.StoreChunk(s.ctx, s.org, last), store.ErrChunkChanged)
	chunk, err = s.Chunk(s.ctx, s.org, w.ID, 0)
	if err != nil || string(chunk.Rows) != "" || string(chunk.Failed) != "bad\n" || chunk.State != store.ChunkDone {
		t.Fatalf("%+v, %v", chunk, err)
	}
	is(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: newID(), At: day}), store.ErrNotFound)
	is(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: 1, Created: []store.Record{record("no summary")}, At: day}),
		store.ErrInvalid)

	// A reference that is there: the chunk has to be looked at again, and nothing of it is stored.
	twice := store.Outcome{Work: w.ID, N: 1, Created: []store.Record{site("new", 1), site("a", 1)}, At: day}
	is(t, s.StoreChunk(s.ctx, s.org, twice), store.ErrChunkChanged)
	if got := references(s.sites(t, p.ID, store.SiteFilter{})); got != "a" {
		t.Fatal(got)
	}
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: 1, Unchanged: 1, At: day.Add(time.Minute)}))
	w, err = s.Work(s.ctx, s.org, w.ID)
	if err != nil || w.State != store.WorkDone || w.Done != 1 || w.Failed != 3 || w.Unchanged != 1 ||
		!w.FinishedAt.Equal(day.Add(time.Minute)) || !w.StartedAt.Equal(day) {
		t.Fatalf("%+v, %v", w, err)
	}
	if last, err := s.LastChange(s.ctx, s.org, p.ID); err != nil || last.ID != w.ID {
		t.Fatalf("%+v, %v", last, err)
	}

	var faults []store.Fault
	for cursor := ""; ; {
		page, err := s.WorkFaults(s.ctx, s.org, w.ID, 2, cursor)
		noError(t, err)
		faults = append(faults, page.Faults...)
		if cursor = page.Next; cursor == "" {
			break
		}
	}
	if want := []store.Fault{{Row: 2, Reason: "no map"}, fault, fault, {Row: 5, Reason: "empty"}}; !slices.Equal(faults, want) {
		t.Fatalf("%+v", faults)
	}
	_, err = s.WorkFaults(s.ctx, s.org, w.ID, 2, "?")
	is(t, err, store.ErrBadCursor)
	_, err = s.WorkFaults(s.ctx, s.org, newID(), 2, "")
	is(t, err, store.ErrNotFound)
}

func endedWorks(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	w := s.begin(t, p.ID, 1, 1)
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: 0, Created: []store.Record{site("a", 2)}, At: day}))
	w, err := s.CancelWork(s.ctx, s.org, w.ID, day)
	if err != nil || w.State != store.WorkCancelled || !w.CancelRequested || w.Done != 1 {
		t.Fatalf("%+v, %v", w, err)
	}
	is(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: 1, Created: []store.Record{site("b", 2)}, At: day}), store.ErrChunkChanged)
	if got := s.take(t, w.ID, day, 9); len(got) != 0 {
		t.Fatalf("claimed of a work that has ended: %+v", got)
	}
	if got := references(s.sites(t, p.ID, store.SiteFilter{})); got != "a" {
		t.Fatal(got)
	}
	again, err := s.CancelWork(s.ctx, s.org, w.ID, day.Add(time.Hour))
	if err != nil || !again.FinishedAt.Equal(w.FinishedAt) {
		t.Fatalf("%+v, %v", again, err)
	}
	_, err = s.CancelWork(s.ctx, s.org, newID(), day)
	is(t, err, store.ErrNotFound)

	w, err = s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: store.WorkImport, Mode: store.AllOrNothing,
		Options: []byte("{}"), CreatedAt: day})
	noError(t, err)
	noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("x\n"), Count: 1, Faulty: 1,
		Faults: []store.Fault{{Row: 2, Reason: "r"}}}, day))
	w, err = s.RefuseWork(s.ctx, s.org, w.ID, store.Notes{}, []store.Fault{{Row: 2, Reason: "the file ends here"}}, day)
	if err != nil || w.State != store.WorkRefused {
		t.Fatalf("%+v, %v", w, err)
	}
	_, err = s.Chunk(s.ctx, s.org, w.ID, 0)
	is(t, err, store.ErrNotFound)
	if page, err := s.WorkFaults(s.ctx, s.org, w.ID, 9, ""); err != nil || len(page.Faults) != 2 {
		t.Fatalf("%+v, %v", page, err)
	}
	if empty := s.begin(t, p.ID); empty.State != store.WorkDone || empty.FinishedAt.IsZero() {
		t.Fatalf("%+v", empty)
	}
}

func notedWorks(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	reading := func() store.Work {
		w, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: store.WorkImport, Mode: store.GoodRowsOnly,
			Options: []byte("{}"), CreatedAt: day})
		noError(t, err)
		return w
	}
	notes := store.Notes{Rows: 4, All: []store.Note{
		{Column: "height_m", Text: "is a formula \u00fc", Count: 3, Rows: []store.RowSpan{{First: 2, Last: 3}, {First: 1 << 40, Last: 1 << 40}}},
		{Text: "is hidden", Count: 1, Rows: []store.RowSpan{{First: 9, Last: 9}}},
	}}
	bad := store.Notes{Rows: 1, All: []store.Note{{Text: strings.Repeat("x", store.MaxText+1)}}}
	begun, refused := reading(), reading()
	_, err := s.BeginWork(s.ctx, s.org, begun.ID, bad, nil, day)
	is(t, err, store.ErrInvalid)
	_, err = s.RefuseWork(s.ctx, s.org, begun.ID, bad, nil, day)
	is(t, err, store.ErrInvalid)
	begun, err = s.BeginWork(s.ctx, s.org, begun.ID, notes, nil, day)
	noError(t, err)
	refused, err = s.RefuseWork(s.ctx, s.org, refused.ID, notes, nil, day)
	noError(t, err)
	for _, w := range []store.Work{begun, refused} {
		again, err := s.Work(s.ctx, s.org, w.ID)
		if err != nil || w.Noted != 4 || again.Noted != 4 {
			t.Fatalf("%+v, %+v, %v", w, again, err)
		}
		if all, err := s.WorkNotes(s.ctx, s.org, w.ID); err != nil || !reflect.DeepEqual(all, notes.All) {
			t.Fatalf("%+v, %v", all, err)
		}
	}
	if all, err := s.WorkNotes(s.ctx, s.org, s.begin(t, p.ID, 1).ID); err != nil || len(all) != 0 {
		t.Fatalf("%+v, %v", all, err)
	}
	_, err = s.WorkNotes(s.ctx, s.org, newID())
	is(t, err, store.ErrNotFound)
}

// A key belongs to the first work that is begun with it, and is free again when that is gone.
func keyedWorks(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	reading := func() store.Work {
		w, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: store.WorkImport, Mode: store.GoodRowsOnly,
			Options: []byte("{}"), CreatedAt: day})
		noError(t, err)
		noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("x\n"), Count: 1}, day))
		return w
	}
	idem := &store.Idempotency{Key: "Klucz \u017c-1", BodyHash: "h"}
	_, err := s.WorkUnder(s.ctx, s.org, idem.Key)
	is(t, err, store.ErrNotFound)
	_, err = s.BeginWork(s.ctx, s.org, reading().ID, store.Notes{}, &store.Idempotency{BodyHash: "h"}, day)
	is(t, err, store.ErrInvalid)

	const many = 8
	all, errs := make([]store.Work, many), make([]error, many)
	for i := range all {
		all[i] = reading()
	}
	together(many, func(i int) { _, errs[i] = s.BeginWork(s.ctx, s.org, all[i].ID, store.Notes{}, idem, day) })
	won, err := s.WorkUnder(s.ctx, s.org, idem.Key)
	if err != nil || won.State != store.WorkQueued || won.Idempotency == nil || *won.Idempotency != *idem {
		t.Fatalf("%+v, %v", won, err)
	}
	for i, w := range all {
		if w.ID == won.ID {
			noError(t, errs[i])
			continue
		}
		is(t, errs[i], store.ErrExists)
		if w, err := s.Work(s.ctx, s.org, w.ID); err != nil || w.State != store.WorkReading || w.Idempotency != nil {
			t.Fatalf("%+v, %v", w, err)
		}
		_, err := s.RefuseWork(s.ctx, s.org, w.ID, store.Notes{}, nil, day)
		noError(t, err)
	}
	if again, err := s.Work(s.ctx, s.org, won.ID); err != nil || *again.Idempotency != *idem {
		t.Fatalf("%+v, %v", again, err)
	}
	_, err = s.WorkUnder(s.ctx, store.Organisation(newID()), idem.Key)
	is(t, err, store.ErrNotFound)

	noError(t, store.DeletePortfolio(s.ctx, s.Store, s.org, p.ID))
	p = s.portfolio(t, "P")
	_, err = s.WorkUnder(s.ctx, s.org, idem.Key)
	is(t, err, store.ErrNotFound)
	_, err = s.BeginWork(s.ctx, s.org, reading().ID, store.Notes{}, idem, day)
	noError(t, err)
}

// Many complete one chunk at once, and many change one site: each is done once.
func worksRace(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	const many = 8
	w := s.begin(t, p.ID, 1)
	errs := make([]error, many)
	together(many, func(i int) {
		errs[i] = s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, Created: []store.Record{site("", 2)}, At: day})
	})
	once(t, errs)

	// Works of their own that bring the same reference.
	all := make([]store.Work, many)
	for i := range all {
		all[i] = s.begin(t, p.ID, 1)
	}
	together(many, func(i int) {
		errs[i] = s.StoreChunk(s.ctx, s.org, store.Outcome{Work: all[i].ID, Created: []store.Record{site("same", 2)}, At: day})
	})
	once(t, errs)
	found, err := s.SitesByReference(s.ctx, s.org, p.ID, []string{"same"})
	if err != nil || len(found) != 1 {
		t.Fatalf("%+v, %v", found, err)
	}

	next := site("same", 3)
	next.ID = found[0].Assessment
	for i := range all {
		all[i] = s.begin(t, p.ID, 1)
	}
	together(many, func(i int) {
		errs[i] = s.StoreChunk(s.ctx, s.org, store.Outcome{Work: all[i].ID, Revised: []store.Revised{{Record: next, Before: found[0]}}, At: day})
	})
	once(t, errs)
	if headers, err := s.Revisions(s.ctx, s.org, next.ID); err != nil || len(headers) != 2 {
		t.Fatalf("%+v, %v", headers, err)
	}
	if n := len(s.sites(t, p.ID, store.SiteFilter{})); n != 2 {
		t.Fatalf("%d sites", n)
	}

	// A portfolio that is deleted while chunks come in leaves nothing.
	w = s.begin(t, p.ID, 1, 1, 1, 1)
	together(5, func(i int) {
		if i == 4 {
			errs[i] = store.DeletePortfolio(s.ctx, s.Store, s.org, p.ID)
			return
		}
		errs[i] = s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: i, Created: []store.Record{site("", 2)}, At: day})
	})
	noError(t, errs[4])
	for _, err := range errs[:4] {
		if err != nil && !errors.Is(err, store.ErrNotFound) && !errors.Is(err, store.ErrChunkChanged) {
			t.Error(err)
		}
	}
	if l := s.list(t, store.Filter{}); len(l) != 0 {
		t.Fatalf("%d left", len(l))
	}
}

func once(t *testing.T, errs []error) {
	t.Helper()
	stored := 0
	for _, err := range errs {
		if err == nil {
			stored++
		} else if !errors.Is(err, store.ErrChunkChanged) {
			t.Error(err)
		}
	}
	if stored != 1 {
		t.Fatalf("stored %d times", stored)
	}
}

// Whatever becomes of the chunks, in whatever order, and whenever the work is
// cancelled: the counts add up, and the sites are those that were counted.
func countsAddUp(t *testing.T, s suite) {
	run := 0
	rapid.Check(t, func(t *rapid.T) {
		run++
		p := s.portfolio(t, fmt.Sprint("P", run))
		counts := rapid.SliceOfN(rapid.IntRange(1, 4), 1, 4).Draw(t, "chunks")
		w := s.begin(t, p.ID, counts...)
		left := slices.Clone(counts) // rows of each chunk still to be done
		steps := make([]int, len(counts))
		cancelled := false
		var done, failed, unchanged int64
		for range rapid.IntRange(1, 12).Draw(t, "calls") {
			if rapid.IntRange(0, 9).Draw(t, "cancel") == 0 {
				_, err := s.CancelWork(s.ctx, s.org, w.ID, day)
				noError(t, err)
				cancelled = true
			}
			n := rapid.IntRange(0, len(counts)-1).Draw(t, "chunk")
			o := store.Outcome{Work: w.ID, N: n, Step: steps[n] - rapid.IntRange(0, min(1, steps[n])).Draw(t, "late"), At: day}
			rows := rapid.IntRange(1, max(1, left[n])).Draw(t, "rows")
			var d, f, u int64
			for range rows {
				switch rapid.SampledFrom([]string{"done", "failed", "unchanged"}).Draw(t, "row") {
				case "done":
					o.Created = append(o.Created, site("", 2))
					d++
				case "failed":
					o.Faulty++
					f++
				default:
					o.Unchanged++
					u++
				}
			}
			if rows < left[n] {
				o.Rest = []byte("rest")
			}
			err := s.StoreChunk(s.ctx, s.org, o)
			if refused := cancelled || left[n] == 0 || o.Step != steps[n]; refused {
				is(t, err, store.ErrChunkChanged)
			} else {
				noError(t, err)
				left[n], steps[n] = left[n]-rows, steps[n]+1
				done, failed, unchanged = done+d, failed+f, unchanged+u
			}
			got, err := s.Work(s.ctx, s.org, w.ID)
			noError(t, err)
			if got.Done != done || got.Failed != failed || got.Unchanged != unchanged || done+failed+unchanged > got.Total {
				t.Fatalf("%+v, want done %d, failed %d, unchanged %d", got, done, failed, unchanged)
			}
			if all := done+failed+unchanged == got.Total; all != (got.State == store.WorkDone) && !cancelled {
				t.Fatalf("%+v", got)
			}
			cancelled = cancelled && got.State != store.WorkDone
		}
		if n := len(s.sites(t, p.ID, store.SiteFilter{})); int64(n) != done {
			t.Fatalf("%d sites, counted %d", n, done)
		}
	})
}
