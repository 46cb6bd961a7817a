package spd

import "levinward/risk/trace"

var quantities = trace.Number()

// Quantities lists the symbols of a schedule with unit, clause and formula.
func Quantities() []*trace.Quantity { return quantities }
