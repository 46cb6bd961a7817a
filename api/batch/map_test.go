package batch_test

import (
	"strings"
	"testing"

	"levinward/api/batch"
	"levinward/risk"
)

// A row may name a map, whose N_G is taken only when the site is computed; other faults of the row are found all the same.
func TestRowsThatNameAMap(t *testing.T) {
	const file = "name,latitude,longitude,flash_density_map,length_m,width_m,height_m\n" +
		"Invented mill,-3.1,86.6,map-1,10,8,4\n" +
		"Invented barn,-3.1,86.6,map-1,10,8,-4\n"
	var rows []batch.Row
	err := batch.Read(strings.NewReader(file), batch.Options{Format: batch.CSV}, func(r batch.Row) bool {
		rows = append(rows, r)
		return true
	})
	if err != nil || len(rows) != 2 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	if d := rows[0].Site; len(rows[0].Faults) > 0 || d == nil || d.Input.FlashDensity.Origin != risk.DensityMap ||
		d.Input.FlashDensity.NG != 0 {
		t.Errorf("the first row: %+v", rows[0])
	}
	if f := rows[1].Faults; len(f) != 1 || f[0].Column != "height_m" {
		t.Errorf("the second row: %v", f)
	}
}
