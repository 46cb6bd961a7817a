package batch

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/peterstace/simplefeatures/geom"
	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"levinward/api/wire"
	"levinward/geo"
	"levinward/risk"
	"levinward/tabletext"
)

// readAll reads a whole file and returns its rows.
func readAll(file []byte, o Options) ([]Row, error) {
	var rows []Row
	err := Read(bytes.NewReader(file), o, func(r Row) bool {
		rows = append(rows, r)
		return true
	})
	return rows, err
}

func TestTemplatesAreAccepted(t *testing.T) {
	var first string
	for _, format := range []Format{CSV, XLSX, GeoJSON} {
		file, err := Template(format)
		must(t, err)
		rows, err := readAll(file, Options{Format: format})
		must(t, err)
		if len(rows) != 1 || rows[0].Input == nil || len(rows[0].Notes) > 0 {
			t.Fatalf("%s: rows %+v", format, rows)
		}
		if !strings.HasPrefix(rows[0].Input.Name, "Invented") {
			t.Errorf("%s: the example is not marked as invented: %q", format, rows[0].Input.Name)
		}
		body, err := json.Marshal(rows[0].Input)
		must(t, err)
		if first == "" {
			first = string(body)
		} else if string(body) != first {
			t.Errorf("%s gives\n%s\nCSV gives\n%s", format, body, first)
		}
	}
	if _, err := Template("ods"); err == nil {
		t.Error("a template of an unknown format")
	}
}

func TestTemplateSpreadsheetHoldsTheDictionary(t *testing.T) {
	file, err := Template(XLSX)
	must(t, err)
	f, err := excelize.OpenReader(bytes.NewReader(file))
	must(t, err)
	rows, err := f.GetRows(dictionarySheet)
	must(t, err)
	if len(rows) != len(Columns())+1 {
		t.Fatalf("%d rows for %d columns", len(rows), len(Columns()))
	}
	for i, c := range Columns() {
		if rows[i+1][0] != c.Name || rows[i+1][1] != c.Meaning || rows[i+1][3] != c.Allowed {
			t.Errorf("row %d: %q for %+v", i+2, rows[i+1], c)
		}
	}
}

// TestDictionary holds every column against what it says of itself: its
// example is accepted, and a value that it does not allow is a fault of it.
func TestDictionary(t *testing.T) {
	base := map[string]string{"name": "Invented: base", "latitude": "-3.117", "longitude": "86.683", "ground_flashes_per_km2_year": "9.4",
		"length_m": "18", "width_m": "9", "height_m": "5.5"}
	read := func(change map[string]string) Row {
		cells := map[string]string{}
		for k, v := range base {
			cells[k] = v
		}
		for k, v := range change {
			cells[k] = v
		}
		rows, err := readAll(csvOf(t, ',', cells), Options{Format: CSV, Presets: testPresets(t)})
		must(t, err)
		return rows[0]
	}
	beside := map[string]map[string]string{ // what must stand beside a cell for it to mean something
		"thunderstorm_days_per_year":                    {"ground_flashes_per_km2_year": ""},
		"thunderstorm_days_relation":                    {"ground_flashes_per_km2_year": "", "thunderstorm_days_per_year": "65"},
		"earth_connection":                              {"earth_resistance_ohm": "12"},
		"line_1_shield_bonded":                          {"line_1_shield": "shielded"},
		"line_1_shield_resistance_ohm_per_km":           {"line_1_shield": "shielded"},
		"line_1_origin":                                 {"line_1_current": "dc"},
		"line_1_lowest_temperature_c":                   {"line_1_origin": "photovoltaic"},
		"earth_measured_on":                             {"earth_resistance_ohm": "12"},
		"earth_measured_by":                             {"earth_resistance_ohm": "12"},
		"line_1_cable":                                  {"line_1_service": "telecom"},
		"line_1_pairs":                                  {"line_1_service": "telecom"},
		"line_1_shield_conductor_resistance_ohm_per_km": {"line_1_shield": "shielded"},
	}
	for _, c := range Columns() {
		if c.Meaning == "" || c.Allowed == "" {
			t.Errorf("%s says too little: %+v", c.Name, c)
		}
		if c.Example != "" {
			change := map[string]string{c.Name: c.Example}
			for k, v := range beside[c.Name] {
				change[k] = v
			}
			if r := read(change); len(r.Faults) > 0 {
				t.Errorf("%s: the example %q is refused: %v", c.Name, c.Example, r.Faults)
			}
		}
		if c.part == remark {
			continue
		}
		for _, name := range []string{c.Name, lineColumn(c.Name, MaxLines)} {
			if c.Repeats == 1 && name != c.Name {
				continue
			}
			wrong := strings.Repeat("no such value ", 20)
			r := read(map[string]string{name: wrong})
			if len(r.Faults) == 0 || !slices.ContainsFunc(r.Faults, func(f RowFault) bool { return f.Column == name && f.Value != "" }) {
				t.Errorf("%s: faults %v of a wrong value", name, r.Faults)
			}
		}
	}
}

