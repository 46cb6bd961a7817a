package risk

import "levinward/risk/trace"

// Edition computes the risk of a site by one published edition of a standard.
// A stored result keeps the edition it was computed with.
type Edition interface {
	// ID is the name of the edition in documents, "iec-62305-2:2010".
	ID() string
	// Quantities lists all symbols with unit, clause and formula.
	Quantities() []*trace.Quantity
	// Tables lists the printed tables in use.
	Tables() []*trace.Table
	// Reads lists the fields of the input that the edition uses, as
	// pointers with * for an index ("/structures/*/height_m").
	Reads() []string
	// Reach says how far the collection areas reach.
	Reach() Reach
	// Clause is where the edition rules on a field of the input, by its last name ("surroundings"); empty where it does not.
	Clause(field string) string
	// Component names a risk component as the edition prints it, and says what it depends on where no measure brings it down.
	Component(Component) (symbol, remedy string)
	// Validate reports everything that keeps the edition from computing the input.
	Validate(*Input) []Violation
	// Assess computes all risks. The input must be valid. With a nil trace nothing is recorded.
	Assess(*Input, *trace.Trace) (Result, error)
	// CostOfLoss compares the yearly cost of loss R_4 c_t with and without measures: before and after
	// are R_4 [1/a], value is c_t, price is C_P (money), yearly is i + a + m [1/a].
	CostOfLoss(before, after, value, price, yearly float64, t *trace.Trace) Cost
	// Evaluator prepares the evaluation of one structure under different measures.
	Evaluator(in *Input, structure int) Evaluator
}

// Reach says how far the collection areas of an edition reach. All values are more than 0.
type Reach struct {
	Slope      float64 // A_D reaches the height times this from each part of a structure
	Near       float64 // A_M, from the outline of a structure [m]
	LineDirect float64 // A_L, to each side of a line [m]
	LineNear   float64 // A_I, to each side of a line [m]
}
