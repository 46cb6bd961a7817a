package apitest

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/uuid"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/store"
)

// Prices in an invented list, in money.
func Prices(currency string) map[string]any {
	sets := map[string]any{"III-IV": 110, "II": 170, "I": 260}
	return map[string]any{"currency": currency, "lps": map[string]any{"IV": 1500, "III": 1900, "II": 2600, "I": 3400}, "bonding_spd": sets,
		"coordinated_spd": sets,
		"fire_protection": map[string]any{"manual": 90, "automatic": 2400}, "warning_notices": 15, "insulation": 130}
}

// RiskySite is a site that needs protection, with values and so many persons.
func RiskySite(t *testing.T, i, persons int, currency string) []byte {
	values := map[string]any{
		"/reference": fmt.Sprintf("V-%02d", i), "/structures/0/persons": persons, "/structures/0/height_m": 4 + i%5,
		"/flash_density/ground_flashes_per_km2_year": 3 + i%7,
		"/structures/0/zones":                        []any{map[string]any{"id": "z", "values": map[string]any{"building": 40000 + 5000*i, "contents": 9000, "systems": 4000}}},
	}
	if currency != "" {
		values["/measure_costs"] = Prices(currency)
	}
	return Named(t, fmt.Sprintf("Invented village %02d", i), values)
}

// FilledPortfolio is a portfolio of a store with sites in it.
type FilledPortfolio struct {
	store.Store
	ID       string
	Recorder *assess.Recorder
	At       time.Time // of what is stored next
}

// OpenPortfolio makes a portfolio in a store, without sites.
func OpenPortfolio(t testing.TB, s store.Store, name string) *FilledPortfolio {
	t.Helper()
	p := &FilledPortfolio{Store: s, ID: NewID(t), At: Now}
	_, err := s.CreatePortfolio(t.Context(), store.Local, store.Portfolio{ID: p.ID, CreatedAt: Now, Name: name, Description: "invented"})
	if err != nil {
		t.Fatal(err)
	}
	if p.Recorder, err = assess.NewRecorder(Engine, func() time.Time { return p.At }); err != nil {
		t.Fatal(err)
	}
	if err := p.Recorder.Define(t.Context(), s, nil); err != nil {
		t.Fatal(err)
	}
	return p
}

// NewID makes an id as the service does.
func NewID(t testing.TB) string {
	t.Helper()
	id, err := uuid.NewV7()
	if err != nil {
		t.Fatal(err)
	}
	return id.String()
}

// Record computes the record of a site.
func (p *FilledPortfolio) Record(t testing.TB, body []byte) store.Record {
	t.Helper()
	in, ok := wire.Decode(body)
	if !ok {
		t.Fatalf("not an input: %s", body)
	}
	r, faults, err := p.Recorder.Record(in, in.Core(), NewID(t), 1, time.Time{})
	if err != nil || len(faults) > 0 {
		t.Fatal(err, faults)
	}
	return r
}

// Add stores a site for each body and returns their ids.
func (p *FilledPortfolio) Add(t testing.TB, bodies ...[]byte) (ids []string) {
	t.Helper()
	var records []store.Record
	for _, b := range bodies {
		r := p.Record(t, b)
		records, ids = append(records, r), append(ids, r.ID)
	}
	p.Keep(t, records)
	return ids
}

// Keep stores records as sites.
func (p *FilledPortfolio) Keep(t testing.TB, records []store.Record) {
	t.Helper()
	w := store.Work{ID: NewID(t), Portfolio: p.ID, Kind: store.WorkImport, Mode: store.GoodRowsOnly, Options: []byte("{}"), CreatedAt: Now}
	_, err := p.CreateWork(t.Context(), store.Local, w)
	if err == nil {
		err = p.AddChunk(t.Context(), store.Local, w.ID, store.NewChunk{Rows: []byte("rows\n"), Count: len(records)}, Now)
	}
	if err == nil {
		_, err = p.BeginWork(t.Context(), store.Local, w.ID, store.Notes{}, nil, Now)
	}
	if err == nil {
		err = p.StoreChunk(t.Context(), store.Local, store.Outcome{Work: w.ID, Created: records, At: Now})
	}
	if err != nil {
		t.Fatal(err)
	}
}

// Many stores n sites quickly: one computed record under many names, S00000 and so on, on a grid of places.
func (p *FilledPortfolio) Many(t testing.TB, n int) {
	t.Helper()
	first := p.Record(t, Smallest(t))
	for from := 0; from < n; from += 1000 {
		var records []store.Record
		for i := from; i < min(from+1000, n); i++ {
			r := first
			r.ID, r.Name, r.Reference = NewID(t), fmt.Sprintf("Invented site %05d", i), fmt.Sprintf("S%05d", i)
			r.Latitude, r.Longitude = float64(i%100)/10, float64(i/100)/10
			records = append(records, r)
		}
		p.Keep(t, records)
	}
}

// Link is a link of OGC API.
type Link struct{ Href, Rel, Type string }

// Feature is a site as a feature of OGC API or of a GeoJSON file.
type Feature struct {
	Type     string
	ID       string
	Geometry struct {
		Type        string
		Coordinates []float64
	}
	Properties map[string]any
	Links      []Link
}
