package assess

import (
	"cmp"
	"slices"
	"strconv"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/measures"
)

// sensitivity lists the defaults that were taken. One is decisive when another
// plausible value, taken alone, turns an acceptable risk of some structure into one that is not or
// the reverse, or changes the least class of LPS with which its risks can be met, or where it decides which device is bought.
//
// effects say what each of these values does to the risk that it changes most, the largest effect first.
func sensitivity(site *wire.Site, res *risk.Result, ed risk.Edition) (list []risk.Assumption, effects []risk.Effect) {
	s := searcher{site: site, res: res, ed: ed, alone: make([]*alone, len(site.Input.Structures))}
	list = make([]risk.Assumption, len(site.Assumed))
	for i := range site.Assumed {
		a := &site.Assumed[i]
		list[i] = risk.Assumption{Pointer: a.Pointer(), Value: a.Value, Reason: a.Reason, Clause: a.ClauseBy(ed), Provenance: a.Provenance()}
		if a.Decides.Value != "" {
			list[i].Decisive, list[i].Alternatives = true, []risk.Alternative{a.Decides}
		}
		for j := range a.Plausible {
			outcome, effect := s.outcome(a, &a.Plausible[j])
			if outcome != "" {
				list[i].Decisive = true
				list[i].Alternatives = append(list[i].Alternatives, risk.Alternative{Value: a.Plausible[j].Value, Outcome: outcome})
			}
			if effect.Size() > 0 {
				effect.Assumption, effect.Instead, effect.Decisive = i, a.Plausible[j].Value, outcome != ""
				effects = append(effects, effect)
			}
		}
	}
	slices.SortStableFunc(effects, func(a, b risk.Effect) int { return cmp.Compare(b.Size(), a.Size()) })
	return list, effects[:min(len(effects), mostEffects)]
}

// mostEffects bounds the list: what follows changes little.
const mostEffects = 100

type searcher struct {
	site  *wire.Site
	res   *risk.Result
	ed    risk.Edition
	alone []*alone
}

// alone is a structure with its lines and neighbours only, so that one more
// value of one structure costs no computation of the whole village.
type alone struct {
	pristine, scratch risk.Input
	structures, lines []int    // index in the whole input of each structure and line
	class             risk.LPS // the least with which the risks can be met as things are

	// room for the lists of scratch, used again from value to value
	zones    []risk.Zone
	systems  [][]risk.System
	sections [][]risk.Section
}

// outcome is what changes in the structures a value touches, empty where nothing does.
// The effect is that on the risk that changes most.
func (s *searcher) outcome(a *wire.Assumed, p *wire.Plausible) (text string, largest risk.Effect) {
	for i := range s.site.Input.Structures {
		if s.site.Input.Structures[i].NotAssessed || !s.concerns(i, a) {
			continue
		}
		change, effect := s.try(i, a.Where, p)
		if effect.Size() > largest.Size() {
			largest = effect
		}
		if change != "" {
			if text != "" {
				text += "; "
			}
			text += change
		}
	}
	return text, largest
}

// concerns reports whether a default can matter to structure i. Of what is assumed of
// another structure only its surroundings reach across a line, in N_DJ.
func (s *searcher) concerns(i int, a *wire.Assumed) bool {
	lines := s.site.Input.Lines
	switch {
	case a.Where.Structure == i:
		return true
	case a.Where.Structure >= 0:
		return a.Field == "surroundings" && slices.ContainsFunc(lines, func(l risk.Line) bool { return l.Ends(i) && l.Ends(a.Where.Structure) })
	case a.Where.Line >= 0:
		return lines[a.Where.Line].Ends(i)
	}
	return true
}

// try computes structure i with another value and names the risks that change sides.
func (s *searcher) try(i int, at wire.Where, p *wire.Plausible) (text string, largest risk.Effect) {
	if s.alone[i] == nil {
		s.alone[i] = single(&s.site.Input, i)
		s.alone[i].class = s.leastClass(&s.alone[i].pristine, &s.res.Structures[i])
	}
	one := s.alone[i]
	one.reset()
	p.Set(&one.scratch, wire.Where{Structure: slices.Index(one.structures, at.Structure), Zone: at.Zone,
		Line: slices.Index(one.lines, at.Line), Entry: at.Entry})
	r, err := s.ed.Assess(&one.scratch, nil)
	if err != nil {
		return "", largest
	}
	for k := range risk.Loss(risk.Losses) {
		was, now := &s.res.Structures[i].Risks[k], &r.Structures[0].Risks[k]
		if effect := (risk.Effect{Structure: i, Loss: k, Before: was.Total, After: now.Total}); now.Applies && effect.Size() > largest.Size() {
			largest = effect
		}
		if !now.Applies || was.Acceptable() == now.Acceptable() {
			continue
		}
		if text != "" {
			text += "; "
		}
		text += s.site.Input.Structures[i].ID + ": " + k.String() + " " + strconv.FormatFloat(now.Total, 'e', 2, 64)
		if now.Acceptable() {
			text += ", acceptable"
		} else {
			text += ", not acceptable"
		}
	}
	if text == "" && s.unacceptable(i) {
		if class := s.leastClass(&one.scratch, &r.Structures[0]); class != one.class {
			text = s.site.Input.Structures[i].ID + ": " + needOf(class)
		}
	}
	return text, largest
}

