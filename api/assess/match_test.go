package assess_test

import (
	"encoding/json"
	"fmt"
	"iter"
	"math/big"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/spd"
	"levinward/risk/trace"
	"levinward/store"
)

// stocked gives documents as a store does.
func stocked(t fataler, devices []wire.Device) iter.Seq2[store.Device, error] {
	t.Helper()
	return func(yield func(store.Device, error) bool) {
		for i := range devices {
			doc, err := json.Marshal(&devices[i])
			if err != nil {
				t.Fatalf("%v", err)
			}
			if !yield(store.Device{ID: fmt.Sprint("id-", i), Reference: devices[i].Reference, Document: doc}, nil) {
				return
			}
		}
	}
}

func library(t fataler, devices []wire.Device) *assess.Library {
	t.Helper()
	l, err := assess.LoadLibrary(1, stocked(t, devices))
	if err != nil {
		t.Fatalf("%v", err)
	}
	return l
}

// choice draws one of several values, or nothing, without a generator of rapid for each.
func choice[T any](r *rand.Rand, values ...T) *T {
	if r.IntN(25) == 0 {
		return nil
	}
	return &values[r.IntN(len(values))]
}

// anyDevice is an invented device, often one that suits something.
func anyDevice(r *rand.Rand, n int) wire.Device {
	every := []wire.DeviceMode{"L-N", "L-PE", "L-PEN", "N-PE", "+/-", "+/PE", "-/PE", "line-line", "line-earth"}
	classes := []wire.DeviceClass{"I", "II", "III", "D1", "C2", "C1"}
	d := wire.Device{Reference: fmt.Sprint("D-", n), DeviceSheet: wire.DeviceSheet{
		Current: choice(r, []wire.Current{risk.AC}, []wire.Current{risk.DC}, []wire.Current{risk.AC, risk.DC}, []wire.Current{risk.AC, risk.DC}),
		UcAC:    choice(r, 150., 275, 320, 440), UcDC: choice(r, 60., 75, 200, 800), Up: choice(r, 0.3, 0.5, 0.8, 1, 1.5, 2.5),
		In: choice(r, 5., 20, 20), InNPE: choice(r, 20., 80, 80), Imax: choice(r, 20., 40, 80),
		Iimp: choice(r, 5., 25, 50), IimpNPE: choice(r, 25., 100, 200), TestClasses: choice(r, classes[1:2], classes[:2], classes, classes),
		Technology:   choice[wire.DeviceTechnology](r, "limiting", "limiting", "switching"),
		ShortCircuit: choice(r, 0.5, 6, 25), FollowCurrent: choice(r, 0.1, 3, 25), TOV: choice(r, 335., 440, 440),
		Modes:       choice(r, []wire.DeviceMode{"L-N", "N-PE"}, []wire.DeviceMode{"L-PE", "N-PE"}, every, every, every),
		Connections: choice(r, []wire.DeviceConnection{"CT2"}, []wire.DeviceConnection{"CT1", "CT2"}, []wire.DeviceConnection{"CT1", "CT2"}),
	}}
	if d.Price = choice[wire.Price](r, "12.50", "12.5", "12.4999", "0", "7", "100.00", "0.1", "0.2"); d.Price != nil {
		d.Currency = choice[wire.Currency](r, "XTS", "XTS", "XXX")
		if d.Currency == nil {
			d.Price = nil
		}
	}
	return d
}

