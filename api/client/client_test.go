package client_test

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"levinward/api"
	"levinward/api/apitest"
	"levinward/api/client"
	"levinward/store"
	"levinward/store/storetest"
)

func TestMain(m *testing.M) { storetest.Main(m) }

const root = "../.."

func read(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(root, name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// onBothStores runs a test against a service on each store.
func onBothStores(t *testing.T, test func(*testing.T, *client.ClientWithResponses)) {
	for name, open := range apitest.Stores() {
		t.Run(name, func(t *testing.T) { test(t, clientOf(t, open(t))) })
	}
}

func clientOf(t *testing.T, s store.Store) *client.ClientWithResponses {
	t.Helper()
	server, err := api.New(api.Config{Store: s, Contract: apitest.Contract(t), Engine: "levinward under test",
		Log: slog.New(slog.NewTextHandler(t.Output(), nil))})
	if err != nil {
		t.Fatal(err)
	}
	return dial(t, server)
}

func dial(t *testing.T, h http.Handler, options ...client.ClientOption) *client.ClientWithResponses {
	t.Helper()
	server := httptest.NewServer(h)
	t.Cleanup(server.Close)
	c, err := client.New(server.URL, options...)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// site is the health post of the demonstration, with levels of SPDs of both kinds.
func site(t *testing.T) client.Input {
	t.Helper()
	var in client.Input
	if err := json.Unmarshal(read(t, "testdata/demo/health-post.json"), &in); err != nil {
		t.Fatal(err)
	}
	in.Lines[0].BondingSPD = &client.SPDLevel{Level: "II"}
	in.Lines[0].CoordinatedSPD = &client.SPDLevel{Probability: 0.005}
	return in
}

// IEC 62305-2:2010, Annex A, from memory: every number of events is N_G times an area, so R_1 rises with N_G.
func TestAssessThroughClient(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *client.ClientWithResponses) {
		ctx, in := t.Context(), site(t)
		calculated := must(c.CalculateWithResponse(ctx, in))(t)
		if calculated.JSON200 == nil || calculated.JSON200.ID != nil {
			t.Fatalf("calculated: %s", calculated.Body)
		}
		holdsAll(t, calculated.Body, calculated.JSON200)

		key := "first"
		created := must(c.CreateAssessmentWithResponse(ctx, &client.CreateAssessmentParams{IdempotencyKey: &key}, in))(t)
		again := must(c.CreateAssessmentWithResponse(ctx, &client.CreateAssessmentParams{IdempotencyKey: &key}, in))(t)
		first := created.JSON201
		if first == nil || first.ID == nil || *first.Revision != 1 || *again.JSON201.ID != *first.ID {
			t.Fatalf("created %s\nagain %s", created.Body, again.Body)
		}
		holdsAll(t, created.Body, first)
		if r := *again.Headers201.IdempotencyReplayed; r != "true" {
			t.Errorf("Idempotency-Replayed: %q", r)
		}
		if first.InputHash != calculated.JSON200.InputHash || !reflect.DeepEqual(first.Structures, calculated.JSON200.Structures) {
			t.Error("what is stored is not what was calculated")
		}

		patch := client.InputPatch{"flash_density": map[string]any{"ground_flashes_per_km2_year": 2 * density(&in), "year": nil}}
		match := *created.Headers201.ETag
		revised := must(c.ReviseAssessmentWithApplicationMergePatchPlusJSONBodyWithResponse(ctx, *first.ID, &client.ReviseAssessmentParams{IfMatch: &match}, patch))(t)
		second := revised.JSON201
		if second == nil || *second.Revision != 2 || density(&second.Input) != 2*density(&in) || second.Input.FlashDensity.Year != nil {
			t.Fatalf("revised: %s", revised.Body)
		}
		if before, after := lossOfHumanLife(t, first), lossOfHumanLife(t, second); after <= before {
			t.Errorf("R_1 = %v with N_G, %v with twice as much", before, after)
		}
		_, err := c.ReviseAssessmentWithApplicationMergePatchPlusJSONBodyWithResponse(ctx, *first.ID, &client.ReviseAssessmentParams{IfMatch: &match}, patch)
		refused(t, err, http.StatusPreconditionFailed, "urn:levinward:problem:precondition-failed")

		listed := must(c.ListAssessmentsWithResponse(ctx, &client.ListAssessmentsParams{Bbox: []float64{86, -4, 87, -3}, Q: new("quemmel")}))(t)
		if l := listed.JSON200.Assessments; len(l) != 1 || l[0].ID != *first.ID || l[0].Revision != 2 || l[0].Reference != *in.Reference {
			t.Errorf("listed: %s", listed.Body)
		}
		compared := must(c.CompareRevisionsWithResponse(ctx, *first.ID, nil))(t)
		if got := compared.JSON200.Inputs; len(got) == 0 || got[0].Pointer != "/flash_density/ground_flashes_per_km2_year" || got[0].Before != density(&in) {
			t.Errorf("compared: %s", compared.Body)
		}
		if csv := must(c.GetSPDScheduleCSVWithResponse(ctx, *first.ID, nil))(t); !strings.Contains(string(csv.Body), "village") {
			t.Errorf("schedule: %s", csv.Body)
		}

		must(c.DeleteAssessmentWithResponse(ctx, *first.ID))(t)
		_, err = c.GetAssessmentWithResponse(ctx, *first.ID, nil)
		refused(t, err, http.StatusNotFound, "urn:levinward:problem:not-found")
	})
}

func density(in *client.Input) float64 { return *in.FlashDensity.GroundFlashesPerKm2Year }

func lossOfHumanLife(t *testing.T, r *client.Result) float64 {
	t.Helper()
	for _, s := range r.Structures {
		if s.Risks.LossOfHumanLife != nil {
			return s.Risks.LossOfHumanLife.Total
		}
	}
	t.Fatal("no structure has R_1")
	return 0
}

// holdsAll fails where the types of the client lose anything of an answer.
func holdsAll(t *testing.T, body []byte, answer any) {
	t.Helper()
	written, err := json.Marshal(answer)
	if err != nil {
		t.Fatal(err)
	}
	var want, got any
	for text, into := range map[*[]byte]*any{&body: &want, &written: &got} {
		if err := json.Unmarshal(*text, into); err != nil {
			t.Fatal(err)
		}
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("read %s\nfrom %s", written, body)
	}
}

func TestEveryFaultIsNamed(t *testing.T) {
	onBothStores(t, func(t *testing.T, c *client.ClientWithResponses) {
		in := site(t)
		in.Structures[0].HeightM = new(-3.0)
		in.Lines[0].BondingSPD = &client.SPDLevel{Level: "V"}
		in.Location.Latitude = 95
		_, err := c.CreateAssessmentWithResponse(t.Context(), nil, in)
		p := refused(t, err, http.StatusUnprocessableEntity, "urn:levinward:problem:invalid-input")
		for _, place := range []string{"/structures/0/height_m", "/lines/0/bonding_spd", "/location/latitude"} {
			if !strings.Contains(p.Error(), place+" must be") {
				t.Errorf("%s is not named: %v", place, p)
			}
		}
		listed := must(c.ListAssessmentsWithResponse(t.Context(), nil))(t)
		if len(listed.JSON200.Assessments) != 0 {
			t.Errorf("stored: %s", listed.Body)
		}
		_, err = c.ListAssessmentsWithResponse(t.Context(), &client.ListAssessmentsParams{Limit: new(0)})
		if p := refused(t, err, http.StatusBadRequest, "urn:levinward:problem:bad-parameter"); !strings.Contains(p.Error(), "limit must be") {
			t.Errorf("limit is not named: %v", p)
		}
	})
}

// What stands between client and service may answer in a form of its own.
func TestForeignRefusals(t *testing.T) {
	for _, c := range []struct {
		name, media, body string
		status            int
	}{
		{"page", "text/html", "<h1>Bad Gateway</h1>", 502},
		{"nothing", "", "", 504},
		{"not JSON", "application/problem+json", "{", 500},
		{"a status of its own", "application/problem+json; charset=utf-8", `{"type": "urn:x", "title": "X", "status": 1}`, 429},
	} {
		service := dial(t, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", c.media)
			w.WriteHeader(c.status)
			io.WriteString(w, c.body)
		}))
		_, err := service.GetReferenceWithResponse(t.Context())
		var p *client.Problem
		if !errors.As(err, &p) || p.Status != c.status || !strings.HasPrefix(p.Error(), strconv.Itoa(c.status)) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// A call ends with its context, or with the time limit of the http.Client that is given.
func TestCallsEnd(t *testing.T) {
	never := http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { <-r.Context().Done() })
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := dial(t, never).GetReferenceWithResponse(ended); !errors.Is(err, context.Canceled) {
		t.Errorf("context ended: %v", err)
	}
	hasty := client.WithHTTPClient(&http.Client{Timeout: 10 * time.Millisecond})
	var late interface{ Timeout() bool }
	if _, err := dial(t, never, hasty).GetReferenceWithResponse(t.Context()); !errors.As(err, &late) || !late.Timeout() {
		t.Errorf("time limit: %v", err)
	}
}

func TestSPDLevel(t *testing.T) {
	for _, c := range []struct {
		text  string
		level client.SPDLevel
	}{
		{`"III-IV"`, client.SPDLevel{Level: "III-IV"}},
		{`0.002`, client.SPDLevel{Probability: 0.002}},
	} {
		var got client.SPDLevel
		if err := json.Unmarshal([]byte(c.text), &got); err != nil || got != c.level {
			t.Errorf("%s read as %+v, %v", c.text, got, err)
		}
		if b, err := json.Marshal(c.level); err != nil || string(b) != c.text {
			t.Errorf("%+v written as %s, %v", c.level, b, err)
		}
	}
	if err := json.Unmarshal([]byte(`[]`), new(client.SPDLevel)); err == nil {
		t.Error("a list is read as a level")
	}
}

// must is the answer of a call that has to succeed.
func must[T any](answer T, err error) func(*testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return answer
	}
}

// refused is the problem that a call has to end with.
func refused(t *testing.T, err error, status int, kind string) *client.Problem {
	t.Helper()
	var p *client.Problem
	if !errors.As(err, &p) || p.Status != status || p.Type != kind {
		t.Fatalf("error %v, want %d %s", err, status, kind)
	}
	return p
}
