package assess_test

import (
	"fmt"
	"testing"

	"levinward/risk"
	"levinward/risk/ed2"
	"levinward/risk/trace"
)

// village is an invented village: 5 structures, 8 lines, 10 zones.
func village() *risk.Input {
	in := &risk.Input{Edition: ed2.ID, FlashDensity: risk.FlashDensity{NG: 8}}
	for i := range 5 {
		lines := []risk.System{{Line: i}}
		switch i { // the lines between structures, listed below
		case 0:
			lines = append(lines, risk.System{Line: 5}, risk.System{Line: 6})
		case 1:
			lines = append(lines, risk.System{Line: 5}, risk.System{Line: 7})
		case 2:
			lines = append(lines, risk.System{Line: 6})
		case 3:
			lines = append(lines, risk.System{Line: 7})
		}
		in.Structures = append(in.Structures, risk.Structure{
			ID: fmt.Sprint("house-", i), Length: 12 + float64(i), Width: 8, Height: 5, Surroundings: risk.Isolated, Occupancy: risk.Dwelling,
			Persons: 12,
			Zones: []risk.Zone{
				{ID: "rooms", Persons: 8, Hours: 8760, Surface: risk.Concrete, FireRisk: risk.OrdinaryFireRisk, Systems: lines},
				{ID: "yard", Place: risk.Outside, Persons: 4, Hours: 3000, Surface: risk.AgriculturalSoil},
			},
		})
		in.Lines = append(in.Lines, risk.Line{ID: fmt.Sprint("supply-", i), Structure: i, To: -1, Withstand: 2.5,
			Sections: []risk.Section{{Length: 400}, {Installation: risk.Buried, Length: 20}}})
	}
	for i, ends := range [][2]int{{0, 1}, {0, 2}, {1, 3}} {
		in.Lines = append(in.Lines, risk.Line{ID: fmt.Sprint("between-", i), Structure: ends[0], To: ends[1], Service: risk.Telecom,
			Withstand: 1.5,
			Sections:  []risk.Section{{Length: 90, Service: risk.Telecom}}})
	}
	return in
}

// BenchmarkVillage: the computation alone, goal under 10 µs and at most 40
// allocations; with worksheet, goal under ten times that.
func BenchmarkVillage(b *testing.B) {
	in := village()
	if faults := (ed2.Edition{}).Validate(in); len(faults) > 0 {
		b.Fatal(faults)
	}
	b.Run("without worksheet", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := (ed2.Edition{}).Assess(in, nil); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("with worksheet", func(b *testing.B) {
		b.ReportAllocs()
		t := trace.New(512) // used again, as the service does
		for b.Loop() {
			t.Reset()
			if _, err := (ed2.Edition{}).Assess(in, t); err != nil {
				b.Fatal(err)
			}
		}
	})
}
