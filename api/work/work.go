package work

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/batch"
	"levinward/api/contract"
	"levinward/api/jobs"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/store"
)

// importFormats are the files that can be imported.
var importFormats = map[string]batch.Format{protocol.MediaCSV: batch.CSV, protocol.MediaXLSX: batch.XLSX,
	protocol.MediaGeoJSON: batch.GeoJSON}

// Limits of an import.
const (
	MaxImport  = 1 << 30
	importTime = 30 * time.Minute
	// faultsShown of a refused file stand in the answer, all of them with its work.
	faultsShown = 100
)

// importSites reads a file and queues its rows.
func (s *Service) importSites(c echo.Context) error {
	im, err := importOf(c, s.Limit)
	if err != nil {
		return err
	}
	r := c.Request()
	// The time limits of the server are for small bodies; not every writer can change them.
	deadline, control := time.Now().Add(importTime), http.NewResponseController(c.Response())
	_ = errors.Join(control.SetReadDeadline(deadline), control.SetWriteDeadline(deadline))
	w, begun, err := s.Jobs.Import(r.Context(), im, http.MaxBytesReader(c.Response(), r.Body, s.Limit))
	var presets *batch.PresetError
	switch {
	case protocol.IsTooLarge(err):
		return refusal.TooLarge.Problem("at most 1 GiB; nothing was stored")
	case errors.As(err, &presets):
		return refusal.Conflict.Problem("a preset does not fit any more, put it again: " + presets.Error())
	case errors.Is(err, store.ErrNotFound):
		return protocol.NoSuch("portfolio", err)
	case errors.Is(err, store.ErrWorkEnded):
		return refusal.Cancelled.Problem("the import was cancelled while its file was read; nothing was stored")
	case errors.Is(err, io.ErrUnexpectedEOF):
		return refusal.Unreadable.Problem("the body ended early; nothing was stored")
	case err != nil:
		return err
	}
	if w.State == store.WorkRefused {
		c.Response().Header().Set("Location", "/v1/work/"+w.ID)
		return s.refusedFile(c, &w)
	}
	protocol.SetReplayed(c, begun)
	return s.accepted(c, &w)
}

// importOf reads the parameters of an import, all faults at once.
func importOf(c echo.Context, most int64) (jobs.Import, error) {
	q := c.QueryParams()
	im := jobs.Import{Portfolio: c.Param("id"), Mode: store.AllOrNothing,
		File: batch.Options{Sheet: q.Get("sheet"), Decimal: batch.Decimal(q.Get("decimal")), MaxBytes: most}}
	var faults []refusal.Fault
	choice := func(name string, allowed ...string) {
		if q.Has(name) && !slices.Contains(allowed, q.Get(name)) {
			faults = append(faults, refusal.Fault{Parameter: name,
				Reason: "must be one of " + strings.Join(allowed, ", ") + "; found " + strconv.Quote(q.Get(name))})
		}
	}
	choice("mode", store.AllOrNothing, store.GoodRowsOnly)
	choice("decimal", string(batch.DecimalPoint), string(batch.DecimalComma))
	if q.Has("mode") {
		im.Mode = q.Get("mode")
	}
	if len([]rune(im.File.Sheet)) > protocol.MaxQuery {
		faults = append(faults, refusal.Fault{Parameter: "sheet",
			Reason: "must be a text of at most " + strconv.Itoa(protocol.MaxQuery) + " characters"})
	}
	key, err := protocol.IdempotencyKey(c)
	if wrong := (*refusal.Problem)(nil); errors.As(err, &wrong) {
		faults = append(faults, wrong.Errors...)
	}
	if im.Key = key; len(faults) > 0 {
		return im, refusal.BadParameter.Problem("", faults...)
	}
	media := protocol.MediaTypeOf(c.Request().Header.Get(echo.HeaderContentType))
	format, ok := importFormats[media]
	switch {
	case !ok:
		return im, refusal.WrongMediaType.Problem("send " + strings.Join(protocol.SortedKeys(importFormats), ", ") + "; found " +
			strconv.Quote(media))
	case c.Request().Header.Get(echo.HeaderContentEncoding) != "":
		return im, refusal.WrongMediaType.Problem("send the body without a content encoding")
	case c.Request().ContentLength > most:
		return im, refusal.TooLarge.Problem("at most 1 GiB")
	}
	im.File.Format = format
	return im, nil
}

