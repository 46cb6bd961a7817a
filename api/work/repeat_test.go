package work_test

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"testing/iotest"

	"levinward/api/apitest"
	"levinward/store"
)

// keyed imports a file with a key.
func keyed(c *apitest.Client, portfolio, query, key string, file []byte) *apitest.Answer {
	return c.Do(http.MethodPost, "/v1/portfolios/"+portfolio+"/imports"+query, file, "Content-Type", "text/csv", "Idempotency-Key", key)
}

func reused(t *testing.T, a *apitest.Answer) {
	t.Helper()
	if p := a.Want(http.StatusUnprocessableEntity).Problem(); p.Kind() != "idempotency-key-reused" || a.Header.Get("Location") != "" {
		t.Errorf("%+v", p)
	}
}

func replayed(a *apitest.Answer) bool { return a.Header.Get("Idempotency-Replayed") == "true" }

func TestRepeatedImport(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		p, other := apitest.MakePortfolio(c, "P"), apitest.MakePortfolio(c, "Q")
		file := apitest.SiteFile(0, 30, 5)
		first := keyed(c, p.ID, "", "import-1", file)
		w := apitest.Ended(t, c, first)
		if w.Done != 30 || replayed(first) {
			t.Fatalf("%+v", w)
		}
		again := keyed(c, strings.ToUpper(p.ID), "", "import-1", file)
		if got := apitest.Ended(t, c, again); got != w || !replayed(again) || again.Header.Get("Location") != first.Header.Get("Location") {
			t.Errorf("%+v, want %+v", got, w)
		}
		reused(t, keyed(c, p.ID, "", "import-1", apitest.SiteFile(0, 30, 6)))
		reused(t, keyed(c, p.ID, "", "import-1", file[:len(file)-1]))
		reused(t, keyed(c, p.ID, "?mode=good_rows_only", "import-1", file))
		reused(t, keyed(c, other.ID, "", "import-1", file))
		reused(t, c.Post("/v1/portfolios/"+p.ID+"/assessments", []byte(`{"which": "all"}`), "Idempotency-Key", "import-1"))
		for _, s := range apitest.SitesOf(c, p.ID, "?limit=500").Sites {
			if s.Revision != 1 {
				t.Errorf("%+v", s)
			}
		}
		if s := apitest.SitesOf(c, other.ID, ""); len(s.Sites) != 0 {
			t.Errorf("%+v", s)
		}

		// A refused request does not use its key up.
		keyed(c, p.ID, "", "import-2", []byte("a,b\n1,2\n")).Want(http.StatusUnprocessableEntity)
		keyed(c, p.ID, "", "import-2", bytes.Replace(file, []byte("S2,"), []byte("S1,"), 1)).Want(http.StatusUnprocessableEntity)
		if a := keyed(c, p.ID, "", "import-2", apitest.SiteFile(20, 20, 5)); apitest.Ended(t, c, a).Done != 10 || replayed(a) {
			t.Error("the corrected file was not imported under the same key")
		}
		problem := keyed(c, p.ID, "?mode=some", "a b", file).Want(http.StatusBadRequest).Problem()
		if len(problem.Errors) != 2 || problem.Errors[1].Parameter != "Idempotency-Key" {
			t.Errorf("%+v", problem)
		}

		// The key goes with the portfolio.
		c.Delete("/v1/portfolios/" + p.ID).Want(http.StatusNoContent)
		if a := keyed(c, other.ID, "", "import-1", file); apitest.Ended(t, c, a).Done != 30 || replayed(a) {
			t.Error("the key of a portfolio that is gone is still taken")
		}
	})
}

