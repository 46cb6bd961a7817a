package spd

import (
	"testing"

	"pgregory.net/rapid"
)

// TestFailuresAreTheRulesOneByOne holds the set of failed rules against the rules, asked one by one.
func TestFailuresAreTheRulesOneByOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, e := drawEntry(t)
		d := drawDevice(t)
		n := NeedOf(&e)
		failed := d.Failures(&n)
		count := 0
		for r := range Rules {
			bad := d.decide(r, &n) != Suitable
			if failed.Has(r) != bad {
				t.Fatalf("%v: failed %v, asked alone %v", r, failed.Has(r), bad)
			}
			if bad {
				count++
			}
		}
		ok, first := d.Meets(&n)
		if ok != (failed == 0) || !ok && !failed.Has(first) || failed.Len() != count {
			t.Fatalf("meets %v, first %v, failed %b, %d", ok, first, failed, failed.Len())
		}
	})
}
