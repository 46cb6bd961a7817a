package documents

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/protocol"
	"levinward/api/reference"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/risk/earth"
	"levinward/risk/spd"
	"levinward/risk/trace"
	"levinward/store"
)

// used returns the rows of the reference with the reviews in use; the hash is empty where there are none.
func (s *Service) used(ctx context.Context) (rows []reference.Row, hash string, reviews *trace.Reviews, err error) {
	stored, err := s.Reviews.Get(ctx)
	if err != nil {
		return nil, "", nil, err
	}
	if stored == nil {
		return reference.List(), "", nil, nil
	}
	return stored.Rows, stored.Hash, stored.Reviews, nil
}

// reference answers every table, quantity and default in use.
func (s *Service) reference(c echo.Context) error {
	rows, hash, reviews, err := s.used(c.Request().Context())
	if err != nil {
		return err
	}
	r := wire.Reference{ReviewsHash: hash, Counts: reference.Count(rows).Document(),
		SPD:      wire.SPDReference{Quantities: wire.Quantities(spd.Quantities(), reviews), Tables: wire.Tables(spd.Tables(), reviews)},
		Earth:    wire.SPDReference{Quantities: wire.Quantities(earth.Quantities(), reviews), Tables: wire.Tables(earth.Tables(), reviews)},
		Defaults: wire.DefaultsBy(assess.Editions[0])}
	for _, e := range assess.Editions {
		r.Editions = append(r.Editions, wire.EditionReference{ID: e.ID(), Quantities: wire.Quantities(e.Quantities(), reviews),
			Tables: wire.Tables(e.Tables(), reviews)})
	}
	return protocol.Answer(c, r)
}

// referenceValues answers every value and formula in one list.
func (s *Service) referenceValues(c echo.Context) error {
	rows, hash, _, err := s.used(c.Request().Context())
	if err != nil {
		return err
	}
	return protocol.Answer(c, wire.ReferenceValues{ReviewsHash: hash, Counts: reference.Count(rows).Document(),
		Values: reference.Documents(rows)})
}

// referenceCSV answers the table that a reader fills in.
func (s *Service) referenceCSV(c echo.Context) error {
	rows, _, _, err := s.used(c.Request().Context())
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := reference.WriteCSV(&b, rows); err != nil {
		return err
	}
	return tableOf(c, "reference.csv", b.Bytes())
}

// tableOf answers a CSV table as a file.
func tableOf(c echo.Context, name string, table []byte) error {
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="`+name+`"`)
	return c.Blob(http.StatusOK, "text/csv; charset=utf-8; header=present", table)
}

func reviewsTag(hash string) string { return strconv.Quote(hash) }

// expectedReviews honours If-Match: the hash that has to be in use, nil where any may be.
func (s *Service) expectedReviews(c echo.Context) (*string, error) {
	m := c.Request().Header.Get("If-Match")
	if m == "" {
		return nil, nil
	}
	hash, err := s.Store.ReviewsInUse(c.Request().Context(), store.Local)
	if err != nil {
		return nil, err
	}
	if hash == "" || !protocol.MatchesTag(m, reviewsTag(hash)) {
		return nil, otherReviews()
	}
	return &hash, nil
}

func otherReviews() *refusal.Problem {
	return refusal.PreconditionFailed.Problem("other reviews are in use; read them first")
}

// putReviews puts a reviewed table into use.
func (s *Service) putReviews(c echo.Context) error {
	text, err := protocol.Body(c, protocol.MediaCSV)
	if err != nil {
		return err
	}
	expected, err := s.expectedReviews(c)
	if err != nil {
		return err
	}
	r, err := reference.Read(text, s.Now())
	var faulty *reference.FaultyTable
	if errors.As(err, &faulty) {
		return faultyTable(faulty)
	}
	if err != nil {
		return err
	}
	t, err := s.Store.PutReviews(c.Request().Context(), store.Local,
		store.ReviewsTable{Hash: r.Hash, StoredAt: s.Now(), Document: r.Document}, expected)
	if errors.Is(err, store.ErrReviewsChanged) {
		return otherReviews()
	}
	if err != nil {
		return err
	}
	s.Reviews.Changed()
	return answerReviews(c, &reference.Stored{Reviewed: r, StoredAt: t.StoredAt})
}

// faultyTable tells the faults of a reviewed table by line and column.
func faultyTable(e *reference.FaultyTable) *refusal.Problem {
	faults := make([]refusal.Fault, len(e.Faults))
	for i, f := range e.Faults {
		faults[i] = refusal.Fault{Line: f.Line, Column: f.Column, Value: f.Value, Reason: f.Reason}
	}
	p := refusal.Invalid(faults)
	if e.Count > len(faults) {
		p.Detail = strconv.Itoa(e.Count) + " faults, the first " + strconv.Itoa(len(faults)) + " of them listed; nothing was stored"
	}
	return p
}

func answerReviews(c echo.Context, r *reference.Stored) error {
	different := r.Disagreements()
	d := wire.ReferenceReviews{Hash: r.Hash, StoredAt: r.StoredAt.Format(time.RFC3339Nano), CheckedBy: []string{}, Agreed: r.Agreed(),
		Disagreed: len(different),
		Counts:    reference.Count(r.Rows).Document(), Disagreements: reference.Documents(different),
		Outdated: make([]wire.OutdatedReview, len(r.Outdated))}
	for i := range r.Rows {
		if by := r.Rows[i].CheckedBy; by != "" && !slices.Contains(d.CheckedBy, by) {
			d.CheckedBy = append(d.CheckedBy, by)
		}
	}
	slices.Sort(d.CheckedBy)
	for i, f := range r.Outdated {
		d.Outdated[i] = wire.OutdatedReview(f)
	}
	c.Response().Header().Set("ETag", reviewsTag(r.Hash))
	return protocol.AnswerDocument(c, http.StatusOK, d)
}

// getReviews answers what is known of the reviews in use.
func (s *Service) getReviews(c echo.Context) error {
	r, err := s.Reviews.Get(c.Request().Context())
	if err != nil {
		return err
	}
	if r == nil {
		return refusal.NotFound.Problem("no reviews are in use: every value is the program's own")
	}
	return answerReviews(c, r)
}

// removeReviews lets the program's own values be used again.
func (s *Service) removeReviews(c echo.Context) error {
	expected, err := s.expectedReviews(c)
	if err != nil {
		return err
	}
	err = s.Store.RemoveReviews(c.Request().Context(), store.Local, expected)
	switch {
	case errors.Is(err, store.ErrReviewsChanged):
		return otherReviews()
	case errors.Is(err, store.ErrNotFound):
		return refusal.NotFound.Problem("no reviews are in use")
	case err != nil:
		return err
	}
	s.Reviews.Changed()
	return c.NoContent(http.StatusNoContent)
}

// reviewsTable answers the reviews that a result names, in use or not.
func (s *Service) reviewsTable(c echo.Context) error {
	t, err := s.Store.Reviews(c.Request().Context(), store.Local, c.Param("hash"))
	if err != nil {
		return protocol.NoSuch("table of reviews", err)
	}
	return tableOf(c, "reviews.csv", t.Document)
}
