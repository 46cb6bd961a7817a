package ed2_test

import (
	"math"
	"slices"

	"levinward/risk"
)

// A second computation of the whole edition, in plain formulas, to compare the
// first with. It shares no code and no table with it. Values and formulas are those that
// tables.go and quantities.go mark as read in secondary sources or from memory,
// typed anew, clause by clause. Where the standard is silent, "project rule" says so.

// Annex A.
var (
	secondCD = map[risk.Surroundings]float64{risk.HigherObjects: 0.25, risk.SimilarObjects: 0.5, risk.Isolated: 1, risk.Hilltop: 2}
	secondCI = map[risk.Installation]float64{risk.Aerial: 1, risk.Buried: 0.5, risk.BuriedInEarthMesh: 0.01}
	secondCT = map[risk.Service]float64{risk.LowVoltage: 1, risk.Telecom: 1, risk.HighVoltage: 0.2}
	secondCE = map[risk.Environment]float64{risk.Rural: 1, risk.Suburban: 0.5, risk.Urban: 0.1, risk.UrbanTall: 0.01}
)

// Annex B.
var (
	secondPB = map[risk.LPS]float64{risk.NoLPS: 1, risk.LPSIV: 0.2, risk.LPSIII: 0.1, risk.LPSII: 0.05, risk.LPSI: 0.02,
		risk.LPSINaturalFrame: 0.01, risk.LPSIFullCover: 0.001}
	secondSPD = map[risk.Level]float64{risk.NoSPD: 1, risk.LevelIIIIV: 0.05, risk.LevelII: 0.02, risk.LevelI: 0.01} // B.3 and B.7
	secondKS3 = map[risk.Wiring]float64{risk.Unrouted: 1, risk.LargeLoopsAvoided: 0.2, risk.LoopsAvoided: 0.01, risk.ShieldedWiring: 1e-4}
)

// Annex C.
var (
	secondRT = map[risk.Surface]float64{risk.AgriculturalSoil: 1e-2, risk.Concrete: 1e-2, risk.Marble: 1e-3, risk.Ceramic: 1e-3,
		risk.Gravel: 1e-4, risk.Carpet: 1e-4, risk.Asphalt: 1e-5, risk.Linoleum: 1e-5, risk.Wood: 1e-5}
	secondRP = map[risk.FireProtection]float64{risk.NoFireProtection: 1, risk.ManualFireProtection: 0.5, risk.AutomaticFireProtection: 0.2}
	secondRF = map[risk.FireRisk]float64{risk.NoFireRisk: 0, risk.LowFireRisk: 1e-3, risk.OrdinaryFireRisk: 1e-2, risk.HighFireRisk: 1e-1}
	secondRX = map[risk.ExplosionZone]float64{risk.NoExplosion: 0, risk.Explosion0: 1, risk.Explosion1: 1e-1, risk.Explosion2: 1e-3}
	secondHZ = map[risk.SpecialHazard]float64{risk.NoHazard: 1, risk.LowPanic: 2, risk.AveragePanic: 5,
		risk.DifficultEvacuation: 5, risk.HighPanic: 10}
	// L_F of L1 (C.2), L_F and L_O of L4 (C.12). Not given: the highest of each without explosion (project rule).
	secondMeans = map[risk.Occupancy][3]float64{
		risk.OccupancyUnknown: {1e-1, 0.5, 1e-2}, risk.Dwelling: {1e-1, 0.1, 1e-4},
		risk.School: {1e-1, 0.2, 1e-3}, risk.Hospital: {1e-1, 0.5, 1e-2}, risk.Hotel: {1e-1, 0.2, 1e-2},
		risk.Civic: {1e-1, 0.1, 1e-4}, risk.Entertainment: {5e-2, 0.2, 1e-3}, risk.Church: {5e-2, 0.2, 1e-3},
		risk.Museum: {5e-2, 0.5, 1e-3}, risk.Industrial: {2e-2, 0.5, 1e-2}, risk.Commercial: {2e-2, 0.2, 1e-2},
		risk.Agricultural: {1e-2, 0.5, 1e-3}, risk.Office: {2e-2, 0.2, 1e-2}, risk.OtherOccupancy: {1e-2, 0.1, 1e-4},
		// the nearest printed rows (common practice, no published source)
		risk.Clinic: {1e-1, 0.5, 1e-2}, risk.BoardingSchool: {1e-1, 0.2, 1e-2}, risk.Workshop: {2e-2, 0.5, 1e-2},
		risk.MarketHall: {5e-2, 0.2, 1e-2}, risk.TelecomHut: {2e-2, 0.5, 1e-2}, risk.PumpHouse: {2e-2, 0.5, 1e-2},
	}
	secondLimits = [risk.Losses]float64{1e-5, 1e-3, 1e-4, 1e-3}
)

