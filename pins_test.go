package main

import (
	"encoding/csv"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk/earth"
	"levinward/risk/ed2"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

// The files testdata/reference/{values-*,constants,numbers,defaults}.csv hold every number of the program a second time, typed
// from the project's reading notes and never written by the program. Where the two differ, look the value up: a change
// of one side alone is a mistake.

// pinnedTable is a table of a reference file.
type pinnedTable struct {
	number, clause string
	columns        []string
	rows           []pinnedRow
}

type pinnedRow struct {
	text, mark, remark string
	values             []float64
}

// pinnedFiles are the files of tables and the tables of the program that each of them holds.
func pinnedFiles() map[string][]*trace.Table {
	return map[string][]*trace.Table{
		"values-ed2.csv":   ed2.Edition{}.Tables(),
		"values-spd.csv":   spd.Tables(),
		"values-earth.csv": earth.Tables(),
	}
}

func TestPinnedTables(t *testing.T) {
	values := 0
	for file, tables := range pinnedFiles() {
		pins := readPinnedTables(t, file)
		for _, f := range compareTables(pins, tables) {
			t.Errorf("%s: %s", file, f)
		}
		for _, table := range pins {
			for _, r := range table.rows {
				values += len(r.values)
			}
		}
	}
	t.Logf("%d values compared", values)
}

// TestPinnedTablesNoticeEveryChange changes each value, mark, remark and name of the program's tables in turn and demands that the
// comparison reports that place and nothing else.
func TestPinnedTablesNoticeEveryChange(t *testing.T) {
	for file, tables := range pinnedFiles() {
		pins := readPinnedTables(t, file)
		reports := func(place string) {
			t.Helper()
			if f := compareTables(pins, tables); len(f) != 1 || !strings.HasPrefix(f[0], place+":") {
				t.Errorf("%s: changed %s, reported %q", file, place, f)
			}
		}
		for _, table := range tables {
			for i := range table.Rows {
				changeRow(table, &table.Rows[i], reports)
			}
			for i := range table.Symbols {
				changeFor(&table.Symbols[i], table.Symbols[i]+"x", func() { reports("table " + table.Number + ", columns") })
			}
			changeFor(&table.Clause, table.Clause+"x", func() { reports("table " + table.Number + ", clause") })
			changeFor(&table.Rows, table.Rows[1:], func() {
				if len(compareTables(pins, tables)) == 0 {
					t.Errorf("%s: table %s without its first row, nothing reported", file, table.Number)
				}
			})
		}
		if len(compareTables(pins[1:], tables)) == 0 || len(compareTables(pins, tables[1:])) == 0 {
			t.Errorf("%s: a missing table is not reported", file)
		}
	}
}

// changeRow changes all of a row in turn.
func changeRow(table *trace.Table, r *trace.Row, reports func(place string)) {
	place := "table " + table.Number + ", row " + strconv.Quote(r.Text)
	for c := range r.Values {
		changed := r.Values[c] * 1.5
		if changed == 0 {
			changed = 0.5
		}
		changeFor(&r.Values[c], changed, func() { reports(place + ", column " + columnName(table.Symbols, c)) })
	}
	mark := trace.Memory
	if r.Provenance == mark {
		mark = trace.SecondarySource
	}
	changeFor(&r.Provenance, mark, func() { reports(place + ", mark") })
	changeFor(&r.Remark, r.Remark+"x", func() { reports(place + ", remark") })
	changeFor(&r.Values, r.Values[1:], func() { reports(place + ", values") })
	text := r.Text
	changeFor(&r.Text, text+"x", func() { reports(place + ", row text") })
}

// changeFor gives a variable another value while run lasts.
func changeFor[T any](at *T, other T, run func()) {
	former := *at
	*at = other
	run()
	*at = former
}

// pinnedFormula is a formula of the reference file.
type pinnedFormula struct{ symbol, name, clause, formula, mark string }

// formulasOf lists the formulas of the program by the titles of the reference file.
func formulasOf() map[string][]*trace.Quantity {
	all := map[string][]*trace.Quantity{
		"IEC 62305-2:2010":         ed2.Edition{}.Quantities(),
		"surge protective devices": spd.Quantities(),
		"earth electrodes":         earth.Quantities(),
	}
	for title, quantities := range all {
		all[title] = slices.DeleteFunc(slices.Clone(quantities), func(q *trace.Quantity) bool { return q.Expr == "" })
	}
	return all
}

func TestPinnedFormulas(t *testing.T) {
	pins, formulas := readPinnedFormulas(t), formulasOf()
	if len(pins) != len(formulas) {
		t.Fatalf("%d groups of formulas, the program has %d", len(pins), len(formulas))
	}
	for title, quantities := range formulas {
		for _, f := range compareFormulas(pins[title], quantities) {
			t.Errorf("%s: %s", title, f)
		}
		t.Logf("%s: %d formulas compared", title, len(quantities))
	}
}

// digits are the runs of digits in a formula that are no part of a symbol.
var digits = regexp.MustCompile(`[A-Za-z_][\w']*|\d+`)

// TestPinnedFormulasNoticeEveryChange changes each number, mark, clause and name of the program's formulas in turn.
func TestPinnedFormulasNoticeEveryChange(t *testing.T) {
	pins := readPinnedFormulas(t)
	numbers := 0
	for title, quantities := range formulasOf() {
		for i, q := range quantities {
			reports := func(what string) {
				t.Helper()
				place := q.Symbol + ", " + q.Name + ", " + what + ":"
				if f := compareFormulas(pins[title], quantities); len(f) != 1 || !strings.HasPrefix(f[0], place) {
					t.Errorf("%s: changed %s, reported %q", title, place, f)
				}
			}
			for _, at := range digits.FindAllStringIndex(q.Expr, -1) {
				n, err := strconv.Atoi(q.Expr[at[0]:at[1]])
				if err != nil {
					continue // a symbol
				}
				numbers++
				changeFor(&q.Expr, q.Expr[:at[0]]+strconv.Itoa(n+1)+q.Expr[at[1]:], func() { reports("formula") })
			}
			changeFor(&q.Expr, q.Expr+"+x", func() { reports("formula") })
			changeFor(&q.Clause, q.Clause+"x", func() { reports("clause") })
			changeFor(&q.Provenance, (q.Provenance+1)%trace.Checked, func() { reports("mark") })
			if f := compareFormulas(pins[title], slices.Delete(slices.Clone(quantities), i, i+1)); len(f) == 0 {
				t.Errorf("%s: %s, %s missing, nothing reported", title, q.Symbol, q.Name)
			}
		}
	}
	if numbers < 100 {
		t.Errorf("only %d numbers changed", numbers)
	}
}

// compareFormulas lists every difference between the reference file and the formulas of the program, which stand in the same order.
func compareFormulas(pins []pinnedFormula, quantities []*trace.Quantity) []string {
	var found []string
	if len(pins) != len(quantities) {
		found = append(found, fmt.Sprintf("%d formulas, the program has %d", len(pins), len(quantities)))
	}
	for i := range min(len(pins), len(quantities)) {
		p, q := pins[i], quantities[i]
		place := p.symbol + ", " + p.name
		for _, c := range []struct{ what, pinned, program string }{
			{"symbol", p.symbol, q.Symbol},
			{"name", p.name, q.Name},
			{"clause", p.clause, q.Clause},
			{"formula", p.formula, strings.ReplaceAll(q.Expr, " ", "")},
			{"mark", p.mark, q.Provenance.String()},
		} {
			if c.pinned != c.program {
				found = append(found, fmt.Sprintf("%s, %s: %q, the program has %q", place, c.what, c.pinned, c.program))
			}
		}
	}
	return found
}

// readPinnedFormulas reads the formulas by the title of their group. A line "formulas" gives the title, the next line names the columns.
func readPinnedFormulas(t *testing.T) map[string][]pinnedFormula {
	t.Helper()
	pins := map[string][]pinnedFormula{}
	title := ""
	for _, fields := range readPinned(t, "constants.csv") {
		switch {
		case fields[0] == "formulas" && len(fields) == 2:
			title = fields[1]
		case len(fields) != 6:
			t.Fatalf("constants.csv: %q has not six fields", fields)
		case fields[0] != "symbol":
			pins[title] = append(pins[title], pinnedFormula{fields[0], fields[1], fields[2], strings.ReplaceAll(fields[3], " ", ""), fields[4]})
		}
	}
	return pins
}

// TestPinnedDefaults compares every default that the program lists.
func TestPinnedDefaults(t *testing.T) {
	pins, defaults := readPinnedDefaults(t), wire.DefaultsBy(assess.Editions[0])
	for _, f := range compareDefaults(pins, defaults) {
		t.Error(f)
	}
	for i := range defaults {
		d := &defaults[i]
		for what, text := range map[string]*string{"field": &d.Field, "value": &d.Value, "reason": &d.Reason, "clause": &d.Clause} {
			changeFor(text, *text+"x", func() {
				if f := compareDefaults(pins, defaults); len(f) != 1 || !strings.Contains(f[0], what) {
					t.Errorf("changed %s of %s, reported %q", what, d.Field, f)
				}
			})
		}
	}
	if len(compareDefaults(pins, defaults[1:])) == 0 || len(compareDefaults(pins[1:], defaults)) == 0 {
		t.Error("a missing default is not reported")
	}
}

// TestPinnedDefaultsTaken completes inputs that lack values and compares what is computed with, not only what is listed: one input with
// prices and a line that say little, one without either.
func TestPinnedDefaultsTaken(t *testing.T) {
	pinned := map[string]string{}
	for _, p := range readPinnedDefaults(t) {
		pinned[p.Field] = p.Value
	}
	const site = `{"name": "invented", "location": {"latitude": -20, "longitude": -20}, "flash_density": {"ground_flashes_per_km2_year": 1},
		"structures": [{"id": "hut", "length_m": 10, "width_m": 8, "height_m": 4}]`
	for _, body := range []string{site + `}`, site + `, "measure_costs": {"currency": "EUR", "lps": {"IV": 1, "III": 2, "II": 3, "I": 4},
			"bonding_spd": {"III-IV": 1, "II": 2, "I": 3}, "coordinated_spd": {"III-IV": 1, "II": 2, "I": 3},
			"fire_protection": {"manual": 1, "automatic": 2}, "warning_notices": 1, "insulation": 1},
		"lines": [{"id": "supply", "structure": "hut", "electrical": {}}]}`} {
		in, ok := wire.Decode([]byte(body))
		if !ok {
			t.Fatalf("refused: %s", body)
		}
		core := in.Core()
		if len(core.Violations) != 0 {
			t.Fatal(core.Violations)
		}
		line, zone, costs := core.Input.Lines[0], core.Input.Structures[0].Zones[0], core.Input.Costs
		for field, taken := range map[string]float64{
			"interest_per_year":     costs.Interest,
			"amortization_per_year": costs.Amortization,
			"maintenance_per_year":  costs.Maintenance,
			"hours_per_year":        zone.Hours,
			"length_m":              line.Sections[0].Length,
			"nominal_v":             line.Electrical.Nominal,
			"phases":                float64(line.Electrical.Phases),
		} {
			if v, err := strconv.ParseFloat(pinned[field], 64); err != nil || v != taken {
				t.Errorf("%s: %s, the program takes %v, %v", field, pinned[field], taken, err)
			}
		}
	}
}

func compareDefaults(pins, defaults []wire.DefaultDefinition) []string {
	var found []string
	if len(pins) != len(defaults) {
		found = append(found, fmt.Sprintf("%d defaults, the program has %d", len(pins), len(defaults)))
	}
	for i := range min(len(pins), len(defaults)) {
		p, d := pins[i], defaults[i]
		for _, c := range []struct{ what, pinned, program string }{
			{"field", p.Field, d.Field}, {"value", p.Value, d.Value}, {"reason", p.Reason, d.Reason}, {"clause", p.Clause, d.Clause},
		} {
			if c.pinned != c.program {
				found = append(found, fmt.Sprintf("default %d, %s, %s: %q, the program has %q", i+1, p.Field, c.what, c.pinned, c.program))
			}
		}
	}
	return found
}

func readPinnedDefaults(t *testing.T) []wire.DefaultDefinition {
	t.Helper()
	var pins []wire.DefaultDefinition
	for _, fields := range readPinned(t, "defaults.csv")[1:] {
		if len(fields) != 6 {
			t.Fatalf("defaults.csv: %q has not six fields", fields)
		}
		pins = append(pins, wire.DefaultDefinition{Field: fields[0], Value: fields[1], Reason: fields[2], Clause: fields[3]})
	}
	return pins
}

// TestPinnedNumbers reads the numbers of the listed constants and variables from the source.
func TestPinnedNumbers(t *testing.T) {
	packages := map[string]map[string][]float64{}
	for _, fields := range readPinned(t, "numbers.csv")[1:] {
		if len(fields) != 6 {
			t.Fatalf("numbers.csv: %q has not six fields", fields)
		}
		dir, name, pinned := fields[0], fields[1], strings.Fields(fields[2])
		if packages[dir] == nil {
			packages[dir] = numbersOf(t, dir)
		}
		found := packages[dir][name]
		if len(found) != len(pinned) {
			t.Errorf("%s, %s: %v, the program has %v", dir, name, pinned, found)
			continue
		}
		for i, text := range pinned {
			if v, err := strconv.ParseFloat(text, 64); err != nil || v != found[i] {
				t.Errorf("%s, %s: %s, the program has %v, %v", dir, name, text, found[i], err)
			}
		}
	}
}

// numbersOf lists the numbers written in the value of each constant and variable of a package.
func numbersOf(t *testing.T, dir string) map[string][]float64 {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	numbers := map[string][]float64{}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		source, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range source.Decls {
			declared, ok := d.(*ast.GenDecl)
			if !ok {
				continue
			}
			for _, s := range declared.Specs {
				spec, ok := s.(*ast.ValueSpec)
				if !ok || len(spec.Names) != len(spec.Values) {
					continue
				}
				for i, name := range spec.Names {
					numbers[name.Name] = literals(t, spec.Values[i])
				}
			}
		}
	}
	return numbers
}

