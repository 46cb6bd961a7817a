package wire

import (
	"slices"
	"strconv"

	"levinward/risk"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

// CoordinationRequest asks whether devices fit behind each other on one line, the first at the origin.
type CoordinationRequest struct {
	Stages    *[]CoordinationStage `json:"stages" required:"true" items:"[1,16]"`
	Withstand *float64             `json:"withstand_kv" required:"true" lim:"(0,1000]"`
	Service   *CoordinatedService  `json:"service,omitempty"`
	Current   *Current             `json:"current,omitempty"`
	Vital     *bool                `json:"vital,omitempty"`
	Wiring    *EquipmentWiring     `json:"wiring,omitempty"`
	IimpMin   *float64             `json:"iimp_min_ka,omitempty" lim:"(0,1000]"`
	InMin     *float64             `json:"in_min_ka,omitempty" lim:"(0,1000]"`
}

// CoordinationStage is one device and the cable behind it.
type CoordinationStage struct {
	Name       *string      `json:"name,omitempty" len:"[1,100]"`
	Device     *DeviceSheet `json:"device" required:"true"`
	LeadLength *float64     `json:"lead_length_m,omitempty" lim:"[0,100]"`
	CableAfter *float64     `json:"cable_after_m,omitempty" lim:"[0,100000]"`
	Inductor   *float64     `json:"inductor_uh,omitempty" lim:"[0,1000000]"`
	MakerCable *float64     `json:"maker_cable_m,omitempty" lim:"[0,100000]"`
}

// CoordinatedService is what the line carries.
type CoordinatedService string

var coordinatedServices = []string{risk.LowVoltage.String(), risk.Telecom.String()}

// Names lists the values that can be given.
func (CoordinatedService) Names() []string { return coordinatedServices }

// UnmarshalText takes the name of a value.
func (v *CoordinatedService) UnmarshalText(b []byte) error { return oneOf(v, b, coordinatedServices) }

// Coordinations decodes requests.
var Coordinations = NewDecoder[CoordinationRequest]()

// Core is the plain line. A stage without a name gets its number.
func (r *CoordinationRequest) Core() ([]spd.Stage, spd.CoordinationOptions) {
	stages := make([]spd.Stage, len(*r.Stages))
	for i, w := range *r.Stages {
		s := &stages[i]
		*s = spd.Stage{Name: "stage " + strconv.Itoa(i+1), Device: w.Device.Core(), LeadLength: opt(w.LeadLength), CableAfter: opt(w.CableAfter),
			Inductor: opt(w.Inductor), MakerCable: opt(w.MakerCable)}
		if w.Name != nil {
			s.Name = *w.Name
		}
		if i > 0 && !s.MakerCable.Valid && slices.Contains(named(w.Device.CoordinatedWith), stages[i-1].Name) {
			s.MakerCable = spd.Some(0) // the maker names the pair and no cable
		}
	}
	return stages, spd.CoordinationOptions{Withstand: *r.Withstand, Current: named(r.Current), Telecom: r.Telecom(), Vital: named(r.Vital), Shielded: named(r.Wiring) == shieldedWiring,
		Iimp: opt(r.IimpMin), In: opt(r.InMin)}
}

// Telecom reports a telecommunication or data line.
func (r *CoordinationRequest) Telecom() bool {
	return named(r.Service) == CoordinatedService(risk.Telecom.String())
}

// CoordinationResult says whether the devices fit, stage by stage and rule by rule.
type CoordinationResult struct {
	ReviewsHash  string                `json:"reviews_hash,omitempty"`
	Verdict      spd.Verdict           `json:"verdict"`
	Sentence     string                `json:"sentence"`
	FurtherStage bool                  `json:"further_stage"`
	Stages       []CoordinationReach   `json:"stages"`
	Findings     []CoordinationFinding `json:"findings"`
	Steps        []WorksheetStep       `json:"steps"`
	Cautions     []string              `json:"cautions"`
}

// CoordinationReach is how far one stage protects. Distances are guidance only.
type CoordinationReach struct {
	Name               string  `json:"name"`
	At                 spd.Opt `json:"at_m"`
	EffectiveLevel     spd.Opt `json:"effective_protection_level_kv"`
	DistanceIgnored    bool    `json:"distance_ignored"`
	ProtectionDistance spd.Opt `json:"protection_distance_m"`
	EndsAt             spd.Opt `json:"ends_at_m"`
}

// CoordinationFinding is what one rule says of one stage.
type CoordinationFinding struct {
	Rule       spd.CoordinationRule `json:"rule"`
	Stage      int                  `json:"stage"`
	Guidance   bool                 `json:"guidance"`
	Verdict    spd.Verdict          `json:"verdict"`
	Required   string               `json:"required"`
	Found      string               `json:"found"`
	Reason     string               `json:"reason"`
	Clause     string               `json:"clause"`
	Provenance trace.Provenance     `json:"provenance"`
}

// NewCoordinationResult writes the judgement of a line.
func NewCoordinationResult(stages []spd.Stage, c *spd.Coordination, t *trace.Trace) *CoordinationResult {
	w := &CoordinationResult{Verdict: c.Verdict, Sentence: c.Sentence, FurtherStage: c.FurtherStage, Stages: make([]CoordinationReach, len(c.Stages)),
		Findings: make([]CoordinationFinding, len(c.Findings)), Steps: Steps(t), Cautions: nonNil(c.Cautions)}
	for i, r := range c.Stages {
		w.Stages[i] = CoordinationReach{Name: stages[i].Name, At: r.At, EffectiveLevel: r.EffectiveLevel, DistanceIgnored: r.DistanceIgnored,
			ProtectionDistance: r.ProtectionDistance, EndsAt: r.EndsAt}
	}
	for i, f := range c.Findings {
		w.Findings[i] = CoordinationFinding(f)
	}
	return w
}
