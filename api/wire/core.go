package wire

import (
	"strconv"
	"strings"
	"unicode"

	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/measures"
	"levinward/risk/trace"
)

// Site is an input ready for computation, with the defaults that completed it.
type Site struct {
	Input      risk.Input
	Assumed    []Assumed
	Violations []risk.Violation
	Electrodes []SiteElectrode // whose resistance is still to be computed
	Parts      []SiteParts     // whose areas are still to be computed
	Routes     []SiteRoute     // whose lengths are still to be computed
	Measured   bool            // parts and routes have been
}

// SiteElectrode is the earth electrode of a structure.
type SiteElectrode struct {
	Structure int
	Electrode earth.Electrode
}

// Core turns a decoded input into the plain types of package risk: defaults
// taken and listed, references resolved, every fault of reference found. Nothing is
// computed. The site can be used only if there are no violations.
func (in *Input) Core() *Site { return in.CoreWith(nil) }

// CoreWith is Core with table values that a reader has reviewed: they go into the computation and into
// defaults that come from tables.
func (in *Input) CoreWith(reviews *trace.Reviews) *Site {
	b := &builder{in: in, site: &Site{Input: risk.Input{Reviews: reviews}, Assumed: make([]Assumed, 0, defaultsExpected)}, structures: map[string]int{}, lines: map[string]int{}}
	b.texts()
	b.head()
	b.density()
	b.names()
	for i := range in.Structures {
		b.structure(i)
	}
	if in.Lines == nil {
		b.assumedLines()
	} else {
		for i := range *in.Lines {
			b.line(i)
		}
		b.ownEnvironments()
		b.trunks()
	}
	for i := range in.Structures {
		b.zones(i)
	}
	return b.site
}

// texts refuses control characters, which no file or database keeps reliably, in every text of the input.
func (b *builder) texts() {
	b.text(b.in.Name, "name")
	b.text(b.in.Reference, "reference")
	b.text(b.in.FlashDensity.Source, "flash_density", "source")
	for i := range b.in.Structures {
		b.text(b.in.Structures[i].ID, "structures", i, "id")
		if b.in.Structures[i].Zones != nil {
			for z := range *b.in.Structures[i].Zones {
				b.text((*b.in.Structures[i].Zones)[z].ID, "structures", i, "zones", z, "id")
			}
		}
	}
	if b.in.Lines != nil {
		for i := range *b.in.Lines {
			b.text((*b.in.Lines)[i].ID, "lines", i, "id")
			b.text((*b.in.Lines)[i].SharedRoute, "lines", i, "shared_route")
		}
	}
}

func (b *builder) text(s string, at ...any) {
	if strings.ContainsFunc(s, unicode.IsControl) || strings.ContainsRune(s, unicode.ReplacementChar) {
		b.fault(risk.RuleOutOfRange, pointer(at...), "must not hold control characters or bytes that are not UTF-8")
	}
}

// defaultsExpected is room for the defaults of a small site.
const defaultsExpected = 48

type builder struct {
	in         *Input
	site       *Site
	structures map[string]int // id to index
	lines      map[string]int
}

func (b *builder) fault(rule risk.Rule, pointer, reason string) {
	b.site.Violations = append(b.site.Violations, risk.Violation{Rule: rule, Pointer: pointer, Reason: reason})
}

func pointer(parts ...any) string {
	s := make([]byte, 0, 64)
	for _, p := range parts {
		s = append(s, '/')
		switch p := p.(type) {
		case int:
			s = strconv.AppendInt(s, int64(p), 10)
		case string:
			s = append(s, p...)
		}
	}
	return string(s)
}

// or takes a given value, or assumes the default.
func or[T any](b *builder, given *T, d *Default, value T, where Where, at ...any) T {
	if given != nil {
		return *given
	}
	b.assume(d, where, at...)
	return value
}

func (b *builder) assume(d *Default, where Where, at ...any) {
	b.site.Assumed = append(b.site.Assumed, Assumed{Default: d, Where: where, base: at})
}

var nowhere = Where{-1, -1, -1, -1}

func (b *builder) head() {
	in, core := b.in, &b.site.Input
	core.Name, core.Reference = in.Name, in.Reference
	core.Edition = or(b, in.Edition, defaultEdition, defaultEdition.Value, nowhere)
	core.Location = risk.Location{Latitude: *in.Location.Latitude, Longitude: *in.Location.Longitude}
	core.Altitude = value(in.Altitude)
	core.SoilResistivity = or(b, in.SoilResistivity, defaultSoil, 0, nowhere)
	if t := in.Tolerable; t != nil {
		for k, v := range [risk.Losses]*float64{t.HumanLife, t.PublicService, t.CulturalHeritage, t.EconomicValue} {
			if v != nil {
				core.Tolerable[k] = *v
			}
		}
	}
	core.Costs = b.costs()
}

