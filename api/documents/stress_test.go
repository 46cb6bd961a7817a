package documents_test

import (
	"encoding/json"
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"

	"levinward/api/apitest"
	"levinward/api/single"
)

// stressed is an answer of POST /v1/assessments/{id}/spd-stress.
type stressed struct {
	Assessment string
	Revision   int
	LineFlash  string        `json:"line_flash"`
	Ends       []stressedEnd `json:"line_ends"`
	Steps      []struct {
		Symbol, Scope, Pointer string
		Value                  float64
	}
	Cautions []string
}

type stressedEnd struct {
	Line, Structure string
	Required        bool
	EarthFirst      bool `json:"earth_first"`
	Conductors      float64
	Sources         []struct {
		Source, Waveform string
		Events           float64 `json:"events_per_year"`
		Share            float64
	}
	Rates []struct {
		Current float64 `json:"current_ka"`
		Impulse float64 `json:"impulse_10_350_per_year"`
		Induced float64 `json:"surge_8_20_per_year"`
		Total   float64 `json:"total_per_year"`
	}
	Above      float64 `json:"operations_above_ka"`
	Operations float64 `json:"operations_per_year"`
	Duties     []stressDuty
	Notes      []string
	Basis      []struct{ Field, Mode, Clause, Provenance string }
}

type stressDuty struct {
	Reference  string
	Scheduled  bool
	Ratings    map[string]*float64
	Impulse    float64  `json:"impulse_10_350_withstand_ka"`
	Rate       float64  `json:"overstresses_per_year"`
	Period     *float64 `json:"return_period_years"`
	Overstress []struct{ Years, Probability float64 }
	FromRating struct {
		Largest  *float64
		BySource []struct {
			Source string
			PSPD   float64 `json:"p_spd"`
		} `json:"by_source"`
	} `json:"p_spd_from_rating"`
	FromTable *struct {
		Level  string  `json:"lightning_protection_level"`
		PSPD   float64 `json:"p_spd"`
		Clause string
	} `json:"p_spd_from_table"`
	Notes []string
}

func stressOf(c *apitest.Client, id, body string) (r stressed) {
	c.Post("/v1/assessments/"+id+"/spd-stress", []byte(body)).Want(http.StatusOK).JSON(&r)
	return r
}

// village is an invented building whose one line has four current-carrying conductors, three phases and PEN.
const village = `{
	"name": "Invented: village hall", "location": {"latitude": -3, "longitude": 36}, "flash_density": {"ground_flashes_per_km2_year": 9},
	"structures": [{"id": "hall", "length_m": 20, "width_m": 10, "height_m": 8, "lps": "I",
		"earthing": {"connection": "measured", "resistance_ohm": 5}}],
	"lines": [{"id": "supply", "structure": "hall", "length_m": 500,
		"electrical": {"current": "ac", "system": "TN-C", "nominal_v": 230, "phases": 3}}]}`

