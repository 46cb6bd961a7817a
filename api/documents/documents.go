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
