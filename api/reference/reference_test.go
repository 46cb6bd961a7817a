package reference

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"levinward/api/assess"
	"levinward/risk/earth"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

var today = time.Date(2031, 5, 17, 9, 30, 0, 0, time.UTC)

// Keys of rows that the tests fill in. The printed row texts are those of the program's tables.
const (
	isolated = "iec-62305-2:2010/a.1/isolated-no-other-objects-in-the-vicinity/c_d"
	bonded   = "iec-62305-2:2010/b.8/shield-bonded-5-r_s-20-ohm-km/2.5-kv"
	manual   = "iec-62305-2:2010/c.4/extinguishers-manual-installations-or-alarms-hydrants-fire-compartments-escape-routes/r_p"
	// The key ends in what printf 'N_G*A_D*C_D*1e-6' | sha256sum begins with.
	flashes = "iec-62305-2:2010/formula/n_d/dangerous-flashes-to-the-structure-cd2960e8"
)

func TestKeys(t *testing.T) {
	form := regexp.MustCompile(`^[a-z0-9:.-]+(/[\pL\pN][\pL\pN_.-]*){3}$`)
	seen := map[string]bool{}
	for _, r := range List() {
		if seen[r.Key] {
			t.Errorf("key %s is there twice", r.Key)
		}
		seen[r.Key] = true
		if !form.MatchString(r.Key) {
			t.Errorf("key %s", r.Key)
		}
	}
	for _, key := range []string{isolated, bonded, manual, flashes,
		"spd/preferred/u_p-kv/value-16", "spd/exposure/medium-open-plain/i_max-8-20-ka", "earth/l_1/class-i/c_l"} {
		if !seen[key] {
			t.Errorf("there is no key %s", key)
		}
	}
}

// Every cell of every table and every formula is listed once, with what it was read from.
func TestListIsComplete(t *testing.T) {
	cells, formulas := map[cell]int{}, map[*trace.Quantity]int{}
	for _, r := range List() {
		if r.Kind == Formula {
			formulas[r.quantity]++
			continue
		}
		cells[r.cell]++
		row := r.cell.table.Rows[r.cell.row]
		if r.Value != row.Values[r.cell.col] || r.Mark != row.Provenance || r.Clause != r.cell.table.Clause {
			t.Errorf("%s: %v %v %s", r.Key, r.Value, r.Mark, r.Clause)
		}
	}
	tables := slices.Concat(assess.Editions[0].Tables(), spd.Tables(), earth.Tables())
	quantities := slices.Concat(assess.Editions[0].Quantities(), spd.Quantities(), earth.Quantities())
	for _, table := range tables {
		for i, row := range table.Rows {
			for j := range row.Values {
				if cells[cell{table, i, j}] != 1 {
					t.Errorf("table %s, row %q, column %d is listed %d times", table.Number, row.Text, j, cells[cell{table, i, j}])
				}
			}
		}
	}
	for _, q := range quantities {
		if want := map[bool]int{true: 0, false: 1}[q.Expr == ""]; formulas[q] != want {
			t.Errorf("formula of %s, %s, is listed %d times", q.Symbol, q.Name, formulas[q])
		}
	}
}

// What the program computes with must pass what is demanded of a printed value.
func TestValuesArePlausible(t *testing.T) {
	rows := List()
	for i := range rows {
		r := &rows[i]
		if r.Kind != Value || r.isOwn() {
			continue
		}
		if reason := r.plausible(r.Value); reason != "" {
			t.Errorf("%s, %v: %s", r.Key, r.Value, reason)
		}
		r.Reviewed, r.Printed = true, r.Value
	}
	for r, reason := range disorder(rows) {
		t.Errorf("%s, %v: %s", r.Key, r.Value, reason)
	}
}

// filled is a table with cells changed: key, then column and text in turn.
func filled(t testing.TB, changes ...[]string) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteCSV(&b, List()); err != nil {
		t.Fatal(err)
	}
	records, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, change := range changes {
		i := slices.IndexFunc(records, func(r []string) bool { return r[colKey] == change[0] })
		if i < 0 {
			t.Fatalf("no row %s", change[0])
		}
		for j := 1; j < len(change); j += 2 {
			records[i][slices.Index(header[:], change[j])] = change[j+1]
		}
	}
	b.Reset()
	w := csv.NewWriter(&b)
	if err := w.WriteAll(records); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func yes(key string, more ...string) []string {
	return append([]string{key, "agrees", "yes", "checked_by", "A. Reader", "date", "2031-05-01"}, more...)
}

