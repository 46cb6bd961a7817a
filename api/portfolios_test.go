package api_test

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"levinward/api/apitest"
	"levinward/api/batch"
	"levinward/api/jobs"
	"levinward/store"
)

// workHere does the works of a server under test as soon as they are queued.
func workHere(t testing.TB, j *jobs.Jobs) {
	var tasks sync.WaitGroup
	j.WhenQueued(func(work string) {
		tasks.Go(func() { _ = j.Drain(context.Background(), work) }) // the work shows what came of it
	})
	t.Cleanup(tasks.Wait)
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
	for end := time.Now().Add(5 * time.Minute); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
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
	c.Get(at + "/work").Want(http.StatusOK)
	c.Get("/v1/import-columns.csv").Want(http.StatusOK)
	c.Get("/v1/work/" + again.ID + "/events").Want(http.StatusOK)
	c.Get("/v1/work/" + again.ID + "/faults").Want(http.StatusOK)
	c.Get("/v1/work/" + again.ID + "/notes").Want(http.StatusOK)
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
		header, _, _ := bytes.Cut(file, []byte("\n"))
		for whole, want := range map[string]string{
			"a,b\n1,2\n":   "is no header: the first row that is not empty must hold names of columns, for instance name, latitude, longitude; the template has them",
			"":             "the file is empty",
			string(header): "the file has a header and no rows",
		} {
			problem := importFile(c, p.ID, "", []byte(whole)).Want(http.StatusUnprocessableEntity).Problem()
			if problem.Detail != "the file as a whole was refused; nothing was stored" || len(problem.Errors) != 1 || problem.Errors[0].Reason != want {
				t.Errorf("%q: %+v", whole, problem)
			}
		}
		c.Do(http.MethodPost, "/v1/portfolios/"+p.ID+"/imports", []byte("{}"), "Content-Type", "application/json").Want(http.StatusUnsupportedMediaType)
		problem = importFile(c, p.ID, "?mode=some&decimal=dot", file).Want(http.StatusBadRequest).Problem()
		if len(problem.Errors) != 2 {
			t.Errorf("%+v", problem)
		}
	})
}

// A file over the limit is refused as such, whether the request says its length or not, and nothing of it stays.
func TestImportsAreBounded(t *testing.T) {
	server := newServer(t, openSQLite(t))
	c := newClient(t, server)
	p := makePortfolio(c, "Villages")
	file := siteFile(0, 3000, 5)
	unsized := func(r *http.Request) *http.Request {
		r.Body, r.ContentLength = struct{ io.ReadCloser }{r.Body}, -1
		return r
	}
	server.LimitImports(int64(len(file)) - 1)
	for _, media := range []string{"text/csv", "application/geo+json", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"} {
		body := file
		if media == "application/geo+json" {
			body = slices.Concat([]byte(`{"type": "FeatureCollection", "features": [`), bytes.Repeat([]byte(" "), len(file)), []byte("]}"))
		}
		at := "/v1/portfolios/" + p.ID + "/imports"
		importing := c.Do(http.MethodPost, at, body, "Content-Type", media).Want(http.StatusRequestEntityTooLarge).Problem()
		streaming := c.Send(body, unsized, http.MethodPost, at, "Content-Type", media).Want(http.StatusRequestEntityTooLarge).Problem()
		if importing.Kind() != "too-large" || streaming.Kind() != importing.Kind() {
			t.Errorf("%s: %+v, %+v", media, importing, streaming)
		}
	}
	if s := sitesOf(c, p.ID, ""); len(s.Sites) != 0 {
		t.Errorf("%+v", s)
	}
	server.LimitImports(int64(len(file)))
	a := c.Send(file, unsized, http.MethodPost, "/v1/portfolios/"+p.ID+"/imports", "Content-Type", "text/csv")
	if w := ended(t, c, a); w.Done != 3000 {
		t.Errorf("%+v", w)
	}
}

