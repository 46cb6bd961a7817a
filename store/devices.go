package store

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"time"
)

// Limits of what a device may hold.
const (
	MaxReference      = 1024     // bytes of a maker's reference; a row of its index has to fit a page
	MaxDeviceDocument = 64 << 10 // bytes
)

// What can go wrong with devices, beside the errors of assessments.
var (
	ErrReferenceTaken = errors.New("another device has this reference")
	ErrWithdrawn      = errors.New("the device was withdrawn")
)

// Device is a surge protective device in the library of an organisation.
type Device struct {
	ID        string // UUID chosen by the caller (version 7)
	Version   int    // 1, 2, 3 … set by the store
	Reference string // the maker's; no two devices in use share one
	Name      string // may be empty
	Document  []byte // JSON; comes back byte for byte

	UpdatedAt   time.Time // kept in UTC to the microsecond
	WithdrawnAt time.Time // zero: in use
}

// Import says how devices come into a library.
type Import struct {
	// Replace lets a device take the place of the one in use that has its
	// reference: it keeps the id of that one and becomes its next version.
	// Otherwise a reference that is in use is taken.
	Replace bool
	// Partial keeps the others when references are taken.
	Partial bool
	// Probe stores nothing and only finds what would be taken.
	Probe bool
	// Taken is told of each device whose reference is taken, with its place in
	// the sequence from 0, in order. A reference that stands twice in the
	// sequence is taken the second time, with Replace as well.
	Taken func(n int, d Device)
}

// Imported says what an import did. After ErrReferenceTaken or a probe only Taken counts.
type Imported struct{ Stored, Replaced, Taken int }

// DeviceFilter chooses devices for DeviceLibrary.ListDevices.
type DeviceFilter struct {
	Limit     int    // as in Filter
	Cursor    string // DevicePage.Next of the page before; empty: first page
	Query     string // as in Filter
	Withdrawn bool   // the withdrawn devices instead of those in use
}

// DevicePage is a part of a list. Next is empty on the last one.
type DevicePage struct {
	Devices []Device
	Next    string
}

// DeviceLibrary keeps the devices of organisations. The rules of Store hold.
type DeviceLibrary interface {
	// ImportDevices stores all devices of a sequence, or none: an error of the
	// sequence ends the import and is returned. It holds only a small part of
	// them at a time, and keeps other changes of the library waiting, so the
	// sequence should be at hand. ErrReferenceTaken: unless Import.Partial,
	// when a reference was taken and all of the sequence was seen.
	ImportDevices(ctx context.Context, org Organisation, devices iter.Seq2[Device, error], how Import) (Imported, error)

	// Device returns one device, withdrawn or not; ErrNotFound.
	Device(ctx context.Context, org Organisation, id string) (Device, error)

	// ReplaceDevice stores d as version expected+1 of the device d.ID. When the
	// newest version is not expected, the error is a *ConflictError.
	// ErrNotFound, ErrWithdrawn, ErrReferenceTaken.
	ReplaceDevice(ctx context.Context, org Organisation, d Device, expected int) (Device, error)

	// WithdrawDevice takes a device out of use and frees its reference. It can
	// still be read. *ConflictError as above, ErrNotFound, ErrWithdrawn.
	WithdrawDevice(ctx context.Context, org Organisation, id string, expected int, at time.Time) error

	// ListDevices returns devices, the one stored first first. Paging is as
	// steady as that of Store.List.
	ListDevices(ctx context.Context, org Organisation, f DeviceFilter) (DevicePage, error)

	// EachDevice goes through all devices in use, in the order of their ids,
	// holding only a small part of them. A device that is changed meanwhile
	// comes once, as it was or as it is. An error ends the sequence.
	EachDevice(ctx context.Context, org Organisation) iter.Seq2[Device, error]

	// DeviceLibraryVersion counts the changes of the library: while it stays the same,
	// EachDevice gives the same. 0: nothing was ever stored.
	DeviceLibraryVersion(ctx context.Context, org Organisation) (int64, error)
}

// Normalise brings a device into the form in which both databases keep it and
// refuses, with every fault named, what one of them could not keep unchanged.
// The error is ErrInvalid.
func (d *Device) Normalise() error {
	var faults []error
	id, ok := CanonicalID(d.ID)
	if !ok {
		faults = append(faults, fmt.Errorf("id %.40q: not a UUID", d.ID))
	}
	d.ID = id
	d.UpdatedAt = d.UpdatedAt.UTC().Truncate(time.Microsecond)
	d.WithdrawnAt = time.Time{}
	if d.Reference == "" {
		faults = append(faults, errors.New("reference: empty"))
	}
	faults = append(faults, checkText("reference", d.Reference, MaxReference), checkText("name", d.Name, MaxText))
	if n := len(d.Document); n == 0 || n > MaxDeviceDocument {
		faults = append(faults, fmt.Errorf("document: %d bytes, 1 to %d are allowed", n, MaxDeviceDocument))
	}
	if !validTime(d.UpdatedAt) {
		faults = append(faults, fmt.Errorf("time %v: not in the years 1 to 9999", d.UpdatedAt))
	}
	return invalid(faults...)
}

// Normalise sets the limit, prepares the query for comparison with Fold and
// reads the cursor: the id of the last device seen, empty on the first page.
// ErrInvalid, ErrBadCursor.
func (f *DeviceFilter) Normalise() (after string, err error) {
	f.Limit = pageLimit(f.Limit)
	if err := invalid(checkText("query", f.Query, MaxText)); err != nil {
		return "", err
	}
	f.Query = Fold(f.Query)
	return idListStart(f.Cursor)
}

// Bounds of the devices that a store holds at a time.
const (
	batchRows  = 1000
	batchBytes = 1 << 20
)

// Batches cuts a sequence into parts that fit into memory, each device
// normalised. It stops at the first error of the sequence, of ctx or of a device.
func Batches(ctx context.Context, devices iter.Seq2[Device, error]) iter.Seq2[[]Device, error] {
	return func(yield func([]Device, error) bool) {
		var batch []Device
		size := 0
		for d, err := range devices {
			if err == nil {
				err = d.Normalise()
			}
			if err == nil {
				err = ctx.Err()
			}
			if err != nil {
				yield(nil, err)
				return
			}
			batch, size = append(batch, d), size+len(d.Document)+len(d.Name)+len(d.Reference)
			if len(batch) == batchRows || size >= batchBytes {
				if !yield(batch, nil) {
					return
				}
				batch, size = batch[:0], 0
			}
		}
		if len(batch) > 0 {
			yield(batch, nil)
		}
	}
}

// InParts goes through all devices in the order of their ids; read returns the
// first ones behind an id.
func InParts(read func(after string, limit int) ([]Device, error)) iter.Seq2[Device, error] {
	return func(yield func(Device, error) bool) {
		after := ""
		for {
			part, err := read(after, batchRows)
			if err != nil {
				yield(Device{}, err)
				return
			}
			for _, d := range part {
				if !yield(d, nil) {
					return
				}
			}
			if len(part) < batchRows {
				return
			}
			after = part[len(part)-1].ID
		}
	}
}
