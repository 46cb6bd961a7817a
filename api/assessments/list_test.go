package assessments_test

import (
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"levinward/api/apitest"
)

// nextPage is the path of the next page, empty on the last.
func nextPage(t *testing.T, a *apitest.Answer) string {
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

func TestPagesWhileOthersStore(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		var want []string
		for i := range 7 {
			name := fmt.Sprint("there before ", i)
			apitest.Create(c, apitest.Named(t, name, nil))
			want = append([]string{name}, want...)
		}
		var got []string
		later := 0
		for path := "/v1/assessments?limit=2"; path != ""; {
			a := c.Get(path).Want(http.StatusOK)
			var page apitest.List
			a.JSON(&page)
			if len(page.Assessments) > 2 {
				t.Errorf("%d on a page of 2", len(page.Assessments))
			}
			got = append(got, page.Names()...)
			path = nextPage(t, a)
			apitest.Together(3, func(i int) { apitest.Create(c, apitest.Named(t, fmt.Sprint("later ", later+i), nil)) })
			later += 3
		}
		got = slices.DeleteFunc(got, func(name string) bool { return strings.HasPrefix(name, "later") })
		if !slices.Equal(got, want) {
			t.Errorf("found %v, want %v", got, want)
		}
		// Links keep the conditions.
		_, a := apitest.GetList(c, "?limit=1&q=before")
		if path := nextPage(t, a); !strings.Contains(path, "q=before") || !strings.Contains(path, "limit=1") {
			t.Errorf("the next page is %s", path)
		}
	})
}

func TestListConditions(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		for _, site := range []struct {
			name, reference string
			longitude       float64
			year            int
		}{
			{"Atoll east", "P-1", 179.5, 2019}, {"Atoll west", "P-2", -179.5, 2029}, {"Ridge", "K-017", 86.7, 2024},
			{"Mission 100%", "q_4", 30, 2026},
		} {
			apitest.Create(c, apitest.Named(t, site.name,
				map[string]any{"/reference": site.reference, "/location/longitude": site.longitude, "/flash_density/year": site.year}))
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
			l, _ := apitest.GetList(c, query)
			if got := l.Names(); !slices.Equal(got, want) {
				t.Errorf("%s: %v, want %v", query, got, want)
			}
		}
	})
}
