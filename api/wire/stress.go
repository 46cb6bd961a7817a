package wire

import (
	"slices"

	"levinward/risk"
	"levinward/risk/spd"
)

// StressRequest says what is asked about the stress of devices over the years. Nothing of it has to be given.
type StressRequest struct {
	Devices   *[]StressedDevice `json:"devices,omitempty" items:"[1,100]"`
	Currents  *[]float64        `json:"currents_ka,omitempty" items:"[1,100]" lim:"[0,10000]"`
	Years     *[]float64        `json:"years,omitempty" items:"[1,20]" lim:"(0,1000]"`
	Smallest  *float64          `json:"smallest_ka,omitempty" lim:"[0,10000]"`
	LineFlash *LineFlash        `json:"line_flash,omitempty"`
	Line      *string           `json:"line,omitempty" len:"[1,100]"`
	Steps     *bool             `json:"steps,omitempty"`
}

// StressedDevice is a device to be judged, at every line end unless one is named.
type StressedDevice struct {
	Reference string  `json:"reference" required:"true" len:"[1,100]"`
	Line      *string `json:"line,omitempty" len:"[1,100]"`
	Structure *string `json:"structure,omitempty" len:"[1,100]"`
	DeviceSheet
}

// LineFlash says how the current of a flash to the line is taken to reach the device.
type LineFlash string

// lineFlashes are in the order of the values of spd.LineFlash.
var lineFlashes = []string{"half_each_way", "tabulated"}

// Names lists the values that can be given.
func (LineFlash) Names() []string { return lineFlashes }

// UnmarshalText takes the name of a value.
func (v *LineFlash) UnmarshalText(b []byte) error { return oneOf(v, b, lineFlashes) }

// StressRequests decodes requests.
var StressRequests = NewDecoder[StressRequest]()

// Core is the plain request. The devices are yet to be placed: each is meant for every end.
func (r *StressRequest) Core() spd.StressOptions {
	o := spd.StressOptions{Currents: named(r.Currents), Years: named(r.Years), Smallest: opt(r.Smallest)}
	if r.LineFlash != nil {
		o.LineFlash = spd.LineFlash(slices.Index(lineFlashes, string(*r.LineFlash)))
	}
	for i := range named(r.Devices) {
		w := &(*r.Devices)[i]
		d := w.DeviceSheet.Core()
		o.Devices = append(o.Devices, spd.StressDevice{Line: spd.EveryEnd, Structure: spd.EveryEnd, StressRatings: spd.RatingsOf(w.Reference, &d)})
	}
	return o
}

// StressResult says for each line end what passes a device there, and what that does to devices over the years.
type StressResult struct {
	ReviewsHash string          `json:"reviews_hash,omitempty"`
	Assessment  string          `json:"assessment,omitempty"`
	Revision    int             `json:"revision,omitempty"`
	LineFlash   LineFlash       `json:"line_flash"`
	Ends        []StressedEnd   `json:"line_ends"`
	Steps       []WorksheetStep `json:"steps,omitempty"`
	Cautions    []string        `json:"cautions"`
}

// StressedEnd is what one line end is exposed to. Currents are those of one line conductor.
type StressedEnd struct {
	Line            string        `json:"line"`
	Structure       string        `json:"structure"`
	Required        bool          `json:"required"`
	EarthFirst      bool          `json:"earth_first"`
	Conductors      float64       `json:"conductors"`
	Sources         []SurgeSource `json:"sources"`
	Rates           []SurgeRate   `json:"rates"`
	OperationsAbove float64       `json:"operations_above_ka"`
	Operations      float64       `json:"operations_per_year"`
	Duties          []StressDuty  `json:"duties"`
	Notes           []string      `json:"notes"`
	Basis           []Basis       `json:"basis"`
}

// SurgeSource is one population of surges.
type SurgeSource struct {
	Source   spd.Source   `json:"source"`
	Waveform spd.Waveform `json:"waveform"`
	Events   float64      `json:"events_per_year"`
	Share    float64      `json:"share"`
}

// SurgeRate is how often a current is exceeded.
type SurgeRate struct {
	Current float64 `json:"current_ka"`
	Impulse float64 `json:"impulse_10_350_per_year"`
	Induced float64 `json:"surge_8_20_per_year"`
	Total   float64 `json:"total_per_year"`
}

