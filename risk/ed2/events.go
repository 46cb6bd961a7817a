package ed2

import (
	"math"

	"levinward/risk"
	"levinward/risk/trace"
)

// place is a structure as lightning sees it: its collection area and location factor.
type place struct {
	AD, CD float64
	AM     float64
	ND, NM float64

	ad, cd, nd, nm trace.Mark
}

// lineEvents are the events on and near a line.
type lineEvents struct {
	AL, AI, NL, NI, CT float64

	nl, ni, ct trace.Mark
}

// flashDensity returns N_G, ground flashes per km2 and year.
func (c *calc) flashDensity(d *risk.FlashDensity) float64 {
	switch d.Origin {
	case risk.DensityThunderstormDays:
		TD := c.t.Given(td, d.ThunderstormDays)
		if d.Relation == risk.Power {
			return c.t.Set(ngPower, 0.04*math.Pow(TD, 1.25))
		}
		return c.t.Set(ngLinear, 0.1*TD)
	case risk.DensityMap:
		return c.t.Noted(ngMap, d.NG, d.Note)
	}
	return c.t.Noted(ngGiven, d.NG, d.Source)
}

// place computes the areas of A.2.1 and A.3 and the events of A.2.4 and A.3 of one structure.
func (c *calc) place(s *risk.Structure) place {
	var p place
	if s.Areas.Given {
		p.AD, p.AM = c.t.Given(adParts, s.Areas.Direct), c.t.Given(amParts, s.Areas.Near)
	} else {
		p.AD, p.AM = c.box(s)
	}
	p.CD = c.t.Pick(cd, locationFactor, int(s.Surroundings), 0)
	p.ND = c.t.Set(nd, c.NG*p.AD*p.CD*1e-6)
	p.NM = c.t.Set(nm, c.NG*p.AM*1e-6)
	p.ad, p.cd, p.nd, p.nm = c.t.Last(ad), c.t.Last(cd), c.t.Last(nd), c.t.Last(nm)
	return p
}

// box returns A_D (A.2.1) and A_M (A.3) of a rectangular structure with or without protrusion.
func (c *calc) box(s *risk.Structure) (AD, AM float64) {
	L, W, H := c.t.Given(length, s.Length), c.t.Given(width, s.Width), c.t.Given(height, s.Height)
	plain := c.t.Set(adBox, L*W+2*(3*H)*(L+W)+math.Pi*(3*H)*(3*H))
	AM = c.t.Set(am, 2*500*(L+W)+math.Pi*500*500)
	if s.Protrusion == 0 {
		return c.t.Set(ad, plain), AM
	}
	HP := c.t.Given(protrusion, s.Protrusion)
	mast := c.t.Set(adProtrusion, math.Pi*(3*HP)*(3*HP))
	return c.t.Set(adLarger, max(plain, mast)), AM
}

// line computes the areas and events of A.4 and A.5, section by section.
func (c *calc) line(l *risk.Line) lineEvents {
	var e lineEvents
	for i := range l.Sections {
		c.t.Enter(sectionName(i), "sections", i)
		c.section(&l.Sections[i], &e)
		c.t.Leave()
	}
	c.t.Collect(alLine, e.AL)
	c.t.Collect(aiLine, e.AI)
	c.t.Collect(nlLine, e.NL)
	c.t.Collect(niLine, e.NI)
	c.t.Collect(ctLine, e.CT)
	e.nl, e.ni, e.ct = c.t.Last(nlLine), c.t.Last(niLine), c.t.Last(ctLine)
	return e
}

func (c *calc) section(s *risk.Section, e *lineEvents) {
	of := sectionLength
	if s.Drawn {
		of = routeLength
	}
	L := c.t.Given(of, s.Length)
	CI := c.t.Pick(ci, installationFactor, int(s.Installation), 0)
	CE := c.t.Pick(ce, environmentFactor, int(s.Environment), 0)
	CT := c.t.Pick(ct, typeFactor, int(s.Service), 0)
	AL := c.t.Set(alSection, 40*L)
	AI := c.t.Set(aiSection, 4000*L)
	e.AL += AL
	e.AI += AI
	e.NL += c.t.Set(nlSection, c.NG*AL*CI*CE*CT*1e-6)
	e.NI += c.t.Set(niSection, c.NG*AI*CI*CE*CT*1e-6)
	e.CT = max(e.CT, CT)
}

// adjacent returns N_DJ, dangerous flashes to the structure at the far end (A.2.5); far is -1 for the network.
func (c *calc) adjacent(far int, e *lineEvents) float64 {
	if far < 0 {
		return c.t.Set(ndjNone, 0)
	}
	p := &c.places[far]
	c.t.Recall(p.ad)
	c.t.Recall(p.cd)
	c.t.Recall(e.ct)
	return c.t.Set(ndj, c.NG*p.AD*p.CD*e.CT*1e-6)
}
