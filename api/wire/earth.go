package wire

import (
	"levinward/risk"
	"levinward/risk/earth"
	"levinward/risk/trace"
)

// EarthRequest asks for the resistance of an electrode, or for the electrode of a wanted resistance.
type EarthRequest struct {
	SoilResistivity *float64   `json:"soil_resistivity_ohm_m,omitempty" lim:"[0.1,100000]"`
	Soil            *EarthSoil `json:"soil,omitempty"`
	Electrode       *Electrode `json:"electrode" required:"true"`
	Wanted          *float64   `json:"wanted_ohm,omitempty" lim:"(0,100000]"`
	MaxCount        *float64   `json:"max_count,omitempty" lim:"[1,1000]" integer:"true"`
	MaxLength       *float64   `json:"max_length_m,omitempty" lim:"(0,10000]"`
	MaxRingDiameter *float64   `json:"max_ring_diameter_m,omitempty" lim:"(0,10000]"`
	LPS             *LPS       `json:"lps,omitempty"`
}

// EarthSoil is what is known of the soil: readings, or layers.
type EarthSoil struct {
	Readings *[]EarthReading `json:"readings,omitempty" items:"[1,100]"`
	Layers   *[]EarthLayer   `json:"layers,omitempty" items:"[1,10]"`
}

// EarthReading is one measurement of the soil.
type EarthReading struct {
	Method      *EarthMethod `json:"method" required:"true"`
	Resistance  *float64     `json:"resistance_ohm" required:"true" lim:"(0,1000000]"`
	Spacing     *float64     `json:"spacing_m,omitempty" lim:"(0,1000]"`
	Depth       *float64     `json:"depth_m,omitempty" lim:"[0,1000]"`
	RodLength   *float64     `json:"rod_length_m,omitempty" lim:"(0,100]"`
	RodDiameter *float64     `json:"rod_diameter_m,omitempty" lim:"(0,1]"`
}

// EarthLayer is a layer of soil, from the surface down.
type EarthLayer struct {
	Resistivity *float64 `json:"resistivity_ohm_m" required:"true" lim:"(0,1000000]"`
	Thickness   *float64 `json:"thickness_m,omitempty" lim:"(0,10000]"`
}

// Electrode is an earth electrode: one of its kinds, or a combination of parts.
type Electrode struct {
	Kind            *EarthKind        `json:"kind" required:"true"`
	Length          *float64          `json:"length_m,omitempty" lim:"(0,10000]"`
	Diameter        *float64          `json:"diameter_m,omitempty" lim:"(0,1]"`
	Count           *float64          `json:"count,omitempty" lim:"[1,1000]" integer:"true"`
	Arrangement     *EarthArrangement `json:"arrangement,omitempty"`
	Spacing         *float64          `json:"spacing_m,omitempty" lim:"(0,10000]"`
	Depth           *float64          `json:"depth_m,omitempty" lim:"(0,100]"`
	RingDiameter    *float64          `json:"ring_diameter_m,omitempty" lim:"(0,10000]"`
	Area            *float64          `json:"area_m2,omitempty" lim:"(0,100000000]"`
	ConductorLength *float64          `json:"conductor_length_m,omitempty" lim:"(0,1000000]"`
	Parts           *[]ElectrodePart  `json:"parts,omitempty" items:"[2,20]"`
}

// ElectrodePart is one part of a combination. The distance to the nearest earlier part is needed from the second on.
type ElectrodePart struct {
	Kind            *EarthKind        `json:"kind" required:"true"`
	Length          *float64          `json:"length_m,omitempty" lim:"(0,10000]"`
	Diameter        *float64          `json:"diameter_m,omitempty" lim:"(0,1]"`
	Count           *float64          `json:"count,omitempty" lim:"[1,1000]" integer:"true"`
	Arrangement     *EarthArrangement `json:"arrangement,omitempty"`
	Spacing         *float64          `json:"spacing_m,omitempty" lim:"(0,10000]"`
	Depth           *float64          `json:"depth_m,omitempty" lim:"(0,100]"`
	RingDiameter    *float64          `json:"ring_diameter_m,omitempty" lim:"(0,10000]"`
	Area            *float64          `json:"area_m2,omitempty" lim:"(0,100000000]"`
	ConductorLength *float64          `json:"conductor_length_m,omitempty" lim:"(0,1000000]"`
	Distance        *float64          `json:"distance_m,omitempty" lim:"(0,10000]"`
}

// The named values of an electrode are those of package earth.
type (
	EarthKind        = earth.Kind
	EarthArrangement = earth.Arrangement
	EarthMethod      = earth.Method
	EarthConnection  = risk.EarthConnection
)

// Earthing is the earth connection of a structure.
type Earthing struct {
	Connection *EarthConnection `json:"connection" required:"true"`
	Resistance *float64         `json:"resistance_ohm,omitempty" lim:"[0.0001,100000]"`
	Electrode  *Electrode       `json:"electrode,omitempty"`
	Common     *risk.Answer     `json:"common_electrode,omitempty"`
	MeasuredOn *Date            `json:"measured_on,omitempty"`
	MeasuredBy *string          `json:"measured_by,omitempty" len:"[1,200]"`
}

// EarthRequests decodes requests for electrodes.
var EarthRequests = NewDecoder[EarthRequest]()

func count(p *float64) int { return int(value(p)) }

func named[T any](p *T) T {
	if p == nil {
		var zero T
		return zero
	}
	return *p
}

