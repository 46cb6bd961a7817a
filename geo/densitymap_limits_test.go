package geo

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"
)

// Every limit of the metadata, met exactly and passed by one.
func TestLimitsOfMetadata(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*DensityMapMeta)
		ok     bool
	}{
		"first year":           {func(m *DensityMapMeta) { m.FromYear = 1800 }, true},
		"before it":            {func(m *DensityMapMeta) { m.FromYear = 1799 }, false},
		"last year":            {func(m *DensityMapMeta) { m.ToYear = 2200 }, true},
		"after it":             {func(m *DensityMapMeta) { m.ToYear = 2201 }, false},
		"all at the beginning": {func(m *DensityMapMeta) { m.FromYear, m.ToYear = 1800, 1800 }, true},
		"all at the end":       {func(m *DensityMapMeta) { m.FromYear, m.ToYear = 2200, 2200 }, true},
		"one year":             {func(m *DensityMapMeta) { m.FromYear, m.ToYear = 2020, 2020 }, true},
		"backwards":            {func(m *DensityMapMeta) { m.FromYear, m.ToYear = 2020, 2019 }, false},
		"source of 500 bytes":  {func(m *DensityMapMeta) { m.Source = strings.Repeat("x", 500) }, true},
		"source of 501":        {func(m *DensityMapMeta) { m.Source = strings.Repeat("x", 501) }, false},
		"licence of 2000":      {func(m *DensityMapMeta) { m.LicenceNote = strings.Repeat("x", 2000) }, true},
		"licence of 2001":      {func(m *DensityMapMeta) { m.LicenceNote = strings.Repeat("x", 2001) }, false},
		"ratio 20":             {func(m *DensityMapMeta) { m.Kind, m.CloudToGroundRatio = TotalFlashDensity, 20 }, true},
		"ratio 20.1":           {func(m *DensityMapMeta) { m.Kind, m.CloudToGroundRatio = TotalFlashDensity, 20.1 }, false},
		"ratio 0":              {func(m *DensityMapMeta) { m.Kind, m.CloudToGroundRatio = TotalFlashDensity, 0 }, false},
	} {
		meta := inventedMeta()
		c.change(&meta)
		if faults := meta.Faults(); (len(faults) == 0) != c.ok {
			t.Errorf("%s: %v", name, faults)
		}
	}
}

// Grids at the edge of the earth: cells of 1e-6 to 180 x 90 degrees, centres at a pole with a hundredth of a cell to
// spare, longitudes of centres from -360 to 540, one turn and a hundredth of a cell.
func TestLimitsOfGrids(t *testing.T) {
	for _, c := range []struct {
		g  DensityGrid
		ok bool
	}{
		{DensityGrid{2, 1, 0, 90, 180, 90}, true}, {DensityGrid{1, 1, 0, 90, 180.5, 90}, false}, {DensityGrid{1, 1, 0, 90, 180, 90.5}, false},
		{DensityGrid{1, 1, 0, 0, 1e-6, 1e-6}, true}, {DensityGrid{1, 1, 0, 0, 0.9e-6, 1e-6}, false},
		{DensityGrid{1, 1, 0, 0, 1e-6, 0.9e-6}, false},
		{DensityGrid{1, 2, 0, 90.5, 1, 1}, true}, {DensityGrid{1, 2, 0, 90.505, 1, 1}, true}, {DensityGrid{1, 2, 0, 90.52, 1, 1}, false},
		{DensityGrid{1, 2, 0, -88.5, 1, 1}, true}, {DensityGrid{1, 2, 0, -88.505, 1, 1}, true}, {DensityGrid{1, 2, 0, -88.52, 1, 1}, false},
		{DensityGrid{1, 2, 0, 90.02, 4, 4}, true}, {DensityGrid{1, 1, 0, 92.03, 4, 4}, true}, {DensityGrid{1, 1, 0, 92.05, 4, 4}, false},
		{DensityGrid{1, 1, -360.5, 1, 1, 1}, true}, {DensityGrid{1, 1, -360.6, 1, 1, 1}, false}, {DensityGrid{1, 1, 539.5, 1, 1, 1}, true},
		{DensityGrid{1, 1, 539.6, 1, 1, 1}, false}, {DensityGrid{3, 1, 537.5, 1, 1, 1}, true}, {DensityGrid{3, 1, 537.6, 1, 1, 1}, false},
		{DensityGrid{360, 1, -180, 1, 1, 1}, true}, {DensityGrid{361, 1, -180, 1, 1, 1}, true}, {DensityGrid{362, 1, -180, 1, 1, 1}, false},
		{DensityGrid{1, 1, math.Inf(1), 1, 1, 1}, false}, {DensityGrid{1, 1, 0, math.NaN(), 1, 1}, false},
		{DensityGrid{1, 1, 0, 1, math.NaN(), 1}, false},
	} {
		faults := &rasterFaults{}
		if c.g.check("here", faults); (faults.total == 0) != c.ok {
			t.Errorf("%+v: %v", c.g, faults.list)
		}
	}
	// Closed where the columns miss a whole turn by less than a millionth of a cell; a twentieth is rounding.
	for _, c := range []struct {
		width          float64
		global, closes bool
	}{{10, true, true}, {10 + 2e-7, true, true}, {10 - 2e-7, true, true}, {10 + 4e-7, false, true}, {10 + 0.0138, false, true},
		{10 - 0.0138, false, true}, {10 + 0.0145, false, false},
		{10 - 0.0145, false, false}} {
		g := DensityGrid{36, 1, -180, 1, c.width, 1}
		if g.Global() != c.global || g.closed().Global() != c.closes {
			t.Errorf("cells of %v degrees: %v, closed %v", c.width, g.Global(), g.closed().Global())
		}
	}
	if g := (DensityGrid{4, 3, 10, 50, 0.5, 2}); g.East() != 12 || g.South() != 44 || g.String() != "longitude 10 to 12, latitude 44 to 50" {
		t.Errorf("%v %v %v", g.East(), g.South(), g)
	}
}