func TestWhatIsNoPortfolio(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		const other = "01963b1c-6c00-7d3a-9c41-5be0c7b8a2f1"
		for _, id := range []string{other, "none"} {
			at := "/v1/portfolios/" + id
			for _, path := range []string{at, at + "/sites", at + "/changes", at + "/work", "/v1/work/" + id, "/v1/work/" + id + "/faults", "/v1/work/" + id + "/events"} {
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
			c.Get(at + "/changes").Want(http.StatusNotFound) // no work has ended
			ended(t, c, importFile(c, p.ID, "", siteFile(0, 20, 5)))
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

// Without a work named, the changes are those of the newest work that left any, an import or a re-assessment.
func TestChangesOfTheLastWork(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := makePortfolio(c, "P")
		changed := func(work workDoc, sites int) {
			t.Helper()
			var changes struct {
				Work  string
				Sites []struct{ Assessment string }
			}
			c.Get("/v1/portfolios/" + p.ID + "/changes").Want(http.StatusOK).JSON(&changes)
			if changes.Work != work.ID || len(changes.Sites) != sites {
				t.Errorf("%+v, want %d sites of %s", changes, sites, work.ID)
			}
		}
		first := ended(t, c, importFile(c, p.ID, "", siteFile(0, 8, 5)))
		changed(first, 0) // what is new has not changed
		second := ended(t, c, importFile(c, p.ID, "", siteFile(0, 8, 6)))
		changed(second, 8)
		third := ended(t, c, importFile(c, p.ID, "", siteFile(5, 9, 7)))
		changed(third, 3) // the others are new
		if again := ended(t, c, c.Post("/v1/portfolios/"+p.ID+"/assessments", []byte(`{"which": "all"}`))); again.Unchanged != 14 {
			t.Errorf("%+v", again)
		}
		changed(third, 3)
	})
}

// Work can be found when its answer was lost: page by page, the newest first.
func TestWorkIsListed(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		p, other := makePortfolio(c, "P"), makePortfolio(c, "other")
		at := "/v1/portfolios/" + p.ID + "/work"
		var want []workDoc
		for n := range 3 {
			want = append(want, ended(t, c, importFile(c, p.ID, "", siteFile(n, 2, 5))))
		}
		importFile(c, p.ID, "", []byte("name\n\n")).Want(http.StatusUnprocessableEntity) // refused, and listed
		want = append(want, workDoc{State: "refused"}, ended(t, c, c.Post("/v1/portfolios/"+p.ID+"/assessments", []byte(`{"which": "all"}`))))
		ended(t, c, importFile(c, other.ID, "", siteFile(0, 1, 5)))
		slices.Reverse(want)

		var got []workDoc
		for next, pages := at+"?limit=2", 0; next != ""; pages++ {
			a := c.Get(next).Want(http.StatusOK)
			var page struct{ Work []workDoc }
			a.JSON(&page)
			got = append(got, page.Work...)
			next, _, _ = strings.Cut(strings.TrimPrefix(a.Header.Get("Link"), "<"), ">")
			if next != "" && len(page.Work) != 2 || pages > 3 {
				t.Fatalf("page %d: %+v, then %q", pages, page, next)
			}
		}
		if len(got) != len(want) {
			t.Fatalf("%+v\nwant %+v", got, want)
		}
		for i, w := range want {
			if w.ID != "" && got[i] != w || got[i].State != w.State {
				t.Errorf("%d: %+v, want %+v", i, got[i], w)
			}
		}
		for _, bad := range []string{"?limit=0", "?limit=501", "?cursor=", "?cursor=x", "?state=done"} {
			c.Get(at + bad).Want(http.StatusBadRequest)
		}
	})
}

func TestImportColumns(t *testing.T) {
	c := newClient(t, newServer(t, openSQLite(t)))
	a := c.Get("/v1/import-columns.csv").Want(http.StatusOK)
	if !bytes.Equal(a.Body, batch.Dictionary()) || a.MediaType() != "text/csv" || !strings.Contains(a.Header.Get("Content-Disposition"), `"import-columns.csv"`) {
		t.Errorf("%v\n%s", a.Header, a.Body)
	}
}

// sitesOn is a file of invented sites at longitudes and latitudes, S0, S1 …, their N_G from a map.
func sitesOn(m string, places ...[2]float64) []byte {
	var f strings.Builder
	f.WriteString("reference,name,latitude,longitude,flash_density_map,length_m,width_m,height_m,persons\n")
	for i, p := range places {
		fmt.Fprintf(&f, "S%d,Invented site %d,%v,%v,%s,20,8,5,6\n", i, i, p[1], p[0], m)
	}
	return []byte(f.String())
}

