package main

import (
	"encoding/csv"
	"encoding/json"
	"math"
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
	for _, want := range []string{"2 faults; nothing of it was taken", "agrees: must be yes, no or empty", "printed_value: must be at most 1"} {
		if status != exitFault || !strings.Contains(errOut, want) {
			t.Errorf("%d, want %q: %s", status, want, errOut)
		}
	}
	status, out, _ = command(t, "", "reference", "-stored", "-database", db)
	if hash := strings.Fields(before)[1]; status != exitOK || !strings.Contains(out, "Reviews "+hash) || !strings.Contains(out, "checked 2026-01-31 by A. Reader") {
		t.Errorf("%d, reviews %s: %.300s", status, hash, out)
	}
}

// officeSite is invented. By hand, to IEC 62305-2:2010: A_D = 20*10 + 2*(3*5)*(20+10) + pi*(3*5)^2 = 1806.858347 m2 (A.2),
// N_D = 10*1806.858347*1e-6 (A.2.4, C_D = 1), R_B = N_D*P_B*r_p*r_f*h_z*L_F*f_z = 0.01806858347*1*1*r_f*1*2e-2*1 (C.3).
const officeSite = `{"name": "Office (invented)", "location": {"latitude": 1, "longitude": 1}, "flash_density": {"ground_flashes_per_km2_year": 10},
	"structures": [{"id": "office", "length_m": 20, "width_m": 10, "height_m": 5, "surroundings": "isolated", "occupancy": "office", "persons": 4,
		"zones": [{"id": "all", "persons": 4, "hours_per_year": 8760, "fire_risk": "ordinary"}]}], "lines": []}`

// A reviewed table in a file is computed with: r_f 0.02 instead of the 0.01 of Table C.5 doubles R_B.
func TestAssessWithReviews(t *testing.T) {
	riskB := func(want float64, args ...string) (hash string) {
		t.Helper()
		status, out, errOut := command(t, officeSite, append(append([]string{"assess", "-json"}, args...), "-")...)
		if status != exitOK {
			t.Fatal(errOut)
		}
		var r struct {
			ReviewsHash string `json:"reviews_hash"`
			Structures  []struct {
				Risks struct {
					Life struct{ Components map[string]float64 } `json:"loss_of_human_life"`
				}
			}
		}
		if err := json.Unmarshal([]byte(out), &r); err != nil {
			t.Fatal(err)
		}
		if got := r.Structures[0].Risks.Life.Components["R_B"]; math.Abs(got-want) > 1e-9*want {
			t.Errorf("R_B = %v, want %v", got, want)
		}
		return r.ReviewsHash
	}
	file := fill(t, [3]string{noFire, "no", "0.02"})
	if hash := riskB(3.613716694e-6); hash != "" {
		t.Errorf("reviews %q", hash)
	}
	if hash := riskB(7.227433388e-6, "-reviews", file); len(hash) != 64 {
		t.Errorf("reviews %q", hash)
	}
	if status, out, errOut := command(t, officeSite, "assess", "-check", "-reviews", file, "-"); status != exitOK || !strings.Contains(out, "all agree") {
		t.Errorf("%d %s %s", status, out, errOut)
	}
	if status, _, errOut := command(t, officeSite, "assess", "-reviews", "no-such-file.csv", "-"); status != exitFault || !strings.Contains(errOut, "no-such-file.csv") {
		t.Errorf("%d %s", status, errOut)
	}
	check := `{"device": {"current": ["dc"], "uc_dc_v": 550}, "line": {"length_m": 12, "electrical": {"current": "dc", "origin": "photovoltaic"}}}`
	if status, out, errOut := command(t, check, "check-device", "-json", "-reviews", file, "-"); status != exitOK || !strings.Contains(out, `"reviews_hash"`) {
		t.Errorf("%d %s %s", status, out, errOut)
	}
}
