// Package ed2 computes the risk of IEC 62305-2:2010 (Edition 2), which is also
// EN 62305-2:2012 and NBR 5419-2:2015.
//
// Each file is an annex, its functions in the standard's order:
//
//	events.go       Annex A, numbers of dangerous events
//	probability.go  Annex B, probabilities of damage
//	loss.go         Annex C, losses
//	cost.go         Annex D, cost of loss
//	components.go   clause 6, risk components and their sums
//	tables.go       the printed tables
//	quantities.go   symbols, units, clauses and formulas
//	edition.go      the risk.Edition
//
// No licensed copy of the standard was at hand. Every table row and formula
// carries its provenance: read in a public secondary source, or from memory.
package ed2
