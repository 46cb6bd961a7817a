package wire

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"levinward/risk"
	"levinward/risk/spd"
)

// DeviceSheet is what the data sheet of a device states. What it does not state is left out.
type DeviceSheet struct {
	Current       *[]Current          `json:"current,omitempty" items:"[1,2]"`
	UcAC          *float64            `json:"uc_ac_v,omitempty" lim:"(0,10000]"`
	UcDC          *float64            `json:"uc_dc_v,omitempty" lim:"(0,10000]"`
	Up            *float64            `json:"up_kv,omitempty" lim:"(0,100]"`
	In            *float64            `json:"in_ka,omitempty" lim:"(0,1000]"`
	InNPE         *float64            `json:"in_n_pe_ka,omitempty" lim:"(0,1000]"`
	Imax          *float64            `json:"imax_ka,omitempty" lim:"(0,1000]"`
	Iimp          *float64            `json:"iimp_ka,omitempty" lim:"(0,1000]"`
	IimpNPE       *float64            `json:"iimp_n_pe_ka,omitempty" lim:"(0,1000]"`
	TestClasses   *[]DeviceClass      `json:"test_classes,omitempty" items:"[1,6]"`
	Technology    *DeviceTechnology   `json:"technology,omitempty"`
	ShortCircuit  *float64            `json:"short_circuit_ka,omitempty" lim:"(0,1000]"`
	FollowCurrent *float64            `json:"follow_current_ka,omitempty" lim:"(0,1000]"`
	TOV           *float64            `json:"tov_v,omitempty" lim:"(0,10000]"`
	MaxBackup     *float64            `json:"max_backup_a,omitempty" lim:"(0,100000]"`
	Modes         *[]DeviceMode       `json:"modes,omitempty" items:"[1,9]"`
	Connections   *[]DeviceConnection `json:"connections,omitempty" items:"[1,2]"`

	UcLPE               *float64       `json:"uc_l_pe_v,omitempty" lim:"(0,10000]"`
	UcNPE               *float64       `json:"uc_n_pe_v,omitempty" lim:"(0,10000]"`
	UcLL                *float64       `json:"uc_l_l_v,omitempty" lim:"(0,10000]"`
	UpLN                *float64       `json:"up_l_n_kv,omitempty" lim:"(0,100]"`
	UpLPE               *float64       `json:"up_l_pe_kv,omitempty" lim:"(0,100]"`
	UpNPE               *float64       `json:"up_n_pe_kv,omitempty" lim:"(0,100]"`
	UpPlusPE            *float64       `json:"up_plus_pe_kv,omitempty" lim:"(0,100]"`
	UpPoles             *float64       `json:"up_pole_pole_kv,omitempty" lim:"(0,100]"`
	TOVLN               *float64       `json:"tov_l_n_5s_v,omitempty" lim:"(0,10000]"`
	TOVLPE              *float64       `json:"tov_l_pe_5s_v,omitempty" lim:"(0,10000]"`
	TOVLost             *float64       `json:"tov_l_n_120min_v,omitempty" lim:"(0,10000]"`
	TOVLostFailure      *TOVOutcome    `json:"tov_l_n_120min_failure,omitempty"`
	TOVHighLPE          *float64       `json:"tov_l_pe_200ms_v,omitempty" lim:"(0,10000]"`
	TOVHighNPE          *float64       `json:"tov_n_pe_200ms_v,omitempty" lim:"(0,10000]"`
	Uoc                 *float64       `json:"uoc_kv,omitempty" lim:"(0,100]"`
	ProtectedConductors *float64       `json:"protected_conductors,omitempty" lim:"[1,10]" integer:"true"`
	DCFollowCurrent     *float64       `json:"dc_follow_current_ka,omitempty" lim:"[0,1000]"`
	CertifiedForZone    *ExplosionZone `json:"certified_for_zone,omitempty"`
	CoordinatedWith     *[]string      `json:"coordinated_with,omitempty" items:"[0,50]" len:"[1,100]"`
}