func no(key string, more ...string) []string {
	return append([]string{key, "agrees", "no", "checked_by", "A. Reader", "date", "2031-05-01"}, more...)
}

func find(t *testing.T, rows []Row, key string) *Row {
	t.Helper()
	i := slices.IndexFunc(rows, func(r Row) bool { return r.Key == key })
	if i < 0 {
		t.Fatalf("no row %s", key)
	}
	return &rows[i]
}

// The values before correction are those of the tables: C_D 1 for an isolated structure, P_LD 0.95 at 2.5 kV in the
// second row of Table B.8; the corrections are invented.
func TestReviewedTable(t *testing.T) {
	text := filled(t, yes(isolated, "printed_value", "1.0"), no(bonded, "printed_value", "0.9", "comment", "=as printed in my copy"),
		no(flashes, "comment", "the printed formula has another factor"), yes(manual))
	r, err := Read(text, today)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		key   string
		value float64
		mark  trace.Provenance
		by    string
	}{
		{isolated, 1, trace.Checked, "A. Reader"},
		{bonded, 0.9, trace.Checked, "A. Reader"},
		{manual, 0.5, trace.Checked, "A. Reader"},
		{"iec-62305-2:2010/b.8/shield-bonded-5-r_s-20-ohm-km/4-kv", 0.9, trace.Memory, ""},
	} {
		row := find(t, r.Rows, c.key)
		if row.ValueInUse() != c.value || row.MarkInUse() != c.mark || row.CheckedBy != c.by {
			t.Errorf("%s: %v %v %q", c.key, row.ValueInUse(), row.MarkInUse(), row.CheckedBy)
		}
		if got := r.Reviews.Value(row.cell.table, row.cell.row, row.cell.col); got != c.value {
			t.Errorf("%s: %v is looked up", c.key, got)
		}
		v, ok := r.Reviews.Cell(row.cell.table, row.cell.row, row.cell.col)
		if ok != (c.by != "") || v.By != c.by {
			t.Errorf("%s: review %+v %v", c.key, v, ok)
		}
	}
	formula := find(t, r.Rows, flashes)
	if v, ok := r.Reviews.Formula(formula.quantity); !ok || v.Agrees || v.Date != "2031-05-01" || formula.MarkInUse() != trace.Memory {
		t.Errorf("formula %+v %v %v", v, ok, formula.MarkInUse())
	}
	if r.Agreed() != 2 || r.Reviews.Hash != r.Hash {
		t.Errorf("%d agreed, hash %s and %s", r.Agreed(), r.Hash, r.Reviews.Hash)
	}
	different := r.Disagreements()
	if len(different) != 2 || different[0].Key != bonded || different[0].Comment != "=as printed in my copy" || different[1].Key != flashes {
		t.Errorf("disagreements %+v", different)
	}
}

func TestCounts(t *testing.T) {
	rows, err := ReadCSV(filled(t, yes(isolated), no(bonded, "printed_value", "0.9"), no(flashes, "comment", "another")), today)
	if err != nil {
		t.Fatal(err)
	}
	before, after := Count(List()), Count(rows)
	if Total(before.Values) != Total(after.Values) || Total(before.Values)+Total(before.Formulas) != len(rows) {
		t.Errorf("%v, then %v of %d", before, after, len(rows))
	}
	for mark, change := range map[trace.Provenance]int{trace.Checked: 2, trace.SecondarySource: -1, trace.Memory: -1,
		trace.CommonPractice: 0} {
		if after.Values[mark]-before.Values[mark] != change {
			t.Errorf("%v: %d, then %d", mark, before.Values[mark], after.Values[mark])
		}
	}
	if after.Formulas[trace.Checked] != 0 {
		t.Error("a formula that is printed otherwise counts as checked")
	}
}

