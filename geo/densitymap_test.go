package geo

import (
	"bufio"
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"pgregory.net/rapid"
)

const (
	densityFixtures  = "testdata/densitymap"
	densityReference = "../testdata/reference"
)

func inventedMeta() DensityMapMeta {
	return DensityMapMeta{Kind: GroundFlashDensity, FromYear: 2015, ToYear: 2024, Source: "invented network", LicenceNote: "invented"}
}

func inventedDays() DensityMapMeta {
	meta := inventedMeta()
	meta.Kind, meta.Relation = ThunderstormDays, LinearThunderstormDays
	return meta
}

func readDensityFixture(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(densityFixtures, name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func mustReadDensity(t testing.TB, data []byte, meta DensityMapMeta) *DensityMap {
	t.Helper()
	m, err := ReadDensityMap(bytes.NewReader(data), meta)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// fixtureField reads invented.asc by splitting it at white space, independently of the reader under test.
func fixtureField(t *testing.T) (values [9][12]float64) {
	t.Helper()
	words := strings.Fields(string(readDensityFixture(t, "invented.asc")))[12:]
	for r := range values {
		for c := range values[r] {
			v, err := strconv.ParseFloat(words[r*12+c], 64)
			if err != nil {
				t.Fatal(err)
			}
			values[r][c] = v
		}
	}
	return values
}

func TestFormatsHoldTheSameField(t *testing.T) {
	want := fixtureField(t)
	files := map[string]float64{"invented.asc": 1, "rewritten.asc": 1, "invented.csv": 1}
	for _, pattern := range []string{"float*.tif", "int16*.tif", "uint*.tif"} {
		names, _ := filepath.Glob(filepath.Join(densityFixtures, pattern))
		if len(names) == 0 {
			t.Fatalf("no fixture %s", pattern)
		}
		for _, name := range names {
			files[filepath.Base(name)] = map[bool]float64{true: 1, false: 10}[strings.HasPrefix(pattern, "float")]
		}
	}
	for name, factor := range files {
		t.Run(name, func(t *testing.T) {
			m := mustReadDensity(t, readDensityFixture(t, name), inventedDays())
			g := m.Grid()
			if g.Columns != 12 || g.Rows != 9 || math.Abs(g.West-10.5) > 1e-9 || math.Abs(g.North-0.75) > 1e-9 ||
				math.Abs(g.CellWidth-0.25) > 1e-9 || math.Abs(g.CellHeight-0.25) > 1e-9 {
				t.Fatalf("grid %+v", g)
			}
			slack := 1e-6 * 25
			if factor != 1 {
				slack = 0.5 + 1e-6 // rounded to whole numbers
			}
			for r := range want {
				for c, w := range want[r] {
					v, ok := m.Cell(c, r)
					if ok != (w != -9999) {
						t.Errorf("row %d column %d: data %v, want %g", r, c, ok, w)
					}
					if ok && math.Abs(v-factor*w) > slack {
						t.Errorf("row %d column %d: %g, want %g", r, c, v, factor*w)
					}
				}
			}
		})
	}
}

// The formula is that of make.sh; the file needs LZW codes of 9 to 12 bits and several tables.
func TestLongLZWData(t *testing.T) {
	m := mustReadDensity(t, readDensityFixture(t, "noise-uint8-lzw.tif"), inventedDays())
	for r := range 64 {
		for c := range 96 {
			want := float64((r*7919 + c*104729 + r*c*c*31) % 251)
			if v, ok := m.Cell(c, r); !ok || v != want {
				t.Fatalf("row %d column %d: %g %v, want %g", r, c, v, ok, want)
			}
		}
	}
}

// densityReferenceRows reads lines of longitude, latitude, value.
func densityReferenceRows(t *testing.T, name, separator string) [][3]float64 {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(densityReference, name))
	if err != nil {
		t.Fatal(err)
	}
	var rows [][3]float64
	for line := range strings.Lines(string(data)) {
		line = strings.TrimSpace(line)
		if line == "longitude,latitude,value" {
			continue
		}
		var row [3]float64
		for i, field := range strings.Split(line, separator) {
			if row[i], err = strconv.ParseFloat(field, 64); err != nil {
				t.Fatal(err)
			}
		}
		rows = append(rows, row)
	}
	if len(rows) < 5 {
		t.Fatalf("%s has %d rows", name, len(rows))
	}
	return rows
}

// Source: gdalwarp -r bilinear and -r near of GDAL 3.6.2, testdata/densitymap/make.sh.
func TestSamplesAgreeWithReference(t *testing.T) {
	m := mustReadDensity(t, readDensityFixture(t, "float64-strips.tif"), inventedMeta())
	bilinear := densityReferenceRows(t, "densitymap-bilinear.csv", ",")
	cell := densityReferenceRows(t, "densitymap-cell.csv", ",")
	gaps := 0
	for i, row := range bilinear {
		s, err := m.Sample(row[0], row[1])
		if noData := cell[i][2] == -9999; noData != errors.Is(err, ErrDensityNoData) {
			t.Errorf("%g %g: %v, the cell holds %g", row[0], row[1], err, cell[i][2])
		}
		if err != nil {
			gaps++
			continue
		}
		if math.Abs(s.Value-row[2]) > 2e-6*row[2] { // cells are kept in single precision
			t.Errorf("%g %g: %.9g, want %.9g (%s)", row[0], row[1], s.Value, row[2], s.Note)
		}
	}
	if gaps == 0 || gaps == len(bilinear) {
		t.Errorf("%d of %d positions without data: the reference does not try both", gaps, len(bilinear))
	}
}

// Source: gdalwarp -r bilinear on the world put together around the 180th meridian, testdata/densitymap/make.sh.
func TestSamplesAcrossTheSeam(t *testing.T) {
	m := mustReadDensity(t, readDensityFixture(t, "invented-world.asc"), inventedMeta())
	if !m.Grid().Global() {
		t.Fatal("the world is not global")
	}
	for _, row := range densityReferenceRows(t, "densitymap-seam.csv", ",") {
		longitude := row[0]
		if longitude > 180 {
			longitude -= 360
		}
		s, err := m.Sample(longitude, row[1])
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(s.Value-row[2]) > 2e-6*row[2] {
			t.Errorf("%g %g: %.9g, want %.9g", longitude, row[1], s.Value, row[2])
		}
	}
}

// Source: gdallocationinfo of GDAL 3.6.2, testdata/densitymap/make.sh.
func TestCellAtPosition(t *testing.T) {
	m := mustReadDensity(t, readDensityFixture(t, "invented.asc"), inventedMeta())
	for _, row := range densityReferenceRows(t, "densitymap-location.txt", " ") {
		s, err := m.Sample(row[0], row[1])
		if row[2] == -9999 {
			if !errors.Is(err, ErrDensityNoData) || !strings.Contains(err.Error(), "row 4, column 6") {
				t.Errorf("%v: %v", row, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%v: %v", row, err)
			continue
		}
		if v, ok := m.Cell(s.Column, s.Row); !ok || math.Abs(v-row[2]) > 1e-6*row[2] {
			t.Errorf("%v: cell %d %d holds %g", row, s.Column, s.Row, v)
		}
	}
}

// Relations: IEC 62305-2:2010 Annex A.1 (0.1 T_D), ABNT NBR 5419 (0.04 T_D^1.25), and N_T/(1+Z) for optical satellite
// data, as domain/risk.md section 7 of the project's texts gives them. 0.04*16^1.25 = 0.04*32 exactly.
func TestGroundFlashDensityFromEachKind(t *testing.T) {
	grid := "ncols 2\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n16 16\n"
	for _, c := range []struct {
		meta     DensityMapMeta
		want     float64
		derived  bool
		relation string
	}{
		{DensityMapMeta{Kind: GroundFlashDensity}, 16, false, "N_G as mapped"},
		{DensityMapMeta{Kind: TotalFlashDensity, CloudToGroundRatio: 3}, 4, true, "N_G = N_T/(1+Z), Z = 3"},
		{DensityMapMeta{Kind: ThunderstormDays, Relation: LinearThunderstormDays}, 1.6, true, "N_G = 0.1 T_D"},
		{DensityMapMeta{Kind: ThunderstormDays, Relation: PowerThunderstormDays}, 1.28, true, "N_G = 0.04 T_D^1.25"},
	} {
		c.meta.FromYear, c.meta.ToYear, c.meta.Source = 1995, 2014, "invented network"
		s, err := mustReadDensity(t, []byte(grid), c.meta).Sample(1.2, 0.3)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(s.GroundFlashDensity-c.want) > 1e-12 || s.Derived != c.derived || s.Relation != c.relation {
			t.Errorf("%v: %+v", c.meta, s)
		}
		if s.Value != 16 || s.FromYear != 1995 || s.ToYear != 2014 || s.Source != "invented network" || s.Kind != c.meta.Kind || s.Note != "" {
			t.Errorf("%v: %+v", c.meta, s)
		}
	}
}

func TestSampleRefusesPositions(t *testing.T) {
	region := mustReadDensity(t, readDensityFixture(t, "invented.asc"), inventedMeta())
	for _, c := range []struct {
		longitude, latitude float64
		want                error
		says                string
	}{
		{14, 0, ErrDensityOutside, "longitude 10.5 to 13.5, latitude -1.5 to 0.75"},
		{11, 0.76, ErrDensityOutside, "latitude 0.76"},
		{10.49, 0, ErrDensityOutside, ""},
		{10.6, 0.7, ErrDensityNoData, "row 1, column 1 (centre 10.625, 0.625)"},
		{0.5, 91, ErrDensityPosition, "exchanged"},
		{181, 0, ErrDensityPosition, "-180 to 180"},
		{math.NaN(), 0, ErrDensityPosition, ""},
		{0, math.Inf(1), ErrDensityPosition, ""},
	} {
		s, err := region.Sample(c.longitude, c.latitude)
		if !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.says) || s != (DensitySample{}) {
			t.Errorf("%g %g: %v", c.longitude, c.latitude, err)
		}
	}
}

func TestSampleSaysWhichNeighboursAreMissing(t *testing.T) {
	const grid = "ncols 2\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 1\nNODATA_value -1\n"
	for _, c := range []struct {
		cells string
		want  float64 // at a quarter of a cell from the first centre, in both directions
		note  string
	}{
		{"4 8\n12 20", (9*4 + 3*8 + 3*12 + 20) / 16., ""},
		{"4 8\n12 -1", (9*4 + 3*8 + 3*12) / 15., "1 of the 4"},
		{"4 -1\n12 -1", (9*4 + 3*12) / 12., "2 of the 4"},
		{"4 -1\n-1 -1", 4, "3 of the 4"},
	} {
		m := mustReadDensity(t, []byte(grid+c.cells), inventedMeta())
		s, err := m.Sample(0.75, 1.25)
		if err != nil || math.Abs(s.Value-c.want) > 1e-12 || !strings.HasPrefix(s.Note, c.note) || (c.note == "") != (s.Note == "") {
			t.Errorf("%q: %+v %v, want %g", c.cells, s, err, c.want)
		}
		// At the centre itself the neighbours have no weight and are not missed.
		if s, err := m.Sample(0.5, 1.5); err != nil || s.Value != 4 || s.Note != "" {
			t.Errorf("%q: %+v %v at the centre", c.cells, s, err)
		}
	}
}

// A grid counted from 0 to 360, and one whose first and last column are both centred on the 180th meridian.
func TestLongitudesOfOtherOrigins(t *testing.T) {
	row := func(n int) string {
		words := make([]string, n)
		for i := range words {
			words[i] = strconv.Itoa(i % 36)
		}
		return strings.Join(words, " ") + "\n"
	}
	from0 := mustReadDensity(t, []byte("ncols 36\nnrows 1\nxllcorner 0\nyllcorner -5\ncellsize 10\n"+row(36)), inventedMeta())
	overlap := mustReadDensity(t, []byte("ncols 37\nnrows 1\nxllcenter -180\nyllcorner -5\ncellsize 10\n"+row(37)), inventedMeta())
	for _, c := range []struct {
		m                *DensityMap
		longitude, value float64
	}{
		{from0, 15, 1}, {from0, -5, 35}, {from0, -179, 17.6}, {from0, 0, 17.5}, {from0, 180, 17.5}, {from0, -180, 17.5},
		{overlap, 180, 0}, {overlap, -180, 0}, {overlap, -175, 0.5}, {overlap, 175, 17.5}, {overlap, 0, 18}, {overlap, 178, 7},
	} {
		s, err := c.m.Sample(c.longitude, 0)
		if err != nil || math.Abs(s.Value-c.value) > 1e-12 {
			t.Errorf("%v at %g: %g %v, want %g", c.m.Grid(), c.longitude, s.Value, err, c.value)
		}
	}
}

// A cell size printed with few digits must not leave a slit in a world grid.
func TestRoundedCellSizeClosesTheWorld(t *testing.T) {
	g := DensityGrid{Columns: 10800, Rows: 1, West: -180, North: 1, CellWidth: 0.0333333, CellHeight: 1}
	if g.Global() || !g.closed().Global() {
		t.Errorf("%+v", g.closed())
	}
	if half := (DensityGrid{Columns: 3599, Rows: 1, West: -180, North: 1, CellWidth: 0.1, CellHeight: 1}); half.closed().Global() {
		t.Error("a world without its last column was closed")
	}
}

// faultsOf returns the faults of reading data, and fails when it is read.
func faultsOf(t *testing.T, data []byte, meta DensityMapMeta) []DensityMapFault {
	t.Helper()
	m, err := ReadDensityMap(bytes.NewReader(data), meta)
	var content *DensityMapError
	if !errors.As(err, &content) || m != nil {
		t.Fatalf("%v %v", m, err)
	}
	return content.Faults
}

func hasFault(faults []DensityMapFault, code DensityMapFaultCode, where, says string) bool {
	return slices.ContainsFunc(faults, func(f DensityMapFault) bool {
		return f.Code == code && f.Where == where && strings.Contains(f.Detail, says)
	})
}

func TestMetadataFaults(t *testing.T) {
	grid := []byte("ncols 1\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n-5\n")
	meta := DensityMapMeta{Kind: TotalFlashDensity, Relation: "cubic", FromYear: 2030, ToYear: 1492,
		Source: " ", LicenceNote: "\xff"}
	faults := faultsOf(t, grid, meta)
	for _, want := range []DensityMapFault{
		{DensityFaultMetadata, "cloud_to_ground_ratio", "above 0"}, {DensityFaultMetadata, "relation", "only"},
		{DensityFaultMetadata, "to_year", "1800"}, {DensityFaultMetadata, "to_year", "before"},
		{DensityFaultMetadata, "source", "missing"}, {DensityFaultMetadata, "licence_note", "UTF-8"},
		{DensityFaultValue, "line 6, row 1, column 1", "negative"}, // found in the same run
	} {
		if !hasFault(faults, want.Code, want.Where, want.Detail) {
			t.Errorf("%v is not among %v", want, faults)
		}
	}
	for _, c := range []struct {
		change func(*DensityMapMeta)
		field  string
	}{
		{func(m *DensityMapMeta) { m.Kind = "strokes" }, "kind"},
		{func(m *DensityMapMeta) { m.CloudToGroundRatio = 3 }, "cloud_to_ground_ratio"},
		{func(m *DensityMapMeta) { m.Kind, m.CloudToGroundRatio = TotalFlashDensity, 21 }, "cloud_to_ground_ratio"},
		{func(m *DensityMapMeta) { m.Kind, m.CloudToGroundRatio = TotalFlashDensity, math.NaN() }, "cloud_to_ground_ratio"},
		{func(m *DensityMapMeta) { m.Kind = ThunderstormDays }, "relation"},
		{func(m *DensityMapMeta) { m.FromYear = 0 }, "from_year"},
		{func(m *DensityMapMeta) { m.Source = strings.Repeat("x", 501) }, "source"},
		{func(m *DensityMapMeta) { m.LicenceNote = strings.Repeat("x", 2001) }, "licence_note"},
	} {
		meta := inventedMeta()
		c.change(&meta)
		if faults := faultsOf(t, readDensityFixture(t, "invented.asc"), meta); len(faults) != 1 || !hasFault(faults, DensityFaultMetadata,
			c.field, "") {
			t.Errorf("%s: %v", c.field, faults)
		}
	}
}

func TestTextFaults(t *testing.T) {
	const head = "ncols 3\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 1\n"
	const csv = "longitude,latitude,value\n"
	for _, c := range []struct {
		name, data  string
		code        DensityMapFaultCode
		where, says string
	}{
		{"empty", "", DensityFaultFormat, "first bytes", "empty"},
		{"unknown", "hello world\n", DensityFaultFormat, "first bytes", "ASCII grid"},
		{"archive", "PK\x03\x04....", DensityFaultFormat, "first bytes", "archive"},
		{"UTF-16", "\xff\xfen\x00c\x00", DensityFaultFormat, "first bytes", "UTF-16"},

		{"no rows", "ncols 3\nxllcorner 0\nyllcorner 0\ncellsize 1\n1 2 3\n", DensityFaultHeader, "header", "nrows is missing"},
		{"no origin", "ncols 3\nnrows 1\nyllcorner 0\ncellsize 1\n1 2 3\n", DensityFaultHeader, "header", "xllcorner or xllcenter"},
		{"two origins", "ncols 1\nnrows 1\nxllcorner 0\nxllcenter 0\nyllcorner 0\ncellsize 1\n1\n", DensityFaultContradicts, "line 4", "exclude"},
		{"two sizes", "ncols 1\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\ndx 1\n1\n", DensityFaultContradicts, "line 6", "exclude"},
		{"no dy", "ncols 1\nnrows 1\nxllcorner 0\nyllcorner 0\ndx 1\n1\n", DensityFaultHeader, "header", "cellsize or dy"},
		{"doubled", "ncols 3\nncols 4\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n1 2 3\n", DensityFaultHeader, "line 2", "already in line 1"},
		{"strange keyword", "ncols 3\nnrows 1\nunits 7\nxllcorner 0\nyllcorner 0\ncellsize 1\n1 2 3\n", DensityFaultHeader, "line 3", "not a keyword"},
		{"no value", "ncols nrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n1 2 3\n", DensityFaultHeader, "line 1", "no value"},
		{"part of a column", "ncols 2.5\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n1 2 3\n", DensityFaultHeader, "line 1", "whole number"},
		{"no columns", "ncols 0\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n1 2 3\n", DensityFaultHeader, "line 1", "whole number"},
		{"decimal comma", "ncols 3\nnrows 1\nxllcorner 0,5\nyllcorner 0\ncellsize 1\n1 2 3\n", DensityFaultHeader, "line 3", "point"},
		{"too many cells", "ncols 99999\nnrows 99999\nxllcorner 0\nyllcorner 0\ncellsize 0.001\n1 2 3\n", DensityFaultTooLarge, "header", "100000000 cells"},
		{"metres", "ncols 3\nnrows 1\nxllcorner 500000\nyllcorner 4649776\ncellsize 30\n1 2 3\n", DensityFaultGeoreference, "header", "degrees"},
		{"size twice", "ncols 4\nnrows 1\nxllcorner -180\nyllcorner 0\ncellsize 0\ncellsize 1\n1 2 3\n", DensityFaultHeader, "line 6", "already"},
		{"cell of nothing", "ncols 3\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 0\n1 2 3\n", DensityFaultGeoreference, "header", "cell of 0"},
		{"round twice", "ncols 4\nnrows 1\nxllcorner 0\nyllcorner 0\ndx 150\ndy 1\n1 2 3 4\n", DensityFaultGeoreference, "header", "600"},
		{"infinite", "ncols 3\nnrows 1\nxllcorner nan\nyllcorner 0\ncellsize 1\n1 2 3\n", DensityFaultGeoreference, "header", "finite"},
		{"truncated", head + "1 2 3\n4 5\n", DensityFaultTruncated, "line 8, row 2, column 3", "after 5 values"},
		{"too long", head + "1 2 3\n4 5 6\n7\n", DensityFaultSurplus, "line 8", "2 rows of 3"},
		{"lost value", head + "1 2\n4 5 6\n7\n", DensityFaultContradicts, "line 7, row 2, column 1", "ncols 3"},
		{"word", head + "1 2 3\n4 five 6\n", DensityFaultValue, "line 7, row 2, column 2", `"five" is not a number`},
		{"hexadecimal", head + "1 2 3\n4 0x1p3 6\n", DensityFaultValue, "line 7, row 2, column 2", "not a number"},
		{"beyond", head + "1 2 3\n4 1e999 6\n", DensityFaultValue, "line 7, row 2, column 2", "beyond"},
		{"endless number", head + "1 2 3\n4 1" + strings.Repeat("0", 100) + " 6\n", DensityFaultValue, "line 7, row 2, column 2", "not a number"},
		{"negative", head + "1 2 3\n4 -5 6\n", DensityFaultValue, "line 7, row 2, column 2", "-5 is negative"},
		{"absurd", head + "1 2 3\n4 5 101\n", DensityFaultValue, "line 7, row 2, column 3", "at most 100"},
		{"no data at all", head + "-9999 -9999 nan\n-9999 -9999 -9999\n", DensityFaultNoValues, "grid", "6 cells"},

		{"no column", "longitude,latitude\n1,2\n", DensityFaultHeader, "line 1", "column value is missing"},
		{"column twice", "longitude,latitude,value,value\n", DensityFaultHeader, "line 1", "twice"},
		{"strange column", "longitude,latitude,value,colour\n", DensityFaultHeader, "line 1", `"colour" is not a column`},
		{"header only", csv, DensityFaultNoValues, "file", "no line"},
		{"few fields", csv + "0,0,1\n1,1\n", DensityFaultFormat, "line 3", "2 fields"},
		{"many fields", csv + "0,0,1\n1,1,1,1\n", DensityFaultFormat, "line 3", "4 fields"},
		{"csv word", csv + "0,0,1\n1,x,1\n", DensityFaultValue, "line 3, column latitude", "not a number"},
		{"csv decimal comma", "longitude;latitude;value\n0;0;1,5\n", DensityFaultValue, "line 2, column value", "decimal mark"},
		{"exchanged", csv + "10,120,1\n", DensityFaultPosition, "line 2, column latitude", "exchanged"},
		{"off the earth", csv + "400,0,1\n", DensityFaultPosition, "line 2, column longitude", "400"},
		{"no position", csv + "nan,0,1\n", DensityFaultPosition, "line 2, column longitude", "NaN"},
		{"csv negative", csv + "0,0,-1\n", DensityFaultValue, "line 2, column value", "negative"},
		{"astray", csv + "0,0,1\n1,0,1\n2,0,1\n3.3,0,1\n4,0,1\n5,1,1\n", DensityFaultIrregular, "line 5, column longitude", "3.3"},
		{"one row", csv + "0,0,1\n1,0,1\n", DensityFaultIrregular, "file", "same latitude"},
		{"twice", csv + "0,0,1\n1,1,1\n\n0,0,2\n", DensityFaultDuplicate, "line 5", "line 2"},
		{"places", csv + "0,0,1\n0.01,0.01,2\n10,10,1\n", DensityFaultIrregular, "file", "not a map"},
		{"endless line", csv + strings.Repeat("0", 5000) + "\n", DensityFaultFormat, "line 2", "4096"},
		{"gaps only", csv + "0,0,\n1,1,nan\n", DensityFaultNoValues, "grid", "data"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if faults := faultsOf(t, []byte(c.data), inventedMeta()); !hasFault(faults, c.code, c.where, c.says) {
				t.Errorf("%v", faults)
			}
		})
	}
}

func TestManyFaultsAreCounted(t *testing.T) {
	var text strings.Builder
	text.WriteString("longitude,latitude,value\n")
	for i := range 50 {
		fmt.Fprintf(&text, "%d,0,-1\n", i)
	}
	_, err := ReadDensityMap(strings.NewReader(text.String()), inventedMeta())
	var content *DensityMapError
	if !errors.As(err, &content) || len(content.Faults) != maxRasterFaults || content.More != 30 ||
		!strings.HasSuffix(err.Error(), "and 30 more") {
		t.Errorf("%v", err)
	}
}

func TestTextIsReadAsPeopleWriteIt(t *testing.T) {
	want := [2][3]float64{{1, 2, 3}, {4, 5, 6}}
	for name, data := range map[string]string{
		"line ends":       "NCOLS 3\r\nNROWS 2\r\nXLLCENTER 0.5\r\nYLLCENTER 0.5\r\nCELLSIZE 1\r\n1 2 3\r\n4 5 6",
		"wrapped rows":    "\n\nncols 3 nrows 2\nyllcorner 0 xllcorner 0\ncellsize 1\n1 2\n3\n4\n5 6\n",
		"byte order mark": "\ufeffncols 3\nnrows 2\nxllcorner 0\nyllcorner 0\ndx 1\ndy 1\n1 2 3\n4 5 6\n",
		"any order":       "value,Longitude,latitude\n6,2.5,.5\n1,0.5,1.5\n2,1.5,1.5\n5,1.5,.5\n3,2.5,1.5\n4,0.5,.5\n",
		"semicolons":      "\ufeff\"longitude\";\"latitude\";\"value\"\r\n0.5;0.5;4\r\n1.5;0.5;5\r\n2.5;0.5;\"6\"\r\n0.5;1.5;1\r\n1.5;1.5;2\r\n2.5;1.5;3\r\n",
		"tabs":            "longitude\tlatitude\tvalue\n0.5\t0.5\t4\n1.5\t0.5\t5\n2.5\t0.5\t6\n0.5\t1.5\t1\n1.5\t1.5\t2\n2.5\t1.5\t3\n",
	} {
		t.Run(name, func(t *testing.T) {
			m := mustReadDensity(t, []byte(data), inventedMeta())
			if g := (DensityGrid{3, 2, 0, 2, 1, 1}); m.Grid() != g {
				t.Errorf("%+v", m.Grid())
			}
			for r := range want {
				for c, w := range want[r] {
					if v, _ := m.Cell(c, r); v != w {
						t.Errorf("row %d column %d: %g", r, c, v)
					}
				}
			}
		})
	}
}

// Coordinates printed with four decimals, a whole column missing, and the first and second column far apart.
func TestCSVGridFromRoundedCoordinates(t *testing.T) {
	var text strings.Builder
	text.WriteString("longitude,latitude,value\n")
	for r := range 20 {
		for c := range 3000 {
			if c == 7 || c == 1500 {
				continue
			}
			fmt.Fprintf(&text, "%.4f,%.4f,%d\n", -50+float64(c)/30, 2+float64(r)/30, c%90)
		}
	}
	m := mustReadDensity(t, []byte(text.String()), inventedMeta())
	g := m.Grid()
	if g.Columns != 3000 || g.Rows != 20 || math.Abs(g.CellWidth-1./30) > 1e-7 {
		t.Fatalf("%+v", g)
	}
	for c := range 3000 {
		v, ok := m.Cell(c, 3)
		if ok != (c != 7 && c != 1500) || ok && v != float64(c%90) {
			t.Errorf("column %d: %g %v", c, v, ok)
		}
	}
}

func TestRefusedGeoTIFFs(t *testing.T) {
	for _, c := range []struct {
		file        string
		code        DensityMapFaultCode
		where, says string
	}{
		{"refused-projected.tif", DensityFaultGeoreference, "tag 34735 GeoKeyDirectory", "GTModelType is 1"},
		{"refused-datum.tif", DensityFaultGeoreference, "tag 34735 GeoKeyDirectory", "GeodeticCRS is 4269"},
		{"refused-two-bands.tif", DensityFaultUnsupported, "tag 277 SamplesPerPixel", "one band"},
		{"refused-scaled.tif", DensityFaultUnsupported, "tag 42112 GDAL_METADATA", "not scaled"},
		{"refused-int32.tif", DensityFaultUnsupported, "tag 258 BitsPerSample", "32 bits"},
		{"refused-rotated.tif", DensityFaultGeoreference, "tag 34264 ModelTransformation", "rotates"},
		{"refused-no-datum.tif", DensityFaultGeoreference, "tag 34735 GeoKeyDirectory", "missing"},
	} {
		if faults := faultsOf(t, readDensityFixture(t, c.file), inventedMeta()); !hasFault(faults, c.code, c.where, c.says) {
			t.Errorf("%s: %v", c.file, faults)
		}
	}
}

// editTIFFEntry changes a copy of a classic little-endian TIFF in one entry of its first directory.
func editTIFFEntry(t testing.TB, data []byte, tag uint16, edit func(entry []byte)) []byte {
	t.Helper()
	data = bytes.Clone(data)
	directory := data[binary.LittleEndian.Uint32(data[4:]):]
	for i := range int(binary.LittleEndian.Uint16(directory)) {
		if entry := directory[2+12*i:][:12]; binary.LittleEndian.Uint16(entry) == tag {
			edit(entry)
			return data
		}
	}
	t.Fatalf("no tag %d", tag)
	return nil
}

func setTIFFTag(t testing.TB, data []byte, tag uint16, value uint32) []byte {
	t.Helper()
	return editTIFFEntry(t, data, tag, func(entry []byte) { binary.LittleEndian.PutUint32(entry[8:], value) })
}

// retypeTIFFTag gives a tag another field type and number of values.
func retypeTIFFTag(t testing.TB, data []byte, tag, kind uint16, count uint32) []byte {
	t.Helper()
	return editTIFFEntry(t, data, tag, func(entry []byte) {
		binary.LittleEndian.PutUint16(entry[2:], kind)
		binary.LittleEndian.PutUint32(entry[4:], count)
	})
}

// renameTIFFTag makes another tag of an entry.
func renameTIFFTag(t testing.TB, data []byte, tag, to uint16) []byte {
	t.Helper()
	return editTIFFEntry(t, data, tag, func(entry []byte) { binary.LittleEndian.PutUint16(entry, to) })
}

func TestDamagedDirectories(t *testing.T) {
	strips := readDensityFixture(t, "float32-strips.tif")
	southUp := readDensityFixture(t, "float32-south-up.tif")
	big := readDensityFixture(t, "float32-bigtiff-deflate.tif")
	order := binary.LittleEndian
	circle := bytes.Clone(readDensityFixture(t, "float32-overviews.tif"))
	end := func(offset uint32) []byte { return circle[offset+2+12*uint32(order.Uint16(circle[offset:])):] }
	overview := order.Uint32(end(order.Uint32(circle[4:])))
	order.PutUint32(end(overview), overview)
	twice := bytes.Clone(strips)
	first := order.Uint32(twice[4:])
	order.PutUint32(twice[first+2+12*uint32(order.Uint16(twice[first:])):], first)
	for _, c := range []struct {
		name        string
		data        []byte
		code        DensityMapFaultCode
		where, says string
	}{
		{"no image", append([]byte("II*\x00"), 0, 0, 0, 0), DensityFaultHeader, "header", "no image"},
		{"no tags", append([]byte("II*\x00"), 8, 0, 0, 0, 0, 0), DensityFaultHeader, "image 1", "0 tags"},
		{"directory beyond", append([]byte("II*\x00"), 9, 9, 0, 0), DensityFaultTruncated, "image 1", "byte 2313"},
		{"offsets of BigTIFF", append(append(bytes.Clone(big[:4]), 4, 0), big[6:]...), DensityFaultHeader, "header", "8 bytes"},
		{"two images", twice, DensityFaultUnsupported, "image 2", "second"},
		{"circle", circle, DensityFaultUnsupported, "image 65", "circle"},
		{"tag twice", renameTIFFTag(t, strips, tagSamplesPerPixel, tagImageLength), DensityFaultHeader, "tag 257 ImageLength", "twice"},
		{"width as text", retypeTIFFTag(t, strips, tagImageWidth, tiffASCII, 1), DensityFaultHeader, "tag 256 ImageWidth", "whole numbers"},
		{"width of no type", retypeTIFFTag(t, strips, tagImageWidth, 99, 1), DensityFaultHeader, "tag 256 ImageWidth", "field type 99"},
		{"two widths", retypeTIFFTag(t, strips, tagImageWidth, tiffShort, 2), DensityFaultHeader, "tag 256 ImageWidth", "2 values"},
		{"no width", renameTIFFTag(t, strips, tagImageWidth, 255), DensityFaultHeader, "tag 256 ImageWidth", "missing"},
		{"no offsets", renameTIFFTag(t, strips, tagStripOffsets, 255), DensityFaultContradicts, "tag 273 StripOffsets", "0 entries"},
		{"offsets beyond", setTIFFTag(t, strips, tagStripOffsets, 1<<20), DensityFaultTruncated, "tag 273 StripOffsets", "beyond"},
		{"more values than bytes", retypeTIFFTag(t, strips, tagModelPixelScale, tiffDouble, 1<<30), DensityFaultHeader, "tag 33550 ModelPixelScale", "values in a file"},
		{"scale as whole numbers", retypeTIFFTag(t, strips, tagModelPixelScale, tiffShort, 3), DensityFaultHeader, "tag 33550 ModelPixelScale", "floating-point"},
		{"scale of two numbers", retypeTIFFTag(t, strips, tagModelPixelScale, tiffDouble, 2), DensityFaultGeoreference, "tag 33922 ModelTiepoint", "3 are needed"},
		{"no scale", renameTIFFTag(t, strips, tagModelPixelScale, 255), DensityFaultGeoreference, "tag 33550 ModelPixelScale", "needed to know"},
		{"scale of nothing", setTIFFTag(t, strips, tagModelPixelScale, uint32(bytes.Index(strips, make([]byte, 24)))), DensityFaultGeoreference, "tag 33550 ModelPixelScale", "not above 0"},
		{"small transformation", retypeTIFFTag(t, southUp, tagModelTransformation, tiffDouble, 12), DensityFaultGeoreference, "tag 34264 ModelTransformation", "16 are needed"},
		{"scale and transformation", renameTIFFTag(t, strips, tagModelTiepoint, tagModelTransformation), DensityFaultContradicts, "tag 34264 ModelTransformation", "excludes"},
		{"short keys", retypeTIFFTag(t, strips, tagGeoKeyDirectory, tiffShort, 5), DensityFaultGeoreference, "tag 34735 GeoKeyDirectory", "damaged"},
		{"no-data mark", bytes.Replace(strips, []byte("-9999\x00"), []byte("-none\x00"), 1), DensityFaultHeader, "tag 42113 GDAL_NODATA", "not a number"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if faults := faultsOf(t, c.data, inventedMeta()); !hasFault(faults, c.code, c.where, c.says) {
				t.Errorf("%v", faults)
			}
		})
	}
}

// A known point may be any of the raster, not only its corner.
func TestTiepointWithinTheRaster(t *testing.T) {
	g := DensityGrid{4, 3, 20, 10, 0.5, 0.25}
	data := writeDensityTIFF(g, make([]float32, 12))
	offset := bytes.Index(data, binary.LittleEndian.AppendUint64(nil, math.Float64bits(g.West))) - 24
	moved, _ := binary.Append(nil, binary.LittleEndian, []float64{3, 2, 0, 21.5, 9.5, 0})
	copy(data[offset:], moved)
	if m := mustReadDensity(t, data, inventedMeta()); m.Grid() != g || m.Meta() != inventedMeta() {
		t.Errorf("%+v", m.Grid())
	}
}

func TestDamagedGeoTIFFs(t *testing.T) {
	strips := readDensityFixture(t, "float32-strips.tif")
	deflate := readDensityFixture(t, "float32-deflate-tiles-floating.tif")
	lzw := readDensityFixture(t, "float32-lzw-differences.tif")
	g := DensityGrid{12, 9, 10, 5, 0.25, 0.25}
	plain := writeDensityTIFF(g, make([]float32, 108))
	packed := packTIFFStrip(t, plain, 4*108, make([]byte, 4*108))
	mustReadDensity(t, packed, inventedMeta())
	lzwData := bytes.Clone(lzw)
	copy(lzwData[len(lzwData)-200:], bytes.Repeat([]byte{0xff}, 200))
	for _, c := range []struct {
		name        string
		data        []byte
		code        DensityMapFaultCode
		where, says string
	}{
		{"header only", strips[:6], DensityFaultTruncated, "header", "6 bytes"},
		{"first bytes", strips[:100], DensityFaultTruncated, "image 1", "100 bytes"},
		{"last bytes lost", strips[:len(strips)-10], DensityFaultTruncated, "strip 3", ""},
		{"huge", setTIFFTag(t, setTIFFTag(t, strips, tagImageWidth, 65535), tagImageLength, 65535), DensityFaultTooLarge, "tag 256 ImageWidth", "100000000 cells"},
		{"more rows than strips", setTIFFTag(t, strips, tagImageLength, 100), DensityFaultContradicts, "tag 273 StripOffsets", "make 25"},
		{"more data than rows", setTIFFTag(t, strips, tagImageWidth, 11), DensityFaultSurplus, "strip 1", "more than"},
		{"less data than rows", setTIFFTag(t, strips, tagImageWidth, 13), DensityFaultTruncated, "strip 1", "too early"},
		{"no columns", setTIFFTag(t, strips, tagImageWidth, 0), DensityFaultHeader, "tag 256 ImageWidth", "at least one"},
		{"promises", setTIFFTag(t, setTIFFTag(t, plain, tagImageWidth, 10000), tagImageLength, 9999), DensityFaultTruncated, "tag 256 ImageWidth", "cannot be held"},
		{"compressed promises", setTIFFTag(t, setTIFFTag(t, packed, tagImageWidth, 10000), tagImageLength, 9999), DensityFaultTruncated, "tag 256 ImageWidth", "cannot be held"},
		{"bomb", packTIFFStrip(t, plain, 4*108, make([]byte, 1<<26)), DensityFaultSurplus, "strip 1", "more than"},
		{"tiles without end", setTIFFTag(t, setTIFFTag(t, deflate, tagImageWidth, 4096), tagImageLength, 4096), DensityFaultContradicts, "tag 324 TileOffsets", "make 65536"},
		{"wide tile", setTIFFTag(t, deflate, tagTileWidth, 8192), DensityFaultHeader, "tag 322 TileWidth", "8192"},
		{"crooked tile", setTIFFTag(t, deflate, tagTileLength, 15), DensityFaultHeader, "tag 322 TileWidth", "multiples of 16"},
		{"tile too small for its data", setTIFFTag(t, setTIFFTag(t, deflate, tagImageLength, 32), tagTileLength, 32), DensityFaultTruncated, "tile 1", "too early"},
		{"compression", setTIFFTag(t, deflate, tagCompression, 7), DensityFaultUnsupported, "tag 259 Compression", "7:"},
		{"predictor", setTIFFTag(t, deflate, tagPredictor, 4), DensityFaultUnsupported, "tag 317 Predictor", "4:"},
		{"predictor of whole numbers", setTIFFTag(t, readDensityFixture(t, "int16-lzw-differences.tif"), tagPredictor, 3), DensityFaultContradicts, "tag 317 Predictor", "floating point only"},
		{"bits", setTIFFTag(t, strips, tagBitsPerSample, 24), DensityFaultUnsupported, "tag 258 BitsPerSample", "24 bits"},
		{"rows per strip", setTIFFTag(t, strips, tagRowsPerStrip, 0), DensityFaultHeader, "tag 278 RowsPerStrip", "0"},
		{"other data", setTIFFTag(t, deflate, tagCompression, 5), DensityFaultFormat, "tile 1", "LZW"},
		{"LZW codes", lzwData, DensityFaultFormat, "strip 1", "LZW"},
		{"LZW as deflate", setTIFFTag(t, lzw, tagCompression, 8), DensityFaultFormat, "strip 1", "zlib"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if faults := faultsOf(t, c.data, inventedMeta()); !hasFault(faults, c.code, c.where, c.says) {
				t.Errorf("%v", faults)
			}
		})
	}
	// The older code of deflate means the same.
	mustReadDensity(t, setTIFFTag(t, deflate, tagCompression, tiffDeflateOld), inventedMeta())
}

