package spd

import (
	"testing"

	"levinward/risk"
)

// Calculated risk level of IEC 60364-4-44 clause 443. "Read": in a public secondary source; "memory":
// worked examples of the standard's annex, from memory.
func TestCalculatedRiskLevel(t *testing.T) {
	hv := func(i risk.Installation, length float64) risk.Section {
		return risk.Section{Installation: i, Length: length, Service: risk.HighVoltage}
	}
	cases := []struct {
		name     string // with the source
		sections []risk.Section
		NG       float64
		CRL      float64
		required bool
	}{
		{"urban, 1 km of cable: 850/N_G (read)", cable(1000, risk.Urban), 1, 850, true},
		{"nothing known of the line: L_P = 2 (read)", aerial(1000), 1, 85.0 / 2, true},
		{"described for 10 m only: the rest counts as aerial, L_P = 2 (read)", aerial(10), 1, 85.0 / 2, true},
		{"rural, 0.6 km aerial, 0.4 km aerial high voltage (memory)", append(aerial(600), hv(risk.Aerial, 400)), 1, 62.5, true},
		{"rural, 0.6 km cable, 0.4 km high-voltage cable (memory)", append(cable(600, risk.Rural), hv(risk.Buried, 400)), 0.4, 312.5, true},
		{"urban, 1 km of cable (memory)", cable(1000, risk.Urban), 0.5, 1700, false},
		{"only the first kilometre counts", append(cable(1000, risk.Urban), aerial(5000)...), 0.5, 1700, false},
	}
	for _, c := range cases {
		e := first(t, site1(dwelling, mains(c.sections)), c.NG)
		near(t, c.name, e.CRL.Value, c.CRL, 1e-9*c.CRL)
		if e.Required != c.required || has(&e, forCRL) != c.required || has(&e, againstCRL) == c.required {
			t.Errorf("%s: required %v because %v", c.name, e.Required, e.Because)
		}
	}
}

// Cases of clause 443.4, read in secondary sources; the examples of occupancies are from memory.
func TestConsequences(t *testing.T) {
	cases := []struct {
		s    risk.Structure
		want grounds
	}{
		{risk.Structure{}, 0},
		{risk.Structure{Occupancy: risk.Dwelling, Persons: 4}, 0},
		{risk.Structure{Occupancy: risk.OtherOccupancy}, 0},
		{risk.Structure{Occupancy: risk.Dwelling, FailureEndangersLife: true}, forLife},
		{risk.Structure{Occupancy: risk.Hospital}, forLife},
		{risk.Structure{PublicSupply: risk.PowerGasWater}, forPublic},
		{risk.Structure{CulturalHeritage: true}, forPublic},
		{risk.Structure{Occupancy: risk.Museum}, forPublic},
		{risk.Structure{Occupancy: risk.Agricultural}, forCommerce},
		{risk.Structure{Occupancy: risk.Hotel}, forCommerce},
		{risk.Structure{Occupancy: risk.School}, forPeople},
		{risk.Structure{Occupancy: risk.Dwelling, Persons: 500}, forPeople},
		{risk.Structure{Zones: []risk.Zone{{SpecialHazard: risk.HighPanic}}}, forPeople},
	}
	for _, c := range cases {
		if got := consequences(&c.s); got != c.want {
			t.Errorf("%+v: %b, want %b", c.s, got, c.want)
		}
		e := first(t, site1(c.s, mains(cable(1000, risk.Urban))), 0.1)
		if e.Required != (c.want != 0) {
			t.Errorf("%+v: required %v", c.s, e.Required)
		}
	}
}

// An unknown use is no way out: it counts as a dwelling, and the entry says so. Common practice, no published source.
func TestUnknownOccupancy(t *testing.T) {
	known := first(t, site1(dwelling, mains(aerial(300))), 2)
	unknown := first(t, site1(risk.Structure{}, mains(aerial(300))), 2)
	if unknown.CRL != known.CRL || !unknown.Required || len(unknown.Notes) != len(known.Notes)+1 {
		t.Errorf("%+v", unknown)
	}
}

