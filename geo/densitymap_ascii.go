package geo

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// rasterASCIIKeys are the keywords of an ASCII grid's header, in lower case.
var rasterASCIIKeys = map[string]bool{
	"ncols": true, "nrows": true, "xllcorner": true, "yllcorner": true, "xllcenter": true, "yllcenter": true,
	"cellsize": true, "dx": true, "dy": true, "nodata_value": true,
}

// rasterASCIINoData is the no-data mark of an ASCII grid that declares none.
const rasterASCIINoData = -9999

// readDensityASCII reads an ASCII grid. A row may be wrapped over lines, but begins on a line of its own, so that
// a lost value cannot shift the rows after it unseen.
func readDensityASCII(in *bufio.Reader, meta DensityMapMeta, limits DensityMapLimits, faults *rasterFaults) (*DensityMap, error) {
	words := &rasterWords{in: in, line: 1}
	header, err := readASCIIHeader(words, faults)
	if err != nil {
		return nil, err
	}
	grid, cells, checks := header.grid(meta, limits, faults)
	if cells == 0 {
		return nil, faults.err()
	}
	values, err := readASCIIValues(words, grid, cells, checks, faults)
	if err != nil {
		return nil, err
	}
	return newDensityMap(meta, grid, values, "header", faults)
}

type rasterASCIIHeader struct {
	value map[string]float64
	where map[string]string // the line of each key, in words
}

// readASCIIHeader reads keywords and their values up to the first word that is a number.
func readASCIIHeader(words *rasterWords, faults *rasterFaults) (rasterASCIIHeader, error) {
	h := rasterASCIIHeader{map[string]float64{}, map[string]string{}}
	for {
		word, err := words.peek()
		if err != nil && err != io.EOF {
			return h, err
		}
		if err == io.EOF || !rasterIsKeyword(word) {
			return h, nil
		}
		if faults.total >= maxRasterFaults {
			return h, faults.err() // this is text, not a header
		}
		key, where := strings.ToLower(word), fmt.Sprintf("line %d", words.line)
		words.next()
		value, err := words.peek()
		if err != nil && err != io.EOF {
			return h, err
		}
		number, numberErr := rasterNumber(value)
		switch {
		case err == io.EOF || rasterIsKeyword(value):
			faults.add(DensityFaultHeader, where, "%q has no value", word)
			continue
		case !rasterASCIIKeys[key]:
			faults.add(DensityFaultHeader, where, "%q is not a keyword: ncols, nrows, xllcorner or xllcenter, "+
				"yllcorner or yllcenter, cellsize or dx and dy, NODATA_value are", word)
		case h.where[key] != "":
			faults.add(DensityFaultHeader, where, "%q stood already in %s", word, h.where[key])
		case numberErr != nil:
			faults.add(DensityFaultHeader, where, "%s: %v", key, numberErr)
			h.where[key] = where
		default:
			h.value[key], h.where[key] = number, where
		}
		words.next()
	}
}

// rasterIsKeyword tells a word from a number; "nan" is a number here.
func rasterIsKeyword(word string) bool {
	if word == "" || strings.EqualFold(word, "nan") {
		return false
	}
	c := word[0] | 0x20
	return c >= 'a' && c <= 'z' || c == '_'
}

// oneOf reports a header that has not exactly one of the keys.
func (h rasterASCIIHeader) oneOf(faults *rasterFaults, a, b string) {
	switch {
	case h.where[a] == "" && h.where[b] == "":
		faults.add(DensityFaultHeader, "header", "%s or %s is missing", a, b)
	case h.where[a] != "" && h.where[b] != "":
		faults.add(DensityFaultContradicts, h.where[b], "%s and %s exclude each other", a, b)
	}
}

// count returns a header value that must be a whole number from 1 on, or 0.
func (h rasterASCIIHeader) count(faults *rasterFaults, key string) uint64 {
	v, ok := h.value[key]
	switch {
	case h.where[key] == "":
		faults.add(DensityFaultHeader, "header", "%s is missing", key)
	case ok && (v < 1 || v > 1e9 || v != math.Trunc(v)):
		faults.add(DensityFaultHeader, h.where[key], "%s %g: a whole number from 1 to 1e9 is needed", key, v)
	case ok:
		return uint64(v)
	}
	return 0
}