func (b *builder) costs() risk.Costs {
	m := b.in.MeasureCosts
	if m == nil {
		b.assume(defaultCosts, nowhere)
		return measures.DefaultCosts()
	}
	c := risk.Costs{Money: true, Currency: m.Currency, WarningNotices: *m.WarningNotices, Insulation: *m.Insulation}
	c.LPS[risk.LPSIV], c.LPS[risk.LPSIII], c.LPS[risk.LPSII], c.LPS[risk.LPSI] = *m.LPS.IV, *m.LPS.III, *m.LPS.II, *m.LPS.I
	c.LPS[risk.LPSINaturalFrame], c.LPS[risk.LPSIFullCover] = *m.LPS.I, *m.LPS.I
	c.Bonding[risk.LevelIIIIV], c.Bonding[risk.LevelII], c.Bonding[risk.LevelI] = *m.Bonding.IIIIV, *m.Bonding.II, *m.Bonding.I
	c.Coordinated[risk.LevelIIIIV], c.Coordinated[risk.LevelII], c.Coordinated[risk.LevelI] = *m.Coordinated.IIIIV, *m.Coordinated.II, *m.Coordinated.I
	c.Bonding[risk.BetterThanI], c.Coordinated[risk.BetterThanI] = *m.Bonding.I, *m.Coordinated.I
	c.FireProtection[risk.ManualFireProtection], c.FireProtection[risk.AutomaticFireProtection] = *m.FireProtection.Manual, *m.FireProtection.Automatic
	if w := m.Wiring; w != nil {
		c.Wiring = &[risk.ShieldedWiring + 1]float64{risk.LargeLoopsAvoided: *w.LargeLoopsAvoided, risk.LoopsAvoided: *w.LoopsAvoided,
			risk.ShieldedWiring: *w.Shielded}
	} else {
		b.assume(defaultWiringPrices, nowhere, "measure_costs")
	}
	c.Interest = or(b, m.Interest, defaultInterest, 0.05, nowhere, "measure_costs")
	c.Amortization = or(b, m.Amortization, defaultAmortization, 0.05, nowhere, "measure_costs")
	c.Maintenance = or(b, m.Maintenance, defaultMaintenance, 0.05, nowhere, "measure_costs")
	return c
}

func (b *builder) density() {
	f, d := b.in.FlashDensity, &b.site.Input.FlashDensity
	d.Source = f.Source
	if f.Year != nil {
		d.Year = int(*f.Year)
	}
	if f.StandardError != nil {
		d.StandardError = *f.StandardError
	}
	b.interval(f, d)
	given := 0
	for _, there := range [...]bool{f.GroundFlashes != nil, f.ThunderstormDays != nil, f.Map != nil} {
		if there {
			given++
		}
	}
	if given != 1 {
		b.fault(risk.RuleContradiction, "/flash_density", "exactly one of ground_flashes_per_km2_year, thunderstorm_days_per_year, map must be given")
		return
	}
	if f.Relation != nil && f.ThunderstormDays == nil {
		b.fault(risk.RuleNotApplicable, "/flash_density/relation", "goes with thunderstorm_days_per_year only")
	}
	switch {
	case f.GroundFlashes != nil:
		d.NG = *f.GroundFlashes
	case f.Map != nil: // whoever computes takes N_G from it
		b.text(*f.Map, "flash_density", "map")
		d.Origin, d.Map = risk.DensityMap, *f.Map
	default:
		d.Origin, d.ThunderstormDays = risk.DensityThunderstormDays, *f.ThunderstormDays
		d.Relation = or(b, f.Relation, defaultRelation, larger(*f.ThunderstormDays), nowhere, "flash_density")
	}
}

// larger is the relation that gives the higher N_G for a number of thunderstorm days: 0.04 T^1.25 exceeds 0.1 T from about 39 days on.
func larger(days float64) risk.Relation {
	const crossing = 39.0625 // (0.1/0.04)^4
	if days > crossing {
		return risk.Power
	}
	return risk.Linear
}

// names indexes the ids of structures and lines and finds duplicates.
func (b *builder) names() {
	b.site.Input.Structures = make([]risk.Structure, len(b.in.Structures))
	for i := range b.in.Structures {
		b.name(b.structures, b.in.Structures[i].ID, i, pointer("structures", i, "id"))
	}
	if b.in.Lines == nil {
		return
	}
	b.site.Input.Lines = make([]risk.Line, len(*b.in.Lines))
	for i := range *b.in.Lines {
		b.name(b.lines, (*b.in.Lines)[i].ID, i, pointer("lines", i, "id"))
	}
}

