package sites

import (
	"bufio"
	"encoding/json"
	"io"

	"levinward/api/assess"
	"levinward/store"
)

// geoJSONWriter writes a GeoJSON FeatureCollection (RFC 7946).
type geoJSONWriter struct {
	w    *bufio.Writer
	some bool
}

// NewGeoJSON writes a FeatureCollection (RFC 7946).
func NewGeoJSON(out io.Writer) (Writer, error) {
	cautions, err := json.Marshal(assess.Cautions())
	if err != nil {
		return nil, err
	}
	f := &geoJSONWriter{w: bufio.NewWriter(out)}
	_, err = f.w.WriteString(`{"type":"FeatureCollection","cautions":` + string(cautions) + `,"features":[`)
	return f, err
}

func (f *geoJSONWriter) Write(s *store.Site) error {
	b, err := json.Marshal(FeatureOf(s))
	if err != nil {
		return err
	}
	separator := ",\n"
	if !f.some {
		f.some, separator = true, "\n"
	}
	if _, err := f.w.WriteString(separator); err != nil {
		return err
	}
	_, err = f.w.Write(b)
	return err
}

func (f *geoJSONWriter) Flush() error { return f.w.Flush() }

func (f *geoJSONWriter) Discard() {}

func (f *geoJSONWriter) Close() error {
	if _, err := f.w.WriteString("\n]}\n"); err != nil {
		return err
	}
	return f.w.Flush()
}
