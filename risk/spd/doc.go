// Package spd says which surge protective device each end of each line needs.
//
// Schedule answers, for every line end at an assessed structure: is a device
// needed and by which rules, of which test class, for which lightning protection
// level, with which voltages, discharge and short-circuit ratings, and how it is to be
// connected. Every number carries its reason; with a trace, also each step to it.
// Check judges a device against such a place, Stress says what the years do to one, and
// Coordinate whether several fit behind each other.
//
// Reading guide, in the order of a computation:
//
//	entry.go         what a schedule says of one line end
//	schedule.go      the walk over structures and lines, and what is said of each device
//	end.go           one end of a line: its conductors, place, class and connection
//	need.go          is a device needed: IEC 62305-3 and -2, IEC 60364-4-44 clause 443, IEC 60364-7-712
//	current.go       threat, sharing and discharge ratings: IEC 62305-1 Annexes A and E, IEC 60364-5-53
//	voltage.go       U_C from below and above, U_P with leads and distance, U_W
//	device.go        what a data sheet states, and what a check of it answers
//	check.go         is this device right for that place: its voltages and ratings
//	check_place.go   the same for leads, distance, backup and earth; check_words.go puts it in a sentence
//	rules.go         the rules of the check, one function each
//	stress.go        how often which current passes a device, and what the years do to it
//	coordination.go  devices behind each other on one line: order, levels, decoupling, how far each protects
//	withstand.go     U_W of equipment where it is not stated
//	tables.go        the tables as printed, provenance per row
//	quantities.go    symbols, units, clauses, formulas
//
// A schedule is a design aid. Local codes and the licensed practitioner decide, and a
// device can do very little without an earth connection that has been proved.
package spd
