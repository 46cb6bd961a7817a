package storetest

import (
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"levinward/store"
)

func revisions(t *testing.T, s suite) {
	first := record("first")
	s.create(t, first)
	chain := []store.Record{withRevision(first, 1)}
	for n := 2; n <= 5; n++ {
		r := record(fmt.Sprintf("revision %d", n))
		r.ID, r.Reference, r.Latitude, r.Longitude = first.ID, fmt.Sprint("R-", n), float64(n), float64(-n)
		r.CreatedAt = day.Add(time.Duration(n) * time.Hour)
		r.ReviewDue = first.ReviewDue.AddDate(n, 0, 0)
		r.Edition, r.Engine = fmt.Sprint("edition-", n), fmt.Sprint("engine-", n)
		r.InputHash, r.DefinitionsHash = fmt.Sprint("input-", n), fmt.Sprint("definitions-", n)
		stored := s.revise(t, r, n-1)
		r.Revision = n
		sameRecord(t, stored, r)
		chain = append(chain, r)

		for _, earlier := range chain {
			s.holds(t, earlier)
		}
		newest, err := s.Newest(s.ctx, s.org, first.ID)
		noError(t, err)
		sameRecord(t, newest, r)
		headers, err := s.Revisions(s.ctx, s.org, first.ID)
		noError(t, err)
		for i, h := range headers {
			if len(headers) != n || h != chain[i].Header {
				t.Fatalf("Revisions: %+v", headers)
			}
		}
		list := s.list(t, store.Filter{})
		if len(list) != 1 || list[0].Header != r.Header || !list[0].FirstCreatedAt.Equal(day) {
			t.Fatalf("list: %+v", list)
		}
	}

	late := record("late")
	late.ID = first.ID
	for _, expected := range []int{1, 4, 6, 0, -1, math.MaxInt32, math.MaxInt64, math.MinInt64} {
		_, err := s.Revise(s.ctx, s.org, late, expected)
		is(t, err, store.ErrConflict)
		var conflict *store.ConflictError
		if !errors.As(err, &conflict) || conflict.Current != 5 {
			t.Fatalf("conflict: %v", err)
		}
	}
	for _, earlier := range chain {
		s.holds(t, earlier)
	}
}

func revisionRace(t *testing.T, s suite) {
	const writers, rounds = 8, 5
	first := record("first")
	s.create(t, first)
	stored := make([][]store.Record, writers)
	failure := make([]error, writers)
	together(writers, func(w int) {
		expected := 1
		for i := 0; i < rounds; {
			r := record(fmt.Sprintf("writer %d round %d", w, i))
			r.ID = first.ID
			got, err := s.Revise(s.ctx, s.org, r, expected)
			var conflict *store.ConflictError
			switch {
			case errors.As(err, &conflict) && conflict.Current > expected:
				expected = conflict.Current
			case err != nil:
				failure[w] = fmt.Errorf("expected %d: %w", expected, err)
				return
			default:
				expected++
				if got.Revision != expected {
					failure[w] = fmt.Errorf("revision %d, want %d", got.Revision, expected)
				}
				r.Revision = expected
				stored[w] = append(stored[w], r)
				i++
			}
		}
	})
	noError(t, errors.Join(failure...))
	headers, err := s.Revisions(s.ctx, s.org, first.ID)
	noError(t, err)
	if len(headers) != 1+writers*rounds {
		t.Fatalf("%d revisions", len(headers))
	}
	for i, h := range headers {
		if h.Revision != i+1 {
			t.Fatalf("revision %d stands at %d", h.Revision, i+1)
		}
	}
	for _, own := range stored {
		for _, r := range own {
			s.holds(t, r)
		}
	}
}

func deletion(t *testing.T, s suite) {
	kept := record("kept")
	s.create(t, kept)
	r := record("first")
	s.create(t, r)
	r.Name = "second"
	s.revise(t, r, 1)
	noError(t, s.Delete(s.ctx, s.org, r.ID))
	s.gone(t, r.ID)
	is(t, s.Delete(s.ctx, s.org, r.ID), store.ErrNotFound)
	_, err := s.Revise(s.ctx, s.org, r, 2)
	is(t, err, store.ErrNotFound)
	s.holds(t, withRevision(kept, 1))

	// The id is free and starts anew: no revision had survived.
	s.create(t, r)
	headers, err := s.Revisions(s.ctx, s.org, r.ID)
	if err != nil || len(headers) != 1 {
		t.Fatalf("Revisions: %v, %v", headers, err)
	}
}

func deleteReviseRace(t *testing.T, s suite) {
	for range 40 {
		r := record("contested")
		s.create(t, r)
		var reviseErr, deleteErr error
		together(2, func(i int) {
			if i == 0 {
				_, reviseErr = s.Revise(s.ctx, s.org, r, 1)
			} else {
				deleteErr = s.Delete(s.ctx, s.org, r.ID)
			}
		})
		noError(t, deleteErr)
		if reviseErr != nil {
			is(t, reviseErr, store.ErrNotFound)
		}
		s.gone(t, r.ID)
		_, err := s.Revision(s.ctx, s.org, r.ID, 2)
		is(t, err, store.ErrNotFound)
	}
}
