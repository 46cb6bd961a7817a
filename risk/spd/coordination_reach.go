package spd

import (
	"slices"
)

// reach computes the place and the effective protection level of stage i and how far it protects.
func (c *coordinator) reach(i int) {
	r := StageReach{At: c.place(i)}
	if up := c.stages[i].Device.stated(); up.Valid {
		level := c.effectiveLevel(&c.stages[i], up.Value)
		r.EffectiveLevel = Some(level)
		if r.DistanceIgnored = level < c.o.Withstand/2; !r.DistanceIgnored {
			r.ProtectionDistance = Some(c.t.Set(qCoordReach, max(0, (c.o.Withstand-level)*1000/coordGradient)))
		}
		if r.ProtectionDistance.Valid && r.At.Valid {
			r.EndsAt = Some(c.t.Set(qCoordEnd, r.At.Value+r.ProtectionDistance.Value))
		}
	}
	c.Stages = append(c.Stages, r)
	c.distance(i, &r)
}

// place is where stage i stands, absent where a cable before it is not known.
func (c *coordinator) place(i int) Opt {
	if i == 0 {
		at := c.t.Noted(qCoordAt, 0, "the first stage")
		c.at = c.t.Last(qCoordAt)
		return Some(at)
	}
	before, cable := c.Stages[i-1].At, c.stages[i-1].CableAfter
	if !before.Valid || !cable.Valid {
		return Opt{}
	}
	c.t.Recall(c.at)
	l := c.t.Given(qCoordCable, cable.Value)
	at := c.t.Set(qCoordNext, before.Value+l)
	c.at = c.t.Last(qCoordAt)
	return Some(at)
}

// effectiveLevel is U_P/F [kV].
func (c *coordinator) effectiveLevel(s *Stage, up float64) float64 {
	t := c.t
	l := s.LeadLength.Value
	if s.LeadLength.Valid {
		t.Given(qCoordLead, l)
	} else {
		l = t.Noted(qCoordLead, coordPreferred, "not known, taken as the preferred length")
	}
	line := leadsInduced
	if class := coordClass(&s.Device, 0); class < 0 || class == coordClassI || class == coordData || l > coordPreferred {
		line = leadsLightning
	}
	k := t.Pick(qLeadC, leadDrop, line, 0)
	share := t.Pick(qLeadK, leadDrop, leadsInduced, 1)
	t.Given(qCoordUp, up)
	drop := t.Set(qCoordDU, max(k*l, share*up))
	if s.Device.Technology == Switching {
		return t.Set(qCoordUpfSwitch, max(up, drop))
	}
	return t.Set(qCoordUpf, up+drop)
}

// distance says where the protection distance of stage i ends.
func (c *coordinator) distance(i int, r *StageReach) {
	f := CoordinationFinding{Rule: CoordProtectionDistance, Stage: i, Guidance: true, Clause: coordProtection, Provenance: read,
		Reason: "Guidance only: (U_W - U_P/F) / 25 V/m, not considered where U_P/F is below half of U_W."}
	cable := c.stages[i].CableAfter
	if cable.Valid {
		f.Required = "at least " + coordMetres(cable.Value) + ", to the next stage or the equipment"
	}
	switch {
	case !r.EffectiveLevel.Valid:
		f.missing("U_P")
	case r.DistanceIgnored:
		f.Found = "not considered: U_P/F " + coordNumber(r.EffectiveLevel.Value) + " kV"
	case !cable.Valid:
		f.Found, f.Verdict = coordMetres(r.ProtectionDistance.Value), InsufficientData
		f.Reason += " Measure the cable behind the stage."
	default:
		f.Found = coordMetres(r.ProtectionDistance.Value)
		f.Verdict = coordJudged(r.ProtectionDistance.Value >= cable.Value, Ineffective)
	}
	c.find(f)
}

