package storetest

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"levinward/store"
)

func (s suite) portfolio(t fataler, name string) store.Portfolio {
	t.Helper()
	p, err := s.CreatePortfolio(s.ctx, s.org, store.Portfolio{ID: newID(), CreatedAt: day, Name: name})
	noError(t, err)
	return p
}

// site is a record that is to become a site, with a summary of the given ratio.
func site(reference string, ratio float64) store.Record {
	r := record("site " + reference)
	r.Reference = reference
	r.Summary = summary(ratio)
	return r
}

func summary(ratio float64) *store.Summary {
	s := &store.Summary{GroundFlashes: 4, DensityOrigin: "given", WorstRatio: ratio, LossOfHumanLife: ratio * 1e-5,
		Acceptable: ratio <= 1, NeededProtection: "none"}
	if !s.Acceptable {
		s.Excess, s.PersonsAtRisk, s.NeededProtection, s.RequiredDevices = (ratio-1)*1e-5, math.Floor(ratio), "LPS III", 2
	}
	return s
}

// begin queues a work of chunks with some rows each.
func (s suite) begin(t fataler, portfolio string, chunks ...int) store.Work {
	t.Helper()
	w, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: portfolio, Kind: store.WorkImport,
		Mode: store.GoodRowsOnly, Options: []byte("{}"), CreatedAt: day})
	noError(t, err)
	for n, rows := range chunks {
		noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: fmt.Appendf(nil, "rows of %d\n", n), Count: rows}, day))
	}
	w, err = s.BeginWork(s.ctx, s.org, w.ID, store.Notes{}, nil, day)
	noError(t, err)
	return w
}

// fill stores sites as one chunk.
func (s suite) fill(t fataler, portfolio string, records ...store.Record) store.Work {
	t.Helper()
	w := s.begin(t, portfolio, len(records))
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, Created: records, At: day}))
	return w
}

func (s suite) sites(t fataler, portfolio string, f store.SiteFilter) (all []store.Site) {
	t.Helper()
	for {
		page, err := s.ListSites(s.ctx, s.org, portfolio, f)
		noError(t, err)
		all = append(all, page.Sites...)
		if page.Next == "" {
			return all
		}
		f.Cursor = page.Next
	}
}

func references(all []store.Site) string {
	var names []string
	for _, s := range all {
		names = append(names, s.Reference)
	}
	return strings.Join(names, ",")
}

func portfolios(t *testing.T, s suite) {
	p := s.portfolio(t, "North")
	got, err := s.Portfolio(s.ctx, s.org, strings.ToUpper(p.ID))
	if err != nil || got != p {
		t.Fatalf("%+v, %v, want %+v", got, err, p)
	}
	_, err = s.CreatePortfolio(s.ctx, s.org, store.Portfolio{ID: newID(), CreatedAt: day, Name: "North"})
	is(t, err, store.ErrNameTaken)
	_, err = s.CreatePortfolio(s.ctx, s.org, store.Portfolio{ID: p.ID, CreatedAt: day, Name: "South"})
	is(t, err, store.ErrExists)
	for _, bad := range []store.Portfolio{{ID: "1", CreatedAt: day, Name: "x"}, {ID: newID(), CreatedAt: day},
		{ID: newID(), CreatedAt: day, Name: "a\x00"}, {ID: newID(), CreatedAt: day, Name: strings.Repeat("x", 2000)}} {
		_, err = s.CreatePortfolio(s.ctx, s.org, bad)
		is(t, err, store.ErrInvalid)
	}
	other := s.portfolio(t, "South")
	_, err = s.RenamePortfolio(s.ctx, s.org, other.ID, "North", "")
	is(t, err, store.ErrNameTaken)
	renamed, err := s.RenamePortfolio(s.ctx, s.org, other.ID, "South 2", "the other half")
	if err != nil || renamed.Name != "South 2" || renamed.Description != "the other half" || !renamed.CreatedAt.Equal(day) {
		t.Fatalf("%+v, %v", renamed, err)
	}
	_, err = s.RenamePortfolio(s.ctx, s.org, newID(), "x", "")
	is(t, err, store.ErrNotFound)

	page, err := s.ListPortfolios(s.ctx, s.org, 1, "")
	if err != nil || len(page.Portfolios) != 1 || page.Portfolios[0] != renamed || page.Next == "" {
		t.Fatalf("%+v, %v", page, err)
	}
	page, err = s.ListPortfolios(s.ctx, s.org, 1, page.Next)
	if err != nil || len(page.Portfolios) != 1 || page.Portfolios[0] != p || page.Next != "" {
		t.Fatalf("%+v, %v", page, err)
	}
	_, err = s.ListPortfolios(s.ctx, s.org, 1, "?")
	is(t, err, store.ErrBadCursor)

	// An organisation sees its own alone.
	foreign := suite{s.Store, s.ctx, store.Organisation(newID())}
	noError(t, s.AddOrganisation(s.ctx, foreign.org, "foreign"))
	_, err = foreign.Portfolio(s.ctx, foreign.org, p.ID)
	is(t, err, store.ErrNotFound)
	is(t, foreign.DeletePortfolio(s.ctx, foreign.org, p.ID), store.ErrNotFound)
	foreign.portfolio(t, "North")
	_, err = s.CreatePortfolio(s.ctx, store.Organisation(newID()), store.Portfolio{ID: newID(), CreatedAt: day, Name: "x"})
	is(t, err, store.ErrNotFound)
}

