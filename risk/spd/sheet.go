package spd

import "levinward/risk"

// sheetPair is U_P and U_C of one mode as a data sheet states them.
type sheetPair struct {
	mode   string // empty: between live conductors
	up, uc Opt    // [kV], [V]
	row    int    // of the bounds of a data sheet
}

// sheetPairs lists what the data sheet states of one mode twice. N-PE is a gap in most devices, whatever stands between live
// conductors.
func (d *Device) sheetPairs(n *Need) (pairs [3]sheetPair) {
	pairs[0] = sheetPair{"", d.up(n), d.uc(n), d.sheetRow(n)}
	switch {
	case n.telecom:
	case n.current == risk.DC:
		pairs[1] = sheetPair{"+/PE", d.UpPlusPE, d.UcDC, d.sheetRow(n)}
	case !d.eachToEarth(n):
		pairs[1] = sheetPair{modeLPE, d.UpLPE, d.UcLPE, sheetOther}
		pairs[2] = sheetPair{modeNPE, d.UpNPE, d.UcNPE, sheetOther}
	default:
		pairs[2] = sheetPair{modeNPE, d.UpNPE, d.UcNPE, sheetOther}
	}
	return pairs
}

// sheetRow is the row of the bounds by technology and current.
func (d *Device) sheetRow(n *Need) int {
	dc := d.onsetRow(n) == onsetDC
	switch {
	case d.Technology != Limiting:
		return sheetOther
	case n.telecom && dc:
		return sheetDataDC
	case n.telecom:
		return sheetDataAC
	case dc:
		return sheetLimitingDC
	}
	return sheetLimitingAC
}

// sheetDoubt is how far a data sheet can be believed.
type sheetDoubt uint8

const (
	believable sheetDoubt = iota
	doubtfulSheet
	impossible
)

// doubt judges a pair. U_P equal to 1.05 U_C of direct current cannot be either.
func (p *sheetPair) doubt(d *Device, n *Need) sheetDoubt {
	if !p.up.Valid || !p.uc.Valid {
		return believable
	}
	peak := p.uc.Value * n.reviews.Value(onset, d.onsetRow(n), onsetPeak)
	never := peak * n.reviews.Value(sheetBounds, p.row, sheetNever)
	dc := p.row == sheetLimitingDC || p.row == sheetDataDC
	switch up := 1000 * p.up.Value; {
	case never > 0 && (falls(up, never) || dc && !(up > never*(1+1e-9))):
		return impossible
	case falls(up, peak*n.reviews.Value(sheetBounds, p.row, sheetDoubtful)):
		return doubtfulSheet
	}
	return believable
}

// consistent judges whether the data sheet can be believed: U_P against U_C of the same mode.
func (d *Device) consistent(n *Need) Verdict {
	pairs := d.sheetPairs(n)
	for i := range pairs {
		if pairs[i].doubt(d, n) != believable {
			return InsufficientData
		}
	}
	return Suitable
}

// Reasons of the findings on a data sheet.
var (
	whySheet      = rule{"U_P lies above the peak of U_C, as it must: below its U_C a device does nothing.", trade, practice}
	whyImpossible = rule{"The data sheet contradicts itself: a limiting device carries no more than some mA at the peak of its U_C, so " +
		"that at a surge of " +
		"some kA its voltage lies well above it. Ask the maker which of the two is meant.", trade, practice}
	whyDoubtLimit = rule{"Doubtful: a varistor at a surge of some kA limits to at least about 1.5 times the peak of its U_C, a diode on " +
		"a data line to about 1.2 " +
		"times. Ask the maker at which current U_P holds.", trade, practice}
	whyDoubtGap = rule{"Doubtful: below the peak of U_C no gap may spark over, so that this is usually the residual voltage. U_P is the " +
		"larger of sparkover " +
		"and residual voltage: ask the maker for it.", trade, practice}
)

// sheetFindings says of each mode that is stated twice whether the data sheet can be believed.
func (c *checker) sheetFindings() {
	pairs := c.d.sheetPairs(&c.n)
	for i := range pairs {
		p := &pairs[i]
		if !p.up.Valid || !p.uc.Valid {
			continue
		}
		peak := p.uc.Value * c.n.reviews.Value(onset, c.d.onsetRow(&c.n), onsetPeak)
		f := Finding{Rule: RuleDataSheet, Mode: p.mode, Required: "U_P above " + amount(peak*c.n.reviews.Value(sheetBounds, p.row,
			sheetDoubtful), "V"),
			Found: amount(1000*p.up.Value, "V")}
		why := &whySheet
		switch p.doubt(c.d, &c.n) {
		case impossible:
			f.Verdict, why = InsufficientData, &whyImpossible
			f.Required = "U_P above " + amount(peak*c.n.reviews.Value(sheetBounds, p.row, sheetNever), "V")
		case doubtfulSheet:
			f.Verdict, why = InsufficientData, &whyDoubtLimit
			if p.row == sheetOther {
				why = &whyDoubtGap
			}
		}
		f.Reason, f.Clause, f.Provenance = why.reason, why.clause, why.provenance
		c.add(f)
	}
}
