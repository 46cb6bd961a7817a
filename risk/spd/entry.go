package spd

import (
	"strconv"

	"levinward/risk"
	"levinward/risk/trace"
)

// Position is the place of a device along its line.
type Position string

// The places of a device.
const (
	LineEntrance Position = "line_entrance" // where the line enters the structure, LPZ 0/1
	AtEquipment  Position = "equipment"     // at equipment more than 10 m of cable from the entrance
	AtArray      Position = "array"         // at a photovoltaic array more than 10 m from the building
	AtFarEnd     Position = "far_end"       // at what stands at the far end of the line, without a structure of the site
)

// TestClass is the test a device has passed: I, II, III for power (IEC 61643-11, -31, -41), D1, C2, C1
// for telecommunication and data (IEC 61643-21).
type TestClass string

// The test classes.
const (
	ClassI   TestClass = "I"
	ClassII  TestClass = "II"
	ClassIII TestClass = "III"
	D1       TestClass = "D1"
	C2       TestClass = "C2"
	C1       TestClass = "C1"
)

// Connection is the connection type of IEC 60364-5-53 clause 534; empty outside a.c.
type Connection string

// The connection types.
const (
	NoConnection Connection = ""
	CT1          Connection = "CT1" // each live conductor to PE (or PEN)
	CT2          Connection = "CT2" // each phase to neutral, neutral to PE ("3+1")
)

// Opt is a number that may be absent: not known, or not applicable. In JSON it is null then.
type Opt struct {
	Value float64
	Valid bool
}

// Some is a present number.
func Some(v float64) Opt { return Opt{Value: v, Valid: true} }

// Ptr is nil for an absent number.
func (o Opt) Ptr() *float64 {
	if !o.Valid {
		return nil
	}
	return &o.Value
}

// MarshalJSON writes the number, or null.
func (o Opt) MarshalJSON() ([]byte, error) {
	if !o.Valid {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, o.Value, 'g', -1, 64), nil
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (o *Opt) UnmarshalJSON(b []byte) error {
	*o = Opt{}
	if string(b) == "null" {
		return nil
	}
	v, err := strconv.ParseFloat(string(b), 64)
	if err == nil {
		*o = Some(v)
	}
	return err
}

// Obligation says how strongly a device is asked for.
type Obligation string

// The obligations.
const (
	Required    Obligation = "required"
	Recommended Obligation = "recommended"
	NotRequired Obligation = "not_required"
)

// EarthGrade grades the earth connection of a structure, from the best to the worst.
type EarthGrade string

// The grades: 10 ohm is common practice for an LPS (62305-3, from memory), 30 ohm where bonding alone still helps electronics (handbook).
const (
	EarthGood     EarthGrade = "good"     // proved, up to 10 ohm
	EarthFair     EarthGrade = "fair"     // proved, up to 30 ohm
	EarthPoor     EarthGrade = "poor"     // proved, above 30 ohm
	EarthAbsent   EarthGrade = "none"     // there is none
	EarthUnproved EarthGrade = "unproved" // nothing is known of it
)

// TOV is a temporary overvoltage that a mode of a device has to bear.
type TOV struct {
	Duration string // "5 s", "120 min", "200 ms"
	Volt     float64
	Safe     bool // the device may fail in a safe way; otherwise it withstands
}

// Order is what to order: the next preferred values. An absent one is not asked for.
type Order struct {
	Uc, UcMax              Opt // [V]; d.c.: at least, at most
	Up                     Opt // [kV]
	In, Iimp, IimpNPE, Uoc Opt // [kA], [kV]
}

// Share is how the current of a flash to the structure reaches the line.
type Share struct {
	Paths      int     // n, lines that lead current away, this one among them
	Conductors float64 // n'
	Ke         float64 // share of the line
	Method     string  // which rule gave the larger share; empty where none applies
}

// Mode is a mode of protection and what the device must do in it.
type Mode struct {
	Mode    string // "L-N", "L-PE", "L-PEN", "N-PE", "+/-", "+/PE", "-/PE", "line-line", "line-earth"
	UcMin   Opt    // lowest maximum continuous operating voltage [V]
	UpMax   Opt    // highest voltage protection level [kV]
	InMin   Opt    // lowest nominal discharge current 8/20 [kA]
	IimpMin Opt    // lowest impulse current 10/350 [kA]; class I and D1 only
	TOV     []TOV  // a.c. only
}

// Leads are the connecting conductors of a device, copper.
type Leads struct {
	MaxLength Opt // both leads together [m]; 0: wired through the terminals of the device
	Earth     Opt // smallest cross-section to earth [mm2]
	Live      Opt // smallest cross-section to live conductors [mm2]
}

// Basis is the reason of one value of an Entry.
type Basis struct {
	Field      string // name of the value in documents, "uc_min_v"
	Mode       string // the mode it stands for; empty for all
	Reason     string
	Clause     string
	Provenance trace.Provenance
	RestsOn    trace.Ground // the weakest value or formula behind the value; zero where nothing was recorded
}

// Entry is what the schedule says of one device. Ratings are given whether or not
// the device is required, so that one can be fitted all the same.
type Entry struct {
	Line, Structure int // indices into Input.Lines, Input.Structures
	Position        Position
	Required        bool // Obligation is Required
	Obligation      Obligation
	// Specifiable is false where the numbers cannot be given before something is known; Notes say what.
	Specifiable bool
	// Because lists every rule that asks for the device or, where none does, why each one does not.
	Because    []risk.Reason
	Service    risk.Service
	Current    risk.Current // of power lines; without meaning for telecommunication
	TestClass  TestClass
	Level      risk.Level // NoSPD where no lightning protection level applies
	Connection Connection
	Earthing   risk.Earthing // of the structure; without an earth connection no device protects
	EarthGrade EarthGrade
	Modes      []Mode
	ServedBy   string // id of the line whose devices at the same board serve this end; empty: its own
	Conductors int    // that the device protects
	Standard   string // of the device
	Order      Order
	Share      Share

	CRL            Opt // calculated risk level, where it was asked for
	CriticalLength Opt // L_crit of a photovoltaic route [m]

	UcMin, UcMax    Opt // [V]: operation from below, protection from above; UcMin is the largest of the modes
	UpMax           Opt // [kV]
	Withstand       Opt // U_W of the equipment behind the device [kV]; UpMax comes from it, with its Basis
	EffectiveMax    Opt // highest U_P/F, U_P with its leads [kV]; UpMax comes from it, with its Basis
	InMin           Opt // kA 8/20, per line conductor; N-PE in its mode
	IimpMin         Opt // kA 10/350, per line conductor; N-PE in its mode
	IimpTotalMin    Opt // kA 10/350 to earth, photovoltaic class I only
	UocMin          Opt // kV, class III
	ImaxMin         Opt // kA 8/20; trade rule, not normative
	ShortCircuitMin Opt // [kA]
	Leads           Leads

	// For the check of a device; they have no Basis.
	Reviews         *trace.Reviews     // table values to use, as in the input
	AlsoConnection  Connection         // allowed besides Connection, each mode with the ratings of the line conductors
	Second          bool               // a device at the equipment belongs to this one
	Zone            risk.ExplosionZone // that the line ends in
	TOVMin          Opt                // temporary overvoltage for 5 s, line to neutral: 1.45 U_0 [V]; from memory of IEC 61643-11
	LimitingIimpMin Opt                // kA 10/350, in place of IimpMin for a voltage-limiting photovoltaic device; see Notes
	LimitingInMin   Opt                // kA 8/20, besides InMin for the same

	Notes []string
	Basis []Basis // at least one for each present number
}
