package jobs

import (
	"time"

	"levinward/store"
)

// Pace is how many rows a second a work does, counted from its start, and how
// many seconds it will take at that rate; false where that cannot be said.
func Pace(w *store.Work, now time.Time) (rate, left float64, ok bool) {
	seconds := now.Sub(w.StartedAt).Seconds()
	rows := w.Done + w.Failed + w.Unchanged
	if w.StartedAt.IsZero() || seconds <= 0 || rows == 0 {
		return 0, 0, false
	}
	rate = float64(rows) / seconds
	return rate, float64(w.Total-rows) / rate, true
}
