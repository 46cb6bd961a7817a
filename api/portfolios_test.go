package api_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"levinward/api/apitest"
	"levinward/api/jobs"
	"levinward/store"
)

// here does the chunks of a server under test as soon as they are queued.
type here struct {
	jobs  *jobs.Jobs
	tasks sync.WaitGroup
}

func workHere(t testing.TB, j *jobs.Jobs) {
	h := &here{jobs: j}
	j.UseQueue(h)
	t.Cleanup(h.tasks.Wait)
}

// Enqueue does the chunks one after the other.
func (h *here) Enqueue(ctx context.Context, work string, chunks []int, _ int64) error {
	h.tasks.Go(func() {
		for _, n := range chunks {
			_ = h.jobs.DoChunk(context.WithoutCancel(ctx), work, n) // the work shows what came of it
		}
	})
	return nil
}

type portfolioDoc struct {
	ID, Name, Description string
	Totals                struct {
		Sites         int
		NotAcceptable int `json:"not_acceptable"`
	}
}

type workDoc struct {
	ID, Kind, State                string
	Total, Done, Failed, Unchanged int
}

type sitesDoc struct {
	Sites []struct {
		Assessment, Reference, Name, Engine string
		Revision                            int
		WorstRatio                          float64 `json:"worst_ratio"`
		Acceptable                          bool
	}
}

func makePortfolio(c *apitest.Client, name string) portfolioDoc {
	var p portfolioDoc
	c.Post("/v1/portfolios", fmt.Appendf(nil, `{"name": %q}`, name)).Want(http.StatusCreated).JSON(&p)
	return p
}

// siteFile is a file of n invented sites, the first of them with the number from.
func siteFile(from, n int, height float64) []byte {
	var f strings.Builder
	f.WriteString("reference,name,latitude,longitude,ground_flashes_per_km2_year,flash_density_year,length_m,width_m,height_m,persons\n")
	for i := from; i < from+n; i++ {
		fmt.Fprintf(&f, "S%d,Invented site %d,%d,%d,%.1f,2020,%d,8,%g,6\n", i, i, i%80, i%170, 0.5+float64(i%9), 8+i%30, height)
	}
	return []byte(f.String())
}

func importFile(c *apitest.Client, portfolio, query string, file []byte) *apitest.Answer {
	return c.Do(http.MethodPost, "/v1/portfolios/"+portfolio+"/imports"+query, file, "Content-Type", "text/csv")
}

// ended waits for the end of the work in an answer.
func ended(t *testing.T, c *apitest.Client, a *apitest.Answer) workDoc {
	t.Helper()
	at := a.Want(http.StatusAccepted).Header.Get("Location")
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		var w workDoc
		c.Get(at).Want(http.StatusOK).JSON(&w)
		if w.Done+w.Failed+w.Unchanged > w.Total {
			t.Fatalf("counts do not add up: %+v", w)
		}
		if w.State == "done" || w.State == "cancelled" || w.State == "refused" {
			return w
		}
	}
	t.Fatal("the work does not end")
	return workDoc{}
}

func sitesOf(c *apitest.Client, portfolio, query string) sitesDoc {
	var s sitesDoc
	c.Get("/v1/portfolios/" + portfolio + "/sites" + query).Want(http.StatusOK).JSON(&s)
	return s
}

