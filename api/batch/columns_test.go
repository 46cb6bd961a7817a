package batch

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"levinward/api/assess"
	"levinward/tabletext"
)

// pinnedColumn is what a column has to mean, written by hand in testdata/columns.csv: the pointers from the contract
// of an input, units and symbols from IEC 62305-2:2010 and IEC 60364-7-712, what an empty cell means from the defaults of the contract.
type pinnedColumn struct{ name, pointer, unit, says, empty string }

func pinnedColumns(t *testing.T) []pinnedColumn {
	t.Helper()
	b, err := os.ReadFile("testdata/columns.csv")
	must(t, err)
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	must(t, err)
	var pinned []pinnedColumn
	for _, r := range rows[1:] {
		pinned = append(pinned, pinnedColumn{r[0], r[1], r[2], r[3], r[4]})
	}
	return pinned
}

// TestColumnsMeanWhatIsPinned compares the table to download (GET /v1/import-columns.csv), column by column.
func TestColumnsMeanWhatIsPinned(t *testing.T) {
	rows, err := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(Dictionary(), tabletext.Mark))).ReadAll()
	must(t, err)
	head := map[string]int{}
	for i, name := range rows[0] {
		head[name] = i
	}
	pinned := pinnedColumns(t)
	if len(rows)-1 != len(pinned) {
		t.Errorf("%d columns, %d are pinned", len(rows)-1, len(pinned))
	}
	for i, r := range rows[1:min(len(rows), len(pinned)+1)] {
		cell := func(name string) string { return r[head[name]] }
		p := pinned[i]
		if cell("column") != p.name || cell("unit") != p.unit || !strings.Contains(cell("meaning"), p.says) || cell("default") != p.empty {
			t.Errorf("row %d: %q in %q, %q, empty %q; want %+v", i+2, cell("column"), cell("unit"), cell("meaning"), cell("default"), p)
		}
	}
}

// Columns that stand nowhere in an input of their own; other tests hold what they do.
var notStored = map[string]string{
	"structure_preset":     "fills in other fields",
	"line_1_preset":        "fills in other fields",
	"no_lines":             "empties the list of lines",
	"line_1_branches_from": "names another line of the row, see TestABranchNamesALineOfItsRow",
	"remark":               "is not read",
}

// beside is what must stand beside a column for it to be accepted; line_1_ stands for the line of the column.
var besideColumn = map[string]map[string]string{
	"thunderstorm_days_per_year":                    {"ground_flashes_per_km2_year": ""},
	"thunderstorm_days_relation":                    {"ground_flashes_per_km2_year": "", "thunderstorm_days_per_year": "65"},
	"flash_density_map":                             {"ground_flashes_per_km2_year": ""},
	"flash_density_lower_90":                        {"flash_density_upper_90": "900", "ground_flashes_per_km2_year": "99"},
	"flash_density_upper_90":                        {"flash_density_lower_90": "0.01", "ground_flashes_per_km2_year": "1"},
	"earth_measured_on":                             {"earth_resistance_ohm": "7.77"},
	"earth_measured_by":                             {"earth_resistance_ohm": "7.77"},
	"line_1_end_in_explosive_zone":                  {"explosion_zone": "2_22"},
	"line_1_shield_bonded":                          {"line_1_shield": "shielded"},
	"line_1_shield_resistance_ohm_per_km":           {"line_1_shield": "shielded"},
	"line_1_origin":                                 {"line_1_current": "dc"},
	"line_1_open_circuit_v":                         {"line_1_origin": "photovoltaic"},
	"line_1_temperature_coefficient_per_k":          {"line_1_origin": "photovoltaic"},
	"line_1_lowest_temperature_c":                   {"line_1_origin": "photovoltaic"},
	"line_1_short_circuit_a":                        {"line_1_origin": "photovoltaic"},
	"line_1_equipment_max_input_v":                  {"line_1_origin": "photovoltaic"},
	"line_1_building":                               {"line_1_origin": "photovoltaic"},
	"line_1_array_place":                            {"line_1_origin": "photovoltaic"},
	"line_1_separation_distance_kept":               {"line_1_origin": "photovoltaic"},
	"line_1_strings":                                {"line_1_origin": "photovoltaic"},
	"line_1_combiner_boxes":                         {"line_1_origin": "photovoltaic"},
	"line_1_battery_can_feed":                       {"line_1_origin": "photovoltaic"},
	"line_1_battery_max_v":                          {"line_1_origin": "photovoltaic"},
	"line_1_battery_short_circuit_ka":               {"line_1_origin": "photovoltaic"},
	"line_1_cable":                                  {"line_1_service": "telecom"},
	"line_1_pairs":                                  {"line_1_service": "telecom"},
	"line_1_shield_conductor_resistance_ohm_per_km": {"line_1_shield": "shielded"},
	"line_1_connection_type":                        {"line_1_system": "TN-S"},
}

