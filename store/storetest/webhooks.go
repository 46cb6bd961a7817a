package storetest

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"levinward/store"
)

// webhook stores one that is told of some events, all where none are named.
func (s suite) webhook(t fataler, events ...string) store.Webhook {
	t.Helper()
	if len(events) == 0 {
		events = store.Events
	}
	w, err := s.CreateWebhook(s.ctx, s.org, store.Webhook{ID: newID(), CreatedAt: day, URL: "https://quotes.example/told",
		Events: events, Secret: "secret"})
	noError(t, err)
	return w
}

// deliveries follows the pages to the end, three a page.
func (s suite) deliveries(t fataler, webhook string) (all []store.Delivery) {
	t.Helper()
	for cursor := ""; ; {
		page, err := s.ListDeliveries(s.ctx, s.org, webhook, 3, cursor)
		noError(t, err)
		all = append(all, page.Deliveries...)
		if cursor = page.Next; cursor == "" {
			return all
		}
	}
}

// tells lists the deliveries of a webhook, the oldest first: "created 1 R-1".
func (s suite) tells(t fataler, webhook string) string {
	t.Helper()
	var all []string
	for _, d := range slices.Backward(s.deliveries(t, webhook)) {
		all = append(all, fmt.Sprintf("%s %d %s", strings.TrimPrefix(d.Event, "assessment."), d.Revision, d.Reference))
	}
	return strings.Join(all, ", ")
}

func webhooks(t *testing.T, s suite) {
	first, second := s.webhook(t), s.webhook(t, store.EventDeleted, store.EventCreated)
	if want := []string{store.EventCreated, store.EventDeleted}; !slices.Equal(second.Events, want) {
		t.Errorf("events %v, want %v", second.Events, want)
	}
	got, err := s.Webhook(s.ctx, s.org, strings.ToUpper(first.ID))
	noError(t, err)
	if !reflect.DeepEqual(got, first) {
		t.Errorf("got %+v, want %+v", got, first)
	}
	changed, err := s.ChangeWebhook(s.ctx, s.org, first.ID, "https://quotes.example/other", []string{store.EventRevised})
	noError(t, err)
	want := first
	want.URL, want.Events = "https://quotes.example/other", []string{store.EventRevised}
	if !reflect.DeepEqual(changed, want) {
		t.Errorf("changed to %+v, want %+v", changed, want)
	}
	all, err := s.ListWebhooks(s.ctx, s.org)
	noError(t, err)
	if !reflect.DeepEqual(all, []store.Webhook{changed, second}) {
		t.Errorf("list %+v", all)
	}

	_, err = s.CreateWebhook(s.ctx, s.org, first)
	is(t, err, store.ErrExists)
	for len(all) < store.MaxWebhooks {
		all = append(all, s.webhook(t))
	}
	_, err = s.CreateWebhook(s.ctx, s.org, store.Webhook{ID: newID(), CreatedAt: day, URL: "u", Events: store.Events, Secret: "s"})
	is(t, err, store.ErrTooManyWebhooks)

	noError(t, s.DeleteWebhook(s.ctx, s.org, first.ID))
	is(t, s.DeleteWebhook(s.ctx, s.org, first.ID), store.ErrNotFound)
	for _, id := range []string{first.ID, newID(), "no UUID"} {
		_, get := s.Webhook(s.ctx, s.org, id)
		_, change := s.ChangeWebhook(s.ctx, s.org, id, "u", store.Events)
		_, list := s.ListDeliveries(s.ctx, s.org, id, 0, "")
		_, retry := s.RetryDelivery(s.ctx, s.org, id, 1, day)
		settle := s.SettleDelivery(s.ctx, s.org, store.Attempt{Webhook: id, N: 1, Number: 1, At: day, State: store.DeliveryFailed})
		for i, err := range []error{get, change, list, retry, settle} {
			if !errors.Is(err, store.ErrNotFound) {
				t.Errorf("%s, call %d: %v", id, i, err)
			}
		}
	}
}

