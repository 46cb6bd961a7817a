package geo

import (
	"levinward/tabletext"

	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"
)

// DensityKind says what the cells of a flash-density map hold.
type DensityKind string

// The kinds of value a flash-density map may hold.
const (
	// GroundFlashDensity is N_G, flashes to ground per km² and year.
	GroundFlashDensity DensityKind = "ground_flashes_per_km2_year"
	// TotalFlashDensity is N_T, all flashes (within clouds and to ground) per km² and year, as optical satellite
	// sensors see them. It becomes N_G by N_T/(1+Z).
	TotalFlashDensity DensityKind = "total_flashes_per_km2_year"
	// ThunderstormDays is T_D, days with thunder per year. It becomes N_G by a ThunderstormDayRelation.
	ThunderstormDays DensityKind = "thunderstorm_days_per_year"
)

// Words says the kind in words and its unit.
func (k DensityKind) Words() string {
	switch k {
	case TotalFlashDensity:
		return "total flashes per km2 and year"
	case ThunderstormDays:
		return "days with thunder per year"
	}
	return "ground flashes per km2 and year"
}

// ThunderstormDayRelation turns thunderstorm days per year, T_D, into ground flashes per km² and year, N_G.
type ThunderstormDayRelation string

// The relations between thunderstorm days and ground flash density.
const (
	// LinearThunderstormDays is N_G = 0.1 T_D, IEC 62305-2:2010 Annex A.1, for temperate regions.
	LinearThunderstormDays ThunderstormDayRelation = "linear"
	// PowerThunderstormDays is N_G = 0.04 T_D^1.25, ABNT NBR 5419 and others.
	PowerThunderstormDays ThunderstormDayRelation = "power"
)

// MaxCloudToGroundRatio is the largest Z taken. Measured regional means lie below 10 (value from memory), so a larger
// one is a slip, and it would make N_G too small.
const MaxCloudToGroundRatio = 20

// The largest value taken in a cell. The highest densities of the world are about 230 total flashes per km² and year
// (value from memory), and a year has 366 days at most; anything above these limits is another quantity or another unit.
const (
	maxGroundFlashes    = 100
	maxTotalFlashes     = 400
	maxThunderstormDays = 366
)

// DensityMapMeta is what a flash-density map's file does not say about itself.
type DensityMapMeta struct {
	// Kind is what the cells hold.
	Kind DensityKind `json:"kind"`
	// CloudToGroundRatio is Z, flashes within clouds for each flash to ground: above 0 to MaxCloudToGroundRatio.
	// Required for TotalFlashDensity, because nothing but the region decides it; absent (0) for every other kind.
	CloudToGroundRatio float64 `json:"cloud_to_ground_ratio,omitempty"`
	// Relation is required for ThunderstormDays and absent for every other kind.
	Relation ThunderstormDayRelation `json:"relation,omitempty"`
	// FromYear and ToYear are the first and the last year of the observations, 1800 to 2200. IEC 62858 asks for
	// data no older than five years; the reader of a sample decides about that with ToYear.
	FromYear int `json:"from_year"`
	ToYear   int `json:"to_year"`
	// Source says whose data these are, 1 to 500 bytes.
	Source string `json:"source"`
	// LicenceNote says under which terms they may be used, up to 2000 bytes, may be empty.
	LicenceNote string `json:"licence_note,omitempty"`
	// Decimal is the decimal sign of a CSV file; empty: a point. A map that was read does not keep it.
	Decimal tabletext.Decimal `json:"decimal,omitempty"`
}

// Faults lists what is wrong with the metadata, each fault under the name of its field; none where a map may have it.
func (meta DensityMapMeta) Faults() []DensityMapFault {
	var faults rasterFaults
	meta.check(&faults)
	return faults.list
}

