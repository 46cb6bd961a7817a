package earth

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// Connection is what is known of the earth connection of a structure.
type Connection = risk.EarthConnection

// The values of Connection.
const (
	NoConnection      = risk.EarthNone
	UnknownConnection = risk.EarthUnknown
	Measured          = risk.EarthMeasured
	FromElectrode     = risk.EarthElectrode
)

// Grade is how an earth resistance is judged.
type Grade = risk.Named[gradeList]

// The values of Grade.
const (
	NotProven Grade = iota // no connection, or nothing known of it
	Poor                   // over 30 ohm
	Fair                   // up to 30 ohm
	Good                   // up to 10 ohm
)

var gradeNames = []string{"not_proven", "poor", "fair", "good"}

type gradeList struct{}

func (gradeList) List() (string, []string) { return "grade", gradeNames }

// What an assessment says of an earth connection.
const (
	TextNone      = "Earth first: there is no earth connection, so a surge protective device has nowhere to lead the surge. Nothing here counts as protected until an electrode is built, bonded to everything and measured."
	TextUnknown   = "Earth first: the earth connection is not known. No device counts as protection until it has been found, bonded and measured."
	TextGood      = "The earth resistance is within the 10 ohm aimed at. Bonding everything to one earth matters more than the number."
	TextFair      = "The earth resistance is above the 10 ohm aimed at; up to 30 ohm, electronics still profit from bonding everything to one earth. Improve it where that is within reach."
	TextPoor      = "The earth resistance is above 30 ohm: devices can do little with it. Improve the electrode and bond everything to one earth before relying on them."
	TextComputed  = "Computed from the electrode, not measured: measure it before relying on it."
	textClause    = "common practice for LPS; IEC 62305-3:2010, 5.4"
	noPublication = "common practice, no published source"
)

// Judgement is what an earth connection is worth to surge protection.
type Judgement struct {
	Connection Connection
	Resistance float64 // ohm; 0 for none and unknown
	Grade      Grade
	// EarthFirst: no device may look like protection yet.
	EarthFirst bool
	Notes      []Note
}

// MeasuredPointer points to a measured resistance, relative to the description of the earth connection.
const MeasuredPointer = "/resistance_ohm"

// Judge judges an earth connection of the given resistance [ohm], which counts for
// Measured and FromElectrode only and must be zero for the others.
func Judge(c Connection, resistance float64, t *trace.Trace) (Judgement, []risk.Violation) {
	var f faults
	switch {
	case c > FromElectrode:
		f.add(risk.RuleOutOfRange, "/connection", c.String()+"; allowed: unknown, none, measured, electrode", "")
	case c == Measured || c == FromElectrode:
		f.within(MeasuredPointer, resistance, readingSpan, "ohm")
	case resistance != 0:
		f.add(risk.RuleContradiction, MeasuredPointer,
			number(resistance)+" ohm, though the earth connection is given as "+c.String()+"; leave it out or give it as measured", "")
	}
	if len(f) > 0 {
		return Judgement{}, f
	}
	j := Judgement{Connection: c}
	switch c {
	case NoConnection:
		j.EarthFirst, j.Notes = true, []Note{{TextNone, noPublication, rule}}
	case UnknownConnection:
		j.EarthFirst, j.Notes = true, []Note{{TextUnknown, noPublication, rule}}
	default:
		j.judge(resistance, t)
	}
	return j, nil
}

func (j *Judgement) judge(resistance float64, t *trace.Trace) {
	j.Resistance = t.Given(measured, resistance)
	j.Grade = gradeOf(resistance, t.Pick(aimR, limits, rowAim, 0), t.Pick(usefulR, limits, rowUseful, 0))
	j.Notes = []Note{{gradeText(j.Grade), textClause, mem}}
	if j.Connection == FromElectrode {
		j.Notes = append(j.Notes, Note{TextComputed, noPublication, rule})
	}
}

func gradeOf(resistance, aim, useful float64) Grade {
	switch {
	case resistance <= aim:
		return Good
	case resistance <= useful:
		return Fair
	}
	return Poor
}

func gradeText(g Grade) string {
	switch g {
	case Good:
		return TextGood
	case Fair:
		return TextFair
	}
	return TextPoor
}