// StressDuty is what the years do to a device of given ratings.
type StressDuty struct {
	Reference        string              `json:"reference"`
	Scheduled        bool                `json:"scheduled"`
	Ratings          StressRatings       `json:"ratings"`
	ImpulseWithstand float64             `json:"impulse_10_350_withstand_ka"`
	SurgeWithstand   float64             `json:"surge_8_20_withstand_ka"`
	ImpulseLimit     string              `json:"impulse_10_350_limited_by"`
	SurgeLimit       string              `json:"surge_8_20_limited_by"`
	ImpulseRate      float64             `json:"impulse_10_350_overstresses_per_year"`
	SurgeRate        float64             `json:"surge_8_20_overstresses_per_year"`
	Rate             float64             `json:"overstresses_per_year"`
	ReturnPeriod     spd.Opt             `json:"return_period_years"`
	Overstress       []OverstressInYears `json:"overstress"`
	FromRating       PSPDFromRating      `json:"p_spd_from_rating"`
	FromTable        *PSPDFromTable      `json:"p_spd_from_table"`
	Notes            []string            `json:"notes"`
}

// StressRatings are the discharge ratings that a duty was judged by.
type StressRatings struct {
	Iimp    spd.Opt `json:"iimp_ka"`
	Imax    spd.Opt `json:"imax_ka"`
	In      spd.Opt `json:"in_ka"`
	IimpNPE spd.Opt `json:"iimp_n_pe_ka"`
	ImaxNPE spd.Opt `json:"imax_n_pe_ka"`
	InNPE   spd.Opt `json:"in_n_pe_ka"`
}

// OverstressInYears is the probability of at least one overstress.
type OverstressInYears struct {
	Years       float64 `json:"years"`
	Probability float64 `json:"probability"`
}

// PSPDFromRating is P_SPD from the rating of the device: the share of surges that it does not withstand.
type PSPDFromRating struct {
	Largest  spd.Opt      `json:"largest"`
	Surges   spd.Opt      `json:"of_all_surges"`
	BySource []SourcePSPD `json:"by_source"`
}

// SourcePSPD is that of one source of damage.
type SourcePSPD struct {
	Source spd.Source `json:"source"`
	PSPD   float64    `json:"p_spd"`
}

// PSPDFromTable is the value of the edition's table for the level of the schedule entry. It stands beside the
// one from the rating and is never mixed with it.
type PSPDFromTable struct {
	Level      risk.Level `json:"lightning_protection_level"`
	PSPD       float64    `json:"p_spd"`
	Clause     string     `json:"clause"`
	Provenance string     `json:"provenance"`
}

// NewStressedEnd writes what was computed for a line end; entry is that of the schedule and table the P_SPD of its level.
func NewStressedEnd(in *risk.Input, entry *spd.Entry, e *spd.EndStress, table *PSPDFromTable) StressedEnd {
	w := StressedEnd{Line: in.Lines[e.Line].ID, Structure: in.Structures[e.Structure].ID, Required: entry.Required, EarthFirst: !in.Structures[e.Structure].Earthing.Proved(),
		Conductors: e.Conductors, Sources: make([]SurgeSource, len(e.Sources)), Rates: make([]SurgeRate, len(e.Rates)), OperationsAbove: e.OperationsAbove, Operations: e.Operations,
		Duties: make([]StressDuty, len(e.Duties)), Notes: nonNil(e.Notes), Basis: make([]Basis, len(e.Basis))}
	for i, s := range e.Sources {
		w.Sources[i] = SurgeSource(s)
	}
	for i, r := range e.Rates {
		w.Rates[i] = SurgeRate(r)
	}
	for i := range e.Duties {
		w.Duties[i] = dutyOf(&e.Duties[i], table)
		w.Duties[i].Scheduled = i == 0
	}
	for i, b := range e.Basis {
		w.Basis[i] = basisOf(&b)
	}
	return w
}

func dutyOf(d *spd.Duty, table *PSPDFromTable) StressDuty {
	r := &d.Ratings
	w := StressDuty{Reference: r.Name, Ratings: StressRatings{Iimp: r.Iimp, Imax: r.Imax, In: r.In, IimpNPE: r.IimpNPE, ImaxNPE: r.ImaxNPE, InNPE: r.InNPE},
		ImpulseWithstand: d.ImpulseWithstand, SurgeWithstand: d.SurgeWithstand, ImpulseLimit: d.ImpulseLimit, SurgeLimit: d.SurgeLimit,
		ImpulseRate: d.ImpulseRate, SurgeRate: d.SurgeRate, Rate: d.Rate, ReturnPeriod: d.ReturnPeriod, Overstress: make([]OverstressInYears, len(d.Overstress)),
		FromRating: PSPDFromRating{Largest: d.PSPDLargest, Surges: d.PSPDOfSurges, BySource: make([]SourcePSPD, len(d.PSPD))}, FromTable: table, Notes: nonNil(d.Notes)}
	for i, y := range d.Overstress {
		w.Overstress[i] = OverstressInYears(y)
	}
	for i, s := range d.PSPD {
		w.FromRating.BySource[i] = SourcePSPD(s)
	}
	return w
}
