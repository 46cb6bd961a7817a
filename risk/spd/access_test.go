package spd

// earth is the share of the earth termination.
func (h sharing) earth() float64 { return (1 / h.Z) / (1/h.Z + h.n1/h.Z1 + h.n2/h.Z2) }

// decide applies one rule of the device. A rule that does not apply is Suitable; so is I_max, which is guidance.
func (d *Device) decide(r Rule, n *Need) Verdict {
	switch r {
	case RuleCurrentKind:
		return d.currentKind(n)
	case RuleLowestUc:
		return d.lowestUc(n)
	case RuleHighestUc:
		return d.highestUc(n)
	case RuleProtectionLevel:
		return d.protects(n)
	case RuleDataSheet:
		return d.consistent(n)
	case RuleTestClass:
		return d.tested(n)
	case RuleNominalCurrent:
		return max(rated(d.In, d.nominalMin(n)), d.nominalNPE(n))
	case RuleOpenCircuit:
		return d.openCircuit(n)
	case RuleImpulseCurrent:
		return max(rated(d.Iimp, d.impulseMin(n)), d.impulseNPE(n))
	case RuleShortCircuit:
		return rated(d.ShortCircuit, n.shortCircuit)
	case RuleFollowCurrent:
		return d.followCurrent(n)
	case RuleModes:
		return d.covers(n)
	case RuleConnection:
		return d.connected(n)
	case RuleTOV:
		return d.bears(n)
	}
	return Suitable
}
