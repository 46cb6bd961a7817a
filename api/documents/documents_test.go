package documents_test

import (
	"bytes"
	"fmt"
	"net/http"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"levinward/api/apitest"
	"levinward/api/wire"
	"levinward/tabletext"
)

func TestWorksheet(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := apitest.Create(c, apitest.Demo(t))
		at := "/v1/assessments/" + s.ID + "/worksheet"
		var sheet struct {
			Edition string
			Steps   []apitest.Step
		}
		c.Get(at).Want(http.StatusOK).JSON(&sheet)
		if sheet.Edition != "iec-62305-2:2010" || len(sheet.Steps) < 100 {
			t.Fatalf("%d steps of edition %q", len(sheet.Steps), sheet.Edition)
		}
		for i, st := range sheet.Steps {
			if st.Index != i || slices.ContainsFunc(st.Inputs, func(n int) bool { return n >= i }) || st.Clause+st.Formula+st.Pointer+st.Note == "" {
				t.Errorf("step %d: %+v", i, st)
			}
		}
		byCSV := apitest.CSVOf(t, c.Get(at+".csv").Want(http.StatusOK))
		if len(byCSV) != len(sheet.Steps)+1 {
			t.Fatalf("CSV has %d lines, JSON %d steps", len(byCSV), len(sheet.Steps))
		}
		for i, st := range sheet.Steps {
			if got := apitest.StepOf(t, byCSV[0], byCSV[i+1]); !reflect.DeepEqual(got, st) {
				t.Errorf("CSV has %+v\nJSON %+v", got, st)
			}
		}
		html := c.Get(at + ".html").Want(http.StatusOK)
		if n := bytes.Count(html.Body, []byte(`<tr id="s`)); n != len(sheet.Steps) {
			t.Errorf("HTML has %d steps, JSON %d", n, len(sheet.Steps))
		}
		if !bytes.Contains(html.Body, []byte("health post on Quemmel ridge")) || !bytes.Contains(html.Body, []byte("licensed practitioner")) {
			t.Error("the page lacks the name of the site or the cautions")
		}
		for accept, media := range map[string]string{
			"": "application/json", "*/*": "application/json", "application/json": "application/json", "text/csv": "text/csv",
			"text/html": "text/html",
			"text/*":    "text/csv", "text/html, application/json;q=0.9": "text/html", "application/json;q=0.2, text/csv;q=0.5": "text/csv",
			"text/html;q=0, */*": "application/json",
		} {
			a := c.Get(at, "Accept", accept).Want(http.StatusOK)
			if a.MediaType() != media || !strings.Contains(a.Header.Get("Vary"), "Accept") {
				t.Errorf("Accept %q: %s, Vary %q", accept, a.MediaType(), a.Header.Get("Vary"))
			}
		}
		problem := c.Get(at, "Accept", "image/png").Want(http.StatusNotAcceptable).Problem()
		if problem.Kind() != "not-acceptable" {
			t.Errorf("no picture of it: %s", problem.Type)
		}
	})
}

// An earlier revision keeps its worksheet and schedule.
func TestDocumentsOfARevision(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := apitest.Create(c, apitest.Demo(t))
		at := "/v1/assessments/" + s.ID
		paths := []string{"/worksheet", "/worksheet.csv", "/spd-schedule", "/spd-schedule.csv"}
		before := map[string][]byte{}
		for _, p := range paths {
			before[p] = c.Get(at + p).Want(http.StatusOK).Body
		}
		c.Patch(
			at+"/revisions", `{"flash_density": {"ground_flashes_per_km2_year": 1}, "lines": null, "structures": [{"id": "shed", `+
				`"length_m": 4, "width_m": 3, "height_m": 2.5}]}`).Want(http.StatusCreated)
		for _, p := range paths {
			if !bytes.Equal(c.Get(at+p+"?revision=1").Want(http.StatusOK).Body, before[p]) {
				t.Errorf("%s of revision 1 changed", p)
			}
			if bytes.Equal(c.Get(at+p).Want(http.StatusOK).Body, before[p]) {
				t.Errorf("%s of revision 2 is that of 1", p)
			}
		}
	})
}

// A text that a spreadsheet would compute is no formula in the CSV.
func TestCSVHoldsNoFormulas(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := apitest.Create(c, apitest.Changed(t, apitest.Smallest(t),
			map[string]any{"/structures/0/id": "=1+2", "/lines": []any{map[string]any{"id": "@x", "structure": "=1+2"}}}))
		for _, path := range []string{"/spd-schedule.csv", "/worksheet.csv"} {
			for _, row := range apitest.CSVOf(t, c.Get("/v1/assessments/"+s.ID+path).Want(http.StatusOK)) {
				for _, cell := range row {
					if _, err := strconv.ParseFloat(cell, 64); cell != "" && err != nil && strings.ContainsAny(cell[:1], "=+-@") {
						t.Fatalf("%s holds %q", path, cell)
					}
				}
			}
		}
	})
}

