package spd

import (
	"fmt"
	"math"
)

// When the years are short for a device: more than this probability of an overstress within so many years. Common practice, no
// published source.
const (
	lifeProbability = 0.1
	lifeYears       = 10
)

// lifeNote names what follows where a device is likely to be overstressed soon; rate is the number of overstresses a year.
func lifeNote(rate float64) string {
	p := -math.Expm1(-rate * lifeYears)
	if p <= lifeProbability {
		return ""
	}
	return fmt.Sprintf("Overstressed within %d years with a probability of %.0f %%: take the next higher rating or one with "+
		"remote signalling, keep a spare, and "+
		"inspect at least %s and after every storm nearby.", lifeYears, 100*p, inspection(rate))
}

// inspection is how often a device is to be looked at, so that between two inspections it is overstressed with at most one in ten.
func inspection(rate float64) string {
	switch months := 12 * -math.Log1p(-lifeProbability) / rate; {
	case months >= 12:
		return "once a year"
	case months >= 6:
		return "every six months"
	case months >= 3:
		return "every three months"
	}
	return "every month"
}
