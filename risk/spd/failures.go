package spd

// RuleSet is a set of rules.
type RuleSet uint32

// Has reports whether a rule is in the set.
func (s RuleSet) Has(r Rule) bool { return s&(1<<r) != 0 }

// add puts a rule into the set unless its verdict is Suitable.
func (s *RuleSet) add(r Rule, v Verdict) {
	if v != Suitable {
		*s |= 1 << r
	}
}

// Failures returns all rules that keep a device from what Meets asks; the set is empty if none does.
func (d *Device) Failures(n *Need) (failed RuleSet) {
	failed.add(RuleCurrentKind, d.currentKind(n))
	failed.add(RuleLowestUc, d.lowestUc(n))
	failed.add(RuleHighestUc, d.highestUc(n))
	failed.add(RuleProtectionLevel, d.protects(n))
	failed.add(RuleDataSheet, d.consistent(n))
	failed.add(RuleTestClass, d.tested(n))
	failed.add(RuleNominalCurrent, max(rated(d.In, d.nominalMin(n)), d.nominalNPE(n)))
	failed.add(RuleOpenCircuit, d.openCircuit(n))
	failed.add(RuleImpulseCurrent, max(rated(d.Iimp, d.impulseMin(n)), d.impulseNPE(n)))
	failed.add(RuleShortCircuit, rated(d.ShortCircuit, n.shortCircuit))
	failed.add(RuleFollowCurrent, d.followCurrent(n))
	failed.add(RuleModes, d.covers(n))
	failed.add(RuleConnection, d.connected(n))
	failed.add(RuleTOV, d.bears(n))
	return failed
}

// Len is the number of rules in the set.
func (s RuleSet) Len() (n int) {
	for ; s != 0; s &= s - 1 {
		n++
	}
	return n
}
