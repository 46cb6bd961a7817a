package api_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"levinward/api/apitest"
	"levinward/store"
)

// TestEveryOperation takes every operation of the contract to every success it states.
func TestEveryOperation(t *testing.T) {
	onEachStore(t, func(t *testing.T, c *apitest.Client, kept store.Store) {
		sendExamples(t, c)
		s, _ := create(c, demo(t))
		at := "/v1/assessments/" + s.ID
		c.Patch(at+"/revisions", `{"reference": "second"}`).Want(http.StatusCreated)
		c.Post(at+"/spd-stress", []byte(`{}`)).Want(http.StatusOK)
		for _, path := range []string{at, at + "/revisions", at + "/revisions/1", at + "/changes", at + "/worksheet", at + "/worksheet.csv", at + "/worksheet.html",
			at + "/spd-schedule", at + "/spd-schedule.csv", at + "/collection-areas", "/v1/assessments", "/v1/reference", "/openapi.yaml", "/openapi.json", "/healthz", "/readyz", "/metrics"} {
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
		portfolioOperations(t, c)
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

func TestRoutesAreTheOperations(t *testing.T) {
	server := newServer(t, openSQLite(t))
	doc, err := openapi3.NewLoader().LoadFromData(read(t, "openapi.yaml"))
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

func TestCalculationsStoreNothing(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		var calculated, created map[string]any
		c.Post("/v1/calculations", demo(t)).Want(http.StatusOK).JSON(&calculated)
		if l, _ := getList(c, ""); len(l.Assessments) != 0 {
			t.Error("something was stored")
		}
		_, a := create(c, demo(t))
		a.JSON(&created)
		for _, own := range []string{"id", "revision", "created_at"} {
			if calculated[own] != nil || created[own] == nil {
				t.Errorf("%s: calculated %v, stored %v", own, calculated[own], created[own])
			}
			delete(created, own)
		}
		if !reflect.DeepEqual(calculated, created) {
			t.Error("a calculation and a stored assessment of one input differ")
		}
	})
}

func TestCreatedAndRead(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, a := create(c, smallest(t))
		if want := "/v1/assessments/" + s.ID; a.Header.Get("Location") != want || s.Revision != 1 {
			t.Errorf("Location %q, revision %d, want %s and 1", a.Header.Get("Location"), s.Revision, want)
		}
		tag := a.Header.Get("ETag")
		newest := c.Get(a.Header.Get("Location")).Want(http.StatusOK)
		if !bytes.Equal(newest.Body, a.Body) || newest.Header.Get("ETag") != tag || tag == "" {
			t.Errorf("what was stored and what is read differ, or their ETags %q and %q", tag, newest.Header.Get("ETag"))
		}
		for match, status := range map[string]int{tag: 304, "W/" + tag: 304, `"other", ` + tag: 304, "*": 304, `"other"`: 200} {
			r := c.Get("/v1/assessments/"+s.ID, "If-None-Match", match).Want(status)
			if (len(r.Body) == 0) != (status == 304) || r.Header.Get("ETag") != tag {
				t.Errorf("If-None-Match %s: %d bytes, ETag %s", match, len(r.Body), r.Header.Get("ETag"))
			}
		}
	})
}

func TestWhatIsNotThere(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := create(c, smallest(t))
		at := "/v1/assessments/" + s.ID
		const other = "/v1/assessments/01963b1c-6c00-7d3a-9c41-5be0c7b8a2f1"
		for _, path := range []string{other, other + "/revisions", other + "/changes", other + "/worksheet", other + "/worksheet.csv", other + "/worksheet.html",
			other + "/spd-schedule", other + "/spd-schedule.csv", "/v1/assessments/no-uuid", "/v1/assessments/no-uuid/worksheet", at + "/revisions/2", at + "/revisions/0",
			at + "/revisions/x", at + "/revisions/99999999999999999999", at + "/worksheet?revision=2", at + "/spd-schedule?revision=2", at + "/changes?from=1&to=2", "/v1/nothing", "/"} {
			if p := c.Get(path).Want(http.StatusNotFound).Problem(); p.Kind() != "not-found" {
				t.Errorf("%s: %s", path, p.Type)
			}
		}
		c.Delete(other).Want(http.StatusNotFound)
		c.Patch(other+"/revisions", `{}`).Want(http.StatusNotFound)
		for _, method := range []string{http.MethodPut, http.MethodPatch, http.MethodDelete} {
			if p := c.Do(method, "/v1/calculations", nil).Want(http.StatusMethodNotAllowed).Problem(); p.Kind() != "method-not-allowed" {
				t.Errorf("%s: %s", method, p.Type)
			}
		}
		c.Delete(at).Want(http.StatusNoContent)
		for _, path := range []string{at, at + "/revisions", at + "/revisions/1", at + "/worksheet"} {
			c.Get(path).Want(http.StatusNotFound)
		}
	})
}