func faultyWebhooks(t *testing.T, s suite) {
	for name, spoil := range map[string]func(*store.Webhook){
		"id":          func(w *store.Webhook) { w.ID = "1" },
		"address":     func(w *store.Webhook) { w.URL = "" },
		"length":      func(w *store.Webhook) { w.URL = strings.Repeat("a", store.MaxAddress+1) },
		"text":        func(w *store.Webhook) { w.URL = "\x00" },
		"no events":   func(w *store.Webhook) { w.Events = nil },
		"other event": func(w *store.Webhook) { w.Events = []string{"assessment.read"} },
		"twice":       func(w *store.Webhook) { w.Events = []string{store.EventCreated, store.EventCreated} },
		"secret":      func(w *store.Webhook) { w.Secret = "" },
		"time":        func(w *store.Webhook) { w.CreatedAt = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) },
	} {
		w := store.Webhook{ID: newID(), CreatedAt: day, URL: "u", Events: store.Events, Secret: "s"}
		spoil(&w)
		if _, err := s.CreateWebhook(s.ctx, s.org, w); !errors.Is(err, store.ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
	w := s.webhook(t)
	_, err := s.ChangeWebhook(s.ctx, s.org, w.ID, "", nil)
	is(t, err, store.ErrInvalid)
	is(t, s.SettleDelivery(s.ctx, s.org, store.Attempt{Webhook: w.ID, State: "asleep"}), store.ErrInvalid)
	is(t, s.SettleDelivery(s.ctx, s.org, store.Attempt{Webhook: w.ID, State: store.DeliveryDue, Response: strings.Repeat("a",
		store.MaxExcerpt+1)}), store.ErrInvalid)
	for _, cursor := range []string{"0", "-1", "01", "x", "9223372036854775808"} {
		_, err := s.ListDeliveries(s.ctx, s.org, w.ID, 0, cursor)
		is(t, err, store.ErrBadCursor)
	}
}

// What is kept is told, and nothing else is.
func toldOfChanges(t *testing.T, s suite) {
	before := s.create(t, record("before anybody was to be told"))
	all, deaths, other := s.webhook(t), s.webhook(t, store.EventDeleted), store.Organisation(newID())
	noError(t, s.AddOrganisation(s.ctx, other, "other"))
	elsewhere := suite{s.Store, s.ctx, other}.webhook(t)

	r := record("site")
	idem := &store.Idempotency{Key: "k", BodyHash: "h"}
	for range 2 { // the second is a replay
		_, _, err := s.Create(s.ctx, s.org, r, idem)
		noError(t, err)
	}
	_, _, err := s.Create(s.ctx, s.org, record("another body"), &store.Idempotency{Key: "k", BodyHash: "other"})
	is(t, err, store.ErrKeyReused)
	_, _, err = s.Create(s.ctx, s.org, r, nil)
	is(t, err, store.ErrExists)
	next := record("site")
	next.ID, next.Reference, next.CreatedAt = r.ID, "R-2", day.Add(time.Hour)
	s.revise(t, next, 1)
	_, err = s.Revise(s.ctx, s.org, next, 1)
	is(t, err, store.ErrConflict)
	noError(t, s.Delete(s.ctx, s.org, r.ID))
	is(t, s.Delete(s.ctx, s.org, r.ID), store.ErrNotFound)
	noError(t, s.Delete(s.ctx, s.org, before.ID))

	if got, want := s.tells(t, all.ID), "created 1 R-1, revised 2 R-2, deleted 2 R-2, deleted 1 R-1"; got != want {
		t.Errorf("told %q, want %q", got, want)
	}
	if got, want := s.tells(t, deaths.ID), "deleted 2 R-2, deleted 1 R-1"; got != want {
		t.Errorf("told %q, want %q", got, want)
	}
	if got := (suite{s.Store, s.ctx, other}).tells(t, elsewhere.ID); got != "" {
		t.Errorf("another organisation was told %q", got)
	}
	d := s.deliveries(t, all.ID)[2]
	want := store.Delivery{Webhook: all.ID, N: d.N, Event: store.EventRevised, Assessment: r.ID, Revision: 2, Reference: "R-2",
		HappenedAt: next.CreatedAt, State: store.DeliveryDue, DueAt: next.CreatedAt}
	if !reflect.DeepEqual(d, want) {
		t.Errorf("delivery %+v, want %+v", d, want)
	}
}

// Sites of a portfolio are assessments like others.
func toldOfSites(t *testing.T, s suite) {
	w := s.webhook(t)
	p := s.portfolio(t, "P")
	s.fill(t, p.ID, site("A", 2), site("B", 0.5))
	if got, want := s.tells(t, w.ID), "created 1 A, created 1 B"; got != want {
		t.Errorf("told %q, want %q", got, want)
	}
	sites := s.sites(t, p.ID, store.SiteFilter{Rank: store.RankName})
	a := sites[slices.IndexFunc(sites, func(v store.Site) bool { return v.Reference == "A" })]
	next := site("A", 1.5)
	next.ID = a.Assessment
	work := s.begin(t, p.ID, 1)
	outcome := store.Outcome{Work: work.ID, Revised: []store.Revised{{Record: next, Before: a}}, At: day}
	noError(t, s.StoreChunk(s.ctx, s.org, outcome))
	is(t, s.StoreChunk(s.ctx, s.org, outcome), store.ErrChunkChanged)
	late := s.begin(t, p.ID, 1) // its site was revised meanwhile: all of it fails
	is(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: late.ID, Created: []store.Record{site("C", 1)}, Revised: outcome.Revised,
		At: day}), store.ErrChunkChanged)
	if got, want := s.tells(t, w.ID), "created 1 A, created 1 B, revised 2 A"; got != want {
		t.Errorf("told %q, want %q", got, want)
	}
	noError(t, store.DeletePortfolio(s.ctx, s.Store, s.org, p.ID))
	if got := s.tells(t, w.ID); !strings.Contains(got, "deleted 2 A") || !strings.Contains(got, "deleted 1 B") ||
		len(s.deliveries(t, w.ID)) != 5 {
		t.Errorf("told %q", got)
	}
}

