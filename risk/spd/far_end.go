package spd

import "levinward/risk"

// What stands at the far end of a line, as notes name it.
var farEndNames = map[risk.FarEnd]string{
	risk.FarStructure: "a structure", risk.FarArray: "an array", risk.FarBattery: "a battery", risk.FarGenerator: "a generator",
	risk.FarPumpMotor: "a pump motor", risk.FarLevelSensor: "a level sensor", risk.FarAntenna: "an antenna",
	risk.FarFenceEnergiser: "a fence energiser", risk.FarLuminaire: "a luminaire", risk.FarSocketOutlet: "a socket outlet",
	risk.FarElectronics: "electronics", risk.FarOutBuilding: "an out-building", risk.FarOther: "other equipment",
}

// hasFarEnd reports that what stands at the far end is stated and gets an entry of its own: seen from the structure that the line
// begins at, and no assessed structure, network or array, whose entries stand elsewhere.
func (s *scheduler) hasFarEnd(x *end) bool {
	switch x.l.FarEnd {
	case risk.FarEndNotStated, risk.FarNetwork, risk.FarStructure, risk.FarBattery:
		return false
	case risk.FarArray:
		if x.pv() {
			return false // the entry of the array
		}
	}
	return x.l.Structure == x.structure && (x.l.To < 0 || s.in.Structures[x.l.To].NotAssessed)
}

// indoors reports a far end that lies behind the device at the entrance, within the building.
func (x *end) indoors() bool {
	return x.l.FarEnd == risk.FarSocketOutlet || x.l.FarEnd == risk.FarElectronics
}

// farEndClass is the test class at the far end: outdoors as at the entrance, because the same current arrives there; behind it indoors.
func (x *end) farEndClass() TestClass {
	switch {
	case !x.indoors():
		return x.entranceClass()
	case !x.telecom():
		return ClassIII
	case x.entranceClass() == D1:
		return C2
	}
	return C1
}

// farEndNotes says what is particular to a far end.
func (s *scheduler) farEndNotes(x *end) {
	name := farEndNames[x.l.FarEnd]
	if x.indoors() {
		s.note("Far end: " + name + ". The device stands there, behind the one at the entrance.")
		return
	}
	s.note("Far end: " + name + ", outdoors. The device stands there, bonded to the earth of that end, in an enclosure for the " +
		"weather of the place.")
	switch x.l.FarEnd {
	case risk.FarPumpMotor:
		s.note("A borehole is a far earth: bond motor, rising main and cable armour, and treat the cable of a level sensor as a line of its own.")
	case risk.FarOutBuilding:
		s.note("An out-building with people, equipment or lines of its own is a structure: enter it as one.")
	case risk.FarAntenna:
		s.note("Bond the antenna mast to the common electrode; its rotator, heater or amplifier supply is a line too.")
	case risk.FarFenceEnergiser:
		s.note("The fence itself collects lightning: earth the energiser apart as its maker says, with a gap or choke in the lead-out, and " +
			"disconnect it before a storm.")
	}
}
