package wire

import (
	"encoding/json"

	"levinward/risk"
	"levinward/risk/spd"
	"levinward/risk/trace"
)

// ScheduledPlace is an entry of a stored schedule as far as devices are matched with it.
type ScheduledPlace struct {
	Line, Structure string
	EarthFirst      bool
	Entry           spd.Entry
}

// Counts reports that a device is to be bought for this place: it is required, and no set at the same board serves it.
func (p *ScheduledPlace) Counts() bool { return p.Entry.Required && p.Entry.ServedBy == "" }

// storedNumber is a number of a stored document that may be null or missing.
type storedNumber struct{ spd.Opt }

// UnmarshalJSON takes a number or null.
func (n *storedNumber) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		return nil
	}
	n.Valid = true
	return json.Unmarshal(b, &n.Value)
}

// storedPlace is an entry as a result holds it. Which rule a device fails is
// found from these numbers, whatever the program has become since.
type storedPlace struct {
	Line            string         `json:"line"`
	Structure       string         `json:"structure"`
	Position        spd.Position   `json:"position"`
	Required        bool           `json:"required"`
	Need            spd.Obligation `json:"need"`        // missing in older results
	Specifiable     *bool          `json:"specifiable"` // missing in older results
	EarthFirst      bool           `json:"earth_first"`
	EarthGrade      spd.EarthGrade `json:"earth_grade"` // missing in older results
	Service         risk.Service   `json:"service"`
	Current         *risk.Current  `json:"current"`
	TestClass       spd.TestClass  `json:"test_class"`
	Connection      spd.Connection `json:"connection"`
	Modes           []storedMode   `json:"modes"`
	UcMin           storedNumber   `json:"uc_min_v"`
	UcMax           storedNumber   `json:"uc_max_v"`
	UpMax           storedNumber   `json:"up_max_kv"`
	InMin           storedNumber   `json:"in_min_ka"`
	IimpMin         storedNumber   `json:"iimp_min_ka"`
	ImaxMin         storedNumber   `json:"imax_min_ka"`
	ShortCircuitMin storedNumber   `json:"short_circuit_min_ka"`
	Withstand       storedNumber   `json:"withstand_kv"`
	EffectiveMax    storedNumber   `json:"effective_up_max_kv"`
	AlsoConnection  spd.Connection `json:"also_connection"`
	TOVMin          storedNumber   `json:"tov_min_v"`
	LimitingIimpMin storedNumber   `json:"limiting_iimp_min_ka"`
	LimitingInMin   storedNumber   `json:"limiting_in_min_ka"`
	IimpTotalMin    storedNumber   `json:"iimp_total_min_ka"`
	UocMin          storedNumber   `json:"uoc_min_kv"`
	Conductors      int            `json:"protected_conductors"`
	Standard        string         `json:"device_standard"`
	ServedBy        string         `json:"served_by"`
	Order           Order          `json:"order"`
	Share           CurrentShare   `json:"current_share"`
	Basis           []Basis        `json:"basis"`
}

type storedMode struct {
	Mode    string       `json:"mode"`
	UcMin   storedNumber `json:"uc_min_v"`
	UpMax   storedNumber `json:"up_max_kv"`
	InMin   storedNumber `json:"in_min_ka"`
	IimpMin storedNumber `json:"iimp_min_ka"`
	TOV     []TOV        `json:"tov"`
}

// core is the mode as it was computed.
func (m *storedMode) core() spd.Mode {
	c := spd.Mode{Mode: m.Mode, UcMin: m.UcMin.Opt, UpMax: m.UpMax.Opt, InMin: m.InMin.Opt, IimpMin: m.IimpMin.Opt}
	for _, o := range m.TOV {
		c.TOV = append(c.TOV, spd.TOV{Duration: o.Duration, Volt: o.Volt, Safe: o.After == tovSafeFailure})
	}
	return c
}

