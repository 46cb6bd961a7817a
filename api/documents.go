package api

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/web"
	"levinward/api/wire"
	"levinward/risk/spd"
	"levinward/store"
)

// chosen reads the revision that the query names, the newest without one.
func (s *Server) chosen(c echo.Context) (store.Record, error) {
	n, err := queryRevision(c, "revision")
	if err != nil {
		return store.Record{}, err
	}
	if n == 0 {
		return s.store.Newest(c.Request().Context(), store.Local, c.Param("id"))
	}
	return s.store.Revision(c.Request().Context(), store.Local, c.Param("id"), n)
}

// readWorksheet writes out the worksheet of a stored record, with the definitions stored with it.
func (s *Server) readWorksheet(c echo.Context) (*wire.Worksheet, *wire.Result, error) {
	ctx := c.Request().Context()
	r, err := s.chosen(c)
	if err != nil {
		return nil, nil, err
	}
	stored, err := s.store.Worksheet(ctx, store.Local, r.ID, r.Revision)
	if err != nil {
		return nil, nil, err
	}
	definitions, err := s.store.Definitions(ctx, store.Local, r.DefinitionsHash)
	if err != nil {
		return nil, nil, err
	}
	var result wire.Result
	if err := json.Unmarshal(r.Result, &result); err != nil {
		return nil, nil, err
	}
	w, err := wire.ReadWorksheet(r.Edition, definitions, stored, result.Assumptions, r.Input)
	return w, &result, err
}

func (s *Server) worksheet(c echo.Context) error {
	media, err := negotiate(c, mediaJSON, mediaCSV, mediaHTML)
	if err != nil {
		return err
	}
	c.Response().Header().Add("Vary", "Accept")
	switch media {
	case mediaCSV:
		return s.worksheetCSV(c)
	case mediaHTML:
		return s.worksheetHTML(c)
	}
	w, _, err := s.readWorksheet(c)
	if err != nil {
		return err
	}
	return answer(c, w)
}

func (s *Server) worksheetCSV(c echo.Context) error {
	w, _, err := s.readWorksheet(c)
	if err != nil {
		return err
	}
	rows := [][]string{{"index", "scope", "symbol", "name", "value", "unit", "formula", "inputs", "clause", "table", "row", "column", "note", "pointer", "provenance"}}
	for _, st := range w.Steps {
		inputs := make([]string, len(st.Inputs))
		for i, n := range st.Inputs {
			inputs[i] = strconv.Itoa(n)
		}
		rows = append(rows, []string{strconv.Itoa(st.Index), st.Scope, st.Symbol, st.Name, full(st.Value), st.Unit, st.Formula, strings.Join(inputs, " "),
			st.Clause, st.Table, st.Row, st.Column, st.Note, st.Pointer, st.Provenance})
	}
	return answerCSV(c, "worksheet.csv", rows)
}

func (s *Server) worksheetHTML(c echo.Context) error {
	w, result, err := s.readWorksheet(c)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := web.Worksheet(&b, w, result); err != nil {
		return err
	}
	return c.HTMLBlob(http.StatusOK, b.Bytes())
}

func full(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// answerCSV writes rows (RFC 4180). A text that a spreadsheet would take for a formula gets an apostrophe.
func answerCSV(c echo.Context, name string, rows [][]string) error {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	for _, row := range rows {
		for i, cell := range row {
			row[i] = plainCell(cell)
		}
		if err := w.Write(row); err != nil {
			return err
		}
	}
	w.Flush()
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="`+name+`"`)
	return c.Blob(http.StatusOK, "text/csv; charset=utf-8; header=present", b.Bytes())
}

func plainCell(cell string) string {
	if cell == "" || !strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
		return cell
	}
	if _, err := strconv.ParseFloat(cell, 64); err == nil {
		return cell
	}
	return "'" + cell
}

// readSchedule is the SPD schedule of a stored record.
func (s *Server) readSchedule(c echo.Context) ([]wire.ScheduleEntry, []string, error) {
	r, err := s.chosen(c)
	if err != nil {
		return nil, nil, err
	}
	var result struct {
		Schedule []wire.ScheduleEntry `json:"spd_schedule"`
		Cautions []string             `json:"cautions"`
	}
	err = json.Unmarshal(r.Result, &result)
	return result.Schedule, result.Cautions, err
}

func (s *Server) schedule(c echo.Context) error {
	media, err := negotiate(c, mediaJSON, mediaCSV)
	if err != nil {
		return err
	}
	c.Response().Header().Add("Vary", "Accept")
	if media == mediaCSV {
		return s.scheduleCSV(c)
	}
	entries, cautions, err := s.readSchedule(c)
	if err != nil {
		return err
	}
	return answer(c, map[string]any{"spd_schedule": entries, "cautions": cautions})
}

// scheduleCSV writes a row per device and mode of protection.
func (s *Server) scheduleCSV(c echo.Context) error {
	entries, cautions, err := s.readSchedule(c)
	if err != nil {
		return err
	}
	rows := [][]string{{"structure", "line", "position", "required", "because", "service", "current", "test_class", "lightning_protection_level", "connection",
		"mode", "uc_min_v", "uc_max_v", "up_max_kv", "in_min_ka", "iimp_min_ka", "imax_min_ka", "short_circuit_min_ka", "leads_max_length_m", "leads_earth_mm2", "leads_live_mm2", "notes", "cautions"}}
	for i := range entries {
		rows = append(rows, scheduleRows(&entries[i], strings.Join(cautions, " "))...)
	}
	return answerCSV(c, "spd-schedule.csv", rows)
}

func scheduleRows(e *wire.ScheduleEntry, cautions string) [][]string {
	because := make([]string, len(e.Because))
	for i, b := range e.Because {
		because[i] = b.Rule + " (" + b.Clause + ")"
	}
	var current, level, connection string
	if e.Current != nil {
		current = e.Current.String()
	}
	if e.Level != nil {
		level = e.Level.String()
	}
	if e.Connection != nil {
		connection = *e.Connection
	}
	var rows [][]string
	for _, m := range e.Modes {
		rows = append(rows, []string{e.Structure, e.Line, string(e.Position), strconv.FormatBool(e.Required), strings.Join(because, "; "), e.Service.String(), current, string(e.TestClass), level, connection,
			m.Mode, optional(m.UcMin), optional(e.UcMax), optional(m.UpMax), optional(m.InMin), optional(m.IimpMin), optional(e.ImaxMin), optional(e.ShortCircuitMin),
			optional(e.Leads.MaxLength), optional(e.Leads.Earth), optional(e.Leads.Live), strings.Join(e.Notes, " "), cautions})
	}
	return rows
}

func optional(o spd.Opt) string {
	if !o.Valid {
		return ""
	}
	return full(o.Value)
}

// reference answers every table, quantity and default in use.
func (s *Server) reference(c echo.Context) error {
	r := wire.Reference{SPD: wire.SPDReference{Quantities: wire.Quantities(spd.Quantities()), Tables: wire.Tables(spd.Tables())}, Defaults: wire.Defaults()}
	for _, e := range assess.Editions {
		r.Editions = append(r.Editions, wire.EditionReference{ID: e.ID(), Quantities: wire.Quantities(e.Quantities()), Tables: wire.Tables(e.Tables())})
	}
	return answer(c, r)
}
