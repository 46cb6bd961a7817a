package ogc_test

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"levinward/api/apitest"
	"levinward/store"
)

// What is asked of the features follows OGC API - Features, Part 1: Core (OGC
// 17-069r4); its requirements are named from memory, and GDAL, a client of
// its own, reads the collections below.

// collectionExtent is what a collection says of the places and the times of its features.
type collectionExtent struct {
	Spatial struct {
		BBox [][]float64
		CRS  string
	}
	Temporal struct {
		Interval [][]time.Time
		TRS      string
	}
}

type features struct {
	Type           string
	Links          []apitest.Link
	TimeStamp      time.Time
	NumberMatched  *int
	NumberReturned int
	Features       []apitest.Feature
}

func (f *features) references() (all []string) {
	for _, s := range f.Features {
		all = append(all, fmt.Sprint(s.Properties["reference"]))
	}
	return all
}

// linked is the path of the only link with a relation; empty where there is none.
func linked(t testing.TB, links []apitest.Link, rel string) string {
	t.Helper()
	path := ""
	for _, l := range links {
		if l.Rel != rel {
			continue
		}
		u, err := url.Parse(l.Href)
		if err != nil || !u.IsAbs() || u.Host == "" || path != "" {
			t.Fatalf("link %s: %s", rel, l.Href)
		}
		path = u.RequestURI()
	}
	return path
}

func getFeatures(c *apitest.Client, path string) *features {
	var f features
	c.Get(path).Want(http.StatusOK).JSON(&f)
	return &f
}

// all follows the links from page to page.
func all(t testing.TB, c *apitest.Client, path string) (found []string, pages int) {
	t.Helper()
	for path != "" {
		f := getFeatures(c, path)
		if f.NumberReturned != len(f.Features) || f.Type != "FeatureCollection" || !f.TimeStamp.Equal(apitest.Now) ||
			linked(t, f.Links, "self") != path {
			t.Fatalf("%s: %+v", path, f)
		}
		found = append(found, f.references()...)
		path = linked(t, f.Links, "next")
		if pages++; path != "" && len(f.Features) == 0 {
			t.Fatal("an empty page with another one behind it")
		}
	}
	return found, pages
}