// portfolioOperations takes every operation on portfolios and work to its success.
func portfolioOperations(t *testing.T, c *apitest.Client) {
	p := makePortfolio(c, "P")
	at := "/v1/portfolios/" + p.ID
	c.Get("/v1/portfolios").Want(http.StatusOK)
	c.Do(http.MethodPatch, at, []byte(`{"description": "d"}`), "Content-Type", "application/merge-patch+json").Want(http.StatusOK)
	hut := []byte(`{"length_m": 10, "width_m": 8, "height_m": 5}`)
	c.Do(http.MethodPut, "/v1/presets/structure/hut", hut, "Content-Type", "application/json").Want(http.StatusCreated)
	c.Do(http.MethodPut, "/v1/presets/structure/hut", hut, "Content-Type", "application/json").Want(http.StatusOK)
	c.Get("/v1/presets").Want(http.StatusOK)
	c.Get("/v1/presets/structure/hut").Want(http.StatusOK)
	for _, end := range []string{"csv", "xlsx", "geojson"} {
		file := c.Get("/v1/import-template." + end).Want(http.StatusOK)
		w := c.Do(http.MethodPost, at+"/imports?mode=good_rows_only", file.Body, "Content-Type", file.MediaType())
		if end == "csv" && w.Status != http.StatusAccepted {
			t.Logf("template as it is: %d %s", w.Status, w.Body)
		}
	}
	w := ended(t, c, importFile(c, p.ID, "", siteFile(0, 3, 5)))
	if w.Done != 3 {
		t.Errorf("%+v", w)
	}
	c.Get(at).Want(http.StatusOK)
	sitesOf(c, p.ID, "")
	again := ended(t, c, c.Post(at+"/assessments", []byte(`{"which": "all"}`)))
	c.Get(at + "/changes").Want(http.StatusOK)
	c.Get("/v1/work/" + again.ID + "/events").Want(http.StatusOK)
	c.Get("/v1/work/" + again.ID + "/faults").Want(http.StatusOK)
	c.Delete("/v1/work/" + again.ID).Want(http.StatusOK)

	// A map that covers none of the sites makes them fail when they are computed, so that they can be tried again.
	m := upload(c, []byte(remoteMap)).ID
	failed := ended(t, c, c.Post(at+"/assessments", fmt.Appendf(nil, `{"which": "all", "flash_density_map": %q}`, m)))
	if failed.Failed == 0 || failed.Done != 0 {
		t.Errorf("%+v", failed)
	}
	ended(t, c, c.Do(http.MethodPost, "/v1/work/"+failed.ID+"/retries", nil))

	c.Delete("/v1/presets/structure/hut").Want(http.StatusNoContent)
	c.Delete(at).Want(http.StatusNoContent)
}

// remoteMap is an invented map of one degree in the far south.
const remoteMap = "ncols 2\nnrows 2\nxllcorner 0\nyllcorner -86\ncellsize 0.5\nNODATA_value -9999\n1 1\n1 1\n"

func TestPortfolioImport(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := makePortfolio(c, "Invented villages")
		w := ended(t, c, importFile(c, p.ID, "", siteFile(0, 300, 5)))
		if w.State != "done" || w.Done != 300 || w.Kind != "import" {
			t.Fatalf("%+v", w)
		}
		if w := ended(t, c, importFile(c, p.ID, "", siteFile(0, 300, 5))); w.Unchanged != 300 {
			t.Errorf("the same again: %+v", w)
		}
		if w := ended(t, c, importFile(c, p.ID, "", siteFile(290, 20, 9))); w.Done != 20 || w.Total != 20 {
			t.Errorf("10 changed, 10 new: %+v", w)
		}
		c.Get("/v1/portfolios/" + p.ID).Want(http.StatusOK).JSON(&p)
		if p.Totals.Sites != 310 {
			t.Errorf("%+v", p)
		}

		// Pages follow each other in the order of the rank, and nothing stands twice.
		seen, last := map[string]bool{}, -1.0
		for next := "/v1/portfolios/" + p.ID + "/sites?limit=100"; next != ""; {
			a := c.Get(next).Want(http.StatusOK)
			var page sitesDoc
			a.JSON(&page)
			for _, s := range page.Sites {
				if seen[s.Assessment] || last >= 0 && s.WorstRatio > last {
					t.Fatalf("%+v after %v", s, last)
				}
				seen[s.Assessment], last = true, s.WorstRatio
			}
			next = ""
			if l := a.Header.Get("Link"); l != "" {
				next = l[1:strings.Index(l, ">")]
			}
		}
		if len(seen) != 310 {
			t.Errorf("%d sites", len(seen))
		}
		if s := sitesOf(c, p.ID, "?q=site+305"); len(s.Sites) != 1 || s.Sites[0].Revision != 1 {
			t.Errorf("%+v", s)
		}
		s := sitesOf(c, p.ID, "?q=site+295&rank=name")
		if len(s.Sites) != 1 || s.Sites[0].Revision != 2 {
			t.Fatalf("%+v", s)
		}

		// A site is an assessment, and revising it changes the list.
		at := "/v1/assessments/" + s.Sites[0].Assessment
		c.Patch(at+"/revisions", `{"name": "renamed"}`).Want(http.StatusCreated)
		if s := sitesOf(c, p.ID, "?q=renamed"); len(s.Sites) != 1 || s.Sites[0].Revision != 3 {
			t.Errorf("%+v", s)
		}
		c.Patch(at+"/revisions", `{"reference": "S1"}`).Want(http.StatusConflict)
		c.Get(at + "/worksheet").Want(http.StatusOK)
		c.Delete(at).Want(http.StatusNoContent)
		if s := sitesOf(c, p.ID, "?q=renamed"); len(s.Sites) != 0 {
			t.Errorf("%+v", s)
		}
	})
}

