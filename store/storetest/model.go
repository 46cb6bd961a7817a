package storetest

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"levinward/store"
)

func organisations(t *testing.T, s suite) {
	other := store.Organisation(newID())
	is(t, s.AddOrganisation(s.ctx, "nobody", "x"), store.ErrInvalid)
	noError(t, s.AddOrganisation(s.ctx, other, "Other"))
	noError(t, s.AddOrganisation(s.ctx, other, "Other again"))
	noError(t, s.AddOrganisation(s.ctx, store.Local, "local"))

	idem := &store.Idempotency{Key: "k", BodyHash: "h"}
	mine := record("mine")
	theirs := record("theirs")
	theirs.ID = mine.ID // the same id, key and time on both sides
	for org, r := range map[store.Organisation]store.Record{store.Local: mine, other: theirs} {
		stored, replayed, err := s.Create(s.ctx, org, r, idem)
		if err != nil || replayed {
			t.Fatalf("Create: %v, %v", replayed, err)
		}
		sameRecord(t, stored, withRevision(r, 1))
	}
	them := suite{s.Store, s.ctx, other}
	s.holds(t, withRevision(mine, 1))
	them.holds(t, withRevision(theirs, 1))
	if got := s.names(t, store.Filter{}) + them.names(t, store.Filter{}); got != "minetheirs" {
		t.Fatalf("lists: %q", got)
	}
	r := record("revised")
	r.ID = mine.ID
	them.revise(t, r, 1)
	s.holds(t, withRevision(mine, 1))
	headers, err := s.Revisions(s.ctx, s.org, mine.ID)
	if err != nil || len(headers) != 1 {
		t.Fatalf("their revision is among ours: %+v, %v", headers, err)
	}
	noError(t, them.Delete(s.ctx, other, mine.ID))
	them.gone(t, mine.ID)
	s.holds(t, withRevision(mine, 1))

	only := s.create(t, record("only mine"))
	them.gone(t, only.ID)
	is(t, them.Delete(s.ctx, other, only.ID), store.ErrNotFound)
	r.ID = only.ID
	_, err = them.Revise(s.ctx, other, r, 1)
	is(t, err, store.ErrNotFound)

	noError(t, s.PutDefinitions(s.ctx, s.org, "h", []byte("mine")))
	_, err = them.Definitions(s.ctx, other, "h")
	is(t, err, store.ErrNotFound)
}

func definitions(t *testing.T, s suite) {
	_, err := s.Definitions(s.ctx, s.org, "h1")
	is(t, err, store.ErrNotFound)
	doc := []byte("{ \"quantities\": [1.10]}\n")
	errs := make([]error, 8)
	together(len(errs), func(i int) { errs[i] = s.PutDefinitions(s.ctx, s.org, "h1", doc) })
	noError(t, errors.Join(errs...))
	noError(t, s.PutDefinitions(s.ctx, s.org, "h1", []byte("the first stays")))
	noError(t, s.PutDefinitions(s.ctx, s.org, "h2", []byte("two")))
	for hash, want := range map[string]string{"h1": string(doc), "h2": "two"} {
		got, err := s.Definitions(s.ctx, s.org, hash)
		if err != nil || string(got) != want {
			t.Fatalf("%s: %q, %v", hash, got, err)
		}
	}
	is(t, s.PutDefinitions(s.ctx, s.org, "h3", nil), store.ErrInvalid)
	is(t, s.PutDefinitions(s.ctx, s.org, "\x00", doc), store.ErrInvalid)
	for _, hash := range []string{"h3", "", "\x00", "\xff", strings.Repeat("h", 5000)} {
		_, err := s.Definitions(s.ctx, s.org, hash)
		is(t, err, store.ErrNotFound)
	}
}

func closed(t *testing.T, s suite) {
	noError(t, s.Ping(s.ctx))
	r := s.create(t, record("site"))
	noError(t, s.Close())
	is(t, s.Ping(s.ctx), store.ErrUnavailable)
	_, err := s.Newest(s.ctx, s.org, r.ID)
	is(t, err, store.ErrUnavailable)
	_, _, err = s.Create(s.ctx, s.org, record("late"), nil)
	is(t, err, store.ErrUnavailable)
}