// second computes one site.
type second struct{ in *risk.Input }

func (x second) ng() float64 {
	d := x.in.FlashDensity
	if d.Origin != risk.DensityThunderstormDays {
		return d.NG
	}
	if d.Relation == risk.Power {
		return 0.04 * math.Pow(d.ThunderstormDays, 1.25)
	}
	return d.ThunderstormDays / 10
}

// structure gives A_D, A_M, N_D and N_M (A.2, A.3).
func (x second) structure(i int) risk.Events {
	s := x.in.Structures[i]
	direct, near := s.Areas.Direct, s.Areas.Near
	if !s.Areas.Given {
		direct = s.Length*s.Width + 6*s.Height*(s.Length+s.Width) + 9*math.Pi*s.Height*s.Height
		direct = math.Max(direct, 9*math.Pi*s.Protrusion*s.Protrusion)
		near = 1000*(s.Length+s.Width) + 250_000*math.Pi
	}
	return risk.Events{DirectArea: direct, NearArea: near, Direct: x.ng() * direct * secondCD[s.Surroundings] / 1e6, Near: x.ng() * near / 1e6}
}

// line gives A_L, A_I, N_L and N_I (A.4, A.5), the sections summed.
func (x second) line(l int) (e risk.Events) {
	for _, s := range x.in.Lines[l].Sections {
		factors := secondCI[s.Installation] * secondCE[s.Environment] * secondCT[s.Service] * x.ng() / 1e6
		e.DirectArea += 40 * s.Length
		e.NearArea += 4000 * s.Length
		e.Direct += 40 * s.Length * factors
		e.Near += 4000 * s.Length * factors
	}
	return e
}

// adjacent gives N_DJ of line l seen from structure i (A.2.5): with C_T, without C_I and C_E.
// Of several sections the largest C_T counts (project rule).
func (x second) adjacent(l, i int) float64 {
	line := x.in.Lines[l]
	other := line.To
	if line.To == i && line.Structure != i {
		other = line.Structure
	}
	if other == -1 {
		return 0
	}
	largest := 0.0
	for _, s := range line.Sections {
		largest = math.Max(largest, secondCT[s.Service])
	}
	return x.structure(other).Direct * largest
}

// factors gives C_LD and C_LI (B.4). Where sections are laid differently, the
// row of the higher C_LI counts (project rule); a protective cable that is not bonded counts as a shield that is not.
func (x second) factors(l int) (cld, cli float64) {
	line := x.in.Lines[l]
	buried := slices.ContainsFunc(line.Sections, func(s risk.Section) bool { return s.Installation != risk.Aerial })
	switch line.Shield.Type {
	case risk.IsolatingInterface:
		return 0, 0
	case risk.MultiGroundedNeutral:
		return 1, 0.2
	case risk.NoShield:
		return 1, 1
	}
	switch {
	case line.Shield.Type == risk.ProtectiveCable && line.Shield.Bonded:
		return 0, 0
	case line.Shield.Bonded:
		return 1, 0
	case buried:
		return 1, 0.3
	}
	return 1, 0.1
}

// column gives the next lower of the printed withstands 1, 1.5, 2.5, 4 and 6 kV, at least the first.
func column(withstand float64) int {
	switch {
	case withstand >= 6:
		return 4
	case withstand >= 4:
		return 3
	case withstand >= 2.5:
		return 2
	case withstand >= 1.5:
		return 1
	}
	return 0
}

// damage gives P_LD (B.8) and P_LI (B.9).
func (x second) damage(l int, withstand float64) (pld, pli float64) {
	line, col := x.in.Lines[l], column(withstand)
	r := line.Shield.Resistance
	metal := line.Shield.Type == risk.Shielded || line.Shield.Type == risk.ProtectiveCable
	switch known := metal && line.Shield.Bonded && r > 0; {
	case known && r <= 1:
		pld = []float64{0.6, 0.4, 0.2, 0.04, 0.02}[col]
	case known && r <= 5:
		pld = []float64{0.9, 0.8, 0.6, 0.3, 0.1}[col]
	case known && r <= 20:
		pld = []float64{1, 1, 0.95, 0.9, 0.8}[col]
	default:
		pld = 1
	}
	if line.Service == risk.Telecom {
		return pld, []float64{1, 0.5, 0.2, 0.08, 0.04}[col]
	}
	return pld, []float64{1, 0.6, 0.3, 0.16, 0.1}[col]
}

