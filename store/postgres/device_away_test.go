package postgres

import (
	"errors"
	"testing"
	"time"

	"github.com/google/uuid"

	"levinward/store"
	"levinward/store/storetest"
)

func sheet() store.Device {
	return store.Device{ID: uuid.Must(uuid.NewV7()).String(), Reference: uuid.NewString(), Document: []byte("{}"), UpdatedAt: time.Now()}
}

// load imports n devices and calls between in the middle.
func load(t *testing.T, s *Store, n int, between func()) error {
	_, err := s.ImportDevices(t.Context(), store.Local, func(yield func(store.Device, error) bool) {
		for i := range n {
			if i == n/2 {
				between()
			}
			if !yield(sheet(), nil) {
				return
			}
		}
	}, store.Import{})
	return err
}

func nothing() {}

// everyDeviceCall demands that all methods find the database unavailable.
func everyDeviceCall(t *testing.T, s *Store, d store.Device) {
	t.Helper()
	ctx := t.Context()
	_, get := s.Device(ctx, store.Local, d.ID)
	_, list := s.ListDevices(ctx, store.Local, store.DeviceFilter{})
	_, replace := s.ReplaceDevice(ctx, store.Local, d, 1)
	_, version := s.DeviceLibraryVersion(ctx, store.Local)
	var each error
	for _, each = range s.EachDevice(ctx, store.Local) {
	}
	for i, err := range []error{load(t, s, 2, nothing), get, list, replace, version, each, s.WithdrawDevice(ctx, store.Local, d.ID, 1,
		time.Now())} {
		if !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("call %d: %v", i, err)
		}
	}
}

// An import whose network breaks or falls silent in the middle ends with ErrUnavailable and leaves nothing.
func TestNetworkBreaksDuringImport(t *testing.T) {
	gate := storetest.NewGate(t, storetest.Postgres(t))
	s := open(t, gate.URL)
	s.patience = 500 * time.Millisecond
	for name, away := range map[string]func(){"cut": gate.Cut, "silent": gate.Silence} {
		if err := load(t, s, 5000, away); !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("%s: %v", name, err)
		}
		everyDeviceCall(t, s, sheet())
		gate.Restore()
		s.patience = 10 * time.Second
		var page store.DevicePage
		var err error
		for range connections + 1 { // until the pool has noticed that its connections are gone
			if page, err = s.ListDevices(t.Context(), store.Local, store.DeviceFilter{}); err == nil {
				break
			}
		}
		if err != nil || len(page.Devices) != 0 {
			t.Errorf("%s: %d devices are left, %v", name, len(page.Devices), err)
		}
		s.patience = 500 * time.Millisecond
	}
	s.patience = 10 * time.Second
	if err := load(t, s, 5000, nothing); err != nil {
		t.Error(err)
	}
}
