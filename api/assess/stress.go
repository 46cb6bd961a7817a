package assess

import (
	"slices"
	"strconv"
	"strings"

	"levinward/api/wire"
	"levinward/risk"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

// mostStressValues bounds the answer of Stress.
const mostStressValues = 200_000

// Stress says what the years do to devices at the line ends of a computed assessment, or what keeps it from saying so.
func Stress(a *wire.Answer, req *wire.StressRequest) (*wire.StressResult, []risk.Violation) {
	o := req.Core()
	entrances := slices.DeleteFunc(slices.Clone(a.Schedule), func(e spd.Entry) bool { return e.Position != spd.LineEntrance })
	chosen := slices.DeleteFunc(slices.Clone(entrances), func(e spd.Entry) bool {
		return req.Line != nil &&
			a.Input.Lines[e.Line].ID != *req.Line
	})
	var faults []risk.Violation
	fault := func(rule risk.Rule, pointer, reason string) {
		faults = append(faults, risk.Violation{Rule: rule, Pointer: pointer, Reason: reason})
	}
	if req.Line != nil && len(chosen) == 0 {
		fault(risk.RuleUnknownReference, "/line", "the assessment has no line "+strconv.Quote(*req.Line)+" at an assessed structure")
	}
	if req.Steps != nil && *req.Steps && req.Line == nil {
		fault(risk.RuleContradiction, "/line", "is needed with steps: they are given for one line at a time")
	}
	places := chosen
	if len(places) == 0 {
		places = entrances
	}
	for i := range o.Devices {
		faults = append(faults, placeDevice(&o.Devices[i], &(*req.Devices)[i], a.Input, places, "/devices/"+strconv.Itoa(i))...)
	}
	if values := len(chosen) * (len(o.Currents) + (len(o.Devices)+1)*(len(o.Years)+5)); values > mostStressValues {
		fault(risk.RuleOutOfRange, "/line", "the answer would have about "+strconv.Itoa(values)+" values, at most "+
			""+strconv.Itoa(mostStressValues)+" are given at once: name a line, or ask for fewer devices, currents or years")
	}
	for _, v := range spd.StressViolations(a.Input, a.Result, chosen, o) {
		v.Pointer = strings.TrimPrefix(v.Pointer, "/options")
		faults = append(faults, v)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	return stress(a, chosen, o, req), nil
}

// placeDevice finds the line and the structure that a device names, where it names them.
func placeDevice(d *spd.StressDevice, w *wire.StressedDevice, in *risk.Input, entries []spd.Entry,
	pointer string) (faults []risk.Violation) {
	find := func(asked *string, field string, n int, id func(int) string) int {
		if asked == nil {
			return spd.EveryEnd
		}
		for i := range n {
			if id(i) == *asked {
				return i
			}
		}
		faults = append(faults, risk.Violation{Rule: risk.RuleUnknownReference, Pointer: pointer + "/" + field,
			Reason: "the assessment has no " + field + " " + strconv.Quote(*asked)})
		return spd.EveryEnd
	}
	line := find(w.Line, "line", len(in.Lines), func(i int) string { return in.Lines[i].ID })
	structure := find(w.Structure, "structure", len(in.Structures), func(i int) string { return in.Structures[i].ID })
	meant := func(e spd.Entry) bool {
		return (line == spd.EveryEnd || e.Line == line) && (structure == spd.EveryEnd || e.Structure == structure)
	}
	if len(faults) > 0 {
		return faults
	}
	if (w.Line != nil || w.Structure != nil) && !slices.ContainsFunc(entries, meant) {
		field := "/line"
		if w.Line == nil {
			field = "/structure"
		}
		return []risk.Violation{{Rule: risk.RuleUnknownReference, Pointer: pointer + field,
			Reason: "no line entrance of the schedule that is asked for is there"}}
	}
	d.Line, d.Structure = line, structure
	return nil
}

func stress(a *wire.Answer, entries []spd.Entry, o spd.StressOptions, req *wire.StressRequest) *wire.StressResult {
	var t *trace.Trace
	if req.Steps != nil && *req.Steps {
		t = trace.New(1000)
	}
	w := &wire.StressResult{ReviewsHash: reviewsHash(a.Input.Reviews), LineFlash: wire.LineFlash(wire.LineFlash("").Names()[o.LineFlash]),
		Ends: []wire.StressedEnd{}, Cautions: withGeneral(stressCautions)}
	for i, e := range spd.Stress(a.Input, a.Result, entries, o, t) {
		w.Ends = append(w.Ends, wire.NewStressedEnd(a.Input, &entries[i], &e, tabulatedPSPD(a.Input, entries[i].Level)))
	}
	if t != nil {
		w.Steps = wire.Steps(t)
	}
	return w
}

// tabulatedPSPD is the P_SPD that the edition tabulates for a level, nil for none. Its table has a row for each level, in their order.
func tabulatedPSPD(in *risk.Input, level risk.Level) *wire.PSPDFromTable {
	for _, table := range Edition(in.Edition).Tables() {
		if level == risk.NoSPD || !slices.Equal(table.Symbols, []string{"P_SPD"}) || int(level) >= len(table.Rows) {
			continue
		}
		return &wire.PSPDFromTable{Level: level, PSPD: in.Reviews.Value(table, int(level), 0), Clause: table.Clause,
			Provenance: in.Reviews.Provenance(table, int(level), 0).String()}
	}
	return nil
}
