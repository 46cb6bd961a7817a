package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"iter"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"levinward/store"
)

// device is a valid device of an invented maker.
func device(reference string) store.Device {
	return store.Device{ID: newID(), Reference: reference, Name: "name of " + reference, Document: []byte(`{"reference": "` +
		reference + `"}`), UpdatedAt: day}
}

// devicesNamed makes n devices that differ.
func devicesNamed(prefix string, n int) []store.Device {
	all := make([]store.Device, n)
	for i := range all {
		all[i] = device(fmt.Sprintf("%s-%d", prefix, i))
	}
	return all
}

// sequence gives devices and then, unless it is nil, an error.
func sequence(devices []store.Device, err error) iter.Seq2[store.Device, error] {
	return func(yield func(store.Device, error) bool) {
		for _, d := range devices {
			if !yield(d, nil) {
				return
			}
		}
		if err != nil {
			yield(store.Device{}, err)
		}
	}
}

func (s suite) stock(t fataler, devices ...store.Device) {
	t.Helper()
	done, err := s.ImportDevices(s.ctx, s.org, sequence(devices, nil), store.Import{})
	if err != nil || done.Stored != len(devices) {
		t.Fatalf("ImportDevices: %+v, %v", done, err)
	}
}

// inUse demands that exactly these devices are in use, in this order, whole.
func (s suite) inUse(t fataler, want ...store.Device) {
	t.Helper()
	var got []store.Device
	for d, err := range s.EachDevice(s.ctx, s.org) {
		noError(t, err)
		got = append(got, d)
	}
	sameDevices(t, got, want)
	sameDevices(t, s.deviceList(t, store.DeviceFilter{Limit: store.MaxLimit}), want)
}

func sameDevices(t fataler, got, want []store.Device) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%d devices, want %d", len(got), len(want))
	}
	for i := range got {
		if !reflect.DeepEqual(got[i], want[i]) {
			t.Fatalf("device %d is\n%+v\nwant\n%+v", i, got[i], want[i])
		}
	}
}

// deviceList follows the pages to the end.
func (s suite) deviceList(t fataler, f store.DeviceFilter) (all []store.Device) {
	t.Helper()
	for {
		page, err := s.ListDevices(s.ctx, s.org, f)
		noError(t, err)
		all = append(all, page.Devices...)
		if page.Next == "" {
			return all
		}
		f.Cursor = page.Next
	}
}

func (s suite) library(t fataler) int64 {
	t.Helper()
	v, err := s.DeviceLibraryVersion(s.ctx, s.org)
	noError(t, err)
	return v
}

func (s suite) getDevice(t fataler, id string) store.Device {
	t.Helper()
	d, err := s.Device(s.ctx, s.org, id)
	noError(t, err)
	return d
}

func versioned(d store.Device, n int) store.Device {
	d.Version = n
	return d
}

func firstVersions(devices []store.Device) []store.Device {
	devices = slices.Clone(devices)
	for i := range devices {
		devices[i].Version = 1
	}
	return devices
}

func deviceRoundTrip(t *testing.T, s suite) {
	if v := s.library(t); v != 0 {
		t.Fatalf("an empty library has version %d", v)
	}
	s.inUse(t)
	all := devicesNamed("D", 2500) // more than a store holds at a time
	all[0].Reference, all[0].Name = "ß-Ω 'x' \"y\" 日本", ""
	all[1].Document = bytes.Repeat([]byte("x"), store.MaxDeviceDocument)
	all[2].Reference = strings.Repeat("ü", store.MaxReference/2)
	all[3].UpdatedAt = time.Date(2031, 1, 2, 3, 4, 5, 678_900, time.FixedZone("east", 3600))
	all[4].Reference = "d-5" // differs from D-5 in case only
	s.stock(t, all...)
	want := firstVersions(all)
	want[3].UpdatedAt = all[3].UpdatedAt.UTC().Truncate(time.Microsecond)
	s.inUse(t, want...)
	sameDevices(t, []store.Device{s.getDevice(t, strings.ToUpper(all[7].ID))}, want[7:8])
	if v := s.library(t); v != 1 {
		t.Fatalf("after one import the library has version %d", v)
	}
	s.stock(t)
	n := 0
	for range s.EachDevice(s.ctx, s.org) {
		if n++; n == 3 {
			break
		}
	}
	for _, id := range []string{newID(), "", "17", "'; --"} {
		_, err := s.Device(s.ctx, s.org, id)
		is(t, err, store.ErrNotFound)
		missing := device("x")
		missing.ID = id
		_, err = s.ReplaceDevice(s.ctx, s.org, missing, 1)
		is(t, err, store.ErrNotFound)
		is(t, s.WithdrawDevice(s.ctx, s.org, id, 1, day), store.ErrNotFound)
	}
}

