package wire

import "levinward/risk"

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
	if e.Current == nil && e.direct() {
		c.Current = risk.DC
		b.assume(defaultDirectCurrent, where, at...)
	} else {
		c.Current = or(b, e.Current, defaultCurrent, risk.AC, where, at...)
	}
	c.SourceConnected = or(b, e.SourceConnected, defaultSourceConnected, true, where, at...)
	c.ShortCircuit = or(b, e.ShortCircuit, defaultShortCircuit, 0, where, at...)
	c.MaxOperating = value(e.MaxOperating)
	c.EquipmentDistance = or(b, e.EquipmentDistance, defaultEquipmentDistance, 0, where, at...)
	c.LeadLength = or(b, e.LeadLength, defaultLeadLength, 0, where, at...)
	if c.Current == risk.AC {
		b.alternating(c, e, where, at)
	} else {
		b.directCurrent(c, e, where, at)
	}
	if c.MaxOperating > 0 && c.MaxOperating < c.Nominal {
		b.fault(risk.RuleContradiction, pointer(append(at[:len(at):len(at)], "max_operating_v")...), "is below nominal_v, "+format(c.Nominal))
	}
}

// telecom takes what counts on a telecommunication line: its highest voltage and how a device is installed.
func (b *builder) telecom(c *risk.Electrical, e *Electrical, where Where, at []any) {
	c.MaxOperating = value(e.MaxOperating)
	c.EquipmentDistance = or(b, e.EquipmentDistance, defaultEquipmentDistance, 0, where, at...)
	c.LeadLength = or(b, e.LeadLength, defaultLeadLength, 0, where, at...)
	b.refuse(at, "is of power lines only; a telecommunication line has max_operating_v, equipment_distance_m and lead_length_m",
		field{"current", e.Current != nil}, field{"system", e.System != nil}, field{"nominal_v", e.Nominal != nil}, field{"phases", e.Phases != nil},
		field{"neutral", e.Neutral != nil}, field{"source_connected", e.SourceConnected != nil}, field{"short_circuit_ka", e.ShortCircuit != nil},
		field{"origin", e.Origin != nil}, field{"open_circuit_v", e.OpenCircuit != nil}, field{"temperature_coefficient_per_k", e.TemperatureCoefficient != nil},
		field{"lowest_temperature_c", e.LowestTemperature != nil}, field{"short_circuit_a", e.ShortCircuitSTC != nil},
		field{"equipment_max_input_v", e.EquipmentMaxInput != nil}, field{"equipment", e.Equipment != nil}, field{"building", e.Building != nil})
}

// direct reports that data of a direct current line are given.
func (e *Electrical) direct() bool {
	return e.Origin != nil || e.OpenCircuit != nil || e.TemperatureCoefficient != nil || e.LowestTemperature != nil ||
		e.ShortCircuitSTC != nil || e.EquipmentMaxInput != nil || e.Building != nil
}

func (b *builder) alternating(c *risk.Electrical, e *Electrical, where Where, at []any) {
	c.System = or(b, e.System, defaultSystem, risk.TT, where, at...)
	c.Nominal = or(b, e.Nominal, defaultNominal, 230, where, at...)
	c.Phases = int(or(b, e.Phases, defaultPhases, 1, where, at...))
	if c.Phases == 2 {
		b.fault(risk.RuleOutOfRange, pointer(append(at[:len(at):len(at)], "phases")...), "must be 1 or 3")
	}
	c.Neutral = or(b, e.Neutral, defaultNeutral, true, where, at...)
	if e.Equipment != nil {
		c.Equipment = *e.Equipment
	}
	b.refuse(at, "is of direct current lines only; give current dc, or leave it out",
		field{"origin", e.Origin != nil}, field{"open_circuit_v", e.OpenCircuit != nil}, field{"temperature_coefficient_per_k", e.TemperatureCoefficient != nil},
		field{"lowest_temperature_c", e.LowestTemperature != nil}, field{"short_circuit_a", e.ShortCircuitSTC != nil},
		field{"equipment_max_input_v", e.EquipmentMaxInput != nil}, field{"building", e.Building != nil})
}

func (b *builder) directCurrent(c *risk.Electrical, e *Electrical, where Where, at []any) {
	b.refuse(at, "is of alternating current lines only; give current ac, or leave it out",
		field{"system", e.System != nil}, field{"phases", e.Phases != nil}, field{"neutral", e.Neutral != nil})
	switch {
	case e.Origin != nil:
		c.Origin = *e.Origin
	case e.OpenCircuit != nil || e.TemperatureCoefficient != nil || e.ShortCircuitSTC != nil || e.Building != nil:
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
		b.refuse(at, "is of photovoltaic lines only",
			field{"open_circuit_v", e.OpenCircuit != nil}, field{"temperature_coefficient_per_k", e.TemperatureCoefficient != nil},
			field{"lowest_temperature_c", e.LowestTemperature != nil}, field{"short_circuit_a", e.ShortCircuitSTC != nil}, field{"building", e.Building != nil})
		return
	}
	c.TemperatureCoefficient = value(e.TemperatureCoefficient)
	c.LowestTemperature = e.LowestTemperature
	if c.TemperatureCoefficient == 0 || c.LowestTemperature == nil {
		b.assume(defaultColdVoltage, where, at...)
	}
	c.Building = or(b, e.Building, defaultBuilding, risk.DwellingBuilding, where, at...)
}

// field is a field of the electrical data, and whether it is given.
type field struct {
	name  string
	given bool
}

// refuse reports fields that are given but mean nothing here.
func (b *builder) refuse(at []any, reason string, fields ...field) {
	for _, f := range fields {
		if f.given {
			b.fault(risk.RuleNotApplicable, pointer(append(at[:len(at):len(at)], f.name)...), reason)
		}
	}
}
