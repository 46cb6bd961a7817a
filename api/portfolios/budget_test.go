package portfolios_test

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"levinward/api/apitest"
	"levinward/api/portfolios"
	"levinward/store"
)

type budgetPlan struct {
	Objective, Budget, Cost string
	CostUnit                string `json:"cost_unit"`
	SavedUnit               string `json:"saved_unit"`
	Saved, Bound            float64
	Gap                     float64 `json:"gap_percent"`
	Exact                   bool
	Before, After           float64
	Sites                   int
	PricedByRequest         int `json:"sites_priced_by_request"`
	SitesAboveLimit         int `json:"sites_above_limit"`
	SitesAboveLimitAfter    int `json:"sites_above_limit_after"`
	Choices                 int `json:"structures_to_choose_for"`
	Chosen                  []budgetChoice
	Cautions                []string
}

type budgetChoice struct {
	Assessment, Reference, Name, Structure, Cost string
	Saved                                        float64
	Measures                                     json.RawMessage
	RisksAfter                                   map[string]float64 `json:"risks_after"`
	Acceptable                                   bool               `json:"acceptable_after"`
}

// hundredths reads an amount.
func hundredths(t testing.TB, amount string) int {
	t.Helper()
	n, err := strconv.Atoi(strings.Replace(amount, ".", "", 1))
	if err != nil || !strings.Contains(amount, ".") || strings.Index(amount, ".") != len(amount)-3 {
		t.Fatalf("amount %q", amount)
	}
	return n
}

func planned(c *apitest.Client, portfolio, body string) *budgetPlan {
	var p budgetPlan
	c.Post("/v1/portfolios/"+portfolio+"/budget", []byte(body)).Want(http.StatusOK).JSON(&p)
	return &p
}

func TestBudget(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "P")
		var bodies [][]byte
		for i := range 12 {
			bodies = append(bodies, apitest.RiskySite(t, i, 5+3*i, "XTS"))
		}
		ids := p.Add(t, bodies...)
		totals, err := s.PortfolioTotals(t.Context(), store.Local, p.ID, apitest.Now)
		if err != nil {
			t.Fatal(err)
		}
		for _, objective := range []string{"expected_loss", "persons_at_risk"} {
			last := 0.0
			for _, budget := range []int{0, 100, 700, 2500, 6000, 1_000_000} {
				plan := planned(c, p.ID, fmt.Sprintf(`{"budget": "%d", "currency": "XTS", "objective": %q}`, budget, objective))
				cost, saved := 0, 0.0
				above := int(totals.NotAcceptable)
				for _, choice := range plan.Chosen {
					cost += hundredths(t, choice.Cost)
					saved += choice.Saved
					if !slices.Contains(ids, choice.Assessment) || choice.Structure != "house" || choice.Saved <= 0 || len(choice.RisksAfter) < 2 {
						t.Fatalf("%+v", choice)
					}
					if choice.Acceptable {
						above--
					}
					// the only limit here: IEC 62305-2:2010, Table 4, from memory
					if choice.Acceptable != (choice.RisksAfter["loss_of_human_life"] <= 1e-5) {
						t.Errorf("acceptable %v with %v", choice.Acceptable, choice.RisksAfter)
					}
				}
				if cost != hundredths(t, plan.Cost) || cost > 100*budget || math.Abs(saved-plan.Saved) > 1e-9*saved ||
					plan.SitesAboveLimit != int(totals.NotAcceptable) || plan.SitesAboveLimitAfter != above {
					t.Errorf("%s, %d: %+v, cost %d, saved %v, above %d", objective, budget, plan, cost, saved, above)
				}
				if plan.Bound < plan.Saved*(1-1e-12) || plan.Exact != (plan.Gap == 0) || !plan.Exact || plan.Saved < last ||
					math.Abs(plan.Before-plan.Saved-plan.After) > 1e-9*plan.Before || plan.Sites != 12 || plan.Choices != 12 {
					t.Errorf("%s, %d: %+v", objective, budget, plan)
				}
				last = plan.Saved
				if objective == "persons_at_risk" && plan.Before != totals.PersonsAtRisk {
					t.Errorf("%v persons, the portfolio has %v", plan.Before, totals.PersonsAtRisk)
				}
			}
			if objective == "persons_at_risk" && last != totals.PersonsAtRisk {
				t.Errorf("with all the money %v of %v persons", last, totals.PersonsAtRisk)
			}
			first := planned(c, p.ID, `{"budget": "2500.00", "currency": "XTS", "objective": "`+objective+`", "effort": 0}`)
			best := planned(c, p.ID, `{"budget": "2500.00", "currency": "XTS", "objective": "`+objective+`"}`)
			if first.Saved > best.Saved || first.Bound < best.Saved*(1-1e-12) {
				t.Errorf("%s: the first plan saves %v, at most %v; the best one saves %v", objective, first.Saved, first.Bound, best.Saved)
			}
			if !strings.Contains(strings.Join(best.Cautions, " "), "does not make every site acceptable") ||
				!strings.Contains(strings.Join(best.Cautions, " "), "licensed practitioner") {
				t.Errorf("cautions: %q", best.Cautions)
			}
		}
	})
}

