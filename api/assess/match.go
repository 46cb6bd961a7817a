package assess

import (
	"cmp"
	"encoding/json"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"levinward/api/wire"
	"levinward/risk/spd"
	"levinward/store"
)

// Library are the devices of an organisation, ready to be matched with schedules.
// It never changes, so many requests may use it at once.
type Library struct {
	Version    int64
	currencies []wire.Currency // in alphabetical order
	// What is asked of every device at every match stands apart from the rest.
	// Both are in the order of currency, price and reference, devices without a price last.
	sheets  []spd.Device
	offered []offer
}

// offer is a device with its price.
type offer struct {
	device wire.MatchedDevice
	amount decimal.Decimal
	group  int // of the currency; the number of currencies where there is no price
}

// LoadLibrary reads the documents of devices.
func LoadLibrary(version int64, devices iter.Seq2[store.Device, error]) (*Library, error) {
	l := &Library{Version: version}
	var sheets []spd.Device
	for d, err := range devices {
		if err != nil {
			return nil, err
		}
		var doc wire.Device
		if err := json.Unmarshal(d.Document, &doc); err != nil {
			return nil, fmt.Errorf("device %s: %w", d.ID, err)
		}
		o := offer{device: wire.MatchedDevice{ID: d.ID, Reference: doc.Reference, Name: doc.Name, Price: doc.Price, Currency: doc.Currency}}
		if doc.Price != nil {
			if o.amount, err = decimal.NewFromString(string(*doc.Price)); err != nil {
				return nil, fmt.Errorf("device %s: %w", d.ID, err)
			}
			if !slices.Contains(l.currencies, *doc.Currency) {
				l.currencies = append(l.currencies, *doc.Currency)
			}
		}
		sheets, l.offered = append(sheets, doc.Core()), append(l.offered, o)
	}
	l.sort(sheets)
	return l, nil
}

// sort brings the devices into their order.
func (l *Library) sort(sheets []spd.Device) {
	slices.Sort(l.currencies)
	order := make([]int, len(l.offered))
	for i := range l.offered {
		o := &l.offered[i]
		order[i], o.group = i, len(l.currencies)
		if o.device.Currency != nil {
			o.group = slices.Index(l.currencies, *o.device.Currency)
		}
	}
	slices.SortFunc(order, func(i, j int) int {
		a, b := &l.offered[i], &l.offered[j]
		return cmp.Or(cmp.Compare(a.group, b.group), a.amount.Cmp(b.amount), strings.Compare(a.device.Reference, b.device.Reference))
	})
	offered := make([]offer, len(order))
	l.sheets = make([]spd.Device, len(order))
	for i, from := range order {
		offered[i], l.sheets[i] = l.offered[from], sheets[from]
	}
	l.offered = offered
}

// Devices is how many devices there are.
func (l *Library) Devices() int { return len(l.offered) }

// nearestMost is how many of the devices that do not pass are named.
const nearestMost = 3

// tally is what one entry of a schedule has met so far.
type tally struct {
	place   *wire.ScheduledPlace
	need    spd.Need
	passing int
	named   []int // devices to be named, cheapest first
	perHead []int // how many of them in each currency, and without price
	chosen  []int // the cheapest in each currency, -1 for none
	nearest []near
	limit   int // a device that fails so many rules is none of the nearest
}

type near struct{ device, failed int }

func (l *Library) tallies(places []wire.ScheduledPlace) []tally {
	all := make([]tally, len(places))
	for i := range all {
		all[i] = tally{place: &places[i], need: spd.NeedOf(&places[i].Entry), limit: int(spd.Rules) + 1,
			perHead: make([]int, len(l.currencies)+1), chosen: make([]int, len(l.currencies))}
		for c := range all[i].chosen {
			all[i].chosen[c] = -1
		}
	}
	return all
}

// Match finds, for each entry of a schedule, the devices that pass every rule their data
// sheet can decide, cheapest first: at most so many of each currency and of
// those without a price.
func (l *Library) Match(places []wire.ScheduledPlace, most int) *wire.Matching {
	tallies := l.tallies(places)
	for i := range l.sheets { // each device once for all entries: there are many devices and few entries
		for k := range tallies {
			t := &tallies[k]
			if ok, _ := l.sheets[i].Meets(&t.need); ok {
				t.pass(i, l.offered[i].group, most)
			} else if t.limit > 1 { // three that fail one rule cannot be bettered
				t.fail(i, l.sheets[i].Failures(&t.need).Len())
			}
		}
	}
	m := &wire.Matching{LibraryVersion: int(l.Version), Devices: l.Devices(), Entries: make([]wire.EntryMatch, len(tallies)),
		Cautions: matchCautions}
	for k := range tallies {
		m.Entries[k] = l.entry(&tallies[k])
	}
	m.Totals, m.Incomplete = l.totals(tallies)
	return m
}

func (t *tally) pass(device, group, most int) {
	t.passing++
	if group < len(t.chosen) && t.chosen[group] < 0 {
		t.chosen[group] = device
	}
	if t.perHead[group] < most {
		t.perHead[group]++
		t.named = append(t.named, device)
	}
}

