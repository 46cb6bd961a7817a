package maps_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/labstack/echo/v4"

	"levinward/api"
	"levinward/api/apitest"
	densitymaps "levinward/api/maps"
	"levinward/api/shelf"
	"levinward/geo"
	"levinward/risk"
	"levinward/store"
)

func init() { openapi3filter.RegisterBodyDecoder("image/tiff", openapi3filter.FileBodyDecoder) }

type mapList struct {
	Maps []apitest.Map `json:"flash_density_maps"`
}

func listMaps(c *apitest.Client, query string) (l mapList, a *apitest.Answer) {
	a = c.Get("/v1/flash-density-maps" + query).Want(http.StatusOK)
	a.JSON(&l)
	return l, a
}

// referenceRows reads longitude, latitude and value of a reference file.
func referenceRows(t testing.TB, name string) (rows [][3]float64) {
	t.Helper()
	lines := bufio.NewScanner(bytes.NewReader(apitest.File(t, "testdata/reference/"+name)))
	lines.Scan() // names of the columns
	for lines.Scan() {
		var row [3]float64
		for i, text := range strings.Split(lines.Text(), ",") {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			row[i] = v
		}
		rows = append(rows, row)
	}
	return rows
}

// N_G of results and samples is that of GDAL.
// Source: gdalwarp -r bilinear and -r near of GDAL 3.6.2, geo/testdata/densitymap/make.sh.
func TestMapsAgreeWithReference(t *testing.T) {
	values, cells := referenceRows(t, "densitymap-bilinear.csv"), referenceRows(t, "densitymap-cell.csv")
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		for _, f := range []struct{ file, media string }{
			{"invented.asc", "text/plain"}, {"invented.csv", "text/csv; charset=utf-8"}, {"float32-lzw.tif", "image/tiff"},
			{"float64-deflate-floating.tif", "application/octet-stream"},
		} {
			var m apitest.Map
			a := apitest.SendMap(c, apitest.DensityFile(t, f.file), f.media, apitest.MapQuery()).Want(http.StatusCreated)
			a.JSON(&m)
			if a.Header.Get("Location") != "/v1/flash-density-maps/"+m.ID {
				t.Errorf("%s: Location %q", f.file, a.Header.Get("Location"))
			}
			gaps := 0
			for i := 0; i < len(values); i += 11 {
				longitude, latitude, want := values[i][0], values[i][1], values[i][2]
				at := fmt.Sprintf("%s/sample?longitude=%v&latitude=%v", a.Header.Get("Location"), longitude, latitude)
				if cells[i][2] == -9999 {
					gaps++
					p := c.Get(at).Want(http.StatusUnprocessableEntity).Problem()
					if p.Kind() != "no-map-value" || !strings.Contains(p.Detail, "cell at row ") {
						t.Errorf("%s: %s, %s", at, p.Type, p.Detail)
					}
					continue
				}
				var sample struct {
					NG    float64 `json:"ground_flashes_per_km2_year"`
					Value float64
					Note  string
				}
				c.Get(at).Want(http.StatusOK).JSON(&sample)
				var result apitest.DensityUsed
				c.Post("/v1/calculations", apitest.Mapped(t, m.ID, longitude, latitude)).Want(http.StatusOK).JSON(&result)
				if math.Abs(sample.NG-want) > 2e-6*want || sample.NG != sample.Value || result.Used.NG != sample.NG {
					t.Errorf("%s: sample %v, result %v, want %v (%s)", at, sample.NG, result.Used.NG, want, sample.Note)
				}
			}
			if gaps == 0 {
				t.Error("the reference does not try positions without data")
			}
		}
	})
}

// The figures of invented.asc, counted in the file.
func TestMapIsDescribed(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		a := apitest.SendMap(c, apitest.DensityFile(t, "invented.asc"), "text/plain",
			apitest.MapQuery("from_year", "2024", "to_year", "2025", "licence_note", "invented: free")).Want(http.StatusCreated)
		var m apitest.Map
		a.JSON(&m)
		if g := (geo.DensityGrid{Columns: 12, Rows: 9, West: 10.5, North: 0.75, CellWidth: 0.25, CellHeight: 0.25}); m.Grid != g {
			t.Errorf("grid %+v, want %+v", m.Grid, g)
		}
		if e := m.Extent; e.West != 10.5 || e.South != -1.5 || e.East != 13.5 || e.North != 0.75 {
			t.Errorf("extent %+v", e)
		}
		if m.Values.Min != float64(float32(3.23)) || m.Values.Max != float64(float32(22.10)) || math.Abs(m.NoData-4./108) > 1e-15 {
			t.Errorf("values %+v, no data %v", m.Values, m.NoData)
		}
		said := strings.Join(m.Cautions, "\n") // the clock stands in 2031
		for _, word := range []string{"mean over its cells", "2025, 6 years back", "cover 2 years", "3.7 % of the cells"} {
			if !strings.Contains(said, word) {
				t.Errorf("no caution says %q: %s", word, said)
			}
		}
		got := c.Get("/v1/flash-density-maps/" + m.ID).Want(http.StatusOK)
		if !bytes.Equal(got.Body, a.Body) {
			t.Errorf("read back\n%s\nstored\n%s", got.Body, a.Body)
		}
		if l, _ := listMaps(c, ""); len(l.Maps) != 1 || l.Maps[0].ID != m.ID {
			t.Errorf("listed %+v", l)
		}
	})
}

