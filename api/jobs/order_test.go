package jobs_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"levinward/api/jobs"
	"levinward/api/wire"
	"levinward/store"
)

// What is left of an import that was interrupted changes nothing that a newer one has spoken of.
func TestNewerImportCounts(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		b.imported(store.GoodRowsOnly, sites("S", 300, 5))
		left := b.read(store.GoodRowsOnly, sites("S", 300, 9))
		b.wants(b.imported(store.GoodRowsOnly, sites("S", 300, 7)), store.WorkDone, 300, 0, 0)
		want := b.all()
		b.wants(b.drained(left), store.WorkDone, 0, 0, 300)
		b.whole(300, 2)

		// Nor does it where the newer one has only said that all stays as it is.
		left = b.read(store.GoodRowsOnly, sites("S", 300, 9))
		b.wants(b.imported(store.GoodRowsOnly, sites("S", 300, 7)), store.WorkDone, 0, 0, 300)
		b.wants(b.drained(left), store.WorkDone, 0, 0, 300)
		for reference, s := range b.all() {
			if s.Revision != 2 || s.InputHash != want[reference].InputHash {
				t.Fatalf("%+v, want %+v", s, want[reference])
			}
		}
		b.wants(b.imported(store.GoodRowsOnly, sites("S", 300, 9)), store.WorkDone, 300, 0, 0)
	})
}

// Rows of an older file are no newer for being tried again.
func TestRetriedRowsStayOld(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		head := "reference,name,latitude,longitude,flash_density_map,ground_flashes_per_km2_year,length_m,width_m,height_m\n"
		old := b.imported(store.GoodRowsOnly, head+"A,Invented site,1,2,no-such-map,,9,8,5\n")
		b.wants(old, store.WorkDone, 0, 1, 0)
		b.wants(b.imported(store.GoodRowsOnly, head+"A,Invented site,1,2,,4,9,8,5\n"), store.WorkDone, 1, 0, 0)
		again, err := b.jobs.Retry(t.Context(), old.ID)
		if err != nil {
			t.Fatal(err)
		}
		b.wants(b.drained(again), store.WorkDone, 0, 0, 1)
		if s := b.all()["A"]; s.GroundFlashes != 4 || s.Revision != 1 {
			t.Fatalf("%+v", s)
		}
	})
}

// A newer import may speak of a site between reading and storing an older one's row.
func TestNewerImportOvertakes(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		b.imported(store.GoodRowsOnly, sites("S", 1, 5))
		old, err := b.store.Site(t.Context(), store.Local, b.portfolio, b.all()["S0"].Assessment)
		if err != nil {
			t.Fatal(err)
		}
		left := b.read(store.GoodRowsOnly, sites("S", 1, 9))
		b.wants(b.imported(store.GoodRowsOnly, sites("S", 1, 5)), store.WorkDone, 0, 0, 1)
		r, err := b.store.Newest(t.Context(), store.Local, old.Assessment)
		if err != nil {
			t.Fatal(err)
		}
		r.Summary, r.Worksheet = &old.Summary, []byte("{}")
		r.Imported = &store.ImportedRow{Hash: "of the older file", At: left.CreatedAt}
		err = b.store.StoreChunk(t.Context(), store.Local,
			store.Outcome{Work: left.ID, At: time.Now(), Revised: []store.Revised{{Record: r, Before: old}}})
		if !errors.Is(err, store.ErrChunkChanged) {
			t.Fatal(err)
		}
	})
}

// A small import does not wait until a large one that came before has ended.
func TestSmallWorkGoesFirst(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		large := b.read(store.GoodRowsOnly, sites("L", 10_000, 5))
		small := b.read(store.GoodRowsOnly, sites("S", 10, 5))
		b.start(b.jobs)
		b.wants(b.await(small.ID), store.WorkDone, 10, 0, 0)
		if w := b.work(large.ID); w.Ended() {
			t.Errorf("the large one has ended: %+v", w)
		}
		if _, err := b.store.CancelWork(t.Context(), store.Local, large.ID, time.Now()); err != nil {
			t.Fatal(err)
		}
	})
}

