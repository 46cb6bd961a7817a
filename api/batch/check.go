package batch

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"levinward/api/wire"
)

// finding is a fault at a place of an input (RFC 6901 pointer).
type finding struct{ pointer, reason string }

// broken stands in a tree for a cell whose fault is known already.
type broken struct{}

// walk looks for everything that the limits of package wire refuse in a tree
// of JSON values, and repairs the tree on its way, so that faults beyond the limits can be
// looked for as well. It is asked only about what wire.Decode refuses.
type walk struct {
	findings []finding
	madeUp   []string // objects of which a named value had to be made up
}

func (w *walk) add(pointer, reason string) {
	w.findings = append(w.findings, finding{pointer, reason})
}

// object visits the fields of a document; a partial one may lack required fields.
func (w *walk) object(m map[string]any, t reflect.Type, pointer string, partial bool) {
	fields := wire.Fields(t)
	for _, key := range slices.Sorted(maps.Keys(m)) {
		i := slices.IndexFunc(fields, func(f wire.Field) bool { return f.Name == key })
		if i < 0 {
			w.add(pointer+"/"+key, "unknown field; allowed here: "+fieldNames(fields))
			delete(m, key)
			continue
		}
		if !w.value(&fields[i], m[key], pointer+"/"+key) {
			w.repair(m, &fields[i], pointer)
		}
	}
	for i := range fields {
		f := &fields[i]
		if _, there := m[f.Name]; !there && f.Required && !partial {
			w.add(pointer+"/"+f.Name, "is required: "+allowed(f))
			w.repair(m, f, pointer)
		}
	}
}

// value reports false where it cannot stay as it is.
func (w *walk) value(f *wire.Field, v any, pointer string) bool {
	if _, known := v.(broken); known {
		return false
	}
	if f.List {
		return w.list(f, v, pointer)
	}
	return w.single(f, v, pointer)
}

func (w *walk) single(f *wire.Field, v any, pointer string) bool {
	if isDocument(f.Type) {
		m, ok := v.(map[string]any)
		if !ok {
			w.add(pointer, "must be an object")
			return false
		}
		w.object(m, f.Type, pointer, false)
		return true
	}
	if !accepts(f, v) {
		w.add(pointer, "must be "+allowed(f))
		return false
	}
	return true
}

func (w *walk) list(f *wire.Field, v any, pointer string) bool {
	list, ok := v.([]any)
	if !ok {
		w.add(pointer, "must be a list")
		return false
	}
	if f.Items != nil && !within(f.Items, float64(len(list))) {
		w.add(pointer, "must have "+span(f.Items)+" entries")
		return false
	}
	sound := true
	for i, entry := range list {
		sound = w.single(f, entry, pointer+"/"+strconv.Itoa(i)) && sound
	}
	return sound
}

// repair removes what may be absent and makes up what may not.
func (w *walk) repair(m map[string]any, f *wire.Field, pointer string) {
	if !f.Required {
		delete(m, f.Name)
		return
	}
	switch {
	case isDocument(f.Type), f.List:
		delete(m, f.Name) // the rest of the row cannot be judged without it
	case len(namesOf(f.Type)) > 0:
		m[f.Name] = namesOf(f.Type)[0]
		w.madeUp = append(w.madeUp, pointer+"/")
	case f.Type.Kind() == reflect.Float64:
		m[f.Name] = math.Max(f.Number.Min, math.Min(1, f.Number.Max))
	case f.Type.Kind() == reflect.String:
		m[f.Name] = "x"
	}
}

// covers reports that a fault at a place only follows from one that was found.
func (w *walk) covers(pointer string) bool {
	for _, f := range w.findings {
		if f.pointer == pointer || strings.HasPrefix(f.pointer, pointer+"/") || strings.HasPrefix(pointer, f.pointer+"/") {
			return true
		}
	}
	return slices.ContainsFunc(w.madeUp, func(p string) bool { return strings.HasPrefix(pointer, p) })
}

func fieldNames(fields []wire.Field) string {
	names := make([]string, len(fields))
	for i := range fields {
		names[i] = fields[i].Name
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

func isDocument(t reflect.Type) bool {
	return t.Kind() == reflect.Struct && t.NumField() > 0 && t.Field(0).Tag.Get("json") != ""
}

var coordinatesType = reflect.TypeFor[wire.Coordinates]()

var spdType = reflect.TypeFor[wire.SPD]()

// Probabilities of a set of SPDs better than LPL I.
var spdProbability = wire.Interval{Min: 0.001, Max: 0.005}

// namesOf lists the names that a type of named values allows, nil for any other type.
func namesOf(t reflect.Type) []string {
	if n, ok := reflect.Zero(t).Interface().(interface{ Names() []string }); ok {
		return n.Names()
	}
	return nil
}

// accepts reports whether a single value is one that wire.Decode accepts for the field.
func accepts(f *wire.Field, v any) bool {
	if f.Type == coordinatesType { // their form is looked at with the geometry
		_, list := v.([]any)
		_, raw := v.(json.RawMessage)
		return list || raw
	}
	names := namesOf(f.Type)
	switch v := v.(type) {
	case string:
		if names != nil {
			return slices.Contains(names, v)
		}
		return f.Type.Kind() == reflect.String && (f.Length == nil || within(f.Length, float64(utf8.RuneCountInString(v))))
	case float64:
		if f.Type == spdType {
			return within(&spdProbability, v)
		}
		return f.Type.Kind() == reflect.Float64 && (f.Number == nil || within(f.Number, v)) && (!f.Integer || v == math.Trunc(v))
	case bool:
		return f.Type.Kind() == reflect.Bool
	}
	return false
}

func within(i *wire.Interval, v float64) bool {
	return (v > i.Min || v == i.Min && !i.Open) && v <= i.Max
}

// allowed says in words what a field takes.
func allowed(f *wire.Field) string {
	names := namesOf(f.Type)
	switch {
	case f.Type == spdType:
		return "one of " + strings.Join(names, ", ") + ", or a probability from " + span(&spdProbability)
	case names != nil:
		return "one of " + strings.Join(names, ", ")
	case f.Type.Kind() == reflect.Bool:
		return "yes or no"
	case f.Type.Kind() == reflect.String && f.Length != nil:
		return fmt.Sprintf("a text of %g to %g characters", f.Length.Min, f.Length.Max)
	case f.Type.Kind() == reflect.String:
		return "a text"
	case f.Type.Kind() == reflect.Float64:
		kind := "a number"
		if f.Integer {
			kind = "a whole number"
		}
		if f.Number == nil {
			return kind
		}
		if f.Number.Open {
			return kind + ", " + span(f.Number)
		}
		return kind + " from " + span(f.Number)
	case f.Type == coordinatesType:
		return "a list"
	}
	return "an object"
}

func span(i *wire.Interval) string {
	low, high := plain(i.Min), plain(i.Max)
	if i.Open {
		return "more than " + low + " and at most " + high
	}
	return low + " to " + high
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