// literals are the numbers written in an expression.
func literals(t *testing.T, e ast.Expr) []float64 {
	var numbers []float64
	ast.Inspect(e, func(n ast.Node) bool {
		if l, ok := n.(*ast.BasicLit); ok && (l.Kind == token.INT || l.Kind == token.FLOAT) {
			v, err := strconv.ParseFloat(l.Value, 64)
			if err != nil {
				t.Fatal(err)
			}
			numbers = append(numbers, v)
		}
		return true
	})
	return numbers
}

// compareTables lists every difference between a reference file and the program, each with its place.
func compareTables(pins []pinnedTable, tables []*trace.Table) []string {
	var found []string
	report := func(place, format string, a ...any) { found = append(found, place+": "+fmt.Sprintf(format, a...)) }
	for i := range max(len(pins), len(tables)) {
		switch {
		case i >= len(pins):
			report("table "+tables[i].Number, "not in the reference file")
		case i >= len(tables):
			report("table "+pins[i].number, "not in the program")
		case pins[i].number != tables[i].Number:
			report("table "+pins[i].number, "the program has table %s at this place", tables[i].Number)
		default:
			compareTable(&pins[i], tables[i], report)
		}
	}
	return found
}

func compareTable(p *pinnedTable, table *trace.Table, report func(place, format string, a ...any)) {
	place := "table " + p.number
	if p.clause != table.Clause {
		report(place+", clause", "%q, the program has %q", p.clause, table.Clause)
	}
	if !slices.Equal(p.columns, table.Symbols) {
		report(place+", columns", "%q, the program has %q", p.columns, table.Symbols)
	}
	if len(p.rows) != len(table.Rows) {
		report(place+", rows", "%d, the program has %d", len(p.rows), len(table.Rows))
	}
	for i := range min(len(p.rows), len(table.Rows)) {
		compareRow(place+", row "+strconv.Quote(p.rows[i].text), p.columns, &p.rows[i], &table.Rows[i], report)
	}
}

