package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"time"

	"levinward/api/reference"
	"levinward/api/wire"
	"levinward/risk/trace"
	"levinward/store"
)

// reference prints every table value and formula that the program computes with, to be compared with the printed standards.
func (p *program) reference(ctx context.Context, args []string) error {
	f := p.flags("reference")
	format := f.String("format", "text", "text, csv or json")
	file := f.String("reviews", "", "reviewed table, a `file`")
	stored := f.Bool("stored", false, "with the reviews that the database holds")
	disagreements := f.Bool("disagreements", false, "only what a reader found printed otherwise")
	dsn := p.database(f)
	if err := parse(f, args, 0); err != nil {
		return err
	}
	switch {
	case *file != "" && *stored:
		return fmt.Errorf("%w: -reviews and -stored exclude each other", errUsage)
	case *format != "text" && *format != "csv" && *format != "json":
		return fmt.Errorf("%w: -format is text, csv or json, found %q", errUsage, *format)
	}
	used := &reference.Reviewed{Rows: reference.List()}
	var err error
	switch {
	case *file != "":
		used, err = p.readReviews(*file)
	case *stored:
		used, err = p.storedReviews(ctx, *dsn)
	}
	if err != nil {
		return err
	}
	rows := used.Rows
	if *disagreements {
		rows = used.Disagreements()
	}
	switch *format {
	case "csv":
		return reference.WriteCSV(p.out, rows)
	case "json":
		e := json.NewEncoder(p.out)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		return e.Encode(wire.ReferenceValues{ReviewsHash: used.Hash, Counts: reference.Count(used.Rows).Document(), Values: reference.Documents(rows)})
	}
	return printReference(p.out, used, rows)
}

// readReviews reads a reviewed table from a file; an empty name has none. The error lists all faults.
func (p *program) readReviews(name string) (*reference.Reviewed, error) {
	if name == "" {
		return &reference.Reviewed{}, nil
	}
	in := p.in
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer file.Close()
		in = file
	}
	text, err := io.ReadAll(io.LimitReader(in, reference.MaxFile+1))
	if err != nil {
		return nil, err
	}
	r, err := reference.Read(text, time.Now())
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return r, nil
}

// storedReviews reads the reviews that a database has in use.
func (p *program) storedReviews(ctx context.Context, dsn string) (*reference.Reviewed, error) {
	db, err := openStore(ctx, dsn)
	if err != nil {
		return nil, err
	}
	defer db.Close()
	stored, err := reference.NewCurrent(db, store.Local).Get(ctx)
	switch {
	case err != nil:
		return nil, err
	case stored == nil:
		return nil, errors.New("the database holds no reviews in use")
	}
	for _, f := range stored.Outdated {
		fmt.Fprintf(p.errOut, "not used, %s\n", f)
	}
	return stored.Reviewed, nil
}

// review keeps a reviewed table in the database, for everything that is computed from then on.
func (p *program) review(ctx context.Context, args []string) error {
	f := p.flags("review")
	dsn := p.database(f)
	if err := parse(f, args, 1); err != nil {
		return err
	}
	r, err := p.readReviews(f.Arg(0))
	if err != nil {
		return err
	}
	db, err := openStore(ctx, *dsn)
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.PutReviews(ctx, store.Local, store.ReviewsTable{Hash: r.Hash, StoredAt: time.Now(), Document: r.Document}, nil); err != nil {
		return err
	}
	w := &page{w: p.out}
	w.print("Reviews %s are in use: %s agreed, %s not.\n", r.Hash, rowsOf(r.Agreed()), strconv.Itoa(len(r.Disagreements())))
	w.disagreements(r.Disagreements())
	return w.err
}

func rowsOf(n int) string {
	if n == 1 {
		return "1 row"
	}
	return strconv.Itoa(n) + " rows"
}

func (p *page) disagreements(rows []reference.Row) {
	if len(rows) == 0 {
		return
	}
	p.print("\nPrinted otherwise\n")
	for i := range rows {
		r := &rows[i]
		text := r.Key + ": " + r.Formula
		if r.Kind == reference.Value {
			text = r.Key + ": " + exact(r.Printed) + " instead of " + exact(r.Value)
		}
		if r.Comment != "" {
			text += "; " + r.Comment
		}
		p.wrapped("  - ", "    ", text+" ("+r.CheckedBy+", "+r.Date+")")
	}
}

func exact(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// printReference writes the counts by mark, and the rows table by table.
func printReference(out io.Writer, used *reference.Reviewed, rows []reference.Row) error {
	w := &page{w: out}
	if used.Hash != "" {
		w.print("Reviews %s\n\n", used.Hash)
	}
	w.wideTable(markTable(reference.Count(used.Rows)))
	for i := 0; i < len(rows); {
		end := i + 1
		for end < len(rows) && rows[end].Clause == rows[i].Clause && rows[end].Table == rows[i].Table && rows[end].Kind == rows[i].Kind {
			end++
		}
		w.part(rows[i:end])
		i = end
	}
	return w.err
}

// part writes the rows of one table, or the formulas of one clause.
func (p *page) part(rows []reference.Row) {
	first := &rows[0]
	lines := [][]string{{"row", "column", "value", "mark", "key"}}
	if first.Kind == reference.Formula {
		lines[0] = []string{"quantity", "symbol", "formula", "mark", "key"}
		p.print("\nFormulas, %s\n", first.Clause)
	} else {
		p.print("\nTable %s, %s\n", first.Table, first.Clause)
	}
	for i := range rows {
		r := &rows[i]
		value := r.Formula
		if r.Kind == reference.Value {
			value = exact(r.ValueInUse())
		}
		mark := r.MarkInUse().String()
		if r.Reviewed {
			mark += " " + r.Date + " by " + r.CheckedBy
		}
		lines = append(lines, []string{r.Row, r.Column, value, mark, r.Key})
	}
	p.wideTable(lines)
}

// marks are listed from the one that says most.
var marks = []trace.Provenance{trace.Checked, trace.SecondarySource, trace.Memory, trace.CommonPractice, trace.Computed, trace.Assumed, trace.Given}

// markTable is the number of values and formulas by mark.
func markTable(c reference.Counts) [][]string {
	rows := [][]string{{"mark", "table values", "formulas"}}
	for _, m := range marks {
		rows = append(rows, []string{m.String(), strconv.Itoa(c.Values[m]), strconv.Itoa(c.Formulas[m])})
	}
	return append(rows, []string{"all", strconv.Itoa(reference.Total(c.Values)), strconv.Itoa(reference.Total(c.Formulas))})
}
