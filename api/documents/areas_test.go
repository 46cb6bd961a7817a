package documents_test

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"levinward/api/apitest"
	"levinward/store"
)

type mapFeature struct {
	Type, ID string
	Geometry *struct {
		Type        string
		Coordinates json.RawMessage
	}
	Properties map[string]any
}

// mapOf gets the outlines of a body stored, by the id of the feature.
func mapOf(t *testing.T, c *apitest.Client, body []byte, query string) (features map[string]mapFeature, text []byte) {
	t.Helper()
	s, _ := apitest.Create(c, body)
	a := c.Get("/v1/assessments/" + s.ID + "/collection-areas" + query).Want(http.StatusOK)
	if a.MediaType() != "application/geo+json" {
		t.Errorf("media type %s", a.MediaType())
	}
	var all struct {
		Type     string
		Features []mapFeature
	}
	a.JSON(&all)
	if all.Type != "FeatureCollection" || len(all.Features) == 0 {
		t.Fatalf("%s of %d features", all.Type, len(all.Features))
	}
	features = map[string]mapFeature{}
	for _, f := range all.Features {
		if _, twice := features[f.ID]; twice || f.Type != "Feature" {
			t.Errorf("feature %s of type %s stands twice or is none", f.ID, f.Type)
		}
		validGeometry(t, f)
		features[f.ID] = f
	}
	return features, a.Body
}

// validGeometry holds a geometry to RFC 7946: longitude and latitude on the map (section 4), rings closed, of four positions or
// more, outer ones anticlockwise and holes clockwise (3.1.6), nothing across the 180th meridian (3.1.9).
func validGeometry(t *testing.T, f mapFeature) {
	t.Helper()
	if f.Geometry == nil {
		return
	}
	onMap := func(line apitest.Positions) {
		for i, p := range line {
			if math.Abs(p[0]) > 180 || math.Abs(p[1]) > 90 {
				t.Errorf("%s: %v is not on the map", f.ID, p)
			}
			pole := i > 0 && math.Abs(p[1]) == 90 && p[1] == line[i-1][1] // along its edge of the map
			if i > 0 && math.Abs(p[0]-line[i-1][0]) > 180 && !pole {
				t.Errorf("%s: from %v to %v across the 180th meridian", f.ID, line[i-1], p)
			}
		}
	}
	switch f.Geometry.Type {
	case "MultiPolygon":
		for _, polygon := range polygons(t, f) {
			for n, ring := range polygon {
				onMap(ring)
				if len(ring) < 4 || ring[0] != ring[len(ring)-1] {
					t.Errorf("%s: a ring of %d positions, closed %v", f.ID, len(ring), ring[0] == ring[len(ring)-1])
				}
				if a := ellipsoidArea(ring); (a > 0) != (n == 0) {
					t.Errorf("%s: ring %d turns the wrong way", f.ID, n)
				}
			}
		}
	case "MultiLineString":
		var lines []apitest.Positions
		coordinates(t, f, &lines)
		for _, l := range lines {
			if onMap(l); len(l) < 2 {
				t.Errorf("%s: a line of %d positions", f.ID, len(l))
			}
		}
	case "Point":
		var p [2]float64
		coordinates(t, f, &p)
		onMap(apitest.Positions{p})
	case "MultiPoint":
		var p apitest.Positions
		coordinates(t, f, &p)
		for _, one := range p {
			onMap(apitest.Positions{one})
		}
	default:
		t.Errorf("%s: geometry %s", f.ID, f.Geometry.Type)
	}
}

func coordinates(t *testing.T, f mapFeature, into any) {
	t.Helper()
	if err := json.Unmarshal(f.Geometry.Coordinates, into); err != nil {
		t.Fatalf("%s: %v", f.ID, err)
	}
}

func polygons(t *testing.T, f mapFeature) (p [][]apitest.Positions) {
	t.Helper()
	if f.Geometry == nil || f.Geometry.Type != "MultiPolygon" {
		t.Fatalf("%s is not drawn as polygons: %+v", f.ID, f.Geometry)
	}
	coordinates(t, f, &p)
	return p
}