func TestAssessmentsTakeNGFromMaps(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		ground := apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"))
		total := apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"), "kind", "total_flashes_per_km2_year", "cloud_to_ground_ratio",
			"3", "to_year", "2020")
		days := apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"), "kind", "thunderstorm_days_per_year", "relation", "power", "name",
			"Tage \"Ö\"")
		const longitude, latitude = 11.375, 0.125 // the centre of the cell in row 3, column 4: 12.15
		const value = 12.15
		for _, test := range []struct {
			m        apitest.Map
			ng       float64
			derived  bool
			relation string
			year     int
			note     []string
		}{
			{ground, value, false, "", 2029, []string{"ground flashes per km2 and year 12.15, interpolated around row 3, column 4", "2012 to 2029"}},
			{total, value / 4, true, "N_G = N_T/(1+Z), Z = 3", 2020, []string{"total flashes per km2 and year 12.15", "N_G = N_T/(1+Z), Z = 3"}},
			{days, 0.04 * math.Pow(value, 1.25), true, "N_G = 0.04 T_D^1.25", 2029, []string{"days with thunder per year 12.15"}},
		} {
			s, a := apitest.Create(c, apitest.Mapped(t, test.m.ID, longitude, latitude))
			var got apitest.DensityUsed
			a.JSON(&got)
			u := got.Used
			if math.Abs(u.NG-test.ng) > 1e-6*test.ng || u.Origin != "map" || u.Derived != test.derived || u.Relation != test.relation ||
				u.Year != test.year || u.Map != test.m.ID {
				t.Errorf("%+v, want N_G %v, derived %v, %q, %d", u, test.ng, test.derived, test.relation, test.year)
			}
			if want := "invented network (map " + strconv.Quote(test.m.Name) + ")"; u.Source != want {
				t.Errorf("source %q, want %q", u.Source, want)
			}
			for _, words := range test.note {
				if !strings.Contains(u.Note, words) {
					t.Errorf("the note lacks %q: %s", words, u.Note)
				}
			}
			// Five years after the end of the last year of the map (IEC 62858, value from memory).
			if want := strconv.Itoa(test.year+6) + "-01-01"; got.ReviewDue != want {
				t.Errorf("review due %s, want %s", got.ReviewDue, want)
			}
			if weak := strings.Contains(string(a.Body), "weak relation"); weak != test.derived {
				t.Errorf("derived %v, warned %v", test.derived, weak)
			}
			var sheet struct {
				Steps []struct {
					Symbol, Pointer, Note string
					Value                 float64
				}
			}
			c.Get("/v1/assessments/" + s.ID + "/worksheet").Want(http.StatusOK).JSON(&sheet)
			if !slices.ContainsFunc(sheet.Steps, func(step struct {
				Symbol, Pointer, Note string
				Value                 float64
			}) bool {
				return step.Symbol == "N_G" && step.Pointer == "/flash_density/map" && step.Note == u.Note && step.Value == u.NG
			}) {
				t.Errorf("no step of the worksheet takes N_G from the map")
			}

			// A stored result does not need its map.
			c.Delete("/v1/flash-density-maps/" + test.m.ID).Want(http.StatusNoContent)
			if again := c.Get("/v1/assessments/" + s.ID).Want(http.StatusOK); !bytes.Equal(again.Body, a.Body) {
				t.Error("the result changed when its map went")
			}
			p := c.Patch("/v1/assessments/"+s.ID+"/revisions", `{"reference": "again"}`).Want(http.StatusUnprocessableEntity).Problem()
			if len(p.Errors) != 1 || *p.Errors[0].Pointer != "/flash_density/map" || p.Errors[0].Rule != string(risk.RuleUnknownReference) {
				t.Errorf("re-assessed without its map: %+v", p)
			}
		}
	})
}

