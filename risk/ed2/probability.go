package ed2

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// lineEnd is one line at one structure: what Annex B says of it, whatever the zone.
type lineEnd struct {
	line         int
	NL, NI, NDJ  float64
	CLD, CLI, UW float64
	PLD, PLI     float64
	KS4          float64
	PEB, PSPD    float64
	shared       bool // a worse line on the same route counts instead

	marks [11]trace.Mark
}

// shock returns the product over the measures in the set of P_TA (B.1) or P_TU (B.6).
func (c *calc) shock(one, all *trace.Quantity, table *trace.Table, set risk.ShockMeasures, frame bool) float64 {
	p := 1.0
	if set == 0 && !frame {
		p = c.t.Pick(one, table, 0, 0)
	}
	for i := range risk.ShockMeasureNames {
		if set&(1<<i) != 0 {
			p *= c.t.Pick(one, table, i+1, 0)
		}
	}
	if frame {
		p *= c.t.Pick(one, table, frameRow, 0)
	}
	return c.t.Collect(all, p)
}

const frameRow = 5 // of shockStructure: building frame used as down-conductor

// spdProbability reads P_SPD (B.3) or P_EB (B.7), or takes the number given for a set better than LPL I.
func (c *calc) spdProbability(level, number *trace.Quantity, table *trace.Table, s risk.SPD) float64 {
	if s.Level == risk.BetterThanI {
		return c.t.Given(number, s.Probability)
	}
	return c.t.Pick(level, table, int(s.Level), 0)
}

// better returns the more effective of two sets of SPDs.
func better(a, b risk.SPD) risk.SPD {
	if a.Level > b.Level || a.Level == b.Level && a.Probability < b.Probability {
		return a
	}
	return b
}

// conditions is the row of Table B.4 that describes a line.
func conditions(l *risk.Line) int {
	aerial, buried := false, false
	for i := range l.Sections {
		if l.Sections[i].Installation == risk.Aerial {
			aerial = true
		} else {
			buried = true
		}
	}
	switch l.Shield.Type {
	case risk.IsolatingInterface:
		return 9
	case risk.MultiGroundedNeutral:
		return 2
	case risk.ProtectiveCable:
		if l.Shield.Bonded {
			return 7
		}
	case risk.NoShield:
		if aerial {
			return 0
		}
		return 1
	}
	switch { // shielded, or a protective cable that is not bonded
	case l.Shield.Bonded && buried:
		return 5
	case l.Shield.Bonded:
		return 6
	case buried: // the higher C_LI where sections differ
		return 3
	}
	return 4
}

// shieldRow is the row of Table B.8 that describes the screen of a line. A
// resistance that is not known counts as unshielded.
func shieldRow(s *risk.Shield) int {
	screened := s.Type == risk.Shielded || s.Type == risk.ProtectiveCable
	switch {
	case !screened || !s.Bonded || s.Resistance <= 0 || s.Resistance > 20:
		return 0
	case s.Resistance > 5:
		return 1
	case s.Resistance > 1:
		return 2
	}
	return 3
}

// withstandColumn is the column of Tables B.8 and B.9 for U_W [kV]: the next lower one, 1 kV at the least.
func withstandColumn(UW float64) int {
	col := 0
	for i, kv := range withstandColumns {
		if UW >= kv {
			col = i
		}
	}
	return col
}

// end prepares one line at one structure, seen with the given measures.
func (c *calc) end(l, structure int, m risk.EndMeasures) lineEnd {
	line, ev := &c.in.Lines[l], &c.lines[l]
	e := lineEnd{line: l, NL: ev.NL, NI: ev.NI}
	e.NDJ = c.adjacent(line.Far(structure), ev)
	row := conditions(line)
	e.CLD = c.t.Pick(cld, lineConditions, row, 0)
	e.CLI = c.t.Pick(cli, lineConditions, row, 1)
	e.UW = c.t.Given(uwLine, line.Withstand)
	e.KS4, e.PLD, e.PLI = c.withstand(l, e.UW)
	c.endSPD(&e, m)
	if c.t.Records() {
		e.marks = [...]trace.Mark{ev.nl, ev.ni, c.t.Last(ndj), c.t.Last(cld), c.t.Last(cli), c.t.Last(pld), c.t.Last(pli), c.t.Last(ks4),
			c.t.Last(uw), c.t.Last(peb), c.t.Last(pspd)}
	}
	return e
}