// unacceptable reports that some risk of structure i exceeds its limit as things are.
func (s *searcher) unacceptable(i int) bool {
	for k := range s.res.Structures[i].Risks {
		if r := &s.res.Structures[i].Risks[k]; r.Applies && !r.Acceptable() {
			return true
		}
	}
	return false
}

// noClass stands for risks that no class of LPS brings to their limits.
const noClass = risk.LPSIFullCover + 1

// leastClass is the least class of LPS with which the risks of the only
// structure of an input can be met, all other measures at their best.
func (s *searcher) leastClass(in *risk.Input, r *risk.StructureResult) risk.LPS {
	e := s.ed.Evaluator(in, 0)
	for class := in.Structures[0].LPS; class <= max(risk.LPSI, in.Structures[0].LPS); class++ {
		best := measures.Best(in, 0, class)
		if risks := e.Risks(&best); met(&risks, r) {
			return class
		}
	}
	return noClass
}

// met reports that risks keep the limits of a result.
func met(risks *[risk.Losses]float64, r *risk.StructureResult) bool {
	for k := range risks {
		if limit := r.Risks[k].Tolerable; r.Risks[k].Applies && limit > 0 && risks[k] > limit {
			return false
		}
	}
	return true
}

func needOf(class risk.LPS) string {
	switch class {
	case risk.NoLPS:
		return "no LPS is needed, the other measures can suffice"
	case noClass:
		return "no set of measures in the search suffices"
	}
	return "an LPS of class " + class.String() + " at least is needed"
}

// single cuts structure i out of an input; its neighbours come along as structures that are not assessed.
func single(in *risk.Input, i int) *alone {
	one := &alone{}
	p := &one.pristine
	p.Edition, p.FlashDensity, p.Tolerable, p.Costs = in.Edition, in.FlashDensity, in.Tolerable, in.Costs
	p.Reviews = in.Reviews
	p.Structures, one.structures = []risk.Structure{in.Structures[i]}, []int{i}
	index := map[int]int{-1: -1}
	for l := range in.Lines {
		if !in.Lines[l].Ends(i) {
			continue
		}
		line := in.Lines[l]
		far := line.Far(i)
		if _, there := index[far]; !there {
			neighbour := in.Structures[far]
			neighbour.NotAssessed, neighbour.Zones = true, nil
			index[far] = len(p.Structures)
			p.Structures, one.structures = append(p.Structures, neighbour), append(one.structures, far)
		}
		line.Structure, line.To = 0, index[far]
		one.lines = append(one.lines, l)
		p.Lines = append(p.Lines, line)
	}
	p.Structures[0].Zones = slices.Clone(in.Structures[i].Zones)
	for z := range p.Structures[0].Zones {
		zone := &p.Structures[0].Zones[z]
		zone.Systems = slices.Clone(zone.Systems)
		for n := range zone.Systems {
			zone.Systems[n].Line = slices.Index(one.lines, zone.Systems[n].Line)
		}
	}
	one.reset()
	return one
}

// reset makes the scratch input equal to the pristine one again, without sharing what values can be set in.
func (one *alone) reset() {
	p, s := &one.pristine, &one.scratch
	structures, lines := s.Structures[:0], s.Lines[:0]
	*s = *p
	s.Structures, s.Lines = append(structures, p.Structures...), append(lines, p.Lines...)
	if one.systems == nil {
		one.systems, one.sections = make([][]risk.System, len(p.Structures[0].Zones)), make([][]risk.Section, len(p.Lines))
	}
	one.zones = append(one.zones[:0], p.Structures[0].Zones...)
	s.Structures[0].Zones = one.zones
	for z := range one.zones {
		one.systems[z] = append(one.systems[z][:0], one.zones[z].Systems...)
		one.zones[z].Systems = one.systems[z]
	}
	for l := range s.Lines {
		one.sections[l] = append(one.sections[l][:0], p.Lines[l].Sections...)
		s.Lines[l].Sections = one.sections[l]
	}
}
