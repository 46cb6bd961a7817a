package storetest

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"levinward/store"
)

// foundSites asks for random conditions, with and without sorting, and holds the answer against the conditions as Go reads them.
func foundSites(t *testing.T, s suite) {
	p, other := s.portfolio(t, "P"), s.portfolio(t, "other")
	at := func(i int) time.Time { return day.Add(time.Duration(i) * time.Microsecond) }
	names := []string{"Ost", "OST", "west", "süd"}
	for _, portfolio := range []string{p.ID, other.ID} {
		var records []store.Record
		for i := range 40 {
			r := site(fmt.Sprint("r", i), float64(i%7)/3)
			if i%5 == 0 {
				r.Reference = ""
			}
			r.Name, r.CreatedAt = names[i%len(names)], at(i%9)
			r.Latitude, r.Longitude = float64(i%4), float64(170+i%21)
			if r.Longitude > 180 {
				r.Longitude -= 360
			}
			r.ReviewDue = time.Date(2030+i%3, 1, 1, 0, 0, 0, 0, time.UTC)
			records = append(records, r)
		}
		s.fill(t, portfolio, records...)
	}
	every := s.sites(t, p.ID, store.SiteFilter{Rank: store.RankName})
	rapid.Check(t, func(t *rapid.T) {
		f := store.SiteFilter{Rank: rapid.SampledFrom([]store.Rank{store.RankName, store.RankWorstRatio, store.RankExcess,
			store.RankPersonsAtRisk}).Draw(t, "rank"),
			Limit: rapid.IntRange(1, 41).Draw(t, "limit"), Few: rapid.SampledFrom([]int{-1, 1, 8, 0}).Draw(t, "few")}
		wanted := func(name string) bool { return rapid.IntRange(0, 3).Draw(t, name) == 0 }
		if wanted("by name") {
			name := rapid.SampledFrom(append(names, "nord")).Draw(t, "name")
			f.Name = &name
		}
		if wanted("by reference") {
			reference := rapid.SampledFrom([]string{"", "r1", "r13", "R13", "r5"}).Draw(t, "reference")
			f.Reference = &reference
		}
		if wanted("from") {
			from := at(rapid.IntRange(-1, 10).Draw(t, "from µs"))
			f.UpdatedFrom = &from
		}
		if wanted("to") {
			to := at(rapid.IntRange(-1, 10).Draw(t, "to µs"))
			f.UpdatedTo = &to
		}
		if wanted("in a box") {
			f.BBox = &store.BBox{South: 1, North: float64(rapid.IntRange(1, 3).Draw(t, "north")),
				West: float64(rapid.IntRange(170, 180).Draw(t, "west")), East: float64(rapid.IntRange(-180, -170).Draw(t, "east"))}
		}
		if wanted("acceptable") {
			acceptable := rapid.Bool().Draw(t, "is acceptable")
			f.Acceptable = &acceptable
		}
		if wanted("review") {
			on := time.Date(rapid.IntRange(2029, 2032).Draw(t, "year"), 1, 1, 0, 0, 0, 0, time.UTC)
			f.DueOn, f.Due = &on, rapid.Bool().Draw(t, "due")
		}
		if wanted("text") {
			f.Query = rapid.SampledFrom([]string{"ost", "1", "nobody"}).Draw(t, "query")
		}
		var want []store.Site
		for _, site := range every {
			if meets(&site, &f) {
				want = append(want, site)
			}
		}
		slices.SortFunc(want, func(a, b store.Site) int { return ranked(f.Rank, &a, &b) })
		if got := s.sites(t, p.ID, f); !slices.Equal(got, want) {
			t.Fatalf("%s, want %s", references(got), references(want))
		}
		if n, err := s.CountSites(s.ctx, s.org, p.ID, f); err != nil || n != int64(len(want)) {
			t.Fatalf("counted %d, %v, want %d", n, err, len(want))
		}
	})
	for _, portfolio := range []string{newID(), "x"} {
		if n, err := s.CountSites(s.ctx, s.org, portfolio, store.SiteFilter{}); err != nil || n != 0 {
			t.Errorf("%d sites in no portfolio, %v", n, err)
		}
	}
	// Times between two microseconds: sites 3, 12, 21, 30 and 39 are of the third one.
	before, behind := at(3).Add(-1), at(3).Add(1)
	for _, test := range []struct {
		from, to *time.Time
		want     int
	}{{&before, &behind, 5}, {&behind, nil, 20}, {&before, &before, 0}, {nil, &before, 15}} {
		if got := s.sites(t, p.ID, store.SiteFilter{UpdatedFrom: test.from, UpdatedTo: test.to}); len(got) != test.want {
			t.Errorf("%v to %v: %d sites, want %d", test.from, test.to, len(got), test.want)
		}
	}
}

// meets tells whether a site meets a filter.
func meets(s *store.Site, f *store.SiteFilter) bool {
	text := func(part string) bool {
		return strings.Contains(store.Fold(s.Name), part) || strings.Contains(store.Fold(s.Reference), part)
	}
	return (f.Name == nil || s.Name == *f.Name) && (f.Reference == nil || s.Reference == *f.Reference) &&
		(f.UpdatedFrom == nil || !s.UpdatedAt.Before(*f.UpdatedFrom)) && (f.UpdatedTo == nil || !s.UpdatedAt.After(*f.UpdatedTo)) &&
		(f.BBox == nil || f.BBox.Contains(s.Latitude, s.Longitude)) && (f.Acceptable == nil || s.Acceptable == *f.Acceptable) &&
		(f.DueOn == nil || f.Due == !s.ReviewDue.After(*f.DueOn)) && text(f.Query)
}

