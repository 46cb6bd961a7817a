package assessments_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"levinward/api/apitest"
	"levinward/api/assess"
	"levinward/risk/trace"
)

// areas is what tests of geometry look at in a result.
type areas struct {
	Structures []struct {
		ID     string
		Area   struct{ Direct, Near float64 } `json:"collection_area_m2"`
		Events struct{ Direct, Near float64 } `json:"events_per_year"`
		Risks  map[string]struct {
			Total      float64
			Components map[string]float64
		}
	}
	Lines []struct {
		ID     string
		Area   struct{ Direct, Near float64 } `json:"collection_area_m2"`
		Events struct {
			Direct, Near float64
			Adjacent     float64 `json:"adjacent_structure"`
		} `json:"events_per_year"`
	}
}

func (a *areas) structure(t testing.TB, id string) int {
	t.Helper()
	for i := range a.Structures {
		if a.Structures[i].ID == id {
			return i
		}
	}
	t.Fatalf("no structure %s", id)
	return -1
}

func calculate(c *apitest.Client, body []byte) (r areas) {
	c.Post("/v1/calculations", body).Want(http.StatusOK).JSON(&r)
	return r
}

// referencePart reads a part of geo-buffers.txt.
func referencePart(t testing.TB, longitude float64, line string) apitest.Values {
	t.Helper()
	kind, rest, _ := strings.Cut(line, " ")
	height, rest, _ := strings.Cut(rest, " ")
	var rings []apitest.Positions
	for ring := range strings.SplitSeq(rest, " ; ") {
		at := apitest.OnEquator(longitude, apitest.Pairs(t, ring))
		if kind == "polygon" {
			at = append(at, at[0])
		}
		rings = append(rings, at)
	}
	switch kind {
	case "point":
		return apitest.Part(apitest.Float(t, height), "Point", rings[0][0])
	case "line":
		return apitest.Part(apitest.Float(t, height), "LineString", rings[0])
	}
	return apitest.Part(apitest.Float(t, height), "Polygon", rings)
}

// Source: buffers of GEOS with 4096 segments a quarter circle (testdata/reference/geo-buffers.txt), too small by
// 2.5e-8 for their segments. Points, lines, polygons and polygons with holes, one structure of 75 parts among them.
func TestAreasOfPartsAgreeWithGEOS(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	compared := 0
	for _, longitude := range []float64{86.7, 179.999} {
		name, parts := "", []any{}
		for _, line := range apitest.ReferenceLines(t, "geo-buffers.txt") {
			kind, rest, _ := strings.Cut(line, " ")
			switch kind {
			case "case":
				name, parts = rest, nil
			case "areas":
				f := strings.Fields(rest)
				r := calculate(c, apitest.DrawnSite(t, [2]float64{longitude, 0}, parts))
				for _, a := range []struct {
					symbol    string
					got, want float64
				}{{"A_D", r.Structures[0].Area.Direct, apitest.Float(t, f[1])}, {"A_M", r.Structures[0].Area.Near, apitest.Float(t, f[2])}} {
					apitest.Agrees(t, fmt.Sprintf("%s at %v: %s", name, longitude, a.symbol), a.got, a.want, 2e-7*a.want)
					compared++
				}
			default:
				parts = append(parts, referencePart(t, longitude, line))
			}
		}
	}
	if compared < 40 {
		t.Errorf("only %d areas compared", compared)
	}
}

// Source: Planimeter of GeographicLib (testdata/reference/geo-polygons.txt): A_D of a footprint that is hardly
// higher than the ground is its area and its perimeter times 3 H, and less than 10 (3 H)^2 for each corner.
func TestAreasOfFootprintsAgreeWithPlanimeter(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	const height = 0.01
	for _, line := range apitest.ReferenceLines(t, "geo-polygons.txt") {
		f := strings.SplitN(line, " ", 4)
		ring := apitest.Pairs(t, f[3])
		for i := range ring {
			ring[i][0], ring[i][1] = ring[i][1], ring[i][0]
		}
		ring = append(ring, ring[0])
		r := calculate(c, apitest.DrawnSite(t, ring[0], []any{apitest.Part(height, "Polygon", []apitest.Positions{ring})}))
		want := apitest.Float(t, f[1]) + 3*height*apitest.Float(t, f[2])
		apitest.Agrees(t, f[0]+": A_D", r.Structures[0].Area.Direct, want, 1e-6*want+float64(len(ring))*10*9*height*height)
	}
}