// TestDefaultsOfTheDictionary fills in what the dictionary says of an empty cell, where that is a value
// that the cell can have: the site stays the same, and is another one with another value.
func TestDefaultsOfTheDictionary(t *testing.T) {
	base := map[string]string{"name": "Invented: base", "latitude": "-3.117", "longitude": "86.683", "ground_flashes_per_km2_year": "9.4",
		"length_m": "18", "width_m": "9", "height_m": "5.5", "line_1_withstand_kv": "2.5", "line_1_nominal_v": "230"}
	beside := map[string]map[string]string{
		"line_1_shield_bonded":  {"line_1_shield": "shielded"},
		"line_1_building":       {"line_1_current": "dc", "line_1_origin": "photovoltaic", "line_1_open_circuit_v": "150"},
		"line_1_equipment":      {"line_1_current": "dc"},
		"line_1_combiner_boxes": {"line_1_origin": "photovoltaic"},
	}
	site := func(name, value string) (*risk.Input, []RowFault) {
		cells := maps.Clone(base)
		maps.Copy(cells, beside[name])
		cells[name] = value
		rows, err := readAll(csvOf(t, ',', cells), Options{Format: CSV})
		must(t, err)
		if rows[0].Site == nil {
			return nil, rows[0].Faults
		}
		return &rows[0].Site.Input, rows[0].Faults
	}
	held := 0
	for _, c := range Columns() {
		// Sentences are no values. Of the leads nothing is taken before devices are checked.
		if c.Default == "" || strings.Contains(c.Default, " ") || c.Name == "line_1_lead_length_m" {
			continue
		}
		filled, faults := site(c.Name, c.Default)
		if faults != nil {
			if kind := c.field.Type.Kind(); kind != reflect.Float64 || c.Default[0] <= '9' { // "none" is no number
				t.Errorf("%s: the default %q is refused: %v", c.Name, c.Default, faults)
			}
			continue
		}
		held++
		if empty, _ := site(c.Name, ""); !reflect.DeepEqual(filled, empty) {
			t.Errorf("%s: with %q\n%+v\nempty\n%+v", c.Name, c.Default, filled, empty)
		}
		if other, faults := site(c.Name, c.Example); c.Example != c.Default && (faults != nil || reflect.DeepEqual(other, filled)) {
			t.Errorf("%s: %q is no other site than %q: %v", c.Name, c.Example, c.Default, faults)
		}
	}
	if held < 25 {
		t.Errorf("only %d defaults", held)
	}
}

// The table to download is the second sheet of the template, and says where a column repeats.
func TestDictionaryAsCSV(t *testing.T) {
	rows, err := csv.NewReader(bytes.NewReader(Dictionary())).ReadAll()
	must(t, err)
	file, err := Template(XLSX)
	must(t, err)
	f, err := excelize.OpenReader(bytes.NewReader(file))
	must(t, err)
	sheet, err := f.GetRows(dictionarySheet)
	must(t, err)
	if len(rows) != len(sheet) {
		t.Fatalf("%d rows, %d on the sheet", len(rows), len(sheet))
	}
	named := 0
	for i, r := range rows {
		for len(sheet[i]) < len(r) { // empty cells at the end are left out
			sheet[i] = append(sheet[i], "")
		}
		if !slices.Equal(r, sheet[i]) {
			t.Errorf("row %d: %q, on the sheet %q", i+1, r, sheet[i])
		}
		if strings.Contains(r[1], "Empty:") || strings.HasPrefix(r[0], "line_1_") != (r[7] == "also line_2_ to line_6_") {
			t.Errorf("row %d: %q", i+1, r)
		}
		switch {
		case i == 0: // the header
		case r[7] != "":
			named += MaxLines
		default:
			named++
		}
	}
	if named != len(slots) {
		t.Errorf("%d columns are named, a file can have %d", named, len(slots))
	}
}

// TestLimitsAreThoseOfTheContract asks at and just beyond every limit of a
// number whether the decoder of requests judges as the reader does.
func TestLimitsAreThoseOfTheContract(t *testing.T) {
	n := 0
	for _, c := range Columns() {
		if c.field.Number == nil || c.part == ofSite && c.path[0] == "flash_density" && c.path[1] == "thunderstorm_days_per_year" {
			continue
		}
		for _, v := range []float64{c.field.Number.Min, c.field.Number.Max, math.Nextafter(c.field.Number.Min, math.Inf(-1)),
			math.Nextafter(c.field.Number.Max, math.Inf(1)), 0.5} {
			n++
			d := &draft{options: &Options{}, row: &Row{Number: 1}}
			for k, x := range map[string]float64{"latitude": 1, "longitude": 1, "ground_flashes_per_km2_year": 1, "length_m": 1, "width_m": 1,
				"height_m": 1} {
				if k != c.Name {
					d.entries = append(d.entries, entry{slots[k], numberOf(x)})
				}
			}
			d.entries = append(d.entries, entry{slots["name"], textOf("Invented")}, entry{slots[c.Name], numberOf(v)})
			d.build()
			text, err := json.Marshal(d.tree)
			must(t, err)
			_, decoded := wire.Decode(text)
			_, read := wire.Inputs.Of(d.tree)
			_, faults := wire.Inputs.Judge(d.tree, nil, func(*wire.Input) []risk.Violation { return nil })
			if read != decoded || decoded != (len(faults) == 0) {
				t.Errorf("%s = %v: the decoder says %v, the reader %v with faults %v", c.Name, v, decoded, read, faults)
			}
		}
	}
	if n < 100 {
		t.Errorf("only %d values", n)
	}
}

// csvOf writes one row.
func csvOf(t testing.TB, separator rune, rows ...map[string]string) []byte {
	t.Helper()
	var header []string
	for _, r := range rows {
		for k := range r {
			if !slices.Contains(header, k) {
				header = append(header, k)
			}
		}
	}
	slices.Sort(header)
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Comma = separator
	must(t, w.Write(header))
	for _, r := range rows {
		record := make([]string, len(header))
		for i, k := range header {
			record[i] = r[k]
		}
		must(t, w.Write(record))
	}
	w.Flush()
	return b.Bytes()
}