func TestIdempotency(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		_, first := create(c, demo(t), "Idempotency-Key", "site-1")
		if first.Header.Get("Idempotency-Replayed") != "" {
			t.Error("the first answer says that it is a repetition")
		}
		_, again := create(c, demo(t), "Idempotency-Key", "site-1")
		if !bytes.Equal(first.Body, again.Body) || again.Header.Get("Idempotency-Replayed") != "true" ||
			again.Header.Get("Location") != first.Header.Get("Location") || again.Header.Get("ETag") != first.Header.Get("ETag") {
			t.Errorf("the same request got another answer: %v", again.Header)
		}
		p := c.Post("/v1/assessments", smallest(t), "Idempotency-Key", "site-1").Want(http.StatusUnprocessableEntity).Problem()
		if p.Kind() != "idempotency-key-reused" {
			t.Errorf("another body under the same key: %s", p.Type)
		}
		if l, _ := getList(c, ""); len(l.Assessments) != 1 {
			t.Errorf("stored: %v", l.names())
		}
		for _, key := range []string{"", "a b", strings.Repeat("k", 256), "ä"} {
			p := c.Post("/v1/assessments", demo(t), "Idempotency-Key", key).Want(http.StatusBadRequest).Problem()
			if len(p.Errors) != 1 || p.Errors[0].Parameter != "Idempotency-Key" {
				t.Errorf("key %q: %v", key, p.Errors)
			}
		}
		c.Post("/v1/assessments", demo(t), "Idempotency-Key", "a", "Idempotency-Key", "b").Want(http.StatusBadRequest)

		// A refused request does not use its key up.
		c.Post("/v1/assessments", changed(t, demo(t), map[string]any{"/location/latitude": 91}), "Idempotency-Key", "site-2").Want(http.StatusUnprocessableEntity)
		create(c, demo(t), "Idempotency-Key", "site-2")
	})
}

func TestIdempotencyOfManyAtOnce(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		const many = 20
		bodies := make([][]byte, many)
		together(many, func(i int) {
			bodies[i] = c.Post("/v1/assessments", smallest(t), "Idempotency-Key", "one").Body
		})
		for i, b := range bodies {
			if !bytes.Equal(b, bodies[0]) || !bytes.Contains(b, []byte(`"id"`)) {
				t.Errorf("answer %d differs: %.200s", i, b)
			}
		}
		if l, _ := getList(c, ""); len(l.Assessments) != 1 {
			t.Errorf("%d stored", len(l.Assessments))
		}
	})
}

func together(n int, call func(i int)) {
	var wait sync.WaitGroup
	for i := range n {
		wait.Go(func() { call(i) })
	}
	wait.Wait()
}