func TestEveryTruncationIsAnError(t *testing.T) {
	stored := storedDensity(t, mustReadDensity(t, readDensityFixture(t, "invented.asc"), inventedMeta()))
	for n := range stored {
		if _, err := new(DensityMap).ReadFrom(bytes.NewReader(stored[:n])); err == nil {
			t.Errorf("the first %d of %d bytes of a stored map were read", n, len(stored))
		}
	}
	// Directories of these files stand before the data, so that each byte is needed.
	for _, name := range []string{"float32-strips.tif", "float32-lzw-differences.tif", "float32-deflate-tiles-floating.tif"} {
		data := readDensityFixture(t, name)
		for n := range data {
			if _, err := ReadDensityMap(bytes.NewReader(data[:n]), inventedMeta()); err == nil && n < len(data)-4 {
				t.Errorf("the first %d of %d bytes of %s were read", n, len(data), name)
			}
		}
	}
}

func TestLimits(t *testing.T) {
	for _, name := range []string{"invented.asc", "invented.csv", "float32-strips.tif"} {
		data := readDensityFixture(t, name)
		size := int64(len(data))
		for _, c := range []struct {
			limits DensityMapLimits
			ok     bool
		}{
			{DensityMapLimits{108, 104, size}, true},
			{DensityMapLimits{107, 104, size}, false},
			{DensityMapLimits{108, 104, size - 1}, false},
			{DensityMapLimits{}, false},
			{DensityMapLimits{108, 103, size}, name != "invented.csv"},
		} {
			_, err := c.limits.Read(bytes.NewReader(data), inventedMeta())
			var content *DensityMapError
			if c.ok && err != nil || !c.ok && (!errors.As(err, &content) || content.Faults[0].Code != DensityFaultTooLarge) {
				t.Errorf("%s %+v: %v", name, c.limits, err)
			}
		}
	}
}