func compareRow(place string, columns []string, p *pinnedRow, r *trace.Row, report func(place, format string, a ...any)) {
	if p.text != r.Text {
		report(place+", row text", "the program has %q", r.Text)
	}
	if p.mark != r.Provenance.String() {
		report(place+", mark", "%s, the program has %s", p.mark, r.Provenance)
	}
	if p.remark != r.Remark {
		report(place+", remark", "%q, the program has %q", p.remark, r.Remark)
	}
	if len(p.values) != len(r.Values) {
		report(place+", values", "%v, the program has %v", p.values, r.Values)
		return
	}
	for c, v := range p.values {
		if v != r.Values[c] {
			report(place+", column "+columnName(columns, c), "%v, the program has %v", v, r.Values[c])
		}
	}
}

// columnName is the symbol of a column; a list without symbols counts its values from 1.
func columnName(columns []string, c int) string {
	if c < len(columns) {
		return columns[c]
	}
	return strconv.Itoa(c + 1)
}

// readPinnedTables reads a file of tables. A line "table" gives number and clause, the next line names the columns, the others are rows:
// text, values, mark, remark. A list without column names has its values after the remark.
func readPinnedTables(t *testing.T, file string) []pinnedTable {
	t.Helper()
	var tables []pinnedTable
	marked := 0
	lines := readPinned(t, file)
	for i, fields := range lines {
		if fields[0] == "table" && len(fields) == 3 {
			tables = append(tables, pinnedTable{number: fields[1], clause: fields[2]})
			continue
		}
		if len(tables) == 0 {
			t.Fatalf("%s: %q stands before the first table", file, fields)
		}
		table := &tables[len(tables)-1]
		if lines[i-1][0] == "table" {
			marked = slices.Index(fields, "mark")
			table.columns = fields[1:marked]
			continue
		}
		r := pinnedRow{text: fields[0], mark: fields[marked], remark: ofProgram(fields[marked+1])}
		for _, v := range slices.Concat(fields[1:marked], fields[marked+2:]) {
			f, err := strconv.ParseFloat(v, 64)
			if err != nil {
				t.Fatalf("%s: table %s, row %q: %v", file, table.number, r.text, err)
			}
			r.values = append(r.values, f)
		}
		table.rows = append(table.rows, r)
	}
	return tables
}

// ofProgram is the remark as the program holds it; what only tells where a line of the file was taken from, it does not hold.
func ofProgram(remark string) string {
	if remark == "not in the reading notes" {
		return ""
	}
	return remark
}

// readPinned reads the lines of a reference file; "#" begins a comment.
func readPinned(t *testing.T, file string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/reference/" + file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment, r.FieldsPerRecord = '#', -1
	lines, err := r.ReadAll()
	if err != nil || len(lines) < 2 {
		t.Fatalf("%s: %d lines, %v", file, len(lines), err)
	}
	return lines
}
