package documents_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"levinward/api/apitest"
	"levinward/api/wire"
)

// matched is a schedule with the devices for it.
type matched struct {
	Schedule []struct{ Line, Structure, Position string } `json:"spd_schedule"`
	Matching *struct {
		LibraryVersion int `json:"library_version"`
		Devices        int
		Entries        []struct {
			Line, Structure, Position string
			Required                  bool
			EarthFirst                bool `json:"earth_first"`
			Passing                   int
			Devices                   []wire.MatchedDevice
			Nearest                   []struct {
				Reference string
				Reasons   []struct{ Rule, Verdict, Required, Found string }
			}
			Obstacle *struct{ Rule, Outcome string }
		}
		Totals []struct {
			Currency, Total string
			Incomplete      bool
			Items           []struct{ Reference, Amount string }
			Missing         []struct{ Line, Reason string }
		}
		Incomplete bool
		Cautions   []string
	}
}

func match(c *apitest.Client, at, query string) matched {
	var m matched
	c.Get(at + "/spd-schedule" + query).Want(http.StatusOK).JSON(&m)
	return m
}

// Common practice, no published source: a device whose U_C of 150 V is below the 230 V of the line conducts in normal operation
// and suits nothing.
// Totals: required entries times the lowest price that is given.
func TestScheduleNamesDevices(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		s, _ := apitest.Create(c, apitest.Demo(t))
		at := "/v1/assessments/" + s.ID
		if m := match(c, at, ""); m.Matching != nil {
			t.Error("a match that was not asked for")
		}
		m := match(c, at, "?match=true")
		if m.Matching.Devices != 0 || len(m.Matching.Totals) != 0 || len(m.Matching.Entries) != len(m.Schedule) ||
			m.Matching.Entries[0].Obstacle != nil {
			t.Errorf("an empty library: %+v", m.Matching)
		}

		// The supply of the demo site has devices at three prices and one without; the wrong
		// one would conduct in normal operation.
		wrong := apitest.SupplyDevice("WRONG", "1")
		wrong["uc_ac_v"] = 150
		c.Post(apitest.DevicesPath, apitest.JSONOf(t,
			[]any{apitest.SupplyDevice("DEAR", "48.50"), apitest.SupplyDevice("CHEAP", "9.9"), apitest.SupplyDevice("NOT PRICED", nil),
				apitest.SupplyDevice("MIDDLE", "10.00"), wrong})).Want(http.StatusOK)
		m = match(c, at, "?match=true&devices=2")
		found := 0
		for i, e := range m.Matching.Entries {
			if e.Line != m.Schedule[i].Line || e.Structure != m.Schedule[i].Structure || e.Position != m.Schedule[i].Position {
				t.Errorf("entry %d is %s at %s, the schedule has %+v", i, e.Line, e.Structure, m.Schedule[i])
			}
			if e.Passing == 0 {
				if e.Obstacle == nil || e.Obstacle.Outcome == "" || len(e.Nearest) != 3 || len(e.Nearest[0].Reasons) == 0 {
					t.Errorf("%s: nothing passes: %+v", e.Line, e)
				}
				continue
			}
			found++
			var names []string
			for _, d := range e.Devices {
				names = append(names, d.Reference)
			}
			if e.Passing != 4 || strings.Join(names, ",") != "CHEAP,MIDDLE,NOT PRICED" || len(e.Nearest) != 1 ||
				e.Nearest[0].Reference != "WRONG" || e.Nearest[0].Reasons[0].Rule != "uc_lower_bound" {
				t.Errorf("%s: %d pass: %v; nearest %+v", e.Line, e.Passing, names, e.Nearest)
			}
		}
		if found == 0 {
			t.Fatalf("no entry has a device: %+v", m.Matching.Entries)
		}
		totals := m.Matching.Totals
		if len(totals) != 1 || totals[0].Currency != "XTS" || len(totals[0].Items) != 1 || totals[0].Items[0].Reference != "CHEAP" ||
			totals[0].Total != totals[0].Items[0].Amount ||
			!strings.HasSuffix(totals[0].Total, ".9") && !strings.Contains(totals[0].Total, ".") || len(m.Matching.Cautions) == 0 {
			t.Errorf("totals %+v", totals)
		}
		sameAsTable(t, c, at, &m)

		// The next match sees every change of the library.
		var l apitest.DeviceList
		c.Get(apitest.DevicesPath + "?q=CHEAP").JSON(&l)
		cheap := apitest.DevicesPath + "/" + l.Devices[0].ID
		first := func() string {
			for _, e := range match(c, at, "?match=true").Matching.Entries {
				if e.Passing > 0 {
					return e.Devices[0].Reference + " " + string(*e.Devices[0].Price)
				}
			}
			return ""
		}
		for _, step := range []struct {
			change func()
			want   string
		}{
			{func() {}, "CHEAP 9.9"},
			{func() {
				apitest.PutJSON(c, cheap, apitest.JSONOf(t, apitest.SupplyDevice("CHEAP", "10"))).Want(http.StatusOK)
			}, "CHEAP 10"},
			{func() {
				apitest.PutJSON(c, cheap, apitest.JSONOf(t, apitest.SupplyDevice("CHEAP", "11"))).Want(http.StatusOK)
			}, "MIDDLE 10.00"},
			{func() {
				c.Post(apitest.DevicesPath, apitest.JSONOf(t, apitest.SupplyDevice("NEW", "0.5"))).Want(http.StatusCreated)
			}, "NEW 0.5"},
			{func() {
				c.Get(apitest.DevicesPath + "?q=NEW").JSON(&l)
				c.Delete(apitest.DevicesPath + "/" + l.Devices[0].ID)
			}, "MIDDLE 10.00"},
			{func() { apitest.PostTable(c, "", "reference\nanything\n").Want(http.StatusOK) }, "MIDDLE 10.00"},
		} {
			if step.change(); first() != step.want {
				t.Errorf("the cheapest is %s, want %s", first(), step.want)
			}
		}
		for _, query := range []string{"?match=1", "?match=yes", "?devices=3", "?match=false&devices=3", "?match=true&devices=0",
			"?match=true&devices=101", "?match=true&devices=x", "?match=true&limit=3"} {
			c.Get(at + "/spd-schedule" + query).Want(http.StatusBadRequest)
			c.Get(at + "/spd-schedule.csv" + query).Want(http.StatusBadRequest)
		}
	})
}

