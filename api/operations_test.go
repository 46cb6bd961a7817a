package api_test

import (
	"bytes"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"levinward/api/apitest"
	"levinward/store"
)

// TestEveryOperation takes every operation of the contract to every success it states.
func TestEveryOperation(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, kept store.Store) {
		sendExamples(t, c)
		s, _ := apitest.Create(c, apitest.Demo(t))
		at := "/v1/assessments/" + s.ID
		c.Patch(at+"/revisions", `{"reference": "second"}`).Want(http.StatusCreated)
		c.Post(at+"/spd-stress", []byte(`{}`)).Want(http.StatusOK)
		for _, path := range []string{at, at + "/revisions", at + "/revisions/1", at + "/changes", at + "/worksheet", at + "/worksheet.csv",
			at + "/worksheet.html",
			at + "/spd-schedule", at + "/spd-schedule.csv", at + "/collection-areas", "/v1/assessments", "/v1/reference", "/openapi.yaml",
			"/openapi.json", "/healthz", "/readyz", "/metrics"} {
			c.Get(path).Want(http.StatusOK)
		}
		c.Get(at, "If-None-Match", `"revision-2"`).Want(http.StatusNotModified)
		c.Get(at+"/revisions/1", "If-None-Match", `"revision-1"`).Want(http.StatusNotModified)
		c.Get("/docs").Want(http.StatusMovedPermanently)
		everyMapOperation(t, c)
		everyDeviceOperation(c)
		everySiteDocument(t, c, kept)
		everyWebhookOperation(c)
		everyReferenceOperation(t, c)
		c.Delete(at).Want(http.StatusNoContent)
		everyPortfolioOperation(t, c)
		for path, item := range c.Document().Paths.Map() {
			for method, op := range item.Operations() {
				for status := range op.Responses.Map() {
					if name := method + " " + path + " " + status; status < "400" && !c.Used(name) {
						t.Errorf("%s was not tested", name)
					}
				}
			}
		}
	})
}

func TestRoutesAreTheOperations(t *testing.T) {
	server := apitest.NewServer(t, apitest.OpenSQLite(t))
	doc, err := openapi3.NewLoader().LoadFromData(apitest.File(t, "openapi.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	var operations []string
	for path, item := range doc.Paths.Map() {
		for method := range item.Operations() {
			operations = append(operations, method+" "+path)
		}
	}
	routes := slices.DeleteFunc(server.Routes(), func(r string) bool { return r == "GET /docs/*" }) // the files of GET /docs
	slices.Sort(operations)
	slices.Sort(routes)
	if !slices.Equal(operations, routes) {
		t.Errorf("the contract has\n%s\nthe server\n%s", strings.Join(operations, "\n"), strings.Join(routes, "\n"))
	}
}

func TestContractIsServed(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	text := c.Get("/openapi.yaml").Want(http.StatusOK)
	if text.MediaType() != "application/yaml" || !bytes.Equal(text.Body, apitest.File(t, "openapi.yaml")) {
		t.Errorf("openapi.yaml of %s is not the file", text.MediaType())
	}
	byYAML, err := openapi3.NewLoader().LoadFromData(text.Body)
	if err != nil {
		t.Fatal(err)
	}
	byJSON, err := openapi3.NewLoader().LoadFromData(c.Get("/openapi.json").Want(http.StatusOK).Body)
	if err != nil {
		t.Fatal(err)
	}
	a, errA := byYAML.MarshalJSON()
	b, errB := byJSON.MarshalJSON()
	if errA != nil || errB != nil || !bytes.Equal(a, b) {
		t.Errorf("openapi.json and openapi.yaml differ (%v, %v)", errA, errB)
	}
}

func TestMetrics(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	c.Post("/v1/calculations", apitest.Demo(t)).Want(http.StatusOK)
	c.Post("/v1/calculations", []byte("{")).Want(http.StatusBadRequest)
	c.Get("/nowhere/at/all").Want(http.StatusNotFound)
	c.Do("INVENTED", "/healthz", nil).Want(http.StatusMethodNotAllowed)
	text := string(c.Get("/metrics").Want(http.StatusOK).Body)
	for _, line := range []string{
		`levinward_http_requests_total{method="POST",route="/v1/calculations",status="200"} 1`,
		`levinward_http_requests_total{method="POST",route="/v1/calculations",status="400"} 1`,
		`levinward_assessments_computed_total 1`,
		`levinward_http_request_seconds_count{route="/v1/calculations"} 2`,
		`go_goroutines`, `process_resident_memory_bytes`,
	} {
		if !strings.Contains(text, line) {
			t.Errorf("no line %q", line)
		}
	}
	for _, invented := range []string{"nowhere", "INVENTED"} {
		if strings.Contains(text, invented) {
			t.Errorf("a client can invent the label %q", invented)
		}
	}
}
