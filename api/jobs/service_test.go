package jobs_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"levinward/api/assess"
	"levinward/api/batch"
	"levinward/api/jobs"
	"levinward/api/queue"
	"levinward/store"
	"levinward/store/postgres"
	"levinward/store/sqlite"
	"levinward/store/storetest"
)

// asWorker makes the test binary a process that works on the database named.
const asWorker = "LEVINWARD_TEST_WORKER"

func TestMain(m *testing.M) {
	if dsn := os.Getenv(asWorker); dsn != "" {
		if err := workFor(context.Background(), dsn); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		select {} // until it is killed
	}
	storetest.Main(m)
}

func workFor(ctx context.Context, dsn string) error {
	s, err := openStore(ctx, dsn)
	if err != nil {
		return err
	}
	j, err := newJobs(s, "engine 1")
	if err != nil {
		return err
	}
	start(ctx, j)
	fmt.Println("working")
	return nil
}

func openStore(ctx context.Context, dsn string) (store.Store, error) {
	if strings.HasPrefix(dsn, "postgres") {
		return postgres.Open(ctx, dsn, os.DirFS("../../migrations/postgres"))
	}
	return sqlite.Open(ctx, dsn, os.DirFS("../../migrations/sqlite"))
}

func newJobs(s store.Store, engine string) (*jobs.Jobs, error) {
	r, err := assess.NewRecorder(engine, nil)
	return jobs.New(jobs.Config{Store: s, Recorder: r, Log: slog.New(slog.NewTextHandler(os.Stderr, nil))}), err
}

// testLease is short, so that tests which kill a process do not wait long.
const testLease = 2 * time.Second

// start begins to work in the background.
func start(ctx context.Context, j *jobs.Jobs) *queue.Queue {
	q := queue.Start(ctx, queue.Config{Kinds: j.Kinds(), Chores: j.Chores(), Log: j.Log, Lease: testLease})
	j.WhenQueued(func(string) { q.Wake() })
	return q
}

// onBothStores runs a test on the address of a database of each kind.
func onBothStores(t *testing.T, test func(t *testing.T, dsn string)) {
	t.Run("SQLite", func(t *testing.T) { test(t, filepath.Join(t.TempDir(), "sites.db")) })
	t.Run("PostgreSQL", func(t *testing.T) { test(t, storetest.Postgres(t)) })
}

// bench is a store with an empty portfolio.
type bench struct {
	t         testing.TB
	dsn       string
	store     store.Store
	jobs      *jobs.Jobs
	portfolio string
}

func newBench(t testing.TB, dsn string) *bench {
	t.Helper()
	s, err := openStore(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	b := &bench{t: t, dsn: dsn, store: s}
	b.use("engine 1")
	p, err := s.CreatePortfolio(t.Context(), store.Local, store.Portfolio{ID: uuid.Must(uuid.NewV7()).String(), CreatedAt: time.Now(),
		Name: "P"})
	if err != nil {
		t.Fatal(err)
	}
	b.portfolio = p.ID
	return b
}

// use works on as another version of the program.
func (b *bench) use(engine string) {
	b.t.Helper()
	var err error
	if b.jobs, err = newJobs(b.store, engine); err != nil {
		b.t.Fatal(err)
	}
}

// start works in the background until the end of the test.
func (b *bench) start(j *jobs.Jobs) {
	b.t.Helper()
	q := start(b.t.Context(), j)
	b.t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
		defer cancel()
		if err := q.Stop(ctx); err != nil {
			b.t.Error(err)
		}
	})
}

// sites is a file of n invented sites whose references begin with a prefix.
func sites(prefix string, n int, height float64) string {
	var f strings.Builder
	f.WriteString("reference,name,latitude,longitude,ground_flashes_per_km2_year,flash_density_year,length_m,width_m,height_m,persons\n")
	for i := range n {
		fmt.Fprintf(&f, "%s%d,Invented site %d,%.4f,%.4f,%.2f,2100,%d,8,%g,6\n", prefix, i, i, float64(i%120)/2-30, float64(i%300)/2,
			0.5+float64(i%90)/10, 8+i%30, height)
	}
	return f.String()
}

func (b *bench) read(mode, file string) store.Work {
	b.t.Helper()
	w, _, err := b.jobs.Import(b.t.Context(), jobs.Import{Portfolio: b.portfolio, Mode: mode, File: batch.Options{Format: batch.CSV}},
		strings.NewReader(file))
	if err != nil {
		b.t.Fatal(err)
	}
	return w
}

// imported reads a file and does the work here.
func (b *bench) imported(mode, file string) store.Work {
	b.t.Helper()
	return b.drained(b.read(mode, file))
}

