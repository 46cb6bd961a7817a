package storetest

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"levinward/store"
)

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