func TestMergePatch(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, first := create(c, demo(t))
		at := "/v1/assessments/" + s.ID
		a := c.Patch(at+"/revisions", `{"reference": null, "environment": "suburban", "flash_density": {"year": null, "ground_flashes_per_km2_year": 3.5},
			"structures": [{"id": "shed", "length_m": 4, "width_m": 3, "height_m": 2.5}], "lines": []}`).Want(http.StatusCreated)
		var revised stored
		a.JSON(&revised)
		if revised.ID != s.ID || revised.Revision != 2 || a.Header.Get("Location") != at+"/revisions/2" {
			t.Errorf("revision %d of %s at %s", revised.Revision, revised.ID, a.Header.Get("Location"))
		}
		want := map[string]any{}
		if err := json.Unmarshal(demo(t), &want); err != nil {
			t.Fatal(err)
		}
		delete(want, "reference")                              // null removes
		want["environment"] = "suburban"                       // a value replaces
		delete(want["flash_density"].(map[string]any), "year") // inside an object too
		want["flash_density"].(map[string]any)["ground_flashes_per_km2_year"] = 3.5
		want["structures"] = []any{map[string]any{"id": "shed", "length_m": 4., "width_m": 3., "height_m": 2.5}} // a list as a whole
		want["lines"] = []any{}
		if !reflect.DeepEqual(revised.Input, want) {
			t.Errorf("the input became %v\nwant %v", revised.Input, want)
		}
		if got := c.Get(at + "/revisions/1").Want(http.StatusOK); !bytes.Equal(got.Body, first.Body) {
			t.Error("revision 1 changed")
		}
		if got := c.Get(at + "/revisions/2").Want(http.StatusOK); !bytes.Equal(got.Body, a.Body) {
			t.Error("revision 2 is not what was answered")
		}
		if got := c.Get(at).Want(http.StatusOK); !bytes.Equal(got.Body, a.Body) || got.Header.Get("ETag") != a.Header.Get("ETag") {
			t.Error("the newest revision is not what was answered")
		}
		var all struct{ Revisions []struct{ Revision int } }
		c.Get(at + "/revisions").Want(http.StatusOK).JSON(&all)
		if len(all.Revisions) != 2 || all.Revisions[0].Revision != 1 || all.Revisions[1].Revision != 2 {
			t.Errorf("revisions %v", all.Revisions)
		}
	})
}

// A patch that does nothing stores the same input again: its hash is the same.
func TestPatchOfNothing(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		_, a := create(c, demo(t))
		var before, after map[string]any
		a.JSON(&before)
		c.Patch(a.Header.Get("Location")+"/revisions", `{}`).Want(http.StatusCreated).JSON(&after)
		if before["input_hash"] != after["input_hash"] || after["revision"] != 2. {
			t.Errorf("hash %v, then %v", before["input_hash"], after["input_hash"])
		}
	})
}

func TestConcurrentRevisions(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, a := create(c, smallest(t))
		at := "/v1/assessments/" + s.ID + "/revisions"
		tag := a.Header.Get("ETag")
		const many = 8
		status := make([]int, many)
		together(many, func(i int) {
			status[i] = c.Patch(at, fmt.Sprintf(`{"reference": "writer %d"}`, i), "If-Match", tag).Status
		})
		slices.Sort(status)
		if want := append([]int{201}, slices.Repeat([]int{412}, many-1)...); !slices.Equal(status, want) {
			t.Errorf("with If-Match: %v", status)
		}
		// The refusal names the revision to go on from.
		refused := c.Patch(at, `{"reference": "late"}`, "If-Match", tag).Want(http.StatusPreconditionFailed)
		problem := refused.Problem()
		if problem.Kind() != "precondition-failed" || refused.Header.Get("ETag") != `"revision-2"` {
			t.Errorf("%s, ETag %s", problem.Type, refused.Header.Get("ETag"))
		}
		c.Patch(at, `{"reference": "next"}`, "If-Match", refused.Header.Get("ETag")).Want(http.StatusCreated)

		// Without If-Match some may be refused with 409; those that are not follow one another.
		together(many, func(i int) {
			status[i] = c.Patch(at, fmt.Sprintf(`{"reference": "again %d"}`, i)).Status
		})
		accepted := 0
		for _, s := range status {
			if s == http.StatusCreated {
				accepted++
			} else if s != http.StatusConflict {
				t.Errorf("status %d", s)
			}
		}
		var newest stored
		c.Get("/v1/assessments/" + s.ID).Want(http.StatusOK).JSON(&newest)
		if accepted == 0 || newest.Revision != 3+accepted {
			t.Errorf("%d accepted, the newest revision is %d", accepted, newest.Revision)
		}
	})
}