func (meta DensityMapMeta) check(faults *rasterFaults) {
	faultsIf := func(bad bool, field, format string, args ...any) {
		if bad {
			faults.add(DensityFaultMetadata, field, format, args...)
		}
	}
	total, days := meta.Kind == TotalFlashDensity, meta.Kind == ThunderstormDays
	z := meta.CloudToGroundRatio
	faultsIf(!total && !days && meta.Kind != GroundFlashDensity, "kind", "%q is not one of %s, %s, %s",
		meta.Kind, GroundFlashDensity, TotalFlashDensity, ThunderstormDays)
	faultsIf(total && !(z > 0 && z <= MaxCloudToGroundRatio), "cloud_to_ground_ratio",
		"%g: total flashes need a ratio above 0 up to %d", z, MaxCloudToGroundRatio)
	faultsIf(!total && z != 0, "cloud_to_ground_ratio", "%g: only total flashes have a ratio", z)
	known := meta.Relation == LinearThunderstormDays || meta.Relation == PowerThunderstormDays
	faultsIf(days && !known, "relation", "%q: thunderstorm days need %s or %s",
		meta.Relation, LinearThunderstormDays, PowerThunderstormDays)
	faultsIf(!days && meta.Relation != "", "relation", "%q: only thunderstorm days have a relation", meta.Relation)
	faultsIf(meta.FromYear < 1800 || meta.FromYear > 2200, "from_year", "%d is not within 1800 to 2200", meta.FromYear)
	faultsIf(meta.ToYear < 1800 || meta.ToYear > 2200, "to_year", "%d is not within 1800 to 2200", meta.ToYear)
	faultsIf(meta.FromYear > meta.ToYear, "to_year", "%d lies before from_year %d", meta.ToYear, meta.FromYear)
	faultsIf(strings.TrimSpace(meta.Source) == "", "source", "is missing: say whose data these are")
	faultsIf(len(meta.Source) > 500, "source", "has %d bytes, 500 are allowed", len(meta.Source))
	faultsIf(len(meta.LicenceNote) > 2000, "licence_note", "has %d bytes, 2000 are allowed", len(meta.LicenceNote))
	faultsIf(!utf8.ValidString(meta.Source), "source", "is not UTF-8 text")
	faultsIf(meta.Decimal != "" && !meta.Decimal.Valid(), "decimal", "%q is not one of %s, %s",
		meta.Decimal, tabletext.DecimalPoint, tabletext.DecimalComma)
	faultsIf(!utf8.ValidString(meta.LicenceNote), "licence_note", "is not UTF-8 text")
}

// maxValue is the largest plausible cell value of the kind, the widest limit for an unknown kind.
func (meta DensityMapMeta) maxValue() float64 {
	switch meta.Kind {
	case GroundFlashDensity:
		return maxGroundFlashes
	case ThunderstormDays:
		return maxThunderstormDays
	}
	return maxTotalFlashes
}

// relation returns the formula that turns a cell value into N_G, in words for a result.
func (meta DensityMapMeta) relation() string {
	switch {
	case meta.Kind == TotalFlashDensity:
		return fmt.Sprintf("N_G = N_T/(1+Z), Z = %g", meta.CloudToGroundRatio)
	case meta.Kind == ThunderstormDays && meta.Relation == LinearThunderstormDays:
		return "N_G = 0.1 T_D"
	case meta.Kind == ThunderstormDays:
		return "N_G = 0.04 T_D^1.25"
	}
	return "N_G as mapped"
}

// groundFlashDensity turns a value of the map into N_G [1/(km² a)].
func (meta DensityMapMeta) groundFlashDensity(value float64) float64 {
	switch {
	case meta.Kind == TotalFlashDensity:
		return value / (1 + meta.CloudToGroundRatio)
	case meta.Kind == ThunderstormDays && meta.Relation == LinearThunderstormDays:
		return 0.1 * value
	case meta.Kind == ThunderstormDays:
		return 0.04 * math.Pow(value, 1.25)
	}
	return value
}

// DensityGrid is a regular grid in longitude and latitude on WGS 84, all in degrees. Rows run from north to south,
// columns from west to east; both are counted from 0 here and from 1 in error texts.
type DensityGrid struct {
	Columns    int     `json:"columns"`
	Rows       int     `json:"rows"`
	West       float64 `json:"west"`  // outer edge of the first column
	North      float64 `json:"north"` // outer edge of the first row
	CellWidth  float64 `json:"cell_width"`
	CellHeight float64 `json:"cell_height"`
}

// East is the outer edge of the last column.
func (g DensityGrid) East() float64 { return g.West + float64(g.Columns)*g.CellWidth }

// South is the outer edge of the last row.
func (g DensityGrid) South() float64 { return g.North - float64(g.Rows)*g.CellHeight }

