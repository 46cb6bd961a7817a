package wire

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
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

// Field is one field of a document and its limits.
type Field struct {
	Name                  string
	Required, Integer     bool
	Number, Length, Items *Interval
	Type                  reflect.Type // without pointers; of the entries for a list
	List                  bool

	// Index is the place of the field in the type, as reflect.Value.FieldByIndex takes it.
	Index []int

	sub *plan
}

// plan is the list of fields of a struct type that have something to check.
type plan struct{ fields []Field }

// Fields lists the fields of a document type with their limits, those of embedded types in their place.
func Fields(t reflect.Type) []Field {
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
	return fields
}

// documentTypes are the struct types that have fields of their own to check.
func isDocument(t reflect.Type) bool {
	return t.Kind() == reflect.Struct && t.NumField() > 0 && t.Field(0).Tag.Get("json") != ""
}

func makePlan(t reflect.Type) *plan {
	p := &plan{fields: Fields(t)}
	for i := range p.fields {
		if isDocument(p.fields[i].Type) {
			p.fields[i].sub = makePlan(p.fields[i].Type)
		}
	}
	p.fields = slices.DeleteFunc(p.fields, func(f Field) bool {
		return !f.Required && f.Number == nil && f.Length == nil && f.Items == nil && f.sub == nil
	})
	return p
}

// withinLimits reports whether every field keeps its limits.
func (p *plan) withinLimits(v reflect.Value) bool {
	for i := range p.fields {
		f := &p.fields[i]
		if !f.withinLimits(v.FieldByIndex(f.Index)) {
			return false
		}
	}
	return true
}

func (f *Field) withinLimits(v reflect.Value) bool {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return !f.Required
		}
		v = v.Elem()
	}
	switch {
	case f.List:
		if v.IsNil() {
			return !f.Required
		}
		if f.Items != nil && !f.Items.holds(float64(v.Len())) {
			return false
		}
		for i := range v.Len() {
			if !f.valueWithinLimits(v.Index(i)) {
				return false
			}
		}
		return true
	}
	return f.valueWithinLimits(v)
}

// valueWithinLimits judges a value that is no list: that of the field, or an entry of its list.
func (f *Field) valueWithinLimits(v reflect.Value) bool {
	switch {
	case f.sub != nil:
		return f.sub.withinLimits(v)
	case f.Length != nil:
		return f.Length.holds(float64(utf8.RuneCountInString(v.String())))
	case f.Number != nil:
		x := v.Float()
		return f.Number.holds(x) && (!f.Integer || x == math.Trunc(x))
	}
	return true
}

// Text describes an interval for an error message.
func (i Interval) Text() string {
	low := "at least "
	if i.Open {
		low = "more than "
	}
	return low + format(i.Min) + " and at most " + format(i.Max)
}

func format(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
