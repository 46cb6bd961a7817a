// Package storetest holds every store to one behaviour, and provides the
// PostgreSQL databases that tests need.
package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"levinward/store"
)

// Run tests a store. open returns a new, empty store and closes it after t.
func Run(t *testing.T, open func(t *testing.T) store.Store) {
	for _, test := range []struct {
		name string
		run  func(*testing.T, suite)
	}{
		{"what was stored comes back", roundTrip},
		{"any record comes back", anyRecord},
		{"what is not there is not found", notFound},
		{"faulty records are refused", invalidRecords},
		{"an id is given once", idTaken},
		{"many create at once", manyCreate},
		{"ended contexts leave nothing", endedContext},
		{"contexts that end at any moment leave all or nothing", contextEndsMidway},

		{"an idempotency key repeats the first answer", idempotency},
		{"one key stores once, however many try", idempotencyRace},
		{"one key and several bodies store once", idempotencyBodiesRace},

		{"revisions are appended and never change", revisions},
		{"only one revision follows another", revisionRace},
		{"delete takes everything", deletion},
		{"delete and revise exclude each other", deleteReviseRace},

		{"lists are ordered and cut into pages", pages},
		{"pages stay whole while others write", pagesWhileWriting},
		{"malformed cursors are refused", badCursors},
		{"lists by place", byPlace},
		{"lists by name or reference", byText},
		{"lists by review date", byReviewDate},
		{"faulty filters are refused", invalidFilters},

		{"maps come back", mapsRoundTrip},
		{"maps that are not there are not found", mapsNotFound},
		{"faulty maps are refused", invalidMaps},
		{"the id of a map is given once", mapIDTaken},
		{"a deleted map leaves nothing", mapsDeleted},
		{"maps are listed in pages", mapPages},
		{"maps belong to organisations", mapsOfOrganisations},
		{"contexts that end leave no map", mapContextEnds},
		{"many store and delete maps at once", manyMaps},

		{"reviews are kept", keptReviews},
		{"reviews are replaced when they are those expected", expectedReviews},
		{"faulty reviews are refused", faultyReviews},
		{"reviews belong to organisations", reviewsOfOrganisations},
		{"many put reviews at once", reviewsRace},

		{"portfolios have names of their own", portfolios},
		{"a deleted portfolio leaves nothing", deletedPortfolios},
		{"a portfolio of many sites is deleted with all work", manyDeleted},
		{"a portfolio whose removal has begun is gone", removalBegun},
		{"only a removal that has begun takes parts away", removalNotBegun},
		{"many remove a portfolio at once", removalRace},
		{"presets have versions", presets},
		{"sites are ranked, filtered and cut into pages", rankedSites},
		{"sites are found by any conditions", foundSites},
		{"faulty conditions on sites are refused", faultySiteFilters},
		{"portfolios have extents", extents},
		{"sites follow their assessments", revisedSites},
		{"rows are stored once and counted", works},
		{"works end", endedWorks},
		{"works are listed in pages", listedWorks},
		{"the work that changed sites last", lastChange},
		{"works keep notes", notedWorks},
		{"one key begins one work", keyedWorks},
		{"works race", worksRace},
		{"chunks are claimed under a lease", claimedChunks},
		{"works have turns while they have something to do", worksToDo},
		{"many claim chunks at once", claimChunksRace},
		{"counts of a work add up", countsAddUp},

		{"webhooks come back", webhooks},
		{"faulty webhooks are refused", faultyWebhooks},
		{"webhooks are told of what is kept", toldOfChanges},
		{"webhooks are told of sites", toldOfSites},
		{"deliveries are claimed, settled and tried again", claimedDeliveries},
		{"deliveries are claimed by receiver", claimedByReceiver},
		{"many claim deliveries at once", claimRace},
		{"a webhook is deleted while records are stored", webhookDeletedMeanwhile},

		{"organisations do not see each other", organisations},
		{"definitions are stored once", definitions},
		{"any sequence of calls behaves like a map", behavesLikeMap},
		{"a closed store is unavailable", closed},

		{"devices come back", deviceRoundTrip},
		{"references that are in use are taken", takenReferences},
		{"references that are in use are replaced when asked", replacedReferences},
		{"an import that fails leaves nothing", importsThatFail},
		{"faulty devices are refused", faultyDevices},
		{"only the newest version of a device is changed", deviceVersions},
		{"devices are changed one after the other", deviceRace},
		{"devices are listed in pages", devicePages},
		{"devices are found by name or reference", devicesByText},
		{"organisations have libraries of their own", deviceOwners},
		{"any sequence of device calls behaves like a list", devicesLikeMap},
		{"a closed library is unavailable", closedLibrary},
	} {
		t.Run(test.name, func(t *testing.T) {
			test.run(t, suite{open(t), t.Context(), store.Local})
		})
	}
}

