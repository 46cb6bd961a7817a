package storetest

import (
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"levinward/store"
)

// newestFirst orders records as lists do.
func newestFirst(a, b store.Record) int {
	if c := b.CreatedAt.Compare(a.CreatedAt); c != 0 {
		return c
	}
	return strings.Compare(b.ID, a.ID)
}

func pages(t *testing.T, s suite) {
	page, err := s.List(s.ctx, s.org, store.Filter{})
	if err != nil || len(page.Entries) != 0 || page.Next != "" {
		t.Fatalf("empty list: %+v, %v", page, err)
	}
	all := named("site", 60)
	for i := range all {
		all[i].CreatedAt = day.Add(time.Duration(i/7) * time.Microsecond) // with equal times
		s.create(t, all[i])
	}
	slices.SortFunc(all, newestFirst)
	for _, limit := range []int{1, 7, 20, 59, 60, 61, store.MaxLimit, math.MaxInt} {
		list := s.list(t, store.Filter{Limit: limit, WithResult: true})
		if len(list) != len(all) {
			t.Fatalf("limit %d: %d entries", limit, len(list))
		}
		for i, e := range list {
			want := withRevision(all[i], 1)
			if e.Header != want.Header || !e.FirstCreatedAt.Equal(want.CreatedAt) || string(e.Result) != string(want.Result) {
				t.Fatalf("limit %d, entry %d: %+v, want %+v", limit, i, e, want)
			}
		}
	}
	for limit, want := range map[int]int{0: store.DefaultLimit, -3: store.DefaultLimit, 59: 59, 60: 60, 1000: 60} {
		page, err := s.List(s.ctx, s.org, store.Filter{Limit: limit})
		noError(t, err)
		if len(page.Entries) != want || (page.Next == "") != (want == 60) {
			t.Fatalf("limit %d: %d entries, next %q", limit, len(page.Entries), page.Next)
		}
		if page.Entries[0].Result != nil {
			t.Fatal("a result that was not asked for")
		}
	}

	// A cursor stays good when its entry goes and when another is revised.
	page, err = s.List(s.ctx, s.org, store.Filter{Limit: 10})
	noError(t, err)
	noError(t, s.Delete(s.ctx, s.org, all[9].ID))
	later := all[20]
	later.CreatedAt = day.Add(time.Hour)
	s.revise(t, later, 1)
	rest := s.list(t, store.Filter{Limit: 10, Cursor: page.Next})
	if len(rest) != 50 || rest[0].ID != all[10].ID || rest[10].ID != later.ID || rest[10].Revision != 2 {
		t.Fatalf("after the cursor: %d entries, %+v", len(rest), rest)
	}
}

// pagesWhileWriting reads the list again and again while others store, revise
// and delete above, below and between, at equal times too.
func pagesWhileWriting(t *testing.T, s suite) {
	stay := named("stay", 80)
	for i := range stay {
		stay[i].CreatedAt = day.Add(time.Duration(i%8) * time.Microsecond)
		s.create(t, stay[i])
	}
	slices.SortFunc(stay, newestFirst)

	const writers = 4
	var done atomic.Bool
	var written atomic.Int64
	failure := make([]error, writers+1)
	together(writers+1, func(w int) {
		if w == writers {
			defer done.Store(true)
			for walks := 0; walks < 15 || written.Load() < 300; walks++ {
				if failure[w] = s.walk(stay); failure[w] != nil || done.Load() {
					return
				}
			}
			return
		}
		for i := 0; !done.Load(); i++ {
			if err := s.comeAndGo(w, i, stay); err != nil {
				failure[w] = fmt.Errorf("writer: %w", err)
				done.Store(true)
				return
			}
			written.Add(1)
		}
	})
	noError(t, errors.Join(failure...))
	t.Logf("%d rounds of writing meanwhile", written.Load())
}

// comeAndGo stores a record, revises it and one that stays, and deletes it.
func (s suite) comeAndGo(writer, i int, stay []store.Record) error {
	r := record(fmt.Sprintf("passing %d %d", writer, i))
	r.CreatedAt = day.Add(time.Duration(i%10-1) * time.Microsecond)
	if _, _, err := s.Create(s.ctx, s.org, r, nil); err != nil {
		return err
	}
	if _, err := s.Revise(s.ctx, s.org, r, 1); err != nil {
		return err
	}
	other := stay[(writer*31+i)%len(stay)]
	newest, err := s.Newest(s.ctx, s.org, other.ID)
	if err != nil {
		return err
	}
	other.CreatedAt = day.Add(time.Hour)
	if _, err := s.Revise(s.ctx, s.org, other, newest.Revision); err != nil && !errors.Is(err, store.ErrConflict) {
		return err
	}
	if i%2 == 0 { // the others stay, so that the list grows
		return s.Delete(s.ctx, s.org, r.ID)
	}
	return nil
}