func deletedPortfolios(t *testing.T, s suite) {
	p, kept := s.portfolio(t, "P"), s.portfolio(t, "kept")
	a, b, c := site("a", 2), site("b", 0.5), site("c", 3)
	w := s.fill(t, p.ID, a, b)
	s.fill(t, kept.ID, c)
	noError(t, s.DeletePortfolio(s.ctx, s.org, p.ID))
	is(t, s.DeletePortfolio(s.ctx, s.org, p.ID), store.ErrNotFound)
	s.gone(t, a.ID)
	s.gone(t, b.ID)
	_, err := s.Work(s.ctx, s.org, w.ID)
	is(t, err, store.ErrNotFound)
	if got := references(s.sites(t, kept.ID, store.SiteFilter{})); got != "c" {
		t.Fatal(got)
	}
	// A site goes with its assessment.
	noError(t, s.Delete(s.ctx, s.org, c.ID))
	if got := s.sites(t, kept.ID, store.SiteFilter{}); len(got) != 0 {
		t.Fatal(got)
	}
}

func presets(t *testing.T, s suite) {
	put := func(kind, name, doc string, version int) {
		t.Helper()
		p, err := s.PutPreset(s.ctx, s.org, store.Preset{Kind: kind, Name: name, Document: []byte(doc)})
		if err != nil || p.Version != version {
			t.Fatalf("%+v, %v", p, err)
		}
	}
	put(store.PresetStructure, "hut", `{"a": 1}`, 1)
	put(store.PresetLine, "hut", `{"b" :1}`, 1)
	put(store.PresetStructure, "hut", `{"a": 2}`, 2)
	p, err := s.Preset(s.ctx, s.org, store.PresetStructure, "hut")
	if err != nil || string(p.Document) != `{"a": 2}` || p.Version != 2 {
		t.Fatalf("%+v, %v", p, err)
	}
	all, err := s.Presets(s.ctx, s.org)
	if err != nil || len(all) != 2 || all[0].Kind != store.PresetLine || string(all[0].Document) != `{"b" :1}` {
		t.Fatalf("%+v, %v", all, err)
	}
	for _, bad := range []store.Preset{{Kind: "roof", Name: "x", Document: []byte("{}")}, {Kind: "line", Document: []byte("{}")},
		{Kind: "line", Name: "x"}, {Kind: "line", Name: "\xff", Document: []byte("{}")}} {
		_, err := s.PutPreset(s.ctx, s.org, bad)
		is(t, err, store.ErrInvalid)
		_, err = s.Preset(s.ctx, s.org, bad.Kind, bad.Name)
		is(t, err, store.ErrNotFound)
	}
	noError(t, s.DeletePreset(s.ctx, s.org, store.PresetLine, "hut"))
	is(t, s.DeletePreset(s.ctx, s.org, store.PresetLine, "hut"), store.ErrNotFound)
}