func (b *builder) name(ids map[string]int, id string, i int, pointer string) {
	if first, taken := ids[id]; taken {
		b.fault(risk.RuleDuplicateID, pointer, "is also the id of entry "+strconv.Itoa(first)+"; every id must be different")
		return
	}
	ids[id] = i
}

func (b *builder) structure(i int) {
	w, s := &b.in.Structures[i], &b.site.Input.Structures[i]
	s.ID = w.ID
	b.shape(i)
	s.NotAssessed = w.Assess != nil && !*w.Assess
	where := Where{i, -1, -1, -1}
	at := []any{"structures", i}
	s.Surroundings = or(b, w.Surroundings, defaultSurroundings, risk.Isolated, where, at...)
	if s.NotAssessed {
		return
	}
	s.Occupancy = risk.Occupancy(or(b, w.Occupancy, defaultOccupancy, Occupancy(risk.OccupancyUnknown), where, at...))
	s.LPS = or(b, w.LPS, defaultLPS, risk.NoLPS, where, at...)
	s.NaturalLPS = or(b, w.NaturalLPS, defaultNaturalLPS, false, where, at...)
	s.Screen = b.screen(w.ScreenMesh, defaultOuterScreen, where, at)
	hospital := s.Occupancy == risk.Hospital
	life := defaultEndangersLife
	if hospital {
		life = defaultHospitalLife
	}
	if s.Occupancy == risk.Clinic {
		life = defaultClinicLife
	}
	s.FailureEndangersLife = or(b, w.FailureEndangersLife, life, hospital, where, at...)
	s.Explosion = or(b, w.Explosion, defaultExplosion, risk.NoExplosion, where, at...)
	s.PublicSupply = or(b, w.PublicSupply, defaultPublicSupply, risk.NoPublicSupply, where, at...)
	s.CulturalHeritage = or(b, w.CulturalHeritage, defaultHeritage, false, where, at...)
	b.persons(i)
	b.earthing(i, where)
	s.DownConductors, s.Separation = count(w.DownConductors), w.Separation.Core()
}

// earthing takes the earth connection; an electrode is left to be computed.
func (b *builder) earthing(i int, where Where) {
	w, s := b.in.Structures[i].Earthing, &b.site.Input.Structures[i]
	if w == nil {
		b.assume(defaultEarthing, where, "structures", i)
		return
	}
	s.Earthing.Connection = *w.Connection
	measured, electrode := *w.Connection == risk.EarthMeasured, *w.Connection == risk.EarthElectrode
	b.goesWith(w.Resistance != nil, measured, pointer("structures", i, "earthing", "resistance_ohm"), "connection measured")
	b.goesWith(w.Electrode != nil, electrode, pointer("structures", i, "earthing", "electrode"), "connection electrode")
	s.Earthing.Resistance, s.Earthing.Common = value(w.Resistance), named(w.Common)
	if !measured {
		b.goesWith(w.MeasuredOn != nil, false, pointer("structures", i, "earthing", "measured_on"), "connection measured")
		b.goesWith(w.MeasuredBy != nil, false, pointer("structures", i, "earthing", "measured_by"), "connection measured")
	}
	b.text(named(w.MeasuredBy), "structures", i, "earthing", "measured_by")
	if electrode && w.Electrode != nil {
		b.site.Electrodes = append(b.site.Electrodes, SiteElectrode{i, w.Electrode.Core()})
	}
}

// goesWith demands a field where something else is so, and refuses it where not.
func (b *builder) goesWith(given, wanted bool, pointer, what string) {
	switch {
	case given && !wanted:
		b.fault(risk.RuleNotApplicable, pointer, "goes with "+what+" only")
	case wanted && !given:
		b.fault(risk.RuleContradiction, pointer, "is required with "+what)
	}
}

func (b *builder) screen(mesh *float64, d *Default, where Where, at []any) risk.Screen {
	if mesh == nil {
		b.assume(d, where, at...)
		return risk.Screen{}
	}
	return risk.Screen{Present: true, Mesh: *mesh}
}

// zones comes after the lines, because internal systems name them.
func (b *builder) zones(i int) {
	w, s := &b.in.Structures[i], &b.site.Input.Structures[i]
	if s.NotAssessed {
		if w.Zones != nil {
			b.fault(risk.RuleNotApplicable, pointer("structures", i, "zones"), "a structure that is not assessed has no zones")
		}
		return
	}
	if w.Zones == nil {
		b.assume(defaultZones, Where{i, -1, -1, -1}, "structures", i)
		s.Zones = make([]risk.Zone, 1)
		b.zone(i, 0, &Zone{ID: "inside"})
		return
	}
	s.Zones = make([]risk.Zone, len(*w.Zones))
	ids := map[string]int{}
	for z := range *w.Zones {
		b.name(ids, (*w.Zones)[z].ID, z, pointer("structures", i, "zones", z, "id"))
		b.zone(i, z, &(*w.Zones)[z])
	}
}

