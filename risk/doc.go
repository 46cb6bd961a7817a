// Package risk holds the plain types of a lightning risk assessment: the site as
// it goes in, the result as it comes out, and the Edition that computes one from the other.
//
// Reading guide, in the order of a computation:
//
//	input.go      the site: structures with zones, lines with sections
//	enums.go      the named values of its fields
//	violation.go  what can be wrong with it
//	edition.go    the interface of a published edition; ed2 implements IEC 62305-2:2010
//	measures.go   protection measures and the evaluation of a structure under them
//	result.go     risks, components, recommendation and SPD schedule
//	trace         how each value came about
//
// Nothing here reads files, clocks or networks.
package risk