// Published sharing (trade handbooks on IEC 62305): one line of four conductors carries 25, 18.75, 12.5 kA per
// conductor at 200, 150, 100 kA. A device of just that I_imp is then exceeded by 0.01, 0.02, 0.05 of the flashes to
// the structure, which is P_SPD of IEC 62305-2 Table B.3 for LPL I, II, III-IV (memory; derivable from IEC 62305-1 Table 5, read).
func TestRatingBesideTheTable(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, a := apitest.Create(c, []byte(village))
		r := stressOf(
			c, s.ID, `{"devices": [{"reference": "A", "iimp_ka": 25}, {"reference": "B", "iimp_ka": 18.75}, {"reference": "C", `+
				`"iimp_ka": 12.5, "line": "supply", "structure": "hall"}]}`)
		if len(r.Ends) != 1 || r.Assessment != s.ID || r.Revision != 1 || r.LineFlash != "half_each_way" || len(r.Cautions) == 0 ||
			r.Steps != nil {
			t.Fatalf("%+v", r)
		}
		e := r.Ends[0]
		if e.Conductors != 4 || e.Sources[0].Source != "S1" || e.Sources[0].Share != 0.125 || e.Sources[0].Waveform != "10/350" || e.EarthFirst {
			t.Errorf("%+v", e)
		}
		for i, want := range []float64{0.01, 0.02, 0.05} {
			d := e.Duties[i+1]
			if d.Scheduled || d.Impulse != []float64{25, 18.75, 12.5}[i] || math.Abs(d.FromRating.BySource[0].PSPD-want) > 1e-12 ||
				d.FromTable.PSPD != 0.01 || d.FromTable.Level != "I" {
				t.Errorf("%s: %+v", d.Reference, d)
			}
			for k, years := range []float64{5, 10, 20} { // surges are independent of each other
				if y := d.Overstress[k]; y.Years != years || math.Abs(y.Probability-(1-math.Exp(-d.Rate*years))) > 1e-12 {
					t.Errorf("%s: %+v", d.Reference, y)
				}
			}
			if !apitest.Almost(d.Period, 1/d.Rate) {
				t.Errorf("%s: every %v years at %v a year", d.Reference, d.Period, d.Rate)
			}
		}
		if d := e.Duties[0]; !d.Scheduled || d.Reference != "as scheduled" || *d.Ratings["iimp_ka"] < 25 || d.Ratings["iimp_n_pe_ka"] != nil {
			t.Errorf("%+v", d)
		}
		// the events are those of the stored result
		var result struct {
			Structures []struct {
				Events struct{ Direct, Near float64 } `json:"events_per_year"`
			}
			Lines []struct {
				Events struct{ Direct, Near float64 } `json:"events_per_year"`
			}
		}
		a.JSON(&result)
		at, line := result.Structures[0].Events, result.Lines[0].Events
		for i, want := range []float64{at.Direct, at.Near, line.Direct, line.Near} {
			if got := e.Sources[i].Events; got != want {
				t.Errorf("%s: %v a year, want %v", e.Sources[i].Source, got, want)
			}
		}
		// nothing of it was stored
		if after := c.Get("/v1/assessments/" + s.ID).Want(http.StatusOK); string(after.Body) != string(a.Body) {
			t.Error("the assessment has changed")
		}
	})
}

// IEC 62305-1 Tables E.2 and E.3 (memory): 10 kA of a 200 kA flash to a power line reach each conductor.
func TestTabulatedLineFlash(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	s, _ := apitest.Create(c, []byte(village))
	half := stressOf(c, s.ID, `{"currents_ka": [0, 1, 10], "years": [1], "smallest_ka": 1}`)
	table := stressOf(c, s.ID, `{"line_flash": "tabulated"}`)
	if half.Ends[0].Sources[2].Share != 0.125 || table.Ends[0].Sources[2].Share != 0.05 || table.LineFlash != "tabulated" {
		t.Errorf("shares %v and %v", half.Ends[0].Sources[2], table.Ends[0].Sources[2])
	}
	e := half.Ends[0]
	all := 0.0
	for _, s := range e.Sources {
		all += s.Events
	}
	if len(e.Rates) != 3 || !apitest.Almost(&e.Rates[0].Total, all) || e.Operations != e.Rates[1].Total || e.Above != 1 ||
		len(e.Duties[0].Overstress) != 1 {
		t.Errorf("%+v", e)
	}
	for _, rate := range e.Rates {
		if rate.Total != rate.Impulse+rate.Induced {
			t.Errorf("%+v", rate)
		}
	}
}

// Symbols are those of IEC 62305-2:2010; k_S, z, P_T, r_op, lambda, S_t, p_t and P_SPD_dev are our own. A device of which is not
// known that its earth connection is proved comes after that proof: common practice, no published source.
func TestStressOfOneLineWithSteps(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	s, _ := apitest.Create(c, apitest.Demo(t))
	all := stressOf(c, s.ID, `{}`)
	lines := map[string]bool{}
	for _, e := range all.Ends {
		lines[e.Line] = true
	}
	if len(lines) < 3 {
		t.Fatalf("%v", lines)
	}
	r := stressOf(c, s.ID, `{"line": "village", "steps": true, "devices": [{"reference": "X-100", "iimp_ka": 12.5, "structure": "post"}]}`)
	if len(r.Ends) != 1 || r.Ends[0].Line != "village" || len(r.Ends[0].Duties) != 2 || !r.Ends[0].EarthFirst {
		t.Fatalf("%+v", r.Ends)
	}
	for _, st := range r.Steps { // what was read of the input is found there
		if st.Pointer != "" && (st.Symbol != "rho" || st.Pointer != "/soil_resistivity_ohm_m") {
			t.Errorf("%s was read at %s", st.Symbol, st.Pointer)
		}
	}
	for _, symbol := range []string{"N_D", "N_M", "N_L", "N_I", "k_S", "z", "P_T", "r_op", "lambda", "S_t", "p_t", "P_SPD_dev"} {
		if !slices.ContainsFunc(r.Steps, func(s struct {
			Symbol, Scope, Pointer string
			Value                  float64
		}) bool {
			return s.Symbol == symbol
		}) {
			t.Errorf("no step gives %s", symbol)
		}
	}
}