// model is what a store should hold: chains of revisions by id.
type model struct {
	chains map[string][]store.Record
	keys   map[string]store.Idempotency // by id
}

func (m *model) byKey(key string) (id string, found bool) {
	for id, idem := range m.keys {
		if idem.Key == key {
			return id, true
		}
	}
	return "", false
}

// behavesLikeMap runs random sequences of calls, each in an organisation of
// its own, and compares every answer with that of the model.
func behavesLikeMap(t *testing.T, all suite) {
	rapid.Check(t, func(t *rapid.T) {
		s := suite{all.Store, all.ctx, store.Organisation(newID())}
		noError(t, s.AddOrganisation(s.ctx, s.org, "rapid"))
		m := &model{map[string][]store.Record{}, map[string]store.Idempotency{}}
		pool := []string{newID(), newID(), newID()}
		anID := rapid.SampledFrom(pool)
		t.Repeat(map[string]func(*rapid.T){
			"create": func(t *rapid.T) { s.modelCreate(t, m, anID.Draw(t, "id")) },
			"revise": func(t *rapid.T) { s.modelRevise(t, m, anID.Draw(t, "id")) },
			"delete": func(t *rapid.T) {
				id := anID.Draw(t, "id")
				err := s.Delete(s.ctx, s.org, id)
				if m.chains[id] == nil {
					is(t, err, store.ErrNotFound)
					return
				}
				noError(t, err)
				delete(m.chains, id)
				delete(m.keys, id)
			},
			"list": func(t *rapid.T) { s.modelList(t, m) },
			"read": func(t *rapid.T) { s.modelCompare(t, m, anID.Draw(t, "id")) },
		})
		for _, id := range pool {
			s.modelCompare(t, m, id)
		}
	})
}

// drawSmall draws a record with few different values, so that filters hit.
func drawSmall(t *rapid.T, id string) store.Record {
	r := record(rapid.SampledFrom([]string{"Alpha", "alphabet", "Beta_%", "ÄLPHA"}).Draw(t, "name"))
	r.ID = id
	r.Reference = rapid.SampledFrom([]string{"", "beta", "%"}).Draw(t, "reference")
	r.CreatedAt = day.Add(time.Duration(rapid.IntRange(0, 2).Draw(t, "time")) * time.Microsecond)
	r.ReviewDue = store.Date(day).AddDate(0, 0, rapid.IntRange(0, 3).Draw(t, "due"))
	r.Latitude = rapid.SampledFrom([]float64{-90, -10, 0, 10, 90}).Draw(t, "latitude")
	r.Longitude = rapid.SampledFrom([]float64{-180, -179, 0, 179, 180}).Draw(t, "longitude")
	r.Worksheet = fmt.Appendf(nil, `{"sheet": %d}`, rapid.Int().Draw(t, "sheet"))
	return r
}

func (s suite) modelCreate(t *rapid.T, m *model, id string) {
	r := drawSmall(t, id)
	var idem *store.Idempotency
	if rapid.Bool().Draw(t, "with key") {
		idem = &store.Idempotency{
			Key:      rapid.SampledFrom([]string{"k1", "k2"}).Draw(t, "key"),
			BodyHash: rapid.SampledFrom([]string{"h1", "h2"}).Draw(t, "body"),
		}
	}
	got, replayed, err := s.Create(s.ctx, s.org, r, idem)
	if idem != nil {
		if holder, found := m.byKey(idem.Key); found {
			if m.keys[holder].BodyHash != idem.BodyHash {
				is(t, err, store.ErrKeyReused)
				return
			}
			noError(t, err)
			if !replayed {
				t.Fatalf("stored again under key %s", idem.Key)
			}
			sameRecord(t, got, m.chains[holder][0])
			return
		}
	}
	if m.chains[id] != nil {
		is(t, err, store.ErrExists)
		return
	}
	noError(t, err)
	r.Revision = 1
	sameRecord(t, got, r)
	m.chains[id] = []store.Record{r}
	if idem != nil {
		m.keys[id] = *idem
	}
}

