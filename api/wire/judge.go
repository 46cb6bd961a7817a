package wire

import (
	"encoding"
	"encoding/json"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"levinward/risk"
)

// Broken stands in a tree of JSON values for one whose fault is known already.
type Broken struct{}

// Judge reads a document from a tree of JSON values the slow way and finds everything that is wrong with it.
// What the limits refuse is replaced by something they accept, so that the faults check finds are in the same
// list. doubtful are places whose values may not be what was meant. The document is nil where it cannot be made at
// all; where there are faults it is not what was meant.
func (d *Decoder[T]) Judge(tree any, doubtful []string, check func(*T) []risk.Violation) (*T, []risk.Violation) {
	return d.judge(walk{found: Found, made: doubtful}, tree, check)
}

// JudgeRow is Judge for a row of a file, whose cells a fault shows already.
func (d *Decoder[T]) JudgeRow(tree any, check func(*T) []risk.Violation) []risk.Violation {
	_, faults := d.judge(walk{found: func(any) string { return "" }}, tree, check)
	return faults
}

func (d *Decoder[T]) judge(w walk, tree any, check func(*T) []risk.Violation) (*T, []risk.Violation) {
	sound := w.whole(tree, reflect.TypeFor[T]())
	doc := new(T)
	if !fill(reflect.ValueOf(doc).Elem(), sound) {
		return nil, w.faults
	}
	faults := w.faults
	for _, f := range check(doc) {
		if !w.covers(f) {
			faults = append(faults, f)
		}
	}
	return doc, faults
}

// Partial lists what the limits refuse in a part of a document; required fields may be absent.
func Partial(tree map[string]any, t reflect.Type) []risk.Violation {
	w := walk{found: func(any) string { return "" }}
	w.object(tree, t, "", allowAbsent)
	return w.faults
}

// walk goes through a tree of JSON values along the fields of a document.
type walk struct {
	found  func(any) string // shows a value in an error
	faults []risk.Violation
	made   []string // places of values that are not what was meant
	around []string // objects within the document of which a named value had to be made up
}

func (w *walk) fault(pointer, reason string) {
	w.faults = append(w.faults, risk.Violation{Pointer: pointer, Reason: reason})
}

// whole judges the document itself.
func (w *walk) whole(tree any, t reflect.Type) map[string]any {
	m, ok := tree.(map[string]any)
	if !ok {
		w.fault("", "must be an object"+w.found(tree))
		w.made = append(w.made, "")
		return w.object(nil, t, "", silent)
	}
	return w.object(m, t, "", demandAll)
}

// What to do about required fields that are absent.
type absence int

const (
	demandAll absence = iota
	silent            // the object itself is made up: they are made up too
	allowAbsent
)

// object returns what the limits accept of an object, its fields in the order of their names.
func (w *walk) object(m map[string]any, t reflect.Type, pointer string, absent absence) map[string]any {
	fields := Fields(t)
	sound := make(map[string]any, len(m))
	for _, key := range slices.Sorted(maps.Keys(m)) {
		i := slices.IndexFunc(fields, func(f Field) bool { return f.Name == key })
		at := pointer + "/" + Escape(key)
		if i < 0 {
			w.fault(at, "unknown field; allowed here: "+fieldNames(fields))
			continue
		}
		if v, keep := w.field(&fields[i], m[key], at); keep || fields[i].Required {
			sound[key] = v
		}
	}
	for i := range fields {
		f := &fields[i]
		if _, there := m[f.Name]; there || !f.Required || absent == allowAbsent {
			continue
		}
		if at := pointer + "/" + f.Name; absent == demandAll {
			w.fault(at, "is required: "+f.whole())
			sound[f.Name] = w.makeUp(f, at)
		} else {
			mute := walk{}
			sound[f.Name] = mute.makeUp(f, at)
		}
	}
	return sound
}

