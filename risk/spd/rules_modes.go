package spd

import "levinward/risk"

// eachToEarth reports that the device stands between each conductor and PE or PEN: in CT1.
func (d *Device) eachToEarth(n *Need) bool {
	return n.connection == setCT1 || n.connection == setCT2 && !d.sums(n)
}

// uc is U_C between live conductors for the current of the line, of a device in CT1 to PE; telecommunication devices state either
// current.
func (d *Device) uc(n *Need) Opt {
	switch {
	case n.direct() && (d.UcDC.Valid || !n.telecom):
		return d.UcDC
	case d.eachToEarth(n) && d.UcLPE.Valid:
		return d.UcLPE
	}
	return d.UcAC
}

// ucNeed is the lowest U_C of the same conductors.
func (d *Device) ucNeed(n *Need) Opt {
	if n.through && d.eachToEarth(n) {
		return n.ucLPE
	}
	return n.ucMin
}

// lowestUc judges U_C of every mode that it can.
func (d *Device) lowestUc(n *Need) Verdict {
	if !n.ucMin.Valid {
		return InsufficientData
	}
	return max(rated(d.uc(n), d.ucNeed(n)), d.lowestUcThrough(n), d.lowestUcNPE(n), d.lowestUcLines(n))
}

// lowestUcLines judges U_C between lines where it is stated apart.
func (d *Device) lowestUcLines(n *Need) Verdict {
	if !n.ucLL.Valid || !d.UcLL.Valid {
		return Suitable
	}
	return rated(d.UcLL, n.ucLL)
}

// lowestUcThrough judges L-PE in CT2. Not stated, U_C of the larger of the two devices behind each other counts: how they share
// the voltage is not known.
func (d *Device) lowestUcThrough(n *Need) Verdict {
	switch {
	case !n.through || d.eachToEarth(n):
		return Suitable
	case d.UcLPE.Valid:
		return rated(d.UcLPE, n.ucLPE)
	case falls(max(d.UcAC.Value, d.UcNPE.Value), n.ucLPE.Value):
		return InsufficientData
	}
	return Suitable
}

// lowestUcNPE judges N-PE where it is stated apart.
func (d *Device) lowestUcNPE(n *Need) Verdict {
	if !n.ucNPE.Valid || !d.UcNPE.Valid {
		return Suitable
	}
	return rated(d.UcNPE, n.ucNPE)
}

// highestUc judges whether the device begins to act early enough, by the estimate from U_C: above what may reach the equipment by the
// low one it protects nothing; in between it may act too late. On data lines a U_P that is low enough proves the contrary.
func (d *Device) highestUc(n *Need) Verdict {
	uc := d.uc(n)
	row := d.onsetRow(n)
	peak := uc.Value * n.reviews.Value(onset, row, onsetPeak)
	switch {
	case !uc.Valid || !n.limit.Valid:
		return InsufficientData
	case falls(1000*n.limit.Value, peak*n.reviews.Value(onset, row, onsetLow)):
		return Ineffective
	case n.telecom && d.protects(n) == Suitable:
		return Suitable
	case !n.upMax.Valid || falls(1000*n.upMax.Value, peak*n.reviews.Value(onset, row, onsetHigh)):
		return InsufficientData
	}
	return Suitable
}

// onsetRow is the row of the beginning of action for the U_C that counts.
func (d *Device) onsetRow(n *Need) int {
	if n.direct() && (d.UcDC.Valid || !n.telecom) {
		return onsetDC
	}
	return onsetAC
}

// or is the first of two numbers that is present.
func (o Opt) or(other Opt) Opt {
	if o.Valid {
		return o
	}
	return other
}

// up is U_P of the conductors that uc stands for.
func (d *Device) up(n *Need) Opt {
	switch {
	case n.telecom:
		return d.Up
	case n.current == risk.DC:
		return d.UpPoles.or(d.Up)
	case d.eachToEarth(n):
		return d.UpLPE.or(d.Up)
	}
	return d.UpLN.or(d.Up)
}

// apart is one U_P besides up: its mode and value. exact is false for the sum of two devices behind each other, an upper bound.
type apart struct {
	mode  string
	value Opt
	exact bool
}

