package wire

import (
	"encoding/json"
	"testing"

	"levinward/risk"
	"levinward/risk/spd"
)

// Every value that a data sheet states by mode reaches the check as it stands. The sheet is invented.
func TestDataSheetByMode(t *testing.T) {
	var sheet DeviceSheet
	if err := json.Unmarshal([]byte(`{"uc_l_pe_v": 1, "uc_n_pe_v": 2, "uc_l_l_v": 3, "up_l_n_kv": 4, "up_l_pe_kv": 5, "up_n_pe_kv": 6,
		"up_plus_pe_kv": 7, "up_pole_pole_kv": 8, "tov_l_n_5s_v": 9, "tov_l_pe_5s_v": 10, "tov_l_n_120min_v": 11, "tov_l_pe_200ms_v": 12,
		"tov_n_pe_200ms_v": 13, "uoc_kv": 14, "protected_conductors": 4, "dc_follow_current_ka": 0, "certified_for_zone": "1_21",
		"coordinated_with": ["INVENTED-1"]}`), &sheet); err != nil {
		t.Fatal(err)
	}
	want := spd.Device{UcLPE: spd.Some(1), UcNPE: spd.Some(2), UcLL: spd.Some(3), UpLN: spd.Some(4), UpLPE: spd.Some(5), UpNPE: spd.Some(6),
		UpPlusPE: spd.Some(7), UpPoles: spd.Some(8), TOVLN: spd.Some(9), TOVLPE: spd.Some(10), TOVLost: spd.Some(11), LostSafe: true,
		TOVHighLPE: spd.Some(12), TOVHighNPE: spd.Some(13), Uoc: spd.Some(14), Conductors: 4, DCFollowCurrent: spd.Some(0), Zone: risk.Explosion1}
	if got := sheet.Core(); got != want {
		t.Errorf("%+v\nwant %+v", got, want)
	}
	withstands := TOVOutcome("withstand")
	sheet.TOVLostFailure = &withstands
	if sheet.Core().LostSafe {
		t.Error("the device withstands, it does not fail")
	}
	sheet.TOVLost, sheet.TOVLostFailure = nil, nil
	if sheet.Core().LostSafe {
		t.Error("nothing is stated")
	}
}

// The maker's word counts for the device at the entrance that it names, in a check and in a coordination.
func TestPairsThatTheMakerNames(t *testing.T) {
	sheet := &DeviceSheet{CoordinatedWith: &[]string{"FIRST", "OTHER"}}
	for name, want := range map[string]bool{"FIRST": true, "OTHER": true, "THIRD": false} {
		i := &DeviceInstallation{FirstReference: &name, FirstDevice: &DeviceSheet{}}
		if c := i.Core(sheet); c.MakerStates != want || c.First == nil || c.Shielded {
			t.Errorf("%s: %+v", name, c)
		}
		U := 2.5
		r := CoordinationRequest{Stages: &[]CoordinationStage{{Name: &name, Device: &DeviceSheet{}}, {Device: sheet}}, Withstand: &U}
		stages, _ := r.Core()
		if stages[1].MakerCable.Valid != want || stages[0].MakerCable.Valid {
			t.Errorf("%s: %+v", name, stages)
		}
	}
	shielded := shieldedWiring
	if c := (&DeviceInstallation{Wiring: &shielded}).Core(sheet); !c.Shielded || c.First != nil || c.MakerStates {
		t.Errorf("%+v", c)
	}
}