// Global says whether the columns close around the earth, so that the last one borders on the first.
func (g DensityGrid) Global() bool {
	return math.Abs(float64(g.Columns)*g.CellWidth-360) <= 1e-6*g.CellWidth
}

// CellCentre returns the longitude and latitude of a cell's centre; columns and rows count from 0.
func (g DensityGrid) CellCentre(column, row int) (longitude, latitude float64) {
	return g.West + (float64(column)+0.5)*g.CellWidth, g.North - (float64(row)+0.5)*g.CellHeight
}

// String gives the extent in words.
func (g DensityGrid) String() string {
	return fmt.Sprintf("longitude %.10g to %.10g, latitude %.10g to %.10g", g.West, g.East(), g.South(), g.North)
}

// minCellDegrees is the smallest cell taken: about 0.1 m, far below what any lightning data resolves.
const minCellDegrees = 1e-6

// check reports a grid that cannot lie on the earth. where names the place in the file that states the geometry.
func (g DensityGrid) check(where string, faults *rasterFaults) {
	before := faults.total
	bad := func(format string, args ...any) { faults.add(DensityFaultGeoreference, where, format, args...) }
	for _, v := range []float64{g.West, g.North, g.CellWidth, g.CellHeight} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			bad("origin or cell size is not a finite number")
			return
		}
	}
	if !(g.CellWidth >= minCellDegrees && g.CellWidth <= 180) || !(g.CellHeight >= minCellDegrees && g.CellHeight <= 90) {
		bad("cell of %g x %g degrees: %g to 180 in longitude and %g to 90 in latitude are allowed",
			g.CellWidth, g.CellHeight, minCellDegrees, minCellDegrees)
	}
	const hint = "; the grid must be in degrees of longitude and latitude"
	slack := 0.01 * g.CellHeight
	_, first := g.CellCentre(0, 0)
	_, last := g.CellCentre(0, g.Rows-1)
	if first > 90+slack || last < -90-slack {
		bad("rows run from latitude %g to %g, beyond a pole%s", first, last, hint)
	}
	west, _ := g.CellCentre(0, 0)
	if east, _ := g.CellCentre(g.Columns-1, 0); west < -360 || east > 540 {
		bad("columns run from longitude %g to %g: -360 to 540 is allowed%s", west, east, hint)
	}
	if span := g.East() - g.West; faults.total == before && span > 360+1.01*g.CellWidth {
		bad("columns span %g degrees of longitude, more than once around the earth", span)
	}
}

// closed widens or narrows the cells by a hair where a rounded cell size, say 0.0333333, keeps the columns from closing
// around the earth exactly: a gap of less than a twentieth of a cell is rounding, not geography.
func (g DensityGrid) closed() DensityGrid {
	if math.Abs(g.East()-g.West-360) <= 0.05*g.CellWidth {
		g.CellWidth = 360 / float64(g.Columns)
	}
	return g
}

// DensityMap is a flash-density map: a regular grid in longitude and latitude with its metadata. It never changes after
// it was read, so any number of goroutines may sample it.
type DensityMap struct {
	meta     DensityMapMeta
	grid     DensityGrid
	values   []float32 // row by row from the north-west corner, NaN where there is no data
	relation string
}

// newDensityMap checks what all formats have in common and builds the map. where names the place that states the
// geometry. It returns the faults found so far, if there are any.
func newDensityMap(meta DensityMapMeta, grid DensityGrid, values []float32, where string, faults *rasterFaults) (*DensityMap, error) {
	grid.check(where, faults)
	if err := faults.err(); err != nil {
		return nil, err
	}
	empty := true
	for _, v := range values {
		if v == v {
			empty = false
			break
		}
	}
	if empty {
		faults.add(DensityFaultNoValues, "grid", "not one of %d cells has data", len(values))
		return nil, faults.err()
	}
	meta.Decimal = ""
	return &DensityMap{meta: meta, grid: grid.closed(), values: values, relation: meta.relation()}, nil
}

// Meta returns kind, period, source and licence note.
func (m *DensityMap) Meta() DensityMapMeta { return m.meta }

// Grid returns where the cells lie.
func (m *DensityMap) Grid() DensityGrid { return m.grid }

