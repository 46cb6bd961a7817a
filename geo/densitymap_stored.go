package geo

import (
	"bufio"
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"math"
)

// The stored form of a map, all numbers little endian:
//
//	8 bytes   "LWFLASHD"
//	2 bytes   version, 1
//	4 bytes   length of the description
//	...       description: JSON of storedDescription
//	...       blocks of storedBlockCells cells, the last one shorter: 4 bytes length, then deflate data
//	32 bytes  SHA-256 of all before
//
// A block holds its cells' single-precision values, first the lowest byte of each, then the second, and so on, because
// neighbours share their high bytes and deflate then finds them. Cells run row by row from the north-west corner.
const (
	storedMagic      = "LWFLASHD"
	storedVersion    = 1
	storedBlockCells = 1 << 16
	storedMaxText    = 1 << 16 // bytes of the description
)

type storedDescription struct {
	Meta DensityMapMeta `json:"meta"`
	Grid DensityGrid    `json:"grid"`
}

// WriteTo writes the map's stored form, for a database or a file; ReadFrom reads it. It implements io.WriterTo.
func (m *DensityMap) WriteTo(w io.Writer) (int64, error) {
	sum := sha256.New()
	out := &storedWriter{w: io.MultiWriter(w, sum)}
	text, err := json.Marshal(storedDescription{m.meta, m.grid})
	if err != nil {
		return 0, fmt.Errorf("describing a flash-density map: %w", err)
	}
	out.write([]byte(storedMagic))
	out.write(binary.LittleEndian.AppendUint16(nil, storedVersion))
	out.write(binary.LittleEndian.AppendUint32(nil, uint32(len(text))))
	out.write(text)
	packer := storedPacker{raw: make([]byte, 4*storedBlockCells)}
	for cells := m.values; len(cells) > 0 && out.err == nil; {
		block := cells[:min(len(cells), storedBlockCells)]
		cells = cells[len(block):]
		packed, err := packer.pack(block)
		if err != nil {
			return out.n, fmt.Errorf("packing a flash-density map: %w", err)
		}
		out.write(binary.LittleEndian.AppendUint32(nil, uint32(len(packed))))
		out.write(packed)
	}
	out.w = w
	out.write(sum.Sum(nil))
	if out.err != nil {
		return out.n, fmt.Errorf("writing a flash-density map: %w", out.err)
	}
	return out.n, nil
}

// storedWriter counts bytes and keeps the first error.
type storedWriter struct {
	w   io.Writer
	n   int64
	err error
}

func (s *storedWriter) write(p []byte) {
	if s.err != nil {
		return
	}
	n, err := s.w.Write(p)
	s.n, s.err = s.n+int64(n), err
}

type storedPacker struct {
	raw    []byte
	packed bytes.Buffer
	flate  *flate.Writer
}

func (p *storedPacker) pack(cells []float32) ([]byte, error) {
	n := len(cells)
	for i, v := range cells {
		bits := math.Float32bits(v)
		for b := range 4 {
			p.raw[b*n+i] = byte(bits >> (8 * b))
		}
	}
	p.packed.Reset()
	var err error
	if p.flate == nil {
		p.flate, err = flate.NewWriter(&p.packed, flate.BestSpeed) // more effort takes ten times as long and saves next to nothing
	} else {
		p.flate.Reset(&p.packed)
	}
	if err == nil {
		_, err = p.flate.Write(p.raw[:4*n])
	}
	if err == nil {
		err = p.flate.Close()
	}
	return p.packed.Bytes(), err
}

// ReadFrom replaces the map by one in the stored form, read to the end of r within DefaultDensityMapLimits. On an error
// the map stays what it was; the error is a *DensityMapError when the stored form is damaged or not of this version,
// and otherwise wraps the error of r. It implements io.ReaderFrom.
func (m *DensityMap) ReadFrom(r io.Reader) (int64, error) {
	limits := DefaultDensityMapLimits
	limited := &rasterLimitedReader{r: r, left: limits.MaxBytes}
	faults := &rasterFaults{}
	in := &storedReader{in: bufio.NewReaderSize(limited, 64<<10), sum: sha256.New()}
	read, err := in.readMap(limits, faults)
	if errors.Is(err, io.ErrUnexpectedEOF) || err == io.EOF {
		faults.add(DensityFaultTruncated, "stored map", "ends early, after %d bytes", limits.MaxBytes-limited.left)
		err = faults.err()
	}
	if err == nil {
		*m = *read
	}
	return limits.MaxBytes - limited.left, rasterReadError(err, limits, faults)
}

