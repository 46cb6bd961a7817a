package spd

import (
	"math"
	"strconv"

	"levinward/risk"
)

// Where the grades of a proved earth connection end [ohm]. The judgement of package earth has the same limits.
const (
	goodEarthUpTo = 10 // common practice for an LPS, IEC 62305-3:2010, 5.4; from memory
	fairEarthUpTo = 30 // handbook on lightning protection, electronics; secondary source
)

// addedElectrode is how many times the present electrode can sensibly be added; common practice, no published source.
const addedElectrode = 10

const (
	noteNoEarth = "There is no earth connection: no device protects anything before there is one. " +
		"Build an electrode, bond everything to it and measure it."
	noteEarth = "Earth first: a device can do very little without a proved earth connection. " +
		"Find the electrode, bond everything to it and measure it."
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

// EarthAdvice grades the earth connection of a structure and says what to do about it.
func EarthAdvice(e risk.Earthing) (grade EarthGrade, advice string) {
	ohm := strconv.FormatFloat(e.Resistance, 'g', 4, 64)
	switch grade = gradeOf(e); grade {
	case EarthAbsent:
		advice = noteNoEarth
	case EarthUnproved:
		advice = noteEarth
	case EarthGood:
		advice = "Earth of " + ohm + " ohm, good. Test it before use, and keep everything bonded to it."
	case EarthFair:
		advice = "Earth of " + ohm + " ohm, fair. Bond everything to one bar; improve the electrode towards 10 ohm where that is within reach."
	default:
		advice = "Earth of " + ohm + " ohm, poor. Each 1 kA of surge current lifts it by " + ohm + " kV against remote earth (I x R). " +
			"Equipotential bonding matters more than the number: bond everything to one bar, and fit devices on every line that comes from " +
			"a remote earth. " + moreElectrode(e.Resistance)
	}
	return grade, advice
}

// moreElectrode says how much electrode a poor earth lacks: the resistance falls at best with its length.
func moreElectrode(ohm float64) string {
	times := strconv.FormatFloat(math.Ceil(ohm/fairEarthUpTo), 'f', 0, 64)
	if ohm > addedElectrode*fairEarthUpTo {
		return "More rods alone will not do (30 ohm takes " + times + " times the electrode): lay a ring round the building " +
			"and bond everything to it."
	}
	return "Add electrode: for 30 ohm at least " + times + " times what is there."
}

// earthNotes says of each entry what its earth connection means for it; a poor one costs every device.
func (s *scheduler) earthNotes(en *Entry) {
	grade, advice := EarthAdvice(en.Earthing)
	if en.Position != LineEntrance {
		s.note(noteSecond)
	}
	switch {
	case grade == EarthPoor:
		s.notes = append(s.notes, advice)
	case en.Position != LineEntrance:
	case grade == EarthAbsent || grade == EarthUnproved:
		s.note(advice)
	default:
		s.note(advice)
	}
}