// takenIn runs an import and lists the places of what was taken.
func (s suite) takenIn(devices []store.Device, how store.Import) (places []int, done store.Imported, err error) {
	how.Taken = func(n int, d store.Device) {
		if d.ID != devices[n].ID {
			n = -1
		}
		places = append(places, n)
	}
	done, err = s.ImportDevices(s.ctx, s.org, sequence(devices, nil), how)
	return places, done, err
}

func takenReferences(t *testing.T, s suite) {
	stocked := devicesNamed("D", 3)
	s.stock(t, stocked...)
	before := s.library(t)

	more := devicesNamed("E", 2300)
	more[5].Reference = "D-1"      // in use
	more[7].Reference = "E-6"      // twice in one part
	more[2200].Reference = "E-100" // twice in two parts
	more[2299].Reference = "D-2"
	places, done, err := s.takenIn(more, store.Import{})
	is(t, err, store.ErrReferenceTaken)
	want := []int{5, 7, 2200, 2299}
	if !slices.Equal(places, want) || done != (store.Imported{Taken: 4}) {
		t.Fatalf("taken %v, %+v", places, done)
	}
	s.inUse(t, firstVersions(stocked)...)
	if after := s.library(t); after != before {
		t.Fatalf("the library went from version %d to %d, though nothing was stored", before, after)
	}

	places, done, err = s.takenIn(more, store.Import{Partial: true, Probe: true})
	noError(t, err)
	if !slices.Equal(places, want) || done != (store.Imported{Taken: 4}) {
		t.Fatalf("probe: taken %v, %+v", places, done)
	}
	s.inUse(t, firstVersions(stocked)...)

	places, done, err = s.takenIn(more, store.Import{Partial: true})
	noError(t, err)
	if !slices.Equal(places, want) || done != (store.Imported{Stored: 2296, Taken: 4}) {
		t.Fatalf("taken %v, %+v", places, done)
	}
	kept := slices.Concat(stocked, more[:5], more[6:7], more[8:2200], more[2201:2299])
	s.inUse(t, firstVersions(kept)...)
}

func replacedReferences(t *testing.T, s suite) {
	stocked := devicesNamed("D", 3)
	s.stock(t, stocked...)
	more := devicesNamed("E", 1500)
	for i, reference := range map[int]string{0: "D-2", 9: "D-2", 1400: "D-2", 1401: "E-1"} {
		more[i].Reference = reference
	}
	places, done, err := s.takenIn(more, store.Import{Replace: true})
	is(t, err, store.ErrReferenceTaken)
	if want := []int{9, 1400, 1401}; !slices.Equal(places, want) || done.Taken != 3 {
		t.Fatalf("taken %v, %+v", places, done)
	}
	s.inUse(t, firstVersions(stocked)...)

	places, done, err = s.takenIn(more, store.Import{Replace: true, Partial: true})
	noError(t, err)
	if len(places) != 3 || done != (store.Imported{Stored: 1496, Replaced: 1, Taken: 3}) {
		t.Fatalf("taken %v, %+v", places, done)
	}
	want := firstVersions(slices.Concat(stocked, more[1:9], more[10:1400], more[1402:]))
	replaced := more[0]
	replaced.ID, replaced.Version = stocked[2].ID, 2
	want[2] = replaced
	s.inUse(t, want...)

	// What was withdrawn is not replaced.
	noError(t, s.WithdrawDevice(s.ctx, s.org, stocked[0].ID, 1, day))
	again := device("D-0")
	_, done, err = s.takenIn([]store.Device{again}, store.Import{Replace: true})
	if err != nil || done.Stored != 1 {
		t.Fatalf("%+v, %v", done, err)
	}
	sameDevices(t, []store.Device{s.getDevice(t, again.ID)}, []store.Device{versioned(again, 1)})
}

