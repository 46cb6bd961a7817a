package wire

import "levinward/risk"

// Electrical says what is connected through a line.
type Electrical struct {
	Current         *Current                     `json:"current,omitempty"`
	System          *EarthingSystem              `json:"system,omitempty"`
	Nominal         *float64                     `json:"nominal_v,omitempty" lim:"(0,1500]"`
	MaxOperating    *float64                     `json:"max_operating_v,omitempty" lim:"(0,2000]"`
	Phases          *float64                     `json:"phases,omitempty" lim:"[1,3]" integer:"true"`
	Neutral         *bool                        `json:"neutral,omitempty"`
	SourceConnected *bool                        `json:"source_connected,omitempty"`
	ShortCircuit    *float64                     `json:"short_circuit_ka,omitempty" lim:"(0,200]"`
	Source          *risk.SupplySource           `json:"source,omitempty"`
	SourcePhases    *float64                     `json:"source_phases,omitempty" lim:"[1,3]" integer:"true"`
	AlsoFedBy       *[]OtherSupply               `json:"also_fed_by,omitempty" items:"[0,4]"`
	Changeover      *Stated[risk.Changeover]     `json:"changeover,omitempty"`
	NeutralBond     *risk.NeutralBond            `json:"neutral_earth_bond,omitempty"`
	Residual        *Stated[risk.ResidualDevice] `json:"residual_current_device,omitempty"`
	ConnectionType  *Stated[risk.ConnectionType] `json:"connection_type,omitempty"`
	Waveform        *Waveform                    `json:"waveform,omitempty"`
	Variation       *Variation                   `json:"voltage_variation,omitempty"`

	Origin                 *DCOrigin                `json:"origin,omitempty"`
	OpenCircuit            *float64                 `json:"open_circuit_v,omitempty" lim:"(0,1500]"`
	TemperatureCoefficient *float64                 `json:"temperature_coefficient_per_k,omitempty" lim:"[-0.02,0]"`
	LowestTemperature      *float64                 `json:"lowest_temperature_c,omitempty" lim:"[-90,40]"`
	ShortCircuitSTC        *float64                 `json:"short_circuit_a,omitempty" lim:"(0,100000]"`
	EquipmentMaxInput      *float64                 `json:"equipment_max_input_v,omitempty" lim:"(0,2000]"`
	Building               *Building                `json:"building,omitempty"`
	ArrayPlace             *Stated[risk.ArrayPlace] `json:"array_place,omitempty"`
	SeparationKept         *bool                    `json:"separation_distance_kept,omitempty"`
	Strings                *float64                 `json:"strings,omitempty" lim:"[1,1000]" integer:"true"`
	CombinerBoxes          *float64                 `json:"combiner_boxes,omitempty" lim:"[0,1000]" integer:"true"`
	BatteryCanFeed         *bool                    `json:"battery_can_feed,omitempty"`
	BatteryMax             *float64                 `json:"battery_max_v,omitempty" lim:"(0,2000]"`
	BatteryShortCircuit    *float64                 `json:"battery_short_circuit_ka,omitempty" lim:"(0,200]"`

	Cable *Stated[risk.Cable] `json:"cable,omitempty"`
	Pairs *float64            `json:"pairs,omitempty" lim:"[1,10000]" integer:"true"`

	Equipment         *Equipment `json:"equipment,omitempty"`
	EquipmentDistance *float64   `json:"equipment_distance_m,omitempty" lim:"[0,10000]"`
	LeadLength        *float64   `json:"lead_length_m,omitempty" lim:"[0,100]"`
	SecondDevice      *bool      `json:"second_device,omitempty"`
	Wiring            *Shielding `json:"equipment_wiring,omitempty"`
}

// OtherSupply is a source that feeds an a.c. line at other times.
type OtherSupply struct {
	Source       *risk.SupplySource `json:"source,omitempty"`
	System       *EarthingSystem    `json:"system,omitempty"`
	SourcePhases *float64           `json:"source_phases,omitempty" lim:"[1,3]" integer:"true"`
	MaxOperating *float64           `json:"max_operating_v,omitempty" lim:"(0,2000]"`
	ShortCircuit *float64           `json:"short_circuit_ka,omitempty" lim:"(0,200]"`
}

// power lists the fields that only a power line has.
func (e *Electrical) power() []field {
	fields := append([]field{{"current", e.Current != nil}, {"nominal_v", e.Nominal != nil}, {"source_connected", e.SourceConnected != nil},
		{"short_circuit_ka", e.ShortCircuit != nil}, {"equipment", e.Equipment != nil}}, e.acOnly()...)
	return append(fields, e.dcOnly()...)
}

// acOnly lists the fields that only an a.c. line has.
func (e *Electrical) acOnly() []field {
	return []field{{"system", e.System != nil}, {"phases", e.Phases != nil}, {"neutral", e.Neutral != nil}, {"source", e.Source != nil},
		{"source_phases", e.SourcePhases != nil}, {"also_fed_by", e.AlsoFedBy != nil}, {"changeover", e.Changeover != nil},
		{"neutral_earth_bond", e.NeutralBond != nil}, {"residual_current_device", e.Residual != nil},
		{"connection_type", e.ConnectionType != nil}, {"waveform", e.Waveform != nil}, {"voltage_variation", e.Variation != nil}}
}

// dcOnly lists the fields that only a d.c. line has.
func (e *Electrical) dcOnly() []field {
	return append(e.arrayOnly(), field{"origin", e.Origin != nil}, field{"equipment_max_input_v", e.EquipmentMaxInput != nil})
}

// arrayOnly lists the fields that only a photovoltaic line has.
func (e *Electrical) arrayOnly() []field {
	return []field{{"open_circuit_v", e.OpenCircuit != nil}, {"temperature_coefficient_per_k", e.TemperatureCoefficient != nil},
		{"lowest_temperature_c", e.LowestTemperature != nil}, {"short_circuit_a", e.ShortCircuitSTC != nil}, {"building", e.Building != nil},
		{"array_place", e.ArrayPlace != nil}, {"separation_distance_kept", e.SeparationKept != nil}, {"strings", e.Strings != nil},
		{"combiner_boxes", e.CombinerBoxes != nil}, {"battery_can_feed", e.BatteryCanFeed != nil}, {"battery_max_v", e.BatteryMax != nil},
		{"battery_short_circuit_ka", e.BatteryShortCircuit != nil}}
}

// telecomOnly lists the fields that only a telecommunication line has.
func (e *Electrical) telecomOnly() []field {
	return []field{{"cable", e.Cable != nil}, {"pairs", e.Pairs != nil}}
}

// field is a field of the electrical data, and whether it is given.
type field struct {
	name  string
	given bool
}

func isGiven(f field) bool { return f.given }

// refuse reports fields that are given but mean nothing here.
func (b *builder) refuse(at []any, reason string, fields []field) {
	for _, f := range fields {
		if f.given {
			b.fault(risk.RuleNotApplicable, pointer(append(at[:len(at):len(at)], f.name)...), reason)
		}
	}
}
