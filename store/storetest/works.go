package storetest

import (
	"slices"
	"strings"
	"testing"
	"time"

	"levinward/store"
)

// ids are those of all works of a portfolio, page by page.
func (s suite) ids(t *testing.T, portfolio string, limit int) (all []string) {
	t.Helper()
	for cursor := ""; ; {
		page, err := s.ListWorks(s.ctx, s.org, portfolio, limit, cursor)
		noError(t, err)
		for _, w := range page.Works {
			all = append(all, w.ID)
			if one, err := s.Work(s.ctx, s.org, w.ID); err != nil || one.State != w.State || one.Total != w.Total ||
				!one.CreatedAt.Equal(w.CreatedAt) {
				t.Errorf("listed %+v, read %+v, %v", w, one, err)
			}
		}
		if cursor = page.Next; cursor == "" {
			return all
		}
		if len(page.Works) != limit {
			t.Errorf("%d works on a page of %d that is not the last", len(page.Works), limit)
		}
	}
}

// All works are listed, the newest first, in whatever state and of whatever kind they are.
func listedWorks(t *testing.T, s suite) {
	p, other := s.portfolio(t, "P"), s.portfolio(t, "other")
	if all := s.ids(t, p.ID, 2); len(all) != 0 {
		t.Fatal(all)
	}
	create := func(portfolio, kind string, at time.Time) store.Work {
		t.Helper()
		w, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: portfolio, Kind: kind, Mode: store.GoodRowsOnly,
			Options: []byte("{}"), CreatedAt: at})
		noError(t, err)
		return w
	}
	reading := create(p.ID, store.WorkImport, day.Add(3*time.Hour))
	refused := create(p.ID, store.WorkImport, day.Add(2*time.Hour))
	_, err := s.RefuseWork(s.ctx, s.org, refused.ID, store.Notes{}, nil, day)
	noError(t, err)
	cancelled := create(p.ID, store.WorkAssess, day.Add(time.Hour))
	_, err = s.CancelWork(s.ctx, s.org, cancelled.ID, day)
	noError(t, err)
	older, newer := s.fill(t, p.ID, site("a", 2)), s.begin(t, p.ID, 1) // of one moment: the later id first
	create(other.ID, store.WorkAssess, day)
	want := []string{reading.ID, refused.ID, cancelled.ID, newer.ID, older.ID}
	for _, limit := range []int{1, 2, 5, 0} {
		if got := s.ids(t, strings.ToUpper(p.ID), limit); !slices.Equal(got, want) {
			t.Errorf("pages of %d: %q, want %q", limit, got, want)
		}
	}
	for _, none := range []string{newID(), "x"} {
		if got := s.ids(t, none, 2); len(got) != 0 {
			t.Error(got)
		}
	}
	if page, err := s.ListWorks(s.ctx, store.Organisation(newID()), p.ID, 2, ""); err != nil || len(page.Works) != 0 {
		t.Errorf("%+v, %v", page, err)
	}
	for _, bad := range []string{"?", "AAAA"} {
		_, err = s.ListWorks(s.ctx, s.org, p.ID, 2, bad)
		is(t, err, store.ErrBadCursor)
	}
}

// What changed a portfolio last is a work of either kind that ended and whose sites still stand as it left them.
func lastChange(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	last := func(want store.Work) {
		t.Helper()
		if got, err := s.LastChange(s.ctx, s.org, p.ID); err != nil || got.ID != want.ID {
			t.Fatalf("%+v, %v, want %+v", got, err, want)
		}
	}
	next := func(r store.Record, ratio float64, kind string, rows int) store.Work {
		t.Helper()
		before, err := s.Site(s.ctx, s.org, p.ID, r.ID)
		noError(t, err)
		w, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: kind, Mode: store.GoodRowsOnly,
			Options: []byte("{}"), CreatedAt: day})
		noError(t, err)
		noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("x\n"), Count: rows}, day))
		_, err = s.BeginWork(s.ctx, s.org, w.ID, store.Notes{}, nil, day)
		noError(t, err)
		r.Summary = summary(ratio)
		noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, Revised: []store.Revised{{Record: r, Before: before}}, At: day}))
		return w
	}
	a, b := site("a", 2), site("b", 3)
	first := s.fill(t, p.ID, a, b)
	last(first) // it changed no site, but there is no other
	imported := next(a, 4, store.WorkImport, 1)
	last(imported)
	assessed := next(b, 5, store.WorkAssess, 1)
	last(assessed)
	s.begin(t, p.ID) // newer, done, and changed nothing
	last(assessed)
	running := next(b, 6, store.WorkAssess, 2) // the site is no more as the one before left it
	last(imported)
	_, err := s.CancelWork(s.ctx, s.org, running.ID, day)
	noError(t, err)
	last(running)
	_, err = s.LastChange(s.ctx, s.org, newID())
	is(t, err, store.ErrNotFound)
}

// A portfolio that is deleted in several steps is gone as a whole, and so is all work on it.
func manyDeleted(t *testing.T, s suite) {
	const sites, together = 2500, 500
	p, kept := s.portfolio(t, "P"), s.portfolio(t, "kept")
	counts := make([]int, sites/together+1)
	for i := range counts {
		counts[i] = together
	}
	counts[len(counts)-1] = 1
	w := s.begin(t, p.ID, counts...) // the last chunk is never done
	for n := range sites / together {
		records := make([]store.Record, together)
		for i := range records {
			records[i] = site("", 2)
		}
		noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: n, Created: records, At: day}))
	}
	reading, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: store.WorkImport,
		Mode: store.GoodRowsOnly, Options: []byte("{}"), CreatedAt: day})
	noError(t, err)
	noError(t, s.AddChunk(s.ctx, s.org, reading.ID, store.NewChunk{Faulty: 1, Faults: []store.Fault{{Row: 2, Reason: "r"}}}, day))
	c := site("c", 3)
	s.fill(t, kept.ID, c)

	noError(t, store.DeletePortfolio(s.ctx, s.Store, s.org, p.ID))
	is(t, store.DeletePortfolio(s.ctx, s.Store, s.org, p.ID), store.ErrNotFound)
	if l := s.list(t, store.Filter{}); len(l) != 1 || l[0].ID != c.ID {
		t.Fatalf("%d assessments are left", len(l))
	}
	for _, id := range []string{w.ID, reading.ID} {
		_, err = s.Work(s.ctx, s.org, id)
		is(t, err, store.ErrNotFound)
		_, err = s.WorkFaults(s.ctx, s.org, id, 1, "")
		is(t, err, store.ErrNotFound)
	}
	is(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: len(counts) - 1, Created: []store.Record{site("", 2)}, At: day}),
		store.ErrNotFound)
	s.portfolio(t, "P")
}