// importsThatFail ends imports in every way that leaves nothing.
func importsThatFail(t *testing.T, s suite) {
	kept := device("kept")
	s.stock(t, kept)
	before := s.library(t)
	nothing := func() {
		t.Helper()
		s.inUse(t, versioned(kept, 1))
		if after := s.library(t); after != before {
			t.Fatalf("the library went from version %d to %d", before, after)
		}
	}
	all := devicesNamed("D", 2400)

	broken := errors.New("the last row is broken")
	_, err := s.ImportDevices(s.ctx, s.org, sequence(all, broken), store.Import{Partial: true})
	is(t, err, broken)
	nothing()

	faulty := slices.Clone(all)
	faulty[2399].Reference = "a\x00"
	_, err = s.ImportDevices(s.ctx, s.org, sequence(faulty, nil), store.Import{})
	is(t, err, store.ErrInvalid)
	nothing()

	twice := slices.Clone(all)
	twice[2300].ID = twice[3].ID
	_, err = s.ImportDevices(s.ctx, s.org, sequence(twice, nil), store.Import{})
	is(t, err, store.ErrExists)
	nothing()

	ctx, cancel := context.WithCancel(s.ctx)
	_, err = s.ImportDevices(ctx, s.org, func(yield func(store.Device, error) bool) {
		for i, d := range all {
			if i == 2000 {
				cancel()
			}
			if !yield(d, nil) {
				return
			}
		}
	}, store.Import{})
	is(t, err, context.Canceled)
	nothing()
	_, err = s.ImportDevices(ctx, s.org, sequence(all, nil), store.Import{})
	is(t, err, context.Canceled)
	nothing()

	_, err = s.ImportDevices(s.ctx, store.Organisation(newID()), sequence(all, nil), store.Import{})
	is(t, err, store.ErrNotFound)
	_, err = s.ImportDevices(s.ctx, "nobody", sequence(all, nil), store.Import{})
	is(t, err, store.ErrNotFound)

	s.stock(t, all...) // and after all that, all of them
	s.inUse(t, append([]store.Device{versioned(kept, 1)}, firstVersions(all)...)...)
}

func faultyDevices(t *testing.T, s suite) {
	kept := device("kept")
	s.stock(t, kept)
	for _, test := range []struct {
		fault string
		spoil func(*store.Device)
	}{
		{"reference", func(d *store.Device) { d.Reference = "" }},
		{"reference", func(d *store.Device) { d.Reference = strings.Repeat("x", store.MaxReference+1) }},
		{"reference", func(d *store.Device) { d.Reference = "\xff" }},
		{"name", func(d *store.Device) { d.Name = "a\x00b" }},
		{"name", func(d *store.Device) { d.Name = strings.Repeat("x", store.MaxText+1) }},
		{"document", func(d *store.Device) { d.Document = nil }},
		{"document", func(d *store.Device) { d.Document = make([]byte, store.MaxDeviceDocument+1) }},
		{"time", func(d *store.Device) { d.UpdatedAt = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) }},
	} {
		d := device("refused")
		test.spoil(&d)
		_, err := s.ImportDevices(s.ctx, s.org, sequence([]store.Device{d}, nil), store.Import{Partial: true})
		is(t, err, store.ErrInvalid)
		if !strings.Contains(err.Error(), test.fault) {
			t.Errorf("error does not name %s: %.300v", test.fault, err)
		}
		d.ID = kept.ID
		_, err = s.ReplaceDevice(s.ctx, s.org, d, 1)
		is(t, err, store.ErrInvalid)
		s.inUse(t, versioned(kept, 1))
	}
	d := device("x")
	d.ID = "17"
	_, err := s.ImportDevices(s.ctx, s.org, sequence([]store.Device{d}, nil), store.Import{})
	is(t, err, store.ErrInvalid)
}

