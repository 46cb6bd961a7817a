package geo

import (
	"errors"
	"fmt"
	"math"

	"github.com/paulmach/orb"
)

// The WGS 84 ellipsoid (NIMA TR8350.2, table 3.1): semi-major axis [m] and flattening.
const (
	wgs84A  = 6378137.0
	wgs84F  = 1 / 298.257223563
	wgs84E2 = wgs84F * (2 - wgs84F) // first eccentricity squared
)

// XY is a position in the plane of a Frame: metres east (X) and north (Y) of its centre.
type XY struct{ X, Y float64 }

// Frame turns longitude and latitude (WGS 84, degrees) into metres in a plane around a centre, and back.
//
// A position keeps its direction as seen in the tangent plane of the centre and is set at the length of the
// straight chord from the centre. On a sphere this is Lambert's azimuthal equal-area projection. On the ellipsoid
// lengths are right to d²/8R² (8e-8 at d = 5 km from the centre, 7e-7 at 15 km) and areas to 1e-8 at 15 km. There
// is no special longitude and no pole in it, so it holds everywhere on earth.
type Frame struct {
	center              orb.Point
	origin              vec3
	east, north, upward vec3
}

type vec3 [3]float64

func (a vec3) dot(b vec3) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// NewFrame returns the frame around a centre given as longitude and latitude in degrees.
func NewFrame(center orb.Point) (Frame, error) {
	if reason := positionFault(center); reason != "" {
		return Frame{}, errors.New(reason)
	}
	return frameAt(center), nil
}

func frameAt(center orb.Point) Frame {
	sinLon, cosLon := sincosDegrees(center[0])
	sinLat, cosLat := sincosDegrees(center[1])
	return Frame{
		center: center,
		origin: earthCentred(center),
		east:   vec3{-sinLon, cosLon, 0},
		north:  vec3{-sinLat * cosLon, -sinLat * sinLon, cosLat},
		upward: vec3{cosLat * cosLon, cosLat * sinLon, sinLat},
	}
}

// Local returns the position of a longitude and latitude in the plane [m].
func (f Frame) Local(p orb.Point) XY { return f.fromEarthCentred(earthCentred(p)) }

func (f Frame) fromEarthCentred(v vec3) XY {
	d := vec3{v[0] - f.origin[0], v[1] - f.origin[1], v[2] - f.origin[2]}
	e, n, u := d.dot(f.east), d.dot(f.north), d.dot(f.upward)
	flat := e*e + n*n
	if flat == 0 {
		return XY{}
	}
	k := math.Sqrt(1 + u*u/flat)
	return XY{e * k, n * k}
}

// LonLat returns the longitude in (-180, 180] and the latitude of a position in the plane.
func (f Frame) LonLat(q XY) orb.Point {
	rho := math.Hypot(q.X, q.Y)
	if rho == 0 {
		return f.center
	}
	var along vec3
	for i := range along {
		along[i] = (q.X*f.east[i] + q.Y*f.north[i]) / rho
	}
	// The chord dips below the tangent plane by the angle tau. Being on the ellipsoid, x'Ex = 1 with
	// E = diag(1/a², 1/a², 1/b²), fixes it: sin tau = rho d'Ed / (2 o'E up), d the direction of the chord.
	b2 := wgs84A * wgs84A * (1 - wgs84E2)
	inE := func(a, b vec3) float64 {
		return (a[0]*b[0]+a[1]*b[1])/(wgs84A*wgs84A) + a[2]*b[2]/b2
	}
	oEup := inE(f.origin, f.upward)
	d, sin := along, 0.0
	for range 50 {
		next := math.Min(1, rho*inE(d, d)/(2*oEup))
		cos := math.Sqrt(1 - next*next)
		for i := range d {
			d[i] = cos*along[i] - next*f.upward[i]
		}
		if math.Abs(next-sin) <= 1e-17 {
			break
		}
		sin = next
	}
	var v vec3
	for i := range v {
		v[i] = f.origin[i] + rho*d[i]
	}
	return surfacePosition(v)
}

// earthCentred returns the Cartesian position [m] of a point of the ellipsoid: x towards longitude 0, z to the north pole.
func earthCentred(p orb.Point) vec3 {
	sinLon, cosLon := sincosDegrees(p[0])
	sinLat, cosLat := sincosDegrees(p[1])
	n := wgs84A / math.Sqrt(1-wgs84E2*sinLat*sinLat)
	return vec3{n * cosLat * cosLon, n * cosLat * sinLon, n * (1 - wgs84E2) * sinLat}
}

// surfacePosition is the inverse of earthCentred for points on the ellipsoid.
func surfacePosition(v vec3) orb.Point {
	lat := math.Atan2(v[2], (1-wgs84E2)*math.Hypot(v[0], v[1]))
	lon := math.Atan2(v[1], v[0]) * (180 / math.Pi)
	if lon == -180 {
		lon = 180
	}
	return orb.Point{lon, lat * (180 / math.Pi)}
}

// sincosDegrees is exact at multiples of 90 degrees, so that the poles and the 180th meridian are where they belong.
func sincosDegrees(deg float64) (sin, cos float64) {
	r := math.Remainder(deg, 360)
	q := math.Round(r / 90)
	sin, cos = math.Sincos((r - 90*q) * (math.Pi / 180))
	switch int(q) {
	case 1:
		return cos, -sin
	case -1:
		return -cos, sin
	case 2, -2:
		return -sin, -cos
	}
	return sin, cos
}

// frameAround returns the frame in the middle of positions on the ellipsoid.
func frameAround(positions []vec3) Frame {
	if len(positions) == 0 {
		return frameAt(orb.Point{})
	}
	lo, hi := positions[0], positions[0]
	for _, v := range positions {
		for i := range v {
			lo[i], hi[i] = min(lo[i], v[i]), max(hi[i], v[i])
		}
	}
	middle := vec3{(lo[0] + hi[0]) / 2, (lo[1] + hi[1]) / 2, (lo[2] + hi[2]) / 2}
	if middle.dot(middle) < wgs84A*wgs84A/4 { // positions all round the globe have no middle
		middle = positions[0]
	}
	return frameAt(surfacePosition(middle))
}

// positionFault says what is wrong with a longitude and latitude, or "".
func positionFault(p orb.Point) string {
	lon, lat := p[0], p[1]
	switch {
	case math.IsNaN(lon) || math.IsInf(lon, 0) || math.IsNaN(lat) || math.IsInf(lat, 0):
		return fmt.Sprintf("position [%v, %v] is not a pair of numbers", lon, lat)
	case math.Abs(lat) > 90 && math.Abs(lon) <= 90:
		return fmt.Sprintf("latitude %v is beyond 90 degrees: coordinates in the wrong order? (longitude comes first)", lat)
	case math.Abs(lat) > 90:
		return fmt.Sprintf("latitude %v is beyond 90 degrees", lat)
	case math.Abs(lon) > 360:
		return fmt.Sprintf("longitude %v is outside -180 to 180 degrees", lon)
	}
	return ""
}
