package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// besideMap writes a map and the file beside it.
func besideMap(t *testing.T, beside string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "hills.asc")
	for name, text := range map[string][]byte{file: readFile(t, "geo/testdata/densitymap/invented.asc"), file + ".json": []byte(beside)} {
		if err := os.WriteFile(name, text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return file
}

const (
	hills       = `{"name": "Hills", "kind": "ground_flashes_per_km2_year", "from_year": 2012, "to_year": 2024, "source": "invented network"}`
	siteOnHills = `{"name": "Hut (invented)", "location": {"longitude": 11.375, "latitude": 0.125}, "flash_density": {"map": "hills"},
		"structures": [{"id": "hut", "length_m": 5, "width_m": 4, "height_m": 3}]}`
)

// assessWith runs the command on a site.
func assessWith(t *testing.T, site string, args ...string) (status int, out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	p := program{args: append(append([]string{"assess"}, args...), "-"), in: strings.NewReader(site), out: &o, errOut: &e, env: func(string) string { return "" }}
	return p.run(t.Context()), o.String(), e.String()
}

// The value of the cell is read in the file by hand: row 3, column 4.
func TestAssessWithMap(t *testing.T) {
	file := besideMap(t, hills)
	status, out, errOut := assessWith(t, siteOnHills, "-json", "-map", "hills="+file)
	var r struct {
		Density struct {
			NG     float64 `json:"ground_flashes_per_km2_year"`
			Source string
			Year   int
		} `json:"flash_density"`
	}
	if err := json.Unmarshal([]byte(out), &r); status != exitOK || err != nil {
		t.Fatalf("status %d, %v: %s", status, err, errOut)
	}
	// The site lies in the centre of a cell of 12.15.
	if d := r.Density; math.Abs(d.NG-12.15) > 1e-6 || d.Source != `invented network (map "Hills")` || d.Year != 2024 {
		t.Errorf("%+v", d)
	}
	if status, out, errOut := assessWith(t, siteOnHills, "-map", "hills="+file); status != exitOK || !strings.Contains(out, "row 3, column 4") {
		t.Errorf("status %d: %s%s", status, out, errOut)
	}
	if status, _, errOut := assessWith(t, siteOnHills, "-check", "-map", "hills="+file); status != exitOK {
		t.Errorf("status %d: %s", status, errOut)
	}
}

func TestAssessWithFaultyMap(t *testing.T) {
	good := besideMap(t, hills)
	for name, test := range map[string]struct {
		args   []string
		status int
		say    string
	}{
		"none given":       {nil, exitFault, `there is no flash-density map "hills"`},
		"another id":       {[]string{"-map", "valley=" + good}, exitFault, `there is no flash-density map "hills"`},
		"no id":            {[]string{"-map", good}, exitUsage, "ID=FILE"},
		"twice":            {[]string{"-map", "hills=" + good, "-map", "hills=" + good}, exitUsage, "two maps"},
		"no file":          {[]string{"-map", "hills=" + good + ".none"}, exitFault, "hills.asc.none.json"},
		"an unknown field": {[]string{"-map", "hills=" + besideMap(t, `{"kind": "ground_flashes_per_km2_year", "unit": "km2"}`)}, exitFault, "unit"},
		"nothing beside":   {[]string{"-map", "hills=" + besideMap(t, `{}`)}, exitFault, "kind"},
	} {
		if status, _, errOut := assessWith(t, siteOnHills, test.args...); status != test.status || !strings.Contains(errOut, test.say) {
			t.Errorf("%s: status %d, want %d with %q: %s", name, status, test.status, test.say, errOut)
		}
	}
	if status, _, errOut := assessWith(t, strings.Replace(siteOnHills, "11.375", "40", 1), "-map", "hills="+good); status != exitFault || !strings.Contains(errOut, "/flash_density/map: position is outside") {
		t.Errorf("outside: status %d: %s", status, errOut)
	}
}