func TestSchedule(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, a := apitest.Create(c, apitest.Demo(t))
		at := "/v1/assessments/" + s.ID + "/spd-schedule"
		var result, schedule map[string]any
		a.JSON(&result)
		byJSON := c.Get(at, "Accept", "application/json").Want(http.StatusOK)
		byJSON.JSON(&schedule)
		if !reflect.DeepEqual(schedule["spd_schedule"], result["spd_schedule"]) || !reflect.DeepEqual(schedule["cautions"], result["cautions"]) {
			t.Error("the schedule is not that of the result")
		}
		rows := apitest.CSVOf(t, c.Get(at+".csv").Want(http.StatusOK))
		if got := apitest.CSVOf(t, c.Get(at, "Accept", "text/csv").Want(http.StatusOK)); !reflect.DeepEqual(got, rows) {
			t.Error("by Accept and by suffix the CSV differs")
		}
		entries := schedule["spd_schedule"].([]any)
		if len(rows) != len(entries)+1 {
			t.Fatalf("%d rows, %d entries", len(rows)-1, len(entries))
		}
		for i, e := range entries {
			row := map[string]string{}
			for n, name := range rows[0] {
				row[name] = strings.TrimPrefix(rows[i+1][n], "'")
			}
			checkScheduleRow(t, row, e.(map[string]any))
		}
	})
}

// checkScheduleRow holds a row against its entry: each field of the entry has a cell, lists and modes as text.
func checkScheduleRow(t *testing.T, row map[string]string, entry map[string]any) {
	t.Helper()
	for name, value := range entry {
		if fields, ok := value.(map[string]any); ok {
			for field, v := range fields {
				sameCell(t, row, name+"_"+field, v)
			}
			continue
		}
		switch name {
		case "basis", "current_share", "order": // where the numbers come from; objects that are null
		case "because", "notes":
			for _, text := range value.([]any) {
				if reason, ok := text.(map[string]any); ok {
					text = reason["rule"]
				}
				if strings.Count(row[name], text.(string)) != 1 {
					t.Errorf("%s of %v: %q lacks %q or has it twice", name, entry["line"], row[name], text)
				}
			}
		case "modes":
			checkModes(t, row, value.([]any))
		default:
			sameCell(t, row, name, value)
		}
	}
	if row["site"] != "Invented: health post on Quemmel ridge" || row["reference"] != "DEMO-1" || row["revision"] != "1" ||
		!regexp.MustCompile(`^\d{4}-\d\d-\d\d$`).MatchString(row["date"]) || !strings.Contains(row["earth_advice"], "Earth first") {
		t.Errorf("the record is %q", row)
	}
}

func sameCell(t *testing.T, row map[string]string, name string, value any) {
	t.Helper()
	want := ""
	if value != nil {
		want = fmt.Sprint(value)
	}
	if got, ok := row[name]; !ok || got != want {
		t.Errorf("%s: %q (%v), want %q", name, got, ok, want)
	}
}

// checkModes holds that the modes can go into a table of devices, and that each number of a mode is in the cell of its field.
func checkModes(t *testing.T, row map[string]string, modes []any) {
	t.Helper()
	var names []string
	for _, m := range modes {
		mode := m.(map[string]any)
		names = append(names, mode["mode"].(string))
		for field, value := range mode {
			if field == "mode" || field == "tov" || value == nil {
				continue
			}
			if want := fmt.Sprint(mode["mode"], " ", value); !slices.Contains(strings.Split(row[field+"_by_mode"], "; "), want) {
				t.Errorf("%s_by_mode is %q, without %q", field, row[field+"_by_mode"], want)
			}
		}
		for _, o := range mode["tov"].([]any) {
			tov := o.(map[string]any)
			if want := fmt.Sprint(mode["mode"], " ", tov["duration"], " ", tov["volt"], " V ",
				tov["after"]); !strings.Contains(row["tov_by_mode"], want) {
				t.Errorf("tov_by_mode is %q, without %q", row["tov_by_mode"], want)
			}
		}
	}
	if want := strings.Join(names, "|"); row["modes"] != want {
		t.Errorf("modes: %q, want %q", row["modes"], want)
	}
	if _, _, faults, _, err := deviceRow(t, "reference,modes\nX,'"+row["modes"]+"\n"); err != nil || len(faults) > 0 {
		t.Errorf("a table of devices refuses %q: %v %v", row["modes"], faults, err)
	}
}

func deviceRow(t *testing.T, text string) (*wire.Device, int, []wire.RowFault, *wire.RowFault, error) {
	t.Helper()
	r, faults, err := wire.NewDeviceReader(strings.NewReader(text), tabletext.DecimalPoint)
	if err != nil || len(faults) > 0 {
		t.Fatal(faults, err)
	}
	return r.Next()
}

// elsewhere is an address of another host in markup that would be loaded or followed.
var elsewhere = regexp.MustCompile(`(?i)(?:src|href|action)\s*=\s*["']?(?:https?:)?//`)

func TestPagesNeedNoOtherHost(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	moved := c.Get("/docs").Want(http.StatusMovedPermanently)
	page := c.Get(moved.Header.Get("Location")).Want(http.StatusOK)
	if page.MediaType() != "text/html" {
		t.Fatalf("the documentation is %s", page.MediaType())
	}
	if link := elsewhere.Find(page.Body); link != nil {
		t.Errorf("the documentation refers to another host: %s", link)
	}
	files := regexp.MustCompile(`(?:src|href)\s*=\s*"([^"#]+\.(?:js|css|png|ico|svg))"`).FindAllSubmatch(page.Body, -1)
	if len(files) < 2 {
		t.Errorf("the documentation has %d files", len(files))
	}
	for _, f := range files {
		path := string(f[1])
		if !strings.HasPrefix(path, "/") {
			path = "/docs/" + path
		}
		if a := c.Get(path).Want(http.StatusOK); len(a.Body) == 0 {
			t.Errorf("%s is empty", path)
		}
	}
	s, _ := apitest.Create(c, apitest.Demo(t))
	if link := elsewhere.Find(c.Get("/v1/assessments/" + s.ID + "/worksheet.html").Want(http.StatusOK).Body); link != nil {
		t.Errorf("the worksheet refers to another host: %s", link)
	}
}
