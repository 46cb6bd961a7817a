package store

import (
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"strings"
	"time"
)

// place is a place in a list. Its bytes are the same for equal places.
type place interface{ bytes() []byte }

// cursorOf returns a place as an opaque text.
func cursorOf(p place) string { return base64.RawURLEncoding.EncodeToString(p.bytes()) }

// readCursor reads cursorOf; ErrBadCursor.
func readCursor[P place](cursor string, read func([]byte) (P, bool)) (P, error) {
	if b, err := base64.RawURLEncoding.DecodeString(cursor); err == nil {
		if p, ok := read(b); ok && cursorOf(p) == cursor { // Base64 has several forms of one value
			return p, nil
		}
	}
	var none P
	return none, ErrBadCursor
}

// pageLimit is how many entries a page has where limit is asked for.
func pageLimit(limit int) int {
	if limit <= 0 {
		return DefaultLimit
	}
	return min(limit, MaxLimit)
}

// page cuts a list, read with one more than the limit, to a page. The cursor of what follows is empty on the last one.
func page[T any, P place](all []T, limit int, placeOf func(*T) P) (cut []T, next string) {
	if len(all) <= limit {
		return all, ""
	}
	return all[:limit], cursorOf(placeOf(&all[limit-1]))
}

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

const idSize = 16 // of a UUID in bytes

func (p Position) bytes() []byte {
	return append(binary.BigEndian.AppendUint64(nil, uint64(p.FirstCreatedAt.UnixMicro())), bytesOfID(p.ID)...)
}

// Cursor returns the position as an opaque text.
func (p Position) Cursor() string { return cursorOf(p) }

// ParseCursor reads Cursor; ErrBadCursor.
func ParseCursor(cursor string) (Position, error) {
	return readCursor(cursor, func(b []byte) (p Position, ok bool) {
		if len(b) != 8+idSize {
			return p, false
		}
		p = Position{time.UnixMicro(int64(binary.BigEndian.Uint64(b))).UTC(), idOfBytes(b[8:])}
		return p, validTime(p.FirstCreatedAt)
	})
}

// ListStart sets the limit of a list from the newest to the oldest and reads its cursor, nil on the first page; ErrBadCursor.
func ListStart(limit *int, cursor string) (*Position, error) {
	*limit = pageLimit(*limit)
	if cursor == "" {
		return nil, nil
	}
	p, err := ParseCursor(cursor)
	return &p, err
}

// idPlace is a place in a list in the order of ids: an id never changes, so nothing that stays is skipped or repeated.
type idPlace string

func (p idPlace) bytes() []byte { return bytesOfID(string(p)) }

// idListStart reads the cursor of such a list: the id of the last entry seen, empty on the first page. ErrBadCursor.
func idListStart(cursor string) (after string, err error) {
	if cursor == "" {
		return "", nil
	}
	p, err := readCursor(cursor, func(b []byte) (idPlace, bool) { return idPlace(idOfBytes(b)), len(b) == idSize })
	return string(p), err
}

// SitePosition is a place in a ranked list.
type SitePosition struct {
	Rank       Rank
	Value      float64 // of the rank; 0 by name
	Name       string  // folded; empty by other ranks
	Assessment string
}

// bytes are rank, id and value.
func (p SitePosition) bytes() []byte {
	b := append([]byte{p.Rank.letter()}, bytesOfID(p.Assessment)...)
	if p.Rank == RankName {
		return append(b, p.Name...)
	}
	return binary.BigEndian.AppendUint64(b, math.Float64bits(p.Value))
}

func parseSiteCursor(cursor string, r Rank) (*SitePosition, error) {
	p, err := readCursor(cursor, func(b []byte) (p SitePosition, ok bool) {
		if len(b) < 1+idSize || b[0] != r.letter() {
			return p, false
		}
		p = SitePosition{Rank: r, Assessment: idOfBytes(b[1 : 1+idSize])}
		value := b[1+idSize:]
		if r == RankName {
			p.Name = string(value)
			return p, checkText("name", p.Name, 4*MaxText) == nil
		}
		if len(value) != 8 {
			return p, false
		}
		p.Value = math.Float64frombits(binary.BigEndian.Uint64(value))
		return p, p.Value >= 0 && p.Value <= math.MaxFloat64
	})
	if err != nil {
		return nil, err
	}
	return &p, nil
}

// FaultPosition is a place in a list of faults.
type FaultPosition struct {
	Row int64
	N   int // within the row
}

func (p FaultPosition) bytes() []byte {
	return binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint64(nil, uint64(p.Row)), uint32(p.N))
}

