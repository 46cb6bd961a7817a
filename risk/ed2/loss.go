package ed2

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// means are the typical mean losses of a structure, per type of loss (Tables C.2, C.8, C.10, C.12).
type means struct {
	LT, LF, LO [risk.Losses]float64
	lt, lf, lo [risk.Losses]trace.Mark
	RX         float64 // r_f of the risk of explosion
}

// means reads the typical mean losses that apply to a structure.
func (c *calc) means(s *risk.Structure) means {
	var m means
	explosive := s.Explosion != risk.NoExplosion
	if explosive {
		m.RX = c.t.Pick(rx, fireFactor, explosionFire+int(s.Explosion), 0)
	}
	row := int(s.Occupancy)
	if explosive {
		row = explosionLoss
	}
	k := risk.HumanLife
	m.LT[k] = c.t.Pick(lt[k], meanLoss, row, 0)
	m.LF[k] = c.t.Pick(lf[k], meanLoss, row, 1)
	if explosive {
		m.LO[k] = c.t.Pick(lo[k], failureLoss, 0, 0)
	} else if s.FailureEndangersLife {
		m.LO[k] = c.t.Pick(lo[k], failureLoss, 1, 0)
	}
	if c.applies[risk.PublicService] {
		k = risk.PublicService
		m.LF[k] = c.t.Pick(lf[k], publicLoss, int(s.PublicSupply), 0)
		m.LO[k] = c.t.Pick(lo[k], publicLoss, int(s.PublicSupply), 1)
	}
	if c.applies[risk.CulturalHeritage] {
		k = risk.CulturalHeritage
		m.LF[k] = c.t.Pick(lf[k], heritageLoss, 0, 0)
	}
	if c.applies[risk.EconomicValue] {
		k = risk.EconomicValue
		m.LT[k] = c.t.Pick(lt[k], meanLoss, row, 0)
		m.LF[k] = c.t.Pick(lf[k], meanLoss, row, 2)
		m.LO[k] = c.t.Pick(lo[k], meanLoss, row, 3)
	}
	if c.t.Records() {
		for k := range c.applies {
			m.lt[k], m.lf[k], m.lo[k] = c.t.Last(lt[k]), c.t.Last(lf[k]), c.t.Last(lo[k])
		}
	}
	return m
}

// values records the values of each zone and returns c_t, their sum over the structure.
func (c *calc) values(s *risk.Structure) float64 {
	total, given := 0.0, false
	c.t.Begin(valueTotal)
	for i := range s.Zones {
		v := s.Zones[i].Values
		if v == (risk.Values{}) {
			continue
		}
		given = true
		c.t.Enter(s.Zones[i].ID, "zones", i)
		total += c.zoneValue(&v)
		c.t.Leave()
	}
	if !given {
		return 0
	}
	return c.t.Collect(valueTotal, total)
}

func (c *calc) zoneValue(v *risk.Values) float64 {
	ca, cb := c.t.Given(valueAnimals, v.Animals), c.t.Given(valueBuilding, v.Building)
	cc, cs := c.t.Given(valueContents, v.Contents), c.t.Given(valueSystems, v.Systems)
	return c.t.Set(valueZone, ca+cb+cc+cs)
}

// losses are the assembled losses of one zone (Annex C).
type losses struct{ LA, LB, LC float64 }

// zoneFactors are the factors of Annex C that all losses of a zone share.
type zoneFactors struct {
	share, f           float64 // n_z/n_t, and with t_z/8760
	users              float64 // n_z/n_u, the share of the users of a service to the public
	rt, rp, rf, hz     float64
	ca, cz, cs, ct, kc float64
}