// value is a cell of any format: a text, or a number.
type value struct {
	text   string
	number float64
	is     bool // a number
}

func (v value) string(decimal string) string {
	if !v.is {
		return v.text
	}
	return strings.Replace(plain(v.number), ".", decimal, 1)
}

func (v value) any() any {
	if v.is {
		return v.number
	}
	return v.text
}

// drawRow draws a row in which some cells may be wrong.
func drawRow(t *rapid.T) map[string]value {
	number := func(v float64) value { return value{number: v, is: true} }
	row := map[string]value{
		"name":      {text: "Invented: " + rapid.StringMatching(`[a-zäß ,;"']{0,12}x`).Draw(t, "name")},
		"latitude":  number(math.Round(rapid.Float64Range(-90, 90).Draw(t, "latitude")*1e6) / 1e6),
		"longitude": number(math.Round(rapid.Float64Range(-180, 180).Draw(t, "longitude")*1e6) / 1e6),
	}
	for _, name := range []string{"ground_flashes_per_km2_year", "length_m", "width_m", "height_m", "persons", "soil_resistivity_ohm_m",
		"hours_per_year", "line_1_length_m", "line_2_withstand_kv"} {
		if rapid.IntRange(0, 9).Draw(t, name) > 0 {
			row[name] = number(math.Round(rapid.Float64Range(-1, 200).Draw(t, name)*1000) / 1000)
		}
	}
	for name, values := range map[string][]string{
		"environment": {"rural", "Urban", "town"}, "lps": {"IV", "none", "V"}, "line_1_preset": {"village", "array", "feeder", "ring"},
		"structure_preset": {"clinic", "school", "store", "hut"},
		"fire_risk":        {"high", "low"}, "natural_lps": {"yes", "no", "perhaps"}, "line_1_bonding_spd": {"II", "0.002"},
		"line_2_current": {"dc", "ac"}, "line_2_system": {"TT", "IT"}, "no_lines": {"no", "yes"},
	} {
		if v := rapid.SampledFrom(append(values, "", "", "")).Draw(t, name); v != "" {
			row[name] = value{text: v}
		}
	}
	return row
}

// outcome is what a reader made of a row, without what differs by format.
func outcome(t *rapid.T, rows []Row, err error) string {
	if err != nil || len(rows) != 1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	if rows[0].Input != nil {
		body, err := json.Marshal(rows[0].Input)
		if err != nil {
			t.Fatal(err)
		}
		return string(body)
	}
	var columns []string
	for _, f := range rows[0].Faults {
		if strings.Contains(f.Reason, "not accepted as an input") {
			t.Fatalf("a fault that nobody can name: %v", f)
		}
		columns = append(columns, f.Column)
	}
	return strings.Join(columns, " ")
}

// TestFormatsAgree writes the same row in every format and wants the same input, or faults of the same columns.
func TestFormatsAgree(t *testing.T) {
	presets := testPresets(t)
	rapid.Check(t, func(rt *rapid.T) {
		row := drawRow(rt)
		for _, c := range []string{"name", "latitude", "longitude", "ground_flashes_per_km2_year", "length_m", "width_m", "height_m"} {
			if _, there := row[c]; !there {
				row[c] = value{}
			}
		}
		texts := func(decimal string) map[string]string {
			m := map[string]string{}
			for k, v := range row {
				m[k] = v.string(decimal)
			}
			if decimal == "," && m["line_1_bonding_spd"] == "0.002" {
				m["line_1_bonding_spd"] = "0,002"
			}
			return m
		}
		rows, err := readAll(csvOf(t, ',', texts(".")), Options{Format: CSV, Presets: presets})
		want := outcome(rt, rows, err)
		others := map[string]func() ([]Row, error){
			"semicolons and decimal commas": func() ([]Row, error) {
				return readAll(csvOf(t, ';', texts(",")), Options{Format: CSV, Presets: presets, Decimal: DecimalComma})
			},
			"tabs": func() ([]Row, error) {
				return readAll(csvOf(t, '\t', texts(".")), Options{Format: CSV, Presets: presets})
			},
			"XLSX": func() ([]Row, error) { return readAll(xlsxOf(t, row), Options{Format: XLSX, Presets: presets}) },
			"GeoJSON": func() ([]Row, error) {
				return readAll(geojsonOf(t, row), Options{Format: GeoJSON, Presets: presets})
			},
		}
		for name, read := range others {
			rows, err := read()
			if got := outcome(rt, rows, err); got != want {
				rt.Fatalf("%s gives\n%s\nCSV gives\n%s", name, got, want)
			}
		}
	})
}

func xlsxOf(t testing.TB, row map[string]value) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	i := 0
	for k, v := range row {
		must(t, f.SetCellValue("Sheet1", letters(i)+"1", k))
		if v.any() != "" {
			must(t, f.SetCellValue("Sheet1", letters(i)+"2", v.any()))
		}
		i++
	}
	var b bytes.Buffer
	must(t, f.Write(&b))
	return b.Bytes()
}

func geojsonOf(t testing.TB, row map[string]value) []byte {
	t.Helper()
	properties := map[string]any{}
	for k, v := range row {
		if k != "latitude" && k != "longitude" {
			properties[k] = v.any()
		}
	}
	body, err := json.Marshal(map[string]any{"features": []any{map[string]any{"type": "Feature", "properties": properties,
		"geometry": map[string]any{"type": "Point", "coordinates": []float64{row["longitude"].number, row["latitude"].number}}}},
		"type": "FeatureCollection"})
	must(t, err)
	return body
}