// added does rows that are in the chunks of a work already.
func (b *bench) added(lines ...string) store.Work {
	b.t.Helper()
	ctx := b.t.Context()
	w, err := b.store.CreateWork(ctx, store.Local, store.Work{ID: uuid.Must(uuid.NewV7()).String(), Portfolio: b.portfolio,
		Kind: store.WorkImport, Mode: store.GoodRowsOnly, Options: []byte("{}"), CreatedAt: time.Now()})
	if err == nil {
		err = b.store.AddChunk(ctx, store.Local, w.ID, store.NewChunk{Rows: []byte(strings.Join(lines, "\n") + "\n"), Count: len(lines)},
			time.Now())
	}
	if err == nil {
		w, err = b.store.BeginWork(ctx, store.Local, w.ID, store.Notes{}, nil, time.Now())
	}
	if err != nil {
		b.t.Fatal(err)
	}
	return b.drained(w)
}

func (b *bench) drained(w store.Work) store.Work {
	b.t.Helper()
	if err := b.jobs.Drain(b.t.Context(), w.ID); err != nil {
		b.t.Fatal(err)
	}
	return b.work(w.ID)
}

func (b *bench) work(id string) store.Work {
	b.t.Helper()
	w, err := b.store.Work(b.t.Context(), store.Local, id)
	if err != nil {
		b.t.Fatal(err)
	}
	if w.Done+w.Failed+w.Unchanged > w.Total {
		b.t.Fatalf("counts do not add up: %+v", w)
	}
	return w
}

// wants demands the end of a work.
func (b *bench) wants(w store.Work, state string, done, failed, unchanged int64) {
	b.t.Helper()
	if w.State != state || w.Done != done || w.Failed != failed || w.Unchanged != unchanged {
		b.t.Fatalf("work is %s, done %d, failed %d, unchanged %d of %d; want %s, %d, %d, %d: %v",
			w.State, w.Done, w.Failed, w.Unchanged, w.Total, state, done, failed, unchanged, b.faults(w.ID))
	}
}

func (b *bench) faults(work string) []store.Fault {
	b.t.Helper()
	page, err := b.store.WorkFaults(b.t.Context(), store.Local, work, 0, "")
	if err != nil {
		b.t.Fatal(err)
	}
	return page.Faults
}

// await waits for the end of a work.
func (b *bench) await(id string) store.Work {
	b.t.Helper()
	for end := time.Now().Add(5 * time.Minute); ; {
		w, err := b.store.Work(b.t.Context(), store.Local, id)
		if err == nil && w.Ended() {
			return w
		}
		if time.Now().After(end) {
			b.t.Fatalf("not ended: %+v, %v", w, err)
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// all are the sites by reference; a reference that stands twice ends the test.
func (b *bench) all() map[string]store.Site {
	b.t.Helper()
	all := map[string]store.Site{}
	f := store.SiteFilter{Limit: store.MaxLimit}
	for {
		page, err := b.store.ListSites(b.t.Context(), store.Local, b.portfolio, f)
		if err != nil {
			b.t.Fatal(err)
		}
		for _, s := range page.Sites {
			if _, twice := all[s.Reference]; twice {
				b.t.Fatalf("%s stands twice", s.Reference)
			}
			all[s.Reference] = s
		}
		if f.Cursor = page.Next; f.Cursor == "" {
			return all
		}
	}
}

// whole demands that each of n sites is there once, at a revision, and nothing else.
func (b *bench) whole(n, revision int) {
	b.t.Helper()
	all := b.all()
	if len(all) != n {
		b.t.Fatalf("%d sites, want %d", len(all), n)
	}
	for i := range n {
		s, ok := all[fmt.Sprint("S", i)]
		if !ok || s.Revision != revision {
			b.t.Fatalf("site S%d: revision %d, want %d", i, s.Revision, revision)
		}
	}
	// Assessments that are no sites would be leftovers.
	count := 0
	f := store.Filter{Limit: store.MaxLimit}
	for {
		page, err := b.store.List(b.t.Context(), store.Local, f)
		if err != nil {
			b.t.Fatal(err)
		}
		count += len(page.Entries)
		if f.Cursor = page.Next; f.Cursor == "" {
			break
		}
	}
	if count != n {
		b.t.Fatalf("%d assessments, want %d", count, n)
	}
}

// worker is a process of its own that works on the database.
func worker(t *testing.T, dsn string) *exec.Cmd {
	t.Helper()
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), asWorker+"="+dsn)
	var errs bytes.Buffer
	c.Stderr = &errs
	out, err := c.StdoutPipe()
	if err == nil {
		err = c.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Process.Kill(); c.Wait() })
	if _, err := io.ReadFull(out, make([]byte, len("working"))); err != nil {
		t.Fatalf("the worker does not start: %v %s", err, errs.String())
	}
	return c
}
