package ed2

import (
	"strconv"

	"levinward/risk"
	"levinward/risk/trace"
)

// componentSet is a set of risk components, a bit each.
type componentSet uint8

func (s componentSet) has(c risk.Component) bool { return s&(1<<c) != 0 }

// Which components count (clause 4.3 and Table 2): always, only where failure
// of internal systems endangers life, or only where animals may be lost.
const (
	onlyA     componentSet = 1 << risk.RA
	physical  componentSet = 1<<risk.RB | 1<<risk.RV
	systemsOf componentSet = 1<<risk.RC | 1<<risk.RM | 1<<risk.RW | 1<<risk.RZ
	shocks    componentSet = 1<<risk.RA | 1<<risk.RU
)

// countingSets lists for each loss the sets that counting can return.
var countingSets = [risk.Losses][]componentSet{
	risk.HumanLife:        {onlyA, shocks | physical, shocks | physical | systemsOf},
	risk.PublicService:    {0, physical | systemsOf},
	risk.CulturalHeritage: {0, physical},
	risk.EconomicValue:    {0, onlyA, physical | systemsOf, shocks | physical | systemsOf},
}

// counting returns the components of loss k that count in a zone.
func counting(k risk.Loss, s *risk.Structure, z *risk.Zone) componentSet {
	var set componentSet
	switch k {
	case risk.HumanLife:
		set = shocks | physical
		if s.FailureEndangersLife || s.Explosion != risk.NoExplosion {
			set |= systemsOf
		}
	case risk.PublicService:
		set = physical | systemsOf
	case risk.CulturalHeritage:
		set = physical
	case risk.EconomicValue:
		set = physical | systemsOf
		if z.Values.Animals > 0 {
			set |= shocks
		}
	}
	if z.Place == risk.Outside {
		set &= onlyA
	}
	return set
}

// applicable reports which losses a structure can cause.
func applicable(s *risk.Structure) [risk.Losses]bool {
	valued := false
	for i := range s.Zones {
		valued = valued || s.Zones[i].Values.Total() > 0
	}
	return [risk.Losses]bool{
		risk.HumanLife:        true,
		risk.PublicService:    s.PublicSupply != risk.NoPublicSupply,
		risk.CulturalHeritage: s.CulturalHeritage,
		risk.EconomicValue:    valued,
	}
}

// calc is one computation.
type calc struct {
	in     *risk.Input
	t      *trace.Trace
	NG     float64
	places []place
	lines  []lineEvents

	// of the structure at hand
	ends    []lineEnd
	applies [risk.Losses]bool
	means_  means
	total   float64     // c_t
	persons float64     // n_t
	fixed   []zoneFixed // per zone; nil unless prepared
}

// zoneFixed is what no measure changes in a zone. An evaluator prepares it
// once; a single assessment computes it on the way.
type zoneFixed struct {
	factors zoneFactors
	systems []systemFixed
}

// prepare computes what no measure changes, zone by zone.
func (c *calc) prepare(s *risk.Structure) {
	KS1 := c.screen(s.Screen, mesh1, ks1Mesh, ks1Limited, ks1Plain)
	fixed := make([]zoneFixed, len(s.Zones))
	for zi := range s.Zones {
		z := &s.Zones[zi]
		fixed[zi].factors = c.zoneFactors(s, z)
		if z.Place == risk.Outside {
			continue
		}
		KS2 := c.screen(z.Screen, mesh2, ks2Mesh, ks2Limited, ks2Plain)
		for i := range z.Systems {
			fixed[zi].systems = append(fixed[zi].systems, c.systemFixed(&z.Systems[i], KS1*KS2))
		}
	}
	c.fixed = fixed
}

// zoneFactors reads the factors of Annex C with the values of the zone where they count.
func (c *calc) zoneFactors(s *risk.Structure, z *risk.Zone) zoneFactors {
	x := c.factors(s, z)
	if c.total > 0 || c.applies[risk.CulturalHeritage] {
		c.money(z, &x)
	}
	return x
}

// sites computes what does not depend on measures: N_G, every structure's place and every line's events.
func (c *calc) sites() {
	c.NG = c.flashDensity(&c.in.FlashDensity)
	c.places = make([]place, len(c.in.Structures))
	c.lines = make([]lineEvents, len(c.in.Lines))
	for i := range c.in.Structures {
		c.t.Enter(c.in.Structures[i].ID, "/structures", i)
		c.places[i] = c.place(&c.in.Structures[i])
		c.t.Leave()
	}
	for i := range c.in.Lines {
		c.t.Enter(c.in.Lines[i].ID, "/lines", i)
		c.lines[i] = c.line(&c.in.Lines[i])
		c.t.Leave()
	}
}

// open prepares a structure: its line ends, mean losses and values.
func (c *calc) open(i int, m *risk.Measures) {
	s := &c.in.Structures[i]
	c.applies = applicable(s)
	if c.ends == nil {
		c.ends = make([]lineEnd, 0, len(c.in.Lines))
	}
	c.ends = c.ends[:0]
	for l := range c.in.Lines {
		if c.in.Lines[l].Ends(i) {
			c.t.Enter(c.in.Lines[l].ID, "/lines", l)
			c.ends = append(c.ends, c.end(l, i, endMeasures(m, l)))
			c.t.Leave()
		}
	}
	c.shareRoutes()
	c.means_ = c.means(s)
	c.total = c.values(s)
	c.persons = s.Persons
	if s.Persons > 0 {
		c.t.Given(nt, s.Persons)
	}
	if s.Users > 0 && c.applies[risk.PublicService] {
		c.t.Given(nu, s.Users)
	}
}

