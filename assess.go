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
	check := f.Bool("check", false, "re-evaluate every step of the worksheet, and the printed values of a published case")
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
	if *check {
		return p.check(text, maps, reviewed.Reviews)
	}
	answer, err := compute(text, maps, reviewed.Reviews, nil)
	if err != nil {
		return err
	}
	if *asJSON {
		e := json.NewEncoder(p.out)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		return e.Encode(answer)
	}
	stress, err := single.Stress(text, maps, reviewed.Reviews)
	if err != nil {
		return err
	}
	return summary(p.out, answer, stress)
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

// check re-evaluates every formula from the recorded values. A published case
// is compared with its printed values as well.
func (p *program) check(text []byte, maps mapFiles, reviews *trace.Reviews) error {
	cases, isCase, err := assess.ParseCases(text)
	if err != nil {
		return err
	}
	if !isCase {
		t := trace.New(0)
		if _, err := compute(text, maps, reviews, t); err != nil {
			return err
		}
		if err := t.Check(); err != nil {
			return err
		}
		fmt.Fprintf(p.out, "%d steps of the worksheet re-evaluated, all agree to %g\n", len(t.Steps), trace.Tolerance)
		return nil
	}
	var faults []error
	for _, c := range cases {
		t := trace.New(0)
		answer, err := compute(c.Input, maps, reviews, t)
		if err == nil {
			err = errors.Join(t.Check(), c.Compare(p.out, answer))
		}
		if err != nil {
			faults = append(faults, fmt.Errorf("%s: %w", c.Title, err))
		}
	}
	return errors.Join(faults...)
}

// compute decodes and computes an input; the error lists all faults.
func compute(text []byte, maps mapFiles, reviews *trace.Reviews, t *trace.Trace) (*wire.Result, error) {
	return single.Compute(text, engine, maps, reviews, t)
}
