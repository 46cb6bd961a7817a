package apitest

import (
	"slices"
	"strings"

	"levinward/risk"
)

// PlacedFault is where and what; the rule is empty for what the contract's schema states.
type PlacedFault struct {
	Pointer string
	Rule    risk.Rule
}

// String is pointer and rule.
func (f PlacedFault) String() string { return strings.TrimSpace(f.Pointer + " " + string(f.Rule)) }

// FaultsAt are faults that the schema of the contract states, at the places given.
func FaultsAt(pointers ...string) (faults []PlacedFault) {
	for _, p := range pointers {
		faults = append(faults, PlacedFault{Pointer: p})
	}
	return faults
}

// BrokenAt are breaches of a rule at the places given.
func BrokenAt(rule risk.Rule, pointers ...string) (faults []PlacedFault) {
	for _, p := range pointers {
		faults = append(faults, PlacedFault{p, rule})
	}
	return faults
}

// PlacesOf lists where the faults of an answer are and what they are, sorted.
func PlacesOf(faults []Fault) []string {
	var texts []string
	for _, f := range faults {
		texts = append(texts, strings.TrimSpace(*f.Pointer+" "+f.Rule))
	}
	slices.Sort(texts)
	return texts
}
