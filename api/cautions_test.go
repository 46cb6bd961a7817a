package api_test

import (
	"database/sql"
	"encoding/json"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"levinward/api/apitest"
	"levinward/store"
)

// telling are the operations whose answers tell results of a site, with requests that get one.
// :a stands for an assessment, :p for its portfolio.
var telling = map[string][]string{
	"calculate":             {"POST /v1/calculations :demo"},
	"createAssessment":      {"POST /v1/assessments :demo"},
	"getAssessment":         {"GET /v1/assessments/:a"},
	"reviseAssessment":      {"PATCH /v1/assessments/:a/revisions {}"},
	"getRevision":           {"GET /v1/assessments/:a/revisions/1"},
	"compareRevisions":      {"GET /v1/assessments/:a/changes"},
	"getWorksheet":          {"GET /v1/assessments/:a/worksheet"},
	"getWorksheetCSV":       {"GET /v1/assessments/:a/worksheet.csv"},
	"getWorksheetHTML":      {"GET /v1/assessments/:a/worksheet.html"},
	"getCollectionAreas":    {"GET /v1/assessments/:a/collection-areas"},
	"getSPDSchedule":        {"GET /v1/assessments/:a/spd-schedule", "GET /v1/assessments/:a/spd-schedule?match=true"},
	"getSPDScheduleCSV":     {"GET /v1/assessments/:a/spd-schedule.csv", "GET /v1/assessments/:a/spd-schedule.csv?match=true"},
	"computeSPDStress":      {"POST /v1/assessments/:a/spd-stress {}"},
	"checkSPD":              {":examples", `POST /v1/spd-checks {"device": {"up_kv": 1.5}, "assessment": {"id": ":a", "line": "village"}}`},
	"coordinateSPDs":        {":examples"},
	"computeEarthElectrode": {":examples"},
	"getPortfolio":          {"GET /v1/portfolios/:p"},
	"listSites":             {"GET /v1/portfolios/:p/sites"},
	"comparePortfolio":      {"GET /v1/portfolios/:p/changes"},
	"exportSitesCSV":        {"GET /v1/portfolios/:p/sites.csv"},
	"exportSitesXLSX":       {"GET /v1/portfolios/:p/sites.xlsx"},
	"exportSitesGeoJSON":    {"GET /v1/portfolios/:p/sites.geojson"},
	"exportSitesGeoPackage": {"GET /v1/portfolios/:p/sites.gpkg"},
	"planBudget": {`POST /v1/portfolios/:p/budget {"budget": "50", "relative": true, "objective": "persons_at_risk"}`,
		`POST /v1/portfolios/:p/budget {"budget": "50", "relative": true, "objective": "expected_loss"}`},
	"getCollections":     {"GET /ogc/collections"},
	"describeCollection": {"GET /ogc/collections/:p"},
	"getFeatures":        {"GET /ogc/collections/:p/items"},
	"getFeature":         {"GET /ogc/collections/:p/items/:a"},
}

// silent are the operations whose answers tell no result of a site, and what they tell.
var silent = map[string][]string{
	"nothing":                            {"deleteAssessment", "deletePortfolio", "deletePreset", "deleteFlashDensityMap", "withdrawDevice", "deleteWebhook", "removeReviews"},
	"names, places and dates of sites":   {"listAssessments", "listRevisions"},
	"names of portfolios":                {"createPortfolio", "listPortfolios", "renamePortfolio"},
	"maps, whose own cautions they have": {"createFlashDensityMap", "listFlashDensityMaps", "getFlashDensityMap", "sampleFlashDensityMap"},
	"data sheets":                        {"uploadDevices", "listDevices", "getDeviceColumns", "getDevice", "replaceDevice"},
	"how far work is":                    {"listWork", "importSites", "reassessSites", "getWork", "cancelWork", "watchWork", "retryWork"},
	"the input":                          {"listWorkFaults", "listWorkNotes", "listPresets", "putPreset", "getPreset"},
	"how to write an input":              {"getImportColumns", "getImportTemplateCSV", "getImportTemplateXLSX", "getImportTemplateGeoJSON"},
	"that something happened":            {"createWebhook", "listWebhooks", "getWebhook", "changeWebhook", "listDeliveries", "retryDelivery"},
	"the program and its numbers": {"getReference", "getContractYAML", "getContractJSON", "getDocs", "getHealth", "getReadiness", "getMetrics",
		"listReferenceValues", "getReferenceTable", "putReviews", "getReviews", "getReviewsTable", "getLandingPage", "getFeaturesAPI",
		"getConformanceDeclaration"},
}

// Whatever tells results of a site says in every form that local codes and a licensed practitioner decide, and that the earth
// connection comes first. An operation that stands in neither list fails.
func TestEveryAnswerCautions(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, _ store.Store) {
		p := apitest.MakePortfolio(c, "Invented").ID
		apitest.Ended(t, c, apitest.ImportFile(c, p, "", apitest.File(t, "testdata/demo/villages.csv")))
		s, _ := apitest.Create(c, apitest.Demo(t))
		c.Post(apitest.DevicesPath, apitest.JSONOf(t, apitest.SupplyDevice("ONE", "9.9"))).Want(http.StatusCreated)
		known := map[string]bool{}
		for _, names := range silent {
			for _, name := range names {
				known[name] = true
			}
		}
		w := walk{t, c, p, s.ID, apitest.SitesOf(c, p, "").Sites[0].Assessment}
		for path, item := range c.Document().Paths.Map() {
			for method, op := range item.Operations() {
				requests, tells := telling[op.OperationID]
				if tells == known[op.OperationID] {
					t.Errorf("%s has to stand in one of the lists telling and silent", op.OperationID)
				}
				delete(known, op.OperationID)
				if tells {
					w.operation(method, path, op, requests)
				}
			}
		}
		for name := range known {
			t.Errorf("there is no operation %s", name)
		}
	})
}

