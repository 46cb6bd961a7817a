package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk/trace"
)

var update = flag.Bool("update", false, "write the golden files anew")

func readFile(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// cases are the published worked examples; origin and tolerance stand in the files.
func cases(t *testing.T, each func(t *testing.T, file string, cases []assess.Case)) {
	files, err := filepath.Glob("testdata/cases/*.json")
	if err != nil || len(files) < 4 {
		t.Fatalf("cases %v, %v", files, err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			all, isCase, err := assess.ParseCases(readFile(t, file))
			if err != nil || !isCase {
				t.Fatalf("no case: %v", err)
			}
			each(t, file, all)
		})
	}
}

func TestPublishedCases(t *testing.T) {
	compared := 0
	cases(t, func(t *testing.T, _ string, all []assess.Case) {
		for _, c := range all {
			sheet := trace.New(0)
			answer, err := compute(c.Input, nil, nil, sheet)
			if err != nil {
				t.Fatal(err)
			}
			if err := sheet.Check(); err != nil {
				t.Error(err)
			}
			if c.Origin == "" || len(c.Published) == 0 {
				t.Errorf("%s: origin %q, %d printed values", c.Title, c.Origin, len(c.Published))
			}
			var report bytes.Buffer
			if err := c.Compare(&report, answer); err != nil {
				t.Errorf("%v\n%s", err, report.String())
			}
			compared += len(c.Published)
		}
	})
	if compared < 40 {
		t.Errorf("only %d printed values", compared)
	}
}

// The printed values are those of Annex E of IEC 62305-2:2010, from memory, as each file of testdata/cases says.
//
// The tolerances are tight enough to notice one unit more than the printed digits allow.
func TestCasesNoticeDifferences(t *testing.T) {
	cases(t, func(t *testing.T, _ string, all []assess.Case) {
		for _, c := range all {
			answer, err := compute(c.Input, nil, nil, nil)
			if err != nil {
				t.Fatal(err)
			}
			scale(answer, 1.02)
			if err := c.Compare(io.Discard, answer); err == nil {
				t.Errorf("%s: 2 %% more goes unnoticed", c.Title)
			}
		}
	})
}

// scale makes every risk, area and number of events larger.
func scale(r *wire.Result, by float64) {
	for i := range r.Structures {
		s := &r.Structures[i]
		s.Area.Direct *= by
		s.Events.Direct *= by
		if s.Risks.HumanLife != nil {
			s.Risks.HumanLife.Total *= by
			s.Risks.HumanLife.Components.RB *= by
			s.Risks.HumanLife.Components.RV *= by
		}
	}
	for i := range r.Lines {
		r.Lines[i].Events.Direct *= by
	}
}

func TestCheckCommand(t *testing.T) {
	cases(t, func(t *testing.T, file string, all []assess.Case) {
		status, out, errOut := command(t, "", "assess", "-check", file)
		if status != exitOK || !strings.Contains(out, "printed") || !strings.Contains(out, "Cautions") {
			t.Errorf("status %d: %s%s", status, out, errOut)
		}
		fitsThePage(t, file, out)
		// A printed value that is not the computed one ends with a fault that names it.
		wrong := strings.Replace(string(readFile(t, file)), `/total": `, `/total": 9`, 1)
		wrong = strings.Replace(wrong, `direct": `, `direct": 9`, 1)
		status, _, errOut = command(t, wrong, "assess", "-check", "-")
		if status != exitFault || !strings.Contains(errOut, "printed 9") {
			t.Errorf("with a wrong value: status %d: %s", status, errOut)
		}
	})
	for _, file := range []string{"testdata/demo/health-post.json", "testdata/demo/smallest.json"} {
		_, plain, _ := command(t, "", "assess", file)
		status, out, errOut := command(t, "", "assess", "-check", file)
		if status != exitOK || !strings.HasPrefix(out, plain) || !strings.Contains(out[len(plain):], "re-evaluated") {
			t.Errorf("%s: status %d, or the check does not stand behind the summary: %s%s", file, status, out, errOut)
		}
		status, out, errOut = command(t, "", "assess", "-check", "-json", file)
		if status != exitOK || !json.Valid([]byte(out)) || !strings.Contains(errOut, "re-evaluated") {
			t.Errorf("%s as JSON: status %d: %s", file, status, errOut)
		}
	}
}

func TestAssessCommand(t *testing.T) {
	file := "testdata/demo/health-post.json"
	status, fromFile, errOut := command(t, "", "assess", "-json", file)
	if status != exitOK || errOut != "" {
		t.Fatalf("status %d: %s", status, errOut)
	}
	_, fromStdin, _ := command(t, string(readFile(t, file)), "assess", "-json", "-")
	if fromFile != fromStdin || !strings.Contains(fromFile, `"spd_schedule"`) {
		t.Error("from the file and from standard input the answers differ")
	}
}

