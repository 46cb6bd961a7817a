package batch

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

var update = flag.Bool("update", false, "write what is said of the files anew")

const importDir = "../../testdata/import"

// testPresets are the types that the files use.
func testPresets(t testing.TB) Presets {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(importDir, "presets.json"))
	if err != nil {
		t.Fatal(err)
	}
	var p Presets
	if err := json.Unmarshal(raw, &p); err != nil {
		t.Fatal(err)
	}
	return p
}

// report writes what reading a file says, as a person can check it.
func report(file []byte, o Options) string {
	var b strings.Builder
	err := Read(bytes.NewReader(file), o, func(r Row) bool {
		where := fmt.Sprintf("row %d", r.Number)
		if r.Sheet != "" {
			where = fmt.Sprintf("sheet %q, %s", r.Sheet, where)
		}
		if len(r.Faults) == 0 {
			fmt.Fprintf(&b, "%s: accepted, %s\n", where, r.Input.Name)
		} else {
			fmt.Fprintf(&b, "%s: refused\n", where)
		}
		for _, n := range r.Notes {
			fmt.Fprintf(&b, "  note: %s %s\n", n.Column, n.Text)
		}
		for _, f := range r.Faults {
			fmt.Fprintf(&b, "  %s\n", f)
		}
		return true
	})
	var whole *FileError
	if errors.As(err, &whole) {
		for _, f := range whole.Faults {
			fmt.Fprintf(&b, "FILE: %s\n", f)
		}
	} else if err != nil {
		fmt.Fprintf(&b, "ERROR: %v\n", err)
	}
	return b.String()
}

// expect holds a report against the one that is kept.
func expect(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join(importDir, name+".expected")
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("reading says\n%s\nexpected\n%s", got, want)
	}
}

func TestFiles(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(importDir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, path := range files {
		name := filepath.Base(path)
		format, err := FormatOf(name)
		if err != nil || name == "presets.json" {
			continue
		}
		n++
		t.Run(name, func(t *testing.T) {
			raw, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			o := Options{Format: format, Presets: testPresets(t)}
			if name == "decimal-comma.csv" {
				o.Decimal = DecimalComma
			}
			expect(t, name, report(raw, o))
		})
	}
	if n < 20 {
		t.Errorf("found %d files", n)
	}
}

// usualHeader is the header of the sheets below, usualRow a row that is accepted.
var (
	usualHeader = []any{"reference", "name", "latitude", "longitude", "ground_flashes_per_km2_year", "flash_density_year", "length_m", "width_m", "height_m", "natural_lps", "remark"}
	usualRow    = []any{"INV-50", "Invented: sheet", -3.117, 86.683, 9.4, 2024, 18, 9, 5.5, false, ""}
)

// must fails the test at an error of the library that writes the sheets.
func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// sheetOf writes a workbook: the usual header, n usual rows, and what change does to them.
func sheetOf(t testing.TB, n int, change func(f *excelize.File, sheet string)) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	must(t, f.SetSheetName("Sheet1", "sites"))
	must(t, f.SetSheetRow("sites", "A1", &usualHeader))
	for i := range n {
		must(t, f.SetSheetRow("sites", fmt.Sprintf("A%d", i+2), &usualRow))
	}
	if change != nil {
		change(f, "sites")
	}
	var b bytes.Buffer
	must(t, f.Write(&b))
	return b.Bytes()
}