// fail keeps the devices that fail the fewest rules; among equals the cheaper, which come first.
func (t *tally) fail(device, failed int) {
	if failed >= t.limit {
		return
	}
	at := len(t.nearest)
	for at > 0 && t.nearest[at-1].failed > failed {
		at--
	}
	t.nearest = slices.Insert(t.nearest, at, near{device, failed})
	if len(t.nearest) > nearestMost {
		t.nearest = t.nearest[:nearestMost]
	}
	if len(t.nearest) == nearestMost {
		t.limit = t.nearest[nearestMost-1].failed
	}
}

func (l *Library) entry(t *tally) wire.EntryMatch {
	p := t.place
	w := wire.EntryMatch{Line: p.Line, Structure: p.Structure, Position: p.Entry.Position, Required: p.Entry.Required,
		EarthFirst: p.EarthFirst,
		Passing:    t.passing, Matches: make([]wire.MatchedDevice, len(t.named)), Nearest: make([]wire.NearestDevice, len(t.nearest))}
	for i, n := range t.named {
		w.Matches[i] = l.offered[n].device
	}
	for i, n := range t.nearest {
		w.Nearest[i] = wire.NearestDevice{MatchedDevice: l.offered[n.device].device, Reasons: reasons(&l.sheets[n.device], t)}
	}
	if t.passing == 0 && len(l.sheets) > 0 {
		w.Obstacle = l.obstacle(t)
	}
	return w
}

// reasons are the rules that keep a device from passing, in words.
func reasons(d *spd.Device, t *tally) []wire.Finding {
	failed := d.Failures(&t.need)
	list := []wire.Finding{}
	for _, f := range spd.Check(d, &spd.Place{Entry: &t.place.Entry}).Findings {
		if failed.Has(f.Rule) && f.Verdict != spd.Suitable {
			list = append(list, wire.Finding(f))
		}
	}
	return list
}

// obstacle is the requirement that excludes the most devices, the first of several.
func (l *Library) obstacle(t *tally) *wire.Obstacle {
	var excluded, example [spd.Rules]int
	for i := len(l.sheets) - 1; i >= 0; i-- {
		failed := l.sheets[i].Failures(&t.need)
		for r := range spd.Rules {
			if failed.Has(r) {
				excluded[r]++
				example[r] = i
			}
		}
	}
	worst := spd.Rule(0)
	for r := range spd.Rules {
		if excluded[r] > excluded[worst] {
			worst = r
		}
	}
	o := &wire.Obstacle{Rule: worst, Excluded: excluded[worst], Met: excluded[worst] < len(l.sheets)}
	for _, f := range reasons(&l.sheets[example[worst]], t) {
		if f.Rule == worst {
			o.Required = f.Required
			break
		}
	}
	o.Outcome = fmt.Sprintf("No device of the library meets %s: required is %s.", worst, o.Required)
	if o.Met {
		o.Outcome = fmt.Sprintf("Each requirement is met by some device, but no device meets all; most, %d of %d, do not meet %s: "+
			"required is %s.", o.Excluded, len(l.sheets), worst, o.Required)
	}
	return o
}

// totals adds up, for each currency, the cheapest device of every required
// entry that is not served by the devices of another. It is incomplete where no sum has a price for each of them.
func (l *Library) totals(tallies []tally) (totals []wire.MatchTotal, incomplete bool) {
	totals = []wire.MatchTotal{}
	for k := range tallies {
		incomplete = incomplete || tallies[k].place.Counts()
	}
	for c := range l.currencies {
		total := l.total(tallies, c)
		if len(total.Items) > 0 {
			totals = append(totals, total)
			incomplete = incomplete && total.Incomplete
		}
	}
	return totals, incomplete
}

func (l *Library) total(tallies []tally, c int) wire.MatchTotal {
	w := wire.MatchTotal{Currency: l.currencies[c], Items: []wire.MatchItem{}, Missing: []wire.MissingDevice{}}
	quantity := map[int]int{}
	for k := range tallies {
		t := &tallies[k]
		p := t.place
		switch {
		case !p.Counts():
		case t.chosen[c] >= 0:
			quantity[t.chosen[c]]++
		default:
			w.Missing = append(w.Missing, wire.MissingDevice{Line: p.Line, Structure: p.Structure, Position: p.Entry.Position, Reason: t.missing()})
		}
	}
	var sum decimal.Decimal
	decimals := int32(0)
	for _, device := range slices.Sorted(maps.Keys(quantity)) {
		o, n := &l.offered[device], quantity[device]
		amount := o.amount.Mul(decimal.NewFromInt(int64(n)))
		own := -o.amount.Exponent()
		sum, decimals = sum.Add(amount), max(decimals, own)
		w.Items = append(w.Items, wire.MatchItem{ID: o.device.ID, Reference: o.device.Reference, Quantity: n, UnitPrice: *o.device.Price,
			Amount: wire.Price(amount.StringFixed(own))})
	}
	w.Total, w.Incomplete = wire.Price(sum.StringFixed(decimals)), len(w.Missing) > 0
	return w
}

// missing says why an entry has no price in a currency.
func (t *tally) missing() string {
	switch {
	case t.passing == 0:
		return "no device of the library passes"
	case slices.ContainsFunc(t.chosen, func(n int) bool { return n >= 0 }):
		return "the devices that pass have their price in another currency, or none"
	}
	return "the devices that pass have no price"
}
