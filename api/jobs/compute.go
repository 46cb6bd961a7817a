package jobs

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"github.com/google/uuid"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/trace"
	"levinward/store"
)

// bytesOfStep bounds what is computed before it is stored.
const bytesOfStep = 16 << 20

// compute does rows of a chunk until all are done or much is to be stored; the rest stays in the chunk.
func (j *Jobs) compute(ctx context.Context, w *store.Work, c *store.Chunk, reviews *trace.Reviews) (*store.Outcome, error) {
	rows, err := parseRows(c.Rows)
	if err != nil {
		return nil, err
	}
	o, err := optionsOf(w)
	if err != nil {
		return nil, err
	}
	definitions, err := j.Recorder.DefinitionsHash(reviews)
	if err != nil {
		return nil, err
	}
	s := &stage{Jobs: j, ctx: ctx, reviews: reviews, definitions: definitions, portfolio: w.Portfolio, begun: w.CreatedAt, options: o,
		outcome: store.Outcome{Work: c.Work, N: c.N, Step: c.Step, At: j.now()}}
	if o.FileOf != nil {
		s.begun = *o.FileOf
	}
	if w.Kind == store.WorkAssess {
		err = s.assess(rows)
	} else {
		err = s.imports(rows)
	}
	return &s.outcome, err
}