// ellipsoidArea is the signed area [m²] within a ring whose edges are straight in longitude and latitude, as RFC 7946
// takes them: the sum of q(latitude) d longitude by Simpson's rule, q(latitude) the area from the equator on the ellipsoid
// (J. P. Snyder, Map projections: a working manual, USGS Professional Paper 1395, 1987, equation 3-12).
func ellipsoidArea(ring apitest.Positions) float64 {
	e := math.Sqrt(apitest.Eccentricity2)
	q := func(latitude float64) float64 {
		s := math.Sin(latitude * math.Pi / 180)
		return apitest.SemiMajor * apitest.SemiMajor / 2 * (1 - apitest.Eccentricity2) * (s/(1-apitest.Eccentricity2*s*s) + math.Atanh(e*s)/e)
	}
	base, sum := q(ring[0][1]), 0.0
	for i := 1; i < len(ring); i++ {
		a, b := ring[i-1], ring[i]
		mean := (q(a[1]) + 4*q((a[1]+b[1])/2) + q(b[1])) / 6
		sum -= (b[0] - a[0]) * math.Pi / 180 * (mean - base)
	}
	return sum
}

// The area of this test against Planimeter (testdata/reference/geo-polygons.txt), whose edges are geodesics: at these
// latitudes the two differ by less than 1e-4.
func TestEllipsoidAreaIsThatOfPlanimeter(t *testing.T) {
	compared := 0
	for _, line := range apitest.ReferenceLines(t, "geo-polygons.txt") {
		f := strings.SplitN(line, " ", 4)
		ring := apitest.Pairs(t, f[3])
		for i := range ring {
			ring[i][0], ring[i][1] = ring[i][1], ring[i][0]
			if ring[i][0] < 0 && strings.HasPrefix(f[0], "dateline") {
				ring[i][0] += 360
			}
		}
		if math.Abs(ring[0][1]) > 80 {
			continue
		}
		want := apitest.Float(t, f[1])
		apitest.Agrees(t, f[0], ellipsoidArea(append(ring, ring[0])), want, 1e-4*want)
		compared++
	}
	if compared < 6 {
		t.Errorf("only %d polygons compared", compared)
	}
}

func areaOf(t *testing.T, f mapFeature) (sum float64) {
	t.Helper()
	for _, polygon := range polygons(t, f) {
		for _, ring := range polygon {
			sum += ellipsoidArea(ring)
		}
	}
	return sum
}

// drawnAs holds the area of a drawn outline against its number. Chords within half a tolerance of 1 cm, straight lines within
// the other half: less than 1 cm times the length of the outline, which is taken from the isoperimetric side as 20 times the
// root of the area.
func drawnAs(t *testing.T, f mapFeature) {
	t.Helper()
	want := f.Properties["area_m2"].(float64)
	apitest.Agrees(t, f.ID, areaOf(t, f), want, 0.01*20*math.Sqrt(want)+1e-7*want)
}

func TestOutlinesAgreeWithNumbers(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	features, _ := mapOf(t, c, apitest.File(t, "testdata/demo/village.json"), "?tolerance_m=0.01")
	for _, id := range []string{"power-station", "school", "dispensary", "house", "telecom-mast"} {
		drawnAs(t, features[id+"/A_D"])
		drawnAs(t, features[id+"/A_M"])
		if p := features[id+"/structure"].Properties; p["position"] != "given" || p["N_D_per_year"].(float64) <= 0 {
			t.Errorf("%s: %v", id, p)
		}
	}
	if p := features["telecom-mast/part/0"]; p.Geometry.Type != "Point" || p.Properties["height_m"] != 36.0 {
		t.Errorf("the mast: %+v", p)
	}
	if p := features["power-station/part/1"]; p.Geometry.Type != "MultiLineString" || p.Properties["height_m"] != 2.1 {
		t.Errorf("a row of panels: %+v", p)
	}
	if p := features["school/structure"].Properties; p["R_1_acceptable"] != false {
		t.Errorf("the school: %v", p)
	}
	for id, position := range map[string]string{"array/line": "not given", "feeder-school/line": "given in part", "mast-supply/A_I": "given"} {
		if got := features[id].Properties["position"]; got != position {
			t.Errorf("%s: position %v, want %s", id, got, position)
		}
	}
	for _, id := range []string{"array/line", "array/A_L", "array/A_I"} {
		if features[id].Geometry != nil {
			t.Errorf("%s is drawn", id)
		}
	}
	// One piece of corridor along two sections that meet, and nothing of it twice.
	if n := len(polygons(t, features["feeder-school/A_I"])); n != 1 {
		t.Errorf("the corridor of the feeder is in %d pieces", n)
	}
	apitest.Agrees(t, "N_L on the map", features["mast-data/A_L"].Properties["events_per_year"].(float64),
		9.4*features["mast-data/A_L"].Properties["area_m2"].(float64)*0.5e-6, 1e-12)
}