func rankedSites(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	var records []store.Record
	ratios := []float64{0.2, 7, 1, 7, 3.5, 0, 1.0000001, 0.2}
	for i, ratio := range ratios {
		r := site(string(rune('a'+i)), ratio)
		r.Latitude, r.Longitude = float64(i), 10*float64(i)
		r.Name = []string{"Ost", "ÖST", "west", "West 2", "nord", "süd", "a", "b"}[i]
		r.ReviewDue = time.Date(2030+i, 1, 1, 0, 0, 0, 0, time.UTC)
		records = append(records, r)
	}
	s.fill(t, p.ID, records...)
	no, yes := false, true
	on := time.Date(2032, 1, 1, 12, 0, 0, 0, time.UTC)
	for _, test := range []struct {
		f    store.SiteFilter
		want string
	}{
		{store.SiteFilter{}, "d,b,e,g,c,h,a,f"}, // equal ones by id, the later first
		{store.SiteFilter{Acceptable: &yes}, "c,h,a,f"},
		{store.SiteFilter{Acceptable: &no}, "d,b,e,g"},
		{store.SiteFilter{Rank: store.RankExcess}, "d,b,e,g,h,f,c,a"},
		{store.SiteFilter{Rank: store.RankExcess, Acceptable: &yes}, "h,f,c,a"},
		{store.SiteFilter{Rank: store.RankPersonsAtRisk}, "d,b,e,g,h,f,c,a"},
		{store.SiteFilter{Rank: store.RankPersonsAtRisk, Acceptable: &yes}, "h,f,c,a"},
		{store.SiteFilter{Rank: store.RankName}, "g,h,e,a,f,c,d,b"},
		{store.SiteFilter{Rank: store.RankName, Acceptable: &no}, "g,e,d,b"},
		{store.SiteFilter{Query: "WEST"}, "d,c"},
		{store.SiteFilter{Query: "öst"}, "b"},
		{store.SiteFilter{BBox: &store.BBox{West: 15, South: 2, East: 50, North: 5}}, "d,e,c,f"},
		{store.SiteFilter{BBox: &store.BBox{West: 60, South: 0, East: 5, North: 9}}, "g,h,a"},
		{store.SiteFilter{DueOn: &on, Due: true}, "b,c,a"},
		{store.SiteFilter{DueOn: &on}, "d,e,g,h,f"},
	} {
		for _, limit := range []int{1, 3, 0} {
			test.f.Limit = limit
			if got := references(s.sites(t, p.ID, test.f)); got != test.want {
				t.Errorf("%+v: %s, want %s", test.f, got, test.want)
			}
		}
	}
	page, err := s.ListSites(s.ctx, s.org, p.ID, store.SiteFilter{Limit: 1})
	noError(t, err)
	for _, f := range []store.SiteFilter{{Rank: store.RankName, Cursor: page.Next}, {Cursor: "x"}, {Cursor: page.Next + "A"}} {
		_, err := s.ListSites(s.ctx, s.org, p.ID, f)
		is(t, err, store.ErrBadCursor)
	}
	_, err = s.ListSites(s.ctx, s.org, p.ID, store.SiteFilter{Rank: "name; DROP"})
	is(t, err, store.ErrInvalid)
	totals, err := s.PortfolioTotals(s.ctx, s.org, p.ID, on)
	if want := (store.Totals{Sites: 8, NotAcceptable: 4, PersonsAtRisk: 7 + 7 + 3 + 1, ReviewDue: 3}); err != nil || totals != want {
		t.Errorf("totals %+v, %v", totals, err)
	}
	_, err = s.PortfolioTotals(s.ctx, s.org, newID(), on)
	is(t, err, store.ErrNotFound)

	// What came in comes back.
	r := records[1]
	got, err := s.Site(s.ctx, s.org, p.ID, r.ID)
	want := store.Site{Assessment: r.ID, Reference: "b", Name: r.Name, Latitude: 1, Longitude: 10, Revision: 1, ReviewDue: r.ReviewDue,
		Engine:    r.Engine,
		InputHash: r.InputHash, CreatedAt: day, UpdatedAt: day, Summary: *r.Summary}
	if err != nil || got != want {
		t.Errorf("%+v, %v\nwant %+v", got, err, want)
	}
	s.holds(t, func() store.Record { r.Summary, r.Revision = nil, 1; return r }())
	if l := s.list(t, store.Filter{}); len(l) != 8 {
		t.Errorf("%d assessments", len(l))
	}
}

