// Package refusal is what a refused request is told: kinds of problems and every fault with its place (RFC 9457).
package refusal

import (
	"net/http"
	"strconv"
	"strings"

	"levinward/risk"
)

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

// The kinds of problems.
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

// Problem is a refusal of this kind.
func (k Kind) Problem(detail string, faults ...Fault) *Problem {
	return &Problem{Type: "urn:levinward:problem:" + k.Name, Title: k.Title, Status: k.Status, Detail: detail, Errors: faults}
}

// FaultAt is a fault at a place in the body (RFC 6901).
func FaultAt(pointer, reason string) Fault { return Fault{Pointer: &pointer, Reason: reason} }

// WrongParameter is the refusal of one parameter.
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

// Invalid is the refusal of an input with faults.
func Invalid(faults []Fault) *Problem {
	detail := "1 fault; nothing was stored"
	if n := len(faults); n != 1 {
		detail = strconv.Itoa(n) + " faults; nothing was stored"
	}
	return InvalidInput.Problem(detail, faults...)
}
