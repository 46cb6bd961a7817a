package ed2

import "levinward/risk"

// Reach says how far the collection areas reach.
func (Edition) Reach() risk.Reach { return reach }

// reach is a slope of 1:3 from the upper edge of a structure (A.2), 500 m around it (A.3), and half of A_L = 40 L_L (A.4) and
// of A_I = 4000 L_L (A.5) to either side of a line.
var reach = risk.Reach{Slope: 3, Near: 500, LineDirect: 20, LineNear: 2000}

// Clause is where the edition rules on a field of the input; empty where it does not.
func (Edition) Clause(field string) string { return clauses[field] }

var clauses = map[string]string{
	"edition":                  "IEC 62305-2:2010",
	"environment":              std + "Annex A, Table A.4",
	"relation":                 std + "Annex A, A.1",
	"surroundings":             std + "Annex A, Table A.1",
	"occupancy":                std + "Annex C, Table C.2",
	"lps":                      std + "Annex B, Table B.2",
	"natural_lps":              std + "Annex B, B.4",
	"screen_mesh_m":            std + "Annex B, B.5",
	"failure_endangers_life":   std + "4.3",
	"explosion_zone":           std + "Annex C, Table C.5",
	"public_service":           std + "Annex C, Table C.8",
	"cultural_heritage":        std + "Annex C, Table C.10",
	"persons":                  std + "Annex C, C.3",
	"zones":                    std + "Annex C, C.3",
	"hours_per_year":           std + "Annex C, C.3",
	"surface":                  std + "Annex C, Table C.3",
	"structure_shock_measures": std + "Annex B, Table B.1",
	"line_shock_measures":      std + "Annex B, Table B.6",
	"fire_risk":                std + "Annex C, Table C.5",
	"fire_protection":          std + "Annex C, Table C.4",
	"special_hazard":           std + "Annex C, Table C.6",
	"systems":                  std + "Annex B, Table B.5",
	"wiring":                   std + "Annex B, Table B.5",
	"service":                  std + "Annex A, Table A.3",
	"installation":             std + "Annex A, Table A.2",
	"length_m":                 std + "Annex A, A.4",
	"shield":                   std + "Annex B, Table B.4",
	"bonded":                   std + "Annex B, Table B.4",
	"resistance_ohm_per_km":    std + "Annex B, Table B.8",
	"bonding_spd":              std + "Annex B, Table B.7",
	"coordinated_spd":          std + "Annex B, Table B.3",
}

// Component names a risk component and says what it depends on.
func (Edition) Component(c risk.Component) (symbol, remedy string) { return c.String(), remedies[c] }

var remedies = [risk.Components]string{
	risk.RA: "touch and step voltages at the structure: surface, fences, persons outside",
	risk.RB: "fire after a flash to the structure: fire load, fire protection, better LPS",
	risk.RC: "internal systems failing by flashes to the structure: LPS with coordinated SPDs, screens",
	risk.RM: "internal systems failing by flashes near the structure: route the wiring without loops, shield it, screen the rooms, choose equipment of higher withstand",
	risk.RU: "touch voltages from lines: insulation, bury or shorten the line",
	risk.RV: "fire after a flash to a line: fire load, fire protection, bury or shorten the line",
	risk.RW: "internal systems failing by flashes to lines: shield, bury or shorten the line, isolating interface",
	risk.RZ: "internal systems failing by flashes near lines: shield, bury or shorten the line, isolating interface",
}
