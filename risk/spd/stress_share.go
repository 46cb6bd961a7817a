package spd

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// tabulated is a current of Tables E.2, E.3 over the flash current it belongs to.
func (c *stressCalc) tabulated(x *end, current *trace.Quantity, col int, share *trace.Quantity) float64 {
	table := surgesPower
	if x.telecom() {
		table = surgesTelecom
	}
	j := c.t.Pick(current, table, rowFromIV(risk.LevelI), col)
	I := c.t.Pick(qI, threat, rowFromI(risk.LevelI), 0)
	return c.t.Noted(share, j/I, stressAssumedLevel)
}

// structureFlash is the waveform and the share of a flash to the structure, by the same rules as the schedule.
func (c *stressCalc) structureFlash(s *scheduler, x *end, en *Entry) (Waveform, float64, *Basis) {
	t := c.t
	onBuilding := x.pv() && x.l.Electrical.ArrayPlace == risk.ArrayOnBuilding
	switch {
	case x.inducedOnly() && (!onBuilding || en.Level != risk.NoSPD && x.separationKept()):
		return Surge820, c.tabulated(x, qNS1, colS1, qStressKS1ind), &stressByS1ind
	case x.inducedOnly():
		j, I := c.photovoltaic(x, en)
		return Impulse10350, t.Set(qStressKPV, j/I), &stressByPV
	case x.pv():
		j, I := c.photovoltaic(x, en)
		if k, why := c.shared(s, x, en); k >= j/I {
			return Impulse10350, k, why
		}
		return Impulse10350, t.Set(qStressKPV, j/I), &stressByPV
	}
	k, why := c.shared(s, x, en)
	return Impulse10350, k, why
}

// photovoltaic records the tabulated current of a pole and the flash current it belongs to.
func (c *stressCalc) photovoltaic(x *end, en *Entry) (j, I float64) {
	level := max(en.Level, risk.LevelIIIIV)
	return c.t.Pick(qStressJPV, pvSwitching, x.pvRow(level), 0), c.t.Pick(qI, threat, rowFromI(level), 0)
}

// shared records the share per conductor of a line that current can leave by: the share of the schedule, where it computed one.
func (c *stressCalc) shared(s *scheduler, x *end, en *Entry) (float64, *Basis) {
	t := c.t
	n := s.paths(x)
	part := s.perConductor(x)
	if en.Share.Ke > 0 {
		ke := t.Noted(qKe, en.Share.Ke, "as in the schedule: "+en.Share.Method)
		return t.Set(qStressKS1schedule, ke*part), shareRule(en.Share.Ke > 0.5/n)
	}
	k0 := t.Set(qStressK0, 0.5/n*part)
	kz := 0.0
	if s.impedances() {
		kz = t.Set(qStressKzSoil, s.impedanceShare(x)*part)
	} else {
		t.Absent(qStressKz, noSoil)
	}
	return t.Set(qStressKS1, max(k0, kz)), shareRule(kz > k0)
}

func shareRule(bySoil bool) *Basis {
	if bySoil {
		return &stressBySoil
	}
	return &stressByFirst
}
