package api

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"levinward/api/wire"
	"levinward/store"
)

const (
	mediaJSON  = "application/json"
	mediaPatch = "application/merge-patch+json"
	mediaCSV   = "text/csv"
	mediaHTML  = "text/html"
)

// encode writes a document without escaping what only HTML needs escaped.
func encode(v any) ([]byte, error) {
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

// answerDocument encodes a document and sends it.
func answerDocument(c echo.Context, status int, v any) error {
	b := buffers.Get().(*bytes.Buffer)
	defer buffers.Put(b)
	if err := encodeTo(b, v); err != nil {
		return err
	}
	return c.Blob(status, mediaJSON, b.Bytes())
}

// compute answers a decoded input. Faults have been found before.
func (s *Server) compute(in *wire.Input, site *wire.Site) (*wire.Result, error) {
	done, faults, err := s.recorder.Compute(in, site, time.Time{}, nil)
	if err != nil {
		return nil, err
	}
	if len(faults) > 0 {
		return nil, invalid(faultsOf(faults))
	}
	s.metrics.computed.Inc()
	return done.Result, nil
}

// decode reads the body of an input, to be computed with the reviews in use.
func (s *Server) decode(c echo.Context, body []byte) (*wire.Input, *wire.Site, error) {
	ctx := c.Request().Context()
	reviews, err := s.reviews.Reviews(ctx)
	if err != nil {
		return nil, nil, err
	}
	return s.contract.decode(ctx, s.maps, reviews, body)
}

// calculate computes and stores nothing.
func (s *Server) calculate(c echo.Context) error {
	b, err := body(c, mediaJSON)
	if err != nil {
		return err
	}
	in, site, err := s.decode(c, b)
	if err != nil {
		return err
	}
	result, err := s.compute(in, site)
	if err != nil {
		return err
	}
	return answerDocument(c, http.StatusOK, result)
}

// record computes an input with its worksheet and makes the record to be stored.
func (s *Server) record(c echo.Context, in *wire.Input, site *wire.Site, id string, revision int) (store.Record, error) {
	r, faults, err := s.recorder.Record(in, site, id, revision, time.Time{})
	if err != nil {
		return r, err
	}
	if len(faults) > 0 {
		return r, invalid(faultsOf(faults))
	}
	s.metrics.computed.Inc()
	return r, s.recorder.Define(c.Request().Context(), s.store, site.Input.Reviews)
}

// create computes and stores revision 1.
func (s *Server) create(c echo.Context) error {
	b, err := body(c, mediaJSON)
	if err != nil {
		return err
	}
	idem, err := idempotency(c, b)
	if err != nil {
		return err
	}
	in, site, err := s.decode(c, b)
	if err != nil {
		return err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	r, err := s.record(c, in, site, id.String(), 1)
	if err != nil {
		return err
	}
	stored, replayed, err := s.store.Create(c.Request().Context(), store.Local, r, idem)
	if err != nil {
		return err
	}
	sayReplayed(c, replayed)
	return created(c, &stored)
}

// sayReplayed marks an answer as that of an earlier request with the same key.
func sayReplayed(c echo.Context, replayed bool) {
	if replayed {
		c.Response().Header().Set("Idempotency-Replayed", "true")
	}
}

// created answers a stored record.
func created(c echo.Context, r *store.Record) error {
	h := c.Response().Header()
	location := "/v1/assessments/" + r.ID
	if r.Revision > 1 {
		location += "/revisions/" + strconv.Itoa(r.Revision)
	}
	h.Set("Location", location)
	h.Set("ETag", etag(r.Revision))
	return c.Blob(http.StatusCreated, mediaJSON, r.Result)
}

// idempotency reads the Idempotency-Key header, nil where there is none.
func idempotency(c echo.Context, body []byte) (*store.Idempotency, error) {
	key, err := idempotencyKey(c)
	if err != nil || key == "" {
		return nil, err
	}
	sum := sha256.Sum256(body)
	return &store.Idempotency{Key: key, BodyHash: hex.EncodeToString(sum[:])}, nil
}

// idempotencyKey reads the header alone, empty where there is none.
func idempotencyKey(c echo.Context) (string, error) {
	values := c.Request().Header.Values("Idempotency-Key")
	if len(values) == 0 {
		return "", nil
	}
	key := values[0]
	plain := len(values) == 1 && len(key) >= 1 && len(key) <= store.MaxKey
	for i := range len(key) {
		plain = plain && key[i] > ' ' && key[i] < 0x7f
	}
	if !plain {
		return "", parameter("Idempotency-Key", "must be given once, 1 to "+strconv.Itoa(store.MaxKey)+" visible ASCII characters")
	}
	return key, nil
}

// revise re-assesses: a merge patch on the input of the newest revision becomes the next revision.
func (s *Server) revise(c echo.Context) error {
	ctx, id := c.Request().Context(), c.Param("id")
	patch, err := body(c, mediaPatch)
	if err != nil {
		return err
	}
	newest, err := s.store.Newest(ctx, store.Local, id)
	if err != nil {
		return err
	}
	if match := c.Request().Header.Get("If-Match"); match != "" && !matches(match, etag(newest.Revision)) {
		p := preconditionFails.problem("the newest revision is " + strconv.Itoa(newest.Revision))
		p.etag = etag(newest.Revision)
		return p
	}
	merged, problem := mergePatch(newest.Input, patch)
	if problem != nil {
		return problem
	}
	in, site, err := s.decode(c, merged)
	if err != nil {
		return err
	}
	r, err := s.record(c, in, site, newest.ID, newest.Revision+1)
	if err != nil {
		return err
	}
	stored, err := s.store.Revise(ctx, store.Local, r, newest.Revision)
	var old *store.ConflictError
	if errors.As(err, &old) && c.Request().Header.Get("If-Match") != "" {
		p := preconditionFails.problem("the newest revision is " + strconv.Itoa(old.Current))
		p.etag = etag(old.Current)
		return p
	}
	if err != nil {
		return err
	}
	return created(c, &stored)
}

// mergePatch applies a patch to an input.
func mergePatch(input, patch []byte) ([]byte, *Problem) {
	value, duplicates, err := decodeTree(patch)
	if err != nil {
		return nil, notJSON.problem(err.Error())
	}
	if _, object := value.(map[string]any); !object {
		return nil, invalid([]Fault{at("", "must be an object with the fields to change; null removes a field"+found(value))})
	}
	if len(duplicates) > 0 {
		var faults []Fault
		for _, p := range duplicates {
			faults = append(faults, at(p, "stands twice in one object"))
		}
		return nil, invalid(faults)
	}
	var target any
	if err := json.Unmarshal(input, &target); err != nil {
		return nil, internal.problem("the stored input could not be read")
	}
	merged, err := encode(merge(target, value))
	if err != nil {
		return nil, internal.problem("the patched input could not be written")
	}
	return merged, nil
}

// merge is MergePatch of RFC 7396, section 2. What stands in a list stays as it
// is, null included, so that the contract can refuse it there.
func merge(target, patch any) any {
	changes, isObject := patch.(map[string]any)
	if !isObject {
		return patch
	}
	result, isObject := target.(map[string]any)
	if !isObject {
		result = map[string]any{}
	}
	for name, value := range changes {
		if value == nil {
			delete(result, name)
		} else {
			result[name] = merge(result[name], value)
		}
	}
	return result
}

// newest answers the newest revision.
func (s *Server) newest(c echo.Context) error {
	r, err := s.store.Newest(c.Request().Context(), store.Local, c.Param("id"))
	if err != nil {
		return err
	}
	return answerRecord(c, &r)
}

func answerRecord(c echo.Context, r *store.Record) error {
	tag := etag(r.Revision)
	c.Response().Header().Set("ETag", tag)
	if m := c.Request().Header.Get("If-None-Match"); m != "" && matches(m, tag) {
		return c.NoContent(http.StatusNotModified)
	}
	return c.Blob(http.StatusOK, mediaJSON, r.Result)
}

// revision answers one revision.
func (s *Server) revision(c echo.Context) error {
	n, ok := revisionNumber(c.Param("n"))
	if !ok {
		return store.ErrNotFound
	}
	r, err := s.store.Revision(c.Request().Context(), store.Local, c.Param("id"), n)
	if err != nil {
		return err
	}
	return answerRecord(c, &r)
}

// remove deletes an assessment with its revisions.
func (s *Server) remove(c echo.Context) error {
	if err := s.store.Delete(c.Request().Context(), store.Local, c.Param("id")); err != nil {
		return err
	}
	return c.NoContent(http.StatusNoContent)
}

// head is an assessment or revision in a list.
type head struct {
	ID             string     `json:"id"`
	Revision       int        `json:"revision"`
	CreatedAt      time.Time  `json:"created_at"`
	FirstCreatedAt *time.Time `json:"first_created_at,omitempty"`
	Name           string     `json:"name"`
	Reference      string     `json:"reference"`
	Location       headPlace  `json:"location"`
	Edition        string     `json:"edition"`
	Engine         string     `json:"engine"`
	ReviewDue      string     `json:"review_due"`
}

type headPlace struct {
	Latitude  float64 `json:"latitude"`
	Longitude float64 `json:"longitude"`
}

func headOf(h *store.Header) head {
	return head{ID: h.ID, Revision: h.Revision, CreatedAt: h.CreatedAt, Name: h.Name, Reference: h.Reference,
		Location: headPlace{h.Latitude, h.Longitude}, Edition: h.Edition, Engine: h.Engine, ReviewDue: h.ReviewDue.Format(time.DateOnly)}
}

// list answers a page of assessments, newest first.
func (s *Server) list(c echo.Context) error {
	f, err := s.filter(c)
	if err != nil {
		return err
	}
	page, err := s.store.List(c.Request().Context(), store.Local, f)
	if err != nil {
		return err
	}
	heads := make([]head, len(page.Entries))
	for i := range page.Entries {
		heads[i] = headOf(&page.Entries[i].Header)
		heads[i].FirstCreatedAt = &page.Entries[i].FirstCreatedAt
	}
	if page.Next != "" {
		c.Response().Header().Set("Link", "<"+nextPage(c.Request().URL, page.Next)+`>; rel="next"`)
	}
	return answer(c, map[string]any{"assessments": heads})
}

// nextPage is the same list from the cursor on.
func nextPage(u *url.URL, cursor string) string {
	q := u.Query()
	q.Set("cursor", cursor)
	return u.Path + "?" + q.Encode()
}

// revisions answers all revisions of an assessment, oldest first.
func (s *Server) revisions(c echo.Context) error {
	all, err := s.store.Revisions(c.Request().Context(), store.Local, c.Param("id"))
	if err != nil {
		return err
	}
	heads := make([]head, len(all))
	for i := range all {
		heads[i] = headOf(&all[i])
	}
	return answer(c, map[string]any{"revisions": heads})
}

func answer(c echo.Context, v any) error {
	b, err := encode(v)
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, mediaJSON, b)
}
