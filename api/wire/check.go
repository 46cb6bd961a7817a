package wire

import (
	"slices"
	"strings"

	"levinward/risk"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

// SPDCheck asks whether a device is right for a line: one given by value, or one of a stored assessment.
type SPDCheck struct {
	Device       *DeviceSheet        `json:"device" required:"true"`
	Line         *CheckLine          `json:"line,omitempty"`
	Structure    *CheckStructure     `json:"structure,omitempty"`
	Assessment   *CheckedLine        `json:"assessment,omitempty"`
	Position     *CheckPosition      `json:"position,omitempty"`
	Installation *DeviceInstallation `json:"installation,omitempty"`
}

// CheckLine is a line without the names it has in an assessment.
type CheckLine struct {
	Service        *Service      `json:"service,omitempty"`
	Installation   *Installation `json:"installation,omitempty"`
	Length         *float64      `json:"length_m,omitempty" lim:"[0,100000]"`
	Environment    *Environment  `json:"environment,omitempty"`
	Shield         *Shield       `json:"shield,omitempty"`
	Withstand      *float64      `json:"withstand_kv,omitempty" lim:"(0,1000]"`
	BondingSPD     *SPD          `json:"bonding_spd,omitempty"`
	CoordinatedSPD *SPD          `json:"coordinated_spd,omitempty"`
	Electrical     *Electrical   `json:"electrical,omitempty"`
}

// CheckStructure is what a check needs to know of the structure the line enters.
type CheckStructure struct {
	Surroundings         *Surroundings `json:"surroundings,omitempty"`
	Occupancy            *Occupancy    `json:"occupancy,omitempty"`
	LPS                  *LPS          `json:"lps,omitempty"`
	NaturalLPS           *bool         `json:"natural_lps,omitempty"`
	FailureEndangersLife *bool         `json:"failure_endangers_life,omitempty"`
	PublicSupply         *PublicSupply `json:"public_service,omitempty"`
	Earthing             *Earthing     `json:"earthing,omitempty"`
}

// CheckedLine names a line of a stored assessment, and the structure where it has two ends.
type CheckedLine struct {
	ID        string   `json:"id" required:"true" len:"[1,100]"`
	Revision  *float64 `json:"revision,omitempty" lim:"[1,1000000000]" integer:"true"`
	Line      string   `json:"line" required:"true" len:"[1,100]"`
	Structure *string  `json:"structure,omitempty" len:"[1,100]"`
}

// DeviceInstallation is how the device is installed; what is not told is not checked.
type DeviceInstallation struct {
	LeadLength   *float64         `json:"lead_length_m,omitempty" lim:"[0,100]"`
	Distance     *float64         `json:"distance_m,omitempty" lim:"[0,10000]"`
	Backup       *float64         `json:"backup_a,omitempty" lim:"(0,100000]"`
	SecondDevice *bool            `json:"second_device,omitempty"`
	Wiring       *EquipmentWiring `json:"wiring,omitempty"`
	// the device at the entrance, where the one checked is the second of the line
	FirstDevice    *DeviceSheet `json:"first_device,omitempty"`
	FirstReference *string      `json:"first_reference,omitempty" len:"[1,100]"`
	CableBetween   *float64     `json:"cable_between_m,omitempty" lim:"[0,10000]"`
}

// EquipmentWiring is the wiring between a device and the equipment.
type EquipmentWiring string

const shieldedWiring EquipmentWiring = "shielded"

var wirings = []string{"unshielded", string(shieldedWiring)}

// Names lists the values that can be given.
func (EquipmentWiring) Names() []string { return wirings }

// UnmarshalText takes the name of a value.
func (v *EquipmentWiring) UnmarshalText(b []byte) error { return oneOf(v, b, wirings) }

// CheckPosition is the place of the device along its line.
type CheckPosition string

var checkPositions = []string{string(spd.LineEntrance), string(spd.AtEquipment), string(spd.AtArray)}

// Names lists the values that can be given.
func (CheckPosition) Names() []string { return checkPositions }

// UnmarshalText takes the name of a value.
func (v *CheckPosition) UnmarshalText(b []byte) error { return oneOf(v, b, checkPositions) }

// SPDChecks decodes checks.
var SPDChecks = NewDecoder[SPDCheck]()

// At is the position asked for; the line entrance where none is.
func (r *SPDCheck) At() spd.Position {
	if r.Position == nil {
		return spd.LineEntrance
	}
	return spd.Position(*r.Position)
}

// Core is the plain installation of the device that is checked.
func (i *DeviceInstallation) Core(checked *DeviceSheet) spd.Installation {
	if i == nil {
		return spd.Installation{}
	}
	c := spd.Installation{LeadLength: opt(i.LeadLength), Distance: opt(i.Distance), Backup: opt(i.Backup), Shielded: named(i.Wiring) == shieldedWiring,
		CableBetween: opt(i.CableBetween), MakerStates: i.FirstReference != nil && slices.Contains(named(checked.CoordinatedWith), *i.FirstReference)}
	if i.FirstDevice != nil {
		first := i.FirstDevice.Core()
		c.First = &first
	}
	if i.SecondDevice != nil {
		c.Second = spd.Absent
		if *i.SecondDevice {
			c.Second = spd.Present
		}
	}
	return c
}

// Site makes a site of the line and structure given by value; the reviews may be nil. Its faults point into the check.
func (r *SPDCheck) Site(reviews *trace.Reviews) *Site {
	one, ten, zero := 1.0, 10.0, 0.0
	s := Structure{ID: "structure", Length: &ten, Width: &ten, Height: &ten}
	if w := r.Structure; w != nil {
		s.Surroundings, s.Occupancy, s.LPS, s.NaturalLPS = w.Surroundings, w.Occupancy, w.LPS, w.NaturalLPS
		s.FailureEndangersLife, s.PublicSupply, s.Earthing = w.FailureEndangersLife, w.PublicSupply, w.Earthing
	}
	w := r.Line
	l := Line{ID: "line", Structure: s.ID, Service: w.Service, Installation: w.Installation, Length: w.Length, Shield: w.Shield, Withstand: w.Withstand,
		BondingSPD: w.BondingSPD, CoordinatedSPD: w.CoordinatedSPD, Electrical: w.Electrical}
	in := &Input{Name: "check", Location: &Location{&zero, &zero}, FlashDensity: &FlashDensity{GroundFlashes: &one}, Environment: w.Environment,
		Structures: []Structure{s}, Lines: &[]Line{l}}
	site := in.CoreWith(reviews)
	for i := range site.Violations {
		site.Violations[i].Pointer = checkPointer(site.Violations[i].Pointer)
	}
	if w.Withstand == nil {
		site.Input.Lines[0].Withstand = 0 // the check reads it by the kind of equipment
	}
	return site
}

func checkPointer(p string) string {
	p = strings.Replace(p, "/lines/0", "/line", 1)
	return strings.Replace(p, "/structures/0", "/structure", 1)
}

// SPDCheckResult is the answer to a check.
type SPDCheckResult struct {
	ReviewsHash string        `json:"reviews_hash,omitempty"`
	Verdict     spd.Verdict   `json:"verdict"`
	Sentence    string        `json:"sentence"`
	Findings    []Finding     `json:"findings"`
	Requirement ScheduleEntry `json:"requirement"`
	Cautions    []string      `json:"cautions"`
}

// Finding is what one rule says of a device.
type Finding struct {
	Rule       spd.Rule         `json:"rule"`
	Mode       string           `json:"mode,omitempty"`
	Verdict    spd.Verdict      `json:"verdict"`
	Required   string           `json:"required"`
	Found      string           `json:"found"`
	Margin     spd.Opt          `json:"margin"`
	Reason     string           `json:"reason"`
	Clause     string           `json:"clause"`
	Provenance trace.Provenance `json:"provenance"`
}

// NewSPDCheckResult writes the result of a check; the entry is what the place requires.
func NewSPDCheckResult(in *risk.Input, e *spd.Entry, r *spd.CheckResult) *SPDCheckResult {
	a := Answer{Input: in}
	w := &SPDCheckResult{Verdict: r.Verdict, Sentence: strings.TrimSpace(r.Sentence + " " + r.WayOut), Findings: make([]Finding, len(r.Findings)), Requirement: a.entry(e), Cautions: nonNil(r.Cautions)}
	for i, f := range r.Findings {
		w.Findings[i] = Finding(f)
	}
	return w
}