// The corridor of a straight route is a capsule: 2 r l + pi r² (Steiner's formula). Routes of one line that overlap
// are drawn once: two that cross at right angles share a square and the caps.
func TestCorridors(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	east, north := apitest.OnEquator(179.999, apitest.Positions{{-600, 0}, {600, 0}}),
		apitest.OnEquator(179.999, apitest.Positions{{0, -600}, {0, 600}})
	mast := []any{apitest.Part(10, "Point", east[0])}
	one, _ := mapOf(t, c, apitest.DrawnSite(t, east[0], mast, apitest.Values{"route": apitest.Route(east...)}), "?tolerance_m=0.01")
	apitest.Agrees(t, "A_L of one route", areaOf(t, one["l/A_L"]), 40*1200+math.Pi*400, 30)
	apitest.Agrees(t, "A_I of one route", areaOf(t, one["l/A_I"]), 4000*1200+math.Pi*4e6, 300)
	if n := len(polygons(t, one["l/A_L"])); n != 2 {
		t.Errorf("across the 180th meridian the corridor is in %d pieces", n)
	}
	var drawn []apitest.Positions
	coordinates(t, one["l/line"], &drawn)
	if len(drawn) != 2 || drawn[0][1][0] != 180 || drawn[1][0][0] != -180 {
		t.Errorf("across the 180th meridian the route is %v", drawn)
	}
	cross, _ := mapOf(t, c, apitest.DrawnSite(t, east[0], mast, apitest.Values{"route": apitest.Route(east...)},
		apitest.Values{"route": apitest.Route(north...)}), "?tolerance_m=0.01")
	apitest.Agrees(t, "A_L of a cross", areaOf(t, cross["l/A_L"]), 2*(40*1200+math.Pi*400)-40*40, 60)
}

// A box has no place: the only one stands at the location, several do not.
func TestBoxesOnTheMap(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	for _, longitude := range []float64{86.683, 179.999, -180, 180} {
		body := apitest.Changed(t, apitest.Smallest(t), apitest.Values{"/location/longitude": longitude, "/location/latitude": -16.5})
		features, _ := mapOf(t, c, body, "?tolerance_m=0.01")
		drawnAs(t, features["house/A_D"])
		drawnAs(t, features["house/A_M"])
		if p := features["house/structure"].Properties["position"]; p != "location of the site; orientation not known" {
			t.Errorf("position %v", p)
		}
		pieces := 1
		if longitude > 179 || longitude < -179 {
			pieces = 2
		}
		if n := len(polygons(t, features["house/A_M"])); n != pieces {
			t.Errorf("longitude %v: A_M in %d pieces, want %d", longitude, n, pieces)
		}
	}
	// A_D is the larger one of box and protrusion, on the map as in the numbers.
	for _, protrusion := range []float64{8, 40} {
		body := apitest.Changed(t, apitest.Smallest(t),
			apitest.Values{"/structures/0/length_m": 70, "/structures/0/width_m": 30, "/structures/0/height_m": 7,
				"/structures/0/protrusion_height_m": protrusion})
		features, _ := mapOf(t, c, body, "?tolerance_m=0.01")
		drawnAs(t, features["house/A_D"])
	}
	for _, latitude := range []float64{90, -90, 89.9999} {
		features, _ := mapOf(t, c, apitest.Changed(t, apitest.Smallest(t), apitest.Values{"/location/latitude": latitude}), "")
		if features["house/A_D"].Properties["area_m2"].(float64) <= 0 {
			t.Errorf("latitude %v: %v", latitude, features["house/A_D"].Properties)
		}
	}
	features, _ := mapOf(t, c, apitest.Demo(t), "")
	for id, f := range features {
		if f.Geometry != nil {
			t.Errorf("%s is drawn, but nobody said where", id)
		}
	}
	if f := features["post/A_D"]; f.Properties["position"] != "not given" || f.Properties["area_m2"].(float64) <= 0 {
		t.Errorf("post: %v", f.Properties)
	}
}

