package geo_test

import (
	"fmt"
	"strings"

	"levinward/geo"
)

// An invented map of two rows with thunderstorm days; one cell has no data.
func ExampleDensityMap_Sample() {
	grid := `ncols 3
nrows 2
xllcorner 36
yllcorner -4
cellsize 0.5
NODATA_value -9999
80 90 100
60 70 -9999
`
	m, err := geo.ReadDensityMap(strings.NewReader(grid), geo.DensityMapMeta{
		Kind: geo.ThunderstormDays, Relation: geo.LinearThunderstormDays,
		FromYear: 2001, ToYear: 2020, Source: "invented stations",
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	s, err := m.Sample(36.5, -3.5)
	fmt.Printf("T_D %.0f, %s: %.2f flashes per km² and year, %s, %d to %d, %v\n",
		s.Value, s.Relation, s.GroundFlashDensity, s.Source, s.FromYear, s.ToYear, err)
	_, err = m.Sample(37.2, -3.8)
	fmt.Println(err)
	// Output:
	// T_D 75, N_G = 0.1 T_D: 7.50 flashes per km² and year, invented stations, 2001 to 2020, <nil>
	// flash-density map has no data at the position: longitude 37.2, latitude -3.8 lies in the cell at row 2, column 3 (centre 37.25, -3.75)
}
