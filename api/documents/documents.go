package documents

import (
	"bytes"
	"encoding/json"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/protocol"
	"levinward/api/table"
	"levinward/api/web"
	"levinward/api/wire"
	"levinward/store"
)

// chosen reads the revision that the query names, the newest without one.
func (s *Service) chosen(c echo.Context) (store.Record, error) {
	numbers, err := protocol.QueryRevisions(c, "revision")
	if err != nil {
		return store.Record{}, err
	}
	n := numbers[0]
	if n == 0 {
		return s.Store.Newest(c.Request().Context(), store.Local, c.Param("id"))
	}
	return s.Store.Revision(c.Request().Context(), store.Local, c.Param("id"), n)
}

// storedResult is what the documents need of a stored result. It is read as it
// was written, whatever the program has become since.
type storedResult struct {
	web.Record
	Assumptions []wire.Assumption `json:"assumptions"`
}

// readWorksheet writes out the worksheet of a stored record, with the definitions stored with it.
func (s *Service) readWorksheet(c echo.Context) (*wire.Worksheet, *web.Record, error) {
	ctx := c.Request().Context()
	r, err := s.chosen(c)
	if err != nil {
		return nil, nil, err
	}
	stored, err := s.Store.Worksheet(ctx, store.Local, r.ID, r.Revision)
	if err != nil {
		return nil, nil, err
	}
	definitions, err := s.Store.Definitions(ctx, store.Local, r.DefinitionsHash)
	if err != nil {
		return nil, nil, err
	}
	var result storedResult
	if err := json.Unmarshal(r.Result, &result); err != nil {
		return nil, nil, err
	}
	result.Cautions = cautionsOf(result.Cautions)
	w, err := wire.ReadWorksheet(r.Edition, definitions, stored, result.Assumptions, r.Input)
	if err != nil {
		return nil, nil, err
	}
	w.Cautions = result.Cautions
	return w, &result.Record, nil
}

func (s *Service) worksheet(c echo.Context) error {
	media, err := protocol.Negotiate(c, protocol.MediaJSON, protocol.MediaCSV, protocol.MediaHTML)
	if err != nil {
		return err
	}
	c.Response().Header().Add("Vary", "Accept")
	switch media {
	case protocol.MediaCSV:
		return s.worksheetCSV(c)
	case protocol.MediaHTML:
		return s.worksheetHTML(c)
	}
	w, _, err := s.readWorksheet(c)
	if err != nil {
		return err
	}
	return protocol.Answer(c, w)
}

func (s *Service) worksheetCSV(c echo.Context) error {
	w, _, err := s.readWorksheet(c)
	if err != nil {
		return err
	}
	rows := [][]string{{"index", "scope", "symbol", "name", "value", "unit", "formula", "inputs", "clause", "table", "row", "column", "note",
		"pointer", "provenance",
		"weakest", "weakest_step", "rests_on_assumption", "remark", "checked_by", "checked_on"}}
	for _, st := range w.Steps {
		inputs := make([]string, len(st.Inputs))
		for i, n := range st.Inputs {
			inputs[i] = strconv.Itoa(n)
		}
		rows = append(rows, []string{strconv.Itoa(st.Index), st.Scope, st.Symbol, st.Name, table.FullNumber(st.Value), st.Unit, st.Formula,
			strings.Join(inputs, " "),
			st.Clause, st.Table, st.Row, st.Column, st.Note, st.Pointer, st.Provenance,
			st.Weakest.String(), strconv.Itoa(st.WeakestStep), strconv.FormatBool(st.Assumed), st.Remark, st.CheckedBy, st.CheckedOn})
	}
	return protocol.AnswerCSV(c, "worksheet.csv", rows)
}

func (s *Service) worksheetHTML(c echo.Context) error {
	w, record, err := s.readWorksheet(c)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := web.Worksheet(&b, w, record); err != nil {
		return err
	}
	return c.HTMLBlob(http.StatusOK, b.Bytes())
}

// cautionsOf are the cautions stored with a result, or those of today where a record has none.
func cautionsOf(stored []string) []string {
	if len(stored) == 0 {
		return assess.Cautions()
	}
	return stored
}

// readSchedule reads the SPD schedule of a stored record.
func (s *Service) readSchedule(c echo.Context, into any) error {
	r, err := s.chosen(c)
	if err != nil {
		return err
	}
	return json.Unmarshal(r.Result, into)
}

