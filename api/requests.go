package api

import (
	"errors"
	"maps"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/labstack/echo/v4"

	"levinward/store"
)

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

func orNone(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

func isTooLarge(err error) bool {
	var m *http.MaxBytesError
	return errors.As(err, &m)
}

// mediaTypeOf is a media type without its parameters, in lower case.
func mediaTypeOf(header string) string {
	if header == echo.MIMEApplicationJSON {
		return header
	}
	t, _, err := mime.ParseMediaType(header)
	if err != nil {
		return header
	}
	return t
}

// negotiate chooses among media types by the Accept header; the first is the default.
func negotiate(c echo.Context, offered ...string) (string, error) {
	accept := c.Request().Header.Get(echo.HeaderAccept)
	if accept == "" {
		return offered[0], nil
	}
	best, quality := "", 0.0
	for _, o := range offered {
		if q := acceptable(accept, o); q > quality {
			best, quality = o, q
		}
	}
	if best == "" {
		return "", notAcceptable.problem("there is " + strings.Join(offered, ", "))
	}
	return best, nil
}

// acceptable is the quality an Accept header gives a media type: that of its most specific range (RFC 9110).
func acceptable(accept, offer string) float64 {
	major, _, _ := strings.Cut(offer, "/")
	quality, specific := 0.0, -1
	for _, part := range strings.Split(accept, ",") {
		t, params, err := mime.ParseMediaType(strings.TrimSpace(part))
		if err != nil {
			continue
		}
		rank := slices.Index([]string{"*/*", major + "/*", offer}, t)
		if rank <= specific {
			continue
		}
		specific, quality = rank, 1
		if q, err := strconv.ParseFloat(params["q"], 64); err == nil {
			quality = q
		}
	}
	return quality
}

// etag names a revision.
func etag(revision int) string { return `"revision-` + strconv.Itoa(revision) + `"` }

// matches reports whether a list of entity tags (If-Match, If-None-Match) names one, by weak comparison.
func matches(header, tag string) bool {
	for _, t := range strings.Split(header, ",") {
		if t = strings.TrimSpace(t); t == "*" || strings.TrimPrefix(t, "W/") == tag {
			return true
		}
	}
	return false
}

// revisionNumber reads a revision from a path or query.
func revisionNumber(text string) (int, bool) {
	n, err := strconv.Atoi(text)
	return n, err == nil && n >= 1 && n <= 1_000_000_000
}

// queryRevisions reads optional revision parameters, all faults at once; 0 for one that is not given.
func queryRevisions(c echo.Context, names ...string) ([]int, error) {
	numbers := make([]int, len(names))
	var faults []Fault
	for i, name := range names {
		if !c.QueryParams().Has(name) {
			continue
		}
		n, ok := revisionNumber(c.QueryParam(name))
		if !ok {
			faults = append(faults, Fault{Parameter: name, Reason: "must be a revision number, 1 or more; found " + strconv.Quote(c.QueryParam(name))})
		}
		numbers[i] = n
	}
	if len(faults) > 0 {
		return nil, badParameter.problem("", faults...)
	}
	return numbers, nil
}

// maxQuery is the longest text that can be searched for.
const maxQuery = 200

const mustBeText = "must be a text in UTF-8 of at most 200 characters"

// searchable tells whether a text can be searched for: both databases have to be able to compare it.
func searchable(text string) bool {
	return len([]rune(text)) <= maxQuery && utf8.ValidString(text) && !strings.ContainsRune(text, 0)
}

// filter reads the parameters of a list, all faults at once.
func (s *Server) filter(c echo.Context) (store.Filter, error) {
	f := store.Filter{Limit: store.DefaultLimit, Cursor: c.QueryParam("cursor"), Query: c.QueryParam("q")}
	q := c.QueryParams()
	var faults []Fault
	fault := func(name, reason string) { faults = append(faults, Fault{Parameter: name, Reason: reason}) }
	if q.Has("limit") {
		n, err := strconv.Atoi(q.Get("limit"))
		if err != nil || n < 1 || n > store.MaxLimit {
			fault("limit", "must be a whole number, at least 1, at most "+strconv.Itoa(store.MaxLimit)+"; found "+strconv.Quote(q.Get("limit")))
		}
		f.Limit = n
	}
	if q.Has("bbox") {
		box, reason := parseBBox(q.Get("bbox"))
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
		today := s.now()
		f.DueOn, f.Due = &today, due
	}
	if !searchable(f.Query) {
		fault("q", mustBeText)
	}
	if q.Has("cursor") && f.Cursor == "" {
		fault("cursor", "is empty; leave it out for the first page")
	}
	if len(faults) > 0 {
		return f, badParameter.problem("", faults...)
	}
	return f, nil
}

// parseBBox reads west,south,east,north; west beyond east crosses the 180th meridian (RFC 7946).
func parseBBox(text string) (*store.BBox, string) {
	const allowed = "must be west,south,east,north in degrees, longitudes from -180 to 180, latitudes from -90 to 90, south not above north"
	parts := strings.Split(text, ",")
	if len(parts) != 4 {
		return nil, allowed + "; found " + strconv.Quote(text)
	}
	var v [4]float64
	for i, p := range parts {
		var err error
		if v[i], err = strconv.ParseFloat(strings.TrimSpace(p), 64); err != nil {
			return nil, allowed + "; found " + strconv.Quote(text)
		}
	}
	inside := v[0] >= -180 && v[0] <= 180 && v[2] >= -180 && v[2] <= 180 && v[1] >= -90 && v[1] <= v[3] && v[3] <= 90
	if !inside {
		return nil, allowed + "; found " + strconv.Quote(text)
	}
	return &store.BBox{West: v[0], South: v[1], East: v[2], North: v[3]}, ""
}