// Cell returns the value of a cell, counted from 0, in the unit of the map's kind; false where the map has no data or
// no such cell.
func (m *DensityMap) Cell(column, row int) (float64, bool) {
	if column < 0 || column >= m.grid.Columns || row < 0 || row >= m.grid.Rows {
		return 0, false
	}
	v := m.values[row*m.grid.Columns+column]
	return float64(v), v == v
}

// DensityMapLimits bounds what reading one map may cost. Beside 4 bytes for each cell, memory stays below about twice
// the file for a GeoTIFF, about twice the cells for an ASCII grid, and about 60 bytes for each point of a CSV.
type DensityMapLimits struct {
	MaxCells  int   // cells of the grid
	MaxPoints int   // rows of a CSV
	MaxBytes  int64 // length of the file
}

// DefaultDensityMapLimits takes a world grid of 0.03 degrees in 12 000 x 6000 cells, as CSV one of 0.05 degrees.
var DefaultDensityMapLimits = DensityMapLimits{MaxCells: 100_000_000, MaxPoints: 30_000_000, MaxBytes: 1 << 29}

// ReadDensityMap reads a flash-density map within DefaultDensityMapLimits; see DensityMapLimits.Read.
func ReadDensityMap(r io.Reader, meta DensityMapMeta) (*DensityMap, error) {
	return DefaultDensityMapLimits.Read(r, meta)
}

// Read reads a flash-density map and finds out its format by its first bytes:
//
//   - ASCII grid, whose no-data mark is -9999 when it declares none;
//   - GeoTIFF or BigTIFF, one band, geographic on WGS 84 or on an unspecified datum;
//   - CSV with the columns longitude, latitude, value.
//
// Negative, infinite and implausibly high values are refused; no-data marks and NaN become cells without data.
// The error is a *DensityMapError when the file or meta is at fault, and otherwise wraps the error of r.
func (limits DensityMapLimits) Read(r io.Reader, meta DensityMapMeta) (*DensityMap, error) {
	limited := &rasterLimitedReader{r: r, left: max(0, limits.MaxBytes)}
	in := bufio.NewReaderSize(limited, 64<<10)
	faults := &rasterFaults{}
	meta.check(faults)
	head, err := in.Peek(4096)
	var m *DensityMap
	if err == nil || err == io.EOF {
		m, err = limits.readFormat(in, head, meta, faults)
	}
	return m, rasterReadError(err, limits, faults)
}

func (limits DensityMapLimits) readFormat(in *bufio.Reader, head []byte, meta DensityMapMeta, faults *rasterFaults) (*DensityMap, error) {
	tabletext.SkipMark(in)
	head = bytes.TrimPrefix(head, []byte(rasterByteOrderMark))
	switch format := rasterFormat(head); format {
	case "geotiff":
		return readDensityGeoTIFF(in, meta, limits, faults)
	case "ascii grid":
		return readDensityASCII(in, meta, limits, faults)
	case "csv":
		return readDensityCSV(in, meta, limits, faults)
	default:
		faults.add(DensityFaultFormat, "first bytes",
			"%s: an ASCII grid, a GeoTIFF, or CSV with the columns longitude, latitude, value is needed", format)
		return nil, faults.err()
	}
}

// rasterFormat names the format that begins with head, or says what it looks like otherwise.
func rasterFormat(head []byte) string {
	for _, magic := range []string{"II*\x00", "MM\x00*", "II+\x00", "MM\x00+"} {
		if bytes.HasPrefix(head, []byte(magic)) {
			return "geotiff"
		}
	}
	switch {
	case len(head) == 0:
		return "the file is empty"
	case tabletext.NoText(head) != "":
		return tabletext.NoText(head)
	}
	head = afterHint(head)
	line, _, _ := bytes.Cut(bytes.TrimSpace(head), []byte("\n"))
	lower := strings.ToLower(string(line))
	if words := strings.Fields(lower); len(words) > 0 && rasterASCIIKeys[words[0]] {
		return "ascii grid"
	}
	if strings.Contains(lower, "longitude") || strings.Contains(lower, "latitude") {
		return "csv"
	}
	return "unknown format"
}

// afterHint is the head of a table behind the line that names its separator.
func afterHint(head []byte) []byte {
	start, _, _ := tabletext.Skip(bufio.NewReaderSize(bytes.NewReader(head), len(head)))
	return head[start.Hint:]
}

// rasterByteOrderMark may stand at the beginning of UTF-8 text.
const rasterByteOrderMark = "\ufeff"

