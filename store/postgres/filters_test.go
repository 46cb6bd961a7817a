package postgres

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"levinward/store"
)

// With statistics that know of two sites only, a filter that selects few of many must not read
// all of them, nor one that selects most of them sort all of them; an extent reads the ends of indices.
func TestFiltersReadWhatTheyFind(t *testing.T) {
	c := counted(t)
	c.check(c.exec(`ALTER TABLE portfolio_site SET (autovacuum_enabled = false)`))
	c.add(1, 2)
	c.check(c.exec(`ANALYZE portfolio_site`))

	const many = 5000
	start := time.Date(2031, 5, 17, 0, 0, 0, 0, time.UTC)
	at := func(i int) *time.Time { moment := start.Add(time.Duration(i) * time.Second); return &moment }
	var records []store.Record
	for i := range many {
		r := record()
		r.Name, r.Reference, r.CreatedAt = fmt.Sprintf("name %d", i*7919%many), fmt.Sprintf("R-%d", i), *at(i)
		r.Latitude, r.Longitude = float64(i%100)/10, float64(i/100)/10
		r.ReviewDue = start.AddDate(0, 0, i%500)
		r.Summary = &store.Summary{GroundFlashes: 4, DensityOrigin: "given", Acceptable: true, NeededProtection: "none"}
		records = append(records, r)
	}
	c.store(false, slices.Collect(slices.Chunk(records, 250))...)

	name, reference, soon := "name 17", "R-4711", start.AddDate(0, 0, 1)
	for what, test := range map[string]struct {
		f    store.SiteFilter
		want int64 // sites that it selects
		most int64 // rows that may be read for a page and the count
	}{
		"a reference":       {store.SiteFilter{Reference: &reference}, 1, 10},
		"a name":            {store.SiteFilter{Name: &name}, 1, 10},
		"a time":            {store.SiteFilter{UpdatedFrom: at(4000), UpdatedTo: at(4019)}, 20, 200},
		"a place":           {store.SiteFilter{BBox: &store.BBox{West: 1, East: 1.2, South: 3, North: 3.1}}, 6, 1200},
		"a day":             {store.SiteFilter{DueOn: &soon, Due: true}, 22, 200},
		"a time of most":    {store.SiteFilter{UpdatedFrom: at(100)}, many - 100, 2*many + 500}, // counted entry by entry; none is sorted
		"a time and places": {store.SiteFilter{UpdatedFrom: at(4990), BBox: &store.BBox{West: -180, East: 180, South: -90, North: 90}}, 10, 200},
	} {
		test.f.Rank, test.f.Limit, test.f.Few = store.RankName, 10, 500
		before := c.read()
		page, err := c.ListSites(t.Context(), store.Local, c.portfolio, test.f)
		c.check(err)
		n, err := c.CountSites(t.Context(), store.Local, c.portfolio, test.f)
		c.check(err)
		if rows := c.read() - before; n != test.want || len(page.Sites) != int(min(n, 10)) || rows > test.most {
			t.Errorf("%s: %d sites, %d on the page, want %d; %d rows were read, at most %d are to be", what, n, len(page.Sites), test.want,
				rows, test.most)
		}
	}
	before := c.read()
	extents, err := c.Extents(t.Context(), store.Local, []string{c.portfolio})
	c.check(err)
	if rows := c.read() - before; len(extents) != 1 || rows > 20 {
		t.Errorf("%d extents, %d rows were read", len(extents), rows)
	}
}
