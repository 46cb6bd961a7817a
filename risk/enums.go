package risk

// Loss is a type of loss, and with it a risk.
type Loss = Named[lossList]

// The values of Loss.
const (
	HumanLife        Loss = iota // L1, R1
	PublicService                // L2, R2
	CulturalHeritage             // L3, R3
	EconomicValue                // L4, R4
)

var lossNames = []string{"loss_of_human_life", "loss_of_public_service", "loss_of_cultural_heritage", "loss_of_economic_value"}

type lossList struct{}

func (lossList) List() (string, []string) { return "loss", lossNames }

// Environment is the surroundings of a line (C_E).
type Environment = Named[environmentList]

// The values of Environment.
const (
	Rural Environment = iota
	Suburban
	Urban
	UrbanTall // with buildings higher than 20 m
)

var environmentNames = []string{"rural", "suburban", "urban", "urban_tall"}

type environmentList struct{}

func (environmentList) List() (string, []string) { return "environment", environmentNames }

// Surroundings is the position of a structure among others (C_D).
type Surroundings = Named[surroundingsList]

// The values of Surroundings.
const (
	HigherObjects  Surroundings = iota
	SimilarObjects              // same height or smaller
	Isolated                    // nothing within 3H
	Hilltop
)

var surroundingsNames = []string{"higher_objects", "similar_objects", "isolated", "hilltop"}

type surroundingsList struct{}

func (surroundingsList) List() (string, []string) { return "surroundings", surroundingsNames }

// Occupancy is the use of a structure (typical losses).
type Occupancy = Named[occupancyList]

// The values of Occupancy.
const (
	OccupancyUnknown Occupancy = iota // not given
	Dwelling
	School
	Hospital
	Hotel
	Civic
	Entertainment
	Church
	Museum
	Industrial
	Commercial
	Agricultural
	Office
	OtherOccupancy
	Clinic         // without operating theatre or intensive care
	BoardingSchool // pupils sleep there
	Workshop
	MarketHall
	TelecomHut
	PumpHouse
)

var occupancyNames = []string{
	"unknown", "dwelling", "school", "hospital", "hotel", "civic", "entertainment", "church", "museum",
	"industrial", "commercial", "agricultural", "office", "other", "clinic", "boarding_school", "workshop", "market_hall",
	"telecom_hut", "pump_house",
}

// NearestOccupancy is the occupancy that the printed tables name, for one that they do not: whatever is ruled by
// occupancy treats both alike (common practice, no published source).
func NearestOccupancy(o Occupancy) Occupancy {
	switch o {
	case Clinic:
		return Hospital
	case BoardingSchool:
		return Hotel
	case Workshop, TelecomHut, PumpHouse:
		return Industrial
	case MarketHall:
		return Entertainment
	}
	return o
}

type occupancyList struct{}

func (occupancyList) List() (string, []string) { return "occupancy", occupancyNames }

// LPS is the lightning protection system of a structure (P_B), from least to most effective.
type LPS = Named[lpsList]

// The values of LPS.
const (
	NoLPS LPS = iota
	LPSIV
	LPSIII
	LPSII
	LPSI
	LPSINaturalFrame // class I air termination, metal or reinforced-concrete frame as natural down-conductor
	LPSIFullCover    // metal roof or complete air termination, with such a frame
)

var lpsNames = []string{"none", "IV", "III", "II", "I", "I_natural_frame", "I_full_cover"}

type lpsList struct{}

func (lpsList) List() (string, []string) { return "lps", lpsNames }

// ExplosionZone is the zone classification of a structure with risk of explosion.
type ExplosionZone = Named[explosionZoneList]

// The values of ExplosionZone.
const (
	NoExplosion ExplosionZone = iota
	Explosion0                // or solid explosives
	Explosion1
	Explosion2
)

var explosionZoneNames = []string{"none", "0_20", "1_21", "2_22"}

type explosionZoneList struct{}

func (explosionZoneList) List() (string, []string) { return "explosion_zone", explosionZoneNames }

// PublicSupply is the service to the public that a structure provides.
type PublicSupply = Named[publicSupplyList]

// The values of PublicSupply.
const (
	NoPublicSupply PublicSupply = iota
	PowerGasWater
	TVTelecom
)

