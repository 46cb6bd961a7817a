package spd

import (
	"math"

	"levinward/risk"
)

// Reasons of the operating voltages.
var (
	byPrintedUc = rule{"Lowest continuous operating voltage at 230/400 V, as printed.", stdSPD, read}
	byMemoryUc  = rule{"Lowest continuous operating voltage at 230/400 V.", stdSPD, memory}
	byLineUc    = rule{"1.1 times the nominal voltage to neutral, at least the highest operating voltage.", stdSPD, read}
	byITUc      = rule{"1.1 times the voltage between lines: in IT the device sees it during an earth fault.", stdSPD, read}
	bySingleUc  = rule{"1.1 times the nominal voltage: in IT of a single-phase source a fault of one wire puts it on the other.", stdSPD,
		memory}
	byNeutralUc  = rule{"Voltage to neutral, which N-PE sees during a fault.", stdSPD, read}
	byStandingUc = rule{"1.1 times the voltage to neutral: in IT a first earth fault may stand.", stdSPD, memory}
	byPVCold     = rule{"Open-circuit voltage of the array at the lowest temperature.", std712, read}
	byPVFactor   = rule{"1.2 times the open-circuit voltage of the array, lowest temperature or temperature coefficient not known.", std712,
		read}
	byInput       = rule{"The device stays inactive up to the highest input voltage of the equipment.", trade, practice}
	byBatteryBack = rule{"Highest voltage that the battery can drive back into the line: the device stays inactive up to it.", trade, practice}
	byGivenUc     = rule{"Highest operating voltage as given.", stdSPD, read}
	byTelecomUc   = rule{"Highest voltage of the line as given, ringing and remote feeding included.", trade, practice}
	byCharging    = rule{"1.1 times the highest charging voltage.", trade, practice}
	byBattery     = rule{"Usual for a lead-acid battery of this nominal voltage: at least 1.1 times the highest charging voltage.", trade,
		practice}
)

// What to read where a voltage is missing.
const (
	noteNoArray = "Cannot be specified yet: U_C and U_P need the open-circuit voltage of the array. Read that of one module on its label " +
		"or data sheet " +
		"(U_OC at standard test conditions) and add up the modules in series."
	noteNoBattery = "Cannot be specified yet: U_C and U_P need the highest charging voltage of the battery, or its nominal voltage. Read " +
		"it on the label of " +
		"the battery or in the settings of the charger."
	noteNoLoad = "Cannot be specified yet: U_C and U_P need the nominal or the highest voltage of the circuit. Read it on the label of the " +
		"equipment or of its supply; for a battery, the highest charging voltage."
	noteArrayNotKnown = "U_C follows from 1.2 times the open-circuit voltage, the default of the standard: the array's real highest " +
		"voltage is not known. Give the " +
		"temperature coefficient of the modules and the lowest temperature of the place."
)

// operating sets the lowest U_C of every mode and of the entry.
func (s *scheduler) operating(x *end, en *Entry) {
	s.t.Begin(qUcMin)
	switch {
	case x.telecom():
		s.operatingTelecom(x, en)
	case x.l.Electrical.Current == risk.AC:
		s.operatingAC(x, en)
	default:
		s.operatingDC(x, en)
	}
	highest := 0.0
	for i := range en.Modes {
		highest = max(highest, en.Modes[i].UcMin.Value)
	}
	if highest > 0 {
		en.UcMin = Some(s.t.Collect(qUcMin, highest))
	}
}

// supply is one state of the sources of an a.c. line.
type supply struct {
	system risk.EarthingSystem
	phases int  // of the source; 0 where not known
	high   bool // through a transformer from high voltage, for all that is known
}

// supplies lists the states of the sources, that of the line itself first, and the highest voltage that is stated of any.
func supplies(el *risk.Electrical) (states []supply, highest float64) {
	phases := el.SourcePhases
	if phases == 0 && el.Phases == 2 {
		phases = 2
	}
	states = append(states, supply{el.System, phases, fedFromHigh(el.Source)})
	highest = el.MaxOperating
	if el.AlsoFedBy != nil {
		for _, o := range *el.AlsoFedBy {
			states = append(states, supply{o.System, o.SourcePhases, fedFromHigh(o.Source)})
			highest = max(highest, o.MaxOperating)
		}
	}
	return states, highest
}

const noteShortCircuit = "The short-circuit rating is at least the prospective short-circuit current here, of a battery too, which is " +
	"not " +
	"known: find it."

// highestShortCircuit is the highest prospective short-circuit current that is stated of any source [kA]; 0 where none is.
func highestShortCircuit(el *risk.Electrical) float64 {
	highest := el.ShortCircuit
	if el.AlsoFedBy != nil {
		for _, o := range *el.AlsoFedBy {
			highest = max(highest, o.ShortCircuit)
		}
	}
	return highest
}

