package storetest

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

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
	is(t, store.DeletePortfolio(s.ctx, foreign.Store, foreign.org, p.ID), store.ErrNotFound)
	foreign.portfolio(t, "North")
	_, err = s.CreatePortfolio(s.ctx, store.Organisation(newID()), store.Portfolio{ID: newID(), CreatedAt: day, Name: "x"})
	is(t, err, store.ErrNotFound)
}

func deletedPortfolios(t *testing.T, s suite) {
	p, kept := s.portfolio(t, "P"), s.portfolio(t, "kept")
	a, b, c := site("a", 2), site("b", 0.5), site("c", 3)
	w := s.fill(t, p.ID, a, b)
	s.fill(t, kept.ID, c)
	noError(t, store.DeletePortfolio(s.ctx, s.Store, s.org, p.ID))
	is(t, store.DeletePortfolio(s.ctx, s.Store, s.org, p.ID), store.ErrNotFound)
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
