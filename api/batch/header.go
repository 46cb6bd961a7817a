package batch

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// heading is the name of a column as it stands in a file.
type heading struct {
	name string
	at   string // which column of the file: a number or letters
}

// columnNames are all names a column can have, in the order of the dictionary.
var columnNames = slices.SortedFunc(maps.Keys(slots), func(a, b string) int {
	x, y := slots[a], slots[b]
	if c := slices.IndexFunc(dictionary, func(c Column) bool { return c.Name == x.Name }) - slices.IndexFunc(dictionary,
		func(c Column) bool { return c.Name == y.Name }); c != 0 {
		return c
	}
	return x.line - y.line
})

// columnOrder is the place of each name among them.
var columnOrder = func() map[string]int {
	order := map[string]int{}
	for i, name := range columnNames {
		order[name] = i
	}
	return order
}()

// readHeader finds the columns of a file, nil for one without a name, and everything that is wrong with them.
func readHeader(headings []heading, sheet string, row int) ([]*slot, []FileFault) {
	var faults []FileFault
	add := func(column, reason string) {
		faults = append(faults, FileFault{Sheet: sheet, Row: row, Column: column, Reason: reason})
	}
	columns := make([]*slot, len(headings))
	first := map[string]string{}
	known := 0
	for i, h := range headings {
		if h.name == "" {
			continue // whether it has a name is asked for when there is something below it
		}
		s := slots[canonical(h.name)]
		if s == nil {
			add(short(h.name), unknownColumn(h.name))
			continue
		}
		known++
		if f, twice := first[s.name]; twice {
			add(s.name, fmt.Sprintf("stands twice in the header: in column %s and in column %s", f, h.at))
		}
		first[s.name] = h.at
		columns[i] = s
	}
	if known == 0 {
		return nil, []FileFault{{Sheet: sheet, Row: row,
			Reason: "is no header: the first row that is not empty must hold names of columns, for instance name, latitude, longitude; " +
				"the template has them"}}
	}
	return columns, append(faults, missing(first, sheet, row)...)
}

// canonical is a name as the dictionary writes it: letters in any case, spaces around it.
func canonical(name string) string {
	return strings.ToLower(strings.TrimSpace(lineBreaks.Replace(name)))
}

func unknownColumn(name string) string {
	return "is no column that is known; for notes of your own there is the column remark" + didYouMean(name, columnNames)
}

// missing names the columns that every row needs and that the header lacks.
func missing(there map[string]string, sheet string, row int) []FileFault {
	var faults []FileFault
	add := func(column, reason string) {
		faults = append(faults, FileFault{Sheet: sheet, Row: row, Column: column, Reason: reason})
	}
	for i := range dictionary {
		if c := &dictionary[i]; c.Required && there[c.Name] == "" {
			add(c.Name, "is required and not in the header: "+c.Allowed)
		}
	}
	if !slices.ContainsFunc(densityColumns, func(c string) bool { return there[c] != "" }) {
		add(densityColumns[0], "is required and not in the header, or one of "+strings.Join(densityColumns[1:], ", ")+" in its place")
	}
	if there["structure_preset"] == "" {
		for _, name := range sizeColumns {
			if there[name] == "" {
				add(name, "is required and not in the header, or structure_preset in its place")
			}
		}
	}
	return faults
}