// TestWhatGDALWrote wants of files that another tool wrote of the same rows the same inputs.
func TestWhatGDALWrote(t *testing.T) {
	inputs := func(name string) string {
		raw, err := os.ReadFile(filepath.Join(importDir, name))
		must(t, err)
		format, err := FormatOf(name)
		must(t, err)
		rows, err := readAll(raw, Options{Format: format, Presets: testPresets(t)})
		must(t, err)
		var all []string
		for _, r := range rows {
			body, err := json.Marshal(r.Input)
			must(t, err)
			all = append(all, string(body))
		}
		return strings.Join(all, "\n")
	}
	want := inputs("good.csv")
	for _, name := range []string{"gdal.xlsx", "gdal.geojson"} {
		if got := inputs(name); got != want {
			t.Errorf("%s gives\n%s\ngood.csv gives\n%s", name, got, want)
		}
	}
}

func TestPresetsAreDefaultsOfTheRow(t *testing.T) {
	raw, err := os.ReadFile(filepath.Join(importDir, "good.csv"))
	must(t, err)
	rows, err := readAll(raw, Options{Format: CSV, Presets: testPresets(t)})
	must(t, err)
	school := rows[1].Input
	s := school.Structures[0]
	if s.ID != "school" || *s.Length != 24 || *s.Height != 5.1 {
		t.Errorf("the cell must count instead of the type: %v %v %v", s.ID, *s.Length, *s.Height)
	}
	zones := *s.Zones
	if len(zones) != 2 || zones[0].FireRisk.String() != "high" || *zones[0].Hours != 2000 {
		t.Errorf("the inside zone of the type must take the cell: %+v", zones[0])
	}
	line := (*school.Lines)[0]
	if line.ID != "village" || line.Structure != "school" || *line.Length != 120 || *line.Withstand != 2.5 || *line.Electrical.Nominal != 230 {
		t.Errorf("line %+v", line)
	}
	if lines := rows[2].Input.Lines; lines != nil {
		t.Errorf("a row that says nothing of lines has %v", lines)
	}
}

func TestPresetFaults(t *testing.T) {
	raw := func(s string) map[string]json.RawMessage {
		return map[string]json.RawMessage{"hut": json.RawMessage(s)}
	}
	for _, c := range []struct{ name, structure, line, want string }{
		{"sound", `{"length_m": 4, "zones": [{"id": "inside", "surface": "wood"}]}`, `{"electrical": {"current": "dc"}}`, ""},
		{"unknown field", `{"lenght_m": 4}`, `{}`, "/lenght_m"},
		{"limits", `{"length_m": 0, "persons": "many"}`, `{}`, "/length_m /persons"},
		{"within lists", `{"zones": [{"surface": "sand"}]}`, `{}`, "/zones/0/surface /zones/0/id"},
		{"no object", `[1]`, `null`, " "},
		{"null", `{"length_m": null}`, `{}`, "/length_m"},
		{"of a place", `{"parts": []}`, `{"to": "mast", "structure": "hut"}`, "/parts /parts /structure /to"},
		{"spd", `{}`, `{"bonding_spd": 0.01, "coordinated_spd": 0.002}`, "/bonding_spd"},
		{"empty list", `{"zones": []}`, `{"sections": {}}`, "/zones /sections"},
	} {
		err := Presets{Structures: raw(c.structure), Lines: raw(c.line)}.Check()
		var found []string
		var faults *PresetError
		if errors.As(err, &faults) {
			for _, f := range faults.Faults {
				found = append(found, f.Pointer)
			}
		}
		if got := strings.Join(found, " "); got != c.want {
			t.Errorf("%s: faults at %q, want %q: %v", c.name, got, c.want, err)
		}
	}
	if err := Read(strings.NewReader(""), Options{Format: CSV, Presets: Presets{Lines: raw(`{"x":1}`)}}, nil); err == nil {
		t.Error("faulty presets are used")
	}
}

// TestFootprint draws a building of known size and place and wants both back.
func TestFootprint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := orb.Point{rapid.Float64Range(-180, 180).Draw(t, "longitude"), rapid.Float64Range(-85, 85).Draw(t, "latitude")}
		frame, err := geo.NewFrame(at)
		must2(t, err)
		length, width := rapid.Float64Range(3, 200).Draw(t, "length"), rapid.Float64Range(3, 200).Draw(t, "width")
		turn := rapid.Float64Range(0, 2*math.Pi).Draw(t, "turn")
		var ring [][]float64
		for _, c := range [][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}, {-1, -1}} {
			x, y := c[0]*length/2, c[1]*width/2
			p := frame.LonLat(geo.XY{X: x*math.Cos(turn) - y*math.Sin(turn), Y: x*math.Sin(turn) + y*math.Cos(turn)})
			ring = append(ring, []float64{p[0], p[1]})
		}
		file, err := json.Marshal(map[string]any{"type": "FeatureCollection", "features": []any{map[string]any{"type": "Feature",
			"geometry": map[string]any{"type": "Polygon", "coordinates": [][][]float64{ring}},
			"properties": map[string]any{"name": "Invented: footprint", "ground_flashes_per_km2_year": 9.4, "height_m": 4,
				"protrusion_height_m": 12}}}})
		must2(t, err)
		rows, err := readAll(file, Options{Format: GeoJSON})
		must2(t, err)
		if rows[0].Input == nil {
			t.Fatalf("faults %v", rows[0].Faults)
		}
		in, site := rows[0].Input, rows[0].Site
		d, err := geo.GeodesicLength(at, orb.Point{*in.Location.Longitude, *in.Location.Latitude})
		must2(t, err)
		if d > 1e-3 {
			t.Fatalf("the location is %g m from the middle", d)
		}
		// IEC 62305-2:2010 A.2.1.1, and the circle of the protrusion around the middle (A.2.1.2), which holds
		// the box and its surroundings only where it is larger everywhere.
		box := length*width + 2*3*4*(length+width) + math.Pi*9*16
		least, most := math.Max(box, math.Pi*9*144), box+math.Pi*9*144
		if got := site.Input.Structures[0].Areas.Direct; got < least*(1-1e-6) || got > most {
			t.Fatalf("A_D %g m2, at least %g and at most %g", got, least, most)
		}
	})
}

