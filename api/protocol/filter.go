package protocol

import (
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/refusal"
	"levinward/store"
)

// Filter reads the parameters of a list, all faults at once. What is due is due on the day of now.
func Filter(c echo.Context, now time.Time) (store.Filter, error) {
	f := store.Filter{Limit: store.DefaultLimit, Cursor: c.QueryParam("cursor"), Query: c.QueryParam("q")}
	q := c.QueryParams()
	var faults []refusal.Fault
	fault := func(name, reason string) { faults = append(faults, refusal.Fault{Parameter: name, Reason: reason}) }
	if q.Has("limit") {
		n, err := strconv.Atoi(q.Get("limit"))
		if err != nil || n < 1 || n > store.MaxLimit {
			fault("limit", "must be a whole number, at least 1, at most "+strconv.Itoa(store.MaxLimit)+"; found "+strconv.Quote(q.Get("limit")))
		}
		f.Limit = n
	}
	if q.Has("bbox") {
		box, reason := ParseBBox(q.Get("bbox"))
		if reason != "" {
			fault("bbox", reason)
		}
		f.BBox = box
	}
	if q.Has("review_due") {
		due, err := strconv.ParseBool(q.Get("review_due"))
		if err != nil || len(q.Get("review_due")) < 4 {
			fault("review_due", "must be true or false; found "+strconv.Quote(q.Get("review_due")))
		}
		f.DueOn, f.Due = &now, due
	}
	if !Searchable(f.Query) {
		fault("q", MustBeText)
	}
	if q.Has("cursor") && f.Cursor == "" {
		fault("cursor", "is empty; leave it out for the first page")
	}
	if len(faults) > 0 {
		return f, refusal.BadParameter.Problem("", faults...)
	}
	return f, nil
}