// claim takes what is due at a time, for a minute: at most limit deliveries to each webhook.
func (s suite) claim(t fataler, at time.Time, limit int) (all []store.Claimed) {
	t.Helper()
	due, err := s.WebhooksToTell(s.ctx, s.org, at)
	noError(t, err)
	for _, w := range due {
		claimed, err := s.ClaimDeliveries(s.ctx, s.org, w, at, at.Add(time.Minute), limit)
		noError(t, err)
		if len(claimed) == 0 {
			t.Fatalf("webhook %s is to be told, but nothing is claimed", w)
		}
		all = append(all, claimed...)
	}
	return all
}

func claimedDeliveries(t *testing.T, s suite) {
	w := s.webhook(t)
	for i := range 3 {
		r := record(fmt.Sprint(i))
		r.CreatedAt = day.Add(time.Duration(i) * time.Second)
		s.create(t, r)
	}
	if got := s.claim(t, day.Add(-time.Second), 10); len(got) != 0 {
		t.Fatalf("%d claimed before they are due", len(got))
	}
	now := day.Add(time.Second)
	first := s.claim(t, now, 1)
	if len(first) != 1 || first[0].Attempts != 1 || first[0].URL != w.URL || first[0].Secret != w.Secret || !first[0].HappenedAt.Equal(day) {
		t.Fatalf("claimed %+v", first)
	}
	if second := s.claim(t, now, 10); len(second) != 1 || second[0].N == first[0].N {
		t.Fatalf("then claimed %+v", second)
	}

	// A settled attempt is noted; due again later, with another address.
	a := store.Attempt{Webhook: w.ID, N: first[0].N, Number: 1, At: now, Duration: 1234 * time.Millisecond, Status: 503,
		Response: "away", State: store.DeliveryDue, DueAt: now.Add(time.Hour)}
	noError(t, s.SettleDelivery(s.ctx, s.org, a))
	_, err := s.ChangeWebhook(s.ctx, s.org, w.ID, "https://quotes.example/new", store.Events)
	noError(t, err)
	for _, c := range s.claim(t, now.Add(59*time.Minute), 10) {
		if c.N == a.N {
			t.Error("claimed before its time")
		}
	}
	again := s.claim(t, now.Add(time.Hour), 1)
	if len(again) != 1 || again[0].N != a.N || again[0].Attempts != 2 || again[0].URL != "https://quotes.example/new" ||
		again[0].Status != 503 || again[0].Response != "away" || again[0].Duration != a.Duration || !again[0].AttemptedAt.Equal(now) {
		t.Fatalf("claimed again %+v", again)
	}
	// The claim of one that died lasts until its end; what the dead one says later counts no more.
	third := s.claim(t, now.Add(time.Hour+time.Minute), 10)
	if i := slices.IndexFunc(third, func(c store.Claimed) bool { return c.N == a.N }); i < 0 || third[i].Attempts != 3 {
		t.Fatalf("claimed after a crash %+v", third)
	}
	a.Number, a.State = 2, store.DeliveryDelivered
	is(t, s.SettleDelivery(s.ctx, s.org, a), store.ErrNotFound)
	a.Number, a.Status = 3, 200
	noError(t, s.SettleDelivery(s.ctx, s.org, a))
	for _, c := range s.claim(t, now.Add(100*time.Hour), 10) {
		if c.N == a.N {
			t.Error("claimed after it was delivered")
		}
	}

	d, err := s.RetryDelivery(s.ctx, s.org, w.ID, a.N, day)
	noError(t, err)
	if d.State != store.DeliveryDue || d.Attempts != 3 || d.Status != 200 {
		t.Errorf("retried %+v", d)
	}
	if once := s.claim(t, day, 10); len(once) != 1 || once[0].N != a.N {
		t.Errorf("retried: claimed %+v", once)
	}
	a.Number = 4
	noError(t, s.SettleDelivery(s.ctx, s.org, a))
	for _, c := range []struct {
		before time.Time
		want   int
	}{{now, 0}, {now.Add(time.Second), 1}, {now.Add(1000 * time.Hour), 0}} { // those that are due stay
		n, err := s.ForgetDeliveries(s.ctx, s.org, c.before, 10)
		noError(t, err)
		if n != c.want {
			t.Errorf("%d forgotten before %v, want %d", n, c.before, c.want)
		}
	}
	noError(t, s.DeleteWebhook(s.ctx, s.org, w.ID))
	if left := s.claim(t, now.Add(1000*time.Hour), 10); len(left) != 0 {
		t.Errorf("claimed of a deleted webhook: %+v", left)
	}
}