// A site follows its assessment, and tells what it was before a work changed it.
func revisedSites(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	a, b, c := site("a", 2), site("b", 3), site("", 4)
	first := s.fill(t, p.ID, a, b, c)
	before, err := s.Site(s.ctx, s.org, p.ID, a.ID)
	noError(t, err)

	next := a
	next.Summary, next.Engine, next.InputHash, next.CreatedAt = summary(0.5), "engine-2", "input-2", day.Add(time.Hour)
	w := s.begin(t, p.ID, 2)
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, Revised: []store.Revised{{Record: next, Before: before}},
		Unchanged: 1, At: day}))
	after, err := s.Site(s.ctx, s.org, p.ID, a.ID)
	if err != nil || after.Revision != 2 || after.Summary != *next.Summary || after.Engine != "engine-2" ||
		!after.UpdatedAt.Equal(next.CreatedAt) || !after.CreatedAt.Equal(day) {
		t.Fatalf("%+v, %v", after, err)
	}
	s.holds(t, func() store.Record { n := next; n.Summary, n.Revision = nil, 2; return n }())
	changed, err := s.ChangedSites(s.ctx, s.org, p.ID, store.Changes{Work: w.ID})
	if err != nil || len(changed.Sites) != 1 || *changed.Sites[0].Before != before {
		t.Fatalf("%+v, %v", changed, err)
	}
	if none, err := s.ChangedSites(s.ctx, s.org, p.ID, store.Changes{Work: first.ID}); err != nil || len(none.Sites) != 0 {
		t.Fatalf("what is new has not changed: %+v, %v", none, err)
	}

	// What an import said of a site stays until a newer one speaks.
	said := store.ImportedRow{Hash: "row", At: day.Add(time.Hour)}
	w = s.begin(t, p.ID, 2)
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, Unchanged: 2, At: day, Confirmed: []store.Confirmed{
		{Assessment: b.ID, ImportedRow: said}, {Assessment: newID(), ImportedRow: said}}}))
	w = s.begin(t, p.ID, 1)
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, Unchanged: 1, At: day, Confirmed: []store.Confirmed{
		{Assessment: b.ID, ImportedRow: store.ImportedRow{Hash: "older", At: day}}}}))
	if got, err := s.Site(s.ctx, s.org, p.ID, b.ID); err != nil || got.Imported != said || got.Revision != 1 {
		t.Fatalf("%+v, %v", got, err)
	}
	older := b
	older.Imported = &store.ImportedRow{Hash: "older", At: day}
	w = s.begin(t, p.ID, 1)
	is(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID,
		Revised: []store.Revised{{Record: older, Before: store.Site{Assessment: b.ID, Revision: 1}}}, At: day}), store.ErrChunkChanged)
	if got, err := s.Newest(s.ctx, s.org, b.ID); err != nil || got.Revision != 1 {
		t.Fatalf("%+v, %v", got, err)
	}

	// By the way of single assessments as well.
	byHand := site("a2", 9)
	byHand.ID = a.ID
	s.revise(t, byHand, 2)
	if got, err := s.Site(s.ctx, s.org, p.ID, a.ID); err != nil || got.Revision != 3 || got.Reference != "a2" || got.WorstRatio != 9 {
		t.Fatalf("%+v, %v", got, err)
	}
	byHand.Reference = "b"
	_, err = s.Revise(s.ctx, s.org, byHand, 3)
	is(t, err, store.ErrReferenceTaken)
	if got, err := s.Newest(s.ctx, s.org, a.ID); err != nil || got.Revision != 3 {
		t.Fatalf("%+v, %v", got, err)
	}

	found, err := s.SitesByReference(s.ctx, s.org, p.ID, []string{"a", "b", "", "a2", `"`})
	slices.SortFunc(found, func(a, b store.Site) int { return strings.Compare(a.Reference, b.Reference) })
	if err != nil || references(found) != "a2,b" {
		t.Fatalf("%s, %v", references(found), err)
	}
	inputs, err := s.SiteInputs(s.ctx, s.org, p.ID, []string{b.ID, newID(), "x"})
	if err != nil || len(inputs) != 1 || string(inputs[0].Input) != string(b.Input) ||
		inputs[0].DefinitionsHash != b.DefinitionsHash || inputs[0].Reference != "b" {
		t.Fatalf("%+v, %v", inputs, err)
	}

	// Due are those of another engine, of old data, of a map, of other definitions.
	due := func(r store.Reassess) string {
		t.Helper()
		var all []string
		for after := ""; ; {
			ids, err := s.SitesToAssess(s.ctx, s.org, p.ID, r, after, 1)
			noError(t, err)
			if len(ids) == 0 {
				return strings.Join(all, ",")
			}
			after = ids[0]
			site, err := s.Site(s.ctx, s.org, p.ID, after)
			noError(t, err)
			all = append(all, site.Reference)
		}
	}
	for _, test := range []struct {
		r    store.Reassess
		want string
	}{
		{store.Reassess{}, "a2,b,"},
		{store.Reassess{Due: true, On: day, Engine: "engine-1"}, ""},
		{store.Reassess{Due: true, On: day.AddDate(10, 0, 0), Engine: "engine-1"}, "a2,b,"},
		{store.Reassess{Due: true, On: day, Engine: "engine-3"}, "a2,b,"},
		{store.Reassess{Due: true, On: day, Engine: "engine-1", Maps: []string{"m"}}, ""},
		{store.Reassess{Due: true, On: day, Engine: "engine-1", Definitions: "definitions-1"}, ""},
		{store.Reassess{Due: true, On: day, Engine: "engine-1", Definitions: "definitions-2"}, "a2,b,"},
	} {
		if got := due(test.r); got != test.want {
			t.Errorf("%+v: %q, want %q", test.r, got, test.want)
		}
	}
}

