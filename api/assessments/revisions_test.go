package assessments_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"slices"
	"testing"

	"levinward/api/apitest"
)

func TestMergePatch(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, first := apitest.Create(c, apitest.Demo(t))
		at := "/v1/assessments/" + s.ID
		a := c.Patch(
			at+"/revisions", `{"reference": null, "environment": "suburban", "flash_density": {"year": null, "ground_flashes_per_km2_year": 3.5},
			"structures": [{"id": "shed", "length_m": 4, "width_m": 3, "height_m": 2.5}], "lines": []}`).Want(http.StatusCreated)
		var revised apitest.Stored
		a.JSON(&revised)
		if revised.ID != s.ID || revised.Revision != 2 || a.Header.Get("Location") != at+"/revisions/2" {
			t.Errorf("revision %d of %s at %s", revised.Revision, revised.ID, a.Header.Get("Location"))
		}
		want := map[string]any{}
		if err := json.Unmarshal(apitest.Demo(t), &want); err != nil {
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
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		_, a := apitest.Create(c, apitest.Demo(t))
		var before, after map[string]any
		a.JSON(&before)
		c.Patch(a.Header.Get("Location")+"/revisions", `{}`).Want(http.StatusCreated).JSON(&after)
		if before["input_hash"] != after["input_hash"] || after["revision"] != 2. {
			t.Errorf("hash %v, then %v", before["input_hash"], after["input_hash"])
		}
	})
}

func TestConcurrentRevisions(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, a := apitest.Create(c, apitest.Smallest(t))
		at := "/v1/assessments/" + s.ID + "/revisions"
		tag := a.Header.Get("ETag")
		const many = 8
		status := make([]int, many)
		apitest.Together(many, func(i int) {
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
		apitest.Together(many, func(i int) {
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
		var newest apitest.Stored
		c.Get("/v1/assessments/" + s.ID).Want(http.StatusOK).JSON(&newest)
		if accepted == 0 || newest.Revision != 3+accepted {
			t.Errorf("%d accepted, the newest revision is %d", accepted, newest.Revision)
		}
	})
}

// IEC 62305-2:2010, A.2.4, from memory: N_D = N_G A_D C_D 1e-6, so twice N_G gives twice N_D.
func TestChanges(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := apitest.Create(c, apitest.Smallest(t))
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
		c.Patch(at+"/revisions", `{"flash_density": {"ground_flashes_per_km2_year": 18.8, "source": "a/b~c (invented)"}}`).Want(
			http.StatusCreated)
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