func deviceVersions(t *testing.T, s suite) {
	a, b := device("A"), device("B")
	s.stock(t, a, b)
	next := device("A-2")
	next.ID, next.UpdatedAt = a.ID, day.Add(time.Hour)
	stored, err := s.ReplaceDevice(s.ctx, s.org, next, 1)
	noError(t, err)
	sameDevices(t, []store.Device{stored}, []store.Device{versioned(next, 2)})
	s.inUse(t, versioned(next, 2), versioned(b, 1))
	if v := s.library(t); v != 2 {
		t.Fatalf("library version %d", v)
	}

	for _, expected := range []int{1, 3, 0, -1} {
		_, err = s.ReplaceDevice(s.ctx, s.org, next, expected)
		is(t, err, store.ErrConflict)
		var conflict *store.ConflictError
		if !errors.As(err, &conflict) || conflict.Current != 2 {
			t.Fatalf("conflict: %v", err)
		}
		is(t, s.WithdrawDevice(s.ctx, s.org, a.ID, expected, day), store.ErrConflict)
	}
	next.Reference = "B"
	_, err = s.ReplaceDevice(s.ctx, s.org, next, 2)
	is(t, err, store.ErrReferenceTaken)
	if v := s.library(t); v != 2 {
		t.Fatalf("library version %d after refusals", v)
	}

	at := day.Add(2 * time.Hour)
	noError(t, s.WithdrawDevice(s.ctx, s.org, b.ID, 1, at))
	withdrawn := versioned(b, 2)
	withdrawn.WithdrawnAt = at
	sameDevices(t, []store.Device{s.getDevice(t, b.ID)}, []store.Device{withdrawn})
	sameDevices(t, s.deviceList(t, store.DeviceFilter{Withdrawn: true}), []store.Device{withdrawn})
	is(t, s.WithdrawDevice(s.ctx, s.org, b.ID, 2, at), store.ErrWithdrawn)
	b.Reference = "C"
	_, err = s.ReplaceDevice(s.ctx, s.org, b, 2)
	is(t, err, store.ErrWithdrawn)
	_, err = s.ReplaceDevice(s.ctx, s.org, next, 2) // its reference is free now
	noError(t, err)
	s.inUse(t, versioned(next, 3))
}

// deviceRace lets many change one device, and many import the same references.
func deviceRace(t *testing.T, s suite) {
	d := device("D")
	s.stock(t, d)
	const n = 12
	errs := make([]error, n)
	together(n, func(i int) {
		next := d
		next.Name = fmt.Sprint(i)
		_, errs[i] = s.ReplaceDevice(s.ctx, s.org, next, 1)
	})
	won := 0
	for i, err := range errs {
		if err == nil {
			won++
			if got := s.getDevice(t, d.ID); got.Name != fmt.Sprint(i) || got.Version != 2 {
				t.Fatalf("%+v", got)
			}
			continue
		}
		is(t, err, store.ErrConflict)
	}
	if won != 1 {
		t.Fatalf("%d changed version 1", won)
	}
	together(n, func(i int) {
		all := devicesNamed("R", 50)
		if i%2 == 1 {
			slices.Reverse(all) // another order of the same references
		}
		_, errs[i] = s.ImportDevices(s.ctx, s.org, sequence(all, nil), store.Import{Replace: i%3 == 0})
	})
	stored := 0
	for i, err := range errs {
		if err == nil {
			stored++
		} else if i%3 == 0 {
			t.Fatalf("import that replaces: %v", err)
		} else {
			is(t, err, store.ErrReferenceTaken)
		}
	}
	if got := s.deviceList(t, store.DeviceFilter{}); stored < n/3 || len(got) != 51 {
		t.Fatalf("%d imports stored %d devices", stored, len(got))
	}
}

