package protocol

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"net/http"
	"sync"

	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/table"
)

// Media types of bodies and answers.
const (
	MediaGeoJSON    = "application/geo+json"
	MediaGeoPackage = "application/geopackage+sqlite3"
	MediaOpenAPI    = "application/vnd.oai.openapi+json;version=3.0"
	MediaXLSX       = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	MediaJSON       = "application/json"
	MediaPatch      = "application/merge-patch+json"
	MediaCSV        = "text/csv"
	MediaHTML       = "text/html"
)

// Encode writes a document without escaping what only HTML needs escaped.
func Encode(v any) ([]byte, error) {
	b := buffers.Get().(*bytes.Buffer)
	defer buffers.Put(b)
	if err := encodeTo(b, v); err != nil {
		return nil, err
	}
	return bytes.Clone(b.Bytes()), nil
}

func encodeTo(b *bytes.Buffer, v any) error {
	b.Reset()
	e := json.NewEncoder(b)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// buffers are used again from answer to answer: documents are some ten kB long.
var buffers = sync.Pool{New: func() any { return new(bytes.Buffer) }}

// AnswerDocument encodes a document and sends it.
func AnswerDocument(c echo.Context, status int, v any) error {
	b := buffers.Get().(*bytes.Buffer)
	defer buffers.Put(b)
	if err := encodeTo(b, v); err != nil {
		return err
	}
	return c.Blob(status, MediaJSON, b.Bytes())
}

// Answer sends a document with status 200.
func Answer(c echo.Context, v any) error {
	b, err := Encode(v)
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, MediaJSON, b)
}

// AnswerCSV writes rows of a site (RFC 4180) and the column of cautions behind them. A text that a spreadsheet
// would take for a formula gets an apostrophe.
func AnswerCSV(c echo.Context, name string, rows [][]string) error {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	for n, row := range rows {
		for i, cell := range row {
			row[i] = table.PlainCell(cell)
		}
		last := assess.CautionsInShort
		if n == 0 {
			last = table.CautionColumn
		}
		if err := w.Write(append(row, last)); err != nil {
			return err
		}
	}
	w.Flush()
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="`+name+`"`)
	return c.Blob(http.StatusOK, "text/csv; charset=utf-8; header=present", b.Bytes())
}