// fedFromHigh reports a source behind a transformer from high voltage; one that is not known counts as such.
func fedFromHigh(s risk.SupplySource) bool {
	return s == risk.SourceNotKnown || s == risk.SourceNetwork
}

func (s *scheduler) operatingAC(x *end, en *Entry) {
	el := &x.l.Electrical
	t := s.t
	states, highest := supplies(el)
	U0 := t.Given(qU0, el.Nominal)
	var Umax float64
	switch {
	case highest > el.MaxOperating:
		Umax = t.Noted(qUmaxStates, max(highest, 1.1*U0), "of the source with the highest voltage, at least 1.1 U_0")
	case highest > 0:
		Umax = t.Given(qUmax, el.MaxOperating)
	default:
		Umax = t.Set(qUten, 1.1*U0)
	}
	printed := el.Nominal == 230 && Umax <= s.t.Value(printedUc, ucLN, 0)
	for i := range en.Modes {
		mo := &en.Modes[i]
		row, why := worstMode(mo.Mode, states)
		if printed && row != ucSplitIT {
			mo.UcMin = Some(t.Pick(qUc, printedUc, row, 0))
			why = &byPrintedUc
			if printedUc.Rows[row].Provenance == memory {
				why = &byMemoryUc
			}
		} else {
			mo.UcMin = Some(s.formulaUc(row, U0, Umax))
		}
		s.because("uc_min_v", mo.Mode, t.Last(qUc), why)
	}
	s.temporary(en, U0, states)
	switch {
	case el.WideVariation:
		s.note("The voltage varies widely: U_C of the order is one commercial step above the minimum, as long as U_P is kept.")
	case x.nearest().Environment == risk.Rural:
		s.note("Rural lines vary in voltage: take U_C one commercial step above the minimum, as long as U_P is kept.")
	}
}

// ucSplitIT stands for L-PE in IT of a split-phase source, which the printed voltages do not have.
const ucSplitIT = -1

// worstMode finds the row of the printed voltages for a mode: that of the state of the sources which asks for the most.
func worstMode(mode string, states []supply) (int, *rule) {
	row, why := acMode(mode, &states[0])
	for i := 1; i < len(states); i++ {
		if r, w := acMode(mode, &states[i]); severity(r) > severity(row) {
			row, why = r, w
		}
	}
	return row, why
}

// severity orders the rows of one mode by the voltage they ask for.
func severity(row int) int {
	switch row {
	case ucLPEIT:
		return 3
	case ucSplitIT:
		return 4
	case ucNPEIT, ucLPESingle:
		return 1
	}
	return 0
}

// acMode finds the row of the printed voltages and the reason for a mode.
func acMode(mode string, st *supply) (int, *rule) {
	isolated := st.system == risk.IT
	switch {
	case mode == modeNPE && isolated:
		return ucNPEIT, &byStandingUc
	case mode == modeNPE:
		return ucNPE, &byNeutralUc
	case mode == modeLPEN:
		return ucLPEN, &byLineUc
	case mode == modeLN:
		return ucLN, &byLineUc
	case isolated && st.phases == 1:
		return ucLPESingle, &bySingleUc
	case isolated && st.phases == 2:
		return ucSplitIT, &byITUc
	case isolated:
		return ucLPEIT, &byITUc
	}
	return ucLPE, &byLineUc
}

func (s *scheduler) formulaUc(row int, U0, Umax float64) float64 {
	switch row {
	case ucNPE:
		return s.t.Set(qUcNPE, tidy(max(U0, Umax/1.1)))
	case ucLPEIT:
		return s.t.Set(qUcIT, tidy(math.Sqrt(3)*max(1.1*U0, Umax)))
	case ucSplitIT:
		return s.t.Set(qUcITSplit, tidy(2*max(1.1*U0, Umax)))
	}
	return s.t.Set(qUcLN, tidy(max(1.1*U0, Umax)))
}

func (s *scheduler) operatingTelecom(x *end, en *Entry) {
	if x.l.Electrical.MaxOperating <= 0 {
		s.note("U_C is at least the highest voltage on the line, ringing and remote feeding included, which is not known: give max_operating_v.")
		return
	}
	s.t.Given(qUmax, x.l.Electrical.MaxOperating)
	s.allModes(en, s.t.Set(qUcGiven, x.l.Electrical.MaxOperating), &byTelecomUc)
}

func (s *scheduler) allModes(en *Entry, uc float64, why *rule) {
	for i := range en.Modes {
		en.Modes[i].UcMin = Some(uc)
	}
	s.because("uc_min_v", "", s.t.Last(qUc), why)
}