func works(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	_, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: newID(), Kind: store.WorkImport, Mode: store.GoodRowsOnly,
		Options: []byte("{}"), CreatedAt: day})
	is(t, err, store.ErrNotFound)
	_, err = s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: "?", Mode: "?", CreatedAt: day})
	is(t, err, store.ErrInvalid)
	_, err = s.LastChange(s.ctx, s.org, p.ID)
	is(t, err, store.ErrNotFound)

	w, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: store.WorkImport, Mode: store.GoodRowsOnly,
		Options: []byte(`{"o":1}`), CreatedAt: day})
	noError(t, err)
	fault := store.Fault{Row: 3, Column: "height", Value: "x", Reason: "no number", Assessment: "id", Reference: "S-3"}
	noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("one\n"), Count: 2, Faulty: 1, Faults: []store.Fault{fault,
		fault}}, day))
	noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Faulty: 1, Faults: []store.Fault{{Row: 5, Reason: "empty"}}}, day))
	noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("two\n"), Count: 1}, day))
	is(t, s.AddChunk(s.ctx, s.org, newID(), store.NewChunk{Rows: []byte("x"), Count: 1}, day), store.ErrNotFound)
	unfinished, err := s.UnfinishedWorks(s.ctx, s.org)
	if err != nil || len(unfinished) != 1 || unfinished[0].State != store.WorkReading {
		t.Fatalf("%+v, %v", unfinished, err)
	}
	w, err = s.BeginWork(s.ctx, s.org, w.ID, store.Notes{}, nil, day)
	if err != nil || w.State != store.WorkQueued || w.Chunks != 2 || w.Total != 5 || w.Failed != 2 || string(w.Options) != `{"o":1}` {
		t.Fatalf("%+v, %v", w, err)
	}
	is(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("x"), Count: 1}, day), store.ErrWorkEnded)
	_, err = s.RefuseWork(s.ctx, s.org, w.ID, store.Notes{}, nil, day)
	is(t, err, store.ErrWorkEnded)
	if got, want := s.take(t, w.ID, day, 10), []store.ClaimedChunk{{N: 0, Claims: 1}, {N: 1, Claims: 1}}; !slices.Equal(got, want) {
		t.Fatalf("claimed %+v, want %+v", got, want)
	}
	noError(t, s.StartWork(s.ctx, s.org, w.ID, day))

	// A chunk is stored in steps, each of them once.
	chunk, err := s.Chunk(s.ctx, s.org, w.ID, 0)
	if err != nil || string(chunk.Rows) != "one\n" || chunk.Step != 0 || chunk.State != store.ChunkQueued {
		t.Fatalf("%+v, %v", chunk, err)
	}
	step := store.Outcome{Work: w.ID, N: 0, Created: []store.Record{site("a", 2)}, Rest: []byte("rest\n"), At: day}
	noError(t, s.StoreChunk(s.ctx, s.org, step))
	is(t, s.StoreChunk(s.ctx, s.org, step), store.ErrChunkChanged)
	last := store.Outcome{Work: w.ID, N: 0, Step: 1, Faulty: 1, Failed: []byte("bad\n"),
		Faults: []store.Fault{{Row: 2, Reason: "no map"}}, At: day}
	noError(t, s.StoreChunk(s.ctx, s.org, last))
	is(t, s.StoreChunk(s.ctx, s.org, last), store.ErrChunkChanged)
	chunk, err = s.Chunk(s.ctx, s.org, w.ID, 0)
	if err != nil || string(chunk.Rows) != "" || string(chunk.Failed) != "bad\n" || chunk.State != store.ChunkDone {
		t.Fatalf("%+v, %v", chunk, err)
	}
	is(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: newID(), At: day}), store.ErrNotFound)
	is(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: 1, Created: []store.Record{record("no summary")}, At: day}),
		store.ErrInvalid)

	// A reference that is there: the chunk has to be looked at again, and nothing of it is stored.
	twice := store.Outcome{Work: w.ID, N: 1, Created: []store.Record{site("new", 1), site("a", 1)}, At: day}
	is(t, s.StoreChunk(s.ctx, s.org, twice), store.ErrChunkChanged)
	if got := references(s.sites(t, p.ID, store.SiteFilter{})); got != "a" {
		t.Fatal(got)
	}
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: 1, Unchanged: 1, At: day.Add(time.Minute)}))
	w, err = s.Work(s.ctx, s.org, w.ID)
	if err != nil || w.State != store.WorkDone || w.Done != 1 || w.Failed != 3 || w.Unchanged != 1 ||
		!w.FinishedAt.Equal(day.Add(time.Minute)) || !w.StartedAt.Equal(day) {
		t.Fatalf("%+v, %v", w, err)
	}
	if last, err := s.LastChange(s.ctx, s.org, p.ID); err != nil || last.ID != w.ID {
		t.Fatalf("%+v, %v", last, err)
	}

	var faults []store.Fault
	for cursor := ""; ; {
		page, err := s.WorkFaults(s.ctx, s.org, w.ID, 2, cursor)
		noError(t, err)
		faults = append(faults, page.Faults...)
		if cursor = page.Next; cursor == "" {
			break
		}
	}
	if want := []store.Fault{{Row: 2, Reason: "no map"}, fault, fault, {Row: 5, Reason: "empty"}}; !slices.Equal(faults, want) {
		t.Fatalf("%+v", faults)
	}
	_, err = s.WorkFaults(s.ctx, s.org, w.ID, 2, "?")
	is(t, err, store.ErrBadCursor)
	_, err = s.WorkFaults(s.ctx, s.org, newID(), 2, "")
	is(t, err, store.ErrNotFound)
}

