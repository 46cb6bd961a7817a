package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"levinward/api/assess"
	"levinward/store"
)

// siteFile writes a file of n invented sites.
func siteFile(t *testing.T, n int, height string) string {
	t.Helper()
	var f strings.Builder
	f.WriteString("reference,name,latitude,longitude,ground_flashes_per_km2_year,flash_density_year,length_m,width_m,height_m,persons\n")
	for i := range n {
		fmt.Fprintf(&f, "S%d,Invented site %d,%d,%d,%.1f,2100,%d,8,%s,6\n", i, i, i%80, i%170, 0.5+float64(i%9), 8+i%30, height)
	}
	name := filepath.Join(t.TempDir(), "sites.csv")
	if err := os.WriteFile(name, []byte(f.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

func TestImportCommand(t *testing.T) {
	databases(t, func(t *testing.T, dsn string) {
		run := func(file string, more ...string) (int, string, string) {
			return command(t, "", append(append([]string{"import", "-database", dsn, "-portfolio", "Villages"}, more...), file)...)
		}
		file := siteFile(t, 300, "5")
		if status, out, errs := run(file); status != exitOK || !strings.Contains(out, "300 rows: 300 stored, 0 unchanged, 0 with faults") || strings.Contains(errs, "\r") {
			t.Fatalf("status %d: %s%s", status, out, errs)
		}
		if status, out, _ := run(file); status != exitOK || !strings.Contains(out, "0 stored, 300 unchanged") {
			t.Errorf("again: status %d: %s", status, out)
		}
		bad := siteFile(t, 3, "tall")
		if status, out, errs := run(bad); status != exitFault || !strings.Contains(out, `row 2, height_m "tall"`) || !strings.Contains(errs, "nothing was stored") {
			t.Errorf("status %d: %s%s", status, out, errs)
		}
		if status, out, _ := run(bad, "-mode", "good_rows_only"); status != exitFault || !strings.Contains(out, "0 stored, 0 unchanged, 3 with faults") {
			t.Errorf("status %d: %s", status, out)
		}

		// The service on the same database has the sites.
		s := serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn)
		var list struct{ Portfolios []struct{ ID, Name string } }
		s.Get("/v1/portfolios").Want(http.StatusOK).JSON(&list)
		if len(list.Portfolios) != 1 || list.Portfolios[0].Name != "Villages" {
			t.Fatalf("%+v", list)
		}
		var p struct{ Totals struct{ Sites int } }
		s.Get("/v1/portfolios/" + list.Portfolios[0].ID).Want(http.StatusOK).JSON(&p)
		if p.Totals.Sites != 300 {
			t.Errorf("%+v", p)
		}
	})
}

// Notes are printed before the sum, and keep no row out.
func TestNotesOfTheImportCommand(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	for i, row := range [][]any{
		{"reference", "name", "latitude", "longitude", "ground_flashes_per_km2_year", "length_m", "width_m", "height_m"},
		{"A", "Invented", 1, 2, 3, 10, 8, 5}, {"B", "Invented", 1, 2, 3, 10, 8, 5}, {"C", "Invented", 1, 2, 3, 10, 8, 5},
	} {
		if err := f.SetSheetRow("Sheet1", fmt.Sprint("A", i+1), &row); err != nil {
			t.Fatal(err)
		}
	}
	name := filepath.Join(t.TempDir(), "sites.xlsx")
	if err := errors.Join(f.SetRowVisible("Sheet1", 4, false), f.SetCellFormula("Sheet1", "H2", "2+3"), f.SetCellFormula("Sheet1", "H3", "2+3"), f.SaveAs(name)); err != nil {
		t.Fatal(err)
	}
	status, out, errs := command(t, "", "import", "-database", filepath.Join(t.TempDir(), "a.db"), "-portfolio", "P", name)
	want := "note: rows 2 to 3, height_m: is a formula; its value when the file was saved was used\n" +
		"note: row 4: the row is hidden in the sheet; it was read all the same\n3 rows: 3 stored, 0 unchanged, 0 with faults; 3 with notes\n" + assess.CautionsInShort + "\n"
	if status != exitOK || out != want {
		t.Errorf("status %d: %s%s", status, out, errs)
	}

	long := store.Note{Text: "x", Count: 40}
	for i := range int64(12) {
		long.Rows = append(long.Rows, store.RowSpan{First: 3 * i, Last: 3*i + 1})
	}
	if got := noteLine(&long); !strings.HasSuffix(got, "27 to 28 and 20 more: x") {
		t.Error(got)
	}
}

func TestImportCommandLine(t *testing.T) {
	file := siteFile(t, 1, "5")
	db := filepath.Join(t.TempDir(), "a.db")
	for _, test := range []struct {
		args   []string
		status int
	}{
		{[]string{"import", file}, exitUsage},
		{[]string{"import", "-portfolio", "P"}, exitUsage},
		{[]string{"import", "-portfolio", "P", "sites.pdf"}, exitUsage},
		{[]string{"import", "-portfolio", "P", "-mode", "some", file}, exitUsage},
		{[]string{"import", "-portfolio", "P", "-decimal", "dot", file}, exitUsage},
		{[]string{"import", "-portfolio", "P", "-database", db, "none.csv"}, exitFault},
		{[]string{"import", "-h"}, exitOK},
	} {
		if status, out, errs := command(t, "", test.args...); status != test.status {
			t.Errorf("%q: status %d, want %d: %s%s", test.args, status, test.status, out, errs)
		}
	}
}

// A fault of the file as a whole stands without a row, and the command fails.
func TestImportOfFaultyFiles(t *testing.T) {
	db := filepath.Join(t.TempDir(), "a.db")
	rows := siteFile(t, 1, "5")
	for _, test := range []struct{ content, want string }{
		{"", "the file is empty\n"},
		{"PK\x03\x04", "this is a spreadsheet or another archive, no text: choose the format XLSX for it, or save the sheet as CSV UTF-8\n"},
		{"name,latitude,longitude,ground_flashes_per_km2_year,length_m,width_m,height_m\n", "the file has a header and no rows\n"},
	} {
		if err := os.WriteFile(rows, []byte(test.content), 0o600); err != nil {
			t.Fatal(err)
		}
		status, out, errs := command(t, "", "import", "-database", db, "-portfolio", "P", rows)
		if status != exitFault || !strings.HasPrefix(out, test.want) || !strings.Contains(errs, "the file was refused; nothing was stored") {
			t.Errorf("%q: status %d: %s%s", test.content, status, out, errs)
		}
	}
}

// workOf has done some rows in ten seconds.
func workOf(done, total int64) *store.Work {
	return &store.Work{State: store.WorkRunning, Done: done, Total: total, StartedAt: time.Now().Add(-10 * time.Second)}
}

// On a terminal a bar stays on its line; elsewhere there are plain lines.
func TestMeter(t *testing.T) {
	var out bytes.Buffer
	w := workOf(30, 120)
	for bar, want := range map[bool]string{true: "\r\x1b[K[#######.......................] 30 of 120 rows, 3 rows/s, 30s left", false: "30 of 120 rows, 3 rows/s, 30s left\n"} {
		out.Reset()
		(&meter{to: &out, bar: bar}).working(w)
		if out.String() != want {
			t.Errorf("%q, want %q", out.String(), want)
		}
	}
}

// A service that is killed while it imports, and one that goes on afterwards, store every row once.
func TestServiceKilledWhileImporting(t *testing.T) {
	databases(t, func(t *testing.T, dsn string) {
		const n = 3000
		file, err := os.ReadFile(siteFile(t, n, "5"))
		if err != nil {
			t.Fatal(err)
		}
		process := exec.Command(os.Args[0], "serve", "-listen", "127.0.0.1:0", "-database", dsn)
		process.Env = append(os.Environ(), asProgram+"=1")
		var log lockedBuffer
		process.Stderr = &log
		if err := process.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { process.Process.Kill(); process.Wait() })
		base := ""
		for end := time.Now().Add(5 * time.Minute); base == "" && time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
			if _, rest, ok := strings.Cut(log.String(), "listens on "); ok && strings.Contains(rest, "\n") {
				base = strings.TrimSpace(rest[:strings.Index(rest, "\n")])
			}
		}
		post := func(path, media string, body []byte) *http.Response {
			t.Helper()
			r, err := http.Post(base+path, media, bytes.NewReader(body))
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { r.Body.Close() })
			return r
		}
		var p struct{ ID string }
		if err := json.NewDecoder(post("/v1/portfolios", "application/json", []byte(`{"name": "P"}`)).Body).Decode(&p); err != nil {
			t.Fatal(err)
		}
		r := post("/v1/portfolios/"+p.ID+"/imports", "text/csv", file)
		if r.StatusCode != http.StatusAccepted {
			t.Fatal(r.Status)
		}
		if err := process.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		process.Wait()

		s := serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn)
		var w struct {
			State                          string
			Total, Done, Failed, Unchanged int
		}
		for end := time.Now().Add(5 * time.Minute); w.State != "done" && time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
			s.Get(r.Header.Get("Location")).Want(http.StatusOK).JSON(&w)
		}
		if w.State != "done" || w.Done != n || w.Failed+w.Unchanged != 0 {
			t.Fatalf("%+v: %s", w, s.log.String())
		}
		var totals struct{ Totals struct{ Sites int } }
		s.Get("/v1/portfolios/" + p.ID).Want(http.StatusOK).JSON(&totals)
		if totals.Totals.Sites != n {
			t.Errorf("%d sites", totals.Totals.Sites)
		}
	})
}