// The expected loss of a plan is the one that the single assessment states:
// value times the difference of R_4 with the measures that were chosen.
func TestBudgetAgreesWithAssessments(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "P")
		ids := p.Add(t, apitest.RiskySite(t, 1, 9, "XTS"), apitest.RiskySite(t, 2, 9, "XTS"))
		plan := planned(c, p.ID, `{"budget": "100000", "currency": "XTS", "objective": "expected_loss"}`)
		before := 0.0
		for _, choice := range plan.Chosen {
			r, err := s.Newest(t.Context(), store.Local, choice.Assessment)
			if err != nil {
				t.Fatal(err)
			}
			var result struct {
				Structures []struct {
					Risks map[string]struct{ Total float64 }
					Cost  struct {
						Value   float64 `json:"total_value"`
						Without float64 `json:"without_measures_per_year"`
					} `json:"cost_of_loss"`
				}
			}
			if err := json.Unmarshal(r.Result, &result); err != nil {
				t.Fatal(err)
			}
			one := &result.Structures[0]
			before += one.Cost.Without
			want := (one.Risks["loss_of_economic_value"].Total - choice.RisksAfter["loss_of_economic_value"]) * one.Cost.Value
			if want <= 0 || math.Abs(choice.Saved-want) > 1e-9*want {
				t.Errorf("%s saves %v, want %v", choice.Name, choice.Saved, want)
			}
			// The measures in place, the same assessment has the risk that the plan promises.
			protected := withMeasures(t, r.Input, choice.Measures)
			var again struct {
				Structures []struct {
					Risks map[string]struct{ Total float64 }
				}
			}
			c.Post("/v1/calculations", protected).Want(http.StatusOK).JSON(&again)
			for loss, after := range choice.RisksAfter {
				if got := again.Structures[0].Risks[loss].Total; math.Abs(got-after) > 1e-9*after {
					t.Errorf("%s of %s is %v with the measures in place, the plan says %v: %s", loss, choice.Name, got, after, choice.Measures)
				}
			}
		}
		if len(plan.Chosen) != len(ids) || math.Abs(plan.Before-before) > 1e-9*before {
			t.Errorf("%d chosen, %v before, want %v", len(plan.Chosen), plan.Before, before)
		}
	})
}

// withMeasures is an input of one structure and its only zone and line with measures in place.
func withMeasures(t *testing.T, input []byte, measures json.RawMessage) []byte {
	t.Helper()
	var m struct {
		Structures []struct {
			LPS       any   `json:"lps"`
			Fire      any   `json:"fire_protection"`
			Structure []any `json:"structure_shock_measures"`
			Line      []any `json:"line_shock_measures"`
			Wiring    any   `json:"wiring"`
		}
		Lines []struct {
			ID          string
			Bonding     any `json:"bonding_spd"`
			Coordinated any `json:"coordinated_spd"`
		}
	}
	if err := json.Unmarshal(measures, &m); err != nil {
		t.Fatal(err)
	}
	if len(m.Structures) != 1 || len(m.Lines) != 1 {
		t.Fatalf("%s", measures)
	}
	s, l := &m.Structures[0], &m.Lines[0]
	return apitest.Changed(t, input, map[string]any{
		"/structures/0/lps": s.LPS, "/structures/0/zones/0/fire_protection": s.Fire,
		"/structures/0/zones/0/structure_shock_measures": s.Structure, "/structures/0/zones/0/line_shock_measures": s.Line,
		"/structures/0/zones/0/systems": []any{map[string]any{"line": l.ID, "wiring": s.Wiring}},
		"/lines":                        []any{map[string]any{"id": l.ID, "structure": "house", "service": "low_voltage", "installation": "aerial", "length_m": 1000, "bonding_spd": l.Bonding, "coordinated_spd": l.Coordinated}},
	})
}

