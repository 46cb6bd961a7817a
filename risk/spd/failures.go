package spd

// RuleSet is a set of rules.
type RuleSet uint32

// Has reports whether a rule is in the set.
func (s RuleSet) Has(r Rule) bool { return s&(1<<r) != 0 }

// Failures returns the rules that keep a device from passing, see Passes, in their order and no
// more than most of them: whoever looks for the devices nearest to passing need not know all of the others.
func (d *Device) Failures(e *Entry, most int) (failed RuleSet, n int) {
	for r := Rule(0); r < deviceRules && n < most; r++ {
		if d.judge(r, e) != Suitable {
			failed |= 1 << r
			n++
		}
	}
	return failed, n
}
