package geo

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// tiffLayout says how the cells of an image are stored: in blocks, which are tiles or strips of full width.
type tiffLayout struct {
	columns, rows           int
	blockColumns, blockRows int
	tiled                   bool
	offsets, byteCounts     []uint64
	compression, predictor  uint64
	sampleBytes             int
	sampleFormat            uint64 // 1 unsigned, 2 signed, 3 floating point
	checks                  rasterValues
}

// Codes of TIFF.
const (
	tiffUncompressed = 1
	tiffLZWCode      = 5
	tiffDeflate      = 8
	tiffDeflateOld   = 32946

	tiffPredictNone       = 1
	tiffPredictHorizontal = 2
	tiffPredictFloat      = 3

	tiffUnsigned      = 1
	tiffSigned        = 2
	tiffFloatingPoint = 3
)

const (
	// maxTIFFTile is the longest side of a tile, in cells.
	maxTIFFTile = 4096
	// maxTIFFBlocks is how many strips or tiles an image may have: a world grid of 0.01 degrees in the smallest tiles.
	maxTIFFBlocks = 4_000_000
	// maxTIFFRatio is more than deflate (1032) or LZW (below 2600) can shrink data: a file that promises more lies.
	maxTIFFRatio = 2600
)

// layout reads and checks all that decides how cells are stored. ok is false when something is wrong with it.
func (f *tiffFile) layout(tags tiffTags, limits DensityMapLimits) (l tiffLayout, ok bool) {
	before := f.faults.total
	f.samples(tags, &l)
	columns, okColumns := f.number(tags, tagImageWidth, 0)
	rows, okRows := f.number(tags, tagImageLength, 0)
	if !okColumns || !okRows {
		f.faults.add(DensityFaultHeader, tiffTagWhere(tagImageWidth), "or %s is missing", tiffTagWhere(tagImageLength))
		return l, false
	}
	cells := limits.checkCells(columns, rows, tiffTagWhere(tagImageWidth), f.faults)
	if cells == 0 || f.faults.total > before {
		return l, false
	}
	l.columns, l.rows = int(columns), int(rows)
	if !f.blocks(tags, &l, limits) {
		return l, false
	}
	ratio := uint64(1)
	if l.compression != tiffUncompressed {
		ratio = maxTIFFRatio
	}
	if uint64(cells*l.sampleBytes)/ratio > uint64(len(f.data)) {
		f.faults.add(DensityFaultTruncated, tiffTagWhere(tagImageWidth), "%d columns x %d rows of %d bytes cannot be held in a file of %d bytes",
			columns, rows, l.sampleBytes, len(f.data))
	}
	return l, f.faults.total == before
}

// samples reads what one cell is.
func (f *tiffFile) samples(tags tiffTags, l *tiffLayout) {
	only := func(tag uint16, otherwise uint64, need string, allowed ...uint64) uint64 {
		v, _ := f.number(tags, tag, otherwise)
		for _, a := range allowed {
			if v == a {
				return v
			}
		}
		f.faults.add(DensityFaultUnsupported, tiffTagWhere(tag), "%d: %s", v, need)
		return v
	}
	if only(tagSamplesPerPixel, 1, "one band is needed", 1) != 1 {
		return
	}
	only(tagFillOrder, 1, "1 is needed", 1)
	l.compression = only(tagCompression, tiffUncompressed, "1 (none), 5 (LZW), 8 or 32946 (deflate) is needed",
		tiffUncompressed, tiffLZWCode, tiffDeflate, tiffDeflateOld)
	l.predictor = only(tagPredictor, tiffPredictNone, "1 (none), 2 (differences) or 3 (floating point) is needed",
		tiffPredictNone, tiffPredictHorizontal, tiffPredictFloat)
	bits, _ := f.number(tags, tagBitsPerSample, 1)
	l.sampleFormat, _ = f.number(tags, tagSampleFormat, tiffUnsigned)
	switch {
	case l.sampleFormat == tiffFloatingPoint && (bits == 32 || bits == 64):
	case l.sampleFormat == tiffUnsigned && (bits == 8 || bits == 16):
	case l.sampleFormat == tiffSigned && bits == 16:
	default:
		f.faults.add(DensityFaultUnsupported, tiffTagWhere(tagBitsPerSample), "%d bits with %s %d: floating point (3) of 32 or 64 bits, "+
			"signed (2) of 16 or unsigned (1) of 8 or 16 are needed", bits, tiffTagWhere(tagSampleFormat), l.sampleFormat)
		return
	}
	l.sampleBytes = int(bits / 8)
	if l.predictor == tiffPredictFloat && l.sampleFormat != tiffFloatingPoint {
		f.faults.add(DensityFaultContradicts, tiffTagWhere(tagPredictor), "3 is for floating point only")
	}
	if l.predictor != tiffPredictNone && l.compression == tiffUncompressed {
		f.faults.add(DensityFaultContradicts, tiffTagWhere(tagPredictor), "%d has no meaning without compression", l.predictor)
	}
}

