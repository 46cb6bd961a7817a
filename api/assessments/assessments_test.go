package assessments_test

import (
	"bytes"
	"net/http"
	"reflect"
	"strings"
	"testing"

	"levinward/api/apitest"
)

func TestCalculationsStoreNothing(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		var calculated, created map[string]any
		c.Post("/v1/calculations", apitest.Demo(t)).Want(http.StatusOK).JSON(&calculated)
		if l, _ := apitest.GetList(c, ""); len(l.Assessments) != 0 {
			t.Error("something was stored")
		}
		_, a := apitest.Create(c, apitest.Demo(t))
		a.JSON(&created)
		for _, field := range []string{"id", "revision", "created_at"} {
			if calculated[field] != nil || created[field] == nil {
				t.Errorf("%s: calculated %v, stored %v", field, calculated[field], created[field])
			}
			delete(created, field)
		}
		if !reflect.DeepEqual(calculated, created) {
			t.Error("a calculation and a stored assessment of one input differ")
		}
	})
}

func TestCreatedAndRead(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, a := apitest.Create(c, apitest.Smallest(t))
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
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := apitest.Create(c, apitest.Smallest(t))
		at := "/v1/assessments/" + s.ID
		const other = "/v1/assessments/01963b1c-6c00-7d3a-9c41-5be0c7b8a2f1"
		for _, path := range []string{other, other + "/revisions", other + "/changes", other + "/worksheet", other + "/worksheet.csv",
			other + "/worksheet.html",
			other + "/spd-schedule", other + "/spd-schedule.csv", "/v1/assessments/no-uuid", "/v1/assessments/no-uuid/worksheet",
			at + "/revisions/2", at + "/revisions/0",
			at + "/revisions/x", at + "/revisions/99999999999999999999", at + "/worksheet?revision=2", at + "/spd-schedule?revision=2",
			at + "/changes?from=1&to=2", "/v1/nothing", "/"} {
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
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		_, first := apitest.Create(c, apitest.Demo(t), "Idempotency-Key", "site-1")
		if first.Header.Get("Idempotency-Replayed") != "" {
			t.Error("the first answer says that it is a repetition")
		}
		_, again := apitest.Create(c, apitest.Demo(t), "Idempotency-Key", "site-1")
		if !bytes.Equal(first.Body, again.Body) || again.Header.Get("Idempotency-Replayed") != "true" ||
			again.Header.Get("Location") != first.Header.Get("Location") || again.Header.Get("ETag") != first.Header.Get("ETag") {
			t.Errorf("the same request got another answer: %v", again.Header)
		}
		p := c.Post("/v1/assessments", apitest.Smallest(t), "Idempotency-Key", "site-1").Want(http.StatusUnprocessableEntity).Problem()
		if p.Kind() != "idempotency-key-reused" {
			t.Errorf("another body under the same key: %s", p.Type)
		}
		if l, _ := apitest.GetList(c, ""); len(l.Assessments) != 1 {
			t.Errorf("stored: %v", l.Names())
		}
		for _, key := range []string{"", "a b", strings.Repeat("k", 256), "ä"} {
			p := c.Post("/v1/assessments", apitest.Demo(t), "Idempotency-Key", key).Want(http.StatusBadRequest).Problem()
			if len(p.Errors) != 1 || p.Errors[0].Parameter != "Idempotency-Key" {
				t.Errorf("key %q: %v", key, p.Errors)
			}
		}
		c.Post("/v1/assessments", apitest.Demo(t), "Idempotency-Key", "a", "Idempotency-Key", "b").Want(http.StatusBadRequest)

		// A refused request does not use its key up.
		c.Post("/v1/assessments", apitest.Changed(t, apitest.Demo(t), map[string]any{"/location/latitude": 91}), "Idempotency-Key",
			"site-2").Want(http.StatusUnprocessableEntity)
		apitest.Create(c, apitest.Demo(t), "Idempotency-Key", "site-2")
	})
}

func TestIdempotencyOfManyAtOnce(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		const many = 20
		bodies := make([][]byte, many)
		apitest.Together(many, func(i int) {
			bodies[i] = c.Post("/v1/assessments", apitest.Smallest(t), "Idempotency-Key", "one").Body
		})
		for i, b := range bodies {
			if !bytes.Equal(b, bodies[0]) || !bytes.Contains(b, []byte(`"id"`)) {
				t.Errorf("answer %d differs: %.200s", i, b)
			}
		}
		if l, _ := apitest.GetList(c, ""); len(l.Assessments) != 1 {
			t.Errorf("%d stored", len(l.Assessments))
		}
	})
}
