package jobs

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"github.com/google/uuid"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/store"
)

// bytesOfStep bounds what is computed before it is stored.
const bytesOfStep = 16 << 20

// compute does rows of a chunk until all are done or much is to be stored; the rest stays in the chunk.
func (j *Jobs) compute(ctx context.Context, w *store.Work, c *store.Chunk) (*store.Outcome, error) {
	rows, err := parseRows(c.Rows)
	if err != nil {
		return nil, err
	}
	o, err := optionsOf(w)
	if err != nil {
		return nil, err
	}
	s := &stage{Jobs: j, ctx: ctx, options: o, outcome: store.Outcome{Work: c.Work, N: c.N, Step: c.Step, At: j.now()}}
	if w.Kind == store.WorkAssess {
		err = s.assess(w.Portfolio, rows)
	} else {
		err = s.imports(w.Portfolio, rows)
	}
	return &s.outcome, err
}

// stage is what is being computed of a chunk.
type stage struct {
	*Jobs
	ctx     context.Context
	options options
	outcome store.Outcome
	size    int
}

// full tells that it is time to store, and leaves the rows from the i-th on in the chunk.
func (s *stage) full(rows []row, i int) bool {
	if s.size < bytesOfStep {
		return false
	}
	var rest bytes.Buffer
	for ; i < len(rows); i++ {
		rest.Write(rows[i].line)
	}
	s.outcome.Rest = rest.Bytes()
	return true
}

// imports does rows of a file: a reference that is known is revised where its input changed, all others are new.
func (s *stage) imports(portfolio string, rows []row) error {
	inputs := make([]*wire.Input, len(rows))
	var references []string
	for i := range rows {
		if in, _, err := decode(rows[i].Input); err == nil {
			inputs[i] = in
			if in.Reference != "" {
				references = append(references, in.Reference)
			}
		}
	}
	known, err := s.Store.SitesByReference(s.ctx, s.org, portfolio, references)
	if err != nil {
		return err
	}
	byReference := make(map[string]*store.Site, len(known))
	for i := range known {
		byReference[known[i].Reference] = &known[i]
	}
	for i := range rows {
		if s.full(rows, i) {
			return nil
		}
		if inputs[i] == nil {
			s.fail(&rows[i], []store.Fault{fault(rows[i].Row, "", "", "the stored row is no input that this program takes")})
			continue
		}
		before := byReference[inputs[i].Reference]
		if inputs[i].Reference == "" {
			before = nil
		}
		if before != nil && before.InputHash == assess.Hash(rows[i].canonical()) {
			s.outcome.Unchanged++
			continue
		}
		if err := s.record(&rows[i], inputs[i], before, time.Time{}); err != nil {
			return err
		}
	}
	return nil
}

// inputsAtOnce bounds how many stored inputs are held at a time.
const inputsAtOnce = 50

// assess does sites again.
func (s *stage) assess(portfolio string, rows []row) error {
	for from := 0; from < len(rows); from += inputsAtOnce {
		part := rows[from:min(from+inputsAtOnce, len(rows))]
		ids := make([]string, len(part))
		for i := range part {
			ids[i] = part[i].Assessment
		}
		found, err := s.Store.SiteInputs(s.ctx, s.org, portfolio, ids)
		if err != nil {
			return err
		}
		byID := make(map[string]*store.SiteInput, len(found))
		for i := range found {
			byID[found[i].Assessment] = &found[i]
		}
		for i := range part {
			if s.full(rows, from+i) {
				return nil
			}
			site := byID[part[i].Assessment]
			if site == nil { // deleted since
				s.outcome.Unchanged++
				continue
			}
			if err := s.again(&part[i], site); err != nil {
				return err
			}
		}
	}
	return nil
}

// again assesses a site unless that would give what is there.
func (s *stage) again(r *row, site *store.SiteInput) error {
	in, _, err := decode(site.Input)
	if err != nil {
		s.fail(r, []store.Fault{fault(r.Row, "", site.Assessment, err.Error())})
		return nil
	}
	due := site.ReviewDue // assessing old data again does not make them newer
	if newer := s.replaced(in); newer != "" {
		in.FlashDensity = &wire.FlashDensity{Map: &newer}
		due = time.Time{}
	} else if site.Engine == s.Recorder.Engine {
		s.outcome.Unchanged++
		return nil
	}
	return s.record(r, in, &site.Site, due)
}

// replaced is the map that N_G is to be taken from instead of what the input says; empty where it stays.
func (s *stage) replaced(in *wire.Input) string {
	now := ""
	if m := in.FlashDensity.Map; m != nil {
		now = *m
	}
	newer := s.options.Map
	if newer == "" {
		newer = s.options.Maps[now]
	}
	if newer == now {
		return ""
	}
	return newer
}

// record computes a row. What is wrong with it makes the row fail; an error is one of the store.
func (s *stage) record(r *row, in *wire.Input, before *store.Site, due time.Time) error {
	site := in.Core()
	if err := assess.Resolve(s.ctx, site, s.kept); err != nil {
		return err
	}
	id, revision := "", 1
	if before != nil {
		id, revision = before.Assessment, before.Revision+1
	} else {
		v7, err := uuid.NewV7()
		if err != nil {
			return err
		}
		id = v7.String()
	}
	rec, faults, err := s.guarded(in, site, id, revision, due)
	switch {
	case err != nil:
		s.Log.Error("row not computed", "work", s.outcome.Work, "row", r.Row, "error", err)
		s.fail(r, []store.Fault{fault(r.Row, "", "", "the computation broke off; the fault is logged with the service")})
	case len(faults) > 0:
		s.fail(r, faultsOf(r.Row, faults))
	default:
		s.size += len(rec.Input) + len(rec.Result) + len(rec.Worksheet)
		if before == nil {
			s.outcome.Created = append(s.outcome.Created, rec)
		} else {
			s.outcome.Revised = append(s.outcome.Revised, store.Revised{Record: rec, Before: *before})
		}
	}
	return nil
}

// guarded computes a row so that one that breaks the computation does not keep the others from being done.
func (s *stage) guarded(in *wire.Input, site *wire.Site, id string, revision int, due time.Time) (rec store.Record, faults []risk.Violation, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	rec, faults, err = s.Recorder.Record(in, site, id, revision, due)
	if err == nil && len(faults) == 0 {
		if err = rec.Normalise(); errors.Is(err, store.ErrInvalid) {
			faults, err = []risk.Violation{{Rule: risk.RuleOutOfRange, Reason: err.Error()}}, nil
		}
	}
	return rec, faults, err
}

func (s *stage) fail(r *row, faults []store.Fault) {
	s.outcome.Faulty++
	s.outcome.Failed = append(s.outcome.Failed, r.line...)
	s.outcome.Faults = append(s.outcome.Faults, faults...)
}
