package work_test

import (
	"net/http"
	"strings"
	"testing"

	"levinward/api/apitest"
)

// Presets stand in for the columns they name.
func TestPresetsInAnImport(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		p := apitest.MakePortfolio(c, "P")
		c.Do(http.MethodPut, "/v1/presets/structure/round%20hut", []byte(`{"length_m": 10, "width_m": 8, "height_m": 5}`), "Content-Type",
			"application/json").Want(http.StatusCreated)
		file := "reference,name,latitude,longitude,ground_flashes_per_km2_year,structure_preset\nA,Invented,1,2,3,round hut\n"
		if w := apitest.Ended(t, c, apitest.ImportFile(c, p.ID, "", []byte(file))); w.Done != 1 {
			t.Errorf("%+v", w)
		}
		apitest.ImportFile(c, p.ID, "", []byte(strings.Replace(file, "round hut", "square hut", 1))).Want(http.StatusUnprocessableEntity)
	})
}