// refusedFile answers the first faults of a file of which nothing was stored.
func (s *Service) refusedFile(c echo.Context, w *store.Work) error {
	page, err := s.Store.WorkFaults(c.Request().Context(), store.Local, w.ID, faultsShown, "")
	if err != nil {
		return err
	}
	faults := make([]refusal.Fault, len(page.Faults))
	for i, f := range page.Faults {
		faults[i] = refusal.Fault{Line: int(f.Row), Column: f.Column, Value: f.Value, Reason: f.Reason}
		if f.Row == 0 {
			faults[i] = refusal.FaultAt("", f.Reason)
			if f.Column != "" {
				faults[i].Reason = "column " + strconv.Quote(f.Column) + ": " + f.Reason
			}
		}
	}
	detail := strconv.FormatInt(w.Failed, 10) + " of " + strconv.FormatInt(w.Total, 10) + " rows have faults; nothing was stored"
	if w.Failed == 0 { // what was read of the rows until then is of no use
		detail = "the file as a whole was refused; nothing was stored"
	}
	if page.Next != "" {
		detail += "; the first faults are here, all under /v1/work/" + w.ID + "/faults"
	}
	return refusal.InvalidInput.Problem(detail, faults...)
}

// reassess queues sites to be assessed again.
func (s *Service) reassess(c echo.Context) error {
	b, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return err
	}
	in, problem := contract.DecodeBody(wire.ReassessInputs, b, func(*wire.ReassessInput) []risk.Violation { return nil })
	if problem != nil {
		return problem
	}
	key, err := protocol.IdempotencyKey(c)
	if err != nil {
		return err
	}
	r := jobs.Reassessment{Portfolio: c.Param("id"), Due: *in.Which == wire.DueSites,
		Request: jobs.Request(key, store.WorkAssess, c.Param("id"), b)}
	// Before anything is looked up that may be gone by now.
	if w, begun, err := s.Jobs.Begun(c.Request().Context(), r.Request); err != nil {
		return err
	} else if begun {
		protocol.SetReplayed(c, true)
		return s.accepted(c, &w)
	}
	if in.FlashDensityMap != nil {
		m, err := s.Store.DensityMap(c.Request().Context(), store.Local, *in.FlashDensityMap)
		if errors.Is(err, store.ErrNotFound) {
			return refusal.Invalid([]refusal.Fault{refusal.FaultAt("/flash_density_map",
				"there is no flash-density map "+strconv.Quote(*in.FlashDensityMap))})
		}
		if err != nil {
			return err
		}
		r.Map = m.ID
	}
	w, begun, err := s.Jobs.Reassess(c.Request().Context(), r)
	if err != nil {
		return protocol.NoSuch("portfolio", err)
	}
	protocol.SetReplayed(c, begun)
	return s.accepted(c, &w)
}

// accepted answers a work that was queued.
func (s *Service) accepted(c echo.Context, w *store.Work) error {
	c.Response().Header().Set("Location", "/v1/work/"+w.ID)
	return protocol.AnswerDocument(c, http.StatusAccepted, s.workOf(w))
}

// retryWork makes the rows that failed a new work.
func (s *Service) retryWork(c echo.Context) error {
	w, err := s.Jobs.Retry(c.Request().Context(), c.Param("id"))
	switch {
	case errors.Is(err, jobs.ErrNothingToRetry):
		return refusal.NotRetried.Problem("no row failed in a way that can be tried again; correct the file and import it again")
	case errors.Is(err, jobs.ErrNotEnded):
		return refusal.NotRetried.Problem("the work has not ended; wait for it or cancel it")
	case err != nil:
		return protocol.NoSuch("work", err)
	}
	return s.accepted(c, &w)
}

// listWork answers a page of the works on a portfolio, the newest first.
func (s *Service) listWork(c echo.Context) error {
	limit, cursor, err := protocol.PageOf(c)
	if err != nil {
		return err
	}
	ctx, id := c.Request().Context(), c.Param("id")
	if _, err := s.Store.Portfolio(ctx, store.Local, id); err != nil {
		return protocol.NoSuch("portfolio", err)
	}
	page, err := s.Store.ListWorks(ctx, store.Local, id, limit, cursor)
	if err != nil {
		return err
	}
	list := wire.WorkList{Work: make([]wire.Work, len(page.Works))}
	for i := range page.Works {
		list.Work[i] = s.workOf(&page.Works[i])
	}
	protocol.SetNextLink(c, page.Next)
	return protocol.Answer(c, list)
}

// work answers how far a work is.
func (s *Service) work(c echo.Context) error {
	w, err := s.Store.Work(c.Request().Context(), store.Local, c.Param("id"))
	if err != nil {
		return protocol.NoSuch("work", err)
	}
	return protocol.Answer(c, s.workOf(&w))
}

