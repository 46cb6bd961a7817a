package geo

import (
	"bufio"
	"encoding/binary"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Tags of TIFF 6.0, of its Technical Notes 1 and 3, of GeoTIFF (OGC 19-008r4), and of the GDAL metadata convention.
const (
	tagNewSubfileType      = 254
	tagImageWidth          = 256
	tagImageLength         = 257
	tagBitsPerSample       = 258
	tagCompression         = 259
	tagFillOrder           = 266
	tagStripOffsets        = 273
	tagSamplesPerPixel     = 277
	tagRowsPerStrip        = 278
	tagStripByteCounts     = 279
	tagPredictor           = 317
	tagTileWidth           = 322
	tagTileLength          = 323
	tagTileOffsets         = 324
	tagTileByteCounts      = 325
	tagSampleFormat        = 339
	tagModelPixelScale     = 33550
	tagModelTiepoint       = 33922
	tagModelTransformation = 34264
	tagGeoKeyDirectory     = 34735
	tagGeoDoubleParams     = 34736
	tagGDALMetadata        = 42112
	tagGDALNoData          = 42113
)

var tiffTagNames = map[uint16]string{
	tagNewSubfileType: "NewSubfileType", tagImageWidth: "ImageWidth", tagImageLength: "ImageLength",
	tagBitsPerSample: "BitsPerSample", tagCompression: "Compression", tagFillOrder: "FillOrder",
	tagStripOffsets: "StripOffsets", tagSamplesPerPixel: "SamplesPerPixel", tagRowsPerStrip: "RowsPerStrip",
	tagStripByteCounts: "StripByteCounts", tagPredictor: "Predictor", tagTileWidth: "TileWidth",
	tagTileLength: "TileLength", tagTileOffsets: "TileOffsets", tagTileByteCounts: "TileByteCounts",
	tagSampleFormat: "SampleFormat", tagModelPixelScale: "ModelPixelScale", tagModelTiepoint: "ModelTiepoint",
	tagModelTransformation: "ModelTransformation", tagGeoKeyDirectory: "GeoKeyDirectory",
	tagGeoDoubleParams: "GeoDoubleParams", tagGDALMetadata: "GDAL_METADATA", tagGDALNoData: "GDAL_NODATA",
}

// tiffBlockTags grow with the image; every other tag stays below maxTIFFTagBytes.
var tiffBlockTags = map[uint16]bool{tagStripOffsets: true, tagStripByteCounts: true, tagTileOffsets: true, tagTileByteCounts: true}

const maxTIFFTagBytes = 1 << 18

func tiffTagWhere(tag uint16) string { return fmt.Sprintf("tag %d %s", tag, tiffTagNames[tag]) }

// Field types of TIFF and BigTIFF and their sizes in bytes.
const (
	tiffByte   = 1
	tiffASCII  = 2
	tiffShort  = 3
	tiffLong   = 4
	tiffFloat  = 11
	tiffDouble = 12
	tiffLong8  = 16
)

var tiffTypeSize = map[uint16]uint64{tiffByte: 1, tiffASCII: 1, tiffShort: 2, tiffLong: 4, tiffFloat: 4, tiffDouble: 8, tiffLong8: 8}

// readDensityGeoTIFF reads a GeoTIFF or BigTIFF of one band.
func readDensityGeoTIFF(in *bufio.Reader, meta DensityMapMeta, limits DensityMapLimits, faults *rasterFaults) (*DensityMap, error) {
	data, err := io.ReadAll(in)
	if err != nil {
		return nil, err
	}
	f := &tiffFile{data: data, faults: faults}
	tags := f.image()
	if tags == nil {
		return nil, faults.err()
	}
	layout, ok := f.layout(tags, limits)
	grid, southUp := f.georeference(tags)
	layout.checks = f.valueChecks(tags, meta)
	if !ok {
		return nil, faults.err()
	}
	grid.Columns, grid.Rows = layout.columns, layout.rows
	if southUp {
		grid.North += float64(grid.Rows) * grid.CellHeight
	}
	grid.check("georeference", faults)
	if err := faults.err(); err != nil {
		return nil, err
	}
	values := f.readBlocks(layout)
	if southUp {
		flipRasterRows(values, grid.Columns)
	}
	return newDensityMap(meta, grid, values, "georeference", faults)
}

func flipRasterRows(values []float32, columns int) {
	for top, bottom := 0, len(values)-columns; top < bottom; top, bottom = top+columns, bottom-columns {
		for i := range columns {
			values[top+i], values[bottom+i] = values[bottom+i], values[top+i]
		}
	}
}

type tiffFile struct {
	data   []byte
	order  binary.ByteOrder
	big    bool
	faults *rasterFaults
}

// tiffTags holds the raw content of the tags of one image.
type tiffTags map[uint16]tiffTag

type tiffTag struct {
	kind  uint16
	count uint64
	raw   []byte
}

// tiffWord reads an unsigned integer of 1, 2, 4 or 8 bytes.
func tiffWord(order binary.ByteOrder, b []byte) uint64 {
	switch len(b) {
	case 1:
		return uint64(b[0])
	case 2:
		return uint64(order.Uint16(b))
	case 4:
		return uint64(order.Uint32(b))
	}
	return order.Uint64(b)
}

// bytes returns n bytes at an offset, or nil when the file ends before.
func (f *tiffFile) bytes(offset, n uint64) []byte {
	size := uint64(len(f.data))
	if n > size || offset > size-n {
		return nil
	}
	return f.data[offset : offset+n]
}

// maxTIFFImages bounds how many images of a file are looked at: enough for every overview of the largest map.
const maxTIFFImages = 64

// image returns the tags of the file's one full image, nil if there is none that can be read. Overviews and masks are
// passed over.
func (f *tiffFile) image() tiffTags {
	offset, ok := f.header()
	if !ok {
		return nil
	}
	var image tiffTags
	for n := 1; offset != 0; n++ {
		where := fmt.Sprintf("image %d", n)
		if n > maxTIFFImages {
			f.faults.add(DensityFaultUnsupported, where, "more than %d images in a file, or a circle of them", maxTIFFImages)
			return nil
		}
		tags, next, ok := f.directory(offset, where)
		if !ok {
			return nil
		}
		const overviewOrMask = 1 | 4
		kind, _ := f.number(tags, tagNewSubfileType, 0)
		switch {
		case image == nil:
			image = tags
		case kind&overviewOrMask == 0:
			f.faults.add(DensityFaultUnsupported, where, "a second full image: one map in a file is needed")
			return nil
		}
		offset = next
	}
	if image == nil {
		f.faults.add(DensityFaultHeader, "header", "the file holds no image")
	}
	return image
}

// header reads byte order and format, and returns where the first directory stands.
func (f *tiffFile) header() (uint64, bool) {
	head := f.bytes(0, 8)
	if head == nil {
		f.faults.add(DensityFaultTruncated, "header", "the file ends after %d bytes", len(f.data))
		return 0, false
	}
	f.order = binary.LittleEndian
	if head[0] == 'M' {
		f.order = binary.BigEndian
	}
	f.big = f.order.Uint16(head[2:]) == 43
	if !f.big {
		return uint64(f.order.Uint32(head[4:])), true
	}
	if offset := f.bytes(8, 8); offset != nil && f.order.Uint16(head[4:]) == 8 && f.order.Uint16(head[6:]) == 0 {
		return f.order.Uint64(offset), true
	}
	f.faults.add(DensityFaultHeader, "header", "this is not the header of a BigTIFF with offsets of 8 bytes")
	return 0, false
}

// directory reads the tags of one image that matter here, and where the next image stands.
func (f *tiffFile) directory(offset uint64, where string) (tags tiffTags, next uint64, ok bool) {
	countSize, entrySize, wordSize := uint64(2), uint64(12), uint64(4)
	if f.big {
		countSize, entrySize, wordSize = 8, 20, 8
	}
	countBytes := f.bytes(offset, countSize)
	if countBytes == nil {
		f.faults.add(DensityFaultTruncated, where, "its directory at byte %d is beyond the file's %d bytes", offset, len(f.data))
		return nil, 0, false
	}
	n := tiffWord(f.order, countBytes)
	if n == 0 || n > 4096 {
		f.faults.add(DensityFaultHeader, where, "%d tags: 1 to 4096 are allowed", n)
		return nil, 0, false
	}
	entries := f.bytes(offset+countSize, n*entrySize+wordSize)
	if entries == nil {
		f.faults.add(DensityFaultTruncated, where, "the file's %d bytes end within its %d tags", len(f.data), n)
		return nil, 0, false
	}
	tags = tiffTags{}
	for ; n > 0; n-- {
		f.entry(tags, entries[:entrySize], wordSize)
		entries = entries[entrySize:]
	}
	return tags, tiffWord(f.order, entries[:wordSize]), true
}

// entry adds one tag, if it is of those that matter.
func (f *tiffFile) entry(tags tiffTags, entry []byte, wordSize uint64) {
	tag, kind := f.order.Uint16(entry), f.order.Uint16(entry[2:])
	if tiffTagNames[tag] == "" {
		return
	}
	where := tiffTagWhere(tag)
	size := tiffTypeSize[kind]
	count := tiffWord(f.order, entry[4:4+wordSize])
	if _, double := tags[tag]; double {
		f.faults.add(DensityFaultHeader, where, "stands there twice")
		return
	}
	switch {
	case size == 0:
		f.faults.add(DensityFaultHeader, where, "field type %d is not expected", kind)
		return
	case count == 0 || count > uint64(len(f.data)):
		f.faults.add(DensityFaultHeader, where, "%d values in a file of %d bytes", count, len(f.data))
		return
	}
	if !tiffBlockTags[tag] && count*size > maxTIFFTagBytes {
		f.faults.add(DensityFaultTooLarge, where, "%d bytes: %d are allowed", count*size, maxTIFFTagBytes)
		return
	}
	raw := entry[4+wordSize:]
	if count*size > wordSize {
		raw = f.bytes(tiffWord(f.order, raw), count*size)
	}
	if raw == nil {
		f.faults.add(DensityFaultTruncated, where, "its %d values lie beyond the file's %d bytes", count, len(f.data))
		return
	}
	tags[tag] = tiffTag{kind, count, raw[:count*size]}
}

// numbers returns the whole numbers of a tag, nil if it is absent or of another type. A fault says which.
func (f *tiffFile) numbers(tags tiffTags, tag uint16) []uint64 {
	t, ok := tags[tag]
	if !ok {
		return nil
	}
	if t.kind != tiffByte && t.kind != tiffShort && t.kind != tiffLong && t.kind != tiffLong8 {
		f.faults.add(DensityFaultHeader, tiffTagWhere(tag), "field type %d: whole numbers are needed", t.kind)
		return nil
	}
	size := tiffTypeSize[t.kind]
	out := make([]uint64, t.count)
	for i := range out {
		out[i] = tiffWord(f.order, t.raw[uint64(i)*size:uint64(i+1)*size])
	}
	return out
}

// number returns the one whole number of a tag, or otherwise if it is absent.
func (f *tiffFile) number(tags tiffTags, tag uint16, otherwise uint64) (value uint64, given bool) {
	if t, ok := tags[tag]; !ok {
		return otherwise, false
	} else if t.count != 1 {
		f.faults.add(DensityFaultHeader, tiffTagWhere(tag), "%d values: one is needed", t.count)
		return otherwise, false
	}
	all := f.numbers(tags, tag)
	if all == nil {
		return otherwise, false
	}
	return all[0], true
}

// doubles returns the floating-point numbers of a tag, nil if it is absent or of another type.
func (f *tiffFile) doubles(tags tiffTags, tag uint16) []float64 {
	t, ok := tags[tag]
	if !ok {
		return nil
	}
	if t.kind != tiffDouble && t.kind != tiffFloat {
		f.faults.add(DensityFaultHeader, tiffTagWhere(tag), "field type %d: floating-point numbers are needed", t.kind)
		return nil
	}
	size := tiffTypeSize[t.kind]
	out := make([]float64, t.count)
	for i := range out {
		word := tiffWord(f.order, t.raw[uint64(i)*size:uint64(i+1)*size])
		if size == 8 {
			out[i] = math.Float64frombits(word)
		} else {
			out[i] = float64(math.Float32frombits(uint32(word)))
		}
	}
	return out
}

// text returns the text of a tag without its end mark.
func (tags tiffTags) text(tag uint16) string {
	return strings.TrimSpace(strings.TrimRight(string(tags[tag].raw), "\x00"))
}

// valueChecks finds the no-data mark, and refuses cells that would have to be scaled to become values.
func (f *tiffFile) valueChecks(tags tiffTags, meta DensityMapMeta) rasterValues {
	checks := rasterValues{limit: meta.maxValue()}
	if _, ok := tags[tagGDALNoData]; ok {
		mark, err := strconv.ParseFloat(tags.text(tagGDALNoData), 64)
		if err != nil {
			f.faults.add(DensityFaultHeader, tiffTagWhere(tagGDALNoData), "%.40q is not a number", tags.text(tagGDALNoData))
		}
		checks.noData, checks.hasNoData = mark, err == nil
	}
	if tags[tagGDALMetadata].raw == nil {
		return checks
	}
	var items struct {
		Items []struct {
			Role  string `xml:"role,attr"`
			Value string `xml:",chardata"`
		} `xml:"Item"`
	}
	if err := xml.Unmarshal([]byte(tags.text(tagGDALMetadata)), &items); err != nil {
		f.faults.add(DensityFaultHeader, tiffTagWhere(tagGDALMetadata), "cannot be read: %v", err)
	}
	neutral := map[string]float64{"scale": 1, "offset": 0}
	for _, item := range items.Items {
		plain, scales := neutral[item.Role]
		if v, err := strconv.ParseFloat(strings.TrimSpace(item.Value), 64); scales && (err != nil || v != plain) {
			f.faults.add(DensityFaultUnsupported, tiffTagWhere(tagGDALMetadata), "%s %.40q: store the values themselves, "+
				"not scaled ones", item.Role, item.Value)
		}
	}
	return checks
}

// georeference finds where the cells lie. southUp says that the first row is the southern one; North is then the outer
// edge of that row. The number of columns and rows is not known here.
func (f *tiffFile) georeference(tags tiffTags) (g DensityGrid, southUp bool) {
	pixelIsPoint := f.geoKeys(tags)
	scale, tie := f.doubles(tags, tagModelPixelScale), f.doubles(tags, tagModelTiepoint)
	transformation := f.doubles(tags, tagModelTransformation)
	bad := func(tag uint16, format string, args ...any) {
		f.faults.add(DensityFaultGeoreference, tiffTagWhere(tag), format, args...)
	}
	var column, row float64 // raster position of the known point
	switch {
	case transformation != nil && scale != nil:
		f.faults.add(DensityFaultContradicts, tiffTagWhere(tagModelTransformation), "excludes %s", tiffTagWhere(tagModelPixelScale))
		return g, false
	case transformation != nil && len(transformation) != 16:
		bad(tagModelTransformation, "%d numbers: 16 are needed", len(transformation))
		return g, false
	case transformation != nil:
		m := transformation
		if m[1] != 0 || m[4] != 0 {
			bad(tagModelTransformation, "rotates or shears the grid: columns must run to the east and rows to the south")
		}
		g.CellWidth, g.CellHeight, g.West, g.North = m[0], -m[5], m[3], m[7]
	case scale == nil || tie == nil:
		bad(tagModelPixelScale, "with %s, or %s, is needed to know where the cells lie",
			tiffTagWhere(tagModelTiepoint), tiffTagWhere(tagModelTransformation))
		return g, false
	case len(scale) != 3 || len(tie) != 6:
		bad(tagModelTiepoint, "%d numbers beside %d of the scale: 6, one point, beside 3 are needed", len(tie), len(scale))
		return g, false
	default:
		g.CellWidth, g.CellHeight, g.West, g.North = scale[0], scale[1], tie[3], tie[4]
		column, row = tie[0], tie[1]
		if !(scale[1] > 0) {
			bad(tagModelPixelScale, "height %g of a cell is not above 0", scale[1])
		}
	}
	if pixelIsPoint { // raster positions count from the centre of the first cell, not from its corner
		column, row = column+0.5, row+0.5
	}
	g.West -= column * g.CellWidth
	g.North += row * g.CellHeight
	if g.CellHeight < 0 {
		g.CellHeight, southUp = -g.CellHeight, true
	}
	return g, southUp
}

// GeoKeys and their codes, OGC 19-008r4 (GeoTIFF 1.1).
const (
	geoKeyModelType      = 1024
	geoKeyRasterType     = 1025
	geoKeyGeodeticCRS    = 2048
	geoKeyDatum          = 2050
	geoKeyPrimeMeridian  = 2051
	geoKeyAngularUnit    = 2054
	geoKeyEllipsoid      = 2056
	geoKeySemiMajorAxis  = 2057
	geoKeyInvFlattening  = 2059
	geoKeyMeridianOffset = 2061

	geoUserDefined = 32767
)

// geoKeyRules lists what a map on WGS 84, or on an unspecified datum, may say of itself. Whole numbers that GeoTIFF
// leaves undefined (0) or to the user (32767) pass where the other keys decide.
var geoKeyRules = []struct {
	key     uint16
	name    string
	allowed []uint16
	need    string
}{
	{geoKeyModelType, "GTModelType", []uint16{2}, "2, geographic: longitude and latitude, no projection"},
	{geoKeyRasterType, "GTRasterType", []uint16{1, 2}, "1 (cells are areas) or 2 (cells are points)"},
	{geoKeyGeodeticCRS, "GeodeticCRS", []uint16{0, 4326, geoUserDefined}, "4326, WGS 84"},
	{geoKeyDatum, "GeodeticDatum", []uint16{0, 6326, geoUserDefined}, "6326, WGS 84"},
	{geoKeyPrimeMeridian, "PrimeMeridian", []uint16{0, 8901, geoUserDefined}, "8901, Greenwich"},
	{geoKeyAngularUnit, "GeogAngularUnits", []uint16{0, 9102}, "9102, degree"},
	{geoKeyEllipsoid, "Ellipsoid", []uint16{0, 7030, geoUserDefined}, "7030, WGS 84"},
}

// geoNumberRules are the floating-point keys of a datum that a writer spells out.
var geoNumberRules = []struct {
	key         uint16
	name        string
	want, slack float64
}{
	{geoKeySemiMajorAxis, "EllipsoidSemiMajorAxis", 6378137, 1},
	{geoKeyInvFlattening, "EllipsoidInvFlattening", 298.257223563, 0.001},
	{geoKeyMeridianOffset, "PrimeMeridianLongitude", 0, 1e-9},
}

// geoKeys refuses anything but degrees on WGS 84 or on an unspecified datum, and says whether cells are points.
func (f *tiffFile) geoKeys(tags tiffTags) (pixelIsPoint bool) {
	where := tiffTagWhere(tagGeoKeyDirectory)
	directory := f.numbers(tags, tagGeoKeyDirectory)
	if len(directory) < 4 || directory[0] != 1 || (uint64(len(directory))-4)/4 < directory[3] {
		f.faults.add(DensityFaultGeoreference, where, "is missing or damaged: it must say that the map is geographic on WGS 84")
		return false
	}
	whole, number := map[uint16]uint16{}, map[uint16]float64{}
	doubles := f.doubles(tags, tagGeoDoubleParams)
	for i := range int(directory[3]) {
		entry := directory[4+4*i:]
		key, place, value := uint16(entry[0]), entry[1], entry[3]
		switch {
		case place == 0:
			whole[key] = uint16(value)
		case place == tagGeoDoubleParams && value < uint64(len(doubles)):
			number[key] = doubles[value]
		}
	}
	if _, ok := whole[geoKeyModelType]; !ok {
		f.faults.add(DensityFaultGeoreference, where, "key %d GTModelType is missing: 2, geographic, is needed", geoKeyModelType)
	}
	for _, rule := range geoKeyRules {
		if v, ok := whole[rule.key]; ok && !slices.Contains(rule.allowed, v) {
			f.faults.add(DensityFaultGeoreference, where, "key %d %s is %d: %s is needed", rule.key, rule.name, v, rule.need)
		}
	}
	for _, rule := range geoNumberRules {
		if v, ok := number[rule.key]; ok && !(math.Abs(v-rule.want) <= rule.slack) {
			f.faults.add(DensityFaultGeoreference, where, "key %d %s is %.10g: %.12g is needed", rule.key, rule.name, v, rule.want)
		}
	}
	return whole[geoKeyRasterType] == 2
}