// factors reads everything but r_p, which a measure can change.
func (c *calc) factors(s *risk.Structure, z *risk.Zone) zoneFactors {
	var x zoneFactors
	if s.Persons > 0 {
		x.share = c.t.Set(share, c.t.Given(nz, z.Persons)/c.persons)
	} else {
		x.share = c.t.Set(shareAll, 1)
	}
	x.users = x.share
	if s.Users > 0 {
		x.users = z.Persons / s.Users
	}
	x.f = c.t.Set(f, x.share*(c.t.Given(tz, z.Hours)/8760))
	x.rt = c.t.Pick(rt, surfaceFactor, int(z.Surface), 0)
	if z.Place == risk.Outside {
		return x
	}
	x.rf = c.t.Pick(rf, fireFactor, int(z.FireRisk), 0)
	if s.Explosion != risk.NoExplosion {
		x.rf = c.t.Set(rfOrRx, max(x.rf, c.means_.RX))
	}
	x.hz = c.t.Pick(hz, hazardFactor, int(z.SpecialHazard), 0)
	return x
}

// provisions returns r_p (C.4) of an inside zone.
func (c *calc) provisions(s *risk.Structure, fire risk.FireProtection) float64 {
	if s.Explosion != risk.NoExplosion {
		return c.t.Pick(rp, fireProvisions, explosionProvisions, 0)
	}
	return c.t.Pick(rp, fireProvisions, int(fire), 0)
}

// money adds the values of the zone to its factors, for the losses of heritage and economic value.
func (c *calc) money(z *risk.Zone, x *zoneFactors) {
	x.ct = c.total
	if x.ct > 0 {
		x.cz = c.zoneValue(&z.Values)
		x.ca, x.cs = z.Values.Animals, z.Values.Systems
	}
	if c.applies[risk.CulturalHeritage] && z.Place == risk.Inside {
		if x.ct > 0 {
			x.kc = c.t.Set(heritage, x.cz/x.ct)
		} else {
			x.kc = c.t.Set(heritageAll, 1)
		}
	}
}

// mean returns a mean loss: that of the zone where given, else the typical one.
func (c *calc) mean(own *float64, given *trace.Quantity, typical float64, m trace.Mark) float64 {
	if own != nil {
		return c.t.Given(given, *own)
	}
	c.t.Recall(m)
	return typical
}

// losses assembles L_A, L_B and L_C of one loss in one zone; only those of the counting components.
func (c *calc) losses(k risk.Loss, z *risk.Zone, x *zoneFactors, set componentSet) losses {
	var l losses
	own, m := &z.Losses[k], &c.means_
	if set.has(risk.RA) || set.has(risk.RU) {
		LT := c.mean(own.LT, ltGiven[k], m.LT[k], m.lt[k])
		if k == risk.HumanLife {
			l.LA = c.t.Set(la[k], x.rt*LT*x.f)
		} else {
			l.LA = c.t.Set(la[k], x.rt*LT*x.ca/x.ct)
		}
	}
	if set.has(risk.RB) {
		l.LB = c.damage(k, c.mean(own.LF, lfGiven[k], m.LF[k], m.lf[k]), x)
	}
	if set.has(risk.RC) {
		LO := c.mean(own.LO, loGiven[k], m.LO[k], m.lo[k])
		switch k {
		case risk.HumanLife:
			l.LC = c.t.Set(lc[k], LO*x.f)
		case risk.PublicService:
			l.LC = c.t.Set(lc[k], LO*x.users)
		case risk.EconomicValue:
			l.LC = c.t.Set(lc[k], LO*x.cs/x.ct)
		}
	}
	return l
}

// damage assembles L_B, which is also L_V.
func (c *calc) damage(k risk.Loss, LF float64, x *zoneFactors) float64 {
	switch k {
	case risk.HumanLife:
		return c.t.Set(lb[k], x.rp*x.rf*x.hz*LF*x.f)
	case risk.PublicService:
		return c.t.Set(lb[k], x.rp*x.rf*LF*x.users)
	case risk.CulturalHeritage:
		return c.t.Set(lb[k], x.rp*x.rf*LF*x.kc)
	}
	return c.t.Set(lb[k], x.rp*x.rf*LF*x.cz/x.ct)
}
