package batch

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/risk"
)

// entry is a cell under its column.
type entry struct {
	*slot
	cell cell
}

// assembler makes inputs of rows.
type assembler struct {
	options Options
	yield   func(Row) bool
	rows    int // handed out so far
}

// hand gives a row out.
func (a *assembler) hand(r Row) error {
	a.rows++
	if !a.yield(r) {
		return errStopped
	}
	return nil
}

// noRows is the reason of a file that says nothing of any site: most likely it is not the one that was meant.
const noRows = "has a header and no rows"

// row hands one row out. Cells that are blank say nothing; a row of blank cells is none.
// The footprint is the outline of the building, nil where the file has none.
func (a *assembler) row(r Row, entries []entry, footprint *footprint) error {
	entries = slices.DeleteFunc(slices.Clone(entries), func(e entry) bool { return e.cell.kind == blank })
	if len(entries) == 0 && len(r.Faults) == 0 {
		return nil
	}
	d := &draft{options: &a.options, row: &r, entries: entries, footprint: footprint}
	d.build()
	r.Reference = textAt(d.tree, "reference")
	d.judge()
	slices.SortStableFunc(r.Faults, func(a, b RowFault) int { return cmp.Compare(order(a.Column), order(b.Column)) })
	return a.hand(r)
}

// refuse hands out a row that cannot be taken apart.
func (a *assembler) refuse(r Row, reason string) error {
	r.Faults = append(r.Faults, RowFault{Row: r.Number, Reason: reason})
	return a.hand(r)
}

// draft is the input that a row becomes, as a tree of JSON values.
type draft struct {
	options *Options
	row     *Row
	entries []entry

	footprint *footprint

	tree, structure, zone map[string]any
	zoneIndex             int
	lines                 [MaxLines + 1]map[string]any
	lineOrder             []int // the number in the file of each line of the input

	structurePreset string
	linePresets     [MaxLines + 1]string
}

// build puts every cell into the tree.
func (d *draft) build() {
	d.tree = map[string]any{"location": map[string]any{}, "flash_density": map[string]any{}}
	d.usePresets()
	d.structure["id"] = cmp.Or(textAt(d.structure, "id"), d.structurePreset, "building")
	for i := range d.entries {
		d.put(&d.entries[i])
	}
	d.tree["structures"] = []any{d.structure}
	d.density()
	d.size()
	d.earthing()
	d.nameLines()
}

func textAt(m map[string]any, key string) string {
	s, _ := m[key].(string)
	return s
}

// usePresets comes first, because the other cells count instead of what a preset says.
func (d *draft) usePresets() {
	p := &d.options.Presets
	for i := range d.entries {
		e := &d.entries[i]
		switch e.part {
		case structurePreset:
			d.structurePreset, d.structure = d.usePreset(e, p.Structures)
		case linePreset:
			d.linePresets[e.line], d.lines[e.line] = d.usePreset(e, p.Lines)
		}
		if e.part == ofLine && d.lines[e.line] == nil {
			d.lines[e.line] = map[string]any{}
		}
	}
	if d.structure == nil {
		d.structure = map[string]any{}
	}
}

// usePreset reports an unknown preset; what it might have said is then not missed.
func (d *draft) usePreset(e *entry, presets map[string]json.RawMessage) (name string, fields map[string]any) {
	name = e.cell.asText()
	if e.cell.kind != faultyCell && e.cell.kind != dateCell {
		if fields = preset(presets, name); fields != nil {
			return name, fields
		}
		d.fault(e, unknownPreset(presets, name))
	} else {
		_, reason := e.cell.convert(e.slot, d.options.Decimal)
		d.fault(e, reason)
	}
	if e.part == structurePreset {
		return "", map[string]any{"length_m": wire.Broken{}, "width_m": wire.Broken{}, "height_m": wire.Broken{}}
	}
	return "", map[string]any{}
}

func (d *draft) fault(e *entry, reason string) {
	d.row.Faults = append(d.row.Faults, RowFault{Row: d.row.Number, Column: e.name, Value: short(e.cell.text), Reason: reason})
}

func short(s string) string {
	if r := []rune(s); len(r) > maxValueRunes {
		return string(r[:maxValueRunes]) + "…"
	}
	return s
}

// put takes one cell; a faulty one leaves a mark in its place.
func (d *draft) put(e *entry) {
	if e.cell.note != "" {
		d.row.Notes = append(d.row.Notes, Note{e.name, e.cell.note})
	}
	if e.part == remark || e.part == structurePreset || e.part == linePreset {
		return
	}
	var value any = wire.Broken{}
	if e.cell.kind != knownCell {
		v, reason := e.cell.convert(e.slot, d.options.Decimal)
		if reason != "" {
			d.fault(e, reason)
		} else {
			value = v
		}
	}
	switch e.part {
	case ofSite:
		set(d.tree, e.path, value)
	case ofStructure:
		set(d.structure, e.path, value)
	case ofZone:
		d.putIntoZone(e, value)
	case ofLine:
		if d.lines[e.line] == nil {
			d.lines[e.line] = map[string]any{}
		}
		set(d.lines[e.line], e.path, value)
	case noLines:
		d.noLines(e, value)
	}
}

