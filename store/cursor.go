package store

import (
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"strings"
	"time"
)

// Position is a place in a list: that of an assessment by the time of its
// first revision and, among equal times, by its id.
//
// Lists run from the newest to the oldest, and neither part of a position ever
// changes. So a page continues strictly below the last position seen: what is
// stored meanwhile comes in above or below but moves nothing, what is deleted
// leaves its position valid, and nothing that stays is skipped or repeated.
type Position struct {
	FirstCreatedAt time.Time
	ID             string
}

const positionSize = 8 + 16 // microseconds since 1970, UUID

// Cursor returns the position as an opaque text.
func (p Position) Cursor() string {
	b := make([]byte, 0, positionSize)
	b = binary.BigEndian.AppendUint64(b, uint64(p.FirstCreatedAt.UnixMicro()))
	id, _ := hex.DecodeString(strings.ReplaceAll(p.ID, "-", ""))
	return base64.RawURLEncoding.EncodeToString(append(b, id...))
}

// ParseCursor reads Cursor; ErrBadCursor.
func ParseCursor(cursor string) (Position, error) {
	b, err := base64.RawURLEncoding.DecodeString(cursor)
	if err != nil || len(b) != positionSize {
		return Position{}, ErrBadCursor
	}
	id := b[8:]
	p := Position{
		FirstCreatedAt: time.UnixMicro(int64(binary.BigEndian.Uint64(b))).UTC(),
		ID:             fmt.Sprintf("%x-%x-%x-%x-%x", id[:4], id[4:6], id[6:8], id[8:10], id[10:]),
	}
	// Base64 has several forms of one value; only ours is a cursor.
	if !validTime(p.FirstCreatedAt) || p.Cursor() != cursor {
		return Position{}, ErrBadCursor
	}
	return p, nil
}

// NextPage cuts entries, read with one more than the limit, to a page.
func NextPage(entries []Entry, limit int) Page {
	if len(entries) <= limit {
		return Page{Entries: entries}
	}
	last := entries[limit-1]
	return Page{
		Entries: entries[:limit],
		Next:    Position{last.FirstCreatedAt, last.ID}.Cursor(),
	}
}
