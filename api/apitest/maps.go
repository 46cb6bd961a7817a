package apitest

import (
	"net/http"
	"net/url"
	"testing"

	"levinward/geo"
)

// DensityFile is an invented map of package geo.
func DensityFile(t testing.TB, name string) []byte {
	t.Helper()
	return File(t, "geo/testdata/densitymap/"+name)
}

// MapQuery are the parameters of an upload, with some changed; an empty value leaves one out.
func MapQuery(changes ...string) string {
	q := url.Values{"name": {"Invented hills"}, "kind": {"ground_flashes_per_km2_year"}, "from_year": {"2012"}, "to_year": {"2029"},
		"source": {"invented network"}}
	for i := 0; i < len(changes); i += 2 {
		if q.Set(changes[i], changes[i+1]); changes[i+1] == "" {
			q.Del(changes[i])
		}
	}
	return "/v1/flash-density-maps?" + q.Encode()
}

// Map is what tests look at of a map.
type Map struct {
	ID, Name string
	Grid     geo.DensityGrid
	Extent   struct{ West, South, East, North float64 }
	Values   struct{ Min, Max float64 }
	NoData   float64 `json:"no_data_share"`
	Cautions []string
}

// SendMap sends the file of a map.
func SendMap(c *Client, file []byte, media, path string) *Answer {
	return c.Do(http.MethodPost, path, file, "Content-Type", media)
}

// UploadMap stores a map.
func UploadMap(c *Client, file []byte, changes ...string) Map {
	var m Map
	SendMap(c, file, "application/octet-stream", MapQuery(changes...)).Want(http.StatusCreated).JSON(&m)
	return m
}

// Mapped is the smallest input at a place, its N_G from a map.
func Mapped(t testing.TB, id string, longitude, latitude float64) []byte {
	return Changed(t, Smallest(t), map[string]any{"/flash_density": map[string]any{"map": id},
		"/location": map[string]any{"longitude": longitude, "latitude": latitude}})
}

// DensityUsed is what a result says of N_G.
type DensityUsed struct {
	Used struct {
		NG                                  float64 `json:"ground_flashes_per_km2_year"`
		Origin, Relation, Source, Map, Note string
		Derived                             bool
		Year                                int
	} `json:"flash_density"`
	ReviewDue string `json:"review_due"`
	InputHash string `json:"input_hash"`
}