// ranked compares two sites as a rank does.
func ranked(r store.Rank, a, b *store.Site) int {
	if r == store.RankName {
		return cmp.Or(strings.Compare(store.Fold(a.Name), store.Fold(b.Name)), strings.Compare(a.Assessment, b.Assessment))
	}
	value := func(s *store.Site) float64 {
		switch r {
		case store.RankExcess:
			return s.Excess
		case store.RankPersonsAtRisk:
			return s.PersonsAtRisk
		}
		return s.WorstRatio
	}
	return cmp.Or(cmp.Compare(value(b), value(a)), strings.Compare(b.Assessment, a.Assessment))
}

func faultySiteFilters(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	s.fill(t, p.ID, site("a", 2))
	nul, broken, long := "a\x00", "\xff", strings.Repeat("n", store.MaxText+1)
	early, late := time.Date(-2, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(300_000, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, f := range []store.SiteFilter{{Name: &nul}, {Reference: &broken}, {Name: &long}, {UpdatedFrom: &early}, {UpdatedTo: &late},
		{BBox: &store.BBox{West: math.NaN()}}, {Rank: "height"}} {
		_, err := s.ListSites(s.ctx, s.org, p.ID, f)
		is(t, err, store.ErrInvalid)
		_, err = s.CountSites(s.ctx, s.org, p.ID, f)
		is(t, err, store.ErrInvalid)
	}
	// Every time of RFC 3339 can be asked for.
	first, last := time.Date(0, 1, 1, 0, 0, 0, 0, time.FixedZone("", 23*3600)), time.Date(9999, 12, 31, 23, 59, 59, 999999999,
		time.FixedZone("", -23*3600))
	for _, f := range []store.SiteFilter{{UpdatedFrom: &first, UpdatedTo: &last}, {UpdatedFrom: &first, UpdatedTo: &last, Few: -1}} {
		if got := references(s.sites(t, p.ID, f)); got != "a" {
			t.Errorf("at any time: %q", got)
		}
	}
	if got := s.sites(t, p.ID, store.SiteFilter{UpdatedFrom: &last}); len(got) != 0 {
		t.Errorf("behind all times: %v", got)
	}
}

func extents(t *testing.T, s suite) {
	p, empty, alone := s.portfolio(t, "P"), s.portfolio(t, "empty"), s.portfolio(t, "alone")
	foreign := store.Organisation(newID())
	noError(t, s.AddOrganisation(s.ctx, foreign, "foreign"))
	extents := func(org store.Organisation) map[string]store.Extent {
		t.Helper()
		got, err := s.Extents(s.ctx, org, []string{p.ID, strings.ToUpper(alone.ID), empty.ID, newID(), "x"})
		noError(t, err)
		return got
	}
	if got := extents(s.org); len(got) != 0 {
		t.Fatalf("without sites: %+v", got)
	}
	var records []store.Record
	for i, place := range [][2]float64{{-17, 179.5}, {-18, -179.25}, {12.5, 3}, {-17, 40}} {
		r := site(fmt.Sprint(i), 2)
		r.Latitude, r.Longitude, r.CreatedAt = place[0], place[1], day.Add(time.Duration(i)*time.Hour)
		records = append(records, r)
	}
	s.fill(t, p.ID, records...)
	lonely := site("alone", 1)
	lonely.Latitude, lonely.Longitude = 90, -180
	s.fill(t, alone.ID, lonely)
	want := map[string]store.Extent{
		p.ID:     {BBox: store.BBox{West: -179.25, South: -18, East: 179.5, North: 12.5}, UpdatedFrom: day, UpdatedTo: day.Add(3 * time.Hour)},
		alone.ID: {BBox: store.BBox{West: -180, South: 90, East: -180, North: 90}, UpdatedFrom: day, UpdatedTo: day},
	}
	if got := extents(s.org); fmt.Sprint(got) != fmt.Sprint(want) {
		t.Fatalf("%+v, want %+v", got, want)
	}
	if got := extents(foreign); len(got) != 0 {
		t.Fatalf("of nobody: %+v", got)
	}
	// It follows the sites, when they move and when they go.
	moved := records[0]
	moved.Latitude, moved.Longitude, moved.CreatedAt = 0, 0, day.Add(9*time.Hour)
	s.revise(t, moved, 1)
	noError(t, s.Delete(s.ctx, s.org, records[2].ID))
	noError(t, s.Delete(s.ctx, s.org, lonely.ID))
	want = map[string]store.Extent{p.ID: {BBox: store.BBox{West: -179.25, South: -18, East: 40, North: 0},
		UpdatedFrom: day.Add(time.Hour), UpdatedTo: day.Add(9 * time.Hour)}}
	if got := extents(s.org); fmt.Sprint(got) != fmt.Sprint(want) {
		t.Fatalf("%+v, want %+v", got, want)
	}
}