// IEC 62305-2:2010, Annex A, from memory: every number of events is N_G times an area, so the events are in the ratio of the two N_G.
//
// A revision is answered with the N_G that it was computed with, even when the map it came from is gone.
func TestStressWithMap(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	given, _ := apitest.Create(c, []byte(village))
	m := apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"))
	onMap := apitest.Changed(t, []byte(village),
		map[string]any{"/flash_density": map[string]any{"map": m.ID}, "/location/latitude": 0.125, "/location/longitude": 11.375})
	s, a := apitest.Create(c, onMap)
	first, second := stressOf(c, given.ID, `{}`), stressOf(c, s.ID, `{}`)
	var density apitest.DensityUsed
	a.JSON(&density)
	for i := range first.Ends[0].Sources {
		if got, want := second.Ends[0].Sources[i].Events, first.Ends[0].Sources[i].Events*density.Used.NG/9; math.Abs(got-want) > 1e-12*want {
			t.Errorf("%s: %v a year, want %v", second.Ends[0].Sources[i].Source, got, want)
		}
	}
	c.Delete("/v1/flash-density-maps/" + m.ID).Want(http.StatusNoContent)
	if again := stressOf(c, s.ID, `{}`); again.Ends[0].Operations != second.Ends[0].Operations {
		t.Errorf("%v operations a year, with the map gone %v", second.Ends[0].Operations, again.Ends[0].Operations)
	}
}

func TestStressOfRevisions(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	s, _ := apitest.Create(c, []byte(village))
	at := "/v1/assessments/" + s.ID
	c.Patch(at+"/revisions", `{"flash_density": {"ground_flashes_per_km2_year": 18}}`).Want(http.StatusCreated)
	var first, newest stressed
	c.Post(at+"/spd-stress?revision=1", []byte(`{}`)).Want(http.StatusOK).JSON(&first)
	c.Post(at+"/spd-stress", []byte(`{}`)).Want(http.StatusOK).JSON(&newest)
	if first.Revision != 1 || newest.Revision != 2 || math.Abs(newest.Ends[0].Operations/first.Ends[0].Operations-2) > 1e-12 {
		t.Errorf("twice the flashes: %v and %v operations a year", first.Ends[0].Operations, newest.Ends[0].Operations)
	}
	c.Post(at+"/spd-stress?revision=3", []byte(`{}`)).Want(http.StatusNotFound)
	c.Post(at+"/spd-stress?revision=x", []byte(`{}`)).Want(http.StatusBadRequest)
	c.Post("/v1/assessments/none/spd-stress", []byte(`{}`)).Want(http.StatusNotFound)
	c.Post(at+"/spd-stress", []byte(`{"years"`)).Want(http.StatusBadRequest)
	c.Do(http.MethodPost, at+"/spd-stress", []byte(`{}`), "Content-Type", "text/plain").Want(http.StatusUnsupportedMediaType)
}

