package documents_test

import (
	"context"
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"levinward/api/apitest"
	"levinward/store"
)

// officeSite is invented. By hand, to IEC 62305-2:2010:
//
//	A_D = 20*10 + 2*(3*5)*(20+10) + pi*(3*5)^2 = 200 + 900 + 706.858347 = 1806.858347 m2 (A.2)
//	N_D = 10*1806.858347*1*1e-6 = 0.01806858347 (A.2.4, isolated: C_D = 1)
//	N_L = 10*40*1000*1*1*1*1e-6 = 0.4 (A.4, aerial, rural, low voltage)
//	R_B = N_D*P_B*r_p*r_f*h_z*L_F*f_z = 0.01806858347*1*1*1e-2*1*2e-2*1 = 3.613716694e-6 (C.3)
//	R_V = N_L*P_EB*P_LD*C_LD*1e-2*2e-2 = 0.4*1*0.95*1*2e-4 = 7.6e-5 (B.7)
const officeSite = `{"name": "Office (invented)", "location": {"latitude": 1, "longitude": 1},
	"flash_density": {"ground_flashes_per_km2_year": 10},
	"environment": "rural",
	"structures": [{"id": "office", "length_m": 20, "width_m": 10, "height_m": 5,
		"surroundings": "isolated", "occupancy": "office", "persons": 4,
		"zones": [{"id": "all", "persons": 4, "hours_per_year": 8760, "fire_risk": "ordinary",
			"fire_protection": "none", "special_hazard": "none"}]}],
	"lines": [{"id": "line", "structure": "office", "installation": "aerial", "length_m": 1000, "withstand_kv": 2.5,
		"shield": {"type": "shielded", "bonded": true, "resistance_ohm_per_km": 10}}]}`

// officeResult is what the tests read of a result.
type officeResult struct {
	ID          string
	ReviewsHash string `json:"reviews_hash"`
	Structures  []struct {
		Risks map[string]struct {
			Components map[string]float64
		}
	}
}

func (r *officeResult) holds(t *testing.T, hash string, rb, rv float64) {
	t.Helper()
	life := r.Structures[0].Risks["loss_of_human_life"].Components
	if r.ReviewsHash != hash {
		t.Errorf("reviews %q, want %q", r.ReviewsHash, hash)
	}
	for name, want := range map[string]float64{"R_B": rb, "R_V": rv} {
		if got := life[name]; math.Abs(got-want) > 1e-9*want {
			t.Errorf("%s = %v, want %v", name, got, want)
		}
	}
}