// Closed forms: a disc pi r² and a capsule 2 r l + pi r² (Steiner's formula) with r = 3 H; a drawn box has the areas of
// the same box given by its sizes (IEC 62305-2:2010, A.2.1.1 and A.3).
func TestAreasOfPartsAreClosedForms(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	mast := calculate(c, apitest.DrawnSite(t, [2]float64{8, 47}, []any{apitest.Part(30, "Point", []float64{8, 47, 400})}))
	apitest.Agrees(t, "A_D of a mast", mast.Structures[0].Area.Direct, math.Pi*90*90, 1e-6)
	apitest.Agrees(t, "A_M of a mast", mast.Structures[0].Area.Near, math.Pi*500*500, 1e-5)

	const length = 19.532401900 // GeodSolve, testdata/reference/geo-lengths.txt
	fence := calculate(c, apitest.DrawnSite(t, [2]float64{0, 0},
		[]any{apitest.Part(4, "LineString", apitest.Positions{{0, 0}, {0.0001747697, 0.0000156825}})}))
	apitest.Agrees(t, "A_D of a fence", fence.Structures[0].Area.Direct, 2*12*length+math.Pi*12*12, 1e-5)

	ring := apitest.OnEquator(-179.9999, apitest.Positions{{-9, -4.5}, {9, -4.5}, {9, 4.5}, {-9, 4.5}, {-9, -4.5}})
	for i := range ring { // across the 180th meridian
		if ring[i][0] < -180 {
			ring[i][0] += 360
		}
	}
	drawn := calculate(c, apitest.DrawnSite(t, [2]float64{-179.9999, 0}, []any{apitest.Part(5.5, "Polygon", []apitest.Positions{ring})}))
	box := calculate(
		c, []byte(
			`{"name": "Invented: box", "location": {"longitude": -179.9999, "latitude": 0}, "flash_density": {"ground_flashes_per_km2_year": 5},
		"structures": [{"id": "s", "length_m": 18, "width_m": 9, "height_m": 5.5}]}`))
	apitest.Agrees(t, "A_D of a drawn box", drawn.Structures[0].Area.Direct, box.Structures[0].Area.Direct, 1e-7*box.Structures[0].Area.Direct)
	apitest.Agrees(t, "A_M of a drawn box", drawn.Structures[0].Area.Near, box.Structures[0].Area.Near, 1e-7*box.Structures[0].Area.Near)
}

// Source: geod of PROJ and GeodSolve of GeographicLib (testdata/reference/geo-route.txt, geo-lengths.txt).
// A_L is 40 L_L, A_I 4000 L_L (IEC 62305-2:2010, A.4 and A.5).
func TestRoutesAreMeasured(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	check := func(what string, sections []any, length, tolerance float64) {
		t.Helper()
		first := sections[0].(apitest.Values)["route"].(apitest.Values)["coordinates"].(apitest.Positions)[0]
		r := calculate(c, apitest.DrawnSite(t, first, []any{apitest.Part(3, "Point", first)}, sections...))
		apitest.Agrees(t, what+": A_L", r.Lines[0].Area.Direct, 40*length, 40*tolerance)
		apitest.Agrees(t, what+": A_I", r.Lines[0].Area.Near, 4000*length, 4000*tolerance)
	}
	var whole apitest.Positions
	var sections []any
	sum := 0.0
	for _, line := range apitest.ReferenceLines(t, "geo-route.txt") {
		f := strings.Fields(line)
		a, b := [2]float64{apitest.Float(t, f[1]), apitest.Float(t, f[0])}, [2]float64{apitest.Float(t, f[3]), apitest.Float(t, f[2])}
		if len(whole) == 0 {
			whole = apitest.Positions{a}
		}
		whole, sum = append(whole, b), sum+apitest.Float(t, f[4])
		sections = append(sections, apitest.Values{"installation": "aerial", "route": apitest.Route(a, b)})
	}
	check("one section", []any{apitest.Values{"route": apitest.Route(whole...)}}, sum, 1e-5)
	check("section by section", sections, sum, 1e-5)
	measured := 0
	for _, line := range apitest.ReferenceLines(t, "geo-lengths.txt") {
		f := strings.Fields(line)
		length := apitest.Float(t, f[4])
		if length > 100_000 {
			continue
		}
		measured++
		check(line, []any{apitest.Values{"route": apitest.Route([2]float64{apitest.Float(t, f[1]), apitest.Float(t, f[0])},
			[2]float64{apitest.Float(t, f[3]), apitest.Float(t, f[2])})}}, length, 1e-9*length+1e-7)
	}
	if measured < 30 {
		t.Errorf("only %d routes measured", measured)
	}
}

