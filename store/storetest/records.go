package storetest

import (
	"bytes"
	"context"
	"errors"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"levinward/store"
)

func roundTrip(t *testing.T, s suite) {
	r := record("Östra kullen 丘")
	// Neither order nor space, digits nor escapes of a document may change.
	r.Input = []byte("{ \"b\":1.10, \"a\" : 1e-05,\n\"a\":\"\\u00e9\\u0000\" }\r\n")
	r.CreatedAt = time.Date(2031, 5, 17, 23, 59, 59, 999999999, time.FixedZone("", -9*3600))
	r.ReviewDue = time.Date(2034, 1, 1, 23, 0, 0, 0, time.FixedZone("", -9*3600))
	stored := s.create(t, r)

	r.Revision = 1
	r.CreatedAt = time.Date(2031, 5, 18, 8, 59, 59, 999999000, time.UTC) // to the microsecond, UTC
	r.ReviewDue = time.Date(2034, 1, 2, 0, 0, 0, 0, time.UTC)            // the day, UTC
	sameRecord(t, stored, r)
	s.holds(t, r)
	newest, err := s.Newest(s.ctx, s.org, r.ID)
	noError(t, err)
	sameRecord(t, newest, r)
	headers, err := s.Revisions(s.ctx, s.org, r.ID)
	noError(t, err)
	if len(headers) != 1 || headers[0] != r.Header {
		t.Fatalf("Revisions: %+v", headers)
	}

	upper, err := s.Newest(s.ctx, s.org, strings.ToUpper(r.ID)) // UUIDs are read in either case
	noError(t, err)
	sameRecord(t, upper, r)
}

func anyRecord(t *testing.T, s suite) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawRecord(t)
		s.create(t, r)
		noError(t, r.Normalise())
		r.Revision = 1
		s.holds(t, r)
		noError(t, s.Delete(s.ctx, s.org, r.ID))
	})
}

func drawRecord(t *rapid.T) store.Record {
	text := rapid.StringOfN(rapid.Rune().Filter(func(r rune) bool { return r != 0 && r != '\uFFFD' }), 0, 40, -1)
	document := rapid.SliceOfN(rapid.Byte(), 1, 5000)
	instant := rapid.Custom(func(t *rapid.T) time.Time {
		return time.Unix(rapid.Int64Range(-62135596800, 253402300799).Draw(t, "seconds"),
			rapid.Int64Range(0, 999_999_999).Draw(t, "nanoseconds")).UTC() // years 1 to 9999
	})
	return store.Record{
		Header: store.Header{
			ID: newID(), CreatedAt: instant.Draw(t, "created"), ReviewDue: instant.Draw(t, "due"),
			Name: text.Draw(t, "name"), Reference: text.Draw(t, "reference"),
			Latitude:  rapid.Float64Range(-90, 90).Draw(t, "latitude"),
			Longitude: rapid.Float64Range(-180, 180).Draw(t, "longitude"),
			Edition:   text.Draw(t, "edition"), Engine: text.Draw(t, "engine"),
			InputHash: text.Draw(t, "hash"), DefinitionsHash: text.Draw(t, "definitions"),
		},
		Input: document.Draw(t, "input"), Result: document.Draw(t, "result"), Worksheet: document.Draw(t, "worksheet"),
	}
}