func devicePages(t *testing.T, s suite) {
	all := devicesNamed("D", 60)
	s.stock(t, all...)
	want := firstVersions(all)
	for _, limit := range []int{0, 1, 7, 59, 60, 61, 10_000} {
		sameDevices(t, s.deviceList(t, store.DeviceFilter{Limit: limit}), want)
	}
	page, err := s.ListDevices(s.ctx, s.org, store.DeviceFilter{Limit: 10})
	noError(t, err)
	good := page.Next
	for _, d := range all[8:12] { // the place of the cursor among them
		noError(t, s.WithdrawDevice(s.ctx, s.org, d.ID, 1, day))
	}
	late := device("late")
	s.stock(t, late)
	rest := s.deviceList(t, store.DeviceFilter{Limit: 7, Cursor: good})
	sameDevices(t, rest, append(slices.Clone(want[12:]), versioned(late, 1)))
	if got := s.deviceList(t, store.DeviceFilter{Limit: 3, Withdrawn: true}); len(got) != 4 {
		t.Fatalf("%d withdrawn", len(got))
	}
	for _, cursor := range []string{"x", " ", good + "A", good[1:], good + "=", good + "\n", strings.Repeat("A", 1<<20)} {
		_, err := s.ListDevices(s.ctx, s.org, store.DeviceFilter{Cursor: cursor})
		is(t, err, store.ErrBadCursor)
	}
}

func devicesByText(t *testing.T, s suite) {
	for reference, name := range map[string]string{"AB-1": "Type II, 275 V", "ab-2": "100% 'x'", "Q_3": "ÄRGER", "Q4": "Straße"} {
		d := device(reference)
		d.Name = name
		s.stock(t, d)
	}
	for query, want := range map[string]int{"": 4, "ab-": 2, "AB-1": 1, "275 v": 1, "%": 1, "_": 1, "q_": 1, "ärg": 1, "'": 1,
		"straSSe": 0, "zz": 0, "\\": 0} {
		if got := s.deviceList(t, store.DeviceFilter{Query: query}); len(got) != want {
			t.Errorf("%q: %d devices, want %d", query, len(got), want)
		}
	}
	for _, query := range []string{"\x00", "\xff", strings.Repeat("x", store.MaxText+1)} {
		_, err := s.ListDevices(s.ctx, s.org, store.DeviceFilter{Query: query})
		is(t, err, store.ErrInvalid)
	}
}

func deviceOwners(t *testing.T, s suite) {
	other := suite{s.Store, s.ctx, store.Organisation(newID())}
	noError(t, s.AddOrganisation(s.ctx, other.org, "Other"))
	mine, theirs := device("D"), device("D")
	theirs.ID, theirs.Name = mine.ID, "theirs" // the same id and reference on both sides
	s.stock(t, mine)
	other.stock(t, theirs)
	s.inUse(t, versioned(mine, 1))
	other.inUse(t, versioned(theirs, 1))
	noError(t, s.WithdrawDevice(s.ctx, s.org, mine.ID, 1, day))
	other.inUse(t, versioned(theirs, 1))
	if a, b := s.library(t), other.library(t); a != 2 || b != 1 {
		t.Fatalf("library versions %d, %d", a, b)
	}
	for _, org := range []store.Organisation{store.Organisation(newID()), "", "nobody"} {
		stranger := suite{s.Store, s.ctx, org}
		stranger.inUse(t)
		_, err := s.Device(s.ctx, org, mine.ID)
		is(t, err, store.ErrNotFound)
		is(t, s.WithdrawDevice(s.ctx, org, mine.ID, 2, day), store.ErrNotFound)
		if v := stranger.library(t); v != 0 {
			t.Fatalf("library of a stranger has version %d", v)
		}
	}
}

