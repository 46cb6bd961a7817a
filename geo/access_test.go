package geo

import "github.com/paulmach/orb"

// Center returns the centre as longitude and latitude in degrees.
func (f Frame) Center() orb.Point { return f.center }

// Area returns the area within the outline [m²].
func (o Outline) Area() float64 { return loopsArea(o.Loops) }

// Length returns the length of the outline [m].
func (o Outline) Length() float64 {
	sum := 0.0
	for _, l := range o.Loops {
		for i := range l {
			sum += l[i].size()
		}
	}
	return sum
}

// Validate returns everything that is wrong with the parts of a structure, or nil.
func Validate(parts []Part) []Fault {
	_, faults := layOut(parts)
	return faults
}