func TestBudgetNeverMixesPrices(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "P")
		ids := p.Add(t, apitest.RiskySite(t, 0, 5, "XTS"), apitest.RiskySite(t, 1, 5, "XXX"), apitest.RiskySite(t, 2, 5, ""))
		at := "/v1/portfolios/" + p.ID + "/budget"
		for request, want := range map[string][]string{
			`"currency": "XTS"`: {ids[1] + ", reference \"V-01\", has prices in XXX", ids[2] + ", reference \"V-02\", has no prices, only relative costs"},
			`"relative": true`:  {ids[0] + ", reference \"V-00\", has prices in XTS, not relative costs", ids[1] + ", reference \"V-01\", has prices in XXX, not relative costs"},
			`"currency": "EUR"`: {ids[0], ids[1], ids[2]},
		} {
			for _, accept := range []string{"application/json", "text/csv"} {
				problem := c.Post(at, []byte(`{"budget": "5", "objective": "persons_at_risk", `+request+`}`), "Accept",
					accept).Want(http.StatusUnprocessableEntity).Problem()
				if problem.Kind() != "invalid-input" || len(problem.Errors) != len(want) {
					t.Fatalf("%s: %+v", request, problem)
				}
				for i, text := range want {
					if f := problem.Errors[i]; *f.Pointer != "/currency" || !strings.Contains(f.Reason, text) {
						t.Errorf("%s: %s, want %s", request, f.Reason, text)
					}
				}
				if strings.Contains(request, "currency") != strings.Contains(problem.Detail,
					"1 of them have no prices: give measure_costs in the request") {
					t.Errorf("%s: %s", request, problem.Detail)
				}
			}
		}
		// Prices in the request are for sites that have none: those in another currency stay refused.
		body := apitest.Changed(t, []byte(`{"budget": "5", "objective": "persons_at_risk", "currency": "XTS"}`),
			map[string]any{"/measure_costs": apitest.Prices("XTS")})
		problem := c.Post(at, body).Want(http.StatusUnprocessableEntity).Problem()
		if len(problem.Errors) != 1 || problem.Errors[0].Value != ids[1] || !strings.Contains(problem.Errors[0].Reason, "has prices in XXX") ||
			strings.Contains(problem.Detail, "give measure_costs") {
			t.Errorf("%+v", problem)
		}
		relative := apitest.OpenPortfolio(t, s, "relative")
		relative.Add(t, apitest.RiskySite(t, 3, 5, ""))
		plan := planned(c, relative.ID, `{"budget": "1000", "relative": true, "objective": "persons_at_risk"}`)
		if plan.Saved != 5 || !strings.HasPrefix(plan.CostUnit, "relative") || plan.SavedUnit != "persons" {
			t.Errorf("%+v", plan)
		}
		empty := apitest.OpenPortfolio(t, s, "empty")
		if plan := planned(c, empty.ID, `{"budget": "1000", "currency": "XTS", "objective": "expected_loss"}`); !plan.Exact ||
			plan.Saved != 0 || plan.Sites != 0 || plan.Cost != "0.00" || plan.SavedUnit != "XTS per year" {
			t.Errorf("%+v", plan)
		}
	})
}