// A reader exports the table, fills rows in and sends it back: from then on the printed values are computed with,
// and worksheet and result say who looked. L_F 1e-2 instead of 2e-2 halves R_B; P_LD 0.9 instead of 0.95 gives
// R_V = 0.4*0.9*1e-2*1e-2 = 3.6e-5.
func TestReviewsAreComputedWith(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		compute := func(hash string, rb, rv float64) {
			t.Helper()
			var calculated, stored officeResult
			c.Post("/v1/calculations", []byte(officeSite)).Want(http.StatusOK).JSON(&calculated)
			calculated.holds(t, hash, rb, rv)
			c.Post("/v1/assessments", []byte(officeSite)).Want(http.StatusCreated).JSON(&stored)
			stored.holds(t, hash, rb, rv)
		}
		compute("", 3.613716694e-6, 7.6e-5)
		c.Get("/v1/reference/reviews").Want(http.StatusNotFound)

		table := apitest.ReviewedBy(t, c, "A. Reader", [3]string{apitest.OfficeLoss, "no", "0.01"},
			[3]string{apitest.ShieldedLine, "no", "0.9"}, [3]string{apitest.IsolatedSite, "yes", ""})
		var doc apitest.ReviewsList
		apitest.PutReviews(c, table).Want(http.StatusOK).JSON(&doc)
		if doc.Agreed != 1 || doc.Disagreed != 2 || doc.Counts.Values.Checked != 3 || len(doc.Disagreements) != 2 ||
			doc.Disagreements[0].Key != apitest.ShieldedLine ||
			doc.Disagreements[0].Review.Printed != 0.9 || !slices.Equal(doc.CheckedBy, []string{"A. Reader"}) || len(doc.Outdated) != 0 {
			t.Errorf("%+v", doc)
		}
		compute(doc.Hash, 1.806858347e-6, 3.6e-5)
		checkedSteps(t, c, doc.Hash)

		var reference struct {
			ReviewsHash string `json:"reviews_hash"`
			Counts      struct{ Values struct{ Checked int } }
		}
		c.Get("/v1/reference").Want(http.StatusOK).JSON(&reference)
		if reference.ReviewsHash != doc.Hash || reference.Counts.Values.Checked != 3 {
			t.Errorf("%+v", reference)
		}
		// What the service exports is what it takes.
		var again apitest.ReviewsList
		apitest.PutReviews(c, c.Get("/v1/reference/values.csv").Want(http.StatusOK).Body).Want(http.StatusOK).JSON(&again)
		if again.Hash != doc.Hash {
			t.Errorf("hash %s, then %s", doc.Hash, again.Hash)
		}

		c.Delete("/v1/reference/reviews").Want(http.StatusNoContent)
		c.Delete("/v1/reference/reviews").Want(http.StatusNotFound)
		compute("", 3.613716694e-6, 7.6e-5)
		kept := c.Get("/v1/reference/reviews/" + doc.Hash).Want(http.StatusOK).Body
		if !strings.Contains(string(kept), apitest.OfficeLoss) || strings.Count(string(kept), "\n") != 4 {
			t.Errorf("kept table\n%s", kept)
		}
		c.Get("/v1/reference/reviews/nothing").Want(http.StatusNotFound)
	})
}

// checkedSteps looks for the reviewed values in the worksheet of a new assessment.
func checkedSteps(t *testing.T, c *apitest.Client, hash string) {
	t.Helper()
	s, _ := apitest.Create(c, []byte(officeSite))
	var sheet struct {
		Steps []struct {
			Symbol, Table, Row, Provenance string
			Value                          float64
			CheckedBy                      string `json:"checked_by"`
			CheckedOn                      string `json:"checked_on"`
		}
	}
	c.Get("/v1/assessments/" + s.ID + "/worksheet").Want(http.StatusOK).JSON(&sheet)
	want := map[string]float64{"C_D": 1, "P_LD": 0.9, "L_F": 0.01}
	for _, step := range sheet.Steps {
		if v, ok := want[step.Symbol]; ok && step.Table != "" && step.Value == v {
			if step.Provenance != "checked" || step.CheckedBy != "A. Reader" || step.CheckedOn != "2031-05-16" {
				t.Errorf("%+v", step)
			}
			delete(want, step.Symbol)
		}
	}
	if len(want) > 0 {
		t.Errorf("reviews %s: not in the worksheet: %v", hash, want)
	}
}

// Nothing of a faulty table is taken, and every fault is told with line and column.
func TestFaultyReviews(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	table := apitest.ReviewedBy(t, c, " ", [3]string{apitest.IsolatedSite, "yes", "2"}, [3]string{apitest.ShieldedLine, "no", "1.5"})
	p := apitest.PutReviews(c, table).Want(http.StatusUnprocessableEntity).Problem()
	var columns []string
	for _, f := range p.Errors {
		if f.Line < 2 {
			t.Errorf("%+v", f)
		}
		columns = append(columns, f.Column)
	}
	slices.Sort(columns)
	if !slices.Equal(columns, []string{"checked_by", "checked_by", "printed_value", "printed_value"}) ||
		!strings.HasPrefix(p.Detail, "4 faults") {
		t.Errorf("%s %v", p.Detail, columns)
	}
	many := append(apitest.ReviewedBy(t, c, "A. Reader"), strings.Repeat("a,b\r\n", 150)...)
	if p := apitest.PutReviews(c, many).Want(http.StatusUnprocessableEntity).Problem(); len(p.Errors) != 100 ||
		!strings.HasPrefix(p.Detail, "150 faults, the first 100") {
		t.Errorf("%s, %d", p.Detail, len(p.Errors))
	}
	c.Do(http.MethodPut, "/v1/reference/reviews", table, "Content-Type", "application/json").Want(http.StatusUnsupportedMediaType)
	c.Get("/v1/reference/reviews").Want(http.StatusNotFound)
}

