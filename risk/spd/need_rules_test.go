package spd

import (
	"fmt"
	"slices"
	"testing"

	"levinward/risk"
	"levinward/risk/trace"
)

// recorded lists the values of a symbol in the worksheet of a schedule, in order.
func recorded(t tester, in *risk.Input, NG float64, symbol string) []float64 {
	t.Helper()
	tr := trace.New(200)
	Schedule(in, &risk.Result{NG: NG}, nil, tr)
	var values []float64
	for i := range tr.Steps {
		if tr.Steps[i].Quantity.Symbol == symbol {
			values = append(values, tr.Steps[i].Value)
		}
	}
	return values
}

// demandedSupply is the entry of a supply of 1 km of urban cable at N_G 0.1: CRL 850/0.1 = 8500 asks for no device.
func demandedSupply(t tester, s risk.Structure) Entry {
	t.Helper()
	return first(t, site1(s, mains(cable(1000, risk.Urban))), 0.1)
}

// A large group of people, IEC 60364-4-44 clause 443 (read), which gives no number. More than 100 persons is where
// IEC 62305-2:2010 Table C.6 has the average level of panic begin (from memory).
func TestLargeGroupOfPeople(t *testing.T) {
	for persons, want := range map[float64]bool{0: false, 99: false, 100: false, 101: true, 1000: true} {
		e := demandedSupply(t, risk.Structure{Occupancy: risk.Dwelling, Persons: persons})
		if e.Required != want || has(&e, forPeople) != want {
			t.Errorf("%v persons: required %v because %v", persons, e.Required, e.Because)
		}
	}
	for hazard, want := range map[risk.SpecialHazard]bool{risk.NoHazard: false, risk.LowPanic: false, risk.AveragePanic: true,
		risk.DifficultEvacuation: false, risk.HighPanic: true} {
		s := risk.Structure{Occupancy: risk.Dwelling, Zones: []risk.Zone{{}, {SpecialHazard: hazard}}}
		if e := demandedSupply(t, s); e.Required != want || has(&e, forPeople) != want {
			t.Errorf("%v: required %v because %v", hazard, e.Required, e.Because)
		}
	}
}

// Which occupancies belong to which case of clause 443.4: the cases are read, the sorting of the occupancies is from memory of
// the 2015 amendment.
func TestOccupancies(t *testing.T) {
	for want, occupancies := range map[grounds][]risk.Occupancy{
		forLife:     {risk.Hospital},
		forPublic:   {risk.Museum},
		forCommerce: {risk.Hotel, risk.Industrial, risk.Commercial, risk.Agricultural, risk.Office},
		forPeople:   {risk.School, risk.Civic, risk.Entertainment, risk.Church},
		againstCRL:  {risk.OccupancyUnknown, risk.Dwelling, risk.OtherOccupancy},
	} {
		for _, o := range occupancies {
			if e := demandedSupply(t, risk.Structure{Occupancy: o}); !has(&e, want) || e.Required != (want != againstCRL) {
				t.Errorf("%v: required %v because %v", o, e.Required, e.Because)
			}
		}
	}
	for _, supply := range []risk.PublicSupply{risk.PowerGasWater, risk.TVTelecom} {
		if e := demandedSupply(t, risk.Structure{Occupancy: risk.Dwelling, PublicSupply: supply}); !has(&e, forPublic) {
			t.Errorf("%v: because %v", supply, e.Because)
		}
	}
	both := demandedSupply(t, risk.Structure{Occupancy: risk.Hospital, CulturalHeritage: true, Persons: 400})
	if !has(&both, forLife) || !has(&both, forPublic) || !has(&both, forPeople) {
		t.Errorf("every case that applies is listed: %v", both.Because)
	}
}

// CRL < 1000 asks for a device (IEC 60364-4-44 clause 443, read). 1 km of urban cable: CRL = 850/N_G, which is 1000 at N_G 0.85.
func TestRiskLevelAtItsLimit(t *testing.T) {
	for _, c := range []struct {
		NG, CRL  float64
		required bool
	}{{0.85, 1000, false}, {0.8501, 999.8824, true}, {0.8499, 1000.1177, false}} {
		e := first(t, site1(dwelling, mains(cable(1000, risk.Urban))), c.NG)
		near(t, "CRL", e.CRL.Value, c.CRL, 1e-4)
		if c.CRL == 1000 && e.CRL.Value != 1000 {
			t.Fatalf("CRL %v", e.CRL.Value)
		}
		if e.Required != c.required || has(&e, forCRL) != c.required {
			t.Errorf("CRL %v: required %v because %v", e.CRL.Value, e.Required, e.Because)
		}
	}
}

