package storetest

import (
	"bytes"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"levinward/store"
)

func reviewsTable(hash string) store.ReviewsTable {
	return store.ReviewsTable{Hash: hash, StoredAt: day, Document: []byte("key,agrees\r\n" + hash + ",\"\x00\xff\"\r\n")}
}

func (s suite) reviewsInUse(t fataler, want string) {
	t.Helper()
	got, err := s.ReviewsInUse(s.ctx, s.org)
	noError(t, err)
	if got != want {
		t.Fatalf("reviews %q are in use, want %q", got, want)
	}
}

func (s suite) putReviews(t fataler, hash string, expected *string) {
	t.Helper()
	_, err := s.PutReviews(s.ctx, s.org, reviewsTable(hash), expected)
	noError(t, err)
}

// keptReviews: a table is used until another follows, and stays readable whatever follows.
func keptReviews(t *testing.T, s suite) {
	s.reviewsInUse(t, "")
	_, err := s.Reviews(s.ctx, s.org, "a")
	is(t, err, store.ErrNotFound)
	is(t, s.RemoveReviews(s.ctx, s.org, nil), store.ErrNotFound)

	first := reviewsTable("a")
	first.StoredAt = time.Date(2031, 5, 17, 23, 59, 59, 999999999, time.FixedZone("", -9*3600))
	stored, err := s.PutReviews(s.ctx, s.org, first, nil)
	noError(t, err)
	first.StoredAt = time.Date(2031, 5, 18, 8, 59, 59, 999999000, time.UTC)
	sameReviews(t, stored, first)
	s.reviewsInUse(t, "a")
	s.putReviews(t, "b", nil)
	s.reviewsInUse(t, "b")
	for _, want := range []store.ReviewsTable{first, reviewsTable("b")} {
		got, err := s.Reviews(s.ctx, s.org, want.Hash)
		noError(t, err)
		sameReviews(t, got, want)
	}

	s.putReviews(t, "a", nil) // the same again: the document stays, the time is new
	s.reviewsInUse(t, "a")
	got, err := s.Reviews(s.ctx, s.org, "a")
	noError(t, err)
	sameReviews(t, got, reviewsTable("a"))

	noError(t, s.RemoveReviews(s.ctx, s.org, nil))
	s.reviewsInUse(t, "")
	is(t, s.RemoveReviews(s.ctx, s.org, nil), store.ErrNotFound)
	got, err = s.Reviews(s.ctx, s.org, "b")
	noError(t, err)
	sameReviews(t, got, reviewsTable("b"))
}

func sameReviews(t fataler, got, want store.ReviewsTable) {
	t.Helper()
	if got.Hash != want.Hash || !got.StoredAt.Equal(want.StoredAt) ||
		got.StoredAt.Location() != time.UTC || !bytes.Equal(got.Document, want.Document) {
		t.Fatalf("got\n%+v\nwant\n%+v", got, want)
	}
}

// expectedReviews: who expects other reviews than those in use changes nothing.
func expectedReviews(t *testing.T, s suite) {
	none, a, b := "", "a", "b"
	_, err := s.PutReviews(s.ctx, s.org, reviewsTable("x"), &a)
	is(t, err, store.ErrReviewsChanged)
	s.reviewsInUse(t, "")
	_, err = s.Reviews(s.ctx, s.org, "x")
	is(t, err, store.ErrNotFound)
	s.putReviews(t, "a", &none)
	_, err = s.PutReviews(s.ctx, s.org, reviewsTable("b"), &none)
	is(t, err, store.ErrReviewsChanged)
	s.putReviews(t, "b", &a)
	is(t, s.RemoveReviews(s.ctx, s.org, &a), store.ErrReviewsChanged)
	s.reviewsInUse(t, "b")
	noError(t, s.RemoveReviews(s.ctx, s.org, &b))
	s.reviewsInUse(t, "")
}

func faultyReviews(t *testing.T, s suite) {
	for name, change := range map[string]func(*store.ReviewsTable){
		"no hash":        func(r *store.ReviewsTable) { r.Hash = "" },
		"a long hash":    func(r *store.ReviewsTable) { r.Hash = strings.Repeat("a", store.MaxKey+1) },
		"a zero in it":   func(r *store.ReviewsTable) { r.Hash = "a\x00" },
		"no document":    func(r *store.ReviewsTable) { r.Document = nil },
		"a large one":    func(r *store.ReviewsTable) { r.Document = make([]byte, store.MaxReviews+1) },
		"a distant time": func(r *store.ReviewsTable) { r.StoredAt = time.Date(10001, 1, 1, 0, 0, 0, 0, time.UTC) },
	} {
		r := reviewsTable("a")
		change(&r)
		if _, err := s.PutReviews(s.ctx, s.org, r, nil); !errors.Is(err, store.ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
		s.reviewsInUse(t, "")
	}
	_, err := s.Reviews(s.ctx, s.org, "\x00")
	is(t, err, store.ErrNotFound)
}

// reviewsOfOrganisations: every organisation has its own.
func reviewsOfOrganisations(t *testing.T, s suite) {
	other := s
	other.org = store.Organisation(newID())
	_, err := s.PutReviews(s.ctx, other.org, reviewsTable("a"), nil)
	is(t, err, store.ErrNotFound)
	_, err = s.PutReviews(s.ctx, "nobody", reviewsTable("a"), nil)
	is(t, err, store.ErrNotFound)
	noError(t, s.AddOrganisation(s.ctx, other.org, "Other"))
	s.putReviews(t, "a", nil)
	other.reviewsInUse(t, "")
	_, err = s.Reviews(s.ctx, other.org, "a")
	is(t, err, store.ErrNotFound)
	other.putReviews(t, "a", nil)
	noError(t, other.RemoveReviews(s.ctx, other.org, nil))
	s.reviewsInUse(t, "a")
}

// reviewsRace: of many who expect the same, one succeeds.
func reviewsRace(t *testing.T, s suite) {
	none := ""
	var put atomic.Int32
	together(8, func(i int) {
		_, err := s.PutReviews(s.ctx, s.org, reviewsTable(string(rune('a'+i))), &none)
		switch {
		case err == nil:
			put.Add(1)
		case !errors.Is(err, store.ErrReviewsChanged):
			t.Errorf("%v", err)
		}
	})
	if put.Load() != 1 {
		t.Errorf("%d tables were put into use", put.Load())
	}
}