func TestFeaturesByLinks(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "Invented north")
		apitest.OpenPortfolio(t, s, "Invented south")
		ids := p.Add(t, apitest.Demo(t), apitest.Named(t, "Invented: plain",
			map[string]any{"/location/latitude": 7.25, "/location/longitude": -101.5}))
		var landing struct{ Links []apitest.Link }
		c.Get("/ogc").Want(http.StatusOK).JSON(&landing)
		var contract map[string]any
		api := c.Get(linked(t, landing.Links, "service-desc")).Want(http.StatusOK)
		if api.JSON(&contract); contract["openapi"] != "3.0.3" ||
			api.Header.Get("Content-Type") != "application/vnd.oai.openapi+json;version=3.0" {
			t.Errorf("the contract is %v of %s", contract["openapi"], api.Header.Get("Content-Type"))
		}
		var classes struct{ ConformsTo []string }
		c.Get(linked(t, landing.Links, "conformance")).Want(http.StatusOK).JSON(&classes)
		for _, class := range []string{"core", "oas30", "geojson"} {
			if !slices.Contains(classes.ConformsTo, "http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/"+class) {
				t.Errorf("%s is not declared: %v", class, classes.ConformsTo)
			}
		}
		var list struct {
			Collections []struct {
				ID, Title string
				Links     []apitest.Link
				CRS       []string
				Extent    *collectionExtent
			}
		}
		c.Get(linked(t, landing.Links, "data")).Want(http.StatusOK).JSON(&list)
		if len(list.Collections) != 2 || list.Collections[1].Title != "Invented north" ||
			!slices.Equal(list.Collections[1].CRS, []string{"http://www.opengis.net/def/crs/OGC/1.3/CRS84"}) {
			t.Fatalf("%+v", list)
		}
		// Alone and in the list a collection has one extent (requirement sfc-md-success), which all features lie in (fc-md-extent).
		var one struct{ Extent *collectionExtent }
		c.Get(linked(t, list.Collections[1].Links, "self")).Want(http.StatusOK).JSON(&one)
		wantExtent(t, s, one.Extent, ids)
		if !reflect.DeepEqual(one.Extent, list.Collections[1].Extent) || list.Collections[0].Extent != nil {
			t.Errorf("extents %+v, %+v, alone %+v", list.Collections[0].Extent, list.Collections[1].Extent, one.Extent)
		}
		items := linked(t, list.Collections[1].Links, "items")
		page := c.Get(items).Want(http.StatusOK)
		if page.MediaType() != "application/geo+json" {
			t.Errorf("features of %s", page.MediaType())
		}
		f := getFeatures(c, items)
		if f.NumberMatched == nil || *f.NumberMatched != 2 || len(f.Features) != 2 {
			t.Fatalf("%+v", f)
		}
		for _, got := range f.Features {
			r, err := s.Newest(t.Context(), store.Local, got.ID)
			if err != nil || !slices.Equal(got.Geometry.Coordinates, []float64{r.Longitude, r.Latitude}) {
				t.Errorf("%+v, %v", got, err)
			}
			wantProperties(t, got.Properties, &r)
			var alone apitest.Feature
			c.Get(items + "/" + got.ID).Want(http.StatusOK).JSON(&alone)
			c.Get(linked(t, alone.Links, "related")).Want(http.StatusOK)
			if linked(t, alone.Links, "self") != items+"/"+got.ID || linked(t, alone.Links, "collection")+"/items" != items {
				t.Errorf("%+v", alone.Links)
			}
			if alone.Links = nil; !reflect.DeepEqual(alone, got) {
				t.Errorf("alone %+v, in the list %+v", alone, got)
			}
		}
		for _, path := range []string{"/ogc/collections/" + apitest.NewID(t), "/ogc/collections/x", "/ogc/collections/x/items",
			items + "/" + apitest.NewID(t), items + "/x",
			strings.Replace(items, p.ID, list.Collections[0].ID, 1) + "/" + ids[0]} {
			c.Get(path).Want(http.StatusNotFound)
		}
	})
}

