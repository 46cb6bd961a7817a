package spd

import "levinward/risk"

// Where the grades of a proved earth connection end [ohm]. The judgement of package earth has the same limits.
const (
	goodEarthUpTo = 10 // common practice for an LPS, IEC 62305-3:2010, 5.4; from memory
	fairEarthUpTo = 30 // handbook on lightning protection, electronics; secondary source
)

// gradeOf grades the earth connection of a structure.
func gradeOf(e risk.Earthing) EarthGrade {
	switch {
	case e.Connection == risk.EarthNone:
		return EarthAbsent
	case !e.Proved():
		return EarthUnproved
	case e.Resistance <= goodEarthUpTo:
		return EarthGood
	case e.Resistance <= fairEarthUpTo:
		return EarthFair
	}
	return EarthPoor
}