func set(m map[string]any, path []string, value any) {
	for _, key := range path[:len(path)-1] {
		next, ok := m[key].(map[string]any)
		if !ok {
			next = map[string]any{}
			m[key] = next
		}
		m = next
	}
	m[path[len(path)-1]] = value
}

// putIntoZone takes the one inside zone of the building type, or makes the only zone of the building.
func (d *draft) putIntoZone(e *entry, value any) {
	if d.zone == nil {
		zones, _ := d.structure["zones"].([]any)
		if zones == nil {
			zones = []any{map[string]any{"id": "inside"}}
			d.structure["zones"] = zones
		}
		n := 0
		for i := range zones {
			if z := zones[i].(map[string]any); z["place"] != "outside" {
				d.zone, d.zoneIndex = z, i
				n++
			}
		}
		if n != 1 {
			d.zone = nil
			d.fault(e, fmt.Sprintf("the type of building %q has %d inside zones, and a row cannot say which is meant: leave the cell empty",
				d.structurePreset, n))
			return
		}
	}
	set(d.zone, e.path, value)
}

// density demands exactly one of the columns that N_G can come from.
func (d *draft) density() {
	var given []*entry
	for _, c := range densityColumns {
		if i := d.index(c); i >= 0 {
			given = append(given, &d.entries[i])
		}
	}
	all := strings.Join(densityColumns, ", ")
	switch {
	case len(given) == 0:
		d.missing(densityColumns[0], "is required, or another of "+all)
	case len(given) > 1:
		d.fault(given[1], "only one of "+all+" can be filled in")
	}
}

// size demands length, width and height, or the height of a footprint.
func (d *draft) size() {
	absent := func(c string) bool { return d.structure[c] == nil }
	if d.footprint == nil {
		for _, c := range sizeColumns {
			if absent(c) {
				d.missing(c, "is required, or a structure_preset that says it: "+slots[c].Allowed)
			}
		}
		return
	}
	for _, c := range sizeColumns[:2] {
		if i := d.index(c); i >= 0 && d.entries[i].cell.kind != knownCell {
			d.fault(&d.entries[i], "the polygon tells the size: leave it out, or give a point in place of the polygon")
		}
	}
	if absent("height_m") {
		d.missing("height_m", "is required, or a structure_preset that says it: "+slots["height_m"].Allowed)
	}
	d.footprint.replaceBox(d.structure)
}

// missing reports a column that says nothing and should.
func (d *draft) missing(column, reason string) {
	d.entries = append(d.entries, entry{slots[column], cell{kind: knownCell}})
	d.fault(&d.entries[len(d.entries)-1], reason)
	set(map[part]map[string]any{ofSite: d.tree, ofStructure: d.structure}[slots[column].part], slots[column].path, wire.Broken{})
}

func (d *draft) noLines(e *entry, value any) {
	if value != true {
		return
	}
	d.tree["lines"] = []any{}
	for n := range d.lines {
		if d.lines[n] != nil {
			d.fault(e, fmt.Sprintf("says that no line enters the building, but line %d is described: leave one of them empty", n))
			return
		}
	}
}

// earthing lets a measured resistance count instead of what the building type says.
func (d *draft) earthing() {
	e, _ := d.structure["earthing"].(map[string]any)
	switch {
	case e == nil || d.given("earth_connection"):
	case d.given("earth_resistance_ohm"):
		e["connection"] = "measured"
		delete(e, "electrode")
	case e["connection"] == nil:
		e["connection"] = "unknown"
	}
}

// nameLines gives every line its id and its building.
func (d *draft) nameLines() {
	ids := map[string]bool{}
	for n, line := range d.lines {
		if line == nil {
			continue
		}
		if _, there := line["id"]; !there {
			id := cmp.Or(d.linePresets[n], "line-"+strconv.Itoa(n))
			if ids[id] {
				id += "-" + strconv.Itoa(n)
			}
			line["id"] = id
		}
		ids[textAt(line, "id")] = true
		line["structure"] = d.structure["id"]
		lines, _ := d.tree["lines"].([]any)
		d.tree["lines"] = append(lines, line)
		d.lineOrder = append(d.lineOrder, n)
	}
}

