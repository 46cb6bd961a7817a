package wire

import (
	"math"
	"strings"
	"testing"

	"levinward/risk"
)

// What fits is n_z t_z into n_t 8760 (IEC 62305-2:2010 C.3, f = n_z/n_t x t_z/8760, from memory): nobody is in two zones at once.
func TestPersonsOfZones(t *testing.T) {
	const head = `{"name": "n", "location": {"latitude": 0, "longitude": 0}, "flash_density": {"ground_flashes_per_km2_year": 1}, "lines": [],
		"structures": [{"id": "school", "length_m": 20, "width_m": 8, "height_m": 4, `
	for name, c := range map[string]struct {
		structure      string
		fault          string // part of the text, empty where there is none
		persons, users float64
	}{
		"a class in its room and in the yard": {`"persons": 40, "zones": [{"id": "room", "persons": 40, "hours_per_year": 1200},
			{"id": "yard", "place": "outside", "persons": 40, "hours_per_year": 400}]`, "", 40, 0}, // 64 000 of 350 400 h; users: those inside
		"two rooms": {`"persons": 40, "zones": [{"id": "room", "persons": 40, "hours_per_year": 1200},
			{"id": "hall", "persons": 40, "hours_per_year": 400}]`, "", 40, 80},
		"all hours of all": {`"persons": 40, "zones": [{"id": "room", "persons": 40, "hours_per_year": 8000},
			{"id": "hall", "persons": 40, "hours_per_year": 760}]`, "", 40, 80}, // 350 400 exactly
		"more hours than there are": {`"persons": 40, "zones": [{"id": "room", "persons": 40, "hours_per_year": 8000},
			{"id": "yard", "place": "outside", "persons": 40, "hours_per_year": 2000}]`, "spend 400000 hours a year there, more than the 350400", 40, 0},
		"hours not stated":  {`"persons": 40, "zones": [{"id": "room", "persons": 40}, {"id": "yard", "persons": 1}]`, "hours_per_year", 40, 41},
		"one zone too full": {`"persons": 40, "zones": [{"id": "room", "persons": 41, "hours_per_year": 10}]`, "holds 41 persons, more than the 40", 40, 41},
		// not stated: the fewest that the zones allow, the larger of 40 and (40 x 1200 + 40 x 400) / 8760 = 7.3
		"persons not stated": {`"zones": [{"id": "room", "persons": 40, "hours_per_year": 1200},
			{"id": "hall", "persons": 40, "hours_per_year": 400}]`, "", 40, 80},
		"persons not stated, all year": {`"zones": [{"id": "room", "persons": 30}, {"id": "hall", "persons": 20}]`, "", 50, 0},
		// 30 + 20 x 4380 / 8760 = 40
		"persons not stated, half a year": {`"zones": [{"id": "room", "persons": 30}, {"id": "hall", "persons": 20, "hours_per_year": 4380}]`, "", 40, 50},
	} {
		in, ok := Decode([]byte(head + c.structure + "}]}"))
		if !ok {
			t.Fatalf("%s: refused", name)
		}
		site := in.Core()
		s := &site.Input.Structures[0]
		if math.Abs(s.Persons-c.persons) > 1e-9 || math.Abs(s.Users-c.users) > 1e-9 {
			t.Errorf("%s: n_t %v, users %v, want %v, %v", name, s.Persons, s.Users, c.persons, c.users)
		}
		switch {
		case c.fault == "" && len(site.Violations) > 0:
			t.Errorf("%s: %v", name, site.Violations)
		case c.fault != "" && (len(site.Violations) != 1 || site.Violations[0].Rule != risk.RuleTooManyPersons ||
			!strings.Contains(site.Violations[0].Reason, c.fault) || !strings.Contains(site.Violations[0].Reason, "state everyone once")):
			t.Errorf("%s: %v, want %q", name, site.Violations, c.fault)
		}
	}
}