// upApart lists the U_P besides up that are judged: L-PE in CT2, N-PE and +/PE where stated.
func (d *Device) upApart(n *Need) (list [2]apart) {
	switch {
	case n.telecom:
	case n.current == risk.DC:
		list[0] = apart{"+/PE", d.UpPlusPE, true}
	default:
		if n.through && !d.eachToEarth(n) {
			list[0] = apart{modeLPE, d.UpLPE, true}
			if ln := d.UpLN.or(d.Up); !d.UpLPE.Valid && ln.Valid && d.UpNPE.Valid {
				list[0] = apart{modeLPE, Some(ln.Value + d.UpNPE.Value), false}
			}
		}
		if n.ucNPE.Valid || n.modes&setNPE != 0 {
			list[1] = apart{modeNPE, d.UpNPE, true}
		}
	}
	return list
}

// judge compares a U_P besides up with its limit. A sum above it proves nothing: the value of the path is missing. L-PE in CT2
// must be known, other modes are judged where they are stated.
func (a *apart) judge(limit Opt, found Opt) Verdict {
	switch {
	case a.mode == "":
		return Suitable
	case !found.Valid && a.mode == modeLPE:
		return InsufficientData
	case !found.Valid:
		return Suitable
	case !limit.Valid:
		return InsufficientData
	case !falls(limit.Value, found.Value):
		return Suitable
	case a.exact:
		return Ineffective
	}
	return InsufficientData
}

// protects judges U_P of every mode. Where no preferred U_P is low enough, no device protects the equipment.
func (d *Device) protects(n *Need) Verdict {
	up := d.up(n)
	switch {
	case !up.Valid:
		return InsufficientData
	case n.contradiction:
		return Ineffective
	case !n.upMax.Valid:
		return InsufficientData
	case falls(n.upMax.Value, up.Value):
		return Ineffective
	}
	v := Suitable
	list := d.upApart(n)
	for i := range list {
		v = max(v, list[i].judge(n.upMax, list[i].value))
	}
	return v
}

// openCircuit judges U_OC of a device that is of class III only.
func (d *Device) openCircuit(n *Need) Verdict {
	if !n.uoc.Valid || d.Classes&(setI|setII) != 0 {
		return Suitable
	}
	return rated(d.Uoc, n.uoc)
}

// aloneNPE is the temporary overvoltage that stands for N-PE where a data sheet states it without a mode [V]: a fault on the
// high-voltage side, 200 ms. From memory of IEC 61643-11:2011 Annex B.
const aloneNPE = 1200.0

// tov is what the device bears of a temporary overvoltage of a Need.
func (d *Device) tov(n *Need, which int) Opt {
	every := d.TOV
	alone := every.Valid && every.Value == aloneNPE
	if alone {
		every = Opt{}
	}
	switch which {
	case tovMain:
		if d.eachToEarth(n) {
			return d.TOVLPE.or(every)
		}
		return d.TOVLN.or(every)
	case tovLost:
		return d.TOVLost
	case tovLPE:
		return d.TOVLPE
	case tovHighLPE:
		return d.TOVHighLPE
	}
	if alone {
		return d.TOVHighNPE.or(d.TOV)
	}
	return d.TOVHighNPE
}

// tovNeed is the temporary overvoltage asked for.
func (d *Device) tovNeed(n *Need, which int) Opt {
	switch {
	case which == tovLPE && d.eachToEarth(n):
		return Opt{} // judged as the main one
	case which == tovMain && n.through && d.eachToEarth(n) && n.tov[tovLPE].Valid:
		return n.tov[tovLPE]
	}
	return n.tov[which]
}

// bears judges the temporary overvoltages: that of the main path for 5 s, and what the data sheet states besides.
func (d *Device) bears(n *Need) Verdict {
	v := rated(d.tov(n, tovMain), d.tovNeed(n, tovMain))
	for which := tovMain + 1; which < tovs; which++ {
		if found := d.tov(n, which); found.Valid {
			v = max(v, rated(found, d.tovNeed(n, which)))
		}
	}
	return v
}
