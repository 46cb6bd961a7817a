package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"levinward/api/assess"
	"levinward/api/single"
	"levinward/api/wire"
	"levinward/risk/trace"
)

// assess computes one site without server or store.
func (p *program) assess(args []string) error {
	f := p.flags("assess")
	asJSON := f.Bool("json", false, "print the result as JSON")
	check := f.Bool("check", false, "besides, re-evaluate every step of the worksheet, and compare the printed values of a published case")
	maps := mapFiles{}
	f.Var(maps, "map", "flash-density map `ID=FILE`, with FILE.json beside it; may be repeated")
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
	cases := []assess.Case{{Input: text}}
	published := false
	if *check {
		all, isCase, err := assess.ParseCases(text)
		if err != nil {
			return err
		}
		if isCase {
			cases, published = all, true
		}
	}
	a := assessment{p, maps, reviewed.Reviews, *asJSON, *check, published}
	var faults []error
	for i := range cases {
		if err := a.run(&cases[i]); err != nil && published {
			err = fmt.Errorf("%s: %w", cases[i].Title, err)
			faults = append(faults, err)
		} else if err != nil {
			return err
		}
	}
	return errors.Join(faults...)
}

// assessment answers inputs, those of published cases too.
type assessment struct {
	*program
	maps                     mapFiles
	reviews                  *trace.Reviews
	asJSON, check, published bool
}

// run writes the answer and, where asked for, the check of its worksheet behind it. Behind JSON that goes to the error output.
func (a *assessment) run(c *assess.Case) error {
	t := (*trace.Trace)(nil)
	if a.check {
		t = trace.New(0)
	}
	answer, err := compute(c.Input, a.maps, a.reviews, t)
	if err != nil {
		return err
	}
	if err := a.write(c.Input, answer); err != nil || !a.check {
		return err
	}
	report := a.out
	if a.asJSON {
		report = a.errOut
	} else {
		fmt.Fprintln(report, "\nCheck")
	}
	if err := t.Check(); err != nil {
		return err
	}
	_, err = fmt.Fprintf(report, "  %d steps of the worksheet re-evaluated, all agree to %g\n", len(t.Steps), trace.Tolerance)
	if a.published {
		(&page{w: report}).wrapped("  ", "  ", c.Title+" ("+c.Origin+")")
		err = errors.Join(err, c.Compare(report, answer))
	}
	return err
}

func (a *assessment) write(text []byte, answer *wire.Result) error {
	if a.asJSON {
		e := json.NewEncoder(a.out)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		return e.Encode(answer)
	}
	stress, err := single.Stress(text, a.maps, a.reviews)
	if err != nil {
		return err
	}
	return summary(a.out, answer, stress)
}

// maxInput bounds what is read of a file.
const maxInput = 2 << 20

func (p *program) read(name string) ([]byte, error) {
	in := p.in
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer file.Close()
		in = file
	}
	text, err := io.ReadAll(io.LimitReader(in, maxInput+1))
	if err == nil && len(text) > maxInput {
		err = errors.New("the input is larger than 2 MiB")
	}
	return text, err
}

// compute decodes and computes an input; the error lists all faults.
func compute(text []byte, maps mapFiles, reviews *trace.Reviews, t *trace.Trace) (*wire.Result, error) {
	return single.Compute(text, engine, maps, reviews, t)
}