// core is the entry as it was computed, as far as it was stored. A finding names the source of a number, not that of its rule.
func (s *storedPlace) core(reviews *trace.Reviews) spd.Entry {
	e := spd.Entry{
		Position: s.Position, Required: s.Required, Obligation: needOf(s.Need, s.Required), Specifiable: s.Specifiable == nil || *s.Specifiable,
		EarthGrade: s.EarthGrade,
		Service:    s.Service, Current: named(s.Current), TestClass: s.TestClass, Connection: s.Connection, AlsoConnection: s.AlsoConnection,
		UcMin: s.UcMin.Opt, UcMax: s.UcMax.Opt, UpMax: s.UpMax.Opt, InMin: s.InMin.Opt, IimpMin: s.IimpMin.Opt, ImaxMin: s.ImaxMin.Opt,
		ShortCircuitMin: s.ShortCircuitMin.Opt, Withstand: s.Withstand.Opt, EffectiveMax: s.EffectiveMax.Opt,
		TOVMin: s.TOVMin.Opt, LimitingIimpMin: s.LimitingIimpMin.Opt, LimitingInMin: s.LimitingInMin.Opt,
		IimpTotalMin: s.IimpTotalMin.Opt, UocMin: s.UocMin.Opt, Conductors: s.Conductors, Standard: s.Standard, ServedBy: s.ServedBy,
		Order: spd.Order(s.Order), Share: spd.Share(s.Share),
		Reviews: reviews,
	}
	for i := range s.Modes {
		e.Modes = append(e.Modes, s.Modes[i].core())
	}
	for _, b := range s.Basis {
		e.Basis = append(e.Basis, spd.Basis{Field: b.Field, Mode: b.Mode, Reason: b.Reason, Clause: b.Clause, Provenance: b.Provenance})
	}
	return e
}

// ReadPlaces reads the schedule of a stored result, for devices to be judged with the reviews it was computed with; nil for none.
func ReadPlaces(schedule []byte, reviews *trace.Reviews) ([]ScheduledPlace, error) {
	var stored []storedPlace
	if err := json.Unmarshal(schedule, &stored); err != nil {
		return nil, err
	}
	places := make([]ScheduledPlace, len(stored))
	for i := range stored {
		s := &stored[i]
		places[i] = ScheduledPlace{s.Line, s.Structure, s.EarthFirst, s.core(reviews)}
	}
	return places, nil
}

// Matching names the devices of a library for the entries of a schedule.
type Matching struct {
	LibraryVersion int          `json:"library_version"`
	Devices        int          `json:"devices"`
	Entries        []EntryMatch `json:"entries"`
	Totals         []MatchTotal `json:"totals"`
	Incomplete     bool         `json:"incomplete"`
	Cautions       []string     `json:"cautions"`
}

// EntryMatch are the devices for one entry of the schedule, in its order.
type EntryMatch struct {
	Line       string          `json:"line"`
	Structure  string          `json:"structure"`
	Position   spd.Position    `json:"position"`
	Required   bool            `json:"required"`
	EarthFirst bool            `json:"earth_first"`
	Passing    int             `json:"passing"`
	Matches    []MatchedDevice `json:"devices"`
	Nearest    []NearestDevice `json:"nearest"`
	Obstacle   *Obstacle       `json:"obstacle,omitempty"`
}

// MatchedDevice is a device of the library.
type MatchedDevice struct {
	ID        string    `json:"id"`
	Reference string    `json:"reference"`
	Name      string    `json:"name,omitempty"`
	Price     *Price    `json:"price,omitempty"`
	Currency  *Currency `json:"currency,omitempty"`
}

// NearestDevice is a device that does not pass, and why.
type NearestDevice struct {
	MatchedDevice
	Reasons []Finding `json:"reasons"`
}

// Obstacle is the requirement that keeps most devices out where none passes.
type Obstacle struct {
	Rule     spd.Rule `json:"rule"`
	Required string   `json:"required"`
	Excluded int      `json:"excluded"`
	Met      bool     `json:"met_by_some"`
	Outcome  string   `json:"outcome"`
}

// MatchTotal is what the required devices cost in one currency.
type MatchTotal struct {
	Currency   Currency        `json:"currency"`
	Total      Price           `json:"total"`
	Incomplete bool            `json:"incomplete"`
	Items      []MatchItem     `json:"items"`
	Missing    []MissingDevice `json:"missing"`
}

// MatchItem is a device with the number of places it is chosen for.
type MatchItem struct {
	ID        string `json:"id"`
	Reference string `json:"reference"`
	Quantity  int    `json:"quantity"`
	UnitPrice Price  `json:"unit_price"`
	Amount    Price  `json:"amount"`
}

// MissingDevice is a required place that a total lacks a price for.
type MissingDevice struct {
	Line      string       `json:"line"`
	Structure string       `json:"structure"`
	Position  spd.Position `json:"position"`
	Reason    string       `json:"reason"`
}
