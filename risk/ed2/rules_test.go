package ed2_test

import (
	"maps"
	"slices"
	"testing"

	"levinward/risk"
	"levinward/risk/ed2"
)

// Worked cases, one rule each, on a site whose events are round numbers. All
// expected values were computed by hand from the clause beside them; the
// factors are those of the annexes, from secondary sources or from memory as
// tables.go marks them.

// workshop is an invented site:
//
//	N_D = 4 x 250 000 m2 x 1 x 1e-6 = 1 a year      (isolated)
//	N_M = 4 x 1 000 000 m2 x 1e-6 = 4
//	N_L = 4 x 40 x 1000 m2 x 1e-6 = 0.16            (low voltage, aerial, rural)
//	N_I = 4 x 4000 x 1000 m2 x 1e-6 = 16
//	r_t = 1e-2 (concrete), r_f = 1e-2 (ordinary), r_p = h_z = f = 1
//	P_C = 1, P_LD = 1, P_LI = 0.3, P_MS = (1/2.5)^2 = 0.16  (U_W 2.5 kV, unrouted)
//	L1: L_T = 1e-2, L_F = 2e-2 (industrial), L_A = 1e-4, L_B = 2e-4
func workshop() *risk.Input {
	return &risk.Input{
		Edition: ed2.ID, FlashDensity: risk.FlashDensity{NG: 4},
		Structures: []risk.Structure{{
			ID: "workshop", Areas: risk.Areas{Given: true, Direct: 250_000, Near: 1_000_000, Parts: 1}, Surroundings: risk.Isolated,
			Occupancy: risk.Industrial, Zones: []risk.Zone{
				{ID: "hall", Hours: 8760, Surface: risk.Concrete, FireRisk: risk.OrdinaryFireRisk, Systems: []risk.System{{Line: 0}}}},
		}, {
			ID: "mill", NotAssessed: true, Areas: risk.Areas{Given: true, Direct: 100_000, Near: 900_000, Parts: 1}, Surroundings: risk.Hilltop,
		}},
		Lines: []risk.Line{{ID: "supply", To: -1, Withstand: 2.5, Sections: []risk.Section{{Length: 1000}}}},
	}
}

// parts are the components of one risk.
type parts struct{ A, B, C, M, U, V, W, Z float64 }

func (p parts) list() [risk.Components]float64 {
	return [risk.Components]float64{
		risk.RA: p.A, risk.RB: p.B, risk.RC: p.C, risk.RM: p.M, risk.RU: p.U, risk.RV: p.V, risk.RW: p.W, risk.RZ: p.Z}
}

// worked is one case: what differs from the workshop, and the components of one risk.
type worked struct {
	change func(in *risk.Input, s *risk.Structure, z *risk.Zone, l *risk.Line)
	loss   risk.Loss
	want   parts
}

func check(t *testing.T, cases map[string]worked) {
	t.Helper()
	for _, name := range slices.Sorted(maps.Keys(cases)) {
		t.Run(name, func(t *testing.T) {
			c, in := cases[name], workshop()
			c.change(in, &in.Structures[0], &in.Structures[0].Zones[0], &in.Lines[0])
			r, sheet := assess(t, in)
			if err := sheet.Check(); err != nil {
				t.Error(err)
			}
			got, total := r.Structures[0].Risks[c.loss], 0.0
			for i, want := range c.want.list() {
				if total += want; !near(got.Components[i], want) {
					t.Errorf("%v of %v is %v, by hand %v", risk.Component(i), c.loss, got.Components[i], want)
				}
			}
			if !near(got.Total, total) {
				t.Errorf("total %v, by hand %v", got.Total, total)
			}
		})
	}
}