var errRasterTooLong = errors.New("file is too long")

// rasterLimitedReader fails, rather than ends, when more than the allowed bytes are read.
type rasterLimitedReader struct {
	r    io.Reader
	left int64
}

func (l *rasterLimitedReader) Read(p []byte) (int, error) {
	// One byte more than allowed is asked for: only its arrival shows that the file is too long.
	if int64(len(p))-1 > l.left {
		p = p[:l.left+1]
	}
	n, err := l.r.Read(p)
	l.left -= int64(n)
	if l.left < 0 {
		return n, errRasterTooLong
	}
	return n, err
}

// The kinds of fault in a flash-density map.
const (
	DensityFaultMetadata     DensityMapFaultCode = "metadata"      // a field of DensityMapMeta
	DensityFaultFormat       DensityMapFaultCode = "format"        // none of the formats, or damaged beyond reading
	DensityFaultHeader       DensityMapFaultCode = "header"        // a header line or tag is missing, doubled or wrong
	DensityFaultUnsupported  DensityMapFaultCode = "unsupported"   // valid, but not taken here
	DensityFaultGeoreference DensityMapFaultCode = "georeference"  // where the cells lie
	DensityFaultTooLarge     DensityMapFaultCode = "too_large"     // above DensityMapLimits
	DensityFaultTruncated    DensityMapFaultCode = "truncated"     // fewer data than the header promises
	DensityFaultSurplus      DensityMapFaultCode = "surplus"       // more data than the header promises
	DensityFaultContradicts  DensityMapFaultCode = "contradiction" // two statements of the file exclude each other
	DensityFaultValue        DensityMapFaultCode = "value"         // a cell value is no number, negative or implausible
	DensityFaultPosition     DensityMapFaultCode = "position"      // a longitude or latitude off the earth
	DensityFaultIrregular    DensityMapFaultCode = "irregular"     // a point off the regular grid
	DensityFaultDuplicate    DensityMapFaultCode = "duplicate"     // two values for one cell
	DensityFaultNoValues     DensityMapFaultCode = "no_values"     // no cell has data
	DensityFaultChecksum     DensityMapFaultCode = "checksum"      // a stored map was altered
)

// checkCells reports a grid without cells or with too many, and returns how many there are.
func (limits DensityMapLimits) checkCells(columns, rows uint64, where string, faults *rasterFaults) int {
	allowed := uint64(max(0, limits.MaxCells))
	switch {
	case columns == 0 || rows == 0:
		faults.add(DensityFaultHeader, where, "%d columns and %d rows: at least one of each is needed", columns, rows)
		return 0
	case columns > allowed || rows > allowed/columns:
		faults.add(DensityFaultTooLarge, where, "%d columns x %d rows: %d cells are allowed", columns, rows, allowed)
		return 0
	}
	return int(columns * rows)
}

// rasterValues judges cell values.
type rasterValues struct {
	limit     float64 // largest plausible value
	noData    float64
	hasNoData bool
}

// missing says whether v marks a cell without data. A mark is compared in single precision too, because writers round
// it to the type of the cells.
func (c rasterValues) missing(v float64) bool {
	if v != v {
		return true
	}
	if !c.hasNoData {
		return false
	}
	mark := float32(c.noData)
	return v == c.noData || float32(v) == mark && !math.IsInf(float64(mark), 0)
}

// take returns the value to keep, NaN for no data, and a complaint when the value must be refused.
func (c rasterValues) take(v float64) (float32, string) {
	if v >= 0 && v <= c.limit && !c.hasNoData {
		return float32(v), ""
	}
	switch {
	case c.missing(v):
		return float32(math.NaN()), ""
	case v < 0 && c.hasNoData:
		return 0, fmt.Sprintf("%g is negative, and the no-data mark is %g", v, c.noData)
	case v < 0:
		return 0, fmt.Sprintf("%g is negative; if it marks missing data, the file must declare it as no-data", v)
	case v > c.limit:
		return 0, fmt.Sprintf("%g is implausible: at most %g is allowed for this kind of value", v, c.limit)
	}
	return float32(v), ""
}

// rasterCell names a cell in an error, counted from 1.
func rasterCell(column, row int) string { return fmt.Sprintf("row %d, column %d", row+1, column+1) }
