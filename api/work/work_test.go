package work_test

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"levinward/api"
	"levinward/api/apitest"
)

func TestPortfolioImport(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := apitest.MakePortfolio(c, "Invented villages")
		w := apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", apitest.SiteFile(0, 300, 5)))
		if w.State != "done" || w.Done != 300 || w.Kind != "import" {
			t.Fatalf("%+v", w)
		}
		if w := apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", apitest.SiteFile(0, 300, 5))); w.Unchanged != 300 {
			t.Errorf("the same again: %+v", w)
		}
		if w := apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", apitest.SiteFile(290, 20, 9))); w.Done != 20 || w.Total != 20 {
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
			var page apitest.Sites
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
		if s := apitest.SitesOf(c, p.ID, "?q=site+305"); len(s.Sites) != 1 || s.Sites[0].Revision != 1 {
			t.Errorf("%+v", s)
		}
		s := apitest.SitesOf(c, p.ID, "?q=site+295&rank=name")
		if len(s.Sites) != 1 || s.Sites[0].Revision != 2 {
			t.Fatalf("%+v", s)
		}

		// A site is an assessment, and revising it changes the list.
		at := "/v1/assessments/" + s.Sites[0].Assessment
		c.Patch(at+"/revisions", `{"name": "renamed"}`).Want(http.StatusCreated)
		if s := apitest.SitesOf(c, p.ID, "?q=renamed"); len(s.Sites) != 1 || s.Sites[0].Revision != 3 {
			t.Errorf("%+v", s)
		}
		c.Patch(at+"/revisions", `{"reference": "S1"}`).Want(http.StatusConflict)
		c.Get(at + "/worksheet").Want(http.StatusOK)
		c.Delete(at).Want(http.StatusNoContent)
		if s := apitest.SitesOf(c, p.ID, "?q=renamed"); len(s.Sites) != 0 {
			t.Errorf("%+v", s)
		}
	})
}

func TestRefusedFiles(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := apitest.MakePortfolio(c, "P")
		file := []byte(strings.Replace(string(apitest.SiteFile(0, 5, 5)), "S2,Invented site 2,2,", "S2,Invented site 2,200,", 1))
		a := apitest.ImportFile(c, p.ID, "", file).Want(http.StatusUnprocessableEntity)
		problem := a.Problem()
		if len(problem.Errors) != 1 || !strings.Contains(problem.Detail, "1 of 5 rows") || !strings.Contains(string(a.Body), `"line":4`) ||
			!strings.Contains(string(a.Body), "latitude") {
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
		if s := apitest.SitesOf(c, p.ID, ""); len(s.Sites) != 0 {
			t.Errorf("%+v", s)
		}
		if w := apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "?mode=good_rows_only", file)); w.Done != 4 || w.Failed != 1 {
			t.Errorf("%+v", w)
		}
		header, _, _ := bytes.Cut(file, []byte("\n"))
		for whole, want := range map[string]string{
			"a,b\n1,2\n":   "is no header: the first row that is not empty must hold names of columns, for instance name, latitude, longitude; the template has them",
			"":             "the file is empty",
			string(header): "the file has a header and no rows",
		} {
			problem := apitest.ImportFile(c, p.ID, "", []byte(whole)).Want(http.StatusUnprocessableEntity).Problem()
			if problem.Detail != "the file as a whole was refused; nothing was stored" || len(problem.Errors) != 1 ||
				problem.Errors[0].Reason != want {
				t.Errorf("%q: %+v", whole, problem)
			}
		}
		c.Do(http.MethodPost, "/v1/portfolios/"+p.ID+"/imports", []byte("{}"), "Content-Type",
			"application/json").Want(http.StatusUnsupportedMediaType)
		problem = apitest.ImportFile(c, p.ID, "?mode=some&decimal=dot", file).Want(http.StatusBadRequest).Problem()
		if len(problem.Errors) != 2 {
			t.Errorf("%+v", problem)
		}
	})
}

// A file over the limit is refused as such, whether the request says its length or not, and nothing of it stays.
func TestImportsAreBounded(t *testing.T) {
	s := apitest.OpenSQLite(t)
	file := apitest.SiteFile(0, 3000, 5)
	limited := func(bytes int) *apitest.Client {
		return apitest.NewClient(t, apitest.NewServerWith(t, api.Config{Store: s, Limits: api.Limits{ImportBytes: int64(bytes)}}))
	}
	c := limited(len(file) - 1)
	p := apitest.MakePortfolio(c, "Villages")
	unsized := func(r *http.Request) *http.Request {
		r.Body, r.ContentLength = struct{ io.ReadCloser }{r.Body}, -1
		return r
	}
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
	if stored := apitest.SitesOf(c, p.ID, ""); len(stored.Sites) != 0 {
		t.Errorf("%+v", stored)
	}
	c = limited(len(file))
	a := c.Send(file, unsized, http.MethodPost, "/v1/portfolios/"+p.ID+"/imports", "Content-Type", "text/csv")
	if w := apitest.Ended(t, c, a); w.Done != 3000 {
		t.Errorf("%+v", w)
	}
}