// Clause 4.3 and Table 2: which components belong to which risk.
func TestCountingComponents(t *testing.T) {
	check(t, map[string]worked{
		"R1, failures do not endanger life": {func(*risk.Input, *risk.Structure, *risk.Zone, *risk.Line) {},
			risk.HumanLife, parts{A: 1e-4, B: 2e-4, U: 0.16e-4, V: 0.32e-4}},
		"R1, failures endanger life, L_O 1e-3": {func(_ *risk.Input, s *risk.Structure, _ *risk.Zone, _ *risk.Line) {
			s.FailureEndangersLife = true
		},
			risk.HumanLife, parts{A: 1e-4, B: 2e-4, C: 1e-3, M: 4 * 0.16 * 1e-3, U: 0.16e-4, V: 0.32e-4, W: 0.16e-3, Z: 16 * 0.3 * 1e-3}},
		"R2, power supply: no shocks, neither panic nor hours": {func(_ *risk.Input, s *risk.Structure, z *risk.Zone, _ *risk.Line) {
			s.PublicSupply, z.SpecialHazard, z.Hours = risk.PowerGasWater, risk.HighPanic, 4380
		}, // L_B = 1 x 1e-2 x 1e-1 = 1e-3, L_C = 1e-2
			risk.PublicService, parts{B: 1e-3, C: 1e-2, M: 0.64e-2, V: 0.16e-3, W: 0.16e-2, Z: 4.8e-2}},
		"R2, television, a quarter of the users": {func(_ *risk.Input, s *risk.Structure, z *risk.Zone, _ *risk.Line) {
			s.PublicSupply, s.Persons, z.Persons = risk.TVTelecom, 400, 100
		}, // L_B = 1e-2 x 1e-2 / 4 = 2.5e-5, L_C = 1e-3 / 4
			risk.PublicService, parts{B: 2.5e-5, C: 2.5e-4, M: 0.64 * 2.5e-4, V: 0.16 * 2.5e-5, W: 0.16 * 2.5e-4, Z: 4.8 * 2.5e-4}},
		"R2, the same users in two zones count once (common practice, no published source)": {func(_ *risk.Input, s *risk.Structure, z *risk.Zone,
			_ *risk.Line) {
			s.PublicSupply, s.Persons, s.Users, z.Persons, z.Hours = risk.TVTelecom, 400, 800, 400, 4000
			s.Zones = append(s.Zones, risk.Zone{ID: "yard room", Persons: 400, Hours: 4000})
		}, // hall 400 of 800: L_B = 1e-2 x 1e-2 / 2 = 5e-5, L_C = 1e-3 / 2 = 5e-4; the other room without fire risk has L_C = 5e-4 only,
			// and of the sources of damage only those that need no line: none, since P_C and P_M of a zone without systems are 0
			risk.PublicService, parts{B: 5e-5, C: 5e-4, M: 0.64 * 5e-4, V: 0.16 * 5e-5, W: 0.16 * 5e-4, Z: 4.8 * 5e-4}},
		"R3, all of the heritage in each zone where no values are given": {func(_ *risk.Input, s *risk.Structure, _ *risk.Zone, _ *risk.Line) {
			s.CulturalHeritage = true
		}, // L_B = 1e-2 x 1e-1
			risk.CulturalHeritage, parts{B: 1e-3, V: 0.16e-3}},
		"R3, c_z/c_t": {func(_ *risk.Input, s *risk.Structure, z *risk.Zone, _ *risk.Line) {
			s.CulturalHeritage, z.Values = true, risk.Values{Building: 60, Contents: 40}
			s.Zones = append(s.Zones, risk.Zone{ID: "archive", Hours: 8760, FireRisk: risk.LowFireRisk, Values: risk.Values{Contents: 300}})
		}, // hall 1e-2 x 1e-1 x 100/400 = 2.5e-4, archive 1e-3 x 1e-1 x 300/400 = 0.75e-4; the line feeds the hall only
			risk.CulturalHeritage, parts{B: 3.25e-4, V: 0.16 * 2.5e-4}},
		"R4, animals, building, contents and systems": {func(_ *risk.Input, _ *risk.Structure, z *risk.Zone, _ *risk.Line) {
			z.Values, z.SpecialHazard, z.Hours = risk.Values{Animals: 10, Building: 20, Contents: 30, Systems: 40}, risk.HighPanic, 4380
		}, // L_A = 1e-2 x 1e-2 x 10/100, L_B = 1e-2 x 0.5 x 100/100, L_C = 1e-2 x 40/100
			risk.EconomicValue, parts{A: 1e-5, B: 5e-3, C: 4e-3, M: 0.64 * 4e-3, U: 0.16e-5, V: 0.16 * 5e-3, W: 0.16 * 4e-3, Z: 4.8 * 4e-3}},
		"R4, no animals: no shocks": {func(_ *risk.Input, _ *risk.Structure, z *risk.Zone, _ *risk.Line) {
			z.Values = risk.Values{Building: 30, Contents: 30, Systems: 40}
		}, risk.EconomicValue, parts{B: 5e-3, C: 4e-3, M: 0.64 * 4e-3, V: 0.16 * 5e-3, W: 0.16 * 4e-3, Z: 4.8 * 4e-3}},
		"R4, c_t is the sum over the zones": {func(_ *risk.Input, s *risk.Structure, z *risk.Zone, _ *risk.Line) {
			z.Values = risk.Values{Building: 30, Contents: 30, Systems: 40}
			s.Zones = append(s.Zones, risk.Zone{ID: "store", Hours: 8760, Values: risk.Values{Contents: 300}}) // no risk of fire
		}, risk.EconomicValue, parts{B: 1.25e-3, C: 1e-3, M: 0.64e-3, V: 0.16 * 1.25e-3, W: 0.16e-3, Z: 4.8e-3}},
		"R1, persons and hours": {func(_ *risk.Input, s *risk.Structure, z *risk.Zone, _ *risk.Line) {
			s.Persons, z.Persons, z.Hours = 40, 10, 2190 // f = 1/4 x 1/4
		}, risk.HumanLife, parts{A: 1e-4 / 16, B: 2e-4 / 16, U: 0.16e-4 / 16, V: 0.32e-4 / 16}},
		"an outside zone has R_A only": {func(_ *risk.Input, s *risk.Structure, z *risk.Zone, _ *risk.Line) {
			z.Place, z.Systems, s.FailureEndangersLife = risk.Outside, nil, true
		}, risk.HumanLife, parts{A: 1e-4}},
		"R2 of an outside zone": {func(_ *risk.Input, s *risk.Structure, z *risk.Zone, _ *risk.Line) {
			z.Place, z.Systems, s.PublicSupply = risk.Outside, nil, risk.PowerGasWater
		}, risk.PublicService, parts{}},
		"R4 of an outside zone with animals": {func(_ *risk.Input, _ *risk.Structure, z *risk.Zone, _ *risk.Line) {
			z.Place, z.Systems, z.Values = risk.Outside, nil, risk.Values{Animals: 25, Building: 75}
		}, risk.EconomicValue, parts{A: 0.25e-4}},
	})
}

