package protocol

import (
	"context"
	"maps"
	"mime"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/labstack/echo/v4"

	"levinward/api/refusal"
	"levinward/store"
)

// PlainNumber reads a finite decimal number.
func PlainNumber(text string) (float64, bool) {
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && v-v == 0 && !strings.ContainsAny(text, "xX_")
}

// SortedKeys lists the keys of a map in order.
func SortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

// OrNone joins names with commas; without any it is "none".
func OrNone(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

// Negotiate chooses among media types by the Accept header; the first is the default.
func Negotiate(c echo.Context, offered ...string) (string, error) {
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
		return "", refusal.NotAcceptable.Problem("there is " + strings.Join(offered, ", "))
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

// RevisionNumber reads a revision from a path or query.
func RevisionNumber(text string) (int, bool) {
	n, err := strconv.Atoi(text)
	return n, err == nil && n >= 1 && n <= 1_000_000_000
}

// QueryRevisions reads optional revision parameters, all faults at once; 0 for one that is not given.
func QueryRevisions(c echo.Context, names ...string) ([]int, error) {
	numbers := make([]int, len(names))
	var faults []refusal.Fault
	for i, name := range names {
		if !c.QueryParams().Has(name) {
			continue
		}
		n, ok := RevisionNumber(c.QueryParam(name))
		if !ok {
			faults = append(faults, refusal.Fault{Parameter: name,
				Reason: "must be a revision number, 1 or more; found " + strconv.Quote(c.QueryParam(name))})
		}
		numbers[i] = n
	}
	if len(faults) > 0 {
		return nil, refusal.BadParameter.Problem("", faults...)
	}
	return numbers, nil
}

// MaxQuery is the longest text that can be searched for.
const MaxQuery = 200

// MustBeText says which texts can be searched for.
const MustBeText = "must be a text in UTF-8 of at most 200 characters"

// Searchable tells whether a text can be searched for: both databases have to be able to compare it.
func Searchable(text string) bool {
	return len([]rune(text)) <= MaxQuery && utf8.ValidString(text) && !strings.ContainsRune(text, 0)
}

// ParseBBox reads west,south,east,north; west beyond east crosses the 180th meridian (RFC 7946).
func ParseBBox(text string) (*store.BBox, string) {
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

// slotTime is how long a request waits for its turn where only some can run at once.
const slotTime = 10 * time.Second

// Slot waits for a turn among those that can run at once; busy is what the client is told where none comes.
func Slot(ctx context.Context, slots chan struct{}, busy string) (release func(), err error) {
	waiting, cancel := context.WithTimeout(ctx, slotTime)
	defer cancel()
	select {
	case slots <- struct{}{}:
		return func() { <-slots }, nil
	case <-waiting.Done():
		return nil, refusal.Busy.Problem(busy)
	}
}
