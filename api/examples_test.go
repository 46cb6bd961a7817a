package api_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"testing"

	"levinward/api/apitest"
	"levinward/store"
)

// everyDeviceOperation takes every operation on devices to every success.
func everyDeviceOperation(c *apitest.Client) {
	a := c.Post(apitest.DevicesPath, []byte(`{"reference": "every-1", "up_kv": 1.5}`)).Want(http.StatusCreated)
	at := a.Header.Get("Location")
	c.Get(at).Want(http.StatusOK)
	c.Get(at, "If-None-Match", a.Header.Get("ETag")).Want(http.StatusNotModified)
	apitest.PutJSON(c, at, []byte(`{"reference": "every-2"}`)).Want(http.StatusOK)
	apitest.PostTable(c, "", "reference\nevery-3\nevery-4\n").Want(http.StatusOK)
	c.Get(apitest.DevicesPath).Want(http.StatusOK)
	c.Get(apitest.DevicesPath + "/columns.csv").Want(http.StatusOK)
	c.Delete(at).Want(http.StatusNoContent)
}

// everySiteDocument takes the operations on the sites of a portfolio to every success they state.
func everySiteDocument(t *testing.T, c *apitest.Client, s store.Store) {
	t.Helper()
	p := apitest.OpenPortfolio(t, s, "Invented north")
	ids := p.Add(t, apitest.Smallest(t))
	for _, path := range []string{"/ogc", "/ogc/api", "/ogc/conformance", "/ogc/collections", "/ogc/collections/" + p.ID,
		"/ogc/collections/" + p.ID + "/items",
		"/ogc/collections/" + p.ID + "/items/" + ids[0], "/v1/portfolios/" + p.ID + "/sites.csv", "/v1/portfolios/" + p.ID + "/sites.xlsx",
		"/v1/portfolios/" + p.ID + "/sites.geojson", "/v1/portfolios/" + p.ID + "/sites.gpkg"} {
		c.Get(path).Want(http.StatusOK)
	}
	c.Post("/v1/portfolios/"+p.ID+"/budget", []byte(`{"budget": "10", "relative": true, "objective": "persons_at_risk"}`)).Want(http.StatusOK)
}

// everyMapOperation takes the operations on maps to every success.
func everyMapOperation(t testing.TB, c *apitest.Client) {
	at := "/v1/flash-density-maps/" + apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc")).ID
	for _, path := range []string{"/v1/flash-density-maps", at, at + "/sample?longitude=11.4&latitude=0.1"} {
		c.Get(path).Want(http.StatusOK)
	}
	c.Delete(at).Want(http.StatusNoContent)
}

// sendExamples sends every example of a body that the contract has.
func sendExamples(t *testing.T, c *apitest.Client) {
	for path, item := range c.Document().Paths.Map() {
		if item.Post == nil || len(item.Parameters) > 0 || item.Post.RequestBody.Value.Content["application/json"] == nil {
			continue
		}
		for name, example := range item.Post.RequestBody.Value.Content["application/json"].Examples {
			body, err := json.Marshal(example.Value.Value)
			if err != nil {
				t.Fatal(err)
			}
			if a := c.Post(path, body); a.Status >= 300 {
				t.Errorf("%s, example %s: %d %s", path, name, a.Status, a.Body)
			}
		}
	}
}

// everyPortfolioOperation takes every operation on portfolios and work to its success.
func everyPortfolioOperation(t *testing.T, c *apitest.Client) {
	p := apitest.MakePortfolio(c, "P")
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
	w := apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", apitest.SiteFile(0, 3, 5)))
	if w.Done != 3 {
		t.Errorf("%+v", w)
	}
	c.Get(at).Want(http.StatusOK)
	apitest.SitesOf(c, p.ID, "")
	again := apitest.Ended(t, c, c.Post(at+"/assessments", []byte(`{"which": "all"}`)))
	c.Get(at + "/changes").Want(http.StatusOK)
	c.Get(at + "/work").Want(http.StatusOK)
	c.Get("/v1/import-columns.csv").Want(http.StatusOK)
	c.Get("/v1/work/" + again.ID + "/events").Want(http.StatusOK)
	c.Get("/v1/work/" + again.ID + "/faults").Want(http.StatusOK)
	c.Get("/v1/work/" + again.ID + "/notes").Want(http.StatusOK)
	c.Delete("/v1/work/" + again.ID).Want(http.StatusOK)

	// A map that covers none of the sites makes them fail when they are computed, so that they can be tried again.
	m := apitest.UploadMap(c, []byte(remoteMap)).ID
	failed := apitest.Ended(t, c, c.Post(at+"/assessments", fmt.Appendf(nil, `{"which": "all", "flash_density_map": %q}`, m)))
	if failed.Failed == 0 || failed.Done != 0 {
		t.Errorf("%+v", failed)
	}
	apitest.Ended(t, c, c.Do(http.MethodPost, "/v1/work/"+failed.ID+"/retries", nil))

	c.Delete("/v1/presets/structure/hut").Want(http.StatusNoContent)
	c.Delete(at).Want(http.StatusNoContent)
}

// remoteMap is an invented map of one degree in the far south.
const remoteMap = "ncols 2\nnrows 2\nxllcorner 0\nyllcorner -86\ncellsize 0.5\nNODATA_value -9999\n1 1\n1 1\n"

// everyReferenceOperation takes every operation on the reference to its success.
func everyReferenceOperation(t *testing.T, c *apitest.Client) {
	t.Helper()
	c.Get("/v1/reference/values").Want(http.StatusOK)
	table := apitest.ReviewedBy(t, c, "A. Reader", [3]string{apitest.IsolatedSite, "yes", ""}, [3]string{apitest.OfficeLoss, "no", "0.01"})
	var doc apitest.ReviewsList
	apitest.PutReviews(c, table).Want(http.StatusOK).JSON(&doc)
	c.Get("/v1/reference/reviews").Want(http.StatusOK)
	c.Get("/v1/reference/reviews/" + doc.Hash).Want(http.StatusOK)
	c.Delete("/v1/reference/reviews").Want(http.StatusNoContent)
}

// everyWebhookOperation takes every operation on webhooks to its success.
func everyWebhookOperation(c *apitest.Client) {
	w := apitest.CreateWebhook(c, "https://quotes.example/told")
	at := "/v1/webhooks/" + w.ID
	c.Get("/v1/webhooks").Want(http.StatusOK)
	c.Get(at).Want(http.StatusOK)
	c.Do(http.MethodPut, at, []byte(`{"url": "https://quotes.example/other", "events": ["assessment.deleted", "assessment.created"]}`),
		"Content-Type", "application/json").Want(http.StatusOK)
	c.Post(
		"/v1/assessments", []byte(
			`{"name": "Invented", "location": {"latitude": 1, "longitude": 2}, "flash_density": {"ground_flashes_per_km2_year": 3}, `+
				`"structures": [{"id": "h", "length_m": 9, "width_m": 9, "height_m": 3}]}`)).Want(http.StatusCreated)
	d := apitest.DeliveriesOf(c, w.ID)[0]
	c.Do(http.MethodPost, at+"/deliveries/"+strconv.FormatInt(d.N, 10)+"/retries", nil).Want(http.StatusAccepted)
	c.Delete(at).Want(http.StatusNoContent)
}