func TestBudgetRequests(t *testing.T) {
	priced := func(unit, pointer string, value any) string {
		body := apitest.Changed(t, []byte(`{"budget": "5", "objective": "expected_loss", `+unit+`}`),
			map[string]any{"/measure_costs": apitest.Prices("XTS")})
		return string(apitest.Changed(t, body, map[string]any{pointer: value}))
	}
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "P")
		at := "/v1/portfolios/" + p.ID + "/budget"
		for body, pointers := range map[string][]string{
			`{}`: {"/budget", "/currency", "/objective"},
			`{"budget": 5, "relative": true, "objective": "persons_at_risk"}`:                               {"/budget"},
			`{"budget": "5.001", "relative": true, "objective": "persons_at_risk"}`:                         {"/budget"},
			`{"budget": "-5", "relative": true, "objective": "persons_at_risk"}`:                            {"/budget"},
			`{"budget": "1e9", "relative": true, "objective": "persons_at_risk"}`:                           {"/budget"},
			`{"budget": "5", "relative": true, "currency": "XTS", "objective": "persons_at_risk"}`:          {"/currency"},
			`{"budget": "5", "relative": false, "objective": "persons_at_risk"}`:                            {"/currency"},
			`{"budget": "5", "currency": "Euro", "objective": "persons_at_risk"}`:                           {"/currency"},
			`{"budget": "5", "relative": true, "objective": "profit"}`:                                      {"/objective"},
			`{"budget": "5", "relative": true, "objective": "expected_loss", "effort": -1}`:                 {"/effort"},
			`{"budget": "5", "relative": true, "objective": "expected_loss", "effort": 1.5}`:                {"/effort"},
			`{"budget": "5", "relative": true, "objective": "expected_loss", "effort": 2000001}`:            {"/effort"},
			`{"budget": "5", "relative": true, "objective": "expected_loss", "colour": "red", "effort": 1}`: {"/colour"},
			`{"budget": "5", "currency": "XTS", "objective": "expected_loss", "measure_costs": 7}`:          {"/measure_costs"},
			`{"budget": "5", "currency": "XTS", "objective": "expected_loss", "measure_costs": null}`:       {"/measure_costs"},
			`{"budget": "5", "currency": "XTS", "objective": "expected_loss", "measure_costs": {}}`: {"/measure_costs/bonding_spd",
				"/measure_costs/coordinated_spd", "/measure_costs/currency",
				"/measure_costs/fire_protection", "/measure_costs/insulation", "/measure_costs/lps", "/measure_costs/warning_notices"},
			priced(`"currency": "XTS"`, "/measure_costs/currency", "XXX"):                        {"/measure_costs/currency"},
			priced(`"currency": "XTS"`, "/measure_costs/currency", "XT"):                         {"/measure_costs/currency"},
			priced(`"currency": "XTS"`, "/measure_costs/lps/II", -1):                             {"/measure_costs/lps/II"},
			priced(`"currency": "XTS"`, "/measure_costs/lps/II", "1"):                            {"/measure_costs/lps/II"},
			priced(`"currency": "XTS"`, "/measure_costs/bonding_spd/IV", 1):                      {"/measure_costs/bonding_spd/IV"},
			priced(`"currency": "XTS"`, "/measure_costs/insulation", 1000000001):                 {"/measure_costs/insulation"},
			priced(`"currency": "XTS"`, "/measure_costs/interest_per_year", 1.01):                {"/measure_costs/interest_per_year"},
			priced(`"relative": true`, "/measure_costs/currency", "XTS"):                         {"/relative"},
			priced(`"relative": true`, "/measure_costs/lps/II", -1):                              {"/measure_costs/lps/II", "/relative"},
			priced(`"relative": true, "currency": "XTS"`, "/measure_costs/currency", "XXX"):      {"/currency", "/measure_costs/currency", "/relative"},
			priced(`"relative": false`, "/measure_costs/currency", "XTS"):                        {"/currency"},
			priced(`"currency": "XTS", "effort": -1`, "/measure_costs/warning_notices", "a few"): {"/effort", "/measure_costs/warning_notices"},
		} {
			var got []string
			for _, f := range c.Post(at, []byte(body)).Want(http.StatusUnprocessableEntity).Problem().Errors {
				got = append(got, *f.Pointer)
			}
			if slices.Sort(got); !slices.Equal(got, pointers) {
				t.Errorf("%s: faults at %v, want %v", body, got, pointers)
			}
		}
		// The fault names both currencies.
		problem := c.Post(at, []byte(priced(`"currency": "XTS"`, "/measure_costs/currency",
			"XXX"))).Want(http.StatusUnprocessableEntity).Problem()
		if f := problem.Errors[0]; f.Rule != "contradiction" || !strings.Contains(f.Reason, "XXX") || !strings.Contains(f.Reason, "XTS") {
			t.Errorf("%+v", f)
		}
		sound := []byte(`{"budget": "5", "relative": true, "objective": "persons_at_risk"}`)
		c.Post(at, []byte(`{`)).Want(http.StatusBadRequest)
		c.Post(at+"?x=1", sound).Want(http.StatusBadRequest)
		c.Post(at, sound, "Accept", "image/png").Want(http.StatusNotAcceptable)
		c.Do(http.MethodPost, at, sound, "Content-Type", "text/plain").Want(http.StatusUnsupportedMediaType)
		c.Post("/v1/portfolios/"+apitest.NewID(t)+"/budget", sound).Want(http.StatusNotFound)
	})
}

