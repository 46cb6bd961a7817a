package reference

import (
	"levinward/api/wire"
	"levinward/risk/trace"
)

// Document describes a row.
func (r *Row) Document() wire.ReferenceValue {
	d := wire.ReferenceValue{Key: r.Key, Kind: string(r.Kind), Clause: r.Clause, Table: r.Table, Row: r.Row, Column: r.Column,
		Unit: r.Unit, Formula: r.Formula, Remark: r.Remark, Provenance: r.MarkInUse().String()}
	if r.Kind == Value {
		v := r.Value
		d.Value = &v
	}
	if r.Reviewed {
		d.Review = &wire.ValueReview{Agrees: r.Agrees, CheckedBy: r.CheckedBy, Date: r.Date, Comment: r.Comment}
		if r.Kind == Value && !r.Agrees {
			v := r.Printed
			d.Review.Printed = &v
		}
	}
	return d
}

// Documents describes rows.
func Documents(rows []Row) []wire.ReferenceValue {
	all := make([]wire.ReferenceValue, len(rows))
	for i := range rows {
		all[i] = rows[i].Document()
	}
	return all
}

// Document describes the counts.
func (c Counts) Document() wire.ReferenceCounts {
	return wire.ReferenceCounts{Values: markCounts(c.Values), Formulas: markCounts(c.Formulas)}
}

func markCounts(n map[trace.Provenance]int) wire.MarkCounts {
	return wire.MarkCounts{Checked: n[trace.Checked], SecondarySource: n[trace.SecondarySource], Memory: n[trace.Memory],
		CommonPractice: n[trace.CommonPractice], Computed: n[trace.Computed], Assumed: n[trace.Assumed], Given: n[trace.Given], Total: Total(n)}
}