// IEC 62305-2:2010, A.4, read in a secondary source: A_L = 40 L_L.
//
// The worksheet says where the areas and lengths come from, and what follows from them.
func TestWorksheetOfDrawnSite(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	s, a := apitest.Create(c, apitest.File(t, "testdata/demo/village.json"))
	var r areas
	a.JSON(&r)
	var sheet struct{ Steps []apitest.Step }
	c.Get("/v1/assessments/" + s.ID + "/worksheet").Want(http.StatusOK).JSON(&sheet)
	at := map[string]float64{} // by symbol and pointer
	for _, st := range sheet.Steps {
		at[st.Symbol+" "+st.Pointer] = st.Value
	}
	for i := range r.Structures {
		p := " /structures/" + strconv.Itoa(i) + "/parts"
		apitest.Agrees(t, "A_D"+p, at["A_D"+p], r.Structures[i].Area.Direct, 0)
		apitest.Agrees(t, "A_M"+p, at["A_M"+p], r.Structures[i].Area.Near, 0)
	}
	line := 0.0
	for n := 1; n <= 2; n++ {
		length, there := at["L_L /lines/1/sections/"+strconv.Itoa(n)+"/route"]
		if !there {
			t.Errorf("no step for the length of the drawn section %d", n)
		}
		line += 40 * length
	}
	apitest.Agrees(t, "A_L by the worksheet", line+40*at["L_L /lines/1/sections/0/length_m"], r.Lines[1].Area.Direct, 1e-9)

	_, site, problem := apitest.Decode(apitest.File(t, "testdata/demo/village.json"))
	if problem != nil {
		t.Fatal(problem)
	}
	again := trace.New(0)
	if _, faults := assess.Run(site, again); len(faults) > 0 {
		t.Fatal(faults)
	}
	if err := again.Check(); err != nil {
		t.Error(err)
	}
}

// Along a line that joins two structures of an assessment, flashes to each come to the other: N_DJ = N_G A_DJ C_DJ C_T
// (IEC 62305-2:2010, A.2.5), which without a transformer (C_T 1) is N_D of the other.
func TestVillageJoinsStructures(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	s, a := apitest.Create(c, apitest.File(t, "testdata/demo/village.json"))
	var r areas
	a.JSON(&r)
	var sheet struct{ Steps []apitest.Step }
	c.Get("/v1/assessments/" + s.ID + "/worksheet").Want(http.StatusOK).JSON(&sheet)
	struck := func(id string) float64 { return r.Structures[r.structure(t, id)].Events.Direct }
	apitest.Agrees(t, "N_DJ of the feeder at the power station", r.Lines[1].Events.Adjacent, struck("school"), 1e-15)
	apitest.Agrees(t, "N_DJ of the supply from the mast", r.Lines[5].Events.Adjacent, struck("telecom-mast"), 1e-15)
	apitest.Agrees(t, "N_DJ of the supply of the house", r.Lines[4].Events.Adjacent, struck("power-station"), 1e-15)
	ends := map[string]bool{} // values of N_DJ in the worksheet
	for _, st := range sheet.Steps {
		if st.Symbol == "N_DJ" {
			ends[fmt.Sprintf("%.9g", st.Value)] = true
		}
	}
	for _, id := range []string{"school", "power-station", "dispensary", "house", "telecom-mast"} {
		if !ends[fmt.Sprintf("%.9g", struck(id))] {
			t.Errorf("nothing comes of flashes to %s at the far ends of its lines", id)
		}
	}
	if len(r.Structures[r.structure(t, "telecom-mast")].Risks) != 0 {
		t.Error("the mast is not to be assessed")
	}
}

