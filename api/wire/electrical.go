package wire

import (
	"slices"

	"levinward/risk"
)

// electrical takes what is connected through a line.
func (b *builder) electrical(l *risk.Line, w *Line, i int, where Where, at []any) {
	if w.Electrical == nil {
		l.Electrical = risk.Electrical{Nominal: 230, Phases: 1, Neutral: true, SourceConnected: true, NotStated: l.Service != risk.Telecom}
		if l.Service != risk.Telecom {
			b.assume(defaultElectrical, where, at...)
		}
		return
	}
	e, at := w.Electrical, []any{"lines", i, "electrical"}
	if l.Service == risk.Telecom {
		b.telecom(&l.Electrical, e, where, at)
		return
	}
	c := &l.Electrical
	b.refuse(at, "is of telecommunication lines only; give service telecom, or leave it out", e.telecomOnly())
	if e.Current == nil && slices.ContainsFunc(e.dcOnly(), isGiven) {
		c.Current = risk.DC
		b.assume(defaultDirectCurrent, where, at...)
	} else {
		c.Current = or(b, e.Current, defaultCurrent, risk.AC, where, at...)
	}
	c.SourceConnected = or(b, e.SourceConnected, defaultSourceConnected, true, where, at...)
	c.ShortCircuit = or(b, e.ShortCircuit, defaultShortCircuit, 0, where, at...)
	b.equipment(c, e, where, at)
	if c.Current == risk.AC {
		b.alternating(c, e, where, at)
	} else {
		b.directCurrent(c, e, b.lpsOf(l), where, at)
	}
	b.notBelow(c.MaxOperating, c.Nominal, append(at[:len(at):len(at)], "max_operating_v"))
}

// lpsOf is the structure that a line enters, where it has an LPS; otherwise nil.
func (b *builder) lpsOf(l *risk.Line) *risk.Structure {
	if l.Structure < 0 {
		return nil
	}
	if s := &b.site.Input.Structures[l.Structure]; s.LPS != risk.NoLPS || s.NaturalLPS {
		return s
	}
	return nil
}

// notBelow refuses an operating voltage below the nominal one.
func (b *builder) notBelow(operating, nominal float64, at []any) {
	if operating > 0 && operating < nominal {
		b.fault(risk.RuleContradiction, pointer(at...), "is below nominal_v, "+format(nominal))
	}
}

// equipment takes the equipment at the end of a line of any kind, and how a device is installed before it.
func (b *builder) equipment(c *risk.Electrical, e *Electrical, where Where, at []any) {
	c.MaxOperating = value(e.MaxOperating)
	c.EquipmentDistance = or(b, e.EquipmentDistance, defaultEquipmentDistance, 0, where, at...)
	c.DistanceStated = e.EquipmentDistance != nil
	c.LeadLength = or(b, e.LeadLength, defaultLeadLength, 0, where, at...)
	c.SecondDevice = answer(e.SecondDevice)
	c.ShieldedWiring = named(e.Wiring) == shieldedWires
}

// telecom takes what counts on a telecommunication line.
func (b *builder) telecom(c *risk.Electrical, e *Electrical, where Where, at []any) {
	b.equipment(c, e, where, at)
	c.Cable, c.Pairs = stated(e.Cable), count(e.Pairs)
	b.refuse(at, "is of power lines only; a telecommunication line has max_operating_v, cable, pairs, equipment_distance_m, second_device, "+
		"equipment_wiring and lead_length_m", e.power())
	if c.Cable == risk.CableCoaxial && e.Pairs != nil {
		b.fault(risk.RuleContradiction, pointer(append(at[:len(at):len(at)], "pairs")...), "a coaxial cable has an inner conductor and no pairs")
	}
}

func (b *builder) alternating(c *risk.Electrical, e *Electrical, where Where, at []any) {
	c.System = or(b, e.System, defaultSystem, risk.TT, where, at...)
	c.Nominal = or(b, e.Nominal, defaultNominal, 230, where, at...)
	c.Phases = int(or(b, e.Phases, defaultPhases, 1, where, at...))
	c.Neutral = or(b, e.Neutral, defaultNeutral, true, where, at...)
	c.Equipment = named(e.Equipment)
	c.Source, c.SourcePhases, c.NeutralBond = named(e.Source), count(e.SourcePhases), named(e.NeutralBond)
	c.Residual, c.Connection = stated(e.Residual), stated(e.ConnectionType)
	c.Pulsed, c.WideVariation = named(e.Waveform) == pulsed, named(e.Variation) == wideVariation
	b.otherSupplies(c, e, where, at)
	b.conductors(c, at)
	b.refuse(at, "is of direct current lines only; give current dc, or leave it out", e.dcOnly())
}

