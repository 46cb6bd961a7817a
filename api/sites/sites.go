// Package sites writes the sites of a portfolio as files: CSV, XLSX, GeoJSON and GeoPackage.
package sites

import (
	"reflect"
	"time"

	"levinward/api/wire"
	"levinward/store"
)

// Writer writes sites one by one in the form of a file.
type Writer interface {
	Write(s *store.Site) error
	Flush() error // sends what is ready
	Close() error // ends the file
	Discard()     // gives up what waits on the disk, whether the file was ended or not
}

// columns are the columns of a table of sites: id and place, then the properties.
var columns = columnNames()

func columnNames() []string {
	names := []string{"id", "latitude", "longitude"}
	t := reflect.TypeFor[wire.SiteProperties]()
	for i := range t.NumField() {
		names = append(names, t.Field(i).Tag.Get("json"))
	}
	return names
}

// cells are the values of the columns: text, float64, int, bool, or nil for none. layout is that of times.
func cells(s *store.Site, layout string) []any {
	cells := append(make([]any, 0, len(columns)), s.Assessment, s.Latitude, s.Longitude)
	p := PropertiesOf(s)
	v := reflect.ValueOf(&p).Elem()
	for i := range v.NumField() {
		switch cell := v.Field(i).Interface().(type) {
		case *string:
			if cell == nil {
				cells = append(cells, nil)
			} else {
				cells = append(cells, *cell)
			}
		case time.Time:
			cells = append(cells, cell.Format(layout))
		default:
			cells = append(cells, cell)
		}
	}
	return cells
}

// PropertiesOf tells of a site what every export of it has.
func PropertiesOf(s *store.Site) wire.SiteProperties {
	p := wire.SiteProperties{
		Reference: s.Reference, Name: s.Name, Revision: s.Revision, GroundFlashes: s.GroundFlashes, DensityOrigin: s.DensityOrigin,
		LossOfHumanLife: s.LossOfHumanLife, WorstRatio: s.WorstRatio, Excess: s.Excess, PersonsAtRisk: s.PersonsAtRisk, Acceptable: s.Acceptable,
		NeededProtection: s.NeededProtection, RequiredDevices: s.RequiredDevices, Engine: s.Engine, CreatedAt: s.CreatedAt.UTC(),
		UpdatedAt: s.UpdatedAt.UTC(),
	}
	if s.DensityMap != "" {
		p.DensityMap = &s.DensityMap
	}
	if !s.ReviewDue.IsZero() {
		due := s.ReviewDue.Format(time.DateOnly)
		p.ReviewDue = &due
	}
	return p
}

// FeatureOf is a site as a GeoJSON feature.
func FeatureOf(s *store.Site) wire.SiteFeature {
	return wire.SiteFeature{
		Type: "Feature", ID: s.Assessment,
		Geometry:   wire.Point{Type: "Point", Coordinates: []float64{s.Longitude, s.Latitude}},
		Properties: PropertiesOf(s),
	}
}