// A review is due five years after the end of the last year of the data (IEC 62858, from memory): 2029 gives 2035-01-01.
func TestMergePatchToAMapAndBack(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		m := apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"))
		body := apitest.Changed(t, apitest.Smallest(t), map[string]any{"/location": map[string]any{"longitude": 11.4, "latitude": 0.1},
			"/flash_density": map[string]any{"ground_flashes_per_km2_year": 6.5, "source": "lightning location data (invented)", "year": 2024}})
		s, first := apitest.Create(c, body)
		at := "/v1/assessments/" + s.ID + "/revisions"
		var before, on, back apitest.DensityUsed
		first.JSON(&before)
		c.Patch(at, `{"flash_density": {"map": "`+m.ID+`"}}`).Want(http.StatusUnprocessableEntity) // two of them
		c.Patch(at, `{"flash_density": {"map": "`+m.ID+`", "ground_flashes_per_km2_year": null}}`).Want(http.StatusCreated).JSON(&on)
		if u := on.Used; u.Origin != "map" || u.NG == 6.5 || u.Year != 2029 || on.ReviewDue != "2035-01-01" ||
			!strings.Contains(u.Note, `not used: source "lightning location data (invented)" and year 2024`) {
			t.Errorf("on the map: %+v, %s", u, on.ReviewDue)
		}
		c.Patch(at, `{"flash_density": {"map": null, "ground_flashes_per_km2_year": 6.5}}`).Want(http.StatusCreated).JSON(&back)
		if back != before {
			t.Errorf("back %+v\nbefore %+v", back, before)
		}
		var changes struct {
			Inputs []struct{ Pointer string }
		}
		c.Get("/v1/assessments/" + s.ID + "/changes?from=1&to=2").Want(http.StatusOK).JSON(&changes)
		if len(changes.Inputs) != 2 {
			t.Errorf("changes %+v", changes)
		}
	})
}

// refusedMaps are files with a fault, what kind of fault it is, and words that say where.
func refusedMaps(t testing.TB) map[string]struct {
	file  []byte
	code  geo.DensityMapFaultCode
	words string
} {
	asc, tif := apitest.DensityFile(t, "invented.asc"), apitest.DensityFile(t, "float32-lzw.tif")
	type refused = struct {
		file  []byte
		code  geo.DensityMapFaultCode
		words string
	}
	edit := func(old, with string) []byte { return []byte(strings.Replace(string(asc), old, with, 1)) }
	return map[string]refused{
		"nothing":             {nil, geo.DensityFaultFormat, "empty"},
		"another form":        {[]byte("%PDF-1.4"), geo.DensityFaultFormat, "ASCII grid"},
		"an archive":          {[]byte("PK\x03\x04...."), geo.DensityFaultFormat, "unpack"},
		"no such header":      {edit("cellsize 0.25", "cellsize quarter"), geo.DensityFaultHeader, "line 5"},
		"a header twice":      {edit("nrows 9", "ncols 12"), geo.DensityFaultHeader, "line 2"},
		"no columns":          {edit("ncols 12", "ncols 0"), geo.DensityFaultHeader, "ncols 0"},
		"metres":              {edit("xllcorner 10.5", "xllcorner 500000"), geo.DensityFaultGeoreference, "degrees"},
		"beyond the pole":     {edit("yllcorner -1.5", "yllcorner 89"), geo.DensityFaultGeoreference, "latitude"},
		"a word for a value":  {edit("15.49", "fifteen"), geo.DensityFaultValue, "row 2, column 3"},
		"a negative value":    {edit("15.49", "-3"), geo.DensityFaultValue, "row 2, column 3"},
		"another quantity":    {edit("15.49", "4000"), geo.DensityFaultValue, "implausible"},
		"a grid cut off":      {asc[:len(asc)-40], geo.DensityFaultTruncated, ""},
		"a grid too long":     {append(slices.Clone(asc), "1 2 3\n"...), geo.DensityFaultSurplus, ""},
		"a grid too large":    {edit("ncols 12", "ncols 20000000"), geo.DensityFaultTooLarge, "cells are allowed"},
		"a raster cut off":    {tif[:len(tif)/2], geo.DensityFaultTruncated, ""},
		"a projection":        {apitest.DensityFile(t, "refused-projected.tif"), geo.DensityFaultGeoreference, ""},
		"another datum":       {apitest.DensityFile(t, "refused-datum.tif"), geo.DensityFaultGeoreference, ""},
		"two bands":           {apitest.DensityFile(t, "refused-two-bands.tif"), geo.DensityFaultUnsupported, ""},
		"a turned grid":       {apitest.DensityFile(t, "refused-rotated.tif"), geo.DensityFaultGeoreference, ""},
		"points off a grid":   {[]byte("longitude,latitude,value\n1,1,5\n2,1,5\n2.3,1,5\n1,2,5\n"), geo.DensityFaultIrregular, "line"},
		"a cell twice":        {[]byte("longitude,latitude,value\n1,1,5\n2,1,5\n2,1,6\n1,2,5\n2,2,5\n"), geo.DensityFaultDuplicate, "line"},
		"coordinates swapped": {[]byte("longitude,latitude,value\n1,100,5\n2,101,5\n"), geo.DensityFaultPosition, "line 2"},
		"no value at all":     {[]byte("ncols 2\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n-9999 -9999\n"), geo.DensityFaultNoValues, ""},
	}
}