// conductors refuses numbers of phases and connection types that the conductors do not allow (IEC 60364-5-53 clause 534).
func (b *builder) conductors(c *risk.Electrical, at []any) {
	contradiction := func(field, reason string) {
		b.fault(risk.RuleContradiction, pointer(append(at[:len(at):len(at)], field)...), reason)
	}
	const threePhases = 3
	if c.Phases == 2 && !c.Neutral {
		contradiction("phases", "2 is split phase, which has a neutral between its wires: give neutral true")
	}
	if c.Phases == threePhases && c.SourcePhases > 0 && c.SourcePhases < c.Phases {
		contradiction("source_phases", "is less than phases, "+format(float64(c.Phases)))
	}
	behind := c.Residual == risk.ResidualBefore || c.Residual == risk.ResidualBeforeDelayed
	switch {
	case c.Connection == risk.WantCT2 && (!c.Neutral || c.System == risk.TNC):
		contradiction("connection_type", "CT2 needs a neutral apart from the protective conductor")
	case c.Connection == risk.WantCT1 && c.System == risk.TT && !behind:
		contradiction("connection_type", "CT1 is allowed in TT only behind a residual-current device: "+
			"give residual_current_device before_spd_type_s, or CT2")
	}
}

// otherSupplies takes the sources that feed the line at other times; what they leave out is as in the line.
func (b *builder) otherSupplies(c *risk.Electrical, e *Electrical, where Where, at []any) {
	c.Changeover = stated(e.Changeover)
	if e.AlsoFedBy == nil || len(*e.AlsoFedBy) == 0 {
		return
	}
	if e.Changeover == nil {
		b.assume(defaultChangeover, where, at...)
	}
	others := make([]risk.OtherSupply, len(*e.AlsoFedBy))
	for i, o := range *e.AlsoFedBy {
		others[i] = risk.OtherSupply{Source: named(o.Source), System: c.System, SourcePhases: count(o.SourcePhases),
			MaxOperating: value(o.MaxOperating), ShortCircuit: value(o.ShortCircuit)}
		if o.System != nil {
			others[i].System = *o.System
		}
		b.notBelow(others[i].MaxOperating, c.Nominal, append(at[:len(at):len(at)], "also_fed_by", i, "max_operating_v"))
	}
	c.AlsoFedBy = &others
}

// directCurrent takes what counts on a d.c. line; the structure has an LPS, or is nil.
func (b *builder) directCurrent(c *risk.Electrical, e *Electrical, lps *risk.Structure, where Where, at []any) {
	b.refuse(at, "is of alternating current lines only; give current ac, or leave it out", e.acOnly())
	temperature := func(f field) bool { return f.name == "lowest_temperature_c" } // alone it does not tell of an array
	switch {
	case e.Origin != nil:
		c.Origin = *e.Origin
	case slices.ContainsFunc(slices.DeleteFunc(e.arrayOnly(), temperature), isGiven):
		c.Origin = risk.Photovoltaic
		b.assume(defaultOriginPV, where, at...)
	default:
		c.Origin = risk.Load
		b.assume(defaultOriginLoad, where, at...)
	}
	c.Nominal = value(e.Nominal)
	c.OpenCircuit, c.ShortCircuitSTC, c.EquipmentMaxInput = value(e.OpenCircuit), value(e.ShortCircuitSTC), value(e.EquipmentMaxInput)
	c.Equipment = or(b, e.Equipment, defaultEquipment, risk.OtherEquipment, where, at...)
	if c.Origin != risk.Photovoltaic {
		b.refuse(at, "is of photovoltaic lines only", e.arrayOnly())
		return
	}
	c.TemperatureCoefficient = value(e.TemperatureCoefficient)
	c.LowestTemperature = e.LowestTemperature
	if c.TemperatureCoefficient == 0 || c.LowestTemperature == nil {
		b.assume(defaultColdVoltage, where, at...)
	}
	c.Building = or(b, e.Building, defaultBuilding, risk.DwellingBuilding, where, at...)
	b.array(c, e, lps, where, at)
}

// array takes the place of an array, its parts, and the battery that may feed back.
func (b *builder) array(c *risk.Electrical, e *Electrical, lps *risk.Structure, where Where, at []any) {
	c.ArrayPlace, c.SeparationKept = stated(e.ArrayPlace), named(e.SeparationKept)
	c.Strings, c.CombinerBoxes = count(e.Strings), count(e.CombinerBoxes)
	c.BatteryCanFeed, c.BatteryMax, c.BatteryShortCircuit = answer(e.BatteryCanFeed), value(e.BatteryMax), value(e.BatteryShortCircuit)
	switch {
	case e.SeparationKept != nil && c.ArrayPlace == risk.ArrayElsewhere:
		b.fault(risk.RuleContradiction, pointer(append(at[:len(at):len(at)], "separation_distance_kept")...),
			"goes with an array on the building, and array_place is elsewhere")
	case lps == nil:
	case e.ArrayPlace == nil:
		b.assume(defaultArrayPlace, where, at...)
	case e.SeparationKept == nil && c.ArrayPlace == risk.ArrayOnBuilding && (lps.Separation.Along == 0 || lps.Separation.Distance == nil):
		b.assume(defaultSeparationKept, where, at...)
	}
	if c.BatteryCanFeed == risk.No {
		for _, f := range []field{{"battery_max_v", e.BatteryMax != nil}, {"battery_short_circuit_ka", e.BatteryShortCircuit != nil}} {
			if f.given {
				b.fault(risk.RuleContradiction, pointer(append(at[:len(at):len(at)], f.name)...),
					"goes with a battery that can feed the line, and battery_can_feed is false")
			}
		}
	}
}
