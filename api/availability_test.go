package api_test

import (
	"context"
	"net/http"
	"sync/atomic"
	"testing"

	"levinward/api/apitest"
	"levinward/store"
)

// outage is a store whose database can be away.
type outage struct {
	store.Store
	away atomic.Bool
}

func (o *outage) err() error {
	if o.away.Load() {
		return store.ErrUnavailable
	}
	return nil
}

func (o *outage) Create(ctx context.Context, org store.Organisation, r store.Record, idem *store.Idempotency) (store.Record, bool, error) {
	if err := o.err(); err != nil {
		return store.Record{}, false, err
	}
	return o.Store.Create(ctx, org, r, idem)
}

func (o *outage) Newest(ctx context.Context, org store.Organisation, id string) (store.Record, error) {
	if err := o.err(); err != nil {
		return store.Record{}, err
	}
	return o.Store.Newest(ctx, org, id)
}

func (o *outage) Revision(ctx context.Context, org store.Organisation, id string, n int) (store.Record, error) {
	if err := o.err(); err != nil {
		return store.Record{}, err
	}
	return o.Store.Revision(ctx, org, id, n)
}

func (o *outage) Worksheet(ctx context.Context, org store.Organisation, id string, n int) ([]byte, error) {
	if err := o.err(); err != nil {
		return nil, err
	}
	return o.Store.Worksheet(ctx, org, id, n)
}

func (o *outage) Revisions(ctx context.Context, org store.Organisation, id string) ([]store.Header, error) {
	if err := o.err(); err != nil {
		return nil, err
	}
	return o.Store.Revisions(ctx, org, id)
}

func (o *outage) Revise(ctx context.Context, org store.Organisation, r store.Record, expected int) (store.Record, error) {
	if err := o.err(); err != nil {
		return store.Record{}, err
	}
	return o.Store.Revise(ctx, org, r, expected)
}

func (o *outage) Delete(ctx context.Context, org store.Organisation, id string) error {
	if err := o.err(); err != nil {
		return err
	}
	return o.Store.Delete(ctx, org, id)
}

func (o *outage) List(ctx context.Context, org store.Organisation, f store.Filter) (store.Page, error) {
	if err := o.err(); err != nil {
		return store.Page{}, err
	}
	return o.Store.List(ctx, org, f)
}

func (o *outage) PutDefinitions(ctx context.Context, org store.Organisation, hash string, doc []byte) error {
	if err := o.err(); err != nil {
		return err
	}
	return o.Store.PutDefinitions(ctx, org, hash, doc)
}

func (o *outage) Definitions(ctx context.Context, org store.Organisation, hash string) ([]byte, error) {
	if err := o.err(); err != nil {
		return nil, err
	}
	return o.Store.Definitions(ctx, org, hash)
}

func (o *outage) Ping(ctx context.Context) error {
	if err := o.err(); err != nil {
		return err
	}
	return o.Store.Ping(ctx)
}

// While the database is away everything that needs it answers 503, the rest
// works; when it is back so is the service, with what was there and nothing more.
func TestDatabaseAway(t *testing.T) {
	for _, before := range []string{"before the first request", "later"} {
		t.Run(before, func(t *testing.T) {
			db := &outage{Store: apitest.OpenSQLite(t)}
			c := apitest.NewClient(t, apitest.NewServer(t, db))
			at := "/v1/assessments/01963b1c-6c00-7d3a-9c41-5be0c7b8a2f1"
			want := 0
			if before == "later" {
				s, _ := apitest.Create(c, apitest.Demo(t))
				at, want = "/v1/assessments/"+s.ID, 1
			}
			db.away.Store(true)
			away(t, c, at)
			db.away.Store(false)
			c.Get("/readyz").Want(http.StatusOK)
			if l, _ := apitest.GetList(c, ""); len(l.Assessments) != want || want == 1 && l.Assessments[0].Revision != 1 {
				t.Errorf("after the outage: %v", l)
			}
			s, _ := apitest.Create(c, apitest.Demo(t), "Idempotency-Key", "through-the-outage")
			c.Get("/v1/assessments/" + s.ID + "/worksheet").Want(http.StatusOK)
			c.Patch("/v1/assessments/"+s.ID+"/revisions", `{"reference": "after"}`).Want(http.StatusCreated)
		})
	}
}

func away(t *testing.T, c *apitest.Client, at string) {
	t.Helper()
	answers := []*apitest.Answer{
		c.Post("/v1/assessments", apitest.Demo(t), "Idempotency-Key", "through-the-outage"), c.Patch(at+"/revisions", `{"reference": "x"}`),
		c.Delete(at),
	}
	for _, path := range []string{at, at + "/revisions", at + "/revisions/1", at + "/changes", at + "/worksheet", at + "/worksheet.csv",
		at + "/worksheet.html",
		at + "/spd-schedule", at + "/spd-schedule.csv", "/v1/assessments", "/readyz"} {
		answers = append(answers, c.Get(path))
	}
	for _, a := range answers {
		if p := a.Want(http.StatusServiceUnavailable).Problem(); p.Kind() != "unavailable" || a.Header.Get("Retry-After") == "" {
			t.Errorf("%s, Retry-After %q", p.Type, a.Header.Get("Retry-After"))
		}
	}
	for _, path := range []string{"/healthz", "/metrics", "/v1/reference", "/openapi.json"} {
		c.Get(path).Want(http.StatusOK)
	}
	c.Post("/v1/calculations", apitest.Demo(t)).Want(http.StatusOK)
	c.Post("/v1/assessments", []byte(`{"name": ""}`)).Want(http.StatusUnprocessableEntity) // faults are told all the same
}

func TestNotReadyWithAClosedStore(t *testing.T) {
	for name, open := range apitest.Stores() {
		t.Run(name, func(t *testing.T) {
			s := open(t)
			c := apitest.NewClient(t, apitest.NewServer(t, s))
			c.Get("/readyz").Want(http.StatusOK)
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			c.Get("/readyz").Want(http.StatusServiceUnavailable)
			c.Post("/v1/assessments", apitest.Demo(t)).Want(http.StatusServiceUnavailable)
			c.Get("/healthz").Want(http.StatusOK)
		})
	}
}

// panicking panics where a store would answer.
type panicking struct{ store.Store }

func (panicking) List(context.Context, store.Organisation, store.Filter) (store.Page, error) {
	panic("a fault of the program at 0xc000012345 in main.go:17")
}

// A fault of the program is told without its inside, which the client checks of every problem, and the service goes on.
func TestPanics(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, panicking{apitest.OpenSQLite(t)}))
	if p := c.Get("/v1/assessments").Want(http.StatusInternalServerError).Problem(); p.Kind() != "internal" {
		t.Errorf("%s", p.Type)
	}
	apitest.Create(c, apitest.Demo(t))
}