func TestRefusedMapsLeaveNothing(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		for name, test := range refusedMaps(t) {
			p := apitest.SendMap(c, test.file, "application/octet-stream", apitest.MapQuery()).Want(http.StatusUnprocessableEntity).Problem()
			if p.Kind() != "invalid-map" || len(p.Errors) == 0 || !strings.Contains(p.Detail, "nothing was stored") {
				t.Errorf("%s: %+v", name, p)
				continue
			}
			if f := p.Errors[0]; f.Rule != string(test.code) || !strings.Contains(f.Reason, test.words) || !strings.Contains(f.Reason, ": ") ||
				*f.Pointer != "" {
				t.Errorf("%s: %s: %s, want %s with %q", name, f.Rule, f.Reason, test.code, test.words)
			}
		}
		// However many faults there are, the answer stays short.
		p := apitest.SendMap(c, bytes.ReplaceAll(apitest.DensityFile(t, "invented.asc"), []byte("."), []byte(",")), "text/plain",
			apitest.MapQuery()).Want(http.StatusUnprocessableEntity).Problem()
		if len(p.Errors) > 20 || !strings.Contains(p.Detail, "the first ") {
			t.Errorf("%d faults, %s", len(p.Errors), p.Detail)
		}
		if l, _ := listMaps(c, ""); len(l.Maps) != 0 {
			t.Errorf("stored: %+v", l)
		}
	})
}

func TestParametersOfMaps(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		for name, test := range map[string]struct {
			changes []string
			want    string // the parameters at fault
		}{
			"nothing given":           {[]string{"name", "", "kind", "", "from_year", "", "to_year", "", "source", ""}, "from_year kind name source to_year"},
			"kind of nothing":         {[]string{"kind", "flashes"}, "kind"},
			"total without a ratio":   {[]string{"kind", "total_flashes_per_km2_year"}, "cloud_to_ground_ratio"},
			"a ratio of 0":            {[]string{"kind", "total_flashes_per_km2_year", "cloud_to_ground_ratio", "0"}, "cloud_to_ground_ratio"},
			"a ratio of ground":       {[]string{"cloud_to_ground_ratio", "3"}, "cloud_to_ground_ratio"},
			"a ratio of 0 for ground": {[]string{"cloud_to_ground_ratio", "0"}, "cloud_to_ground_ratio"},
			"no number":               {[]string{"kind", "total_flashes_per_km2_year", "cloud_to_ground_ratio", "three"}, "cloud_to_ground_ratio"},
			"not a number":            {[]string{"kind", "total_flashes_per_km2_year", "cloud_to_ground_ratio", "NaN"}, "cloud_to_ground_ratio"},
			"too large a ratio":       {[]string{"kind", "total_flashes_per_km2_year", "cloud_to_ground_ratio", "20.1"}, "cloud_to_ground_ratio"},
			"days without a relation": {[]string{"kind", "thunderstorm_days_per_year"}, "relation"},
			"an unknown relation":     {[]string{"kind", "thunderstorm_days_per_year", "relation", "cubic"}, "relation"},
			"a relation of ground":    {[]string{"relation", "linear"}, "relation"},
			"years the wrong way":     {[]string{"from_year", "2030"}, "to_year"},
			"years of no calendar":    {[]string{"from_year", "12", "to_year", "2020.5"}, "from_year to_year"},
			"texts too long":          {[]string{"name", strings.Repeat("n", 201), "source", strings.Repeat("s", 501), "licence_note", strings.Repeat("l", 2001)}, "licence_note name source"},
			"control characters":      {[]string{"name", "a\x00b", "source", "a\nb", "licence_note", "\xff"}, "licence_note name source"},
			"only spaces":             {[]string{"name", "  ", "source", " "}, "name source"},
			"an unknown parameter":    {[]string{"unit", "km2"}, "unit"},
		} {
			p := apitest.SendMap(c, apitest.DensityFile(t, "invented.asc"), "text/plain",
				apitest.MapQuery(test.changes...)).Want(http.StatusBadRequest).Problem()
			var got []string
			for _, f := range p.Errors {
				got = append(got, f.Parameter)
			}
			slices.Sort(got)
			if p.Kind() != "bad-parameter" || strings.Join(got, " ") != test.want {
				t.Errorf("%s: %s, %v, want %s", name, p.Type, p.Errors, test.want)
			}
		}
		apitest.SendMap(c, apitest.DensityFile(t, "invented.asc"), "text/plain", apitest.MapQuery()+"&name=again").Want(http.StatusBadRequest)
		apitest.SendMap(c, apitest.DensityFile(t, "invented.asc"), "application/json", apitest.MapQuery()).Want(http.StatusUnsupportedMediaType)
		apitest.SendMap(c, apitest.DensityFile(t, "invented.asc"), "", apitest.MapQuery()).Want(http.StatusUnsupportedMediaType)
		c.Do(http.MethodPost, apitest.MapQuery(), apitest.DensityFile(t, "invented.asc"), "Content-Type", "text/plain", "Content-Encoding",
			"gzip").Want(http.StatusUnsupportedMediaType)
		if l, _ := listMaps(c, ""); len(l.Maps) != 0 {
			t.Errorf("stored: %+v", l)
		}

		m := apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"))
		at := "/v1/flash-density-maps/" + m.ID + "/sample"
		for query, want := range map[string]int{
			"": 2, "?longitude=11": 1, "?longitude=11&latitude=91": 1, "?longitude=-181&latitude=x": 2, "?longitude=NaN&latitude=0": 1,
			"?longitude=0x1p3&latitude=0":       1,
			"?longitude=11&latitude=0&height=3": 1,
		} {
			if p := c.Get(at + query).Want(http.StatusBadRequest).Problem(); len(p.Errors) != want {
				t.Errorf("%s: %+v", query, p.Errors)
			}
		}
		if p := c.Get(at + "?longitude=0.5&latitude=11").Want(http.StatusUnprocessableEntity).Problem(); !strings.Contains(p.Detail,
			"longitude 10.5 to 13.5") {
			t.Errorf("outside: %+v", p)
		}
	})
}

