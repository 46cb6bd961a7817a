package trace

// Ground is the weakest value or formula that a value rests on. The zero Ground says that nothing was recorded.
type Ground struct {
	Provenance Provenance
	Quantity   *Quantity // whose value or formula it is
	Table      *Table    // nil unless the value was read from a table
	Row, Col   int16
}

// Value names the value or formula for a reader: clause, row and column of a table, or symbol and meaning of a formula.
// It is empty where no single value is the weakest.
func (g Ground) Value() string {
	switch {
	case g.Table != nil:
		text := g.Table.Clause + ", " + g.Table.Rows[g.Row].Text
		if c := g.Table.Column(int(g.Col)); c != "" {
			text += ", " + c
		}
		return text
	case g.Quantity != nil:
		return g.Quantity.Symbol + ", " + g.Quantity.Name + " (" + g.Quantity.Clause + ")"
	}
	return ""
}

// strength orders the marks, the strongest first.
var strength = [...]uint8{Given: 0, Checked: 1, SecondarySource: 2, Computed: 3, Memory: 4, CommonPractice: 5, Assumed: 6}

// WeakerThan reports whether a number of this mark can be trusted less than one of the other. What the user gave
// counts as certain, then what a reader compared with the printed standard, a value read in a secondary source,
// one computed by such a formula, one from memory, a fact of the trade, and what the program assumes.
func (p Provenance) WeakerThan(other Provenance) bool { return strength[p] > strength[other] }

// Rests returns the weakest of a step and all steps it was computed from; of equals the first recorded.
func (t *Trace) Rests(m Mark) Ground {
	if !t.Records() || m <= 0 {
		return Ground{}
	}
	for i := len(t.weakest); i < len(t.Steps); i++ {
		t.weakest = append(t.weakest, t.weakestOf(i))
	}
	s := &t.Steps[t.weakest[m-1]]
	return Ground{t.provenance(s), s.Quantity, s.Table, s.Row, s.Col}
}

// weakestOf is the weakest step that step i rests on. Steps come from earlier ones only.
func (t *Trace) weakestOf(i int) int32 {
	weakest := int32(i)
	for _, from := range t.From(i) {
		if w := t.weakest[from]; t.provenance(&t.Steps[w]).WeakerThan(t.provenance(&t.Steps[weakest])) {
			weakest = w
		}
	}
	return weakest
}

// Provenance is the mark of step i: that of its table row or of its quantity, unless a reader has confirmed or corrected
// it. A step of Absent has none and counts as given.
func (t *Trace) Provenance(i int) Provenance { return t.provenance(&t.Steps[i]) }

// Absent reports that the step is one of Absent.
func (s *Step) Absent() bool { return s.Table == nil && s.Row == absentRow }

// Reviews are those the trace looks values up in; nil where there are none.
func (t *Trace) Reviews() *Reviews {
	if t == nil {
		return nil
	}
	return t.reviews
}

// provenance is the mark of a step: that of its table row or of its quantity, unless a reader has confirmed or corrected it.
func (t *Trace) provenance(s *Step) Provenance {
	switch {
	case s.Absent():
		return Given
	case s.Table != nil:
		return t.reviews.Provenance(s.Table, int(s.Row), int(s.Col))
	}
	if r, ok := t.reviews.Formula(s.Quantity); ok && r.Agrees {
		return Checked
	}
	return s.Quantity.Provenance
}
