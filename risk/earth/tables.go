package earth

import "levinward/risk/trace"

// squareFactor holds lambda for equal rods along a hollow square with equal spacing: the
// mean over the rods of the sum of s over the distance to every other rod, which is what
// lambda is for a line and a triangle too. Rounded up in the fourth place.
var squareFactor = &trace.Table{Number: "hollow square", Title: "Factor of mutual effect of rods along a hollow square",
	Clause:  "mean sum of s/distance, as in BS 7430:2011 for rods in line and triangle",
	Symbols: []string{"lambda"}, Rows: []trace.Row{
		{Text: "4 rods", Values: []float64{2.7072}, Provenance: computed},
		{Text: "8 rods", Values: []float64{4.5284}, Provenance: computed, Remark: "recollections differ: BS 7430 prints 4.51"},
		{Text: "12 rods", Values: []float64{5.4954}, Provenance: computed, Remark: "recollections differ: BS 7430 prints 5.48"},
		{Text: "16 rods", Values: []float64{6.1495}, Provenance: computed, Remark: "recollections differ: BS 7430 prints 6.14"},
		{Text: "20 rods", Values: []float64{6.6432}, Provenance: computed, Remark: "recollections differ: BS 7430 prints 6.63"},
		{Text: "24 rods", Values: []float64{7.0395}, Provenance: computed, Remark: "recollections differ: BS 7430 prints 7.03"},
		{Text: "28 rods", Values: []float64{7.3704}, Provenance: computed, Remark: "recollections differ: BS 7430 prints 7.36"},
		{Text: "32 rods", Values: []float64{7.6544}, Provenance: computed},
		{Text: "36 rods", Values: []float64{7.9032}, Provenance: computed},
	}}

// minimumLength gives l_1 as max(l_0, k_l rho - c_l), the lines of the printed figure.
var minimumLength = &trace.Table{Number: "l_1", Title: "Minimum length of an earth electrode by class of LPS",
	Clause:  "IEC 62305-3:2010, minimum length l1 of each earth electrode",
	Symbols: []string{"l_0", "k_l", "c_l"}, Rows: []trace.Row{
		{Text: "class IV", Values: []float64{5, 0, 0}, Provenance: read},
		{Text: "class III", Values: []float64{5, 0, 0}, Provenance: read},
		{Text: "class II", Values: []float64{5, 0.02, 11}, Provenance: read},
		{Text: "class I", Values: []float64{5, 0.03, 10}, Provenance: mem},
	}}

const (
	rowAim = iota
	rowUseful
	rowExempt
	rowUniform
)

// limits are the figures an earth connection is judged by.
var limits = &trace.Table{Number: "limits", Title: "Limits for earth connections and readings",
	Clause:  "common practice for LPS; IEC 62305-3:2010, 5.4",
	Symbols: []string{"limit"}, Rows: []trace.Row{
		rowAim:     {Text: "earth resistance aimed at, ohm", Values: []float64{10}, Provenance: mem},
		rowUseful:  {Text: "earth resistance up to which bonded electronics still profit, ohm", Values: []float64{30}, Provenance: read},
		rowExempt:  {Text: "earth resistance below which type A needs no least length, ohm", Values: []float64{10}, Provenance: mem},
		rowUniform: {Text: "highest over lowest reading up to which soil counts as uniform", Values: []float64{1.3}, Provenance: rule},
	}}

// sizes lists the ranges of validate.go.
var sizes = sizeTable()

func sizeTable() *trace.Table {
	t := &trace.Table{Number: "sizes", Title: "Sizes of electrodes that are accepted",
		Clause: "conditions of the formulas; where they have none, sizes met in practice", Symbols: []string{"lowest", "highest"}}
	for k := range spans {
		for d, s := range spans[k] {
			if s != (span{}) {
				t.Rows = append(t.Rows, trace.Row{Text: Kind(k).String() + " " + dimensionFields[d], Values: []float64{s.low, s.high},
					Provenance: rule})
			}
		}
	}
	return t
}

// Tables lists the tables in use.
func Tables() []*trace.Table {
	return []*trace.Table{squareFactor, minimumLength, limits, sizes, termination, conductor}
}
