package spd

import (
	"strings"
	"testing"

	"levinward/risk"
)

// TestWayOut names what would do instead. By hand, equipment of U_W 2.5 kV: U_P with leads at most 0.8 x 2.5 = 2 kV, U_P at most 1.5 kV as
// the next preferred value below 2 / 1.2 = 1.67 kV (62305-4 C.2, from memory); longer leads add 1 kV per metre, up to 0.5 m 0.2 U_P.
// 1.5 kV: leads up to 0.5 m give 1.8 kV, 0.55 m gives 2.05 kV. 1.7 kV: 0.5 m gives 2.04 kV, no length helps but 0 m, 1.7 kV.
// 2.2 kV alone is too much. A device that may begin to act at 1.2 times the peak does so below 1.67 kV up to 1667/1.2/sqrt2 = 982.1
// V (memory).
func TestWayOut(t *testing.T) {
	for _, c := range []struct {
		up, leads, uc float64
		want          string
	}{
		{1.5, 0.95, 275, "Way out: leads of at most 0.5 m together."},
		{1.5, 3, 275, "Way out: leads of at most 0.5 m together."},
		{1.7, 0.9, 275, "Way out: wire through the terminals of the device, without leads, or a device with U_P of at most 1.5 kV."},
		{2.2, 0.4, 275, "Way out: a device with U_P of at most 1.5 kV; shorter leads alone do not help."},
		{1.5, 0.4, 275, ""},
		{0, 0.4, 1500, "Way out: a device with U_C from 254 V to 982.1 V."},
	} {
		l := risk.Line{ID: "supply", Sections: []risk.Section{{Length: 300, Installation: risk.Aerial}}, Withstand: 2.5,
			Electrical: risk.Electrical{Nominal: 230, Phases: 1, Neutral: true, SourceConnected: true}}
		e, ok := Demand(&l, &risk.Structure{ID: "house", Earthing: risk.Earthing{Connection: risk.EarthMeasured,
			Resistance: 5}}, LineEntrance, nil)
		if !ok {
			t.Fatal("no device is asked for")
		}
		d := Device{UcAC: Some(c.uc), Technology: Limiting}
		if c.up > 0 {
			d.Up = Some(c.up)
		}
		r := Check(&d, &Place{Entry: &e, Line: &l, Installation: Installation{LeadLength: Some(c.leads)}})
		if r.WayOut != c.want {
			t.Errorf("U_P %g kV, leads %g m, U_C %g V: %q, want %q (%s)", c.up, c.leads, c.uc, r.WayOut, c.want, strings.TrimSpace(r.Sentence))
		}
	}
}
