package jobs_test

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"pgregory.net/rapid"

	"levinward/api/batch"
	"levinward/api/jobs"
	"levinward/store"
	"levinward/store/storetest"
)

func TestImport(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		file := sites("S", 600, 5)
		w := b.read(store.GoodRowsOnly, file)
		if w.State != store.WorkQueued || w.Total != 600 || w.Chunks != 3 {
			t.Fatalf("%+v", w)
		}
		b.wants(b.drained(w), store.WorkDone, 600, 0, 0)
		b.whole(600, 1)

		// What is stored is what a single assessment would have stored.
		s := b.all()["S17"]
		r, err := b.store.Newest(t.Context(), store.Local, s.Assessment)
		if err != nil || r.Name != "Invented site 17" || r.InputHash != s.InputHash ||
			!strings.Contains(string(r.Result), `"id":"`+s.Assessment) {
			t.Fatalf("%+v, %v", r.Header, err)
		}
		sheet, err := b.store.Worksheet(t.Context(), store.Local, s.Assessment, 1)
		if err != nil || len(sheet) < 1000 {
			t.Fatalf("worksheet of %d bytes, %v", len(sheet), err)
		}
		if _, err := b.store.Definitions(t.Context(), store.Local, r.DefinitionsHash); err != nil {
			t.Fatal(err)
		}

		// The same again stores nothing.
		b.wants(b.imported(store.AllOrNothing, file), store.WorkDone, 0, 0, 600)
		b.whole(600, 1)

		// What has changed becomes the next revision of the same site.
		w = b.imported(store.GoodRowsOnly, sites("S", 5, 9)+"")
		b.wants(w, store.WorkDone, 5, 0, 0)
		after := b.all()
		if len(after) != 600 || after["S4"].Revision != 2 || after["S5"].Revision != 1 || after["S4"].WorstRatio <= 0 {
			t.Fatalf("%+v", after["S4"])
		}
		page, err := b.store.ChangedSites(t.Context(), store.Local, b.portfolio, store.Changes{Work: w.ID})
		if err != nil || len(page.Sites) != 5 || page.Sites[0].Before == nil || page.Sites[0].Before.WorstRatio == page.Sites[0].WorstRatio {
			t.Fatalf("%+v, %v", page, err)
		}
	})
}

// withFaults is a file whose rows 3 and 5 (as a spreadsheet counts) are bad.
func withFaults() string {
	lines := strings.SplitAfter(sites("S", 6, 5), "\n")
	lines[2] = strings.Replace(lines[2], ",8,5,6", ",8,high,6", 1)
	lines[4] = strings.Replace(lines[4], "S3,", "S0,", 1)
	return strings.Join(lines, "")
}

func TestModes(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		w := b.read(store.AllOrNothing, withFaults())
		b.wants(w, store.WorkRefused, 0, 2, 0)
		if w.Total != 6 || len(b.all()) != 0 {
			t.Fatalf("%+v", w)
		}
		f := b.faults(w.ID)
		if len(f) != 2 || f[0].Row != 3 || f[0].Column != "height_m" || f[0].Value != "high" || f[1].Row != 5 || f[1].Column != "reference" ||
			!strings.Contains(f[1].Reason, "row 2") {
			t.Fatalf("%+v", f)
		}
		if err := b.jobs.Drain(t.Context(), w.ID); err != nil || len(b.all()) != 0 {
			t.Fatal("a refused work was done", err)
		}

		w = b.imported(store.GoodRowsOnly, withFaults())
		b.wants(w, store.WorkDone, 4, 2, 0)
		if len(b.faults(w.ID)) != 2 || len(b.all()) != 4 {
			t.Fatalf("%+v", b.faults(w.ID))
		}

		// A file that is none is refused in either mode, with the faults it has as a whole.
		for _, mode := range []string{store.AllOrNothing, store.GoodRowsOnly} {
			w := b.read(mode, "no,header,of,ours\n1,2,3,4\n")
			b.wants(w, store.WorkRefused, 0, 0, 0)
			if len(b.faults(w.ID)) == 0 {
				t.Error("no fault is named")
			}
		}
		_, _, err := b.jobs.Import(t.Context(), jobs.Import{Portfolio: b.portfolio, Mode: store.GoodRowsOnly,
			File: batch.Options{Format: batch.CSV}}, broken(sites("S", 3000, 5)))
		if !errors.Is(err, errBroken) {
			t.Error(err)
		}
		if works, err := b.store.UnfinishedWorks(t.Context(), store.Local); err != nil || len(works) != 0 {
			t.Errorf("%+v, %v", works, err)
		}
		if _, _, err := b.jobs.Import(t.Context(), jobs.Import{Portfolio: "none", Mode: store.GoodRowsOnly},
			strings.NewReader("")); !errors.Is(err, store.ErrNotFound) {
			t.Error(err)
		}
	})
}