// Of the lines on one route only the worst counts for flashes to and near lines (IEC 62305-2:2010, 6.4, from memory):
// the components R_U, R_V, R_W, R_Z are those of that line alone, and without the name of the route those of both.
func TestSharedRouteCountsOnce(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	var village map[string]any
	if err := json.Unmarshal(apitest.File(t, "testdata/demo/village.json"), &village); err != nil {
		t.Fatal(err)
	}
	all := village["lines"].([]any)
	components := func(shared bool, lines ...any) (sum float64) {
		kept := []any{}
		for _, l := range lines {
			own := maps.Clone(l.(map[string]any))
			if !shared {
				delete(own, "shared_route")
			}
			kept = append(kept, own)
		}
		village["lines"] = kept
		body, err := json.Marshal(village)
		if err != nil {
			t.Fatal(err)
		}
		r := calculate(c, body)
		of := r.Structures[r.structure(t, "dispensary")].Risks["loss_of_human_life"].Components
		for _, name := range []string{"R_U", "R_V", "R_W", "R_Z"} {
			sum += of[name]
		}
		return sum
	}
	supply, data := components(true, all[2]), components(true, all[3])
	both, shared := components(false, all[2], all[3]), components(true, all[2], all[3])
	if !(supply > 0 && data > 0) {
		t.Fatalf("nothing to compare: %v, %v", supply, data)
	}
	apitest.Agrees(t, "on one route", shared, max(supply, data), 1e-12*both)
	apitest.Agrees(t, "on two routes", both, supply+data, 1e-12*both)
}

// A merge patch replaces a box by parts and parts by others; a list is replaced as a whole (RFC 7396).
func TestReassessWithParts(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	s, first := apitest.Create(c, apitest.Smallest(t))
	at := "/v1/assessments/" + s.ID
	var box, drawn areas
	first.JSON(&box)
	patch := `{"structures": [{"id": "post", "parts": [{"height_m": 24, "geometry": {"type": "Point", "coordinates": [86.683, ` +
		`-3.117]}}]}], "lines": []}`
	c.Patch(at+"/revisions", patch).Want(http.StatusCreated).JSON(&drawn)
	apitest.Agrees(t, "A_D of the mast", drawn.Structures[0].Area.Direct, math.Pi*72*72, 1e-6)
	for name, patch := range map[string]string{
		"/structures/0/length_m":                            `{"structures": [{"id": "post", "length_m": 5, "parts": [{"height_m": 24, "geometry": {"type": "Point", "coordinates": [86.683, -3.117]}}]}]}`,
		"/structures/0/parts/0/geometry/coordinates":        `{"structures": [{"id": "post", "parts": [{"height_m": 24, "geometry": {"type": "Point", "coordinates": [86.683, -93.117]}}]}]}`,
		"/structures/0/parts/0/geometry/coordinates/1":      `{"structures": [{"id": "post", "parts": [{"height_m": 24, "geometry": {"type": "LineString", "coordinates": [[86.683, -3.117], ["86.684", -3.117]]}}]}]}`,
		"/structures/0/parts":                               `{"structures": [{"id": "post", "parts": []}]}`,
		"/structures/0/parts/0/geometry/coordinates/0/1000": `{"structures": [{"id": "post", "parts": [{"height_m": 24, "geometry": {"type": "Polygon", "coordinates": [` + ringText(1000, false) + `]}}]}]}`,
	} {
		p := c.Patch(at+"/revisions", patch).Want(http.StatusUnprocessableEntity).Problem()
		if got := apitest.PlacesOf(p.Errors); len(got) != 1 || !strings.HasPrefix(got[0]+" ", name+" ") {
			t.Errorf("%s: %v", name, got)
		}
	}
	c.Get(at + "/revisions/3").Want(http.StatusNotFound)
	var before, after any
	first.JSON(&before)
	c.Get(at + "/revisions/1").Want(http.StatusOK).JSON(&after)
	if !reflect.DeepEqual(before, after) {
		t.Error("revision 1 changed")
	}
}

// ringText is a circle of n corners around the location of the demonstration, as a JSON list, closed or not.
func ringText(n int, closed bool) string {
	b := []byte{'['}
	for i := range n + 1 {
		if i > 0 {
			b = append(b, ',')
		}
		k := i % n
		if i == n && !closed {
			k = n / 2
		}
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		b = fmt.Appendf(b, "[%.9f,%.9f]", 86.683+0.01*cos, -3.117+0.01*sin)
	}
	return string(append(b, ']'))
}

