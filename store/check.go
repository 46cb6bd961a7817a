package store

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// Normalise brings a record into the form in which both databases keep it and
// refuses, with every fault named, what one of them could not keep unchanged.
// The error is ErrInvalid.
func (r *Record) Normalise() error {
	var faults []error
	id, ok := CanonicalID(r.ID)
	if !ok {
		faults = append(faults, fmt.Errorf("id %.40q: not a UUID", r.ID))
	}
	r.ID = id
	r.CreatedAt = r.CreatedAt.UTC().Truncate(time.Microsecond)
	r.ReviewDue = Date(r.ReviewDue)

	for _, t := range []struct{ what, text string }{
		{"name", r.Name}, {"reference", r.Reference}, {"edition", r.Edition}, {"engine", r.Engine}, {"input hash", r.InputHash},
	} {
		faults = append(faults, checkText(t.what, t.text, MaxText))
	}
	faults = append(faults, CheckHash(r.DefinitionsHash))
	for _, d := range []struct {
		what string
		doc  []byte
	}{{"input", r.Input}, {"result", r.Result}, {"worksheet", r.Worksheet}} {
		faults = append(faults, checkDocument(d.what, d.doc))
	}
	for _, d := range []struct {
		what string
		at   time.Time
	}{{"creation time", r.CreatedAt}, {"review date", r.ReviewDue}} {
		if !validTime(d.at) {
			faults = append(faults, fmt.Errorf("%s %v: not in the years 1 to 9999", d.what, d.at))
		}
	}
	if r.Summary != nil {
		// They stand in an index, whose entries are short.
		faults = append(faults, checkText("name", r.Name, MaxReference), checkText("reference", r.Reference, MaxReference), r.Summary.Check())
	}
	// Written so that NaN is refused as well.
	if !(r.Latitude >= -90 && r.Latitude <= 90) {
		faults = append(faults, fmt.Errorf("latitude %v: not within -90..90", r.Latitude))
	}
	if !(r.Longitude >= -180 && r.Longitude <= 180) {
		faults = append(faults, fmt.Errorf("longitude %v: not within -180..180", r.Longitude))
	}
	return invalid(faults...)
}

// Check refuses, with ErrInvalid, a key or hash that could not be kept.
func (i *Idempotency) Check() error {
	if i == nil {
		return nil
	}
	var empty error
	if i.Key == "" {
		empty = errors.New("idempotency key: empty")
	}
	return invalid(empty, checkText("idempotency key", i.Key, MaxKey), checkText("body hash", i.BodyHash, MaxText))
}

// CheckDefinitions refuses, with ErrInvalid, what PutDefinitions cannot keep.
func CheckDefinitions(hash string, doc []byte) error {
	return invalid(CheckHash(hash), checkDocument("definitions", doc))
}

// CheckHash refuses, with ErrInvalid, what can be no hash of definitions.
func CheckHash(hash string) error {
	return invalid(checkText("definitions hash", hash, MaxKey))
}

// CheckOrganisation refuses, with ErrInvalid, what AddOrganisation cannot keep.
func CheckOrganisation(org Organisation, name string) error {
	var id error
	if _, ok := CanonicalID(string(org)); !ok {
		id = fmt.Errorf("organisation %.40q: not a UUID", string(org))
	}
	return invalid(id, checkText("name", name, MaxText))
}

// Normalise sets the limit, prepares the query for comparison with Fold and
// refuses, with ErrInvalid, a box that is none.
func (f *Filter) Normalise() error {
	f.Limit = pageLimit(f.Limit)
	faults := []error{checkText("query", f.Query, MaxText)}
	f.Query = Fold(f.Query)
	if f.DueOn != nil {
		day := Date(*f.DueOn)
		f.DueOn = &day
		if !validTime(day) {
			faults = append(faults, fmt.Errorf("day %v: not in the years 1 to 9999", day))
		}
	}
	if b := f.BBox; b != nil {
		if !(b.South >= -90 && b.North <= 90 && b.South <= b.North) {
			faults = append(faults, fmt.Errorf("latitudes %v..%v: not a range within -90..90", b.South, b.North))
		}
		if !(b.West >= -180 && b.West <= 180 && b.East >= -180 && b.East <= 180) {
			faults = append(faults, fmt.Errorf("longitudes %v..%v: not within -180..180", b.West, b.East))
		}
	}
	return invalid(faults...)
}

// Fold gives texts that differ in upper and lower case only the same form. The
// detour over upper case joins letters with two lower-case forms.
func Fold(s string) string { return strings.ToLower(strings.ToUpper(s)) }

// Date drops the time of day, in UTC.
func Date(t time.Time) time.Time {
	y, m, d := t.UTC().Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}

// CanonicalID returns a UUID in lower case; false if it is none of the form
// xxxxxxxx-xxxx-xxxx-xxxx-xxxxxxxxxxxx (RFC 9562 section 4).
func CanonicalID(id string) (string, bool) {
	if len(id) != 36 {
		return "", false
	}
	for i := range len(id) {
		c := id[i]
		if i == 8 || i == 13 || i == 18 || i == 23 {
			if c != '-' {
				return "", false
			}
		} else if !strings.ContainsRune("0123456789abcdefABCDEF", rune(c)) {
			return "", false
		}
	}
	return strings.ToLower(id), true
}

func checkText(what, s string, limit int) error {
	switch {
	case len(s) > limit:
		return fmt.Errorf("%s: %d bytes, at most %d", what, len(s), limit)
	case !utf8.ValidString(s):
		return fmt.Errorf("%s: not UTF-8", what)
	case strings.ContainsRune(s, 0):
		return fmt.Errorf("%s: contains the character U+0000", what)
	}
	return nil
}

func checkDocument(what string, doc []byte) error {
	if len(doc) == 0 || len(doc) > MaxDocument {
		return fmt.Errorf("%s: %d bytes, 1 to %d are allowed", what, len(doc), MaxDocument)
	}
	return nil
}

func validTime(t time.Time) bool { return t.Year() >= 1 && t.Year() <= 9999 }

func invalid(faults ...error) error {
	if err := errors.Join(faults...); err != nil {
		return fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	return nil
}
