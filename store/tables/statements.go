package tables

import (
	"fmt"
	"strings"
	"time"

	"levinward/store"
)

// Dialect is how a database differs in what both can say.
type Dialect struct {
	Moment, Day func(time.Time) any // as they are kept
	Within      string              // the function that finds a text in another
	NoBytes     string              // a value of bytes that is not there
	Big         string              // behind a number that may be larger than the column it is compared with
	ByBytes     string              // orders texts by their bytes
	FreeName    string              // the assignment that frees the name of a portfolio; empty: the mark of its removal does
	ByName      string              // has sites found in the order of their names
	RowsOf      string              // the condition on rows of a table part that what stands for %s finds
	// Earliest and Latest are times before and after all others, as literals.
	Earliest, Latest string
}

// Statement collects the arguments of one.
type Statement struct{ Args []any }

// Arg adds an argument and returns its place.
func (s *Statement) Arg(v any) string {
	s.Args = append(s.Args, v)
	return fmt.Sprintf("$%d", len(s.Args))
}

// List is the statement of a page of assessments.
func (d *Dialect) List(owner string, f store.Filter) (query string, args []any, err error) {
	s := Statement{}
	where := []string{"a.organisation = " + s.Arg(owner)}
	if f.Cursor != "" {
		p, err := store.ParseCursor(f.Cursor)
		if err != nil {
			return "", nil, err
		}
		where = append(where, fmt.Sprintf("(a.created_at, a.id) < (%s, %s)", s.Arg(d.Moment(p.FirstCreatedAt)), s.Arg(p.ID)))
	}
	if f.Query != "" {
		where = append(where, d.named("a", s.Arg(f.Query)))
	}
	if f.BBox != nil {
		where = append(where, lies("a", f.BBox, s.Arg))
	}
	if f.DueOn != nil {
		where = append(where, fmt.Sprintf("(a.review_due <= %s) = %s", s.Arg(d.Day(*f.DueOn)), s.Arg(f.Due)))
	}
	result := d.NoBytes
	if f.WithResult {
		result = "r.result"
	}
	// The page is chosen from the narrow rows alone, and only then are their revisions read.
	query = `SELECT ` + Header + `, a.created_at, ` + result + `
		FROM (SELECT a.* FROM assessment a WHERE ` + strings.Join(where, " AND ") + `
				ORDER BY a.created_at DESC, a.id DESC LIMIT ` + s.Arg(f.Limit+1) + `) a
			JOIN revision r ON r.organisation = a.organisation AND r.assessment = a.id AND r.revision = a.newest
		ORDER BY a.created_at DESC, a.id DESC`
	return query, s.Args, nil
}

// named finds a text within name or reference.
func (d *Dialect) named(table, text string) string {
	return fmt.Sprintf("(%[1]s(%[2]s.name_folded, %[3]s) > 0 OR %[1]s(%[2]s.reference_folded, %[3]s) > 0)", d.Within, table, text)
}

// lies finds places within a box.
func lies(table string, b *store.BBox, arg func(any) string) string {
	south, north := arg(b.South), arg(b.North)
	var spans []string
	for _, span := range b.Spans() {
		spans = append(spans, fmt.Sprintf("%s.longitude BETWEEN %s AND %s", table, arg(span.West), arg(span.East)))
	}
	return fmt.Sprintf("%s.latitude BETWEEN %s AND %s AND (%s)", table, south, north, strings.Join(spans, " OR "))
}

// SiteCondition is a part of a filter of sites. Where an index finds the sites that meet it, Index names it and Order
// the order in which they come by it.
type SiteCondition struct {
	Index, Order string
	Write        func(arg func(any) string) string
}

// SiteConditions are the parts of a filter.
func (d *Dialect) SiteConditions(f *store.SiteFilter) (all []SiteCondition) {
	add := func(wanted bool, index, order string, write func(arg func(any) string) string) {
		if wanted {
			all = append(all, SiteCondition{index, order, write})
		}
	}
	add(f.Reference != nil && *f.Reference != "", "portfolio_site_reference", "s.reference", func(arg func(any) string) string {
		return "s.reference = " + arg(*f.Reference) + " AND s.reference <> ''"
	})
	add(f.Reference != nil && *f.Reference == "", "", "", func(func(any) string) string { return "s.reference = ''" })
	add(f.Name != nil, "portfolio_site_name", "s.name_folded, s.assessment", func(arg func(any) string) string {
		return "s.name_folded = " + arg(store.Fold(*f.Name)) + " AND s.name = " + arg(*f.Name)
	})
	add(f.UpdatedFrom != nil || f.UpdatedTo != nil, "portfolio_site_updated", "s.updated_at", func(arg func(any) string) string {
		from, to := d.Earliest, d.Latest
		if f.UpdatedFrom != nil {
			from = arg(d.Moment(*f.UpdatedFrom))
		}
		if f.UpdatedTo != nil {
			to = arg(d.Moment(*f.UpdatedTo))
		}
		return fmt.Sprintf("s.updated_at BETWEEN %s AND %s", from, to)
	})
	add(f.BBox != nil, "portfolio_site_place", "s.latitude, s.longitude", func(arg func(any) string) string { return lies("s", f.BBox, arg) })
	add(f.DueOn != nil, "portfolio_site_due", "s.review_due", func(arg func(any) string) string {
		if f.Due {
			return "s.review_due <= " + arg(d.Day(*f.DueOn))
		}
		return "s.review_due > " + arg(d.Day(*f.DueOn))
	})
	add(f.Acceptable != nil, "", "", func(arg func(any) string) string { return "s.acceptable = " + arg(*f.Acceptable) })
	add(f.Query != "", "", "", func(arg func(any) string) string { return d.named("s", arg(f.Query)) })
	return all
}

// Beyond is the order of a rank, its direction, and the condition that a page continues behind a place.
func Beyond(s *Statement, f *store.SiteFilter, after *store.SitePosition) (column, direction, condition string) {
	column, direction, beyond := "s."+string(f.Rank), " DESC", "<"
	if f.Rank == store.RankName {
		column, direction, beyond = "s.name_folded", "", ">"
	}
	if after != nil {
		var value any = after.Value
		if f.Rank == store.RankName {
			value = after.Name
		}
		condition = fmt.Sprintf(" AND (%s, s.assessment) %s (%s, %s)", column, beyond, s.Arg(value), s.Arg(after.Assessment))
	}
	if f.Acceptable != nil && *f.Acceptable { // what follows from it leads the index past all others
		switch f.Rank {
		case store.RankWorstRatio:
			condition += " AND s.worst_ratio <= 1"
		case store.RankExcess, store.RankPersonsAtRisk:
			condition += " AND " + column + " = 0"
		}
	}
	return column, direction, condition
}