func TestFaultyTables(t *testing.T) {
	whole := string(filled(t, yes(isolated)))
	line := func(key string) int { return 1 + strings.Count(whole[:strings.Index(whole, "\n"+key)+1], "\n") }
	at := line(isolated)
	row := strings.Split(whole, "\n")[at-1]
	long := strings.Repeat("x", 201)
	for name, c := range map[string]struct {
		text string
		want []string // each part of one fault, in order
	}{
		"empty":            {"", []string{"line 1: the table is empty"}},
		"only the header":  {strings.Join(header[:], ","), []string{"line 1, agrees: no row is reviewed"}},
		"nothing reviewed": {string(filled(t)), []string{"line 1, agrees: no row is reviewed"}},
		"a dot for commas": {"sep=.\n" + strings.Join(header[:], "."), []string{"line 1: the first line names the separator \".\""}},
		"UTF-16":           {"\xff\xfek\x00", []string{"line 1: the text is in UTF-16"}},
		"columns": {strings.Replace(whole, "date,comment", "date,date,notes", 1),
			[]string{"line 1, date: the column is there twice", "line 1, notes: unknown column", "line 1, comment: the column is missing"}},
		"not UTF-8":   {whole + "\xff", []string{"is not UTF-8"}},
		"not CSV":     {whole + "a\"b", []string{"is not CSV"}},
		"fields":      {whole + "a,b\n", []string{"has 2 fields; the header has 16"}},
		"unknown key": {strings.Replace(whole, isolated, isolated+"x", 1), []string{fmt.Sprintf("line %d, key: there is no value", at)}},
		"duplicate":   {whole + row + "\n", []string{fmt.Sprintf("key: the key is in line %d already", at)}},
		"texts of the row": {string(filled(t, yes(isolated, "kind", "formula", "clause", "A.2", "table", "A.2", "row", "isolated", "column",
			"C_I", "unit", "m", "formula", "1"))),
			[]string{"kind: is not that of the key, which is \"value\"; found \"formula\"", "clause:", "table:", "row:", "column:", "unit:",
				"formula: is not that of the key"}},
		"mark": {string(filled(t, yes(isolated, "mark", "certain"))), []string{fmt.Sprintf("line %d, mark: is no mark", at)}},
		"value": {string(filled(t, yes(isolated, "value", "2"))),
			[]string{"value: the program's value has changed since: review it again; now 1; found \"2\""}},
		"value of formula": {string(filled(t, yes(flashes, "value", "2"))), []string{"value: must be empty for a formula"}},
		"no number":        {string(filled(t, yes(isolated, "value", "1,0"))), []string{"value: must be a number with a decimal point"}},
		"changed formula": {string(filled(t, yes(flashes, "formula", "N_G*A_D"))),
			[]string{"formula: is not that of the key, which is \"N_G*A_D*C_D*1e-6\"; found \"N_G*A_D\""}},
		"agrees": {string(filled(t, yes(isolated, "agrees", "perhaps", "date", "yesterday"))),
			[]string{"agrees: must be yes, no or empty; found \"perhaps\"", "date: must be a date"}},
		"not reviewed": {string(filled(t, yes(isolated), []string{bonded, "printed_value", "1", "checked_by", "A", "date", "2031-01-01",
			"comment", "b"})),
			[]string{"printed_value: the row is not reviewed", "checked_by: the row", "date: the row", "comment: the row"}},
		"nothing printed": {string(filled(t, no(isolated))), []string{"printed_value: is missing"}},
		"the same printed": {string(filled(t, no(isolated, "printed_value", "1.0"))),
			[]string{"printed_value: is the program's value, although agrees is no"}},
		"another printed": {string(filled(t, yes(isolated, "printed_value", "0.9"))),
			[]string{"printed_value: differs from value, 1, although agrees is yes"}},
		"printed text": {string(filled(t, yes(isolated, "printed_value", "one"))), []string{"printed_value: must be a number, or empty"}},
		"negative":     {string(filled(t, no(isolated, "printed_value", "-1"))), []string{"printed_value: must not be negative"}},
		"not finite":   {string(filled(t, no(isolated, "printed_value", "Inf"))), []string{"printed_value: must be a finite number"}},
		"not a number": {string(filled(t, no(isolated, "printed_value", "NaN"))), []string{"printed_value: must be a finite number"}},
		"hexadecimal":  {string(filled(t, no(isolated, "printed_value", "0x1p3"))), []string{"printed_value: must be a number"}},
		"probability":  {string(filled(t, no(bonded, "printed_value", "1.01"))), []string{"printed_value: must be at most 1"}},
		"out of order": {string(filled(t, no("spd/a.3/3-ka/p", "printed_value", "0.2"))), []string{
			"printed_value: the values have to fall from row to row; next to it stands 0.95"}},
		"out of order along a row": {string(filled(t, no("spd/preferred/u_p-kv/value-16", "printed_value", "3"))), []string{
			"printed_value: the values have to rise from value to value; next to it stands 1.8"}},
		"nothing":  {string(filled(t, no("spd/3/i/i-ka", "printed_value", "0"))), []string{"printed_value: must be more than 0"}},
		"too much": {string(filled(t, no("spd/3/i/i-ka", "printed_value", "1e10"))), []string{"printed_value: must be at most 1e+09"}},
		"a limit of the program": {string(filled(t, no("earth/sizes/rod-length_m/lowest", "printed_value", "0.3"))), []string{
			"printed_value: cannot be replaced"}},
		"formula printed": {string(filled(t, no(flashes, "printed_value", "2"))),
			[]string{"printed_value: must be empty for a formula", "comment: is missing"}},
		"nobody":      {string(filled(t, yes(isolated, "checked_by", " "))), []string{"checked_by: is missing"}},
		"a long name": {string(filled(t, yes(isolated, "checked_by", long))), []string{"checked_by: has more than 200 characters"}},
		"a name of 2 lines": {string(filled(t, yes(isolated, "checked_by", "A.\nReader"))),
			[]string{"checked_by: must be plain text of one line"}},
		"a turned name": {string(filled(t, yes(isolated, "checked_by", "A.\u202eReader"))),
			[]string{"checked_by: must be plain text of one line"}},
		"a long comment": {string(filled(t, yes(isolated, "comment", strings.Repeat("é", 1001)))),
			[]string{"comment: has more than 1000 characters"}},
		"no date":            {string(filled(t, yes(isolated, "date", ""))), []string{"date: must be a date, YYYY-MM-DD"}},
		"a date of a format": {string(filled(t, yes(isolated, "date", "1/5/2031"))), []string{"date: must be a date"}},
		"no such day":        {string(filled(t, yes(isolated, "date", "2031-02-29"))), []string{"date: must be a date"}},
		"tomorrow":           {string(filled(t, yes(isolated, "date", "2031-05-18"))), []string{"date: is in the future"}},
		"too large":          {strings.Repeat("\n", MaxFile+1), []string{"at most 2097152 are allowed"}},
	} {
		t.Run(name, func(t *testing.T) {
			rows, err := ReadCSV([]byte(c.text), today)
			var faulty *FaultyTable
			if !errors.As(err, &faulty) || rows != nil {
				t.Fatalf("%d rows, %v", len(rows), err)
			}
			if faulty.Count != len(c.want) || len(faulty.Faults) != len(c.want) {
				t.Fatalf("%d faults, want %d: %v", faulty.Count, len(c.want), err)
			}
			for i, want := range c.want {
				if got := faulty.Faults[i].String(); !strings.Contains(got, want) {
					t.Errorf("%s, want %s", got, want)
				}
			}
		})
	}
}

