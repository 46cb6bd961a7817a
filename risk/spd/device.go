package spd

import (
	"fmt"
	"strings"

	"levinward/risk"
	"levinward/risk/trace"
)

// Device is what the data sheet of a surge protective device states. What it does not state is left
// out: an absent number, an empty set. Values without a mode stand for the path between live conductors: L-N in CT2, each line
// to PE or PEN in CT1, every mode of direct current and of data lines. Currents hold for every mode, unless N-PE is stated apart.
type Device struct {
	AC, DC        bool          // rated for alternating, for direct current; neither: not stated
	UcAC, UcDC    Opt           // maximum continuous operating voltage U_C, r.m.s. and d.c. [V]; U_CPV is a UcDC
	Up            Opt           // voltage protection level U_P [kV]
	In, InNPE     Opt           // nominal discharge current I_n 8/20 [kA]
	Imax          Opt           // maximum discharge current I_max 8/20 [kA]
	Iimp, IimpNPE Opt           // impulse current I_imp 10/350 [kA]
	ShortCircuit  Opt           // short-circuit current rating I_SCCR or I_SCPV [kA]
	FollowCurrent Opt           // follow current interrupt rating I_fi between live conductors [kA]
	TOV           Opt           // temporary overvoltage U_T withstood for 5 s, r.m.s. [V]; 1200 V alone stands for N-PE, 200 ms
	MaxBackup     Opt           // highest rated current of the backup overcurrent device [A]
	Classes       ClassSet      // test classes
	Modes         ModeSet       // modes of protection
	Connections   ConnectionSet // connection types; where empty, the modes tell
	Technology    Technology    // of the path between live conductors

	// By mode, where the data sheet states one apart.
	UcLL                   Opt                // between lines [V]
	UcLPE, UcNPE           Opt                // [V]
	UpLN, UpLPE, UpNPE     Opt                // [kV]
	UpPlusPE, UpPoles      Opt                // [kV]; direct current
	TOVLN, TOVLPE          Opt                // withstood for 5 s [V]
	TOVLost                Opt                // L-N with the neutral lost, 120 min, withstood or with a safe failure [V]
	TOVHighLPE, TOVHighNPE Opt                // withstood for 200 ms [V]
	LostSafe               bool               // TOVLost ends with a safe failure
	DCFollowCurrent        Opt                // follow current of direct current that the device interrupts [kA]
	Conductors             int                // that one device connects; 0 where not stated
	Zone                   risk.ExplosionZone // explosive atmosphere that it is certified for
	Uoc                    Opt                // open-circuit voltage of the class III test [kV]
}

// Technology is how a device limits a surge.
type Technology uint8

// The values of Technology.
const (
	TechnologyNotStated Technology = iota
	Limiting                       // voltage-limiting: varistors, suppressor diodes
	Switching                      // voltage-switching: spark gaps, gas discharge tubes
	Combination                    // both kinds
)

// TechnologyNames lists the names of the technologies a data sheet can state, from Limiting on.
var TechnologyNames = []string{"limiting", "switching", "combination"}

func (v Technology) String() string {
	if v == TechnologyNotStated || int(v) > len(TechnologyNames) {
		return ""
	}
	return TechnologyNames[v-1]
}

// TechnologyOf finds a technology by its name.
func TechnologyOf(name string) (Technology, error) {
	i, err := index(name, "technology", TechnologyNames)
	return Technology(i + 1), err
}

// ClassSet is a set of test classes, ModeSet one of modes of protection, ConnectionSet one of connection types.
type (
	ClassSet      uint8
	ModeSet       uint16
	ConnectionSet uint8
)

// The names of the members of the sets, in the order of their bits.
var (
	ClassNames      = []string{string(ClassI), string(ClassII), string(ClassIII), string(D1), string(C2), string(C1)}
	ModeNames       = []string{modeLN, modeLPE, modeLPEN, modeNPE, "+/-", "+/PE", "-/PE", "line-line", "line-earth"}
	ConnectionNames = []string{string(CT1), string(CT2)}
)

// Classes is the set of the named test classes; any other name is an error.
func Classes(names ...string) (ClassSet, error) {
	bits, err := setOf("test class", ClassNames, names)
	return ClassSet(bits), err
}

// Modes is the set of the named modes of protection; any other name is an error.
func Modes(names ...string) (ModeSet, error) {
	bits, err := setOf("mode of protection", ModeNames, names)
	return ModeSet(bits), err
}

// Connections is the set of the named connection types; any other name is an error.
func Connections(names ...string) (ConnectionSet, error) {
	bits, err := setOf("connection type", ConnectionNames, names)
	return ConnectionSet(bits), err
}

