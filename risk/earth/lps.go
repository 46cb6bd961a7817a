package earth

import (
	"math"

	"levinward/risk"
	"levinward/risk/trace"
)

// System is what an LPS of a class entails at a rectangular building, as far as its size decides it.
type System struct {
	Spacing   float64 // typical distance between down-conductors [m]
	Perimeter float64 // of the building [m]
	Down      int     // down-conductors
	// Lengths of conductor [m]: all down-conductors from the roof to the ground, and the meshes on the roof with its edges.
	DownLength, Mesh, RoofLength float64
	// Horizontal or Vertical is the least length of the earth electrode at each down-conductor [m], type A; at least two.
	Horizontal, Vertical float64
	AnySoil              bool    // the resistivity of the soil is not known: the length is the least in any soil
	Section              float64 // of air termination, down-conductors [mm2]
}

// NewSystem sizes the LPS of a class for a box of length, width and height [m] in soil of resistivity rho [ohm m], 0 where it is
// not known. There is none (false) without a class or a size. Reviewed table values come from t; nothing is recorded.
//
// Down-conductors: the perimeter over the typical distance, rounded up, at least two. Roof: lines of the mesh both ways and the
// edges. Earth electrode: type A, l_1 horizontal or half of it vertical.
func NewSystem(class risk.LPS, length, width, height, rho float64, t *trace.Trace) (System, bool) {
	if class == risk.NoLPS || !(length > 0) || !(width > 0) || !(height > 0) {
		return System{}, false
	}
	row := int(min(class, risk.LPSI) - risk.LPSIV)
	s := System{Spacing: t.Value(termination, row, 0), Mesh: t.Value(termination, row, 1), Section: t.Value(conductor, 0, 0),
		Perimeter: 2 * (length + width), AnySoil: rho <= 0}
	s.Down = max(2, int(math.Ceil(s.Perimeter/s.Spacing)))
	s.DownLength = float64(s.Down) * height
	s.RoofLength = (math.Ceil(length/s.Mesh)+1)*width + (math.Ceil(width/s.Mesh)+1)*length
	l0, k, c := t.Value(minimumLength, row, 0), t.Value(minimumLength, row, 1), t.Value(minimumLength, row, 2)
	s.Horizontal = max(l0, k*rho-c)
	s.Vertical = s.Horizontal / 2
	return s, true
}

// termination holds the typical distance between down-conductors and the mesh of the air termination.
var termination = &trace.Table{Number: "LPS", Title: "Typical distance between down-conductors and mesh of the air termination",
	Clause:  "IEC 62305-3:2010, Tables 2 and 4",
	Symbols: []string{"distance, m", "mesh, m"}, Rows: []trace.Row{
		{Text: "class IV", Values: []float64{20, 20}, Provenance: mem},
		{Text: "class III", Values: []float64{15, 15}, Provenance: mem},
		{Text: "class II", Values: []float64{10, 10}, Provenance: mem},
		{Text: "class I", Values: []float64{10, 5}, Provenance: mem},
	}}

// conductor is the least cross-section of an LPS above ground.
var conductor = &trace.Table{Number: "LPS conductor", Title: "Least cross-section of air-termination and down-conductors",
	Clause:  "IEC 62305-3:2010, Table 6",
	Symbols: []string{"mm2"}, Rows: []trace.Row{
		{Text: "copper, aluminium alloy or steel, solid", Values: []float64{50}, Provenance: mem},
	}}
