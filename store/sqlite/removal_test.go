package sqlite

import (
	"errors"
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

// breakOff lets a removal fail when it has come to the last site.
func breakOff(t *testing.T, s *Store, p store.Portfolio) {
	t.Helper()
	_, err := s.writer.Exec(`CREATE TRIGGER breaks BEFORE DELETE ON assessment
		WHEN (SELECT count(*) FROM portfolio_site WHERE portfolio = '` + p.ID + `') = 1
		BEGIN SELECT RAISE(ABORT, 'broken off'); END`)
	must(t, err)
	if err := s.DeletePortfolio(t.Context(), store.Local, p.ID); err == nil {
		t.Fatal("not broken off")
	}
	if n := count(t, s, "portfolio_site WHERE portfolio = '"+p.ID+"'"); n == 0 || n > sitesOfPart {
		t.Fatalf("%d sites are left, want a part of them", n)
	}
}

// A portfolio whose removal was broken off is as good as gone, and the next call ends it.
func TestRemovalGoesOnWhenAskedAgain(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "levinward.db"))
	p, w := filled(t, s, "P", sitesOfPart+5)
	breakOff(t, s, p)

	ctx := t.Context()
	gone := map[string]error{}
	_, gone["read"] = s.Portfolio(ctx, store.Local, p.ID)
	_, gone["totals"] = s.PortfolioTotals(ctx, store.Local, p.ID, time.Now())
	_, gone["rename"] = s.RenamePortfolio(ctx, store.Local, p.ID, "Q", "")
	_, gone["begin a work"] = s.CreateWork(ctx, store.Local, work(p.ID))
	gone["store a chunk"] = s.StoreChunk(ctx, store.Local, store.Outcome{Work: w.ID, N: 1, Created: []store.Record{site()}, At: time.Now()})
	for what, err := range gone {
		if !errors.Is(err, store.ErrNotFound) {
			t.Errorf("%s: %v", what, err)
		}
	}
	page, err := s.ListPortfolios(ctx, store.Local, 0, "")
	if err != nil || len(page.Portfolios) != 0 {
		t.Errorf("listed: %+v, %v", page, err)
	}
	if w, err = s.Work(ctx, store.Local, w.ID); err != nil || w.State != store.WorkCancelled || w.FinishedAt.IsZero() {
		t.Errorf("%+v, %v", w, err)
	}
	second, _ := filled(t, s, "P", 1) // the name is free

	_, err = s.writer.Exec("DROP TRIGGER breaks")
	must(t, err)
	must(t, s.DeletePortfolio(ctx, store.Local, p.ID))
	if err := s.DeletePortfolio(ctx, store.Local, p.ID); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("once more: %v", err)
	}
	for table, want := range map[string]int{"portfolio": 1, "portfolio_site": 1, "assessment": 1, "revision": 1, "work": 1,
		"work_chunk": 2, "work_fault": 1} {
		if n := count(t, s, table); n != want {
			t.Errorf("%s: %d rows, want %d", table, n, want)
		}
	}
	if _, err := s.Portfolio(ctx, store.Local, second.ID); err != nil {
		t.Error(err)
	}
}

// Removals that were broken off are named when the lease of their last part ends, also after the file was opened again.
func TestRemovalsThatWereBrokenOff(t *testing.T) {
	file := filepath.Join(t.TempDir(), "levinward.db")
	s, err := Open(t.Context(), file, migrations)
	must(t, err)
	begun := time.Now()
	var want []string
	for _, name := range []string{"P", "Q"} {
		p, _ := filled(t, s, name, 2*sitesOfPart+5)
		breakOff(t, s, p)
		_, err = s.writer.Exec("DROP TRIGGER breaks")
		must(t, err)
		want = append(want, p.ID)
	}
	must(t, s.Close())

	s = open(t, file)
	for at, want := range map[time.Time][]string{begun.Add(store.Lease): nil, time.Now().Add(store.Lease): want} {
		left, err := s.RemovalsToDo(t.Context(), store.Local, at)
		slices.Sort(left)
		if must(t, err); !slices.Equal(left, want) {
			t.Errorf("%v after the begin: %q, want %q", at.Sub(begun), left, want)
		}
	}
	for _, id := range want {
		must(t, s.DeletePortfolio(t.Context(), store.Local, id))
	}
	for _, table := range []string{"portfolio", "portfolio_site", "assessment", "revision", "work", "work_chunk", "work_fault"} {
		if n := count(t, s, table); n != 0 {
			t.Errorf("%s: %d rows are left", table, n)
		}
	}
}

// While a portfolio of many sites is removed, others write.
func TestOthersWriteDuringRemoval(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "levinward.db"))
	const sites = 5 * sitesOfPart
	p, _ := filled(t, s, "P", sites)
	removed := make(chan error, 1)
	go func() { removed <- s.DeletePortfolio(t.Context(), store.Local, p.ID) }()
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