// Positions on the rim of a map and of the earth; a millionth of a cell beyond the rim is rounding.
func TestPositionsOnTheRim(t *testing.T) {
	region := mustReadDensity(t, []byte("ncols 2\nnrows 2\nxllcorner 10\nyllcorner 20\ncellsize 4\n1 2\n3 4\n"), inventedMeta())
	const in, out = 2e-6, 8e-6 // degrees: half and two millionths of a cell
	for _, c := range []struct {
		longitude, latitude, want float64 // 0: outside
		column, row               int
	}{
		{10, 28, 1, 0, 0}, {18, 28, 2, 1, 0}, {10, 20, 3, 0, 1}, {18, 20, 4, 1, 1}, {10 - in, 28 + in, 1, 0, 0}, {18 + in, 20 - in, 4, 1, 1},
		{10 - out, 24, 0, 0, 0}, {18 + out, 24, 0, 0, 0}, {14, 28 + out, 0, 0, 0}, {14, 20 - out, 0, 0, 0},
		{14, 24, 2.5, 1, 1}, {13, 24, 2.25, 0, 1}, {14, 25, 2, 1, 0},
	} {
		s, err := region.Sample(c.longitude, c.latitude)
		if c.want == 0 {
			if !errors.Is(err, ErrDensityOutside) {
				t.Errorf("%v %v: %v", c.longitude, c.latitude, err)
			}
			continue
		}
		if err != nil || math.Abs(s.Value-c.want) > 1e-6 || s.Column != c.column || s.Row != c.row {
			t.Errorf("%v %v: %+v %v, want %v in column %d, row %d", c.longitude, c.latitude, s, err, c.want, c.column, c.row)
		}
	}
	world := mustReadDensity(t, []byte("ncols 4\nnrows 2\nxllcorner -180\nyllcorner -90\ncellsize 90\n1 2 3 4\n5 6 7 8\n"), inventedMeta())
	for _, p := range [][2]float64{{180, 90}, {-180, -90}, {180, -90}, {-180, 90}} {
		if _, err := world.Sample(p[0], p[1]); err != nil {
			t.Error(err)
		}
	}
	for _, c := range []struct {
		longitude, latitude float64
		hint                bool
	}{{90, 180, true}, {-90, -180, true}, {90, 181, false}, {91, 180, false}, {180.1, 0, false}, {0, 90.1, true}} {
		_, err := world.Sample(c.longitude, c.latitude)
		if !errors.Is(err, ErrDensityPosition) || strings.Contains(err.Error(), "exchanged") != c.hint {
			t.Errorf("%v %v: %v", c.longitude, c.latitude, err)
		}
	}
	if _, ok := world.Cell(-1, 0); ok {
		t.Error("a cell west of the first")
	}
	for _, p := range [][2]int{{4, 0}, {0, 2}, {0, -1}, {3, 2}} {
		if _, ok := world.Cell(p[0], p[1]); ok {
			t.Errorf("cell %v", p)
		}
	}
}

