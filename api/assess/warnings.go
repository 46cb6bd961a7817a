package assess

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"levinward/risk"
	"levinward/risk/spd"
)

// frequentFailures is the yearly number of failures of internal systems from which a warning speaks of them.
const frequentFailures = 0.1

// warnings are remarks on this input: arrays that destroy their equipment first, then the earth, zones, lines, the flash density,
// the structures and the measures.
func warnings(in *risk.Input, res *risk.Result, rec *risk.Recommendation, ed risk.Edition) []string {
	return slices.Concat(arrayWarnings(in), earthWarnings(in), zoneWarnings(in), lineWarnings(in), densityWarnings(in, res),
		failureWarnings(in, res), measureWarnings(rec),
		remaining(in, rec, ed))
}

// remarks are texts about parts of a site, each said once for all parts it goes for.
type remarks []remark

type remark struct {
	text string
	ids  []string
}

func (r *remarks) add(id, text string) {
	i := slices.IndexFunc(*r, func(m remark) bool { return m.text == text })
	if i < 0 {
		i = len(*r)
		*r = append(*r, remark{text: text})
	}
	(*r)[i].ids = append((*r)[i].ids, id)
}

// of writes the remarks; parts are called by a word such as "line".
func (r remarks) of(part string) []string {
	var w []string
	for _, m := range r {
		w = append(w, named(part, m.ids)+": "+m.text)
	}
	return w
}

// named names one part of a site, or says how many there are and which are the first.
func named(part string, ids []string) string {
	if len(ids) == 1 {
		return strings.ToUpper(part[:1]) + part[1:] + " " + strconv.Quote(ids[0])
	}
	const shown = 3
	names := make([]string, 0, shown)
	for _, id := range ids[:min(shown, len(ids))] {
		names = append(names, strconv.Quote(id))
	}
	text := "In " + strconv.Itoa(len(ids)) + " " + part + "s (" + strings.Join(names, ", ")
	if more := len(ids) - shown; more > 0 {
		text += " and " + strconv.Itoa(more) + " more"
	}
	return text + ")"
}

// arrayWarnings name arrays that destroy their own equipment on a cold day.
func arrayWarnings(in *risk.Input) []string {
	var r remarks
	for i := range in.Lines {
		if text := spd.ArrayExceeds(&in.Lines[i]); text != "" {
			r.add(in.Lines[i].ID, text)
		}
	}
	return r.of("line")
}

// zoneWarnings name the structures with an explosive atmosphere.
func zoneWarnings(in *risk.Input) []string {
	var r remarks
	for i := range in.Structures {
		if s := &in.Structures[i]; s.Explosion != risk.NoExplosion && !s.NotAssessed {
			r.add(s.ID, "explosive atmosphere (zone "+strings.ReplaceAll(s.Explosion.String(), "_", " or ")+
				"): devices stand outside the zone or are certified for it, and a specialist for explosion protection decides.")
		}
	}
	return r.of("structure")
}

// earthWarnings says what is wrong with the earth, the worst grade first.
func earthWarnings(in *risk.Input) []string {
	severity := []spd.EarthGrade{spd.EarthAbsent, spd.EarthUnproved, spd.EarthPoor}
	type bad struct {
		id     string
		grade  int
		ohm    float64
		advice string
	}
	var all []bad
	for i := range in.Structures {
		s := &in.Structures[i]
		grade, advice := spd.EarthAdvice(s.Earthing)
		if n := slices.Index(severity, grade); n >= 0 && !s.NotAssessed {
			all = append(all, bad{s.ID, n, s.Earthing.Resistance, advice})
		}
	}
	slices.SortStableFunc(all, func(a, b bad) int { return cmp.Or(cmp.Compare(a.grade, b.grade), cmp.Compare(b.ohm, a.ohm)) })
	var r remarks
	for _, b := range all {
		r.add(b.id, b.advice)
	}
	return r.of("structure")
}

func lineWarnings(in *risk.Input) []string {
	var r remarks
	for i := range in.Lines {
		l := &in.Lines[i]
		if l.Electrical.NotStated {
			r.add(l.ID, "taken as 230 V a.c., not stated. For an array, a battery or a data line the device is another: find out what "+
				"the line carries before ordering.")
		}
	}
	for i := range in.Lines {
		l := &in.Lines[i]
		if l.Withstand < 1 && l.Shield.Bonded && l.Shield.Resistance > 0 { // elsewhere the values at 1 kV are the highest there are
			r.add(l.ID, "U_W is below 1 kV; the tables begin at 1 kV, whose values were used and may be too favourable.")
		}
		if l.Electrical.Phases == 3 && l.Electrical.Nominal == 400 {
			r.add(l.ID, "nominal_v is line to neutral; 400 V with three phases means a 400/690 V system. For 230/400 V give 230.")
		}
		if l.Shield.Resistance > 20 {
			r.add(l.ID, "the shield resistance is above 20 ohm/km; the line counts as unshielded in Table B.8.")
		}
	}
	return r.of("line")
}

func densityWarnings(in *risk.Input, res *risk.Result) []string {
	const weak = ", which is a weak relation; use lightning location data no older than five years where there are any."
	var w []string
	if in.FlashDensity.Derivation != "" {
		w = append(w, "N_G is derived from a map of another quantity ("+in.FlashDensity.Derivation+")"+weak)
	}
	if in.FlashDensity.Origin == risk.DensityThunderstormDays {
		w = append(w, "N_G is derived from thunderstorm days"+weak)
	}
	if spread := in.FlashDensity.Spread(res.NG); spread.Stated() && !spread.Tells() {
		w = append(w, "N_G is too uncertain for a probability that a limit is exceeded: decide by the risk at its upper bound, N_G "+
			strconv.FormatFloat(spread.Upper, 'g', 3, 64)+".")
	}
	return w
}

// failureWarnings speaks of systems that fail often where their loss does not count in the risk.
func failureWarnings(in *risk.Input, res *risk.Result) []string {
	var ids []string
	var least, most float64
	for i := range res.Structures {
		r := &res.Structures[i]
		if !r.Assessed || r.Risks[risk.EconomicValue].Applies || r.SystemFailures < frequentFailures {
			continue
		}
		if len(ids) == 0 {
			least, most = r.SystemFailures, r.SystemFailures
		}
		ids = append(ids, in.Structures[i].ID)
		least, most = min(least, r.SystemFailures), max(most, r.SystemFailures)
	}
	if len(ids) == 0 {
		return nil
	}
	times, whose := strconv.FormatFloat(least, 'g', 2, 64), "its"
	if len(ids) > 1 {
		whose = "their"
		if upTo := strconv.FormatFloat(most, 'g', 2, 64); upTo != times {
			times += " to " + upTo
		}
	}
	return []string{named("structure", ids) + ": without SPDs " + whose + " systems are expected to fail " + times + " times a year. " +
		"The loss of equipment does not count in the risk, because no values were given; devices that are not required are worth " +
		"fitting all the same."}
}

func measureWarnings(rec *risk.Recommendation) []string {
	var w []string
	if rec.Needed && !rec.Sufficient {
		w = append(w, "No set of measures in the search brings every risk to its limit. What is recommended is the best that can be "+
			"reached; reduce the fire risk, divide the structure or find other measures with a specialist.")
	}
	if !rec.Proven {
		w = append(w, "The search for measures was stopped at its bound: the set suffices, but a cheaper one is not excluded.")
	}
	return w
}
