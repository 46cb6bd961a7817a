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
