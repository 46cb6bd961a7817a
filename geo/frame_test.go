package geo

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

// referenceLines reads a file of testdata/reference, without its remarks.
func referenceLines(t testing.TB, name string) []string {
	t.Helper()
	f, err := os.Open("../testdata/reference/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var lines []string
	s := bufio.NewScanner(f)
	s.Buffer(nil, 1<<20)
	for s.Scan() {
		if line := s.Text(); line != "" && line[0] != '#' {
			lines = append(lines, line)
		}
	}
	if err := s.Err(); err != nil || len(lines) == 0 {
		t.Fatal(name, "has no lines", err)
	}
	return lines
}

func relative(got, want float64) float64 {
	if got == want {
		return 0
	}
	return math.Abs(got/want - 1)
}

// Source: Planimeter of GeographicLib (testdata/reference/geo-polygons.txt): polygons of 5 km at the equator, across
// the 180th meridian and round both poles.
func TestAreaAgainstPlanimeter(t *testing.T) {
	for _, line := range referenceLines(t, "geo-polygons.txt") {
		fields := strings.Fields(line)
		var area, perimeter float64
		if _, err := fmt.Sscan(fields[1]+" "+fields[2], &area, &perimeter); err != nil {
			t.Fatal(err)
		}
		var positions []orb.Point
		var ecef []vec3
		for _, f := range fields[3:] {
			var p orb.Point
			if _, err := fmt.Sscanf(f, "%f,%f", &p[1], &p[0]); err != nil {
				t.Fatal(err)
			}
			positions = append(positions, p)
			ecef = append(ecef, earthCentred(p))
		}
		f := frameAround(ecef)
		var gotArea, gotPerimeter, geodesics float64
		for i, p := range positions {
			q := positions[(i+1)%len(positions)]
			gotArea += cross(XY{}, f.Local(p), f.Local(q)) / 2
			gotPerimeter += apart(f.Local(p), f.Local(q))
			d, err := GeodesicLength(p, q)
			if err != nil {
				t.Fatal(err)
			}
			geodesics += d
		}
		if e := relative(math.Abs(gotArea), math.Abs(area)); e > 5e-7 {
			t.Errorf("%s: area %.4f, want %.4f, off by %.1e", fields[0], gotArea, area, e)
		}
		if e := relative(gotPerimeter, perimeter); e > 5e-7 {
			t.Errorf("%s: perimeter %.6f, want %.6f, off by %.1e", fields[0], gotPerimeter, perimeter, e)
		}
		if e := relative(geodesics, perimeter); e > 1e-9 {
			t.Errorf("%s: geodesics %.9f, want %.9f, off by %.1e", fields[0], geodesics, perimeter, e)
		}
	}
}

func anyPosition() *rapid.Generator[orb.Point] {
	return rapid.Custom(func(t *rapid.T) orb.Point {
		lat := rapid.OneOf(rapid.Float64Range(-90, 90), rapid.Float64Range(89.9, 90), rapid.Float64Range(-90, -89.9),
			rapid.SampledFrom([]float64{-90, 0, 90})).Draw(t, "lat")
		lon := rapid.OneOf(rapid.Float64Range(-180, 180), rapid.Float64Range(179.9, 180),
			rapid.SampledFrom([]float64{-180, -90, 0, 90, 180})).Draw(t, "lon")
		return orb.Point{lon, lat}
	})
}

func TestFrameThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := frameAt(anyPosition().Draw(t, "center"))
		want := XY{rapid.Float64Range(-15e3, 15e3).Draw(t, "x"), rapid.Float64Range(-15e3, 15e3).Draw(t, "y")}
		p := f.LonLat(want)
		if positionFault(p) != "" || p[0] <= -180 || p[0] > 180 {
			t.Fatalf("%v is no position", p)
		}
		if back := f.Local(p); apart(want, back) > 2e-8 {
			t.Fatalf("%v came back as %v", want, back)
		}
	})
}

// Lengths in the plane against geodesics (which are held against GeodSolve in TestGeodesicLength).
func TestFrameLengths(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := frameAt(anyPosition().Draw(t, "center"))
		place := func(name string) XY {
			q, a := rapid.Float64Range(0, 5000).Draw(t, name), rapid.Float64Range(0, 7).Draw(t, name+" direction")
			return XY{q * math.Cos(a), q * math.Sin(a)}
		}
		a, b := place("a"), place("b")
		d, err := GeodesicLength(f.LonLat(a), f.LonLat(b))
		if err != nil {
			t.Fatal(err)
		}
		if plane := apart(a, b); math.Abs(plane-d) > 1e-7*d+2e-8 {
			t.Fatalf("%v to %v: %.9f in the plane, %.9f on the ellipsoid", a, b, plane, d)
		}
	})
}

func TestNewFrameRefuses(t *testing.T) {
	for _, p := range []orb.Point{{math.NaN(), 0}, {0, math.Inf(1)}, {36.8, 91}, {361, 0}} {
		if _, err := NewFrame(p); err == nil {
			t.Errorf("%v is taken as a centre", p)
		}
	}
	f, err := NewFrame(orb.Point{36.8, -1.3})
	if err != nil || f.Center() != (orb.Point{36.8, -1.3}) || f.Local(f.Center()) != (XY{}) {
		t.Errorf("frame %v, %v", f, err)
	}
}
