package wire

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// Where is the place a default was taken, as indices into the input; -1 where
// it has none. Entry is that of a section in its line or of a system in its zone.
type Where struct{ Structure, Zone, Line, Entry int }

// Default is what an absent field is taken as, and why.
type Default struct {
	Field, Value, Reason string
	// Clause is empty where the edition of the standard rules on the field: ClauseBy asks it.
	Clause string
	// Mark says how far the default itself can be trusted; left out, it is common practice.
	Mark trace.Provenance
	// Plausible values that the site may have instead. Whoever computes can
	// tell which of them would change the outcome.
	Plausible []Plausible
	// Decides says what depends on the value although no risk does; empty for most.
	Decides risk.Alternative
}

// ClauseBy is where the default comes from when a site is computed by an edition.
func (d *Default) ClauseBy(ed risk.Edition) string {
	if d.Clause != "" {
		return d.Clause
	}
	if clause := ed.Clause(d.Field); clause != "" {
		return clause
	}
	return ours
}

// Provenance is the mark of the default. What a site is like is not given by any standard: most are common practice.
func (d *Default) Provenance() trace.Provenance {
	if d.Mark == trace.Given {
		return trace.CommonPractice
	}
	return d.Mark
}

// Plausible is another value of a field, and how to put it into an input.
type Plausible struct {
	Value string
	Set   func(in *risk.Input, at Where)
}

// Assumed is a default that was taken at some place.
type Assumed struct {
	*Default
	Where Where
	base  []any
}

// Pointer is the place in the input where the value would stand.
func (a *Assumed) Pointer() string {
	return pointer(append(a.base[:len(a.base):len(a.base)], a.Field)...)
}

const (
	ours     = "levinward default, common practice, no published source"
	unproved = "not given: nothing that is not proved to be there is counted"

	// Rates for the formula of Annex D come from elsewhere.
	handbookRate = "not given: 5 % a year, as in a worked example of a trade handbook"
	handbook     = "worked example of a trade handbook, for the formula of IEC 62305-2:2010 Annex D"
)

func ofStructure(set func(*risk.Structure)) func(*risk.Input, Where) {
	return func(in *risk.Input, at Where) { set(&in.Structures[at.Structure]) }
}

func ofZone(set func(*risk.Zone)) func(*risk.Input, Where) {
	return func(in *risk.Input, at Where) { set(&in.Structures[at.Structure].Zones[at.Zone]) }
}

func ofLine(set func(*risk.Line)) func(*risk.Input, Where) {
	return func(in *risk.Input, at Where) { set(&in.Lines[at.Line]) }
}

// ofSection sets the section that the place names, or every section of its line.
func ofSection(set func(*risk.Section)) func(*risk.Input, Where) {
	return func(in *risk.Input, at Where) {
		sections := in.Lines[at.Line].Sections
		for s := range sections {
			if at.Entry < 0 || at.Entry == s {
				set(&sections[s])
			}
		}
	}
}

// environments sets the environment of every section that takes that of the site.
func environments(takes func(l *risk.Line, section int) bool, values ...risk.Environment) []Plausible {
	var p []Plausible
	for _, v := range values {
		p = append(p, Plausible{v.String(), func(in *risk.Input, _ Where) {
			for l := range in.Lines {
				for s := range in.Lines[l].Sections {
					if takes(&in.Lines[l], s) {
						in.Lines[l].Sections[s].Environment = v
					}
				}
			}
		}})
	}
	return p
}

func everySection(*risk.Line, int) bool { return true }

func zoneValues[E interface{ String() string }](field func(*risk.Zone) *E, values ...E) []Plausible {
	var p []Plausible
	for _, v := range values {
		p = append(p, Plausible{v.String(), ofZone(func(z *risk.Zone) { *field(z) = v })})
	}
	return p
}

func structureValues[E interface{ String() string }](field func(*risk.Structure) *E, values ...E) []Plausible {
	var p []Plausible
	for _, v := range values {
		p = append(p, Plausible{v.String(), ofStructure(func(s *risk.Structure) { *field(s) = v })})
	}
	return p
}