// Names lists the members of the set.
func (s ClassSet) Names() []string { return members(ClassNames, uint16(s)) }

// Names lists the members of the set.
func (s ModeSet) Names() []string { return members(ModeNames, uint16(s)) }

// Names lists the members of the set.
func (s ConnectionSet) Names() []string { return members(ConnectionNames, uint16(s)) }

func index(name, kind string, names []string) (int, error) {
	for i, n := range names {
		if n == name {
			return i, nil
		}
	}
	return -1, fmt.Errorf("%q is not a %s; allowed: %s", name, kind, strings.Join(names, ", "))
}

func setOf(kind string, names, chosen []string) (bits uint16, err error) {
	for _, name := range chosen {
		i, err := index(name, kind, names)
		if err != nil {
			return 0, err
		}
		bits |= 1 << i
	}
	return bits, nil
}

func members(names []string, bits uint16) []string {
	list := []string{}
	for i, n := range names {
		if bits&(1<<i) != 0 {
			list = append(list, n)
		}
	}
	return list
}

// Place is where a device is, or is to go.
type Place struct {
	Entry *Entry // what the place requires
	// Line is the line with its equipment, nil where only the entry is known. A U_W of 0 is not stated.
	Line         *risk.Line
	Installation Installation
}

// Installation is how a device is installed. What is not told is not checked and becomes a caution.
type Installation struct {
	LeadLength Opt      // both connecting leads together [m]; 0: wired through the terminals
	Distance   Opt      // cable between the device and the equipment [m]
	Backup     Opt      // rated current of the overcurrent device upstream [A]
	Second     Presence // a further device at the equipment
	Shielded   bool     // the wiring between the device and the equipment
	// First is the device at the entrance where the one checked is the second of the line; nil where it is not, or not known.
	First        *Device
	MakerStates  bool // the maker states that the two are coordinated
	CableBetween Opt  // cable between First and the device [m]
}

// Presence says whether something is there.
type Presence uint8

// The values of Presence.
const (
	NotTold Presence = iota
	Present
	Absent
)

// Verdict is the outcome of a check, from the best to the worst.
type Verdict uint8

// The verdicts. A device that is harmless in normal operation but protects nothing is ineffective.
const (
	Suitable Verdict = iota
	InsufficientData
	Ineffective
	Unsuitable
)

var verdictNames = [...]string{"suitable", "insufficient_data", "ineffective", "unsuitable"}

func (v Verdict) String() string { return verdictNames[v] }

// MarshalText gives the name used in documents.
func (v Verdict) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// Rule is a rule of the check.
type Rule uint8

// The rules, in the order of the findings: those of the device, then those of its installation.
const (
	RuleCurrentKind Rule = iota
	RuleLowestUc
	RuleHighestUc
	RuleProtectionLevel
	RuleDataSheet
	RuleTestClass
	RuleNominalCurrent
	RuleOpenCircuit
	RuleImpulseCurrent
	RuleMaximumCurrent
	RuleShortCircuit
	RuleFollowCurrent
	RuleModes
	RuleConnection
	RuleTOV
	RuleLeads
	RuleDistance
	RuleFirstStage
	RuleBackup
	RuleEarth
	Rules // their number
)

var ruleNames = [Rules]string{"current_kind", "uc_lower_bound", "uc_upper_bound", "protection_level", "data_sheet", "test_class",
	"nominal_current", "open_circuit_voltage", "impulse_current", "maximum_current",
	"short_circuit_rating", "follow_current", "modes", "connection", "temporary_overvoltage", "leads", "distance", "first_stage",
	"backup_overcurrent_device", "earth"}

func (r Rule) String() string { return ruleNames[r] }

// MarshalText gives the name used in documents.
func (r Rule) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// Finding is what one rule says of a device.
type Finding struct {
	Rule     Rule
	Mode     string // the mode it stands for; empty for all
	Verdict  Verdict
	Required string // in words, with the unit: "at least 254 V"
	Found    string
	// Margin is the reserve as a share of what is required, negative where it falls short; absent where
	// the rule does not compare numbers.
	Margin     Opt
	Reason     string
	Clause     string
	Provenance trace.Provenance // of the requirement
}

// CheckResult is what a check says of a device at a place.
type CheckResult struct {
	Verdict  Verdict   // the worst of the findings
	Sentence string    // the outcome in plain words
	WayOut   string    // what would make a device that protects nothing right; empty where Sentence says it or nothing is known
	Findings []Finding // one for each rule that applies, in the order of Rule
	Cautions []string  // what was not checked, and what must be seen to besides
}