// walk demands every record that stays exactly once and in order.
func (s suite) walk(stay []store.Record) error {
	seen := map[string]bool{}
	next := 0
	for f := (store.Filter{Limit: 9}); ; {
		page, err := s.List(s.ctx, s.org, f)
		if err != nil {
			return err
		}
		for _, e := range page.Entries {
			if seen[e.ID] {
				return fmt.Errorf("%s came twice", e.Name)
			}
			seen[e.ID] = true
			if !strings.HasPrefix(e.Name, "stay") {
				continue
			}
			if next == len(stay) || e.ID != stay[next].ID {
				return fmt.Errorf("%s came out of order", e.Name)
			}
			next++
		}
		if page.Next == "" {
			break
		}
		f.Cursor = page.Next
	}
	if next != len(stay) {
		return fmt.Errorf("%d of %d came", next, len(stay))
	}
	return nil
}

func badCursors(t *testing.T, s suite) {
	for _, r := range named("site", 3) {
		s.create(t, r)
	}
	page, err := s.List(s.ctx, s.org, store.Filter{Limit: 1})
	noError(t, err)
	good := page.Next
	for _, cursor := range []string{
		"x", " ", "!", "\x00", good + "A", good[1:], good[:len(good)-1], good + "=", good + "\n", " " + good,
		good[:5] + "\n" + good[5:], "AA", strings.Repeat("A", 1<<20), "'; DROP TABLE assessment; --",
		base64.RawURLEncoding.EncodeToString(append([]byte{0x80}, make([]byte, 23)...)),
		base64.RawURLEncoding.EncodeToString(append([]byte{0x7f}, make([]byte, 23)...)), // years out of range
	} {
		_, err := s.List(s.ctx, s.org, store.Filter{Cursor: cursor})
		is(t, err, store.ErrBadCursor)
	}
}

func byPlace(t *testing.T, s suite) {
	for _, site := range []struct {
		name     string
		lat, lon float64
	}{
		{"a", -18, 179.5}, {"b", -18, -179.5}, {"c", -18, 180}, {"d", -18, -180}, {"e", 0, 0},
		{"f", 90, 10}, {"g", -90, -10}, {"h", -16, 177}, {"i", -20, -178}, {"j", -18, -177.999},
	} {
		r := record(site.name)
		r.CreatedAt = day.Add(-time.Duration(site.name[0]) * time.Second) // listed in alphabetical order
		r.Latitude, r.Longitude = site.lat, site.lon
		s.create(t, r)
	}
	for _, test := range []struct {
		west, south, east, north float64
		want                     string
	}{
		// The box across the 180th meridian of RFC 7946 section 5.2 (its values from memory).
		{177, -20, -178, -16, "a,b,c,d,h,i"},
		{-178, -20, 177, -16, "h,i,j"}, // the other way round the world, edges included
		{170, -90, 180, 90, "a,c,d,h"}, // 180 and -180 are one meridian
		{-180, -90, -170, 90, "b,c,d,i,j"},
		{180, -90, 180, 90, "c,d"},
		{-180, -90, -180, 90, "c,d"},
		{180, -90, -180, 90, "c,d"},
		{179, -90, -180, 90, "a,c,d"},
		{180, -90, -179, 90, "b,c,d"},
		{-180, -90, 180, 90, "a,b,c,d,e,f,g,h,i,j"},
		{-180, 90, 180, 90, "f"},
		{-180, -90, 180, -90, "g"},
		{0, 0, 0, 0, "e"},
		{1, 1, 2, 2, ""},
		{10, -90, -10, 90, "a,b,c,d,f,g,h,i,j"},
	} {
		box := &store.BBox{West: test.west, South: test.south, East: test.east, North: test.north}
		if got := s.names(t, store.Filter{BBox: box, Limit: 2}); got != test.want {
			t.Errorf("%+v: %q, want %q", *box, got, test.want)
		}
	}
}

