package api

import (
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"levinward/risk"
	"levinward/store"
)

// Problem is an error answer, application/problem+json (RFC 9457).
type Problem struct {
	Type   string  `json:"type"`
	Title  string  `json:"title"`
	Status int     `json:"status"`
	Detail string  `json:"detail,omitempty"`
	Errors []Fault `json:"errors,omitempty"`

	etag string // of the newest revision, where a client needs it to go on
}

// Fault is one thing that is wrong: in the body (pointer, or line and column of a table) or with a parameter of the query or header.
type Fault struct {
	Pointer   *string `json:"pointer,omitempty"`
	Parameter string  `json:"parameter,omitempty"`
	Line      int     `json:"line,omitempty"`
	Column    string  `json:"column,omitempty"`
	Value     string  `json:"value,omitempty"`
	Rule      string  `json:"rule,omitempty"`
	Reason    string  `json:"reason"`
	Clause    string  `json:"clause,omitempty"`

	place int // in an upload of many, to put faults in order
}

// String writes a fault in one line: where, what, and by which clause.
func (f Fault) String() string {
	text := f.Parameter
	if f.Pointer != nil {
		text = *f.Pointer
	}
	if f.Line > 0 {
		text = strings.TrimSpace("line " + strconv.Itoa(f.Line) + " " + f.Column)
	}
	text += ": " + f.Reason
	if f.Clause != "" {
		text += " (" + f.Clause + ")"
	}
	return text
}

func (p *Problem) Error() string { return p.Title + ": " + p.Detail }

// kind is a kind of problem: its name, status and title. Every error answer is of one of these.
type kind struct {
	name   string
	status int
	title  string
}

var (
	notJSON           = kind{"not-json", http.StatusBadRequest, "The body is not JSON"}
	brokenBody        = kind{"broken-body", http.StatusBadRequest, "The body could not be read to its end"}
	badParameter      = kind{"bad-parameter", http.StatusBadRequest, "A parameter is wrong"}
	notFound          = kind{"not-found", http.StatusNotFound, "There is nothing here"}
	methodNotAllowed  = kind{"method-not-allowed", http.StatusMethodNotAllowed, "This method is not allowed here"}
	notAcceptable     = kind{"not-acceptable", http.StatusNotAcceptable, "There is no such representation"}
	conflict          = kind{"conflict", http.StatusConflict, "Another revision was stored meanwhile"}
	preconditionFails = kind{"precondition-failed", http.StatusPreconditionFailed, "The ETag is not that of the newest revision"}
	tooLarge          = kind{"too-large", http.StatusRequestEntityTooLarge, "The body is too large"}
	wrongMediaType    = kind{"wrong-media-type", http.StatusUnsupportedMediaType, "The body is of a media type that is not taken here"}
	invalidMap        = kind{"invalid-map", http.StatusUnprocessableEntity, "The map has faults"}
	noMapValue        = kind{"no-map-value", http.StatusUnprocessableEntity, "The map has no value there"}
	unreadable        = kind{"unreadable-body", http.StatusBadRequest, "The body could not be read"}
	busy              = kind{"busy", http.StatusServiceUnavailable, "Too much is being done at once"}
	invalidInput      = kind{"invalid-input", http.StatusUnprocessableEntity, "The input has faults"}
	keyReused         = kind{"idempotency-key-reused", http.StatusUnprocessableEntity, "The idempotency key was used with another body"}
	siteReference     = kind{"reference-taken", http.StatusConflict, "The reference is in use"}
	nameTaken         = kind{"name-taken", http.StatusConflict, "Another portfolio has this name"}
	tooMany           = kind{"too-many", http.StatusConflict, "There are as many as are allowed"}
	notRetried        = kind{"not-retried", http.StatusConflict, "The work cannot be tried again"}
	cancelled         = kind{"cancelled", http.StatusConflict, "The work was cancelled"}
	unavailable       = kind{"unavailable", http.StatusServiceUnavailable, "The database is away"}
	internal          = kind{"internal", http.StatusInternalServerError, "Something went wrong here"}
)

func (k kind) problem(detail string, faults ...Fault) *Problem {
	return &Problem{Type: "urn:levinward:problem:" + k.name, Title: k.title, Status: k.status, Detail: detail, Errors: faults}
}

func at(pointer, reason string) Fault { return Fault{Pointer: &pointer, Reason: reason} }

func parameter(name, reason string) *Problem {
	return badParameter.problem("", Fault{Parameter: name, Reason: reason})
}

// faultsOf writes violations as faults of the body.
func faultsOf(violations []risk.Violation) []Fault {
	faults := make([]Fault, len(violations))
	for i, v := range violations {
		faults[i] = Fault{Pointer: &v.Pointer, Rule: string(v.Rule), Reason: v.Reason, Clause: v.Clause}
	}
	return faults
}

func invalid(faults []Fault) *Problem {
	detail := "1 fault; nothing was stored"
	if n := len(faults); n != 1 {
		detail = strconv.Itoa(n) + " faults; nothing was stored"
	}
	return invalidInput.problem(detail, faults...)
}

// problemOf turns any error into a problem. What is not the client's is
// logged by the caller and told without its text.
func problemOf(err error) *Problem {
	var p *Problem
	var old *store.ConflictError
	var he *echo.HTTPError
	switch {
	case errors.As(err, &p):
		return p
	case errors.Is(err, store.ErrNotFound):
		return notFound.problem("no such assessment or revision")
	case errors.As(err, &old):
		p = conflict.problem("the newest revision is " + strconv.Itoa(old.Current))
		p.etag = etag(old.Current)
		return p
	case errors.Is(err, store.ErrReferenceTaken):
		return siteReference.problem("another site of the portfolio has this reference")
	case errors.Is(err, store.ErrKeyReused):
		return keyReused.problem("choose another Idempotency-Key, or send the same request again")
	case errors.Is(err, store.ErrBadCursor):
		return parameter("cursor", "is not a cursor of this service; begin again without one")
	case errors.Is(err, store.ErrUnavailable):
		return unavailable.problem("nothing was stored; try again later")
	case errors.As(err, &he):
		switch he.Code {
		case http.StatusNotFound:
			return notFound.problem("no such resource")
		case http.StatusMethodNotAllowed:
			return methodNotAllowed.problem("")
		case http.StatusRequestEntityTooLarge:
			return tooLarge.problem("at most " + maxBodyText)
		}
	}
	return internal.problem("the fault is logged under the request id of this answer")
}

// handleError writes every error as a problem.
func (s *Server) handleError(err error, c echo.Context) {
	if c.Response().Committed {
		return
	}
	p := problemOf(err)
	if p.Status >= 500 {
		s.log.Error("request failed", "error", err, "path", c.Request().URL.Path, "request_id", c.Response().Header().Get(echo.HeaderXRequestID))
	}
	h := c.Response().Header()
	if p.etag != "" {
		h.Set("ETag", p.etag)
	}
	if p.Status == http.StatusServiceUnavailable {
		h.Set("Retry-After", "5")
	}
	body, _ := json.Marshal(p)
	if err := c.Blob(p.Status, "application/problem+json", body); err != nil {
		s.log.Warn("answer not written", "error", err)
	}
}