func TestMapsThatAreNotThere(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		for _, id := range []string{"01963b1c-6c00-7d3a-9c41-5be0c7b8a2f1", "no-uuid"} {
			for _, a := range []*apitest.Answer{
				c.Get("/v1/flash-density-maps/" + id), c.Get("/v1/flash-density-maps/" + id + "/sample?longitude=1&latitude=1"),
				c.Delete("/v1/flash-density-maps/" + id),
			} {
				if p := a.Want(http.StatusNotFound).Problem(); p.Detail != "there is no such flash-density map" {
					t.Errorf("%s", p.Detail)
				}
			}
		}
		m := apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"))
		at := "/v1/flash-density-maps/" + strings.ToUpper(m.ID) // UUIDs are read in either case
		c.Get(at + "/sample?longitude=11.4&latitude=0.1").Want(http.StatusOK)
		c.Delete(at).Want(http.StatusNoContent)
		c.Get(at).Want(http.StatusNotFound)
		c.Get(at + "/sample?longitude=11.4&latitude=0.1").Want(http.StatusNotFound)
	})
}

// TestFaultsOfMapsInInputs also demands that what follows from another fault is not named.
func TestFaultsOfMapsInInputs(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		m := apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"))
		calm := apitest.UploadMap(c, []byte("ncols 3\nnrows 1\nxllcorner 10\nyllcorner 0\ncellsize 1\n0 0.005 99\n"))
		const lon, lat = "/location/longitude", "/location/latitude"
		for name, test := range map[string]struct {
			body []byte
			want []apitest.PlacedFault
			say  string
		}{
			"unknown":         {apitest.Mapped(t, "01963b1c-6c00-7d3a-9c41-5be0c7b8a2f1", 11.4, 0.1), apitest.BrokenAt(risk.RuleUnknownReference, "/flash_density/map"), "there is no flash-density map"},
			"no id of a map":  {apitest.Mapped(t, "west hills", 11.4, 0.1), apitest.BrokenAt(risk.RuleUnknownReference, "/flash_density/map"), `"west hills"`},
			"outside":         {apitest.Mapped(t, m.ID, 20, 0.1), apitest.BrokenAt(risk.RuleNoMapValue, "/flash_density/map"), "longitude 10.5 to 13.5"},
			"no data":         {apitest.Mapped(t, m.ID, 11.875, -0.125), apitest.BrokenAt(risk.RuleNoMapValue, "/flash_density/map"), "cell at row 4, column 6"},
			"no flash":        {apitest.Mapped(t, calm.ID, 10.2, 0.5), apitest.BrokenAt(risk.RuleNoMapValue, "/flash_density/map"), "no flash at all"},
			"too few":         {apitest.Mapped(t, calm.ID, 11.5, 0.5), apitest.BrokenAt(risk.RuleOutOfRange, "/flash_density/map"), "0.005"},
			"two densities":   {apitest.Changed(t, apitest.Mapped(t, m.ID, 11.4, 0.1), apitest.Values{"/flash_density/ground_flashes_per_km2_year": 5}), apitest.BrokenAt(risk.RuleContradiction, "/flash_density"), "exactly one"},
			"a relation":      {apitest.Changed(t, apitest.Mapped(t, m.ID, 11.4, 0.1), apitest.Values{"/flash_density/relation": "linear"}), apitest.BrokenAt(risk.RuleNotApplicable, "/flash_density/relation"), ""},
			"no text":         {apitest.Changed(t, apitest.Mapped(t, m.ID, 11.4, 0.1), apitest.Values{"/flash_density/map": 5}), apitest.FaultsAt("/flash_density/map"), "text"},
			"no place":        {apitest.Changed(t, apitest.Mapped(t, m.ID, 11.4, 0.1), apitest.Values{lat: 91}), apitest.FaultsAt(lat), ""},
			"no place at all": {apitest.Changed(t, apitest.Mapped(t, m.ID, 11.4, 0.1), apitest.Values{"/location": apitest.Nothing{}}), apitest.FaultsAt("/location"), ""},
			"many faults": {apitest.Changed(t, apitest.Mapped(t, m.ID, 20, 0.1),
				apitest.Values{"/structures/0/id": "", "/wind": 1, "/structures/0/height_m": 1e-4}),
				append(append(apitest.FaultsAt("/structures/0/id", "/wind"), apitest.BrokenAt(risk.RuleNoMapValue, "/flash_density/map")...),
					apitest.BrokenAt(risk.RuleOutOfRange, "/structures/0/height_m")...), ""},
			"no place, no map": {apitest.Changed(t, apitest.Mapped(t, "none", 11.4, 0.1), apitest.Values{lon: "east"}), append(apitest.FaultsAt(lon), apitest.BrokenAt(risk.RuleUnknownReference, "/flash_density/map")...), ""},
		} {
			for _, path := range []string{"/v1/calculations", "/v1/assessments"} {
				p := c.Post(path, test.body).Want(http.StatusUnprocessableEntity).Problem()
				got := map[string]bool{}
				for _, f := range p.Errors {
					got[apitest.PlacedFault{Pointer: *f.Pointer, Rule: risk.Rule(f.Rule)}.String()] = true
				}
				want := map[string]bool{}
				for _, f := range test.want {
					want[f.String()] = true
				}
				if !maps.Equal(got, want) || !strings.Contains(fmt.Sprint(p.Errors), test.say) {
					t.Errorf("%s: %v, want %v with %q", name, p.Errors, test.want, test.say)
				}
			}
		}
		if l, _ := apitest.GetList(c, ""); len(l.Assessments) != 0 {
			t.Errorf("stored: %v", l.Names())
		}
	})
}

