package batch

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
)

// geoReader reads the features of a collection, one after the other.
type geoReader struct {
	a        *assembler
	decoder  *json.Decoder
	bound    *bounded
	text     *textSource
	features int
	isType   bool // whether the type of the collection was seen
	listed   bool // whether its features were
}

func (a *assembler) readGeoJSON(r io.Reader) error {
	text, err := newText(r, GeoJSON, a.options.MaxBytes)
	if err != nil {
		return err
	}
	// Twice a feature: the decoder reads ahead by as much as it holds.
	g := &geoReader{a: a, text: text, bound: &bounded{r: text, span: 2 * maxFeatureBytes}}
	g.decoder = json.NewDecoder(g.bound)
	return g.broken(g.collection())
}

// broken makes an error of the file of one of the decoder.
func (g *geoReader) broken(err error) error {
	var file *FileError
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case err == nil, errors.As(err, &file), errors.Is(err, errStopped):
		return err
	case errors.Is(err, errSpan):
		return fileError(g.features+1, "takes more than %d bytes", maxFeatureBytes)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return fileError(0, "the text ends before the collection does, after feature %d: was it received whole?", g.features)
	case errors.As(err, &syntax), errors.As(err, &kind):
		return fileError(0, "the text is no JSON after feature %d, about line %d: %v", g.features, g.text.lines+1, err)
	}
	return err
}

const wantCollection = "must be one JSON object of type FeatureCollection (RFC 7946); a single feature, a geometry or a " +
	"sequence of features is none"

func (g *geoReader) collection() error {
	if t, err := g.decoder.Token(); err != nil {
		return err
	} else if t != json.Delim('{') {
		return fileError(0, "%s", wantCollection)
	}
	for g.decoder.More() {
		key, err := g.decoder.Token()
		if err != nil {
			return err
		}
		if err := g.member(key.(string)); err != nil {
			return err
		}
		g.bound.mark = g.decoder.InputOffset()
	}
	if _, err := g.decoder.Token(); err != nil {
		return err
	}
	if !g.isType || !g.listed {
		return fileError(0, "%s", wantCollection)
	}
	if _, err := g.decoder.Token(); err != io.EOF {
		return fileError(0, "there is text after the collection")
	}
	switch {
	case g.features == 0:
		return fileError(0, "the collection has no features")
	case g.a.rows == 0:
		return fileError(0, "the collection has no features but blank ones")
	}
	return nil
}

// member takes one member of the collection; those that RFC 7946 does not know are passed over.
func (g *geoReader) member(key string) error {
	if key == "features" {
		if g.listed {
			return fileError(0, "the collection has two lists of features")
		}
		g.listed = true
		return g.list()
	}
	var raw json.RawMessage
	if err := g.decoder.Decode(&raw); err != nil {
		return err
	}
	switch key {
	case "type":
		if g.isType = string(raw) == `"FeatureCollection"`; !g.isType {
			return fileError(0, "%s; found type %s", wantCollection, short(string(raw)))
		}
	case "crs":
		return referenceSystem(raw)
	}
	return nil
}

// referenceSystem accepts the older way to name the system that RFC 7946 takes for granted.
func referenceSystem(raw json.RawMessage) error {
	var crs struct{ Properties struct{ Name string } }
	if string(raw) == "null" {
		return nil
	}
	if json.Unmarshal(raw, &crs) == nil {
		switch crs.Properties.Name {
		case "urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:OGC::CRS84", "OGC:CRS84":
			return nil
		}
	}
	return fileError(0, "the coordinates are in another reference system (crs %s): write them as longitude and latitude on WGS 84, "+
		"as RFC 7946 has them, and leave crs out", short(string(raw)))
}

func (g *geoReader) list() error {
	if t, err := g.decoder.Token(); err != nil {
		return err
	} else if t != json.Delim('[') {
		return fileError(0, "features must be a list")
	}
	for g.decoder.More() {
		g.bound.mark = g.decoder.InputOffset()
		var raw json.RawMessage
		if err := g.decoder.Decode(&raw); err != nil {
			return err
		}
		if len(raw) > maxFeatureBytes {
			return errSpan
		}
		g.features++
		if err := g.feature(raw); err != nil {
			return err
		}
	}
	_, err := g.decoder.Token()
	return err
}