// The stream tells how far the work is until its end.
func TestWorkEvents(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := apitest.MakePortfolio(c, "P")
		a := apitest.ImportFile(c, p.ID, "", apitest.SiteFile(0, 600, 5)).Want(http.StatusAccepted)
		stream := c.Get(a.Header.Get("Location") + "/events").Want(http.StatusOK)
		if stream.MediaType() != "text/event-stream" {
			t.Errorf("%v", stream.Header)
		}
		events := strings.Split(strings.TrimSpace(string(stream.Body)), "\n\n")
		before := -1
		for i, e := range events {
			kind, data, _ := strings.Cut(e, "\ndata: ")
			var w apitest.Work
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
	for name, open := range apitest.Stores() {
		t.Run(name, func(t *testing.T) {
			db := open(t)
			c := apitest.NewClient(t, apitest.NewServer(t, db))
			p := apitest.MakePortfolio(c, "P")
			at := "/v1/portfolios/" + p.ID
			c.Get(at + "/changes").Want(http.StatusNotFound) // no work has ended
			apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", apitest.SiteFile(0, 20, 5)))
			c = apitest.NewClient(t, apitest.NewServerOf(t, db, "levinward of another day"))
			w := apitest.Ended(t, c, c.Post(at+"/assessments", []byte(`{"which": "due"}`)))
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
				if s.Before.Revision != 1 || s.After.Revision != 2 || s.Before.Engine != apitest.Engine || s.After.Engine == apitest.Engine {
					t.Errorf("%+v", s)
				}
			}
		})
	}
}

// Work can be found when its answer was lost: page by page, the newest first.
func TestWorkIsListed(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		p, other := apitest.MakePortfolio(c, "P"), apitest.MakePortfolio(c, "other")
		at := "/v1/portfolios/" + p.ID + "/work"
		var want []apitest.Work
		for n := range 3 {
			want = append(want, apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", apitest.SiteFile(n, 2, 5))))
		}
		apitest.ImportFile(c, p.ID, "", []byte("name\n\n")).Want(http.StatusUnprocessableEntity) // refused, and listed
		want = append(want, apitest.Work{State: "refused"},
			apitest.Ended(t, c, c.Post("/v1/portfolios/"+p.ID+"/assessments", []byte(`{"which": "all"}`))))
		apitest.Ended(t, c, apitest.ImportFile(c, other.ID, "", apitest.SiteFile(0, 1, 5)))
		slices.Reverse(want)

		var got []apitest.Work
		for next, pages := at+"?limit=2", 0; next != ""; pages++ {
			a := c.Get(next).Want(http.StatusOK)
			var page struct{ Work []apitest.Work }
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
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		older := apitest.UploadMap(c, gridded("1.5 2 2.5\n4 8 6\n3 3.5 12\n"), "name", "Invented valley", "to_year", "2020")
		other := apitest.UploadMap(c, gridded("1 1 1\n1 1 1\n1 1 1\n"), "name", "Invented coast")
		p := apitest.MakePortfolio(c, "P")
		at := "/v1/portfolios/" + p.ID
		apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "",
			sitesOn(older.ID, [2]float64{10.5, 1.5}, [2]float64{11.5, 0.5}, [2]float64{12.5, -0.5})))
		apart := strings.ReplaceAll(string(sitesOn(other.ID, [2]float64{10.5, 1.5})), "S0", "T0")
		apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", []byte(apart)))

		newer := apitest.UploadMap(c, gridded("2.25 2 2.5\n4 4 6\n3 3.5 18\n"), "name", "Invented valley")
		want := map[string][2]float64{"S0": {1.5, 2.25}, "S1": {8, 4}, "S2": {12, 18}} // N_G in the maps
		w := apitest.Ended(t, c, c.Post(at+"/assessments", []byte(`{"which": "due"}`)))
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
			if s.Before.NG != ng[0] || s.After.NG != ng[1] || s.Before.Map != older.ID || s.After.Map != newer.ID || s.Before.Revision != 1 ||
				s.After.Revision != 2 {
				t.Errorf("%s: %+v, N_G in the maps %v", s.Reference, s, ng)
			}
			times := ng[1] / ng[0]
			if s.Before.Loss <= 0 || math.Abs(s.After.Loss-times*s.Before.Loss) > 1e-12*s.After.Loss ||
				math.Abs(s.After.Ratio-times*s.Before.Ratio) > 1e-12*s.After.Ratio {
				t.Errorf("%s: R_1 is %v after %v, N_G is %v times as high", s.Reference, s.After.Loss, s.Before.Loss, times)
			}
			if s.Before.Review >= s.After.Review {
				t.Errorf("%s: review due on %s after %s", s.Reference, s.After.Review, s.Before.Review)
			}
			// The assessment says the same, and its first revision still says what it said.
			for revision, m := range map[string]string{"": newer.ID, "/revisions/1": older.ID} {
				var r apitest.DensityUsed
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
		if w := apitest.Ended(t, c, c.Post(at+"/assessments", []byte(`{"which": "due"}`))); w.Total != 0 || len(list.Sites) != 4 {
			t.Errorf("due again: %+v", w)
		}
	})
}

// What was read of a workbook in a way worth knowing is told with its rows, whether the file is taken or refused.
func TestNotesOfAnImport(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := apitest.MakePortfolio(c, "P")
		book := func(change func(f *excelize.File, sheet string)) []byte {
			f := excelize.NewFile()
			defer f.Close()
			sheet := f.GetSheetName(0)
			for i, line := range strings.Split(strings.TrimSpace(string(apitest.SiteFile(0, 8, 5))), "\n") {
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
			return c.Do(http.MethodPost, "/v1/portfolios/"+p.ID+"/imports", file, "Content-Type",
				"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
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
			if len(got) != 3 || !strings.Contains(got[0].Note, "hidden") || got[1].Column != "length_m" || got[2].Column != "width_m" ||
				!strings.Contains(got[2].Note, "formula") {
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