// Core is the plain electrode.
func (e *Electrode) Core() earth.Electrode {
	c := earth.Electrode{Kind: *e.Kind, Length: value(e.Length), Diameter: value(e.Diameter), Count: count(e.Count), Arrangement: named(e.Arrangement),
		Spacing: value(e.Spacing), Depth: value(e.Depth), RingDiameter: value(e.RingDiameter), Area: value(e.Area), ConductorLength: value(e.ConductorLength)}
	if e.Parts != nil {
		for i := range *e.Parts {
			c.Parts = append(c.Parts, (*e.Parts)[i].core())
		}
	}
	return c
}

func (e *ElectrodePart) core() earth.Electrode {
	return earth.Electrode{Kind: *e.Kind, Length: value(e.Length), Diameter: value(e.Diameter), Count: count(e.Count), Arrangement: named(e.Arrangement),
		Spacing: value(e.Spacing), Depth: value(e.Depth), RingDiameter: value(e.RingDiameter), Area: value(e.Area), ConductorLength: value(e.ConductorLength), Distance: value(e.Distance)}
}

// electrodeOf writes a plain electrode that is no combination, for an answer.
func electrodeOf(c *earth.Electrode) *Electrode {
	e := &Electrode{Kind: &c.Kind, Length: given(c.Length), Diameter: given(c.Diameter), Count: given(float64(c.Count)), Spacing: given(c.Spacing),
		Depth: given(c.Depth), RingDiameter: given(c.RingDiameter), Area: given(c.Area), ConductorLength: given(c.ConductorLength)}
	if c.Kind == earth.Rods {
		e.Arrangement = &c.Arrangement
	}
	return e
}

func given(v float64) *float64 {
	if v == 0 {
		return nil
	}
	return &v
}

// Core is the plain soil.
func (s *EarthSoil) Core() earth.Soil {
	var c earth.Soil
	if s.Readings != nil {
		for _, r := range *s.Readings {
			c.Readings = append(c.Readings, earth.Reading{Method: *r.Method, Resistance: *r.Resistance, Spacing: value(r.Spacing), Depth: value(r.Depth), RodLength: value(r.RodLength), RodDiameter: value(r.RodDiameter)})
		}
	}
	if s.Layers != nil {
		for _, l := range *s.Layers {
			c.Layers = append(c.Layers, earth.Layer{Resistivity: *l.Resistivity, Thickness: value(l.Thickness)})
		}
	}
	return c
}

// EarthResult is the answer to an EarthRequest.
type EarthResult struct {
	ReviewsHash     string          `json:"reviews_hash,omitempty"`
	SoilResistivity float64         `json:"soil_resistivity_ohm_m"`
	Electrode       *Electrode      `json:"electrode"`
	Resistance      float64         `json:"resistance_ohm"`
	Grade           earth.Grade     `json:"grade"`
	Mutual          string          `json:"mutual_effect"`
	Parts           []EarthPart     `json:"parts,omitempty"`
	Design          *EarthDesign    `json:"design,omitempty"`
	LeastLength     *EarthLength    `json:"least_length,omitempty"`
	Notes           []EarthNote     `json:"notes"`
	Steps           []WorksheetStep `json:"steps"`
	Cautions        []string        `json:"cautions"`
}

// EarthPart is one part of a combination.
type EarthPart struct {
	Resistance float64 `json:"resistance_ohm"`
	Mutual     float64 `json:"mutual_resistance_ohm"`
	Together   float64 `json:"together_ohm"`
	Counted    bool    `json:"counted"`
}

// EarthDesign says what was found for a wanted resistance.
type EarthDesign struct {
	Wanted  float64  `json:"wanted_ohm"`
	Reached bool     `json:"reached"`
	Smaller *float64 `json:"next_smaller_ohm,omitempty"`
	Outcome string   `json:"outcome"`
}

// EarthLength says whether an electrode is long enough for an LPS.
type EarthLength struct {
	Type       earth.Termination `json:"arrangement_type"`
	L1         float64           `json:"l1_m"`
	Radius     float64           `json:"equivalent_radius_m,omitempty"`
	Horizontal float64           `json:"add_horizontal_m,omitempty"`
	Vertical   float64           `json:"add_vertical_m,omitempty"`
	Exempt     bool              `json:"exempt"`
	Sufficient bool              `json:"sufficient"`
	Outcome    string            `json:"outcome"`
}

// EarthNote is a remark that belongs to a result.
type EarthNote struct {
	Text       string           `json:"text"`
	Clause     string           `json:"clause"`
	Provenance trace.Provenance `json:"provenance"`
}

// EarthNotes writes remarks.
func EarthNotes(notes []earth.Note) []EarthNote {
	w := make([]EarthNote, len(notes))
	for i, n := range notes {
		w[i] = EarthNote(n)
	}
	return w
}

// NewEarthResult writes the resistance of an electrode. A designed electrode is written out, one that was given is repeated.
func NewEarthResult(asked *Electrode, e *earth.Electrode, r *earth.Result, rho float64) *EarthResult {
	w := &EarthResult{SoilResistivity: rho, Electrode: asked, Resistance: r.Resistance, Grade: r.Grade, Mutual: r.Mutual, Notes: EarthNotes(r.Notes)}
	if asked == nil {
		w.Electrode = electrodeOf(e)
	}
	for _, p := range r.Parts {
		w.Parts = append(w.Parts, EarthPart{Resistance: p.Resistance, Mutual: p.Mutual, Together: p.Together, Counted: !p.Idle})
	}
	return w
}