func (s *scheduler) operatingDC(x *end, en *Entry) {
	var uc float64
	var why *rule
	if x.pv() {
		uc, why = s.photovoltaicUc(x)
	} else {
		uc, why = s.batteryUc(x)
	}
	if why == nil {
		en.Specifiable = false
		return
	}
	s.allModes(en, uc, why)
}

// photovoltaicUc returns the lowest U_CPV; no rule where no voltage is known.
func (s *scheduler) photovoltaicUc(x *end) (float64, *rule) {
	uc, why := s.arrayUc(x)
	if battery := x.l.Electrical.BatteryMax; why != nil && battery > uc {
		s.t.Noted(qUmax, battery, "that the battery can drive back")
		return s.t.Set(qUcGiven, battery), &byBatteryBack
	}
	return uc, why
}

// arrayUc returns the lowest U_CPV by the array alone; no rule where no voltage is known.
func (s *scheduler) arrayUc(x *end) (float64, *rule) {
	el := &x.l.Electrical
	switch {
	case el.OpenCircuit > 0:
		u, why := s.coldestDay(el)
		if !coefficientKnown(el) {
			s.note(noteArrayNotKnown)
		} else if text := ArrayExceeds(x.l); text != "" {
			s.note(text)
		}
		return s.t.Set(qUcPV, tidy(u)), why
	case el.EquipmentMaxInput > 0:
		s.t.Given(qUin, el.EquipmentMaxInput)
		return s.t.Set(qUcIn, el.EquipmentMaxInput), &byInput
	case el.MaxOperating > 0:
		s.t.Given(qUmax, el.MaxOperating)
		return s.t.Set(qUcGiven, el.MaxOperating), &byGivenUc
	}
	s.note(noteNoArray)
	return 0, nil
}

// ArrayExceeds says that an array exceeds the input of its equipment, by the voltage computed for the lowest temperature; empty where it
// does not, or where coefficient or temperature is not known.
func ArrayExceeds(l *risk.Line) string {
	el := &l.Electrical
	if l.Service == risk.Telecom || el.Current != risk.DC || el.Origin != risk.Photovoltaic || !coefficientKnown(el) ||
		el.EquipmentMaxInput <= 0 {
		return ""
	}
	u := openCircuitMax(el)
	if u <= el.EquipmentMaxInput {
		return ""
	}
	return "Contradiction: on the coldest day the array, at " + amount(u, "V") + ", exceeds the highest input voltage of the equipment, " +
		amount(el.EquipmentMaxInput, "V") + "; put fewer modules in series."
}

func coefficientKnown(el *risk.Electrical) bool {
	return el.TemperatureCoefficient != 0 && el.LowestTemperature != nil
}

// openCircuitMax is U_OC,MAX, the open-circuit voltage of an array on the coldest day [V].
func openCircuitMax(el *risk.Electrical) float64 {
	if !coefficientKnown(el) {
		return 1.2 * el.OpenCircuit
	}
	return max(el.OpenCircuit, el.OpenCircuit*(1+el.TemperatureCoefficient*(*el.LowestTemperature-25)))
}

// coldestDay records U_OC,MAX.
func (s *scheduler) coldestDay(el *risk.Electrical) (float64, *rule) {
	t := s.t
	t.Given(qUoc, el.OpenCircuit)
	if !coefficientKnown(el) {
		return t.Set(qUpvK, openCircuitMax(el)), &byPVFactor
	}
	t.Given(qAlpha, el.TemperatureCoefficient)
	t.Given(qTmin, *el.LowestTemperature)
	return t.Set(qUpvT, openCircuitMax(el)), &byPVCold
}

// batteryUc returns the lowest U_C of a battery or load circuit; a load rises to the charging voltage too.
func (s *scheduler) batteryUc(x *end) (float64, *rule) {
	el := &x.l.Electrical
	t := s.t
	if el.MaxOperating > 0 {
		t.Given(qUmax, el.MaxOperating)
		U := t.Set(qUchM, el.MaxOperating)
		return t.Set(qUcBat, tidy(1.1*U)), &byCharging
	}
	for row := range batteryUc.Rows {
		if t.Value(batteryUc, row, 0) == el.Nominal {
			return t.Pick(qUc, batteryUc, row, 2), &byBattery
		}
	}
	switch {
	case el.EquipmentMaxInput > 0:
		t.Given(qUin, el.EquipmentMaxInput)
		return t.Set(qUcIn, el.EquipmentMaxInput), &byInput
	case el.Nominal > 0:
		U0 := t.Given(qU0, el.Nominal)
		U := t.Set(qUchN, 62.0/48*U0)
		return t.Set(qUcBat, tidy(1.1*U)), &byCharging
	}
	if el.Origin == risk.Battery {
		s.note(noteNoBattery)
	} else {
		s.note(noteNoLoad)
	}
	return 0, nil
}
