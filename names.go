package main

import (
	"strconv"
	"strings"

	"levinward/api/wire"
)

// placeName says in words what a pointer into an input points to: a part, "supply of house-3", and its field, "length". A part
// that the input leaves out is found in the result.
func placeName(pointer string, r *wire.Result) (part, field string) {
	keys := strings.Split(strings.TrimPrefix(pointer, "/"), "/")
	at := func(i int) int {
		if i >= len(keys) {
			return -1
		}
		n, err := strconv.Atoi(keys[i])
		if err != nil {
			return -1
		}
		return n
	}
	part, rest := "site", keys
	switch n := at(1); {
	case keys[0] == "structures" && n >= 0 && n < len(r.Structures):
		part, rest = r.Structures[n].ID, keys[2:]
		if zones := r.Input.Structures[n].Zones; len(rest) > 1 && rest[0] == "zones" {
			if z := at(3); zones != nil && z >= 0 && z < len(*zones) {
				part += ", zone " + (*zones)[z].ID
			}
			rest = rest[2:]
		}
	case keys[0] == "lines" && n >= 0 && n < len(r.Lines):
		part, rest = r.Lines[n].ID, keys[2:]
		for i := range r.Schedule {
			if e := &r.Schedule[i]; e.Line == part {
				part += " of " + e.Structure
				break
			}
		}
	}
	return part, fieldWords(rest)
}

// fieldNames are fields whose name says too little.
var fieldNames = map[string]string{
	"electrical":             "what it carries (a.c. or d.c., volts, earthing system)",
	"failure_endangers_life": "does a failure endanger life?",
	"special_hazard":         "special hazard (panic, evacuation)",
	"system":                 "earthing system (TT, TN, IT)",
	"withstand_kv":           "rated impulse withstand voltage of the equipment",
	"surface":                "floor",
	"service":                "what the line is (power, telecommunication)",
	"hours_per_year":         "hours a year in which people are there",
	"lps":                    "is there an LPS, and which class?",
	"bonding_spd":            "SPDs at the entrance",
	"coordinated_spd":        "SPDs up to the equipment",
	"screen_mesh_m":          "mesh width of its screen",
}

// unitsOfFields end the names of fields.
var unitsOfFields = []string{"_ohm_per_km", "_ohm_m", "_ohm", "_per_km2_year", "_per_year", "_m2", "_mm2", "_kv", "_ka", "_m", "_v",
	"_a", "_c"}

// fieldWords names a field by the keys that lead to it: an entry of a list by its number, a field without its unit.
func fieldWords(keys []string) string {
	var parts []string
	for i := 0; i < len(keys); i++ {
		key := keys[i]
		if i+1 < len(keys) {
			if n, err := strconv.Atoi(keys[i+1]); err == nil {
				parts = append(parts, words(strings.TrimSuffix(key, "s"))+" "+strconv.Itoa(n+1))
				i++
				continue
			}
			if key == "electrical" { // its fields name themselves
				continue
			}
		}
		if name := fieldNames[key]; name != "" {
			parts = append(parts, name)
			continue
		}
		for _, unit := range unitsOfFields {
			if bare, ok := strings.CutSuffix(key, unit); ok {
				key = bare
				break
			}
		}
		parts = append(parts, words(key))
	}
	return strings.Join(parts, ", ")
}

// spans shortens a list of names: those that count up are written as the first to the last.
func spans(names []string) []string {
	var short []string
	for i := 0; i < len(names); {
		j := i + 1
		for j < len(names) && counts(names[j-1], names[j]) {
			j++
		}
		if j-i > 2 {
			short = append(short, names[i]+" to "+names[j-1])
		} else {
			short = append(short, names[i:j]...)
		}
		i = j
	}
	return short
}

// counts reports that next is name with its numbers one higher, or some of them one higher and the others the same.
func counts(name, next string) bool {
	higher := false
	for name != "" || next != "" {
		a, restA := number(name)
		b, restB := number(next)
		switch {
		case a == "" && b == "":
			if name == "" || next == "" || name[0] != next[0] {
				return false
			}
			name, next = name[1:], next[1:]
			continue
		case a == "" || b == "":
			return false
		}
		x, errA := strconv.Atoi(a)
		y, errB := strconv.Atoi(b)
		switch {
		case errA != nil || errB != nil || y != x && y != x+1:
			return false
		case y == x+1:
			higher = true
		}
		name, next = restA, restB
	}
	return higher
}

// number cuts off the digits that a text begins with.
func number(text string) (figures, rest string) {
	n := 0
	for n < len(text) && text[n] >= '0' && text[n] <= '9' {
		n++
	}
	return text[:n], text[n:]
}

// enumerate writes a shortened list of names.
func enumerate(names []string) string { return strings.Join(spans(names), ", ") }