func must2(t *rapid.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// TestCentroid holds the centroid of outlines with holes against a general geometry library.
func TestCentroid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := orb.Point{rapid.Float64Range(-170, 170).Draw(t, "longitude"), rapid.Float64Range(-60, 60).Draw(t, "latitude")}
		corner := func(x, y float64) orb.Point { return orb.Point{at[0] + x*1e-5, at[1] + y*1e-5} }
		a, b := rapid.Float64Range(10, 40).Draw(t, "a"), rapid.Float64Range(10, 40).Draw(t, "b")
		polygon := orb.Polygon{
			{corner(0, 0), corner(a, 0), corner(a, b), corner(a/2, b/3), corner(0, b), corner(0, 0)},
			{corner(1, 1), corner(2, 1), corner(2, 2), corner(1, 2), corner(1, 1)},
		}
		got, fault := centroid(polygon)
		if fault != "" {
			t.Fatal(fault)
		}
		var text []string
		for _, ring := range polygon {
			var points []string
			for _, p := range ring {
				points = append(points, fmt.Sprintf("%.17g %.17g", p[0]-at[0], p[1]-at[1]))
			}
			text = append(text, "("+strings.Join(points, ",")+")")
		}
		g, err := geom.UnmarshalWKT("POLYGON(" + strings.Join(text, ",") + ")")
		must2(t, err)
		want, _ := g.Centroid().XY()
		// In degrees the centroid is the same up to the curvature over a few metres.
		if math.Abs(got[0]-at[0]-want.X) > 2e-9 || math.Abs(got[1]-at[1]-want.Y) > 2e-9 {
			t.Fatalf("centroid %v, reference %v", orb.Point{got[0] - at[0], got[1] - at[1]}, want)
		}
	})
}

// TestDateFormats holds what counts as a date against a library that shows numbers in a format.
func TestDateFormats(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	shown := func(style *excelize.Style) string {
		id, err := f.NewStyle(style)
		must(t, err)
		must(t, f.SetCellValue("Sheet1", "A1", 45352.53))
		must(t, f.SetCellStyle("Sheet1", "A1", "A1", id))
		text, err := f.GetCellValue("Sheet1", "A1")
		must(t, err)
		return text
	}
	// A number shows its digits 45352 or 45353, with anything between thousands, or as a power of ten.
	isNumber := func(text string) bool {
		digits := strings.Map(func(r rune) rune {
			if r >= '0' && r <= '9' || r == 'E' {
				return r
			}
			return -1
		}, text)
		return strings.HasPrefix(digits, "4535") || strings.HasPrefix(digits, "454E") || strings.HasPrefix(digits, "45E") ||
			strings.HasPrefix(digits, "5E") || text == "45352 1/2"
	}
	for id := range 50 {
		if id >= 23 && id <= 36 || id == 48 { // without a meaning outside some locales, or a power of ten of three digits
			continue
		}
		if text := shown(&excelize.Style{NumFmt: id}); isNumber(text) == builtInDate(strconv.Itoa(id)) {
			t.Errorf("format %d shows %q", id, text)
		}
	}
	for _, code := range []string{"yyyy-mm-dd", "dd/mm/yy", "h:mm", "[h]:mm", "mmm", "0.00", "#,##0", `0" days"`, `0.0\d`, "General",
		`[Red]0.0`, `[$-409]d mmm yyyy`, `[>100]0`, `0_m`, "0.00E+00", "ss"} {
		if text := shown(&excelize.Style{CustomNumFmt: &code}); isNumber(text) == showsDate(code) {
			t.Errorf("format %q shows %q", code, text)
		}
	}
}

