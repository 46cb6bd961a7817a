package assessments

import (
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/store"
)

// compute answers a decoded input. Faults have been found before.
func (s *Service) compute(in *wire.Input, site *wire.Site) (*wire.Result, error) {
	done, faults, err := s.Recorder.Compute(in, site, time.Time{}, nil)
	if err != nil {
		return nil, err
	}
	if len(faults) > 0 {
		return nil, refusal.Invalid(refusal.FaultsOf(faults))
	}
	s.Computed()
	return done.Result, nil
}

// decode reads the body of an input, to be computed with the reviews in use.
func (s *Service) decode(c echo.Context, body []byte) (*wire.Input, *wire.Site, error) {
	ctx := c.Request().Context()
	reviews, err := s.Reviews.Reviews(ctx)
	if err != nil {
		return nil, nil, err
	}
	return contract.Decode(ctx, s.Maps, reviews, body)
}

// calculate computes and stores nothing.
func (s *Service) calculate(c echo.Context) error {
	b, err := protocol.Body(c, protocol.MediaJSON)
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
	return protocol.AnswerDocument(c, http.StatusOK, result)
}

// record computes an input with its worksheet and makes the record to be stored.
func (s *Service) record(c echo.Context, in *wire.Input, site *wire.Site, id string, revision int) (store.Record, error) {
	r, faults, err := s.Recorder.Record(in, site, id, revision, time.Time{})
	if err != nil {
		return r, err
	}
	if len(faults) > 0 {
		return r, refusal.Invalid(refusal.FaultsOf(faults))
	}
	s.Computed()
	return r, s.Recorder.Define(c.Request().Context(), s.Store, site.Input.Reviews)
}

// create computes and stores revision 1.
func (s *Service) create(c echo.Context) error {
	b, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return err
	}
	idem, err := protocol.Idempotency(c, b)
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
	stored, replayed, err := s.Store.Create(c.Request().Context(), store.Local, r, idem)
	if err != nil {
		return err
	}
	protocol.SetReplayed(c, replayed)
	return created(c, &stored)
}

// created answers a stored record.
func created(c echo.Context, r *store.Record) error {
	h := c.Response().Header()
	location := "/v1/assessments/" + r.ID
	if r.Revision > 1 {
		location += "/revisions/" + strconv.Itoa(r.Revision)
	}
	h.Set("Location", location)
	h.Set("ETag", protocol.RevisionTag(r.Revision))
	return c.Blob(http.StatusCreated, protocol.MediaJSON, r.Result)
}

// revise re-assesses: a merge patch on the input of the newest revision becomes the next revision.
func (s *Service) revise(c echo.Context) error {
	ctx, id := c.Request().Context(), c.Param("id")
	patch, err := protocol.Body(c, protocol.MediaPatch)
	if err != nil {
		return err
	}
	newest, err := s.Store.Newest(ctx, store.Local, id)
	if err != nil {
		return err
	}
	if match := c.Request().Header.Get("If-Match"); match != "" && !protocol.MatchesTag(match, protocol.RevisionTag(newest.Revision)) {
		p := refusal.PreconditionFailed.Problem("the newest revision is " + strconv.Itoa(newest.Revision))
		p.ETag = protocol.RevisionTag(newest.Revision)
		return p
	}
	merged, problem := MergePatch(newest.Input, patch)
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
	stored, err := s.Store.Revise(ctx, store.Local, r, newest.Revision)
	var old *store.ConflictError
	if errors.As(err, &old) && c.Request().Header.Get("If-Match") != "" {
		p := refusal.PreconditionFailed.Problem("the newest revision is " + strconv.Itoa(old.Current))
		p.ETag = protocol.RevisionTag(old.Current)
		return p
	}
	if err != nil {
		return err
	}
	return created(c, &stored)
}

// MergePatch applies a patch to an input.
func MergePatch(input, patch []byte) ([]byte, *refusal.Problem) {
	value, duplicates, err := contract.DecodeTree(patch)
	if err != nil {
		return nil, refusal.NotJSON.Problem(err.Error())
	}
	if _, object := value.(map[string]any); !object {
		return nil, refusal.Invalid([]refusal.Fault{refusal.FaultAt("",
			"must be an object with the fields to change; null removes a field"+wire.Found(value))})
	}
	if len(duplicates) > 0 {
		var faults []refusal.Fault
		for _, p := range duplicates {
			faults = append(faults, refusal.FaultAt(p, "stands twice in one object"))
		}
		return nil, refusal.Invalid(faults)
	}
	var target any
	if err := json.Unmarshal(input, &target); err != nil {
		return nil, refusal.Internal.Problem("the stored input could not be read")
	}
	merged, err := protocol.Encode(merge(target, value))
	if err != nil {
		return nil, refusal.Internal.Problem("the patched input could not be written")
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
func (s *Service) newest(c echo.Context) error {
	r, err := s.Store.Newest(c.Request().Context(), store.Local, c.Param("id"))
	if err != nil {
		return err
	}
	return answerRecord(c, &r)
}

func answerRecord(c echo.Context, r *store.Record) error {
	tag := protocol.RevisionTag(r.Revision)
	c.Response().Header().Set("ETag", tag)
	if m := c.Request().Header.Get("If-None-Match"); m != "" && protocol.MatchesTag(m, tag) {
		return c.NoContent(http.StatusNotModified)
	}
	return c.Blob(http.StatusOK, protocol.MediaJSON, r.Result)
}

// revision answers one revision.
func (s *Service) revision(c echo.Context) error {
	n, ok := protocol.RevisionNumber(c.Param("n"))
	if !ok {
		return store.ErrNotFound
	}
	r, err := s.Store.Revision(c.Request().Context(), store.Local, c.Param("id"), n)
	if err != nil {
		return err
	}
	return answerRecord(c, &r)
}

// remove deletes an assessment with its revisions.
func (s *Service) remove(c echo.Context) error {
	if err := s.Store.Delete(c.Request().Context(), store.Local, c.Param("id")); err != nil {
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
func (s *Service) list(c echo.Context) error {
	f, err := protocol.Filter(c, s.Now())
	if err != nil {
		return err
	}
	page, err := s.Store.List(c.Request().Context(), store.Local, f)
	if err != nil {
		return err
	}
	heads := make([]head, len(page.Entries))
	for i := range page.Entries {
		heads[i] = headOf(&page.Entries[i].Header)
		heads[i].FirstCreatedAt = &page.Entries[i].FirstCreatedAt
	}
	if page.Next != "" {
		c.Response().Header().Set("Link", "<"+protocol.NextPage(c.Request().URL, page.Next)+`>; rel="next"`)
	}
	return protocol.Answer(c, map[string]any{"assessments": heads})
}

// revisions answers all revisions of an assessment, oldest first.
func (s *Service) revisions(c echo.Context) error {
	all, err := s.Store.Revisions(c.Request().Context(), store.Local, c.Param("id"))
	if err != nil {
		return err
	}
	heads := make([]head, len(all))
	for i := range all {
		heads[i] = headOf(&all[i])
	}
	return protocol.Answer(c, map[string]any{"revisions": heads})
}