// The defaults of the site.
var (
	defaultEdition     = &Default{Field: "edition", Value: "iec-62305-2:2010", Reason: "not given: the only edition implemented"}
	defaultEnvironment = &Default{Field: "environment", Value: "rural", Reason: "not given: the environment with the most line events",
		Plausible: environments(everySection, risk.Suburban, risk.Urban)}
	defaultSoil         = &Default{Field: "soil_resistivity_ohm_m", Value: "not known", Reason: "not given: the earth connection is to be proved first", Clause: "IEC 62305-3; " + ours}
	defaultRelation     = &Default{Field: "relation", Value: "the relation with the higher result", Reason: "not given: linear 0.1 T_D up to 39 days, power 0.04 T_D^1.25 above"}
	defaultCosts        = &Default{Field: "measure_costs", Value: "relative costs", Reason: "not given: a set of bonding SPDs LPL III-IV on one line costs 1, the other measures in proportion", Clause: ours}
	defaultWiringPrices = &Default{Field: "wiring", Value: "no candidate", Reason: "not given: routing or shielding of internal wiring has no price and is not recommended", Clause: ours}
	defaultInterest     = &Default{Field: "interest_per_year", Mark: trace.SecondarySource, Value: "0.05", Reason: handbookRate, Clause: handbook}
	defaultAmortization = &Default{Field: "amortization_per_year", Mark: trace.SecondarySource, Value: "0.05", Reason: handbookRate, Clause: handbook}
	defaultMaintenance  = &Default{Field: "maintenance_per_year", Mark: trace.SecondarySource, Value: "0.05", Reason: handbookRate, Clause: handbook}
)

// The defaults of a structure.
var (
	defaultSurroundings = &Default{Field: "surroundings", Value: "isolated", Reason: "not given: nothing nearby is counted on to take the flashes",
		Plausible: structureValues(func(s *risk.Structure) *risk.Surroundings { return &s.Surroundings }, risk.SimilarObjects, risk.Hilltop)}
	defaultOccupancy = &Default{Field: "occupancy", Value: "L_F 1e-1", Reason: "not given: the highest typical mean loss without risk of explosion",
		Plausible: structureValues(func(s *risk.Structure) *risk.Occupancy { return &s.Occupancy }, risk.Commercial, risk.OtherOccupancy)}
	defaultLPS           = &Default{Field: "lps", Value: "none", Reason: unproved}
	defaultNaturalLPS    = &Default{Field: "natural_lps", Value: "false", Reason: unproved}
	defaultOuterScreen   = &Default{Field: "screen_mesh_m", Value: "no screen", Reason: unproved}
	defaultEndangersLife = &Default{Field: "failure_endangers_life", Value: "false", Reason: "not given, and the structure is not stated to be a hospital",
		Plausible: []Plausible{{"true", ofStructure(func(s *risk.Structure) { s.FailureEndangersLife = true })}}}
	defaultHospitalLife = &Default{Field: "failure_endangers_life", Mark: trace.SecondarySource, Value: "true", Reason: "not given: in a hospital failure of internal systems endangers life",
		Plausible: []Plausible{{"false", ofStructure(func(s *risk.Structure) { s.FailureEndangersLife = false })}}}
	defaultClinicLife = &Default{Field: "failure_endangers_life", Value: "false", Reason: "not given: without operating theatre and intensive care failure of internal systems is not taken to endanger life at once",
		Plausible: []Plausible{{"true", ofStructure(func(s *risk.Structure) { s.FailureEndangersLife = true })}}}
	defaultExplosion     = &Default{Field: "explosion_zone", Value: "none", Reason: "not given: explosive atmospheres are to be stated by whoever knows the site"}
	defaultPublicSupply  = &Default{Field: "public_service", Value: "none", Reason: "not given: the structure is not stated to serve the public with power, gas, water or telecommunication"}
	defaultHeritage      = &Default{Field: "cultural_heritage", Value: "false", Reason: "not given"}
	defaultPersons       = &Default{Field: "persons", Value: "everyone in every zone", Reason: "not given: each zone is taken to hold everyone"}
	defaultPersonsFewest = &Default{Field: "persons", Value: "the fewest that the zones allow", Reason: "not given: the same people are taken to be in several zones at different hours",
		Plausible: []Plausible{{"the persons of the zones together", ofStructure(func(s *risk.Structure) {
			s.Persons = 0
			for z := range s.Zones {
				s.Persons += s.Zones[z].Persons
			}
		})}}}
	defaultEarthing = &Default{Field: "earthing", Value: "unknown", Reason: "not given: the earth connection is to be proved first", Clause: "IEC 62305-3; " + ours}
	defaultZones    = &Default{Field: "zones", Value: "one inside zone that holds everyone all year", Reason: "not given"}
)

