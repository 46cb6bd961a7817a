package main

import (
	"encoding/json"
	"strings"

	"levinward/api/single"
	"levinward/api/wire"
	"levinward/risk/spd"
)

// checkDevice says whether a device is right for a line, both given in a file as for POST /v1/spd-checks.
func (p *program) checkDevice(args []string) error {
	f := p.flags("check-device")
	asJSON := f.Bool("json", false, "print the result as JSON")
	file := f.String("reviews", "", "reviewed table of values, a `file`")
	if err := parse(f, args, 1); err != nil {
		return err
	}
	text, err := p.read(f.Arg(0))
	if err != nil {
		return err
	}
	reviewed, err := p.readReviews(*file)
	if err != nil {
		return err
	}
	r, err := single.CheckDevice(text, reviewed.Reviews)
	if err != nil {
		return err
	}
	if *asJSON {
		e := json.NewEncoder(p.out)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		return e.Encode(r)
	}
	return p.verdict(r)
}

// verdictWords say the verdicts in words, the gravest first.
var verdictWords = []struct {
	verdict spd.Verdict
	heading string
}{{spd.Unsuitable, "Not to be used"}, {spd.Ineffective, "Harmless, but without effect"}, {spd.InsufficientData, "Not known"},
	{spd.Suitable, "Right"}}

// verdict prints the sentence first, then rule by rule what is required and what was found; why, where a rule is not met.
func (p *program) verdict(r *wire.SPDCheckResult) error {
	w := &page{w: p.out}
	w.print("%s\n", words(r.Verdict.String()))
	w.wrapped("  ", "  ", readable(r.Sentence))
	for _, v := range verdictWords {
		var lines []string
		for i := range r.Findings {
			if f := &r.Findings[i]; f.Verdict == v.verdict {
				lines = append(lines, findingLine(f))
			}
		}
		w.list(v.heading, lines)
	}
	w.list("Earth", earthNote(r))
	w.list("Cautions", r.Cautions)
	return w.err
}

// ruleNames are rules whose name is not how a technician calls them.
var ruleNames = map[spd.Rule]string{
	spd.RuleLowestUc: "U_C at least", spd.RuleHighestUc: "U_C at most", spd.RuleProtectionLevel: "U_P", spd.RuleTestClass: "test class",
}

// findingLine says what a rule requires and what was found.
func findingLine(f *wire.Finding) string {
	text := ruleNames[f.Rule]
	if text == "" {
		text = words(f.Rule.String())
	}
	if f.Mode != "" {
		text += ", " + f.Mode
	}
	text += ": found " + f.Found + ", required " + strings.TrimSuffix(f.Required, ".") + "."
	if f.Verdict != spd.Suitable {
		text += " " + f.Reason + " (" + f.Clause + "; " + words(f.Provenance.String()) + ")"
	}
	return text
}

// earthNote is the first note of the entry, about the earth connection.
func earthNote(r *wire.SPDCheckResult) []string {
	if len(r.Requirement.Notes) == 0 {
		return nil
	}
	return r.Requirement.Notes[:1]
}