// Values of columns for which not every number within limits will do.
var chosenValues = map[string][2]string{
	"line_1_phases":          {"1", "3"},
	"line_1_source_phases":   {"1", "3"},
	"line_1_far_end":         {"battery", "other"}, // structure needs a neighbour
	"earth_measured_on":      {"2026-02-28", "2024-02-29"},
	"next_inspection":        {"2027-01-31", "2028-02-29"},
	"down_conductors":        {"4", "12"},
	"line_1_strings":         {"2", "4"},
	"line_1_max_operating_v": {"261", "262"}, // not below 230 V
	"earth_connection":       {"none", "unknown"},
}

// twoValues are values of the n-th column that no other column of numbers or texts has.
func twoValues(c *Column, n int) [2]string {
	if v, ok := chosenValues[c.Name]; ok {
		return v
	}
	if names := c.field.Names(); names != nil {
		return [2]string{names[len(names)-1], names[0]}
	}
	switch c.field.Type.Kind() {
	case reflect.Bool:
		return [2]string{"yes", "no"}
	case reflect.String:
		return [2]string{fmt.Sprintf("text %d a", n), fmt.Sprintf("text %d b", n)}
	}
	low, high := c.field.Number.Min, c.field.Number.Max
	at := func(share float64) string {
		v := low + (high-low)*share
		if c.field.Integer {
			v = math.Round(v)
		}
		return strconv.FormatFloat(v, 'g', 6, 64)
	}
	share := float64(n+1) / 1000 * (1 + float64(n)/9973) // so that no multiple of ten of another share comes up
	return [2]string{at(share), at(share + 0.0005 + 0.02*float64(btoi(c.field.Integer)))}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// columnRow is a row of a file and what has to stand in the stored input.
type columnRow struct {
	column, pointer string
	cells           map[string]string
	want            any
}

// columnRows has two rows for every column, and for those of lines two for each of the six lines.
func columnRows(t *testing.T) []columnRow {
	var rows []columnRow
	base := map[string]string{"name": "Invented: base", "latitude": "-3.117", "longitude": "36.683", "ground_flashes_per_km2_year": "9.4",
		"length_m": "18", "width_m": "9", "height_m": "5.5"}
	pointers := map[string]string{}
	for _, p := range pinnedColumns(t) {
		pointers[p.name] = p.pointer
	}
	n := 0
	for i := range dictionary {
		c := &dictionary[i]
		if notStored[c.Name] != "" {
			continue
		}
		for line := 1; line <= c.Repeats; line++ {
			n++
			name := c.Name
			pointer := pointers[c.Name]
			cells := maps.Clone(base)
			if c.part == ofLine { // the lines before it are described too, so that its place is its number
				name = lineColumn(c.Name, line)
				pointer = strings.Replace(pointer, "/lines/0/", fmt.Sprintf("/lines/%d/", line-1), 1)
				for before := 1; before <= line; before++ {
					cells[lineColumn("line_1_length_m", before)] = "500"
				}
			}
			for k, v := range besideColumn[c.Name] {
				if strings.HasPrefix(k, "line_1_") {
					k = lineColumn(k, line)
				}
				cells[k] = v
			}
			for _, v := range twoValues(c, n) {
				cells = maps.Clone(cells)
				cells[name] = v
				rows = append(rows, columnRow{name, pointer, cells, stored(c, v)})
			}
		}
	}
	return rows
}

// stored is the value of a cell as JSON has it.
func stored(c *Column, cell string) any {
	switch c.field.Type.Kind() {
	case reflect.Bool:
		return cell == "yes"
	case reflect.Float64:
		if v, err := strconv.ParseFloat(cell, 64); err == nil {
			return v
		}
	}
	return cell
}

// flat lists the values of a JSON document by their pointers.
func flat(at string, v any, into map[string]any) map[string]any {
	switch v := v.(type) {
	case map[string]any:
		for k, e := range v {
			flat(at+"/"+k, e, into)
		}
	case []any:
		for i, e := range v {
			flat(at+"/"+strconv.Itoa(i), e, into)
		}
	default:
		into[at] = v
	}
	return into
}

// typedSheet writes the rows as a spreadsheet, numbers as numbers.
func typedSheet(t *testing.T, rows []columnRow) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	var header []string
	for _, r := range rows {
		for k := range r.cells {
			if !slices.Contains(header, k) {
				header = append(header, k)
			}
		}
	}
	set := func(column, row int, v any) {
		at, err := excelize.CoordinatesToCellName(column+1, row)
		must(t, err)
		must(t, f.SetCellValue(f.GetSheetName(0), at, v))
	}
	for i, name := range header {
		set(i, 1, name)
		for n, r := range rows {
			text := r.cells[name]
			if text != "" {
				set(i, n+2, stored(slots[name].Column, text))
			}
		}
	}
	b, err := f.WriteToBuffer()
	must(t, err)
	return b.Bytes()
}