// Cell values at their limits, with and without a no-data mark: 100 ground flashes, 400 flashes, 366 days (see the
// constants), and 0.
func TestLimitsOfValues(t *testing.T) {
	for _, c := range []struct {
		meta  DensityMapMeta
		value float64
		ok    bool
	}{
		{inventedMeta(), 100, true}, {inventedMeta(), 100.01, false}, {inventedMeta(), 0, true}, {inventedMeta(), -0.01, false},
		{inventedDays(), 366, true}, {inventedDays(), 366.1, false},
		{DensityMapMeta{Kind: TotalFlashDensity}, 400, true}, {DensityMapMeta{Kind: TotalFlashDensity}, 400.1, false},
	} {
		for _, mark := range []bool{false, true} {
			kept, complaint := rasterValues{limit: c.meta.maxValue(), noData: -9999, hasNoData: mark}.take(c.value)
			if (complaint == "") != c.ok || c.ok && kept != float32(c.value) {
				t.Errorf("%v %v, mark %v: %v %q", c.meta.Kind, c.value, mark, kept, complaint)
			}
		}
	}
	marked := rasterValues{limit: 100, noData: 50, hasNoData: true}
	for v, missing := range map[float64]bool{50: true, 50.0000001: true, 51: false, 0: false, 100: false} {
		kept, complaint := marked.take(v)
		if complaint != "" || (kept != kept) != missing {
			t.Errorf("%v with the mark 50: %v %q", v, kept, complaint)
		}
	}
}