func notFound(t *testing.T, s suite) {
	r := s.create(t, record("alone"))
	r.Worksheet = []byte("{}")
	unhyphenated := strings.ReplaceAll(r.ID, "-", "")
	for _, id := range []string{
		newID(), "", "1", "nobody", r.ID + "0", r.ID[1:], unhyphenated, "{" + r.ID + "}", "urn:uuid:" + r.ID,
		" " + r.ID[1:], "'; DROP TABLE revision; --", strings.Repeat("g", 36), "\x00", strings.Repeat("é", 18), "%",
	} {
		_, err := s.Newest(s.ctx, s.org, id)
		is(t, err, store.ErrNotFound)
		_, err = s.Revision(s.ctx, s.org, id, 1)
		is(t, err, store.ErrNotFound)
		_, err = s.Worksheet(s.ctx, s.org, id, 1)
		is(t, err, store.ErrNotFound)
		_, err = s.Revisions(s.ctx, s.org, id)
		is(t, err, store.ErrNotFound)
		is(t, s.Delete(s.ctx, s.org, id), store.ErrNotFound)
		other := r
		other.ID = id
		_, err = s.Revise(s.ctx, s.org, other, 1)
		is(t, err, store.ErrNotFound)
	}
	for _, n := range []int{0, -1, 2, math.MaxInt32 + 1, math.MaxInt64, math.MinInt64} {
		_, err := s.Revision(s.ctx, s.org, r.ID, n)
		is(t, err, store.ErrNotFound)
		_, err = s.Worksheet(s.ctx, s.org, r.ID, n)
		is(t, err, store.ErrNotFound)
	}
	for _, org := range []store.Organisation{"", "nobody", store.Organisation(newID())} {
		_, err := s.Newest(s.ctx, org, r.ID)
		is(t, err, store.ErrNotFound)
		_, _, err = s.Create(s.ctx, org, record("homeless"), nil)
		is(t, err, store.ErrNotFound)
		is(t, s.PutDefinitions(s.ctx, org, "h", []byte("{}")), store.ErrNotFound)
		page, err := s.List(s.ctx, org, store.Filter{})
		if err != nil || len(page.Entries) != 0 {
			t.Fatalf("List of organisation %q: %v, %v", org, page, err)
		}
	}
	if got := s.names(t, store.Filter{}); got != "alone" {
		t.Fatalf("list is %q", got)
	}
}

func invalidRecords(t *testing.T, s suite) {
	kept := s.create(t, record("kept"))
	oversize := make([]byte, store.MaxDocument+1)
	long := strings.Repeat("x", store.MaxText+1)
	for _, test := range []struct {
		fault string // what the error must name
		spoil func(*store.Record)
	}{
		{"latitude", func(r *store.Record) { r.Latitude = 90.000001 }},
		{"latitude", func(r *store.Record) { r.Latitude = math.NaN() }},
		{"latitude", func(r *store.Record) { r.Latitude = math.Inf(-1) }},
		{"longitude", func(r *store.Record) { r.Longitude = -180.000001 }},
		{"longitude", func(r *store.Record) { r.Longitude = math.NaN() }},
		{"longitude", func(r *store.Record) { r.Longitude = 1e308 }},
		{"name", func(r *store.Record) { r.Name = "a\x00b" }},
		{"name", func(r *store.Record) { r.Name = "a\xffb" }},
		{"name", func(r *store.Record) { r.Name = long }},
		{"reference", func(r *store.Record) { r.Reference = "\xc3" }},
		{"edition", func(r *store.Record) { r.Edition = long }},
		{"engine", func(r *store.Record) { r.Engine = "\x00" }},
		{"input hash", func(r *store.Record) { r.InputHash = long }},
		{"definitions hash", func(r *store.Record) { r.DefinitionsHash = long }},
		{"creation time", func(r *store.Record) { r.CreatedAt = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) }},
		{"review date", func(r *store.Record) { r.ReviewDue = time.Date(0, 12, 31, 0, 0, 0, 0, time.UTC) }},
		{"input", func(r *store.Record) { r.Input = nil }},
		{"result", func(r *store.Record) { r.Result = []byte{} }},
		{"worksheet", func(r *store.Record) { r.Worksheet = nil }},
		{"input", func(r *store.Record) { r.Input = oversize }},
		{"worksheet", func(r *store.Record) { r.Worksheet = oversize }},
	} {
		r := record("refused")
		test.spoil(&r)
		_, _, err := s.Create(s.ctx, s.org, r, &store.Idempotency{Key: "k", BodyHash: "h"})
		is(t, err, store.ErrInvalid)
		if !strings.Contains(err.Error(), test.fault+":") && !strings.Contains(err.Error(), test.fault+" ") {
			t.Errorf("error does not name %s: %.300v", test.fault, err)
		}
		s.gone(t, r.ID)

		r.ID = kept.ID
		_, err = s.Revise(s.ctx, s.org, r, 1)
		is(t, err, store.ErrInvalid)
		newest, err := s.Newest(s.ctx, s.org, kept.ID)
		noError(t, err)
		sameRecord(t, newest, kept)
	}

	r := record("refused")
	r.ID, r.Latitude, r.Worksheet = "17", 91, nil
	_, _, err := s.Create(s.ctx, s.org, r, &store.Idempotency{Key: strings.Repeat("k", store.MaxKey+1)})
	is(t, err, store.ErrInvalid)
	for _, fault := range []string{"id", "latitude", "worksheet", "idempotency key"} {
		if !strings.Contains(err.Error(), fault) {
			t.Errorf("error does not name %s: %v", fault, err)
		}
	}
	for _, key := range []string{"", "a\x00", "\xff"} {
		_, _, err := s.Create(s.ctx, s.org, record("refused"), &store.Idempotency{Key: key, BodyHash: "h"})
		is(t, err, store.ErrInvalid)
	}
	if got := s.names(t, store.Filter{}); got != "kept" {
		t.Fatalf("list is %q", got)
	}
	_, replayed, err := s.Create(s.ctx, s.org, record("next"), &store.Idempotency{Key: "k", BodyHash: "h"})
	if err != nil || replayed {
		t.Fatalf("a refused record used up its key: %v, %v", replayed, err)
	}
}