// The defaults of a zone.
var (
	defaultZonePersons = &Default{Field: "persons", Value: "everyone", Reason: "not given: the zone is taken to hold everyone"}
	defaultHours       = &Default{Field: "hours_per_year", Value: "8760", Reason: "not given: somebody is there all year",
		Plausible: []Plausible{{"2920", ofZone(func(z *risk.Zone) { z.Hours = 2920 })}}}
	defaultInsideSurface = &Default{Field: "surface", Value: "concrete", Reason: "not given: the floor that reduces shock least",
		Plausible: zoneValues(func(z *risk.Zone) *risk.Surface { return &z.Surface }, risk.Ceramic, risk.Linoleum)}
	defaultOutsideSurface = &Default{Field: "surface", Value: "agricultural", Reason: "not given: the soil that reduces shock least",
		Plausible: zoneValues(func(z *risk.Zone) *risk.Surface { return &z.Surface }, risk.Gravel, risk.Asphalt)}
	defaultStructureShock = &Default{Field: "structure_shock_measures", Value: "none", Reason: unproved}
	defaultLineShock      = &Default{Field: "line_shock_measures", Value: "none", Reason: unproved}
	defaultFireRisk       = &Default{Field: "fire_risk", Value: "ordinary", Reason: "not given: fire load 400 to 800 MJ/m2; a combustible structure or roof is high",
		Plausible: zoneValues(func(z *risk.Zone) *risk.FireRisk { return &z.FireRisk }, risk.LowFireRisk, risk.HighFireRisk)}
	defaultFireProtection = &Default{Field: "fire_protection", Value: "none", Reason: unproved,
		Plausible: zoneValues(func(z *risk.Zone) *risk.FireProtection { return &z.FireProtection }, risk.ManualFireProtection, risk.AutomaticFireProtection)}
	defaultSpecialHazard = &Default{Field: "special_hazard", Value: "none", Reason: "not given: no panic and no difficult evacuation stated",
		Plausible: zoneValues(func(z *risk.Zone) *risk.SpecialHazard { return &z.SpecialHazard }, risk.LowPanic, risk.AveragePanic, risk.DifficultEvacuation)}
	defaultInnerScreen = &Default{Field: "screen_mesh_m", Value: "no screen", Reason: unproved}
	defaultSystems     = &Default{Field: "systems", Value: "every line of the structure, unrouted", Reason: "not given: each line feeds equipment in the zone through a loop of about 50 m2",
		Plausible: []Plausible{{"loops avoided", setWiring(risk.LoopsAvoided)}}}
	defaultWiring = &Default{Field: "wiring", Value: "unrouted", Reason: "not given: loop of about 50 m2",
		Plausible: []Plausible{{"loops_avoided", setWiring(risk.LoopsAvoided)}}}
)

// setWiring sets the wiring of the system that the place names, or of every system of its zone.
func setWiring(w risk.Wiring) func(*risk.Input, Where) {
	return func(in *risk.Input, at Where) {
		systems := in.Structures[at.Structure].Zones[at.Zone].Systems
		for i := range systems {
			if at.Entry < 0 || at.Entry == i {
				systems[i].Wiring = w
			}
		}
	}
}

func defaultSurface(p risk.Place) *Default {
	if p == risk.Outside {
		return defaultOutsideSurface
	}
	return defaultInsideSurface
}