// invalidGeometries are put into the smallest request; each fault is named where it is.
var invalidGeometries = []struct {
	name, structure, section string
	want                     []string // pointer, then what the reason says
}{
	{"a polygon that crosses itself", polygonOf(`[[[86.683,-3.117],[86.684,-3.116],[86.684,-3.117],[86.683,-3.116],[86.683,-3.117]]]`), "",
		[]string{partAt + "/0/0", "crosses the edge at vertex 2"}},
	{"a hole outside", polygonOf(
		`[[[86.683,-3.117],[86.684,-3.117],[86.684,-3.116],[86.683,-3.116],[86.683,-3.117]],[[86.685,-3.117],[86.686,-3.117],[86.686,-3.116],[86.685,-3.117]]]`), "",
		[]string{partAt + "/1/1", "hole lies outside"}},
	{"round a pole", polygonOf(`[[[0,89.99],[120,89.99],[-120,89.99],[0,89.99]]]`), "", []string{partAt + "/0", "winds round a pole"}},
	{"latitude beyond 90", polygonOf(`[[[-3.117,136.683],[-3.117,136.684],[-3.116,136.684],[-3.117,136.683]]]`), "",
		[]string{partAt + "/0/0", "wrong order", partAt + "/0/1", "wrong order", partAt + "/0/2", "wrong order", partAt + "/0/3", "wrong order"}},
	{"a point beyond 90", pointOf(`[86.683,93]`), "", []string{partAt, "wrong order"}},
	{"the wrong order within 90", pointOf(`[-3.117,86.683]`), "", []string{"/structures/0/parts", "wrong order"}},
	{"another continent", pointOf(`[-70.5,-33.4]`), "", []string{"/structures/0/parts", "km from the location of the site"}},
	{"longitude beyond the map", pointOf(`[396.683,-3.117]`), "", []string{partAt, "longitude"}},
	{"not closed", polygonOf(`[[[86.683,-3.117],[86.684,-3.117],[86.684,-3.116],[86.683,-3.116]]]`), "", []string{partAt + "/0/3", "not closed"}},
	{"two corners", polygonOf(`[[[86.683,-3.117],[86.684,-3.117],[86.683,-3.117]]]`), "", []string{partAt + "/0", "needs 4 or more"}},
	{"the same corner", polygonOf(`[[[86.683,-3.117],[86.683,-3.117],[86.683,-3.117],[86.683,-3.117]]]`), "", []string{partAt + "/0", "different positions"}},
	{"no ring", polygonOf(`[]`), "", []string{partAt, "list of rings"}},
	{"an empty ring", polygonOf(`[[]]`), "", []string{partAt + "/0", "needs 4 or more"}},
	{"a ring where positions belong", pointOf(`[[86.683,-3.117]]`), "", []string{partAt, "must be a position"}},
	{"positions where rings belong", polygonOf(`[[86.683,-3.117],[86.684,-3.117]]`), "",
		[]string{partAt + "/0/0", "must be a position", partAt + "/0/1", "must be a position", partAt + "/1/0", "must be a position",
			partAt + "/1/1", "must be a position"}},
	{"a line of one position", lineOf(`[[86.683,-3.117]]`), "", []string{partAt, "needs 2 or more"}},
	{"texts", lineOf(`[["86.683",-3.117],[86.684,"NaN"],[86.684,-3.11]]`), "", []string{partAt + "/0", "must be a position", partAt + "/1", "must be a position"}},
	{"null within", lineOf(`[[86.683,null],[86.684,-3.117],null]`), "", []string{partAt + "/0", "must be a position", partAt + "/2", "must be a position"}},
	{"one number, four numbers", lineOf(`[[86.683],[86.684,-3.117,5,7]]`), "", []string{partAt + "/0", "must be a position", partAt + "/1", "must be a position"}},
	{"beyond double precision", pointOf(`[1e400,-3.117]`), "", []string{partAt, "must be a position"}},
	{"an object", pointOf(`[{"lon":86.683,"lat":-3.117}]`), "", []string{partAt, "must be a position"}},
	{"no list", pointOf(`"86.683,-3.117"`), "", []string{partAt, "must be a list"}},
	{"another geometry", `{"id":"post","parts":[{"height_m":5,"geometry":{"type":"MultiPolygon","coordinates":[86.683,-3.117]}}]}`, "",
		[]string{"/structures/0/parts/0/geometry/type", "Point, LineString, Polygon"}},
	{"absurd heights", `{"id":"post","parts":[{"height_m":1e9,"geometry":{"type":"Point","coordinates":[86.683,-3.117]}},` +
		`{"height_m":0,"geometry":{"type":"Point","coordinates":[86.683,-3.117]}},{"height_m":"5","geometry":{"type":"Point","coordinates":[86.683,-3.117]}}]}`, "",
		[]string{"/structures/0/parts/0/height_m", "from 0.01 to 1000", "/structures/0/parts/1/height_m", "from 0.01 to 1000",
			"/structures/0/parts/2/height_m", "must be a number"}},
	{"no height", `{"id":"post","parts":[{"geometry":{"type":"Point","coordinates":[86.683,-3.117]}}]}`, "", []string{"/structures/0/parts/0/height_m", "is required"}},
	{"box and parts", `{"id":"post","length_m":5,"height_m":5,"parts":[{"height_m":5,"geometry":{"type":"Point",` +
		`"coordinates":[86.683,-3.117]}}]}`, "",
		[]string{"/structures/0/height_m", "not both", "/structures/0/length_m", "not both"}},
	{"neither box nor parts", `{"id":"post"}`, "", []string{"/structures/0/height_m", "unless parts", "/structures/0/length_m", "unless parts", "/structures/0/width_m", "unless parts"}},
	{"no parts", `{"id":"post","parts":[]}`, "", []string{"/structures/0/parts", "1 to 2000"}},
	{"parts 100 km apart", `{"id":"post","parts":[{"height_m":5,"geometry":{"type":"Point","coordinates":[86.683,-3.117]}},` +
		`{"height_m":5,"geometry":{"type":"Point","coordinates":[86.683,-4.117]}}]}`, "",
		[]string{partAt, "from the middle", "/structures/0/parts/1/geometry/coordinates", "from the middle"}},
	{"a fault in each of two parts", `{"id":"post","parts":[{"height_m":5,"geometry":{"type":"Point","coordinates":[86.683,` +
		`-93]}},{"height_m":5,"geometry":{"type":"LineString","coordinates":[[86.683,-3.117],[86.7,-100]]}}]}`, "",
		[]string{partAt, "wrong order", "/structures/0/parts/1/geometry/coordinates/1", "wrong order"}},

	{"length and route", "", `{"length_m":5,"route":{"type":"LineString","coordinates":[[86.683,-3.117],[86.684,-3.117]]}}`, []string{"/lines/0/sections/0/length_m", "not both"}},
	{"a route to the other side of the earth", "", routeOf(`[[86.683,-3.117],[-93.3,3.1]]`), []string{routeAt + "/1", "opposite"}},
	{"a route that is too long", "", routeOf(`[[86.683,-3.117],[86.683,-4.217]]`), []string{routeAt, "longer than 100 km"}},
	{"a route in the wrong order", "", routeOf(`[[-3.117,86.683],[-3.117,86.684]]`), []string{routeAt, "wrong order"}},
	{"a route beyond 90", "", routeOf(`[[86.683,-3.117],[86.683,-93]]`), []string{routeAt + "/1", "wrong order"}},
	{"a route of one position", "", routeOf(`[[86.683,-3.117]]`), []string{routeAt, "needs 2 or more"}},
	{"an empty route", "", routeOf(`[]`), []string{routeAt, "needs 2 or more"}},
	{"texts in a route", "", routeOf(`[[86.683,-3.117],["a","b"]]`), []string{routeAt + "/1", "must be a position"}},
	{"a route that is a point", "", `{"route":{"type":"Point","coordinates":[[86.683,-3.117],[86.684,-3.117]]}}`, []string{"/lines/0/sections/0/route/type", "LineString"}},
}