// stage is what is being computed of a chunk.
type stage struct {
	*Jobs
	ctx       context.Context
	portfolio string
	begun     time.Time // of the import
	options   options
	reviews   *trace.Reviews // in use; nil: none
	// definitions is the hash of those that worksheets have now: a site with others was computed with other values.
	definitions string
	outcome     store.Outcome
	size        int
	changed     map[string]*store.SiteInput // of an import: those whose rows say something new
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

// imports does rows of a file: a site whose reference is known is revised where its row says
// something else than that of the last import, all others are new.
func (s *stage) imports(rows []row) error {
	inputs := make([]*wire.Input, len(rows))
	var references []string
	for i := range rows {
		if in, err := decode(rows[i].Input); err == nil {
			inputs[i] = in
			if in.Reference != "" {
				references = append(references, in.Reference)
			}
		}
	}
	known, err := s.Store.SitesByReference(s.ctx, s.org, s.portfolio, references)
	if err != nil {
		return err
	}
	byReference := make(map[string]*store.Site, len(known))
	for i := range known {
		byReference[known[i].Reference] = &known[i]
	}
	if err := s.readChanged(rows, inputs, byReference); err != nil {
		return err
	}
	for i := range rows {
		if s.full(rows, i) {
			return nil
		}
		if inputs[i] == nil {
			s.fail(&rows[i], nil, []store.Fault{fault(rows[i].Row, "", "", "the stored row is no input that this program takes")})
			continue
		}
		before := byReference[inputs[i].Reference]
		if inputs[i].Reference == "" {
			before = nil
		}
		if err := s.imported(&rows[i], inputs[i], before); err != nil {
			return err
		}
	}
	return nil
}

// imported does a row of a file. A site that was edited or assessed with a newer map since the last
// import stays so until its row changes.
func (s *stage) imported(r *row, in *wire.Input, before *store.Site) error {
	said := store.ImportedRow{Hash: assess.Hash(r.canonical()), At: s.begun}
	if before == nil {
		return s.record(r, in, nil, time.Time{}, &said)
	}
	if before.Imported.At.After(s.begun) { // a newer import was faster
		s.outcome.Unchanged++
		return nil
	}
	stays := lastSaid(before) == said.Hash
	if !stays {
		same, err := s.keep(in, before)
		if err != nil {
			return err
		}
		stays = same
	}
	if stays {
		s.outcome.Unchanged++
		s.outcome.Confirmed = append(s.outcome.Confirmed, store.Confirmed{Assessment: before.Assessment, ImportedRow: said})
		return nil
	}
	return s.record(r, in, before, time.Time{}, &said)
}

// readChanged reads the inputs of the sites whose rows say something new.
func (s *stage) readChanged(rows []row, inputs []*wire.Input, byReference map[string]*store.Site) error {
	var ids []string
	for i, in := range inputs {
		if in == nil || in.Reference == "" {
			continue
		}
		if site := byReference[in.Reference]; site != nil && lastSaid(site) != assess.Hash(rows[i].canonical()) {
			ids = append(ids, site.Assessment)
		}
	}
	found, err := s.Store.SiteInputs(s.ctx, s.org, s.portfolio, ids)
	s.changed = make(map[string]*store.SiteInput, len(found))
	for i := range found {
		s.changed[found[i].Assessment] = &found[i]
	}
	return err
}

// lastSaid is the hash of what the last import said of a site.
func lastSaid(site *store.Site) string { return cmp.Or(site.Imported.Hash, site.InputHash) }

// keep takes over from the site as it is what no column of a file can say. It reports
// whether the row then asks for what is there.
func (s *stage) keep(in *wire.Input, before *store.Site) (same bool, err error) {
	site := s.changed[before.Assessment]
	if site == nil { // deleted since: storing will tell
		return false, nil
	}
	now, err := decode(site.Input)
	if err != nil {
		return false, nil // no input of this program: the row replaces it
	}
	in.Edition, in.Tolerable, in.MeasureCosts = now.Edition, now.Tolerable, now.MeasureCosts
	_, hash, err := assess.Canonical(in)
	return hash == site.InputHash, err
}

// inputsAtOnce bounds how many stored inputs are held at a time.
const inputsAtOnce = 50

// assess does sites again.
func (s *stage) assess(rows []row) error {
	for from := 0; from < len(rows); from += inputsAtOnce {
		part := rows[from:min(from+inputsAtOnce, len(rows))]
		ids := make([]string, len(part))
		for i := range part {
			ids[i] = part[i].Assessment
		}
		found, err := s.Store.SiteInputs(s.ctx, s.org, s.portfolio, ids)
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
	in, err := decode(site.Input)
	if err != nil {
		s.fail(r, &site.Site, []store.Fault{fault(r.Row, "", "", err.Error())})
		return nil
	}
	due := site.ReviewDue // assessing old data again does not make them newer
	if newer := s.replaced(in); newer != "" {
		in.FlashDensity = &wire.FlashDensity{Map: &newer}
		due = time.Time{}
	} else if site.Engine == s.Recorder.Engine && site.DefinitionsHash == s.definitions {
		s.outcome.Unchanged++
		return nil
	}
	return s.record(r, in, &site.Site, due, nil)
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
func (s *stage) record(r *row, in *wire.Input, before *store.Site, due time.Time, said *store.ImportedRow) error {
	site := in.CoreWith(s.reviews)
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
	var again *store.Site // the row of a file speaks for itself
	if said == nil {
		again = before
	}
	rec, faults, err := s.guarded(in, site, id, revision, due)
	switch {
	case err != nil:
		s.Log.Error("row not computed", "work", s.outcome.Work, "row", r.Row, "error", err)
		s.fail(r, again, []store.Fault{fault(r.Row, "", "", "the computation broke off; the fault is logged with the service")})
	case len(faults) > 0:
		s.fail(r, again, faultsOf(r.Row, in, faults))
	default:
		rec.Imported = said
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
func (s *stage) guarded(in *wire.Input, site *wire.Site, id string, revision int, due time.Time) (rec store.Record,
	faults []risk.Violation, err error) {
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

// fail notes what is wrong with a row, and with which site where one was assessed again.
func (s *stage) fail(r *row, site *store.Site, faults []store.Fault) {
	if site != nil {
		for i := range faults {
			faults[i].Assessment, faults[i].Reference = site.Assessment, site.Reference
		}
	}
	s.outcome.Faulty++
	s.outcome.Failed = append(s.outcome.Failed, r.line...)
	s.outcome.Faults = append(s.outcome.Faults, faults...)
}