func byText(t *testing.T, s suite) {
	for i, site := range []struct{ name, reference string }{
		{"100% Post", "K_017"}, {"Posten", "K-017"}, {"École du Nord", "a\\b"}, {"ΟΔΟΣ οδος", "it's"}, {"naïve", ""}, {"k", "x\n"},
	} {
		r := record(site.name)
		r.CreatedAt = day.Add(-time.Duration(i) * time.Second)
		r.Reference = site.reference
		s.create(t, r)
	}
	for query, want := range map[string]string{
		"post": "100% Post,Posten", "POST": "100% Post,Posten", "%": "100% Post", "0% p": "100% Post",
		"_": "100% Post", "k_0": "100% Post", "k-0": "Posten", "éCOLE": "École du Nord", "ecole": "",
		"\\": "École du Nord", "A\\B": "École du Nord", "οδοσ": "ΟΔΟΣ οδος", "ΟΔΟΣ": "ΟΔΟΣ οδος", "οδος": "ΟΔΟΣ οδος",
		"'": "ΟΔΟΣ οδος", "NAÏVE": "naïve", "k": "100% Post,Posten,k", "\n": "k", "kx": "", "k\nx": "", "nobody": "",
		"": "100% Post,Posten,École du Nord,ΟΔΟΣ οδος,naïve,k",
	} {
		if got := s.names(t, store.Filter{Query: query, Limit: 1}); got != want {
			t.Errorf("%q: %q, want %q", query, got, want)
		}
	}
	// The newest revision counts.
	list := s.list(t, store.Filter{Query: "naïve"})
	r := record("renamed")
	r.ID = list[0].ID
	s.revise(t, r, 1)
	if got := s.names(t, store.Filter{Query: "naïve"}) + s.names(t, store.Filter{Query: "renamed"}); got != "renamed" {
		t.Errorf("after renaming: %q", got)
	}
}

func byReviewDate(t *testing.T, s suite) {
	date := func(text string) time.Time {
		d, err := time.Parse(time.RFC3339, text)
		noError(t, err)
		return d
	}
	for i, site := range []struct{ name, due string }{
		{"a", "2030-02-28T00:00:00Z"}, {"b", "2030-03-01T00:00:00Z"}, {"c", "2030-03-02T00:00:00Z"}, {"d", ""},
	} {
		r := record(site.name)
		r.CreatedAt = day.Add(-time.Duration(i) * time.Second)
		r.ReviewDue = time.Time{}
		if site.due != "" {
			r.ReviewDue = date(site.due)
		}
		s.create(t, r)
	}
	for _, test := range []struct{ on, due, notDue string }{
		{"2030-03-01T00:00:00Z", "a,b,d", "c"},
		{"2030-03-01T23:59:59Z", "a,b,d", "c"},
		{"2030-03-02T00:30:00+01:00", "a,b,d", "c"}, // still the first in UTC
		{"2030-02-27T12:00:00Z", "d", "a,b,c"},
		{"2030-03-02T00:00:00Z", "a,b,c,d", ""},
	} {
		on := date(test.on)
		due, notDue := s.names(t, store.Filter{DueOn: &on, Due: true}), s.names(t, store.Filter{DueOn: &on})
		if due != test.due || notDue != test.notDue {
			t.Errorf("on %s: due %q, want %q; not due %q, want %q", test.on, due, test.due, notDue, test.notDue)
		}
	}
	on := date("2030-03-01T00:00:00Z")
	both := store.Filter{DueOn: &on, Due: true, Query: "B", BBox: &store.BBox{West: 80, South: -5, East: 90, North: 0}}
	if got := s.names(t, both); got != "b" {
		t.Errorf("all conditions at once: %q", got)
	}
}

func invalidFilters(t *testing.T, s suite) {
	s.create(t, record("site"))
	farDay := time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, f := range []store.Filter{
		{BBox: &store.BBox{West: math.NaN(), South: -1, East: 1, North: 1}},
		{BBox: &store.BBox{West: -1, South: -1, East: math.Inf(1), North: 1}},
		{BBox: &store.BBox{West: -180.5, South: -1, East: 1, North: 1}},
		{BBox: &store.BBox{West: -1, South: 1, East: 1, North: -1}},
		{BBox: &store.BBox{West: -1, South: -91, East: 1, North: 1}},
		{BBox: &store.BBox{West: -1, South: -1, East: 1, North: math.NaN()}},
		{Query: "a\x00"}, {Query: "\xff"}, {Query: strings.Repeat("q", store.MaxText+1)},
		{DueOn: &farDay},
	} {
		_, err := s.List(s.ctx, s.org, f)
		is(t, err, store.ErrInvalid)
	}
}
