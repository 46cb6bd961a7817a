package api

import (
	"archive/zip"
	"bufio"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/xuri/excelize/v2"

	"levinward/api/assess"
	"levinward/api/protocol"
	"levinward/api/wire"
	"levinward/store"
)

// steadyTime is how long a client may take nothing of an export before it is cut off.
const steadyTime = time.Minute

// steadyWriter lets an answer take as long as it needs while the client reads on.
type steadyWriter struct {
	io.Writer
	control *http.ResponseController
}

func (w steadyWriter) Write(p []byte) (int, error) {
	_ = w.control.SetWriteDeadline(time.Now().Add(steadyTime)) // not every writer has one
	return w.Writer.Write(p)
}

// siteWriter writes sites one by one in the form of a file.
type siteWriter interface {
	write(s *store.Site) error
	flush() error // sends what is ready
	close() error // ends the file
	discard()     // gives up what waits on the disk, whether the file was ended or not
}

// export answers the sites of a portfolio as a file, page by page.
func (s *Server) export(name, mediaType string, open func(io.Writer) (siteWriter, error)) echo.HandlerFunc {
	return func(c echo.Context) error {
		filter, err := s.exportFilter(c)
		if err != nil {
			return err
		}
		ctx, id := c.Request().Context(), c.Param("id")
		if _, err := s.store.Portfolio(ctx, store.Local, id); err != nil {
			return protocol.NoSuch("portfolio", err)
		}
		page, err := s.store.ListSites(ctx, store.Local, id, filter)
		if err != nil {
			return err
		}
		h := c.Response().Header()
		h.Set(echo.HeaderContentType, mediaType)
		h.Set(echo.HeaderContentDisposition, `attachment; filename="`+name+`"`)
		w, err := open(steadyWriter{c.Response(), http.NewResponseController(c.Response())})
		if err != nil {
			return s.broken(c, err)
		}
		defer w.discard()
		for {
			for i := range page.Sites {
				if err := w.write(&page.Sites[i]); err != nil {
					return s.broken(c, err)
				}
			}
			if err := w.flush(); err != nil {
				return s.broken(c, err)
			}
			if filter.Cursor = page.Next; filter.Cursor == "" {
				break
			}
			if page, err = s.store.ListSites(ctx, store.Local, id, filter); err != nil {
				return s.broken(c, err)
			}
		}
		if err := w.close(); err != nil {
			return s.broken(c, err)
		}
		return nil
	}
}

// broken ends a file that cannot be completed: as a problem where nothing was sent
// yet, otherwise by breaking the connection, so that no client takes a part for the whole.
func (s *Server) broken(c echo.Context, err error) error {
	if !c.Response().Committed {
		for _, name := range []string{echo.HeaderContentType, echo.HeaderContentDisposition} {
			c.Response().Header().Del(name)
		}
		return err
	}
	s.log.Warn("export broken off", "error", err, "path", c.Request().URL.Path, "request_id", c.Response().Header().Get(echo.HeaderXRequestID))
	panic(http.ErrAbortHandler)
}

// exportFilter reads the conditions of a list of sites. Without another rank
// sites come by name, in which they keep their places when they are assessed again meanwhile.
func (s *Server) exportFilter(c echo.Context) (store.SiteFilter, error) {
	f, err := s.siteFilter(c)
	f.Limit = store.MaxLimit
	if f.Rank == "" {
		f.Rank = store.RankName
	}
	return f, err
}

// siteColumns are the columns of a table of sites: id and place, then the properties.
var siteColumns = columnNames()

func columnNames() []string {
	names := []string{"id", "latitude", "longitude"}
	t := reflect.TypeFor[wire.SiteProperties]()
	for i := range t.NumField() {
		names = append(names, t.Field(i).Tag.Get("json"))
	}
	return names
}

// siteCells are the values of the columns: text, float64, int, bool, or nil for none. layout is that of times.
func siteCells(s *store.Site, layout string) []any {
	cells := append(make([]any, 0, len(siteColumns)), s.Assessment, s.Latitude, s.Longitude)
	p := siteProperties(s)
	v := reflect.ValueOf(&p).Elem()
	for i := range v.NumField() {
		switch cell := v.Field(i).Interface().(type) {
		case *string:
			if cell == nil {
				cells = append(cells, nil)
			} else {
				cells = append(cells, *cell)
			}
		case time.Time:
			cells = append(cells, cell.Format(layout))
		default:
			cells = append(cells, cell)
		}
	}
	return cells
}