func endMeasures(m *risk.Measures, line int) risk.EndMeasures {
	for i := range m.Ends {
		if m.Ends[i].Line == line {
			return m.Ends[i]
		}
	}
	return risk.EndMeasures{Line: line}
}

func (c *calc) endOf(line int) *lineEnd {
	for i := range c.ends {
		if c.ends[i].line == line {
			return &c.ends[i]
		}
	}
	panic("ed2: internal system of a line that does not enter the structure") // Validate refuses it
}

func (c *calc) recall(marks []trace.Mark) {
	if !c.t.Records() {
		return
	}
	for _, m := range marks {
		c.t.Recall(m)
	}
}

func (c *calc) lineName(l int) string { return c.in.Lines[l].ID }

func sectionName(i int) string {
	if i == 0 {
		return "section-1" // by far the most common, without an allocation
	}
	return "section-" + strconv.Itoa(i+1)
}

// structure computes all risks of one structure under the given measures.
func (c *calc) structure(i int, m *risk.Measures, r *risk.StructureResult) {
	s := &c.in.Structures[i]
	p := &c.places[i]
	c.recall([]trace.Mark{p.nd, p.nm})
	KS1 := c.screen(s.Screen, mesh1, ks1Mesh, ks1Limited, ks1Plain)
	lps := max(s.LPS, m.LPS)
	PB := c.t.Pick(pb, physicalDamage, int(lps), 0)
	spdCounts := lps != risk.NoLPS || s.NaturalLPS
	for k := range c.applies {
		if c.applies[k] {
			c.t.Begin(total[k])
			r.Risks[k].Applies = true
		}
	}
	for zi := range s.Zones {
		c.t.Enter(s.Zones[zi].ID, "zones", zi)
		c.zone(s, zi, p, m, zoneContext{KS1: KS1, PB: PB, spdCounts: spdCounts, frame: lps >= risk.LPSINaturalFrame}, r)
		c.t.Leave()
	}
	for k := range c.applies {
		if c.applies[k] {
			c.sum(risk.Loss(k), &r.Risks[k])
		}
	}
	r.SystemFailures = c.t.Collect(failures, r.SystemFailures)
	r.TotalValue = c.total
}

// zoneContext is what a zone needs to know of its structure.
type zoneContext struct {
	KS1, PB          float64
	spdCounts, frame bool
}

// zone computes the components of all losses in one zone and adds them to r.
func (c *calc) zone(s *risk.Structure, zi int, p *place, m *risk.Measures, x zoneContext, r *risk.StructureResult) {
	z := &s.Zones[zi]
	PA := c.t.Set(pa, c.shock(ptaMeasure, pta, shockStructure, z.StructureShock|m.StructureShock, x.frame)*x.PB)
	var fixed *zoneFixed
	if c.fixed != nil {
		fixed = &c.fixed[zi]
	}
	var fail failure
	if z.Place == risk.Inside {
		fail = c.systems(z, fixed, x.KS1, m, x.spdCounts)
		r.SystemFailures = max(r.SystemFailures, c.t.Set(failuresZone, p.ND*fail.PC+p.NM*fail.PM+fail.FW+fail.FZ))
	}
	var factors zoneFactors
	if fixed != nil {
		factors = fixed.factors
	} else {
		factors = c.zoneFactors(s, z)
	}
	if z.Place == risk.Inside {
		factors.rp = c.provisions(s, max(z.FireProtection, m.FireProtection))
	}
	events := [risk.Components]float64{
		risk.RA: p.ND * PA, risk.RB: p.ND * x.PB, risk.RC: p.ND * fail.PC, risk.RM: p.NM * fail.PM,
		risk.RU: fail.FU, risk.RV: fail.FV, risk.RW: fail.FW, risk.RZ: fail.FZ,
	}
	for k := range risk.Loss(risk.Losses) {
		if !c.applies[k] {
			continue
		}
		set := counting(k, s, z)
		if k == risk.PublicService && s.Users > 0 && z.Place == risk.Inside {
			c.t.Set(users, factors.users)
		}
		l := c.losses(k, z, &factors, set)
		r.Risks[k].Zones = append(r.Risks[k].Zones, c.components(k, set, &events, l))
	}
}

// components multiplies events x probability with the loss of each counting component.
func (c *calc) components(k risk.Loss, set componentSet, events *[risk.Components]float64, l losses) risk.ZoneRisk {
	perEvent := [risk.Components]float64{risk.RA: l.LA, risk.RB: l.LB, risk.RC: l.LC, risk.RM: l.LC, risk.RU: l.LA, risk.RV: l.LB,
		risk.RW: l.LC, risk.RZ: l.LC}
	var z risk.ZoneRisk
	for i := range risk.Components {
		if set.has(i) {
			z.Components[i] = c.t.Set(component[k][i], events[i]*perEvent[i])
			z.Total += z.Components[i]
		}
	}
	if c.t.Records() {
		c.t.Set(zoneRiskOf[k][set], z.Total)
	}
	return z
}

// sum adds the zones of a structure, in input order.
func (c *calc) sum(k risk.Loss, r *risk.Risk) {
	for i := range r.Zones {
		for j, v := range r.Zones[i].Components {
			r.Components[j] += v
		}
		r.Total += r.Zones[i].Total
	}
	if !c.t.Records() {
		return
	}
	for j := range risk.Components {
		if componentSum[k][j] != nil {
			c.t.Collect(componentSum[k][j], r.Components[j])
		}
	}
	c.t.Collect(total[k], r.Total)
	r.RestsOn = c.t.Rests(c.t.Last(total[k]))
}
