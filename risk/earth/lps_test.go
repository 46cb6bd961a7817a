package earth_test

import (
	"testing"

	"levinward/risk"
	"levinward/risk/earth"
)

// By hand for a building of 22 m x 10 m x 5 m, perimeter 64 m. IEC 62305-3:2010 Table 4: 10, 10, 15, 20 m for classes I to IV, at least two
// down-conductors; Table 2: meshes of 5, 10, 15, 20 m; Table 6: 50 mm2 (all from memory). l_1: 5 m, class II 0.02 rho - 11, class I
// 0.03 rho - 10 (at 3000 ohm m 49 and 80 m, secondary source); vertical half.
func TestNewSystem(t *testing.T) {
	for _, c := range []struct {
		class risk.LPS
		rho   float64
		want  earth.System
	}{
		// 64/20 = 3.2: 4; roof: 22/20 and 10/20 give 2 x 1 meshes, 3 lines of 10 m and 2 of 22 m
		{risk.LPSIV, 3000, earth.System{Spacing: 20, Perimeter: 64, Down: 4, DownLength: 20, Mesh: 20,
			RoofLength: 74, Horizontal: 5, Vertical: 2.5, Section: 50}},
		// 64/15 = 4.3: 5; the same meshes
		{risk.LPSIII, 0, earth.System{Spacing: 15, Perimeter: 64, Down: 5, DownLength: 25, Mesh: 15,
			RoofLength: 74, Horizontal: 5, Vertical: 2.5, AnySoil: true, Section: 50}},
		// 6.4: 7; 3 x 1 meshes: 4 lines of 10 m and 2 of 22 m
		{risk.LPSII, 3000, earth.System{Spacing: 10, Perimeter: 64, Down: 7, DownLength: 35, Mesh: 10,
			RoofLength: 84, Horizontal: 49, Vertical: 24.5, Section: 50}},
		// 5 x 2 meshes: 6 lines of 10 m and 3 of 22 m
		{risk.LPSI, 3000, earth.System{Spacing: 10, Perimeter: 64, Down: 7, DownLength: 35, Mesh: 5,
			RoofLength: 126, Horizontal: 80, Vertical: 40, Section: 50}},
		{risk.LPSIFullCover, 100, earth.System{Spacing: 10, Perimeter: 64, Down: 7, DownLength: 35, Mesh: 5,
			RoofLength: 126, Horizontal: 5, Vertical: 2.5, Section: 50}},
	} {
		if got, ok := earth.NewSystem(c.class, 22, 10, 5, c.rho, nil); !ok || got != c.want {
			t.Errorf("class %v, %v ohm m: %+v %v, by hand %+v", c.class, c.rho, got, ok, c.want)
		}
	}
	if s, _ := earth.NewSystem(risk.LPSIV, 4, 3, 3, 0, nil); s.Down != 2 {
		t.Errorf("%d down-conductors at a hut of 14 m around, at least two", s.Down)
	}
	for _, size := range [][3]float64{{0, 10, 5}, {22, 0, 5}, {22, 10, 0}} {
		if _, ok := earth.NewSystem(risk.LPSI, size[0], size[1], size[2], 0, nil); ok {
			t.Errorf("%v has an LPS", size)
		}
	}
	if _, ok := earth.NewSystem(risk.NoLPS, 22, 10, 5, 0, nil); ok {
		t.Error("no class has an LPS")
	}
}