func idTaken(t *testing.T, s suite) {
	first := record("first")
	s.create(t, first)
	second := record("second")
	second.ID = first.ID
	idem := &store.Idempotency{Key: "k", BodyHash: "h"}
	_, _, err := s.Create(s.ctx, s.org, second, idem)
	is(t, err, store.ErrExists)
	first.Revision = 1
	s.holds(t, first)

	second.ID = newID()
	if _, replayed, err := s.Create(s.ctx, s.org, second, idem); err != nil || replayed {
		t.Fatalf("a refused record used up its key: %v, %v", replayed, err)
	}
}

func manyCreate(t *testing.T, s suite) {
	all := named("site", 200)
	errs := make([]error, len(all))
	together(len(all), func(i int) { _, _, errs[i] = s.Create(s.ctx, s.org, all[i], nil) })
	noError(t, errors.Join(errs...))
	for _, r := range all {
		r.Revision = 1
		s.holds(t, r)
	}
}

func endedContext(t *testing.T, s suite) {
	kept := record("kept")
	s.create(t, kept)
	kept.Revision = 1
	ctx, cancel := context.WithCancel(s.ctx)
	cancel()
	r := record("cancelled")
	idem := &store.Idempotency{Key: "k", BodyHash: "h"}
	_, _, err := s.Create(ctx, s.org, r, idem)
	is(t, err, context.Canceled)
	s.gone(t, r.ID)
	_, replayed, err := s.Create(s.ctx, s.org, r, idem)
	if err != nil || replayed {
		t.Fatalf("Create after a cancelled one: %v, %v", replayed, err)
	}
	next := record("next")
	next.ID = kept.ID
	_, err = s.Revise(ctx, s.org, next, 1)
	is(t, err, context.Canceled)
	is(t, s.Delete(ctx, s.org, kept.ID), context.Canceled)
	_, err = s.Newest(ctx, s.org, kept.ID)
	is(t, err, context.Canceled)
	_, err = s.List(ctx, s.org, store.Filter{})
	is(t, err, context.Canceled)
	is(t, s.Ping(ctx), context.Canceled)
	s.holds(t, kept)
}

// contextEndsMidway cancels writes at moments spread over their duration.
func contextEndsMidway(t *testing.T, s suite) {
	const n, workers = 320, 64 // more than a store has connections
	all := named("site", n)
	big := bytes.Repeat([]byte("0123456789abcdef"), 4<<10) // long enough to be caught in the act
	for i := range all {
		all[i].Worksheet = big
	}
	var mu sync.Mutex
	failed := 0
	together(workers, func(worker int) {
		for i := worker; i < n; i += workers {
			ctx, cancel := context.WithTimeout(s.ctx, time.Duration(i)*100*time.Microsecond)
			_, _, err := s.Create(ctx, s.org, all[i], &store.Idempotency{Key: all[i].Name, BodyHash: "h"})
			cancel()
			if err != nil {
				mu.Lock()
				failed++
				mu.Unlock()
			}
		}
	})
	t.Logf("%d of %d writes were broken off", failed, n)
	if failed == 0 || failed == n {
		t.Fatal("all or none were broken off, the test proves nothing")
	}
	for _, r := range all {
		if _, err := s.Newest(s.ctx, s.org, r.ID); err == nil {
			r.Revision = 1
			s.holds(t, r)
		}
		// Repeated, each is there exactly once.
		stored, _, err := s.Create(s.ctx, s.org, r, &store.Idempotency{Key: r.Name, BodyHash: "h"})
		noError(t, err)
		r.Revision = 1
		sameRecord(t, stored, r)
		s.holds(t, r)
	}
	if got := len(s.list(t, store.Filter{})); got != n {
		t.Fatalf("%d assessments, want %d", got, n)
	}
}

