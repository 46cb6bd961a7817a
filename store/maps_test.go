package store

import (
	"bytes"
	"errors"
	"io"
	"testing"
	"testing/iotest"

	"pgregory.net/rapid"
)

// endless has no end.
type endless struct{}

func (endless) Read(p []byte) (int, error) { return len(p), nil }

func TestMapContentIsBounded(t *testing.T) {
	for size, fits := range map[int64]bool{0: false, 1: true, MaxMapContent: true, MaxMapContent + 1: false} {
		written := int64(0)
		got, err := WriteMapChunks(t.Context(), io.LimitReader(endless{}, size), func(number int, chunk []byte) error {
			if int64(number)*MapChunk != written || len(chunk) > MapChunk {
				t.Fatalf("chunk %d of %d bytes after %d", number, len(chunk), written)
			}
			written += int64(len(chunk))
			return nil
		})
		if fits != (err == nil) || !fits && !errors.Is(err, ErrInvalid) || fits && (got != size || written != size) || written > MaxMapContent {
			t.Errorf("%d bytes: %v, %d said, %d written", size, err, got, written)
		}
	}
}

// However the content is cut, it is read as it was written; a chunk that is lost or has the wrong length is an error.
func TestMapChunks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var chunks [][]byte
		var all []byte
		for range rapid.IntRange(1, 5).Draw(t, "chunks") {
			chunk := rapid.SliceOfN(rapid.Byte(), 1, 50).Draw(t, "chunk")
			chunks, all = append(chunks, chunk), append(all, chunk...)
		}
		lost := errors.New("lost")
		read := func(size int64) ([]byte, error) {
			return io.ReadAll(iotest.OneByteReader(ReadMapChunks(size, func(number int) ([]byte, error) {
				if number >= len(chunks) {
					return nil, lost
				}
				return chunks[number], nil
			})))
		}
		if got, err := read(int64(len(all))); err != nil || !bytes.Equal(got, all) {
			t.Fatalf("%v, %v, want %v", got, err, all)
		}
		if _, err := read(int64(len(all)) + 1); !errors.Is(err, lost) {
			t.Fatalf("one byte more: %v", err)
		}
		if len(chunks[len(chunks)-1]) > 1 {
			if _, err := read(int64(len(all)) - 1); !errors.Is(err, errMapLength) {
				t.Fatalf("one byte less: %v", err)
			}
		}
	})
}
