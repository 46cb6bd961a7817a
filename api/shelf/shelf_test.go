package shelf_test

import (
	"net/http"
	"slices"
	"testing"

	"levinward/api"
	"levinward/api/apitest"
	"levinward/api/shelf"
)

// The maps in memory stay within their room, the ones used last among them.
func TestMapsInMemory(t *testing.T) {
	s := apitest.OpenSQLite(t)
	serve := func(bytes int64) (*apitest.Client, *shelf.Shelf) {
		config := api.Config{Store: s, Engine: apitest.Engine, Limits: api.Limits{MapMemory: bytes}}
		var err error
		if config.Jobs, err = api.NewJobs(config); err != nil {
			t.Fatal(err)
		}
		return apitest.NewClient(t, apitest.NewServerWith(t, config)), config.Jobs.Maps.(*shelf.Shelf)
	}
	c, memory := serve(3 * (12*9*4 + 4096)) // three of the size of the fixture
	var ids []string
	for range 5 {
		ids = append(ids, apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc")).ID)
	}
	world := apitest.UploadMap(c, apitest.DensityFile(t, "invented-world.asc"), "kind", "thunderstorm_days_per_year", "relation", "linear").ID
	sample := func(id string) {
		t.Helper()
		c.Get("/v1/flash-density-maps/" + id + "/sample?longitude=11.4&latitude=0.1").Want(http.StatusOK)
	}
	holds := func(want ...string) {
		t.Helper()
		got, taken := memory.Held()
		if !slices.Equal(got, want) || len(want) == 0 != (taken == 0) {
			t.Errorf("in memory %v with %d bytes, want %v", got, taken, want)
		}
	}
	holds()
	sample(ids[0])
	sample(ids[1])
	sample(ids[2])
	holds(ids[2], ids[1], ids[0])
	sample(ids[0])
	sample(ids[3])
	holds(ids[3], ids[0], ids[2])
	sample(world) // takes the room of two
	holds(world, ids[3])
	for _, id := range []string{world, ids[3]} {
		c.Delete("/v1/flash-density-maps/" + id).Want(http.StatusNoContent)
	}
	holds()
	c, memory = serve(10) // one that is larger than the room stays alone
	sample(ids[0])
	sample(ids[1])
	holds(ids[1])
}
