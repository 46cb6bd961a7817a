package batch

import "slices"

// Columns is the dictionary of everything a file can say, in the order of the template.
func Columns() []Column { return slices.Clone(dictionary) }