// gridded is a map of 3 x 3 cells of one degree, its south-west corner at 10 E, 1 S.
func gridded(cells string) []byte {
	return []byte("ncols 3\nnrows 3\nxllcorner 10\nyllcorner -1\ncellsize 1\nNODATA_value -9999\n" + cells)
}

// Sites whose map was followed by a newer one of its name take N_G from that. What N_G is at the
// centre of a cell stands in the map, and every number of dangerous events, so every risk, is N_G times
// something that the map does not change (IEC 62305-2:2010, Annex A, A.2.4 to A.5).
func TestNewerMap(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		older := upload(c, gridded("1.5 2 2.5\n4 8 6\n3 3.5 12\n"), "name", "Invented valley", "to_year", "2020")
		other := upload(c, gridded("1 1 1\n1 1 1\n1 1 1\n"), "name", "Invented coast")
		p := makePortfolio(c, "P")
		at := "/v1/portfolios/" + p.ID
		ended(t, c, importFile(c, p.ID, "", sitesOn(older.ID, [2]float64{10.5, 1.5}, [2]float64{11.5, 0.5}, [2]float64{12.5, -0.5})))
		apart := strings.ReplaceAll(string(sitesOn(other.ID, [2]float64{10.5, 1.5})), "S0", "T0")
		ended(t, c, importFile(c, p.ID, "", []byte(apart)))

		newer := upload(c, gridded("2.25 2 2.5\n4 4 6\n3 3.5 18\n"), "name", "Invented valley")
		want := map[string][2]float64{"S0": {1.5, 2.25}, "S1": {8, 4}, "S2": {12, 18}} // N_G in the maps
		w := ended(t, c, c.Post(at+"/assessments", []byte(`{"which": "due"}`)))
		if w.State != "done" || w.Total != 3 || w.Done != 3 {
			t.Fatalf("%+v", w)
		}

		type state struct {
			Revision int
			NG       float64 `json:"ground_flashes_per_km2_year"`
			Map      string  `json:"flash_density_map"`
			Loss     float64 `json:"loss_of_human_life"`
			Ratio    float64 `json:"worst_ratio"`
			Review   string  `json:"review_due"`
		}
		var changes struct {
			Work  string
			Sites []struct {
				Assessment, Reference string
				Before, After         state
			}
		}
		c.Get(at + "/changes").Want(http.StatusOK).JSON(&changes)
		if len(changes.Sites) != 3 || changes.Work != w.ID {
			t.Fatalf("%+v", changes)
		}
		for _, s := range changes.Sites {
			ng := want[s.Reference]
			if s.Before.NG != ng[0] || s.After.NG != ng[1] || s.Before.Map != older.ID || s.After.Map != newer.ID || s.Before.Revision != 1 || s.After.Revision != 2 {
				t.Errorf("%s: %+v, N_G in the maps %v", s.Reference, s, ng)
			}
			times := ng[1] / ng[0]
			if s.Before.Loss <= 0 || math.Abs(s.After.Loss-times*s.Before.Loss) > 1e-12*s.After.Loss || math.Abs(s.After.Ratio-times*s.Before.Ratio) > 1e-12*s.After.Ratio {
				t.Errorf("%s: R_1 is %v after %v, N_G is %v times as high", s.Reference, s.After.Loss, s.Before.Loss, times)
			}
			if s.Before.Review >= s.After.Review {
				t.Errorf("%s: review due on %s after %s", s.Reference, s.After.Review, s.Before.Review)
			}
			// The assessment says the same, and its first revision still says what it said.
			for revision, m := range map[string]string{"": newer.ID, "/revisions/1": older.ID} {
				var r densityUsed
				c.Get("/v1/assessments/" + s.Assessment + revision).Want(http.StatusOK).JSON(&r)
				if r.Used.Map != m || r.Used.NG != ng[0] && m == older.ID || r.Used.NG != ng[1] && m == newer.ID {
					t.Errorf("%s%s: %+v", s.Reference, revision, r.Used)
				}
			}
			delete(want, s.Reference)
		}
		if len(want) != 0 {
			t.Errorf("not told of: %v", want)
		}
		var list struct {
			Sites []struct {
				Reference string
				state
			}
		}
		c.Get(at + "/sites").Want(http.StatusOK).JSON(&list)
		for _, s := range list.Sites {
			if apart := s.Reference == "T0"; apart != (s.Map == other.ID) || !apart && s.Map != newer.ID || apart && s.Revision != 1 {
				t.Errorf("listed %+v", s)
			}
		}
		if w := ended(t, c, c.Post(at+"/assessments", []byte(`{"which": "due"}`))); w.Total != 0 || len(list.Sites) != 4 {
			t.Errorf("due again: %+v", w)
		}
	})
}