func TestErrorsOfTheReaderStayVisible(t *testing.T) {
	lost := errors.New("connection lost")
	for _, name := range []string{"invented.asc", "invented.csv", "float32-strips.tif"} {
		data := readDensityFixture(t, name)
		for _, n := range []int{0, 10, 300, len(data)} {
			r := io.MultiReader(bytes.NewReader(data[:n]), iotest.ErrReader(lost))
			if m, err := ReadDensityMap(r, inventedMeta()); !errors.Is(err, lost) || m != nil {
				t.Errorf("%s after %d bytes: %v", name, n, err)
			}
		}
	}
}

func storedDensity(t testing.TB, m *DensityMap) []byte {
	t.Helper()
	var out bytes.Buffer
	n, err := m.WriteTo(&out)
	if err != nil || n != int64(out.Len()) {
		t.Fatalf("%d of %d bytes: %v", n, out.Len(), err)
	}
	return out.Bytes()
}

func TestStoredFormFaults(t *testing.T) {
	m := mustReadDensity(t, readDensityFixture(t, "invented.asc"), inventedMeta())
	stored := storedDensity(t, m)
	block := 14 + int(binary.LittleEndian.Uint32(stored[10:])) // where the first block begins
	alter := func(offset int, to byte) []byte {
		data := bytes.Clone(stored)
		data[offset] = to
		return data
	}
	for _, c := range []struct {
		data []byte
		code DensityMapFaultCode
	}{
		{alter(0, 'X'), DensityFaultFormat},
		{alter(8, 2), DensityFaultUnsupported},
		{alter(13, 1), DensityFaultTooLarge},
		{alter(len(stored)-1, stored[len(stored)-1]+1), DensityFaultChecksum},
		{append(bytes.Clone(stored), 0), DensityFaultSurplus},
		{bytes.Replace(stored, []byte("2015"), []byte("2016"), 1), DensityFaultChecksum},
		{bytes.Replace(stored, []byte("2015"), []byte("2085"), 1), DensityFaultMetadata},
		{bytes.Replace(stored, []byte(`"rows"`), []byte(`"rowz"`), 1), DensityFaultFormat},
		{nil, DensityFaultTruncated},
		{storedDensity(t, &DensityMap{meta: m.meta, grid: m.grid, values: slices.Repeat([]float32{-1}, 108)}), DensityFaultValue},
		{storedDensity(t, &DensityMap{meta: m.meta, grid: DensityGrid{12, 9, 900, 0, 1, 1}, values: m.values}), DensityFaultGeoreference},
		{storedDensity(t, &DensityMap{meta: m.meta, grid: DensityGrid{1 << 20, 1 << 20, 0, 0, 1, 1}, values: m.values}), DensityFaultTooLarge},
		{storedDensity(t, &DensityMap{meta: m.meta, grid: DensityGrid{-12, 9, 0, 0, 1, 1}, values: m.values}), DensityFaultHeader},
		{alter(block, 0xff), DensityFaultTruncated},
		{alter(block+2, 0xff), DensityFaultTooLarge},
		{alter(block+4, 0xff), DensityFaultFormat},
	} {
		kept := *m
		_, err := kept.ReadFrom(bytes.NewReader(c.data))
		var content *DensityMapError
		if !errors.As(err, &content) || content.Faults[0].Code != c.code {
			t.Errorf("%s: %v", c.code, err)
		}
		if kept.meta != m.meta || kept.grid != m.grid || &kept.values[0] != &m.values[0] {
			t.Errorf("%s: the map was changed", c.code)
		}
	}
	if _, err := m.WriteTo(fullDensityWriter{}); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("%v", err)
	}
}