// villageOfLines is an invented site with a line of every kind.
const villageOfLines = `{"name": "Workshop and school, Quemmel ridge (invented)", "location": {"latitude": -3.2,
	"longitude": 85.1}, "flash_density": {"ground_flashes_per_km2_year": 8},
"structures": [{"id": "workshop", "length_m": 20, "width_m": 10, "height_m": 6, "lps": "II"}, {"id": "school", "length_m": 30,
	"width_m": 8, "height_m": 4, "failure_endangers_life": true}],
"lines": [
	{"id": "tt", "structure": "school", "installation": "aerial", "length_m": 500, "electrical": {"current": "ac", "system": "TT",
		"nominal_v": 230, "phases": 1, "short_circuit_ka": 1}},
	{"id": "tns", "structure": "workshop", "installation": "buried", "length_m": 300, "electrical": {"current": "ac",
		"system": "TN-S", "nominal_v": 230, "phases": 3, "neutral": true}},
	{"id": "tnc", "structure": "school", "installation": "buried", "length_m": 200, "electrical": {"current": "ac",
		"system": "TN-C", "nominal_v": 230, "phases": 3}},
	{"id": "it", "structure": "workshop", "installation": "aerial", "length_m": 80, "electrical": {"current": "ac", "system": "IT",
		"nominal_v": 230, "phases": 3, "neutral": true}},
	{"id": "array", "structure": "workshop", "installation": "buried", "length_m": 22, "electrical": {"current": "dc",
		"origin": "photovoltaic", "open_circuit_v": 150, "short_circuit_a": 18, "equipment_max_input_v": 200}},
	{"id": "roof", "structure": "school", "installation": "aerial", "length_m": 9, "electrical": {"current": "dc",
		"origin": "photovoltaic", "open_circuit_v": 600, "short_circuit_a": 10}},
	{"id": "battery", "structure": "school", "installation": "buried", "length_m": 4, "electrical": {"current": "dc",
		"origin": "battery", "nominal_v": 48, "short_circuit_ka": 4}},
	{"id": "telephone", "structure": "school", "service": "telecom", "installation": "aerial", "length_m": 900},
	{"id": "data", "structure": "workshop", "service": "telecom", "installation": "buried", "length_m": 60}
]}`

// schedules computes a site, as it is and as a result stores it.
var schedules = sync.OnceValues(func() ([]spd.Entry, []byte) {
	in, ok := wire.Decode([]byte(villageOfLines))
	if !ok {
		panic("the site is not decoded")
	}
	answer, faults := assess.Run(in.Core(), nil)
	if len(faults) > 0 {
		panic(faults)
	}
	stored, err := json.Marshal(answer.Document(in).Schedule)
	if err != nil {
		panic(err)
	}
	return answer.Schedule, stored
})

// withoutGrounds leaves out what the values rest on: a check of a device asks for the reason alone.
func withoutGrounds(basis []spd.Basis) []spd.Basis {
	list := slices.Clone(basis)
	for i := range list {
		list[i].RestsOn = trace.Ground{}
	}
	return list
}

// TestStoredScheduleAsksTheSame holds the schedule that is read from a stored result against the one that was computed.
func TestStoredScheduleAsksTheSame(t *testing.T) {
	computed, stored := schedules()
	places, err := wire.ReadPlaces(stored, nil)
	if err != nil || len(places) != len(computed) || len(places) < 12 {
		t.Fatalf("%d places of %d entries, %v", len(places), len(computed), err)
	}
	for i := range places {
		want, got := spd.NeedOf(&computed[i]), spd.NeedOf(&places[i].Entry)
		if got != want || places[i].Entry.Position != computed[i].Position || places[i].Entry.Required != computed[i].Required ||
			places[i].Entry.Withstand != computed[i].Withstand ||
			!slices.Equal(places[i].Entry.Basis, withoutGrounds(computed[i].Basis)) {
			t.Errorf("%s at %s: read %+v, computed %+v", places[i].Line, places[i].Structure, got, want)
		}
	}
	for _, text := range []string{"", "{}", `[{"line": 1}]`, `[{"up_max_kv": "x"}]`} {
		if _, err := wire.ReadPlaces([]byte(text), nil); err == nil {
			t.Errorf("%q was read", text)
		}
	}
	// A result of before some numbers were kept asks for the others.
	old, err := wire.ReadPlaces([]byte(`[{"line": "a", "service": "low_voltage", "current": "ac", "test_class": "II", "uc_min_v": `+
		`254, "up_max_kv": null}]`), nil)
	if err != nil || len(old) != 1 || old[0].Entry.UcMin != spd.Some(254) || old[0].Entry.UpMax.Valid || old[0].Entry.TOVMin.Valid {
		t.Errorf("%+v, %v", old, err)
	}
}

// anyPlace is an entry of the schedule, required or not.
func anyPlace(r *rand.Rand, n int) wire.ScheduledPlace {
	_, stored := schedules()
	places, err := wire.ReadPlaces(stored, nil)
	if err != nil {
		panic(err)
	}
	p := places[r.IntN(len(places))]
	p.Line, p.Entry.Required = fmt.Sprint(p.Line, "-", n), r.IntN(3) > 0
	return p
}

