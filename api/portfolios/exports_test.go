package portfolios_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"levinward/api/apitest"
	"levinward/api/sites"
	"levinward/store"
)

type exported struct {
	Type     string
	Cautions []string
	Features []apitest.Feature
}

func TestExportsAgree(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "P")
		p.Add(t, apitest.Demo(t), apitest.Smallest(t),
			apitest.Named(t, "Ünïcode, \"quoted\"\u2028", map[string]any{"/reference": "=1+2", "/location/longitude": -180}))
		p.Many(t, 1100) // more than two pages
		at := "/v1/portfolios/" + p.ID + "/sites"
		rows := apitest.CSVOf(t, c.Get(at+".csv").Want(http.StatusOK))
		workbook := c.Get(at + ".xlsx").Want(http.StatusOK)
		cells := apitest.SheetRows(t, workbook.Body, "sites")
		var geo exported
		g := c.Get(at + ".geojson").Want(http.StatusOK)
		g.JSON(&geo)
		if len(rows) != 1104 || len(cells) != 1104 || len(geo.Features) != 1103 || g.MediaType() != "application/geo+json" ||
			workbook.MediaType() != "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet" {
			t.Fatalf("%d rows of CSV, %d of XLSX, %d features of %s", len(rows), len(cells), len(geo.Features), g.MediaType())
		}
		if len(geo.Cautions) < 4 || len(apitest.SheetRows(t, workbook.Body, "cautions")) != len(geo.Cautions) {
			t.Errorf("cautions: %q", geo.Cautions)
		}
		if last := len(rows[0]) - 1; rows[0][last] != "cautions" {
			t.Errorf("the last column of the CSV is %s", rows[0][last])
		}
		for i := range rows { // the other forms have the cautions beside the columns
			rows[i] = rows[i][:len(rows[i])-1]
		}
		documented := c.Document().Components.Schemas["SiteProperties"].Value.Required
		if !slices.Equal(rows[0][3:], documented) || !slices.Equal(rows[0], cells[0]) {
			t.Errorf("columns %v and %v, documented %v", rows[0], cells[0], documented)
		}
		for i, f := range geo.Features {
			row, xlsx := rows[i+1], cells[i+1]
			for n, name := range rows[0] {
				var value any
				switch name {
				case "id":
					value = f.ID
				case "longitude":
					value = f.Geometry.Coordinates[0]
				case "latitude":
					value = f.Geometry.Coordinates[1]
				default:
					value = f.Properties[name]
				}
				for form, text := range map[string]string{"CSV": row[n], "XLSX": xlsx[n]} {
					if !sameCell(form, text, value) {
						t.Fatalf("%s of %v: %s has %q, GeoJSON %v", name, f.Properties["name"], form, text, value)
					}
				}
			}
		}
		if n := slices.Index(rows[0], "reference"); !slices.ContainsFunc(rows, func(r []string) bool { return r[n] == "'=1+2" }) {
			t.Error("a reference that looks like a formula is not marked in the CSV")
		}
		noFormulas(t, workbook.Body)
	})
}

// sameCell holds a cell against the value of a property.
func sameCell(form, text string, value any) bool {
	switch v := value.(type) {
	case nil:
		return text == ""
	case float64:
		got, err := strconv.ParseFloat(text, 64)
		return err == nil && (got == v || form == "XLSX" && apitest.Near(got, v)) // the library that reads the workbook keeps 15 digits
	case bool:
		return text == strconv.FormatBool(v) || form == "XLSX" && text == map[bool]string{true: "1", false: "0"}[v]
	}
	if form == "CSV" {
		text = strings.TrimPrefix(text, "'")
	}
	return text == fmt.Sprint(value)
}

// noFormulas: texts are text cells, numbers are numbers.
func noFormulas(t testing.TB, workbook []byte) {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(workbook))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := f.GetRows("sites")
	if err != nil {
		t.Fatal(err)
	}
	for r := 2; r <= min(len(rows), 6); r++ {
		for n := range rows[0] {
			cell, err := excelize.CoordinatesToCellName(n+1, r)
			if err != nil {
				t.Fatal(err)
			}
			formula, err := f.GetCellFormula("sites", cell)
			if err != nil || formula != "" {
				t.Errorf("%s computes %q, %v", cell, formula, err)
			}
			kind, err := f.GetCellType("sites", cell)
			text := slices.Contains([]string{"id", "reference", "name", "engine", "review_due"}, rows[0][n])
			if err != nil || text && kind != excelize.CellTypeInlineString && rows[r-1][n] != "" {
				t.Errorf("%s (%s) is of type %v, %v", cell, rows[0][n], kind, err)
			}
			if rows[0][n] == "worst_ratio" && kind != excelize.CellTypeNumber && kind != excelize.CellTypeUnset {
				t.Errorf("%s is no number but %v", cell, kind)
			}
		}
	}
}

