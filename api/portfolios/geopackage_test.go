package portfolios_test

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"levinward/api/apitest"
	"levinward/store"
)

// gpkgNames are the names of the sites in a GeoPackage, in the order of fid.
func gpkgNames(t testing.TB, body []byte) (names []string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "sites.gpkg")
	apitest.WriteFile(t, file, body)
	db, err := sql.Open("sqlite", file)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.QueryContext(t.Context(), "SELECT name FROM sites ORDER BY fid")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		names = append(names, name)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return names
}

// gpkgColumns are the columns as ogrinfo tells of them.
const gpkgColumns = `FID Column = fid
Geometry Column NOT NULL = geom
id: String (0.0) NOT NULL
latitude: Real (0.0) NOT NULL
longitude: Real (0.0) NOT NULL
reference: String (0.0) NOT NULL
name: String (0.0) NOT NULL
revision: Integer64 (0.0) NOT NULL
ground_flashes_per_km2_year: Real (0.0) NOT NULL
flash_density_origin: String (0.0) NOT NULL
flash_density_map: String (0.0)
loss_of_human_life: Real (0.0) NOT NULL
worst_ratio: Real (0.0) NOT NULL
excess: Real (0.0) NOT NULL
persons_at_risk: Real (0.0) NOT NULL
acceptable: Integer(Boolean) (0.0) NOT NULL
needed_protection: String (0.0) NOT NULL
required_devices: Integer64 (0.0) NOT NULL
review_due: Date (0.0)
engine: String (0.0) NOT NULL
created_at: DateTime (0.0) NOT NULL
updated_at: DateTime (0.0) NOT NULL
`

// TestGDALReadsGeoPackage: GDAL finds every value that is in the GeoJSON, and the types of the contract.
func TestGDALReadsGeoPackage(t *testing.T) {
	apitest.RequireGDAL(t)
	apitest.OnEachStore(t, func(t *testing.T, c *apitest.Client, s store.Store) {
		p := apitest.OpenPortfolio(t, s, "P")
		p.At = apitest.Now.Add(123456789 * time.Nanosecond)
		p.Add(t, apitest.Demo(t), apitest.Smallest(t),
			apitest.Named(t, "Ünïcode, \"quoted\"\u2028",
				map[string]any{"/reference": "=1+2'", "/location/longitude": -180, "/location/latitude": 78.123456789012345}),
			apitest.Named(t, "old data", map[string]any{"/flash_density/year": 2019, "/lines": []any{}}))
		p.Many(t, 1100) // more than two pages
		at := "/v1/portfolios/" + p.ID + "/sites"
		file := filepath.Join(t.TempDir(), "sites.gpkg")
		answer := c.Get(at + ".gpkg").Want(http.StatusOK)
		apitest.WriteFile(t, file, answer.Body)
		var geo exported
		c.Get(at + ".geojson").Want(http.StatusOK).JSON(&geo)

		info := apitest.Run(t, "ogrinfo", "-ro", "-so", file, "sites")
		_, columns, _ := strings.Cut(info, "Data axis to CRS axis mapping: 2,1\n")
		if columns != gpkgColumns {
			t.Errorf("columns\n%s\nwant\n%s", columns, gpkgColumns)
		}
		for _, want := range []string{"Geometry: Point\n", "Feature Count: 1104\n", `GEOGCRS["WGS 84"`,
			"DESCRIPTION=" + strings.Join(geo.Cautions, " ") + "\n", extent(geo.Features)} {
			if !strings.Contains(info, want) {
				t.Errorf("not %q but %s", want, info)
			}
		}
		for _, unwanted := range []string{"Warning", "ERROR"} {
			if strings.Contains(info, unwanted) {
				t.Errorf("%s: %s", unwanted, info)
			}
		}
		if answer.MediaType() != "application/geopackage+sqlite3" || !strings.Contains(answer.Header.Get("Content-Disposition"), `"sites.gpkg"`) {
			t.Errorf("%v", answer.Header)
		}

		validateGeoPackage(t, file)
		apitest.Run(t, "ogr2ogr", "-f", "GeoJSON", "-lco", "COORDINATE_PRECISION=17", "-lco", "SIGNIFICANT_FIGURES=17", file+".geojson", file,
			"sites")
		text, err := os.ReadFile(file + ".geojson")
		if err != nil {
			t.Fatal(err)
		}
		var back exported
		if err := json.Unmarshal(text, &back); err != nil {
			t.Fatal(err)
		}
		if len(back.Features) != len(geo.Features) {
			t.Fatalf("%d features, want %d", len(back.Features), len(geo.Features))
		}
		for i, want := range geo.Features {
			sameFeature(t, back.Features[i], want)
		}
	})
}

// validateGeoPackage holds a file against the requirements of the standard, as a script that comes with
// GDAL's Python module (Debian: python3-gdal) knows them.
func validateGeoPackage(t *testing.T, file string) {
	t.Helper()
	const module = "osgeo_utils.samples.validate_gpkg"
	for _, python := range []string{"python3", "/usr/bin/python3"} { // the first one may be another than the system's
		if exec.CommandContext(t.Context(), python, "-c", "import "+module).Run() == nil {
			apitest.Run(t, python, "-m", module, "--extra", "--warning-as-error", file) // fails at the first fault
			return
		}
	}
	if os.Getenv("LEVINWARD_REQUIRE_GDAL") == "1" {
		t.Error(module + " is required and not installed (Debian: python3-gdal)")
	}
	t.Log(module + " is not installed (Debian: python3-gdal); nothing is validated by it")
}

