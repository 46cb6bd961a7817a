package documents_test

import (
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"testing"

	"levinward/api/apitest"
)

// markOnPage finds the mark beside each step of the worksheet page.
var markOnPage = regexp.MustCompile(`(?s)<tr id="s(\d+)">.*?<span class="([a-z_]+)">([a-z_]+)</span>`)

// TestMarksInEveryForm compares the mark of each step in JSON, CSV and on the page, and some with what they have to be:
// a value of the input is given, one that the input does not state is assumed.
func TestMarksInEveryForm(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		body := apitest.Changed(t, apitest.Demo(t), map[string]any{"/structures/0/zones/0/hours_per_year": 1234})
		s, _ := apitest.Create(c, apitest.Changed(t, body, map[string]any{"/structures/0/zones/0/persons": 4}))
		at := "/v1/assessments/" + s.ID + "/worksheet"
		var sheet struct{ Steps []apitest.Step }
		c.Get(at).Want(http.StatusOK).JSON(&sheet)
		rows := apitest.CSVOf(t, c.Get(at+".csv").Want(http.StatusOK))
		column := slices.Index(rows[0], "provenance")
		page := markOnPage.FindAllStringSubmatch(string(c.Get(at+".html").Want(http.StatusOK).Body), -1)
		if column < 0 || len(page) != len(sheet.Steps) || len(rows) != len(sheet.Steps)+1 {
			t.Fatalf("%d steps, %d on the page, %d rows", len(sheet.Steps), len(page), len(rows))
		}
		found := map[string]int{}
		for i, st := range sheet.Steps {
			found[st.Provenance]++
			if rows[i+1][column] != st.Provenance {
				t.Errorf("step %d, %s: %s in JSON, %s as CSV", i, st.Symbol, st.Provenance, rows[i+1][column])
			}
			if p := page[i]; p[1] != fmt.Sprint(i) || p[2] != st.Provenance || p[3] != st.Provenance {
				t.Errorf("step %d, %s: %s in JSON, on the page %q", i, st.Symbol, st.Provenance, p[1:])
			}
			switch {
			case st.Symbol == "N_G" && st.Formula == "" && st.Provenance != "given":
				t.Errorf("N_G of the input is marked %s", st.Provenance)
			case st.Symbol == "t_z" && st.Value == 1234 && st.Provenance != "given":
				t.Errorf("t_z of the input is marked %s", st.Provenance)
			}
		}
		for _, mark := range []string{"given", "memory", "assumed"} {
			if found[mark] == 0 {
				t.Errorf("no step is marked %s: %v", mark, found)
			}
		}
	})
}