// grid makes sense of the header. It returns 0 cells when the values cannot be read for what it says.
func (h rasterASCIIHeader) grid(meta DensityMapMeta, limits DensityMapLimits, faults *rasterFaults) (DensityGrid, int, rasterValues) {
	before := faults.total
	columns, rows := h.count(faults, "ncols"), h.count(faults, "nrows")
	cells := 0
	if columns > 0 && rows > 0 {
		cells = limits.checkCells(columns, rows, "header", faults)
	}
	h.oneOf(faults, "xllcorner", "xllcenter")
	h.oneOf(faults, "yllcorner", "yllcenter")
	width, height := h.value["cellsize"], h.value["cellsize"]
	if h.where["cellsize"] == "" && (h.where["dx"] != "" || h.where["dy"] != "") {
		h.oneOf(faults, "cellsize", "dx")
		h.oneOf(faults, "cellsize", "dy")
		width, height = h.value["dx"], h.value["dy"]
	} else {
		h.oneOf(faults, "cellsize", "dx")
	}
	g := DensityGrid{Columns: int(columns), Rows: int(rows), CellWidth: width, CellHeight: height}
	g.West = h.value["xllcorner"]
	if centre, ok := h.value["xllcenter"]; ok {
		g.West = centre - width/2
	}
	south := h.value["yllcorner"]
	if centre, ok := h.value["yllcenter"]; ok {
		south = centre - height/2
	}
	g.North = south + float64(rows)*height
	checks := rasterValues{limit: meta.maxValue(), noData: rasterASCIINoData, hasNoData: true}
	if mark, ok := h.value["nodata_value"]; ok {
		checks.noData = mark
	}
	if faults.total > before {
		cells = 0
	}
	return g, cells, checks
}

// readASCIIValues reads the cells from the north-west corner on.
func readASCIIValues(words *rasterWords, g DensityGrid, cells int, checks rasterValues, faults *rasterFaults) ([]float32, error) {
	// The memory grows with what is read, not with what the header promises.
	values := make([]float32, 0, min(cells, 1<<16))
	rowLine := 0 // the line of the last value of the row before
	for column, row := 0, 0; ; {
		word, err := words.peek()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
		where := func() string { return fmt.Sprintf("line %d, %s", words.line, rasterCell(column, row)) }
		if len(values) == cells {
			faults.add(DensityFaultSurplus, fmt.Sprintf("line %d", words.line),
				"values go on after the %d rows of %d columns that the header states", g.Rows, g.Columns)
			return values, nil
		}
		if column == 0 && words.line == rowLine {
			faults.add(DensityFaultContradicts, where(), "row %d ends in this line and row %d begins in it: each row must "+
				"begin on a line of its own; is a value missing or too many, or ncols %d wrong?", row, row+1, g.Columns)
			return values, nil
		}
		v, numberErr := rasterNumber(word)
		kept, complaint := checks.take(v)
		if numberErr != nil {
			complaint = numberErr.Error()
		}
		if complaint != "" {
			faults.add(DensityFaultValue, where(), "%s", complaint)
		}
		values = append(values, kept)
		if column++; column == g.Columns {
			column, row, rowLine = 0, row+1, words.line
		}
		words.next()
	}
	if len(values) < cells {
		faults.add(DensityFaultTruncated, fmt.Sprintf("line %d, %s", words.line, rasterCell(len(values)%g.Columns, len(values)/g.Columns)),
			"the file ends after %d values, the header states %d columns x %d rows = %d", len(values), g.Columns, g.Rows, cells)
	}
	return values, nil
}

// rasterNumber reads a decimal number, or NaN. Hexadecimal, grouped and infinite ones are refused.
func rasterNumber(word string) (float64, error) {
	if strings.EqualFold(word, "nan") {
		return math.NaN(), nil
	}
	for i := 0; i < len(word); i++ {
		c := word[i]
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			if c == ',' {
				return 0, fmt.Errorf("%q is not a number: the decimal mark is a point", word)
			}
			return 0, fmt.Errorf("%.40q is not a number", word)
		}
	}
	v, err := strconv.ParseFloat(word, 64)
	if errors.Is(err, strconv.ErrRange) {
		return 0, fmt.Errorf("%.40q is beyond what a number can hold", word)
	}
	if err != nil {
		return 0, fmt.Errorf("%.40q is not a number", word)
	}
	return v, nil
}

// maxRasterWord is longer than any number that a writer of grids prints.
const maxRasterWord = 64

// rasterWords splits text at white space and knows the line of each word.
type rasterWords struct {
	in   *bufio.Reader
	line int // of the word that peek returned, or of the end
	word string
	have bool
	buf  [maxRasterWord]byte
}

// peek returns the next word, which stays the next until next is called. A word too long for a number is cut, and made
// unreadable as one.
func (w *rasterWords) peek() (string, error) {
	if w.have {
		return w.word, nil
	}
	n := 0
	for {
		c, err := w.in.ReadByte()
		if err == io.EOF && n > 0 {
			break
		}
		if err != nil {
			return "", err
		}
		if c == ' ' || c == '\t' || c == '\r' || c == '\n' {
			if n > 0 {
				w.in.UnreadByte() // so that the line break counts for the next word
				break
			}
			if c == '\n' {
				w.line++
			}
			continue
		}
		if n == len(w.buf) {
			w.buf[n-1] = '~'
			continue
		}
		w.buf[n] = c
		n++
	}
	w.word, w.have = string(w.buf[:n]), true
	return w.word, nil
}

// next drops the word that peek returned.
func (w *rasterWords) next() { w.have = false }
