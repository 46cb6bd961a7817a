package sqlite

import (
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/google/uuid"

	"levinward/store"
)

func newID() string { return uuid.Must(uuid.NewV7()).String() }

// filled makes a portfolio of so many sites, with a work that still has a chunk to be done.
func filled(t *testing.T, s *Store, name string, sites int) (store.Portfolio, store.Work) {
	t.Helper()
	p, err := s.CreatePortfolio(t.Context(), store.Local, store.Portfolio{ID: newID(), CreatedAt: time.Now(), Name: name})
	must(t, err)
	w, err := s.CreateWork(t.Context(), store.Local, work(p.ID))
	must(t, err)
	must(t, s.AddChunk(t.Context(), store.Local, w.ID, store.NewChunk{Rows: []byte("x"), Count: sites}, time.Now()))
	must(t, s.AddChunk(t.Context(), store.Local, w.ID, store.NewChunk{Rows: []byte("y"), Count: 1, Faulty: 1,
		Faults: []store.Fault{{Row: 1, Reason: "r"}}}, time.Now()))
	_, err = s.BeginWork(t.Context(), store.Local, w.ID, store.Notes{}, nil, time.Now())
	must(t, err)
	o := store.Outcome{Work: w.ID, At: time.Now()}
	for range sites {
		o.Created = append(o.Created, site())
	}
	must(t, s.StoreChunk(t.Context(), store.Local, o))
	return p, w
}

func work(portfolio string) store.Work {
	return store.Work{ID: newID(), Portfolio: portfolio, Kind: store.WorkImport, Mode: store.GoodRowsOnly, Options: []byte("{}"),
		CreatedAt: time.Now()}
}

func site() store.Record {
	r := record()
	r.Summary = &store.Summary{Acceptable: true}
	return r
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// count is the number of rows of a table.
func count(t *testing.T, s *Store, table string) (n int) {
	t.Helper()
	must(t, s.reader.QueryRow("SELECT count(*) FROM "+table).Scan(&n))
	return n
}

// A removal leaves no row in any table, also when it goes on after the file was opened again.
func TestRemovalLeavesNoRow(t *testing.T) {
	file := filepath.Join(t.TempDir(), "levinward.db")
	s, err := Open(t.Context(), file, migrations)
	must(t, err)
	p, _ := filled(t, s, "P", store.SitesOfPart+5)
	kept, _ := filled(t, s, "kept", 1)
	must(t, s.BeginRemoval(t.Context(), store.Local, p.ID))
	_, err = s.RemovePart(t.Context(), store.Local, p.ID)
	must(t, err)
	must(t, s.Close())

	s = open(t, file)
	left, err := s.RemovalsToDo(t.Context(), store.Local, time.Now().Add(store.Lease))
	if must(t, err); !slices.Equal(left, []string{p.ID}) {
		t.Fatalf("removals to do: %q", left)
	}
	must(t, store.EndRemoval(t.Context(), s, store.Local, p.ID))
	for table, want := range map[string]int{"portfolio": 1, "portfolio_site": 1, "assessment": 1, "revision": 1, "work": 1,
		"work_chunk": 2, "work_fault": 1} {
		if n := count(t, s, table); n != want {
			t.Errorf("%s: %d rows, want %d", table, n, want)
		}
	}
	if _, err := s.Portfolio(t.Context(), store.Local, kept.ID); err != nil {
		t.Error(err)
	}
}

// While a portfolio of many sites is removed, others write.
func TestOthersWriteDuringRemoval(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "levinward.db"))
	const sites = 5 * store.SitesOfPart
	p, _ := filled(t, s, "P", sites)
	removed := make(chan error, 1)
	go func() { removed <- store.DeletePortfolio(t.Context(), s, store.Local, p.ID) }()
	between := 0
	for {
		select {
		case err := <-removed:
			must(t, err)
			if between == 0 {
				t.Error("nothing was stored between the parts")
			}
			return
		default:
		}
		_, _, err := s.Create(t.Context(), store.Local, record(), nil)
		must(t, err)
		if left := count(t, s, "portfolio_site"); left > 0 && left < sites {
			between++
		}
	}
}