// wantExtent holds an extent against the places of sites.
func wantExtent(t testing.TB, s store.Store, e *collectionExtent, ids []string) {
	t.Helper()
	box := []float64{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, id := range ids {
		r, err := s.Newest(t.Context(), store.Local, id)
		if err != nil {
			t.Fatal(err)
		}
		box = []float64{min(box[0], r.Longitude), min(box[1], r.Latitude), max(box[2], r.Longitude), max(box[3], r.Latitude)}
	}
	if e == nil || len(e.Spatial.BBox) != 1 || !slices.Equal(e.Spatial.BBox[0], box) ||
		e.Spatial.CRS != "http://www.opengis.net/def/crs/OGC/1.3/CRS84" ||
		!reflect.DeepEqual(e.Temporal.Interval, [][]time.Time{{apitest.Now, apitest.Now}}) ||
		e.Temporal.TRS != "http://www.opengis.net/def/uom/ISO-8601/0/Gregorian" {
		t.Errorf("extent %+v, want the box %v and the time %v", e, box, apitest.Now)
	}
}

// wantProperties holds the properties of a feature against the stored result.
func wantProperties(t testing.TB, got map[string]any, r *store.Record) {
	t.Helper()
	var result struct {
		FlashDensity struct {
			NG float64 `json:"ground_flashes_per_km2_year"`
		} `json:"flash_density"`
		ReviewDue  string `json:"review_due"`
		Structures []struct {
			Risks map[string]struct {
				Total      float64
				Tolerable  *float64
				Acceptable bool
			}
		}
		Recommendation struct {
			Needed   bool
			Measures struct {
				Structures []struct{ LPS string }
			}
		}
		Schedule []struct{ Required bool } `json:"spd_schedule"`
	}
	if err := json.Unmarshal(r.Result, &result); err != nil {
		t.Fatal(err)
	}
	acceptable, life, ratio := true, 0.0, 0.0
	for _, s := range result.Structures {
		for loss, risk := range s.Risks {
			acceptable = acceptable && risk.Acceptable
			if risk.Tolerable != nil {
				ratio = max(ratio, risk.Total / *risk.Tolerable)
			}
			if loss == "loss_of_human_life" {
				life = max(life, risk.Total)
			}
		}
	}
	devices := 0
	for _, entry := range result.Schedule {
		if entry.Required {
			devices++
		}
	}
	needed, lps := got["needed_protection"].(string), false
	for _, s := range result.Recommendation.Measures.Structures {
		lps = lps || s.LPS != "none"
	}
	if (needed == "none") == result.Recommendation.Needed || strings.Contains(needed, "LPS ") != (lps && result.Recommendation.Needed) {
		t.Errorf("needed protection of %s: %q, recommended %+v", r.Name, needed, result.Recommendation)
	}
	for name, want := range map[string]any{"required_devices": float64(devices), "name": r.Name, "reference": r.Reference,
		"revision": float64(r.Revision), "ground_flashes_per_km2_year": result.FlashDensity.NG,
		"loss_of_human_life": life, "worst_ratio": ratio, "acceptable": acceptable, "review_due": result.ReviewDue, "engine": apitest.Engine,
		"created_at": "2031-05-17T09:30:00Z"} {
		if got[name] != want {
			t.Errorf("%s of %s: %v, want %v", name, r.Name, got[name], want)
		}
	}
}

func TestFeaturePages(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "P")
		p.Many(t, 1203)
		items := "/ogc/collections/" + p.ID + "/items"
		for query, want := range map[string]int{"": 121, "?limit=1000": 2, "?limit=500": 3, "?limit=1203": 1, "?limit=10000": 1,
			"?limit=701&datetime=../..": 2} {
			found, pages := all(t, c, items+query)
			if pages != want || len(found) != 1203 || !slices.IsSorted(found) || len(slices.Compact(found)) != 1203 {
				t.Errorf("%s: %d pages, %d features, want %d pages", query, pages, len(found), want)
			}
		}
		if f := getFeatures(c, items); len(f.Features) != 10 || f.NumberMatched == nil || *f.NumberMatched != 1203 {
			t.Errorf("%d features of %v", len(f.Features), f.NumberMatched)
		}
		// A limit above the largest is none of the contract, but has to be taken as that (requirement fc-limit-response-1).
		for _, limit := range []string{"10001", "99999999999999999999"} {
			response, err := http.Get(c.URL() + items + "?limit=" + limit)
			if err != nil {
				t.Fatal(err)
			}
			body, err := io.ReadAll(response.Body)
			response.Body.Close()
			if err != nil || response.StatusCode != http.StatusOK || !strings.Contains(string(body), `"numberReturned":1203`) {
				t.Errorf("limit %s: %d", limit, response.StatusCode)
			}
		}
	})
}

