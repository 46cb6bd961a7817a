package assess

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"levinward/risk"
	"levinward/risk/spd"
)

// earthWarnings says first what is wrong with the earth, the worst grade first and each advice once for all structures it goes for.
func earthWarnings(in *risk.Input) []string {
	severity := []spd.EarthGrade{spd.EarthAbsent, spd.EarthUnproved, spd.EarthPoor}
	type group struct {
		earth      risk.Earthing
		grade      spd.EarthGrade
		advice     string
		structures []string
	}
	var groups []group
	for i := range in.Structures {
		s := &in.Structures[i]
		grade, advice := spd.EarthAdvice(s.Earthing)
		if s.NotAssessed || !slices.Contains(severity, grade) {
			continue
		}
		n := slices.IndexFunc(groups, func(g group) bool { return g.advice == advice })
		if n < 0 {
			n = len(groups)
			groups = append(groups, group{earth: s.Earthing, grade: grade, advice: advice})
		}
		groups[n].structures = append(groups[n].structures, s.ID)
	}
	slices.SortStableFunc(groups, func(a, b group) int {
		return cmp.Or(cmp.Compare(slices.Index(severity, a.grade), slices.Index(severity, b.grade)), cmp.Compare(b.earth.Resistance, a.earth.Resistance))
	})
	var w []string
	for _, g := range groups {
		w = append(w, inStructures(g.structures)+": "+g.advice)
	}
	return w
}

// inStructures names one structure, or says how many there are and which are the first.
func inStructures(ids []string) string {
	if len(ids) == 1 {
		return "Structure " + strconv.Quote(ids[0])
	}
	const named = 3
	names := make([]string, 0, named)
	for _, id := range ids[:min(named, len(ids))] {
		names = append(names, strconv.Quote(id))
	}
	text := "In " + strconv.Itoa(len(ids)) + " structures (" + strings.Join(names, ", ")
	if more := len(ids) - named; more > 0 {
		text += " and " + strconv.Itoa(more) + " more"
	}
	return text + ")"
}