// An input that no source is connected to: common practice, no published source.
func TestSourceNotConnected(t *testing.T) {
	idle := mains(aerial(0))
	idle.Electrical.SourceConnected = false
	outside := mains(aerial(200))
	outside.Electrical.SourceConnected = false
	hospital := risk.Structure{Occupancy: risk.Hospital, FailureEndangersLife: true}

	if e := first(t, site1(hospital, idle), 20); e.Required || !has(&e, againstNotConnected) || !has(&e, againstIdle) || e.CRL.Valid {
		t.Errorf("idle input: %v because %v", e.Required, e.Because)
	}
	if e := first(t, site1(hospital, outside), 20); e.Required || !has(&e, againstNotConnected) || !e.InMin.Valid {
		t.Errorf("line outside, no lightning reason: %v because %v", e.Required, e.Because)
	}
	withLPS := hospital
	withLPS.NaturalLPS = true
	if e := first(t, site1(withLPS, outside), 20); !e.Required || !has(&e, forLPS) || e.TestClass != ClassI || e.Level != risk.LevelI {
		t.Errorf("line outside, LPS: %+v", e)
	}
	if e := first(t, site1(withLPS, idle), 20); e.Required {
		t.Errorf("idle input, LPS: %v because %v", e.Required, e.Because)
	}
	if es := schedule(t, site1(hospital, outside), 20, withSPD(risk.LevelII, risk.NoSPD)); !es[0].Required || !has(&es[0], forRisk) {
		t.Errorf("line outside, risk: %+v", es[0])
	}
}

// Critical lengths of IEC 60364-7-712, read in secondary sources: 115, 200, 450 over N_G.
func TestCriticalLength(t *testing.T) {
	for building, k := range map[risk.Building]float64{risk.DwellingBuilding: 115, risk.GroundPlant: 200, risk.ServiceBuilding: 450} {
		for _, c := range []struct {
			length   float64
			required bool
		}{{k/8 - 0.01, false}, {k / 8, true}, {k, true}} {
			l := array(c.length)
			l.Electrical.Building = building
			e := first(t, site1(dwelling, l), 8)
			near(t, building.String(), e.CriticalLength.Value, k/8, 0)
			if e.Required != c.required || has(&e, againstRoute) == c.required || !has(&e, againstPVGuide) {
				t.Errorf("%s, %v m: required %v because %v", building, c.length, e.Required, e.Because)
			}
		}
	}
}

// IEC 61643-32 for photovoltaic lines (read), common practice, no published source, for batteries.
func TestDirectCurrentFollowsAlternating(t *testing.T) {
	battery := array(3)
	battery.Electrical.Origin, battery.Electrical.Nominal = risk.Battery, 48
	for _, l := range []risk.Line{array(3), battery} {
		if e := first(t, site1(dwelling, l), 1); e.Required {
			t.Errorf("alone: %v", e.Because)
		}
		es := schedule(t, site1(dwelling, l, mains(aerial(800))), 1, nil)
		if !es[0].Required || !has(&es[0], forDCBesideAC) {
			t.Errorf("beside a.c.: %v", es[0].Because)
		}
	}
}

// Where no measures suffice, the risk analysis does not excuse a photovoltaic line. IEC 61643-32, read: devices unless a risk
// analysis says otherwise.
func TestPhotovoltaicWithoutSufficientMeasures(t *testing.T) {
	e := schedule(t, site1(dwelling, array(3)), 1, &risk.Recommendation{Needed: true})[0]
	if !e.Required || !has(&e, forPVGuide) {
		t.Errorf("%v", e.Because)
	}
}

// IEC 60364-4-44 clause 443, read: where power lines need devices, telecommunication lines are recommended to have them too.
func TestTelecommunicationFollowsPower(t *testing.T) {
	es := schedule(t, site1(dwelling, telephone(), mains(aerial(800))), 1, nil)
	if es[0].Required || es[0].Obligation != Recommended || !has(&es[0], forTelecom) {
		t.Errorf("beside a required power line: %v", es[0].Because)
	}
	es = schedule(t, site1(dwelling, telephone(), mains(cable(1000, risk.Urban))), 0.1, nil)
	if es[0].Required || !has(&es[0], againstPower) {
		t.Errorf("beside one that needs none: %v", es[0].Because)
	}
}