// L_P = 2 L_PAL + L_PCL + 0.4 L_PAH + 0.2 L_PCH and f_env of 85 or 850 (both read). 100 m aerial, 200 m cable, 300 m aerial high
// voltage and 400 m high-voltage cable: 0.2 + 0.2 + 0.12 + 0.08 = 0.6; at N_G 2 CRL = 85/1.2 = 70.8333 or 850/1.2 = 708.333.
func TestRiskLevelOfFourKinds(t *testing.T) {
	for environment, want := range map[risk.Environment]float64{risk.Rural: 70.8333, risk.Suburban: 70.8333, risk.Urban: 708.3333,
		risk.UrbanTall: 708.3333} {
		l := mains([]risk.Section{
			{Length: 100, Environment: environment}, {Length: 200, Environment: environment, Installation: risk.Buried},
			{Length: 300, Environment: environment, Service: risk.HighVoltage},
			{Length: 400, Environment: environment, Service: risk.HighVoltage, Installation: risk.Buried},
		})
		in := site1(dwelling, l)
		near(t, environment.String(), first(t, in, 2).CRL.Value, want, 1e-4)
		for symbol, length := range map[string]float64{"L_PAL": 0.1, "L_PCL": 0.2, "L_PAH": 0.3, "L_PCH": 0.4, "L_P": 0.6} {
			if got := recorded(t, in, 2, symbol); len(got) != 1 {
				t.Errorf("%s %v", symbol, got)
			} else {
				near(t, symbol+" [km]", got[0], length, 1e-12)
			}
		}
	}
}

// A supply described for the whole kilometre has no rest that counts as aerial, and its worksheet does not say so. Clause 443
// counts up to 1 km (read); the rest as aerial line is the safe side, common practice, no published source.
func TestRestOfTheSupply(t *testing.T) {
	for length, want := range map[float64]string{999: restAerial, 1000: withinReach, 1200: withinReach} {
		tr := trace.New(100)
		Schedule(site1(dwelling, mains(aerial(length))), &risk.Result{NG: 1}, nil, tr)
		i := slices.IndexFunc(tr.Steps, func(s trace.Step) bool { return s.Quantity == qLPAL })
		if i < 0 || tr.Steps[i].Note != want {
			t.Errorf("%v m: %+v", length, tr.Steps[max(i, 0)])
		}
	}
}

// A neighbour without another supply ends the line, whichever place it has in the list: 50 m of rural cable, CRL = 85/0.05 =
// 1700. f_env 85 and L_P of the cable are read; that an island ends the supply is common practice, no published source.
func TestNeighbourEndsTheSupply(t *testing.T) {
	in := site1(risk.Structure{NotAssessed: true}, mains(cable(50, risk.Rural)))
	in.Structures = append(in.Structures, risk.Structure{ID: "house", Occupancy: risk.Dwelling})
	in.Lines[0].Structure, in.Lines[0].To = 1, 0
	near(t, "CRL", first(t, in, 1).CRL.Value, 1700, 1e-9)
}

// The critical length k/N_G of IEC 60364-7-712 (115, 200, 450, read) at another flash density: at N_G 2.5 46, 80 and 180 m.
func TestCriticalLengthByHand(t *testing.T) {
	for building, want := range map[risk.Building]float64{risk.DwellingBuilding: 46, risk.GroundPlant: 80, risk.ServiceBuilding: 180} {
		for length, required := range map[float64]bool{want - 0.1: false, want: true, want + 0.1: true} {
			l := array(length)
			l.Electrical.Building = building
			e := first(t, site1(dwelling, l), 2.5)
			near(t, fmt.Sprint(building), e.CriticalLength.Value, want, 1e-12)
			if has(&e, forRoute) != required || e.Required != required {
				t.Errorf("%v, %v m: %v", building, length, e.Because)
			}
		}
	}
}