// shareRoutes leaves of the lines on one route only the one with the worst
// characteristics to count (clause 6.4).
func (c *calc) shareRoutes() {
	for i := range c.ends {
		a := &c.ends[i]
		route := c.in.Lines[a.line].SharedRoute
		if route == "" {
			continue
		}
		for j := range c.ends {
			b := &c.ends[j]
			if i != j && c.in.Lines[b.line].SharedRoute == route && worse(b, a, j < i) {
				a.shared = true
			}
		}
	}
}

// worse reports whether line end b has worse characteristics than a: more
// expected failures before SPDs. first decides between equals.
func worse(b, a *lineEnd, first bool) bool {
	fa, fb := a.failures(), b.failures()
	return fb > fa || fb == fa && first
}

func (e *lineEnd) failures() float64 { return (e.NL+e.NDJ)*e.PLD*e.CLD + e.NI*e.PLI*e.CLI }

// withstand returns what follows from U_W [kV] on a line: K_S4 (B.5), P_LD (B.8) and P_LI (B.9).
func (c *calc) withstand(l int, UW float64) (KS4, PLD, PLI float64) {
	line, col := &c.in.Lines[l], withstandColumn(UW)
	KS4 = c.t.Set(ks4, min(c.t.Set(ks4Raw, 1/UW), 1))
	PLD = c.t.Pick(pld, lineDamage, shieldRow(&line.Shield), col)
	service := 0
	if line.Service == risk.Telecom {
		service = 1
	}
	PLI = c.t.Pick(pli, nearLineDamage, service, col)
	return KS4, PLD, PLI
}

// endSPD sets what follows from the SPDs at the end: P_EB (B.7) and P_SPD (B.3).
func (c *calc) endSPD(e *lineEnd, m risk.EndMeasures) {
	line := &c.in.Lines[e.line]
	e.PEB = c.spdProbability(peb, pebNumber, bondingSPD, better(line.BondingSPD, m.Bonding))
	e.PSPD = c.spdProbability(pspd, pspdNumber, coordinatedSPD, better(line.CoordinatedSPD, m.Coordinated))
}

// screen returns K_S1 or K_S2 (B.5) of a grid-like screen.
func (c *calc) screen(s risk.Screen, mesh, raw, limited, plain *trace.Quantity) float64 {
	switch {
	case !s.Present:
		return c.t.Pick(plain, screenFactor, 0, 0)
	case s.Mesh == 0:
		return c.t.Pick(plain, screenFactor, 1, 0)
	}
	return c.t.Set(limited, min(c.t.Set(raw, 0.12*c.t.Given(mesh, s.Mesh)), 1))
}

// failure holds the probabilities and yearly numbers of damage of all internal systems of a zone.
type failure struct {
	PC, PM         float64
	FU, FV, FW, FZ float64
}

