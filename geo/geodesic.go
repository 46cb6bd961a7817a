package geo

import (
	"errors"
	"fmt"
	"math"

	"github.com/paulmach/orb"
)

// ErrNearlyAntipodal is returned for two positions so close to opposite ends of the earth that the iteration for
// the geodesic between them does not settle.
var ErrNearlyAntipodal = errors.New("the positions lie nearly opposite each other on the earth")

// GeodesicLength returns the length [m] of the shortest line on the WGS 84 ellipsoid between two positions given as
// longitude and latitude in degrees. It is right to 0.1 mm or 1e-9 of the length, whichever is larger.
//
// Source: T. Vincenty, Direct and inverse solutions of geodesics on the ellipsoid with application of nested
// equations, Survey Review 23 (176), 1975, equations 3 to 4 and 13 to 18.
func GeodesicLength(from, to orb.Point) (float64, error) {
	for _, p := range []orb.Point{from, to} {
		if reason := positionFault(p); reason != "" {
			return 0, errors.New(reason)
		}
	}
	const b = wgs84A * (1 - wgs84F)
	sin1, cos1, n1 := reducedLatitude(from[1])
	sin2, cos2, n2 := reducedLatitude(to[1])
	// sin(U2-U1) from the difference of the latitudes keeps short lines accurate.
	sinDiffLat, _ := sincosDegrees(to[1] - from[1])
	sinDiff := (1 - wgs84F) * sinDiffLat / (n1 * n2)
	l := math.Remainder(to[0]-from[0], 360) * (math.Pi / 180)

	lambda := l
	for range 100 {
		sinHalf := math.Sin(lambda / 2)
		sinL, cosL := math.Sincos(lambda)
		sinSigma := math.Hypot(cos2*sinL, sinDiff+2*sin1*cos2*sinHalf*sinHalf)
		if sinSigma == 0 {
			if sin1*sin2+cos1*cos2*cosL < 0 {
				return 0, ErrNearlyAntipodal
			}
			return 0, nil
		}
		cosSigma := sin1*sin2 + cos1*cos2*cosL
		sigma := math.Atan2(sinSigma, cosSigma)
		sinAlpha := cos1 * cos2 * sinL / sinSigma
		cos2Alpha := 1 - sinAlpha*sinAlpha
		cos2SigmaM := 0.0 // along the equator
		if cos2Alpha > 1e-15 {
			cos2SigmaM = cosSigma - 2*sin1*sin2/cos2Alpha
		}
		c := wgs84F / 16 * cos2Alpha * (4 + wgs84F*(4-3*cos2Alpha))
		next := l + (1-c)*wgs84F*sinAlpha*(sigma+c*sinSigma*(cos2SigmaM+c*cosSigma*(2*cos2SigmaM*cos2SigmaM-1)))
		if math.Abs(next) > math.Pi {
			return 0, ErrNearlyAntipodal
		}
		if math.Abs(next-lambda) > 1e-13*math.Abs(next) {
			lambda = next
			continue
		}
		u2 := cos2Alpha * (wgs84A*wgs84A - b*b) / (b * b)
		bigA := 1 + u2/16384*(4096+u2*(-768+u2*(320-175*u2)))
		bigB := u2 / 1024 * (256 + u2*(-128+u2*(74-47*u2)))
		dSigma := bigB * sinSigma * (cos2SigmaM + bigB/4*(cosSigma*(2*cos2SigmaM*cos2SigmaM-1)-
			bigB/6*cos2SigmaM*(4*sinSigma*sinSigma-3)*(4*cos2SigmaM*cos2SigmaM-3)))
		return b * bigA * (sigma - dSigma), nil
	}
	return 0, ErrNearlyAntipodal
}

// reducedLatitude returns sine and cosine of the reduced latitude U, tan U = (1-f) tan phi, and the norm that
// relates them to those of phi.
func reducedLatitude(lat float64) (sin, cos, norm float64) {
	s, c := sincosDegrees(lat)
	norm = math.Hypot(c, (1-wgs84F)*s)
	return (1 - wgs84F) * s / norm, c / norm, norm
}

// RouteLength returns the length [m] of a route on the WGS 84 ellipsoid: the geodesics from each vertex to the
// next, added up. The route needs two positions or more; every position at fault is named in the error, which is
// of type Faults.
func RouteLength(route orb.LineString) (float64, error) {
	faults := routeFaults(route)
	if len(faults) > 0 {
		return 0, faults
	}
	sum := 0.0
	for i := 1; i < len(route); i++ {
		d, err := GeodesicLength(route[i-1], route[i])
		if err != nil {
			faults.add(Fault{0, -1, i, fmt.Sprintf("no length from the vertex before: %v", err)})
			continue
		}
		sum += d
	}
	if len(faults) > 0 {
		return 0, faults
	}
	return sum, nil
}

func routeFaults(route orb.LineString) Faults {
	var faults Faults
	if len(route) < 2 {
		faults.add(Fault{0, -1, -1, fmt.Sprintf("the route has %d positions, it needs 2 or more", len(route))})
	}
	if len(route) > MaxVertices {
		faults.add(Fault{0, -1, -1, fmt.Sprintf("the route has %d positions, %d are allowed", len(route), MaxVertices)})
		return faults
	}
	for i, p := range route {
		if reason := positionFault(p); reason != "" {
			faults.add(Fault{0, -1, i, reason})
		}
	}
	return faults
}