func TestMapParameters(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	s, _ := apitest.Create(c, apitest.File(t, "testdata/demo/village.json"))
	at := "/v1/assessments/" + s.ID + "/collection-areas"
	for _, tolerance := range []string{"0", "101", "-1", "NaN", "x", ""} {
		p := c.Get(at + "?tolerance_m=" + tolerance).Want(http.StatusBadRequest).Problem()
		if len(p.Errors) != 1 || p.Errors[0].Parameter != "tolerance_m" {
			t.Errorf("tolerance %q: %v", tolerance, p.Errors)
		}
	}
	fine, coarse := c.Get(at+"?tolerance_m=0.01").Want(http.StatusOK), c.Get(at+"?tolerance_m=100").Want(http.StatusOK)
	if len(fine.Body) < 4*len(coarse.Body) {
		t.Errorf("%d bytes drawn finely, %d coarsely", len(fine.Body), len(coarse.Body))
	}
	c.Get(at + "?revision=2").Want(http.StatusNotFound)
	c.Get("/v1/assessments/" + strings.Repeat("0", 8) + "-0000-7000-8000-000000000000/collection-areas").Want(http.StatusNotFound)
}

// A record of an edition that the program has no more is kept, but its areas cannot be drawn.
func TestAreasOfAnotherEdition(t *testing.T) {
	stores := apitest.OpenSQLite(t)
	c := apitest.NewClient(t, apitest.NewServer(t, stores))
	created, _ := apitest.Create(c, apitest.Smallest(t))
	r, err := stores.Newest(t.Context(), store.Local, created.ID)
	if err != nil {
		t.Fatal(err)
	}
	if r.Worksheet, err = stores.Worksheet(t.Context(), store.Local, created.ID, 1); err != nil {
		t.Fatal(err)
	}
	r.Edition = "an-edition-of-before"
	r.Result = apitest.Changed(t, r.Result, apitest.Values{"/input/edition": r.Edition})
	if r, err = stores.Revise(t.Context(), store.Local, r, 1); err != nil {
		t.Fatal(err)
	}
	p := c.Get("/v1/assessments/" + created.ID + "/collection-areas").Want(http.StatusNotFound).Problem()
	if !strings.Contains(p.Detail, r.Edition) {
		t.Errorf("the refusal does not name the edition: %s", p.Detail)
	}
	c.Get("/v1/assessments/" + created.ID + "/collection-areas?revision=1").Want(http.StatusOK)
}

// Source: ogrinfo of GDAL (Debian package gdal-bin) opens the file, finds every feature in it and their extent on the map.
func TestMapOpensInGIS(t *testing.T) {
	apitest.RequireGDAL(t)
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	dateline := apitest.Changed(t, apitest.Smallest(t), apitest.Values{"/location/longitude": 179.999})
	for name, body := range map[string][]byte{"village": apitest.File(t, "testdata/demo/village.json"), "dateline": dateline} {
		features, text := mapOf(t, c, body, "")
		file := filepath.Join(t.TempDir(), name+".geojson")
		if err := os.WriteFile(file, text, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.CommandContext(t.Context(), "ogrinfo", "-ro", "-al", file).CombinedOutput()
		if err != nil || strings.Contains(string(out), "Warning") || strings.Contains(string(out), "ERROR") {
			t.Fatalf("%s: %v\n%.2000s", name, err, out)
		}
		if !strings.Contains(string(out), fmt.Sprintf("Feature Count: %d\n", len(features))) ||
			!strings.Contains(string(out), "events_per_year (Real)") ||
			!strings.Contains(string(out), `GEOGCRS["WGS 84"`) {
			t.Errorf("%s: %d features, found\n%.1500s", name, len(features), out)
		}
		// The GIS, too, finds every geometry valid.
		sql := fmt.Sprintf(`SELECT COUNT(*) AS invalid FROM "%s" WHERE geometry IS NOT NULL AND NOT ST_IsValid(geometry)`, name)
		out, err = exec.CommandContext(t.Context(), "ogrinfo", "-ro", "-dialect", "SQLite", "-sql", sql, file).CombinedOutput()
		if err != nil || !strings.Contains(string(out), "invalid (Integer) = 0") {
			t.Errorf("%s: not every geometry is valid: %v\n%.1500s", name, err, out)
		}
	}
}
