package apitest

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

// SheetRows are the cells of a sheet as a spreadsheet library reads them.
func SheetRows(t testing.TB, workbook []byte, sheet string) [][]string {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(workbook), excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := f.GetRows(sheet)
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// Step is a step of a worksheet.
type Step struct {
	Index                                                                                     int
	Scope, Symbol, Name, Unit, Formula, Clause, Table, Row, Column, Note, Pointer, Provenance string
	Value                                                                                     float64
	Inputs                                                                                    []int
}

// CSVOf reads an answer as a table that is offered as a file.
func CSVOf(t *testing.T, a *Answer) [][]string {
	t.Helper()
	if a.MediaType() != "text/csv" || !strings.Contains(a.Header.Get("Content-Disposition"), "attachment") {
		t.Errorf("media type %q, disposition %q", a.Header.Get("Content-Type"), a.Header.Get("Content-Disposition"))
	}
	rows, err := csv.NewReader(bytes.NewReader(a.Body)).ReadAll() // refuses rows of different length
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// StepOf reads a step from a row, by the names of the columns.
func StepOf(t *testing.T, names, row []string) Step {
	t.Helper()
	doc := map[string]any{}
	for i, name := range names {
		switch text := row[i]; name {
		case "cautions": // of the table, not of a step
		case "index", "value":
			doc[name] = json.Number(text)
		case "inputs":
			var inputs []json.Number
			for _, n := range strings.Fields(text) {
				inputs = append(inputs, json.Number(n))
			}
			doc[name] = inputs
		default:
			doc[name] = strings.TrimPrefix(text, "'") // marks a text that is no formula
		}
	}
	text, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	var s Step
	if err := json.Unmarshal(text, &s); err != nil {
		t.Fatal(err)
	}
	return s
}
