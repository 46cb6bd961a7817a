package spd

import (
	"levinward/risk"
)

// paths checks modes, connection type and temporary overvoltages.
func (c *checker) paths() {
	d, e := c.d, c.e
	names := make([]string, len(e.Modes))
	for i := range e.Modes {
		names[i] = e.Modes[i].Mode
	}
	c.add(Finding{Rule: RuleModes, Verdict: d.covers(&c.n), Required: list(names), Found: list(d.Modes.Names()),
		Reason: lookFor(d.Modes == 0, "the modes of protection", whyModes.reason), Clause: whyModes.clause, Provenance: whyModes.provenance})
	if e.Connection != NoConnection {
		allowed := string(e.Connection)
		if e.AlsoConnection != NoConnection {
			allowed += " or " + string(e.AlsoConnection)
		}
		f := Finding{Rule: RuleConnection, Verdict: d.connected(&c.n), Required: allowed, Found: list(d.connections().Names()),
			Reason: whyCT.reason, Clause: whyCT.clause, Provenance: whyCT.provenance}
		switch {
		case f.Verdict == Suitable && d.connections() == 0:
			f.Found = "single pole, " + list(d.Modes.Names())
		case d.connections() == 0:
			f.Reason = lookFor(true, "the connection type or the modes of protection", f.Reason)
		case f.Verdict == InsufficientData:
			f.Reason = "CT2 is allowed in IT with neutral too, but N-PE then carries the sum of the conductors, which this schedule " +
				"does not give: look for I_n and I_imp of N-PE."
		}
		c.add(f)
	}
	if e.TOVMin.Valid {
		c.compare(comparison{rule: RuleTOV, verdict: rated(d.TOV, e.TOVMin), required: e.TOVMin, found: d.TOV, unit: "V",
			entry: "U_T for 5 s, the temporary overvoltage withstood", why: whyTOV})
	}
}

// leadsFinding checks the length of the leads: up to the scheduled length, or up to 1 m where U_P with them still holds.
func (c *checker) leadsFinding() {
	allowed := leadLimit
	if c.e.Leads.MaxLength.Valid {
		allowed = c.e.Leads.MaxLength.Value
	}
	switch {
	case !c.lead.Valid && allowed == 0:
		c.caution(cautionThrough)
		return
	case !c.lead.Valid:
		c.caution(cautionLeads)
		return
	}
	l := c.lead.Value
	f := Finding{Rule: RuleLeads, Required: "at most " + amount(allowed, "m"), Found: amount(l, "m"), Margin: margin(l, allowed, true),
		Reason: whyLeads.reason, Clause: whyLeads.clause, Provenance: whyLeads.provenance}
	switch _, _, v := c.level(); {
	case !falls(allowed, l):
	case falls(leadsNever, l), !c.e.EffectiveMax.Valid:
		f.Verdict = Ineffective
	default:
		f.Verdict = v
		f.Reason = "Longer than recommended; U_P with these leads decides. " + f.Reason
	}
	c.add(f)
}

const leadsNever = 1.0 // leads together are never longer [m]

// distanceFinding checks whether a second device is needed at the equipment.
func (c *checker) distanceFinding() {
	e := c.e
	if e.Position == AtEquipment {
		return
	}
	far := c.distance.Valid && falls(farAway, c.distance.Value)
	switch {
	case !far && !e.Second:
		if !c.distance.Valid {
			c.caution(cautionDistance)
			return
		}
	case !c.halved() && c.p.Installation.Second == NotTold:
		c.caution(cautionSecond)
		return
	}
	why := &whyDistance
	if !far && e.Second {
		why = &whyVital
	}
	f := Finding{Rule: RuleDistance, Required: "at most 10 m, or a second device, or U_P with leads at most half of U_W",
		Found: "not told", Reason: why.reason, Clause: why.clause, Provenance: why.provenance}
	if why == &whyVital {
		f.Required = "a second device, or U_P with leads at most half of U_W"
	}
	if c.distance.Valid {
		f.Found = amount(c.distance.Value, "m")
	}
	if (far || e.Second) && !c.halved() && c.p.Installation.Second == Absent {
		f.Verdict = Ineffective
		f.Found += ", no second device"
	}
	c.add(f)
}

// halved reports whether U_P with leads is at most half of U_W.
func (c *checker) halved() bool {
	if !c.d.Up.Valid || !c.e.Withstand.Valid {
		return false
	}
	l := leadLimit
	switch {
	case c.lead.Valid:
		l = c.lead.Value
	case c.e.Leads.MaxLength.Valid:
		l = c.e.Leads.MaxLength.Value
	}
	return !falls(0.5*c.e.Withstand.Value, c.d.Effective(l, c.e.TestClass, c.e.Reviews))
}

func (c *checker) backupFinding() {
	if c.e.Service == risk.Telecom {
		return
	}
	backup := c.p.Installation.Backup
	if !backup.Valid {
		c.caution(cautionBackup)
		return
	}
	limit := c.d.MaxBackup
	f := Finding{Rule: RuleBackup, Required: "at most the maker's value", Found: amount(backup.Value, "A"), Reason: whyBackup.reason,
		Clause: whyBackup.clause, Provenance: whyBackup.provenance}
	switch {
	case !limit.Valid:
		f.Verdict = InsufficientData
		f.Reason = lookFor(true, "the highest rating of the backup overcurrent device", f.Reason)
	default:
		f.Required, f.Margin = "at most "+amount(limit.Value, "A"), margin(backup.Value, limit.Value, true)
		if falls(limit.Value, backup.Value) {
			f.Verdict = Unsuitable
		}
	}
	c.add(f)
}

func (c *checker) earthFinding() {
	e := c.e.Earthing
	f := Finding{Rule: RuleEarth, Required: "an earth connection", Reason: whyEarth.reason, Clause: whyEarth.clause,
		Provenance: whyEarth.provenance}
	switch {
	case e.Connection == risk.EarthNone:
		f.Verdict, f.Found = Ineffective, "none"
	case e.Proved():
		f.Found = amount(e.Resistance, "ohm")
	default:
		c.caution(noteEarth)
		return
	}
	c.add(f)
}