// fullDensityWriter is a disk without room.
type fullDensityWriter struct{}

func (fullDensityWriter) Write(p []byte) (int, error) { return 0, io.ErrShortWrite }

func sameDensity(a, b *DensityMap) bool {
	return a.meta == b.meta && a.relation == b.relation && a.grid == b.grid && slices.EqualFunc(a.values, b.values, func(x, y float32) bool {
		return x == y || x != x && y != y
	})
}

// drawDensity draws a grid with single-precision values, gaps among them.
func drawDensity(t *rapid.T, smallest int) (DensityGrid, []float32) {
	columns, rows := rapid.IntRange(smallest, 20).Draw(t, "columns"), rapid.IntRange(smallest, 20).Draw(t, "rows")
	g := DensityGrid{
		Columns: columns, Rows: rows,
		West: float64(rapid.IntRange(-180, 100).Draw(t, "west")), North: float64(rapid.IntRange(-40, 80).Draw(t, "north")),
		CellWidth: rapid.SampledFrom([]float64{0.05, 0.1, 0.25, 1. / 3, 1}).Draw(t, "width"), CellHeight: 0.5,
	}
	cell := rapid.OneOf(rapid.Float32Range(0, maxGroundFlashes), rapid.Just(float32(math.NaN())))
	values := rapid.SliceOfN(cell, columns*rows, columns*rows).Draw(t, "values")
	values[0], values[len(values)-1] = 7.25, 0 // corners with data: a CSV without gaps' lines keeps the extent
	return g, values
}

