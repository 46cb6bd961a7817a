package risk

// Violation is one fault of an input.
type Violation struct {
	Rule    Rule
	Pointer string // RFC 6901
	Reason  string // what is wrong and what is allowed
	Clause  string // where the rule comes from; empty for a rule of form
}

// Rule names a kind of fault; tests and clients compare it, never the reason.
type Rule string

// The rules an input can break.
const (
	RuleDuplicateID      Rule = "duplicate-id"
	RuleUnknownReference Rule = "unknown-reference"
	RuleSameStructure    Rule = "line-to-its-own-structure"
	RuleTooManyPersons   Rule = "zone-persons-exceed-structure"
	RuleNothingToAssess  Rule = "nothing-to-assess"
	RuleOutOfRange       Rule = "out-of-range"
	RuleNotApplicable    Rule = "not-applicable"
	RuleContradiction    Rule = "contradiction"
	RuleUnknownEdition   Rule = "unknown-edition"
	RuleNoMapValue       Rule = "no-map-value" // the site lies outside a flash-density map, or where it has no data
)
