package reference

import (
	"slices"
	"strings"
)

// largest is far beyond every value of these standards.
const largest = 1e9

// plausible says what is wrong with a printed value, empty where it can be one.
func (r *Row) plausible(v float64) string {
	switch {
	case r.isOwn():
		return "cannot be replaced: it is a limit of this program, of no printed table"
	case v < 0:
		return "must not be negative"
	case v > largest:
		return "must be at most " + number(largest)
	case r.isShare() && v > 1:
		return "must be at most 1: a probability"
	case v == 0 && r.Value > 0 && !strings.HasPrefix(r.source, "iec-62305-2:"):
		return "must be more than 0, as the program's value is"
	}
	return ""
}

// isOwn reports whether a value is of a table that says what the program accepts.
func (r *Row) isOwn() bool { return r.source == "earth" && r.Table == "sizes" }

// isShare reports whether a value is a probability or a factor of one, which is never above 1: Annex B of
// IEC 62305-2, and every column headed P.
func (r *Row) isShare() bool {
	return strings.HasPrefix(r.Table, "B.") || r.Column == "P" || strings.HasPrefix(r.Column, "P_")
}

// series are values that are searched or interpolated, so that they have to rise, or fall, from row to row of a column, or along a row.
var series = []struct {
	table  string // of the SPD selection
	column int    // -1: along each row
	falls  bool
}{
	{"E.1", 0, false}, {"PV U_W", 0, false}, {"A.3", 0, false}, {"A.3", 1, true}, {"preferred", -1, false},
}

// disorder finds the reviewed values that break a series, with what is wrong.
func disorder(rows []Row) map[*Row]string {
	found := map[*Row]string{}
	for _, s := range series {
		before := map[int]*Row{} // by row of the table where the series runs along it
		for i := range rows {
			r := &rows[i]
			if r.source != "spd" || r.Kind != Value || r.Table != s.table || s.column >= 0 && r.cell.col != s.column {
				continue
			}
			line := 0
			if s.column < 0 {
				line = r.cell.row
			}
			if last := before[line]; last != nil && (r.ValueInUse() <= last.ValueInUse()) != s.falls || last != nil &&
				r.ValueInUse() == last.ValueInUse() {
				for _, wrong := range []*Row{last, r} {
					if wrong.Reviewed && !wrong.Agrees {
						found[wrong] = inOrder(s.column, s.falls, wrong == r, last, r)
					}
				}
			}
			before[line] = r
		}
	}
	return found
}

func inOrder(column int, falls, second bool, last, r *Row) string {
	way, along := "rise", "from row to row"
	if falls {
		way = "fall"
	}
	if column < 0 {
		along = "from value to value"
	}
	neighbour := r
	if second {
		neighbour = last
	}
	return "the values have to " + way + " " + along + "; next to it stands " + number(neighbour.ValueInUse())
}

// order tells of printed values that break a series, and does not use them.
func (p *parser) order() {
	broken := disorder(p.rows)
	lines := make([]*Row, 0, len(broken))
	for r := range broken {
		lines = append(lines, r)
	}
	slices.SortFunc(lines, func(a, b *Row) int { return p.seen[a.Key] - p.seen[b.Key] })
	for _, r := range lines {
		p.line = p.seen[r.Key]
		p.fault(colPrinted, number(r.Printed), broken[r])
	}
	for _, r := range lines {
		*r = r.unreviewed()
	}
}

// unreviewed is the row as List has it.
func (r *Row) unreviewed() Row {
	u := *r
	u.Reviewed, u.Agrees, u.Printed, u.CheckedBy, u.Date, u.Comment = false, false, 0, "", "", ""
	return u
}