var publicSupplyNames = []string{"none", "power_gas_water", "tv_telecom"}

type publicSupplyList struct{}

func (publicSupplyList) List() (string, []string) { return "public_service", publicSupplyNames }

// Place is where a zone lies.
type Place = Named[placeList]

// The values of Place.
const (
	Inside Place = iota
	Outside
)

var placeNames = []string{"inside", "outside"}

type placeList struct{}

func (placeList) List() (string, []string) { return "place", placeNames }

// Surface is the soil or floor of a zone (r_t).
type Surface = Named[surfaceList]

// The values of Surface.
const (
	AgriculturalSoil Surface = iota
	Concrete
	Marble
	Ceramic
	Gravel
	Carpet
	Asphalt
	Linoleum
	Wood
)

var surfaceNames = []string{"agricultural", "concrete", "marble", "ceramic", "gravel", "carpet", "asphalt", "linoleum", "wood"}

type surfaceList struct{}

func (surfaceList) List() (string, []string) { return "surface", surfaceNames }

// FireRisk is the risk of fire in a zone (r_f).
type FireRisk = Named[fireRiskList]

// The values of FireRisk.
const (
	NoFireRisk       FireRisk = iota
	LowFireRisk               // below 400 MJ/m2
	OrdinaryFireRisk          // 400 to 800 MJ/m2
	HighFireRisk              // above 800 MJ/m2, or combustible structure or roof
)

var fireRiskNames = []string{"none", "low", "ordinary", "high"}

type fireRiskList struct{}

func (fireRiskList) List() (string, []string) { return "fire_risk", fireRiskNames }

// FireProtection is the provisions against fire in a zone (r_p), from least to most effective.
type FireProtection = Named[fireProtectionList]

// The values of FireProtection.
const (
	NoFireProtection FireProtection = iota
	ManualFireProtection
	AutomaticFireProtection
)

var fireProtectionNames = []string{"none", "manual", "automatic"}

type fireProtectionList struct{}

func (fireProtectionList) List() (string, []string) { return "fire_protection", fireProtectionNames }

// SpecialHazard is the special hazard in a zone (h_z).
type SpecialHazard = Named[specialHazardList]

// The values of SpecialHazard.
const (
	NoHazard     SpecialHazard = iota
	LowPanic                   // at most two floors and 100 persons
	AveragePanic               // 100 to 1000 persons
	DifficultEvacuation
	HighPanic // over 1000 persons
)

var specialHazardNames = []string{"none", "low_panic", "average_panic", "difficult_evacuation", "high_panic"}

type specialHazardList struct{}

func (specialHazardList) List() (string, []string) { return "special_hazard", specialHazardNames }

// Wiring is the routing of an internal system (K_S3).
type Wiring = Named[wiringList]

// The values of Wiring.
const (
	Unrouted          Wiring = iota // loop about 50 m2
	LargeLoopsAvoided               // about 10 m2
	LoopsAvoided                    // about 0.5 m2
	ShieldedWiring                  // or metal conduit, bonded at both ends
)

var wiringNames = []string{"unrouted", "large_loops_avoided", "loops_avoided", "shielded"}

type wiringList struct{}

func (wiringList) List() (string, []string) { return "wiring", wiringNames }

// Service is what a line carries (C_T).
type Service = Named[serviceList]

// The values of Service.
const (
	LowVoltage  Service = iota
	HighVoltage         // with HV/LV transformer
	Telecom
)

var serviceNames = []string{"low_voltage", "high_voltage", "telecom"}

type serviceList struct{}

func (serviceList) List() (string, []string) { return "service", serviceNames }

// Installation is how a line section is laid (C_I).
type Installation = Named[installationList]

// The values of Installation.
const (
	Aerial Installation = iota
	Buried
	BuriedInEarthMesh // entirely within a meshed earth termination
)

var installationNames = []string{"aerial", "buried", "buried_in_earth_mesh"}

type installationList struct{}

func (installationList) List() (string, []string) { return "installation", installationNames }

// ShieldType is the kind of a line's screen (C_LD, C_LI).
type ShieldType = Named[shieldTypeList]