func TestNumbersReadInOneWay(t *testing.T) {
	for _, c := range []struct {
		text         string
		point, comma float64 // NaN: refused
	}{
		{"18", 18, 18}, {"-3.5", -3.5, math.NaN()}, {"-3,5", math.NaN(), -3.5}, {"1,234", math.NaN(), 1.234}, {"1.234", 1.234, math.NaN()},
		{"1.234,5", math.NaN(), math.NaN()}, {"1,234.5", math.NaN(), math.NaN()}, {"1,2,3", math.NaN(), math.NaN()}, {"+8", 8, 8},
		{"\u22128", -8, -8}, {"--8", math.NaN(), math.NaN()},
		{"1e3", 1000, 1000}, {"1e-3", 0.001, 0.001}, {"1e", math.NaN(), math.NaN()}, {"1e400", math.NaN(), math.NaN()},
		{".5", 0.5, math.NaN()}, {",5", math.NaN(), 0.5}, {".", math.NaN(), math.NaN()},
		{"0x10", math.NaN(), math.NaN()}, {"1_000", math.NaN(), math.NaN()}, {"Inf", math.NaN(), math.NaN()}, {"NaN", math.NaN(), math.NaN()},
		{"1 000", math.NaN(), math.NaN()}, {"1'000", math.NaN(), math.NaN()},
		{"18 m", math.NaN(), math.NaN()}, {"", math.NaN(), math.NaN()}, {"٣", math.NaN(), math.NaN()}, {"-", math.NaN(), math.NaN()},
	} {
		for decimal, want := range map[Decimal]float64{DecimalPoint: c.point, DecimalComma: c.comma} {
			got, reason := tabletext.Number(c.text, decimal)
			if math.IsNaN(want) != (reason != "") || reason == "" && got != want {
				t.Errorf("%q with decimal %s: %v %q, want %v", c.text, decimal, got, reason, want)
			}
		}
	}
}

func TestReadStopsWhenNoMoreIsWanted(t *testing.T) {
	for _, format := range []Format{CSV, XLSX, GeoJSON} {
		file := manyRows(t, format, 5)
		n := 0
		err := Read(bytes.NewReader(file), Options{Format: format}, func(Row) bool { n++; return n < 2 })
		if err != nil || n != 2 {
			t.Errorf("%s: %d rows, %v", format, n, err)
		}
	}
}

// TestSpreadsheetFromAStream leaves nothing behind of the copy it needs.
func TestSpreadsheetFromAStream(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	n := 0
	err := Read(io.MultiReader(bytes.NewReader(manyRows(t, XLSX, 3))), Options{Format: XLSX}, func(r Row) bool {
		if r.Input != nil {
			n++
		}
		return true
	})
	must(t, err)
	left, err := os.ReadDir(dir)
	must(t, err)
	if n != 3 || len(left) > 0 {
		t.Errorf("%d rows, left behind %v", n, left)
	}
}

func TestRefusedFiles(t *testing.T) {
	row := `<row r="1"><c t="inlineStr" r="A1"><is><t>name</t></is></c></row>`
	whole := sheetOf(t, 3, nil)
	good, err := os.ReadFile(filepath.Join(importDir, "good.csv"))
	must(t, err)
	for _, c := range []struct {
		name string
		file []byte
		o    Options
		want string
	}{
		{"CSV too large", good, Options{Format: CSV, MaxBytes: 500}, "larger than 500 bytes"},
		{"XLSX too large", whole, Options{Format: XLSX, MaxBytes: 500}, "larger than 500 bytes"},
		{"GeoJSON too large", manyRows(t, GeoJSON, 3), Options{Format: GeoJSON, MaxBytes: 500}, "larger than 500 bytes"},
		{"XLSX cut off", whole[:len(whole)/2], Options{Format: XLSX}, "damaged or was not received whole"},
		{"sheet cut off", workbookOf(t, `<worksheet><sheetData>`+row+`<row r="2"><c r="A2"><v>1</v>`), Options{Format: XLSX}, "required and not in the header"},
		{"sheet cut off within a row", workbookOf(t, `<worksheet><sheetData><row r="1"><c r="A1"><v>1</v>`), Options{Format: XLSX}, "damaged from here on"},
		{"sheet without an end", workbookOf(t, `<worksheet><sheetData>`), Options{Format: XLSX}, "damaged from here on"},
		{"rows out of order", workbookOf(t, `<worksheet><sheetData><row r="2"/><row r="1"/></sheetData></worksheet>`), Options{Format: XLSX}, `row 2: is followed by a row of number "1"`},
		{"row beyond all", workbookOf(t, `<worksheet><sheetData><row r="9999999"/></sheetData></worksheet>`), Options{Format: XLSX}, "is followed by a row of number"},
		{"cell beyond all", workbookOf(t, `<worksheet><sheetData><row r="1"><c r="ZZZ1"><v>1</v></c></row></sheetData></worksheet>`), Options{Format: XLSX}, `holds a cell at "ZZZ1"`},
		{"many parts", manyParts(t, 100_000), Options{Format: XLSX}, "more parts than any has"},
		{"many merges", workbookOf(t, `<worksheet><sheetData/>`+strings.Repeat(`<mergeCell ref="A3:B4"/>`, 300)+`</worksheet>`), Options{Format: XLSX}, "more than 200 merged cells"},
		{"empty sheet", workbookOf(t, `<worksheet><sheetData/></worksheet>`), Options{Format: XLSX}, "no row but blank ones"},
		{"a row without end", workbookOf(t, `<worksheet><sheetData><row r="1">`+strings.Repeat(`<c><v>1</v></c>`, 100_000)), Options{Format: XLSX}, "longer than 65536 bytes"},
		{"cells without end", workbookOf(t, `<worksheet><sheetData><row r="1">`+strings.Repeat(`<c/>`, 500_000)), Options{Format: XLSX}, "takes more than"},
		{"a text without end", workbookOf(t, `<worksheet><sheetData><row r="1"><c t="str"><v>`+strings.Repeat("x", 2<<20)), Options{Format: XLSX}, "takes more than"},
		{"long texts", workbookOf(t, `<worksheet><sheetData><row r="1"><c t="str"><v>`+strings.Repeat("x", 70_000)+`</v></c></row></sheetData></worksheet>`), Options{Format: XLSX}, "longer than 65536 bytes"},
		{"a feature without end", []byte(`{"type":"FeatureCollection","features":[{"type":"` + strings.Repeat("x", 3<<20)), Options{Format: GeoJSON}, "row 1: takes more than"},
		{"member without end", []byte(`{"type":"FeatureCollection","name":"` + strings.Repeat("x", 3<<20)), Options{Format: GeoJSON}, "takes more than"},
		{"text after the collection", []byte(`{"type":"FeatureCollection","features":[]} {}`), Options{Format: GeoJSON}, "text after the collection"},
		{"no features", []byte(`{"type":"FeatureCollection"}`), Options{Format: GeoJSON}, "FeatureCollection"},
		{"two lists", []byte(`{"features":[],"features":[]}`), Options{Format: GeoJSON}, "two lists"},
		{"no JSON", []byte("{\"features\":[\n}"), Options{Format: GeoJSON}, "no JSON after feature 0, about line 2"},
		{"UTF-16 JSON", []byte("\xff\xfe{\x00"), Options{Format: GeoJSON}, "UTF-16"},
		{"unknown format", good, Options{Format: "ods"}, "format must be"},
		{"unknown decimal", good, Options{Format: CSV, Decimal: "dot"}, "decimal must be"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, err := readAll(c.file, c.o)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%d rows, error %v, want %q", len(rows), err, c.want)
			}
		})
	}
}

