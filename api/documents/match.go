package documents

import (
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"levinward/api/protocol"
	"levinward/api/wire"
	"levinward/risk/trace"
	"levinward/store"
)

// Number of devices named for each entry.
const (
	usualMatches = 5
	mostMatches  = 100
)

// matching reads what is asked of a match: 0 where none is.
func matching(c echo.Context) (devices int, err error) {
	q := protocol.Parameters{Context: c}
	wanted := q.Truth("match")
	devices = q.Whole("devices", usualMatches, 1, mostMatches)
	if !wanted && q.QueryParams().Has("devices") {
		q.Fault("devices", "needs match=true")
	}
	if !wanted {
		devices = 0
	}
	return devices, q.Problem()
}

// match matches a stored schedule with the library. The hash is that of the reviews it was computed with.
func (s *Service) match(c echo.Context, schedule []byte, reviewsHash string, devices int) (*wire.Matching, error) {
	named, err := s.Reviews.Named(c.Request().Context(), reviewsHash)
	if err != nil {
		return nil, err
	}
	var reviews *trace.Reviews
	if named != nil {
		reviews = named.Reviews
	}
	places, err := wire.ReadPlaces(schedule, reviews)
	if err != nil {
		return nil, err
	}
	library, err := s.Library.Library(c.Request().Context(), s.Store, store.Local)
	if err != nil {
		return nil, err
	}
	return library.Match(places, devices), nil
}

// matchColumns are the columns that a match adds to the schedule as CSV.
var matchColumns = []string{"devices_passing", "devices", "nearest_devices", "obstacle", "totals", "match_cautions"}

// withMatches puts the cells of a match behind the rows of the schedule.
func withMatches(rows [][]string, m *wire.Matching) [][]string {
	rows[0] = append(rows[0], matchColumns...)
	for i := range m.Entries {
		rows[i+1] = append(rows[i+1], matchCells(m, i)...)
	}
	return rows
}

// matchCells are their cells for an entry.
func matchCells(m *wire.Matching, entry int) []string {
	e := &m.Entries[entry]
	devices := make([]string, len(e.Matches))
	for i := range e.Matches {
		devices[i] = deviceCell(&e.Matches[i])
	}
	nearest := make([]string, len(e.Nearest))
	for i := range e.Nearest {
		reasons := make([]string, len(e.Nearest[i].Reasons))
		for n, f := range e.Nearest[i].Reasons {
			reasons[n] = f.Rule.String() + ": required " + f.Required + ", found " + f.Found
		}
		nearest[i] = deviceCell(&e.Nearest[i].MatchedDevice) + " (" + strings.Join(reasons, "; ") + ")"
	}
	obstacle := ""
	if e.Obstacle != nil {
		obstacle = e.Obstacle.Outcome
	}
	return []string{strconv.Itoa(e.Passing), strings.Join(devices, "; "), strings.Join(nearest, "; "), obstacle, totalsCell(m),
		strings.Join(m.Cautions, " ")}
}

func deviceCell(d *wire.MatchedDevice) string {
	if d.Price == nil {
		return d.Reference + " without price"
	}
	return d.Reference + " at " + string(*d.Price) + " " + string(*d.Currency)
}

func totalsCell(m *wire.Matching) string {
	totals := make([]string, len(m.Totals))
	for i, t := range m.Totals {
		totals[i] = string(t.Total) + " " + string(t.Currency)
		if t.Incomplete {
			totals[i] += " (incomplete)"
		}
	}
	return strings.Join(totals, "; ")
}
