// Package earth computes earth electrodes in uniform soil: the resistance of a given
// electrode, the electrode for a wanted resistance, the shortest electrode that a lightning
// protection system may have, and the resistivity of the soil from readings.
//
// Reading guide:
//
//	electrode.go   what an electrode is, and the range of each of its sizes
//	validate.go    everything that can be wrong with one
//	resistance.go  its resistance, and that of several in parallel
//	design.go      the smallest electrode for a wanted resistance
//	length.go      minimum length l_1 by class of LPS and soil
//	soil.go        resistivity from readings; layered soil is refused
//	judgement.go   what an earth connection is worth to surge protection
//	quantities.go  symbols, formulas and where they come from
//	tables.go      tables and limits
//
// The formulas hold for uniform soil and slow currents. Real soil changes with depth,
// water and season: a computed resistance is for planning, and the finished electrode is
// measured by a qualified person under the local code before anything relies on it.
//
// Most formulas here assume how the current spreads over the electrode (evenly along a
// conductor, in equal parts over rods). By Thomson's theorem an assumed spread never gives
// less than the true resistance, so they err on the safe side; testdata/reference holds
// the comparison.
package earth
