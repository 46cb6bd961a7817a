// Package web holds the pages of the service: templates and what they need, all embedded.
package web

import (
	"embed"
	"html/template"
	"io"
	"strconv"

	"levinward/api/wire"
)

//go:embed *.html
var files embed.FS

var templates = template.Must(template.New("").Funcs(template.FuncMap{
	"short": func(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) },
}).ParseFS(files, "*.html"))

// Record is what a page says of the stored result it shows.
type Record struct {
	Revision int    `json:"revision"`
	Engine   string `json:"engine"`
	Input    struct {
		Name      string `json:"name"`
		Reference string `json:"reference"`
	} `json:"input"`
	Cautions []string `json:"cautions"`
}

// Worksheet writes the page of a worksheet.
func Worksheet(w io.Writer, sheet *wire.Worksheet, record *Record) error {
	return templates.ExecuteTemplate(w, "worksheet.html", struct {
		Sheet  *wire.Worksheet
		Record *Record
	}{sheet, record})
}