// The defaults of a line.
var (
	defaultLines = &Default{Field: "lines", Value: "one aerial low-voltage supply line of 1000 m", Reason: "not given: a building that wants electricity has a line; give an empty list where there is none", Clause: ours,
		Plausible: []Plausible{{"no line", func(in *risk.Input, _ Where) {
			in.Lines = nil
			for s := range in.Structures {
				for z := range in.Structures[s].Zones {
					in.Structures[s].Zones[z].Systems = nil
				}
			}
		}}}}
	defaultService      = &Default{Field: "service", Value: "low_voltage", Reason: "not given"}
	defaultInstallation = &Default{Field: "installation", Value: "aerial", Reason: "not given: an aerial line takes the most flashes",
		Plausible: []Plausible{{"buried", ofSection(func(s *risk.Section) { s.Installation = risk.Buried })}}}
	defaultLength = &Default{Field: "length_m", Mark: trace.SecondarySource, Value: "1000", Reason: "not given: the length the standard takes where it is not known",
		Plausible: []Plausible{{"100", ofSection(func(s *risk.Section) { s.Length = 100 })}, {"300", ofSection(func(s *risk.Section) { s.Length = 300 })}}}
	defaultShield           = &Default{Field: "shield", Value: "none", Reason: unproved}
	defaultShieldBonded     = &Default{Field: "bonded", Value: "false", Reason: unproved}
	defaultShieldResistance = &Default{Field: "resistance_ohm_per_km", Mark: trace.Memory, Value: "as unshielded", Reason: "not given: the row of Table B.8 with the highest probability"}
	defaultWithstand        = &Default{Field: "withstand_kv", Value: "by the kind of line and its voltage", Reason: "not given", Clause: "IEC 60664-1 Table F.1; IEC 60364-7-712",
		Plausible: []Plausible{{"1.5", ofLine(func(l *risk.Line) { l.Withstand = 1.5 })}, {"4", ofLine(func(l *risk.Line) { l.Withstand = 4 })}}}
	defaultBonding     = &Default{Field: "bonding_spd", Value: "none", Reason: unproved}
	defaultCoordinated = &Default{Field: "coordinated_spd", Value: "none", Reason: unproved}
)

// The defaults of what is connected through a line.
var (
	defaultElectrical = &Default{Field: "electrical", Value: "a.c., 230 V, one phase with neutral, TT, source connected", Reason: "not given: the usual rural supply", Clause: ours,
		Decides: risk.Alternative{Value: "direct current, a data line or another voltage", Outcome: "another device; one for 230 V a.c. cannot interrupt direct current"}}
	defaultCurrent           = &Default{Field: "current", Value: "ac", Reason: "not given", Clause: ours}
	defaultDirectCurrent     = &Default{Field: "current", Value: "dc", Reason: "not given, but data of a direct current line are", Clause: ours}
	defaultSourceConnected   = &Default{Field: "source_connected", Value: "true", Reason: "not given: a source is taken to be connected", Clause: ours}
	defaultShortCircuit      = &Default{Field: "short_circuit_ka", Value: "not known", Reason: "not given: the device and its backup protection are to be checked against the short-circuit current on site", Clause: "IEC 60364-5-53 534"}
	defaultEquipmentDistance = &Default{Field: "equipment_distance_m", Mark: trace.SecondarySource, Value: "up to 10", Reason: "not given: equipment beyond 10 m of cable needs a second device; measure it", Clause: "IEC 60364-5-53 534"}
	defaultLeadLength        = &Default{Field: "lead_length_m", Mark: trace.SecondarySource, Value: "0.5", Reason: "not given: the length the leads are to keep", Clause: "IEC 60364-5-53 534"}
	defaultSystem            = &Default{Field: "system", Value: "TT", Reason: "not given: the usual rural system", Clause: ours}
	defaultNominal           = &Default{Field: "nominal_v", Value: "230", Reason: "not given, line to neutral", Clause: ours}
	defaultPhases            = &Default{Field: "phases", Value: "1", Reason: "not given", Clause: ours}
	defaultNeutral           = &Default{Field: "neutral", Value: "true", Reason: "not given", Clause: ours}
	defaultOriginPV          = &Default{Field: "origin", Value: "photovoltaic", Reason: "not given, but data of a photovoltaic array are", Clause: ours}
	defaultOriginLoad        = &Default{Field: "origin", Value: "load", Reason: "not given", Clause: ours}
	defaultEquipment         = &Default{Field: "equipment", Value: "other", Reason: "not given: withstand as of equipment that is neither module nor grid inverter", Clause: "IEC 60364-7-712"}
	defaultColdVoltage       = &Default{Field: "temperature_coefficient_per_k", Mark: trace.SecondarySource, Value: "U_OC,MAX = 1.2 U_OC,STC", Reason: "temperature coefficient or lowest temperature not given", Clause: "IEC 60364-7-712"}
	defaultBuilding          = &Default{Field: "building", Value: "dwelling", Reason: "not given: the kind with the shortest critical length", Clause: "IEC 60364-7-712"}
	defaultExplosiveEnd      = &Default{Field: "end_in_explosive_zone", Value: "true", Reason: "not given: the structure has an explosive atmosphere", Clause: ours,
		Plausible: []Plausible{{"false", ofLine(func(l *risk.Line) { l.OutsideZone = true })}}}
	defaultChangeover = &Default{Field: "changeover", Value: "unknown", Reason: "not given: each side of it counts as without a device", Clause: ours,
		Plausible: []Plausible{{"before_spd", ofLine(func(l *risk.Line) { l.Electrical.Changeover = risk.ChangeoverBefore })}}}
	defaultArrayPlace = &Default{Field: "array_place", Mark: trace.Memory, Value: "not known", Reason: "not given: the larger current of both places counts",
		Clause: "IEC 61643-32", Plausible: []Plausible{
			{"on_building", ofLine(func(l *risk.Line) { l.Electrical.ArrayPlace = risk.ArrayOnBuilding })},
			{"elsewhere", ofLine(func(l *risk.Line) { l.Electrical.ArrayPlace = risk.ArrayElsewhere })}}}
	defaultSeparationKept = &Default{Field: "separation_distance_kept", Mark: trace.SecondarySource, Value: "false", Reason: unproved, Clause: "IEC 62305-3 6.3",
		Plausible: []Plausible{{"true", ofLine(func(l *risk.Line) { l.Electrical.SeparationKept = true })}}}
)