func endedWorks(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	w := s.begin(t, p.ID, 1, 1)
	noError(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: 0, Created: []store.Record{site("a", 2)}, At: day}))
	w, err := s.CancelWork(s.ctx, s.org, w.ID, day)
	if err != nil || w.State != store.WorkCancelled || !w.CancelRequested || w.Done != 1 {
		t.Fatalf("%+v, %v", w, err)
	}
	is(t, s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: 1, Created: []store.Record{site("b", 2)}, At: day}), store.ErrChunkChanged)
	if got := s.take(t, w.ID, day, 9); len(got) != 0 {
		t.Fatalf("claimed of a work that has ended: %+v", got)
	}
	if got := references(s.sites(t, p.ID, store.SiteFilter{})); got != "a" {
		t.Fatal(got)
	}
	again, err := s.CancelWork(s.ctx, s.org, w.ID, day.Add(time.Hour))
	if err != nil || !again.FinishedAt.Equal(w.FinishedAt) {
		t.Fatalf("%+v, %v", again, err)
	}
	_, err = s.CancelWork(s.ctx, s.org, newID(), day)
	is(t, err, store.ErrNotFound)

	w, err = s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: store.WorkImport, Mode: store.AllOrNothing,
		Options: []byte("{}"), CreatedAt: day})
	noError(t, err)
	noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("x\n"), Count: 1, Faulty: 1,
		Faults: []store.Fault{{Row: 2, Reason: "r"}}}, day))
	w, err = s.RefuseWork(s.ctx, s.org, w.ID, store.Notes{}, []store.Fault{{Row: 2, Reason: "the file ends here"}}, day)
	if err != nil || w.State != store.WorkRefused {
		t.Fatalf("%+v, %v", w, err)
	}
	_, err = s.Chunk(s.ctx, s.org, w.ID, 0)
	is(t, err, store.ErrNotFound)
	if page, err := s.WorkFaults(s.ctx, s.org, w.ID, 9, ""); err != nil || len(page.Faults) != 2 {
		t.Fatalf("%+v, %v", page, err)
	}
	if empty := s.begin(t, p.ID); empty.State != store.WorkDone || empty.FinishedAt.IsZero() {
		t.Fatalf("%+v", empty)
	}
}

func notedWorks(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	reading := func() store.Work {
		w, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: store.WorkImport, Mode: store.GoodRowsOnly,
			Options: []byte("{}"), CreatedAt: day})
		noError(t, err)
		return w
	}
	notes := store.Notes{Rows: 4, All: []store.Note{
		{Column: "height_m", Text: "is a formula \u00fc", Count: 3, Rows: []store.RowSpan{{First: 2, Last: 3}, {First: 1 << 40, Last: 1 << 40}}},
		{Text: "is hidden", Count: 1, Rows: []store.RowSpan{{First: 9, Last: 9}}},
	}}
	bad := store.Notes{Rows: 1, All: []store.Note{{Text: strings.Repeat("x", store.MaxText+1)}}}
	begun, refused := reading(), reading()
	_, err := s.BeginWork(s.ctx, s.org, begun.ID, bad, nil, day)
	is(t, err, store.ErrInvalid)
	_, err = s.RefuseWork(s.ctx, s.org, begun.ID, bad, nil, day)
	is(t, err, store.ErrInvalid)
	begun, err = s.BeginWork(s.ctx, s.org, begun.ID, notes, nil, day)
	noError(t, err)
	refused, err = s.RefuseWork(s.ctx, s.org, refused.ID, notes, nil, day)
	noError(t, err)
	for _, w := range []store.Work{begun, refused} {
		again, err := s.Work(s.ctx, s.org, w.ID)
		if err != nil || w.Noted != 4 || again.Noted != 4 {
			t.Fatalf("%+v, %+v, %v", w, again, err)
		}
		if all, err := s.WorkNotes(s.ctx, s.org, w.ID); err != nil || !reflect.DeepEqual(all, notes.All) {
			t.Fatalf("%+v, %v", all, err)
		}
	}
	if all, err := s.WorkNotes(s.ctx, s.org, s.begin(t, p.ID, 1).ID); err != nil || len(all) != 0 {
		t.Fatalf("%+v, %v", all, err)
	}
	_, err = s.WorkNotes(s.ctx, s.org, newID())
	is(t, err, store.ErrNotFound)
}