// judge makes the document of the row and asks the core for its faults; where the limits refuse something, it looks for all faults.
func (d *draft) judge() {
	if len(d.row.Faults) == 0 {
		if in, ok := wire.Inputs.Of(d.tree); ok {
			if site := in.Core(); len(assess.FaultsBeforeMap(site)) == 0 {
				d.row.Input, d.row.Site = in, site
				return
			}
		}
	}
	for _, f := range wire.Inputs.JudgeRow(d.tree, func(in *wire.Input) []risk.Violation { return assess.FaultsBeforeMap(in.Core()) }) {
		follows := f.Rule != "" && d.covers(f.Pointer) // a limit judges one value alone
		if !follows && !d.repeated(f.Pointer) {
			d.report(f.Pointer, strings.Replace(f.Reason, trueOrFalse, yesOrNo, 1))
		}
	}
}

// repeated reports the place of the building of a line: it repeats the id of the building, whose fault is reported there.
func (d *draft) repeated(pointer string) bool {
	return strings.HasPrefix(pointer, "/lines/") && strings.HasSuffix(pointer, "/structure")
}

// covers reports that the fault of some cell is told already, and that a fault at the pointer may only follow from it.
func (d *draft) covers(pointer string) bool {
	for i := range d.entries {
		e := &d.entries[i]
		bad := e.cell.kind == knownCell || slices.ContainsFunc(d.row.Faults, func(f RowFault) bool { return f.Column == e.name })
		if bad && wire.Overlap(d.pointer(e), pointer) {
			return true
		}
	}
	return false
}

// pointer is the place of a cell in the input.
func (d *draft) pointer(e *entry) string {
	at := "/" + strings.Join(e.path, "/")
	switch e.part {
	case ofSite:
		return at
	case ofStructure:
		return "/structures/0" + at
	case structurePreset:
		return "/structures/0"
	case ofZone:
		return "/structures/0/zones/" + strconv.Itoa(d.zoneIndex) + at
	case ofLine:
		return "/lines/" + strconv.Itoa(slices.Index(d.lineOrder, e.line)) + at
	case linePreset:
		return "/lines/" + strconv.Itoa(slices.Index(d.lineOrder, e.line))
	}
	return "/lines"
}

// report tells a fault at a place of the input as a fault of the cell that says it.
func (d *draft) report(pointer, reason string) {
	column, presetColumn, preset := d.columnAt(pointer)
	if column == "geometry" && slices.ContainsFunc(d.row.Faults, func(f RowFault) bool { return f.Column == column }) {
		return // the first of many corners is enough
	}
	f := RowFault{Row: d.row.Number, Column: column, Reason: reason}
	if i := d.index(column); i >= 0 {
		f.Value = short(d.entries[i].cell.text)
	} else if preset != "" && !strings.HasPrefix(reason, "is required") {
		f.Column, f.Value, f.Reason = presetColumn, preset, "the type says at "+pointer+": "+reason
	}
	d.row.Faults = append(d.row.Faults, f)
}

// columnAt finds the column of a place of the input, and the preset that may have said it.
func (d *draft) columnAt(pointer string) (column, presetColumn, preset string) {
	path := strings.Split(pointer[min(1, len(pointer)):], "/")
	switch {
	case path[0] == "lines" && len(path) > 1:
		i, err := strconv.Atoi(path[1])
		if err != nil || i >= len(d.lineOrder) {
			return "", "", ""
		}
		n := d.lineOrder[i]
		column, presetColumn = columnOf(ofLine, path[2:]), lineColumn("line_1_preset", n)
		if column != "" {
			column = lineColumn(column, n)
		}
		return column, presetColumn, d.linePresets[n]
	case path[0] == "structures" && len(path) > 4 && path[2] == "zones" && path[3] == strconv.Itoa(d.zoneIndex):
		return columnOf(ofZone, path[4:]), "structure_preset", d.structurePreset
	case strings.HasPrefix(pointer, "/structures/0/parts/"):
		if path[len(path)-1] == "height_m" {
			return "height_m", "structure_preset", d.structurePreset
		}
		return "geometry", "", ""
	case path[0] == "structures" && len(path) > 2:
		return columnOf(ofStructure, path[2:]), "structure_preset", d.structurePreset
	}
	return columnOf(ofSite, path), "", ""
}

// columnOf finds the column of a field, or of what the field stands in.
func columnOf(p part, path []string) string {
	for ; len(path) > 0; path = path[:len(path)-1] {
		for i := range dictionary {
			if dictionary[i].part == p && slices.Equal(dictionary[i].path, path) {
				return dictionary[i].Name
			}
		}
	}
	return ""
}

func (d *draft) given(column string) bool { return d.index(column) >= 0 }

func (d *draft) index(column string) int {
	return slices.IndexFunc(d.entries, func(e entry) bool { return e.name == column })
}

// order sorts faults as the dictionary has the columns; those of the whole row come last.
func order(column string) int {
	if i, known := columnOrder[column]; known {
		return i
	}
	return len(columnOrder)
}
