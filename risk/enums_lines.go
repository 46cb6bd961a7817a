package risk

// Answer is what is known of a question.
type Answer = Named[answerList]

// The values of Answer.
const (
	NotKnown Answer = iota // nothing is said
	Yes
	No
)

var answerNames = []string{"unknown", "yes", "no"}

type answerList struct{}

func (answerList) List() (string, []string) { return "answer", answerNames }

// FarEarth is what is known of the earth at the far end of a line.
type FarEarth = Named[farEarthList]

// The values of FarEarth.
const (
	FarEarthNotStated FarEarth = iota // by what else is known of the line
	FarEarthOwn                       // an electrode of its own
	FarEarthShared                    // the electrode of the structure
	FarEarthUnknown
)

var farEarthNames = []string{"not_stated", "own", "shared", "unknown"}

type farEarthList struct{}

func (farEarthList) List() (string, []string) { return "far-end earth", farEarthNames }

// FarEnd is what stands at the far end of a line.
type FarEnd = Named[farEndList]

// The values of FarEnd.
const (
	FarEndNotStated FarEnd = iota // by what else is known of the line
	FarNetwork
	FarStructure
	FarArray
	FarBattery
	FarGenerator
	FarPumpMotor
	FarLevelSensor
	FarAntenna
	FarFenceEnergiser
	FarLuminaire
	FarSocketOutlet
	FarElectronics
	FarOutBuilding
	FarOther
)

var farEndNames = []string{
	"not_stated", "network", "structure", "array", "battery", "generator", "pump_motor",
	"level_sensor", "antenna", "fence_energiser", "luminaire", "socket_outlet", "electronics", "out_building", "other",
}

type farEndList struct{}

func (farEndList) List() (string, []string) { return "far end", farEndNames }

// SupplySource is what feeds an a.c. line.
type SupplySource = Named[supplySourceList]

// The values of SupplySource.
const (
	SourceNotKnown SupplySource = iota // counts as the network
	SourceNetwork                      // through a transformer from high voltage
	SourceGenerator
	SourceInverter
)

var supplySourceNames = []string{"unknown", "network", "generator", "inverter"}

type supplySourceList struct{}

func (supplySourceList) List() (string, []string) { return "source", supplySourceNames }

// Changeover is where sources are changed over, seen from the device.
type Changeover = Named[changeoverList]

// The values of Changeover.
const (
	ChangeoverNotStated Changeover = iota
	NoChangeover
	ChangeoverBehind
	ChangeoverBefore
	ChangeoverUnknown
)

var changeoverNames = []string{"not_stated", "none", "behind_spd", "before_spd", "unknown"}

type changeoverList struct{}

func (changeoverList) List() (string, []string) { return "changeover", changeoverNames }

// NeutralBond is where neutral and protective conductor are joined.
type NeutralBond = Named[neutralBondList]

// The values of NeutralBond.
const (
	NeutralBondNotKnown NeutralBond = iota
	NeutralBondSource
	NeutralBondBoard
	NoNeutralBond
)

var neutralBondNames = []string{"unknown", "source", "board", "none"}

type neutralBondList struct{}

func (neutralBondList) List() (string, []string) { return "neutral to earth bond", neutralBondNames }

// ResidualDevice is where a residual-current device stands, seen from the SPD.
type ResidualDevice = Named[residualDeviceList]

// The values of ResidualDevice.
const (
	ResidualNotStated ResidualDevice = iota // counts as behind the SPD
	NoResidual
	ResidualBehind
	ResidualBefore
	ResidualBeforeDelayed // type S
)

var residualDeviceNames = []string{"not_stated", "none", "behind_spd", "before_spd", "before_spd_type_s"}

type residualDeviceList struct{}

func (residualDeviceList) List() (string, []string) {
	return "residual-current device", residualDeviceNames
}

// ConnectionType is a wanted connection type of IEC 60364-5-53 clause 534.
type ConnectionType = Named[connectionTypeList]

// The values of ConnectionType.
const (
	ConnectionNotStated ConnectionType = iota
	WantCT1
	WantCT2
)

var connectionTypeNames = []string{"not_stated", "CT1", "CT2"}

type connectionTypeList struct{}

func (connectionTypeList) List() (string, []string) { return "connection type", connectionTypeNames }

// ArrayPlace is where a photovoltaic array stands.
type ArrayPlace = Named[arrayPlaceList]

// The values of ArrayPlace.
const (
	ArrayNotStated ArrayPlace = iota // the worse of both
	ArrayOnBuilding
	ArrayElsewhere
)

var arrayPlaceNames = []string{"not_stated", "on_building", "elsewhere"}

type arrayPlaceList struct{}

func (arrayPlaceList) List() (string, []string) { return "array place", arrayPlaceNames }

// Cable is the kind of a telecommunication cable.
type Cable = Named[cableList]

// The values of Cable.
const (
	CableNotStated Cable = iota
	CablePairs           // of many pairs
	CableDropWire        // unshielded, of one pair or two
	CableCoaxial
)

var cableNames = []string{"not_stated", "pairs", "drop_wire", "coaxial"}

type cableList struct{}

func (cableList) List() (string, []string) { return "cable", cableNames }