// suite is a store under test and the organisation whose records a test uses.
type suite struct {
	store.Store
	ctx context.Context
	org store.Organisation
}

// A fixed time, so that tests do not depend on the clock.
var day = time.Date(2031, 5, 17, 9, 30, 0, 123456000, time.UTC)

func newID() string { return uuid.Must(uuid.NewV7()).String() }

// record is a valid record of an invented site.
func record(name string) store.Record {
	return store.Record{
		Header: store.Header{
			ID: newID(), CreatedAt: day, Name: name, Reference: "R-1", Latitude: -3.117, Longitude: 86.683,
			Edition: "edition-1", Engine: "engine-1", InputHash: "input-1", DefinitionsHash: "definitions-1",
			ReviewDue: time.Date(2034, 1, 1, 0, 0, 0, 0, time.UTC),
		},
		Input:     []byte(`{"name": "` + name + `"}`),
		Result:    []byte(`{"result of": "` + name + `"}`),
		Worksheet: []byte(`{"worksheet of": "` + name + `"}`),
	}
}

// named makes n records that differ.
func named(prefix string, n int) []store.Record {
	var all []store.Record
	for i := range n {
		all = append(all, record(fmt.Sprintf("%s %d", prefix, i)))
	}
	return all
}

// fataler is *testing.T or *rapid.T.
type fataler interface {
	Helper()
	Fatalf(format string, args ...any)
}

func (s suite) create(t fataler, r store.Record) store.Record {
	t.Helper()
	stored, replayed, err := s.Create(s.ctx, s.org, r, nil)
	if err != nil || replayed {
		t.Fatalf("Create: replayed %v, %v", replayed, err)
	}
	return stored
}

func (s suite) revise(t fataler, r store.Record, expected int) store.Record {
	t.Helper()
	stored, err := s.Revise(s.ctx, s.org, r, expected)
	if err != nil {
		t.Fatalf("Revise: %v", err)
	}
	return stored
}

// holds demands that the store has this revision, whole and unchanged.
func (s suite) holds(t fataler, want store.Record) {
	t.Helper()
	got, err := s.Revision(s.ctx, s.org, want.ID, want.Revision)
	if err != nil {
		t.Fatalf("Revision %d: %v", want.Revision, err)
	}
	worksheet, err := s.Worksheet(s.ctx, s.org, want.ID, want.Revision)
	if err != nil {
		t.Fatalf("Worksheet %d: %v", want.Revision, err)
	}
	if !bytes.Equal(worksheet, want.Worksheet) {
		t.Fatalf("worksheet is %q, want %q", worksheet, want.Worksheet)
	}
	sameRecord(t, got, want)
}

// sameRecord compares all but the worksheet, which no record brings along.
func sameRecord(t fataler, got, want store.Record) {
	t.Helper()
	want.Worksheet = nil
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("got\n%+v\nwant\n%+v", got, want)
	}
}

// gone demands that nothing at all is left of an assessment.
func (s suite) gone(t fataler, id string) {
	t.Helper()
	_, err := s.Newest(s.ctx, s.org, id)
	is(t, err, store.ErrNotFound)
	_, err = s.Revisions(s.ctx, s.org, id)
	is(t, err, store.ErrNotFound)
	_, err = s.Revision(s.ctx, s.org, id, 1)
	is(t, err, store.ErrNotFound)
	_, err = s.Worksheet(s.ctx, s.org, id, 1)
	is(t, err, store.ErrNotFound)
	for _, e := range s.list(t, store.Filter{}) {
		if e.ID == id {
			t.Fatalf("%s is still in the list", id)
		}
	}
}

// list follows the pages to the end.
func (s suite) list(t fataler, f store.Filter) (all []store.Entry) {
	t.Helper()
	for {
		page, err := s.List(s.ctx, s.org, f)
		if err != nil {
			t.Fatalf("List: %v", err)
		}
		all = append(all, page.Entries...)
		if page.Next == "" {
			return all
		}
		f.Cursor = page.Next
	}
}

// names are those of a list, sorted as the list is.
func (s suite) names(t fataler, f store.Filter) string {
	t.Helper()
	var all []string
	for _, e := range s.list(t, f) {
		all = append(all, e.Name)
	}
	return strings.Join(all, ",")
}

func is(t fataler, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Fatalf("error is %v, want %v", err, want)
	}
}

func noError(t fataler, err error) {
	t.Helper()
	if err != nil {
		t.Fatalf("%v", err)
	}
}

// together runs n calls at the same time.
func together(n int, call func(i int)) {
	var wg sync.WaitGroup
	start := make(chan struct{})
	for i := range n {
		wg.Go(func() {
			<-start
			call(i)
		})
	}
	close(start)
	wg.Wait()
}