// A neighbour that the network supplies passes its overvoltages on; one without any other supply does not. f_env 85 F/(L_P
// N_G), L_P of cable and aerial line: read. That the line goes on behind the neighbour is common practice, no published
// source.
func TestSupplyFromANeighbour(t *testing.T) {
	in := site1(dwelling, mains(cable(50, risk.Rural)))
	in.Structures = append(in.Structures, risk.Structure{ID: "neighbour", NotAssessed: true})
	in.Lines[0].To = 1
	alone := first(t, in, 1)
	near(t, "CRL of 50 m of cable", alone.CRL.Value, 85/0.05, 1e-9)
	in.Lines = append(in.Lines, mains(aerial(2000)))
	in.Lines[1].Structure = 1
	fed := first(t, in, 1)
	near(t, "CRL with the rest behind the neighbour", fed.CRL.Value, 85/(0.05+2*0.95), 1e-9)
}

// Class I for bonding, IEC 62305-3 (read); a coordinated set on a buried line is class II (read).
func TestRecommendationDecides(t *testing.T) {
	in := site1(dwelling, mains(cable(1000, risk.Urban)))
	for _, c := range []struct {
		bonding, coordinated risk.Level
		class                TestClass
	}{
		{risk.NoSPD, risk.NoSPD, ClassII},
		{risk.LevelII, risk.NoSPD, ClassI},
		{risk.NoSPD, risk.LevelI, ClassII},
		{risk.LevelIIIIV, risk.BetterThanI, ClassI},
	} {
		e := schedule(t, in, 0.1, withSPD(c.bonding, c.coordinated))[0]
		driven := max(c.bonding, c.coordinated) > risk.NoSPD
		if e.Required != driven || has(&e, forRisk) != driven || e.TestClass != c.class || e.Level != max(c.bonding, c.coordinated) {
			t.Errorf("%+v: required %v, class %s, level %s", c, e.Required, e.TestClass, e.Level)
		}
	}
	in.Lines[0].CoordinatedSPD.Level = risk.LevelII
	if e := first(t, in, 0.1); !e.Required || !has(&e, forCounted) {
		t.Errorf("counted on: %v", e.Because)
	}
}

// Sections count from the structure outwards, from either end; the most exposed part within reach sets f_env. f_env 850 and 85
// and 1 km are read; the most exposed part is the safe side, common practice, no published source.
func TestSectionsCountFromTheStructure(t *testing.T) {
	in := site1(dwelling, mains(append(cable(1000, risk.Urban), aerial(3000)...)))
	in.Structures = append(in.Structures, dwelling)
	in.Structures[1].ID = "other"
	in.Lines[0].To = 1
	es := schedule(t, in, 1, nil)
	near(t, "urban cable first", es[0].CRL.Value, 850, 1e-9)
	near(t, "rural aerial first", es[1].CRL.Value, 85.0/2, 1e-9)
	mixed := append(aerial(500), cable(500, risk.Urban)...)
	near(t, "rural part within reach", first(t, site1(dwelling, mains(mixed)), 1).CRL.Value, 85/1.5, 1e-9)
}

// Without a recommendation, the risks as they are say whether a photovoltaic line is excused. IEC 62305-2:2010 clause 5.4
// (from memory): a risk up to R_T is tolerable.
func TestAcceptable(t *testing.T) {
	res := &risk.Result{Structures: make([]risk.StructureResult, 1)}
	res.Structures[0].Risks[risk.HumanLife] = risk.Risk{Applies: true, Total: 2e-5, Tolerable: 1e-5}
	if acceptable(res, nil) || !acceptable(res, &risk.Recommendation{Needed: true, Sufficient: true}) {
		t.Error("2e-5 against 1e-5")
	}
	res.Structures[0].Risks[risk.HumanLife].Total = 1e-5
	if !acceptable(res, nil) {
		t.Error("1e-5 against 1e-5")
	}
}

// Common practice, no published source.
func TestNoLengthNoOvervoltage(t *testing.T) {
	in := site1(dwelling, mains(aerial(0)))
	in.Structures = append(in.Structures, risk.Structure{ID: "neighbour", NotAssessed: true})
	in.Lines[0].To = 1
	if e := first(t, in, 50); e.Required || !has(&e, againstNoLength) {
		t.Errorf("%v", e.Because)
	}
}
