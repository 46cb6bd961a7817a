package geo

import (
	"encoding/binary"
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

func closedRingOf(p ...orb.Point) orb.Ring { return append(orb.Ring(p), p[0]) }

func TestValidateNamesWhatIsWrong(t *testing.T) {
	good := Part{orb.Polygon{closedRingOf(orb.Point{8, 47}, orb.Point{8.001, 47}, orb.Point{8.001, 47.001}, orb.Point{8, 47.001})}, 10}
	outer := closedRingOf(orb.Point{8, 47}, orb.Point{8.01, 47}, orb.Point{8.01, 47.01}, orb.Point{8, 47.01})
	hole := func(x, y, d float64) orb.Ring {
		return closedRingOf(orb.Point{x, y}, orb.Point{x + d, y}, orb.Point{x + d, y + d}, orb.Point{x, y + d})
	}
	huge := make(orb.LineString, MaxVertices+1)
	round := orb.Ring{}
	for lon := -180.0; lon < 180; lon += 10 {
		round = append(round, orb.Point{lon, 89.99})
	}
	round = append(round, round[0])
	for name, c := range map[string]struct {
		part         Part
		ring, vertex int
		reason       string
	}{
		"swapped":         {Part{orb.LineString{{8, 47}, {47, 98.5}}, 10}, -1, 1, "wrong order"},
		"latitude":        {Part{orb.Point{120, -91}, 10}, -1, 0, "beyond 90"},
		"longitude":       {Part{orb.Point{361, 0}, 10}, -1, 0, "longitude 361"},
		"not a number":    {Part{orb.Point{math.NaN(), 0}, 10}, -1, 0, "not a pair of numbers"},
		"no height":       {Part{orb.Point{8, 47}, 0}, -1, -1, "height 0 m"},
		"height negative": {Part{orb.Point{8, 47}, -3}, -1, -1, "height -3 m"},
		"height absurd":   {Part{orb.Point{8, 47}, 8849}, -1, -1, "height 8849 m"},
		"height NaN":      {Part{orb.Point{8, 47}, math.NaN()}, -1, -1, "not a number"},
		"no geometry":     {Part{nil, 10}, -1, -1, "no geometry"},
		"other geometry":  {Part{orb.MultiPoint{{8, 47}}, 10}, -1, -1, "MultiPoint is not allowed"},
		"short line":      {Part{orb.LineString{{8, 47}}, 10}, -1, -1, "1 positions"},
		"no ring":         {Part{orb.Polygon{}, 10}, -1, -1, "no ring"},
		"short ring":      {Part{orb.Polygon{{{8, 47}, {8.1, 47}, {8, 47}}}, 10}, 0, -1, "3 positions"},
		"open ring":       {Part{orb.Polygon{outer[:4]}, 10}, 0, 3, "not closed"},
		"two positions":   {Part{orb.Polygon{{{8, 47}, {8.1, 47}, {8, 47}, {8.1, 47}, {8, 47}}}, 10}, 0, -1, "2 different"},
		"round the pole":  {Part{orb.Polygon{round}, 10}, 0, -1, "winds round a pole"},
		"too many":        {Part{huge, 10}, -1, -1, "100001 positions"},
		"far apart":       {Part{orb.LineString{{8, 47}, {9, 47}}, 10}, -1, 0, "from the middle"},
		"bow tie":         {Part{orb.Polygon{closedRingOf(orb.Point{8, 47}, orb.Point{8.001, 47.001}, orb.Point{8.001, 47}, orb.Point{8, 47.001})}, 10}, 0, -2, "crosses the edge at vertex"},
		"bow tie through a vertex": {Part{orb.Polygon{closedRingOf(orb.Point{8, 47}, orb.Point{8.001, 47.001}, orb.Point{8.002, 47.002},
			orb.Point{8.002, 47}, orb.Point{8.001, 47.001}, orb.Point{8, 47.002})}, 10}, 0, -2, "crosses or overlaps itself"},
		"hole outside":   {Part{orb.Polygon{outer, hole(8.02, 47, 0.001)}, 10}, 1, -2, "outside the outer ring"},
		"hole in a hole": {Part{orb.Polygon{outer, hole(8.002, 47.002, 0.004), hole(8.003, 47.003, 0.001)}, 10}, 2, -2, "inside another hole"},
		"holes the same": {Part{orb.Polygon{outer, hole(8.002, 47.002, 0.004), hole(8.002, 47.002, 0.004)}, 10}, 1, -2, "crosses or overlaps"},
		"hole crosses":   {Part{orb.Polygon{outer, hole(8.008, 47.003, 0.004)}, 10}, 0, -2, "crosses the edge"},
		"holes overlap":  {Part{orb.Polygon{outer, hole(8.002, 47.002, 0.004), hole(8.004, 47.004, 0.004)}, 10}, 1, -2, "crosses the edge"},
	} {
		t.Run(name, func(t *testing.T) {
			faults := Validate([]Part{good, c.part})
			for _, f := range faults {
				if f.Part == 1 && f.Ring == c.ring && (c.vertex == -2 || f.Vertex == c.vertex) && strings.Contains(f.Reason, c.reason) {
					if !strings.HasPrefix(f.String(), "part 1") {
						t.Errorf("the fault reads %q", f)
					}
					if _, err := tested.Collect([]Part{good, c.part}); err == nil {
						t.Error("Collect takes it")
					}
					return
				}
			}
			t.Errorf("got %v", faults)
		})
	}
	if f := Validate(nil); len(f) != 1 {
		t.Errorf("no parts: %v", f)
	}
	if f := Validate([]Part{good}); f != nil {
		t.Errorf("good parts: %v", f)
	}
}

func TestValidateFindsAllAtOnce(t *testing.T) {
	bow := orb.Polygon{closedRingOf(orb.Point{8, 47}, orb.Point{8.001, 47.001}, orb.Point{8.001, 47}, orb.Point{8, 47.001})}
	_, err := tested.Collect([]Part{{orb.Point{8, 95}, 5000}, {bow, 10}, {orb.LineString{{8, 47}, {200, 99}, {8, 98}}, 3}})
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 5 {
		t.Fatalf("got %d faults: %v", len(faults), err)
	}
}

func TestFaultsAreBounded(t *testing.T) {
	line := make(orb.LineString, 50_000)
	for i := range line {
		line[i] = orb.Point{0, 99}
	}
	if f := Validate([]Part{{line, 10}}); len(f) != maxFaults+1 {
		t.Errorf("%d faults", len(f))
	}
}

// Rings that touch themselves or turn back are taken; their areas are known.
func TestTouchingRings(t *testing.T) {
	for name, c := range map[string]struct {
		rings     [][]XY
		footprint float64
	}{
		"at a vertex":           {[][]XY{{{0, 0}, {40, 0}, {20, 20}, {40, 40}, {0, 40}, {20, 20}}}, 800},
		"spike outwards":        {[][]XY{{{0, 0}, {80, 0}, {40, 0}, {40, 40}, {0, 40}}}, 1600},
		"slit":                  {[][]XY{{{0, 0}, {80, 0}, {80, 80}, {0, 80}, {0, 40}, {60, 40}, {0, 40}}}, 6400},
		"repeated positions":    {[][]XY{{{0, 0}, {0, 0}, {40, 0}, {40, 0}, {40, 40}, {40, 40}, {0, 40}}}, 1600},
		"needle":                {[][]XY{{{0, 0}, {100, 0}, {50, 1e-5}}}, 5e-4},
		"no width":              {[][]XY{{{0, 0}, {100, 0}, {50, 0}}}, 0},
		"hole touches the ring": {[][]XY{{{0, 0}, {40, 0}, {40, 40}, {0, 40}}, {{0, 20}, {10, 10}, {10, 30}}}, 1500},
		"hole along the ring":   {[][]XY{{{0, 0}, {40, 0}, {40, 40}, {0, 40}}, {{0, 10}, {10, 10}, {10, 30}, {0, 30}}}, 1400},
		"hole fills the ring":   {[][]XY{{{0, 0}, {40, 0}, {40, 40}, {0, 40}}, {{0, 0}, {40, 0}, {40, 40}, {0, 40}}}, 0},
		"hole joined by a slit": {[][]XY{{{0, 0}, {40, 0}, {40, 40}, {0, 40}, {0, 20}, {10, 20}, {10, 30}, {30, 30}, {30, 10}, {10, 10}, {10, 20}, {0, 20}}}, 1200},
	} {
		t.Run(name, func(t *testing.T) {
			parts := []planePart{{rings: c.rings, height: 2}}
			for _, lay := range []*layout{inPlane(parts), newLayout(onEarth(frameAt(orb.Point{-150, 61}), parts), []bool{true})} {
				var faults Faults
				if lay.checkRings(&faults); len(faults) > 0 {
					t.Fatal(faults)
				}
				footprint, err := lay.footprint()
				if err != nil {
					t.Fatal(err)
				}
				if got := loopsArea(footprint); math.Abs(got-c.footprint) > 2e-6 {
					t.Errorf("footprint %v, want %v", got, c.footprint)
				}
				direct, err := lay.widened([]float64{6})
				if err != nil {
					t.Fatal(err)
				}
				want := rowIntegral(parts, func(planePart) float64 { return 6 }, 20_000, 0.5)
				if got := loopsArea(direct); relative(got, want) > 5e-5 {
					t.Errorf("area %v, rows give %v", got, want)
				}
			}
		})
	}
}

// FuzzParts: whatever the input, there is an error or areas that keep their bounds, and no crash.
func FuzzParts(f *testing.F) {
	f.Add([]byte{2, 30, 1, 1, 5, 1, 5, 5, 1, 5})
	f.Add([]byte{1, 9, 1, 1, 200, 7, 0, 60, 3, 3})
	f.Add([]byte{2, 3, 0, 0, 9, 0, 5, 5, 9, 9, 0, 9, 5, 5})
	f.Fuzz(func(t *testing.T, data []byte) {
		parts := fuzzedParts(data)
		a, err := tested.Collect(parts)
		if err != nil {
			if a.Direct != 0 || err.Error() == "" {
				t.Fatalf("areas %v with error %v", a.Direct, err)
			}
			return
		}
		sum := 0.0
		for _, p := range parts {
			one, err := tested.Collect([]Part{p})
			if err != nil {
				return
			}
			if one.Direct > a.Direct*(1+1e-8) {
				t.Fatalf("part %v alone has %v, all have %v", p, one.Direct, a.Direct)
			}
			sum += one.Direct
		}
		if a.Direct > sum*(1+1e-8) {
			t.Fatalf("the union has %v, the sum of the parts is %v", a.Direct, sum)
		}
		for _, p := range a.NearOutline.Polygons(1) {
			for _, r := range p {
				if len(r) < 4 || r[0] != r[len(r)-1] {
					t.Fatalf("ring %v", r)
				}
			}
		}
	})
}

// fuzzedParts reads parts on a coarse grid, on which much coincides; the first byte may ask for raw numbers instead.
func fuzzedParts(data []byte) []Part {
	var parts []Part
	take := func() byte {
		if len(data) == 0 {
			return 0
		}
		b := data[0]
		data = data[1:]
		return b
	}
	number := func(raw bool) float64 {
		if raw && len(data) >= 8 {
			v := math.Float64frombits(binary.LittleEndian.Uint64(data))
			data = data[8:]
			return v
		}
		return float64(int(take())%16) * 1e-4
	}
	for len(data) > 0 && len(parts) < 6 {
		kind := take()
		raw := kind >= 192
		p := Part{Height: float64(take()) / 3}
		n := int(take())%9 + 2
		line := make(orb.LineString, n)
		for i := range line {
			line[i] = orb.Point{number(raw), number(raw)}
		}
		switch kind % 3 {
		case 0:
			p.Geometry = line[0]
		case 1:
			p.Geometry = line
		default:
			p.Geometry = orb.Polygon{append(orb.Ring(line), line[0])}
		}
		parts = append(parts, p)
	}
	return parts
}
