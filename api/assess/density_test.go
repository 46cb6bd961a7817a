package assess_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"levinward/api/assess"
	"levinward/api/wire"
	"levinward/geo"
	"levinward/risk"
	"levinward/store"
)

// oneMap finds one map under the id "m".
type oneMap struct{ m *geo.DensityMap }

var errAway = errors.New("away")

func (o oneMap) DensityMap(_ context.Context, id string) (*geo.DensityMap, string, error) {
	switch id {
	case "m":
		return o.m, "hills", nil
	case "away":
		return nil, "", errAway
	}
	return nil, "", fmt.Errorf("map: %w", store.ErrNotFound)
}

// grid is a map of one row around the equator, from longitude 0 on; "-9999" has no data.
func grid(t rapid.TB, meta geo.DensityMapMeta, cells ...string) oneMap {
	t.Helper()
	text := fmt.Sprintf("ncols %d\nnrows 1\nxllcorner 0\nyllcorner -0.5\ncellsize 1\n%s\n", len(cells), strings.Join(cells, " "))
	m, err := geo.ReadDensityMap(strings.NewReader(text), meta)
	if err != nil {
		t.Fatal(err)
	}
	return oneMap{m}
}

var ground = geo.DensityMapMeta{Kind: geo.GroundFlashDensity, FromYear: 2020, ToYear: 2020, Source: "invented network"}

func siteAt(longitude float64, id string) *wire.Site {
	return &wire.Site{Input: risk.Input{Location: risk.Location{Longitude: longitude},
		FlashDensity: risk.FlashDensity{Origin: risk.DensityMap, Map: id}}}
}

// Computed by hand: cell centres lie at longitude 0.5, 1.5 and so on, and half way between the cells of 4 and 8 the bilinear mean is 6.
// Where a neighbour has no data the others count. N_G from 0.01 to 100 is the range that an input may give; it is our own.
func TestResolve(t *testing.T) {
	maps := grid(t, ground, "4", "8", "-9999", "0", "0.005", "0.0101", "100")
	for _, test := range []struct {
		longitude float64
		id        string
		rule      risk.Rule
		ng        float64
		note      string
	}{
		{0.5, "m", "", 4, `invented network (map "hills"), 2020: ground flashes per km2 and year 4, interpolated around row 1, column 1`},
		{1.0, "m", "", 6, "interpolated around"},
		{1.6, "m", "", 8, "1 of the 4 cells around the position has no data"},
		{2.5, "m", risk.RuleNoMapValue, 0, ""},
		{-1, "m", risk.RuleNoMapValue, 0, ""},
		{3.5, "m", risk.RuleNoMapValue, 0, ""},
		{4.5, "m", risk.RuleOutOfRange, 0.005, ""},
		{5.5, "m", "", 0.0101, ""},
		{6.9, "m", "", 100, ""},
		{0.5, "n", risk.RuleUnknownReference, 0, ""},
	} {
		site := siteAt(test.longitude, test.id)
		if err := assess.Resolve(t.Context(), site, maps); err != nil {
			t.Fatal(err)
		}
		d := &site.Input.FlashDensity
		if math.Abs(d.NG-test.ng) > 1e-6*test.ng || !strings.Contains(d.Note, test.note) {
			t.Errorf("longitude %v: N_G %v, want %v; %q", test.longitude, d.NG, test.ng, d.Note)
		}
		switch v := site.Violations; {
		case test.rule == "" && len(v) > 0, test.rule != "" &&
			(len(v) != 1 || v[0].Rule != test.rule || v[0].Pointer != "/flash_density/map" || v[0].Reason == ""):
			t.Errorf("longitude %v: %v, want %q", test.longitude, v, test.rule)
		}
	}
}

func TestResolveWithoutMaps(t *testing.T) {
	site := siteAt(0.5, "m")
	if err := assess.Resolve(t.Context(), site, nil); err != nil || len(site.Violations) != 1 ||
		site.Violations[0].Rule != risk.RuleUnknownReference {
		t.Errorf("%v, %v", site.Violations, err)
	}
	if err := assess.Resolve(t.Context(), siteAt(0.5, "away"), grid(t, ground, "4")); !errors.Is(err, errAway) {
		t.Errorf("%v", err)
	}
	given := &wire.Site{Input: risk.Input{FlashDensity: risk.FlashDensity{NG: 3}}}
	if err := assess.Resolve(t.Context(), given, nil); err != nil || given.Input.FlashDensity.NG != 3 || given.Violations != nil {
		t.Errorf("a number that was given: %v, %v", given, err)
	}
}

// What the input says of source and year goes with a number; the map states its own, and the note tells.
func TestResolveSaysWhatIsNotUsed(t *testing.T) {
	site := siteAt(0.5, "m")
	site.Input.FlashDensity.Source, site.Input.FlashDensity.Year = "hearsay", 2031
	if err := assess.Resolve(t.Context(), site, grid(t, ground, "4")); err != nil {
		t.Fatal(err)
	}
	d := &site.Input.FlashDensity
	if d.Year != 2020 || strings.Contains(d.Source, "hearsay") ||
		!strings.Contains(d.Note, `not used: source "hearsay" and year 2031 of the input`) {
		t.Errorf("%+v", d)
	}
}

// The relations are those of domain tables: N_T/(1+Z); 0.1 T_D (IEC 62305-2:2010 A.1); 0.04 T_D^1.25 (NBR 5419).
func TestResolveDerives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := float64(rapid.IntRange(1, 300).Draw(t, "value"))
		z := rapid.Float64Range(0.5, 20).Draw(t, "Z")
		total, linear, power := ground, ground, ground
		total.Kind, total.CloudToGroundRatio = geo.TotalFlashDensity, z
		linear.Kind, linear.Relation = geo.ThunderstormDays, geo.LinearThunderstormDays
		power.Kind, power.Relation = geo.ThunderstormDays, geo.PowerThunderstormDays
		for _, test := range []struct {
			meta geo.DensityMapMeta
			want float64
		}{{total, value / (1 + z)}, {linear, value / 10}, {power, math.Pow(value, 1.25) / 25}} {
			site := siteAt(0.5, "m")
			if err := assess.Resolve(t.Context(), site, grid(t, test.meta, fmt.Sprint(value))); err != nil {
				t.Fatal(err)
			}
			d := &site.Input.FlashDensity
			if math.Abs(d.NG-test.want) > 1e-12*test.want || d.Derivation == "" || !strings.Contains(d.Note, d.Derivation) {
				t.Errorf("%s %v: N_G %v, want %v, by %q", test.meta.Kind, value, d.NG, test.want, d.Derivation)
			}
			if inside := test.want >= 0.01 && test.want <= 100; inside == (len(site.Violations) > 0) {
				t.Errorf("%v: %v", test.want, site.Violations)
			}
		}
	})
}