// Who read other reviews than those in use changes nothing.
func TestReviewsThatChangedMeanwhile(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	first := apitest.ReviewedBy(t, c, "A. Reader", [3]string{apitest.IsolatedSite, "yes", ""})
	apitest.PutReviews(c, first, "If-Match", `"x"`).Want(http.StatusPreconditionFailed)
	apitest.PutReviews(c, first, "If-Match", "*").Want(http.StatusPreconditionFailed)
	tag := apitest.PutReviews(c, first).Want(http.StatusOK).Header.Get("ETag")
	second := apitest.ReviewedBy(t, c, "B. Reader", [3]string{apitest.ShieldedLine, "yes", ""})
	apitest.PutReviews(c, second, "If-Match", tag).Want(http.StatusOK)
	apitest.PutReviews(c, first, "If-Match", tag).Want(http.StatusPreconditionFailed)
	c.Do(http.MethodDelete, "/v1/reference/reviews", nil, "If-Match", tag).Want(http.StatusPreconditionFailed)
	var doc apitest.ReviewsList
	a := c.Get("/v1/reference/reviews").Want(http.StatusOK)
	a.JSON(&doc)
	tag = a.Header.Get("ETag")
	if !slices.Equal(doc.CheckedBy, []string{"A. Reader", "B. Reader"}) || doc.Agreed != 2 {
		t.Errorf("%+v", doc)
	}
	c.Do(http.MethodDelete, "/v1/reference/reviews", nil, "If-Match", tag).Want(http.StatusNoContent)
}

// Another replica follows within a second or so.
func TestReplicasFollowReviews(t *testing.T) {
	db := apitest.OpenSQLite(t)
	c, other := apitest.NewClient(t, apitest.NewServer(t, db)), apitest.NewClient(t, apitest.NewServer(t, db))
	var r officeResult
	other.Post("/v1/calculations", []byte(officeSite)).Want(http.StatusOK).JSON(&r)
	r.holds(t, "", 3.613716694e-6, 7.6e-5)
	var doc apitest.ReviewsList
	apitest.PutReviews(c, apitest.ReviewedBy(t, c, "A. Reader", [3]string{apitest.OfficeLoss, "no", "0.01"})).Want(http.StatusOK).JSON(&doc)
	for end := time.Now().Add(20 * time.Second); r.ReviewsHash == "" && time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		other.Post("/v1/calculations", []byte(officeSite)).Want(http.StatusOK).JSON(&r)
	}
	r.holds(t, doc.Hash, 1.806858347e-6, 3.8e-5)
}

// unread is a store whose reviews cannot be read.
type unread struct{ store.Store }

func (unread) ReviewsInUse(context.Context, store.Organisation) (string, error) {
	return "", store.ErrUnavailable
}

// Nothing is computed by a service that does not know which values to compute with.
func TestUnknownReviews(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, unread{apitest.OpenSQLite(t)}))
	c.Post("/v1/calculations", []byte(officeSite)).Want(http.StatusServiceUnavailable)
	c.Get("/v1/reference").Want(http.StatusServiceUnavailable)
}