const (
	partAt  = "/structures/0/parts/0/geometry/coordinates"
	routeAt = "/lines/0/sections/0/route/coordinates"
)

func geometryOf(kind, coordinates string) string {
	return `{"id":"post","parts":[{"height_m":5,"geometry":{"type":"` + kind + `","coordinates":` + coordinates + `}}]}`
}

func pointOf(coordinates string) string { return geometryOf("Point", coordinates) }

func lineOf(coordinates string) string { return geometryOf("LineString", coordinates) }

func polygonOf(coordinates string) string { return geometryOf("Polygon", coordinates) }

func routeOf(coordinates string) string {
	return `{"route":{"type":"LineString","coordinates":` + coordinates + `}}`
}

// drawnBody is a request with a structure and a line section in their JSON; where one is empty a sound one stands.
func drawnBody(structure, section string) []byte {
	if structure == "" {
		structure = `{"id":"post","length_m":18,"width_m":9,"height_m":5.5}`
	}
	lines := "[]"
	if section != "" {
		lines = `[{"id":"l","structure":"post","sections":[` + section + `]}]`
	}
	return []byte(
		`{"name":"Invented: drawn ` +
			`wrongly","location":{"latitude":-3.117,"longitude":86.683},"flash_density":{"ground_flashes_per_km2_year":9.4},"structures":[` +
			structure + `],"lines":` + lines + `}`)
}

