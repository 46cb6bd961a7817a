package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/mattn/go-isatty"

	"levinward/api"
	"levinward/api/assess"
	"levinward/api/batch"
	"levinward/api/jobs"
	"levinward/store"
)

// importFile reads the sites of a file into a portfolio, without a server.
func (p *program) importFile(ctx context.Context, args []string) error {
	f := p.flags("import")
	dsn := p.database(f)
	name := f.String("portfolio", "", "`name` of the portfolio; made if there is none of it")
	mode := f.String("mode", store.AllOrNothing, store.AllOrNothing+" or "+store.GoodRowsOnly)
	sheet := f.String("sheet", "", "`name` of the sheet of a workbook; the first if it is not given")
	decimal := f.String("decimal", string(batch.DecimalPoint), "decimal sign of numbers written as text: point or comma")
	if err := parse(f, args, 1); err != nil {
		return err
	}
	format, err := batch.FormatOf(f.Arg(0))
	switch {
	case err != nil:
		return fmt.Errorf("%w: %v", errUsage, err)
	case *name == "":
		return fmt.Errorf("%w: import needs -portfolio NAME", errUsage)
	case *mode != store.AllOrNothing && *mode != store.GoodRowsOnly:
		return fmt.Errorf("%w: -mode is %s or %s, found %q", errUsage, store.AllOrNothing, store.GoodRowsOnly, *mode)
	case *decimal != string(batch.DecimalPoint) && *decimal != string(batch.DecimalComma):
		return fmt.Errorf("%w: -decimal is %s or %s, found %q", errUsage, batch.DecimalPoint, batch.DecimalComma, *decimal)
	}
	file, err := os.Open(f.Arg(0))
	if err != nil {
		return err
	}
	defer file.Close()
	db, err := openStore(ctx, *dsn)
	if err != nil {
		return err
	}
	defer db.Close()
	j, err := api.NewJobs(api.Config{Store: db, Engine: engine, Log: slog.New(slog.NewTextHandler(p.errOut, nil))})
	if err != nil {
		return err
	}
	portfolio, made, err := portfolioNamed(ctx, db, *name)
	if err != nil {
		return err
	}
	run := importRun{store: db, jobs: j, out: p.out, meter: newMeter(p.errOut)}
	err = run.do(ctx, jobs.Import{Portfolio: portfolio, Mode: *mode,
		File: batch.Options{Format: format, Sheet: *sheet, Decimal: batch.Decimal(*decimal)}}, file)
	if made && !run.begun { // a file that nothing was taken of leaves no portfolio
		err = errors.Join(err, store.DeletePortfolio(context.WithoutCancel(ctx), db, store.Local, portfolio))
	}
	return err
}

// portfolioNamed finds a portfolio, or makes it.
func portfolioNamed(ctx context.Context, db store.Store, name string) (id string, made bool, err error) {
	for cursor := ""; ; {
		page, err := db.ListPortfolios(ctx, store.Local, store.MaxLimit, cursor)
		if err != nil {
			return "", false, err
		}
		for _, p := range page.Portfolios {
			if p.Name == name {
				return p.ID, false, nil
			}
		}
		if cursor = page.Next; cursor == "" {
			break
		}
	}
	v7, err := uuid.NewV7()
	if err != nil {
		return "", false, err
	}
	p, err := db.CreatePortfolio(ctx, store.Local, store.Portfolio{ID: v7.String(), CreatedAt: time.Now(), Name: name})
	return p.ID, true, err
}

// importRun is an import under way.
type importRun struct {
	store store.Store
	jobs  *jobs.Jobs
	out   io.Writer
	meter *meter
	begun bool // the file was taken: there may be sites of it
}

func (r *importRun) do(ctx context.Context, im jobs.Import, file io.Reader) error {
	im.Read = r.meter.reading
	w, _, err := r.jobs.Import(ctx, im, file)
	r.meter.clear()
	if err != nil && ctx.Err() != nil {
		return errors.New("interrupted: the file was not read to its end, nothing was stored")
	}
	if err != nil {
		return err
	}
	if r.begun = w.State != store.WorkRefused; r.begun {
		if w, err = r.work(ctx, w.ID); err != nil {
			return err
		}
	}
	if err := errors.Join(r.faults(ctx, w.ID), r.notes(ctx, w.ID)); err != nil {
		return err
	}
	fmt.Fprintf(r.out, "%d rows: %d stored, %d unchanged, %d with faults", w.Total, w.Done, w.Unchanged, w.Failed)
	if w.Noted > 0 {
		fmt.Fprintf(r.out, "; %d with notes", w.Noted)
	}
	fmt.Fprintln(r.out, "\n"+assess.CautionsInShort)
	switch {
	case w.State == store.WorkRefused:
		return errors.New("the file was refused; nothing was stored")
	case w.State != store.WorkDone:
		return fmt.Errorf("the import was %s", w.State)
	case w.Failed > 0:
		return errors.New("rows with faults were not stored")
	}
	return nil
}