// importValued reads a file of invented sites with values, some of them with a low R_1 and a high R_4.
func importValued(t *testing.T, c *apitest.Client, portfolio string) {
	t.Helper()
	var f strings.Builder
	f.WriteString(
		"reference,name,latitude,longitude,ground_flashes_per_km2_year,length_m,width_m,height_m,persons,hours_per_year,fire_risk," +
			"value_building,value_contents,value_systems,line_1_length_m\n")
	for i := range 8 {
		fmt.Fprintf(&f, "I-%d,Invented import %d,%d,%d,%d,%d,9,%d,%d,8760,ordinary,%d,9000,8000,700\n", i, i, i, i, 2+i, 12+i, 4+i, 3+2*i,
			30000+4000*i)
	}
	for i := range 3 { // pumps that nobody stays at
		fmt.Fprintf(&f, "U-%d,Invented unattended pump %d,%d,%d,8,5,4,3,1,1,low,2000,1000,60000,900\n", i, i, i, i)
	}
	if w := apitest.Ended(t, c, apitest.ImportFile(c, portfolio, "", []byte(f.String()))); w.Done != 11 {
		t.Fatalf("%+v", w)
	}
}

// A plan of imported sites with prices in the request is the plan of the same
// sites with these prices in their inputs.
func TestBudgetWithPricesInTheRequest(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		bare, priced := apitest.OpenPortfolio(t, s, "bare"), apitest.OpenPortfolio(t, s, "priced")
		importValued(t, c, bare.ID)
		bare.Add(t, apitest.Changed(t, apitest.RiskySite(t, 20, 7, ""),
			map[string]any{"/tolerable_risk": map[string]any{"loss_of_economic_value": 1e-5}}))
		for _, site := range apitest.SitesOf(c, bare.ID, "?limit=100").Sites {
			var a struct{ Input json.RawMessage }
			c.Get("/v1/assessments/" + site.Assessment).Want(http.StatusOK).JSON(&a)
			priced.Add(t, apitest.Changed(t, a.Input, map[string]any{"/measure_costs": apitest.Prices("XTS")}))
		}
		for _, p := range []*apitest.FilledPortfolio{bare, priced} { // dearer than in the request
			p.Add(t, apitest.Changed(t, apitest.RiskySite(t, 21, 80, "XTS"),
				map[string]any{"/measure_costs/bonding_spd/III-IV": 140, "/measure_costs/lps/IV": 1600}))
		}

		for _, objective := range []string{"expected_loss", "persons_at_risk"} {
			for _, budget := range []int{0, 700, 2500, 9000, 1_000_000} {
				body := fmt.Appendf(nil, `{"budget": "%d", "currency": "XTS", "objective": %q}`, budget, objective)
				want := planned(c, priced.ID, string(body))
				got := planned(c, bare.ID, string(apitest.Changed(t, body, map[string]any{"/measure_costs": apitest.Prices("XTS")})))
				if got.PricedByRequest != 12 || want.PricedByRequest != 0 || got.Sites != 13 {
					t.Errorf("%d sites priced by the request, %d without it, of %d", got.PricedByRequest, want.PricedByRequest, got.Sites)
				}
				if !strings.Contains(got.Cautions[0], "12 of 13 sites have no prices of their own") || !slices.Equal(got.Cautions[1:], want.Cautions) {
					t.Errorf("cautions %q, without prices in the request %q", got.Cautions, want.Cautions)
				}
				if budget > 2500 && !slices.ContainsFunc(got.Chosen, func(b budgetChoice) bool { return b.Reference == "V-21" }) {
					t.Errorf("%s, %d: the site with prices of its own is not chosen", objective, budget)
				}
				for _, choice := range got.Chosen {
					list := apitest.Prices("XTS")
					if choice.Reference == "V-21" {
						list["bonding_spd"] = map[string]any{"III-IV": 140, "II": 170, "I": 260}
						list["lps"] = map[string]any{"IV": 1600, "III": 1900, "II": 2600, "I": 3400}
					}
					if sum := listed(t, list, choice.Measures); hundredths(t, choice.Cost) != 100*sum {
						t.Errorf("%s costs %s, by the list %d: %s", choice.Name, choice.Cost, sum, choice.Measures)
					}
				}
				for _, p := range []*budgetPlan{got, want} {
					p.PricedByRequest, p.Cautions = 0, nil
					for i := range p.Chosen {
						p.Chosen[i].Assessment = ""
					}
				}
				if !reflect.DeepEqual(got, want) {
					t.Errorf("%s, %d: with prices in the request\n%+v\nin the inputs\n%+v", objective, budget, got, want)
				}
			}
		}
	})
}