var errBroken = errors.New("connection lost")

// broken is a file whose connection is lost behind a text.
func broken(text string) io.Reader {
	return io.MultiReader(strings.NewReader(text), iotest.ErrReader(errBroken))
}

func TestReassess(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		b.imported(store.GoodRowsOnly, sites("S", 300, 5))
		again := func(due bool) store.Work {
			w, _, err := b.jobs.Reassess(t.Context(), jobs.Reassessment{Portfolio: b.portfolio, Due: due})
			if err != nil {
				t.Fatal(err)
			}
			return b.drained(w)
		}
		b.wants(again(false), store.WorkDone, 0, 0, 300) // nothing has changed
		b.wants(again(true), store.WorkDone, 0, 0, 0)
		b.whole(300, 1)

		b.use("engine 2")
		w := again(true)
		b.wants(w, store.WorkDone, 300, 0, 0)
		b.whole(300, 2)
		if s := b.all()["S7"]; s.Engine != "engine 2" {
			t.Fatalf("%+v", s)
		}
		page, err := b.store.ChangedSites(t.Context(), store.Local, b.portfolio, store.Changes{Work: w.ID})
		if err != nil || len(page.Sites) != store.DefaultLimit || page.Sites[0].Before.Engine != "engine 1" ||
			page.Sites[0].Before.Summary != page.Sites[0].Summary {
			t.Fatalf("%+v, %v", page.Sites[0].Before, err)
		}
		b.wants(again(true), store.WorkDone, 0, 0, 0)
	})
}

// Rows that failed for a reason that is gone are tried again, alone.
func TestRetry(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		w := b.added(`{"row":2,"input":{"name":"a","location":{"latitude":1,"longitude":2},"flash_density":{"map":"no-such-map"},`+
			`"structures":[{"id":"a","length_m":9,"width_m":9,"height_m":9}]}}`,
			`{"row":3,"input":{"name":"b","location":{"latitude":1,"longitude":2},"flash_density":{"ground_flashes_per_km2_year":4},`+
				`"structures":[{"id":"b","length_m":9,"width_m":9,"height_m":9}]}}`)
		b.wants(w, store.WorkDone, 1, 1, 0)
		if f := b.faults(w.ID); len(f) == 0 || f[0].Row != 2 || !strings.Contains(f[0].Reason, "no-such-map") {
			t.Fatalf("%+v", f)
		}
		r, err := b.jobs.Retry(t.Context(), w.ID)
		if err != nil || r.Total != 1 || r.Kind != store.WorkImport {
			t.Fatalf("%+v, %v", r, err)
		}
		if same, err := b.jobs.Retry(t.Context(), w.ID); err != nil || same.ID != r.ID {
			t.Fatalf("a repeated request: %+v, %v", same, err)
		}
		b.wants(b.drained(r), store.WorkDone, 0, 1, 0)
		ok := b.imported(store.GoodRowsOnly, sites("T", 1, 5))
		if _, err := b.jobs.Retry(t.Context(), ok.ID); !errors.Is(err, jobs.ErrNothingToRetry) {
			t.Fatal(err)
		}
		if _, err := b.jobs.Retry(t.Context(), b.read(store.GoodRowsOnly, sites("U", 1, 5)).ID); !errors.Is(err, jobs.ErrNotEnded) {
			t.Fatal(err)
		}
	})
}

func TestCancel(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		w := b.read(store.GoodRowsOnly, sites("S", 1000, 5))
		if err := b.jobs.DoChunk(t.Context(), w.ID, 1); err != nil {
			t.Fatal(err)
		}
		if _, err := b.store.CancelWork(t.Context(), store.Local, w.ID, time.Now()); err != nil {
			t.Fatal(err)
		}
		b.wants(b.drained(w), store.WorkCancelled, 250, 0, 0)
		for n := range 4 {
			if err := b.jobs.DoChunk(t.Context(), w.ID, n); err != nil {
				t.Fatal(err)
			}
		}
		if n := len(b.all()); n != 250 {
			t.Fatalf("%d sites", n)
		}
	})
}