// TOVOutcome is the state of a device after a temporary overvoltage.
type TOVOutcome string

const tovSafe TOVOutcome = "safe"

var tovOutcomes = []string{"withstand", string(tovSafe)}

// Names lists the states.
func (TOVOutcome) Names() []string { return tovOutcomes }

// UnmarshalText takes the name of a value.
func (v *TOVOutcome) UnmarshalText(b []byte) error { return oneOf(v, b, tovOutcomes) }

// Device is a device as it comes into a library.
type Device struct {
	Reference string `json:"reference" required:"true" len:"[1,100]"`
	Name      string `json:"name,omitempty" len:"[0,200]"`
	Use       string `json:"use,omitempty" len:"[0,500]"`
	DeviceSheet
	Price    *Price    `json:"price,omitempty"`
	Currency *Currency `json:"currency,omitempty"`
}

// Devices decodes devices.
var Devices = NewDecoder[Device]()

// StoredDevice is a device of a library.
type StoredDevice struct {
	ID          string     `json:"id"`
	Version     int        `json:"version"`
	UpdatedAt   time.Time  `json:"updated_at"`
	WithdrawnAt *time.Time `json:"withdrawn_at,omitempty"`
	Device
}

// DeviceClass, DeviceMode, DeviceConnection and DeviceTechnology are names that a data sheet gives.
type (
	DeviceClass      string
	DeviceMode       string
	DeviceConnection string
	DeviceTechnology string
)

// Names lists the test classes.
func (DeviceClass) Names() []string { return spd.ClassNames }

// UnmarshalText takes the name of a value.
func (v *DeviceClass) UnmarshalText(b []byte) error { return oneOf(v, b, spd.ClassNames) }

// Names lists the modes of protection.
func (DeviceMode) Names() []string { return spd.ModeNames }

// UnmarshalText takes the name of a value.
func (v *DeviceMode) UnmarshalText(b []byte) error { return oneOf(v, b, spd.ModeNames) }

// Names lists the connection types.
func (DeviceConnection) Names() []string { return spd.ConnectionNames }

// UnmarshalText takes the name of a value.
func (v *DeviceConnection) UnmarshalText(b []byte) error { return oneOf(v, b, spd.ConnectionNames) }

// Names lists the technologies.
func (DeviceTechnology) Names() []string { return spd.TechnologyNames }

// UnmarshalText takes the name of a value.
func (v *DeviceTechnology) UnmarshalText(b []byte) error { return oneOf(v, b, spd.TechnologyNames) }

func oneOf[T ~string](v *T, b []byte, names []string) error {
	if !slices.Contains(names, string(b)) {
		return fmt.Errorf("%.40q is none of %s", b, strings.Join(names, ", "))
	}
	*v = T(b)
	return nil
}

// Price is an amount of money as a decimal text, "12.50": a binary number could not hold it exactly.
type Price string

// Currency is a currency code of three letters (ISO 4217).
type Currency string

var (
	priceForm    = regexp.MustCompile(Price("").Pattern())
	currencyForm = regexp.MustCompile(Currency("").Pattern())
)

// Pattern is the form of a price. Four decimals are the most a currency of ISO 4217 has.
func (Price) Pattern() string { return `^(0|[1-9][0-9]{0,11})(\.[0-9]{1,4})?$` }

// Allowed says the form in words.
func (Price) Allowed() string {
	return `a decimal text such as "12.50": digits with a decimal point, at most 12 before and 4 behind it, not negative`
}

// UnmarshalText takes a price.
func (v *Price) UnmarshalText(b []byte) error {
	if !priceForm.Match(b) {
		return errors.New("must be " + v.Allowed())
	}
	*v = Price(b)
	return nil
}

// Pattern is the form of a currency code.
func (Currency) Pattern() string { return `^[A-Z]{3}$` }

// Allowed says the form in words.
func (Currency) Allowed() string { return "three capital letters (ISO 4217)" }

