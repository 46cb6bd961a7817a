package jobs_test

import (
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"levinward/api/batch"
	"levinward/api/jobs"
	"levinward/store"
)

// A reference that stands twice is told with the row where it stood first: however far
// apart the two are, and whether the first one has faults or not.
func TestRepeatedReferences(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		lines := strings.SplitAfter(sites("S", 700, 5), "\n") // more than two chunks
		lines[690] = strings.Replace(lines[690], "S689,", "S3,", 1)
		lines[691] = strings.Replace(lines[691], "S690,", "S3,", 1)
		lines[300] = strings.Replace(lines[300], ",5,6\n", ",tall,6\n", 1) // S299, in row 301
		lines[692] = strings.Replace(lines[692], "S691,", "S299,", 1)
		lines[693] = strings.Replace(strings.Replace(lines[693], "S692,", "S4,", 1), ",5,6\n", ",tall,6\n", 1)
		lines[694] = strings.Replace(lines[694], "S693,", ",", 1) // sites without a reference are never the same
		lines[695] = strings.Replace(lines[695], "S694,", ",", 1)
		file := strings.Join(lines, "")

		want := func(w store.Work) {
			t.Helper()
			var got []string
			for _, f := range b.faults(w.ID) {
				if f.Column != "reference" {
					if f.Column != "height_m" || f.Value != "tall" {
						t.Errorf("%+v", f)
					}
					continue
				}
				first, _, _ := strings.Cut(f.Reason, " has the same reference")
				got = append(got, f.Value+" "+first)
			}
			if all := []string{"S3 row 5", "S3 row 5", "S299 row 301", "S4 row 6"}; !slices.Equal(got, all) {
				t.Errorf("%q, want %q", got, all)
			}
		}
		w := b.read(store.AllOrNothing, file)
		b.wants(w, store.WorkRefused, 0, 5, 0)
		want(w)
		if page, err := b.store.ListSites(t.Context(), store.Local, b.portfolio, store.SiteFilter{}); err != nil || len(page.Sites) != 0 {
			t.Errorf("%d sites, %v", len(page.Sites), err)
		}
		w = b.imported(store.GoodRowsOnly, file)
		b.wants(w, store.WorkDone, 695, 5, 0)
		want(w)
	})
}

// Of two requests with one key that are read at once the one that was read first counts.
func TestFasterRequest(t *testing.T) {
	onBothStores(t, func(t *testing.T, dsn string) {
		b := newBench(t, dsn)
		im := jobs.Import{Portfolio: b.portfolio, Mode: store.GoodRowsOnly, File: batch.Options{Format: batch.CSV}}
		// race reads a file whose end arrives when another with the same key has been read.
		race := func(key, slow, fast string) (store.Work, store.Work, bool, error) {
			im.Key = key
			var won store.Work
			between := readerFunc(func([]byte) (int, error) {
				if won.ID == "" {
					var err error
					if won, _, err = b.jobs.Import(t.Context(), im, strings.NewReader(fast)); err != nil {
						t.Error(err)
					}
				}
				return 0, io.EOF
			})
			w, begun, err := b.jobs.Import(t.Context(), im, io.MultiReader(strings.NewReader(slow), between))
			return won, w, begun, err
		}
		won, w, begun, err := race("a", sites("S", 600, 5), sites("S", 600, 5))
		if err != nil || !begun || w.ID != won.ID || w.Total != 600 {
			t.Fatalf("%+v, %v, %v", w, begun, err)
		}
		b.wants(b.drained(won), store.WorkDone, 600, 0, 0)
		won, _, _, err = race("b", sites("S", 600, 7), sites("S", 300, 6))
		if !errors.Is(err, store.ErrKeyReused) {
			t.Fatal(err)
		}
		b.wants(b.drained(won), store.WorkDone, 300, 0, 0)
		if all, err := b.store.UnfinishedWorks(t.Context(), store.Local); err != nil || len(all) != 0 {
			t.Errorf("%+v, %v", all, err)
		}
		if all := b.all(); len(all) != 600 || all["S299"].Revision != 2 || all["S300"].Revision != 1 {
			t.Errorf("%d sites, %+v, %+v", len(all), all["S299"], all["S300"])
		}
	})
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }
