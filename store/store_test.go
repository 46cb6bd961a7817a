package store

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"
)

func TestCanonicalIDAgreesWithALibrary(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		id := rapid.OneOf(
			rapid.StringMatching(`[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}`),
			rapid.StringMatching(`[0-9a-gA-F-]{36}`),
			rapid.StringN(36, 36, 36),
			rapid.String(),
		).Draw(t, "id")
		got, ok := CanonicalID(id)
		want, err := uuid.Parse(id)
		if ok != (err == nil && len(id) == 36) { // the library also reads other lengths
			t.Fatalf("%q: %v, the library says %v", id, ok, err)
		}
		if ok && got != want.String() {
			t.Fatalf("%q: %q, want %q", id, got, want)
		}
	})
}

// The UUID of version 7 that RFC 9562 gives as an example (appendix A.6, from memory).
func TestCanonicalIDOfTheStandard(t *testing.T) {
	id, ok := CanonicalID("017F22E2-79B0-7CC3-98C4-DC0C0C07398F")
	if !ok || id != "017f22e2-79b0-7cc3-98c4-dc0c0c07398f" {
		t.Fatal(id, ok)
	}
}

func TestCursorRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const year1, year9999 = -62135596800, 253402300799 // seconds since 1970
		p := Position{
			FirstCreatedAt: time.Unix(rapid.Int64Range(year1, year9999).Draw(t, "seconds"), 0).UTC().
				Add(time.Duration(rapid.IntRange(0, 999_999).Draw(t, "microseconds")) * time.Microsecond),
			ID: uuid.Must(uuid.FromBytes(rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "id"))).String(),
		}
		got, err := ParseCursor(p.Cursor())
		if err != nil || got != p {
			t.Fatalf("%v became %v, %v", p, got, err)
		}
	})
}

// A text that is read as a cursor is exactly what would have been written, in every kind of list.
func FuzzParseCursor(f *testing.F) {
	f.Add(Position{time.Unix(0, 0), string(Local)}.Cursor())
	f.Add("")
	f.Add(strings.Repeat("_", 32))
	for _, p := range []place{
		idPlace(Local), FaultPosition{Row: 7, N: 2}, deliveryPlace(3), SitePosition{Rank: RankName, Name: "é", Assessment: string(Local)},
		SitePosition{Rank: RankExcess, Value: 1e-5, Assessment: string(Local)},
	} {
		f.Add(cursorOf(p))
	}
	f.Fuzz(func(t *testing.T, cursor string) {
		read := func(p place, err error) {
			if err != nil && !errors.Is(err, ErrBadCursor) {
				t.Fatal(err)
			}
			if err == nil && cursorOf(p) != cursor {
				t.Fatalf("%q is read as %+v, whose cursor is %q", cursor, p, cursorOf(p))
			}
		}
		p, err := ParseCursor(cursor)
		if read(p, err); err == nil {
			if _, ok := CanonicalID(p.ID); !ok {
				t.Fatalf("%q is no id", p.ID)
			}
		}
		for _, rank := range []Rank{RankWorstRatio, RankExcess, RankPersonsAtRisk, RankName} {
			if p, err := parseSiteCursor(cursor, rank); err != nil {
				read(nil, err)
			} else {
				read(*p, nil)
			}
		}
		if cursor == "" {
			return // the first page
		}
		id, err := idListStart(cursor)
		read(idPlace(id), err)
		limit := 0
		fault, err := FaultListStart(&limit, cursor)
		read(fault, err)
		below, err := DeliveryListStart(&limit, cursor)
		read(deliveryPlace(below), err)
	})
}

// A page is as long as asked for, and its cursor leads to what follows.
func TestPages(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := make([]Delivery, rapid.IntRange(0, 20).Draw(t, "deliveries"))
		for i := range all {
			all[i].N = int64(len(all) - i)
		}
		limit, cursor, seen := rapid.IntRange(1, 7).Draw(t, "limit"), "", []Delivery(nil)
		for {
			below, err := DeliveryListStart(&limit, cursor)
			if err != nil {
				t.Fatal(err)
			}
			var found []Delivery
			for _, d := range all {
				if d.N < below && len(found) <= limit {
					found = append(found, d)
				}
			}
			p := NextDeliveryPage(found, limit)
			seen = append(seen, p.Deliveries...)
			if cursor = p.Next; cursor == "" {
				break
			}
			if len(p.Deliveries) != limit {
				t.Fatalf("%d deliveries, limit %d", len(p.Deliveries), limit)
			}
		}
		if len(seen) != len(all) {
			t.Fatalf("%d seen of %d", len(seen), len(all))
		}
	})
}

// Moving box and point round the world together changes nothing, and a box
// and the box of the other meridians share only their edges.
func TestBoxOnTheGlobe(t *testing.T) {
	longitude := rapid.Custom(func(t *rapid.T) float64 { return float64(rapid.IntRange(-180, 180).Draw(t, "degrees")) })
	turn := func(longitude, by float64) float64 {
		longitude += by
		for longitude > 180 {
			longitude -= 360
		}
		return longitude
	}
	rapid.Check(t, func(t *rapid.T) {
		b := BBox{West: longitude.Draw(t, "west"), South: -10, East: longitude.Draw(t, "east"), North: 10}
		lon := longitude.Draw(t, "longitude")
		if turn(b.West, 360) == turn(b.East, 360) {
			return // one meridian or all of them
		}
		inside := b.Contains(0, lon)
		by := float64(rapid.IntRange(0, 359).Draw(t, "turn"))
		moved := BBox{West: turn(b.West, by), South: -10, East: turn(b.East, by), North: 10}
		if moved.Contains(0, turn(lon, by)) != inside {
			t.Fatalf("%v holds %v: %v; turned by %v: %v", b, lon, inside, by, moved)
		}
		rest := BBox{West: b.East, South: -10, East: b.West, North: 10}
		onEdge := turn(lon, 360) == turn(b.West, 360) || turn(lon, 360) == turn(b.East, 360)
		if both := inside && rest.Contains(0, lon); both != onEdge || !(inside || rest.Contains(0, lon)) {
			t.Fatalf("%v and %v, point %v", b, rest, lon)
		}
		if b.Contains(-10.001, lon) || b.Contains(10.001, lon) {
			t.Fatal("latitude is not looked at")
		}
	})
}

func TestFold(t *testing.T) {
	for _, same := range [][]string{{"Straße", "straße", "STRAßE"}, {"ΟΔΟΣ", "οδος", "οδοσ"}, {"Łódź", "ŁÓDŹ"}, {"K", "k", "\u212a"}} {
		for _, s := range same {
			if Fold(s) != Fold(same[0]) {
				t.Errorf("%q and %q differ", s, same[0])
			}
		}
	}
	if Fold("e") == Fold("é") {
		t.Error("accents are not case")
	}
}

func TestConflictError(t *testing.T) {
	var err error = &ConflictError{Current: 7}
	if !errors.Is(err, ErrConflict) || errors.Is(err, ErrNotFound) || !strings.Contains(err.Error(), "7") {
		t.Fatal(err)
	}
}
