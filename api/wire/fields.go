package wire

import (
	"encoding"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"
)

// Interval is a range of numbers; Open excludes the lower end.
type Interval struct {
	Min, Max float64
	Open     bool
}

func (i Interval) holds(v float64) bool {
	return (v > i.Min || v == i.Min && !i.Open) && v <= i.Max
}

// Text says in words which numbers an interval holds.
func (i Interval) Text() string {
	if i.Open {
		return ", more than " + format(i.Min) + " and at most " + format(i.Max)
	}
	return " from " + format(i.Min) + " to " + format(i.Max)
}

func format(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// parseInterval reads "[0,1]" or "(0,1]".
func parseInterval(tag string) *Interval {
	if tag == "" {
		return nil
	}
	var i Interval
	if _, err := fmt.Sscanf(tag[1:], "%g,%g]", &i.Min, &i.Max); err != nil {
		panic("wire: limit " + tag + ": " + err.Error())
	}
	i.Open = tag[0] == '('
	return &i
}

// Field is one field of a document and its limits. JSON bodies, cells of a file of sites and cells of a
// table of devices are judged by it, and by it alone.
type Field struct {
	Name                  string
	Required, Integer     bool
	Number, Length, Items *Interval
	Type                  reflect.Type // without pointers; of the entries for a list
	List                  bool

	// Index is the place of the field in the type, as reflect.Value.FieldByIndex takes it.
	Index []int
}

var fieldsOf sync.Map // of Fields, by type

// Fields lists the fields of a document type with their limits, those of embedded types in their place.
// The list is shared: it must not be changed.
func Fields(t reflect.Type) []Field {
	if known, ok := fieldsOf.Load(t); ok {
		return known.([]Field)
	}
	var fields []Field
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Anonymous && f.Type.Kind() == reflect.Struct {
			for _, e := range Fields(f.Type) {
				e.Index = append([]int{i}, e.Index...)
				fields = append(fields, e)
			}
			continue
		}
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "" || name == "-" {
			continue
		}
		field := Field{
			Name: name, Required: f.Tag.Get("required") != "", Integer: f.Tag.Get("integer") != "",
			Number: parseInterval(f.Tag.Get("lim")), Length: parseInterval(f.Tag.Get("len")), Items: parseInterval(f.Tag.Get("items")),
			Type: f.Type, Index: []int{i},
		}
		for field.Type.Kind() == reflect.Pointer {
			field.Type = field.Type.Elem()
		}
		if field.Type.Kind() == reflect.Slice {
			field.Type, field.List = field.Type.Elem(), true
		}
		fields = append(fields, field)
	}
	fieldsOf.Store(t, fields)
	return fields
}

// document reports that the field holds an object with fields of its own.
func (f *Field) document() bool {
	return f.Type.Kind() == reflect.Struct && f.Type.NumField() > 0 && f.Type.Field(0).Tag.Get("json") != ""
}

// Names lists the values of a field of named values, nil for any other.
func (f *Field) Names() []string {
	if n, ok := reflect.Zero(f.Type).Interface().(interface{ Names() []string }); ok {
		return n.Names()
	}
	return nil
}

// Probability reports that the field takes the level of a set of SPDs, or a probability in its place.
func (f *Field) Probability() bool { return f.Type == reflect.TypeFor[SPD]() }

// spdProbability holds the probabilities of a set of SPDs better than LPL I.
var spdProbability = Interval{Min: minSPDProbability, Max: maxSPDProbability}

var coordinatesType = reflect.TypeFor[Coordinates]()

// Accepts reports whether a single JSON value, of the field or of an entry of its list, is within its limits.
// An object is judged by its own fields, the form of coordinates with their geometry.
func (f *Field) Accepts(value any) bool {
	names := f.Names()
	switch v := value.(type) {
	case string:
		return f.acceptsText(v, names)
	case float64:
		if f.Probability() {
			return spdProbability.holds(v)
		}
		return names == nil && f.Type.Kind() == reflect.Float64 && (f.Number == nil || f.Number.holds(v)) && (!f.Integer || v == math.Trunc(v))
	case bool:
		return f.Type.Kind() == reflect.Bool
	case []any, json.RawMessage:
		return f.Type == coordinatesType
	}
	return false
}

func (f *Field) acceptsText(text string, names []string) bool {
	if names != nil {
		return slices.Contains(names, text)
	}
	if form, ok := reflect.New(f.Type).Interface().(encoding.TextUnmarshaler); ok {
		return form.UnmarshalText([]byte(text)) == nil
	}
	return f.Type.Kind() == reflect.String && (f.Length == nil || f.Length.holds(float64(utf8.RuneCountInString(text))))
}

// Allowed says in words what a single value of the field may be.
func (f *Field) Allowed() string {
	names := f.Names()
	form, formed := reflect.Zero(f.Type).Interface().(interface{ Allowed() string })
	switch {
	case f.Probability():
		return "one of " + strings.Join(names, ", ") + ", or a probability" + spdProbability.Text()
	case names != nil:
		return "one of " + strings.Join(names, ", ")
	case formed:
		return form.Allowed()
	case f.Type == coordinatesType:
		return "a list"
	}
	switch f.Type.Kind() {
	case reflect.Bool:
		return "true or false"
	case reflect.String:
		return "a text" + of(f.Length, "characters")
	case reflect.Float64:
		return f.number()
	}
	return "an object"
}

func (f *Field) number() string {
	text := "a number"
	if f.Integer {
		text = "a whole number"
	}
	if f.Number == nil {
		return text
	}
	return text + f.Number.Text()
}

// whole says in words what the field takes, as a list where it is one.
func (f *Field) whole() string {
	if f.List {
		return "a list" + of(f.Items, "entries")
	}
	return f.Allowed()
}

func of(i *Interval, what string) string {
	if i == nil {
		return ""
	}
	return fmt.Sprintf(" of %g to %g %s", i.Min, i.Max, what)
}