// An import that is interrupted says how far it came, and is finished by the next one.
func TestImportInterrupted(t *testing.T) {
	databases(t, func(t *testing.T, dsn string) {
		file := siteFile(t, 2000, "5")
		ctx, cancel := context.WithCancel(t.Context())
		var out, errs lockedBuffer
		p := program{args: []string{"import", "-database", dsn, "-portfolio", "P", file}, out: &out, errOut: &errs, env: func(string) string { return "" }}
		time.AfterFunc(600*time.Millisecond, cancel)
		first := p.run(ctx)
		// Before the database was open and the portfolio found there is nothing to say of the file.
		if said := errs.String(); first != exitOK && !strings.Contains(said, "interrupted: ") && !strings.Contains(said, "context canceled") {
			t.Errorf("%d, and it says %q", first, errs.String())
		}
		status, again, faults := command(t, "", "import", "-database", dsn, "-portfolio", "P", file)
		if status != exitOK || !strings.Contains(again, "2000 rows") || strings.Contains(again, "1 with faults") {
			t.Fatalf("first %d, then %d: %s%s", first, status, again, faults)
		}
		s := serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn)
		var list struct{ Portfolios []struct{ ID string } }
		s.Get("/v1/portfolios").Want(http.StatusOK).JSON(&list)
		var doc struct{ Totals struct{ Sites int } }
		s.Get("/v1/portfolios/" + list.Portfolios[0].ID).Want(http.StatusOK).JSON(&doc)
		if doc.Totals.Sites != 2000 {
			t.Errorf("%d sites", doc.Totals.Sites)
		}
	})
}

