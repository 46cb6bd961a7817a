package sites

import (
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"time"

	"levinward/api/assess"
	"levinward/api/table"
	"levinward/store"
)

// csvWriter writes CSV (RFC 4180).
type csvWriter struct {
	w   *csv.Writer
	row []string
}

// NewCSV writes a table as RFC 4180 has it.
func NewCSV(out io.Writer) (Writer, error) {
	w := csv.NewWriter(out)
	w.UseCRLF = true
	row := append(make([]string, len(columns)), assess.CautionsInShort)
	return &csvWriter{w, row}, w.Write(append(slices.Clip(columns), table.CautionColumn))
}

func (f *csvWriter) Write(s *store.Site) error {
	for i, cell := range cells(s, time.RFC3339Nano) {
		switch cell := cell.(type) {
		case nil:
			f.row[i] = ""
		case string:
			f.row[i] = table.PlainCell(cell)
		case float64:
			f.row[i] = table.FullNumber(cell)
		case int:
			f.row[i] = strconv.Itoa(cell)
		case bool:
			f.row[i] = strconv.FormatBool(cell)
		}
	}
	return f.w.Write(f.row)
}

func (f *csvWriter) Flush() error {
	f.w.Flush()
	return f.w.Error()
}

func (f *csvWriter) Close() error { return f.Flush() }

func (f *csvWriter) Discard() {}
