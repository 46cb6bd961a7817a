package risk_test

import (
	"encoding"
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"testing"

	"levinward/risk"
)

// named is what all types of named values have in common.
type named interface {
	encoding.TextUnmarshaler
	String() string
	MarshalText() ([]byte, error)
	Names() []string
}

// value makes a pointer to a value of a type of named values.
func value[T ~uint8](v uint8) *T { x := T(v); return &x }

// types lists every type with the names of its values in order, as a document writes them.
var types = []struct {
	kind  string // as an error calls it
	make  func(v uint8) named
	names string
}{
	{"loss", func(v uint8) named { return value[risk.Loss](v) },
		"loss_of_human_life loss_of_public_service loss_of_cultural_heritage loss_of_economic_value"},
	{"environment", func(v uint8) named { return value[risk.Environment](v) }, "rural suburban urban urban_tall"},
	{"surroundings", func(v uint8) named { return value[risk.Surroundings](v) }, "higher_objects similar_objects isolated hilltop"},
	{"occupancy", func(v uint8) named { return value[risk.Occupancy](v) },
		"unknown dwelling school hospital hotel civic entertainment church museum industrial commercial agricultural office other " +
			"clinic boarding_school workshop market_hall telecom_hut pump_house"},
	{"lps", func(v uint8) named { return value[risk.LPS](v) }, "none IV III II I I_natural_frame I_full_cover"},
	{"explosion_zone", func(v uint8) named { return value[risk.ExplosionZone](v) }, "none 0_20 1_21 2_22"},
	{"public_service", func(v uint8) named { return value[risk.PublicSupply](v) }, "none power_gas_water tv_telecom"},
	{"place", func(v uint8) named { return value[risk.Place](v) }, "inside outside"},
	{"surface", func(v uint8) named { return value[risk.Surface](v) },
		"agricultural concrete marble ceramic gravel carpet asphalt linoleum wood"},
	{"fire_risk", func(v uint8) named { return value[risk.FireRisk](v) }, "none low ordinary high"},
	{"fire_protection", func(v uint8) named { return value[risk.FireProtection](v) }, "none manual automatic"},
	{"special_hazard", func(v uint8) named { return value[risk.SpecialHazard](v) },
		"none low_panic average_panic difficult_evacuation high_panic"},
	{"wiring", func(v uint8) named { return value[risk.Wiring](v) }, "unrouted large_loops_avoided loops_avoided shielded"},
	{"service", func(v uint8) named { return value[risk.Service](v) }, "low_voltage high_voltage telecom"},
	{"installation", func(v uint8) named { return value[risk.Installation](v) }, "aerial buried buried_in_earth_mesh"},
	{"shield", func(v uint8) named { return value[risk.ShieldType](v) },
		"none shielded multi_grounded_neutral protective_cable isolating_interface"},
	{"level", func(v uint8) named { return value[risk.Level](v) }, "none III-IV II I better_than_I"},
	{"current", func(v uint8) named { return value[risk.Current](v) }, "ac dc"},
	{"system", func(v uint8) named { return value[risk.EarthingSystem](v) }, "TT TN-S TN-C TN-C-S IT"},
	{"origin", func(v uint8) named { return value[risk.DCOrigin](v) }, "photovoltaic battery load"},
	{"equipment", func(v uint8) named { return value[risk.Equipment](v) }, "other module charge_controller inverter electronics socket_outlet motor"},
	{"origin", func(v uint8) named { return value[risk.DensityOrigin](v) }, "given thunderstorm_days map"},
	{"earth connection", func(v uint8) named { return value[risk.EarthConnection](v) }, "unknown none measured electrode"},
	{"change", func(v uint8) named { return value[risk.ChangeKind](v) },
		"screen_structure shield_line bury_line isolating_interface less_fire_load"},
	{"relation", func(v uint8) named { return value[risk.Relation](v) }, "linear power"},
	{"building", func(v uint8) named { return value[risk.Building](v) }, "dwelling ground_plant service"},
	{"answer", func(v uint8) named { return value[risk.Answer](v) }, "unknown yes no"},
	{"far-end earth", func(v uint8) named { return value[risk.FarEarth](v) }, "not_stated own shared unknown"},
	{"far end", func(v uint8) named { return value[risk.FarEnd](v) },
		"not_stated network structure array battery generator pump_motor level_sensor antenna " +
			"fence_energiser luminaire socket_outlet electronics out_building other"},
	{"source", func(v uint8) named { return value[risk.SupplySource](v) }, "unknown network generator inverter"},
	{"changeover", func(v uint8) named { return value[risk.Changeover](v) }, "not_stated none behind_spd before_spd unknown"},
	{"neutral to earth bond", func(v uint8) named { return value[risk.NeutralBond](v) }, "unknown source board none"},
	{"residual-current device", func(v uint8) named { return value[risk.ResidualDevice](v) },
		"not_stated none behind_spd before_spd before_spd_type_s"},
	{"connection type", func(v uint8) named { return value[risk.ConnectionType](v) }, "not_stated CT1 CT2"},
	{"array place", func(v uint8) named { return value[risk.ArrayPlace](v) }, "not_stated on_building elsewhere"},
	{"cable", func(v uint8) named { return value[risk.Cable](v) }, "not_stated pairs drop_wire coaxial"},
}

func TestNamedValues(t *testing.T) {
	for _, c := range types {
		names := strings.Fields(c.names)
		if got := c.make(0).Names(); !slices.Equal(got, names) {
			t.Errorf("%s: names %q, want %q", c.kind, got, names)
		}
		for i, name := range names {
			v := c.make(uint8(i))
			text, err := json.Marshal(v)
			if err != nil || string(text) != strconv.Quote(name) || v.String() != name {
				t.Errorf("%s: value %d is written %s, %q, %v; want %q", c.kind, i, text, v, err, name)
			}
			back := c.make(255)
			if err := json.Unmarshal(text, back); err != nil || back.String() != name {
				t.Errorf("%s: %s is read as %v, %v", c.kind, text, back, err)
			}
		}
		if got, want := c.make(uint8(len(names))).String(), "invalid("+strconv.Itoa(len(names))+")"; got != want {
			t.Errorf("%s: the value after the last is %q, want %q", c.kind, got, want)
		}
		want := `"no such value" is not a value of ` + c.kind + "; allowed: " + strings.Join(names, ", ")
		if err := c.make(1).UnmarshalText([]byte("no such value")); err == nil || err.Error() != want {
			t.Errorf("%s: %v, want %s", c.kind, err, want)
		}
	}
}

func TestShockMeasureNames(t *testing.T) {
	for set, want := range map[risk.ShockMeasures][]string{
		0:                             {},
		risk.WarningNotices:           {"warning_notices"},
		risk.Insulation:               {"insulation"},
		risk.SoilEquipotentialization: {"soil_equipotentialization"},
		risk.PhysicalRestriction:      {"physical_restriction"},
		risk.WarningNotices | risk.PhysicalRestriction | risk.Insulation: {"warning_notices", "insulation", "physical_restriction"},
	} {
		if got := set.Names(); !slices.Equal(got, want) || got == nil {
			t.Errorf("%d is %q, want %q", set, got, want)
		}
	}
}

func TestComponentNames(t *testing.T) {
	var got []string
	for c := range risk.Components {
		got = append(got, c.String())
	}
	if want := strings.Fields("R_A R_B R_C R_M R_U R_V R_W R_Z"); !slices.Equal(got, want) {
		t.Errorf("components %q, want %q", got, want)
	}
}
