package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"
)

// Limits of what a flash-density map may hold.
const (
	MaxMapContent     = 512 << 20 // bytes
	MaxMapDescription = 64 << 10  // bytes
)

// MapChunk is the length of the pieces that the content of a map is kept in:
// no more of it is held at a time.
const MapChunk = 4 << 20

// DensityMap is a flash-density map without its content. It never changes.
type DensityMap struct {
	ID          string    // UUID chosen by the caller (version 7)
	CreatedAt   time.Time // kept in UTC to the microsecond
	Name        string
	Description []byte // JSON; comes back byte for byte
	Size        int64  // bytes of the content, set by the store
}

// DensityMapPage is a part of a list. Next is empty on the last one.
type DensityMapPage struct {
	Maps []DensityMap
	Next string
}

// DensityMapLibrary keeps the flash-density maps of organisations. The rules
// of Store hold.
type DensityMapLibrary interface {
	// CreateDensityMap stores a map with its content, read to the end. An
	// error of the content is returned. Other changes may wait meanwhile, so
	// the content should be at hand. ErrExists: m.ID is taken.
	CreateDensityMap(ctx context.Context, org Organisation, m DensityMap, content io.Reader) (DensityMap, error)

	// DensityMap returns one map; ErrNotFound.
	DensityMap(ctx context.Context, org Organisation, id string) (DensityMap, error)

	// DensityMapContent returns what the content of a map is read from.
	// Nothing is held between the reads; when the map is deleted meanwhile, a
	// read fails with ErrNotFound. ErrNotFound.
	DensityMapContent(ctx context.Context, org Organisation, id string) (io.Reader, error)

	// ListDensityMaps returns maps, the one stored last first, at most limit
	// of them (as in Filter) from cursor on. Paging is as steady as that of
	// Store.List. ErrBadCursor.
	ListDensityMaps(ctx context.Context, org Organisation, limit int, cursor string) (DensityMapPage, error)

	// DeleteDensityMap removes a map; ErrNotFound.
	DeleteDensityMap(ctx context.Context, org Organisation, id string) error
}

// Normalise brings a map into the form in which both databases keep it and
// refuses, with every fault named, what one of them could not keep unchanged.
// The error is ErrInvalid.
func (m *DensityMap) Normalise() error {
	var faults []error
	id, ok := CanonicalID(m.ID)
	if !ok {
		faults = append(faults, fmt.Errorf("id %.40q: not a UUID", m.ID))
	}
	m.ID = id
	m.CreatedAt = m.CreatedAt.UTC().Truncate(time.Microsecond)
	faults = append(faults, checkText("name", m.Name, MaxText))
	if n := len(m.Description); n == 0 || n > MaxMapDescription {
		faults = append(faults, fmt.Errorf("description: %d bytes, 1 to %d are allowed", n, MaxMapDescription))
	}
	if !validTime(m.CreatedAt) {
		faults = append(faults, fmt.Errorf("creation time %v: not in the years 1 to 9999", m.CreatedAt))
	}
	return invalid(faults...)
}

// WriteMapChunks cuts content into chunks, gives each with its number from 0
// to write, and returns the length of all. It stops at the first error of the
// content, of ctx or of write. ErrInvalid: the content is empty or too long.
func WriteMapChunks(ctx context.Context, content io.Reader, write func(number int, chunk []byte) error) (size int64, err error) {
	buffer := make([]byte, MapChunk)
	for number := 0; ; number++ {
		n, err := io.ReadFull(content, buffer)
		last := err == io.EOF || err == io.ErrUnexpectedEOF
		if err != nil && !last {
			return size, fmt.Errorf("content of the map: %w", err)
		}
		if err := ctx.Err(); err != nil {
			return size, err
		}
		size += int64(n)
		if size == 0 || size > MaxMapContent {
			return size, invalid(fmt.Errorf("content: empty or longer than %d bytes", MaxMapContent))
		}
		if n > 0 {
			if err := write(number, buffer[:n]); err != nil {
				return size, err
			}
		}
		if last {
			return size, nil
		}
	}
}

// ReadMapChunks reads a content of the given length; read returns the chunk
// with a number.
func ReadMapChunks(size int64, read func(number int) ([]byte, error)) io.Reader {
	return &mapContent{left: size, read: read}
}

type mapContent struct {
	left   int64 // bytes not yet fetched
	read   func(number int) ([]byte, error)
	number int
	chunk  []byte
}

var errMapLength = errors.New("the chunks of a flash-density map are not as long as it is")

func (c *mapContent) Read(p []byte) (int, error) {
	for len(c.chunk) == 0 {
		if c.left == 0 {
			return 0, io.EOF
		}
		chunk, err := c.read(c.number)
		if err != nil {
			return 0, err
		}
		c.left -= int64(len(chunk))
		if len(chunk) == 0 || c.left < 0 {
			return 0, errMapLength
		}
		c.chunk, c.number = chunk, c.number+1
	}
	n := copy(p, c.chunk)
	c.chunk = c.chunk[n:]
	return n, nil
}
