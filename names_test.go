package main

import (
	"strings"
	"testing"

	"levinward/api/wire"
)

func TestPlaceNames(t *testing.T) {
	zones := []wire.Zone{{ID: "ward"}, {ID: "yard"}}
	r := &wire.Result{Input: &wire.Input{Structures: []wire.Structure{{ID: "house-3", Zones: &zones}, {ID: "shed"}}},
		Structures: []wire.StructureResult{{ID: "house-3"}, {ID: "shed"}},
		Lines:      []wire.LineResult{{ID: "supply"}, {ID: "trunk"}},
		Schedule:   []wire.ScheduleEntry{{Line: "supply", Structure: "house-3"}}}
	for pointer, want := range map[string]string{
		"/lines/0/length_m":                            "supply of house-3: length",
		"/lines/0/electrical/system":                   "supply of house-3: earthing system (TT, TN, IT)",
		"/lines/0/electrical":                          "supply of house-3: what it carries (a.c. or d.c., volts, earthing system)",
		"/lines/0/sections/1/installation":             "supply of house-3: section 2, installation",
		"/lines/1/shield/resistance_ohm_per_km":        "trunk: shield, resistance",
		"/structures/0/zones/1/fire_risk":              "house-3, zone yard: fire risk",
		"/structures/1/zones/0/fire_risk":              "shed: fire risk",
		"/structures/1/earthing/resistance_ohm":        "shed: earthing, resistance",
		"/structures/0/failure_endangers_life":         "house-3: does a failure endanger life?",
		"/environment":                                 "site: environment",
		"/flash_density/ground_flashes_per_km2_year":   "site: flash density, ground flashes",
		"/structures/9/length_m":                       "site: structure 10, length",
		"/structures/0/zones/0/systems/0/withstand_kv": "house-3, zone ward: system 1, rated impulse withstand voltage of the equipment",
	} {
		part, field := placeName(pointer, r)
		if got := part + ": " + field; got != want {
			t.Errorf("%s: %q, want %q", pointer, got, want)
		}
	}
}

func TestSpans(t *testing.T) {
	for names, want := range map[string]string{
		"house-01 house-02 house-03":      "house-01 to house-03",
		"house-9 house-10 house-11 shed":  "house-9 to house-11, shed",
		"a b c":                           "a, b, c",
		"house-1 house-2":                 "house-1, house-2",
		"house-1 house-3 house-4 house-5": "house-1, house-3 to house-5",
		"drop-1_at_house-1 drop-2_at_house-2 drop-3_at_house-3": "drop-1_at_house-1 to drop-3_at_house-3",
		"f-1_at_station f-2_at_station f-3_at_station":          "f-1_at_station to f-3_at_station",
		"h-1 h-1 h-1":              "h-1, h-1, h-1",
		"x99999999999999999999 x2": "x99999999999999999999, x2",
	} {
		if got := enumerate(strings.Fields(names)); got != want {
			t.Errorf("%s: %q, want %q", names, got, want)
		}
	}
}