// A key belongs to the first work that is begun with it, and is free again when that is gone.
func keyedWorks(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	reading := func() store.Work {
		w, err := s.CreateWork(s.ctx, s.org, store.Work{ID: newID(), Portfolio: p.ID, Kind: store.WorkImport, Mode: store.GoodRowsOnly,
			Options: []byte("{}"), CreatedAt: day})
		noError(t, err)
		noError(t, s.AddChunk(s.ctx, s.org, w.ID, store.NewChunk{Rows: []byte("x\n"), Count: 1}, day))
		return w
	}
	idem := &store.Idempotency{Key: "Klucz \u017c-1", BodyHash: "h"}
	_, err := s.WorkUnder(s.ctx, s.org, idem.Key)
	is(t, err, store.ErrNotFound)
	_, err = s.BeginWork(s.ctx, s.org, reading().ID, store.Notes{}, &store.Idempotency{BodyHash: "h"}, day)
	is(t, err, store.ErrInvalid)

	const many = 8
	all, errs := make([]store.Work, many), make([]error, many)
	for i := range all {
		all[i] = reading()
	}
	together(many, func(i int) { _, errs[i] = s.BeginWork(s.ctx, s.org, all[i].ID, store.Notes{}, idem, day) })
	won, err := s.WorkUnder(s.ctx, s.org, idem.Key)
	if err != nil || won.State != store.WorkQueued || won.Idempotency == nil || *won.Idempotency != *idem {
		t.Fatalf("%+v, %v", won, err)
	}
	for i, w := range all {
		if w.ID == won.ID {
			noError(t, errs[i])
			continue
		}
		is(t, errs[i], store.ErrExists)
		if w, err := s.Work(s.ctx, s.org, w.ID); err != nil || w.State != store.WorkReading || w.Idempotency != nil {
			t.Fatalf("%+v, %v", w, err)
		}
		_, err := s.RefuseWork(s.ctx, s.org, w.ID, store.Notes{}, nil, day)
		noError(t, err)
	}
	if again, err := s.Work(s.ctx, s.org, won.ID); err != nil || *again.Idempotency != *idem {
		t.Fatalf("%+v, %v", again, err)
	}
	_, err = s.WorkUnder(s.ctx, store.Organisation(newID()), idem.Key)
	is(t, err, store.ErrNotFound)

	noError(t, s.DeletePortfolio(s.ctx, s.org, p.ID))
	p = s.portfolio(t, "P")
	_, err = s.WorkUnder(s.ctx, s.org, idem.Key)
	is(t, err, store.ErrNotFound)
	_, err = s.BeginWork(s.ctx, s.org, reading().ID, store.Notes{}, idem, day)
	noError(t, err)
}