func TestExportConditions(t *testing.T) {
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "P")
		for i, site := range []struct {
			name      string
			ng        float64
			longitude float64
			year      int
		}{{"b", 30, 179, 2019}, {"a", 0.01, -179, 2029}, {"c", 60, 10, 2029}} {
			p.Add(t, apitest.Named(t, site.name, map[string]any{"/reference": fmt.Sprint("r", i),
				"/flash_density/ground_flashes_per_km2_year": site.ng, "/flash_density/year": site.year,
				"/location/longitude": site.longitude, "/lines": []any{}, "/structures/0/persons": 3 - i}))
		}
		at := "/v1/portfolios/" + p.ID + "/sites"
		for query, want := range map[string]string{
			"": "a b c", "?rank=name": "a b c", "?rank=worst_ratio": "c b a", "?rank=excess": "c b a", "?rank=persons_at_risk": "b c a",
			"?acceptable=false": "b c", "?acceptable=true": "a",
			"?bbox=170,-90,-170,90": "a b", "?q=R2": "c", "?review_due=true": "b", "?review_due=false&rank=excess": "c a", "?q=none": "",
		} {
			rows := apitest.CSVOf(t, c.Get(at+".csv"+query).Want(http.StatusOK))
			var geo exported
			c.Get(at + ".geojson" + query).Want(http.StatusOK).JSON(&geo)
			var names []string
			for i, row := range rows[1:] {
				names = append(names, row[slices.Index(rows[0], "name")])
				if names[i] != geo.Features[i].Properties["name"] {
					t.Errorf("%s: CSV has %s, GeoJSON %v", query, names[i], geo.Features[i].Properties["name"])
				}
			}
			if packed := gpkgNames(t, c.Get(at+".gpkg"+query).Want(http.StatusOK).Body); !slices.Equal(packed, names) {
				t.Errorf("%s: CSV has %v, GeoPackage %v", query, names, packed)
			}
			if strings.Join(names, " ") != want || len(apitest.SheetRows(t, c.Get(at+".xlsx"+query).Want(http.StatusOK).Body,
				"sites")) != len(rows) {
				t.Errorf("%s: %v, want %s", query, names, want)
			}
		}
		for _, form := range []string{".csv", ".xlsx", ".geojson", ".gpkg"} {
			for query, parameter := range map[string]string{"?rank=size": "rank", "?rank=": "rank", "?acceptable=yes": "acceptable",
				"?bbox=1": "bbox", "?review_due=1": "review_due", "?limit=1": "limit", "?cursor=x": "cursor"} {
				if problem := c.Get(at + form + query).Want(http.StatusBadRequest).Problem(); len(problem.Errors) != 1 ||
					problem.Errors[0].Parameter != parameter {
					t.Errorf("%s%s: %+v", form, query, problem)
				}
			}
			c.Get("/v1/portfolios/" + apitest.NewID(t) + "/sites" + form).Want(http.StatusNotFound)
			c.Get("/v1/portfolios/x/sites" + form).Want(http.StatusNotFound)
		}
	})
}

// TestGDALReadsExports: GDAL, and a spreadsheet library above, read what is exported.
func TestGDALReadsExports(t *testing.T) {
	apitest.RequireGDAL(t)
	s := apitest.OpenSQLite(t)
	c := apitest.NewClient(t, apitest.NewServer(t, s))
	p := apitest.OpenPortfolio(t, s, "P")
	p.Many(t, 600)
	for _, form := range []string{"geojson", "xlsx", "csv", "gpkg"} {
		file := filepath.Join(t.TempDir(), "sites."+form)
		apitest.WriteFile(t, file, c.Get("/v1/portfolios/"+p.ID+"/sites."+form).Want(http.StatusOK).Body)
		info := apitest.Run(t, "ogrinfo", "-ro", "-so", file, "sites")
		if !strings.Contains(info, "Feature Count: 600") {
			t.Errorf("%s: %s", form, info)
		}
	}
}

// failing is a store whose list of sites fails after some pages.
type failing struct {
	store.Store
	pages atomic.Int32
}

var errPage = errors.New("the page is gone")

func (f *failing) ListSites(ctx context.Context, org store.Organisation, portfolio string, filter store.SiteFilter) (store.SitePage,
	error) {
	if f.pages.Add(-1) < 0 {
		return store.SitePage{}, fmt.Errorf("%w: %w", store.ErrUnavailable, errPage)
	}
	return f.Store.ListSites(ctx, org, portfolio, filter)
}

// A fault on the way never leaves a file that looks whole.
func TestBrokenExports(t *testing.T) {
	f := &failing{Store: apitest.OpenSQLite(t)}
	p := apitest.OpenPortfolio(t, f, "P")
	p.Many(t, 1600)
	c := apitest.NewClient(t, apitest.NewServer(t, f))
	for _, form := range []string{"csv", "geojson", "xlsx", "gpkg"} {
		path := "/v1/portfolios/" + p.ID + "/sites." + form
		f.pages.Store(0)
		if a := c.Get(path).Want(http.StatusServiceUnavailable); a.Header.Get("Content-Disposition") != "" {
			t.Errorf("%s: a problem as an attachment", form)
		}
		f.pages.Store(2)
		response, err := http.Get(c.URL() + path)
		if err != nil {
			t.Fatal(err)
		}
		_, err = io.Copy(io.Discard, response.Body)
		response.Body.Close()
		switch {
		case form == "xlsx" || form == "gpkg": // nothing is sent before the last page
			if response.StatusCode != http.StatusServiceUnavailable {
				t.Errorf("%s: %d", form, response.StatusCode)
			}
		case err == nil:
			t.Errorf("%s: a part passes for the whole", form)
		}
		f.pages.Store(math.MaxInt32)
		c.Get(path).Want(http.StatusOK)
	}
}

