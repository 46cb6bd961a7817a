package apitest

import (
	"encoding/json"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// JSONOf writes a value as JSON.
func JSONOf(t testing.TB, v any) []byte {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Sound is an invented site without a fault, for bodies that have some.
const Sound = `{
	"name": "Invented: two huts", "location": {"latitude": -3, "longitude": 36}, "flash_density": {"ground_flashes_per_km2_year": 9},
	"structures": [
		{"id": "a", "length_m": 10, "width_m": 8, "height_m": 4, "persons": 10, "zones": [
			{"id": "rooms", "persons": 6, "systems": [{"line": "supply"}]}, {"id": "yard", "place": "outside", "persons": 4}]},
		{"id": "b", "length_m": 5, "width_m": 5, "height_m": 3}
	],
	"lines": [
		{"id": "supply", "structure": "a", "electrical": {"current": "ac"}},
		{"id": "data", "structure": "b", "to": "a", "service": "telecom"},
		{"id": "array", "structure": "b", "electrical": {"current": "dc", "origin": "photovoltaic"}}
	]}`

// Values are put into the sound body by pointer.
type Values = map[string]any

// Named is the smallest input under a name, with some values put in by pointer.
func Named(t *testing.T, name string, values map[string]any) []byte {
	all := map[string]any{"/name": name}
	for k, v := range values {
		all[k] = v
	}
	return Changed(t, Smallest(t), all)
}

// Changed is a body with some values put in, by pointer. A value of Nothing{} removes.
func Changed(t testing.TB, body []byte, values map[string]any) []byte {
	t.Helper()
	var doc any
	if err := json.Unmarshal(body, &doc); err != nil {
		t.Fatal(err)
	}
	for _, pointer := range slices.Sorted(maps.Keys(values)) {
		doc = put(t, doc, strings.Split(pointer, "/")[1:], values[pointer])
	}
	out, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Nothing as a value removes what a pointer leads to.
type Nothing struct{}

func put(t testing.TB, at any, path []string, value any) any {
	t.Helper()
	if len(path) == 0 {
		return value
	}
	switch v := at.(type) {
	case map[string]any:
		if len(path) == 1 && value == (Nothing{}) {
			delete(v, path[0])
			return v
		}
		v[path[0]] = put(t, v[path[0]], path[1:], value)
		return v
	case []any:
		i, err := strconv.Atoi(path[0])
		if err == nil && i == len(v) {
			v = append(v, nil)
		}
		if err != nil || i >= len(v) {
			t.Fatalf("no entry %s", path[0])
		}
		v[i] = put(t, v[i], path[1:], value)
		return v
	}
	t.Fatalf("nothing to put %v into", path)
	return nil
}
