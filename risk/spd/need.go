package spd

import "levinward/risk"

// grounds is a set of grounds for or against a device, one bit each.
type grounds uint32

// The grounds for a device, then those against it. They are listed in this order.
const (
	forLPS grounds = 1 << iota
	forRisk
	forCounted
	forLife
	forPublic
	forCommerce
	forPeople
	forCRL
	forRoute
	forPVGuide
	forDCBesideAC
	forTelecom
	forDistance
	forHalf
	forArray
	forFarEnd
	forZone

	againstLPS
	againstRisk
	againstIdle
	againstNotConnected
	againstCRL
	againstNoLength
	againstRoute
	againstPVGuide
	againstPower
	againstSecond

	endOfGrounds
)

// reasons holds the text of each ground, in order of the bits.
var reasons = [...]risk.Reason{
	{Rule: "The structure has a lightning protection system, or is to have one: every line that enters is bonded through devices.", Clause: "IEC 62305-3:2010, 6.2"},
	{Rule: "The recommended measures bring the risk down with devices at this end of the line.", Clause: "IEC 62305-2:2010, clause 5"},
	{Rule: "The risk assessment counts on devices stated at this end of the line.", Clause: "IEC 62305-2:2010, Annex B"},
	{Rule: "Overvoltages have consequences for human life.", Clause: std443},
	{Rule: "Overvoltages have consequences for a public service or for cultural heritage.", Clause: std443},
	{Rule: "Overvoltages have consequences for commercial, industrial or agricultural activity.", Clause: std443},
	{Rule: "Overvoltages have consequences for a large group of people.", Clause: std443},
	{Rule: "The calculated risk level CRL is below 1000.", Clause: std443},
	{Rule: "The d.c. route is at least as long as the critical length L_crit.", Clause: std712},
	{Rule: "Photovoltaic systems get devices on both sides unless a risk analysis says otherwise, and the risk analysis does not.", Clause: stdPVGuide},
	{Rule: "A device is required on an a.c. line of the structure: the d.c. lines get one too.", Clause: stdPVGuide + "; " + trade + " for lines other than photovoltaic"},
	{Rule: "A device is required on a power line of the structure: the telecommunication lines are recommended to have one too.", Clause: std443},
	{Rule: "The equipment is more than 10 m of cable from the device at the entrance.", Clause: stdSPD},
	{Rule: "Life or a public service is at stake, and a usual device at the entrance does not reach half of U_W.", Clause: stdSystem + "; " + trade},
	{Rule: "The array is more than 10 m from the building.", Clause: stdPVGuide},
	{Rule: "Equipment stands at the far end of the line.", Clause: stdSystem},
	{Rule: "The line ends in an explosive atmosphere: surges there can ignite it.", Clause: "IEC 62305-3:2010, Annex D"},

	{Rule: "The structure has no lightning protection system and needs none.", Clause: "IEC 62305-3:2010, 6.2"},
	{Rule: "The risk needs no device at this end of the line.", Clause: "IEC 62305-2:2010, clause 5"},
	{Rule: "The line has no length outside the building and no source: nothing reaches the building through it. Laying it outside makes a new assessment necessary.", Clause: trade},
	{Rule: "No source is connected to this input, so the rules for supply overvoltages do not apply. Connecting a generator or the grid makes them apply: assess again before.", Clause: std443},
	{Rule: "The calculated risk level CRL is 1000 or more.", Clause: std443},
	{Rule: "The supply has no length on which an overvoltage could arise.", Clause: std443},
	{Rule: "The d.c. route is shorter than the critical length L_crit.", Clause: std712},
	{Rule: "Photovoltaic systems get devices on both sides unless a risk analysis says otherwise; the risk analysis made here does: the risk is acceptable without one.", Clause: stdPVGuide},
	{Rule: "No power line of the structure requires a device.", Clause: std443},
	{Rule: "No device is required at the entrance; if one is fitted there, this one belongs to it.", Clause: stdSPD},
}

const pro = againstLPS - 1

// alwaysTold are grounds that are listed even where another ground decides.
const alwaysTold = againstRoute | againstPVGuide

// asked reports a ground for a device.
func (g grounds) asked() bool { return g&pro != 0 }

// obligation is how strongly the grounds ask. That a power line needs devices only recommends those of telecommunication lines.
func (g grounds) obligation() Obligation {
	switch {
	case g&pro&^forTelecom != 0:
		return Required
	case g.asked():
		return Recommended
	}
	return NotRequired
}

// notForThis goes before a ground that does not ask for a device which others ask for.
const notForThis = "Not for this reason: "

// tell appends the grounds that matter to the reasons of an entry.
func (g grounds) tell(to []risk.Reason) []risk.Reason {
	asked := g.asked()
	if asked {
		g &= pro | alwaysTold
	}
	for i := range reasons {
		if g&(1<<i) == 0 {
			continue
		}
		r := reasons[i]
		if asked && (1<<i)&pro == 0 {
			r.Rule = notForThis + lowerFirst(r.Rule)
		}
		to = append(to, r)
	}
	return to
}

// need collects every ground for and against a device at the entrance of a line.
func (s *scheduler) need(x *end) grounds {
	g := s.lightning(x)
	switch {
	case x.inZone():
		return g | forZone
	case x.telecom():
		return g | either(s.site.powerNeeds, forTelecom, againstPower)
	case x.l.Electrical.Current == risk.AC:
		return g | s.supply(x)
	case x.pv():
		g |= s.photovoltaic(x, g)
	}
	if s.site.acNeeds {
		g |= forDCBesideAC
	}
	return g
}

func either(is bool, yes, no grounds) grounds {
	if is {
		return yes
	}
	return no
}