// listed is what measures cost by a list of prices where nothing is in place.
func listed(t *testing.T, list map[string]any, measures json.RawMessage) (sum int) {
	t.Helper()
	var m struct {
		Structures []struct {
			LPS            string
			FireProtection string   `json:"fire_protection"`
			Structure      []string `json:"structure_shock_measures"`
			Line           []string `json:"line_shock_measures"`
		}
		Lines []struct {
			Bonding     string `json:"bonding_spd"`
			Coordinated string `json:"coordinated_spd"`
		}
	}
	if err := json.Unmarshal(measures, &m); err != nil {
		t.Fatal(err)
	}
	price := func(of, name string) int {
		if name == "none" {
			return 0
		}
		p, ok := list[of].(map[string]any)[name].(int)
		if !ok {
			t.Fatalf("%s %q has no price", of, name)
		}
		return p
	}
	for _, s := range m.Structures {
		sum += price("lps", s.LPS) + price("fire_protection", s.FireProtection)
		for _, name := range []string{"warning_notices", "insulation"} {
			for _, kind := range [][]string{s.Structure, s.Line} { // against flashes to the structure and to lines, each paid for
				if slices.Contains(kind, name) {
					sum += list[name].(int)
				}
			}
		}
	}
	for _, l := range m.Lines {
		sum += price("bonding_spd", l.Bonding) + price("coordinated_spd", l.Coordinated)
	}
	return sum
}

// Prices in money put the cost comparison in the place of the typical limit of
// R_4 (IEC 62305-2:2010, 5.4 and Annex D, from memory): where only R_4 is above
// its limit a site counts with relative costs and not with prices.
func TestPricesInTheRequestReplaceTheLimitOfR4(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "P")
		importValued(t, c, p.ID)
		body := []byte(`{"budget": "0", "objective": "expected_loss"}`)
		relative := planned(c, p.ID, string(apitest.Changed(t, body, map[string]any{"/relative": true})))
		money := planned(c, p.ID, string(apitest.Changed(t, body, map[string]any{"/currency": "XTS", "/measure_costs": apitest.Prices("XTS")})))
		if relative.SitesAboveLimit != 11 || money.SitesAboveLimit != 8 || money.Before != relative.Before || money.Before <= 0 {
			t.Errorf("relative %+v, money %+v", relative, money)
		}
		if relative.PricedByRequest != 0 || money.SavedUnit != "XTS per year" ||
			!strings.Contains(money.Cautions[0], "fewer sites may be above a limit") {
			t.Errorf("relative %+v, money %+v", relative, money)
		}
	})
}