// TestErrorsOfTheReaderStayVisible keeps what broke the connection apart from what is wrong with the file.
func TestErrorsOfTheReaderStayVisible(t *testing.T) {
	gone := errors.New("connection gone")
	for _, format := range []Format{CSV, XLSX, GeoJSON} {
		file := manyRows(t, format, 500)
		r := io.MultiReader(bytes.NewReader(file[:len(file)-20]), failing{gone})
		if err := Read(r, Options{Format: format}, func(Row) bool { return true }); !errors.Is(err, gone) {
			t.Errorf("%s: %v", format, err)
		}
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// TestPackedToNothing reads a sheet of 300 MB that packs to little.
func TestPackedToNothing(t *testing.T) {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w := workbookParts(t, z)
	io.WriteString(w, `<worksheet><sheetData><row r="1"><c t="str"><v>`)
	spaces := bytes.Repeat([]byte{' '}, 1<<20)
	for range 300 {
		w.Write(spaces)
	}
	must(t, z.Close())
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := readAll(b.Bytes(), Options{Format: XLSX})
	runtime.ReadMemStats(&after)
	if err == nil || !strings.Contains(err.Error(), "takes more than") {
		t.Errorf("error %v", err)
	}
	if grown := after.TotalAlloc - before.TotalAlloc; grown > 32<<20 {
		t.Errorf("allocated %d bytes of a file of %d", grown, b.Len())
	}
}

// workbookParts writes all of a workbook but its sheet, which is written to what is returned.
func workbookParts(t testing.TB, z *zip.Writer) io.Writer {
	t.Helper()
	const link = `<Relationships><Relationship Id="r1" Type="x/%s" Target="%s"/></Relationships>`
	for _, p := range [][2]string{
		{"_rels/.rels", fmt.Sprintf(link, "officeDocument", "xl/workbook.xml")},
		{"xl/workbook.xml", `<workbook xmlns:r="x"><sheets><sheet name="sites" r:id="r1"/></sheets></workbook>`},
		{"xl/_rels/workbook.xml.rels", fmt.Sprintf(link, "worksheet", "worksheets/sheet1.xml")},
	} {
		w, err := z.Create(p[0])
		must(t, err)
		io.WriteString(w, p[1])
	}
	w, err := z.Create("xl/worksheets/sheet1.xml")
	must(t, err)
	return w
}

func workbookOf(t testing.TB, sheet string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	io.WriteString(workbookParts(t, z), sheet)
	must(t, z.Close())
	return b.Bytes()
}

// manyParts writes an archive of empty parts.
func manyParts(t testing.TB, n int) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := range n {
		_, err := z.Create(strconv.Itoa(i))
		must(t, err)
	}
	must(t, z.Close())
	return b.Bytes()
}

// manyRows writes n sites.
func manyRows(t testing.TB, format Format, n int) []byte {
	t.Helper()
	switch format {
	case XLSX:
		f := excelize.NewFile()
		defer f.Close()
		w, err := f.NewStreamWriter("Sheet1")
		must(t, err)
		must(t, w.SetRow("A1", usualHeader))
		for i := range n {
			row := slices.Clone(usualRow)
			row[0] = fmt.Sprintf("INV-%d", i)
			must(t, w.SetRow("A"+strconv.Itoa(i+2), row))
		}
		must(t, w.Flush())
		var b bytes.Buffer
		must(t, f.Write(&b))
		return b.Bytes()
	case GeoJSON:
		var b bytes.Buffer
		b.WriteString(`{"type": "FeatureCollection", "features": [`)
		for i := range n {
			if i > 0 {
				b.WriteString(",\n")
			}
			fmt.Fprintf(&b, `{"type": "Feature", "geometry": {"type": "Point", "coordinates": [86.683, -3.117]}, "properties": `+
				`{"reference": "INV-%d", "name": "Invented: feature", "ground_flashes_per_km2_year": 9.4, "flash_density_year": 2024, `+
				`"length_m": 18, "width_m": 9, "height_m": 5.5, "natural_lps": false}}`, i)
		}
		b.WriteString("]}")
		return b.Bytes()
	}
	var b bytes.Buffer
	b.WriteString("reference,name,latitude,longitude,ground_flashes_per_km2_year,flash_density_year," +
		"length_m,width_m,height_m,natural_lps,line_1_installation,line_1_length_m\n")
	for i := range n {
		fmt.Fprintf(&b, "INV-%d,Invented: row,-3.117,86.683,9.4,2024,18,9,5.5,no,aerial,640\n", i)
	}
	return b.Bytes()
}

// rowsOnTheFly makes rows while they are read, so that a test of memory does not hold them.
type rowsOnTheFly struct {
	pending []byte
	next, n int
}

func (r *rowsOnTheFly) Read(p []byte) (int, error) {
	if len(r.pending) == 0 {
		switch {
		case r.next == 0:
			r.pending = []byte("reference,name,latitude,longitude,ground_flashes_per_km2_year,length_m,width_m,height_m\n")
		case r.next <= r.n:
			r.pending = fmt.Appendf(nil, "INV-%d,Invented: row,-3.117,86.683,9.4,18,9,5.5\n", r.next)
		default:
			return 0, io.EOF
		}
		r.next++
	}
	n := copy(p, r.pending)
	r.pending = r.pending[n:]
	return n, nil
}

// TestMemoryDoesNotGrow compares the memory in use along 200 000 rows.
func TestMemoryDoesNotGrow(t *testing.T) {
	const rows, every = 200_000, 40_000
	inUse := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	var first, most uint64
	n := 0
	err := Read(&rowsOnTheFly{n: rows}, Options{Format: CSV}, func(r Row) bool {
		if r.Input == nil {
			t.Fatalf("faults %v", r.Faults)
		}
		if n++; n%every == 0 {
			if m := inUse(); first == 0 {
				first = m
			} else {
				most = max(most, m)
			}
		}
		return true
	})
	must(t, err)
	if n != rows {
		t.Errorf("%d rows", n)
	}
	if most > first+4<<20 {
		t.Errorf("%d bytes in use after %d rows, %d later", first, every, most)
	}
}

// fuzzed reads any bytes: no panic, every row either an input or faults, every fault with a reason.
func fuzzed(t *testing.T, file []byte, o Options) {
	last := 0
	err := Read(bytes.NewReader(file), o, func(r Row) bool {
		if (r.Input == nil) == (len(r.Faults) == 0) || (r.Input == nil) != (r.Site == nil) {
			t.Fatalf("row %+v", r)
		}
		if r.Number <= last {
			t.Fatalf("row %d after row %d", r.Number, last)
		}
		last = r.Number
		for _, f := range r.Faults {
			if f.Reason == "" || strings.Contains(f.Reason, "not accepted as an input") {
				t.Fatalf("fault %+v", f)
			}
		}
		if r.Input != nil {
			body, err := json.Marshal(r.Input)
			must(t, err)
			if _, ok := wire.Decode(body); !ok {
				t.Fatalf("an input that the service would refuse: %s", body)
			}
		}
		return true
	})
	var whole *FileError
	if err != nil && !errors.As(err, &whole) {
		t.Fatalf("error %v", err)
	}
}

func seeds(f *testing.F, suffix string) {
	files, err := filepath.Glob(filepath.Join(importDir, "*"+suffix))
	must(f, err)
	for _, path := range files {
		raw, err := os.ReadFile(path)
		must(f, err)
		if len(raw) < 10_000 {
			f.Add(raw)
		}
	}
}

func FuzzCSV(f *testing.F) {
	seeds(f, ".csv")
	presets := testPresets(f)
	f.Fuzz(func(t *testing.T, file []byte) {
		fuzzed(t, file, Options{Format: CSV, Presets: presets})
		fuzzed(t, file, Options{Format: CSV, Presets: presets, Decimal: DecimalComma})
	})
}

func FuzzGeoJSON(f *testing.F) {
	seeds(f, ".geojson")
	presets := testPresets(f)
	f.Fuzz(func(t *testing.T, file []byte) { fuzzed(t, file, Options{Format: GeoJSON, Presets: presets}) })
}

func FuzzXLSX(f *testing.F) {
	seeds(f, ".xlsx")
	f.Fuzz(func(t *testing.T, file []byte) { fuzzed(t, file, Options{Format: XLSX}) })
}

// FuzzSheet puts any bytes where a sheet stands.
func FuzzSheet(f *testing.F) {
	book := sheetOf(f, 3, func(x *excelize.File, s string) { must(f, x.MergeCell(s, "A3", "B3")) })
	z, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	must(f, err)
	for _, part := range z.File {
		if strings.HasSuffix(part.Name, "sheet1.xml") {
			r, err := part.Open()
			must(f, err)
			sheet, err := io.ReadAll(r)
			must(f, err)
			f.Add(sheet)
		}
	}
	var b strings.Builder
	b.WriteString(`<worksheet><sheetData>`)
	for r, row := range [][]any{usualHeader, usualRow} {
		fmt.Fprintf(&b, `<row r="%d">`, r+1)
		for _, v := range row {
			fmt.Fprintf(&b, `<c t="str"><v>%v</v></c>`, v)
		}
		b.WriteString(`</row>`)
	}
	f.Add([]byte(b.String() + `<row><c t="b"><f>1</f><v>1</v></c><c t="e"><v>#N/A</v></c></row></sheetData><mergeCells><mergeCell ` +
		`ref="A3:B3"/></mergeCells></worksheet>`))
	f.Fuzz(func(t *testing.T, sheet []byte) { fuzzed(t, workbookOf(t, string(sheet)), Options{Format: XLSX}) })
}