// An upload that breaks off leaves nothing, and its key for the next try.
func TestBrokenImportIsRepeated(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.MakePortfolio(c, "P")
		file := apitest.SiteFile(0, 1200, 5)
		send := func(body io.Reader) error {
			r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, c.URL()+"/v1/portfolios/"+p.ID+"/imports", body)
			if err != nil {
				t.Fatal(err)
			}
			r.Header.Set("Content-Type", "text/csv")
			r.Header.Set("Idempotency-Key", "k")
			a, err := http.DefaultClient.Do(r)
			if err == nil {
				a.Body.Close()
			}
			return err
		}
		for _, part := range []int{100, len(file) / 2, len(file)} {
			if err := send(io.MultiReader(bytes.NewReader(file[:part]), iotest.ErrReader(io.ErrClosedPipe))); err == nil {
				t.Fatal("the upload was not broken off")
			}
		}
		if s := apitest.SitesOf(c, p.ID, ""); len(s.Sites) != 0 {
			t.Errorf("%d sites", len(s.Sites))
		}
		a := keyed(c, p.ID, "", "k", file)
		if w := apitest.Ended(t, c, a); w.Done != 1200 || replayed(a) {
			t.Errorf("%+v", w)
		}
		if a := keyed(c, p.ID, "", "k", file); !replayed(a) {
			t.Error("imported again")
		}
		// A repetition that breaks off changes nothing either.
		if err := send(io.MultiReader(bytes.NewReader(file[:100]), iotest.ErrReader(io.ErrClosedPipe))); err == nil {
			t.Fatal("the upload was not broken off")
		}
		if totals, err := s.PortfolioTotals(t.Context(), store.Local, p.ID, apitest.Now); err != nil || totals.Sites != 1200 {
			t.Errorf("%+v, %v", totals, err)
		}
	})
}

func TestImportsOfOneKeyAtOnce(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.MakePortfolio(c, "P")
		file := apitest.SiteFile(0, 600, 5)
		const many = 8
		answers := make([]*apitest.Answer, many)
		apitest.Together(many, func(i int) { answers[i] = keyed(c, p.ID, "", "one", file) })
		first := 0
		for _, a := range answers {
			if w := apitest.Ended(t, c, a); w.Done != 600 || a.Header.Get("Location") != answers[0].Header.Get("Location") {
				t.Errorf("%+v", w)
			}
			if !replayed(a) {
				first++
			}
		}
		if first != 1 {
			t.Errorf("%d of the answers are the first", first)
		}
		if all, err := s.UnfinishedWorks(t.Context(), store.Local); err != nil || len(all) != 0 {
			t.Errorf("%+v, %v", all, err)
		}
		if list := apitest.SitesOf(c, p.ID, "?limit=500"); len(list.Sites) != 500 || list.Sites[0].Revision != 1 {
			t.Errorf("%d sites", len(list.Sites))
		}
		if totals, err := s.PortfolioTotals(t.Context(), store.Local, p.ID, apitest.Now); err != nil || totals.Sites != 600 {
			t.Errorf("%+v, %v", totals, err)
		}
	})
}

func TestRepeatedReassessment(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := apitest.MakePortfolio(c, "P")
		at := "/v1/portfolios/" + p.ID + "/assessments"
		m := apitest.UploadMap(c, []byte(villagesMap))
		apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "",
			sitesOn(m.ID, [2]float64{10.5, 0.5}, [2]float64{10.5, 1.5}, [2]float64{11.5, 0.5}, [2]float64{11.5, 1.5})))
		newer := apitest.UploadMap(c, []byte(strings.ReplaceAll(villagesMap, "5 5", "7 7")))
		body := fmt.Appendf(nil, `{"which": "all", "flash_density_map": %q}`, newer.ID)
		first := c.Post(at, body, "Idempotency-Key", "again")
		w := apitest.Ended(t, c, first)
		if w.Done != 4 || replayed(first) {
			t.Fatalf("%+v", w)
		}
		c.Delete("/v1/flash-density-maps/" + newer.ID)
		again := c.Post(at, body, "Idempotency-Key", "again")
		if got := apitest.Ended(t, c, again); got != w || !replayed(again) {
			t.Errorf("%+v, want %+v", got, w)
		}
		reused(t, c.Post(at, []byte(`{"which": "all"}`), "Idempotency-Key", "again"))
		reused(t, keyed(c, p.ID, "", "again", apitest.SiteFile(0, 1, 5)))
		c.Post(at, body, "Idempotency-Key", "a b").Want(http.StatusBadRequest)
		if s := apitest.SitesOf(c, p.ID, ""); len(s.Sites) != 4 || s.Sites[0].Revision != 2 {
			t.Errorf("%+v", s)
		}
	})
}

// villagesMap is an invented map of two degrees.
const villagesMap = "ncols 2\nnrows 2\nxllcorner 10\nyllcorner 0\ncellsize 1\nNODATA_value -9999\n5 5\n5 5\n"