// storedReader adds all it reads to the checksum.
type storedReader struct {
	in  *bufio.Reader
	sum hash.Hash
}

func (s *storedReader) bytes(n int) ([]byte, error) {
	p := make([]byte, n)
	if _, err := io.ReadFull(s.in, p); err != nil {
		return nil, err
	}
	s.sum.Write(p)
	return p, nil
}

func (s *storedReader) readMap(limits DensityMapLimits, faults *rasterFaults) (*DensityMap, error) {
	d, err := s.description(faults)
	if err != nil {
		return nil, err
	}
	d.Meta.check(faults)
	cells := limits.checkCells(uint64(max(0, d.Grid.Columns)), uint64(max(0, d.Grid.Rows)), "stored grid", faults)
	if err := faults.err(); err != nil {
		return nil, err
	}
	values, err := s.values(cells, d, faults)
	if err != nil {
		return nil, err
	}
	want := s.sum.Sum(nil)
	if got, err := s.bytes(sha256.Size); err != nil {
		return nil, err
	} else if !bytes.Equal(got, want) {
		faults.add(DensityFaultChecksum, "stored map", "does not match its checksum")
	}
	if _, err := s.in.ReadByte(); err == nil {
		faults.add(DensityFaultSurplus, "stored map", "goes on after its checksum")
	} else if err != io.EOF {
		return nil, err
	}
	return newDensityMap(d.Meta, d.Grid, values, "stored grid", faults)
}

func (s *storedReader) description(faults *rasterFaults) (d storedDescription, err error) {
	head, err := s.bytes(len(storedMagic) + 2 + 4)
	if err != nil {
		return d, err
	}
	version := binary.LittleEndian.Uint16(head[len(storedMagic):])
	length := binary.LittleEndian.Uint32(head[len(storedMagic)+2:])
	switch {
	case string(head[:len(storedMagic)]) != storedMagic:
		faults.add(DensityFaultFormat, "first bytes", "this is not a stored flash-density map")
	case version != storedVersion:
		faults.add(DensityFaultUnsupported, "version", "%d: %d is needed", version, storedVersion)
	case length > storedMaxText:
		faults.add(DensityFaultTooLarge, "description", "%d bytes: %d are allowed", length, storedMaxText)
	}
	if err := faults.err(); err != nil {
		return d, err
	}
	text, err := s.bytes(int(length))
	if err != nil {
		return d, err
	}
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&d); err != nil {
		faults.add(DensityFaultFormat, "description", "cannot be read: %v", err)
	}
	return d, faults.err()
}

// values unpacks the blocks. The memory grows with what is read.
func (s *storedReader) values(cells int, d storedDescription, faults *rasterFaults) ([]float32, error) {
	var values []float32
	checks := rasterValues{limit: d.Meta.maxValue()}
	raw := make([]byte, 4*storedBlockCells)
	unpacker := flate.NewReader(bytes.NewReader(nil))
	for block := 1; len(values) < cells; block++ {
		n := min(storedBlockCells, cells-len(values))
		length, err := s.bytes(4)
		if err != nil {
			return nil, err
		}
		where := fmt.Sprintf("block %d", block)
		size := binary.LittleEndian.Uint32(length)
		if size > 5*storedBlockCells { // deflate adds little to what it cannot shrink
			faults.add(DensityFaultTooLarge, where, "%d bytes: %d are allowed", size, 5*storedBlockCells)
			return nil, faults.err()
		}
		packed, err := s.bytes(int(size))
		if err != nil {
			return nil, err
		}
		unpacker.(flate.Resetter).Reset(bytes.NewReader(packed), nil)
		if _, err := io.ReadFull(unpacker, raw[:4*n]); err != nil {
			faults.add(DensityFaultFormat, where, "cannot be unpacked: %v", err)
			return nil, faults.err()
		}
		for i := range n {
			bits := uint32(raw[i]) | uint32(raw[n+i])<<8 | uint32(raw[2*n+i])<<16 | uint32(raw[3*n+i])<<24
			kept, complaint := checks.take(float64(math.Float32frombits(bits)))
			if complaint != "" {
				cell := len(values)
				faults.add(DensityFaultValue, rasterCell(cell%d.Grid.Columns, cell/d.Grid.Columns), "%s", complaint)
			}
			values = append(values, kept)
		}
	}
	return values, nil
}
