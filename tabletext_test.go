package main

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"levinward/api/batch"
	"levinward/api/reference"
	"levinward/api/wire"
	"levinward/geo"
	"levinward/tabletext"
)

// forms are the ways in which a table may be written. Common practice of spreadsheet programs, no published source, but
// for RFC 4180 (quotes, CR LF) and RFC 3629 (the mark of UTF-8).
var forms = []struct {
	name    string
	comma   string
	before  string
	decimal tabletext.Decimal
	newline string
	quoted  bool
}{
	{"commas", ",", "", tabletext.DecimalPoint, "\n", false},
	{"semicolons", ";", "", tabletext.DecimalPoint, "\n", false},
	{"tabs", "\t", "", tabletext.DecimalPoint, "\n", false},
	{"mark of UTF-8", ",", "\xef\xbb\xbf", tabletext.DecimalPoint, "\n", false},
	{"CR LF", ",", "", tabletext.DecimalPoint, "\r\n", false},
	{"quotes", ",", "", tabletext.DecimalPoint, "\n", true},
	{"named separator", ";", "sep=;\r\n", tabletext.DecimalPoint, "\r\n", false},
	{"named separator in quotes, mark", "\t", "\xef\xbb\xbf\"SEP=\t\"\n", tabletext.DecimalPoint, "\n", true},
	{"decimal comma", ";", "", tabletext.DecimalComma, "\n", false},
	{"decimal comma in quotes", ",", "", tabletext.DecimalComma, "\n", true},
	{"blank lines before", ";", "\n\n", tabletext.DecimalPoint, "\n", false},
}

// written writes rows in a form; numbers have a point in the rows.
func written(form int, rows [][]string) string {
	f := forms[form]
	var b strings.Builder
	b.WriteString(f.before)
	for _, row := range rows {
		cells := slices.Clone(row)
		for i, cell := range cells {
			if _, reason := tabletext.Number(cell, tabletext.DecimalPoint); reason == "" && f.decimal == tabletext.DecimalComma {
				cells[i] = strings.Replace(cell, ".", ",", 1)
			}
			if f.quoted {
				cells[i] = `"` + cells[i] + `"`
			}
		}
		b.WriteString(strings.Join(cells, f.comma) + f.newline)
	}
	return b.String()
}

// TestOneFormOfTables writes one table of each kind in every form and demands the same of its reader each time.
func TestOneFormOfTables(t *testing.T) {
	readers := map[string]func(text string, decimal tabletext.Decimal) string{
		"sites": readSites, "devices": readDevices, "flash densities": readDensities, "reviewed values": readReviewed,
	}
	rows := map[string][][]string{
		"sites": {{"name", "latitude", "longitude", "ground_flashes_per_km2_year", "length_m", "width_m", "height_m"},
			{"Invented school", "-3.25", "84.5", "7.5", "20", "8.5", "4"}},
		"devices": {{"reference", "up_kv", "uc_ac_v", "price", "currency"}, {"INVENTED", "1.5", "275", "12.50", "XTS"}},
		"flash densities": {{"longitude", "latitude", "value"}, {"84.5", "-3.5", "7.25"}, {"85.0", "-3.5", "8"}, {"84.5", "-3.0", "8.5"},
			{"85.0", "-3.0", "9.75"}},
		"reviewed values": reviewedRows(t),
	}
	for kind, read := range readers {
		want := read(written(0, rows[kind]), tabletext.DecimalPoint)
		if strings.Contains(want, "fault") {
			t.Fatalf("%s: %s", kind, want)
		}
		for i, f := range forms {
			if kind == "reviewed values" && f.decimal == tabletext.DecimalComma {
				continue // its numbers are those of the service, which it writes itself
			}
			if got := read(written(i, rows[kind]), f.decimal); got != want {
				t.Errorf("%s, %s: %s, want %s", kind, f.name, got, want)
			}
		}
		for name, text := range map[string]string{
			"UTF-16": "\xff\xfen\x00a\x00", "workbook": "PK\x03\x04", "old workbook": "\xd0\xcf\x11\xe0",
			"unknown separator": "sep=|\n" + written(0, rows[kind]),
		} {
			if got := read(text, tabletext.DecimalPoint); !strings.Contains(got, "fault") {
				t.Errorf("%s: %s is accepted: %s", kind, name, got)
			}
		}
	}
}

func readSites(text string, decimal tabletext.Decimal) string {
	got := ""
	err := batch.Read(strings.NewReader(text), batch.Options{Format: batch.CSV, Decimal: decimal}, func(r batch.Row) bool {
		if len(r.Faults) > 0 {
			got += fmt.Sprint("fault ", r.Faults)
			return true
		}
		s := &r.Input.Structures[0]
		place, density := r.Input.Location, r.Input.FlashDensity
		got += fmt.Sprint(r.Input.Name, *place.Latitude, *place.Longitude, *density.GroundFlashes, *s.Length, *s.Width)
		return true
	})
	if err != nil {
		got += "fault " + err.Error()
	}
	return got
}

func readDevices(text string, decimal tabletext.Decimal) string {
	r, faults, err := wire.NewDeviceReader(strings.NewReader(text), decimal)
	if err != nil || len(faults) > 0 {
		return fmt.Sprint("fault ", faults, err)
	}
	d, _, faults, fatal, err := r.Next()
	if err != nil || fatal != nil || len(faults) > 0 {
		return fmt.Sprint("fault ", faults, fatal, err)
	}
	if _, _, _, _, err := r.Next(); err != io.EOF {
		return fmt.Sprint("fault: not at the end: ", err)
	}
	return fmt.Sprint(d.Reference, *d.Up, *d.UcAC, *d.Price, *d.Currency)
}

func readDensities(text string, decimal tabletext.Decimal) string {
	m, err := geo.ReadDensityMap(strings.NewReader(text),
		geo.DensityMapMeta{Kind: geo.GroundFlashDensity, FromYear: 2015, ToYear: 2024, Source: "invented", Decimal: decimal})
	if err != nil {
		return "fault " + err.Error()
	}
	got := fmt.Sprint(m.Meta(), m.Grid())
	for i := range 4 {
		v, _ := m.Cell(i%2, i/2)
		got += fmt.Sprint(" ", v)
	}
	return got
}

// reviewedRows is the table of all values with one row that is reviewed.
func reviewedRows(t *testing.T) [][]string {
	t.Helper()
	var b bytes.Buffer
	if err := reference.WriteCSV(&b, reference.List()[:1]); err != nil {
		t.Fatal(err)
	}
	rows := [][]string{}
	for line := range strings.Lines(b.String()) {
		rows = append(rows, strings.Split(strings.TrimSpace(line), ","))
	}
	if len(rows) != 2 || len(rows[0]) != len(rows[1]) {
		t.Fatalf("the first value has a comma in it: %v", rows)
	}
	for name, cell := range map[string]string{"agrees": "yes", "checked_by": "Invented reader", "date": "2026-01-31"} {
		rows[1][slices.Index(rows[0], name)] = cell
	}
	return rows
}

func readReviewed(text string, _ tabletext.Decimal) string {
	rows, err := reference.ReadCSV([]byte(text), time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC))
	if err != nil {
		return "fault " + err.Error()
	}
	return fmt.Sprintf("%+v", rows[0])
}