func TestFeatureConditions(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "P")
		for i, site := range []struct {
			name, reference string
			longitude       float64
			height          float64
		}{{"Atoll", "E", 179.5, 30}, {"Atoll", "W", -179.5, 2}, {"Atoll 2", "M", 180, 30}, {"Ridge", "K", 86.7, 2}} {
			p.At = apitest.Now.Add(time.Duration(i) * time.Hour)
			ng := 0.01
			if site.height > 10 {
				ng = 20
			}
			p.Add(t, apitest.Named(t, site.name, map[string]any{"/reference": site.reference, "/location/longitude": site.longitude,
				"/location/latitude": float64(i), "/structures/0/height_m": site.height,
				"/flash_density/ground_flashes_per_km2_year": ng, "/lines": []any{}}))
		}
		items := "/ogc/collections/" + p.ID + "/items"
		for query, want := range map[string]string{
			"":                                                    "E W M K",
			"?bbox=170,-10,-170,10":                               "E W M", // across the 180th meridian
			"?bbox=179,-10,180,10":                                "E M",
			"?bbox=-180,-10,-179,10":                              "W M",
			"?bbox=-180,-90,180,90":                               "E W M K",
			"?bbox=86.7,3,86.7,3":                                 "K",
			"?bbox=170,-10,-100,-170,10,9000":                     "E W M", // with heights
			"?bbox=0,50,1,51":                                     "",
			"?datetime=2031-05-17T09:30:00Z":                      "E",
			"?datetime=2031-05-17T10:30:00.000Z":                  "W",
			"?datetime=2031-05-17T13:30:00%2B02:00":               "M",
			"?datetime=2031-05-17T09:31:00Z":                      "",
			"?datetime=2031-05-17T10:30:00Z/2031-05-17T11:30:00Z": "W M",
			"?datetime=2031-05-17T10:30:00Z/..":                   "W M K",
			"?datetime=2031-05-17T10:30:00Z/":                     "W M K",
			"?datetime=../2031-05-17T10:29:59.999999Z":            "E",
			"?datetime=/2031-05-17t10:30:00z":                     "E W",
			"?datetime=../..":                                     "E W M K",
			"?datetime=0000-01-01T00:00:00%2B23:59/9999-12-31T23:59:59.9999999-23:59": "E W M K",
			"?acceptable=false": "E M",
			"?acceptable=true":  "W K",
			"?name=Atoll":       "E W",
			"?name=atoll":       "",
			"?reference=K":      "K",
			"?reference=":       "",
			"?reference=M&name=Atoll+2&acceptable=false":               "M",
			"?reference=M&name=Atoll":                                  "",
			"?bbox=170,-10,-170,10&datetime=2031-05-17T10:00:00Z/..":   "W M",
			"?acceptable=false&datetime=2031-05-17T10:00:00Z/&limit=1": "M",
		} {
			got, _ := all(t, c, items+query)
			if !slices.Equal(got, strings.Fields(want)) {
				t.Errorf("%s: %v, want %s", query, got, want)
			}
			// However short the first page is, it counts what the conditions select on all of them (requirement fc-numberMatched).
			first := getFeatures(c, strings.Replace(items+strings.ReplaceAll(query, "&limit=1", "")+"&limit=1", "items&", "items?", 1))
			if first.NumberMatched == nil || *first.NumberMatched != len(strings.Fields(want)) {
				t.Errorf("%s: numberMatched %v, want %d", query, first.NumberMatched, len(strings.Fields(want)))
			}
		}
		for query, parameter := range map[string]string{
			"?limit=0": "limit", "?limit=-1": "limit", "?limit=x": "limit", "?limit=1.5": "limit", "?limit=": "limit",
			"?bbox=1,2,3": "bbox", "?bbox=1,2,3,4,5": "bbox", "?bbox=1,9,3,2": "bbox", "?bbox=1,2,3,x": "bbox", "?bbox=NaN,2,3,4": "bbox",
			"?bbox=1,2,200,4": "bbox", "?bbox=": "bbox",
			"?bbox=1,2,9,3,4,8": "bbox", "?bbox=1,2,x,3,4,8": "bbox",
			"?datetime=2031": "datetime", "?datetime=yesterday": "datetime", "?datetime=": "datetime", "?datetime=2031-05-17": "datetime",
			"?datetime=2031-05-17T10:00:00":                       "datetime",
			"?datetime=2032-01-01T00:00:00Z/2031-01-01T00:00:00Z": "datetime", "?datetime=../../..": "datetime",
			"?acceptable=1": "acceptable", "?cursor=": "cursor", "?cursor=x": "cursor", "?colour=red": "colour",
			"?bbox-crs=" + url.QueryEscape("http://www.opengis.net/def/crs/OGC/1.3/CRS84"): "bbox-crs",
			"?name=" + strings.Repeat("n", 201):                                            "name", "?name=%00": "name",
			"?reference=%ff": "reference", "?limit=1&limit=2": "limit",
			"?datetime=..": "datetime", "?datetime=2031-05-17T10:00:00Z/x": "datetime", "?datetime=now/..": "datetime", "?crs=x": "crs",
			"?BBOX=1,2,3,4": "BBOX", "?f=json": "f",
		} {
			problem := c.Get(items + query).Want(http.StatusBadRequest).Problem()
			if len(problem.Errors) != 1 || problem.Errors[0].Parameter != parameter {
				t.Errorf("%s: %+v", query, problem)
			}
		}
		if p := c.Get(items + "?limit=0&bbox=1&datetime=x").Want(http.StatusBadRequest).Problem(); len(p.Errors) != 3 {
			t.Errorf("three faults: %+v", p)
		}
		for _, path := range []string{"/ogc?f=json", "/ogc/conformance?x=1", "/ogc/collections?limit=1"} {
			c.Get(path).Want(http.StatusBadRequest)
		}
	})
}