func TestMapLists(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		var names []string
		for i := range 7 {
			name := fmt.Sprint("map ", i)
			apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"), "name", name)
			names = append([]string{name}, names...)
		}
		var got []string
		for query := "?limit=3"; query != ""; {
			l, a := listMaps(c, query)
			for _, m := range l.Maps {
				got = append(got, m.Name)
			}
			_, link, _ := strings.Cut(a.Header.Get("Link"), "?")
			link, _, more := strings.Cut(link, ">")
			if query = ""; more {
				query = "?" + link
			}
		}
		if !slices.Equal(got, names) {
			t.Errorf("%v, want %v", got, names)
		}
		c.Get("/v1/flash-density-maps?limit=0").Want(http.StatusBadRequest)
		c.Get("/v1/flash-density-maps?cursor=x").Want(http.StatusBadRequest)
		c.Get("/v1/flash-density-maps?q=x").Want(http.StatusBadRequest)
	})
}

// A body is cut off at the limit whether it says its length or not, and costs no more memory than that.
func TestMapsAreBounded(t *testing.T) {
	limits := api.Limits{Maps: geo.DensityMapLimits{MaxCells: 200, MaxPoints: 100, MaxBytes: 1 << 20}, MapMemory: 1 << 20}
	server := apitest.NewServerWith(t, api.Config{Store: apitest.OpenSQLite(t), Limits: limits})
	c := apitest.NewClient(t, server)
	asc := apitest.DensityFile(t, "invented.asc")
	long := append(slices.Clone(asc), bytes.Repeat([]byte(" "), 1<<20)...)
	p := apitest.SendMap(c, long, "text/plain", apitest.MapQuery()).Want(http.StatusRequestEntityTooLarge).Problem()
	if p.Detail != "at most 1048576 bytes" {
		t.Error(p.Detail)
	}
	unsized := func(r *http.Request) *http.Request {
		r.Body, r.ContentLength = struct{ io.ReadCloser }{r.Body}, -1
		return r
	}
	c.Send(long, unsized, http.MethodPost, apitest.MapQuery(), "Content-Type", "text/plain").Want(http.StatusRequestEntityTooLarge)
	c.Send(asc, unsized, http.MethodPost, apitest.MapQuery(), "Content-Type", "text/plain").Want(http.StatusCreated)
	p = apitest.SendMap(c, bytes.Replace(asc, []byte("ncols 12"), []byte("ncols 23"), 1), "text/plain",
		apitest.MapQuery()).Want(http.StatusUnprocessableEntity).Problem()
	if p.Errors[0].Rule != string(geo.DensityFaultTooLarge) {
		t.Errorf("too many cells: %+v", p.Errors)
	}
	if l, _ := listMaps(c, ""); len(l.Maps) != 1 {
		t.Errorf("stored: %+v", l)
	}
}