// UnmarshalText takes a currency code.
func (v *Currency) UnmarshalText(b []byte) error {
	if !currencyForm.Match(b) {
		return errors.New("must be " + v.Allowed())
	}
	*v = Currency(b)
	return nil
}

// Faults lists what the limits of single fields cannot state.
func (d *Device) Faults() (faults []risk.Violation) {
	for _, t := range []struct{ name, text string }{{"reference", d.Reference}, {"name", d.Name}, {"use", d.Use}} {
		if strings.ContainsFunc(t.text, unicode.IsControl) || strings.ContainsRune(t.text, unicode.ReplacementChar) {
			faults = append(faults, risk.Violation{Rule: risk.RuleOutOfRange, Pointer: "/" + t.name, Reason: "must not hold control characters or bytes that are not UTF-8"})
		}
	}
	if strings.TrimSpace(d.Reference) != d.Reference {
		faults = append(faults, risk.Violation{Rule: risk.RuleOutOfRange, Pointer: "/reference", Reason: "must not begin or end with a blank"})
	}
	switch {
	case d.Price != nil && d.Currency == nil:
		faults = append(faults, risk.Violation{Rule: risk.RuleContradiction, Pointer: "/currency", Reason: "is needed with a price: three capital letters (ISO 4217)"})
	case d.Price == nil && d.Currency != nil:
		faults = append(faults, risk.Violation{Rule: risk.RuleContradiction, Pointer: "/price", Reason: "is needed with a currency; leave both out where the price is not known"})
	}
	return faults
}

// Core is the data sheet as the check reads it.
func (s *DeviceSheet) Core() spd.Device {
	d := spd.Device{
		UcAC: opt(s.UcAC), UcDC: opt(s.UcDC), Up: opt(s.Up), In: opt(s.In), InNPE: opt(s.InNPE), Imax: opt(s.Imax), Iimp: opt(s.Iimp), IimpNPE: opt(s.IimpNPE),
		ShortCircuit: opt(s.ShortCircuit), FollowCurrent: opt(s.FollowCurrent), TOV: opt(s.TOV), MaxBackup: opt(s.MaxBackup),
		UcLPE: opt(s.UcLPE), UcNPE: opt(s.UcNPE), UcLL: opt(s.UcLL), UpLN: opt(s.UpLN), UpLPE: opt(s.UpLPE), UpNPE: opt(s.UpNPE), UpPlusPE: opt(s.UpPlusPE),
		UpPoles: opt(s.UpPoles), TOVLN: opt(s.TOVLN), TOVLPE: opt(s.TOVLPE), TOVLost: opt(s.TOVLost), TOVHighLPE: opt(s.TOVHighLPE),
		TOVHighNPE: opt(s.TOVHighNPE), Uoc: opt(s.Uoc), DCFollowCurrent: opt(s.DCFollowCurrent), Conductors: int(value(s.ProtectedConductors)),
		Zone:     named(s.CertifiedForZone),
		LostSafe: s.TOVLost != nil && (s.TOVLostFailure == nil || *s.TOVLostFailure == tovSafe),
	}
	for _, c := range named(s.Current) {
		d.AC, d.DC = d.AC || c == risk.AC, d.DC || c == risk.DC
	}
	// The names were checked when they were taken.
	d.Classes, _ = spd.Classes(texts(s.TestClasses)...)
	d.Modes, _ = spd.Modes(texts(s.Modes)...)
	d.Connections, _ = spd.Connections(texts(s.Connections)...)
	if s.Technology != nil {
		d.Technology, _ = spd.TechnologyOf(string(*s.Technology))
	}
	return d
}

func opt(p *float64) spd.Opt {
	if p == nil {
		return spd.Opt{}
	}
	return spd.Some(*p)
}

func texts[T ~string](p *[]T) []string {
	var list []string
	for _, v := range named(p) {
		list = append(list, string(v))
	}
	return list
}