// atEquipment judges what reaches the equipment behind the last stage.
func (c *coordinator) atEquipment() {
	last := len(c.stages) - 1
	level, cable := c.Stages[last].EffectiveLevel, c.stages[last].CableAfter
	line := targetNear
	switch {
	case cable.Valid && cable.Value == 0:
		line = targetAt
	case c.o.Vital:
		line = targetVital
	case cable.Valid && cable.Value > farAway:
		line = targetFar
	}
	share := c.t.Pick(qKU, target, line, 0)
	limit := c.t.Set(qUlim, share*c.o.Withstand)
	f := CoordinationFinding{Rule: CoordTarget, Stage: last, Required: "U_P/F at most " + coordNumber(limit) + " kV",
		Clause: target.Clause, Provenance: target.Rows[line].Provenance,
		Reason: "Share of U_W that may come from the last stage: " + target.Rows[line].Text + "."}
	switch {
	case !level.Valid:
		f.missing("U_P")
	case level.Value > limit*(1+1e-9):
		f.Found, f.Verdict = coordNumber(level.Value)+" kV", Ineffective
	case !cable.Valid && level.Value > c.o.Withstand/2:
		f.Found, f.Verdict = coordNumber(level.Value)+" kV, cable to the equipment not known", InsufficientData
		f.Reason += " Measure the cable to the equipment."
	default:
		f.Found = coordNumber(level.Value) + " kV"
	}
	c.find(f)
	c.further(last, level, cable)
}

// further says whether the equipment needs a device of its own.
func (c *coordinator) further(last int, level, cable Opt) {
	f := CoordinationFinding{Rule: CoordFurtherStage, Stage: last,
		Required: "at most 10 m of cable to the equipment, or U_P/F at most half of U_W and shielded wiring", Clause: stdSPD, Provenance: read,
		Reason: "Beyond 10 m oscillation can double the voltage. Another handbook uses 30 m."}
	low := level.Valid && level.Value <= c.o.Withstand/2
	switch {
	case low && (c.o.Shielded || cable.Valid && cable.Value <= farAway):
		f.Found = "U_P/F " + coordNumber(level.Value) + " kV"
	case low && cable.Valid:
		f.Found, f.Verdict = coordMetres(cable.Value)+", U_P/F "+coordNumber(level.Value)+" kV, wiring not told", InsufficientData
		f.Reason += " Half of U_W is enough where the wiring to the equipment is shielded: see whether it is, or put a device at the equipment."
	case !cable.Valid:
		f.Found, f.Verdict = "cable not known", InsufficientData
		f.Reason += " Measure the cable to the equipment."
	case cable.Value <= farAway:
		f.Found = coordMetres(cable.Value)
	case !level.Valid:
		f.missing("U_P")
	default:
		f.Found, f.Verdict = coordMetres(cable.Value)+", U_P/F "+coordNumber(level.Value)+" kV", Ineffective
		f.Reason += " Put a device at the equipment."
		c.FurtherStage = true
	}
	c.find(f)
}

// sentence is the outcome in plain words.
func (c *coordinator) sentence() string {
	i := slices.IndexFunc(c.Findings, func(f CoordinationFinding) bool { return !f.Guidance && f.Verdict == c.Verdict })
	f := &c.Findings[i]
	name := c.stages[f.Stage].Name
	if name == "" {
		name = "stage " + coordNumber(float64(f.Stage+1))
	}
	switch {
	case c.Verdict == Suitable:
		return "The devices fit behind each other, and what passes the last one is within what the equipment withstands."
	case c.Verdict == InsufficientData:
		return "Not proved yet: at " + name + " wanted is " + f.Required + ", found is " + f.Found + "."
	case c.FurtherStage && c.Verdict == Ineffective:
		return "The equipment is too far from the last device: put one more at the equipment."
	case c.Verdict == Ineffective:
		return "Does not protect the equipment: at " + name + " wanted is " + f.Required + ", found is " + f.Found + "."
	}
	return "Not to be built like this: at " + name + " wanted is " + f.Required + ", found is " + f.Found + "."
}