// lightning collects the grounds of IEC 62305: bonding of an LPS, and the risk.
func (s *scheduler) lightning(x *end) grounds {
	var g grounds
	switch {
	case x.idle():
		g |= againstIdle
	default:
		g |= either(s.site.lps, forLPS, againstLPS)
	}
	switch {
	case !x.driven():
		g |= againstRisk
	case x.stated:
		g |= forCounted
	default:
		g |= forRisk
	}
	return g
}

// supply collects the grounds of IEC 60364-4-44 clause 443, overvoltages of a.c. supplies.
func (s *scheduler) supply(x *end) grounds {
	if !x.l.Electrical.SourceConnected {
		return againstNotConnected
	}
	if g := consequences(s.site.s); g != 0 {
		return g
	}
	crl, ok := s.riskLevel(x)
	if !ok {
		return againstNoLength
	}
	x.crl, x.crlStep = Some(crl), s.t.Last(qCRL)
	return either(crl < 1000, forCRL, againstCRL)
}

// consequences sorts a structure into the cases of clause 443.4; the examples of
// each case are from memory of the 2015 amendment. 0 leaves it to the calculated risk level.
func consequences(s *risk.Structure) grounds {
	var g grounds
	use := risk.NearestOccupancy(s.Occupancy)
	if s.FailureEndangersLife || use == risk.Hospital {
		g |= forLife
	}
	if s.PublicSupply != risk.NoPublicSupply || s.CulturalHeritage || s.Occupancy == risk.Museum {
		g |= forPublic
	}
	switch use {
	case risk.Hotel, risk.Industrial, risk.Commercial, risk.Agricultural, risk.Office:
		g |= forCommerce
	case risk.School, risk.Civic, risk.Entertainment, risk.Church:
		g |= forPeople
	}
	if crowded(s) || s.Occupancy == risk.BoardingSchool {
		g |= forPeople
	}
	return g
}

// crowded reports a large group of people: over 100, or a zone of such panic.
func crowded(s *risk.Structure) bool {
	if s.Persons > 100 {
		return true
	}
	for i := range s.Zones {
		if h := s.Zones[i].SpecialHazard; h == risk.AveragePanic || h == risk.HighPanic {
			return true
		}
	}
	return false
}

// reach is the length of a supply that counts for the calculated risk level [m].
const reach = 1000.0

// Remarks on the lengths of the calculated risk level.
const (
	withinReach = "sections in order from the structure, up to 1 km"
	restAerial  = "sections in order from the structure, up to 1 km; the part not described counts as aerial low voltage"
)

// lengths are the parts of a supply within reach, by kind [km].
type lengths struct {
	aerialLV, cableLV, aerialHV, cableHV float64
	environment                          risk.Environment // the most exposed of the parts
	rest                                 bool             // a part is not described
}

// riskLevel returns CRL; false where the line has no length within reach.
func (s *scheduler) riskLevel(x *end) (float64, bool) {
	p := s.withinReach(x)
	LP := 2*p.aerialLV + p.cableLV + 0.4*p.aerialHV + 0.2*p.cableHV
	if LP == 0 || s.NG == 0 {
		return 0, false
	}
	note := withinReach
	if p.rest {
		note = restAerial
	}
	t := s.t
	t.Noted(qLPAL, p.aerialLV, note)
	t.Noted(qLPCL, p.cableLV, withinReach)
	t.Noted(qLPAH, p.aerialHV, withinReach)
	t.Noted(qLPCH, p.cableHV, withinReach)
	t.Set(qLP, LP)
	fenv := t.Pick(qFenv, environmentFactor, int(p.environment), 0)
	F := t.Noted(qF, 1, "no national value given")
	return t.Set(qCRL, fenv*F/(LP*s.NG)), true
}

// withinReach sorts the sections of a line, from the structure outwards, by kind.
func (s *scheduler) withinReach(x *end) lengths {
	p := lengths{environment: risk.UrbanTall}
	left := reach
	for i := range x.l.Sections {
		c := x.section(i)
		length := min(left, c.Length)
		left -= length
		if length > 0 || len(x.l.Sections) == 1 {
			p.environment = min(p.environment, c.Environment)
		}
		switch {
		case c.Service == risk.HighVoltage && c.Installation == risk.Aerial:
			p.aerialHV += length / 1000
		case c.Service == risk.HighVoltage:
			p.cableHV += length / 1000
		case c.Installation == risk.Aerial:
			p.aerialLV += length / 1000
		default:
			p.cableLV += length / 1000
		}
	}
	if left > 0 && s.continues(x) {
		p.aerialLV += left / 1000
		p.rest = true
	}
	return p
}

// continues reports whether more of the supply lies behind the far end: the
// network, or a neighbour that another a.c. line supplies.
func (s *scheduler) continues(x *end) bool {
	far := x.l.Far(s.site.index)
	if far < 0 {
		return true
	}
	for i := range s.in.Lines {
		l := &s.in.Lines[i]
		if i != x.line && l.Ends(far) && l.Service != risk.Telecom && l.Electrical.Current == risk.AC && l.Electrical.SourceConnected {
			return true
		}
	}
	return false
}

// photovoltaic collects the grounds of the two standards for the d.c. side, given those of lightning.
func (s *scheduler) photovoltaic(x *end, g grounds) grounds {
	L := s.t.Given(qRoute, x.l.Length())
	k := s.t.Pick(qKcrit, criticalLength, int(x.l.Electrical.Building), 0)
	out := againstRoute
	if s.NG > 0 {
		x.critical = Some(s.t.Set(qLcrit, k/s.NG))
		x.routeStep = s.t.Last(qLcrit)
		out = either(L >= x.critical.Value, forRoute, againstRoute)
	}
	return out | either(g&(forRisk|forCounted) != 0 || !s.acceptable, forPVGuide, againstPVGuide)
}