func TestRefusedFiles(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := makePortfolio(c, "P")
		file := []byte(strings.Replace(string(siteFile(0, 5, 5)), "S2,Invented site 2,2,", "S2,Invented site 2,200,", 1))
		a := importFile(c, p.ID, "", file).Want(http.StatusUnprocessableEntity)
		problem := a.Problem()
		if len(problem.Errors) != 1 || !strings.Contains(problem.Detail, "1 of 5 rows") || !strings.Contains(string(a.Body), `"line":4`) || !strings.Contains(string(a.Body), "latitude") {
			t.Errorf("%s", a.Body)
		}
		var faults struct {
			Faults []struct {
				Row                   int
				Column, Value, Reason string
			}
		}
		c.Get(a.Header.Get("Location") + "/faults").Want(http.StatusOK).JSON(&faults)
		if len(faults.Faults) != 1 || faults.Faults[0].Row != 4 || faults.Faults[0].Column != "latitude" || faults.Faults[0].Value != "200" {
			t.Errorf("%+v", faults)
		}
		if s := sitesOf(c, p.ID, ""); len(s.Sites) != 0 {
			t.Errorf("%+v", s)
		}
		if w := ended(t, c, importFile(c, p.ID, "?mode=good_rows_only", file)); w.Done != 4 || w.Failed != 1 {
			t.Errorf("%+v", w)
		}
		importFile(c, p.ID, "", []byte("a,b\n1,2\n")).Want(http.StatusUnprocessableEntity)
		importFile(c, p.ID, "", []byte("")).Want(http.StatusUnprocessableEntity)
		c.Do(http.MethodPost, "/v1/portfolios/"+p.ID+"/imports", []byte("{}"), "Content-Type", "application/json").Want(http.StatusUnsupportedMediaType)
		problem = importFile(c, p.ID, "?mode=some&decimal=dot", file).Want(http.StatusBadRequest).Problem()
		if len(problem.Errors) != 2 {
			t.Errorf("%+v", problem)
		}
	})
}

func TestWhatIsNoPortfolio(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		const other = "01963b1c-6c00-7d3a-9c41-5be0c7b8a2f1"
		for _, id := range []string{other, "none"} {
			at := "/v1/portfolios/" + id
			for _, path := range []string{at, at + "/sites", at + "/changes", "/v1/work/" + id, "/v1/work/" + id + "/faults", "/v1/work/" + id + "/events"} {
				c.Get(path).Want(http.StatusNotFound)
			}
			importFile(c, id, "", siteFile(0, 1, 5)).Want(http.StatusNotFound)
			c.Post(at+"/assessments", []byte(`{"which": "all"}`)).Want(http.StatusNotFound)
			c.Delete(at).Want(http.StatusNotFound)
			c.Delete("/v1/work/" + id).Want(http.StatusNotFound)
			c.Do(http.MethodPost, "/v1/work/"+id+"/retries", nil).Want(http.StatusNotFound)
			c.Do(http.MethodPatch, at, []byte(`{}`), "Content-Type", "application/merge-patch+json").Want(http.StatusNotFound)
		}
		p := makePortfolio(c, "P")
		if got := c.Post("/v1/portfolios", []byte(`{"name": "P"}`)).Want(http.StatusConflict).Problem(); got.Kind() != "name-taken" {
			t.Errorf("%+v", got)
		}
		for _, bad := range []string{`{}`, `{"name": ""}`, `{"name": 1}`, `{"name": "a", "more": 1}`, `{"name": "a\nb"}`} {
			c.Post("/v1/portfolios", []byte(bad)).Want(http.StatusUnprocessableEntity)
		}
		at := "/v1/portfolios/" + p.ID
		for _, bad := range []string{`{}`, `{"which": "old"}`, `{"which": "all", "flash_density_map": "none"}`} {
			c.Post(at+"/assessments", []byte(bad)).Want(http.StatusUnprocessableEntity)
		}
		for _, bad := range []string{"?rank=size", "?acceptable=1", "?limit=0", "?bbox=1,2", "?cursor=x", "?cursor=", "?colour=red", "?review_due=maybe"} {
			c.Get(at + "/sites" + bad).Want(http.StatusBadRequest)
		}
		for _, bad := range []string{"?limit=501", "?cursor=x"} {
			c.Get("/v1/portfolios" + bad).Want(http.StatusBadRequest)
		}
		put := func(path, body string) *apitest.Answer {
			return c.Do(http.MethodPut, "/v1/presets/"+path, []byte(body), "Content-Type", "application/json")
		}
		put("roof/a", `{}`).Want(http.StatusNotFound)
		put("structure/a", `[]`).Want(http.StatusUnprocessableEntity)
		put("structure/a", `{"height_m": -1}`).Want(http.StatusUnprocessableEntity)
		put("structure/a", `{"hight_m": 1}`).Want(http.StatusUnprocessableEntity)
		put("line/a", `{"structure": "x"}`).Want(http.StatusUnprocessableEntity)
		put("line/a", `{`).Want(http.StatusBadRequest)
		c.Get("/v1/presets/line/a").Want(http.StatusNotFound)
		c.Delete("/v1/presets/line/a").Want(http.StatusNotFound)
	})
}