// Texts at the edge of what is taken.
func TestLimitsOfTexts(t *testing.T) {
	const csv = "longitude,latitude,value\n"
	for name, c := range map[string]struct {
		data string
		ok   bool
	}{
		"one cell":            {"ncols 1\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n5\n", true},
		"blank lines":         {"\n \n", false},
		"half a row":          {"ncols 1\nnrows 0.5\nxllcorner 0\nyllcorner 0\ncellsize 1\n5\n", false},
		"from pole to pole":   {csv + "-180,-90,1\n0,90,2\n180,0,3\n", true},
		"two turns":           {csv + "-360,0,1\n-180,45,2\n", true},
		"a turn to the east":  {csv + "360,0,1\n180,45,2\n", true},
		"beyond two turns":    {csv + "-360.1,0,1\n-180,45,2\n", false},
		"beyond the turn":     {csv + "360.1,0,1\n180,45,2\n", false},
		"beyond the pole":     {csv + "0,-90.1,1\n180,45,2\n", false},
		"beyond the north":    {csv + "0,90.1,1\n180,45,2\n", false},
		"a step of two cells": {csv + "0,0,1\n1,1,2\n3,2,3\n", true},
		"a hundredth astray":  {csv + "0,0,1\n1,1,2\n2.01,2,3\n3,3,4\n", true},
		"a twentieth astray":  {csv + "0,0,1\n1,1,2\n2.05,2,3\n3,3,4\n", false},
		"longest word":        {"ncols 1\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n" + strings.Repeat("0", 63) + "5\n", true},
		"a word too long":     {"ncols 1\nnrows 1\nxllcorner 0\nyllcorner 0\ncellsize 1\n" + strings.Repeat("0", 64) + "5\n", false},
		"quoted":              {csv + "\"0\",\"0\",\"1\"\n1,1,\"\"\n", true},
		"one quote":           {csv + "0,0,\"\n1,1,1\n", false},
	} {
		_, err := ReadDensityMap(strings.NewReader(c.data), inventedMeta())
		if (err == nil) != c.ok {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// As many cells as are allowed, in one row; and a grid counted from -360.
func TestOneRow(t *testing.T) {
	for cells, ok := range map[int]bool{36: true, 35: false} {
		data := "ncols 36\nnrows 1\nxllcorner -360\nyllcorner -5\ncellsize 10\n" + strings.Repeat("1 2 3 ", 12) + "\n"
		m, err := DensityMapLimits{MaxCells: cells, MaxBytes: 1000}.Read(strings.NewReader(data), inventedMeta())
		if (err == nil) != ok {
			t.Fatalf("%d cells: %v", cells, err)
		}
		if !ok {
			continue
		}
		for longitude, want := range map[float64]float64{15: 2, 175: 3, -15: 2, -175: 1} { // columns 1, 17, 34, 18
			if s, err := m.Sample(longitude, 0); err != nil || s.Value != want {
				t.Errorf("at %v: %v %v, want %v", longitude, s.Value, err, want)
			}
		}
	}
}

// Faults of maps say where, what was found and what would fit; the first of them in the order of the file.
func TestFaultsOfMapsAreExact(t *testing.T) {
	const csv = "longitude,latitude,value\n"
	for name, c := range map[string]struct {
		data string
		want []string
	}{
		"astray": {csv + "0,0,1\n1,0,1\n2,0,1\n4.4,0,1\n3.3,0,1\n5,1,1\n", []string{
			"line 5, column longitude: 4.4 is off the regular grid that begins at 0 in steps of 1 degrees",
			"line 6, column longitude: 3.3 is off the regular grid that begins at 0 in steps of 1 degrees"}},
		"a place list": {csv + "0,0,1\n0.01,0.01,2\n10,10,1\n", []string{
			"file: 3 points fill less than a thousandth of the 1001 columns x 1001 rows on which they lie: this is a list of places, not a map"}},
		"truncated": {"ncols 3\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 1\n1 2 3\n4\n", []string{
			"line 8, row 2, column 2: the file ends after 4 values, the header states 3 columns x 2 rows = 6"}},
		"shifted": {"ncols 3\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize 1\n1 2 3 4\n5 6\n", []string{
			"line 6, row 2, column 1: row 1 ends in this line and row 2 begins in it: each row must begin on a line of its own; is a " +
				"value missing or too many, or ncols 3 wrong?"}},
	} {
		faults := faultsOf(t, []byte(c.data), inventedMeta())
		var got []string
		for _, f := range faults {
			got = append(got, f.String())
		}
		if strings.Join(got, "\n") != strings.Join(c.want, "\n") {
			t.Errorf("%s: %q", name, got)
		}
	}
	one := &DensityMapError{Faults: []DensityMapFault{{DensityFaultFormat, "line 3", "why"}}}
	if one.Error() != "flash-density map: line 3: why" {
		t.Error(one)
	}
	one.More = 1
	if one.Error() != "flash-density map: line 3: why; and 1 more" {
		t.Error(one)
	}
	values := make([]float32, 12)
	values[7] = -1
	m := &DensityMap{meta: inventedMeta(), grid: DensityGrid{4, 3, 0, 10, 1, 1}, values: values}
	_, err := new(DensityMap).ReadFrom(strings.NewReader(string(storedDensity(t, m))))
	if err == nil || !strings.HasPrefix(err.Error(), "flash-density map: row 2, column 4: -1 is negative") {
		t.Error(err)
	}
}

// The formula is that of make.sh; the image has nine tiles, or five strips, whose last ones are not full.
func TestSeveralTiles(t *testing.T) {
	for _, name := range []string{"many-tiles.tif", "many-strips.tif"} {
		m := mustReadDensity(t, readDensityFixture(t, name), inventedMeta())
		if g := m.Grid(); g != (DensityGrid{40, 35, 10, 0, 0.5, 0.5}) {
			t.Fatalf("%s: %+v", name, g)
		}
		for r := range 35 {
			for c := range 40 {
				v, ok := m.Cell(c, r)
				if ok != (r != 20 || c != 30) || ok && v != float64((r*7+c*13)%97) {
					t.Fatalf("%s, row %d, column %d: %v %v", name, r, c, v, ok)
				}
			}
		}
	}
	// With 200 bytes at the end lost, the faults name the last blocks and the rows of the map they hold.
	strips := readDensityFixture(t, "many-strips.tif")
	faults := faultsOf(t, strips[:len(strips)-200], inventedMeta())
	if !hasFault(faults, DensityFaultTruncated, "strip 5", "240 bytes at byte") {
		t.Error(faults)
	}
	// A value too high in the last cell is named by its place in the map, not in its strip.
	high := bytes.Clone(strips)
	copy(high[len(high)-2:], []byte{0xd0, 0x07}) // 2000
	if faults := faultsOf(t, high, inventedMeta()); len(faults) != 1 || !hasFault(faults, DensityFaultValue, "row 35, column 40",
		"2000 is implausible") {
		t.Error(faults)
	}
}
