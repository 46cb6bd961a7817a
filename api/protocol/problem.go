// Package protocol is what all operations have in common over HTTP: problem errors, bodies, answers, paging and
// conditional requests. It knows no resource.
package protocol

import (
	"errors"
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"levinward/api/refusal"
	"levinward/store"
)

// NoSuch turns the error of the store for what is not there into one that names it.
func NoSuch(what string, err error) error {
	switch {
	case errors.Is(err, store.ErrNotFound):
		return refusal.NotFound.Problem("there is no such " + what)
	case errors.Is(err, store.ErrNameTaken):
		return refusal.NameTaken.Problem("choose another name")
	}
	return err
}

// ProblemOf turns any error into a problem. What is not the client's is
// logged by the caller and told without its text.
func ProblemOf(err error) *refusal.Problem {
	var p *refusal.Problem
	var old *store.ConflictError
	var he *echo.HTTPError
	switch {
	case errors.As(err, &p):
		return p
	case errors.Is(err, store.ErrNotFound):
		return refusal.NotFound.Problem("no such assessment or revision")
	case errors.As(err, &old):
		p = refusal.Conflict.Problem("the newest revision is " + strconv.Itoa(old.Current))
		p.ETag = RevisionTag(old.Current)
		return p
	case errors.Is(err, store.ErrReferenceTaken):
		return refusal.ReferenceTaken.Problem("another site of the portfolio has this reference")
	case errors.Is(err, store.ErrKeyReused):
		return refusal.KeyReused.Problem("choose another Idempotency-Key, or send the same request again")
	case errors.Is(err, store.ErrBadCursor):
		return refusal.WrongParameter("cursor", "is not a cursor of this service; begin again without one")
	case errors.Is(err, store.ErrUnavailable):
		return refusal.Unavailable.Problem("nothing was stored; try again later")
	case errors.As(err, &he):
		switch he.Code {
		case http.StatusNotFound:
			return refusal.NotFound.Problem("no such resource")
		case http.StatusMethodNotAllowed:
			return refusal.MethodNotAllowed.Problem("")
		case http.StatusRequestEntityTooLarge:
			return refusal.TooLarge.Problem("at most " + MaxBodyText)
		}
	}
	return refusal.Internal.Problem("the fault is logged under the request id of this answer")
}
