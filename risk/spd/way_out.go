package spd

import "math"

// leadStep is to what length of leads a way out is rounded down [m].
const leadStep = 0.05

// wayOut says what would make a harmless device that protects nothing right, empty where the sentence says it already.
func (c *checker) wayOut() string {
	if c.out.Verdict != Ineffective {
		return ""
	}
	switch c.worst().Rule {
	case RuleProtectionLevel:
		return "Way out: " + c.lowerLevel() + "."
	case RuleHighestUc:
		if e := c.e; e.UcMin.Valid && e.UcMax.Valid && e.UcMin.Value <= e.UcMax.Value {
			return "Way out: a device with U_C from " + amount(e.UcMin.Value, "V") + " to " + amount(e.UcMax.Value, "V") + "."
		}
	}
	return ""
}

// lowerLevel says how less voltage reaches the equipment: by shorter leads where they alone do, otherwise by another device.
func (c *checker) lowerLevel() string {
	another := "another device, with a lower U_P"
	if up := c.e.Order.Up; up.Valid {
		another = "a device with U_P of at most " + amount(up.Value, "kV")
	}
	if !c.lead.Valid || !c.e.EffectiveMax.Valid || !c.d.Up.Valid {
		return another
	}
	limit := c.e.EffectiveMax.Value
	steps := int(math.Floor(min(c.lead.Value, leadsNever)/leadStep + 1e-9))
	for n := steps; n >= 1; n-- {
		if l := float64(n) * leadStep; !falls(limit, c.d.Effective(l, c.e.TestClass, c.e.Reviews)) {
			return "leads of at most " + amount(math.Round(l*100)/100, "m") + " together"
		}
	}
	if !falls(limit, c.d.Up.Value) {
		return "wire through the terminals of the device, without leads, or " + another
	}
	return another + "; shorter leads alone do not help"
}