// TestEveryColumnReachesItsPlace writes every column with two values that no other column has, and reads them from the
// input as it is stored: they stand where the pinned list says, and the two inputs differ nowhere else.
func TestEveryColumnReachesItsPlace(t *testing.T) {
	rows := columnRows(t)
	var cells []map[string]string
	for _, r := range rows {
		cells = append(cells, r.cells)
	}
	for format, file := range map[Format][]byte{CSV: csvOf(t, ',', cells...), XLSX: typedSheet(t, rows)} {
		read, err := readAll(file, Options{Format: format})
		must(t, err)
		if len(read) != len(rows) {
			t.Fatalf("%s: %d rows of %d", format, len(read), len(rows))
		}
		var before map[string]any
		for i, r := range rows {
			if len(read[i].Faults) > 0 {
				t.Errorf("%s, %s = %q: %v", format, r.column, r.cells[r.column], read[i].Faults)
				continue
			}
			canonical, _, err := assess.Canonical(read[i].Input)
			must(t, err)
			var doc any
			must(t, json.Unmarshal(canonical, &doc))
			values := flat("", doc, map[string]any{})
			if got := values[r.pointer]; got != r.want {
				t.Errorf("%s, %s = %q: %s holds %v", format, r.column, r.cells[r.column], r.pointer, got)
			}
			if i%2 == 1 {
				for at := range values {
					if values[at] != before[at] && at != r.pointer && !(r.column == "structure_id" && strings.HasSuffix(at, "/structure")) {
						t.Errorf("%s, %s: %s changes from %v to %v", format, r.column, at, before[at], values[at])
					}
				}
				if len(values) != len(before) {
					t.Errorf("%s, %s: %d values, %d with the other value", format, r.column, len(values), len(before))
				}
			}
			before = values
		}
	}
}

// The values are no help where two columns share one.
func TestValuesOfColumnsDiffer(t *testing.T) {
	seen := map[any]string{}
	for _, r := range columnRows(t) {
		if _, isBool := r.want.(bool); isBool || slots[r.column].field.Names() != nil || chosenValues[slots[r.column].Name] != [2]string{} {
			continue
		}
		if other := seen[r.want]; other != "" {
			t.Errorf("%s and %s are both written with %v", other, r.column, r.want)
		}
		seen[r.want] = r.column
	}
}

// A drop names the trunk by the id that its row gives it.
func TestABranchNamesALineOfItsRow(t *testing.T) {
	cells := map[string]string{"name": "Invented: base", "latitude": "-3.117", "longitude": "36.683", "ground_flashes_per_km2_year": "9.4",
		"length_m": "18", "width_m": "9", "height_m": "5.5", "line_1_length_m": "500", "line_2_branches_from": "line-1"}
	for trunk, column := range map[string]string{"line-1": "", "line-2": "line_2_branches_from", "line-3": "line_2_branches_from"} {
		cells["line_2_branches_from"] = trunk
		rows, err := readAll(csvOf(t, ',', cells), Options{Format: CSV})
		must(t, err)
		switch faults := rows[0].Faults; {
		case column == "" && (len(faults) > 0 || rows[0].Site.Input.Lines[1].Trunk != trunk):
			t.Errorf("%s: %v", trunk, faults)
		case column != "" && (len(faults) != 1 || faults[0].Column != column):
			t.Errorf("%s: %v", trunk, faults)
		}
	}
}
