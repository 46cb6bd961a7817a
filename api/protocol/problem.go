// Package protocol is what all operations have in common over HTTP: problem errors, bodies, answers, paging and
// conditional requests. It knows no resource.
package protocol

import (
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"levinward/risk"
	"levinward/store"
)

// NoSuch turns the error of the store for what is not there into one that names it.
func NoSuch(what string, err error) error {
	switch {
	case errors.Is(err, store.ErrNotFound):
		return NotFound.Problem("there is no such " + what)
	case errors.Is(err, store.ErrNameTaken):
		return NameTaken.Problem("choose another name")
	}
	return err
}

// Problem is an error answer, application/problem+json (RFC 9457).
type Problem struct {
	Type   string  `json:"type"`
	Title  string  `json:"title"`
	Status int     `json:"status"`
	Detail string  `json:"detail,omitempty"`
	Errors []Fault `json:"errors,omitempty"`

	ETag string `json:"-"` // of the newest revision, where a client needs it to go on
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

	Order int `json:"-"` // in an upload of many, to put faults in order
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

// Kind is a kind of problem: its name, status and title. Every error answer is of one of these.
type Kind struct {
	Name   string
	Status int
	Title  string
}

var (
	NotJSON            = Kind{"not-json", http.StatusBadRequest, "The body is not JSON"}
	BrokenBody         = Kind{"broken-body", http.StatusBadRequest, "The body could not be read to its end"}
	BadParameter       = Kind{"bad-parameter", http.StatusBadRequest, "A parameter is wrong"}
	NotFound           = Kind{"not-found", http.StatusNotFound, "There is nothing here"}
	MethodNotAllowed   = Kind{"method-not-allowed", http.StatusMethodNotAllowed, "This method is not allowed here"}
	NotAcceptable      = Kind{"not-acceptable", http.StatusNotAcceptable, "There is no such representation"}
	Conflict           = Kind{"conflict", http.StatusConflict, "Another revision was stored meanwhile"}
	PreconditionFailed = Kind{"precondition-failed", http.StatusPreconditionFailed, "The ETag is not that of the newest revision"}
	TooLarge           = Kind{"too-large", http.StatusRequestEntityTooLarge, "The body is too large"}
	WrongMediaType     = Kind{"wrong-media-type", http.StatusUnsupportedMediaType, "The body is of a media type that is not taken here"}
	InvalidMap         = Kind{"invalid-map", http.StatusUnprocessableEntity, "The map has faults"}
	NoMapValue         = Kind{"no-map-value", http.StatusUnprocessableEntity, "The map has no value there"}
	Unreadable         = Kind{"unreadable-body", http.StatusBadRequest, "The body could not be read"}
	Busy               = Kind{"busy", http.StatusServiceUnavailable, "Too much is being done at once"}
	InvalidInput       = Kind{"invalid-input", http.StatusUnprocessableEntity, "The input has faults"}
	KeyReused          = Kind{"idempotency-key-reused", http.StatusUnprocessableEntity, "The idempotency key was used with another body"}
	ReferenceTaken     = Kind{"reference-taken", http.StatusConflict, "The reference is in use"}
	NameTaken          = Kind{"name-taken", http.StatusConflict, "Another portfolio has this name"}
	TooMany            = Kind{"too-many", http.StatusConflict, "There are as many as are allowed"}
	NotRetried         = Kind{"not-retried", http.StatusConflict, "The work cannot be tried again"}
	Cancelled          = Kind{"cancelled", http.StatusConflict, "The work was cancelled"}
	Unavailable        = Kind{"unavailable", http.StatusServiceUnavailable, "The database is away"}
	Internal           = Kind{"internal", http.StatusInternalServerError, "Something went wrong here"}
)

func (k Kind) Problem(detail string, faults ...Fault) *Problem {
	return &Problem{Type: "urn:levinward:problem:" + k.Name, Title: k.Title, Status: k.Status, Detail: detail, Errors: faults}
}

func FaultAt(pointer, reason string) Fault { return Fault{Pointer: &pointer, Reason: reason} }

func WrongParameter(name, reason string) *Problem {
	return BadParameter.Problem("", Fault{Parameter: name, Reason: reason})
}

// FaultsOf writes violations as faults of the body.
func FaultsOf(violations []risk.Violation) []Fault {
	faults := make([]Fault, len(violations))
	for i, v := range violations {
		faults[i] = Fault{Pointer: &v.Pointer, Rule: string(v.Rule), Reason: v.Reason, Clause: v.Clause}
	}
	return faults
}

func Invalid(faults []Fault) *Problem {
	detail := "1 fault; nothing was stored"
	if n := len(faults); n != 1 {
		detail = strconv.Itoa(n) + " faults; nothing was stored"
	}
	return InvalidInput.Problem(detail, faults...)
}

// ProblemOf turns any error into a problem. What is not the client's is
// logged by the caller and told without its text.
func ProblemOf(err error) *Problem {
	var p *Problem
	var old *store.ConflictError
	var he *echo.HTTPError
	switch {
	case errors.As(err, &p):
		return p
	case errors.Is(err, store.ErrNotFound):
		return NotFound.Problem("no such assessment or revision")
	case errors.As(err, &old):
		p = Conflict.Problem("the newest revision is " + strconv.Itoa(old.Current))
		p.ETag = RevisionTag(old.Current)
		return p
	case errors.Is(err, store.ErrReferenceTaken):
		return ReferenceTaken.Problem("another site of the portfolio has this reference")
	case errors.Is(err, store.ErrKeyReused):
		return KeyReused.Problem("choose another Idempotency-Key, or send the same request again")
	case errors.Is(err, store.ErrBadCursor):
		return WrongParameter("cursor", "is not a cursor of this service; begin again without one")
	case errors.Is(err, store.ErrUnavailable):
		return Unavailable.Problem("nothing was stored; try again later")
	case errors.As(err, &he):
		switch he.Code {
		case http.StatusNotFound:
			return NotFound.Problem("no such resource")
		case http.StatusMethodNotAllowed:
			return MethodNotAllowed.Problem("")
		case http.StatusRequestEntityTooLarge:
			return TooLarge.Problem("at most " + MaxBodyText)
		}
	}
	return Internal.Problem("the fault is logged under the request id of this answer")
}