// The day that has begun in the east counts; columns may stand in any order, a byte order mark and empty lines do not
// matter, and an answer in capitals is one.
func TestTablesThatAreTaken(t *testing.T) {
	text := filled(t, yes(isolated, "agrees", "YES", "checked_by", "می\u200cخواهم", "date", "2031-05-17"))
	r, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var turned strings.Builder
	turned.WriteString("\uFEFF")
	w := csv.NewWriter(&turned)
	for _, fields := range r {
		slices.Reverse(fields)
		if err := w.Write(fields); err != nil {
			t.Fatal(err)
		}
	}
	w.Flush()
	turned.WriteString(strings.Repeat(",", columnCount-1) + "\r\n\r\n")
	a, err := Read(text, today)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Read([]byte(turned.String()), today)
	if err != nil {
		t.Fatal(err)
	}
	if a.Hash != b.Hash || a.Agreed() != 1 {
		t.Errorf("hashes %s and %s, %d agreed", a.Hash, b.Hash, a.Agreed())
	}
	if _, err := Read(filled(t, yes(isolated, "date", "2031-05-18")), today.Add(time.Hour)); err != nil {
		t.Errorf("10:30 UTC is the next day in UTC+14: %v", err)
	}
}

func TestManyFaults(t *testing.T) {
	_, err := ReadCSV(append(filled(t), strings.Repeat("a,b\n", 250)...), today)
	var faulty *FaultyTable
	if !errors.As(err, &faulty) || faulty.Count != 250 || len(faulty.Faults) != MaxFaults ||
		!strings.HasPrefix(err.Error(), "the reviewed table has 250 faults; nothing") {
		t.Errorf("%v", err)
	}
}