// csvSites writes CSV (RFC 4180).
type csvSites struct {
	w   *csv.Writer
	row []string
}

func newCSVSites(out io.Writer) (siteWriter, error) {
	w := csv.NewWriter(out)
	w.UseCRLF = true
	row := append(make([]string, len(siteColumns)), assess.CautionsInShort)
	return &csvSites{w, row}, w.Write(append(slices.Clip(siteColumns), protocol.CautionColumn))
}

func (f *csvSites) write(s *store.Site) error {
	for i, cell := range siteCells(s, time.RFC3339Nano) {
		switch cell := cell.(type) {
		case nil:
			f.row[i] = ""
		case string:
			f.row[i] = protocol.PlainCell(cell)
		case float64:
			f.row[i] = protocol.FullNumber(cell)
		case int:
			f.row[i] = strconv.Itoa(cell)
		case bool:
			f.row[i] = strconv.FormatBool(cell)
		}
	}
	return f.w.Write(f.row)
}

func (f *csvSites) flush() error {
	f.w.Flush()
	return f.w.Error()
}

func (f *csvSites) close() error { return f.flush() }

func (f *csvSites) discard() {}

// geoSites writes a GeoJSON FeatureCollection (RFC 7946).
type geoSites struct {
	w    *bufio.Writer
	some bool
}

func newGeoSites(out io.Writer) (siteWriter, error) {
	cautions, err := json.Marshal(assess.Cautions())
	if err != nil {
		return nil, err
	}
	f := &geoSites{w: bufio.NewWriter(out)}
	_, err = f.w.WriteString(`{"type":"FeatureCollection","cautions":` + string(cautions) + `,"features":[`)
	return f, err
}

func (f *geoSites) write(s *store.Site) error {
	b, err := json.Marshal(siteFeature(s))
	if err != nil {
		return err
	}
	separator := ",\n"
	if !f.some {
		f.some, separator = true, "\n"
	}
	if _, err := f.w.WriteString(separator); err != nil {
		return err
	}
	_, err = f.w.Write(b)
	return err
}

func (f *geoSites) flush() error { return f.w.Flush() }

func (f *geoSites) discard() {}

func (f *geoSites) close() error {
	if _, err := f.w.WriteString("\n]}\n"); err != nil {
		return err
	}
	return f.w.Flush()
}

// sheetRows is how many rows a sheet has room for.
var sheetRows = excelize.TotalRows

// xlsxSites writes a workbook. Rows wait in a temporary file, since a workbook
// cannot be sent before its last row; texts are text cells, which no program computes.
type xlsxSites struct {
	out   io.Writer
	file  *excelize.File
	sheet *excelize.StreamWriter
	n     int // of the sheet
	row   int // the next one of the sheet, from 1
}

func newXLSXSites(out io.Writer) (siteWriter, error) {
	f := &xlsxSites{out: out, file: excelize.NewFile(excelize.Options{})}
	if err := f.writeCautions(); err != nil {
		return nil, errors.Join(err, f.file.Close())
	}
	if err := f.begin(); err != nil {
		return nil, errors.Join(err, f.file.Close())
	}
	return f, nil
}

// writeCautions makes the last sheet.
func (f *xlsxSites) writeCautions() error {
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
func (f *xlsxSites) begin() (err error) {
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
	header := make([]any, len(siteColumns))
	for i, c := range siteColumns {
		header[i] = c
	}
	f.row = 1
	return f.add(header)
}

func (f *xlsxSites) add(cells []any) error {
	at, err := excelize.CoordinatesToCellName(1, f.row)
	if err != nil {
		return err
	}
	f.row++
	return f.sheet.SetRow(at, cells)
}

func (f *xlsxSites) write(s *store.Site) error {
	if f.row > sheetRows {
		if err := f.sheet.Flush(); err != nil {
			return err
		}
		if err := f.begin(); err != nil {
			return err
		}
	}
	return f.add(siteCells(s, time.RFC3339Nano))
}

func (f *xlsxSites) flush() error { return nil }

func (f *xlsxSites) close() error {
	if err := f.sheet.Flush(); err != nil {
		return err
	}
	// The workbook goes into the answer instead of a buffer.
	f.file.SetZipWriter(func(io.Writer) excelize.ZipWriter { return zip.NewWriter(f.out) })
	return f.file.Write(io.Discard)
}

func (f *xlsxSites) discard() { _ = f.file.Close() }
