// Package library keeps the device library that was matched last in memory.
package library

import (
	"context"
	"sync"

	"levinward/api/assess"
	"levinward/store"
)

// Cache keeps the library that was matched last, so that its documents
// are not decoded for every request. It is no state of the service: the store is asked
// each time whether the version is still that of the library.
type Cache struct {
	mu      sync.Mutex
	org     store.Organisation
	library *assess.Library
}

// Library returns the library of an organisation as it is now, decoded.
func (l *Cache) Library(ctx context.Context, s store.DeviceLibrary, org store.Organisation) (*assess.Library, error) {
	version, err := s.DeviceLibraryVersion(ctx, org)
	if err != nil {
		return nil, err
	}
	l.mu.Lock() // those who come while it is loaded wait for it
	defer l.mu.Unlock()
	if l.library != nil && l.org == org && l.library.Version >= version {
		return l.library, nil
	}
	// The version was read before the devices, so they are at least as new.
	library, err := assess.LoadLibrary(version, s.EachDevice(ctx, org))
	if err != nil {
		return nil, err
	}
	l.org, l.library = org, library
	return library, nil
}