// blocks reads where the strips or tiles are.
func (f *tiffFile) blocks(tags tiffTags, l *tiffLayout, limits DensityMapLimits) bool {
	bad := func(code DensityMapFaultCode, tag uint16, format string, args ...any) bool {
		f.faults.add(code, tiffTagWhere(tag), format, args...)
		return false
	}
	offsetsTag, countsTag := uint16(tagStripOffsets), uint16(tagStripByteCounts)
	_, l.tiled = tags[tagTileWidth]
	if l.tiled {
		offsetsTag, countsTag = tagTileOffsets, tagTileByteCounts
		width, _ := f.number(tags, tagTileWidth, 0)
		length, _ := f.number(tags, tagTileLength, 0)
		if width == 0 || length == 0 || width%16 != 0 || length%16 != 0 || width > maxTIFFTile || length > maxTIFFTile {
			return bad(DensityFaultHeader, tagTileWidth, "tiles of %d x %d: multiples of 16 up to %d are allowed", width, length, maxTIFFTile)
		}
		l.blockColumns, l.blockRows = int(width), int(length)
	} else {
		perStrip, _ := f.number(tags, tagRowsPerStrip, uint64(l.rows))
		if perStrip == 0 {
			return bad(DensityFaultHeader, tagRowsPerStrip, "is 0")
		}
		l.blockColumns, l.blockRows = l.columns, int(min(perStrip, uint64(l.rows)))
	}
	across, down := ceilDivide(l.columns, l.blockColumns), ceilDivide(l.rows, l.blockRows)
	// Margins of tiles are decompressed too, so they count against the limit, or thin images would cost without bound.
	if l.tiled && across*down > max(1, limits.MaxCells/(l.blockColumns*l.blockRows)) {
		return bad(DensityFaultTooLarge, tagTileWidth, "%d tiles of %d x %d cells: %d cells are allowed, margins included",
			across*down, l.blockColumns, l.blockRows, limits.MaxCells)
	}
	if across*down > maxTIFFBlocks {
		return bad(DensityFaultTooLarge, offsetsTag, "%d strips or tiles: %d are allowed", across*down, maxTIFFBlocks)
	}
	for _, part := range []struct {
		tag  uint16
		into *[]uint64
	}{{offsetsTag, &l.offsets}, {countsTag, &l.byteCounts}} {
		if n := tags[part.tag].count; n != uint64(across*down) {
			return bad(DensityFaultContradicts, part.tag, "%d entries: %d columns x %d rows in blocks of %d x %d make %d",
				n, l.columns, l.rows, l.blockColumns, l.blockRows, across*down)
		}
		if *part.into = f.numbers(tags, part.tag); *part.into == nil {
			return false
		}
	}
	return true
}

func ceilDivide(a, b int) int { return (a + b - 1) / b }

// readBlocks decodes the whole image, row by row of each block, so that no more than a row is held beside file and
// result. Faults are noted; the caller must look at them before it uses the values.
func (f *tiffFile) readBlocks(l tiffLayout) []float32 {
	values := make([]float32, l.columns*l.rows)
	decoder := &tiffDecoder{}
	across := ceilDivide(l.columns, l.blockColumns)
	for i := range l.offsets {
		kind := "strip"
		if l.tiled {
			kind = "tile"
		}
		where := fmt.Sprintf("%s %d", kind, i+1)
		data := f.bytes(l.offsets[i], l.byteCounts[i])
		if len(data) == 0 {
			f.faults.add(DensityFaultTruncated, where, "its %d bytes at byte %d are not in the file's %d bytes",
				l.byteCounts[i], l.offsets[i], len(f.data))
			continue
		}
		column, row := i%across*l.blockColumns, i/across*l.blockRows
		f.readBlock(l, decoder, data, column, row, where, values)
	}
	return values
}

