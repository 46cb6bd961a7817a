package wire

import "levinward/risk"

// persons sets n_t: as given, else the fewest that the zones allow where each states its persons, else not known.
func (b *builder) persons(i int) {
	w, s := &b.in.Structures[i], &b.site.Input.Structures[i]
	at := pointer("structures", i, "zones")
	sum := statedPersons(w.Zones)
	switch {
	case w.Persons != nil:
		s.Persons = *w.Persons
		b.crowd(&sum, s.Persons, at)
	case sum.all && sum.persons > 0:
		s.Persons = sum.fewest()
		b.assume(defaultPersonsFewest, Where{i, -1, -1, -1}, "structures", i)
	default:
		if sum.persons > 0 {
			b.fault(risk.RuleContradiction, pointer("structures", i, "persons"), "is needed where some zones state their persons and others do not")
		}
		b.assume(defaultPersons, Where{i, -1, -1, -1}, "structures", i)
	}
	if s.Persons > 0 && sum.inside > s.Persons*(1+1e-9) {
		s.Users = sum.inside
	}
}

// zonePersons are the persons that zones state, and their hours.
type zonePersons struct {
	persons, inside float64 // of all zones, and of those inside
	most            float64 // in one zone
	hours           float64 // person-hours a year
	all             bool    // every zone states its persons
}

// hoursOfYear is 365 x 24.
const hoursOfYear = 8760

func statedPersons(zones *[]Zone) zonePersons {
	p := zonePersons{all: zones != nil}
	if zones == nil {
		return p
	}
	for z := range *zones {
		zone := &(*zones)[z]
		if zone.Persons == nil {
			p.all = false
			continue
		}
		p.persons += *zone.Persons
		p.most = max(p.most, *zone.Persons)
		hours := float64(hoursOfYear)
		if zone.Hours != nil {
			hours = *zone.Hours
		}
		p.hours += *zone.Persons * hours
		if zone.Place == nil || *zone.Place == risk.Inside {
			p.inside += *zone.Persons
		}
	}
	return p
}

// fewest is the smallest n_t that the zones allow: nobody is in two zones at once.
func (p *zonePersons) fewest() float64 { return max(p.most, p.hours/hoursOfYear) }

// crowd finds zones that hold more persons, or more of their hours, than the structure has.
func (b *builder) crowd(p *zonePersons, persons float64, zones string) {
	const howTo = ": state everyone once in persons of the structure, and in each zone the persons and the hours_per_year they spend there; the same persons may stand in several zones"
	switch {
	case p.most > persons*(1+1e-9):
		b.fault(risk.RuleTooManyPersons, zones, "a zone holds "+format(p.most)+" persons, more than the "+format(persons)+" of the structure"+howTo)
	case p.hours > persons*hoursOfYear*(1+1e-9):
		b.fault(risk.RuleTooManyPersons, zones, "the persons of the zones spend "+format(p.hours)+" hours a year there, more than the "+
			format(persons*hoursOfYear)+" that "+format(persons)+" persons have (8760 each)"+howTo)
	}
}