// Tables C.2, C.4, C.5: risk of explosion. Provisions against fire do not
// count; of the risks of fire and explosion the larger counts (project rule, on the safe side).
func TestExplosion(t *testing.T) {
	// L_F = 1e-1, L_O = 1e-1, so that L_B = r_f x 1e-1 and L_C = 1e-1.
	with := func(LB float64) parts {
		return parts{A: 1e-4, B: LB, C: 1e-1, M: 0.64e-1, U: 0.16e-4, V: 0.16 * LB, W: 0.16e-1, Z: 4.8e-1}
	}
	type change = func(*risk.Input, *risk.Structure, *risk.Zone, *risk.Line)
	explosive := func(x risk.ExplosionZone, fire risk.FireRisk, p risk.FireProtection) change {
		return func(_ *risk.Input, s *risk.Structure, z *risk.Zone, _ *risk.Line) {
			s.Explosion, z.FireRisk, z.FireProtection = x, fire, p
		}
	}
	check(t, map[string]worked{
		"zone 0": {explosive(risk.Explosion0, risk.OrdinaryFireRisk, risk.NoFireProtection), risk.HumanLife, with(1e-1)},
		"zone 1": {explosive(risk.Explosion1, risk.OrdinaryFireRisk, risk.NoFireProtection), risk.HumanLife, with(1e-2)},
		"zone 1, automatic": {explosive(risk.Explosion1, risk.OrdinaryFireRisk, risk.AutomaticFireProtection),
			risk.HumanLife, with(1e-2)},
		"zone 1, manual":               {explosive(risk.Explosion1, risk.NoFireRisk, risk.ManualFireProtection), risk.HumanLife, with(1e-2)},
		"zone 2, no fire":              {explosive(risk.Explosion2, risk.NoFireRisk, risk.NoFireProtection), risk.HumanLife, with(1e-4)},
		"zone 2, high fire, automatic": {explosive(risk.Explosion2, risk.HighFireRisk, risk.AutomaticFireProtection), risk.HumanLife, with(1e-2)},
		"failures that endanger life too": {func(in *risk.Input, s *risk.Structure, z *risk.Zone, l *risk.Line) {
			explosive(risk.Explosion1, risk.NoFireRisk, risk.NoFireProtection)(in, s, z, l)
			s.FailureEndangersLife = true // L_O stays that of the risk of explosion
		}, risk.HumanLife, with(1e-2)},
		"L4": {func(_ *risk.Input, s *risk.Structure, z *risk.Zone, _ *risk.Line) {
			s.Explosion, z.FireProtection, z.Values = risk.Explosion1, risk.AutomaticFireProtection, risk.Values{Building: 50, Systems: 50}
		}, // L_F = 1, L_O = 1e-1: L_B = 1e-1, L_C = 1e-1 x 50/100
			risk.EconomicValue, parts{B: 1e-1, C: 5e-2, M: 0.64 * 5e-2, V: 0.16 * 1e-1, W: 0.16 * 5e-2, Z: 4.8 * 5e-2}},
	})
}

// Tables C.4 to C.6 without explosion.
func TestFireAndHazard(t *testing.T) {
	fire := func(times float64, change func(*risk.Zone)) worked {
		return worked{func(_ *risk.Input, _ *risk.Structure, z *risk.Zone, _ *risk.Line) { change(z) },
			risk.HumanLife, parts{A: 1e-4, B: 2e-4 * times, U: 0.16e-4, V: 0.32e-4 * times}}
	}
	check(t, map[string]worked{
		"manual":       fire(0.5, func(z *risk.Zone) { z.FireProtection = risk.ManualFireProtection }),
		"automatic":    fire(0.2, func(z *risk.Zone) { z.FireProtection = risk.AutomaticFireProtection }),
		"no fire":      fire(0, func(z *risk.Zone) { z.FireRisk = risk.NoFireRisk }),
		"low fire":     fire(0.1, func(z *risk.Zone) { z.FireRisk = risk.LowFireRisk }),
		"high fire":    fire(10, func(z *risk.Zone) { z.FireRisk = risk.HighFireRisk }),
		"low panic":    fire(2, func(z *risk.Zone) { z.SpecialHazard = risk.LowPanic }),
		"panic":        fire(5, func(z *risk.Zone) { z.SpecialHazard = risk.AveragePanic }),
		"evacuation":   fire(5, func(z *risk.Zone) { z.SpecialHazard = risk.DifficultEvacuation }),
		"high panic":   fire(10, func(z *risk.Zone) { z.SpecialHazard = risk.HighPanic }),
		"own L_F 4e-2": fire(2, func(z *risk.Zone) { v := 4e-2; z.Losses[risk.HumanLife].LF = &v }),
	})
}

// Tables B.1, B.2 and clause B.4: LPS, natural frames and what they let P_SPD do.
func TestFrames(t *testing.T) {
	// With P_SPD 0.02: P_M = 0.02 x 0.16, P_W = 0.02, P_Z = 0.02 x 0.3, whatever the LPS; P_EB is 1.
	under := func(PTA, PB, PC float64) parts {
		return parts{A: PTA * PB * 1e-4, B: PB * 2e-4, C: PC * 1e-3, M: 4 * 0.0032 * 1e-3,
			U: 0.16e-4, V: 0.32e-4, W: 0.0032e-3, Z: 16 * 0.006 * 1e-3}
	}
	frame := func(class risk.LPS, natural bool, want parts) worked {
		return worked{func(_ *risk.Input, s *risk.Structure, _ *risk.Zone, l *risk.Line) {
			s.LPS, s.NaturalLPS, s.FailureEndangersLife, l.CoordinatedSPD.Level = class, natural, true, risk.LevelII
		}, risk.HumanLife, want}
	}
	check(t, map[string]worked{
		"no LPS: P_SPD does not lower P_C":     frame(risk.NoLPS, false, under(1, 1, 1)),
		"continuous frame, bonded and earthed": frame(risk.NoLPS, true, under(1, 1, 0.02)),
		"class IV":                             frame(risk.LPSIV, false, under(1, 0.2, 0.02)),
		"class III":                            frame(risk.LPSIII, false, under(1, 0.1, 0.02)),
		"class II":                             frame(risk.LPSII, false, under(1, 0.05, 0.02)),
		"class I":                              frame(risk.LPSI, false, under(1, 0.02, 0.02)),
		"class I on a natural frame: P_TA 0":   frame(risk.LPSINaturalFrame, false, under(0, 0.01, 0.02)),
		"complete cover on a frame: P_TA 0":    frame(risk.LPSIFullCover, false, under(0, 0.001, 0.02)),
	})
}

