package spd

import "levinward/risk"

// entrance is the entry at the entrance of the line end being scheduled, nil where there is none.
func (s *scheduler) entrance(x *end) *Entry {
	for i := len(s.entries) - 1; i >= 0; i-- {
		e := &s.entries[i]
		if e.Line != x.line || e.Structure != x.structure {
			return nil
		}
		if e.Position == LineEntrance {
			return e
		}
	}
	return nil
}

// shieldedAlone reports equipment beyond 10 m of cable that gets no second device: half of U_W is enough with shielded wiring.
func (x *end) shieldedAlone() bool {
	el := &x.l.Electrical
	return el.EquipmentDistance > farAway && el.ShieldedWiring && el.SecondDevice == risk.No
}

// distanceNotes says how a second device and the first work together, and the alternative to it. first is nil at the entrance.
func (s *scheduler) distanceNotes(x *end, en, first *Entry) {
	if first != nil {
		row := coordRowLimiting
		if first.TestClass == ClassI {
			row = coordRowLightning
		}
		coordinated := "The two are coordinated by the maker's word for the pair, or by about " + amount(s.t.Value(coordDecoupling, row, 0),
			"m") +
			" of cable or an inductor of " + amount(s.t.Value(coordDecoupling, row, 1), "uH") + " between them."
		if x.telecom() {
			coordinated = "The two are coordinated by the maker's word for the pair."
		}
		s.note("Second device: its U_P is not above and its U_C not below that of the device at the entrance, equal is best. " + coordinated)
	}
	if first != nil && en.Withstand.Valid {
		s.note("Instead of the second device: U_P with leads of the first at most half of U_W, " + amount(en.Withstand.Value/2, "kV") +
			", if the wiring from there to the equipment is shielded.")
	}
}