func TestInvalidGeometries(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	c.Post("/v1/calculations", drawnBody("", "")).Want(http.StatusOK)
	for _, test := range invalidGeometries {
		t.Run(test.name, func(t *testing.T) {
			c := c.With(t)
			for _, path := range []string{"/v1/calculations", "/v1/assessments"} {
				p := c.Post(path, drawnBody(test.structure, test.section)).Want(http.StatusUnprocessableEntity).Problem()
				faults := slices.SortedFunc(slices.Values(p.Errors), func(a, b apitest.Fault) int { return strings.Compare(*a.Pointer, *b.Pointer) })
				if len(faults) != len(test.want)/2 {
					t.Fatalf("%d faults, want %d: %v", len(faults), len(test.want)/2, apitest.PlacesOf(faults))
				}
				for i, f := range faults {
					if *f.Pointer != test.want[2*i] || !strings.Contains(f.Reason, test.want[2*i+1]) {
						t.Errorf("fault %s: %s\nwant  %s: …%s…", *f.Pointer, f.Reason, test.want[2*i], test.want[2*i+1])
					}
				}
			}
		})
	}
	notStored(t, c)
}

func notStored(t *testing.T, c *apitest.Client) {
	t.Helper()
	if l, _ := apitest.GetList(c, ""); len(l.Assessments) != 0 {
		t.Errorf("refused, but stored: %v", l.Names())
	}
}

// What no JSON can say is no JSON, what is too much is refused before it is worked on, and what can be
// worked on but makes no sense is told in a few faults.
func TestHugeGeometriesAreRefused(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	refuse := func(name string, body []byte, status int, reason string) {
		t.Helper()
		for _, path := range []string{"/v1/calculations", "/v1/assessments"} {
			a := c.Post(path, body)
			if a.Status != status || !strings.Contains(string(a.Body), reason) || len(a.Body) > 1<<20 {
				t.Errorf("%s: status %d, want %d with %q: %d bytes, %.300s", name, a.Status, status, reason, len(a.Body), a.Body)
			}
		}
	}
	refuse("NaN", drawnBody(pointOf(`[NaN,-3.117]`), ""), http.StatusBadRequest, "line 1")
	refuse("nested", drawnBody(pointOf(strings.Repeat("[", 50_000)+strings.Repeat("]", 50_000)), ""), http.StatusBadRequest, "nested")
	refuse("more than 2 MiB", drawnBody(polygonOf("["+ringText(100_001, true)+"]"), ""), http.StatusRequestEntityTooLarge, "2 MiB")

	// Short coordinates make 100 001 positions fit.
	short := "[" + strings.Repeat("[86.7,-3],", 100_000) + "[86.7,-3]]"
	refuse("100 001 positions of a line", drawnBody(lineOf(short), ""), http.StatusUnprocessableEntity, "100001 positions")
	refuse("100 001 positions of a ring", drawnBody(polygonOf("["+short+"]"), ""), http.StatusUnprocessableEntity, "100001 positions")
	refuse("100 001 positions of a route", drawnBody("", routeOf(short)), http.StatusUnprocessableEntity, "100001 positions")
	refuse("texts for positions", drawnBody(lineOf(`["`+strings.Repeat(`a","`, 200_000)+`a"]`), ""), http.StatusUnprocessableEntity,
		"more than 100 entries")
	refuse("every latitude beyond 90", drawnBody(lineOf("["+strings.Repeat("[3,136],", 90_000)+"[3,136]]"), ""),
		http.StatusUnprocessableEntity, "only the first 1000 faults")

	// A star whose every edge crosses nearly every other: a quarter of a million crossings.
	const corners = 701
	b := []byte{'['}
	for i := range corners + 1 {
		if i > 0 {
			b = append(b, ',')
		}
		sin, cos := math.Sincos(2 * math.Pi * float64(i*(corners/2)%corners) / corners)
		b = fmt.Appendf(b, "[%.7f,%.7f]", 86.683+0.01*cos, -3.117+0.01*sin)
	}
	refuse("a star", drawnBody(polygonOf("["+string(append(b, ']'))+"]"), ""), http.StatusUnprocessableEntity, "crosses the edge")
	notStored(t, c)
}