func fieldNames(fields []Field) string {
	names := make([]string, len(fields))
	for i := range fields {
		names[i] = fields[i].Name
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

// field returns a value as far as the limits accept it; keep is false where it had to go.
func (w *walk) field(f *Field, value any, pointer string) (sound any, keep bool) {
	if !f.List {
		return w.single(f, value, pointer)
	}
	list, ok := value.([]any)
	if !ok {
		w.refuse(value, "a list", pointer)
		return w.makeUp(f, pointer), false
	}
	if f.Items != nil && !f.Items.holds(float64(len(list))) {
		w.fault(pointer, "must be "+f.whole()+"; found "+strconv.Itoa(len(list)))
		w.made = append(w.made, pointer)
		list = list[:min(len(list), 1)] // one is enough to look for other faults
	}
	entries := make([]any, len(list))
	for i, entry := range list {
		entries[i], _ = w.single(f, entry, pointer+"/"+strconv.Itoa(i))
	}
	return entries, true
}

func (w *walk) single(f *Field, value any, pointer string) (sound any, keep bool) {
	if m, ok := value.(map[string]any); ok && f.document() {
		return w.object(m, f.Type, pointer, demandAll), true
	}
	if !f.document() && f.Accepts(value) {
		return value, true
	}
	w.refuse(value, f.Allowed(), pointer)
	return w.madeUp(f, pointer), false
}

// refuse notes a fault, unless it is known already.
func (w *walk) refuse(value any, allowed, pointer string) {
	if _, known := value.(Broken); !known {
		w.fault(pointer, "must be "+allowed+w.found(value))
	}
}

// makeUp is something that the limits accept in place of the field.
func (w *walk) makeUp(f *Field, pointer string) any {
	if f.List {
		w.made = append(w.made, pointer)
		return []any{}
	}
	return w.madeUp(f, pointer)
}

// madeUp is something that the limits accept in place of a single value.
func (w *walk) madeUp(f *Field, pointer string) any {
	w.made = append(w.made, pointer)
	names := f.Names()
	switch {
	case f.document():
		mute := walk{}
		return mute.object(nil, f.Type, pointer, silent)
	case names != nil:
		if i := strings.LastIndexByte(pointer, '/'); f.Required && i > 0 {
			w.around = append(w.around, pointer[:i+1])
		}
		return names[0]
	case f.Type == coordinatesType:
		return []any{}
	}
	switch f.Type.Kind() {
	case reflect.Float64:
		if f.Number == nil {
			return 1.0
		}
		return f.Number.Max
	case reflect.Bool:
		return false
	}
	if f.Length == nil { // an amount
		return "0"
	}
	text := "at " + pointer // different at every place, so that no id stands twice
	if most := int(f.Length.Max); len(text) > most {
		text = text[len(text)-most:]
	}
	return text
}

// covers reports that a fault may only follow from a value made up: at the place itself, around or
// within it, beside a name, or at an id that others refer to.
func (w *walk) covers(f risk.Violation) bool {
	for _, p := range w.made {
		switch {
		case Overlap(p, f.Pointer),
			strings.HasSuffix(p, "/id") && (f.Rule == risk.RuleUnknownReference || f.Rule == risk.RuleDuplicateID):
			return true
		case strings.HasPrefix(p, "/location") && f.Pointer == "/flash_density/map" && f.Rule != risk.RuleUnknownReference:
			return true // what the map says about a place made up
		}
	}
	return slices.ContainsFunc(w.around, func(p string) bool { return strings.HasPrefix(f.Pointer, p) })
}

// Overlap reports that two pointers are one, or that one stands within the
// other: a fault there may only follow from the other.
func Overlap(a, b string) bool {
	return a == b || strings.HasPrefix(a, b+"/") || strings.HasPrefix(b, a+"/")
}

var escaper = strings.NewReplacer("~", "~0", "/", "~1")

// Escape writes a key as a part of an RFC 6901 pointer.
func Escape(key string) string { return escaper.Replace(key) }

// Found shows a value in an error, shortened.
func Found(value any) string {
	switch value.(type) {
	case nil:
		return "; found null"
	case map[string]any:
		return "; found an object"
	case []any, json.RawMessage:
		return "; found a list"
	}
	b, err := json.Marshal(value)
	if err != nil {
		return ""
	}
	const most = 60
	if r := []rune(string(b)); len(r) > most {
		return "; found " + string(r[:most]) + "…"
	}
	return "; found " + string(b)
}

// fill puts an object into a document; false where a value does not go in. It judges no limits: whoever asks has or will.
func fill(doc reflect.Value, m map[string]any) bool {
	fields := Fields(doc.Type())
	for i := range fields {
		f := &fields[i]
		if value, there := m[f.Name]; there && !f.store(doc, value) {
			return false
		}
	}
	return true
}

// store puts a value into its field of a document.
func (f *Field) store(doc reflect.Value, value any) bool {
	target := doc.FieldByIndex(f.Index)
	if target.Kind() == reflect.Pointer {
		target.Set(reflect.New(target.Type().Elem()))
		target = target.Elem()
	}
	if !f.List {
		return f.fillSingle(target, value)
	}
	entries, ok := value.([]any)
	if !ok {
		return false
	}
	target.Set(reflect.MakeSlice(target.Type(), len(entries), len(entries)))
	for i, entry := range entries {
		if !f.fillSingle(target.Index(i), entry) {
			return false
		}
	}
	return true
}

func (f *Field) fillSingle(target reflect.Value, value any) bool {
	if m, ok := value.(map[string]any); ok && f.document() {
		return fill(target, m)
	}
	if target.Kind() == reflect.Pointer {
		target.Set(reflect.New(target.Type().Elem()))
		target = target.Elem()
	}
	into := target.Addr().Interface()
	if _, formed := into.(json.Unmarshaler); !formed {
		return f.fillPlain(target, value)
	}
	text, err := json.Marshal(value)
	return err == nil && json.Unmarshal(text, target.Addr().Interface()) == nil
}

// fillPlain puts a number, a truth value, a text or a name into its place.
func (f *Field) fillPlain(target reflect.Value, value any) bool {
	kind := target.Kind()
	switch v := value.(type) {
	case float64:
		if kind == reflect.Float64 {
			target.SetFloat(v)
			return true
		}
	case bool:
		if kind == reflect.Bool {
			target.SetBool(v)
			return true
		}
	case string:
		if named, ok := target.Addr().Interface().(encoding.TextUnmarshaler); ok {
			return named.UnmarshalText([]byte(v)) == nil
		}
		if kind == reflect.String {
			target.SetString(v)
			return true
		}
	}
	return false
}