// The queue does what was read, with several processes' worth of workers on one database.
func TestReplicasShareTheWork(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		b.start(b.jobs)
		if !strings.HasPrefix(dsn, "postgres") {
			b.wants(b.await(b.read(store.GoodRowsOnly, sites("S", 1000, 5)).ID), store.WorkDone, 1000, 0, 0)
			b.whole(1000, 1)
			return // one process serves a file
		}
		shares := make([]*counting, 2)
		for i := range shares {
			s, err := openStore(t.Context(), dsn)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { s.Close() })
			shares[i] = &counting{Store: s}
			other, err := newJobs(shares[i], "engine 1")
			if err != nil {
				t.Fatal(err)
			}
			b.start(other)
		}
		w := b.await(b.read(store.GoodRowsOnly, sites("S", 6000, 5)).ID)
		b.wants(w, store.WorkDone, 6000, 0, 0)
		b.whole(6000, 1)
		for i, s := range shares {
			for more := 0; s.chunks.Load() == 0 && more < 10; more++ { // on a busy machine one may come late
				prefix := fmt.Sprintf("M%d-%d-", i, more)
				b.wants(b.await(b.read(store.GoodRowsOnly, sites(prefix, 3000, 5)).ID), store.WorkDone, 3000, 0, 0)
			}
			if s.chunks.Load() == 0 {
				t.Errorf("replica %d did nothing", i)
			}
		}
	})
}

// A process that is killed over its work loses and doubles nothing.
func TestKilled(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		const n = 3000
		b := newBench(t, dsn)
		w := b.read(store.GoodRowsOnly, sites("S", n, 5))
		for kills := 0; kills < 2; kills++ {
			c := worker(t, dsn)
			before := b.work(w.ID).Done
			for end := time.Now().Add(5 * time.Minute); b.work(w.ID).Done == before && time.Now().Before(end); {
				time.Sleep(time.Millisecond)
			}
			if err := c.Process.Kill(); err != nil {
				t.Fatal(err)
			}
			c.Wait()
			if now := b.work(w.ID); now.Ended() && kills == 0 {
				t.Fatalf("it was done before it could be killed: %+v", now)
			}
		}
		worker(t, dsn)
		b.wants(b.await(w.ID), store.WorkDone, n, 0, 0)
		b.whole(n, 1)
	})
}

// A database that restarts in the middle loses and doubles nothing.
func TestDatabaseRestarts(t *testing.T) {
	const n = 3000
	cluster := storetest.NewCluster(t)
	b := newBench(t, cluster.URL())
	b.start(b.jobs)
	w := b.read(store.GoodRowsOnly, sites("S", n, 5))
	for b.work(w.ID).Done == 0 {
		time.Sleep(time.Millisecond)
	}
	cluster.Stop()
	time.Sleep(200 * time.Millisecond)
	if err := cluster.Start(); err != nil {
		t.Fatal(err)
	}
	b.wants(b.await(w.ID), store.WorkDone, n, 0, 0)
	b.whole(n, 1)
}

// Whatever files come in whatever order: the portfolio holds the last good row of each reference that stood first in its file,
// and the counts add up.
func TestImportsAddUp(t *testing.T) {
	b := newBench(t, t.TempDir()+"/sites.db")
	known := map[string]float64{} // height by reference
	rapid.Check(t, func(t *rapid.T) {
		var f strings.Builder
		f.WriteString("reference,name,latitude,longitude,ground_flashes_per_km2_year,length_m,width_m,height_m\n")
		var done, failed, unchanged int64
		next, seen := map[string]float64{}, map[string]bool{}
		for range rapid.IntRange(0, 8).Draw(t, "rows") {
			ref := fmt.Sprint("R", rapid.IntRange(0, 9).Draw(t, "reference"))
			height := float64(rapid.IntRange(3, 5).Draw(t, "height"))
			bad := rapid.IntRange(0, 5).Draw(t, "bad") == 0
			text := fmt.Sprint(height)
			if bad {
				text = "tall"
			}
			fmt.Fprintf(&f, "%s,Invented,1,2,3,10,8,%s\n", ref, text)
			switch {
			case bad || seen[ref]:
				failed++
			case known[ref] == height:
				unchanged++
			default:
				done++
			}
			if !bad && !seen[ref] {
				next[ref] = height
			}
			seen[ref] = true
		}
		mode := rapid.SampledFrom([]string{store.AllOrNothing, store.GoodRowsOnly}).Draw(t, "mode")
		w := b.imported(mode, f.String())
		if mode == store.AllOrNothing && failed > 0 {
			if w.State != store.WorkRefused || w.Done != 0 || w.Failed != failed {
				t.Fatalf("%+v", w)
			}
			return
		}
		if w.State != store.WorkDone || w.Done != done || w.Failed != failed || w.Unchanged != unchanged {
			if f.Len() > 100 {
				t.Fatalf("%+v, want %d, %d, %d\n%s", w, done, failed, unchanged, f.String())
			}
		}
		for ref, height := range next {
			known[ref] = height
		}
		if all := b.all(); len(all) != len(known) {
			t.Fatalf("%d sites, want %d", len(all), len(known))
		}
	})
}