// extent is that of features, as ogrinfo tells of it.
func extent(all []apitest.Feature) string {
	b := orb.Point(all[0].Geometry.Coordinates).Bound()
	for _, f := range all {
		b = b.Extend(orb.Point(f.Geometry.Coordinates))
	}
	return fmt.Sprintf("Extent: (%f, %f) - (%f, %f)\n", b.Left(), b.Bottom(), b.Right(), b.Top())
}

// sameFeature holds a feature of a GeoPackage, as GDAL turns it into GeoJSON, against ours.
func sameFeature(t *testing.T, got, want apitest.Feature) {
	t.Helper()
	expected := map[string]any{"id": want.ID, "longitude": want.Geometry.Coordinates[0], "latitude": want.Geometry.Coordinates[1]}
	for name, value := range want.Properties {
		expected[name] = value
	}
	if !slices.Equal(got.Geometry.Coordinates, want.Geometry.Coordinates) || len(got.Properties) != len(expected) {
		t.Errorf("%v with %d properties, want %v with %d", got.Geometry, len(got.Properties), want.Geometry, len(expected))
	}
	for name, value := range expected {
		found := got.Properties[name]
		if name == "created_at" || name == "updated_at" { // the file has milliseconds
			found, value = moment(t, found), moment(t, value)
		}
		if found != value {
			t.Errorf("%s of %v: the GeoPackage has %#v, GeoJSON %#v", name, want.Properties["name"], found, value)
		}
	}
}

func moment(t *testing.T, text any) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339Nano, text.(string))
	if err != nil {
		t.Fatal(err)
	}
	return at.UTC().Truncate(time.Millisecond)
}

// The reference system is written as GDAL writes it, and an empty portfolio is a table without features.
func TestEmptyGeoPackage(t *testing.T) {
	apitest.RequireGDAL(t)
	s := apitest.OpenSQLite(t)
	c := apitest.NewClient(t, apitest.NewServer(t, s))
	p := apitest.OpenPortfolio(t, s, "P")
	file := filepath.Join(t.TempDir(), "sites.gpkg")
	apitest.WriteFile(t, file, c.Get("/v1/portfolios/"+p.ID+"/sites.gpkg").Want(http.StatusOK).Body)
	info := apitest.Run(t, "ogrinfo", "-ro", "-so", file, "sites")
	if !strings.Contains(info, "Feature Count: 0\n") || strings.Contains(info, "Extent") || strings.Contains(info, "Warning") ||
		strings.Contains(info, "ERROR") {
		t.Error(info)
	}
	validateGeoPackage(t, file)
	definition := apitest.Run(t, "ogrinfo", "-ro", "-q", file, "-sql", "SELECT definition FROM gpkg_spatial_ref_sys WHERE srs_id = 4326")
	if want := strings.TrimSpace(apitest.Run(t, "gdalsrsinfo", "-o", "wkt1", "--single-line", "EPSG:4326")); !strings.Contains(definition,
		"definition (String) = "+want+"\n") {
		t.Errorf("%s, want %s", definition, want)
	}
}

// watched is a store that tells when a page is asked for.
type watched struct {
	endless
	page func(cursor string)
}

func (w *watched) ListSites(ctx context.Context, org store.Organisation, portfolio string, f store.SiteFilter) (store.SitePage, error) {
	if w.page(f.Cursor); ctx.Err() != nil {
		return store.SitePage{}, ctx.Err()
	}
	return w.endless.ListSites(ctx, org, portfolio, f)
}

// brokenClient is one that takes some of an answer and then goes away.
type brokenClient struct {
	*httptest.ResponseRecorder
	takes int
}

func (b *brokenClient) Write(p []byte) (int, error) {
	if b.takes -= len(p); b.takes < 0 {
		return 0, io.ErrClosedPipe
	}
	return b.ResponseRecorder.Write(p)
}

// TestGeoPackageLeavesNoFile: whatever becomes of an export, its file is removed.
func TestGeoPackageLeavesNoFile(t *testing.T) {
	kept, folder := apitest.OpenSQLite(t), t.TempDir()
	t.Setenv("TMPDIR", folder)
	for name, c := range map[string]struct {
		takes   int  // bytes that the client takes
		leaves  bool // the client goes away while the file is made
		outcome string
	}{
		"whole":         {takes: 1 << 30, outcome: "200"},
		"client leaves": {takes: 1 << 30, leaves: true, outcome: "a problem"},
		"takes a part":  {takes: 100_000, outcome: "broken off"},
		"takes nothing": {outcome: "broken off"},
	} {
		t.Run(name, func(t *testing.T) {
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			waiting := 0
			w := &watched{endless: endless{Store: kept, sites: 3000}, page: func(cursor string) {
				if cursor == "2000" {
					waiting = entries(t, folder)
					if c.leaves {
						cancel()
					}
				}
			}}
			p := apitest.OpenPortfolio(t, w, name)
			if outcome := exportTo(ctx, apitest.NewServer(t, w), "/v1/portfolios/"+p.ID+"/sites.gpkg", c.takes); outcome != c.outcome {
				t.Errorf("%s, want %s", outcome, c.outcome)
			}
			if left := entries(t, folder); waiting != 1 || left != 0 {
				t.Errorf("%d files while the export was made, %d after it", waiting, left)
			}
		})
	}
}

func entries(t *testing.T, folder string) int {
	t.Helper()
	files, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	return len(files)
}

// exportTo tells how an export to a client ends that takes no more than some bytes.
func exportTo(ctx context.Context, server http.Handler, path string, takes int) (outcome string) {
	defer func() {
		if recover() == http.ErrAbortHandler {
			outcome = "broken off"
		}
	}()
	w := &brokenClient{httptest.NewRecorder(), takes}
	server.ServeHTTP(w, httptest.NewRequestWithContext(ctx, http.MethodGet, path, nil))
	if w.Code != http.StatusOK {
		return "a problem"
	}
	return "200"
}