func writeDensityASCII(g DensityGrid, values []float32) []byte {
	var out bytes.Buffer
	fmt.Fprintf(&out, "ncols %d\nnrows %d\nxllcorner %v\nyllcorner %v\ndx %v\ndy %v\nNODATA_value -1\n",
		g.Columns, g.Rows, g.West, g.South(), g.CellWidth, g.CellHeight)
	for i, v := range values {
		separator := " "
		if (i+1)%g.Columns == 0 {
			separator = "\n"
		}
		if v != v {
			v = -1
		}
		out.WriteString(strconv.FormatFloat(float64(v), 'g', -1, 32) + separator)
	}
	return out.Bytes()
}

func writeDensityCSV(g DensityGrid, values []float32) []byte {
	var out bytes.Buffer
	out.WriteString("longitude,latitude,value\n")
	for i, v := range values {
		longitude, latitude := g.CellCentre(i%g.Columns, i/g.Columns)
		fmt.Fprintf(&out, "%.12g,%.12g,%v\n", longitude, latitude, v)
	}
	return out.Bytes()
}

// writeDensityTIFF writes an uncompressed GeoTIFF of single precision in one strip.
func writeDensityTIFF(g DensityGrid, values []float32) []byte {
	order := binary.LittleEndian
	tags := []struct {
		tag, kind uint16
		values    any
	}{
		{tagImageWidth, tiffLong, []uint32{uint32(g.Columns)}},
		{tagImageLength, tiffLong, []uint32{uint32(g.Rows)}},
		{tagBitsPerSample, tiffShort, []uint16{32}},
		{tagStripOffsets, tiffLong, []uint32{0}}, // set below
		{tagStripByteCounts, tiffLong, []uint32{uint32(4 * len(values))}},
		{tagSampleFormat, tiffShort, []uint16{tiffFloatingPoint}},
		{tagModelPixelScale, tiffDouble, []float64{g.CellWidth, g.CellHeight, 0}},
		{tagModelTiepoint, tiffDouble, []float64{0, 0, 0, g.West, g.North, 0}},
		{tagGeoKeyDirectory, tiffShort, []uint16{1, 1, 0, 2, geoKeyModelType, 0, 1, 2, geoKeyGeodeticCRS, 0, 1, 4326}},
	}
	directory := order.AppendUint16([]byte("II*\x00\x08\x00\x00\x00"), uint16(len(tags)))
	var far []byte
	start := len(directory) + 12*len(tags) + 4
	var strip int
	for _, tag := range tags {
		raw, _ := binary.Append(nil, order, tag.values)
		directory = order.AppendUint16(directory, tag.tag)
		directory = order.AppendUint16(directory, tag.kind)
		directory = order.AppendUint32(directory, uint32(len(raw)/int(tiffTypeSize[tag.kind])))
		if tag.tag == tagStripOffsets {
			strip = len(directory)
		}
		if len(raw) > 4 {
			directory = order.AppendUint32(directory, uint32(start+len(far)))
			far = append(far, raw...)
		} else {
			directory = append(directory, append(raw, 0, 0, 0)[:4]...)
		}
	}
	file := append(order.AppendUint32(directory, 0), far...)
	order.PutUint32(file[strip:], uint32(len(file)))
	file, _ = binary.Append(file, order, values)
	return file
}

