package assess

import (
	"math"
	"strings"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/measures"
	"levinward/store"
)

// Summarise says what a portfolio lists of an answer.
func Summarise(a *wire.Answer) *store.Summary {
	d := &a.Input.FlashDensity
	s := &store.Summary{GroundFlashes: a.Result.NG, DensityOrigin: d.Origin.String(), Acceptable: true,
		NeededProtection: protection(a.Recommendation)}
	if d.Origin == risk.DensityMap {
		s.DensityMap = d.Map
	}
	for i := range a.Result.Structures {
		r := &a.Result.Structures[i]
		if !r.Assessed {
			continue
		}
		for k := range r.Risks {
			compare(s, &r.Risks[k])
		}
		if life := &r.Risks[risk.HumanLife]; life.Applies {
			s.LossOfHumanLife = max(s.LossOfHumanLife, life.Total)
			s.PersonsAtRisk += measures.AtRisk(&a.Input.Structures[i], r)
		}
	}
	for i := range a.Schedule {
		if a.Schedule[i].Required && a.Schedule[i].ServedBy == "" {
			s.RequiredDevices++
		}
	}
	return s
}

// compare takes a risk that has a limit into the summary. Where rounding of the
// ratio would contradict the comparison of R with R_T, the comparison counts.
func compare(s *store.Summary, r *risk.Risk) {
	if !r.Applies || r.Tolerable == 0 {
		return
	}
	ratio := r.Total / r.Tolerable
	if r.Acceptable() {
		ratio = min(ratio, 1)
	} else {
		s.Acceptable = false
		ratio = max(ratio, math.Nextafter(1, 2))
		s.Excess = max(s.Excess, r.Total-r.Tolerable)
	}
	s.WorstRatio = max(s.WorstRatio, ratio)
}

// protection names the strongest measures of the recommended set in a few words.
func protection(rec *risk.Recommendation) string {
	if !rec.Needed {
		return "none"
	}
	var lps risk.LPS
	var fire risk.FireProtection
	var bonding, coordinated risk.SPD
	var shock bool
	var wiring risk.Wiring
	for i := range rec.Set.Structures {
		m := &rec.Set.Structures[i].Measures
		lps, fire = max(lps, m.LPS), max(fire, m.FireProtection)
		wiring = max(wiring, m.Wiring)
		shock = shock || m.StructureShock != 0 || m.LineShock != 0
		for _, e := range m.Ends {
			if e.Bonding.Level > bonding.Level {
				bonding = e.Bonding
			}
			if e.Coordinated.Level > coordinated.Level {
				coordinated = e.Coordinated
			}
		}
	}
	var parts []string
	if lps != 0 {
		parts = append(parts, "LPS "+lps.String())
	}
	if bonding.Level != risk.NoSPD {
		parts = append(parts, "bonding SPD "+bonding.Level.String())
	}
	if coordinated.Level != risk.NoSPD {
		parts = append(parts, "coordinated SPD "+coordinated.Level.String())
	}
	if fire != 0 {
		parts = append(parts, "fire protection "+fire.String())
	}
	if shock {
		parts = append(parts, "measures against touch and step voltages")
	}
	if wiring != risk.Unrouted {
		parts = append(parts, "internal wiring "+strings.ReplaceAll(wiring.String(), "_", " "))
	}
	text := strings.Join(parts, ", ")
	if text == "" {
		text = "none of the known measures"
	}
	if !rec.Sufficient {
		text += "; not sufficient"
	}
	return text
}