func anyDevices(r *rand.Rand, n int) []wire.Device {
	devices := make([]wire.Device, n)
	for i := range devices {
		devices[i] = anyDevice(r, i)
	}
	return devices
}

func anyPlaces(r *rand.Rand, n int) []wire.ScheduledPlace {
	places := make([]wire.ScheduledPlace, n)
	for i := range places {
		places[i] = anyPlace(r, i)
	}
	return places
}

// rank orders devices as a person would: by currency, price, reference, those without a price last.
func rank(a, b *wire.Device) int {
	switch {
	case a.Price == nil && b.Price == nil:
		return strings.Compare(a.Reference, b.Reference)
	case a.Price == nil:
		return 1
	case b.Price == nil:
		return -1
	case *a.Currency != *b.Currency:
		return strings.Compare(string(*a.Currency), string(*b.Currency))
	}
	if c := exact(*a.Price).Cmp(exact(*b.Price)); c != 0 {
		return c
	}
	return strings.Compare(a.Reference, b.Reference)
}

// exact is a price as a fraction, which math/big computes without rounding.
func exact(p wire.Price) *big.Rat {
	r, ok := new(big.Rat).SetString(string(p))
	if !ok {
		panic("not a number: " + p)
	}
	return r
}

// TestMatchAgainstEveryCheck compares a match with the plain way: the full check of every device at every entry.
func TestMatchAgainstEveryCheck(t *testing.T) {
	passed, failed := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		devices, places := anyDevices(r, rapid.IntRange(0, 60).Draw(t, "devices")), anyPlaces(r, rapid.IntRange(0, 6).Draw(t, "places"))
		most := rapid.IntRange(1, 5).Draw(t, "most")
		m := library(t, devices).Match(places, most)
		if len(m.Entries) != len(places) || m.Devices != len(devices) {
			t.Fatalf("%d entries, %d devices", len(m.Entries), m.Devices)
		}
		slices.SortFunc(devices, func(a, b wire.Device) int { return rank(&a, &b) })
		for i := range places {
			passing, others := checkEach(devices, &places[i])
			passed, failed = passed+len(passing), failed+len(others)
			sameMatch(t, &m.Entries[i], passing, others, most, len(devices))
		}
		sameTotals(t, m, devices, places)
	})
	if passed == 0 || failed == 0 {
		t.Fatalf("%d pass and %d fail: the test proves nothing", passed, failed)
	}
}

// judged is a device and the rules it fails.
type judged struct {
	device *wire.Device
	rules  []spd.Rule
}

// checkEach asks the full check of every device.
func checkEach(devices []wire.Device, p *wire.ScheduledPlace) (passing []*wire.Device, others []judged) {
	for i := range devices {
		core := devices[i].Core()
		var rules []spd.Rule
		for _, f := range spd.Check(&core, &spd.Place{Entry: &p.Entry}).Findings {
			if f.Rule < spd.RuleLeads && f.Verdict != spd.Suitable && !slices.Contains(rules, f.Rule) {
				rules = append(rules, f.Rule)
			}
		}
		if len(rules) == 0 {
			passing = append(passing, &devices[i])
		} else {
			others = append(others, judged{&devices[i], rules})
		}
	}
	return passing, others
}

func sameMatch(t *rapid.T, got *wire.EntryMatch, passing []*wire.Device, others []judged, most, devices int) {
	var named []string
	count := map[string]int{}
	for _, d := range passing {
		group := ""
		if d.Currency != nil {
			group = string(*d.Currency)
		}
		if count[group]++; count[group] <= most {
			named = append(named, d.Reference)
		}
	}
	var matches []string
	for _, d := range got.Matches {
		matches = append(matches, d.Reference)
	}
	if got.Passing != len(passing) || !slices.Equal(matches, named) {
		t.Fatalf("%d pass: %v, want %d: %v", got.Passing, matches, len(passing), named)
	}

	slices.SortStableFunc(others, func(a, b judged) int { return len(a.rules) - len(b.rules) })
	if len(got.Nearest) != min(3, len(others)) {
		t.Fatalf("%d nearest of %d", len(got.Nearest), len(others))
	}
	for i, n := range got.Nearest {
		var rules []spd.Rule
		for _, f := range n.Reasons {
			if !slices.Contains(rules, f.Rule) {
				rules = append(rules, f.Rule)
			}
		}
		if n.Reference != others[i].device.Reference || !slices.Equal(rules, others[i].rules) {
			t.Fatalf("nearest %d is %s with %v, want %s with %v", i, n.Reference, rules, others[i].device.Reference, others[i].rules)
		}
	}

	if (got.Obstacle != nil) != (len(passing) == 0 && devices > 0) {
		t.Fatalf("%d pass, obstacle %+v", len(passing), got.Obstacle)
	}
	if o := got.Obstacle; o != nil {
		excluded := map[spd.Rule]int{}
		for _, j := range others {
			for _, r := range j.rules {
				excluded[r]++
			}
		}
		for r, n := range excluded {
			if n > o.Excluded || n == o.Excluded && r < o.Rule {
				t.Fatalf("the obstacle is %v with %d, but %v keeps out %d", o.Rule, o.Excluded, r, n)
			}
		}
		if o.Excluded != excluded[o.Rule] || o.Met != (o.Excluded < devices) || o.Required == "" || o.Outcome == "" {
			t.Fatalf("%+v", o)
		}
	}
}

