package wire

import (
	"fmt"
	"math"
	"time"

	"levinward/geo"
)

// FlashDensityMap is a flash-density map without its cells.
type FlashDensityMap struct {
	ID        string    `json:"id"`
	Name      string    `json:"name"`
	CreatedAt time.Time `json:"created_at"`
	MapDescription
	Cautions []string `json:"cautions"`
}

// MapDescription says what a map holds and where. It is stored with the map.
type MapDescription struct {
	Kind               geo.DensityKind             `json:"kind"`
	CloudToGroundRatio float64                     `json:"cloud_to_ground_ratio,omitempty"`
	Relation           geo.ThunderstormDayRelation `json:"relation,omitempty"`
	FromYear           int                         `json:"from_year"`
	ToYear             int                         `json:"to_year"`
	Source             string                      `json:"source"`
	LicenceNote        string                      `json:"licence_note,omitempty"`
	Grid               geo.DensityGrid             `json:"grid"`
	Extent             MapExtent                   `json:"extent"`
	Values             MapValues                   `json:"values"`
	NoDataShare        float64                     `json:"no_data_share"`
}

// MapExtent is where the outer edges of a grid lie, in degrees.
type MapExtent struct {
	West  float64 `json:"west"`
	South float64 `json:"south"`
	East  float64 `json:"east"`
	North float64 `json:"north"`
}

// MapValues is the range of the values in the cells.
type MapValues struct {
	Min float64 `json:"min"`
	Max float64 `json:"max"`
}

// FlashDensityMapList is a page of maps.
type FlashDensityMapList struct {
	Maps []FlashDensityMap `json:"flash_density_maps"`
}

// FlashDensitySample is what a map says about one position. Column and row count from 1.
type FlashDensitySample struct {
	Map           string          `json:"map"`
	Longitude     float64         `json:"longitude"`
	Latitude      float64         `json:"latitude"`
	GroundFlashes float64         `json:"ground_flashes_per_km2_year"`
	Derived       bool            `json:"derived"`
	Relation      string          `json:"relation"`
	Value         float64         `json:"value"`
	Kind          geo.DensityKind `json:"kind"`
	Column        int             `json:"column"`
	Row           int             `json:"row"`
	FromYear      int             `json:"from_year"`
	ToYear        int             `json:"to_year"`
	Source        string          `json:"source"`
	Note          string          `json:"note,omitempty"`
}

// NewFlashDensitySample writes a sample as an answer.
func NewFlashDensitySample(id string, longitude, latitude float64, s *geo.DensitySample) *FlashDensitySample {
	return &FlashDensitySample{
		Map: id, Longitude: longitude, Latitude: latitude, GroundFlashes: s.GroundFlashDensity, Derived: s.Derived, Relation: s.Relation,
		Value: s.Value, Kind: s.Kind, Column: s.Column + 1, Row: s.Row + 1, FromYear: s.FromYear, ToYear: s.ToYear, Source: s.Source, Note: s.Note,
	}
}

// DescribeMap looks at every cell of a map.
func DescribeMap(m *geo.DensityMap) *MapDescription {
	meta, g := m.Meta(), m.Grid()
	d := &MapDescription{
		Kind: meta.Kind, CloudToGroundRatio: meta.CloudToGroundRatio, Relation: meta.Relation, FromYear: meta.FromYear, ToYear: meta.ToYear,
		Source: meta.Source, LicenceNote: meta.LicenceNote, Grid: g,
		Extent: MapExtent{West: g.West, South: g.South(), East: g.East(), North: g.North},
		Values: MapValues{Min: math.Inf(1), Max: math.Inf(-1)},
	}
	missing := 0
	for row := range g.Rows {
		for column := range g.Columns {
			v, there := m.Cell(column, row)
			if !there {
				missing++
				continue
			}
			d.Values.Min, d.Values.Max = min(d.Values.Min, v), max(d.Values.Max, v)
		}
	}
	d.NoDataShare = float64(missing) / float64(g.Rows) / float64(g.Columns)
	return d
}

// What IEC 62858 asks of lightning location data (values from memory): at least ten years of
// observations, the last of them no more than five years back.
const (
	yearsObserved = 10
	yearsCurrent  = 5
)

// MapCautions says what is to be known before a map is used in a year.
func MapCautions(d *MapDescription, year int) []string {
	cautions := []string{"A map is a mean over its cells and years. Hills and coasts may be struck more often than it says."}
	say := func(format string, args ...any) { cautions = append(cautions, fmt.Sprintf(format, args...)) }
	switch d.Kind {
	case geo.TotalFlashDensity:
		say("N_G is derived from all flashes, N_G = N_T/(1+Z) with Z = %g for the whole map. Z differs by region and season; where it is smaller, N_G is higher than computed.", d.CloudToGroundRatio)
	case geo.ThunderstormDays:
		say("N_G is derived from days with thunder, which is a weak relation; use lightning location data where there are any.")
	}
	if age := year - d.ToYear; age > yearsCurrent {
		say("The last observations are of %d, %d years back; IEC 62858 asks for data no older than %d years.", d.ToYear, age, yearsCurrent)
	}
	if n := d.ToYear - d.FromYear + 1; n < yearsObserved {
		say("The observations cover %d years; IEC 62858 asks for at least %d.", n, yearsObserved)
	}
	if d.NoDataShare > 0 {
		say("%.3g %% of the cells have no data; a site in one of them is refused.", 100*d.NoDataShare)
	}
	return cautions
}
