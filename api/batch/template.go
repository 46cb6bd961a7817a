package batch

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"levinward/tabletext"
	"reflect"
	"strconv"

	"github.com/xuri/excelize/v2"
)

// templateLines is how many lines the template has columns for; a file may have up to MaxLines.
const templateLines = 2

// Template is a file to start from: the usual columns with one invented row.
// The spreadsheet also has the whole dictionary on a second sheet and offers named values to choose from.
func Template(format Format) ([]byte, error) {
	switch format {
	case CSV:
		return csvTemplate()
	case XLSX:
		return xlsxTemplate()
	case GeoJSON:
		return geoTemplate()
	}
	return nil, fmt.Errorf("format must be %s, %s or %s, found %q", CSV, XLSX, GeoJSON, format)
}

// templateColumn is a column of the template and its value in the invented row.
type templateColumn struct {
	*slot
	value string
}

func templateColumns() []templateColumn {
	var columns, rest []templateColumn
	for i := range dictionary {
		c := &dictionary[i]
		switch {
		case !c.template:
		case c.part == remark:
			rest = append(rest, templateColumn{slots[c.Name], c.Example})
		case c.Repeats == 1:
			columns = append(columns, templateColumn{slots[c.Name], exampleOf(c)})
		}
	}
	for n := 1; n <= templateLines; n++ {
		for i := range dictionary {
			if c := &dictionary[i]; c.template && c.Repeats > 1 {
				value := ""
				if n == 1 {
					value = c.Example
				}
				columns = append(columns, templateColumn{slots[lineColumn(c.Name, n)], value})
			}
		}
	}
	return append(columns, rest...)
}

// exampleOf leaves out what the other cells of the invented row exclude.
func exampleOf(c *Column) string {
	if c.Name == "thunderstorm_days_per_year" {
		return ""
	}
	return c.Example
}

// csvTemplate begins with a mark, by which spreadsheet programs know UTF-8.
func csvTemplate() ([]byte, error) {
	var header, example []string
	for _, c := range templateColumns() {
		header, example = append(header, c.name), append(example, c.value)
	}
	b := bytes.NewBuffer(bytes.Clone(tabletext.Mark))
	w := csv.NewWriter(b)
	w.UseCRLF = true
	err := w.WriteAll([][]string{header, example})
	return b.Bytes(), err
}

// typed is a value as the format of the file can hold it.
func (c *templateColumn) typed() any {
	switch {
	case c.value == "":
		return nil
	case c.field.Type != nil && c.field.Type.Kind() == reflect.Float64:
		if v, err := strconv.ParseFloat(c.value, 64); err == nil {
			return v
		}
	}
	return c.value
}

func geoTemplate() ([]byte, error) {
	values := map[string]any{}
	var keys []string
	for _, c := range templateColumns() {
		values[c.name] = c.typed()
		if c.name != "latitude" && c.name != "longitude" {
			keys = append(keys, c.name)
		}
	}
	b := &bytes.Buffer{}
	fmt.Fprintf(b, "{\n  \"type\": \"FeatureCollection\",\n  \"features\": [\n    {\n      \"type\": \"Feature\",\n      "+
		"\"geometry\": {\"type\": \"Point\", \"coordinates\": [%v, %v]},\n      \"properties\": {", values["longitude"], values["latitude"])
	for i, k := range keys {
		value, err := json.Marshal(values[k])
		if err != nil {
			return nil, err
		}
		separator := ","
		if i == 0 {
			separator = ""
		}
		fmt.Fprintf(b, "%s\n        %q: %s", separator, k, value)
	}
	b.WriteString("\n      }\n    }\n  ]\n}\n")
	return b.Bytes(), nil
}

const (
	sitesSheet      = "sites"
	dictionarySheet = "columns"
	chosenRows      = 10000 // rows that offer named values
)

func xlsxTemplate() ([]byte, error) {
	f := excelize.NewFile()
	defer f.Close()
	if err := f.SetSheetName(f.GetSheetName(0), sitesSheet); err != nil {
		return nil, err
	}
	if _, err := f.NewSheet(dictionarySheet); err != nil {
		return nil, err
	}
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return nil, err
	}
	if err := fillSites(f, bold); err != nil {
		return nil, err
	}
	if err := fillDictionary(f, bold); err != nil {
		return nil, err
	}
	b := &bytes.Buffer{}
	err = f.Write(b)
	return b.Bytes(), err
}

var frozenHeader = excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}

func fillSites(f *excelize.File, bold int) error {
	columns := templateColumns()
	for i := range columns {
		c := &columns[i]
		name := letters(i)
		if err := f.SetCellValue(sitesSheet, name+"1", c.name); err != nil {
			return err
		}
		if v := c.typed(); v != nil {
			if err := f.SetCellValue(sitesSheet, name+"2", v); err != nil {
				return err
			}
		}
		if err := f.SetColWidth(sitesSheet, name, name, float64(len(c.name)+3)); err != nil {
			return err
		}
		if err := offer(f, c.Column, name); err != nil {
			return err
		}
	}
	if err := f.SetRowStyle(sitesSheet, 1, 1, bold); err != nil {
		return err
	}
	return f.SetPanes(sitesSheet, &frozenHeader)
}

// offer lets a person choose among the named values of a column.
func offer(f *excelize.File, c *Column, column string) error {
	if c.field.Type == nil {
		return nil
	}
	names := c.field.Names()
	if names == nil || c.field.Probability() {
		return nil
	}
	v := excelize.NewDataValidation(true)
	v.Sqref = column + "2:" + column + strconv.Itoa(chosenRows)
	if err := v.SetDropList(names); err != nil {
		return err
	}
	return f.AddDataValidation(sitesSheet, v)
}

// Dictionary is the table of all columns as CSV, as it stands on the second sheet of the spreadsheet.
func Dictionary() []byte {
	b := &bytes.Buffer{}
	w := csv.NewWriter(b)
	w.UseCRLF = true
	w.WriteAll(dictionaryRows()) // to memory: no error
	return b.Bytes()
}

// dictionaryRows are the header and one row for each entry.
func dictionaryRows() [][]string {
	rows := [][]string{{"column", "meaning", "unit", "allowed", "default", "required", "example", "repeats"}}
	for i := range dictionary {
		c := &dictionary[i]
		required, repeats := "no", ""
		if c.Required {
			required = "yes"
		}
		if c.Repeats > 1 {
			repeats = fmt.Sprintf("also line_2_ to line_%d_", c.Repeats)
		}
		rows = append(rows, []string{c.Name, c.Meaning, c.Unit, c.Allowed, c.Default, required, c.Example, repeats})
	}
	return rows
}

func fillDictionary(f *excelize.File, bold int) error {
	rows := dictionaryRows()
	for i := range rows {
		if err := f.SetSheetRow(dictionarySheet, "A"+strconv.Itoa(i+1), &rows[i]); err != nil {
			return err
		}
	}
	for column, width := range map[string]float64{"A": 38, "B": 90, "C": 12, "D": 60, "E": 30, "F": 10, "G": 30, "H": 24} {
		if err := f.SetColWidth(dictionarySheet, column, column, width); err != nil {
			return err
		}
	}
	if err := f.SetRowStyle(dictionarySheet, 1, 1, bold); err != nil {
		return err
	}
	return f.SetPanes(dictionarySheet, &frozenHeader)
}