// sameTotals adds up by hand, in fractions.
func sameTotals(t *rapid.T, m *wire.Matching, devices []wire.Device, places []wire.ScheduledPlace) {
	required, complete := 0, false
	totals := map[wire.Currency]*wire.MatchTotal{}
	for i := range m.Totals {
		if totals[m.Totals[i].Currency] != nil {
			t.Fatalf("two totals in %s", m.Totals[i].Currency)
		}
		totals[m.Totals[i].Currency] = &m.Totals[i]
	}
	for _, currency := range []wire.Currency{"XTS", "XXX"} {
		sum, chosen, missing := new(big.Rat), map[string]int{}, 0
		required = 0
		for i := range places {
			if !places[i].Entry.Required {
				continue
			}
			required++
			passing, _ := checkEach(devices, &places[i])
			cheapest := slices.IndexFunc(passing, func(d *wire.Device) bool { return d.Currency != nil && *d.Currency == currency })
			if cheapest < 0 {
				missing++
				continue
			}
			chosen[passing[cheapest].Reference]++
			sum.Add(sum, exact(*passing[cheapest].Price))
		}
		got := totals[currency]
		if (got != nil) != (len(chosen) > 0) {
			t.Fatalf("%s: total %+v, chosen %v", currency, got, chosen)
		}
		if got == nil {
			continue
		}
		items := map[string]int{}
		amounts := new(big.Rat)
		for _, item := range got.Items {
			items[item.Reference] = item.Quantity
			amounts.Add(amounts, exact(item.Amount))
			if want := new(big.Rat).Mul(exact(item.UnitPrice), big.NewRat(int64(item.Quantity), 1)); want.Cmp(exact(item.Amount)) != 0 {
				t.Fatalf("%d at %s are %s", item.Quantity, item.UnitPrice, item.Amount)
			}
		}
		if exact(got.Total).Cmp(sum) != 0 || amounts.Cmp(sum) != 0 || !reflect.DeepEqual(items, chosen) {
			t.Fatalf("%s: %s of %v, want %v of %v", currency, got.Total, items, sum, chosen)
		}
		if len(got.Missing) != missing || got.Incomplete != (missing > 0) {
			t.Fatalf("%s: %d missing, incomplete %v, want %d", currency, len(got.Missing), got.Incomplete, missing)
		}
		complete = complete || missing == 0
	}
	if m.Incomplete != (required > 0 && !complete) {
		t.Fatalf("incomplete %v with %d required, complete %v", m.Incomplete, required, complete)
	}
}

