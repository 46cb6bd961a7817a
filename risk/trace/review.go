package trace

// Review is what a reader of the printed standard says of one value of a table, or of one formula.
type Review struct {
	Value  float64 // as printed; the value in use where the reader agrees; 0 for a formula
	Agrees bool    // with the value or formula of the program
	By     string  // who read it
	Date   string  // when, YYYY-MM-DD
}

// Reviews are the reviews that a computation uses. A nil *Reviews has none: every value is the program's.
type Reviews struct {
	Hash string // of the document the reviews came from; names them in every record

	cells    map[*Table]map[[2]int]Review
	formulas map[*Quantity]Review
}

// NewReviews returns an empty set, to be filled before it is used.
func NewReviews(hash string) *Reviews {
	return &Reviews{Hash: hash, cells: map[*Table]map[[2]int]Review{}, formulas: map[*Quantity]Review{}}
}

// SetCell enters the review of a table value.
func (r *Reviews) SetCell(t *Table, row, col int, v Review) {
	if r.cells[t] == nil {
		r.cells[t] = map[[2]int]Review{}
	}
	r.cells[t][[2]int{row, col}] = v
}

// SetFormula enters the review of the formula of a quantity.
func (r *Reviews) SetFormula(q *Quantity, v Review) { r.formulas[q] = v }

// Cell returns the review of a table value, if there is one.
func (r *Reviews) Cell(t *Table, row, col int) (Review, bool) {
	if r == nil {
		return Review{}, false
	}
	v, ok := r.cells[t][[2]int{row, col}]
	return v, ok
}

// Formula returns the review of the formula of a quantity, if there is one.
func (r *Reviews) Formula(q *Quantity) (Review, bool) {
	if r == nil {
		return Review{}, false
	}
	v, ok := r.formulas[q]
	return v, ok
}

// Provenance is the mark of a table value: that of its row unless a reader has reviewed the value.
func (r *Reviews) Provenance(t *Table, row, col int) Provenance {
	if _, ok := r.Cell(t, row, col); ok {
		return Checked
	}
	return t.Rows[row].Provenance
}

// Value is the table value in use: the printed one where a reader has reviewed it, else the program's.
func (r *Reviews) Value(t *Table, row, col int) float64 {
	if r != nil {
		if v, ok := r.Cell(t, row, col); ok {
			return v.Value
		}
	}
	return t.Rows[row].Values[col]
}
