package wire

import (
	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/trace"
)

// LPSWork is what a recommended LPS entails, from the size of the building; lengths in metres. It is nil where the
// structure is given by its parts.
type LPSWork struct {
	DownConductors int              `json:"down_conductors"`
	Spacing        float64          `json:"typical_distance_m"`
	Perimeter      float64          `json:"perimeter_m"`
	DownLength     float64          `json:"down_conductor_length_m"`
	Mesh           float64          `json:"roof_mesh_m"`
	RoofLength     float64          `json:"roof_conductor_length_m"`
	Horizontal     float64          `json:"electrode_horizontal_m"`
	Vertical       float64          `json:"electrode_vertical_m"`
	SoilStated     bool             `json:"soil_stated"`
	Section        float64          `json:"conductor_mm2"`
	Provenance     trace.Provenance `json:"provenance"`
}

func (a *Answer) lpsWork(s *risk.Structure, class risk.LPS) *LPSWork {
	w, ok := earth.NewSystem(class, s.Length, s.Width, s.Height, a.Input.SoilResistivity, (*trace.Trace)(nil).With(a.Input.Reviews))
	if !ok {
		return nil
	}
	return &LPSWork{
		DownConductors: w.Down, Spacing: w.Spacing, Perimeter: w.Perimeter, DownLength: w.DownLength, Mesh: w.Mesh, RoofLength: w.RoofLength,
		Horizontal: w.Horizontal, Vertical: w.Vertical, SoilStated: !w.AnySoil, Section: w.Section, Provenance: trace.Memory,
	}
}

// Change is what else could be changed on top of the recommended set, alone, and the risks that it would leave.
type Change struct {
	Structure   string          `json:"structure"`
	Kind        risk.ChangeKind `json:"change"`
	Line        string          `json:"line,omitempty"`
	Zone        string          `json:"zone,omitempty"`
	RisksAfter  RemainingRisk   `json:"risks_after"`
	LeastMargin *float64        `json:"least_margin,omitempty"`
}

func (a *Answer) change(c *risk.Change) Change {
	s, r := &a.Input.Structures[c.Structure], &a.Result.Structures[c.Structure]
	w := Change{Structure: s.ID, Kind: c.Kind, RisksAfter: remaining(r, &c.Risks)}
	_, w.LeastMargin = a.margins(r, &c.Risks)
	if c.Line >= 0 {
		w.Line = a.Input.Lines[c.Line].ID
	}
	if c.Zone >= 0 {
		w.Zone = s.Zones[c.Zone].ID
	}
	return w
}

// Deciding is the default that decides first what has to be done at a structure.
type Deciding struct {
	Pointer           string   `json:"pointer"`
	Value             string   `json:"value"`
	Instead           string   `json:"instead"`
	Structure         string   `json:"structure"`
	Sufficient        bool     `json:"sufficient"`
	Cost              float64  `json:"cost"`
	SufficientInstead bool     `json:"sufficient_instead"`
	CostInstead       float64  `json:"cost_instead"`
	MarginInstead     *float64 `json:"least_margin_instead,omitempty"`
}

func (a *Answer) deciding(d *risk.Deciding) *Deciding {
	was := &a.Assumptions[d.Assumption]
	w := &Deciding{
		Pointer: was.Pointer, Value: was.Value, Instead: d.Instead, Structure: a.Input.Structures[d.Structure].ID,
		Sufficient: d.Sufficient, Cost: d.Cost, SufficientInstead: d.SufficientInstead, CostInstead: d.CostInstead,
	}
	if d.WorstInstead > 0 {
		margin := 1 / d.WorstInstead
		w.MarginInstead = &margin
	}
	return w
}