// The values of ShieldType.
const (
	NoShield ShieldType = iota
	Shielded
	MultiGroundedNeutral
	ProtectiveCable    // or wiring in protective duct, metal conduit or tube
	IsolatingInterface // to IEC 62305-4
)

var shieldTypeNames = []string{"none", "shielded", "multi_grounded_neutral", "protective_cable", "isolating_interface"}

type shieldTypeList struct{}

func (shieldTypeList) List() (string, []string) { return "shield", shieldTypeNames }

// Level is the lightning protection level a set of SPDs is chosen for, from least to most effective.
type Level = Named[levelList]

// The values of Level.
const (
	NoSPD Level = iota
	LevelIIIIV
	LevelII
	LevelI
	BetterThanI // with a probability of its own
)

var levelNames = []string{"none", "III-IV", "II", "I", "better_than_I"}

type levelList struct{}

func (levelList) List() (string, []string) { return "level", levelNames }

// Current is the kind of current of a line.
type Current = Named[currentList]

// The values of Current.
const (
	AC Current = iota
	DC
)

var currentNames = []string{"ac", "dc"}

type currentList struct{}

func (currentList) List() (string, []string) { return "current", currentNames }

// EarthingSystem is the type of system earthing.
type EarthingSystem = Named[earthingSystemList]

// The values of EarthingSystem.
const (
	TT EarthingSystem = iota
	TNS
	TNC
	TNCS
	IT
)

var earthingSystemNames = []string{"TT", "TN-S", "TN-C", "TN-C-S", "IT"}

type earthingSystemList struct{}

func (earthingSystemList) List() (string, []string) { return "system", earthingSystemNames }

// DCOrigin is where the direct current of a line comes from.
type DCOrigin = Named[dcOriginList]

// The values of DCOrigin.
const (
	Photovoltaic DCOrigin = iota
	Battery
	Load
)

var dcOriginNames = []string{"photovoltaic", "battery", "load"}

type dcOriginList struct{}

func (dcOriginList) List() (string, []string) { return "origin", dcOriginNames }

// Equipment is the equipment at the end of a d.c. line (U_W).
type Equipment = Named[equipmentList]

// The values of Equipment.
const (
	OtherEquipment Equipment = iota
	Module
	ChargeController
	Inverter
	Electronics // of extra-low voltage
	SocketOutlet
	Motor
)

var equipmentNames = []string{"other", "module", "charge_controller", "inverter", "electronics", "socket_outlet", "motor"}

type equipmentList struct{}

func (equipmentList) List() (string, []string) { return "equipment", equipmentNames }

// Building is the kind of building that a PV line serves (L_crit).
type Building = Named[buildingList]

// The values of Building.
const (
	DwellingBuilding Building = iota
	GroundPlant
	ServiceBuilding // service, industrial, agricultural
)

var buildingNames = []string{"dwelling", "ground_plant", "service"}

type buildingList struct{}

func (buildingList) List() (string, []string) { return "building", buildingNames }

// Relation is the relation from thunderstorm days to N_G.
type Relation = Named[relationList]

// The values of Relation.
const (
	Linear Relation = iota // 0.1 T_D
	Power                  // 0.04 T_D^1.25
)

var relationNames = []string{"linear", "power"}

type relationList struct{}

func (relationList) List() (string, []string) { return "relation", relationNames }

// DensityOrigin is where N_G comes from.
type DensityOrigin = Named[densityOriginList]

// The values of DensityOrigin.
const (
	DensityGiven DensityOrigin = iota
	DensityThunderstormDays
	DensityMap
)

var densityOriginNames = []string{"given", "thunderstorm_days", "map"}

type densityOriginList struct{}

func (densityOriginList) List() (string, []string) { return "origin", densityOriginNames }

// EarthConnection is what is known of the earth connection of a structure.
type EarthConnection = Named[earthConnectionList]

// The values of EarthConnection.
const (
	EarthUnknown   EarthConnection = iota // nothing is known of it
	EarthNone                             // there is none
	EarthMeasured                         // its resistance was measured
	EarthElectrode                        // its resistance is computed from the electrode
)

var earthConnectionNames = []string{"unknown", "none", "measured", "electrode"}

type earthConnectionList struct{}

func (earthConnectionList) List() (string, []string) { return "earth connection", earthConnectionNames }