// Counted by hand in the file: V-05 has the most persons, 150. That it needs protection is no published value; the site is invented.
//
// The file that the README imports is taken whole, and some of its sites need protection.
func TestImportDemonstration(t *testing.T) {
	dsn := filepath.Join(t.TempDir(), "demo.db")
	status, out, errs := command(t, "", "import", "-database", dsn, "-portfolio", "Invented villages", "testdata/demo/villages.csv")
	if status != exitOK || !strings.HasPrefix(out, "5 rows: 5 stored, 0 unchanged, 0 with faults\n") {
		t.Fatalf("%d: %s%s", status, out, errs)
	}
	s := serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn)
	var list struct{ Portfolios []struct{ ID string } }
	s.Get("/v1/portfolios").Want(http.StatusOK).JSON(&list)
	var page struct {
		Sites []struct {
			Reference     string
			PersonsAtRisk float64 `json:"persons_at_risk"`
		}
	}
	s.Get("/v1/portfolios/" + list.Portfolios[0].ID + "/sites?rank=persons_at_risk").Want(http.StatusOK).JSON(&page)
	if len(page.Sites) != 5 || page.Sites[0].Reference != "V-05" || page.Sites[0].PersonsAtRisk != 150 {
		t.Errorf("%+v", page)
	}
}