// anyReviews draws reviews of any rows that ReadCSV takes.
func anyReviews(t *rapid.T) []Row {
	rows := List()
	text := rapid.StringOfN(rapid.RuneFrom([]rune("aZ é'=+-@,\";Ω7")), 1, 30, -1)
	picked := rapid.SliceOfNDistinct(rapid.IntRange(0, len(rows)-1), 1, 20, rapid.ID).Draw(t, "rows")
	for _, i := range picked {
		r := &rows[i]
		r.Reviewed, r.Agrees = true, rapid.Bool().Draw(t, "agrees")
		r.CheckedBy, r.Comment = "R"+text.Draw(t, "name"), text.Draw(t, "comment")
		r.Date = time.Date(2000, 1, rapid.IntRange(1, 9000).Draw(t, "day"), 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
		if r.source == "spd" || r.isOwn() {
			r.Agrees = true // so that every series stays in order
		}
		if !r.Agrees && r.Kind == Value {
			r.Printed = rapid.Float64Range(1e-9, 1).Filter(func(v float64) bool { return v != r.Value }).Draw(t, "printed")
		}
		if r.Kind == Formula {
			r.Comment = "r" + r.Comment
		}
	}
	return rows
}

func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := anyReviews(t)
		var b bytes.Buffer
		if err := WriteCSV(&b, rows); err != nil {
			t.Fatal(err)
		}
		got, err := ReadCSV(b.Bytes(), today)
		if err != nil {
			t.Fatal(err)
		}
		for i := range rows {
			if got[i] != rows[i] {
				t.Fatalf("row %+v came back as %+v", rows[i], got[i])
			}
		}
		whole, err := Compile(got)
		if err != nil {
			t.Fatal(err)
		}
		again, err := Read(whole.Document, today)
		if err != nil {
			t.Fatal(err)
		}
		restored, outdated, err := Restore(whole.Document, whole.Hash)
		if err != nil || len(outdated) > 0 {
			t.Fatal(outdated, err)
		}
		if again.Hash != whole.Hash || !bytes.Equal(again.Document, whole.Document) || !slices.Equal(again.Rows, restored.Rows) {
			t.Fatal("the canonical form is not that of itself")
		}
	})
}

// A document kept by another version of the program is used as far as it is about values that are still the same.
func TestOutdatedReviews(t *testing.T) {
	r, err := Read(filled(t, yes(isolated), yes(manual), no(bonded, "printed_value", "0.9")), today)
	if err != nil {
		t.Fatal(err)
	}
	doc := strings.Replace(string(r.Document), ",C_D,1,", ",C_D,0.8,", 1)
	doc = strings.Replace(doc, manual, "iec-62305-2:2010/c.4/a-row-of-old/r_p", 1)
	got, outdated, err := Restore([]byte(doc), "hash")
	if err != nil {
		t.Fatal(err)
	}
	if len(outdated) != 2 || !strings.Contains(outdated[0].Reason, "has changed since") ||
		!strings.Contains(outdated[1].Reason, "no value or formula of this key") {
		t.Errorf("outdated %v", outdated)
	}
	if got.Hash != "hash" || got.Agreed() != 0 || len(got.Disagreements()) != 1 || got.Disagreements()[0].Key != bonded {
		t.Errorf("%d agreed, %v", got.Agreed(), got.Disagreements())
	}
	if _, _, err := Restore([]byte("no table"), "hash"); err == nil {
		t.Error("what is no table is restored")
	}
}

// Whatever is read either has faults, up to the limit, or is kept as it was.
func FuzzReadCSV(f *testing.F) {
	f.Add(filled(f, yes(isolated)))
	f.Add(filled(f, no(bonded, "printed_value", "0.9"), no(flashes, "comment", "'=a")))
	f.Add([]byte(strings.Join(header[:], ",") + "\n" + isolated + ",value\n\"a"))
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := Read(text, today)
		if err != nil {
			var faulty *FaultyTable
			if !errors.As(err, &faulty) || faulty.Count < 1 || len(faulty.Faults) != min(faulty.Count, MaxFaults) {
				t.Fatal(err)
			}
			return
		}
		again, err := Read(r.Document, today)
		if err != nil || again.Hash != r.Hash || !slices.Equal(again.Rows, r.Rows) {
			t.Fatalf("%v; read again it is another table", err)
		}
	})
}