// sameAsTable holds the table of a match against its document.
func sameAsTable(t *testing.T, c *apitest.Client, at string, m *matched) {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(c.Get(at + "/spd-schedule.csv?match=true&devices=2").Want(http.StatusOK).Body)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := func(name string) int {
		n := slices.Index(rows[0], name)
		if n < 0 {
			t.Fatalf("no column %s in %v", name, rows[0])
		}
		return n
	}
	entry := -1
	last := ""
	for _, row := range rows[1:] {
		key := fmt.Sprint(row[column("line")], row[column("structure")], row[column("position")])
		if key != last {
			entry, last = entry+1, key
		}
		e := m.Matching.Entries[entry]
		var devices []string
		for _, d := range e.Devices {
			text := d.Reference + " without price"
			if d.Price != nil {
				text = fmt.Sprint(d.Reference, " at ", *d.Price, " ", *d.Currency)
			}
			devices = append(devices, text)
		}
		if row[column("devices_passing")] != fmt.Sprint(e.Passing) || row[column("devices")] != strings.Join(devices, "; ") ||
			(row[column("obstacle")] != "") != (e.Obstacle != nil) ||
			!strings.HasPrefix(row[column("totals")], m.Matching.Totals[0].Total+" XTS") || row[column("match_cautions")] == "" {
			t.Errorf("%s: %q", key, row)
		}
		for _, n := range e.Nearest {
			if !strings.Contains(row[column("nearest_devices")], n.Reference) ||
				!strings.Contains(row[column("nearest_devices")], n.Reasons[0].Rule) {
				t.Errorf("%s: %q", key, row[column("nearest_devices")])
			}
		}
	}
	if entry != len(m.Matching.Entries)-1 {
		t.Errorf("%d entries in the table, %d in the document", entry+1, len(m.Matching.Entries))
	}
}