// IEC 62305-2:2010, A.2.4, from memory: N_D = N_G A_D C_D 1e-6, so twice N_G gives twice N_D.
func TestChanges(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := create(c, smallest(t))
		at := "/v1/assessments/" + s.ID
		type change struct {
			Pointer       string
			Before, After any
		}
		var changes struct {
			From, To        int
			Inputs, Results []change
		}
		c.Get(at + "/changes").Want(http.StatusOK).JSON(&changes)
		if changes.From != 1 || changes.To != 1 || len(changes.Inputs)+len(changes.Results) != 0 {
			t.Errorf("of a single revision: %v", changes)
		}
		c.Patch(at+"/revisions", `{"flash_density": {"ground_flashes_per_km2_year": 18.8, "source": "a/b~c (invented)"}}`).Want(http.StatusCreated)
		c.Patch(at+"/revisions", `{"flash_density": {"source": null}}`).Want(http.StatusCreated)
		c.Get(at + "/changes?from=1&to=2").Want(http.StatusOK).JSON(&changes)
		want := []change{{"/flash_density/ground_flashes_per_km2_year", 9.4, 18.8}, {"/flash_density/source", nil, "a/b~c (invented)"}}
		if !reflect.DeepEqual(changes.Inputs, want) {
			t.Errorf("inputs %v, want %v", changes.Inputs, want)
		}
		direct := slices.IndexFunc(changes.Results, func(c change) bool { return c.Pointer == "/structures/0/events_per_year/direct" })
		if direct < 0 || changes.Results[direct].After != 2*changes.Results[direct].Before.(float64) {
			t.Errorf("twice the flash density: %v", changes.Results)
		}
		c.Get(at + "/changes?from=2&to=1").Want(http.StatusOK).JSON(&changes)
		if len(changes.Inputs) != 2 || changes.Inputs[0].Before != 18.8 || changes.Inputs[0].After != 9.4 {
			t.Errorf("backwards: %v", changes.Inputs)
		}
		for query, ends := range map[string][2]int{"": {2, 3}, "?to=2": {1, 2}, "?from=1": {1, 3}, "?from=1&to=3": {1, 3}} {
			c.Get(at + "/changes" + query).Want(http.StatusOK).JSON(&changes)
			if changes.From != ends[0] || changes.To != ends[1] {
				t.Errorf("%q compares %d and %d", query, changes.From, changes.To)
			}
		}
	})
}

// next is the path of the next page, empty on the last.
func next(t *testing.T, a *apitest.Answer) string {
	t.Helper()
	link := a.Header.Get("Link")
	if link == "" {
		return ""
	}
	m := regexp.MustCompile(`^<(/v1/assessments\?[^>]*)>; rel="next"$`).FindStringSubmatch(link)
	if m == nil {
		t.Fatalf("Link %q", link)
	}
	return m[1]
}

func named(t *testing.T, name string, values map[string]any) []byte {
	all := map[string]any{"/name": name}
	for k, v := range values {
		all[k] = v
	}
	return changed(t, smallest(t), all)
}

func TestPagesWhileOthersStore(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		var want []string
		for i := range 7 {
			name := fmt.Sprint("there before ", i)
			create(c, named(t, name, nil))
			want = append([]string{name}, want...)
		}
		var got []string
		later := 0
		for path := "/v1/assessments?limit=2"; path != ""; {
			a := c.Get(path).Want(http.StatusOK)
			var page list
			a.JSON(&page)
			if len(page.Assessments) > 2 {
				t.Errorf("%d on a page of 2", len(page.Assessments))
			}
			got = append(got, page.names()...)
			path = next(t, a)
			together(3, func(i int) { create(c, named(t, fmt.Sprint("later ", later+i), nil)) })
			later += 3
		}
		got = slices.DeleteFunc(got, func(name string) bool { return strings.HasPrefix(name, "later") })
		if !slices.Equal(got, want) {
			t.Errorf("found %v, want %v", got, want)
		}
		// Links keep the conditions.
		_, a := getList(c, "?limit=1&q=before")
		if path := next(t, a); !strings.Contains(path, "q=before") || !strings.Contains(path, "limit=1") {
			t.Errorf("the next page is %s", path)
		}
	})
}