// Presets stand in for the columns they name.
func TestPresetsInAnImport(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := makePortfolio(c, "P")
		c.Do(http.MethodPut, "/v1/presets/structure/round%20hut", []byte(`{"length_m": 10, "width_m": 8, "height_m": 5}`), "Content-Type", "application/json").Want(http.StatusCreated)
		file := "reference,name,latitude,longitude,ground_flashes_per_km2_year,structure_preset\nA,Invented,1,2,3,round hut\n"
		if w := ended(t, c, importFile(c, p.ID, "", []byte(file))); w.Done != 1 {
			t.Errorf("%+v", w)
		}
		importFile(c, p.ID, "", []byte(strings.Replace(file, "round hut", "square hut", 1))).Want(http.StatusUnprocessableEntity)
	})
}

// The stream tells how far the work is until its end.
func TestWorkEvents(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := makePortfolio(c, "P")
		a := importFile(c, p.ID, "", siteFile(0, 600, 5)).Want(http.StatusAccepted)
		stream := c.Get(a.Header.Get("Location") + "/events").Want(http.StatusOK)
		if stream.MediaType() != "text/event-stream" {
			t.Errorf("%v", stream.Header)
		}
		events := strings.Split(strings.TrimSpace(string(stream.Body)), "\n\n")
		before := -1
		for i, e := range events {
			kind, data, _ := strings.Cut(e, "\ndata: ")
			var w workDoc
			if err := json.Unmarshal([]byte(data), &w); err != nil {
				t.Fatalf("%q: %v", e, err)
			}
			last := i == len(events)-1
			if (kind == "event: end") != last || w.Done < before || last && w.Done != 600 {
				t.Errorf("event %d of %d: %q", i, len(events), e)
			}
			before = w.Done
		}
	})
}

// Another version of the program finds all sites due, and tells what it changed.
func TestChangedEngine(t *testing.T) {
	for name, open := range map[string]func(testing.TB) store.Store{"SQLite": openSQLite, "PostgreSQL": openPostgres} {
		t.Run(name, func(t *testing.T) {
			db := open(t)
			c := newClient(t, newServer(t, db))
			p := makePortfolio(c, "P")
			at := "/v1/portfolios/" + p.ID
			ended(t, c, importFile(c, p.ID, "", siteFile(0, 20, 5)))
			c.Get(at + "/changes").Want(http.StatusNotFound) // never assessed again
			c = newClient(t, newServerOf(t, db, "levinward of another day"))
			w := ended(t, c, c.Post(at+"/assessments", []byte(`{"which": "due"}`)))
			if w.Done != 20 || w.Kind != "assess" {
				t.Fatalf("%+v", w)
			}
			var changes struct {
				Work  string
				Sites []struct {
					Before, After struct {
						Revision int
						Engine   string
					}
				}
			}
			c.Get(at + "/changes?limit=5").Want(http.StatusOK).JSON(&changes)
			if len(changes.Sites) != 5 || changes.Work != w.ID {
				t.Fatalf("%+v", changes)
			}
			for _, s := range changes.Sites {
				if s.Before.Revision != 1 || s.After.Revision != 2 || s.Before.Engine != testEngine || s.After.Engine == testEngine {
					t.Errorf("%+v", s)
				}
			}
		})
	}
}
