package assess

import (
	"slices"
	"strconv"

	"levinward/api/wire"
	"levinward/risk"
)

// sensitivity lists the defaults that were taken. One is decisive when another
// plausible value, taken alone, turns an acceptable risk of some structure into one that is not or the reverse.
func sensitivity(site *wire.Site, res *risk.Result, ed risk.Edition) []risk.Assumption {
	s := searcher{site: site, res: res, ed: ed, alone: make([]*alone, len(site.Input.Structures))}
	list := make([]risk.Assumption, len(site.Assumed))
	for i := range site.Assumed {
		a := &site.Assumed[i]
		list[i] = risk.Assumption{Pointer: a.Pointer(), Value: a.Value, Reason: a.Reason, Clause: a.Clause}
		for j := range a.Plausible {
			if outcome := s.outcome(a, &a.Plausible[j]); outcome != "" {
				list[i].Decisive = true
				list[i].Alternatives = append(list[i].Alternatives, risk.Alternative{Value: a.Plausible[j].Value, Outcome: outcome})
			}
		}
	}
	return list
}

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
	structures, lines []int // index in the whole input of each structure and line

	// room for the lists of scratch, used again from value to value
	zones    []risk.Zone
	systems  [][]risk.System
	sections [][]risk.Section
}

// outcome is what changes in the structures a value touches, empty where nothing does.
func (s *searcher) outcome(a *wire.Assumed, p *wire.Plausible) string {
	text := ""
	for i := range s.site.Input.Structures {
		if s.site.Input.Structures[i].NotAssessed || !s.concerns(i, a) {
			continue
		}
		if change := s.try(i, a.Where, p); change != "" {
			if text != "" {
				text += "; "
			}
			text += change
		}
	}
	return text
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
func (s *searcher) try(i int, at wire.Where, p *wire.Plausible) string {
	if s.alone[i] == nil {
		s.alone[i] = single(&s.site.Input, i)
	}
	one := s.alone[i]
	one.reset()
	p.Set(&one.scratch, wire.Where{Structure: slices.Index(one.structures, at.Structure), Zone: at.Zone, Line: slices.Index(one.lines, at.Line), Entry: at.Entry})
	r, err := s.ed.Assess(&one.scratch, nil)
	if err != nil {
		return ""
	}
	text := ""
	for k := range risk.Loss(risk.Losses) {
		was, now := &s.res.Structures[i].Risks[k], &r.Structures[0].Risks[k]
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
	return text
}

// single cuts structure i out of an input; its neighbours come along as structures that are not assessed.
func single(in *risk.Input, i int) *alone {
	one := &alone{}
	p := &one.pristine
	p.Edition, p.FlashDensity, p.Tolerable, p.Costs.Money = in.Edition, in.FlashDensity, in.Tolerable, in.Costs.Money
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