func (s suite) modelRevise(t *rapid.T, m *model, id string) {
	r := drawSmall(t, id)
	expected := rapid.IntRange(0, 3).Draw(t, "expected")
	got, err := s.Revise(s.ctx, s.org, r, expected)
	chain := m.chains[id]
	switch {
	case chain == nil:
		is(t, err, store.ErrNotFound)
	case len(chain) != expected:
		var conflict *store.ConflictError
		if !errors.As(err, &conflict) || conflict.Current != len(chain) {
			t.Fatalf("error is %v, want a conflict with revision %d", err, len(chain))
		}
	default:
		noError(t, err)
		r.Revision = expected + 1
		sameRecord(t, got, r)
		m.chains[id] = append(chain, r)
	}
}

func (s suite) modelCompare(t *rapid.T, m *model, id string) {
	chain := m.chains[id]
	if chain == nil {
		s.gone(t, id)
		return
	}
	headers, err := s.Revisions(s.ctx, s.org, id)
	noError(t, err)
	if len(headers) != len(chain) {
		t.Fatalf("%d revisions, want %d", len(headers), len(chain))
	}
	for i, r := range chain {
		s.holds(t, r)
		if headers[i] != r.Header {
			t.Fatalf("header %+v, want %+v", headers[i], r.Header)
		}
	}
	newest, err := s.Newest(s.ctx, s.org, id)
	noError(t, err)
	sameRecord(t, newest, chain[len(chain)-1])
}

func (s suite) modelList(t *rapid.T, m *model) {
	f := store.Filter{Limit: rapid.IntRange(1, 3).Draw(t, "limit"), WithResult: rapid.Bool().Draw(t, "with result")}
	f.Query = rapid.SampledFrom([]string{"", "alpha", "%", "_", "BET", "äl"}).Draw(t, "query")
	if rapid.Bool().Draw(t, "by place") {
		longitude := rapid.SampledFrom([]float64{-180, -179, -1, 1, 179, 180})
		f.BBox = &store.BBox{
			West: longitude.Draw(t, "west"), East: longitude.Draw(t, "east"),
			South: rapid.SampledFrom([]float64{-90, -10, 0}).Draw(t, "south"),
			North: rapid.SampledFrom([]float64{0, 10, 90}).Draw(t, "north"),
		}
	}
	if rapid.Bool().Draw(t, "by date") {
		on := day.AddDate(0, 0, rapid.IntRange(-1, 3).Draw(t, "on"))
		f.DueOn, f.Due = &on, rapid.Bool().Draw(t, "due")
	}
	want := m.list(f)
	got := s.list(t, f)
	if len(got) != len(want) {
		t.Fatalf("%d entries, want %d", len(got), len(want))
	}
	for i, e := range got {
		chain := want[i]
		newest := chain[len(chain)-1]
		if e.Header != newest.Header || !e.FirstCreatedAt.Equal(chain[0].CreatedAt) {
			t.Fatalf("entry %d is %+v, want %+v", i, e, newest.Header)
		}
		if f.WithResult != bytes.Equal(e.Result, newest.Result) {
			t.Fatalf("result is %q", e.Result)
		}
	}
}

// list is the filter in words of its own.
func (m *model) list(f store.Filter) (found [][]store.Record) {
	for _, chain := range m.chains {
		r := chain[len(chain)-1]
		q := strings.ToLower(f.Query)
		matches := strings.Contains(strings.ToLower(r.Name), q) || strings.Contains(strings.ToLower(r.Reference), q)
		due := f.DueOn == nil || f.Due != r.ReviewDue.After(*f.DueOn)
		if matches && due && (f.BBox == nil || inside(*f.BBox, r)) {
			found = append(found, chain)
		}
	}
	slices.SortFunc(found, func(a, b []store.Record) int { return newestFirst(a[0], b[0]) })
	return found
}

// inside turns the box so that it starts at longitude 0.
func inside(b store.BBox, r store.Record) bool {
	turn := func(longitude float64) float64 {
		for longitude < b.West {
			longitude += 360
		}
		return longitude - b.West
	}
	width := b.East - b.West
	if width < 0 {
		width += 360
	}
	lon := turn(r.Longitude)
	return r.Latitude >= b.South && r.Latitude <= b.North && (lon <= width || lon-360 >= 0 && lon-360 <= width)
}
