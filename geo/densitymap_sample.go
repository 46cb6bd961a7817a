package geo

import (
	"errors"
	"fmt"
	"math"
)

// Why a flash-density map gives no value at a position. The error of DensityMap.Sample wraps one of them.
var (
	ErrDensityPosition = errors.New("position is not on the earth") // longitude beyond ±180, latitude beyond ±90, or NaN
	ErrDensityOutside  = errors.New("position is outside the flash-density map")
	ErrDensityNoData   = errors.New("flash-density map has no data at the position")
)

// DensitySample is what a flash-density map says about one position.
type DensitySample struct {
	Value              float64     // interpolated value, in the unit of Kind
	Kind               DensityKind // what Value is
	GroundFlashDensity float64     // N_G [1/(km² a)], by Relation from Value
	Derived            bool        // N_G was not mapped itself but follows from Relation; a result must say so
	Relation           string      // the formula used, with its constants
	Column, Row        int         // the cell that holds the position, counted from 0 at the north-west corner
	FromYear, ToYear   int         // first and last year of the observations
	Source             string      // whose data these are
	Note               string      // what the reader of a result must know about this sample, mostly empty
}

// Sample returns the map's value at a position in degrees: longitude -180 to 180, latitude -90 to 90.
//
// The value is interpolated bilinearly between the centres of the four nearest cells. Within half a cell of the map's
// edge the value of the outermost centres holds. A global map goes on across its seam.
//
// A position whose own cell has no data is an error, whatever its neighbours hold. Where only neighbours lack data, the
// value is the weighted mean of the others, and Note says so.
func (m *DensityMap) Sample(longitude, latitude float64) (DensitySample, error) {
	x, y, err := m.grid.locate(longitude, latitude)
	if err != nil {
		return DensitySample{}, err
	}
	g := m.grid
	column, row := min(int(x+0.5), g.Columns-1), min(int(y+0.5), g.Rows-1)
	if v := m.values[row*g.Columns+column]; v != v {
		lon, lat := g.CellCentre(column, row)
		return DensitySample{}, fmt.Errorf("%w: longitude %g, latitude %g lies in the cell at %s (centre %.10g, %.10g)",
			ErrDensityNoData, longitude, latitude, rasterCell(column, row), lon, lat)
	}
	value, missing := m.interpolate(x, y)
	s := DensitySample{
		Value:              value,
		Kind:               m.meta.Kind,
		GroundFlashDensity: m.meta.groundFlashDensity(value),
		Derived:            m.meta.Kind != GroundFlashDensity,
		Relation:           m.relation,
		Column:             column,
		Row:                row,
		FromYear:           m.meta.FromYear,
		ToYear:             m.meta.ToYear,
		Source:             m.meta.Source,
	}
	if missing > 0 {
		s.Note = densityGapNotes[missing]
	}
	return s, nil
}

// densityGapNotes speaks of as many missing neighbours as its index; the position's own cell is never among them.
var densityGapNotes = [4]string{
	1: "1 of the 4 cells around the position has no data; the value is the weighted mean of the other 3",
	2: "2 of the 4 cells around the position have no data; the value is the weighted mean of the other 2",
	3: "3 of the 4 cells around the position have no data; the value is that of the position's own cell",
}

// edgeSlack, in cells, lets a position on the rim of a map be on it in spite of rounding.
const edgeSlack = 1e-6

// locate returns a position in units of cells from the centre of the north-western cell, clamped to the grid:
// x within -0.5 to Columns-0.5, y within -0.5 to Rows-0.5.
func (g DensityGrid) locate(longitude, latitude float64) (x, y float64, err error) {
	if !(math.Abs(longitude) <= 180) || !(math.Abs(latitude) <= 90) {
		hint := ""
		if math.Abs(longitude) <= 90 && math.Abs(latitude) <= 180 {
			hint = "; are longitude and latitude exchanged?"
		}
		return 0, 0, fmt.Errorf("%w: longitude %g, latitude %g; -180 to 180 and -90 to 90 are allowed%s",
			ErrDensityPosition, longitude, latitude, hint)
	}
	// A grid may count its longitudes from -180 or from 0, and its ends may overlap: the turn of the earth that puts
	// the position deepest into the grid is the one to use.
	depth := math.Inf(-1)
	for _, turn := range [3]float64{0, -360, 360} {
		c := (longitude + turn - g.West) / g.CellWidth
		if d := min(c, float64(g.Columns)-c); d > depth {
			depth, x = d, c
		}
	}
	y = (g.North - latitude) / g.CellHeight
	if depth < -edgeSlack || y < -edgeSlack || y > float64(g.Rows)+edgeSlack {
		return 0, 0, fmt.Errorf("%w: longitude %g, latitude %g; the map covers %v",
			ErrDensityOutside, longitude, latitude, g)
	}
	x = min(max(x, 0), float64(g.Columns)) - 0.5
	y = min(max(y, 0), float64(g.Rows)) - 0.5
	return x, y, nil
}

// interpolate returns the bilinear value at a located position and how many of the four corners lack data. At least
// the nearest of them must have data. A corner without weight is not missed.
func (m *DensityMap) interpolate(x, y float64) (value float64, missing int) {
	g := m.grid
	west, fx := math.Floor(x), x-math.Floor(x)
	north, fy := math.Floor(y), y-math.Floor(y)
	c0, c1 := int(west), int(west)+1
	if g.Global() {
		c0, c1 = (c0+g.Columns)%g.Columns, c1%g.Columns
	} else {
		c0, c1 = max(c0, 0), min(c1, g.Columns-1)
	}
	r0, r1 := max(int(north), 0), min(int(north)+1, g.Rows-1)
	var sum, weights float64
	add := func(column, row int, weight float64) {
		v := float64(m.values[row*g.Columns+column])
		switch {
		case weight == 0:
		case v != v:
			missing++
		default:
			sum += weight * v
			weights += weight
		}
	}
	add(c0, r0, (1-fx)*(1-fy))
	add(c1, r0, fx*(1-fy))
	add(c0, r1, (1-fx)*fy)
	add(c1, r1, fx*fy)
	return sum / weights, missing
}
