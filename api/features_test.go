package api_test

import (
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/google/uuid"

	"levinward/api/apitest"
	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/store"
)

// filled is a portfolio of a store with sites in it.
type filled struct {
	store.Store
	id       string
	recorder *assess.Recorder
	at       time.Time // of what is stored next
}

func openPortfolio(t testing.TB, s store.Store, name string) *filled {
	t.Helper()
	p := &filled{Store: s, id: newID(t), at: testNow}
	_, err := s.CreatePortfolio(t.Context(), store.Local, store.Portfolio{ID: p.id, CreatedAt: testNow, Name: name, Description: "invented"})
	if err != nil {
		t.Fatal(err)
	}
	if p.recorder, err = assess.NewRecorder(testEngine, func() time.Time { return p.at }); err != nil {
		t.Fatal(err)
	}
	if err := p.recorder.Define(t.Context(), s, nil); err != nil {
		t.Fatal(err)
	}
	return p
}

func newID(t testing.TB) string {
	t.Helper()
	id, err := uuid.NewV7()
	if err != nil {
		t.Fatal(err)
	}
	return id.String()
}

// record computes the record of a site.
func (p *filled) record(t testing.TB, body []byte) store.Record {
	t.Helper()
	in, ok := wire.Decode(body)
	if !ok {
		t.Fatalf("not an input: %s", body)
	}
	r, faults, err := p.recorder.Record(in, in.Core(), newID(t), 1, time.Time{})
	if err != nil || len(faults) > 0 {
		t.Fatal(err, faults)
	}
	return r
}

// add stores a site for each body and returns their ids.
func (p *filled) add(t testing.TB, bodies ...[]byte) (ids []string) {
	t.Helper()
	var records []store.Record
	for _, b := range bodies {
		r := p.record(t, b)
		records, ids = append(records, r), append(ids, r.ID)
	}
	p.store(t, records)
	return ids
}

// store keeps records as sites.
func (p *filled) store(t testing.TB, records []store.Record) {
	t.Helper()
	w := store.Work{ID: newID(t), Portfolio: p.id, Kind: store.WorkImport, Mode: store.GoodRowsOnly, Options: []byte("{}"), CreatedAt: testNow}
	_, err := p.CreateWork(t.Context(), store.Local, w)
	if err == nil {
		err = p.AddChunk(t.Context(), store.Local, w.ID, store.NewChunk{Rows: []byte("rows\n"), Count: len(records)}, testNow)
	}
	if err == nil {
		_, err = p.BeginWork(t.Context(), store.Local, w.ID, store.Notes{}, nil, testNow)
	}
	if err == nil {
		err = p.StoreChunk(t.Context(), store.Local, store.Outcome{Work: w.ID, Created: records, At: testNow})
	}
	if err != nil {
		t.Fatal(err)
	}
}

// many stores n sites quickly: one computed record under many names, S00000 and so on, on a grid of places.
func (p *filled) many(t testing.TB, n int) {
	t.Helper()
	first := p.record(t, smallest(t))
	for from := 0; from < n; from += 1000 {
		var records []store.Record
		for i := from; i < min(from+1000, n); i++ {
			r := first
			r.ID, r.Name, r.Reference = newID(t), fmt.Sprintf("Invented site %05d", i), fmt.Sprintf("S%05d", i)
			r.Latitude, r.Longitude = float64(i%100)/10, float64(i/100)/10
			records = append(records, r)
		}
		p.store(t, records)
	}
}

// everySiteDocument takes the operations on the sites of a portfolio to every success they state.
func everySiteDocument(t *testing.T, c *apitest.Client, s store.Store) {
	t.Helper()
	p := openPortfolio(t, s, "Invented north")
	ids := p.add(t, smallest(t))
	for _, path := range []string{"/ogc", "/ogc/api", "/ogc/conformance", "/ogc/collections", "/ogc/collections/" + p.id, "/ogc/collections/" + p.id + "/items",
		"/ogc/collections/" + p.id + "/items/" + ids[0], "/v1/portfolios/" + p.id + "/sites.csv", "/v1/portfolios/" + p.id + "/sites.xlsx", "/v1/portfolios/" + p.id + "/sites.geojson", "/v1/portfolios/" + p.id + "/sites.gpkg"} {
		c.Get(path).Want(http.StatusOK)
	}
	c.Post("/v1/portfolios/"+p.id+"/budget", []byte(`{"budget": "10", "relative": true, "objective": "persons_at_risk"}`)).Want(http.StatusOK)
}