// walk asks for answers of every form.
type walk struct {
	t                             *testing.T
	c                             *apitest.Client
	portfolio, assessment, member string // the assessment has lines and revisions, the member belongs to the portfolio
}

// operation sends the requests for every form of its success.
func (w *walk) operation(method, path string, op *openapi3.Operation, requests []string) {
	w.t.Helper()
	if requests[0] == ":examples" {
		requests = requests[1:]
		for _, example := range op.RequestBody.Value.Content["application/json"].Examples {
			requests = append(requests, method+" "+path+" "+string(apitest.JSONOf(w.t, example.Value.Value)))
		}
	}
	forms := 0
	for status, answer := range op.Responses.Map() {
		if status >= "300" {
			continue
		}
		for media := range answer.Value.Content {
			forms++
			for _, r := range requests {
				assessment := w.assessment
				if strings.Contains(r, "/ogc/") {
					assessment = w.member
				}
				r = strings.NewReplacer(":a", assessment, ":p", w.portfolio, ":demo", string(apitest.Demo(w.t))).Replace(r)
				askFor(w.t, w.c, r, media)
			}
		}
	}
	if forms == 0 {
		w.t.Errorf("%s has no form", op.OperationID)
	}
}

// askFor sends a request, "METHOD PATH BODY", and looks for the cautions in the answer of one form.
func askFor(t *testing.T, c *apitest.Client, request, media string) {
	t.Helper()
	parts := strings.SplitN(request, " ", 3)
	method, kind, body := parts[0], "", ""
	if len(parts) == 3 {
		kind, body = "application/json", parts[2]
	}
	if method == http.MethodPatch { // a merge patch is posted
		method, kind = http.MethodPost, "application/merge-patch+json"
	}
	headers := []string{"Accept", media}
	if kind != "" {
		headers = append(headers, "Content-Type", kind)
	}
	a := c.Do(method, parts[1], []byte(body), headers...)
	if a.Status >= 300 || a.MediaType() != media {
		t.Errorf("%s as %s: %d, %s: %.300s", request, media, a.Status, a.MediaType(), a.Body)
		return
	}
	for _, text := range cautionsIn(t, a) {
		if !strings.Contains(text, "codes and a licensed practitioner") || !strings.Contains(text, "earth connection") {
			t.Errorf("%s as %s cautions: %q", request, media, text)
		}
	}
}

// cautionsIn reads the cautions where a form has them; a table has them in every row.
func cautionsIn(t *testing.T, a *apitest.Answer) (texts []string) {
	t.Helper()
	switch media := a.MediaType(); media {
	case "application/json", "application/geo+json":
		var doc struct{ Cautions []string }
		a.JSON(&doc)
		return []string{strings.Join(doc.Cautions, " ")}
	case "text/csv":
		rows := apitest.CSVOf(t, a)
		last := len(rows[0]) - 1
		if len(rows) < 2 || rows[0][last] != "cautions" || slices.Index(rows[0], "cautions") != last {
			t.Errorf("a table of %d rows with the columns %q", len(rows), rows[0])
		}
		for _, row := range rows[1:] {
			texts = append(texts, row[last])
		}
		return texts
	case "text/html":
		return []string{string(a.Body)}
	case "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet":
		for _, row := range apitest.SheetRows(t, a.Body, "cautions") {
			texts = append(texts, row...)
		}
		return []string{strings.Join(texts, " ")}
	case "application/geopackage+sqlite3":
		return []string{gpkgDescription(t, a.Body)}
	default:
		t.Errorf("a form without cautions: %s", media)
		return nil
	}
}

// gpkgDescription is what a GeoPackage says of its table of sites.
func gpkgDescription(t *testing.T, body []byte) (text string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "sites.gpkg")
	apitest.WriteFile(t, file, body)
	db, err := sql.Open("sqlite", file)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRowContext(t.Context(), "SELECT description FROM gpkg_contents WHERE table_name = 'sites'").Scan(&text); err != nil {
		t.Fatal(err)
	}
	return text
}

// A record of an engine that stored no cautions has those of today in every document made of it.
func TestRecordsWithoutCautions(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, kept store.Store) {
		p := apitest.OpenPortfolio(t, kept, "P")
		r := p.Record(t, apitest.Demo(t))
		var result map[string]any
		if err := json.Unmarshal(r.Result, &result); err != nil {
			t.Fatal(err)
		}
		delete(result, "cautions")
		r.Result = apitest.JSONOf(t, result)
		p.Keep(t, []store.Record{r})
		for _, document := range []string{"worksheet", "worksheet.csv", "worksheet.html", "collection-areas", "spd-schedule",
			"spd-schedule.csv"} {
			a := c.Get("/v1/assessments/" + r.ID + "/" + document).Want(http.StatusOK)
			for _, text := range cautionsIn(t, a) {
				if !strings.Contains(text, "codes and a licensed practitioner") {
					t.Errorf("%s cautions: %.300q", document, text)
				}
			}
		}
	})
}