func TestListConditions(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		for _, site := range []struct {
			name, reference string
			longitude       float64
			year            int
		}{
			{"Atoll east", "P-1", 179.5, 2019}, {"Atoll west", "P-2", -179.5, 2029}, {"Ridge", "K-017", 86.7, 2024}, {"Mission 100%", "q_4", 30, 2026},
		} {
			create(c, named(t, site.name, map[string]any{"/reference": site.reference, "/location/longitude": site.longitude, "/flash_density/year": site.year}))
		}
		for query, want := range map[string][]string{
			"":                                  {"Mission 100%", "Ridge", "Atoll west", "Atoll east"},
			"?bbox=170,-10,-170,10":             {"Atoll west", "Atoll east"}, // across the 180th meridian
			"?bbox=179,-10,180,10":              {"Atoll east"},
			"?bbox=-180,-10,-179,10":            {"Atoll west"},
			"?bbox=-180,-90,180,90":             {"Mission 100%", "Ridge", "Atoll west", "Atoll east"},
			"?bbox=86.7,-3.117,86.7,-3.117":     {"Ridge"}, // edges belong to the box
			"?bbox=0,10,40,20":                  {},
			"?q=atoll":                          {"Atoll west", "Atoll east"},
			"?q=k-01":                           {"Ridge"},
			"?q=100%25":                         {"Mission 100%"},
			"?q=_":                              {"Mission 100%"},
			"?q=%25":                            {"Mission 100%"},
			"?q=none":                           {},
			"?review_due=true":                  {"Ridge", "Atoll east"}, // the clock of the test stands in 2031: 2024 counts to the end of 2029
			"?review_due=false":                 {"Mission 100%", "Atoll west"},
			"?review_due=true&bbox=0,-90,90,90": {"Ridge"},
			"?limit=1":                          {"Mission 100%"},
		} {
			l, _ := getList(c, query)
			if got := l.names(); !slices.Equal(got, want) {
				t.Errorf("%s: %v, want %v", query, got, want)
			}
		}
	})
}

// step is a step of a worksheet.
type step struct {
	Index                                                                                     int
	Scope, Symbol, Name, Unit, Formula, Clause, Table, Row, Column, Note, Pointer, Provenance string
	Value                                                                                     float64
	Inputs                                                                                    []int
}

func TestWorksheet(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := create(c, demo(t))
		at := "/v1/assessments/" + s.ID + "/worksheet"
		var sheet struct {
			Edition string
			Steps   []step
		}
		c.Get(at).Want(http.StatusOK).JSON(&sheet)
		if sheet.Edition != "iec-62305-2:2010" || len(sheet.Steps) < 100 {
			t.Fatalf("%d steps of edition %q", len(sheet.Steps), sheet.Edition)
		}
		for i, st := range sheet.Steps {
			if st.Index != i || slices.ContainsFunc(st.Inputs, func(n int) bool { return n >= i }) || st.Clause+st.Formula+st.Pointer+st.Note == "" {
				t.Errorf("step %d: %+v", i, st)
			}
		}
		byCSV := csvOf(t, c.Get(at+".csv").Want(http.StatusOK))
		if len(byCSV) != len(sheet.Steps)+1 {
			t.Fatalf("CSV has %d lines, JSON %d steps", len(byCSV), len(sheet.Steps))
		}
		for i, st := range sheet.Steps {
			if got := stepOf(t, byCSV[0], byCSV[i+1]); !reflect.DeepEqual(got, st) {
				t.Errorf("CSV has %+v\nJSON %+v", got, st)
			}
		}
		html := c.Get(at + ".html").Want(http.StatusOK)
		if n := bytes.Count(html.Body, []byte(`<tr id="s`)); n != len(sheet.Steps) {
			t.Errorf("HTML has %d steps, JSON %d", n, len(sheet.Steps))
		}
		if !bytes.Contains(html.Body, []byte("health post on Quemmel ridge")) || !bytes.Contains(html.Body, []byte("licensed practitioner")) {
			t.Error("the page lacks the name of the site or the cautions")
		}
		for accept, media := range map[string]string{
			"": "application/json", "*/*": "application/json", "application/json": "application/json", "text/csv": "text/csv", "text/html": "text/html",
			"text/*": "text/csv", "text/html, application/json;q=0.9": "text/html", "application/json;q=0.2, text/csv;q=0.5": "text/csv",
			"text/html;q=0, */*": "application/json",
		} {
			a := c.Get(at, "Accept", accept).Want(http.StatusOK)
			if a.MediaType() != media || !strings.Contains(a.Header.Get("Vary"), "Accept") {
				t.Errorf("Accept %q: %s, Vary %q", accept, a.MediaType(), a.Header.Get("Vary"))
			}
		}
		problem := c.Get(at, "Accept", "image/png").Want(http.StatusNotAcceptable).Problem()
		if problem.Kind() != "not-acceptable" {
			t.Errorf("no picture of it: %s", problem.Type)
		}
	})
}