// The command line gives the result of the service.
func TestAssessIsTheService(t *testing.T) {
	s := serve(t, nil, "-listen", "127.0.0.1:0", "-database", filepath.Join(t.TempDir(), "site.db"))
	served := s.Post("/v1/calculations", demo(t)).Want(200)
	_, out, _ := command(t, "", "assess", "-json", "testdata/demo/health-post.json")
	var a, b map[string]any
	served.JSON(&a)
	decode(t, out, &b)
	if !equal(a, b) {
		t.Error("command line and service answer differently")
	}
}

func TestAssessNamesAllFaults(t *testing.T) {
	bad := `{"name": "", "location": {"latitude": 91, "longitude": 0}, "flash_density": {"ground_flashes_per_km2_year": 3}, "wind": 4,
		"structures": [{"id": "a", "length_m": 0, "width_m": 1, "height_m": 1}], "lines": [{"id": "l", "structure": "b"}]}`
	for _, args := range [][]string{{"assess", "-"}, {"assess", "-json", "-"}, {"assess", "-check", "-"}} {
		status, out, errOut := command(t, bad, args...)
		if status != exitFault || out != "" {
			t.Errorf("%v: status %d, output %q", args, status, out)
		}
		for _, pointer := range []string{"/name", "/location/latitude", "/wind", "/structures/0/length_m", "/lines/0/structure"} {
			if !strings.Contains(errOut, pointer+": ") {
				t.Errorf("%v: %s is not named:\n%s", args, pointer, errOut)
			}
		}
	}
	for name, text := range map[string]string{"not JSON": `{"name": `, "empty": "", "too large": strings.Repeat(" ", 2<<20) + "{}"} {
		if status, out, errOut := command(t, text, "assess", "-"); status != exitFault || out != "" || errOut == "" {
			t.Errorf("%s: status %d, %q, %q", name, status, out, errOut)
		}
	}
}

// An output that cannot be written is a fault.
func TestAssessFullDisk(t *testing.T) {
	for _, args := range [][]string{{"assess", "-"}, {"assess", "-json", "-"}} {
		p := program{args: args, in: bytes.NewReader(demo(t)), out: full{}, errOut: io.Discard, env: func(string) string { return "" }}
		if status := p.run(t.Context()); status != exitFault {
			t.Errorf("%v: status %d", args, status)
		}
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, os.ErrInvalid }

func TestSummary(t *testing.T) {
	for _, name := range []string{"health-post", "smallest"} {
		status, out, errOut := command(t, "", "assess", "testdata/demo/"+name+".json")
		if status != exitOK {
			t.Fatalf("status %d: %s", status, errOut)
		}
		holdsWhatMatters(t, name, out)
		golden := "testdata/golden/" + name + ".txt"
		if *update {
			if err := os.WriteFile(golden, []byte(out), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		// The day of review follows the clock where the year of the data is not given.
		if want := string(readFile(t, golden)); withoutDay(out) != withoutDay(want) {
			t.Errorf("the summary of %s is not %s (-update writes it anew):\n%s", name, golden, out)
		}
		fitsThePage(t, name, out)
	}
}

// fitsThePage holds that no line is wider than 80 columns, or ends in blanks.
func fitsThePage(t *testing.T, name, out string) {
	t.Helper()
	for i, line := range strings.Split(out, "\n") {
		if n := len([]rune(line)); n > 80 || line != strings.TrimRight(line, " ") {
			t.Errorf("%s, line %d is %d wide or ends in blanks: %q", name, i+1, n, line)
		}
	}
}

func withoutDay(text string) string {
	head, rest, _ := strings.Cut(text, "  review due ")
	return head + rest[min(10, len(rest)):]
}

// holdsWhatMatters: limits beside the values, devices per line, what was assumed, the warnings and cautions; no pointers.
func holdsWhatMatters(t *testing.T, name, out string) {
	t.Helper()
	answer, err := compute(readFile(t, "testdata/demo/"+name+".json"), nil, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, s := range answer.Structures {
		if r := s.Risks.HumanLife; r != nil {
			want = append(want, riskFigure(r.Total), riskFigure(*r.Tolerable), s.Earthing.Notes[0].Text[:11])
		}
	}
	for _, e := range answer.Schedule {
		want = append(want, e.Line+" at "+e.Structure)
		for _, m := range e.Modes {
			want = append(want, m.Mode+" ")
		}
		for _, n := range e.Notes {
			want = append(want, readable(n))
		}
	}
	flat := strings.Join(strings.Fields(out), " ")
	for _, text := range append(append(want, answer.Warnings[1:]...), answer.Cautions...) { // the first warning is about the earth
		if !strings.Contains(flat, strings.Join(strings.Fields(text), " ")) {
			t.Errorf("the summary of %s lacks %q", name, text)
		}
	}
	for _, pointer := range []string{"/structures", "/lines", "0.0225 kA", "Not for this reason"} {
		if strings.Contains(flat, pointer) {
			t.Errorf("the summary of %s says %q", name, pointer)
		}
	}
}