// counted reports whether line l counts for flashes to and near lines of structure i:
// of the lines on one route only the one with most failures before SPDs does (clause 6.4), the first of equals.
func (x second) counted(l, i int) bool {
	route := x.in.Lines[l].SharedRoute
	if route == "" {
		return true
	}
	failures := func(l int) float64 {
		e := x.line(l)
		cld, cli := x.factors(l)
		pld, pli := x.damage(l, x.in.Lines[l].Withstand)
		return (e.Direct+x.adjacent(l, i))*pld*cld + e.Near*pli*cli
	}
	worst := -1
	for o, other := range x.in.Lines {
		if other.SharedRoute == route && (other.Structure == i || other.To == i) && (worst < 0 || failures(o) > failures(worst)) {
			worst = o
		}
	}
	return worst == l
}

func spdValue(s risk.SPD) float64 {
	if s.Level == risk.BetterThanI {
		return s.Probability
	}
	return secondSPD[s.Level]
}

// screenValue gives K_S1 or K_S2 (B.5).
func screenValue(s risk.Screen) float64 {
	if !s.Present {
		return 1
	}
	if s.Mesh == 0 {
		return 1e-4
	}
	return math.Min(0.12*s.Mesh, 1)
}

func has(set, one risk.ShockMeasures) bool { return set&one == one }

// touch gives P_TA (B.1), where soil counts and a natural frame is a measure, or P_TU (B.6).
func touch(set risk.ShockMeasures, soil, frame bool) float64 {
	p := 1.0
	if has(set, risk.WarningNotices) {
		p *= 0.1
	}
	if has(set, risk.Insulation) {
		p *= 0.01
	}
	if has(set, risk.SoilEquipotentialization) && soil {
		p *= 0.01
	}
	if has(set, risk.PhysicalRestriction) || frame {
		p = 0
	}
	return p
}

// zoneEvents gives, for each component, the events times the probability in a zone, and the failures of internal systems.
func (x second) zoneEvents(i int, z risk.Zone) (n [risk.Components]float64, failures float64) {
	s, e := x.in.Structures[i], x.structure(i)
	frame := s.LPS == risk.LPSINaturalFrame || s.LPS == risk.LPSIFullCover
	n[risk.RA] = e.Direct * touch(z.StructureShock, true, frame) * secondPB[s.LPS]
	n[risk.RB] = e.Direct * secondPB[s.LPS]
	passC, passM := 1.0, 1.0
	for _, system := range z.Systems {
		line := x.in.Lines[system.Line]
		withstand := system.Withstand
		if withstand == 0 {
			withstand = line.Withstand
		}
		peb, pspd := spdValue(line.BondingSPD), spdValue(line.CoordinatedSPD)
		cld, cli := x.factors(system.Line)
		pld, pli := x.damage(system.Line, withstand)
		pc := cld
		if s.LPS != risk.NoLPS || s.NaturalLPS {
			pc *= pspd
		}
		passC *= 1 - pc
		pms := screenValue(s.Screen) * screenValue(z.Screen) * secondKS3[system.Wiring] * math.Min(1/withstand, 1)
		passM *= 1 - pspd*pms*pms
		if x.counted(system.Line, i) {
			events := x.line(system.Line)
			flashes := events.Direct + x.adjacent(system.Line, i)
			n[risk.RU] += flashes * touch(z.LineShock, false, false) * peb * pld * cld
			n[risk.RV] += flashes * peb * pld * cld
			n[risk.RW] += flashes * pspd * pld * cld
			n[risk.RZ] += events.Near * pspd * pli * cli
		}
	}
	n[risk.RC], n[risk.RM] = e.Direct*(1-passC), e.Near*(1-passM)
	return n, n[risk.RC] + n[risk.RM] + n[risk.RW] + n[risk.RZ]
}

// mean gives L_T, L_F or L_O: that of the zone where given.
func mean(own *float64, typical float64) float64 {
	if own != nil {
		return *own
	}
	return typical
}

