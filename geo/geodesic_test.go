package geo

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"
)

// Source: GeodSolve of GeographicLib (testdata/reference/geo-lengths.txt), printed to 1e-9 m.
func TestGeodesicLength(t *testing.T) {
	for _, line := range referenceLines(t, "geo-lengths.txt") {
		var a, b orb.Point
		var want float64
		if _, err := fmt.Sscan(line, &a[1], &a[0], &b[1], &b[0], &want); err != nil {
			t.Fatal(err)
		}
		got, err := GeodesicLength(a, b)
		if err != nil {
			t.Errorf("%s: %v", line, err)
			continue
		}
		limit := 1e-9*want + 2e-9
		if want > 1e6 { // the series of the source
			limit = 1e-4
		}
		if math.Abs(got-want) > limit {
			t.Errorf("%s: got %.9f, off by %.1e", line, got, got-want)
		}
	}
}

// Source: geod of PROJ (testdata/reference/geo-route.txt), printed to 1e-6 m.
func TestRouteLength(t *testing.T) {
	var route orb.LineString
	want := 0.0
	for _, line := range referenceLines(t, "geo-route.txt") {
		var a, b orb.Point
		var leg float64
		if _, err := fmt.Sscan(line, &a[1], &a[0], &b[1], &b[0], &leg); err != nil {
			t.Fatal(err)
		}
		if len(route) == 0 {
			route = append(route, a)
		}
		route = append(route, b)
		want += leg
	}
	got, err := RouteLength(route)
	if err != nil || math.Abs(got-want) > 1e-5 {
		t.Errorf("got %v, %v, want %v", got, err, want)
	}
}

func TestRouteLengthNamesEveryFault(t *testing.T) {
	_, err := RouteLength(orb.LineString{{8, 47}, {47, 98}, {8, 48}, {math.NaN(), 0}})
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 2 || faults[0].Vertex != 1 || faults[1].Vertex != 3 ||
		!strings.Contains(faults[0].Reason, "wrong order") {
		t.Errorf("got %v", err)
	}
	if _, err := RouteLength(orb.LineString{{8, 47}}); err == nil {
		t.Error("a route of one position has a length")
	}
	if _, err := RouteLength(orb.LineString{{0, 0}, {1, 1}, {-179.5, 0.3}, {0.6, -0.2}}); err == nil ||
		!strings.Contains(err.Error(), "opposite") {
		t.Errorf("nearly antipodal: %v", err)
	}
}

func TestGeodesicLengthProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := anyPosition().Draw(t, "a"), anyPosition().Draw(t, "b")
		there, err := GeodesicLength(a, b)
		back, err2 := GeodesicLength(b, a)
		if err != nil || err2 != nil {
			va, vb := earthCentred(a), earthCentred(b)
			if va.dot(vb) > -0.98*wgs84A*wgs84A {
				t.Fatalf("%v to %v: %v, %v", a, b, err, err2)
			}
			return
		}
		if math.Abs(there-back) > 1e-4 {
			t.Fatalf("%v there, %v back", there, back)
		}
		va, vb := earthCentred(a), earthCentred(b)
		chord := math.Hypot(math.Hypot(va[0]-vb[0], va[1]-vb[1]), va[2]-vb[2])
		if there < chord-1e-3 || there > 20004000 {
			t.Fatalf("length %v for a chord of %v", there, chord)
		}
	})
}