// readBlock decodes one block whose first cell is the given one.
func (f *tiffFile) readBlock(l tiffLayout, d *tiffDecoder, data []byte, column, row int, where string, values []float32) {
	broken := func(err error, done int) {
		code := DensityFaultFormat
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			code, err = DensityFaultTruncated, errors.New("the data end too early")
		}
		f.faults.add(code, where, "in row %d of the map: %v", row+done+1, err)
	}
	in, err := d.open(l.compression, data)
	if err != nil {
		broken(err, 0)
		return
	}
	rows := min(l.blockRows, l.rows-row)
	width := min(l.blockColumns, l.columns-column)
	raw := d.rowBuffer(l.blockColumns * l.sampleBytes)
	for r := range rows {
		if _, err := io.ReadFull(in, raw); err != nil {
			broken(err, r)
			return
		}
		cells := d.undoPredictor(raw, l, f.order)
		out := values[(row+r)*l.columns+column:][:width]
		for c := range out {
			var complaint string
			if out[c], complaint = l.checks.take(cells.value(c)); complaint != "" {
				f.faults.add(DensityFaultValue, rasterCell(column+c, row+r), "%s", complaint)
			}
		}
	}
	// What may follow are the rows that fill up a tile, or a last strip that some writers fill up.
	margin := int64(l.blockRows-rows) * int64(len(raw))
	n, err := io.CopyN(io.Discard, in, margin+1)
	switch {
	case n > margin:
		f.faults.add(DensityFaultSurplus, where, "holds more than its %d rows of %d cells", l.blockRows, l.blockColumns)
	case err != io.EOF:
		broken(err, rows-1)
	}
}

// tiffDecoder keeps the buffers that blocks can share.
type tiffDecoder struct {
	zlib    io.ReadCloser
	lzw     *tiffLZW
	raw     []byte
	ordered []byte
}

func (d *tiffDecoder) rowBuffer(n int) []byte {
	if len(d.raw) != n {
		d.raw, d.ordered = make([]byte, n), make([]byte, n)
	}
	return d.raw
}

// open returns a reader of the unpacked data.
func (d *tiffDecoder) open(compression uint64, data []byte) (io.Reader, error) {
	switch compression {
	case tiffLZWCode:
		if d.lzw == nil {
			d.lzw = &tiffLZW{}
		}
		d.lzw.reset(data)
		return d.lzw, nil
	case tiffDeflate, tiffDeflateOld:
		if d.zlib != nil {
			return d.zlib, d.zlib.(zlib.Resetter).Reset(bytes.NewReader(data), nil)
		}
		in, err := zlib.NewReader(bytes.NewReader(data))
		if err == nil {
			d.zlib = in
		}
		return in, err
	}
	return bytes.NewReader(data), nil
}

// tiffCells reads numbers from the bytes of a row.
type tiffCells struct {
	raw    []byte
	order  binary.ByteOrder
	bytes  int
	format uint64
}

func (c tiffCells) value(i int) float64 {
	word := tiffWord(c.order, c.raw[i*c.bytes:(i+1)*c.bytes])
	switch {
	case c.format == tiffFloatingPoint && c.bytes == 8:
		return math.Float64frombits(word)
	case c.format == tiffFloatingPoint:
		return float64(math.Float32frombits(uint32(word)))
	case c.format == tiffSigned:
		return float64(int16(word))
	}
	return float64(word)
}

// undoPredictor turns differences back into cells.
func (d *tiffDecoder) undoPredictor(raw []byte, l tiffLayout, order binary.ByteOrder) tiffCells {
	switch l.predictor {
	case tiffPredictHorizontal:
		undoTIFFDifferences(raw, l.sampleBytes, order)
	case tiffPredictFloat:
		// Technical Note 3: the bytes of all cells, first all the most significant ones, and of these differences.
		for i := 1; i < len(raw); i++ {
			raw[i] += raw[i-1]
		}
		cells := len(raw) / l.sampleBytes
		for i := range cells {
			for b := range l.sampleBytes {
				d.ordered[i*l.sampleBytes+b] = raw[b*cells+i]
			}
		}
		return tiffCells{d.ordered, binary.BigEndian, l.sampleBytes, l.sampleFormat}
	}
	return tiffCells{raw, order, l.sampleBytes, l.sampleFormat}
}

