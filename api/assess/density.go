package assess

import (
	"context"
	"errors"
	"strconv"
	"strings"

	"levinward/api/wire"
	"levinward/geo"
	"levinward/risk"
	"levinward/store"
)

// Maps finds flash-density maps.
type Maps interface {
	// DensityMap returns the map with an id and its name. Where there is none, the error is store.ErrNotFound.
	DensityMap(ctx context.Context, id string) (m *geo.DensityMap, name string, err error)
}

// mapPointer is where an input names its map.
const mapPointer = "/flash_density/map"

// Resolve takes N_G from the map that the site names, if it names one. What is
// wrong with map or place becomes a violation of the site; the error is one of maps.
func Resolve(ctx context.Context, site *wire.Site, maps Maps) error {
	d := &site.Input.FlashDensity
	if d.Origin != risk.DensityMap {
		return nil
	}
	fault := func(rule risk.Rule, reason string) {
		site.Violations = append(site.Violations, risk.Violation{Rule: rule, Pointer: mapPointer, Reason: reason})
	}
	if maps == nil {
		maps = noMaps{}
	}
	m, name, err := maps.DensityMap(ctx, d.Map)
	if errors.Is(err, store.ErrNotFound) {
		fault(risk.RuleUnknownReference, "there is no flash-density map "+strconv.Quote(d.Map))
		return nil
	}
	if err != nil {
		return err
	}
	s, err := m.Sample(site.Input.Location.Longitude, site.Input.Location.Latitude)
	switch {
	case err != nil:
		fault(risk.RuleNoMapValue, err.Error())
	case s.GroundFlashDensity == 0:
		fault(risk.RuleNoMapValue, "the map gives no flash at all here ("+mapCell(&s)+"); lightning strikes every land now and then: "+
			"take N_G from another source, at least "+number(minNG))
	case !(s.GroundFlashDensity >= minNG && s.GroundFlashDensity <= maxNG):
		fault(risk.RuleOutOfRange, "N_G from the map is "+strconv.FormatFloat(s.GroundFlashDensity, 'g', 9,
			64)+" flashes per km2 and year ("+mapCell(&s)+"); "+number(minNG)+" to "+number(maxNG)+" is allowed")
	}
	if err == nil {
		take(d, &s, name)
	}
	return nil
}

// N_G that can be computed with, per km2 and year.
const (
	minNG = 0.01
	maxNG = 100
)

// noMaps is for whoever has none at hand.
type noMaps struct{}

func (noMaps) DensityMap(context.Context, string) (*geo.DensityMap, string, error) {
	return nil, "", store.ErrNotFound
}

// take puts a sample into the input. The map says itself where its values come
// from and how old they are; what the input says of that goes with a number only.
func take(d *risk.FlashDensity, s *geo.DensitySample, name string) {
	var unused []string
	if d.Source != "" {
		unused = append(unused, "source "+strconv.Quote(d.Source))
	}
	if d.Year != 0 {
		unused = append(unused, "year "+strconv.Itoa(d.Year))
	}
	d.NG, d.Year = s.GroundFlashDensity, s.ToYear
	d.Source = s.Source + " (map " + strconv.Quote(name) + ")"
	d.Note = d.Source + ", " + years(s) + ": " + mapCell(s)
	if s.Derived {
		d.Derivation = s.Relation
		d.Note += "; " + s.Relation
	}
	if s.Note != "" {
		d.Note += "; " + s.Note
	}
	if len(unused) > 0 {
		d.Note += "; not used: " + strings.Join(unused, " and ") + " of the input, because the map states its own"
	}
}

func years(s *geo.DensitySample) string {
	if s.FromYear == s.ToYear {
		return strconv.Itoa(s.ToYear)
	}
	return strconv.Itoa(s.FromYear) + " to " + strconv.Itoa(s.ToYear)
}

// mapCell says what a map holds around a position, and where.
func mapCell(s *geo.DensitySample) string {
	return s.Kind.Words() + " " + number(s.Value) + ", interpolated around row " + strconv.Itoa(s.Row+1) + ", column " +
		strconv.Itoa(s.Column+1)
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// FaultsBeforeMap lists the faults of a site whose N_G is still to be taken from
// a map: all but those of N_G. A site that names no map has the faults of Faults.
func FaultsBeforeMap(site *wire.Site) []risk.Violation {
	d := &site.Input.FlashDensity
	if d.Origin == risk.DensityMap && d.NG == 0 {
		d.NG = 1 // any allowed value
		defer func() { d.NG = 0 }()
	}
	return Faults(site)
}