// A stored assessment that is looked at again is computed with the reviews it names, and sites computed with other
// reviews are due.
func TestEarlierReviews(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		apitest.PutReviews(c, apitest.ReviewedBy(t, c, "A. Reader", [3]string{apitest.OfficeLoss, "no", "0.01"},
			[3]string{"spd/a.3/3-ka/p", "no", "0.98"})).Want(http.StatusOK)
		s, _ := apitest.Create(c, []byte(officeSite))
		p := apitest.MakePortfolio(c, "P")
		apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", apitest.SiteFile(0, 3, 5)))
		due := func() apitest.Work {
			t.Helper()
			return apitest.Ended(t, c, c.Post("/v1/portfolios/"+p.ID+"/assessments", []byte(`{"which": "due"}`)))
		}
		stress := func() string {
			t.Helper()
			return string(c.Post("/v1/assessments/"+s.ID+"/spd-stress", []byte(`{}`)).Want(http.StatusOK).Body)
		}
		text := stress()
		c.Delete("/v1/reference/reviews").Want(http.StatusNoContent)
		if again := stress(); again != text {
			t.Error("the reviews of an old record are those in use now")
		}
		all := apitest.Ended(t, c, c.Post("/v1/portfolios/"+p.ID+"/assessments", []byte(`{"which": "all"}`)))
		if all.Done != 3 || all.Unchanged != 0 {
			t.Errorf("all again: %+v", all)
		}
		apitest.PutReviews(c, apitest.ReviewedBy(t, c, "B. Reader", [3]string{apitest.OfficeLoss, "no", "0.01"})).Want(http.StatusOK)
		if w := due(); w.Done != 3 {
			t.Errorf("other reviews: %+v", w)
		}
		for _, site := range apitest.SitesOf(c, p.ID, "").Sites {
			if site.Revision != 3 {
				t.Errorf("%+v", site)
			}
		}
	})
}

// Reviewed values go into electrodes and coordination too. By hand, to BS 7430 for n rods along a hollow square:
// R = rho/(n*2*pi*L)*(ln(8*L/d)-1+lambda*L/s) with rho = 100 ohm m, L = 2 m, d = 0.016 m, n = 8, s = 4 m. Two limiting
// devices need 5 m of cable between them, a rule of thumb (common practice, no published source).
func TestReviewsOfOtherAnswers(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	electrode := func(lambda float64) string {
		t.Helper()
		var doc struct {
			Resistance  float64 `json:"resistance_ohm"`
			ReviewsHash string  `json:"reviews_hash"`
		}
		c.Post("/v1/earth-electrodes", []byte(`{"soil_resistivity_ohm_m": 100, "electrode": {"kind": "rods", "arrangement": "square", "count": 8,
			"length_m": 2, "diameter_m": 0.016, "spacing_m": 4}}`)).Want(http.StatusOK).JSON(&doc)
		want := 100 / (8 * 2 * math.Pi * 2) * (math.Log(8*2/0.016) - 1 + lambda*2/4)
		if math.Abs(doc.Resistance-want) > 1e-9*want {
			t.Errorf("lambda %v: %v ohm, want %v", lambda, doc.Resistance, want)
		}
		return doc.ReviewsHash
	}
	coordinated := func() (text, hash string) {
		t.Helper()
		a := c.Post("/v1/spd-coordinations", []byte(`{"withstand_kv": 2.5, "stages": [
			{"device": {"test_classes": ["II"], "technology": "limiting", "up_kv": 1.5, "uc_ac_v": 275, "in_ka": 20}, "cable_after_m": 6},
			{"device": {"test_classes": ["II"], "technology": "limiting", "up_kv": 1.2, "uc_ac_v": 275, "in_ka": 10}}]}`))
		var doc struct {
			ReviewsHash string `json:"reviews_hash"`
		}
		a.Want(http.StatusOK).JSON(&doc)
		return string(a.Body), doc.ReviewsHash
	}
	if hash := electrode(4.5284); hash != "" {
		t.Errorf("reviews %q", hash)
	}
	before, _ := coordinated()
	var doc apitest.ReviewsList
	apitest.PutReviews(c, apitest.ReviewedBy(t, c, "A. Reader", [3]string{"earth/hollow-square/8-rods/lambda", "no", "5"},
		[3]string{"spd/decoupling/limiting-behind-limiting-class-ii-and-below-inductance-in-proportion-to-the-row-above/cable-m", "no",
			"8"})).Want(http.StatusOK).JSON(&doc)
	if hash := electrode(5); hash != doc.Hash {
		t.Errorf("reviews %q", hash)
	}
	if after, hash := coordinated(); after == before || hash != doc.Hash || !strings.Contains(after, "8 m") {
		t.Errorf("reviews %q\n%s", hash, after)
	}
}
