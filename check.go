package main

import (
	"encoding/json"
	"fmt"

	"levinward/api/single"
	"levinward/api/wire"
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

// verdict prints the sentence first, then rule by rule what is required and what was found.
func (p *program) verdict(r *wire.SPDCheckResult) error {
	w := &page{w: p.out}
	w.print("%s\n", words(r.Verdict.String()))
	w.wrapped("  ", "  ", r.Sentence)
	w.print("\n")
	rows := [][]string{{"rule", "mode", "verdict", "required", "found"}}
	for _, f := range r.Findings {
		rows = append(rows, []string{words(f.Rule.String()), f.Mode, words(f.Verdict.String()), f.Required, f.Found})
	}
	w.table(rows)
	w.print("\n")
	for _, f := range r.Findings {
		w.wrapped("  - ", "    ", fmt.Sprintf("%s: %s (%s; %s)", words(f.Rule.String()), f.Reason, f.Clause, f.Provenance))
	}
	w.list("Cautions", r.Cautions)
	return w.err
}
