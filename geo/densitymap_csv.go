package geo

import (
	"levinward/tabletext"

	"bufio"
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// rasterCSVColumns are the columns of a CSV map, in any order.
var rasterCSVColumns = [3]string{"longitude", "latitude", "value"}

// maxCSVLine bounds the memory for one line; three numbers need far less.
const maxCSVLine = 4096

// minCSVCoverage is the least share of a grid of more than minCSVCoverageCells that points must fill: positions of
// stations, even when written to a tenth of a degree, are not a map.
const (
	minCSVCoverage      = 0.001
	minCSVCoverageCells = 10_000
)

// rasterPoint is one row of a CSV: positions as indices into the axes, and the line for error texts.
type rasterPoint struct {
	column, row uint32
	value       float32
	line        uint32
}

// readDensityCSV reads cell centres and values. The grid follows from the distinct longitudes and latitudes; cells that
// no line names have no data.
func readDensityCSV(in *bufio.Reader, meta DensityMapMeta, limits DensityMapLimits, faults *rasterFaults) (*DensityMap, error) {
	start, fault, err := tabletext.Skip(in)
	if err != nil {
		return nil, err
	}
	if fault != "" {
		faults.add(DensityFaultFormat, "line 1", "%s", fault)
		return nil, faults.err()
	}
	lines := &rasterLines{scanner: bufio.NewScanner(in), line: start.Lines}
	lines.scanner.Buffer(make([]byte, 0, maxCSVLine), maxCSVLine)
	table := rasterTable{
		separator:  string(start.Comma),
		decimal:    meta.Decimal,
		longitudes: rasterAxis{name: "longitude", index: map[int64]uint32{}},
		latitudes:  rasterAxis{name: "latitude", index: map[int64]uint32{}},
		checks:     rasterValues{limit: meta.maxValue()},
	}
	if !table.readHeader(lines, faults) {
		return nil, rasterFirstError(lines.err(faults), faults.err())
	}
	table.readPoints(lines, limits, faults)
	if err := lines.err(faults); err != nil {
		return nil, err
	}
	if len(table.points) == 0 && faults.total == 0 {
		faults.add(DensityFaultNoValues, "file", "no line follows the header")
	}
	if err := faults.err(); err != nil {
		return nil, err
	}
	grid, cells := table.grid(limits, faults)
	if cells == 0 {
		return nil, faults.err()
	}
	values := table.spread(grid, cells, faults)
	return newDensityMap(meta, grid, values, "longitudes and latitudes", faults)
}

func rasterFirstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// rasterLines gives the lines that are not blank, with their numbers.
type rasterLines struct {
	scanner *bufio.Scanner
	line    int
}

func (l *rasterLines) next() (string, bool) {
	for l.scanner.Scan() {
		l.line++
		if text := strings.TrimRight(l.scanner.Text(), "\r"); strings.TrimSpace(text) != "" {
			return text, true
		}
	}
	return "", false
}

// err returns the error of reading, and makes a fault of a line without end.
func (l *rasterLines) err(faults *rasterFaults) error {
	err := l.scanner.Err()
	if errors.Is(err, bufio.ErrTooLong) {
		faults.add(DensityFaultFormat, fmt.Sprintf("line %d", l.line+1), "is longer than the %d bytes allowed", maxCSVLine)
		return faults.err()
	}
	return err
}

type rasterTable struct {
	separator             string
	decimal               tabletext.Decimal
	place                 [3]int // where each of rasterCSVColumns stands in a line
	longitudes, latitudes rasterAxis
	checks                rasterValues
	points                []rasterPoint
}

// readHeader finds the columns. It returns false when the lines after it cannot be read.
func (t *rasterTable) readHeader(lines *rasterLines, faults *rasterFaults) bool {
	text, ok := lines.next()
	if !ok {
		return false
	}
	where := fmt.Sprintf("line %d", lines.line)
	before := faults.total
	t.place = [3]int{-1, -1, -1}
	for i, name := range strings.Split(text, t.separator) {
		name = strings.ToLower(rasterUnquote(name))
		k := slices.Index(rasterCSVColumns[:], name)
		switch {
		case k < 0:
			faults.add(DensityFaultHeader, where, "%.60q is not a column: longitude, latitude, value are, "+
				"separated by comma, semicolon or tab", name)
		case t.place[k] >= 0:
			faults.add(DensityFaultHeader, where, "column %s stands there twice", name)
		default:
			t.place[k] = i
		}
	}
	for k, i := range t.place {
		if i < 0 {
			faults.add(DensityFaultHeader, where, "column %s is missing", rasterCSVColumns[k])
		}
	}
	return faults.total == before
}

// cutCell parts the first cell from the rest; a separator within quotes does not end it.
func cutCell(text, separator string) (cell, rest string, more bool) {
	end := 0
	if strings.HasPrefix(text, `"`) {
		end = 1 + max(0, strings.Index(text[1:], `"`))
	}
	cell, rest, more = strings.Cut(text[end:], separator)
	return text[:end+len(cell)], rest, more
}

func rasterUnquote(field string) string {
	field = strings.TrimSpace(field)
	if len(field) >= 2 && field[0] == '"' && field[len(field)-1] == '"' {
		return strings.TrimSpace(field[1 : len(field)-1])
	}
	return field
}

// readPoints reads all lines and notes every fault.
func (t *rasterTable) readPoints(lines *rasterLines, limits DensityMapLimits, faults *rasterFaults) {
	for {
		text, ok := lines.next()
		if !ok {
			return
		}
		if len(t.points) >= limits.MaxPoints {
			faults.add(DensityFaultTooLarge, fmt.Sprintf("line %d", lines.line), "%d points are allowed", limits.MaxPoints)
			return
		}
		t.readPoint(text, lines.line, faults)
		for _, axis := range []*rasterAxis{&t.longitudes, &t.latitudes} {
			if len(axis.keys) > maxAxisValues {
				faults.add(DensityFaultIrregular, fmt.Sprintf("line %d", lines.line),
					"there are more than %d different %ss: the points are not on a regular grid", maxAxisValues, axis.name)
				return
			}
		}
	}
}

// readPoint reads one line: a value that is empty or NaN leaves a gap, but its position still counts for the grid.
func (t *rasterTable) readPoint(text string, line int, faults *rasterFaults) {
	before := faults.total
	bad := func(code DensityMapFaultCode, column, format string, args ...any) {
		where := fmt.Sprintf("line %d", line)
		if column != "" {
			where += ", column " + column
		}
		faults.add(code, where, format, args...)
	}
	var fields [3]string
	n, rest, more := 0, text, true
	for more && n < 3 {
		fields[n], rest, more = cutCell(rest, t.separator)
		n++
	}
	if n < 3 || more {
		bad(DensityFaultFormat, "", "%d fields: 3 are needed", strings.Count(text, t.separator)+1)
		return
	}
	var number [3]float64
	for k, name := range rasterCSVColumns {
		field := rasterUnquote(fields[t.place[k]])
		if name == "value" && field == "" {
			number[k] = math.NaN()
			continue
		}
		v, err := t.number(field)
		if err != nil {
			bad(DensityFaultValue, name, "%v", err)
			v = 0
		}
		number[k] = v
	}
	longitude, latitude := number[0], number[1]
	if !(longitude >= -360 && longitude <= 360) {
		bad(DensityFaultPosition, "longitude", "%g is not within -360 to 360 degrees", longitude)
	}
	if !(latitude >= -90 && latitude <= 90) {
		bad(DensityFaultPosition, "latitude", "%g is not within -90 to 90 degrees; are longitude and latitude exchanged?", latitude)
	}
	kept, complaint := t.checks.take(number[2])
	if complaint != "" {
		bad(DensityFaultValue, "value", "%s", complaint)
	}
	if faults.total > before {
		return
	}
	t.points = append(t.points, rasterPoint{
		column: t.longitudes.add(longitude, line),
		row:    t.latitudes.add(latitude, line),
		value:  kept,
		line:   uint32(line),
	})
}

// number reads a number with the decimal sign of the table.
func (t *rasterTable) number(field string) (float64, error) {
	if t.decimal == tabletext.DecimalComma {
		if strings.Contains(field, ".") {
			return 0, fmt.Errorf("%.40q is not a number: the decimal sign is a comma", field)
		}
		field = strings.Replace(field, ",", ".", 1)
	}
	return rasterNumber(field)
}

// grid finds the regular grid on which the points lie.
func (t *rasterTable) grid(limits DensityMapLimits, faults *rasterFaults) (DensityGrid, int) {
	west, width, columns, okLon := t.longitudes.fit(faults)
	south, height, rows, okLat := t.latitudes.fit(faults)
	if !okLon || !okLat {
		return DensityGrid{}, 0
	}
	cells := limits.checkCells(uint64(columns), uint64(rows), "longitudes and latitudes", faults)
	if cells > minCSVCoverageCells && float64(len(t.points)) < minCSVCoverage*float64(cells) {
		faults.add(DensityFaultIrregular, "file", "%d points fill less than a thousandth of the %d columns x %d rows on which "+
			"they lie: this is a list of places, not a map", len(t.points), columns, rows)
		return DensityGrid{}, 0
	}
	return DensityGrid{
		Columns: columns, Rows: rows,
		West: west - width/2, North: south + (float64(rows)-0.5)*height,
		CellWidth: width, CellHeight: height,
	}, cells
}

// spread puts the points into their cells.
func (t *rasterTable) spread(g DensityGrid, cells int, faults *rasterFaults) []float32 {
	values := make([]float32, cells)
	for i := range values {
		values[i] = float32(math.NaN())
	}
	taken := make([]uint32, cells) // the line that filled a cell
	for _, p := range t.points {
		i := (g.Rows-1-int(t.latitudes.step[p.row]))*g.Columns + int(t.longitudes.step[p.column])
		if taken[i] != 0 {
			faults.add(DensityFaultDuplicate, fmt.Sprintf("line %d", p.line), "names the same cell as line %d", taken[i])
			continue
		}
		values[i], taken[i] = p.value, p.line
	}
	return values
}

const (
	// axisUnit is how fine coordinates are told apart, in degrees: 0.1 mm on the ground.
	axisUnit = 1e-9
	// axisSlack is how far, in cells, a coordinate may lie off the regular grid: more than rounding to three digits
	// of a cell, less than what matters in a map.
	axisSlack = 0.02
	// maxAxisValues is how many different coordinates an axis may have: a turn of the earth in steps of 0.001 degrees.
	maxAxisValues = 360_000
)

// rasterAxis collects the distinct coordinates of one direction.
type rasterAxis struct {
	name      string
	index     map[int64]uint32 // coordinate in axisUnit -> place in keys
	keys      []int64
	firstLine []int
	lastKey   int64 // lines mostly repeat the coordinate of the line before in one direction
	lastIndex uint32
	step      []uint32 // after fit: for each key the number of cells from the first
}

func (a *rasterAxis) add(degrees float64, line int) uint32 {
	key := int64(math.Round(degrees / axisUnit))
	if len(a.keys) > 0 && key == a.lastKey {
		return a.lastIndex
	}
	i, ok := a.index[key]
	if !ok {
		i = uint32(len(a.keys))
		a.index[key] = i
		a.keys = append(a.keys, key)
		a.firstLine = append(a.firstLine, line)
	}
	a.lastKey, a.lastIndex = key, i
	return i
}

// fit finds first coordinate, spacing and number of cells, and names the lines whose coordinate does not fit.
func (a *rasterAxis) fit(faults *rasterFaults) (first, spacing float64, cells int, ok bool) {
	if len(a.keys) < 2 {
		faults.add(DensityFaultIrregular, "file", "all points have the same %s: two different ones are needed to know "+
			"the size of a cell", a.name)
		return 0, 0, 0, false
	}
	order := make([]int, len(a.keys)) // places in keys, ascending
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int { return cmp.Compare(a.keys[i], a.keys[j]) })
	gaps := make([]int64, len(order)-1)
	for i := range gaps {
		gaps[i] = a.keys[order[i+1]] - a.keys[order[i]]
	}
	slices.Sort(gaps)
	// The least gap is the spacing, unless a stray point made it: then the median gap shows which points are astray.
	spacing, astray := a.walk(order, gaps[0])
	if len(astray) > 0 {
		if other, fewer := a.walk(order, gaps[len(gaps)/2]); len(fewer) < len(astray) {
			spacing, astray = other, fewer
		}
	}
	slices.SortFunc(astray, func(i, j int) int { return a.firstLine[i] - a.firstLine[j] })
	for _, i := range astray {
		faults.add(DensityFaultIrregular, fmt.Sprintf("line %d, column %s", a.firstLine[i], a.name),
			"%.10g is off the regular grid that begins at %.10g in steps of %.6g degrees",
			float64(a.keys[i])*axisUnit, float64(a.keys[order[0]])*axisUnit, spacing)
	}
	last := a.step[order[len(order)-1]]
	return float64(a.keys[order[0]]) * axisUnit, spacing, int(last) + 1, len(astray) == 0
}

// walk numbers the coordinates in ascending order by whole steps, beginning with a guess of the spacing and making it
// better on the way, since coordinates may be rounded. It returns the spacing in degrees and the places in keys that
// do not fit.
func (a *rasterAxis) walk(order []int, guess int64) (spacing float64, astray []int) {
	a.step = make([]uint32, len(a.keys))
	first := a.keys[order[0]]
	s := float64(guess)
	last, steps := first, 0.0
	for _, i := range order[1:] {
		gap := float64(a.keys[i]-last) / s
		whole := math.Round(gap)
		if whole < 1 || math.Abs(gap-whole) > 2*axisSlack || steps+whole > math.MaxUint32 {
			astray = append(astray, i)
			continue
		}
		steps += whole
		last = a.keys[i]
		s = float64(last-first) / steps
		a.step[i] = uint32(steps)
	}
	if len(astray) > 0 {
		return s * axisUnit, astray
	}
	for _, i := range order {
		if math.Abs(float64(a.keys[i]-first)/s-float64(a.step[i])) > axisSlack {
			astray = append(astray, i)
		}
	}
	return s * axisUnit, astray
}