// edit changes an input by hand, as the API does for a single assessment.
func (b *bench) edit(reference string, change func(in *wire.Input)) {
	b.t.Helper()
	s := b.all()[reference]
	r, err := b.store.Newest(b.t.Context(), store.Local, s.Assessment)
	if err != nil {
		b.t.Fatal(err)
	}
	in, ok := wire.Decode(r.Input)
	if !ok {
		b.t.Fatalf("%s", r.Input)
	}
	change(in)
	rec, faults, err := b.jobs.Recorder.Record(in, in.Core(), s.Assessment, s.Revision+1, time.Time{})
	if err != nil || len(faults) > 0 {
		b.t.Fatal(faults, err)
	}
	if _, err := b.store.Revise(b.t.Context(), store.Local, rec, s.Revision); err != nil {
		b.t.Fatal(err)
	}
}

// A repeated file leaves what was edited since; a row that changed replaces what columns can say.
func TestEditedSitesStay(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		b.imported(store.GoodRowsOnly, sites("S", 3, 5))
		density, limit := 50.0, 1e-6
		b.edit("S1", func(in *wire.Input) {
			in.FlashDensity = &wire.FlashDensity{GroundFlashes: &density}
			in.Tolerable = &wire.TolerableRisk{HumanLife: &limit}
		})
		edited := b.all()["S1"]
		b.wants(b.imported(store.GoodRowsOnly, sites("S", 3, 5)), store.WorkDone, 0, 0, 3)
		if s := b.all()["S1"]; s.Revision != 2 || s.GroundFlashes != density || s.WorstRatio != edited.WorstRatio {
			t.Fatalf("%+v", s)
		}

		b.wants(b.imported(store.GoodRowsOnly, sites("S", 3, 6)), store.WorkDone, 3, 0, 0)
		s := b.all()["S1"]
		r, err := b.store.Newest(t.Context(), store.Local, s.Assessment)
		if err != nil || s.Revision != 3 || s.GroundFlashes == density || !strings.Contains(string(r.Input),
			`"loss_of_human_life":0.000001`) && !strings.Contains(string(r.Input), `"loss_of_human_life":1e-6`) {
			t.Fatalf("%+v, %s, %v", s, r.Input, err)
		}
		// The same file again: limits that no column can say do not make its rows new.
		b.wants(b.imported(store.GoodRowsOnly, sites("S", 3, 6)), store.WorkDone, 0, 0, 3)

		// A row that asks for what is there by hand already is no change, and counts as the last import.
		b.imported(store.GoodRowsOnly, sites("T", 1, 5))
		high := 8.0
		b.edit("T0", func(in *wire.Input) { in.Structures[0].Height = &high })
		b.wants(b.imported(store.GoodRowsOnly, sites("T", 1, 8)), store.WorkDone, 0, 0, 1)
		b.wants(b.imported(store.GoodRowsOnly, sites("T", 1, 5)), store.WorkDone, 1, 0, 0)
	})
}

// Faults of a re-assessment say of which site they are, faults of a row in which column and what stands there.
func TestFaultsSayWhere(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		b.imported(store.GoodRowsOnly, sites("S", 2, 5))
		w, _, err := b.jobs.Reassess(t.Context(), jobs.Reassessment{Portfolio: b.portfolio, Map: "no-such-map"})
		if err != nil {
			t.Fatal(err)
		}
		b.wants(b.drained(w), store.WorkDone, 0, 2, 0)
		all := b.all()
		for _, f := range b.faults(w.ID) {
			if s := all[f.Reference]; f.Reference == "" || f.Assessment != s.Assessment || f.Value != "no-such-map" ||
				f.Column != "flash_density_map" {
				t.Errorf("%+v", f)
			}
		}
		file := "reference,name,latitude,longitude,flash_density_map,length_m,width_m,height_m\nA,Invented site,1,2,no-such-map,9,8,5\n"
		for _, mode := range []string{store.AllOrNothing, store.GoodRowsOnly} {
			w := b.imported(mode, file)
			f := b.faults(w.ID)
			if len(f) == 0 || f[0].Row != 2 || f[0].Column != "flash_density_map" || f[0].Value != "no-such-map" || f[0].Assessment != "" {
				t.Errorf("%s: %+v", mode, f)
			}
		}
	})
}