func (s *Service) schedule(c echo.Context) error {
	media, err := protocol.Negotiate(c, protocol.MediaJSON, protocol.MediaCSV)
	if err != nil {
		return err
	}
	c.Response().Header().Add("Vary", "Accept")
	if media == protocol.MediaCSV {
		return s.scheduleCSV(c)
	}
	devices, err := matching(c)
	if err != nil {
		return err
	}
	var stored struct {
		ReviewsHash string          `json:"reviews_hash,omitempty"`
		Schedule    json.RawMessage `json:"spd_schedule"`
		Matching    *wire.Matching  `json:"matching,omitempty"`
		Cautions    []string        `json:"cautions"`
	}
	if err := s.readSchedule(c, &stored); err != nil {
		return err
	}
	stored.Cautions = cautionsOf(stored.Cautions)
	if devices > 0 {
		if stored.Matching, err = s.match(c, stored.Schedule, stored.ReviewsHash, devices); err != nil {
			return err
		}
	}
	return protocol.Answer(c, stored)
}

// storedEntry is a device of a stored schedule. What was null is empty.
type storedEntry struct {
	Structure       string        `json:"structure"`
	Line            string        `json:"line"`
	Position        string        `json:"position"`
	Required        bool          `json:"required"`
	Because         []wire.Reason `json:"because"`
	Service         string        `json:"service"`
	Current         string        `json:"current"`
	TestClass       string        `json:"test_class"`
	Level           string        `json:"lightning_protection_level"`
	Connection      string        `json:"connection"`
	Modes           []storedMode  `json:"modes"`
	UcMax           json.Number   `json:"uc_max_v"`
	ImaxMin         json.Number   `json:"imax_min_ka"`
	ShortCircuitMin json.Number   `json:"short_circuit_min_ka"`
	Leads           struct {
		MaxLength json.Number `json:"max_length_m"`
		Earth     json.Number `json:"earth_mm2"`
		Live      json.Number `json:"live_mm2"`
	} `json:"leads"`
	Notes []string `json:"notes"`
}

type storedMode struct {
	Mode    string      `json:"mode"`
	UcMin   json.Number `json:"uc_min_v"`
	UpMax   json.Number `json:"up_max_kv"`
	InMin   json.Number `json:"in_min_ka"`
	IimpMin json.Number `json:"iimp_min_ka"`
}

// scheduleCSV writes a row per device and mode of protection.
func (s *Service) scheduleCSV(c echo.Context) error {
	devices, err := matching(c)
	if err != nil {
		return err
	}
	var stored struct {
		ReviewsHash string          `json:"reviews_hash,omitempty"`
		Schedule    json.RawMessage `json:"spd_schedule"`
	}
	if err := s.readSchedule(c, &stored); err != nil {
		return err
	}
	var schedule []storedEntry
	if err := json.Unmarshal(stored.Schedule, &schedule); err != nil {
		return err
	}
	rows := [][]string{{"structure", "line", "position", "required", "because", "service", "current", "test_class",
		"lightning_protection_level", "connection",
		"mode", "uc_min_v", "uc_max_v", "up_max_kv", "in_min_ka", "iimp_min_ka", "imax_min_ka", "short_circuit_min_ka", "leads_max_length_m",
		"leads_earth_mm2", "leads_live_mm2", "notes"}}
	for i := range schedule {
		rows = append(rows, scheduleRows(&schedule[i])...)
	}
	if devices > 0 {
		m, err := s.match(c, stored.Schedule, stored.ReviewsHash, devices)
		if err != nil {
			return err
		}
		rows = withMatches(rows, schedule, m)
	}
	return protocol.AnswerCSV(c, "spd-schedule.csv", rows)
}

func scheduleRows(e *storedEntry) [][]string {
	because := make([]string, len(e.Because))
	for i, b := range e.Because {
		because[i] = b.Rule + " (" + b.Clause + ")"
	}
	var rows [][]string
	for _, m := range e.Modes {
		rows = append(rows, []string{e.Structure, e.Line, e.Position, strconv.FormatBool(e.Required), strings.Join(because, "; "), e.Service,
			e.Current, e.TestClass, e.Level, e.Connection,
			m.Mode, string(m.UcMin), string(e.UcMax), string(m.UpMax), string(m.InMin), string(m.IimpMin), string(e.ImaxMin),
			string(e.ShortCircuitMin),
			string(e.Leads.MaxLength), string(e.Leads.Earth), string(e.Leads.Live), strings.Join(e.Notes, " ")})
	}
	return rows
}