func TestFaultsOfStress(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	s, _ := apitest.Create(c, []byte(apitest.Sound))
	at := "/v1/assessments/" + s.ID + "/spd-stress"
	many, err := json.Marshal(map[string]any{"currents_ka": slices.Repeat([]float64{1}, 101), "years": []float64{}, "devices": []any{}})
	if err != nil {
		t.Fatal(err)
	}
	for body, want := range map[string][]string{
		`{"years": [5, 0, 2000], "currents_ka": [-1, 10001], "smallest_ka": "small", "line_flash": "all", "steps": 1, "turn": 1}`: {
			"/currents_ka/0", "/currents_ka/1", "/line_flash", "/smallest_ka", "/steps", "/turn", "/years/1", "/years/2"},
		`{"devices": [{"reference": "a", "line": "none", "structure": "nowhere", "in_ka": 20, "imax_ka": 10}, {"iimp_ka": 0}, ` +
			`{"reference": "b", "line": "array", "structure": "a"}], "steps": true}`: {
			"/devices/0/imax_ka contradiction", "/devices/0/line unknown-reference", "/devices/0/structure unknown-reference",
			"/devices/1/iimp_ka", "/devices/1/reference",
			"/devices/2/line unknown-reference", "/line contradiction"},
		`{"line": "none", "steps": true}`:                                      {"/line unknown-reference"},
		`{"line": "supply", "devices": [{"reference": "b", "line": "array"}]}`: {"/devices/0/line unknown-reference"},
		`{"devices": [{"reference": "b", "structure": "c"}]}`:                  {"/devices/0/structure unknown-reference"},
		string(many): {"/currents_ka", "/devices", "/years"},
	} {
		problem := c.Post(at, []byte(body)).Want(http.StatusUnprocessableEntity).Problem()
		if got := apitest.PlacesOf(problem.Errors); !slices.Equal(got, want) {
			t.Errorf("%s\n%q, want %q", body, got, want)
		}
	}
}

// An answer is bounded whatever is asked for.
func TestStressIsBounded(t *testing.T) {
	var lines []any
	for i := range 400 {
		lines = append(lines, map[string]any{"id": "line " + string(rune('A'+i/26)) + string(rune('a'+i%26)), "structure": "hall",
			"installation": "buried", "length_m": 10})
	}
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	s, _ := apitest.Create(c, apitest.Changed(t, []byte(village), map[string]any{"/lines": lines}))
	devices := make([]any, 100)
	for i := range devices {
		devices[i] = map[string]any{"reference": "X", "iimp_ka": 12.5}
	}
	body := apitest.Changed(t, []byte(`{}`), map[string]any{"/devices": devices})
	p := c.Post("/v1/assessments/"+s.ID+"/spd-stress", body).Want(http.StatusUnprocessableEntity).Problem()
	if got := apitest.PlacesOf(p.Errors); !slices.Equal(got, []string{"/line out-of-range"}) ||
		!strings.Contains(p.Errors[0].Reason, "name a line") {
		t.Errorf("%+v", p.Errors)
	}
	c.Post("/v1/assessments/"+s.ID+"/spd-stress", apitest.Changed(t, body, map[string]any{"/line": "line Aa"})).Want(http.StatusOK)
	if all := stressOf(c, s.ID, `{}`); len(all.Ends) != 400 {
		t.Errorf("%d line ends", len(all.Ends))
	}
}

// The command line asks for the same without a server.
func TestStressWithoutServer(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	s, _ := apitest.Create(c, apitest.Demo(t))
	served := stressOf(c, s.ID, `{}`)
	r, err := single.Stress(apitest.Demo(t), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range served.Ends {
		if r.Ends[i].Line != e.Line || r.Ends[i].Operations != e.Operations ||
			r.Ends[i].Duties[0].Overstress[1].Probability != e.Duties[0].Overstress[1].Probability {
			t.Errorf("%s: %+v", e.Line, r.Ends[i])
		}
	}
	if _, err := single.Stress([]byte(`{}`), nil, nil); err == nil {
		t.Error("an empty input has a stress")
	}
}

// What the steps refer to stands in the reference too.
func TestReferenceShowsStressAndCoordination(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	var r struct {
		SPD struct {
			Quantities []struct{ Symbol, Formula string }
			Tables     []struct{ Number string }
		}
	}
	c.Get("/v1/reference").Want(http.StatusOK).JSON(&r)
	formulas, tables := map[string]string{}, map[string]bool{}
	for _, q := range r.SPD.Quantities {
		formulas[q.Symbol+"="+q.Formula] = q.Symbol
	}
	for _, table := range r.SPD.Tables {
		tables[table.Number] = true
	}
	for _, want := range []string{"P_T=Q(z)", "z_a=Qinv(P_a)", "S_t=exp(-lambda*t_a)", "U_PF=U_P+dU", "l_po=max(0,(U_W-U_PF)*1000/25)"} {
		if formulas[want] == "" {
			t.Errorf("the reference has no %s", want)
		}
	}
	if !tables["A.3"] || !tables["decoupling"] {
		t.Errorf("tables %v", tables)
	}
}
