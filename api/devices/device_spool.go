package devices

import (
	"bufio"
	"encoding/binary"
	"errors"
	"io"
	"iter"
	"os"
	"time"

	"github.com/google/uuid"

	"levinward/store"
)

// spool keeps the devices of an upload in a temporary file: they are taken from the client at its pace and given to the
// database at that of the disk, and only a few are in memory at a time.
type spool struct {
	file  *os.File
	w     *bufio.Writer
	row   []byte   // room to encode one
	lines []uint32 // where each stands in the upload
}

func newSpool() (*spool, error) {
	f, err := os.CreateTemp("", "levinward-devices-*")
	if err != nil {
		return nil, err
	}
	return &spool{file: f, w: bufio.NewWriterSize(f, 64<<10)}, nil
}

func (s *spool) close() error { return errors.Join(s.file.Close(), os.Remove(s.file.Name())) }

// add puts a device to the others. line is its line in a table, or its place in a list.
func (s *spool) add(line int, d *store.Device) error {
	s.row = s.row[:0]
	for _, part := range [...]string{d.Reference, d.Name} {
		s.row = append(binary.AppendUvarint(s.row, uint64(len(part))), part...)
	}
	s.row = append(binary.AppendUvarint(s.row, uint64(len(d.Document))), d.Document...)
	s.lines = append(s.lines, uint32(line))
	_, err := s.w.Write(s.row)
	return err
}

// devices reads them back, each with a new id.
func (s *spool) devices(at time.Time) iter.Seq2[store.Device, error] {
	return func(yield func(store.Device, error) bool) {
		fail := func(err error) { yield(store.Device{}, err) }
		if err := s.w.Flush(); err != nil {
			fail(err)
			return
		}
		if _, err := s.file.Seek(0, io.SeekStart); err != nil {
			fail(err)
			return
		}
		r := bufio.NewReaderSize(s.file, 64<<10)
		for range s.lines {
			d, err := readDevice(r)
			if err != nil {
				fail(err)
				return
			}
			d.UpdatedAt = at
			if !yield(d, nil) {
				return
			}
		}
	}
}

func readDevice(r *bufio.Reader) (d store.Device, err error) {
	var parts [3][]byte
	for i := range parts {
		n, err := binary.ReadUvarint(r)
		if err != nil {
			return d, err
		}
		parts[i] = make([]byte, n)
		if _, err := io.ReadFull(r, parts[i]); err != nil {
			return d, err
		}
	}
	id, err := uuid.NewV7()
	return store.Device{ID: id.String(), Reference: string(parts[0]), Name: string(parts[1]), Document: parts[2]}, err
}
