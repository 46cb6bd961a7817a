package spd

import (
	"strconv"
	"strings"

	"levinward/risk"
)

// paths checks modes, connection type and temporary overvoltages.
func (c *checker) paths() {
	d, e := c.d, c.e
	c.add(Finding{Rule: RuleModes, Verdict: d.covers(&c.n), Required: list(c.n.modes.Names()), Found: list(d.Modes.Names()),
		Reason: lookFor(d.Modes == 0, "the modes of protection", whyModes.reason), Clause: whyModes.clause, Provenance: whyModes.provenance})
	c.zoneCaution()
	if has, needs := d.Conductors, e.Conductors; has > 0 && has < needs {
		c.caution("One device connects " + strconv.Itoa(has) + " conductors, the line has " + strconv.Itoa(needs) +
			": take as many pieces as it needs.")
	}
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
	c.overvoltageFindings()
}

// zoneCaution says what a device in an explosive atmosphere must be certified for; the zones are listed from the worst.
func (c *checker) zoneCaution() {
	switch zone, certified := c.e.Zone, c.d.Zone; {
	case zone == risk.NoExplosion:
	case certified == risk.NoExplosion, certified > zone:
		c.caution("Explosive atmosphere, zone " + zoneName(zone) +
			": the data sheet does not state that the device is certified for it. It stands outside the " +
			"zone, or another device is needed; a specialist for explosion protection decides.")
	default:
		c.caution("Explosive atmosphere, zone " + zoneName(zone) +
			": the device is certified for it by its data sheet; a specialist for explosion protection " +
			"decides.")
	}
}

// tovWords name the temporary overvoltages as a data sheet does, by mode.
var tovWords = [tovs]struct{ mode, words string }{
	tovMain:    {"", "U_T for 5 s, the temporary overvoltage withstood"},
	tovLost:    {"", "U_T for 120 min, with the neutral lost"},
	tovLPE:     {modeLPE, "U_T for 5 s between line and PE"},
	tovHighLPE: {modeLPE, "U_T for 200 ms between line and PE"},
	tovHighNPE: {modeNPE, "U_T for 200 ms of N-PE"},
}

// overvoltageFindings compares the temporary overvoltages: the one of the main path must be stated, the others are judged where
// they are, and become a caution where not.
func (c *checker) overvoltageFindings() {
	var missing []string
	for which := range tovWords {
		need, found := c.d.tovNeed(&c.n, which), c.d.tov(&c.n, which)
		w := &tovWords[which]
		switch {
		case !need.Valid:
		case which != tovMain && !found.Valid:
			missing = append(missing, w.words+", "+amount(need.Value, "V"))
		default:
			c.compare(comparison{rule: RuleTOV, mode: w.mode, verdict: rated(found, need), required: need, found: found, unit: "V", entry: w.words,
				field: "tov", why: whyTOV})
			if which == tovLost && c.d.LostSafe {
				c.out.Findings[len(c.out.Findings)-1].Found += ", safe failure"
			}
		}
	}
	if len(missing) > 0 {
		c.caution("Not checked, because the data sheet does not state it: " + strings.Join(missing, "; ") + ". Ask the maker.")
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
	switch v := c.levelVerdict(); {
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
	case !far && !e.Second && !c.distance.Valid:
		c.caution(cautionDistance)
		return
	case !far && e.Second && !c.halved() && c.second == NotTold:
		c.caution(cautionSecond)
		return
	}
	f := Finding{Rule: RuleDistance, Required: "at most 10 m, or a second device, or U_P with leads at most half of U_W and shielded wiring",
		Found: "not told", Reason: whyDistance.reason, Clause: whyDistance.clause, Provenance: whyDistance.provenance}
	if !far && e.Second {
		f.Required = "a second device, or U_P with leads at most half of U_W"
		f.Reason, f.Clause, f.Provenance = whyVital.reason, whyVital.clause, whyVital.provenance
	}
	if c.distance.Valid {
		f.Found = amount(c.distance.Value, "m")
	}
	c.judgeDistance(&f, far)
	c.add(f)
}

// judgeDistance gives the verdict: beyond 10 m half of U_W is an alternative to the second device with shielded wiring only.
func (c *checker) judgeDistance(f *Finding, far bool) {
	alone := c.halved() && (!far || c.shielded)
	switch {
	case !far && !c.e.Second, alone, c.second == Present:
	case c.second == Absent:
		f.Verdict = Ineffective
		f.Found += ", no second device"
	default:
		f.Verdict = InsufficientData
		f.Found += ", nothing told of a second device"
		if c.halved() {
			f.Found += " or of shielded wiring"
		}
	}
}

// halved reports whether U_P with leads is at most half of U_W.
func (c *checker) halved() bool {
	up := c.d.up(&c.n)
	if !up.Valid || !c.e.Withstand.Valid {
		return false
	}
	l := leadLimit
	switch {
	case c.lead.Valid:
		l = c.lead.Value
	case c.e.Leads.MaxLength.Valid:
		l = c.e.Leads.MaxLength.Value
	}
	return !falls(0.5*c.e.Withstand.Value, c.d.effective(up.Value, l, c.e.TestClass, c.e.Reviews))
}

// firstStageFindings compares a second device with the first by the rules of Coordinate.
func (c *checker) firstStageFindings() {
	first := c.p.Installation.First
	if first == nil {
		return
	}
	pair := coordinator{o: CoordinationOptions{Current: c.e.Current, Telecom: c.n.telecom},
		stages: []Stage{{Device: *first, CableAfter: c.p.Installation.CableBetween}, {Device: *c.d}}}
	if c.p.Installation.MakerStates {
		pair.stages[1].MakerCable = Some(0)
	}
	pair.t = pair.t.With(c.e.Reviews)
	pair.classOrder(0)
	pair.Findings = nil // the first device is not judged here
	pair.classOrder(1)
	pair.levels(1)
	pair.operating(1)
	pair.decoupling(1)
	for i := range pair.Findings {
		f := &pair.Findings[i]
		c.add(Finding{Rule: RuleFirstStage, Verdict: f.Verdict, Required: f.Required, Found: f.Found, Reason: f.Reason, Clause: f.Clause,
			Provenance: f.Provenance})
	}
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
