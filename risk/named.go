package risk

import (
	"fmt"
	"strings"
)

// Named is a value that documents write by name; N lists the names. The zero value is the first of them.
type Named[N NameList] uint8

// NameList lists the names of all values of one kind, in order. The kind is what an error calls it.
type NameList interface {
	List() (kind string, names []string)
}

// String gives the name of the value.
func (v Named[N]) String() string {
	if names := v.Names(); int(v) < len(names) {
		return names[v]
	}
	return fmt.Sprintf("invalid(%d)", uint8(v))
}

// Names lists the names of all values, in order.
func (Named[N]) Names() []string {
	var list N
	_, names := list.List()
	return names
}

// MarshalText gives the name of the value.
func (v Named[N]) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// UnmarshalText takes the name of a value; any other name is an error.
func (v *Named[N]) UnmarshalText(b []byte) error {
	*v = 0
	var list N
	kind, names := list.List()
	for i, name := range names {
		if name == string(b) {
			*v = Named[N](i)
			return nil
		}
	}
	return fmt.Errorf("%q is not a value of %s; allowed: %s", b, kind, strings.Join(names, ", "))
}
