package main

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"levinward/api/reference"
	"levinward/api/wire"
)

// countsInREADME is the table of marks as README.md shows it.
func countsInREADME(c reference.Counts) string {
	var b strings.Builder
	for i, row := range markTable(c) {
		if row[0] != "all" && i > 0 {
			row[0] = "`" + row[0] + "`"
		}
		b.WriteString("| " + strings.Join(row, " | ") + " |\n")
		if i == 0 {
			b.WriteString("|---|---|---|\n")
		}
	}
	return b.String()
}

// The README tells how many values are read, remembered and so on: what the program counts.
func TestREADMECountsMarks(t *testing.T) {
	if table := countsInREADME(reference.Count(reference.List())); !strings.Contains(string(readFile(t, "README.md")), table) {
		t.Errorf("README.md lacks the table\n%s", table)
	}
}

// Rows that a reader of the tests fills in; the values are invented, but the first agrees with Table A.1.
const (
	isolated = "iec-62305-2:2010/a.1/isolated-no-other-objects-in-the-vicinity/c_d"
	shielded = "iec-62305-2:2010/b.8/shield-bonded-5-r_s-20-ohm-km/2.5-kv"
	noFire   = "iec-62305-2:2010/c.5/fire-ordinary/r_f"
)

// fill exports the table by command, fills rows in and keeps it in a file. A change is a key, agrees and the printed value.
func fill(t *testing.T, changes ...[3]string) string {
	t.Helper()
	status, out, errOut := command(t, "", "reference", "-format", "csv")
	if status != exitOK {
		t.Fatal(errOut)
	}
	records, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := func(name string) int { return slices.Index(records[0], name) }
	for _, c := range changes {
		i := slices.IndexFunc(records, func(r []string) bool { return r[column("key")] == c[0] })
		if i < 0 {
			t.Fatalf("no row %s", c[0])
		}
		records[i][column("agrees")], records[i][column("printed_value")] = c[1], c[2]
		records[i][column("checked_by")], records[i][column("date")] = "A. Reader", "2026-01-31"
	}
	var b strings.Builder
	if err := csv.NewWriter(&b).WriteAll(records); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "reviewed.csv")
	if err := os.WriteFile(file, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func TestReference(t *testing.T) {
	status, out, errOut := command(t, "", "reference")
	if status != exitOK || !strings.Contains(out, "Table B.8, IEC 62305-2:2010 Table B.8") || !strings.Contains(out, shielded) || !strings.Contains(out, "Formulas, IEC 62305-2:2010 A.2.4") {
		t.Errorf("%d %s %s", status, out, errOut)
	}
	status, out, _ = command(t, "", "reference", "-format", "json", "-reviews", fill(t, [3]string{isolated, "yes", ""}, [3]string{shielded, "no", "0.9"}), "-disagreements")
	var doc wire.ReferenceValues
	if err := json.Unmarshal([]byte(out), &doc); err != nil || status != exitOK {
		t.Fatalf("%d %v", status, err)
	}
	if len(doc.ReviewsHash) != 64 || doc.Counts.Values.Checked != 2 || len(doc.Values) != 1 || doc.Values[0].Key != shielded || *doc.Values[0].Review.Printed != 0.9 {
		t.Errorf("%+v", doc)
	}
	for _, args := range [][]string{{"-format", "xml"}, {"-reviews", "a", "-stored"}, {"more"}} {
		if status, _, errOut := command(t, "", append([]string{"reference"}, args...)...); status != exitUsage {
			t.Errorf("%v: %d %s", args, status, errOut)
		}
	}
}

// What is kept in the database comes back, and a faulty table changes nothing there.
func TestReview(t *testing.T) {
	db := filepath.Join(t.TempDir(), "x.db")
	if status, _, errOut := command(t, "", "reference", "-stored", "-database", db); status != exitFault || !strings.Contains(errOut, "no reviews in use") {
		t.Errorf("%d %s", status, errOut)
	}
	status, out, errOut := command(t, "", "review", "-database", db, fill(t, [3]string{isolated, "yes", ""}, [3]string{shielded, "no", "0.9"}))
	if status != exitOK || !strings.Contains(out, "1 row agreed, 1 not") || !strings.Contains(strings.Join(strings.Fields(out), " "), shielded+": 0.9 instead of 0.95 (A. Reader, 2026-01-31)") {
		t.Fatalf("%d %s %s", status, out, errOut)
	}
	before := out
	status, _, errOut = command(t, "", "review", "-database", db, fill(t, [3]string{isolated, "maybe", ""}, [3]string{shielded, "no", "1.9"}))
	for _, want := range []string{"3 faults; nothing of it was taken", "agrees: must be yes, no or empty", "printed_value: is missing", "printed_value: must be at most 1"} {
		if status != exitFault || !strings.Contains(errOut, want) {
			t.Errorf("%d, want %q: %s", status, want, errOut)
		}
	}
	status, out, _ = command(t, "", "reference", "-stored", "-database", db)
	if hash := strings.Fields(before)[1]; status != exitOK || !strings.Contains(out, "Reviews "+hash) || !strings.Contains(out, "checked 2026-01-31 by A. Reader") {
		t.Errorf("%d, reviews %s: %.300s", status, hash, out)
	}
}