// TestFeatureLinks: what a client needs to find its way stands in document and head alike (recommendation link-header).
func TestFeatureLinks(t *testing.T) {
	s := apitest.OpenSQLite(t)
	c := apitest.NewClient(t, apitest.NewServer(t, s))
	p := apitest.OpenPortfolio(t, s, "P")
	ids := p.Add(t, apitest.Named(t, "A", map[string]any{"/reference": "a & b"}), apitest.Named(t, "B", map[string]any{"/reference": "b"}))
	items := "/ogc/collections/" + p.ID + "/items"
	for _, path := range []string{"/ogc", "/ogc/collections", "/ogc/collections/" + p.ID, items + "?limit=1", items + "/" + ids[0]} {
		var doc struct{ Links []apitest.Link }
		answer := c.Get(path).Want(http.StatusOK)
		answer.JSON(&doc)
		var want []string
		for _, l := range doc.Links {
			want = append(want, fmt.Sprintf(`<%s>; rel="%s"; type="%s"`, l.Href, l.Rel, l.Type))
		}
		if got := answer.Header.Values("Link"); len(got) == 0 || !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", path, got, want)
		}
	}
	// The next page is asked for with the same conditions.
	query := url.Values{"limit": {"1"}, "bbox": {"-180,-90,180,90"}, "datetime": {"2031-05-17T09:30:00+00:00/.."}, "acceptable": {"true"}}
	if first := getFeatures(c, items+"?"+query.Encode()); len(first.Features) == 0 {
		query.Set("acceptable", "false")
	}
	first := getFeatures(c, items+"?"+query.Encode())
	next, err := url.Parse(linked(t, first.Links, "next"))
	if err != nil {
		t.Fatal(err)
	}
	got := next.Query()
	if got.Get("cursor") == "" || next.Path != items {
		t.Errorf("next %s", next)
	}
	if got.Del("cursor"); !reflect.DeepEqual(got, query) {
		t.Errorf("the next page is asked for with %v, want %v", got, query)
	}
	// Behind a proxy the links are those that the client can follow.
	for _, test := range []struct{ headers, want []string }{
		{[]string{"X-Forwarded-Proto", "https"}, []string{"https://", strings.TrimPrefix(c.URL(), "http://")}},
		{[]string{"X-Forwarded-Proto", "https", "X-Forwarded-Host", "gis.example:8443, inner.example"}, []string{"https://", "gis.example:8443"}},
		{[]string{"X-Forwarded-Host", "[2001:db8::1]:8080"}, []string{"http://", "[2001:db8::1]:8080"}},
		{[]string{"X-Forwarded-Host", "user@gis.example/x?"}, []string{c.URL(), ""}},
		{[]string{"X-Forwarded-Proto", "javascript"}, []string{c.URL(), ""}},
	} {
		var doc struct{ Links []apitest.Link }
		c.Get("/ogc", test.headers...).Want(http.StatusOK).JSON(&doc)
		if want := strings.Join(test.want, "") + "/ogc"; doc.Links[0].Href != want {
			t.Errorf("%v: %s, want %s", test.headers, doc.Links[0].Href, want)
		}
	}
}