// cancelWork ends a work; what is stored stays.
func (s *Service) cancelWork(c echo.Context) error {
	w, err := s.Store.CancelWork(c.Request().Context(), store.Local, c.Param("id"), s.Now())
	if err != nil {
		return protocol.NoSuch("work", err)
	}
	return protocol.Answer(c, s.workOf(&w))
}

// workOf writes a work with its rate, over the time since it started.
func (s *Service) workOf(w *store.Work) wire.Work {
	doc := wire.Work{ID: w.ID, Portfolio: w.Portfolio, Kind: w.Kind, Mode: w.Mode, State: w.State,
		Total: w.Total, Done: w.Done, Failed: w.Failed, Unchanged: w.Unchanged, Noted: w.Noted, CreatedAt: w.CreatedAt}
	if w.StartedAt.IsZero() {
		return doc
	}
	doc.StartedAt = &w.StartedAt
	end := s.Now()
	if !w.FinishedAt.IsZero() {
		end, doc.FinishedAt = w.FinishedAt, &w.FinishedAt
	}
	if rate, left, ok := jobs.Pace(w, end); ok {
		doc.Rate = &rate
		if !w.Ended() {
			doc.SecondsLeft = &left
		}
	}
	return doc
}

// workFaults answers a page of the faults of rows.
func (s *Service) workFaults(c echo.Context) error {
	limit, cursor, err := protocol.PageOf(c)
	if err != nil {
		return err
	}
	page, err := s.Store.WorkFaults(c.Request().Context(), store.Local, c.Param("id"), limit, cursor)
	if err != nil {
		return protocol.NoSuch("work", err)
	}
	list := wire.WorkFaultList{Faults: make([]wire.WorkFault, len(page.Faults))}
	for i, f := range page.Faults {
		list.Faults[i] = wire.WorkFault(f)
	}
	protocol.SetNextLink(c, page.Next)
	return protocol.Answer(c, list)
}

// workNotes answers what was noted of rows.
func (s *Service) workNotes(c echo.Context) error {
	all, err := s.Store.WorkNotes(c.Request().Context(), store.Local, c.Param("id"))
	if err != nil {
		return protocol.NoSuch("work", err)
	}
	list := wire.WorkNoteList{Notes: make([]wire.WorkNote, len(all))}
	for i, n := range all {
		list.Notes[i] = wire.WorkNote{Column: n.Column, Note: n.Text, Count: n.Count, Rows: make([]wire.RowSpan, len(n.Rows))}
		for k, span := range n.Rows {
			list.Notes[i].Rows[k] = wire.RowSpan(span)
		}
	}
	return protocol.Answer(c, list)
}

// Times of a stream of events.
const (
	eventEvery = 250 * time.Millisecond
	stillHere  = 10 * time.Second // a comment keeps the connection open when nothing happens
	streamTime = 4 * time.Hour
)

// workEvents sends the work whenever it has got further, until it ends (server-sent events).
func (s *Service) workEvents(c echo.Context) error {
	ctx, id := c.Request().Context(), c.Param("id")
	w, err := s.Store.Work(ctx, store.Local, id)
	if err != nil {
		return protocol.NoSuch("work", err)
	}
	response := c.Response()
	// Not every writer can change the time limit of the server.
	_ = http.NewResponseController(response).SetWriteDeadline(time.Now().Add(streamTime))
	response.Header().Set(echo.HeaderContentType, "text/event-stream")
	response.Header().Set("Cache-Control", "no-store")
	response.WriteHeader(http.StatusOK)
	var last []byte
	sent := time.Time{}
	for {
		text, err := json.Marshal(s.workOf(&w))
		if err != nil {
			return err
		}
		switch {
		case !bytes.Equal(text, last):
			_, err = fmt.Fprintf(response, "event: %s\ndata: %s\n\n", eventOf(&w), text)
			last, sent = text, time.Now()
		case time.Since(sent) > stillHere:
			_, err = io.WriteString(response, ": still here\n\n")
			sent = time.Now()
		}
		if err != nil {
			return nil // the client is gone
		}
		response.Flush()
		if w.Ended() {
			return nil
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(eventEvery):
		}
		next, err := s.Store.Work(ctx, store.Local, id)
		switch {
		case errors.Is(err, store.ErrNotFound):
			return nil // the portfolio was deleted
		case err == nil:
			w = next
		}
	}
}

func eventOf(w *store.Work) string {
	if w.Ended() {
		return "end"
	}
	return "progress"
}