// Many complete one chunk at once, and many change one site: each is done once.
func worksRace(t *testing.T, s suite) {
	p := s.portfolio(t, "P")
	const many = 8
	w := s.begin(t, p.ID, 1)
	errs := make([]error, many)
	together(many, func(i int) {
		errs[i] = s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, Created: []store.Record{site("", 2)}, At: day})
	})
	once(t, errs)

	// Works of their own that bring the same reference.
	all := make([]store.Work, many)
	for i := range all {
		all[i] = s.begin(t, p.ID, 1)
	}
	together(many, func(i int) {
		errs[i] = s.StoreChunk(s.ctx, s.org, store.Outcome{Work: all[i].ID, Created: []store.Record{site("same", 2)}, At: day})
	})
	once(t, errs)
	found, err := s.SitesByReference(s.ctx, s.org, p.ID, []string{"same"})
	if err != nil || len(found) != 1 {
		t.Fatalf("%+v, %v", found, err)
	}

	next := site("same", 3)
	next.ID = found[0].Assessment
	for i := range all {
		all[i] = s.begin(t, p.ID, 1)
	}
	together(many, func(i int) {
		errs[i] = s.StoreChunk(s.ctx, s.org, store.Outcome{Work: all[i].ID, Revised: []store.Revised{{Record: next, Before: found[0]}}, At: day})
	})
	once(t, errs)
	if headers, err := s.Revisions(s.ctx, s.org, next.ID); err != nil || len(headers) != 2 {
		t.Fatalf("%+v, %v", headers, err)
	}
	if n := len(s.sites(t, p.ID, store.SiteFilter{})); n != 2 {
		t.Fatalf("%d sites", n)
	}

	// A portfolio that is deleted while chunks come in leaves nothing.
	w = s.begin(t, p.ID, 1, 1, 1, 1)
	together(5, func(i int) {
		if i == 4 {
			errs[i] = s.DeletePortfolio(s.ctx, s.org, p.ID)
			return
		}
		errs[i] = s.StoreChunk(s.ctx, s.org, store.Outcome{Work: w.ID, N: i, Created: []store.Record{site("", 2)}, At: day})
	})
	noError(t, errs[4])
	for _, err := range errs[:4] {
		if err != nil && !errors.Is(err, store.ErrNotFound) && !errors.Is(err, store.ErrChunkChanged) {
			t.Error(err)
		}
	}
	if l := s.list(t, store.Filter{}); len(l) != 0 {
		t.Fatalf("%d left", len(l))
	}
}

func once(t *testing.T, errs []error) {
	t.Helper()
	stored := 0
	for _, err := range errs {
		if err == nil {
			stored++
		} else if !errors.Is(err, store.ErrChunkChanged) {
			t.Error(err)
		}
	}
	if stored != 1 {
		t.Fatalf("stored %d times", stored)
	}
}

// Whatever becomes of the chunks, in whatever order, and whenever the work is
// cancelled: the counts add up, and the sites are those that were counted.
func countsAddUp(t *testing.T, s suite) {
	run := 0
	rapid.Check(t, func(t *rapid.T) {
		run++
		p := s.portfolio(t, fmt.Sprint("P", run))
		counts := rapid.SliceOfN(rapid.IntRange(1, 4), 1, 4).Draw(t, "chunks")
		w := s.begin(t, p.ID, counts...)
		left := slices.Clone(counts) // rows of each chunk still to be done
		steps := make([]int, len(counts))
		cancelled := false
		var done, failed, unchanged int64
		for range rapid.IntRange(1, 12).Draw(t, "calls") {
			if rapid.IntRange(0, 9).Draw(t, "cancel") == 0 {
				_, err := s.CancelWork(s.ctx, s.org, w.ID, day)
				noError(t, err)
				cancelled = true
			}
			n := rapid.IntRange(0, len(counts)-1).Draw(t, "chunk")
			o := store.Outcome{Work: w.ID, N: n, Step: steps[n] - rapid.IntRange(0, min(1, steps[n])).Draw(t, "late"), At: day}
			rows := rapid.IntRange(1, max(1, left[n])).Draw(t, "rows")
			var d, f, u int64
			for range rows {
				switch rapid.SampledFrom([]string{"done", "failed", "unchanged"}).Draw(t, "row") {
				case "done":
					o.Created = append(o.Created, site("", 2))
					d++
				case "failed":
					o.Faulty++
					f++
				default:
					o.Unchanged++
					u++
				}
			}
			if rows < left[n] {
				o.Rest = []byte("rest")
			}
			err := s.StoreChunk(s.ctx, s.org, o)
			if refused := cancelled || left[n] == 0 || o.Step != steps[n]; refused {
				is(t, err, store.ErrChunkChanged)
			} else {
				noError(t, err)
				left[n], steps[n] = left[n]-rows, steps[n]+1
				done, failed, unchanged = done+d, failed+f, unchanged+u
			}
			got, err := s.Work(s.ctx, s.org, w.ID)
			noError(t, err)
			if got.Done != done || got.Failed != failed || got.Unchanged != unchanged || done+failed+unchanged > got.Total {
				t.Fatalf("%+v, want done %d, failed %d, unchanged %d", got, done, failed, unchanged)
			}
			if all := done+failed+unchanged == got.Total; all != (got.State == store.WorkDone) && !cancelled {
				t.Fatalf("%+v", got)
			}
			cancelled = cancelled && got.State != store.WorkDone
		}
		if n := len(s.sites(t, p.ID, store.SiteFilter{})); int64(n) != done {
			t.Fatalf("%d sites, counted %d", n, done)
		}
	})
}
