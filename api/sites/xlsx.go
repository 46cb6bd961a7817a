package sites

import (
	"archive/zip"
	"errors"
	"io"
	"strconv"
	"time"

	"github.com/xuri/excelize/v2"

	"levinward/api/assess"
	"levinward/store"
)

// SheetRows is how many rows a sheet has room for.
var SheetRows = excelize.TotalRows

// xlsxWriter writes a workbook. Rows wait in a temporary file, since a workbook
// cannot be sent before its last row; texts are text cells, which no program computes.
type xlsxWriter struct {
	out   io.Writer
	file  *excelize.File
	sheet *excelize.StreamWriter
	n     int // of the sheet
	row   int // the next one of the sheet, from 1
}

// NewXLSX writes a workbook with one sheet. It is sent when it is closed.
func NewXLSX(out io.Writer) (Writer, error) {
	f := &xlsxWriter{out: out, file: excelize.NewFile(excelize.Options{})}
	if err := f.writeCautions(); err != nil {
		return nil, errors.Join(err, f.file.Close())
	}
	if err := f.begin(); err != nil {
		return nil, errors.Join(err, f.file.Close())
	}
	return f, nil
}

// writeCautions makes the last sheet.
func (f *xlsxWriter) writeCautions() error {
	const sheet = "cautions"
	if err := f.file.SetSheetName(f.file.GetSheetName(0), "sites"); err != nil {
		return err
	}
	if _, err := f.file.NewSheet(sheet); err != nil {
		return err
	}
	for i, text := range assess.Cautions() {
		if err := f.file.SetCellStr(sheet, "A"+strconv.Itoa(i+1), text); err != nil {
			return err
		}
	}
	return nil
}

// begin starts a sheet with the names of the columns.
func (f *xlsxWriter) begin() (err error) {
	name := "sites"
	if f.n++; f.n > 1 {
		name += " " + strconv.Itoa(f.n)
		if _, err := f.file.NewSheet(name); err != nil {
			return err
		}
	}
	if f.sheet, err = f.file.NewStreamWriter(name); err != nil {
		return err
	}
	header := make([]any, len(columns))
	for i, c := range columns {
		header[i] = c
	}
	f.row = 1
	return f.add(header)
}

func (f *xlsxWriter) add(cells []any) error {
	cell, err := excelize.CoordinatesToCellName(1, f.row)
	if err != nil {
		return err
	}
	f.row++
	return f.sheet.SetRow(cell, cells)
}

func (f *xlsxWriter) Write(s *store.Site) error {
	if f.row > SheetRows {
		if err := f.sheet.Flush(); err != nil {
			return err
		}
		if err := f.begin(); err != nil {
			return err
		}
	}
	return f.add(cells(s, time.RFC3339Nano))
}

func (f *xlsxWriter) Flush() error { return nil }

func (f *xlsxWriter) Close() error {
	if err := f.sheet.Flush(); err != nil {
		return err
	}
	// The workbook goes into the answer instead of a buffer.
	f.file.SetZipWriter(func(io.Writer) excelize.ZipWriter { return zip.NewWriter(f.out) })
	return f.file.Write(io.Discard)
}

func (f *xlsxWriter) Discard() { _ = f.file.Close() }
