package wire

import (
	"errors"
	"regexp"
	"time"

	"levinward/risk"
)

// Separation is the distance between the LPS and what it may flash over to (IEC 62305-3 clause 6.3).
type Separation struct {
	Along   *float64          `json:"along_m,omitempty" lim:"(0,1000]"`
	Through *SeparationMedium `json:"through,omitempty"`
	Clear   *float64          `json:"clear_m,omitempty" lim:"[0,100]"`
}

// SeparationMedium is what lies in the gap.
type SeparationMedium = risk.Named[separationMediumList]

const throughAir SeparationMedium = 1

var separationMediumNames = []string{"solid", "air"}

type separationMediumList struct{}

func (separationMediumList) List() (string, []string) {
	return "separation medium", separationMediumNames
}

// Core is the plain separation; nil is one of which nothing is known.
func (s *Separation) Core() risk.Separation {
	if s == nil {
		return risk.Separation{}
	}
	return risk.Separation{Along: value(s.Along), Air: named(s.Through) == throughAir, Distance: s.Clear}
}

// Date is a day of the calendar, YYYY-MM-DD.
type Date string

var dateForm = regexp.MustCompile(Date("").Pattern())

// Pattern is the form of a date.
func (Date) Pattern() string { return `^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])$` }

// Allowed says the form in words.
func (Date) Allowed() string { return "a day of the calendar as YYYY-MM-DD" }

// UnmarshalText takes a date.
func (d *Date) UnmarshalText(b []byte) error {
	if _, err := time.Parse(time.DateOnly, string(b)); err != nil || !dateForm.Match(b) {
		return errors.New("must be " + d.Allowed())
	}
	*d = Date(b)
	return nil
}