// What was read of a workbook in a way worth knowing is told with its rows, whether the file is taken or refused.
func TestNotesOfAnImport(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := makePortfolio(c, "P")
		book := func(change func(f *excelize.File, sheet string)) []byte {
			f := excelize.NewFile()
			defer f.Close()
			sheet := f.GetSheetName(0)
			for i, line := range strings.Split(strings.TrimSpace(string(siteFile(0, 8, 5))), "\n") {
				for k, text := range strings.Split(line, ",") {
					cell, err := excelize.CoordinatesToCellName(k+1, i+1)
					if err == nil {
						err = f.SetCellValue(sheet, cell, text)
					}
					if v, no := strconv.ParseFloat(text, 64); no == nil && err == nil {
						err = f.SetCellValue(sheet, cell, v)
					}
					if err != nil {
						t.Fatal(err)
					}
				}
			}
			change(f, sheet)
			var b bytes.Buffer
			if err := f.Write(&b); err != nil {
				t.Fatal(err)
			}
			return b.Bytes()
		}
		noted := func(f *excelize.File, sheet string) {
			err := errors.Join(f.SetRowVisible(sheet, 3, false), f.SetRowVisible(sheet, 4, false), f.SetRowVisible(sheet, 8, false),
				f.SetCellFormula(sheet, "G4", "2*4"), f.SetCellFormula(sheet, "H5", "2*4"))
			if err != nil {
				t.Fatal(err)
			}
		}
		type note struct {
			Column, Note string
			Count        int
			Rows         []struct{ First, Last int }
		}
		notesOf := func(a *apitest.Answer) []note {
			var list struct{ Notes []note }
			c.Get(a.Header.Get("Location") + "/notes").Want(http.StatusOK).JSON(&list)
			slices.SortFunc(list.Notes, func(x, y note) int { return cmp.Compare(x.Column, y.Column) })
			return list.Notes
		}
		send := func(file []byte) *apitest.Answer {
			return c.Do(http.MethodPost, "/v1/portfolios/"+p.ID+"/imports", file, "Content-Type", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
		}
		for _, bad := range []bool{false, true} {
			a := send(book(func(f *excelize.File, sheet string) {
				noted(f, sheet)
				if bad {
					if err := f.SetCellValue(sheet, "I4", "tall"); err != nil {
						t.Fatal(err)
					}
				}
			}))
			status := http.StatusAccepted
			if bad {
				status = http.StatusUnprocessableEntity
			}
			a.Want(status)
			var w struct{ Total, Failed, Noted int }
			c.Get(a.Header.Get("Location")).Want(http.StatusOK).JSON(&w)
			if w.Total != 8 || w.Noted != 4 || (w.Failed > 0) != bad {
				t.Errorf("%+v", w)
			}
			got := notesOf(a)
			if len(got) != 3 || !strings.Contains(got[0].Note, "hidden") || got[1].Column != "length_m" || got[2].Column != "width_m" || !strings.Contains(got[2].Note, "formula") {
				t.Fatalf("%+v", got)
			}
			if got[0].Count != 3 || fmt.Sprint(got[0].Rows) != "[{3 4} {8 8}]" || fmt.Sprint(got[1].Rows, got[2].Rows) != "[{4 4}] [{5 5}]" {
				t.Errorf("%+v", got)
			}
		}
		if a := send(book(func(*excelize.File, string) {})); len(notesOf(a)) != 0 {
			t.Errorf("%+v", notesOf(a))
		}
		c.Get("/v1/work/none/notes").Want(http.StatusNotFound)
	})
}