func TestSheets(t *testing.T) {
	dateStyle := func(f *excelize.File, code string) int {
		style, err := f.NewStyle(&excelize.Style{CustomNumFmt: &code})
		must(t, err)
		return style
	}
	cases := []struct {
		name   string
		rows   int
		sheet  string
		change func(f *excelize.File, sheet string)
	}{
		{"dates.xlsx", 5, "", func(f *excelize.File, s string) {
			for cell, code := range map[string]string{"F2": "yyyy-mm-dd", "G3": "[$-809]d mmm", "A4": "hh:mm", "K4": "dd.mm.yyyy",
				"F6": `0.00" made"`} {
				must(t, f.SetCellValue(s, cell, 45352.5))
				must(t, f.SetCellStyle(s, cell, cell, dateStyle(f, code)))
			}
			must(t, f.SetCellValue(s, "F6", 2024))
			built, err := f.NewStyle(&excelize.Style{NumFmt: 14})
			must(t, err)
			must(t, f.SetCellValue(s, "F5", 45352))
			must(t, f.SetCellStyle(s, "F5", "F5", built))
		}},
		{"formulas.xlsx", 4, "", func(f *excelize.File, s string) {
			must(t, f.SetCellFormula(s, "G2", "2*9"))  // over the value 18: it stays as the value when the file was saved
			must(t, f.SetCellValue(s, "G3", nil))      // never computed
			must(t, f.SetCellFormula(s, "G3", "2*9"))  //
			must(t, f.SetCellValue(s, "K4", "=1+1"))   // a text, no formula
			must(t, f.SetCellValue(s, "B5", "=2*9"))   //
			must(t, f.SetCellFormula(s, "B5", "B2&1")) //
		}},
		{"merged-header.xlsx", 1, "", func(f *excelize.File, s string) { must(t, f.MergeCell(s, "C1", "D1")) }},
		{"merged-rows.xlsx", 3, "", func(f *excelize.File, s string) {
			must(t, f.MergeCell(s, "E2", "E4"))
			must(t, f.MergeCell(s, "G3", "H3"))
			must(t, f.MergeCell(s, "A40", "F41"))
		}},
		{"hidden.xlsx", 3, "", func(f *excelize.File, s string) {
			must(t, f.SetRowVisible(s, 3, false))
			must(t, f.SetColVisible(s, "F", false))
			_, err := f.NewSheet("other")
			must(t, err)
		}},
		{"texts.xlsx", 4, "", func(f *excelize.File, s string) {
			must(t, f.SetCellValue(s, "A2", 17))
			must(t, f.SetCellValue(s, "C2", "-3.117"))
			must(t, f.SetCellValue(s, "J2", "Yes"))
			must(t, f.SetCellValue(s, "C3", "-3,117"))
			must(t, f.SetCellValue(s, "J3", 1))
			must(t, f.SetCellValue(s, "G4", "18 m"))
			must(t, f.SetCellValue(s, "H4", true))
			must(t, f.SetCellRichText(s, "B5", []excelize.RichTextRun{{Text: "Invented: "}, {Text: "two runs", Font: &excelize.Font{Bold: true}}}))
			must(t, f.SetCellValue(s, "G60", " "))
		}},
		{"beside-the-header.xlsx", 2, "", func(f *excelize.File, s string) { must(t, f.SetCellValue(s, "M3", "what is this?")) }},
		{"title-above.xlsx", 1, "", func(f *excelize.File, s string) {
			must(t, f.InsertRows(s, 1, 2))
			must(t, f.SetCellValue(s, "A1", "Invented: sites of the district"))
		}},
		{"header-in-row-3.xlsx", 1, "", func(f *excelize.File, s string) { must(t, f.InsertRows(s, 1, 2)) }},
		{"no-such-sheet.xlsx", 1, "Sites", nil},
		{"second-sheet.xlsx", 1, "more", func(f *excelize.File, s string) {
			_, err := f.NewSheet("more")
			must(t, err)
			must(t, f.SetSheetRow("more", "B2", &usualHeader))
			must(t, f.SetSheetRow("more", "B4", &usualRow))
		}},
		{"first-sheet-hidden.xlsx", 1, "", func(f *excelize.File, s string) {
			_, err := f.NewSheet("seen")
			must(t, err)
			f.SetActiveSheet(1)
			must(t, f.SetSheetVisible(s, false))
		}},
		{"date1904.xlsx", 1, "", func(f *excelize.File, s string) {
			yes := true
			must(t, f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &yes}))
			must(t, f.SetCellValue(s, "F2", 366))
			must(t, f.SetCellStyle(s, "F2", "F2", dateStyle(f, "yyyy")))
		}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			expect(t, c.name, report(sheetOf(t, c.rows, c.change), Options{Format: XLSX, Sheet: c.sheet}))
		})
	}
}
