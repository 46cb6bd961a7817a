package store

// BBox is a box of longitudes and latitudes in degrees, its edges included.
// West > East is a box across the 180th meridian (RFC 7946 section 5.2).
type BBox struct {
	West, South, East, North float64
}

// Span is a range of longitudes, West <= East.
type Span struct {
	West, East float64
}

// Spans returns the ranges of longitude, within -180..180, that a point of the
// box can have. The meridians 180 and -180 are the same one, so a box that
// touches it on one side holds points written either way.
func (b BBox) Spans() []Span {
	switch {
	case b.West > b.East:
		return []Span{{b.West, 180}, {-180, b.East}}
	case b.West == -180 && b.East == 180:
		return []Span{{-180, 180}}
	case b.East == 180:
		return []Span{{b.West, 180}, {-180, -180}}
	case b.West == -180:
		return []Span{{-180, b.East}, {180, 180}}
	}
	return []Span{{b.West, b.East}}
}

// Contains tells whether a point lies in the box or on its edge.
func (b BBox) Contains(latitude, longitude float64) bool {
	if latitude < b.South || latitude > b.North {
		return false
	}
	for _, s := range b.Spans() {
		if s.West <= longitude && longitude <= s.East {
			return true
		}
	}
	return false
}