// Tables B.1 and B.6: several measures multiply; the soil counts for flashes to the structure only.
func TestShockMeasures(t *testing.T) {
	shock := func(structure, line risk.ShockMeasures, PTA, PTU float64) worked {
		return worked{func(_ *risk.Input, _ *risk.Structure, z *risk.Zone, _ *risk.Line) {
			z.StructureShock, z.LineShock = structure, line
		},
			risk.HumanLife, parts{A: PTA * 1e-4, B: 2e-4, U: PTU * 0.16e-4, V: 0.32e-4}}
	}
	check(t, map[string]worked{
		"notices":               shock(risk.WarningNotices, 0, 0.1, 1),
		"insulation":            shock(risk.Insulation, 0, 0.01, 1),
		"soil":                  shock(risk.SoilEquipotentialization, risk.SoilEquipotentialization, 0.01, 1),
		"restriction":           shock(risk.PhysicalRestriction, 0, 0, 1),
		"three measures":        shock(risk.WarningNotices|risk.Insulation|risk.SoilEquipotentialization, 0, 1e-5, 1),
		"notices on a line":     shock(0, risk.WarningNotices, 1, 0.1),
		"insulation on a line":  shock(0, risk.Insulation, 1, 0.01),
		"restriction on a line": shock(0, risk.PhysicalRestriction, 1, 0),
		"two on a line":         shock(0, risk.WarningNotices|risk.Insulation, 1, 1e-3),
	})
}

// Tables B.3 and B.7: P_SPD acts on M, W and Z (and on C with an LPS), P_EB on U and V.
func TestSPDs(t *testing.T) {
	spds := func(class risk.LPS, bonding, coordinated risk.SPD, PB, PC, PEB, PSPD float64) worked {
		return worked{func(_ *risk.Input, s *risk.Structure, _ *risk.Zone, l *risk.Line) {
			s.LPS, s.FailureEndangersLife, l.BondingSPD, l.CoordinatedSPD = class, true, bonding, coordinated
		}, risk.HumanLife, parts{A: PB * 1e-4, B: PB * 2e-4, C: PC * 1e-3, M: PSPD * 0.64e-3,
			U: PEB * 0.16e-4, V: PEB * 0.32e-4, W: PSPD * 0.16e-3, Z: PSPD * 4.8e-3}}
	}
	none := risk.SPD{}
	level := func(l risk.Level) risk.SPD { return risk.SPD{Level: l} }
	better := func(p float64) risk.SPD { return risk.SPD{Level: risk.BetterThanI, Probability: p} }
	check(t, map[string]worked{
		"coordinated III-IV":             spds(risk.NoLPS, none, level(risk.LevelIIIIV), 1, 1, 1, 0.05),
		"coordinated II":                 spds(risk.NoLPS, none, level(risk.LevelII), 1, 1, 1, 0.02),
		"coordinated I":                  spds(risk.NoLPS, none, level(risk.LevelI), 1, 1, 1, 0.01),
		"coordinated better, with LPS":   spds(risk.LPSIV, none, better(0.003), 0.2, 0.003, 1, 0.003),
		"bonding III-IV":                 spds(risk.NoLPS, level(risk.LevelIIIIV), none, 1, 1, 0.05, 1),
		"bonding II":                     spds(risk.NoLPS, level(risk.LevelII), none, 1, 1, 0.02, 1),
		"bonding I":                      spds(risk.NoLPS, level(risk.LevelI), none, 1, 1, 0.01, 1),
		"bonding better, with LPS":       spds(risk.LPSIV, better(0.004), none, 0.2, 1, 0.004, 1),
		"bonding I and coordinated II":   spds(risk.NoLPS, level(risk.LevelI), level(risk.LevelII), 1, 1, 0.01, 0.02),
		"bonding does not stand for P_C": spds(risk.LPSII, level(risk.LevelI), none, 0.05, 1, 0.01, 1),
	})
}

// Clause B.5 and Table B.9: K_S4 = 1/U_W, at most 1; U_W between two columns takes the lower, below 1 kV the first.
func TestWithstand(t *testing.T) {
	kv := func(onLine, onSystem float64, service risk.Service, PMS, PLI float64) worked {
		return worked{func(_ *risk.Input, s *risk.Structure, z *risk.Zone, l *risk.Line) {
			s.FailureEndangersLife, l.Withstand, l.Service, z.Systems[0].Withstand = true, onLine, service, onSystem
		}, risk.HumanLife, parts{A: 1e-4, B: 2e-4, C: 1e-3, M: 4 * PMS * 1e-3, U: 0.16e-4, V: 0.32e-4, W: 0.16e-3, Z: 16 * PLI * 1e-3}}
	}
	power, telecom := risk.LowVoltage, risk.Telecom
	check(t, map[string]worked{
		"0.8 kV":                    kv(0.8, 0, power, 1, 1),
		"1 kV":                      kv(1, 0, power, 1, 1),
		"1.25 kV, between":          kv(1.25, 0, power, 0.64, 1),
		"1.5 kV, unrounded 1/1.5":   kv(1.5, 0, power, 4.0/9, 0.6),
		"2 kV, between":             kv(2, 0, power, 0.25, 0.6),
		"2.5 kV":                    kv(2.5, 0, power, 0.16, 0.3),
		"3 kV, between":             kv(3, 0, power, 1.0/9, 0.3),
		"4 kV":                      kv(4, 0, power, 1.0/16, 0.16),
		"5 kV, between":             kv(5, 0, power, 0.04, 0.16),
		"6 kV":                      kv(6, 0, power, 1.0/36, 0.1),
		"10 kV, above":              kv(10, 0, power, 0.01, 0.1),
		"of the system, not line":   kv(1, 4, power, 1.0/16, 0.16),
		"telecommunication 1 kV":    kv(1, 0, telecom, 1, 1),
		"telecommunication 1.5 kV":  kv(1.5, 0, telecom, 4.0/9, 0.5),
		"telecommunication 2.5 kV":  kv(2.5, 0, telecom, 0.16, 0.2),
		"telecommunication 4 kV":    kv(4, 0, telecom, 1.0/16, 0.08),
		"telecommunication 6 kV":    kv(6, 0, telecom, 1.0/36, 0.04),
		"high voltage: power row":   kv(1.5, 0, risk.HighVoltage, 4.0/9, 0.6),
		"telecommunication, system": kv(6, 1.5, telecom, 4.0/9, 0.5),
	})
}