// losses gives L_A, L_B and L_C of loss k in a zone (Annex C).
func (x second) losses(k risk.Loss, s risk.Structure, z risk.Zone) (la, lb, lc float64) {
	share := 1.0 // number of persons not known: everyone is in the zone (project rule)
	if s.Persons > 0 {
		share = z.Persons / s.Persons
	}
	f := share * z.Hours / 8760
	explosive := s.Explosion != risk.NoExplosion
	fire := secondRP[z.FireProtection] * secondRF[z.FireRisk]
	if explosive { // provisions do not count; of fire and explosion the larger (project rule)
		fire = math.Max(secondRF[z.FireRisk], secondRX[s.Explosion])
	}
	own, means := z.Losses[k], secondMeans[s.Occupancy]
	total := x.values(s)
	switch k {
	case risk.HumanLife:
		LF, LO := means[0], 1e-3
		if explosive {
			LF, LO = 1e-1, 1e-1
		}
		la = secondRT[z.Surface] * mean(own.LT, 1e-2) * f
		lb = fire * secondHZ[z.SpecialHazard] * mean(own.LF, LF) * f
		lc = mean(own.LO, LO) * f
	case risk.PublicService:
		LF, LO := 1e-1, 1e-2
		if s.PublicSupply == risk.TVTelecom {
			LF, LO = 1e-2, 1e-3
		}
		if s.Users > 0 { // the same persons in several zones: each user counts once (project rule)
			share = z.Persons / s.Users
		}
		lb, lc = fire*mean(own.LF, LF)*share, mean(own.LO, LO)*share
	case risk.CulturalHeritage:
		part := 1.0 // no values given: all of it in every inside zone (project rule)
		if total > 0 {
			part = sum(z.Values) / total
		}
		lb = fire * mean(own.LF, 1e-1) * part
	case risk.EconomicValue:
		LF, LO := means[1], means[2]
		if explosive {
			LF, LO = 1, 1e-1
		}
		la = secondRT[z.Surface] * mean(own.LT, 1e-2) * z.Values.Animals / total
		lb = fire * mean(own.LF, LF) * sum(z.Values) / total
		lc = mean(own.LO, LO) * z.Values.Systems / total
	}
	return la, lb, lc
}

func sum(v risk.Values) float64 { return v.Animals + v.Building + v.Contents + v.Systems }

// values gives c_t, the sum over the zones.
func (x second) values(s risk.Structure) (total float64) {
	for _, z := range s.Zones {
		total += sum(z.Values)
	}
	return total
}

// counts reports whether component c belongs to risk k in a zone (Table 2).
func counts(k risk.Loss, c risk.Component, s risk.Structure, z risk.Zone) bool {
	shock := c == risk.RA || c == risk.RU
	physical := c == risk.RB || c == risk.RV
	if z.Place == risk.Outside && c != risk.RA {
		return false
	}
	switch k {
	case risk.HumanLife:
		return shock || physical || s.FailureEndangersLife || s.Explosion != risk.NoExplosion
	case risk.PublicService:
		return !shock
	case risk.CulturalHeritage:
		return physical
	}
	return !shock || z.Values.Animals > 0
}

// result computes everything of one assessed structure.
func (x second) result(i int) risk.StructureResult {
	s := x.in.Structures[i]
	r := risk.StructureResult{Events: x.structure(i), Assessed: true, TotalValue: x.values(s)}
	applies := [risk.Losses]bool{true, s.PublicSupply != risk.NoPublicSupply, s.CulturalHeritage, r.TotalValue > 0}
	for k := range risk.Loss(risk.Losses) {
		if !applies[k] {
			continue
		}
		one := &r.Risks[k]
		one.Applies, one.Tolerable = true, x.in.Tolerable[k]
		if one.Tolerable == 0 && !(k == risk.EconomicValue && x.in.Costs.Money) {
			one.Tolerable = secondLimits[k]
		}
		for _, z := range s.Zones {
			n, _ := x.zoneEvents(i, z)
			la, lb, lc := x.losses(k, s, z)
			perEvent := map[risk.Component]float64{risk.RA: la, risk.RU: la, risk.RB: lb, risk.RV: lb,
				risk.RC: lc, risk.RM: lc, risk.RW: lc, risk.RZ: lc}
			var zone risk.ZoneRisk
			for c := range risk.Components {
				if counts(k, c, s, z) {
					zone.Components[c] = n[c] * perEvent[c]
					zone.Total += zone.Components[c]
					one.Components[c] += zone.Components[c]
				}
			}
			one.Zones = append(one.Zones, zone)
			one.Total += zone.Total
		}
	}
	for _, z := range s.Zones {
		if _, failures := x.zoneEvents(i, z); z.Place == risk.Inside {
			r.SystemFailures = math.Max(r.SystemFailures, failures)
		}
	}
	return r
}

// with returns the site with measures of one structure built in.
func with(in *risk.Input, i int, m *risk.Measures) *risk.Input {
	out := *in
	out.Structures, out.Lines = slices.Clone(in.Structures), slices.Clone(in.Lines)
	s := &out.Structures[i]
	s.Zones = slices.Clone(s.Zones)
	s.LPS = max(s.LPS, m.LPS)
	for j := range s.Zones {
		z := &s.Zones[j]
		z.StructureShock |= m.StructureShock
		z.LineShock |= m.LineShock
		z.FireProtection = max(z.FireProtection, m.FireProtection)
	}
	for _, e := range m.Ends {
		l := &out.Lines[e.Line]
		if spdValue(e.Bonding) < spdValue(l.BondingSPD) {
			l.BondingSPD = e.Bonding
		}
		if spdValue(e.Coordinated) < spdValue(l.CoordinatedSPD) {
			l.CoordinatedSPD = e.Coordinated
		}
	}
	return &out
}