// packTIFFStrip replaces the last stripBytes bytes, the strip of a file that writeDensityTIFF made, by deflated data.
func packTIFFStrip(t testing.TB, plain []byte, stripBytes int, data []byte) []byte {
	t.Helper()
	var packed bytes.Buffer
	w := zlib.NewWriter(&packed)
	if _, err := w.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	file := setTIFFTag(t, plain[:len(plain)-stripBytes], tagStripByteCounts, uint32(packed.Len()))
	return append(insertTIFFShort(file, tagCompression, tiffDeflate), packed.Bytes()...)
}

// insertTIFFShort adds a tag at the end of the directory and moves all that lies behind by the length of an entry.
func insertTIFFShort(file []byte, tag, value uint16) []byte {
	order := binary.LittleEndian
	n := int(order.Uint16(file[8:]))
	end := 10 + 12*n
	for i := range n {
		entry := file[10+12*i:]
		size := tiffTypeSize[order.Uint16(entry[2:])] * uint64(order.Uint32(entry[4:]))
		if size > 4 || order.Uint16(entry) == tagStripOffsets {
			order.PutUint32(entry[8:], order.Uint32(entry[8:])+12)
		}
	}
	order.PutUint16(file[8:], uint16(n+1))
	entry := order.AppendUint16(nil, tag)
	entry = order.AppendUint16(entry, tiffShort)
	entry = order.AppendUint32(entry, 1)
	entry = order.AppendUint32(entry, uint32(value))
	return append(append(bytes.Clone(file[:end]), entry...), file[end:]...)
}

func TestEveryFormatReturnsWhatWasWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, values := drawDensity(t, 2)
		want := &DensityMap{meta: inventedMeta(), grid: g, values: values, relation: inventedMeta().relation()}
		for name, data := range map[string][]byte{
			"ascii": writeDensityASCII(g, values), "csv": writeDensityCSV(g, values), "geotiff": writeDensityTIFF(g, values),
		} {
			m, err := ReadDensityMap(bytes.NewReader(data), inventedMeta())
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			near := func(a, b float64) bool { return math.Abs(a-b) < 1e-8 }
			if got := m.grid; !near(got.West, g.West) || !near(got.North, g.North) || !near(got.CellWidth, g.CellWidth) ||
				!near(got.CellHeight, g.CellHeight) {
				t.Fatalf("%s: %+v, want %+v", name, got, g)
			}
			m.grid = g
			if !sameDensity(m, want) {
				t.Fatalf("%s: %v, want %v", name, m.values, values)
			}
			var stored bytes.Buffer
			if _, err := m.WriteTo(&stored); err != nil {
				t.Fatal(err)
			}
			var back DensityMap
			if _, err := back.ReadFrom(&stored); err != nil || !sameDensity(m, &back) {
				t.Fatalf("%s: stored map differs: %v", name, err)
			}
		}
	})
}