// DefaultsBy lists every default, with the clauses of an edition.
func DefaultsBy(ed risk.Edition) []DefaultDefinition {
	all := []*Default{
		defaultEdition,
		defaultEnvironment,
		defaultSoil,
		defaultRelation,
		defaultCosts,
		defaultWiringPrices,
		defaultInterest,
		defaultAmortization,
		defaultMaintenance,
		defaultSurroundings,
		defaultOccupancy,
		defaultLPS,
		defaultNaturalLPS,
		defaultOuterScreen,
		defaultEndangersLife,
		defaultHospitalLife,
		defaultClinicLife,
		defaultExplosion,
		defaultPublicSupply,
		defaultHeritage,
		defaultPersons,
		defaultPersonsFewest,
		defaultEarthing,
		defaultZones,
		defaultZonePersons,
		defaultHours,
		defaultInsideSurface,
		defaultOutsideSurface,
		defaultStructureShock,
		defaultLineShock,
		defaultFireRisk,
		defaultFireProtection,
		defaultSpecialHazard,
		defaultInnerScreen,
		defaultSystems,
		defaultWiring,
		defaultLines,
		defaultService,
		defaultInstallation,
		defaultLength,
		defaultShield,
		defaultShieldBonded,
		defaultShieldResistance,
		defaultWithstand,
		defaultBonding,
		defaultCoordinated,
		defaultElectrical,
		defaultCurrent,
		defaultDirectCurrent,
		defaultSourceConnected,
		defaultShortCircuit,
		defaultEquipmentDistance,
		defaultLeadLength,
		defaultSystem,
		defaultNominal,
		defaultPhases,
		defaultNeutral,
		defaultOriginPV,
		defaultOriginLoad,
		defaultEquipment,
		defaultColdVoltage,
		defaultBuilding,
		defaultExplosiveEnd,
		defaultChangeover,
		defaultArrayPlace,
		defaultSeparationKept,
	}
	list := make([]DefaultDefinition, len(all))
	for i, d := range all {
		list[i] = DefaultDefinition{d.Field, d.Value, d.Reason, d.ClauseBy(ed), d.Provenance().String()}
	}
	return list
}