// A footprint of many corners is answered: a circle, whose areas are known.
func TestLargeFootprint(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	const corners = 40_000
	r := calculate(c, drawnBody(polygonOf("["+ringText(corners, true)+"]"), ""))
	// Annex A of IEC 62305-2:2010, read in a secondary source: A_D within 3H = 15 m of the footprint, A_M within 500 m without it.
	// An ellipse of half axes of 0.01 degree; its widened area by Steiner's formula with Ramanujan's perimeter
	// (Q. J. Math. 45, 1914). The scale of the meridian from the radii of curvature at the latitude.
	sin, cos := math.Sincos(-3.117 * math.Pi / 180)
	w := math.Sqrt(1 - apitest.Eccentricity2*sin*sin)
	a, b := 0.01*math.Pi/180*apitest.SemiMajor/w*cos, 0.01*math.Pi/180*apitest.MeridianAtEquator/(w*w*w)
	h := (a - b) * (a - b) / ((a + b) * (a + b))
	perimeter := math.Pi * (a + b) * (1 + 3*h/(10+math.Sqrt(4-3*h)))
	apitest.Agrees(t, "A_D", r.Structures[0].Area.Direct, math.Pi*a*b+15*perimeter+math.Pi*15*15, 1e-5*math.Pi*a*b)
	apitest.Agrees(t, "A_M", r.Structures[0].Area.Near, 500*perimeter+math.Pi*500*500, 1e-4*500*perimeter)
}

// FuzzGeometry: no coordinates panic or run without end. What is accepted has areas and lengths that are numbers within what
// the highest part alone and the ground around everything allow, and the same ones again; what is refused
// is refused at a place within the input.
func FuzzGeometry(f *testing.F) {
	for _, test := range invalidGeometries {
		if test.structure != "" {
			f.Add(test.structure, `{"route":{"type":"LineString","coordinates":[[86.683,-3.117],[86.69,-3.11]]}}`)
		} else {
			f.Add(pointOf(`[86.683,-3.117]`), test.section)
		}
	}
	f.Add(
		polygonOf(
			`[[[86.683,-3.117],[86.684,-3.117],[86.684,-3.116],[86.683,-3.116],[86.683,-3.117]],[[86.6832,-3.1168],[86.6832,-3.1162],`+
				`[86.6838,-3.1162],[86.6832,-3.1168]]]`), routeOf(`[[86.683,-3.117,5],[86.69,-3.1e0]]`))
	f.Add(lineOf(`[[86.683,-3.117],[86.684,-3.117],[86.683,-3.117]]`), routeOf(`[[86.683,-3.117],[86.683,-3.117]]`))
	f.Fuzz(func(t *testing.T, structure, section string) {
		body := drawnBody(structure, section)
		in, site, problem := apitest.Decode(body)
		slow, slowProblem := apitest.Explain(body)
		if problem != nil {
			if slowProblem == nil || problem.Status != slowProblem.Status || problem.Status == 422 && len(problem.Errors) == 0 {
				t.Fatalf("refused for %v\nthe slow way for %v", problem, slowProblem)
			}
			return
		}
		if slowProblem != nil || !sameJSON(t, in, slow) {
			t.Fatalf("accepted, but the slow way says %v", slowProblem)
		}
		answer, faults := assess.Run(site, nil)
		if len(faults) > 0 {
			t.Fatalf("accepted, but cannot be computed: %v", faults)
		}
		for i := range answer.Input.Structures {
			s := &answer.Input.Structures[i]
			if a := s.Areas; a.Given && !(a.Direct > 0 && a.Near > 0 && a.Direct < 1.5e9 && a.Near < 1.5e9) {
				t.Fatalf("A_D %v, A_M %v", a.Direct, a.Near)
			}
		}
		for i := range answer.Input.Lines {
			for _, s := range answer.Input.Lines[i].Sections {
				if !(s.Length >= 0 && s.Length <= 100_000) {
					t.Fatalf("L_L %v", s.Length)
				}
			}
		}
		canonical, err := json.Marshal(in)
		if err != nil {
			t.Fatal(err)
		}
		if same, _, problem := apitest.Decode(canonical); problem != nil || !sameJSON(t, in, same) {
			t.Fatalf("the canonical form is another input: %s, %v", canonical, problem)
		}
	})
}

// sameJSON compares two inputs by what they say: coordinates keep the numbers as they were written.
func sameJSON(t *testing.T, a, b any) bool {
	t.Helper()
	x, errX := json.Marshal(a)
	y, errY := json.Marshal(b)
	if errX != nil || errY != nil {
		t.Fatal(errX, errY)
	}
	return reflect.DeepEqual(apitest.Tree(t, x), apitest.Tree(t, y))
}