// FaultListStart sets the limit of a list of faults and reads its cursor; ErrBadCursor.
func FaultListStart(limit *int, cursor string) (FaultPosition, error) {
	*limit = pageLimit(*limit)
	if cursor == "" {
		return FaultPosition{Row: math.MinInt64}, nil
	}
	return readCursor(cursor, func(b []byte) (p FaultPosition, ok bool) {
		if len(b) != 8+4 {
			return p, false
		}
		p = FaultPosition{int64(binary.BigEndian.Uint64(b)), int(int32(binary.BigEndian.Uint32(b[8:])))}
		return p, p.N >= 0
	})
}

// deliveryPlace is a place in a list of deliveries: the number of the last one seen.
type deliveryPlace int64

func (p deliveryPlace) bytes() []byte { return binary.BigEndian.AppendUint64(nil, uint64(p)) }

// DeliveryListStart sets the limit of a list of deliveries and reads its
// cursor: the list begins below the number. ErrBadCursor.
func DeliveryListStart(limit *int, cursor string) (below int64, err error) {
	*limit = pageLimit(*limit)
	if cursor == "" {
		return math.MaxInt64, nil
	}
	p, err := readCursor(cursor, func(b []byte) (p deliveryPlace, ok bool) {
		if len(b) != 8 {
			return 0, false
		}
		p = deliveryPlace(binary.BigEndian.Uint64(b))
		return p, p >= 1
	})
	return int64(p), err
}

func bytesOfID(id string) []byte {
	b, _ := hex.DecodeString(strings.ReplaceAll(id, "-", ""))
	return b
}

func idOfBytes(b []byte) string {
	if len(b) != idSize {
		return ""
	}
	return fmt.Sprintf("%x-%x-%x-%x-%x", b[:4], b[4:6], b[6:8], b[8:10], b[10:])
}

// NextPage cuts entries, read with one more than the limit, to a page.
func NextPage(all []Entry, limit int) Page {
	entries, next := page(all, limit, func(e *Entry) Position { return Position{e.FirstCreatedAt, e.ID} })
	return Page{entries, next}
}

// NextMapPage cuts maps in the same way.
func NextMapPage(all []DensityMap, limit int) DensityMapPage {
	maps, next := page(all, limit, func(m *DensityMap) Position { return Position{m.CreatedAt, m.ID} })
	return DensityMapPage{maps, next}
}

// NextPortfolioPage cuts portfolios in the same way.
func NextPortfolioPage(all []Portfolio, limit int) PortfolioPage {
	portfolios, next := page(all, limit, func(p *Portfolio) Position { return Position{p.CreatedAt, p.ID} })
	return PortfolioPage{portfolios, next}
}

// NextWorkPage cuts works in the same way.
func NextWorkPage(all []Work, limit int) WorkPage {
	works, next := page(all, limit, func(w *Work) Position { return Position{w.CreatedAt, w.ID} })
	return WorkPage{works, next}
}

// NextDevicePage cuts devices in the same way.
func NextDevicePage(all []Device, limit int) DevicePage {
	devices, next := page(all, limit, func(d *Device) idPlace { return idPlace(d.ID) })
	return DevicePage{devices, next}
}

// NextChangesPage cuts changed sites in the same way.
func NextChangesPage(all []Site, limit int) SitePage {
	sites, next := page(all, limit, func(s *Site) idPlace { return idPlace(s.Assessment) })
	return SitePage{sites, next}
}

// NextSitePage cuts ranked sites in the same way.
func NextSitePage(all []Site, r Rank, limit int) SitePage {
	sites, next := page(all, limit, func(s *Site) SitePosition {
		p := SitePosition{Rank: r, Assessment: s.Assessment}
		switch r {
		case RankExcess:
			p.Value = s.Excess
		case RankPersonsAtRisk:
			p.Value = s.PersonsAtRisk
		case RankName:
			p.Name = Fold(s.Name)
		default:
			p.Value = s.WorstRatio
		}
		return p
	})
	return SitePage{sites, next}
}

// NextFaultPage cuts faults in the same way.
func NextFaultPage(all []NumberedFault, limit int) FaultPage {
	numbered, next := page(all, limit, func(f *NumberedFault) FaultPosition { return FaultPosition{f.Row, f.N} })
	var faults []Fault
	for i := range numbered {
		faults = append(faults, numbered[i].Fault)
	}
	return FaultPage{faults, next}
}

// NextDeliveryPage cuts deliveries in the same way.
func NextDeliveryPage(all []Delivery, limit int) DeliveryPage {
	deliveries, next := page(all, limit, func(d *Delivery) deliveryPlace { return deliveryPlace(d.N) })
	return DeliveryPage{deliveries, next}
}