// Common practice, no published source: a device may carry more, bear more and serve more than is asked for.
//
// TestBetterDevicesNeverFail makes a device better in one way, after which it must still pass where it passed.
func TestBetterDevicesNeverFail(t *testing.T) {
	up := func(p **float64, by float64) {
		if *p != nil {
			*p = ptr(**p * by)
		}
	}
	better := map[string]func(*wire.Device){
		"I_n": func(d *wire.Device) { up(&d.In, 2) }, "I_n N-PE": func(d *wire.Device) { up(&d.InNPE, 2) },
		"I_max": func(d *wire.Device) { up(&d.Imax, 2) },
		"I_imp": func(d *wire.Device) { up(&d.Iimp, 2) }, "I_imp N-PE": func(d *wire.Device) { up(&d.IimpNPE, 2) },
		"I_SCCR": func(d *wire.Device) { up(&d.ShortCircuit, 2) },
		"I_fi":   func(d *wire.Device) { up(&d.FollowCurrent, 2) }, "U_T": func(d *wire.Device) { up(&d.TOV, 1.3) },
		"both currents": func(d *wire.Device) {
			if d.Current != nil {
				d.Current = &[]wire.Current{risk.AC, risk.DC}
			}
		},
		"all classes": func(d *wire.Device) {
			if d.TestClasses != nil {
				d.TestClasses = &[]wire.DeviceClass{"I", "II", "III", "D1", "C2", "C1"}
			}
		},
		"cheaper": func(d *wire.Device) {
			if d.Price != nil {
				d.Price = ptr(wire.Price("0"))
			}
		},
	}
	passed := 0
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		devices, places := anyDevices(r, 40), anyPlaces(r, 6)
		name := rapid.SampledFrom(slices.Sorted(mapKeys(better))).Draw(t, "better")
		improved := slices.Clone(devices)
		for i := range improved {
			better[name](&improved[i])
		}
		before, after := library(t, devices).Match(places, 100), library(t, improved).Match(places, 100)
		for i := range places {
			now := map[string]bool{}
			for _, d := range after.Entries[i].Matches {
				now[d.Reference] = true
			}
			for _, d := range before.Entries[i].Matches {
				if passed++; !now[d.Reference] {
					t.Fatalf("%s passed entry %d, and does not with better %s", d.Reference, i, name)
				}
			}
		}
	})
	if passed == 0 {
		t.Fatalf("%d matches, the test proves nothing", passed)
	}
}

func ptr[T any](v T) *T { return &v }

