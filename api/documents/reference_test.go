package documents_test

import (
	"net/http"
	"testing"

	"levinward/api/apitest"
)

func TestReference(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	var r struct {
		Editions []struct {
			ID                 string
			Quantities, Tables []map[string]any
		}
		SPD      struct{ Quantities, Tables []map[string]any }
		Defaults []map[string]any
	}
	c.Get("/v1/reference").Want(http.StatusOK).JSON(&r)
	if len(r.Editions) != 1 || len(r.Editions[0].Quantities) < 50 || len(r.Editions[0].Tables) < 10 || len(r.SPD.Quantities) == 0 ||
		len(r.SPD.Tables) == 0 || len(r.Defaults) < 40 {
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