// Clause B.5: P_MS = (K_S1 K_S2 K_S3 K_S4)^2. K_S4 = 0.4 throughout.
func TestScreensAndWiring(t *testing.T) {
	mesh := func(w float64) risk.Screen { return risk.Screen{Present: true, Mesh: w} }
	inside := func(outer, inner risk.Screen, wiring risk.Wiring, K float64) worked {
		return worked{func(_ *risk.Input, s *risk.Structure, z *risk.Zone, _ *risk.Line) {
			s.FailureEndangersLife, s.Screen, z.Screen, z.Systems[0].Wiring = true, outer, inner, wiring
		}, risk.HumanLife, parts{A: 1e-4, B: 2e-4, C: 1e-3, M: 4 * (K * 0.4) * (K * 0.4) * 1e-3, U: 0.16e-4, V: 0.32e-4, W: 0.16e-3, Z: 4.8e-3}}
	}
	open := risk.Screen{}
	check(t, map[string]worked{
		"outer 5 m":             inside(mesh(5), open, risk.Unrouted, 0.6),
		"inner 2 m":             inside(open, mesh(2), risk.Unrouted, 0.24),
		"both":                  inside(mesh(5), mesh(2), risk.Unrouted, 0.144),
		"10 m: at most 1":       inside(mesh(10), mesh(10), risk.Unrouted, 1),
		"continuous metal":      inside(mesh(0), open, risk.Unrouted, 1e-4),
		"inner metal":           inside(open, mesh(0), risk.Unrouted, 1e-4),
		"large loops avoided":   inside(open, open, risk.LargeLoopsAvoided, 0.2),
		"loops avoided":         inside(open, open, risk.LoopsAvoided, 0.01),
		"shielded wiring":       inside(open, open, risk.ShieldedWiring, 1e-4),
		"mesh without a screen": inside(risk.Screen{Mesh: 2}, open, risk.Unrouted, 1),
	})
}

// Table B.4, each row, with the installation that each row names. N_L is 0.16 for an aerial line, half of it for a buried one.
func TestLineConditions(t *testing.T) {
	row := func(where risk.Installation, shield risk.ShieldType, bonded bool, CI, CLD, CLI float64) worked {
		return worked{func(_ *risk.Input, s *risk.Structure, _ *risk.Zone, l *risk.Line) {
			s.FailureEndangersLife, l.Sections[0].Installation, l.Shield = true, where, risk.Shield{Type: shield, Bonded: bonded}
		}, risk.HumanLife, parts{A: 1e-4, B: 2e-4, C: CLD * 1e-3, M: 0.64e-3, U: CI * CLD * 0.16e-4, V: CI * CLD * 0.32e-4,
			W: CI * CLD * 0.16e-3, Z: CI * CLI * 16 * 0.3 * 1e-3}}
	}
	mixed := func(bonded bool, CLI float64) worked { // 1000 m aerial and 1000 m buried: 1.5 times the events
		w := row(risk.Aerial, risk.Shielded, bonded, 1.5, 1, CLI)
		change := w.change
		w.change = func(in *risk.Input, s *risk.Structure, z *risk.Zone, l *risk.Line) {
			change(in, s, z, l)
			l.Sections = append(l.Sections, risk.Section{Installation: risk.Buried, Length: 1000})
		}
		return w
	}
	check(t, map[string]worked{
		"aerial, unshielded":               row(risk.Aerial, risk.NoShield, false, 1, 1, 1),
		"buried, unshielded":               row(risk.Buried, risk.NoShield, false, 0.5, 1, 1),
		"multi-grounded neutral":           row(risk.Aerial, risk.MultiGroundedNeutral, false, 1, 1, 0.2),
		"buried, shield not bonded":        row(risk.Buried, risk.Shielded, false, 0.5, 1, 0.3),
		"aerial, shield not bonded":        row(risk.Aerial, risk.Shielded, false, 1, 1, 0.1),
		"buried, shield bonded":            row(risk.Buried, risk.Shielded, true, 0.5, 1, 0),
		"aerial, shield bonded":            row(risk.Aerial, risk.Shielded, true, 1, 1, 0),
		"protective cable, bonded":         row(risk.Aerial, risk.ProtectiveCable, true, 1, 0, 0),
		"protective cable, buried, bonded": row(risk.Buried, risk.ProtectiveCable, true, 0.5, 0, 0),
		"protective cable, not bonded":     row(risk.Buried, risk.ProtectiveCable, false, 0.5, 1, 0.3),
		"isolating interface":              row(risk.Aerial, risk.IsolatingInterface, false, 1, 0, 0),
		"in a meshed earth termination":    row(risk.BuriedInEarthMesh, risk.Shielded, false, 0.01, 1, 0.3),
		"mixed, not bonded: the higher":    mixed(false, 0.3),
		"mixed, bonded":                    mixed(true, 0),
	})
}

