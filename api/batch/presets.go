package batch

import (
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"unicode/utf8"

	"levinward/api/wire"
)

// Presets are types of building and of line that an organisation defines once,
// by name. Each is a Structure or a Line of the contract of which any field may be absent. A
// cell of a row counts instead of the field of its type, as a merge patch (RFC 7396) would.
type Presets struct {
	Structures map[string]json.RawMessage
	Lines      map[string]json.RawMessage
}

// PresetFault is what is wrong with one preset.
type PresetFault struct {
	Part    string // "structure" or "line"
	Name    string
	Pointer string // RFC 6901, into the preset
	Reason  string
}

// PresetError lists all faults of the presets.
type PresetError struct{ Faults []PresetFault }

func (e *PresetError) Error() string {
	lines := make([]string, len(e.Faults))
	for i, f := range e.Faults {
		lines[i] = fmt.Sprintf("%s preset %q %s: %s", f.Part, f.Name, f.Pointer, f.Reason)
	}
	return strings.Join(lines, "\n")
}

const maxPresetName = 100

// Check returns a *PresetError that names every fault, or nil.
func (p Presets) Check() error {
	faults := append(
		checkAll("structure", p.Structures, reflect.TypeFor[wire.Structure](), "parts"),
		checkAll("line", p.Lines, reflect.TypeFor[wire.Line](), "structure", "to")...)
	if len(faults) > 0 {
		return &PresetError{faults}
	}
	return nil
}

// checkAll checks presets of one type; the reserved fields are for the row to set.
func checkAll(part string, presets map[string]json.RawMessage, t reflect.Type, reserved ...string) []PresetFault {
	var faults []PresetFault
	for _, name := range slices.Sorted(maps.Keys(presets)) {
		add := func(pointer, reason string) {
			faults = append(faults, PresetFault{part, name, pointer, reason})
		}
		if name == "" || utf8.RuneCountInString(name) > maxPresetName || strings.TrimSpace(name) != name {
			add("", fmt.Sprintf("the name must have 1 to %d characters and no space at its ends", maxPresetName))
		}
		var fields map[string]any
		if err := json.Unmarshal(presets[name], &fields); err != nil || fields == nil {
			add("", "must be a JSON object")
			continue
		}
		for _, r := range reserved {
			if _, there := fields[r]; there {
				add("/"+r, "cannot be part of a preset: it belongs to one place")
			}
		}
		for _, f := range wire.Partial(fields, t) {
			add(f.Pointer, f.Reason)
		}
	}
	return faults
}

// preset is a new copy of a preset that Check has passed, nil where there is none of the name.
func preset(presets map[string]json.RawMessage, name string) map[string]any {
	var fields map[string]any
	if raw, there := presets[name]; there {
		if json.Unmarshal(raw, &fields) != nil {
			return nil
		}
	}
	return fields
}

// unknownPreset says which there are.
func unknownPreset(presets map[string]json.RawMessage, name string) string {
	if len(presets) == 0 {
		return "there is no such type; your organisation has defined none"
	}
	const most = 20
	names := slices.Sorted(maps.Keys(presets))
	reason := "there is no such type; defined are "
	if len(names) > most {
		return reason + strings.Join(names[:most], ", ") + fmt.Sprintf(" and %d more", len(names)-most) + didYouMean(name, names)
	}
	return reason + strings.Join(names, ", ") + didYouMean(name, names)
}
