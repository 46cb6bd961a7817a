package postgres

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"levinward/store"
	"levinward/store/storetest"
)

// chunks stores chunks of sites in one portfolio.
type chunks struct {
	*Store
	t         *testing.T
	portfolio string
	records   []store.Record
}

func newChunks(t *testing.T, url string) *chunks {
	t.Helper()
	c := &chunks{Store: open(t, url), t: t}
	p, err := c.CreatePortfolio(t.Context(), store.Local, store.Portfolio{ID: uuid.NewString(), CreatedAt: time.Now(), Name: "P"})
	c.check(err)
	c.portfolio = p.ID
	return c
}

// counted are chunks over a single connection, whose plans stay and of which read tells what it read.
func counted(t *testing.T) *chunks {
	t.Helper()
	url := storetest.Postgres(t)
	separator := "?"
	if strings.Contains(url, "?") {
		separator = "&"
	}
	c := newChunks(t, url+separator+"pool_max_conns=1")
	if c.exec(`SELECT pg_stat_force_next_flush()`) != nil {
		const needed = "needs PostgreSQL 15 or newer, which tells at once what it read"
		if os.Getenv("LEVINWARD_REQUIRE_POSTGRES") == "1" {
			t.Fatal(needed)
		}
		t.Skip(needed)
	}
	return c
}

// begun queues a work of chunks with the given numbers of rows.
func (c *chunks) begun(rows ...int) (work string) {
	c.t.Helper()
	ctx, now := c.t.Context(), time.Now()
	w, err := c.CreateWork(ctx, store.Local, store.Work{ID: uuid.NewString(), Portfolio: c.portfolio, Kind: store.WorkImport,
		Mode: store.GoodRowsOnly, Options: []byte("{}"), CreatedAt: now})
	c.check(err)
	for _, n := range rows {
		c.check(c.AddChunk(ctx, store.Local, w.ID, store.NewChunk{Rows: []byte("rows"), Count: n}, now))
	}
	_, err = c.BeginWork(ctx, store.Local, w.ID, store.Notes{}, nil, now)
	c.check(err)
	return w.ID
}

// store adds sites in one work, chunk by chunk, or revises those that are there.
func (c *chunks) store(revise bool, parts ...[]store.Record) {
	c.t.Helper()
	var rows []int
	for _, part := range parts {
		rows = append(rows, len(part))
	}
	work := c.begun(rows...)
	for n, part := range parts {
		outcome := store.Outcome{Work: work, N: n, Created: part, At: time.Now()}
		if revise {
			outcome.Created, outcome.Revised = nil, c.revised(part)
		}
		c.check(c.StoreChunk(c.t.Context(), store.Local, outcome))
	}
}

func (c *chunks) revised(records []store.Record) (all []store.Revised) {
	c.t.Helper()
	for _, r := range records {
		site, err := c.Site(c.t.Context(), store.Local, c.portfolio, r.ID)
		c.check(err)
		all = append(all, store.Revised{Record: r, Before: site})
	}
	return all
}

func (c *chunks) check(err error) {
	c.t.Helper()
	if err != nil {
		c.t.Fatal(err)
	}
}

func (c *chunks) add(parts, rows int) {
	c.t.Helper()
	from := len(c.records)
	for i := range parts * rows {
		r := record()
		r.Reference = fmt.Sprintf("S-%d", from+i)
		r.Summary = &store.Summary{GroundFlashes: 4, DensityOrigin: "given", Acceptable: true, NeededProtection: "none"}
		c.records = append(c.records, r)
	}
	c.store(false, slices.Collect(slices.Chunk(c.records[from:], rows))...)
}

// work looks records up in every way that a chunk does, and revises them.
func (c *chunks) work(records []store.Record) {
	c.t.Helper()
	var references, ids []string
	for _, r := range records {
		references, ids = append(references, r.Reference), append(ids, r.ID)
	}
	found, err := c.SitesByReference(c.t.Context(), store.Local, c.portfolio, references)
	c.check(err)
	inputs, err := c.SiteInputs(c.t.Context(), store.Local, c.portfolio, ids)
	c.check(err)
	if len(found) != len(records) || len(inputs) != len(records) {
		c.t.Fatalf("%d sites and %d inputs of %d", len(found), len(inputs), len(records))
	}
	c.store(true, records)
}

// read counts what was read so far, through indices and otherwise.
func (c *chunks) read() (rows int64) {
	c.t.Helper()
	c.check(c.exec(`SELECT pg_stat_force_next_flush()`))
	c.check(c.pool.QueryRow(c.t.Context(), `SELECT sum(seq_tup_read) + (SELECT sum(idx_tup_read) FROM pg_stat_user_indexes
		WHERE relname IN ('assessment', 'portfolio_site', 'revision')) FROM pg_stat_user_tables
		WHERE relname IN ('assessment', 'portfolio_site', 'revision')`).Scan(&rows))
	return rows
}

func (c *chunks) exec(query string) error {
	_, err := c.pool.Exec(c.t.Context(), query)
	return err
}

// Two works that change the same sites in opposite orders do not wait for each other.
func TestChunksInOppositeOrders(t *testing.T) {
	c := newChunks(t, storetest.Postgres(t))
	c.add(1, 600)
	said := store.ImportedRow{Hash: "row", At: time.Now()}
	var forth []store.Confirmed
	for _, r := range c.records {
		forth = append(forth, store.Confirmed{Assessment: r.ID, ImportedRow: said})
	}
	back := slices.Clone(forth)
	slices.Reverse(back)
	for turn := range 3 {
		said.At = said.At.Add(time.Second)
		errs := make([]error, 2)
		var both sync.WaitGroup
		for i, confirmed := range [][]store.Confirmed{forth, back} {
			for j := range confirmed {
				confirmed[j].At = said.At.Add(time.Duration(i) * time.Millisecond)
			}
			w := c.begun(1)
			both.Go(func() {
				errs[i] = c.StoreChunk(t.Context(), store.Local, store.Outcome{Work: w, Unchanged: 1, Confirmed: confirmed, At: time.Now()})
			})
		}
		both.Wait()
		for _, err := range errs {
			if err != nil {
				t.Fatalf("turn %d: %v", turn, err)
			}
		}
	}
}

// Plans made for a small portfolio, and statistics that know of no other, must not make each row
// of a large one read all of it: the time of a bulk load would grow with its square.
func TestChunksReadTheirOwnRows(t *testing.T) {
	c := counted(t)
	for _, table := range []string{"assessment", "portfolio_site", "revision"} {
		c.check(c.exec(`ALTER TABLE ` + table + ` SET (autovacuum_enabled = false)`))
	}
	c.add(1, 2)
	c.check(c.exec(`ANALYZE assessment, portfolio_site, revision`))
	for range 8 { // after five, a plan for any arguments may stay
		c.work(c.records[:2])
	}
	before := c.read()
	c.add(20, 250)
	// The first two chunks may read one another's rows; reading all of the portfolio for every row
	// would be some 25 million.
	if rows := c.read() - before; rows > 1_000_000 {
		t.Errorf("%d rows were read to add %d", rows, len(c.records))
	}
	const chunk = 100
	before = c.read()
	c.work(slices.Clone(c.records[2000 : 2000+chunk]))
	if rows := c.read() - before; rows > 40*chunk {
		t.Errorf("%d rows were read to revise %d of %d", rows, chunk, len(c.records))
	}
}