// work does all chunks and shows how far they are. When it is interrupted the rest is cancelled:
// nobody expects it to go on behind their back. Only a process that is killed leaves it to a service on the same database.
func (r *importRun) work(ctx context.Context, id string) (store.Work, error) {
	done := make(chan error, 1)
	go func() { done <- r.jobs.Drain(ctx, id) }()
	for {
		var err error
		select {
		case err = <-done:
			if err == nil {
				var w store.Work
				if w, err = r.await(ctx, id); err == nil {
					r.meter.clear()
					return w, nil
				}
			}
			r.meter.clear()
			if ctx.Err() != nil {
				return store.Work{}, r.interrupted(context.WithoutCancel(ctx), id)
			}
			return store.Work{}, err
		case <-time.After(r.meter.every):
		}
		if w, err := r.store.Work(ctx, store.Local, id); err == nil {
			r.meter.working(&w)
		}
	}
}

// interrupted cancels what is left to do and says how far the import came.
func (r *importRun) interrupted(ctx context.Context, id string) error {
	w, err := r.store.CancelWork(ctx, store.Local, id, time.Now())
	if err != nil {
		return fmt.Errorf("interrupted, and the rest is still to be done: %w", err)
	}
	return fmt.Errorf("interrupted: %d of %d rows were stored and stay, the rest was cancelled; import the file again for them", w.Done, w.Total)
}

// await waits for chunks that a service on the same database is at, and does those of one that was killed.
func (r *importRun) await(ctx context.Context, id string) (store.Work, error) {
	for {
		w, err := r.store.Work(ctx, store.Local, id)
		if err != nil || w.Ended() {
			return w, err
		}
		select {
		case <-ctx.Done():
			return w, ctx.Err()
		case <-time.After(r.meter.every):
			r.meter.working(&w)
		}
		if err := r.jobs.Drain(ctx, id); err != nil {
			return w, err
		}
	}
}

// faults prints what is wrong with which row.
func (r *importRun) faults(ctx context.Context, id string) error {
	for cursor := ""; ; {
		page, err := r.store.WorkFaults(ctx, store.Local, id, store.MaxLimit, cursor)
		if err != nil {
			return err
		}
		for _, f := range page.Faults {
			fmt.Fprintln(r.out, batch.RowFault{Row: int(f.Row), Column: f.Column, Value: f.Value, Reason: f.Reason})
		}
		if cursor = page.Next; cursor == "" {
			return nil
		}
	}
}

// notes prints what was taken in a way the user should know of.
func (r *importRun) notes(ctx context.Context, id string) error {
	all, err := r.store.WorkNotes(ctx, store.Local, id)
	if err != nil {
		return err
	}
	for i := range all {
		fmt.Fprintln(r.out, noteLine(&all[i]))
	}
	return nil
}

// spansPrinted of a note; the rows behind them are counted.
const spansPrinted = 10

func noteLine(n *store.Note) string {
	var rows []string
	named := int64(0)
	for _, span := range n.Rows[:min(len(n.Rows), spansPrinted)] {
		text := fmt.Sprint(span.First)
		if span.Last > span.First {
			text += fmt.Sprint(" to ", span.Last)
		}
		rows = append(rows, text)
		named += span.Last - span.First + 1
	}
	where := "rows "
	if n.Count == 1 {
		where = "row "
	}
	where += strings.Join(rows, ", ")
	if n.Count > named {
		where += fmt.Sprintf(" and %d more", n.Count-named)
	}
	if n.Column != "" {
		where += ", " + n.Column
	}
	return "note: " + where + ": " + n.Text
}

// meter shows progress: a bar that stays on its line on a terminal, else a plain line now and then.
type meter struct {
	to    io.Writer
	bar   bool
	every time.Duration
	last  time.Time
}

// Times between two signs of progress.
const (
	barEvery  = 200 * time.Millisecond
	lineEvery = 5 * time.Second
)

func newMeter(to io.Writer) *meter {
	m := &meter{to: to, every: lineEvery, last: time.Now()}
	if f, ok := to.(*os.File); ok && isatty.IsTerminal(f.Fd()) {
		m.bar, m.every = true, barEvery
	}
	return m
}

func (m *meter) reading(rows int64) {
	if time.Since(m.last) >= m.every {
		m.show(fmt.Sprintf("%d rows read", rows))
	}
}

const barLength = 30

func (m *meter) working(w *store.Work) {
	rows := w.Done + w.Failed + w.Unchanged
	text := fmt.Sprintf("%d of %d rows", rows, w.Total)
	if rate, left, ok := jobs.Pace(w, time.Now()); ok {
		text += fmt.Sprintf(", %.0f rows/s, %s left", rate, (time.Duration(left+0.5) * time.Second).String())
	}
	if m.bar && w.Total > 0 {
		full := int(barLength * rows / w.Total)
		text = "[" + strings.Repeat("#", full) + strings.Repeat(".", barLength-full) + "] " + text
	}
	m.show(text)
}

func (m *meter) show(text string) {
	m.last = time.Now()
	if m.bar {
		fmt.Fprint(m.to, "\r\x1b[K"+text)
	} else {
		fmt.Fprintln(m.to, text)
	}
}

// clear takes the bar away.
func (m *meter) clear() {
	if m.bar {
		fmt.Fprint(m.to, "\r\x1b[K")
	}
}