// Table B.8 at its boundaries: a bonded shield of R_S exactly 1, 5 and 20 ohm/km belongs
// to the better row, just above to the next; above 20 and not known count as unshielded.
func TestShieldResistance(t *testing.T) {
	rows := []struct {
		resistance float64
		PLD        [5]float64 // at 1, 1.5, 2.5, 4 and 6 kV
	}{
		{0, [5]float64{1, 1, 1, 1, 1}}, // not known (project rule)
		{0.2, [5]float64{0.6, 0.4, 0.2, 0.04, 0.02}},
		{1, [5]float64{0.6, 0.4, 0.2, 0.04, 0.02}},
		{1.0001, [5]float64{0.9, 0.8, 0.6, 0.3, 0.1}},
		{5, [5]float64{0.9, 0.8, 0.6, 0.3, 0.1}},
		{5.0001, [5]float64{1, 1, 0.95, 0.9, 0.8}},
		{20, [5]float64{1, 1, 0.95, 0.9, 0.8}},
		{20.0001, [5]float64{1, 1, 1, 1, 1}},
	}
	for _, row := range rows {
		for i, kv := range []float64{1, 1.5, 2.5, 4, 6} {
			for _, shield := range []struct {
				risk.Shield
				PLD, CLD float64
			}{
				{risk.Shield{Type: risk.Shielded, Bonded: true, Resistance: row.resistance}, row.PLD[i], 1},
				{risk.Shield{Type: risk.Shielded, Resistance: row.resistance}, 1, 1},
				{risk.Shield{Type: risk.NoShield, Bonded: true, Resistance: row.resistance}, 1, 1},
				{risk.Shield{Type: risk.MultiGroundedNeutral, Bonded: true, Resistance: row.resistance}, 1, 1},
				{risk.Shield{Type: risk.ProtectiveCable, Bonded: true, Resistance: row.resistance}, row.PLD[i], 0},
			} {
				in := workshop()
				in.Lines[0].Shield, in.Lines[0].Withstand = shield.Shield, kv
				r, _ := assess(t, in)
				if got, want := r.Structures[0].Risks[risk.HumanLife].Components[risk.RU], 0.16e-4*shield.PLD*shield.CLD; !near(got, want) {
					t.Errorf("%+v at %v kV: R_U %v, by hand %v", shield.Shield, kv, got, want)
				}
				for s, want := range map[string]float64{"P_LD": shield.PLD, "C_LD": shield.CLD} {
					if got := stepOf(t, in, s); got != want {
						t.Errorf("%+v at %v kV: %s %v, printed %v", shield.Shield, kv, s, got, want)
					}
				}
			}
		}
	}
}

// stepOf is the first recorded value of a symbol.
func stepOf(t *testing.T, in *risk.Input, symbol string) float64 {
	t.Helper()
	_, sheet := assess(t, in)
	for i := range sheet.Steps {
		if sheet.Steps[i].Quantity.Symbol == symbol {
			return sheet.Steps[i].Value
		}
	}
	t.Fatalf("no step %s", symbol)
	return 0
}

// Clauses A.4 and A.5: sections are summed, each with its own factors.
func TestSections(t *testing.T) {
	in := workshop()
	in.Lines[0].Sections = []risk.Section{
		{Length: 1000}, // 0.16
		// 0.08 x 0.5 x 0.1 x 0.2 = 0.0008
		{Length: 500, Installation: risk.Buried, Environment: risk.Urban, Service: risk.HighVoltage},
		// 0.32 x 0.01 x 0.01 = 0.000032
		{Length: 2000, Installation: risk.BuriedInEarthMesh, Environment: risk.UrbanTall, Service: risk.Telecom, Drawn: true},
		{Length: 250, Environment: risk.Suburban}, // 0.04 x 0.5 = 0.02
	}
	r, _ := assess(t, in)
	want := risk.Events{DirectArea: 40 * 3750, NearArea: 4000 * 3750, Direct: 0.180832, Near: 18.0832}
	compareEvents(t, "line", r.Lines[0].Events, want)
	compare(t, "R_U", r.Structures[0].Risks[risk.HumanLife].Components[risk.RU], 0.180832e-4)
}

// Clause A.2.5: N_DJ has C_T, but neither C_I nor C_E. The mill has A_DJ = 100 000 m2
// and C_DJ = 2: N_DJ = 4 x 100 000 x 2 x 1e-6 = 0.8, times C_T.
func TestAdjacentStructure(t *testing.T) {
	for _, c := range []struct {
		name     string
		sections []risk.Section
		NDJ, NL  float64
	}{
		{"aerial low voltage", []risk.Section{{Length: 1000}}, 0.8, 0.16},
		{"telecommunication", []risk.Section{{Length: 1000, Service: risk.Telecom}}, 0.8, 0.16},
		{"high voltage", []risk.Section{{Length: 1000, Service: risk.HighVoltage}}, 0.16, 0.032},
		{"buried, urban", []risk.Section{{Length: 1000, Installation: risk.Buried, Environment: risk.Urban}}, 0.8, 0.008},
		{"the largest C_T (project rule)", []risk.Section{{Length: 500, Service: risk.HighVoltage}, {Length: 500}}, 0.8, 0.096},
	} {
		in := workshop()
		in.Lines[0].To, in.Lines[0].Sections = 1, c.sections
		r, _ := assess(t, in)
		compare(t, c.name+" N_DJ", r.Lines[0].AdjacentStructure, c.NDJ)
		compare(t, c.name+" R_U", r.Structures[0].Risks[risk.HumanLife].Components[risk.RU], (c.NDJ+c.NL)*1e-4)
		compare(t, c.name+" N_DJ of a structure that is not assessed", r.Lines[0].AdjacentAtFar, 0)
		in.Lines[0].Structure, in.Lines[0].To = 1, 0 // seen from the other end
		r, _ = assess(t, in)
		compare(t, c.name+" N_DJ, turned", r.Lines[0].AdjacentAtFar, c.NDJ)
		compare(t, c.name+" N_DJ of the other end", r.Lines[0].AdjacentStructure, 0)
		compare(t, c.name+" R_U, turned", r.Structures[0].Risks[risk.HumanLife].Components[risk.RU], (c.NDJ+c.NL)*1e-4)
	}
	r, _ := assess(t, workshop())
	compare(t, "N_DJ from the network", r.Lines[0].AdjacentStructure, 0)
}