// systems computes B.4 to B.9 for each internal system of a zone.
// spdCounts: P_SPD lowers P_C, because the structure has an LPS or a natural frame.
func (c *calc) systems(z *risk.Zone, fixed *zoneFixed, KS1 float64, m *risk.Measures, spdCounts bool) failure {
	var sum failure
	passC, passM := 1.0, 1.0
	if len(z.Systems) > 0 {
		KS2 := c.screen(z.Screen, mesh2, ks2Mesh, ks2Limited, ks2Plain)
		PTU := c.shock(ptuMeasure, ptu, shockLine, z.LineShock|m.LineShock, false)
		for i := range z.Systems {
			c.t.Enter(c.lineName(z.Systems[i].Line), "systems", i)
			var own systemFixed
			if fixed != nil {
				own = fixed.systems[i]
			} else {
				own = c.systemFixed(&z.Systems[i], KS1*KS2)
			}
			own.wiring = max(own.wiring, m.Wiring)
			PC, PM, fs := c.system(&own, PTU, spdCounts)
			c.t.Leave()
			passC *= 1 - PC
			passM *= 1 - PM
			sum.FU += fs.FU
			sum.FV += fs.FV
			sum.FW += fs.FW
			sum.FZ += fs.FZ
		}
	}
	sum.PC = c.t.Collect(pcAny, 1-passC)
	sum.PM = c.t.Collect(pmAny, 1-passM)
	c.t.Collect(fu, sum.FU)
	c.t.Collect(fv, sum.FV)
	c.t.Collect(fw, sum.FW)
	c.t.Collect(fz, sum.FZ)
	return sum
}

// systemFixed is what no measure changes of an internal system.
type systemFixed struct {
	end         *lineEnd
	CLD, CLI    float64
	PLD, PLI    float64
	flashes, NI float64
	wiring      risk.Wiring
	PMS         [risk.ShieldedWiring + 1]float64 // with each wiring; where it is recorded only with its own
}

// systemFixed computes what no measure changes of an internal system. KS12 is K_S1 K_S2.
func (c *calc) systemFixed(s *risk.System, KS12 float64) systemFixed {
	e := c.endOf(s.Line)
	c.recall(e.marks[:])
	x := systemFixed{end: e, CLD: e.CLD, CLI: e.CLI, PLD: e.PLD, PLI: e.PLI, flashes: e.NL + e.NDJ, NI: e.NI, wiring: s.Wiring}
	KS4 := e.KS4
	if s.Withstand > 0 {
		UW := c.t.Given(uwSystem, s.Withstand)
		c.t.Enter(c.lineName(s.Line), "/lines", s.Line)
		KS4, x.PLD, x.PLI = c.withstand(s.Line, UW)
		c.t.Leave()
	}
	for w := s.Wiring; w <= risk.ShieldedWiring; w++ {
		KS3 := c.t.Pick(ks3, wiringFactor, int(w), 0)
		k := KS12 * KS3 * KS4
		x.PMS[w] = c.t.Set(pms, k*k)
		if c.t.Records() {
			break
		}
	}
	return x
}

// system computes one internal system with the SPDs at its line end.
func (c *calc) system(x *systemFixed, PTU float64, spdCounts bool) (PC, PM float64, f failure) {
	PEB, PSPD := x.end.PEB, x.end.PSPD
	if spdCounts {
		PC = c.t.Set(pcSystem, PSPD*x.CLD)
	} else {
		PC = c.t.Set(pcSystemBare, x.CLD)
	}
	PM = c.t.Set(pmSystem, PSPD*x.PMS[x.wiring])
	PU := c.t.Set(pu, PTU*PEB*x.PLD*x.CLD)
	PV := c.t.Set(pv, PEB*x.PLD*x.CLD)
	PW := c.t.Set(pw, PSPD*x.PLD*x.CLD)
	PZ := c.t.Set(pz, PSPD*x.PLI*x.CLI)
	if x.end.shared {
		c.t.Set(fuShared, 0)
		c.t.Set(fvShared, 0)
		c.t.Set(fwShared, 0)
		c.t.Set(fzShared, 0)
		return PC, PM, f
	}
	f.FU = c.t.Set(fuSystem, x.flashes*PU)
	f.FV = c.t.Set(fvSystem, x.flashes*PV)
	f.FW = c.t.Set(fwSystem, x.flashes*PW)
	f.FZ = c.t.Set(fzSystem, x.NI*PZ)
	return PC, PM, f
}