// More cells than a block of the stored form holds.
func TestStoredFormOfSeveralBlocks(t *testing.T) {
	m := benchmarkDensity(700, 300)
	var back DensityMap
	stored := storedDensity(t, m)
	if n, err := back.ReadFrom(bytes.NewReader(stored)); err != nil || n != int64(len(stored)) || !sameDensity(m, &back) {
		t.Errorf("%d %v", n, err)
	}
}

func TestBilinearKeepsLinearFields(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := DensityGrid{Columns: rapid.IntRange(2, 30).Draw(t, "columns"), Rows: rapid.IntRange(2, 30).Draw(t, "rows"),
			West: rapid.Float64Range(-180, 150).Draw(t, "west"), North: rapid.Float64Range(-50, 89).Draw(t, "north"), CellWidth: 0.8,
			CellHeight: 1.1}
		a, b := rapid.Float64Range(-1, 1).Draw(t, "a"), rapid.Float64Range(-1, 1).Draw(t, "b")
		field := func(longitude, latitude float64) float64 { return 50 + a*(longitude-g.West) + b*(latitude-g.North) }
		values := make([]float32, g.Columns*g.Rows)
		for i := range values {
			values[i] = float32(field(g.CellCentre(i%g.Columns, i/g.Columns)))
		}
		m := &DensityMap{meta: inventedMeta(), grid: g, values: values}
		// Between the outermost centres.
		longitude := g.West + g.CellWidth*rapid.Float64Range(0.5, float64(g.Columns)-0.5).Draw(t, "x")
		latitude := g.North - g.CellHeight*rapid.Float64Range(0.5, float64(g.Rows)-0.5).Draw(t, "y")
		s, err := m.Sample(longitude, latitude)
		if err != nil || math.Abs(s.Value-field(longitude, latitude)) > 1e-5 {
			t.Fatalf("%g %v, want %g", s.Value, err, field(longitude, latitude))
		}
	})
}

func TestSampleLiesBetweenItsCorners(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, values := drawDensity(t, 1)
		m := &DensityMap{meta: inventedMeta(), grid: g, values: values}
		x := rapid.Float64Range(0, float64(g.Columns)).Draw(t, "x")
		y := rapid.Float64Range(0, float64(g.Rows)).Draw(t, "y")
		s, err := m.Sample(g.West+x*g.CellWidth, g.North-y*g.CellHeight)
		if errors.Is(err, ErrDensityNoData) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		low, high := math.Inf(1), math.Inf(-1)
		for r := s.Row - 1; r <= s.Row+1; r++ {
			for c := s.Column - 1; c <= s.Column+1; c++ {
				if v, ok := m.Cell(c, r); ok {
					low, high = min(low, v), max(high, v)
				}
			}
		}
		if s.Value < low-1e-9 || s.Value > high+1e-9 {
			t.Fatalf("%g is not within %g to %g", s.Value, low, high)
		}
	})
}

func TestGlobalMapIsContinuousAtItsSeam(t *testing.T) {
	m := mustReadDensity(t, readDensityFixture(t, "invented-world.asc"), inventedMeta())
	rapid.Check(t, func(t *rapid.T) {
		latitude := rapid.Float64Range(-90, 90).Draw(t, "latitude")
		east, err1 := m.Sample(180, latitude)
		west, err2 := m.Sample(-180, latitude)
		near, err3 := m.Sample(-180+1e-9, latitude)
		if err1 != nil || err2 != nil || err3 != nil || math.Abs(east.Value-west.Value) > 1e-9 || math.Abs(near.Value-west.Value) > 1e-6 {
			t.Fatalf("%g %g %g", east.Value, west.Value, near.Value)
		}
	})
}

// fuzzDensity reads data within small limits: whatever is read must be a sound map, whatever is refused an error.
func fuzzDensity(f *testing.F, meta DensityMapMeta) {
	limits := DensityMapLimits{MaxCells: 10_000, MaxPoints: 1_000, MaxBytes: 1 << 16}
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := limits.Read(bytes.NewReader(data), meta)
		if err != nil {
			var content *DensityMapError
			if m != nil || !errors.As(err, &content) || len(content.Faults) == 0 {
				t.Fatalf("%v %v", m, err)
			}
			return
		}
		checkSoundDensity(t, m)
	})
}

func checkSoundDensity(t *testing.T, m *DensityMap) {
	t.Helper()
	g := m.Grid()
	if len(m.values) != g.Columns*g.Rows {
		t.Fatalf("%d values for %+v", len(m.values), g)
	}
	for r := range g.Rows {
		for c := range g.Columns {
			v, ok := m.Cell(c, r)
			if ok && !(v >= 0 && v <= m.meta.maxValue()) {
				t.Fatalf("row %d column %d: %g", r, c, v)
			}
		}
	}
	want, ok := m.Cell(0, 0)
	if !ok || g.East()-g.West > 360+1e-6*g.CellWidth {
		return
	}
	// A first centre may lie beyond a pole by a hundredth of a cell.
	longitude, latitude := g.CellCentre(0, 0)
	s, err := m.Sample(math.Remainder(longitude, 360), min(max(latitude, -90), 90))
	if err != nil || math.Abs(s.Value-want) > 0.02*m.meta.maxValue() {
		t.Fatalf("%+v %v, want %g", s, err, want)
	}
}

func FuzzDensityASCIIGrid(f *testing.F) {
	f.Add(readDensityFixture(f, "invented.asc"))
	f.Add(readDensityFixture(f, "rewritten.asc"))
	f.Add([]byte("ncols 2\nnrows 1\nxllcenter 0\nyllcenter 0\ndx 1\ndy 2\nnodata_value nan\n1\n2e0\n"))
	fuzzDensity(f, inventedMeta())
}

func FuzzDensityCSV(f *testing.F) {
	f.Add(readDensityFixture(f, "invented.csv"))
	f.Add([]byte("longitude;latitude;value\n0;0;1\n1;1;\n-180;90;\"2\"\n"))
	fuzzDensity(f, inventedDays())
}

func FuzzDensityGeoTIFF(f *testing.F) {
	names, _ := filepath.Glob(filepath.Join(densityFixtures, "*.tif"))
	for _, name := range names {
		f.Add(readDensityFixture(f, filepath.Base(name)))
	}
	fuzzDensity(f, inventedDays())
}

func FuzzDensityStored(f *testing.F) {
	f.Add(storedDensity(f, mustReadDensity(f, readDensityFixture(f, "invented.asc"), inventedMeta())))
	f.Fuzz(func(t *testing.T, data []byte) {
		limits := DensityMapLimits{MaxCells: 10_000, MaxBytes: 1 << 16}
		faults := &rasterFaults{}
		// Without the checksum, which would keep nearly every input from the checks behind it.
		in := &storedReader{in: bufio.NewReader(bytes.NewReader(data)), sum: constantHash{}}
		if m, err := in.readMap(limits, faults); err == nil {
			checkSoundDensity(t, m)
		}
		new(DensityMap).ReadFrom(bytes.NewReader(data))
	})
}

// constantHash agrees with a checksum of zeros.
type constantHash struct{}

func (constantHash) Write(p []byte) (int, error) { return len(p), nil }
func (constantHash) Sum(b []byte) []byte         { return append(b, make([]byte, 32)...) }
func (constantHash) Reset()                      {}
func (constantHash) Size() int                   { return 32 }
func (constantHash) BlockSize() int              { return 64 }