// feature makes a row of a feature.
func (g *geoReader) feature(raw json.RawMessage) error {
	var f struct {
		Type       string
		Geometry   json.RawMessage
		Properties json.RawMessage
	}
	row := Row{Number: g.features}
	if json.Unmarshal(raw, &f) != nil || f.Type != "Feature" {
		return g.a.refuse(row, "must be an object of type Feature with geometry and properties")
	}
	entries, unknown, err := properties(f.Properties)
	if err != nil {
		return g.a.refuse(row, "properties "+err.Error())
	}
	if len(unknown) > 0 && g.features == 1 {
		return unknownProperties(unknown)
	}
	for _, e := range unknown {
		row.Faults = append(row.Faults, RowFault{Row: row.Number, Column: short(e.name), Value: short(e.cell.text),
			Reason: unknownColumn(e.name)})
	}
	entries, outline, fault := place(f.Geometry, entries)
	if fault != "" {
		row.Faults = append(row.Faults, RowFault{Row: row.Number, Column: "geometry", Reason: fault})
	}
	return g.a.row(row, entries, outline)
}

// unknownProperties stops at the first feature, whose properties are the header of the file.
func unknownProperties(unknown []entry) error {
	e := &FileError{}
	for _, u := range unknown {
		e.Faults = append(e.Faults, FileFault{Row: 1, Column: short(u.name), Reason: unknownColumn(u.name)})
	}
	return e
}

// properties are the cells of a feature, in its order; unknown are those under no known name.
func properties(raw json.RawMessage) (entries, unknown []entry, err error) {
	if len(raw) == 0 || string(raw) == "null" {
		return nil, nil, nil
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return nil, nil, errors.New("must be an object")
	}
	seen := map[string]bool{}
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return nil, nil, err
		}
		var value any
		if err := d.Decode(&value); err != nil {
			return nil, nil, err
		}
		name := canonical(key.(string))
		if seen[name] {
			return nil, nil, fmt.Errorf("hold %s twice", strconv.Quote(short(name)))
		}
		seen[name] = true
		if s := slots[name]; s != nil {
			entries = append(entries, entry{s, cellOf(value)})
		} else {
			unknown = append(unknown, entry{&slot{name: name}, cellOf(value)})
		}
	}
	return entries, unknown, nil
}

func cellOf(value any) cell {
	switch v := value.(type) {
	case nil:
		return cell{}
	case string:
		return textOf(v)
	case bool:
		return booleanOf(v)
	case json.Number:
		f, err := v.Float64()
		if err != nil {
			return cell{kind: faultyCell, text: v.String(), reason: "is out of range"}
		}
		return numberOf(f)
	}
	return cell{kind: faultyCell, reason: "must be a text, a number, true or false, not a list or an object"}
}

// place puts the location of the geometry among the entries and returns the
// outline of the building, or says what is wrong with it.
func place(raw json.RawMessage, entries []entry) ([]entry, *footprint, string) {
	if len(raw) == 0 || string(raw) == "null" {
		return entries, nil, "" // the location must then stand in the properties
	}
	s, fault := readGeometry(raw)
	if fault != "" {
		return unplaced(s.polygon, entries), nil, fault
	}
	for _, c := range []struct {
		column string
		value  float64
	}{{"latitude", s.latitude}, {"longitude", s.longitude}} {
		i := find(entries, c.column)
		if i < 0 {
			entries = append(entries, entry{slots[c.column], numberOf(c.value)})
			continue
		}
		const near = 1e-5 // degrees, about a metre: coordinates are often rounded in properties
		if e := &entries[i].cell; e.kind == blank || e.kind == numberCell && math.Abs(e.number-c.value) <= near {
			*e = numberOf(c.value)
		} else if e.kind == numberCell {
			*e = cell{kind: faultyCell, text: e.text, reason: "contradicts the geometry, which says " + plain(c.value) +
				": leave it out, or correct one of them"}
		}
	}
	return entries, s.outline, ""
}

func find(entries []entry, column string) int {
	for i := range entries {
		if entries[i].name == column {
			return i
		}
	}
	return -1
}

// unplaced keeps a fault of the geometry from being told again as missing numbers.
func unplaced(polygon bool, entries []entry) []entry {
	columns := []string{"latitude", "longitude"}
	if polygon {
		columns = append(columns, "length_m", "width_m")
	}
	for _, c := range columns {
		if i := find(entries, c); i < 0 {
			entries = append(entries, entry{slots[c], cell{kind: knownCell}})
		}
	}
	return entries
}