// Clause B.4, B.5: several internal systems of a zone fail as 1 - prod(1 - P); flashes to and near lines are summed.
func TestSeveralSystems(t *testing.T) {
	check(t, map[string]worked{
		"two lines": {func(in *risk.Input, s *risk.Structure, z *risk.Zone, l *risk.Line) {
			s.LPS, s.FailureEndangersLife, l.CoordinatedSPD.Level = risk.LPSI, true, risk.LevelIIIIV
			in.Lines = append(in.Lines, risk.Line{ID: "data", To: -1, Withstand: 1.5, Service: risk.Telecom,
				Sections:       []risk.Section{{Length: 500, Installation: risk.Buried}},
				CoordinatedSPD: risk.SPD{Level: risk.LevelII}, BondingSPD: risk.SPD{Level: risk.LevelI}})
			z.Systems = append(z.Systems, risk.System{Line: 1, Wiring: risk.LargeLoopsAvoided})
		}, risk.HumanLife, parts{
			A: 0.02 * 1e-4, B: 0.02 * 2e-4,
			C: (1 - 0.95*0.98) * 1e-3,
			// 0.05 x 0.16 = 0.008; 0.02 x (0.2 / 1.5)^2 = 0.0008/2.25
			M: 4 * (1 - 0.992*(1-0.0008/2.25)) * 1e-3,
			U: (0.16 + 0.04*0.01) * 1e-4, V: (0.16 + 0.04*0.01) * 2e-4,
			W: (0.16*0.05 + 0.04*0.02) * 1e-3,
			Z: (16*0.05*0.3 + 4*0.02*0.5) * 1e-3,
		}},
		"a line that feeds nothing in the zone does not count": {func(in *risk.Input, _ *risk.Structure, _ *risk.Zone, _ *risk.Line) {
			in.Lines = append(in.Lines, risk.Line{ID: "spare", To: -1, Withstand: 1, Sections: []risk.Section{{Length: 5000}}})
		}, risk.HumanLife, parts{A: 1e-4, B: 2e-4, U: 0.16e-4, V: 0.32e-4}},
		"no internal system: nothing from lines, nothing fails": {func(_ *risk.Input, s *risk.Structure, z *risk.Zone, _ *risk.Line) {
			z.Systems, s.FailureEndangersLife = nil, true
		}, risk.HumanLife, parts{A: 1e-4, B: 2e-4}},
	})
}

// Clause 6.4: of the lines on one route only the one with the worst
// characteristics counts, here the one of the larger (N_L + N_DJ) P_LD C_LD + N_I P_LI C_LI; on separate routes each counts.
func TestSharedRoutes(t *testing.T) {
	lines := func(routes [3]string, lengths [3]float64) func(*risk.Input, *risk.Structure, *risk.Zone, *risk.Line) {
		return func(in *risk.Input, _ *risk.Structure, z *risk.Zone, _ *risk.Line) {
			in.Lines, z.Systems = nil, nil
			for i, name := range []string{"a", "b", "c"} {
				in.Lines = append(in.Lines, risk.Line{ID: name, To: -1, Withstand: 2.5, SharedRoute: routes[i],
					Sections: []risk.Section{{Length: lengths[i]}}})
				in.Lines[i].BondingSPD.Level = []risk.Level{risk.NoSPD, risk.LevelI, risk.LevelII}[i] // P_EB 1, 0.01, 0.02
				z.Systems = append(z.Systems, risk.System{Line: i})
			}
		}
	}
	// 1000 m give N_L = 0.16.
	flashes := func(N float64) parts { return parts{A: 1e-4, B: 2e-4, U: N * 1e-4, V: N * 2e-4} }
	check(t, map[string]worked{
		"apart":               {lines([3]string{}, [3]float64{1000, 2000, 1000}), risk.HumanLife, flashes(0.16 + 0.32*0.01 + 0.16*0.02)},
		"the second is worse": {lines([3]string{"r", "r", ""}, [3]float64{1000, 2000, 1000}), risk.HumanLife, flashes(0.32*0.01 + 0.16*0.02)},
		"the first is worse":  {lines([3]string{"r", "r", ""}, [3]float64{2000, 1000, 1000}), risk.HumanLife, flashes(0.32 + 0.16*0.02)},
		"the first of equals": {lines([3]string{"r", "r", "r"}, [3]float64{1000, 1000, 1000}), risk.HumanLife, flashes(0.16)},
		"the third of three":  {lines([3]string{"r", "r", "r"}, [3]float64{1000, 1500, 2000}), risk.HumanLife, flashes(0.32 * 0.02)},
		"two routes":          {lines([3]string{"r", "s", "r"}, [3]float64{1000, 1500, 2000}), risk.HumanLife, flashes(0.24*0.01 + 0.32*0.02)},
	})
	// The worse line by its characteristics, not by its length.
	worse := func(change func(a, b *risk.Line), N float64) worked {
		return worked{func(in *risk.Input, s *risk.Structure, z *risk.Zone, l *risk.Line) {
			lines([3]string{"r", "r", ""}, [3]float64{2000, 1000, 0})(in, s, z, l)
			change(&in.Lines[0], &in.Lines[1])
		}, risk.HumanLife, flashes(N)}
	}
	check(t, map[string]worked{
		"N_L P_LD": worse(func(a, b *risk.Line) { // C_LI 0 for both: 0.32 x 0.2 = 0.064 beside 0.16 x 0.6 = 0.096
			a.Shield = risk.Shield{Type: risk.Shielded, Bonded: true, Resistance: 1}
			b.Shield = risk.Shield{Type: risk.Shielded, Bonded: true, Resistance: 5}
		}, 0.16*0.6*0.01),
		// 0.32 + 32 x 0.1 beside 0.16 + 16 x 1
		"N_I P_LI": worse(func(a, b *risk.Line) { a.Withstand, b.Withstand = 6, 1 }, 0.16*0.01),
		// 0.32 + 32 x 0.3 x 0.2 beside 0.16 + 16 x 0.3
		"N_I C_LI": worse(func(a, _ *risk.Line) { a.Shield.Type = risk.MultiGroundedNeutral }, 0.16*0.01),
		// 0.32 beside 0.16 + 0.8, C_LI 0
		"N_DJ": worse(func(a, b *risk.Line) { isolate(a); isolate(b); b.To = 1 }, (0.16+0.8)*0.01),
		// 0 beside 0.16
		"C_LD": worse(func(a, b *risk.Line) { isolate(b); a.Shield.Type = risk.IsolatingInterface }, 0.16*0.01),
	})
}