// An earlier revision keeps its worksheet and schedule.
func TestDocumentsOfARevision(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := create(c, demo(t))
		at := "/v1/assessments/" + s.ID
		paths := []string{"/worksheet", "/worksheet.csv", "/spd-schedule", "/spd-schedule.csv"}
		before := map[string][]byte{}
		for _, p := range paths {
			before[p] = c.Get(at + p).Want(http.StatusOK).Body
		}
		c.Patch(at+"/revisions", `{"flash_density": {"ground_flashes_per_km2_year": 1}, "lines": null, "structures": [{"id": "shed", "length_m": 4, "width_m": 3, "height_m": 2.5}]}`).Want(http.StatusCreated)
		for _, p := range paths {
			if !bytes.Equal(c.Get(at+p+"?revision=1").Want(http.StatusOK).Body, before[p]) {
				t.Errorf("%s of revision 1 changed", p)
			}
			if bytes.Equal(c.Get(at+p).Want(http.StatusOK).Body, before[p]) {
				t.Errorf("%s of revision 2 is that of 1", p)
			}
		}
	})
}

// A text that a spreadsheet would compute is no formula in the CSV.
func TestCSVHoldsNoFormulas(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := create(c, changed(t, smallest(t), map[string]any{"/structures/0/id": "=1+2", "/lines": []any{map[string]any{"id": "@x", "structure": "=1+2"}}}))
		for _, path := range []string{"/spd-schedule.csv", "/worksheet.csv"} {
			for _, row := range csvOf(t, c.Get("/v1/assessments/"+s.ID+path).Want(http.StatusOK)) {
				for _, cell := range row {
					if _, err := strconv.ParseFloat(cell, 64); cell != "" && err != nil && strings.ContainsAny(cell[:1], "=+-@") {
						t.Fatalf("%s holds %q", path, cell)
					}
				}
			}
		}
	})
}

func csvOf(t *testing.T, a *apitest.Answer) [][]string {
	t.Helper()
	if a.MediaType() != "text/csv" || !strings.Contains(a.Header.Get("Content-Disposition"), "attachment") {
		t.Errorf("media type %q, disposition %q", a.Header.Get("Content-Type"), a.Header.Get("Content-Disposition"))
	}
	rows, err := csv.NewReader(bytes.NewReader(a.Body)).ReadAll() // refuses rows of different length
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// stepOf reads a step from a row, by the names of the columns.
func stepOf(t *testing.T, names, row []string) step {
	t.Helper()
	doc := map[string]any{}
	for i, name := range names {
		switch text := row[i]; name {
		case "cautions": // of the table, not of a step
		case "index", "value":
			doc[name] = json.Number(text)
		case "inputs":
			var inputs []json.Number
			for _, n := range strings.Fields(text) {
				inputs = append(inputs, json.Number(n))
			}
			doc[name] = inputs
		default:
			doc[name] = strings.TrimPrefix(text, "'") // marks a text that is no formula
		}
	}
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	var s step
	if err := json.Unmarshal(text, &s); err != nil {
		t.Fatal(err)
	}
	return s
}

func TestSchedule(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, a := create(c, demo(t))
		at := "/v1/assessments/" + s.ID + "/spd-schedule"
		var result, schedule map[string]any
		a.JSON(&result)
		byJSON := c.Get(at, "Accept", "application/json").Want(http.StatusOK)
		byJSON.JSON(&schedule)
		if !reflect.DeepEqual(schedule["spd_schedule"], result["spd_schedule"]) || !reflect.DeepEqual(schedule["cautions"], result["cautions"]) {
			t.Error("the schedule is not that of the result")
		}
		rows := csvOf(t, c.Get(at+".csv").Want(http.StatusOK))
		if got := csvOf(t, c.Get(at, "Accept", "text/csv").Want(http.StatusOK)); !reflect.DeepEqual(got, rows) {
			t.Error("by Accept and by suffix the CSV differs")
		}
		row := 1
		for _, e := range schedule["spd_schedule"].([]any) {
			entry := e.(map[string]any)
			for _, m := range entry["modes"].([]any) {
				checkScheduleRow(t, rows[0], rows[row], entry, m.(map[string]any))
				row++
			}
		}
		if row != len(rows) {
			t.Errorf("%d rows, %d modes", len(rows)-1, row-1)
		}
	})
}