// endless is a store with a portfolio of any number of sites.
type endless struct {
	store.Store
	sites int
}

func (e *endless) ListSites(_ context.Context, _ store.Organisation, _ string, f store.SiteFilter) (store.SitePage, error) {
	from, _ := strconv.Atoi(f.Cursor)
	page := store.SitePage{}
	for i := from; i < min(from+f.Limit, e.sites); i++ {
		page.Sites = append(page.Sites, store.Site{Assessment: fmt.Sprintf("01963b1c-6c00-7d3a-9c41-%012x", i),
			Name: fmt.Sprintf("Invented site %d", i), Reference: fmt.Sprintf("=S%d", i),
			Latitude: 1.5, Longitude: -2.5, Revision: 1, Engine: apitest.Engine, CreatedAt: apitest.Now, UpdatedAt: apitest.Now,
			Summary: store.Summary{GroundFlashes: 6.5, DensityOrigin: "given", WorstRatio: 1 / float64(i+1),
				NeededProtection: "LPS III, bonding SPD III-IV"}})
	}
	if from+f.Limit < e.sites {
		page.Next = strconv.Itoa(from + f.Limit)
	}
	return page, nil
}

// Memory does not grow with the number of sites, whatever the form.
func TestExportsNeedConstantMemory(t *testing.T) {
	e := &endless{Store: apitest.OpenSQLite(t)}
	p := apitest.OpenPortfolio(t, e, "P")
	server := apitest.NewServer(t, e)
	address := apitest.Start(t, server)
	// On a busy machine much garbage comes up between a collection and the look at what is in use. Collected early, it stays small.
	defer debug.SetGCPercent(debug.SetGCPercent(10))
	const bound, attempts = 40 << 20, 3
	// So many that a GeoPackage in memory would be over the bound; its rows are the smallest.
	for form, many := range map[string]int{"csv": 60_000, "geojson": 60_000, "xlsx": 60_000, "gpkg": 200_000} {
		at := address + "/v1/portfolios/" + p.ID + "/sites." + form
		var few, most uint64
		for range attempts { // what grows with the sites does so each time
			e.sites = 2_000
			few = max(few, mostInUse(t, at))
			e.sites = many
			if most = mostInUse(t, at); most <= few+bound {
				break
			}
		}
		if most > few+bound {
			t.Errorf("%s: %d MiB in use with many sites, %d MiB with few", form, most>>20, few>>20)
		}
	}
}

// mostInUse is the most memory that is in use while a file is sent; some forms are ready before the answer begins.
func mostInUse(t *testing.T, url string) (most uint64) {
	t.Helper()
	end := make(chan error, 1)
	go func() {
		response, err := http.Get(url)
		if err == nil {
			_, err = io.Copy(io.Discard, response.Body)
			response.Body.Close()
		}
		end <- err
	}()
	for {
		most = max(most, inUse(t))
		select {
		case err := <-end:
			if err != nil {
				t.Fatal(err)
			}
			return most
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// inUse is the memory that is in use after a collection: the heap, or where the system
// tells it, all of the process, which SQLite has its part of outside the heap.
func inUse(t *testing.T) uint64 {
	t.Helper()
	debug.FreeOSMemory()
	status, err := os.ReadFile("/proc/self/status")
	if _, line, found := strings.Cut(string(status), "RssAnon:"); err == nil && found {
		var kib uint64
		if _, err := fmt.Sscan(line, &kib); err != nil {
			t.Fatal(err)
		}
		return kib << 10
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// TestWorkbookOfSeveralSheets: what one sheet has no room for stands on the next.
func TestWorkbookOfSeveralSheets(t *testing.T) {
	before := sites.SheetRows
	sites.SheetRows = 101
	defer func() { sites.SheetRows = before }()
	s := apitest.OpenSQLite(t)
	c := apitest.NewClient(t, apitest.NewServer(t, s))
	p := apitest.OpenPortfolio(t, s, "P")
	p.Many(t, 250)
	body := c.Get("/v1/portfolios/" + p.ID + "/sites.xlsx").Want(http.StatusOK).Body
	total := 0
	for sheet, want := range map[string]int{"sites": 100, "sites 2": 100, "sites 3": 50} {
		rows := apitest.SheetRows(t, body, sheet)
		if len(rows) != want+1 || rows[0][0] != "id" {
			t.Errorf("%s has %d rows", sheet, len(rows))
		}
		total += len(rows) - 1
	}
	if total != 250 {
		t.Errorf("%d sites", total)
	}
}