// isolate bonds a shield of unknown resistance: C_LD 1, C_LI 0, P_LD 1.
func isolate(l *risk.Line) { l.Shield = risk.Shield{Type: risk.Shielded, Bonded: true} }

// Clause A.1: N_G from thunderstorm days, 0.1 T_D or 0.04 T_D^1.25, as the input says. 16^1.25 = 32, 81^1.25 = 243.
func TestThunderstormDays(t *testing.T) {
	for _, c := range []struct {
		days     float64
		relation risk.Relation
		NG       float64
	}{{16, risk.Linear, 1.6}, {16, risk.Power, 1.28}, {81, risk.Linear, 8.1}, {81, risk.Power, 9.72}} {
		in := workshop()
		in.FlashDensity = risk.FlashDensity{Origin: risk.DensityThunderstormDays, ThunderstormDays: c.days, Relation: c.relation, NG: 99}
		r, _ := assess(t, in)
		compare(t, "N_G", r.NG, c.NG)
		compare(t, "N_D", r.Structures[0].Direct, c.NG/4)
	}
	in := workshop()
	in.FlashDensity = risk.FlashDensity{Origin: risk.DensityMap, NG: 2.5, Note: "a map of an invented island"}
	r, sheet := assess(t, in)
	compare(t, "N_G of a map", r.NG, 2.5)
	if sheet.Steps[0].Note != in.FlashDensity.Note {
		t.Errorf("note %q", sheet.Steps[0].Note)
	}
}

// Clauses A.2.1 and A.3: the box, and the larger of box and protrusion. 10 m x 20 m x 5 m:
// 200 + 30 x 30 + pi x 225; A_M = 1000 x 30 + pi x 250 000, without the footprint.
func TestCollectionAreas(t *testing.T) {
	const pi = 3.141592653589793
	for _, c := range []struct{ protrusion, AD float64 }{
		{0, 1100 + 225*pi}, // 1806.9
		{7, 1100 + 225*pi}, // 441 pi = 1385.4 is smaller
		{8, 576 * pi},      // 1809.6 is larger
	} {
		in := workshop()
		s := &in.Structures[0]
		s.Areas, s.Length, s.Width, s.Height, s.Protrusion = risk.Areas{}, 10, 20, 5, c.protrusion
		r, _ := assess(t, in)
		compare(t, "A_M", r.Structures[0].NearArea, 30_000+250_000*pi)
		compare(t, "A_D", r.Structures[0].DirectArea, c.AD)
	}
}

// Frequency of failures (section 8 of the notes): f = N_D P_C + N_M P_M + (N_L + N_DJ) P_W + N_I P_Z,
// in the inside zone where it is highest.
func TestSystemFailures(t *testing.T) {
	in := workshop()
	s := &in.Structures[0]
	s.Zones = append(s.Zones, risk.Zone{ID: "office", Hours: 8760, Systems: []risk.System{{Line: 0, Withstand: 6}}},
		risk.Zone{ID: "yard", Place: risk.Outside})
	r, _ := assess(t, in)
	compare(t, "f", r.Structures[0].SystemFailures, 1+4*0.16+0.16+16*0.3)
}

// Table 4 and clause 5.3: R_T, typical or given; where values and prices are in money the cost comparison decides R_4.
func TestTolerableRisk(t *testing.T) {
	whole := func() *risk.Input {
		in := workshop()
		s := &in.Structures[0]
		s.PublicSupply, s.CulturalHeritage, s.Zones[0].Values.Building = risk.PowerGasWater, true, 1000
		return in
	}
	for name, c := range map[string]struct {
		change func(*risk.Input)
		want   [risk.Losses]float64
	}{
		"typical":         {func(*risk.Input) {}, [4]float64{1e-5, 1e-3, 1e-4, 1e-3}},
		"prices in money": {func(in *risk.Input) { in.Costs.Money = true }, [4]float64{1e-5, 1e-3, 1e-4, 0}},
		"as given":        {func(in *risk.Input) { in.Tolerable = [4]float64{2e-6, 3e-4, 5e-5, 7e-4} }, [4]float64{2e-6, 3e-4, 5e-5, 7e-4}},
		"R_4 given although in money": {func(in *risk.Input) { in.Costs.Money, in.Tolerable[risk.EconomicValue] = true, 7e-4 },
			[4]float64{1e-5, 1e-3, 1e-4, 7e-4}},
		"does not apply": {func(in *risk.Input) {
			in.Structures[0].PublicSupply, in.Structures[0].CulturalHeritage, in.Structures[0].Zones[0].Values = 0, false, risk.Values{}
			in.Tolerable = [4]float64{2e-6, 3e-4, 5e-5, 7e-4}
		}, [4]float64{2e-6, 0, 0, 0}},
	} {
		in := whole()
		c.change(in)
		r, _ := assess(t, in)
		for k, want := range c.want {
			if got := r.Structures[0].Risks[k].Tolerable; got != want {
				t.Errorf("%s: R_T of %v is %v, want %v", name, risk.Loss(k), got, want)
			}
		}
	}
}

// Annex D: C_L = R_4 c_t, C_RL = R_4' c_t, C_PM = C_P (i + a + m), S_M = C_L - (C_PM + C_RL).
// 1e-2 x 200 000 = 2000; 1e-3 x 200 000 = 200; 5000 x 0.12 = 600; 2000 - 800 = 1200.
func TestCostOfLoss(t *testing.T) {
	got := ed2.Edition{}.CostOfLoss(1e-2, 1e-3, 200_000, 5000, 0.12, nil)
	for what, v := range map[string][2]float64{
		"C_L": {got.Without, 2000}, "C_RL": {got.With, 200}, "C_PM": {got.Measures, 600}, "S_M": {got.Saving, 1200},
	} {
		compare(t, what, v[0], v[1])
	}
	if loss := (ed2.Edition{}).CostOfLoss(1e-2, 1e-2, 200_000, 5000, 0.12, nil); loss.Saving != -600 {
		t.Errorf("measures without effect save %v", loss.Saving)
	}
}
