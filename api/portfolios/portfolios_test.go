package portfolios_test

import (
	"bytes"
	"net/http"
	"strings"
	"testing"

	"levinward/api/apitest"
	"levinward/api/batch"
)

func TestWhatIsNoPortfolio(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		const other = "01963b1c-6c00-7d3a-9c41-5be0c7b8a2f1"
		for _, id := range []string{other, "none"} {
			at := "/v1/portfolios/" + id
			for _, path := range []string{at, at + "/sites", at + "/changes", at + "/work", "/v1/work/" + id, "/v1/work/" + id + "/faults",
				"/v1/work/" + id + "/events"} {
				c.Get(path).Want(http.StatusNotFound)
			}
			apitest.ImportFile(c, id, "", apitest.SiteFile(0, 1, 5)).Want(http.StatusNotFound)
			c.Post(at+"/assessments", []byte(`{"which": "all"}`)).Want(http.StatusNotFound)
			c.Delete(at).Want(http.StatusNotFound)
			c.Delete("/v1/work/" + id).Want(http.StatusNotFound)
			c.Do(http.MethodPost, "/v1/work/"+id+"/retries", nil).Want(http.StatusNotFound)
			c.Do(http.MethodPatch, at, []byte(`{}`), "Content-Type", "application/merge-patch+json").Want(http.StatusNotFound)
		}
		p := apitest.MakePortfolio(c, "P")
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
		for _, bad := range []string{"?rank=size", "?acceptable=1", "?limit=0", "?bbox=1,2", "?cursor=x", "?cursor=", "?colour=red",
			"?review_due=maybe"} {
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

// Without a work named, the changes are those of the newest work that left any, an import or a re-assessment.
func TestChangesOfTheLastWork(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := apitest.MakePortfolio(c, "P")
		changed := func(work apitest.Work, sites int) {
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
		first := apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", apitest.SiteFile(0, 8, 5)))
		changed(first, 0) // what is new has not changed
		second := apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", apitest.SiteFile(0, 8, 6)))
		changed(second, 8)
		third := apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", apitest.SiteFile(5, 9, 7)))
		changed(third, 3) // the others are new
		if again := apitest.Ended(t, c, c.Post("/v1/portfolios/"+p.ID+"/assessments", []byte(`{"which": "all"}`))); again.Unchanged != 14 {
			t.Errorf("%+v", again)
		}
		changed(third, 3)
	})
}

func TestImportColumns(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	a := c.Get("/v1/import-columns.csv").Want(http.StatusOK)
	if !bytes.Equal(a.Body, batch.Dictionary()) || a.MediaType() != "text/csv" ||
		!strings.Contains(a.Header.Get("Content-Disposition"), `"import-columns.csv"`) {
		t.Errorf("%v\n%s", a.Header, a.Body)
	}
}