// checkScheduleRow holds the cells of a row against the fields of the same names.
func checkScheduleRow(t *testing.T, names, row []string, entry, mode map[string]any) {
	t.Helper()
	checked := 0
	for i, name := range names {
		value, there := mode[name]
		if !there {
			value, there = entry[name]
		}
		if leads := entry["leads"].(map[string]any); !there && strings.HasPrefix(name, "leads_") {
			value, there = leads[strings.TrimPrefix(name, "leads_")]
		}
		if _, list := value.([]any); !there || list {
			continue
		}
		want := ""
		if value != nil {
			want = fmt.Sprint(value)
		}
		checked++
		if got := strings.TrimPrefix(row[i], "'"); got != want {
			t.Errorf("%s of %v: %q, want %q", name, entry["line"], got, want)
		}
	}
	if checked < 20 {
		t.Errorf("only %d columns found among the fields", checked)
	}
}

func TestReference(t *testing.T) {
	c := newClient(t, newServer(t, openSQLite(t)))
	var r struct {
		Editions []struct {
			ID                 string
			Quantities, Tables []map[string]any
		}
		SPD      struct{ Quantities, Tables []map[string]any }
		Defaults []map[string]any
	}
	c.Get("/v1/reference").Want(http.StatusOK).JSON(&r)
	if len(r.Editions) != 1 || len(r.Editions[0].Quantities) < 50 || len(r.Editions[0].Tables) < 10 || len(r.SPD.Quantities) == 0 || len(r.SPD.Tables) == 0 || len(r.Defaults) < 40 {
		t.Errorf("%d editions, %d defaults", len(r.Editions), len(r.Defaults))
	}
	for _, tables := range [][]map[string]any{r.Editions[0].Tables, r.SPD.Tables} {
		for _, table := range tables {
			if table["clause"] == "" || len(table["rows"].([]any)) == 0 {
				t.Errorf("table %v has no clause or no rows", table["number"])
			}
		}
	}
}

func TestContractIsServed(t *testing.T) {
	c := newClient(t, newServer(t, openSQLite(t)))
	text := c.Get("/openapi.yaml").Want(http.StatusOK)
	if text.MediaType() != "application/yaml" || !bytes.Equal(text.Body, read(t, "openapi.yaml")) {
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

// elsewhere is an address of another host in markup that would be loaded or followed.
var elsewhere = regexp.MustCompile(`(?i)(?:src|href|action)\s*=\s*["']?(?:https?:)?//`)

func TestPagesNeedNoOtherHost(t *testing.T) {
	c := newClient(t, newServer(t, openSQLite(t)))
	moved := c.Get("/docs").Want(http.StatusMovedPermanently)
	page := c.Get(moved.Header.Get("Location")).Want(http.StatusOK)
	if page.MediaType() != "text/html" {
		t.Fatalf("the documentation is %s", page.MediaType())
	}
	if link := elsewhere.Find(page.Body); link != nil {
		t.Errorf("the documentation refers to another host: %s", link)
	}
	files := regexp.MustCompile(`(?:src|href)\s*=\s*"([^"#]+\.(?:js|css|png|ico|svg))"`).FindAllSubmatch(page.Body, -1)
	if len(files) < 2 {
		t.Errorf("the documentation has %d files", len(files))
	}
	for _, f := range files {
		path := string(f[1])
		if !strings.HasPrefix(path, "/") {
			path = "/docs/" + path
		}
		if a := c.Get(path).Want(http.StatusOK); len(a.Body) == 0 {
			t.Errorf("%s is empty", path)
		}
	}
	s, _ := create(c, demo(t))
	if link := elsewhere.Find(c.Get("/v1/assessments/" + s.ID + "/worksheet.html").Want(http.StatusOK).Body); link != nil {
		t.Errorf("the worksheet refers to another host: %s", link)
	}
}

func TestMetrics(t *testing.T) {
	c := newClient(t, newServer(t, openSQLite(t)))
	c.Post("/v1/calculations", demo(t)).Want(http.StatusOK)
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
