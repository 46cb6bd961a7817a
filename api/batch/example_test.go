package batch_test

import (
	"encoding/json"
	"fmt"
	"strings"

	"levinward/api/batch"
)

// Two invented sites: the first takes its building and its line from types that
// are defined once, the second has a mistake in two cells.
func ExampleRead() {
	const file = `name,latitude,longitude,ground_flashes_per_km2_year,structure_preset,length_m,width_m,height_m,line_1_preset,line_1_length_m
Invented: health post,-3.117,86.683,9.4,clinic,,,,village,640
Invented: mill,-2.284,83.917,400,,31,high,6,,
`
	presets := batch.Presets{
		Structures: map[string]json.RawMessage{"clinic": json.RawMessage(`{"length_m": 18, "width_m": 9, "height_m": 5.5, "occupancy": "hospital"}`)},
		Lines:      map[string]json.RawMessage{"village": json.RawMessage(`{"installation": "aerial", "withstand_kv": 2.5}`)},
	}
	err := batch.Read(strings.NewReader(file), batch.Options{Format: batch.CSV, Presets: presets}, func(r batch.Row) bool {
		if r.Input != nil {
			fmt.Println(r.Number, r.Input.Name, *r.Input.Structures[0].Length, "m long")
		}
		for _, f := range r.Faults {
			fmt.Println(f)
		}
		return true
	})
	if err != nil {
		fmt.Println(err)
	}
	// Output:
	// 2 Invented: health post 18 m long
	// row 3, ground_flashes_per_km2_year "400": must be a number from 0.01 to 100
	// row 3, width_m "high": is a text, not a number; must be a number, more than 0 and at most 10000
}