func idempotency(t *testing.T, s suite) {
	idem := &store.Idempotency{Key: "Klucz ż-1", BodyHash: "body-1"}
	first := record("first")
	stored, replayed, err := s.Create(s.ctx, s.org, first, idem)
	if err != nil || replayed {
		t.Fatalf("first: %v, %v", replayed, err)
	}
	again := record("again")
	got, replayed, err := s.Create(s.ctx, s.org, again, idem)
	if err != nil || !replayed {
		t.Fatalf("again: %v, %v", replayed, err)
	}
	sameRecord(t, got, stored)
	s.gone(t, again.ID)

	_, _, err = s.Create(s.ctx, s.org, record("other body"), &store.Idempotency{Key: idem.Key, BodyHash: "body-2"})
	is(t, err, store.ErrKeyReused)
	if got := s.names(t, store.Filter{}); got != "first" {
		t.Fatalf("list is %q", got)
	}

	revision := record("revised")
	revision.ID = first.ID
	s.revise(t, revision, 1)
	got, replayed, err = s.Create(s.ctx, s.org, again, idem)
	if err != nil || !replayed {
		t.Fatalf("after a revision: %v, %v", replayed, err)
	}
	sameRecord(t, got, stored) // the first answer, although there is a newer revision

	noError(t, s.Delete(s.ctx, s.org, first.ID))
	if _, replayed, err = s.Create(s.ctx, s.org, again, idem); err != nil || replayed {
		t.Fatalf("after delete: %v, %v", replayed, err)
	}
	// Without a key, equal records are stored each time.
	s.create(t, record("twin"))
	s.create(t, record("twin"))
}

func idempotencyRace(t *testing.T, s suite) {
	for range 10 {
		const n = 16
		idem := &store.Idempotency{Key: newID(), BodyHash: "h"}
		all := named("attempt", n)
		stored := make([]store.Record, n)
		replayed := make([]bool, n)
		errs := make([]error, n)
		together(n, func(i int) { stored[i], replayed[i], errs[i] = s.Create(s.ctx, s.org, all[i], idem) })
		noError(t, errors.Join(errs...))
		originals := 0
		for i := range n {
			if !replayed[i] {
				originals++
				sameRecord(t, stored[i], withRevision(all[i], 1))
			}
			sameRecord(t, stored[i], stored[0])
		}
		if originals != 1 {
			t.Fatalf("%d of %d were stored", originals, n)
		}
		if got := len(s.list(t, store.Filter{})); got != 1 {
			t.Fatalf("%d assessments in the list", got)
		}
		noError(t, s.Delete(s.ctx, s.org, stored[0].ID))
	}
}

func idempotencyBodiesRace(t *testing.T, s suite) {
	const n = 16
	all := named("body", n)
	errs := make([]error, n)
	together(n, func(i int) {
		_, _, errs[i] = s.Create(s.ctx, s.org, all[i], &store.Idempotency{Key: "k", BodyHash: all[i].Name})
	})
	succeeded := 0
	for i, err := range errs {
		if err == nil {
			succeeded++
			s.holds(t, withRevision(all[i], 1))
			continue
		}
		is(t, err, store.ErrKeyReused)
		s.gone(t, all[i].ID)
	}
	if succeeded != 1 {
		t.Fatalf("%d of %d were stored", succeeded, n)
	}
}

func withRevision(r store.Record, n int) store.Record {
	r.Revision = n
	return r
}
