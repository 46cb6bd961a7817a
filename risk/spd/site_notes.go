package spd

import "levinward/risk"

// siteNotes says what small off-grid sites are to see to, each where it applies: safety first, then what decides whether the device works.
// Common practice and memory; no clause was read.
func (s *scheduler) siteNotes(x *end, en *Entry) {
	el := &x.l.Electrical
	direct, inverter := x.direct(), s.fedBy(el, risk.SourceInverter)
	offGrid := direct || inverter || s.fedBy(el, risk.SourceGenerator)
	if offGrid {
		s.note("Work on it only with array, battery and generator isolated, and never in a thunderstorm.")
	}
	s.zoneNotes(x)
	if direct && el.Origin == risk.Battery || x.site.storage && direct {
		s.note("Keep the device away from battery gas, in an enclosure that does not burn.")
	}
	if direct {
		s.note("No spark gap or gas tube between the poles unless its data sheet states a d.c. follow-current interruption; backup fuses " +
			"are rated for d.c. and for more than the battery's short-circuit current.")
		s.note("Both poles and PE together in small loops, away from down-conductors.")
	}
	if inverter {
		s.note("An island inverter may not blow a backup fuse: the device needs a disconnector of its own.")
	}
	if (offGrid || el.AlsoFedBy != nil) && x.site.s.Earthing.Common != risk.Yes {
		s.note("One common electrode for array frame, battery, inverter, generator, mast and lightning protection system, " +
			"never a separate earth for the device.")
	}
	if !direct && !x.telecom() {
		s.sourceNotes(x)
	}
	s.separationNote(x)
	if s.in.Altitude > highAltitude {
		s.note("Above 2000 m of altitude air gaps and clearances hold less: ask the maker whether the device may be used at " +
			"" + amount(s.in.Altitude, "m") + ".")
	}
	if el.CombinerBoxes > 0 && en.Position == AtArray {
		s.note("One set of devices in each combiner box, " + amount(float64(el.CombinerBoxes), "in all") + ".")
	}
	if offGrid {
		s.note("Disconnect the devices for insulation tests, and inspect them after storms.")
	}
}

// highAltitude is where the maker's word on altitude is needed [m].
const highAltitude = 2000

// fedBy reports a source that feeds an a.c. line at any time of the year.
func (s *scheduler) fedBy(el *risk.Electrical, source risk.SupplySource) bool {
	if el.Current != risk.AC {
		return false
	}
	if el.Source == source {
		return true
	}
	if el.AlsoFedBy != nil {
		for _, other := range *el.AlsoFedBy {
			if other.Source == source {
				return true
			}
		}
	}
	return false
}

// sourceNotes says what changing sources and the bond of the neutral mean for an a.c. device.
func (s *scheduler) sourceNotes(x *end) {
	el := &x.l.Electrical
	switch {
	case el.Changeover == risk.ChangeoverBehind:
		s.note("The changeover stands behind the device: it covers this source only; the side of the other source needs a set of its own.")
	case el.Changeover == risk.ChangeoverBefore:
		s.note("The changeover stands before the device: it covers every source, and fits all of their states.")
	case el.AlsoFedBy != nil && el.Changeover != risk.NoChangeover, el.Changeover == risk.ChangeoverUnknown:
		s.note("Where the changeover stands is not known: fit a set on both sides of it, or find out.")
	}
	island := s.fedBy(el, risk.SourceInverter) || s.fedBy(el, risk.SourceGenerator)
	switch {
	case !island && el.AlsoFedBy == nil:
	case el.NeutralBond == risk.NeutralBondNotKnown:
		s.note("Find out where neutral and earth are joined, at the source or at the board, and whether a changeover moves the " +
			"bond: the modes depend on it.")
	case el.NeutralBond == risk.NoNeutralBond && el.System != risk.IT:
		s.note("No bond between neutral and earth makes this an IT system: enter it as IT.")
	}
}

// inZone reports an end in an explosive atmosphere.
func (x *end) inZone() bool { return x.site.s.Explosion != risk.NoExplosion && !x.l.OutsideZone }

// zoneNotes says what an explosive atmosphere asks for.
func (s *scheduler) zoneNotes(x *end) {
	if !x.inZone() {
		return
	}
	s.note("Explosive atmosphere (zone " + zoneName(x.site.s.Explosion) + "): put the device outside the zone, or take one " +
		"that is certified for it, and " +
		"bond where the line enters. A specialist for explosion protection decides.")
}

func zoneName(z risk.ExplosionZone) string {
	switch z {
	case risk.Explosion0:
		return "0 or 20"
	case risk.Explosion1:
		return "1 or 21"
	}
	return "2 or 22"
}