func TestBudgetAsTable(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "P")
		p.Add(t, apitest.RiskySite(t, 0, 5, "XTS"), apitest.Changed(t, apitest.RiskySite(t, 1, 6, "XTS"), map[string]any{"/reference": "=cmd"}))
		body := []byte(`{"budget": "9000", "currency": "XTS", "objective": "persons_at_risk"}`)
		var plan budgetPlan
		at := "/v1/portfolios/" + p.ID + "/budget"
		c.Post(at, body).Want(http.StatusOK).JSON(&plan)
		rows := apitest.CSVOf(t, c.Post(at, body, "Accept", "text/csv").Want(http.StatusOK))
		if len(rows) != len(plan.Chosen)+2 || len(plan.Chosen) != 2 {
			t.Fatalf("%d rows, %d chosen", len(rows), len(plan.Chosen))
		}
		cell := func(row int, column string) string { return rows[row][slices.Index(rows[0], column)] }
		for i, choice := range plan.Chosen {
			if cell(i+1, "assessment") != choice.Assessment || cell(i+1, "cost") != choice.Cost || cell(i+1, "cost_unit") != "XTS" ||
				strings.TrimPrefix(cell(i+1, "reference"), "'") != choice.Reference ||
				cell(i+1, "loss_of_human_life_after") != strconv.FormatFloat(choice.RisksAfter["loss_of_human_life"], 'g', -1, 64) ||
				!strings.Contains(string(choice.Measures), `"lps":"`+cell(i+1, "lps")+`"`) ||
				!strings.Contains(cell(i+1, "line_end_spds"), ": bonding ") {
				t.Errorf("%v, want %+v", rows[i+1], choice)
			}
		}
		imported := apitest.OpenPortfolio(t, s, "imported")
		imported.Add(t, apitest.RiskySite(t, 0, 5, ""), apitest.Changed(t, apitest.RiskySite(t, 1, 6, ""), map[string]any{"/reference": "=cmd"}))
		body = apitest.Changed(t, body, map[string]any{"/measure_costs": apitest.Prices("XTS")})
		same := apitest.CSVOf(t, c.Post("/v1/portfolios/"+imported.ID+"/budget", body, "Accept", "text/csv").Want(http.StatusOK))
		caution := slices.Index(rows[0], "plan_cautions")
		if last := len(same) - 1; last != len(rows)-1 || !strings.HasPrefix(same[last][caution], "2 of 2 sites have no prices of their own") ||
			!strings.HasSuffix(same[last][caution], rows[last][caution]) {
			t.Errorf("%v", same)
		} else {
			for i := range same { // the rest is the table of sites with these prices
				if !slices.Equal(same[i][1:caution], rows[i][1:caution]) {
					t.Errorf("%v, want %v", same[i], rows[i])
				}
			}
		}
		if cell(2, "reference") != "'=cmd" || cell(3, "assessment") != "total" || cell(3, "cost") != plan.Cost || cell(3, "saved") != "11" ||
			cell(3, "bound") != "11" || cell(3, "gap_percent") != "0" || !strings.Contains(cell(3, "plan_cautions"), "licensed practitioner") {
			t.Errorf("%v", rows[2:])
		}
	})
}

// How persons count that nobody stated is our own rule: one for each structure whose R_1 is above R_T
// (IEC 62305-2:2010, Table 4, from memory).
func TestBudgetBounds(t *testing.T) {
	s := apitest.OpenSQLite(t)
	p := apitest.OpenPortfolio(t, s, "P")
	p.Many(t, 30)
	server := apitest.NewServer(t, s)
	c := apitest.NewClient(t, server)
	body := []byte(`{"budget": "5", "relative": true, "objective": "persons_at_risk"}`)
	before := portfolios.MaxBudgetSites
	defer func() { portfolios.MaxBudgetSites = before }()
	portfolios.MaxBudgetSites = 29
	if problem := c.Post("/v1/portfolios/"+p.ID+"/budget",
		body).Want(http.StatusUnprocessableEntity).Problem(); problem.Kind() != "too-many-sites" || !strings.Contains(problem.Detail, "30") {
		t.Errorf("%+v", problem)
	}
	portfolios.MaxBudgetSites = before
	plan := planned(c, p.ID, string(body))
	if plan.Sites != 30 || !strings.Contains(plan.Cautions[0], "30 structures have an unacceptable R_1 and no number of persons") {
		t.Errorf("%+v", plan) // the smallest site states no persons
	}
	// Nobody stated the persons: the portfolio and the plan both count one a site.
	var list struct {
		Totals struct {
			PersonsAtRisk float64 `json:"persons_at_risk"`
		}
	}
	c.Get("/v1/portfolios/" + p.ID).Want(http.StatusOK).JSON(&list)
	if list.Totals.PersonsAtRisk != 30 || plan.Before != 30 {
		t.Errorf("%v persons in the portfolio, %v in the plan", list.Totals.PersonsAtRisk, plan.Before)
	}
}

// A result of another version of the program is named, since its numbers may differ from those of the plan.
func TestBudgetOfOlderResults(t *testing.T) {
	s := apitest.OpenSQLite(t)
	p := apitest.OpenPortfolio(t, s, "P")
	p.Recorder.Engine = "levinward of old"
	p.Add(t, apitest.RiskySite(t, 0, 5, ""))
	plan := planned(apitest.NewClient(t, apitest.NewServer(t, s)), p.ID, `{"budget": "5", "relative": true, "objective": "persons_at_risk"}`)
	if !strings.Contains(plan.Cautions[0], "another version of the program") {
		t.Errorf("%q", plan.Cautions)
	}
}
