package storetest

import (
	"errors"
	"slices"
	"testing"
	"time"

	"levinward/store"
)

// A portfolio whose removal has begun is as good as gone, its name is free, and it takes no work; its sites go in parts.
func removalBegun(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	const sites = store.SitesOfPart + 5
	w := s.begin(t, p.ID, sites, 1)
	records := make([]store.Record, sites)
	for i := range records {
		records[i] = site("", 2)
	}
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, Created: records, At: day}))
	begun := time.Now()
	noError(t, s.BeginRemoval(s.ctx, s.org, p.ID))

	_, err := s.Portfolio(s.ctx, s.org, p.ID)
	is(t, err, store.ErrNotFound)
	_, err = s.PortfolioTotals(s.ctx, s.org, p.ID, day)
	is(t, err, store.ErrNotFound)
	_, err = s.RenamePortfolio(s.ctx, s.org, p.ID, "Q", "")
	is(t, err, store.ErrNotFound)
	_, err = s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: store.WorkImport, Mode: store.GoodRowsOnly,
		Options: []byte("{}"), CreatedAt: day})
	is(t, err, store.ErrNotFound)
	late := site("", 2)
	is(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: 1, Created: []store.Record{late}, At: day}), store.ErrNotFound)
	s.gone(t, late.ID)
	if page, err := s.ListPortfolios(s.ctx, s.org, 0, ""); err != nil || len(page.Portfolios) != 0 {
		t.Errorf("listed: %+v, %v", page, err)
	}
	if w, err := s.Work(s.ctx, s.org, w.ID); err != nil || w.State != store.WorkCancelled || w.FinishedAt.IsZero() {
		t.Errorf("%+v, %v", w, err)
	}
	if got := s.take(t, w.ID, time.Now().Add(time.Hour), 9); len(got) != 0 {
		t.Errorf("claimed of a portfolio that is being removed: %+v", got)
	}
	again := s.portfolio(t, "P")
	c := site("c", 3)
	s.fill(t, again.ID, c)

	// Others write between the parts, and the lease of the removal is renewed with each of them.
	if more, err := s.RemovePart(s.ctx, s.org, p.ID); err != nil || !more {
		t.Fatalf("after the first part: %v, %v", more, err)
	}
	if left := s.left(t, records); left != sites-store.SitesOfPart {
		t.Fatalf("%d assessments are left after a part of %d of %d", left, store.SitesOfPart, sites)
	}
	between := s.create(t, record("between"))
	s.removals(t, begun.Add(store.Lease))
	s.removals(t, time.Now().Add(store.Lease), p.ID)
	noError(t, s.BeginRemoval(s.ctx, s.org, p.ID)) // once more, by another call
	noError(t, store.EndRemoval(s.ctx, s.Store, s.org, p.ID))

	is(t, s.BeginRemoval(s.ctx, s.org, p.ID), store.ErrNotFound)
	if more, err := s.RemovePart(s.ctx, s.org, p.ID); err != nil || more {
		t.Errorf("a part of nothing: %v, %v", more, err)
	}
	s.removals(t, time.Now().Add(time.Hour))
	if left := s.left(t, records); left != 0 {
		t.Errorf("%d assessments are left", left)
	}
	_, err = s.Work(s.ctx, s.org, w.ID)
	is(t, err, store.ErrNotFound)
	_, err = s.Newest(s.ctx, s.org, between.ID)
	noError(t, err)
	if got := references(s.sites(t, again.ID, store.SiteFilter{})); got != "c" {
		t.Errorf("the other portfolio of that name has %q", got)
	}
}

// A portfolio that is not being removed loses no part.
func removalNotBegun(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	a := site("a", 2)
	s.fill(t, p.ID, a)
	if more, err := s.RemovePart(s.ctx, s.org, p.ID); err != nil || more {
		t.Errorf("%v, %v", more, err)
	}
	if got := references(s.sites(t, p.ID, store.SiteFilter{})); got != "a" {
		t.Errorf("left: %q", got)
	}
	is(t, s.BeginRemoval(s.ctx, s.org, newID()), store.ErrNotFound)
	is(t, s.BeginRemoval(s.ctx, s.org, "x"), store.ErrNotFound)
}

// Several that remove one portfolio at once, while chunks of it come in, end it together and leave nothing.
func removalRace(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	w := s.begin(t, p.ID, slices.Repeat([]int{300}, 12)...)
	chunk := func(n int) (o store.Outcome) {
		o = store.Outcome{Work: w.ID, N: n, At: day}
		for range 300 {
			o.Created = append(o.Created, site("", 2))
		}
		return o
	}
	for n := range 8 {
		noError(t, s.StoreChunk(s.ctx, s.org, chunk(n)))
	}
	errs := make([]error, 7)
	together(len(errs), func(i int) {
		if i < 3 {
			errs[i] = store.DeletePortfolio(s.ctx, s.Store, s.org, p.ID)
			return
		}
		errs[i] = s.StoreChunk(s.ctx, s.org, chunk(5+i))
	})
	for i, err := range errs {
		if i >= 3 || err != nil { // a removal may find that another one has ended
			within(t, err, nil, store.ErrNotFound)
		}
	}
	if l := s.list(t, store.Filter{}); len(l) != 0 {
		t.Errorf("%d assessments are left", len(l))
	}
	s.removals(t, time.Now().Add(time.Hour))
}

// removals wants these portfolios to be named as those whose removal somebody should go on with.
func (s suite) removals(t fataler, due time.Time, want ...string) {
	t.Helper()
	got, err := s.RemovalsToDo(s.ctx, s.org, due)
	if noError(t, err); !slices.Equal(got, want) {
		t.Fatalf("removals to do: %q, want %q", got, want)
	}
}

// left counts records that are still there.
func (s suite) left(t fataler, records []store.Record) (n int) {
	t.Helper()
	there := map[string]bool{}
	for _, e := range s.list(t, store.Filter{Limit: store.MaxLimit}) {
		there[e.ID] = true
	}
	for i := range records {
		if there[records[i].ID] {
			n++
		}
	}
	return n
}

// within wants an error to be one of several.
func within(t *testing.T, err error, allowed ...error) {
	t.Helper()
	if !slices.ContainsFunc(allowed, func(a error) bool { return errors.Is(err, a) }) {
		t.Errorf("error %v, want one of %v", err, allowed)
	}
}
