package spd

import "slices"

// serveBoards lets the devices of one line end serve the other ends on the same board. The ends keep their entries. The clauses do
// not say where one set per board is allowed; here it serves ends of equal needs that carry no partial lightning current, because those
// currents of all lines of a board would add up in one set (common practice, no published source).
func (s *scheduler) serveBoards(from int) {
	for i := from; i < len(s.entries); i++ {
		e := &s.entries[i]
		if s.board(e) == "" {
			continue
		}
		if server := s.serving(from, e); server != i {
			e.ServedBy = s.in.Lines[s.entries[server].Line].ID
		}
	}
}

// board names the board that the devices of an entry stand on; empty where they stand alone.
func (s *scheduler) board(e *Entry) string {
	if e.Position != LineEntrance {
		return ""
	}
	return s.in.Lines[e.Line].Board
}

// serving is the entry whose devices serve e: of those alike on its board the first that is asked for most.
func (s *scheduler) serving(from int, e *Entry) int {
	best := -1
	for i := from; i < len(s.entries); i++ {
		other := &s.entries[i]
		if s.board(other) != s.board(e) || !servesAlike(other, e) {
			continue
		}
		if best < 0 || stronger(other.Obligation, s.entries[best].Obligation) {
			best = i
		}
	}
	return best
}

// servesAlike reports that one set of devices does what both entries ask for. An entry serves itself.
func servesAlike(a, b *Entry) bool {
	if a == b {
		return true
	}
	return a.Structure == b.Structure && a.Service == b.Service && a.Current == b.Current &&
		a.TestClass == ClassII && b.TestClass == ClassII &&
		a.Connection == b.Connection && a.Withstand == b.Withstand && a.EffectiveMax == b.EffectiveMax && a.UcMax == b.UcMax &&
		a.ImaxMin == b.ImaxMin && a.ShortCircuitMin == b.ShortCircuitMin && a.Leads == b.Leads &&
		slices.EqualFunc(a.Modes, b.Modes, equalModes)
}

func equalModes(a, b Mode) bool {
	return a.Mode == b.Mode && a.UcMin == b.UcMin && a.UpMax == b.UpMax && a.InMin == b.InMin && a.IimpMin == b.IimpMin &&
		slices.Equal(a.TOV, b.TOV)
}

// stronger reports that a asks for more than b.
func stronger(a, b Obligation) bool {
	order := []Obligation{NotRequired, Recommended, Required}
	return slices.Index(order, a) > slices.Index(order, b)
}