// Many that claim at once never get the same delivery.
func claimRace(t *testing.T, s suite) {
	w := s.webhook(t)
	const n = 40
	for _, r := range named("site", n) {
		s.create(t, r)
	}
	var mu sync.Mutex
	seen := map[int64]int{}
	together(4, func(int) {
		for range n {
			all, err := s.ClaimDeliveries(s.ctx, s.org, w.ID, day, day.Add(time.Minute), 3)
			if err != nil {
				t.Error(err)
			}
			mu.Lock()
			for _, c := range all {
				seen[c.N]++
			}
			mu.Unlock()
		}
	})
	if len(seen) != n {
		t.Errorf("%d of %d claimed", len(seen), n)
	}
	for d, times := range seen {
		if times != 1 {
			t.Errorf("%d claimed %d times", d, times)
		}
	}
}

// A webhook that goes while records are stored hinders none of them.
func webhookDeletedMeanwhile(t *testing.T, s suite) {
	for round := range 5 {
		w := s.webhook(t)
		records := named(fmt.Sprint("site", round), 12)
		together(len(records)+1, func(i int) {
			if i == len(records) {
				if err := s.DeleteWebhook(s.ctx, s.org, w.ID); err != nil {
					t.Error(err)
				}
				return
			}
			if _, _, err := s.Create(s.ctx, s.org, records[i], nil); err != nil {
				t.Errorf("Create: %v", err)
			}
		})
		if left := s.claim(t, day, 100); len(left) != 0 {
			t.Errorf("%d deliveries are left", len(left))
		}
	}
}