// undoTIFFDifferences adds up differences of whole words; floating-point cells are taken by their bits.
func undoTIFFDifferences(raw []byte, size int, order binary.ByteOrder) {
	var sum uint64
	for i := 0; i+size <= len(raw); i += size {
		b := raw[i : i+size]
		sum += tiffWord(order, b)
		switch size {
		case 1:
			b[0] = byte(sum)
		case 2:
			order.PutUint16(b, uint16(sum))
		case 4:
			order.PutUint32(b, uint32(sum))
		case 8:
			order.PutUint64(b, sum)
		}
	}
}

// tiffLZW unpacks the LZW of TIFF 6.0, section 13: codes of 9 to 12 bits, the most significant bit first, and longer
// codes one entry earlier than in other formats, for which reason the standard library's decoder does not fit.
type tiffLZW struct {
	data    []byte
	bits    uint32 // read ahead, the next bit is the highest of the lowest count bits
	count   uint
	width   uint
	entries int // in the table
	last    int // code before, -1 after a clear code
	prefix  [4096]uint16
	suffix  [4096]byte
	length  [4096]uint16
	text    [4096]byte // what the last code stands for
	pending []byte     // part of text not yet delivered
}

const (
	lzwClear = 256
	lzwEnd   = 257
)

var errTIFFLZW = errors.New("the LZW data are damaged")

func (z *tiffLZW) reset(data []byte) {
	z.data, z.bits, z.count, z.pending = data, 0, 0, nil
	for i := range 256 {
		z.suffix[i], z.length[i] = byte(i), 1
	}
	z.clear()
}

func (z *tiffLZW) clear() { z.width, z.entries, z.last = 9, lzwEnd+1, -1 }

func (z *tiffLZW) Read(p []byte) (int, error) {
	n := 0
	for n < len(p) {
		if len(z.pending) == 0 {
			if err := z.decode(); err != nil {
				if n > 0 && err == io.EOF {
					return n, nil
				}
				return n, err
			}
		}
		k := copy(p[n:], z.pending)
		z.pending = z.pending[k:]
		n += k
	}
	return n, nil
}

// code reads the next code, or returns false at the end of the data.
func (z *tiffLZW) code() (int, bool) {
	for z.count < z.width {
		if len(z.data) == 0 {
			return 0, false
		}
		z.bits = z.bits<<8 | uint32(z.data[0])
		z.data = z.data[1:]
		z.count += 8
	}
	z.count -= z.width
	return int(z.bits >> z.count & (1<<z.width - 1)), true
}

// decode makes the text of the next code pending. The end of the data counts as an end code.
func (z *tiffLZW) decode() error {
	code, ok := z.code()
	for ; ok && code == lzwClear; code, ok = z.code() {
		z.clear()
	}
	switch {
	case !ok || code == lzwEnd:
		z.data = nil
		z.count = 0
		return io.EOF
	case z.last < 0 && code > 255, code > z.entries:
		return errTIFFLZW
	case z.last < 0:
		z.unfold(code)
	case code < z.entries:
		z.unfold(code)
		z.enter(z.pending[0])
	default: // the entry that is being made: the last text and its own first byte
		first := z.first(z.last)
		z.enter(first)
		if code >= z.entries {
			return errTIFFLZW // the table is full
		}
		z.unfold(code)
	}
	z.last = code
	return nil
}

// unfold writes the text of a code from its end to its beginning.
func (z *tiffLZW) unfold(code int) {
	n := int(z.length[code])
	z.pending = z.text[:n]
	for i := n - 1; i >= 0; i-- {
		z.text[i] = z.suffix[code]
		code = int(z.prefix[code])
	}
}

func (z *tiffLZW) first(code int) byte {
	for code > 255 {
		code = int(z.prefix[code])
	}
	return byte(code)
}

// enter adds the last text, lengthened by a byte, to the table.
func (z *tiffLZW) enter(suffix byte) {
	if z.entries == len(z.prefix) {
		return
	}
	z.prefix[z.entries], z.suffix[z.entries] = uint16(z.last), suffix
	z.length[z.entries] = z.length[z.last] + 1
	z.entries++
	if z.entries == 1<<z.width-1 && z.width < 12 {
		z.width++
	}
}