// A client that goes away in the middle of its upload leaves nothing behind.
func TestUploadBrokenOff(t *testing.T) {
	s := apitest.OpenSQLite(t)
	base := apitest.Start(t, apitest.NewServer(t, s))
	asc := apitest.DensityFile(t, "invented.asc")
	for _, sent := range []int{0, 10, 200, len(asc) - 1} {
		conn, err := net.Dial("tcp", strings.TrimPrefix(base, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: test\r\nContent-Type: text/plain\r\nContent-Length: %d\r\n\r\n%s", apitest.MapQuery(),
			len(asc), asc[:sent])
		if err := conn.(*net.TCPConn).CloseWrite(); err != nil {
			t.Fatal(err)
		}
		answer, err := io.ReadAll(conn)
		if err != nil || bytes.HasPrefix(answer, []byte("HTTP/1.1 2")) {
			t.Errorf("after %d bytes: %v, %.200s", sent, err, answer)
		}
		conn.Close()
	}
	if page, err := s.ListDensityMaps(t.Context(), store.Local, 0, ""); err != nil || len(page.Maps) != 0 {
		t.Errorf("stored: %+v, %v", page, err)
	}
}

func TestUploadsWaitForTheirTurn(t *testing.T) {
	slots := make(chan struct{}, 1)
	db := apitest.OpenSQLite(t)
	service := densitymaps.Service{Store: db, Maps: shelf.New(db, shelf.DefaultRoom), Now: time.Now, Limits: geo.DefaultDensityMapLimits,
		Slots: slots}
	handler := echo.New()
	service.Routes(handler)
	server := httptest.NewServer(handler)
	t.Cleanup(server.Close)
	c := apitest.New(t, server.URL, apitest.Contract(t).YAML)
	slots <- struct{}{}
	var wait sync.WaitGroup
	wait.Go(func() { apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc")) })
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond) // a client that does not wait
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, server.URL+apitest.MapQuery(),
		bytes.NewReader(apitest.DensityFile(t, "invented.asc")))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := http.DefaultClient.Do(r); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("answered while every place was taken: %v", err)
	}
	<-slots
	wait.Wait()
	if l, _ := listMaps(c, ""); len(l.Maps) != 1 {
		t.Errorf("stored: %+v", l)
	}
}

// Replicas agree on which maps there are, whatever each has in memory.
func TestMapsOnReplicas(t *testing.T) {
	s := apitest.OpenPostgres(t)
	one, other := apitest.NewClient(t, apitest.NewServer(t, s)), apitest.NewClient(t, apitest.NewServer(t, s))
	m := apitest.UploadMap(one, apitest.DensityFile(t, "invented.asc"))
	at := "/v1/flash-density-maps/" + m.ID + "/sample?longitude=11.4&latitude=0.1"
	if a, b := one.Get(at).Want(http.StatusOK), other.Get(at).Want(http.StatusOK); !bytes.Equal(a.Body, b.Body) {
		t.Errorf("%s\n%s", a.Body, b.Body)
	}
	other.Delete("/v1/flash-density-maps/" + m.ID).Want(http.StatusNoContent)
	one.Get(at).Want(http.StatusNotFound)
	one.Post("/v1/calculations", apitest.Mapped(t, m.ID, 11.4, 0.1)).Want(http.StatusUnprocessableEntity)
}

// The site lies in the centre of a cell of 12.15 in the file; thunderstorm days count a tenth
// (IEC 62305-2:2010, A.1, read in a secondary source).
func TestMapsOfManyAtOnce(t *testing.T) {
	for name, open := range apitest.Stores() {
		t.Run(name, func(t *testing.T) {
			limits := api.Limits{MapMemory: 5000} // one map in memory: every other use loads
			server := apitest.NewServerWith(t, api.Config{Store: open(t), Limits: limits})
			c := apitest.NewClient(t, server)
			first, second := apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc")),
				apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"), "kind", "thunderstorm_days_per_year", "relation", "linear")
			want := map[string]float64{first.ID: 12.15, second.ID: 1.215}
			apitest.Together(16, func(i int) {
				for n := range 6 {
					id := []string{first.ID, second.ID}[(i+n)%2]
					var got apitest.DensityUsed
					c.Post("/v1/calculations", apitest.Mapped(t, id, 11.375, 0.125)).JSON(&got)
					if math.Abs(got.Used.NG-want[id]) > 1e-6 {
						t.Errorf("N_G %v, want %v", got.Used.NG, want[id])
					}
					brief := apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"))
					if a := c.Delete("/v1/flash-density-maps/" + brief.ID); a.Status != http.StatusNoContent {
						t.Errorf("status %d", a.Status)
					}
				}
			})
			if l, _ := listMaps(c, ""); len(l.Maps) != 2 {
				t.Errorf("%d maps are left", len(l.Maps))
			}
		})
	}
}

// noMapStore is a store whose maps are away.
type noMapStore struct{ store.Store }

func (noMapStore) DensityMap(context.Context, store.Organisation, string) (store.DensityMap, error) {
	return store.DensityMap{}, store.ErrUnavailable
}

func (noMapStore) CreateDensityMap(context.Context, store.Organisation, store.DensityMap, io.Reader) (store.DensityMap, error) {
	return store.DensityMap{}, store.ErrUnavailable
}

func TestMapsAway(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, noMapStore{apitest.OpenSQLite(t)}))
	const id = "01963b1c-6c00-7d3a-9c41-5be0c7b8a2f1"
	apitest.SendMap(c, apitest.DensityFile(t, "invented.asc"), "text/plain", apitest.MapQuery()).Want(http.StatusServiceUnavailable)
	c.Post("/v1/calculations", apitest.Mapped(t, id, 1, 1)).Want(http.StatusServiceUnavailable)
	c.Post("/v1/assessments", apitest.Mapped(t, id, 1, 1)).Want(http.StatusServiceUnavailable)
	c.Get("/v1/flash-density-maps/" + id + "/sample?longitude=1&latitude=1").Want(http.StatusServiceUnavailable)
	if l, _ := apitest.GetList(c, ""); len(l.Assessments) != 0 {
		t.Errorf("stored: %v", l.Names())
	}
}