func (b *builder) zone(i, zi int, w *Zone) {
	s := &b.site.Input.Structures[i]
	z := &s.Zones[zi]
	where := Where{i, zi, -1, -1}
	at := []any{"structures", i, "zones", zi}
	z.ID = w.ID
	if w.Place != nil { // absent: inside, which the rules of an inside zone make the safe side
		z.Place = *w.Place
	}
	z.Persons = s.Persons
	if w.Persons != nil {
		z.Persons = *w.Persons
	} else if b.in.Structures[i].Zones != nil {
		b.assume(defaultZonePersons, where, at...)
	}
	z.Hours = or(b, w.Hours, defaultHours, 8760, where, at...)
	z.Surface = or(b, w.Surface, defaultSurface(z.Place), surfaceOf(z.Place), where, at...)
	z.StructureShock = shockSet(b, w.StructureShock, defaultStructureShock, where, at)
	b.own(z, w, i, zi)
	if z.Place == risk.Outside {
		if w.Systems != nil && len(*w.Systems) > 0 {
			b.fault(risk.RuleNotApplicable, pointer("structures", i, "zones", zi, "systems"), "an outside zone has no internal systems: leave systems out")
		}
		return
	}
	z.LineShock = shockSet(b, w.LineShock, defaultLineShock, where, at)
	z.FireRisk = or(b, w.FireRisk, defaultFireRisk, risk.OrdinaryFireRisk, where, at...)
	z.FireProtection = or(b, w.FireProtection, defaultFireProtection, risk.NoFireProtection, where, at...)
	z.SpecialHazard = or(b, w.SpecialHazard, defaultSpecialHazard, risk.NoHazard, where, at...)
	z.Screen = b.screen(w.ScreenMesh, defaultInnerScreen, where, at)
	b.systems(i, zi, w, where, at)
}

func surfaceOf(p risk.Place) risk.Surface {
	if p == risk.Outside {
		return risk.AgriculturalSoil
	}
	return risk.Concrete
}

type shockMeasure interface{ mask() risk.ShockMeasures }

func (m StructureShockMeasure) mask() risk.ShockMeasures { return 1 << m.bit }

func shockSet[M shockMeasure](b *builder, given *[]M, d *Default, where Where, at []any) risk.ShockMeasures {
	if given == nil {
		b.assume(d, where, at...)
		return 0
	}
	var set risk.ShockMeasures
	for _, m := range *given {
		set |= m.mask()
	}
	return set
}

// own takes the losses and values given for a zone.
func (b *builder) own(z *risk.Zone, w *Zone, i, zi int) {
	if w.Losses != nil {
		for k, l := range [risk.Losses]*LossValues{w.Losses.HumanLife, w.Losses.PublicService, w.Losses.CulturalHeritage, w.Losses.EconomicValue} {
			if l != nil {
				z.Losses[k] = risk.LossValues{LT: l.LT, LF: l.LF, LO: l.LO}
			}
		}
	}
	if w.Values != nil {
		z.Values = risk.Values{Animals: value(w.Values.Animals), Building: value(w.Values.Building), Contents: value(w.Values.Contents), Systems: value(w.Values.Systems)}
	}
}

func value(p *float64) float64 {
	if p == nil {
		return 0
	}
	return *p
}

func (b *builder) systems(i, zi int, w *Zone, where Where, at []any) {
	z := &b.site.Input.Structures[i].Zones[zi]
	lines := b.site.Input.Lines
	if w.Systems == nil {
		for l := range lines {
			if lines[l].Ends(i) {
				z.Systems = append(z.Systems, risk.System{Line: l})
			}
		}
		if len(z.Systems) > 0 {
			b.assume(defaultSystems, where, at...)
		}
		return
	}
	z.Systems = make([]risk.System, 0, len(*w.Systems))
	for n, sys := range *w.Systems {
		l, known := b.lines[sys.Line]
		switch {
		case !known:
			b.fault(risk.RuleUnknownReference, pointer("structures", i, "zones", zi, "systems", n, "line"), "there is no line "+strconv.Quote(sys.Line))
			continue
		case b.loose(l): // told where the line names its ends
			continue
		case l < len(lines) && !lines[l].Ends(i):
			b.fault(risk.RuleUnknownReference, pointer("structures", i, "zones", zi, "systems", n, "line"), "line "+strconv.Quote(sys.Line)+" does not enter this structure")
			continue
		}
		wiring := or(b, sys.Wiring, defaultWiring, risk.Unrouted, Where{i, zi, l, n}, "structures", i, "zones", zi, "systems", n)
		z.Systems = append(z.Systems, risk.System{Line: l, Wiring: wiring, Withstand: value(sys.Withstand)})
	}
}