func mapKeys[V any](m map[string]V) iter.Seq[string] {
	return func(yield func(string) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

// suitable is a device that suits the entry of place.
func suitable(reference, price, currency string) wire.Device {
	d := wire.Device{Reference: reference, DeviceSheet: wire.DeviceSheet{Current: &[]wire.Current{risk.AC}, UcAC: ptr(275.), Up: ptr(1.5),
		In: ptr(20.), InNPE: ptr(40.),
		TestClasses: &[]wire.DeviceClass{"II"}, Technology: ptr(wire.DeviceTechnology("limiting")), Modes: &[]wire.DeviceMode{"L-N", "N-PE"}}}
	if price != "" {
		d.Price, d.Currency = ptr(wire.Price(price)), ptr(wire.Currency(currency))
	}
	return d
}

func supplyPlace(line string, required bool) wire.ScheduledPlace {
	return wire.ScheduledPlace{Line: line, Structure: "post", Entry: spd.Entry{Position: spd.LineEntrance, Required: required,
		TestClass: spd.ClassII, Connection: spd.CT2,
		UcMin: spd.Some(254), UpMax: spd.Some(1.5), InMin: spd.Some(5), Modes: []spd.Mode{{Mode: "L-N"}, {Mode: "N-PE"}}}}
}

// The sums are added up by hand: three required entries, each with the cheapest device that suits. That U_C 275 V, U_P 1.5 kV and
// I_n 20 kA suit an entry of 254 V, 1.5 kV and 5 kA is the meaning of "at least" and "at most".
func TestTotals(t *testing.T) {
	places := []wire.ScheduledPlace{supplyPlace("a", true), supplyPlace("b", true), supplyPlace("c", true), supplyPlace("spare", false)}
	for name, test := range map[string]struct {
		devices    []wire.Device
		totals     string
		incomplete bool
	}{
		"nothing":                          {nil, "", true},
		"ten cents thrice":                 {[]wire.Device{suitable("A", "0.1", "XTS")}, "0.3 XTS 3", false},
		"decimals stay":                    {[]wire.Device{suitable("A", "12.50", "XTS")}, "37.50 XTS 3", false},
		"more digits than a binary number": {[]wire.Device{suitable("A", "999999999999.9999", "XTS")}, "2999999999999.9997 XTS 3", false},
		"free of charge":                   {[]wire.Device{suitable("A", "0", "XTS"), suitable("B", "1", "XTS")}, "0 XTS 3", false},
		"currencies are never mixed":       {[]wire.Device{suitable("A", "2", "XTS"), suitable("B", "1", "XXX"), suitable("C", "1.5", "XTS")}, "4.5 XTS 3; 3 XXX 3", false},
		"without price":                    {[]wire.Device{suitable("A", "", "")}, "", true},
		"without price beside one with":    {[]wire.Device{suitable("A", "", ""), suitable("B", "9.90", "XTS")}, "29.70 XTS 3", false},
	} {
		t.Run(name, func(t *testing.T) {
			m := library(t, test.devices).Match(places, 5)
			var totals []string
			for _, total := range m.Totals {
				n := 0
				for _, item := range total.Items {
					n += item.Quantity
				}
				totals = append(totals, fmt.Sprint(total.Total, " ", total.Currency, " ", n))
			}
			if got := strings.Join(totals, "; "); got != test.totals || m.Incomplete != test.incomplete {
				t.Errorf("%q, incomplete %v", got, m.Incomplete)
			}
			if len(m.Entries[3].Matches) != len(test.devices) {
				t.Errorf("an entry that is not required has %d matches", len(m.Entries[3].Matches))
			}
		})
	}

	// Ends that a set at the same board serves need no device of their own (common practice, no published source).
	served := supplyPlace("served", true)
	served.Entry.ServedBy = "a"
	with := append(slices.Clone(places), served)
	if m := library(t, []wire.Device{suitable("A", "0.1", "XTS")}).Match(with, 5); m.Totals[0].Total != "0.3" || m.Incomplete {
		t.Errorf("with a served end: %+v", m.Totals)
	}
	if m := library(t, nil).Match([]wire.ScheduledPlace{served}, 5); m.Incomplete {
		t.Error("a served end alone makes the match incomplete")
	}

	// One entry without a match makes each sum incomplete and says why.
	other := supplyPlace("other", true)
	other.Entry.UpMax = spd.Some(0.2)
	m := library(t, []wire.Device{suitable("A", "1", "XTS")}).Match(append(places, other), 5)
	if len(m.Totals) != 1 || m.Totals[0].Total != "3" || !m.Totals[0].Incomplete || !m.Incomplete || len(m.Totals[0].Missing) != 1 ||
		m.Totals[0].Missing[0].Line != "other" {
		t.Errorf("%+v", m.Totals)
	}
	if o := m.Entries[4].Obstacle; o == nil || o.Rule != spd.RuleProtectionLevel && o.Rule != spd.RuleHighestUc || o.Met {
		t.Errorf("%+v", o)
	}
}

func TestLibraryThatCannotBeRead(t *testing.T) {
	for _, doc := range []string{"", "{", `{"price": 1}`, `{"reference": "A", "price": "x"}`} {
		_, err := assess.LoadLibrary(1, func(yield func(store.Device, error) bool) { yield(store.Device{ID: "1", Document: []byte(doc)}, nil) })
		if err == nil {
			t.Errorf("%q was read", doc)
		}
	}
	if _, err := assess.LoadLibrary(1, func(yield func(store.Device, error) bool) {
		yield(store.Device{},
			store.ErrUnavailable)
	}); err != store.ErrUnavailable {
		t.Error(err)
	}
}

// BenchmarkMatch stands beside its floor, a pass over the same devices that compares two numbers of each with each entry. Goal:
// 10 000 devices
// and 12 entries within 5 ms. At the worst no device passes and every one has to be asked for every rule.
func BenchmarkMatch(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	devices, places := anyDevices(r, 10_000), anyPlaces(r, 12)
	hopeless := slices.Clone(places)
	for i := range hopeless {
		hopeless[i].Entry.UpMax, hopeless[i].Entry.EffectiveMax = spd.Some(0.01), spd.Some(0.01)
	}
	l := library(b, devices)
	b.Run("match", func(b *testing.B) {
		for b.Loop() {
			l.Match(places, 5)
		}
	})
	b.Run("match where nothing passes", func(b *testing.B) {
		for b.Loop() {
			l.Match(hopeless, 5)
		}
	})
	sheets := make([]spd.Device, len(devices))
	for i := range devices {
		sheets[i] = devices[i].Core()
	}
	b.Run("floor, compare two numbers", func(b *testing.B) {
		n := 0
		for b.Loop() {
			for i := range sheets {
				for k := range places {
					if sheets[i].UcAC.Value >= places[k].Entry.UcMin.Value && sheets[i].Up.Value <= places[k].Entry.UpMax.Value {
						n++
					}
				}
			}
		}
		if n == 0 {
			b.Fatal("nothing compared")
		}
	})
}
