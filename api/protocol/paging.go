package protocol

import (
	"net/url"
	"strconv"

	"github.com/labstack/echo/v4"

	"levinward/api/refusal"
	"levinward/store"
)

// NextPage is the same list from the cursor on.
func NextPage(u *url.URL, cursor string) string {
	q := u.Query()
	q.Set("cursor", cursor)
	return u.Path + "?" + q.Encode()
}

// PageOf reads limit and cursor of a list, all faults at once.
func PageOf(c echo.Context) (limit int, cursor string, err error) {
	q := c.QueryParams()
	limit, cursor = store.DefaultLimit, q.Get("cursor")
	var faults []refusal.Fault
	if q.Has("limit") {
		n, err := strconv.Atoi(q.Get("limit"))
		if err != nil || n < 1 || n > store.MaxLimit {
			faults = append(faults, refusal.Fault{Parameter: "limit",
				Reason: "must be a whole number, at least 1, at most " + strconv.Itoa(store.MaxLimit) + "; found " + strconv.Quote(q.Get("limit"))})
		}
		limit = n
	}
	if q.Has("cursor") && cursor == "" {
		faults = append(faults, refusal.Fault{Parameter: "cursor", Reason: "is empty; leave it out for the first page"})
	}
	if len(faults) > 0 {
		return 0, "", refusal.BadParameter.Problem("", faults...)
	}
	return limit, cursor, nil
}

// SetNextLink points to the next page of a list; nothing on the last one.
func SetNextLink(c echo.Context, next string) {
	if next == "" {
		return
	}
	c.Response().Header().Set("Link", "<"+NextPage(c.Request().URL, next)+`>; rel="next"`)
}