// damaged is a store that lost a byte of every map.
type damaged struct{ store.Store }

func (d damaged) DensityMapContent(ctx context.Context, org store.Organisation, id string) (io.Reader, error) {
	r, err := d.Store.DensityMapContent(ctx, org, id)
	if err != nil {
		return nil, err
	}
	b, err := io.ReadAll(r)
	b[len(b)-40] ^= 1
	return bytes.NewReader(b), err
}

func TestDamagedMapGivesNoNumber(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, damaged{apitest.OpenSQLite(t)}))
	m := apitest.UploadMap(c, apitest.DensityFile(t, "invented.asc"))
	c.Get("/v1/flash-density-maps/" + m.ID).Want(http.StatusOK)
	c.Get("/v1/flash-density-maps/" + m.ID + "/sample?longitude=11.4&latitude=0.1").Want(http.StatusInternalServerError)
	c.Post("/v1/calculations", apitest.Mapped(t, m.ID, 11.4, 0.1)).Want(http.StatusInternalServerError)
}

// The examples of the contract are maps.
func TestMapExamplesOfTheContract(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	for media, content := range c.Document().Paths.Value("/v1/flash-density-maps").Post.RequestBody.Value.Content {
		if example, ok := content.Example.(string); ok {
			var m apitest.Map
			apitest.SendMap(c, []byte(example), media, apitest.MapQuery()).Want(http.StatusCreated).JSON(&m)
			if m.Grid != (geo.DensityGrid{Columns: 2, Rows: 2, West: 83, North: -2, CellWidth: 0.5, CellHeight: 0.5}) {
				t.Errorf("%s: %+v", media, m.Grid)
			}
			continue
		}
		if media == "text/csv" || media == "text/plain" {
			t.Errorf("%s has no example", media)
		}
	}
	for _, r := range []string{"201", "422"} {
		if b, err := json.Marshal(c.Document().Paths.Value("/v1/flash-density-maps").Post.Responses.Value(r)); err != nil ||
			!bytes.Contains(b, []byte("example")) {
			t.Errorf("%s has no example: %v", r, err)
		}
	}
}

// FuzzMapUpload sends any file with any parameters: it is stored whole and can be sampled, or refused and leaves nothing.
func FuzzMapUpload(f *testing.F) {
	for _, name := range []string{"invented.asc", "invented.csv", "float32-lzw.tif", "refused-projected.tif"} {
		f.Add(strings.SplitAfter(apitest.MapQuery(), "?")[1], apitest.DensityFile(f, name))
	}
	f.Add("kind=total_flashes_per_km2_year&cloud_to_ground_ratio=1e308&from_year=-1&to_year=99999999999999999999&name=%00&source=%ff",
		[]byte("ncols"))
	f.Add("%zz&;=&name=a&name=b", []byte{})
	s := apitest.OpenSQLite(f)
	limits := api.Limits{Maps: geo.DensityMapLimits{MaxCells: 10_000, MaxPoints: 10_000, MaxBytes: 1 << 20}, MapMemory: 1 << 20}
	server := apitest.NewServerWith(f, api.Config{Store: s, Limits: limits})
	ask := func(method, path string, body []byte) *httptest.ResponseRecorder {
		r := httptest.NewRequest(method, "/v1/flash-density-maps"+path, bytes.NewReader(body))
		r.Header.Set("Content-Type", "application/octet-stream")
		w := httptest.NewRecorder()
		server.ServeHTTP(w, r)
		return w
	}
	f.Fuzz(func(t *testing.T, query string, file []byte) {
		if _, err := url.Parse("?" + query); err != nil || strings.ContainsAny(query, "# \n\r") {
			return // no request at all
		}
		w := ask(http.MethodPost, "?"+query, file)
		if w.Code != http.StatusCreated {
			if !slices.Contains([]int{http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity}, w.Code) {
				t.Fatalf("status %d: %s", w.Code, w.Body)
			}
			if page, err := s.ListDensityMaps(t.Context(), store.Local, 1, ""); err != nil || len(page.Maps) > 0 {
				t.Fatalf("refused, but stored: %v, %v", page, err)
			}
			return
		}
		var m apitest.Map
		if err := json.Unmarshal(w.Body.Bytes(), &m); err != nil {
			t.Fatal(err)
		}
		longitude, latitude := m.Grid.CellCentre(0, 0)
		if code := ask(http.MethodGet, fmt.Sprintf("/%s/sample?longitude=%v&latitude=%v", m.ID, math.Remainder(longitude, 360),
			max(-90, min(90, latitude))), nil).Code; code != http.StatusOK && code != http.StatusUnprocessableEntity {
			t.Fatalf("sampled: status %d", code)
		}
		if code := ask(http.MethodDelete, "/"+m.ID, nil).Code; code != http.StatusNoContent {
			t.Fatalf("deleted: status %d", code)
		}
	})
}