// TestFeatureMethods: HEAD is GET without the body (RFC 9110 section 9.3.2), and nothing can be written this way.
func TestFeatureMethods(t *testing.T) {
	s := apitest.OpenSQLite(t)
	c := apitest.NewClient(t, apitest.NewServer(t, s))
	p := apitest.OpenPortfolio(t, s, "P")
	ids := p.Add(t, apitest.Smallest(t))
	collection := "/ogc/collections/" + p.ID
	do := func(method, path string) (*http.Response, string) {
		t.Helper()
		request, err := http.NewRequestWithContext(t.Context(), method, c.URL()+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		response, err := http.DefaultClient.Do(request)
		if err != nil {
			t.Fatal(err)
		}
		defer response.Body.Close()
		body, err := io.ReadAll(response.Body)
		if err != nil {
			t.Fatal(err)
		}
		return response, string(body)
	}
	for _, path := range []string{"/ogc", "/ogc/", "/ogc/api", "/ogc/conformance", "/ogc/collections", collection, collection + "/items",
		collection + "/items?limit=0", collection + "/items/" + ids[0], "/ogc/collections/x"} {
		get, body := do(http.MethodGet, path)
		head, none := do(http.MethodHead, path)
		if head.StatusCode != get.StatusCode || head.Header.Get("Content-Type") != get.Header.Get("Content-Type") || none != "" || body == "" ||
			!slices.Equal(head.Header.Values("Link"), get.Header.Values("Link")) {
			t.Errorf("HEAD %s: %d %v, GET: %d %v", path, head.StatusCode, head.Header, get.StatusCode, get.Header)
		}
		for method, want := range map[string]int{http.MethodOptions: http.StatusNoContent, http.MethodPost: http.StatusMethodNotAllowed,
			http.MethodDelete: http.StatusMethodNotAllowed} {
			if got, _ := do(method, strings.TrimSuffix(path, "?limit=0")); got.StatusCode != want ||
				!strings.Contains(got.Header.Get("Allow"), "GET") {
				t.Errorf("%s %s: %d %v", method, path, got.StatusCode, got.Header)
			}
		}
	}
	// The address of the landing page may end in a slash.
	_, plain := do(http.MethodGet, "/ogc")
	if _, slash := do(http.MethodGet, "/ogc/"); slash != plain {
		t.Errorf("with a slash: %s", slash)
	}
	// No page of another origin may read what is served without a password on a user's own machine.
	if r, _ := do(http.MethodGet, "/ogc"); r.Header.Get("Access-Control-Allow-Origin") != "" {
		t.Error("open to every origin")
	}
}

// TestFeaturePagesProperty: whatever is asked for, the pages together are the
// sites that meet the conditions, in order, each once.
func TestFeaturePagesProperty(t *testing.T) {
	s := apitest.OpenSQLite(t)
	c := apitest.NewClient(t, apitest.NewServer(t, s))
	p := apitest.OpenPortfolio(t, s, "P")
	p.Many(t, 700)
	sites, err := s.ListSites(t.Context(), store.Local, p.ID, store.SiteFilter{Rank: store.RankName, Limit: 500})
	if err != nil {
		t.Fatal(err)
	}
	rest, err := s.ListSites(t.Context(), store.Local, p.ID, store.SiteFilter{Rank: store.RankName, Limit: 500, Cursor: sites.Next})
	if err != nil {
		t.Fatal(err)
	}
	every := append(sites.Sites, rest.Sites...)
	rapid.Check(t, func(r *rapid.T) {
		box := store.BBox{West: rapid.Float64Range(-1, 8).Draw(r, "west"), South: rapid.Float64Range(-1, 10).Draw(r, "south")}
		box.East, box.North = rapid.Float64Range(-1, 8).Draw(r, "east"), rapid.Float64Range(box.South, 11).Draw(r, "north")
		limit := rapid.IntRange(1, 800).Draw(r, "limit")
		timed := rapid.Bool().Draw(r, "timed")
		var want []string
		for _, site := range every {
			if box.Contains(site.Latitude, site.Longitude) {
				want = append(want, site.Reference)
			}
		}
		query := url.Values{"limit": {strconv.Itoa(limit)}, "bbox": {fmt.Sprintf("%v,%v,%v,%v", box.West, box.South, box.East, box.North)}}
		if timed {
			query.Set("datetime", "2031-05-17T09:30:00Z")
		}
		if got, pages := all(t, c, "/ogc/collections/"+p.ID+"/items?"+query.Encode()); !slices.Equal(got, want) || pages > len(want)/limit+1 {
			r.Fatalf("%d features on %d pages of %d, want %d", len(got), pages, limit, len(want))
		}
	})
}

// TestGDALReads has GDAL, which knows the standard and nothing of this service, read all features.
func TestGDALReads(t *testing.T) {
	apitest.RequireGDAL(t)
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "Invented north")
		p.Many(t, 2345)
		p.At = apitest.Now.Add(2 * time.Hour)
		p.Add(t, apitest.Named(t, "Invented: Île d'Or, \"quoted\"",
			map[string]any{"/reference": "=1+2", "/location/longitude": -179.5, "/location/latitude": -10}))
		source := "OAPIF:" + c.URL() + "/ogc"
		layers := apitest.Run(t, "ogrinfo", "-ro", source)
		if !strings.Contains(layers, p.ID) {
			t.Fatalf("the collection is not listed: %s", layers)
		}
		info := apitest.Run(t, "ogrinfo", "-ro", "-so", source, p.ID)
		for _, line := range []string{"Feature Count: 2346", "Extent: (-179.500000, -10.000000) - (2.300000, 9.900000)",
			"TEMPORAL_INTERVAL_MAX=2031-05-17T11:30:00Z", "TEMPORAL_INTERVAL_MIN=2031-05-17T09:30:00Z", "Geometry: Point", "worst_ratio: Real",
			"revision: Integer", "acceptable: Integer(Boolean)", "review_due: Date", "updated_at: DateTime", "needed_protection: String"} {
			if !strings.Contains(info, line) {
				t.Errorf("ogrinfo does not say %q: %s", line, info)
			}
		}
		file := filepath.Join(t.TempDir(), "features.csv")
		apitest.Run(t, "ogr2ogr", "-f", "CSV", "-lco", "GEOMETRY=AS_XY", file, source, p.ID)
		rows := rowsOf(t, file)
		every, err := s.ListSites(t.Context(), store.Local, p.ID, store.SiteFilter{Rank: store.RankName, Limit: 500})
		if err != nil || len(rows) != 2347 {
			t.Fatalf("%d rows, %v", len(rows)-1, err)
		}
		column := func(name string) int {
			n := slices.Index(rows[0], name)
			if n < 0 {
				t.Fatalf("no column %s: %v", name, rows[0])
			}
			return n
		}
		byName := map[string][]string{}
		for _, row := range rows[1:] {
			byName[row[column("name")]] = row
		}
		for _, site := range every.Sites {
			row := byName[site.Name]
			if row == nil {
				t.Fatalf("%s was not read", site.Name)
			}
			for name, want := range map[string]float64{"X": site.Longitude, "Y": site.Latitude, "worst_ratio": site.WorstRatio,
				"loss_of_human_life": site.LossOfHumanLife} {
				if got, err := strconv.ParseFloat(row[column(name)], 64); err != nil || !apitest.Near(got, want) {
					t.Errorf("%s of %s: %s, want %v", name, site.Name, row[column(name)], want)
				}
			}
			if row[column("reference")] != site.Reference || row[column("needed_protection")] != site.NeededProtection {
				t.Errorf("%v, want %+v", row, site)
			}
		}
		// The box goes to the service as a condition.
		apitest.Run(t, "ogr2ogr", "-f", "CSV", "-spat", "0.95", "0.95", "2.05", "1.05", file+".box.csv", source, p.ID)
		if n := len(rowsOf(t, file+".box.csv")) - 1; n != 11 {
			t.Errorf("%d features in the box, want 11", n)
		}
		// Of conditions GDAL passes times on; the first page of what they select is the answer to the count.
		for where, want := range map[string]int{
			"updated_at > '2031/05/17 10:00:00'":                                          1,
			"updated_at <= '2031/05/17 10:00:00'":                                         2345,
			"updated_at = '2031/05/17 09:30:00'":                                          2345,
			"updated_at >= '2031/05/17 09:30:00' AND updated_at <= '2031/05/17 11:30:00'": 2346,
			"updated_at > '2032/01/01 00:00:00'":                                          0,
			"reference = 'S00017'":                                                        1,
		} {
			info := apitest.Run(t, "ogrinfo", "-ro", "-so", "-where", where, "--debug", "on", source, p.ID)
			if !strings.Contains(info, fmt.Sprintf("Feature Count: %d\n", want)) {
				t.Errorf("%s: want %d features: %s", where, want, info)
			}
			if strings.HasPrefix(where, "updated_at") && !strings.Contains(info, "&datetime=") {
				t.Errorf("%s was not passed on: %s", where, info)
			}
		}
	})
}

func rowsOf(t testing.TB, file string) [][]string {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}