// devicesLikeMap runs random sequences of calls and compares with a plain list.
func devicesLikeMap(t *testing.T, all suite) {
	rapid.Check(t, func(t *rapid.T) {
		s := suite{all.Store, all.ctx, store.Organisation(newID())}
		noError(t, s.AddOrganisation(s.ctx, s.org, "rapid"))
		var model []store.Device // in use and withdrawn, by id
		inUse := func(reference string) int {
			return slices.IndexFunc(model, func(d store.Device) bool { return d.Reference == reference && d.WithdrawnAt.IsZero() })
		}
		reference := rapid.SampledFrom([]string{"a", "b", "c", "d", "e", "f"})
		t.Repeat(map[string]func(*rapid.T){
			"import": func(t *rapid.T) {
				var devices []store.Device
				for _, r := range rapid.SliceOfN(reference, 0, 6).Draw(t, "references") {
					devices = append(devices, device(r))
				}
				how := store.Import{Replace: rapid.Bool().Draw(t, "replace"), Partial: rapid.Bool().Draw(t, "partial")}
				after := slices.Clone(model)
				seen := map[string]bool{}
				taken := 0
				for _, d := range devices {
					i := slices.IndexFunc(after, func(o store.Device) bool { return o.Reference == d.Reference && o.WithdrawnAt.IsZero() })
					switch {
					case i < 0:
						after = append(after, versioned(d, 1))
					case how.Replace && !seen[d.Reference]:
						d.ID, d.Version = after[i].ID, after[i].Version+1
						after[i] = d
					default:
						taken++
					}
					seen[d.Reference] = true
				}
				done, err := s.ImportDevices(s.ctx, s.org, sequence(devices, nil), how)
				if taken > 0 && !how.Partial {
					is(t, err, store.ErrReferenceTaken)
				} else {
					noError(t, err)
					model = after
				}
				if done.Taken != taken {
					t.Fatalf("%d taken, want %d", done.Taken, taken)
				}
			},
			"replace": func(t *rapid.T) {
				if len(model) == 0 {
					t.Skip()
				}
				i := rapid.IntRange(0, len(model)-1).Draw(t, "device")
				expected := model[i].Version - rapid.IntRange(0, 1).Draw(t, "outdated")
				d := device(reference.Draw(t, "reference"))
				d.ID = model[i].ID
				_, err := s.ReplaceDevice(s.ctx, s.org, d, expected)
				switch other := inUse(d.Reference); {
				case !model[i].WithdrawnAt.IsZero():
					is(t, err, store.ErrWithdrawn)
				case expected != model[i].Version:
					is(t, err, store.ErrConflict)
				case other >= 0 && other != i:
					is(t, err, store.ErrReferenceTaken)
				default:
					noError(t, err)
					model[i] = versioned(d, expected+1)
				}
			},
			"withdraw": func(t *rapid.T) {
				if len(model) == 0 {
					t.Skip()
				}
				i := rapid.IntRange(0, len(model)-1).Draw(t, "device")
				err := s.WithdrawDevice(s.ctx, s.org, model[i].ID, model[i].Version, day)
				if !model[i].WithdrawnAt.IsZero() {
					is(t, err, store.ErrWithdrawn)
					return
				}
				noError(t, err)
				model[i].Version++
				model[i].WithdrawnAt = day
			},
			"": func(t *rapid.T) {
				var now []store.Device
				for _, d := range model {
					if d.WithdrawnAt.IsZero() {
						now = append(now, d)
					}
					sameDevices(t, []store.Device{s.getDevice(t, d.ID)}, []store.Device{d})
				}
				s.inUse(t, now...)
			},
		})
	})
}

func closedLibrary(t *testing.T, s suite) {
	d := device("D")
	s.stock(t, d)
	noError(t, s.Close())
	_, get := s.Device(s.ctx, s.org, d.ID)
	_, list := s.ListDevices(s.ctx, s.org, store.DeviceFilter{})
	_, replace := s.ReplaceDevice(s.ctx, s.org, d, 1)
	_, version := s.DeviceLibraryVersion(s.ctx, s.org)
	_, load := s.ImportDevices(s.ctx, s.org, sequence([]store.Device{device("E")}, nil), store.Import{})
	var each error
	for _, each = range s.EachDevice(s.ctx, s.org) {
	}
	for i, err := range []error{get, list, replace, version, load, each, s.WithdrawDevice(s.ctx, s.org, d.ID, 1, day)} {
		if !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("call %d: %v", i, err)
		}
	}
}
